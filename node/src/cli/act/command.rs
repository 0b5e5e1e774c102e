//! Command: what do the arguments of an act mean?
//! Owns: nothing.   Gives: `command`.
//! May use: arguments, protocol's commands, the node's status for call signs.   Never: decides whether an act is
//! good (the node answers).

use super::arguments::{
    Act, Device, Inspected, KindOfStop, Note, NoteName, OrderStateName, OrderStatus, SaidArguments,
    Scan, YesNo,
};
use crate::cli::{Problem, read_bytes, read_text};
use crate::control::client::Client;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{DeviceKey, Person};
use gantline_protocol::log::entry::{Change, Finding, NoteKind, OrderState, Said, StopKind};
use gantline_protocol::log::photo::Photo;
use gantline_protocol::state::Status;
use std::path::{Path, PathBuf};

/// Arguments to the command that they mean.
pub(super) fn command(act: Act, names: &Names<'_>) -> Result<Command, Problem> {
    Ok(match act {
        Act::Acknowledge(arguments) => Command::Acknowledge {
            step: arguments.check.step,
            check: arguments.check.check,
            said: said(arguments.said),
            change: arguments.change,
            held_ms: arguments.held_ms,
        },
        Act::Cannot { check, why } => Command::Cannot {
            step: check.step,
            check: check.check,
            why,
        },
        Act::Withdraw { check, why } => Command::Withdraw {
            step: check.step,
            check: check.check,
            why,
        },
        Act::Stop { kind, why, item } => Command::Stop {
            kind: match kind {
                KindOfStop::Work => StopKind::Work,
                KindOfStop::AllStop => StopKind::AllStop,
                KindOfStop::Emergency => StopKind::Emergency,
                KindOfStop::OrderLost => StopKind::OrderLost,
            },
            why,
            item,
        },
        Act::Heard { stop } => Command::Heard { stop },
        Act::Ask {
            cause,
            stops,
            open_item,
            closes_item,
        } => Command::Ask {
            stops,
            cause,
            open_item,
            closes_item,
        },
        Act::Agree { to } => Command::Agree { to },
        Act::Decline { to, why } => Command::Decline { to, why },
        Act::Reading {
            condition,
            value,
            unit,
        } => Command::Reading {
            condition,
            value,
            unit: unit.unwrap_or_default(),
        },
        Act::Affirm { condition } => Command::Affirm { condition },
        Act::Away { condition } => Command::Away { condition },
        Act::Offer {
            handoff,
            item,
            to,
            receiver,
        } => Command::Offer {
            handoff,
            item,
            to: to.into(),
            receiver: receiver.map(|receiver| names.key(receiver)).transpose()?,
        },
        Act::Ready { handoff, not } => Command::Ready {
            handoff,
            ready: !not,
        },
        Act::Take { handoff } => Command::Take { handoff },
        Act::Done { handoff } => Command::Done { handoff },
        Act::OfferRole { role, to } => Command::OfferRole {
            role,
            to: names.key(to)?,
        },
        Act::TakeRole { role } => Command::TakeRole { role },
        Act::ReliefWanted { role } => Command::ReliefWanted { role },
        Act::StepBack { step, why } => Command::StepBack { step, why },
        Act::Amend {
            why,
            changes,
            covers,
        } => Command::Amend {
            why,
            changes: read_changes(changes)?,
            covers,
        },
        Act::Briefed => Command::Briefed,
        Act::Admit {
            device,
            person,
            roles,
            replaces,
        } => Command::Admit {
            device,
            person,
            roles,
            replaces: replaces.map(|replaces| names.key(replaces)).transpose()?,
        },
        Act::Accept => Command::Accept,
        Act::Leave => Command::Leave,
        Act::Remove {
            device,
            spoken_to,
            called_stop,
        } => Command::Remove {
            device: names.key(device)?,
            spoken_to: spoken_to.map(|answer| answer == YesNo::Yes),
            called_stop,
        },
        Act::Consent { proposal } => Command::Consent { proposal },
        Act::Exception {
            check,
            what,
            why,
            seen_by,
        } => Command::Exception {
            step: check.step,
            check: check.check,
            what,
            why,
            seen_by,
        },
        Act::Correction { entry, text } => Command::Correction { entry, text },
        Act::ExitPlan {
            steps,
            why,
            without,
            stops,
        } => Command::ExitPlan {
            stops,
            steps,
            without,
            why,
        },
        Act::MakeSafe { text, step } => Command::MakeSafe { step, text },
        Act::HeadCount { clear, assumed } => Command::HeadCount { clear, assumed },
        Act::Identity {
            structure,
            circuit,
            phase,
            method,
        } => Command::Identity {
            structure,
            circuit,
            phase,
            method,
        },
        Act::Scan(arguments) => Command::Scan {
            item: arguments.item.clone(),
            found: finding(arguments)?,
        },
        Act::Moved { item, to } => Command::Moved {
            item,
            to: to.into(),
        },
        Act::OrderStatus(arguments) => order_status(arguments),
        Act::Note(arguments) => note(arguments, names)?,
        Act::Suspend {
            state,
            resume_by,
            tools_out,
            tools_back,
        } => Command::Suspend {
            state,
            resume_by,
            tools_out,
            tools_back,
        },
        Act::ResumeDay => Command::ResumeDay,
        Act::Close => Command::Close,
        Act::Void { entry } => Command::Void { entry },
    })
}

