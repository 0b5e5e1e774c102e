//! Waits: who waits for what, when a run does not come to its end.
//! Owns: nothing.   Gives: words for a person who looks into it.
//! May use: world.   Never: judges.

use crate::world::World;
use gantline_protocol::state::StepState;
use std::fmt::Write;

/// Of any list so many are shown.
const FEW: usize = 4;
/// Presses shown at the end of the list.
const NEWEST: usize = 25;

/// Each device with its call, what it asks of its person, and what the open steps miss; then the newest presses.
#[must_use]
pub(super) fn who_waits(world: &World) -> String {
    let mut text = String::new();
    for device in 0..world.devices.len() {
        let Some(engine) = world.engine(device) else {
            continue;
        };
        let status = engine.status(world.clock(device));
        let person = status.person.as_ref().map_or("nobody", |p| p.as_str());
        let hostile = if world.is_hostile(device) {
            ", hostile"
        } else {
            ""
        };
        let _ = writeln!(
            text,
            "device {device} ({person}{hostile}): {:?} {:?}, {} entries",
            status.call.word,
            status.call.reasons.iter().take(FEW).collect::<Vec<_>>(),
            status.entries
        );
        if !status.asked.is_empty() {
            let asked: Vec<_> = status.asked.iter().take(FEW).collect();
            let _ = writeln!(text, "  asked: {asked:?}");
        }
        for stop in status.stops.iter().take(FEW) {
            let _ = writeln!(
                text,
                "  stop {} by {:?}: owed {:?}",
                stop.kind, stop.by, stop.owed
            );
        }
        for proposal in status.proposals.iter().take(FEW) {
            let _ = writeln!(text, "  proposal {proposal:?}");
        }
        for step in status
            .steps
            .iter()
            .filter(|step| matches!(step.state, StepState::Open | StepState::Conflict))
        {
            for check in step.checks.iter().filter(|check| !check.done) {
                let _ = writeln!(
                    text,
                    "  step {} check {}: {:?}, waits for {:?}",
                    step.id, check.id, check.missing, check.waits_for
                );
            }
        }
    }
    // The newest first, each kind once: who is refused the same for an hour would fill the list.
    let mut told = std::collections::BTreeSet::new();
    for (device, command, outcome) in world.outcomes.iter().rev() {
        let mut words = format!("{device} pressed {command:?}");
        if told.len() < NEWEST && told.insert(words.clone()) {
            let _ = write!(words, ": {outcome:?}");
            let _ = writeln!(text, "  {words:.300}");
        }
    }
    let faults = world.faults.iter().rev().take(5);
    for fault in faults {
        let _ = writeln!(text, "  fault {fault:.200}");
    }
    text
}
