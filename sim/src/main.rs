//! The `bandward` program.
fn main() {}
