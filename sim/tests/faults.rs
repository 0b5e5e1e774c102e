//! Faults: does each thing that can go wrong in the simulator's world happen, and break nothing?
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod support;

use gantline_protocol::engine::Command;
use gantline_protocol::invariants::{self, Looked};
use gantline_protocol::log::entry::StopKind;
use gantline_protocol::plan;
use gantline_protocol::reason::Reason;
use gantline_protocol::state::CallWord;
use gantline_sim::radio::{Air, Bursts};
use gantline_sim::signing::Signing;
use gantline_sim::world::{MISCHIEFS, Options, PageState, World};
use std::collections::BTreeSet;
use support::crew_of_six;

const TOWER_1: usize = 1;
const TOWER_2: usize = 2;
const GROUND: usize = 3;
const OBSERVER: usize = 4;
const SPARE: usize = 5;

fn options(seed: u64, air: Air) -> Options {
    println!("seed {seed}");
    Options {
        seed,
        air,
        plan: plan::parse("small.toml", plan::SMALL).unwrap(),
        crew: crew_of_six(&["ground"]),
        think_ms: (200, 900),
    }
}

fn stop() -> Command {
    Command::Stop {
        kind: StopKind::Work,
        why: "wind".to_owned(),
        item: None,
    }
}

/// Lets time pass and looks at every log as it grows, by the short way and by the whole one.
struct Watched {
    world: World,
    looked: Vec<Looked>,
    honest: bool,
}

impl Watched {
    fn new(world: World, honest: bool) -> Self {
        let looked = vec![Looked::new(); world.devices.len()];
        Self {
            world,
            looked,
            honest,
        }
    }

    fn run_for(&mut self, ms: u64) {
        for _ in 0..ms / 500 {
            self.world.run_for(500);
            self.look();
        }
        self.nothing_broken();
    }

    fn look(&mut self) {
        for (device, looked) in self.looked.iter_mut().enumerate() {
            // A device that lost power may come back with less than was looked at.
            let Some(engine) = self.world.engine(device) else {
                *looked = Looked::new();
                continue;
            };
            if looked.is_behind(engine.job()) {
                let found = looked.look(engine.job(), self.honest);
                assert_eq!(found, Ok(()), "device {device}, seed {}", self.world.seed());
            }
        }
    }

    fn nothing_broken(&self) {
        let world = &self.world;
        assert_eq!(world.broken, [], "seed {}", world.seed());
        for device in 0..world.devices.len() {
            let Some(engine) = world.engine(device) else {
                continue;
            };
            let status = engine.status(world.clock(device));
            let found = invariants::check(engine.job(), &status);
            assert_eq!(found, Ok(()), "device {device}, seed {}", world.seed());
            for other in 0..device {
                if let Some(other) = world.engine(other) {
                    assert_eq!(invariants::agree(engine.job(), other.job()), Ok(()));
                }
            }
        }
    }

    fn call(&self, device: usize) -> CallWord {
        let world = &self.world;
        world.engine(device).unwrap().call(world.clock(device)).word
    }

    fn close(&mut self) {
        for _ in 0..600 {
            if self.world.closed() && self.world.level() {
                break;
            }
            self.world.run_for(500);
            self.look();
        }
        let world = &self.world;
        let calls: Vec<_> = (0..world.devices.len())
            .filter_map(|device| Some(world.engine(device)?.call(world.clock(device))))
            .map(|call| (call.word, call.reasons))
            .collect();
        assert!(
            world.closed(),
            "seed {}: not closed: {calls:?}",
            world.seed()
        );
        assert!(self.world.level(), "seed {}: not level", self.world.seed());
        self.nothing_broken();
    }
}

fn crew(seed: u64, air: Air) -> Watched {
    Watched::new(World::with_crew(options(seed, air)), true)
}

#[test]
fn bursts_of_loss_on_pairs_and_on_whole_radios_delay_a_job_and_break_nothing() {
    let bursts = |good_ms, bad_ms| Bursts {
        good_ms,
        bad_ms,
        loss: 90,
    };
    let air = Air {
        pairs: Some(bursts(4_000, 1_000)),
        devices: Some(bursts(20_000, 800)),
        late: 50,
        ..Air::POOR
    };
    let mut crew = crew(201, air);
    crew.run_for(15_000);
    crew.world.do_now(TOWER_1, stop());
    crew.run_for(30_000);
    let radio = &crew.world.radio;
    assert!(radio.lost_in_bursts > 0 && radio.lost_in_bursts < radio.lost);
    assert!(radio.repeated > 0 && radio.overtaken > 0);
    crew.world.radio.air = Air::CLEAR;
    crew.close();
}

