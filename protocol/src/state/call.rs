//! Call: Proceed, Hold or Stop work, with every reason, gravest first (gate, section 5).
//! Owns: nothing; worked out anew at every use.   Gives: `call`.
//! May use: gate, facts, lines, local.   Never: sentences (node words them), what was shown before.

use super::lines;
use super::steps::conflicts;
use super::{Call, CallWord, Local, StepState};
use crate::bounds::PAGE_LIMIT_MS;
use crate::facts::{Asked, covers};
use crate::gate::Job;
use crate::ids::{DeviceKey, EntryHash, StepId};
use crate::log::entry::Body;
use crate::log::graph::Cut;
use crate::plan::{Condition, Plan, Step};
use crate::reason::Reason;
use std::collections::BTreeSet;

/// Steps that are open in the log, conflicts among them, in the plan's order.
pub(super) fn open_steps(job: &Job) -> Vec<&Step> {
    job.plan()
        .steps
        .iter()
        .filter(|step| {
            matches!(
                job.step_state(&step.id),
                StepState::Open | StepState::Conflict
            )
        })
        .collect()
}

/// The step at which the crew is: the first not reached whose predecessors all were. A confirmation that was
/// annulled does not move the crew.
pub(super) fn where_crew_is<'a>(plan: &'a Plan, reached: &BTreeSet<StepId>) -> Option<&'a Step> {
    plan.steps
        .iter()
        .find(|step| {
            !reached.contains(&step.id) && step.after.iter().all(|before| reached.contains(before))
        })
        .or_else(|| plan.steps.last())
}

/// What every other present device is known to hold.
pub(super) fn known<'a>(job: &Job, local: &'a Local) -> Vec<(DeviceKey, &'a Cut)> {
    local
        .contacts
        .iter()
        .filter(|contact| contact.device != local.me && job.roster().present(&contact.device))
        .map(|contact| (contact.device, &contact.holds[..]))
        .collect()
}

/// Stops that are in force here: in the log without their release, or loose.
pub(super) fn stops_in_force(job: &Job, local: &Local) -> Vec<EntryHash> {
    let logged = job
        .in_force()
        .into_iter()
        .map(|stop| job.graph().hash(stop));
    let loose = local
        .loose_stops
        .iter()
        .filter(|entry| job.graph().find(&entry.hash).is_none())
        .map(|entry| entry.hash);
    logged.chain(loose).collect()
}

/// The call.
#[must_use]
pub fn call(job: &Job, local: &Local) -> Call {
    let plan = job.plan();
    let open = open_steps(job);
    let place = where_crew_is(plan, job.reached());
    let step = open.first().copied().or(place);
    let mut call = Call {
        word: CallWord::StopWork,
        reasons: Vec::new(),
        step: step.map(|step| step.id.clone()),
        if_held: place.map_or_else(String::new, |step| step.if_held.clone()),
        by_loss: false,
        good_for_ms: PAGE_LIMIT_MS,
    };
    let stops = stops_in_force(job, local);
    if !stops.is_empty() {
        let suspended = stops
            .iter()
            .filter_map(|stop| job.graph().find(stop))
            .any(|ix| matches!(job.graph().body(ix), Body::Suspend(_)));
        let stops = stops.into_iter().map(|stop| Reason::StopActive { stop });
        call.reasons = stops
            .chain(suspended.then_some(Reason::Suspended))
            .collect();
        return call;
    }
    call.reasons = against_proceed(job, local, &open);
    if call.reasons.is_empty() {
        call.word = CallWord::Proceed;
        let covering = covering(plan, &open);
        call.good_for_ms = lines::good_for_ms(job.roster(), plan, local, &covering);
    } else {
        call.word = CallWord::Hold;
        call.by_loss = call.reasons.iter().any(lines::is_loss);
    }
    call
}

/// Conditions that cover any of these steps.
fn covering<'a>(plan: &'a Plan, steps: &[&Step]) -> Vec<&'a Condition> {
    let ids: Vec<StepId> = steps.iter().map(|step| step.id.clone()).collect();
    plan.conditions
        .iter()
        .filter(|condition| !ids.is_empty() && covers(condition, &ids))
        .collect()
}

/// Every line that does not hold, gravest first.
fn against_proceed(job: &Job, local: &Local, open: &[&Step]) -> Vec<Reason> {
    let (plan, roster) = (job.plan(), job.roster());
    if job.is_closed() {
        return vec![Reason::Closed];
    }
    let mut reasons = lines::own_device(local);
    if !roster.present(&local.me) {
        reasons.push(Reason::NotEnrolled { device: local.me });
    }
    reasons.extend(lines::contact(roster, plan, local));
    reasons.extend(lines::roles_held(roster, plan));
    reasons.extend(lines::steady(roster, local));
    let forks = job.forks_open().into_iter();
    reasons.extend(forks.map(|device| Reason::Fork { device }));
    reasons.extend(unknown_kinds(job));
    let briefed = |device: &DeviceKey| job.briefed(device);
    reasons.extend(lines::briefed(
        roster,
        job.plan_version(),
        local.me,
        &briefed,
    ));
    reasons.extend(in_conflict(job, local, open));
    reasons.extend(no_step(job, local, open));
    reasons.sort_by_key(|reason| lines::gravity(roster, reason));
    let mut seen = BTreeSet::new();
    reasons.retain(|reason| seen.insert(reason.clone()));
    reasons
}

/// Entries of a kind that this version does not know, and that nobody has voided.
fn unknown_kinds(job: &Job) -> Vec<Reason> {
    job.unknown_open()
        .into_iter()
        .map(|ix| Reason::NeedsVersion {
            device: job.graph().author(ix),
        })
        .collect()
}

/// A conflict anywhere holds everyone: answers that differ or do not pass, and what cannot be confirmed.
fn in_conflict(job: &Job, local: &Local, open: &[&Step]) -> Vec<Reason> {
    open.iter()
        .filter(|step| job.step_state(&step.id) == StepState::Conflict)
        .flat_map(|step| conflicts(job, local, step))
        .collect()
}

/// KNOWN and CONDITIONS: why no open step is known to everybody with its conditions in bounds; empty: one is.
fn no_step(job: &Job, local: &Local, open: &[&Step]) -> Vec<Reason> {
    if open.is_empty() {
        return vec![Reason::NothingOpen];
    }
    let known = known(job, local);
    let evidence = lines::evidence(job.plan(), local);
    let mut first = Vec::new();
    for step in open {
        let mut reasons = job.known_open(&step.id, &known);
        let asked = Asked {
            author: None,
            past: job.graph().all(),
            roster: job.roster(),
            plan: job.plan(),
            steps: core::slice::from_ref(&step.id),
            waived: &[],
            release_of: None,
        };
        reasons.extend(job.facts().conditions(job.graph(), &asked, &evidence));
        if reasons.is_empty() {
            return Vec::new();
        }
        if first.is_empty() {
            first = reasons;
        }
    }
    first
}
