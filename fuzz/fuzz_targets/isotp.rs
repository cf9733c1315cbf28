//! ISO-TP: any frames in any order.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| fuzz::isotp(data));
