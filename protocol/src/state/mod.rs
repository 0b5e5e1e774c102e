//! State: entries to what a person may be told.
//! In reading order: `status` the values.

mod status;

pub use status::*;
