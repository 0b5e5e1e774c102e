//! Mistakes: what people do wrong in the demonstration, and what must come of it.
//! Owns: each mistake, one a function, in the order of the job.   Gives: them.
//! May use: stage, crew's values.   Never: goes on when something expected did not happen.

use super::Stopped;
use super::crew::{good_value, short_value};
use super::script::{join, name_of};
use super::stage::{Due, Stage};
use super::station::Station;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{CheckId, ItemId, RoleId, StepId};
use gantline_protocol::log::entry::{Finding, Said, StopKind};
use gantline_protocol::plan::{Expects, Place, Plan};
use gantline_protocol::reason::{Reason, Unfit};
use gantline_protocol::state::{CallWord, JobState, Status, StepState};

/// The check of an acknowledgement that is due, if it is one of this step.
fn check_of<'a>(due: &'a Due, step: &str) -> Option<&'a CheckId> {
    match &due.command {
        Command::Acknowledge {
            step: of, check, ..
        } if of.as_str() == step => Some(check),
        _ => None,
    }
}

fn acknowledge(step: &StepId, check: &CheckId, said: Said, change: Option<&str>) -> Command {
    Command::Acknowledge {
        step: step.clone(),
        check: check.clone(),
        said,
        change: change.map(str::to_owned),
        held_ms: None,
    }
}

fn done(status: &Status, step: &str) -> bool {
    status
        .steps
        .iter()
        .any(|shown| shown.id.as_str() == step && shown.state == StepState::Done)
}

/// A measured check of a step, with its limit.
fn measured(
    plan: &Plan,
    step: &str,
    check: &str,
) -> Result<(StepId, CheckId, Said, Said), Stopped> {
    let missing = || Stopped::Plan {
        why: format!("it has no measured check {step}/{check}"),
    };
    let step: StepId = name_of(step)?;
    let check: CheckId = name_of(check)?;
    let expects = plan
        .step(&step)
        .and_then(|step| step.check(&check))
        .map(|check| &check.expects);
    let Some(Expects::Measured { limit }) = expects else {
        return Err(missing());
    };
    let limit = plan.limit(limit).ok_or_else(missing)?;
    let said = |value| Said::Value {
        value,
        unit: limit.unit.clone(),
    };
    let (good, short) = (said(good_value(limit)), said(short_value(limit)));
    Ok((step, check, good, short))
}

/// A tower worker confirms a step that is far from open.
pub(super) fn presses_ahead(stage: &mut Stage) -> Result<(), Stopped> {
    let tower = stage.place("Birch")?;
    let (step, check, good, _) = measured(&stage.plan, "P08", "clearance")?;
    stage.must_not(
        tower,
        &acknowledge(&step, &check, good, None),
        "not recorded: that step is not open",
        |reason| matches!(reason, Reason::NotUnlocked { .. }),
    )?;
    stage.say("Birch presses ahead: not recorded, an earlier step comes first");
    Ok(())
}

/// The ground worker brings a stick whose test date is past.
pub(super) fn tool_past_its_test(stage: &mut Stage) -> Result<(), Stopped> {
    let ground = stage.place("Elm")?;
    stage.work("the ground worker has looked at the tools", |_, due, _| {
        due.hand == ground && check_of(due, "P06").is_some()
    })?;
    let item: ItemId = name_of("HS-09")?;
    let most = stage.plan.item(&item).and_then(|item| item.test_months);
    let most = most.ok_or_else(|| Stopped::Plan {
        why: "it has no tested stick HS-09".to_owned(),
    })?;
    stage.must_not(
        ground,
        &Command::Scan {
            item: item.clone(),
            found: Finding::Plate {
                test_age_months: Some(most + 7),
                wiped_today: true,
                rated_kv: stage.plan.item(&item).and_then(|item| item.rated_kv),
            },
        },
        "recorded, and the stick is not fit",
        |reason| matches!(reason, Reason::ToolNotFit { .. }),
    )?;
    stage.must_not(
        ground,
        &Command::Offer {
            handoff: name_of("stick-up")?,
            item: item.clone(),
            to: Place::Aloft,
            receiver: None,
        },
        "the stick may not go up",
        |reason| {
            matches!(reason, Reason::ToolNotFit { item: of, why: Unfit::TestPast } if *of == item)
        },
    )?;
    stage.must(
        ground,
        &Command::Scan {
            item: item.clone(),
            found: Finding::OutOfService {
                why: "Test date past".to_owned(),
            },
        },
    )?;
    stage.say(
        "Elm offers stick HS-09, 31 months since its test: it does not go up, and is set aside",
    );
    Ok(())
}

