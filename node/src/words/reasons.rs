//! Reasons: why something holds, does not count or was refused, as sentences.
//! Owns: nothing.   Gives: `Words::reason`, `Words::unfit`, `Words::owed`.
//! May use: language, protocol's reasons.   Never: a word of any language.

use super::{Sentence, Words, fill, say, span};
use gantline_protocol::decimal::Decimal;
use gantline_protocol::ids::{ItemId, LimitId};
use gantline_protocol::reason::{Owed, Reason, Unfit};

impl Words {
    /// Why something was refused, does not count, or holds.
    #[must_use]
    pub fn reason(&self, reason: &Reason) -> Sentence {
        let s = self.language.sentences;
        match reason {
            Reason::NotUnlocked { step, before } => say(
                s.not_unlocked,
                &[
                    ("step", &self.step(step)),
                    ("before", &self.step_titled(before)),
                ],
            ),
            Reason::NotKnown { step, device } => say(
                s.not_known,
                &[("who", &self.who(device)), ("step", &self.step(step))],
            ),
            Reason::WrongRole { needs } => say(s.wrong_role, &[("roles", &self.roles(needs))]),
            Reason::Proxy { role } => say(s.proxy, &[("role", &self.role(role))]),
            Reason::NotEnrolled { device } => say(s.not_enrolled, &[("who", &self.who(device))]),
            Reason::NotBriefed { device, .. } if self.me == Some(*device) => {
                say(s.not_briefed_you, &[])
            }
            Reason::NotBriefed { device, .. } => say(s.not_briefed, &[("who", &self.who(device))]),
            Reason::PlanChanged { .. } => say(s.plan_changed, &[]),
            Reason::StopActive { stop } => say(s.stop_active, &[("stop", &self.stop(stop))]),
            Reason::CrossedStop { stop } => say(s.crossed_stop, &[("stop", &self.stop(stop))]),
            Reason::GivenBeforeStop { stop } => {
                say(s.given_before_stop, &[("stop", &self.stop(stop))])
            }
            Reason::TakenBack { .. } => say(s.taken_back, &[]),
            Reason::HoldActive => say(s.hold_active, &[]),
            Reason::RoleVacant { role } => say(s.role_vacant, &[("role", &self.role(role))]),
            Reason::Stale {
                condition,
                age_ms,
                valid_ms,
            } => say(
                s.stale,
                &[
                    ("what", &self.condition(condition)),
                    ("ago", &span(age_ms.saturating_sub(*valid_ms))),
                ],
            ),
            Reason::ConditionOut { condition } => {
                say(s.condition_out, &[("what", &self.condition(condition))])
            }
            Reason::ConditionUnknown { condition } => {
                say(s.condition_unknown, &[("what", &self.condition(condition))])
            }
            Reason::ConditionTimer { condition, left_ms } => say(
                s.condition_timer,
                &[
                    ("what", &self.condition(condition)),
                    ("left", &span(*left_ms)),
                ],
            ),
            Reason::OutOfLimit {
                limit,
                value,
                least,
                most,
            } => self.out_of_limit(limit, *value, *least, *most),
            Reason::AnswerNotPassing { found, expected } => say(
                s.answer_not_passing,
                &[("found", found), ("expected", expected)],
            ),
            Reason::WrongAnswerForm { expected } => {
                say(s.wrong_answer_form, &[("expected", expected)])
            }
            Reason::NeedsSecondReader { .. } => say(s.needs_second_reader, &[]),
            Reason::Conflict { step, check } => {
                say(s.conflict, &[("check", &self.check(step, check))])
            }
            Reason::CannotConfirm { step, check, by } => say(
                s.cannot_confirm,
                &[("who", &self.who(by)), ("check", &self.check(step, check))],
            ),
            Reason::Missing { step, check, needs } => say(
                s.missing,
                &[
                    ("roles", &self.roles(needs)),
                    ("check", &self.check(step, check)),
                ],
            ),
            Reason::ToolNotFit { item, why } => self.unfit(item, *why),
            Reason::ItemNotThere { item } => say(s.item_not_there, &[("item", &self.item(item))]),
            Reason::MarkNotSo { mark } => say(s.mark_not_so, &[("mark", mark.as_str())]),
            Reason::IdentityMismatch { planned, read } => {
                say(s.identity_mismatch, &[("planned", planned), ("read", read)])
            }
            Reason::MissingHandoff => say(s.missing_handoff, &[]),
            Reason::ReadyStale { age_ms, valid_ms } => match u32::try_from(*age_ms) {
                // As old as can be: this device cannot tell how old it is.
                Err(_) | Ok(u32::MAX) => say(s.ready_age_unknown, &[]),
                Ok(_) => say(
                    s.ready_stale,
                    &[("age", &span(*age_ms)), ("valid", &span(*valid_ms))],
                ),
            },
            Reason::NotYours => say(s.not_yours, &[]),
            Reason::ReliefIncomplete => say(s.relief_incomplete, &[]),
            Reason::Exclusive { role, with } => say(
                s.exclusive,
                &[("role", &self.role(role)), ("with", &self.role(with))],
            ),
            Reason::Duplicate => say(s.duplicate, &[]),
            Reason::Late => say(s.late, &[]),
            Reason::Incomplete { missing } => {
                let owed: Vec<String> = missing.iter().map(|owed| self.owed(owed)).collect();
                say(s.incomplete, &[("owed", &owed.join("; "))])
            }
            Reason::NoContact { device, age_ms } => match age_ms {
                Some(age_ms) => say(
                    s.no_contact,
                    &[("who", &self.who(device)), ("age", &span(*age_ms))],
                ),
                None => say(s.no_contact_yet, &[("who", &self.who(device))]),
            },
            Reason::NotEnrolledThere { device } => {
                say(s.not_enrolled_there, &[("who", &self.who(device))])
            }
            Reason::NotLevel { device } => say(s.not_level, &[("who", &self.who(device))]),
            Reason::NotQuiet { device } => say(s.not_quiet, &[("who", &self.who(device))]),
            Reason::PageSilent => say(s.page_silent, &[]),
            Reason::NotAccounted { what } => say(s.not_accounted, &[("what", what)]),
            Reason::NotSafeState => say(s.not_safe_state, &[]),
            Reason::Fork { device } => say(s.fork, &[("who", &self.who(device))]),
            Reason::Removed { device } => say(s.removed, &[("who", &self.who(device))]),
            Reason::NeedsVersion { device } => say(s.needs_version, &[("who", &self.who(device))]),
            Reason::Closed => say(s.closed, &[]),
            Reason::Suspended => say(s.suspended, &[]),
            Reason::StillSo => say(s.still_so, &[]),
            Reason::DiskFailed => say(s.disk_failed, &[]),
            Reason::NothingOpen => say(s.nothing_open, &[]),
            Reason::NoSuchCheck { step, check } => say(
                s.no_such_check,
                &[("check", check.as_str()), ("step", step.as_str())],
            ),
        }
    }

