//! Links: which connections stand, and when they come and go.
//! Owns: one state for each pair.   Gives: up and down, told to both ends.
//! May use: radio.   Never: which bytes arrive (radio).

use super::World;
use gantline_protocol::engine::Input;
use gantline_protocol::ids::DeviceKey;
use std::collections::BTreeSet;

/// A connection is noticed dead after so long, ms.
const DEAD_MS: u64 = 3_000;
/// Pairs are looked at so often for connections to make or to end, ms.
pub(super) const DIAL_MS: u64 = 200;
/// Who was refused calls again after so long, ms.
const REFUSED_MS: u64 = 5_000;

#[derive(Debug, Default)]
pub(super) struct Link {
    up: bool,
    /// One end ended it: for that end the other is not on the job, or no longer.
    ended: bool,
    bad_since: Option<u64>,
    refused_at: Option<u64>,
}

impl World {
    /// Nothing passes between devices of the group and the rest.
    pub fn part(&mut self, group: &[usize]) {
        for one in 0..self.devices.len() {
            for other in 0..self.devices.len() {
                if group.contains(&one) && !group.contains(&other) {
                    self.radio.cut(one, other);
                }
            }
        }
    }

    /// Whether a connection stands between two devices.
    #[must_use]
    pub fn linked(&self, one: usize, other: usize) -> bool {
        self.links
            .get(&(one.min(other), one.max(other)))
            .is_some_and(|link| link.up)
    }

    pub(super) fn dial(&mut self) {
        let count = self.devices.len();
        for one in 0..count {
            for other in one + 1..count {
                let (first, second) = (&self.devices[one], &self.devices[other]);
                let reached = first.answers(self.now)
                    && second.answers(self.now)
                    && self.radio.open(one, other)
                    && self.radio.open(other, one);
                let calls = (
                    first.peers.contains(&second.id),
                    second.peers.contains(&first.id),
                );
                let wanted = reached && calls == (true, true);
                let now = self.now;
                let link = self.links.entry((one, other)).or_default();
                // One calls the other, for whom it is not on the job.
                let refused = reached && !link.up && calls.0 != calls.1;
                let told = refused && link.refused_at.is_none_or(|at| now - at >= REFUSED_MS);
                if told {
                    link.refused_at = Some(now);
                } else if !refused {
                    link.refused_at = None;
                }
                let change = match (link.up, wanted) {
                    (true, _) if link.ended => Some(false),
                    (true, true) => {
                        link.bad_since = None;
                        None
                    }
                    (true, false) => {
                        let since = *link.bad_since.get_or_insert(now);
                        (now - since >= DEAD_MS).then_some(false)
                    }
                    (false, wanted) => wanted.then_some(true),
                };
                if let Some(up) = change {
                    link.up = up;
                    link.ended = false;
                    link.bad_since = None;
                    self.tell_link(one, other, up);
                    self.tell_link(other, one, up);
                }
                if told {
                    let (caller, by) = if calls.0 { (one, other) } else { (other, one) };
                    let by = self.devices[by].id;
                    self.input(caller, Input::OffRoster { by });
                }
            }
        }
    }

    /// Whom a device talks to from now on. As a node does, it ends the connections to all others, even if they are
    /// on the job again before anybody notices.
    pub(super) fn set_peers(&mut self, device: usize, keys: Vec<DeviceKey>) {
        let peers: BTreeSet<DeviceKey> = keys.into_iter().collect();
        for other in 0..self.devices.len() {
            let pair = (device.min(other), device.max(other));
            if let Some(link) = self.links.get_mut(&pair)
                && !peers.contains(&self.devices[other].id)
            {
                link.ended = link.up;
            }
        }
        self.devices[device].peers = peers;
    }

    /// A device that starts has no connections; its peers find the old ones dead.
    pub(super) fn unlink(&mut self, device: usize) {
        for peer in 0..self.devices.len() {
            let pair = (device.min(peer), device.max(peer));
            if self
                .links
                .get_mut(&pair)
                .is_some_and(|link| core::mem::take(&mut link.up))
            {
                self.tell_link(peer, device, false);
            }
        }
    }

    fn tell_link(&mut self, device: usize, peer: usize, up: bool) {
        let peer = self.devices[peer].id;
        if self.devices[device].engine.is_some() {
            let input = if up {
                Input::Up { peer }
            } else {
                Input::Down { peer }
            };
            self.input(device, input);
        }
    }

    /// The number of the device with this key, if a connection to it stands.
    pub(super) fn sendable(&self, device: usize, to: &DeviceKey) -> Option<usize> {
        let peer = self.devices.iter().position(|other| other.id == *to)?;
        self.linked(device, peer).then_some(peer)
    }
}
