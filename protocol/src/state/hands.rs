//! Hands: may hands be put on the string, and what was done before its turn? For display; it opens nothing.
//! Owns: nothing.   Gives: `string_state`, `hands_off`, `done_early`: words.
//! May use: gate, facts, plan.   Never: a mark's value by anybody's word alone; what the gate lets count.

use super::work::mark_views;
use crate::facts::MarkView;
use crate::gate::Job;
use crate::ids::{DeviceKey, MarkId, Person};
use crate::log::entry::{Body, NoteKind};
use crate::log::graph::EntryIx;
use crate::plan::Check;
use std::collections::BTreeSet;

/// Marks whose name says that they are the static ground on the string.
const GROUND_MARKS: [&str; 2] = ["ground", "static_ground"];
/// The value of such a mark while the ground is on.
const GROUND_ON: &str = "on";
/// The value of any mark for what is neither grounded nor at the line's voltage: charged, as far as anybody knows.
const FLOATING: &str = "floating";

/// grounded or ungrounded; the worse word while in doubt. `None`: the plan has no such mark.
pub(super) fn string_state(job: &Job) -> Option<&'static str> {
    let marks = mark_views(job);
    let ground = |(id, _): &(&MarkId, &MarkView)| GROUND_MARKS.contains(&id.as_str());
    let mut grounds = marks.iter().filter(ground).peekable();
    grounds.peek()?;
    let on = |(id, mark): (&MarkId, &MarkView)| {
        let surely = mark
            .possible
            .iter()
            .all(|state| state.as_str() == GROUND_ON);
        surely || (mark.in_doubt && put_back(job, id))
    };
    Some(if grounds.all(on) {
        "grounded"
    } else {
        "ungrounded"
    })
}

/// Why hands stay off.
pub(super) fn hands_off(job: &Job) -> Vec<String> {
    let mut why = Vec::new();
    if string_state(job) == Some("ungrounded") {
        why.push("string is not grounded".to_owned());
    }
    for (id, mark) in mark_views(job) {
        if mark.possible.iter().any(|state| state.as_str() == FLOATING) {
            why.push(format!("{id} floating"));
        }
    }
    why
}

/// Late notes not yet reviewed that say that something was done while a step before it was not complete.
pub(super) fn done_early(job: &Job) -> Vec<String> {
    let (graph, plan) = (job.graph(), job.plan());
    let notes = job.facts().late_notes(graph, graph.all());
    let mut early: Vec<String> = notes
        .into_iter()
        .filter_map(|ix| match graph.body(ix) {
            Body::Note(note) => match &note.kind {
                NoteKind::Late { step, .. } => plan.step(step),
                _ => None,
            },
            _ => None,
        })
        .flat_map(|step| {
            let before = step.after.iter();
            before
                .filter(|before| !job.complete().contains(*before))
                .map(move |before| format!("{} before {before}", step.id))
        })
        .collect();
    early.dedup();
    early
}

/// Whether a ground that is in doubt was put back: for every check of a step that sets it, somebody who may give
/// that check has said so as made safe, at least two people in all, and each knew of every late note on the mark
/// and of every stop in force.
fn put_back(job: &Job, mark: &MarkId) -> bool {
    let graph = job.graph();
    let notes = job.facts().late_notes(graph, graph.all());
    let of_mark = notes.into_iter().filter(|&ix| {
        matches!(graph.body(ix), Body::Note(note)
            if matches!(&note.kind, NoteKind::Late { mark: Some(of), .. } if of == mark))
    });
    let stops = job.stops().into_iter().map(|stop| stop.entry);
    let since: Vec<EntryIx> = of_mark.chain(stops).collect();
    if since.is_empty() {
        return false;
    }
    let sets_it = |step: &&crate::plan::Step| {
        step.sets
            .iter()
            .any(|set| &set.mark == mark && set.state.as_str() == GROUND_ON)
    };
    job.plan().steps.iter().filter(sets_it).any(|step| {
        let safe: Vec<DeviceKey> = graph
            .iter()
            .filter(|&ix| {
                matches!(graph.body(ix), Body::MakeSafe(safe) if safe.step.as_ref() == Some(&step.id))
                    && since.iter().all(|&older| graph.before(older, ix))
            })
            .map(|ix| graph.author(ix))
            .collect();
        let people: BTreeSet<&Person> = safe
            .iter()
            .filter_map(|device| job.roster().person(device))
            .collect();
        let by_one_who_may = |check: &Check| {
            safe.iter().any(|device| {
                let member = job.roster().members.get(device);
                member.is_some_and(|member| {
                    member.present && member.roles.iter().any(|role| check.who.may(role))
                })
            })
        };
        people.len() >= 2 && step.checks.iter().all(by_one_who_may)
    })
}
