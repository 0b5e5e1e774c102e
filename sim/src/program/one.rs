//! One: runs one seed or one file, with all that happens in it if wanted.
//! Owns: nothing.   Gives: lines for people.
//! May use: run, script.   Never: another run than `run` makes of the same seed.

use super::Problem;
use clap::Args;
use gantline_sim::run::{Outcome, Run};
use gantline_sim::script::{Script, Wanted, draw};
use std::path::{Path, PathBuf};

/// What is broken is printed, and who waits for what if the job does not close. The trace is equal for equal runs.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// A seed, or a file that holds a script.
    seed: String,
    /// So many devices in the crew, whatever the seed draws.
    #[arg(long, value_parser = clap::value_parser!(u8).range(5..=32))]
    devices: Option<u8>,
    /// The run that `run --short` makes of the seed.
    #[arg(long)]
    short: bool,
    /// Says everything that happens, press by press.
    #[arg(long)]
    trace: bool,
    /// Says what the script is, and runs nothing.
    #[arg(long)]
    script: bool,
}

/// The script in a file.
pub(crate) fn read(path: &Path) -> Result<Script, Problem> {
    let text = std::fs::read_to_string(path).map_err(|why| Problem::Read {
        path: path.to_owned(),
        why,
    })?;
    Script::from_text(&text).map_err(|bad| Problem::Seed {
        path: path.to_owned(),
        bad,
    })
}

pub(crate) fn one(arguments: &Arguments) -> Result<bool, Problem> {
    let script = match arguments.seed.parse::<u32>() {
        Ok(seed) => draw(&Wanted {
            seed: u64::from(seed),
            devices: arguments.devices.map(usize::from),
            short: arguments.short,
        }),
        Err(_) => read(&PathBuf::from(&arguments.seed))?,
    };
    if arguments.script {
        match script.to_text() {
            Ok(text) => print!("{text}"),
            Err(bad) => {
                let path = PathBuf::from(&arguments.seed);
                return Err(Problem::Seed { path, bad });
            }
        }
        return Ok(true);
    }
    println!(
        "seed {}: plan {}, {} devices, {} events, first act {} s, {} signatures",
        script.seed,
        script.plan,
        script.devices,
        script.events.len(),
        script.first_act_ms / 1_000,
        if script.real_signatures {
            "real"
        } else {
            "simulated"
        }
    );
    let mut outcome = Outcome::default();
    match Run::new(&script) {
        Ok(mut run) => {
            // At once: a run that takes long is read while it runs.
            run.world.telling = arguments.trace.then_some(|line| println!("{line}"));
            outcome = run.to_the_end();
        }
        Err(why) => outcome.broken.push(why),
    }
    for broken in &outcome.broken {
        println!("BROKEN: {broken}");
    }
    println!(
        "{} entries, {} s simulated, closed {} after the healing, trace {}",
        outcome.entries,
        outcome.true_ms / 1_000,
        outcome
            .closed_after_ms
            .map_or("never".to_owned(), |ms| format!("{} s", ms / 1_000)),
        outcome
            .trace
            .map_or(String::new(), |trace| trace.to_string())
    );
    Ok(outcome.is_good())
}
