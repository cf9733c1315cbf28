//! Where the open recordings lie: beside the checkout, never inside it (their licences are their own).

use std::path::{Path, PathBuf};

/// Names of the recordings in candump text.
pub const CANDUMP: [&str; 6] = [
    "container-400.log",
    "isotp-multiframe.log",
    "j1939-tp-reagent.log",
    "obd-drive-responses.log",
    "obd-request-response.log",
    "truck-j1939-idle.log",
];

/// The folder `data/bus`, or the reason why a test that needs it is skipped.
///
/// It is looked for in `../shared` beside the repository root, or where `SOOTWRIGHT_SHARED` points.
///
/// # Errors
/// A sentence to print when the folder is absent.
///
/// # Panics
/// When it is absent although `SOOTWRIGHT_REQUIRE_SHARED=1` says that it must be there.
pub fn folder() -> Result<PathBuf, String> {
    let shared = std::env::var_os("SOOTWRIGHT_SHARED")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared"), PathBuf::from);
    let bus = shared.join("data/bus");
    if bus.is_dir() {
        return Ok(bus);
    }
    let required = std::env::var("SOOTWRIGHT_REQUIRE_SHARED").is_ok_and(|v| v == "1");
    assert!(!required, "{} is missing and SOOTWRIGHT_REQUIRE_SHARED=1", bus.display());
    Err(format!("skipped: the open recordings are not beside the checkout ({} is missing)", bus.display()))
}
