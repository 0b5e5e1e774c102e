//! Judge: is it as the case says? By what a node shows, by the mark an entry has, by replay of a file.
//! Owns: nothing.   Gives: `judge`; `Err`: what was found instead.
//! May use: stage, words, shown, reread.   Never: a state kept aside while the case ran, but presses and answers.

use super::acts::Act;
use super::expects::{Expect, Must, Target, View};
use super::outsider::value_of;
use super::reread::Reread;
use super::shown;
use super::stage::Stage;
use super::watcher::Watchers;
use super::words;
use gantline_protocol::engine::{Alarm, Engine, Outcome};
use gantline_protocol::gate::{Job, Verdict};
use gantline_protocol::ids::EntryHash;
use gantline_protocol::log::entry::{Body, NoteKind, Offered};
use gantline_protocol::log::graph::EntryIx;
use gantline_protocol::reason::{Owed, Reason};
use gantline_protocol::replay::{self, readable_order};
use gantline_protocol::state::{CallWord, JobState, Status, StepState};
use std::collections::BTreeSet;

/// What was found instead.
pub type Found = Result<(), String>;

/// The state of the job in the form's word.
#[must_use]
pub fn job_word(status: &Status) -> &'static str {
    match status.job_state {
        JobState::Running => "running",
        JobState::Hold => "hold",
        JobState::Stop => "stop",
        JobState::StopExit => "stop_exit",
        JobState::Emergency => "emergency",
        JobState::Suspended => "suspended",
        JobState::Closed => "closed",
    }
}

/// The state of a step in the form's word.
#[must_use]
pub fn step_word(status: &Status, step: &str) -> &'static str {
    let state = status.steps.iter().find(|known| known.id.as_str() == step);
    match state.map(|step| step.state) {
        Some(StepState::Locked) => "locked",
        Some(StepState::Open) => "open",
        Some(StepState::Conflict) => "conflict",
        Some(StepState::Done) => "done",
        None => "not in the plan",
    }
}

/// Whether an expectation is met.
///
/// # Errors
/// What was found instead.
pub fn judge(stage: &Stage<'_>, watchers: &Watchers, expect: &Expect) -> Found {
    if matches!(expect.view, View::Replay | View::Merged) {
        return Reread::of(stage, &expect.view)?.judge(stage, &expect.must);
    }
    let devices = stage.in_view(&expect.view);
    if devices.is_empty() {
        return Err("no device is in this view".to_owned());
    }
    if let Must::State(Target::Entries, _) = &expect.must {
        return entries_equal(stage, &devices);
    }
    for device in devices {
        judge_device(stage, watchers, device, &expect.must)
            .map_err(|found| format!("{}: {found}", stage.name(device)))?;
    }
    Ok(())
}

fn judge_device(stage: &Stage<'_>, watchers: &Watchers, device: usize, must: &Must) -> Found {
    // A replayed file speaks for itself, whether its node runs or not.
    let of_the_file = match must {
        Must::Show(name, _) => matches!(name.as_str(), "chain" | "compare"),
        Must::State(target, _) | Must::Never(target, ..) => *target == Target::Chain,
        _ => false,
    };
    if of_the_file {
        return Reread::of_device(stage, device)?.judge(stage, must);
    }
    if let Must::Refuse(event, reasons) = must
        && let Some(found) = off_the_job(stage, event)
    {
        return found.and_then(|()| named(event, &["not_enrolled"].into(), reasons));
    }
    let engine = stage.world.engine(device).ok_or("it is off")?;
    let status = stage.status(device).ok_or("it is off")?;
    match must {
        Must::Accept(event) => accepted(stage, engine, &status, event),
        Must::Refuse(event, reasons) => refused(stage, engine, &status, event, reasons),
        Must::State(target, value) => state(stage, engine, &status, target, value),
        Must::Show(name, value) => shown::in_status(stage, &status, name, value),
        Must::Alarm(name) => sounds(&status, name),
        Must::Record(event, word) => recorded(stage, engine.job(), event, word),
        Must::Never(target, value, _) => never(stage, watchers, device, &status, target, value),
    }
}

