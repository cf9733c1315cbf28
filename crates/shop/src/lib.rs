//! The people's side: procedures as data, the plan of work, options side by side, the quote; records and the
//! job with its interlocks.
//!
//! Pure: procedures, settings, fault sets and facts come in as values, and so do clock and chance. Where
//! records lie is the business of `store`. Sentences of steps are data of the procedures; everything else that
//! a person reads is worded by the program.

pub mod chain;
pub mod interlock;
pub mod options;
pub mod plan;
pub mod procedure;
pub mod quote;
pub mod record;
pub mod request;
pub mod timetable;
pub mod work;

pub use interlock::Interlocks;
pub use options::{Choice, choices};
pub use plan::{Plan, plan};
pub use procedure::{Procedures, Step};
pub use quote::{Quote, Settings, quote};
pub use record::{Entry, Id, Subject, What};
pub use timetable::{Timetable, timetable};
pub use work::{Job, Needs, Refusal, Rules, permit};
