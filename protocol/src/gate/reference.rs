//! Reference: the rules of counting once more, slow and word by word, to hold the gate against.
//! Owns: nothing.   Gives: `speaks_of`, `differences`; the test that gate and reference agree on random jobs.
//! May use: log, plan, ids.   Never: the gate's own rules; anything outside tests and simulations, for which alone it
//! is built.
#![allow(
    clippy::unwrap_used,
    reason = "a test or a simulation may stop at the first surprise"
)]

use super::{Job, Verdict};
use crate::ids::{CheckId, DeviceKey, DeviceTag, EntryHash, RoleId, StepId};
use crate::log::entry::{
    Acknowledge, Body, Change, NoteKind, Offer, Offered, Proposal, Propose, Said, Seal, StopKind,
};
use crate::log::graph::{EntryIx, Graph};
use crate::plan::{Check, Expects, Plan, Step, Who};
use crate::state::StepState;
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

type Set = BTreeSet<EntryIx>;

/// Administrative entries that stand, in order: term, number, entry.
type Standing = Vec<(usize, u32, EntryIx)>;

/// Acknowledgements that count, and those that would were it not for what they say.
#[derive(Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Weighed {
    counts: Set,
    fails: Set,
}

impl Weighed {
    fn within(&self, some: &Set) -> Self {
        Self {
            counts: self.counts.intersection(some).copied().collect(),
            fails: self.fails.intersection(some).copied().collect(),
        }
    }
}

/// A change of who holds what.
#[derive(Clone)]
struct Removal {
    by: EntryIx,
    device: DeviceKey,
    /// None: the device itself is out, with all its roles.
    role: Option<RoleId>,
}

#[derive(Clone, Default)]
struct Holder {
    present: bool,
    admitted_by: Option<EntryIx>,
    /// Each role with what it rests on.
    roles: BTreeMap<RoleId, EntryIx>,
}

#[derive(Default)]
struct Crew {
    holders: BTreeMap<DeviceKey, Holder>,
    supervisor: Option<DeviceKey>,
    removals: Vec<Removal>,
    /// Everything that gave something to somebody.
    grants: Set,
}

impl Crew {
    fn present(&self, device: DeviceKey) -> bool {
        self.holders.get(&device).is_some_and(|at| at.present)
    }
    fn holds(&self, device: DeviceKey, role: &RoleId) -> bool {
        self.holders
            .get(&device)
            .is_some_and(|at| at.present && at.roles.contains_key(role))
    }
    fn devices(&self) -> Vec<DeviceKey> {
        self.holders
            .iter()
            .filter(|(_, at)| at.present)
            .map(|(device, _)| *device)
            .collect()
    }
    fn holding(&self, role: &RoleId) -> Vec<DeviceKey> {
        let mut devices = self.devices();
        devices.retain(|device| self.holds(*device, role));
        devices
    }
}

#[derive(Clone, Copy)]
struct Term {
    parent: EntryIx,
    takeover: bool,
    attempt: u32,
    replaced: DeviceKey,
}

#[derive(Clone)]
struct Objection {
    ix: EntryIx,
    step: StepId,
    check: CheckId,
    was: bool,
    /// Speaks against the check until its author confirms; else a changed value.
    cannot: bool,
    /// Takes back its author's older answers only.
    own_only: bool,
}

struct Reference<'a> {
    graph: &'a Graph,
    plan: Plan,
    pasts: Vec<Rc<Set>>,
    terms: RefCell<BTreeMap<EntryIx, Option<Term>>>,
    chains: RefCell<BTreeMap<Rc<Set>, Rc<Vec<EntryIx>>>>,
    stands: RefCell<BTreeMap<Rc<Set>, Rc<Standing>>>,
    crews: RefCell<BTreeMap<Rc<Set>, Rc<Crew>>>,
    objections: RefCell<BTreeMap<EntryIx, Option<Objection>>>,
    counted: RefCell<BTreeMap<Rc<Set>, Rc<Weighed>>>,
}

fn supervisor_role() -> RoleId {
    RoleId::try_from("supervisor").unwrap()
}

impl<'a> Reference<'a> {
    fn new(graph: &'a Graph) -> Self {
        let Body::Found(found) = graph.body(EntryIx(0)) else {
            panic!("no founding entry")
        };
        let mut pasts: Vec<Rc<Set>> = Vec::new();
        for ix in graph.iter() {
            let mut past = Set::new();
            for parent in graph.parents_of(ix) {
                past.insert(parent);
                past.extend(pasts[parent.0 as usize].iter());
            }
            pasts.push(Rc::new(past));
        }
        let reference = Self {
            graph,
            plan: found.plan.clone(),
            pasts,
            terms: RefCell::default(),
            chains: RefCell::default(),
            stands: RefCell::default(),
            crews: RefCell::default(),
            objections: RefCell::default(),
            counted: RefCell::default(),
        };
        // From the oldest on, so that no recursion runs deep.
        for ix in graph.iter() {
            reference.roster(&reference.past(ix));
            reference.objection(ix);
        }
        reference
    }

    fn past(&self, ix: EntryIx) -> Rc<Set> {
        Rc::clone(&self.pasts[ix.0 as usize])
    }
    fn before(&self, one: EntryIx, other: EntryIx) -> bool {
        self.pasts[other.0 as usize].contains(&one)
    }
    fn apart(&self, one: EntryIx, other: EntryIx) -> bool {
        one != other && !self.before(one, other) && !self.before(other, one)
    }
    fn author(&self, ix: EntryIx) -> DeviceKey {
        self.graph.author(ix)
    }
    fn find(&self, hash: &EntryHash, within: &Set) -> Option<EntryIx> {
        self.graph.find(hash).filter(|ix| within.contains(ix))
    }

    fn first_fork(&self, device: DeviceKey, within: &Set) -> u32 {
        let mut seen = BTreeSet::new();
        let mut first = u32::MAX;
        for &ix in within {
            if self.author(ix) == device && !seen.insert(self.graph.seq(ix)) {
                first = first.min(self.graph.seq(ix));
            }
        }
        first
    }

    // ---- S1

    fn role_offer(&self, ix: EntryIx) -> Option<(&RoleId, DeviceKey, DeviceKey)> {
        match self.graph.body(ix) {
            Body::Offer(Offer {
                what: Offered::Role { role, from },
                to: Some(to),
            }) => Some((role, *from, *to)),
            _ => None,
        }
    }

    fn parent(&self, ix: EntryIx) -> Option<Term> {
        if let Some(known) = self.terms.borrow().get(&ix) {
            return *known;
        }
        let term = match self.graph.body(ix) {
            Body::Take(take) => self.handover(ix, &take.offer),
            Body::Seal(seal) => self.takeover(ix, seal),
            _ => None,
        };
        self.terms.borrow_mut().insert(ix, term);
        term
    }

    fn handover(&self, take: EntryIx, offer: &EntryHash) -> Option<Term> {
        let past = self.past(take);
        let offer = self.find(offer, &past)?;
        let (role, from, to) = self.role_offer(offer)?;
        let office = *self.chain(&past).last()?;
        let good = role.is_supervisor()
            && from == self.author(office)
            && self.author(offer) == from
            && to == self.author(take)
            && to != from
            && self.stands(offer, &past)
            && self.acts(take);
        good.then_some(Term {
            parent: office,
            takeover: false,
            attempt: 0,
            replaced: from,
        })
    }

