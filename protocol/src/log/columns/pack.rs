//! Pack: entries of a graph to columns.
//! Owns: nothing.   Gives: `pack`, `fitting`.
//! May use: graph, named, numbers.   Never: a choice of what to send (sync).

use super::{Column, VERSION, name};
use crate::bounds::{GIVE_MAX_ENTRIES, MESSAGE_MAX_BYTES};
use crate::ids::{DeviceKey, DeviceTag, EntryHash, JobId};
use crate::log::entry::Content;
use crate::log::graph::{EntryIx, Graph};
use crate::log::named::Named;
use crate::log::numbers;
use crate::log::wire::{Entry, SIGNATURE_BYTES};
use std::collections::BTreeMap;

/// What a pack may add to the bytes of its entries: each that is new to the pack comes with a chain at
/// most, and some numbers.
const EXTRA_BYTES: usize = 128;

/// How many of these entries, from the first, go into one pack: as many as a message may carry, and at
/// least one.
#[must_use]
pub fn fitting(graph: &Graph, entries: &[EntryIx]) -> usize {
    let mut left = MESSAGE_MAX_BYTES;
    let fit = entries
        .iter()
        .take(GIVE_MAX_ENTRIES)
        .take_while(|&&ix| {
            let need = graph.entry(ix).bytes.len() + EXTRA_BYTES;
            let fits = need <= left;
            left = left.saturating_sub(need);
            fits
        })
        .count();
    fit.max(1).min(entries.len())
}

/// These entries as a pack. They are in the order of the graph, each once, and no more than [`fitting`];
/// the rest is the caller's next pack.
#[must_use]
pub fn pack(graph: &Graph, entries: &[EntryIx]) -> Vec<u8> {
    let mut packer = Packer {
        graph,
        entries,
        places: Vec::with_capacity(entries.len()),
        chains: Vec::new(),
        chain_of: BTreeMap::new(),
        outside: Vec::new(),
        outside_of: BTreeMap::new(),
        columns: Default::default(),
        bodies: BTreeMap::new(),
        before_ms: 0,
    };
    for &ix in entries {
        packer.add(graph.entry(ix));
    }
    packer.finish()
}

/// A run of a chain in the pack.
struct Run {
    author: DeviceKey,
    first_seq: u32,
    prev: EntryHash,
    last: EntryHash,
    len: u32,
}

struct Packer<'a> {
    graph: &'a Graph,
    entries: &'a [EntryIx],
    /// For each entry so far its run, and its place there.
    places: Vec<(u32, u32)>,
    chains: Vec<Run>,
    /// For each author its newest run.
    chain_of: BTreeMap<DeviceKey, usize>,
    outside: Vec<EntryHash>,
    outside_of: BTreeMap<EntryHash, usize>,
    columns: [Vec<u8>; Column::ALL.len()],
    bodies: BTreeMap<u8, Vec<u8>>,
    before_ms: u64,
}

