//! Limits: the computation behind the checks, from published formulas, with source and units.
//!
//! In reading order: `units` and `error`; `approach` and `insulation` (how near, how long a stick);
//! `catalogue`, `loads`, `sag` (the conductor); `transfer` (string to poles and back); `boom` and `tackle`
//! (the rig); `wind` (when to quit); `known`, `inputs` and `sheet` (all of it for one plan). `compare` holds them against somebody else's table.
//!
//! Planning aids: local codes, the utility's rules and licensed engineers decide. Outside the range that a
//! source is valid in there is no number, only an error that says so.

pub mod approach;
pub mod boom;
pub mod catalogue;
pub mod compare;
pub mod error;
pub mod inputs;
pub mod insulation;
pub mod known;
pub mod loads;
pub mod sag;
pub mod sheet;
pub mod tackle;
pub mod transfer;
pub mod units;
pub mod wind;

pub use error::LimitError;
