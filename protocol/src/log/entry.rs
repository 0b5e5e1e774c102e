//! Entries as values: what a device says, and the envelope it says it in.
//! Owns: nothing.   Gives: `Content`, `Body` and the parts of each kind.
//! May use: ids, time, decimal, plan::types.   Never: bytes (wire), signatures (sign), whether it counts (gate).
//!
//! postcard numbers the variants of an enum by position: add at the end only, with a version step. The
//! bytes of each kind are frozen in tests.

use crate::decimal::Decimal;
use crate::ids::{
    CheckId, ConditionId, DeviceKey, DeviceTag, EntryHash, HandoffId, ItemId, JobId, MarkId,
    Person, RoleId, StepId,
};
use crate::log::photo::Photo;
use crate::plan::{MarkIs, Place, Plan, Step};
use crate::time::{Stamp, WallClock};
use serde::{Deserialize, Serialize};

/// What is signed.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Content {
    /// [`crate::bounds::FORMAT_VERSION`].
    pub version: u8,
    /// The job; [`JobId::UNFOUNDED`] in the founding entry.
    pub job: JobId,
    /// Whose entry it is.
    pub author: DeviceKey,
    /// 0, 1, 2… for each author.
    pub seq: u32,
    /// The author's entry before; [`EntryHash::NONE`] for the first.
    pub prev: EntryHash,
    /// The newest entries seen of others that are not in each other's past or in the past of `prev`, ascending.
    pub heads: Vec<EntryHash>,
    /// For a readable order.
    pub stamp: Stamp,
    /// For people to read.
    pub wall: WallClock,
    /// What is said.
    pub body: Body,
}

/// What is said. The positions are part of the format.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Body {
    /// 0. Founds the job. The author is its first supervisor.
    Found(Box<Found>),
    /// 1. Admits a device, or gives a device further roles. Supervisor in office.
    Admit(Admit),
    /// 2. The admitted person takes their place on this device.
    Accept,
    /// 3. The author leaves; may be admitted again.
    Leave,
    /// 4. The author has had the briefing on this version of the plan (number of amendments that stand).
    Briefed(Briefed),
    /// 5. A check is so.
    Acknowledge(Acknowledge),
    /// 6. A check cannot be confirmed.
    Cannot(Cannot),
    /// 7. What the author confirmed is no longer true; is a stop.
    Withdraw(Withdraw),
    /// 8. Stop the work.
    Stop(Stop),
    /// 9. The stop was heard by the person at this device.
    Heard(Heard),
    /// 10. The supervisor asks to resume and names the cause.
    Ask(Ask),
    /// 11. Agreement to an ask, exception or exit plan.
    Agree(Agree),
    /// 12. No to an ask; ends it.
    Decline(Decline),
    /// 13. The named stops are released; written by the supervisor's node by itself.
    Release(Release),
    /// 14. A reading of a standing condition.
    Reading(ConditionReading),
    /// 15. A standing condition is still so.
    Affirm(ConditionNamed),
    /// 16. The author ends a condition at once: the observer leaves the place.
    Away(ConditionNamed),
    /// 17. Offers a load, a tool or a role.
    Offer(Offer),
    /// 18. Ready, or no longer ready, to receive.
    Ready(Ready),
    /// 19. Takes what was offered.
    Take(OfferNamed),
    /// 20. The load stands where it was to go.
    Done(OfferNamed),
    /// 21. Back to a step: it and what depends on it is confirmed again. Supervisor in office.
    StepBack(StepBack),
    /// 22. Changes the plan; holds everyone until briefed. Supervisor in office.
    Amend(Box<Amend>),
    /// 23. Proposes to remove a device, or to take over from the supervisor.
    Propose(Propose),
    /// 24. Consent to a proposal.
    Consent(ProposalNamed),
    /// 25. Carries a proposal out.
    Seal(Seal),
    /// 26. The safe thing was done and the tool did not see it.
    Exception(Exception),
    /// 27. Corrects an entry of the author beside it.
    Correction(Correction),
    /// 28. Opens named steps while the stop stands.
    ExitPlan(ExitPlan),
    /// 29. What was there was secured; opens nothing, always accepted.
    MakeSafe(MakeSafe),
    /// 30. A head count during an emergency, a suspension or the closing.
    HeadCount(HeadCount),
    /// 31. Structure, circuit and phase as read.
    Identity(Identity),
    /// 32. An item looked at: test date, wiped today, rating; or set aside.
    Scan(Scan),
    /// 33. An item moved without a load line: out of the truck, back in, fixed, taken off.
    Moved(Moved),
    /// 34. What the operator says of the line order.
    OrderStatus(OrderStatus),
    /// 35. A note.
    Note(Note),
    /// 36. Two devices' clocks, for the replay.
    ClockSample(ClockSample),
    /// 37. Everyone leaves; is a stop.
    Suspend(Suspend),
    /// 38. A new day: asks again for all that lasts a day or a shift.
    ResumeDay(ResumeDay),
    /// 39. The job is done.
    Close(Close),
    /// 40. An entry of an unknown kind is void; supervisor and one other.
    Void(Void),
    /// A kind that this version does not know. Has no position: it is kept and forwarded as its signed
    /// bytes, makes everyone hold, and is never written by this version.
    #[serde(skip)]
    Unknown {
        /// Its position in a newer version.
        kind: u32,
    },
}

