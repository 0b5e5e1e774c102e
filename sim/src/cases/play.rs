//! Play: what an event of a case is in a device's own words, and what the world does by itself.
//! Owns: nothing.   Gives: `play`: one event happens, now.
//! May use: stage, acts, the engines' commands.   Never: an entry put into a log by hand.

use super::acts::{Act, CLEAR_SELF, Event, Order};
use super::outsider;
use super::plan::{item_name, place_to};
use super::reference;
use super::stage::{Stage, Then};
use gantline_protocol::decimal::Decimal;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{CheckId, EntryHash, Person, RoleId, StepId};
use gantline_protocol::log::entry::{Change, Finding, NoteKind, OrderState, Said, StopKind};
use gantline_protocol::plan::{Expects, Line, Place};
use gantline_protocol::state::AskedOf;

/// One event happens.
///
/// # Errors
/// Names of the case that mean nothing to the plan.
pub fn play(stage: &mut Stage<'_>, event: &Event) -> Result<(), String> {
    if happens_by_itself(stage, event)? {
        return Ok(());
    }
    let device = stage
        .device(&event.device)
        .ok_or_else(|| format!("no device {}", event.device))?;
    if outsider::is_one(stage, device) {
        return outsider::act(stage, device, event);
    }
    let then = match &event.act {
        Act::Enrol {
            replaces: Some(old),
            accepted: false,
            ..
        } => stage.device(old).map_or(Then::Nothing, |old| {
            Then::Remove(stage.world.devices[old].id)
        }),
        Act::NotReady { reason, .. } => Then::Why(reason.clone()),
        Act::Suspend { .. } => Then::EverybodyLeaves,
        _ => Then::Nothing,
    };
    for command in commands(stage, device, event)? {
        stage.press(device, command, &event.id, then.clone());
    }
    Ok(())
}

/// What needs no finger: links, power, clocks, files; whether it was that.
fn happens_by_itself(stage: &mut Stage<'_>, event: &Event) -> Result<bool, String> {
    let device = stage.device(&event.device);
    match &event.act {
        Act::Link { up, groups } => match (groups, device) {
            (Some((one, other)), _) => {
                let numbers = |names: &[String]| -> Vec<usize> {
                    names.iter().filter_map(|name| stage.device(name)).collect()
                };
                let (one, other) = (numbers(one), numbers(other));
                for one in one {
                    for &other in &other {
                        link(stage, one, other, *up);
                    }
                }
            }
            (None, Some(device)) => alone(stage, device, *up),
            (None, None) => return Err("a link of no device".to_owned()),
        },
        Act::Power { on } => {
            let device = device.ok_or("power of no device")?;
            if *on {
                // Whoever turns it on stands in reach again.
                alone(stage, device, true);
                stage.world.power_on(device);
            } else {
                stage.world.power_off(device);
            }
        }
        Act::Clock { skew_ms } => {
            let device = device.ok_or("a clock of no device")?;
            let ahead_ms = i64::try_from(*skew_ms).unwrap_or(0);
            stage.world.set_wall(device, ahead_ms);
        }
        Act::Restore { image_ms } => {
            let device = device.ok_or("a restore of no device")?;
            let image = stage.images.get(&(device, *image_ms)).cloned();
            let image = image.ok_or("no image was kept")?;
            stage.world.power_off(device);
            alone(stage, device, false);
            stage.world.restore(device, &image, false);
        }
        Act::Tamper { entry, set_value } => {
            let device = device.ok_or("a file of no device")?;
            outsider::tamper(stage, device, entry, *set_value)?;
        }
        Act::Replay => stage.replayed = device,
        Act::Speak | Act::Physical => {}
        _ => return Ok(false),
    }
    Ok(true)
}

fn link(stage: &mut Stage<'_>, one: usize, other: usize, up: bool) {
    if up {
        stage.world.radio.heal(one, other);
    } else {
        stage.world.radio.cut(one, other);
    }
}

fn alone(stage: &mut Stage<'_>, device: usize, up: bool) {
    for other in (0..stage.world.devices.len()).filter(|other| *other != device) {
        link(stage, device, other, up);
    }
}

fn name<T: core::str::FromStr>(text: &str) -> Result<T, String>
where
    T::Err: core::fmt::Display,
{
    text.parse().map_err(|bad: T::Err| bad.to_string())
}

fn note(text: &str, kind: NoteKind) -> Command {
    Command::Note {
        text: text.to_owned(),
        about: None,
        kind,
    }
}

/// The entries that an event's stop is: several, where several devices logged a stranger's.
fn stops_of(stage: &Stage<'_>, stop: &str) -> Vec<EntryHash> {
    stage.entries(stop).to_vec()
}

