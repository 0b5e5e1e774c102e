//! Alone: does a device keep its word when nothing reaches it but what a test gives it?
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/quiet.rs"]
mod quiet;
mod support;

use gantline_protocol::engine::{Command, CommandId, Effect, Engine, Input, Outcome};
use gantline_protocol::ids::{DeviceKey, EntryHash};
use gantline_protocol::log::columns;
use gantline_protocol::log::entry::{Agree, Body, Note, NoteKind, Said, StopKind};
use gantline_protocol::log::sign::verify_batch;
use gantline_protocol::log::wire::Entry;
use gantline_protocol::reason::Reason;
use gantline_protocol::state::CallWord;
use gantline_protocol::sync::{Ask, Datagram, Message};
use gantline_protocol::time::Now;
use gantline_protocol::watch::{Beacon, Echo, Row, bundle, check_beacon, unbundle};
use gantline_sim::world::World;
use quiet::{LEAD, TOWER_1, crew, quiet_at_the_first_step, small};
use std::collections::VecDeque;
use std::sync::Arc;

const TOWER_2: usize = 2;
const GROUND: usize = 3;
const OBSERVER: usize = 4;

/// What the disk does with what it is given.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Disk {
    Writes,
    Waits,
    Fails,
}

/// A device of a crew from a moment on, with what it does kept.
struct Alone {
    engine: Engine,
    now: Now,
    disk: Disk,
    /// Signatures are checked when a test says so, not at once.
    checks_late: bool,
    unchecked: Vec<Input>,
    asked: u64,
    datagrams: Vec<(DeviceKey, Arc<[u8]>)>,
    messages: Vec<(DeviceKey, Message)>,
    outcomes: Vec<Outcome>,
    /// What it gave to the disk, each entry as often as it did.
    to_disk: Vec<Entry>,
}

impl Alone {
    fn of(world: &World, device: usize) -> Self {
        Self {
            engine: world.engine(device).unwrap().clone(),
            now: world.clock(device),
            disk: Disk::Writes,
            checks_late: false,
            unchecked: Vec::new(),
            asked: 1_000_000,
            datagrams: Vec::new(),
            messages: Vec::new(),
            outcomes: Vec::new(),
            to_disk: Vec::new(),
        }
    }

    fn give(&mut self, input: Input) {
        let mut inputs = VecDeque::from([input]);
        while let Some(input) = inputs.pop_front() {
            for effect in self.engine.handle(self.now, input) {
                match effect {
                    Effect::Verify { batch, entries } => {
                        let (good, bad) = verify_batch(entries);
                        let checked = Input::Verified { batch, good, bad };
                        if self.checks_late {
                            self.unchecked.push(checked);
                        } else {
                            inputs.push_back(checked);
                        }
                    }
                    Effect::Flush { batch, entries } => {
                        let entries = entries
                            .into_iter()
                            .map(|bytes| Entry::decode(bytes).unwrap());
                        self.to_disk.extend(entries);
                        match self.disk {
                            Disk::Writes => inputs.push_back(Input::Flushed { batch }),
                            Disk::Waits => {}
                            Disk::Fails => {
                                let why = "no room".to_owned();
                                inputs.push_back(Input::FlushFailed { batch, why });
                            }
                        }
                    }
                    Effect::Datagram { to, bytes } => self.datagrams.push((to, bytes)),
                    Effect::Message { to, bytes } => {
                        self.messages.push((to, Message::decode(&bytes).unwrap()));
                    }
                    Effect::Reply { outcome, .. } => self.outcomes.push(outcome),
                    _ => {}
                }
            }
        }
    }

    fn press(&mut self, command: Command) {
        self.asked += 1;
        let id = CommandId(self.asked);
        self.give(Input::Command { id, command });
    }

    fn wait(&mut self, ms: u64) {
        let until = self.now.tick.plus(ms);
        while self.now.tick < until {
            self.now.tick = self.now.tick.plus(50).min(until);
            self.give(Input::Tick);
        }
    }

    /// Its newest beacon for a device, with those that it passes on.
    fn beacon_for(&self, to: DeviceKey) -> Vec<u8> {
        let beacon = |(addressee, bytes): &&(DeviceKey, Arc<[u8]>)| {
            *addressee == to && matches!(Datagram::decode(bytes), Ok(Datagram::Beacons(_)))
        };
        self.datagrams.iter().rev().find(beacon).unwrap().1.to_vec()
    }

