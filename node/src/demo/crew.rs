//! Crew: what would the person at this device do now?
//! Owns: what a person remembers.   Gives: `Hand`, whose next act follows from what its own device shows.
//! May use: protocol's status, plan and commands.   Never: another device's status; a wish to make a mistake
//! (script).
//!
//! A hand does what it is asked, and prepares what the open step needs and its role does: the ground looks at
//! tools and carries them, a tower worker commands the load line, the supervisor speaks with the operator.

use gantline_protocol::decimal::Decimal;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{
    CheckId, ConditionId, DeviceKey, HandoffId, ItemId, Person, RoleId, StepId,
};
use gantline_protocol::log::entry::{Finding, NoteKind, OrderState, Said};
use gantline_protocol::plan::{Check, ConditionKind, Expects, Limit, LoadMove, Place, Plan, Step};
use gantline_protocol::reason::Unfit;
use gantline_protocol::state::{
    AskedOf, CallWord, CrewStatus, ItemStatus, JobState, Status, StepState,
};
use std::collections::BTreeSet;

/// The order number of the demonstration.
pub const ORDER: &str = "HLO-3107";

/// A person with a device.
#[derive(Clone, Debug)]
pub struct Hand {
    /// Call sign.
    pub person: Person,
    /// The device held.
    pub device: DeviceKey,
    /// What is asked of this hand, a person at a page answers.
    pub by_hand: bool,
    /// What was last said of the line order, if it was this hand's to say.
    order: Option<OrderState>,
    /// Steps for which this hand has counted heads.
    counted: BTreeSet<StepId>,
}

impl Hand {
    /// A person who has done nothing yet.
    #[must_use]
    pub fn new(person: Person, device: DeviceKey) -> Self {
        Self {
            person,
            device,
            by_hand: false,
            order: None,
            counted: BTreeSet::new(),
        }
    }

    /// The next act, from what this hand's device shows; `None`: wait.
    #[must_use]
    pub fn next(&self, status: &Status, plan: &Plan) -> Option<Command> {
        if self.by_hand {
            // What a page has no control for yet.
            return if status.call.word == CallWord::Proceed {
                self.prepare(status, plan)
            } else {
                self.prepare_in_hold(status, plan)
            };
        }
        // What settles a stop comes first, then what one's own place needs, then the work.
        let order = |asked: &AskedOf| match asked {
            AskedOf::InTheClear => 0,
            AskedOf::Heard { .. } => 1,
            AskedOf::Accept => 2,
            AskedOf::Briefing { .. } => 3,
            AskedOf::StillSo => 4,
            AskedOf::Consent { .. } => 5,
            AskedOf::Agree { .. } => 6,
            AskedOf::Ask { .. } => 7,
            AskedOf::TakeRole { .. } => 8,
            AskedOf::Condition { .. } => 9,
            AskedOf::Ready { .. } => 10,
            AskedOf::Take { .. } => 11,
            AskedOf::Check { .. } => 12,
        };
        let mut asked: Vec<&AskedOf> = status.asked.iter().collect();
        asked.sort_by_key(|asked| order(asked));
        let settle = |asked: &&&AskedOf| order(asked) < 12;
        let first = asked
            .iter()
            .filter(settle)
            .find_map(|asked| self.answer(asked, status, plan));
        first.or_else(|| {
            // Nothing is moved or confirmed in a hold or a stop.
            if status.call.word != CallWord::Proceed {
                return self.prepare_in_hold(status, plan);
            }
            self.prepare(status, plan).or_else(|| {
                asked
                    .iter()
                    .filter(|asked| order(asked) == 12)
                    .find_map(|asked| self.answer(asked, status, plan))
            })
        })
    }

    /// Remembers an act that was recorded.
    pub fn did(&mut self, command: &Command, status: &Status) {
        match command {
            Command::OrderStatus { state, .. } => self.order = Some(state.clone()),
            Command::HeadCount { .. } => self.counted.extend(open_steps(status).cloned()),
            _ => {}
        }
    }

    fn holds(&self, status: &Status, role: &str) -> bool {
        status.roles.iter().any(|held| held.as_str() == role)
    }

