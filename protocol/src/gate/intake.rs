//! Intake: what an entry means by its own past, settled once when it comes in.
//! Owns: nothing.   Gives: `Job::note`, which files the entry.
//! May use: all rules of the own past, records, facts.   Never: what it is worth in a larger set (rules).

use super::bits::Steps;
use super::done::answer;
use super::job::Job;
use super::office::{self, Act};
use super::plans::{CheckNo, Cover, Roles};
use super::records::{Ack, CLOSE_STEP, Fit, Kind, Objection, RemovalRecord, StopRecord};
use super::views::{Rare, RareEntry, View, ViewIx};
use super::world::{Core, Said, Weights, World};
use crate::ids::{CheckId, DeviceKey, RoleId, StepId};
use crate::log::entry::{Body, Evidence};
use crate::log::graph::{ChainIx, Cut, EntryIx};
use std::sync::Arc;

impl Job {
    /// Whether what the entry means rests on what counts in its past, so that the count should be up to date.
    pub(super) fn asks_the_past(&self, body: &Body) -> bool {
        match body {
            Body::Cannot(_)
            | Body::StepBack(_)
            | Body::ResumeDay(_)
            | Body::Amend(_)
            | Body::Leave
            | Body::Seal(_) => true,
            Body::Acknowledge(ack) => {
                // Only an answer that can differ from another can object.
                !matches!(ack.said, crate::log::entry::Said::Yes)
            }
            other => other.is_stop(),
        }
    }

    /// Files the entry that went into the graph last.
    pub(super) fn note(&mut self, ix: EntryIx) {
        let view_ix = self.core.views.note_past(&self.core.graph, ix);
        self.note_facts(ix);
        let rare = self.judge_office(ix);
        self.note_disturbance(ix, rare.as_ref());
        self.core.views.note_entry(&self.core.graph, ix, rare);
        let body = self.core.graph.body(ix).filed();
        match body {
            KindOf::Acknowledge => self.note_acknowledge(ix),
            KindOf::Cannot => self.note_cannot(ix),
            KindOf::Exception => self.note_exception(ix),
            KindOf::Close => self.note_close(ix),
            KindOf::Answer => self.note_answer(ix),
            KindOf::Release => self.note_release(ix, view_ix),
            KindOf::Stop => self.note_stop(ix, None),
            KindOf::Withdraw => self.note_withdraw(ix),
            KindOf::Other => {}
        }
    }

    fn note_facts(&mut self, ix: EntryIx) {
        let Core {
            graph,
            views,
            facts,
            records,
            outs,
            ..
        } = &mut self.core;
        let view = views.past(ix);
        let open_stop = || {
            let past = graph.past(ix);
            records
                .stops
                .iter()
                .find(|stop| {
                    graph.within(stop.ix, past)
                        && !stop
                            .releases
                            .iter()
                            .any(|&release| graph.within(release, past))
                })
                .map(|stop| graph.hash(stop.ix))
        };
        facts.note(graph, ix, &view.roster, &view.plan.plan, &open_stop);
        let may_put_out = matches!(
            graph.body(ix),
            Body::Reading(_)
                | Body::Away(_)
                | Body::OrderStatus(_)
                | Body::Leave
                | Body::Take(_)
                | Body::Stop(_)
        );
        if may_put_out && facts.puts_out(graph, ix) {
            outs.push(graph, ix, ix);
            self.disturbing.push(graph, ix, ix);
            self.touched.counted = true;
        }
    }

    fn judge_office(&mut self, ix: EntryIx) -> Option<RareEntry> {
        let graph = &self.core.graph;
        let mut names = core::mem::take(&mut self.core.views.names);
        let act = Act {
            graph,
            rare: &self.core.views.rare,
            view: self.core.views.past(ix),
            past: graph.past(ix),
            author: graph.author(ix),
            seq: graph.seq(ix),
            body: graph.body(ix),
        };
        let rare = office::judge(&act, &mut names).unwrap_or_default();
        self.core.views.names = names;
        rare
    }