/// A reading below the limit, then a good one; first without, then with what was changed.
pub(super) fn clearance_too_short(stage: &mut Stage) -> Result<(), Stopped> {
    let due = stage.work("the clearance is to be measured", |_, due, _| {
        check_of(due, "P08").is_some_and(|check| check.as_str() == "clearance")
    })?;
    let (step, check, good, short) = measured(&stage.plan, "P08", "clearance")?;
    let who = stage.hands[due.hand].person.clone();
    stage.must_not(
        due.hand,
        &acknowledge(&step, &check, short, None),
        "recorded, but it does not count: below the limit",
        |reason| matches!(reason, Reason::OutOfLimit { .. }),
    )?;
    stage.say(&format!(
        "{who} reads a clearance below the limit: recorded, does not count"
    ));
    stage.must_not(
        due.hand,
        &acknowledge(&step, &check, good.clone(), None),
        "a second reader is asked for, as nothing was changed",
        |reason| matches!(reason, Reason::NeedsSecondReader { .. }),
    )?;
    stage.say(&format!(
        "{who} reads again, nothing changed: a second reader is asked for"
    ));
    stage.must(
        due.hand,
        &acknowledge(
            &step,
            &check,
            good,
            Some("Moved the working place out along the arm"),
        ),
    )?;
    stage.say(&format!(
        "{who} moves the working place and reads again: it counts"
    ));
    Ok(())
}

/// A tower worker's device loses every link: everyone holds, and goes on when it is back.
pub(super) fn link_lost(stage: &mut Stage) -> Result<(), Stopped> {
    stage.work("the boom is to be put up", |_, due, _| {
        check_of(due, "P09B").is_some()
    })?;
    let place = stage.place("Cedar")?;
    let device = stage.hands[place].device;
    stage.deaf(place, true)?;
    stage.say("Cedar's device loses every link");
    stage.expect_call(
        "everyone shows Hold for want of Cedar's device",
        CallWord::Hold,
    )?;
    for other in stage
        .running()
        .filter(|other| *other != place)
        .collect::<Vec<_>>()
    {
        let reasons = stage.status(other)?.call.reasons;
        let named = |reason: &Reason| matches!(reason, Reason::NoContact { device: of, .. } if *of == device);
        if !reasons.iter().any(named) {
            return Err(Stopped::NotSo {
                expected: format!(
                    "{}'s screen names the lost device",
                    stage.hands[other].person
                ),
                found: format!("{reasons:?}"),
            });
        }
    }
    stage.say("everyone shows Hold: no word from Cedar");
    stage.deaf(place, false)?;
    stage.expect_call("everyone shows Proceed again", CallWord::Proceed)?;
    stage.say("the link is back: Proceed");
    Ok(())
}

/// The ground worker stops while both tower workers confirm, neither knowing of the other.
pub(super) fn stop_crosses_two(stage: &mut Stage) -> Result<(), Stopped> {
    stage.work(
        "the poles are rigged, to be confirmed by both",
        |_, due, _| check_of(due, "P10").is_some_and(|check| check.as_str() == "hooks_latched"),
    )?;
    let ground = stage.place("Elm")?;
    let towers = [stage.place("Birch")?, stage.place("Cedar")?];
    let step: StepId = name_of("P10")?;
    let check: CheckId = name_of("hooks_latched")?;
    // The stop is pressed in a radio shadow of a moment, so that it crosses what the others do.
    stage.deaf(ground, true)?;
    let mut crossed = Vec::new();
    let stop = Command::Stop {
        kind: StopKind::Work,
        why: "Somebody walked under the poles".to_owned(),
        item: None,
    };
    let entry = stage.stop(ground, &stop, |stage| {
        for tower in towers {
            crossed.push(stage.must(tower, &acknowledge(&step, &check, Said::Yes, None))?);
        }
        stage.deaf(ground, false)
    })?;
    stage.say("Elm stops the work; Birch and Cedar confirmed in the same moment");
    stage.expect("both confirmations are seen not to count", |stage| {
        for place in stage.running() {
            let status = stage.status(place)?;
            let given: Vec<_> = status
                .steps
                .iter()
                .filter(|shown| shown.id == step)
                .flat_map(|shown| &shown.checks)
                .filter(|shown| shown.id == check)
                .flat_map(|shown| &shown.given)
                .filter(|given| crossed.contains(&given.entry))
                .collect();
            let crossing =
                |reason: &Reason| matches!(reason, Reason::CrossedStop { stop } if *stop == entry);
            // Those that do not count may be left out of what a device shows.
            if given
                .iter()
                .any(|given| !given.reasons.iter().any(crossing))
            {
                return Ok(false);
            }
        }
        Ok(true)
    })?;
    stage.say("neither confirmation counts: they crossed the stop");
    stage.work_until("the stop is released", |status| status.stops.is_empty())?;
    stage.say("heard by everyone, asked, agreed: released");
    stage.work_until("both confirm again", |status| done(status, "P10"))?;
    stage.say("both confirm again, and it counts");
    Ok(())
}

