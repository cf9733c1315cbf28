//! Physics and chemistry of workshop fluids: identity, dose, blends, oxide ash, gravity transfer.
//!
//! The crate stands alone and is pure: no files, no clock, no randomness. Data come in as text or values, and every
//! answer is a value. Quantities carry the trade's unit in the name; where a name carries none they are SI.
//!
//! | to know | ask |
//! |---|---|
//! | which fluid this is, and whether it may be poured | [`identify`], over the data of [`fluid`] |
//! | how much of it the fuel needs, how far it lasts, how much ash it leaves | [`dose`] |
//! | how long a fill takes and what would make it faster | [`transfer`] |
//! | how the fill is going | [`live`] |
//! | what to enter afterwards, and which slip was made | [`entry`] |
//! | what now, when the wrong fluid is in | [`mixup`] |
//! | when to order how much, which container first, who got which lot | [`stock`] |
//! | how much fuel is in the engine oil | [`oil`] |
//!
//! Sentences come as keys and arguments ([`message`]); the English ones lie in `locales/en.ftl`.
//!
//! ```
//! use additive::dose::{Metal, Strength, metal_dose_mg_per_kg, range_km, volume_dose_ml_per_l};
//!
//! // 8 mg/kg of iron from a concentrate of 40 g/L, in fuel of 835 kg/m3
//! let strength = Strength::from_g_per_l(860.0, [(Metal::Fe, 40.0)])?;
//! let v = volume_dose_ml_per_l(8.0, 835.0, strength.metal_g_per_l())?;
//! assert!((v - 0.167).abs() < 1e-9);
//!
//! // 2 L last 199 600 km at 6 L/100 km
//! assert!((range_km(2.0, 1.0, v, 6.0)? - 199_600.0).abs() < 10.0);
//!
//! // half the strength by mistake halves the metal
//! assert!((metal_dose_mg_per_kg(v, 835.0, 20.0)? - 4.0).abs() < 1e-9);
//! # Ok::<(), additive::Error>(())
//! ```

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
