//! Script: what happens in the demonstration, in order: a whole job, and the mistakes that people make.
//! Owns: the cast and the order.    Gives: `run`.
//! May use: stage, station, summary.   Never: goes on when something expected did not happen.

use super::mistakes::{
    clearance_too_short, closes, count_one_short, device_dies, link_lost, observer_relieved,
    presses_ahead, stop_crosses_two, tool_past_its_test,
};
use super::photo;
use super::show::Show;
use super::stage::{Stage, person};
use super::station::{Station, once, program, text};
use super::summary::{HoldLasted, Summary};
use super::{Options, Random, Stopped};
use crate::control::Admission;
use gantline_protocol::ids::{DeviceKey, RoleId};
use gantline_protocol::plan::builtin;
use gantline_protocol::state::{JobState, StepState};
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

/// The plan of the demonstration.
const PLAN: &str = "suspension-230";
/// The cast: call sign and roles. The first founds the job.
pub(super) const CAST: [(&str, &str); 5] = [
    ("Alder", "supervisor"),
    ("Birch", "tower"),
    ("Cedar", "tower"),
    ("Elm", "ground"),
    ("Hazel", "observer"),
];
const SPARE: &str = "spare";

/// Devices, people and the job, with everyone at work; and the spare device.
pub(super) fn begin(
    options: &Options,
    place: &Folder,
    interrupted: Arc<AtomicBool>,
) -> Result<(Stage, Station), Stopped> {
    let plan = builtin()
        .iter()
        .find(|plan| plan.name == PLAN)
        .ok_or_else(|| Stopped::Plan {
            why: format!("there is none called {PLAN}"),
        })?
        .plan()
        .map_err(|faults| Stopped::Plan {
            why: faults.to_string(),
        })?;
    let show = Show::new(plan.steps.len() as u64, options.quiet);
    let random = Random::new(options.seed);
    let mut stage = Stage::new(plan, show, !options.fast, random, interrupted);
    stage.say(&format!(
        "seed {}, devices in {}",
        options.seed,
        place.path.display()
    ));

    let spare = set_up(&mut stage, &place.path)?;
    Ok((stage, spare))
}

/// The whole job.
pub(super) fn run(options: &Options, interrupted: Arc<AtomicBool>) -> Result<Summary, Stopped> {
    let place = Folder::make(options)?;
    let (mut stage, spare) = begin(options, &place, interrupted)?;
    presses_ahead(&mut stage)?;
    tool_past_its_test(&mut stage)?;
    photo::noted(&mut stage)?;
    clearance_too_short(&mut stage)?;
    link_lost(&mut stage)?;
    stop_crosses_two(&mut stage)?;
    observer_relieved(&mut stage)?;
    device_dies(&mut stage, spare)?;
    count_one_short(&mut stage)?;
    closes(&mut stage)?;

    let summary = sum_up(&mut stage, &place)?;
    stage.show.finish();
    place.tidy(options);
    Ok(summary)
}

/// Where the devices keep their files.
pub(super) struct Folder {
    path: PathBuf,
}

impl Folder {
    pub(super) fn make(options: &Options) -> Result<Self, Stopped> {
        let path = options.keep.clone().unwrap_or_else(|| {
            let process = std::process::id();
            std::env::temp_dir().join(format!("gantline-demo-{process}-{}", options.seed))
        });
        let fault = |source| Stopped::Folder {
            path: path.clone(),
            source,
        };
        std::fs::create_dir_all(&path).map_err(fault)?;
        if std::fs::read_dir(&path).map_err(fault)?.next().is_some() {
            return Err(fault(std::io::Error::other(
                "there is something in it already",
            )));
        }
        Ok(Self { path })
    }

    /// Only the log stays, unless everything is to be kept.
    pub(super) fn tidy(&self, options: &Options) {
        if options.keep.is_some() {
            return;
        }
        for (name, _) in CAST.iter().chain(&[(SPARE, "")]) {
            // What cannot be removed is in a folder for temporary files.
            let _ = std::fs::remove_dir_all(self.path.join(name));
        }
    }
}

