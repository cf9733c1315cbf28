//! What the binary containers share: numbers at places, packed pieces, lengths of CAN FD.

use flate2::{Decompress, FlushDecompress, Status};

/// Data bytes of a CAN FD frame by its length code.
const FD_LENGTHS: [u8; 16] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64];

/// Data bytes of a CAN FD frame with a length code; codes that do not exist allow as many as there can be.
pub(crate) fn fd_length(code: u8) -> u8 {
    FD_LENGTHS.get(usize::from(code)).copied().unwrap_or(64)
}

pub(crate) fn u16_at(b: &[u8], at: usize) -> Option<u16> {
    b.get(at..)?.first_chunk().map(|c| u16::from_le_bytes(*c))
}
pub(crate) fn u32_at(b: &[u8], at: usize) -> Option<u32> {
    b.get(at..)?.first_chunk().map(|c| u32::from_le_bytes(*c))
}
pub(crate) fn u64_at(b: &[u8], at: usize) -> Option<u64> {
    b.get(at..)?.first_chunk().map(|c| u64::from_le_bytes(*c))
}

/// How a packed piece ended.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum End {
    /// It is whole.
    Whole,
    /// It ends before its content does.
    Short,
    /// It goes on beyond what is allowed.
    Full,
    /// It is damaged, in the words of the unpacker.
    Damaged(String),
}

/// A piece that states more than this is unpacked step by step: a stated size is not trusted for memory.
const AT_ONCE: u64 = 64 << 20;
/// What is unpacked step by step comes in pieces of this size.
const STEP: usize = 1 << 17;

/// Unpacks zlib streams; keeps its memory from one to the next.
pub(crate) struct Inflater {
    quick: libdeflater::Decompressor,
    room: Vec<u8>,
}

impl Inflater {
    pub(crate) fn new() -> Self {
        Inflater { quick: libdeflater::Decompressor::new(), room: Vec::new() }
    }

    /// Hands out the content of `packed`, in one piece if it is as long as stated (`due`), else step by step up to
    /// `most` bytes and to the damage.
    pub(crate) fn unpack(&mut self, packed: &[u8], due: u64, most: u64, visit: &mut dyn FnMut(&[u8])) -> End {
        // No deflate stream grows more than 1032-fold.
        let honest = due <= most.min(AT_ONCE) && due <= (packed.len() as u64).saturating_mul(1032);
        if honest {
            if self.room.len() < due as usize {
                self.room.resize(due as usize, 0);
            }
            let room = self.room.get_mut(..due as usize).unwrap_or(&mut []);
            if let Ok(made) = self.quick.zlib_decompress(packed, room) {
                visit(room.get(..made).unwrap_or(&[]));
                return End::Whole;
            }
        }
        stepwise(packed, most, visit)
    }
}

/// The careful way: everything up to the damage.
fn stepwise(packed: &[u8], most: u64, visit: &mut dyn FnMut(&[u8])) -> End {
    let mut stream = Decompress::new(true);
    let mut piece = vec![0u8; STEP];
    loop {
        let before = (stream.total_in(), stream.total_out());
        let input = packed.get(before.0 as usize..).unwrap_or(&[]);
        let room = most.saturating_sub(before.1).min(STEP as u64) as usize;
        if room == 0 {
            return End::Full;
        }
        let status =
            stream.decompress(input, piece.get_mut(..room).unwrap_or(&mut []), FlushDecompress::None);
        let made = (stream.total_out() - before.1) as usize;
        if made > 0 {
            visit(piece.get(..made).unwrap_or(&[]));
        }
        match status {
            Ok(Status::StreamEnd) => return End::Whole,
            Ok(_) if made == 0 && stream.total_in() == before.0 => return End::Short,
            Ok(_) => {}
            Err(error) => return End::Damaged(error.to_string()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;

    fn packed(content: &[u8]) -> Vec<u8> {
        let mut writer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
        writer.write_all(content).unwrap();
        writer.finish().unwrap()
    }

    fn unpacked(packed: &[u8], due: u64, most: u64) -> (Vec<u8>, End) {
        let mut out = Vec::new();
        let end = Inflater::new().unpack(packed, due, most, &mut |b| out.extend_from_slice(b));
        (out, end)
    }

    fn content() -> Vec<u8> {
        (0..300_000u32).flat_map(|n| (n.wrapping_mul(n) >> 7).to_le_bytes()).collect()
    }

    #[test]
    fn property_a_wrong_size_changes_nothing() {
        let (content, packed) = (content(), packed(&content()));
        let length = content.len() as u64;
        for due in [length, length - 1, length + 5, 0, u64::MAX] {
            assert!(unpacked(&packed, due, u64::MAX) == (content.clone(), End::Whole), "{due}");
        }
    }

    #[test]
    fn property_what_is_cut_or_damaged_is_read_to_there() {
        let (content, packed) = (content(), packed(&content()));
        let length = content.len() as u64;
        let (out, end) = unpacked(&packed[..packed.len() / 2], length, u64::MAX);
        assert!(end == End::Short && out.len() > 1000 && content.starts_with(&out));
        let mut bad = packed.clone();
        for byte in bad.iter_mut().skip(packed.len() / 2).take(40) {
            *byte ^= 0x5A;
        }
        let (out, end) = unpacked(&bad, length, u64::MAX);
        assert!(matches!(end, End::Damaged(_) | End::Short), "{end:?}");
        assert!(out.len() > 1000 && out[..1000] == content[..1000]);
        let (out, end) = unpacked(&packed, length, 5000);
        assert!(end == End::Full && out == content[..5000]);
    }
}
