//! Radio: which bytes arrive, and when.
//! Owns: which ways are cut, who is in a burst of loss.   Gives: the fate of one datagram or message.
//! May use: rng.   Never: what the bytes say.

use crate::rng::Rng;
use std::collections::{BTreeMap, BTreeSet};

/// Bursts of loss (Gilbert 1960, Elliott 1963): good and bad spells take turns, each as long as chance has it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Bursts {
    /// Mean length of a good spell, ms.
    pub good_ms: u64,
    /// Mean length of a bad spell, ms.
    pub bad_ms: u64,
    /// Datagrams lost in a bad spell, in a hundred.
    pub loss: u64,
}

/// How bad the air is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Air {
    /// Datagrams lost, in a hundred.
    pub loss: u64,
    /// Datagrams that arrive twice, in a hundred.
    pub twice: u64,
    /// Of those that arrive twice, so many in a hundred come the second time up to [`LATE_MS`] later.
    pub late: u64,
    /// Shortest and longest way, ms; what is sent later may arrive earlier.
    pub delay_ms: (u64, u64),
    /// Bursts of each pair.
    pub pairs: Option<Bursts>,
    /// Bursts of each device's whole radio, where no third can help.
    pub devices: Option<Bursts>,
}

/// The longest way of a late copy, ms: longer than any watch limit.
pub const LATE_MS: u64 = 20_000;
/// A message is tried again after so long at first, ms, then after twice that, and so on.
const AGAIN_MS: u64 = 40;
/// The longest time between two tries, ms.
const AGAIN_MOST_MS: u64 = 1_000;
/// A message that has not arrived after so long goes down with its connection, ms.
const GIVES_UP_MS: u64 = 5_000;

impl Air {
    /// Nothing is lost.
    pub const CLEAR: Self = Self {
        loss: 0,
        twice: 0,
        late: 0,
        delay_ms: (1, 4),
        pairs: None,
        devices: None,
    };
    /// A fifth is lost, some comes twice, out of order.
    pub const POOR: Self = Self {
        loss: 20,
        twice: 2,
        late: 0,
        delay_ms: (1, 30),
        pairs: None,
        devices: None,
    };
}

#[derive(Clone, Copy, Debug)]
struct Spell {
    bad: bool,
    until: u64,
}

/// The radio between all devices.
#[derive(Debug)]
pub struct Radio {
    /// The air now.
    pub air: Air,
    /// Ways that are cut: from, to.
    cut: BTreeSet<(usize, usize)>,
    spells: BTreeMap<(usize, usize), Spell>,
    /// Datagrams that did not arrive.
    pub lost: u64,
    /// Of those, how many in a burst.
    pub lost_in_bursts: u64,
    /// Datagrams that arrived before one that was sent earlier.
    pub overtaken: u64,
    /// The latest arrival so far of each way.
    latest: BTreeMap<(usize, usize), u64>,
    /// Datagrams that arrived a second time.
    pub repeated: u64,
}

impl Radio {
    /// A radio with nothing cut.
    #[must_use]
    pub fn new(air: Air) -> Self {
        Self {
            air,
            cut: BTreeSet::new(),
            spells: BTreeMap::new(),
            lost: 0,
            lost_in_bursts: 0,
            overtaken: 0,
            latest: BTreeMap::new(),
            repeated: 0,
        }
    }

    /// Nothing passes between the two from now on.
    pub fn cut(&mut self, one: usize, other: usize) {
        self.cut_way(one, other);
        self.cut_way(other, one);
    }

    /// Nothing passes from the one to the other from now on; the other way is as it was.
    pub fn cut_way(&mut self, from: usize, to: usize) {
        self.cut.insert((from, to));
    }

    /// It passes again, both ways.
    pub fn heal(&mut self, one: usize, other: usize) {
        self.cut.remove(&(one, other));
        self.cut.remove(&(other, one));
    }

    /// Everything passes again.
    pub fn heal_all(&mut self) {
        self.cut.clear();
    }

    /// Whether anything can pass from the one to the other.
    #[must_use]
    pub fn open(&self, from: usize, to: usize) -> bool {
        !self.cut.contains(&(from, to))
    }

    /// After how many ms each copy of a datagram arrives; none: lost.
    pub fn datagram(
        &mut self,
        rng: &mut Rng,
        now: u64,
        from: usize,
        to: usize,
    ) -> [Option<u64>; 2] {
        let first = self.copy(rng, now, from, to);
        if !rng.percent(self.air.twice) {
            return [first, None];
        }
        let late = if rng.percent(self.air.late) {
            rng.between(0, LATE_MS)
        } else {
            0
        };
        let second = self.copy(rng, now, from, to).map(|way| way + late);
        self.repeated += u64::from(first.is_some() && second.is_some());
        [first, second]
    }

