//! Crew: people who do what their own screen asks of them, one thing at a time.
//! Owns: what one person remembers of the last minutes.   Gives: the next act.
//! May use: the device's status, the plan.   Never: another device's log, the engine's insides.

use gantline_protocol::decimal::Decimal;
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::gate::Job;
use gantline_protocol::ids::{CheckId, ConditionId, ItemId, Person, RoleId, StepId};
use gantline_protocol::log::entry::{Finding, NoteKind, OrderState, Said};
use gantline_protocol::plan::{ConditionKind, Expects, Limit, LoadMove, Place, Plan, Step};
use gantline_protocol::reason::{Reason, Unfit};
use gantline_protocol::state::{AskedOf, CallWord, JobState, Status, StepState};
use std::collections::BTreeMap;

/// A person leaves something alone for so long after it was refused or changed nothing, ms.
const AGAIN_MS: u64 = 4_000;

/// More stops than this are heard all at once.
const MANY_STOPS: usize = 3;

/// What one person remembers.
#[derive(Clone, Debug, Default)]
pub struct Temper {
    /// Acts that did not work, and when.
    tried: BTreeMap<String, u64>,
    /// Something was refused because heads are not counted.
    heads_wanted: bool,
}

impl Temper {
    /// Notes how an act went.
    pub fn learn(&mut self, now: u64, command: &Command, outcome: &Outcome) {
        match outcome {
            Outcome::Refused { reasons } => {
                self.heads_wanted |= reasons
                    .iter()
                    .any(|reason| matches!(reason, Reason::NotAccounted { .. }));
            }
            _ if matches!(command, Command::HeadCount { .. }) => self.heads_wanted = false,
            _ => {}
        }
        let worked = matches!(outcome, Outcome::Recorded { reasons, .. } if reasons.is_empty());
        if !worked {
            self.tried.insert(key(command), now);
        }
    }

    fn fresh(&self, now: u64, command: &Command) -> bool {
        self.tried
            .get(&key(command))
            .is_none_or(|at| now >= at + AGAIN_MS)
    }
}

fn key(command: &Command) -> String {
    format!("{command:?}")
}

/// The next act of the person at a device, if there is one.
#[must_use]
pub fn next_act(status: &Status, job: &Job, temper: &Temper, now: u64) -> Option<Command> {
    let plan = job.plan();
    let mut acts: Vec<Command> = Vec::new();
    // A flood of stops is heard with one gesture, as a page offers it.
    let to_hear = status.asked.iter();
    let to_hear = to_hear.filter(|asked| matches!(asked, AskedOf::Heard { .. }));
    if to_hear.count() > MANY_STOPS {
        acts.push(Command::Heard { stop: None });
    }
    for asked in &status.asked {
        acts.extend(answer(status, job, plan, temper, asked));
    }
    if status.call.word != CallWord::StopWork {
        acts.extend(set_down(status));
        acts.extend(prepare(status, plan));
    }
    let all_done = status
        .steps
        .iter()
        .all(|step| step.state == StepState::Done);
    let closed = status.job_state == JobState::Closed;
    if all_done && !closed && status.roles.iter().any(|role| role.is_supervisor()) {
        // What is still on the structure or missing a head shows as a refusal, and is seen to.
        if temper.heads_wanted {
            acts.push(heads(status));
        }
        acts.push(Command::Close);
    }
    let heads_asked = || all_done && !closed || counts_heads(status, plan);
    if is_witness(status, job) && heads_asked() {
        // Whose device does not answer is seen by a witness, not assumed by the supervisor: that of one who was
        // taken off the job answers no more, and only the supervisor is refused for it.
        let graph = job.graph();
        let counted = job.facts().heads(graph, graph.all(), job.roster());
        if counted.count.is_some() && !counted.missing.is_empty() {
            acts.push(heads(status));
        }
    }
    if all_done && !closed && status.roles.iter().any(|role| role.as_str() == "ground") {
        acts.extend(pack_up(status, plan));
    }
    acts.into_iter().find(|command| temper.fresh(now, command))
}

fn answer(
    status: &Status,
    job: &Job,
    plan: &Plan,
    temper: &Temper,
    asked: &AskedOf,
) -> Vec<Command> {
    match asked.clone() {
        AskedOf::Accept => vec![Command::Accept],
        AskedOf::Briefing { .. } => vec![Command::Briefed],
        AskedOf::Heard { stop } => vec![Command::Heard { stop: Some(stop) }],
        AskedOf::Ask { .. } => vec![Command::Ask {
            stops: Vec::new(),
            cause: "looked at, nothing found".to_owned(),
            open_item: None,
            closes_item: None,
        }],
        AskedOf::Agree { to } => vec![Command::Agree { to: Some(to) }],
        AskedOf::Condition { condition } => renew(plan, &condition),
        AskedOf::TakeRole { role, .. } => vec![Command::TakeRole { role }],
        AskedOf::Ready { handoff, .. } => vec![Command::Ready {
            handoff: Some(handoff),
            ready: true,
        }],
        AskedOf::Take { handoff, .. } => vec![Command::Take {
            handoff: Some(handoff),
        }],
        AskedOf::StillSo => vec![Command::Note {
            text: "still so".to_owned(),
            about: None,
            kind: NoteKind::StillSo,
        }],
        AskedOf::Consent { proposal, .. } => vec![Command::Consent { proposal }],
        AskedOf::InTheClear => vec![heads(status)],
        AskedOf::Check {
            step, check, since, ..
        } => {
            let change = since.then(|| "looked at and put right".to_owned());
            give(status, job, plan, temper, (&step, &check), change)
        }
    }
}

