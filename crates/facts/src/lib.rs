//! The words of the trade as types, and the loaders of case files and knowledge.
//!
//! A [`case::Case`] is everything we are told about one car: constants of the car, its filter and its
//! reservoir, and dated rows (readings, history, observations, recordings). Nothing here computes
//! beyond reading and checking; a fact that was not given is `None` and stays so.
//!
//! [`load::load_case`] reads a case file and reports every fault with its place; [`life::ordered`] puts
//! its rows in order; [`schema::case_schema`] states the format for other programs;
//! [`knowledge::Knowledge`] holds what is known about faults and observations.

pub mod case;
mod check;
pub mod fault;
pub mod finding;
pub mod inspection;
pub mod knowledge;
pub mod life;
pub mod limits;
pub mod load;
pub mod moment;
pub mod schema;
pub mod unit;
pub mod visits;
mod walk;

pub use case::Case;
pub use fault::FaultId;
pub use knowledge::Knowledge;
pub use load::load_case;
pub use moment::Moment;
