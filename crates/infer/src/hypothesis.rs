//! What each fault does to flow, pressure reading, temperature, soot and ash: the fault sets that are
//! weighed against each other.

use facts::FaultId;

/// How the pressure reading relates to the filter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum SensorMode {
    Sound,
    Zero,
    OffUpstream,
    OffDownstream,
    Swapped,
    Leaking,
    Blocked,
    Frozen,
    Cracked,
    Removed,
}

impl SensorMode {
    /// Every mode.
    pub const ALL: [Self; 10] = [
        Self::Sound,
        Self::Zero,
        Self::OffUpstream,
        Self::OffDownstream,
        Self::Swapped,
        Self::Leaking,
        Self::Blocked,
        Self::Frozen,
        Self::Cracked,
        Self::Removed,
    ];
}

/// What the engine and its sensors do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum EngineMode {
    Sound,
    MeterDrift,
    BoostLeak,
    EgrOpen,
    Cold,
    TemperatureSensor,
    Sooting,
}

impl EngineMode {
    /// Every mode.
    pub const ALL: [Self; 7] = [
        Self::Sound,
        Self::MeterDrift,
        Self::BoostLeak,
        Self::EgrOpen,
        Self::Cold,
        Self::TemperatureSensor,
        Self::Sooting,
    ];
}

/// How soot came to be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum SootMode {
    Usual,
    ShortTrips,
    Incomplete,
    Misled,
}

/// How much ash there is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum AshMode {
    ByDistance,
    Full,
    Fast,
}

/// One fault set of the filter side with what it does.
#[derive(Debug, Clone, PartialEq)]
pub struct Hypothesis {
    /// Faults, sorted.
    pub faults: Vec<FaultId>,
    /// Sensor.
    pub sensor: SensorMode,
    /// Engine.
    pub engine: EngineMode,
    /// Soot.
    pub soot: SootMode,
    /// Ash.
    pub ash: AshMode,
    /// Logarithm of the prior weight (not normalised).
    pub log_prior: f64,
}

/// True for faults of the additive system, which the balance judges.
#[must_use]
pub fn is_additive(f: FaultId) -> bool {
    use FaultId as F;
    matches!(
        f,
        F::AdditiveEmpty
            | F::AdditiveUnderDosed
            | F::AdditiveOverDosed
            | F::AdditiveLeak
            | F::CounterNotReset
            | F::RefillNotWrittenDown
            | F::WrongQuantityEntered
            | F::RefuellingNotRecognised
            | F::WrongStrength
            | F::DoserPumpFailed
            | F::DoserBlocked
            | F::AdditiveLevelSensor
            | F::AdditiveWiring
            | F::AdditiveLineAir
            | F::AdditiveLineNotBled
            | F::AdditiveUnitNotCoded
    )
}

/// True for additive faults after which soot burns no better than without additive.
#[must_use]
pub fn leaves_soot_undoped(f: FaultId) -> bool {
    use FaultId as F;
    matches!(
        f,
        F::AdditiveEmpty
            | F::AdditiveUnderDosed
            | F::RefuellingNotRecognised
            | F::DoserPumpFailed
            | F::DoserBlocked
            | F::AdditiveWiring
            | F::AdditiveLineAir
            | F::AdditiveLineNotBled
            | F::AdditiveUnitNotCoded
    )
}

/// Effects of one filter-side fault.
fn effects(f: FaultId) -> (SensorMode, EngineMode, SootMode, AshMode) {
    use FaultId as F;
    // A controller that is shown a wrong pressure starts its burns too early, too late or never.
    let (s, e, o, a) = (SensorMode::Sound, EngineMode::Sound, SootMode::Usual, AshMode::ByDistance);
    match f {
        F::ZeroError => (SensorMode::Zero, e, o, a),
        F::HoseOffUpstream => (SensorMode::OffUpstream, e, SootMode::Misled, a),
        F::HoseOffDownstream => (SensorMode::OffDownstream, e, SootMode::Misled, a),
        F::HosesSwapped => (SensorMode::Swapped, e, SootMode::Misled, a),
        F::HoseLeaking => (SensorMode::Leaking, e, SootMode::Misled, a),
        F::HoseBlocked => (SensorMode::Blocked, e, SootMode::Misled, a),
        F::SensorFrozen => (SensorMode::Frozen, e, SootMode::Misled, a),
        F::SubstrateCracked => (SensorMode::Cracked, e, o, a),
        F::FilterRemoved => (SensorMode::Removed, e, o, a),
        F::FlowMeterDrift => (s, EngineMode::MeterDrift, o, a),
        F::TemperatureSensor => (s, EngineMode::TemperatureSensor, o, a),
        F::BoostLeak => (s, EngineMode::BoostLeak, o, a),
        F::EgrStuckOpen => (s, EngineMode::EgrOpen, o, a),
        F::ThermostatStuckOpen => (s, EngineMode::Cold, o, a),
        F::InjectorOverfuelling | F::TurboOilLeak | F::Aus32InFuel => (s, EngineMode::Sooting, o, a),
        F::SootShortTrips | F::RegenerationInhibited => (s, e, SootMode::ShortTrips, a),
        F::RegenerationIncomplete | F::OxidationCatalystDamaged | F::ExhaustFuelDoserBlocked => {
            (s, e, SootMode::Incomplete, a)
        }
        F::AshFull => (s, e, o, AshMode::Full),
        F::WrongEngineOil => (s, e, o, AshMode::Fast),
        _ => (s, e, o, a),
    }
}

/// Weight of a second, independent fault against a single one: cars often carry two (`common practice`);
/// an expert guess, to be replaced by the workshop's closed jobs.
pub const SECOND_FAULT: f64 = 0.15;

