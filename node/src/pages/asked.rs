//! Asked: what is asked of the holder, as a control; and what does a press on it mean?
//! Owns: nothing.   Gives: `Asked`, `Gives`, `command`.
//! May use: view, number, protocol's commands.   Never: whether it counts (the node answers).

use crate::pages::form::Form;
use crate::pages::moves;
use crate::pages::number;
use crate::pages::view::{Choice, View};
use crate::words::fill;
use gantline_protocol::decimal::Decimal;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{CheckId, EntryHash, LimitId, StepId};
use gantline_protocol::log::entry::{Body, NoteKind, OrderState, Said};
use gantline_protocol::plan::{Check, ConditionKind, Expects};
use gantline_protocol::reason::Reason;
use gantline_protocol::state::{AskedOf, Given};

/// Kept pressed for so long at least: longer than the second after which a page is not live, so that a tick
/// came during the press; longer than a browser's own long press.
pub(crate) const HOLD_MS: u32 = 1_200;

/// One thing asked, as it stands on its control.
pub(crate) struct Asked {
    /// Its place in the status's list.
    pub(crate) at: usize,
    /// What the holder says by pressing it.
    pub(crate) quote: String,
    /// How it is given.
    pub(crate) gives: Gives,
    /// The check that it is about.
    pub(crate) check: Option<(StepId, CheckId)>,
    /// Given before, and to be given again.
    pub(crate) again: bool,
    /// Given with what was done since, in words (ROUND).
    pub(crate) since: bool,
    /// For how long it is kept pressed, ms.
    pub(crate) hold_ms: u32,
}

/// What comes with the press.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) enum Gives {
    /// Nothing more.
    Press,
    /// A number within a limit.
    Number(LimitId),
    /// One of these answers: what is sent, what is shown.
    Answers(Vec<(String, String)>),
    /// Structure, circuit and phase as read.
    Identity,
    /// Words.
    Words,
    /// How many went out and are back.
    Tally(String),
    /// The cause of a stop, in words.
    Cause,
    /// A press, or a refusal beside it.
    Agree,
    /// The same, once this was read.
    Read(String),
    /// Nothing but what was done since.
    Since,
}

/// The first part of a check that rests on something said before it.
const BEFORE: &str = "before";
const CONFIRM: &str = "confirm";

/// Everything asked, the most pressing first.
pub(crate) fn all(view: &View) -> Vec<Asked> {
    let asked = view.asked().into_iter();
    let mut all: Vec<Asked> = asked.map(|(at, one)| control(view, at, one)).collect();
    // After all that is asked: what may be done unasked.
    let pressing = all
        .first()
        .is_some_and(|one| matches!(view.status.asked.get(one.at), Some(AskedOf::Heard { .. })));
    for (n, (quote, command)) in moves::extras(view).into_iter().enumerate() {
        let one = plain(view.status.asked.len() + n, quote);
        // Unless it was chosen, and no stop waits for an answer.
        if !pressing && view.choice == Some(Choice::Unasked(command)) {
            all.insert(0, one);
        } else {
            all.push(one);
        }
    }
    all
}

fn plain(at: usize, quote: String) -> Asked {
    Asked {
        at,
        quote,
        gives: Gives::Press,
        check: None,
        again: false,
        since: false,
        hold_ms: HOLD_MS,
    }
}

fn control(view: &View, at: usize, asked: &AskedOf) -> Asked {
    let l = view.labels;
    let press = |quote: String| plain(at, quote);
    let with = |quote: String, gives: Gives| Asked {
        gives,
        ..press(quote)
    };
    match asked {
        AskedOf::Accept => press(l.say_accept.to_owned()),
        AskedOf::Briefing { .. } => press(l.say_briefed.to_owned()),
        AskedOf::Check {
            step,
            check,
            again,
            since,
        } => Asked {
            again: *again,
            since: *since,
            ..about_check(view, press(String::new()), step, check, *since)
        },
        AskedOf::Heard { .. } => press(l.say_heard.to_owned()),
        AskedOf::Ask { .. } => with(l.say_ask.to_owned(), Gives::Cause),
        AskedOf::Agree { to } => {
            let (quote, gives) = agreement(view, to);
            with(quote, gives)
        }
        AskedOf::Condition { condition } => {
            let quote = view.words.condition(condition);
            match view.plan.condition(condition).map(|one| &one.kind) {
                Some(ConditionKind::Measured { limit }) => {
                    with(quote, Gives::Number(limit.clone()))
                }
                Some(ConditionKind::Order) => with(quote, order_gives(view)),
                _ => press(quote),
            }
        }
        AskedOf::TakeRole { role, .. } => {
            let role = view.words.role(role);
            press(fill(l.say_role, &[("role", &role)]))
        }
        AskedOf::Ready { handoff, .. } => press(fill(l.say_ready, &[("what", handoff.as_str())])),
        AskedOf::Take { handoff, .. } => press(fill(l.say_take, &[("what", handoff.as_str())])),
        AskedOf::StillSo => press(l.say_still_so.to_owned()),
        AskedOf::Consent { device, .. } => {
            press(fill(l.say_consent, &[("who", &view.device_name(device))]))
        }
        AskedOf::InTheClear => press(l.say_clear.to_owned()),
    }
}

