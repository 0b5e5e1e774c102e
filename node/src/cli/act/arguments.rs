//! Arguments: in which words is each act asked for on the command line?
//! Owns: the arguments and their help.   Gives: `Arguments`, `Act` and its parts.
//! May use: clap, protocol's ids.   Never: what an act becomes (command).

use clap::{Args, Subcommand, ValueEnum};
use gantline_protocol::decimal::Decimal;
use gantline_protocol::ids::{
    CheckId, ConditionId, DeviceKey, EntryHash, HandoffId, ItemId, MarkId, Person, RoleId, StepId,
};
use gantline_protocol::plan::Place;
use std::path::PathBuf;

/// Do something on the job, as the person who holds this device
///
/// The node of this device must be running; it signs the entry, puts it on the disk, and answers whether
/// it counts. Exit code 0: recorded, and it counts (or already was so). 1: not recorded, or recorded and
/// it does not count; the reasons are printed. Stop is never refused.
///
/// Gantline is an aid to planning and coordination. Proceed never means safe: voice and hand signals stop
/// first, and local codes, the utility's rules and licensed practice decide.
#[derive(Debug, Args)]
#[command(verbatim_doc_comment)]
pub(in crate::cli) struct Arguments {
    #[command(subcommand)]
    pub(super) act: Act,
}

