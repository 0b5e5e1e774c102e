//! Work: marks, rules, steps and their order.
//! Owns: nothing.   Gives: findings.
//! May use: plan::types, ids.   Never: whether a rule can be broken (explore).

use super::{Notes, Problem};
use crate::ids::{MarkId, MarkState, RoleId, StepId};
use crate::plan::parse::nearest_of;
use crate::plan::types::{Check, Expects, MarkIs, Plan, Step, Who};

pub(super) fn marks(plan: &Plan, notes: &mut Notes) {
    let ids = plan.marks.iter().map(|mark| &mark.id);
    notes.once("mark", ids, |index| format!("mark[{index}].id"));
    for (index, mark) in plan.marks.iter().enumerate() {
        let at = format!("mark[{index}]");
        let place = |index| format!("{at}.states[{index}]");
        notes.once("state", mark.states.iter(), place);
        if !mark.states.contains(&mark.start) {
            let words: Vec<String> = mark.states.iter().map(ToString::to_string).collect();
            notes.add(
                format!("{at}.start"),
                Problem::UnknownState {
                    mark: mark.id.to_string(),
                    state: mark.start.to_string(),
                    nearest: nearest_of(mark.start.as_str(), &words),
                },
            );
        }
        if mark.states.len() == 1 {
            let mark = mark.id.to_string();
            notes.add(format!("{at}.states"), Problem::MarkFixed { mark });
        }
        notes.some(format!("{at}.states"), "states", &mark.states);
        for (index, state) in mark.states.iter().enumerate() {
            if !comes_about(plan, &mark.id, state) {
                let (mark, state) = (mark.id.to_string(), state.to_string());
                notes.add(place(index), Problem::StateNeverSet { mark, state });
            }
        }
    }
}

/// Whether a mark has this value at the start or by some step.
fn comes_about(plan: &Plan, mark: &MarkId, state: &MarkState) -> bool {
    let at_start = plan.mark(mark).is_some_and(|mark| mark.start == *state);
    let mut sets = plan.steps.iter().flat_map(|step| &step.sets);
    at_start || sets.any(|set| set.mark == *mark && set.state == *state)
}

/// Marks and states of one table are known, and no mark is there twice.
fn marks_are(plan: &Plan, list: &[MarkIs], at: &str, notes: &mut Notes) {
    for (index, is) in list.iter().enumerate() {
        let at = format!("{at}[{index}]");
        match plan.mark(&is.mark) {
            None => {
                let words: Vec<String> = plan.marks.iter().map(|m| m.id.to_string()).collect();
                let id = is.mark.to_string();
                let nearest = nearest_of(&id, &words);
                let what = "mark";
                notes.add(at, Problem::Unknown { what, id, nearest });
            }
            Some(mark) if !mark.states.contains(&is.state) => {
                let words: Vec<String> = mark.states.iter().map(ToString::to_string).collect();
                notes.add(
                    at,
                    Problem::UnknownState {
                        mark: is.mark.to_string(),
                        state: is.state.to_string(),
                        nearest: nearest_of(is.state.as_str(), &words),
                    },
                );
            }
            Some(_) => {
                if list[..index].iter().any(|other| other.mark == is.mark) {
                    let mark = is.mark.to_string();
                    notes.add(at, Problem::MarkTwice { mark });
                }
            }
        }
    }
}

pub(super) fn rules(plan: &Plan, notes: &mut Notes) {
    for (index, rule) in plan.never.iter().enumerate() {
        let at = format!("never[{index}]");
        notes.text(format!("{at}.why"), "why", &rule.why);
        let at = format!("{at}.all");
        notes.some(at.clone(), "all", &rule.all);
        marks_are(plan, &rule.all, &at, notes);
        if rule.all.len() == 1 {
            notes.add(at.clone(), Problem::RuleOfOne);
        }
        for (index, is) in rule.all.iter().enumerate() {
            if plan.mark(&is.mark).is_some() && !comes_about(plan, &is.mark, &is.state) {
                let (mark, state) = (is.mark.to_string(), is.state.to_string());
                notes.add(
                    format!("{at}[{index}]"),
                    Problem::RuleNeverMatters { mark, state },
                );
            }
        }
    }
}

