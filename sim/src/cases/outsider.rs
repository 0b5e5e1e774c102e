//! Outsider: what devices off the job do, and what is done to a file behind its node's back.
//! Owns: nothing.   Gives: really signed entries of outsiders, strangers' stops, changed files.
//! May use: stage, the devices' keys.   Never: an entry that an engine has to take.

use super::acts::{Act, Event};
use super::stage::{Stage, Told};
use gantline_protocol::decimal::Decimal;
use gantline_protocol::engine::Input;
use gantline_protocol::ids::EntryHash;
use gantline_protocol::log::entry::{
    Acknowledge, Agree, Body, Evidence, Note, NoteKind, OfferNamed, Offered, Said,
};
use gantline_protocol::log::wire::Entry;
use gantline_protocol::sync::Message;
use std::sync::Arc;

/// Whether a device has no log of the job, and so no node that could refuse a press.
pub fn is_one(stage: &Stage<'_>, device: usize) -> bool {
    stage.world.engine(device).is_none() && stage.world.journal(device).is_empty()
}

/// What such a device does: it signs an entry and gives it to everybody, by itself and through one of the crew.
///
/// # Errors
/// An act that the form has no meaning for.
pub fn act(stage: &mut Stage<'_>, device: usize, event: &Event) -> Result<(), String> {
    let key = stage.world.devices[device].id;
    let crew: Vec<usize> = (0..stage.world.devices.len())
        .filter(|&other| stage.world.engine(other).is_some())
        .collect();
    if let Act::Stop { reason, .. } = &event.act {
        for other in crew {
            let words = reason.clone();
            stage.world.tell(other, Input::StrangerStop { key, words });
        }
        stage.told.entry(event.id.clone()).or_default().stranger = Some(key);
        return Ok(());
    }
    let body = body(stage, event)?;
    let host = stage.world.supervisor();
    let entry = stage.world.signed_by(device, host, body);
    let entry = entry.ok_or("the outsider's entry cannot be signed")?;
    for &to in &crew {
        // As it would come from the outsider itself, and relayed by somebody whom all talk to.
        offer(stage, to, device, &entry.bytes);
        if let Some(&relay) = crew.iter().find(|relay| **relay != to) {
            offer(stage, to, relay, &entry.bytes);
        }
    }
    let told = Told {
        forged: Some(entry.hash),
        ..Told::default()
    };
    stage.told.insert(event.id.clone(), told);
    Ok(())
}

fn offer(stage: &mut Stage<'_>, to: usize, from: usize, bytes: &Arc<[u8]>) {
    let message = Message::Entries(vec![Arc::clone(bytes)]).encode();
    stage.world.receive(to, from, false, message.to_vec());
}

fn body(stage: &Stage<'_>, event: &Event) -> Result<Body, String> {
    Ok(match &event.act {
        Act::Confirm { step, check, .. } | Act::PressConfirm { step, check, .. } => {
            let (step, check) = stage
                .planned
                .check(stage.case, step, check)
                .ok_or_else(|| format!("no check {step} {check}"))?;
            Body::Acknowledge(Acknowledge {
                step,
                check,
                version: 0,
                said: Said::Yes,
                change: None,
                evidence: Evidence::default(),
            })
        }
        Act::ResumeAgree { stop } => Body::Agree(Agree {
            to: newest(stage, |body| matches!(body, Body::Ask(_)))
                .or_else(|| stage.entries(stop).first().copied())
                .unwrap_or(EntryHash::NONE),
        }),
        Act::ReliefAccept { .. } => {
            let offers_a_role = |body: &Body| matches!(body, Body::Offer(offer) if matches!(offer.what, Offered::Role { .. }));
            Body::Take(OfferNamed {
                offer: newest(stage, offers_a_role).unwrap_or(EntryHash::NONE),
                ready_age_ms: 0,
            })
        }
        other => Body::Note(Note {
            text: other.kind().to_owned(),
            about: None,
            kind: NoteKind::Plain,
        }),
    })
}

fn newest(stage: &Stage<'_>, fits: impl Fn(&Body) -> bool) -> Option<EntryHash> {
    let graph = stage.office()?.job().graph();
    let fitting = graph.iter().filter(|&ix| fits(graph.body(ix)));
    fitting.last().map(|ix| graph.hash(ix))
}

/// Changes an entry in a device's file, or takes it out; its node stands still from then on. What was changed
/// is offered to the others.
///
/// # Errors
/// An entry that is not there, or has no such value.
pub fn tamper(
    stage: &mut Stage<'_>,
    device: usize,
    event: &str,
    set_value: Option<Decimal>,
) -> Result<(), String> {
    if stage.world.engine(device).is_some() {
        stage.world.power_off(device);
    }
    stage.tampered.insert(device);
    let hash = *stage
        .entries(event)
        .first()
        .ok_or_else(|| format!("{event} made no entry"))?;
    let journal = stage.world.journal_mut(device);
    let at = journal
        .iter()
        .position(|bytes| Entry::decode(Arc::clone(bytes)).is_ok_and(|entry| entry.hash == hash))
        .ok_or_else(|| format!("the entry of {event} is not in the file"))?;
    let Some(value) = set_value else {
        journal.remove(at);
        return Ok(());
    };
    let changed = with_value(&journal[at], value)
        .ok_or_else(|| format!("no byte of the entry of {event} makes it {value}"))?;
    journal[at] = Arc::clone(&changed);
    for to in 0..stage.world.devices.len() {
        if stage.world.engine(to).is_some() {
            offer(stage, to, device, &changed);
        }
    }
    Ok(())
}

/// The value that an entry carries.
#[must_use]
pub fn value_of(body: &Body) -> Option<Decimal> {
    match body {
        Body::Reading(reading) => reading.value,
        Body::Acknowledge(Acknowledge {
            said: Said::Value { value, .. },
            ..
        }) => Some(*value),
        _ => None,
    }
}

/// The bytes of an entry with one of them changed, so that it carries another value.
fn with_value(bytes: &Arc<[u8]>, value: Decimal) -> Option<Arc<[u8]>> {
    (0..bytes.len())
        .flat_map(|at| (0..=u8::MAX).map(move |byte| (at, byte)))
        .filter(|&(at, byte)| bytes[at] != byte)
        .find_map(|(at, byte)| {
            let mut changed = bytes.to_vec();
            changed[at] = byte;
            let changed: Arc<[u8]> = changed.into();
            let entry = Entry::decode(Arc::clone(&changed)).ok()?;
            (value_of(&entry.content.body) == Some(value)).then_some(changed)
        })
}
