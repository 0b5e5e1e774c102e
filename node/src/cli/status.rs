//! Status: what does this device show its holder?
//! Owns: the text form of a status.   Gives: `gantline status`.
//! May use: words, control's client.   Never: decides what is shown (protocol's state does).

use super::{Answer, Exit, Problem, Settings};
use crate::control::client::Client;
use crate::device::Home;
use crate::words::{ENGLISH, Words, span};
use clap::Args;
use gantline_protocol::state::{CallWord, Status, StepState};

/// Show where the job stands on this device: the call and why, what is asked of you, who is here
///
/// Proceed never means safe: it says only that the log has what the open step needs. Voice and hand signals
/// stop first.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Go on showing it at every change, until stopped
    #[arg(long)]
    follow: bool,
}

pub(super) fn run(settings: &Settings, arguments: &Arguments) -> Result<Exit, Problem> {
    let client = Client::open(&Home::at(&settings.folder()?))?;
    let mut answer = Answer::new();
    if arguments.follow {
        for status in client.follow()? {
            show(settings, &mut answer, &status?)?;
        }
    } else {
        show(settings, &mut answer, &client.status()?)?;
    }
    Ok(Exit::Good)
}

fn show(settings: &Settings, answer: &mut Answer, status: &Status) -> Result<(), Problem> {
    if settings.json {
        return answer.json(status);
    }
    for line in lines(status) {
        answer.line(line)?;
    }
    Ok(())
}

/// A status as lines for people, the call first.
fn lines(status: &Status) -> Vec<String> {
    let words = Words::of_status(&ENGLISH, status);
    let mut lines = vec![words.call(status.call.word).to_owned()];
    for reason in &status.call.reasons {
        lines.push(format!("  {}", words.reason(reason)));
    }
    if status.call.word != CallWord::Proceed && !status.call.if_held.is_empty() {
        lines.push(format!("  Keep: {}", status.call.if_held));
    }
    if let Some(step) = &status.call.step {
        lines.push(format!("At {}.", words.step_titled(step)));
    }
    let done = status
        .steps
        .iter()
        .filter(|step| step.state == StepState::Done)
        .count();
    lines.push(format!(
        "{}: {done} of {} steps done, {}.",
        status.title,
        status.steps.len(),
        words.job_state(status.job_state)
    ));
    for asked in &status.asked {
        lines.push(format!("Asked of you: {}", words.asked(asked)));
    }
    for alarm in &status.alarms {
        lines.push(format!("Sounding: {}", words.alarm(*alarm)));
    }
    for stop in &status.stops {
        let by = stop
            .by
            .as_ref()
            .map_or("an unknown device".to_owned(), ToString::to_string);
        let why = if stop.why.is_empty() {
            String::new()
        } else {
            format!(" {}", stop.why)
        };
        lines.push(format!("Stopped by {by}.{why}"));
        let names = |people: &[gantline_protocol::ids::Person]| {
            people
                .iter()
                .map(ToString::to_string)
                .collect::<Vec<_>>()
                .join(", ")
        };
        lines.push(format!("  Heard: {}.", or_nobody(names(&stop.heard))));
        if !stop.not_heard.is_empty() {
            lines.push(format!("  Not heard yet: {}.", names(&stop.not_heard)));
        }
        for owed in &stop.owed {
            lines.push(format!("  To release it: {}.", words.owed(owed)));
        }
    }
    for member in status.crew.iter().filter(|member| member.present) {
        let roles: Vec<&str> = member.roles.iter().map(|role| role.as_str()).collect();
        let state = if member.device == status.device {
            "this device".to_owned()
        } else {
            match member.age_ms {
                Some(age_ms) => format!("heard {} ago", span(age_ms)),
                None => "not heard yet".to_owned(),
            }
        };
        let briefed = if member.briefed { "" } else { ", not briefed" };
        lines.push(format!(
            "{} ({}): {state}{briefed}.",
            member.person,
            roles.join(", ")
        ));
    }
    for condition in &status.conditions {
        if condition.good {
            let value = condition
                .value
                .as_ref()
                .map(|value| format!(", {value}"))
                .unwrap_or_default();
            let age = condition
                .age_ms
                .map(|age_ms| format!(", {} ago", span(age_ms)))
                .unwrap_or_default();
            lines.push(format!("{}: good{value}{age}.", condition.title));
        } else {
            for reason in &condition.reasons {
                lines.push(format!("{}: {}", condition.title, words.reason(reason)));
            }
        }
    }
    for item in status.items.iter().filter(|item| !item.unfit.is_empty()) {
        for why in &item.unfit {
            lines.push(words.unfit(&item.id, *why).to_string());
        }
    }
    for open in &status.open_items {
        lines.push(format!("Left open: {open}"));
    }
    lines.push(format!(
        "{} entries here, {} of them not known to be everywhere.",
        status.entries, status.unsynced
    ));
    lines
}

fn or_nobody(names: String) -> String {
    if names.is_empty() {
        "nobody yet".to_owned()
    } else {
        names
    }
}
