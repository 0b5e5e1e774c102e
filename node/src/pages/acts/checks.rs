//! Checks: each check of an open step that the holder may give, and each that they gave, as plain forms.
//! Owns: nothing.   Gives: `parts`, `deed`.
//! May use: view, forms, asked for what an answer says.   Never: another's answer in a second look.

use super::{Deed, Part, check_of, check_value, planned};
use crate::pages::asked::{HOLD_MS, said};
use crate::pages::form::Form;
use crate::pages::forms::{Field, FormOf, needed};
use crate::pages::number;
use crate::pages::view::View;
use gantline_protocol::engine::Command;
use gantline_protocol::plan::{Check, Expects};
use gantline_protocol::state::StepState;

pub(super) fn parts(view: &View) -> Vec<Part> {
    let (l, a) = (view.labels, view.labels.acts);
    let mut parts = Vec::new();
    for (at, step) in view.status.steps.iter().enumerate() {
        if !matches!(step.state, StepState::Open | StepState::Conflict) {
            continue;
        }
        let Some(in_plan) = planned(view, &step.id) else {
            continue;
        };
        let may = |check: &&Check| view.status.roles.iter().any(|role| check.who.may(role));
        for check in in_plan.checks.iter().filter(may) {
            let about = check_value(&step.id, &check.id);
            parts.push(Part::Head(format!("{} {}", at + 1, check.text)));
            let again = Field::Words("change", a.change.to_owned());
            parts.push(Part::Form(FormOf {
                held_ms: Some(if in_plan.critical {
                    HOLD_MS.max(view.plan.times.press_ms)
                } else {
                    HOLD_MS
                }),
                ..FormOf::plain("give-check", &about, a.give_check)
                    .with(fields(view, check))
                    .with([again])
            }));
            parts.push(Part::Form(
                FormOf::plain("cannot-check", &about, l.cannot)
                    .with([Field::Words("text", l.cannot_question.to_owned())]),
            ));
        }
    }
    for (step, check) in view.own_given() {
        let about = check_value(&step.id, &check.id);
        parts.push(Part::Form(
            FormOf::plain("withdraw-check", &about, a.withdraw_this)
                .titled(check.text.clone())
                .with([Field::Words("text", a.why.to_owned())]),
        ));
    }
    if parts.is_empty() {
        parts.push(Part::Line(l.nothing_asked.to_owned()));
    }
    parts
}

/// What an answer to a check is made of.
fn fields(view: &View, check: &Check) -> Vec<Field> {
    let l = view.labels;
    let words = |name: &'static str, label: &str| Field::Words(name, label.to_owned());
    let number = |name: &'static str, label: &str| Field::Number(name, label.to_owned());
    match &check.expects {
        Expects::Yes | Expects::Heads | Expects::OrderIs { .. } => Vec::new(),
        Expects::Measured { limit } => match view.plan.limit(limit) {
            Some(limit) if number::in_feet(limit) => {
                vec![number("feet", l.feet), number("inches", l.inches)]
            }
            Some(limit) => {
                let label = format!("{} ({})", number::limit_words(view, limit), limit.unit);
                vec![Field::Number("value", label)]
            }
            None => Vec::new(),
        },
        Expects::OneOf { answers, .. } => {
            let options = answers.iter().map(|one| (one.clone(), one.clone()));
            let label = l.answer_question.to_owned();
            vec![Field::One("answer", label, options.collect(), false)]
        }
        Expects::Identity => vec![
            words("structure", l.structure),
            words("circuit", l.circuit),
            words("phase", l.phase),
        ],
        Expects::Words => vec![words("text", l.words_field)],
        Expects::Tally { .. } => vec![number("out", l.tally_out), number("back", l.tally_back)],
    }
}

pub(super) fn deed(view: &View, form: &Form) -> Option<Result<Deed, String>> {
    let does = form.text("do");
    if !matches!(does, "give-check" | "cannot-check" | "withdraw-check") {
        return None;
    }
    let Some((step, check)) = check_of(form.text("about")) else {
        return Some(Err(view.labels.not_asked.to_owned()));
    };
    let why = |label: &str| needed(view, form, "text", label).map(ToOwned::to_owned);
    Some(match does {
        "cannot-check" => {
            why(view.labels.words_field).map(|why| Deed::Safe(Command::Cannot { step, check, why }))
        }
        "withdraw-check" => {
            why(view.labels.acts.why).map(|why| Deed::Safe(Command::Withdraw { step, check, why }))
        }
        _ => {
            let in_plan = planned(view, &step).and_then(|step| step.check(&check));
            in_plan
                .ok_or_else(|| view.labels.not_asked.to_owned())
                .and_then(|in_plan| said(view, &in_plan.expects, form))
                .map(|said| {
                    Deed::Seen(Command::Acknowledge {
                        step,
                        check,
                        said,
                        change: Some(form.text("change").to_owned()).filter(|it| !it.is_empty()),
                        held_ms: form.value("held"),
                    })
                })
        }
    })
}
