//! World: one set of entries to be judged, and what acknowledgements are worth in it.
//! Owns: nothing but a memory of answers.   Gives: `Core` (everything that never changes), `World`, `Said`.
//! May use: views, records, facts, log::graph.   Never: a set that is not closed under past.

use super::plans::{CheckNo, PlanAt, Roles};
use super::records::{Ack, Fit, Kind, Records, RemovalRecord, Weight};
use super::tally::Tally;
use super::views::{View, Views};
use crate::facts::Facts;
use crate::ids::DeviceKey;
use crate::ids::EntryHash;
use crate::log::entry::{Body, Evidence};
use crate::log::graph::{Cut, EntryIx, Graph};
use crate::reason::Reason;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// The entries and every fact about them that is settled by their own past.
#[derive(Clone, Debug)]
pub(super) struct Core {
    pub(super) graph: Graph,
    pub(super) views: Views,
    pub(super) facts: Facts,
    pub(super) records: Records,
    /// What each removal of a device proves.
    pub(super) removals: BTreeMap<EntryIx, RemovalRecord>,
    /// Exit plans that were sealed: the plan and its seals.
    pub(super) exits: BTreeMap<EntryIx, Vec<EntryIx>>,
    /// Seals of the voiding of unknown entries: the unknown entry and the agreements that complete it.
    pub(super) unknown: Vec<EntryIx>,
    /// Asks and exit plans, in order of arrival.
    pub(super) asks: Vec<EntryIx>,
    /// Asks by each stop that they name, whether they had seen it or not, in order of arrival.
    pub(super) asks_naming: BTreeMap<EntryHash, Vec<EntryIx>>,
    /// Agreements and refusals, by what they answer.
    pub(super) agrees: BTreeMap<EntryIx, Vec<EntryIx>>,
    pub(super) declines: BTreeMap<EntryIx, Vec<EntryIx>>,
    /// Answers `heard`, by stop.
    pub(super) heards: BTreeMap<EntryIx, Vec<EntryIx>>,
    pub(super) proposals: Vec<EntryIx>,
    /// Consents, and acceptances that may be consents.
    pub(super) consents: Vec<EntryIx>,
    pub(super) voids: Vec<EntryIx>,
    /// Entries that put a condition out of bounds.
    pub(super) outs: super::records::ByChain<EntryIx>,
    /// Steps complete in the past of each entry that can make steps incomplete.
    pub(super) done_at: BTreeMap<EntryIx, std::sync::Arc<super::bits::Steps>>,
}

/// Where the worth of acknowledgements is known from.
#[derive(Debug)]
pub(super) enum Weights<'a> {
    /// The running count over all entries.
    Tally(&'a Tally),
    /// Worked out as asked for, over another set.
    Memo(Memo),
}

/// Answers already worked out for one set.
#[derive(Clone, Debug, Default)]
pub(super) struct Memo {
    weights: RefCell<BTreeMap<u32, Weight>>,
    candidates: RefCell<BTreeMap<CheckNo, Rc<[u32]>>>,
}

/// Numbers of acknowledgements, ascending.
#[derive(Debug)]
pub(super) enum Candidates<'a> {
    Counted(&'a [u32]),
    Memo(Rc<[u32]>),
}

impl core::ops::Deref for Candidates<'_> {
    type Target = [u32];
    fn deref(&self) -> &[u32] {
        match self {
            Self::Counted(list) => list,
            Self::Memo(list) => list,
        }
    }
}

/// A set of entries.
#[derive(Debug)]
pub(super) struct World<'a> {
    pub(super) core: &'a Core,
    pub(super) cut: &'a Cut,
    pub(super) view: &'a View,
    pub(super) weights: Weights<'a>,
}

/// An acknowledgement, written or about to be, with its past.
#[derive(Clone, Copy, Debug)]
pub(super) struct Said<'a> {
    pub(super) author: DeviceKey,
    pub(super) seq: u32,
    /// `None`: not written yet; its past is everything here.
    pub(super) ix: Option<EntryIx>,
    pub(super) past: &'a Cut,
    pub(super) view: &'a View,
    pub(super) body: &'a Body,
    pub(super) step: u16,
    pub(super) check: CheckNo,
    pub(super) kind: Kind,
    pub(super) roles: Roles,
    pub(super) level: bool,
    /// Says what does not let the check be complete.
    pub(super) fails: bool,
}

impl<'a> World<'a> {
    /// The set `cut`, judged from nothing.
    pub(super) fn at(core: &'a Core, cut: &'a Cut, view: &'a View) -> Self {
        Self {
            core,
            cut,
            view,
            weights: Weights::Memo(Memo::default()),
        }
    }

    /// Everything, with the running count.
    pub(super) fn now(core: &'a Core, tally: &'a Tally) -> Self {
        Self {
            core,
            cut: core.graph.all(),
            view: core.views.now(),
            weights: Weights::Tally(tally),
        }
    }

