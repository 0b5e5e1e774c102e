//! Graph: the entries that are here with their whole past, and which of two came before the other.
//! Owns: every applied entry of one job.   Gives: `before`, cuts (downsets), chains, forks, heads.
//! May use: entry, wire, sign, ids.   Never: what an entry means (gate), what still waits (pen).
//!
//! Each author's entries form a chain. When an author forks, the second entry of one number starts a
//! branch: a chain of its own, whose earlier part is the chain it left. A *cut* is a version vector, a
//! count for each chain: the downset of all entries whose number is below their chain's count. The past of
//! an entry is a cut, so "is a in the past of b" is one comparison, also across forks.

use crate::bounds::HEADS_MAX;
use crate::ids::{DeviceKey, EntryHash};
use crate::log::entry::{Body, Content};
use crate::log::sign::Verified;
use crate::log::wire::Entry;
use hashbrown::HashTable;
use std::sync::Arc;

/// An entry's place in its graph, in order of arrival; every entry comes after its whole past.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct EntryIx(pub u32);

/// A chain: an author's entries, or one branch of them.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct ChainIx(pub u32);

/// A downset of entries: for each chain, by its index, one more than the greatest number in it; a
/// missing count is zero.
pub type Cut = [u32];

#[derive(Clone, Debug)]
struct Node {
    entry: Arc<Entry>,
    chain: ChainIx,
    past_start: u32,
    past_len: u32,
}

#[derive(Clone, Debug)]
struct Chain {
    author: DeviceKey,
    /// The number of this chain's first entry: 0, or where it leaves another chain.
    first_seq: u32,
    entries: Vec<EntryIx>,
}

/// Two different entries of one author with one number.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Fork {
    /// The author.
    pub author: DeviceKey,
    /// The number where the branches part.
    pub seq: u32,
    /// The entry that was here first; which one that is says nothing.
    pub one: EntryIx,
    /// The other.
    pub other: EntryIx,
}

/// What an insertion did.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Inserted {
    /// The entry is new.
    New(EntryIx),
    /// It was here already.
    Known(EntryIx),
}

/// Why an entry cannot go in, now or ever.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum CannotInsert {
    /// Some of its past is not here yet; it waits in the pen.
    #[error("{} entries of its past are missing", missing.len())]
    Gap {
        /// Their hashes.
        missing: Vec<EntryHash>,
    },
    /// Its predecessor is another author's, or not of the number before.
    #[error("its predecessor is not the author's entry before")]
    Link,
    /// A head that is the author's own, or more than the crew can have.
    #[error("its heads name the author's own chain, or are more than {HEADS_MAX}")]
    Heads,
    /// Of another job, or a second founding entry.
    #[error("it belongs to another job")]
    Job,
    /// Its author is neither the founder nor named by an admission in its past; found by the gate.
    #[error("device {author} was never admitted in what this entry had seen")]
    NotAdmitted {
        /// The author.
        author: DeviceKey,
    },
}

/// All applied entries of a job.
#[derive(Clone, Debug)]
pub struct Graph {
    nodes: Vec<Node>,
    by_hash: HashTable<EntryIx>,
    chains: Vec<Chain>,
    /// Version vectors of all entries, one after the other.
    pasts: Vec<u32>,
    all: Vec<u32>,
    forks: Vec<Fork>,
}

fn short(hash: &EntryHash) -> u64 {
    let mut eight = [0; 8];
    eight.copy_from_slice(&hash.0[..8]);
    u64::from_le_bytes(eight)
}

impl Default for Graph {
    fn default() -> Self {
        Self::new()
    }
}

impl Graph {
    /// A graph without entries; its first insertion must be a founding entry.
    #[must_use]
    pub fn new() -> Self {
        Self {
            nodes: Vec::new(),
            by_hash: HashTable::new(),
            chains: Vec::new(),
            pasts: Vec::new(),
            all: Vec::new(),
            forks: Vec::new(),
        }
    }

    /// Puts an entry in.
    ///
    /// # Errors
    /// [`CannotInsert`]; nothing has changed then.
    pub fn insert(&mut self, verified: Verified) -> Result<Inserted, CannotInsert> {
        let entry = verified.into_shared();
        if let Some(known) = self.find(&entry.hash) {
            return Ok(Inserted::Known(known));
        }
        self.check_job(&entry.content)?;
        let (prev, heads) = self.parents(&entry.content)?;
        let (chain, fork_with) = self.chain_for(&entry.content, prev);
        let ix = EntryIx(self.nodes.len() as u32);
        self.push_past(prev, &heads);
        let past_start = self.pasts.len() as u32 - self.all.len() as u32;
        if let Some(one) = fork_with {
            self.forks.push(Fork {
                author: entry.content.author,
                seq: entry.content.seq,
                one,
                other: ix,
            });
        }
        self.chains[chain.0 as usize].entries.push(ix);
        self.all[chain.0 as usize] = entry.content.seq + 1;
        let nodes = &self.nodes;
        let hash = entry.hash;
        self.by_hash.insert_unique(short(&hash), ix, |other| {
            short(&nodes[other.0 as usize].entry.hash)
        });
        self.nodes.push(Node {
            entry,
            chain,
            past_start,
            past_len: self.all.len() as u32,
        });
        Ok(Inserted::New(ix))
    }

