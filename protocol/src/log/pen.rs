//! Pen: entries whose signature is good and whose past is not all here.
//! Owns: the waiting entries, bounded.   Gives: those that have become ready, and what to ask for.
//! May use: sign, entry, ids, bounds.   Never: the graph's contents (graph), who is asked (sync).
//!
//! A waiting entry is indexed by every hash that it misses. When the pen is full, the author with the
//! most in it gives way, and of its entries the newest: it would be ready last. So a flood from one device
//! pushes out only its own, and what is pushed out is asked for again like anything else that is missing.
//! Stops have places of their own.

use crate::bounds::{PEN_MAX_BYTES, PEN_MAX_ENTRIES, PEN_STOP_PLACES};
use crate::ids::{DeviceKey, EntryHash};
use crate::log::sign::Verified;
use std::collections::{BTreeMap, BTreeSet};

/// The waiting room.
#[derive(Clone, Debug, Default)]
pub struct Pen {
    waiting: BTreeMap<EntryHash, Waiting>,
    /// For each hash that is missed, who waits for it.
    by_missing: BTreeMap<EntryHash, BTreeSet<EntryHash>>,
    plain: Compartment,
    stops: Compartment,
}

#[derive(Clone, Debug)]
struct Waiting {
    verified: Verified,
    missing: BTreeSet<EntryHash>,
    is_stop: bool,
}

/// One kind of places, by author.
#[derive(Clone, Debug, Default)]
struct Compartment {
    by_author: BTreeMap<DeviceKey, Share>,
    entries: usize,
    bytes: usize,
}

#[derive(Clone, Debug, Default)]
struct Share {
    by_seq: BTreeSet<(u32, EntryHash)>,
    bytes: usize,
}

/// What became of an entry that was put in the pen.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Put {
    /// It waits.
    Waits,
    /// It waits already.
    Known,
    /// The pen is full and its author has most in it. To be asked for again when there is room.
    NoRoom,
}

/// A stretch of one author's chain that is missing.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Gap {
    /// Whose.
    pub author: DeviceKey,
    /// The first number that is missing.
    pub from_seq: u32,
    /// The first number after it that waits here.
    pub below_seq: u32,
}

impl Pen {
    /// An empty pen.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Lets an entry wait for what [`crate::log::graph::CannotInsert::Gap`] named.
    pub fn put(&mut self, verified: Verified, missing: Vec<EntryHash>) -> Put {
        let entry = verified.entry();
        let (hash, author, seq) = (entry.hash, entry.content.author, entry.content.seq);
        let (len, is_stop) = (entry.bytes.len(), entry.content.body.is_stop());
        if self.waiting.contains_key(&hash) {
            return Put::Known;
        }
        while !self.compartment(is_stop).has_room(is_stop, len) {
            match self.compartment(is_stop).gives_way(author, seq, hash) {
                None => return Put::NoRoom,
                Some(out) => self.remove(&out),
            };
        }
        self.compartment(is_stop).add(author, seq, hash, len);
        for missed in &missing {
            self.by_missing.entry(*missed).or_default().insert(hash);
        }
        self.waiting.insert(
            hash,
            Waiting {
                verified,
                missing: missing.into_iter().collect(),
                is_stop,
            },
        );
        Put::Waits
    }

    /// The entries that missed nothing but this one, which is in the graph now; ascending by hash. Each of
    /// them, once inserted, may make further ones ready.
    #[must_use]
    pub fn take_ready(&mut self, inserted: &EntryHash) -> Vec<Verified> {
        let mut ready = Vec::new();
        for hash in self.by_missing.remove(inserted).unwrap_or_default() {
            let Some(waiting) = self.waiting.get_mut(&hash) else {
                continue;
            };
            waiting.missing.remove(inserted);
            if waiting.missing.is_empty()
                && let Some(waiting) = self.remove(&hash)
            {
                ready.push(waiting);
            }
        }
        ready
    }