    /// Administrative entries that can change what older acknowledgements are worth.
    fn note_disturbance(&mut self, ix: EntryIx, rare: Option<&RareEntry>) {
        let graph = &self.core.graph;
        let chain = graph.chain(ix);
        let fork = graph.forks().iter().find(|fork| fork.other == ix);
        if let Some(fork) = fork.filter(|_| graph.first_of(chain) == Some(ix)) {
            self.disturbing.push(graph, ix, ix);
            self.disturbing.push(graph, fork.one, fork.one);
            self.touched.everything = true;
        }
        let Some(rare) = rare else { return };
        let removed = match &rare.what {
            Rare::Admit | Rare::Briefed => return,
            Rare::Offer { role, from, .. } => {
                // Offering again what was taken unseen makes the take void.
                let rare = &self.core.views.rare;
                let again = rare.keys().any(|take| {
                    let offer = match rare.get(take).map(|entry| &entry.what) {
                        Some(Rare::Take { offer } | Rare::Handover { offer, .. }) => *offer,
                        _ => return false,
                    };
                    !graph.before(take, ix)
                        && matches!(
                            rare.get(offer).map(|entry| &entry.what),
                            Some(Rare::Offer { role: r, from: f, .. }) if r == role && f == from
                        )
                });
                self.touched.everything |= again;
                None
            }
            Rare::Leave => Some(graph.author(ix)),
            Rare::Retire { device } | Rare::TakeOver { device, .. } => Some(*device),
            Rare::Take { .. } | Rare::Handover { .. } => {
                // An objection of the outgoing holder may lose its effect.
                self.touched.everything |= !self.core.records.objections.is_empty();
                None
            }
            Rare::Amend | Rare::StepBack | Rare::ResumeDay => {
                let done = self.done_in_past(ix);
                self.core.done_at.insert(ix, done);
                None
            }
        };
        let graph = &self.core.graph;
        self.disturbing.push(graph, ix, ix);
        self.touched.counted = true;
        if let Some(device) = removed {
            let forked = !graph.forks().is_empty();
            let objected = self
                .core
                .records
                .objections
                .iter()
                .any(|objection| objection.device == device);
            self.touched.everything |= forked || objected;
            let record = self.removal_record(ix, device, rare.what == Rare::Leave);
            self.core.removals.insert(ix, record);
            let done = self.done_in_past(ix);
            self.core.done_at.insert(ix, done);
        }
    }

    /// The steps complete in the past of an entry.
    fn done_in_past(&mut self, ix: EntryIx) -> Arc<Steps> {
        let cut = self.core.graph.past(ix).to_vec();
        Arc::new(self.complete_at(&cut, self.core.views.of(ix)))
    }

    fn complete_at(&self, cut: &Cut, view: ViewIx) -> Steps {
        let view = self.core.views.get(view);
        self.world_at(cut, view).complete(cut, cut, view)
    }

