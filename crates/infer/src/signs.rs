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
        // Manifold over 1.35 bar: EGR is small and the flow meter's error stands alone.
        let ratio = |i: &usize| {
            let t = if c.charge_k[*i].is_finite() { c.charge_k[*i] } else { 315.0 };
            (c.air_kg_per_s[*i] / speed_density(vd, c.speed_rpm[*i], c.manifold_kpa[*i], t)).ln()
        };
        let barometer = c.barometer_kpa.unwrap_or(100.0);
        // The gas in the manifold swings with every gear change; look where it is at rest.
        let steady = |i: &usize| {
            *i > 2 && *i + 2 < c.len() && (c.manifold_kpa[*i + 2] - c.manifold_kpa[*i - 2]).abs() < 8.0
        };
        let high: Vec<f64> = running
            .iter()
            .filter(|&i| c.manifold_kpa[*i] > 1.35 * barometer && steady(i))
            .map(ratio)
            .collect();
        let low: Vec<f64> = running
            .iter()
            .filter(|&i| c.manifold_kpa[*i] < 1.12 * barometer && steady(i))
            .map(ratio)
            .collect();
        if let Some(r) = percentile(high, 0.5) {
            out.meter = Some((r + 0.2, 0.14));
            // Some EGR still flows at moderate boost, and the intake temperature sensor may sit before the
            // compressor, where the air is colder than in the manifold: both lower the ratio.
            let of = |m: M| match m {
                M::MeterDrift => Mixture::of(vec![(0.5, -0.37, 0.16), (0.5, -0.03, 0.16)]),
                // A leak that counts loses a tenth to a half of the metered air under boost.
                M::BoostLeak => Mixture::of(vec![(0.6, -0.04, 0.17), (0.4, 0.16, 0.18)]),
                M::EgrOpen => heavy(-0.38, 0.16),
                _ => heavy(-0.2, 0.13),
            };
            out.list.push(Sign {
                name: "sign-air-high-load",
                value: r.exp(),
                log_likelihood: EngineMode::ALL.map(|m| of(m).log_density(r)),
            });
        }
        if let Some(r) = percentile(low, 0.5) {
            let of = |m: M| match m {
                M::MeterDrift => Mixture::of(vec![(0.5, -0.57, 0.3), (0.5, -0.22, 0.3)]),
                M::EgrOpen => heavy(-0.65, 0.28),
                _ => heavy(-0.38, 0.25),
            };
            out.list.push(Sign {
                name: "sign-air-low-load",
                value: r.exp(),
                log_likelihood: EngineMode::ALL.map(|m| of(m).log_density(r)),
            });
        }
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

    let minutes = running.len() as f64 * STEP_S / 60.0;
    let driving = running.iter().filter(|&&i| c.road_km_per_h[i] > 15.0).count() as f64 * STEP_S / 60.0;
    let late: Vec<f64> = running[running.len() * 2 / 3..].iter().map(|&i| c.coolant_degc[i]).collect();
    let start = running.iter().map(|&i| c.coolant_degc[i]).find(|v| v.is_finite());
    if let (Some(v), Some(start)) = (percentile(late.clone(), 0.7), start) {
        // Below its band before the engine had time to warm, the coolant says nothing.
        let level = percentile(late.clone(), 0.95).zip(percentile(late.clone(), 0.05));
        let settled = minutes > 8.0 && level.is_some_and(|(hi, lo)| hi - lo < 5.0);
        let had_time =
            driving > 12.0 || minutes > 25.0 || settled || (start > 50.0 && minutes > 4.0 && v - start < 6.0);
        if v > 79.0 || had_time {
            out.list.push(sign(
                "sign-coolant",
                v,
                Mixture::of(vec![(0.9, 88.0, 4.5), (0.1, 78.0, 8.0)]),
                &[(M::Cold, Mixture::of(vec![(0.9, 65.0, 6.5), (0.1, 74.0, 6.0)]))],
            ));
        }
    }

    temperature_signs(c, &running, &mut out);
    out
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
        let spread = if n as f64 * STEP_S > 480.0 { 16.0 } else { 26.0 };
        out.list.push(sign(
            "sign-before-after",
            mean,
            heavy(9.0, spread),
            &[(
                M::TemperatureSensor,
                Mixture::of(vec![(0.35, -60.0, 32.0), (0.35, 70.0, 32.0), (0.3, 8.0, 2.0 * spread)]),
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