#[derive(Debug, Subcommand)]
pub(super) enum Act {
    /// A check is so; say what was seen or read
    Acknowledge(Acknowledge),
    /// A check cannot be confirmed; holds the step
    Cannot {
        #[command(flatten)]
        check: NamedCheck,
        /// Why, in words
        #[arg(long)]
        why: String,
    },
    /// Take back an own acknowledgement that is no longer so; this is a stop
    Withdraw {
        #[command(flatten)]
        check: NamedCheck,
        /// Why, in words
        #[arg(long)]
        why: String,
    },
    /// Stop the work. Anyone, at any time, for any reason or none
    Stop {
        /// What kind of stop; all stop alike
        #[arg(long, value_enum, default_value_t = KindOfStop::Work)]
        kind: KindOfStop,
        /// Why, in words; may be said later
        #[arg(long, default_value = "")]
        why: String,
        /// An item that is suspect until examined
        #[arg(long)]
        item: Option<ItemId>,
    },
    /// Answer that a stop was heard
    Heard {
        /// The stop's entry; without it, every stop in force
        #[arg(long)]
        stop: Option<EntryHash>,
    },
    /// Ask to resume, naming the cause. Supervisor
    Ask {
        /// The cause, and what was done about it
        #[arg(long)]
        cause: String,
        /// A stop that this would end; without any, every stop in force
        #[arg(long = "stop")]
        stops: Vec<EntryHash>,
        /// Something left open, shown until closed
        #[arg(long)]
        open_item: Option<String>,
        /// An open item that this closes
        #[arg(long)]
        closes_item: Option<String>,
    },
    /// Agree to an ask, exception, exit plan or void
    Agree {
        /// Its entry; without it, the newest ask
        #[arg(long)]
        to: Option<EntryHash>,
    },
    /// Say no to an ask, exception or exit plan; ends it
    Decline {
        /// Its entry; without it, the newest ask
        #[arg(long)]
        to: Option<EntryHash>,
        /// Why, in words
        #[arg(long, default_value = "")]
        why: String,
    },
    /// Read a standing condition; without a value, a sighting of what must not be seen
    Reading {
        /// The condition
        condition: ConditionId,
        /// The value
        #[arg(long, requires = "unit", allow_negative_numbers = true)]
        value: Option<Decimal>,
        /// Its unit, as in the plan
        #[arg(long, requires = "value")]
        unit: Option<String>,
    },
    /// A standing condition is still so
    Affirm {
        /// The condition
        condition: ConditionId,
    },
    /// End a standing condition at once: the observer leaves the place
    Away {
        /// The condition
        condition: ConditionId,
    },
    /// Offer a load or tool to be moved; who offers commands the move
    Offer {
        /// The handoff's name on the radio
        handoff: HandoffId,
        /// The item
        item: ItemId,
        /// Where it goes
        #[arg(value_enum)]
        to: PlaceName,
        /// Who receives it: call sign or device key; without it, whoever may
        #[arg(long)]
        receiver: Option<Device>,
    },
    /// Ready to receive a load or tool, or no longer ready
    Ready {
        /// The handoff; without it, the open one
        handoff: Option<HandoffId>,
        /// No longer ready
        #[arg(long)]
        not: bool,
    },
    /// Take what was offered and is ready: the load may move
    Take {
        /// The handoff; without it, the open one
        handoff: Option<HandoffId>,
    },
    /// The load stands where it was to go
    Done {
        /// The handoff; without it, the open one
        handoff: Option<HandoffId>,
    },
    /// Offer a role to a device. Supervisor
    OfferRole {
        /// The role
        role: RoleId,
        /// To whom: call sign or device key
        #[arg(long)]
        to: Device,
    },
    /// Take the role that is offered to this device
    TakeRole {
        /// The role
        role: RoleId,
    },
    /// Ask to be relieved of a role
    ReliefWanted {
        /// The role
        role: RoleId,
    },
    /// Go back to a step: it and all that depends on it is confirmed again. Supervisor
    StepBack {
        /// The step
        step: StepId,
        /// Why, in words
        #[arg(long)]
        why: String,
    },
    /// Change the plan; holds everyone until briefed. Supervisor
    Amend {
        /// Why, in words
        #[arg(long)]
        why: String,
        /// A JSON file with the list of changes
        #[arg(long, value_name = "FILE")]
        changes: PathBuf,
        /// A step to confirm again, with all that depends on it
        #[arg(long = "covers", value_name = "STEP")]
        covers: Vec<StepId>,
    },
    /// The briefing on the plan as it stands was heard
    Briefed,
    /// Admit a device whose words were read out and agree. Supervisor
    Admit {
        /// The device's key
        device: DeviceKey,
        /// Its holder's call sign
        #[arg(long)]
        person: Person,
        /// A role of the holder; repeat for more
        #[arg(long = "role", required = true, value_name = "ROLE")]
        roles: Vec<RoleId>,
        /// The same person's device that this one replaces: call sign or device key
        #[arg(long)]
        replaces: Option<Device>,
    },
    /// Take the place given by the admission
    Accept,
    /// Leave the job; may be admitted again
    Leave,
    /// Propose to take a device off the job for good; of the supervisor's device: take over the office
    Remove {
        /// The device: call sign or device key
        device: Device,
        /// Whether its holder was spoken to; without it, not reached
        #[arg(long, value_name = "YES_OR_NO")]
        spoken_to: Option<YesNo>,
        /// Its holder called a stop, as far as is known
        #[arg(long)]
        called_stop: bool,
    },
    /// Consent to a proposal
    Consent {
        /// The proposal's entry
        proposal: EntryHash,
    },
    /// Record that the safe thing was done and the tool did not see it
    Exception {
        #[command(flatten)]
        check: NamedCheck,
        /// What was done
        #[arg(long)]
        what: String,
        /// Why the check could not be given
        #[arg(long)]
        why: String,
        /// Who saw it
        #[arg(long)]
        seen_by: Person,
    },
    /// Correct an own entry, beside it
    Correction {
        /// The entry
        entry: EntryHash,
        /// What is right
        text: String,
    },
    /// Propose that named steps may go on while the stop stands
    ExitPlan {
        /// A step that it opens; repeat for more
        #[arg(long = "step", required = true, value_name = "STEP")]
        steps: Vec<StepId>,
        /// Why going on is the way to a safe state
        #[arg(long)]
        why: String,
        /// A condition that need not be in bounds for it
        #[arg(long, value_name = "CONDITION")]
        without: Vec<ConditionId>,
        /// A stop under which it applies; without any, every stop in force
        #[arg(long = "stop")]
        stops: Vec<EntryHash>,
    },
    /// Record that something was secured; opens nothing, always accepted
    MakeSafe {
        /// What was done
        text: String,
        /// The step in whose words it was
        #[arg(long)]
        step: Option<StepId>,
    },
    /// Count heads
    HeadCount {
        /// Somebody seen in the clear, yourself among them; repeat for more
        #[arg(long, required = true, value_name = "CALL_SIGN")]
        clear: Vec<Person>,
        /// Somebody believed clear without being seen; not clear
        #[arg(long, value_name = "CALL_SIGN")]
        assumed: Vec<Person>,
    },
    /// Record structure, circuit and phase as read off the structure
    Identity {
        /// Structure number
        #[arg(long)]
        structure: String,
        /// Circuit
        #[arg(long)]
        circuit: String,
        /// Phase
        #[arg(long)]
        phase: String,
        /// How it was read
        #[arg(long)]
        method: String,
    },
    /// Record a look at an item
    Scan(Scan),
    /// Record that an item was moved by hand
    Moved {
        /// The item
        item: ItemId,
        /// Where it now is
        #[arg(value_enum)]
        to: PlaceName,
    },
    /// Record what the operator says of the line order
    OrderStatus(OrderStatus),
    /// Write a note
    Note(Note),
    /// Suspend the job: everyone leaves; this is a stop
    Suspend {
        /// Where the job stands, as the plan calls it
        #[arg(long)]
        state: String,
        /// Who may resume: a call sign
        #[arg(long)]
        resume_by: Person,
        /// How many tools went out
        #[arg(long)]
        tools_out: u32,
        /// How many came back
        #[arg(long)]
        tools_back: u32,
    },
    /// Begin a new day after a suspension
    ResumeDay,
    /// Close the job. Supervisor
    Close,
    /// Void an entry of a kind that this version does not know
    Void {
        /// The entry
        entry: EntryHash,
    },
}