    /// How often a stop went to a device in a datagram, and in a message.
    fn stops_for(&self, to: DeviceKey) -> (usize, usize) {
        let is_stop = |bytes: &Arc<[u8]>| {
            let entry = Entry::decode(Arc::clone(bytes)).unwrap();
            entry.content.body.is_stop()
        };
        let datagram = |(addressee, bytes): &&(DeviceKey, Arc<[u8]>)| {
            *addressee == to && matches!(Datagram::decode(bytes), Ok(Datagram::Stop(_)))
        };
        let message = |(addressee, message): &&(DeviceKey, Message)| {
            *addressee == to
                && matches!(message, Message::Entries(entries)
                    if entries.iter().any(is_stop))
        };
        let datagrams = self.datagrams.iter().filter(datagram).count();
        (datagrams, self.messages.iter().filter(message).count())
    }

    fn word(&self) -> CallWord {
        self.engine.call(self.now).word
    }
}

fn quiet_crew(seed: u64) -> World {
    let mut world = crew(seed, small());
    quiet_at_the_first_step(&mut world);
    world
}

fn note(text: &str) -> Command {
    Command::Note {
        text: text.into(),
        about: None,
        kind: NoteKind::Plain,
    }
}

fn stop(why: &str) -> Command {
    Command::Stop {
        kind: StopKind::Work,
        why: why.into(),
        item: None,
    }
}

/// Entries as their author sends them.
fn pushed(from: DeviceKey, entries: Vec<Arc<[u8]>>) -> Input {
    let bytes = Message::Entries(entries).encode().to_vec();
    Input::Message { from, bytes }
}

/// The same entry with a signature of nobody, changed at a place counted from the end: the last bytes are the signature.
fn forged(bytes: &[u8], place: usize, by: u8) -> Arc<[u8]> {
    let mut forged = bytes.to_vec();
    let at = forged.len() - place;
    forged[at] ^= by | 1;
    forged.into()
}

#[test]
fn a_stop_goes_to_everybody_before_the_disk_has_it_and_again() {
    let world = quiet_crew(700);
    let mut ground = Alone::of(&world, GROUND);
    ground.disk = Disk::Waits;
    let others = [LEAD, TOWER_1, TOWER_2, OBSERVER, 5].map(|device| world.devices[device].id);
    ground.press(stop("rope frayed"));
    for other in others {
        let (datagrams, messages) = ground.stops_for(other);
        assert!(datagrams >= 1 && messages >= 1, "not at once");
    }
    let at_once = others.map(|other| ground.stops_for(other));
    ground.wait(2_000);
    for (other, before) in others.into_iter().zip(at_once) {
        let after = ground.stops_for(other);
        assert!(after.0 > before.0 && after.1 > before.1, "not again");
    }
    assert_eq!(ground.word(), CallWord::StopWork);
}

#[test]
fn a_beacon_says_that_a_stop_is_pressed_and_who_hears_no_more_of_it_holds() {
    let world = quiet_crew(701);
    let mut ground = Alone::of(&world, GROUND);
    let mut tower = Alone::of(&world, TOWER_1);
    ground.disk = Disk::Waits;
    // A beacon without a stop changes nothing.
    ground.wait(1_000);
    tower.wait(1_000);
    let from = world.devices[GROUND].id;
    let heard = |ground: &Alone| Input::Datagram {
        from,
        bytes: ground.beacon_for(world.devices[TOWER_1].id),
    };
    tower.give(heard(&ground));
    assert_eq!(tower.word(), CallWord::Proceed);
    ground.press(stop("rope frayed"));
    ground.wait(500);
    tower.wait(500);
    tower.give(heard(&ground));
    let call = tower.engine.call(tower.now);
    assert_eq!(call.word, CallWord::Hold, "{:?}", call.reasons);
    let said = Reason::NotQuiet { device: from };
    assert!(call.reasons.contains(&said), "{:?}", call.reasons);
}