#[allow(clippy::too_many_lines, reason = "one arm for each kind of the form")]
fn commands(stage: &mut Stage<'_>, device: usize, event: &Event) -> Result<Vec<Command>, String> {
    let one = |command| Ok(vec![command]);
    match &event.act {
        Act::Confirm {
            step,
            check,
            tally,
            relook,
            reason,
        } => confirm(stage, device, (step, check), *tally, *relook, reason),
        Act::Decline {
            step,
            check,
            reason,
        } => {
            let (step, check) = check_of(stage, step, check)?;
            one(Command::Cannot {
                step,
                check,
                why: reason.clone(),
            })
        }
        Act::Measure {
            step,
            check,
            value,
            unit,
            reason,
            ..
        } => {
            let said = Said::Value {
                value: *value,
                unit: unit.clone(),
            };
            acknowledge(stage, (step, check), said, reason.clone(), None).map(|one| vec![one])
        }
        Act::Condition {
            condition,
            value,
            none,
            unit,
        } => {
            let condition = name(condition)?;
            one(if *none {
                Command::Affirm { condition }
            } else {
                Command::Reading {
                    condition,
                    value: *value,
                    unit: unit.clone(),
                }
            })
        }
        Act::Affirm { condition } => one(Command::Affirm {
            condition: name(condition)?,
        }),
        Act::Away { condition } => one(Command::Away {
            condition: name(condition)?,
        }),
        Act::Stop { reason, tool } => one(Command::Stop {
            kind: StopKind::Work,
            why: reason.clone(),
            item: tool.as_deref().map(item).transpose()?,
        }),
        Act::PressStop => one(Command::Stop {
            kind: StopKind::Work,
            why: String::new(),
            item: None,
        }),
        Act::Emergency { text } => one(Command::Stop {
            kind: StopKind::Emergency,
            why: text.clone(),
            item: None,
        }),
        Act::Heard { stop } => Ok(stops_of(stage, stop)
            .into_iter()
            .map(|stop| Command::Heard { stop: Some(stop) })
            .collect()),
        Act::ResumeAsk {
            stop,
            cause,
            open_item,
            closes_item,
        } => one(Command::Ask {
            stops: stops_of(stage, stop),
            cause: cause.clone(),
            open_item: open_item.clone(),
            closes_item: closes_item.clone(),
        }),
        Act::ResumeAgree { .. } => one(Command::Agree { to: None }),
        Act::ResumeDecline { reason, .. } => one(Command::Decline {
            to: None,
            why: reason.clone(),
        }),
        Act::ExitAgree { plan } => one(Command::Agree {
            to: stage.entries(plan).first().copied(),
        }),
        Act::ExitPlan { stop, steps, why } => one(Command::ExitPlan {
            stops: stops_of(stage, stop),
            steps: steps
                .iter()
                .map(|step| name(step))
                .collect::<Result<_, _>>()?,
            without: Vec::new(),
            why: why.clone(),
        }),
        Act::Offer {
            handoff,
            load,
            tool,
            up,
        } => {
            let to = match (load, up) {
                (Some(_), up) => place_to(*up),
                (None, true) => Place::Aloft,
                (None, false) => Place::Ground,
            };
            one(Command::Offer {
                handoff: name(handoff)?,
                item: item(load.as_deref().or(tool.as_deref()).unwrap_or_default())?,
                to,
                receiver: None,
            })
        }
        Act::Ready { handoff } | Act::PressReady { handoff } => one(Command::Ready {
            handoff: Some(name(handoff)?),
            ready: true,
        }),
        Act::NotReady { handoff, .. } => one(Command::Ready {
            handoff: Some(name(handoff)?),
            ready: false,
        }),
        Act::Take { handoff } => one(Command::Take {
            handoff: Some(name(handoff)?),
        }),
        Act::Done { handoff } => one(Command::Done {
            handoff: Some(name(handoff)?),
        }),
        Act::ReliefOffer { to, role, .. } => relief(stage, device, to, role.as_deref()),
        Act::ReliefAccept { role } => one(Command::TakeRole {
            role: name(role.as_deref().unwrap_or(RoleId::OBSERVER))?,
        }),
        Act::Leave => one(Command::Leave),
        Act::Brief | Act::BriefAck => {
            let asked = stage
                .status(device)
                .is_some_and(|s| s.asked.contains(&AskedOf::Accept));
            Ok(asked
                .then_some(Command::Accept)
                .into_iter()
                .chain([Command::Briefed])
                .collect())
        }
        Act::Enrol { accepted: true, .. } => one(Command::Accept),
        Act::Enrol {
            person,
            role,
            new_device,
            replaces,
            ..
        } => enrol(
            stage,
            person,
            role.as_deref(),
            new_device.as_deref(),
            replaces.as_deref(),
        )
        .map(|one| vec![one]),
        Act::ToolScan {
            tool,
            test_age_months,
            wiped_today,
            rated_kv,
            ..
        } => one(Command::Scan {
            item: item(tool)?,
            found: Finding::Plate {
                test_age_months: Some(*test_age_months),
                wiped_today: *wiped_today,
                rated_kv: Some(*rated_kv),
            },
        }),
        Act::ToolWipe { tool, inspected } => one(Command::Scan {
            item: item(tool)?,
            found: Finding::Inspected { good: *inspected },
        }),
        Act::ToolOutOfService { tool } => one(Command::Scan {
            item: item(tool)?,
            found: Finding::OutOfService { why: String::new() },
        }),
        Act::ToolOut { tool } => one(Command::Moved {
            item: item(tool)?,
            to: Place::Aloft,
        }),
        Act::ToolIn { tool } => one(Command::Moved {
            item: item(tool)?,
            to: Place::Truck,
        }),
        Act::OrderStatus { .. } => order_status(&event.act).map(|one| vec![one]),
        Act::Identity {
            structure,
            circuit,
            phase,
            method,
        } => identity(stage, (structure, circuit, phase), method.as_deref()).map(|one| vec![one]),
        Act::Note { text, unsynced } => {
            if *unsynced {
                alone(stage, device, false);
            }
            one(note(text, NoteKind::Plain))
        }
        Act::NoteLate {
            step, check, text, ..
        } => one(match (step, check) {
            (Some(step), Some(check)) => {
                let sets = reference::step(step).and_then(|rp| rp.sets.first());
                let mark = sets.map(|(mark, _)| name(mark)).transpose()?;
                let (step, check) = check_of(stage, step, check)?;
                note(text, NoteKind::Late { step, check, mark })
            }
            _ => note(text, NoteKind::Plain),
        }),
        Act::Correct { of, value, reason } => {
            let entry = stage
                .entries(of)
                .first()
                .copied()
                .unwrap_or(EntryHash::NONE);
            let why = reason.as_deref().unwrap_or_default();
            one(Command::Correction {
                entry,
                text: format!("{value} {why}").trim().to_owned(),
            })
        }
        Act::Suspend { state, resume_by } => suspend(stage, device, event, state, resume_by),
        Act::ResumeJob => one(Command::ResumeDay),
        Act::Close => one(Command::Close),
        Act::ScopeAdd { structure } => one(amend(stage, structure)),
        Act::CloseItem { item, cause } => {
            one(note(cause, NoteKind::ClosesItem { item: item.clone() }))
        }
        Act::MakeSafe { step, text, .. } => one(Command::MakeSafe {
            step: step.as_deref().map(name).transpose()?,
            text: text.clone(),
        }),
        Act::Headcount { clear, assumed } => {
            let people = |names: &[String]| {
                let people = names.iter().map(|person| Person::try_from(person.as_str()));
                people
                    .collect::<Result<Vec<_>, _>>()
                    .map_err(|bad| bad.to_string())
            };
            one(Command::HeadCount {
                clear: people(clear)?,
                assumed: people(assumed)?,
            })
        }
        Act::PressConfirm {
            step,
            check,
            held_ms,
            ..
        } => {
            let said = said_now(stage, device, step, check)?;
            let held_ms = u32::try_from(*held_ms).unwrap_or(u32::MAX);
            acknowledge(stage, (step, check), said, None, Some(held_ms)).map(|one| vec![one])
        }
        Act::Link { .. }
        | Act::Power { .. }
        | Act::Clock { .. }
        | Act::Restore { .. }
        | Act::Tamper { .. }
        | Act::Replay
        | Act::Speak
        | Act::Physical => Ok(Vec::new()),
    }
}

