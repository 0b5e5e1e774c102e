//! Bytes: whatever a peer sends, a device takes nothing in that was not signed, and goes on.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_protocol::ids::{Person, RoleId};
use gantline_protocol::plan;
use gantline_protocol::state::CallWord;
use gantline_sim::radio::Air;
use gantline_sim::rng::Rng;
use gantline_sim::world::{Options, World};

const SEED: u64 = 0x6e01;
const INPUTS: usize = 4_000;
const DEVICE: usize = 1;
const PEER: usize = 2;

fn crew() -> Vec<(Person, Vec<RoleId>)> {
    let roles = ["supervisor", "tower", "observer", "ground"];
    roles
        .iter()
        .map(|role| {
            let person = Person::try_from(format!("Caller {role}")).unwrap();
            (person, vec![RoleId::try_from(*role).unwrap()])
        })
        .collect()
}

/// One, two or three changes: a byte, a cut, bytes between.
fn mutated(rng: &mut Rng, mut bytes: Vec<u8>) -> Vec<u8> {
    for _ in 0..rng.between(1, 3) {
        let at = rng.between(0, bytes.len() as u64) as usize;
        match rng.between(0, 3) {
            0 | 1 if at < bytes.len() => bytes[at] ^= rng.between(1, 255) as u8,
            2 => bytes.truncate(at),
            _ => {
                let more = (0..rng.between(1, 40)).map(|_| rng.draw() as u8);
                let more: Vec<u8> = more.collect();
                bytes.splice(at..at, more);
            }
        }
    }
    bytes
}

#[test]
fn random_and_mutated_bytes_change_nothing() {
    println!("seed {SEED}");
    let mut rng = Rng::new(SEED);
    let mut world = World::new(Options {
        seed: SEED,
        air: Air::CLEAR,
        plan: plan::parse("small.toml", plan::SMALL).unwrap(),
        crew: crew(),
        think_ms: (200, 900),
    });
    world.tap = Some(Vec::new());
    for device in 1..world.devices.len() {
        world.admit(device);
    }
    world.run_for(12_000);
    for device in &mut world.devices {
        device.willing = false;
    }
    assert!(world.run_until(10_000, World::level));
    world.run_for(3_000);
    let good = world.tap.take().unwrap();
    assert!(good.iter().any(|(datagram, _)| *datagram));
    assert!(good.iter().any(|(datagram, _)| !*datagram));
    let look = |world: &World| {
        let engine = world.engine(DEVICE).unwrap();
        let status = engine.status(world.clock(DEVICE));
        (
            status.entries,
            status.digest,
            status.call.word,
            status.stops,
        )
    };
    let before = look(&world);
    assert_ne!(before.2, CallWord::StopWork);
    for number in 0..INPUTS {
        let (datagram, bytes) = if rng.between(0, 3) == 0 {
            let length = rng.between(0, 600);
            let bytes = (0..length).map(|_| rng.draw() as u8).collect();
            (rng.between(0, 1) == 0, bytes)
        } else {
            let at = rng.between(0, good.len() as u64 - 1) as usize;
            let (datagram, bytes) = &good[at];
            (*datagram, mutated(&mut rng, bytes.to_vec()))
        };
        world.receive(DEVICE, PEER, datagram, bytes);
        if number % 100 == 99 {
            world.run_for(20);
        }
    }
    world.run_for(1_000);
    assert_eq!(look(&world), before, "seed {SEED}");
    assert_eq!(world.broken, [], "seed {SEED}");
    assert!(world.faults.len() > INPUTS / 4, "the bytes were too good");
    let bugs = world.faults.iter().filter(|fault| fault.contains("disk"));
    assert_eq!(bugs.count(), 0, "{:?}", world.faults);
}
