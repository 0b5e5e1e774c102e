//! Asked: what pages, the call and the engine ask of a job, as values.
//! Owns: nothing.   Gives: step states, stops, proposals, what is due and what is wanted.
//! May use: job, done, stops, succession.   Never: this device's own watch; words for people.

use super::bits::Steps;
use super::done::{Against, Given, Witness, open_places};
use super::job::Job;
use super::plans::{CheckAt, Roles, WhoBits};
use super::records::{Ack, Kind, Weight};
use super::succession::{majority, signers};
use super::tally::Tally;
use super::world::{Core, World};
use crate::facts::covers;
use crate::ids::{CheckId, ConditionId, DeviceKey, EntryHash, RoleId, StepId};
use crate::log::entry::{Body, Evidence, ExitPlan, Proposal, Release, Seal};
use crate::log::graph::{Cut, EntryIx};
use crate::reason::{Owed, Reason};
use crate::state::StepState;
use std::collections::BTreeMap;

/// A stop in force.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct StopView {
    /// The entry.
    pub entry: EntryIx,
    /// Who called it.
    pub author: DeviceKey,
    /// Present devices that have answered; its author has by calling it.
    pub heard: Vec<DeviceKey>,
    /// Present devices that have not.
    pub not_heard: Vec<DeviceKey>,
    /// The supervisor's newest ask that names it.
    pub ask: Option<EntryHash>,
    /// What its release still needs, conditions left out.
    pub owed: Vec<Owed>,
    /// How many earlier stops, released since, had the same cause.
    pub repeat: u32,
}

/// A proposal that is not carried out.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ProposalView {
    /// The entry.
    pub entry: EntryIx,
    /// To take over from the supervisor; else to remove.
    pub take_over: bool,
    /// The device to be removed.
    pub device: DeviceKey,
    /// Number of the attempt on that device.
    pub attempt: u32,
    /// Who has signed, the proposer first.
    pub consents: Vec<DeviceKey>,
    /// How many must.
    pub needed: u32,
}

/// What evidence an acknowledgement of a step has to carry.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct EvidenceWanted {
    /// Present devices other than the author: a proof of life of each.
    pub devices: Vec<DeviceKey>,
    /// Standing conditions that cover the step.
    pub conditions: Vec<ConditionId>,
}

impl Core {
    /// Steps complete by the running count, each with every step before it.
    pub(super) fn tallied(&self, tally: &Tally) -> Steps {
        let plan = &self.views.now().plan;
        let mut complete = Steps::default();
        for &step in &plan.order {
            let before = plan.step(step).map_or(&[][..], |at| &at.before);
            if tally.step_done(step) && before.iter().all(|&earlier| tally.step_done(earlier)) {
                complete.insert(step);
            }
        }
        complete
    }
}

impl Job {
    fn number(&self, step: &StepId) -> Option<u16> {
        let number = self.core.views.names.step(step)?;
        self.core.views.now().plan.step(number).map(|_| number)
    }

    fn check_at(&self, step: &StepId, check: &CheckId) -> Option<(u16, &CheckAt)> {
        let step_no = self.number(step)?;
        let no = self.core.views.names.check(step, check)?;
        Some((step_no, self.core.views.now().plan.check(step_no, no)?))
    }

    /// Where a step stands. That every device is known to hold what opened it is another question
    /// ([`Job::known_open`]).
    #[must_use]
    pub fn step_state(&self, step: &StepId) -> StepState {
        let Some(number) = self.number(step) else {
            return StepState::Locked;
        };
        let plan = &self.core.views.now().plan;
        let before = plan.step(number).map_or(&[][..], |at| &at.before);
        if !before.iter().all(|&earlier| self.tally.step_done(earlier)) {
            return StepState::Locked;
        }
        if self.tally.step_done(number) {
            return StepState::Done;
        }
        let conflict = self.missing_of_open(number).iter().any(|reason| {
            matches!(
                reason,
                Reason::Conflict { .. }
                    | Reason::CannotConfirm { .. }
                    | Reason::OutOfLimit { .. }
                    | Reason::AnswerNotPassing { .. }
                    | Reason::IdentityMismatch { .. }
                    | Reason::NotAccounted { .. }
                    | Reason::NeedsSecondReader { .. }
            )
        });
        if conflict {
            StepState::Conflict
        } else {
            StepState::Open
        }
    }

