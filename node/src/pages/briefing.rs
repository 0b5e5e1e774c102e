//! Briefing: what the crew is told before the work, from the plan as it stands; what an amendment has changed stands out.
//! Owns: nothing.   Gives: `content`.
//! May use: the plan, its lines, view.   Never: words of its own beyond headings; leaves out a part of the plan that
//! is to be covered.

use crate::pages::number::limit_words;
use crate::pages::plan_lines::{check_line, condition_line, item_line, stop_words};
use crate::pages::view::View;
use crate::words::fill;
use gantline_protocol::gate::{Job, Verdict};
use gantline_protocol::log::entry::Body;
use gantline_protocol::plan::{Plan, Step};
use maud::{Markup, html};

/// The whole briefing.
pub(crate) fn content(view: &View, job: &Job) -> Markup {
    let (l, plan, first) = (view.labels, view.plan, &job.founding().plan);
    let line = &plan.line;
    html! {
        h1 { (plan.title) }
        (amendments(view, job))
        h2 { (l.b_covered) }
        ol class="covered" { @for one in &plan.briefing { li { (one) } } }
        h2 { (l.b_energy) }
        p class=[changed(plan.line != first.line)] {
            (line.name) ", " (line.voltage_kv) " kV · " (l.structure) " " b { (line.structure) } " · " (l.circuit) " " b { (line.circuit) } " · " (l.phase) " " b { (line.phase) } br;
            (l.b_order) " " b { (line.order.as_deref().unwrap_or("–")) } " · " (line.terminals.join(", "))
        }
        h2 { (l.b_stop) }
        ul class="points" { @for words in stop_words(view) { li { (words) } } }
        h2 { (l.b_who) }
        ul class="points" {
            @for role in &plan.roles {
                @let holders = view.status.crew.iter().filter(|one| one.present && one.roles.contains(&role.id));
                li { b { (view.role_name(&role.id)) } ": " (holders.map(|one| one.person.to_string()).collect::<Vec<_>>().join(", ")) @if role.aloft { " (" (l.b_aloft) ")" } }
            }
        }
        h2 { (l.b_watched) }
        ul class="points" {
            @for condition in &plan.conditions {
                li class=[changed(first.condition(&condition.id) != Some(condition))] { (condition_line(view, condition)) }
            }
        }
        h2 { (l.b_limits) }
        ul class="points" {
            @for limit in &plan.limits {
                li class=[changed(first.limit(&limit.id) != Some(limit))] { b { (limit.title) } ": " (limit_words(view, limit)) br; small { (limit.source) } }
            }
        }
        @if !plan.never.is_empty() {
            h2 { (l.b_never) }
            ul class="points" { @for rule in &plan.never { li { (rule.why) } } }
        }
        h2 { (l.b_steps) }
        @for (at, step) in plan.steps.iter().enumerate() { (step_of(view, first, at, step)) }
        @if !plan.items.is_empty() {
            h2 { (l.b_items) }
            ul class="points" {
                @for item in &plan.items {
                    li class=[changed(first.item(&item.id) != Some(item))] { (item_line(view, item)) }
                }
            }
        }
        @for caution in &plan.cautions { p class="warn" { (caution) } }
        p class="end" { (if view.status.briefed { l.b_heard } else { l.b_end }) }
    }
}

/// What stands out.
fn changed(changed: bool) -> Option<&'static str> {
    changed.then_some("changed")
}

/// Amendments that stand, with their reasons.
fn amendments(view: &View, job: &Job) -> Markup {
    let graph = job.graph();
    let amends: Vec<_> = graph
        .iter()
        .filter(|&ix| job.verdict(ix) == Verdict::Counts)
        .filter_map(|ix| match graph.body(ix) {
            Body::Amend(amend) => Some(amend),
            _ => None,
        })
        .collect();
    html! {
        @if !amends.is_empty() {
            div class="changed amended" {
                h2 { (view.labels.b_amended) }
                ul class="points" { @for amend in amends { li { (amend.why) } } }
                p { (view.labels.b_amended_how) }
            }
        }
    }
}

fn step_of(view: &View, first: &Plan, at: usize, step: &Step) -> Markup {
    let l = view.labels;
    html! {
        div class={ "in-plan" @if first.step(&step.id) != Some(step) { " changed" } } {
            h3 {
                (at + 1) " " (step.title)
                @if step.hold_point { " · " (l.plan_point) }
                @if step.critical { " · " (l.b_critical) }
                @if step.safe_to_leave { " · " (l.b_leave) }
            }
            p { (step.text) }
            ul class="points" { @for check in &step.checks { li { (check_line(view, check)) } } }
            @if !step.if_held.is_empty() { p class="keep" { (fill(l.keep, &[("what", &step.if_held)])) } }
        }
    }
}
