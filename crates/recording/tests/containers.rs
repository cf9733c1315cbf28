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

/// How the records of an MDF file are stored.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Stored {
    Plain,
    Packed,
    Turned,
    /// Turned, in blocks of so many bytes, which cut records in two.
    Blocks(usize),
    /// Turned, and the size of the content stated wrongly.
    Misstated,
}

const RECORD: usize = 85;

/// An MDF 4 file of bus logging: records of a time (double, seconds), bus, identifier, width, length code, length, 64
/// bytes of data, direction, CAN FD flag and a byte that nothing names.
fn bus_logging(records: &[u8], stored: Stored) -> Vec<u8> {
    fn block(file: &mut Vec<u8>, mark: &[u8; 2], links: &[u64], data: &[u8]) -> u64 {
        file.resize(file.len().next_multiple_of(8), 0);
        let at = file.len() as u64;
        let length = 24 + 8 * links.len() + data.len();
        file.extend([b"##".as_slice(), mark, &[0; 4]].concat());
        file.extend((length as u64).to_le_bytes());
        file.extend((links.len() as u64).to_le_bytes());
        links.iter().for_each(|l| file.extend(l.to_le_bytes()));
        file.extend(data);
        at
    }
    let mut file = b"MDF     4.11    test    ".to_vec();
    file.resize(64, 0);
    file[28..30].copy_from_slice(&411u16.to_le_bytes());
    // The header leads to the group of data, whose place is put in at the end.
    block(&mut file, b"HD", &[0; 6], &[1_700_000_000_000_000_000u64.to_le_bytes(), [0; 8], [0; 8]].concat());
    let data = match stored {
        Stored::Plain => block(&mut file, b"DT", &[], records),
        _ => {
            let size = if let Stored::Blocks(size) = stored { size } else { records.len().max(1) };
            let parts: Vec<u64> = records
                .chunks(size)
                .map(|part| {
                    let rows = part.len() / RECORD;
                    let turned: Vec<u8> = (0..RECORD)
                        .flat_map(|c| (0..rows).map(move |r| part[r * RECORD + c]))
                        .chain(part[rows * RECORD..].iter().copied())
                        .collect();
                    let method = u8::from(stored != Stored::Packed);
                    let mut packer =
                        flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
                    std::io::Write::write_all(&mut packer, if method == 1 { &turned } else { part }).unwrap();
                    let packed = packer.finish().unwrap();
                    let due = part.len() as u64 + if stored == Stored::Misstated { 100 } else { 0 };
                    let mut body = vec![b'D', b'T', method, 0];
                    body.extend((RECORD as u32).to_le_bytes());
                    body.extend(due.to_le_bytes());
                    body.extend((packed.len() as u64).to_le_bytes());
                    body.extend(packed);
                    block(&mut file, b"DZ", &[], &body)
                })
                .collect();
            block(&mut file, b"DL", &[[0].as_slice(), &parts].concat(), &[0; 8])
        }
    };
    let channels: [(&str, u8, u8, u8, u32, u32); 10] = [
        ("t", 2, 1, 4, 0, 64),
        ("CAN_DataFrame", 0, 0, 10, 8, 8 * 76),
        ("CAN_DataFrame.BusChannel", 0, 0, 0, 8, 8),
        ("CAN_DataFrame.ID", 0, 0, 0, 9, 32),
        ("CAN_DataFrame.IDE", 0, 0, 0, 13, 8),
        ("CAN_DataFrame.DLC", 0, 0, 0, 14, 8),
        ("CAN_DataFrame.DataLength", 0, 0, 0, 15, 8),
        ("CAN_DataFrame.DataBytes", 0, 0, 10, 16, 8 * 64),
        ("CAN_DataFrame.Dir", 0, 0, 0, 80, 8),
        ("CAN_DataFrame.EDL", 0, 0, 0, 81, 8),
    ];
    let mut next = 0;
    for (name, kind, sync, number, byte, bits) in channels.into_iter().rev() {
        let text = block(&mut file, b"TX", &[], format!("{name}\0").as_bytes());
        let mut body = vec![kind, sync, number, 0];
        body.extend([byte, bits, 0, 0].iter().flat_map(|n: &u32| n.to_le_bytes()));
        next = block(&mut file, b"CN", &[next, 0, text, 0, 0, 0, 0, 0], &body);
    }
    let mut body = [0u64.to_le_bytes(), ((records.len() / RECORD) as u64).to_le_bytes(), [0; 8]].concat();
    body.extend([(RECORD as u32).to_le_bytes(), [0; 4]].concat());
    let group = block(&mut file, b"CG", &[0, next, 0, 0, 0, 0], &body);
    let first = block(&mut file, b"DG", &[0, group, data, 0], &[0; 8]);
    file[64 + 24..64 + 32].copy_from_slice(&first.to_le_bytes());
    file
}

