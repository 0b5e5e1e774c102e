//! Sheets: what lies over a page while something is chosen or typed.
//! Owns: nothing.   Gives: HTML of all of them, hidden until one is opened.
//! May use: view, asked, parts.   Never: words of its own; covers the stop control.

use crate::pages::asked::{Asked, Gives};
use crate::pages::number;
use crate::pages::parts::{hold, second, sheet_of};
use crate::pages::start;
use crate::pages::view::View;
use gantline_protocol::ids::LimitId;
use gantline_protocol::state::{AskedOf, CallWord, StopStatus};
use maud::{Markup, html};

/// Rows of a sheet that fit the smallest screen at full size.
const ROWS_MAX: usize = 4;

/// All sheets that this page may need now.
pub(crate) fn all(view: &View, asked: &[Asked]) -> Markup {
    html! {
        (start::sheets(view))
        @for one in asked { (give(view, one)) }
        @if asked.len() > 1 { (choose(view, asked)) }
        @if let Some(check) = asked.first().and_then(|one| one.check.as_ref()) {
            (reasons(view, "cannot", view.labels.cannot_question, view.labels.cannot_reasons, &[
                ("do", "cannot"), ("step", check.0.as_str()), ("check", check.1.as_str()),
            ]))
        }
        (withdraw(view))
        (decline(view, asked))
        @if let Some(stop) = own_stop(view) {
            @let entry = stop.entry.to_string();
            (reasons(view, "why", view.labels.why_question, view.labels.why_reasons, &[("do", "why"), ("stop", &entry)]))
        }
    }
}

/// That stop, while nothing else waits for an answer: to ask whether work goes on comes after why it does not.
pub(crate) fn unsaid<'a>(view: &View<'a>) -> Option<&'a StopStatus> {
    let mut asked = view.status.asked.iter();
    own_stop(view).filter(|_| asked.all(|one| matches!(one, AskedOf::Ask { .. })))
}

/// After an own stop, while nothing is asked: its reasons at once, so that one press more says why. The last of them
/// stands in the row below.
pub(crate) fn whys(view: &View, stop: &StopStatus) -> Markup {
    let near = view.labels.why_reasons.split_last();
    html! {
        form class="asked whys" method="post" action="/press" role="group" aria-label=(view.labels.why_question) {
            (about(stop))
            @for reason in near.map_or(&[][..], |(_, near)| near) { (why(reason)) }
        }
    }
}

/// The last reason of an own stop; where a phone's screen has no room for the others, the way to all of them.
pub(crate) fn other_why(view: &View, stop: &StopStatus) -> Markup {
    let l = view.labels;
    html! {
        div class="why-other" {
            form method="post" action="/press" {
                (about(stop))
                @if let Some(reason) = l.why_reasons.last() { (why(reason)) }
            }
            (second("saywhy", "why", l.say_why, l.say_why_sub))
        }
    }
}

fn about(stop: &StopStatus) -> Markup {
    html! {
        input type="hidden" name="do" value="why";
        input type="hidden" name="stop" value=(stop.entry);
    }
}

fn why(reason: &str) -> Markup {
    html! { button class="sec" name="text" value=(reason) data-control="why" { (reason) } }
}

/// A stop of the holder's own whose reason nobody has said.
pub(crate) fn own_stop<'a>(view: &View<'a>) -> Option<&'a StopStatus> {
    view.status
        .stops
        .iter()
        .find(|stop| stop.why.is_empty() && stop.by == view.status.person)
}

fn sheet(name: &str, content: &Markup, view: &View) -> Markup {
    let l = view.labels;
    html! {
        section class="sheet" data-name=(name) {
            (content)
            button class="sec back" type="button" data-control="back" { (l.back) small { (l.back_sub) } }
        }
    }
}

/// Reasons to choose from; pressing one sends it. A plain form, so that it works without scripts too.
fn reasons(
    view: &View,
    name: &str,
    question: &str,
    all: &[&str],
    fields: &[(&str, &str)],
) -> Markup {
    let content = html! {
        p class="question" { (question) }
        form method="post" action="/press" class="rows" {
            @for (name, value) in fields { input type="hidden" name=(name) value=(value); }
            @for reason in all {
                button class="sec r" name="text" value=(reason) data-control="why" { (reason) }
            }
        }
    };
    sheet(name, &content, view)
}

