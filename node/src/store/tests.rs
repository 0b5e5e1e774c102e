//! Tests of the journal: disks that fail, lose power and are changed behind its back.
//! Owns: a disk in memory.   Gives: nothing.
//! May use: all of store.   Never: a wall clock.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::{Disk, Finding, GROWTH_BYTES, Journal, Opened, StoreFault};
use gantline_protocol::log::journal as frames;
use std::io;
use std::path::Path;
use std::sync::{Arc, Mutex};

/// Bytes as the file system shows them, and as they are after the loss of power.
#[derive(Default)]
struct Memory {
    shown: Vec<u8>,
    durable: Vec<u8>,
    operations: u32,
    fail_at: Option<u32>,
    fail_with: Option<io::ErrorKind>,
    room: Option<u64>,
}

#[derive(Clone, Default)]
struct FakeDisk(Arc<Mutex<Memory>>);

impl FakeDisk {
    fn holding(bytes: &[u8]) -> Self {
        let disk = Self::default();
        disk.with(|memory| {
            memory.shown = bytes.to_vec();
            memory.durable = bytes.to_vec();
        });
        disk
    }

    fn with<T>(&self, work: impl FnOnce(&mut Memory) -> T) -> T {
        work(&mut self.0.lock().unwrap())
    }

    fn durable(&self) -> Vec<u8> {
        self.with(|memory| memory.durable.clone())
    }
}

impl Memory {
    fn operation(&mut self) -> io::Result<()> {
        self.operations += 1;
        if self.fail_at == Some(self.operations) {
            return Err(io::Error::from(
                self.fail_with.unwrap_or(io::ErrorKind::Other),
            ));
        }
        Ok(())
    }
}

impl Disk for FakeDisk {
    fn read_all(&mut self) -> io::Result<Vec<u8>> {
        self.with(|memory| Ok(memory.shown.clone()))
    }

    fn write_at(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        self.with(|memory| {
            let failed = memory.operation();
            // A write that fails may have written some of it.
            let written = if failed.is_err() {
                bytes.len() / 2
            } else {
                bytes.len()
            };
            let offset = usize::try_from(offset).unwrap();
            let end = offset + written;
            if memory.shown.len() < end {
                memory.shown.resize(end, 0);
            }
            memory.shown[offset..end].copy_from_slice(&bytes[..written]);
            failed
        })
    }

    fn reserve(&mut self, offset: u64, bytes: u64) -> io::Result<()> {
        self.with(|memory| {
            memory.operation()?;
            match memory.room {
                Some(room) if offset + bytes > room => Err(io::ErrorKind::StorageFull.into()),
                _ => Ok(()),
            }
        })
    }

    fn flush(&mut self) -> io::Result<()> {
        self.with(|memory| {
            memory.operation()?;
            memory.durable.clone_from(&memory.shown);
            Ok(())
        })
    }
}

fn entry(n: u8) -> Vec<u8> {
    vec![n; 80 + usize::from(n)]
}

fn open(disk: &FakeDisk) -> Opened {
    Journal::open_on(Box::new(disk.clone()), Path::new("unused")).unwrap()
}

fn read(opened: &Opened) -> Vec<Vec<u8>> {
    opened.entries.iter().map(|entry| entry.to_vec()).collect()
}

/// A journal file with entries 1 to `n` and `spare` zeros after them, and where each record ends.
fn file_of(n: u8, spare: usize) -> (Vec<u8>, Vec<usize>) {
    let mut bytes = frames::header().to_vec();
    let mut ends = Vec::new();
    for i in 1..=n {
        frames::append_record(&mut bytes, &entry(i));
        ends.push(bytes.len());
    }
    bytes.resize(bytes.len() + spare, 0);
    (bytes, ends)
}

