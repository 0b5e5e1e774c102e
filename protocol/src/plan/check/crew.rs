//! Crew: roles, limits, standing conditions and items of a plan, each by itself.
//! Owns: nothing.   Gives: findings.
//! May use: plan::types, ids, bounds.   Never: steps, marks, rules (work).

use super::{Notes, Problem};
use crate::decimal::Decimal;
use crate::ids::RoleId;
use crate::plan::types::{ConditionKind, Expects, Plan, Role};

/// Largest crew of one job; `bounds::DEVICES_MAX` lets each device be replaced once.
const PEOPLE_MAX: u32 = 32;

pub(super) fn roles(plan: &Plan, notes: &mut Notes) {
    let ids = || plan.roles.iter().map(|role| &role.id);
    notes.some("role", "role", &plan.roles);
    notes.once("role", ids(), |index| format!("role[{index}].id"));
    for name in [RoleId::SUPERVISOR, RoleId::OBSERVER] {
        match plan.roles.iter().position(|role| role.id.as_str() == name) {
            None => notes.add("role", Problem::NoRole { role: name }),
            Some(index) if plan.roles[index].least == 0 => {
                let role = name.to_owned();
                notes.add(format!("role[{index}]"), Problem::MayBeVacant { role });
            }
            Some(_) => {}
        }
    }
    for (index, role) in plan.roles.iter().enumerate() {
        one_role(plan, role, &format!("role[{index}]"), notes);
    }
    let least: u32 = plan.roles.iter().map(|role| u32::from(role.least)).sum();
    if least > PEOPLE_MAX {
        let most = PEOPLE_MAX;
        notes.add("role", Problem::TooManyPeople { least, most });
    }
    notes.some("agree_by", "agree_by", &plan.agree_by);
    let place = |index| format!("agree_by[{index}]");
    notes.known("role", &plan.agree_by, ids(), place);
    notes.once("role", plan.agree_by.iter(), place);
    if !plan.agree_by.is_empty() {
        if !plan.agree_by.iter().any(RoleId::is_observer) {
            notes.add("agree_by", Problem::AgreeWithoutObserver);
        }
        for role in plan.roles.iter().filter(|role| role.aloft) {
            if !plan.agree_by.contains(&role.id) {
                let role = role.id.to_string();
                notes.add("agree_by", Problem::AgreeWithoutAloft { role });
            }
        }
    }
}

fn one_role(plan: &Plan, role: &Role, at: &str, notes: &mut Notes) {
    notes.text(format!("{at}.title"), "title", &role.title);
    if role.id.as_str() == crate::plan::parse::EVERYONE {
        notes.add(format!("{at}.id"), Problem::RoleAll);
    }
    if role.least > role.most {
        let (least, most) = (role.least.to_string(), role.most.to_string());
        notes.add(at, Problem::LeastAboveMost { least, most });
    }
    if role.id.is_supervisor() && role.most != 1 {
        notes.add(at, Problem::ManySupervisors { most: role.most });
    }
    let place = |index| format!("{at}.not_with[{index}]");
    let ids = plan.roles.iter().map(|role| &role.id);
    notes.known("role", &role.not_with, ids, place);
    notes.once("role", role.not_with.iter(), place);
    if role.not_with.contains(&role.id) {
        let role = role.id.to_string();
        notes.add(format!("{at}.not_with"), Problem::NotWithSelf { role });
    }
    if role.id.is_observer() {
        for other in plan.roles.iter().filter(|other| other.id != role.id) {
            if !role.not_with.contains(&other.id) && !other.not_with.contains(&role.id) {
                let role = other.id.to_string();
                notes.add(format!("{at}.not_with"), Problem::ObserverNotAlone { role });
            }
        }
    }
}

pub(super) fn limits(plan: &Plan, notes: &mut Notes) {
    let ids = plan.limits.iter().map(|limit| &limit.id);
    notes.once("limit", ids, |index| format!("limit[{index}].id"));
    for (index, limit) in plan.limits.iter().enumerate() {
        let at = format!("limit[{index}]");
        notes.text(format!("{at}.title"), "title", &limit.title);
        notes.text(format!("{at}.unit"), "unit", &limit.unit);
        notes.text(format!("{at}.source"), "source", &limit.source);
        match (limit.least, limit.most) {
            (None, None) => {
                let limit = limit.id.to_string();
                notes.add(at.clone(), Problem::NoBound { limit });
            }
            (Some(least), Some(most)) if least > most => {
                let (least, most) = (least.to_string(), most.to_string());
                notes.add(at.clone(), Problem::LeastAboveMost { least, most });
            }
            _ => {}
        }
        for bound in [limit.least, limit.most].into_iter().flatten() {
            if bound.parts().1 > limit.places {
                notes.add(
                    at.clone(),
                    Problem::BoundFinerThanShown {
                        limit: limit.id.to_string(),
                        bound,
                        places: limit.places,
                    },
                );
            }
        }
        let by_condition = plan.conditions.iter().any(|condition| {
            matches!(&condition.kind, ConditionKind::Measured { limit: used } if *used == limit.id)
        });
        let mut checks = plan.steps.iter().flat_map(|step| &step.checks);
        let by_check = checks.any(|check| {
            matches!(&check.expects, Expects::Measured { limit: used } if *used == limit.id)
        });
        if !by_condition && !by_check {
            let limit = limit.id.to_string();
            notes.add(at, Problem::LimitUnused { limit });
        }
    }
}

