//! Run: many seeds, on several threads, and what they show together.
//! Owns: nothing that a run depends on.   Gives: the first failing seed at once, small; counts, speed.
//! May use: run, found, threads, the time.   Never: hides a failure behind another.

use super::seeds::Seeds;
use super::threads::on_threads;
use super::{Problem, found};
use clap::Args;
use gantline_sim::run::{Counts, Outcome, never_done, never_seen, run as run_script};
use gantline_sim::script::{Script, Wanted, draw};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Every so many seeds one is run twice, and the traces must be equal.
const TWICE_EVERY: u64 = 16;
/// From so many runs on each fault and each reason must have occurred.
const ALL_SEEN_FROM: u64 = 2_000;
/// How often a long run says how far it is.
const PROGRESS_EVERY: Duration = Duration::from_secs(60);

/// A seed that fails is printed at once with the command that repeats it, then made smaller and written to
/// `--found`. Every sixteenth seed is run twice, and both runs must be the same to the last event. From 2,000 runs
/// on every kind of fault and every reason for which a press can be refused must have occurred: a zero is a failure.
/// With `--all-occur` fewer must show it too.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// From which seed to which; the last is not run. Several, and single ones, with commas: `0..85,437`.
    #[arg(long, value_name = "A..B")]
    seeds: Seeds,
    /// So many devices in each crew, whatever the seed draws.
    #[arg(long, value_parser = clap::value_parser!(u8).range(5..=32))]
    devices: Option<u8>,
    /// The seeds of other runs, over in a moment, in which much happens in a short time; in half of them nothing fails
    /// but people. Of what must have occurred only what people do is looked at.
    #[arg(long)]
    short: bool,
    /// Answers in JSON, one object; `never_occurred` is null if that was not looked at.
    #[arg(long)]
    json: bool,
    /// Threads; each seed is run by one.
    #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=64))]
    threads: u8,
    /// Goes on after a failing seed, and makes none smaller.
    #[arg(long)]
    keep_going: bool,
    /// Stops at the first failing seed, and makes it no smaller.
    #[arg(long, conflicts_with = "keep_going")]
    as_found: bool,
    /// Begins no more seeds after so many seconds; how many were run is said.
    #[arg(long, value_name = "SECONDS")]
    within: Option<u64>,
    /// Everything must have occurred, however few runs there are.
    #[arg(long)]
    all_occur: bool,
    /// Where a failing seed is written.
    #[arg(long, default_value = "sim/seeds", value_name = "DIR")]
    found: PathBuf,
}

#[derive(Debug, Default)]
struct Sum {
    counts: Counts,
    runs: u64,
    twice: u64,
    device_ms: u64,
    true_ms: u64,
    slowest_close_ms: u64,
    spread_ms: Vec<u64>,
    failing: Vec<(Script, Outcome)>,
    said: Duration,
}

impl Sum {
    fn add(&mut self, script: Script, outcome: Outcome, twice: bool) {
        self.counts.merge(&outcome.counts);
        self.runs += 1;
        self.twice += u64::from(twice);
        self.device_ms += outcome.device_ms;
        self.true_ms += outcome.true_ms * (1 + u64::from(twice));
        let close = outcome.closed_after_ms.unwrap_or(0);
        self.slowest_close_ms = self.slowest_close_ms.max(close);
        self.spread_ms.extend(&outcome.spread_ms);
        if !outcome.is_good() {
            self.failing.push((script, outcome));
        }
    }

    fn device_hours(&self) -> f64 {
        self.device_ms as f64 / 3_600_000.0
    }

    /// A line now and then, for whoever waits.
    fn progress(&mut self, gone: Duration) {
        if gone >= self.said + PROGRESS_EVERY {
            self.said = gone;
            eprintln!(
                "{} s: {} runs, {} failing, {:.0} device-hours",
                gone.as_secs(),
                self.runs,
                self.failing.len(),
                self.device_hours()
            );
        }
    }
}

fn one(seed: u64, arguments: &Arguments) -> (Script, Outcome, bool) {
    let script = draw(&Wanted {
        seed,
        devices: arguments.devices.map(usize::from),
        short: arguments.short,
    });
    let mut outcome = run_script(&script);
    let twice = seed.is_multiple_of(TWICE_EVERY);
    if twice && run_script(&script).trace != outcome.trace {
        let words = "trace: the same seed gave another trace the second time";
        outcome.broken.push(words.to_owned());
    }
    (script, outcome, twice)
}

