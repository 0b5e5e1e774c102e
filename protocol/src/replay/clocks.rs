//! Clocks: how far is each device's wall clock ahead of the founder's, by what devices found of each other?
//! Owns: nothing.   Gives: `Clocks`.
//! May use: log.   Never: judges anything: it is for people to read times of several devices on one line.

use crate::gate::Job;
use crate::ids::{DeviceKey, DeviceTag};
use crate::log::entry::Body;
use crate::log::graph::EntryIx;
use crate::time::WallClock;
use std::collections::BTreeMap;

/// The wall clocks of the devices of one log.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Clocks {
    /// Ahead of the founder's, and the doubt of it, ms.
    ahead: BTreeMap<DeviceTag, (i64, u64)>,
}

impl Clocks {
    /// By the newest that devices found of each other.
    #[must_use]
    pub fn of(job: &Job) -> Self {
        let graph = job.graph();
        let mut found: BTreeMap<(DeviceTag, DeviceTag), (i64, u64)> = BTreeMap::new();
        for ix in graph.iter() {
            if let Body::ClockSample(sample) = graph.body(ix) {
                let of = (sample.ahead_ms, u64::from(sample.doubt_ms));
                found.insert((graph.author(ix).tag(), sample.device), of);
            }
        }
        let founder: Option<DeviceKey> = graph.iter().next().map(|ix| graph.author(ix));
        let mut ahead: BTreeMap<DeviceTag, (i64, u64)> =
            founder.map(|key| (key.tag(), (0, 0))).into_iter().collect();
        loop {
            let known = ahead.len();
            for (&(by, of), &(by_ms, doubt)) in &found {
                if let Some(&(own, own_doubt)) = ahead.get(&by) {
                    let sum = (own.saturating_add(by_ms), own_doubt.saturating_add(doubt));
                    ahead.entry(of).or_insert(sum);
                } else if let Some(&(theirs, their_doubt)) = ahead.get(&of) {
                    let sum = (
                        theirs.saturating_sub(by_ms),
                        their_doubt.saturating_add(doubt),
                    );
                    ahead.insert(by, sum);
                }
            }
            if ahead.len() == known {
                return Self { ahead };
            }
        }
    }

    /// A time by a device's clock, by the founder's; a device that nobody compared is taken to be right.
    #[must_use]
    pub fn by_founder(&self, device: &DeviceKey, wall: WallClock) -> WallClock {
        let ahead = self.ahead.get(&device.tag()).map_or(0, |of| of.0);
        WallClock(wall.0.saturating_sub(ahead))
    }

    /// When an entry was made, by the founder's clock.
    #[must_use]
    pub fn made(&self, job: &Job, ix: EntryIx) -> WallClock {
        let graph = job.graph();
        self.by_founder(&graph.author(ix), graph.content(ix).wall)
    }

    /// How much a device's times may be off, ms; `None`: nobody compared its clock.
    #[must_use]
    pub fn doubt_ms(&self, device: &DeviceKey) -> Option<u64> {
        self.ahead.get(&device.tag()).map(|of| of.1)
    }
}