/// Why what is asked about is not agreed to.
fn decline(view: &View, asked: &[Asked]) -> Markup {
    let (l, a) = (view.labels, view.labels.acts);
    let asks = asked.iter().find_map(|one| {
        let to = match view.status.asked.get(one.at) {
            Some(AskedOf::Agree { to }) => to.to_string(),
            _ => return None,
        };
        Some((to, one.gives == Gives::Agree))
    });
    let Some((to, to_go_on)) = asks else {
        return html! {};
    };
    let (question, why) = if to_go_on {
        (l.decline_question, l.decline_reasons)
    } else {
        (a.decline_question, a.decline_reasons)
    };
    reasons(
        view,
        "decline",
        question,
        why,
        &[("do", "decline"), ("to", &to)],
    )
}

/// Which of several things asked is done next.
fn choose(view: &View, asked: &[Asked]) -> Markup {
    let content = html! {
        p class="question" { (view.labels.choose_asked) }
        form method="post" action="/press" class="rows" {
            input type="hidden" name="do" value="choose";
            @for one in asked.iter().skip(1) {
                button class="sec r" name="at" value=(one.at) data-control="why" { (one.quote) }
            }
        }
    };
    sheet("choose", &content, view)
}

/// Which of the own confirmations is taken back.
fn withdraw(view: &View) -> Markup {
    let l = view.labels;
    let own = view.own_given();
    let content = html! {
        p class="question" { (if own.is_empty() { l.withdraw_none } else { l.withdraw_question }) }
        div class="rows" {
            @for (step, check) in own.iter().take(ROWS_MAX) {
                form method="post" action="/press" {
                    input type="hidden" name="do" value="withdraw";
                    input type="hidden" name="step" value=(step.id);
                    input type="hidden" name="check" value=(check.id);
                    input type="hidden" name="text" value=(l.withdraw_why);
                    button class="sec r" data-control="why" { (check.text) }
                }
            }
        }
    };
    sheet("withdraw", &content, view)
}

/// The sheet that opens by itself: the one thing asked is a number, and the step is open. In a Hold the page says
/// what to keep secure, and with more asked which of it comes first is the holder's.
pub(crate) fn opening(view: &View, asked: &[Asked]) -> Option<String> {
    match asked {
        [one] if matches!(one.gives, Gives::Number(_)) && view.is(CallWord::Proceed) => {
            Some(sheet_of(one))
        }
        _ => None,
    }
}

/// The sheet on which a thing asked is given.
fn give(view: &View, one: &Asked) -> Markup {
    let l = view.labels;
    let name = sheet_of(one);
    match &one.gives {
        Gives::Press | Gives::Agree => html! {},
        Gives::Number(limit) => number_sheet(view, one, limit),
        Gives::Read(text) => sheet(
            &name,
            &html! {
                p class="question" { (text) }
                (hold(view, one, &one.quote, l.keep_pressed, None))
            },
            view,
        ),
        Gives::Answers(answers) => sheet(
            &name,
            &html! {
                p class="question" { (l.answer_question) br; (one.quote) }
                (since(view, one))
                div class="rows" {
                    @for (value, shown) in answers {
                        (hold(view, one, shown, l.keep_pressed_send, Some(value)))
                    }
                }
            },
            view,
        ),
        Gives::Identity => fields(
            view,
            one,
            &[
                ("structure", l.structure),
                ("circuit", l.circuit),
                ("phase", l.phase),
            ],
            "text",
        ),
        Gives::Words => fields(view, one, &[("text", l.words_field)], "text"),
        Gives::Tally(of) => {
            let (out, back) = (
                format!("{} ({of})", l.tally_out),
                format!("{} ({of})", l.tally_back),
            );
            fields(view, one, &[("out", &out), ("back", &back)], "numeric")
        }
        Gives::Cause => sheet(
            &name,
            &html! {
                p class="question" { (l.cause_question) }
                // The usual causes are one press each, kept as long as any other; another one is typed.
                div class="grid" {
                    @for cause in l.cause_reasons.iter().take(ROWS_MAX) {
                        (hold(view, one, cause, l.keep_pressed_send, Some(cause)))
                    }
                }
                label class="field" { (l.words_field) input name="text" autocomplete="off" maxlength="400"; }
                (hold(view, one, &one.quote, l.keep_pressed_send, None))
            },
            view,
        ),
        Gives::Since => fields(view, one, &[], "text"),
    }
}

