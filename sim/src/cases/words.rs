//! Words: the case form's words for the reasons that devices give.
//! Owns: the table.   Gives: `of`.
//! May use: protocol's reasons.   Never: a sentence for people (node words those).

use gantline_protocol::reason::Reason;

/// The words that a reason is in a case file.
#[must_use]
pub fn of(reason: &Reason) -> &'static [&'static str] {
    match reason {
        Reason::NotUnlocked { .. } | Reason::NotKnown { .. } => &["not_unlocked"],
        Reason::WrongRole { .. } | Reason::NotYours | Reason::Exclusive { .. } => &["wrong_role"],
        Reason::Proxy { .. } => &["proxy"],
        Reason::NotEnrolled { .. } | Reason::NotEnrolledThere { .. } | Reason::Removed { .. } => {
            &["not_enrolled"]
        }
        Reason::NotBriefed { .. } | Reason::PlanChanged { .. } => &["not_briefed"],
        Reason::StopActive { .. }
        | Reason::CrossedStop { .. }
        | Reason::GivenBeforeStop { .. }
        | Reason::Suspended => &["stop_active"],
        // What the author had not seen takes the check back: it is to be given again.
        Reason::TakenBack { .. } => &["not_unlocked"],
        Reason::HoldActive
        | Reason::RoleVacant { .. }
        | Reason::StillSo
        | Reason::NothingOpen
        | Reason::Closed
        | Reason::DiskFailed
        | Reason::NeedsVersion { .. } => &["hold_active"],
        // A condition that ran out is a hold, and says why.
        Reason::Stale { .. } | Reason::ConditionUnknown { .. } => &["stale", "hold_active"],
        Reason::ReadyStale { .. } => &["stale"],
        Reason::ConditionOut { .. } => &["out_of_limit", "hold_active"],
        Reason::ConditionTimer { .. } => &["out_of_limit", "stale", "hold_active"],
        Reason::OutOfLimit { .. } => &["out_of_limit"],
        Reason::Conflict { .. }
        | Reason::CannotConfirm { .. }
        | Reason::AnswerNotPassing { .. } => &["conflict"],
        Reason::WrongAnswerForm { .. }
        | Reason::NeedsSecondReader { .. }
        | Reason::Missing { .. }
        | Reason::Incomplete { .. }
        | Reason::NoSuchCheck { .. } => &["incomplete"],
        Reason::ToolNotFit { .. } => &["tool_not_fit"],
        Reason::ItemNotThere { .. } | Reason::MarkNotSo { .. } | Reason::NotAccounted { .. } => {
            &["not_accounted"]
        }
        Reason::IdentityMismatch { .. } => &["identity_mismatch"],
        Reason::MissingHandoff => &["missing_handoff"],
        Reason::ReliefIncomplete => &["relief_incomplete"],
        Reason::Duplicate => &["duplicate"],
        Reason::Late => &["late"],
        Reason::NoContact { .. }
        | Reason::NotLevel { .. }
        | Reason::NotQuiet { .. }
        | Reason::PageSilent => &["no_contact", "hold_active"],
        Reason::NotSafeState => &["not_safe_state"],
        Reason::Fork { .. } => &["fork"],
    }
}
