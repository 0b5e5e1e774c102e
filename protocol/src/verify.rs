//! Verify: is a stored or exported log whole and unchanged, and if not, where is it not?
//! Owns: nothing.   Gives: `verify_file`; and its parts, for callers with several threads: `check_records`, `Verifier`.
//! May use: log, gate::Job (for admission).   Never: a file handle (node), whether what is said counts (gate).
//!
//! Each record is decoded and its signature checked; then the entries are linked, each to its whole past,
//! and each author must have been admitted. A change to one entry breaks its signature; an entry that is
//! taken out, put in or exchanged breaks the links of those that saw it. What this cannot find is an end
//! that was cut off between two entries, with everything that had seen them: another device's log shows
//! that, and so does a log without its close.
//!
//! On several threads: `journal::scan`, then [`check_records`] on parts of its records, at best
//! [`crate::log::sign::BATCH_ENTRIES`] each, then [`Verifier::add`] for the parts in order.

use crate::gate::{Job, NotAJob};
use crate::ids::{DeviceKey, EntryHash};
use crate::log::entry::Body;
use crate::log::graph::{CannotInsert, Inserted};
use crate::log::journal::{self, Damage, DamageKind, Scan};
use crate::log::sign::{self, Verified};
use crate::log::wire::{self, BadBytes, Entry};
use core::ops::Range;
use std::collections::{BTreeMap, BTreeSet};

/// What one record turned out to be.
#[derive(Clone, PartialEq, Eq, Debug)]
#[allow(
    clippy::large_enum_variant,
    reason = "nearly all are good, and a box each would cost more"
)]
pub enum Checked {
    /// An entry with its author's signature.
    Good(Verified),
    /// No entry.
    NoEntry(BadBytes),
    /// An entry whose signature is not its author's.
    Signature(EntryAt),
}

/// An entry by author and number.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct EntryAt {
    /// The author.
    pub author: DeviceKey,
    /// Its number.
    pub seq: u32,
}

/// Something that is wrong with a log.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Fault {
    /// Where in the file: of a missing entry, where the first one is that needs it.
    pub offset: usize,
    /// Which entry, where that can be told. Of unreadable bytes it is what they claim, or what is missing.
    pub entry: Option<EntryAt>,
    /// What is wrong.
    pub kind: FaultKind,
}

/// What can be wrong.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum FaultKind {
    /// Bytes that are no record.
    #[error("{len} bytes cannot be read: a record is damaged or cut off")]
    Unreadable {
        /// How many.
        len: usize,
        /// Where they are.
        kind: DamageKind,
    },
    /// A whole record that is no entry.
    #[error("the record is no entry: {0}")]
    NoEntry(BadBytes),
    /// A signature that is not its author's: the entry was changed.
    #[error("the signature is not good: the entry was changed")]
    Signature,
    /// The first entry founds no job.
    #[error("the log does not start with a founding entry: {0}")]
    NoJob(NotAJob),
    /// It cannot be where it claims to be.
    #[error("it does not belong where it is: {0}")]
    Refused(CannotInsert),
    /// It stands before what it had seen: the file was put in another order.
    #[error("it stands before an entry that it had seen: the order was changed")]
    Order,
    /// It is in the file twice.
    #[error("it is in the file twice")]
    Twice,
    /// It is not in the file, and later entries had seen it.
    #[error("it is missing, and {needed_by} later entries name it")]
    Missing {
        /// Its hash.
        hash: EntryHash,
        /// How many name it.
        needed_by: usize,
    },
}

/// What a verification found.
#[derive(Debug)]
pub struct Report {
    /// The job with all entries that are whole and linked; settled.
    pub job: Option<Job>,
    /// Everything that is wrong, in the order of the file. Empty: the log is whole and unchanged.
    pub faults: Vec<Fault>,
    /// Entries that are good by themselves, but had seen something that is bad or missing, at first or
    /// second hand, in the order of the file.
    pub depend: Vec<EntryAt>,
    /// Entries of each author that are whole and linked, forked ones included.
    pub authors: BTreeMap<DeviceKey, usize>,
    /// Whether the log has a close, after which nothing needs to follow.
    pub has_close: bool,
}

impl Report {
    /// How many entries are whole and linked.
    #[must_use]
    pub fn entries(&self) -> usize {
        self.authors.values().sum()
    }

