//! Plan: the plan that a case implies: the reference plan's steps, with the case's own figures.
//! Owns: nothing.   Gives: `Planned`: the plan, and which check of it a name of the case means.
//! May use: case, reference, protocol's plan and its check.   Never: what has happened (history).

use super::acts::{Act, Bound};
use super::case::{Case, ConditionAt, Need, StepAt, any_act};
use super::reference::{self, MARKS, Rp};
use gantline_protocol::bounds::{LOST_AFTER_MS, PRESS_RANGE_MS, READY_VALID_RANGE_S};
use gantline_protocol::decimal::Decimal;
use gantline_protocol::ids::{BadId, CheckId, RoleId, StepId};
use gantline_protocol::plan::{
    self, Check, Condition, ConditionKind, Expects, Item, ItemAt, Lasts, Limit, Line, LoadMove,
    Mark, MarkIs, Place, Plan, Role, Step, Times, Units, Who,
};
use std::collections::BTreeSet;

/// Lightning: 30 minutes after the last thunder or flash.
const LIGHTNING_S: u32 = 1_800;
/// The order is confirmed again each shift.
const ORDER_S: u32 = 28_800;
/// Wind at which stick crews commonly stop, km/h (common practice).
const WIND_KMH: i64 = 36;
/// Steps that the standing conditions cover.
const COVERED: (&str, &str) = ("P03", "P21");
/// The check that stands for structure, circuit and phase, which are read as one.
pub const IDENTITY: &str = "identity";
const IDENTITY_ITEMS: [&str; 3] = ["structure", "circuit", "phase"];

/// A plan, and the case's names in it.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The plan.
    pub plan: Plan,
    /// Counted items with no name of their own, for tallies.
    pub fillers: Vec<String>,
}

/// A case that no plan can be made of.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("no plan can be made of the case: {0}")]
pub struct NoPlan(pub String);

impl From<BadId> for NoPlan {
    fn from(bad: BadId) -> Self {
        Self(bad.to_string())
    }
}

/// A check of the plan by the name that the case gives it.
#[must_use]
pub fn check_name<'a>(needs: &[Need], name: &'a str) -> &'a str {
    if IDENTITY_ITEMS.contains(&name) {
        return IDENTITY;
    }
    match name.strip_suffix("_second") {
        Some(first) if needs.is_empty() || needs.iter().any(|need| need.check == first) => first,
        _ => name,
    }
}

/// An item's id by its words.
#[must_use]
pub fn item_name(words: &str) -> String {
    words.trim().replace(' ', "-")
}

/// Makes the plan of a case.
///
/// # Errors
/// [`NoPlan`], with what the plan's own check says.
pub fn planned(case: &Case) -> Result<Planned, NoPlan> {
    let fillers = fillers(case);
    let steps = steps(case)?;
    let plan = Plan {
        title: case.title.clone(),
        line: Line {
            name: "Sample line".to_owned(),
            voltage_kv: case.job.line_kv,
            circuit: case.job.circuit.clone(),
            phase: case.job.phase.clone(),
            structure: case.job.structure.clone(),
            string: case.job.string.clone(),
            terminals: terminals(case),
            order: Some(case.job.order.clone()),
            data: Vec::new(),
            words: Vec::new(),
        },
        units: Units::Si,
        cautions: vec![
            "A planning aid: local codes, the utility's rules and licensed practice decide."
                .to_owned(),
        ],
        briefing: vec![
            "Hazards".to_owned(),
            "Work procedure".to_owned(),
            "Special precautions".to_owned(),
            "Energy sources".to_owned(),
            "Protective equipment".to_owned(),
        ],
        roles: roles(case)?,
        agree_by: vec!["observer".parse()?, "tower".parse()?],
        limits: limits(case)?,
        conditions: conditions(case, &steps)?,
        items: items(case, &fillers, &steps)?,
        marks: marks(&steps)?,
        steps,
        never: Vec::new(),
        times: times(case)?,
    };
    let errors: Vec<String> = plan::errors(&plan)
        .into_iter()
        .map(|finding| format!("{}: {}", finding.at, finding.problem))
        .collect();
    if errors.is_empty() {
        Ok(Planned { plan, fillers })
    } else {
        Err(NoPlan(errors.join("; ")))
    }
}

