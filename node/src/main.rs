//! The program `gantline`: what does its command line ask for?
//! Owns: nothing.   Gives: the exit code.
//! May use: cli.   Never: anything else.

use std::process::ExitCode;

fn main() -> ExitCode {
    gantline::cli::main()
}
