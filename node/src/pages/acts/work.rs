//! Work: standing conditions, identity, the line order, notes and corrections.
//! Owns: nothing.   Gives: their leaves, `deed`.
//! May use: view, forms.   Never: whether a value is good (the node answers).

use super::{Deed, Part, check_choices, check_of};
use crate::pages::form::Form;
use crate::pages::forms::{Field, FormOf, chosen, needed, option, value};
use crate::pages::photos;
use crate::pages::view::View;
use crate::words::{fill, span};
use gantline_protocol::decimal::Decimal;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{ConditionId, EntryHash, Person};
use gantline_protocol::log::entry::{NoteKind, OrderState};
use gantline_protocol::plan::{Condition, ConditionKind};
use gantline_protocol::state::ConditionStatus;

fn words(name: &'static str, label: &str) -> Field {
    Field::Words(name, label.to_owned())
}

/// How a condition stands, in a line.
fn stands(view: &View, status: &ConditionStatus) -> String {
    let a = view.labels.acts;
    // Of a presence the value is who it is.
    let who = status.value.as_deref().and_then(|value| {
        let person = Person::try_from(value).ok()?;
        let known = view.status.crew.iter().any(|one| one.person == person);
        known.then(|| view.name(&person))
    });
    let value = who.as_deref().or(status.value.as_deref());
    let value = value.unwrap_or(a.not_said);
    match status.reasons.first() {
        Some(reason) => format!("{value}. {}", view.words.reason(reason)),
        None => {
            let left = status.valid_ms.saturating_sub(status.age_ms.unwrap_or(0));
            fill(a.good_for, &[("value", value), ("left", &span(left))])
        }
    }
}

pub(super) fn conditions(view: &View) -> Vec<Part> {
    let mut parts = Vec::new();
    for (condition, status) in view.plan.conditions.iter().zip(&view.status.conditions) {
        parts.push(Part::Head(condition.title.clone()));
        parts.push(Part::Line(stands(view, status)));
        parts.extend(of_condition(view, condition).into_iter().map(Part::Form));
    }
    parts
}

fn of_condition(view: &View, condition: &Condition) -> Vec<FormOf> {
    let a = view.labels.acts;
    let id = condition.id.as_str();
    let owns = condition
        .owners
        .iter()
        .any(|role| view.status.roles.contains(role));
    let affirm = || FormOf::held("affirm", id, a.still_so);
    let away = || FormOf::plain("away", id, a.no_longer);
    match &condition.kind {
        ConditionKind::Measured { limit } => {
            let Some(limit) = view.plan.limit(limit) else {
                return Vec::new();
            };
            let label = format!("{} ({})", limit.title, limit.unit);
            vec![FormOf::held("reading", id, a.read_it).with([Field::Number("value", label)])]
        }
        ConditionKind::NoneSeen => {
            let mut forms = vec![FormOf::plain("sighting", id, a.seen)];
            if owns {
                forms.push(FormOf::held("affirm", id, a.none_seen));
            }
            forms
        }
        ConditionKind::Presence | ConditionKind::Affirmed if owns => vec![affirm(), away()],
        ConditionKind::Presence | ConditionKind::Affirmed | ConditionKind::Order => Vec::new(),
    }
}

pub(super) fn identity(view: &View) -> Vec<Part> {
    let (l, a) = (view.labels, view.labels.acts);
    let form = FormOf::held("identity", "", a.identity_says).with([
        words("structure", l.structure),
        words("circuit", l.circuit),
        words("phase", l.phase),
        words("method", a.method),
    ]);
    vec![Part::Form(form)]
}