    /// Drops everything that waits, at first or second hand, for an entry that will never be in the graph
    /// because it was refused for good. Returns how many were dropped.
    pub fn refuse(&mut self, refused: &EntryHash) -> usize {
        let mut dropped = 0;
        let mut left = vec![*refused];
        while let Some(hash) = left.pop() {
            for waits in self.by_missing.remove(&hash).unwrap_or_default() {
                if self.remove(&waits).is_some() {
                    dropped += 1;
                    left.push(waits);
                }
            }
        }
        dropped
    }

    /// The hashes that are missed and do not wait here themselves; ascending.
    pub fn missing(&self) -> impl Iterator<Item = &EntryHash> {
        self.by_missing
            .keys()
            .filter(|hash| !self.waiting.contains_key(hash))
    }

    /// What to ask for, by author and number: for each author with entries here the stretches between what
    /// the graph holds of it (`held`: how many from 0 without a gap) and what waits. Heads of other
    /// authors whose number is not known here are in [`Pen::missing`] only.
    #[must_use]
    pub fn gaps(&self, held: impl Fn(&DeviceKey) -> u32) -> Vec<Gap> {
        let mut seqs: BTreeMap<DeviceKey, BTreeSet<u32>> = BTreeMap::new();
        for waiting in self.waiting.values() {
            let content = &waiting.verified.entry().content;
            seqs.entry(content.author).or_default().insert(content.seq);
        }
        let mut gaps = Vec::new();
        for (author, seqs) in seqs {
            let mut next = held(&author);
            for seq in seqs {
                if seq > next {
                    gaps.push(Gap {
                        author,
                        from_seq: next,
                        below_seq: seq,
                    });
                }
                next = next.max(seq.saturating_add(1));
            }
        }
        gaps
    }

    /// Stops that wait; each shows Stop work although it cannot be applied yet. Ascending by hash.
    pub fn stops(&self) -> impl Iterator<Item = &Verified> {
        self.waiting
            .values()
            .filter(|waiting| waiting.is_stop)
            .map(|waiting| &waiting.verified)
    }

    /// The hashes of all entries that wait; ascending.
    pub fn waiting(&self) -> impl Iterator<Item = &EntryHash> {
        self.waiting.keys()
    }

    /// Whether this entry waits here.
    #[must_use]
    pub fn holds(&self, hash: &EntryHash) -> bool {
        self.waiting.contains_key(hash)
    }

    /// How many entries wait.
    #[must_use]
    pub fn len(&self) -> usize {
        self.waiting.len()
    }

    /// Whether nothing waits.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.waiting.is_empty()
    }

    fn compartment(&mut self, is_stop: bool) -> &mut Compartment {
        if is_stop {
            &mut self.stops
        } else {
            &mut self.plain
        }
    }

    /// Takes an entry out of everything that names it.
    fn remove(&mut self, hash: &EntryHash) -> Option<Verified> {
        let waiting = self.waiting.remove(hash)?;
        for missed in &waiting.missing {
            if let Some(waiters) = self.by_missing.get_mut(missed) {
                waiters.remove(hash);
                if waiters.is_empty() {
                    self.by_missing.remove(missed);
                }
            }
        }
        let entry = waiting.verified.entry();
        let (author, seq, len) = (entry.content.author, entry.content.seq, entry.bytes.len());
        self.compartment(waiting.is_stop)
            .take(author, seq, *hash, len);
        Some(waiting.verified)
    }
}

impl Compartment {
    fn has_room(&self, is_stop: bool, len: usize) -> bool {
        // Stops are bounded by their number alone: a byte bound that others have used up must not turn
        // one away.
        if is_stop {
            self.entries < PEN_STOP_PLACES
        } else {
            self.entries < PEN_MAX_ENTRIES - PEN_STOP_PLACES && self.bytes + len <= PEN_MAX_BYTES
        }
    }

