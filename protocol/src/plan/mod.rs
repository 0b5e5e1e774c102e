//! Plan: the job as planned, read from its file and proved over every order of its steps.
//! In reading order: `types` the values · `parse` from TOML · `check` cross references · `explore` proof
//! of the `never` rules · `builtin` the plans that ship.

mod types;

pub use types::*;
