//! Tests of check: each problem is found where it is, by one change of a plan that has none.
//! May use: everything of plan.   Never: orders of steps (explore).

use super::{Finding, Grade, Problem, check, errors};
use crate::decimal::Decimal;
use crate::ids::{BadId, CheckId, ConditionId, ItemId, LimitId, MarkId, MarkState, RoleId, StepId};
use crate::plan::{ConditionKind, Expects, MarkIs, Plan, SMALL, Who, builtin, parse};
use std::collections::BTreeSet;

fn small() -> Plan {
    parse("small", SMALL).unwrap_or_else(|faults| panic!("{faults}"))
}

fn id<T: for<'a> TryFrom<&'a str, Error = BadId>>(text: &str) -> T {
    T::try_from(text).unwrap_or_else(|bad| panic!("{bad}"))
}

fn role(text: &str) -> RoleId {
    id(text)
}

fn is(mark: &str, state: &str) -> MarkIs {
    MarkIs {
        mark: id::<MarkId>(mark),
        state: id::<MarkState>(state),
    }
}

/// A change of the small plan, the path where the problem is found, and the name of the problem.
type Case = (&'static str, &'static str, fn(&mut Plan));

/// One case for each problem, and more where a problem has several ways.
const CASES: &[Case] = &[
    ("Empty", "title", |p| p.title = "  ".to_owned()),
    ("Empty", "cautions", |p| p.cautions.clear()),
    ("Empty", "briefing", |p| p.briefing.clear()),
    ("Empty", "agree_by", |p| p.agree_by.clear()),
    ("Empty", "line.terminals", |p| p.line.terminals.clear()),
    ("Empty", "limit[0].unit", |p| p.limits[0].unit.clear()),
    ("Empty", "limit[0].source", |p| p.limits[0].source.clear()),
    ("Empty", "condition[0].owners", |p| {
        p.conditions[0].owners.clear()
    }),
    ("Empty", "step[0].check", |p| p.steps[0].checks.clear()),
    ("Empty", "step[0].check[0].by", |p| {
        p.steps[0].checks[0].who = Who::Roles(vec![])
    }),
    ("Empty", "never[0].all", |p| p.never[0].all.clear()),
    ("Empty", "step[2].check[0].of", |p| {
        p.steps[2].checks[0].expects = Expects::Tally { of: String::new() };
    }),
    ("Twice", "role[1].id", |p| {
        p.roles[1].id = role("supervisor")
    }),
    ("Twice", "limit[1].id", |p| {
        p.limits[1].id = id::<LimitId>("approach")
    }),
    ("Twice", "condition[1].id", |p| {
        p.conditions[1].id = id::<ConditionId>("observer")
    }),
    ("Twice", "item[1].id", |p| {
        p.items[1].id = id::<ItemId>("SP-1")
    }),
    ("Twice", "mark[1].id", |p| {
        p.marks[1].id = id::<MarkId>("poles")
    }),
    ("Twice", "mark[0].states[2]", |p| {
        p.marks[0].states.push(id("off"))
    }),
    ("Twice", "step[1].id", |p| {
        p.steps[1].id = id::<StepId>("approach")
    }),
    ("Twice", "step[1].check[1].id", |p| {
        p.steps[1].checks[1].id = id::<CheckId>("carried")
    }),
    ("Twice", "step[1].after[1]", |p| {
        p.steps[1].after.push(id("approach"))
    }),
    ("Twice", "agree_by[2]", |p| p.agree_by.push(role("tower"))),
    ("Twice", "line.terminals[1]", |p| {
        p.line.terminals[1] = "North".to_owned()
    }),
    ("Unknown", "agree_by[0]", |p| {
        p.agree_by[0] = role("observr")
    }),
    ("Unknown", "role[0].not_with[0]", |p| {
        p.roles[0].not_with[0] = role("pilot")
    }),
    ("Unknown", "condition[0].owners[0]", |p| {
        p.conditions[0].owners[0] = role("pilot")
    }),
    ("Unknown", "condition[2].covers[0]", |p| {
        p.conditions[2].covers[0] = id("elsewhere")
    }),
    ("Unknown", "condition[1].limit", |p| {
        p.conditions[1].kind = ConditionKind::Measured { limit: id("calm") };
    }),
    ("Unknown", "step[0].check[0].limit", |p| {
        p.steps[0].checks[0].expects = Expects::Measured { limit: id("near") };
    }),
    ("Unknown", "step[0].check[0].by[0]", |p| {
        p.steps[0].checks[0].who = Who::Roles(vec![role("pilot")]);
    }),
    ("Unknown", "step[0].check[0].each", |p| {
        p.steps[0].checks[0].who = Who::Each(Some(role("pilot")));
    }),
    ("Unknown", "step[2].needs[0]", |p| {
        p.steps[2].needs = vec![is("posts", "carrying")]
    }),
    ("Unknown", "step[2].sets[0]", |p| {
        p.steps[2].sets = vec![is("strung", "open")]
    }),
    ("Unknown", "never[0].all[0]", |p| {
        p.never[0].all[0] = is("strung", "open")
    }),
    ("Unknown", "step[1].items[0]", |p| {
        p.steps[1].items[0].item = id("SP-9")
    }),
    ("Unknown", "step[2].moves[0]", |p| {
        p.steps[2].moves[0].item = id("clump")
    }),
    ("Unknown", "step[1].after[0]", |p| {
        p.steps[1].after[0] = id("elsewhere")
    }),
    ("NoRole", "role", |p| p.roles[0].id = role("boss")),
    ("NoRole", "role", |p| p.roles[3].id = role("watcher")),
    ("MayBeVacant", "role[3]", |p| p.roles[3].least = 0),
    ("MayBeVacant", "role[0]", |p| p.roles[0].least = 0),
    ("ManySupervisors", "role[0]", |p| p.roles[0].most = 2),
    ("RoleAll", "role[2].id", |p| p.roles[2].id = role("all")),
    ("LeastAboveMost", "role[1]", |p| p.roles[1].most = 1),
    ("LeastAboveMost", "limit[0]", |p| {
        p.limits[0].most = Some(Decimal::whole(1))
    }),
    ("NotWithSelf", "role[1].not_with", |p| {
        p.roles[1].not_with.push(role("tower"))
    }),
    ("ObserverNotAlone", "role[3].not_with", |p| {
        p.roles[2].not_with.clear()
    }),
    ("TooManyPeople", "role", |p| {
        (p.roles[2].least, p.roles[2].most) = (29, 29)
    }),
    ("AgreeWithoutObserver", "agree_by", |p| {
        p.agree_by = vec![role("tower")]
    }),
    ("AgreeWithoutAloft", "agree_by", |p| {
        p.agree_by = vec![role("observer")]
    }),
    ("NoBound", "limit[0]", |p| p.limits[0].least = None),
    ("BoundFinerThanShown", "limit[0]", |p| {
        p.limits[0].least = "1.305".parse().ok()
    }),
    ("LimitUnused", "limit[0]", |p| {
        p.steps[0].checks[0].expects = Expects::Yes
    }),
    ("NotAboveZero", "line.voltage_kv", |p| {
        p.line.voltage_kv = Decimal::ZERO
    }),
    ("NotAboveZero", "condition[0].valid_s", |p| {
        p.conditions[0].valid_s = 0
    }),
    ("NotAboveZero", "item[0].rated_kv", |p| {
        p.items[0].rated_kv = Some(Decimal::ZERO)
    }),
    ("NoPresence", "condition", |p| {
        p.conditions[0].kind = ConditionKind::Affirmed
    }),
    ("NoPresence", "condition", |p| {
        p.conditions[0].owners = vec![role("ground")]
    }),
    ("NoOrder", "condition", |p| {
        p.conditions[2].kind = ConditionKind::Affirmed
    }),
    ("OrderNotSupervisors", "condition[2].owners", |p| {
        p.conditions[2].owners = vec![role("ground")];
    }),
    ("PresenceOfMany", "condition[0].owners", |p| {
        p.conditions[0].owners.push(role("ground"))
    }),
    ("NotADate", "item[0].tested", |p| {
        p.items[0].tested = Some("2026-02-30".to_owned())
    }),
    ("TestedWithoutTerm", "item[1].tested", |p| {
        p.items[1].tested = Some("2026-02-28".to_owned());
    }),
    ("NotALoad", "step[2].moves[0]", |p| {
        p.steps[2].moves[0].item = id("SP-1")
    }),
    ("UnknownState", "mark[0].start", |p| {
        p.marks[0].start = id("on")
    }),
    ("UnknownState", "step[2].needs[0]", |p| {
        p.steps[2].needs = vec![is("poles", "caryring")]
    }),
    ("MarkTwice", "step[2].needs[1]", |p| {
        p.steps[2].needs.push(is("poles", "off"))
    }),
    ("MarkFixed", "mark[2].states", |p| {
        let mut fixed = p.marks[0].clone();
        fixed.id = id("fixed");
        fixed.states.truncate(1);
        p.marks.push(fixed);
    }),
    ("StateNeverSet", "mark[0].states[2]", |p| {
        p.marks[0].states.push(id("bent"))
    }),
    ("NeedNeverSo", "step[2].needs[0]", |p| {
        p.marks[0].states.push(id("bent"));
        p.steps[2].needs = vec![is("poles", "bent")];
    }),
    ("RuleNeverMatters", "never[0].all[1]", |p| {
        p.marks[0].states.push(id("bent"));
        p.never[0].all[1] = is("poles", "bent");
    }),
    ("RuleOfOne", "never[0].all", |p| p.never[0].all.truncate(1)),
    ("Ring", "step[0].after", |p| {
        p.steps[0].after.push(id("open"))
    }),
    ("Ring", "step[1].after", |p| {
        p.steps[1].after.push(id("transfer"))
    }),
    ("CriticalWithoutHold", "step[1].if_held", |p| {
        p.steps[1].if_held = " ".to_owned()
    }),
    ("WithoutHold", "step[2].if_held", |p| {
        p.steps[2].if_held.clear()
    }),
    ("TooFewPeople", "step[1].check[0]", |p| {
        (p.roles[1].least, p.roles[1].most) = (1, 1);
    }),
    ("TooFewPeople", "step[1].check[1]", |p| {
        p.steps[1].checks[1].who = Who::SecondLook {
            first: vec![role("observer")],
            second: vec![role("observer")],
        };
    }),
    ("CrewMayBeTooSmall", "step[1].check[0]", |p| {
        p.roles[1].least = 1
    }),
    ("PassesNotAnAnswer", "step[2].check[0].passes", |p| {
        p.steps[2].checks[0].expects = Expects::OneOf {
            answers: vec!["in".to_owned(), "out".to_owned()],
            passes: "inn".to_owned(),
        };
    }),
    ("NoChoice", "step[2].check[0].answers", |p| {
        p.steps[2].checks[0].expects = Expects::OneOf {
            answers: vec!["in".to_owned()],
            passes: "in".to_owned(),
        };
    }),
    ("NothingToRepeat", "step[2].check[0]", |p| {
        p.steps[2].checks[0].who = Who::ReadBack {
            report: vec![role("tower")],
            repeat: vec![role("ground")],
        };
    }),
    ("NeverSafeToLeave", "step", |p| {
        p.steps[0].safe_to_leave = false
    }),
    ("TimeOutOfRange", "times.watch_limit_ms", |p| {
        p.times.watch_limit_ms = 1_999
    }),
    ("TimeOutOfRange", "times.press_ms", |p| {
        p.times.press_ms = 5_001
    }),
    ("TimeOutOfRange", "times.ready_valid_s", |p| {
        p.times.ready_valid_s = 4
    }),
    ("LostBeforeHeld", "times", |p| {
        (p.times.watch_limit_ms, p.times.lost_after_ms) = (10_000, 9_999);
    }),
    ("TooManySteps", "step", |p| {
        let first = p.steps[0].clone();
        for at in 0..=crate::bounds::STEPS_MAX {
            let mut step = first.clone();
            step.id = id(&format!("s{at}"));
            step.text.clear();
            step.if_held.clear();
            p.steps.push(step);
        }
    }),
    ("TooLarge", "", |p| p.briefing = vec!["x".repeat(400); 160]),
];

