//! The people's side: procedures as data, the plan of work, options side by side, the quote.
//!
//! Pure: procedures, settings and fault sets come in as values. Sentences of steps are data of the
//! procedures; everything else that a person reads is worded by the program.

pub mod options;
pub mod plan;
pub mod procedure;
pub mod quote;

pub use options::{Choice, choices};
pub use plan::{Plan, plan, timetable};
pub use procedure::{Procedures, Step};
pub use quote::{Quote, Settings, quote};
