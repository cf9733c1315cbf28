//! What the targets share: how input is read, and what must hold whatever it is.

use recording::{Format, Options, Recording, isotp, j1939, obd, read_bytes, read_stream, uds};
use std::ops::ControlFlow;

/// The header of a BLF file, its times empty.
pub const BLF_HEADER: &[u8] = &{
    let mut header = [0u8; 144];
    header[0] = b'L';
    header[1] = b'O';
    header[2] = b'G';
    header[3] = b'G';
    header[4] = 144;
    header
};

/// The identification block of an MDF 4.11 file.
pub const MDF_HEADER: &[u8] = &{
    let mut header = [0u8; 64];
    let name = *b"MDF     4.11    ";
    let mut n = 0;
    while n < 16 {
        header[n] = name[n];
        n += 1;
    }
    header[28] = 0x9B;
    header[29] = 1;
    header
};

fn options() -> Options {
    Options { max_unpacked_bytes: 8 << 20, max_problems: 50, ..Options::default() }
}

/// What holds for every recording.
fn sound(r: &Recording) {
    assert!(r.problems.len() <= 51);
    assert!(r.duration_s.is_finite() && r.duration_s >= 0.0);
    for signal in &r.signals {
        assert_eq!(signal.time_s.len(), signal.value.len());
        assert!(signal.time_s.is_sorted());
        assert!(signal.value.iter().chain(&signal.time_s).all(|v| v.is_finite()));
    }
    for signal in &r.named {
        assert_eq!(signal.time_s.len(), signal.value.len());
        assert!(signal.time_s.is_sorted());
        assert!(signal.value.iter().all(|v| v.is_finite()));
    }
    for problem in &r.problems {
        assert!(!problem.what.is_empty() && !problem.what_to_do.is_empty());
    }
    if r.format != Format::Empty {
        assert!(r.counts.frames + r.counts.rows > 0 || !r.problems.is_empty() || r.counts.bytes < 4096);
    }
}

/// Reads `data`, alone and behind a beginning that makes it a recording of the target's kind.
pub fn whole(beginning: &[u8], data: &[u8]) {
    sound(&read_bytes("fuzz", data, &options()));
    if !beginning.is_empty() {
        sound(&read_bytes("fuzz", &[beginning, data].concat(), &options()));
    }
}

/// Reads `data` as a stream and as a whole.
pub fn streamed(data: &[u8]) {
    let whole = read_bytes("fuzz", data, &options());
    let mut samples = 0;
    let streamed = read_stream("fuzz", data, &options(), |piece| {
        samples += piece.signals.iter().map(|s| s.value.len()).sum::<usize>();
        ControlFlow::Continue(())
    });
    let Ok(streamed) = streamed else { return };
    assert_eq!((streamed.counts, streamed.format), (whole.counts, whole.format));
    assert_eq!(samples, whole.signals.iter().map(|s| s.value.len()).sum::<usize>());
}

/// Takes `data` for a description and decodes a few frames with it.
pub fn described(data: &[u8]) {
    let log = b"(1.0) can0 123#0011223344556677\n(1.1) can0 18FEDF00#FFFE7D0A02018283\n\
                (1.2) can0 00000001#00\n(1.3) can0 001#FFFFFFFFFFFFFFFF\n(1.4) can0 123##1000102030405060708090A0B\n";
    let with = Options { descriptions: vec![("fuzz".to_owned(), data.to_vec())], ..options() };
    sound(&read_bytes("fuzz", log, &with));
}

/// Splits `data` into frames: a length byte, then that many bytes.
fn pieces(mut data: &[u8]) -> impl Iterator<Item = &[u8]> {
    std::iter::from_fn(move || {
        let (length, rest) = data.split_first()?;
        let (piece, after) = rest.split_at(rest.len().min(usize::from(length % 65)));
        data = after;
        Some(piece)
    })
}

/// Feeds frames to the assembler.
pub fn isotp(data: &[u8]) {
    let (mut plain, mut behind) = (isotp::Assembler::default(), isotp::Assembler::default());
    for (n, piece) in pieces(data).enumerate() {
        let time = n as i64 * i64::from(piece.len() as u32) * 10_000_000;
        for outcome in [plain.push(time, piece), behind.push_behind_address(time, piece)] {
            if let Some(message) = outcome.message {
                assert!(!message.is_empty());
            }
        }
        isotp::flow_control(piece);
        for (got, of) in plain.unfinished().into_iter().chain(behind.unfinished()) {
            assert!(got < of);
        }
    }
}

/// Reads answers directly and inside a recording.
pub fn services(data: &[u8]) {
    let mut log = String::new();
    for (n, piece) in pieces(data).enumerate() {
        if let Some((pid, rest)) = piece.split_first() {
            for decoded in obd::decode(*pid, rest) {
                assert!(decoded.value.is_none_or(f64::is_finite));
            }
        }
        let _ = (obd::split(piece, 0), obd::split(piece, 1), obd::codes(piece).map(Iterator::count));
        let _ = (obd::monitor_results(piece).filter(|m| m.passed()).count(), uds::fault_memory(piece));
        let hex: String = piece.iter().take(62).map(|b| format!("{b:02X}")).collect();
        let length = piece.len().min(62);
        let frame = match length {
            0 => continue,
            1..=7 => format!("7E8#{length:02X}{hex}"),
            _ => format!("18DAF110##000{length:02X}{hex}{}", "00".repeat(62 - length)),
        };
        log += &format!("({n}.0) can0 {frame}\n");
    }
    sound(&read_bytes("fuzz", log.as_bytes(), &options()));
}

/// Feeds transport frames and groups.
pub fn groups(data: &[u8]) {
    let mut session = j1939::Session::default();
    let mut log = String::new();
    for (n, piece) in pieces(data).enumerate() {
        let time = n as i64 * 50_000_000;
        session.control(time, piece);
        session.clear_to_send(time, piece);
        if let Some((pgn, message)) = session.data(time, piece).message {
            assert!(message.len() >= 9 && j1939::decode(pgn, message).count() < 100);
        }
        let [a, b, rest @ ..] = piece else { continue };
        let id = 0x18EB_0000 | u32::from(*a) << 16 | u32::from(*b) << 8;
        let hex: String = rest.iter().take(8).map(|b| format!("{b:02X}")).collect();
        log += &format!("({n}.0) can0 {id:08X}#{hex}\n");
    }
    sound(&read_bytes("fuzz", log.as_bytes(), &options()));
}
