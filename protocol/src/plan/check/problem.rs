//! Problem: what can be wrong with a plan that is well written.
//! Owns: nothing.   Gives: `Problem`, `Grade`, `Finding`.
//! May use: ids, decimal.   Never: how it is found (the rest of `check`).

use crate::decimal::Decimal;

/// How much a problem matters.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Grade {
    /// No job is founded on such a plan.
    Error,
    /// Possible, but most likely not what was meant.
    Warning,
}

/// A problem and the place in the plan that has it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Finding {
    /// The place, as a path through the file's keys with indices from 0: `step[2].after[0]`.
    pub at: String,
    /// The place of the first of two, where the problem is that there are two.
    pub first: Option<String>,
    /// The problem.
    pub problem: Problem,
}

/// What can be wrong with a plan.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[allow(
    missing_docs,
    reason = "the fields are the things that the variant's own line names"
)]
pub enum Problem {
    /// Nothing where something must stand.
    #[error("found nothing for `{what}`, expected at least one")]
    Empty { what: &'static str },
    /// Two of one name.
    #[error("found a second {what} `{id}`, expected each once")]
    Twice { what: &'static str, id: String },
    /// A reference to nothing.
    #[error("found unknown {what} `{id}`, expected {}", nearest.as_ref().map_or_else(|| format!("one of the plan's {what}s"), |near| format!("`{near}`")))]
    Unknown {
        what: &'static str,
        id: String,
        nearest: Option<String>,
    },
    /// A role that every job needs.
    #[error("found no role `{role}`, expected one: without it nobody's acknowledgement counts")]
    NoRole { role: &'static str },
    /// A role that must be filled may be empty.
    #[error(
        "found `least = 0` for role `{role}`, expected at least 1: without it nobody's acknowledgement counts"
    )]
    MayBeVacant { role: String },
    /// More than one supervisor.
    #[error("found up to {most} supervisors, expected `most = 1`: exactly one is in office")]
    ManySupervisors { most: u8 },
    /// A role called like the word for everyone.
    #[error("found a role called `all`, expected another name: `each = \"all\"` means everyone")]
    RoleAll,
    /// Fewest above most.
    #[error("found least {least} above most {most}, expected least at or below most")]
    LeastAboveMost { least: String, most: String },
    /// A role that excludes itself.
    #[error("found role `{role}` in its own `not_with`, expected other roles only")]
    NotWithSelf { role: String },
    /// An observer with another duty.
    #[error(
        "found that one person may be `{role}` and observer, expected `not_with` to exclude it: an observer has no other duty"
    )]
    ObserverNotAlone { role: String },
    /// More people than a job can admit.
    #[error("found roles for at least {least} people, expected at most {most}")]
    TooManyPeople { least: u32, most: u32 },
    /// The observer does not agree to a resume.
    #[error("found no observer in `agree_by`, expected one: who watches agrees to a resume")]
    AgreeWithoutObserver,
    /// People aloft do not agree to a resume.
    #[error(
        "found role `{role}` aloft and not in `agree_by`, expected it there: whoever is aloft agrees to a resume"
    )]
    AgreeWithoutAloft { role: String },
    /// A limit that limits nothing.
    #[error("found limit `{limit}` without `least` and `most`, expected at least one")]
    NoBound { limit: String },
    /// A bound that the person who reads the value cannot see.
    #[error(
        "found bound {bound} of limit `{limit}`, expected at most {places} digits after the point: a value is judged as shown"
    )]
    BoundFinerThanShown {
        limit: String,
        bound: Decimal,
        places: u8,
    },
    /// A value that no limit sheet has.
    #[error("found `computed = \"{name}\"` in limit `{limit}`, expected {}", nearest.as_ref().map_or_else(|| "the name of a value of the limit sheet".to_owned(), |near| format!("`{near}`")))]
    ComputedUnknown {
        limit: String,
        name: String,
        nearest: Option<String>,
    },
    /// A value for which the plan gives too little.
    #[error("limit `{limit}` asks for `{name}`, which cannot be computed: {why}")]
    ComputedMissing {
        limit: String,
        name: String,
        why: String,
    },
    /// A value in another unit.
    #[error(
        "found unit `{found}` of limit `{limit}`, expected `{expected}` or the plan's unit for it: `{name}` is computed"
    )]
    ComputedUnit {
        limit: String,
        name: String,
        found: String,
        expected: &'static str,
    },
    /// A value that bounds nothing.
    #[error(
        "limit `{limit}` asks for `{name}`, which is only shown; give `least` or `most` instead"
    )]
    ComputedShown { limit: String, name: String },
    /// A limit that nothing refers to.
    #[error("found limit `{limit}`, to which no check or condition refers")]
    LimitUnused { limit: String },
    /// A number that must be above zero.
    #[error("found {found} for `{what}`, expected more than 0")]
    NotAboveZero { what: &'static str, found: Decimal },
    /// No observer in place.
    #[error(
        "found no condition of kind `presence` owned by the observer, expected one: a device that is alive is not a person who watches"
    )]
    NoPresence,
    /// The line order is not a standing condition.
    #[error(
        "found no condition of kind `order`, expected one where the work rests on a line order"
    )]
    NoOrder,
    /// The line order with another owner.
    #[error(
        "found condition `{condition}` of kind `order` without the supervisor among its owners, expected the supervisor: the supervisor in office holds the order"
    )]
    OrderNotSupervisors { condition: String },
    /// A presence with more than one owner role.
    #[error(
        "found condition `{condition}` of kind `presence` with {roles} owner roles, expected one: the presence of one does not stand for another's"
    )]
    PresenceOfMany { condition: String, roles: usize },
    /// A date that is none.
    #[error("found date `{found}` for item `{item}`, expected one such as 2026-03-14")]
    NotADate { item: String, found: String },
    /// A test date for an item that needs no test.
    #[error("found `tested` for item `{item}` without `test_months`, expected both or neither")]
    TestedWithoutTerm { item: String },
    /// A move of something that is no load.
    #[error("found a move of item `{item}`, expected one with `load = true`")]
    NotALoad { item: String },
    /// A value that a mark does not have.
    #[error("found state `{state}` of mark `{mark}`, expected {}", nearest.as_ref().map_or_else(|| "one of its states".to_owned(), |near| format!("`{near}`")))]
    UnknownState {
        mark: String,
        state: String,
        nearest: Option<String>,
    },
    /// A mark twice in one table of marks.
    #[error("found mark `{mark}` twice in one table, expected one state for it")]
    MarkTwice { mark: String },
    /// A mark that cannot change.
    #[error("found mark `{mark}` with a single state, expected at least two")]
    MarkFixed { mark: String },
    /// A state that nothing sets.
    #[error(
        "found state `{state}` of mark `{mark}`, which it has neither at the start nor by any step"
    )]
    StateNeverSet { mark: String, state: String },
    /// A need that nothing can fill.
    #[error(
        "found a need of mark `{mark}` being `{state}`, which it is neither at the start nor by any step: the step could never be complete"
    )]
    NeedNeverSo { mark: String, state: String },
    /// A rule that cannot be broken, or that is broken by any use of a state.
    #[error(
        "found a rule on mark `{mark}` being `{state}`, which it is neither at the start nor by any step: the rule can never matter"
    )]
    RuleNeverMatters { mark: String, state: String },
    /// A rule with fewer than two marks.
    #[error("found a rule on one mark, expected at least two that must not hold together")]
    RuleOfOne,
    /// A step after itself.
    #[error("found that {} come after one another in a ring, expected an order without rings", ring.join(" → "))]
    Ring { ring: Vec<String> },
    /// A critical step that does not say what to keep secure.
    #[error(
        "found critical step `{step}` without `if_held`, expected what to keep secure when the work is held there"
    )]
    CriticalWithoutHold { step: String },
    /// A step that does not say what to keep secure.
    #[error(
        "found step `{step}` without `if_held`, expected what to keep secure when the work is held there"
    )]
    WithoutHold { step: String },
    /// A check that no crew of the plan could acknowledge.
    #[error(
        "found check `{check}` of step `{step}` that asks for {asked} different people, expected at most {most}: that is all that its roles allow"
    )]
    TooFewPeople {
        step: String,
        check: String,
        asked: usize,
        most: u32,
    },
    /// A check that the smallest crew of the plan could not acknowledge.
    #[error(
        "found check `{check}` of step `{step}` that asks for {asked} different people, where the plan allows a crew of {least} in its roles"
    )]
    CrewMayBeTooSmall {
        step: String,
        check: String,
        asked: usize,
        least: u32,
    },
    /// An answer that is not among the answers.
    #[error("found passing answer `{passes}`, expected one of the answers")]
    PassesNotAnAnswer { passes: String },
    /// One answer is no choice.
    #[error("found {found} answers, expected at least two")]
    NoChoice { found: usize },
    /// Nothing to read back.
    #[error(
        "found a read-back of a plain yes, expected something to repeat: words, a value, an identity"
    )]
    NothingToRepeat,
    /// Nowhere to stop for the night.
    #[error("found no step with `safe_to_leave`, expected one if the job can take more than a day")]
    NeverSafeToLeave,
    /// A time out of its range.
    #[error("found {found} for `{what}`, expected {least} to {most}")]
    TimeOutOfRange {
        what: &'static str,
        found: u64,
        least: u64,
        most: u64,
    },
    /// Unheard for less than the watch limit, and already lost.
    #[error(
        "found `lost_after_ms` {lost} below `watch_limit_ms` {watch}, expected at least as much"
    )]
    LostBeforeHeld { lost: u64, watch: u64 },
    /// More steps than can be proved.
    #[error("found {found} steps, expected at most {most}")]
    TooManySteps { found: usize, most: usize },
    /// More than fits the founding entry.
    #[error(
        "found a plan of {found} bytes when encoded, expected at most {most}: it has to fit one entry"
    )]
    TooLarge { found: usize, most: usize },
}

impl Problem {
    /// Whether a job may be founded in spite of it.
    #[must_use]
    pub fn grade(&self) -> Grade {
        match self {
            Self::AgreeWithoutObserver
            | Self::AgreeWithoutAloft { .. }
            | Self::ObserverNotAlone { .. }
            | Self::LimitUnused { .. }
            | Self::NoOrder
            | Self::TestedWithoutTerm { .. }
            | Self::MarkFixed { .. }
            | Self::StateNeverSet { .. }
            | Self::RuleNeverMatters { .. }
            | Self::RuleOfOne
            | Self::WithoutHold { .. }
            | Self::CrewMayBeTooSmall { .. }
            | Self::NothingToRepeat
            | Self::NeverSafeToLeave => Grade::Warning,
            _ => Grade::Error,
        }
    }
}
