//! `sootwright simulate drive`: recordings of an invented car, with the truth beside them.

use crate::cli::{Form, Route, Simulate, SimulateCommand, SimulateDrive, SimulateVehicle};
use crate::failure::{Failure, Outcome};
use crate::words::{digits, number, say, say_with};
use crate::{args, print};
use demo::cycle::Style;
use demo::ordered::{self, Order, SensorErrors, SimulateError, Simulated, Trace, known_faults, simulate};
use facts::FaultId;
use recording::{Options, Quantity};
use std::collections::BTreeMap;
use std::path::Path;

/// Runs the command.
pub fn run(order: &Simulate) -> Result<Outcome, Failure> {
    match &order.command {
        SimulateCommand::Drive(drive) => self::drive(drive),
        SimulateCommand::Vehicle(vehicle) => self::vehicle(vehicle),
    }
}

fn drive(wanted: &SimulateDrive) -> Result<Outcome, Failure> {
    let order = Order {
        seed: wanted.seed,
        heavy: wanted.heavy,
        soot_g_per_l: wanted.soot,
        ash_g_per_l: wanted.ash,
        faults: wanted.fault.iter().map(|f| fault(f)).collect::<Result<_, _>>()?,
        sensors: SensorErrors {
            zero_kpa: wanted.zero,
            pressure_gain: wanted.pressure_gain,
            noise_kpa: wanted.noise,
            lag_s: wanted.lag,
            flow_gain: wanted.flow_gain,
            temperature_bias_k: wanted.temperature_bias,
        },
        trace: trace(wanted)?,
        key_on_s: wanted.key_on,
        cold: wanted.cold,
        forms: forms(wanted),
        made_by: format!("sootwright {}", env!("CARGO_PKG_VERSION")),
    };
    let made = simulate(&order).map_err(|e| {
        let text = say_with("error-simulate", &args! { "why" => e.to_string() });
        match e {
            SimulateError::Order(_) => Failure::Usage(text),
            SimulateError::Write(_) => Failure::Refused(text),
        }
    })?;
    write(&wanted.out, &made)?;
    print(&told(wanted, &order, &made))?;
    Ok(Outcome::Answered)
}

/// Serves an invented car on a pseudo-terminal, for practice with `sootwright record`.
#[cfg(unix)]
fn vehicle(wanted: &SimulateVehicle) -> Result<Outcome, Failure> {
    use crate::record::{serial::Served, vehicle::Vehicle};
    let order = Order {
        seed: wanted.seed,
        heavy: false,
        soot_g_per_l: wanted.soot,
        ash_g_per_l: wanted.ash,
        faults: wanted.fault.iter().map(|f| fault(f)).collect::<Result<_, _>>()?,
        sensors: SensorErrors::default(),
        trace: road(wanted.road, wanted.minutes),
        key_on_s: 10.0,
        cold: false,
        forms: vec![ordered::Form::Obd],
        made_by: format!("sootwright {}", env!("CARGO_PKG_VERSION")),
    };
    let refused = |why: String| Failure::Refused(say_with("error-simulate", &args! { "why" => why }));
    let made = simulate(&order).map_err(|e| refused(e.to_string()))?;
    let log = made.files.iter().find(|(name, _)| name.ends_with(".log")).map(|(_, bytes)| bytes.as_slice());
    let vehicle = log.and_then(Vehicle::learn).ok_or_else(|| refused("no live data".to_owned()))?;
    let served = Served::new(vehicle).map_err(|e| refused(e.to_string()))?;
    print(&(say_with("simulate-vehicle", &args! { "line" => served.path.clone() }) + "\n"))?;
    let until = wanted
        .seconds
        .map(|s| std::time::Instant::now() + std::time::Duration::from_secs_f64(s.clamp(0.0, 1e6)));
    served.serve(until).map_err(|e| refused(e.to_string()))?;
    Ok(Outcome::Answered)
}

#[cfg(not(unix))]
fn vehicle(_wanted: &SimulateVehicle) -> Result<Outcome, Failure> {
    Err(Failure::Usage(crate::words::say("error-simulate-vehicle")))
}

fn fault(word: &str) -> Result<FaultId, Failure> {
    let known = known_faults();
    FaultId::ALL.iter().copied().find(|f| f.id() == word && known.contains(&word)).ok_or_else(|| {
        Failure::Usage(say_with(
            "error-simulate-fault",
            &args! { "fault" => word, "known" => known.join(", ") },
        ))
    })
}

