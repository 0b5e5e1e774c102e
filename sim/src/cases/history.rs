//! History: what must have happened for the job to stand as a case says at its beginning, through the devices.
//! Owns: nothing.   Gives: `make`.
//! May use: stage, people's acts as commands.   Never: an entry, a mark or a state put in by hand.

use super::acts::Act;
use super::case::{Stands, StepAt};
use super::promise;
use super::stage::Stage;
use crate::crew::good_value;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{ItemId, RoleId, StepId};
use gantline_protocol::log::entry::{OrderState, Said};
use gantline_protocol::plan::{Check, Expects, LoadMove, Place, Step, Who};
use gantline_protocol::state::{AskedOf, CallWord, JobState, StepState};

/// Devices compare their clocks a minute after their start: a case begins after that.
const SETTLED_MS: u64 = 75_000;

/// Makes the history, and looks whether the job then stands as the case says; t = 0 is now.
///
/// # Errors
/// What could not be done, or stands otherwise.
pub fn make(stage: &mut Stage<'_>) -> Result<(), String> {
    for event in &stage.case.events {
        if let (Act::Clock { skew_ms }, 0) = (&event.act, event.at_ms)
            && let Some(device) = stage.device(&event.device)
        {
            // A clock that is wrong at the beginning was wrong before.
            stage
                .world
                .set_wall(device, i64::try_from(*skew_ms).unwrap_or(0));
        }
    }
    let enrolled: Vec<usize> = stage
        .case
        .crew
        .iter()
        .filter(|member| member.enrolled)
        .filter_map(|member| stage.device(&member.device))
        .filter(|device| *device != 0)
        .collect();
    for device in enrolled {
        stage.world.admit(device);
    }
    let began = stage.world.now;
    stage.run_for(2_000);
    settle(stage)?;
    tools_out(stage)?;
    let steps = stage.planned.plan.steps.clone();
    for step in &steps {
        let listed = stage.case.steps.iter().find(|l| l.id == step.id.as_str());
        do_step(stage, step, listed)?;
    }
    tools_back(stage)?;
    let spent = stage.world.now - began;
    stage.run_for(SETTLED_MS.saturating_sub(spent));
    settle(stage)?;
    let conditions = stage.planned.plan.conditions.clone();
    for condition in conditions {
        if let Some((device, command)) = promise::renewal(stage, &condition.id)
            && !released(stage)
        {
            stage.must(device, &command)?;
        }
    }
    // The last of all, so that its validity runs from the beginning.
    if let Some(observer) = stage.holder("observer")
        && let Ok(condition) = "observer".parse()
    {
        stage.press(
            observer,
            Command::Affirm { condition },
            "",
            super::stage::Then::Nothing,
        );
    }
    stage.run_for(500);
    stage.zero_ms = stage.world.now;
    stage.told.clear();
    stands(stage)
}

/// Whether the order has been released, after which nobody confirms it again.
fn released(stage: &Stage<'_>) -> bool {
    stage.office().is_some_and(|engine| {
        let graph = engine.job().graph();
        let order = engine
            .job()
            .facts()
            .order(graph, graph.all(), engine.job().plan());
        order.is_some_and(|order| order.released)
    })
}

/// Everybody does what their screen asks beside the checks: accepts, hears the briefing, reads conditions.
fn settle(stage: &mut Stage<'_>) -> Result<(), String> {
    for _ in 0..200 {
        let mut quiet = true;
        for device in 0..stage.world.devices.len() {
            if stage.is_busy(device) {
                quiet = false;
                continue;
            }
            let Some(status) = stage.status(device) else {
                continue;
            };
            let act = status.asked.iter().find_map(|asked| match asked {
                AskedOf::Accept => Some(Command::Accept),
                AskedOf::Briefing { .. } => Some(Command::Briefed),
                AskedOf::StillSo => Some(promise::still_so()),
                AskedOf::Condition { condition } => promise::renewal(stage, condition)
                    .filter(|(owner, _)| *owner == device)
                    .map(|(_, command)| command),
                _ => None,
            });
            if let Some(command) = act {
                quiet = false;
                stage.press(device, command, "", super::stage::Then::Nothing);
            }
        }
        if quiet {
            return Ok(());
        }
        stage.run_for(250);
    }
    Err("the crew does not come to rest before the beginning".to_owned())
}

