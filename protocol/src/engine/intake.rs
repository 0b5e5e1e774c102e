//! Intake: from bytes to applied entries, own and foreign alike, durable before visible.
//! Owns: what is being checked, what waits for its past, what is on its way to disk.
//! Gives: batches to check and to flush; what is in hand.
//! May use: log, sync::bucket.   Never: what an entry means.

use crate::engine::output::{FlushId, VerifyId};
use crate::ids::DeviceTag;
use crate::ids::{DeviceKey, EntryHash};
use crate::log::entry::Body;
use crate::log::graph::Graph;
use crate::log::pen::Pen;
use crate::log::sign::Verified;
use crate::log::wire::{Entry, SIGNATURE_BYTES};
use crate::sync::InHand;
use core::hash::{BuildHasher, Hasher};
use hashbrown::{HashMap, HashSet};
use std::collections::{BTreeMap, BTreeSet};

/// Entries that may be in hand before no more are asked for or taken: three full catch-up messages.
pub(super) const IN_HAND_MAX: usize = 3 * crate::bounds::GIVE_MAX_ENTRIES;

/// An entry that can never go in.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Refusal {
    pub(super) author: DeviceKey,
    pub(super) seq: u32,
    pub(super) why: &'static str,
}

/// An entry under one signature. A copy with another is another: it must not pass for the true one while it is checked.
type Signed = (EntryHash, [u8; SIGNATURE_BYTES]);

/// An entry that is being checked.
#[derive(Clone, Debug)]
struct Named {
    signed: Signed,
    author: DeviceTag,
    seq: u32,
}

/// Entries that are checked together.
#[derive(Clone, Debug)]
struct Checking {
    named: Vec<Named>,
    /// They came when they were asked for.
    asked: bool,
}

/// Hashes are spread evenly already; their first bytes find them. Such a map is never walked, as its order says
/// nothing.
#[derive(Clone, Copy, Default, Debug)]
struct ByFirstBytes(u64);

impl Hasher for ByFirstBytes {
    fn write(&mut self, bytes: &[u8]) {
        // The length of an array comes in as another piece; only the first bytes of the hash itself count.
        if let Some(first) = bytes.first_chunk() {
            self.0 ^= u64::from_le_bytes(*first);
        }
    }

    fn finish(&self) -> u64 {
        self.0
    }
}

impl BuildHasher for ByFirstBytes {
    type Hasher = Self;

    fn build_hasher(&self) -> Self {
        Self(0)
    }
}

/// Entries between arrival and application.
#[derive(Clone, Debug, Default)]
pub(super) struct Intake {
    pub(super) pen: Pen,
    /// Everybody admitted by an entry that is applied or on its way to disk, and the founder.
    pub(super) admitted: BTreeSet<DeviceKey>,
    checking: BTreeMap<VerifyId, Checking>,
    flushing: BTreeMap<FlushId, Vec<Verified>>,
    /// On its way to disk: author and number by hash.
    to_disk: HashMap<EntryHash, (DeviceKey, u32), ByFirstBytes>,
    /// Being checked.
    to_check: HashSet<Signed, ByFirstBytes>,
    /// Ready for the next flush, in order.
    batch: Vec<Verified>,
    /// What the disk refused, in order; tried again.
    stuck: Vec<Verified>,
    next_check: u64,
    next_flush: u64,
}

impl Intake {
    /// Whether a checked entry is here, in whatever state.
    pub(super) fn knows(&self, graph: &Graph, hash: &EntryHash) -> bool {
        graph.find(hash).is_some() || self.to_disk.contains_key(hash) || self.pen.holds(hash)
    }

    /// Whether an entry is being checked under this signature.
    pub(super) fn is_checking(&self, entry: &Entry) -> bool {
        self.to_check.contains(&signed(entry))
    }

    /// How many entries are being checked or on their way to disk.
    pub(super) fn in_hand_len(&self) -> usize {
        self.to_check.len() + self.to_disk.len()
    }

    /// Numbers of each author that are on their way to disk, or are being checked and were asked for: what comes unasked
    /// may be signed by nobody, and must not keep this device from asking.
    pub(super) fn in_hand(&self) -> InHand {
        let mut in_hand = InHand::new();
        let asked = self.checking.values().filter(|checking| checking.asked);
        let checking = asked.flat_map(|checking| &checking.named);
        let to_disk = self.flushing.values().flatten();
        let to_disk = to_disk.chain(&self.batch).chain(&self.stuck);
        let to_disk = to_disk.map(|verified| {
            let content = &verified.entry().content;
            (content.author.tag(), content.seq)
        });
        for (author, seq) in checking
            .map(|named| (named.author, named.seq))
            .chain(to_disk)
        {
            in_hand.entry(author).or_default().push(seq);
        }
        for seqs in in_hand.values_mut() {
            seqs.sort_unstable();
        }
        in_hand
    }

