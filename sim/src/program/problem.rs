//! Problem: what was wrong with the input, so said that somebody can mend it.
//! Owns: nothing.   Gives: `Problem`.
//! May use: script.   Never: a run that failed (that is a result).

use gantline_sim::script::BadFile;
use std::path::PathBuf;

/// Wrong input: nothing was run.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Problem {
    /// A file that cannot be read.
    #[error("{}: {why}", path.display())]
    Read {
        /// Which.
        path: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
    /// A file that cannot be written.
    #[error("{}: cannot be written: {why}", path.display())]
    Write {
        /// Which.
        path: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
    /// A file that holds no script.
    #[error("{}: {bad}", path.display())]
    Seed {
        /// Which.
        path: PathBuf,
        /// What was wrong, where.
        bad: BadFile,
    },
    /// A world that cannot be explored.
    #[error("the small world: {0}")]
    Explore(String),
    /// A thread that cannot be started.
    #[error("no thread can be started: {0}")]
    Thread(std::io::Error),
}
