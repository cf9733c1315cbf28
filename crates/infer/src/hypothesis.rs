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
    /// Faults, at most two, sorted.
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

/// Enumerates none, singles and pairs of filter-side faults. `prior` gives the weight of a single fault
/// among cars that come in, `none` that of no fault. Pairs that act on one and the same part are left out.
#[must_use]
pub fn enumerate(prior: impl Fn(FaultId) -> f64, none: f64) -> Vec<Hypothesis> {
    let make = |faults: Vec<FaultId>, weight: f64| {
        let mut h = Hypothesis {
            faults,
            sensor: SensorMode::Sound,
            engine: EngineMode::Sound,
            soot: SootMode::Usual,
            ash: AshMode::ByDistance,
            log_prior: weight.max(1e-12).ln(),
        };
        let mut clash = false;
        for &f in &h.faults {
            let (s, e, o, a) = effects(f);
            if s != SensorMode::Sound {
                clash |= h.sensor != SensorMode::Sound;
                h.sensor = s;
            }
            if e != EngineMode::Sound {
                clash |= h.engine != EngineMode::Sound;
                h.engine = e;
            }
            match (h.soot, o) {
                (_, SootMode::Usual) => {}
                // Misled is the vaguer of the two: a stated cause of soot replaces it.
                (SootMode::Usual | SootMode::Misled, _) => h.soot = o,
                (_, SootMode::Misled) => {}
                _ => clash = true,
            }
            if a != AshMode::ByDistance {
                clash |= h.ash != AshMode::ByDistance;
                h.ash = a;
            }
        }
        (!clash).then_some(h)
    };
    let singles: Vec<FaultId> = FaultId::ALL.iter().copied().filter(|&f| !is_additive(f)).collect();
    let mut out: Vec<Hypothesis> = make(Vec::new(), none).into_iter().collect();
    out.extend(singles.iter().filter_map(|&f| make(vec![f], prior(f))));
    for (i, &f) in singles.iter().enumerate() {
        for &g in &singles[i + 1..] {
            out.extend(make(vec![f, g], SECOND_FAULT * prior(f) * prior(g)));
        }
    }
    out
}
