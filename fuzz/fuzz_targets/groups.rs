//! J1939: transport sessions and parameter groups.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| fuzz::groups(data));