fn do_step(stage: &mut Stage<'_>, step: &Step, listed: Option<&StepAt>) -> Result<(), String> {
    let done = listed.is_none_or(|listed| listed.stands == Stands::Done);
    let have = listed.map_or(&[][..], |listed| &listed.have);
    if !done && have.is_empty() {
        return Ok(());
    }
    for load in &step.moves {
        hoist(stage, load)?;
    }
    for check in &step.checks {
        let mut givers: Vec<usize> = Vec::new();
        for (name, person) in have {
            let meant = stage.planned.check(stage.case, step.id.as_str(), name);
            if meant.is_some_and(|(_, id)| id == check.id)
                && let Some(device) = stage.device_of(person)
            {
                givers.push(device);
            }
        }
        if done {
            fill(stage, check, &mut givers);
        }
        for device in givers {
            give(stage, &step.id, step.critical, check, device)?;
        }
    }
    Ok(())
}

/// Who else gives a check so that it is complete: somebody else for each of its places.
fn fill(stage: &Stage<'_>, check: &Check, givers: &mut Vec<usize>) {
    let sides: Vec<&[RoleId]> = match &check.who {
        Who::Roles(places) => places.chunks(1).collect(),
        Who::SecondLook { first, second } => vec![first, second],
        Who::ReadBack { report, repeat } => vec![report, repeat],
        Who::Each(_) => {
            let on = (0..stage.world.devices.len()).filter(|&d| stage.world.engine(d).is_some());
            let missing: Vec<usize> = on.filter(|device| !givers.contains(device)).collect();
            givers.extend(missing);
            return;
        }
    };
    let mut unused = givers.clone();
    for roles in sides {
        let holders: Vec<usize> = roles
            .iter()
            .flat_map(|role| stage.holders(role.as_str()))
            .collect();
        if let Some(at) = unused.iter().position(|device| holders.contains(device)) {
            unused.remove(at);
        } else {
            givers.extend(holders.into_iter().find(|device| !givers.contains(device)));
        }
    }
}

fn give(
    stage: &mut Stage<'_>,
    step: &StepId,
    critical: bool,
    check: &Check,
    device: usize,
) -> Result<(), String> {
    let plan = stage.planned.plan.clone();
    let said = match &check.expects {
        Expects::Yes | Expects::OneOf { .. } | Expects::Words => Said::Yes,
        Expects::Measured { limit } => match plan.limit(limit) {
            Some(limit) => Said::Value {
                value: good_value(limit),
                unit: limit.unit.clone(),
            },
            None => return Err(format!("no limit {limit}")),
        },
        Expects::Identity => Said::Identity {
            structure: plan.line.structure.clone(),
            circuit: plan.line.circuit.clone(),
            phase: plan.line.phase.clone(),
        },
        Expects::Tally { .. } => {
            let count = u32::try_from(stage.planned.fillers.len()).unwrap_or(0);
            Said::Tally {
                out: count,
                back: count,
            }
        }
        Expects::Heads => {
            let status = stage.status(device).ok_or("the device is off")?;
            let clear = status.crew.iter().map(|member| member.person.clone());
            let count = Command::HeadCount {
                clear: clear.collect(),
                assumed: Vec::new(),
            };
            stage.must(device, &count)?;
            Said::Yes
        }
        Expects::OrderIs { in_effect } => {
            let state = if *in_effect {
                OrderState::InEffect
            } else {
                OrderState::Released
            };
            let status = promise::order(stage, state);
            stage.must(device, &status)?;
            Said::Yes
        }
    };
    let command = Command::Acknowledge {
        step: step.clone(),
        check: check.id.clone(),
        said,
        change: None,
        held_ms: critical.then_some(plan.times.press_ms),
    };
    stage.must(device, &command)?;
    Ok(())
}

