//! World: several engines, one queue of events on true virtual time.
//! Owns: true time, the devices, their disks and clocks, the radio, chance.   Gives: runs that a seed fixes.
//! May use: protocol, radio, crew.   Never: a real clock, threads, an order that memory addresses decide.

use crate::crew::{self, Temper};
use crate::radio::{Air, Radio};
use crate::rng::Rng;
use ed25519_zebra::SigningKey;
use gantline_protocol::bounds::TICK_MS;
use gantline_protocol::engine::{
    Command, CommandId, Config, Effect, Engine, FlushId, Input, Outcome, VerifyId, found,
};
use gantline_protocol::ids::{BootId, DeviceKey, EntryHash, Person, RoleId};
use gantline_protocol::join;
use gantline_protocol::log::entry::{Body, Found};
use gantline_protocol::log::sign::{self, BadSignature, Verified};
use gantline_protocol::log::wire::Entry;
use gantline_protocol::plan::Plan;
use gantline_protocol::state::CallWord;
use gantline_protocol::time::{Now, Tick, WallClock};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// A connection is noticed dead after so long, ms.
const DEAD_MS: u64 = 3_000;
/// Pairs are looked at so often for connections to make or to end, ms.
const DIAL_MS: u64 = 200;

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

#[derive(Debug)]
enum Event {
    Wake {
        device: usize,
        boot: u64,
    },
    Input {
        device: usize,
        boot: u64,
        input: Wire,
    },
    Think {
        device: usize,
        boot: u64,
    },
    Dial,
}

/// Inputs in a form that can wait in the queue.
#[derive(Debug)]
enum Wire {
    Datagram(usize, Arc<[u8]>),
    Message(usize, Arc<[u8]>),
    Flushed(FlushId, Vec<Arc<[u8]>>),
    Checked(VerifyId, Vec<Verified>, Vec<BadSignature>),
}

/// One device of the world.
#[derive(Debug)]
pub struct Device {
    key: SigningKey,
    /// Its public key.
    pub id: DeviceKey,
    person: Person,
    roles: Vec<RoleId>,
    engine: Option<Engine>,
    /// What survives a loss of power.
    journal: Vec<Arc<[u8]>>,
    boots: u64,
    disk_free_at: u64,
    /// Whether the disk refuses everything.
    pub disk_full: bool,
    tick_origin: u64,
    wall_ahead: i64,
    peers: BTreeSet<DeviceKey>,
    /// Whether the person at it does what is asked.
    pub willing: bool,
    waits_for: Option<CommandId>,
    temper: Temper,
    /// Entries that the holder was told are recorded.
    pub told_recorded: BTreeSet<EntryHash>,
}

/// A stop as a person pressed it, by true time.
#[derive(Clone, Debug)]
pub struct Pressed {
    /// On which device.
    pub device: usize,
    /// When.
    pub at: u64,
    /// How many stops its author had in its log before, to find it again.
    seen: Option<EntryHash>,
}

/// Something that must never be.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Broken(pub String);

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
    options: Options,
    rng: Rng,
    queue: BTreeMap<(u64, u64), Event>,
    counter: u64,
    links: BTreeMap<(usize, usize), Link>,
    commands: BTreeMap<CommandId, Command>,
    next_command: u64,
    trace: blake3::Hasher,
}

#[derive(Debug, Default)]
struct Link {
    up: bool,
    bad_since: Option<u64>,
}