/// Founds a job.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Found {
    /// The plan with its limits, as fixed-point numbers.
    pub plan: Plan,
    /// The author's call sign.
    pub person: Person,
    /// The author's roles; must hold `supervisor`.
    pub roles: Vec<RoleId>,
    /// The job that this one goes on with, and what was secured there; the rest is confirmed again.
    pub continues: Option<Continues>,
    /// Random, so that two jobs of one plan differ.
    pub nonce: [u8; 16],
}

/// The job before.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Continues {
    /// Its id.
    pub job: JobId,
    /// Marks as they were left.
    pub secured: Vec<MarkIs>,
}

/// Admits a device.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Admit {
    /// The device.
    pub device: DeviceKey,
    /// Its holder.
    pub person: Person,
    /// The roles given.
    pub roles: Vec<RoleId>,
    /// The device of the same person that this one replaces.
    pub replaces: Option<DeviceKey>,
}

/// A briefing heard.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Briefed {
    /// Number of standing amendments that it covered.
    pub version: u32,
}

/// An acknowledgement.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Acknowledge {
    /// The step.
    pub step: StepId,
    /// The check.
    pub check: CheckId,
    /// Number of standing amendments of the plan it was made on.
    pub version: u32,
    /// What is said.
    pub said: Said,
    /// What has been done since a conflict or a value out of limit, if this answers one.
    pub change: Option<String>,
    /// Who was known alive, how old, and to hold what.
    pub evidence: Evidence,
}

/// What an acknowledgement says.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Said {
    /// It is so.
    Yes,
    /// A measured value in the unit of the check's limit.
    Value {
        /// The value as shown to the person.
        value: Decimal,
        /// Its unit, as in the plan.
        unit: String,
    },
    /// An answer in words.
    Words(String),
    /// What was read off the structure.
    Identity {
        /// Structure number.
        structure: String,
        /// Circuit.
        circuit: String,
        /// Phase.
        phase: String,
    },
    /// A tally.
    Tally {
        /// How many went out.
        out: u32,
        /// How many are back.
        back: u32,
    },
}

impl Said {
    /// Whether two people said the same; words that differ only in spaces at their ends are the same.
    #[must_use]
    pub fn is_same(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Words(one), Self::Words(other)) => one.trim() == other.trim(),
            _ => self == other,
        }
    }
}

/// What an author knew when it acknowledged.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Evidence {
    /// One for each other device present in the author's past.
    pub proofs: Vec<Proof>,
    /// One for each standing condition that covers the step.
    pub conditions: Vec<ConditionAge>,
}

/// Proof of life of another device.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Proof {
    /// The device.
    pub device: DeviceTag,
    /// Age of the proof by the author's clock, ms.
    pub age_ms: u32,
    /// What the device then said it held, as a difference: for each author of whose chain it held less
    /// than the acknowledgement's past does, how many entries less. Not listed: as much.
    pub behind: Vec<(DeviceTag, u32)>,
}