fn times(case: &Case) -> Result<Times, NoPlan> {
    let assume = &case.assume;
    let ready = assume.ready_ms / 1000;
    let press = assume.press_ms;
    if !READY_VALID_RANGE_S.contains(&ready) || !PRESS_RANGE_MS.contains(&press) {
        let why = format!(
            "ready_s is {READY_VALID_RANGE_S:?} s and press_hold_s {PRESS_RANGE_MS:?} ms in a plan"
        );
        return Err(NoPlan(why));
    }
    Ok(Times {
        watch_limit_ms: assume.contact_ms,
        lost_after_ms: LOST_AFTER_MS,
        ready_valid_s: u32::try_from(ready).unwrap_or(u32::MAX),
        press_ms: u32::try_from(press).unwrap_or(u32::MAX),
    })
}

fn terminals(case: &Case) -> Vec<String> {
    let named = case
        .conditions
        .iter()
        .find(|condition| condition.name == "order" && !condition.terminals.is_empty());
    named.map_or_else(
        || vec!["north".to_owned(), "south".to_owned()],
        |condition| condition.terminals.clone(),
    )
}

/// Steps that events name, or that are listed, in the plan's order.
fn in_plan(case: &Case) -> Vec<(&'static Rp, Option<&StepAt>)> {
    let mut named: BTreeSet<&str> = case.steps.iter().map(|step| step.id.as_str()).collect();
    for event in &case.events {
        let step = match &event.act {
            Act::Confirm { step, .. }
            | Act::Decline { step, .. }
            | Act::Measure { step, .. }
            | Act::PressConfirm { step, .. } => Some(step.as_str()),
            Act::NoteLate { step, .. } | Act::MakeSafe { step, .. } => step.as_deref(),
            Act::Suspend { state, .. } => state.split_whitespace().next(),
            _ => None,
        };
        named.extend(step.filter(|step| super::case::is_step(step)));
    }
    named
        .into_iter()
        .filter_map(|id| {
            let listed = case.steps.iter().find(|step| step.id == id);
            reference::step(id).map(|rp| (rp, listed))
        })
        .collect()
}

fn steps(case: &Case) -> Result<Vec<Step>, NoPlan> {
    let mut steps: Vec<Step> = Vec::new();
    // Steps that are complete without being listed come first, whatever their number.
    let (listed, others): (Vec<_>, Vec<_>) = in_plan(case)
        .into_iter()
        .partition(|(_, listed)| listed.is_some());
    for (rp, listed) in others.into_iter().chain(listed) {
        let after = steps.last().map(|last| last.id.clone());
        let needs = |list: &[(&str, &str)]| -> Result<Vec<MarkIs>, NoPlan> {
            list.iter()
                .map(|(mark, state)| mark_is(mark, state))
                .collect()
        };
        let moves = match rp.moves {
            Some((load, up)) => vec![LoadMove {
                item: item_name(load).as_str().try_into()?,
                to: place_to(up),
            }],
            None => Vec::new(),
        };
        steps.push(Step {
            id: rp.id.parse()?,
            title: listed
                .map_or(rp.title, |step| step.name.as_str())
                .to_owned(),
            text: rp.title.to_owned(),
            after: after.into_iter().collect(),
            hold_point: true,
            critical: rp.critical,
            if_held: rp.safe_hold.to_owned(),
            safe_to_leave: rp.safe_to_leave,
            needs: needs(rp.needs)?,
            sets: needs(rp.sets)?,
            items: Vec::<ItemAt>::new(),
            moves,
            checks: checks(case, rp, listed)?,
        });
    }
    drop_needs_that_nothing_sets(&mut steps);
    Ok(steps)
}

/// A step's marks that no step before it in this plan leaves as it needs them hold from the beginning; see
/// [`marks`]. What contradicts itself is left out: the case lists a part of the plan only.
fn drop_needs_that_nothing_sets(steps: &mut [Step]) {
    let mut now: Vec<MarkIs> = Vec::new();
    for step in steps {
        step.needs.retain(|need| {
            now.iter()
                .rfind(|set| set.mark == need.mark)
                .is_none_or(|set| set.state == need.state)
        });
        now.extend(step.needs.iter().chain(&step.sets).cloned());
    }
}

fn mark_is(mark: &str, state: &str) -> Result<MarkIs, NoPlan> {
    Ok(MarkIs {
        mark: mark.parse()?,
        state: state.parse()?,
    })
}

/// Where a load ends: up on the structure, down on the ground.
#[must_use]
pub fn place_to(up: bool) -> Place {
    if up { Place::Structure } else { Place::Ground }
}