/// A device's own newest beacon for another.
fn own_beacon(world: &World, device: &Alone, number: usize, to: usize) -> Beacon {
    let bytes = device.beacon_for(world.devices[to].id);
    let Ok(Datagram::Beacons(bytes)) = Datagram::decode(&bytes) else {
        unreachable!("as looked for");
    };
    let id = world.devices[number].id;
    unbundle(bytes)
        .unwrap()
        .into_iter()
        .find_map(|heard| check_beacon(world.signatures(), heard, &id).ok())
        .unwrap()
        .beacon
}

#[test]
fn nobody_makes_an_old_reading_young_again_by_vouching_for_it() {
    let world = quiet_crew(703);
    let mut ground = Alone::of(&world, GROUND);
    let mut liar = Alone::of(&world, TOWER_2);
    ground.wait(1_000);
    liar.wait(1_000);
    let said = own_beacon(&world, &liar, TOWER_2, GROUND);
    let author = world.author(TOWER_2);
    let ages = |ground: &Alone| -> Vec<(String, u64, u64)> {
        let conditions = ground.engine.status(ground.now).conditions;
        conditions
            .into_iter()
            .filter_map(|shown| Some((shown.id.to_string(), shown.age_ms?, shown.valid_ms)))
            .collect()
    };
    let before = ages(&ground);
    assert!(!before.is_empty(), "no condition was read");
    let (minutes, longest) = (10, 1_000);
    for second in 0..minutes * 60 {
        ground.wait(longest);
        ground.datagrams.drain(..ground.datagrams.len() - 20);
        let heard = own_beacon(&world, &ground, GROUND, TOWER_2);
        assert!(!heard.vouches.is_empty(), "nothing to vouch for");
        let mut lie = Beacon::new(&ground.engine.job().id(), &liar.engine.me(), heard.boot, 0);
        (lie.boot, lie.counter) = (said.boot, said.counter + 1 + second);
        (lie.head, lie.entries) = (said.head, said.entries);
        lie.rows = vec![Row {
            device: world.devices[GROUND].id.tag(),
            have: 0,
            echo: Some(Echo {
                boot: heard.boot,
                counter: heard.counter,
            }),
        }];
        lie.vouches = heard.vouches;
        for vouch in &mut lie.vouches {
            vouch.age_ms = 0;
        }
        let lie = lie.sign(world.signatures(), author.key()).unwrap();
        let bytes = bundle(&lie, [], 1_000);
        let bytes = Datagram::Beacons(&bytes).encode().unwrap().to_vec();
        let from = liar.engine.me();
        ground.give(Input::Datagram { from, bytes });
    }
    let crew = ground.engine.status(ground.now).crew;
    let of_the_liar = crew.iter().find(|of| of.device == liar.engine.me());
    let age = of_the_liar.unwrap().age_ms.unwrap();
    assert!(age <= 2 * longest, "it is not heeded: {age} ms");
    let gone = u64::from(minutes * 60 * 1_000);
    for ((id, age, valid), (_, before, _)) in ages(&ground).into_iter().zip(before) {
        assert!(
            age >= before.min(1_000) + gone,
            "{id}: {age} ms after {gone} ms, valid {valid} ms"
        );
    }
}

#[test]
fn a_number_that_the_disk_refused_after_it_was_shown_is_never_used_again() {
    let world = quiet_crew(702);
    let mut ground = Alone::of(&world, GROUND);
    ground.disk = Disk::Fails;
    ground.press(stop("rope frayed"));
    ground.wait(200);
    ground.disk = Disk::Writes;
    ground.wait(3_000);
    ground.press(note("rope changed"));
    ground.wait(1_000);
    let me = ground.engine.me();
    let mut own: Vec<_> = ground
        .to_disk
        .iter()
        .filter(|entry| entry.content.author == me)
        .map(|entry| (entry.content.seq, entry.hash))
        .collect();
    own.sort_unstable();
    own.dedup();
    assert_eq!(own.len(), 2, "a stop and a note");
    assert_ne!(own[0].0, own[1].0, "one number for both");
    let graph = ground.engine.job().graph();
    assert!(own.iter().all(|(_, hash)| graph.find(hash).is_some()));
}