    fn takeover(&self, ix: EntryIx, seal: &Seal) -> Option<Term> {
        let past = self.past(ix);
        let office = *self.chain(&past).last()?;
        let propose = self.proposal(ix, seal)?;
        let good = propose.kind == Proposal::TakeOver
            && propose.device == self.author(office)
            && self.quorum(ix, seal);
        good.then_some(Term {
            parent: office,
            takeover: true,
            attempt: propose.attempt,
            replaced: propose.device,
        })
    }

    /// The sealer's own proposal.
    fn proposal(&self, ix: EntryIx, seal: &Seal) -> Option<&Propose> {
        let proposal = self.find(&seal.proposal, &self.past(ix))?;
        match self.graph.body(proposal) {
            Body::Propose(propose) if self.author(proposal) == self.author(ix) => Some(propose),
            _ => None,
        }
    }

    /// The proposal that an entry signs, by consent or by making it.
    fn signs(&self, ix: EntryIx) -> Option<EntryIx> {
        match self.graph.body(ix) {
            Body::Propose(_) => Some(ix),
            Body::Consent(named) => self.find(&named.proposal, &self.past(ix)),
            _ => None,
        }
    }

    /// One signature for each device and attempt: the author has signed no other before.
    fn first_signature(&self, ix: EntryIx) -> bool {
        let what = |ix: EntryIx| {
            let proposal = self.signs(ix)?;
            match self.graph.body(proposal) {
                Body::Propose(propose) => {
                    Some((propose.kind, propose.device, propose.attempt, proposal))
                }
                _ => None,
            }
        };
        let Some((kind, device, attempt, proposal)) = what(ix) else {
            return false;
        };
        !self.past(ix).iter().any(|&older| {
            self.author(older) == self.author(ix)
                && what(older).is_some_and(|(k, d, a, p)| {
                    k == kind && d == device && a == attempt && p != proposal
                })
        })
    }

    fn quorum(&self, ix: EntryIx, seal: &Seal) -> bool {
        let past = self.past(ix);
        let crew = self.roster(&past);
        let Some(proposal) = self.find(&seal.proposal, &past) else {
            return false;
        };
        let Body::Propose(propose) = self.graph.body(proposal) else {
            return false;
        };
        let own = self.author(ix);
        // Beside the formal text: a forked device signs nothing from the fork on.
        let unforked = |at: EntryIx| self.graph.seq(at) < self.first_fork(self.author(at), &past);
        if !crew.present(own)
            || own == propose.device
            || !unforked(ix)
            || !unforked(proposal)
            || !self.first_signature(proposal)
        {
            return false;
        }
        let mut signers = BTreeSet::from([own]);
        for consent in &seal.consents {
            let Some(consent) = self.find(consent, &past) else {
                continue;
            };
            let by = self.author(consent);
            if matches!(self.graph.body(consent), Body::Consent(_))
                && self.signs(consent) == Some(proposal)
                && crew.present(by)
                && by != propose.device
                && unforked(consent)
                && self.first_signature(consent)
            {
                signers.insert(by);
            }
        }
        signers.len() >= 2 && 2 * signers.len() > crew.devices().len()
    }

    /// A later offer of the role by the same author, which had not seen the take.
    fn offered_again(&self, offer: EntryIx, take: EntryIx, within: &Set) -> bool {
        let Some((role, from, _)) = self.role_offer(offer) else {
            return false;
        };
        within.iter().any(|&other| {
            self.author(other) == self.author(offer)
                && self.graph.seq(other) > self.graph.seq(offer)
                && self
                    .role_offer(other)
                    .is_some_and(|(r, f, _)| r == role && f == from)
                && !self.before(take, other)
                && self.in_office(other)
                && self.offer_is_in_order(other)
        })
    }

    fn chain(&self, within: &Rc<Set>) -> Rc<Vec<EntryIx>> {
        if let Some(known) = self.chains.borrow().get(within) {
            return Rc::clone(known);
        }
        let mut chain = vec![EntryIx(0)];
        if within.is_empty() {
            chain.clear();
        }
        while let Some(&last) = chain.last() {
            let best = within
                .iter()
                .filter_map(|&ix| Some((ix, self.parent(ix)?)))
                .filter(|(ix, term)| {
                    term.parent == last
                        && (term.takeover || {
                            let Body::Take(take) = self.graph.body(*ix) else {
                                return false;
                            };
                            let offer = self.graph.find(&take.offer).unwrap();
                            !self.offered_again(offer, *ix, within)
                        })
                })
                .max_by_key(|(ix, term)| (term.takeover, term.attempt, self.graph.hash(*ix)));
            match best {
                Some((ix, _)) => chain.push(ix),
                None => break,
            }
        }
        let chain = Rc::new(chain);
        self.chains
            .borrow_mut()
            .insert(Rc::clone(within), Rc::clone(&chain));
        chain
    }

    /// Whether the author is supervisor of the term that the entry's past ends with. Beside the formal text:
    /// and present there, and not known to have forked.
    fn in_office(&self, ix: EntryIx) -> bool {
        let past = self.past(ix);
        let by = self.author(ix);
        self.chain(&past)
            .last()
            .is_some_and(|&office| self.author(office) == by)
            && self.acts(ix)
    }

    /// Present in its own past, and not known there to have forked.
    fn acts(&self, ix: EntryIx) -> bool {
        let past = self.past(ix);
        let by = self.author(ix);
        self.roster(&past).present(by) && self.graph.seq(ix) < self.first_fork(by, &past)
    }

    fn standing(&self, within: &Rc<Set>) -> Rc<Standing> {
        if let Some(known) = self.stands.borrow().get(within) {
            return Rc::clone(known);
        }
        let chain = self.chain(within);
        let mut standing = Vec::new();
        for &ix in within.iter() {
            let of_office = match self.graph.body(ix) {
                // Beside the formal text: void of a key that is out for ever, and nobody needs to know of it.
                Body::Admit(admit) => !self.device_removals(&self.past(ix)).iter().any(|m| {
                    m.device == admit.device && !matches!(self.graph.body(m.by), Body::Leave)
                }),
                Body::Amend(_) | Body::StepBack(_) => true,
                Body::Offer(_) => self.offer_is_in_order(ix),
                Body::Seal(seal) => {
                    let past = self.past(ix);
                    self.proposal(ix, seal).is_some_and(|propose| {
                        propose.kind == Proposal::Remove
                            && self.roster(&past).present(propose.device)
                            && self.quorum(ix, seal)
                    })
                }
                _ => false,
            };
            if !of_office {
                continue;
            }
            let own = self.chain(&self.past(ix));
            let Some(&office) = own.last() else { continue };
            if !self.in_office(ix) {
                continue;
            }
            let Some(at) = chain.iter().position(|&term| term == office) else {
                continue;
            };
            if chain
                .get(at + 1)
                .is_some_and(|&next| !self.before(ix, next))
            {
                continue;
            }
            if self.graph.seq(ix) >= self.first_fork(self.author(ix), within) {
                continue;
            }
            standing.push((at, self.graph.seq(ix), ix));
        }
        standing.sort_unstable();
        let standing = Rc::new(standing);
        self.stands
            .borrow_mut()
            .insert(Rc::clone(within), Rc::clone(&standing));
        standing
    }

