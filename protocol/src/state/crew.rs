//! Crew: devices and their proofs of life, stops with who has and has not heard, proposals.
//! Owns: nothing.   Gives: those parts of `Status`.
//! May use: gate, facts, local.   Never: a ranking of people or of their stops.

use super::steps::person_of;
use super::{CrewStatus, Local, ProposalStatus, StopStatus};
use crate::gate::Job;
use crate::ids::{DeviceKey, Person};
use crate::log::entry::{Body, NoteKind, StopKind};
use crate::log::graph::EntryIx;
use crate::log::wire::Entry;
use crate::reason::Owed;

/// The crew, everyone ever admitted.
pub(super) fn crew(job: &Job, local: &Local) -> Vec<CrewStatus> {
    let forked = job.forks_open();
    job.roster()
        .members
        .iter()
        .map(|(device, member)| {
            let contact = local.contacts.iter().find(|c| c.device == *device);
            let own = *device == local.me;
            CrewStatus {
                device: *device,
                person: member.person.clone(),
                roles: member.roles.clone(),
                present: member.present,
                briefed: job.briefed(device),
                age_ms: contact.and_then(|contact| contact.age_ms),
                quiet: own || contact.is_some_and(|contact| contact.quiet),
                level: own || contact.is_some_and(|contact| contact.level),
                forked: forked.contains(device),
            }
        })
        .collect()
}

/// The stable word for a stop's kind, and why it was called.
pub(super) fn stop_words(body: &Body) -> (&'static str, String) {
    match body {
        Body::Stop(stop) => match &stop.kind {
            StopKind::Work => ("work", stop.why.clone()),
            StopKind::AllStop => ("all_stop", stop.why.clone()),
            StopKind::Emergency => ("emergency", stop.why.clone()),
            StopKind::OrderLost => ("order_lost", stop.why.clone()),
            StopKind::Stranger { words, .. } => ("stranger", words.clone()),
        },
        Body::Withdraw(withdraw) => ("withdraw", withdraw.why.clone()),
        Body::Suspend(suspend) => ("suspend", suspend.state.clone()),
        Body::OrderStatus(_) => ("order_lost", "the line order is no longer in effect".into()),
        Body::Acknowledge(_) => ("withdraw", "another answer to a complete check".into()),
        Body::Cannot(cannot) => ("withdraw", cannot.why.clone()),
        _ => ("work", String::new()),
    }
}

/// Whether a stop was called by a device without a person on the job.
fn is_strangers(body: &Body) -> bool {
    matches!(body, Body::Stop(stop) if matches!(stop.kind, StopKind::Stranger { .. }))
}

/// A reason said later by a note, if none was said with the stop.
fn reason_said_later(job: &Job, stop: EntryIx) -> Option<String> {
    let graph = job.graph();
    let hash = graph.hash(stop);
    job.facts()
        .stop_reasons(graph, graph.all())
        .into_iter()
        .find_map(|ix| match graph.body(ix) {
            Body::Note(note) if note.kind == NoteKind::StopReason && note.about == Some(hash) => {
                Some(note.text.clone())
            }
            _ => None,
        })
}

/// Devices known to hold an entry.
fn held_by(job: &Job, local: &Local, ix: EntryIx) -> Vec<Person> {
    let holds = |device: &&DeviceKey| {
        **device == local.me
            || local
                .contacts
                .iter()
                .any(|c| c.device == **device && job.graph().within(ix, &c.holds))
    };
    job.roster()
        .devices()
        .filter(holds)
        .map(|device| person_of(job, device))
        .collect()
}

/// Stops in force, oldest first; loose ones last.
pub(super) fn stops(job: &Job, local: &Local) -> Vec<StopStatus> {
    let graph = job.graph();
    let mut stops: Vec<StopStatus> = job
        .stops()
        .into_iter()
        .map(|view| {
            let ix = view.entry;
            let body = graph.body(ix);
            let (kind, mut why) = stop_words(body);
            if why.is_empty() {
                why = reason_said_later(job, ix).unwrap_or_default();
            }
            StopStatus {
                entry: graph.hash(ix),
                kind: kind.to_owned(),
                by: (!is_strangers(body)).then(|| person_of(job, &graph.author(ix))),
                repeat: view.repeat.saturating_add(1),
                why,
                wall: graph.content(ix).wall,
                heard: view
                    .heard
                    .iter()
                    .map(|device| person_of(job, device))
                    .collect(),
                not_heard: view
                    .not_heard
                    .iter()
                    .map(|device| person_of(job, device))
                    .collect(),
                held_by: held_by(job, local, ix),
                ask: view.ask,
                cause: view
                    .ask
                    .and_then(|ask| graph.find(&ask))
                    .map_or_else(String::new, |ask| cause(graph.body(ask))),
                owed: view.owed,
            }
        })
        .collect();
    stops.extend(
        local
            .loose_stops
            .iter()
            .filter(|entry| graph.find(&entry.hash).is_none())
            .map(|entry| loose_stop(job, local, entry)),
    );
    stops
}

/// The cause that an ask names.
fn cause(body: &Body) -> String {
    match body {
        Body::Ask(ask) => ask.cause.clone(),
        _ => String::new(),
    }
}

/// A stop that is shown before it is part of the log.
fn loose_stop(job: &Job, local: &Local, entry: &Entry) -> StopStatus {
    let (kind, why) = stop_words(&entry.content.body);
    let author = entry.content.author;
    let others = job.roster().devices().filter(|device| **device != author);
    StopStatus {
        entry: entry.hash,
        kind: kind.to_owned(),
        by: (!is_strangers(&entry.content.body)).then(|| person_of(job, &author)),
        why,
        wall: entry.content.wall,
        heard: vec![person_of(job, &author)],
        not_heard: others.map(|device| person_of(job, device)).collect(),
        held_by: vec![person_of(job, &local.me)],
        ask: None,
        cause: String::new(),
        owed: vec![Owed::Ask { stop: entry.hash }],
        repeat: 1,
    }
}

/// Proposals that are not sealed.
pub(super) fn proposals(job: &Job) -> Vec<ProposalStatus> {
    job.proposals()
        .into_iter()
        .map(|view| ProposalStatus {
            entry: job.graph().hash(view.entry),
            take_over: view.take_over,
            device: view.device,
            consents: view
                .consents
                .iter()
                .map(|device| person_of(job, device))
                .collect(),
            needed: view.needed,
        })
        .collect()
}

/// Own entries that not every present device is known to hold.
pub(super) fn unsynced(job: &Job, local: &Local) -> u32 {
    let graph = job.graph();
    let others: Vec<&DeviceKey> = job
        .roster()
        .devices()
        .filter(|device| **device != local.me)
        .collect();
    graph
        .chains_of(local.me)
        .map(|chain| {
            let at = chain.0 as usize;
            let own = graph.all().get(at).copied().unwrap_or(0);
            let known = others
                .iter()
                .map(|device| {
                    local
                        .contacts
                        .iter()
                        .find(|contact| contact.device == **device)
                        .and_then(|contact| contact.holds.get(at).copied())
                        .unwrap_or(0)
                })
                .min()
                .unwrap_or(own);
            own.saturating_sub(known)
        })
        .sum()
}
