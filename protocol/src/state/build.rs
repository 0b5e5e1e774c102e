//! Build: puts a status together from its parts.
//! Owns: nothing.   Gives: `status`.
//! May use: every other file of this room.   Never: keeps anything between two uses.

use super::asked::{Seen, asked};
use super::call::call;
use super::crew::{crew, proposals, stops, unsynced};
use super::digest::digest;
use super::shown::shown;
use super::steps::steps;
use super::work::{conditions, handoffs, items, mark_statuses};
use super::{Call, CallWord, JobState, Local, Status, StopStatus};
use crate::gate::{Job, Verdict};
use crate::ids::EntryHash;
use crate::log::entry::Body;
use crate::log::graph::EntryIx;
use crate::time::Stamp;
use std::collections::BTreeSet;

/// All that this device shows its holder now.
#[must_use]
pub fn status(job: &Job, local: &Local) -> Status {
    let graph = job.graph();
    let member = job.roster().members.get(&local.me);
    let call = call(job, local);
    let stops = stops(job, local);
    let steps = steps(job, local);
    let conditions = conditions(job, local);
    let asked = asked(
        job,
        local,
        &Seen {
            word: call.word,
            closed: job.is_closed(),
            steps: &steps,
            stops: &stops,
            conditions: &conditions,
        },
    );
    let mut status = Status {
        job: job.id(),
        title: job.plan().title.clone(),
        units: job.plan().units,
        device: local.me,
        boot: local.boot,
        person: member.map(|member| member.person.clone()),
        roles: member.map_or_else(Vec::new, |member| member.roles.clone()),
        job_state: job_state(job, &call, &stops),
        call,
        plan_version: job.plan_version(),
        briefed: job.briefed(&local.me),
        steps,
        stops,
        crew: crew(job, local),
        office: job.office(),
        conditions,
        items: items(job),
        handoffs: handoffs(job, local),
        marks: mark_statuses(job),
        asked,
        open_items: open_items(job),
        proposals: proposals(job),
        alarms: local.alarms.to_vec(),
        entries: u32::try_from(graph.len()).unwrap_or(u32::MAX),
        unsynced: unsynced(job, local),
        digest: digest(graph),
        stamp: newest_stamp(job),
        wall: local.now.wall,
        shown: Vec::new(),
    };
    status.shown = shown(job, local, &status);
    status
}

/// The state of the job as a whole.
fn job_state(job: &Job, call: &Call, stops: &[StopStatus]) -> JobState {
    match call.word {
        CallWord::Proceed => JobState::Running,
        CallWord::Hold if job.is_closed() => JobState::Closed,
        CallWord::Hold => JobState::Hold,
        CallWord::StopWork => {
            let any = |kind: &str| stops.iter().any(|stop| stop.kind == kind);
            let exit_under_way = job
                .exit_plan()
                .is_some_and(|exit| exit.steps.iter().any(|step| !job.complete().contains(step)));
            if any("emergency") {
                JobState::Emergency
            } else if any("suspend") {
                JobState::Suspended
            } else if exit_under_way {
                JobState::StopExit
            } else {
                JobState::Stop
            }
        }
    }
}

/// Items left open by asks that were released.
fn open_items(job: &Job) -> Vec<String> {
    let graph = job.graph();
    let released: BTreeSet<EntryHash> = job
        .facts()
        .releases(graph, graph.all())
        .into_iter()
        .filter(|&ix| job.verdict(ix) == Verdict::Counts)
        .filter_map(|ix| match graph.body(ix) {
            Body::Release(release) => Some(release.ask),
            _ => None,
        })
        .collect();
    job.facts().open_items(graph, graph.all(), &|ask: EntryIx| {
        released.contains(&graph.hash(ask))
    })
}

fn newest_stamp(job: &Job) -> Stamp {
    let graph = job.graph();
    graph
        .tips()
        .into_iter()
        .map(|ix| graph.content(ix).stamp)
        .max()
        .unwrap_or_default()
}
