//! Reading: in what order does a person read a log, and in what do several logs of one job differ?
//! Owns: nothing.   Gives: `readable_order`, `lacking`.
//! May use: log::graph.   Never: verdicts (gate), words (node).

use crate::ids::{DeviceKey, EntryHash};
use crate::log::graph::{EntryIx, Graph};
use crate::time::Stamp;
use core::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

/// All entries in one order for reading, the same on every device that holds the same entries: each after
/// its whole past, and of those whose past is told, the one with the lowest (stamp, author, number) next.
#[must_use]
pub fn readable_order(graph: &Graph) -> Vec<EntryIx> {
    let mut untold = vec![0_u32; graph.len()];
    let mut children: Vec<Vec<EntryIx>> = vec![Vec::new(); graph.len()];
    let mut next = BinaryHeap::new();
    for ix in graph.iter() {
        for parent in graph.parents_of(ix) {
            untold[ix.0 as usize] += 1;
            children[parent.0 as usize].push(ix);
        }
        if untold[ix.0 as usize] == 0 {
            next.push(Reverse((place(graph, ix), ix)));
        }
    }
    let mut told = Vec::with_capacity(graph.len());
    while let Some(Reverse((_, ix))) = next.pop() {
        told.push(ix);
        for &child in &children[ix.0 as usize] {
            let left = &mut untold[child.0 as usize];
            *left -= 1;
            if *left == 0 {
                next.push(Reverse((place(graph, child), child)));
            }
        }
    }
    told
}

fn place(graph: &Graph, ix: EntryIx) -> (Stamp, DeviceKey, u32, EntryHash) {
    let content = graph.content(ix);
    (content.stamp, content.author, content.seq, graph.hash(ix))
}

/// An entry by its author and number.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct EntryName {
    /// The author.
    pub author: DeviceKey,
    /// Its number.
    pub seq: u32,
    /// Its hash, which tells the branches of a fork apart.
    pub hash: EntryHash,
}

/// For each of several logs the entries that another of them holds and it does not, by author and number.
/// All empty: the logs hold the same.
#[must_use]
pub fn lacking(logs: &[&Graph]) -> Vec<Vec<EntryName>> {
    let mut all = BTreeMap::new();
    for log in logs {
        for ix in log.iter() {
            let name = EntryName {
                author: log.author(ix),
                seq: log.seq(ix),
                hash: log.hash(ix),
            };
            all.insert(name, name.hash);
        }
    }
    logs.iter()
        .map(|log| {
            all.iter()
                .filter(|(_, hash)| log.find(hash).is_none())
                .map(|(name, _)| *name)
                .collect()
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::log::sample::{self, Draw};
    use crate::log::sign::Verified;
    use std::collections::BTreeSet;

    /// The same entries, put in by another order of arrival.
    fn shuffled(graph: &Graph, seed: u64) -> Graph {
        let mut draw = Draw(seed);
        let mut left: Vec<Verified> = graph
            .iter()
            .map(|ix| sample::unverified(graph.entry(ix).clone()))
            .collect();
        let mut other = Graph::new();
        while !left.is_empty() {
            let at = draw.below(left.len());
            if other.missing(&left[at].entry().content).is_empty()
                && other.insert(left[at].clone()).is_ok()
            {
                left.swap_remove(at);
            }
        }
        other
    }

    #[test]
    fn the_order_is_causal_and_does_not_depend_on_arrival() {
        for seed in 0..10 {
            println!("seed {seed}");
            let graph = sample::job(80, seed);
            let order = readable_order(&graph);
            assert_eq!(order.iter().collect::<BTreeSet<_>>().len(), graph.len());
            for (at, &one) in order.iter().enumerate() {
                assert!(!order[..at].iter().any(|&before| graph.before(one, before)));
            }
            let other = shuffled(&graph, seed ^ 77);
            let hashes = |graph: &Graph| -> Vec<EntryHash> {
                let order = readable_order(graph);
                order.into_iter().map(|ix| graph.hash(ix)).collect()
            };
            assert_eq!(hashes(&graph), hashes(&other), "seed {seed}");
        }
    }

    #[test]
    fn logs_that_differ_are_told_apart() {
        let graph = sample::job(50, 1);
        let mut shorter = Graph::new();
        for ix in graph.iter().take(45) {
            let entry = graph.entry(ix).clone();
            shorter.insert(sample::unverified(entry)).unwrap();
        }
        let found = lacking(&[&graph, &shorter]);
        assert!(found[0].is_empty());
        let lost: BTreeSet<EntryHash> = found[1].iter().map(|name| name.hash).collect();
        let expected = graph.iter().skip(45).map(|ix| graph.hash(ix)).collect();
        assert_eq!(lost, expected);
        assert_eq!(lacking(&[&graph, &graph]), [Vec::new(), Vec::new()]);
    }
}