pub(super) fn conditions(plan: &Plan, notes: &mut Notes) {
    let ids = plan.conditions.iter().map(|condition| &condition.id);
    notes.once("condition", ids, |index| format!("condition[{index}].id"));
    let roles = || plan.roles.iter().map(|role| &role.id);
    for (index, condition) in plan.conditions.iter().enumerate() {
        let at = format!("condition[{index}]");
        notes.text(format!("{at}.title"), "title", &condition.title);
        notes.some(format!("{at}.owners"), "owners", &condition.owners);
        let place = |index| format!("{at}.owners[{index}]");
        notes.known("role", &condition.owners, roles(), place);
        notes.once("role", condition.owners.iter(), place);
        let place = |index| format!("{at}.covers[{index}]");
        let steps = plan.steps.iter().map(|step| &step.id);
        notes.known("step", &condition.covers, steps, place);
        notes.once("step", condition.covers.iter(), place);
        if condition.valid_s == 0 {
            notes.add(
                format!("{at}.valid_s"),
                Problem::NotAboveZero {
                    what: "valid_s",
                    found: Decimal::ZERO,
                },
            );
        }
        match &condition.kind {
            ConditionKind::Measured { limit } => {
                let known = plan.limits.iter().map(|limit| &limit.id);
                let limit = core::slice::from_ref(limit);
                notes.known("limit", limit, known, |_| format!("{at}.limit"));
            }
            ConditionKind::Order if !condition.owners.iter().any(RoleId::is_supervisor) => {
                let condition = condition.id.to_string();
                notes.add(
                    format!("{at}.owners"),
                    Problem::OrderNotSupervisors { condition },
                );
            }
            ConditionKind::Presence if condition.owners.len() > 1 => {
                notes.add(
                    format!("{at}.owners"),
                    Problem::PresenceOfMany {
                        condition: condition.id.to_string(),
                        roles: condition.owners.len(),
                    },
                );
            }
            _ => {}
        }
    }
    let observed = plan.conditions.iter().any(|condition| {
        condition.kind == ConditionKind::Presence
            && condition.owners.iter().any(RoleId::is_observer)
    });
    if !observed {
        notes.add("condition", Problem::NoPresence);
    }
    let ordered = |kind: &ConditionKind| *kind == ConditionKind::Order;
    if !plan.conditions.iter().any(|c| ordered(&c.kind)) {
        notes.add("condition", Problem::NoOrder);
    }
}

pub(super) fn items(plan: &Plan, notes: &mut Notes) {
    let ids = plan.items.iter().map(|item| &item.id);
    notes.once("item", ids, |index| format!("item[{index}].id"));
    for (index, item) in plan.items.iter().enumerate() {
        let at = format!("item[{index}]");
        notes.text(format!("{at}.title"), "title", &item.title);
        if let Some(found) = item.tested.as_ref() {
            if !is_date(found) {
                notes.add(
                    format!("{at}.tested"),
                    Problem::NotADate {
                        item: item.id.to_string(),
                        found: found.clone(),
                    },
                );
            }
            if item.test_months.is_none() {
                let item = item.id.to_string();
                notes.add(format!("{at}.tested"), Problem::TestedWithoutTerm { item });
            }
        }
        for (what, rating) in [("rated_kv", item.rated_kv), ("rated_kn", item.rated_kn)] {
            if let Some(found) = rating.filter(|rating| *rating <= Decimal::ZERO) {
                notes.add(
                    format!("{at}.{what}"),
                    Problem::NotAboveZero { what, found },
                );
            }
        }
    }
}

/// Whether a text is a day of the Gregorian calendar in the form of ISO 8601, such as 2026-03-14.
fn is_date(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let [year, month, day] = parts.as_slice() else {
        return false;
    };
    let number = |part: &str, digits: usize| -> Option<u32> {
        let plain = part.len() == digits && part.bytes().all(|byte| byte.is_ascii_digit());
        part.parse().ok().filter(|_| plain)
    };
    let (Some(year), Some(month), Some(day)) = (number(year, 4), number(month, 2), number(day, 2))
    else {
        return false;
    };
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => 0,
    };
    (1..=days).contains(&day)
}

#[cfg(test)]
mod tests {
    use super::is_date;

    #[test]
    fn dates_are_days_of_the_calendar() {
        for good in ["2026-03-14", "2024-02-29", "2000-02-29"] {
            assert!(is_date(good), "{good}");
        }
        for bad in [
            "2026-02-29",
            "1900-02-29",
            "2026-13-01",
            "2026-04-31",
            "2026-4-1",
            "26-04-01",
            "2026-04-00",
            "2026-04-01T10:00",
            "",
            "+026-04-01",
        ] {
            assert!(!is_date(bad), "{bad}");
        }
    }
}