fn entries(stage: &Stage<'_>, job: &Job, event: &str) -> Result<Vec<EntryIx>, String> {
    let hashes = stage.entries(event);
    if hashes.is_empty() {
        return Err(format!("{event} made no entry: {}", answers(stage, event)));
    }
    let graph = job.graph();
    hashes
        .iter()
        .map(|hash| {
            graph
                .find(hash)
                .ok_or_else(|| format!("the entry of {event} is not here"))
        })
        .collect()
}

fn answers(stage: &Stage<'_>, event: &str) -> String {
    stage.told.get(event).map_or_else(
        || "nothing was pressed".to_owned(),
        |told| {
            if told.off {
                "its device was off".to_owned()
            } else {
                format!("{:?}", told.outcomes)
            }
        },
    )
}

/// Notes that a node keeps of presses that it refused.
fn is_refusal(job: &Job, ix: EntryIx) -> bool {
    matches!(job.graph().body(ix), Body::Note(note) if matches!(note.kind, NoteKind::Refused { .. }))
}

fn accepted(stage: &Stage<'_>, engine: &Engine, status: &Status, event: &str) -> Found {
    let job = engine.job();
    for ix in entries(stage, job, event)? {
        if is_refusal(job, ix) {
            return Err(format!("{event} was refused: {}", answers(stage, event)));
        }
        match job.verdict(ix) {
            Verdict::NotCounted(reasons) => {
                return Err(format!("{event} does not count: {reasons:?}"));
            }
            Verdict::Counts | Verdict::Information(_) => effect(job, status, ix)?,
        }
    }
    Ok(())
}

/// What an entry that is no acknowledgement must have changed.
fn effect(job: &Job, status: &Status, ix: EntryIx) -> Found {
    let graph = job.graph();
    let condition_good = |id: &str| {
        let found = status
            .conditions
            .iter()
            .find(|condition| condition.id.as_str() == id);
        match found {
            Some(condition) if condition.good => Ok(()),
            Some(condition) => Err(format!("{id} is not good: {:?}", condition.reasons)),
            None => Ok(()),
        }
    };
    match graph.body(ix) {
        Body::Reading(reading) => condition_good(reading.condition.as_str()),
        Body::Affirm(affirm) => condition_good(affirm.condition.as_str()),
        Body::OrderStatus(status) if !graph.body(ix).is_stop() && status.line_state.is_none() => {
            condition_good("order")
        }
        Body::Scan(scan) => {
            let item = status.items.iter().find(|item| item.id == scan.item);
            match item {
                Some(item) if item.unfit.is_empty() => Ok(()),
                other => Err(format!("the tool is not fit: {other:?}")),
            }
        }
        Body::Moved(moved) => {
            let at = status
                .items
                .iter()
                .find(|item| item.id == moved.item)
                .map(|item| item.at);
            if at == Some(moved.to) {
                Ok(())
            } else {
                Err(format!("it is at {at:?}"))
            }
        }
        Body::Take(take) => {
            let offer = graph.find(&take.offer).map(|offer| graph.body(offer));
            match offer {
                Some(Body::Offer(offer)) => match &offer.what {
                    Offered::Role { role, .. } => {
                        let holds = job.roster().holds(&graph.author(ix), role);
                        if holds {
                            Ok(())
                        } else {
                            Err(format!("{role} was not taken over"))
                        }
                    }
                    Offered::Move { handoff, .. } => {
                        // Gone from the list: already done.
                        let shown = status
                            .handoffs
                            .iter()
                            .find(|known| known.handoff == *handoff);
                        if shown.is_none_or(|known| known.taken) {
                            Ok(())
                        } else {
                            Err(format!("{handoff} is not taken"))
                        }
                    }
                },
                _ => Err("no offer was taken".to_owned()),
            }
        }
        _ => Ok(()),
    }
}

fn words_of<'a>(reasons: impl IntoIterator<Item = &'a Reason>) -> BTreeSet<&'static str> {
    reasons.into_iter().flat_map(words::of).copied().collect()
}

fn refused(
    stage: &Stage<'_>,
    engine: &Engine,
    status: &Status,
    event: &str,
    wanted: &[String],
) -> Found {
    let is_ask = matches!(
        stage.case.event(event).map(|event| &event.act),
        Some(Act::ResumeAsk { .. })
    );
    let found = if is_ask {
        ask_refused(stage, engine, status, event)?
    } else {
        press_refused(stage, engine, event)?
    };
    named(event, &found, wanted)
}

