//! Plan: the job as planned, read from its file and proved over every order of its steps.
//! In reading order: `types` the values · `parse` from TOML · `compute` its limits · `check` does it hang together · `explore`
//! proof of the `never` rules · `show` as text · `builtin` the plans that ship.

mod builtin;
mod check;
mod compute;
mod explore;
mod parse;
mod show;
mod types;

pub use builtin::{Builtin, SMALL, builtin};
pub use check::{Finding, Grade, Problem, check, errors};
pub use compute::{inputs, limit_sheet};
pub use explore::{Proof, STATES_MAX, Unproved, explore};
pub use parse::{FILE_MAX_BYTES, Fault, FaultKind, Faults, Parsed, Spot, parse, read};
pub use show::{briefing_sheet, condition_line, show, stop_seconds};
pub use types::*;