#[derive(Debug, Args)]
pub(super) struct NamedCheck {
    /// The step
    pub(super) step: StepId,
    /// The check
    pub(super) check: CheckId,
}

#[derive(Debug, Args)]
pub(super) struct Acknowledge {
    #[command(flatten)]
    pub(super) check: NamedCheck,
    #[command(flatten)]
    pub(super) said: SaidArguments,
    /// What was done since a conflict or a value out of limit, if this answers one
    #[arg(long)]
    pub(super) change: Option<String>,
    /// How long the control was kept pressed, ms
    #[arg(long)]
    pub(super) held_ms: Option<u32>,
}

/// Without any of these: it is so.
#[derive(Debug, Args)]
pub(super) struct SaidArguments {
    /// A measured value, as shown
    #[arg(long, requires = "unit", allow_negative_numbers = true, group = "form")]
    pub(super) value: Option<Decimal>,
    /// Its unit, as in the plan
    #[arg(long, requires = "value")]
    pub(super) unit: Option<String>,
    /// An answer in words
    #[arg(long, group = "form")]
    pub(super) words: Option<String>,
    /// Structure number as read off the structure
    #[arg(long, requires = "circuit", requires = "phase", group = "form")]
    pub(super) structure: Option<String>,
    /// Circuit as read
    #[arg(long, requires = "structure")]
    pub(super) circuit: Option<String>,
    /// Phase as read
    #[arg(long, requires = "structure")]
    pub(super) phase: Option<String>,
    /// How many went out
    #[arg(long, requires = "back", group = "form")]
    pub(super) out: Option<u32>,
    /// How many are back
    #[arg(long, requires = "out")]
    pub(super) back: Option<u32>,
}

#[derive(Debug, Args)]
pub(super) struct Scan {
    /// The item
    pub(super) item: ItemId,
    /// Age of its last electrical test as on its plate or papers, months
    #[arg(long, value_name = "MONTHS", group = "finding")]
    pub(super) test_age_months: Option<u16>,
    /// There is no record of a test, or the item needs none
    #[arg(long, group = "finding")]
    pub(super) no_test_record: bool,
    /// Wiped clean and inspected now: nothing found, or something found
    #[arg(long, value_enum, group = "finding")]
    pub(super) inspected: Option<Inspected>,
    /// Set aside, and why
    #[arg(long, value_name = "WHY", group = "finding")]
    pub(super) out_of_service: Option<String>,
    /// With a test age or no record: wiped clean and inspected today
    #[arg(long, conflicts_with_all = ["inspected", "out_of_service"])]
    pub(super) wiped_today: bool,
    /// With a test age or no record: voltage it is rated for, kV
    #[arg(long, conflicts_with_all = ["inspected", "out_of_service"])]
    pub(super) rated_kv: Option<Decimal>,
}