fn item(words: &str) -> Result<gantline_protocol::ids::ItemId, String> {
    name(&item_name(words))
}

fn check_of(stage: &Stage<'_>, step: &str, check: &str) -> Result<(StepId, CheckId), String> {
    stage
        .planned
        .check(stage.case, step, check)
        .ok_or_else(|| format!("no check {step} {check}"))
}

fn acknowledge(
    stage: &Stage<'_>,
    (step, check): (&str, &str),
    said: Said,
    change: Option<String>,
    held_ms: Option<u32>,
) -> Result<Command, String> {
    let (step, check) = check_of(stage, step, check)?;
    let press_ms = stage.planned.plan.times.press_ms;
    Ok(Command::Acknowledge {
        step,
        check,
        said,
        change,
        held_ms: Some(held_ms.unwrap_or(press_ms)),
    })
}

/// What a confirm of a check says: of a measured one its author's newest reading again.
fn said_now(stage: &Stage<'_>, device: usize, step: &str, check: &str) -> Result<Said, String> {
    let (step_id, check_id) = check_of(stage, step, check)?;
    let plan = &stage.planned.plan;
    let expects = plan
        .step(&step_id)
        .and_then(|step| step.check(&check_id))
        .map(|check| check.expects.clone());
    Ok(match expects {
        Some(Expects::Measured { limit }) => Said::Value {
            value: newest_reading(stage, device, step, check).unwrap_or(Decimal::ZERO),
            unit: plan
                .limit(&limit)
                .map_or_else(String::new, |limit| limit.unit.clone()),
        },
        Some(Expects::Identity) => Said::Identity {
            structure: plan.line.structure.clone(),
            circuit: plan.line.circuit.clone(),
            phase: plan.line.phase.clone(),
        },
        _ => Said::Yes,
    })
}

