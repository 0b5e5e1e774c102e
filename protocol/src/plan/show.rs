//! Show: a plan as text, whole or as the sheet for the briefing.
//! Owns: nothing.   Gives: `show`, `briefing_sheet`, the line of a condition, and how soon a stop is everywhere.
//! May use: plan::types, bounds.   Never: the state of a job.

use super::types::{
    Check, Condition, ConditionKind, Expects, Item, Lasts, Limit, MarkIs, Place, Plan, Role, Step,
    Units, Who,
};
use crate::bounds::{PAGE_LIMIT_MS, TICK_MS};
use core::fmt::Display;

/// The whole plan: line, crew, conditions, limits, items, rules and every step with its checks.
#[must_use]
pub fn show(plan: &Plan) -> String {
    let mut page = Page::default();
    head(plan, &mut page);
    page.title("Crew");
    page.each(&plan.roles, |role| role_line(plan, role));
    page.line(&format!(
        "agree to a resume: {}",
        join(&plan.agree_by, ", ")
    ));
    conditions(plan, &mut page);
    limits(plan, &mut page);
    if !plan.items.is_empty() {
        page.title("Items");
        page.each(&plan.items, item_line);
    }
    rules(plan, &mut page);
    page.title("Steps");
    for step in &plan.steps {
        step_lines(step, &mut page);
    }
    page.text
}

/// The sheet for the briefing: what is to be said, who does what, what stops the work and how soon, what
/// to keep secure at each hold point.
#[must_use]
pub fn briefing_sheet(plan: &Plan) -> String {
    let mut page = Page::default();
    head(plan, &mut page);
    page.title("To be covered");
    page.each(&plan.briefing, ToString::to_string);
    page.title("Stop and hold");
    for line in stop_words(plan) {
        page.item(&line);
    }
    page.title("Crew");
    page.each(&plan.roles, |role| role_line(plan, role));
    conditions(plan, &mut page);
    limits(plan, &mut page);
    rules(plan, &mut page);
    page.title("If held");
    for step in plan.steps.iter().filter(|s| s.hold_point || s.critical) {
        let critical = if step.critical { " (critical)" } else { "" };
        page.item(&format!(
            "{} {}{critical}: {}",
            step.id, step.title, step.if_held
        ));
    }
    let leave: Vec<&str> = plan
        .steps
        .iter()
        .filter(|step| step.safe_to_leave)
        .map(|step| step.id.as_str())
        .collect();
    page.title("Safe to leave");
    page.item(&if leave.is_empty() {
        "no step of this plan".to_owned()
    } else {
        format!(
            "after {} and before the next step is begun",
            leave.join(", ")
        )
    });
    page.text
}

/// What the crew must know of the tool itself.
fn stop_words(plan: &Plan) -> Vec<String> {
    let [device, page] = stop_seconds(plan);
    vec![
        "Anyone stops the work, at any time, by voice, hand signal or device. Voice and hand signals \
         stop first."
            .to_owned(),
        format!(
            "On the devices a stop is one trip over the radio; whatever the radio does, no device says \
             Proceed later than {device} s, and no screen later than about {page} s, after it was pressed."
        ),
        "Proceed says only that the log has what this step needs. It does not say that the work is safe."
            .to_owned(),
        format!(
            "To resume: everyone has heard the stop, the supervisor asks and names the cause, whoever \
             stopped and every {} agrees. One no ends the ask. No vote, no timer, no rank.",
            join(&plan.agree_by, " and every ")
        ),
    ]
}

/// How long after a stop was pressed a device, and a screen, may still say Proceed at most, in seconds.
#[must_use]
pub fn stop_seconds(plan: &Plan) -> [String; 2] {
    let device = plan.times.watch_limit_ms + TICK_MS;
    let page = plan.times.watch_limit_ms + 2 * PAGE_LIMIT_MS + 5 * TICK_MS;
    [device, page].map(seconds)
}

