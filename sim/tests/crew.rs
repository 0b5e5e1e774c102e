//! Whole crews on virtual time: what the rooms promise together.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod support;

use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::{Person, RoleId};
use gantline_protocol::invariants;
use gantline_protocol::log::entry::StopKind;
use gantline_protocol::plan::{self, Plan};
use gantline_protocol::state::{CallWord, JobState, StepState};
use gantline_sim::radio::Air;
use gantline_sim::world::{Options, World};
use support::crew_of_six;

const SUPERVISOR: usize = 0;
const TOWER_1: usize = 1;
const TOWER_2: usize = 2;
const GROUND: usize = 3;
const OBSERVER: usize = 4;
const SPARE: usize = 5;

fn small() -> Plan {
    plan::parse("small.toml", plan::SMALL).unwrap()
}

fn options(seed: u64, air: Air, plan: Plan) -> Options {
    println!("seed {seed}");
    Options {
        seed,
        air,
        plan,
        crew: crew_of_six(&["ground"]),
        think_ms: (200, 900),
    }
}

/// Runs until the job is closed on every device that is on.
fn run_to_close(world: &mut World, at_most_ms: u64) {
    let closed = world.run_until(at_most_ms, |world| {
        world.devices.iter().enumerate().all(|(device, _)| {
            world.engine(device).is_none_or(|engine| {
                let status = engine.status(world.clock(device));
                let present = engine.job().roster().present(&engine.me());
                !present || status.job_state == JobState::Closed
            })
        })
    });
    if !closed {
        explain(world);
        panic!("seed {}: not closed", world.seed());
    }
}

/// Says where a run got stuck.
fn explain(world: &World) {
    for device in 0..world.devices.len() {
        let Some(engine) = world.engine(device) else {
            println!("{device}: off");
            continue;
        };
        let status = engine.status(world.clock(device));
        let open: Vec<_> = status
            .steps
            .iter()
            .filter(|step| step.state != StepState::Done)
            .take(2)
            .map(|step| {
                let missing: Vec<_> = step
                    .checks
                    .iter()
                    .filter(|check| !check.done)
                    .map(|check| format!("{} {:?}", check.id, check.missing))
                    .collect();
                format!("{} {:?} {missing:?}", step.id, step.state)
            })
            .collect();
        println!(
            "{device} {:?}: {:?} {:?}\n   asked {:?}\n   open {open:?}\n   stops {:?}",
            status.person, status.call.word, status.call.reasons, status.asked, status.stops
        );
    }
    println!("refusals {:?}", world.refusals);
    println!("faults {:?}", world.faults);
    for (device, command, outcome) in world.outcomes.iter().rev().take(25).rev() {
        println!("{device} {command:?} -> {outcome:?}");
    }
}

fn nothing_broken(world: &World) {
    assert_eq!(world.broken, [], "seed {}", world.seed());
    for device in 0..world.devices.len() {
        let Some(engine) = world.engine(device) else {
            continue;
        };
        let status = engine.status(world.clock(device));
        let job = engine.job();
        assert_eq!(
            invariants::check(job, &status),
            Ok(()),
            "seed {}",
            world.seed()
        );
        for other in 0..device {
            if let Some(other) = world.engine(other) {
                assert_eq!(invariants::agree(job, other.job()), Ok(()));
            }
        }
    }
}

fn level_in(world: &mut World, ms: u64) {
    if !world.run_until(ms, World::level) {
        explain(world);
        panic!("seed {}: not level", world.seed());
    }
}

fn stop(why: &str) -> Command {
    Command::Stop {
        kind: StopKind::Work,
        why: why.to_owned(),
        item: None,
    }
}

#[test]
fn a_crew_of_six_closes_a_job_with_a_fifth_of_everything_lost() {
    let mut world = World::with_crew(options(1, Air::POOR, small()));
    run_to_close(&mut world, 150_000);
    level_in(&mut world, 20_000);
    nothing_broken(&world);
    assert_eq!(world.lost_entries(), []);
    assert!(
        world.radio.lost > 100,
        "the air was too good to say anything"
    );
}

#[test]
fn a_closed_log_grows_by_nothing_that_nobody_pressed() {
    let mut world = World::with_crew(options(12, Air::CLEAR, small()));
    run_to_close(&mut world, 150_000);
    level_in(&mut world, 20_000);
    let closed_with = world.entries();
    // A device that starts now compares clocks for the first time a minute later.
    for device in 0..world.devices.len() {
        world.power_off(device);
        world.power_on(device);
    }
    world.run_for(120_000);
    assert_eq!(world.entries(), closed_with);
    nothing_broken(&world);
}

