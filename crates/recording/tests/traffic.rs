//! Diagnostic traffic: what several modules, refusals, changed scales and bad clocks lead to.
#![allow(clippy::unwrap_used, reason = "a test may stop here")]

use recording::{CodeMemory, Format, NoteKind, Options, Quantity as Q, Recording, read_bytes};

/// One message as frames of an 11- or 29-bit id.
fn frames(time_s: f64, id: &str, message: &[u8]) -> String {
    let hex = |data: &[u8]| data.iter().map(|b| format!("{b:02X}")).collect::<String>();
    if message.len() <= 7 {
        return format!("({time_s:.6}) can0 {id}#{:02X}{}\n", message.len(), hex(message));
    }
    let mut log = format!("({time_s:.6}) can0 {id}#1{:03X}{}\n", message.len(), hex(&message[..6]));
    for (n, part) in message[6..].chunks(7).enumerate() {
        log += &format!(
            "({:.6}) can0 {id}#{:02X}{}\n",
            time_s + 0.001 * (n + 1) as f64,
            0x20 | (n + 1) & 15,
            hex(part)
        );
    }
    log
}

fn read(log: &str) -> Recording {
    read_bytes("log", log.as_bytes(), &Options::default())
}

/// Answers of parameter 7A: pressure drop, inlet, outlet as raw counts.
fn pressures(rows: &[(u16, u16, u16)], support: u8) -> String {
    rows.iter()
        .enumerate()
        .map(|(n, (drop, inlet, outlet))| {
            let mut m = vec![0x41, 0x7A, support];
            [drop, inlet, outlet].iter().for_each(|v| m.extend(v.to_be_bytes()));
            frames(n as f64 * 0.1, "7E8", &m)
        })
        .collect()
}

#[test]
fn regress_several_modules_and_several_parameters_in_one_answer() {
    let log = frames(0.0, "7DF", &[1, 0x0C, 0x0D, 0x05])
        + &frames(0.1, "7E8", &[0x41, 0x0C, 0x0B, 0xB8, 0x0D, 0x32, 0x05, 0x7B])
        + &frames(0.1, "7E9", &[0x41, 0x0D, 0x33])
        + &frames(0.2, "7E8", &[0x41, 0x0D, 0x34])
        + &frames(0.3, "18DAF110", &[0x41, 0x83, 0x01, 0x00, 0xFA, 0, 0, 0x0D, 0x20]);
    let r = read(&log);
    assert!(r.problems.is_empty(), "{:?}", r.problems);
    assert_eq!(r.signal(Q::EngineSpeed).unwrap().value, [750.0]);
    let speeds: Vec<_> =
        r.signals_of(Q::VehicleSpeed).map(|s| (s.source.as_str(), s.value.clone())).collect();
    assert_eq!(
        speeds,
        [("7E8 01 0D", vec![50.0, 52.0]), ("7E9 01 0D", vec![51.0]), ("18DAF110 01 0D", vec![32.0])]
    );
    assert_eq!(r.signal(Q::VehicleSpeed).unwrap().source, "7E8 01 0D", "the one with most samples");
    assert_eq!(r.signal(Q::Nox).unwrap().value, [250.0], "the five-byte form lets the answer come out even");
}

#[test]
fn regress_pending_is_no_refusal() {
    let log = frames(0.0, "7E0", &[0x22, 0xF1, 0x90])
        + &frames(0.1, "7E8", &[0x7F, 0x22, 0x78])
        + &frames(3.0, "7E8", b"\x62\xF1\x901G4AH59H45G118341")
        + &frames(4.0, "7E8", &[0x7F, 0x22, 0x31])
        + &frames(5.0, "7E8", &[0x7F, 0x22, 0x31]);
    let r = read(&log);
    assert_eq!(r.vin.as_deref(), Some("1G4AH59H45G118341"));
    assert_eq!(r.counts.pending_responses, 1);
    let refusals: Vec<_> = r.notes.iter().filter(|n| n.kind == NoteKind::NegativeResponse).collect();
    assert_eq!(refusals.len(), 1);
    assert!(refusals[0].text.contains("requestOutOfRange") && refusals[0].text.contains("2 times"));
}

