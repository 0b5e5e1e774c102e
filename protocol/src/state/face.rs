//! Face: one value that is equal for two statuses exactly if they ask the holder the same in the same situation.
//! Owns: nothing.   Gives: `face`.
//! May use: the status.   Never: ages and counts, which go on while a finger is on the glass.
//!
//! A press takes time. The node compares what the finger saw with what is so when it lets go, and takes no
//! confirmation of something that has changed meanwhile.

use super::{AskedOf, CallWord, Status, StepState};
use crate::ids::{ConditionId, EntryHash, HandoffId, ItemId, JobId, StepId};
use crate::plan::Place;
use serde::Serialize;

/// What the hash is for, as BLAKE3's key derivation asks.
const CONTEXT: &str = "gantline 2026-11-25 face of a status, version 1";

/// What a person decides by.
#[derive(Serialize)]
struct Face<'a> {
    job: &'a JobId,
    word: CallWord,
    step: &'a Option<StepId>,
    plan_version: u32,
    briefed: bool,
    asked: &'a [AskedOf],
    steps: Vec<(&'a StepId, StepState)>,
    /// The checks of steps that can be worked on: whether done, and by which entries.
    given: Vec<(bool, Vec<EntryHash>)>,
    /// Stops with their asks.
    stops: Vec<(EntryHash, Option<EntryHash>)>,
    conditions: Vec<(&'a ConditionId, bool)>,
    handoffs: Vec<(&'a HandoffId, bool, bool)>,
    items: Vec<(&'a ItemId, Place)>,
}

/// The face of a status.
#[must_use]
pub fn face(status: &Status) -> EntryHash {
    let open = |state: StepState| matches!(state, StepState::Open | StepState::Conflict);
    let face = Face {
        job: &status.job,
        word: status.call.word,
        step: &status.call.step,
        plan_version: status.plan_version,
        briefed: status.briefed,
        asked: &status.asked,
        steps: status
            .steps
            .iter()
            .map(|step| (&step.id, step.state))
            .collect(),
        given: status
            .steps
            .iter()
            .filter(|step| open(step.state))
            .flat_map(|step| &step.checks)
            .map(|check| {
                let entries = check.given.iter().map(|given| given.entry);
                (check.done, entries.collect())
            })
            .collect(),
        stops: status
            .stops
            .iter()
            .map(|stop| (stop.entry, stop.ask))
            .collect(),
        conditions: status
            .conditions
            .iter()
            .map(|condition| (&condition.id, condition.good))
            .collect(),
        handoffs: status
            .handoffs
            .iter()
            .map(|one| (&one.handoff, one.ready.is_some(), one.taken))
            .collect(),
        items: status
            .items
            .iter()
            .map(|item| (&item.id, item.at))
            .collect(),
    };
    let mut hasher = blake3::Hasher::new_derive_key(CONTEXT);
    // All of it is plain values, which the encoding always takes; were it not so, the empty bytes would
    // equal no face that was shown before.
    hasher.update(&postcard::to_stdvec(&face).unwrap_or_default());
    EntryHash(*hasher.finalize().as_bytes())
}
