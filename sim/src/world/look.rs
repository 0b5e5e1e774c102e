//! Look: what must never be by true time, looked at after each event of a device.
//! Owns: the stops that fingers pressed, and who has shown them.   Gives: what was found broken.
//! May use: protocol::invariants.   Never: a rule of its own.

use super::World;
use gantline_protocol::bounds::PAGE_LIMIT_MS;
use gantline_protocol::engine::Engine;
use gantline_protocol::gate::{Job, Roster};
use gantline_protocol::ids::{EntryHash, StepId};
use gantline_protocol::invariants::{self, Looked};
use gantline_protocol::state::{CallWord, digest};
use std::collections::BTreeSet;
use std::collections::btree_map::Entry;

/// Sets of entries whose view is kept to compare others with.
const VIEWS_MAX: usize = 4_096;

/// What a device makes of a set of entries.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct View {
    complete: BTreeSet<StepId>,
    counted: BTreeSet<EntryHash>,
    stops: BTreeSet<EntryHash>,
    version: u32,
    roster: Roster,
    closed: bool,
}

impl View {
    fn of(job: &Job, looked: &Looked) -> Self {
        let graph = job.graph();
        Self {
            complete: job.complete().clone(),
            counted: looked.counted().iter().map(|&ix| graph.hash(ix)).collect(),
            stops: job
                .in_force()
                .into_iter()
                .map(|stop| graph.hash(stop))
                .collect(),
            version: job.plan_version(),
            roster: job.roster().clone(),
            closed: job.is_closed(),
        }
    }
}

/// Something that must never be.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Broken(pub String);

/// One rule more than the protocol's own, for whoever looks for something: what is broken at a device now, if it is.
pub type Rule = fn(&World, usize) -> Option<String>;

/// A stop as a person pressed it, by true time.
#[derive(Clone, Debug)]
pub struct Pressed {
    /// On which device.
    pub device: usize,
    /// When.
    pub at: u64,
    entry: EntryHash,
    /// Its device lost power before the stop was on its disk: nobody can be held to it.
    died: bool,
    /// When each device first showed it, by number.
    pub shown: Vec<(usize, u64)>,
}

impl Pressed {
    /// The entry.
    #[must_use]
    pub fn entry(&self) -> EntryHash {
        self.entry
    }
}

impl World {
    /// After a command that stops: the entry that its device has made of it.
    pub(super) fn stop_pressed(&mut self, device: usize) {
        let made = self.devices[device]
            .engine
            .as_ref()
            .and_then(Engine::stop_on_its_way);
        let Some(entry) = made.filter(|made| self.pressed.iter().all(|known| known.entry != *made))
        else {
            return;
        };
        let number = self.pressed.len();
        for own in &mut self.devices {
            own.lacks.push(number);
        }
        self.pressed.push(Pressed {
            device,
            at: self.now,
            entry,
            died: false,
            shown: Vec::new(),
        });
        self.first_stop.clear();
        self.look(device);
    }

    /// Stops of a device that its holder has not been told are recorded.
    pub(super) fn unrecorded(&self, device: usize) -> Vec<EntryHash> {
        let Some(engine) = &self.devices[device].engine else {
            return Vec::new();
        };
        self.pressed
            .iter()
            .filter(|pressed| pressed.device == device && !engine.holds(&pressed.entry))
            .map(|pressed| pressed.entry)
            .collect()
    }

    pub(super) fn died_with_power(&mut self, device: usize, unsaid: &[EntryHash]) {
        for pressed in &mut self.pressed {
            if pressed.device == device && unsaid.contains(&pressed.entry) {
                pressed.died = true;
            }
        }
    }

    /// A device starts with what its journal has.
    pub(super) fn lacks_anew(&mut self, device: usize) {
        self.devices[device].lacks = (0..self.pressed.len()).collect();
        self.look(device);
    }

    /// After each event of a device: what is new in its log, and the stops that its log has not.
    pub(super) fn look(&mut self, device: usize) {
        self.look_at_log(device);
        if !self.devices[device].lacks.is_empty() {
            self.look_at_stops(device);
        }
        self.look_at_pages(device);
        if let Some(broken) = self.rule.and_then(|rule| rule(self, device)) {
            self.broken.push(Broken(broken));
        }
    }