/// What is agreed to: that the work goes on; or something else, which is read first.
fn agreement(view: &View, to: &EntryHash) -> (String, Gives) {
    let (l, a) = (view.labels, view.labels.acts);
    let proposed = &view.beside.aside.proposed;
    let written = proposed.iter().find(|written| written.entry == *to);
    let quote = match written.map(|written| &written.body) {
        Some(Body::Exception(_)) => a.agree_exception,
        Some(Body::ExitPlan(_)) => a.agree_exit,
        Some(Body::Void(_)) => a.agree_void,
        _ => return (l.say_agree.to_owned(), Gives::Agree),
    };
    let read = written.map_or_else(String::new, |written| {
        format!(
            "{}: {}",
            view.name(&written.by),
            view.words.entry(&written.body)
        )
    });
    (quote.to_owned(), Gives::Read(read))
}

/// The order number as planned; else it is typed.
fn order_gives(view: &View) -> Gives {
    match &view.plan.line.order {
        Some(_) => Gives::Press,
        None => Gives::Words,
    }
}

fn about_check(view: &View, empty: Asked, step: &StepId, check: &CheckId, since: bool) -> Asked {
    let quote = view.words.check(step, check);
    let planned = view.plan.step(step);
    let gives = planned
        .and_then(|step| step.check(check))
        .map_or(Gives::Press, |check| gives(view, check));
    let value = own_value(view, step, check).filter(|_| since);
    let quote = value.as_ref().map_or_else(
        || quote.clone(),
        |(value, unit)| format!("{quote}: {value} {unit}"),
    );
    let gives = match gives {
        Gives::Press if since => Gives::Since,
        Gives::Number(_) if value.is_some() => Gives::Since,
        gives => gives,
    };
    let hold_ms = planned
        .filter(|step| step.critical)
        .map_or(HOLD_MS, |_| HOLD_MS.max(view.plan.times.press_ms));
    Asked {
        quote,
        gives,
        check: Some((step.clone(), check.clone())),
        hold_ms,
        ..empty
    }
}

/// The holder's own newest value of a check with its unit, if nothing is missing but what was done since one that did
/// not pass (REREAD).
fn own_value(view: &View, step: &StepId, check: &CheckId) -> Option<(Decimal, String)> {
    let status = view.status.steps.iter().find(|status| status.id == *step)?;
    let status = status.checks.iter().find(|status| status.id == *check)?;
    let own = |given: &&Given| Some(&given.by) == view.status.person.as_ref();
    let given = status.given.iter().rfind(own)?;
    let second = |reason: &Reason| matches!(reason, Reason::NeedsSecondReader { .. });
    let asked = given.reasons.iter().any(second);
    given.value.clone().filter(|_| asked)
}

fn gives(view: &View, check: &Check) -> Gives {
    let l = view.labels;
    let two = |before: &str| {
        Gives::Answers(vec![
            (BEFORE.to_owned(), before.to_owned()),
            (CONFIRM.to_owned(), check.text.clone()),
        ])
    };
    match &check.expects {
        Expects::Yes => Gives::Press,
        Expects::Measured { limit } => Gives::Number(limit.clone()),
        Expects::OneOf { answers, .. } => {
            let pair = |answer: &String| (answer.clone(), answer.clone());
            Gives::Answers(answers.iter().map(pair).collect())
        }
        Expects::Identity => Gives::Identity,
        Expects::Words => Gives::Words,
        Expects::Tally { of } => Gives::Tally(of.clone()),
        Expects::Heads => {
            let names: Vec<String> = view
                .status
                .crew
                .iter()
                .filter(|member| member.present)
                .map(|member| view.name(&member.person))
                .collect();
            two(&fill(l.say_heads, &[("who", &names.join(", "))]))
        }
        Expects::OrderIs { in_effect } => two(&fill(
            if *in_effect {
                l.say_order
            } else {
                l.say_order_released
            },
            &[
                ("order", view.plan.line.order.as_deref().unwrap_or("")),
                ("where", &view.plan.line.terminals.join(", ")),
            ],
        )),
    }
}