#[test]
fn one_seed_is_one_run_and_another_is_another() {
    let trace = |seed| {
        let mut world = World::with_crew(options(seed, Air::POOR, small()));
        world.run_for(20_000);
        (world.trace(), world.entries())
    };
    let first = trace(7);
    assert!(first.1 > 10);
    assert_eq!(first, trace(7));
    assert_ne!(first.0, trace(8).0);
}

#[test]
fn a_stop_reaches_everyone_in_time_and_is_released_by_the_crew() {
    let mut world = World::with_crew(options(3, Air::POOR, small()));
    world.run_for(15_000);
    let pressed_at = world.now;
    world.do_now(TOWER_2, stop("wind"));
    // The presser's own screen says so before the disk has it.
    let engine = world.engine(TOWER_2).unwrap();
    assert_eq!(engine.call(world.clock(TOWER_2)).word, CallWord::StopWork);
    for device in 0..world.devices.len() {
        world.devices[device].willing = false;
    }
    world.run_for(5_000);
    for device in 0..world.devices.len() {
        let since = world.first_stop.get(&device).map(|at| at - pressed_at);
        assert!(
            since.is_some_and(|since| since < 1_000),
            "{device}: {since:?}"
        );
    }
    for device in 0..world.devices.len() {
        world.devices[device].willing = true;
    }
    run_to_close(&mut world, 150_000);
    nothing_broken(&world);
}

#[test]
fn a_device_that_is_cut_off_from_the_presser_says_proceed_no_longer_than_the_limit() {
    let mut world = World::with_crew(options(4, Air::CLEAR, small()));
    let proceeds = |world: &World| {
        let engine = world.engine(GROUND).unwrap();
        engine.call(world.clock(GROUND)).word == CallWord::Proceed
    };
    assert!(world.run_until(60_000, proceeds), "nobody ever proceeds");
    world.part(&[GROUND]);
    world.do_now(TOWER_1, stop("pole slips"));
    let pressed_at = world.now;
    // The world looks at every tick of every device; this only shows that there was something to see.
    assert!(proceeds(&world), "the cut device held before it could know");
    world.run_until(10_000, |world| !proceeds(world));
    let held_after = world.now - pressed_at;
    assert!((1_000..=4_200).contains(&held_after), "{held_after}");
    world.run_for(10_000);
    world.radio.heal_all();
    run_to_close(&mut world, 150_000);
    nothing_broken(&world);
}

#[test]
fn a_power_cut_right_after_recorded_loses_nothing() {
    for seed in 10..14 {
        let mut world = World::with_crew(options(seed, Air::POOR, small()));
        world.run_for(10_000);
        let before = world.outcomes.len();
        // Cut the power of whoever was told "recorded", at that very moment, three times over.
        for _ in 0..3 {
            let recorded = |world: &World, from: usize| {
                world.outcomes[from..]
                    .iter()
                    .find(|(_, _, outcome)| matches!(outcome, Outcome::Recorded { .. }))
                    .map(|(device, _, _)| *device)
            };
            let from = world.outcomes.len();
            world.run_until_exact(30_000, |world| recorded(world, from).is_some());
            if let Some(device) = recorded(&world, from) {
                world.power_off(device);
                world.run_for(4_000);
                world.power_on(device);
            }
        }
        assert!(world.outcomes.len() > before);
        run_to_close(&mut world, 150_000);
        level_in(&mut world, 20_000);
        assert_eq!(world.lost_entries(), [], "seed {seed}");
        nothing_broken(&world);
    }
}

#[test]
fn a_stop_lost_with_the_power_of_its_device_still_stops_and_forks_nobody_who_heard_it() {
    let mut world = World::with_crew(options(20, Air::CLEAR, small()));
    world.run_for(10_000);
    world.do_now(TOWER_1, stop("slip"));
    // The datagrams are out, the disk is not done.
    world.power_off(TOWER_1);
    world.run_for(3_000);
    let engine = world.engine(GROUND).unwrap();
    assert_eq!(engine.call(world.clock(GROUND)).word, CallWord::StopWork);
    world.power_on(TOWER_1);
    run_to_close(&mut world, 150_000);
    level_in(&mut world, 20_000);
    nothing_broken(&world);
    for device in 0..world.devices.len() {
        let engine = world.engine(device).unwrap();
        assert!(engine.job().graph().forks().is_empty());
    }
}