    /// Whether a check is complete.
    #[must_use]
    pub fn check_done(&self, step: &StepId, check: &CheckId) -> bool {
        let world = self.now();
        self.check_at(step, check).is_some_and(|(step, check)| {
            world
                .check_done(step, check, world.cut, world.cut, world.view)
                .is_some()
        })
    }

    /// Counted acknowledgements of a check, and exceptions with their agreements, in order of arrival.
    #[must_use]
    pub fn given(&self, step: &StepId, check: &CheckId) -> Vec<EntryIx> {
        let Some((_, check)) = self.check_at(step, check) else {
            return Vec::new();
        };
        self.tally
            .counted(check.no)
            .iter()
            .filter(|&&number| self.tally.weight(number) == Weight::Counts)
            .map(|&number| self.core.records.ack(number).ix)
            .collect()
    }

    /// What a step's checks still miss, and what stands against them; empty: every check is complete.
    #[must_use]
    pub fn missing(&self, step: &StepId) -> Vec<Reason> {
        let Some(number) = self.number(step) else {
            return Vec::new();
        };
        if self.is_open(number) {
            self.missing_of_open(number).to_vec()
        } else {
            self.missing_anew(number, step)
        }
    }

    /// Whether a step is neither done nor locked.
    fn is_open(&self, step: u16) -> bool {
        let plan = &self.core.views.now().plan;
        let before = plan.step(step).map_or(&[][..], |at| &at.before);
        before.iter().all(|&earlier| self.tally.step_done(earlier)) && !self.tally.step_done(step)
    }

    /// What an open step misses; nothing for any other.
    fn missing_of_open(&self, step: u16) -> &[Reason] {
        let all = self.open.get_or_init(|| {
            let plan = &self.core.views.now().plan;
            let planned = plan.plan.steps.iter();
            planned
                .filter_map(|planned| {
                    let number = self.number(&planned.id)?;
                    let open = self.is_open(number);
                    open.then(|| (number, self.missing_anew(number, &planned.id)))
                })
                .collect()
        });
        let of_step = all.iter().find(|(number, _)| *number == step);
        of_step.map_or(&[], |(_, reasons)| reasons)
    }

    fn missing_anew(&self, number: u16, step: &StepId) -> Vec<Reason> {
        let world = self.now();
        let mut reasons = Vec::new();
        let Some(at) = world.view.plan.step(number) else {
            return reasons;
        };
        for check in &at.checks {
            if world
                .check_done(number, check, world.cut, world.cut, world.view)
                .is_some()
            {
                continue;
            }
            let Some(in_plan) = world.view.plan.plan_check(number, check) else {
                continue;
            };
            for found in self.against(&world, number, check) {
                if found.cannot {
                    reasons.push(Reason::CannotConfirm {
                        step: step.clone(),
                        check: in_plan.id.clone(),
                        by: found.device,
                    });
                } else {
                    reasons.extend(self.value_reasons(found.ix));
                }
            }
            if let WhoBits::SecondLook(first, second) = check.who
                && world
                    .second_look(check.no, first, second, world.cut)
                    .conflict
            {
                reasons.push(Reason::Conflict {
                    step: step.clone(),
                    check: in_plan.id.clone(),
                });
            }
            let unborne = self
                .tally
                .counted(check.no)
                .iter()
                .any(|&number| self.tally.weight(number) == Weight::Unborne);
            if unborne {
                reasons.push(Reason::NeedsSecondReader {
                    step: step.clone(),
                    check: in_plan.id.clone(),
                });
            }
            reasons.push(Reason::Missing {
                step: step.clone(),
                check: in_plan.id.clone(),
                needs: self.still_needed(&world, check),
            });
        }
        reasons
    }

    /// Whose word stands against a check: they cannot confirm it, or gave an answer that does not pass, and have not
    /// confirmed after it (LATEST). Nobody else's confirmation does for theirs while they hold the role.
    #[must_use]
    pub fn who_is_against(&self, step: &StepId, check: &CheckId) -> Vec<DeviceKey> {
        let Some((step, check)) = self.check_at(step, check) else {
            return Vec::new();
        };
        let against = self.against(&self.now(), step, check);
        against.into_iter().map(|found| found.device).collect()
    }

