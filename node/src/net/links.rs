//! Links: which of several connections to one device is kept?
//! Owns: the connections to one device.   Gives: when the device is up, what to close and when.
//! May use: nothing.   Never: sockets, clocks: both come in.
//!
//! Two devices that dial each other at once get two connections. The one dialled by the lower key is kept: each
//! side can tell that alone. Neither reads addresses for it. The other is closed a little later, and
//! read from until then, so that nothing under way is lost and neither side sees the device go away.
//!
//! The side that accepted the kept connection closes first: it has read the dialler's hello, which is sent only
//! after the accepting side's was read, so by then both sides have the kept one.

use std::time::{Duration, Instant};

/// Two connections this far apart are no coincidence: the peer dialled anew because it had lost the old one, or
/// moved. Longer than the longest dial.
const AT_ONCE: Duration = Duration::from_secs(5);
/// The spare connection is read for so long by the side that accepted the kept one.
const RETIRE_AFTER: Duration = Duration::from_millis(500);
/// And so long by the side that dialled it, should the other side not close.
const RETIRE_AT_LAST_AFTER: Duration = Duration::from_secs(2);

/// One connection, both hellos read.
#[derive(Debug)]
pub(super) struct Held<C> {
    /// Names it on this device.
    pub(super) id: u64,
    /// Whether this device dialled it.
    pub(super) dialled: bool,
    /// The run of the device on the other side, from its hello.
    pub(super) run: u64,
    /// Since when it stands.
    pub(super) since: Instant,
    /// The connection itself.
    pub(super) connection: C,
}

/// What a new connection changes.
#[derive(Debug)]
pub(super) struct Added<C> {
    /// The device was not up before.
    pub(super) up: bool,
    /// The device restarted: it was up, and that was an earlier run of it.
    pub(super) restarted: bool,
    /// Connections of an earlier run, to be closed at once.
    pub(super) outlived: Vec<C>,
    /// Connections that are not kept, to be let go after so long ([`Links::let_go`]).
    pub(super) retire: Vec<(u64, Duration)>,
}

/// The connections to one device.
#[derive(Debug)]
pub(super) struct Links<C> {
    own_is_lower: bool,
    held: Vec<(Held<C>, Retiring)>,
}

type Retiring = bool;

impl<C: Clone> Links<C> {
    /// None yet. `own_is_lower`: this device's key is lower than the other's.
    pub(super) fn new(own_is_lower: bool) -> Self {
        Self {
            own_is_lower,
            held: Vec::new(),
        }
    }

    /// Takes in a connection, and says what follows.
    pub(super) fn add(&mut self, new: Held<C>) -> Added<C> {
        let was_up = !self.held.is_empty();
        let (same, earlier): (Vec<_>, Vec<_>) =
            self.held.drain(..).partition(|(old, _)| old.run == new.run);
        self.held = same;
        let restarted = was_up && self.held.is_empty();
        let mut retire = Vec::new();
        let mut retire_new = None;
        for (old, retiring) in self.held.iter_mut().filter(|(_, retiring)| !*retiring) {
            if keeps_new(self.own_is_lower, old, &new) {
                *retiring = true;
                retire.push((old.id, patience(new.dialled)));
            } else {
                retire_new = Some(patience(old.dialled));
            }
        }
        retire.extend(retire_new.map(|after| (new.id, after)));
        self.held.push((new, retire_new.is_some()));
        Added {
            up: !was_up,
            restarted,
            outlived: earlier.into_iter().map(|(old, _)| old.connection).collect(),
            retire,
        }
    }

    /// A spare connection has had its time: it is given back to be closed, unless the one that was to be kept is
    /// gone meanwhile; then the spare is the one that is kept.
    pub(super) fn let_go(&mut self, id: u64) -> Option<C> {
        let is_spare = self
            .held
            .iter()
            .any(|(held, retiring)| held.id != id && !*retiring);
        let (held, retiring) = self.held.iter_mut().find(|(held, _)| held.id == id)?;
        *retiring = is_spare;
        is_spare.then(|| held.connection.clone())
    }

