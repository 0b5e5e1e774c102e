//! Reread: verify and replay of files, as somebody does who is given them after the job.
//! Owns: nothing.   Gives: `Reread`: what one file, or all of them together, tell.
//! May use: stage's files, protocol's verify and replay.   Never: a running node, but for names that a file has not.

use super::expects::{Must, Target, View};
use super::judge::{Found, recorded};
use super::shown;
use super::stage::Stage;
use gantline_protocol::gate::{Job, Verdict};
use gantline_protocol::ids::EntryHash;
use gantline_protocol::log::entry::{Acknowledge, Body, Said};
use gantline_protocol::log::graph::EntryIx;
use gantline_protocol::log::journal;
use gantline_protocol::log::sign;
use gantline_protocol::log::wire::Entry;
use gantline_protocol::plan::Who;
use gantline_protocol::replay::{self, readable_order};
use gantline_protocol::state::StepState;
use gantline_protocol::verify::{Checked, EntryAt, FaultKind, Report, Verifier};

/// One file, or several, read again.
#[derive(Debug)]
pub struct Reread {
    device: usize,
    report: Report,
    /// Files that differ from the others, and where.
    differ: Option<String>,
}

impl Reread {
    /// What a view reads.
    ///
    /// # Errors
    /// No device has a file.
    pub fn of(stage: &Stage<'_>, view: &View) -> Result<Self, String> {
        let device = stage.replayed.unwrap_or_else(|| stage.world.supervisor());
        let mut read = Self::of_device(stage, device)?;
        if *view == View::Merged {
            read.differ = Some(compare(stage));
        }
        Ok(read)
    }

    /// The file of one device.
    ///
    /// # Errors
    /// It has none.
    pub fn of_device(stage: &Stage<'_>, device: usize) -> Result<Self, String> {
        if stage.world.journal(device).is_empty() {
            return Err(format!("{} has no file", stage.name(device)));
        }
        Ok(Self {
            device,
            report: verify(stage, device),
            differ: None,
        })
    }

    /// Whether an expectation is met.
    ///
    /// # Errors
    /// What was found instead.
    pub fn judge(&self, stage: &Stage<'_>, must: &Must) -> Found {
        let job = self.report.job.as_ref().ok_or("the file holds no job")?;
        match must {
            Must::State(Target::Chain, _) if self.report.is_whole() => Ok(()),
            Must::State(Target::Chain, _) => Err(self.chain(stage)),
            Must::Never(Target::Chain, ..) if self.report.is_whole() => {
                Err("it is intact".to_owned())
            }
            Must::Never(Target::Chain, ..) => Ok(()),
            Must::Never(Target::Step(step), word, _) => {
                let step = step.parse().map_err(|_| "no such step".to_owned())?;
                let done = job.step_state(&step) == StepState::Done;
                if done && word == "done" {
                    Err("it is done".to_owned())
                } else {
                    Ok(())
                }
            }
            Must::Never(Target::Ranking, ..) => {
                // Stops stand in the order of the log, and nobody's are counted.
                let replay = replay::replay(job);
                let stops: Vec<EntryHash> =
                    replay.summary.stops.iter().map(|stop| stop.entry).collect();
                let lines = replay.lines.iter().map(|line| line.entry);
                let in_order: Vec<EntryHash> =
                    lines.filter(|entry| stops.contains(entry)).collect();
                if in_order == stops {
                    Ok(())
                } else {
                    Err("stops are sorted".to_owned())
                }
            }
            Must::Record(event, word) => recorded(stage, job, event, word),
            Must::Show(name, value) => {
                shown::among(stage, name, value, &self.words(stage, job, name), true)
            }
            other => Err(format!("a replay does not tell {other:?}")),
        }
    }

    /// What the replay says under a name.
    fn words(&self, stage: &Stage<'_>, job: &Job, name: &str) -> String {
        let graph = job.graph();
        let order = readable_order(graph);
        match name {
            "chain" => self.chain(stage),
            "compare" => self.differ.clone().unwrap_or_default(),
            "days" => {
                let days = job.facts().days(graph, graph.all()).len() + 1;
                let words = ["no", "one", "two", "three", "four", "five", "six", "seven"];
                format!("{days} {} days", words.get(days).unwrap_or(&"many"))
            }
            "attempts" => replay::replay(job).summary.attempts.to_string(),
            "gap" | "exposure" => self.windows(stage, job, &[name]),
            "roles" => self.windows(stage, job, &["gap", "vacant"]),
            "peak" => {
                let values = order.iter().filter_map(|&ix| match graph.body(ix) {
                    Body::Reading(reading) => reading.value,
                    _ => None,
                });
                values
                    .max()
                    .map_or_else(String::new, |value| value.to_string())
            }
            "readings" => {
                let values = order
                    .iter()
                    .filter_map(|&ix| super::outsider::value_of(graph.body(ix)));
                values
                    .map(|value| value.to_string())
                    .collect::<Vec<_>>()
                    .join(", ")
            }
            "looks" => looks(job, &order).join(", "),
            "order" | "timeline" => {
                // Nothing stands before what it had seen: the order is that of the recording.
                let so = order.iter().enumerate().all(|(at, &ix)| {
                    order
                        .iter()
                        .skip(at + 1)
                        .all(|&later| !graph.before(later, ix))
                });
                let events = order
                    .iter()
                    .filter_map(|&ix| stage.event_of(&graph.hash(ix)));
                let events: Vec<&str> = events.map(|event| event.id.as_str()).collect();
                let said = if so {
                    "recorded_order"
                } else {
                    "another order"
                };
                format!("{said} {}", events.join(" "))
            }
            other => stage
                .status(self.device)
                .map_or_else(String::new, |status| {
                    let shown = status.shown.iter().filter(|(known, _)| known == other);
                    let words: Vec<&str> = shown.map(|(_, words)| words.as_str()).collect();
                    words.join(" ")
                }),
        }
    }

