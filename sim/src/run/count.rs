//! Count: how often each fault, each wild act and each reason of a refusal occurred.
//! Owns: counters.   Gives: `Counts`, and what must not be zero over many runs.
//! May use: world.   Never: whether something was broken.

use crate::people::Wild;
use crate::world::{MISCHIEFS, World};
use std::collections::BTreeMap;

/// Every kind of fault in a script, as `script::What::name` has it.
const FAULTS: &[&str] = &[
    "air",
    "cut",
    "cut_one_way",
    "partition",
    "restart",
    "new_boot",
    "dead",
    "slow_disk",
    "failing_write",
    "full_disk",
    "old_image",
    "drift",
    "wall_step",
    "suspend",
    "stall",
    "page_frozen",
    "page_cut",
    "page_closed",
    "stranger_stop",
    "random_bytes",
    "hostile",
];

/// Every reason for which a press is refused, or recorded without counting, by its code. Not here: `needs_version`
/// (every device of a run has the same version), `late` and `taken_back` (what an entry is worth once others are in
/// the log beside it, which answers no press), `suspended` (a call says it, no answer does) and `proxy` (nothing in
/// the protocol gives it).
const REFUSED: &[&str] = &[
    "closed",
    "conflict",
    "disk_failed",
    "duplicate",
    "exclusive",
    "fork",
    "hold_active",
    "identity_mismatch",
    "incomplete",
    "missing_handoff",
    "needs_second",
    "no_contact",
    "not_accounted",
    "not_briefed",
    "not_enrolled",
    "not_safe_state",
    "not_unlocked",
    "not_yours",
    "out_of_limit",
    "relief_incomplete",
    "stale",
    "stop_active",
    "tool_not_fit",
    "wrong_answer_form",
    "wrong_role",
];

/// How often what occurred.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Counts {
    /// Faults and wild acts that took effect, by name.
    pub faults: BTreeMap<&'static str, u64>,
    /// Refusals, by the reason's code.
    pub refused: BTreeMap<&'static str, u64>,
    /// What was recorded and does not count, by the reason's code.
    pub noted: BTreeMap<&'static str, u64>,
}

impl Counts {
    /// One more, or several.
    pub(super) fn add(&mut self, name: &'static str, count: u64) {
        if count > 0 {
            *self.faults.entry(name).or_default() += count;
        }
    }

    /// Adds those of another run.
    pub fn merge(&mut self, other: &Self) {
        for (name, count) in &other.faults {
            *self.faults.entry(name).or_default() += count;
        }
        for (name, count) in &other.refused {
            *self.refused.entry(name).or_default() += count;
        }
        for (name, count) in &other.noted {
            *self.noted.entry(name).or_default() += count;
        }
    }

    /// What is counted by looking: devices that hear each other through a third only.
    pub(super) fn sample(&mut self, world: &World) {
        for device in 0..world.devices.len() {
            let Some(engine) = world.engine(device) else {
                continue;
            };
            let roster = engine.job().roster();
            let limit = engine.job().plan().times.watch_limit_ms;
            for other in 0..world.devices.len() {
                let key = world.devices[other].id;
                if other == device || world.linked(device, other) || !roster.present(&key) {
                    continue;
                }
                let now = world.clock(device).tick;
                let relayed = engine
                    .proved_at(&key)
                    .is_some_and(|at| now.since(at) <= limit / 2);
                self.add("relayed_by_a_third", u64::from(relayed));
            }
        }
    }

    /// What the world has counted itself.
    pub(super) fn refusals(&mut self, world: &World) {
        for (reason, count) in &world.refusals {
            *self.refused.entry(reason).or_default() += count;
        }
        for (reason, count) in &world.noted {
            *self.noted.entry(reason).or_default() += count;
        }
        for (name, count) in &world.mischiefs {
            self.add(name, *count);
        }
        self.add("lost", world.radio.lost);
        self.add("lost_in_a_burst", world.radio.lost_in_bursts);
        self.add("repeated", world.radio.repeated);
        self.add("out_of_order", world.radio.overtaken);
    }
}

/// Faults that have no event of their own in a script.
const COUNTED: &[&str] = &[
    "lost",
    "lost_in_a_burst",
    "repeated",
    "out_of_order",
    "relayed_by_a_third",
    "power_lost_while_writing",
    "held_against_the_reference",
];

/// What did not occur at all and should have, over many runs.
#[must_use]
pub fn never_seen(counts: &Counts) -> Vec<&'static str> {
    let faults = FAULTS.iter().chain(COUNTED).copied().chain(MISCHIEFS);
    let missing = faults
        .filter(|name| !counts.faults.contains_key(name))
        .chain(never_done(counts));
    let refused = REFUSED.iter().copied();
    missing
        .chain(
            refused.filter(|name| {
                !counts.refused.contains_key(name) && !counts.noted.contains_key(name)
            }),
        )
        .collect()
}

/// What no person has done unasked in a sum of runs.
#[must_use]
pub fn never_done(counts: &Counts) -> Vec<&'static str> {
    let wild = Wild::ALL.iter().map(|wild| wild.name());
    wild.filter(|name| !counts.faults.contains_key(name))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whatever_never_occurred_is_named_and_only_that() {
        let all = never_seen(&Counts::default());
        let mut counts = Counts::default();
        for name in &all {
            counts.faults.insert(name, 1);
            counts.refused.insert(name, 1);
        }
        assert_eq!(never_seen(&counts), [""; 0]);
        counts.faults.remove("partition");
        counts.refused.remove("stale");
        // What is recorded and does not count has its reason too.
        counts.refused.remove("wrong_role");
        counts.noted.insert("wrong_role", 1);
        assert_eq!(never_seen(&counts), ["partition", "stale"]);
    }
}