    fn check_job(&self, content: &Content) -> Result<(), CannotInsert> {
        let founds = matches!(content.body, Body::Found(_));
        let good = match self.nodes.first() {
            None => {
                founds
                    && content.seq == 0
                    && content.heads.is_empty()
                    && content.job == crate::ids::JobId::UNFOUNDED
            }
            Some(founding) => !founds && content.job.0 == founding.entry.hash.0,
        };
        if good { Ok(()) } else { Err(CannotInsert::Job) }
    }

    fn parents(&self, content: &Content) -> Result<(Option<EntryIx>, Vec<EntryIx>), CannotInsert> {
        let mut missing = Vec::new();
        let mut prev = None;
        if content.prev == EntryHash::NONE {
            if content.seq != 0 {
                return Err(CannotInsert::Link);
            }
        } else {
            match self.find(&content.prev) {
                None => missing.push(content.prev),
                Some(ix) => {
                    let before = self.content(ix);
                    if before.author != content.author
                        || before.seq.checked_add(1) != Some(content.seq)
                    {
                        return Err(CannotInsert::Link);
                    }
                    prev = Some(ix);
                }
            }
        }
        if content.heads.len() > HEADS_MAX {
            return Err(CannotInsert::Heads);
        }
        let mut heads = Vec::with_capacity(content.heads.len());
        for hash in &content.heads {
            match self.find(hash) {
                None => missing.push(*hash),
                Some(ix) if self.content(ix).author == content.author => {
                    return Err(CannotInsert::Heads);
                }
                Some(ix) => heads.push(ix),
            }
        }
        if missing.is_empty() {
            Ok((prev, heads))
        } else {
            Err(CannotInsert::Gap { missing })
        }
    }

    /// The chain that the entry extends or starts, and the entry that it forks with.
    fn chain_for(
        &mut self,
        content: &Content,
        prev: Option<EntryIx>,
    ) -> (ChainIx, Option<EntryIx>) {
        let rival = match prev {
            Some(prev) => {
                let chain = self.chain(prev);
                if self.all[chain.0 as usize] == content.seq {
                    return (chain, None);
                }
                self.at(chain, content.seq)
            }
            None => self
                .chains
                .iter()
                .position(|chain| chain.author == content.author && chain.first_seq == 0)
                .and_then(|chain| self.at(ChainIx(chain as u32), 0)),
        };
        self.chains.push(Chain {
            author: content.author,
            first_seq: content.seq,
            entries: Vec::new(),
        });
        self.all.push(0);
        (ChainIx(self.chains.len() as u32 - 1), rival)
    }

    /// Appends the version vector of an entry with these parents to `pasts`.
    fn push_past(&mut self, prev: Option<EntryIx>, heads: &[EntryIx]) {
        let start = self.pasts.len();
        self.pasts.resize(start + self.all.len(), 0);
        for &parent in prev.iter().chain(heads) {
            let node = &self.nodes[parent.0 as usize];
            let (from, len) = (node.past_start as usize, node.past_len as usize);
            let (chain, seen) = (node.chain.0 as usize, node.entry.content.seq + 1);
            let (before, own) = self.pasts.split_at_mut(start);
            for (count, theirs) in own.iter_mut().zip(&before[from..from + len]) {
                *count = (*count).max(*theirs);
            }
            own[chain] = own[chain].max(seen);
        }
    }

    /// What an entry names of its past that is not here; empty if it can go in.
    #[must_use]
    pub fn missing(&self, content: &Content) -> Vec<EntryHash> {
        let prev = (content.prev != EntryHash::NONE).then_some(&content.prev);
        prev.into_iter()
            .chain(&content.heads)
            .filter(|hash| self.find(hash).is_none())
            .copied()
            .collect()
    }

