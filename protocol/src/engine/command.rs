//! Commands: what a person can do on their device, before the engine has added what it knows.
//! Owns: nothing.   Gives: `Command`, one variant for each act; `Outcome`, the answer to it.
//! May use: ids, log::entry, plan, reason.   Never: whether it counts (gate), how it is worded (node).

use crate::decimal::Decimal;
use crate::ids::{
    CheckId, ConditionId, DeviceKey, EntryHash, HandoffId, ItemId, Person, RoleId, StepId,
};
use crate::log::entry::{Change, Finding, NoteKind, OrderState, Said, StopKind};
use crate::plan::Place;
use crate::reason::Reason;
use serde::{Deserialize, Serialize};

/// An act. Where an entry is `None`, the one that it can only mean: the stops in force, the newest ask,
/// the open offer.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(tag = "act", rename_all = "snake_case")]
#[allow(
    missing_docs,
    reason = "the fields are those of the entry kind of the same name, documented there"
)]
pub enum Command {
    /// A check is so. `held_ms`: how long the control was kept pressed, where it was.
    Acknowledge {
        step: StepId,
        check: CheckId,
        said: Said,
        change: Option<String>,
        held_ms: Option<u32>,
    },
    /// A check cannot be confirmed.
    Cannot {
        step: StepId,
        check: CheckId,
        why: String,
    },
    /// Takes back the author's newest acknowledgement of a check.
    Withdraw {
        step: StepId,
        check: CheckId,
        why: String,
    },
    /// Stop work, all stop, or emergency.
    Stop {
        kind: StopKind,
        why: String,
        item: Option<ItemId>,
    },
    /// The stop was heard; `None`: every stop in force.
    Heard { stop: Option<EntryHash> },
    /// Asks to resume; an empty list: every stop in force.
    Ask {
        stops: Vec<EntryHash>,
        cause: String,
        open_item: Option<String>,
        closes_item: Option<String>,
    },
    /// Agrees to the newest ask, or to an exception, exit plan or void.
    Agree { to: Option<EntryHash> },
    /// Refuses the newest ask, or an exception or exit plan.
    Decline { to: Option<EntryHash>, why: String },
    /// A reading of a standing condition; no value: a sighting.
    Reading {
        condition: ConditionId,
        value: Option<Decimal>,
        unit: String,
    },
    /// A standing condition is still so.
    Affirm { condition: ConditionId },
    /// Ends a standing condition at once.
    Away { condition: ConditionId },
    /// Offers a load or tool.
    Offer {
        handoff: HandoffId,
        item: ItemId,
        to: Place,
        receiver: Option<DeviceKey>,
    },
    /// Ready to receive, or not; `None`: the open offer.
    Ready {
        handoff: Option<HandoffId>,
        ready: bool,
    },
    /// Takes: the mover of a load, the receiver of a tool.
    Take { handoff: Option<HandoffId> },
    /// The load stands where it was to go.
    Done { handoff: Option<HandoffId> },
    /// Offers a role to a device. Supervisor in office.
    OfferRole { role: RoleId, to: DeviceKey },
    /// Takes the role that is offered to this device.
    TakeRole { role: RoleId },
    /// The outgoing person asks to be relieved.
    ReliefWanted { role: RoleId },
    /// Back to a step.
    StepBack { step: StepId, why: String },
    /// Changes the plan.
    Amend {
        why: String,
        changes: Vec<Change>,
        covers: Vec<StepId>,
    },
    /// The author has had the briefing on the plan as it stands.
    Briefed,
    /// Admits a device.
    Admit {
        device: DeviceKey,
        person: Person,
        roles: Vec<RoleId>,
        replaces: Option<DeviceKey>,
    },
    /// Takes the place given by the admission.
    Accept,
    /// Leaves the job.
    Leave,
    /// Proposes to remove a device; of the supervisor's device: to take over.
    Remove {
        device: DeviceKey,
        spoken_to: Option<bool>,
        called_stop: bool,
    },
    /// Answers a proposal that this device would not consent to by itself.
    Consent { proposal: EntryHash },
    /// Records what the tool did not see.
    Exception {
        step: StepId,
        check: CheckId,
        what: String,
        why: String,
        seen_by: Person,
    },
    /// Corrects an own entry.
    Correction { entry: EntryHash, text: String },
    /// Proposes an exit plan; an empty list of stops: every stop in force.
    ExitPlan {
        stops: Vec<EntryHash>,
        steps: Vec<StepId>,
        without: Vec<ConditionId>,
        why: String,
    },
    /// Something was secured.
    MakeSafe { step: Option<StepId>, text: String },
    /// A head count.
    HeadCount {
        clear: Vec<Person>,
        assumed: Vec<Person>,
    },
    /// Identity as read off the structure.
    Identity {
        structure: String,
        circuit: String,
        phase: String,
        method: String,
    },
    /// An item looked at or set aside.
    Scan { item: ItemId, found: Finding },
    /// An item moved by hand.
    Moved { item: ItemId, to: Place },
    /// State of the line order.
    OrderStatus {
        order: String,
        state: OrderState,
        terminals: Vec<String>,
        read_back: bool,
        covers: Vec<String>,
        line_state: Option<String>,
    },
    /// A note.
    Note {
        text: String,
        about: Option<EntryHash>,
        kind: NoteKind,
    },
    /// Everyone leaves.
    Suspend {
        state: String,
        resume_by: Person,
        tools_out: u32,
        tools_back: u32,
    },
    /// A new day.
    ResumeDay,
    /// The job is done.
    Close,
    /// An entry of an unknown kind is void.
    Void { entry: EntryHash },
}

/// Names a command between the driver and the engine; chosen by the driver.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
pub struct CommandId(pub u64);

/// The answer to a command.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(tag = "outcome", rename_all = "snake_case")]
pub enum Outcome {
    /// On this device's disk. `reasons` empty: it counts, or is of a kind that nobody judges; else why
    /// it does not count.
    Recorded {
        /// The entry.
        entry: EntryHash,
        /// Its number on this device's chain.
        seq: u32,
        /// Why it does not count.
        reasons: Vec<Reason>,
    },
    /// Not recorded, and why.
    Refused {
        /// All causes.
        reasons: Vec<Reason>,
    },
    /// Changed nothing, because it already is so.
    AlreadySo,
}