    fn stands(&self, ix: EntryIx, within: &Rc<Set>) -> bool {
        self.standing(within).iter().any(|&(_, _, at)| at == ix)
    }

    /// Beside the formal text: a relief of another's role is asked for by that person, unless gone.
    fn offer_is_in_order(&self, ix: EntryIx) -> bool {
        let Some((role, from, to)) = self.role_offer(ix) else {
            return false;
        };
        let past = self.past(ix);
        let crew = self.roster(&past);
        let gone = !crew.present(from);
        let asked = from == self.author(ix)
            || gone
            || past.iter().any(|&note| {
                self.author(note) == from
                    && matches!(self.graph.body(note), Body::Note(note)
                        if matches!(&note.kind, NoteKind::ReliefWanted { role: r } if r == role))
            });
        let office = !role.is_supervisor() || from == self.author(ix);
        asked && office && from != to && crew.present(to) && (gone || crew.holds(from, role))
    }

    /// Removals of whole devices.
    fn device_removals(&self, within: &Rc<Set>) -> Vec<Removal> {
        let mut removals = Vec::new();
        let mut out = |by, device| {
            removals.push(Removal {
                by,
                device,
                role: None,
            });
        };
        for &(_, _, ix) in self.standing(within).iter() {
            if let Body::Seal(seal) = self.graph.body(ix) {
                out(ix, self.proposal(ix, seal).unwrap().device);
            }
        }
        for &ix in self.chain(within).iter() {
            if let Some(term) = self.parent(ix)
                && term.takeover
            {
                out(ix, term.replaced);
            }
        }
        for &ix in within.iter() {
            if matches!(self.graph.body(ix), Body::Leave)
                && self.roster(&self.past(ix)).present(self.author(ix))
            {
                out(ix, self.author(ix));
            }
        }
        removals
    }

    fn roster(&self, within: &Rc<Set>) -> Rc<Crew> {
        if let Some(known) = self.crews.borrow().get(within) {
            return Rc::clone(known);
        }
        let chain = self.chain(within);
        let standing = self.standing(within);
        let mut crew = Crew {
            supervisor: chain.last().map(|&ix| self.author(ix)),
            removals: self.device_removals(within),
            ..Crew::default()
        };
        let mut removed: BTreeSet<DeviceKey> = BTreeSet::new();
        for (at, &start) in chain.iter().enumerate() {
            self.begin_term(start, &mut crew, &mut removed);
            for &(_, _, ix) in standing.iter().filter(|(term, _, _)| *term == at) {
                self.apply(ix, within, &mut crew, &mut removed);
            }
        }
        // Beside the formal text: nobody is in office who is not present.
        crew.supervisor = crew.supervisor.filter(|device| crew.present(*device));
        let crew = Rc::new(crew);
        self.crews
            .borrow_mut()
            .insert(Rc::clone(within), Rc::clone(&crew));
        crew
    }

    fn begin_term(&self, start: EntryIx, crew: &mut Crew, removed: &mut BTreeSet<DeviceKey>) {
        let own = self.author(start);
        crew.grants.insert(start);
        if let Body::Found(found) = self.graph.body(start) {
            let roles = found.roles.iter().map(|role| (role.clone(), start));
            if self.left_since(crew, own, start) {
                crew.holders.insert(own, Holder::default());
                return;
            }
            crew.holders.insert(
                own,
                Holder {
                    present: true,
                    admitted_by: Some(start),
                    roles: roles.collect(),
                },
            );
            return;
        }
        let term = self.parent(start).unwrap();
        if let Some(holder) = crew.holders.get_mut(&term.replaced) {
            holder.roles.remove(&supervisor_role());
            if term.takeover {
                holder.present = false;
                removed.insert(term.replaced);
            } else {
                crew.removals.push(Removal {
                    by: start,
                    device: term.replaced,
                    role: Some(supervisor_role()),
                });
            }
        }
        let holder = crew.holders.entry(own).or_default();
        holder.roles.insert(supervisor_role(), start);
    }

    /// Whether a device has left without having seen that it was given something: it has it no more. Beside the formal
    /// text, where only its presence ends: whoever comes back has what the new admission gives, and is briefed anew.
    fn left_since(&self, crew: &Crew, device: DeviceKey, given: EntryIx) -> bool {
        crew.removals.iter().any(|m| {
            m.device == device
                && matches!(self.graph.body(m.by), Body::Leave)
                && !self.before(m.by, given)
        })
    }

    fn apply(
        &self,
        ix: EntryIx,
        within: &Rc<Set>,
        crew: &mut Crew,
        removed: &mut BTreeSet<DeviceKey>,
    ) {
        match self.graph.body(ix) {
            Body::Admit(admit) if !removed.contains(&admit.device) => {
                crew.grants.insert(ix);
                let left = self.left_since(crew, admit.device, ix);
                let holder = crew.holders.entry(admit.device).or_default();
                if left {
                    return;
                }
                if !holder.present {
                    holder.present = true;
                    holder.admitted_by = Some(ix);
                    holder.roles.clear();
                }
                // The office passes by handover and takeover alone (SUCCESSION).
                for role in admit.roles.iter().filter(|role| !role.is_supervisor()) {
                    holder.roles.entry(role.clone()).or_insert(ix);
                }
            }
            Body::Seal(seal) => {
                let device = self.proposal(ix, seal).unwrap().device;
                removed.insert(device);
                if let Some(holder) = crew.holders.get_mut(&device) {
                    holder.present = false;
                }
            }
            Body::Offer(_) => {
                let Some((role, from, to)) = self.role_offer(ix) else {
                    return;
                };
                let from_ready = crew.holds(from, role) || !crew.present(from);
                if role.is_supervisor() || !from_ready || !crew.holders.contains_key(&to) {
                    return;
                }
                let take = within
                    .iter()
                    .copied()
                    .filter(|&take| {
                        matches!(self.graph.body(take), Body::Take(named)
                            if self.find(&named.offer, &self.past(take)) == Some(ix))
                            && self.author(take) == to
                            && self.acts(take)
                            && self.graph.seq(take) < self.first_fork(to, within)
                            && !self.offered_again(ix, take, within)
                            && !crew.removals.iter().any(|m| {
                                m.device == to && m.role.is_none() && self.apart(m.by, take)
                            })
                    })
                    .min_by_key(|&take| (self.graph.seq(take), self.graph.hash(take)));
                let Some(take) = take else { return };
                let left = self.left_since(crew, to, take);
                if !crew.present(to) && !left {
                    return;
                }
                crew.grants.insert(take);
                crew.removals.push(Removal {
                    by: take,
                    device: from,
                    role: Some(role.clone()),
                });
                if let Some(holder) = crew.holders.get_mut(&from) {
                    holder.roles.remove(role);
                }
                let holder = crew.holders.get_mut(&to).unwrap();
                if !left {
                    holder.roles.entry(role.clone()).or_insert(take);
                }
            }
            _ => {}
        }
    }

