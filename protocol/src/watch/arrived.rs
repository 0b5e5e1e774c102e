//! Arrived: when entries became part of the job here, so how old they are at least.
//! Owns: one tick for each batch that came.   Gives: lower bounds of ages.
//! May use: the order of arrival, time.   Never: what an entry or anybody says of its age.

use crate::log::graph::EntryIx;
use crate::time::Tick;

/// When each entry was here, on the own clock.
#[derive(Clone, Debug)]
pub struct Arrived {
    opened_at: Tick,
    /// The first entry that came at another tick than the one before it. What comes before the first of all
    /// was on the disk when this device started.
    batches: Vec<(EntryIx, Tick)>,
}

impl Arrived {
    /// Nothing has come since this device started.
    #[must_use]
    pub fn new(opened_at: Tick) -> Self {
        Self {
            opened_at,
            batches: Vec::new(),
        }
    }

    /// An entry became part of the job; called in the order of their places.
    pub fn note(&mut self, ix: EntryIx, now: Tick) {
        if self.batches.last().is_none_or(|&(_, tick)| tick != now) {
            self.batches.push((ix, now));
        }
    }

    /// When it was here at the latest: it was made before.
    #[must_use]
    pub fn at(&self, ix: EntryIx) -> Tick {
        let after = self.batches.partition_point(|&(first, _)| first <= ix);
        let batch = after.checked_sub(1).and_then(|last| self.batches.get(last));
        batch.map_or(self.opened_at, |&(_, tick)| tick)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_entry_was_here_when_its_batch_came_and_the_first_ones_from_the_start() {
        let mut arrived = Arrived::new(Tick(100));
        assert_eq!(arrived.at(EntryIx(7)), Tick(100));
        for (ix, tick) in [(3, 200), (4, 200), (5, 350), (6, 350)] {
            arrived.note(EntryIx(ix), Tick(tick));
        }
        let at = |ix| arrived.at(EntryIx(ix)).0;
        assert_eq!(
            [at(0), at(2), at(3), at(4), at(5), at(6)],
            [100, 100, 200, 200, 350, 350]
        );
    }
}
