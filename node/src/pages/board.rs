//! Board: the whole job at once, for who answers for it: the plan, who is waited for, each device, what runs out next.
//! Owns: nothing.   Gives: HTML of the parts that the worker's page has not.
//! May use: view, parts.   Never: words of its own; on a small screen these parts are not shown.

use crate::pages::parts::icon;
use crate::pages::view::{View, age};
use crate::words::{fill, span};
use gantline_protocol::ids::StepId;
use gantline_protocol::plan::{ConditionKind, Step};
use gantline_protocol::state::{CallWord, CrewStatus, StepState, StepStatus};
use maud::{Markup, html};

/// Rows of each list on the right: more are counted, not listed.
const ROWS_MAX: usize = 4;

/// Every step in the plan's order: number, state by frame and mark, title, what it comes after where that is not just
/// the one before it.
pub(crate) fn plan(view: &View) -> Markup {
    let l = view.labels;
    html! {
        section class="plan" aria-label=(l.plan) {
            @for (at, (step, planned)) in view.status.steps.iter().zip(&view.plan.steps).enumerate() {
                @let class = state_class(step);
                div class=(if step.hold_point { format!("step {class} point") } else { format!("step {class}") }) {
                    span class="top" {
                        b { (at + 1) }
                        @match step.state {
                            StepState::Done => (icon("yes")),
                            StepState::Open => (icon("dot")),
                            StepState::Conflict => (icon("no")),
                            StepState::Locked => {},
                        }
                        @if let Some(after) = after(view, at, planned) { span class="after" { (after) } }
                    }
                    span class="title" title=(step.title) { (step.title) }
                }
            }
        }
    }
}

fn state_class(step: &StepStatus) -> &'static str {
    match step.state {
        StepState::Done => "done",
        StepState::Open => "open",
        StepState::Conflict => "conflict",
        StepState::Locked => "later",
    }
}

/// The steps that a step comes after, by number; `None`: just the one before it.
fn after(view: &View, at: usize, step: &Step) -> Option<String> {
    let number = |id: &StepId| view.plan.steps.iter().position(|step| &step.id == id);
    let numbers: Vec<usize> = step.after.iter().filter_map(number).collect();
    let plain = match numbers.as_slice() {
        [] => at == 0,
        [one] => one + 1 == at,
        _ => false,
    };
    let text: Vec<String> = numbers.iter().map(|at| (at + 1).to_string()).collect();
    let words = if text.is_empty() {
        view.labels.from_start.to_owned()
    } else {
        fill(view.labels.after, &[("n", &text.join(", "))])
    };
    // What a step came after is of no use once it is done.
    (!plain
        && view
            .status
            .steps
            .get(at)
            .is_some_and(|step| step.state != StepState::Done))
    .then_some(words)
}

/// Who is waited for, and what runs out next.
pub(crate) fn side(view: &View) -> Markup {
    let l = view.labels;
    let waiting = waiting(view);
    let running = running_out(view);
    html! {
        section class="side" {
            h2 { (l.waiting_for) }
            ul {
                @for (who, what) in waiting.iter().take(ROWS_MAX) { li { b { (who) } span { (what) } } }
                @if waiting.is_empty() { li { span { (l.nobody) } } }
                @if waiting.len() > ROWS_MAX { li { span { (fill(l.more, &[("n", &(waiting.len() - ROWS_MAX).to_string())])) } } }
            }
            h2 { (l.runs_out) }
            ul {
                @for (what, left) in running.iter().take(ROWS_MAX) { li { b { (what) } span class="left" aria-hidden="true" { (left) } } }
                @if running.is_empty() { li { span { (l.nothing) } } }
            }
        }
    }
}

/// Roles with the checks of open steps that they have yet to give.
fn waiting(view: &View) -> Vec<(String, String)> {
    let open = view
        .status
        .steps
        .iter()
        .filter(|step| matches!(step.state, StepState::Open | StepState::Conflict));
    let checks = open.flat_map(|step| step.checks.iter().filter(|check| !check.done));
    checks
        .map(|check| {
            let roles: Vec<String> = check
                .waits_for
                .iter()
                .map(|role| view.role_name(role))
                .collect();
            (roles.join(", "), check.text.clone())
        })
        .collect()
}

/// Standing conditions, what runs out first first; one that is not good is not listed as running.
fn running_out(view: &View) -> Vec<(String, String)> {
    let mut left: Vec<(u64, String, String)> = view
        .status
        .conditions
        .iter()
        .filter(|condition| condition.good)
        .filter_map(|condition| {
            let left_ms = condition.valid_ms.saturating_sub(condition.age_ms?);
            // Of a presence the value is who: that stands in the list of devices.
            let planned = view.plan.condition(&condition.id).map(|one| &one.kind);
            let measured = matches!(planned, Some(ConditionKind::Measured { .. }));
            let value = condition
                .value
                .as_deref()
                .filter(|_| measured)
                .unwrap_or_default();
            let title = format!("{} {value}", condition.title);
            Some((left_ms, title.trim().to_owned(), left_words(view, left_ms)))
        })
        .collect();
    left.sort();
    left.into_iter()
        .map(|(_, what, left)| (what, left))
        .collect()
}

fn left_words(view: &View, left_ms: u64) -> String {
    let minutes = left_ms / 60_000;
    if minutes < 60 {
        return span(left_ms);
    }
    let (hours, minutes) = ((minutes / 60).to_string(), (minutes % 60).to_string());
    fill(view.labels.hours, &[("h", &hours), ("min", &minutes)])
}

/// Each device: who holds it, whether it is heard, level and quiet, and in a stop how far that has come.
pub(crate) fn devices(view: &View) -> Markup {
    let l = view.labels;
    let present = view.crew();
    html! {
        section class="devices" aria-label=(l.devices) {
            @for one in present {
                @let (class, state) = device_state(view, one);
                div class=(class) {
                    b { (view.device_name(&one.device)) }
                    span class="sign" { (one.person) }
                    span { (state) }
                }
            }
        }
    }
}

fn device_state(view: &View, one: &CrewStatus) -> (&'static str, String) {
    let l = view.labels;
    if let (CallWord::StopWork, Some(stop)) = (view.status.call.word, view.status.stops.first()) {
        return if stop.heard.contains(&one.person) {
            ("good", l.device_answered.to_owned())
        } else if stop.held_by.contains(&one.person) {
            ("late", l.device_has_stop.to_owned())
        } else {
            ("lost", l.device_no_stop.to_owned())
        };
    }
    if one.forked {
        return ("lost", l.device_forked.to_owned());
    }
    if !one.briefed {
        return ("late", l.device_not_briefed.to_owned());
    }
    if one.device == view.status.device {
        return ("good", l.device_this.to_owned());
    }
    let limit = view.plan.times.watch_limit_ms;
    match one.age_ms {
        Some(ms) if ms <= limit && !one.quiet => ("late", l.device_not_quiet.to_owned()),
        Some(ms) if ms <= limit && !one.level => ("late", l.device_not_level.to_owned()),
        Some(ms) if ms <= limit => ("good", fill(l.device_heard, &[("s", &age(ms))])),
        Some(ms) => ("lost", fill(l.device_lost, &[("s", &span(ms))])),
        None => ("lost", l.never_heard.to_owned()),
    }
}
