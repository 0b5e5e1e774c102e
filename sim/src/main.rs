//! The program `gantline-sim`: crews on virtual time, from the command line.
#![forbid(unsafe_code)]

mod program;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    match program::Program::parse().run() {
        Ok(good) => ExitCode::from(u8::from(!good)),
        Err(problem) => {
            eprintln!("gantline-sim: {problem}");
            ExitCode::from(2)
        }
    }
}