#[test]
fn regress_requests_that_change_a_vehicle_are_noted_with_time_and_sender() {
    let log = frames(0.0, "7E0", &[1, 0x0C])
        + &frames(1.0, "7E0", &[0x31, 0x01, 0x12, 0x34])
        + &frames(2.0, "7DF", &[0x04])
        + &frames(3.0, "18DA10F1", &[0x14, 0xFF, 0xFF, 0xFF])
        + "(4.0) can0 18EA00F9#CCFE00\n(5.0) can0 0C0000F9#0100000000000000\n(5.1) can0 0C00000B#0100000000000000\n";
    let r = read(&log);
    let seen: Vec<_> = r
        .notes
        .iter()
        .filter(|n| n.kind == NoteKind::ChangingRequest)
        .map(|n| (n.time_s.unwrap(), n.source.as_str()))
        .collect();
    assert_eq!(seen, [(1.0, "7E0"), (2.0, "7DF"), (3.0, "18DA10F1"), (4.0, "18EA00F9"), (5.0, "0C0000F9")]);
    assert!(r.notes[0].text.contains("routine"), "{}", r.notes[0].text);
    // A maker's 11-bit id is believed when the answer comes, and only then.
    let alone = frames(0.0, "714", &[0x31, 0x01, 0x12, 0x34]);
    assert!(read(&alone).notes.is_empty());
    let answered = alone + &frames(0.1, "77E", &[0x71, 0x01, 0x12, 0x34]);
    let r = read(&answered);
    assert_eq!((r.notes[0].kind, r.notes[0].source.as_str()), (NoteKind::ChangingRequest, "714"));
}

#[test]
fn regress_filter_pressure_checked_by_inlet_minus_outlet() {
    // 12.0 kPa, 115 and 103 kPa.
    let r = read(&pressures(&[(1200, 11500, 10300), (1100, 11400, 10300)], 7));
    assert_eq!(r.signal(Q::FilterDifferentialPressure).unwrap().value, [12.0, 11.0]);
    assert_eq!(r.signal(Q::FilterOutletPressure).unwrap().value, [103.0, 103.0]);
    let note = r.notes.iter().find(|n| n.kind == NoteKind::Assumption).unwrap();
    assert!(note.text.contains("inlet minus outlet agrees"), "{}", note.text);
    assert!(r.problems.is_empty());
}

#[test]
fn regress_filter_pressure_in_offset_form_is_proven_by_the_data() {
    let r = read(&pressures(&[(0x8000 + 1200, 11500, 10300), (0x8000 + 1100, 11400, 10300)], 7));
    let got = &r.signal(Q::FilterDifferentialPressure).unwrap().value;
    assert!(got.iter().zip([12.0, 11.0]).all(|(g, w)| (g - w).abs() < 1e-9), "{got:?}");
    assert_eq!(r.problems.len(), 1, "and said so");
    // Without anything to check it against it is not shown.
    let r = read(&pressures(&[(0x8000 + 1200, 0, 0), (0x8000 + 1100, 0, 0)], 1));
    assert_eq!(r.signal(Q::FilterDifferentialPressure), None);
    assert!(r.problems[0].what.contains("withheld"), "{}", r.problems[0]);
}

#[test]
fn regress_filter_pressure_single_spikes_go_alone() {
    let mut rows = vec![(150u16, 0u16, 0u16); 40];
    rows[7].0 = 0x7FFF;
    let r = read(&pressures(&rows, 1));
    let s = r.signal(Q::FilterDifferentialPressure).unwrap();
    assert_eq!((s.value.len(), s.time_s.len()), (39, 39));
    assert!(s.value.iter().all(|v| *v == 1.5));
    assert_eq!(r.problems.len(), 2, "the spike, and that nothing settles the scale");
    assert!(r.problems[0].what.contains("disputed"), "{:?}", r.problems);
    assert!(r.signal(Q::FilterInletPressure).is_none(), "not supported, whatever the bytes say");
}