    /// Whether nothing is wrong.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.faults.is_empty()
    }

    /// The first thing that is wrong.
    #[must_use]
    pub fn first_fault(&self) -> Option<&Fault> {
        self.faults.first()
    }
}

/// Verifies a whole journal or exported log on this thread.
#[must_use]
pub fn verify_file(file: &[u8]) -> Report {
    let scan = journal::scan(file);
    let mut verifier = Verifier::new();
    for part in scan.records.chunks(sign::BATCH_ENTRIES) {
        verifier.add(part, check_records(file, part));
    }
    verifier.finish(file, &scan)
}

/// Decodes some records and checks their signatures. Pure: any number of threads may each take a part.
#[must_use]
pub fn check_records(file: &[u8], records: &[Range<usize>]) -> Vec<Checked> {
    let decode = |at: &Range<usize>| {
        let bytes = file.get(at.clone()).unwrap_or_default();
        Entry::decode(bytes.into())
    };
    let mut checked = Vec::with_capacity(records.len());
    let mut entries = Vec::with_capacity(records.len());
    for at in records {
        match decode(at) {
            Ok(entry) => {
                checked.push(None);
                entries.push(entry);
            }
            Err(bad) => checked.push(Some(Checked::NoEntry(bad))),
        }
    }
    let (good, bad) = sign::verify_batch(entries);
    let (mut good, mut bad) = (good.into_iter().peekable(), bad.into_iter());
    let mut places = records.iter();
    checked
        .into_iter()
        .map(|known| {
            let at = places.next();
            if let Some(known) = known {
                return known;
            }
            // Both lists keep the order: the next good one is this record's, or this record is bad.
            let bytes = at.and_then(|at| file.get(at.clone()));
            match good.next_if(|good| bytes.is_some_and(|bytes| *good.entry().bytes == *bytes)) {
                Some(good) => Checked::Good(good),
                None => match bad.next() {
                    Some(bad) => Checked::Signature(EntryAt {
                        author: bad.author,
                        seq: bad.seq,
                    }),
                    None => Checked::NoEntry(BadBytes::Encoding),
                },
            }
        })
        .collect()
}

/// Links checked records, in the order of the file.
#[derive(Debug, Default)]
pub struct Verifier {
    job: Option<Job>,
    faults: Vec<Fault>,
    /// Good entries whose past is not here: where they are, and what each misses.
    waiting: BTreeMap<EntryHash, (usize, Verified)>,
    by_missing: BTreeMap<EntryHash, Vec<EntryHash>>,
    authors: BTreeMap<DeviceKey, usize>,
    has_close: bool,
}

impl Verifier {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds the next records and what [`check_records`] made of them.
    pub fn add(&mut self, records: &[Range<usize>], checked: Vec<Checked>) {
        for (at, checked) in records.iter().zip(checked) {
            let offset = at.start;
            match checked {
                Checked::Good(verified) => self.link(offset, verified),
                Checked::NoEntry(bad) => self.fault(offset, None, FaultKind::NoEntry(bad)),
                Checked::Signature(entry) => self.fault(offset, Some(entry), FaultKind::Signature),
            }
        }
    }

    fn fault(&mut self, offset: usize, entry: Option<EntryAt>, kind: FaultKind) {
        self.faults.push(Fault {
            offset,
            entry,
            kind,
        });
    }

    fn link(&mut self, offset: usize, verified: Verified) {
        let content = &verified.entry().content;
        let missing = match &self.job {
            Some(job) => job.graph().missing(content),
            None if matches!(content.body, Body::Found(_)) => Vec::new(),
            None => vec![EntryHash(content.job.0)],
        };
        if missing.is_empty() {
            self.insert(offset, verified);
            return;
        }
        let hash = verified.entry().hash;
        let name = at(verified.entry());
        if self.waiting.insert(hash, (offset, verified)).is_some() {
            self.fault(offset, Some(name), FaultKind::Twice);
        } else {
            for missed in missing {
                self.by_missing.entry(missed).or_default().push(hash);
            }
        }
    }

