//! Text: the free texts of an entry, and their bound.
//! Owns: nothing.   Gives: the longest free text of a body.
//! May use: entry.   Never: texts of the plan, which are bounded by the entry's bytes alone; names, which are checked by their types.

use crate::bounds::TEXT_MAX_CHARS;
use crate::log::entry::{Body, Finding, NoteKind, Offered, OrderState, Said, StopKind};

/// The length in characters of the first text over [`TEXT_MAX_CHARS`], if there is one.
pub(super) fn too_long(body: &Body) -> Option<usize> {
    let mut found = None;
    each(body, &mut |text| {
        // No text has more characters than bytes; nearly all end here.
        if text.len() > TEXT_MAX_CHARS && found.is_none() {
            found = Some(text.chars().count()).filter(|&chars| chars > TEXT_MAX_CHARS);
        }
    });
    found
}

/// Calls `see` with every free text of a body.
fn each(body: &Body, see: &mut dyn FnMut(&str)) {
    let all = |texts: &[String], see: &mut dyn FnMut(&str)| texts.iter().for_each(|text| see(text));
    match body {
        Body::Acknowledge(ack) => {
            said(&ack.said, see);
            ack.change.as_deref().into_iter().for_each(see);
        }
        Body::Cannot(cannot) => see(&cannot.why),
        Body::Withdraw(withdraw) => see(&withdraw.why),
        Body::Stop(stop) => {
            see(&stop.why);
            if let StopKind::Stranger { words, .. } = &stop.kind {
                see(words);
            }
        }
        Body::Ask(ask) => {
            see(&ask.cause);
            ask.open_item.as_deref().into_iter().for_each(&mut *see);
            ask.closes_item.as_deref().into_iter().for_each(see);
        }
        Body::Decline(decline) => see(&decline.why),
        Body::Reading(reading) => see(&reading.unit),
        Body::StepBack(back) => see(&back.why),
        Body::Amend(amend) => see(&amend.why),
        Body::Exception(exception) => {
            see(&exception.what);
            see(&exception.why);
        }
        Body::Correction(correction) => see(&correction.text),
        Body::ExitPlan(exit) => see(&exit.why),
        Body::MakeSafe(safe) => see(&safe.text),
        Body::Identity(identity) => {
            see(&identity.structure);
            see(&identity.circuit);
            see(&identity.phase);
            see(&identity.method);
        }
        Body::Scan(scan) => {
            if let Finding::OutOfService { why } = &scan.found {
                see(why);
            }
        }
        Body::OrderStatus(status) => {
            see(&status.order);
            all(&status.terminals, see);
            all(&status.covers, see);
            status.line_state.as_deref().into_iter().for_each(&mut *see);
            if let OrderState::ReleasedByOthers { by } = &status.state {
                see(by);
            }
        }
        Body::Note(note) => {
            see(&note.text);
            match &note.kind {
                NoteKind::ClosesItem { item } => see(item),
                NoteKind::Refused { codes } => all(codes, see),
                NoteKind::Plain
                | NoteKind::Late { .. }
                | NoteKind::Reviewed
                | NoteKind::StopReason
                | NoteKind::StillSo
                | NoteKind::ReliefWanted { .. }
                | NoteKind::Mute { .. }
                | NoteKind::Photo(_) => {}
            }
        }
        Body::Suspend(suspend) => see(&suspend.state),
        Body::Offer(offer) => match &offer.what {
            Offered::Move { .. } | Offered::Role { .. } => {}
        },
        Body::Found(_)
        | Body::Admit(_)
        | Body::Accept
        | Body::Leave
        | Body::Briefed(_)
        | Body::Heard(_)
        | Body::Agree(_)
        | Body::Release(_)
        | Body::Affirm(_)
        | Body::Away(_)
        | Body::Ready(_)
        | Body::Take(_)
        | Body::Done(_)
        | Body::Propose(_)
        | Body::Consent(_)
        | Body::Seal(_)
        | Body::HeadCount(_)
        | Body::Moved(_)
        | Body::ClockSample(_)
        | Body::ResumeDay(_)
        | Body::Close(_)
        | Body::Void(_)
        | Body::Unknown { .. } => {}
    }
}

fn said(said: &Said, see: &mut dyn FnMut(&str)) {
    match said {
        Said::Value { unit, .. } => see(unit),
        Said::Words(words) => see(words),
        Said::Identity {
            structure,
            circuit,
            phase,
        } => {
            see(structure);
            see(circuit);
            see(phase);
        }
        Said::Yes | Said::Tally { .. } => {}
    }
}
