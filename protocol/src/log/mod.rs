//! Log: the signed, append-only hash graph of entries.
//! In reading order: `entry` the values · `wire` bytes · `sign` whose they are · `graph` what came before what.

pub mod entry;
pub mod graph;
pub mod sign;
pub mod wire;
