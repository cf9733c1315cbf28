//! Faults: how often they are drawn, how large they are, and what each does to the car and its signals.

use crate::draw::Draw;
use crate::filter_truth::Crack;
use crate::vehicle::EngineFaults;
use facts::FaultId;

/// The kinds, none first, with the weight each is drawn with.
pub const KINDS: [(Option<FaultId>, f64); 17] = [
    (None, 3.5),
    (Some(FaultId::ZeroError), 1.0),
    (Some(FaultId::HoseOffUpstream), 0.8),
    (Some(FaultId::HoseOffDownstream), 0.8),
    (Some(FaultId::HosesSwapped), 0.7),
    (Some(FaultId::HoseLeaking), 0.9),
    (Some(FaultId::HoseBlocked), 0.9),
    (Some(FaultId::SensorFrozen), 0.8),
    (Some(FaultId::SubstrateCracked), 1.0),
    (Some(FaultId::FlowMeterDrift), 1.0),
    (Some(FaultId::TemperatureSensor), 1.0),
    (Some(FaultId::BoostLeak), 1.0),
    (Some(FaultId::EgrStuckOpen), 1.0),
    (Some(FaultId::ThermostatStuckOpen), 1.0),
    (Some(FaultId::SootShortTrips), 1.2),
    (Some(FaultId::AshFull), 1.2),
    (Some(FaultId::RegenerationIncomplete), 1.2),
];

/// What is done to the pressure between taps and sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HoseFault {
    /// As it should be.
    None,
    /// The hose before the filter is off.
    OffUpstream,
    /// The hose after the filter is off.
    OffDownstream,
    /// Hoses on the wrong ports.
    Swapped,
    /// A leak leaves this share of the pressure.
    Leaking(f64),
    /// A block: the pressure arrives with this lag, s.
    BlockedSlow(f64),
    /// A block: what is enclosed stays, kPa.
    BlockedShut(f64),
}

/// What is wrong with the temperature sensor before the filter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ProbeFault {
    /// Nothing.
    None,
    /// Off by so many kelvin.
    Offset(f64),
    /// Shows this, degC, whatever the gas.
    Stuck(f64),
}

/// One fault with its size.
#[derive(Debug, Clone, Copy)]
pub struct Fault {
    /// Which; `None` for a healthy car.
    pub id: Option<FaultId>,
    /// Added to the sensor's zero, kPa.
    pub zero: f64,
    /// Hoses.
    pub hose: HoseFault,
    /// The sensor shows one value, kPa.
    pub frozen: Option<f64>,
    /// Crack in the substrate.
    pub crack: Option<Crack>,
    /// Air-flow meter shows this times the truth.
    pub flow_gain: f64,
    /// Temperature sensor before the filter.
    pub probe: ProbeFault,
    /// Engine and air path.
    pub engine: EngineFaults,
    /// Soot made over what the engine usually makes.
    pub soot_rate: f64,
}

impl Fault {
    /// A healthy car.
    pub const NONE: Self = Self {
        id: None,
        zero: 0.0,
        hose: HoseFault::None,
        frozen: None,
        crack: None,
        flow_gain: 1.0,
        probe: ProbeFault::None,
        engine: EngineFaults { boost_leak: 0.0, egr_open: 0.0, thermostat: None },
        soot_rate: 1.0,
    };

    /// Draws a kind and its size.
    pub fn draw(draw: &mut Draw) -> Self {
        let kind = draw.weighted(&KINDS.map(|(_, w)| w));
        Self::of(draw, KINDS[kind].0)
    }

    /// Draws the size of a given kind.
    pub fn of(draw: &mut Draw, id: Option<FaultId>) -> Self {
        let mut f = Self { id, ..Self::NONE };
        let sign = if draw.chance(0.7) { 1.0 } else { -1.0 };
        match id {
            Some(FaultId::ZeroError) => f.zero = sign * draw.uniform(0.4, 0.8),
            Some(FaultId::HoseOffUpstream) => f.hose = HoseFault::OffUpstream,
            Some(FaultId::HoseOffDownstream) => f.hose = HoseFault::OffDownstream,
            Some(FaultId::HosesSwapped) => f.hose = HoseFault::Swapped,
            Some(FaultId::HoseLeaking) => f.hose = HoseFault::Leaking(draw.uniform(0.25, 0.85)),
            Some(FaultId::HoseBlocked) => {
                f.hose = if draw.chance(0.6) {
                    HoseFault::BlockedSlow(draw.log_uniform(6.0, 90.0))
                } else {
                    HoseFault::BlockedShut(draw.uniform(-0.1, 1.5))
                }
            }
            Some(FaultId::SensorFrozen) => f.frozen = Some(draw.log_normal(1.2, 0.9).min(20.0)),
            Some(FaultId::SubstrateCracked) => f.crack = Some(Crack { share: draw.uniform(0.35, 0.85) }),
            Some(FaultId::FlowMeterDrift) => {
                f.flow_gain =
                    if draw.chance(0.7) { 1.0 - draw.uniform(0.1, 0.25) } else { draw.uniform(1.1, 1.25) }
            }
            Some(FaultId::TemperatureSensor) => {
                f.probe = if draw.chance(0.7) {
                    ProbeFault::Offset(if draw.chance(0.5) { 1.0 } else { -1.0 } * draw.uniform(30.0, 100.0))
                } else {
                    ProbeFault::Stuck(draw.uniform(-20.0, 420.0))
                }
            }
            Some(FaultId::BoostLeak) => {
                f.engine.boost_leak = draw.uniform(0.08, 0.35);
                f.soot_rate = draw.uniform(1.3, 2.5);
            }
            Some(FaultId::EgrStuckOpen) => {
                f.engine.egr_open = draw.uniform(0.3, 0.8);
                f.soot_rate = draw.uniform(1.4, 2.8);
            }
            Some(FaultId::ThermostatStuckOpen) => {
                f.engine.thermostat = Some(draw.uniform(55.0, 72.0));
                f.soot_rate = draw.uniform(1.1, 1.7);
            }
            Some(FaultId::SootShortTrips) => f.soot_rate = draw.uniform(1.5, 3.0),
            _ => {}
        }
        f
    }

