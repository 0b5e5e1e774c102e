//! Answer: how does a result reach whoever asked?
//! Owns: stdout while a command answers.   Gives: `Answer`, `complain`.
//! May use: cli::problem.   Never: words a result (words).

use super::Problem;
use serde::Serialize;
use std::fmt::Display;
use std::io::{self, BufWriter, StdoutLock, Write};

/// Results on stdout, a line or a JSON object at a time.
pub(super) struct Answer {
    out: BufWriter<StdoutLock<'static>>,
}

impl Answer {
    /// Takes stdout for the rest of the command.
    pub(super) fn new() -> Self {
        Self {
            out: BufWriter::new(io::stdout().lock()),
        }
    }

    /// One line for people.
    pub(super) fn line(&mut self, line: impl Display) -> Result<(), Problem> {
        writeln!(self.out, "{line}").map_err(Problem::Output)?;
        self.out.flush().map_err(Problem::Output)
    }

    /// One JSON value on a line of its own.
    pub(super) fn json(&mut self, value: &impl Serialize) -> Result<(), Problem> {
        serde_json::to_writer(&mut self.out, value)
            .map_err(|source| Problem::Output(source.into()))?;
        self.line("")
    }

    /// Bytes as they are.
    pub(super) fn bytes(&mut self, bytes: &[u8]) -> Result<(), Problem> {
        self.out.write_all(bytes).map_err(Problem::Output)?;
        self.out.flush().map_err(Problem::Output)
    }
}

/// Says on stderr what was wrong with which input, then what to do.
pub(super) fn complain(problem: &Problem) {
    let mut text = format!("gantline: {problem}\n");
    let mut cause = std::error::Error::source(problem);
    while let Some(source) = cause {
        text.push_str(&format!("  because: {source}\n"));
        cause = source.source();
    }
    if !problem.now().is_empty() {
        text.push_str(&format!("  {}\n", problem.now()));
    }
    // Nobody is left to tell where stderr itself is closed.
    let _ = io::stderr().write_all(text.as_bytes());
}