    fn answer(&self, asked: &AskedOf, status: &Status, plan: &Plan) -> Option<Command> {
        Some(match asked {
            AskedOf::Accept => Command::Accept,
            AskedOf::Briefing { .. } => Command::Briefed,
            AskedOf::Heard { stop } => Command::Heard { stop: Some(*stop) },
            AskedOf::Ask { .. } => Command::Ask {
                stops: Vec::new(),
                cause: "Cause seen to by everyone, nobody in the drop zone".to_owned(),
                open_item: None,
                closes_item: None,
            },
            AskedOf::Agree { to } => Command::Agree { to: Some(*to) },
            AskedOf::Condition { condition } => self.condition(condition, plan)?,
            AskedOf::TakeRole { role, .. } => Command::TakeRole { role: role.clone() },
            AskedOf::Ready { handoff, .. } => Command::Ready {
                handoff: Some(handoff.clone()),
                ready: true,
            },
            AskedOf::Take { handoff, .. } => Command::Take {
                handoff: Some(handoff.clone()),
            },
            AskedOf::StillSo => Command::Note {
                text: "Looked: things are still so".to_owned(),
                about: None,
                kind: NoteKind::StillSo,
            },
            AskedOf::Consent { proposal, .. } => Command::Consent {
                proposal: *proposal,
            },
            AskedOf::InTheClear => head_count(vec![self.person.clone()]),
            AskedOf::Check {
                step, check, since, ..
            } => {
                let change = since.then(|| "Looked at again, from closer".to_owned());
                self.check((step, check), change, status, plan)?
            }
        })
    }

    /// Gives a check, after what it rests on.
    fn check(
        &self,
        (step, check): (&StepId, &CheckId),
        change: Option<String>,
        status: &Status,
        plan: &Plan,
    ) -> Option<Command> {
        let planned = plan.step(step)?;
        if !in_place(planned, status) {
            return None;
        }
        let expects = &planned.check(check)?.expects;
        match expects {
            Expects::Heads if !self.counted.contains(step) => {
                let clear = present(status).cloned().collect();
                return Some(head_count(clear));
            }
            Expects::OrderIs { in_effect } => {
                let wanted = if *in_effect {
                    OrderState::InEffect
                } else {
                    OrderState::Released
                };
                if self.holds(status, RoleId::SUPERVISOR) && self.order.as_ref() != Some(&wanted) {
                    return Some(order_status(wanted, plan));
                }
            }
            // Nobody counts before everything is back: the count is held against what was logged.
            Expects::Tally { .. } if !all_home(status, plan) => return None,
            _ => {}
        }
        Some(Command::Acknowledge {
            step: step.clone(),
            check: check.clone(),
            said: said(expects, plan)?,
            change,
            held_ms: planned.critical.then_some(plan.times.press_ms),
        })
    }

    fn condition(&self, id: &ConditionId, plan: &Plan) -> Option<Command> {
        let condition = plan.condition(id)?;
        Some(match &condition.kind {
            ConditionKind::Presence | ConditionKind::NoneSeen | ConditionKind::Affirmed => {
                Command::Affirm {
                    condition: id.clone(),
                }
            }
            ConditionKind::Measured { limit } => {
                let limit = plan.limit(limit)?;
                Command::Reading {
                    condition: id.clone(),
                    value: Some(good_value(limit)),
                    unit: limit.unit.clone(),
                }
            }
            // Released at the end of the work, it is not taken up again.
            ConditionKind::Order if self.order == Some(OrderState::Released) => return None,
            ConditionKind::Order => order_status(OrderState::InEffect, plan),
        })
    }

    /// What this hand's role does, in Proceed, so that the open steps' checks can be given.
    fn prepare(&self, status: &Status, plan: &Plan) -> Option<Command> {
        self.tools(status, plan).or_else(|| {
            open_steps(status)
                .filter_map(|step| plan.step(step))
                .find_map(|step| self.load(step, status))
        })
    }

    /// What may be done in a hold because the hold waits for it: looking at tools, and closing at the end.
    fn prepare_in_hold(&self, status: &Status, plan: &Plan) -> Option<Command> {
        if status.call.word == CallWord::StopWork || status.job_state == JobState::Closed {
            return None;
        }
        let all_done = status
            .steps
            .iter()
            .all(|step| step.state == StepState::Done);
        if all_done {
            let closes = self.holds(status, RoleId::SUPERVISOR);
            return closes.then_some(Command::Close);
        }
        self.tools(status, plan)
    }

