//! Day: everyone leaves for the day, and the next one begins.
//! Owns: nothing.   Gives: their leaf, `deed`.
//! May use: view, forms.   Never: whether the place may be left (the node answers).

use super::{Deed, Part, people_choices, step_choices};
use crate::pages::form::Form;
use crate::pages::forms::{Field, FormOf, needed, value};
use crate::pages::view::View;
use crate::words::fill;
use gantline_protocol::engine::Command;
use gantline_protocol::state::{JobState, StepState};

pub(super) fn parts(view: &View) -> Vec<Part> {
    let (l, a) = (view.labels, view.labels.acts);
    if view.status.job_state == JobState::Suspended {
        return vec![
            Part::Line(a.resume_day_line.to_owned()),
            Part::Form(FormOf::held("resume-day", "", a.resume_day_says)),
        ];
    }
    let aside = &view.beside.aside;
    let counted = [
        ("out", aside.tools_out.to_string()),
        ("back", aside.tools_back.to_string()),
    ];
    let counted = counted
        .each_ref()
        .map(|(name, count)| (*name, count.as_str()));
    let leaving = step_choices(view, |state| state == StepState::Done);
    let leaving = leaving.into_iter().filter(|(id, _)| {
        let planned = view.plan.steps.iter().find(|step| step.id.as_str() == id);
        planned.is_some_and(|step| step.safe_to_leave)
    });
    let form = FormOf::held("suspend", "", a.suspend_says).with([
        Field::One(
            "state",
            a.suspend_state.to_owned(),
            leaving.collect(),
            false,
        ),
        Field::One("by", a.resume_by.to_owned(), people_choices(view), false),
        Field::Number("out", l.tally_out.to_owned()),
        Field::Number("back", l.tally_back.to_owned()),
    ]);
    vec![
        Part::Line(a.suspend_line.to_owned()),
        Part::Line(fill(a.tools_counted, &counted)),
        Part::Form(form),
    ]
}

pub(super) fn deed(view: &View, form: &Form) -> Option<Result<Deed, String>> {
    Some(match form.text("do") {
        "resume-day" => Ok(Deed::Seen(Command::ResumeDay)),
        "suspend" => suspended(view, form),
        _ => return None,
    })
}

fn suspended(view: &View, form: &Form) -> Result<Deed, String> {
    let (l, a) = (view.labels, view.labels.acts);
    let id = needed(view, form, "state", a.suspend_state)?;
    let planned = view.plan.steps.iter().find(|step| step.id.as_str() == id);
    let step = planned.ok_or_else(|| l.not_asked.to_owned())?;
    Ok(Deed::Seen(Command::Suspend {
        state: format!("{}: {}", step.id, step.title),
        resume_by: value(view, form, "by", a.resume_by)?,
        tools_out: value(view, form, "out", l.tally_out)?,
        tools_back: value(view, form, "back", l.tally_back)?,
    }))
}
