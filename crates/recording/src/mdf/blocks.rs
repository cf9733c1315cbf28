//! The block graph of an MDF 4 file. Layout as asammdf 8.8.28 reads it; the standard's text was not at hand.
//!
//! Nothing in a file is trusted: links may point anywhere, lengths may be anything, chains may be circles. The number of
//! blocks visited and the bytes of data handed out are bounded by what the file can honestly hold.

use flate2::{Decompress, FlushDecompress, Status};

/// Header of every block: mark, length, number of links.
const HEADER: usize = 24;

/// One block, as far as the file holds it.
#[derive(Clone, Copy)]
pub(super) struct Block<'a> {
    pub at: u64,
    links: &'a [u8],
    pub data: &'a [u8],
}

impl Block<'_> {
    /// The link with this number; `None` if it is empty.
    pub fn link(&self, n: usize) -> Option<u64> {
        let bytes = self.links.get(8 * n..)?.first_chunk::<8>()?;
        Some(u64::from_le_bytes(*bytes)).filter(|l| *l != 0)
    }

    pub fn u8(&self, at: usize) -> Option<u8> {
        self.data.get(at).copied()
    }
    pub fn u16(&self, at: usize) -> Option<u16> {
        self.data.get(at..)?.first_chunk().map(|b| u16::from_le_bytes(*b))
    }
    pub fn u32(&self, at: usize) -> Option<u32> {
        self.data.get(at..)?.first_chunk().map(|b| u32::from_le_bytes(*b))
    }
    pub fn u64(&self, at: usize) -> Option<u64> {
        self.data.get(at..)?.first_chunk().map(|b| u64::from_le_bytes(*b))
    }
    pub fn f64(&self, at: usize) -> Option<f64> {
        self.u64(at).map(f64::from_bits)
    }
}

/// What is wrong with a file, gathered while it is walked.
#[derive(Default)]
pub(super) struct Findings {
    /// A link or block reaches beyond the end.
    pub cut: bool,
    /// Damage at a byte.
    pub damage: Vec<(u64, String)>,
}

pub(super) struct File<'a> {
    pub bytes: &'a [u8],
    /// Written without its last corrections, as after a power loss.
    pub unfinished: bool,
    blocks_left: usize,
    data_left: u64,
    pub findings: Findings,
}

impl<'a> File<'a> {
    pub fn new(bytes: &'a [u8], most_data: u64) -> Self {
        File {
            bytes,
            unfinished: bytes.starts_with(b"UnFinMF"),
            blocks_left: bytes.len() / HEADER + 16,
            data_left: most_data,
            findings: Findings::default(),
        }
    }

    fn damage(&mut self, at: u64, what: &str) {
        if self.findings.damage.len() < 1000 {
            self.findings.damage.push((at, what.to_owned()));
        }
    }