    /// The set `cut`. If nothing outside it disturbs, what counts now counted there as well.
    fn world_at<'a>(&'a self, cut: &'a Cut, view: &'a View) -> World<'a> {
        let undisturbed = self.settled
            && self
                .disturbing
                .beyond(cut, self.core.graph.all())
                .next()
                .is_none();
        let mut world = World::at(&self.core, cut, view);
        if undisturbed {
            world.weights = Weights::Tally(&self.tally);
        }
        world
    }

    /// REMOVED-STOP: what a removal proves that the device had held, and which steps stay complete for it.
    fn removal_record(&mut self, ix: EntryIx, device: DeviceKey, leaves: bool) -> RemovalRecord {
        let core = &self.core;
        let graph = &core.graph;
        let past = graph.past(ix);
        let mut known: Vec<u32> = Vec::new();
        if leaves {
            known = past.to_vec();
        } else {
            let mut hold = |cut: &[u32]| {
                if known.len() < cut.len() {
                    known.resize(cut.len(), 0);
                }
                for (mine, theirs) in known.iter_mut().zip(cut) {
                    *mine = (*mine).max(*theirs);
                }
            };
            // Its own entries and their pasts.
            for chain in graph.chains_of(device) {
                let count = past.get(chain.0 as usize).copied().unwrap_or(0);
                if let Some(last) = count.checked_sub(1).and_then(|seq| graph.at(chain, seq)) {
                    let mut own = graph.past(last).to_vec();
                    own.resize(own.len().max(chain.0 as usize + 1), 0);
                    own[chain.0 as usize] = count;
                    hold(&own);
                }
            }
            // What evidence proved that it held.
            for ack in &core.records.acks {
                if !graph.within(ack.ix, past) || ack.device == device {
                    continue;
                }
                let said = World::at(core, past, core.views.past(ix)).said(ack);
                let Some(evidence) = said.evidence() else {
                    continue;
                };
                for proof in evidence.proofs.iter().filter(|p| p.device == device.tag()) {
                    hold(&core.known_by(&said, proof));
                }
            }
            // The last beacon that the proposer had of it.
            if let Body::Seal(seal) = graph.body(ix)
                && let Some(proposal) = graph.find(&seal.proposal)
                && let Body::Propose(propose) = graph.body(proposal)
            {
                let counts: Vec<u32> = (0..past.len())
                    .map(|chain| {
                        let author = graph.chain_author(ChainIx(chain as u32)).tag();
                        propose
                            .known
                            .iter()
                            .find(|(tag, _)| *tag == author)
                            .map_or(0, |&(_, count)| count.min(past[chain]))
                    })
                    .collect();
                hold(&counts);
            }
        }
        let view = self.core.views.of_cut(&self.core.graph, &known);
        let mut done = self.complete_at(&known, view);
        let core = &self.core;
        let graph = &core.graph;
        let past = graph.past(ix);
        let plan = &core.views.past(ix).plan;
        for objection in &core.records.objections {
            if graph.within(objection.ix, past) && !graph.within(objection.ix, &known) {
                done.remove(objection.step);
                if objection.was
                    && let Some(step) = plan.step(objection.step)
                {
                    for after in step.after.iter() {
                        done.remove(after);
                    }
                }
            }
        }
        RemovalRecord { known, done }
    }

    fn file(&mut self, mut ack: Ack) -> u32 {
        let core = &self.core;
        let view = core.views.past(ack.ix);
        if let Some(person) = view.roster.person(&ack.device).cloned() {
            ack.person = self.core.records.person(&person);
        }
        let graph = &self.core.graph;
        self.core.records.push_ack(graph, ack)
    }

    fn note_acknowledge(&mut self, ix: EntryIx) {
        let core = &self.core;
        let Some(said) = core.entry_said(ix) else {
            return;
        };
        let fit = core.fit(&said);
        let ack = Ack {
            ix,
            device: said.author,
            person: u16::MAX,
            roles: said.roles,
            step: said.step,
            check: said.check,
            kind: Kind::Plain,
            fit,
            level: said.level,
        };
        let yes_only = said
            .plan()
            .check(said.step, said.check)
            .is_some_and(|check| check.yes_only);
        let objection = if yes_only { None } else { self.differs(&said) };
        let uneven = !yes_only
            && (fit == Fit::FailsValue
                || core.records.check(said.check).is_some_and(|records| {
                    records.uneven
                        || records.acks.first().is_some_and(|&first| {
                            match (
                                answer(core.graph.body(core.records.ack(first).ix)),
                                answer(said.body),
                            ) {
                                (Some(one), Some(other)) => !one.is_same(other),
                                _ => true,
                            }
                        })
                }));
        let check = said.check;
        let ended = self.round_ended(&said);
        self.file(ack);
        if !ended.is_empty() {
            self.core.records.ended.insert(ix, ended);
        }
        if uneven {
            let records = self.core.records.check_mut(check);
            if !records.uneven {
                records.uneven = true;
                self.touched
                    .steps
                    .extend(self.core.records.acks.last().map(|ack| ack.step));
            }
        }
        if let Some(objection) = objection {
            self.object(objection);
        }
    }

    /// ROUND: for a look that says what was done, those on which two people had agreed that they do not pass.
    fn round_ended(&self, said: &Said<'_>) -> Vec<EntryIx> {
        let records = self.core.records.check(said.check);
        let uneven = records.is_some_and(|records| records.uneven);
        let says_what = matches!(said.body, Body::Acknowledge(ack) if ack.change.is_some());
        let is_look = said
            .plan()
            .check(said.step, said.check)
            .is_some_and(|check| matches!(check.who, super::plans::WhoBits::SecondLook(..)));
        if !uneven || !says_what || !is_look {
            return Vec::new();
        }
        self.world_at(said.past, said.view)
            .agreed_not_to_pass(said.check, said.past)
    }

    /// LATEST and OBJECTION: an answer that differs from its author's last one on that check; or, by anyone
    /// else who may acknowledge it, from the one that stands. (Two people's answers to a second look are a
    /// conflict until it is complete, and of two roles each gives its own; then a third answer that nobody
    /// gave before is an objection. To an EACH all are each their own.)
    fn differs(&self, said: &Said<'_>) -> Option<Objection> {
        let core = &self.core;
        let graph = &core.graph;
        if said.roles == 0 {
            return None;
        }
        let ix = said.ix?;
        let mine = answer(said.body)?;
        let records = core.records.check(said.check)?;
        let who = &said.plan().check(said.step, said.check)?.who;
        let heads: Vec<&Ack> = records
            .chains
            .newest(said.past)
            .map(|number| core.records.ack(number))
            .filter(|ack| ack.roles != 0)
            .collect();
        let other_than =
            |ack: &&&Ack| answer(graph.body(ack.ix)).is_some_and(|theirs| !theirs.is_same(mine));
        let own = heads
            .iter()
            .filter(|ack| ack.device == said.author)
            .max_by_key(|ack| graph.seq(ack.ix))
            .filter(other_than)
            .is_some();
        let world = || self.world_at(said.past, said.view);
        let was = || world().step_complete(said.step, said.past, said.view);
        let others = match who {
            super::plans::WhoBits::Each(_) => false,
            // What stands is what two people saw alike; what others said in an earlier round does not.
            super::plans::WhoBits::SecondLook(first, second) => world()
                .second_look(said.check, *first, *second, said.past)
                .done
                .map(|(look, _)| core.records.ack(look))
                .is_some_and(|look| other_than(&&look) && was()),
            _ if who.single() => heads
                .iter()
                .filter(|ack| {
                    ack.device != said.author
                        && !heads.iter().any(|later| graph.before(ack.ix, later.ix))
                })
                .any(|ack| other_than(&ack)),
            _ => {
                let by_others = |ack: &&&Ack| ack.device != said.author;
                heads.iter().any(|ack| by_others(&ack))
                    && heads.iter().all(|ack| other_than(&ack))
                    && was()
            }
        };
        if !own && !others {
            return None;
        }
        let was = was();
        if let super::plans::WhoBits::SecondLook(first, second) = who
            && !was
            && world()
                .second_look(said.check, *first, *second, said.past)
                .conflict
        {
            // ROUND: a conflict is not settled by one of the two saying otherwise.
            return None;
        }
        if !own && !was && matches!(who, super::plans::WhoBits::ReadBack(..)) {
            // A repeat that is not equal is no read-back yet; it takes nothing back.
            return None;
        }
        Some(Objection {
            ix,
            device: said.author,
            roles: said.roles,
            step: said.step,
            check: said.check,
            cannot: false,
            was,
            own_only: own && !others && !was,
        })
    }

    fn note_cannot(&mut self, ix: EntryIx) {
        let core = &self.core;
        let Body::Cannot(cannot) = core.graph.body(ix) else {
            return;
        };
        let view = core.views.past(ix);
        let author = core.graph.author(ix);
        let Some((step, check, roles)) = core.asked(view, author, &cannot.step, &cannot.check)
        else {
            return;
        };
        if roles == 0 {
            return;
        }
        let past = core.graph.past(ix);
        let was = self.world_at(past, view).step_complete(step, past, view);
        self.object(Objection {
            ix,
            device: author,
            roles,
            step,
            check,
            cannot: true,
            was,
            own_only: false,
        });
    }

    fn object(&mut self, objection: Objection) {
        let ix = objection.ix;
        let plan = Arc::clone(&self.core.views.past(ix).plan);
        let after = plan
            .step(objection.step)
            .map(|step| step.after.clone())
            .unwrap_or_default();
        self.touched.steps.insert(objection.step);
        if objection.was {
            let mut steps = after.clone();
            steps.insert(objection.step);
            for step in steps.iter() {
                let checks = plan.step(step).map_or(&[][..], |at| &at.checks);
                self.touched
                    .checks
                    .extend(checks.iter().map(|check| check.no));
            }
        } else {
            self.touched.checks.insert(objection.check);
        }
        let was = objection.was;
        let graph = &self.core.graph;
        self.disturbing.push(graph, ix, ix);
        self.core.records.push_objection(graph, objection, &after);
        if was {
            self.note_stop(ix, None);
        }
    }

    fn note_exception(&mut self, ix: EntryIx) {
        let Some(said) = self.core.entry_said(ix) else {
            return;
        };
        let fit = self.core.fit(&said);
        let ack = Ack {
            ix,
            device: said.author,
            person: u16::MAX,
            roles: said.roles,
            step: said.step,
            check: said.check,
            kind: Kind::Exception,
            fit,
            level: true,
        };
        self.file(ack);
    }

    fn note_close(&mut self, ix: EntryIx) {
        let Some(said) = self.core.entry_said(ix) else {
            return;
        };
        let fit = self.core.fit(&said);
        let ack = Ack {
            ix,
            device: said.author,
            person: u16::MAX,
            roles: said.roles,
            step: CLOSE_STEP,
            check: CheckNo(u32::MAX),
            kind: Kind::Close,
            fit,
            level: said.level,
        };
        self.file(ack);
    }

    /// Entries that answer others, by what they answer.
    fn note_answer(&mut self, ix: EntryIx) {
        let core = &mut self.core;
        let graph = &core.graph;
        let target = |hash| graph.find(hash).filter(|&to| graph.before(to, ix));
        match graph.body(ix) {
            Body::Ask(ask) => {
                core.asks.push(ix);
                for stop in &ask.stops {
                    core.asks_naming.entry(*stop).or_default().push(ix);
                }
            }
            Body::ExitPlan(_) => core.asks.push(ix),
            Body::Heard(heard) => {
                if let Some(stop) = target(&heard.stop) {
                    core.heards.entry(stop).or_default().push(ix);
                }
            }
            Body::Decline(decline) => {
                if let Some(to) = target(&decline.to) {
                    core.declines.entry(to).or_default().push(ix);
                    if let Some(number) = core.records.ack_of(to) {
                        self.touched.steps.insert(core.records.ack(number).step);
                    }
                }
            }
            Body::Agree(agree) => {
                if let Some(to) = target(&agree.to) {
                    core.agrees.entry(to).or_default().push(ix);
                    self.note_cosign(ix, to);
                }
            }
            Body::Propose(_) => core.proposals.push(ix),
            Body::Consent(_) | Body::Accept => core.consents.push(ix),
            Body::Void(_) => core.voids.push(ix),
            Body::Unknown { .. } => core.unknown.push(ix),
            _ => {}
        }
    }

    fn note_cosign(&mut self, ix: EntryIx, to: EntryIx) {
        let Some(number) = self.core.records.ack_of(to) else {
            return;
        };
        if self.core.records.ack(number).kind != Kind::Exception {
            return;
        }
        let Some(said) = self.core.entry_said(ix) else {
            return;
        };
        let fit = self.core.fit(&said);
        let ack = Ack {
            ix,
            device: said.author,
            person: u16::MAX,
            roles: said.roles,
            step: said.step,
            check: said.check,
            kind: Kind::Cosign(number),
            fit,
            level: true,
        };
        self.file(ack);
    }

    fn note_release(&mut self, ix: EntryIx, view: ViewIx) {
        let core = &mut self.core;
        let graph = &core.graph;
        let Body::Release(release) = graph.body(ix) else {
            return;
        };
        let view = core.views.get(view);
        let author = graph.author(ix);
        if !view.unforked(author, graph.seq(ix))
            || !core
                .release_against(author, release, graph.past(ix), view)
                .is_empty()
        {
            return;
        }
        let Some(asking) = graph.find(&release.ask).and_then(|ask| core.asking(ask)) else {
            return;
        };
        if asking.exit.is_some() {
            let plan = asking.ix;
            core.exits.entry(plan).or_default().push(ix);
            return;
        }
        for stop in core.named(&asking) {
            if let Some(at) = core.records.stop_number(stop) {
                core.records.stops[at].releases.push(ix);
            }
        }
    }

    fn note_withdraw(&mut self, ix: EntryIx) {
        let core = &self.core;
        let graph = &core.graph;
        let Body::Withdraw(withdraw) = graph.body(ix) else {
            return;
        };
        let taken = graph
            .find(&withdraw.entry)
            .filter(|&taken| graph.before(taken, ix) && graph.author(taken) == graph.author(ix))
            .and_then(|taken| core.records.ack_of(taken))
            .map(|number| core.records.ack(number))
            .filter(|ack| ack.kind == Kind::Plain);
        let cover = taken.map(|ack| {
            let plan = &core.views.past(ix).plan;
            // To the safer side of "the withdrawn check": whoever takes a word back says that something is not as it
            // was, so everybody looks at that step again, as after an objection to a complete one.
            Arc::new(super::plans::step_cover(plan, ack.step))
        });
        self.note_stop(ix, cover);
    }

    /// A stop is valid whoever was ever admitted and says it; nothing refuses it.
    fn note_stop(&mut self, ix: EntryIx, cover: Option<Arc<Cover>>) {
        let done = self.done_in_past(ix);
        let core = &mut self.core;
        let graph = &core.graph;
        let device = graph.author(ix);
        let present = core.views.past(ix).roster.present(&device);
        core.done_at.insert(ix, Arc::clone(&done));
        self.disturbing.push(graph, ix, ix);
        self.touched.counted = true;
        core.records.push_stop(
            graph,
            StopRecord {
                ix,
                device,
                present,
                done,
                cover,
                releases: Vec::new(),
            },
        );
    }
}

