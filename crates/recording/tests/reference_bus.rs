//! The rows of `checks/data/bus-checks.jsonl` against the readers and decoders. Each row names its own outside
//! source (library and version, standard, or recording); rows for which this crate has no code are counted and
//! listed by name.
#![allow(clippy::unwrap_used, reason = "a test may stop here")]

use recording::isotp::{Assembler, Flow, flow_control};
use recording::{CodeMemory, Decoded, Options, Quantity, Recording, candump, codes, j1939, obd, uds, vin};
use serde_json::Value;
use std::collections::BTreeMap;

fn rows() -> Vec<Value> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../checks/data/bus-checks.jsonl");
    let text = std::fs::read_to_string(path).unwrap();
    text.lines().filter(|l| !l.trim().is_empty()).map(|l| serde_json::from_str(l).unwrap()).collect()
}

fn bytes(hex: &str) -> Vec<u8> {
    assert!(hex.len().is_multiple_of(2), "{hex}");
    (0..hex.len() / 2).map(|n| u8::from_str_radix(&hex[2 * n..2 * n + 2], 16).unwrap()).collect()
}

fn close(got: f64, want: f64) -> bool {
    (got - want).abs() <= 1e-9 * want.abs().max(1.0)
}

/// What a row says when the code does not agree; `Skip` for what the crate does not do.
enum Outcome {
    Pass,
    Skip(&'static str),
}

type Check = Result<Outcome, String>;

fn equal<T: PartialEq + std::fmt::Debug>(what: &str, got: T, want: T) -> Result<(), String> {
    if got == want { Ok(()) } else { Err(format!("{what}: got {got:?}, want {want:?}")) }
}

fn candump_row(row: &Value) -> Check {
    let want = &row["expected"];
    let line = bytes(row["input_hex"].as_str().unwrap());
    let mut frame = candump::Frame::default();
    let result = candump::parse_line(&line, &mut frame);
    if let Some(error) = want["error"].as_str() {
        let got = result.err().ok_or("an error was due")?;
        let due = match error {
            "id must be 3 or 8 digits" => candump::LineError::IdLength,
            "odd digit count" => candump::LineError::OddDigits,
            "9 bytes in a classic frame" => candump::LineError::TooManyBytes,
            "not hex" => candump::LineError::NotHex,
            "no closing bracket" => candump::LineError::TimeNotClosed,
            "no time" => candump::LineError::NoTime,
            other => return Err(format!("unknown error {other}")),
        };
        equal("error", got, due)?;
        return Ok(Outcome::Pass);
    }
    result.map_err(|e| e.to_string())?;
    for (key, value) in want.as_object().unwrap() {
        match key.as_str() {
            "t" => {
                let want_us = (value.as_f64().unwrap() * 1e6).round() as i64;
                equal("t", frame.time_ns, want_us * 1000)?;
            }
            "id" => equal("id", u64::from(frame.id), value.as_u64().unwrap())?,
            "ext" => equal("ext", frame.extended, value.as_bool().unwrap())?,
            "rtr" => {
                equal("rtr", frame.kind == candump::FrameKind::Remote, value.as_bool().unwrap())?;
            }
            "fd" => {
                let fd = matches!(frame.kind, candump::FrameKind::Fd { .. });
                equal("fd", fd, value.as_bool().unwrap())?;
            }
            "brs" => match frame.kind {
                candump::FrameKind::Fd { bit_rate_switch, .. } => {
                    equal("brs", bit_rate_switch, value.as_bool().unwrap())?;
                }
                _ => return Err("no FD frame".into()),
            },
            "esi" => match frame.kind {
                candump::FrameKind::Fd { error_state, .. } => {
                    equal("esi", error_state, value.as_bool().unwrap())?;
                }
                _ => return Err("no FD frame".into()),
            },
            "err" => equal("err", frame.kind == candump::FrameKind::Error, value.as_bool().unwrap())?,
            "error_class" => equal("class", u64::from(frame.id), value.as_u64().unwrap())?,
            "controller_status" => equal("status", u64::from(frame.data()[1]), value.as_u64().unwrap())?,
            "dlc" => equal("dlc", u64::from(frame.length()), value.as_u64().unwrap())?,
            "data" => equal("data", frame.data().to_vec(), bytes(value.as_str().unwrap()))?,
            "dir" => {
                let want = match value.as_str().unwrap() {
                    "R" => candump::Direction::Received,
                    _ => candump::Direction::Sent,
                };
                equal("dir", frame.direction, Some(want))?;
            }
            "form" => {}
            other => return Err(format!("key {other} not checked")),
        }
    }
    Ok(Outcome::Pass)
}

/// Frames `id#data` of a row; where the middle is left out (`...`) it is made from the payload.
fn frames_of(want: &Value, payload: &[u8]) -> Vec<Vec<u8>> {
    let listed: Vec<&str> = want["frames"].as_array().unwrap().iter().map(|f| f.as_str().unwrap()).collect();
    let data = |f: &str| bytes(f.split_once('#').unwrap().1);
    let Some(gap) = listed.iter().position(|f| *f == "...") else {
        return listed.iter().map(|f| data(f)).collect();
    };
    let mut frames: Vec<Vec<u8>> = listed[..gap].iter().map(|f| data(f)).collect();
    let in_first = if frames[0][0] == 0x10 && frames[0][1] == 0 { 2 } else { 6 };
    let mut at = in_first + 7 * (frames.len() - 1);
    let count = want["frame_count"].as_u64().unwrap() as usize;
    while frames.len() < count - 1 {
        let mut frame = vec![0x20 | (frames.len() & 15) as u8];
        frame.extend_from_slice(&payload[at..at + 7]);
        at += 7;
        frames.push(frame);
    }
    frames.push(data(listed.last().unwrap()));
    frames
}

fn isotp_row(row: &Value) -> Check {
    let id = row["id"].as_str().unwrap();
    let want = &row["expected"];
    let input = bytes(row["input_hex"].as_str().unwrap());
    if want["type"] == "FC" {
        let got = flow_control(&input).ok_or("no flow control")?;
        let flow = match want["flow"].as_str().unwrap() {
            "continue" => Flow::Continue,
            "wait" => Flow::Wait,
            _ => Flow::Overflow,
        };
        equal("flow", got.flow, flow)?;
        if let Some(n) = want["block_size"].as_u64() {
            equal("block size", u64::from(got.block_size), n)?;
        }
        if let Some(n) = want["st_min_us"].as_u64() {
            equal("separation", u64::from(got.separation_us), n)?;
        }
        return Ok(Outcome::Pass);
    }
    let mut assembler = Assembler::default();
    if let Some(error) = want["error"].as_str() {
        let mut errors = Vec::new();
        for frame in input.chunks(8) {
            errors.extend(assembler.push(0, frame).error.map(|e| e.to_string()));
        }
        let got = errors.join(", ");
        let got = got.replace("a frame of 8 bytes", "a classic 8-byte frame");
        equal("error", got.as_str(), error)?;
        return Ok(Outcome::Pass);
    }
    if want.get("frames").is_some() {
        let long = want["payload_len"].as_u64().map_or(input.len(), |n| n as usize);
        let payload: Vec<u8> =
            if long == input.len() { input } else { (0..long).map(|i| (i % 256) as u8).collect() };
        let frames = frames_of(want, &payload);
        equal("frames", frames.len() as u64, want["frame_count"].as_u64().unwrap())?;
        // Extended and mixed addressing: the first byte is an address and belongs to the channel.
        let address = usize::from(matches!(id, "tp-16" | "tp-17"));
        let mut got = None;
        for frame in &frames {
            let outcome = assembler.push(0, &frame[address..]);
            if let Some(error) = outcome.error {
                return Err(error.to_string());
            }
            got = outcome.message.map(<[u8]>::to_vec).or(got);
        }
        equal("payload", got, Some(payload))?;
        return Ok(Outcome::Pass);
    }
    if let Some(payload) = want["payload"].as_str() {
        let mut got = None;
        for frame in input.chunks(8) {
            got = assembler.push(0, frame).message.map(<[u8]>::to_vec).or(got);
        }
        equal("payload", got.clone(), Some(bytes(payload)))?;
        if let Some(number) = want["vin"].as_str() {
            let got = got.unwrap();
            equal("vin", std::str::from_utf8(&got[3..]).unwrap(), number)?;
        }
        return Ok(Outcome::Pass);
    }
    Err("nothing checked".into())
}

/// Name of a field in the rows, quantity and instance here.
fn field(name: &str) -> Option<(Quantity, u8)> {
    use Quantity as Q;
    Some(match name {
        "load" => (Q::EngineLoad, 0),
        "coolant" => (Q::CoolantTemperature, 0),
        "map" => (Q::IntakeManifoldPressure, 0),
        "rpm" => (Q::EngineSpeed, 0),
        "speed" => (Q::VehicleSpeed, 0),
        "iat" => (Q::IntakeAirTemperature, 0),
        "maf" => (Q::IntakeAirMassFlow, 0),
        "throttle" => (Q::Throttle, 0),
        "run_time" => (Q::TimeSinceStart, 0),
        "dist_mil" => (Q::DistanceWithLamp, 0),
        "rail" => (Q::RailPressure, 0),
        "egr_cmd" => (Q::EgrCommanded, 0),
        "egr_err" => (Q::EgrError, 0),
        "fuel_level" => (Q::FuelLevel, 0),
        "warmups" => (Q::WarmupsSinceCodesCleared, 0),
        "dist_clr" => (Q::DistanceSinceCodesCleared, 0),
        "baro" => (Q::BarometricPressure, 0),
        "voltage" => (Q::BatteryVoltage, 0),
        "load_abs" => (Q::AbsoluteLoad, 0),
        "ambient" => (Q::AmbientTemperature, 0),
        "pedal_d" => (Q::Pedal, 1),
        "time_mil" => (Q::TimeWithLamp, 0),
        "time_clr" => (Q::TimeSinceCodesCleared, 0),
        "rail_abs" => (Q::RailPressureAbsolute, 0),
        "oil" => (Q::OilTemperature, 0),
        "inj_timing" => (Q::InjectionTiming, 0),
        "fuel_rate" => (Q::FuelVolumeRate, 0),
        "tq_demand" => (Q::TorqueDemanded, 0),
        "tq_actual" => (Q::TorqueActual, 0),
        "tq_ref" => (Q::ReferenceTorque, 0),
        "maf_a" => (Q::IntakeAirMassFlow, 1),
        "maf_b" => (Q::IntakeAirMassFlow, 2),
        "iat_b1s1" => (Q::IntakeAirTemperature, 1),
        "iat_b1s2" => (Q::IntakeAirTemperature, 2),
        "egr_a_cmd" => (Q::EgrCommanded, 1),
        "egr_a_act" => (Q::EgrActual, 1),
        "egr_a_err" => (Q::EgrError, 1),
        "iaf_a_cmd" => (Q::IntakeFlapCommanded, 1),
        "iaf_a_pos" => (Q::IntakeFlapActual, 1),
        "egr_t_11" | "egr_t_11_wide" => (Q::EgrTemperature, 1),
        "tca_inlet" => (Q::CompressorInletPressure, 1),
        "boost_a_cmd" => (Q::BoostPressureCommanded, 1),
        "boost_a_act" => (Q::BoostPressureActual, 1),
        "boost_a_status" => (Q::BoostControlState, 1),
        "vgt_a_cmd" => (Q::VaneCommanded, 1),
        "vgt_a_act" => (Q::VaneActual, 1),
        "vgt_a_status" => (Q::VaneControlState, 1),
        "exh_p_1" => (Q::ExhaustPressure, 1),
        "tc_a_raw" => (Q::TurbochargerSpeed, 1),
        "tca_comp_in" => (Q::CompressorInletTemperature, 1),
        "tca_comp_out" => (Q::CompressorOutletTemperature, 1),
        "tca_turb_in" => (Q::TurbineInletTemperature, 1),
        "tca_turb_out" => (Q::TurbineOutletTemperature, 1),
        "cact_11" => (Q::ChargeAirTemperature, 1),
        "cact_12" => (Q::ChargeAirTemperature, 2),
        "egt_1" => (Q::ExhaustTemperature, 1),
        "egt_2" => (Q::ExhaustTemperature, 2),
        "egt_3" => (Q::ExhaustTemperature, 3),
        "egt_4" => (Q::ExhaustTemperature, 4),
        "dp" => (Q::FilterDifferentialPressure, 1),
        "inlet" => (Q::FilterInletPressure, 1),
        "outlet" => (Q::FilterOutletPressure, 1),
        "in_1" => (Q::FilterInletTemperature, 1),
        "out_1" => (Q::FilterOutletTemperature, 1),
        "in_2" => (Q::FilterInletTemperature, 2),
        "out_2" => (Q::FilterOutletTemperature, 2),
        "run" => (Q::EngineRunTime, 0),
        "idle" => (Q::EngineIdleTime, 0),
        "pto" => (Q::PtoRunTime, 0),
        "nox_11" => (Q::Nox, 1),
        "nox_12" => (Q::Nox, 2),
        "rate" => (Q::ReagentRate, 0),
        "demand" => (Q::ReagentRateDemanded, 0),
        "level" | "level_pct" => (Q::ReagentLevel, 0),
        "nwi_time" => (Q::ReagentWarningTime, 0),
        "pm_11" => (Q::ParticulateMass, 1),
        "map_a" => (Q::IntakeManifoldPressure, 1),
        "regen_in_progress" => (Q::RegenerationActive, 0),
        "regen_type" => (Q::RegenerationKind, 0),
        "trigger" => (Q::RegenerationTrigger, 0),
        "avg_time_min" => (Q::MeanTimeBetweenRegenerations, 0),
        "avg_dist_km" => (Q::MeanDistanceBetweenRegenerations, 0),
        "o2_11_pct" => (Q::ExhaustOxygen, 1),
        "lambda_11" => (Q::Lambda, 1),
        "friction_tq" => (Q::TorqueFriction, 0),
        "pm11_active" => (Q::ParticulateSensorActive, 1),
        "pm11_regen" => (Q::ParticulateSensorRegenerating, 1),
        "pm11_norm_pct" => (Q::ParticulateSensorReading, 1),
        "conc_pct" => (Q::ReagentConcentration, 0),
        "temp" => (Q::ReagentTemperature, 0),
        "engine_fuel" => (Q::FuelMassRate, 0),
        "vehicle_fuel" => (Q::VehicleFuelMassRate, 0),
        "exh_flow" => (Q::ExhaustMassFlow, 0),
        "fuelsys_a_b1" => (Q::FuelSystemUse, 1),
        "odometer" => (Q::Odometer, 0),
        "cat_temp_b1s1" => (Q::CatalystTemperature, 1),
        _ => return None,
    })
}

fn same_value(name: &str, got: Option<f64>, want: &Value) -> Result<(), String> {
    let want = match want {
        Value::Null => None,
        Value::Bool(b) => Some(f64::from(u8::from(*b))),
        Value::String(s) => Some(match s.as_str() {
            "active" | "open loop" => 1.0,
            "closed loop" => 2.0,
            "passive" => 0.0,
            other => return Err(format!("{name}: word {other}")),
        }),
        other => other.as_f64(),
    };
    match (got, want) {
        (None, None) => Ok(()),
        (Some(g), Some(w)) if close(g, w) => Ok(()),
        _ => Err(format!("{name}: got {got:?}, want {want:?}")),
    }
}

fn names(list: &Value) -> Vec<String> {
    list.as_array().unwrap().iter().map(|v| v.as_str().unwrap().to_owned()).collect()
}

/// The rows name the monitors in one word.
fn monitor(name: &str) -> &str {
    match name {
        "fuel system" => "fuel",
        "hydrocarbon catalyst" => "nmhc_cat",
        "NOx aftertreatment" => "nox_scr",
        "boost pressure" => "boost",
        "exhaust gas sensor" => "exhaust_gas_sensor",
        "particulate filter" => "pm_filter",
        "EGR or valve timing" => "egr_vvt",
        other => other,
    }
}

fn live_row(message: &[u8], want: &Value) -> Check {
    let found = obd::split(&message[1..], 0).ok_or("cannot be split")?;
    let decoded: Vec<Decoded> = found
        .as_slice()
        .iter()
        .flat_map(|(pid, data)| {
            // Bank 2 rows (7B, 79) use the names of bank 1.
            let pid = match pid {
                0x7B => 0x7A,
                0x79 => 0x78,
                other => *other,
            };
            obd::decode(pid, data).collect::<Vec<_>>()
        })
        .collect();
    let (pid, data) = found.as_slice()[0];
    for (key, value) in want.as_object().unwrap() {
        match key.as_str() {
            "unit" | "note" | "self_check" | "pid" => {}
            "supported" if value[0].is_u64() => {
                let got: Vec<u64> = obd::supported(pid, data.try_into().unwrap()).map(u64::from).collect();
                let want: Vec<u64> = value.as_array().unwrap().iter().map(|v| v.as_u64().unwrap()).collect();
                equal("supported", got, want)?;
            }
            "mil" | "dtc_count" | "compression_ignition" | "supported" | "incomplete" => {
                let status = obd::MonitorStatus::read(data.try_into().unwrap());
                let list = |it: Vec<&str>| it.into_iter().map(|n| monitor(n).to_owned()).collect::<Vec<_>>();
                match key.as_str() {
                    "mil" => equal(key, status.lamp, value.as_bool().unwrap())?,
                    "dtc_count" => equal(key, u64::from(status.codes), value.as_u64().unwrap())?,
                    "compression_ignition" => {
                        equal(key, status.compression_ignition, value.as_bool().unwrap())?;
                    }
                    "supported" => equal(key, list(status.supported().collect()), names(value))?,
                    _ => equal(key, list(status.incomplete().collect()), names(value))?,
                }
            }
            "bytes" => equal(key, data.to_vec(), bytes(&value.as_str().unwrap().replace(' ', "")))?,
            "obd" if value.is_u64() => equal(key, u64::from(data[0]), value.as_u64().unwrap())?,
            "obd" => equal(key, obd::standard_name(data[0]), value.as_str())?,
            "fuel" => equal(key, u64::from(data[0]), value.as_u64().unwrap())?,
            "meaning" => {
                let got = if pid == 0x1C { obd::standard_name(data[0]) } else { obd::fuel_name(data[0]) };
                equal(key, got, value.as_str())?;
            }
            "tq_points" => {
                let got: Vec<f64> = decoded.iter().filter_map(|d| d.value).collect();
                let want: Vec<f64> = value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
                equal(key, got, want)?;
            }
            name => {
                let (quantity, instance) =
                    field(name).ok_or_else(|| format!("field {name} is not mapped"))?;
                let got = decoded.iter().find(|d| d.quantity == quantity && d.instance == instance);
                same_value(name, got.and_then(|d| d.value), value)?;
            }
        }
    }
    Ok(Outcome::Pass)
}

/// A whole message as a one-frame or many-frame log line by line, read through the front door.
fn through_the_front_door(message: &[u8]) -> Recording {
    let mut log = String::new();
    let mut line = |data: &[u8]| {
        log.push_str("(0.0) can0 7E8#");
        data.iter().for_each(|b| log.push_str(&format!("{b:02X}")));
        log.push('\n');
    };
    if message.len() <= 7 {
        line(&[&[message.len() as u8], message].concat());
    } else {
        line(&[&[0x10 | (message.len() >> 8) as u8, message.len() as u8], &message[..6]].concat());
        for (n, part) in message[6..].chunks(7).enumerate() {
            line(&[&[0x20 | ((n + 1) & 15) as u8], part].concat());
        }
    }
    recording::read_bytes("row", log.as_bytes(), &Options::default())
}

fn codes_row(message: &[u8], want: &Value) -> Check {
    let recording = through_the_front_door(message);
    if !recording.problems.is_empty() {
        return Err(format!("{:?}", recording.problems));
    }
    let got: Vec<&str> = recording.trouble_codes.iter().map(|c| c.code.as_str()).collect();
    if let Some(list) = want.get("codes").or(want.get("dtcs")) {
        equal("codes", got.iter().map(|c| (*c).to_owned()).collect(), names(list))?;
    }
    if let Some(n) = want.get("count").or(want.get("dtc_count")) {
        equal("count", got.len() as u64, n.as_u64().unwrap())?;
    }
    let memory = recording.trouble_codes.first().map(|c| c.memory);
    match want["service"].as_str() {
        Some(s) if s.contains("pending") => equal("memory", memory, Some(CodeMemory::Pending))?,
        Some(s) if s.contains("permanent") => equal("memory", memory, Some(CodeMemory::Permanent))?,
        _ => {}
    }
    Ok(Outcome::Pass)
}

fn uds_row(message: &[u8], want: &Value) -> Check {
    if want["negative"] == true {
        equal("service", format!("{:02X}", message[1]), want["service"].as_str().unwrap().to_owned())?;
        equal("nrc", format!("{:02X}", message[2]), want["nrc"].as_str().unwrap().to_owned())?;
        let name = want["name"].as_str().unwrap().split(':').next().unwrap();
        equal("name", uds::negative_name(message[2]), name)?;
        let recording = through_the_front_door(message);
        let pending = message[2] == 0x78;
        equal("pending", recording.counts.pending_responses, u64::from(pending))?;
        equal("noted", recording.notes.is_empty(), pending)?;
        return Ok(Outcome::Pass);
    }
    if let Some(number) = want["vin"].as_str() {
        equal("vin", through_the_front_door(message).vin.as_deref(), Some(number))?;
        return Ok(Outcome::Pass);
    }
    if let Some(data) = want["data"].as_str() {
        // F90B is a maker's identifier: shown as bytes.
        let recording = through_the_front_door(message);
        let note = recording.notes.first().ok_or("no note")?;
        let did = want["did"].as_str().unwrap();
        if !note.text.contains(did) || !note.text.replace(' ', "").contains(data) {
            return Err(note.text.clone());
        }
        return Ok(Outcome::Pass);
    }
    match uds::fault_memory(&message[1..]).ok_or("no answer to service 19")? {
        uds::FaultMemory::Count { mask, format, count } => {
            equal("mask", format!("{mask:02X}"), want["mask"].as_str().unwrap().to_owned())?;
            equal("format", u64::from(format), want["format"].as_u64().unwrap())?;
            equal("count", u64::from(count), want["count"].as_u64().unwrap())?;
        }
        uds::FaultMemory::Codes { mask, codes: found } => {
            equal("mask", format!("{mask:02X}"), want["mask"].as_str().unwrap().to_owned())?;
            let got: Vec<[String; 3]> = found
                .iter()
                .map(|c| {
                    let (code, ft) = codes::uds_code(c.bytes).unwrap();
                    [code, format!("{ft:02X}"), format!("{:02X}", c.status.unwrap())]
                })
                .collect();
            let text = |v: &Value| v.as_str().unwrap().to_owned();
            let want: Vec<[String; 3]> = want["dtcs"]
                .as_array()
                .unwrap()
                .iter()
                .map(|d| [text(&d["code"]), text(&d["ftb"]), text(&d["status"])])
                .collect();
            equal("codes", got, want)?;
        }
        _ => return Err("not decoded".into()),
    }
    Ok(Outcome::Pass)
}

/// Signal names of the rows (a DBC of our own) as suspect parameter numbers.
fn spn(name: &str) -> Option<(u32, Quantity)> {
    use Quantity as Q;
    Some(match name {
        "DpfDeltaP" => (3251, Q::FilterDifferentialPressure),
        "ExhaustTemp1" => (3241, Q::ExhaustTemperature),
        "ExhaustTemp2" => (3249, Q::ExhaustTemperature),
        "ExhaustTemp3" => (3245, Q::ExhaustTemperature),
        "DpfIntermediateTemp" => (3250, Q::FilterMiddleTemperature),
        "DpfIntakeTemp" => (3242, Q::FilterInletTemperature),
        "DpfOutletTemp" => (3246, Q::FilterOutletTemperature),
        "DpfIntakePressure" => (3609, Q::FilterInletPressure),
        "DpfOutletPressure" => (3610, Q::FilterOutletPressure),
        "SootLoad" => (3719, Q::ControllerSootLoad),
        "AshLoad" => (3720, Q::ControllerAshLoad),
        "TimeSinceActiveRegen" => (3721, Q::TimeSinceRegeneration),
        "SootRegenThreshold" => (5466, Q::SootThreshold),
        "DpfLamp" => (3697, Q::FilterLamp),
        "PassiveRegenStatus" => (3699, Q::PassiveRegenerationActive),
        "ActiveRegenStatus" => (3700, Q::RegenerationActive),
        "DpfStatus" => (3701, Q::RegenerationNeed),
        "RegenInhibited" => (3702, Q::RegenerationInhibited),
        "RegenInhibitSwitch" => (3703, Q::RegenerationInhibitSwitch),
        "HighExhTempLamp" => (3698, Q::HotExhaustLamp),
        "RegenForcedStatus" => (4175, Q::RegenerationForced),
        "EngSpeed" => (190, Q::EngineSpeed),
        "ActualEngTorque" => (513, Q::TorqueActual),
        "DriverDemandTorque" => (512, Q::TorqueDemanded),
        "EgrMassFlow" => (2659, Q::EgrMassFlow),
        "IntakeAirMassFlow" => (132, Q::IntakeAirMassFlow),
        "FrictionTorque" => (514, Q::TorqueFriction),
        "ExhaustMassFlow" => (3236, Q::ExhaustMassFlow),
        "FuelRate" => (183, Q::FuelVolumeRate),
        "DpfIntakePress" => (81, Q::FilterInletPressure),
        "IntakeManifoldPress" => (102, Q::BoostPressure),
        "IntakeManifoldTemp" => (105, Q::ChargeAirTemperature),
        "ExhaustTemp" => (173, Q::ExhaustTemperature),
        _ => return None,
    })
}

fn id_fields(id: u32, want: &Value) -> Result<u32, String> {
    let got = j1939::Id::from_can(id);
    equal("priority", u64::from(got.priority), want["prio"].as_u64().unwrap())?;
    equal("pgn", u64::from(got.pgn), want["pgn"].as_u64().unwrap())?;
    equal("destination", u64::from(got.destination), want["dest"].as_u64().unwrap())?;
    equal("source", u64::from(got.source), want["sa"].as_u64().unwrap())?;
    Ok(got.pgn)
}

fn group_row(data: &[u8], want: &Value) -> Check {
    let pgn = id_fields(u32::from_str_radix(want["can_id"].as_str().unwrap(), 16).unwrap(), want)?;
    let got: Vec<(u32, Decoded)> = j1939::decode(pgn, data).collect();
    for (name, value) in want["signals"].as_object().unwrap() {
        let (number, quantity) = spn(name).ok_or_else(|| format!("{name} is not mapped"))?;
        let found = got.iter().find(|(n, d)| *n == number && d.quantity == quantity).ok_or("not decoded")?;
        // The rows give the raw code of a state that is not available (3 of two bits, 7 of three bits); here it
        // is absent.
        let raw_absent = matches!(
            (quantity, value.as_u64()),
            (
                Quantity::PassiveRegenerationActive
                    | Quantity::RegenerationActive
                    | Quantity::RegenerationInhibited
                    | Quantity::RegenerationInhibitSwitch,
                Some(3)
            ) | (
                Quantity::RegenerationNeed
                    | Quantity::FilterLamp
                    | Quantity::HotExhaustLamp
                    | Quantity::RegenerationForced,
                Some(7)
            )
        );
        let want = if raw_absent { &Value::Null } else { value };
        same_value(name, found.1.value, want)?;
    }
    Ok(Outcome::Pass)
}

fn dm1_row(data: &[u8], want: &Value) -> Check {
    let (lamps, list) = j1939::trouble_codes(data).ok_or("too short")?;
    for (key, got) in [
        ("mil", lamps.malfunction),
        ("red", lamps.red_stop),
        ("amber", lamps.amber_warning),
        ("protect", lamps.protect),
    ] {
        equal(key, u64::from(got), want["lamps"][key].as_u64().unwrap())?;
    }
    let got: Vec<[u64; 4]> = list
        .map(|c| {
            [
                u64::from(c.spn),
                u64::from(c.fmi),
                u64::from(c.occurrences.unwrap_or(127)),
                u64::from(c.old_coding),
            ]
        })
        .collect();
    let want: Vec<[u64; 4]> = want["dtcs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| ["spn", "fmi", "oc", "cm"].map(|k| d[k].as_u64().unwrap()))
        .collect();
    equal("codes", got, want)?;
    Ok(Outcome::Pass)
}

fn bam_row(input: &[u8], want: &Value) -> Check {
    let mut session = j1939::Session::default();
    equal("announcement", session.control(0, &input[..8]), None)?;
    let mut message = None;
    for packet in input[8..].chunks(8) {
        let outcome = session.data(0, packet);
        equal("error", outcome.error, None)?;
        message = outcome.message.map(|(pgn, data)| (pgn, data.to_vec()));
    }
    let (pgn, data) = message.ok_or("not complete")?;
    equal("pgn", u64::from(pgn), want["pgn"].as_u64().unwrap())?;
    equal("size", data.len() as u64, want["size"].as_u64().unwrap())?;
    equal("payload", data, bytes(want["payload"].as_str().unwrap()))?;
    Ok(Outcome::Pass)
}

fn vin_row(input: &[u8], want: &Value) -> Check {
    let text = std::str::from_utf8(input).unwrap();
    let got = vin::check(text);
    let alphabet = want["error"].as_str().is_some();
    equal("well formed", got.well_formed, !alphabet)?;
    equal("valid", got.check_matches, want["valid"].as_bool().unwrap())?;
    if let Some(sum) = want["sum"].as_u64() {
        equal("sum", u64::from(got.sum), sum)?;
    }
    if want["valid"] == true {
        equal("check", got.check.to_string(), want["check"].as_str().unwrap().to_owned())?;
    }
    Ok(Outcome::Pass)
}

fn check(row: &Value) -> Check {
    let want = &row["expected"];
    let input = || bytes(row["input_hex"].as_str().unwrap());
    match row["layer"].as_str().unwrap() {
        "candump" => candump_row(row),
        "isotp" => isotp_row(row),
        "obd01" => live_row(&input(), want),
        "obd-frame" => {
            let frame = input();
            let mut assembler = Assembler::default();
            let message = assembler.push(0, &frame).message.ok_or("no message")?;
            if want.get("note").is_some_and(|n| n.as_str().unwrap().contains("PID A4")) {
                let found = obd::split(&message[1..], 0).ok_or("not split")?;
                equal("length", found.as_slice()[0].1.len(), 4)?;
                return Ok(Outcome::Pass);
            }
            if message[0] == 0x43 { codes_row(message, want) } else { live_row(message, want) }
        }
        "obd02" => {
            let recording = through_the_front_door(&input());
            if let Some(code) = want["code"].as_str() {
                let got = recording.trouble_codes.first().ok_or("no code")?;
                equal("code", (got.code.as_str(), got.memory), (code, CodeMemory::FreezeFrame))?;
            } else {
                let rpm = want["rpm"].as_f64().unwrap();
                let note = recording.notes.first().ok_or("no note")?;
                equal(
                    "note",
                    note.text.as_str(),
                    format!("freeze frame: engine_speed {rpm:.4} rpm").as_str(),
                )?;
            }
            Ok(Outcome::Pass)
        }
        "obd-dtc" => codes_row(&input(), want),
        "dtc2" => {
            let code = u16::from_be_bytes(input().try_into().unwrap());
            equal("code", codes::obd_code(code).as_deref(), want["code"].as_str())?;
            Ok(Outcome::Pass)
        }
        "dtc3" => {
            let (code, ft) = codes::uds_code(input().try_into().unwrap()).unwrap();
            equal("code", code.as_str(), want["code"].as_str().unwrap())?;
            equal("type", format!("{ft:02X}").as_str(), want["failure_type"].as_str().unwrap())?;
            Ok(Outcome::Pass)
        }
        "obd06" => {
            let message = input();
            let got = obd::monitor_results(&message[1..]).next().ok_or("no record")?;
            equal("mid", format!("{:02X}", got.monitor).as_str(), want["mid"].as_str().unwrap())?;
            equal("tid", format!("{:02X}", got.test).as_str(), want["tid"].as_str().unwrap())?;
            equal("uas", format!("{:02X}", got.scaling).as_str(), want["uas"].as_str().unwrap())?;
            equal("passed", got.passed(), want["passed"].as_bool().unwrap())?;
            let ([value, low, high], _) = got.scaled().ok_or("scaling not known")?;
            same_value("value", Some(value), &want["value"])?;
            same_value("min", Some(low), &want["min"])?;
            same_value("max", Some(high), &want["max"])?;
            Ok(Outcome::Pass)
        }
        "obd09" => {
            let recording = through_the_front_door(&input());
            let note = recording.notes.first().ok_or("no note")?;
            let words: Vec<&str> = note.text.split(' ').collect();
            for (key, value) in want.as_object().unwrap().iter().filter(|(k, _)| *k != "items") {
                let at = words.iter().position(|w| w == key).ok_or("counter missing")?;
                equal(key, words[at + 1], value.to_string().as_str())?;
            }
            Ok(Outcome::Pass)
        }
        "uds-status" => {
            let got: Vec<String> = uds::status_bits(input()[0]).map(str::to_owned).collect();
            equal("bits", got, names(&want["bits"]))?;
            Ok(Outcome::Pass)
        }
        "uds" => uds_row(&input(), want),
        "j1939-id" => {
            id_fields(u32::from_be_bytes(input().try_into().unwrap()), want)?;
            Ok(Outcome::Pass)
        }
        "j1939-request" => {
            let data = input();
            let pgn = u32::from_le_bytes([data[0], data[1], data[2], 0]);
            equal("pgn", u64::from(pgn), want["requested_pgn"].as_u64().unwrap())?;
            Ok(Outcome::Skip("requests are only looked at for clearing commands"))
        }
        "j1939" => group_row(&input(), want),
        "j1939-dm1" => dm1_row(&input(), want),
        "j1939-tp" => bam_row(&input(), want),
        "j1939-range" => {
            let raw = u32::from(u16::from_be_bytes(input().try_into().unwrap()));
            let due = match want["kind"].as_str().unwrap() {
                "valid" => j1939::Range::Valid,
                "error" => j1939::Range::Error,
                "not available" => j1939::Range::NotAvailable,
                _ => j1939::Range::Specific,
            };
            equal("range", j1939::range(raw, 2), due)?;
            Ok(Outcome::Pass)
        }
        "vin" => vin_row(&input(), want),
        "file" => Ok(Outcome::Skip("checked on the open recordings in open_recordings.rs")),
        _ => Ok(Outcome::Skip("no code for this layer")),
    }
}

#[test]
fn reference_bus_checks() {
    let mut passed: BTreeMap<String, u32> = BTreeMap::new();
    let mut skipped = Vec::new();
    let mut failed = Vec::new();
    for row in rows() {
        let id = row["id"].as_str().unwrap().to_owned();
        match check(&row) {
            Ok(Outcome::Pass) => *passed.entry(row["layer"].as_str().unwrap().to_owned()).or_default() += 1,
            Ok(Outcome::Skip(why)) => skipped.push(format!("{id}: {why}")),
            Err(why) => failed.push(format!("{id}: {why} [source: {}]", row["source"])),
        }
    }
    println!("passed by layer: {passed:?}, {} in all", passed.values().sum::<u32>());
    println!("outside this test ({}):\n  {}", skipped.len(), skipped.join("\n  "));
    assert!(failed.is_empty(), "{} rows disagree:\n{}", failed.len(), failed.join("\n"));
    assert!(passed.values().sum::<u32>() >= 229, "rows have been lost");
}
