//! candump text: lines, transport, services, parameter groups.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| fuzz::whole(b"(1.0) can0 123#00\n", data));