    /// A reason in which a time runs, as it is read aloud; `None`: as it is shown. Of the rest nothing has to be said,
    /// so this match, unlike the others, names only some.
    #[must_use]
    pub fn reason_aloud(&self, reason: &Reason) -> Option<String> {
        let s = self.language.sentences;
        match reason {
            Reason::NoContact {
                device,
                age_ms: Some(_),
            } => Some(fill(s.no_contact_aloud, &[("who", &self.who(device))])),
            Reason::Stale { condition, .. } => {
                Some(fill(s.stale_aloud, &[("what", &self.condition(condition))]))
            }
            Reason::ConditionTimer { condition, .. } => Some(fill(
                s.condition_timer_aloud,
                &[("what", &self.condition(condition))],
            )),
            Reason::ReadyStale { .. } => Some(s.ready_stale_aloud.to_owned()),
            _ => None,
        }
    }

    fn out_of_limit(
        &self,
        limit: &LimitId,
        value: Decimal,
        least: Option<Decimal>,
        most: Option<Decimal>,
    ) -> Sentence {
        let s = self.language.sentences;
        let with_unit = |value: Decimal| match self.units.get(limit) {
            Some(unit) => format!("{value} {unit}"),
            None => value.to_string(),
        };
        let bound = match (least, most) {
            (Some(least), None) => fill(s.bound_least, &[("least", &with_unit(least))]),
            (None, Some(most)) => fill(s.bound_most, &[("most", &with_unit(most))]),
            (Some(least), Some(most)) => fill(
                s.bound_between,
                &[("least", &least.to_string()), ("most", &with_unit(most))],
            ),
            (None, None) => limit.to_string(),
        };
        say(
            s.out_of_limit,
            &[("value", &with_unit(value)), ("bound", &bound)],
        )
    }

    /// Why an item may not be used.
    #[must_use]
    pub fn unfit(&self, item: &ItemId, why: Unfit) -> Sentence {
        let s = self.language.sentences;
        let two = match why {
            Unfit::TestPast => s.test_past,
            Unfit::NotInspected => s.not_inspected,
            Unfit::UnderRated => s.under_rated,
            Unfit::OutOfService => s.out_of_service,
            Unfit::Suspect => s.suspect,
            Unfit::NotListed => s.not_listed,
        };
        say(two, &[("item", &self.item(item))])
    }

    /// What somebody still owes, as a clause without a full stop.
    #[must_use]
    pub fn owed(&self, owed: &Owed) -> String {
        let s = self.language.sentences;
        let of = |words: &str, device| fill(words, &[("who", &self.who(device))]);
        match owed {
            Owed::Heard { device, .. } => of(s.owed_heard, device),
            Owed::Ask { .. } => s.owed_ask.to_owned(),
            Owed::Agree { device, .. } => of(s.owed_agree, device),
            Owed::Declined { device, .. } => of(s.owed_declined, device),
            Owed::Briefing { device } => of(s.owed_briefing, device),
            Owed::Condition { condition } => {
                fill(s.owed_condition, &[("what", &self.condition(condition))])
            }
        }
    }
}