#[derive(Debug, Args)]
pub(super) struct OrderStatus {
    /// Order number
    pub(super) order: String,
    /// Its state
    #[arg(value_enum)]
    pub(super) state: OrderStateName,
    /// Who released it, where others did
    #[arg(long, required_if_eq("state", "released-by-others"))]
    pub(super) by: Option<String>,
    /// A terminal named; repeat for more
    #[arg(long = "terminal", value_name = "TERMINAL")]
    pub(super) terminals: Vec<String>,
    /// It was read back and confirmed
    #[arg(long)]
    pub(super) read_back: bool,
    /// A structure that it covers; repeat for more
    #[arg(long = "covers", value_name = "STRUCTURE")]
    pub(super) covers: Vec<String>,
    /// What the operator says of the line
    #[arg(long)]
    pub(super) line_state: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct Note {
    /// What it says
    pub(super) text: String,
    /// The entry that it is about
    #[arg(long)]
    pub(super) about: Option<EntryHash>,
    /// What it does beside being read
    #[arg(long, value_enum, default_value_t = NoteName::Plain)]
    pub(super) kind: NoteName,
    /// A picture that goes with it: a JPEG, PNG or WebP file of at most 1 MiB. It reaches the others behind the entries
    #[arg(long, value_name = "FILE")]
    pub(super) photo: Option<PathBuf>,
    /// For a late note: the step that was done
    #[arg(long, required_if_eq("kind", "late"))]
    pub(super) step: Option<StepId>,
    /// For a late note: the check that was done
    #[arg(long, required_if_eq("kind", "late"))]
    pub(super) check: Option<CheckId>,
    /// For a late note: the mark that is in doubt
    #[arg(long)]
    pub(super) mark: Option<MarkId>,
    /// For a note that closes an open item: its words
    #[arg(long, required_if_eq("kind", "closes-item"))]
    pub(super) item: Option<String>,
    /// For a mute: the key of the device off the job
    #[arg(long, required_if_eq("kind", "mute"))]
    pub(super) key: Option<DeviceKey>,
}

/// Kinds of note that a person writes.
#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub(super) enum NoteName {
    Plain,
    Late,
    Reviewed,
    StopReason,
    ClosesItem,
    StillSo,
    Mute,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub(super) enum KindOfStop {
    Work,
    AllStop,
    Emergency,
    OrderLost,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub(super) enum Inspected {
    Good,
    Bad,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub(super) enum YesNo {
    Yes,
    No,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub(super) enum OrderStateName {
    InEffect,
    Lapsed,
    Released,
    ReleasedByOthers,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub(super) enum PlaceName {
    Truck,
    Ground,
    OnTheLine,
    Aloft,
    Structure,
    Conductor,
}

impl From<PlaceName> for Place {
    fn from(name: PlaceName) -> Self {
        match name {
            PlaceName::Truck => Self::Truck,
            PlaceName::Ground => Self::Ground,
            PlaceName::OnTheLine => Self::OnTheLine,
            PlaceName::Aloft => Self::Aloft,
            PlaceName::Structure => Self::Structure,
            PlaceName::Conductor => Self::Conductor,
        }
    }
}

/// A device, by its key or by its holder's call sign.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Device {
    Key(DeviceKey),
    Person(Person),
}

impl std::str::FromStr for Device {
    type Err = gantline_protocol::ids::BadId;
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text.parse() {
            Ok(key) => Ok(Self::Key(key)),
            Err(_) => Person::try_from(text).map(Self::Person),
        }
    }
}
