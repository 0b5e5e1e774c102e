//! Device: one device of a small world, from one coarse event to the next.
//! Owns: an engine, its disk, its clock.   Gives: what an event makes of it, and what it sends.
//! May use: protocol.   Never: other devices, the order of events (search).
//!
//! A disk answers at once, except where the batch has an own stop in it: between its making and its flush
//! power can fail, and a stop is shown and sent before it is safe.

use super::setup::{Crew, DEVICES, WALL};
use crate::signing::Simulated;
use gantline_protocol::bounds::{DATAGRAM_MAX_BYTES, TICK_MS};
use gantline_protocol::engine::{
    Command, CommandId, Config, Effect, Engine, FlushId, Input, Outcome,
};
use gantline_protocol::ids::{BootId, DeviceKey, EntryHash};
use gantline_protocol::invariants;
use gantline_protocol::log::sign::{self, Verified};
use gantline_protocol::log::wire::Entry;
use gantline_protocol::state::{CallWord, digest};
use gantline_protocol::sync::{Datagram, Message};
use gantline_protocol::time::{Now, Tick};
use gantline_protocol::watch::{Beacon, Echo, Row, bundle, check_beacon, unbundle};
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

/// Two seconds pass in which both others are heard: longer than any wait before an ask, a repeat or the end
/// of a Hold, and at its end every proof is as new as it can be.
pub(super) const HEARD_MS: u64 = 2_000;
/// A silence: longer than the watch limit.
const SILENT_MS: u64 = 5_000;

/// Entries whose signatures were found good: each is checked once in a whole exploration.
#[derive(Debug, Default)]
pub(super) struct Checked(BTreeMap<EntryHash, Verified>);

impl Checked {
    fn entry(&mut self, entry: Entry) -> Option<Verified> {
        if let Some(known) = self.0.get(&entry.hash) {
            return Some(known.clone());
        }
        let verified = sign::verify_simulated(&Simulated, entry).ok()?;
        self.0.insert(verified.entry().hash, verified.clone());
        Some(verified)
    }
}

/// What a beacon says that matters: how many entries of each device are held, and whether a stop is pressed.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub(super) struct Said {
    pub(super) held: [u8; DEVICES],
    pub(super) pressed: bool,
}

/// What came of an event.
#[derive(Debug, Default)]
pub(super) struct Done {
    /// Messages, in order: to whom, and the bytes.
    pub(super) sends: Vec<(DeviceKey, Arc<[u8]>)>,
    /// The newest beacon that it made.
    beacon: Option<Beacon>,
    /// How the press went.
    pub(super) outcome: Option<Outcome>,
    /// What no honest crew should ever meet: faults of peers, own errors, broken invariants.
    pub(super) surprises: Vec<String>,
}

impl Done {
    fn also(&mut self, more: Done) {
        self.sends.extend(more.sends);
        self.surprises.extend(more.surprises);
        self.outcome = more.outcome.or(self.outcome.take());
    }
}

/// A device.
#[derive(Clone, Debug)]
pub(super) struct Device {
    pub(super) engine: Engine,
    number: usize,
    tick: u64,
    /// What survives a loss of power.
    pub(super) journal: Vec<Arc<[u8]>>,
    /// The names of what is in the journal.
    on_disk: Vec<EntryHash>,
    unflushed: VecDeque<(FlushId, Vec<Arc<[u8]>>)>,
}

impl Device {
    /// Starts a device with a journal.
    pub(super) fn open(
        crew: &Crew,
        number: usize,
        boot: u32,
        tick: u64,
        journal: Vec<Arc<[u8]>>,
        checked: &mut Checked,
    ) -> Result<Self, String> {
        let entries: Option<Vec<Verified>> = journal
            .iter()
            .map(|bytes| checked.entry(Entry::decode(Arc::clone(bytes)).ok()?))
            .collect();
        let config = Config {
            key: crew.key(number),
            boot: BootId(u64::from(boot)),
            journal_damaged: false,
        };
        let now = Now {
            tick: Tick(tick),
            wall: WALL,
        };
        let entries = entries.ok_or("a journal with a bad entry")?;
        let on_disk = entries.iter().map(|kept| kept.entry().hash).collect();
        let (engine, _) = Engine::open_simulated(&Simulated, config, entries, now)
            .map_err(|cannot| cannot.to_string())?;
        Ok(Self {
            engine,
            number,
            tick,
            journal,
            on_disk,
            unflushed: VecDeque::new(),
        })
    }

