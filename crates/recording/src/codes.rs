//! Trouble codes: their coding, and short meanings in our own words for those that matter around a particulate
//! filter.
//!
//! The coding rule is the one of SAE J2012 / ISO 15031-6 (from memory; the same rule is in python-OBD). The
//! meanings are paraphrases of general code lists; those marked `(unsure)` were not confirmed by a second one.
//! Codes in a maker's own range are shown by number only: their text differs from maker to maker.

/// The five-character form of a two-byte code; `None` for 0000, which is padding.
pub fn obd_code(code: u16) -> Option<String> {
    if code == 0 {
        return None;
    }
    let letter = match code >> 14 {
        0 => 'P',
        1 => 'C',
        2 => 'B',
        _ => 'U',
    };
    Some(format!("{letter}{}{:03X}", code >> 12 & 3, code & 0xFFF))
}

/// The code and its failure-type byte out of the three bytes UDS uses; `None` for padding.
pub fn uds_code(bytes: [u8; 3]) -> Option<(String, u8)> {
    let [high, low, failure_type] = bytes;
    Some((obd_code(u16::from_be_bytes([high, low]))?, failure_type))
}

/// True if the code's number is set by the standard; false for the ranges left to makers (P1, P30 to P33, U1,
/// U2, and the maker ranges of C and B; from memory of SAE J2012).
pub fn is_standard(code: &str) -> bool {
    let mut characters = code.chars();
    let (letter, first, second) = (characters.next(), characters.next(), characters.next());
    match (letter, first, second) {
        (Some('P'), Some('0' | '2'), _) => true,
        (Some('P'), Some('3'), Some(c)) => !matches!(c, '0'..='3'),
        (Some('U'), Some('0' | '3'), _) => true,
        (Some('C' | 'B'), Some('0'), _) => true,
        _ => false,
    }
}

