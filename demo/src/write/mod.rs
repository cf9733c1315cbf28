//! Recordings as files: bus traffic as text, exported columns.

pub mod candump;
pub mod columns;
pub mod j1939;
pub mod obd;

use std::io::Write as _;

/// The bytes gzip-compressed, without name or time, so that the same content gives the same file.
///
/// # Errors
/// Never in practice; the error of the compressor is passed on.
pub fn gzip(bytes: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes)?;
    encoder.finish()
}
