//! World: several engines, one queue of events on true virtual time.
//! Owns: true time, the devices, the radio, chance.   Gives: runs that a seed fixes.
//! May use: protocol, radio, crew.   Never: a real clock, threads, an order that memory addresses decide.
//!
//! In reading order: `queue` what happens when · `device` one device: key, power, its parts · `clocks` · `disk`
//! · `page` · `hostile` bad hands · `meddle` past the engine · `links` which connections stand · `joining` onto the job · `carry` inputs and effects · `press`
//! fingers and answers · `look` what must never be, after each event · `trace` the hash of a run.

mod carry;
mod clocks;
mod device;
mod disk;
mod hostile;
mod joining;
mod links;
mod look;
mod meddle;
mod page;
mod press;
mod queue;
mod trace;

pub use device::Device;
pub use disk::{Disk, Image};
pub use hostile::MISCHIEFS;
pub use look::{Broken, Pressed, Rule};
pub use page::{Page, PageState};

use crate::radio::{Air, Radio};
use crate::rng::Rng;
use crate::signing::Signing;
use gantline_protocol::engine::{Alarm, Command, CommandId, Engine, Outcome};
use gantline_protocol::ids::{DeviceKey, EntryHash, Person, RoleId};
use gantline_protocol::log::entry::Body;
use gantline_protocol::plan::Plan;
use queue::{Event, Queue};
use std::collections::BTreeMap;
use std::sync::Arc;
use trace::Trace;

/// What a run starts from.
#[derive(Clone, Debug)]
pub struct Options {
    /// Fixes everything else.
    pub seed: u64,
    /// The air.
    pub air: Air,
    /// The plan.
    pub plan: Plan,
    /// The crew: call sign and roles; the first founds the job.
    pub crew: Vec<(Person, Vec<RoleId>)>,
    /// Shortest and longest time a person takes to do the next thing, ms.
    pub think_ms: (u64, u64),
}

/// Datagrams.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sent {
    /// How many.
    pub datagrams: u64,
    /// Bytes in them.
    pub bytes: u64,
}

/// Several devices on one virtual clock.
#[derive(Debug)]
pub struct World {
    /// True time, ms.
    pub now: u64,
    /// The radio.
    pub radio: Radio,
    /// The devices.
    pub devices: Vec<Device>,
    /// Answers to commands, in order: device, what was done, how it went.
    pub outcomes: Vec<(usize, Command, Outcome)>,
    /// How often each reason was given for a refusal.
    pub refusals: BTreeMap<&'static str, u64>,
    /// How often each reason was given for which what was recorded does not count.
    pub noted: BTreeMap<&'static str, u64>,
    /// Stops pressed.
    pub pressed: Vec<Pressed>,
    /// When each device first said Stop work after the newest press, by true time.
    pub first_stop: BTreeMap<usize, u64>,
    /// What was found broken.
    pub broken: Vec<Broken>,
    /// Faults and own errors that engines named.
    pub faults: Vec<String>,
    /// What was sent, if anybody listens: whether as a datagram, and the bytes.
    pub tap: Option<Vec<(bool, Arc<[u8]>)>>,
    signing: Signing,
    /// What a device made of each set of entries, and which device.
    views: BTreeMap<EntryHash, (usize, look::View)>,
    /// Is told what happens, line by line, if anybody wants to read it.
    pub telling: Option<fn(&str)>,
    /// One rule more, looked at after each event of a device.
    pub rule: Option<Rule>,
    /// What was handed to the radio as datagrams, lost or not.
    pub sent: Sent,
    /// What began to sound: when, on which device.
    pub sounds: Vec<(u64, usize, Alarm)>,
    /// What hostile devices did, by name.
    pub mischiefs: BTreeMap<&'static str, u64>,
    options: Options,
    rng: Rng,
    queue: Queue,
    links: BTreeMap<(usize, usize), links::Link>,
    commands: BTreeMap<CommandId, Command>,
    next_command: u64,
    trace: Trace,
}

impl World {
    /// A world with the founder's device on and the others off the job.
    #[must_use]
    pub fn new(options: Options) -> Self {
        Self::signing(options, Signing::Real)
    }

    /// As [`World::new`], with this kind of signatures.
    #[must_use]
    pub fn signing(options: Options, signing: Signing) -> Self {
        let mut rng = Rng::new(options.seed);
        let devices = options
            .crew
            .iter()
            .map(|(person, roles)| Device::new(person, roles, &mut rng))
            .collect();
        let mut world = Self {
            now: 0,
            radio: Radio::new(options.air),
            devices,
            outcomes: Vec::new(),
            refusals: BTreeMap::new(),
            noted: BTreeMap::new(),
            pressed: Vec::new(),
            first_stop: BTreeMap::new(),
            broken: Vec::new(),
            faults: Vec::new(),
            tap: None,
            signing,
            views: BTreeMap::new(),
            telling: None,
            sounds: Vec::new(),
            rule: None,
            sent: Sent::default(),
            mischiefs: BTreeMap::new(),
            rng,
            options,
            queue: Queue::default(),
            links: BTreeMap::new(),
            commands: BTreeMap::new(),
            next_command: 0,
            trace: Trace::default(),
        };
        world.found();
        world.push(0, Event::Dial);
        world
    }

    /// A world in which the whole crew is admitted and connected.
    #[must_use]
    pub fn with_crew(options: Options) -> Self {
        let mut world = Self::new(options);
        world.admit_all();
        world
    }

    /// The whole crew is admitted and connected.
    pub fn admit_all(&mut self) {
        for device in 1..self.devices.len() {
            self.admit(device);
        }
        self.run_for(2_000);
    }

