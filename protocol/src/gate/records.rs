//! Records: acknowledgements, objections, stops and removals, indexed by step and check as they come in.
//! Owns: the index.   Gives: `Records`.
//! May use: plans, bits, log::graph.   Never: whether any of it counts (rules).

use super::bits::Steps;
use super::plans::{CheckNo, Cover, Roles};
use crate::ids::DeviceKey;
use crate::log::graph::{Cut, EntryIx, Graph};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Entries of one kind, by chain and in each chain by number, so that those in a cut are a prefix.
#[derive(Clone, Debug)]
pub(super) struct ByChain<T>(Vec<Vec<(u32, T)>>);

impl<T> Default for ByChain<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T: Copy> ByChain<T> {
    pub(super) fn push(&mut self, graph: &Graph, ix: EntryIx, value: T) {
        let chain = graph.chain(ix).0 as usize;
        if self.0.len() <= chain {
            self.0.resize_with(chain + 1, Vec::new);
        }
        let seq = graph.seq(ix);
        let list = &mut self.0[chain];
        if list.last().is_none_or(|(last, _)| *last <= seq) {
            list.push((seq, value));
        } else {
            let at = list.partition_point(|(known, _)| *known <= seq);
            list.insert(at, (seq, value));
        }
    }

    /// Those in `cut` and not in `past`, the newest of each chain first.
    pub(super) fn beyond<'a>(
        &'a self,
        past: &'a Cut,
        cut: &'a Cut,
    ) -> impl Iterator<Item = T> + 'a {
        self.0.iter().enumerate().flat_map(move |(chain, list)| {
            let seen = past.get(chain).copied().unwrap_or(0);
            let here = cut.get(chain).copied().unwrap_or(0);
            list.iter()
                .rev()
                .skip_while(move |(seq, _)| *seq >= here)
                .take_while(move |(seq, _)| *seq >= seen)
                .map(|&(_, value)| value)
        })
    }

    /// Those in `cut`, chain by chain.
    pub(super) fn chains<'a>(
        &'a self,
        cut: &'a Cut,
    ) -> impl Iterator<Item = (usize, &'a [(u32, T)])> + 'a {
        self.0.iter().enumerate().map(move |(chain, list)| {
            let here = cut.get(chain).copied().unwrap_or(0);
            let before = list.partition_point(|(seq, _)| *seq < here);
            (chain, &list[..before])
        })
    }

    /// The newest of one chain in `cut`.
    pub(super) fn newest_on(&self, chain: usize, cut: &Cut) -> Option<T> {
        let list = self.0.get(chain)?;
        let here = cut.get(chain).copied().unwrap_or(0);
        let before = list.partition_point(|(seq, _)| *seq < here);
        list.get(before.checked_sub(1)?).map(|&(_, value)| value)
    }

    /// The newest of each chain in `cut`.
    pub(super) fn newest<'a>(&'a self, cut: &'a Cut) -> impl Iterator<Item = T> + 'a {
        self.0.iter().enumerate().filter_map(move |(chain, list)| {
            let here = cut.get(chain).copied().unwrap_or(0);
            let before = list.partition_point(|(seq, _)| *seq < here);
            list.get(before.checked_sub(1)?).map(|&(_, value)| value)
        })
    }
}

/// An acknowledgement, or what stands in its place.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Kind {
    Plain,
    /// An exception of the supervisor.
    Exception,
    /// Agreement to the exception with this number.
    Cosign(u32),
    /// The job's close.
    Close,
}

/// What its own past says of an acknowledgement; never changes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Fit {
    /// Nothing against it.
    Good,
    /// Nothing but that what it says does not let the check be complete.
    FailsValue,
    /// Nothing but that a second reader has to bear it out (REREAD).
    SecondReader,
    /// It never counts.
    Never,
}

/// What an acknowledgement is worth in a set of entries.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Weight {
    /// It counts.
    Counts,
    /// It would, were it not for what it says: it speaks against the check.
    Fails,
    /// It would, if a second reader bore it out.
    Unborne,
    /// Nothing.
    Nothing,
}

/// An acknowledgement.
#[derive(Clone, Debug)]
pub(super) struct Ack {
    pub(super) ix: EntryIx,
    pub(super) device: DeviceKey,
    /// Number of its person.
    pub(super) person: u16,
    /// Roles held in its past that may acknowledge the check.
    pub(super) roles: Roles,
    pub(super) step: u16,
    pub(super) check: CheckNo,
    pub(super) kind: Kind,
    pub(super) fit: Fit,
    /// Every device was proved to hold as much as the author.
    pub(super) level: bool,
}

/// The step number of a close: after every step of the plan.
pub(super) const CLOSE_STEP: u16 = u16::MAX;

/// An objection: somebody cannot confirm, or says otherwise than before.
#[derive(Clone, Debug)]
pub(super) struct Objection {
    pub(super) ix: EntryIx,
    pub(super) device: DeviceKey,
    /// Roles held in its past that may acknowledge the check.
    pub(super) roles: Roles,
    pub(super) step: u16,
    pub(super) check: CheckNo,
    /// A `cannot confirm`; else an answer that differs.
    pub(super) cannot: bool,
    /// The step was complete in its past: it covers the step and everything after it, and is a stop.
    pub(super) was: bool,
    /// It takes back its own author's answers only.
    pub(super) own_only: bool,
}

/// A stop.
#[derive(Clone, Debug)]
pub(super) struct StopRecord {
    pub(super) ix: EntryIx,
    pub(super) device: DeviceKey,
    /// Whether its author was present in its past.
    pub(super) present: bool,
    /// Steps complete in its past.
    pub(super) done: Arc<Steps>,
    /// What a withdrawal asks to confirm again.
    pub(super) cover: Option<Arc<Cover>>,
    /// Releases of it, each judged by its own past.
    pub(super) releases: Vec<EntryIx>,
}

