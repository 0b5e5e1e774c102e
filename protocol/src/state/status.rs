//! Status: all that a device shows its holder, as values that any page or script can word.
//! Owns: nothing.   Gives: `Status` and its parts; made anew at every use, never kept.
//! May use: ids, time, reason, plan, engine::command.   Never: sentences (node words them); the first
//! answer of a blind second look, to a device that has yet to give its own.

use crate::decimal::Decimal;
use crate::engine::Alarm;
use crate::ids::{
    BootId, CheckId, ConditionId, DeviceKey, EntryHash, HandoffId, ItemId, JobId, MarkId,
    MarkState, Person, RoleId, StepId,
};
use crate::plan::{Place, Units};
use crate::reason::{Owed, Reason, Unfit};
use crate::time::{Stamp, WallClock};
use serde::{Deserialize, Serialize};

/// The three words.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CallWord {
    /// A step is open and everything below it was so at most `watch_limit` ago.
    Proceed,
    /// Make no new move; keep what you have secure.
    Hold,
    /// A stop is in force.
    StopWork,
}

/// The call with its reasons, gravest first; `Proceed` has none.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Call {
    /// The word.
    pub word: CallWord,
    /// Why not Proceed.
    pub reasons: Vec<Reason>,
    /// The open step, or where the crew is.
    pub step: Option<StepId>,
    /// What to keep secure where the crew is.
    pub if_held: String,
    /// A Hold because something was lost, not because it is others' turn.
    pub by_loss: bool,
    /// How long this may be shown without hearing from the node again, ms.
    pub good_for_ms: u64,
}

/// Everything a device shows.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Status {
    /// The job.
    pub job: JobId,
    /// Its title.
    pub title: String,
    /// Units on every screen.
    pub units: Units,
    /// This device.
    pub device: DeviceKey,
    /// This start of it.
    pub boot: BootId,
    /// Its holder; `None` before admission.
    pub person: Option<Person>,
    /// The holder's roles.
    pub roles: Vec<RoleId>,
    /// The call.
    pub call: Call,
    /// running, hold, stop, stop_exit, emergency, suspended, closed.
    pub job_state: JobState,
    /// Number of standing amendments.
    pub plan_version: u32,
    /// Whether the holder is briefed on the plan as it stands.
    pub briefed: bool,
    /// Every step in the plan's order.
    pub steps: Vec<StepStatus>,
    /// Stops in force, oldest first.
    pub stops: Vec<StopStatus>,
    /// The crew.
    pub crew: Vec<CrewStatus>,
    /// The device whose office the supervisor's is, also when it has left.
    pub office: DeviceKey,
    /// Standing conditions.
    pub conditions: Vec<ConditionStatus>,
    /// Items.
    pub items: Vec<ItemStatus>,
    /// Handoffs that are not done.
    pub handoffs: Vec<HandoffStatus>,
    /// Marks.
    pub marks: Vec<MarkStatus>,
    /// What is asked of the holder now.
    pub asked: Vec<AskedOf>,
    /// Open items from asks.
    pub open_items: Vec<String>,
    /// Proposals that wait for this device's answer or for others'.
    pub proposals: Vec<ProposalStatus>,
    /// Alarms sounding on this device.
    pub alarms: Vec<Alarm>,
    /// Entries on this device.
    pub entries: u32,
    /// Own entries that not every present device is known to hold.
    pub unsynced: u32,
    /// [`crate::state::digest`] of the set of entries: equal sets, equal digests.
    pub digest: EntryHash,
    /// Newest stamp seen.
    pub stamp: Stamp,
    /// Wall clock of this device at this status.
    pub wall: WallClock,
    /// Other things that cases and pages name: name to words. Stable names, see `state::shown`.
    pub shown: Vec<(String, String)>,
}

/// State of the job as a whole.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum JobState {
    /// Proceed.
    Running,
    /// Hold.
    Hold,
    /// Stop work.
    Stop,
    /// Stop work with an agreed exit plan that is not finished.
    StopExit,
    /// Stop work, one of the stops an emergency.
    Emergency,
    /// Stop work, one of the stops a suspension.
    Suspended,
    /// Closed.
    Closed,
}

/// A step.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct StepStatus {
    /// Its id.
    pub id: StepId,
    /// Its name.
    pub title: String,
    /// Where it stands.
    pub state: StepState,
    /// A place where everyone waits.
    pub hold_point: bool,
    /// No way back once done.
    pub critical: bool,
    /// Its checks.
    pub checks: Vec<CheckStatus>,
    /// While it is open: its loads that no handoff has brought to where they are to go.
    pub loads_due: Vec<ItemId>,
}

/// Where a step stands.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StepState {
    /// Something before it is not complete, or not known to everyone.
    Locked,
    /// Its checks can be given.
    Open,
    /// Open, and answers differ or somebody cannot confirm.
    Conflict,
    /// Complete.
    Done,
}

/// A check.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct CheckStatus {
    /// Its id.
    pub id: CheckId,
    /// Its words.
    pub text: String,
    /// Whether it is complete.
    pub done: bool,
    /// Counted acknowledgements that this device may be shown, oldest first.
    pub given: Vec<Given>,
    /// What is still missing or stands against it.
    pub missing: Vec<Reason>,
    /// Roles that may still give it.
    pub waits_for: Vec<RoleId>,
}