/// Each mark begins as the first step of this plan that needs it finds it; else as before the first step that
/// sets it.
fn marks(steps: &[Step]) -> Result<Vec<Mark>, NoPlan> {
    let mut marks = Vec::new();
    for (id, states) in MARKS {
        let first = steps.iter().find_map(|step| {
            let needed = step.needs.iter().find(|need| need.mark.as_str() == id);
            let set = step.sets.iter().find(|set| set.mark.as_str() == id);
            match (needed, set) {
                (Some(needed), _) => Some(needed.state.as_str()),
                (None, Some(set)) => states
                    .iter()
                    .find(|state| **state != set.state.as_str())
                    .copied(),
                (None, None) => None,
            }
        });
        let Some(start) = first else {
            continue;
        };
        let states: Result<Vec<_>, BadId> = states.iter().map(|state| state.parse()).collect();
        marks.push(Mark {
            id: id.parse()?,
            states: states?,
            start: start.parse()?,
        });
    }
    Ok(marks)
}

fn needs_of(rp: &Rp, listed: Option<&StepAt>) -> Vec<Need> {
    match listed {
        Some(step) => step.needs.clone(),
        None => rp
            .checks
            .iter()
            .map(|(check, role)| Need {
                check: (*check).to_owned(),
                role: (*role).to_owned(),
                count: 1,
            })
            .collect(),
    }
}

fn checks(case: &Case, rp: &Rp, listed: Option<&StepAt>) -> Result<Vec<Check>, NoPlan> {
    let needs = needs_of(rp, listed);
    let mut checks: Vec<Check> = Vec::new();
    for need in &needs {
        let name = check_name(&needs, &need.check);
        if checks.iter().any(|check| check.id.as_str() == name) {
            continue;
        }
        let of: Vec<&Need> = needs
            .iter()
            .filter(|other| check_name(&needs, &other.check) == name)
            .collect();
        checks.push(Check {
            id: name.parse()?,
            text: need.check.replace('_', " "),
            who: who(&of)?,
            expects: expects(case, rp.id, name)?,
            lasts: if rp.daily { Lasts::Day } else { Lasts::Job },
        });
    }
    Ok(checks)
}

fn who(needs: &[&Need]) -> Result<Who, NoPlan> {
    let role = |need: &Need| -> Result<RoleId, NoPlan> { Ok(need.role.parse()?) };
    if needs.iter().any(|need| need.role == "all") {
        return Ok(Who::Each(None));
    }
    let mut roles: Vec<&str> = needs.iter().map(|need| need.role.as_str()).collect();
    roles.dedup();
    // The same item asked of two roles, or a look and a second one: two people, blind to each other.
    let blind = needs.iter().any(|need| need.check.ends_with("_second"))
        || IDENTITY_ITEMS.contains(&needs[0].check.as_str());
    if blind && needs.len() > 1 {
        let firsts: BTreeSet<&str> = [needs[0].role.as_str()].into();
        let seconds: BTreeSet<&str> = needs
            .iter()
            .map(|need| need.role.as_str())
            .filter(|role| !firsts.contains(role))
            .collect();
        let parse = |roles: BTreeSet<&str>| -> Result<Vec<RoleId>, NoPlan> {
            roles.into_iter().map(|role| Ok(role.parse()?)).collect()
        };
        return Ok(Who::SecondLook {
            second: if seconds.is_empty() {
                parse(firsts.clone())?
            } else {
                parse(seconds)?
            },
            first: parse(firsts)?,
        });
    }
    let mut places = Vec::new();
    for need in needs {
        for _ in 0..need.count {
            places.push(role(need)?);
        }
    }
    Ok(Who::Roles(places))
}

fn expects(case: &Case, step: &str, check: &str) -> Result<Expects, NoPlan> {
    if check == IDENTITY {
        return Ok(Expects::Identity);
    }
    if bound_of(case, step, check).is_some() {
        return Ok(Expects::Measured {
            limit: check.parse()?,
        });
    }
    let tally = any_act(
        case,
        |act| matches!(act, Act::Confirm { step: s, check: c, tally: Some(_), .. } if s == step && c == check),
    );
    Ok(match check {
        _ if tally => Expects::Tally {
            of: "tools and protective equipment".to_owned(),
        },
        "heads_clear" => Expects::Heads,
        "order_in_effect" => Expects::OrderIs { in_effect: true },
        "order_released" => Expects::OrderIs { in_effect: false },
        _ => Expects::Yes,
    })
}

/// The unit and bound of a check that some event measures.
fn bound_of<'a>(case: &'a Case, step: &str, check: &str) -> Option<(&'a str, Bound)> {
    case.events.iter().find_map(|event| match &event.act {
        Act::Measure {
            step: s,
            check: c,
            unit,
            limit,
            ..
        } if s == step && c == check => {
            Some((unit.as_str(), limit.unwrap_or(Bound::Least(case.job.mad_m))))
        }
        _ => None,
    })
}

