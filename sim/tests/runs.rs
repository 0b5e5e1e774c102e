//! Runs: do whole jobs under random faults break nothing and come to their close, and is one seed one run?
//! Owns: nothing.   Gives: each test prints the command that repeats what it found.
//! May use: gantline-sim only.   Never: wall-clock time, threads.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_sim::run::{Outcome, run};
use gantline_sim::script::{Script, Wanted, draw};

/// Without optimisation a run takes twenty times as long; more seeds are run by `tests/run`, optimised.
const SEEDS: u64 = if cfg!(debug_assertions) { 5 } else { 100 };
/// Longest first act of the runs here, ms: whole shifts are for the optimised program.
const FIRST_ACT_MS: u64 = 120_000;

fn short(seed: u64) -> Script {
    let mut script = draw(&Wanted {
        seed,
        devices: None,
        short: false,
    });
    script.first_act_ms = script.first_act_ms.min(FIRST_ACT_MS);
    script
}

fn good(name: &str, script: &Script) -> Outcome {
    let outcome = run(script);
    assert!(
        outcome.is_good(),
        "{name} (again: cargo run --release -p gantline-sim -- one SEED --trace, or this script:)\n{}\n{}",
        script.to_text().unwrap(),
        outcome.broken.join("\n")
    );
    outcome
}

#[test]
fn jobs_under_faults_break_nothing_and_close() {
    let mut closed = 0;
    let mut faults = 0;
    for seed in 0..SEEDS {
        let outcome = good(&format!("seed {seed}"), &short(seed));
        closed += u64::from(outcome.closed_after_ms.is_some());
        faults += outcome.counts.faults.values().sum::<u64>();
    }
    assert_eq!(closed, SEEDS, "a run that is good has closed its job");
    assert!(
        faults > SEEDS,
        "only {faults} faults: these runs say nothing"
    );
}

#[test]
fn one_seed_is_one_run_and_another_is_another() {
    let of = |seed| good(&format!("seed {seed}"), &short(seed)).trace.unwrap();
    let first = of(3);
    assert_eq!(first, of(3));
    assert_ne!(first, of(2));
}

/// A whole job of six in which one device is lost early, for good or to bad hands.
fn without(plan: &str, device: usize, lost: &str) -> Script {
    let text = format!(
        "seed = 1\nplan = \"{plan}\"\ndevices = 6\nthink_ms = [200, 900]\nreal_signatures = false\npages = false\n\
         first_act_ms = 60000\n\n[air]\n\n[[event]]\nat_ms = 30000\nwhat = {{ {lost} = {{ device = {device} }} }}\n"
    );
    Script::from_text(&text).unwrap_or_else(|bad| panic!("{text}: {bad}"))
}

/// I10. Found by a job whose supervisor fell into bad hands: the spare people were admitted by that device, which
/// still took itself for the supervisor, and a head count before the last step had no witness for the lost person. Tried with
/// everybody else it found a load that was offered by a lost person, and that nobody offered anew.
#[test]
fn whoever_is_lost_the_job_closes_without_them() {
    let supervisor = || ("dead-end-138", 0, "hostile");
    let all = || {
        let plans = [
            "small",
            "dead-end-138",
            "suspension-230",
            "suspension-345-ladder",
        ];
        plans.into_iter().flat_map(|plan| {
            (0..6).flat_map(move |device| ["hostile", "dead"].map(|lost| (plan, device, lost)))
        })
    };
    // Without optimisation one of them takes half a minute.
    let wanted: Vec<_> = if cfg!(debug_assertions) {
        vec![supervisor()]
    } else {
        all().collect()
    };
    assert!(wanted.contains(&supervisor()));
    for (plan, device, lost) in wanted {
        good(
            &format!("{plan}, device {device} {lost}"),
            &without(plan, device, lost),
        );
    }
}

#[test]
fn every_seed_that_ever_failed_is_good_now() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/seeds");
    let mut read = 0;
    for file in std::fs::read_dir(folder).unwrap() {
        let path = file.unwrap().path();
        let text = std::fs::read_to_string(&path).unwrap();
        let name = path.display().to_string();
        let script = Script::from_text(&text).unwrap_or_else(|bad| panic!("{name}: {bad}"));
        assert!(
            text.starts_with("# "),
            "{name} does not say in its first line what was broken"
        );
        good(&name, &script);
        read += 1;
    }
    assert!(read > 0, "no file in {folder}");
}