    /// ROUND: whether a look that a device's person gives now is to say what was done since, because they and another
    /// had found alike that it does not pass.
    #[must_use]
    pub fn is_to_say_what_was_done(
        &self,
        device: DeviceKey,
        step: &StepId,
        check: &CheckId,
    ) -> bool {
        self.check_at(step, check).is_some_and(|(_, check)| {
            let roster = &self.core.views.now().roster;
            self.core.two_said_no(check.no, device, roster, &|_| true)
        })
    }

    fn against(&self, world: &World<'_>, step: u16, check: &CheckAt) -> Vec<Against> {
        let mut against = Vec::new();
        world.against(
            step,
            check,
            world.cut,
            world.cut,
            world.view,
            &mut Witness::default(),
            &mut |found| against.push(found),
        );
        against
    }

    fn value_reasons(&self, ix: EntryIx) -> Vec<Reason> {
        let Some(said) = self.core.entry_said(ix) else {
            return Vec::new();
        };
        let mut out = super::world::Out::all();
        self.core.value(&said, &mut out);
        out.reasons
    }

    /// Roles that can still bring a check on.
    fn still_needed(&self, world: &World<'_>, check: &CheckAt) -> Vec<RoleId> {
        let acks: Vec<&Ack> = world
            .candidates(check.no)
            .iter()
            .filter(|&&number| self.tally.weight(number) == Weight::Counts)
            .map(|&number| self.core.records.ack(number))
            .collect();
        let given: Vec<Roles> = acks.iter().map(|ack| ack.roles).collect();
        let open: Roles = match &check.who {
            WhoBits::Places(places) => {
                // Each person fills at most one place; places left over are open.
                let by_person: Given = acks
                    .iter()
                    .map(|ack| ((ack.person, ack.roles), ack.ix))
                    .collect();
                match open_places(places, &by_person) {
                    0 => check.who.any(),
                    open => open,
                }
            }
            WhoBits::SecondLook(first, second) => {
                let has = |side: Roles| given.iter().any(|roles| roles & side != 0);
                match (has(*first), has(*second)) {
                    (true, false) => *second,
                    (false, true) => *first,
                    _ => first | second,
                }
            }
            WhoBits::ReadBack(report, repeat) => {
                let has = |side: Roles| given.iter().any(|roles| roles & side != 0);
                match (has(*report), has(*repeat)) {
                    (false, _) => *report,
                    (true, false) => *repeat,
                    // Somebody of either side speaks against it, or what was repeated was something else.
                    (true, true) => report | repeat,
                }
            }
            WhoBits::Each(_) => check.who.any(),
        };
        world
            .view
            .plan
            .plan
            .roles
            .iter()
            .map(|role| role.id.clone())
            .filter(|role| self.core.views.names.role(role) & open != 0)
            .collect()
    }

    /// KNOWN, for the call: why not everybody is known to hold what opens a step; `holds` is what each other
    /// present device was last proved to hold.
    #[must_use]
    pub fn known_open(&self, step: &StepId, holds: &[(DeviceKey, &Cut)]) -> Vec<Reason> {
        let world = self.now();
        let graph = &self.core.graph;
        let mut reasons = Vec::new();
        let Some(number) = self.number(step) else {
            return reasons;
        };
        let Some(at) = world.view.plan.step(number) else {
            return reasons;
        };
        // Nearly always everybody holds everything that is here: then what is done here is known to be.
        let is_level = |cut: &Cut| {
            let mut counts = graph.all().iter().enumerate();
            counts.all(|(chain, count)| cut.get(chain).is_some_and(|theirs| theirs >= count))
        };
        let done = |&earlier: &u16| self.tally.step_done(earlier);
        if self.settled && holds.iter().all(|(_, cut)| is_level(cut)) && at.before.iter().all(done)
        {
            return reasons;
        }
        let mut common: Vec<u32> = graph.all().to_vec();
        for (device, cut) in holds {
            let knows_office = world
                .view
                .standing
                .iter()
                .chain(&world.view.terms)
                .all(|&ix| graph.within(ix, cut));
            let knows_steps = at
                .before
                .iter()
                .all(|&earlier| world.step_done(earlier, cut, world.cut, world.view));
            if !knows_office || !knows_steps {
                reasons.push(Reason::NotKnown {
                    step: step.clone(),
                    device: *device,
                });
            }
            for (chain, count) in common.iter_mut().enumerate() {
                *count = (*count).min(cut.get(chain).copied().unwrap_or(0));
            }
        }
        // Each may hold a completing set of its own, and no one set be held by all.
        let one_set = at
            .before
            .iter()
            .all(|&earlier| world.step_done(earlier, &common, world.cut, world.view));
        if reasons.is_empty()
            && !one_set
            && let Some((device, _)) = holds.first()
        {
            reasons.push(Reason::NotKnown {
                step: step.clone(),
                device: *device,
            });
        }
        reasons
    }

