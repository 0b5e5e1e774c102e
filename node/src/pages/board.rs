//! Board: the whole job at once, for who answers for it: the plan, who is waited for, each device, what runs out next.
//! Owns: nothing.   Gives: HTML of the parts that the worker's page has not.
//! May use: view, graph, matrix, waits, parts.   Never: words of its own.

use crate::pages::graph;
use crate::pages::matrix;
use crate::pages::page::who;
use crate::pages::parts::shape;
use crate::pages::view::{View, age};
use crate::pages::waits::{running_out, waiting};
use crate::words::{fill, span};
use gantline_protocol::state::{CallWord, CrewStatus, StepState, StepStatus};
use maud::{Markup, html};

/// Lines of lists and table that the right side has, with and without something asked of the holder.
const LINES_WHEN_ASKED: usize = 11;
const LINES: usize = 16;
/// Rows that run out next are listed at least.
const RUNS_MIN: usize = 1;
/// So many characters stand on one line of the right side.
const LINE_CHARS: usize = 36;

/// The plan: drawn on a wide screen, as a list on a small one.
pub(crate) fn plan(view: &View) -> Markup {
    let l = view.labels;
    let confirmed = |step: &StepStatus| match view.plan.step(&step.id) {
        Some(planned) => who(view, step, planned),
        None => html! {},
    };
    html! {
        section class="plan" aria-label=(l.plan) {
            div class="legend" {
                h2 { (l.plan) }
                @for (class, words) in [("done", l.plan_done), ("open", l.plan_open), ("waiting", l.plan_waiting),
                    ("later", l.plan_later), ("later point", l.plan_point)] {
                    span { i class=(format!("step {class}")) {} " " (words) }
                }
            }
            (graph::graph(view, confirmed))
            ol class="steps" {
                @for (at, step) in view.status.steps.iter().enumerate() {
                    li class=(format!("step {}{}", graph::class(view, step), if step.hold_point { " point" } else { "" })) {
                        b { (at + 1) } " " (graph::mark(step)) " " (step.title)
                        @if matches!(step.state, StepState::Open | StepState::Conflict) { (confirmed(step)) }
                    }
                }
            }
        }
    }
}

/// Who is waited for, who hears whom, and what runs out next.
pub(crate) fn side(view: &View, nothing_asked: bool) -> Markup {
    let l = view.labels;
    let lines = if nothing_asked {
        LINES
    } else {
        LINES_WHEN_ASKED
    };
    let lines = lines.saturating_sub(matrix::rows(view));
    let (waiting, running) = (waiting(view), running_out(view));
    let room = lines.saturating_sub(running.len().min(RUNS_MIN));
    let (shown, used) = fit(
        room,
        waiting.iter().map(|one| one.who.len() + one.what.len() + 8),
    );
    let long = running.iter().map(|(what, left)| what.len() + left.len());
    let (runs, _) = fit(lines.saturating_sub(used), long);
    let runs = runs.max(RUNS_MIN);
    html! {
        section class="side" data-scrolls tabindex="0" {
            h2 { (l.waiting_for) }
            ul class="waiting" {
                @for one in waiting.iter().take(shown) {
                    li {
                        b { (one.who) }
                        span { (one.what) }
                        span class="left" aria-hidden="true" { @if let Some(ms) = one.for_ms { (span(ms)) } }
                    }
                }
                @if waiting.is_empty() { li { span { (l.nobody) } } }
                @if waiting.len() > shown { li { span { (fill(l.more, &[("n", &(waiting.len() - shown).to_string())])) } } }
            }
            @if let Some(overview) = &view.overview {
                h2 { (l.who_hears) }
                (matrix::matrix(view, overview))
            }
            h2 { (l.runs_out) }
            ul {
                @for (what, left) in running.iter().take(runs) { li { b { (what) } span class="left" aria-hidden="true" { (left) } } }
                @if running.is_empty() { li { span { (l.nothing) } } }
            }
        }
    }
}

/// How many rows of so many characters fit so many lines, and the lines that they take. Of a longer list the last line
/// says how many there are more.
fn fit(lines: usize, rows: impl Iterator<Item = usize> + Clone) -> (usize, usize) {
    let of = |rows: &mut dyn Iterator<Item = usize>| {
        rows.map(|chars| chars.div_ceil(LINE_CHARS).max(1))
            .collect::<Vec<usize>>()
    };
    let all = of(&mut rows.clone());
    if all.iter().sum::<usize>() <= lines {
        return (all.len(), all.iter().sum::<usize>().max(1));
    }
    let room = lines.saturating_sub(1);
    let mut used = 0;
    let fits = all.iter().take_while(|rows| {
        used += **rows;
        used <= room
    });
    (fits.count(), lines)
}

/// Each device: what it shows, who holds it, whether it is heard, level and quiet, and in a stop how far that has come.
pub(crate) fn devices(view: &View) -> Markup {
    let l = view.labels;
    let shows = |one: &CrewStatus| {
        let all = view.overview.iter().flat_map(|overview| &overview.shows);
        all.filter(|shows| shows.device == one.device)
            .find_map(|shows| shows.call)
    };
    html! {
        section class="devices" aria-label=(l.devices) {
            @for one in view.crew() {
                @let call = shows(one);
                div class=(call.map_or("unknown", |call| View::call_of(call))) {
                    span class="shows" {
                        @match call {
                            Some(call) => {
                                (shape("shape", &format!("s-{}", View::call_of(call)))) " " (view.word_of(call))
                            },
                            None => (l.device_unknown),
                        }
                    }
                    b { (view.device_name(&one.device)) " " span class="sign" { (one.person) } }
                    span class="how" { (device_state(view, one)) }
                }
            }
        }
    }
}

fn device_state(view: &View, one: &CrewStatus) -> String {
    let l = view.labels;
    if let (CallWord::StopWork, Some(stop)) = (view.status.call.word, view.status.stops.first()) {
        let words = if stop.heard.contains(&one.person) {
            l.device_answered
        } else if stop.held_by.contains(&one.person) {
            l.device_has_stop
        } else {
            l.device_no_stop
        };
        return words.to_owned();
    }
    if one.forked {
        return l.device_forked.to_owned();
    }
    if !one.briefed {
        return l.device_not_briefed.to_owned();
    }
    if one.device == view.status.device {
        return l.device_this.to_owned();
    }
    let limit = view.plan.times.watch_limit_ms;
    match one.age_ms {
        Some(ms) if ms <= limit && !one.quiet => l.device_not_quiet.to_owned(),
        Some(ms) if ms <= limit && !one.level => l.device_not_level.to_owned(),
        Some(ms) if ms <= limit => fill(l.device_heard, &[("s", &age(ms))]),
        Some(ms) => fill(l.device_lost, &[("s", &span(ms))]),
        None => l.never_heard.to_owned(),
    }
}
