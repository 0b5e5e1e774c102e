//! Replay: walks a whole log: who said what, what it was worth and why, and what follows from all of it.
//! Owns: nothing.   Gives: `Replay`: one line an entry in one order that every device finds alike, and a summary.
//! May use: gate, facts, log.   Never: sentences for people (node words reasons), a ranking of people.
//!
//! In reading order: `reading` the order · `words` what an entry says · `clocks` times of several devices on one line ·
//! `late` what came late · `windows` spans in which something was not so · `walk` one device's log as it came to know
//! it · `lanes` what that allowed it to show, how far each stop came, what it knew at a time.

mod clocks;
mod lanes;
mod late;
mod reading;
mod walk;
mod windows;
mod words;

pub use clocks::Clocks;
pub use lanes::{Knew, Lane, Point, Spread, knew, lanes, spread};
pub use reading::{EntryName, lacking, readable_order};
pub use windows::Window;
pub use words::{kind, said, words};

use crate::gate::{Job, Verdict};
use crate::ids::{DeviceKey, EntryHash, Person, StepId};
use crate::log::entry::Body;
use crate::log::graph::EntryIx;
use crate::reason::Reason;
use crate::time::{Stamp, WallClock};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A whole log, evaluated.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Replay {
    /// One for each entry, in order.
    pub lines: Vec<Line>,
    /// What follows from all of them.
    pub summary: Summary,
}

/// What an entry is worth.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Worth {
    /// It counts, or is of a kind that nobody judges.
    Counts,
    /// It does not, for the reasons beside it.
    DoesNotCount,
    /// It opens nothing by its kind.
    Information,
}

/// One entry.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Line {
    /// Its hash.
    pub entry: EntryHash,
    /// Its author's device.
    pub device: DeviceKey,
    /// Its number.
    pub seq: u32,
    /// The author's person, if the device was ever admitted.
    pub person: Option<Person>,
    /// When, by the author's own wall clock.
    pub wall: WallClock,
    /// For a readable order.
    pub stamp: Stamp,
    /// Stable name of its kind.
    pub kind: String,
    /// What it says.
    pub words: String,
    /// What it is worth.
    pub worth: Worth,
    /// Why it does not count.
    pub reasons: Vec<Reason>,
    /// It came to another device only long after it was made. It is judged by what its author had seen, like any
    /// other.
    pub late_by_sync: bool,
}

/// A stop and what came of it.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct StopLine {
    /// The entry.
    pub entry: EntryHash,
    /// Whose, if the device was ever admitted.
    pub by: Option<Person>,
    /// What it says.
    pub words: String,
    /// When, by its author's wall clock.
    pub wall: WallClock,
    /// Who answered, in the order of the log, and by their own wall clocks when.
    pub heard: Vec<(Person, WallClock)>,
    /// The release, if there is one.
    pub release: Option<EntryHash>,
}

/// What follows from a whole log.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Summary {
    /// How many entries.
    pub entries: u32,
    /// Steps complete.
    pub steps_done: u32,
    /// Steps of the plan.
    pub steps_total: u32,
    /// Steps that are not complete.
    pub steps_open: Vec<StepId>,
    /// Entries and presses that do not count, by the stable word of each reason.
    pub refusals: BTreeMap<String, u32>,
    /// Presses refused before they were recorded, as far as their nodes noted them.
    pub attempts: u32,
    /// Stops, in the order of the log.
    pub stops: Vec<StopLine>,
    /// Exceptions, in the order of the log.
    pub exceptions: Vec<EntryHash>,
    /// Spans in which a role or its condition was vacant, out or unknown.
    pub windows: Vec<Window>,
    /// Devices that forked, and at which number.
    pub forks: Vec<(DeviceKey, u32)>,
    /// Days worked.
    pub days: u32,
    /// Whether the job is closed.
    pub closed: bool,
}

/// Evaluates a whole log. The job must be settled.
#[must_use]
pub fn replay(job: &Job) -> Replay {
    let graph = job.graph();
    let order = readable_order(graph);
    let late = late::late_by_sync(job);
    let lines: Vec<Line> = order
        .iter()
        .map(|&ix| line(job, ix, late.contains(&ix)))
        .collect();
    let summary = summary(job, &order, &lines);
    Replay { lines, summary }
}