    /// Puts in an entry whose past is here, and then those that waited for it.
    fn insert(&mut self, offset: usize, verified: Verified) {
        let mut ready = vec![(offset, verified)];
        let mut first = true;
        while let Some((offset, verified)) = ready.pop() {
            let entry = verified.entry();
            let (hash, name) = (entry.hash, at(entry));
            let closes = matches!(entry.content.body, Body::Close(_));
            if !core::mem::take(&mut first) {
                self.fault(offset, Some(name), FaultKind::Order);
            }
            match self.put(verified) {
                Ok(true) => {
                    *self.authors.entry(name.author).or_default() += 1;
                    self.has_close |= closes;
                }
                Ok(false) => self.fault(offset, Some(name), FaultKind::Twice),
                Err(kind) => self.fault(offset, Some(name), kind),
            }
            for waits in self.by_missing.remove(&hash).unwrap_or_default() {
                let missing = match (&self.job, self.waiting.get(&waits)) {
                    (Some(job), Some((_, verified))) => {
                        job.graph().missing(&verified.entry().content)
                    }
                    _ => continue,
                };
                if missing.is_empty() {
                    ready.extend(self.waiting.remove(&waits));
                }
                for missed in missing {
                    self.by_missing.entry(missed).or_default().push(waits);
                }
            }
        }
    }

    /// Whether the entry is new.
    fn put(&mut self, verified: Verified) -> Result<bool, FaultKind> {
        match &mut self.job {
            Some(job) => match job.insert(verified) {
                Ok(Inserted::New(_)) => Ok(true),
                Ok(Inserted::Known(_)) => Ok(false),
                Err(refused) => Err(FaultKind::Refused(refused)),
            },
            None => {
                self.job = Some(Job::found(verified).map_err(FaultKind::NoJob)?);
                Ok(true)
            }
        }
    }

    /// What was found, all in all. `scan` is that of the whole file.
    #[must_use]
    pub fn finish(mut self, file: &[u8], scan: &Scan) -> Report {
        for damage in &scan.damage {
            let entry = self.name_damage(file, damage);
            let kind = FaultKind::Unreadable {
                len: damage.len,
                kind: damage.kind,
            };
            self.fault(damage.offset, entry, kind);
        }
        self.name_missing();
        self.faults.sort_by_key(|fault| fault.offset);
        let mut depend: Vec<(usize, EntryAt)> = self
            .waiting
            .values()
            .map(|(offset, verified)| (*offset, at(verified.entry())))
            .collect();
        depend.sort_unstable();
        if let Some(job) = &mut self.job {
            job.settle();
        }
        Report {
            job: self.job,
            faults: self.faults,
            depend: depend.into_iter().map(|(_, entry)| entry).collect(),
            authors: self.authors,
            has_close: self.has_close,
        }
    }

    /// Which entry unreadable bytes claim to be, if that is one of an author of this log.
    fn name_damage(&self, file: &[u8], damage: &Damage) -> Option<EntryAt> {
        let from = damage.offset.checked_add(4)?;
        let bytes = file.get(from..damage.offset.checked_add(damage.len)?)?;
        let (author, seq) = wire::claimed(bytes)?;
        self.authors
            .contains_key(&author)
            .then_some(EntryAt { author, seq })
    }

    /// Names what the waiting entries miss. An entry that is bad is missed under its old hash by those that
    /// had seen it: that is not said twice.
    fn name_missing(&mut self) {
        let (mut missing, mut matched) = (Vec::new(), BTreeSet::new());
        let spoilt: BTreeSet<EntryAt> =
            self.faults.iter().filter_map(|fault| fault.entry).collect();
        for (hash, waits) in &self.by_missing {
            if self.waiting.contains_key(hash) {
                continue;
            }
            let fault = self.missing(hash, waits);
            match fault.entry {
                Some(entry) if spoilt.contains(&entry) => {
                    matched.insert(entry);
                }
                _ => missing.push(fault),
            }
        }
        // One that is bad and one that is missed, and one of the two without a name: they are the same.
        let unmatched = |fault: &&mut Fault| {
            matches!(
                fault.kind,
                FaultKind::Unreadable { .. } | FaultKind::NoEntry(_) | FaultKind::Signature
            ) && fault.entry.is_none_or(|entry| !matched.contains(&entry))
        };
        let mut spoilt: Vec<&mut Fault> = self.faults.iter_mut().filter(unmatched).collect();
        if let ([bad], [lost]) = (&mut spoilt[..], &missing[..])
            && (bad.entry.is_none() || lost.entry.is_none())
        {
            bad.entry = bad.entry.or(lost.entry);
            missing.clear();
        }
        self.faults.append(&mut missing);
    }