/// Short meaning of a standard code; `None` for codes in a maker's range and for those not in the table.
pub fn meaning(code: &str) -> Option<&'static str> {
    Some(match code {
        "P2002" => "filter efficiency too low, bank 1",
        "P2003" => "filter efficiency too low, bank 2",
        "P242F" => "filter restricted by ash, bank 1",
        "P2463" => "filter restricted by soot, bank 1",
        "P244A" => "filter differential pressure too low, bank 1",
        "P244B" => "filter differential pressure too high, bank 1",
        "P244C" => "exhaust too cold for regeneration, bank 1",
        "P244D" => "exhaust too hot for regeneration, bank 1",
        "P2452" => "filter pressure sensor A: circuit",
        "P2453" => "filter pressure sensor A: out of range or implausible",
        "P2454" => "filter pressure sensor A: signal low",
        "P2455" => "filter pressure sensor A: signal high",
        "P2456" => "filter pressure sensor A: intermittent",
        "P2460" => "filter pressure sensor B: circuit (unsure)",
        "P2461" => "filter pressure sensor B: out of range or implausible (unsure)",
        "P2462" => "filter pressure sensor B: signal low (unsure)",
        "P2464" => "filter pressure sensor B: signal high (unsure)",
        "P2465" => "filter pressure sensor B: intermittent (unsure)",
        "P2458" => "regeneration takes too long, bank 1",
        "P2459" => "filter regenerates too often, bank 1",
        "P246B" => "vehicle conditions do not allow regeneration (unsure)",
        "P246C" => "filter restricted, engine power limited",
        "P24A0" => "regeneration temperature control at its limit, bank 1 (unsure)",
        "P24A1" => "regeneration temperature control at its limit, bank 2 (unsure)",
        "P24A2" => "regeneration not completed, bank 1",
        "P24A3" => "regeneration not completed, bank 2",
        "P24AE" => "particulate sensor: circuit (unsure)",
        "P24AF" => "particulate sensor: out of range or implausible (unsure)",
        "P24B0" => "particulate sensor: signal low (unsure)",
        "P24B1" => "particulate sensor: signal high (unsure)",
        "P2080" => "exhaust temperature sensor 1, bank 1: out of range or implausible",
        "P2084" => "exhaust temperature sensor 2, bank 1: out of range or implausible",
        "P0544" => "exhaust temperature sensor 1, bank 1: circuit",
        "P0545" => "exhaust temperature sensor 1, bank 1: signal low",
        "P0546" => "exhaust temperature sensor 1, bank 1: signal high",
        "P2031" => "exhaust temperature sensor 2, bank 1: circuit",
        "P2032" => "exhaust temperature sensor 2, bank 1: signal low",
        "P2033" => "exhaust temperature sensor 2, bank 1: signal high",
        "P2036" => "exhaust temperature sensor 2, bank 2: signal high",
        "P242A" => "exhaust temperature sensor 3, bank 1: circuit",
        "P242B" => "exhaust temperature sensor 3, bank 1: out of range or implausible",
        "P242C" => "exhaust temperature sensor 3, bank 1: signal low",
        "P242D" => "exhaust temperature sensor 3, bank 1: signal high",
        "P246E" => "exhaust temperature sensor 4, bank 1: circuit",
        "P246F" => "exhaust temperature sensor 4, bank 1: out of range or implausible",
        "P2470" => "exhaust temperature sensor 4, bank 1: signal low",
        "P2471" => "exhaust temperature sensor 4, bank 1: signal high",
        "P2428" => "exhaust too hot, bank 1",
        "P0470" => "exhaust pressure sensor: circuit",
        "P0471" => "exhaust pressure sensor: out of range or implausible",
        "P0472" => "exhaust pressure sensor: signal low",
        "P0473" => "exhaust pressure sensor: signal high",
        "P2584" => "fuel additive module asks for the malfunction lamp",
        "P2585" => "fuel additive module asks for its warning lamp",
        "U0118" => "no communication with the fuel additive module",
        "U0100" => "no communication with the engine controller",
        "U0101" => "no communication with the gearbox controller",
        "U010E" => "no communication with the reagent dosing controller",
        "U0001" => "CAN bus fault",
        "U0073" => "CAN bus off",
        "P0401" => "exhaust gas recirculation: too little flow",
        "P0402" => "exhaust gas recirculation: too much flow",
        "P0403" => "exhaust gas recirculation control: circuit",
        "P0404" => "exhaust gas recirculation control: out of range or implausible",
        "P0405" => "exhaust gas recirculation sensor: signal low",
        "P0406" => "exhaust gas recirculation sensor: signal high",
        "P0409" => "exhaust gas recirculation sensor: circuit",
        "P2413" => "exhaust gas recirculation system: performance",
        "P2425" => "exhaust gas recirculation cooler valve: circuit",
        "P0100" => "air mass meter: circuit",
        "P0101" => "air mass meter: out of range or implausible",
        "P0102" => "air mass meter: signal low",
        "P0103" => "air mass meter: signal high",
        "P0106" => "manifold or barometric pressure: out of range or implausible",
        "P0107" => "manifold or barometric pressure: signal low",
        "P0108" => "manifold or barometric pressure: signal high",
        "P2226" => "barometric pressure: circuit",
        "P2228" => "barometric pressure: signal low",
        "P2229" => "barometric pressure: signal high",
        "P0234" => "boost pressure too high",
        "P0299" => "boost pressure too low",
        "P2262" => "no boost pressure: mechanical",
        "P2263" => "boost system: performance",
        "P2563" => "turbocharger actuator position: out of range or implausible",
        "P0380" => "glow plugs: circuit A",
        "P0381" => "glow lamp: circuit",
        "P0670" => "glow plug module: circuit",
        "P0671" => "glow plug, cylinder 1: circuit",
        "P0672" => "glow plug, cylinder 2: circuit",
        "P0673" => "glow plug, cylinder 3: circuit",
        "P0674" => "glow plug, cylinder 4: circuit",
        "P0675" => "glow plug, cylinder 5: circuit",
        "P0676" => "glow plug, cylinder 6: circuit",
        "P0677" => "glow plug, cylinder 7: circuit",
        "P0678" => "glow plug, cylinder 8: circuit",
        "P0683" => "glow plug module: link to the engine controller",
        "P0128" => "coolant stays below thermostat temperature",
        "P0087" => "fuel rail pressure too low",
        "P0193" => "fuel rail pressure sensor: signal high",
        "P0520" => "oil pressure sensor: circuit",
        "P0521" => "oil pressure sensor: out of range or implausible",
        "P0524" => "oil pressure too low",
        "P203A" => "reagent level sensor: circuit",
        "P203B" => "reagent level sensor: out of range or implausible",
        "P203C" => "reagent level sensor: signal low",
        "P203D" => "reagent level sensor: signal high",
        "P203E" => "reagent level sensor: intermittent",
        "P203F" => "reagent level low",
        "P204F" => "reagent system: performance, bank 1",
        "P2047" => "reagent injector: circuit open",
        "P2048" => "reagent injector: signal low",
        "P2049" => "reagent injector: signal high",
        "P205A" => "reagent tank temperature sensor: circuit",
        "P205B" => "reagent tank temperature sensor: out of range or implausible",
        "P205C" => "reagent tank temperature sensor: signal low",
        "P205D" => "reagent tank temperature sensor: signal high",
        "P206A" => "reagent quality sensor: circuit",
        "P206B" => "reagent quality sensor: out of range or implausible",
        "P207F" => "reagent quality",
        "P20E8" => "reagent pressure too low",
        "P20E9" => "reagent pressure too high",
        "P20EE" => "NOx catalyst efficiency too low, bank 1",
        "P20F4" => "reagent use too low (unsure)",
        "P20F5" => "reagent use too high (unsure)",
        "P2200" => "NOx sensor 1: circuit",
        "P2201" => "NOx sensor 1: out of range or implausible",
        "P2202" => "NOx sensor 1: signal low",
        "P2203" => "NOx sensor 1: signal high",
        "P229E" => "NOx sensor 2: circuit",
        "P229F" => "NOx sensor 2: out of range or implausible",
        "P22A0" => "NOx sensor 2: signal low",
        "P22A1" => "NOx sensor 2: signal high",
        "P2BA7" => "NOx too high: reagent tank empty (unsure)",
        "P2BA8" => "NOx too high: dosing interrupted (unsure)",
        "P2BA9" => "NOx too high: reagent quality (unsure)",
        _ => return None,
    })
}