/// Seconds with one digit, rounded up, so that the sheet never promises more than the tool holds.
fn seconds(ms: u64) -> String {
    let tenths = ms.div_ceil(100);
    format!("{}.{}", tenths / 10, tenths % 10)
}

/// Lines with headings and indented points.
#[derive(Default)]
struct Page {
    text: String,
}

impl Page {
    fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    fn title(&mut self, title: &str) {
        self.line("");
        self.line(title);
    }

    fn item(&mut self, item: &str) {
        self.line(&format!("  {item}"));
    }

    fn each<T>(&mut self, list: &[T], line: impl Fn(&T) -> String) {
        for thing in list {
            self.item(&line(thing));
        }
    }
}

fn join<T: Display>(list: &[T], between: &str) -> String {
    let words: Vec<String> = list.iter().map(ToString::to_string).collect();
    words.join(between)
}

fn head(plan: &Plan, page: &mut Page) {
    let line = &plan.line;
    page.line(&plan.title);
    page.each(&plan.cautions, |caution| format!("! {caution}"));
    page.title("Line");
    page.item(&format!(
        "{}, {} kV, {} string",
        line.name, line.voltage_kv, line.string
    ));
    page.item(&format!(
        "structure {}, circuit {}, phase {}",
        line.structure, line.circuit, line.phase
    ));
    page.item(&format!("terminals: {}", line.terminals.join(", ")));
    page.item(&format!(
        "order: {}",
        line.order.as_deref().unwrap_or("to be asked for")
    ));
    page.each(&line.data, |datum| {
        format!("{}: {} {}", datum.name, datum.value, datum.unit)
    });
    page.item(match plan.units {
        Units::Si => "units: m, kN, km/h, °C",
        Units::Us => "units: ft, lbf, mph, °F",
    });
}

fn role_line(plan: &Plan, role: &Role) -> String {
    let count = if role.least == role.most {
        role.least.to_string()
    } else {
        format!("{} to {}", role.least, role.most)
    };
    // Written on one role, it holds for both.
    let excluded: Vec<&str> = plan
        .roles
        .iter()
        .filter(|other| role.not_with.contains(&other.id) || other.not_with.contains(&role.id))
        .map(|other| other.id.as_str())
        .collect();
    let aloft = if role.aloft { ", aloft" } else { "" };
    let not_with = if excluded.is_empty() {
        String::new()
    } else {
        format!(", not with {}", excluded.join(", "))
    };
    format!("{} ({}): {count}{aloft}{not_with}", role.title, role.id)
}

fn conditions(plan: &Plan, page: &mut Page) {
    page.title("Standing conditions");
    page.each(&plan.conditions, |condition| {
        condition_line(plan, condition)
    });
}

/// A standing condition in one line: who gives it, how it is known, how long a reading is good for, and how long it
/// must be in bounds before a resume.
#[must_use]
pub fn condition_line(plan: &Plan, condition: &Condition) -> String {
    let how = match &condition.kind {
        ConditionKind::Presence => "any act renews it".to_owned(),
        ConditionKind::Measured { limit } => {
            let limit = plan.limit(limit).map(bounds).unwrap_or_default();
            format!("measured, {limit}")
        }
        ConditionKind::NoneSeen => "none seen; a sighting starts the time anew".to_owned(),
        ConditionKind::Order => "in effect at every terminal, read back".to_owned(),
        ConditionKind::Affirmed => "said to be so".to_owned(),
    };
    let covers = match (condition.covers.first(), condition.covers.last()) {
        (Some(first), Some(last)) => {
            format!(", {} steps from {first} to {last}", condition.covers.len())
        }
        _ => String::new(),
    };
    let stable = if condition.stable_s > 0 {
        format!(", {} in bounds before a resume", span(condition.stable_s))
    } else {
        String::new()
    };
    format!(
        "{} ({}): {how}; good for {}{stable}{covers}{}",
        condition.title,
        join(&condition.owners, ", "),
        span(condition.valid_s),
        lasts(condition.lasts)
    )
}

