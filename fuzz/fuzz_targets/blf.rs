//! BLF objects and containers.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| fuzz::whole(fuzz::BLF_HEADER, data));
