//! Physics of a wall-flow particulate filter: gas, geometry, deposits, pressure drop, soot oxidation, ash.

pub mod ash;
mod banded;
pub mod channel;
pub mod deposits;
pub mod error;
pub mod gas;
pub mod geometry;
mod integrate;
pub mod limits;
pub mod media;
pub mod oxidation;
pub mod pressure;
pub mod regeneration;

pub use deposits::{Deposits, Layers};
pub use error::{Error, Note};
pub use gas::{FlowState, Gas};
pub use geometry::{Cells, Geometry};
pub use media::{Material, Media};
pub use pressure::{Density, Ends, Filter, PressureDrop, Viscous};