    /// I1, I3, I4, I7 and I8, as far as the entries that are new can break them.
    fn look_at_log(&mut self, device: usize) {
        let honest = self.devices.iter().all(|own| own.hostile.is_none());
        let own = &mut self.devices[device];
        let Some(engine) = &own.engine else {
            return;
        };
        let job = engine.job();
        if !own.looked.is_behind(job) {
            return;
        }
        if let Err(broken) = own.looked.look(job, honest) {
            self.broken
                .push(Broken(format!("{broken} (device {device})")));
        }
        if !own.told_recorded.is_empty() && own.fresh_start && !own.old_image {
            own.fresh_start = false;
            if let Err(broken) = invariants::nothing_lost(job, &own.told_recorded) {
                self.broken
                    .push(Broken(format!("{broken} (device {device}, at its start)")));
            }
        }
        if self.views.len() == VIEWS_MAX {
            self.views.clear();
        }
        let view = View::of(job, &own.looked);
        match self.views.entry(digest(job.graph())) {
            Entry::Vacant(place) => {
                place.insert((device, view));
            }
            Entry::Occupied(known) if known.get().1 != view => {
                self.broken.push(Broken(format!(
                    "I4: devices {} and {device} hold the same entries and differ",
                    known.get().0
                )));
            }
            Entry::Occupied(_) => {}
        }
    }

    /// I2 for a node that lacks a stop. What is in its log is the gate's to say.
    fn look_at_stops(&mut self, device: usize) {
        let lacks = core::mem::take(&mut self.devices[device].lacks);
        let Some(engine) = &self.devices[device].engine else {
            return;
        };
        let roster = engine.job().roster();
        let limit = engine.job().plan().times.watch_limit_ms;
        let clock = self.devices[device].clocks.at(self.now);
        let mut word = None;
        let mut still = Vec::with_capacity(lacks.len());
        for number in lacks {
            let pressed = &mut self.pressed[number];
            let held = engine.holds(&pressed.entry);
            let author = self.devices[pressed.device].id;
            let bound = !pressed.died && roster.present(&author) && roster.present(&engine.me());
            if held || bound {
                let word = *word.get_or_insert_with(|| engine.call(clock).word);
                let shown = pressed.shown.iter().any(|(by, _)| *by == device);
                if word == CallWord::StopWork && !shown {
                    pressed.shown.push((device, self.now));
                    self.first_stop.entry(device).or_insert(self.now);
                }
                let since = self.now - pressed.at;
                if !held && let Err(broken) = invariants::stops_in_time(word, since, limit) {
                    self.broken.push(Broken(format!(
                        "{broken}: device {device}, stop pressed on {}",
                        pressed.device
                    )));
                }
            }
            if !held {
                still.push(number);
            }
        }
        self.devices[device].lacks = still;
    }

    /// PAGE: nobody goes on while a page of the crew hangs.
    fn look_at_pages(&mut self, device: usize) {
        let Some(engine) = &self.devices[device].engine else {
            return;
        };
        let limit = engine.job().plan().times.watch_limit_ms;
        let clock = self.devices[device].clocks.at(self.now);
        let mut word = None;
        for (number, other) in self.devices.iter().enumerate() {
            let Some(since) = other.page.silent_since() else {
                continue;
            };
            let concerned = other.engine.is_some()
                && other.hostile.is_none()
                && engine.job().roster().present(&other.id);
            let since = self.now - since;
            // Asked after each event: not before there is something to say.
            if !concerned || since <= PAGE_LIMIT_MS {
                continue;
            }
            let word = *word.get_or_insert_with(|| engine.call(clock).word);
            let held = invariants::holds_for_a_page(word, number == device, since, limit);
            if let Err(broken) = held {
                self.broken.push(Broken(format!(
                    "{broken}: device {device}, page of {number}"
                )));
            }
        }
    }

    /// I2 for a page that shows Proceed until `good_until`.
    pub(super) fn page_proceeds(&mut self, device: usize, good_until: u64) {
        let Some(engine) = &self.devices[device].engine else {
            return;
        };
        let limit = engine.job().plan().times.watch_limit_ms;
        for number in &self.devices[device].lacks {
            let pressed = &self.pressed[*number];
            let author = self.devices[pressed.device].id;
            let bound = !pressed.died
                && !engine.holds(&pressed.entry)
                && engine.job().roster().present(&author);
            let since = good_until.saturating_sub(pressed.at);
            if bound
                && let Err(broken) = invariants::page_stops_in_time(CallWord::Proceed, since, limit)
            {
                self.broken.push(Broken(format!(
                    "{broken}: page of {device}, stop pressed on {}",
                    pressed.device
                )));
            }
        }
    }
}
