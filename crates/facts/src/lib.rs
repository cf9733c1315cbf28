//! The words of the trade as types, and the loaders of case files and knowledge.
//!
//! A [`case::Case`] is everything we are told about one car: constants of the car, its filter and its
//! reservoir, and dated rows (readings, history, observations, recordings). Nothing here computes
//! beyond reading and checking; a fact that was not given is `None` and stays so.

pub mod case;
pub mod fault;
pub mod moment;

pub use case::Case;
pub use fault::FaultId;
pub use moment::Moment;
