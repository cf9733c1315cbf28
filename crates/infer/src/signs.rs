//! Signs of engine faults in a recording, beside the filter's pressure: air against speed and density,
//! boost against its target, EGR against its command, coolant after a drive, temperatures against each
//! other. Each sign has a density under each [`EngineMode`]; spreads are expert guesses from mechanism
//! (`common practice`, no source) and have heavy tails, so that no single sign decides alone.

use crate::conditions::{Conditions, STEP_S, median, speed_density};
use crate::hypothesis::EngineMode;
use crate::quasi::Mixture;

/// One sign with its log-likelihood under every engine mode.
#[derive(Debug, Clone)]
pub struct Sign {
    /// Message identifier of its name.
    pub name: &'static str,
    /// Its value in the unit of the message.
    pub value: f64,
    /// Log-likelihood per mode, in the order of [`EngineMode::ALL`].
    pub log_likelihood: [f64; 7],
}

/// All signs of the recordings, and what they say of the flow meter (ln of shown over true, its spread).
#[derive(Debug, Clone, Default)]
pub struct Signs {
    /// The signs.
    pub list: Vec<Sign>,
    /// ln of the metered air over speed-density air at high load, less what a sound engine shows.
    pub meter: Option<(f64, f64)>,
}

impl Signs {
    /// Sum over all signs under a mode.
    #[must_use]
    pub fn log_likelihood(&self, mode: EngineMode) -> f64 {
        let k = EngineMode::ALL.iter().position(|m| *m == mode).unwrap_or(0);
        self.list.iter().map(|s| s.log_likelihood[k]).sum()
    }
}

/// Densities of one sign: `usual` for every mode but those listed.
fn sign(name: &'static str, value: f64, usual: Mixture, special: &[(EngineMode, Mixture)]) -> Sign {
    let log_likelihood = EngineMode::ALL
        .map(|m| special.iter().find(|(s, _)| *s == m).map_or(&usual, |(_, d)| d).log_density(value));
    Sign { name, value, log_likelihood }
}

/// A Gaussian core with one part in ten far out.
fn heavy(mean: f64, sd: f64) -> Mixture {
    Mixture::of(vec![(0.9, mean, sd), (0.1, mean, 3.0 * sd)])
}

fn percentile(mut v: Vec<f64>, p: f64) -> Option<f64> {
    v.retain(|x| x.is_finite());
    if v.len() < 20 {
        return None;
    }
    v.sort_by(f64::total_cmp);
    Some(v[((v.len() - 1) as f64 * p) as usize])
}

/// Reads the signs of one recording.
#[must_use]
pub fn read(c: &Conditions, displacement_m3: Option<f64>) -> Signs {
    use EngineMode as M;
    let mut out = Signs::default();
    let running: Vec<usize> = (0..c.len()).filter(|&i| c.speed_rpm[i] > 500.0).collect();

    if let Some(vd) = displacement_m3 {
        air_signs(c, &running, vd, &mut out);
    }

    let lack: Vec<f64> = running
        .iter()
        .filter(|&&i| {
            c.manifold_kpa[i] > 1.2 * c.barometer_kpa.unwrap_or(100.0) || c.manifold_kpa[i].is_nan()
        })
        .map(|&i| c.boost_lack_kpa[i])
        .collect();
    if let Some(v) = percentile(lack, 0.7) {
        out.list.push(sign("sign-boost-lack", v, heavy(2.0, 6.0), &[(M::BoostLeak, heavy(25.0, 16.0))]));
    }

    let egr: Vec<f64> = running
        .iter()
        .filter(|&&i| c.egr_asked_percent[i] < 15.0)
        .map(|&i| c.egr_excess_percent[i])
        .collect();
    if let Some(v) = percentile(egr, 0.5) {
        out.list.push(sign(
            "sign-egr-excess",
            v,
            heavy(0.0, 3.5),
            &[(M::EgrOpen, Mixture::of(vec![(0.95, 30.0, 14.0), (0.05, 5.0, 10.0)]))],
        ));
    }

    coolant_sign(c, &running, &mut out);
    temperature_signs(c, &running, &mut out);
    out
}

