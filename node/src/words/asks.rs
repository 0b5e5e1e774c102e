//! Asks: what is asked of the holder, how an act went, what sounds, how the job stands; as sentences.
//! Owns: nothing.   Gives: `Words::asked`, `outcome`, `alarm`, `call`, `job_state`.
//! May use: language, protocol's status and outcomes.   Never: a word of any language.

use super::{Sentence, Words, say};
use gantline_protocol::engine::{Alarm, Outcome};
use gantline_protocol::reason::Reason;
use gantline_protocol::state::{AskedOf, CallWord, JobState};

impl Words {
    /// What is asked of the holder of this device.
    #[must_use]
    pub fn asked(&self, asked: &AskedOf) -> Sentence {
        let s = self.language.sentences;
        match asked {
            AskedOf::Accept => say(s.asked_accept, &[]),
            AskedOf::Briefing { .. } => say(s.asked_briefing, &[]),
            AskedOf::Check {
                step,
                check,
                again,
                since,
            } => say(
                if *since {
                    s.asked_check_since
                } else if *again {
                    s.asked_check_again
                } else {
                    s.asked_check
                },
                &[
                    ("step", &self.step(step)),
                    ("check", &self.check(step, check)),
                ],
            ),
            AskedOf::Heard { stop } => say(s.asked_heard, &[("stop", &self.stop(stop))]),
            AskedOf::Ask { .. } => say(s.asked_ask, &[]),
            AskedOf::Agree { .. } => say(s.asked_agree, &[]),
            AskedOf::Condition { condition } => {
                say(s.asked_condition, &[("what", &self.condition(condition))])
            }
            AskedOf::TakeRole { role, .. } => say(s.asked_take_role, &[("role", &self.role(role))]),
            AskedOf::Ready { handoff, .. } => say(s.asked_ready, &[("handoff", handoff.as_str())]),
            AskedOf::Take { handoff, .. } => say(s.asked_take, &[("handoff", handoff.as_str())]),
            AskedOf::StillSo => say(s.still_so, &[]),
            AskedOf::Consent { device, .. } => say(s.asked_consent, &[("who", &self.who(device))]),
            AskedOf::InTheClear => say(s.asked_in_the_clear, &[]),
        }
    }

    /// How an act went.
    #[must_use]
    pub fn outcome(&self, outcome: &Outcome) -> Vec<Sentence> {
        let s = self.language.sentences;
        let with = |first, reasons: &[Reason]| {
            let mut lines = vec![say(first, &[])];
            lines.extend(reasons.iter().map(|reason| self.reason(reason)));
            lines
        };
        match outcome {
            Outcome::Recorded { reasons, .. } if reasons.is_empty() => with(s.recorded, &[]),
            Outcome::Recorded { reasons, .. } => with(s.recorded_not_counted, reasons),
            Outcome::Refused { reasons } => with(s.not_recorded, reasons),
            Outcome::AlreadySo => with(s.already_so, &[]),
        }
    }

    /// The call as it is said.
    #[must_use]
    pub fn call(&self, word: CallWord) -> &'static str {
        let l = self.language.labels;
        match word {
            CallWord::Proceed => l.proceed,
            CallWord::Hold => l.hold,
            CallWord::StopWork => l.stop_work,
        }
    }

    /// The state of the job as a whole.
    #[must_use]
    pub fn job_state(&self, state: JobState) -> &'static str {
        let s = self.language.sentences;
        match state {
            JobState::Running => s.job_running,
            JobState::Hold => s.job_hold,
            JobState::Stop => s.job_stop,
            JobState::StopExit => s.job_stop_exit,
            JobState::Emergency => s.job_emergency,
            JobState::Suspended => s.job_suspended,
            JobState::Closed => s.job_closed,
        }
    }

    /// What sounds.
    #[must_use]
    pub fn alarm(&self, alarm: Alarm) -> Sentence {
        let s = self.language.sentences;
        let two = match alarm {
            Alarm::Stop => s.alarm_stop,
            Alarm::HoldByLoss => s.alarm_hold_by_loss,
            Alarm::Clearance => s.alarm_clearance,
            Alarm::UnknownDevice => s.alarm_unknown_device,
            Alarm::Call => s.alarm_call,
            Alarm::Fork => s.alarm_fork,
        };
        say(two, &[])
    }
}
