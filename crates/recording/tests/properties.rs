//! No input makes a reader panic, and damage stays where it is.
#![allow(clippy::unwrap_used, reason = "a test may stop here")]

use proptest::prelude::*;
use recording::{Format, Options, Quantity, j1939, obd, read_bytes, uds, vin};

fn read(bytes: &[u8]) -> recording::Recording {
    let r = read_bytes("test", bytes, &Options::default());
    for s in &r.signals {
        assert_eq!(s.time_s.len(), s.value.len());
        assert!(s.time_s.is_sorted(), "{}", s.source);
        assert!(s.value.iter().all(|v| v.is_finite()));
        assert!(!s.value.is_empty());
    }
    assert!(r.problems.len() <= Options::default().max_problems + 1);
    r
}

/// A log with everything in it.
fn sample_log() -> Vec<u8> {
    let mut log = String::new();
    for n in 0..30 {
        let t = f64::from(n) * 0.1;
        log += &format!("({t:.3}) can0 7E0#02017A5555555555\n({:.3}) can0 7E8#1009417A07000C27\n", t + 0.01);
        log += &format!("({:.3}) can0 7E8#2110270655555555 R\n", t + 0.02);
        log += &format!("({:.3}) can0 18DAF110#04410C1{:X}A0\n", t + 0.03, n % 16);
        log += &format!("({:.3}) can1 18FDB200#FFFFFFFF{n:02X}00FFFF\n", t + 0.04);
        log += &format!("({:.3}) can1 1CECFF00#20120003FFCAFE00\n", t + 0.05);
        for (i, data) in ["43FFD403097E90", "0C140261020901", "61020C03FFFFFF"].iter().enumerate() {
            log += &format!("({:.3}) can1 1CEBFF00#{:02X}{data}\n", t + 0.06, i + 1);
        }
        log += &format!("({:.3}) can0 7E8#0443012463\n({:.3}) can0 123##1112233\n", t + 0.07, t + 0.08);
        log += &format!("({:.3}) can0 20000080#0000000000000000\n({:.3}) can0 123#R4\n", t + 0.08, t + 0.09);
    }
    log.into_bytes()
}

const TABLE: &str = "Zeit;Drehzahl;p Filter [hPa];\"exhaust_temperature#2 [°C]\";unbekannt\n\
                     12:00:00,0;820;12,5;201,25;x\n12:00:00,5;;12,6;;y\n12:00:01,0;840;n/a;203;z\n";

fn table_options() -> Options {
    Options {
        column_names: [
            ("Drehzahl".to_owned(), "engine_speed [rpm]".to_owned()),
            ("p Filter".to_owned(), "filter_differential_pressure".to_owned()),
        ]
        .into(),
        ..Options::default()
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn property_random_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..2000)) {
        read(&bytes);
        for start in [&b"(1.0) can0 "[..], b"time [s],speed [km/h]\n", b"\x1F\x8B\x08\x00", b"\xFF\xFE", b"\xEF\xBB\xBF"] {
            read(&[start, &bytes].concat());
        }
    }

    #[test]
    fn property_random_text_never_panics(text in "[ -~\n;,\"äß°\t]{0,600}") {
        read(text.as_bytes());
        read(format!("time [s];dp;filter_differential_pressure [kPa]\n{text}").as_bytes());
        read(format!("time,name,value,unit\n{text}").as_bytes());
    }

    #[test]
    fn property_random_frames_never_panic(
        frames in proptest::collection::vec((0usize..12, any::<u32>(), proptest::collection::vec(any::<u8>(), 0..=8), -2.0f64..2.0), 0..200)
    ) {
        let ids = ["7E8", "7E0", "7DF", "7BB", "123", "18DAF110", "18DB33F1", "1CECFF00", "1CEBFF00", "18FECA00", "18FD7C00", ""];
        let mut log = String::new();
        let mut t = 10.0;
        for (kind, id, data, step) in frames {
            t = (t + step).abs();
            let id = match ids[kind] { "" => format!("{:08X}", id & 0x1FFF_FFFF), id => id.to_owned() };
            log += &format!("({t:.6}) can0 {id}#");
            data.iter().for_each(|b| log += &format!("{b:02X}"));
            log.push('\n');
        }
        let r = read(log.as_bytes());
        prop_assert!(r.format == Format::Empty || r.counts.lost_lines == 0);
    }

    #[test]
    fn property_random_messages_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..80), pid in any::<u8>(), pgn in 0u32..0x40000) {
        obd::split(&bytes, 0);
        obd::split(&bytes, 1);
        obd::decode(pid, &bytes).count();
        obd::monitor_results(&bytes).count();
        let _ = obd::codes(&bytes).map(Iterator::count);
        j1939::decode(pgn, &bytes).count();
        j1939::trouble_codes(&bytes).map(|(_, c)| c.count());
        j1939::inhibit_reasons(&bytes).count();
        uds::fault_memory(&bytes);
        vin::check(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn property_one_damaged_byte_costs_little(at in 0usize..1_000_000, byte in any::<u8>()) {
        let mut log = sample_log();
        let whole = read(&log);
        let n = at % log.len();
        log[n] = byte;
        let r = read(&log);
        // A line end written into a line tears it in two; taken away it glues two together.
        prop_assert!(r.counts.frames + 2 >= whole.counts.frames, "{} {}", r.counts.frames, whole.counts.frames);
    }

    #[test]
    fn property_table_cut_anywhere(at in 0usize..1_000_000) {
        let n = at % TABLE.len();
        let r = read_bytes("test", &TABLE.as_bytes()[..n], &table_options());
        let rows = TABLE.as_bytes()[..n].iter().filter(|b| **b == b'\n').count().saturating_sub(1) as u64;
        prop_assert_eq!(r.counts.rows, rows);
    }

    #[test]
    fn property_gzip_cut_anywhere(at in 0usize..1_000_000) {
        use std::io::Write as _;
        let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        packer.write_all(&sample_log()).unwrap();
        let packed = packer.finish().unwrap();
        let n = at % packed.len();
        let r = read(&packed[..n]);
        prop_assert!(r.problems.len() <= 1, "{:?}", r.problems);
        let whole = read(&packed);
        prop_assert!(whole.problems.is_empty(), "{:?}", whole.problems);
        prop_assert_eq!(whole.counts.frames, read(&sample_log()).counts.frames);
    }
}

#[test]
fn property_log_cut_at_every_byte() {
    let log = &sample_log()[..3000];
    for n in 0..log.len() {
        let r = read(&log[..n]);
        let lines = log[..n].iter().filter(|b| **b == b'\n').count() as u64;
        assert!((lines..=lines + 1).contains(&r.counts.frames), "{n}");
        assert!(r.problems.len() <= 1, "{n}: {:?}", r.problems);
    }
}

#[test]
fn regress_sample_log_holds_what_was_put_in() {
    let r = read(&sample_log());
    assert!(r.problems.is_empty(), "{:?}", r.problems);
    assert_eq!(r.signal(Quantity::FilterDifferentialPressure).unwrap().value.len(), 30);
    assert_eq!(r.signals_of(Quantity::FilterDifferentialPressure).count(), 2);
    assert_eq!(r.signal(Quantity::EngineSpeed).unwrap().source, "18DAF110 01 0C");
    assert_eq!(r.trouble_codes.len(), 5);
    assert_eq!((r.counts.error_frames, r.counts.remote_frames, r.counts.fd_frames), (30, 30, 30));
}