    /// Stops in force, in order of arrival, without what [`Job::stops`] works out of each: asked at every tick, and
    /// a hostile device may have called hundreds.
    #[must_use]
    pub fn in_force(&self) -> Vec<EntryIx> {
        self.core.open_stops(self.core.graph.all())
    }

    /// Whether a device has answered a stop.
    #[must_use]
    pub fn has_heard(&self, stop: EntryIx, device: &DeviceKey) -> bool {
        let core = &self.core;
        core.has_heard(stop, *device, core.graph.all())
    }

    /// Stops in force, in order of arrival.
    #[must_use]
    pub fn stops(&self) -> Vec<StopView> {
        // One ask may name hundreds.
        let mut owed_of_ask: BTreeMap<EntryIx, Vec<Owed>> = BTreeMap::new();
        self.in_force()
            .into_iter()
            .map(|stop| self.stop_view(stop, &mut owed_of_ask))
            .collect()
    }

    /// Whether an entry is a stop, in force or not: one said outright, or an objection to a step that was complete.
    pub(crate) fn is_stop(&self, ix: EntryIx) -> bool {
        self.core.records.stop_number(ix).is_some()
    }

    fn stop_view(&self, stop: EntryIx, owed_of_ask: &mut BTreeMap<EntryIx, Vec<Owed>>) -> StopView {
        let core = &self.core;
        let (all, view) = (core.graph.all(), core.views.now());
        let (heard, not_heard) = view
            .present
            .iter()
            .map(|present| present.key)
            .partition(|&device| core.has_heard(stop, device, all));
        let ask = core.newest_ask(stop, all, view);
        StopView {
            entry: stop,
            author: core.graph.author(stop),
            heard,
            not_heard,
            ask: ask.map(|ask| core.graph.hash(ask)),
            owed: match ask {
                Some(ask) => owed_of_ask
                    .entry(ask)
                    .or_insert_with(|| self.owed(stop))
                    .clone(),
                None => self.owed(stop),
            },
            repeat: core.repeats(stop, all),
        }
    }

    /// What the release of a stop still needs, conditions left out.
    #[must_use]
    pub fn owed(&self, stop: EntryIx) -> Vec<Owed> {
        let core = &self.core;
        let (all, view) = (core.graph.all(), core.views.now());
        let hash = core.graph.hash(stop);
        let asking = core
            .newest_ask(stop, all, view)
            .and_then(|ask| core.asking(ask));
        match asking {
            Some(asking) => core.asking_owes(&asking, all, view),
            None => {
                let mut owed: Vec<Owed> = view
                    .present
                    .iter()
                    .filter(|present| !core.has_heard(stop, present.key, all))
                    .map(|present| Owed::Heard {
                        stop: hash,
                        device: present.key,
                    })
                    .collect();
                owed.push(Owed::Ask { stop: hash });
                owed
            }
        }
    }

    /// The release, or the seal of an exit plan, that this device has to write now, evidence left out.
    #[must_use]
    pub fn release_due(&self, me: DeviceKey) -> Option<Release> {
        let core = &self.core;
        let (all, view) = (core.graph.all(), core.views.now());
        if view.roster.supervisor != Some(me) || view.is_forked(me) {
            return None;
        }
        let open = core.open_stops(all);
        core.asks.iter().rev().find_map(|&ix| {
            if core.graph.author(ix) != me || core.exits.contains_key(&ix) {
                return None;
            }
            let asking = core.asking(ix)?;
            let named = core.named(&asking);
            // Asked at every tick: the cheap questions first.
            let still_open = || named.iter().any(|stop| open.contains(stop));
            let agreed = || core.agreement_owed(&asking, &named, all, view).is_empty();
            let heard = || {
                named.iter().all(|&stop| {
                    let mut present = view.present.iter();
                    present.all(|present| core.has_heard(stop, present.key, all))
                })
            };
            let due = still_open()
                && agreed()
                && heard()
                && core.asking_owes(&asking, all, view).is_empty();
            due.then(|| Release {
                ask: core.graph.hash(ix),
                evidence: Evidence::default(),
            })
        })
    }