    /// The fault of an entry that is not here. Who its author is, says the author's next entry.
    fn missing(&self, hash: &EntryHash, waits: &[EntryHash]) -> Fault {
        // One that waited for several things may be listed more than once.
        let waits: BTreeSet<&EntryHash> = waits.iter().collect();
        let waits: Vec<&(usize, Verified)> = waits
            .into_iter()
            .filter_map(|hash| self.waiting.get(hash))
            .collect();
        let contents = waits.iter().map(|(_, verified)| &verified.entry().content);
        let next = contents.clone().find(|content| content.prev == *hash);
        Fault {
            offset: waits.iter().map(|(offset, _)| *offset).min().unwrap_or(0),
            entry: next.and_then(|content| {
                Some(EntryAt {
                    author: content.author,
                    seq: content.seq.checked_sub(1)?,
                })
            }),
            kind: FaultKind::Missing {
                hash: *hash,
                needed_by: waits.len(),
            },
        }
    }
}

fn at(entry: &Entry) -> EntryAt {
    EntryAt {
        author: entry.content.author,
        seq: entry.content.seq,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::log::graph::{EntryIx, Graph};
    use crate::log::sample;

    fn export(graph: &Graph, of: impl IntoIterator<Item = usize>) -> Vec<u8> {
        let mut file = journal::header().to_vec();
        for place in of {
            let ix = EntryIx(u32::try_from(place).unwrap());
            journal::append_record(&mut file, &graph.entry(ix).bytes);
        }
        file
    }

    fn name(graph: &Graph, place: usize) -> EntryAt {
        at(graph.entry(EntryIx(u32::try_from(place).unwrap())))
    }

    /// What depends on an entry: everything that has it in its past.
    fn after(graph: &Graph, place: usize) -> Vec<EntryAt> {
        let bad = EntryIx(u32::try_from(place).unwrap());
        let after = graph.iter().filter(|&ix| graph.before(bad, ix));
        after.map(|ix| at(graph.entry(ix))).collect()
    }

    #[test]
    fn a_whole_log_is_whole() {
        let graph = sample::job(60, 4);
        let report = verify_file(&export(&graph, 0..60));
        assert_eq!(report.faults, []);
        assert_eq!(report.entries(), 60);
        assert!(report.depend.is_empty() && !report.has_close);
        assert_eq!(report.job.unwrap().graph().all(), graph.all());
    }

    #[test]
    fn every_changed_byte_is_found_and_the_entry_named() {
        let graph = sample::job(30, 4);
        let file = export(&graph, 0..30);
        let records = journal::scan(&file).records;
        for (place, record) in records.iter().enumerate().skip(24) {
            for offset in (record.start - 4..record.end + 4).step_by(1 + place % 3) {
                let mut changed = file.clone();
                changed[offset] ^= 0x10;
                let report = verify_file(&changed);
                let fault = report.first_fault().unwrap();
                assert_eq!(fault.offset, record.start - 4, "byte {offset}");
                let depend = after(&graph, place);
                // Its own bytes may name nobody of the crew, and nobody may have followed it.
                let author_bytes = record.start + 33..record.start + 70;
                if !author_bytes.contains(&offset) {
                    assert_eq!(fault.entry, Some(name(&graph, place)), "byte {offset}");
                }
                assert_eq!(report.depend, depend, "byte {offset}");
                assert_eq!(report.entries(), 29 - depend.len());
            }
        }
    }

    #[test]
    fn a_change_with_a_new_checksum_is_found_by_its_signature() {
        let graph = sample::job(30, 4);
        for place in 10..30 {
            let ix = EntryIx(u32::try_from(place).unwrap());
            let mut bytes = graph.entry(ix).bytes.to_vec();
            // In the signature, so that the entry still decodes.
            let last = bytes.len() - 33;
            bytes[last] ^= 1;
            let mut file = export(&graph, 0..place);
            journal::append_record(&mut file, &bytes);
            file.extend_from_slice(&export(&graph, place + 1..30)[journal::HEADER_BYTES..]);
            let report = verify_file(&file);
            let fault = report.first_fault().unwrap();
            assert_eq!(fault.kind, FaultKind::Signature);
            assert_eq!(fault.entry, Some(name(&graph, place)));
            assert_eq!(report.faults.len(), 1);
            assert_eq!(report.depend, after(&graph, place));
        }
    }

    #[test]
    fn what_was_taken_out_moved_or_doubled_is_named() {
        let graph = sample::job(40, 6);
        let place = (10..30)
            .find(|&place| {
                let own = name(&graph, place);
                let next = EntryAt {
                    seq: own.seq + 1,
                    ..own
                };
                graph.forks().is_empty() || after(&graph, place).contains(&next)
            })
            .unwrap();
        let without = verify_file(&export(&graph, (0..40).filter(|&other| other != place)));
        let fault = without.first_fault().unwrap();
        assert_eq!(fault.entry, Some(name(&graph, place)));
        assert!(matches!(fault.kind, FaultKind::Missing { needed_by, .. } if needed_by > 0));
        assert_eq!(without.depend, after(&graph, place));

        let moved = (0..40).filter(|&other| other != place).chain([place]);
        let report = verify_file(&export(&graph, moved));
        assert_eq!(report.entries(), 40);
        assert!(
            report
                .faults
                .iter()
                .all(|fault| fault.kind == FaultKind::Order)
        );
        assert_eq!(report.faults.len(), after(&graph, place).len());

        let doubled = verify_file(&export(&graph, (0..40).chain([place])));
        assert_eq!(doubled.faults.len(), 1);
        assert_eq!(doubled.faults[0].kind, FaultKind::Twice);
        assert_eq!(doubled.faults[0].entry, Some(name(&graph, place)));
    }

    #[test]
    fn a_cut_log_names_its_last_entry_and_a_foreign_one_is_no_job() {
        let graph = sample::job(25, 8);
        let file = export(&graph, 0..25);
        let report = verify_file(&file[..file.len() - 30]);
        let fault = report.first_fault().unwrap();
        assert_eq!(fault.entry, Some(name(&graph, 24)));
        assert!(matches!(
            fault.kind,
            FaultKind::Unreadable {
                kind: DamageKind::Tail,
                ..
            }
        ));
        assert_eq!(report.entries(), 24);

        let headless = verify_file(&export(&graph, 1..25));
        assert!(headless.job.is_none());
        let fault = headless.first_fault().unwrap();
        let founding = graph.hash(EntryIx(0));
        assert!(matches!(fault.kind, FaultKind::Missing { hash, .. } if hash == founding));
        assert_eq!(headless.depend.len(), 24);
        assert!(!verify_file(b"a holiday picture").is_whole());
        assert!(!verify_file(b"").is_whole());
    }

    #[test]
    fn an_entry_of_a_device_that_nobody_admitted_is_named() {
        let graph = sample::job(20, 8);
        let stranger = sample::author(77);
        let job = graph.hash(EntryIx(0)).into();
        let entry = stranger.next(&graph, sample::WALL, job, sample::note("let me in"));
        let mut file = export(&graph, 0..20);
        journal::append_record(&mut file, &entry.unwrap().bytes);
        let report = verify_file(&file);
        let author = stranger.device();
        let refused = CannotInsert::NotAdmitted { author };
        assert_eq!(report.faults.len(), 1);
        assert_eq!(report.faults[0].kind, FaultKind::Refused(refused));
        assert_eq!(report.faults[0].entry, Some(EntryAt { author, seq: 0 }));
    }

    #[test]
    fn random_files_never_panic() {
        for seed in 0..300 {
            let mut draw = sample::Draw(seed);
            let mut file = if seed % 2 == 0 {
                journal::header().to_vec()
            } else {
                Vec::new()
            };
            for _ in 0..draw.below(5) {
                let bytes: Vec<u8> = (0..64 + draw.below(200))
                    .map(|_| u8::try_from(draw.below(256)).unwrap())
                    .collect();
                journal::append_record(&mut file, &bytes);
            }
            file.truncate(draw.below(file.len() + 1));
            let report = verify_file(&file);
            assert_eq!(report.entries(), 0, "seed {seed}");
        }
    }
}
