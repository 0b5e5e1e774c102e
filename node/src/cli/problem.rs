//! Problem: what kept a command from answering?
//! Owns: nothing.   Gives: `Problem`, which says what was wrong with which input, and what to do.
//! May use: the errors of node's rooms and protocol's.   Never: a refusal by the gate (that is an answer).

use super::Exit;
use crate::control::client::ClientFault;
use crate::device::{AskFault, CannotBegin, CannotStart, HomeFault, KeyFault};
use crate::store::StoreFault;
use gantline_protocol::ids::{DeviceKey, ItemId, Person};
use gantline_protocol::limits::LimitError;
use gantline_protocol::limits::compare::CannotCompare;
use gantline_protocol::log::photo::NoPhoto;
use gantline_protocol::plan::Faults;
use std::io;
use std::path::PathBuf;

/// Why a command has no answer. Display says what was wrong with which input; [`Problem::now`] what to do.
#[derive(Debug, thiserror::Error)]
pub(super) enum Problem {
    /// Neither given nor to be guessed.
    #[error("no folder for this device is given")]
    NoFolder,
    /// A file cannot be read or written.
    #[error("the file {} cannot be used", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Longer than any file of ours.
    #[error("the file {} has {length} bytes, more than any log or plan", path.display())]
    FileTooLong {
        /// Which.
        path: PathBuf,
        /// Its length.
        length: u64,
    },
    /// Bytes that are no text.
    #[error("the file {} is not text", path.display())]
    NotText {
        /// Which.
        path: PathBuf,
    },
    /// Not a list of changes of a plan.
    #[error("the file {} is not a list of changes", path.display())]
    Changes {
        /// Which.
        path: PathBuf,
        /// Where and what.
        source: serde_json::Error,
    },
    /// No plan of that name ships, and no file has it.
    #[error("no plan `{name}`: it is neither a file nor one of those that ship ({})", known.join(", "))]
    NoSuchPlan {
        /// What was given.
        name: String,
        /// Those that ship.
        known: Vec<String>,
    },
    /// A call sign that nobody on the job has.
    #[error(
        "nobody on this job has the call sign `{person}`; there are {}",
        crew.iter().map(Person::as_str).collect::<Vec<_>>().join(", ")
    )]
    NoSuchPerson {
        /// What was given.
        person: Person,
        /// Who there is.
        crew: Vec<Person>,
    },
    /// A scan without a finding.
    #[error("the scan of {item} says nothing about it")]
    ScanOfNothing {
        /// The item.
        item: ItemId,
    },
    /// A note of a kind that needs more.
    #[error("a note of this kind lacks {flag}")]
    NoteLacks {
        /// The missing flag.
        flag: &'static str,
    },
    /// A file that is no picture that a note can name.
    #[error("the file {} cannot go with a note: {source}", path.display())]
    Photo {
        /// Which.
        path: PathBuf,
        /// Why not.
        source: NoPhoto,
    },
    /// A picture beside a note that is not a plain one.
    #[error("a photo goes with a plain note only")]
    PhotoOfNoNote,
    /// A plan that does not hang together.
    #[error("the plan cannot be used:\n{0}")]
    Plan(#[from] Faults),
    /// Inputs from which a formula gives no number.
    #[error(transparent)]
    Limit(LimitError),
    /// A table that cannot be read.
    #[error("the table {} cannot be read", path.display())]
    Table {
        /// Which.
        path: PathBuf,
        /// Where and what.
        source: csv::Error,
    },
    /// A table that cannot be compared.
    #[error("the table {} cannot be compared", path.display())]
    Compare {
        /// Which.
        path: PathBuf,
        /// Why not.
        source: CannotCompare,
    },
    /// A device that did not ask.
    #[error("the device {device} has not asked to join here")]
    NotAsked {
        /// Which.
        device: DeviceKey,
    },
    /// Nobody read the words out.
    #[error("the words that the screen of {device} shows are not given")]
    NoWords {
        /// Which.
        device: DeviceKey,
    },
    /// The words read out are not those on this screen.
    #[error("the words are not those on this screen: {person} is not admitted")]
    WordsDiffer {
        /// Who asks.
        person: Person,
    },
    /// The device's key.
    #[error(transparent)]
    Key(#[from] KeyFault),
    /// The device's jobs.
    #[error(transparent)]
    Home(#[from] HomeFault),
    /// The device's disk.
    #[error(transparent)]
    Store(#[from] StoreFault),
    /// A job could not be begun.
    #[error(transparent)]
    Begin(#[from] CannotBegin),
    /// Joining came to nothing.
    #[error(transparent)]
    Join(#[from] AskFault),
    /// The node does not start.
    #[error(transparent)]
    Start(#[from] CannotStart),
    /// The system does not give what a node needs.
    #[error("the system does not let this run")]
    Runtime(#[source] io::Error),
    /// No random numbers.
    #[error("the system gives no random numbers")]
    Random(#[source] getrandom::Error),
    /// The node is not there, did not answer, or says no.
    #[error(transparent)]
    Client(#[from] ClientFault),
    /// A stop that stops, and is not recorded.
    #[error("the stop is shown and sent, but it is not on this device's disk")]
    StopNotOnDisk,
    /// stdout does not take the answer.
    #[error("the answer cannot be written")]
    Output(#[source] io::Error),
    /// The demonstration did not go as it must.
    #[error("the demonstration stopped")]
    Demo(#[from] crate::demo::Stopped),
}

impl Problem {
    /// The exit code that it ends with.
    pub(super) fn exit(&self) -> Exit {
        match self {
            Self::Client(ClientFault::Refused(_))
            | Self::WordsDiffer { .. }
            | Self::StopNotOnDisk
            | Self::Demo(_) => Exit::No,
            Self::Join(AskFault::Join(_)) => Exit::No,
            Self::Client(
                ClientFault::File(_) | ClientFault::Silent { .. } | ClientFault::NotANode { .. },
            )
            | Self::Join(AskFault::Ask(_) | AskFault::Form) => Exit::NoNode,
            Self::NoFolder
            | Self::File { .. }
            | Self::FileTooLong { .. }
            | Self::NotText { .. }
            | Self::Changes { .. }
            | Self::NoSuchPlan { .. }
            | Self::NoSuchPerson { .. }
            | Self::ScanOfNothing { .. }
            | Self::NoteLacks { .. }
            | Self::Photo { .. }
            | Self::PhotoOfNoNote
            | Self::Plan(_)
            | Self::Limit(_)
            | Self::Table { .. }
            | Self::Compare { .. }
            | Self::NotAsked { .. }
            | Self::NoWords { .. }
            | Self::Key(_)
            | Self::Home(_)
            | Self::Store(_)
            | Self::Begin(_)
            | Self::Join(AskFault::Key(_) | AskFault::Begin(_) | AskFault::Random(_))
            | Self::Start(_)
            | Self::Runtime(_)
            | Self::Random(_)
            | Self::Output(_) => Exit::Usage,
        }
    }

    /// What to do about it; empty where the words above say it already.
    pub(super) fn now(&self) -> &'static str {
        match self {
            Self::NoFolder => "Name one with --folder FOLDER, or set GANTLINE_FOLDER.",
            Self::File { .. } => "Check its name, and that it may be read or written here.",
            Self::FileTooLong { .. } => "Check that it is the file you mean.",
            Self::NotText { .. } => {
                "A plan is TOML text in UTF-8; check that it is the file you mean."
            }
            Self::Changes { .. } => {
                "Expected a JSON list of changes, each an object such as {\"Limit\": {...}}; mend that place."
            }
            Self::NoSuchPlan { .. } => "See `gantline plan list`, or give the path of a plan file.",
            Self::NoSuchPerson { .. } => "Use one of those, or the device's key.",
            Self::ScanOfNothing { .. } => {
                "Give --test-age-months, --no-test-record, --inspected or --out-of-service."
            }
            Self::Photo { .. } => {
                "Give a JPEG, PNG or WebP picture of at most 1 MiB, or note it without."
            }
            Self::PhotoOfNoNote => "Leave out --kind, or --photo.",
            Self::NoteLacks { .. } => "Add it, or choose another --kind.",
            Self::Plan(_) => "Mend those places, and see `gantline plan check`.",
            Self::Limit(_) => "See `--help` for the inputs and the range of each formula.",
            Self::Table { .. } | Self::Compare { .. } => {
                "Expected a CSV file with a header line; see `gantline limits compare --help`."
            }
            Self::NotAsked { .. } => {
                "See `gantline job admit` for who asks; on the other device run `gantline job join`."
            }
            Self::NoWords { .. } => {
                "Let its holder read them out, and give them with --words \"SIX WORDS\"."
            }
            Self::WordsDiffer { .. } => {
                "Read them out again. If they still differ, somebody is in between: do not admit it."
            }
            Self::Runtime(_) | Self::Random(_) => "Check the limits of this machine.",
            Self::StopNotOnDisk => "Call it by radio too. Free the disk, or relieve this device.",
            Self::Output(_) => "Check where stdout goes.",
            Self::Demo(_) => {
                "Run it again with the same --seed and with --keep FOLDER, and look at the devices' logs."
            }
            Self::Client(_) => {
                "Check that `gantline node` runs on this folder. Until then use the radio."
            }
            // Their own words say what to do.
            Self::Key(_)
            | Self::Home(_)
            | Self::Store(_)
            | Self::Begin(_)
            | Self::Join(_)
            | Self::Start(_) => "",
        }
    }

    /// Whether only the reader of stdout has gone, which is no failure.
    pub(super) fn is_closed_pipe(&self) -> bool {
        matches!(self, Self::Output(source) if source.kind() == io::ErrorKind::BrokenPipe)
    }
}