pub(super) fn order(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let line = &view.plan.line;
    let own = |text: &String| (text.clone(), text.clone());
    let states = [
        ("in-effect", a.order_in_effect),
        ("lapsed", a.order_lapsed),
        ("released", a.order_released),
        ("by-others", a.order_by_others),
    ];
    let states = states.map(|(value, shown)| (value.to_owned(), shown.to_owned()));
    let read_back = vec![("yes".to_owned(), a.order_read_back.to_owned())];
    let structure = vec![own(&line.structure)];
    let form = FormOf::held("order", "", a.order_says).with([
        words("order", a.order_number),
        Field::One("state", a.order_state.to_owned(), states.into(), false),
        words("by", a.order_by),
        Field::Any(
            "terminal",
            a.order_terminals.to_owned(),
            line.terminals.iter().map(own).collect(),
        ),
        Field::Any("read-back", a.order_checked.to_owned(), read_back),
        Field::Any("covers", a.order_covers.to_owned(), structure),
        words("line-state", a.order_line),
    ]);
    let planned = line.order.as_deref().unwrap_or(a.none);
    let line = fill(a.order_planned, &[("order", planned)]);
    vec![Part::Line(line), Part::Form(form)]
}

pub(super) fn note(view: &View) -> Vec<Part> {
    let (l, a) = (view.labels, view.labels.acts);
    let mut parts = vec![Part::Form(FormOf::plain("note", "", a.note_says).with([
        words("text", l.words_field),
        Field::Photo(photos::FIELD, a.photo.to_owned()),
    ]))];
    let open = view.status.open_items.iter();
    parts.extend(open.map(|item| {
        Part::Form(
            FormOf::held("closes-item", item, a.closes_says)
                .titled(fill(a.open_item, &[("what", item)]))
                .with([words("text", a.done_about_it)]),
        )
    }));
    if view.is_supervisor() {
        parts.extend(for_the_office(view));
    }
    let checks = check_choices(view, |_, done| !done);
    let marks = view.plan.marks.iter();
    let marks = marks.map(|mark| (mark.id.to_string(), mark.id.to_string()));
    parts.push(Part::Form(
        FormOf::plain("late", "", a.late_says).titled(a.late).with([
            Field::One("check", a.which_check.to_owned(), checks, false),
            Field::One("mark", a.which_mark.to_owned(), marks.collect(), true),
            words("text", l.words_field),
        ]),
    ));
    let beside = view.beside;
    if !beside.aside.photos.is_empty() {
        let gallery = photos::gallery(view, &beside.aside.photos, &beside.photos_here);
        parts.extend([Part::Head(a.photos.to_owned()), Part::Other(gallery)]);
    }
    parts
}

/// What the supervisor notes: that a late note was reviewed, that a device off the job is not to be heard any longer.
fn for_the_office(view: &View) -> Vec<Part> {
    let (l, a) = (view.labels, view.labels.acts);
    let aside = &view.beside.aside;
    let reviews = aside.late.iter().map(|late| {
        let says = view.words.entry(&late.body);
        FormOf::held("reviewed", &late.entry.to_string(), a.reviewed_says)
            .titled(format!("{}: {says}", view.name(&late.by)))
            .with([words("text", l.words_field)])
    });
    let mutes = aside.callers.iter().map(|(key, called)| {
        FormOf::held("mute", &key.to_string(), a.mute_says)
            .titled(fill(a.mute, &[("words", called)]))
            .with([words("text", a.why)])
    });
    reviews.chain(mutes).map(Part::Form).collect()
}

pub(super) fn correct(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let own = view.beside.aside.own.iter();
    let mut parts: Vec<Part> = own
        .map(|written| {
            let says = view.words.entry(&written.body);
            let title = format!("{} {says}", view.clock(written.wall.0));
            Part::Form(
                FormOf::plain("correct", &written.entry.to_string(), a.correct_says)
                    .titled(title)
                    .with([words("text", a.what_is_right)]),
            )
        })
        .collect();
    if parts.is_empty() {
        parts.push(Part::Line(a.nothing_yet.to_owned()));
    }
    parts
}

pub(super) fn deed(view: &View, form: &Form) -> Option<Result<Deed, String>> {
    let does = form.text("do");
    Some(match does {
        "reading" | "sighting" | "affirm" | "away" => condition(view, form),
        "identity" => identity_read(view, form),
        "order" => order_said(view, form),
        "note" | "closes-item" | "late" | "reviewed" | "mute" => noted(view, form),
        "correct" => corrected(view, form),
        _ => return None,
    })
}