#[test]
fn regress_filter_pressure_far_below_zero_is_kept_on_the_road_only() {
    let swapped = pressures(&[(0u16.wrapping_sub(3000), 0, 0); 20], 1);
    let on_road = frames(0.0, "7E8", &[0x41, 0x0D, 0x32]) + &swapped;
    let r = read(&on_road);
    assert_eq!(r.signal(Q::FilterDifferentialPressure).unwrap().value, [-30.0; 20], "swapped hoses");
    let at_rest = frames(0.0, "7E8", &[0x41, 0x0D, 0x00]) + &swapped;
    assert_eq!(read(&at_rest).signal(Q::FilterDifferentialPressure), None);
}

#[test]
fn regress_support_mask_rules() {
    // Mask 00: 0C yes, 0D no.
    let log = frames(0.0, "7E8", &[0x41, 0x00, 0x00, 0x10, 0x00, 0x00])
        + &frames(0.1, "7E8", &[0x41, 0x0C, 0x0B, 0xB8])
        + &frames(0.2, "7E8", &[0x41, 0x0D, 0x32])
        + &frames(0.2, "7E9", &[0x41, 0x0D, 0x32]);
    let r = read(&log);
    assert!(r.signal(Q::EngineSpeed).is_some());
    assert_eq!(r.signal(Q::VehicleSpeed).unwrap().source, "7E9 01 0D", "no mask of that module is known");
    assert_eq!(r.problems.len(), 1);
}

#[test]
fn regress_codes_of_all_memories() {
    let log = frames(0.0, "7E8", &[0x43, 1, 0x24, 0x63])
        + &frames(1.0, "7E8", &[0x47, 1, 0x12, 0x34])
        + &frames(2.0, "7E8", &[0x4A, 1, 0x24, 0x2F])
        + &frames(3.0, "7E8", &[0x59, 0x02, 0xFF, 0x24, 0x63, 0x00, 0x2F, 0x24, 0x52, 0x17, 0x50])
        + &frames(4.0, "7E8", &[0x43, 0])
        + &frames(5.0, "7E8", &[0x43, 2, 0x24, 0x63]);
    let r = read(&log);
    let got: Vec<_> =
        r.trouble_codes.iter().map(|c| (c.code.as_str(), c.memory, c.meaning.is_some())).collect();
    assert_eq!(
        got,
        [
            ("P2463", CodeMemory::Stored, true),
            ("P1234", CodeMemory::Pending, false),
            ("P242F", CodeMemory::Permanent, true),
            ("P2463", CodeMemory::Uds, true),
        ],
        "a code that was only not tested yet (50) is no trouble"
    );
    assert_eq!((r.trouble_codes[3].failure_type, r.trouble_codes[3].status), (Some(0), Some(0x2F)));
    let read = r.notes.iter().find(|n| n.text.starts_with("service 03")).unwrap();
    assert!(read.text.contains("read 2 times: 0 trouble codes (1 at the first reading)"), "{}", read.text);
    assert_eq!(r.problems.len(), 1, "the answer that states two and holds one");
    assert_eq!(r.problems[0].line, Some(7));
}

#[test]
fn regress_parameters_by_identifier() {
    // J1979-2: F40C and F40D in one answer, then a maker's identifier.
    let r = read(&frames(0.0, "18DAF110", &[0x62, 0xF4, 0x0C, 0x0B, 0xB8, 0xF4, 0x0D, 0x32, 0x11, 0x22, 1]));
    assert_eq!(r.signal(Q::EngineSpeed).unwrap().value, [750.0]);
    assert_eq!(r.signal(Q::EngineSpeed).unwrap().source, "18DAF110 22 F4 0C");
}

