//! Waits: who is waited for, for what, and how long; what runs out next.
//! Owns: nothing.   Gives: `waiting`, `running_out`.
//! May use: view.   Never: HTML (board), a ranking of people: it is told by how long the work waits.

use crate::pages::view::View;
use crate::words::{fill, span};
use gantline_protocol::ids::{Person, RoleId};
use gantline_protocol::plan::{Condition, ConditionKind};
use gantline_protocol::reason::{Owed, Reason};
use gantline_protocol::state::{ConditionStatus, StopStatus};
use gantline_protocol::time::WallClock;

/// One thing waited for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Waiting {
    pub(crate) who: String,
    pub(crate) what: String,
    /// How long, ms; `None`: not known here.
    pub(crate) for_ms: Option<u64>,
}

/// Everything waited for, the longest first.
pub(crate) fn waiting(view: &View) -> Vec<Waiting> {
    let mut all = Vec::new();
    for stop in &view.status.stops {
        all.extend(for_stop(view, stop));
    }
    if all.is_empty() {
        all.extend(briefings(view));
        all.extend(conditions(view));
        all.extend(checks(view));
    }
    all.sort_by_key(|one| core::cmp::Reverse(one.for_ms));
    all
}

/// Between two wall clocks that may differ a little: never less than nothing.
fn since(view: &View, from: WallClock) -> Option<u64> {
    let ms = view.status.wall.0.saturating_sub(from.0).max(0);
    u64::try_from(ms).ok()
}

fn for_stop(view: &View, stop: &StopStatus) -> Vec<Waiting> {
    let l = view.labels;
    let one = |who: String, what: &str| Waiting {
        who,
        what: what.to_owned(),
        for_ms: since(view, stop.wall),
    };
    let answers = stop.not_heard.iter();
    let mut all: Vec<Waiting> = answers
        .map(|person: &Person| one(view.name(person), l.wait_answer))
        .collect();
    for owed in &stop.owed {
        match owed {
            Owed::Heard { .. } => {}
            Owed::Ask { .. } => {
                let supervisor = RoleId::try_from(RoleId::SUPERVISOR);
                let who = supervisor.map_or_else(|_| String::new(), |role| view.role_name(&role));
                all.push(one(who, l.wait_ask));
            }
            Owed::Agree { device, .. } | Owed::Declined { device, .. } => {
                all.push(one(view.device_name(device), l.wait_agree));
            }
            Owed::Briefing { device } => all.push(one(view.device_name(device), l.wait_briefing)),
            Owed::Condition { condition } => {
                let planned = view.plan.condition(condition);
                all.push(one(owners(view, planned), &view.words.condition(condition)));
            }
        }
    }
    all
}

fn owners(view: &View, condition: Option<&Condition>) -> String {
    let owners = condition.map_or(&[][..], |one| &one.owners);
    let names: Vec<String> = owners.iter().map(|role| view.role_name(role)).collect();
    names.join(view.labels.one_or_other)
}

fn briefings(view: &View) -> Vec<Waiting> {
    let crew = view.status.crew.iter();
    crew.filter(|one| one.present && !one.briefed)
        .map(|one| Waiting {
            who: view.device_name(&one.device),
            what: view.labels.wait_briefing.to_owned(),
            for_ms: None,
        })
        .collect()
}

/// Conditions that are not good, by their owners.
fn conditions(view: &View) -> Vec<Waiting> {
    let all = view.status.conditions.iter();
    all.filter(|one| !one.good)
        .map(|one| Waiting {
            who: owners(view, view.plan.condition(&one.id)),
            what: one.title.clone(),
            for_ms: one.reasons.iter().find_map(|reason| match reason {
                Reason::Stale {
                    age_ms, valid_ms, ..
                } => Some(age_ms.saturating_sub(*valid_ms)),
                _ => None,
            }),
        })
        .collect()
}

/// Checks of open steps, by the roles that may give them.
fn checks(view: &View) -> Vec<Waiting> {
    let waits = view.overview.iter().flat_map(|overview| &overview.waits);
    waits
        .filter_map(|wait| {
            let step = view.status.steps.iter().find(|one| one.id == wait.step)?;
            let check = step.checks.iter().find(|one| one.id == wait.check)?;
            let roles = check.waits_for.iter().map(|role| view.role_name(role));
            Some(Waiting {
                who: roles.collect::<Vec<_>>().join(", "),
                what: check.text.clone(),
                for_ms: since(view, wait.since),
            })
        })
        .collect()
}

/// Standing conditions that are good, what runs out first first: what, and how long it is good for.
pub(crate) fn running_out(view: &View) -> Vec<(String, String)> {
    let good = view.status.conditions.iter().filter(|one| one.good);
    let mut left: Vec<(u64, String)> = good
        .filter_map(|one| {
            let left_ms = one.valid_ms.saturating_sub(one.age_ms?);
            Some((left_ms, with_value(view, one)))
        })
        .collect();
    left.sort();
    left.into_iter()
        .map(|(left_ms, what)| (what, left_words(view, left_ms)))
        .collect()
}

/// A condition's title, with what was measured. Of a presence the value is who: that stands among the devices.
fn with_value(view: &View, condition: &ConditionStatus) -> String {
    let planned = view.plan.condition(&condition.id).map(|one| &one.kind);
    let measured = matches!(planned, Some(ConditionKind::Measured { .. }));
    let value = condition.value.as_deref().filter(|_| measured);
    match value {
        Some(value) => format!("{} {value}", condition.title),
        None => condition.title.clone(),
    }
}

fn left_words(view: &View, left_ms: u64) -> String {
    let minutes = left_ms / 60_000;
    if minutes < 60 {
        return span(left_ms);
    }
    let (hours, minutes) = ((minutes / 60).to_string(), (minutes % 60).to_string());
    fill(view.labels.hours, &[("h", &hours), ("min", &minutes)])
}
