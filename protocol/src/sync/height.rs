//! Height: what one device lacks that another has, from how many entries of each author they hold.
//! Owns: nothing; pure functions of a graph and heights.   Gives: heights, what to give, whom to ask.
//! May use: log::graph, ids.   Never: what was sent before; nothing is remembered that a lost message could
//! leave wrong.

use crate::ids::{DeviceTag, EntryHash};
use crate::log::graph::{ChainIx, Cut, EntryIx, Graph};
use crate::sync::message::Ask;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

/// For each author, how many entries from number 0 on are held without gap, up to a fork.
pub type Heights = BTreeMap<DeviceTag, u32>;

/// For each author, the numbers of entries that are here and not in the log yet, in rising order.
pub type InHand = BTreeMap<DeviceTag, Vec<u32>>;

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
        let author = graph.chain_author(ChainIx(chain)).tag();
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

/// How many entries `theirs` has that `mine` has not, as far as heights tell.
#[must_use]
pub fn lack(theirs: &Heights, mine: &Heights) -> u64 {
    theirs
        .iter()
        .map(|(author, count)| count.saturating_sub(mine.get(author).copied().unwrap_or(0)))
        .map(u64::from)
        .sum()
}

/// Whether a device with heights `theirs` has only one branch of a fork that is known here: it is shown the
/// evidence. `held` is what is held here, up to each fork.
#[must_use]
pub fn misses_fork(graph: &Graph, held: &Heights, theirs: &Heights) -> bool {
    graph.forks().iter().any(|fork| {
        let author = fork.author.tag();
        theirs.get(&author) > held.get(&author)
    })
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
    // Runs of what is to be given, by the entry that comes next in each: entries are numbered as they came in, each
    // after its past.
    let mut runs = BinaryHeap::new();
    let mut run =
        |chain, from, until| runs.extend(Run::new(graph, chain, from, until).map(Reverse));
    for chain in graph.chains() {
        let tag = graph.chain_author(chain).tag();
        let count = theirs.get(&tag).copied().unwrap_or(0);
        let in_cut = |cut: &Cut| cut.get(chain.0 as usize).copied().unwrap_or(0);
        match forks.get(&tag).copied() {
            None => run(chain, count, in_cut(graph.all())),
            Some(fork) if fork != count => run(chain, count.min(fork), in_cut(graph.all())),
            // Who has all of it that heights can tell is given the rest by name.
            Some(fork) => {
                let pasts = wanted.iter().map(|&ix| in_cut(graph.past(ix)));
                run(chain, fork, pasts.max().unwrap_or(0));
            }
        }
    }
    for &ix in &wanted {
        run(
            graph.chain(ix),
            graph.seq(ix),
            graph.seq(ix).saturating_add(1),
        );
    }
    let mut out: Vec<EntryIx> = Vec::new();
    while let Some(Reverse(run)) = runs.pop() {
        if out.last() != Some(&run.next) {
            if out.len() == most {
                return (out, true);
            }
            out.push(run.next);
        }
        let after = graph.seq(run.next).saturating_add(1);
        runs.extend(Run::new(graph, run.chain, after, run.until).map(Reverse));
    }
    (out, false)
}

/// Entries of one chain, in the order of their numbers.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Run {
    next: EntryIx,
    chain: ChainIx,
    until: u32,
}

