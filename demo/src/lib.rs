//! An invented workshop and a physically independent simulator of filters and cars.
//!
//! Every case is made from a seed: a car, a filter with its own constants, a life, a fault, a drive or a
//! workshop run, sensors, and the files a technician would have in hand, together with the truth. The
//! pressure comes from the one-dimensional solution in [`one_d`]; nothing here knows what the estimator
//! believes.

pub mod batch;
pub mod cycle;
pub mod draw;
pub mod faults;
pub mod filter_truth;
pub mod gas;
pub mod habits;
pub mod histories;
pub mod ledgers;
pub mod life;
pub mod lives;
pub mod observed;
pub mod one_d;
pub mod ordered;
pub mod readme;
pub mod sensors;
pub mod vehicle;
pub mod workshop;
pub mod write;

pub use batch::{GeneratedCase, Truth, batch};
pub use readme::readme_case;
