//! Verdict: what an entry is worth, and why not more.
//! Owns: nothing.   Gives: `Verdict`, `Job::verdict`, `Job::judge` for an entry not yet written.
//! May use: rules, stops, office, facts.   Never: another rule than the counting uses.

use super::job::Job;
use super::office::{self, Act};
use super::records::Kind;
use super::views::View;
use super::world::{Out, Said};
use crate::ids::{DeviceKey, EntryHash, RoleId};
use crate::log::entry::{Body, Propose};
use crate::log::graph::{Cut, EntryIx};
use crate::reason::Reason;

/// What an entry is worth.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub enum Verdict {
    /// It counts: an acknowledgement towards its check, another entry with its effect.
    Counts,
    /// It is in the log and has no effect, for these reasons.
    NotCounted(Vec<Reason>),
    /// Of a kind that nobody judges: it is there to be read. The reasons, if any, are what it tells.
    Information(Vec<Reason>),
}

impl Job {
    /// What an entry is worth among all entries here. Meaningful after [`Job::settle`].
    #[must_use]
    pub fn verdict(&self, ix: EntryIx) -> Verdict {
        let graph = &self.core.graph;
        let body = graph.body(ix);
        if let Some(said) = self.core.entry_said(ix) {
            return verdict(self.all_reasons(&said));
        }
        match body {
            Body::Found(_) => Verdict::Counts,
            Body::Acknowledge(_) | Body::Exception(_) => verdict(self.no_such_check(body)),
            Body::Release(release) => {
                let view = self.core.views.past(ix);
                verdict(
                    self.core
                        .release_against(graph.author(ix), release, graph.past(ix), view),
                )
            }
            body if body.is_stop() => Verdict::Counts,
            Body::Briefed(briefed)
                if briefed.version == self.core.views.past(ix).version()
                    && self.core.rebriefs(graph.author(ix), graph.past(ix)) =>
            {
                Verdict::Counts
            }
            Body::Admit(_)
            | Body::Leave
            | Body::Amend(_)
            | Body::StepBack(_)
            | Body::ResumeDay(_)
            | Body::Seal(_)
            | Body::Briefed(_) => self.office_verdict(ix),
            Body::Offer(_) | Body::Take(_) => {
                let handoff = self.core.facts.handoff_reasons(ix);
                if !handoff.is_empty() {
                    return Verdict::NotCounted(handoff.to_vec());
                }
                self.office_verdict(ix)
            }
            Body::Ready(_) | Body::Done(_) => verdict(self.core.facts.handoff_reasons(ix).to_vec()),
            Body::Cannot(cannot) => {
                let view = self.core.views.past(ix);
                match self
                    .core
                    .asked(view, graph.author(ix), &cannot.step, &cannot.check)
                {
                    Some((_, _, roles)) if roles != 0 => Verdict::Counts,
                    Some(_) => Verdict::NotCounted(vec![Reason::WrongRole {
                        needs: self.roles_of(&cannot.step, &cannot.check),
                    }]),
                    None => verdict(self.no_such_check(body)),
                }
            }
            Body::Affirm(_) | Body::OrderStatus(_) | Body::Correction(_) | Body::Scan(_) => {
                self.word_verdict(ix)
            }
            Body::Unknown { .. } => Verdict::NotCounted(vec![Reason::NeedsVersion {
                device: graph.author(ix),
            }]),
            _ => Verdict::Information(Vec::new()),
        }
    }

    /// A word on a condition, the order, another entry or an item: information, unless it has not the effect
    /// that it is meant to have.
    fn word_verdict(&self, ix: EntryIx) -> Verdict {
        let core = &self.core;
        let (graph, view) = (&core.graph, core.views.past(ix));
        let author = graph.author(ix);
        let reasons = if view.roster.present(&author) {
            self.word_against(author, graph.body(ix), view, graph.past(ix), Some(ix))
        } else {
            vec![Reason::NotEnrolled { device: author }]
        };
        if reasons.is_empty() {
            Verdict::Information(reasons)
        } else {
            Verdict::NotCounted(reasons)
        }
    }