pub(super) fn steps(plan: &Plan, notes: &mut Notes) {
    let ids = || plan.steps.iter().map(|step| &step.id);
    notes.some("step", "step", &plan.steps);
    notes.once("step", ids(), |index| format!("step[{index}].id"));
    for (index, step) in plan.steps.iter().enumerate() {
        let at = format!("step[{index}]");
        notes.text(format!("{at}.title"), "title", &step.title);
        notes.text(format!("{at}.text"), "text", &step.text);
        let place = |index| format!("{at}.after[{index}]");
        notes.known("step", &step.after, ids(), place);
        notes.once("step", step.after.iter(), place);
        if step.if_held.trim().is_empty() {
            let id = step.id.to_string();
            notes.add(
                format!("{at}.if_held"),
                if step.critical {
                    Problem::CriticalWithoutHold { step: id }
                } else {
                    Problem::WithoutHold { step: id }
                },
            );
        }
        marks_are(plan, &step.needs, &format!("{at}.needs"), notes);
        marks_are(plan, &step.sets, &format!("{at}.sets"), notes);
        for (index, is) in step.needs.iter().enumerate() {
            if plan.mark(&is.mark).is_some() && !comes_about(plan, &is.mark, &is.state) {
                let (mark, state) = (is.mark.to_string(), is.state.to_string());
                notes.add(
                    format!("{at}.needs[{index}]"),
                    Problem::NeedNeverSo { mark, state },
                );
            }
        }
        step_items(plan, step, &at, notes);
        notes.some(format!("{at}.check"), "check", &step.checks);
        let checks = step.checks.iter().map(|check| &check.id);
        notes.once("check", checks, |index| format!("{at}.check[{index}].id"));
        for (index, check) in step.checks.iter().enumerate() {
            one_check(plan, step, check, &format!("{at}.check[{index}]"), notes);
        }
    }
    if !plan.steps.iter().any(|step| step.safe_to_leave) {
        notes.add("step", Problem::NeverSafeToLeave);
    }
}

fn step_items(plan: &Plan, step: &Step, at: &str, notes: &mut Notes) {
    let known = || plan.items.iter().map(|item| &item.id);
    for (index, needed) in step.items.iter().enumerate() {
        let item = core::slice::from_ref(&needed.item);
        notes.known("item", item, known(), |_| format!("{at}.items[{index}]"));
    }
    for (index, moved) in step.moves.iter().enumerate() {
        let place = format!("{at}.moves[{index}]");
        let item = core::slice::from_ref(&moved.item);
        notes.known("item", item, known(), |_| place.clone());
        if plan.item(&moved.item).is_some_and(|item| !item.load) {
            let item = moved.item.to_string();
            notes.add(place, Problem::NotALoad { item });
        }
    }
}

fn one_check(plan: &Plan, step: &Step, check: &Check, at: &str, notes: &mut Notes) {
    notes.text(format!("{at}.text"), "text", &check.text);
    let known = || plan.roles.iter().map(|role| &role.id);
    let mut roles_of = |roles: &[RoleId], key: &'static str| {
        notes.some(format!("{at}.{key}"), key, roles);
        notes.known("role", roles, known(), |index| {
            format!("{at}.{key}[{index}]")
        });
    };
    match &check.who {
        Who::Roles(places) => roles_of(places, "by"),
        Who::Each(None) => {}
        Who::Each(Some(role)) => {
            let role = core::slice::from_ref(role);
            notes.known("role", role, known(), |_| format!("{at}.each"));
        }
        Who::SecondLook { first, second } => {
            roles_of(first, "first");
            roles_of(second, "second");
        }
        Who::ReadBack { report, repeat } => {
            roles_of(report, "report");
            roles_of(repeat, "repeat");
        }
    }
    people(plan, step, check, at, notes);
    match &check.expects {
        Expects::Measured { limit } => {
            let limits = plan.limits.iter().map(|limit| &limit.id);
            let limit = core::slice::from_ref(limit);
            notes.known("limit", limit, limits, |_| format!("{at}.limit"));
        }
        Expects::OneOf { answers, passes } => {
            if answers.len() < 2 {
                let found = answers.len();
                notes.add(format!("{at}.answers"), Problem::NoChoice { found });
            }
            notes.once("answer", answers.iter(), |index| {
                format!("{at}.answers[{index}]")
            });
            if !answers.contains(passes) {
                let passes = passes.clone();
                notes.add(
                    format!("{at}.passes"),
                    Problem::PassesNotAnAnswer { passes },
                );
            }
        }
        Expects::Tally { of } => notes.text(format!("{at}.of"), "of", of),
        Expects::Yes if matches!(check.who, Who::ReadBack { .. }) => {
            notes.add(at, Problem::NothingToRepeat);
        }
        _ => {}
    }
}

