//! The plan as values: what the founding entry carries.
//! Owns: nothing.   Gives: `Plan` and its parts, as plain data.
//! May use: ids, decimal, bounds.   Never: text formats (parse), proofs (explore), the log.
//!
//! Lists keep the order of the file. Ids are unique within their list; `plan::check` proves that and
//! every cross reference before a plan is founded, so later rooms look names up and never guess.

use crate::decimal::Decimal;
use crate::ids::{CheckId, ConditionId, ItemId, LimitId, MarkId, MarkState, RoleId, StepId};
use serde::{Deserialize, Serialize};

/// The job as planned.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Plan {
    /// What the job is, in one line.
    pub title: String,
    /// The line and the place.
    pub line: Line,
    /// Units on every screen of this job.
    pub units: Units,
    /// Usual cautions, shown wherever the plan or its limits are.
    pub cautions: Vec<String>,
    /// What the briefing must cover.
    pub briefing: Vec<String>,
    /// Roles, how many of each, and which one person cannot hold together.
    pub roles: Vec<Role>,
    /// Roles whose every present holder agrees to a resume (default: observer and tower).
    pub agree_by: Vec<RoleId>,
    /// Limits that checks and conditions refer to.
    pub limits: Vec<Limit>,
    /// Standing conditions.
    pub conditions: Vec<Condition>,
    /// Tools, lines, grounds, poles, loads.
    pub items: Vec<Item>,
    /// Marks: what is so on the structure, set by completed steps.
    pub marks: Vec<Mark>,
    /// Steps, a graph by `after`.
    pub steps: Vec<Step>,
    /// Marks that must never hold together.
    pub never: Vec<Never>,
    /// Times of the watch and the handoffs.
    pub times: Times,
}

/// The line and the structure, as painted on it and as on the order.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Line {
    /// Name of the line.
    pub name: String,
    /// Nominal voltage, kV phase to phase.
    pub voltage_kv: Decimal,
    /// Circuit.
    pub circuit: String,
    /// Phase worked on.
    pub phase: String,
    /// Structure number.
    pub structure: String,
    /// Kind of string: suspension, dead-end.
    pub string: String,
    /// Terminals at which reclosing is blocked.
    pub terminals: Vec<String>,
    /// Order number, if already known when planned.
    pub order: Option<String>,
    /// Further data of span, conductor, structure and rigging as named values with units, for the limits.
    pub data: Vec<Datum>,
    /// Inputs to the limits that are words, such as the conductor's name.
    pub words: Vec<Word>,
}

/// A named input to the limits.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Datum {
    /// Name, such as `span_ahead`.
    pub name: String,
    /// Value.
    pub value: Decimal,
    /// Unit, such as `m`.
    pub unit: String,
}

/// A named word among the inputs to the limits.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Word {
    /// Name, such as `conductor`.
    pub name: String,
    /// The word.
    pub word: String,
}

/// Units for a whole job; values are read out on the radio, so there is one kind.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Units {
    /// m, kN, km/h, °C.
    Si,
    /// ft, lbf, mph, °F.
    Us,
}

/// A role.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Role {
    /// Its id.
    pub id: RoleId,
    /// Its name on screens.
    pub title: String,
    /// Fewest people before a step may open.
    pub least: u8,
    /// Most people.
    pub most: u8,
    /// Roles that a holder of this one cannot hold as well.
    pub not_with: Vec<RoleId>,
    /// Whether its holders are aloft.
    pub aloft: bool,
}

/// A limit with its source, as carried in the log; never recomputed by a device.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Limit {
    /// Its id.
    pub id: LimitId,
    /// What it limits, in words.
    pub title: String,
    /// Unit of both bounds and of the values judged by it.
    pub unit: String,
    /// Least value that passes, if bounded below.
    pub least: Option<Decimal>,
    /// Greatest value that passes, if bounded above.
    pub most: Option<Decimal>,
    /// Digits after the point that the person sees; a value is judged as shown.
    pub places: u8,
    /// Standard and section, or "common practice", and the inputs used.
    pub source: String,
    /// The value of the limit sheet that its bound was computed as, when the plan was read.
    pub computed: Option<String>,
}

