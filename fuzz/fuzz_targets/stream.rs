//! A stream in small pieces gives what the whole gives.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| fuzz::streamed(data));