/// A time in the largest unit that gives a whole number.
fn span(seconds: u32) -> String {
    match seconds {
        s if s >= 3_600 && s % 3_600 == 0 => format!("{} h", s / 3_600),
        s if s >= 60 && s % 60 == 0 => format!("{} min", s / 60),
        s => format!("{s} s"),
    }
}

fn lasts(lasts: Lasts) -> &'static str {
    match lasts {
        Lasts::Job => "",
        Lasts::Day => "; anew each day",
        Lasts::Shift => "; anew each shift",
    }
}

fn limits(plan: &Plan, page: &mut Page) {
    if plan.limits.is_empty() {
        return;
    }
    page.title("Limits (planning aids)");
    for limit in &plan.limits {
        page.item(&format!(
            "{} ({}): {}",
            limit.title,
            limit.id,
            bounds(limit)
        ));
        page.item(&format!("  {}", limit.source));
    }
}

fn bounds(limit: &Limit) -> String {
    let unit = &limit.unit;
    match (limit.least, limit.most) {
        (Some(least), Some(most)) => format!("{least} to {most} {unit}"),
        (Some(least), None) => format!("at least {least} {unit}"),
        (None, Some(most)) => format!("at most {most} {unit}"),
        (None, None) => "no bound".to_owned(),
    }
}

/// An item in one line: where it is, its ratings, its test.
fn item_line(item: &Item) -> String {
    let mut facts = vec![place(item.at).to_owned()];
    if item.load {
        facts.push("load".to_owned());
    }
    if let Some(kv) = item.rated_kv {
        facts.push(format!("{kv} kV"));
    }
    if let Some(kn) = item.rated_kn {
        facts.push(format!("{kn} kN"));
    }
    if let Some(months) = item.test_months {
        let tested = item.tested.as_deref().unwrap_or("not given");
        facts.push(format!("test every {months} months, last {tested}"));
    }
    if item.daily {
        facts.push("wiped and inspected daily".to_owned());
    }
    if !item.counted {
        facts.push("not counted".to_owned());
    }
    format!("{} {}: {}", item.id, item.title, facts.join(", "))
}

fn place(place: Place) -> &'static str {
    match place {
        Place::Truck => "truck",
        Place::Ground => "ground",
        Place::OnTheLine => "on the load line",
        Place::Aloft => "aloft",
        Place::Structure => "structure",
        Place::Conductor => "conductor",
    }
}

fn marks_are(list: &[MarkIs]) -> String {
    let words: Vec<String> = list
        .iter()
        .map(|is| format!("{} {}", is.mark, is.state))
        .collect();
    words.join(", ")
}

fn rules(plan: &Plan, page: &mut Page) {
    if plan.never.is_empty() {
        return;
    }
    page.title("Never");
    page.each(&plan.never, |rule| {
        format!("{} ({})", rule.why, marks_are(&rule.all))
    });
}

fn step_lines(step: &Step, page: &mut Page) {
    let mut words = Vec::new();
    if step.hold_point {
        words.push("hold point");
    }
    if step.critical {
        words.push("critical");
    }
    if step.safe_to_leave {
        words.push("safe to leave after");
    }
    let words = if words.is_empty() {
        String::new()
    } else {
        format!(" [{}]", words.join(", "))
    };
    page.line("");
    page.item(&format!("{} {}{words}", step.id, step.title));
    page.item(&format!("  {}", step.text));
    let places = |list: Vec<String>| list.join(", ");
    let items = step.items.iter();
    let items = items.map(|at| format!("{} {}", at.item, place(at.at)));
    let moves = step.moves.iter();
    let moves = moves.map(|to| format!("{} to {}", to.item, place(to.to)));
    for (name, list) in [
        ("after", join(&step.after, ", ")),
        ("needs", marks_are(&step.needs)),
        ("items", places(items.collect())),
        ("moves", places(moves.collect())),
        ("sets", marks_are(&step.sets)),
    ] {
        if !list.is_empty() {
            page.item(&format!("  {name}: {list}"));
        }
    }
    for check in &step.checks {
        page.item(&format!("  - {}", check_line(check)));
    }
    page.item(&format!("  if held: {}", step.if_held));
}