fn limits(case: &Case) -> Result<Vec<Limit>, NoPlan> {
    let wind = case.conditions.iter().find(|c| c.name == "wind");
    let mut limits = vec![Limit {
        id: "wind".parse()?,
        title: "Wind".to_owned(),
        unit: "km/h".to_owned(),
        least: None,
        most: Some(
            wind.and_then(|wind| wind.limit)
                .unwrap_or(Decimal::whole(WIND_KMH)),
        ),
        places: 0,
        source: "Common practice, employer's figure".to_owned(),
        computed: None,
    }];
    for (rp, listed) in in_plan(case) {
        let needs = needs_of(rp, listed);
        let mut names: Vec<&str> = needs.iter().map(|n| n.check.as_str()).collect();
        names.dedup();
        for name in names {
            let Some((unit, bound)) = bound_of(case, rp.id, name) else {
                continue;
            };
            let (least, most) = match bound {
                Bound::Least(least) => (least, None),
                Bound::Range(least, most) => (least, Some(most)),
            };
            limits.push(Limit {
                id: name.parse()?,
                title: name.replace('_', " "),
                unit: unit.to_owned(),
                least: Some(least),
                most,
                places: 2,
                source: "The case".to_owned(),
                computed: None,
            });
        }
    }
    Ok(limits)
}

fn roles(case: &Case) -> Result<Vec<Role>, NoPlan> {
    let mut names: Vec<&str> = vec!["supervisor", "tower", "ground", "observer"];
    for member in case.crew.iter().filter(|member| member.enrolled) {
        let role = member.role.as_str();
        if !names.contains(&role) && role != "none yet" {
            names.push(role);
        }
    }
    let not_with = |name: &str| -> &[&str] {
        match name {
            // An observer has no other duty.
            "observer" => &["supervisor", "tower", "ground"],
            "tower" => &["ground"],
            _ => &[],
        }
    };
    names
        .into_iter()
        .map(|name| {
            let others: Result<Vec<RoleId>, BadId> =
                not_with(name).iter().map(|other| other.parse()).collect();
            Ok(Role {
                id: name.parse()?,
                title: name.to_owned(),
                least: u8::from(matches!(name, "supervisor" | "observer")),
                most: if name == "supervisor" { 1 } else { 8 },
                not_with: others?,
                aloft: name == "tower",
            })
        })
        .collect()
}

fn conditions(case: &Case, steps: &[Step]) -> Result<Vec<Condition>, NoPlan> {
    let covers: Vec<StepId> = steps
        .iter()
        .map(|step| &step.id)
        .filter(|id| (COVERED.0..=COVERED.1).contains(&id.as_str()))
        .cloned()
        .collect();
    let of = |name: &str| case.conditions.iter().find(|given| given.name == name);
    let seconds = |ms: u64| u32::try_from(ms / 1000).unwrap_or(u32::MAX);
    let mut conditions = Vec::new();
    let mut add = |name: &str, title: &str, kind, valid_s, lasts| -> Result<(), NoPlan> {
        let given: Option<&ConditionAt> = of(name);
        let mut owners: Vec<&str> = match name {
            "order" | "supervisor" => vec!["supervisor"],
            "observer" => vec!["observer"],
            _ => vec!["observer", "supervisor"],
        };
        let owner = given.and_then(|given| case.crew.iter().find(|m| m.person == given.owner));
        if let Some(owner) = owner
            && !owners.contains(&owner.role.as_str())
        {
            owners.push(&owner.role);
        }
        let owners: Result<Vec<RoleId>, BadId> = owners.into_iter().map(str::parse).collect();
        conditions.push(Condition {
            id: name.parse()?,
            title: title.to_owned(),
            owners: owners?,
            kind,
            valid_s: given.and_then(|g| g.valid_ms).map_or(valid_s, seconds),
            stable_s: given.and_then(|g| g.stable_ms).map_or(0, seconds),
            covers: covers.clone(),
            lasts,
        });
        Ok(())
    };
    let observer_s = seconds(case.assume.observer_ms);
    let wind = ConditionKind::Measured {
        limit: "wind".parse()?,
    };
    add(
        "observer",
        "Observer in place",
        ConditionKind::Presence,
        observer_s,
        Lasts::Day,
    )?;
    add(
        "wind",
        "Weather: wind",
        wind,
        seconds(case.assume.wind_ms),
        Lasts::Day,
    )?;
    add(
        "lightning",
        "Weather: lightning",
        ConditionKind::NoneSeen,
        LIGHTNING_S,
        Lasts::Day,
    )?;
    add(
        "precipitation",
        "Weather: rain, snow, fog",
        ConditionKind::NoneSeen,
        LIGHTNING_S,
        Lasts::Day,
    )?;
    add(
        "order",
        "Line order in effect",
        ConditionKind::Order,
        ORDER_S,
        Lasts::Shift,
    )?;
    let named = of("supervisor").is_some()
        || any_act(
            case,
            |act| matches!(act, Act::Affirm { condition } | Act::Away { condition } if condition == "supervisor"),
        );
    if named {
        add(
            "supervisor",
            "Supervisor in place",
            ConditionKind::Presence,
            observer_s,
            Lasts::Day,
        )?;
    }
    Ok(conditions)
}

