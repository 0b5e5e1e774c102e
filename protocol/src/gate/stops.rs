//! Stops: which are in force, and what a release needs (RELEASE, HEARD, EXIT, REPEAT; definition S3).
//! Owns: nothing.   Gives: `Core::open_stops`, `Core::release_owes`, exit plans.
//! May use: world, views, records, facts.   Never: what a stop does to an acknowledgement (rules).
//!
//! A release is judged by its own past only, so it cannot come undone by who joins or leaves later.

use super::views::View;
use super::world::{Core, Said};
use crate::facts::Asked;
use crate::ids::{ConditionId, DeviceKey, EntryHash, StepId};
use crate::log::entry::{Body, Evidence, Release, StopKind};
use crate::log::graph::{Cut, EntryIx};
use crate::reason::{Owed, Reason};

/// Devices of the plan's `agree_by` roles that are present, other than the one who asks.
pub(super) fn agreeing(view: &View, asker: DeviceKey) -> impl Iterator<Item = DeviceKey> + '_ {
    view.present
        .iter()
        .map(|present| present.key)
        .filter(move |device| {
            *device != asker
                && view
                    .plan
                    .plan
                    .agree_by
                    .iter()
                    .any(|role| view.roster.holds(device, role))
        })
}

/// What an ask, or an exit plan, is about.
pub(super) struct Asking<'a> {
    pub(super) ix: EntryIx,
    pub(super) stops: &'a [EntryHash],
    pub(super) cause: &'a str,
    /// For an exit plan: conditions that it does without, and the steps that it opens.
    pub(super) exit: Option<(&'a [ConditionId], &'a [StepId])>,
}

