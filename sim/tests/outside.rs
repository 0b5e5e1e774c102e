//! Outside: what comes from devices off the job, and what sounds on those that are on it.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/quiet.rs"]
mod quiet;
mod support;

use gantline_protocol::engine::{Alarm, Command};
use gantline_protocol::log::author::Author;
use gantline_protocol::log::entry::{Body, Note, NoteKind, Said, StopKind};
use gantline_protocol::plan::Who;
use gantline_protocol::reason::Reason;
use gantline_protocol::state::CallWord;
use gantline_protocol::sync::{Datagram, Message};
use gantline_protocol::time::WallClock;
use gantline_sim::world::World;
use quiet::{LEAD, TOWER_1, call, crew, quiet_at_the_first_step, small};
use std::sync::Arc;

const GROUND: usize = 3;
const OBSERVER: usize = 4;
const SPARE: usize = 5;

fn sounds(world: &World, device: usize, alarm: Alarm) -> bool {
    let status = world.engine(device).unwrap().status(world.clock(device));
    status.alarms.contains(&alarm)
}

fn clearance(metres: &str) -> Command {
    Command::Acknowledge {
        step: "approach".try_into().unwrap(),
        check: "clearance".try_into().unwrap(),
        said: Said::Value {
            value: metres.parse().unwrap(),
            unit: "m".into(),
        },
        change: None,
        held_ms: None,
    }
}

/// The ground worker presses stop out of reach, with or without a word before it, and is then removed. The signed
/// bytes of what was said.
fn removed_with_a_stop(world: &mut World, words_before: bool) -> Vec<Arc<[u8]>> {
    world.devices[GROUND].willing = false;
    world.part(&[GROUND]);
    let held = world.engine(GROUND).unwrap().job().graph().len();
    if words_before {
        let note = Command::Note {
            text: "rope frayed".into(),
            about: None,
            kind: NoteKind::Plain,
        };
        world.do_now(GROUND, note);
        world.run_for(500);
    }
    let stop = Command::Stop {
        kind: StopKind::Work,
        why: "rope frayed".into(),
        item: None,
    };
    world.do_now(GROUND, stop);
    world.run_for(500);
    let graph = world.engine(GROUND).unwrap().job().graph();
    let said = graph.iter().skip(held);
    let said: Vec<Arc<[u8]>> = said
        .filter(|&ix| graph.author(ix) == world.devices[GROUND].id)
        .map(|ix| Arc::clone(&graph.entry(ix).bytes))
        .collect();
    world.run_for(11_000);
    removed(world);
    said
}

/// The lead takes the ground worker off the job, and everyone else knows it.
fn removed(world: &mut World) {
    let key = world.devices[GROUND].id;
    let remove = Command::Remove {
        device: key,
        spoken_to: Some(true),
        called_stop: false,
    };
    world.do_now(LEAD, remove);
    let removed = |world: &World| {
        [LEAD, TOWER_1, OBSERVER, SPARE]
            .iter()
            .all(|&at| !world.engine(at).unwrap().job().roster().present(&key))
    };
    assert!(world.run_until(20_000, removed), "not removed");
}

fn stops(world: &World, device: usize) -> Vec<(bool, String)> {
    let status = world.engine(device).unwrap().status(world.clock(device));
    let own = |kind: &str| kind == "stranger";
    let stops = status.stops.iter();
    stops
        .map(|stop| (own(&stop.kind), stop.why.clone()))
        .collect()
}

fn goes_on_to_the_close(world: &mut World) {
    let closed = world.run_until(600_000, World::closed);
    let why: Vec<_> = [LEAD, OBSERVER]
        .iter()
        .map(|&device| stops(world, device))
        .collect();
    assert!(closed, "seed {}: not closed, {why:?}", world.seed());
    assert_eq!(world.broken, []);
}

