//! Facts: what is to be seen on one device of a small world, and whether it may be so.
//! Owns: nothing.   Gives: `Facts` of a device; the acts that its holder may want.
//! May use: protocol's invariants, the status as a person sees it.   Never: other devices (search).

use super::device::{Device, Said};
use super::setup::{Crew, LEAD, TOWER};
use gantline_protocol::engine::Command;
use gantline_protocol::gate::{Job, Verdict};
use gantline_protocol::ids::{EntryHash, RoleId};
use gantline_protocol::invariants;
use gantline_protocol::log::entry::{self, Body, StopKind};
use gantline_protocol::log::graph::EntryIx;
use gantline_protocol::reason::Reason;
use gantline_protocol::state::{AskedOf, CallWord, JobState, StepState, digest};

/// What one device shows, in the terms of the exploration.
#[derive(Clone, Debug)]
pub(super) struct Facts {
    /// What its beacons say.
    pub(super) said: Said,
    /// Names its set of entries.
    pub(super) set: EntryHash,
    /// Everything that its log decides.
    pub(super) judged: EntryHash,
    /// Whom it takes for the supervisor.
    pub(super) supervisor: usize,
    /// The stop is known here, in the log or before.
    pub(super) knows_stop: bool,
    /// The stop was released, as far as this log goes.
    pub(super) released: bool,
    pub(super) closed: bool,
    /// Bits of [`Seen`].
    pub(super) seen: u32,
    pub(super) flushing: bool,
    /// Entries that wait for their past.
    pub(super) waiting: usize,
    /// What is against it.
    pub(super) broken: Vec<String>,
}

/// Things that are to be seen on one device at some time.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[repr(u32)]
pub(super) enum Seen {
    StepDone,
    AllDone,
    Closed,
    Reopened,
    Crossed,
    ConfirmedAgain,
    Released,
    Relieved,
    ReliefWithStop,
    ReleasedByNewLead,
    AskVoid,
    StopBeforeDisk,
    StopWork,
    NotRecovered,
}

fn bit(seen: Seen, so: bool) -> u32 {
    u32::from(so) << (seen as u32)
}

impl Facts {
    /// Whether something is seen here.
    pub(super) fn of(crew: &Crew, device: &Device, said: Said) -> Self {
        let engine = &device.engine;
        let job = engine.job();
        let graph = job.graph();
        let now = device.now();
        let status = engine.status(now);
        let mut broken = Vec::new();
        if let Err(bad) = invariants::check(job, &status) {
            broken.push(bad.to_string());
        }
        if let Some(fork) = graph.forks().first() {
            let device = fork.author;
            broken.push(invariants::Broken::Forked { device }.to_string());
        }
        let supervisor = job
            .roster()
            .supervisor
            .and_then(|id| crew.number(&id))
            .unwrap_or(LEAD);
        let is = |fits: &dyn Fn(&Body) -> bool| graph.iter().find(|&ix| fits(graph.body(ix)));
        let stop = is(&Body::is_stop);
        let release = graph.iter().find(|&ix| {
            matches!(graph.body(ix), Body::Release(_)) && job.verdict(ix) == Verdict::Counts
        });
        let take = is(&|body| matches!(body, Body::Take(_)));
        let closing = is(&|body| matches!(body, Body::Close(_)));
        let closed = status.job_state == JobState::Closed;
        let done = |state: &StepState| *state == StepState::Done;
        let steps: Vec<bool> = status.steps.iter().map(|step| done(&step.state)).collect();
        let against = against_acks(job);
        let shown = !status.stops.is_empty();
        let seen = bit(Seen::StepDone, steps.contains(&true))
            | bit(Seen::AllDone, steps.iter().all(|done| *done))
            | bit(Seen::Closed, closed)
            | bit(
                Seen::Reopened,
                closing.is_some() && !closed && stop.is_some(),
            )
            | bit(
                Seen::Crossed,
                against
                    .iter()
                    .any(|(_, reason)| matches!(reason, Reason::CrossedStop { .. })),
            )
            | bit(Seen::ConfirmedAgain, confirmed_again(job, &against))
            | bit(Seen::Released, release.is_some())
            | bit(Seen::Relieved, supervisor != LEAD)
            | bit(Seen::ReliefWithStop, take.is_some() && shown)
            | bit(
                Seen::ReleasedByNewLead,
                release.is_some_and(|ix| crew.number(&graph.author(ix)) == Some(TOWER)),
            )
            | bit(Seen::AskVoid, ask_of_former_lead(crew, job, supervisor))
            | bit(Seen::StopBeforeDisk, device.is_flushing())
            | bit(Seen::StopWork, status.call.word == CallWord::StopWork)
            | bit(Seen::NotRecovered, !engine.is_recovered());
        Self {
            said,
            set: digest(graph),
            judged: invariants::judged(job),
            supervisor,
            knows_stop: stop.is_some() || shown,
            released: release.is_some(),
            closed,
            seen,
            flushing: device.is_flushing(),
            waiting: engine.waiting().count(),
            broken,
        }
    }