/// Items without a name of their own, so that a tally rests on what the log knows of items.
fn fillers(case: &Case) -> Vec<String> {
    let named = any_act(case, |act| {
        matches!(act, Act::ToolIn { .. } | Act::ToolOut { .. })
            || matches!(act, Act::Confirm { step, tally: Some(_), .. } if step == "suspend")
    });
    let most = case
        .events
        .iter()
        .filter_map(|event| match &event.act {
            Act::Confirm {
                tally: Some((out, _)),
                ..
            } => Some(*out),
            _ => None,
        })
        .max();
    let tools: BTreeSet<&str> = case
        .events
        .iter()
        .filter_map(|event| match &event.act {
            Act::ToolIn { tool } | Act::ToolOut { tool } => Some(tool.as_str()),
            _ => None,
        })
        .collect();
    let missing = most
        .filter(|_| named)
        .map_or(0, |most| (most as usize).saturating_sub(tools.len()));
    (1..=missing).map(|n| format!("tool-{n:02}")).collect()
}

fn items(case: &Case, fillers: &[String], steps: &[Step]) -> Result<Vec<Item>, NoPlan> {
    let mut items: Vec<Item> = Vec::new();
    let mut add = |item: Item| {
        if !items.iter().any(|known| known.id == item.id) {
            items.push(item);
        }
    };
    let plain = |name: &str, load: bool, at: Place| -> Result<Item, NoPlan> {
        Ok(Item {
            id: item_name(name).as_str().try_into()?,
            title: name.to_owned(),
            load,
            at,
            test_months: None,
            tested: None,
            daily: false,
            rated_kv: None,
            rated_kn: None,
            counted: !load,
        })
    };
    for step in steps {
        let rp = reference::step(step.id.as_str());
        if let Some((load, up)) = rp.and_then(|rp| rp.moves) {
            let from = if up { Place::Ground } else { Place::Structure };
            add(plain(load, true, from)?);
        }
    }
    for event in &case.events {
        match &event.act {
            Act::ToolScan {
                tool, max_months, ..
            } => add(Item {
                test_months: Some(*max_months),
                daily: true,
                rated_kv: Some(case.job.line_kv),
                ..plain(tool, false, Place::Truck)?
            }),
            Act::Offer {
                load: Some(load),
                up,
                ..
            } => {
                let from = if *up { Place::Ground } else { Place::Structure };
                add(plain(load, true, from)?);
            }
            _ => {}
        }
    }
    for event in &case.events {
        match &event.act {
            Act::Offer {
                tool: Some(tool), ..
            }
            | Act::ToolWipe { tool, .. }
            | Act::ToolOut { tool }
            | Act::ToolIn { tool }
            | Act::ToolOutOfService { tool }
            | Act::Stop {
                tool: Some(tool), ..
            }
            | Act::MakeSafe {
                tool: Some(tool), ..
            } => add(plain(tool, false, Place::Truck)?),
            _ => {}
        }
    }
    for filler in fillers {
        add(plain(filler, false, Place::Truck)?);
    }
    Ok(items)
}

impl Planned {
    /// The step and check of the plan that the case means; of steps that are not listed the default checks.
    #[must_use]
    pub fn check(&self, case: &Case, step: &str, check: &str) -> Option<(StepId, CheckId)> {
        let needs = case
            .steps
            .iter()
            .find(|listed| listed.id == step)
            .map_or(&[][..], |listed| &listed.needs);
        let id: StepId = step.parse().ok()?;
        let check: CheckId = check_name(needs, check).parse().ok()?;
        Some((id, check))
    }
}