/// Whether an open step wants everybody named and in the clear.
fn counts_heads(status: &Status, plan: &Plan) -> bool {
    status
        .steps
        .iter()
        .filter(|step| step.state == StepState::Open)
        .filter_map(|step| plan.step(&step.id))
        .flat_map(|step| &step.checks)
        .any(|check| check.expects == Expects::Heads)
}

/// Whether this person says who else is in the clear: an observer, or if the office fell to the only one, the ground.
fn is_witness(status: &Status, job: &Job) -> bool {
    let leads = |roles: &[RoleId]| roles.iter().any(RoleId::is_supervisor);
    let watches = |roles: &[RoleId]| roles.iter().any(RoleId::is_observer) && !leads(roles);
    let mut crew = job.roster().members.values().filter(|of| of.present);
    watches(&status.roles)
        || (status.roles.iter().any(|role| role.as_str() == "ground")
            && !leads(&status.roles)
            && !crew.any(|member| watches(&member.roles)))
}

fn heads(status: &Status) -> Command {
    Command::HeadCount {
        // Those who left or were taken off the job are counted too.
        clear: status
            .crew
            .iter()
            .map(|member| member.person.clone())
            .collect(),
        assumed: Vec::new(),
    }
}

fn order(plan: &Plan, state: OrderState) -> Command {
    Command::OrderStatus {
        order: plan.line.order.clone().unwrap_or_else(|| "17".to_owned()),
        state,
        terminals: plan.line.terminals.clone(),
        read_back: true,
        covers: vec![plan.line.structure.clone()],
        line_state: None,
    }
}

fn renew(plan: &Plan, condition: &ConditionId) -> Vec<Command> {
    let condition = condition.clone();
    match plan.condition(&condition).map(|planned| &planned.kind) {
        Some(ConditionKind::Measured { limit }) => plan
            .limit(limit)
            .map(|limit| Command::Reading {
                condition,
                value: Some(good_value(limit)),
                unit: limit.unit.clone(),
            })
            .into_iter()
            .collect(),
        Some(ConditionKind::Order) => vec![order(plan, OrderState::InEffect)],
        _ => vec![Command::Affirm { condition }],
    }
}

/// A value inside a limit.
#[must_use]
pub fn good_value(limit: &Limit) -> Decimal {
    limit.least.or(limit.most).unwrap_or(Decimal::ZERO)
}

fn give(
    status: &Status,
    job: &Job,
    plan: &Plan,
    temper: &Temper,
    (step, check): (&StepId, &CheckId),
    change: Option<String>,
) -> Vec<Command> {
    let Some(planned) = plan.step(step) else {
        return Vec::new();
    };
    let Some(wanted) = planned.check(check) else {
        return Vec::new();
    };
    let mut first = Vec::new();
    let said = match &wanted.expects {
        Expects::Yes => Said::Yes,
        Expects::Measured { limit } => match plan.limit(limit) {
            Some(limit) => Said::Value {
                value: good_value(limit),
                unit: limit.unit.clone(),
            },
            None => return Vec::new(),
        },
        Expects::OneOf { passes, .. } => Said::Words(passes.clone()),
        Expects::Identity => Said::Identity {
            structure: plan.line.structure.clone(),
            circuit: plan.line.circuit.clone(),
            phase: plan.line.phase.clone(),
        },
        Expects::Words => Said::Words(plan.line.order.clone().unwrap_or_else(|| "17".to_owned())),
        Expects::Tally { .. } => Said::Tally { out: 9, back: 9 },
        Expects::Heads => {
            if temper.heads_wanted {
                first.push(heads(status));
            }
            Said::Yes
        }
        Expects::OrderIs { in_effect } => {
            let graph = job.graph();
            let now = job.facts().order(graph, graph.all(), plan);
            let so = now.is_some_and(|now| {
                if *in_effect {
                    now.in_effect
                } else {
                    now.released
                }
            });
            if !so {
                let state = if *in_effect {
                    OrderState::InEffect
                } else {
                    OrderState::Released
                };
                first.push(order(plan, state));
            }
            Said::Yes
        }
    };
    let given = Command::Acknowledge {
        step: step.clone(),
        check: check.clone(),
        said,
        change,
        held_ms: planned.critical.then_some(plan.times.press_ms),
    };
    first.push(given);
    first
}

