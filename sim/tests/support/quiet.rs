//! Quiet: the small plan's crew in clear air, at its first step, with nobody who does anything by themselves.
//! Owns: nothing.   Gives: `crew`, `quiet_at_the_first_step`.
//! May use: the simulated world, support.   Never: a fault.

use super::support::crew_of_six;
use gantline_protocol::engine::Command;
use gantline_protocol::plan::{self, Plan};
use gantline_protocol::state::CallWord;
use gantline_sim::radio::Air;
use gantline_sim::world::{Options, World};

pub const LEAD: usize = 0;
pub const TOWER_1: usize = 1;

pub fn small() -> Plan {
    plan::parse("small.toml", plan::SMALL).unwrap()
}

pub fn crew(seed: u64, plan: Plan) -> World {
    println!("seed {seed}");
    World::with_crew(Options {
        seed,
        air: Air::CLEAR,
        plan,
        crew: crew_of_six(&["ground"]),
        think_ms: (200, 900),
    })
}

pub fn call(world: &World, device: usize) -> CallWord {
    world.engine(device).unwrap().call(world.clock(device)).word
}

/// Nobody does anything by themselves any more, and the first step is to be confirmed anew.
pub fn quiet_at_the_first_step(world: &mut World) {
    let proceeds = |world: &World| call(world, TOWER_1) == CallWord::Proceed;
    assert!(world.run_until_exact(60_000, proceeds), "nobody proceeds");
    for device in &mut world.devices {
        device.willing = false;
    }
    world.run_for(1_000);
    let back = Command::StepBack {
        step: "approach".try_into().unwrap(),
        why: "looked at anew".into(),
    };
    world.do_now(LEAD, back);
    world.run_for(1_000);
    let engine = world.engine(TOWER_1).unwrap();
    assert_eq!(engine.job().complete().len(), 0);
    assert_eq!(call(world, TOWER_1), CallWord::Proceed);
}
