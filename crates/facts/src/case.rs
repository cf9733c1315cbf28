//! The content of a case file (`schema = "sootwright.case/1"`), field by field.
//!
//! Every number carries its unit in its key; a [`Reading`] carries it in `unit`. Whatever is left out is
//! unknown, widens the interval, and is never filled in silently.

use crate::moment::Moment;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The value of `schema` that this version reads.
pub const SCHEMA: &str = "sootwright.case/1";

/// Everything we are told about one car.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// Always `sootwright.case/1`.
    pub schema: String,
    /// A name for the case, shown in the answer. No personal data needed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// Constants of the car.
    #[serde(default)]
    pub car: Car,
    /// Constants of the filter that is fitted now.
    #[serde(default)]
    pub filter: Filter,
    /// How the pressure sensor is plumbed.
    #[serde(default)]
    pub sensor: Sensor,
    /// The additive reservoir and its concentrate. Leave the table out when nothing is known.
    #[serde(default)]
    pub reservoir: Reservoir,
    /// Engine oil.
    #[serde(default)]
    pub oil: Oil,
    /// Fuel.
    #[serde(default)]
    pub fuel: Fuel,
    /// Surroundings on the day of the visit.
    #[serde(default)]
    pub ambient: Ambient,
    /// Visits of a life told in one file, with the surroundings of each day. Not needed for a single visit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub visit: Vec<Visit>,
    /// Typed readings: what the technician's equipment showed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reading: Vec<Reading>,
    /// Fault memories read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fault_memory: Vec<FaultMemory>,
    /// Bench observations by identifier.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub observation: Vec<Observation>,
    /// Recordings of bus traffic or exported columns.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub recording: Vec<RecordingRow>,
    /// Additive poured in.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub refill: Vec<Refill>,
    /// The controller's additive counters, read without anything being changed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub counter_read: Vec<CounterRead>,
    /// The additive counter was set or reset without a refill being noted in the same row.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub counter_entry: Vec<CounterEntry>,
    /// The reservoir was weighed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reservoir_weighed: Vec<ReservoirWeighed>,
    /// The reservoir level was read by eye, dipstick or sensor.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub level_read: Vec<LevelRead>,
    /// The surroundings of the reservoir were looked at.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub surroundings: Vec<Surroundings>,
    /// Fuel burnt over a stretch of the car's life.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fuel_used: Vec<FuelUsed>,
    /// Average consumption over a stretch, as the trip computer shows it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub trip_computer: Vec<TripComputer>,
    /// Oil changes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub oil_change: Vec<OilChange>,
    /// Oil top-ups.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub oil_top_up: Vec<OilTopUp>,
    /// Regenerations that somebody saw or the controller reported.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub regeneration: Vec<Regeneration>,
    /// The controller's counts of regenerations.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub regeneration_count: Vec<RegenerationCount>,
    /// The filter was cleaned off the car.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub filter_cleaned: Vec<FilterCleaned>,
    /// The filter was replaced.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub filter_replaced: Vec<FilterReplaced>,
    /// The pressure sensor was replaced.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sensor_replaced: Vec<SensorReplaced>,
    /// The pressure sensor's zero was taught to the controller.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub zero_taught: Vec<ZeroTaught>,
    /// Bare odometer notes (invoice, inspection): where the car was when.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub odometer_note: Vec<OdometerNote>,
}

/// Constants of the car.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Car {
    /// The workshop's own mark of the car (no personal data): files of one car carry the same.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// UNECE category. Decides the flow at which the standard pressure drop is stated (M1, N1: 50 g/s; else 150 g/s).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub category: Option<Category>,
    /// Mass of the car with driver, kg.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mass_kg: Option<f64>,
    /// Engine displacement, litres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub displacement_l: Option<f64>,
    /// Rated engine power, kW.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power_kw: Option<f64>,
    /// Usual fuel consumption, L per 100 km.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub consumption_l_per_100km: Option<f64>,
    /// Odometer now, km.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub odometer_km: Option<f64>,
    /// Distance driven in a year, km.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance_per_year_km: Option<f64>,
    /// Usual length of a trip, km.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub usual_trip_km: Option<f64>,
    /// Whether the car also carries AUS 32 (selective catalytic reduction).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub has_aus32: Option<bool>,
}