    /// What an acknowledgement of this set is worth in it.
    pub(super) fn weight(&self, number: u32) -> Weight {
        match &self.weights {
            Weights::Tally(tally) => tally.weight(number),
            Weights::Memo(memo) => {
                let ack = self.core.records.ack(number);
                if ack.fit == Fit::Never || !self.core.graph.within(ack.ix, self.cut) {
                    return Weight::Nothing;
                }
                if let Some(&known) = memo.weights.borrow().get(&number) {
                    return known;
                }
                let weight = self.weigh(number);
                memo.weights.borrow_mut().insert(number, weight);
                weight
            }
        }
    }

    /// Acknowledgements of a check that may be worth something, ascending; exceptions may be left out.
    pub(super) fn candidates(&self, check: CheckNo) -> Candidates<'a> {
        match &self.weights {
            Weights::Tally(tally) => Candidates::Counted(tally.counted(check)),
            Weights::Memo(memo) => {
                if let Some(known) = memo.candidates.borrow().get(&check) {
                    return Candidates::Memo(Rc::clone(known));
                }
                let list = self.not_taken_back(check);
                memo.candidates.borrow_mut().insert(check, Rc::clone(&list));
                Candidates::Memo(list)
            }
        }
    }

    /// Acknowledgements of a check in this set that have seen every `cannot confirm` of it, and are not older
    /// than their author's own newest objection. Along a chain the past only grows, so they are its end.
    fn not_taken_back(&self, check: CheckNo) -> Rc<[u32]> {
        let (graph, core) = (&self.core.graph, self.core);
        let Some(records) = core.records.check(check) else {
            return Rc::from([]);
        };
        let objection = |number: u32| core.records.objections.get(number as usize);
        let cannots: Vec<EntryIx> = records
            .cannots
            .newest(self.cut)
            .filter(|&number| self.objects(number))
            .filter_map(objection)
            .filter(|objection| !objection.was)
            .map(|objection| objection.ix)
            .collect();
        let mut list: Vec<u32> = Vec::new();
        for (chain, acks) in records.chains.chains(self.cut) {
            let own = records
                .objections
                .newest_on(chain, self.cut)
                .filter(|&number| self.objects(number))
                .and_then(objection)
                .map_or(0, |objection| graph.seq(objection.ix));
            let start = acks.partition_point(|&(seq, number)| {
                let past = graph.past(core.records.ack(number).ix);
                seq < own || !cannots.iter().all(|&cannot| graph.within(cannot, past))
            });
            list.extend(
                acks[start..]
                    .iter()
                    .map(|&(_, number)| number)
                    .filter(|&number| core.records.ack(number).fit != Fit::Never),
            );
        }
        list.sort_unstable();
        Rc::from(list)
    }

    /// An acknowledgement as judged.
    pub(super) fn said(&self, ack: &Ack) -> Said<'a> {
        let core = self.core;
        Said {
            author: ack.device,
            seq: core.graph.seq(ack.ix),
            ix: Some(ack.ix),
            past: core.graph.past(ack.ix),
            view: core.views.past(ack.ix),
            body: core.graph.body(ack.ix),
            step: ack.step,
            check: ack.check,
            kind: ack.kind,
            roles: ack.roles,
            level: ack.level,
            fails: ack.fit == Fit::FailsValue,
        }
    }
}

impl Said<'_> {
    /// Whether its author had seen the entry.
    pub(super) fn saw(&self, graph: &Graph, ix: EntryIx) -> bool {
        graph.within(ix, self.past)
    }

    /// Whether the author of `ix` had seen it.
    pub(super) fn seen_by(&self, graph: &Graph, ix: EntryIx) -> bool {
        self.ix.is_some_and(|own| graph.before(own, ix))
    }

    pub(super) fn evidence(&self) -> Option<&Evidence> {
        match self.body {
            Body::Acknowledge(ack) => Some(&ack.evidence),
            Body::Exception(exception) => Some(&exception.evidence),
            Body::Close(close) => Some(&close.evidence),
            _ => None,
        }
    }

    pub(super) fn plan(&self) -> &PlanAt {
        &self.view.plan
    }
}

/// Collects reasons, or stops at the first.
#[derive(Debug)]
pub(super) struct Out {
    all: bool,
    pub(super) reasons: Vec<Reason>,
    against: bool,
}

impl Out {
    /// Only whether there is any.
    pub(super) fn first() -> Self {
        Self {
            all: false,
            reasons: Vec::new(),
            against: false,
        }
    }

    /// Every reason.
    pub(super) fn all() -> Self {
        Self {
            all: true,
            ..Self::first()
        }
    }

    pub(super) fn say(&mut self, reason: impl FnOnce() -> Reason) {
        self.against = true;
        if self.all {
            self.reasons.push(reason());
        }
    }

    pub(super) fn say_all(&mut self, reasons: Vec<Reason>) {
        for reason in reasons {
            self.say(|| reason);
        }
    }

    /// Whether there is a reason and no more are wanted.
    pub(super) fn enough(&self) -> bool {
        self.against && !self.all
    }

    pub(super) fn against(&self) -> bool {
        self.against
    }
}