    /// The entries that an entry names as its predecessor and heads.
    pub fn parents_of(&self, ix: EntryIx) -> impl Iterator<Item = EntryIx> + '_ {
        let content = self.content(ix);
        [&content.prev]
            .into_iter()
            .chain(&content.heads)
            .filter_map(|hash| self.find(hash))
    }

    /// How many entries there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.nodes.len()
    }

    /// Whether there is no entry yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.nodes.is_empty()
    }

    /// Every entry, in order of arrival: each after its whole past.
    pub fn iter(&self) -> impl Iterator<Item = EntryIx> + use<> {
        (0..self.nodes.len() as u32).map(EntryIx)
    }

    /// The entry with this hash.
    #[must_use]
    pub fn find(&self, hash: &EntryHash) -> Option<EntryIx> {
        self.by_hash
            .find(short(hash), |ix| {
                self.nodes[ix.0 as usize].entry.hash == *hash
            })
            .copied()
    }

    /// The entry at this place. Places come from this graph only.
    #[must_use]
    pub fn entry(&self, ix: EntryIx) -> &Entry {
        &self.nodes[ix.0 as usize].entry
    }

    /// The entry at this place, to be put into another graph: only what was verified came in here.
    #[must_use]
    pub fn verified(&self, ix: EntryIx) -> Verified {
        Verified::known(Arc::clone(&self.nodes[ix.0 as usize].entry))
    }

    /// What it says.
    #[must_use]
    pub fn content(&self, ix: EntryIx) -> &Content {
        &self.entry(ix).content
    }

    /// What it says, without the envelope.
    #[must_use]
    pub fn body(&self, ix: EntryIx) -> &Body {
        &self.entry(ix).content.body
    }

    /// Whose it is.
    #[must_use]
    pub fn author(&self, ix: EntryIx) -> DeviceKey {
        self.entry(ix).content.author
    }

    /// Its hash.
    #[must_use]
    pub fn hash(&self, ix: EntryIx) -> EntryHash {
        self.entry(ix).hash
    }

    /// The chain that it is on.
    #[must_use]
    pub fn chain(&self, ix: EntryIx) -> ChainIx {
        self.nodes[ix.0 as usize].chain
    }

    /// Its number.
    #[must_use]
    pub fn seq(&self, ix: EntryIx) -> u32 {
        self.content(ix).seq
    }

    /// The strict past of an entry, as a cut.
    #[must_use]
    pub fn past(&self, ix: EntryIx) -> &Cut {
        let node = &self.nodes[ix.0 as usize];
        let start = node.past_start as usize;
        &self.pasts[start..start + node.past_len as usize]
    }

    /// All entries, as a cut.
    #[must_use]
    pub fn all(&self) -> &Cut {
        &self.all
    }

    /// Whether an entry is in a cut.
    #[must_use]
    pub fn within(&self, ix: EntryIx, cut: &Cut) -> bool {
        let chain = self.chain(ix).0 as usize;
        cut.get(chain).is_some_and(|&count| self.seq(ix) < count)
    }

    /// Whether `a` is in the strict past of `b`.
    #[must_use]
    pub fn before(&self, a: EntryIx, b: EntryIx) -> bool {
        self.within(a, self.past(b))
    }

    /// Whether neither is in the past of the other; an entry is not concurrent with itself.
    #[must_use]
    pub fn concurrent(&self, a: EntryIx, b: EntryIx) -> bool {
        a != b && !self.before(a, b) && !self.before(b, a)
    }

    /// Chains of an author; more than one after a fork.
    pub fn chains_of(&self, author: DeviceKey) -> impl Iterator<Item = ChainIx> + '_ {
        (0_u32..)
            .zip(&self.chains)
            .filter(move |(_, chain)| chain.author == author)
            .map(|(ix, _)| ChainIx(ix))
    }

    /// The author of a chain.
    #[must_use]
    pub fn chain_author(&self, chain: ChainIx) -> DeviceKey {
        self.chains[chain.0 as usize].author
    }

    /// How many chains there are.
    #[must_use]
    pub fn chain_count(&self) -> usize {
        self.chains.len()
    }

    /// All chains, in order of arrival.
    pub fn chains(&self) -> impl Iterator<Item = ChainIx> + use<> {
        (0..self.chains.len() as u32).map(ChainIx)
    }

    /// The newest entry of a chain.
    #[must_use]
    pub fn last(&self, chain: ChainIx) -> Option<EntryIx> {
        self.chains.get(chain.0 as usize)?.entries.last().copied()
    }

    /// The first entry of a chain itself: number 0, or the one where a branch starts.
    #[must_use]
    pub fn first_of(&self, chain: ChainIx) -> Option<EntryIx> {
        self.chains.get(chain.0 as usize)?.entries.first().copied()
    }

    /// The entry with this number on this chain itself (not on the chain it branched from).
    #[must_use]
    pub fn at(&self, chain: ChainIx, seq: u32) -> Option<EntryIx> {
        let chain = self.chains.get(chain.0 as usize)?;
        let offset = seq.checked_sub(chain.first_seq)?;
        chain.entries.get(offset as usize).copied()
    }

    /// All forks found, in order of arrival.
    #[must_use]
    pub fn forks(&self) -> &[Fork] {
        &self.forks
    }

    /// The newest entries of all chains that are in no other entry's past.
    #[must_use]
    pub fn tips(&self) -> Vec<EntryIx> {
        let last: Vec<EntryIx> = self
            .chains
            .iter()
            .filter_map(|chain| chain.entries.last().copied())
            .collect();
        last.iter()
            .copied()
            .filter(|&tip| !last.iter().any(|&other| self.before(tip, other)))
            .collect()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::ids::JobId;
    use crate::log::author::Author;
    use crate::log::sample::{self, Draw, WALL};
    use std::collections::{BTreeMap, BTreeSet};

    /// The same entries, put in by another order in which all go in.
    fn shuffled(graph: &Graph, seed: u64) -> Graph {
        let mut draw = Draw(seed);
        let mut left: Vec<EntryIx> = graph.iter().collect();
        let mut other = Graph::new();
        while !left.is_empty() {
            let at = draw.below(left.len());
            let verified = sample::unverified(graph.entry(left[at]).clone());
            if other.insert(verified).is_ok() {
                left.swap_remove(at);
            }
        }
        other
    }

    /// For each entry everything in its past, worked out by walking to its parents.
    fn pasts(graph: &Graph) -> BTreeMap<EntryHash, BTreeSet<EntryHash>> {
        let mut pasts: BTreeMap<EntryHash, BTreeSet<EntryHash>> = BTreeMap::new();
        for ix in graph.iter() {
            let mut past = BTreeSet::new();
            for parent in graph.parents_of(ix) {
                past.insert(graph.hash(parent));
                past.extend(pasts[&graph.hash(parent)].iter().copied());
            }
            pasts.insert(graph.hash(ix), past);
        }
        pasts
    }

    fn tips(graph: &Graph) -> BTreeSet<EntryHash> {
        graph.tips().into_iter().map(|ix| graph.hash(ix)).collect()
    }

    /// Authors and numbers where branches part, with how many part there. Which of the branches is called
    /// the first one depends on arrival, and nothing may depend on that.
    fn forks(graph: &Graph) -> BTreeMap<(DeviceKey, u32), BTreeSet<EntryHash>> {
        let mut forks: BTreeMap<_, BTreeSet<EntryHash>> = BTreeMap::new();
        for fork in graph.forks() {
            let parts = forks.entry((fork.author, fork.seq)).or_default();
            parts.extend([graph.hash(fork.one), graph.hash(fork.other)]);
        }
        forks
    }

    #[test]
    fn past_forks_and_tips_are_facts_of_the_set_and_not_of_its_arrival() {
        let mut forked = 0;
        for seed in 0..25 {
            println!("seed {seed}");
            let graph = sample::job(120, seed);
            let expected = pasts(&graph);
            forked += graph.forks().len();
            for order in 0..3 {
                let other = shuffled(&graph, seed * 31 + order);
                assert_eq!(other.len(), graph.len());
                for a in other.iter() {
                    for b in other.iter() {
                        let truth = expected[&other.hash(b)].contains(&other.hash(a));
                        assert_eq!(other.before(a, b), truth, "seed {seed}: {a:?} {b:?}");
                    }
                }
                let no_past = |hash: &EntryHash| !expected.values().any(|past| past.contains(hash));
                let newest: BTreeSet<EntryHash> =
                    expected.keys().copied().filter(no_past).collect();
                assert_eq!(tips(&other), newest, "seed {seed}");
                assert_eq!(forks(&other), forks(&graph), "seed {seed}");
            }
        }
        assert!(forked > 30, "only {forked} forks in all");
    }

    /// An entry of a device with a chosen predecessor and heads.
    fn entry(
        author: &Author,
        job: JobId,
        prev: Option<&Entry>,
        heads: &[&Entry],
        text: &str,
    ) -> Entry {
        let mut heads: Vec<EntryHash> = heads.iter().map(|head| head.hash).collect();
        heads.sort_unstable();
        let content = Content {
            version: 1,
            job,
            author: author.device(),
            seq: prev.map_or(0, |prev| prev.content.seq + 1),
            prev: prev.map_or(EntryHash::NONE, |prev| prev.hash),
            heads,
            stamp: crate::time::Stamp(1),
            wall: WALL,
            body: sample::note(text),
        };
        author.sign(content).unwrap()
    }

    fn put(graph: &mut Graph, entry: &Entry) -> Result<EntryIx, CannotInsert> {
        match graph.insert(sample::unverified(entry.clone()))? {
            Inserted::New(ix) | Inserted::Known(ix) => Ok(ix),
        }
    }

    #[test]
    fn branches_of_a_fork_share_what_is_below_and_nothing_above() {
        let (mut graph, job) = sample::founded();
        let (liar, other) = (sample::author(1), sample::author(2));
        let first = entry(&liar, job, None, &[], "0");
        let second = entry(&liar, job, Some(&first), &[], "1");
        let third = entry(&liar, job, Some(&second), &[], "2");
        let branch = entry(&liar, job, Some(&first), &[], "1, too");
        let branch_on = entry(&liar, job, Some(&branch), &[], "2, on the branch");
        let twig = entry(&liar, job, Some(&branch), &[], "2, on a twig");
        let root = entry(&liar, job, None, &[], "0, another start");
        for one in [&first, &second, &third, &branch, &branch_on, &twig, &root] {
            put(&mut graph, one).unwrap();
        }
        assert_eq!(graph.chains_of(liar.device()).count(), 4);
        let at = |seq: u32| {
            let here = |fork: &&Fork| fork.seq == seq;
            graph.forks().iter().filter(here).count()
        };
        assert_eq!((at(0), at(1), at(2), graph.forks().len()), (1, 1, 1, 3));
        let ix = |one: &Entry| graph.find(&one.hash).unwrap();
        for (a, b, before) in [
            (&first, &branch, true),
            (&first, &twig, true),
            (&branch, &twig, true),
            (&second, &branch, false),
            (&second, &branch_on, false),
            (&branch_on, &twig, false),
            (&first, &root, false),
            (&root, &third, false),
        ] {
            assert_eq!(graph.before(ix(a), ix(b)), before, "{a:?} {b:?}");
            assert!(!graph.before(ix(b), ix(a)));
        }
        // Who has seen one branch has not seen the other.
        let sees = entry(&other, job, None, &[&twig], "saw the twig");
        let sees = put(&mut graph, &sees).unwrap();
        let ix = |one: &Entry| graph.find(&one.hash).unwrap();
        let seen = [&first, &branch, &twig].map(|one| graph.before(ix(one), sees));
        let unseen = [&second, &third, &branch_on, &root].map(|one| graph.before(ix(one), sees));
        assert_eq!((seen, unseen), ([true; 3], [false; 4]));
    }

    #[test]
    fn what_does_not_fit_is_refused_and_changes_nothing() {
        let (mut graph, job) = sample::founded();
        let (a, b) = (sample::author(1), sample::author(2));
        let first = entry(&a, job, None, &[], "0");
        let second = entry(&a, job, Some(&first), &[], "1");
        let theirs = entry(&b, job, None, &[], "theirs");
        let gap = put(&mut graph, &second);
        assert_eq!(
            gap,
            Err(CannotInsert::Gap {
                missing: vec![first.hash]
            })
        );
        for one in [&first, &second, &theirs] {
            put(&mut graph, one).unwrap();
        }
        let (len, all) = (graph.len(), graph.all().to_vec());
        let founding = graph.entry(EntryIx(0)).clone();
        let change = |author: &Author, base: &Entry, change: &dyn Fn(&mut Content)| {
            let mut content = base.content.clone();
            change(&mut content);
            author.sign(content).unwrap()
        };
        let refused = [
            (change(&b, &second, &|_| ()), CannotInsert::Link),
            (change(&a, &second, &|c| c.seq = 2), CannotInsert::Link),
            (
                change(&a, &second, &|c| c.prev = EntryHash::NONE),
                CannotInsert::Link,
            ),
            (
                change(&a, &second, &|c| c.heads = vec![first.hash]),
                CannotInsert::Heads,
            ),
            (
                change(&a, &second, &|c| c.job = JobId([1; 32])),
                CannotInsert::Job,
            ),
            (
                change(&sample::author(0), &founding, &|c| c.wall.0 += 1),
                CannotInsert::Job,
            ),
        ];
        for (one, why) in refused {
            assert_eq!(put(&mut graph, &one), Err(why));
        }
        assert_eq!((graph.len(), graph.all()), (len, &all[..]));
        let known = graph.insert(sample::unverified(second)).unwrap();
        assert!(matches!(known, Inserted::Known(_)));
        assert_eq!(graph.len(), len);
        let not_founding = put(&mut Graph::new(), &first);
        assert_eq!(not_founding, Err(CannotInsert::Job));
    }
}
