//! What a number in a case file can be, and what it usually is.
//!
//! Outside *possible* the file is refused: no car, filter or workshop has such a figure. Outside *usual*
//! it is accepted with a warning. The figures are common practice, no source, unless a remark says more;
//! they are drawn wide, because a refused fact helps nobody.

/// Limits of one number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// Name of the table or row type, as in the JSON Schema.
    pub table: &'static str,
    /// Key.
    pub key: &'static str,
    /// Smallest and largest possible value.
    pub possible: (f64, f64),
    /// Smallest and largest usual value.
    pub usual: (f64, f64),
}

const fn limit(table: &'static str, key: &'static str, possible: (f64, f64), usual: (f64, f64)) -> Limit {
    Limit { table, key, possible, usual }
}

const ODOMETER: (f64, f64) = (0.0, 5e6);
const ODOMETER_USUAL: (f64, f64) = (0.0, 1.5e6);
const DENSITY: (f64, f64) = (500.0, 2000.0);
/// A positive amount may be small, not zero.
const TINY: f64 = 1e-6;

/// Limits that hold for a key in every row.
pub const IN_EVERY_ROW: &[Limit] =
    &[limit("", "odometer_km", ODOMETER, ODOMETER_USUAL), limit("", "order", (-1e9, 1e9), (-1e6, 1e6))];