/// What a removal proves (definition S5).
#[derive(Clone, Debug)]
pub(super) struct RemovalRecord {
    /// What the removed device is proved to have held.
    pub(super) known: Vec<u32>,
    /// Steps that stay complete.
    pub(super) done: Steps,
}

/// What there is of one check.
#[derive(Clone, Debug, Default)]
pub(super) struct CheckRecords {
    /// Acknowledgements, by number, ascending.
    pub(super) acks: Vec<u32>,
    /// Acknowledgements by chain.
    pub(super) chains: ByChain<u32>,
    pub(super) cannots: ByChain<u32>,
    /// Objections whose scope is this check.
    pub(super) objections: ByChain<u32>,
    pub(super) exceptions: Vec<u32>,
    /// Two answers differ, or one does not pass: completeness can be lost without anything being taken back.
    pub(super) uneven: bool,
}

/// The index.
#[derive(Clone, Debug, Default)]
pub(super) struct Records {
    pub(super) acks: Vec<Ack>,
    /// By entry: number of its acknowledgement and one; 0: none.
    ack_of: Vec<u32>,
    pub(super) by_step: Vec<Vec<u32>>,
    pub(super) closes: Vec<u32>,
    checks: Vec<CheckRecords>,
    pub(super) objections: Vec<Objection>,
    /// Objections that cover a whole step, by step.
    step_objections: Vec<ByChain<u32>>,
    pub(super) stops: Vec<StopRecord>,
    pub(super) stops_by_chain: ByChain<u32>,
    /// For a look that says what was done: looks of which two people had agreed, as far as its author had seen,
    /// that they do not pass. A fact of its past.
    pub(super) ended: BTreeMap<EntryIx, Vec<EntryIx>>,
    persons: Vec<crate::ids::Person>,
}

impl Records {
    pub(super) fn ack_of(&self, ix: EntryIx) -> Option<u32> {
        self.ack_of.get(ix.0 as usize)?.checked_sub(1)
    }

    pub(super) fn ack(&self, number: u32) -> &Ack {
        &self.acks[number as usize]
    }

    /// The looks whose round was over for the author of this one, because two people agreed.
    pub(super) fn ended_before(&self, look: EntryIx) -> &[EntryIx] {
        self.ended.get(&look).map_or(&[], Vec::as_slice)
    }

    pub(super) fn check(&self, check: CheckNo) -> Option<&CheckRecords> {
        self.checks.get(check.0 as usize)
    }

    pub(super) fn check_mut(&mut self, check: CheckNo) -> &mut CheckRecords {
        let at = check.0 as usize;
        if self.checks.len() <= at {
            self.checks.resize_with(at + 1, CheckRecords::default);
        }
        &mut self.checks[at]
    }

    pub(super) fn step_objections(&self, step: u16) -> Option<&ByChain<u32>> {
        self.step_objections.get(usize::from(step))
    }

    pub(super) fn person(&mut self, person: &crate::ids::Person) -> u16 {
        let at = match self.persons.iter().position(|known| known == person) {
            Some(at) => at,
            None => {
                self.persons.push(person.clone());
                self.persons.len() - 1
            }
        };
        at as u16
    }

    pub(super) fn push_ack(&mut self, graph: &Graph, ack: Ack) -> u32 {
        let number = self.acks.len() as u32;
        let entry = ack.ix.0 as usize;
        if self.ack_of.len() <= entry {
            self.ack_of.resize(entry + 1, 0);
        }
        self.ack_of[entry] = number + 1;
        if ack.kind == Kind::Close {
            self.closes.push(number);
        } else {
            let step = usize::from(ack.step);
            if self.by_step.len() <= step {
                self.by_step.resize_with(step + 1, Vec::new);
            }
            self.by_step[step].push(number);
            let (ix, kind) = (ack.ix, ack.kind);
            let check = self.check_mut(ack.check);
            check.acks.push(number);
            match kind {
                Kind::Plain => check.chains.push(graph, ix, number),
                Kind::Exception => check.exceptions.push(number),
                Kind::Cosign(_) | Kind::Close => {}
            }
        }
        self.acks.push(ack);
        number
    }

    pub(super) fn push_objection(&mut self, graph: &Graph, objection: Objection, after: &Steps) {
        let number = self.objections.len() as u32;
        let ix = objection.ix;
        let check = self.check_mut(objection.check);
        if objection.cannot {
            check.cannots.push(graph, ix, number);
        }
        if objection.was {
            let mut steps = after.clone();
            steps.insert(objection.step);
            for step in steps.iter() {
                let at = usize::from(step);
                if self.step_objections.len() <= at {
                    self.step_objections.resize_with(at + 1, ByChain::default);
                }
                self.step_objections[at].push(graph, ix, number);
            }
        } else {
            check.objections.push(graph, ix, number);
        }
        self.objections.push(objection);
    }

    pub(super) fn push_stop(&mut self, graph: &Graph, stop: StopRecord) {
        let number = self.stops.len() as u32;
        self.stops_by_chain.push(graph, stop.ix, number);
        self.stops.push(stop);
    }

    pub(super) fn stop_of(&self, ix: EntryIx) -> Option<&StopRecord> {
        self.stops
            .binary_search_by_key(&ix, |stop| stop.ix)
            .ok()
            .and_then(|at| self.stops.get(at))
    }

    pub(super) fn stop_number(&self, ix: EntryIx) -> Option<usize> {
        self.stops.binary_search_by_key(&ix, |stop| stop.ix).ok()
    }
}