fn named(event: &str, found: &BTreeSet<&str>, wanted: &[String]) -> Found {
    if wanted.iter().any(|word| found.contains(word.as_str())) {
        return Ok(());
    }
    let found: Vec<&str> = found.iter().copied().collect();
    Err(format!("{event} is refused for {}", found.join(", ")))
}

/// Of an author off the roster no log of the crew may hold an entry; `None`: the author is on it.
fn off_the_job(stage: &Stage<'_>, event: &str) -> Option<Found> {
    let device = stage.device(&stage.case.event(event)?.device)?;
    let told = stage.told.get(event);
    let forged = told.and_then(|told| told.forged);
    if forged.is_none() && stage.is_present(device) {
        return None;
    }
    let made: Vec<EntryHash> = forged
        .into_iter()
        .chain(stage.entries(event).iter().copied())
        .collect();
    let holder = (0..stage.world.devices.len()).find(|&other| {
        let engine = stage.world.engine(other);
        stage.is_present(other)
            && engine.is_some_and(|engine| made.iter().any(|entry| engine.holds(entry)))
    });
    Some(match holder {
        Some(holder) => Err(format!("{} holds the entry of {event}", stage.name(holder))),
        None => Ok(()),
    })
}

fn press_refused(
    stage: &Stage<'_>,
    engine: &Engine,
    event: &str,
) -> Result<BTreeSet<&'static str>, String> {
    let job = engine.job();
    let mut found = BTreeSet::new();
    let told = stage.told.get(event);
    for outcome in told.into_iter().flat_map(|told| &told.outcomes) {
        match outcome {
            Outcome::Refused { reasons } => found.extend(words_of(reasons)),
            Outcome::AlreadySo => {
                found.insert("duplicate");
            }
            Outcome::Recorded { entry, .. } => {
                let ix = job.graph().find(entry).ok_or("its entry is not here")?;
                match job.verdict(ix) {
                    Verdict::Counts if is_duplicate(job, ix) => {
                        found.insert("duplicate");
                    }
                    Verdict::Counts => return Err(format!("{event} counts")),
                    Verdict::NotCounted(reasons) => found.extend(words_of(&reasons)),
                    Verdict::Information(reasons) if reasons.is_empty() => {
                        return Err(format!("{event} is taken as information"));
                    }
                    Verdict::Information(reasons) => found.extend(words_of(&reasons)),
                }
            }
        }
    }
    Ok(found)
}

/// Whether its author had given the same acknowledgement before, so that this one adds nothing.
fn is_duplicate(job: &Job, ix: EntryIx) -> bool {
    let graph = job.graph();
    let Body::Acknowledge(said) = graph.body(ix) else {
        return false;
    };
    job.given(&said.step, &said.check).into_iter().any(|other| {
        graph.author(other) == graph.author(ix)
            && graph.before(other, ix)
            && matches!(graph.body(other), Body::Acknowledge(before) if before.said == said.said)
    })
}

/// Nothing was released, and this is what it waits for.
fn ask_refused(
    stage: &Stage<'_>,
    engine: &Engine,
    status: &Status,
    event: &str,
) -> Result<BTreeSet<&'static str>, String> {
    let graph = engine.job().graph();
    let asks: Vec<EntryHash> = stage.entries(event).to_vec();
    for ix in graph.iter() {
        if let Body::Release(release) = graph.body(ix)
            && asks.contains(&release.ask)
        {
            return Err(format!("{event} was answered by a release"));
        }
    }
    if status.call.word != CallWord::StopWork {
        return Err(format!("the call is {:?}", status.call.word));
    }
    let mut found = press_reasons(stage, event);
    for owed in status.stops.iter().flat_map(|stop| &stop.owed) {
        found.insert(match owed {
            Owed::Briefing { .. } => "not_briefed",
            _ => "incomplete",
        });
    }
    for condition in status.conditions.iter().filter(|condition| !condition.good) {
        found.extend(words_of(&condition.reasons));
    }
    if status
        .shown
        .iter()
        .any(|(name, words)| name == "no_contact" && !words.is_empty())
    {
        found.insert("no_contact");
    }
    Ok(found)
}