impl Run {
    /// From a number on, or from the chain's first if that is higher; `None`: there is no such entry.
    fn new(graph: &Graph, chain: ChainIx, from: u32, until: u32) -> Option<Self> {
        let first = graph.seq(graph.first_of(chain)?);
        let seq = from.max(first);
        let next = (seq < until).then(|| graph.at(chain, seq))??;
        Some(Self { next, chain, until })
    }
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
        in_hand: &InHand,
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
pub fn with_in_hand(held: &Heights, in_hand: &InHand) -> Heights {
    let mut heights = held.clone();
    for (author, seqs) in in_hand {
        let height = heights.entry(*author).or_insert(0);
        for seq in seqs {
            if *seq > *height {
                break;
            }
            *height = (*height).max(seq.saturating_add(1));
        }
    }
    heights
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::log::graph::CannotInsert;
    use crate::log::sample::{self, Draw, WALL};

    /// A job in which device 2 has forked after its second entry, and others have gone on.
    fn forked() -> Graph {
        let (mut graph, job) = sample::founded();
        let say = |graph: &mut Graph, who: u8, text: &str| {
            let entry = sample::author(who)
                .next(graph, WALL, job, sample::note(text))
                .unwrap();
            graph.insert(sample::verified(entry)).unwrap();
        };
        say(&mut graph, 2, "one");
        say(&mut graph, 2, "two");
        let one = sample::author(2)
            .next(&graph, WALL, job, sample::note("three"))
            .unwrap();
        let other = sample::author(2)
            .next(&graph, WALL, job, sample::note("another three"))
            .unwrap();
        graph.insert(sample::verified(one)).unwrap();
        graph.insert(sample::verified(other)).unwrap();
        say(&mut graph, 1, "saw both");
        graph
    }

    fn insert_all(from: &Graph, entries: &[EntryIx], into: &mut Graph) {
        for &ix in entries {
            match into.insert(sample::verified(from.entry(ix).clone())) {
                Ok(_) | Err(CannotInsert::Gap { .. }) => {}
                Err(other) => panic!("{other}"),
            }
        }
    }

    fn part(graph: &Graph, keep: impl Fn(EntryIx) -> bool) -> Graph {
        let mut some = Graph::new();
        let kept: Vec<EntryIx> = graph.iter().filter(|&ix| keep(ix)).collect();
        insert_all(graph, &kept, &mut some);
        some
    }

    #[test]
    fn what_is_given_makes_any_two_devices_level() {
        for seed in 0..40 {
            println!("seed {seed}");
            let (mut graph, job) = sample::founded();
            let mut draw = Draw(seed);
            for _ in 0..80 {
                let author = sample::author(u8::try_from(draw.below(6)).unwrap());
                let entry = author.next(&graph, WALL, job, sample::note("x")).unwrap();
                graph.insert(sample::verified(entry)).unwrap();
            }
            // The other has the past of some entry.
            let seen = EntryIx(u32::try_from(draw.below(graph.len())).unwrap());
            let mut other = part(&graph, |ix| ix == EntryIx(0) || graph.before(ix, seen));
            let mut rounds = 0;
            loop {
                let most = 1 + draw.below(20);
                let (entries, more) = to_give(&graph, &heights(&other), most);
                insert_all(&graph, &entries, &mut other);
                rounds += 1;
                if !more {
                    break;
                }
            }
            assert_eq!(
                other.len(),
                graph.len(),
                "seed {seed} after {rounds} rounds"
            );
            assert_eq!(heights(&other), heights(&graph));
            assert!(to_give(&graph, &heights(&other), 10).0.is_empty());
        }
    }

    #[test]
    fn heights_end_at_a_fork_and_one_who_knows_a_single_branch_is_shown_the_other() {
        let graph = forked();
        let two = sample::author(2).device().tag();
        assert_eq!(heights(&graph).get(&two), Some(&2));
        // Device 2's third entry in one version only.
        let one_branch = part(&graph, |ix| ix.0 != 4);
        let theirs = heights(&one_branch);
        assert_eq!(theirs.get(&two), Some(&3));
        assert!(misses_fork(&graph, &heights(&graph), &theirs));
        let mut other = one_branch;
        let (entries, _) = to_give(&graph, &theirs, 100);
        insert_all(&graph, &entries, &mut other);
        assert_eq!(other.len(), graph.len());
        assert!(!misses_fork(&graph, &heights(&graph), &heights(&other)));
        assert!(to_give(&graph, &heights(&other), 100).0.is_empty());
    }

    #[test]
    fn a_branch_that_heights_cannot_show_is_found_by_its_tip() {
        let mut graph = forked();
        let job = graph.hash(EntryIx(0)).into();
        let tips = |graph: &Graph| -> Vec<EntryHash> {
            let last = graph.chains().filter_map(|chain| graph.last(chain));
            last.map(|ix| graph.hash(ix)).collect()
        };
        let mut other = part(&graph, |_| true);
        assert_eq!(unlisted(&other, &tips(&graph)), []);
        // The forked device goes on on one of its branches.
        for text in ["four", "five"] {
            let entry = sample::author(2)
                .next(&graph, WALL, job, sample::note(text))
                .unwrap();
            graph.insert(sample::verified(entry)).unwrap();
        }
        assert!(!ahead_of(&heights(&graph), &heights(&other)));
        let want = unlisted(&other, &tips(&graph));
        let (entries, _) = given(&graph, &heights(&other), &want, 100);
        insert_all(&graph, &entries, &mut other);
        assert_eq!(other.len(), graph.len());
    }

    #[test]
    fn what_is_in_hand_is_not_asked_for_again() {
        let held = Heights::from([(DeviceTag([1; 8]), 3)]);
        let in_hand = InHand::from([(DeviceTag([1; 8]), vec![1, 3, 3, 4, 6])]);
        let hoped = with_in_hand(&held, &in_hand);
        assert_eq!(hoped.get(&DeviceTag([1; 8])), Some(&5));
        assert!(!ahead_of(&Heights::from([(DeviceTag([1; 8]), 5)]), &hoped));
        assert_eq!(lack(&Heights::from([(DeviceTag([1; 8]), 5)]), &hoped), 0);
        assert_eq!(lack(&Heights::from([(DeviceTag([2; 8]), 7)]), &hoped), 7);
        assert!(ahead_of(&Heights::from([(DeviceTag([1; 8]), 6)]), &hoped));
    }
}