#[test]
fn a_confirmation_waits_for_what_a_device_that_it_rests_on_has_said() {
    let world = quiet_crew(703);
    let mut tower = Alone::of(&world, TOWER_1);
    let mut ground = Alone::of(&world, GROUND);
    ground.press(note("tag line is long"));
    ground.wait(500);
    let said = ground.to_disk.last().unwrap().clone();
    let to = world.devices[TOWER_1].id;
    let from = world.devices[GROUND].id;
    let press = Command::Acknowledge {
        step: "approach".try_into().unwrap(),
        check: "clearance".try_into().unwrap(),
        said: Said::Value {
            value: "1.30".parse().unwrap(),
            unit: "m".into(),
        },
        change: None,
        held_ms: None,
    };
    // With nothing said that is not here, it is recorded at once.
    let mut level = Alone::of(&world, TOWER_1);
    level.press(press.clone());
    assert!(
        matches!(level.outcomes[..], [Outcome::Recorded { .. }]),
        "{:?}",
        level.outcomes
    );
    let bytes = ground.beacon_for(to);
    tower.give(Input::Datagram { from, bytes });
    tower.press(press);
    tower.wait(400);
    assert!(tower.outcomes.is_empty(), "{:?}", tower.outcomes);
    assert!(tower.to_disk.is_empty(), "written without it");
    tower.give(pushed(from, vec![Arc::clone(&said.bytes)]));
    tower.wait(400);
    assert!(
        matches!(tower.outcomes[..], [Outcome::Recorded { .. }]),
        "{:?}",
        tower.outcomes
    );
}

#[test]
fn who_never_heeds_the_evidence_of_a_fork_is_shown_it_less_and_less_often() {
    let mut world = quiet_crew(640);
    let note = |text: &str| {
        Body::Note(Note {
            kind: NoteKind::Plain,
            text: text.into(),
            about: None,
        })
    };
    // Two entries of one device with the same number; one is with everybody, the other comes to one device alone.
    let [known, other] =
        ["one", "another"].map(|text| world.signed_by(OBSERVER, OBSERVER, note(text)).unwrap());
    world.power_off(OBSERVER);
    let message = |entry: &Entry| Message::Entries(vec![Arc::clone(&entry.bytes)]).encode();
    world.receive(TOWER_1, GROUND, false, message(&known).to_vec());
    world.run_for(3_000);
    let mut lead = Alone::of(&world, LEAD);
    assert!(lead.engine.job().graph().find(&known.hash).is_some());
    // Its peers say no more than they have: they know of one branch, and heed nothing.
    let bytes = message(&other).to_vec();
    let from = world.devices[TOWER_1].id;
    lead.give(Input::Message { from, bytes });
    assert_eq!(lead.engine.job().graph().forks().len(), 1);
    let began = lead.now.tick;
    let mut shown = Vec::new();
    while lead.now.tick.since(began) < 60_000 {
        let gives = |(to, message): &(DeviceKey, Message)| {
            *to == world.devices[GROUND].id && matches!(message, Message::Give(_))
        };
        if lead.messages.iter().any(gives) {
            shown.push(lead.now.tick.since(began) / 1_000);
        }
        lead.messages.clear();
        lead.wait(100);
    }
    let apart: Vec<u64> = shown.windows(2).map(|two| two[1] - two[0]).collect();
    let first = apart.get(..6);
    assert_eq!(
        first,
        Some(&[1, 2, 4, 8, 8, 8][..]),
        "shown after {shown:?} s"
    );
}