    pub(super) fn sees(&self, seen: Seen) -> bool {
        self.seen & bit(seen, true) != 0
    }
}

/// What speaks against each confirmation.
fn against_acks(job: &Job) -> Vec<(EntryIx, Reason)> {
    let graph = job.graph();
    graph
        .iter()
        .filter(|&ix| matches!(graph.body(ix), Body::Acknowledge(_)))
        .flat_map(|ix| {
            let reasons = match job.verdict(ix) {
                Verdict::NotCounted(reasons) => reasons,
                Verdict::Counts | Verdict::Information(_) => Vec::new(),
            };
            reasons.into_iter().map(move |reason| (ix, reason))
        })
        .collect()
}

/// A confirmation that a stop annulled was given again, and counts.
fn confirmed_again(job: &Job, against: &[(EntryIx, Reason)]) -> bool {
    let graph = job.graph();
    let key = |ix| match graph.body(ix) {
        Body::Acknowledge(ack) => Some((ack.step.clone(), ack.check.clone())),
        _ => None,
    };
    against.iter().any(|&(old, _)| {
        graph.iter().any(|ix| {
            key(ix).is_some() && key(ix) == key(old) && job.verdict(ix) == Verdict::Counts
        })
    })
}

fn ask_of_former_lead(crew: &Crew, job: &Job, supervisor: usize) -> bool {
    let graph = job.graph();
    graph.iter().any(|ix| {
        matches!(graph.body(ix), Body::Ask(_)) && crew.number(&graph.author(ix)) != Some(supervisor)
    })
}

/// What the holder of a device may press now, by what their own screen asks of them. Whether it is then
/// recorded shows when it is pressed.
pub(super) fn asked(device: &Device) -> Vec<Command> {
    let status = device.engine.status(device.now());
    let mut acts: Vec<Command> = status
        .asked
        .iter()
        .filter_map(|asked| match asked.clone() {
            AskedOf::Heard { stop } => Some(Command::Heard { stop: Some(stop) }),
            AskedOf::Ask { .. } => Some(Command::Ask {
                stops: Vec::new(),
                cause: "looked at, nothing found".to_owned(),
                open_item: None,
                closes_item: None,
            }),
            AskedOf::Agree { to } => Some(Command::Agree { to: Some(to) }),
            AskedOf::TakeRole { role, .. } => Some(Command::TakeRole { role }),
            AskedOf::Check {
                step, check, since, ..
            } => Some(Command::Acknowledge {
                step,
                check,
                said: entry::Said::Yes,
                change: since.then(|| "put right".to_owned()),
                held_ms: None,
            }),
            _ => None,
        })
        .collect();
    let all_done = status
        .steps
        .iter()
        .all(|step| step.state == StepState::Done);
    let supervises = status.roles.iter().any(RoleId::is_supervisor);
    if all_done && supervises && status.job_state != JobState::Closed {
        acts.push(Command::Close);
    }
    acts
}

/// The stop, which anybody may press at any time.
pub(super) fn stop() -> Command {
    Command::Stop {
        kind: StopKind::Work,
        why: "pole slips".to_owned(),
        item: None,
    }
}

/// The relief: the office is offered to Tower.
pub(super) fn offer(crew: &Crew) -> Option<Command> {
    Some(Command::OfferRole {
        role: RoleId::try_from(RoleId::SUPERVISOR).ok()?,
        to: crew.members[TOWER].id,
    })
}