/// Metered air against what engine speed, manifold pressure and displacement give. The ratio (ln) of a sound
/// engine is that of its filling alone where no exhaust is recirculated: volumetric efficiencies lie within
/// some 7 % of each other, the intake air's temperature adds little. Recirculation lowers it and fades out
/// with load, so that the ratio at the highest boost is the sharpest where the valve's position is not told.
fn air_signs(c: &Conditions, running: &[usize], displacement_m3: f64, out: &mut Signs) {
    use EngineMode as M;
    let ratio = |i: &usize| {
        let t = if c.charge_k[*i].is_finite() { c.charge_k[*i] } else { 315.0 };
        (c.air_kg_per_s[*i] / speed_density(displacement_m3, c.speed_rpm[*i], c.manifold_kpa[*i], t)).ln()
    };
    let barometer = c.barometer_kpa.unwrap_or(100.0);
    // The gas in the manifold swings with every gear change; look where it is at rest.
    let steady = |i: &usize| {
        *i > 2 && *i + 2 < c.len() && (c.manifold_kpa[*i + 2] - c.manifold_kpa[*i - 2]).abs() < 8.0
    };
    let shut = |i: &usize| c.egr_asked_percent[*i] + c.egr_excess_percent[*i] < 3.0;
    let of = |take: &dyn Fn(&usize) -> bool| {
        percentile(running.iter().filter(|i| steady(i) && take(i)).map(ratio).collect(), 0.5)
    };
    let boosted = |times: f64| move |i: &usize| c.manifold_kpa[*i] > times * barometer;
    // (ratio, that of a sound engine, its spread, whether a leak of the charge air would count).
    let high = of(&|i| shut(i) && boosted(1.35)(i))
        .map(|r| (r, -0.06, 0.08, true))
        .or_else(|| of(&boosted(1.8)).map(|r| (r, -0.1, 0.09, true)))
        .or_else(|| of(&boosted(1.6)).map(|r| (r, -0.14, 0.11, true)))
        .or_else(|| of(&shut).map(|r| (r, -0.06, 0.08, false)))
        .or_else(|| of(&boosted(1.35)).map(|r| (r, -0.2, 0.13, true)));
    if let Some((r, sound, spread, leaks)) = high {
        let d = r - sound;
        out.meter = Some((d, spread));
        let around = |mean: f64, sd: f64| (mean, spread.hypot(sd));
        let two = |share: f64, a: (f64, f64), b: (f64, f64)| {
            Mixture::of(vec![(share, a.0, a.1), (1.0 - share, b.0, b.1)])
        };
        let density = |m: M| match m {
            // A drift that matters is 10 to 25 % of the reading, dirt lowers it, a wrong curve may raise it.
            M::MeterDrift => two(0.5, around(-0.17, 0.09), around(0.17, 0.09)),
            // A leak that counts loses a tenth to a half of the metered air under boost.
            M::BoostLeak if leaks => two(0.6, around(0.16, 0.09), around(0.36, 0.1)),
            M::EgrOpen => Mixture::of(vec![(0.9, -0.19, spread.hypot(0.11)), (0.1, -0.19, 0.35)]),
            _ => heavy(0.0, spread),
        };
        out.list.push(Sign {
            name: "sign-air-high-load",
            value: r.exp(),
            log_likelihood: M::ALL.map(|m| density(m).log_density(d)),
        });
    }
    if let Some(r) = of(&|i| c.manifold_kpa[*i] < 1.12 * barometer) {
        let density = |m: M| match m {
            M::MeterDrift => Mixture::of(vec![(0.5, -0.57, 0.3), (0.5, -0.22, 0.3)]),
            M::EgrOpen => heavy(-0.65, 0.28),
            _ => heavy(-0.38, 0.25),
        };
        out.list.push(Sign {
            name: "sign-air-low-load",
            value: r.exp(),
            log_likelihood: M::ALL.map(|m| density(m).log_density(r)),
        });
    }
}

/// While the thermostat is shut, a driven engine warms its coolant by one to ten kelvin a minute (60 K in eight
/// to thirty minutes, common practice): a coolant that stays below its band and climbs slower than this has
/// found its level, K/min.
const CLIMB: f64 = 0.4;

