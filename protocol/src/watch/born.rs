//! Born: before which own tick an entry cannot have been made, so how old it is at most.
//! Owns: one tick for each entry of late.   Gives: upper bounds of ages.
//! May use: ids, time.   Never: a wall clock, a stamp; the time of arrival, to make anything younger.
//!
//! Three sources, each sound by this device's clock alone:
//! - an own entry is as old as its making;
//! - when a beacon of O echoes an own beacon sent at t and says that O had made m entries, every entry of O
//!   with a number of m or more was made after t;
//! - when a beacon of O echoes an own beacon sent at t and vouches that an entry was at most a old, that
//!   entry was made after t − a, and before it arrived here.

use crate::ids::DeviceKey;
use crate::time::Tick;
use std::collections::BTreeMap;

/// Moments kept for each device; a new one each time that it has made more.
const MOMENTS_MAX: usize = 64;
/// Entries whose birth is kept.
const BIRTHS_MAX: usize = 4_096;

/// Names an entry by author and number. Branches of a fork share the older bound's doubt: an author that
/// forks is set aside anyway.
pub type Name = (DeviceKey, u32);

/// Lower bounds of the moment at which entries were made, on the own clock. A moment can lie before the
/// clock's origin, hence signed.
#[derive(Clone, Debug, Default)]
pub struct Births {
    /// For each device: it had made only so many entries after that tick.
    moments: BTreeMap<DeviceKey, BTreeMap<u32, Tick>>,
    born: BTreeMap<Name, i64>,
}

fn signed(ms: u64) -> i64 {
    i64::try_from(ms).unwrap_or(i64::MAX)
}

impl Births {
    /// An own entry was made.
    pub fn made(&mut self, name: Name, now: Tick) {
        self.not_before(name, signed(now.0));
    }

    /// A device said, after `since`, that it had made `made` entries so far.
    pub fn said(&mut self, device: &DeviceKey, made: u32, since: Tick) {
        let moments = self.moments.entry(*device).or_default();
        let at = moments.entry(made).or_insert(since);
        *at = (*at).max(since);
        while moments.len() > MOMENTS_MAX {
            moments.pop_first();
        }
    }

    /// A device vouched, after `since`, that the entry was then at most `age_ms` old. The entry was here at
    /// `here`, so it was not made later, whatever anybody vouches: nobody makes old entries young again.
    pub fn vouched(&mut self, name: Name, age_ms: u64, since: Tick, here: Tick) {
        let after = signed(since.0).saturating_sub(signed(age_ms));
        self.not_before(name, after.min(signed(here.0)));
    }

    /// An entry of another device has arrived: bounds its birth by what its author said before.
    pub fn arrived(&mut self, name: Name) {
        let since = self
            .moments
            .get(&name.0)
            .and_then(|moments| moments.range(..=name.1).map(|(_, tick)| *tick).max());
        if let Some(since) = since {
            self.not_before(name, signed(since.0));
        }
    }

    fn not_before(&mut self, name: Name, tick: i64) {
        let born = self.born.entry(name).or_insert(tick);
        *born = (*born).max(tick);
        if self.born.len() > BIRTHS_MAX {
            let oldest = self.born.iter().min_by_key(|(_, born)| **born);
            if let Some(oldest) = oldest.map(|(name, _)| *name) {
                self.born.remove(&oldest);
            }
        }
    }

    /// Upper bound of the entry's age, ms; `None`: it could be any age.
    #[must_use]
    pub fn age_ms(&self, name: &Name, now: Tick) -> Option<u64> {
        let born = *self.born.get(name)?;
        Some(u64::try_from(signed(now.0).saturating_sub(born)).unwrap_or(0))
    }

    /// Entries whose age is bounded by at most `ms`.
    pub fn younger_than(&self, ms: u64, now: Tick) -> impl Iterator<Item = (&Name, u64)> {
        self.born.keys().filter_map(move |name| {
            let age = self.age_ms(name, now)?;
            (age <= ms).then_some((name, age))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const O: DeviceKey = DeviceKey([2; 32]);

    #[test]
    fn an_entry_made_after_a_head_was_said_is_younger_than_that_word() {
        let mut births = Births::default();
        births.said(&O, 3, Tick(1_000));
        births.said(&O, 3, Tick(2_000));
        births.said(&O, 4, Tick(3_000));
        births.arrived((O, 3));
        births.arrived((O, 4));
        births.arrived((O, 2));
        // Number 3 was not yet made at 2,000; that it was made by 3,000 bounds nothing.
        assert_eq!(births.age_ms(&(O, 3), Tick(5_000)), Some(3_000));
        assert_eq!(births.age_ms(&(O, 4), Tick(5_000)), Some(2_000));
        assert_eq!(births.age_ms(&(O, 2), Tick(5_000)), None);
    }

    #[test]
    fn a_voucher_adds_its_age_to_that_of_its_own_proof_and_may_reach_before_the_origin() {
        let mut births = Births::default();
        let here = Tick(500);
        births.vouched((O, 7), 60_000, Tick(1_000), here);
        assert_eq!(births.age_ms(&(O, 7), Tick(1_500)), Some(60_500));
        births.vouched((O, 7), 70_000, Tick(1_200), here);
        assert_eq!(births.age_ms(&(O, 7), Tick(1_500)), Some(60_500));
        births.vouched((O, 7), 59_000, Tick(1_200), here);
        assert_eq!(births.age_ms(&(O, 7), Tick(1_500)), Some(59_300));
    }

    #[test]
    fn nobody_vouches_an_entry_younger_than_its_arrival_here() {
        let mut births = Births::default();
        births.vouched((O, 7), 0, Tick(60_000), Tick(1_000));
        assert_eq!(births.age_ms(&(O, 7), Tick(61_000)), Some(60_000));
        // One that may be: a second before it came.
        births.vouched((O, 8), 2_000, Tick(60_000), Tick(59_000));
        assert_eq!(births.age_ms(&(O, 8), Tick(61_000)), Some(3_000));
    }

    #[test]
    fn memory_is_bounded_and_the_oldest_goes_first() {
        let mut births = Births::default();
        for seq in 0..5_000_u32 {
            births.made((O, seq), Tick(u64::from(seq)));
        }
        assert_eq!(births.age_ms(&(O, 0), Tick(6_000)), None);
        assert_eq!(births.age_ms(&(O, 4_999), Tick(6_000)), Some(1_001));
    }
}
