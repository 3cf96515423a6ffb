//! The chores of the house.
fn main() {}