/// Where the coolant settles. Below its band and still climbing it says nothing.
fn coolant_sign(c: &Conditions, running: &[usize], out: &mut Signs) {
    use EngineMode as M;
    let minutes = running.len() as f64 * STEP_S / 60.0;
    let driving = running.iter().filter(|&&i| c.road_km_per_h[i] > 15.0).count() as f64 * STEP_S / 60.0;
    let late = &running[running.len() * 2 / 3..];
    let shown: Vec<f64> = late.iter().map(|&i| c.coolant_degc[i]).collect();
    let start = running.iter().map(|&i| c.coolant_degc[i]).find(|v| v.is_finite());
    let (Some(v), Some(start)) = (percentile(shown.clone(), 0.7), start) else { return };
    let moving = late.iter().filter(|&&i| c.road_km_per_h[i] > 15.0).count() * 3 > late.len();
    // At idle even a closed thermostat lets the coolant climb but slowly.
    let least = if moving { CLIMB } else { 0.4 * CLIMB };
    let levelled = minutes > 6.0 && climb(&shown).is_some_and(|k| k < least);
    let had_time =
        driving > 12.0 || minutes > 25.0 || levelled || (start > 50.0 && minutes > 4.0 && v - start < 6.0);
    if v > 79.0 || had_time {
        out.list.push(sign(
            "sign-coolant",
            v,
            // Thermostats open between 80 and 92 degC; colder for good is an engine that idles in frost.
            Mixture::of(vec![(0.93, 89.0, 5.0), (0.07, 80.0, 6.0)]),
            // Stuck wide open the coolant stays near 65 degC; half open or under load it comes near its band.
            &[(M::Cold, Mixture::of(vec![(0.75, 66.0, 7.0), (0.25, 77.0, 6.0)]))],
        ));
    }
}

/// Slope of evenly spaced cells by least squares, units per minute.
fn climb(values: &[f64]) -> Option<f64> {
    let known: Vec<(f64, f64)> = values
        .iter()
        .enumerate()
        .filter(|(_, v)| v.is_finite())
        .map(|(i, v)| (i as f64 * STEP_S / 60.0, *v))
        .collect();
    let n = known.len() as f64;
    let (mt, mv) = known.iter().fold((0.0, 0.0), |(a, b), (t, v)| (a + t / n, b + v / n));
    let (tt, tv) =
        known.iter().fold((0.0, 0.0), |(a, b), (t, v)| (a + (t - mt).powi(2), b + (t - mt) * (v - mv)));
    (known.len() >= 20 && tt > 0.1).then(|| tv / tt)
}

