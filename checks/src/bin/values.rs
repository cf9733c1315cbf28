//! Hands out values of the libraries, so that the scripts in `checks/python` compare real code.
//!
//! Reads one JSON request a line from standard input and writes one JSON answer a line. A request that
//! cannot be answered gives `{"error": "..."}` and the run ends with status 1 once all lines are answered.

use facts::{FaultId, Knowledge};
use infer::network::{Network, Prior};
use recording::isotp::Assembler;
use recording::{FrameKind, Options as ReadOptions, Recording, read_bytes, read_frames, read_path};
use serde::Deserialize;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::error::Error;
use std::io::{BufRead, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use wallflow::channel::{self, Options, Profile, Zone};
use wallflow::{Cells, Density, Deposits, Ends, Filter, FlowState, Gas, Geometry, Media, media, pressure};

/// What can be asked for.
#[derive(Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case")]
enum Request {
    /// Properties of a gas at one state.
    Gas(GasPoint),
    /// Pressure drop of a filter at one flow.
    Pressure(Box<PressurePoint>),
    /// Everything a recording holds, from a file or from candump text.
    Recording {
        path: Option<PathBuf>,
        text: Option<String>,
        /// Message descriptions (DBC) that the user brings.
        #[serde(default)]
        descriptions: Vec<PathBuf>,
    },
    /// Every frame of a recording.
    Frames { path: PathBuf },
    /// Messages that ISO-TP frames of one sender (hexadecimal) make, a millisecond apart.
    Isotp { frames: Vec<String> },
    /// Fault sets of at most `most` of these faults, given answers to observations.
    FaultSets { faults: Vec<String>, answers: BTreeMap<String, bool>, most: usize },
}

/// A gas at one state.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct GasPoint {
    /// Air-to-fuel ratio of the exhaust; none = air.
    lambda: Option<f64>,
    temperature_k: f64,
    pressure_pa: f64,
}

/// A filter, its deposits and one flow.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PressurePoint {
    /// `closed_form` or `channel`.
    model: String,
    cells_per_m2: f64,
    wall_m: f64,
    inlet_ratio: f64,
    face_area_m2: f64,
    length_m: f64,
    wall_permeability_m2: f64,
    forchheimer_per_m: f64,
    cake_product_kg_per_m: f64,
    cake_packing_kg_per_m3: f64,
    ash_permeability_m2: f64,
    ash_packing_kg_per_m3: f64,
    plug_packing_kg_per_m3: f64,
    contraction: f64,
    expansion: f64,
    mass_flow_kg_per_s: f64,
    temperature_k: f64,
    outlet_pressure_pa: f64,
    momentum: f64,
    compressible: bool,
    zones: Vec<ZonePoint>,
}

/// A part of the face.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ZonePoint {
    share: f64,
    soot_kg_per_m3: f64,
    ash_kg_per_m3: f64,
    plug_share: f64,
    /// Soot thickness at the front and at the end, relative to its mean.
    soot_profile: [f64; 2],
}

fn gas(point: &GasPoint) -> Result<Value, Box<dyn Error>> {
    let gas = match point.lambda {
        Some(lambda) => Gas::exhaust_at(lambda)?,
        None => Gas::air(),
    };
    let c = gas.composition();
    Ok(json!({
        "density_kg_per_m3": gas.density(point.pressure_pa, point.temperature_k),
        "viscosity_pa_s": gas.viscosity(point.temperature_k),
        "heat_capacity_j_per_kg_k": gas.heat_capacity(point.temperature_k),
        "molar_mass_kg_per_mol": gas.molar_mass(),
        "co2": c.co2, "h2o": c.h2o, "o2": c.o2, "n2": c.n2,
    }))
}

