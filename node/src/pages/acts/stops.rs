//! Stops: what may be done while the work is stopped: making safe, an emergency, the ask to go on, a way out.
//! Owns: nothing.   Gives: their leaves, `deed`.
//! May use: view, forms.   Never: in the way of a person: an emergency blocks nothing.

use super::{Deed, Part, step_choices};
use crate::pages::form::Form;
use crate::pages::forms::{Field, FormOf, chosen, needed, option};
use crate::pages::view::View;
use crate::words::fill;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{EntryHash, StepId};
use gantline_protocol::plan::Step;
use gantline_protocol::state::{StepState, WhereAside};
use maud::{Markup, html};

fn words(name: &'static str, label: &str) -> Field {
    Field::Words(name, label.to_owned())
}

pub(super) fn safe(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let form = FormOf::plain("safe", "", a.safe_says).with([
        words("text", a.what_was_done),
        Field::One(
            "step",
            a.which_step.to_owned(),
            step_choices(view, |_| true),
            true,
        ),
    ]);
    vec![Part::Line(a.safe_line.to_owned()), Part::Form(form)]
}

/// Who is where and for how long; and the press that calls one.
pub(super) fn emergency(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let called = view
        .status
        .stops
        .iter()
        .find(|stop| stop.kind == "emergency");
    let mut parts = Vec::new();
    match called {
        Some(stop) => {
            let line = html! {
                p class="elapsed" aria-hidden="true" { (fill(a.emergency_since, &[("ago", &view.stopped_when(stop))])) }
            };
            parts.push(Part::Other(line));
        }
        None => {
            parts.push(Part::Line(a.emergency_line.to_owned()));
            parts.push(Part::Other(call(view)));
        }
    }
    parts.push(Part::Head(a.who_is_where.to_owned()));
    parts.push(Part::Other(whereabouts(view)));
    parts
}

/// A stop like the other, of another kind; it goes by the same way, and again until the node has it.
fn call(view: &View) -> Markup {
    let a = view.labels.acts;
    html! {
        form class="stopform inside" method="post" action="/press" {
            input type="hidden" name="do" value="stop";
            input type="hidden" name="kind" value="emergency";
            button class="sec emergency" type="submit" data-control="emergency" {
                (a.emergency_says) small { (view.labels.stop_sub) }
            }
        }
    }
}

fn whereabouts(view: &View) -> Markup {
    let a = view.labels.acts;
    let place = |one: &WhereAside| match (&one.clear_by, one.aloft) {
        (Some(by), _) => ("good", fill(a.where_clear, &[("by", &view.name(by))])),
        (None, true) => ("lost", a.where_aloft.to_owned()),
        (None, false) => ("lost", a.where_unknown.to_owned()),
    };
    html! {
        ul class="list" {
            @for one in &view.beside.aside.whereabouts {
                @let (class, words) = place(one);
                li class=(class) { b { (view.name(&one.person)) } span { (words) } }
            }
        }
    }
}

pub(super) fn ask(view: &View) -> Vec<Part> {
    let (l, a) = (view.labels, view.labels.acts);
    let open = view.status.open_items.iter();
    let open = open.map(|item| (item.clone(), item.clone())).collect();
    let form = FormOf::held("ask", "", l.say_ask).with([
        words("cause", l.cause_question),
        words("open-item", a.leaves_open),
        Field::One("closes-item", a.closes.to_owned(), open, true),
    ]);
    vec![Part::Form(form)]
}

pub(super) fn exit(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let conditions = view.status.conditions.iter().filter(|one| !one.good);
    let conditions = conditions.map(|one| (one.id.to_string(), one.title.clone()));
    let mut form = FormOf::held("exit", "", a.exit_says).with([
        Field::Any(
            "step",
            a.exit_steps.to_owned(),
            step_choices(view, |state| state != StepState::Done),
        ),
        words("text", a.exit_why),
    ]);
    let conditions: Vec<_> = conditions.collect();
    if !conditions.is_empty() {
        form = form.with([Field::Any("without", a.exit_without.to_owned(), conditions)]);
    }
    let mut parts = vec![Part::Line(a.exit_line.to_owned())];
    // HANDOFF: no load goes from hand to hand in a stop, whatever is agreed to.
    let moving = view.status.steps.iter().enumerate().filter(|(_, status)| {
        let moves = |step: &Step| !step.moves.is_empty();
        status.state != StepState::Done && view.plan.step(&status.id).is_some_and(moves)
    });
    let moving: Vec<String> = moving.map(|(at, _)| (at + 1).to_string()).collect();
    if !moving.is_empty() {
        let line = fill(a.exit_loads, &[("steps", &moving.join(", "))]);
        parts.push(Part::Line(line));
    }
    parts.push(Part::Form(form));
    parts
}

pub(super) fn void(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let unknown = view.beside.aside.unknown.iter();
    unknown
        .map(|(entry, device)| {
            let title = fill(a.void_of, &[("who", &view.device_name(device))]);
            Part::Form(FormOf::held("void", &entry.to_string(), a.void_says).titled(title))
        })
        .collect()
}

pub(super) fn deed(view: &View, form: &Form) -> Option<Result<Deed, String>> {
    Some(match form.text("do") {
        "safe" => made_safe(view, form),
        "ask" => asked(view, form),
        "exit" => exit_plan(view, form),
        "void" => form
            .value::<EntryHash>("about")
            .ok_or_else(|| view.labels.not_asked.to_owned())
            .map(|entry| Deed::Seen(Command::Void { entry })),
        _ => return None,
    })
}

fn made_safe(view: &View, form: &Form) -> Result<Deed, String> {
    let a = view.labels.acts;
    Ok(Deed::Safe(Command::MakeSafe {
        text: needed(view, form, "text", a.what_was_done)?.to_owned(),
        step: option(view, form, "step", a.which_step)?,
    }))
}

fn asked(view: &View, form: &Form) -> Result<Deed, String> {
    let typed = |name: &str| Some(form.text(name).to_owned()).filter(|text| !text.is_empty());
    Ok(Deed::Seen(Command::Ask {
        stops: Vec::new(),
        cause: needed(view, form, "cause", view.labels.cause_question)?.to_owned(),
        open_item: typed("open-item"),
        closes_item: typed("closes-item"),
    }))
}

fn exit_plan(view: &View, form: &Form) -> Result<Deed, String> {
    let a = view.labels.acts;
    let steps: Vec<StepId> = chosen(form, "step");
    if steps.is_empty() {
        return Err(fill(view.labels.field_empty, &[("field", a.exit_steps)]));
    }
    Ok(Deed::Seen(Command::ExitPlan {
        stops: Vec::new(),
        steps,
        without: chosen(form, "without"),
        why: needed(view, form, "text", a.exit_why)?.to_owned(),
    }))
}
