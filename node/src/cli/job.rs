//! Job: how does a device come to a job?
//! Owns: nothing.   Gives: `gantline job found`, `admit`, `list`; `join` has a file of its own.
//! May use: device's ways onto a job, control's client.   Never: admits anybody whose words were not given.

use super::{Answer, Exit, Problem, Settings, join, plan::Named};
use crate::control::client::Client;
use crate::control::{Admission, RefusedJoin};
use crate::device::{Home, JoinRequest, found_job};
use crate::words::{ENGLISH, Words};
use clap::{Args, Subcommand};
use gantline_protocol::engine::Outcome;
use gantline_protocol::ids::{DeviceKey, JobId, MarkId, MarkState, Person, RoleId};
use gantline_protocol::log::entry::{Body, Continues, Found};
use gantline_protocol::log::journal;
use gantline_protocol::log::wire::Entry;
use gantline_protocol::plan::MarkIs;
use serde::Serialize;
use std::sync::Arc;

/// Found a job, join one, admit a device, list this device's jobs
#[derive(Debug, Subcommand)]
pub(super) enum Arguments {
    /// Found a job from a plan; this device's holder is its first supervisor
    Found(FoundArguments),
    Join(join::Arguments),
    /// Show who asks to join at this device; admit one whose words agree. Supervisor
    Admit(AdmitArguments),
    /// List this device's jobs
    List,
}

#[derive(Debug, Args)]
pub(super) struct FoundArguments {
    /// Name of a plan that ships, or a plan file
    #[arg(long, value_name = "NAME_OR_FILE")]
    plan: String,
    /// Your call sign
    #[arg(long)]
    person: Person,
    /// Your roles; the supervisor's must be one
    #[arg(long = "role", value_name = "ROLE", default_value = "supervisor")]
    roles: Vec<RoleId>,
    /// The job that this one goes on with
    #[arg(long, value_name = "JOB")]
    continues: Option<JobId>,
    /// A mark that was secured there; everything else is confirmed again
    #[arg(long, value_name = "MARK=STATE", requires = "continues", value_parser = mark_is)]
    secured: Vec<MarkIs>,
}

#[derive(Debug, Args)]
pub(super) struct AdmitArguments {
    /// The device; without it, shows who asks and their words
    device: Option<DeviceKey>,
    /// The six words as read out from the other screen
    #[arg(long, requires = "device")]
    words: Option<String>,
    /// A role of the holder; repeat for more
    #[arg(long = "role", value_name = "ROLE", requires = "device")]
    roles: Vec<RoleId>,
    /// The same person's device that this one replaces
    #[arg(long, value_name = "KEY", requires = "device")]
    replaces: Option<DeviceKey>,
    /// Say no to it instead, and why
    #[arg(long, value_name = "WHY", requires = "device", conflicts_with_all = ["words", "roles"])]
    refuse: Option<String>,
}

fn mark_is(text: &str) -> Result<MarkIs, String> {
    let expected = || format!("found `{text}`, expected MARK=STATE");
    let (mark, state) = text.split_once('=').ok_or_else(expected)?;
    Ok(MarkIs {
        mark: MarkId::try_from(mark).map_err(|bad| bad.to_string())?,
        state: MarkState::try_from(state).map_err(|bad| bad.to_string())?,
    })
}

pub(super) fn run(settings: &Settings, arguments: Arguments) -> Result<Exit, Problem> {
    let home = Home::at(&settings.folder()?);
    match arguments {
        Arguments::Found(arguments) => found(settings, &home, arguments),
        Arguments::Join(arguments) => join::run(settings, &home, arguments),
        Arguments::Admit(arguments) => admit(settings, &home, arguments),
        Arguments::List => list(settings, &home),
    }
}

#[derive(Debug, Serialize)]
struct JobShown {
    job: String,
    title: String,
    supervisor: String,
    records: usize,
}

