//! Steps: every step and check as this device may show it.
//! Owns: nothing.   Gives: `steps`, and what of a blind second look is kept back.
//! May use: gate, facts, looks, local.   Never: another's answer of a blind look before the own one.

use super::call::known;
use super::looks::{self, Look, Worth};
use super::{CheckStatus, Given, Local, StepState, StepStatus};
use crate::gate::{Job, Verdict};
use crate::ids::{DeviceKey, Person, RoleId};
use crate::log::entry::{Acknowledge, Body, Said};
use crate::log::graph::EntryIx;
use crate::plan::{Check, Step, Who};
use crate::reason::Reason;
use std::collections::BTreeSet;

/// The people of devices that are on the roster no longer have a call sign; theirs is not known.
pub(super) fn person_of(job: &Job, device: &DeviceKey) -> Person {
    job.roster().person(device).cloned().unwrap_or_else(|| {
        // A call sign is at most 24 characters, a tag has 16.
        Person::try_from(device.tag().to_string()).unwrap_or_else(|_| job.founding().person.clone())
    })
}

/// Why an acknowledgement does not count; empty: it does.
pub(super) fn reasons_of(job: &Job, ix: EntryIx) -> Vec<Reason> {
    match job.verdict(ix) {
        Verdict::Counts => Vec::new(),
        Verdict::NotCounted(reasons) | Verdict::Information(reasons) => reasons,
    }
}

/// An acknowledgement of a check with its verdict.
pub(super) struct Answer<'a> {
    pub(super) ix: EntryIx,
    pub(super) device: DeviceKey,
    pub(super) acknowledge: &'a Acknowledge,
    pub(super) reasons: Vec<Reason>,
    /// Whether this device may show it.
    pub(super) shown: bool,
}

/// The newest acknowledgement of a check by each device and every counted one, oldest first; of a complete
/// check the counted ones.
pub(super) fn answers<'a>(
    job: &'a Job,
    local: &Local,
    step: &Step,
    check: &Check,
    done: bool,
) -> Vec<Answer<'a>> {
    let graph = job.graph();
    if done {
        // What a complete check rests on; what did not count towards it is the replay's to tell.
        return job
            .given(&step.id, &check.id)
            .into_iter()
            .filter_map(|ix| match graph.body(ix) {
                Body::Acknowledge(acknowledge) => Some(Answer {
                    ix,
                    device: graph.author(ix),
                    acknowledge,
                    reasons: Vec::new(),
                    shown: true,
                }),
                _ => None,
            })
            .collect();
    }
    let newest = job
        .facts()
        .newest_said(graph, graph.all(), &step.id, &check.id);
    let mut listed: BTreeSet<EntryIx> = newest.into_iter().collect();
    listed.extend(job.given(&step.id, &check.id));
    let kept_back = if is_blind(check) {
        kept_back(job, local.me, step, check)
    } else {
        BTreeSet::new()
    };
    let mut answers: Vec<Answer> = listed
        .into_iter()
        .filter_map(|ix| match graph.body(ix) {
            Body::Acknowledge(acknowledge) => Some(Answer {
                ix,
                device: graph.author(ix),
                acknowledge,
                reasons: reasons_of(job, ix),
                shown: !kept_back.contains(&ix),
            }),
            _ => None,
        })
        .collect();
    answers.sort_by_key(|answer| job.facts().rank(graph, answer.ix));
    answers
}

/// The looks at a blind check, passing or not, in an order that keeps pasts first.
fn looks_at<'a>(job: &'a Job, step: &Step, check: &Check) -> Vec<Look<'a>> {
    let graph = job.graph();
    let said = job.facts().said(graph, graph.all(), &step.id, &check.id);
    said.into_iter()
        .filter_map(|ix| match graph.body(ix) {
            Body::Acknowledge(acknowledge) => Some(Look {
                ix,
                device: graph.author(ix),
                person: job.roster().person(&graph.author(ix)),
                said: &acknowledge.said,
                change: acknowledge.change.is_some(),
                stops: job.is_stop(ix),
                worth: Worth::of(&reasons_of(job, ix)),
            }),
            _ => None,
        })
        .collect()
}

