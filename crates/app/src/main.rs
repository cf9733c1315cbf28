//! The `sootwright` command.
fn main() {}