#[test]
fn regress_torn_lines_lose_themselves_only() {
    let log = "(0.0) can0 7E8#03410D32\n(0.1) can0 7E8#03410D3\n(0.2) can0 7E8#03410\x00D33\n(0.3) can0 7E8#03410D34\n";
    let r = read(log);
    assert_eq!(r.signal(Q::VehicleSpeed).unwrap().value, [50.0, 52.0]);
    let places: Vec<_> = r.problems.iter().map(|p| (p.line, p.byte)).collect();
    assert_eq!(places, [(Some(2), Some(24)), (Some(3), Some(47))]);
    assert_eq!((r.counts.lost_lines, r.counts.frames, r.counts.lines), (2, 2, 4));
}

#[test]
fn regress_clocks_that_step_back_or_show_differences() {
    let r = read(
        "(100.0) can0 7E8#03410D32\n(101.0) can0 7E8#03410D33\n(50.0) can0 7E8#03410D34\n(51.0) can0 7E8#03410D35\n",
    );
    assert_eq!(r.signal(Q::VehicleSpeed).unwrap().time_s, [0.0, 1.0, 1.0, 2.0]);
    assert_eq!(r.problems.len(), 1);
    // Two interfaces written a moment out of order: sorted, nothing to report.
    let r = read("(1.0) a 7E8#03410D32\n(1.3) a 7E8#03410D34\n(1.2) b 7E8#03410D33\n(1.2) a 7E8#03410D33\n");
    assert_eq!(r.signal(Q::VehicleSpeed).unwrap().value, [50.0, 51.0, 52.0]);
    assert_eq!(r.signals_of(Q::VehicleSpeed).nth(1).unwrap().source, "b 7E8 01 0D");
    assert!(r.problems.is_empty());
    let steps = [0.0, 0.2, 0.1, 0.3, 0.1, 0.2, 0.1, 0.2, 0.1];
    let log: String = steps.iter().map(|t| format!(" ({t:010.6})  can0  7E8   [4]  03 41 0D 32\n")).collect();
    let r = read(&log);
    assert_eq!(r.format, Format::CandumpScreen);
    assert!((r.duration_s - 1.3).abs() < 1e-9, "{}", r.duration_s);
}

#[test]
fn regress_other_containers_are_named_not_guessed() {
    for (bytes, format) in [
        (&b"LOGG\x90\0\0\0"[..], Format::Blf),
        (b"MDF     4.10    ", Format::Mdf),
        (b"\x28\xB5\x2F\xFD\0", Format::Empty),
        (b"date Tue Nov 14 10:00:00 am 2023\nbase hex  timestamps absolute\n 0.1 1", Format::Asc),
        (b"", Format::Empty),
        (b"hello", Format::Unknown),
        (b"can0  7E8   [8]  03 41 05 85 00 00 00 00\n", Format::CandumpCompact),
    ] {
        let r = read_bytes("x", bytes, &Options::default());
        assert_eq!(r.format, format);
        assert_eq!(r.problems.len(), 1);
        assert!(!r.problems[0].what_to_do.is_empty());
    }
}

#[test]
fn regress_addressed_transport_with_clear_to_send() {
    // RTS of 14 bytes for DM1 from 00 to F9, CTS, two packets, end.
    let log = "(0.0) can0 1CECF900#100E0002FFCAFE00\n(0.1) can0 1CEC00F9#110201FFFFCAFE00\n\
               (0.2) can0 1CEBF900#0143FFD403097E90\n(0.3) can0 1CEBF900#020C140261020901\n\
               (0.4) can0 1CEC00F9#130E0002FFCAFE00\n";
    let r = read(log);
    assert!(r.problems.is_empty(), "{:?}", r.problems);
    let codes: Vec<_> = r.trouble_codes.iter().map(|c| c.code.as_str()).collect();
    assert_eq!(codes, ["SPN 980 FMI 9", "SPN 3216 FMI 20", "SPN 609 FMI 9"]);
}

