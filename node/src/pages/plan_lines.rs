//! Plan lines: how is a part of the plan told in one line, in the device's language?
//! Owns: nothing.   Gives: `stop_words`, `condition_line`, `item_line`, `check_line`.
//! May use: the plan, view.   Never: a part that the plan's own page has and this leaves out; the plan's text in other words.

use crate::pages::number::limit_words;
use crate::pages::view::View;
use crate::words::fill;
use gantline_protocol::ids::RoleId;
use gantline_protocol::plan::{
    Check, Condition, ConditionKind, Expects, Item, Lasts, Who, stop_seconds,
};

/// What the crew must know of the tool itself.
pub(crate) fn stop_words(view: &View) -> Vec<String> {
    let p = view.labels.plan_words;
    let [device, page] = stop_seconds(view.plan);
    let who = names(view, &view.plan.agree_by, p.stop_every);
    vec![
        p.stop_anyone.to_owned(),
        fill(p.stop_reach, &[("device", &device), ("page", &page)]),
        p.stop_proceed.to_owned(),
        fill(p.stop_resume, &[("who", &who)]),
    ]
}

fn names(view: &View, roles: &[RoleId], between: &str) -> String {
    let names: Vec<String> = roles.iter().map(|role| view.role_name(role)).collect();
    names.join(between)
}

/// A time in the largest unit that gives a whole number.
fn span(seconds: u32) -> String {
    match seconds {
        s if s >= 3_600 && s % 3_600 == 0 => format!("{} h", s / 3_600),
        s if s >= 60 && s % 60 == 0 => format!("{} min", s / 60),
        s => format!("{s} s"),
    }
}

fn anew(view: &View, lasts: Lasts) -> Option<String> {
    let p = view.labels.plan_words;
    match lasts {
        Lasts::Job => None,
        Lasts::Day => Some(p.each_day.to_owned()),
        Lasts::Shift => Some(p.each_shift.to_owned()),
    }
}

/// A standing condition: who gives it, how it is known, how long a reading is good for, and how long it must be in
/// bounds before a resume.
pub(crate) fn condition_line(view: &View, condition: &Condition) -> String {
    let p = view.labels.plan_words;
    let how = match &condition.kind {
        ConditionKind::Presence => p.by_presence.to_owned(),
        ConditionKind::Measured { limit } => {
            let limit = view.plan.limit(limit);
            let limit = limit.map_or_else(String::new, |limit| limit_words(view, limit));
            fill(p.by_measure, &[("limit", &limit)])
        }
        ConditionKind::NoneSeen => p.by_none_seen.to_owned(),
        ConditionKind::Order => p.by_order.to_owned(),
        ConditionKind::Affirmed => p.by_word.to_owned(),
    };
    let mut parts = vec![fill(
        p.condition,
        &[
            ("title", &condition.title),
            ("who", &names(view, &condition.owners, ", ")),
            ("how", &how),
            ("span", &span(condition.valid_s)),
        ],
    )];
    if condition.stable_s > 0 {
        parts.push(fill(p.stable, &[("span", &span(condition.stable_s))]));
    }
    if let (Some(first), Some(last)) = (condition.covers.first(), condition.covers.last()) {
        let n = condition.covers.len().to_string();
        let values = [
            ("n", n.as_str()),
            ("first", first.as_str()),
            ("last", last.as_str()),
        ];
        parts.push(fill(p.covers, &values));
    }
    parts.extend(anew(view, condition.lasts));
    parts.join("; ")
}

/// An item: where it is, its ratings, its test.
pub(crate) fn item_line(view: &View, item: &Item) -> String {
    let p = view.labels.plan_words;
    let mut facts = vec![view.words.place(item.at).to_owned()];
    if item.load {
        facts.push(p.load.to_owned());
    }
    facts.extend(item.rated_kv.map(|kv| format!("{kv} kV")));
    facts.extend(item.rated_kn.map(|kn| format!("{kn} kN")));
    if let Some(months) = item.test_months {
        let tested = item.tested.as_deref().unwrap_or(p.not_given);
        let values = [("months", &*months.to_string()), ("tested", tested)];
        facts.push(fill(p.test_every, &values));
    }
    if item.daily {
        facts.push(p.daily.to_owned());
    }
    if !item.counted {
        facts.push(p.not_counted.to_owned());
    }
    format!("{} ({}): {}", item.title, item.id, facts.join(", "))
}

/// A check: its words, who gives it, what is said.
pub(crate) fn check_line(view: &View, check: &Check) -> String {
    let p = view.labels.plan_words;
    let two = |label: &str, first: &[RoleId], second: &[RoleId]| {
        let (first, second) = (names(view, first, p.or), names(view, second, p.or));
        fill(label, &[("first", &first), ("second", &second)])
    };
    let who = match &check.who {
        Who::Roles(places) => names(view, places, p.and),
        Who::Each(None) => p.everyone.to_owned(),
        Who::Each(Some(role)) => fill(p.each_of, &[("role", &view.role_name(role))]),
        Who::SecondLook { first, second } => two(p.second_look, first, second),
        Who::ReadBack { report, repeat } => two(p.read_back, report, repeat),
    };
    let says = match &check.expects {
        Expects::Yes => None,
        Expects::Measured { limit } => {
            let title = view.plan.limit(limit).map_or("", |limit| &limit.title);
            Some(fill(p.measured, &[("limit", title)]))
        }
        Expects::OneOf { answers, passes } => Some(fill(
            p.answers,
            &[("answers", &answers.join(" / ")), ("good", passes)],
        )),
        Expects::Identity => Some(p.identity.to_owned()),
        Expects::Words => Some(p.in_words.to_owned()),
        Expects::Tally { of } => Some(fill(p.tally, &[("what", of)])),
        Expects::Heads => Some(p.heads.to_owned()),
        Expects::OrderIs { in_effect: true } => Some(p.order_in_effect.to_owned()),
        Expects::OrderIs { in_effect: false } => Some(p.order_released.to_owned()),
    };
    let mut parts = vec![fill(p.check, &[("text", &check.text), ("who", &who)])];
    parts.extend(says);
    parts.extend(anew(view, check.lasts));
    parts.join("; ")
}
