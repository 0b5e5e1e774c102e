//! Plan: back to a step, a change of the plan, an exception to it.
//! Owns: nothing.   Gives: their leaves, `deed`.
//! May use: view, forms, protocol's changes.   Never: whether a changed plan is good (the node answers); a change of
//! something that is not named.

use super::{Deed, Part, check_choices, check_of, people_choices, step_choices};
use crate::pages::form::Form;
use crate::pages::forms::{Choice, Field, FormOf, needed, option, value};
use crate::pages::view::View;
use crate::words::fill;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{CheckId, ConditionId, ItemId, LimitId, RoleId, StepId};
use gantline_protocol::log::entry::Change;
use gantline_protocol::plan::{Check, Expects, Lasts, Step, Who};
use gantline_protocol::state::StepState;

/// Seconds of a minute.
const MINUTE_S: u32 = 60;

fn words(name: &'static str, label: &str) -> Field {
    Field::Words(name, label.to_owned())
}

fn number(name: &'static str, label: &str) -> Field {
    Field::Number(name, label.to_owned())
}

pub(super) fn back(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let steps = step_choices(view, |state| state != StepState::Locked);
    let form = FormOf::held("step-back", "", a.step_back_says).with([
        Field::One("step", a.which_step.to_owned(), steps, false),
        words("text", a.why),
    ]);
    vec![Part::Line(a.step_back_line.to_owned()), Part::Form(form)]
}

/// One form for each kind of thing that a plan is made of.
pub(super) fn amend(view: &View) -> Vec<Part> {
    let (l, a) = (view.labels, view.labels.acts);
    let steps = || step_choices(view, |_| true);
    let limits = view.plan.limits.iter();
    let limits: Vec<Choice> = limits
        .map(|limit| {
            (
                limit.id.to_string(),
                format!("{} ({})", limit.title, limit.unit),
            )
        })
        .collect();
    let conditions = view.plan.conditions.iter();
    let conditions: Vec<Choice> = conditions
        .map(|one| (one.id.to_string(), one.title.clone()))
        .collect();
    let items = view.plan.items.iter();
    let items: Vec<Choice> = items
        .map(|item| (item.id.to_string(), item.title.clone()))
        .collect();
    let roles = view.plan.roles.iter();
    let roles: Vec<Choice> = roles
        .map(|role| (role.id.to_string(), view.role_name(&role.id)))
        .collect();
    let one = |name: &'static str, label: &str, options: Vec<Choice>| {
        Field::One(name, label.to_owned(), options, false)
    };
    // Each change has its reason, and may name a step that is confirmed again with all that comes after it.
    let both = || {
        [
            words("text", a.why),
            Field::One("covers", a.covers.to_owned(), steps(), true),
        ]
    };
    let form = |does: &'static str, title: &str, fields: Vec<Field>| {
        Part::Form(
            FormOf::held(does, "", a.amend_says)
                .titled(title)
                .with(fields)
                .with(both()),
        )
    };
    vec![
        Part::Line(a.amend_line.to_owned()),
        form(
            "amend-limit",
            a.amend_limit,
            vec![
                one("what", a.amend_which, limits),
                number("least", a.least),
                number("most", a.most),
                words("source", a.source),
            ],
        ),
        form(
            "amend-step",
            a.amend_step,
            vec![
                one("what", a.which_step, steps()),
                words("title", a.step_title),
                words("line", a.step_text),
                words("if-held", a.step_if_held),
            ],
        ),
        form(
            "amend-new-step",
            a.amend_new_step,
            vec![
                one("what", a.step_after, steps()),
                words("title", a.step_title),
                words("line", a.step_text),
                words("if-held", a.step_if_held),
                words("check", a.step_check),
                one("role", a.step_role, roles),
            ],
        ),
        form(
            "amend-condition",
            a.amend_condition,
            vec![
                one("what", a.amend_which, conditions),
                number("minutes", a.minutes),
            ],
        ),
        form(
            "amend-item",
            a.amend_item,
            vec![
                one("what", a.amend_which, items),
                words("title", a.item_title),
                words("tested", a.item_tested),
                number("months", a.item_months),
            ],
        ),
        form(
            "amend-line",
            a.amend_where,
            vec![
                words("structure", l.structure),
                words("circuit", l.circuit),
                words("phase", l.phase),
            ],
        ),
    ]
}

pub(super) fn exception(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let checks = check_choices(view, |_, done| !done);
    let form = FormOf::held("exception", "", a.exception_says).with([
        Field::One("check", a.which_check.to_owned(), checks, false),
        words("what", a.what_was_done),
        words("text", a.exception_why),
        Field::One("seen-by", a.seen_by.to_owned(), people_choices(view), false),
    ]);
    vec![Part::Line(a.exception_line.to_owned()), Part::Form(form)]
}

pub(super) fn deed(view: &View, form: &Form) -> Option<Result<Deed, String>> {
    let does = form.text("do");
    if let Some(what) = does.strip_prefix("amend-") {
        return Some(changes(view, what, form).and_then(|all| amended(view, all, form)));
    }
    Some(match does {
        "step-back" => stepped_back(view, form),
        "exception" => excepted(view, form),
        _ => return None,
    })
}

fn stepped_back(view: &View, form: &Form) -> Result<Deed, String> {
    let a = view.labels.acts;
    Ok(Deed::Seen(Command::StepBack {
        step: value(view, form, "step", a.which_step)?,
        why: needed(view, form, "text", a.why)?.to_owned(),
    }))
}

