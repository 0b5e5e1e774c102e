//! Shown: further things that a page or a script asks for by name: stable names, words as values.
//! Owns: the names.   Gives: `shown`, a list of (name, words); a name may come more than once.
//! May use: the other parts of the status, facts, gate.   Never: what a blind second look keeps back, an
//! order of people by how often they stopped.
//!
//! Names that need the whole log in hand (timeline, branches, exposure, gap, from when to when a role was vacant,
//! duty over days) are the replay's.

use super::expired::expired;
use super::steps::{answers, measured, person_of};
use super::work::mark_views;
use super::{Local, Status, StepState, hands, lines};
use crate::decimal::Decimal;
use crate::facts::within;
use crate::gate::Job;
use crate::ids::{EntryHash, RoleId};
use crate::log::entry::{Body, OrderState, Said};
use crate::log::graph::EntryIx;
use crate::plan::{Condition, ConditionKind, Expects, Step};
use crate::reason::{Reason, Unfit};

struct List(Vec<(String, String)>);

impl List {
    fn say(&mut self, name: &str, words: impl Into<String>) {
        self.0.push((name.to_owned(), words.into()));
    }

    fn say_all(&mut self, name: &str, words: impl IntoIterator<Item = String>) {
        for words in words {
            self.say(name, words);
        }
    }
}

/// Everything shown by name; `status` has all other parts filled.
pub(super) fn shown(job: &Job, local: &Local, status: &Status) -> Vec<(String, String)> {
    let mut list = List(Vec::new());
    place(job, status, &mut list);
    people(job, local, status, &mut list);
    stops(job, local, status, &mut list);
    conditions(job, local, status, &mut list);
    order(job, &mut list);
    open_step(job, local, status, &mut list);
    identity(job, local, status, &mut list);
    items(job, status, &mut list);
    clocks(job, local, &mut list);
    days(job, local, &mut list);
    list.0
}

fn place(job: &Job, status: &Status, list: &mut List) {
    list.say("plan", job.plan().line.structure.clone());
    list.say("safe_hold", status.call.if_held.clone());
    let done = status
        .steps
        .iter()
        .filter(|step| step.state == StepState::Done);
    let ids: Vec<&str> = done.map(|step| step.id.as_str()).collect();
    list.say("sequence", ids.join(" "));
    list.say_all("sequence", hands::done_early(job));
    if let Some(state) = hands::string_state(job) {
        list.say("string_state", state);
    }
    list.say_all("hands_off", hands::hands_off(job));
    for (id, mark) in mark_views(job) {
        if mark.in_doubt {
            list.say("in_doubt", format!("{id} {}", mark.state));
        }
    }
}

fn people(job: &Job, local: &Local, status: &Status, list: &mut List) {
    for name in [RoleId::OBSERVER, RoleId::SUPERVISOR] {
        let holders = status.crew.iter().filter(|member| {
            member.present && member.roles.iter().any(|role| role.as_str() == name)
        });
        list.say_all(name, holders.map(|member| member.person.to_string()));
    }
    // In a stop as well, when the call says other things.
    for reason in lines::contact(job.roster(), job.plan(), local) {
        if let Reason::NoContact { device, age_ms } = reason {
            let person = person_of(job, &device);
            list.say("no_contact", person.to_string());
            let since = age_ms.map_or_else(|| "never".to_owned(), |ms| (ms / 1000).to_string());
            list.say("device_lost", format!("{person} {} {since}", device.tag()));
        }
    }
    for reason in lines::roles_held(job.roster(), job.plan()) {
        if let Reason::RoleVacant { role } = reason {
            list.say("roles", format!("{role} vacant"));
        }
    }
    list.say("unsynced", status.unsynced.to_string());
    let waits: Vec<String> = status
        .call
        .reasons
        .iter()
        .filter_map(|reason| match reason {
            Reason::Missing { needs, check, .. } => {
                let roles: Vec<&str> = needs.iter().map(RoleId::as_str).collect();
                Some(format!("{}: {check}", roles.join(" ")))
            }
            Reason::RoleVacant { role } => Some(role.to_string()),
            Reason::NotBriefed { device, .. }
            | Reason::NotKnown { device, .. }
            | Reason::NoContact { device, .. } => Some(person_of(job, device).to_string()),
            _ => None,
        })
        .collect();
    list.say_all("wait", waits);
    list.say_all("wait", not_ready(job));
    let attempts = job.facts().attempts(job.graph(), job.graph().all());
    // Others' refusals could tell how a look that is kept back went: only the own ones are said.
    let own = attempts.iter().filter(|attempt| attempt.by == local.me);
    list.say("attempts", own.count().to_string());
}