fn temperature_signs(c: &Conditions, running: &[usize], out: &mut Signs) {
    use EngineMode as M;
    let calm: Vec<usize> =
        running.iter().copied().filter(|&i| c.regeneration[i].is_nan() || c.regeneration[i] <= 0.5).collect();
    // The brick evens out the swings: over a long stretch before and after agree on the mean.
    let settle = calm.len() / 4;
    let difference: Vec<f64> = calm[settle..].iter().map(|&i| c.before_k[i] - c.after_k[i]).collect();
    let n = difference.iter().filter(|v| v.is_finite()).count();
    if n as f64 * STEP_S > 120.0 {
        let mean = difference.iter().filter(|v| v.is_finite()).sum::<f64>() / n as f64;
        // In a short recording the brick still takes up or gives back heat.
        let spread = if n as f64 * STEP_S > 480.0 { 16.0 } else { 20.0 };
        out.list.push(sign(
            "sign-before-after",
            mean,
            Mixture::of(vec![(0.94, 9.0, spread), (0.06, 9.0, 2.5 * spread)]),
            &[(
                M::TemperatureSensor,
                Mixture::of(vec![(0.35, -60.0, 32.0), (0.35, 70.0, 32.0), (0.3, 9.0, spread)]),
            )],
        ));
    }
    // Cold start: all sensors should agree with the surroundings.
    let first = running.iter().copied().find(|&i| c.coolant_degc[i].is_finite());
    if let Some(i) = first
        && c.coolant_degc[i] < 40.0
        // A minute of running warms the exhaust; the recording must begin before that.
        && i < (20.0 / STEP_S) as usize
        && let Some(cold) = median(&[c.coolant_degc[i] + 273.15, c.ambient_k.unwrap_or(f64::NAN)])
    {
        let around =
            |v: &[f64]| v[i.saturating_sub(40)..(i + 4).min(v.len())].iter().copied().find(|x| x.is_finite());
        let worst = [Some(&c.before_k), Some(&c.after_k)]
            .into_iter()
            .flatten()
            .filter_map(|v| around(v))
            .map(|t| t - cold)
            .max_by(|a, b| a.abs().total_cmp(&b.abs()));
        if let Some(d) = worst {
            out.list.push(sign(
                "sign-cold-soak",
                d,
                Mixture::of(vec![(0.8, 8.0, 14.0), (0.2, 40.0, 60.0)]),
                &[(
                    M::TemperatureSensor,
                    Mixture::of(vec![(0.4, 60.0, 30.0), (0.4, -60.0, 30.0), (0.2, 3.0, 10.0)]),
                )],
            ));
        }
    }
    // A sensor that never moves while the flow does.
    let flow = percentile(calm.iter().map(|&i| c.flow_kg_per_s[i]).collect(), 0.9)
        .zip(percentile(calm.iter().map(|&i| c.flow_kg_per_s[i]).collect(), 0.1));
    if let Some((hi, lo)) = flow
        && hi > 2.0 * lo
        && calm.len() as f64 * STEP_S > 240.0
    {
        let moves = |v: &[f64]| {
            let v: Vec<f64> = calm.iter().map(|&i| v[i]).collect();
            percentile(v.clone(), 0.98).zip(percentile(v, 0.02)).map(|(a, b)| a - b)
        };
        let mut all: Vec<f64> = [&c.before_k, &c.after_k].into_iter().filter_map(|v| moves(v)).collect();
        all.extend(c.other_k.iter().filter_map(|v| moves(v)));
        if let Some(least) = all.into_iter().min_by(f64::total_cmp) {
            let still = least < 3.0;
            let (stuck, sound): (f64, f64) = if still { (0.4, 2e-3) } else { (0.6, 0.998) };
            out.list.push(Sign {
                name: "sign-temperature-still",
                value: least,
                log_likelihood: EngineMode::ALL
                    .map(|m| if m == M::TemperatureSensor { stuck.ln() } else { sound.ln() }),
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fmt::Write as _;

    /// Twelve minutes on the road, coolant polled every fifteen seconds.
    fn coolant(degc: impl Fn(f64) -> f64) -> Option<f64> {
        let mut text =
            String::from("time [s],engine_speed [rpm],vehicle_speed [km/h],coolant_temperature [degC]\n");
        for i in 0..720 {
            let shown = if i % 15 == 0 { format!("{:.0}", degc(f64::from(i) / 60.0)) } else { String::new() };
            writeln!(text, "{i},1800,50,{shown}").expect("text grows");
        }
        let r = recording::read_bytes("drive.csv", text.as_bytes(), &recording::Options::default());
        assert_eq!(r.signals.len(), 3, "{:?}", r.problems);
        let signs = read(&Conditions::new(&r, 835.0, None), None);
        let at = |m| EngineMode::ALL.iter().position(|o| *o == m);
        let (cold, sound) = at(EngineMode::Cold).zip(at(EngineMode::Sound))?;
        let sign = signs.list.iter().find(|s| s.name == "sign-coolant")?;
        Some(sign.log_likelihood[cold] - sign.log_likelihood[sound])
    }

    #[test]
    fn property_coolant_speaks_where_it_has_settled() {
        assert!(coolant(|_| 68.0).is_some_and(|l| l > 3.0), "level below the band");
        assert!(coolant(|_| 90.0).is_some_and(|l| l < -2.0), "level in the band");
        assert!(coolant(|t| 20.0 + 4.5 * t).is_none(), "still climbing");
    }

    /// ln likelihood of a drifted meter over a sound engine, the meter showing `share` of a sound engine's air.
    fn air(share: f64, valve_percent: Option<f64>) -> Option<f64> {
        let mut text = String::from(
            "time [s],engine_speed [rpm],intake_manifold_pressure [kPa],intake_air_mass_flow [g/s],barometric_pressure [kPa]",
        );
        if valve_percent.is_some() {
            text += ",egr_commanded [%],egr_actual [%]";
        }
        text += "\n";
        for i in 0..200 {
            let air = speed_density(2e-3, 2000.0, 185.0, 315.0) * 1000.0 * f64::exp(-0.08) * share;
            write!(text, "{i},2000,185,{air:.3},100").expect("text grows");
            if let Some(v) = valve_percent {
                write!(text, ",{v},{v}").expect("text grows");
            }
            text += "\n";
        }
        let r = recording::read_bytes("drive.csv", text.as_bytes(), &recording::Options::default());
        let signs = read(&Conditions::new(&r, 835.0, Some(2e-3)), Some(2e-3));
        let at = |m| EngineMode::ALL.iter().position(|o| *o == m);
        let (drift, sound) = at(EngineMode::MeterDrift).zip(at(EngineMode::Sound))?;
        let sign = signs.list.iter().find(|s| s.name == "sign-air-high-load")?;
        Some(sign.log_likelihood[drift] - sign.log_likelihood[sound])
    }

    #[test]
    fn property_a_meter_is_judged_where_nothing_recirculates() {
        for valve in [None, Some(0.0)] {
            assert!(air(1.0, valve).is_some_and(|l| l < -0.5), "{valve:?}");
            assert!(air(0.75, valve).is_some_and(|l| l > 1.0), "{valve:?}");
            assert!(air(1.25, valve).is_some_and(|l| l > 0.5), "{valve:?}");
        }
    }
}