fn press_reasons(stage: &Stage<'_>, event: &str) -> BTreeSet<&'static str> {
    let told = stage.told.get(event);
    let outcomes = told.into_iter().flat_map(|told| &told.outcomes);
    outcomes
        .filter_map(|outcome| match outcome {
            Outcome::Refused { reasons } => Some(words_of(reasons)),
            _ => None,
        })
        .flatten()
        .collect()
}

fn is(found: &str, wanted: &str) -> Found {
    if found == wanted {
        Ok(())
    } else {
        Err(format!("it is {found}"))
    }
}

fn state(
    stage: &Stage<'_>,
    engine: &Engine,
    status: &Status,
    target: &Target,
    wanted: &str,
) -> Found {
    match target {
        Target::Job => is(job_word(status), wanted)
            .map_err(|found| format!("{found}: {:?}", status.call.reasons)),
        Target::Step(step) => is(step_word(status, step), wanted).map_err(|found| {
            let step = step.parse().ok();
            let missing = step.map(|step| engine.job().missing(&step));
            format!("{found}: {missing:?}")
        }),
        Target::Check { step, check } => {
            let (step, check) = stage
                .planned
                .check(stage.case, step, check)
                .ok_or("the plan has no such check")?;
            let given = engine.job().given(&step, &check);
            is(if given.is_empty() { "empty" } else { "given" }, wanted)
        }
        Target::Condition(name) => {
            let condition = status
                .conditions
                .iter()
                .find(|known| known.id.as_str() == name);
            let condition = condition.ok_or("the plan has no such condition")?;
            let stale = condition
                .reasons
                .iter()
                .any(|reason| matches!(reason, Reason::Stale { .. }));
            is(
                match (condition.good, stale) {
                    (true, _) => "fresh",
                    (false, true) => "stale",
                    (false, false) => "out",
                },
                wanted,
            )
        }
        Target::Handoff(name) => one_entry(engine, name),
        Target::Event(event) => {
            let values: Vec<String> = entries(stage, engine.job(), event)?
                .into_iter()
                .filter_map(|ix| value_of(engine.job().graph().body(ix)))
                .map(|value| value.to_string())
                .collect();
            is(&values.join(" "), wanted)
        }
        Target::Chain | Target::Entries | Target::Ranking | Target::TargetMoved => {
            Err("this view has no such state".to_owned())
        }
    }
}

/// Of each kind that names the handoff there is one entry.
fn one_entry(engine: &Engine, name: &str) -> Found {
    let graph = engine.job().graph();
    let offers: Vec<EntryHash> = graph
        .iter()
        .filter(|&ix| {
            matches!(graph.body(ix), Body::Offer(offer)
                if matches!(&offer.what, Offered::Move { handoff, .. } if handoff.as_str() == name))
        })
        .map(|ix| graph.hash(ix))
        .collect();
    let readies = graph.iter().filter(
        |&ix| matches!(graph.body(ix), Body::Ready(ready) if offers.contains(&ready.offer)),
    );
    match (offers.len(), readies.count()) {
        (1, 1) => Ok(()),
        (offers, readies) => Err(format!("{offers} offers, {readies} readies")),
    }
}

/// The same entries in the same order, those left out that may still be on their way.
fn entries_equal(stage: &Stage<'_>, devices: &[usize]) -> Found {
    let young = |engine: &Engine, ix: EntryIx, device: usize| {
        let wall = stage.world.clock(device).wall.0;
        let made = engine.job().graph().content(ix).wall.0;
        u64::try_from(wall - made).is_ok_and(|age| age < stage.case.assume.sync_ms)
    };
    let mut lists: Vec<(usize, Vec<EntryHash>)> = Vec::new();
    for &device in devices {
        let engine = stage.world.engine(device).ok_or("it is off")?;
        let graph = engine.job().graph();
        let order = readable_order(graph);
        let old = order.into_iter().filter(|&ix| !young(engine, ix, device));
        lists.push((device, old.map(|ix| graph.hash(ix)).collect()));
    }
    let Some((first, rest)) = lists.split_first() else {
        return Ok(());
    };
    match rest.iter().find(|(_, list)| *list != first.1) {
        Some((other, _)) => Err(format!(
            "{} and {} differ",
            stage.name(first.0),
            stage.name(*other)
        )),
        None => Ok(()),
    }
}

fn sounds(status: &Status, name: &str) -> Found {
    let wanted = match name {
        "stop" => Alarm::Stop,
        "clearance" => Alarm::Clearance,
        "unknown_device" => Alarm::UnknownDevice,
        "call" => Alarm::Call,
        _ => Alarm::Fork,
    };
    if status.alarms.contains(&wanted) {
        Ok(())
    } else {
        Err(format!("sounding: {:?}", status.alarms))
    }
}

/// Whether the replay says of an entry that it came to somebody late.
fn late_by_sync(job: &Job, ix: EntryIx) -> bool {
    let hash = job.graph().hash(ix);
    let lines = replay::replay(job).lines;
    lines
        .iter()
        .any(|line| line.entry == hash && line.late_by_sync)
}

/// Whether the entry of an event carries a mark.
///
/// # Errors
/// What was found instead.
pub fn recorded(stage: &Stage<'_>, job: &Job, event: &str, word: &str) -> Found {
    let graph = job.graph();
    let all = entries(stage, job, event)?;
    let not = |found: String| Err(format!("{event} is not {word}: {found}"));
    for ix in all {
        let verdict = job.verdict(ix);
        let reasons = match &verdict {
            Verdict::Counts => Vec::new(),
            Verdict::NotCounted(reasons) | Verdict::Information(reasons) => reasons.clone(),
        };
        let so = match word {
            "concurrent_with_stop" => reasons
                .iter()
                .any(|r| matches!(r, Reason::CrossedStop { .. })),
            "fork" => reasons.iter().any(|r| matches!(r, Reason::Fork { .. })),
            "information" => matches!(verdict, Verdict::Information(_)),
            "refused" => is_refusal(job, ix) || matches!(verdict, Verdict::NotCounted(_)),
            "late" => {
                matches!(graph.body(ix), Body::Note(note) if matches!(note.kind, NoteKind::Late { .. }))
                    || late_by_sync(job, ix)
            }
            "replaced" => match graph.body(ix) {
                Body::Admit(admit) => {
                    let old = admit
                        .replaces
                        .is_some_and(|old| !job.roster().present(&old));
                    old && job.roster().present(&admit.device)
                }
                _ => false,
            },
            _ => false,
        };
        if !so {
            return not(format!("{verdict:?}"));
        }
    }
    Ok(())
}

fn never(
    stage: &Stage<'_>,
    watchers: &Watchers,
    device: usize,
    status: &Status,
    target: &Target,
    value: &str,
) -> Found {
    match (target, value) {
        (Target::Job, word) if job_word(status) == word => Err(format!("it is {word}")),
        (Target::Step(step), word) if step_word(status, step) == word => {
            Err(format!("it is {word}"))
        }
        (Target::Event(event), "visible") => {
            let hashes = stage.entries(event);
            let checks = status.steps.iter().flat_map(|step| &step.checks);
            let told = checks
                .flat_map(|check| &check.given)
                .find(|given| hashes.contains(&given.entry) && given.said.is_some());
            match told {
                Some(given) => Err(format!("{:?} is shown", given.said)),
                None => Ok(()),
            }
        }
        (Target::TargetMoved, "under_finger") => {
            // What a finger pressed that came down before the step was open confirms nothing of it.
            let name = stage.name(device);
            let presses = stage.case.events.iter().filter(|event| {
                event.device == name && matches!(event.act, Act::PressConfirm { .. })
            });
            for event in presses {
                let recorded = stage.told.get(&event.id).is_some_and(|told| {
                    let mut outcomes = told.outcomes.iter();
                    outcomes.any(|o| matches!(o, Outcome::Recorded { .. }))
                });
                if recorded && !watchers.began_open(&event.id) {
                    return Err(format!("{} began before its step was open", event.id));
                }
            }
            Ok(())
        }
        (Target::Event(_) | Target::Chain | Target::Ranking | Target::TargetMoved, _) => {
            Err(format!("`{value}` says nothing of this in this view"))
        }
        _ => Ok(()),
    }
}
