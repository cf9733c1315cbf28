//! Facts to posterior: summaries of recordings, priors, fault sets, balance, proof.
//!
//! Pure: case, decoded recordings and knowledge come in, an [`Assessment`](assessment::Assessment) comes
//! out; no clock, no file, no random state. The same facts in any order give the same answer.

pub mod ash;
pub mod assess;
pub mod assessment;
pub mod balance;
pub mod burns;
pub mod carried;
mod circumstances;
pub mod conditions;
pub mod dilution;
pub mod due;
mod explain;
pub mod hypothesis;
pub mod information;
mod joint;
mod kept;
pub mod learn;
pub mod life;
pub mod network;
pub mod next;
pub mod observe;
pub mod posterior;
pub mod prior;
pub mod proof;
pub mod quasi;
pub mod safety;
pub mod scenario;
pub mod shown;
pub mod signs;
pub mod summary;
mod tables;
pub mod trips;
pub mod typed;

pub use assess::{Evidence, assess, assess_with_draws};