    /// Both faults at once. `None` when they act on the same part.
    #[must_use]
    pub fn with(self, other: Self) -> Option<Self> {
        let hose = match (self.hose, other.hose) {
            (HoseFault::None, h) | (h, HoseFault::None) => h,
            _ => return None,
        };
        let probe = match (self.probe, other.probe) {
            (ProbeFault::None, p) | (p, ProbeFault::None) => p,
            _ => return None,
        };
        fn one<T>(a: Option<T>, b: Option<T>) -> Option<Option<T>> {
            match (a, b) {
                (Some(_), Some(_)) => None,
                (a, b) => Some(a.or(b)),
            }
        }
        Some(Self {
            id: self.id.or(other.id),
            zero: self.zero + other.zero,
            hose,
            frozen: one(self.frozen, other.frozen)?,
            crack: one(self.crack, other.crack)?,
            flow_gain: self.flow_gain * other.flow_gain,
            probe,
            engine: EngineFaults {
                boost_leak: self.engine.boost_leak.max(other.engine.boost_leak),
                egr_open: self.engine.egr_open.max(other.engine.egr_open),
                thermostat: self.engine.thermostat.or(other.engine.thermostat),
            },
            soot_rate: self.soot_rate * other.soot_rate,
        })
    }

    /// True when the pressure signal cannot tell soot whatever is recorded.
    #[must_use]
    pub fn pressure_is_mute(&self) -> bool {
        self.frozen.is_some() || matches!(self.hose, HoseFault::OffUpstream | HoseFault::BlockedShut(_))
    }

    /// The identifier as in files, `none` for a healthy car.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.id.map_or("none", FaultId::id)
    }

    /// Trouble codes such a fault may set on a car, and as SPN/FMI on a heavy vehicle.
    #[must_use]
    pub fn codes(&self) -> (&'static [&'static str], &'static [&'static str]) {
        match self.id {
            None => (&[], &[]),
            Some(FaultId::ZeroError) => (&["P2453", "P2452"], &["3251/20", "3251/2"]),
            Some(FaultId::HoseOffUpstream) => (&["P244A", "P2453", "P2002"], &["3251/1", "3251/18"]),
            Some(FaultId::HoseOffDownstream) => (&["P244B", "P2463", "P2453"], &["3251/16", "3251/0"]),
            Some(FaultId::HosesSwapped) => (&["P2453", "P244A", "P2454"], &["3251/2", "3251/4"]),
            Some(FaultId::HoseLeaking) => (&["P244A", "P2453"], &["3251/18"]),
            Some(FaultId::HoseBlocked) => (&["P2453", "P2456"], &["3251/2", "3251/10"]),
            Some(FaultId::SensorFrozen) => (&["P2453", "P2452", "P2455"], &["3251/2", "3251/3"]),
            Some(FaultId::SubstrateCracked) => (&["P2002", "P244A"], &["3251/1", "3936/1"]),
            Some(FaultId::FlowMeterDrift) => (&["P0101", "P0401"], &["132/20", "132/21"]),
            Some(FaultId::TemperatureSensor) => {
                (&["P2031", "P2084", "P242B", "P2080"], &["3242/2", "3242/20"])
            }
            Some(FaultId::BoostLeak) => (&["P0299", "P2263"], &["102/18", "102/1"]),
            Some(FaultId::EgrStuckOpen) => (&["P0402", "P2413", "P0404"], &["2659/16", "2791/7"]),
            Some(FaultId::ThermostatStuckOpen) => (&["P0128"], &["110/18", "110/17"]),
            Some(FaultId::SootShortTrips) => (&["P2463", "P2459", "P246B"], &["3719/16", "3719/0"]),
            Some(FaultId::AshFull) => (&["P242F", "P2459", "P2463"], &["3720/15", "3720/16"]),
            Some(FaultId::RegenerationIncomplete) => (&["P24A2", "P2458", "P244C"], &["3703/31", "3719/15"]),
            _ => (&[], &[]),
        }
    }
}