fn said(arguments: SaidArguments) -> Said {
    let SaidArguments {
        value,
        unit,
        words,
        structure,
        circuit,
        phase,
        out,
        back,
    } = arguments;
    match (value, words, structure, out) {
        (Some(value), _, _, _) => Said::Value {
            value,
            unit: unit.unwrap_or_default(),
        },
        (_, Some(words), _, _) => Said::Words(words),
        (_, _, Some(structure), _) => Said::Identity {
            structure,
            circuit: circuit.unwrap_or_default(),
            phase: phase.unwrap_or_default(),
        },
        (_, _, _, Some(out)) => Said::Tally {
            out,
            back: back.unwrap_or_default(),
        },
        (None, None, None, None) => Said::Yes,
    }
}

fn finding(arguments: Scan) -> Result<Finding, Problem> {
    if let Some(why) = arguments.out_of_service {
        Ok(Finding::OutOfService { why })
    } else if let Some(inspected) = arguments.inspected {
        Ok(Finding::Inspected {
            good: inspected == Inspected::Good,
        })
    } else if arguments.test_age_months.is_some() || arguments.no_test_record {
        Ok(Finding::Plate {
            test_age_months: arguments.test_age_months,
            wiped_today: arguments.wiped_today,
            rated_kv: arguments.rated_kv,
        })
    } else {
        Err(Problem::ScanOfNothing {
            item: arguments.item,
        })
    }
}

fn order_status(arguments: OrderStatus) -> Command {
    Command::OrderStatus {
        order: arguments.order,
        state: match arguments.state {
            OrderStateName::InEffect => OrderState::InEffect,
            OrderStateName::Lapsed => OrderState::Lapsed,
            OrderStateName::Released => OrderState::Released,
            OrderStateName::ReleasedByOthers => OrderState::ReleasedByOthers {
                by: arguments.by.unwrap_or_default(),
            },
        },
        terminals: arguments.terminals,
        read_back: arguments.read_back,
        covers: arguments.covers,
        line_state: arguments.line_state,
    }
}

fn note(arguments: Note, names: &Names) -> Result<Command, Problem> {
    let lacks = |flag: &'static str| Problem::NoteLacks { flag };
    let kind = match arguments.kind {
        NoteName::Plain => match &arguments.photo {
            Some(path) => NoteKind::Photo(photo(path, names.client)?),
            None => NoteKind::Plain,
        },
        _ if arguments.photo.is_some() => return Err(Problem::PhotoOfNoNote),
        NoteName::Late => NoteKind::Late {
            step: arguments.step.ok_or_else(|| lacks("--step"))?,
            check: arguments.check.ok_or_else(|| lacks("--check"))?,
            mark: arguments.mark,
        },
        NoteName::Reviewed => NoteKind::Reviewed,
        NoteName::StopReason => NoteKind::StopReason,
        NoteName::ClosesItem => NoteKind::ClosesItem {
            item: arguments.item.ok_or_else(|| lacks("--item"))?,
        },
        NoteName::StillSo => NoteKind::StillSo,
        NoteName::Mute => NoteKind::Mute {
            key: arguments.key.ok_or_else(|| lacks("--key"))?,
        },
    };
    Ok(Command::Note {
        text: arguments.text,
        about: arguments.about,
        kind,
    })
}

/// A picture as the node will name it; looked at here first, so that what is wrong with the file is said of the file.
fn photo(path: &Path, client: &Client) -> Result<Photo, Problem> {
    let content = read_bytes(path)?;
    Photo::of(&content).map_err(|source| Problem::Photo {
        path: path.to_owned(),
        source,
    })?;
    Ok(client.keep_photo(&content)?)
}

fn read_changes(path: PathBuf) -> Result<Vec<Change>, Problem> {
    let text = read_text(&path)?;
    serde_json::from_str(&text).map_err(|source| Problem::Changes { path, source })
}

/// Where a call sign stands for a device, the node's status says which.
pub(super) struct Names<'a> {
    pub(super) client: &'a Client,
}

impl Names<'_> {
    fn key(&self, device: Device) -> Result<DeviceKey, Problem> {
        match device {
            Device::Key(key) => Ok(key),
            Device::Person(person) => key_of(&self.client.status()?, &person),
        }
    }
}

/// The device of a call sign: the present one, else the newest that the status lists.
fn key_of(status: &Status, person: &Person) -> Result<DeviceKey, Problem> {
    let mut theirs = status.crew.iter().filter(|member| &member.person == person);
    theirs
        .clone()
        .find(|member| member.present)
        .or_else(|| theirs.next_back())
        .map(|member| member.device)
        .ok_or_else(|| Problem::NoSuchPerson {
            person: person.clone(),
            crew: status
                .crew
                .iter()
                .map(|member| member.person.clone())
                .collect(),
        })
}
