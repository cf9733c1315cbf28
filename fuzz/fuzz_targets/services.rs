//! Answers of OBD and UDS, and trouble codes.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| fuzz::services(data));
