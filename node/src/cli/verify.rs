//! Verify: is a log whole and unchanged?
//! Owns: nothing.   Gives: `gantline verify`; `report_of`, a file's report.
//! May use: protocol's verify, device's threads.   Never: a judgement of its own.

use super::{Answer, Exit, Problem, Settings, read_bytes};
use crate::words::short;
use clap::Args;
use gantline_protocol::ids::DeviceKey;
use gantline_protocol::log::photo::Photo;
use gantline_protocol::photos::Named;
use gantline_protocol::verify::{Fault, Report, verify_file};
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Verify log files: is each whole and unchanged?
///
/// Every signature is checked, every entry linked to all it had seen, every author's admission found. Exit
/// code 0: each file is whole and unchanged. 1: one is not; the first bad entry is named with its author and
/// number. An end that was cut off between two entries, with all that had seen them, is shown by another
/// device's log, or by a log without its close.
///
/// The photos that a log's notes name are listed; their bytes are not in the log. With --photos each is looked for in a
/// folder (a device's are in `jobs/JOB/photos`) and held against its name: exit code 1 also when one is not there or
/// is not what was named.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Exported logs, or journals of devices
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Where the photos are, each a file named by its hash
    #[arg(long, value_name = "FOLDER")]
    photos: Option<PathBuf>,
}

#[derive(Debug, Serialize)]
struct Shown {
    file: PathBuf,
    ok: bool,
    job: Option<String>,
    title: Option<String>,
    entries: usize,
    authors: BTreeMap<String, usize>,
    closed: bool,
    /// The first thing that is wrong.
    bad: Option<Bad>,
    /// How many things are wrong.
    faults: usize,
    /// Entries that are good by themselves and had seen something that is not.
    depend: usize,
    /// Photos that its notes name.
    photos: Vec<ShownPhoto>,
}

#[derive(Debug, Serialize)]
struct ShownPhoto {
    #[serde(flatten)]
    photo: Photo,
    author: String,
    /// Whether its bytes are what was named; `None`: not looked for.
    found: Option<Found>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
enum Found {
    Good,
    Missing,
    Changed,
}

/// What a log names, and what is in the folder of it.
fn photos(report: &Report, folder: Option<&Path>) -> Result<Vec<ShownPhoto>, Problem> {
    let Some(job) = &report.job else {
        return Ok(Vec::new());
    };
    let named = Named::of(job.graph());
    let all = named.all().iter().map(|named| {
        let found = folder
            .map(|folder| found(folder, &named.photo))
            .transpose()?;
        Ok(ShownPhoto {
            photo: named.photo,
            author: named.by.to_string(),
            found,
        })
    });
    all.collect()
}

fn found(folder: &Path, photo: &Photo) -> Result<Found, Problem> {
    let path = folder.join(photo.hash.to_string());
    if !path.exists() {
        return Ok(Found::Missing);
    }
    let good = Photo::of(&read_bytes(&path)?).as_ref() == Ok(photo);
    Ok(if good { Found::Good } else { Found::Changed })
}

#[derive(Debug, Serialize)]
struct Bad {
    author: Option<String>,
    seq: Option<u32>,
    offset: usize,
    what: String,
}

impl From<&Fault> for Bad {
    fn from(fault: &Fault) -> Self {
        Self {
            author: fault.entry.map(|entry| entry.author.to_string()),
            seq: fault.entry.map(|entry| entry.seq),
            offset: fault.offset,
            what: fault.kind.to_string(),
        }
    }
}

pub(super) fn run(settings: &Settings, arguments: &Arguments) -> Result<Exit, Problem> {
    let mut all = Vec::new();
    let mut exit = Exit::Good;
    // Read all first: a name that was mistyped is said before anything is answered.
    let mut files = Vec::new();
    for path in &arguments.files {
        files.push((path, read_bytes(path)?));
    }
    let mut answer = Answer::new();
    for (path, bytes) in files {
        let report = verify_file(&bytes);
        let ok = report.is_whole();
        let photos = photos(&report, arguments.photos.as_deref())?;
        let is_lost = |photo: &ShownPhoto| photo.found.is_some_and(|found| found != Found::Good);
        if !ok || photos.iter().any(is_lost) {
            exit = Exit::No;
        }
        if settings.json {
            all.push(Shown {
                file: path.clone(),
                ok,
                job: report.job.as_ref().map(|job| job.id().to_string()),
                title: report.job.as_ref().map(|job| job.plan().title.clone()),
                entries: report.entries(),
                authors: report
                    .authors
                    .iter()
                    .map(|(author, count)| (author.to_string(), *count))
                    .collect(),
                closed: report.has_close,
                bad: report.first_fault().map(Bad::from),
                faults: report.faults.len(),
                depend: report.depend.len(),
                photos,
            });
        } else {
            for line in lines(&report) {
                answer.line(format_args!("{}: {line}", path.display()))?;
            }
            for photo in &photos {
                let found = match photo.found {
                    None => "",
                    Some(Found::Good) => ": there, and what was named",
                    Some(Found::Missing) => ": NOT there",
                    Some(Found::Changed) => ": there, but NOT what was named",
                };
                answer.line(format_args!(
                    "{}: names the photo {}, {} bytes{found}.",
                    path.display(),
                    photo.photo.hash,
                    photo.photo.bytes
                ))?;
            }
        }
    }
    if settings.json {
        answer.json(&all)?;
    }
    Ok(exit)
}

fn lines(report: &Report) -> Vec<String> {
    let who = |author: &DeviceKey| {
        let person = report
            .job
            .as_ref()
            .and_then(|job| job.roster().person(author));
        match person {
            Some(person) => format!("{person}'s device {}", short(&author.0)),
            None => format!("device {author}"),
        }
    };
    let Some(first) = report.first_fault() else {
        let closed = if report.has_close {
            "closed"
        } else {
            "without a close: whether its end was cut off shows another device's log"
        };
        return vec![format!(
            "whole and unchanged; {} entries by {} devices; {closed}.",
            report.entries(),
            report.authors.len()
        )];
    };
    let entry = match &first.entry {
        Some(entry) => format!("entry {} of {}", entry.seq, who(&entry.author)),
        None => "something".to_owned(),
    };
    let mut lines = vec![format!(
        "NOT whole. First: {entry}, at byte {}: {}.",
        first.offset, first.kind
    )];
    if report.faults.len() > 1 || !report.depend.is_empty() {
        lines.push(format!(
            "{} places in all; {} good entries had seen what is bad or missing; {} entries are whole and linked.",
            report.faults.len(),
            report.depend.len(),
            report.entries()
        ));
    }
    lines
}
