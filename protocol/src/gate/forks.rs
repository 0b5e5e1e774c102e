//! Forks: from which number on is an author's chain split, as far as one cut shows?
//! Owns: nothing.   Gives: `first_fork`, `forks_in`.
//! May use: log::graph, ids.   Never: what follows from a fork (counts, standing).

use crate::ids::DeviceKey;
use crate::log::graph::{ChainIx, Cut, Graph};

/// The chains from this one down to the author's first, each with the number of its first own entry.
fn path(graph: &Graph, chain: ChainIx) -> Vec<(ChainIx, u32)> {
    let mut path = Vec::new();
    let mut next = Some(chain);
    while let Some(chain) = next {
        let Some(first) = graph.first_of(chain) else {
            break;
        };
        path.push((chain, graph.seq(first)));
        let before = graph.content(first).prev;
        next = graph.find(&before).map(|before| graph.chain(before));
    }
    path.reverse();
    path
}

/// The lowest number of which `cut` holds two different entries of `author`.
pub(super) fn first_fork(graph: &Graph, cut: &Cut, author: DeviceKey) -> Option<u32> {
    let chains: Vec<ChainIx> = graph
        .chains_of(author)
        .filter(|&chain| {
            let count = cut.get(chain.0 as usize).copied().unwrap_or(0);
            graph
                .first_of(chain)
                .is_some_and(|first| graph.seq(first) < count)
        })
        .collect();
    if chains.len() < 2 {
        return None;
    }
    let paths: Vec<_> = chains.iter().map(|&chain| path(graph, chain)).collect();
    let mut lowest: Option<u32> = None;
    for (at, one) in paths.iter().enumerate() {
        for other in &paths[at + 1..] {
            if let Some(seq) = parts_at(cut, one, other) {
                lowest = Some(lowest.map_or(seq, |lowest| lowest.min(seq)));
            }
        }
    }
    lowest
}

/// Where two branches part, if the cut holds an entry of each from there on.
fn parts_at(cut: &Cut, one: &[(ChainIx, u32)], other: &[(ChainIx, u32)]) -> Option<u32> {
    let common = one
        .iter()
        .zip(other)
        .take_while(|(a, b)| a.0 == b.0)
        .count();
    match (one.get(common), other.get(common)) {
        (Some(&(_, a)), Some(&(_, b))) => Some(a.min(b)),
        (Some(&(_, first)), None) | (None, Some(&(_, first))) => {
            let stem = common.checked_sub(1).and_then(|at| one.get(at))?.0;
            (cut.get(stem.0 as usize).copied().unwrap_or(0) > first).then_some(first)
        }
        (None, None) => None,
    }
}

/// Every author with a fork in the cut, with the number where it starts, in order of keys.
pub(super) fn forks_in(graph: &Graph, cut: &Cut) -> Vec<(DeviceKey, u32)> {
    if graph.forks().is_empty() {
        return Vec::new();
    }
    let mut authors: Vec<DeviceKey> = graph.forks().iter().map(|fork| fork.author).collect();
    authors.sort_unstable();
    authors.dedup();
    authors
        .into_iter()
        .filter_map(|author| first_fork(graph, cut, author).map(|seq| (author, seq)))
        .collect()
}
