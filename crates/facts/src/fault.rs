//! Faults: what, if anything, is wrong.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

macro_rules! faults {
    ($( $(#[$m:meta])* $v:ident = $id:literal ),+ $(,)?) => {
        /// One fault. The text form is the identifier used in files and in the answer.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "snake_case")]
        pub enum FaultId { $( $(#[$m])* $v ),+ }
        impl FaultId {
            /// Every fault, in the order of declaration.
            pub const ALL: &'static [FaultId] = &[$(FaultId::$v),+];
            /// The identifier, as in files and answers.
            #[must_use]
            pub fn id(self) -> &'static str { match self { $(FaultId::$v => $id),+ } }
            /// The fault with this identifier.
            #[must_use]
            pub fn from_id(id: &str) -> Option<Self> { match id { $($id => Some(FaultId::$v),)+ _ => None } }
        }
    };
}

faults! {
    /// The pressure sensor shows at least 0.4 kPa at no flow.
    ZeroError = "zero_error",
    /// The hose before the filter is off, or lets the pressure out altogether.
    HoseOffUpstream = "hose_off_upstream",
    /// The hose after the filter is off: the sensor shows upstream pressure against the surroundings.
    HoseOffDownstream = "hose_off_downstream",
    /// The hoses are on the wrong ports: the reading falls as flow rises.
    HosesSwapped = "hoses_swapped",
    /// A hose leaks: at least 15 % of the pressure difference is lost.
    HoseLeaking = "hose_leaking",
    /// A hose or tap is blocked: the reading follows the flow with a delay of at least 5 s, or not at all.
    HoseBlocked = "hose_blocked",
    /// The sensor shows one value whatever the flow.
    SensorFrozen = "sensor_frozen",
    /// The substrate is cracked or melted through: resistance below 0.8 of as-new.
    SubstrateCracked = "substrate_cracked",
    /// The filter core was removed.
    FilterRemoved = "filter_removed",
    /// The air-flow meter is off by at least 10 %.
    FlowMeterDrift = "flow_meter_drift",
    /// An exhaust temperature sensor is off by at least 25 K.
    TemperatureSensor = "temperature_sensor",
    /// Charge air is lost behind the flow meter: at least 5 % under boost.
    BoostLeak = "boost_leak",
    /// The exhaust gas recirculation valve does not close: at least 10 % of the charge when it should be shut.
    EgrStuckOpen = "egr_stuck_open",
    /// The engine stays cold: coolant below 75 degC after 20 minutes of driving (thermostat, glow system).
    ThermostatStuckOpen = "thermostat_stuck_open",
    /// Soot load above 5 g/L, or rising at more than twice the usual rate, through short trips or cut-off regenerations.
    SootShortTrips = "soot_short_trips",
    /// Ash load above 40 g/L.
    AshFull = "ash_full",
    /// The last regeneration left at least 1 g/L.
    RegenerationIncomplete = "regeneration_incomplete",
    /// The reservoir holds less than 5 % of its capacity or delivers nothing.
    AdditiveEmpty = "additive_empty",
    /// The true dose is below 0.75 of the set dose.
    AdditiveUnderDosed = "additive_under_dosed",
    /// The true dose is above 1.3 of the set dose.
    AdditiveOverDosed = "additive_over_dosed",
    /// The reservoir, line or pouch loses more than 1 mL a day.
    AdditiveLeak = "additive_leak",
    /// The reservoir was filled, the controller was not told.
    CounterNotReset = "counter_not_reset",
    /// A refill happened that nobody wrote down.
    RefillNotWrittenDown = "refill_not_written_down",
    /// The controller was told a wrong quantity or distance.
    WrongQuantityEntered = "wrong_quantity_entered",
    /// The controller does not notice refuelling (filler cap or flap sensing), so it does not dose.
    RefuellingNotRecognised = "refuelling_not_recognised",
    /// The concentrate has another strength than the car is set for, or is another fluid.
    WrongStrength = "wrong_strength",
    /// The additive pump does not build pressure.
    DoserPumpFailed = "doser_pump_failed",
    /// The additive injector or line is blocked.
    DoserBlocked = "doser_blocked",
    /// The additive level signal is wrong.
    AdditiveLevelSensor = "additive_level_sensor",
    /// Wiring, supply or module of the additive system.
    AdditiveWiring = "additive_wiring",
    /// Air or water in the additive line.
    AdditiveLineAir = "additive_line_air",
    /// AUS 32 in the fuel.
    Aus32InFuel = "aus32_in_fuel",
    /// Additive, fuel or another fluid in the AUS 32 tank.
    ForeignFluidInAus32Tank = "foreign_fluid_in_aus32_tank",
    /// An injector gives too much fuel or leaks.
    InjectorOverfuelling = "injector_overfuelling",
    /// High-ash or wrong engine oil.
    WrongEngineOil = "wrong_engine_oil",
    /// The oxidation catalyst is aged, fouled or broken.
    OxidationCatalystDamaged = "oxidation_catalyst_damaged",
    /// The turbocharger passes oil into intake or exhaust.
    TurboOilLeak = "turbo_oil_leak",
    /// The filter was cleaned or replaced, the controller was not told.
    FilterModelNotReset = "filter_model_not_reset",
    /// The controller starts no regeneration: an unrelated code, little fuel, or a fuel-level sender that reads low.
    RegenerationInhibited = "regeneration_inhibited",
    /// The doser that brings fuel into the exhaust (where one is fitted) delivers less than half of a command.
    ExhaustFuelDoserBlocked = "exhaust_fuel_doser_blocked",
    /// After work on the additive system its line was not primed or bled.
    AdditiveLineNotBled = "additive_line_not_bled",
    /// A new additive unit or module was not coded to the car.
    AdditiveUnitNotCoded = "additive_unit_not_coded",
}