#[test]
fn a_device_that_nobody_hears_holds_and_so_does_everybody() {
    let mut crew = crew(202, Air::CLEAR);
    let proceeds = |world: &World| {
        let engine = world.engine(TOWER_1).unwrap();
        engine.call(world.clock(TOWER_1)).word == CallWord::Proceed
    };
    assert!(
        crew.world.run_until(60_000, proceeds),
        "nobody ever proceeds"
    );
    for other in (0..6).filter(|other| *other != GROUND) {
        crew.world.radio.cut_way(GROUND, other);
    }
    crew.run_for(5_000);
    for device in 0..6 {
        assert_ne!(crew.call(device), CallWord::Proceed, "device {device}");
    }
    crew.world.radio.heal_all();
    crew.close();
}

#[test]
fn clocks_that_drift_step_and_begin_anew_and_machines_that_sleep_break_nothing() {
    for seed in 203..206 {
        let mut crew = crew(seed, Air::POOR);
        crew.world.drift(TOWER_1, 100);
        crew.world.drift(TOWER_2, -100);
        crew.run_for(5_000);
        crew.world.step_wall(GROUND, -86_400_000);
        crew.world.step_wall(TOWER_2, 3_600_000);
        crew.world.stall(SPARE, 7_000);
        crew.world.suspend(GROUND, 9_000);
        crew.run_for(2_000);
        crew.world.do_now(TOWER_1, stop());
        crew.run_for(3_000);
        assert!(!crew.world.answers(GROUND));
        crew.world.power_off(TOWER_2);
        crew.world.reboot_clock(TOWER_2);
        crew.run_for(1_000);
        crew.world.power_on(TOWER_2);
        crew.run_for(10_000);
        assert!(crew.world.answers(GROUND));
        crew.close();
    }
}

#[test]
fn a_frozen_page_quiets_its_device_and_a_cut_page_keeps_a_stop_until_its_node_has_it() {
    let mut crew = crew(207, Air::CLEAR);
    for device in 0..6 {
        crew.world.open_page(device);
    }
    let all_proceed = |world: &World| {
        (0..6).all(|device| world.devices[device].page.word(world.now) == Some(CallWord::Proceed))
    };
    assert!(
        crew.world.run_until(60_000, all_proceed),
        "no page ever says Proceed"
    );
    for device in &mut crew.world.devices {
        device.willing = false;
    }
    crew.world.freeze_page(TOWER_1);
    assert!(
        !crew.world.press(TOWER_1, stop()),
        "a frozen page takes no press"
    );
    crew.run_for(7_000);
    for device in [TOWER_2, GROUND] {
        assert_ne!(crew.call(device), CallWord::Proceed, "device {device}");
        let word = crew.world.devices[device].page.word(crew.world.now);
        assert_ne!(word, Some(CallWord::Proceed), "page of {device}");
    }
    crew.world.open_page(TOWER_1);
    crew.run_for(7_000);
    crew.world.cut_page(TOWER_1);
    assert!(crew.world.press(TOWER_1, stop()));
    crew.run_for(7_000);
    assert_ne!(crew.call(GROUND), CallWord::Proceed);
    assert_ne!(
        crew.call(GROUND),
        CallWord::StopWork,
        "the node cannot know of it yet"
    );
    crew.world.open_page(TOWER_1);
    crew.run_for(1_500);
    for device in 0..6 {
        assert_eq!(crew.call(device), CallWord::StopWork, "device {device}");
    }
    crew.world.close_page(SPARE);
    assert_eq!(crew.world.devices[SPARE].page.state(), PageState::Closed);
    for device in &mut crew.world.devices {
        device.willing = true;
    }
    crew.close();
}

#[test]
fn a_write_torn_by_a_loss_of_power_and_a_failing_disk_lose_nothing_that_was_said_to_be_recorded() {
    for seed in 208..214 {
        let mut crew = crew(seed, Air::POOR);
        crew.run_for(4_000);
        crew.world.devices[GROUND].disk.failing = 2;
        crew.world.devices[TOWER_2].disk.slow_ms = 300;
        let writes = |world: &World| world.devices[TOWER_2].disk.is_writing();
        assert!(crew.world.run_until_exact(60_000, writes));
        crew.world.power_off_torn(TOWER_2, 1);
        crew.run_for(3_000);
        crew.world.power_on(TOWER_2);
        crew.run_for(5_000);
        crew.close();
        assert_eq!(crew.world.lost_entries(), [], "seed {seed}");
    }
}

