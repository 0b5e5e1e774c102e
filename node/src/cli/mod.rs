//! Cli: what is asked of this program, and how is it answered?
//! Owns: the command line, the settings made from it, the exit codes.   Gives: `main`.
//! May use: every room of node.   Never: a rule of the job; a result on stderr, a complaint on stdout.
//! In reading order: `problem` what went wrong · `answer` results out · one file a subcommand.

mod act;
mod answer;
mod demo;
mod device;
mod job;
mod join;
mod limits;
mod node;
mod page;
mod plan;
mod problem;
mod replay;
mod status;
mod verify;

use answer::Answer;
use clap::{Parser, Subcommand};
use problem::Problem;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Keeps a live-line crew at one and the same place in the job
///
/// Every crew device runs a node; the nodes share one signed, append-only job log over the local network.
/// A step opens only when the checks before it were acknowledged by the roles that can see them; anyone
/// can stop the work. Afterwards the log replays, and proves who knew what.
#[derive(Debug, Parser)]
#[command(name = "gantline", version, after_help = AFTER_HELP, term_width = 100)]
struct Arguments {
    /// The device's folder: its key, its jobs, its settings
    #[arg(
        long,
        global = true,
        value_name = "FOLDER",
        env = "GANTLINE_FOLDER",
        hide_env_values = true
    )]
    folder: Option<PathBuf>,
    /// Answer with JSON on stdout
    #[arg(long, global = true)]
    json: bool,
    #[command(subcommand)]
    command: Sub,
}

const AFTER_HELP: &str = "\
Exit codes:
  0  it is so, it is done
  1  no: not recorded, does not count, a plan that is not good, a log that is not whole
  2  the command line, a file or a folder cannot be used as given
  3  this device's node is not reachable, or did not answer

An aid to planning and coordination. Proceed never means safe: voice and hand signals stop first, and
local codes, the utility's rules and licensed practice decide.";

#[derive(Debug, Subcommand)]
enum Sub {
    #[command(subcommand)]
    Device(device::Arguments),
    #[command(subcommand)]
    Plan(plan::Arguments),
    #[command(subcommand)]
    Job(job::Arguments),
    #[command(subcommand)]
    Limits(limits::Arguments),
    Node(node::Arguments),
    Page(page::Arguments),
    Act(act::Arguments),
    Status(status::Arguments),
    Verify(verify::Arguments),
    Replay(replay::Arguments),
    Demo(demo::Arguments),
}

/// How a command ended; the numbers are part of the interface.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Exit {
    /// It is so, it is done.
    Good,
    /// No: refused, does not count, not good, not whole.
    No,
    /// The command line, a file or a folder cannot be used as given.
    Usage,
    /// The node is not reachable.
    NoNode,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(match exit {
            Exit::Good => 0,
            Exit::No => 1,
            Exit::Usage => 2,
            Exit::NoNode => 3,
        })
    }
}

/// What every subcommand may need, made from the arguments before it runs.
#[derive(Clone, PartialEq, Eq, Debug)]
struct Settings {
    folder: Option<PathBuf>,
    json: bool,
}

impl Settings {
    /// The device's folder: as given, else the usual place for a program's data.
    fn folder(&self) -> Result<PathBuf, Problem> {
        let of = |name: &str| {
            std::env::var_os(name)
                .filter(|value| !value.is_empty())
                .map(PathBuf::from)
        };
        self.folder
            .clone()
            .or_else(|| of("XDG_DATA_HOME").map(|data| data.join("gantline")))
            .or_else(|| of("HOME").map(|home| home.join(".local/share/gantline")))
            .ok_or(Problem::NoFolder)
    }
}

/// Reads the command line, does what it asks, and says how it went. A reader that closes the pipe early
/// is no failure.
#[must_use]
pub fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(help_or_usage) => {
            let exit = if help_or_usage.use_stderr() {
                Exit::Usage
            } else {
                Exit::Good
            };
            // Nobody is left to tell where printing itself does not work.
            let _ = help_or_usage.print();
            return exit.into();
        }
    };
    let settings = Settings {
        folder: arguments.folder,
        json: arguments.json,
    };
    match run(&settings, arguments.command) {
        Ok(exit) => exit.into(),
        Err(problem) if problem.is_closed_pipe() => ExitCode::SUCCESS,
        Err(problem) => {
            answer::complain(&problem);
            problem.exit().into()
        }
    }
}

fn run(settings: &Settings, command: Sub) -> Result<Exit, Problem> {
    match command {
        Sub::Device(arguments) => device::run(settings, &arguments),
        Sub::Plan(arguments) => plan::run(settings, &arguments),
        Sub::Job(arguments) => job::run(settings, arguments),
        Sub::Limits(arguments) => limits::run(settings, &arguments),
        Sub::Node(arguments) => node::run(settings, &arguments),
        Sub::Page(arguments) => page::run(settings, &arguments),
        Sub::Act(arguments) => act::run(settings, arguments),
        Sub::Status(arguments) => status::run(settings, &arguments),
        Sub::Verify(arguments) => verify::run(settings, &arguments),
        Sub::Replay(arguments) => replay::run(settings, &arguments),
        Sub::Demo(arguments) => demo::run(settings, &arguments),
    }
}

/// Most bytes read of any file named on the command line; a job log of 100,000 entries is well below.
const FILE_MAX_BYTES: u64 = 1 << 30;

fn read_bytes(path: &Path) -> Result<Vec<u8>, Problem> {
    let unreadable = |source| Problem::File {
        path: path.to_owned(),
        source,
    };
    let length = std::fs::metadata(path).map_err(unreadable)?.len();
    if length > FILE_MAX_BYTES {
        return Err(Problem::FileTooLong {
            path: path.to_owned(),
            length,
        });
    }
    std::fs::read(path).map_err(unreadable)
}

fn read_text(path: &Path) -> Result<String, Problem> {
    String::from_utf8(read_bytes(path)?).map_err(|_| Problem::NotText {
        path: path.to_owned(),
    })
}