/// Makes six devices, founds the job, and lets four of them join. The sixth is the spare.
fn set_up(stage: &mut Stage, folder: &Path) -> Result<Station, Stopped> {
    let mut stations = Vec::new();
    for (name, _) in CAST {
        stations.push(Station::new(folder, name)?);
    }
    let spare = Station::new(folder, SPARE)?;
    let mut stations = stations.into_iter();
    let (founder, role) = CAST[0];
    if let Some(mut first) = stations.next() {
        once(
            &first.folder,
            &[
                "job", "found", "--plan", PLAN, "--person", founder, "--role", role,
            ],
        )?;
        first.start(&[])?;
        stage.say(&format!("{founder} founds the job: {}", stage.plan.title));
        stage.take_on(first, person(founder)?);
    }
    for (station, (name, role)) in stations.zip(CAST.into_iter().skip(1)) {
        join(stage, station, name, role, None)?;
    }
    stage.work_until("everyone has taken their place and is briefed", |status| {
        let here = status.crew.iter().filter(|member| member.present);
        let (mut count, mut briefed) = (0, true);
        for member in here {
            count += 1;
            briefed &= member.briefed;
        }
        count == CAST.len() && briefed
    })?;
    stage.say("everyone is admitted and briefed");
    Ok(spare)
}

/// A device asks to join; the words on both screens are compared, and the supervisor admits it.
pub(super) fn join(
    stage: &mut Stage,
    mut station: Station,
    name: &str,
    role: &str,
    replaces: Option<DeviceKey>,
) -> Result<(), Stopped> {
    let host = 0;
    let address = stage.stations[host]
        .address
        .ok_or_else(|| Stopped::NotRunning {
            person: stage.hands[host].person.clone(),
        })?;
    let mut asking = program(&station.folder)?
        .args(["job", "join", &address.to_string(), "--person", name])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|source| Stopped::Start {
            what: "job join".to_owned(),
            source,
        })?;
    let mut lines = asking
        .stdout
        .take()
        .map(BufReader::new)
        .into_iter()
        .flat_map(BufRead::lines);
    let first = lines.next().and_then(Result::ok).unwrap_or_default();
    let shown: serde_json::Value = serde_json::from_str(&first)
        .map_err(|_| Stopped::odd_answer("job join", &serde_json::Value::String(first.clone())))?;
    let words = text(&shown, "words").unwrap_or_default().to_owned();

    // Somebody reads the words out; the supervisor compares them with their own screen.
    let mut asked = None;
    stage.expect("the supervisor's screen shows who asks to join", |stage| {
        let joins = stage.stations[host].client()?.joins()?;
        asked = joins.into_iter().find(|join| join.device == station.device);
        // The device that asks has yet to prove its number.
        Ok(asked.as_ref().is_some_and(|join| !join.words.is_empty()))
    })?;
    let on_the_other = asked.map(|join| join.words).unwrap_or_default();
    if words.is_empty() || on_the_other != words {
        return Err(Stopped::NotSo {
            expected: format!("both screens show `{words}`"),
            found: on_the_other,
        });
    }
    let roles = if role.is_empty() {
        Vec::new()
    } else {
        vec![name_of::<RoleId>(role)?]
    };
    let admission = Admission {
        device: station.device,
        person: person(name)?,
        roles,
        replaces,
    };
    let outcome = stage.stations[host].client()?.admit(&admission)?;
    stage.counted(host, "admit", &outcome)?;
    let ended = asking.wait().map_err(|source| Stopped::Start {
        what: "job join".to_owned(),
        source,
    })?;
    if !ended.success() {
        return Err(Stopped::Command {
            what: "job join".to_owned(),
            code: ended.code(),
            said: "see above".to_owned(),
        });
    }
    let others: Vec<_> = stage
        .stations
        .iter()
        .filter(|other| other.runs())
        .filter_map(|other| other.address.map(|address| (other.device, address)))
        .collect();
    station.start(&others)?;
    let with = if role.is_empty() { "" } else { " as " };
    stage.say(&format!(
        "{name} joins{with}{role}; the words agree: {words}"
    ));
    stage.take_on(station, person(name)?);
    Ok(())
}

pub(super) fn name_of<T: for<'a> TryFrom<&'a str>>(name: &str) -> Result<T, Stopped> {
    T::try_from(name).map_err(|_| Stopped::Plan {
        why: format!("`{name}` is no name"),
    })
}