/// A check in one line: its words, who gives it, what is said.
fn check_line(check: &Check) -> String {
    let who = match &check.who {
        Who::Roles(places) => join(places, " and "),
        Who::Each(None) => "everyone".to_owned(),
        Who::Each(Some(role)) => format!("each {role}"),
        Who::SecondLook { first, second } => format!(
            "second look: {}, then {} without seeing the first",
            join(first, " or "),
            join(second, " or ")
        ),
        Who::ReadBack { report, repeat } => format!(
            "read-back: {} reports, {} repeats",
            join(report, " or "),
            join(repeat, " or ")
        ),
    };
    let says = match &check.expects {
        Expects::Yes => String::new(),
        Expects::Measured { limit } => format!("; measured against {limit}"),
        Expects::OneOf { answers, passes } => {
            format!("; {}; passes: {passes}", answers.join(" / "))
        }
        Expects::Identity => "; structure, circuit and phase as read".to_owned(),
        Expects::Words => "; in words".to_owned(),
        Expects::Tally { of } => format!("; {of}: out and back"),
        Expects::Heads => "; by a head count".to_owned(),
        Expects::OrderIs { in_effect: true } => "; order in effect".to_owned(),
        Expects::OrderIs { in_effect: false } => "; order released".to_owned(),
    };
    format!(
        "\"{}\" ({}): {who}{says}{}",
        check.text,
        check.id,
        lasts(check.lasts)
    )
}

#[cfg(test)]
mod tests {
    use crate::plan::{SMALL, briefing_sheet, parse, show};

    #[test]
    fn every_part_of_a_plan_is_on_its_page() {
        let plan = parse("small", SMALL).unwrap_or_else(|faults| panic!("{faults}"));
        let page = show(&plan);
        for word in [
            plan.title.as_str(),
            "138 kV",
            "structure 12, circuit 1, phase B",
            "Tower (tower): 2, aloft, not with ground, observer",
            "Wind (observer, supervisor): measured, at most 36 km/h; good for 15 min",
            "at least 1.30 m",
            "29 CFR 1910.269 Table R-7",
            "test every 24 months, last not given",
            "(string open, poles off)",
            "transfer Take the load [hold point, critical]",
            "moves: clamp to structure",
            "second look: observer, then ground without seeing the first",
            "\"Everyone is clear\" (ready): everyone",
            "if held: Stop turning",
        ] {
            assert!(page.contains(word), "no {word:?} in\n{page}");
        }
        for step in &plan.steps {
            for check in &step.checks {
                assert!(page.contains(&check.text), "{}", check.id);
            }
        }
    }

    #[test]
    fn the_sheet_says_how_soon_a_stop_is_everywhere_and_cautions_first() {
        let plan = parse("small", SMALL).unwrap_or_else(|faults| panic!("{faults}"));
        let sheet = briefing_sheet(&plan);
        assert_eq!(
            sheet.lines().nth(1).map(str::trim),
            Some(
                "! A planning aid: local codes, the utility's rules and licensed practice decide."
            )
        );
        for word in [
            "no device says Proceed later than 4.1 s, and no screen later than about 6.5 s",
            "Voice and hand signals stop first",
            "every observer and every tower agrees",
            "after approach and before",
            "transfer Take the load (critical): Stop turning",
        ] {
            assert!(sheet.contains(word), "no {word:?} in\n{sheet}");
        }
    }
}
