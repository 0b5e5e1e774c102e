//! Promise: what a case assumes that people do without its saying so: renew, hear, say that things are still so.
//! Owns: which renewals a case has ended, who has a stop to hear since when.   Gives: `Promises`, `renewal`.
//! May use: stage, what devices ask their holders.   Never: an act that an event speaks against.

use super::acts::{Act, Event, Order};
use super::stage::{Stage, Then};
use gantline_protocol::decimal::Decimal;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{ConditionId, EntryHash};
use gantline_protocol::log::entry::{NoteKind, OrderState};
use gantline_protocol::plan::ConditionKind;
use gantline_protocol::state::AskedOf;
use std::collections::{BTreeMap, BTreeSet};

/// Wind where a case says nothing of it, km/h.
const WIND_KMH: i64 = 10;

/// What is promised still.
#[derive(Debug, Default)]
pub struct Promises {
    /// Conditions that an event has ended, and none has restored.
    ended: BTreeSet<String>,
    suspended: bool,
    /// Since when each device has a stop to hear.
    to_hear: BTreeMap<(usize, EntryHash), u64>,
}

/// A tap that things are still so.
#[must_use]
pub fn still_so() -> Command {
    Command::Note {
        text: "still so".to_owned(),
        about: None,
        kind: NoteKind::StillSo,
    }
}

/// What the operator says of the order, by its present number.
#[must_use]
pub fn order(stage: &Stage<'_>, state: OrderState) -> Command {
    let line = &stage.planned.plan.line;
    let number = stage.office().and_then(|engine| {
        let graph = engine.job().graph();
        let order = engine
            .job()
            .facts()
            .order(graph, graph.all(), engine.job().plan());
        order.map(|order| order.number)
    });
    Command::OrderStatus {
        order: number.unwrap_or_else(|| stage.case.job.order.clone()),
        state,
        terminals: line.terminals.clone(),
        read_back: true,
        covers: vec![line.structure.clone()],
        line_state: None,
    }
}

/// How a condition is renewed, and by whom: its owner in the case, else the holder of the role.
#[must_use]
pub fn renewal(stage: &Stage<'_>, id: &ConditionId) -> Option<(usize, Command)> {
    let planned = stage.planned.plan.condition(id)?;
    let given = stage
        .case
        .conditions
        .iter()
        .find(|given| given.name == id.as_str());
    let role = match id.as_str() {
        "order" | "supervisor" => "supervisor",
        _ => "observer",
    };
    // The named owner for as long as they are on the job in a role that may.
    let named = given
        .and_then(|given| stage.device_of(&given.owner))
        .filter(|&device| {
            let owners = planned.owners.iter();
            owners
                .clone()
                .any(|owner| stage.holders(owner.as_str()).contains(&device))
                && stage.world.engine(device).is_some()
        });
    let device = named.or_else(|| {
        let on = |device: &usize| stage.world.engine(*device).is_some();
        stage.holders(role).into_iter().find(on)
    })?;
    let condition = id.clone();
    let command = match &planned.kind {
        ConditionKind::Measured { limit } => {
            let value = last_value(stage, id.as_str())
                .or_else(|| given.and_then(|given| given.value))
                .unwrap_or(Decimal::whole(WIND_KMH));
            Command::Reading {
                condition,
                value: Some(value),
                unit: stage.planned.plan.limit(limit)?.unit.clone(),
            }
        }
        ConditionKind::Order if !order_known(stage) => order(stage, OrderState::InEffect),
        _ => Command::Affirm { condition },
    };
    Some((device, command))
}

fn order_known(stage: &Stage<'_>) -> bool {
    stage.office().is_some_and(|engine| {
        let graph = engine.job().graph();
        let order = engine
            .job()
            .facts()
            .order(graph, graph.all(), engine.job().plan());
        order.is_some_and(|order| order.in_effect)
    })
}

/// The newest value that the case's events gave for a condition.
fn last_value(stage: &Stage<'_>, name: &str) -> Option<Decimal> {
    let now_ms = stage.now_ms();
    let of = |event: &Event| match &event.act {
        Act::Condition {
            condition,
            value: Some(value),
            ..
        } if condition == name && event.at_ms <= now_ms && stage.zero_ms > 0 => Some(*value),
        _ => None,
    };
    stage.case.events.iter().rev().find_map(of)
}

impl Promises {
    /// Notes what an event says against a promise, or restores.
    pub fn note(&mut self, stage: &Stage<'_>, event: &Event) {
        match &event.act {
            Act::Away { condition } => {
                self.ended.insert(condition.clone());
            }
            Act::Affirm { condition } => {
                self.ended.remove(condition);
            }
            Act::ReliefAccept { .. } => {
                self.ended.remove("observer");
            }
            Act::Condition {
                condition,
                value,
                none,
                ..
            } => {
                let limit = stage
                    .planned
                    .plan
                    .limits
                    .iter()
                    .find(|l| l.id.as_str() == condition);
                let inside = match (value, limit) {
                    (Some(value), Some(limit)) => gantline_protocol::facts::within(limit, *value),
                    _ => *none,
                };
                if inside {
                    self.ended.remove(condition);
                } else {
                    self.ended.insert(condition.clone());
                }
            }
            Act::OrderStatus {
                status,
                terminals,
                read_back,
                ..
            } => match status {
                // Said to be in effect, but not everywhere or not read back, restores nothing.
                Order::InEffect => {
                    let mut all = stage.planned.plan.line.terminals.iter();
                    if *read_back && all.all(|terminal| terminals.contains(terminal)) {
                        self.ended.remove("order");
                    }
                }
                Order::Lapsed | Order::Released => {
                    self.ended.insert("order".to_owned());
                }
                Order::LineState(_) => {}
            },
            Act::Suspend { .. } => self.suspended = true,
            _ => {}
        }
    }

    /// What people do now by what their screens ask.
    pub fn keep(&mut self, stage: &mut Stage<'_>) {
        let assume = &stage.case.assume;
        let renews = assume.auto_affirm || (assume.auto_affirm_day_one && !self.suspended);
        let heard_all_by_ms = assume.heard_all_by_ms;
        for device in 0..stage.world.devices.len() {
            if stage.is_busy(device) {
                continue;
            }
            let Some(status) = stage.status(device) else {
                continue;
            };
            let act = status.asked.iter().find_map(|asked| match asked {
                AskedOf::StillSo => Some(still_so()),
                AskedOf::Condition { condition }
                    if renews && !self.ended.contains(condition.as_str()) =>
                {
                    renewal(stage, condition)
                        .filter(|(owner, _)| *owner == device)
                        .map(|(_, command)| command)
                }
                AskedOf::Heard { stop } => {
                    let by_ms = heard_all_by_ms?;
                    let now = stage.world.now;
                    let since = *self.to_hear.entry((device, *stop)).or_insert(now);
                    (now - since >= by_ms / 2).then_some(Command::Heard { stop: Some(*stop) })
                }
                _ => None,
            });
            if let Some(command) = act {
                stage.press(device, command, "", Then::Nothing);
            }
        }
    }
}