    // ---- S2

    fn holds(&self, ack: EntryIx, role: &RoleId, within: &Rc<Set>) -> bool {
        let then = self.roster(&self.past(ack));
        let own = self.author(ack);
        if !then.holds(own, role) {
            return false;
        }
        let holder = &then.holders[&own];
        let now = self.roster(within);
        now.grants.contains(&holder.roles[role])
            && holder.admitted_by.is_none_or(|by| now.grants.contains(&by))
            && !now.removals.iter().any(|m| {
                m.device == own
                    && m.role.as_ref().is_none_or(|lost| lost == role)
                    && self.apart(m.by, ack)
            })
    }

    fn roles_of(&self, ack: EntryIx, check: &Check, within: &Rc<Set>) -> Vec<RoleId> {
        self.plan
            .roles
            .iter()
            .map(|role| role.id.clone())
            .filter(|role| check.who.may(role) && self.holds(ack, role, within))
            .collect()
    }

    /// Beside the formal text: a removal that the author had seen takes nothing from it. Whoever left and was admitted
    /// again goes on, and who is out for ever holds no role in what it knows (C1).
    fn accepted(&self, ack: EntryIx, within: &Rc<Set>) -> bool {
        let own = self.author(ack);
        let crew = self.roster(within);
        let mut removals = crew
            .removals
            .iter()
            .filter(|m| m.device == own && m.role.is_none() && !self.before(m.by, ack))
            .peekable();
        if removals.peek().is_none() {
            return self.graph.seq(ack) < self.first_fork(own, within);
        }
        removals.all(|m| {
            self.before(ack, m.by) && self.graph.seq(ack) < self.first_fork(own, &self.past(m.by))
        })
    }

    // ---- S3

    /// Beside the formal text: an objection to a complete step is a stop by itself.
    fn is_stop(&self, ix: EntryIx) -> bool {
        self.graph.body(ix).is_stop() || self.objection(ix).is_some_and(|objection| objection.was)
    }

    fn stops(&self, within: &Set) -> Vec<EntryIx> {
        within
            .iter()
            .copied()
            .filter(|&ix| self.is_stop(ix))
            .collect()
    }

    fn done(&self, stop: EntryIx) -> BTreeSet<StepId> {
        self.complete(&self.past(stop))
    }

    /// Releases are judged by their own past alone. Beside the formal text: one release ends all that its ask
    /// names, or nothing.
    fn seals(&self, release: EntryIx, stop: EntryIx) -> bool {
        let Body::Release(said) = self.graph.body(release) else {
            return false;
        };
        let past = self.past(release);
        let crew = self.roster(&past);
        let lead = self.author(release);
        let Some(ask) = self.find(&said.ask, &past) else {
            return false;
        };
        let Body::Ask(asked) = self.graph.body(ask) else {
            return false;
        };
        let named: Vec<EntryIx> = asked
            .stops
            .iter()
            .filter_map(|hash| self.find(hash, &past))
            .filter(|&ix| self.is_stop(ix))
            .collect();
        let hash = self.graph.hash(ask);
        let agreed = |device: DeviceKey| {
            past.iter().any(|&ix| {
                self.author(ix) == device
                    && matches!(self.graph.body(ix), Body::Agree(agree) if agree.to == hash)
            })
        };
        let declined = past.iter().any(|&ix| {
            matches!(self.graph.body(ix), Body::Decline(decline) if decline.to == hash)
                && self.roster(&self.past(ix)).present(self.author(ix))
        });
        let mut must: BTreeSet<DeviceKey> = self
            .plan
            .agree_by
            .iter()
            .flat_map(|role| crew.holding(role))
            .collect();
        must.extend(
            named
                .iter()
                // Whoever wrote down a stranger's stop did not stop.
                .filter(|&&ix| {
                    !matches!(self.graph.body(ix), Body::Stop(stop)
                        if matches!(stop.kind, StopKind::Stranger { .. }))
                })
                .map(|&ix| self.author(ix))
                .filter(|&by| crew.present(by)),
        );
        must.remove(&lead);
        crew.supervisor == Some(lead)
            && self.acts(release)
            && self.author(ask) == lead
            && named.contains(&stop)
            && named.iter().all(|&ix| self.heard_by_all(ix, ask, release))
            && !declined
            && must.iter().all(|&device| agreed(device))
            && crew
                .devices()
                .iter()
                .any(|&device| device != lead && agreed(device))
    }

    /// What a release needs of one stop: heard by everyone present, the ask the newest; and, beside the formal
    /// text, a new briefing if there was a stop of the same cause before.
    fn heard_by_all(&self, stop: EntryIx, ask: EntryIx, release: EntryIx) -> bool {
        let past = self.past(release);
        let hash = self.graph.hash(stop);
        let newer = past.iter().any(|&ix| {
            self.author(ix) == self.author(ask)
                && self.graph.seq(ix) > self.graph.seq(ask)
                && matches!(self.graph.body(ix), Body::Ask(ask) if ask.stops.contains(&hash))
        });
        let repeats = self.cause(stop).is_some_and(|cause| {
            self.past(stop).iter().any(|&older| {
                self.cause(older).as_ref() == Some(&cause) && self.released(older, &self.past(stop))
            })
        });
        !newer
            && self.roster(&past).devices().iter().all(|&device| {
                let said = |wanted: &dyn Fn(EntryIx, &Body) -> bool| {
                    past.iter()
                        .any(|&ix| self.author(ix) == device && wanted(ix, self.graph.body(ix)))
                };
                (self.author(stop) == device
                    || said(&|_, body| matches!(body, Body::Heard(heard) if heard.stop == hash)))
                    && (!repeats
                        || said(&|ix, body| {
                            matches!(body, Body::Briefed(_)) && self.before(stop, ix)
                        }))
            })
    }

    /// Why, in words to compare: of a stop its kind and what was said, of a withdrawal the check.
    fn cause(&self, ix: EntryIx) -> Option<String> {
        let said = |kind: &str, words: &str| {
            let words = words.trim().to_lowercase();
            (!words.is_empty()).then(|| format!("{kind}: {words}"))
        };
        match self.graph.body(ix) {
            Body::Stop(stop) => match &stop.kind {
                StopKind::Work => said("work", &stop.why),
                StopKind::AllStop => said("all stop", &stop.why),
                StopKind::Emergency => said("emergency", &stop.why),
                StopKind::OrderLost => Some("order lost".into()),
                StopKind::Stranger { words, .. } => said("stranger", words),
            },
            Body::Withdraw(withdraw) => {
                let ack = self.acknowledged(self.graph.find(&withdraw.entry)?)?;
                Some(format!("withdrawn {}/{}", ack.step, ack.check))
            }
            _ => None,
        }
    }

    fn released(&self, stop: EntryIx, within: &Set) -> bool {
        within.iter().any(|&release| self.seals(release, stop))
    }

