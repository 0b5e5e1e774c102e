//! Cases: jobs that went wrong, or nearly, written down as what happens and what must then be so.
//! Owns: nothing.   Gives: a case read from its file, with every fault of the file named.
//! May use: the parts below.   Never: a rule of the gate.
//!
//! In reading order: `form` a file's values and what is wrong with them · `case` what a case says · `acts` and
//! `events` what happens in it · `expects` what must be so.

pub mod acts;
pub mod case;
mod events;
pub mod expects;
mod form;
mod history;
mod judge;
mod outsider;
mod plan;
mod play;
mod promise;
mod reference;
mod reread;
mod run;
mod shown;
mod stage;
mod watcher;
mod words;

pub use case::{Case, read};
pub use form::Fault;
pub use run::{CannotRun, Finding, Outcome, rough, run};
