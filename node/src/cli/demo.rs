//! Demo: shows a whole job.
//! Owns: nothing.   Gives: `gantline demo`.
//! May use: demo.   Never: what happens in it.

use super::{Answer, Exit, Problem, Settings};
use crate::demo::{self, Options};
use clap::Args;
use std::path::PathBuf;

/// Show a whole job on six devices, with people who make mistakes
///
/// Founds the 230 kV job that ships and runs it to its close with six devices, each a process of its own with
/// its own folder, log and socket on this machine. One line a happening on stderr, the summary on stdout.
/// Exit code 1, and the reason, if anything expected does not happen.
///
/// With --serve the crew works slowly and without mistakes, a link to each device's page is printed, and it goes
/// on until Ctrl-C.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// People take no time; what a rule asks for still takes its time
    #[arg(long)]
    fast: bool,
    /// Draws how long people take
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Keep the devices' folders and the log in this folder, which must be new or empty
    #[arg(long, value_name = "FOLDER")]
    keep: Option<PathBuf>,
    /// Print a link to each device's page, and go on until Ctrl-C
    #[arg(long)]
    serve: bool,
    /// Leave this role to the person who opens its page; what the page has no control for is done by itself
    #[arg(long, value_name = "ROLE", requires = "serve",
        value_parser = ["supervisor", "tower", "ground", "observer"])]
    by_hand: Option<String>,
}

pub(super) fn run(settings: &Settings, arguments: &Arguments) -> Result<Exit, Problem> {
    let options = Options {
        fast: arguments.fast,
        quiet: settings.json && !arguments.serve,
        seed: arguments.seed,
        keep: arguments.keep.clone(),
    };
    if arguments.serve {
        demo::serve(&options, arguments.by_hand.as_deref())?;
        return Ok(Exit::Good);
    }
    let summary = demo::run(&options)?;
    let mut answer = Answer::new();
    if settings.json {
        answer.json(&summary)?;
    } else {
        for line in summary.lines() {
            answer.line(line)?;
        }
    }
    Ok(if summary.ok { Exit::Good } else { Exit::No })
}
