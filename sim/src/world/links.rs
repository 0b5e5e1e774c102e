//! Links: which connections stand, and when they come and go.
//! Owns: one state for each pair.   Gives: up and down, told to both ends.
//! May use: radio.   Never: which bytes arrive (radio).

use super::World;
use gantline_protocol::engine::Input;
use gantline_protocol::ids::DeviceKey;

/// A connection is noticed dead after so long, ms.
const DEAD_MS: u64 = 3_000;
/// Pairs are looked at so often for connections to make or to end, ms.
pub(super) const DIAL_MS: u64 = 200;

#[derive(Debug, Default)]
pub(super) struct Link {
    up: bool,
    bad_since: Option<u64>,
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
                let wanted = first.answers(self.now)
                    && second.answers(self.now)
                    && first.peers.contains(&second.id)
                    && second.peers.contains(&first.id)
                    && self.radio.open(one, other)
                    && self.radio.open(other, one);
                let now = self.now;
                let link = self.links.entry((one, other)).or_default();
                let change = match (link.up, wanted) {
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
                    link.bad_since = None;
                    self.tell_link(one, other, up);
                    self.tell_link(other, one, up);
                }
            }
        }
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