#[test]
fn a_removed_devices_late_stop_stops_now_and_is_released_like_any_other() {
    for datagram in [true, false] {
        let mut world = crew(301, small());
        world.run_for(4_000);
        let said = removed_with_a_stop(&mut world, false);
        assert_eq!(stops(&world, OBSERVER), []);
        let bytes = if datagram {
            Datagram::Stop(&said[0]).encode().unwrap()
        } else {
            Message::Entries(said.clone()).encode()
        };
        world.receive(OBSERVER, GROUND, datagram, bytes.to_vec());
        assert_eq!(call(&world, OBSERVER), CallWord::StopWork, "at once");
        assert!(
            world.run_until(3_000, |world| call(world, TOWER_1) == CallWord::StopWork),
            "it goes on to the others"
        );
        let all = stops(&world, TOWER_1);
        assert_eq!(all, [(false, "rope frayed".to_owned())]);
        goes_on_to_the_close(&mut world);
    }
}

#[test]
fn a_removed_devices_late_stop_without_its_past_is_logged_by_who_hears_it() {
    let mut world = crew(302, small());
    world.run_for(4_000);
    let said = removed_with_a_stop(&mut world, true);
    assert_eq!(said.len(), 2, "a note, and the stop after it");
    let bytes = Message::Entries(vec![Arc::clone(&said[1])]).encode();
    world.receive(OBSERVER, GROUND, false, bytes.to_vec());
    assert_eq!(call(&world, OBSERVER), CallWord::StopWork, "at once");
    assert_eq!(stops(&world, OBSERVER), [(false, "rope frayed".into())]);
    // Nobody brings what is missing: it is logged in the own name, and only that is shown.
    let logged = |world: &World| {
        let all = stops(world, OBSERVER);
        !all.is_empty() && all.iter().all(|(stranger, _)| *stranger)
    };
    assert!(
        world.run_until(5_000, logged),
        "{:?}",
        stops(&world, OBSERVER)
    );
    goes_on_to_the_close(&mut world);
}

#[test]
fn nothing_but_a_stop_is_taken_from_a_removed_device() {
    let mut world = crew(303, small());
    world.run_for(4_000);
    let said = removed_with_a_stop(&mut world, true);
    let before = world.engine(OBSERVER).unwrap().job().graph().len();
    let bytes = Message::Entries(vec![Arc::clone(&said[0])]).encode();
    world.receive(OBSERVER, GROUND, false, bytes.to_vec());
    world.receive(OBSERVER, GROUND, true, b"beacon".to_vec());
    world.run_for(200);
    let engine = world.engine(OBSERVER).unwrap();
    let graph = engine.job().graph();
    let key = world.devices[GROUND].id;
    assert!(graph.iter().skip(before).all(|ix| graph.author(ix) != key));
    assert_ne!(call(&world, OBSERVER), CallWord::StopWork);
    assert!(
        !sounds(&world, OBSERVER, Alarm::UnknownDevice),
        "it was on the job once"
    );
}

#[test]
fn who_was_taken_off_while_away_is_told_so_by_the_first_that_is_heard() {
    let mut world = crew(306, small());
    world.run_for(4_000);
    world.devices[GROUND].willing = false;
    world.part(&[GROUND]);
    world.run_for(11_000);
    removed(&mut world);
    let reasons = |world: &World| {
        let engine = world.engine(GROUND).unwrap();
        engine.call(world.clock(GROUND)).reasons
    };
    let told = |world: &World| {
        let not = |reason: &Reason| matches!(reason, Reason::NotEnrolledThere { .. });
        reasons(world).iter().any(not)
    };
    assert!(!told(&world), "out of reach, nobody can say so");
    world.radio.heal_all();
    assert!(
        world.run_until(10_000, told),
        "not told: {:?}",
        reasons(&world)
    );
    // Its own roster is as it was: who took it off gives it nothing more.
    let own = world.engine(GROUND).unwrap();
    assert!(own.job().roster().present(&world.devices[GROUND].id));
    for device in [LEAD, TOWER_1, OBSERVER, SPARE] {
        assert!(!world.linked(device, GROUND), "device {device}");
    }
}

