//! Problem: what was wrong with the input, so said that somebody can mend it.
//! Owns: nothing.   Gives: `Problem`.
//! May use: script.   Never: a run that failed (that is a result).

use gantline_sim::cases::Fault;
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
    /// Case files that are not understood to the last word.
    #[error("{}", faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
    Cases {
        /// All that is wrong, each with its file, line and field.
        faults: Vec<Fault>,
    },
    /// A folder without the case that was asked for.
    #[error("{}: found no such case, expected files c00-….toml of cases", path.display())]
    NoCase {
        /// The folder.
        path: PathBuf,
    },
    /// A world that cannot be explored.
    #[error("the small world: {0}")]
    Explore(String),
    /// A thread that cannot be started.
    #[error("no thread can be started: {0}")]
    Thread(std::io::Error),
}