/// The observer is relieved by the ground worker; the supervisor minds the ground while they change.
pub(super) fn observer_relieved(stage: &mut Stage) -> Result<(), Stopped> {
    stage.work_until("the load is taken", |status| done(status, "P11"))?;
    let (supervisor, ground, observer) = (
        stage.place("Alder")?,
        stage.place("Elm")?,
        stage.place("Hazel")?,
    );
    for (person, role) in [(observer, "observer"), (ground, "ground")] {
        stage.must(
            person,
            &Command::ReliefWanted {
                role: name_of(role)?,
            },
        )?;
    }
    stage.work_until("the supervisor has both wishes", |status| {
        status.unsynced == 0
    })?;
    for (role, to) in [
        ("ground", supervisor),
        ("observer", ground),
        ("ground", observer),
    ] {
        pass_role(stage, supervisor, role, to)?;
    }
    stage.say("Hazel is relieved: Elm observes, Hazel is on the ground");
    Ok(())
}

fn pass_role(stage: &mut Stage, supervisor: usize, role: &str, to: usize) -> Result<(), Stopped> {
    let role: RoleId = name_of(role)?;
    let device = stage.hands[to].device;
    stage.must(
        supervisor,
        &Command::OfferRole {
            role: role.clone(),
            to: device,
        },
    )?;
    stage.work_until("the role is taken", |status| {
        status
            .crew
            .iter()
            .any(|member| member.device == device && member.roles.contains(&role))
    })
}

/// A tower worker's device dies for good; the spare takes its place.
pub(super) fn device_dies(stage: &mut Stage, spare: Station) -> Result<(), Stopped> {
    stage.work("the new string is to be hoisted", |_, due, _| {
        check_of(due, "P15G").is_some()
    })?;
    let (supervisor, dead) = (stage.place("Alder")?, stage.place("Cedar")?);
    let device = stage.hands[dead].device;
    stage.stations[dead].die();
    stage.say("Cedar's device dies");
    stage.expect_call(
        "everyone shows Hold for want of Cedar's device",
        CallWord::Hold,
    )?;
    stage.say("everyone shows Hold: no word from Cedar");
    join(stage, spare, "Cedar", "tower", Some(device))?;
    stage.must(
        supervisor,
        &Command::Remove {
            device,
            spoken_to: Some(true),
            called_stop: false,
        },
    )?;
    stage.work_until(
        "the dead device is off the job and the spare is on it",
        |status| {
            let gone = status
                .crew
                .iter()
                .all(|member| member.device != device || !member.present);
            let all_briefed = status
                .crew
                .iter()
                .filter(|member| member.present)
                .all(|member| member.briefed);
            gone && all_briefed && status.call.word == CallWord::Proceed
        },
    )?;
    stage.say("the spare takes its place; the dead device is off the job: Proceed");
    Ok(())
}

/// The count is one short; then the tool is found.
pub(super) fn count_one_short(stage: &mut Stage) -> Result<(), Stopped> {
    let due = stage.work("the tools are to be counted", |_, due, _| {
        check_of(due, "P21").is_some_and(|check| check.as_str() == "tool_count")
    })?;
    let Command::Acknowledge {
        step,
        check,
        said: Said::Tally { out, back },
        ..
    } = &due.command
    else {
        return Err(Stopped::Plan {
            why: "its count of tools is no tally".to_owned(),
        });
    };
    let short = Said::Tally {
        out: *out,
        back: back.saturating_sub(1),
    };
    stage.must_not(
        due.hand,
        &acknowledge(step, check, short, None),
        "recorded, but it does not count: one is missing",
        |reason| matches!(reason, Reason::NotAccounted { .. }),
    )?;
    let who = stage.hands[due.hand].person.clone();
    stage.say(&format!(
        "{who} counts {} of {out} tools: it does not count",
        back - 1
    ));
    let found = Said::Tally {
        out: *out,
        back: *back,
    };
    stage.must(
        due.hand,
        &acknowledge(step, check, found, Some("Key puller found under the tarp")),
    )?;
    stage.say("the key puller is found under the tarp: all there");
    Ok(())
}

pub(super) fn closes(stage: &mut Stage) -> Result<(), Stopped> {
    stage.work_until("the job is closed", |status| {
        status.job_state == JobState::Closed
    })?;
    stage.say("the job is closed on every device");
    Ok(())
}
