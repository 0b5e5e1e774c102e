//! Gate: does this acknowledgement count, and which step is open? A pure function of the set of entries.
//! Owns: the entries of a job.   Gives: `Job`.
//! May use: log, plan, facts, ids, reason.   Never: a clock, bytes, the network, this device's own watch.
//!
//! In reading order: `roster` who is who · `plans` the plan as amended · `forks` · `succession` who is
//! supervisor · `standing` which administrative entries are in effect · `office` what each is by its own
//! past · `views` one answer for each distinct cut · `job` the log with all of this.

#![allow(
    dead_code,
    reason = "the counting, which reads the rest of this, follows"
)]

mod bits;
mod forks;
mod job;
mod office;
mod plans;
pub mod roster;
mod standing;
mod succession;
mod views;

pub use job::{Job, NotAJob};
pub use roster::{Member, Roster};

use crate::log::entry::{Body, Found};
use crate::log::graph::{EntryIx, Graph};

/// The founding entry's body; every graph in this room starts with one.
fn founding(graph: &Graph) -> &Found {
    match graph.body(EntryIx(0)) {
        Body::Found(found) => found,
        _ => unreachable!("a job's graph starts with its founding entry"),
    }
}