/// `count` records; every seventh frame is one of CAN FD if there shall be such.
fn records(count: usize, fd: bool) -> (Vec<u8>, Vec<Plain>) {
    let mut bytes = Vec::new();
    let mut wanted = Vec::new();
    for n in 0..count {
        let long = fd && n % 7 == 3;
        let length = if long { 64 } else { n % 9 };
        let data: Vec<u8> = (0..length).map(|k| (n * 31 + k * 7 + 1) as u8).collect();
        let (id, extended) = if n % 2 == 0 { (0x18FE_F200 | n as u32 & 0xFF, true) } else { (0x123, false) };
        let mut record = (n as f64 * 0.0005).to_le_bytes().to_vec();
        record.push(1);
        record.extend(id.to_le_bytes());
        record.extend([u8::from(extended), if long { 15 } else { length as u8 }, length as u8]);
        record.extend(&data);
        record.resize(80, 0xA5);
        record.extend([1, u8::from(long), 0xEE, 0xEE, 0xEE]);
        assert_eq!(record.len(), RECORD);
        bytes.extend(record);
        wanted.push((id, extended, data, n as i64 * 500));
    }
    (bytes, wanted)
}

#[test]
fn property_records_are_the_same_however_they_are_stored() {
    for (count, fd) in [(1, false), (7, true), (700, false), (1500, true)] {
        let (bytes, wanted) = records(count, fd);
        for stored in [
            Stored::Plain,
            Stored::Packed,
            Stored::Turned,
            Stored::Blocks(10_007),
            Stored::Blocks(8 * RECORD),
        ] {
            let (got, recording) = frames("x.mf4", &bus_logging(&bytes, stored));
            assert!(got == wanted, "{stored:?}, {count} frames: {} read", got.len());
            assert!(recording.problems.is_empty(), "{stored:?}: {:?}", recording.problems);
            assert_eq!(recording.counts.fd_frames, if fd { (count as u64 + 3) / 7 } else { 0 }, "{stored:?}");
            assert_eq!(recording.buses, ["CAN1"]);
        }
        let (got, _) = frames("x.mf4", &bus_logging(&bytes, Stored::Misstated));
        assert!(got == wanted, "a wrong size must not hide whole data: {}", got.len());
    }
}

#[test]
fn property_cut_records_keep_what_stands_before() {
    let (bytes, wanted) = records(300, true);
    for stored in [Stored::Plain, Stored::Packed, Stored::Turned] {
        // The groups stand behind the data in these files: the cut is made in the data itself.
        for cut in [RECORD * 300 - 1, RECORD * 200 + 3, RECORD - 1] {
            let (got, recording) = frames("x.mf4", &bus_logging(&bytes[..cut], stored));
            assert_eq!(got.len(), cut / RECORD, "{stored:?}");
            assert!(got[..] == wanted[..got.len()], "{stored:?}");
            assert_eq!(recording.problems.len(), 1, "{stored:?} {cut}: {:?}", recording.problems);
        }
    }
}

/// A stated size of records that no memory holds, in the group and in the packed block.
#[test]
fn regress_a_damaged_record_size_asks_for_no_memory() {
    let (bytes, _) = records(20, false);
    let size = (RECORD as u32).to_le_bytes();
    let mut file = bus_logging(&bytes, Stored::Turned);
    let places: Vec<usize> = (0..file.len() - 4).filter(|n| file[*n..n + 4] == size).collect();
    assert!(places.len() >= 2, "{places:?}");
    for at in places {
        file[at..at + 4].copy_from_slice(&u32::MAX.to_le_bytes());
    }
    let (got, recording) = frames("x.mf4", &file);
    assert!(got.is_empty() && !recording.problems.is_empty(), "{:?}", recording.problems);
}