/// Who has said of an open offer that they are not ready, with what they noted about it.
fn not_ready(job: &Job) -> Vec<String> {
    let graph = job.graph();
    let noes = job.facts().not_ready(graph, graph.all(), job.roster());
    noes.into_iter()
        .map(|no| {
            let mut words = format!("{} not ready", person_of(job, &graph.author(no)));
            // What they say of it comes after it, on their own chain.
            let later = (graph.seq(no).saturating_add(1)..)
                .map_while(|seq| graph.at(graph.chain(no), seq))
                .filter_map(|ix| match graph.body(ix) {
                    Body::Note(note) if note.about == Some(graph.hash(no)) => Some(&note.text),
                    _ => None,
                });
            for text in later {
                words.push_str(&format!(": {text}"));
            }
            words
        })
        .collect()
}

/// Seconds since an entry was made, by this device's own clock where that bounds it, else by what the two
/// wall clocks say; for people to read.
fn seconds_since(job: &Job, local: &Local, ix: EntryIx) -> u64 {
    let by_wall = || {
        let made = job.graph().content(ix).wall.0;
        u64::try_from(local.now.wall.0.saturating_sub(made)).unwrap_or(0)
    };
    let hash: EntryHash = job.graph().hash(ix);
    local.entry_ages.get(&hash).copied().unwrap_or_else(by_wall) / 1000
}

fn stops(job: &Job, local: &Local, status: &Status, list: &mut List) {
    let graph = job.graph();
    for stop in &status.stops {
        let by = stop.by.as_ref();
        list.say(
            "stopper",
            by.map_or_else(|| "unknown device".to_owned(), ToString::to_string),
        );
        list.say_all("not_heard", stop.not_heard.iter().map(ToString::to_string));
        // Who has heard it passes it on by voice or arm signal to who has not.
        let me = job.roster().person(&local.me);
        if me.is_some_and(|me| stop.heard.contains(me)) {
            let to = stop.not_heard.iter().map(|to| format!("relay to {to}"));
            list.say_all("relay", to);
        }
        list.say("repeat", stop.repeat.to_string());
        if stop.kind == "emergency"
            && let Some(ix) = graph.find(&stop.entry)
        {
            list.say("elapsed", seconds_since(job, local, ix).to_string());
        }
    }
    if status.stops.iter().any(|stop| stop.kind == "emergency") {
        let people = job
            .facts()
            .whereabouts(graph, graph.all(), job.roster(), job.plan());
        for one in people {
            let place = if one.clear_by.is_some() {
                "in the clear"
            } else if one.aloft {
                "aloft"
            } else {
                "not accounted for"
            };
            list.say("whereabouts", format!("{} {place}", one.person));
        }
    }
    let in_force = |ask: &EntryHash| {
        status
            .stops
            .iter()
            .any(|stop| stop.ask.as_ref() == Some(ask))
    };
    for ix in job.facts().declines(graph, graph.all()) {
        if let Body::Decline(decline) = graph.body(ix)
            && in_force(&decline.to)
        {
            let person = person_of(job, &graph.author(ix));
            list.say("decline", format!("{person} {}", decline.why));
        }
    }
    list.say_all("open_item", status.open_items.iter().cloned());
}

/// Seconds until what was seen may be affirmed away; `None`: no timer runs.
fn timer_s(job: &Job, local: &Local, condition: &Condition) -> Option<u64> {
    let graph = job.graph();
    let timers = job
        .facts()
        .timer_from(graph, graph.all(), job.plan(), condition);
    if condition.kind != ConditionKind::NoneSeen || timers.is_empty() {
        return None;
    }
    let valid_ms = u64::from(condition.valid_s) * 1000;
    let since_ms = local.since_out.get(&condition.id).copied().unwrap_or(0);
    let left_ms = valid_ms.saturating_sub(since_ms);
    (left_ms > 0).then(|| left_ms.div_ceil(1000))
}

fn conditions(job: &Job, local: &Local, status: &Status, list: &mut List) {
    for (condition, shown) in job.plan().conditions.iter().zip(&status.conditions) {
        if let Some(left_s) = timer_s(job, local, condition) {
            list.say("timer", left_s.to_string());
        }
        match condition.kind {
            ConditionKind::Presence => {
                let age_ms = shown.age_ms.unwrap_or(shown.valid_ms);
                let left_ms = shown.valid_ms.saturating_sub(age_ms);
                list.say("presence_due", format!("due in {} s", left_ms / 1000));
            }
            ConditionKind::Measured { .. } => {
                if let Some(value) = &shown.value {
                    list.say(condition.id.as_str(), value.clone());
                    let out = if is_out(job, condition) { " out" } else { "" };
                    list.say("reading", format!("{value}{out}"));
                    // Within a tenth of the limit people are told before it is reached.
                    let caution = is_near_limit(job, condition);
                    if caution {
                        list.say(condition.id.as_str(), format!("{value} caution"));
                    }
                }
                if let Some(peak) = peak(job, condition) {
                    list.say("peak", peak);
                }
            }
            _ => {}
        }
        if !shown.good {
            list.say("missing", condition.id.to_string());
        }
    }
}