/// Whether the roles of a check can have as many different people as it asks for.
fn people(plan: &Plan, step: &Step, check: &Check, at: &str, notes: &mut Notes) {
    // Each group of places with the roles that may fill it; places of one role list are filled by that
    // role alone, so they are counted role by role; a pair of places takes two people from all its roles.
    let mut groups: Vec<(usize, Vec<&RoleId>)> = Vec::new();
    match &check.who {
        Who::Roles(places) => {
            for role in places {
                match groups.iter_mut().find(|(_, roles)| roles == &[role]) {
                    Some((asked, _)) => *asked += 1,
                    None => groups.push((1, vec![role])),
                }
            }
        }
        Who::Each(Some(role)) => groups.push((1, vec![role])),
        Who::Each(None) => {}
        Who::SecondLook { first, second }
        | Who::ReadBack {
            report: first,
            repeat: second,
        } => {
            let mut roles: Vec<&RoleId> = first.iter().chain(second).collect();
            roles.sort_unstable();
            roles.dedup();
            groups.push((2, roles));
        }
    }
    for (asked, roles) in groups {
        let (mut least, mut most) = (0, 0);
        for role in roles.iter().filter_map(|role| plan.role(role)) {
            least += u32::from(role.least);
            most += u32::from(role.most);
        }
        if roles.iter().any(|role| plan.role(role).is_none()) {
            continue;
        }
        let needed = u32::try_from(asked).unwrap_or(u32::MAX);
        let (step, check) = (step.id.to_string(), check.id.to_string());
        if most < needed {
            notes.add(
                at,
                Problem::TooFewPeople {
                    step,
                    check,
                    asked,
                    most,
                },
            );
        } else if least < needed {
            notes.add(
                at,
                Problem::CrewMayBeTooSmall {
                    step,
                    check,
                    asked,
                    least,
                },
            );
        }
    }
}

/// The steps have an order: takes away steps whose steps before are gone, until none or only rings are left.
pub(super) fn order(plan: &Plan, notes: &mut Notes) {
    let mut left: Vec<usize> = (0..plan.steps.len()).collect();
    loop {
        let ids: Vec<&StepId> = left.iter().map(|at| &plan.steps[*at].id).collect();
        let before = left.len();
        left.retain(|at| plan.steps[*at].after.iter().any(|id| ids.contains(&id)));
        if left.len() == before {
            break;
        }
    }
    let Some(start) = left.first() else {
        return;
    };
    // Every step left comes after another step left, so going back and back must come to a step again.
    let mut way: Vec<usize> = vec![*start];
    let ring = loop {
        let Some(here) = way.last() else { return };
        let before = left
            .iter()
            .copied()
            .find(|at| plan.steps[*here].after.contains(&plan.steps[*at].id));
        let Some(before) = before else { return };
        match way.iter().position(|at| *at == before) {
            Some(from) => break way[from..].to_vec(),
            None => way.push(before),
        }
    };
    let first = ring.iter().copied().min().unwrap_or(0);
    let turn = ring.iter().position(|at| *at == first).unwrap_or(0);
    let mut names: Vec<String> = (0..=ring.len())
        .map(|at| plan.steps[ring[(turn + at) % ring.len()]].id.to_string())
        .collect();
    names.reverse();
    notes.add(
        format!("step[{first}].after"),
        Problem::Ring { ring: names },
    );
}
