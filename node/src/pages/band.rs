//! Band: the call: word, shape, colour, edge, extent; the reason; in a stop all that is known of it.
//! Owns: nothing.   Gives: HTML of it.
//! May use: view, parts.   Never: words of its own; a word other than the three.

use crate::pages::parts::{called, icon, shape};
use crate::pages::sheets::{own_stop, unsaid};
use crate::pages::view::View;
use crate::words::{fill, span};
use gantline_protocol::ids::Person;
use gantline_protocol::reason::Owed;
use gantline_protocol::state::{CallWord, StopStatus};
use maud::{Markup, html};

/// The band.
pub(crate) fn band(view: &View, observer: bool) -> Markup {
    let (name, word) = view.call();
    let (reason, more) = view.reason();
    let aloud = view.reason_aloud();
    let l = view.labels;
    html! {
        // In a stop it may be longer than its place: then it is scrolled, by keys as well.
        section class="band" role="alert" aria-live="assertive" aria-atomic="true" tabindex=[view.is(CallWord::StopWork).then_some("0")]
            data-own=[own_stop(view).map(|_| "")] {
            div class="top" {
                (shape("shape", &format!("s-{name}")))
                (called(word))
                @if view.is(CallWord::Hold) {
                    div class="since" aria-hidden="true" { (span(view.since_s * 1000)) }
                }
            }
            // Read aloud when it changes, not at each second of a time that runs in it.
            p class="why" data-reason role=[aloud.as_ref().map(|_| "img")] aria-label=[aloud] { (reason) }
            @if view.is(CallWord::Proceed) && !observer {
                p class="more" aria-hidden="true" {
                    @match view.heard_within() {
                        Some(s) => (fill(l.everyone_heard, &[("s", &s.to_string())])),
                        None => (l.alone),
                    }
                }
            }
            @if more > 0 { p class="more" { (fill(l.more, &[("n", &more.to_string())])) } }
            @if let (CallWord::StopWork, Some(stop)) = (view.status.call.word, view.status.stops.first()) {
                (about_stop(view, stop, observer))
            }
        }
    }
}

fn about_stop(view: &View, stop: &StopStatus, observer: bool) -> Markup {
    let l = view.labels;
    let keep = &view.status.call.if_held;
    // Whose stop it is, is above; the room is for who has it, and below for why.
    let unsaid = unsaid(view).is_some();
    let own_alone = unsaid && stop.heard.len() == 1;
    html! {
        p class="by" aria-hidden="true" {
            @if !stop.why.is_empty() { (view.stopped_by(stop)) ", " }
            (view.stopped_when(stop))
            @if unsaid { b class="unsaid" { " · " (l.why_question) } }
        }
        @if !observer && !keep.is_empty() { p class="keep" { (fill(l.keep, &[("what", keep)])) } }
        div class="flow" {
            ul {
                @let (answered, has_it, has_not) = people(view, stop);
                @if has_it.is_empty() && has_not.is_empty() {
                    li { (icon("yes")) " " (l.all_answered) }
                } @else {
                    @if !has_not.is_empty() { li class="not" { (icon("no")) " " (fill(l.has_it_not, &[("who", &has_not)])) } }
                    @if !has_it.is_empty() { li { (icon("half")) " " (fill(l.has_it, &[("who", &has_it)])) } }
                    @if !answered.is_empty() && !own_alone { li { (icon("yes")) " " (fill(l.has_answered, &[("who", &answered)])) } }
                }
            }
            // Before everybody has answered nothing else counts.
            @let owed = if stop.not_heard.is_empty() { owed(view, stop) } else { Vec::new() };
            @if !owed.is_empty() || !stop.cause.is_empty() {
                ul {
                    @if !stop.cause.is_empty() { li class="cause" { (fill(l.cause, &[("cause", &stop.cause)])) } }
                    @for line in owed { li { (icon("wait")) " " (line) } }
                }
            }
        }
    }
}

/// How far a stop has come: who has answered, whose device has it, who has it not for all that is known.
fn people(view: &View, stop: &StopStatus) -> (String, String, String) {
    let names = |people: &mut dyn Iterator<Item = &Person>| {
        let names: Vec<String> = people.map(|person| view.name(person)).collect();
        names.join(", ")
    };
    let holds = |person: &&Person| stop.held_by.contains(person);
    (
        names(&mut stop.heard.iter()),
        names(&mut stop.not_heard.iter().filter(holds)),
        names(&mut stop.not_heard.iter().filter(|person| !holds(person))),
    )
}

/// What the end of a stop still needs, in few lines: who has to answer stands in the list of people already.
fn owed(view: &View, stop: &StopStatus) -> Vec<String> {
    let l = view.labels;
    let mut lines = Vec::new();
    let mut agree = Vec::new();
    for owed in &stop.owed {
        match owed {
            Owed::Heard { .. } => {}
            Owed::Ask { .. } => lines.push(l.owed_ask.to_owned()),
            Owed::Agree { device, .. } => agree.push(view.device_name(device)),
            Owed::Declined { device, .. } => {
                lines.push(fill(l.owed_declined, &[("who", &view.device_name(device))]));
            }
            Owed::Briefing { .. } | Owed::Condition { .. } => {
                let words = view.words.owed(owed);
                if !lines.contains(&words) {
                    lines.push(words);
                }
            }
        }
    }
    if !agree.is_empty() {
        lines.push(fill(l.owed_agree, &[("who", &agree.join(", "))]));
    }
    lines
}