/// UNECE vehicle category: M carries people, N goods.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)]
pub enum Category {
    M1,
    M2,
    M3,
    N1,
    N2,
    N3,
}

/// Substrate material.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Material {
    Cordierite,
    SiliconCarbide,
    AluminiumTitanate,
}

/// Shape of the channels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Channels {
    /// Inlet and outlet channels have one width.
    Symmetric,
    /// Inlet channels are wider than outlet channels.
    InletWide,
}

/// Constants of the filter that is fitted now. Give diameter and length, or the oval's axes and length, or the volume.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Filter {
    /// Substrate material.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub material: Option<Material>,
    /// Diameter of a round substrate, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub diameter_mm: Option<f64>,
    /// Long axis of an oval substrate, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub oval_long_axis_mm: Option<f64>,
    /// Short axis of an oval substrate, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub oval_short_axis_mm: Option<f64>,
    /// Length of the substrate, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length_mm: Option<f64>,
    /// Volume of the substrate, litres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub volume_l: Option<f64>,
    /// Cell density, cells per square inch (cpsi).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cell_density_cpsi: Option<f64>,
    /// Wall thickness, mm (1 mil = 0.0254 mm).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wall_thickness_mm: Option<f64>,
    /// Shape of the channels.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channels: Option<Channels>,
    /// Width of an inlet channel over that of an outlet channel (1 = symmetric).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel_width_ratio: Option<f64>,
    /// Odometer at which this filter was fitted, km (0 = with the car).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fitted_odometer_km: Option<f64>,
    /// Odometer at which this filter was last cleaned off the car, km.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cleaned_odometer_km: Option<f64>,
}

/// How the pressure sensor is plumbed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Plumbing {
    /// Two hoses, before and after the filter.
    TwoHoses,
    /// One hose before the filter, the other side open to the surroundings (the silencer counts too).
    OneHose,
    /// Not known.
    Unknown,
}

/// The differential pressure sensor.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Sensor {
    /// Plumbing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plumbing: Option<Plumbing>,
    /// Largest pressure difference the sensor can show, kPa.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub range_kpa: Option<f64>,
}

/// Kind of reservoir.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReservoirKind {
    /// Flexible bag.
    Pouch,
    /// Rigid tank.
    Tank,
    /// The car has no additive system.
    None,
}

/// One metal of a concentrate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Metal {
    /// Chemical symbol: Ce, Fe, Pt, Cu, Mn, Sr ...
    pub symbol: String,
    /// Share of all metal by mass, 0 to 1. May be left out when there is one metal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass_share: Option<f64>,
}

/// The additive reservoir, its concentrate and the set dose.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Reservoir {
    /// Pouch, tank or none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<ReservoirKind>,
    /// Row of the reservoirs file (a car type of the workshop's own) that fills in what is left out here.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub car_type: Option<String>,
    /// Concentrate it takes, by its identifier among the fluids.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fluid: Option<String>,
    /// Usable capacity, litres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacity_l: Option<f64>,
    /// Content below which the controller warns, litres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reserve_l: Option<f64>,
    /// Mass of the empty reservoir as it is put on the scale, g.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tare_g: Option<f64>,
    /// The metal or metals of the concentrate.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub metals: Vec<Metal>,
    /// All metal in one litre of concentrate, g/L.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metal_g_per_l: Option<f64>,
    /// All metal by mass of concentrate, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metal_mass_percent: Option<f64>,
    /// Density of the concentrate at 20 degC, kg/m3.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub density_kg_per_m3: Option<f64>,
    /// Set dose, mg of metal per kg of fuel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dose_mg_per_kg: Option<f64>,
    /// Set dose, mL of concentrate per L of fuel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dose_ml_per_l: Option<f64>,
}