    // ---- S4

    fn step(&self, id: &StepId) -> Option<&Step> {
        self.plan.step(id)
    }

    fn asked(&self, step: &StepId, check: &CheckId) -> Option<&Check> {
        self.step(step)?.check(check)
    }

    fn passes(&self, check: &Check, said: &Said) -> bool {
        match (&check.expects, said) {
            (Expects::Yes, Said::Yes) => true,
            (Expects::OneOf { passes, .. }, Said::Words(words)) => words == passes,
            (Expects::Measured { limit }, Said::Value { value, unit }) => {
                let limit = self.plan.limit(limit).unwrap();
                &limit.unit == unit
                    && limit.least.is_none_or(|least| *value >= least)
                    && limit.most.is_none_or(|most| *value <= most)
            }
            _ => false,
        }
    }

    fn acknowledged(&self, ix: EntryIx) -> Option<&Acknowledge> {
        match self.graph.body(ix) {
            Body::Acknowledge(ack) => Some(ack),
            _ => None,
        }
    }

    fn objection(&self, ix: EntryIx) -> Option<Objection> {
        if let Some(known) = self.objections.borrow().get(&ix) {
            return known.clone();
        }
        let objection = self.objection_of(ix);
        self.objections.borrow_mut().insert(ix, objection.clone());
        objection
    }

    /// Whether the author of an entry holds a role of the check in the entry's past.
    fn may(&self, ix: EntryIx, check: &Check) -> bool {
        let crew = self.roster(&self.past(ix));
        self.plan
            .roles
            .iter()
            .any(|role| check.who.may(&role.id) && crew.holds(self.author(ix), &role.id))
    }

    /// Whether what is said is an answer to the check at all, passing or not.
    fn answers(&self, check: &Check, said: &Said) -> bool {
        match (&check.expects, said) {
            (Expects::Yes, Said::Yes) | (Expects::Measured { .. }, Said::Value { .. }) => true,
            (Expects::OneOf { answers, .. }, Said::Words(words)) => answers.contains(words),
            _ => false,
        }
    }

    fn objection_of(&self, ix: EntryIx) -> Option<Objection> {
        let past = self.past(ix);
        match self.graph.body(ix) {
            Body::Cannot(cannot) => {
                let check = self.asked(&cannot.step, &cannot.check)?;
                self.may(ix, check).then(|| Objection {
                    ix,
                    step: cannot.step.clone(),
                    check: cannot.check.clone(),
                    was: self.complete(&past).contains(&cannot.step),
                    cannot: true,
                    own_only: false,
                })
            }
            Body::Acknowledge(ack) => {
                let check = self.asked(&ack.step, &ack.check)?;
                if !self.may(ix, check) || !self.answers(check, &ack.said) {
                    return None;
                }
                self.changed(ix, ack, check)
            }
            _ => None,
        }
    }

    /// A changed value: an answer that differs from its author's last one. Beside the formal text, to the
    /// safer side: if the step was complete, also one that differs from what others last said, in a read-back
    /// from any of them, of two roles from all; what is no answer to the check differs from every answer.
    fn changed(&self, ix: EntryIx, ack: &Acknowledge, check: &Check) -> Option<Objection> {
        let past = self.past(ix);
        let mut newest: BTreeMap<_, EntryIx> = BTreeMap::new();
        for &older in past.iter() {
            if let Some(o) = self.acknowledged(older)
                && o.step == ack.step
                && o.check == ack.check
            {
                newest.insert(self.graph.chain(older), older);
            }
        }
        let newest: Vec<EntryIx> = newest
            .into_values()
            .filter(|&older| self.may(older, check))
            .collect();
        let differs = |older: EntryIx| {
            self.acknowledged(older)
                .is_some_and(|older| older.said != ack.said)
        };
        let mine = newest
            .iter()
            .copied()
            .filter(|&older| self.author(older) == self.author(ix))
            .max_by_key(|&older| self.graph.seq(older));
        let own = mine.is_some_and(differs);
        let of_others = |&&older: &&EntryIx| self.author(older) != self.author(ix);
        let others = match &check.who {
            Who::ReadBack { .. } => newest.iter().filter(of_others).any(|&older| {
                !newest.iter().any(|&later| self.before(older, later)) && differs(older)
            }),
            Who::Roles(places) if places.len() > 1 => {
                newest.iter().any(|older| of_others(&older))
                    && newest.iter().all(|&older| differs(older))
            }
            Who::Roles(_) | Who::Each(_) | Who::SecondLook { .. } => false,
        };
        if !own && !others {
            return None;
        }
        let was = self.complete(&past).contains(&ack.step);
        (own || was).then(|| Objection {
            ix,
            step: ack.step.clone(),
            check: ack.check.clone(),
            was,
            cannot: false,
            own_only: own && !others && !was,
        })
    }

    fn in_scope(
        &self,
        objection: &Objection,
        ack: EntryIx,
        step: &StepId,
        check: &CheckId,
    ) -> bool {
        if objection.was {
            self.covers(&objection.step, step)
        } else {
            &objection.step == step
                && &objection.check == check
                && (!objection.own_only
                    || self.author(objection.ix) == self.author(ack)
                        && self.graph.seq(ack) < self.graph.seq(objection.ix))
        }
    }

    /// The steps that come before a step.
    fn earlier(&self, step: &StepId) -> BTreeSet<StepId> {
        let mut earlier = BTreeSet::new();
        let mut todo = vec![step.clone()];
        while let Some(at) = todo.pop() {
            for after in &self.step(&at).unwrap().after {
                if earlier.insert(after.clone()) {
                    todo.push(after.clone());
                }
            }
        }
        earlier
    }

    /// The step itself and everything after it.
    fn covers(&self, from: &StepId, step: &StepId) -> bool {
        from == step || self.earlier(step).contains(from)
    }

    /// A standing CANNOT. Beside the formal text, an answer that does not pass, and would count but for that,
    /// stands like one.
    fn blocked(&self, step: &StepId, check: &Check, weighed: &Weighed, within: &Rc<Set>) -> bool {
        let crew = self.roster(within);
        within.iter().any(|&ix| {
            let cannot = self.objection(ix).is_some_and(|objection| {
                objection.cannot && &objection.step == step && objection.check == check.id
            });
            let on_check = |ix: EntryIx| {
                self.acknowledged(ix)
                    .is_some_and(|ack| &ack.step == step && ack.check == check.id)
            };
            let by = self.author(ix);
            let then = self.roster(&self.past(ix));
            (cannot || weighed.fails.contains(&ix) && on_check(ix))
                && self.plan.roles.iter().any(|role| {
                    check.who.may(&role.id) && then.holds(by, &role.id) && crew.holds(by, &role.id)
                })
                && !weighed
                    .counts
                    .iter()
                    .any(|&ack| self.author(ack) == by && self.before(ix, ack) && on_check(ack))
        })
    }

    // ---- S5

