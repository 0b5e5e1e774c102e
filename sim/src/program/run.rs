//! Run: many seeds, on several threads, and what they show together.
//! Owns: nothing that a run depends on.   Gives: the first failing seed at once, small; counts, speed.
//! May use: run, shrink, threads, the time.   Never: hides a failure behind another.

use super::Problem;
use clap::Args;
use gantline_sim::run::{Counts, Outcome, never_seen, run as run_script};
use gantline_sim::script::{Script, Wanted, draw};
use gantline_sim::shrink::shrink;
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Instant;

/// Every so many seeds one is run twice, and the traces must be equal.
const TWICE_EVERY: u64 = 16;
/// From so many seeds on each fault and each reason must have occurred.
const ALL_SEEN_FROM: u64 = 2_000;
/// Scripts tried to make a failing one smaller.
const TRIES: usize = 400;

/// Seeds from the first up to, but not with, the last.
#[derive(Clone, Copy, Debug)]
struct Seeds {
    from: u64,
    to: u64,
}

impl FromStr for Seeds {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong =
            || format!("found `{text}`, expected two numbers A..B with A below B, such as 0..100");
        let (from, to) = text.split_once("..").ok_or_else(wrong)?;
        let number = |text: &str| text.parse::<u32>().map(u64::from).map_err(|_| wrong());
        let (from, to) = (number(from)?, number(to)?);
        if from < to {
            Ok(Self { from, to })
        } else {
            Err(wrong())
        }
    }
}

/// Runs a range of seeds and looks for what must never be.
///
/// A seed that fails is printed at once with the command that repeats it, then made smaller and written to
/// `--found`. From 2,000 seeds on every kind of fault and every reason of a refusal must have occurred.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// From which seed to which; the last is not run.
    #[arg(long, value_name = "A..B")]
    seeds: Seeds,
    /// So many devices in each crew, whatever the seed draws.
    #[arg(long, value_parser = clap::value_parser!(u8).range(5..=32))]
    devices: Option<u8>,
    /// Answers in JSON, one object.
    #[arg(long)]
    json: bool,
    /// Threads; each seed is run by one.
    #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=64))]
    threads: u8,
    /// Goes on after a failing seed, and makes none smaller.
    #[arg(long)]
    keep_going: bool,
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
    failing: Vec<(Script, Vec<String>)>,
}

impl Sum {
    fn add(&mut self, script: Script, outcome: Outcome) {
        self.counts.merge(&outcome.counts);
        self.runs += 1;
        self.device_ms += outcome.device_ms;
        self.true_ms += outcome.true_ms;
        let close = outcome.closed_after_ms.unwrap_or(0);
        self.slowest_close_ms = self.slowest_close_ms.max(close);
        self.spread_ms.extend(&outcome.spread_ms);
        if !outcome.is_good() {
            self.failing.push((script, outcome.broken));
        }
    }
}

fn one(seed: u64, devices: Option<u8>) -> (Script, Outcome, bool) {
    let script = draw(&Wanted {
        seed,
        devices: devices.map(usize::from),
    });
    let mut outcome = run_script(&script);
    let twice = seed.is_multiple_of(TWICE_EVERY);
    if twice {
        let again = run_script(&script);
        if again.trace != outcome.trace {
            outcome
                .broken
                .push("the same seed gave another trace the second time".to_owned());
        }
    }
    (script, outcome, twice)
}

fn command(seed: u64, devices: Option<u8>) -> String {
    let devices = devices.map_or(String::new(), |devices| format!(" --devices {devices}"));
    format!("cargo run --release -p gantline-sim -- one {seed}{devices} --trace")
}

