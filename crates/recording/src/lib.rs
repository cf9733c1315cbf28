//! Bytes to signals: reads recordings of vehicle-bus traffic and exported tables, and hands out named time
//! series with units, trouble codes, the vehicle identification number, notes and problems.
//!
//! ```
//! use recording::{Options, Quantity, read_bytes};
//!
//! let log = b"(0.0) can0 7E0#02017A5555555555\n\
//!             (0.1) can0 7E8#1009417A01001900\n\
//!             (0.2) can0 7E8#2100000055555555\n";
//! let recording = read_bytes("drive.log", log, &Options::default());
//! for problem in &recording.problems {
//!     eprintln!("{problem}");
//! }
//! let drop = recording.signal(Quantity::FilterDifferentialPressure).expect("the log holds it");
//! assert_eq!((drop.value[0], drop.quantity.unit()), (0.25, "kPa"));
//! ```
//!
//! Containers: candump text (compact and screen form), ASC, BLF, MDF 4 (bus logging and plain groups of signals), tables
//! (comma or semicolon, wide or long), each also packed with gzip or Zstandard; told by content. Protocols: OBD services
//! 01, 02, 03, 06, 07, 09, 0A on ISO-TP with 11- and 29-bit identifiers, with and without address bytes, UDS 19 and 22
//! and their OBD identifiers, J1939 with its transport. A user's own message descriptions (DBC) name further signals:
//! [`Options::descriptions`].
//!
//! Long recordings and pipes go through [`read_stream`] in flat memory; [`read_frames`] shows every frame;
//! [`quality`] tells what to trust; [`live`] is the pure part of a recorder. `examples/` holds whole programs.
//!
//! What it holds to:
//! - Reading never fails and never panics. A torn line loses that line only and is listed in
//!   [`Recording::problems`] with its place and what to do.
//! - A value that the source calls not supported, not available or in error never becomes a number.
//! - A unit is never guessed: a pressure column without a unit is a problem, not a signal.
//! - Where open sources disagree about a scale, a stated rule decides, the data check it, and a note or a
//!   problem says so.
//! - It only reads. Requests that change a vehicle are noted with time and sender when a log contains one.
//!
//! The decoders can also be used alone: [`candump`], [`isotp`], [`obd`], [`uds`], [`j1939`], [`codes`], [`vin`].
#![cfg_attr(not(test), warn(clippy::indexing_slicing, clippy::expect_used, clippy::panic))]

mod asc;
mod binary;
mod blf;
mod bus;
pub mod candump;
mod checks;
pub mod codes;
mod dbc;
mod field;
mod frame;
pub mod isotp;
pub mod j1939;
pub mod live;
mod mdf;
mod model;
pub mod obd;
pub mod quality;
mod quantity;
mod read;
mod table;
mod text;
pub mod uds;
mod unpack;
pub mod vin;

pub use field::Decoded;
pub use frame::{Direction, Frame, FrameKind};
pub use model::{
    CodeMemory, Counts, Error, Format, Identifier, NamedSignal, Note, NoteKind, Options, Problem, Recording,
    Service, Signal, TroubleCode,
};
pub use quantity::Quantity;
pub use read::{Piece, read_bytes, read_frames, read_path, read_stream};