    /// Why such a word has no effect. `written`: the entry, once it is one.
    fn word_against(
        &self,
        author: DeviceKey,
        body: &Body,
        view: &View,
        past: &Cut,
        written: Option<EntryIx>,
    ) -> Vec<Reason> {
        let (graph, facts) = (&self.core.graph, &self.core.facts);
        let (roster, plan) = (&view.roster, &view.plan.plan);
        match (body, written) {
            (Body::Affirm(named), _) => {
                crate::facts::affirm_against(roster, plan, &author, &named.condition)
            }
            (Body::Correction(correction), _) => {
                let of = graph
                    .find(&correction.entry)
                    .filter(|&entry| graph.within(entry, past))
                    .map(|entry| graph.author(entry));
                let same_person = |of: DeviceKey| {
                    let person = roster.person(&of);
                    person.is_some() && person == roster.person(&author)
                };
                // Only the author corrects an entry, on whatever device they are now.
                if of.is_some_and(|of| of == author || same_person(of)) {
                    Vec::new()
                } else {
                    vec![Reason::NotYours]
                }
            }
            // These are recorded even so: that the order is not known to be in effect, or a tool not fit, is
            // what others must know.
            (Body::OrderStatus(status), Some(_)) => {
                crate::facts::order_against(roster, plan, &author, status)
            }
            (Body::Scan(_), Some(ix)) => facts.look_against(graph, ix, plan),
            _ => Vec::new(),
        }
    }

    fn office_verdict(&self, ix: EntryIx) -> Verdict {
        let core = &self.core;
        let graph = &core.graph;
        let Some(rare) = core.views.rare.get(ix) else {
            return verdict(self.office_reasons(
                graph.author(ix),
                graph.seq(ix),
                Some(ix),
                graph.body(ix),
            ));
        };
        let now = core.views.now();
        let of_supervisor = rare.of_supervisor();
        let stands = if of_supervisor {
            now.standing.contains(&ix)
        } else {
            now.unforked(graph.author(ix), graph.seq(ix))
        };
        if stands {
            Verdict::Counts
        } else if now.unforked(graph.author(ix), graph.seq(ix)) {
            // Who is still on the job has lost no more than the office.
            Verdict::NotCounted(if now.roster.present(&graph.author(ix)) {
                office::wrong_role(RoleId::SUPERVISOR)
            } else {
                vec![Reason::Removed {
                    device: graph.author(ix),
                }]
            })
        } else {
            Verdict::NotCounted(vec![Reason::Fork {
                device: graph.author(ix),
            }])
        }
    }

    /// Why an administrative entry has no effect by its own past.
    fn office_reasons(
        &self,
        author: DeviceKey,
        seq: u32,
        ix: Option<EntryIx>,
        body: &Body,
    ) -> Vec<Reason> {
        let core = &self.core;
        let (view, past) = match ix {
            Some(ix) => (core.views.past(ix), core.graph.past(ix)),
            None => (core.views.now(), core.graph.all()),
        };
        let act = Act {
            graph: &core.graph,
            rare: &core.views.rare,
            view,
            past,
            author,
            seq,
            body,
        };
        office::reasons(&act)
    }

    fn all_reasons(&self, said: &Said<'_>) -> Vec<Reason> {
        let mut out = Out::all();
        self.core.in_own_past(said, &mut out);
        self.core.value(said, &mut out);
        self.core.reread(said, &mut out);
        self.now().in_this_set(said, &mut out);
        let mut reasons = out.reasons;
        // A lost role says the same as never having had it, only without naming which.
        let known_role = reasons
            .iter()
            .any(|reason| matches!(reason, Reason::WrongRole { needs } if !needs.is_empty()));
        reasons.retain(|reason| {
            !(known_role && matches!(reason, Reason::WrongRole { needs } if needs.is_empty()))
        });
        reasons.sort();
        reasons.dedup();
        reasons
    }

    fn no_such_check(&self, body: &Body) -> Vec<Reason> {
        match body {
            Body::Acknowledge(ack) => vec![Reason::NoSuchCheck {
                step: ack.step.clone(),
                check: ack.check.clone(),
            }],
            Body::Exception(exception) => vec![Reason::NoSuchCheck {
                step: exception.step.clone(),
                check: exception.check.clone(),
            }],
            Body::Cannot(cannot) => vec![Reason::NoSuchCheck {
                step: cannot.step.clone(),
                check: cannot.check.clone(),
            }],
            _ => Vec::new(),
        }
    }

    pub(super) fn roles_of(
        &self,
        step: &crate::ids::StepId,
        check: &crate::ids::CheckId,
    ) -> Vec<RoleId> {
        let plan = self.plan();
        plan.step(step)
            .and_then(|step| step.check(check))
            .map(|check| {
                plan.roles
                    .iter()
                    .map(|role| role.id.clone())
                    .filter(|role| check.who.may(role))
                    .collect()
            })
            .unwrap_or_default()
    }

