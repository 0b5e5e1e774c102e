//! Replay: what was said, in which order, and did it count?
//! Owns: nothing.   Gives: `gantline replay`.
//! May use: protocol's verify, replay and gate; words.   Never: a verdict of its own.

use super::{Answer, Exit, Problem, Settings, read_bytes};
use crate::words::{ENGLISH, Words};
use clap::Args;
use gantline_protocol::gate::{Job, Verdict};
use gantline_protocol::log::graph::EntryIx;
use gantline_protocol::reason::Reason;
use gantline_protocol::replay::{kind, readable_order};
use gantline_protocol::time::WallClock;
use gantline_protocol::verify::verify_file;
use serde::Serialize;
use std::path::PathBuf;

/// Replay a log: every entry in order, who said it, and whether it counts
///
/// Each entry comes after all it had seen. Times are those of each device's own clock. Entries that do not
/// count stand with their reason; nothing is ever left out. A log that is not whole is shown as far as it
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
    /// counts, not_counted or information.
    verdict: &'static str,
    reasons: Vec<Reason>,
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
        for ix in readable_order(job.graph()) {
            entries.push(line(job, &words, ix));
        }
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

fn line(job: &Job, words: &Words, ix: EntryIx) -> Line {
    let content = job.graph().content(ix);
    let (verdict, reasons) = match job.verdict(ix) {
        Verdict::Counts => ("counts", Vec::new()),
        Verdict::NotCounted(reasons) => ("not_counted", reasons),
        Verdict::Information(reasons) => ("information", reasons),
    };
    Line {
        entry: job.graph().hash(ix).to_string(),
        author: content.author.to_string(),
        person: job
            .roster()
            .person(&content.author)
            .map(ToString::to_string),
        seq: content.seq,
        wall_ms: content.wall.0,
        kind: kind(&content.body),
        says: words.entry(&content.body),
        verdict,
        reasons,
    }
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