/// Releases that the supervisor's node writes in half a minute, once everybody has heard and agreed.
fn releases_of(forked: bool) -> usize {
    let mut world = quiet_crew(641);
    world.do_now(GROUND, stop("rope frayed"));
    world.run_for(500);
    for device in [LEAD, TOWER_1, TOWER_2, OBSERVER, 5] {
        world.do_now(device, Command::Heard { stop: None });
    }
    world.run_for(500);
    let ask = Command::Ask {
        stops: Vec::new(),
        cause: "looked at, nothing found".into(),
        open_item: None,
        closes_item: None,
    };
    world.do_now(LEAD, ask);
    world.run_for(500);
    let mut lead = Alone::of(&world, LEAD);
    let graph = world.engine(LEAD).unwrap().job().graph();
    let ask = graph
        .iter()
        .find(|ix| matches!(graph.body(*ix), Body::Ask(_)))
        .unwrap();
    let to = graph.hash(ask);
    let other = Body::Note(Note {
        kind: NoteKind::Plain,
        text: "another".into(),
        about: None,
    });
    let branch = world.signed_by(LEAD, GROUND, other).unwrap();
    if forked {
        lead.press(note("one"));
        lead.give(pushed(world.devices[GROUND].id, vec![branch.bytes]));
        assert_eq!(lead.engine.job().graph().forks().len(), 1);
    }
    for device in [TOWER_1, TOWER_2, GROUND, OBSERVER, 5] {
        let agree = world.signed_by(device, LEAD, Body::Agree(Agree { to }));
        let from = world.devices[device].id;
        lead.give(pushed(from, vec![agree.unwrap().bytes]));
    }
    lead.wait(30_000);
    let is_release = |entry: &&Entry| matches!(entry.content.body, Body::Release(_));
    lead.to_disk.iter().filter(is_release).count()
}

#[test]
fn a_supervisor_whose_device_has_forked_does_not_release_in_vain() {
    assert_eq!(releases_of(false), 1);
    assert_eq!(releases_of(true), 0);
}

/// What was given to a device, each entry as often as it was.
fn given(device: &Alone, to: DeviceKey) -> Vec<Entry> {
    let packed = device.messages.iter().filter_map(|(addressee, message)| {
        let Message::Give(packed) = message else {
            return None;
        };
        (*addressee == to).then_some(packed)
    });
    packed
        .flat_map(|packed| columns::unpack(packed).unwrap())
        .collect()
}

#[test]
fn who_asks_for_all_of_the_log_again_and_again_does_not_get_the_air() {
    let world = quiet_crew(704);
    let mut lead = Alone::of(&world, LEAD);
    for at in 0..60 {
        lead.press(note(&format!("{at} {}", "rope ".repeat(90))));
        lead.wait(200);
    }
    let from = world.devices[GROUND].id;
    let nothing = Ask::default();
    let ask = |ask: &Ask| Input::Message {
        from,
        bytes: Message::Ask(ask.clone()).encode().to_vec(),
    };
    let size = |entries: &[Entry]| entries.iter().map(|entry| entry.bytes.len()).sum::<usize>();
    lead.messages.clear();
    lead.give(ask(&nothing));
    let all = size(&given(&lead, from));
    assert!(all > 40_000, "{all} bytes in all");
    // As often as asks are answered at all.
    for _ in 0..60 * 16 {
        lead.now.tick = lead.now.tick.plus(62);
        lead.give(ask(&nothing));
    }
    let bytes = size(&given(&lead, from));
    let most = 2 * 1024 * 1024 + 60 * 128 * 1024;
    assert!(bytes < most && bytes > all * 60, "{bytes} bytes given");
    // What it was not given before is given at once.
    lead.press(note("rope changed"));
    let seq = lead.to_disk.last().unwrap().content.seq;
    let held = lead.engine.job().graph();
    let authors = world.devices.iter().map(|device| device.id);
    let heights = authors.map(|author| {
        let less = u32::from(author == lead.engine.me());
        let last = held.chains_of(author).find_map(|chain| held.last(chain));
        (author.tag(), held.seq(last.unwrap()) + 1 - less)
    });
    let one = Ask {
        heights: heights.collect(),
        want: Vec::new(),
    };
    lead.messages.clear();
    lead.give(ask(&one));
    let new: Vec<_> = given(&lead, from)
        .iter()
        .map(|entry| entry.content.seq)
        .collect();
    assert_eq!(new, [seq]);
}