/// Engine oil.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Oil {
    /// Oil use, L per 1000 km.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub use_l_per_1000km: Option<f64>,
    /// Sulfated ash, percent by mass (ASTM D874 / ISO 3987).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sulfated_ash_percent: Option<f64>,
    /// Density, kg/m3.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub density_kg_per_m3: Option<f64>,
}

/// Fuel.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Fuel {
    /// Density at 15 degC, kg/m3 (EN 590: 820 to 845).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub density_kg_per_m3: Option<f64>,
}

/// Surroundings on the day of the visit.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Ambient {
    /// Air pressure at the workshop (not reduced to sea level), kPa.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pressure_kpa: Option<f64>,
    /// Air temperature, degC.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_degc: Option<f64>,
    /// Height above sea level, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub altitude_m: Option<f64>,
}

/// When and where in the car's life a row happened.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stamp {
    /// Odometer, km.
    pub odometer_km: Option<f64>,
    /// Date or instant.
    pub time: Option<Moment>,
    /// Order among rows at one odometer.
    pub order: Option<i64>,
}

/// A row that carries a [`Stamp`].
pub trait Row {
    /// The row's place in the car's life.
    fn stamp(&self) -> Stamp;
}

macro_rules! row {
    ($(#[$m:meta])* $name:ident { $($(#[$fm:meta])* $f:ident : $t:ty),* $(,)? }) => {
        $(#[$m])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            /// Odometer when it happened, km. Left out: at the car's present odometer.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub odometer_km: Option<f64>,
            /// When it happened.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub time: Option<Moment>,
            /// Order among rows at one odometer and time: smaller happened first.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub order: Option<i64>,
            /// A remark for people; not used.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub note: Option<String>,
            $($(#[$fm])* pub $f: $t),*
        }
        impl Row for $name {
            fn stamp(&self) -> Stamp {
                Stamp { odometer_km: self.odometer_km, time: self.time, order: self.order }
            }
        }
    };
}

row! {
    /// One visit of a life. Readings, observations, fault memories and recordings belong to the visit whose
    /// odometer or date they carry.
    Visit {
        /// Air pressure at the workshop on that day, kPa.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pressure_kpa: Option<f64>,
        /// Air temperature, degC.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        temperature_degc: Option<f64>,
        /// Height above sea level, m.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        altitude_m: Option<f64>,
    }
}

/// Operating point of a typed reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Point {
    /// Ignition on, engine off.
    KeyOn,
    /// Warm engine at idle.
    HotIdle,
    /// Engine held at a speed without load, car standing: give `engine_speed_rpm`.
    Held,
    /// On the road.
    Road,
}

/// What a typed reading says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Differential pressure across the filter: kPa, hPa, mbar, Pa, bar, psi, inHg.
    DifferentialPressure,
    /// The same by an independent gauge on the same taps: kPa, hPa, mbar, Pa, bar, psi, inHg.
    DifferentialPressureGauge,
    /// Intake air mass flow: g/s, kg/h; mg/stroke is not accepted.
    IntakeAirMassFlow,
    /// Exhaust mass flow: g/s, kg/h.
    ExhaustMassFlow,
    /// Intake manifold pressure, absolute: kPa, hPa, mbar, Pa, bar, psi, inHg.
    IntakeManifoldPressure,
    /// Barometric pressure: kPa, hPa, mbar, Pa, bar, psi, inHg.
    BarometricPressure,
    /// Intake air temperature: degC, degF, K.
    IntakeAirTemperature,
    /// Exhaust temperature before the filter: degC, degF, K.
    ExhaustTemperatureBefore,
    /// Exhaust temperature after the filter: degC, degF, K.
    ExhaustTemperatureAfter,
    /// Coolant temperature: degC, degF, K.
    CoolantTemperature,
    /// Engine load: %.
    EngineLoad,
    /// Fuel rate: L/h, g/s, kg/h.
    FuelRate,
    /// The controller's own soot figure: g, g/L, %.
    ControllerSoot,
    /// The controller's own ash figure: g, g/L, %.
    ControllerAsh,
    /// The controller's distance since the last regeneration: km, mi.
    DistanceSinceRegeneration,
    /// The controller's time since the last regeneration: s, min, h.
    TimeSinceRegeneration,
    /// The controller's mean distance between regenerations: km, mi.
    MeanDistanceBetweenRegenerations,
    /// The controller's count of additive used since it was reset: mL, L.
    AdditiveUsed,
    /// The controller's figure of additive left: mL, L, %.
    AdditiveLeft,
    /// Fuel level: %.
    FuelLevel,
    /// Particle number at the tailpipe: 1/cm3.
    ParticleNumber,
    /// Opacity of free acceleration: 1/m.
    Opacity,
    /// Engine oil level against the mark: mm (0 = at the upper mark).
    OilLevel,
}

/// Before the work, now, or after the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Before the work.
    Before,
    /// As the car stands.
    Now,
    /// After the work.
    After,
}