    /// What its clocks say.
    pub(super) fn now(&self) -> Now {
        Now {
            tick: Tick(self.tick),
            wall: WALL,
        }
    }

    /// Whether something waits for its disk.
    pub(super) fn is_flushing(&self) -> bool {
        !self.unflushed.is_empty()
    }

    /// What lasts of it when it has just heard the others: two devices that have this in common go on alike.
    /// What was heard before, since when, and what is being asked or repeated is overtaken by what is heard
    /// then.
    pub(super) fn essence(&self) -> [u8; 32] {
        // Whole hashes: shown as text they are shortened, and unlike states of a large world are then taken for one.
        let mut hasher = blake3::Hasher::new();
        hasher.update(&self.number.to_le_bytes());
        hasher.update(&[u8::from(self.engine.is_recovered())]);
        hasher.update(&digest(self.engine.job().graph()).0);
        let waiting: Vec<&EntryHash> = self.engine.waiting().collect();
        hasher.update(&waiting.len().to_le_bytes());
        for hash in waiting {
            hasher.update(&hash.0);
        }
        for (_, entries) in &self.unflushed {
            for bytes in entries {
                hasher.update(blake3::hash(bytes).as_bytes());
            }
        }
        *hasher.finalize().as_bytes()
    }

    /// One input, with its signatures checked and its writes flushed, and what follows from them.
    fn handle(&mut self, input: Input, checked: &mut Checked, done: &mut Done) {
        let effects = self.engine.handle(self.now(), input);
        self.follow(effects.into(), checked, done);
    }

    fn follow(&mut self, mut effects: VecDeque<Effect>, checked: &mut Checked, done: &mut Done) {
        while let Some(effect) = effects.pop_front() {
            match effect {
                Effect::Verify { batch, entries } => {
                    let asked = entries.len();
                    let good: Vec<Verified> = entries
                        .into_iter()
                        .filter_map(|e| checked.entry(e))
                        .collect();
                    if good.len() != asked {
                        done.surprises.push("a bad signature".to_owned());
                    }
                    let bad = Vec::new();
                    let input = Input::Verified { batch, good, bad };
                    effects.extend(self.engine.handle(self.now(), input));
                }
                Effect::Flush { batch, entries } => {
                    self.unflushed.push_back((batch, entries));
                    if !self.own_stop_waits() {
                        effects.extend(self.flush_next());
                    }
                }
                Effect::Message { to, bytes } => {
                    self.look_at_message(&bytes, done);
                    done.sends.push((to, bytes));
                }
                Effect::Datagram { bytes, .. } => {
                    // Beacons are exchanged as an event of their own; a stop goes as a message as well.
                    if let Ok(Datagram::Beacons(bytes)) = Datagram::decode(&bytes)
                        && let Ok(heard) = unbundle(bytes)
                    {
                        let own = heard.into_iter().next();
                        let me = self.engine.me();
                        done.beacon = own
                            .and_then(|own| check_beacon(&Simulated, own, &me).ok())
                            .map(|signed| signed.beacon);
                    }
                }
                Effect::Reply { outcome, .. } => {
                    if let Outcome::Recorded { entry, .. } = &outcome
                        && !self.is_on_disk(entry)
                    {
                        let lost = invariants::Broken::Lost { entry: *entry };
                        done.surprises.push(lost.to_string());
                    }
                    done.outcome = Some(outcome);
                }
                Effect::Fault { fault, .. } => done.surprises.push(format!("fault: {fault}")),
                Effect::DiskFault { why } => done.surprises.push(format!("disk: {why}")),
                Effect::Bug { what } => done.surprises.push(format!("bug: {what}")),
                Effect::Peers { .. }
                | Effect::Changed
                | Effect::Alarm { .. }
                | Effect::StrangerHeard { .. } => {}
            }
        }
    }

    fn is_on_disk(&self, entry: &EntryHash) -> bool {
        self.on_disk.contains(entry)
    }

    /// Durable before visible (I5): nothing but a stop is sent that is not on this disk.
    fn look_at_message(&self, bytes: &[u8], done: &mut Done) {
        for entry in entries_in(bytes) {
            if !entry.content.body.is_stop() && !self.is_on_disk(&entry.hash) {
                let lost = invariants::Broken::Lost { entry: entry.hash };
                done.surprises.push(format!("{lost}: it was sent before"));
            }
        }
    }