#[test]
fn cut_at_every_byte_it_opens_with_all_whole_records_and_goes_on() {
    let (whole, ends) = file_of(3, 0);
    for spare in [0, 300] {
        for cut in 0..=whole.len() {
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join(Journal::NAME);
            let mut bytes = whole[..cut].to_vec();
            bytes.resize(cut + spare, 0);
            let disk = FakeDisk::holding(&bytes);

            let mut opened = Journal::open_on(Box::new(disk.clone()), &path).unwrap();
            opened.journal.growth_bytes = 4096;
            let kept = ends.iter().filter(|end| **end <= cut).count();
            let mut expected: Vec<_> = (1_u8..).take(kept).map(entry).collect();
            assert_eq!(
                read(&opened),
                expected,
                "cut at {cut}, {spare} zeros after it"
            );
            if let [
                Finding::CutTail {
                    offset,
                    bytes,
                    aside,
                },
            ] = &opened.findings[..]
            {
                let tail = std::fs::read(aside).unwrap();
                assert_eq!(tail.len() as u64, *bytes);
                let offset = usize::try_from(*offset).unwrap();
                assert_eq!(
                    whole[offset..offset + tail.len()],
                    tail,
                    "set aside as it was"
                );
            } else {
                assert_eq!(opened.findings, [], "cut at {cut}");
            }

            opened.journal.append(&[entry(9)]).unwrap();
            expected.push(entry(9));
            let again = open(&FakeDisk::holding(&disk.durable()));
            assert_eq!(read(&again), expected, "cut at {cut}, reopened");
            assert_eq!(again.findings, [], "cut at {cut}, reopened");
        }
    }
}

#[test]
fn a_changed_byte_costs_one_record_is_told_and_the_old_file_is_kept() {
    let (whole, ends) = file_of(4, 100);
    let last = ends[2];
    for at in (frames::HEADER_BYTES..last).step_by(7) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(Journal::NAME);
        let mut bytes = whole.clone();
        bytes[at] ^= 0x40;
        std::fs::write(&path, &bytes).unwrap();
        let mut opened = Journal::open(folder.path()).unwrap();
        let hit = ends.iter().position(|end| at < *end).unwrap();
        let mut expected: Vec<_> = (1..=4).map(entry).collect();
        expected.remove(hit);
        assert_eq!(read(&opened), expected, "byte {at} changed");
        let [finding @ Finding::Damaged { aside, .. }] = &opened.findings[..] else {
            panic!("byte {at}: found {:?}", opened.findings);
        };
        assert!(finding.is_loss());
        assert_eq!(std::fs::read(aside).unwrap(), bytes, "set aside as it was");

        opened.journal.append(&[entry(9)]).unwrap();
        drop(opened);
        expected.push(entry(9));
        let again = Journal::open(folder.path()).unwrap();
        assert_eq!(read(&again), expected);
        assert_eq!(again.findings, []);
    }
}

#[test]
fn a_journal_of_another_version_is_refused_and_not_touched() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(Journal::NAME);
    let mut bytes = frames::header().to_vec();
    bytes[16..20].copy_from_slice(&7_u32.to_le_bytes());
    let sum = crc32fast::hash(&bytes[..20]);
    bytes[20..24].copy_from_slice(&sum.to_le_bytes());
    std::fs::write(&path, &bytes).unwrap();
    let refused = Journal::open(folder.path()).err();
    assert!(
        matches!(refused, Some(StoreFault::Version { found: 7, .. })),
        "{refused:?}"
    );
    assert_eq!(std::fs::read(&path).unwrap(), bytes);
}

