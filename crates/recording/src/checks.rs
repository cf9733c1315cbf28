//! Self-checks on decoded signals where open sources disagree about a scale or leave a reference open.

use crate::model::{Note, NoteKind, Problems, Signal};
use crate::quantity::Quantity;

/// A filter's pressure drop outside this range, in kPa, with the vehicle at rest means a wrong reading of the bytes.
const AT_REST_KPA: std::ops::RangeInclusive<f64> = -20.0..=150.0;
/// No filter lives beyond this (judgement, no source). Far below zero is possible: swapped hoses on a full filter.
const POSSIBLE_KPA: std::ops::RangeInclusive<f64> = -150.0..=150.0;
/// At engine off the pressure drop is zero but for the sensor's own error.
const ZERO_KPA: f64 = 3.0;

fn median(mut values: Vec<f64>) -> Option<f64> {
    let middle = values.len() / 2;
    if values.is_empty() {
        return None;
    }
    let (_, m, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*m)
}

/// Last value at or before each time, if not older than `oldest` seconds.
fn held(signal: &Signal, time: f64, oldest: f64) -> Option<f64> {
    let after = signal.time_s.partition_point(|t| *t <= time);
    let at = after.checked_sub(1)?;
    let (t, v) = (signal.time_s.get(at)?, signal.value.get(at)?);
    (time - t <= oldest).then_some(*v)
}

fn best(signals: &[Signal], quantity: Quantity) -> Option<&Signal> {
    signals.iter().filter(|s| s.quantity == quantity).max_by_key(|s| s.value.len())
}

/// The other reading of the two bytes found in open sources: an offset of half the range.
fn as_offset_binary(kpa: f64) -> f64 {
    if kpa < 0.0 { kpa + 327.68 } else { kpa - 327.68 }
}

/// Share of the values that cannot be: those at rest when the recording knows the road speed, or else all.
fn share_outside(signal: &Signal, all: &[Signal], map: impl Fn(f64) -> f64) -> f64 {
    let speed = best(all, Quantity::VehicleSpeed);
    let at_rest = |t: f64| speed.and_then(|s| held(s, t, 2.0)) == Some(0.0);
    let share = |values: &[f64], range: std::ops::RangeInclusive<f64>| {
        let outside = values.iter().filter(|v| !range.contains(&map(**v))).count();
        outside as f64 / values.len().max(1) as f64
    };
    let pairs = signal.time_s.iter().zip(&signal.value);
    let rest: Vec<f64> = pairs.filter(|(t, _)| at_rest(**t)).map(|(_, v)| *v).collect();
    share(&rest, AT_REST_KPA).max(share(&signal.value, POSSIBLE_KPA))
}

/// True for signals whose scale or reference is settled by the recording as a whole.
pub(crate) fn needs_whole_recording(signal: &Signal) -> bool {
    use Quantity as Q;
    let pressures = matches!(
        signal.quantity,
        Q::FilterDifferentialPressure | Q::FilterInletPressure | Q::FilterOutletPressure
    );
    let obd = signal.source.ends_with(" 7A") || signal.source.ends_with(" 7B");
    pressures && obd || matches!(signal.quantity, Q::ExhaustPressure | Q::TurbochargerSpeed)
}

enum Verdict {
    /// The assumed reading holds; how it was checked.
    Kept(String),
    /// The assumed reading is used, but nothing in the recording settles it.
    Open(String),
    /// Another reading is proven by the recording itself.
    Changed { offset_binary: bool, tenfold: bool, why: String },
    /// No reading makes sense.
    Withheld(String),
}

