//! Checks of the product against the outside world.
//!
//! - `python/`: scripts that compare values of the libraries (handed out by the program `values`) with
//!   published libraries; `python/run_all.py` runs them.
//! - `data/`: reference numbers made elsewhere, each file with the script or the source that made it.
//! - `tests/`: the open recordings, broken input, small batches with known truth.
//! - [`scoring`]: how good answers are where the truth is known.
//! - [`case_folder`]: a case with its recordings, and its assessment.
//! - [`calibration`]: whether the answer's intervals hold what they promise.
//! - [`lives`]: lives of several visits with known truth.
//! - [`measured`]: predictions of the measured tables.
//! - [`plot`]: pictures of the reports.
//! - [`next_step`]: how good the next step is, on drawn cars and against the exact optimum.
//! - [`open_recordings`]: where the open recordings lie.

pub mod calibration;
pub mod case_folder;
pub mod due;
pub mod lives;
pub mod measured;
pub mod next_step;
pub mod open_recordings;
pub mod plot;
pub mod scoring;