/// Age of a standing condition.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ConditionAge {
    /// The condition.
    pub condition: ConditionId,
    /// The entry that it rests on.
    pub entry: EntryHash,
    /// Upper bound of its age, ms.
    pub age_ms: u64,
    /// Lower bound of the time since the newest entry in the author's past that put the condition out of
    /// bounds, ms; `None`: nothing has. A sighting's timer and a release after a bad reading rest on it.
    pub since_out_ms: Option<u64>,
}

/// A check that cannot be confirmed.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Cannot {
    /// The step.
    pub step: StepId,
    /// The check.
    pub check: CheckId,
    /// Why, in words.
    pub why: String,
}

/// Takes an own acknowledgement back.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Withdraw {
    /// The acknowledgement.
    pub entry: EntryHash,
    /// Why, in words.
    pub why: String,
}

/// A stop.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Stop {
    /// What kind.
    pub kind: StopKind,
    /// Why, in words; may be empty, and said later by a note.
    pub why: String,
    /// An item that is suspect until examined.
    pub item: Option<ItemId>,
}

/// Kinds of stop. All stop alike.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum StopKind {
    /// Stop work.
    Work,
    /// All stop for a moving load.
    AllStop,
    /// Emergency: also shows who is where and keeps time.
    Emergency,
    /// The line order lapsed or was released by others.
    OrderLost,
    /// Called by a device off the roster and heard by the author.
    Stranger {
        /// Its key.
        key: DeviceKey,
        /// Its words.
        words: String,
        /// How many milliseconds ago the author heard it.
        age_ms: u64,
    },
}

/// Answer to a stop.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Heard {
    /// The stop.
    pub stop: EntryHash,
}

/// The supervisor asks to resume.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Ask {
    /// The stops that it would end.
    pub stops: Vec<EntryHash>,
    /// The cause, and what was done about it.
    pub cause: String,
    /// Something left open that is shown until closed.
    pub open_item: Option<String>,
    /// An open item that this closes.
    pub closes_item: Option<String>,
}

/// Agreement.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Agree {
    /// The ask, exception, exit plan or void agreed to.
    pub to: EntryHash,
}

/// Refusal.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Decline {
    /// The ask, exception or exit plan refused.
    pub to: EntryHash,
    /// Why, in words; may be empty.
    pub why: String,
}

/// Release of stops.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Release {
    /// The ask that was agreed to.
    pub ask: EntryHash,
    /// The conditions at that moment.
    pub evidence: Evidence,
}

/// A reading of a condition.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ConditionReading {
    /// The condition.
    pub condition: ConditionId,
    /// The value, in the unit of the condition's limit; `None` for a sighting of what must not be seen.
    pub value: Option<Decimal>,
    /// Unit, as in the plan; empty for a sighting.
    pub unit: String,
}

/// A condition by name.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ConditionNamed {
    /// The condition.
    pub condition: ConditionId,
}

/// An offer.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Offer {
    /// What is offered.
    pub what: Offered,
    /// To whom; `None`: whoever may receive it. A role is always offered to one device.
    pub to: Option<DeviceKey>,
}

/// What is offered.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Offered {
    /// A load or tool to be moved; the one who offers commands the move and alone takes it.
    Move {
        /// Its name on the radio.
        handoff: HandoffId,
        /// The item.
        item: ItemId,
        /// Where to.
        to: Place,
    },
    /// A role of `from`, a device.
    Role {
        /// The role.
        role: RoleId,
        /// Who holds it until the take.
        from: DeviceKey,
    },
}

/// Ready or not.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Ready {
    /// The offer.
    pub offer: EntryHash,
    /// `false`: no longer.
    pub ready: bool,
}

/// An offer by its hash.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct OfferNamed {
    /// The offer.
    pub offer: EntryHash,
    /// Age of the newest ready at a take, ms, by echoes; 0 where none is needed.
    pub ready_age_ms: u32,
}

