//! Bucket: so many at once, so many a second after that.
//! Owns: a level.   Gives: whether there is room for more.
//! May use: time.   Never: what is counted.

use crate::time::Tick;

/// A token bucket on the device's own clock; thousandths inside, so that slow rates do not round to none.
#[derive(Clone, Debug)]
pub struct Bucket {
    most: u64,
    per_second: u64,
    level_thousandths: u64,
    at: Tick,
}

impl Bucket {
    /// A full bucket.
    #[must_use]
    pub fn full(most: u64, per_second: u64) -> Self {
        Self {
            most,
            per_second,
            level_thousandths: most.saturating_mul(1_000),
            at: Tick(0),
        }
    }

    /// Whether `amount` is there; takes nothing.
    #[must_use]
    pub fn has(&self, amount: u64, now: Tick) -> bool {
        self.clone().take(amount, now)
    }

    /// Takes `amount` if it is there.
    pub fn take(&mut self, amount: u64, now: Tick) -> bool {
        let gained = now.since(self.at).saturating_mul(self.per_second);
        let most = self.most.saturating_mul(1_000);
        self.level_thousandths = self.level_thousandths.saturating_add(gained).min(most);
        self.at = now;
        let wanted = amount.saturating_mul(1_000);
        if wanted <= self.level_thousandths {
            self.level_thousandths -= wanted;
            true
        } else {
            false
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn so_many_at_once_and_so_many_a_second_after() {
        let mut bucket = Bucket::full(3, 2);
        assert!((0..3).all(|_| bucket.take(1, Tick(10))));
        assert!(!bucket.take(1, Tick(10)));
        assert!(!bucket.take(1, Tick(509)));
        assert!(bucket.take(1, Tick(510)));
        assert!(!bucket.take(1, Tick(510)));
        assert!(bucket.has(3, Tick(100_000)) && !bucket.has(4, Tick(100_000)));
        assert!(bucket.take(3, Tick(100_000)));
        assert!(!bucket.take(1, Tick(100_000)));
    }
}
