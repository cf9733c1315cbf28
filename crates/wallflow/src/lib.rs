//! Physics of a wall-flow particulate filter: gas, geometry, deposits, pressure drop, soot oxidation, ash.
//!
//! Plain `f64` in SI units (kg/m3 of filter is the same number as g/L), no input or output, no clock, no
//! randomness. Constructors refuse values without physical meaning and say which bound was broken; a
//! value that has a meaning but lies outside the range a correlation was made for is used as given and
//! comes back as a [`Note`]. Nothing is clamped in silence.
//!
//! # A first result
//! ```
//! use wallflow::{Cells, Density, Deposits, Ends, Filter, FlowState, Gas, Geometry, Material, Media};
//! use wallflow::{geometry::round_face, pressure};
//!
//! // A 2.5 L filter, 200 cells per square inch, 12 mil wall.
//! let geometry = Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?;
//! let filter =
//!     Filter { geometry, media: Media::typical(Material::Cordierite), ends: Ends::Reference };
//! // 4 g/L of soot; 20 g/L of ash, most of it in the plug at the end.
//! let deposits = Deposits::new(4.0, 20.0, 0.8)?;
//! // 50 g/s of exhaust at 300 degC into the open.
//! let flow = FlowState::new(0.050, 573.15, 101_325.0)?;
//! let drop = pressure::closed_form(&filter, &deposits, &Gas::exhaust(), &flow, Density::Mean)?;
//! assert!(drop.soot > drop.wall && drop.total() > 3e3 && drop.total() < 8e3);
//! # Ok::<(), wallflow::Error>(())
//! ```
//!
//! # What is where
//! - [`gas`]: composition, density, viscosity, heat capacity, conductivity, mean free path, slip
//! - [`geometry`], [`deposits`], [`media`]: the filter, what lies in it, what it is made of
//! - [`pressure`]: closed form (fast, the default) and classic formula; resistances for estimators
//! - [`channel`]: full one-dimensional solution, zones and profiles
//! - [`deep_bed`]: soot inside the wall
//! - [`oxidation`], [`regeneration`]: burning, well mixed and along the axis
//! - [`ash`], [`limits`]: growth of ash; what substrates stand
//!
//! # How far to trust it
//! The form of the pressure models holds to 1-4 % against measured loading curves; constants from the
//! literature miss by 30-80 %. Every default therefore carries a [`media::Spread`]. One pressure reading
//! gives one combination of zero error, soot, ash and inertia: see the tests named `IDENT` in
//! `checks/data/physics-checks.csv`. Never tested against measurement: hot flow sweeps at several
//! temperatures on one filter, coated filters with additive ash, unequal channels, plugs of known length,
//! peaks of temperature.

pub mod ash;
mod banded;
pub mod channel;
pub mod deep_bed;
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