fn found(settings: &Settings, home: &Home, arguments: FoundArguments) -> Result<Exit, Problem> {
    let plan = Named::find(&arguments.plan)?.plan()?;
    let title = plan.title.clone();
    let mut nonce = [0; 16];
    getrandom::fill(&mut nonce).map_err(Problem::Random)?;
    let what = Found {
        plan,
        person: arguments.person.clone(),
        roles: arguments.roles,
        continues: arguments.continues.map(|job| Continues {
            job,
            secured: arguments.secured,
        }),
        nonce,
    };
    let job = found_job(home, what)?;
    let mut answer = Answer::new();
    if settings.json {
        answer.json(&JobShown {
            job: job.to_string(),
            title,
            supervisor: arguments.person.to_string(),
            records: 1,
        })?;
    } else {
        answer.line(format_args!("Job {job}"))?;
        answer.line(format_args!("{title}; supervisor {}.", arguments.person))?;
        answer
            .line("Run it with `gantline node`; the others join at the address that it prints.")?;
    }
    Ok(Exit::Good)
}

fn admit(settings: &Settings, home: &Home, arguments: AdmitArguments) -> Result<Exit, Problem> {
    let client = Client::open(home)?;
    let joins = client.joins()?;
    let mut answer = Answer::new();
    let Some(device) = arguments.device else {
        return show_joins(settings, &mut answer, &joins);
    };
    let join = joins
        .iter()
        .find(|join| join.device == device)
        .ok_or(Problem::NotAsked { device })?;
    if let Some(why) = arguments.refuse {
        client.refuse_join(&RefusedJoin { device, why })?;
        if settings.json {
            answer.json(&serde_json::json!({ "refused": device }))?;
        } else {
            answer.line(format_args!("{} was told no.", join.person))?;
        }
        return Ok(Exit::Good);
    }
    let read_out = arguments.words.ok_or(Problem::NoWords { device })?;
    let same = |a: &str, b: &str| a.split_whitespace().eq(b.split_whitespace());
    if !same(&read_out.to_lowercase(), &join.words) {
        return Err(Problem::WordsDiffer {
            person: join.person.clone(),
        });
    }
    let outcome = client.admit(&Admission {
        device,
        person: join.person.clone(),
        roles: arguments.roles,
        replaces: arguments.replaces,
    })?;
    if settings.json {
        answer.json(&outcome)?;
    } else {
        let words = client.status().map_or_else(
            |_| Words::new(&ENGLISH),
            |status| Words::of_status(&ENGLISH, &status),
        );
        for sentence in words.outcome(&outcome) {
            answer.line(sentence)?;
        }
    }
    Ok(match outcome {
        Outcome::Recorded { reasons, .. } if reasons.is_empty() => Exit::Good,
        Outcome::AlreadySo => Exit::Good,
        Outcome::Recorded { .. } | Outcome::Refused { .. } => Exit::No,
    })
}

fn show_joins(
    settings: &Settings,
    answer: &mut Answer,
    joins: &[JoinRequest],
) -> Result<Exit, Problem> {
    if settings.json {
        answer.json(&joins)?;
    } else if joins.is_empty() {
        answer.line("Nobody asks to join.")?;
    } else {
        for join in joins {
            answer.line(format_args!(
                "{} at {}: {}",
                join.person, join.address, join.device
            ))?;
            answer.line(format_args!("  words: {}", join.words))?;
        }
    }
    Ok(Exit::Good)
}

fn list(settings: &Settings, home: &Home) -> Result<Exit, Problem> {
    let mut all = Vec::new();
    for job in home.jobs()? {
        let mut shown = JobShown {
            job: job.to_string(),
            title: "its log cannot be read".to_owned(),
            supervisor: String::new(),
            records: 0,
        };
        if let Ok(bytes) = super::read_bytes(&home.journal_path(&job)) {
            let scan = journal::scan(&bytes);
            shown.records = scan.records.len();
            let first = scan
                .records
                .first()
                .and_then(|range| bytes.get(range.clone()));
            let entry = first.and_then(|bytes| Entry::decode(Arc::from(bytes)).ok());
            if let Some(Body::Found(found)) = entry.map(|entry| entry.content.body) {
                shown.title = found.plan.title;
                shown.supervisor = found.person.to_string();
            }
        }
        all.push(shown);
    }
    let mut answer = Answer::new();
    if settings.json {
        answer.json(&all)?;
    } else if all.is_empty() {
        answer.line("This device has no job yet.")?;
    } else {
        for job in all {
            answer.line(format_args!("{}: {}", job.job, job.title))?;
            answer.line(format_args!(
                "  founded by {}, {} entries here",
                job.supervisor, job.records
            ))?;
        }
    }
    Ok(Exit::Good)
}
