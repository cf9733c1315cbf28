//! The same frames in several containers, cut, packed, and in pieces.
#![allow(clippy::unwrap_used, reason = "a test may stop here")]

use recording::{Format, Frame, Options, Piece, Recording, read_bytes, read_frames, read_stream};
use std::ops::ControlFlow;
use std::path::PathBuf;

/// The folder of recordings, or `None` when it does not lie beside the checkout.
fn folder() -> Option<PathBuf> {
    let base = std::env::var_os("SOOTWRIGHT_SHARED").map_or_else(
        || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared")),
        PathBuf::from,
    );
    let folder = base.join("data/bus");
    if folder.is_dir() {
        return Some(folder);
    }
    assert!(
        std::env::var("SOOTWRIGHT_REQUIRE_SHARED").as_deref() != Ok("1"),
        "the shared recordings are required and not beside the checkout"
    );
    println!("skipped: the shared recordings are not beside the checkout");
    None
}

/// Identifier, width, data and time since the first frame in microseconds.
type Plain = (u32, bool, Vec<u8>, i64);

fn frames(name: &str, bytes: &[u8]) -> (Vec<Plain>, Recording) {
    let mut list: Vec<Frame> = Vec::new();
    let recording = read_frames(name, bytes, &Options::default(), &mut |frame, _| list.push(frame.clone()));
    let first = list.first().map_or(0, |f| f.time_ns);
    let plain = list
        .iter()
        .map(|f| (f.id, f.extended, f.data().to_vec(), ((f.time_ns - first) as f64 / 1000.0).round() as i64))
        .collect();
    (plain, recording)
}

#[test]
fn reference_three_containers_hold_the_same_frames() {
    let Some(folder) = folder() else { return };
    let open = |name: &str| frames(name, &std::fs::read(folder.join(name)).unwrap());
    let (want, log) = open("container-400.log");
    assert_eq!(want.len(), 400);
    for (name, format) in [("container-400.asc", Format::Asc), ("container-400.blf", Format::Blf)] {
        let (got, recording) = open(name);
        assert_eq!(recording.format, format);
        assert!(recording.problems.is_empty(), "{:?}", recording.problems);
        assert_eq!(got.len(), want.len(), "{name}");
        for (n, (got, want)) in got.iter().zip(&want).enumerate() {
            assert_eq!((got.0, got.1, &got.2), (want.0, want.1, &want.2), "{name} frame {n}");
            // python-can wrote these files from a clock of doubles: a microsecond may be lost to rounding.
            assert!((got.3 - want.3).abs() <= 1, "{name} frame {n}: {} {}", got.3, want.3);
        }
        for (a, b) in recording.signals.iter().zip(&log.signals) {
            assert_eq!((a.quantity, &a.value), (b.quantity, &b.value), "{name}");
        }
        assert_eq!(recording.signals.len(), log.signals.len());
        assert!((recording.start_epoch_s.unwrap() - log.start_epoch_s.unwrap()).abs() < 1.0, "{name}");
    }
}

#[test]
fn reference_unfinished_mdf_equals_its_text() {
    let Some(folder) = folder() else { return };
    for name in ["isotp-multiframe", "j1939-tp-reagent"] {
        let open = |end: &str| frames(name, &std::fs::read(folder.join(format!("{name}.{end}"))).unwrap());
        let ((want, log), (got, mdf)) = (open("log"), open("mf4"));
        assert_eq!(
            (mdf.format, mdf.counts.frames),
            (Format::Mdf, log.counts.frames),
            "{:?}",
            mdf.problems.first()
        );
        for (n, (got, want)) in got.iter().zip(&want).enumerate() {
            assert_eq!((got.0, got.1, &got.2), (want.0, want.1, &want.2), "{name} frame {n}");
            assert!((got.3 - want.3).abs() <= 1, "{name} frame {n}: {} {}", got.3, want.3);
        }
        assert_eq!(got.len(), want.len());
        assert!((mdf.start_epoch_s.unwrap() - log.start_epoch_s.unwrap()).abs() < 1e-5);
        let texts = |r: &Recording| r.problems.iter().map(|p| p.what.clone()).collect::<Vec<_>>();
        assert_eq!(texts(&mdf), texts(&log), "the same findings, at other places");
    }
}