/// Kinds that are filed differently.
enum KindOf {
    Acknowledge,
    Cannot,
    Exception,
    Close,
    Answer,
    Release,
    Stop,
    Withdraw,
    Other,
}

/// How an entry is filed.
trait Filed {
    fn filed(&self) -> KindOf;
}

impl Filed for Body {
    fn filed(&self) -> KindOf {
        match self {
            Self::Acknowledge(_) => KindOf::Acknowledge,
            Self::Cannot(_) => KindOf::Cannot,
            Self::Exception(_) => KindOf::Exception,
            Self::Close(_) => KindOf::Close,
            Self::Withdraw(_) => KindOf::Withdraw,
            Self::Release(_) => KindOf::Release,
            Self::Ask(_)
            | Self::ExitPlan(_)
            | Self::Heard(_)
            | Self::Decline(_)
            | Self::Agree(_)
            | Self::Propose(_)
            | Self::Consent(_)
            | Self::Accept
            | Self::Void(_)
            | Self::Unknown { .. } => KindOf::Answer,
            other if other.is_stop() => KindOf::Stop,
            _ => KindOf::Other,
        }
    }
}

impl Core {
    /// Step, check and the author's roles in it, as the plan in a past has them; `None`: no such check.
    pub(super) fn asked(
        &self,
        view: &View,
        author: DeviceKey,
        step: &StepId,
        check: &CheckId,
    ) -> Option<(u16, CheckNo, Roles)> {
        let step_no = self.views.names.step(step)?;
        let check_no = self.views.names.check(step, check)?;
        let any = view.plan.check(step_no, check_no)?.who.any();
        let roles = if any == Roles::MAX {
            if view.roster.present(&author) {
                Roles::MAX
            } else {
                0
            }
        } else {
            view.roles(&author) & any
        };
        Some((step_no, check_no, roles))
    }

