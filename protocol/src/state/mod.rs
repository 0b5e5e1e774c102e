//! State: entries to what a person may be told.
//! In reading order: `status` the values · `local` what only this device knows.

mod local;
mod status;

pub use local::Local;
pub use status::*;