/// Cut at every byte: the frames before the cut, and one problem at most (a cut at the end of a line or object cannot
/// be told from a short recording).
#[test]
fn property_cut_at_every_byte_keeps_what_stands_before() {
    let Some(folder) = folder() else { return };
    for (name, step) in [
        ("container-400.asc", 1),
        ("container-400.blf", 1),
        ("j1939-tp-reagent.mf4", 7),
        ("isotp-multiframe.mf4", 7),
    ] {
        let bytes = std::fs::read(folder.join(name)).unwrap();
        let (whole, base) = frames(name, &bytes);
        let known: Vec<String> = base.problems.iter().map(|p| p.what.clone()).collect();
        let (mut most, mut unnoticed) = (0, 0);
        let end = if name.ends_with("asc") { 9000 } else { bytes.len() };
        for cut in (0..end.min(bytes.len())).step_by(step) {
            let (got, r) = frames(name, &bytes[..cut]);
            assert!(got.len() <= whole.len() && got[..] == whole[..got.len()], "{name} {cut}");
            assert!(got.len() >= most, "{name} {cut}: fewer frames than in a shorter piece");
            most = got.len();
            let new: Vec<_> = r.problems.iter().filter(|p| !known.contains(&p.what)).collect();
            assert!(new.len() <= 1, "{name} {cut}: {new:?}");
            unnoticed += usize::from(!r.problems.iter().any(|p| p.what_to_do.contains("cut here")));
        }
        // The header of a text log, the end of its lines, and a record of an unfinished MDF file (two for each frame) can end where the cut is.
        let allowed = match name.rsplit('.').next() {
            Some("asc") => 500,
            Some("mf4") => 2 * whole.len() / step + 8,
            // Less than the mark of a kind is no known kind.
            _ => 4,
        };
        assert!(unnoticed <= allowed, "{name}: {unnoticed} cuts go unnoticed");
        assert!(most + 60 >= whole.len() || name.ends_with("asc"), "{name}: {most} of {}", whole.len());
    }
}

fn zstd(bytes: &[u8]) -> Vec<u8> {
    ruzstd::encoding::compress_to_vec(bytes, ruzstd::encoding::CompressionLevel::Fastest)
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    use std::io::Write as _;
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packer.write_all(bytes).unwrap();
    packer.finish().unwrap()
}

#[test]
fn regress_packed_recordings_are_the_same() {
    let line = |n: u32| format!("({}.000000) can0 7E8#03410D{:02X}\n", 1_700_000_000 + n, n % 200);
    let log: String = (0..2000).map(line).collect();
    let plain = read_bytes("log", log.as_bytes(), &Options::default());
    let halves = [zstd(&log.as_bytes()[..999]), zstd(&log.as_bytes()[999..])].concat();
    for packed in [zstd(log.as_bytes()), gzip(log.as_bytes()), halves] {
        let r = read_bytes("log", &packed, &Options::default());
        assert_eq!((r.signals, r.problems, r.counts), (plain.signals.clone(), vec![], plain.counts));
        let cut = read_bytes("log", &packed[..packed.len() - 20], &Options::default());
        assert_eq!(cut.problems.len(), 1, "{:?}", cut.problems);
        assert!(cut.problems[0].what.contains("ends early"), "{:?}", cut.problems);
    }
    let small = Options { max_unpacked_bytes: 10_000, ..Options::default() };
    let r = read_bytes("log", &zstd(log.as_bytes()), &small);
    assert!(r.problems.iter().any(|p| p.what.contains("larger than allowed")), "{:?}", r.problems);
}

