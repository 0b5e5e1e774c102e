//! Word: is what each device makes of its log what the rules say, written once more word by word?
//! Owns: which logs were looked at.   Gives: what was found broken.
//! May use: protocol::gate::reference.   Never: a rule of its own; a log of which the reference does not speak.

use super::Run;
use crate::world::Broken;
use gantline_protocol::gate::reference;
use gantline_protocol::ids::EntryHash;
use gantline_protocol::state::digest;
use std::collections::BTreeSet;

/// It takes 15 to 20 ms for sixty entries, so it is not done after each event.
const EVERY_MS: u64 = 30_000;

/// A longer log, of a crew of which one floods it with notes, is left alone: 2 s for 680 entries, minutes for more.
const ENTRIES_MAX: usize = 400;

/// What was held against the reference so far.
#[derive(Debug, Default)]
pub(super) struct Word {
    looked: BTreeSet<EntryHash>,
    next: u64,
}

impl Run<'_> {
    /// Now and then: the log of one device after the other.
    pub(super) fn word_in_passing(&mut self) {
        if self.world.now < self.word.next {
            return;
        }
        self.word.next = self.world.now + EVERY_MS;
        let turn = self.world.now / EVERY_MS % self.world.devices.len() as u64;
        self.word_of(usize::try_from(turn).unwrap_or_default());
    }

    /// The log of a device, if the reference speaks of it, it is on and this log was not looked at before.
    pub(super) fn word_of(&mut self, device: usize) {
        let Some(engine) = self.world.engine(device) else {
            return;
        };
        let job = engine.job();
        if job.graph().len() > ENTRIES_MAX
            || !reference::speaks_of(job)
            || !self.word.looked.insert(digest(job.graph()))
        {
            return;
        }
        self.counts.add("held_against_the_reference", 1);
        let differs = reference::differences(job);
        if !differs.is_empty() {
            let log: Vec<String> = reference::lines(job.graph()).collect();
            self.world.broken.push(Broken(format!(
                "reference: {} (device {device})\n{}",
                differs.join("\n"),
                log.join("\n")
            )));
        }
    }
}