/// A step back.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct StepBack {
    /// The step to confirm again, with everything after it.
    pub step: StepId,
    /// Why, in words.
    pub why: String,
}

/// An amendment of the plan.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Amend {
    /// Why, in words.
    pub why: String,
    /// The changes, applied in order.
    pub changes: Vec<Change>,
    /// Steps to confirm again, each with everything after it.
    pub covers: Vec<StepId>,
}

/// One change of the plan.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Change {
    /// A step in place of the one with the same id, or a new one.
    Step(Box<Step>),
    /// A limit in place of the one with the same id, or a new one.
    Limit(crate::plan::Limit),
    /// A condition in place of the one with the same id, or a new one.
    Condition(crate::plan::Condition),
    /// An item in place of the one with the same id, or a new one.
    Item(crate::plan::Item),
    /// Another structure, circuit or phase.
    Line(crate::plan::Line),
}

/// A proposal to remove.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Propose {
    /// What is proposed.
    pub kind: Proposal,
    /// The device to be removed: the supervisor's at a takeover.
    pub device: DeviceKey,
    /// Numbers the attempts on one device; a device consents once to each.
    pub attempt: u32,
    /// Whether the holder was spoken to; `None`: not reached.
    pub spoken_to: Option<bool>,
    /// Whether the holder called a stop, as far as is known.
    pub called_stop: bool,
    /// The newest beacon of that device that the author has: its counts of every chain. Empty: none.
    pub known: Vec<(DeviceTag, u32)>,
}

/// Kinds of proposal.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
pub enum Proposal {
    /// Remove a device; sealed by the supervisor in office.
    Remove,
    /// Take the supervisor's office and remove its device; sealed by the proposer.
    TakeOver,
}

/// A proposal by its hash.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ProposalNamed {
    /// The proposal.
    pub proposal: EntryHash,
}

/// A proposal carried out.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Seal {
    /// The proposal.
    pub proposal: EntryHash,
    /// The consents that it rests on, the proposer's not among them.
    pub consents: Vec<EntryHash>,
}

/// Stands in for a check.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Exception {
    /// The step.
    pub step: StepId,
    /// The check.
    pub check: CheckId,
    /// Number of standing amendments of the plan.
    pub version: u32,
    /// What was done.
    pub what: String,
    /// Why the check could not be given.
    pub why: String,
    /// Who saw it.
    pub seen_by: Person,
    /// Who was known alive.
    pub evidence: Evidence,
}

/// A correction.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Correction {
    /// The author's own entry that is corrected.
    pub entry: EntryHash,
    /// What is right.
    pub text: String,
}

/// An exit plan.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ExitPlan {
    /// The stops under which it applies.
    pub stops: Vec<EntryHash>,
    /// The steps that it opens, each with its normal checks.
    pub steps: Vec<StepId>,
    /// Conditions that need not be in bounds for it.
    pub without: Vec<ConditionId>,
    /// Why going on is the way to a safe state.
    pub why: String,
}

/// Something secured.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct MakeSafe {
    /// The step in whose `if_held` words it was.
    pub step: Option<StepId>,
    /// What was done.
    pub text: String,
}

/// A head count.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct HeadCount {
    /// People whom the author has seen in the clear, the author among them.
    pub clear: Vec<Person>,
    /// People believed clear without having been seen; not clear.
    pub assumed: Vec<Person>,
}

/// An identity read off the structure.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Identity {
    /// Structure number.
    pub structure: String,
    /// Circuit.
    pub circuit: String,
    /// Phase.
    pub phase: String,
    /// How it was read.
    pub method: String,
}

/// A look at an item.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Scan {
    /// The item.
    pub item: ItemId,
    /// What was found.
    pub found: Finding,
}

/// What a look at an item found.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Finding {
    /// The plate and the papers.
    Plate {
        /// Age of the last electrical test, months; `None`: no record.
        test_age_months: Option<u16>,
        /// Wiped clean and inspected today.
        wiped_today: bool,
        /// Voltage it is rated for, kV.
        rated_kv: Option<Decimal>,
    },
    /// Wiped clean and inspected now; `good`: nothing found.
    Inspected {
        /// Nothing was found.
        good: bool,
    },
    /// Set aside; stays listed.
    OutOfService {
        /// Why.
        why: String,
    },
}