/// Whether the newest reading of a measured condition is outside its limit.
fn is_out(job: &Job, condition: &Condition) -> bool {
    let ConditionKind::Measured { limit } = &condition.kind else {
        return false;
    };
    let graph = job.graph();
    let newest = job
        .facts()
        .condition(graph, graph.all(), job.roster(), job.plan(), condition)
        .newest
        .and_then(|ix| value_of(job, ix));
    match (job.plan().limit(limit), newest) {
        (Some(limit), Some((value, _))) => !within(limit, value),
        _ => false,
    }
}

/// Common practice: a caution from nine tenths of a greatest value on.
fn is_near_limit(job: &Job, condition: &Condition) -> bool {
    let ConditionKind::Measured { limit } = &condition.kind else {
        return false;
    };
    let graph = job.graph();
    let most = job.plan().limit(limit).and_then(|limit| limit.most);
    let newest = job
        .facts()
        .condition(graph, graph.all(), job.roster(), job.plan(), condition)
        .newest
        .and_then(|ix| value_of(job, ix));
    match (most, newest) {
        (Some(most), Some((value, _))) => {
            let (digits, scale) = most.parts();
            // Nine tenths of the limit, exactly, with one digit more.
            Decimal::new(digits.saturating_mul(9), scale.saturating_add(1))
                .is_ok_and(|caution| value >= caution)
        }
        _ => false,
    }
}

/// The value of a reading with its unit.
fn value_of(job: &Job, ix: EntryIx) -> Option<(Decimal, &str)> {
    match job.graph().body(ix) {
        Body::Reading(reading) => reading.value.map(|value| (value, reading.unit.as_str())),
        _ => None,
    }
}

/// The greatest reading of all.
fn peak(job: &Job, condition: &Condition) -> Option<String> {
    let graph = job.graph();
    job.facts()
        .each_reading(graph.all(), &condition.id)
        .filter_map(|ix| value_of(job, ix))
        .max_by_key(|(value, _)| *value)
        .map(|(value, unit)| format!("{value} {unit}"))
}

fn order(job: &Job, list: &mut List) {
    let graph = job.graph();
    let Some(order) = job.facts().order(graph, graph.all(), job.plan()) else {
        return;
    };
    list.say("order", format!("{} {}", order.number, order.words()));
    if let OrderState::ReleasedByOthers { .. } = order.state {
        // The line may be made alive: who is aloft must be known at once.
        let people = job
            .facts()
            .whereabouts(graph, graph.all(), job.roster(), job.plan());
        let aloft = people.into_iter().filter(|one| one.aloft);
        list.say_all("order", aloft.map(|one| format!("aloft {}", one.person)));
    }
    if let Some(line_state) = order.line_state {
        list.say("line_state", line_state);
    }
}

fn open_step(job: &Job, local: &Local, status: &Status, list: &mut List) {
    let open = status
        .steps
        .iter()
        .filter(|step| matches!(step.state, StepState::Open | StepState::Conflict));
    for step_status in open {
        for check in step_status.checks.iter().filter(|check| !check.done) {
            for role in &check.waits_for {
                list.say("missing", format!("{}:{role}", check.id));
            }
            let second = check
                .missing
                .iter()
                .any(|reason| matches!(reason, Reason::NeedsSecondReader { .. }));
            if second {
                list.say("needs_second", format!("{}: second reading", check.id));
            }
            let looks: Vec<&str> = check
                .given
                .iter()
                .filter_map(|given| given.said.as_deref())
                .collect();
            if !looks.is_empty() {
                list.say("looks", format!("{} {}", check.id, looks.join(" ")));
            }
        }
        if let Some(step) = job.plan().step(&step_status.id) {
            values(job, local, step, list);
        }
    }
    list.say_all("expired", expired(job, status));
}