    fn supervisor_roles(&self, view: &View, author: DeviceKey) -> Roles {
        match RoleId::try_from(RoleId::SUPERVISOR) {
            Ok(role) if view.roster.supervisor == Some(author) => self.views.names.role(&role),
            _ => 0,
        }
    }

    /// An entry as an acknowledgement, exception, agreement to one, or close; `None`: it is none of these, or
    /// of a check that the plan in its past does not have.
    pub(super) fn entry_said(&self, ix: EntryIx) -> Option<Said<'_>> {
        self.said_by(
            self.graph.author(ix),
            self.graph.seq(ix),
            Some(ix),
            self.graph.past(ix),
            self.views.past(ix),
            self.graph.body(ix),
        )
    }

    /// The same, of an entry that may not be written yet.
    pub(super) fn said_by<'a>(
        &'a self,
        author: DeviceKey,
        seq: u32,
        ix: Option<EntryIx>,
        past: &'a Cut,
        view: &'a View,
        body: &'a Body,
    ) -> Option<Said<'a>> {
        let level =
            |evidence: &Evidence| evidence.proofs.iter().all(|proof| proof.behind.is_empty());
        let (step, check, roles, kind, level) = match body {
            Body::Acknowledge(ack) => {
                let (step, check, roles) = self.asked(view, author, &ack.step, &ack.check)?;
                (step, check, roles, Kind::Plain, level(&ack.evidence))
            }
            Body::Exception(exception) => {
                let (step, check, _) =
                    self.asked(view, author, &exception.step, &exception.check)?;
                let roles = self.supervisor_roles(view, author);
                (step, check, roles, Kind::Exception, true)
            }
            Body::Close(close) => (
                CLOSE_STEP,
                CheckNo(u32::MAX),
                self.supervisor_roles(view, author),
                Kind::Close,
                level(&close.evidence),
            ),
            Body::Agree(agree) => {
                let number = self.records.ack_of(self.graph.find(&agree.to)?)?;
                let exception = self.records.ack(number);
                if exception.kind != Kind::Exception {
                    return None;
                }
                let roles = if view.roster.present(&author) {
                    Roles::MAX
                } else {
                    0
                };
                (
                    exception.step,
                    exception.check,
                    roles,
                    Kind::Cosign(number),
                    true,
                )
            }
            _ => return None,
        };
        Some(Said {
            author,
            seq,
            ix,
            past,
            view,
            body,
            step,
            check,
            kind,
            roles,
            level,
            fails: false,
        })
    }
}
