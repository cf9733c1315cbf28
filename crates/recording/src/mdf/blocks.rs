//! The block graph of an MDF 4 file. Layout as asammdf 8.8.28 reads it; the standard's text was not at hand.
//!
//! Nothing in a file is trusted: links may point anywhere, lengths may be anything, chains may be circles. The number of
//! blocks visited and the bytes of data handed out are bounded by what the file can honestly hold.

use super::turned::Turned;
use crate::binary::{End, Inflater, u16_at, u32_at, u64_at};

const TOO_MUCH: &str = "more data than is allowed";

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
        u64_at(self.links, 8 * n).filter(|l| *l != 0)
    }

    pub fn u8(&self, at: usize) -> Option<u8> {
        self.data.get(at).copied()
    }
    pub fn u16(&self, at: usize) -> Option<u16> {
        u16_at(self.data, at)
    }
    pub fn u32(&self, at: usize) -> Option<u32> {
        u32_at(self.data, at)
    }
    pub fn u64(&self, at: usize) -> Option<u64> {
        u64_at(self.data, at)
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

/// Data as they lie in a file.
#[derive(Clone, Copy)]
pub(super) enum Form<'a> {
    /// One record after the other, in the file itself.
    Plain(&'a [u8]),
    /// The same, unpacked.
    Unpacked(&'a [u8]),
    /// Unpacked, stored by columns.
    Turned(Turned<'a>),
}

/// A piece of data, where it stands in the file and how many bytes it takes there.
#[derive(Clone, Copy)]
pub(super) struct Piece<'a> {
    pub form: Form<'a>,
    pub place: u64,
    pub stored: usize,
}

impl Piece<'_> {
    /// Adds the bytes, one record after the other.
    pub fn append_to(&self, all: &mut Vec<u8>) {
        match self.form {
            Form::Plain(bytes) | Form::Unpacked(bytes) => all.extend_from_slice(bytes),
            Form::Turned(turned) => all.append(&mut turned.back()),
        }
    }
}

pub(super) struct File<'a> {
    pub bytes: &'a [u8],
    /// Written without its last corrections, as after a power loss.
    pub unfinished: bool,
    blocks_left: usize,
    data_left: u64,
    inflater: Inflater,
    pub findings: Findings,
}

impl<'a> File<'a> {
    pub fn new(bytes: &'a [u8], most_data: u64) -> Self {
        File {
            bytes,
            unfinished: bytes.starts_with(b"UnFinMF"),
            blocks_left: bytes.len() / HEADER + 16,
            data_left: most_data,
            inflater: Inflater::new(),
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
        let [a, b, c, d, ..] = *header;
        let mark = [a, b, c, d];
        if !marks.iter().any(|m| **m == mark) {
            let wanted = marks.first().map_or("##", |m| std::str::from_utf8(*m).unwrap_or("##"));
            self.damage(at, &format!("no block {wanted} where one is due"));
            return None;
        }
        let length = u64_at(header, 8).unwrap_or(0);
        let links = u32_at(header, 16).unwrap_or(0) as usize;
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
        let Some(length) = u64_at(rest, 8) else { return String::new() };
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

    /// Hands out the data a link leads to, piece by piece: plain, packed or listed.
    pub fn data(&mut self, link: u64, visit: &mut dyn FnMut(Piece<'_>)) {
        let Some(block) = self.block(link, &[b"##DT", b"##SD", b"##DZ", b"##DL", b"##HL", b"##DV"]) else {
            return;
        };
        match self.bytes.get(link as usize + 2..link as usize + 4) {
            Some(b"HL") => {
                if let Some(list) = block.link(0) {
                    self.list(list, visit);
                }
            }
            Some(b"DL") => self.list(link, visit),
            Some(b"DV") => self.damage(link, "data stored by columns (MDF 4.2), which is not read"),
            _ => self.data_block(&block, visit),
        }
    }

    fn list(&mut self, first: u64, visit: &mut dyn FnMut(Piece<'_>)) {
        let mut next = Some(first);
        while let Some(at) = next {
            let Some(list) = self.block(at, &[b"##DL"]) else { return };
            let count = list.links.len() / 8;
            for n in 1..count {
                let Some(link) = list.link(n) else { continue };
                let Some(block) = self.block(link, &[b"##DT", b"##SD", b"##DZ"]) else { return };
                self.data_block(&block, visit);
            }
            next = list.link(0);
        }
    }

    fn data_block(&mut self, block: &Block<'_>, visit: &mut dyn FnMut(Piece<'_>)) {
        let at = block.at as usize;
        if self.bytes.get(at + 2..at + 4) == Some(b"DZ") {
            self.unpack(block, visit);
            return;
        }
        let (stored, place) = (block.data.len(), block.at + HEADER as u64);
        match self.data_left.checked_sub(stored as u64) {
            Some(left) => {
                self.data_left = left;
                visit(Piece { form: Form::Plain(block.data), place, stored });
            }
            None => self.damage(place, TOO_MUCH),
        }
    }

    fn unpack(&mut self, block: &Block<'_>, visit: &mut dyn FnMut(Piece<'_>)) {
        let (Some(method), Some(columns), Some(due), Some(packed)) =
            (block.u8(2), block.u32(4), block.u64(8), block.data.get(24..))
        else {
            self.findings.cut = true;
            return;
        };
        if method > 1 {
            self.damage(block.at, &format!("data packed by method {method}, which is not known"));
            return;
        }
        let mut all = Vec::new();
        let mut made = 0;
        let stored = packed.len();
        let mut hand_out = |bytes: &[u8]| {
            let whole = made == 0 && bytes.len() as u64 == due;
            made += bytes.len() as u64;
            // What was turned has a meaning only as a whole.
            if method == 1 && !whole {
                all.extend_from_slice(bytes);
                return;
            }
            let form = match method {
                0 => Form::Unpacked(bytes),
                _ => Form::Turned(Turned::new(bytes, columns as usize)),
            };
            visit(Piece { form, place: block.at, stored: if whole { stored } else { 0 } });
        };
        let end = self.inflater.unpack(packed, due, due.min(self.data_left), &mut hand_out);
        let too_much = end == End::Full && made >= self.data_left && made < due;
        self.data_left -= made.min(self.data_left);
        if let End::Damaged(error) = &end {
            self.damage(block.at, &format!("packed data are damaged ({error})"));
        }
        if too_much {
            self.damage(block.at, TOO_MUCH);
        } else if method == 1 && (end == End::Whole || made >= due) && !all.is_empty() {
            let turned = Turned::new(&all, columns as usize);
            visit(Piece { form: Form::Turned(turned), place: block.at, stored });
        } else if end == End::Short || method == 1 && !all.is_empty() {
            self.findings.cut = true;
        }
    }
}