    /// Says what happens, if anybody wants to read it.
    pub fn say(&self, what: impl FnOnce() -> String) {
        if let Some(tell) = self.telling {
            tell(&format!("{:>9.3} {}", self.now as f64 / 1_000.0, what()));
        }
    }

    /// Chance for somebody outside, drawn from this world's.
    pub fn chance(&mut self) -> Rng {
        Rng::new(self.rng.draw())
    }

    /// Shortest and longest time a person takes to do the next thing from now on, ms.
    pub fn set_think(&mut self, think_ms: (u64, u64)) {
        self.options.think_ms = think_ms;
    }

    /// What the run started from.
    #[must_use]
    pub fn seed(&self) -> u64 {
        self.options.seed
    }

    /// How entries are signed and checked in this run.
    #[must_use]
    pub fn signatures(&self) -> &'static dyn gantline_protocol::log::signatures::Signatures {
        self.signing.signatures()
    }

    /// The hash of everything that happened so far.
    #[must_use]
    pub fn trace(&self) -> EntryHash {
        self.trace.hash()
    }

    /// The engine of a device that is on.
    #[must_use]
    pub fn engine(&self, device: usize) -> Option<&Engine> {
        self.devices.get(device)?.engine.as_ref()
    }

    /// The device of the supervisor in office, as the first device sees it that is on, in good hands and on the job
    /// by its own log and the word of others: who is in bad hands or was removed may take anybody for it, first of
    /// all itself.
    #[must_use]
    pub fn supervisor(&self) -> usize {
        let roster = (0..self.devices.len())
            .filter(|&device| !self.is_hostile(device) && !self.told_off(device))
            .filter_map(|device| self.engine(device))
            .map(|engine| (engine.job().roster(), engine.me()))
            .find_map(|(roster, me)| roster.present(&me).then_some(roster));
        let key = roster.and_then(|roster| roster.supervisor);
        self.devices
            .iter()
            .position(|device| Some(device.id) == key)
            .unwrap_or(0)
    }

    /// Whether somebody in good hands has told a device that it was taken off the job, which its own log lacks.
    #[must_use]
    pub fn told_off(&self, device: usize) -> bool {
        let told = self
            .engine(device)
            .map_or(&[][..], |engine| engine.off_by());
        let by = |key: &DeviceKey| self.devices.iter().position(|other| other.id == *key);
        let mut by = told.iter().filter_map(by);
        by.any(|other| !self.is_hostile(other))
    }

    /// Lets time pass.
    pub fn run_for(&mut self, ms: u64) {
        let end = self.now + ms;
        while let Some((at, event)) = self.queue.pop_until(end) {
            self.now = self.now.max(at);
            self.happen(event);
        }
        self.now = end;
    }

    /// Lets time pass until something is so, at most `ms`; whether it came to be.
    pub fn run_until(&mut self, ms: u64, so: impl Fn(&Self) -> bool) -> bool {
        let end = self.now + ms;
        while self.now < end {
            if so(self) {
                return true;
            }
            self.run_for(50.min(end - self.now));
        }
        so(self)
    }

    /// As [`World::run_until`], looking after every single event.
    pub fn run_until_exact(&mut self, ms: u64, so: impl Fn(&Self) -> bool) -> bool {
        let end = self.now + ms;
        while !so(self) {
            let Some((at, event)) = self.queue.pop_until(end) else {
                break;
            };
            self.now = self.now.max(at);
            self.happen(event);
        }
        so(self)
    }

    fn happen(&mut self, event: Event) {
        match event {
            Event::Dial => {
                self.dial();
                self.push(links::DIAL_MS, Event::Dial);
            }
            Event::Of {
                device,
                boot,
                happens,
            } => {
                if self.devices[device].boots == boot {
                    self.happen_at(device, happens);
                }
            }
        }
    }

    fn push(&mut self, in_ms: u64, event: Event) {
        self.queue.push(self.now + in_ms, event);
    }

    /// Whether all devices that are on hold the same entries.
    #[must_use]
    pub fn level(&self) -> bool {
        let mut counts: Vec<Vec<EntryHash>> = self
            .devices
            .iter()
            .filter_map(|device| device.engine.as_ref())
            .filter(|engine| engine.job().roster().present(&engine.me()))
            .map(|engine| {
                let graph = engine.job().graph();
                let mut hashes: Vec<EntryHash> = graph.iter().map(|ix| graph.hash(ix)).collect();
                hashes.sort();
                hashes
            })
            .collect();
        counts.dedup();
        counts.len() == 1
    }

    /// Whether some device's log closes the job.
    #[must_use]
    pub fn closed(&self) -> bool {
        self.devices
            .iter()
            .filter_map(|device| device.engine.as_ref())
            .any(|engine| {
                let graph = engine.job().graph();
                graph
                    .iter()
                    .any(|ix| matches!(graph.body(ix), Body::Close(_)))
            })
    }

    /// I5: entries that holders were told are recorded and that somebody who is on does not hold.
    #[must_use]
    pub fn lost_entries(&self) -> Vec<EntryHash> {
        self.devices
            .iter()
            .flat_map(|device| &device.told_recorded)
            .filter(|entry| {
                !self
                    .devices
                    .iter()
                    .filter_map(|device| device.engine.as_ref())
                    .all(|engine| engine.holds(entry))
            })
            .copied()
            .collect()
    }

    /// How many entries the first device that is on holds.
    #[must_use]
    pub fn entries(&self) -> usize {
        self.devices
            .iter()
            .find_map(|device| device.engine.as_ref())
            .map_or(0, |engine| engine.job().graph().len())
    }
}