fn condition(view: &View, form: &Form) -> Result<Deed, String> {
    let not_asked = || view.labels.not_asked.to_owned();
    let condition: ConditionId = form.value("about").ok_or_else(not_asked)?;
    let planned = view.plan.condition(&condition).ok_or_else(not_asked)?;
    Ok(match form.text("do") {
        "reading" => {
            let ConditionKind::Measured { limit } = &planned.kind else {
                return Err(not_asked());
            };
            let limit = view.plan.limit(limit).ok_or_else(not_asked)?;
            let read: Decimal = value(view, form, "value", &limit.title)?;
            // A reading out of bounds is one that the others must have, whatever has changed.
            Deed::Safe(Command::Reading {
                condition,
                value: Some(read),
                unit: limit.unit.clone(),
            })
        }
        "sighting" => Deed::Safe(Command::Reading {
            condition,
            value: None,
            unit: String::new(),
        }),
        "away" => Deed::Safe(Command::Away { condition }),
        _ => Deed::Seen(Command::Affirm { condition }),
    })
}

fn identity_read(view: &View, form: &Form) -> Result<Deed, String> {
    let (l, a) = (view.labels, view.labels.acts);
    let text = |name: &str, label: &str| needed(view, form, name, label).map(ToOwned::to_owned);
    Ok(Deed::Seen(Command::Identity {
        structure: text("structure", l.structure)?,
        circuit: text("circuit", l.circuit)?,
        phase: text("phase", l.phase)?,
        method: text("method", a.method)?,
    }))
}

fn order_said(view: &View, form: &Form) -> Result<Deed, String> {
    let a = view.labels.acts;
    let state = match needed(view, form, "state", a.order_state)? {
        "in-effect" => OrderState::InEffect,
        "lapsed" => OrderState::Lapsed,
        "released" => OrderState::Released,
        _ => OrderState::ReleasedByOthers {
            by: needed(view, form, "by", a.order_by)?.to_owned(),
        },
    };
    let in_effect = state == OrderState::InEffect;
    let command = Command::OrderStatus {
        order: needed(view, form, "order", a.order_number)?.to_owned(),
        state,
        terminals: chosen(form, "terminal"),
        read_back: form.each("read-back").next().is_some(),
        covers: chosen(form, "covers"),
        line_state: Some(form.text("line-state").to_owned()).filter(|it| !it.is_empty()),
    };
    // That an order is no longer in effect is what the others must have, whatever has changed.
    Ok(if in_effect {
        Deed::Seen(command)
    } else {
        Deed::Safe(command)
    })
}

fn noted(view: &View, form: &Form) -> Result<Deed, String> {
    let (l, a) = (view.labels, view.labels.acts);
    let mut about = None;
    let not_asked = || l.not_asked.to_owned();
    let kind = match form.text("do") {
        "note" => NoteKind::Plain,
        "reviewed" => {
            about = Some(form.value("about").ok_or_else(not_asked)?);
            NoteKind::Reviewed
        }
        "mute" => NoteKind::Mute {
            key: form.value("about").ok_or_else(not_asked)?,
        },
        "closes-item" => NoteKind::ClosesItem {
            item: needed(view, form, "about", a.open_item)?.to_owned(),
        },
        _ => {
            let named = needed(view, form, "check", a.which_check)?;
            let (step, check) = check_of(named).ok_or_else(not_asked)?;
            let mark = option(view, form, "mark", a.which_mark)?;
            NoteKind::Late { step, check, mark }
        }
    };
    Ok(Deed::Safe(Command::Note {
        text: needed(view, form, "text", l.words_field)?.to_owned(),
        about,
        kind,
    }))
}

fn corrected(view: &View, form: &Form) -> Result<Deed, String> {
    let entry: EntryHash = form
        .value("about")
        .ok_or_else(|| view.labels.not_asked.to_owned())?;
    let text = needed(view, form, "text", view.labels.acts.what_is_right)?.to_owned();
    Ok(Deed::Safe(Command::Correction { entry, text }))
}