    fn copy(&mut self, rng: &mut Rng, now: u64, from: usize, to: usize) -> Option<u64> {
        let (low, high) = self.air.delay_ms;
        if self.loses(rng, now, from, to) {
            self.lost += 1;
            return None;
        }
        let way = rng.between(low, high);
        let latest = self.latest.entry((from, to)).or_default();
        self.overtaken += u64::from(now + way < *latest);
        *latest = (*latest).max(now + way);
        Some(way)
    }

    fn loses(&mut self, rng: &mut Rng, now: u64, from: usize, to: usize) -> bool {
        if !self.open(from, to) {
            return true;
        }
        let mut burst = 0;
        if let Some(bursts) = self.air.pairs {
            let pair = (from.min(to), from.max(to));
            burst = burst.max(self.burst(rng, now, pair, bursts));
        }
        if let Some(bursts) = self.air.devices {
            for device in [from, to] {
                burst = burst.max(self.burst(rng, now, (device, device), bursts));
            }
        }
        let lost = rng.percent(burst.max(self.air.loss));
        self.lost_in_bursts += u64::from(lost && burst > 0);
        lost
    }

    /// What a burst loses now, in a hundred; zero in a good spell.
    fn burst(&mut self, rng: &mut Rng, now: u64, of: (usize, usize), bursts: Bursts) -> u64 {
        let spell = self.spells.entry(of).or_insert(Spell {
            bad: false,
            until: now + length(rng, bursts.good_ms),
        });
        while spell.until <= now {
            spell.bad = !spell.bad;
            let mean = if spell.bad {
                bursts.bad_ms
            } else {
                bursts.good_ms
            };
            spell.until += length(rng, mean);
        }
        if spell.bad { bursts.loss } else { 0 }
    }

    /// After how many ms a message on a stream arrives: each loss costs a repetition; `None`: not before its
    /// connection is given up.
    pub fn message(&mut self, rng: &mut Rng, now: u64, from: usize, to: usize) -> Option<u64> {
        let mut delay = rng.between(self.air.delay_ms.0, self.air.delay_ms.1);
        let mut again = AGAIN_MS;
        while self.loses(rng, now, from, to) {
            delay += again;
            again = (2 * again).min(AGAIN_MOST_MS);
            if delay > GIVES_UP_MS || !self.open(from, to) {
                return None;
            }
        }
        Some(delay)
    }
}

/// An exponentially distributed length, at least 1 ms.
fn length(rng: &mut Rng, mean_ms: u64) -> u64 {
    // 53 bits, never zero.
    let unit = ((rng.draw() >> 11) + 1) as f64 / (1_u64 << 53) as f64;
    let length = -libm::log(unit) * mean_ms as f64;
    (length as u64).clamp(1, 50 * mean_ms.max(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn share_lost(air: Air) -> f64 {
        let (mut radio, mut rng) = (Radio::new(air), Rng::new(5));
        let count = 200_000;
        let lost = (0..count)
            .filter(|n| radio.datagram(&mut rng, n * 10, 0, 1)[0].is_none())
            .count();
        lost as f64 / count as f64
    }

    #[test]
    fn bursts_lose_as_much_as_their_spells_say() {
        let bursts = Bursts {
            good_ms: 3_000,
            bad_ms: 1_000,
            loss: 80,
        };
        let pairs = share_lost(Air {
            pairs: Some(bursts),
            ..Air::CLEAR
        });
        assert!((0.17..0.23).contains(&pairs), "{pairs}");
        // Either of two radios fades: 7 of 16.
        let devices = share_lost(Air {
            devices: Some(bursts),
            ..Air::CLEAR
        });
        assert!((0.31..0.39).contains(&devices), "{devices}");
        assert!(share_lost(Air::CLEAR) == 0.0);
    }

    #[test]
    fn a_way_that_is_cut_is_cut_one_way() {
        let (mut radio, mut rng) = (Radio::new(Air::CLEAR), Rng::new(5));
        radio.cut_way(0, 1);
        assert_eq!(radio.datagram(&mut rng, 0, 0, 1), [None, None]);
        assert!(radio.datagram(&mut rng, 0, 1, 0)[0].is_some());
        assert!(radio.message(&mut rng, 0, 0, 1).is_none());
        radio.heal_all();
        assert!(radio.message(&mut rng, 0, 0, 1).is_some());
    }
}
