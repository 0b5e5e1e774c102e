//! Clock: the two clocks of this machine, and random numbers.
//! Owns: nothing.   Gives: `Clock`, boot numbers.
//! May use: rustix, getrandom.   Never: compares the wall clock with anything.

use gantline_protocol::ids::BootId;
use gantline_protocol::time::{Now, Tick, WallClock};
use rustix::time::{ClockId, clock_gettime};
use std::time::{SystemTime, UNIX_EPOCH};

/// Reads the clocks. `tick` never goes back, also across reads that the system answers out of order.
#[derive(Clone, Copy, Debug, Default)]
pub struct Clock {
    newest: Tick,
}

impl Clock {
    /// What the clocks say. `tick` counts through suspend.
    #[must_use]
    pub fn now(&mut self) -> Now {
        let now = self.peek();
        self.newest = now.tick;
        now
    }

    /// What the clocks say, without a promise for the next time.
    #[must_use]
    pub fn peek(&self) -> Now {
        let time = clock_gettime(ClockId::Boottime);
        let seconds = u64::try_from(time.tv_sec).unwrap_or(0);
        let milliseconds = u64::try_from(time.tv_nsec).unwrap_or(0) / 1_000_000;
        Now {
            tick: self.newest.max(Tick(seconds * 1000 + milliseconds)),
            wall: wall(),
        }
    }
}

fn wall() -> WallClock {
    let ms =
        |duration: std::time::Duration| i64::try_from(duration.as_millis()).unwrap_or(i64::MAX);
    match SystemTime::now().duration_since(UNIX_EPOCH) {
        Ok(since) => WallClock(ms(since)),
        Err(before) => WallClock(-ms(before.duration())),
    }
}

/// A boot number: 64 random bits, drawn once at each start.
///
/// # Errors
/// The system gives no random numbers.
pub fn boot_id() -> Result<BootId, getrandom::Error> {
    let mut bytes = [0; 8];
    getrandom::fill(&mut bytes)?;
    Ok(BootId(u64::from_le_bytes(bytes)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_do_not_go_back_and_wall_clock_is_of_this_century() {
        let mut clock = Clock::default();
        let first = clock.now();
        let second = clock.now();
        assert!(second.tick >= first.tick);
        assert!(
            first.wall > WallClock(1_577_836_800_000),
            "{:?}",
            first.wall
        );
    }
}
