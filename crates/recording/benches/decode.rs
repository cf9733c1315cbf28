//! Decoding speed. Input is generated in memory; `cargo bench -p recording`.
//!
//! The OBD log is an hour of driving: five parameters at 10 Hz, requests and answers, between background frames
//! that have to be passed over; about half a million frames. The scan is the floor: looking for line ends only.

use recording::{Options, read_bytes};
use std::fmt::Write as _;

fn main() {
    divan::main();
}

/// An hour at 10 Hz: engine speed, air mass, filter pressures (two frames), exhaust temperatures (two frames).
fn obd_log() -> String {
    let mut log = String::with_capacity(28_000_000);
    let mut state = 1u64;
    let mut random = move || {
        // SplitMix64 (Steele, Lea, Flood 2014): numbers without a pattern, the same every time.
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (state ^ (state >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    };
    let mut time_us = 1_700_000_000_000_000u64;
    let mut line = |log: &mut String, id: &str, data: &[u8]| {
        time_us += 7_000;
        let _ = write!(log, "({}.{:06}) can0 {id}#", time_us / 1_000_000, time_us % 1_000_000);
        data.iter().for_each(|b| {
            let _ = write!(log, "{b:02X}");
        });
        log.push('\n');
    };
    for _ in 0..36_000 {
        let r = random().to_be_bytes();
        line(&mut log, "7E0", &[2, 1, 0x0C, 0x55, 0x55, 0x55, 0x55, 0x55]);
        line(&mut log, "7E8", &[4, 0x41, 0x0C, 0x10 | r[0] & 0x0F, r[1], 0xAA, 0xAA, 0xAA]);
        line(&mut log, "7E0", &[2, 1, 0x10, 0x55, 0x55, 0x55, 0x55, 0x55]);
        line(&mut log, "7E8", &[4, 0x41, 0x10, r[0] & 0x0F, r[2], 0xAA, 0xAA, 0xAA]);
        line(&mut log, "7E0", &[2, 1, 0x7A, 0x55, 0x55, 0x55, 0x55, 0x55]);
        line(&mut log, "7E8", &[0x10, 9, 0x41, 0x7A, 1, r[3] & 7, r[4], 0]);
        line(&mut log, "7E8", &[0x21, 0, 0, 0, 0xAA, 0xAA, 0xAA, 0xAA]);
        for id in ["0C9", "1A1", "2F9", "3D1", "4C1", "5E8", "120"] {
            line(&mut log, id, &random().to_be_bytes());
        }
    }
    log
}

/// A truck: twelve groups, most of them with values that are wanted.
fn truck_log() -> String {
    let mut log = String::with_capacity(28_000_000);
    let groups = [
        ("0CF00400", [0x60, 0x7D, 0x84, 0x48, 0x14, 0x00, 0xF0, 0x84]),
        ("0CF00A00", [0x58, 0x05, 0xD4, 0x18, 0xFF, 0xFF, 0xFF, 0xFF]),
        ("18FEDF00", [0x82, 0xFF, 0xFF, 0xFF, 0x7D, 0x0A, 0x02, 0x01]),
        ("18FDB200", [0xFF, 0xFF, 0xFF, 0xFF, 0x02, 0x00, 0xFF, 0xFF]),
        ("18FD8C00", [0x05, 0x00, 0x02, 0x00, 0xFF, 0xFF, 0xFF, 0xFF]),
        ("18FEF200", [0x37, 0x00, 0x00, 0x00, 0x87, 0x01, 0x00, 0xFF]),
        ("18FEE000", [0xFF; 8]),
        ("18FEF600", [0x00, 0x01, 0x58, 0x33, 0xFF, 0xA3, 0x31, 0xFF]),
        ("18F00F00", [0x10, 0x20, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF]),
        ("0CF00300", [0xFF, 0xFE, 0x00, 0xFF, 0xFF, 0xFF, 0x00, 0xFF]),
        ("18FEBF0B", [0x00; 8]),
        ("18FD9400", [0x00; 8]),
    ];
    for n in 0..500_000u64 {
        let (id, data) = groups[(n % 12) as usize];
        let us = 1_700_000_000_000_000 + n * 2_000;
        let _ = write!(log, "({}.{:06}) can0 {id}#", us / 1_000_000, us % 1_000_000);
        for b in data {
            let _ = write!(log, "{b:02X}");
        }
        log.push('\n');
    }
    log
}

fn table() -> String {
    let mut text = String::from(
        "time [s];engine_speed [rpm];filter_differential_pressure [hPa];exhaust_mass_flow [kg/h]\n",
    );
    for n in 0..36_000u64 {
        let _ = writeln!(
            text,
            "{},{};{};{},{};{},5",
            n / 10,
            n % 10,
            800 + n % 1700,
            n % 97,
            n % 10,
            60 + n % 300
        );
    }
    text
}

fn decode(bencher: divan::Bencher, log: &str) {
    let recording = read_bytes("bench", log.as_bytes(), &Options::default());
    assert!(recording.problems.is_empty() && recording.signals.len() > 2);
    bencher
        .counter(divan::counter::BytesCount::of_str(log))
        .bench(|| read_bytes("bench", divan::black_box(log.as_bytes()), &Options::default()));
}

#[divan::bench(sample_count = 20)]
fn obd_hour(bencher: divan::Bencher) {
    decode(bencher, &obd_log());
}

#[divan::bench(sample_count = 20)]
fn truck_half_million_frames(bencher: divan::Bencher) {
    decode(bencher, &truck_log());
}

#[divan::bench(sample_count = 20)]
fn table_hour(bencher: divan::Bencher) {
    decode(bencher, &table());
}

#[divan::bench(sample_count = 20)]
fn obd_hour_line_scan_only(bencher: divan::Bencher) {
    let log = obd_log();
    bencher
        .counter(divan::counter::BytesCount::of_str(&log))
        .bench(|| memchr::memchr_iter(b'\n', divan::black_box(log.as_bytes())).count());
}
