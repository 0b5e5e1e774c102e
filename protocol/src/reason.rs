//! Reasons: why something was refused, does not count, or holds; one variant for each distinct cause.
//! Owns: nothing.   Gives: `Reason`, with a stable code for logs and scripts.
//! May use: ids, decimal.   Never: sentences for people (node words them).

use crate::decimal::Decimal;
use crate::ids::{
    CheckId, ConditionId, DeviceKey, EntryHash, ItemId, LimitId, MarkId, RoleId, StepId,
};
use serde::{Deserialize, Serialize};

/// One cause. Carries all that is needed to say it aloud: which role, which check, how old.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(tag = "reason", rename_all = "snake_case")]
#[allow(
    missing_docs,
    reason = "the fields are the things that the variant's own line names"
)]
pub enum Reason {
    /// The step is not open: an earlier one is not complete in what the author had seen.
    NotUnlocked { step: StepId, before: StepId },
    /// The step is open here, but not every present device is known to hold what opened it.
    NotKnown { step: StepId, device: DeviceKey },
    /// The author does not hold a role that may do this.
    WrongRole { needs: Vec<RoleId> },
    /// One person would fill two places that need different people.
    Proxy { role: RoleId },
    /// The device is not on the roster.
    NotEnrolled { device: DeviceKey },
    /// This device is not on the roster by the word of that one, which refuses its link.
    NotEnrolledThere { device: DeviceKey },
    /// The author, or a device present, has not been briefed on the plan as it stands.
    NotBriefed { device: DeviceKey, version: u32 },
    /// The plan was amended since what the author acted on.
    PlanChanged { version: u32 },
    /// A stop is in force in what the author had seen.
    StopActive { stop: EntryHash },
    /// A stop, withdrawal or removal that the author had not seen is concurrent with this.
    CrossedStop { stop: EntryHash },
    /// A stop came after this, before its step was complete: to be given again.
    GivenBeforeStop { stop: EntryHash },
    /// A step back, amendment, withdrawal or objection that the author had not seen covers this.
    TakenBack { by: EntryHash },
    /// A hold is in force, for the reason beside it in the list.
    HoldActive,
    /// No supervisor or no observer is present.
    RoleVacant { role: RoleId },
    /// The reading or affirmation ran out `age_ms − valid_ms` ago.
    Stale {
        condition: ConditionId,
        age_ms: u64,
        valid_ms: u64,
    },
    /// The condition's newest reading is outside its limit, or its owner is away.
    ConditionOut { condition: ConditionId },
    /// Nobody who may has read or affirmed the condition yet, or not since the day or the holder changed.
    ConditionUnknown { condition: ConditionId },
    /// The condition is back in bounds, but not yet for as long as it must be: what is left, ms.
    ConditionTimer {
        condition: ConditionId,
        left_ms: u64,
    },
    /// The value is outside its limit.
    OutOfLimit {
        limit: LimitId,
        value: Decimal,
        least: Option<Decimal>,
        most: Option<Decimal>,
    },
    /// The answer is not one that lets the step be complete.
    AnswerNotPassing { found: String, expected: String },
    /// The unit differs from the plan's, or a value is missing where one is asked for, or the other way round.
    WrongAnswerForm { expected: String },
    /// After a value outside its limit a passing one from the same person needs a second reader.
    NeedsSecondReader { step: StepId, check: CheckId },
    /// Answers of two people differ.
    Conflict { step: StepId, check: CheckId },
    /// Somebody said that this check cannot be confirmed.
    CannotConfirm {
        step: StepId,
        check: CheckId,
        by: DeviceKey,
    },
    /// An acknowledgement that is still missing.
    Missing {
        step: StepId,
        check: CheckId,
        needs: Vec<RoleId>,
    },
    /// The item may not be used: test date past, not inspected today, under-rated, out of service, suspect.
    ToolNotFit { item: ItemId, why: Unfit },
    /// The item is not where it must be.
    ItemNotThere { item: ItemId },
    /// A mark has not the value that is needed, or is in doubt.
    MarkNotSo { mark: MarkId },
    /// What was read is not what the plan or the order names.
    IdentityMismatch { planned: String, read: String },
    /// The handoff has no offer, or no ready, or was not taken.
    MissingHandoff,
    /// The ready that the load would move on was given too long ago; it is asked for again.
    ReadyStale { age_ms: u64, valid_ms: u64 },
    /// The handoff commands another's load, or names another receiver; the entry to be corrected is another's.
    NotYours,
    /// A relief that was offered but not taken, or taken without an offer.
    ReliefIncomplete,
    /// Roles that one person cannot hold together.
    Exclusive { role: RoleId, with: RoleId },
    /// The same again: it changes nothing.
    Duplicate,
    /// A note of something done earlier; opens nothing.
    Late,
    /// Something that must be there first is not: a `heard`, an `agree`, a briefing.
    Incomplete { missing: Vec<Owed> },
    /// No proof of life, or one older than the limit, from a present device.
    NoContact {
        device: DeviceKey,
        age_ms: Option<u64>,
    },
    /// Proof of life, but its log and ours do not agree yet.
    NotLevel { device: DeviceKey },
    /// A device said that a stop was pressed on it, or that its page is silent.
    NotQuiet { device: DeviceKey },
    /// The own page is silent.
    PageSilent,
    /// Heads, tools, grounds or load are not accounted for.
    NotAccounted { what: String },
    /// Not a state that the plan calls safe to leave.
    NotSafeState,
    /// Two different entries of one device with one number.
    Fork { device: DeviceKey },
    /// The device's removal was not seen by this.
    Removed { device: DeviceKey },
    /// An entry of a kind that this version does not know.
    NeedsVersion { device: DeviceKey },
    /// The job is closed.
    Closed,
    /// The job is suspended.
    Suspended,
    /// The holder has not yet said that things are still so after a long loss.
    StillSo,
    /// The disk does not take entries: nothing can be recorded here. Stop still works.
    DiskFailed,
    /// Nothing is open: every step is complete.
    NothingOpen,
    /// The plan that the author acted on has no such check.
    NoSuchCheck { step: StepId, check: CheckId },
}

