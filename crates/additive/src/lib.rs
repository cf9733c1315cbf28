//! Physics and chemistry of workshop fluids: identity, dose, blends, oxide ash, gravity transfer.
//!
//! The crate stands alone and is pure: no files, no clock, no randomness. Data come in as text or values, and every
//! answer is a value. Inside, quantities are SI; at the edges they carry the trade's unit in the name.

pub mod dose;
pub mod entry;
mod error;
pub mod estimate;
pub mod fluid;
pub mod identify;
pub mod live;
pub mod message;
pub mod mixup;
pub mod oil;
pub mod reservoir;
pub mod stock;
pub mod transfer;

pub use error::{Error, Result};
pub use estimate::{Estimate, Uncertain};
pub use message::Message;