#[test]
fn a_past_that_nobody_has_is_asked_for_less_and_less_often() {
    let world = quiet_crew(705);
    let mut lead = Alone::of(&world, LEAD);
    // An entry whose past is known to its author alone.
    let mut ground = Alone::of(&world, GROUND);
    ground.press(note("one"));
    ground.press(note("another"));
    let (first, second) = (ground.to_disk[0].clone(), ground.to_disk[1].clone());
    let message = |entry: &Entry| {
        let from = world.devices[TOWER_1].id;
        pushed(from, vec![Arc::clone(&entry.bytes)])
    };
    lead.give(message(&second));
    let began = lead.now.tick;
    let mut asked = Vec::new();
    while lead.now.tick.since(began) < 120_000 {
        lead.messages.clear();
        lead.wait(100);
        let by_name = lead
            .messages
            .iter()
            .any(|(_, message)| matches!(message, Message::Ask(ask) if ask.want == [first.hash]));
        if by_name {
            asked.push(lead.now.tick.since(began));
        }
    }
    assert!(asked[0] <= 1_000, "first asked for after {} ms", asked[0]);
    let apart: Vec<u64> = asked.windows(2).map(|two| two[1] - two[0]).collect();
    let (slowest, each) = (apart[apart.len() - 1], apart[0]);
    assert!((400..=700).contains(&each), "{apart:?}");
    assert!((3_900..=4_200).contains(&slowest), "{apart:?}");
    assert!(apart.is_sorted_by(|a, b| *a <= *b + 100), "{apart:?}");
    // It is taken in as soon as its past comes.
    lead.give(message(&first));
    lead.wait(100);
    let graph = lead.engine.job().graph();
    assert!(graph.find(&first.hash).is_some() && graph.find(&second.hash).is_some());
}

fn tips(hash: EntryHash) -> Vec<u8> {
    Message::Tips(vec![hash]).encode().to_vec()
}

fn asks(device: &Alone, of: DeviceKey) -> usize {
    let ask =
        |(to, message): &&(DeviceKey, Message)| *to == of && matches!(message, Message::Ask(_));
    device.messages.iter().filter(ask).count()
}

#[test]
fn who_names_what_nobody_has_again_and_again_keeps_nobody_from_being_asked() {
    let world = quiet_crew(706);
    let (mut lead, mut ground) = (Alone::of(&world, LEAD), Alone::of(&world, GROUND));
    let [honest, hostile] = [GROUND, TOWER_2].map(|device| world.devices[device].id);
    ground.press(note("tag line is long"));
    ground.wait(500);
    let name = |lead: &mut Alone, at: u8| {
        let bytes = tips(EntryHash([at; 32]));
        lead.give(Input::Message {
            from: hostile,
            bytes,
        });
    };
    name(&mut lead, 0);
    let bytes = ground.beacon_for(lead.engine.me());
    lead.give(Input::Datagram {
        from: honest,
        bytes,
    });
    for at in 1..20 {
        name(&mut lead, at);
        lead.wait(250);
    }
    assert!(asks(&lead, honest) > 5, "{}", asks(&lead, honest));
    let followed = asks(&lead, hostile);
    assert!((2..=8).contains(&followed), "{followed} of 20 followed");
}

#[test]
fn who_always_has_a_little_more_keeps_nobody_from_being_asked() {
    let world = quiet_crew(707);
    let (mut lead, mut ground) = (Alone::of(&world, LEAD), Alone::of(&world, GROUND));
    let mut more = Alone::of(&world, TOWER_2);
    let [honest, hostile] = [GROUND, TOWER_2].map(|device| world.devices[device].id);
    ground.press(note("tag line is long"));
    ground.wait(500);
    let mut given = 0;
    let mut round = |lead: &mut Alone| {
        // Two more, of which one is given when it is asked for.
        more.press(note("one more"));
        more.press(note("and one more"));
        more.wait(100);
        let bytes = more.beacon_for(lead.engine.me());
        lead.give(Input::Datagram {
            from: hostile,
            bytes,
        });
        lead.wait(100);
        if asks(lead, hostile) > 0 {
            lead.messages.clear();
            let graph = more.engine.job().graph();
            let next = graph.find(&more.to_disk[given].hash).unwrap();
            let packed = columns::pack(graph, &[next]);
            given += 1;
            let bytes = Message::Give(packed).encode().to_vec();
            lead.give(Input::Message {
                from: hostile,
                bytes,
            });
        }
    };
    for _ in 0..10 {
        round(&mut lead);
    }
    let bytes = ground.beacon_for(lead.engine.me());
    lead.give(Input::Datagram {
        from: honest,
        bytes,
    });
    let mut asked = asks(&lead, honest);
    for _ in 0..20 {
        round(&mut lead);
        asked += asks(&lead, honest);
    }
    assert!(given >= 10, "{given} given");
    assert!(asked > 0, "never asked");
}