    fn own_stop_waits(&self) -> bool {
        self.unflushed.iter().any(|(_, entries)| {
            entries.iter().any(|bytes| {
                Entry::decode(Arc::clone(bytes)).is_ok_and(|entry| {
                    entry.content.author == self.engine.me() && entry.content.body.is_stop()
                })
            })
        })
    }

    fn flush_next(&mut self) -> Vec<Effect> {
        let Some((batch, entries)) = self.unflushed.pop_front() else {
            return Vec::new();
        };
        for bytes in &entries {
            self.on_disk
                .extend(Entry::decode(Arc::clone(bytes)).map(|kept| kept.hash));
        }
        self.journal.extend(entries);
        self.engine.handle(self.now(), Input::Flushed { batch })
    }

    /// A finger presses.
    pub(super) fn press(&mut self, command: &Command, checked: &mut Checked) -> Done {
        let mut done = Done::default();
        let input = Input::Command {
            id: CommandId(0),
            command: command.clone(),
        };
        self.handle(input, checked, &mut done);
        done
    }

    /// A message arrives.
    pub(super) fn deliver(&mut self, from: DeviceKey, bytes: &[u8], checked: &mut Checked) -> Done {
        let mut done = Done::default();
        // With nothing that waits for its past no release comes in with it.
        let new_stop = self.engine.waiting().next().is_none()
            && only_a_stop(bytes)
            && entries_in(bytes)
                .iter()
                .all(|stop| !self.engine.holds(&stop.hash));
        let before = new_stop.then(|| self.engine.status(self.now()));
        let bytes = bytes.to_vec();
        self.handle(Input::Message { from, bytes }, checked, &mut done);
        if let Some(before) = before {
            let after = self.engine.status(self.now());
            if let Err(broken) = invariants::stays_done(&before, &after, self.engine.job().plan()) {
                done.surprises.push(broken.to_string());
            }
            if after.call.word != CallWord::StopWork {
                let words = "a stop that arrived is not shown";
                done.surprises.push(words.to_owned());
            }
        }
        done
    }

    /// The disk has everything.
    pub(super) fn flush(&mut self, checked: &mut Checked) -> Done {
        let mut done = Done::default();
        while self.is_flushing() {
            let effects = self.flush_next();
            self.follow(effects.into(), checked, &mut done);
        }
        done
    }

    /// The two others are heard, and a tick later everything is done that is due by itself.
    pub(super) fn hear(
        &mut self,
        crew: &Crew,
        others: [Said; DEVICES - 1],
        newer: &mut u32,
        checked: &mut Checked,
    ) -> Done {
        let mut done = self.exchange(crew, others, newer, checked);
        done.also(self.wait(TICK_MS, checked));
        done
    }

    /// Beacons go to and fro between this device and the others, of whom it is given what they say: each ends
    /// with a proof of the other's life that is as old as nothing. `newer` numbers starts, ever higher: each
    /// beacon is taken for the first of a start, so that nothing heard before is left.
    fn exchange(
        &mut self,
        crew: &Crew,
        others: [Said; DEVICES - 1],
        newer: &mut u32,
        checked: &mut Checked,
    ) -> Done {
        let mut done = Done::default();
        let Some(own) = self.beacon(crew, &mut done, checked) else {
            done.surprises.push("no beacon where one is due".to_owned());
            return done;
        };
        let me = self.number;
        let peers = (0..DEVICES).filter(|&peer| peer != me);
        for (peer, said) in peers.zip(others) {
            let from = crew.members[peer].id;
            *newer += 1;
            let mut beacon =
                Beacon::new(&self.engine.job().id(), &from, BootId(u64::from(*newer)), 1);
            beacon.pressed = said.pressed;
            beacon.head = u32::from(said.held[peer]);
            beacon.entries = said.held.iter().map(|held| u32::from(*held)).sum();
            beacon.wall = WALL;
            beacon.rows = (0..DEVICES)
                .filter(|&author| author != peer)
                .map(|author| Row {
                    device: crew.members[author].id.tag(),
                    have: u32::from(said.held[author]),
                    echo: (author == self.number).then_some(Echo {
                        boot: own.boot,
                        counter: own.counter,
                    }),
                })
                .collect();
            let bytes = beacon
                .sign(&Simulated, &crew.key(peer))
                .map(|signed| bundle(&signed, [], DATAGRAM_MAX_BYTES))
                .and_then(|bytes| Datagram::Beacons(&bytes).encode());
            if let Some(bytes) = bytes {
                let bytes = bytes.to_vec();
                self.handle(Input::Datagram { from, bytes }, checked, &mut done);
            }
        }
        done
    }