fn newest_reading(stage: &Stage<'_>, device: usize, step: &str, check: &str) -> Option<Decimal> {
    let name = stage.name(device);
    let now_ms = stage.now_ms();
    stage
        .case
        .events
        .iter()
        .rev()
        .find_map(|event| match &event.act {
            Act::Measure {
                step: of,
                check: what,
                value,
                ..
            } if event.at_ms <= now_ms && event.device == name && of == step && what == check => {
                Some(*value)
            }
            _ => None,
        })
}

fn confirm(
    stage: &mut Stage<'_>,
    device: usize,
    (step, check): (&str, &str),
    tally: Option<(u32, u32)>,
    relook: bool,
    reason: &Option<String>,
) -> Result<Vec<Command>, String> {
    if step == "suspend" {
        return leaving(stage, check, tally);
    }
    if check == CLEAR_SELF {
        let me = stage.world.devices[device].person().clone();
        return Ok(vec![Command::HeadCount {
            clear: vec![me],
            assumed: Vec::new(),
        }]);
    }
    if relook {
        return Ok(vec![note(
            &format!("{step} {check} looked at again"),
            NoteKind::Plain,
        )]);
    }
    let said = match tally {
        Some((out, back)) => Said::Tally { out, back },
        None => said_now(stage, device, step, check)?,
    };
    acknowledge(stage, (step, check), said, reason.clone(), None).map(|one| vec![one])
}

/// Evidence of a suspension: tools that come down are moved; what was seen is said in words.
fn leaving(
    stage: &mut Stage<'_>,
    check: &str,
    tally: Option<(u32, u32)>,
) -> Result<Vec<Command>, String> {
    let mut commands = Vec::new();
    if let Some((out, back)) = tally {
        stage.counted = Some((out, back));
        let back = usize::try_from(back).unwrap_or(0);
        for filler in stage.planned.fillers.iter().take(back) {
            commands.push(Command::Moved {
                item: item(filler)?,
                to: Place::Truck,
            });
        }
    }
    commands.push(note(&check.replace('_', " "), NoteKind::Plain));
    Ok(commands)
}

fn suspend(
    stage: &Stage<'_>,
    device: usize,
    event: &Event,
    state: &str,
    resume_by: &Option<String>,
) -> Result<Vec<Command>, String> {
    let (tools_out, tools_back) = stage.counted.unwrap_or_else(|| shown_tools(stage, device));
    let person = resume_by.as_deref().unwrap_or(&event.who);
    Ok(vec![Command::Suspend {
        state: state.to_owned(),
        resume_by: Person::try_from(person).map_err(|bad| bad.to_string())?,
        tools_out,
        tools_back,
    }])
}

/// The count of tools that a device shows.
fn shown_tools(stage: &Stage<'_>, device: usize) -> (u32, u32) {
    let status = stage.status(device);
    let words = status
        .iter()
        .flat_map(|status| &status.shown)
        .find(|(name, _)| name == "tools")
        .map_or("", |(_, words)| words);
    let mut numbers = words
        .split_whitespace()
        .filter_map(|word| word.parse().ok());
    (numbers.next().unwrap_or(0), numbers.next().unwrap_or(0))
}