#[test]
fn regress_bus_errors_are_a_finding() {
    let r = read("(0.0) can0 20000088#0000000000000000\n(0.1) can0 20000040#0000000000000000\n");
    let note = r.notes.iter().find(|n| n.kind == NoteKind::Bus).unwrap();
    assert!(note.text.contains("2 error frames") && note.text.contains("bus off"), "{}", note.text);
}

#[test]
fn regress_disputed_scales_are_settled_by_the_data_or_listed() {
    // Exhaust pressure 102.5 kPa; turbocharger speed 12 000 raw.
    let exhaust = frames(0.0, "7E8", &[0x41, 0x73, 0x01, 0x28, 0x0A, 0, 0]);
    let turbo = frames(0.1, "7E8", &[0x41, 0x74, 0x01, 0x2E, 0xE0, 0, 0]);
    let r = read(&(exhaust.clone() + &turbo));
    assert_eq!(r.problems.len(), 1, "{:?}", r.problems);
    assert!(r.problems[0].what.contains("not known"), "{:?}", r.problems);
    let air = frames(0.2, "7E8", &[0x41, 0x33, 101]);
    let r = read(&(exhaust + &turbo + &air));
    assert!(r.problems.is_empty(), "{:?}", r.problems);
    assert!(r.notes.iter().any(|n| n.text.contains("it is absolute")));
    assert_eq!(r.signal(Q::TurbochargerSpeed).unwrap().value, [120_000.0]);
    let slow = frames(0.0, "7E8", &[0x41, 0x74, 0x01, 0x03, 0xE8, 0, 0]);
    assert_eq!(read(&slow).problems.len(), 1, "10 000 rpm could be either");
}

/// Extended addressing on 11 bit (the tester's address F1 before the frame type) and mixed addressing on 29 bit (18CE, an
/// extension byte): every frame holds one byte less.
#[test]
fn regress_an_address_byte_before_the_frame_type() {
    let vin = b"1G4AH59H45G118341";
    let message: Vec<u8> = [&[0x62, 0xF1, 0x90][..], vin].concat();
    let hex = |b: &[u8]| b.iter().map(|b| format!("{b:02X}")).collect::<String>();
    let frames = |id: &str, address: &str| {
        let mut log = format!("(0.0) can0 {id}#{address}1014{}\n", hex(&message[..5]));
        for (n, part) in message[5..].chunks(6).enumerate() {
            log += &format!("(0.{}) can0 {id}#{address}{:02X}{}\n", n + 1, 0x21 + n, hex(part));
        }
        log
    };
    for (id, address) in [("612", "F1"), ("18CEF110", "55")] {
        let r = read(&frames(id, address));
        assert_eq!(r.vin.as_deref(), Some("1G4AH59H45G118341"), "{id}: {:?}", r.problems);
        assert!(r.problems.is_empty(), "{id}: {:?}", r.problems);
        assert_eq!(r.counts.messages, 1);
    }
    // Traffic on 6xx that is no transport is passed over without a word.
    let r = read(
        "(0.0) can0 612#F121344148353948\n(0.1) can0 612#0011223344556677\n(0.2) can0 645#1000112233445566\n",
    );
    assert!(r.problems.is_empty() && r.counts.messages == 0, "{:?}", r.problems);
}

