//! Attempt: a person's act, from the press to the entry or the refusal.
//! Owns: nothing.   Gives: entries on their way, replies.
//! May use: bodies, gate's judgement.   Never: a rule of its own about what counts.
//!
//! The judgement at the press is a courtesy by the same functions that judge the entry later: what could
//! not count is not written, unless it says something that others must know (a value beyond its limit).

use crate::bounds::ARMED_MS;
use crate::engine::bodies::{self, Known, pressed};
use crate::engine::command::{Command, CommandId, Outcome};
use crate::engine::device::Engine;
use crate::engine::output::Effect;
use crate::engine::own::Armed;
use crate::ids::DeviceKey;
use crate::log::entry::{Body, Note, NoteKind};
use crate::plan::{Expects, Plan};
use crate::reason::Reason;
use crate::time::Tick;

/// A command waits so long for the own chain to be known whole after a start, ms.
const RECOVERY_WAIT_MS: u64 = 6_000;

/// Whether fresh beacons may lift this within moments.
fn passes_by_waiting(reason: &Reason) -> bool {
    matches!(
        reason,
        Reason::NoContact { .. }
            | Reason::NotLevel { .. }
            | Reason::NotQuiet { .. }
            | Reason::NotKnown { .. }
    )
}

/// Whether it is about what was said rather than about the moment: then it is recorded, and does not count.
fn is_of_the_answer(plan: &Plan, body: &Body, reason: &Reason) -> bool {
    let Body::Acknowledge(ack) = body else {
        return false;
    };
    let expects = plan
        .step(&ack.step)
        .and_then(|step| step.check(&ack.check))
        .map(|check| &check.expects);
    match reason {
        Reason::OutOfLimit { .. }
        | Reason::IdentityMismatch { .. }
        | Reason::NeedsSecondReader { .. }
        | Reason::Conflict { .. }
        | Reason::CannotConfirm { .. } => true,
        // What others must know: another answer, a tally that is short. That the order is not in effect, or
        // that heads are missing, is no answer of this person's.
        Reason::AnswerNotPassing { .. } => matches!(expects, Some(Expects::OneOf { .. })),
        Reason::NotAccounted { .. } => matches!(expects, Some(Expects::Tally { .. })),
        _ => false,
    }
}

impl Engine {
    /// The bodies of a command with what this device knows filled in.
    pub(super) fn bodies(&self, command: &Command) -> Result<Vec<Body>, Vec<Reason>> {
        let known = Known {
            me: self.me,
            evidence: &|steps| self.evidence(steps),
            age_ms: &|ix| self.most_age_ms(ix, self.now),
            in_contact: &|device: &DeviceKey| self.is_in_contact(device),
            said_held: &|device: &DeviceKey| {
                self.watch
                    .newest_have(device)
                    .map(|have| have.iter().map(|(tag, count)| (*tag, *count)).collect())
                    .unwrap_or_default()
            },
        };
        bodies::bodies(&self.job, &known, command)
    }

    /// Tries a command now. `until`: it has been waiting for fresh evidence, and does so until then.
    pub(super) fn attempt(
        &mut self,
        id: CommandId,
        command: Command,
        until: Option<Tick>,
        out: &mut Vec<Effect>,
    ) {
        if self.disk_failed_at.is_some() {
            let reasons = vec![Reason::DiskFailed];
            self.refuse(id, &command, reasons, out);
            return;
        }
        if !self.recovered {
            let reasons = self.not_recovered();
            self.arm_or_refuse(id, command, until, RECOVERY_WAIT_MS, reasons, out);
            return;
        }
        let awaited = self.stops_awaited(&command);
        if !awaited.is_empty() && until.is_none_or(|until| until > self.now.tick) {
            self.arm_or_refuse(id, command, until, ARMED_MS, awaited, out);
            return;
        }
        let bodies = match self.bodies(&command) {
            Ok(bodies) => bodies,
            Err(reasons) => {
                // Nothing to hear is no answer while a stop is shown that cannot be answered yet.
                let reasons = if awaited.is_empty() { reasons } else { awaited };
                self.refuse(id, &command, reasons, out);
                return;
            }
        };
        let mut reasons: Vec<Reason> = bodies
            .iter()
            .flat_map(|body| {
                let plan = self.job.plan();
                let mut reasons = self.job.judge(self.me, body);
                reasons.retain(|reason| !is_of_the_answer(plan, body, reason));
                reasons
            })
            .map(|reason| self.said_better(reason))
            .collect();
        reasons.sort();
        reasons.dedup();
        if reasons.is_empty() {
            self.write_all(id, &command, bodies, out);
        } else if reasons.iter().all(passes_by_waiting) {
            self.arm_or_refuse(id, command, until, ARMED_MS, reasons, out);
        } else {
            self.refuse(id, &command, reasons, out);
        }
    }