    /// Spans in seconds of the case, by the wall clock of the device whose file it is.
    fn windows(&self, stage: &Stage<'_>, job: &Job, names: &[&str]) -> String {
        let now = stage.world.clock(self.device).wall.0;
        let zero = now - i64::try_from(stage.now_ms()).unwrap_or(0);
        let seconds = |wall: i64| (wall - zero).div_euclid(1000);
        let windows = replay::replay(job).summary.windows;
        let named = windows
            .iter()
            .filter(|window| names.contains(&window.name.as_str()));
        let words: Vec<String> = named
            .map(|window| {
                let to = window.to.map_or(now, |to| to.0);
                format!("{}-{}", seconds(window.from.0), seconds(to))
            })
            .collect();
        words.join(" ")
    }

    /// Whole, or where not.
    fn chain(&self, stage: &Stage<'_>) -> String {
        if self.report.is_whole() {
            return "intact".to_owned();
        }
        let mut events: Vec<String> = Vec::new();
        for fault in &self.report.faults {
            let by_hash = match &fault.kind {
                FaultKind::Missing { hash, .. } => stage.event_of(hash),
                _ => None,
            };
            let named = by_hash.or_else(|| event_at(stage, fault.entry?));
            events.push(named.map_or_else(|| fault.kind.to_string(), |event| event.id.clone()));
        }
        format!("broken at {}", events.join(" "))
    }
}

/// The event that an author's entry of a number is, as the other devices know it.
fn event_at<'c>(stage: &Stage<'c>, at: EntryAt) -> Option<&'c super::acts::Event> {
    (0..stage.world.devices.len())
        .filter_map(|device| stage.world.engine(device))
        .find_map(|engine| {
            let graph = engine.job().graph();
            let mut own = graph.iter().filter(|&ix| graph.author(ix) == at.author);
            own.find(|&ix| graph.seq(ix) == at.seq)
                .map(|ix| graph.hash(ix))
        })
        .and_then(|hash| stage.event_of(&hash))
}

/// Verifies a device's file, with the signatures of the simulation.
fn verify(stage: &Stage<'_>, device: usize) -> Report {
    let file = stage.world.file(device);
    let scan = journal::scan(&file);
    let mut verifier = Verifier::new();
    let checked = scan
        .records
        .iter()
        .map(|at| {
            let entry = match Entry::decode(file[at.clone()].into()) {
                Ok(entry) => entry,
                Err(bad) => return Checked::NoEntry(bad),
            };
            let name = EntryAt {
                author: entry.content.author,
                seq: entry.content.seq,
            };
            match sign::verify_simulated(stage.world.signatures(), entry) {
                Ok(verified) => Checked::Good(verified),
                Err(_) => Checked::Signature(name),
            }
        })
        .collect();
    verifier.add(&scan.records, checked);
    verifier.finish(&file, &scan)
}

/// Which files are not as the others, and where.
fn compare(stage: &Stage<'_>) -> String {
    let mut words = Vec::new();
    for device in 0..stage.world.devices.len() {
        if stage.world.journal(device).is_empty() {
            continue;
        }
        let read = Reread {
            device,
            report: verify(stage, device),
            differ: None,
        };
        if !read.report.is_whole() {
            words.push(format!(
                "{} {}",
                stage.world.devices[device].id.tag(),
                read.chain(stage)
            ));
        }
    }
    words.join(" ")
}

/// Every yes and no of blind second looks that counted for its role, in order.
fn looks(job: &Job, order: &[EntryIx]) -> Vec<&'static str> {
    let graph = job.graph();
    let blind = |step: &_, check: &_| {
        let planned = job.plan().step(step).and_then(|step| step.check(check));
        planned.is_some_and(|check| matches!(check.who, Who::SecondLook { .. }))
    };
    order
        .iter()
        .filter_map(|&ix| match graph.body(ix) {
            Body::Acknowledge(Acknowledge {
                step, check, said, ..
            }) if blind(step, check) => {
                let role = match job.verdict(ix) {
                    Verdict::NotCounted(reasons) => !reasons
                        .iter()
                        .any(|reason| super::words::of(reason).contains(&"wrong_role")),
                    _ => true,
                };
                role.then_some(if *said == Said::Yes { "yes" } else { "read" })
            }
            Body::Cannot(cannot) if blind(&cannot.step, &cannot.check) => Some("no"),
            _ => None,
        })
        .collect()
}
