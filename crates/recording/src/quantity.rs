//! The names and units signals are delivered in.

macro_rules! quantities {
    ($( $(#[$doc:meta])* $variant:ident = $name:literal, $unit:literal; )+) => {
        /// What a signal measures. Each quantity has exactly one unit, see [`Quantity::unit`]; whatever unit
        /// the source used is converted on the way in.
        ///
        /// States are numbers too: a quantity with the unit `0/1` is 0 (no, off) or 1 (yes, on), one with the
        /// unit `enum` lists its values in its documentation.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[non_exhaustive]
        pub enum Quantity { $( $(#[$doc])* $variant, )+ }

        impl Quantity {
            /// Every quantity, in the order of declaration.
            pub const ALL: &'static [Quantity] = &[ $( Quantity::$variant, )+ ];

            /// The unit all values of this quantity are in: `kPa`, `degC`, `g/s`, `%`, `0/1`, `enum`, ...
            pub fn unit(self) -> &'static str {
                match self { $( Quantity::$variant => $unit, )+ }
            }

            /// The name in snake case, without the unit: `filter_differential_pressure`.
            pub fn name(self) -> &'static str {
                match self { $( Quantity::$variant => $name, )+ }
            }

            /// The quantity with exactly this [`name`](Quantity::name), if there is one.
            pub fn from_name(name: &str) -> Option<Self> {
                match name { $( $name => Some(Quantity::$variant), )+ _ => None }
            }
        }
    };
}

quantities! {
    /// Engine speed.
    EngineSpeed = "engine_speed", "rpm";
    /// Road speed.
    VehicleSpeed = "vehicle_speed", "km/h";
    /// Engine coolant temperature.
    CoolantTemperature = "coolant_temperature", "degC";
    /// Engine oil temperature.
    OilTemperature = "oil_temperature", "degC";
    /// Intake air temperature.
    IntakeAirTemperature = "intake_air_temperature", "degC";
    /// Temperature of the air outside.
    AmbientTemperature = "ambient_temperature", "degC";
    /// Air temperature after the charge air cooler or in the intake manifold.
    ChargeAirTemperature = "charge_air_temperature", "degC";
    /// Fuel temperature.
    FuelTemperature = "fuel_temperature", "degC";
    /// Intake manifold pressure, absolute.
    IntakeManifoldPressure = "intake_manifold_pressure", "kPa";
    /// Barometric pressure, absolute.
    BarometricPressure = "barometric_pressure", "kPa";
    /// Boost pressure over atmosphere (gauge), as J1939 gives it.
    BoostPressure = "boost_pressure", "kPa";
    /// Boost pressure the controller asks for, absolute.
    BoostPressureCommanded = "boost_pressure_commanded", "kPa";
    /// Boost pressure as the boost control measures it, absolute.
    BoostPressureActual = "boost_pressure_actual", "kPa";
    /// Boost control state: 1 open loop, 2 closed loop, 3 fault.
    BoostControlState = "boost_control_state", "enum";
    /// Pressure before the compressor, absolute.
    CompressorInletPressure = "compressor_inlet_pressure", "kPa";
    /// Temperature before the compressor.
    CompressorInletTemperature = "compressor_inlet_temperature", "degC";
    /// Temperature after the compressor.
    CompressorOutletTemperature = "compressor_outlet_temperature", "degC";
    /// Temperature before the turbine.
    TurbineInletTemperature = "turbine_inlet_temperature", "degC";
    /// Temperature after the turbine.
    TurbineOutletTemperature = "turbine_outlet_temperature", "degC";
    /// Turbocharger shaft speed. The scale is disputed between sources: see the recording's notes.
    TurbochargerSpeed = "turbocharger_speed", "rpm";
    /// Turbocharger vane position asked for.
    VaneCommanded = "vane_commanded", "%";
    /// Turbocharger vane position.
    VaneActual = "vane_actual", "%";
    /// Vane control state: 1 open loop, 2 closed loop, 3 fault.
    VaneControlState = "vane_control_state", "enum";
    /// Wastegate position asked for.
    WastegateCommanded = "wastegate_commanded", "%";
    /// Wastegate position.
    WastegateActual = "wastegate_actual", "%";
    /// Fresh air mass flow into the engine.
    IntakeAirMassFlow = "intake_air_mass_flow", "g/s";
    /// Exhaust mass flow.
    ExhaustMassFlow = "exhaust_mass_flow", "g/s";
    /// Recirculated exhaust mass flow.
    EgrMassFlow = "egr_mass_flow", "g/s";
    /// Fuel use by volume.
    FuelVolumeRate = "fuel_volume_rate", "L/h";
    /// Fuel use by mass (engine).
    FuelMassRate = "fuel_mass_rate", "g/s";
    /// Fuel use by mass of the whole vehicle, with auxiliary burners.
    VehicleFuelMassRate = "vehicle_fuel_mass_rate", "g/s";
    /// Calculated engine load.
    EngineLoad = "engine_load", "%";
    /// Absolute load: air charge per stroke against the full charge at 1.184 g/L.
    AbsoluteLoad = "absolute_load", "%";
    /// Fuel tank level.
    FuelLevel = "fuel_level", "%";
    /// Fuel rail pressure, gauge.
    RailPressure = "rail_pressure", "kPa";
    /// Fuel rail pressure asked for, gauge.
    RailPressureCommanded = "rail_pressure_commanded", "kPa";
    /// Fuel rail pressure, absolute.
    RailPressureAbsolute = "rail_pressure_absolute", "kPa";
    /// Start of injection before top dead centre.
    InjectionTiming = "injection_timing", "deg";
    /// Exhaust gas recirculation asked for.
    EgrCommanded = "egr_commanded", "%";
    /// Exhaust gas recirculation as measured.
    EgrActual = "egr_actual", "%";
    /// Exhaust gas recirculation error, relative to the command.
    EgrError = "egr_error", "%";
    /// Temperature of the recirculated exhaust.
    EgrTemperature = "egr_temperature", "degC";
    /// Intake flap position asked for.
    IntakeFlapCommanded = "intake_flap_commanded", "%";
    /// Intake flap position.
    IntakeFlapActual = "intake_flap_actual", "%";
    /// Pressure drop across the particulate filter (instance = bank).
    FilterDifferentialPressure = "filter_differential_pressure", "kPa";
    /// Pressure before the filter. OBD sources give it absolute by the values expected, J1939 over atmosphere
    /// by the values seen; the source tells which of the two it is.
    FilterInletPressure = "filter_inlet_pressure", "kPa";
    /// Pressure after the filter; reference as for [`Quantity::FilterInletPressure`].
    FilterOutletPressure = "filter_outlet_pressure", "kPa";
    /// Exhaust pressure. Whether absolute or over atmosphere is not stated by the source.
    ExhaustPressure = "exhaust_pressure", "kPa";
    /// Exhaust gas temperature: instance 1 to 8 = sensor on bank 1, 11 to 18 = sensor on bank 2, 0 = not said.
    ExhaustTemperature = "exhaust_temperature", "degC";
    /// Exhaust temperature in the manifold (instance = bank).
    ExhaustManifoldTemperature = "exhaust_manifold_temperature", "degC";
    /// Catalyst temperature (instance 1, 2 = bank 1 sensors 1, 2; 11, 12 = bank 2).
    CatalystTemperature = "catalyst_temperature", "degC";
    /// Surface temperature of the manifold.
    ManifoldSurfaceTemperature = "manifold_surface_temperature", "degC";
    /// Gas temperature before the filter (instance = bank).
    FilterInletTemperature = "filter_inlet_temperature", "degC";
    /// Gas temperature after the filter (instance = bank).
    FilterOutletTemperature = "filter_outlet_temperature", "degC";
    /// Temperature inside the filter (instance = bank).
    FilterMiddleTemperature = "filter_middle_temperature", "degC";
    /// A regeneration of the filter runs.
    RegenerationActive = "regeneration_active", "0/1";
    /// Kind of regeneration: 0 passive, 1 active.
    RegenerationKind = "regeneration_kind", "enum";
    /// State of the active regeneration: 0 not active, 1 active, 2 start imminent.
    RegenerationState = "regeneration_state", "enum";
    /// Passive regeneration is going on.
    PassiveRegenerationActive = "passive_regeneration_active", "0/1";
    /// How near the controller is to starting a regeneration; 100 % = it wants to start.
    RegenerationTrigger = "regeneration_trigger", "%";
    /// Average time between regenerations, as the controller counts it.
    MeanTimeBetweenRegenerations = "mean_time_between_regenerations", "min";
    /// Average distance between regenerations, as the controller counts it.
    MeanDistanceBetweenRegenerations = "mean_distance_between_regenerations", "km";
    /// Need for a regeneration: 0 none, 1 low, 2 medium, 3 high (from memory of SAE J1939-71).
    RegenerationNeed = "regeneration_need", "enum";
    /// Regeneration is inhibited.
    RegenerationInhibited = "regeneration_inhibited", "0/1";
    /// Regeneration is inhibited by the driver's switch.
    RegenerationInhibitSwitch = "regeneration_inhibit_switch", "0/1";
    /// A regeneration was forced: 0 none, 1 by switch, 2 by equipment (from memory of SAE J1939-71).
    RegenerationForced = "regeneration_forced", "enum";
    /// Filter lamp: 0 off, 1 on, 4 fast blink.
    FilterLamp = "filter_lamp", "enum";
    /// Hot exhaust lamp: 0 off, 1 on.
    HotExhaustLamp = "hot_exhaust_lamp", "enum";
    /// The engine runs in a mode that heats the exhaust.
    ThermalManagementActive = "thermal_management_active", "0/1";
    /// Total time spent regenerating.
    RegenerationTimeTotal = "regeneration_time_total", "s";
    /// Number of active regenerations.
    ActiveRegenerationCount = "active_regeneration_count", "1";
    /// Number of passive regenerations.
    PassiveRegenerationCount = "passive_regeneration_count", "1";
    /// Soot load as the controller states it, in percent of what it allows.
    ControllerSootLoad = "controller_soot_load", "%";
    /// Ash load as the controller states it, in percent of what it allows.
    ControllerAshLoad = "controller_ash_load", "%";
    /// Time since the last active regeneration.
    TimeSinceRegeneration = "time_since_regeneration", "s";
    /// Time until the next active regeneration, by the controller's forecast.
    TimeToRegeneration = "time_to_regeneration", "s";
    /// Soot load at which the controller starts a regeneration.
    SootThreshold = "soot_threshold", "%";
    /// Fuel dosed into the exhaust.
    ExhaustFuelRate = "exhaust_fuel_rate", "L/h";
    /// Distance the vehicle has covered.
    Odometer = "odometer", "km";
    /// Distance since trouble codes were cleared.
    DistanceSinceCodesCleared = "distance_since_codes_cleared", "km";
    /// Distance driven with the malfunction lamp on.
    DistanceWithLamp = "distance_with_lamp", "km";
    /// Time driven with the malfunction lamp on.
    TimeWithLamp = "time_with_lamp", "min";
    /// Time since trouble codes were cleared.
    TimeSinceCodesCleared = "time_since_codes_cleared", "min";
    /// Warm-ups since trouble codes were cleared.
    WarmupsSinceCodesCleared = "warmups_since_codes_cleared", "1";
    /// Time since the engine was started.
    TimeSinceStart = "time_since_start", "s";
    /// Total engine running time.
    EngineRunTime = "engine_run_time", "s";
    /// Total engine idling time.
    EngineIdleTime = "engine_idle_time", "s";
    /// Total engine running time with the power take-off engaged.
    PtoRunTime = "pto_run_time", "s";
    /// Control module supply voltage.
    BatteryVoltage = "battery_voltage", "V";
    /// Throttle position.
    Throttle = "throttle", "%";
    /// Throttle position relative to its learnt rest (instance = actuator).
    ThrottleRelative = "throttle_relative", "%";
    /// Throttle position asked for.
    ThrottleCommanded = "throttle_commanded", "%";
    /// Accelerator pedal position (instance = track, 1 D, 2 E, 3 F; 0 = relative or the only one).
    Pedal = "pedal", "%";
    /// Torque the driver asks for, of the reference torque.
    TorqueDemanded = "torque_demanded", "%";
    /// Torque delivered, of the reference torque.
    TorqueActual = "torque_actual", "%";
    /// Friction torque, of the reference torque.
    TorqueFriction = "torque_friction", "%";
    /// Reference torque.
    ReferenceTorque = "reference_torque", "N m";
    /// Torque map point (instance 1 = idle, 2 to 5 = points 1 to 4), of the reference torque.
    TorquePoint = "torque_point", "%";
    /// Nitrogen oxides (instance 1, 2 = bank 1 before, after; 11, 12 = bank 2).
    Nox = "nox", "ppm";
    /// Nitrogen oxides after the controller's correction (instance as for [`Quantity::Nox`]).
    NoxCorrected = "nox_corrected", "ppm";
    /// Oxygen in the exhaust (instance as for [`Quantity::Nox`]).
    ExhaustOxygen = "exhaust_oxygen", "%";
    /// Air to fuel equivalence ratio (instance as for [`Quantity::Nox`]).
    Lambda = "lambda", "1";
    /// Particulate mass by the particulate sensor (instance = bank).
    ParticulateMass = "particulate_mass", "mg/m3";
    /// Normalised reading of the particulate sensor (instance = bank).
    ParticulateSensorReading = "particulate_sensor_reading", "%";
    /// The particulate sensor is measuring (instance = bank).
    ParticulateSensorActive = "particulate_sensor_active", "0/1";
    /// The particulate sensor burns itself clean (instance = bank).
    ParticulateSensorRegenerating = "particulate_sensor_regenerating", "0/1";
    /// Reagent use.
    ReagentRate = "reagent_rate", "L/h";
    /// Reagent use the controller expects.
    ReagentRateDemanded = "reagent_rate_demanded", "L/h";
    /// Reagent dosing asked for.
    ReagentCommanded = "reagent_commanded", "%";
    /// Reagent used in this driving cycle.
    ReagentUsed = "reagent_used", "L";
    /// Reagent tank level.
    ReagentLevel = "reagent_level", "%";
    /// Reagent temperature.
    ReagentTemperature = "reagent_temperature", "degC";
    /// Urea in the reagent.
    ReagentConcentration = "reagent_concentration", "%";
    /// Running time with the reagent warning on.
    ReagentWarningTime = "reagent_warning_time", "s";
    /// Malfunction indicator lamp.
    MalfunctionLamp = "malfunction_lamp", "0/1";
    /// Number of stored trouble codes the module reports.
    StoredCodeCount = "stored_code_count", "1";
    /// Glow plug lamp.
    GlowLamp = "glow_lamp", "0/1";
    /// Power take-off engaged.
    PtoActive = "pto_active", "0/1";
    /// Gearbox in neutral or clutch open (instance 1 = automatic, 2 = manual).
    GearboxNeutral = "gearbox_neutral", "0/1";
    /// A NOx adsorber regenerates.
    AdsorberRegenerating = "adsorber_regenerating", "0/1";
    /// Desulphurisation runs.
    Desulphurising = "desulphurising", "0/1";
    /// Bits of the not-to-exceed control area (instance 1 = NOx, 2 = particulate matter), as one number.
    ControlAreaStatus = "control_area_status", "enum";
    /// Running time of an auxiliary emission control device (instance = its number); its first counter where it has two.
    AuxiliaryRunTime = "auxiliary_run_time", "s";
    /// Second running time of an auxiliary emission control device (instance = its number).
    AuxiliaryRunTimeSecond = "auxiliary_run_time_second", "s";
    /// An inducement for the reagent is active.
    InducementActive = "inducement_active", "0/1";
    /// Reason of a reagent warning or inducement: level low (1), wrong reagent (2), consumption deviates (3), NOx too
    /// high (4) (instance = reason).
    InducementReason = "inducement_reason", "0/1";
    /// Reasons of a reagent warning in one of the last blocks of 10,000 km (instance = block, the present one first): the bits
    /// of [`Quantity::InducementReason`] as one number (from memory of the J1979 digital annex).
    InducementHistory = "inducement_history", "enum";
    /// State of an inducement level (instance = level): 0 inactive, 1 enabled, 2 active (from memory of the J1979 digital
    /// annex).
    InducementState = "inducement_state", "enum";
    /// Kind of reagent as the module numbers it.
    ReagentKind = "reagent_kind", "enum";
    /// Distance driven with a reason of the reagent inducement, by the five counters of the parameter in their order.
    InducementDistance = "inducement_distance", "km";
    /// Time with a NOx warning: quality (1), consumption (2), dosing (3), recirculation (4), codes (5) of the reagent
    /// system.
    NoxWarningTime = "nox_warning_time", "h";
    /// An automatic regeneration is allowed to start.
    RegenerationAutomatic = "regeneration_automatic", "0/1";
    /// State of the regeneration as the fuel dosing unit gives it: 0 not active, 1 active, 2 about to start.
    ExhaustFuelRegenerationState = "exhaust_fuel_regeneration_state", "enum";
    /// Preliminary failure mode of the filter pressure drop (J1939 FMI); 31 does not appear.
    FilterPressureFailureMode = "filter_pressure_failure_mode", "enum";
    /// Fuel system use of bank 1 or 2, as a share (instance = field).
    FuelSystemUse = "fuel_system_use", "%";
}

impl Quantity {
    /// True for states and counters, whose values carry no unit that could be mistaken.
    pub fn is_state_or_count(self) -> bool {
        matches!(self.unit(), "0/1" | "enum" | "1")
    }
}

impl std::fmt::Display for Quantity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::Quantity;

    #[test]
    fn property_names_are_unique_and_come_back() {
        for (i, q) in Quantity::ALL.iter().enumerate() {
            assert_eq!(Quantity::from_name(q.name()), Some(*q));
            assert!(Quantity::ALL.iter().skip(i + 1).all(|other| other.name() != q.name()), "{q}");
            assert!(!q.unit().is_empty());
        }
        assert_eq!(Quantity::from_name("soot"), None);
    }
}