#[test]
fn an_observer_is_relieved_while_the_job_goes_on() {
    // The spare holds no role yet: a ground worker could not be the observer as well.
    let mut world = World::with_crew(Options {
        crew: crew_of_six(&[]),
        think_ms: (600, 1_500),
        ..options(30, Air::POOR, small())
    });
    world.run_for(4_000);
    let role: RoleId = "observer".parse().unwrap();
    let to = world.devices[SPARE].id;
    world.do_now(OBSERVER, Command::ReliefWanted { role: role.clone() });
    world.run_for(2_000);
    world.do_now(
        SUPERVISOR,
        Command::OfferRole {
            role: role.clone(),
            to,
        },
    );
    let taken = world.run_until(30_000, |world| {
        let engine = world.engine(SUPERVISOR).unwrap();
        engine.job().roster().holds(&to, &role)
    });
    if !taken {
        explain(&world);
    }
    assert!(taken, "the relief was not taken");
    run_to_close(&mut world, 150_000);
    nothing_broken(&world);
}

#[test]
fn a_device_that_dies_is_removed_and_the_job_goes_on_without_it() {
    let mut world = World::with_crew(options(40, Air::POOR, small()));
    world.run_for(8_000);
    world.power_off(SPARE);
    world.run_for(11_000);
    let device = world.devices[SPARE].id;
    world.do_now(
        SUPERVISOR,
        Command::Remove {
            device,
            spoken_to: None,
            called_stop: false,
        },
    );
    let removed = world.run_until(60_000, |world| {
        let engine = world.engine(SUPERVISOR).unwrap();
        !engine.job().roster().present(&device)
    });
    if !removed {
        explain(&world);
    }
    assert!(removed, "the dead device was not removed");
    run_to_close(&mut world, 150_000);
    nothing_broken(&world);
}

#[test]
fn a_supervisor_who_is_lost_is_replaced_by_a_majority() {
    let mut world = World::with_crew(options(50, Air::POOR, small()));
    world.run_for(8_000);
    world.power_off(SUPERVISOR);
    is_taken_over_from(&mut world);
}

#[test]
fn a_supervisor_who_has_left_is_replaced_by_a_majority() {
    let mut world = World::with_crew(options(51, Air::POOR, small()));
    world.run_for(8_000);
    world.do_now(SUPERVISOR, Command::Leave);
    let left = world.run_until(20_000, |world| {
        let engine = world.engine(GROUND).unwrap();
        engine.job().roster().supervisor.is_none()
    });
    assert!(left, "nobody hears that the supervisor has left");
    is_taken_over_from(&mut world);
}

/// The ground worker proposes, the others' devices consent, and the job goes on to its close.
fn is_taken_over_from(world: &mut World) {
    world.run_for(11_000);
    let device = world.devices[SUPERVISOR].id;
    world.do_now(
        GROUND,
        Command::Remove {
            device,
            spoken_to: None,
            called_stop: false,
        },
    );
    let replaced = world.run_until(60_000, |world| {
        let engine = world.engine(TOWER_1).unwrap();
        engine.job().roster().supervisor == Some(world.devices[GROUND].id)
    });
    if !replaced {
        explain(world);
    }
    assert!(replaced, "the office was not taken over");
    run_to_close(world, 150_000);
    nothing_broken(world);
}

#[test]
fn a_full_disk_holds_and_a_stop_still_goes_out() {
    let mut world = World::with_crew(options(60, Air::CLEAR, small()));
    world.run_for(10_000);
    world.devices[GROUND].disk.full = true;
    world.devices[GROUND].willing = false;
    world.do_now(
        GROUND,
        Command::MakeSafe {
            step: None,
            text: "line tied off".to_owned(),
        },
    );
    world.run_for(1_000);
    assert!(matches!(
        world
            .outcomes
            .iter()
            .rev()
            .find(|(device, _, _)| *device == GROUND),
        Some((_, _, Outcome::Refused { .. }))
    ));
    let engine = world.engine(GROUND).unwrap();
    assert_ne!(engine.call(world.clock(GROUND)).word, CallWord::Proceed);
    world.do_now(GROUND, stop("disk is full, and so is my day"));
    world.run_for(2_000);
    for device in 0..world.devices.len() {
        let engine = world.engine(device).unwrap();
        let word = engine.call(world.clock(device)).word;
        assert_eq!(word, CallWord::StopWork, "device {device}");
    }
    world.devices[GROUND].disk.full = false;
    world.devices[GROUND].willing = true;
    run_to_close(&mut world, 150_000);
    nothing_broken(&world);
    for device in 0..world.devices.len() {
        let engine = world.engine(device).unwrap();
        assert!(
            engine.job().graph().forks().is_empty(),
            "a full disk made a fork"
        );
    }
}

#[test]
fn the_230_kv_job_is_done_from_plan_to_close() {
    let builtin = plan::builtin();
    let plan = builtin[0].plan().unwrap();
    let mut world = World::with_crew(options(70, Air::POOR, plan));
    run_to_close(&mut world, 300_000);
    level_in(&mut world, 20_000);
    nothing_broken(&world);
    println!("{} entries in {} s", world.entries(), world.now / 1_000);
}

