//! Replay: what was said, in which order, and did it count?
//! Owns: nothing.   Gives: `gantline replay`.
//! May use: protocol's verify, replay and gate; words.   Never: a verdict of its own.

use super::{Answer, Exit, Problem, Settings, read_bytes};
use crate::words::{ENGLISH, Words};
use clap::Args;
use gantline_protocol::gate::Job;
use gantline_protocol::log::entry::{Body, Note, NoteKind};
use gantline_protocol::log::photo::Photo;
use gantline_protocol::reason::Reason;
use gantline_protocol::replay::{self, Worth, kind, replay};
use gantline_protocol::time::WallClock;
use gantline_protocol::verify::verify_file;
use serde::Serialize;
use std::path::PathBuf;

/// Replay a log: every entry in order, who said it, and whether it counts
///
/// Each entry comes after all it had seen. Times are those of each device's own clock. Entries that do not
/// count stand with their reason, those that came to another device long after they were made with a word of it;
/// nothing is ever left out. A log that is not whole is shown as far as it
/// is, with exit code 1.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// An exported log, or a device's journal
    file: PathBuf,
}

#[derive(Debug, Serialize)]
struct Replayed {
    ok: bool,
    job: Option<String>,
    title: Option<String>,
    entries: Vec<Line>,
}

#[derive(Debug, Serialize)]
struct Line {
    entry: String,
    author: String,
    person: Option<String>,
    seq: u32,
    wall_ms: i64,
    kind: &'static str,
    says: String,
    /// The photo that it names.
    #[serde(skip_serializing_if = "Option::is_none")]
    photo: Option<Photo>,
    /// counts, not_counted or information.
    verdict: &'static str,
    reasons: Vec<Reason>,
    late_by_sync: bool,
}

pub(super) fn run(settings: &Settings, arguments: &Arguments) -> Result<Exit, Problem> {
    let report = verify_file(&read_bytes(&arguments.file)?);
    let ok = report.is_whole();
    let mut answer = Answer::new();
    let mut words = Words::new(&ENGLISH);
    let mut entries = Vec::new();
    if let Some(job) = &report.job {
        words.add_plan(job.plan());
        for (device, member) in &job.roster().members {
            words.person(*device, member.person.clone());
        }
        let lines = replay(job).lines.into_iter();
        entries.extend(lines.filter_map(|line| shown(job, &words, line)));
    }
    if settings.json {
        answer.json(&Replayed {
            ok,
            job: report.job.as_ref().map(|job| job.id().to_string()),
            title: report.job.as_ref().map(|job| job.plan().title.clone()),
            entries,
        })?;
    } else {
        for line in &entries {
            answer.line(format_args!(
                "{} {:>3} {}: {}",
                time_of_day(WallClock(line.wall_ms)),
                line.seq,
                line.person.as_deref().unwrap_or("unknown"),
                line.says
            ))?;
            if let Some(photo) = &line.photo {
                answer.line(format_args!("             the photo {}", photo.hash))?;
            }
            if line.late_by_sync {
                answer.line(
                    "             late: another device wrote long after it without having seen it",
                )?;
            }
            if line.verdict == "not_counted" {
                for reason in &line.reasons {
                    answer.line(format_args!(
                        "             does not count: {}",
                        words.reason(reason)
                    ))?;
                }
            }
        }
        if let Some(fault) = report.first_fault() {
            answer.line(format_args!(
                "This log is not whole: {}. See `gantline verify`.",
                fault.kind
            ))?;
        }
    }
    Ok(if ok { Exit::Good } else { Exit::No })
}

/// A line of the protocol's replay with the words for it; every line is of an entry of the job.
fn shown(job: &Job, words: &Words, line: replay::Line) -> Option<Line> {
    let graph = job.graph();
    let body = graph.body(graph.find(&line.entry)?);
    Some(Line {
        entry: line.entry.to_string(),
        author: line.device.to_string(),
        person: line.person.map(|person| person.to_string()),
        seq: line.seq,
        wall_ms: line.wall.0,
        kind: kind(body),
        says: words.entry(body),
        photo: match body {
            Body::Note(Note {
                kind: NoteKind::Photo(photo),
                ..
            }) => Some(*photo),
            _ => None,
        },
        verdict: match line.worth {
            Worth::Counts => "counts",
            Worth::DoesNotCount => "not_counted",
            Worth::Information => "information",
        },
        reasons: line.reasons,
        late_by_sync: line.late_by_sync,
    })
}

/// Hours, minutes and seconds of a wall clock, UTC: times of one day are told apart by them, and a log that
/// is read elsewhere reads the same.
fn time_of_day(wall: WallClock) -> String {
    let seconds = wall.0.div_euclid(1000).rem_euclid(24 * 60 * 60);
    format!(
        "{:02}:{:02}:{:02}Z",
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60
    )
}