fn excepted(view: &View, form: &Form) -> Result<Deed, String> {
    let a = view.labels.acts;
    let named = needed(view, form, "check", a.which_check)?;
    let (step, check) = check_of(named).ok_or_else(|| view.labels.not_asked.to_owned())?;
    Ok(Deed::Seen(Command::Exception {
        step,
        check,
        what: needed(view, form, "what", a.what_was_done)?.to_owned(),
        why: needed(view, form, "text", a.exception_why)?.to_owned(),
        seen_by: value(view, form, "seen-by", a.seen_by)?,
    }))
}

fn amended(view: &View, changes: Vec<Change>, form: &Form) -> Result<Deed, String> {
    let a = view.labels.acts;
    let covers: Option<StepId> = option(view, form, "covers", a.covers)?;
    Ok(Deed::Seen(Command::Amend {
        why: needed(view, form, "text", a.why)?.to_owned(),
        changes,
        covers: covers.into_iter().collect(),
    }))
}

fn changes(view: &View, what: &str, form: &Form) -> Result<Vec<Change>, String> {
    if what != "new-step" {
        return change(view, what, form).map(|change| vec![change]);
    }
    let new = new_step(view, form)?;
    // What came after the step before it comes after it as well: it stands between them.
    let later = view.plan.steps.iter().filter(|step| {
        let mut before = step.after.iter();
        before.any(|id| new.after.contains(id))
    });
    let mut later: Vec<Step> = later.cloned().collect();
    for step in &mut later {
        step.after.push(new.id.clone());
    }
    let all = core::iter::once(new).chain(later);
    Ok(all.map(|step| Change::Step(Box::new(step))).collect())
}

/// What was typed in place of what the plan has; what was left empty stays as it is.
fn change(view: &View, what: &str, form: &Form) -> Result<Change, String> {
    let (l, a) = (view.labels, view.labels.acts);
    let not_asked = || l.not_asked.to_owned();
    let replace = |text: &mut String, name: &str| {
        if form.has(name) {
            form.text(name).clone_into(text);
        }
    };
    Ok(match what {
        "limit" => {
            let id: LimitId = value(view, form, "what", a.amend_which)?;
            let mut limit = view.plan.limit(&id).ok_or_else(not_asked)?.clone();
            let least = option(view, form, "least", a.least)?;
            let most = option(view, form, "most", a.most)?;
            if least.is_none() && most.is_none() {
                return Err(fill(l.field_empty, &[("field", a.least)]));
            }
            limit.least = least.or(limit.least);
            limit.most = most.or(limit.most);
            needed(view, form, "source", a.source)?.clone_into(&mut limit.source);
            // It is no longer what the sheet computed.
            limit.computed = None;
            Change::Limit(limit)
        }
        "step" => {
            let id: StepId = value(view, form, "what", a.which_step)?;
            let mut step = view.plan.step(&id).ok_or_else(not_asked)?.clone();
            replace(&mut step.title, "title");
            replace(&mut step.text, "line");
            replace(&mut step.if_held, "if-held");
            Change::Step(Box::new(step))
        }
        "condition" => {
            let id: ConditionId = value(view, form, "what", a.amend_which)?;
            let mut condition = view.plan.condition(&id).ok_or_else(not_asked)?.clone();
            let minutes: u32 = value(view, form, "minutes", a.minutes)?;
            condition.valid_s = minutes.saturating_mul(MINUTE_S);
            Change::Condition(condition)
        }
        "item" => {
            let id: ItemId = value(view, form, "what", a.amend_which)?;
            let mut item = view.plan.item(&id).ok_or_else(not_asked)?.clone();
            replace(&mut item.title, "title");
            if form.has("tested") {
                item.tested = Some(form.text("tested").to_owned());
            }
            item.test_months = option(view, form, "months", a.item_months)?.or(item.test_months);
            Change::Item(item)
        }
        "line" => {
            let mut line = view.plan.line.clone();
            replace(&mut line.structure, "structure");
            replace(&mut line.circuit, "circuit");
            replace(&mut line.phase, "phase");
            Change::Line(line)
        }
        _ => return Err(not_asked()),
    })
}

/// A step with one check, after another one.
fn new_step(view: &View, form: &Form) -> Result<Step, String> {
    let a = view.labels.acts;
    let role: RoleId = value(view, form, "role", a.step_role)?;
    let text = |name: &str, label: &str| needed(view, form, name, label).map(ToOwned::to_owned);
    // The first name that no step has.
    let free = (1_u32..)
        .map(|n| format!("added-{n}"))
        .filter_map(|name| StepId::try_from(name.as_str()).ok())
        .find(|id| view.plan.step(id).is_none());
    Ok(Step {
        id: free.ok_or_else(|| view.labels.not_asked.to_owned())?,
        title: text("title", a.step_title)?,
        text: text("line", a.step_text)?,
        after: vec![value(view, form, "what", a.step_after)?],
        hold_point: false,
        critical: false,
        if_held: text("if-held", a.step_if_held)?,
        safe_to_leave: false,
        needs: Vec::new(),
        sets: Vec::new(),
        items: Vec::new(),
        moves: Vec::new(),
        checks: vec![Check {
            id: CheckId::try_from("done").map_err(|_| view.labels.not_asked.to_owned())?,
            text: text("check", a.step_check)?,
            who: Who::Roles(vec![role]),
            expects: Expects::Yes,
            lasts: Lasts::Job,
        }],
    })
}