    /// What a proof of life in an entry says that the device had.
    fn said_known(&self, ix: EntryIx, behind: &[(DeviceTag, u32)]) -> Set {
        let past = self.past(ix);
        let mut count: BTreeMap<DeviceTag, u32> = BTreeMap::new();
        for &at in past.iter() {
            let next = count.entry(self.author(at).tag()).or_default();
            *next = (*next).max(self.graph.seq(at) + 1);
        }
        for (tag, less) in behind {
            if let Some(at) = count.get_mut(tag) {
                *at = at.saturating_sub(*less);
            }
        }
        past.iter()
            .copied()
            .filter(|&at| self.graph.seq(at) < count[&self.author(at).tag()])
            .collect()
    }

    fn proof_of(&self, ix: EntryIx, device: DeviceKey) -> Option<(u32, Set)> {
        // Not a release's: there the gate takes less for proved than it could, and asks for more to be said again.
        let evidence = match self.graph.body(ix) {
            Body::Acknowledge(ack) => &ack.evidence,
            Body::Close(close) => &close.evidence,
            _ => return None,
        };
        let proof = evidence.proofs.iter().find(|p| p.device == device.tag())?;
        Some((proof.age_ms, self.said_known(ix, &proof.behind)))
    }

    /// K: what the past of a removal proves that the device had.
    fn proved(&self, removal: &Removal) -> Rc<Set> {
        let past = self.past(removal.by);
        let mut known = Set::new();
        match self.graph.body(removal.by) {
            Body::Seal(seal) => {
                for &ix in past.iter() {
                    if self.author(ix) == removal.device {
                        known.insert(ix);
                        known.extend(self.past(ix).iter());
                    }
                    if let Some((_, set)) = self.proof_of(ix, removal.device) {
                        known.extend(set);
                    }
                }
                let beacon: BTreeMap<DeviceTag, u32> = self
                    .proposal(removal.by, seal)
                    .unwrap()
                    .known
                    .iter()
                    .copied()
                    .collect();
                known.extend(past.iter().filter(|&&ix| {
                    beacon
                        .get(&self.author(ix).tag())
                        .is_some_and(|&count| self.graph.seq(ix) < count)
                }));
                Rc::new(known)
            }
            _ => past,
        }
    }

    /// dn: steps that stay complete whatever the removed device may still have said.
    fn done_for(&self, removal: &Removal) -> BTreeSet<StepId> {
        let known = self.proved(removal);
        let mut done = self.complete(&known);
        for &ix in self.past(removal.by).difference(&known) {
            if let Some(objection) = self.objection(ix) {
                // Beside the formal text: what was complete takes what comes after with it.
                done.retain(|step| {
                    step != &objection.step
                        && !(objection.was && self.covers(&objection.step, step))
                });
            }
        }
        done
    }

    // ---- S6

    fn counted(&self, within: &Rc<Set>) -> Rc<Weighed> {
        if let Some(known) = self.counted.borrow().get(within) {
            return Rc::clone(known);
        }
        let removals: Vec<(EntryIx, Rc<Set>, BTreeSet<StepId>)> = self
            .roster(within)
            .removals
            .iter()
            .filter(|m| m.role.is_none())
            .map(|m| (m.by, self.proved(m), self.done_for(m)))
            .collect();
        let stops: Vec<(EntryIx, BTreeSet<StepId>)> = self
            .stops(within)
            .into_iter()
            .map(|stop| (stop, self.done(stop)))
            .collect();
        let mut counted = Weighed::default();
        for &ack in within.iter() {
            match self.why_not(ack, within, &counted, &stops, &removals) {
                Ok(()) => counted.counts.insert(ack),
                Err("C6") => counted.fails.insert(ack),
                Err(_) => false,
            };
        }
        let counted = Rc::new(counted);
        self.counted
            .borrow_mut()
            .insert(Rc::clone(within), Rc::clone(&counted));
        counted
    }