    /// The ground looks at every tool first thing, brings it where the open steps need it, and at the counts
    /// back to the truck.
    fn tools(&self, status: &Status, plan: &Plan) -> Option<Command> {
        if !self.holds(status, "ground") {
            return None;
        }
        let looked_at = |item: &ItemStatus| {
            !item
                .unfit
                .iter()
                .any(|why| matches!(why, Unfit::NotInspected | Unfit::NotListed))
        };
        if let Some(item) = status.items.iter().find(|item| !looked_at(item)) {
            return Some(good_scan(plan, &item.id));
        }
        let steps = || open_steps(status).filter_map(|step| plan.step(step));
        let at_counts = steps().any(|step| {
            let tally = |check: &Check| matches!(check.expects, Expects::Tally { .. });
            step.checks.iter().any(tally)
        });
        let home = plan
            .items
            .iter()
            .filter(|item| at_counts && item.counted)
            .map(|item| (&item.id, Place::Truck));
        let needed = steps().flat_map(|step| step.items.iter().map(|at| (&at.item, at.at)));
        needed.chain(home).find_map(|(id, to)| {
            let item = status.items.iter().find(|item| &item.id == id)?;
            let by_line = plan.item(id).is_some_and(|item| item.load) && to != Place::Truck;
            (item.at != to && !by_line).then(|| Command::Moved {
                item: id.clone(),
                to,
            })
        })
    }

    /// The first tower worker commands the load line: offers, and says when the load stands. Being ready and
    /// taking are asked for.
    fn load(&self, step: &Step, status: &Status) -> Option<Command> {
        if first_of(status, "tower")?.person != self.person {
            return None;
        }
        let receiver = first_of(status, "ground").map(|member| member.device);
        for LoadMove { item, to } in &step.moves {
            let to = *to;
            let open = status
                .handoffs
                .iter()
                .find(|handoff| &handoff.item == item && handoff.to == to);
            match open {
                Some(handoff) if handoff.taken => {
                    return Some(Command::Done {
                        handoff: Some(handoff.handoff.clone()),
                    });
                }
                Some(_) => return None,
                None => {
                    let at = status.items.iter().find(|status| &status.id == item)?.at;
                    if at != to {
                        return Some(Command::Offer {
                            handoff: handoff_name(item, to)?,
                            item: item.clone(),
                            to,
                            receiver,
                        });
                    }
                }
            }
        }
        None
    }
}

/// Whether every counted tool is on the truck.
fn all_home(status: &Status, plan: &Plan) -> bool {
    let counted = |id: &ItemId| plan.item(id).is_some_and(|item| item.counted && !item.load);
    let mut tools = status.items.iter().filter(|item| counted(&item.id));
    tools.all(|item| item.at == Place::Truck)
}

/// Whether the tools and loads of a step are where it needs them; nobody confirms before.
fn in_place(step: &Step, status: &Status) -> bool {
    let at = |id: &ItemId, place: Place| {
        let item = status.items.iter().find(|item| &item.id == id);
        item.is_none_or(|item| item.at == place)
    };
    let moving = |id: &ItemId| status.handoffs.iter().any(|handoff| &handoff.item == id);
    step.items.iter().all(|wanted| at(&wanted.item, wanted.at))
        && step
            .moves
            .iter()
            .all(|load| at(&load.item, load.to) && !moving(&load.item))
}

fn present(status: &Status) -> impl Iterator<Item = &Person> {
    status
        .crew
        .iter()
        .filter(|member| member.present)
        .map(|member| &member.person)
}

/// Steps that can be worked on, in the plan's order.
pub fn open_steps(status: &Status) -> impl Iterator<Item = &StepId> {
    status
        .steps
        .iter()
        .filter(|step| matches!(step.state, StepState::Open | StepState::Conflict))
        .map(|step| &step.id)
}

/// The present holder of a role whose call sign comes first.
#[must_use]
pub fn first_of<'a>(status: &'a Status, role: &str) -> Option<&'a CrewStatus> {
    status
        .crew
        .iter()
        .filter(|member| member.present)
        .filter(|member| member.roles.iter().any(|held| held.as_str() == role))
        .min_by_key(|member| &member.person)
}

fn head_count(clear: Vec<Person>) -> Command {
    Command::HeadCount {
        clear,
        assumed: Vec::new(),
    }
}

fn order_status(state: OrderState, plan: &Plan) -> Command {
    let line_state =
        (state == OrderState::InEffect).then(|| "energised, reclosing blocked".to_owned());
    Command::OrderStatus {
        order: plan.line.order.clone().unwrap_or_else(|| ORDER.to_owned()),
        state,
        terminals: plan.line.terminals.clone(),
        read_back: true,
        covers: vec![plan.line.structure.clone()],
        line_state,
    }
}

