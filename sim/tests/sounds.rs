//! Sounds: how often does a device sound in a job on which nothing goes wrong? An alarm asks for something to be done; one
//! in ten minutes is bearable, ten in ten minutes are a flood (ISA-18.2, EEMUA 191).
//! May use: gantline-sim.   Never: what a page adds by itself: Proceed again, softly, and only after one of these.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod support;

use gantline_protocol::plan;
use gantline_protocol::state::StepState;
use gantline_sim::radio::Air;
use gantline_sim::signing::Signing;
use gantline_sim::world::{Options, World};
use support::crew_of_six;

const TEN_MINUTES_MS: u64 = 10 * 60 * 1000;
/// So many of them are looked at.
const TENS: u64 = 2;
/// How long people take for the next thing, about as on a structure.
const THINK_MS: (u64, u64) = (10_000, 60_000);

#[test]
fn a_job_without_faults_sounds_at_most_once_in_ten_minutes_on_each_device() {
    let mut world = World::signing(
        Options {
            seed: 1,
            air: Air::POOR,
            plan: plan::builtin()[0].plan().unwrap(),
            crew: crew_of_six(&["ground"]),
            think_ms: THINK_MS,
        },
        Signing::Simulated,
    );
    world.admit_all();
    world.run_for(TENS * TEN_MINUTES_MS);
    let engine = world.engine(0).unwrap();
    let steps = engine.status(world.clock(0)).steps;
    let done = steps.iter().filter(|step| step.state == StepState::Done);
    let done = done.count();
    println!("{done} of {} steps, sounds {:?}", steps.len(), world.sounds);
    assert!(done > 5, "a crew that does nothing says nothing");
    for device in 0..world.devices.len() {
        let own = world.sounds.iter().filter(|(_, by, _)| *by == device);
        assert!(
            own.count() as u64 <= TENS,
            "device {device}: {:?}",
            world.sounds
        );
    }
}