    /// Whether an ask, or an exit plan, was sealed by a release.
    #[must_use]
    pub fn was_released(&self, ask: EntryIx) -> bool {
        let core = &self.core;
        if core.exits.contains_key(&ask) {
            return true;
        }
        let Some(asking) = core.asking(ask) else {
            return false;
        };
        let hash = core.graph.hash(ask);
        core.named(&asking).iter().any(|&stop| {
            core.records.stop_of(stop).is_some_and(|stop| {
                stop.releases.iter().any(|&release| {
                    matches!(core.graph.body(release), Body::Release(release) if release.ask == hash)
                })
            })
        })
    }

    /// The agreed exit plan under the stops in force, if there is one.
    #[must_use]
    pub fn exit_plan(&self) -> Option<&ExitPlan> {
        let core = &self.core;
        let open = core.open_stops(core.graph.all());
        if open.is_empty() {
            return None;
        }
        let asking = core.exits_for(core.graph.all(), &open).last()?.ix;
        match core.graph.body(asking) {
            Body::ExitPlan(plan) => Some(plan),
            _ => None,
        }
    }

    /// Proposals that can still be carried out, in order of arrival.
    #[must_use]
    pub fn proposals(&self) -> Vec<ProposalView> {
        let core = &self.core;
        let view = core.views.now();
        let needed = (view.present.len() as u32 / 2 + 1).max(2);
        core.proposals
            .iter()
            .filter_map(|&entry| {
                let Body::Propose(propose) = core.graph.body(entry) else {
                    return None;
                };
                let author = core.graph.author(entry);
                let take_over = propose.kind == Proposal::TakeOver;
                let live = view.roster.present(&author)
                    && if take_over {
                        core.graph.author(view.term()) == propose.device
                    } else {
                        view.roster.supervisor == Some(author)
                            && view.roster.present(&propose.device)
                    };
                live.then(|| ProposalView {
                    entry,
                    take_over,
                    device: propose.device,
                    attempt: propose.attempt,
                    consents: signers(&core.graph, view, entry, &self.consents(entry)),
                    needed,
                })
            })
            .collect()
    }

    /// Consents to a proposal, and acceptances that are consents.
    fn consents(&self, proposal: EntryIx) -> Vec<EntryIx> {
        let graph = &self.core.graph;
        let hash = graph.hash(proposal);
        self.core
            .consents
            .iter()
            .copied()
            .filter(|&ix| match graph.body(ix) {
                Body::Consent(consent) => consent.proposal == hash,
                Body::Accept => self
                    .core
                    .views
                    .now()
                    .replaces
                    .contains_key(&graph.author(ix)),
                _ => false,
            })
            .collect()
    }

    /// The seal that this device has to write now: of its own proposal that enough have signed.
    #[must_use]
    pub fn seal_due(&self, me: DeviceKey) -> Option<Seal> {
        let core = &self.core;
        let view = core.views.now();
        if view.is_forked(me) {
            return None;
        }
        self.proposals()
            .into_iter()
            .filter(|proposal| core.graph.author(proposal.entry) == me)
            .find(|proposal| proposal.consents.contains(&me) && majority(view, &proposal.consents))
            .map(|proposal| {
                let mut consents: Vec<EntryHash> = self
                    .consents(proposal.entry)
                    .into_iter()
                    .filter(|&ix| proposal.consents.contains(&core.graph.author(ix)))
                    .map(|ix| core.graph.hash(ix))
                    .collect();
                consents.sort_unstable();
                Seal {
                    proposal: core.graph.hash(proposal.entry),
                    consents,
                }
            })
    }