    fn why_not(
        &self,
        ix: EntryIx,
        within: &Rc<Set>,
        counted: &Weighed,
        stops: &[(EntryIx, BTreeSet<StepId>)],
        removals: &[(EntryIx, Rc<Set>, BTreeSet<StepId>)],
    ) -> Result<(), &'static str> {
        let ack = self.acknowledged(ix).ok_or("no acknowledgement")?;
        let check = self.asked(&ack.step, &ack.check).ok_or("no such check")?;
        let rule = |holds: bool, name: &'static str| if holds { Ok(()) } else { Err(name) };
        self.c1_role(ix, ack, check, within)?;
        rule(self.c2_order(ix, ack, counted), "C2")?;
        rule(self.c3_stopped(ix, ack, stops), "C3")?;
        rule(
            removals.iter().all(|(by, known, done)| {
                self.before(*by, ix) || known.contains(&ix) && done.contains(&ack.step)
            }),
            "C4",
        )?;
        rule(self.c5_covers(ix, ack, within), "C5")?;
        self.c7_evidence(ix, ack, counted)?;
        rule(self.answers(check, &ack.said), "no answer")?;
        rule(self.passes(check, &ack.said), "C6")
    }

    fn c1_role(
        &self,
        ix: EntryIx,
        ack: &Acknowledge,
        check: &Check,
        within: &Rc<Set>,
    ) -> Result<(), &'static str> {
        let rule = |holds: bool, name: &'static str| if holds { Ok(()) } else { Err(name) };
        let past = self.past(ix);
        let crew = self.roster(&past);
        let own = self.author(ix);
        rule(self.accepted(ix, within), "C1 accepted")?;
        rule(!self.roles_of(ix, check, within).is_empty(), "C1 role")?;
        let amends: Vec<EntryIx> = self
            .standing(&past)
            .iter()
            .map(|&(_, _, at)| at)
            .filter(|&at| matches!(self.graph.body(at), Body::Amend(_)))
            .collect();
        rule(ack.version as usize == amends.len(), "C1 version")?;
        let briefed = |device: DeviceKey, after: &[EntryIx]| {
            past.iter().any(|&at| {
                self.author(at) == device
                    && matches!(self.graph.body(at), Body::Briefed(_))
                    && after.iter().all(|&amend| self.before(amend, at))
            })
        };
        let mut after = amends.clone();
        after.extend(crew.holders[&own].admitted_by);
        rule(briefed(own, &after), "C1 briefed")?;
        if let Some(&last) = amends.last() {
            let then = self.roster(&self.past(last));
            for device in crew.devices() {
                rule(
                    !then.present(device) || briefed(device, &[last]),
                    "C1 others briefed",
                )?;
            }
        }
        for device in crew.devices() {
            rule(self.first_fork(device, &past) == u32::MAX, "C1 fork")?;
        }
        let held = |role: &str| !crew.holding(&RoleId::try_from(role).unwrap()).is_empty();
        rule(held("supervisor") && held("observer"), "C1 vacant")?;
        // Beside the formal text: as many of each role as the plan asks for.
        let few = self
            .plan
            .roles
            .iter()
            .any(|role| crew.holding(&role.id).len() < usize::from(role.least));
        rule(!few, "C1 few")
    }

    fn c2_order(&self, ix: EntryIx, ack: &Acknowledge, counted: &Weighed) -> bool {
        let past = self.past(ix);
        let counted = counted.within(&past);
        self.earlier(&ack.step)
            .iter()
            .all(|step| self.step_done(step, &counted, &past))
    }

    fn c3_stopped(
        &self,
        ix: EntryIx,
        ack: &Acknowledge,
        stops: &[(EntryIx, BTreeSet<StepId>)],
    ) -> bool {
        stops.iter().all(|(stop, done)| {
            let by = self.author(*stop);
            if *stop == ix {
                true
            } else if self.before(*stop, ix) {
                self.released(*stop, &self.past(ix))
            } else if self.before(ix, *stop) {
                done.contains(&ack.step) || !self.roster(&self.past(*stop)).present(by)
            } else {
                !self.roster(&self.past(ix)).present(by)
            }
        })
    }

    fn c5_covers(&self, ix: EntryIx, ack: &Acknowledge, within: &Rc<Set>) -> bool {
        let past = self.past(ix);
        let office = self.standing(within).iter().all(|&(_, _, at)| {
            let from: Vec<&StepId> = match self.graph.body(at) {
                Body::StepBack(back) => vec![&back.step],
                // Beside the formal text: an amendment covers what it changes, too.
                Body::Amend(amend) => amend
                    .covers
                    .iter()
                    .chain(amend.changes.iter().filter_map(|change| match change {
                        Change::Step(step) => Some(&step.id),
                        _ => None,
                    }))
                    .collect(),
                _ => Vec::new(),
            };
            past.contains(&at) || !from.iter().any(|from| self.covers(from, &ack.step))
        });
        let crew = self.roster(&past);
        let withdrawn = within.iter().any(|&at| {
            let Body::Withdraw(withdraw) = self.graph.body(at) else {
                return false;
            };
            let Some(what) = self.find(&withdraw.entry, &self.past(at)) else {
                return false;
            };
            !past.contains(&at)
                && self.author(what) == self.author(at)
                && crew.present(self.author(at))
                && self
                    .acknowledged(what)
                    .is_some_and(|what| self.covers(&what.step, &ack.step))
        });
        let objected = within.iter().any(|&at| {
            at != ix
                && !past.contains(&at)
                && self.objection(at).is_some_and(|objection| {
                    // Beside the formal text: FORK takes acknowledgements, as changed values too.
                    (objection.cannot || self.accepted(at, within))
                        && self.in_scope(&objection, ix, &ack.step, &ack.check)
                })
        });
        office && !withdrawn && !objected
    }

    fn c7_evidence(
        &self,
        ix: EntryIx,
        ack: &Acknowledge,
        counted: &Weighed,
    ) -> Result<(), &'static str> {
        let rule = |holds: bool, name: &'static str| if holds { Ok(()) } else { Err(name) };
        let past = self.past(ix);
        // What speaks against a check does so from the whole past.
        let mut common = counted.within(&past);
        for device in self.roster(&past).devices() {
            if device == self.author(ix) {
                continue;
            }
            let (age_ms, known) = self.proof_of(ix, device).ok_or("C7 proof")?;
            rule(
                u64::from(age_ms) <= self.plan.times.watch_limit_ms,
                "C7 age",
            )?;
            // Beside the formal text: the entries that started the terms, too.
            let office = self.standing(&past);
            let terms = self.chain(&past);
            rule(
                office
                    .iter()
                    .map(|(_, _, at)| at)
                    .chain(terms.iter())
                    .all(|at| known.contains(at)),
                "C7 office",
            )?;
            common.counts.retain(|ix| known.contains(ix));
        }
        for step in self.earlier(&ack.step) {
            rule(self.step_done(&step, &common, &past), "C7 known")?;
        }
        Ok(())
    }

    // ---- S7

    fn step_done(&self, step: &StepId, counted: &Weighed, within: &Rc<Set>) -> bool {
        let at = self.step(step).unwrap();
        at.checks.iter().all(|check| {
            let given: Vec<EntryIx> = counted
                .counts
                .iter()
                .copied()
                .filter(|&ix| {
                    self.acknowledged(ix)
                        .is_some_and(|ack| &ack.step == step && ack.check == check.id)
                })
                .collect();
            !self.blocked(step, check, counted, within) && self.filled(check, &given, within)
        })
    }

    fn filled(&self, check: &Check, given: &[EntryIx], within: &Rc<Set>) -> bool {
        let may = |ix: EntryIx, roles: &[RoleId]| {
            let crew = self.roster(&self.past(ix));
            roles.iter().any(|role| crew.holds(self.author(ix), role))
        };
        match &check.who {
            Who::Roles(places) => self.seats(places, given, &BTreeSet::new()),
            Who::Each(Some(role)) => self.each(role, given, within),
            Who::ReadBack { report, repeat } => given.iter().any(|&x| {
                given.iter().any(|&y| {
                    self.before(x, y)
                        && self.author(x) != self.author(y)
                        && may(x, report)
                        && may(y, repeat)
                        && self.acknowledged(x).map(|a| &a.said)
                            == self.acknowledged(y).map(|a| &a.said)
                })
            }),
            Who::Each(None) | Who::SecondLook { .. } => panic!("not in the formal text"),
        }
    }

    /// Somebody for each place, different devices.
    fn seats(&self, places: &[RoleId], given: &[EntryIx], taken: &BTreeSet<DeviceKey>) -> bool {
        let Some((role, rest)) = places.split_first() else {
            return true;
        };
        given.iter().any(|&ix| {
            let by = self.author(ix);
            let mut more = taken.clone();
            self.roster(&self.past(ix)).holds(by, role)
                && more.insert(by)
                && self.seats(rest, given, &more)
        })
    }

    fn each(&self, role: &RoleId, given: &[EntryIx], within: &Rc<Set>) -> bool {
        let crew = self.roster(within);
        let mut some: Vec<EntryIx> = given.to_vec();
        loop {
            let authors: BTreeSet<DeviceKey> = some.iter().map(|&ix| self.author(ix)).collect();
            let size = some.len();
            some.retain(|&ix| {
                self.roster(&self.past(ix))
                    .holding(role)
                    .iter()
                    .all(|device| {
                        authors.contains(device)
                            || crew.removals.iter().any(|m| {
                                m.device == *device
                                    && m.role.as_ref().is_none_or(|lost| lost == role)
                            })
                    })
            });
            if some.len() == size {
                return size > 0;
            }
        }
    }

    fn complete(&self, within: &Rc<Set>) -> BTreeSet<StepId> {
        let counted = self.counted(within);
        let done: BTreeSet<StepId> = self
            .plan
            .steps
            .iter()
            .map(|step| step.id.clone())
            .filter(|step| self.step_done(step, &counted, within))
            .collect();
        done.iter()
            .filter(|step| self.earlier(step).is_subset(&done))
            .cloned()
            .collect()
    }
}