/// An acknowledgement as shown.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Given {
    /// The entry.
    pub entry: EntryHash,
    /// By whom.
    pub by: Person,
    /// What was said, in plain words; `None`: kept from this device until its own look is recorded.
    pub said: Option<String>,
    /// The number and its unit, if one was said and is not kept from this device.
    pub value: Option<(Decimal, String)>,
    /// Why it does not count; empty: it counts.
    pub reasons: Vec<Reason>,
}

/// A stop in force.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct StopStatus {
    /// The entry.
    pub entry: EntryHash,
    /// What kind: work, all_stop, emergency, order_lost, stranger, withdraw, suspend.
    pub kind: String,
    /// Who; `None`: a device without a person.
    pub by: Option<Person>,
    /// Why.
    pub why: String,
    /// When, by its author's wall clock.
    pub wall: WallClock,
    /// Who has answered.
    pub heard: Vec<Person>,
    /// Who has not.
    pub not_heard: Vec<Person>,
    /// Devices known to hold it.
    pub held_by: Vec<Person>,
    /// The newest ask that names it.
    pub ask: Option<EntryHash>,
    /// The cause that this ask names; empty: no ask.
    pub cause: String,
    /// What its release still needs.
    pub owed: Vec<Owed>,
    /// How many stops there were at this step for the same cause.
    pub repeat: u32,
}

/// A crew device.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct CrewStatus {
    /// The device.
    pub device: DeviceKey,
    /// Its holder.
    pub person: Person,
    /// Roles.
    pub roles: Vec<RoleId>,
    /// Whether it is on the job now.
    pub present: bool,
    /// Whether it is briefed on the plan as it stands.
    pub briefed: bool,
    /// Age of its proof of life, ms; `None`: none, or this device itself.
    pub age_ms: Option<u64>,
    /// Whether that proof was quiet.
    pub quiet: bool,
    /// Whether its log and ours agree.
    pub level: bool,
    /// Whether it has forked.
    pub forked: bool,
}

/// A standing condition.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ConditionStatus {
    /// Its id.
    pub id: ConditionId,
    /// What it is.
    pub title: String,
    /// Whether it is in bounds and fresh.
    pub good: bool,
    /// Why not.
    pub reasons: Vec<Reason>,
    /// The newest value with its unit.
    pub value: Option<String>,
    /// Its age, ms; `None`: never, or before this device could bound it.
    pub age_ms: Option<u64>,
    /// How long it is good for, ms.
    pub valid_ms: u64,
}

/// An item.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ItemStatus {
    /// Its id.
    pub id: ItemId,
    /// What it is.
    pub title: String,
    /// Where it is.
    pub at: Place,
    /// Why it may not be used; empty: fit.
    pub unfit: Vec<Unfit>,
}

/// A handoff that is not done.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct HandoffStatus {
    /// Its name.
    pub handoff: HandoffId,
    /// The offer.
    pub offer: EntryHash,
    /// The item.
    pub item: ItemId,
    /// Where to.
    pub to: Place,
    /// Who offers and commands.
    pub by: Person,
    /// Who is ready, and for how long still, ms.
    pub ready: Option<(Person, u64)>,
    /// Whether it was taken: the load may move.
    pub taken: bool,
}

/// A mark.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct MarkStatus {
    /// Its id.
    pub id: MarkId,
    /// Its value.
    pub state: MarkState,
    /// Whether a confirmation that it rests on was annulled.
    pub in_doubt: bool,
}

/// Something asked of the holder of this device now.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(tag = "asked", rename_all = "snake_case")]
#[allow(
    missing_docs,
    reason = "the fields are the things that the variant's own line names"
)]
pub enum AskedOf {
    /// Accept the admission.
    Accept,
    /// Hear the briefing.
    Briefing { version: u32 },
    /// Give this check; `again`: the holder gave it before a stop and it is to be given anew; `since`: with
    /// what was done since, for two people did not see alike, or saw alike that it does not pass (ROUND), or for the
    /// holder's own value passes after one that did not, and nobody else is asked who could bear it out (REREAD).
    Check {
        step: StepId,
        check: CheckId,
        again: bool,
        since: bool,
    },
    /// Answer a stop.
    Heard { stop: EntryHash },
    /// Ask to resume.
    Ask { stop: EntryHash },
    /// Agree to, or decline, an ask, exception or exit plan.
    Agree { to: EntryHash },
    /// Renew a condition.
    Condition { condition: ConditionId },
    /// Take a role.
    TakeRole { offer: EntryHash, role: RoleId },
    /// Ready for a load.
    Ready {
        offer: EntryHash,
        handoff: HandoffId,
    },
    /// Take a load or tool.
    Take {
        offer: EntryHash,
        handoff: HandoffId,
    },
    /// Say that things are still so.
    StillSo,
    /// Answer a proposal.
    Consent {
        proposal: EntryHash,
        device: DeviceKey,
    },
    /// Say that you are in the clear.
    InTheClear,
}

/// A proposal that is not sealed.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ProposalStatus {
    /// The entry.
    pub entry: EntryHash,
    /// Remove, or take over.
    pub take_over: bool,
    /// The device to be removed.
    pub device: DeviceKey,
    /// Who has consented, the proposer first.
    pub consents: Vec<Person>,
    /// How many are needed.
    pub needed: u32,
}