/// A standing condition: something that must stay so.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Condition {
    /// Its id.
    pub id: ConditionId,
    /// What it is, in words.
    pub title: String,
    /// Roles whose holders read or affirm it; only they restore it.
    pub owners: Vec<RoleId>,
    /// How it is known.
    pub kind: ConditionKind,
    /// How long a reading or affirmation is good for, seconds.
    pub valid_s: u32,
    /// How long it must have been inside before a stop may be released, seconds.
    pub stable_s: u32,
    /// Steps that it covers; empty: all.
    pub covers: Vec<StepId>,
    /// Whether it lapses overnight.
    pub lasts: Lasts,
}

/// How a standing condition is known.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum ConditionKind {
    /// A holder of the owning role is there and watching; any act of theirs renews it.
    Presence,
    /// A measured value inside a limit.
    Measured {
        /// The limit.
        limit: LimitId,
    },
    /// None seen: rain, lightning. A sighting starts `valid_s` anew before it may be affirmed.
    NoneSeen,
    /// The line order: every terminal, read back, held by the supervisor in office, structure covered.
    Order,
    /// Said to be so by an owner, such as voice contact with everyone. Unlike a presence it is renewed by
    /// an affirmation only, not by any other act.
    Affirmed,
}

/// How long something once established lasts.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Lasts {
    /// To the end of the job.
    Job,
    /// To the end of the day; asked again by a resume-day.
    Day,
    /// To the end of the shift; asked again by a resume-day.
    Shift,
}

/// A tool, line, ground, sling, pole, hoist or load.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Item {
    /// Its id, as painted on it.
    pub id: ItemId,
    /// What it is.
    pub title: String,
    /// Whether it is a load that moves on the load line rather than a tool.
    pub load: bool,
    /// Where it is when the job starts.
    pub at: Place,
    /// Longest age of its electrical test, months; `None`: needs no test.
    pub test_months: Option<u16>,
    /// Date of its last test as planned (ISO 8601), to be confirmed by the scan of the day.
    pub tested: Option<String>,
    /// Whether it is wiped and inspected each day before use.
    pub daily: bool,
    /// Voltage it is rated for, kV, where that matters.
    pub rated_kv: Option<Decimal>,
    /// Rated working load, kN, where that matters.
    pub rated_kn: Option<Decimal>,
    /// Whether it must be back on the truck or installed before the job may close.
    pub counted: bool,
}

/// Where an item is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// On the truck.
    Truck,
    /// On the ground at the structure.
    Ground,
    /// In the air between ground and tower.
    OnTheLine,
    /// With the people aloft.
    Aloft,
    /// Fixed to the structure.
    Structure,
    /// Fixed to the conductor.
    Conductor,
}

/// A mark and its values.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Mark {
    /// Its id, such as `string`.
    pub id: MarkId,
    /// Its values, such as `carried`.
    pub states: Vec<MarkState>,
    /// Its value when the job starts.
    pub start: MarkState,
}

/// A mark having a value.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
pub struct MarkIs {
    /// The mark.
    pub mark: MarkId,
    /// Its value.
    pub state: MarkState,
}

/// Marks that must never hold together, not even while a step is under way.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Never {
    /// Why, in words.
    pub why: String,
    /// The values that together break the rule.
    pub all: Vec<MarkIs>,
}

/// A step.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Step {
    /// Its id.
    pub id: StepId,
    /// Its name.
    pub title: String,
    /// What to do, in one line.
    pub text: String,
    /// Steps that must be complete before.
    pub after: Vec<StepId>,
    /// A place where everyone waits for the checks.
    pub hold_point: bool,
    /// No way back once done: confirmed by a held press.
    pub critical: bool,
    /// What to keep secure when the work is held here.
    pub if_held: String,
    /// Whether the job may be suspended once this step is complete and the next not begun.
    pub safe_to_leave: bool,
    /// Marks that must hold before its checks count.
    pub needs: Vec<MarkIs>,
    /// Marks that its completion sets.
    pub sets: Vec<MarkIs>,
    /// Items that must be fit, and where, before its checks count.
    pub items: Vec<ItemAt>,
    /// Load moves that must be done before its checks count.
    pub moves: Vec<LoadMove>,
    /// Its checks; at least one.
    pub checks: Vec<Check>,
}

/// An item at a place.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
pub struct ItemAt {
    /// The item.
    pub item: ItemId,
    /// The place.
    pub at: Place,
}

/// A load that has to have been moved to a place by offer, ready, take, done.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
pub struct LoadMove {
    /// The load.
    pub item: ItemId,
    /// Where to.
    pub to: Place,
}

