//! The program `gantline-sim`: crews on virtual time, from the command line.
#![forbid(unsafe_code)]

mod program;

use clap::Parser;
use std::process::ExitCode;

// The explorer and the runs copy engines, and with them a hundred small allocations each time.
#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    match program::Program::parse().run() {
        Ok(good) => ExitCode::from(u8::from(!good)),
        Err(problem) => {
            eprintln!("gantline-sim: {problem}");
            ExitCode::from(2)
        }
    }
}