impl Packer<'_> {
    fn column(&mut self, column: Column) -> &mut Vec<u8> {
        &mut self.columns[column as usize]
    }

    fn put(&mut self, column: Column, number: usize) {
        numbers::put(self.column(column), number as u64);
    }

    fn add(&mut self, entry: &Entry) {
        let content = &entry.content;
        let run = self.run(content);
        self.put(Column::Chain, run);

        self.put(Column::HeadCount, content.heads.len());
        for head in &content.heads {
            match self.inside(head) {
                Some((run, place)) => {
                    let back = self.chains[run].len - 1 - place;
                    self.put(Column::HeadChain, run + 1);
                    self.put(Column::HeadBack, back as usize);
                }
                None => {
                    let outside = self.outside(head);
                    self.put(Column::HeadChain, 0);
                    self.put(Column::HeadBack, outside);
                }
            }
        }

        let ms = content.stamp.ms();
        let after_ms = ms.wrapping_sub(self.before_ms) as i64;
        numbers::put_signed(self.column(Column::StampMs), after_ms);
        self.put(Column::StampCounter, (content.stamp.0 & 0xffff) as usize);
        let wall = content.wall.0.wrapping_sub(ms as i64);
        numbers::put_signed(self.column(Column::Wall), wall);
        self.before_ms = ms;

        let end = entry.bytes.len() - SIGNATURE_BYTES;
        self.body(content, &entry.bytes[envelope_bytes(content).min(end)..end]);
        // Only now: what an entry names came before it, and references count back from there.
        self.places.push((run as u32, self.chains[run].len));
        self.chains[run].last = entry.hash;
        self.chains[run].len += 1;
    }

    /// The run that the entry goes on with, or a new one.
    fn run(&mut self, content: &Content) -> usize {
        let newest = self.chain_of.get(&content.author).copied();
        if let Some(run) = newest
            && self.chains[run].last == content.prev
        {
            return run;
        }
        // Branches of a fork take turns; there are few runs then, and few forks.
        let goes_on = |run: &Run| run.last == content.prev && run.author == content.author;
        if let Some(run) = newest.and_then(|_| self.chains.iter().position(goes_on)) {
            return run;
        }
        self.chains.push(Run {
            author: content.author,
            first_seq: content.seq,
            prev: content.prev,
            last: content.prev,
            len: 0,
        });
        self.chain_of.insert(content.author, self.chains.len() - 1);
        self.chains.len() - 1
    }

    /// Where an entry is in the pack so far.
    fn inside(&self, hash: &EntryHash) -> Option<(usize, u32)> {
        let ix = self.graph.find(hash)?;
        let place = self.entries[..self.places.len()].binary_search(&ix).ok()?;
        let (run, place) = self.places[place];
        Some((run as usize, place))
    }

    fn outside(&mut self, hash: &EntryHash) -> usize {
        *self.outside_of.entry(*hash).or_insert_with(|| {
            self.outside.push(*hash);
            self.outside.len() - 1
        })
    }

    fn body(&mut self, content: &Content, bytes: &[u8]) {
        let Some((&kind, bytes)) = bytes.split_first() else {
            return;
        };
        self.column(Column::Kind).push(kind);
        let mut kept = self.bodies.remove(&kind).unwrap_or_default();
        let (kept_before, mut at, mut count) = (kept.len(), 0, 0);
        content.body.each_named(&mut |named| {
            if let Some((gap, len, of, back)) = self.reference(named, &bytes[at..]) {
                kept.extend_from_slice(&bytes[at..at + gap]);
                at += gap + len;
                count += 1;
                self.put(Column::NameGap, gap);
                numbers::put(self.column(Column::NameOf), of);
                if let Some(back) = back {
                    self.put(Column::NameBack, back);
                }
            }
        });
        kept.extend_from_slice(&bytes[at..]);
        self.put(Column::NameCount, count);
        self.put(Column::BodyLen, kept.len() - kept_before);
        self.bodies.insert(kind, kept);
    }

    /// How a name can be sent: the bytes before it, its length, its reference, and how far back.
    fn reference(
        &mut self,
        named: Named,
        bytes: &[u8],
    ) -> Option<(usize, usize, u64, Option<usize>)> {
        let of = |kind: u64, which: usize| kind + 4 * which as u64;
        match named {
            Named::Tag(tag) => {
                let run = self.run_of_tag(tag)?;
                Some((find(bytes, &tag.0)?, 8, of(name::TAG, run), None))
            }
            Named::Device(key) => {
                let run = *self.chain_of.get(key)?;
                Some((find(bytes, &key.0)?, 32, of(name::DEVICE, run), None))
            }
            Named::Entry(hash) => {
                let gap = find(bytes, &hash.0)?;
                match self.inside(hash) {
                    Some((run, place)) => {
                        let back = (self.chains[run].len - 1 - place) as usize;
                        Some((gap, 32, of(name::ENTRY, run), Some(back)))
                    }
                    None => Some((gap, 32, of(name::OUTSIDE, self.outside(hash)), None)),
                }
            }
        }
    }

    fn run_of_tag(&self, tag: &DeviceTag) -> Option<usize> {
        let mut low = [0; 32];
        low[..8].copy_from_slice(&tag.0);
        let (key, &run) = self.chain_of.range(DeviceKey(low)..).next()?;
        (key.tag() == *tag).then_some(run)
    }

    fn finish(mut self) -> Vec<u8> {
        let mut bodies = Vec::new();
        for kept in self.bodies.values() {
            bodies.extend_from_slice(kept);
        }
        *self.column(Column::Body) = bodies;
        let job = self.entries.iter().map(|&ix| self.graph.entry(ix));
        let job = job
            .map(|entry| match entry.content.job {
                unfounded if unfounded == JobId::UNFOUNDED => entry.hash.into(),
                job => job,
            })
            .next()
            .unwrap_or(JobId::UNFOUNDED);

        let columns: usize = self.columns.iter().map(Vec::len).sum();
        let mut pack = Vec::with_capacity(
            columns
                + self.entries.len() * SIGNATURE_BYTES
                + self.chains.len() * 80
                + self.outside.len() * 32
                + 256,
        );
        pack.push(VERSION);
        pack.extend_from_slice(&job.0);
        numbers::put(&mut pack, self.entries.len() as u64);
        numbers::put(&mut pack, self.chains.len() as u64);
        for run in &self.chains {
            pack.extend_from_slice(&run.author.0);
            numbers::put(&mut pack, u64::from(run.first_seq));
            pack.extend_from_slice(&run.prev.0);
        }
        numbers::put(&mut pack, self.outside.len() as u64);
        for hash in &self.outside {
            pack.extend_from_slice(&hash.0);
        }
        for column in &self.columns {
            numbers::put(&mut pack, column.len() as u64);
            pack.extend_from_slice(column);
        }
        for &ix in self.entries {
            pack.extend_from_slice(&self.graph.entry(ix).signature());
        }
        pack
    }
}

/// The first place of `what` in `bytes`. Any place does: what stands there is what is sent.
fn find(bytes: &[u8], what: &[u8]) -> Option<usize> {
    let first = *what.first()?;
    let mut from = 0;
    loop {
        let at = from + bytes.get(from..)?.iter().position(|&byte| byte == first)?;
        if bytes[at..].starts_with(what) {
            return Some(at);
        }
        from = at + 1;
    }
}

/// Length of what stands before the body in an entry's bytes.
fn envelope_bytes(content: &Content) -> usize {
    let numbers = numbers::len(u64::from(content.seq))
        + numbers::len(content.heads.len() as u64)
        + numbers::len(content.stamp.0)
        + numbers::len(numbers::zigzag(content.wall.0));
    1 + 3 * 32 + 32 * content.heads.len() + numbers
}