/// A check of a step.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Check {
    /// Its id, unique within the step.
    pub id: CheckId,
    /// The words said on the radio and quoted on the control, such as "Poles carry the string".
    pub text: String,
    /// Who acknowledges, and how many.
    pub who: Who,
    /// What is said.
    pub expects: Expects,
    /// Whether a resume-day asks for it again.
    pub lasts: Lasts,
}

/// Who acknowledges a check.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Who {
    /// One acknowledgement for each place in the list by a holder of that role; different people for
    /// different places. One place: a plain confirm. `[tower, tower]`: two tower workers.
    Roles(Vec<RoleId>),
    /// Every present device that holds the role; `None`: every present device.
    Each(Option<RoleId>),
    /// Two different people, neither shown the other's answer first; different answers are not done.
    SecondLook {
        /// Roles of the first place.
        first: Vec<RoleId>,
        /// Roles of the second place.
        second: Vec<RoleId>,
    },
    /// One reports a value, another repeats it having heard it.
    ReadBack {
        /// Roles that report.
        report: Vec<RoleId>,
        /// Roles that repeat.
        repeat: Vec<RoleId>,
    },
}

/// What an acknowledgement of a check says.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Expects {
    /// Just that it is so.
    Yes,
    /// A measured value within a limit.
    Measured {
        /// The limit, which also has the unit.
        limit: LimitId,
    },
    /// One of several answers, of which one lets the step be complete.
    OneOf {
        /// All answers offered.
        answers: Vec<String>,
        /// The one that passes.
        passes: String,
    },
    /// Structure, circuit and phase as read off the structure; passes if equal to the plan's line.
    Identity,
    /// A free text that is reported and repeated, such as an order number; at least one character.
    Words,
    /// How many went out and how many are back; passes if equal.
    Tally {
        /// What is counted.
        of: String,
    },
    /// That every head is accounted for: the author's newest head count in the past must be complete.
    Heads,
    /// That the line order's state is as said: the newest order status in the past must be this.
    OrderIs {
        /// `true`: in effect at every terminal. `false`: released.
        in_effect: bool,
    },
}

/// Times, all with defaults in `bounds`.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Times {
    /// Oldest proof of life with which a device says Proceed, ms, 2,000 to 10,000.
    pub watch_limit_ms: u64,
    /// Unheard for so long: may be removed without asking its peers' holders, ms.
    pub lost_after_ms: u64,
    /// How long a ready for a load is good for, s.
    pub ready_valid_s: u32,
    /// How long a critical confirm is kept pressed, ms.
    pub press_ms: u32,
}

impl Plan {
    /// The step with this id.
    #[must_use]
    pub fn step(&self, id: &StepId) -> Option<&Step> {
        self.steps.iter().find(|step| &step.id == id)
    }

    /// The limit with this id.
    #[must_use]
    pub fn limit(&self, id: &LimitId) -> Option<&Limit> {
        self.limits.iter().find(|limit| &limit.id == id)
    }

    /// The role with this id.
    #[must_use]
    pub fn role(&self, id: &RoleId) -> Option<&Role> {
        self.roles.iter().find(|role| &role.id == id)
    }

    /// The condition with this id.
    #[must_use]
    pub fn condition(&self, id: &ConditionId) -> Option<&Condition> {
        self.conditions.iter().find(|condition| &condition.id == id)
    }

    /// The mark with this id.
    #[must_use]
    pub fn mark(&self, id: &MarkId) -> Option<&Mark> {
        self.marks.iter().find(|mark| &mark.id == id)
    }

    /// The item with this id.
    #[must_use]
    pub fn item(&self, id: &ItemId) -> Option<&Item> {
        self.items.iter().find(|item| &item.id == id)
    }
}

impl Step {
    /// The check with this id.
    #[must_use]
    pub fn check(&self, id: &CheckId) -> Option<&Check> {
        self.checks.iter().find(|check| &check.id == id)
    }
}

impl Who {
    /// Whether a holder of `role` may acknowledge a check of this kind.
    #[must_use]
    pub fn may(&self, role: &RoleId) -> bool {
        match self {
            Self::Roles(places) => places.contains(role),
            Self::Each(each) => each.as_ref().is_none_or(|each| each == role),
            Self::SecondLook { first, second } => first.contains(role) || second.contains(role),
            Self::ReadBack { report, repeat } => report.contains(role) || repeat.contains(role),
        }
    }
}