/// OBD parameters 7A and 7B: signed 0.01 kPa is assumed (J1979 digital annex, from memory); other sources read
/// an offset of half the range, or 0.1 kPa. The recording decides: inlet minus outlet, the pressure drop with
/// the engine off, the outlet against the barometer, the possible range.
pub(crate) fn filter_pressure_scale(
    signals: &mut Vec<Signal>,
    notes: &mut Vec<Note>,
    problems: &mut Problems,
) {
    let mut withheld = Vec::new();
    for n in 0..signals.len() {
        let Some(signal) = signals.get(n) else { continue };
        let drop = signal.quantity == Quantity::FilterDifferentialPressure;
        if !drop || !(signal.source.ends_with(" 7A") || signal.source.ends_with(" 7B")) {
            continue;
        }
        let source = signal.source.clone();
        match judge(signal, signals) {
            Verdict::Kept(how) => {
                notes.push(Note {
                    time_s: None,
                    source: source.clone(),
                    kind: NoteKind::Assumption,
                    text: format!("differential pressure read as signed 0.01 kPa a count; {how}"),
                });
            }
            Verdict::Open(why) => {
                problems.add(
                    None,
                    None,
                    || format!("{source}: differential pressure read as signed 0.01 kPa a count; {why}"),
                    "record some seconds with the ignition on and the engine off, or compare one value with a gauge",
                );
            }
            Verdict::Changed { offset_binary, tenfold, why } => {
                for other in signals.iter_mut().filter(|s| s.source == source) {
                    let drop = other.quantity == Quantity::FilterDifferentialPressure;
                    for value in &mut other.value {
                        if drop && offset_binary {
                            *value = as_offset_binary(*value);
                        }
                        if tenfold {
                            *value *= 10.0;
                        }
                    }
                    other.resolution *= if tenfold { 10.0 } else { 1.0 };
                }
                problems.add(
                    None,
                    None,
                    || format!("{source}: the usual reading of the filter pressures does not fit; {why}"),
                    "compare one value with what a gauge or the maker's equipment shows",
                );
            }
            Verdict::Withheld(why) => {
                withheld.push(n);
                problems.add(
                    None,
                    None,
                    || format!("{source}: differential pressure withheld: {why}"),
                    "check the sensor's plug and wiring, and compare one value with what a gauge or the maker's \
                     equipment shows",
                );
                continue;
            }
        }
        drop_impossible(signals, n, problems);
    }
    for n in withheld.into_iter().rev() {
        if n < signals.len() {
            signals.remove(n);
        }
    }
}

/// Single impossible values are disturbances: they go, the rest stays.
fn drop_impossible(signals: &mut [Signal], n: usize, problems: &mut Problems) {
    let Some(signal) = signals.get_mut(n) else { return };
    let before = signal.value.len();
    let kept: (Vec<f64>, Vec<f64>) = signal
        .time_s
        .iter()
        .copied()
        .zip(signal.value.iter().copied())
        .filter(|(_, v)| POSSIBLE_KPA.contains(v))
        .unzip();
    let lost = before - kept.1.len();
    if lost > 0 {
        (signal.time_s, signal.value) = kept;
        problems.add(
            None,
            None,
            || format!("{}: {lost} differential pressures outside -150 to 150 kPa left out", signal.source),
            "look at the sensor and its wiring if there are many",
        );
    }
}