    /// Notes entries whose signatures are to be checked. `asked`: they came when they were asked for.
    pub(super) fn check(&mut self, entries: &[Entry], asked: bool) -> VerifyId {
        let id = VerifyId(self.next_check);
        self.next_check += 1;
        self.to_check.extend(entries.iter().map(signed));
        let named = entries.iter().map(|entry| Named {
            signed: signed(entry),
            author: entry.content.author.tag(),
            seq: entry.content.seq,
        });
        let named = named.collect();
        self.checking.insert(id, Checking { named, asked });
        id
    }

    /// A batch was checked; `false`: no such batch.
    pub(super) fn checked(&mut self, id: VerifyId) -> bool {
        let Some(batch) = self.checking.remove(&id) else {
            return false;
        };
        for named in batch.named {
            self.to_check.remove(&named.signed);
        }
        true
    }

    /// Lets a checked entry go on: to the next flush if its whole past is here or goes before it, else
    /// into the pen.
    pub(super) fn take(&mut self, graph: &Graph, verified: Verified) -> Result<(), Refusal> {
        let mut ready = vec![verified];
        let mut first = None;
        while let Some(verified) = ready.pop() {
            let hash = verified.entry().hash;
            if graph.find(&hash).is_some() || self.to_disk.contains_key(&hash) {
                continue;
            }
            let missing = self.missing(graph, verified.entry());
            if !missing.is_empty() {
                let _ = self.pen.put(verified, missing);
                continue;
            }
            if let Err(refusal) = self.may_go_in(graph, verified.entry()) {
                self.pen.refuse(&hash);
                first = first.or(Some(refusal));
                continue;
            }
            let content = &verified.entry().content;
            self.to_disk.insert(hash, (content.author, content.seq));
            if let Body::Admit(admit) = &content.body {
                self.admitted.insert(admit.device);
            }
            self.batch.push(verified);
            ready.extend(self.pen.take_ready(&hash));
        }
        first.map_or(Ok(()), Err)
    }

    fn missing(&self, graph: &Graph, entry: &Entry) -> Vec<EntryHash> {
        let content = &entry.content;
        core::iter::once(&content.prev)
            .filter(|prev| **prev != EntryHash::NONE)
            .chain(&content.heads)
            .filter(|hash| graph.find(hash).is_none() && !self.to_disk.contains_key(*hash))
            .copied()
            .collect()
    }

    /// What can be seen before an entry is on disk, so that what can never go in is not written there.
    fn may_go_in(&self, graph: &Graph, entry: &Entry) -> Result<(), Refusal> {
        let content = &entry.content;
        let refusal = |why| Refusal {
            author: content.author,
            seq: content.seq,
            why,
        };
        let job = graph.iter().next().map(|founding| graph.hash(founding));
        if job.is_some_and(|job| content.job.0 != job.0) {
            return Err(refusal("it belongs to another job"));
        }
        if !self.admitted.contains(&content.author) {
            return Err(refusal("its author was never admitted"));
        }
        let before = if content.prev == EntryHash::NONE {
            None
        } else {
            match graph.find(&content.prev) {
                Some(ix) => Some((graph.author(ix), graph.seq(ix))),
                None => self.to_disk.get(&content.prev).copied(),
            }
        };
        let linked = match before {
            None => content.seq == 0,
            Some((author, seq)) => {
                author == content.author && seq.checked_add(1) == Some(content.seq)
            }
        };
        if linked {
            Ok(())
        } else {
            Err(refusal("its predecessor is not the author's entry before"))
        }
    }

    /// The next batch for the disk, if there is one.
    pub(super) fn flush(&mut self) -> Option<(FlushId, &[Verified])> {
        if self.batch.is_empty() {
            return None;
        }
        let id = FlushId(self.next_flush);
        self.next_flush += 1;
        let batch = core::mem::take(&mut self.batch);
        Some((id, self.flushing.entry(id).or_insert(batch)))
    }

    /// A batch is on disk: its entries, in order.
    pub(super) fn flushed(&mut self, id: FlushId) -> Vec<Verified> {
        let batch = self.flushing.remove(&id).unwrap_or_default();
        for verified in &batch {
            self.to_disk.remove(&verified.entry().hash);
        }
        batch
    }

    /// A batch is not on disk. Own entries and stops are kept and tried again: an own number must never be
    /// used twice, and a stop must not be lost. The rest is dropped, and asked for again some time.
    pub(super) fn not_flushed(&mut self, id: FlushId, me: &DeviceKey) {
        for verified in self.flushing.remove(&id).unwrap_or_default() {
            let content = &verified.entry().content;
            // One at least is kept: by writing it the disk shows that it takes entries again.
            if content.author == *me || content.body.is_stop() || self.stuck.is_empty() {
                self.stuck.push(verified);
            } else {
                self.to_disk.remove(&verified.entry().hash);
            }
        }
    }

    /// Whether the disk has refused entries that are still to be tried again.
    pub(super) fn is_stuck(&self) -> bool {
        !self.stuck.is_empty()
    }

    /// Puts what the disk refused into the next batch, before all else.
    pub(super) fn try_again(&mut self) {
        let rest = core::mem::take(&mut self.batch);
        self.batch = core::mem::take(&mut self.stuck);
        self.batch.extend(rest);
    }
}

fn signed(entry: &Entry) -> Signed {
    (entry.hash, entry.signature())
}