    /// The beacon that it makes now: a link that comes up makes a device send one. What else it would show on
    /// that link is no news.
    fn beacon(&mut self, crew: &Crew, done: &mut Done, checked: &mut Checked) -> Option<Beacon> {
        let peer = crew.others(self.engine.me()).next()?;
        let mut up = Done::default();
        self.handle(Input::Up { peer }, checked, &mut up);
        up.sends.retain(|(_, bytes)| !only_a_stop(bytes));
        let beacon = up.beacon.take();
        done.also(up);
        beacon
    }

    /// Time passes, and both are heard at its beginning and at its end.
    pub(super) fn pass(
        &mut self,
        crew: &Crew,
        others: [Said; DEVICES - 1],
        newer: &mut u32,
        checked: &mut Checked,
    ) -> Done {
        let mut done = self.hear(crew, others, newer, checked);
        done.also(self.wait(HEARD_MS, checked));
        done.also(self.hear(crew, others, newer, checked));
        done
    }

    /// Time passes.
    pub(super) fn wait(&mut self, ms: u64, checked: &mut Checked) -> Done {
        let mut done = Done::default();
        self.tick += ms;
        self.handle(Input::Tick, checked, &mut done);
        done
    }

    /// What it says when nobody has been heard for longer than the watch limit.
    pub(super) fn call_after_silence(&self, checked: &mut Checked) -> CallWord {
        let mut copy = self.clone();
        copy.wait(SILENT_MS, checked);
        copy.call()
    }

    pub(super) fn call(&self) -> CallWord {
        self.engine.call(self.now()).word
    }

    /// Power fails and comes back: what was not flushed is gone, and all links are new.
    pub(super) fn restart(
        &self,
        crew: &Crew,
        newer: &mut u32,
        checked: &mut Checked,
    ) -> Result<(Self, Done), String> {
        *newer += 1;
        let journal = self.journal.clone();
        let mut again = Self::open(crew, self.number, *newer, self.tick, journal, checked)?;
        let mut done = Done::default();
        for peer in crew.others(self.engine.me()) {
            again.handle(Input::Up { peer }, checked, &mut done);
        }
        Ok((again, done))
    }

    /// The link with another is new.
    pub(super) fn reconnect(&mut self, peer: DeviceKey, checked: &mut Checked) -> Done {
        let mut done = Done::default();
        self.handle(Input::Down { peer }, checked, &mut done);
        self.handle(Input::Up { peer }, checked, &mut done);
        done
    }

    /// What its beacons say, and whether they may say so.
    pub(super) fn said(&self, crew: &Crew, checked: &mut Checked) -> Result<Said, String> {
        let mut copy = self.clone();
        let mut done = Done::default();
        let beacon = copy
            .beacon(crew, &mut done, checked)
            .ok_or("a device without a beacon")?;
        let mut held = [0; DEVICES];
        let count = |many: u32| u8::try_from(many).map_err(|_| "too many entries");
        for (author, held) in held.iter_mut().enumerate() {
            let tag = crew.members[author].id.tag();
            *held = if author == self.number {
                count(beacon.head)?
            } else {
                let row = beacon.rows.iter().find(|row| row.device == tag);
                count(row.map_or(0, |row| row.have))?
            };
        }
        let graph = self.engine.job().graph();
        let durable = graph
            .iter()
            .filter(|&ix| graph.author(ix) == self.engine.me() && self.is_on_disk(&graph.hash(ix)))
            .count();
        if usize::from(held[self.number]) > durable {
            return Err("I5: a beacon says that an entry is on disk which is not".to_owned());
        }
        Ok(Said {
            held,
            pressed: beacon.pressed,
        })
    }
}

/// The entries of a message that brings or gives them.
fn entries_in(bytes: &[u8]) -> Vec<Entry> {
    match Message::decode(bytes) {
        Ok(Message::Entries(entries)) => entries
            .into_iter()
            .filter_map(|bytes| Entry::decode(bytes).ok())
            .collect(),
        _ => Vec::new(),
    }
}

/// Whether a message brings a stop and nothing else.
pub(super) fn only_a_stop(bytes: &[u8]) -> bool {
    let entries = entries_in(bytes);
    !entries.is_empty() && entries.iter().all(|entry| entry.content.body.is_stop())
}