fn joined(name: &str, bytes: &[u8]) -> (Recording, usize) {
    let mut pieces = 0;
    let mut all = Recording::default();
    let mut put = |piece: Piece| {
        pieces += 1;
        for part in piece.signals {
            let key = (part.quantity, part.instance, part.source.clone());
            match all.signals.iter_mut().find(|s| (s.quantity, s.instance, s.source.clone()) == key) {
                Some(signal) => {
                    signal.time_s.extend(part.time_s);
                    signal.value.extend(part.value);
                }
                None => all.signals.push(part),
            }
        }
        ControlFlow::Continue(())
    };
    let mut recording = read_stream(name, bytes, &Options::default(), &mut put).unwrap();
    recording.signals = all.signals;
    (recording, pieces)
}

#[test]
fn property_a_stream_gives_what_the_whole_gives() {
    let Some(folder) = folder() else { return };
    for name in ["obd-request-response.log", "container-400.asc", "container-400.blf", "j1939-tp-reagent.mf4"]
    {
        let bytes = std::fs::read(folder.join(name)).unwrap();
        let whole = read_bytes(name, &bytes, &Options::default());
        let (streamed, _) = joined(name, &bytes);
        assert_eq!(streamed, whole, "{name}");
    }
    // Long enough for several pieces.
    let one = std::fs::read(folder.join("truck-j1939-idle.log")).unwrap();
    let text = String::from_utf8(one).unwrap();
    let mut long = String::new();
    for turn in 0..8u64 {
        for line in text.lines() {
            let (seconds, rest) = line[1..].split_once('.').unwrap();
            let seconds: u64 = seconds.parse::<u64>().unwrap() + turn * 128;
            long += &format!("({seconds}.{rest}\n");
        }
    }
    let whole = read_bytes("long", long.as_bytes(), &Options::default());
    let (streamed, pieces) = joined("long", &gzip(long.as_bytes()));
    assert!(pieces > 2, "{pieces}");
    assert_eq!(streamed.counts, whole.counts);
    assert_eq!(streamed.signals.len(), whole.signals.len());
    for signal in &whole.signals {
        assert!(streamed.signals.contains(signal), "{} {}", signal.quantity, signal.source);
    }
}

#[test]
fn regress_a_line_without_end_does_not_fill_the_memory() {
    let mut log = b"(1.0) can0 7E8#03410D32\n".to_vec();
    log.extend(std::iter::repeat_n(b'A', 5 << 20));
    log.extend(b"\n(2.0) can0 7E8#03410D33\n");
    let (r, _) = joined("log", &log);
    assert_eq!(r.signals[0].value, [50.0, 51.0]);
    assert_eq!((r.problems.len(), r.counts.lost_lines), (1, 1), "{:?}", r.problems);
}

/// Found by fuzzing: wide text that is a log beyond its first characters.
#[test]
fn regress_wide_text_is_the_same_as_a_stream() {
    let mut text = vec![0xFE, 0xFF];
    text.extend_from_slice(b"x\n(0.0) can0 7E8#03410D32\nbase hex\n");
    let whole = read_bytes("log", &text, &Options::default());
    assert_eq!(joined("log", &text).0, whole);
}

/// Found by fuzzing.
#[test]
fn regress_an_impossible_date_and_an_empty_file_are_named() {
    let mut header = vec![0u8; 144];
    header[..4].copy_from_slice(b"LOGG");
    header[4] = 144;
    // 32767 milliseconds.
    header[40..56].copy_from_slice(&[0xE5, 7, 10, 0, 1, 0, 25, 0, 19, 0, 0, 0, 55, 0, 0xFF, 0x7F]);
    let r = read_bytes("x.blf", &header, &Options::default());
    assert_eq!((r.start_epoch_s, r.problems.len()), (None, 1), "{:?}", r.problems);
    assert!(r.problems[0].what.contains("no frame"), "{:?}", r.problems);
}