#[test]
fn a_write_that_failed_once_is_no_dead_end_for_a_device_that_only_listens() {
    let mut crew = crew(219, Air::CLEAR);
    crew.world.devices[GROUND].willing = false;
    crew.run_for(2_000);
    crew.world.devices[GROUND].disk.failing = 1;
    let failed = |world: &World| world.devices[GROUND].disk.failing == 0;
    assert!(crew.world.run_until(30_000, failed), "nothing was written");
    // Held until a write succeeds, and one is tried.
    let call = |world: &World| {
        let engine = world.engine(GROUND).unwrap();
        engine.call(world.clock(GROUND))
    };
    let held = |world: &World| call(world).reasons.contains(&Reason::DiskFailed);
    assert!(held(&crew.world));
    assert!(
        crew.world
            .run_until(10_000, |world| !held(world) && world.level()),
        "{:?}",
        call(&crew.world)
    );
    crew.nothing_broken();
}

#[test]
fn a_device_that_comes_back_with_an_old_journal_takes_its_chain_back_before_it_writes() {
    for seed in 214..218 {
        let mut crew = crew(seed, Air::POOR);
        crew.run_for(10_000);
        let image = crew.world.devices[TOWER_1].disk.image_before(12);
        crew.run_for(5_000);
        crew.world.restore(TOWER_1, &image, true);
        assert!(crew.world.had_old_image(TOWER_1));
        crew.look();
        crew.looked[TOWER_1] = Looked::new();
        crew.run_for(10_000);
        crew.close();
        let forks = crew.world.engine(GROUND).unwrap().job().graph().forks();
        assert!(forks.is_empty(), "seed {seed}: {forks:?}");
    }
}

#[test]
fn an_old_journal_is_written_on_once_most_of_the_crew_have_said_what_they_hold_and_not_before() {
    for (off, writes) in [(2, true), (3, false)] {
        let mut options = options(218, Air::CLEAR);
        options.crew.truncate(5);
        options.think_ms = (1_000, 5_000);
        let lost_after_ms = options.plan.times.lost_after_ms;
        let mut world = World::signing(options, Signing::Real);
        world.admit_all();
        let mut crew = Watched::new(world, true);
        crew.run_for(10_000);
        let image = crew.world.devices[TOWER_1].disk.image_before(4);
        for device in [0, GROUND, OBSERVER].into_iter().take(off) {
            crew.world.power_off(device);
        }
        crew.world.restore(TOWER_1, &image, true);
        crew.looked[TOWER_1] = Looked::new();
        let recovered = |world: &World| world.engine(TOWER_1).unwrap().is_recovered();
        assert!(!crew.world.run_until(lost_after_ms - 100, recovered));
        assert_eq!(crew.world.run_until(60_000, recovered), writes, "{off} off");
        crew.look();
        crew.nothing_broken();
        let forks = crew.world.engine(TOWER_2).unwrap().job().graph().forks();
        assert!(forks.is_empty(), "{off} off: {forks:?}");
    }
}

#[test]
fn a_hostile_device_of_the_crew_breaks_no_invariant_whatever_it_signs() {
    let mut seen = BTreeSet::new();
    for seed in 220..260 {
        if seen.len() == MISCHIEFS.len() {
            break;
        }
        // Not with real signatures, which would be most of the time: what is forged here is well signed.
        let mut world = World::signing(options(seed, Air::POOR), Signing::Simulated);
        world.admit_all();
        let mut crew = Watched::new(world, false);
        crew.run_for(3_000);
        assert!(crew.world.turn_hostile(SPARE));
        crew.world.noise(GROUND, TOWER_1, 50);
        crew.run_for(20_000);
        crew.world.do_now(TOWER_1, stop());
        crew.run_for(10_000);
        assert_eq!(crew.call(TOWER_1), CallWord::StopWork, "seed {seed}");
        seen.extend(crew.world.mischiefs.keys().copied());
    }
    assert_eq!(
        seen.len(),
        MISCHIEFS.len(),
        "not everything was tried: {seen:?}"
    );
}

#[test]
fn a_crew_with_signatures_of_the_simulation_closes_the_same_job_as_one_with_real_ones() {
    let run = |signing| {
        let mut world = World::signing(options(233, Air::CLEAR), signing);
        world.admit_all();
        let mut crew = Watched::new(world, true);
        crew.close();
        crew.world
    };
    let (real, simulated) = (run(Signing::Real), run(Signing::Simulated));
    assert_ne!(real.trace(), simulated.trace());
    for world in [&real, &simulated] {
        assert!(world.faults.is_empty(), "{:?}", world.faults);
    }
}
