//! Shrinks: does a run that breaks a rule become a small file that breaks the same rule?
//! Owns: a rule that is wrong on purpose.   Gives: nothing.
//! May use: gantline-sim only.   Never: wall-clock time, threads.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_sim::people::Wild;
use gantline_sim::run::{run, run_with};
use gantline_sim::script::{Event, Script, Weather, What};
use gantline_sim::shrink::shrink_run;
use gantline_sim::world::World;

/// Wrong on purpose: people do stop the work.
fn nobody_stops_the_work(world: &World, device: usize) -> Option<String> {
    let job = world.engine(device)?.job();
    let stopped = !job.in_force().is_empty();
    stopped.then(|| format!("X1: device {device} has a stop in force"))
}

fn script() -> Script {
    let event = |at_ms, what| Event { at_ms, what };
    Script {
        seed: 7,
        plan: "small".to_owned(),
        steps: None,
        devices: 7,
        think_ms: (200, 900),
        real_signatures: false,
        pages: true,
        air: Weather {
            loss: 5,
            ..Weather::default()
        },
        first_act_ms: 12_000,
        events: vec![
            event(
                500,
                What::CutWay {
                    from: 6,
                    to: 1,
                    for_ms: 900,
                },
            ),
            event(1_000, What::Drift { device: 2, ppm: 40 }),
            event(
                2_500,
                What::Person {
                    device: 3,
                    wild: Wild::Stop,
                },
            ),
            event(
                3_000,
                What::Stall {
                    device: 1,
                    for_ms: 400,
                },
            ),
            event(
                4_000,
                What::SlowDisk {
                    device: 0,
                    by_ms: 300,
                    for_ms: 2_000,
                },
            ),
        ],
    }
}

#[test]
fn a_broken_rule_is_found_at_once_made_small_kept_and_found_again() {
    let script = script();
    assert!(
        run(&script).is_good(),
        "without the wrong rule: {:?}",
        run(&script).broken
    );
    let found = run_with(&script, Some(nobody_stops_the_work));
    assert_eq!(found.kind(), Some("X1"));
    let act_one_ms = 2_500;
    assert!(
        found.true_ms < run(&script).true_ms && found.closed_after_ms.is_none(),
        "the run went on after it: {} ms, of which {act_one_ms} to the stop",
        found.true_ms
    );

    let small = shrink_run(&script, Some(nobody_stops_the_work));
    let left: Vec<&What> = small.events.iter().map(|event| &event.what).collect();
    let stop = What::Person {
        device: 3,
        wild: Wild::Stop,
    };
    assert_eq!(left, [&stop], "only the stop matters");
    assert_eq!((small.devices, small.steps), (5, Some(1)));
    assert_eq!((small.air, small.pages), (Weather::default(), false));
    assert_eq!(small.first_act_ms, 2_501, "the act ends with it");

    let kept = Script::from_text(&small.to_text().unwrap()).unwrap();
    assert_eq!(kept, small);
    let again = run_with(&kept, Some(nobody_stops_the_work));
    assert_eq!(again.kind(), Some("X1"));
    assert!(run(&kept).is_good(), "the small run breaks nothing else");
}

#[test]
fn what_breaks_nothing_stays_as_it_is() {
    let mut script = script();
    script.events.clear();
    assert_eq!(shrink_run(&script, Some(nobody_stops_the_work)), script);
}