row! {
    /// One number that the technician's equipment showed. Readings of one point, engine speed, role and odometer belong together.
    Reading {
        /// Operating point. Controller figures may leave it out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        point: Option<Point>,
        /// Engine speed at a held point, rpm.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        engine_speed_rpm: Option<f64>,
        /// Vehicle speed on the road, km/h.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        vehicle_speed_km_per_h: Option<f64>,
        /// Before, now (default) or after the work.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        role: Option<Role>,
        /// What was read.
        quantity: Quantity,
        /// The number shown.
        value: f64,
        /// Its unit; each quantity lists the units it takes.
        unit: String,
        /// The instrument: `controller` for the car's own sensor as shown by the equipment, else a name of the workshop's own.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        instrument: Option<String>,
        /// What the instrument may be off, plus or minus, in `unit` (95 of 100 readings).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        uncertainty: Option<f64>,
    }
}

row! {
    /// A fault memory that was read. An empty list of codes says that it was read and held nothing.
    FaultMemory {
        /// Codes as shown: P2463, U0118, or SPN/FMI as `3251/0`.
        codes: Vec<String>,
        /// Before, now (default) or after the work.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        role: Option<Role>,
        /// Whether the memory was cleared afterwards.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cleared: Option<bool>,
    }
}

/// Answer to an observation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Answer {
    Yes,
    No,
    NotDone,
}

row! {
    /// A bench observation by its identifier in the knowledge folder.
    Observation {
        /// Identifier, for example `pouch_leak_visible`.
        id: String,
        /// Yes, no or not done.
        answer: Answer,
        /// Why it was not done.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<String>,
    }
}

/// How a recording was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RecordingKind {
    /// Standing in the workshop.
    Workshop,
    /// On a drive.
    Drive,
}

row! {
    /// A recording file.
    RecordingRow {
        /// Path, relative to the case file.
        file: String,
        /// Before, now (default) or after the work.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        role: Option<Role>,
        /// Workshop or drive.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        kind: Option<RecordingKind>,
        /// Names of foreign columns of a CSV file: column name = our signal name, with the unit in brackets where the column has none, for example `"DPF dp" = "filter_differential_pressure [hPa]"`.
        #[serde(default, skip_serializing_if = "std::collections::BTreeMap::is_empty")]
        columns: std::collections::BTreeMap<String, String>,
    }
}

/// Yes, no or not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Known {
    Yes,
    No,
    Unknown,
}

row! {
    /// Additive poured in. Give the volume or the mass; `full = true` when it was filled to capacity.
    Refill {
        /// Volume poured, litres.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        volume_l: Option<f64>,
        /// Mass poured by weighing, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mass_g: Option<f64>,
        /// True: filled to capacity. False: part of it. Left out: not noted.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        full: Option<bool>,
        /// True when the pouch or tank was replaced by a new one filled to this volume.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reservoir_replaced: Option<bool>,
        /// What was typed into the controller, litres.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        entered_l: Option<f64>,
        /// Whether the controller's additive counter was reset.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        counter_reset: Option<Known>,
        /// Metal of the poured concentrate when it differs from the reservoir table, g/L.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        metal_g_per_l: Option<f64>,
        /// Density of the poured concentrate when measured, kg/m3.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        density_kg_per_m3: Option<f64>,
        /// Lot of the container.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        lot: Option<String>,
    }
}