/// What the people on the ground and aloft do so that the open steps can be confirmed: inspect tools, move
/// them, bring loads up and down.
fn prepare(status: &Status, plan: &Plan) -> Vec<Command> {
    let mut acts = Vec::new();
    let holds = |role: &str| status.roles.iter().any(|held| held.as_str() == role);
    for step in open_steps(status, plan) {
        for wanted in &step.items {
            let Some(item) = status.items.iter().find(|item| item.id == wanted.item) else {
                continue;
            };
            if holds("ground") {
                acts.extend(item.unfit.iter().map(|_| inspect(plan, &item.id)));
                if item.at != wanted.at && item.unfit.is_empty() {
                    acts.push(Command::Moved {
                        item: item.id.clone(),
                        to: wanted.at,
                    });
                }
            }
        }
        for wanted in &step.moves {
            let due = status
                .steps
                .iter()
                .any(|known| known.loads_due.contains(&wanted.item));
            acts.extend(hoist(status, plan, wanted, due, &holds));
        }
        let counts = step
            .checks
            .iter()
            .any(|check| matches!(check.expects, Expects::Tally { .. }));
        if counts && holds("ground") {
            acts.extend(pack_up(status, plan));
        }
    }
    acts
}

fn open_steps<'a>(status: &'a Status, plan: &'a Plan) -> impl Iterator<Item = &'a Step> {
    status
        .steps
        .iter()
        .filter(|step| matches!(step.state, StepState::Open | StepState::Conflict))
        .filter_map(|step| plan.step(&step.id))
}

fn inspect(plan: &Plan, item: &ItemId) -> Command {
    let rated_kv = plan.item(item).and_then(|item| item.rated_kv);
    Command::Scan {
        item: item.clone(),
        found: Finding::Plate {
            test_age_months: Some(2),
            wiped_today: true,
            rated_kv,
        },
    }
}

/// A load on the line: the ground offers and commands, a tower worker is ready.
fn hoist(
    status: &Status,
    plan: &Plan,
    LoadMove { item, to }: &LoadMove,
    due: bool,
    holds: &dyn Fn(&str) -> bool,
) -> Vec<Command> {
    let to = *to;
    let Some(now) = status.items.iter().find(|known| known.id == *item) else {
        return Vec::new();
    };
    // What somebody offered who is gone since was taken by nobody and never will be: it is offered anew.
    let under_way = status
        .handoffs
        .iter()
        .find(|handoff| handoff.item == *item && (handoff.taken || is_here(status, &handoff.by)));
    let me = status.person.as_ref();
    match under_way {
        Some(handoff) if handoff.taken => {
            let mine = Some(&handoff.by) == me;
            let done = Command::Done {
                handoff: Some(handoff.handoff.clone()),
            };
            if mine { vec![done] } else { Vec::new() }
        }
        Some(handoff) if Some(&handoff.by) == me => {
            let take = Command::Take {
                handoff: Some(handoff.handoff.clone()),
            };
            if handoff.ready.is_some() {
                vec![take]
            } else {
                Vec::new()
            }
        }
        Some(handoff) => {
            let ready = Command::Ready {
                handoff: Some(handoff.handoff.clone()),
                ready: true,
            };
            if holds("tower") && handoff.ready.is_none() {
                vec![ready]
            } else {
                Vec::new()
            }
        }
        None if !(due || now.at != to) || !holds("ground") => Vec::new(),
        None if now.unfit.contains(&Unfit::NotInspected) => vec![inspect(plan, item)],
        None => name(item)
            .map(|handoff| Command::Offer {
                handoff,
                item: item.clone(),
                to,
                receiver: None,
            })
            .into_iter()
            .collect(),
    }
}

fn is_here(status: &Status, person: &Person) -> bool {
    let mut crew = status.crew.iter();
    crew.any(|member| member.present && member.person == *person)
}

/// Loads on their way are set down by who commands them; if that person is gone, by anybody.
fn set_down(status: &Status) -> impl Iterator<Item = Command> + '_ {
    status
        .handoffs
        .iter()
        .filter(|handoff| {
            let mine = Some(&handoff.by) == status.person.as_ref();
            handoff.taken && (mine || !is_here(status, &handoff.by))
        })
        .map(|handoff| Command::Done {
            handoff: Some(handoff.handoff.clone()),
        })
}

fn name(item: &ItemId) -> Option<gantline_protocol::ids::HandoffId> {
    let mut text = format!("H-{item}");
    text.truncate(40);
    text.parse().ok()
}

/// Tools back on the truck before they are counted.
fn pack_up(status: &Status, plan: &Plan) -> Vec<Command> {
    status
        .items
        .iter()
        .filter_map(|item| {
            let planned = plan.item(&item.id)?;
            let to = match item.at {
                // What is on its way by mistake where nothing hangs any more is down, and somebody says so.
                Place::OnTheLine | Place::Aloft if planned.load => Place::Ground,
                Place::Structure | Place::Conductor if planned.load => return None,
                Place::Truck => return None,
                _ if !planned.counted => return None,
                _ => Place::Truck,
            };
            let item = item.id.clone();
            Some(Command::Moved { item, to })
        })
        .collect()
}