/// What a press on the control at this place means; else the words to say why it means nothing.
pub(crate) fn command(view: &View, at: usize, form: &Form) -> Result<Command, String> {
    let l = view.labels;
    let nothing = || l.not_asked.to_owned();
    if let Some(n) = at.checked_sub(view.status.asked.len()) {
        let extra = moves::extras(view).into_iter().nth(n);
        return extra.map(|(_, command)| command).ok_or_else(nothing);
    }
    let asked = view.status.asked.get(at).ok_or_else(nothing)?;
    let held_ms = form.value("held");
    Ok(match asked {
        AskedOf::Accept => Command::Accept,
        AskedOf::Briefing { .. } => Command::Briefed,
        AskedOf::Heard { stop } => Command::Heard { stop: Some(*stop) },
        AskedOf::Ask { .. } => {
            let said = [form.text("answer"), form.text("text")];
            let cause = said.into_iter().filter(|one| !one.is_empty());
            let cause: Vec<&str> = cause.collect();
            if cause.is_empty() {
                return Err(l.cause_question.to_owned());
            }
            Command::Ask {
                stops: Vec::new(),
                cause: cause.join(". "),
                open_item: None,
                closes_item: None,
            }
        }
        AskedOf::Agree { to } => Command::Agree { to: Some(*to) },
        AskedOf::Condition { condition } => {
            let kind = view.plan.condition(condition).map(|one| &one.kind);
            match kind.ok_or_else(nothing)? {
                ConditionKind::Measured { limit } => {
                    let limit = view.plan.limit(limit).ok_or_else(nothing)?;
                    Command::Reading {
                        condition: condition.clone(),
                        value: Some(number::value(view, limit, form)?),
                        unit: limit.unit.clone(),
                    }
                }
                ConditionKind::Order => order(view, form, true)?,
                ConditionKind::Presence | ConditionKind::NoneSeen | ConditionKind::Affirmed => {
                    Command::Affirm {
                        condition: condition.clone(),
                    }
                }
            }
        }
        AskedOf::TakeRole { role, .. } => Command::TakeRole { role: role.clone() },
        AskedOf::Ready { handoff, .. } => Command::Ready {
            handoff: Some(handoff.clone()),
            ready: true,
        },
        AskedOf::Take { handoff, .. } => Command::Take {
            handoff: Some(handoff.clone()),
        },
        AskedOf::StillSo => Command::Note {
            text: l.say_still_so.to_owned(),
            about: None,
            kind: NoteKind::StillSo,
        },
        AskedOf::Consent { proposal, .. } => Command::Consent {
            proposal: *proposal,
        },
        AskedOf::InTheClear => Command::HeadCount {
            clear: view.status.person.iter().cloned().collect(),
            assumed: Vec::new(),
        },
        AskedOf::Check {
            step, check, since, ..
        } => {
            let planned = view.plan.step(step).and_then(|step| step.check(check));
            let expects = &planned.ok_or_else(nothing)?.expects;
            if form.text("answer") == BEFORE {
                return before(view, expects, form);
            }
            if *since && !form.has("since") {
                return Err(l.since_question.to_owned());
            }
            let again = own_value(view, step, check).filter(|_| *since);
            Command::Acknowledge {
                step: step.clone(),
                check: check.clone(),
                said: match again {
                    Some((value, unit)) => Said::Value { value, unit },
                    None => said(view, expects, form)?,
                },
                change: since.then(|| form.text("since").to_owned()),
                held_ms,
            }
        }
    })
}

/// What a check rests on and is said before it: a head count, the order's state.
fn before(view: &View, expects: &Expects, form: &Form) -> Result<Command, String> {
    match expects {
        Expects::Heads => Ok(Command::HeadCount {
            clear: view
                .status
                .crew
                .iter()
                .filter(|member| member.present)
                .map(|member| member.person.clone())
                .collect(),
            assumed: Vec::new(),
        }),
        Expects::OrderIs { in_effect } => order(view, form, *in_effect),
        _ => Err(view.labels.not_asked.to_owned()),
    }
}

fn order(view: &View, form: &Form, in_effect: bool) -> Result<Command, String> {
    let line = &view.plan.line;
    let typed = Some(form.text("text")).filter(|text| !text.is_empty());
    let number = typed.or(line.order.as_deref());
    Ok(Command::OrderStatus {
        order: number
            .ok_or_else(|| view.labels.words_field.to_owned())?
            .to_owned(),
        state: if in_effect {
            OrderState::InEffect
        } else {
            OrderState::Released
        },
        terminals: line.terminals.clone(),
        read_back: true,
        covers: vec![line.structure.clone()],
        line_state: None,
    })
}

pub(crate) fn said(view: &View, expects: &Expects, form: &Form) -> Result<Said, String> {
    let l = view.labels;
    let needed = |name: &str, label: &str| {
        if form.has(name) {
            Ok(form.text(name).to_owned())
        } else {
            Err(fill(l.field_empty, &[("field", label)]))
        }
    };
    Ok(match expects {
        Expects::Yes | Expects::Heads | Expects::OrderIs { .. } => Said::Yes,
        Expects::Measured { limit } => {
            let limit = view
                .plan
                .limit(limit)
                .ok_or_else(|| l.not_asked.to_owned())?;
            Said::Value {
                value: number::value(view, limit, form)?,
                unit: limit.unit.clone(),
            }
        }
        Expects::OneOf { .. } => Said::Words(needed("answer", l.answer_question)?),
        Expects::Identity => Said::Identity {
            structure: needed("structure", l.structure)?,
            circuit: needed("circuit", l.circuit)?,
            phase: needed("phase", l.phase)?,
        },
        Expects::Words => Said::Words(needed("text", l.words_field)?),
        Expects::Tally { .. } => {
            let count = |name: &str, label: &str| {
                form.value::<u32>(name)
                    .ok_or_else(|| fill(l.field_empty, &[("field", label)]))
            };
            Said::Tally {
                out: count("out", l.tally_out)?,
                back: count("back", l.tally_back)?,
            }
        }
    })
}
