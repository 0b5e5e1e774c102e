//! Acts: what can be done on this device that nothing on its page asks for?
//! Owns: nothing.   Gives: `offered` the list of leaves, `leaf` one of them, `deed` what a form of theirs means.
//! May use: view, forms, protocol's commands.   Never: whether an act counts (the node answers).
//!
//! In reading order: `checks` of open steps, by hand · `work` conditions, identity, order, notes · `people` relief, heads,
//! who is on the job · `stops` making safe, emergency, ask, exit plan · `plan` back, change, exception · `day` its end and
//! the next one's beginning.

mod checks;
mod day;
mod people;
mod plan;
mod stops;
mod work;

use crate::pages::form::Form;
use crate::pages::forms::{Choice, FormOf};
use crate::pages::view::View;
use crate::words::fill;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{CheckId, DeviceKey, StepId};
use gantline_protocol::plan::{Place, Step};
use gantline_protocol::state::{JobState, StepState};
use maud::Markup;

/// What a form means.
pub(crate) enum Deed {
    /// An act that fails to the safe side: whatever has changed meanwhile.
    Safe(Command),
    /// An act by what was shown: not if that has changed.
    Seen(Command),
    /// A device that asks to join is told no.
    RefuseJoin(DeviceKey, String),
    /// Another page.
    Go(String),
}

/// A part of a leaf.
pub(crate) enum Part {
    /// A heading.
    Head(String),
    /// A line of text.
    Line(String),
    /// A form.
    Form(FormOf),
    /// Something that is neither.
    Other(Markup),
}

/// A page of its own with what belongs together.
pub(crate) struct Leaf {
    pub(crate) title: &'static str,
    pub(crate) parts: Vec<Part>,
}

/// Which leaves there are for the holder now: name, label, what it is for.
pub(crate) fn offered(view: &View) -> Vec<(&'static str, &'static str, String)> {
    let a = view.labels.acts;
    let supervisor = view.is_supervisor();
    let stopped = !view.status.stops.is_empty();
    let photos = view.beside.aside.photos.len();
    let with_photos = fill(a.note_photos, &[("n", &photos.to_string())]);
    let note_sub = if photos > 0 { &with_photos } else { a.note_sub };
    let suspended = view.status.job_state == JobState::Suspended;
    let all = [
        ("safe", a.safe, a.safe_sub, true),
        ("emergency", a.emergency, a.emergency_sub, true),
        ("note", a.note, note_sub, true),
        ("checks", a.checks, a.checks_sub, true),
        ("conditions", a.conditions, a.conditions_sub, true),
        ("relief", a.relief, a.relief_sub, true),
        ("crew", a.crew, a.crew_sub, true),
        ("heads", a.heads, a.heads_sub, true),
        ("back", a.step_back, a.step_back_sub, supervisor),
        ("amend", a.amend, a.amend_sub, supervisor),
        ("ask", a.ask, a.ask_sub, supervisor && stopped),
        ("exit", a.exit, a.exit_sub, supervisor && stopped),
        ("exception", a.exception, a.exception_sub, supervisor),
        ("day", a.day, a.day_sub, supervisor || suspended),
        ("identity", a.identity, a.identity_sub, true),
        ("order", a.order, a.order_sub, true),
        ("correct", a.correct, a.correct_sub, true),
        (
            "void",
            a.void,
            a.void_sub,
            supervisor && !view.beside.aside.unknown.is_empty(),
        ),
    ];
    all.into_iter()
        .filter(|(.., there)| *there)
        .map(|(name, label, sub, _)| (name, label, sub.to_owned()))
        .collect()
}

