//! Work: conditions, items, handoffs and marks as shown.
//! Owns: nothing.   Gives: the parts of `Status` that facts answer.
//! May use: gate, facts, lines, local.   Never: the call.

use super::lines;
use super::steps::person_of;
use super::{ConditionStatus, HandoffStatus, ItemStatus, Local, MarkStatus};
use crate::facts::{Asked, MarkView, OfferView, marks};
use crate::gate::Job;
use crate::ids::{MarkId, Person};
use crate::log::entry::Body;
use crate::log::graph::EntryIx;
use crate::plan::{Condition, ConditionKind, MarkIs};
use crate::reason::Reason;
use std::collections::BTreeMap;

/// Why a condition is not in bounds and fresh by this device's own clock; `None`: it is.
pub(super) fn against(job: &Job, local: &Local, condition: &Condition) -> Option<Reason> {
    let evidence = lines::evidence(job.plan(), local);
    let asked = Asked {
        author: None,
        past: job.graph().all(),
        roster: job.roster(),
        plan: job.plan(),
        steps: &[],
        waived: &[],
        release_of: None,
    };
    job.facts()
        .judge_condition(job.graph(), &asked, &evidence, condition)
}

/// The newest word on a condition.
pub(super) fn condition_words(job: &Job, condition: &Condition) -> Option<String> {
    let graph = job.graph();
    if condition.kind == ConditionKind::Order {
        let order = job.facts().order(graph, graph.all(), job.plan());
        return order.map(|order| order.words());
    }
    let view = job
        .facts()
        .condition(graph, graph.all(), job.roster(), job.plan(), condition);
    let newest: EntryIx = view.newest?;
    Some(match graph.body(newest) {
        Body::Reading(reading) => match reading.value {
            Some(value) => format!("{value} {}", reading.unit),
            None => "seen".to_owned(),
        },
        Body::Away(_) => "away".to_owned(),
        _ if condition.kind == ConditionKind::NoneSeen => "none seen".to_owned(),
        _ => person_of(job, &graph.author(newest)).to_string(),
    })
}

/// Standing conditions.
pub(super) fn conditions(job: &Job, local: &Local) -> Vec<ConditionStatus> {
    job.plan()
        .conditions
        .iter()
        .map(|condition| {
            let reason = against(job, local, condition);
            let age = local.condition_ages.get(&condition.id);
            ConditionStatus {
                id: condition.id.clone(),
                title: condition.title.clone(),
                good: reason.is_none(),
                reasons: reason.into_iter().collect(),
                value: condition_words(job, condition),
                age_ms: age.map(|(_, age_ms)| *age_ms),
                valid_ms: u64::from(condition.valid_s) * 1000,
            }
        })
        .collect()
}

/// Items.
pub(super) fn items(job: &Job) -> Vec<ItemStatus> {
    let (graph, plan) = (job.graph(), job.plan());
    plan.items
        .iter()
        .map(|item| ItemStatus {
            id: item.id.clone(),
            title: item.title.clone(),
            at: job.facts().custody(graph, graph.all(), plan, &item.id).at,
            unfit: job.facts().unfit(graph, graph.all(), plan, &item.id),
        })
        .collect()
}

/// The fresh ready of an open offer, and for how long still, ms.
pub(super) fn fresh_ready(job: &Job, local: &Local, offer: &OfferView) -> Option<(Person, u64)> {
    let valid_ms = u64::from(job.plan().times.ready_valid_s) * 1000;
    offer
        .readies
        .iter()
        .filter_map(|(device, ready)| {
            let age_ms = local.entry_ages.get(&job.graph().hash(*ready))?;
            let left_ms = valid_ms.checked_sub(*age_ms)?;
            Some((person_of(job, device), left_ms))
        })
        .max_by_key(|(_, left_ms)| *left_ms)
}

/// Handoffs that are not done.
pub(super) fn handoffs(job: &Job, local: &Local) -> Vec<HandoffStatus> {
    let graph = job.graph();
    job.facts()
        .open_offers(graph, graph.all(), job.roster())
        .into_iter()
        .map(|offer| HandoffStatus {
            handoff: offer.handoff.clone(),
            offer: graph.hash(offer.offer),
            item: offer.item.clone(),
            to: offer.to,
            by: person_of(job, &offer.by),
            ready: fresh_ready(job, local, &offer),
            taken: offer.taken,
        })
        .collect()
}

/// What a job that this one continues had left.
fn secured(job: &Job) -> &[MarkIs] {
    job.founding()
        .continues
        .as_ref()
        .map_or(&[][..], |before| &before.secured)
}

/// Marks with what is possible while in doubt.
pub(super) fn mark_views(job: &Job) -> BTreeMap<MarkId, MarkView> {
    let graph = job.graph();
    let late = job.facts().late_marks(graph, graph.all());
    marks(
        job.plan(),
        job.complete(),
        job.reached(),
        secured(job),
        &late,
    )
}

/// Marks.
pub(super) fn mark_statuses(job: &Job) -> Vec<MarkStatus> {
    mark_views(job)
        .into_iter()
        .map(|(id, mark)| MarkStatus {
            id,
            state: mark.state,
            in_doubt: mark.in_doubt,
        })
        .collect()
}