    /// For a press 'heard': whose stops are shown here already and are not part of the log yet, so that
    /// they cannot be named before.
    fn stops_awaited(&self, command: &Command) -> Vec<Reason> {
        let Command::Heard { stop } = command else {
            return Vec::new();
        };
        self.loose_stops()
            .into_iter()
            .filter(|loose| loose.content.author != self.me)
            .filter(|loose| stop.is_none_or(|stop| stop == loose.hash))
            .filter(|loose| self.job.graph().find(&loose.hash).is_none())
            .map(|loose| Reason::NotLevel {
                device: loose.content.author,
            })
            .collect()
    }

    /// Why there is no proof of a device that is heard: its stop is pressed, or it has said more than is here.
    fn said_better(&self, reason: Reason) -> Reason {
        match reason {
            Reason::NoContact {
                device,
                age_ms: None,
            } if self.is_in_contact(&device) => {
                if self.watch.standing(&device, self.now.tick).quiet {
                    Reason::NotLevel { device }
                } else {
                    Reason::NotQuiet { device }
                }
            }
            other => other,
        }
    }

    /// Whether there is a proof of life of a device within the watch limit.
    fn is_in_contact(&self, device: &DeviceKey) -> bool {
        let limit_ms = self.job.plan().times.watch_limit_ms;
        self.watch
            .proved_at(device)
            .is_some_and(|since| self.now.tick.since(since) <= limit_ms)
    }

    fn write_all(
        &mut self,
        id: CommandId,
        command: &Command,
        bodies: Vec<Body>,
        out: &mut Vec<Effect>,
    ) {
        let last = bodies.len().saturating_sub(1);
        for (at, body) in bodies.into_iter().enumerate() {
            let reply = (at == last).then_some(id);
            let is_stop = body.is_stop();
            match self.write(body, reply, out) {
                Ok(entry) if is_stop => self.stop_written(&entry, out),
                Ok(_) => {}
                Err(reasons) => {
                    self.refuse(id, command, reasons, out);
                    return;
                }
            }
        }
    }

    fn arm_or_refuse(
        &mut self,
        id: CommandId,
        command: Command,
        until: Option<Tick>,
        wait_ms: u64,
        reasons: Vec<Reason>,
        out: &mut Vec<Effect>,
    ) {
        let until = until.unwrap_or_else(|| self.now.tick.plus(wait_ms));
        if until > self.now.tick {
            self.own.armed.push(Armed { id, command, until });
        } else {
            self.refuse(id, &command, reasons, out);
        }
    }

    /// Whose answer about the own chain is missing after a start.
    fn not_recovered(&self) -> Vec<Reason> {
        let silent: Vec<Reason> = self
            .others()
            .iter()
            .filter(|other| self.watch.standing(other, self.now.tick).age_ms.is_none())
            .map(|other| Reason::NoContact {
                device: *other,
                age_ms: None,
            })
            .collect();
        if silent.is_empty() {
            vec![Reason::NotLevel { device: self.me }]
        } else {
            silent
        }
    }

    /// Answers that nothing was recorded, and keeps a note of the press for the replay.
    pub(super) fn refuse(
        &mut self,
        id: CommandId,
        command: &Command,
        mut reasons: Vec<Reason>,
        out: &mut Vec<Effect>,
    ) {
        reasons.sort();
        reasons.dedup();
        if reasons == [Reason::Duplicate] {
            let outcome = Outcome::AlreadySo;
            out.push(Effect::Reply { id, outcome });
            return;
        }
        let mut codes: Vec<String> = reasons.iter().map(|r| r.code().to_owned()).collect();
        codes.dedup();
        out.push(Effect::Reply {
            id,
            outcome: Outcome::Refused { reasons },
        });
        let what = pressed(command);
        let may_write = self.recovered
            && self.disk_failed_at.is_none()
            && self.own.pending.is_empty()
            && self.job.roster().present(&self.me);
        if may_write && self.acts.refused(&what, &codes, self.now.tick) {
            let body = Body::Note(Note {
                text: what,
                about: None,
                kind: NoteKind::Refused { codes },
            });
            let _ = self.write(body, None, out);
        }
    }
}