fn drop(p: &PressurePoint) -> Result<Value, Box<dyn Error>> {
    let cells = Cells::inlet_wide(p.cells_per_m2, p.wall_m, p.inlet_ratio)?;
    let wall = media::Wall::new(p.wall_permeability_m2)?.with_forchheimer(p.forchheimer_per_m)?;
    let cake = media::Cake::new(p.cake_product_kg_per_m, p.cake_packing_kg_per_m3)?;
    let ash = media::Ash::new(p.ash_permeability_m2, p.ash_packing_kg_per_m3, p.plug_packing_kg_per_m3)?;
    let filter = Filter {
        geometry: Geometry::new(cells, p.face_area_m2, p.length_m)?,
        media: Media::new(wall, cake, ash),
        ends: Ends::Given { contraction: p.contraction, expansion: p.expansion, cones: 0.0 },
    };
    let gas = Gas::exhaust();
    let flow = FlowState::new(p.mass_flow_kg_per_s, p.temperature_k, p.outlet_pressure_pa)?;
    let mut zones = Vec::new();
    for z in &p.zones {
        zones.push(Zone {
            share: z.share,
            deposits: Deposits::new(z.soot_kg_per_m3, z.ash_kg_per_m3, z.plug_share)?,
            soot: Profile::new(&z.soot_profile)?,
            ash: Profile::even(),
        });
    }
    let mut answer = json!({
        "viscosity_pa_s": gas.viscosity(p.temperature_k),
        "specific_constant_j_per_kg_k": gas.specific_constant(),
        "friction": pressure::SQUARE_DUCT,
    });
    let extra = match (p.model.as_str(), zones.as_slice()) {
        ("channel", zones) => {
            let options = Options { momentum: p.momentum, compressible: p.compressible, intervals: None };
            let solution = channel::solve(&filter, zones, &gas, &flow, &options)?;
            let velocities: Vec<_> =
                solution.zones.iter().map(|z| [z.wall_velocity.first(), z.wall_velocity.last()]).collect();
            let flows: Vec<_> = solution.zones.iter().map(|z| z.mass_flow).collect();
            json!({"total_pa": solution.total(), "wall_velocity_m_per_s": velocities,
                   "zone_mass_flow_kg_per_s": flows})
        }
        ("closed_form", [zone]) => {
            let density = if p.compressible { Density::Mean } else { Density::Outlet };
            json!({"total_pa": pressure::closed_form(&filter, &zone.deposits, &gas, &flow, density)?.total()})
        }
        (other, _) => return Err(format!("no model {other:?} for {} zones", p.zones.len()).into()),
    };
    if let (Some(all), Value::Object(extra)) = (answer.as_object_mut(), extra) {
        all.extend(extra);
    }
    Ok(answer)
}

fn frames(path: &Path) -> Result<Value, Box<dyn Error>> {
    let mut list = Vec::new();
    let bytes = std::fs::read(path)?;
    let recording = read_frames("frames", &bytes, &ReadOptions::default(), &mut |frame, _| {
        let kind = match frame.kind {
            FrameKind::Classic => "data",
            FrameKind::Fd { .. } => "fd",
            FrameKind::Remote => "remote",
            FrameKind::Error => "error",
        };
        list.push(json!([
            frame.time_ns,
            frame.id,
            frame.extended,
            kind,
            hexadecimal(frame.data()),
            frame.length()
        ]));
    });
    Ok(json!({"frames": list, "buses": recording.buses,
              "problems": recording.problems.iter().map(ToString::to_string).collect::<Vec<_>>()}))
}

fn read(
    path: Option<PathBuf>,
    text: Option<String>,
    descriptions: &[PathBuf],
) -> Result<Value, Box<dyn Error>> {
    let mut options = ReadOptions::default();
    for path in descriptions {
        options.descriptions.push((path.display().to_string(), std::fs::read(path)?));
    }
    let recording = match (path, text) {
        (Some(path), None) => read_path(&path, &options)?,
        (None, Some(text)) => read_bytes("text", text.as_bytes(), &options),
        _ => return Err("give either path or text".into()),
    };
    Ok(everything(&recording))
}