    /// Why an entry would have no effect if this device wrote it now, with everything here in its past; empty:
    /// it would have, or others must know of it though it has none. A courtesy for the press; the law is
    /// [`Job::verdict`] once it is written. A stop, and the word of whoever was ever admitted that something was
    /// made safe, are never refused.
    #[must_use]
    pub fn judge(&self, author: DeviceKey, body: &Body) -> Vec<Reason> {
        // MAKE-SAFE opens nothing and is recorded whoever of the crew did it, one removed since as well.
        let was_admitted =
            self.admissions.contains_key(&author) || author == self.core.graph.author(EntryIx(0));
        if body.is_stop() || (matches!(body, Body::MakeSafe(_)) && was_admitted) {
            return Vec::new();
        }
        let core = &self.core;
        let view = core.views.now();
        if !view.roster.present(&author) {
            return vec![Reason::NotEnrolled { device: author }];
        }
        let seq = core
            .graph
            .chains_of(author)
            .filter_map(|chain| core.graph.all().get(chain.0 as usize).copied())
            .max()
            .unwrap_or(0);
        if let Some(said) = core.said_by(author, seq, None, core.graph.all(), view, body) {
            let mut reasons = self.all_reasons(&said);
            if self.is_closed() && said.kind != Kind::Close {
                reasons.push(Reason::Closed);
            }
            return reasons;
        }
        match body {
            Body::Acknowledge(_) | Body::Exception(_) => self.no_such_check(body),
            Body::Cannot(cannot) => match core.asked(view, author, &cannot.step, &cannot.check) {
                Some((_, _, roles)) if roles != 0 => Vec::new(),
                Some(_) => vec![Reason::WrongRole {
                    needs: self.roles_of(&cannot.step, &cannot.check),
                }],
                None => self.no_such_check(body),
            },
            Body::Release(release) => core.release_against(author, release, core.graph.all(), view),
            Body::Ask(_) | Body::ExitPlan(_) | Body::Void(_) => {
                if view.roster.supervisor == Some(author) {
                    Vec::new()
                } else {
                    let needs = RoleId::try_from(RoleId::SUPERVISOR).into_iter().collect();
                    vec![Reason::WrongRole { needs }]
                }
            }
            Body::Briefed(briefed)
                if briefed.version == view.version() && core.rebriefs(author, core.graph.all()) =>
            {
                Vec::new()
            }
            Body::Heard(heard) => self.heard_against(author, &heard.stop),
            Body::Affirm(_) | Body::OrderStatus(_) | Body::Correction(_) | Body::Scan(_) => {
                self.word_against(author, body, view, core.graph.all(), None)
            }
            Body::Consent(consent) => self.consent_against(author, &consent.proposal),
            Body::Propose(propose) => self.propose_against(author, propose),
            _ => {
                let open = || {
                    core.an_open_stop(core.graph.all())
                        .map(|stop| core.graph.hash(stop))
                };
                let handoff = core.facts.handoff(
                    &core.graph,
                    core.graph.all(),
                    author,
                    body,
                    &view.roster,
                    &view.plan.plan,
                    &open,
                );
                match handoff {
                    Some(reasons) => reasons,
                    None => self.office_reasons(author, seq, None, body),
                }
            }
        }
    }

    fn heard_against(&self, author: DeviceKey, stop: &EntryHash) -> Vec<Reason> {
        let core = &self.core;
        match core.graph.find(stop) {
            Some(ix)
                if core.records.stop_of(ix).is_some()
                    && core.has_heard(ix, author, core.graph.all()) =>
            {
                vec![Reason::Duplicate]
            }
            _ => Vec::new(),
        }
    }

    fn propose_against(&self, author: DeviceKey, propose: &Propose) -> Vec<Reason> {
        let roster = self.roster();
        let take_over = propose.kind == crate::log::entry::Proposal::TakeOver;
        if propose.device == author {
            return vec![Reason::NotYours];
        }
        if take_over {
            let term = self.core.views.now().term();
            if self.core.graph.author(term) != propose.device {
                return vec![Reason::NotYours];
            }
            return Vec::new();
        }
        if roster.supervisor != Some(author) {
            let needs = RoleId::try_from(RoleId::SUPERVISOR).into_iter().collect();
            return vec![Reason::WrongRole { needs }];
        }
        if roster.present(&propose.device) {
            Vec::new()
        } else {
            vec![Reason::NotEnrolled {
                device: propose.device,
            }]
        }
    }

    fn consent_against(&self, author: DeviceKey, proposal: &EntryHash) -> Vec<Reason> {
        let core = &self.core;
        let Some(ix) = core.graph.find(proposal) else {
            return vec![Reason::NotYours];
        };
        let Body::Propose(propose) = core.graph.body(ix) else {
            return vec![Reason::NotYours];
        };
        if propose.device == author {
            return vec![Reason::NotYours];
        }
        if super::succession::signed_any(&core.graph, propose, author) {
            return vec![Reason::Duplicate];
        }
        Vec::new()
    }
}

fn verdict(reasons: Vec<Reason>) -> Verdict {
    if reasons.is_empty() {
        Verdict::Counts
    } else {
        Verdict::NotCounted(reasons)
    }
}
