//! Message descriptions, used on frames of their own.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| fuzz::described(data));
