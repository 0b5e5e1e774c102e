//! The program `gantline`.

fn main() {}