fn forms(wanted: &SimulateDrive) -> Vec<ordered::Form> {
    if wanted.write.is_empty() {
        let bus = if wanted.heavy { ordered::Form::J1939 } else { ordered::Form::Obd };
        return vec![bus, ordered::Form::Csv];
    }
    let of = |f: &Form| match f {
        Form::Obd => ordered::Form::Obd,
        Form::J1939 => ordered::Form::J1939,
        Form::Csv => ordered::Form::Csv,
    };
    wanted.write.iter().map(of).collect()
}

fn trace(wanted: &SimulateDrive) -> Result<Trace, Failure> {
    if let Some(path) = &wanted.trace {
        return speed(path).map(Trace::Given);
    }
    Ok(road(wanted.road, wanted.minutes))
}

fn road(road: Route, minutes: f64) -> Trace {
    match road {
        Route::Town => Trace::Invented(Style::Town, minutes),
        Route::Road => Trace::Invented(Style::Road, minutes),
        Route::Motorway => Trace::Invented(Style::Motorway, minutes),
        Route::Mixed => Trace::Invented(Style::Mixed, minutes),
        Route::Workshop => Trace::Workshop,
    }
}

/// The road speed in a file, as seconds and km/h. Every recording that holds one will do.
pub(crate) fn speed(path: &Path) -> Result<Vec<(f64, f64)>, Failure> {
    let shown = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|e| Failure::read(&shown, &e))?;
    // Short names that people give the column; a unit in brackets behind them is kept.
    let names = [
        ("speed", "vehicle_speed"),
        ("v", "vehicle_speed"),
        ("velocity", "vehicle_speed"),
        ("speed_km_h", "vehicle_speed [km/h]"),
        ("speed_kmh", "vehicle_speed [km/h]"),
        ("speed_kph", "vehicle_speed [km/h]"),
        ("speed_m_s", "vehicle_speed [m/s]"),
        ("speed_mps", "vehicle_speed [m/s]"),
        ("speed_mph", "vehicle_speed [mph]"),
    ];
    let column_names: BTreeMap<String, String> =
        names.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect();
    let recording = recording::read_bytes(&shown, &bytes, &Options { column_names, ..Options::default() });
    let Some(signal) = recording.signal(Quantity::VehicleSpeed) else {
        let problems: String = recording.problems.iter().map(|p| format!("\n{p}")).collect();
        return Err(Failure::Refused(say_with(
            "error-simulate-trace",
            &args! { "path" => shown, "problems" => problems },
        )));
    };
    Ok(signal.time_s.iter().copied().zip(signal.value.iter().copied()).collect())
}

fn write(folder: &Path, made: &Simulated) -> Result<(), Failure> {
    std::fs::create_dir_all(folder).map_err(|e| Failure::write(&folder.display().to_string(), &e))?;
    for (name, bytes) in &made.files {
        let path = folder.join(name);
        std::fs::write(&path, bytes).map_err(|e| Failure::write(&path.display().to_string(), &e))?;
    }
    Ok(())
}

fn told(wanted: &SimulateDrive, order: &Order, made: &Simulated) -> String {
    let truth = &made.truth;
    let faults: Vec<&str> = order.faults.iter().map(|f| f.id()).collect();
    let mut lines = vec![
        say_with(
            "simulate-car",
            &args! {
                "heavy" => if order.heavy { "yes" } else { "no" },
                "volume" => number(truth.filter_volume_l, 1),
                "minutes" => number(made.seconds / 60.0, 1),
            },
        ),
        say_with(
            "simulate-state",
            &args! {
                "soot" => digits(truth.soot_load_g_per_l, 1),
                "ash" => digits(truth.ash_load_g_per_l, 0),
                "zero" => digits(truth.zero_kpa, 2),
                "drop" => digits(truth.standard_pressure_drop_kpa, 2),
                "new" => digits(truth.standard_pressure_drop_as_new_kpa, 2),
                "fault" => if faults.is_empty() { "none".to_owned() } else { faults.join(", ") },
            },
        ),
    ];
    if made.power_short > 0.05 {
        lines.push(say_with("simulate-power", &args! { "share" => number(100.0 * made.power_short, 0) }));
    }
    let names: Vec<&str> = made.files.iter().map(|f| f.0.as_str()).collect();
    lines.push(say_with(
        "simulate-written",
        &args! { "path" => wanted.out.display().to_string(), "files" => names.join(", ") },
    ));
    lines.push(say("simulate-invented"));
    lines.push(say_with(
        "simulate-next",
        &args! { "path" => wanted.out.join("case.toml").display().to_string() },
    ));
    lines.join("\n") + "\n"
}