/// The values given for the checks of a step that may be shown, and of each check the worse of them.
fn values(job: &Job, local: &Local, step: &Step, list: &mut List) {
    for check in &step.checks {
        let Expects::Measured { limit } = &check.expects else {
            continue;
        };
        let limit = job.plan().limit(limit);
        let least_governs = limit.is_none_or(|limit| limit.least.is_some());
        let mut given = Vec::new();
        for said in measured(job, local, step, check) {
            if let Said::Value { value, unit } = said {
                let is_out = limit.is_some_and(|limit| !within(limit, value));
                let out = if is_out { " out" } else { "" };
                list.say("reading", format!("{} {value} {unit}{out}", check.id));
                given.push((value, unit));
            }
        }
        given.sort_by_key(|(value, _)| *value);
        let worst = if least_governs {
            given.first()
        } else {
            given.last()
        };
        if let Some((value, unit)) = worst {
            list.say("governing", format!("{} {value} {unit}", check.id));
        }
    }
}

/// What was read off last in an acknowledgement that may be shown here.
fn read_in_a_look(job: &Job, local: &Local) -> Option<EntryIx> {
    let steps = job.plan().steps.iter();
    let checks = steps.flat_map(|step| step.checks.iter().map(move |check| (step, check)));
    checks
        .filter(|(_, check)| check.expects == Expects::Identity)
        .flat_map(|(step, check)| {
            answers(job, local, step, check, job.check_done(&step.id, &check.id))
        })
        .filter(|answer| answer.shown)
        .map(|answer| answer.ix)
        .max_by_key(|&ix| job.facts().rank(job.graph(), ix))
}

/// Planned and read, unless a blind look of the own is still to come.
fn identity(job: &Job, local: &Local, status: &Status, list: &mut List) {
    let line = &job.plan().line;
    let kept_back = job.plan().steps.iter().zip(&status.steps).any(|(step, s)| {
        step.checks.iter().zip(&s.checks).any(|(check, c)| {
            check.expects == Expects::Identity && c.given.iter().any(|given| given.said.is_none())
        })
    });
    let graph = job.graph();
    let read = job.facts().identities(graph, graph.all());
    let newest = read.into_iter().rev().find(|&ix| {
        // Another's reading is an answer too, for as long as any identity check may still be looked at.
        graph.author(ix) == local.me || (!kept_back && identity_settled(job, status))
    });
    let newest = newest
        .into_iter()
        .chain(read_in_a_look(job, local))
        .max_by_key(|&ix| job.facts().rank(graph, ix));
    let words = match newest.map(|ix| graph.body(ix)) {
        Some(Body::Identity(read)) => {
            format!("{} / {} / {}", read.structure, read.circuit, read.phase)
        }
        Some(Body::Acknowledge(ack)) => crate::replay::said(&ack.said),
        _ => "not read".to_owned(),
    };
    list.say(
        "identity",
        format!(
            "planned {} / {} / {} read {words}",
            line.structure, line.circuit, line.phase
        ),
    );
}

/// Whether every check of identity is complete, so that nobody's look is still to come.
fn identity_settled(job: &Job, status: &Status) -> bool {
    job.plan().steps.iter().zip(&status.steps).all(|(step, s)| {
        step.checks
            .iter()
            .zip(&s.checks)
            .all(|(check, c)| check.expects != Expects::Identity || c.done)
    })
}

fn items(job: &Job, status: &Status, list: &mut List) {
    for item in &status.items {
        if item.unfit.contains(&Unfit::OutOfService) {
            list.say("out_of_service", item.id.to_string());
        }
        if item.unfit.contains(&Unfit::Suspect) {
            list.say("tool", format!("{} suspect", item.id));
        }
    }
    let graph = job.graph();
    let counts = job.facts().tool_counts(graph, graph.all(), job.plan());
    list.say("tools", format!("{} out {} back", counts.out, counts.back));
    list.say_all(
        "missing_tool",
        counts.missing.iter().map(ToString::to_string),
    );
    let heads = job.facts().heads(graph, graph.all(), job.roster());
    if heads.count.is_some() {
        list.say_all(
            "not_accounted",
            heads.missing.iter().map(ToString::to_string),
        );
    }
}

fn clocks(job: &Job, local: &Local, list: &mut List) {
    let graph = job.graph();
    for (device, sample) in job.facts().clocks(graph, graph.all()) {
        if device == local.me {
            let seconds = sample.ahead_ms / 1000;
            list.say("skew", format!("{} {seconds}", sample.device));
        }
    }
}

fn days(job: &Job, local: &Local, list: &mut List) {
    let graph = job.graph();
    let days = job.facts().days(graph, graph.all()).len().saturating_add(1);
    list.say("days", days.to_string());
    let today = job.facts().days(graph, graph.all());
    let first = graph.iter().find(|&ix| {
        matches!(graph.body(ix), Body::Acknowledge(_))
            && today.iter().all(|&day| graph.before(day, ix))
    });
    if let Some(first) = first {
        let hours = seconds_since(job, local, first) / 3600;
        list.say("duty", format!("{hours} h"));
    }
}