#[test]
fn forged_stops_do_not_make_a_true_one_wait_for_the_disk() {
    let world = quiet_crew(708);
    let (mut lead, mut ground) = (Alone::of(&world, LEAD), Alone::of(&world, GROUND));
    let [honest, hostile] = [GROUND, TOWER_2].map(|device| world.devices[device].id);
    ground.press(stop("rope frayed"));
    let stop = ground.to_disk.last().unwrap().clone();
    lead.disk = Disk::Waits;
    let datagram = |from: DeviceKey, stop: &[u8]| Input::Datagram {
        from,
        bytes: Datagram::Stop(stop).encode().unwrap().to_vec(),
    };
    for at in 0..100_u8 {
        lead.give(datagram(hostile, &forged(&stop.bytes, 1, at)));
    }
    assert_eq!(lead.word(), CallWord::Proceed);
    lead.give(datagram(honest, &stop.bytes));
    assert_eq!(lead.word(), CallWord::StopWork);
}

#[test]
fn forged_entries_do_not_make_a_true_one_be_turned_away() {
    let world = quiet_crew(709);
    let (mut lead, mut ground) = (Alone::of(&world, LEAD), Alone::of(&world, GROUND));
    let [honest, hostile] = [GROUND, TOWER_2].map(|device| world.devices[device].id);
    ground.press(note("rope changed"));
    let true_one = ground.to_disk.last().unwrap().clone();
    for at in 0..=255_u8 {
        let copies = [1, 2, 3].map(|place| forged(&true_one.bytes, place, at));
        lead.give(pushed(hostile, copies.to_vec()));
    }
    assert!(lead.to_disk.is_empty());
    lead.give(pushed(honest, vec![Arc::clone(&true_one.bytes)]));
    let graph = lead.engine.job().graph();
    assert!(graph.find(&true_one.hash).is_some(), "turned away");
}

#[test]
fn a_forged_copy_that_is_being_checked_does_not_pass_for_the_true_one() {
    let world = quiet_crew(710);
    let (mut lead, mut ground) = (Alone::of(&world, LEAD), Alone::of(&world, GROUND));
    ground.press(note("rope changed"));
    let true_one = Arc::clone(&ground.to_disk.last().unwrap().bytes);
    lead.checks_late = true;
    for (from, bytes) in [(TOWER_2, forged(&true_one, 1, 1)), (GROUND, true_one)] {
        lead.give(pushed(world.devices[from].id, vec![bytes]));
    }
    for checked in core::mem::take(&mut lead.unchecked) {
        lead.give(checked);
    }
    let hash = ground.to_disk.last().unwrap().hash;
    assert!(lead.engine.job().graph().find(&hash).is_some());
}

#[test]
fn who_gives_what_nobody_asked_for_gives_no_more_than_it_may_push() {
    let world = quiet_crew(711);
    let (mut lead, mut more) = (Alone::of(&world, LEAD), Alone::of(&world, TOWER_2));
    for _ in 0..1_000 {
        more.press(note("one more"));
        more.wait(50);
    }
    let graph = more.engine.job().graph();
    let written = more.to_disk.iter().map(|entry| &entry.hash);
    let written: Vec<_> = written.map(|hash| graph.find(hash).unwrap()).collect();
    let bytes = Message::Give(columns::pack(graph, &written))
        .encode()
        .to_vec();
    let from = world.devices[TOWER_2].id;
    let before = lead.engine.job().graph().len();
    for _ in 0..20 {
        let bytes = bytes.clone();
        lead.give(Input::Message { from, bytes });
    }
    let taken = lead.engine.job().graph().len() - before;
    assert!((200..=500).contains(&taken), "{taken} taken");
    // Once it is asked, all of it is taken at once.
    let beacon = more.beacon_for(lead.engine.me());
    lead.give(Input::Datagram {
        from,
        bytes: beacon,
    });
    lead.wait(200);
    assert!(asks(&lead, from) > 0);
    lead.give(Input::Message { from, bytes });
    let taken = lead.engine.job().graph().len() - before;
    assert_eq!(taken, written.len());
}