pub(crate) fn run(arguments: &Arguments) -> Result<bool, Problem> {
    let began = Instant::now();
    let next = AtomicU64::new(arguments.seeds.from);
    let stop = AtomicBool::new(false);
    let sum = Mutex::new(Sum::default());
    std::thread::scope(|scope| {
        let work = || {
            while !stop.load(Ordering::Relaxed) {
                let seed = next.fetch_add(1, Ordering::Relaxed);
                if seed >= arguments.seeds.to {
                    return;
                }
                let (script, outcome, twice) = one(seed, arguments.devices);
                if !outcome.is_good() {
                    let first = outcome
                        .broken
                        .first()
                        .and_then(|words| words.lines().next());
                    let first = first.unwrap_or_default();
                    eprintln!("seed {seed} fails: {first}");
                    eprintln!("  again: {}", command(seed, arguments.devices));
                    if !arguments.keep_going {
                        stop.store(true, Ordering::Relaxed);
                    }
                }
                let mut sum = sum
                    .lock()
                    .unwrap_or_else(std::sync::PoisonError::into_inner);
                sum.twice += u64::from(twice);
                sum.add(script, outcome);
            }
        };
        for _ in 1..arguments.threads {
            std::thread::Builder::new()
                .spawn_scoped(scope, work)
                .map_err(Problem::Thread)?;
        }
        work();
        Ok(())
    })?;
    let sum = sum
        .into_inner()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    if !arguments.keep_going
        && let Some((script, broken)) = sum.failing.first()
    {
        keep(arguments, script, broken)?;
    }
    let missing = if sum.runs >= ALL_SEEN_FROM {
        never_seen(&sum.counts)
    } else {
        Vec::new()
    };
    report(arguments, &sum, &missing, began.elapsed().as_secs_f64());
    Ok(sum.failing.is_empty() && missing.is_empty())
}

/// Which invariant a broken run broke: the words before the first colon.
fn kind(broken: &[String]) -> String {
    let first = broken.first().map_or("", String::as_str);
    first.split(':').next().unwrap_or_default().to_owned()
}

/// Makes a failing script smaller and writes it to a file.
fn keep(arguments: &Arguments, script: &Script, broken: &[String]) -> Result<(), Problem> {
    let kind = kind(broken);
    eprintln!(
        "making seed {} smaller ({} events)",
        script.seed,
        script.events.len()
    );
    let small = shrink(script, TRIES, |candidate| {
        let outcome = run_script(candidate);
        !outcome.is_good() && self::kind(&outcome.broken) == kind
    });
    let path = arguments.found.join(format!("found-{}.toml", script.seed));
    let text = small.to_text().map_err(|bad| Problem::Seed {
        path: path.clone(),
        bad,
    })?;
    let first = broken.first().map_or("", String::as_str).lines().next();
    let text = format!("# {}\n{text}", first.unwrap_or_default());
    let write =
        std::fs::create_dir_all(&arguments.found).and_then(|()| std::fs::write(&path, text));
    write.map_err(|why| Problem::Write {
        path: path.clone(),
        why,
    })?;
    eprintln!(
        "written: {} ({} events, {} devices); again: cargo run --release -p gantline-sim -- one {} --trace",
        path.display(),
        small.events.len(),
        small.devices,
        path.display()
    );
    Ok(())
}

fn report(arguments: &Arguments, sum: &Sum, missing: &[&str], seconds: f64) {
    let device_hours = sum.device_ms as f64 / 3_600_000.0;
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
            "device_hours": device_hours,
            "seconds": seconds,
            "times_real_time": times_real,
            "failing_seeds": failing,
            "slowest_close_ms": sum.slowest_close_ms,
            "stop_spread_ms": { "p50": part(50), "p99": part(99), "most": part(100) },
            "occurred": sum.counts.faults,
            "refused": sum.counts.refused,
            "never_occurred": missing,
        });
        println!("{answer}");
        return;
    }
    println!(
        "{} runs ({} of them twice), {} failing; {device_hours:.0} device-hours in {seconds:.1} s, {times_real:.0} \
         times real time on {} threads",
        sum.runs,
        sum.twice,
        sum.failing.len(),
        arguments.threads
    );
    println!(
        "slowest close {} s after the healing; stops shown after {} ms (half), {} ms (99 of 100), {} ms (all)",
        sum.slowest_close_ms / 1_000,
        part(50),
        part(99),
        part(100)
    );
    let words = |counts: &std::collections::BTreeMap<&'static str, u64>| {
        let all: Vec<String> = counts
            .iter()
            .map(|(name, n)| format!("{name} {n}"))
            .collect();
        all.join(", ")
    };
    println!("occurred: {}", words(&sum.counts.faults));
    println!("refused: {}", words(&sum.counts.refused));
    if !missing.is_empty() {
        println!("NEVER OCCURRED: {}", missing.join(", "));
    }
}