/// Why an item is not fit for use.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unfit {
    /// The last electrical test is older than the plan allows.
    TestPast,
    /// Not wiped and inspected today.
    NotInspected,
    /// Rated below the line voltage.
    UnderRated,
    /// Set aside by somebody.
    OutOfService,
    /// Named in a stop and not examined since.
    Suspect,
    /// Nobody has entered its test and rating.
    NotListed,
}

/// What a person still owes.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(tag = "owed", rename_all = "snake_case")]
#[allow(
    missing_docs,
    reason = "the fields are the things that the variant's own line names"
)]
pub enum Owed {
    /// The answer that a stop was heard.
    Heard { stop: EntryHash, device: DeviceKey },
    /// The supervisor's ask.
    Ask { stop: EntryHash },
    /// Agreement to the newest ask.
    Agree { ask: EntryHash, device: DeviceKey },
    /// An answer to the newest ask other than no.
    Declined { ask: EntryHash, device: DeviceKey },
    /// A new briefing: the same cause has stopped the work before.
    Briefing { device: DeviceKey },
    /// A condition that must be in bounds first.
    Condition { condition: ConditionId },
}

impl Reason {
    /// A stable word for scripts, exports and tests.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::NotUnlocked { .. } | Self::NotKnown { .. } => "not_unlocked",
            Self::WrongRole { .. } => "wrong_role",
            Self::Proxy { .. } => "proxy",
            Self::NotEnrolled { .. } | Self::NotEnrolledThere { .. } | Self::Removed { .. } => {
                "not_enrolled"
            }
            Self::NotBriefed { .. } | Self::PlanChanged { .. } => "not_briefed",
            Self::StopActive { .. } | Self::CrossedStop { .. } | Self::GivenBeforeStop { .. } => {
                "stop_active"
            }
            Self::TakenBack { .. } => "taken_back",
            Self::HoldActive
            | Self::RoleVacant { .. }
            | Self::StillSo
            | Self::NothingOpen
            | Self::ConditionOut { .. } => "hold_active",
            Self::Stale { .. }
            | Self::ConditionUnknown { .. }
            | Self::ConditionTimer { .. }
            | Self::ReadyStale { .. } => "stale",
            Self::OutOfLimit { .. } => "out_of_limit",
            Self::AnswerNotPassing { .. } | Self::Conflict { .. } | Self::CannotConfirm { .. } => {
                "conflict"
            }
            Self::WrongAnswerForm { .. } | Self::NoSuchCheck { .. } => "wrong_answer_form",
            Self::NeedsSecondReader { .. } => "needs_second",
            Self::Missing { .. } | Self::Incomplete { .. } => "incomplete",
            Self::ToolNotFit { .. } => "tool_not_fit",
            Self::ItemNotThere { .. } | Self::MarkNotSo { .. } | Self::NotAccounted { .. } => {
                "not_accounted"
            }
            Self::IdentityMismatch { .. } => "identity_mismatch",
            Self::MissingHandoff => "missing_handoff",
            Self::NotYours => "not_yours",
            Self::ReliefIncomplete => "relief_incomplete",
            Self::Exclusive { .. } => "exclusive",
            Self::Duplicate => "duplicate",
            Self::Late => "late",
            Self::NoContact { .. }
            | Self::NotLevel { .. }
            | Self::NotQuiet { .. }
            | Self::PageSilent => "no_contact",
            Self::NotSafeState => "not_safe_state",
            Self::Fork { .. } => "fork",
            Self::NeedsVersion { .. } => "needs_version",
            Self::Closed => "closed",
            Self::Suspended => "suspended",
            Self::DiskFailed => "disk_failed",
        }
    }
}