#[test]
fn whatever_operation_fails_only_what_was_said_to_be_durable_counts() {
    // Each operation in turn fails, until a run has no failure left; then power is lost, with the unflushed bytes
    // gone and with the unflushed bytes kept.
    for kind in [io::ErrorKind::Other, io::ErrorKind::StorageFull] {
        let mut failed = 0;
        for n in 1.. {
            assert!(n < 1_000, "the runs never end");
            let disk = FakeDisk::default();
            disk.with(|memory| {
                memory.fail_at = Some(n);
                memory.fail_with = Some(kind);
            });
            let Ok(mut opened) = Journal::open_on(Box::new(disk.clone()), Path::new("unused"))
            else {
                failed += 1;
                continue;
            };
            let mut durable = Vec::new();
            let mut refused = 0;
            for batch in [
                vec![entry(1), entry(2), entry(3)],
                vec![entry(4)],
                vec![entry(5)],
            ] {
                match opened.journal.append(&batch) {
                    Ok(()) => durable.extend(batch),
                    Err(fault) => {
                        if kind == io::ErrorKind::StorageFull {
                            assert!(
                                matches!(fault, StoreFault::Full { .. } | StoreFault::Flush { .. }),
                                "{fault:?}"
                            );
                        }
                        refused += 1;
                    }
                }
            }
            drop(opened);
            let shown = disk.with(|memory| memory.shown.clone());
            if refused == 0 {
                assert_eq!(durable.len(), 5);
            }
            // The last append succeeded unless it was the one that failed.
            if durable.contains(&entry(5)) {
                assert_eq!(
                    read(&open(&FakeDisk::holding(&shown))),
                    durable,
                    "failure at {n}"
                );
            }
            let after = read(&open(&FakeDisk::holding(&disk.durable())));
            assert!(
                after.starts_with(&durable),
                "failure at {n}: {} kept",
                after.len()
            );
            if disk.with(|memory| memory.operations) < n {
                break;
            }
            failed += 1;
        }
        assert!(failed >= 5, "only {failed} operations failed");
    }
}

#[test]
fn a_full_disk_takes_no_entry_and_takes_them_again_when_there_is_room() {
    let disk = FakeDisk::default();
    disk.with(|memory| memory.room = Some(16 * 1024));
    let mut opened = open(&disk);
    let mut kept = Vec::new();
    let fault = loop {
        match opened.journal.append(&[entry(7)]) {
            Ok(()) => kept.push(entry(7)),
            Err(fault) => break fault,
        }
        assert!(kept.len() < 1_000);
    };
    assert!(matches!(fault, StoreFault::Full { .. }), "{fault:?}");
    assert!(kept.len() > 100, "the last page is used: {}", kept.len());
    assert_eq!(read(&open(&FakeDisk::holding(&disk.durable()))), kept);
    disk.with(|memory| memory.room = None);
    opened.journal.append(&[entry(8)]).unwrap();
    kept.push(entry(8));
    assert_eq!(read(&open(&FakeDisk::holding(&disk.durable()))), kept);
}

#[test]
fn an_append_is_one_write_and_one_flush_and_the_file_does_not_grow() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = Journal::open(folder.path()).unwrap();
    opened.journal.prepare();
    let length = std::fs::metadata(opened.journal.path()).unwrap().len();
    assert!(length >= GROWTH_BYTES);
    opened.journal.append(&[entry(1), entry(2)]).unwrap();
    assert_eq!(
        std::fs::metadata(opened.journal.path()).unwrap().len(),
        length
    );

    let disk = FakeDisk::default();
    let mut opened = open(&disk);
    opened.journal.prepare();
    let before = disk.with(|memory| memory.operations);
    opened.journal.append(&[entry(1), entry(2)]).unwrap();
    assert_eq!(disk.with(|memory| memory.operations) - before, 2);
}

#[test]
fn a_journal_longer_than_a_growth_step_is_read_back_whole() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = Journal::open(folder.path()).unwrap();
    let big: Vec<Vec<u8>> = (0..60_u8).map(|n| vec![n; 60_000]).collect();
    opened.journal.append(&big[..1]).unwrap();
    opened.journal.append(&big[1..]).unwrap();
    assert_eq!(opened.journal.records(), 60);
    drop(opened);
    let again = Journal::open(folder.path()).unwrap();
    assert_eq!(read(&again), big);
    assert_eq!(again.findings, []);
}
