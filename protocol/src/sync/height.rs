//! Height: what one device lacks that another has, from how many entries of each author they hold.
//! Owns: nothing; pure functions of a graph and heights.   Gives: heights, what to give, whom to ask.
//! May use: log::graph, ids.   Never: what was sent before; nothing is remembered that a lost message could
//! leave wrong.

use crate::ids::{DeviceKey, DeviceTag, EntryHash};
use crate::log::graph::{EntryIx, Graph};
use crate::sync::message::Ask;
use std::collections::{BTreeMap, BTreeSet};

/// For each author, how many entries from number 0 on are held without gap, up to a fork.
pub type Heights = BTreeMap<DeviceTag, u32>;

/// For each author that forked, the lowest number where branches part.
fn fork_seqs(graph: &Graph) -> BTreeMap<DeviceTag, u32> {
    let mut seqs = BTreeMap::new();
    for fork in graph.forks() {
        let seq = seqs.entry(fork.author.tag()).or_insert(fork.seq);
        *seq = fork.seq.min(*seq);
    }
    seqs
}

/// What a graph holds (HAVE).
#[must_use]
pub fn heights(graph: &Graph) -> Heights {
    let mut held = Heights::new();
    for (chain, count) in (0_u32..).zip(graph.all()) {
        let author = graph.chain_author(crate::log::graph::ChainIx(chain)).tag();
        let height = held.entry(author).or_insert(0);
        *height = (*height).max(*count);
    }
    for (author, seq) in fork_seqs(graph) {
        held.insert(author, seq);
    }
    held
}

/// Whether `theirs` shows more of some author than `mine`.
#[must_use]
pub fn ahead_of(theirs: &Heights, mine: &Heights) -> bool {
    theirs
        .iter()
        .any(|(author, count)| mine.get(author).copied().unwrap_or(0) < *count)
}

/// Whether a device with these heights has only one branch of a fork that is known here: it is shown the
/// evidence.
#[must_use]
pub fn misses_fork(graph: &Graph, theirs: &Heights) -> bool {
    fork_seqs(graph)
        .iter()
        .any(|(author, seq)| theirs.get(author).is_some_and(|count| count > seq))
}

/// What the heights say is missing, at most `most`, each after its past; whether there is more.
///
/// Of a forked author all that is from the fork on is given to one who has more than the fork's number,
/// as that one knows a single branch, and to one who has less, as it will not come to know by heights.
#[must_use]
pub fn to_give(graph: &Graph, theirs: &Heights, most: usize) -> (Vec<EntryIx>, bool) {
    given(graph, theirs, &[], most)
}

/// As [`to_give`], with the entries named and their past besides.
#[must_use]
pub fn given(
    graph: &Graph,
    theirs: &Heights,
    want: &[EntryHash],
    most: usize,
) -> (Vec<EntryIx>, bool) {
    let forks = fork_seqs(graph);
    let wanted: Vec<EntryIx> = want.iter().filter_map(|hash| graph.find(hash)).collect();
    let by_heights = |ix: EntryIx, tag: &DeviceTag, seq: u32| {
        let count = theirs.get(tag).copied().unwrap_or(0);
        let knows_one_branch = forks
            .get(tag)
            .is_some_and(|fork| seq >= *fork && count != *fork);
        seq >= count && !forks.contains_key(tag)
            || forks
                .get(tag)
                .is_some_and(|fork| seq >= count && seq < *fork)
            || knows_one_branch
            || wanted.contains(&ix)
    };
    let by_name = |ix: EntryIx, tag: &DeviceTag, seq: u32| {
        forks.get(tag).is_some_and(|fork| seq >= *fork)
            && wanted.iter().any(|&wanted| graph.before(ix, wanted))
    };
    let mut out = Vec::new();
    for ix in graph.iter() {
        let tag = graph.author(ix).tag();
        let seq = graph.seq(ix);
        if by_heights(ix, &tag, seq) || by_name(ix, &tag, seq) {
            if out.len() == most {
                return (out, true);
            }
            out.push(ix);
        }
    }
    (out, false)
}

/// Tips of another device that are not here: to be asked for by name.
#[must_use]
pub fn unlisted(graph: &Graph, tips: &[EntryHash]) -> Vec<EntryHash> {
    tips.iter()
        .copied()
        .filter(|tip| graph.find(tip).is_none())
        .collect()
}

impl Ask {
    /// The heights as a map; the lowest of two for one author.
    #[must_use]
    pub fn heights(&self) -> Heights {
        let mut heights = Heights::new();
        for (author, count) in &self.heights {
            let height = heights.entry(*author).or_insert(*count);
            *height = (*height).min(*count);
        }
        heights
    }

    /// Asks with what is held here and what is in hand: signatures being checked, or on the way to disk.
    #[must_use]
    pub fn new(
        held: &Heights,
        in_hand: &BTreeMap<DeviceKey, BTreeSet<u32>>,
        want: impl IntoIterator<Item = EntryHash>,
    ) -> Self {
        let heights = with_in_hand(held, in_hand).into_iter().collect();
        let mut ask = Self {
            heights,
            want: want.into_iter().collect(),
        };
        ask.fit();
        ask
    }
}

/// Heights as they will be once all that is in hand is in.
#[must_use]
pub fn with_in_hand(held: &Heights, in_hand: &BTreeMap<DeviceKey, BTreeSet<u32>>) -> Heights {
    let mut heights = held.clone();
    for (author, seqs) in in_hand {
        let height = heights.entry(author.tag()).or_insert(0);
        for seq in seqs.range(*height..) {
            if *seq != *height {
                break;
            }
            *height += 1;
        }
    }
    heights
}