/// Compares and verifies the logs, and gathers the figures.
fn sum_up(stage: &mut Stage, place: &Folder) -> Result<Summary, Stopped> {
    stage.expect("every device holds the same entries", |stage| {
        let mut digests = BTreeSet::new();
        for place in stage.running() {
            digests.insert(stage.status(place)?.digest);
        }
        Ok(digests.len() == 1)
    })?;
    let supervisor = stage.place("Alder")?;
    let status = stage.status(supervisor)?;
    let log = place.path.join("job.gantline");
    let bytes = stage.stations[supervisor].client()?.log()?;
    std::fs::write(&log, bytes).map_err(|source| Stopped::Folder {
        path: log.clone(),
        source,
    })?;
    for place in stage.running().collect::<Vec<_>>() {
        stage.stations[place].switch_off()?;
    }
    let mut journals = vec![log.clone()];
    for station in &stage.stations {
        journals.push(station.journal(&status.job));
    }
    let mut hashes = Vec::new();
    for journal in &journals {
        let path = journal.display().to_string();
        // Ends with another code, and so stops here, if anything in the file is not whole.
        once(&place.path, &["verify", &path])?;
        hashes.push(entries_of(&place.path, &path)?);
    }
    let all = hashes.first().cloned().unwrap_or_default();
    let logs_equal = stage
        .stations
        .iter()
        .zip(hashes.iter().skip(1))
        .zip(&stage.hands)
        .all(|((_, theirs), hand)| {
            let newest = stage
                .hands
                .iter()
                .rfind(|other| other.person == hand.person);
            if newest.is_some_and(|newest| newest.device == hand.device) {
                *theirs == all
            } else {
                // The one that died: what it had is a part of it.
                !theirs.is_empty() && theirs.is_subset(&all)
            }
        });
    let steps_done = status
        .steps
        .iter()
        .filter(|step| step.state == StepState::Done)
        .count();
    let summary = Summary {
        ok: true,
        devices: stage.stations.len(),
        steps_done,
        steps_total: status.steps.len(),
        entries: status.entries,
        logs_equal,
        verified: true,
        refusals: std::mem::take(&mut stage.refusals).into_map(),
        stops: stage.stops.clone(),
        holds: holds(stage),
        closed: status.job_state == JobState::Closed,
        log,
    };
    check_figures(&summary, all.len())?;
    Ok(summary)
}

/// The hashes of a log file's entries, as `gantline replay` lists them.
fn entries_of(folder: &Path, log: &str) -> Result<BTreeSet<String>, Stopped> {
    let replay = once(folder, &["replay", log])?;
    let entries = replay
        .get("entries")
        .and_then(serde_json::Value::as_array)
        .ok_or_else(|| Stopped::odd_answer("replay", &serde_json::Value::Null))?;
    Ok(entries
        .iter()
        .filter_map(|entry| text(entry, "entry"))
        .map(str::to_owned)
        .collect())
}

/// Holds by loss of the crew: those of single screens that overlap are one.
fn holds(stage: &Stage) -> Vec<HoldLasted> {
    let mut shown: Vec<(Instant, Instant, String)> = stage
        .stations
        .iter()
        .flat_map(|station| station.seen().holds)
        .filter_map(|(reason, from, to)| to.map(|to| (from, to, reason)))
        .collect();
    shown.sort();
    let mut merged: Vec<(Instant, Instant, String)> = Vec::new();
    for (from, to, reason) in shown {
        match merged.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => merged.push((from, to, reason)),
        }
    }
    merged
        .into_iter()
        .map(|(from, to, reason)| HoldLasted {
            reason,
            ms: u64::try_from((to - from).as_millis()).unwrap_or(u64::MAX),
        })
        .collect()
}

/// What the figures have to be, whatever the machine.
fn check_figures(summary: &Summary, logged: usize) -> Result<(), Stopped> {
    let so = |so: bool, expected: &str, found: String| {
        if so {
            Ok(())
        } else {
            Err(Stopped::NotSo {
                expected: expected.to_owned(),
                found,
            })
        }
    };
    so(
        summary.steps_done == summary.steps_total,
        "every step is done",
        format!("{} of {}", summary.steps_done, summary.steps_total),
    )?;
    so(
        summary.logs_equal,
        "all logs agree",
        "they differ".to_owned(),
    )?;
    so(summary.closed, "the job is closed", "it is not".to_owned())?;
    so(
        logged == usize::try_from(summary.entries).unwrap_or(usize::MAX),
        "the log file has every entry",
        format!("{logged} of {}", summary.entries),
    )?;
    so(
        summary.holds.iter().any(|hold| hold.reason == "no_contact"),
        "a hold for want of contact was shown",
        format!("{:?}", summary.holds),
    )?;
    for reason in [
        "not_unlocked",
        "tool_not_fit",
        "out_of_limit",
        "needs_second",
        "not_accounted",
    ] {
        so(
            summary.refusals.contains_key(reason),
            &format!("something was refused for {reason}"),
            format!("{:?}", summary.refusals),
        )?;
    }
    Ok(())
}