fn nobody_acts(world: &mut World) {
    for device in &mut world.devices {
        device.willing = false;
    }
}

#[test]
fn heard_pressed_while_a_stop_is_not_yet_in_the_log_waits_for_it() {
    use gantline_protocol::log::entry::Body;
    for seed in 80..84 {
        let mut world = World::with_crew(options(seed, Air::CLEAR, small()));
        world.run_for(10_000);
        nobody_acts(&mut world);
        world.run_for(1_000);
        world.do_now(TOWER_1, stop("shackle"));
        let loose = |world: &World| {
            let engine = world.engine(GROUND).unwrap();
            engine.call(world.clock(GROUND)).word == CallWord::StopWork
                && engine.job().stops().is_empty()
        };
        assert!(world.run_until_exact(5_000, loose), "seed {seed}");
        world.do_now(GROUND, Command::Heard { stop: None });
        world.run_for(1_500);
        let (_, _, outcome) = world
            .outcomes
            .iter()
            .rfind(|(at, _, _)| *at == GROUND)
            .unwrap();
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
        let engine = world.engine(GROUND).unwrap();
        let (job, graph) = (engine.job(), engine.job().graph());
        let stopped = graph.hash(job.stops()[0].entry);
        let heard = graph.iter().filter(|ix| {
            graph.author(*ix) == engine.me()
                && matches!(graph.body(*ix), Body::Heard(heard) if heard.stop == stopped)
        });
        assert_eq!(heard.count(), 1, "seed {seed}");
    }
}

#[test]
fn a_head_count_takes_nobody_for_clear_whose_device_does_not_answer() {
    use gantline_protocol::log::entry::Body;
    let mut world = World::with_crew(options(85, Air::CLEAR, small()));
    world.run_for(10_000);
    nobody_acts(&mut world);
    world.part(&[GROUND]);
    world.run_for(5_000);
    let people = crew_of_six(&["ground"])
        .into_iter()
        .map(|(person, _)| person);
    let command = Command::HeadCount {
        clear: people.collect(),
        assumed: Vec::new(),
    };
    let before = world.engine(SUPERVISOR).unwrap().job().graph().len();
    world.do_now(SUPERVISOR, command);
    world.run_for(1_000);
    let graph = world.engine(SUPERVISOR).unwrap().job().graph();
    let counts: Vec<_> = graph
        .iter()
        .skip(before)
        .filter_map(|ix| match graph.body(ix) {
            Body::HeadCount(count) => Some(count),
            _ => None,
        })
        .collect();
    assert_eq!(counts.len(), 1, "{:?}", world.outcomes.last());
    let ground = Person::try_from("Ground").unwrap();
    assert_eq!(counts[0].assumed, std::slice::from_ref(&ground));
    assert!(!counts[0].clear.contains(&ground));
    assert_eq!(counts[0].clear.len(), 5);
}

#[test]
fn a_day_that_began_does_not_begin_once_more() {
    // Nobody has begun anything when it is suspended.
    let mut world = World::with_crew(Options {
        think_ms: (2_500, 4_000),
        ..options(90, Air::CLEAR, small())
    });
    let people = crew_of_six(&["ground"]).into_iter();
    let heads = Command::HeadCount {
        clear: people.map(|(person, _)| person).collect(),
        assumed: Vec::new(),
    };
    let suspend = Command::Suspend {
        state: "as it stands".to_owned(),
        resume_by: Person::try_from("Lead").unwrap(),
        tools_out: 9,
        tools_back: 9,
    };
    let resume = |world: &mut World| {
        world.do_now(SUPERVISOR, Command::ResumeDay);
        world.run_for(1_000);
        let mut said = world.outcomes.iter().rev();
        let said = said.find(|(_, command, _)| *command == Command::ResumeDay);
        said.map(|(_, _, outcome)| outcome.clone()).unwrap()
    };
    assert_eq!(
        resume(&mut world),
        Outcome::AlreadySo,
        "nothing was suspended"
    );
    for _ in 0..2 {
        world.do_now(SUPERVISOR, heads.clone());
        world.run_for(300);
        world.do_now(SUPERVISOR, suspend.clone());
        world.run_for(300);
        let stopped = |world: &World| {
            let job = world.engine(SUPERVISOR).unwrap().job();
            !job.in_force().is_empty()
        };
        assert!(stopped(&world));
        assert!(world.run_until(30_000, |world| !stopped(world)));
        let first = resume(&mut world);
        assert!(matches!(first, Outcome::Recorded { .. }), "{first:?}");
        assert_eq!(resume(&mut world), Outcome::AlreadySo);
    }
    run_to_close(&mut world, 150_000);
    nothing_broken(&world);
}
