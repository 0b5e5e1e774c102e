//! Answers: may an acknowledgement say this? (gate rule C7)
//! Owns: nothing.   Gives: the reasons against what was said; empty: it passes.
//! May use: plan, decimal, log::entry, the other facts.   Never: who said it and when (gate).

use super::Facts;
use crate::decimal::Decimal;
use crate::gate::Roster;
use crate::ids::{DeviceKey, ItemId};
use crate::log::entry::Said;
use crate::log::graph::{Cut, Graph};
use crate::plan::{Check, Expects, Limit, Plan};
use crate::reason::Reason;

/// A value to `places` digits after the point, towards minus infinity.
fn floor(value: Decimal, places: u8) -> Decimal {
    let (digits, scale) = value.parts();
    if scale <= places {
        return value;
    }
    let unit = 10_i64.pow(u32::from(scale - places));
    Decimal::new(digits.div_euclid(unit), places).unwrap_or(value)
}

/// A value to `places` digits after the point, towards plus infinity.
fn ceiling(value: Decimal, places: u8) -> Decimal {
    let (digits, scale) = value.parts();
    if scale <= places {
        return value;
    }
    let unit = 10_i64.pow(u32::from(scale - places));
    let down = digits.div_euclid(unit);
    let up = if digits.rem_euclid(unit) == 0 {
        down
    } else {
        down.saturating_add(1)
    };
    Decimal::new(up, places).unwrap_or(value)
}

/// A limit's bounds as people see them: a least value rounded up, a greatest rounded down, so that the
/// figure on the screen is never easier to meet than the limit.
#[must_use]
pub fn limit_as_shown(limit: &Limit) -> (Option<Decimal>, Option<Decimal>) {
    (
        limit.least.map(|least| ceiling(least, limit.places)),
        limit.most.map(|most| floor(most, limit.places)),
    )
}

/// Whether a value is inside a limit. At the limit passes; beyond it by less than the display step does
/// not: a value with more digits than are shown is rounded to the worse side before it is judged.
#[must_use]
pub fn within(limit: &Limit, value: Decimal) -> bool {
    let (least, most) = limit_as_shown(limit);
    least.is_none_or(|least| floor(value, limit.places) >= least)
        && most.is_none_or(|most| ceiling(value, limit.places) <= most)
}

/// What form of answer a check wants, in words of the plan.
#[must_use]
pub fn answer_form(plan: &Plan, expects: &Expects) -> String {
    match expects {
        Expects::Yes | Expects::Heads | Expects::OrderIs { .. } => "yes".to_owned(),
        Expects::Measured { limit } => match plan.limit(limit) {
            Some(limit) => format!("a value in {}", limit.unit),
            None => format!("a value for the limit {limit}"),
        },
        Expects::OneOf { answers, .. } => answers.join(" / "),
        Expects::Identity => "structure, circuit and phase".to_owned(),
        Expects::Words => "words".to_owned(),
        Expects::Tally { of } => format!("how many {of} went out and are back"),
    }
}

impl Facts {
    /// VALUE (C7): the reasons against what an acknowledgement of `check` says. `cut` is the author's past,
    /// `roster` and `plan` those of it.
    #[must_use]
    #[allow(
        clippy::too_many_arguments,
        reason = "a query over log, cut, roster and plan"
    )]
    pub fn answer(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        plan: &Plan,
        author: DeviceKey,
        check: &Check,
        said: &Said,
    ) -> Vec<Reason> {
        let form = || {
            vec![Reason::WrongAnswerForm {
                expected: answer_form(plan, &check.expects),
            }]
        };
        match (&check.expects, said) {
            (Expects::Yes, Said::Yes) => Vec::new(),
            (Expects::Measured { limit }, Said::Value { value, unit }) => match plan.limit(limit) {
                Some(limit) if &limit.unit == unit => {
                    if within(limit, *value) {
                        Vec::new()
                    } else {
                        vec![Reason::OutOfLimit {
                            limit: limit.id.clone(),
                            value: *value,
                            least: limit.least,
                            most: limit.most,
                        }]
                    }
                }
                _ => form(),
            },
            (Expects::OneOf { answers, passes }, Said::Words(words)) => {
                if words == passes {
                    Vec::new()
                } else if answers.contains(words) {
                    vec![Reason::AnswerNotPassing {
                        found: words.clone(),
                        expected: passes.clone(),
                    }]
                } else {
                    form()
                }
            }
            (
                Expects::Identity,
                Said::Identity {
                    structure,
                    circuit,
                    phase,
                },
            ) => self.identity_answer(graph, cut, plan, [structure, circuit, phase]),
            (Expects::Words, Said::Words(words)) if !words.trim().is_empty() => Vec::new(),
            (Expects::Tally { of }, Said::Tally { out, back }) => {
                if out != back {
                    return vec![Reason::NotAccounted {
                        what: format!("{of}: {out} out, {back} back"),
                    }];
                }
                // The number comes from what was logged back, not from a figure that was typed.
                let missing = self.tool_counts(graph, cut, plan).missing;
                let words: Vec<&str> = missing.iter().map(ItemId::as_str).collect();
                if words.is_empty() {
                    Vec::new()
                } else {
                    vec![Reason::NotAccounted {
                        what: words.join(", "),
                    }]
                }
            }
            (Expects::Heads, Said::Yes) => {
                let view = self.heads_of(graph, cut, roster, author);
                if view.complete() {
                    Vec::new()
                } else {
                    vec![Reason::NotAccounted {
                        what: view.missing_words(),
                    }]
                }
            }
            (Expects::OrderIs { in_effect }, Said::Yes) => {
                self.order_answer(graph, cut, plan, *in_effect)
            }
            _ => form(),
        }
    }

    /// IDENTITY: what was read equals the plan's line, and the order in the past names that structure.
    fn identity_answer(
        &self,
        graph: &Graph,
        cut: &Cut,
        plan: &Plan,
        read: [&String; 3],
    ) -> Vec<Reason> {
        let planned = [&plan.line.structure, &plan.line.circuit, &plan.line.phase];
        let words = |parts: [&String; 3]| {
            parts
                .iter()
                .map(|part| part.trim())
                .collect::<Vec<_>>()
                .join(" / ")
        };
        if words(planned) != words(read) {
            return vec![Reason::IdentityMismatch {
                planned: words(planned),
                read: words(read),
            }];
        }
        match self.order(graph, cut, plan) {
            Some(order)
                if !order.covers.is_empty()
                    && !order
                        .covers
                        .iter()
                        .any(|place| place.trim() == read[0].trim()) =>
            {
                vec![Reason::IdentityMismatch {
                    planned: order.covers.join(", "),
                    read: read[0].trim().to_owned(),
                }]
            }
            _ => Vec::new(),
        }
    }

    fn order_answer(&self, graph: &Graph, cut: &Cut, plan: &Plan, in_effect: bool) -> Vec<Reason> {
        let expected = if in_effect { "in effect" } else { "released" };
        let found = match self.order(graph, cut, plan) {
            Some(order) if order.in_effect && in_effect => return Vec::new(),
            Some(order) if order.released && !in_effect => return Vec::new(),
            Some(order) => order.words(),
            None => "not said".to_owned(),
        };
        vec![Reason::AnswerNotPassing {
            found,
            expected: expected.to_owned(),
        }]
    }
}