/// A scan that finds the item as the plan wants it.
#[must_use]
pub fn good_scan(plan: &Plan, item: &ItemId) -> Command {
    let planned = plan.item(item);
    Command::Scan {
        item: item.clone(),
        found: Finding::Plate {
            test_age_months: planned
                .and_then(|item| item.test_months)
                .map(|most| most / 4),
            wiped_today: true,
            rated_kv: planned.and_then(|item| item.rated_kv),
        },
    }
}

fn handoff_name(item: &ItemId, to: Place) -> Option<HandoffId> {
    let place = match to {
        Place::Truck => "truck",
        Place::Ground => "down",
        Place::OnTheLine => "line",
        Place::Aloft => "up",
        Place::Structure => "fixed",
        Place::Conductor => "hot",
    };
    let mut name = format!("{item}-{place}");
    name.truncate(40);
    HandoffId::try_from(name).ok()
}

/// What is said to a check that is so.
fn said(expects: &Expects, plan: &Plan) -> Option<Said> {
    Some(match expects {
        Expects::Yes | Expects::Heads | Expects::OrderIs { .. } => Said::Yes,
        Expects::Measured { limit } => {
            let limit = plan.limit(limit)?;
            Said::Value {
                value: good_value(limit),
                unit: limit.unit.clone(),
            }
        }
        Expects::OneOf { passes, .. } => Said::Words(passes.clone()),
        Expects::Identity => Said::Identity {
            structure: plan.line.structure.clone(),
            circuit: plan.line.circuit.clone(),
            phase: plan.line.phase.clone(),
        },
        Expects::Words => Said::Words(plan.line.order.clone().unwrap_or_else(|| ORDER.to_owned())),
        Expects::Tally { .. } => Said::Tally {
            out: TALLY,
            back: TALLY,
        },
    })
}

/// How many tools the demonstration counts.
pub const TALLY: u32 = 14;

/// A value well inside a limit: halfway between two bounds, or the bound and a tenth of it more, or half of
/// it.
#[must_use]
pub fn good_value(limit: &Limit) -> Decimal {
    let places = limit.places.min(9);
    match (limit.least, limit.most) {
        (Some(least), Some(most)) => scaled(places, |one| (one(least) + one(most)) / 2),
        (Some(least), None) => scaled(places, |one| one(least) + (one(least).abs() / 10).max(1)),
        (None, Some(most)) => scaled(places, |one| one(most) / 2),
        (None, None) => Decimal::whole(1),
    }
}

/// A value just outside a limit, as a person could misread it.
#[must_use]
pub fn short_value(limit: &Limit) -> Decimal {
    let places = limit.places.min(9);
    match (limit.least, limit.most) {
        (Some(least), _) => scaled(places, |one| one(least) - (one(least).abs() / 10).max(1)),
        (None, Some(most)) => scaled(places, |one| one(most) + (one(most).abs() / 10).max(1)),
        (None, None) => Decimal::ZERO,
    }
}

/// Computes in units of the last shown place.
fn scaled(places: u8, compute: impl Fn(&dyn Fn(Decimal) -> i64) -> i64) -> Decimal {
    let one = |value: Decimal| {
        let (digits, scale) = value.parts();
        if scale > places {
            digits / 10_i64.pow(u32::from(scale - places))
        } else {
            digits * 10_i64.pow(u32::from(places - scale))
        }
    };
    Decimal::new(compute(&one), places).unwrap_or(Decimal::ZERO)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
    use super::*;

    fn limit(least: Option<&str>, most: Option<&str>, places: u8) -> Limit {
        Limit {
            id: "mad".parse().unwrap(),
            title: "gap".to_owned(),
            unit: "m".to_owned(),
            least: least.map(|text| text.parse().unwrap()),
            most: most.map(|text| text.parse().unwrap()),
            places,
            source: "common practice".to_owned(),
            computed: None,
        }
    }

    #[test]
    fn good_values_are_inside_and_short_ones_outside() {
        for limit in [
            limit(Some("2.01"), None, 2),
            limit(None, Some("36"), 0),
            limit(Some("40"), Some("60"), 0),
            limit(Some("0"), None, 1),
        ] {
            let inside = |value: Decimal| {
                limit.least.is_none_or(|least| value >= least)
                    && limit.most.is_none_or(|most| value <= most)
            };
            assert!(inside(good_value(&limit)), "{limit:?}");
            assert!(!inside(short_value(&limit)), "{limit:?}");
        }
    }
}
