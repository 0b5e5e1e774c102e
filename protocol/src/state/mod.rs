//! State: entries to what a person may be told.
//! In reading order: `status` the values · `local` what only this device knows · `digest` of a set of entries.

mod digest;
mod local;
mod status;

pub use digest::digest;
pub use local::Local;
pub use status::*;
