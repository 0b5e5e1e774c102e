//! Clocks: what a device's two clocks say at a moment of true time.
//! Owns: origin, drift and error of one device's clocks.   Gives: `Now`; stepping, drifting.
//! May use: rng.   Never: another device's clocks.

use super::World;
use crate::rng::Rng;
use gantline_protocol::time::{Now, Tick, WallClock};

/// 2026-09-21 in milliseconds: when runs begin.
const EPOCH_MS: i64 = 1_790_000_000_000;

/// One device's clocks.
#[derive(Clone, Debug)]
pub(super) struct Clocks {
    /// What the clock that counts through suspend said at true time `since`.
    origin: u64,
    since: u64,
    /// How many parts in a million it is fast.
    drift_ppm: i64,
    wall_ahead: i64,
}

impl Clocks {
    pub(super) fn new(rng: &mut Rng) -> Self {
        Self {
            origin: rng.between(0, 1_000_000_000),
            since: 0,
            drift_ppm: 0,
            wall_ahead: i64::try_from(rng.between(0, 20_000)).unwrap_or(0) - 10_000,
        }
    }

    pub(super) fn at(&self, now: u64) -> Now {
        let gone = i64::try_from(now - self.since).unwrap_or(i64::MAX);
        let own = gone.saturating_add(gone.saturating_mul(self.drift_ppm) / 1_000_000);
        Now {
            tick: Tick(self.origin.saturating_add_signed(own)),
            wall: WallClock(
                EPOCH_MS
                    .saturating_add(self.wall_ahead)
                    .saturating_add_unsigned(now),
            ),
        }
    }

    /// The machine was started anew: the clock that counts through suspend begins again.
    pub(super) fn begin(&mut self, now: u64, origin: u64) {
        self.origin = origin;
        self.since = now;
    }

    fn drift(&mut self, now: u64, ppm: i64) {
        self.origin = self.at(now).tick.0;
        self.since = now;
        self.drift_ppm = ppm;
    }
}

impl World {
    /// What a device's clocks say.
    #[must_use]
    pub fn clock(&self, device: usize) -> Now {
        self.devices[device].clocks.at(self.now)
    }

    /// A device's clock runs fast by so many parts in a million from now on; slow, if negative. Crystals of
    /// phones stay within 100.
    pub fn drift(&mut self, device: usize, ppm: i64) {
        let now = self.now;
        self.devices[device].clocks.drift(now, ppm);
    }

    /// A device's wall clock is exactly so far ahead of true time from now on, ms; behind, if negative.
    pub fn set_wall(&mut self, device: usize, ahead_ms: i64) {
        self.devices[device].clocks.wall_ahead = ahead_ms;
    }

    /// A device's wall clock is set on or back.
    pub fn step_wall(&mut self, device: usize, ms: i64) {
        let clocks = &mut self.devices[device].clocks;
        clocks.wall_ahead = clocks.wall_ahead.saturating_add(ms);
    }
}