#[test]
fn regress_monitors_by_service_06_and_by_identifier() {
    // Scaling 17 hex is 0.01 kPa (python-OBD 0.7.3); FD is signed 0.001 kPa.
    let result = |id: &[u8]| [id, &[0x01, 0x17, 0x04, 0xB0, 0x00, 0x64, 0x13, 0x88]].concat();
    for message in [result(&[0x46, 0xB2]), result(&[0x62, 0xF6, 0xB2])] {
        let r = read(&frames(0.0, "7E8", &message));
        let note = r.notes.iter().find(|n| n.text.starts_with("monitor B2")).unwrap();
        assert_eq!(note.text, "monitor B2 test 01 passed: 12.000000 kPa, allowed 1.000000 to 50.000000");
    }
    let r = read(&frames(0.0, "7E8", &[0x46, 0xB2, 2, 0xFD, 0xFF, 0x9C, 0xFF, 0xCE, 0, 0x32]));
    let note = r.notes.iter().find(|n| n.text.starts_with("monitor B2")).unwrap();
    assert_eq!(note.text, "monitor B2 test 02 failed: -0.100000 kPa, allowed -0.050000 to 0.050000");
    // J1979-2: an information type by identifier.
    let name = [&[0x62, 0xF8, 0x04][..], b"CAL-0001\0\0\0\0\0\0\0\0"].concat();
    let r = read(&frames(0.0, "18DAF110", &name));
    assert!(r.notes.iter().any(|n| n.text == "calibration: CAL-0001"), "{:?}", r.notes);
}

#[test]
fn regress_the_rest_of_the_tables() {
    let value = |log: String, q: Q, instance: u8| {
        let r = read(&log);
        r.signals_of(q).find(|s| s.instance == instance).map(|s| s.value.clone()).unwrap_or_default()
    };
    let obd = |bytes: &[u8]| frames(0.0, "7E8", &[&[0x41], bytes].concat());
    let mut run = vec![0x81, 0x02];
    run.extend([[0xFFu8; 4], [0, 0, 0x0E, 0x10], [0; 4], [0; 4], [0; 4]].concat());
    assert_eq!(value(obd(&run), Q::AuxiliaryRunTime, 2), [3600.0]);
    assert!(value(obd(&run), Q::AuxiliaryRunTime, 1).is_empty(), "not supported");
    // Two counters a device, the second device of the first row and the last one of the last.
    for (pid, device, support, place) in [(0x81, 2, 0x02, 8), (0x89, 12, 0x02, 8), (0x8A, 20, 0x10, 32)] {
        let mut run = vec![pid, support];
        run.extend([0xFF; 40]);
        run[2 + place..10 + place].copy_from_slice(&[0, 0, 0x0E, 0x10, 0, 0, 0, 60]);
        assert_eq!(value(obd(&run), Q::AuxiliaryRunTime, device), [3600.0], "{pid:02X}");
        assert_eq!(value(obd(&run), Q::AuxiliaryRunTimeSecond, device), [60.0], "{pid:02X}");
        assert!(value(obd(&run), Q::AuxiliaryRunTime, device - 1).is_empty(), "not supported");
    }
    let inducement = [0x88, 0x81, 0x21, 0x84, 0, 10, 0, 0, 0, 0, 0, 0, 0, 0];
    assert_eq!(value(obd(&inducement), Q::InducementActive, 0), [1.0]);
    for (block, reasons) in [(1, 1.0), (2, 2.0), (3, 4.0), (4, 8.0)] {
        assert_eq!(value(obd(&inducement), Q::InducementHistory, block), [reasons]);
    }
    let levels = [0x94, 0x03, 0b11_10_01, 0, 7, 0, 0, 0, 0, 0, 0, 0, 0];
    assert_eq!(value(obd(&levels), Q::InducementState, 1), [1.0]);
    assert_eq!(value(obd(&levels), Q::InducementState, 2), [2.0]);
    assert!(value(obd(&levels), Q::InducementState, 3).is_empty(), "not supported");
    assert_eq!(value(obd(&levels), Q::NoxWarningTime, 1), [7.0]);
    assert_eq!(value(obd(&[0x9B, 0x21, 0, 0, 0]), Q::ReagentKind, 0), [2.0]);
    assert_eq!(value(obd(&inducement), Q::InducementDistance, 1), [10.0]);
    assert_eq!(value(obd(&[0x8B, 0x0C, 0x04, 0, 0, 0, 0, 0]), Q::AdsorberRegenerating, 0), [1.0]);
    // SPN 3253: five bits from byte 7 bit 6 on, over the byte's end: 01011 is 11.
    let group = "(0.0) can0 18FDB200#FFFFFFFF020060FD\n".to_owned();
    assert_eq!(value(group, Q::FilterPressureFailureMode, 1), [11.0]);
    assert!(
        value("(0.0) can0 18FDB200#FFFFFFFF0200FFFF\n".to_owned(), Q::FilterPressureFailureMode, 1)
            .is_empty()
    );
}

