//! Radio: which bytes arrive, and when.
//! Owns: which pairs are cut, how much is lost.   Gives: the fate of one datagram or message.
//! May use: rng.   Never: what the bytes say.

use crate::rng::Rng;
use std::collections::BTreeSet;

/// How bad the air is.
#[derive(Clone, Copy, Debug)]
pub struct Air {
    /// Datagrams lost, in a hundred.
    pub loss: u64,
    /// Datagrams that arrive twice, in a hundred.
    pub twice: u64,
    /// Shortest and longest way, ms.
    pub delay_ms: (u64, u64),
}

impl Air {
    /// Nothing is lost.
    pub const CLEAR: Self = Self {
        loss: 0,
        twice: 0,
        delay_ms: (1, 4),
    };
    /// A fifth is lost, some comes twice, out of order.
    pub const POOR: Self = Self {
        loss: 20,
        twice: 2,
        delay_ms: (1, 30),
    };
}

/// The radio between all devices.
#[derive(Debug)]
pub struct Radio {
    /// The air now.
    pub air: Air,
    cut: BTreeSet<(usize, usize)>,
    /// Datagrams that did not arrive.
    pub lost: u64,
}

fn pair(one: usize, other: usize) -> (usize, usize) {
    (one.min(other), one.max(other))
}

impl Radio {
    /// A radio with nothing cut.
    #[must_use]
    pub fn new(air: Air) -> Self {
        Self {
            air,
            cut: BTreeSet::new(),
            lost: 0,
        }
    }

    /// Nothing passes between the two from now on.
    pub fn cut(&mut self, one: usize, other: usize) {
        self.cut.insert(pair(one, other));
    }

    /// It passes again.
    pub fn heal(&mut self, one: usize, other: usize) {
        self.cut.remove(&pair(one, other));
    }

    /// Everything passes again.
    pub fn heal_all(&mut self) {
        self.cut.clear();
    }

    /// Whether anything can pass between the two.
    #[must_use]
    pub fn open(&self, one: usize, other: usize) -> bool {
        !self.cut.contains(&pair(one, other))
    }

    /// After how many ms each copy of a datagram arrives; none: lost.
    pub fn datagram(&mut self, rng: &mut Rng) -> Vec<u64> {
        let copies = 1 + u64::from(rng.percent(self.air.twice));
        let (low, high) = self.air.delay_ms;
        let arriving: Vec<u64> = (0..copies)
            .filter_map(|_| {
                let lost = rng.percent(self.air.loss);
                let delay = rng.between(low, high);
                (!lost).then_some(delay)
            })
            .collect();
        self.lost += u64::from(arriving.is_empty());
        arriving
    }

    /// After how many ms a message on a stream arrives: each loss costs a repetition.
    pub fn message(&mut self, rng: &mut Rng) -> u64 {
        let mut delay = rng.between(self.air.delay_ms.0, self.air.delay_ms.1);
        let mut again = 40;
        while rng.percent(self.air.loss) && again < 1_000 {
            delay += again;
            again *= 2;
        }
        delay
    }
}
