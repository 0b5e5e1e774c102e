//! Overview: what is known here of the crew as a whole: who hears whom, what each device shows, since when each check
//! waits.
//! Owns: nothing.   Gives: `overview`, for the board.
//! May use: call, gate, local.   Never: a verdict or an act (all of this is for people to look at); Proceed for a
//! device that may show something else.

use super::call::{call, open_steps, stops_in_force};
use super::{CallWord, Local};
use crate::gate::{Job, Verdict};
use crate::ids::{CheckId, DeviceKey, StepId};
use crate::log::graph::EntryIx;
use crate::plan::Step;
use crate::time::WallClock;
use crate::watch::Contact;

/// One device has news of another.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Hears {
    /// The one that hears.
    pub by: DeviceKey,
    /// The one that is heard.
    pub of: DeviceKey,
    /// Age of the news, for all that is known here, ms.
    pub age_ms: u64,
}

/// What a device shows its holder.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Shows {
    /// The device.
    pub device: DeviceKey,
    /// Its call; `None`: not known here.
    pub call: Option<CallWord>,
}

/// A check of an open step that is not complete.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Wait {
    /// The step.
    pub step: StepId,
    /// The check.
    pub check: CheckId,
    /// Since when it has been waited for, by the wall clock of the entry that opened the step.
    pub since: WallClock,
}

/// The crew as a whole.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Overview {
    /// Who hears whom; a pair that is not listed: no news ever.
    pub hears: Vec<Hears>,
    /// Every present device.
    pub shows: Vec<Shows>,
    /// What is waited for, in the plan's order.
    pub waits: Vec<Wait>,
}

/// All of it.
#[must_use]
pub fn overview(job: &Job, local: &Local, hears: Vec<Hears>) -> Overview {
    let shows = job
        .roster()
        .devices()
        .map(|device| Shows {
            device: *device,
            call: shown_by(job, local, device, &hears),
        })
        .collect();
    Overview {
        shows,
        waits: waits(job),
        hears,
    }
}

/// The call of a device: this one's own; another's by the same rule, of the log that it is known to hold and of whom
/// it is known to hear. `None`: it was not heard within the limit, or may know what is not known here.
fn shown_by(job: &Job, local: &Local, device: &DeviceKey, hears: &[Hears]) -> Option<CallWord> {
    if *device == local.me {
        return Some(call(job, local).word);
    }
    let limit_ms = job.plan().times.watch_limit_ms;
    let contact = local.contacts.iter().find(|one| one.device == *device)?;
    let fresh = contact.age_ms.is_some_and(|age_ms| age_ms <= limit_ms);
    if !fresh || !contact.level || !contact.quiet {
        return None;
    }
    let stops = stops_in_force(job, local);
    if !stops.is_empty() {
        let graph = job.graph();
        let has_one = stops
            .iter()
            .filter_map(|stop| graph.find(stop))
            .any(|stop| graph.author(stop) == *device || graph.within(stop, &contact.holds));
        return has_one.then_some(CallWord::StopWork);
    }
    let age_ms = |of: &DeviceKey| {
        let pair = hears.iter().find(|one| one.by == *device && one.of == *of);
        pair.map(|one| one.age_ms)
    };
    let others = local.contacts.iter().filter(|one| one.device != *device);
    let mut contacts: Vec<Contact> = others
        .map(|other| Contact {
            age_ms: age_ms(&other.device),
            level: true,
            ..other.clone()
        })
        .collect();
    contacts.push(Contact {
        device: local.me,
        age_ms: age_ms(&local.me),
        quiet: !local.page_silent,
        level: true,
        holds: job.graph().all().to_vec(),
    });
    let theirs = Local {
        me: *device,
        contacts: &contacts,
        off_by: &[],
        recovered: true,
        disk_failed: false,
        page_silent: false,
        steady: true,
        still_so_due: false,
        ..*local
    };
    Some(call(job, &theirs).word)
}

/// Checks of open steps that are not complete.
fn waits(job: &Job) -> Vec<Wait> {
    let mut waits = Vec::new();
    for step in open_steps(job) {
        let since = opened(job, step);
        let missing = step
            .checks
            .iter()
            .filter(|check| !job.check_done(&step.id, &check.id));
        waits.extend(missing.map(|check| Wait {
            step: step.id.clone(),
            check: check.id.clone(),
            since,
        }));
    }
    waits
}

/// When a step was opened: the latest of the confirmations before it and of the releases, the founding at least.
fn opened(job: &Job, step: &Step) -> WallClock {
    let graph = job.graph();
    let before = step.after.iter().filter_map(|id| job.plan().step(id));
    let confirmed = before.flat_map(|step| {
        let checks = step.checks.iter();
        checks.flat_map(|check| job.given(&step.id, &check.id))
    });
    let releases = job
        .facts()
        .releases(graph, graph.all())
        .into_iter()
        .filter(|&ix| job.verdict(ix) == Verdict::Counts);
    let founding = graph.iter().next();
    confirmed
        .chain(releases)
        .chain(founding)
        .map(|ix: EntryIx| graph.content(ix).wall)
        .max()
        .unwrap_or_default()
}