fn person(job: &Job, ix: EntryIx) -> Option<Person> {
    let author = job.graph().author(ix);
    job.roster().person(&author).cloned()
}

fn line(job: &Job, ix: EntryIx, late_by_sync: bool) -> Line {
    let graph = job.graph();
    let content = graph.content(ix);
    let (worth, reasons) = match job.verdict(ix) {
        Verdict::Counts => (Worth::Counts, Vec::new()),
        Verdict::NotCounted(reasons) => (Worth::DoesNotCount, reasons),
        Verdict::Information(reasons) => (Worth::Information, reasons),
    };
    Line {
        entry: graph.hash(ix),
        device: content.author,
        seq: content.seq,
        person: person(job, ix),
        wall: content.wall,
        stamp: content.stamp,
        kind: kind(&content.body).to_owned(),
        words: words(&content.body),
        worth,
        reasons,
        late_by_sync,
    }
}

fn summary(job: &Job, order: &[EntryIx], lines: &[Line]) -> Summary {
    let (graph, plan) = (job.graph(), job.plan());
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let open: Vec<StepId> = plan
        .steps
        .iter()
        .filter(|step| !job.complete().contains(&step.id))
        .map(|step| step.id.clone())
        .collect();
    let attempts = job.facts().attempts(graph, graph.all());
    let mut refusals: BTreeMap<String, u32> = BTreeMap::new();
    // Once for each entry: several reasons of one kind are one refusal of that kind.
    let codes_of = |line: &Line| -> BTreeSet<String> {
        let codes = line.reasons.iter().map(Reason::code);
        codes.map(str::to_owned).collect()
    };
    let codes = lines
        .iter()
        .flat_map(codes_of)
        .chain(attempts.iter().flat_map(|attempt| attempt.codes.clone()));
    for code in codes {
        let so_far = refusals.entry(code).or_default();
        *so_far = so_far.saturating_add(1);
    }
    Summary {
        entries: count(graph.len()),
        steps_done: count(plan.steps.len() - open.len()),
        steps_total: count(plan.steps.len()),
        steps_open: open,
        refusals,
        attempts: count(attempts.len()),
        stops: stops(job, order),
        exceptions: order
            .iter()
            .filter(|&&ix| matches!(graph.body(ix), Body::Exception(_)))
            .map(|&ix| graph.hash(ix))
            .collect(),
        windows: windows::windows(job, order),
        forks: graph
            .forks()
            .iter()
            .map(|fork| (fork.author, fork.seq))
            .collect(),
        days: count(job.facts().days(graph, graph.all()).len()).saturating_add(1),
        closed: job.is_closed(),
    }
}

fn stops(job: &Job, order: &[EntryIx]) -> Vec<StopLine> {
    let graph = job.graph();
    let mut stops: Vec<StopLine> = Vec::new();
    let mut at: BTreeMap<EntryHash, usize> = BTreeMap::new();
    let mut asks: BTreeMap<EntryHash, Vec<EntryHash>> = BTreeMap::new();
    for &ix in order {
        let body = graph.body(ix);
        let hash = graph.hash(ix);
        if body.is_stop() {
            at.insert(hash, stops.len());
            stops.push(StopLine {
                entry: hash,
                by: person(job, ix),
                words: words(body),
                wall: graph.content(ix).wall,
                heard: Vec::new(),
                release: None,
            });
        }
        match body {
            Body::Heard(heard) => {
                if let Some(stop) = at.get(&heard.stop).and_then(|&at| stops.get_mut(at))
                    && let Some(person) = person(job, ix)
                    && !stop.heard.iter().any(|(other, _)| *other == person)
                {
                    stop.heard.push((person, graph.content(ix).wall));
                }
            }
            Body::Ask(ask) => {
                asks.insert(hash, ask.stops.clone());
            }
            Body::Release(release) if job.verdict(ix) == Verdict::Counts => {
                for stop in asks.get(&release.ask).into_iter().flatten() {
                    if let Some(stop) = at.get(stop).and_then(|&at| stops.get_mut(at)) {
                        stop.release.get_or_insert(hash);
                    }
                }
            }
            _ => {}
        }
    }
    stops
}
