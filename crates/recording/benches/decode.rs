//! Placeholder replaced below.
fn main() {}
