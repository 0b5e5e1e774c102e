//! Trail: entries of one kind, found again by chain, so that a query walks that kind and not the log.
//! Owns: places in the graph, chain by chain.   Gives: what lies in a cut, newest first.
//! May use: log::graph.   Never: what an entry means.

use crate::log::graph::{ChainIx, Cut, EntryIx, Graph};

#[derive(Clone, Copy, Debug)]
struct Step<T> {
    seq: u32,
    ix: EntryIx,
    what: T,
}

/// Entries of one kind with a value each, in the order of their chains.
#[derive(Clone, Debug)]
pub(super) struct Trail<T> {
    chains: Vec<Vec<Step<T>>>,
}

impl<T> Default for Trail<T> {
    fn default() -> Self {
        Self { chains: Vec::new() }
    }
}

impl<T> Trail<T> {
    /// Adds an entry; entries of one chain come in the order of their numbers, as the graph takes them.
    pub(super) fn push(&mut self, graph: &Graph, ix: EntryIx, what: T) {
        let chain = graph.chain(ix).0 as usize;
        if self.chains.len() <= chain {
            self.chains.resize_with(chain + 1, Vec::new);
        }
        self.chains[chain].push(Step {
            seq: graph.seq(ix),
            ix,
            what,
        });
    }

    fn inside(&self, chain: usize, cut: &Cut) -> &[Step<T>] {
        let steps = self.chains.get(chain).map_or(&[][..], Vec::as_slice);
        let count = cut.get(chain).copied().unwrap_or(0);
        &steps[..steps.partition_point(|step| step.seq < count)]
    }

    /// The entries of one chain that lie in the cut, newest first.
    pub(super) fn back<'a>(
        &'a self,
        chain: ChainIx,
        cut: &Cut,
    ) -> impl Iterator<Item = (EntryIx, &'a T)> + use<'a, T> {
        self.inside(chain.0 as usize, cut)
            .iter()
            .rev()
            .map(|step| (step.ix, &step.what))
    }

    /// The newest entry of each chain that lies in the cut.
    pub(super) fn newest<'a>(
        &'a self,
        cut: &'a Cut,
    ) -> impl Iterator<Item = (EntryIx, &'a T)> + use<'a, T> {
        (0..self.chains.len()).filter_map(move |chain| {
            self.inside(chain, cut)
                .last()
                .map(|step| (step.ix, &step.what))
        })
    }

    /// Everything that lies in the cut, chain by chain.
    pub(super) fn all<'a>(
        &'a self,
        cut: &'a Cut,
    ) -> impl Iterator<Item = (EntryIx, &'a T)> + use<'a, T> {
        (0..self.chains.len()).flat_map(move |chain| {
            self.inside(chain, cut)
                .iter()
                .map(|step| (step.ix, &step.what))
        })
    }

    /// For each chain, its entries from the first that the cut lacks on.
    pub(super) fn beyond<'a>(&'a self, cut: &'a Cut) -> impl Iterator<Item = EntryIx> + use<'a, T> {
        self.chains
            .iter()
            .enumerate()
            .filter_map(move |(chain, steps)| {
                steps.get(self.inside(chain, cut).len()).map(|step| step.ix)
            })
    }

    /// The value noted for an entry.
    pub(super) fn get(&self, graph: &Graph, ix: EntryIx) -> Option<&T> {
        let steps = self.chains.get(graph.chain(ix).0 as usize)?;
        let at = steps
            .binary_search_by_key(&graph.seq(ix), |step| step.seq)
            .ok()?;
        (steps[at].ix == ix).then_some(&steps[at].what)
    }

    /// The first entry noted on any chain that passes, in the cut, oldest of its chain first.
    pub(super) fn first_each<'a>(
        &'a self,
        cut: &'a Cut,
        mut pass: impl FnMut(EntryIx) -> bool + 'a,
    ) -> impl Iterator<Item = EntryIx> + 'a {
        (0..self.chains.len()).filter_map(move |chain| {
            let steps = self.inside(chain, cut);
            // What passes once passes from there on (it has something in its past), so halves can be left out.
            let from = steps.partition_point(|step| !pass(step.ix));
            steps.get(from).map(|step| step.ix)
        })
    }
}