fn name(problem: &Problem) -> String {
    let text = format!("{problem:?}");
    let end = text.find(|letter: char| !letter.is_alphanumeric());
    text[..end.unwrap_or(text.len())].to_owned()
}

#[test]
fn the_small_and_the_shipped_plans_have_no_findings() {
    assert_eq!(check(&small()), []);
    for builtin in builtin() {
        let plan = builtin.plan().unwrap_or_else(|faults| panic!("{faults}"));
        assert_eq!(check(&plan), [], "{}", builtin.name);
    }
}

#[test]
fn each_change_is_found_where_it_is() {
    for (problem, at, change) in CASES {
        let mut plan = small();
        change(&mut plan);
        let findings = check(&plan);
        let found = findings
            .iter()
            .any(|finding| name(&finding.problem) == *problem && finding.at == *at);
        assert!(found, "expected {problem} at {at}, found {findings:#?}");
        let is_error = |finding: &Finding| finding.problem.grade() == Grade::Error;
        let expected: Vec<Finding> = findings.into_iter().filter(is_error).collect();
        assert_eq!(errors(&plan), expected, "{problem}");
    }
}

#[test]
fn each_problem_has_a_case() {
    let source = include_str!("problem.rs");
    let body = source
        .split("pub enum Problem {")
        .nth(1)
        .unwrap_or_default();
    let body = body.split("\n}").next().unwrap_or_default();
    let variants: BTreeSet<&str> = body
        .lines()
        .filter_map(|line| line.strip_prefix("    "))
        .filter(|line| line.starts_with(|first: char| first.is_ascii_uppercase()))
        .map(|line| line.split([' ', ',', '{']).next().unwrap_or_default())
        // Found while limits are computed, before this check: their cases are there.
        .filter(|problem| !problem.starts_with("Computed"))
        .collect();
    let cases: BTreeSet<&str> = CASES.iter().map(|(problem, _, _)| *problem).collect();
    assert!(variants.len() > 30, "{variants:?}");
    assert_eq!(variants, cases);
}

#[test]
fn a_ring_is_named_in_its_order_and_only_the_ring() {
    let mut plan = small();
    plan.steps[1].after.push(id("open"));
    let rings: Vec<Vec<String>> = check(&plan)
        .into_iter()
        .filter_map(|finding| match finding.problem {
            Problem::Ring { ring } => Some(ring),
            _ => None,
        })
        .collect();
    assert_eq!(rings, [["transfer", "open", "transfer"]]);
}

#[test]
fn a_bound_at_the_limit_of_what_is_shown_passes() {
    let mut plan = small();
    plan.limits[0].least = "1.31".parse().ok();
    plan.limits[0].most = "1.31".parse().ok();
    assert_eq!(check(&plan), []);
    for (watch, lost) in [(2_000, 5_000), (10_000, 10_000)] {
        plan.times.watch_limit_ms = watch;
        plan.times.lost_after_ms = lost;
        assert_eq!(check(&plan), []);
    }
}