fn everything(recording: &Recording) -> Value {
    let signals: Vec<_> = recording
        .signals
        .iter()
        .map(|s| {
            json!({"quantity": s.quantity.name(), "unit": s.quantity.unit(), "instance": s.instance,
                   "source": s.source, "time_s": s.time_s, "value": s.value})
        })
        .collect();
    let named: Vec<_> = recording
        .named
        .iter()
        .map(|s| {
            json!({"name": s.name, "message": s.message, "unit": s.unit, "source": s.source,
                   "time_s": s.time_s, "value": s.value, "absent": s.absent})
        })
        .collect();
    let codes: Vec<_> = recording
        .trouble_codes
        .iter()
        .map(|c| {
            json!({"code": c.code, "failure_type": c.failure_type, "status": c.status,
                   "occurrences": c.occurrences, "memory": format!("{:?}", c.memory), "source": c.source})
        })
        .collect();
    let notes: Vec<_> = recording
        .notes
        .iter()
        .map(|n| json!({"kind": format!("{:?}", n.kind), "source": n.source, "text": n.text}))
        .collect();
    let counts = &recording.counts;
    json!({
        "format": recording.format.to_string(),
        "vin": recording.vin,
        "signals": signals,
        "named": named,
        "trouble_codes": codes,
        "notes": notes,
        "problems": recording.problems.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "counts": {"frames": counts.frames, "messages": counts.messages, "lost_lines": counts.lost_lines,
                   "pending_responses": counts.pending_responses, "absent_values": counts.absent_values},
    })
}

fn reassemble(frames: &[String]) -> Result<Value, Box<dyn Error>> {
    let mut assembler = Assembler::default();
    let mut messages = Vec::new();
    for (at, frame) in (0..).zip(frames) {
        let data = bytes(frame)?;
        let outcome = assembler.push(at * 1_000_000, &data);
        messages.extend(outcome.message.map(hexadecimal));
    }
    Ok(json!({"messages": messages}))
}

fn fault_sets(
    faults: &[String],
    answers: &BTreeMap<String, bool>,
    most: usize,
) -> Result<Value, Box<dyn Error>> {
    let knowledge = Knowledge::built_in();
    let network = Network::new(knowledge);
    let mut of = Vec::new();
    for id in faults {
        of.push(FaultId::from_id(id).ok_or_else(|| format!("no fault is called {id:?}"))?);
    }
    let given = network.answers(answers.iter().map(|(o, yes)| (o.as_str(), *yes)));
    let prior = Prior::new(knowledge);
    let sets: Vec<_> = network
        .enumerate(&of, most, &prior, given, |_| 0.0)
        .into_iter()
        .map(|m| json!({"faults": m.set.faults(), "p": m.p}))
        .collect();
    Ok(json!({"sets": sets, "slip": infer::network::SLIP, "further": prior.further}))
}

fn bytes(text: &str) -> Result<Vec<u8>, Box<dyn Error>> {
    let pairs = text.as_bytes().chunks(2);
    pairs.map(|pair| Ok(u8::from_str_radix(std::str::from_utf8(pair)?, 16)?)).collect()
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

fn answer(line: &str) -> Result<Value, Box<dyn Error>> {
    match serde_json::from_str(line)? {
        Request::Gas(point) => gas(&point),
        Request::Pressure(point) => drop(&point),
        Request::Recording { path, text, descriptions } => read(path, text, &descriptions),
        Request::Frames { path } => frames(&path),
        Request::Isotp { frames } => reassemble(&frames),
        Request::FaultSets { faults, answers, most } => fault_sets(&faults, &answers, most),
    }
}

fn main() -> Result<ExitCode, Box<dyn Error>> {
    let mut out = std::io::stdout().lock();
    let mut code = ExitCode::SUCCESS;
    for line in std::io::stdin().lock().lines() {
        let value = answer(&line?).unwrap_or_else(|e| {
            code = ExitCode::FAILURE;
            json!({"error": e.to_string()})
        });
        writeln!(out, "{value}")?;
    }
    Ok(code)
}