/// Looks at a check that is not complete which this device may not show.
fn kept_back(job: &Job, me: DeviceKey, step: &Step, check: &Check) -> BTreeSet<EntryIx> {
    let looks = looks_at(job, step, check);
    let shown = looks::shown(job.graph(), &looks, me);
    let hidden = looks.iter().zip(shown).filter(|(_, shown)| !shown);
    hidden.map(|(look, _)| look.ix).collect()
}

/// Whose look at a blind check stands already in the round that a look given now belongs to.
pub(super) fn looked(job: &Job, step: &Step, check: &Check) -> Vec<DeviceKey> {
    looks::given_now(job.graph(), &looks_at(job, step, check))
}

/// Whether the newest looks at a blind check are of two people who saw alike that it does not pass.
pub(super) fn agreed_not_to_pass(job: &Job, step: &Step, check: &Check) -> bool {
    looks::agreed_not_to_pass(job.graph(), &looks_at(job, step, check))
}

/// Whether an answer is a look that a device may not show its holder yet, in whatever form.
#[must_use]
pub fn is_kept_back_from(job: &Job, me: &DeviceKey, ix: EntryIx) -> bool {
    let Body::Acknowledge(ack) = job.graph().body(ix) else {
        return false;
    };
    let planned = job.plan().step(&ack.step);
    planned
        .and_then(|step| Some((step, step.check(&ack.check)?)))
        .is_some_and(|(step, check)| {
            is_blind(check)
                && !job.check_done(&step.id, &check.id)
                && kept_back(job, *me, step, check).contains(&ix)
        })
}

fn is_blind(check: &Check) -> bool {
    matches!(check.who, Who::SecondLook { .. })
}

/// Roles that may acknowledge a check, each once.
fn roles_of(job: &Job, check: &Check) -> Vec<RoleId> {
    let roles: BTreeSet<RoleId> = match &check.who {
        Who::Roles(places) => places.iter().cloned().collect(),
        Who::Each(Some(role)) => BTreeSet::from([role.clone()]),
        Who::Each(None) => job
            .plan()
            .roles
            .iter()
            .map(|role| role.id.clone())
            .collect(),
        Who::SecondLook { first, second } => first.iter().chain(second).cloned().collect(),
        Who::ReadBack { report, repeat } => report.iter().chain(repeat).cloned().collect(),
    };
    roles.into_iter().collect()
}

/// Whether a reason belongs to a check; reasons that name no check belong to every check of the step.
fn is_of_check(reason: &Reason, step: &Step, check: &Check) -> bool {
    match reason {
        Reason::Missing {
            step: s, check: c, ..
        }
        | Reason::NeedsSecondReader { step: s, check: c }
        | Reason::Conflict { step: s, check: c }
        | Reason::CannotConfirm {
            step: s, check: c, ..
        } => s == &step.id && c == &check.id,
        _ => true,
    }
}

/// Whether another's look at a check is kept back from this device.
fn is_kept_back(job: &Job, local: &Local, step: &Step, check: &Check) -> bool {
    is_blind(check)
        && answers(job, local, step, check, job.check_done(&step.id, &check.id))
            .iter()
            .any(|answer| !answer.shown)
}

/// What speaks against the checks of an open step, as far as this device may know it.
pub(super) fn conflicts(job: &Job, local: &Local, step: &Step) -> Vec<Reason> {
    let kept_back: Vec<&Check> = step
        .checks
        .iter()
        .filter(|check| is_kept_back(job, local, step, check))
        .collect();
    job.missing(&step.id)
        .into_iter()
        .filter(|reason| match reason {
            Reason::CannotConfirm { .. }
            | Reason::OutOfLimit { .. }
            | Reason::AnswerNotPassing { .. }
            | Reason::IdentityMismatch { .. }
            | Reason::NotAccounted { .. } => true,
            // Two people have looked by then, and whoever looks now is to say what was done since: a new look
            // that is kept back hides no conflict.
            Reason::Conflict { .. } => true,
            Reason::NeedsSecondReader { check, .. } => {
                !kept_back.iter().any(|hidden| &hidden.id == check)
            }
            _ => false,
        })
        .collect()
}

