//! Demo: what does a whole job look like, on real devices, with people who make mistakes?
//! Owns: one run.   Gives: `run`, `Options`, `Summary`, `Stopped`.
//! May use: control's client, this program as child processes.   Never: a shortcut past the rules: each act
//! goes the way that a person's act goes.
//!
//! In reading order: `script` what happens · `mistakes` what goes wrong · `stage` the devices and people · `crew` what a person does when
//! nothing is odd · `station` a device · `show` what is seen meanwhile · `summary` the figures · `serve` the crew for
//! people who look at its pages.

mod crew;
mod mistakes;
mod photo;
mod script;
mod serve;
mod show;
mod stage;
mod station;
mod summary;

pub use summary::{HoldLasted, StopSpread, Summary};

use crate::control::client::ClientFault;
use gantline_protocol::ids::Person;
use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// How to run it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Options {
    /// People take no time; what a rule asks for still takes its time.
    pub fast: bool,
    /// No lines of what happens.
    pub quiet: bool,
    /// Draws how long people take.
    pub seed: u64,
    /// Where to keep the devices' folders and the log; else the folders go away and only the log stays.
    pub keep: Option<PathBuf>,
}

/// Why the demonstration stopped before its end.
#[derive(Debug, thiserror::Error)]
pub enum Stopped {
    /// Something could not be started.
    #[error("could not start {what}")]
    Start {
        /// What.
        what: String,
        /// What the system said.
        source: io::Error,
    },
    /// A folder or file of the demonstration cannot be used.
    #[error("the folder {} cannot be used", path.display())]
    Folder {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The plan that ships is not good.
    #[error("the plan that ships cannot be used: {why}")]
    Plan {
        /// Why not.
        why: String,
    },
    /// A command of this program ended otherwise than it must.
    #[error("`gantline {what}` ended with code {code:?}: {said}")]
    Command {
        /// Its arguments.
        what: String,
        /// Its exit code.
        code: Option<i32>,
        /// What it complained of.
        said: String,
    },
    /// An answer that is not of the form expected.
    #[error("`gantline {what}` answered {answer}")]
    OddAnswer {
        /// Its arguments.
        what: String,
        /// What it answered.
        answer: String,
    },
    /// A node did not answer.
    #[error("a node did not answer")]
    Client(#[source] ClientFault),
    /// A device that should run does not.
    #[error("{person}'s device does not run")]
    NotRunning {
        /// Whose.
        person: Person,
    },
    /// A person that the script names and the stage has not.
    #[error("there is nobody called {person}")]
    Nobody {
        /// Who.
        person: String,
    },
    /// An act went otherwise than it must.
    #[error("{person}: {act}: expected {expected}; found: {found}")]
    Unexpected {
        /// Who.
        person: Person,
        /// What they did.
        act: String,
        /// How it must go.
        expected: String,
        /// How it went.
        found: String,
    },
    /// A screen did not show a stop.
    #[error("{person}'s screen did not show the stop")]
    StopNotShown {
        /// Whose.
        person: String,
    },
    /// Something expected is not so.
    #[error("expected {expected}; found {found}")]
    NotSo {
        /// What must be so.
        expected: String,
        /// What is so.
        found: String,
    },
    /// Everybody waits.
    #[error("waited in vain: {what}\n    {}", waiting.join("\n    "))]
    Stuck {
        /// For what.
        what: String,
        /// What each screen shows.
        waiting: Vec<String>,
    },
    /// Somebody pressed Ctrl-C.
    #[error("it was interrupted")]
    Interrupted,
}

impl Stopped {
    fn odd_answer(what: &str, answer: &serde_json::Value) -> Self {
        Self::OddAnswer {
            what: what.to_owned(),
            answer: answer.to_string(),
        }
    }
}

/// Numbers drawn from a seed: SplitMix64 (Steele, Lea, Flood 2014).
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    /// Draws from a seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// A number below `most`, or 0.
    pub fn below(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)).checked_rem(most).unwrap_or(0)
    }
}

/// Runs the whole job.
///
/// # Errors
/// [`Stopped`]: the first thing that did not happen as it must. No child process is left.
pub fn run(options: &Options) -> Result<Summary, Stopped> {
    let interrupted = Arc::new(AtomicBool::new(false));
    watch_for_interrupt(Arc::clone(&interrupted));
    script::run(options, interrupted)
}

/// Runs the crew for people who look at its pages, until Ctrl-C. `by_hand`: the role that is left to the person
/// at the keyboard; what its page has no control for is done all the same.
///
/// # Errors
/// [`Stopped`]: something could not be started.
pub fn serve(options: &Options, by_hand: Option<&str>) -> Result<(), Stopped> {
    let interrupted = Arc::new(AtomicBool::new(false));
    watch_for_interrupt(Arc::clone(&interrupted));
    serve::serve(options, by_hand, interrupted)
}

/// Notes Ctrl-C, so that the run ends in order. Without it the children end with their closed stdin.
fn watch_for_interrupt(interrupted: Arc<AtomicBool>) {
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_io()
            .build();
        if let Ok(runtime) = runtime
            && runtime.block_on(tokio::signal::ctrl_c()).is_ok()
        {
            interrupted.store(true, Ordering::Relaxed);
        }
    });
}