    /// Forgets a connection that ended; whether it was the last.
    pub(super) fn remove(&mut self, id: u64) -> bool {
        let before = self.held.len();
        self.held.retain(|(held, _)| held.id != id);
        before > 0 && self.held.is_empty()
    }

    /// The one to send on.
    pub(super) fn best(&self) -> Option<&C> {
        self.held
            .iter()
            .rev()
            .min_by_key(|(_, retiring)| *retiring)
            .map(|(held, _)| &held.connection)
    }

    /// Whether there is none.
    pub(super) fn is_empty(&self) -> bool {
        self.held.is_empty()
    }

    /// Every one, and whether this device dialled it.
    pub(super) fn all(&self) -> impl Iterator<Item = (&C, bool)> {
        self.held
            .iter()
            .map(|(held, _)| (&held.connection, held.dialled))
    }
}

fn keeps_new<C>(own_is_lower: bool, old: &Held<C>, new: &Held<C>) -> bool {
    let at_once = new.since.saturating_duration_since(old.since) < AT_ONCE;
    if old.dialled == new.dialled || !at_once {
        return true;
    }
    new.dialled == own_is_lower
}

fn patience(kept_was_dialled: bool) -> Duration {
    if kept_was_dialled {
        RETIRE_AT_LAST_AFTER
    } else {
        RETIRE_AFTER
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held(id: u64, dialled: bool, run: u64, since: Instant) -> Held<u64> {
        Held {
            id,
            dialled,
            run,
            since,
            connection: id,
        }
    }

    #[test]
    fn both_sides_keep_the_one_dialled_by_the_lower_key_in_either_order() {
        let now = Instant::now();
        for first_is_lowers in [true, false] {
            for own_is_lower in [true, false] {
                let mut links = Links::new(own_is_lower);
                // Connection 1 is dialled by the lower key, 2 by the higher.
                let one = || held(1, own_is_lower, 7, now);
                let two = || held(2, !own_is_lower, 7, now);
                let (first, second) = if first_is_lowers {
                    (one(), two())
                } else {
                    (two(), one())
                };
                assert!(links.add(first).up);
                let added = links.add(second);
                assert!(!added.up && !added.restarted && added.outlived.is_empty());
                let expected = if own_is_lower {
                    RETIRE_AT_LAST_AFTER
                } else {
                    RETIRE_AFTER
                };
                assert_eq!(added.retire, [(2, expected)]);
                assert_eq!(links.best(), Some(&1));
            }
        }
    }

    #[test]
    fn a_later_dial_replaces_what_the_peer_had_lost() {
        let now = Instant::now();
        let mut links = Links::new(true);
        links.add(held(1, true, 7, now));
        let added = links.add(held(2, false, 7, now + AT_ONCE));
        assert_eq!(added.retire, [(1, RETIRE_AFTER)]);
        assert_eq!(links.best(), Some(&2));
    }

    #[test]
    fn a_restart_outlives_all_that_was() {
        let now = Instant::now();
        let mut links = Links::new(true);
        assert!(links.add(held(1, true, 7, now)).up);
        let added = links.add(held(2, false, 8, now));
        assert!(added.restarted && !added.up);
        assert_eq!(added.outlived, [1]);
        assert_eq!(links.best(), Some(&2));
    }

    #[test]
    fn a_spare_is_kept_when_the_other_is_gone() {
        let now = Instant::now();
        let both = || {
            let mut links = Links::new(true);
            links.add(held(1, true, 7, now));
            assert_eq!(links.add(held(2, false, 7, now)).retire[0].0, 2);
            links
        };
        let mut links = both();
        assert_eq!(links.let_go(2), Some(2));
        let mut links = both();
        links.remove(1);
        assert_eq!(links.let_go(2), None);
        assert_eq!(links.let_go(9), None);
        assert_eq!(links.best(), Some(&2));
    }

    #[test]
    fn down_only_with_the_last() {
        let now = Instant::now();
        let mut links = Links::new(true);
        links.add(held(1, true, 7, now));
        links.add(held(2, false, 7, now));
        assert!(!links.remove(1));
        assert_eq!(links.best(), Some(&2), "a spare is better than none");
        assert!(links.remove(2));
        assert!(!links.remove(2), "not twice");
        assert!(links.is_empty());
    }
}