    /// The entry to push out for a new one of this author and number, or none if the new one is to go.
    fn gives_way(&self, author: DeviceKey, seq: u32, hash: EntryHash) -> Option<EntryHash> {
        let size = |share: &Share| (share.bytes, share.by_seq.len());
        let (most, share) = self.by_author.iter().max_by_key(|(_, share)| size(share))?;
        let newest = share.by_seq.last()?;
        let own = self.by_author.get(&author).map_or((0, 0), size);
        if *most == author || own >= size(share) {
            // Within one author's share the older entry is the more useful one.
            let own_newest = self.by_author.get(&author)?.by_seq.last()?;
            ((seq, hash) < *own_newest).then_some(own_newest.1)
        } else {
            Some(newest.1)
        }
    }

    fn add(&mut self, author: DeviceKey, seq: u32, hash: EntryHash, len: usize) {
        let share = self.by_author.entry(author).or_default();
        share.by_seq.insert((seq, hash));
        share.bytes += len;
        self.entries += 1;
        self.bytes += len;
    }

    fn take(&mut self, author: DeviceKey, seq: u32, hash: EntryHash, len: usize) {
        let Some(share) = self.by_author.get_mut(&author) else {
            return;
        };
        if share.by_seq.remove(&(seq, hash)) {
            share.bytes -= len;
            self.entries -= 1;
            self.bytes -= len;
        }
        if share.by_seq.is_empty() {
            self.by_author.remove(&author);
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::ids::JobId;
    use crate::log::entry::{Body, Content, Stop, StopKind};
    use crate::log::graph::{CannotInsert, Graph, Inserted};
    use crate::log::sample::{self, Draw, WALL};
    use crate::log::wire::Entry;
    use crate::time::Stamp;

    /// Entries of several authors in an order in which all go in.
    fn job(count: usize, seed: u64) -> Vec<Entry> {
        let (mut graph, job) = sample::founded();
        let mut draw = Draw(seed);
        for _ in 1..count {
            let author = sample::author(u8::try_from(draw.below(6)).unwrap());
            let entry = author.next(&graph, WALL, job, sample::note("x")).unwrap();
            graph.insert(sample::verified(entry)).unwrap();
        }
        graph.iter().map(|ix| graph.entry(ix).clone()).collect()
    }

    fn deliver(graph: &mut Graph, pen: &mut Pen, entry: Entry) {
        let mut ready = vec![sample::verified(entry)];
        while let Some(verified) = ready.pop() {
            match graph.insert(verified.clone()) {
                Ok(Inserted::New(ix)) => ready.extend(pen.take_ready(&graph.hash(ix))),
                Ok(Inserted::Known(_)) => {}
                Err(CannotInsert::Gap { missing }) => {
                    assert_eq!(pen.put(verified, missing), Put::Waits)
                }
                Err(other) => panic!("{other}"),
            }
        }
    }

    #[test]
    fn any_order_of_arrival_ends_with_everything_in_the_graph() {
        for seed in 0..20 {
            println!("seed {seed}");
            let mut entries = job(60, seed);
            let founding = entries.remove(0);
            let mut draw = Draw(seed ^ 0xabcd);
            for place in (1..entries.len()).rev() {
                entries.swap(place, draw.below(place + 1));
            }
            let mut graph = Graph::new();
            graph.insert(sample::verified(founding)).unwrap();
            let mut pen = Pen::new();
            let total = entries.len();
            for entry in entries {
                deliver(&mut graph, &mut pen, entry);
            }
            assert_eq!(graph.len(), total + 1, "seed {seed}");
            assert!(pen.is_empty() && pen.by_missing.is_empty(), "seed {seed}");
            assert_eq!((pen.plain.entries, pen.plain.bytes), (0, 0));
        }
    }

    #[test]
    fn gaps_name_what_to_ask_for() {
        let entries = job(40, 3);
        let author = sample::author(2).device();
        let own: Vec<&Entry> = entries
            .iter()
            .filter(|entry| entry.content.author == author)
            .collect();
        let mut pen = Pen::new();
        for place in [3, 5] {
            let missing = vec![own[place].content.prev];
            pen.put(sample::verified(own[place].clone()), missing);
        }
        let gap = |from_seq, below_seq| Gap {
            author,
            from_seq,
            below_seq,
        };
        assert_eq!(pen.gaps(|_| 1), [gap(1, 3), gap(4, 5)]);
        assert_eq!(pen.gaps(|_| 4), [gap(4, 5)]);
        let missing: BTreeSet<EntryHash> = pen.missing().copied().collect();
        assert_eq!(missing, BTreeSet::from([own[2].hash, own[4].hash]));
        assert_eq!(pen.refuse(&own[2].hash), 1);
        assert_eq!(pen.len(), 1);
    }

    /// An entry with a predecessor that nobody has.
    fn loose(number: u8, seq: u32, body: Body) -> Verified {
        let author = sample::author(number);
        let entry = author
            .sign(Content {
                version: 1,
                job: JobId([3; 32]),
                author: author.device(),
                seq,
                prev: EntryHash([9; 32]),
                heads: Vec::new(),
                stamp: Stamp(0),
                wall: WALL,
                body,
            })
            .unwrap();
        // The pen does not look at signatures; making 16,000 good ones would take the test's whole time.
        sample::unverified(entry)
    }

    fn stop() -> Body {
        Body::Stop(Stop {
            kind: StopKind::Work,
            why: String::new(),
            item: None,
        })
    }

    #[test]
    fn a_flood_pushes_out_its_own_and_never_a_stop() {
        let mut pen = Pen::new();
        let missing = || vec![EntryHash([9; 32])];
        assert_eq!(
            pen.put(loose(1, 5, sample::note("quiet device")), missing()),
            Put::Waits
        );
        let places = u32::try_from(PEN_MAX_ENTRIES - PEN_STOP_PLACES).unwrap();
        let mut refused = 0;
        for seq in 0..places + 50 {
            if pen.put(loose(0, seq, Body::Accept), missing()) == Put::NoRoom {
                refused += 1;
            }
        }
        assert_eq!(refused, 51);
        assert_eq!(pen.len(), places as usize);
        // Another device gets in, at the flood's cost.
        assert_eq!(
            pen.put(loose(2, 0, sample::note("late")), missing()),
            Put::Waits
        );
        assert_eq!(pen.len(), places as usize);
        // So does a stop, at nobody's.
        assert_eq!(pen.put(loose(3, 0, stop()), missing()), Put::Waits);
        assert_eq!(pen.len(), places as usize + 1);
        // A flood of stops takes the stops' places from itself, not from others.
        for seq in 1..1_000 {
            pen.put(loose(0, 100_000 + seq, stop()), missing());
        }
        assert_eq!(pen.put(loose(4, 0, stop()), missing()), Put::Waits);
        let authors: BTreeSet<DeviceKey> = pen
            .stops()
            .map(|stop| stop.entry().content.author)
            .collect();
        assert_eq!(authors.len(), 3);
        assert_eq!(pen.len(), PEN_MAX_ENTRIES);
    }

    #[test]
    fn bytes_are_bounded_too() {
        let mut pen = Pen::new();
        let mut kept = 0;
        for seq in 0..400 {
            let Body::Found(mut found) = sample::found() else {
                panic!("a founding body founds");
            };
            found.plan.cautions = vec!["x".repeat(60_000)];
            let put = pen.put(loose(0, seq, Body::Found(found)), vec![EntryHash([9; 32])]);
            kept += usize::from(put == Put::Waits);
        }
        assert!(pen.plain.bytes <= PEN_MAX_BYTES, "{}", pen.plain.bytes);
        assert!((200..300).contains(&kept), "{kept}");
    }
}
