//! Program: what is asked for on the command line?
//! Owns: the subcommands.   Gives: whether all was good; else what was wrong with the input.
//! May use: the simulator, files, threads, the time for a speed.   Never: anything that a run depends on.
//! To add a subcommand: a file here with `Arguments` and a function of them, a line in `What`, a line in `Program::run`.

mod cases;
mod explore;
mod found;
mod measure;
mod one;
mod plot;
mod problem;
mod run;
mod seeds;
mod threads;

use clap::{Parser, Subcommand};
pub(crate) use problem::Problem;

/// Simulates whole crews with the real engines on virtual time, with faults, and looks for what must never be.
///
/// Ends with 0 if all was good, 1 if a run was not, 2 if the input was wrong.
#[derive(Debug, Parser)]
#[command(name = "gantline-sim", version, max_term_width = 100)]
pub(crate) struct Program {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Runs a range of seeds and looks for what must never be.
    Run(run::Arguments),
    /// Runs one seed, or one file of `sim/seeds`.
    One(one::Arguments),
    /// Runs the case files of a folder.
    Cases(cases::Arguments),
    /// Measures how stops spread and how often a crew holds falsely, by loss, limit and size of the crew.
    Measure(measure::Arguments),
    /// Explores every order of what can happen in a small world.
    Explore(explore::Arguments),
}

impl Program {
    /// Does what was asked; whether all was good.
    pub(crate) fn run(self) -> Result<bool, Problem> {
        match self.what {
            What::Run(arguments) => run::run(&arguments),
            What::One(arguments) => one::one(&arguments),
            What::Cases(arguments) => cases::cases(&arguments),
            What::Measure(arguments) => measure::measure(&arguments),
            What::Explore(arguments) => explore::run(&arguments),
        }
    }
}