impl World {
    /// A world with the founder's device on and the others off the job.
    #[must_use]
    pub fn new(options: Options) -> Self {
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
            pressed: Vec::new(),
            first_stop: BTreeMap::new(),
            broken: Vec::new(),
            faults: Vec::new(),
            tap: None,
            rng,
            options,
            queue: BTreeMap::new(),
            counter: 0,
            links: BTreeMap::new(),
            commands: BTreeMap::new(),
            next_command: 0,
            trace: blake3::Hasher::new(),
        };
        world.found();
        world.push(0, Event::Dial);
        world
    }

    /// A world in which the whole crew is admitted and connected.
    #[must_use]
    pub fn with_crew(options: Options) -> Self {
        let mut world = Self::new(options);
        for device in 1..world.devices.len() {
            world.admit(device);
        }
        world.run_for(2_000);
        world
    }

    fn found(&mut self) {
        let nonce = self.rng.bytes();
        let founder = &mut self.devices[0];
        let mut short = [0; 16];
        short.copy_from_slice(&nonce[..16]);
        let founding = found(
            &founder.key,
            WallClock(1_790_000_000_000 + founder.wall_ahead),
            Found {
                plan: self.options.plan.clone(),
                person: founder.person.clone(),
                roles: founder.roles.clone(),
                continues: None,
                nonce: short,
            },
        );
        match founding {
            Ok(founding) => founder.journal = vec![Arc::clone(&founding.entry().bytes)],
            Err(cannot) => self.broken.push(Broken(format!("founding: {cannot}"))),
        }
        self.power_on(0);
    }

    /// The supervisor admits a device by its words; it takes the log and starts.
    pub fn admit(&mut self, device: usize) {
        let joining = &self.devices[device];
        let command = Command::Admit {
            device: joining.id,
            person: joining.person.clone(),
            roles: joining.roles.clone(),
            replaces: None,
        };
        self.admit_as(device, command);
    }

    /// As [`World::admit`], with an admission of one's own making.
    pub fn admit_as(&mut self, device: usize, command: Command) {
        let (host, id) = (self.supervisor(), self.devices[device].id);
        self.do_now(host, command);
        self.run_until(5_000, |world| {
            world
                .engine(host)
                .is_some_and(|engine| join::log_for(engine.job().graph(), &id).is_some())
        });
        match self.join(host, device) {
            Ok(journal) => {
                self.devices[device].journal = journal;
                self.power_on(device);
            }
            Err(why) => self.broken.push(Broken(format!("joining: {why}"))),
        }
    }

    /// The way onto the job, by the messages that the two devices would send.
    fn join(&mut self, host: usize, device: usize) -> Result<Vec<Arc<[u8]>>, String> {
        let text = |bad: join::BadJoin| bad.to_string();
        let (theirs, ours) = (self.rng.bytes(), self.rng.bytes());
        let (id, host_id) = (self.devices[device].id, self.devices[host].id);
        let person = self.devices[device].person.clone();
        let (mut joining, knock) = join::Joining::new(id, host_id, person, theirs);
        let mut hosting = join::Hosting::new(host_id, id, ours);
        let join::HostStep::Send(here) = hosting.hear(&knock).map_err(text)? else {
            return Err("no answer to a knock".to_owned());
        };
        let join::JoinStep::Compare { words, send } = joining.hear(&here).map_err(text)? else {
            return Err("no words".to_owned());
        };
        match hosting.hear(&send).map_err(text)? {
            join::HostStep::Compare { words: same, .. } if same == words => {}
            other => return Err(format!("other words: {other:?}")),
        }
        let engine = self.engine(host).ok_or("the host is off")?;
        let messages = join::log_for(engine.job().graph(), &id).ok_or("not admitted")?;
        for message in messages {
            if let join::JoinStep::Ready { journal, .. } = joining.hear(&message).map_err(text)? {
                let bytes = journal.iter().map(|v| Arc::clone(&v.entry().bytes));
                return Ok(bytes.collect());
            }
        }
        Err("the log ended before the admission".to_owned())
    }

    /// The device of the supervisor in office, as the first device that is on sees it.
    #[must_use]
    pub fn supervisor(&self) -> usize {
        let engine = self
            .devices
            .iter()
            .find_map(|device| device.engine.as_ref());
        let key = engine.and_then(|engine| engine.job().roster().supervisor);
        self.devices
            .iter()
            .position(|device| Some(device.id) == key)
            .unwrap_or(0)
    }

    /// Turns a device on with what is in its journal.
    pub fn power_on(&mut self, device: usize) {
        // A device that starts has no connections; its peers find the old ones dead.
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
        let now = self.clock(device);
        let boot = self.rng.draw();
        let own = &mut self.devices[device];
        own.boots += 1;
        own.waits_for = None;
        let mut journal = Vec::new();
        for bytes in &own.journal {
            let verified = Entry::decode(Arc::clone(bytes))
                .map_err(|bad| bad.to_string())
                .and_then(|entry| sign::verify(entry).map_err(|bad| bad.to_string()));
            match verified {
                Ok(verified) => journal.push(verified),
                Err(bad) => self.broken.push(Broken(format!("journal: {bad}"))),
            }
        }
        let config = Config {
            key: own.key,
            boot: BootId(boot),
            journal_damaged: false,
        };
        match Engine::open(config, journal, now) {
            Ok((engine, effects)) => {
                own.engine = Some(engine);
                self.carry_out(device, effects);
                let think = self.think_ms();
                let boot = self.devices[device].boots;
                self.push(think, Event::Think { device, boot });
            }
            Err(cannot) => self.broken.push(Broken(format!("open: {cannot}"))),
        }
    }

    /// Power is gone: what was not flushed is lost.
    pub fn power_off(&mut self, device: usize) {
        self.devices[device].engine = None;
        self.devices[device].boots += 1;
        self.devices[device].peers.clear();
        self.devices[device].disk_free_at = 0;
        self.note(&[b'o', device.to_le_bytes()[0]]);
    }

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

    /// The engine of a device that is on.
    #[must_use]
    pub fn engine(&self, device: usize) -> Option<&Engine> {
        self.devices.get(device)?.engine.as_ref()
    }

    /// What a device's clocks say.
    #[must_use]
    pub fn clock(&self, device: usize) -> Now {
        let own = &self.devices[device];
        Now {
            tick: Tick(own.tick_origin + self.now),
            wall: WallClock(
                1_790_000_000_000_i64
                    .saturating_add(own.wall_ahead)
                    .saturating_add_unsigned(self.now),
            ),
        }
    }

    /// A finger presses, now.
    pub fn do_now(&mut self, device: usize, command: Command) {
        let id = CommandId(self.next_command);
        self.next_command += 1;
        self.commands.insert(id, command.clone());
        self.note(format!("{device} {command:?}").as_bytes());
        if matches!(command, Command::Stop { .. } | Command::Withdraw { .. }) {
            self.pressed.push(Pressed {
                device,
                at: self.now,
                seen: None,
            });
            self.first_stop.clear();
        }
        self.devices[device].waits_for = Some(id);
        self.input(device, Input::Command { id, command });
    }

    /// Bytes reach a device on its link with another, whoever made them.
    pub fn receive(&mut self, device: usize, from: usize, datagram: bool, bytes: Vec<u8>) {
        let from = self.devices[from].id;
        let input = if datagram {
            Input::Datagram { from, bytes }
        } else {
            Input::Message { from, bytes }
        };
        self.input(device, input);
    }

    fn push(&mut self, in_ms: u64, event: Event) {
        self.counter += 1;
        self.queue.insert((self.now + in_ms, self.counter), event);
    }

    fn note(&mut self, what: &[u8]) {
        self.trace.update(&self.now.to_le_bytes());
        self.trace.update(&(what.len() as u64).to_le_bytes());
        self.trace.update(what);
    }

    /// The hash of everything that happened so far.
    #[must_use]
    pub fn trace(&self) -> EntryHash {
        EntryHash(*self.trace.finalize().as_bytes())
    }

    fn think_ms(&mut self) -> u64 {
        let (low, high) = self.options.think_ms;
        self.rng.between(low, high)
    }

    /// Lets time pass.
    pub fn run_for(&mut self, ms: u64) {
        let end = self.now + ms;
        while let Some(entry) = self.queue.first_entry() {
            let at = entry.key().0;
            if at > end {
                break;
            }
            let event = entry.remove();
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
        while let Some(entry) = self.queue.first_entry() {
            let at = entry.key().0;
            if at > end || so(self) {
                break;
            }
            let Some((_, event)) = self.queue.pop_first() else {
                break;
            };
            self.now = self.now.max(at);
            self.happen(event);
        }
        so(self)
    }

    /// What the run started from.
    #[must_use]
    pub fn seed(&self) -> u64 {
        self.options.seed
    }

    fn happen(&mut self, event: Event) {
        match event {
            Event::Dial => {
                self.dial();
                self.push(DIAL_MS, Event::Dial);
            }
            Event::Wake { device, boot } => {
                if self.devices[device].boots == boot {
                    self.input(device, Input::Tick);
                    self.look(device);
                }
            }
            Event::Think { device, boot } => {
                if self.devices[device].boots == boot {
                    let think = self.think_ms();
                    self.push(think, Event::Think { device, boot });
                    self.think(device);
                }
            }
            Event::Input {
                device,
                boot,
                input,
            } => {
                if self.devices[device].boots == boot && self.devices[device].engine.is_some() {
                    self.arrive(device, input);
                }
            }
        }
    }

    fn arrive(&mut self, device: usize, input: Wire) {
        let input = match input {
            Wire::Datagram(from, bytes) => {
                if !self.linked(device, from) || !self.radio.open(device, from) {
                    return;
                }
                Input::Datagram {
                    from: self.devices[from].id,
                    bytes: bytes.to_vec(),
                }
            }
            Wire::Message(from, bytes) => {
                if !self.linked(device, from) || !self.radio.open(device, from) {
                    return;
                }
                Input::Message {
                    from: self.devices[from].id,
                    bytes: bytes.to_vec(),
                }
            }
            Wire::Flushed(batch, entries) => {
                if self.devices[device].disk_full {
                    let why = "no space left".to_owned();
                    Input::FlushFailed { batch, why }
                } else {
                    self.devices[device].journal.extend(entries);
                    Input::Flushed { batch }
                }
            }
            Wire::Checked(batch, good, bad) => Input::Verified { batch, good, bad },
        };
        self.input(device, input);
    }

    fn linked(&self, one: usize, other: usize) -> bool {
        self.links
            .get(&(one.min(other), one.max(other)))
            .is_some_and(|link| link.up)
    }

    fn dial(&mut self) {
        let count = self.devices.len();
        for one in 0..count {
            for other in one + 1..count {
                let (first, second) = (&self.devices[one], &self.devices[other]);
                let wanted = first.engine.is_some()
                    && second.engine.is_some()
                    && first.peers.contains(&second.id)
                    && second.peers.contains(&first.id)
                    && self.radio.open(one, other);
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

    fn input(&mut self, device: usize, input: Input) {
        self.note(&trace_of(device, &input));
        let now = self.clock(device);
        let Some(engine) = self.devices[device].engine.as_mut() else {
            return;
        };
        let effects = engine.handle(now, input);
        self.carry_out(device, effects);
    }

    fn carry_out(&mut self, device: usize, effects: Vec<Effect>) {
        let boot = self.devices[device].boots;
        for effect in effects {
            if let Some(tap) = &mut self.tap {
                match &effect {
                    Effect::Datagram { bytes, .. } => tap.push((true, Arc::clone(bytes))),
                    Effect::Message { bytes, .. } => tap.push((false, Arc::clone(bytes))),
                    _ => {}
                }
            }
            match effect {
                Effect::Verify { batch, entries } => {
                    let (good, bad) = sign::verify_batch(entries);
                    let input = Wire::Checked(batch, good, bad);
                    self.push(
                        1,
                        Event::Input {
                            device,
                            boot,
                            input,
                        },
                    );
                }
                Effect::Flush { batch, entries } => {
                    let takes = self.rng.between(1, 8);
                    let own = &mut self.devices[device];
                    own.disk_free_at = own.disk_free_at.max(self.now) + takes;
                    let in_ms = own.disk_free_at - self.now;
                    let input = Wire::Flushed(batch, entries);
                    self.push(
                        in_ms,
                        Event::Input {
                            device,
                            boot,
                            input,
                        },
                    );
                }
                Effect::Datagram { to, bytes } => {
                    if let Some(peer) = self.sendable(device, to) {
                        for in_ms in self.radio.datagram(&mut self.rng) {
                            let input = Wire::Datagram(device, Arc::clone(&bytes));
                            let boot = self.devices[peer].boots;
                            let device = peer;
                            self.push(
                                in_ms,
                                Event::Input {
                                    device,
                                    boot,
                                    input,
                                },
                            );
                        }
                    }
                }
                Effect::Message { to, bytes } => {
                    if let Some(peer) = self.sendable(device, to) {
                        let in_ms = self.radio.message(&mut self.rng);
                        let input = Wire::Message(device, bytes);
                        let boot = self.devices[peer].boots;
                        let device = peer;
                        self.push(
                            in_ms,
                            Event::Input {
                                device,
                                boot,
                                input,
                            },
                        );
                    }
                }
                Effect::Reply { id, outcome } => self.reply(device, id, outcome),
                Effect::Peers { keys } => {
                    self.devices[device].peers = keys.into_iter().collect();
                }
                Effect::Bug { what } => self.faults.push(format!("{device}: {what}")),
                Effect::Fault { fault, .. } => self.faults.push(format!("{device}: {fault}")),
                Effect::Changed | Effect::Alarm { .. } | Effect::StrangerHeard { .. } => {}
            }
        }
        if let Some(engine) = &self.devices[device].engine {
            let wake = engine.deadline().0.since(self.clock(device).tick).max(1);
            self.wake(device, wake);
        }
    }

    /// One waking for each device is enough; an earlier one replaces the later.
    fn wake(&mut self, device: usize, in_ms: u64) {
        let at = self.now + in_ms.min(TICK_MS);
        let boot = self.devices[device].boots;
        let sooner = self
            .queue
            .range((self.now, 0)..=(at, u64::MAX))
            .any(|(_, event)| matches!(event, Event::Wake { device: d, boot: b } if *d == device && *b == boot));
        if !sooner {
            self.push(at - self.now, Event::Wake { device, boot });
        }
    }

    fn sendable(&mut self, device: usize, to: DeviceKey) -> Option<usize> {
        let peer = self.devices.iter().position(|other| other.id == to)?;
        (self.linked(device, peer) && self.radio.open(device, peer)).then_some(peer)
    }

    fn reply(&mut self, device: usize, id: CommandId, outcome: Outcome) {
        self.note(format!("{device} {outcome:?}").as_bytes());
        if self.devices[device].waits_for == Some(id) {
            self.devices[device].waits_for = None;
        }
        match &outcome {
            Outcome::Recorded { entry, .. } => {
                self.devices[device].told_recorded.insert(*entry);
            }
            Outcome::Refused { reasons } => {
                for reason in reasons {
                    *self.refusals.entry(reason.code()).or_default() += 1;
                }
            }
            Outcome::AlreadySo => {}
        }
        if let Some(command) = self.commands.remove(&id) {
            self.devices[device]
                .temper
                .learn(self.now, &command, &outcome);
            self.outcomes.push((device, command, outcome));
        }
    }

    fn think(&mut self, device: usize) {
        let own = &self.devices[device];
        if !own.willing || own.waits_for.is_some() {
            return;
        }
        let Some(engine) = &own.engine else {
            return;
        };
        let status = engine.status(self.clock(device));
        let command = crew::next_act(&status, engine.job(), &own.temper, self.now);
        if let Some(command) = command {
            self.do_now(device, command);
        }
    }

    /// What must never be, looked at on every tick of every device.
    fn look(&mut self, device: usize) {
        let Some(engine) = &self.devices[device].engine else {
            return;
        };
        if self.pressed.is_empty() {
            return;
        }
        let word = engine.call(self.clock(device)).word;
        if word == CallWord::StopWork {
            self.first_stop.entry(device).or_insert(self.now);
        }
        if word != CallWord::Proceed {
            return;
        }
        let limit = engine.job().plan().times.watch_limit_ms + 2 * TICK_MS;
        let mut broken = Vec::new();
        for (number, pressed) in self.pressed.iter().enumerate() {
            let author = self.devices[pressed.device].id;
            let graph = engine.job().graph();
            let stops = graph
                .iter()
                .filter(|&ix| graph.author(ix) == author && graph.body(ix).is_stop())
                .count();
            let of_author = self.pressed[..=number]
                .iter()
                .filter(|other| other.device == pressed.device)
                .count();
            let has_it = stops >= of_author;
            let present = engine.job().roster().present(&author);
            if self.now > pressed.at + limit && !has_it && present {
                broken.push(Broken(format!(
                    "I2: device {device} says Proceed {} ms after a stop pressed on {}",
                    self.now - pressed.at,
                    pressed.device
                )));
            }
        }
        self.broken.extend(broken);
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

    /// I5: entries that holders were told are recorded and that nobody who is on holds.
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

impl Device {
    fn new(person: &Person, roles: &[RoleId], rng: &mut Rng) -> Self {
        let key = SigningKey::from(rng.bytes());
        Self {
            id: DeviceKey(ed25519_zebra::VerificationKey::from(&key).into()),
            key,
            person: person.clone(),
            roles: roles.to_vec(),
            engine: None,
            journal: Vec::new(),
            boots: 0,
            disk_free_at: 0,
            disk_full: false,
            tick_origin: rng.between(0, 1_000_000_000),
            wall_ahead: i64::try_from(rng.between(0, 20_000)).unwrap_or(0) - 10_000,
            peers: BTreeSet::new(),
            willing: true,
            waits_for: None,
            temper: Temper::default(),
            told_recorded: BTreeSet::new(),
        }
    }
}

fn trace_of(device: usize, input: &Input) -> Vec<u8> {
    let mut bytes = vec![device.to_le_bytes()[0]];
    match input {
        Input::Datagram {
            from,
            bytes: content,
        }
        | Input::Message {
            from,
            bytes: content,
        } => {
            bytes.extend_from_slice(&from.0[..8]);
            bytes.extend_from_slice(blake3::hash(content).as_bytes());
        }
        Input::Verified { batch, good, bad } => {
            bytes.extend_from_slice(format!("{batch:?} {} {}", good.len(), bad.len()).as_bytes());
        }
        other => bytes.extend_from_slice(format!("{other:?}").as_bytes()),
    }
    bytes
}

impl Pressed {
    /// The entry, once known.
    #[must_use]
    pub fn entry(&self) -> Option<EntryHash> {
        self.seen
    }
}