/// All other limits.
pub const LIMITS: &[Limit] = &[
    limit("Car", "mass_kg", (100.0, 60_000.0), (700.0, 44_000.0)),
    limit("Car", "displacement_l", (0.05, 50.0), (1.0, 16.0)),
    limit("Car", "power_kw", (1.0, 2000.0), (30.0, 600.0)),
    limit("Car", "consumption_l_per_100km", (0.1, 300.0), (2.5, 60.0)),
    limit("Car", "odometer_km", ODOMETER, ODOMETER_USUAL),
    limit("Car", "distance_per_year_km", (0.0, 1e6), (500.0, 250_000.0)),
    limit("Car", "usual_trip_km", (TINY, 10_000.0), (0.5, 2000.0)),
    limit("Filter", "diameter_mm", (20.0, 1000.0), (90.0, 350.0)),
    limit("Filter", "oval_long_axis_mm", (20.0, 1000.0), (100.0, 400.0)),
    limit("Filter", "oval_short_axis_mm", (20.0, 1000.0), (60.0, 350.0)),
    limit("Filter", "length_mm", (20.0, 2000.0), (70.0, 500.0)),
    limit("Filter", "volume_l", (0.05, 200.0), (1.0, 50.0)),
    limit("Filter", "cell_density_cpsi", (10.0, 2000.0), (90.0, 450.0)),
    limit("Filter", "wall_thickness_mm", (0.02, 5.0), (0.15, 0.6)),
    limit("Filter", "channel_width_ratio", (0.5, 5.0), (1.0, 1.8)),
    limit("Filter", "fitted_odometer_km", ODOMETER, ODOMETER_USUAL),
    limit("Filter", "cleaned_odometer_km", ODOMETER, ODOMETER_USUAL),
    limit("Sensor", "range_kpa", (0.1, 2000.0), (10.0, 250.0)),
    limit("Metal", "mass_share", (0.0, 1.0), (0.0, 1.0)),
    limit("Reservoir", "capacity_l", (0.01, 500.0), (0.5, 20.0)),
    limit("Reservoir", "reserve_l", (0.0, 100.0), (0.0, 2.0)),
    limit("Reservoir", "tare_g", (0.0, 100_000.0), (10.0, 5000.0)),
    // A concentrate cannot hold more metal than it weighs.
    limit("Reservoir", "metal_g_per_l", (TINY, 2000.0), (0.5, 120.0)),
    limit("Reservoir", "metal_mass_percent", (TINY, 100.0), (0.05, 15.0)),
    limit("Reservoir", "density_kg_per_m3", DENSITY, (750.0, 1100.0)),
    limit("Reservoir", "dose_mg_per_kg", (TINY, 1000.0), (0.1, 60.0)),
    limit("Reservoir", "dose_ml_per_l", (TINY, 50.0), (0.02, 2.0)),
    limit("Oil", "use_l_per_1000km", (0.0, 50.0), (0.0, 1.0)),
    limit("Oil", "sulfated_ash_percent", (0.0, 20.0), (0.2, 2.0)),
    limit("Oil", "density_kg_per_m3", DENSITY, (800.0, 920.0)),
    // EN 590 allows 820 to 845 kg/m3, paraffinic fuel (EN 15940) starts at 765, ester reaches 900.
    limit("Fuel", "density_kg_per_m3", DENSITY, (760.0, 900.0)),
    limit("Ambient", "pressure_kpa", (30.0, 115.0), (60.0, 106.0)),
    limit("Ambient", "temperature_degc", (-80.0, 80.0), (-40.0, 50.0)),
    limit("Ambient", "altitude_m", (-500.0, 9000.0), (-430.0, 4500.0)),
    limit("Visit", "pressure_kpa", (30.0, 115.0), (60.0, 106.0)),
    limit("Visit", "temperature_degc", (-80.0, 80.0), (-40.0, 50.0)),
    limit("Visit", "altitude_m", (-500.0, 9000.0), (-430.0, 4500.0)),
    limit("Reading", "engine_speed_rpm", (0.0, 20_000.0), (500.0, 5500.0)),
    limit("Reading", "vehicle_speed_km_per_h", (0.0, 500.0), (0.0, 250.0)),
    // The unit decides: see Quantity::possible.
    limit("Reading", "value", (-1e12, 1e12), (-1e12, 1e12)),
    limit("Reading", "uncertainty", (0.0, 1e12), (0.0, 1e12)),
    limit("Refill", "volume_l", (TINY, 500.0), (0.05, 20.0)),
    limit("Refill", "mass_g", (TINY, 500_000.0), (50.0, 20_000.0)),
    limit("Refill", "entered_l", (0.0, 500.0), (0.05, 20.0)),
    limit("Refill", "metal_g_per_l", (TINY, 2000.0), (0.5, 120.0)),
    limit("Refill", "density_kg_per_m3", DENSITY, (750.0, 1100.0)),
    limit("CounterRead", "used_ml", (0.0, 500_000.0), (0.0, 20_000.0)),
    limit("CounterRead", "left_ml", (0.0, 500_000.0), (0.0, 20_000.0)),
    limit("CounterRead", "distance_since_fill_km", ODOMETER, (0.0, 400_000.0)),
    limit("CounterEntry", "entered_l", (0.0, 500.0), (0.0, 20.0)),
    limit("ReservoirWeighed", "gross_g", (0.0, 600_000.0), (10.0, 25_000.0)),
    limit("ReservoirWeighed", "tare_g", (0.0, 100_000.0), (10.0, 5000.0)),
    limit("ReservoirWeighed", "resolution_g", (TINY, 10_000.0), (0.01, 100.0)),
    limit("ReservoirWeighed", "uncertainty_g", (0.0, 100_000.0), (0.0, 500.0)),
    limit("LevelRead", "level_l", (0.0, 500.0), (0.0, 20.0)),
    limit("LevelRead", "uncertainty_l", (0.0, 500.0), (0.0, 5.0)),
    limit("FuelUsed", "since_odometer_km", ODOMETER, ODOMETER_USUAL),
    limit("FuelUsed", "fuel_l", (0.0, 5e6), (0.0, 500_000.0)),
    limit("TripComputer", "since_odometer_km", ODOMETER, ODOMETER_USUAL),
    limit("TripComputer", "consumption_l_per_100km", (0.1, 300.0), (2.5, 60.0)),
    limit("OilChange", "sulfated_ash_percent", (0.0, 20.0), (0.2, 2.0)),
    limit("OilChange", "volume_l", (TINY, 500.0), (2.0, 45.0)),
    limit("OilTopUp", "volume_l", (TINY, 500.0), (0.05, 10.0)),
    limit("Regeneration", "duration_min", (0.0, 1440.0), (2.0, 90.0)),
    limit("Regeneration", "peak_temperature_degc", (-60.0, 1600.0), (300.0, 900.0)),
    limit("RegenerationCount", "completed", (0.0, 1e7), (0.0, 20_000.0)),
    limit("RegenerationCount", "aborted", (0.0, 1e7), (0.0, 20_000.0)),
    limit("FilterCleaned", "mass_before_g", (TINY, 500_000.0), (1000.0, 60_000.0)),
    limit("FilterCleaned", "mass_after_g", (TINY, 500_000.0), (1000.0, 60_000.0)),
];

/// The limits of a key of a table or row type.
#[must_use]
pub fn of(table: &str, key: &str) -> Option<&'static Limit> {
    LIMITS
        .iter()
        .find(|l| l.table == table && l.key == key)
        .or_else(|| IN_EVERY_ROW.iter().find(|l| l.key == key))
}