/// Meaning of a UDS failure-type byte (SAE J2012 digital annex, the values of a public list).
pub fn failure_type_meaning(failure_type: u8) -> Option<&'static str> {
    Some(match failure_type {
        0x00 => "no further information",
        0x11 => "short to ground",
        0x12 => "short to supply",
        0x13 => "circuit open",
        0x16 => "voltage low",
        0x17 => "voltage high",
        0x29 => "signal invalid",
        0x87 => "message missing",
        _ => return None,
    })
}

/// What a J1939 failure mode means (from memory of SAE J1939-73).
pub fn fmi_meaning(fmi: u8) -> Option<&'static str> {
    Some(match fmi {
        0 => "above normal, most severe",
        1 => "below normal, most severe",
        2 => "erratic or incorrect",
        3 => "voltage high or shorted to supply",
        4 => "voltage low or shorted to ground",
        5 => "current low or circuit open",
        6 => "current high or shorted to ground",
        7 => "mechanical system does not respond",
        8 => "abnormal frequency or pulse width",
        9 => "no or abnormal update",
        10 => "abnormal rate of change",
        11 => "cause unknown",
        12 => "device or component bad",
        13 => "out of calibration",
        14 => "special instructions",
        15 => "above normal, least severe",
        16 => "above normal, moderate",
        17 => "below normal, least severe",
        18 => "below normal, moderate",
        19 => "network data in error",
        20 => "drifted high",
        21 => "drifted low",
        31 => "condition present",
        _ => return None,
    })
}