#[test]
fn regress_names_of_monitors_and_identifiers_and_further_fault_lists() {
    let notes = |message: &[u8]| {
        let r = read(&frames(0.0, "7E8", message));
        (r.notes.iter().map(|n| n.text.clone()).collect::<Vec<_>>().join("; "), r.trouble_codes)
    };
    let (text, _) = notes(&[0x46, 0x85, 0x01, 0x01, 0, 5, 0, 1, 0, 9]);
    assert!(text.contains("monitor 85 (boost pressure) test 01 passed"), "{text}");
    let (text, _) = notes(&[&[0x62, 0xF1, 0x8C], b"A1234".as_slice()].concat());
    assert!(text.contains("identifier F18C (serial number): 41 31 32 33 34 (A1234)"), "{text}");
    for message in [
        [0x59, 0x1A, 0xFF, 0x01, 0x24, 0x63, 0x00, 0x08].as_slice(),
        &[0x59, 0x56, 0x33, 0xFF, 0x04, 0x01, 0x24, 0x63, 0x00, 0x08],
    ] {
        let (_, codes) = notes(message);
        assert_eq!(codes.iter().map(|c| c.code.as_str()).collect::<Vec<_>>(), ["P2463"]);
    }
}

/// Frames of a parameter group are taken out many at a time; what reaches the same signal another way must not get out
/// of order.
#[test]
fn property_samples_of_one_signal_stay_in_order_whatever_brings_them() {
    // Engine speed with priority 3 and with 6, in turn, and as a CAN FD frame of twelve bytes.
    let mut log = String::new();
    let mut wanted = Vec::new();
    for n in 0..500u16 {
        let raw = (n + 1) * 8;
        wanted.push(f64::from(n + 1));
        let data = format!("FFFFFF{:02X}{:02X}FFFFFF", raw & 0xFF, raw >> 8);
        let frame = match n {
            _ if n > 100 && n % 5 == 0 => format!("18F00400#{data}"),
            _ if n > 50 && n % 7 == 0 => format!("0CF00400##0{data}FFFFFFFF"),
            _ => format!("0CF00400#{data}"),
        };
        log += &format!("({}.{:03}000) can0 {frame}\n", n / 100, n % 100 * 10);
    }
    let r = read(&log);
    let speed = r.signal(Q::EngineSpeed).unwrap();
    assert_eq!(speed.value, wanted);
    assert!(speed.time_s.is_sorted());
    assert_eq!(r.signals_of(Q::EngineSpeed).count(), 1);
    // The other fields say "not available": two torques in each frame.
    assert_eq!(r.counts.absent_values, 1000);
}

/// Two bits each from byte 3 bit 5 on: 01 counts, 00, 10 and 11 do not.
#[test]
fn reference_first_and_last_reason_that_inhibits_a_regeneration() {
    let reasons = |bytes: [u8; 8]| recording::j1939::inhibit_reasons(&bytes).collect::<Vec<_>>();
    assert_eq!(reasons([0xFF, 0xFF, 0x1F, 0, 0, 0, 0xFF, 0xFF]), ["clutch disengaged"]);
    assert_eq!(reasons([0xFF, 0xFF, 0x2F, 0xFF, 0xFF, 0x7F, 0xFF, 0xFF]), ["vehicle speed too low"]);
    assert!(reasons([0xFF; 8]).is_empty() && reasons([0; 8]).is_empty());
    assert_eq!(
        reasons([0xFF, 0xFF, 0x0F, 0x54, 0, 0, 0xFF, 0xFF]),
        ["accelerator pedal", "out of neutral", "vehicle speed too high"]
    );
}