    /// The block at a place with one of the marks.
    pub fn block(&mut self, at: u64, marks: &[&[u8; 4]]) -> Option<Block<'a>> {
        let start = usize::try_from(at).ok().filter(|s| *s < self.bytes.len());
        let Some((start, left)) = start.zip(self.blocks_left.checked_sub(1)) else {
            self.findings.cut = true;
            return None;
        };
        self.blocks_left = left;
        let rest = self.bytes.get(start..)?;
        let Some(header) = rest.first_chunk::<HEADER>() else {
            self.findings.cut = true;
            return None;
        };
        let [a, b, c, d, _, _, _, _, l0, l1, l2, l3, l4, l5, l6, l7, n0, n1, n2, n3, ..] = *header;
        let mark = [a, b, c, d];
        if !marks.iter().any(|m| **m == mark) {
            let wanted = marks.first().map_or("##", |m| std::str::from_utf8(*m).unwrap_or("##"));
            self.damage(at, &format!("no block {wanted} where one is due"));
            return None;
        }
        let length = u64::from_le_bytes([l0, l1, l2, l3, l4, l5, l6, l7]);
        let links = u32::from_le_bytes([n0, n1, n2, n3]) as usize;
        let data = mark == *b"##DT" || mark == *b"##SD";
        let body = rest.get(HEADER..).unwrap_or(&[]);
        let due = usize::try_from(length.saturating_sub(HEADER as u64)).unwrap_or(usize::MAX);
        let body = match body.get(..due) {
            // The last data block of an unfinished file has no length yet.
            Some([]) if data && self.unfinished => body,
            Some(whole) => whole,
            None => {
                self.findings.cut = true;
                body
            }
        };
        let (links, data) = body.split_at_checked(links.saturating_mul(8)).unwrap_or((body, &[]));
        Some(Block { at, links, data })
    }

    /// The text of a TX block, or of the first TX element of an MD block.
    pub fn text(&self, at: Option<u64>) -> String {
        let Some(start) = at.and_then(|a| usize::try_from(a).ok()) else { return String::new() };
        let Some(rest) = self.bytes.get(start..) else { return String::new() };
        let Some(length) = rest.get(8..16).and_then(|b| b.first_chunk()).map(|b| u64::from_le_bytes(*b))
        else {
            return String::new();
        };
        // Names, units and remarks are short; a damaged length must not fetch the whole file.
        let end = usize::try_from(length).unwrap_or(usize::MAX).clamp(HEADER, HEADER + 65_536);
        let body = rest.get(HEADER..end).or(rest.get(HEADER..)).unwrap_or(&[]);
        let body = body.split(|b| *b == 0).next().unwrap_or(&[]);
        let text = String::from_utf8_lossy(body.get(..body.len().min(65_536)).unwrap_or(body)).into_owned();
        match rest.get(..4) {
            Some(b"##TX") => text.trim().to_owned(),
            Some(b"##MD") => {
                let inner = text.split_once("<TX").and_then(|(_, t)| t.split_once('>'));
                inner.and_then(|(_, t)| t.split_once("</TX")).map_or("", |(t, _)| t.trim()).to_owned()
            }
            _ => String::new(),
        }
    }

    /// Hands out the data a link leads to, piece by piece with the place in the file: plain, packed or listed.
    pub fn data(&mut self, link: u64, visit: &mut dyn FnMut(&[u8], u64)) {
        let Some(block) = self.block(link, &[b"##DT", b"##SD", b"##DZ", b"##DL", b"##HL", b"##DV"]) else {
            return;
        };
        match self.bytes.get(link as usize + 2..link as usize + 4) {
            Some(b"DT" | b"SD") => self.hand_out(block.data, block.at + HEADER as u64, visit),
            Some(b"DZ") => self.unpack(&block, visit),
            Some(b"HL") => {
                if let Some(list) = block.link(0) {
                    self.list(list, visit);
                }
            }
            Some(b"DL") => self.list(link, visit),
            _ => self.damage(link, "data stored by columns (MDF 4.2), which is not read"),
        }
    }

    fn list(&mut self, first: u64, visit: &mut dyn FnMut(&[u8], u64)) {
        let mut next = Some(first);
        while let Some(at) = next {
            let Some(list) = self.block(at, &[b"##DL"]) else { return };
            let count = list.links.len() / 8;
            for n in 1..count {
                let Some(link) = list.link(n) else { continue };
                let Some(block) = self.block(link, &[b"##DT", b"##SD", b"##DZ"]) else { return };
                if self.bytes.get(link as usize + 2..link as usize + 4) == Some(b"DZ") {
                    self.unpack(&block, visit);
                } else {
                    self.hand_out(block.data, block.at + HEADER as u64, visit);
                }
            }
            next = list.link(0);
        }
    }

    fn hand_out(&mut self, data: &[u8], place: u64, visit: &mut dyn FnMut(&[u8], u64)) {
        let Some(left) = self.data_left.checked_sub(data.len() as u64) else {
            self.damage(place, "more data than is allowed");
            return;
        };
        self.data_left = left;
        visit(data, place);
    }

    fn unpack(&mut self, block: &Block<'_>, visit: &mut dyn FnMut(&[u8], u64)) {
        let (Some(method), Some(column), Some(due), Some(packed)) =
            (block.u8(2), block.u32(4), block.u64(8), block.data.get(24..))
        else {
            self.findings.cut = true;
            return;
        };
        let mut out = Vec::new();
        let mut stream = Decompress::new(true);
        let mut whole = false;
        // No deflate stream grows more than about a thousandfold; the rest is bounded by what may be handed out.
        let most = due.min(self.data_left.saturating_add(1));
        while (out.len() as u64) < most {
            let before = (stream.total_in(), out.len());
            out.reserve((1usize << 17).min((most - out.len() as u64) as usize).max(1));
            let input = packed.get(stream.total_in() as usize..).unwrap_or(&[]);
            match stream.decompress_vec(input, &mut out, FlushDecompress::None) {
                Ok(Status::StreamEnd) => {
                    whole = true;
                    break;
                }
                Ok(_) if (stream.total_in(), out.len()) == before => break,
                Ok(_) => {}
                Err(error) => {
                    self.damage(block.at, &format!("packed data are damaged ({error})"));
                    break;
                }
            }
        }
        whole |= out.len() as u64 >= due;
        match method {
            0 => self.hand_out(&out, block.at, visit),
            1 if !whole => self.findings.cut = true,
            1 => {
                let turned = turned(&out, column as usize);
                self.hand_out(&turned, block.at, visit);
            }
            other => self.damage(block.at, &format!("data packed by method {other}, which is not known")),
        }
    }
}

/// Undoes the turning of rows and columns before packing.
fn turned(bytes: &[u8], columns: usize) -> Vec<u8> {
    let rows = bytes.len().checked_div(columns).unwrap_or(0);
    let (table, rest) = bytes.split_at_checked(rows * columns).unwrap_or((bytes, &[]));
    if rows == 0 {
        return bytes.to_vec();
    }
    let mut out = vec![0u8; table.len()];
    // A few rows at a time, so that what is written stays in the nearest cache.
    const ROWS: usize = 64;
    for (block, part) in out.chunks_mut(columns * ROWS).enumerate() {
        for (column, values) in table.chunks_exact(rows).enumerate() {
            let values = values.get(block * ROWS..).unwrap_or(&[]);
            for (row, value) in part.chunks_exact_mut(columns).zip(values) {
                if let Some(slot) = row.get_mut(column) {
                    *slot = *value;
                }
            }
        }
    }
    out.extend_from_slice(rest);
    out
}