/// Words to type, or to take from those at hand.
fn words(label: &str, name: &str, at_hand: &[&str]) -> Markup {
    html! {
        label class="field" { (label) input name=(name) autocomplete="off" maxlength="400"; }
        div class="rows few" {
            @for words in at_hand.iter().take(ROWS_MAX) {
                button class="sec r" type="button" data-control="fill" data-into=(name) data-fill=(words) { (words) }
            }
        }
    }
}

/// What was done since, where a look says that.
fn since(view: &View, one: &Asked) -> Markup {
    let l = view.labels;
    html! { @if one.since { (words(l.since_question, "since", l.since_words)) } }
}

fn fields(view: &View, one: &Asked, all: &[(&str, &str)], mode: &str) -> Markup {
    let l = view.labels;
    sheet(
        &sheet_of(one),
        &html! {
            p class="question" { (one.quote) }
            @for (name, label) in all {
                label class="field" { (label) input name=(name) inputmode=(mode) autocomplete="off" maxlength="120"; }
            }
            (since(view, one))
            (hold(view, one, &one.quote, l.keep_pressed_send, None))
        },
        view,
    )
}

/// Digits, and what they come to. Nothing is filled in beforehand, no key is ignored, nothing is cleared by time.
///
/// On the worker's page it opens by itself (`opening`), so that a number is its digits and one press to send. Until the
/// first of them, the place of that press has what the own page has there: what to do, and both ways to refuse.
fn number_sheet(view: &View, one: &Asked, limit: &LimitId) -> Markup {
    let l = view.labels;
    let Some(limit) = view.plan.limit(limit) else {
        return html! {};
    };
    let feet = number::in_feet(limit);
    let boxes: &[(&str, &str)] = if feet {
        &[("feet", l.feet), ("inches", l.inches)]
    } else {
        &[("value", limit.unit.as_str())]
    };
    let empty = crate::words::fill(
        l.type_value,
        &[("limit", &number::limit_words(view, limit))],
    );
    let step = one
        .check
        .as_ref()
        .and_then(|(step, _)| view.plan.step(step));
    let about = match &one.check {
        Some((step, check)) => format!("{step}/{check}"),
        None => limit.id.to_string(),
    };
    html! {
        section class="sheet number" data-name=(sheet_of(one)) data-limit=(limit.id) data-about=(about) {
            p class="question" { (one.quote) }
            div class="boxes" {
                @for (name, unit) in boxes {
                    button class="val" type="button" data-control="box" data-box=(name) aria-label=(unit) {
                        output {} span { (unit) }
                    }
                }
            }
            div class="before" {
                p { @if let Some(step) = step { (step.text) ". " } (empty) }
                div class="row" {
                    @if one.check.is_some() { (second("cannot", "cannot", l.cannot, l.cannot_sub)) } @else { div class="sec place" {} }
                    @if !view.own_given().is_empty() { (second("withdraw", "withdraw", l.withdraw, l.withdraw_sub)) }
                }
            }
            (since(view, one))
            p class="judge" role="status" {}
            button class="act" type="button" data-control="confirm" data-give=(one.at) data-hold=(one.hold_ms)
                data-face=(view.face) {
                span class="fill" {}
                span class="tx" { span class="spoken" { (l.no_number) } small { (if view.two_presses { l.press_twice } else { l.keep_pressed_send }) } }
            }
            div class="pad" {
                @for key in ["1", "2", "3", "4", "5", "6", "7", "8", "9"] {
                    button type="button" data-control="key" data-key=(key) { (key) }
                }
                @if feet {
                    button class="w" type="button" data-control="key" data-key="box" { (l.feet_inches) }
                } @else {
                    button type="button" data-control="key" data-key="." { "." }
                }
                button type="button" data-control="key" data-key="0" { "0" }
                button class="w" type="button" data-control="key" data-key="clear" { span class="last" { (l.clear_last) } span class="none" { (l.back) } }
            }
        }
    }
}