/// A leaf by its name.
pub(crate) fn leaf(view: &View, name: &str) -> Option<Leaf> {
    let a = view.labels.acts;
    let (title, parts) = match name {
        "checks" => (a.checks, checks::parts(view)),
        "conditions" => (a.conditions, work::conditions(view)),
        "identity" => (a.identity, work::identity(view)),
        "order" => (a.order, work::order(view)),
        "note" => (a.note, work::note(view)),
        "correct" => (a.correct, work::correct(view)),
        "relief" => (a.relief, people::relief(view)),
        "crew" => (a.crew, people::crew(view)),
        "heads" => (a.heads, people::heads(view)),
        "safe" => (a.safe, stops::safe(view)),
        "emergency" => (a.emergency, stops::emergency(view)),
        "ask" => (a.ask, stops::ask(view)),
        "exit" => (a.exit, stops::exit(view)),
        "void" => (a.void, stops::void(view)),
        "back" => (a.step_back, plan::back(view)),
        "amend" => (a.amend, plan::amend(view)),
        "exception" => (a.exception, plan::exception(view)),
        "day" => (a.day, day::parts(view)),
        _ => return None,
    };
    Some(Leaf { title, parts })
}

/// The names of all leaves, for paths.
pub(crate) const LEAVES: [&str; 18] = [
    "safe",
    "emergency",
    "note",
    "checks",
    "conditions",
    "relief",
    "crew",
    "heads",
    "back",
    "amend",
    "ask",
    "exit",
    "exception",
    "day",
    "identity",
    "order",
    "correct",
    "void",
];

/// What a form of a leaf means; `None`: it is of none of them.
///
/// # Errors
/// The words that say what is missing in it.
pub(crate) fn deed(view: &View, form: &Form) -> Option<Result<Deed, String>> {
    checks::deed(view, form)
        .or_else(|| work::deed(view, form))
        .or_else(|| people::deed(view, form))
        .or_else(|| stops::deed(view, form))
        .or_else(|| plan::deed(view, form))
        .or_else(|| day::deed(view, form))
}

/// A check as one value of a form.
fn check_value(step: &StepId, check: &CheckId) -> String {
    format!("{step}/{check}")
}

fn check_of(text: &str) -> Option<(StepId, CheckId)> {
    let (step, check) = text.split_once('/')?;
    Some((step.parse().ok()?, check.parse().ok()?))
}

/// Steps to choose from.
fn step_choices(view: &View, fits: impl Fn(StepState) -> bool) -> Vec<Choice> {
    let steps = view.status.steps.iter().enumerate();
    steps
        .filter(|(_, step)| fits(step.state))
        .map(|(at, step)| (step.id.to_string(), format!("{} {}", at + 1, step.title)))
        .collect()
}

/// Checks to choose from, with their steps' numbers.
fn check_choices(view: &View, fits: impl Fn(StepState, bool) -> bool) -> Vec<Choice> {
    let mut all = Vec::new();
    for (at, step) in view.status.steps.iter().enumerate() {
        for check in step
            .checks
            .iter()
            .filter(|check| fits(step.state, check.done))
        {
            let value = check_value(&step.id, &check.id);
            all.push((value, format!("{} {}", at + 1, check.text)));
        }
    }
    all
}

/// Present people to choose from.
fn people_choices(view: &View) -> Vec<Choice> {
    let mut all: Vec<Choice> = Vec::new();
    for one in view.crew() {
        let choice = (one.person.to_string(), view.called(one));
        if !all.contains(&choice) {
            all.push(choice);
        }
    }
    all
}

/// Present devices to choose from, without the own.
pub(crate) fn device_choices(view: &View) -> Vec<Choice> {
    view.crew()
        .into_iter()
        .filter(|one| one.device != view.status.device)
        .map(|one| (one.device.to_string(), view.called(one)))
        .collect()
}

/// Places to choose from.
pub(crate) fn place_choices(view: &View) -> Vec<Choice> {
    PLACES
        .iter()
        .map(|(name, place)| ((*name).to_owned(), view.words.place(*place).to_owned()))
        .collect()
}

/// A place by its name in a form.
pub(crate) fn place_of(name: &str) -> Option<Place> {
    PLACES
        .iter()
        .find(|(known, _)| *known == name)
        .map(|(_, place)| *place)
}

const PLACES: [(&str, Place); 6] = [
    ("truck", Place::Truck),
    ("ground", Place::Ground),
    ("on-the-line", Place::OnTheLine),
    ("aloft", Place::Aloft),
    ("structure", Place::Structure),
    ("conductor", Place::Conductor),
];

fn planned<'a>(view: &View<'a>, step: &StepId) -> Option<&'a Step> {
    view.plan.step(step)
}