impl Core {
    /// An ask or exit plan.
    pub(super) fn asking(&self, ix: EntryIx) -> Option<Asking<'_>> {
        match self.graph.body(ix) {
            Body::Ask(ask) => Some(Asking {
                ix,
                stops: &ask.stops,
                cause: &ask.cause,
                exit: None,
            }),
            Body::ExitPlan(plan) => Some(Asking {
                ix,
                stops: &plan.stops,
                cause: &plan.why,
                exit: Some((&plan.without, &plan.steps)),
            }),
            _ => None,
        }
    }

    /// Stops in a cut without a release in it, in order of arrival.
    pub(super) fn open_stops(&self, cut: &Cut) -> Vec<EntryIx> {
        self.records
            .stops
            .iter()
            .filter(|stop| {
                self.graph.within(stop.ix, cut)
                    && !stop
                        .releases
                        .iter()
                        .any(|&release| self.graph.within(release, cut))
            })
            .map(|stop| stop.ix)
            .collect()
    }

    /// The first stop in a cut without a release in it.
    pub(super) fn an_open_stop(&self, cut: &Cut) -> Option<EntryIx> {
        self.records
            .stops
            .iter()
            .find(|stop| {
                self.graph.within(stop.ix, cut)
                    && !stop
                        .releases
                        .iter()
                        .any(|&release| self.graph.within(release, cut))
            })
            .map(|stop| stop.ix)
    }

    /// The stops that an asking names, of those it had seen.
    pub(super) fn named(&self, asking: &Asking<'_>) -> Vec<EntryIx> {
        let mut named: Vec<EntryIx> = asking
            .stops
            .iter()
            .filter_map(|hash| self.graph.find(hash))
            .filter(|&ix| self.records.stop_of(ix).is_some() && self.graph.before(ix, asking.ix))
            .collect();
        named.sort_unstable();
        named.dedup();
        named
    }

    fn answered_by(&self, list: Option<&Vec<EntryIx>>, cut: &Cut, device: DeviceKey) -> bool {
        list.is_some_and(|list| {
            list.iter()
                .any(|&ix| self.graph.author(ix) == device && self.graph.within(ix, cut))
        })
    }

    /// Whether a device has answered `heard`; its author's own stop is its answer.
    pub(super) fn has_heard(&self, stop: EntryIx, device: DeviceKey, cut: &Cut) -> bool {
        self.graph.author(stop) == device || self.answered_by(self.heards.get(&stop), cut, device)
    }

    /// The newest ask of the supervisor in office that names a stop, in a cut. Two asks of one author are in
    /// order, by their numbers.
    pub(super) fn newest_ask(&self, stop: EntryIx, cut: &Cut, view: &View) -> Option<EntryIx> {
        let supervisor = view.roster.supervisor?;
        self.asks_naming
            .get(&self.graph.hash(stop))?
            .iter()
            .copied()
            .filter(|&ask| self.graph.author(ask) == supervisor && self.graph.within(ask, cut))
            .max_by_key(|&ask| (self.graph.seq(ask), self.graph.hash(ask)))
    }

    /// What is still owed before an asking can be sealed, conditions left out; empty: nothing.
    pub(super) fn asking_owes(&self, asking: &Asking<'_>, cut: &Cut, view: &View) -> Vec<Owed> {
        let graph = &self.graph;
        let ask = graph.hash(asking.ix);
        let mut owed = Vec::new();
        let named = self.named(asking);
        for &stop in &named {
            let repeats = asking.exit.is_none() && self.repeats(stop, cut) > 0;
            for present in &view.present {
                let device = present.key;
                if !self.has_heard(stop, device, cut) {
                    owed.push(Owed::Heard {
                        stop: graph.hash(stop),
                        device,
                    });
                }
                if repeats && !self.briefed_since(stop, device, cut) {
                    owed.push(Owed::Briefing { device });
                }
            }
            // The ask names the cause: for a stranger's stop and for somebody gone it is the only account.
            if asking.cause.trim().is_empty() {
                owed.push(Owed::Ask {
                    stop: graph.hash(stop),
                });
            }
            if asking.exit.is_none() && self.newest_ask(stop, cut, view) != Some(asking.ix) {
                owed.push(Owed::Ask {
                    stop: graph.hash(stop),
                });
            }
        }
        if let Some(declines) = self.declines.get(&asking.ix) {
            for &no in declines {
                let device = graph.author(no);
                if graph.within(no, cut) && self.views.past(no).roster.present(&device) {
                    owed.push(Owed::Declined { ask, device });
                }
            }
        }
        owed.extend(self.agreement_owed(asking, &named, cut, view));
        owed.sort_unstable();
        owed.dedup();
        owed
    }

    /// Who still has to agree.
    pub(super) fn agreement_owed(
        &self,
        asking: &Asking<'_>,
        named: &[EntryIx],
        cut: &Cut,
        view: &View,
    ) -> Vec<Owed> {
        let ask = self.graph.hash(asking.ix);
        let supervisor = self.graph.author(asking.ix);
        let mut owed = Vec::new();
        let mut must: Vec<DeviceKey> = agreeing(view, supervisor).collect();
        for &stop in named {
            must.extend(self.who_stopped(stop, view));
        }
        must.sort_unstable();
        must.dedup();
        let agreed = |device: DeviceKey| self.answered_by(self.agrees.get(&asking.ix), cut, device);
        for &device in must.iter().filter(|device| **device != supervisor) {
            if !agreed(device) {
                owed.push(Owed::Agree { ask, device });
            }
        }
        let others: Vec<DeviceKey> = view
            .present
            .iter()
            .map(|present| present.key)
            .filter(|device| *device != supervisor)
            .collect();
        if !others.iter().any(|&device| agreed(device)) && owed.is_empty() {
            // At least one device other than the supervisor's. With nobody else there is nobody to ask.
            match others.first() {
                Some(&device) => owed.push(Owed::Agree { ask, device }),
                None => owed.push(Owed::Agree {
                    ask,
                    device: supervisor,
                }),
            }
        }
        owed
    }

    /// Whose agreement the resume needs because of this stop: the person who stopped, on a present device of
    /// theirs; of a suspension: who may resume. Nobody for a stranger's stop and for a person who is gone: the
    /// supervisor's account in the ask stands in.
    fn who_stopped(&self, stop: EntryIx, view: &View) -> Option<DeviceKey> {
        let graph = &self.graph;
        let author = graph.author(stop);
        let person = match graph.body(stop) {
            Body::Stop(stop) if matches!(stop.kind, StopKind::Stranger { .. }) => return None,
            Body::Suspend(suspend) => &suspend.resume_by,
            _ => {
                if view.roster.present(&author) {
                    return Some(author);
                }
                view.roster.person(&author)?
            }
        };
        view.present
            .iter()
            .find(|present| present.person == *person)
            .map(|present| present.key)
    }

    /// REPEAT: how many earlier stops in the cut, released since, had the same cause.
    pub(super) fn repeats(&self, stop: EntryIx, cut: &Cut) -> u32 {
        let mut released = self
            .records
            .stops
            .iter()
            .filter(|other| {
                !other.releases.is_empty()
                    && other.ix != stop
                    && self.graph.within(other.ix, cut)
                    && self.graph.before(other.ix, stop)
                    && other
                        .releases
                        .iter()
                        .any(|&release| self.graph.before(release, stop))
            })
            .peekable();
        // Mostly nothing was released before: then no words need to be compared.
        let cause = released.peek().and_then(|_| self.cause(stop));
        let Some(cause) = cause else {
            return 0;
        };
        released
            .filter(|other| self.cause(other.ix).as_ref() == Some(&cause))
            .count() as u32
    }

    /// What two stops share when they are for the same cause: kind and words, or the confirmation withdrawn.
    /// Stops without words have no cause to compare.
    fn cause(&self, stop: EntryIx) -> Option<(u8, String)> {
        let words = |kind: u8, text: &str| {
            let text = text.trim().to_lowercase();
            (!text.is_empty()).then_some((kind, text))
        };
        match self.graph.body(stop) {
            Body::Stop(stop) => match &stop.kind {
                StopKind::Work => words(0, &stop.why),
                StopKind::AllStop => words(1, &stop.why),
                StopKind::Emergency => words(2, &stop.why),
                StopKind::OrderLost => Some((3, String::new())),
                StopKind::Stranger { words: said, .. } => words(4, said),
            },
            Body::Withdraw(withdraw) => {
                let taken = self.graph.find(&withdraw.entry)?;
                match self.graph.body(taken) {
                    Body::Acknowledge(ack) => Some((5, format!("{}/{}", ack.step, ack.check))),
                    _ => None,
                }
            }
            _ => None,
        }
    }

    fn briefed_since(&self, stop: EntryIx, device: DeviceKey, cut: &Cut) -> bool {
        self.graph.chains_of(device).any(|chain| {
            let count = cut.get(chain.0 as usize).copied().unwrap_or(0);
            (0..count)
                .rev()
                .map_while(|seq| self.graph.at(chain, seq))
                .take_while(|&ix| self.graph.before(stop, ix))
                .any(|ix| matches!(self.graph.body(ix), Body::Briefed(_)))
        })
    }

    /// REPEAT: whether a stop in force in a cut asks this device for a new briefing, however often it had one before.
    pub(super) fn rebriefs(&self, device: DeviceKey, cut: &Cut) -> bool {
        self.open_stops(cut)
            .into_iter()
            .any(|stop| self.repeats(stop, cut) > 0 && !self.briefed_since(stop, device, cut))
    }

    /// RELEASE: why a release, or the seal of an exit plan, in this past does not hold; empty: it does.
    pub(super) fn release_against(
        &self,
        author: DeviceKey,
        release: &Release,
        cut: &Cut,
        view: &View,
    ) -> Vec<Reason> {
        if view.roster.supervisor != Some(author) {
            let needs = crate::ids::RoleId::try_from(crate::ids::RoleId::SUPERVISOR)
                .into_iter()
                .collect();
            return vec![Reason::WrongRole { needs }];
        }
        let asking = self
            .graph
            .find(&release.ask)
            .filter(|&ix| self.graph.within(ix, cut) && self.graph.author(ix) == author)
            .and_then(|ix| self.asking(ix));
        let Some(asking) = asking else {
            return vec![Reason::Incomplete {
                missing: vec![Owed::Ask { stop: release.ask }],
            }];
        };
        let mut reasons = Vec::new();
        if self.named(&asking).is_empty() {
            reasons.push(Reason::Incomplete {
                missing: vec![Owed::Ask { stop: release.ask }],
            });
        }
        let owed = self.asking_owes(&asking, cut, view);
        if !owed.is_empty() {
            reasons.push(Reason::Incomplete { missing: owed });
        }
        reasons.extend(self.release_conditions(&asking, author, &release.evidence, cut, view));
        reasons
    }

    /// No standing condition out of bounds in the evidence; the observer in place was affirmed after the ask.
    pub(super) fn release_conditions(
        &self,
        asking: &Asking<'_>,
        author: DeviceKey,
        evidence: &Evidence,
        cut: &Cut,
        view: &View,
    ) -> Vec<Reason> {
        let waived = asking.exit.map_or(&[][..], |(without, _)| without);
        let steps = self.steps_in_question(asking, cut, view);
        let asked = Asked {
            author: Some(author),
            past: cut,
            roster: &view.roster,
            plan: &view.plan.plan,
            steps: &steps,
            waived,
            release_of: Some(asking.ix),
        };
        self.facts.conditions(&self.graph, &asked, evidence)
    }

    /// The steps whose conditions a release asks for: for an exit plan those that it opens; else all.
    pub(super) fn steps_in_question(
        &self,
        asking: &Asking<'_>,
        _cut: &Cut,
        _view: &View,
    ) -> Vec<StepId> {
        asking
            .exit
            .map(|(_, steps)| steps.to_vec())
            .unwrap_or_default()
    }

    /// Exit plans sealed in a cut that cover all of these stops.
    pub(super) fn exits_for<'a>(
        &'a self,
        cut: &'a Cut,
        stops: &'a [EntryIx],
    ) -> impl Iterator<Item = Asking<'a>> + 'a {
        self.exits
            .iter()
            .filter(|(_, seals)| seals.iter().any(|&seal| self.graph.within(seal, cut)))
            .filter_map(|(&ix, _)| self.asking(ix))
            .filter(move |asking| {
                let named = self.named(asking);
                stops.iter().all(|stop| named.contains(stop))
            })
    }

    fn step_id<'a>(said: &'a Said<'_>) -> Option<&'a StepId> {
        said.plan().plan_step(said.step).map(|step| &step.id)
    }

    /// EXIT: whether an agreed exit plan opens the step under these stops.
    pub(super) fn exit_opens(&self, said: &Said<'_>, stops: &[EntryIx]) -> bool {
        let Some(step) = Self::step_id(said) else {
            return false;
        };
        !self.exits.is_empty()
            && self
                .exits_for(said.past, stops)
                .any(|asking| asking.exit.is_some_and(|(_, steps)| steps.contains(step)))
    }

    /// EXIT: the conditions that the exit plan in effect does without, for its steps.
    pub(super) fn exit_waives(&self, said: &Said<'_>) -> Vec<ConditionId> {
        if self.exits.is_empty() {
            return Vec::new();
        }
        let stops = self.open_stops(said.past);
        let Some(step) = Self::step_id(said) else {
            return Vec::new();
        };
        if stops.is_empty() {
            return Vec::new();
        }
        self.exits_for(said.past, &stops)
            .filter_map(|asking| asking.exit)
            .filter(|(_, steps)| steps.contains(step))
            .flat_map(|(without, _)| without.iter().cloned())
            .collect()
    }
}
