//! MDF 4 blocks and records, behind a sound file header.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| fuzz::whole(fuzz::MDF_HEADER, data));