row! {
    /// The controller's additive counters, read.
    CounterRead {
        /// Additive used since the last reset, mL.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        used_ml: Option<f64>,
        /// Additive left, mL.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        left_ml: Option<f64>,
        /// Distance since the last fill as the controller has it, km.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        distance_since_fill_km: Option<f64>,
    }
}

row! {
    /// The additive counter was set or reset.
    CounterEntry {
        /// What was typed in, litres.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        entered_l: Option<f64>,
        /// Whether the counter of additive used went to zero.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        counter_reset: Option<Known>,
    }
}

row! {
    /// The reservoir on the scale.
    ReservoirWeighed {
        /// Reading of the scale with the reservoir on it, g.
        gross_g: f64,
        /// Mass of the empty reservoir, g. Left out: that of the reservoir table.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        tare_g: Option<f64>,
        /// Smallest step the scale shows, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        resolution_g: Option<f64>,
        /// What the scale (and the tare) may be off, plus or minus, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        uncertainty_g: Option<f64>,
    }
}

row! {
    /// A level read by eye, dipstick or sensor.
    LevelRead {
        /// Content, litres.
        level_l: f64,
        /// What the reading may be off, plus or minus, litres.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        uncertainty_l: Option<f64>,
    }
}

/// Dry or wet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Wetness {
    Dry,
    Wet,
}

row! {
    /// The surroundings of the reservoir were looked at.
    Surroundings {
        /// Dry or wet with additive.
        state: Wetness,
    }
}

/// Where a fuel figure comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum FuelSource {
    Receipts,
    FleetCard,
    Memory,
}

row! {
    /// Fuel burnt since an odometer, up to this row's odometer.
    FuelUsed {
        /// Odometer at the beginning, km.
        since_odometer_km: f64,
        /// Fuel burnt, litres.
        fuel_l: f64,
        /// Source of the figure.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        source: Option<FuelSource>,
    }
}

row! {
    /// Average consumption by the trip computer since an odometer, up to this row's odometer.
    TripComputer {
        /// Odometer at the beginning, km.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        since_odometer_km: Option<f64>,
        /// Average consumption, L per 100 km.
        consumption_l_per_100km: f64,
    }
}

row! {
    /// Engine oil changed.
    OilChange {
        /// Sulfated ash of the new oil, percent by mass.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sulfated_ash_percent: Option<f64>,
        /// Volume filled, litres.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        volume_l: Option<f64>,
    }
}

row! {
    /// Engine oil topped up.
    OilTopUp {
        /// Volume added, litres.
        volume_l: f64,
    }
}

/// Where a regeneration ran.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RegenerationPlace {
    /// Started by the controller while driving.
    Driving,
    /// Standing, started with the maker's equipment.
    Service,
}

/// How a regeneration ended, as the controller said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum RegenerationEnd {
    Complete,
    Partial,
    Aborted,
    Unknown,
}

row! {
    /// A regeneration.
    Regeneration {
        /// Driving or service.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<RegenerationPlace>,
        /// Duration, minutes.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        duration_min: Option<f64>,
        /// What the controller said of its end.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        controller_says: Option<RegenerationEnd>,
        /// Hottest filter temperature seen, degC.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        peak_temperature_degc: Option<f64>,
    }
}

row! {
    /// The controller's counts of regenerations.
    RegenerationCount {
        /// Completed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        completed: Option<u32>,
        /// Aborted.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        aborted: Option<u32>,
    }
}

row! {
    /// The filter was cleaned off the car.
    FilterCleaned {
        /// Dry mass before, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mass_before_g: Option<f64>,
        /// Dry mass after, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mass_after_g: Option<f64>,
        /// Whether the controller's ash and soot values were reset.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        controller_reset: Option<Known>,
    }
}

row! {
    /// The filter was replaced by a new one.
    FilterReplaced {
        /// Whether the controller's ash and soot values were reset.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        controller_reset: Option<Known>,
    }
}

row! {
    /// The pressure sensor was replaced.
    SensorReplaced {}
}

row! {
    /// The pressure sensor's zero was taught to the controller.
    ZeroTaught {}
}

row! {
    /// A bare odometer note: where the car was when.
    OdometerNote {}
}