/// An item moved by hand.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Moved {
    /// The item.
    pub item: ItemId,
    /// Where it now is.
    pub to: Place,
}

/// What is known of the line order.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct OrderStatus {
    /// Order number.
    pub order: String,
    /// Its state.
    pub state: OrderState,
    /// Terminals named.
    pub terminals: Vec<String>,
    /// Whether it was read back and confirmed.
    pub read_back: bool,
    /// Structures that it covers; empty: not said.
    pub covers: Vec<String>,
    /// What the operator says of the line, if anything.
    pub line_state: Option<String>,
}

/// State of the line order.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum OrderState {
    /// In effect.
    InEffect,
    /// No longer in effect; is a stop.
    Lapsed,
    /// Released by the holder at the end of the work.
    Released,
    /// Released by somebody else; is a stop.
    ReleasedByOthers {
        /// By whom.
        by: String,
    },
}

/// A note.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Note {
    /// What it says.
    pub text: String,
    /// The entry that it is about: the reason of a stop, a reviewed late note, a closed item.
    pub about: Option<EntryHash>,
    /// What it does beside being read.
    pub kind: NoteKind,
}

/// Kinds of note.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum NoteKind {
    /// Nothing.
    Plain,
    /// Something was done earlier and not recorded then: opens nothing, puts marks in doubt.
    Late {
        /// The check that was done.
        step: StepId,
        /// The check.
        check: CheckId,
        /// The mark that is in doubt.
        mark: Option<MarkId>,
    },
    /// The supervisor has reviewed the late note in `about`.
    Reviewed,
    /// The reason of the stop in `about`.
    StopReason,
    /// Closes an open item.
    ClosesItem {
        /// Its words.
        item: String,
    },
    /// The holder says that things are still so after a long hold by loss.
    StillSo,
    /// The outgoing person asks for a relief of this role.
    ReliefWanted {
        /// The role.
        role: RoleId,
    },
    /// The supervisor mutes the calls of a device off the roster.
    Mute {
        /// Its key.
        key: DeviceKey,
    },
    /// A press that the own node refused, kept for the replay.
    Refused {
        /// Stable words of the reasons.
        codes: Vec<String>,
    },
    /// The words go with a picture. Only its name is in the log: the bytes travel behind the entries
    /// (`photos`), and whether they are here means nothing to any rule.
    Photo(Photo),
}

/// Clocks of two devices.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ClockSample {
    /// The other device.
    pub device: DeviceTag,
    /// Its wall clock less ours, ms, at the middle of the round trip.
    pub ahead_ms: i64,
    /// Half the round trip, ms: the doubt of it.
    pub doubt_ms: u32,
}

/// Suspension.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Suspend {
    /// Where the author says that the job stands.
    pub state: String,
    /// Who may resume.
    pub resume_by: Person,
    /// The head count that it rests on.
    pub heads: Option<EntryHash>,
    /// Tools that went out and came back.
    pub tools_out: u32,
    /// Tools that came back.
    pub tools_back: u32,
}

/// A new day.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ResumeDay {
    /// The suspension that it goes on from.
    pub suspend: EntryHash,
}

/// Close.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Close {
    /// Who was known alive.
    pub evidence: Evidence,
}

/// Voids an entry of an unknown kind.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Void {
    /// The entry.
    pub entry: EntryHash,
}

impl Body {
    /// Whether this entry stops the work by itself, whatever else is so.
    #[must_use]
    pub fn is_stop(&self) -> bool {
        match self {
            Self::Stop(_) | Self::Withdraw(_) | Self::Suspend(_) => true,
            Self::OrderStatus(status) => {
                matches!(
                    status.state,
                    OrderState::Lapsed | OrderState::ReleasedByOthers { .. }
                )
            }
            _ => false,
        }
    }
}

impl Body {
    /// How many kinds this version knows; positions from here on are [`Body::Unknown`].
    pub const KNOWN_KINDS: u32 = 41;
}