fn judge(signal: &Signal, all: &[Signal]) -> Verdict {
    let of = |q| all.iter().find(|s| s.quantity == q && s.source == signal.source);
    if let (Some(inlet), Some(outlet)) =
        (of(Quantity::FilterInletPressure), of(Quantity::FilterOutletPressure))
    {
        let both: Vec<(f64, f64)> = signal
            .time_s
            .iter()
            .zip(&signal.value)
            .filter_map(|(t, v)| Some((*v, held(inlet, *t, 0.0)? - held(outlet, *t, 0.0)?)))
            .collect();
        let error = |map: fn(f64) -> f64| median(both.iter().map(|(v, d)| (map(*v) - d).abs()).collect());
        let allowed = median(both.iter().map(|(_, d)| d.abs()).collect()).map_or(0.5, |d| 0.5 + 0.1 * d);
        if let Some(found) = error(|v| v).filter(|e| *e <= allowed) {
            let tenth = best(all, Quantity::BarometricPressure)
                .and_then(|b| median(b.value.clone()))
                .zip(median(outlet.value.clone()))
                .is_some_and(|(air, out)| (-3.0..=20.0).contains(&(10.0 * out - air)));
            if tenth {
                let why = "the outlet agrees with the barometer at 0.1 kPa a count, which is used".to_owned();
                return Verdict::Changed { offset_binary: false, tenfold: true, why };
            }
            return Verdict::Kept(format!("checked: inlet minus outlet agrees within {found:.2} kPa"));
        }
        if error(as_offset_binary).is_some_and(|e| e <= allowed) {
            let why = "inlet minus outlet agrees with an offset of 327.68 kPa, which is used".to_owned();
            return Verdict::Changed { offset_binary: true, tenfold: false, why };
        }
        if let Some(found) = error(|v| v) {
            return Verdict::Withheld(format!("it differs from inlet minus outlet by {found:.2} kPa"));
        }
    }
    let off: Vec<f64> = best(all, Quantity::EngineSpeed).map_or_else(Vec::new, |rpm| {
        let pairs = signal.time_s.iter().zip(&signal.value);
        pairs.filter(|(t, _)| held(rpm, **t, 2.0) == Some(0.0)).map(|(_, v)| *v).collect()
    });
    let at_rest = |map: fn(f64) -> f64| median(off.iter().map(|v| map(*v).abs()).collect());
    let outside = share_outside(signal, all, |v| v);
    if let Some(found) = at_rest(as_offset_binary).filter(|r| *r <= ZERO_KPA)
        && share_outside(signal, all, as_offset_binary) <= 0.05
    {
        let why = format!("with an offset of 327.68 kPa, which is used, it is {found:.2} kPa at engine off");
        return Verdict::Changed { offset_binary: true, tenfold: false, why };
    }
    if outside > 0.05 {
        let middle = median(signal.value.clone()).unwrap_or(f64::NAN);
        return Verdict::Withheld(format!(
            "{:.0} % of the values are outside what can be, -20 to 150 kPa at rest (median {middle:.2} kPa)",
            outside * 100.0
        ));
    }
    match at_rest(|v| v) {
        Some(found) if found <= ZERO_KPA => Verdict::Kept(format!("checked: {found:.2} kPa at engine off")),
        Some(found) => {
            Verdict::Open(format!("it is {found:.2} kPa at engine off: zero error or another scale"))
        }
        None => Verdict::Open("nothing in the recording checks this disputed scale".to_owned()),
    }
}

/// Says which of the open readings was taken for exhaust pressure (73) and turbocharger speed (74); what the recording
/// does not settle is a problem.
pub(crate) fn disputed_references(signals: &mut [Signal], notes: &mut Vec<Note>, problems: &mut Problems) {
    let air = best(signals, Quantity::BarometricPressure).and_then(|b| median(b.value.clone()));
    for signal in signals.iter_mut() {
        let mut open = None;
        let text = match signal.quantity {
            Quantity::ExhaustPressure => {
                let low = signal.value.iter().copied().fold(f64::INFINITY, f64::min);
                match air {
                    Some(air) if low > 0.8 * air => "by its lowest value it is absolute".to_owned(),
                    Some(_) => "by its lowest value it is over atmosphere".to_owned(),
                    None => {
                        open = Some("record the barometric pressure (parameter 33) too");
                        "absolute or over atmosphere is not known".to_owned()
                    }
                }
            }
            Quantity::TurbochargerSpeed => {
                // No car turbocharger turns faster than about 350 000 rpm (common practice).
                let high = signal.value.iter().copied().fold(0.0, f64::max);
                if high > 350_000.0 {
                    signal.value.iter_mut().for_each(|v| *v /= 10.0);
                    signal.resolution /= 10.0;
                    "read as 1 rpm a count: 10 rpm would be faster than any turbocharger".to_owned()
                } else {
                    // At 1 rpm a count nothing above 35,000 rpm could be; a turning turbocharger tells.
                    if high < 20_000.0 {
                        open = Some("record at higher load: a value above 20 000 rpm settles the scale");
                    }
                    "read as 10 rpm a count (disputed between sources)".to_owned()
                }
            }
            _ => continue,
        };
        let source = signal.source.clone();
        match open {
            Some(what_to_do) => problems.add(None, None, || format!("{source}: {text}"), what_to_do),
            None => notes.push(Note { time_s: None, source, kind: NoteKind::Assumption, text }),
        }
    }
}
