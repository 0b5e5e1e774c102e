//! Time: three notions that are never mixed.
//! Owns: nothing.   Gives: `Tick` for ages, `WallClock` for people to read, `Stamp` for a readable order.
//! May use: bounds.   Never: reads a clock; compares the wall clocks of two devices.

use serde::{Deserialize, Serialize};

/// Milliseconds on one device's own clock that counts through suspend (CLOCK_BOOTTIME on Linux),
/// from an origin that means nothing elsewhere. All ages are differences of two ticks of one device.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize,
)]
pub struct Tick(pub u64);

impl Tick {
    /// Milliseconds since `earlier`, zero if `earlier` is later.
    #[must_use]
    pub fn since(self, earlier: Self) -> u64 {
        self.0.saturating_sub(earlier.0)
    }

    /// This tick and `ms` milliseconds more.
    #[must_use]
    pub fn plus(self, ms: u64) -> Self {
        Self(self.0.saturating_add(ms))
    }
}

/// Milliseconds since 1970-01-01 UTC as the device's wall clock said; for people to read, never compared.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize,
)]
pub struct WallClock(pub i64);

/// What the device's clocks say at one input. `tick` is never earlier than at the input before.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Now {
    /// The clock that counts through suspend.
    pub tick: Tick,
    /// The clock that people read.
    pub wall: WallClock,
}

/// A hybrid logical clock stamp: upper 48 bits milliseconds since 1970, lower 16 bits a counter.
/// Later than every stamp its author had seen; orders lists for reading, judges nothing.
/// Source: Kulkarni et al., "Logical Physical Clocks", 2014.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize,
)]
pub struct Stamp(pub u64);

impl Stamp {
    /// The next stamp after `self` on a device whose wall clock says `wall`.
    ///
    /// A stamp more than [`crate::bounds::STAMP_AHEAD_MAX_MS`] ahead of the own wall clock does not drag
    /// it along: the counter then grows from the own clock, so one wrong clock cannot move everyone's.
    #[must_use]
    pub fn next(self, wall: WallClock) -> Self {
        let own_ms = u64::try_from(wall.0).unwrap_or(0) & 0xffff_ffff_ffff;
        let seen_ms = self.0 >> 16;
        if seen_ms > own_ms.saturating_add(crate::bounds::STAMP_AHEAD_MAX_MS) || own_ms > seen_ms {
            Self(own_ms << 16)
        } else {
            Self(self.0.saturating_add(1))
        }
    }

    /// The milliseconds part.
    #[must_use]
    pub fn ms(self) -> u64 {
        self.0 >> 16
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stamp_from_far_ahead_does_not_drag_the_clock() {
        let own = WallClock(1_000_000_000_000);
        let near = Stamp((1_000_000_005_000_u64) << 16);
        assert_eq!(near.next(own), Stamp(near.0 + 1));
        let far = Stamp((1_000_000_000_000 + crate::bounds::STAMP_AHEAD_MAX_MS + 1) << 16);
        assert_eq!(far.next(own).ms(), 1_000_000_000_000);
    }
}
