//! Last: what must be so at the end of a run, by the whole checks of the protocol.
//! Owns: nothing.   Gives: what was found broken.
//! May use: protocol::invariants.   Never: an excuse that is not named here.

use super::{Run, waits};
use crate::world::Broken;
use gantline_protocol::ids::DeviceKey;
use gantline_protocol::invariants;

/// After the close all devices are level within so long, ms.
const LEVEL_WITHIN_MS: u64 = 30_000;

impl Run<'_> {
    fn is_level(&self, crew: &[usize]) -> bool {
        let mut lengths = crew
            .iter()
            .filter_map(|&device| self.world.engine(device))
            .map(|engine| gantline_protocol::state::digest(engine.job().graph()));
        let first = lengths.next();
        lengths.all(|length| Some(length) == first)
    }

    pub(super) fn last(&mut self) {
        let ends = self.world.now + LEVEL_WITHIN_MS;
        while self.world.now < ends && !self.is_level(&self.crew_on()) {
            let until = self.world.now + 100;
            self.pass(until);
        }
        let mut found: Vec<String> = Vec::new();
        let crew = self.crew_on();
        for &device in &crew {
            self.word_of(device);
        }
        // Who lost power with a stop on its way, or came back with an old journal, may have used a number again
        // where nobody could tell it otherwise.
        let honest: Vec<DeviceKey> = (0..self.world.devices.len())
            .filter(|&device| !self.world.is_hostile(device) && !self.world.may_fork(device))
            .map(|device| self.world.devices[device].id)
            .collect();
        for (place, &device) in crew.iter().enumerate() {
            let Some(engine) = self.world.engine(device) else {
                continue;
            };
            let job = engine.job();
            let status = engine.status(self.world.clock(device));
            let mut look = |result: Result<(), invariants::Broken>| {
                if let Err(broken) = result {
                    found.push(format!("{broken} (device {device})"));
                }
            };
            look(invariants::check(job, &status));
            if !self.world.had_old_image(device) {
                look(invariants::nothing_lost(
                    job,
                    &self.world.devices[device].told_recorded,
                ));
            }
            for &other in &crew[..place] {
                if let Some(other) = self.world.engine(other) {
                    look(invariants::agree(job, other.job()));
                    look(invariants::level(job, other.job(), &honest));
                }
            }
        }
        if !found.is_empty() {
            found.push(waits::who_waits(&self.world));
        }
        self.world.broken.extend(found.into_iter().map(Broken));
    }
}