/// Whether the rules that stand here speak of everything in a job: not of second looks, readings and standing
/// conditions, items and marks, roles that exclude each other; exceptions, days, closing and exit plans.
#[must_use]
pub fn speaks_of(job: &Job) -> bool {
    let graph = job.graph();
    let Body::Found(found) = graph.body(EntryIx(0)) else {
        return false;
    };
    let plan = &found.plan;
    let of_check = |check: &Check| match check.who {
        Who::Roles(_) | Who::Each(Some(_)) => check.expects == Expects::Yes,
        Who::ReadBack { .. } => matches!(check.expects, Expects::Yes | Expects::OneOf { .. }),
        Who::Each(None) | Who::SecondLook { .. } => false,
    };
    let of_step = |step: &Step| {
        step.checks.iter().all(of_check)
            && step.needs.is_empty()
            && step.sets.is_empty()
            && step.items.is_empty()
            && step.moves.is_empty()
    };
    plan.conditions.is_empty()
        && plan.roles.iter().all(|role| role.not_with.is_empty())
        && plan.steps.iter().all(of_step)
        && found.continues.is_none()
        && graph.iter().all(|ix| {
            !matches!(
                graph.body(ix),
                Body::Exception(_)
                    | Body::Suspend(_)
                    | Body::ResumeDay(_)
                    | Body::ExitPlan(_)
                    | Body::Void(_)
            )
        })
}

/// The log in lines, for whoever has to settle a difference.
pub fn lines(graph: &Graph) -> impl Iterator<Item = String> + '_ {
    graph.iter().map(|ix| {
        let parents: Vec<u32> = graph.parents_of(ix).map(|parent| parent.0).collect();
        let said: String = format!("{:?}", graph.body(ix)).chars().take(160).collect();
        format!(
            "{} {:?} {} {} after {parents:?}: {said}",
            ix.0,
            graph.author(ix).tag(),
            graph.seq(ix),
            graph.hash(ix)
        )
    })
}

/// Where gate and reference differ on a job that the reference speaks of ([`speaks_of`]); the first of each kind of
/// thing; empty: nowhere. Takes its time: 15 to 20 ms for sixty entries, 2 s for 680.
#[must_use]
pub fn differences(job: &Job) -> Vec<String> {
    let graph = job.graph();
    let reference = Reference::new(graph);
    let all: Rc<Set> = Rc::new(graph.iter().collect());
    let mut found = Vec::new();
    let crew = reference.roster(&all);
    let roster = job.roster();
    if roster.supervisor != crew.supervisor {
        found.push(format!(
            "supervisor: gate {:?}, reference {:?}",
            roster.supervisor, crew.supervisor
        ));
    }
    let picture = |present: bool, roles: Vec<&RoleId>| {
        if present {
            format!("{roles:?}")
        } else {
            "out".into()
        }
    };
    let keys: BTreeSet<DeviceKey> = roster
        .members
        .keys()
        .chain(crew.holders.keys())
        .copied()
        .collect();
    for key in keys {
        let gate = roster.members.get(&key).map_or("none".into(), |member| {
            picture(member.present, member.roles.iter().collect())
        });
        let mine = crew.holders.get(&key).map_or("none".into(), |holder| {
            picture(holder.present, holder.roles.keys().collect())
        });
        if gate != mine {
            found.push(format!("roster {key:?}: gate {gate}, reference {mine}"));
        }
    }
    let in_force: BTreeSet<EntryIx> = job.stops().iter().map(|stop| stop.entry).collect();
    for stop in reference.stops(&all) {
        let released = reference.released(stop, &all);
        if released == in_force.contains(&stop) {
            found.push(format!(
                "stop {} {:?}: reference released {released}",
                stop.0,
                graph.body(stop)
            ));
        }
    }
    for &stop in &in_force {
        if !reference.stops(&all).contains(&stop) {
            found.push(format!("stop {} only in the gate", stop.0));
        }
    }
    let counted = reference.counted(&all);
    let stops: Vec<(EntryIx, BTreeSet<StepId>)> = reference
        .stops(&all)
        .into_iter()
        .map(|stop| (stop, reference.done(stop)))
        .collect();
    let removals: Vec<_> = crew
        .removals
        .iter()
        .filter(|m| m.role.is_none())
        .map(|m| (m.by, reference.proved(m), reference.done_for(m)))
        .collect();
    for ix in graph.iter() {
        let Body::Acknowledge(ack) = graph.body(ix) else {
            continue;
        };
        let verdict = job.verdict(ix);
        if (verdict == Verdict::Counts) != counted.counts.contains(&ix) {
            found.push(format!(
                "ack {} by {:?} of {}: gate {verdict:?}, reference {:?}",
                ix.0,
                graph.author(ix).tag(),
                ack.step,
                reference.why_not(ix, &all, &counted, &stops, &removals)
            ));
        }
    }
    let complete = reference.complete(&all);
    if &complete != job.complete() {
        found.push(format!(
            "complete: gate {:?}, reference {complete:?}",
            job.complete()
        ));
    }
    for step in &job.plan().steps {
        let open = !complete.contains(&step.id) && reference.earlier(&step.id).is_subset(&complete);
        let state = job.step_state(&step.id);
        if matches!(state, StepState::Locked | StepState::Done) == open {
            found.push(format!(
                "step {}: gate {state:?}, reference open {open}",
                step.id
            ));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::random::{formal_job, replayed};
    use super::super::testkit::{Crew, name, plan};
    use super::*;

    #[test]
    fn the_gate_agrees_with_the_rules_word_by_word() {
        let number = |name: &str, usual: u64| {
            std::env::var(name)
                .ok()
                .and_then(|text| text.parse().ok())
                .unwrap_or(usual)
        };
        let start = number("SEED", 100);
        let mut differ = 0;
        let mut counts = 0;
        for seed in start..start + number("REFERENCE_JOBS", 12) {
            let all = formal_job(seed, 90);
            let job = replayed(&all, usize::MAX);
            let found = differences(&job);
            counts += job
                .graph()
                .iter()
                .filter(|&ix| {
                    matches!(job.graph().body(ix), Body::Acknowledge(_))
                        && job.verdict(ix) == Verdict::Counts
                })
                .count();
            if !found.is_empty() {
                differ += 1;
                println!(
                    "seed {seed}, {} entries:\n  {}",
                    job.graph().len(),
                    found.join("\n  ")
                );
                if std::env::var("DUMP").is_ok() {
                    lines(job.graph()).for_each(|line| println!("  {line}"));
                }
            }
        }
        println!("acknowledgements that count: {counts}");
        assert_eq!(
            differ, 0,
            "jobs on which gate and reference differ, seeds above"
        );
        assert!(
            counts > 0,
            "from seed {start}: nothing counts, try more jobs"
        );
    }

    #[test]
    fn a_job_of_which_the_rules_here_say_nothing_is_not_judged_by_them() {
        let of = |plan: &Plan| speaks_of(&Crew::new(plan, 4).devices[0].job);
        let good = || {
            let mut good = plan();
            good.conditions.clear();
            good
        };
        assert!(of(&good()));
        let mut second = good();
        second.steps[0].checks[0].who = Who::SecondLook {
            first: vec![name("tower")],
            second: vec![name("ground")],
        };
        let mut measured = good();
        measured.steps[0].checks[0].expects = Expects::Measured {
            limit: name("clearance"),
        };
        let mut exclusive = good();
        exclusive.roles[1].not_with.push(name("tower"));
        for other in [second, measured, exclusive] {
            assert!(!of(&other));
        }
    }
}