/// Sensor modes, the one that hides the others first: a frozen sensor shows nothing of a loose hose, a hose
/// that is off nothing of a shifted zero.
const SEEN_FIRST: [SensorMode; 10] = [
    SensorMode::Frozen,
    SensorMode::Blocked,
    SensorMode::OffUpstream,
    SensorMode::Swapped,
    SensorMode::Removed,
    SensorMode::OffDownstream,
    SensorMode::Cracked,
    SensorMode::Leaking,
    SensorMode::Zero,
    SensorMode::Sound,
];

/// Engine modes, the one that shows most in a recording first.
const HEARD_FIRST: [EngineMode; 7] = [
    EngineMode::MeterDrift,
    EngineMode::BoostLeak,
    EngineMode::EgrOpen,
    EngineMode::Sooting,
    EngineMode::TemperatureSensor,
    EngineMode::Cold,
    EngineMode::Sound,
];

/// Ways of soot, the one that leaves most first; misled is vaguer than a stated cause.
const SOOT_FIRST: [SootMode; 4] =
    [SootMode::Incomplete, SootMode::ShortTrips, SootMode::Misled, SootMode::Usual];

/// Ways of ash, likewise.
const ASH_FIRST: [AshMode; 3] = [AshMode::Full, AshMode::Fast, AshMode::ByDistance];

/// Of two modes of one part the one that is met with.
fn stronger<T: PartialEq + Copy>(order: &[T], a: T, b: T) -> T {
    order.iter().copied().find(|m| *m == a || *m == b).unwrap_or(a)
}

impl Hypothesis {
    /// What a set of filter-side faults does. Of two faults that act on one part the one acts that hides the
    /// other; both are still asked of the observations.
    #[must_use]
    pub fn of(faults: Vec<FaultId>, log_prior: f64) -> Self {
        let mut h = Self {
            faults,
            sensor: SensorMode::Sound,
            engine: EngineMode::Sound,
            soot: SootMode::Usual,
            ash: AshMode::ByDistance,
            log_prior,
        };
        for &f in &h.faults {
            let (s, e, o, a) = effects(f);
            h.sensor = stronger(&SEEN_FIRST, h.sensor, s);
            h.engine = stronger(&HEARD_FIRST, h.engine, e);
            h.soot = stronger(&SOOT_FIRST, h.soot, o);
            h.ash = stronger(&ASH_FIRST, h.ash, a);
        }
        h
    }
}

/// Every set of one to `most` of `faults` with the logarithm of its weight: that of its faults, and
/// [`SECOND_FAULT`] for each but the first. Smaller sets come first.
#[must_use]
pub fn sets(faults: &[FaultId], most: usize, weight: impl Fn(FaultId) -> f64) -> Vec<(Vec<FaultId>, f64)> {
    let logs: Vec<f64> = faults.iter().map(|f| weight(*f).ln()).collect();
    let mut out: Vec<(Vec<FaultId>, f64)> = Vec::new();
    let mut last: Vec<(Vec<FaultId>, f64, usize)> = vec![(Vec::new(), 0.0, 0)];
    for size in 0..most {
        let further = if size == 0 { 0.0 } else { SECOND_FAULT.ln() };
        last = last
            .iter()
            .flat_map(|(set, log, from)| {
                faults.iter().zip(&logs).enumerate().skip(*from).map(move |(i, (f, l))| {
                    let mut set = set.clone();
                    set.push(*f);
                    (set, log + l + further, i + 1)
                })
            })
            .collect();
        out.extend(last.iter().map(|(set, log, _)| (set.clone(), *log)));
    }
    out
}

/// Faults of the filter side, sorted.
#[must_use]
pub fn of_filter() -> Vec<FaultId> {
    FaultId::ALL.iter().copied().filter(|&f| !is_additive(f)).collect()
}

/// No fault and every set of at most `most` filter-side faults. `weight` is that of a single fault among cars
/// that come in, `none` that of no fault.
#[must_use]
pub fn enumerate(weight: impl Fn(FaultId) -> f64, none: f64, most: usize) -> Vec<Hypothesis> {
    std::iter::once(Hypothesis::of(Vec::new(), none.ln()))
        .chain(sets(&of_filter(), most, weight).into_iter().map(|(faults, log)| Hypothesis::of(faults, log)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_sets_are_counted_and_weighed_as_by_hand() {
        let faults = &FaultId::ALL[..5];
        let all = sets(faults, 3, |f| 0.01 * (1.0 + f as usize as f64));
        assert_eq!(all.len(), 5 + 10 + 10);
        let of = |set: &[usize]| {
            let want: Vec<FaultId> = set.iter().map(|i| FaultId::ALL[*i]).collect();
            all.iter().find(|s| s.0 == want).map(|s| s.1.exp())
        };
        assert!((of(&[2]).unwrap() - 0.03).abs() < 1e-12);
        assert!((of(&[0, 3]).unwrap() - 0.15 * 0.01 * 0.04).abs() < 1e-12);
        assert!((of(&[0, 1, 4]).unwrap() - 0.15 * 0.15 * 0.01 * 0.02 * 0.05).abs() < 1e-12);
    }

    #[test]
    fn property_what_a_set_does_hangs_not_on_the_order_of_its_faults() {
        let faults = of_filter();
        for (i, &f) in faults.iter().enumerate() {
            for &g in &faults[i + 1..] {
                let (a, b) = (Hypothesis::of(vec![f, g], 0.0), Hypothesis::of(vec![g, f], 0.0));
                assert_eq!((a.sensor, a.engine, a.soot, a.ash), (b.sensor, b.engine, b.soot, b.ash));
            }
        }
    }
}
