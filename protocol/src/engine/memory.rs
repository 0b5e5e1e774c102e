//! Memory: what a hold by loss leaves behind, and what sounds.
//! Owns: since when proofs are young, since when one is lost, which alarms are on.
//! May use: bounds.   Never: the log.
//!
//! Into Hold at once; out of it only after every proof has been younger than half the limit for a while;
//! after a long loss the holder first says that things are still so.

use crate::bounds::{STEADY_MS, STILL_SO_AFTER_MS};
use crate::engine::output::Alarm;
use crate::time::Tick;
use std::collections::BTreeSet;

/// What is remembered of losses.
#[derive(Clone, Debug, Default)]
pub(super) struct LossMemory {
    /// Every present device was once in contact since this start; before that nothing was lost.
    had_all: bool,
    lost_since: Option<Tick>,
    young_since: Option<Tick>,
    pub(super) still_so_due: bool,
}

impl LossMemory {
    /// Takes in the age of the oldest proof of this moment, ms; `None`: of some device there is none.
    pub(super) fn update(&mut self, oldest_ms: Option<u64>, limit_ms: u64, now: Tick) {
        let within = |most: u64| oldest_ms.is_some_and(|age_ms| age_ms <= most);
        if within(limit_ms) {
            self.had_all = true;
        } else if self.had_all && self.lost_since.is_none() {
            self.lost_since = Some(now);
        }
        if !within(limit_ms / 2) {
            self.young_since = None;
            return;
        }
        let young_since = *self.young_since.get_or_insert(now);
        if now.since(young_since) < STEADY_MS {
            return;
        }
        if let Some(since) = self.lost_since.take() {
            // What was lost is the time until proofs were young again, not the wait after that.
            self.still_so_due |= young_since.since(since) > STILL_SO_AFTER_MS;
        }
    }

    /// Whether nothing was lost, or all has been well for long enough since.
    pub(super) fn steady(&self) -> bool {
        self.lost_since.is_none()
    }
}

/// The difference between what sounded and what is to sound now.
pub(super) fn changes(on: &BTreeSet<Alarm>, wanted: &BTreeSet<Alarm>) -> Vec<(Alarm, bool)> {
    let start = wanted.difference(on).map(|alarm| (*alarm, true));
    let end = on.difference(wanted).map(|alarm| (*alarm, false));
    start.chain(end).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn into_hold_at_once_and_out_after_two_steady_seconds() {
        let mut memory = LossMemory::default();
        memory.update(Some(100), 4_000, Tick(0));
        assert!(memory.steady());
        memory.update(Some(4_001), 4_000, Tick(5_000));
        assert!(!memory.steady());
        memory.update(Some(2_001), 4_000, Tick(6_000));
        memory.update(Some(2_000), 4_000, Tick(7_000));
        memory.update(Some(100), 4_000, Tick(8_999));
        assert!(!memory.steady());
        memory.update(Some(100), 4_000, Tick(9_000));
        assert!(memory.steady() && !memory.still_so_due);
    }

    #[test]
    fn after_a_loss_of_over_thirty_seconds_the_holder_says_still_so() {
        for (lost_for, due) in [(STILL_SO_AFTER_MS, false), (STILL_SO_AFTER_MS + 1, true)] {
            let mut memory = LossMemory::default();
            memory.update(Some(100), 4_000, Tick(0));
            memory.update(Some(4_001), 4_000, Tick(10_000));
            memory.update(Some(100), 4_000, Tick(10_000 + lost_for));
            memory.update(Some(100), 4_000, Tick(13_000 + lost_for));
            assert_eq!(memory.still_so_due, due, "{lost_for}");
        }
    }

    #[test]
    fn before_the_first_contact_nothing_is_lost() {
        let mut memory = LossMemory::default();
        memory.update(Some(9_000), 4_000, Tick(0));
        memory.update(Some(9_000), 4_000, Tick(90_000));
        memory.update(Some(10), 4_000, Tick(100_000));
        memory.update(Some(10), 4_000, Tick(103_000));
        assert!(memory.steady() && !memory.still_so_due);
    }
}
