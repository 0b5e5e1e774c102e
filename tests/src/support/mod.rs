//! Support: what every end-to-end test needs to run the real program and to read the real sources.
//! In reading order: `program` the built program, run with a clean environment · `node` a running device · `disk` a small one to fill · `sources` the files of the
//! workspace.

pub mod disk;
pub mod node;
pub mod program;
pub mod sources;