/// A load moved by offer, ready, take, done, as the trade does it.
fn hoist(stage: &mut Stage<'_>, load: &LoadMove) -> Result<(), String> {
    let (Some(tower), Some(ground)) = (stage.holder("tower"), stage.holder("ground")) else {
        return Err(format!("nobody to move {}", load.item));
    };
    let handoff: gantline_protocol::ids::HandoffId = format!("H-{}", load.item)
        .parse()
        .map_err(|bad: gantline_protocol::ids::BadId| bad.to_string())?;
    let offer = Command::Offer {
        handoff: handoff.clone(),
        item: load.item.clone(),
        to: load.to,
        receiver: None,
    };
    stage.must(tower, &offer)?;
    let named = || Some(handoff.clone());
    stage.must(
        ground,
        &Command::Ready {
            handoff: named(),
            ready: true,
        },
    )?;
    stage.must(tower, &Command::Take { handoff: named() })?;
    stage.must(ground, &Command::Done { handoff: named() })?;
    Ok(())
}

/// Items that a tally counts went up by hand; so did what the case brings down later.
fn tools_out(stage: &mut Stage<'_>) -> Result<(), String> {
    let mut out: Vec<String> = stage.planned.fillers.clone();
    let mut sent: Vec<&str> = Vec::new();
    for event in &stage.case.events {
        match &event.act {
            Act::ToolOut { tool } => sent.push(tool),
            Act::ToolIn { tool } if !sent.contains(&tool.as_str()) => out.push(tool.clone()),
            _ => {}
        }
    }
    move_all(stage, &out, Place::Aloft)
}

/// What stands in a count of tools and is not missing in the case is back; for a suspension it is still up.
fn tools_back(stage: &mut Stage<'_>) -> Result<(), String> {
    let suspended = stage
        .case
        .events
        .iter()
        .any(|event| matches!(event.act, Act::Suspend { .. }));
    if suspended {
        return Ok(());
    }
    let back = stage.planned.fillers.clone();
    move_all(stage, &back, Place::Truck)
}

fn move_all(stage: &mut Stage<'_>, tools: &[String], to: Place) -> Result<(), String> {
    let Some(ground) = stage.holder("ground") else {
        return Ok(());
    };
    for tool in tools {
        let item: ItemId = super::plan::item_name(tool)
            .parse()
            .map_err(|bad: gantline_protocol::ids::BadId| bad.to_string())?;
        stage.must(ground, &Command::Moved { item, to })?;
    }
    Ok(())
}

/// Whether the job stands as the case says, on every device.
fn stands(stage: &Stage<'_>) -> Result<(), String> {
    for device in 0..stage.world.devices.len() {
        let Some(status) = stage.status(device) else {
            continue;
        };
        let name = stage.name(device);
        if status.call.word != CallWord::Proceed || status.job_state != JobState::Running {
            return Err(format!("{name} begins with {:?}", status.call));
        }
        for listed in &stage.case.steps {
            let state = status
                .steps
                .iter()
                .find(|step| step.id.as_str() == listed.id)
                .map(|step| step.state);
            let wanted = match listed.stands {
                Stands::Done => StepState::Done,
                Stands::Open => StepState::Open,
                Stands::Locked => StepState::Locked,
            };
            if state != Some(wanted) {
                return Err(format!(
                    "{name} begins with {} {state:?}, not {wanted:?}",
                    listed.id
                ));
            }
        }
    }
    if let Some(broken) = stage.world.broken.first() {
        return Err(broken.0.clone());
    }
    Ok(())
}
