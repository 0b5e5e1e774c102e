//! Gate: does this acknowledgement count, and which step is open? A pure function of the set of entries.
//! Owns: the entries of a job.   Gives: `Job`, `Verdict`, views of stops and proposals.
//! May use: log, plan, facts, ids, reason.   Never: a clock, bytes, the network, this device's own watch.
//!
//! In reading order: who is who: `roster` · `plans` the plan as amended · `forks` · `succession` who is
//! supervisor · `standing` which administrative entries are in effect · `office` what each is by its own
//! past · `views` one answer for each distinct cut. What counts: `records` the index · `world` a set of
//! entries · `rules` each condition of counting · `stops` and their release · `done` what completes a step ·
//! `tally` the running count · `intake` what an entry means by its own past. What is asked: `job` ·
//! `verdict` · `asked`.
//!
//! Where the rules leave something open, the safer side is taken:
//! - an amendment covers, beside the steps that it names, every step that it changes and every step with a
//!   check that is judged by a limit or line that it changes, each with everything after it;
//! - a step needs as many people of each role as the plan's `least` says, or nobody's word counts;
//! - an exit plan is sealed by a release entry that names it, under the rules of a release;
//! - an answer that does not pass speaks against its check, as a `cannot confirm` does, until its author
//!   confirms; in a second look it is a conflict instead;
//! - an objection to a complete step is a stop by itself, whether or not a node also writes one;
//! - a withdrawal takes back every word of its step with everything after it, not the withdrawn check's alone;
//! - whoever takes over lays down the roles that the supervisor cannot also hold.

mod asked;
mod bits;
mod done;
mod forks;
mod intake;
mod job;
mod office;
mod plans;
#[cfg(test)]
mod random;
mod records;
#[cfg(any(test, feature = "reference"))]
pub mod reference;
mod roster;
mod rules;
mod standing;
mod stops;
mod succession;
mod tally;
#[cfg(test)]
pub(crate) mod testkit;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod tests_crew;
#[cfg(test)]
mod tests_day;
mod verdict;
mod views;
mod world;

pub use asked::{EvidenceWanted, ProposalView, StopView};
pub use job::{Job, NotAJob};
pub use roster::{Member, Roster};
pub use verdict::Verdict;

use crate::log::entry::{Body, Found};
use crate::log::graph::{EntryIx, Graph};
use crate::plan::MarkIs;

/// The founding entry's body; every graph in this room starts with one.
fn founding(graph: &Graph) -> &Found {
    match graph.body(EntryIx(0)) {
        Body::Found(found) => found,
        _ => unreachable!("a job's graph starts with its founding entry"),
    }
}

/// Marks as a job that this one continues had left them.
fn secured(graph: &Graph) -> &[MarkIs] {
    founding(graph)
        .continues
        .as_ref()
        .map_or(&[], |continues| &continues.secured)
}
