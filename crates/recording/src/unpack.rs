//! Packed input: gzip and Zstandard, told by their first bytes.

use crate::model::{CutEnd, Options, Problems};
use std::borrow::Cow;
use std::io::{self, BufRead, Read};

/// Where packed data come from, packed or not.
pub(crate) enum Source<R: BufRead> {
    Plain(R),
    Gzip(Box<flate2::bufread::MultiGzDecoder<R>>),
    Zstd(Box<Frames<R>>),
}

impl<R: BufRead> Source<R> {
    /// Looks at the first bytes.
    pub(crate) fn new(mut from: R) -> io::Result<Self> {
        let head = from.fill_buf()?;
        Ok(match head {
            [0x1F, 0x8B, ..] => Source::Gzip(Box::new(flate2::bufread::MultiGzDecoder::new(from))),
            [0x28, 0xB5, 0x2F, 0xFD, ..] => Source::Zstd(Box::new(Frames { state: State::Between(from) })),
            _ => Source::Plain(from),
        })
    }

    /// `gzip`, `Zstandard`, or nothing for what is not packed.
    pub(crate) fn packing(&self) -> Option<&'static str> {
        match self {
            Source::Plain(_) => None,
            Source::Gzip(_) => Some("gzip"),
            Source::Zstd(_) => Some("Zstandard"),
        }
    }
}

impl<R: BufRead> Read for Source<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match self {
            Source::Plain(from) => from.read(into),
            Source::Gzip(from) => from.read(into),
            Source::Zstd(from) => from.read(into),
        }
    }
}

/// Zstandard frames one after the other.
pub(crate) struct Frames<R: BufRead> {
    state: State<R>,
}

enum State<R: BufRead> {
    Between(R),
    Inside(Box<ruzstd::decoding::StreamingDecoder<R, ruzstd::decoding::FrameDecoder>>),
    Done,
}

impl<R: BufRead> Read for Frames<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if into.is_empty() {
            return Ok(0);
        }
        loop {
            match std::mem::replace(&mut self.state, State::Done) {
                State::Done => return Ok(0),
                State::Between(mut from) => {
                    if from.fill_buf()?.is_empty() {
                        return Ok(0);
                    }
                    let inside = ruzstd::decoding::StreamingDecoder::new(from).map_err(damaged)?;
                    self.state = State::Inside(Box::new(inside));
                }
                State::Inside(mut inside) => {
                    let n = inside.read(into)?;
                    if n > 0 {
                        self.state = State::Inside(inside);
                        return Ok(n);
                    }
                    self.state = State::Between(inside.into_inner());
                }
            }
        }
    }
}

fn damaged(error: ruzstd::decoding::errors::FrameDecoderError) -> io::Error {
    let text = error.to_string();
    // Its errors hold no kind; an input that is too short says so in words.
    let kind = if text.contains("fill whole buffer") {
        io::ErrorKind::UnexpectedEof
    } else {
        io::ErrorKind::InvalidData
    };
    io::Error::new(kind, text)
}

/// True if an error of unpacking means that the input ends too early.
pub(crate) fn ends_early(error: &io::Error) -> bool {
    error.kind() == io::ErrorKind::UnexpectedEof || error.to_string().contains("fill whole buffer")
}

/// Says how unpacking went wrong after `made` bytes.
pub(crate) fn report(packing: &str, error: &io::Error, made: u64, problems: &mut Problems, cut: &mut CutEnd) {
    if ends_early(error) {
        cut.what.push(format!("the {packing} stream ends early"));
        cut.byte = Some(made);
    } else {
        problems.add(
            None,
            Some(made),
            || format!("the {packing} stream is damaged here ({error})"),
            "what was unpacked before it was read; copy the file again",
        );
    }
}

pub(crate) fn too_large(problems: &mut Problems, made: u64) {
    problems.add(
        None,
        Some(made),
        || "the unpacked content is larger than allowed".to_owned(),
        "raise the limit or split the recording",
    );
}

/// Unpacks what lies in memory.
pub(crate) fn unpack<'a>(
    bytes: &'a [u8],
    options: &Options,
    problems: &mut Problems,
    cut: &mut CutEnd,
) -> Cow<'a, [u8]> {
    // Reading from a slice cannot fail.
    let Ok(source) = Source::new(bytes) else { return Cow::Borrowed(bytes) };
    let Some(packing) = source.packing() else { return Cow::Borrowed(bytes) };
    let mut content = Vec::new();
    // One byte more than allowed tells that there is more.
    let mut limited = source.take(options.max_unpacked_bytes.saturating_add(1));
    if let Err(error) = limited.read_to_end(&mut content) {
        report(packing, &error, content.len() as u64, problems, cut);
    }
    if content.len() as u64 > options.max_unpacked_bytes {
        content.truncate(options.max_unpacked_bytes as usize);
        too_large(problems, content.len() as u64);
    }
    Cow::Owned(content)
}