#[test]
fn a_device_that_was_never_on_the_job_and_tries_to_speak_sounds_for_a_while() {
    let mut world = crew(304, small());
    let job = world.engine(LEAD).unwrap().job();
    let stranger = Author::new(ed25519_zebra::SigningKey::from([77; 32]));
    let note = Body::Note(Note {
        text: "let me in".into(),
        about: None,
        kind: NoteKind::Plain,
    });
    let entry = stranger
        .next(job.graph(), WallClock(1), job.id(), note)
        .unwrap();
    let bytes = Message::Entries(vec![Arc::clone(&entry.bytes)]).encode();
    assert!(!sounds(&world, OBSERVER, Alarm::UnknownDevice));
    // Passed on by a device of the crew.
    world.receive(OBSERVER, SPARE, false, bytes.to_vec());
    world.run_for(300);
    assert!(sounds(&world, OBSERVER, Alarm::UnknownDevice));
    assert!(!sounds(&world, TOWER_1, Alarm::UnknownDevice));
    let engine = world.engine(OBSERVER).unwrap();
    assert!(!engine.holds(&entry.hash));
    world.run_for(6_000);
    assert!(!sounds(&world, OBSERVER, Alarm::UnknownDevice));
    // From itself.
    world.tell(
        TOWER_1,
        gantline_protocol::engine::Input::Message {
            from: stranger.device(),
            bytes: bytes.to_vec(),
        },
    );
    world.run_for(300);
    assert!(sounds(&world, TOWER_1, Alarm::UnknownDevice));
    assert!(!world.engine(TOWER_1).unwrap().holds(&entry.hash));
}

#[test]
fn a_value_beyond_its_limit_sounds_on_every_device_for_a_while() {
    let mut world = crew(305, small());
    quiet_at_the_first_step(&mut world);
    world.do_now(TOWER_1, clearance("1.10"));
    world.run_for(1_000);
    for device in 0..world.devices.len() {
        assert!(sounds(&world, device, Alarm::Clearance), "device {device}");
    }
    world.run_for(8_000);
    for device in 0..world.devices.len() {
        assert!(!sounds(&world, device, Alarm::Clearance), "device {device}");
    }
    // One that passes does not sound, and neither does an old one at the start of a device.
    world.power_off(SPARE);
    world.run_for(5_000);
    world.power_on(SPARE);
    world.run_for(3_000);
    assert!(!sounds(&world, SPARE, Alarm::Clearance));
}

#[test]
fn a_value_that_passes_does_not_sound() {
    let mut world = crew(306, small());
    quiet_at_the_first_step(&mut world);
    world.do_now(TOWER_1, clearance("1.30"));
    world.run_for(1_000);
    for device in 0..world.devices.len() {
        assert!(!sounds(&world, device, Alarm::Clearance), "device {device}");
    }
}

#[test]
fn the_alarm_tells_nobody_of_a_blind_look_before_their_own() {
    let mut plan = small();
    plan.steps[0].checks[0].who = Who::SecondLook {
        first: vec!["tower".try_into().unwrap()],
        second: vec!["observer".try_into().unwrap()],
    };
    let mut world = crew(307, plan);
    quiet_at_the_first_step(&mut world);
    world.do_now(TOWER_1, clearance("1.10"));
    world.run_for(1_000);
    assert!(sounds(&world, TOWER_1, Alarm::Clearance), "the own look");
    for device in [LEAD, GROUND, OBSERVER, SPARE] {
        assert!(!sounds(&world, device, Alarm::Clearance), "device {device}");
        let engine = world.engine(device).unwrap();
        let status = format!("{:?}", engine.status(world.clock(device)));
        assert!(!status.contains("1.10"), "device {device}");
    }
    // With the second look given it is no secret any more.
    world.do_now(OBSERVER, clearance("1.40"));
    world.run_for(1_000);
    assert!(sounds(&world, OBSERVER, Alarm::Clearance));
    assert!(sounds(&world, GROUND, Alarm::Clearance));
}
