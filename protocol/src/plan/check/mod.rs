//! Check: does a plan hang together?
//! Owns: nothing.   Gives: `check`, `errors`, `Finding`, `Problem`.
//! May use: plan::types, ids, bounds.   Never: text formats (parse), orders of steps (explore).
//!
//! In reading order: `problem` what can be wrong · `crew` roles, limits, conditions, items · `work` steps,
//! marks, rules and the order of steps.

mod crew;
mod problem;
mod work;

pub use problem::{Finding, Grade, Problem};

use crate::bounds::{PLAN_MAX_BYTES, STEPS_MAX};
use crate::plan::parse::nearest_of;
use crate::plan::types::Plan;

/// All that is wrong with a plan, in the order of its parts.
#[must_use]
pub fn check(plan: &Plan) -> Vec<Finding> {
    let mut notes = Notes(Vec::new());
    head(plan, &mut notes);
    crew::roles(plan, &mut notes);
    crew::limits(plan, &mut notes);
    crew::conditions(plan, &mut notes);
    crew::items(plan, &mut notes);
    work::marks(plan, &mut notes);
    work::rules(plan, &mut notes);
    work::steps(plan, &mut notes);
    work::order(plan, &mut notes);
    size(plan, &mut notes);
    notes.0
}

/// Only what keeps a job from being founded on the plan, or an amendment from being made.
#[must_use]
pub fn errors(plan: &Plan) -> Vec<Finding> {
    let mut findings = check(plan);
    findings.retain(|finding| finding.problem.grade() == Grade::Error);
    findings
}

/// What was found so far.
struct Notes(Vec<Finding>);

impl Notes {
    fn add(&mut self, at: impl Into<String>, problem: Problem) {
        self.0.push(Finding {
            at: at.into(),
            first: None,
            problem,
        });
    }

    fn text(&mut self, at: impl Into<String>, what: &'static str, text: &str) {
        if text.trim().is_empty() {
            self.add(at, Problem::Empty { what });
        }
    }

    fn some<T>(&mut self, at: impl Into<String>, what: &'static str, list: &[T]) {
        if list.is_empty() {
            self.add(at, Problem::Empty { what });
        }
    }

    /// Each id of a list once; `place` makes an index into a path.
    fn once<'a, T: PartialEq + ToString + 'a>(
        &mut self,
        what: &'static str,
        ids: impl Iterator<Item = &'a T>,
        place: impl Fn(usize) -> String,
    ) {
        let mut seen: Vec<&T> = Vec::new();
        for (index, id) in ids.enumerate() {
            if let Some(first) = seen.iter().position(|other| *other == id) {
                self.0.push(Finding {
                    at: place(index),
                    first: Some(place(first)),
                    problem: Problem::Twice {
                        what,
                        id: id.to_string(),
                    },
                });
            }
            seen.push(id);
        }
    }

    /// Each id of a list is one of the known.
    fn known<'a, T: PartialEq + ToString + 'a>(
        &mut self,
        what: &'static str,
        ids: &[T],
        known: impl Iterator<Item = &'a T> + Clone,
        place: impl Fn(usize) -> String,
    ) {
        for (index, id) in ids.iter().enumerate() {
            if !known.clone().any(|other| other == id) {
                let words: Vec<String> = known.clone().map(ToString::to_string).collect();
                let id = id.to_string();
                let nearest = nearest_of(&id, &words);
                self.add(place(index), Problem::Unknown { what, id, nearest });
            }
        }
    }
}

fn head(plan: &Plan, notes: &mut Notes) {
    notes.text("title", "title", &plan.title);
    notes.some("cautions", "cautions", &plan.cautions);
    notes.some("briefing", "briefing", &plan.briefing);
    let line = &plan.line;
    notes.text("line.name", "name", &line.name);
    notes.text("line.circuit", "circuit", &line.circuit);
    notes.text("line.phase", "phase", &line.phase);
    notes.text("line.structure", "structure", &line.structure);
    notes.some("line.terminals", "terminals", &line.terminals);
    notes.once("terminal", line.terminals.iter(), |index| {
        format!("line.terminals[{index}]")
    });
    notes.once(
        "datum",
        line.data.iter().map(|datum| &datum.name),
        |index| format!("line.data[{index}]"),
    );
    if line.voltage_kv <= crate::decimal::Decimal::ZERO {
        notes.add(
            "line.voltage_kv",
            Problem::NotAboveZero {
                what: "voltage_kv",
                found: line.voltage_kv,
            },
        );
    }
    times(plan, notes);
}

fn times(plan: &Plan, notes: &mut Notes) {
    use crate::bounds::{
        LOST_AFTER_RANGE_MS, PRESS_RANGE_MS, READY_VALID_RANGE_S, WATCH_LIMIT_RANGE_MS,
    };
    let times = &plan.times;
    for (what, found, range) in [
        ("watch_limit_ms", times.watch_limit_ms, WATCH_LIMIT_RANGE_MS),
        ("lost_after_ms", times.lost_after_ms, LOST_AFTER_RANGE_MS),
        (
            "ready_valid_s",
            times.ready_valid_s.into(),
            READY_VALID_RANGE_S,
        ),
        ("press_ms", times.press_ms.into(), PRESS_RANGE_MS),
    ] {
        if !range.contains(&found) {
            let (least, most) = (*range.start(), *range.end());
            notes.add(
                format!("times.{what}"),
                Problem::TimeOutOfRange {
                    what,
                    found,
                    least,
                    most,
                },
            );
        }
    }
    if times.lost_after_ms < times.watch_limit_ms {
        notes.add(
            "times",
            Problem::LostBeforeHeld {
                lost: times.lost_after_ms,
                watch: times.watch_limit_ms,
            },
        );
    }
}

fn size(plan: &Plan, notes: &mut Notes) {
    if plan.steps.len() > STEPS_MAX {
        notes.add(
            "step",
            Problem::TooManySteps {
                found: plan.steps.len(),
                most: STEPS_MAX,
            },
        );
    }
    // A plan of plain data always encodes; should it ever not, it does not fit an entry either.
    let found = postcard::to_stdvec(plan).map_or(usize::MAX, |bytes| bytes.len());
    if found > PLAN_MAX_BYTES {
        notes.add(
            "",
            Problem::TooLarge {
                found,
                most: PLAN_MAX_BYTES,
            },
        );
    }
}

#[cfg(test)]
mod tests;