pub(crate) fn run(arguments: &Arguments) -> Result<bool, Problem> {
    let began = Instant::now();
    let sum = all(arguments, began)?;
    if !arguments.keep_going
        && !arguments.as_found
        && let Some((script, outcome)) = sum.failing.first()
    {
        found::keep(&arguments.found, script, outcome)?;
    }
    // Runs that were cut short show nothing by what they lack.
    let all_run = sum.runs == arguments.seeds.count();
    let looked_at = sum.runs >= ALL_SEEN_FROM || arguments.all_occur && all_run;
    let missing = looked_at.then(|| {
        if arguments.short {
            never_done(&sum.counts)
        } else {
            never_seen(&sum.counts)
        }
    });
    report(
        arguments,
        &sum,
        missing.as_deref(),
        began.elapsed().as_secs_f64(),
    );
    Ok(sum.failing.is_empty() && missing.is_none_or(|missing| missing.is_empty()))
}

fn all(arguments: &Arguments, began: Instant) -> Result<Sum, Problem> {
    let next = AtomicU64::new(0);
    let stop = AtomicBool::new(false);
    let sum = Mutex::new(Sum::default());
    let in_time = || {
        arguments
            .within
            .is_none_or(|seconds| began.elapsed().as_secs() < seconds)
    };
    on_threads(arguments.threads, || {
        while !stop.load(Ordering::Relaxed) && in_time() {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(seed) = arguments.seeds.at(at) else {
                return;
            };
            let (script, outcome, twice) = one(seed, arguments);
            if !outcome.is_good() {
                found::say(seed, arguments.devices, arguments.short, &outcome);
                stop.fetch_or(!arguments.keep_going, Ordering::Relaxed);
            }
            let mut sum = sum.lock().unwrap_or_else(PoisonError::into_inner);
            sum.add(script, outcome, twice);
            sum.progress(began.elapsed());
        }
    })?;
    Ok(sum.into_inner().unwrap_or_else(PoisonError::into_inner))
}

/// `missing`: what never occurred, if that was looked at.
fn report(arguments: &Arguments, sum: &Sum, missing: Option<&[&str]>, seconds: f64) {
    let times_real = sum.true_ms as f64 / 1_000.0 / seconds;
    let mut spread = sum.spread_ms.clone();
    spread.sort_unstable();
    let part = |of_hundred: usize| {
        let at = spread.len().saturating_sub(1) * of_hundred / 100;
        spread.get(at).copied().unwrap_or(0)
    };
    if arguments.json {
        let failing: Vec<u64> = sum.failing.iter().map(|(script, _)| script.seed).collect();
        let answer = serde_json::json!({
            "runs": sum.runs,
            "run_twice": sum.twice,
            "device_hours": sum.device_hours(),
            "seconds": seconds,
            "threads": arguments.threads,
            "times_real_time": times_real,
            "failing_seeds": failing,
            "slowest_close_ms": sum.slowest_close_ms,
            "stop_spread_ms": { "p50": part(50), "p99": part(99), "most": part(100) },
            "occurred": sum.counts.faults,
            "refused": sum.counts.refused,
            "recorded_without_counting": sum.counts.noted,
            "never_occurred": missing,
        });
        println!("{answer}");
        return;
    }
    println!(
        "{} runs ({} of them twice), {} failing; {:.0} device-hours in {seconds:.1} s, {times_real:.0} times real time \
         on {} threads",
        sum.runs,
        sum.twice,
        sum.failing.len(),
        sum.device_hours(),
        arguments.threads
    );
    println!(
        "slowest close {} s after the healing; stops shown after {} ms (half), {} ms (99 of 100), {} ms (all: devices \
         that were cut off or off, too)",
        sum.slowest_close_ms / 1_000,
        part(50),
        part(99),
        part(100)
    );
    println!("occurred: {}", words(&sum.counts.faults));
    println!("refused: {}", words(&sum.counts.refused));
    println!("recorded without counting: {}", words(&sum.counts.noted));
    if arguments.all_occur && sum.runs < arguments.seeds.count() {
        println!("not all seeds were run: what never occurred is not looked at");
    }
    if let Some(missing) = missing
        && !missing.is_empty()
    {
        println!("NEVER OCCURRED: {}", missing.join(", "));
    }
}

fn words(counts: &BTreeMap<&'static str, u64>) -> String {
    let all: Vec<String> = counts
        .iter()
        .map(|(name, count)| format!("{name} {count}"))
        .collect();
    all.join(", ")
}