/// Every step in the plan's order.
pub(super) fn steps(job: &Job, local: &Local) -> Vec<StepStatus> {
    let known = known(job, local);
    job.plan()
        .steps
        .iter()
        .map(|step| {
            let mut state = job.step_state(&step.id);
            if state == StepState::Conflict && conflicts(job, local, step).is_empty() {
                // What speaks against the step is a look that is kept back here.
                state = StepState::Open;
            }
            if state == StepState::Open && !job.known_open(&step.id, &known).is_empty() {
                state = StepState::Locked;
            }
            let open = matches!(state, StepState::Open | StepState::Conflict);
            let graph = job.graph();
            let due = job
                .facts()
                .loads_due(graph, graph.all(), job.plan(), step)
                .filter(|_| open);
            StepStatus {
                loads_due: due.cloned().collect(),
                id: step.id.clone(),
                title: step.title.clone(),
                state,
                hold_point: step.hold_point,
                critical: step.critical,
                checks: checks(job, local, step, state),
            }
        })
        .collect()
}

fn checks(job: &Job, local: &Local, step: &Step, state: StepState) -> Vec<CheckStatus> {
    let missing = if state == StepState::Done {
        Vec::new()
    } else {
        job.missing(&step.id)
    };
    step.checks
        .iter()
        .map(|check| check_status(job, local, step, check, state, &missing))
        .collect()
}

fn check_status(
    job: &Job,
    local: &Local,
    step: &Step,
    check: &Check,
    state: StepState,
    missing: &[Reason],
) -> CheckStatus {
    let done = state == StepState::Done || job.check_done(&step.id, &check.id);
    let answers = answers(job, local, step, check, done);
    let hidden = answers.iter().any(|answer| !answer.shown);
    let mut missing: Vec<Reason> = missing
        .iter()
        .filter(|reason| !done && is_of_check(reason, step, check))
        .cloned()
        .collect();
    let mut waits_for: Vec<RoleId> = missing
        .iter()
        .filter_map(|reason| match reason {
            Reason::Missing { needs, .. } => Some(needs.clone()),
            _ => None,
        })
        .flatten()
        .collect();
    if hidden {
        // Whether the look that is kept back passed must not show through what is still missing.
        waits_for = roles_of(job, check);
        missing.retain(|reason| {
            matches!(reason, Reason::Conflict { .. })
                || !looks::is_about_answer(reason) && !matches!(reason, Reason::Missing { .. })
        });
        missing.push(Reason::Missing {
            step: step.id.clone(),
            check: check.id.clone(),
            needs: waits_for.clone(),
        });
    }
    waits_for.sort();
    waits_for.dedup();
    let given = answers
        .into_iter()
        .map(|answer| Given {
            entry: job.graph().hash(answer.ix),
            by: person_of(job, &answer.device),
            said: answer
                .shown
                .then(|| crate::replay::said(&answer.acknowledge.said)),
            value: match &answer.acknowledge.said {
                Said::Value { value, unit } if answer.shown => Some((*value, unit.clone())),
                _ => None,
            },
            reasons: if answer.shown {
                answer.reasons
            } else {
                Vec::new()
            },
        })
        .collect();
    CheckStatus {
        id: check.id.clone(),
        text: check.text.clone(),
        done,
        given,
        missing,
        waits_for,
    }
}

/// What was said on a measured check, as far as this device may show it.
pub(super) fn measured(job: &Job, local: &Local, step: &Step, check: &Check) -> Vec<Said> {
    let done = job.check_done(&step.id, &check.id);
    answers(job, local, step, check, done)
        .into_iter()
        .filter(|answer| answer.shown)
        .map(|answer| answer.acknowledge.said.clone())
        .collect()
}