fn relief(
    stage: &Stage<'_>,
    device: usize,
    to: &str,
    role: Option<&str>,
) -> Result<Vec<Command>, String> {
    let held = stage
        .office()
        .and_then(|engine| {
            engine
                .job()
                .roster()
                .members
                .get(&stage.world.devices[device].id)
        })
        .map_or_else(Vec::new, |member| member.roles.clone());
    if stage.world.supervisor() != device {
        // Only the supervisor offers a role: from anybody else it is a wish.
        let role = match role {
            Some(role) => name(role)?,
            None => held
                .first()
                .cloned()
                .ok_or("nobody on the job asks for relief")?,
        };
        return Ok(vec![Command::ReliefWanted { role }]);
    }
    let to = stage
        .device_of(to)
        .ok_or_else(|| format!("no device of {to}"))?;
    Ok(vec![Command::OfferRole {
        role: name(role.unwrap_or(RoleId::OBSERVER))?,
        to: stage.world.devices[to].id,
    }])
}

fn enrol(
    stage: &mut Stage<'_>,
    person: &str,
    role: Option<&str>,
    new_device: Option<&str>,
    replaces: Option<&str>,
) -> Result<Command, String> {
    let device = match new_device {
        Some(name) => stage.device(name),
        None => stage.device_of(person),
    };
    let device = device.ok_or_else(|| format!("no device of {person}"))?;
    stage.joining.push(device);
    let roles = match role {
        None | Some("none yet") => Vec::new(),
        Some(role) => vec![name(role)?],
    };
    let key = |device: usize| stage.world.devices[device].id;
    Ok(Command::Admit {
        device: key(device),
        person: Person::try_from(person).map_err(|bad| bad.to_string())?,
        roles,
        replaces: replaces.and_then(|old| stage.device(old)).map(key),
    })
}

fn order_status(act: &Act) -> Result<Command, String> {
    let Act::OrderStatus {
        order,
        status,
        terminals,
        read_back,
        by,
        covers,
        ..
    } = act
    else {
        return Err("not an order status".to_owned());
    };
    let (state, line_state) = match (status, by) {
        (Order::InEffect, _) => (OrderState::InEffect, None),
        (Order::Lapsed, _) => (OrderState::Lapsed, None),
        (Order::Released, None) => (OrderState::Released, None),
        (Order::Released, Some(by)) => (OrderState::ReleasedByOthers { by: by.clone() }, None),
        (Order::LineState(words), _) => (OrderState::InEffect, Some(words.clone())),
    };
    Ok(Command::OrderStatus {
        order: order.clone(),
        state,
        terminals: terminals.clone(),
        read_back: *read_back,
        covers: covers.iter().cloned().collect(),
        line_state,
    })
}

/// Structure, circuit and phase are one check, where the plan has the step; else an entry to be read.
fn identity(
    stage: &Stage<'_>,
    (structure, circuit, phase): (&str, &str, &str),
    method: Option<&str>,
) -> Result<Command, String> {
    let has_step = stage
        .planned
        .plan
        .steps
        .iter()
        .any(|step| step.id.as_str() == "P03");
    if !has_step {
        return Ok(Command::Identity {
            structure: structure.to_owned(),
            circuit: circuit.to_owned(),
            phase: phase.to_owned(),
            method: method.unwrap_or_default().to_owned(),
        });
    }
    let said = Said::Identity {
        structure: structure.to_owned(),
        circuit: circuit.to_owned(),
        phase: phase.to_owned(),
    };
    acknowledge(
        stage,
        ("P03", "structure"),
        said,
        method.map(str::to_owned),
        None,
    )
}

/// The job is now at another structure: the plan's line is amended, and everything from P03 on is confirmed
/// again.
fn amend(stage: &Stage<'_>, structure: &str) -> Command {
    let plan = stage
        .office()
        .map_or(&stage.planned.plan, |engine| engine.job().plan());
    let covered = plan.steps.iter().find(|step| step.id.as_str() >= "P03");
    Command::Amend {
        why: format!("the job is at {structure}"),
        changes: vec![Change::Line(Line {
            structure: structure.to_owned(),
            ..plan.line.clone()
        })],
        covers: covered.map(|step| step.id.clone()).into_iter().collect(),
    }
}

/// What the crew does once a suspension is in everybody's log: all but who resumes leave.
pub fn leave_after_suspension(stage: &mut Stage<'_>) {
    let Some(resumes) = stage.leaving.clone() else {
        return;
    };
    for device in 0..stage.world.devices.len() {
        let stays = *stage.world.devices[device].person() == resumes;
        let present = stage.is_present(device);
        let heard = stage
            .status(device)
            .is_some_and(|status| !status.stops.is_empty());
        if !stays && present && heard && !stage.is_busy(device) {
            stage.press(device, Command::Leave, "", Then::Nothing);
        }
    }
}
