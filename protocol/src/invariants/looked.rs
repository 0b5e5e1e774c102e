//! Looked: the invariants of one log, looked at again as it grows.
//! Owns: what was found good so far.   Gives: `Looked`, whose cost is that of the new entries, not of the log.
//! May use: gate, log.   Never: another answer than the whole checks beside it; at the ends of a run both are asked.

use super::{Broken, holds_role, releases};
use crate::gate::Job;
use crate::ids::{DeviceKey, StepId};
use crate::log::entry::{Body, NoteKind};
use crate::log::graph::EntryIx;
use std::collections::BTreeSet;

/// What one device's log was found to be, up to some entry.
#[derive(Clone, Debug, Default)]
pub struct Looked {
    entries: usize,
    admitted: BTreeSet<DeviceKey>,
    stops: Vec<EntryIx>,
    /// Stops not known to be released.
    unreleased: BTreeSet<EntryIx>,
    releases: Vec<EntryIx>,
    counted: BTreeSet<EntryIx>,
    done: BTreeSet<StepId>,
}

impl Looked {
    /// A log that nobody has looked at.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Whether the log has grown since it was looked at.
    #[must_use]
    pub fn is_behind(&self, job: &Job) -> bool {
        self.entries != job.graph().len()
    }

    /// Acknowledgements that count, as last looked at.
    #[must_use]
    pub fn counted(&self) -> &BTreeSet<EntryIx> {
        &self.counted
    }

    /// Looks at what is new. `honest`: nobody on the job forges evidence; only then is what was complete and
    /// followed sure to stay so (I3, second part).
    ///
    /// # Errors
    /// The first [`Broken`] of I1, I3, I7 and I8.
    pub fn look(&mut self, job: &Job, honest: bool) -> Result<(), Broken> {
        let graph = job.graph();
        let new: Vec<EntryIx> = graph.iter().skip(self.entries).collect();
        self.entries = graph.len();
        let mut gentle = honest;
        let mut new_stops = Vec::new();
        for &ix in &new {
            let body = graph.body(ix);
            gentle &= reopens_nothing(body);
            match body {
                Body::Found(_) => {
                    self.admitted.insert(graph.author(ix));
                }
                Body::Admit(admit) => {
                    self.admitted.insert(admit.device);
                }
                Body::Release(_) => self.releases.push(ix),
                _ => {}
            }
            if !self.admitted.contains(&graph.author(ix)) {
                let entry = graph.hash(ix);
                return Err(Broken::Stranger { entry });
            }
            if body.is_stop() {
                new_stops.push(ix);
            }
        }
        self.unreleased.extend(&new_stops);
        self.stops.extend(&new_stops);
        self.look_at_order(job, gentle)?;
        self.look_at_counts(job, &new_stops)?;
        self.look_at_stops(job)
    }

    /// I1 and the second part of I3.
    fn look_at_order(&mut self, job: &Job, gentle: bool) -> Result<(), Broken> {
        let done = job.complete();
        let plan = job.plan();
        for step in plan.steps.iter().filter(|step| done.contains(&step.id)) {
            if let Some(before) = step.after.iter().find(|before| !done.contains(before)) {
                return Err(Broken::OpenTooEarly {
                    step: step.id.clone(),
                    state: crate::state::StepState::Done,
                    before: before.clone(),
                });
            }
        }
        if *done == self.done {
            return Ok(());
        }
        let before = core::mem::replace(&mut self.done, done.clone());
        let followed = |id: &StepId| {
            plan.steps
                .iter()
                .any(|step| step.after.contains(id) && before.contains(&step.id))
        };
        match before.difference(done).find(|id| gentle && followed(id)) {
            Some(step) => Err(Broken::Reopened { step: step.clone() }),
            None => Ok(()),
        }
    }

    /// I3, first part: of what counts now all that is new, and of what counted before whatever a new stop
    /// could cross.
    fn look_at_counts(&mut self, job: &Job, new_stops: &[EntryIx]) -> Result<(), Broken> {
        let counted: BTreeSet<EntryIx> = job
            .plan()
            .steps
            .iter()
            .flat_map(|step| step.checks.iter().map(move |check| (step, check)))
            .flat_map(|(step, check)| job.given(&step.id, &check.id))
            .filter(|&ix| matches!(job.graph().body(ix), Body::Acknowledge(_)))
            .collect();
        let before = core::mem::replace(&mut self.counted, counted);
        for &ix in &self.counted {
            let is_new = !before.contains(&ix);
            if is_new {
                holds_role(job, ix)?;
            }
            let stops = if is_new { &self.stops[..] } else { new_stops };
            super::crossed_by(job, ix, stops)?;
        }
        Ok(())
    }

    /// I8.
    fn look_at_stops(&mut self, job: &Job) -> Result<(), Broken> {
        if self.unreleased.is_empty() {
            return Ok(());
        }
        let in_force: BTreeSet<EntryIx> = job.in_force().into_iter().collect();
        let settled: Vec<EntryIx> = self.unreleased.difference(&in_force).copied().collect();
        for stop in settled {
            if !self.releases.iter().any(|&ix| releases(job, ix, stop)) {
                return Err(Broken::StopIgnored {
                    entry: job.graph().hash(stop),
                });
            }
        }
        // A release is judged by its own past only: what it ended stays ended, but is looked at each time all
        // the same, as long as anything is in force.
        if in_force.is_empty() {
            self.unreleased.clear();
        }
        Ok(())
    }
}

/// Whether an entry can reopen nothing that was complete and followed (I3): a stop that nobody had heard, an
/// admission, a return, and words that confirm and take back nothing.
fn reopens_nothing(body: &Body) -> bool {
    match body {
        Body::Stop(_)
        | Body::Admit(_)
        | Body::Accept
        | Body::Briefed(_)
        | Body::Heard(_)
        | Body::Ask(_)
        | Body::Agree(_)
        | Body::Decline(_)
        | Body::Release(_)
        | Body::MakeSafe(_)
        | Body::HeadCount(_)
        | Body::Identity(_)
        | Body::Correction(_)
        | Body::Affirm(_)
        | Body::ClockSample(_) => true,
        Body::Note(note) => !matches!(note.kind, NoteKind::Late { .. }),
        _ => false,
    }
}