    /// Exceptions, exit plans and voids that wait for this device's agreement, in order of arrival.
    #[must_use]
    pub fn agreements_due(&self, me: &DeviceKey) -> Vec<EntryIx> {
        let core = &self.core;
        let (graph, view) = (&core.graph, core.views.now());
        if !view.roster.present(me) {
            return Vec::new();
        }
        let answered = |ix: EntryIx| {
            [&core.agrees, &core.declines].into_iter().any(|answers| {
                answers
                    .get(&ix)
                    .is_some_and(|list| list.iter().any(|&answer| graph.author(answer) == *me))
            })
        };
        let refused = |ix: EntryIx| core.declines.get(&ix).is_some_and(|list| !list.is_empty());
        let must =
            |asker: DeviceKey| super::stops::agreeing(view, asker).any(|device| device == *me);
        let exceptions = core.records.acks.iter().filter(|ack| {
            ack.kind == Kind::Exception
                && core
                    .records
                    .ack_of(ack.ix)
                    .is_some_and(|number| self.tally.weight(number) == Weight::Counts)
                && must(ack.device)
        });
        let open = core.open_stops(graph.all());
        let exits = core.asks.iter().copied().filter(|&ix| {
            matches!(graph.body(ix), Body::ExitPlan(_))
                && !core.exits.contains_key(&ix)
                && core.asking(ix).is_some_and(|asking| {
                    let owed = core.asking_owes(&asking, graph.all(), view);
                    core.named(&asking).iter().any(|stop| open.contains(stop))
                        && owed
                            .iter()
                            .any(|owed| matches!(owed, Owed::Agree { device, .. } if device == me))
                })
        });
        let unknown = self.unknown_open();
        let voids = core.voids.iter().copied().filter(|&ix| {
            graph.author(ix) != *me
                && matches!(graph.body(ix), Body::Void(void) if graph.find(&void.entry).is_some_and(|ix| unknown.contains(&ix)))
        });
        let mut due: Vec<EntryIx> = exceptions
            .map(|ack| ack.ix)
            .chain(exits)
            .chain(voids)
            .filter(|&ix| !answered(ix) && !refused(ix) && graph.author(ix) != *me)
            .collect();
        due.sort_unstable();
        due
    }

    /// Whether a close counts.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.core
            .records
            .closes
            .iter()
            .any(|&number| self.tally.weight(number) == Weight::Counts)
    }

    /// Entries of unknown kinds that nobody has voided: the supervisor in office and one other device void one.
    #[must_use]
    pub fn unknown_open(&self) -> Vec<EntryIx> {
        let core = &self.core;
        let graph = &core.graph;
        let void = |ix: EntryIx| {
            core.voids.iter().any(|&void| {
                let by = graph.author(void);
                matches!(graph.body(void), Body::Void(named) if named.entry == graph.hash(ix))
                    && core.views.past(void).roster.supervisor == Some(by)
                    && core.agrees.get(&void).is_some_and(|agrees| {
                        agrees.iter().any(|&agree| {
                            let author = graph.author(agree);
                            author != by && core.views.past(agree).roster.present(&author)
                        })
                    })
            })
        };
        core.unknown
            .iter()
            .copied()
            .filter(|&ix| !void(ix))
            .collect()
    }

    /// Present devices with a fork that nobody has settled.
    #[must_use]
    pub fn forks_open(&self) -> Vec<DeviceKey> {
        let view = self.core.views.now();
        view.forks
            .iter()
            .map(|&(device, _)| device)
            .filter(|device| view.roster.present(device))
            .collect()
    }

    /// What evidence this device's acknowledgement of a step has to carry.
    #[must_use]
    pub fn evidence_wanted(&self, me: &DeviceKey, step: &StepId) -> EvidenceWanted {
        EvidenceWanted {
            devices: self
                .roster()
                .devices()
                .filter(|device| *device != me)
                .copied()
                .collect(),
            conditions: self
                .plan()
                .conditions
                .iter()
                .filter(|condition| covers(condition, core::slice::from_ref(step)))
                .map(|condition| condition.id.clone())
                .collect(),
        }
    }

    /// Checks that this device had confirmed, that a stop or what followed has annulled, and that are to be
    /// given again: the newest own entry of each check that is not complete, in the plan's order.
    #[must_use]
    pub fn again(&self, me: &DeviceKey) -> Vec<EntryIx> {
        let core = &self.core;
        let view = core.views.now();
        let mut again = Vec::new();
        for &step in &view.plan.order {
            let Some(at) = view.plan.step(step) else {
                continue;
            };
            for check in &at.checks {
                let own = core.records.check(check.no).and_then(|records| {
                    records
                        .acks
                        .iter()
                        .rev()
                        .find(|&&number| {
                            let ack = core.records.ack(number);
                            ack.device == *me && ack.kind == Kind::Plain
                        })
                        .copied()
                });
                let Some(number) = own else { continue };
                let ack = core.records.ack(number);
                let annulled = self.tally.weight(number) == Weight::Nothing
                    && ack.fit != super::records::Fit::Never;
                if annulled && view.roles(me) & check.who.any() != 0 {
                    again.push(ack.ix);
                }
            }
        }
        again
    }
}
