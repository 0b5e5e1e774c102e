//! Journal: the signed bytes, in order of arrival, on the disk before anything of them is shown or sent.
//! Owns: the file `journal` of a job's folder, and the folder's lock.   Gives: `Journal`, `Opened`.
//! May use: disk, lock, fault, protocol::log::journal (the frames).   Never: what an entry says.
//!
//! The file is kept longer than what is in it: the rest is zeros that are already on the disk. So an append changes
//! nothing but bytes in place, one write and one flush, and the file system has no length or map to note beside it.
//!
//! A batch that failed leaves its place unused: the next one is written over it, and zeros over what it leaves, so
//! nothing that was said to have failed comes back at the next start behind something that was said to be durable.

use crate::store::{Disk, FileDisk, Finding, FolderLock, StoreFault, free_name, sync_folder_of};
use gantline_protocol::log::journal::{self as frames, Damage, DamageKind};
use std::fs::OpenOptions;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// By how much the file grows at a time, bytes: some 3,500 entries, and a few milliseconds of writing zeros, which
/// [`Journal::prepare`] does when nobody waits.
pub const GROWTH_BYTES: u64 = 1024 * 1024;
/// What is asked for at least, when the disk has no room for a whole step, bytes.
const PAGE_BYTES: u64 = 4096;

/// The journal of one job, open for appending. One thread has it.
pub struct Journal {
    path: PathBuf,
    disk: Box<dyn Disk>,
    /// Where the next batch goes. Everything before is on the disk.
    end: u64,
    /// Up to here there are zeros on the disk, apart from `end..dirty_until`.
    reserved: u64,
    /// A failed batch may have left bytes up to here; 0: none.
    dirty_until: u64,
    records: u64,
    durable: Arc<AtomicU64>,
    /// [`GROWTH_BYTES`], but in tests.
    pub(super) growth_bytes: u64,
    /// Reused for each batch.
    batch: Vec<u8>,
    _lock: Option<FolderLock>,
}

/// A journal and what was in it.
pub struct Opened {
    /// For appending.
    pub journal: Journal,
    /// Signed bytes of every good record, in order. Their signatures are not checked yet.
    pub entries: Vec<Arc<[u8]>>,
    /// What was wrong, and is dealt with.
    pub findings: Vec<Finding>,
}

impl core::fmt::Debug for Journal {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("Journal")
            .field("path", &self.path)
            .field("end", &self.end)
            .field("records", &self.records)
            .finish_non_exhaustive()
    }
}

impl Journal {
    /// Name of the file.
    pub const NAME: &'static str = "journal";

    /// Opens the journal in `folder` (which must exist), making it when it is not there, and takes the folder's lock.
    ///
    /// # Errors
    /// [`StoreFault::Locked`] when another node has the folder; else what the disk did.
    pub fn open(folder: &Path) -> Result<Opened, StoreFault> {
        let lock = FolderLock::take(folder)?;
        let path = folder.join(Self::NAME);
        let disk = FileDisk::open(&path).map_err(|source| StoreFault::File {
            path: path.clone(),
            source,
        })?;
        let mut opened = Self::open_on(Box::new(disk), &path)?;
        opened.journal._lock = Some(lock);
        Ok(opened)
    }

    /// Opens a journal on a disk of the caller's, without a lock. `path`: for words, and beside which bytes are set
    /// aside.
    ///
    /// # Errors
    /// What the disk did.
    pub fn open_on(mut disk: Box<dyn Disk>, path: &Path) -> Result<Opened, StoreFault> {
        let fault = |source| StoreFault::File {
            path: path.to_owned(),
            source,
        };
        let mut bytes = disk.read_all().map_err(fault)?;
        let mut findings = Vec::new();
        let used = used_bytes(&bytes);
        if used < frames::HEADER_BYTES && frames::header().starts_with(&bytes[..used]) {
            // New, or its making was cut off.
            bytes = begin(disk.as_mut(), bytes).map_err(fault)?;
        }
        let mut found = frames::scan(&bytes);
        if let Some(found) = version_of(&found) {
            return Err(StoreFault::Version {
                path: path.to_owned(),
                found,
                known: frames::VERSION,
            });
        }
        if found.damage.iter().any(is_hole) {
            let whole = good_records(&found, &bytes);
            let aside = set_aside_and_replace(path, &whole).map_err(fault)?;
            for hole in found.damage.iter().filter(|damage| is_hole(damage)) {
                findings.push(Finding::Damaged {
                    offset: hole.offset as u64,
                    bytes: hole.len as u64,
                    aside: aside.clone(),
                });
            }
            disk = Box::new(FileDisk::open(path).map_err(fault)?);
            bytes = whole;
            found = frames::scan(&bytes);
        }
        let mut journal = Self {
            path: path.to_owned(),
            end: found.end as u64,
            reserved: bytes.len() as u64,
            dirty_until: 0,
            records: found.records.len() as u64,
            durable: Arc::new(AtomicU64::new(found.end as u64)),
            growth_bytes: GROWTH_BYTES,
            batch: Vec::new(),
            disk,
            _lock: None,
        };
        // All zeros at the end are unused space; what a cut-off write left lies before them.
        let tail = found.end..used_bytes(&bytes);
        if !tail.is_empty() {
            let aside = free_name(path, "cut");
            write_new(&aside, &bytes[tail.clone()]).map_err(fault)?;
            findings.push(Finding::CutTail {
                offset: tail.start as u64,
                bytes: (tail.end - tail.start) as u64,
                aside,
            });
            journal.dirty_until = tail.end as u64;
            journal.clean()?;
        }
        let entries = found
            .records
            .into_iter()
            .map(|record| Arc::from(&bytes[record]))
            .collect();
        Ok(Opened {
            journal,
            entries,
            findings,
        })
    }

    /// Appends the signed bytes of entries, all or none: one write, one flush. When this returns `Ok`, they survive
    /// the loss of power.
    ///
    /// # Errors
    /// [`StoreFault::Full`], [`StoreFault::Write`], [`StoreFault::Flush`]: none of them counts as recorded. It may
    /// be tried again.
    pub fn append<B: AsRef<[u8]>>(&mut self, entries: &[B]) -> Result<(), StoreFault> {
        if entries.is_empty() {
            return Ok(());
        }
        let mut batch = core::mem::take(&mut self.batch);
        batch.clear();
        for entry in entries {
            frames::append_record(&mut batch, entry.as_ref());
        }
        let done = self.append_framed(&mut batch, entries.len() as u64);
        // A catch-up of megabytes must not be held on to by a node at rest.
        batch.shrink_to(64 * 1024);
        self.batch = batch;
        done
    }

    fn append_framed(&mut self, batch: &mut Vec<u8>, records: u64) -> Result<(), StoreFault> {
        let until = self.end + batch.len() as u64;
        self.grow_to(until)?;
        let left_over = self.dirty_until.saturating_sub(until);
        batch.resize(batch.len() + usize::try_from(left_over).unwrap_or(0), 0);
        self.dirty_until = self.dirty_until.max(until);
        self.disk
            .write_at(self.end, batch)
            .map_err(|source| self.write_fault(source))?;
        self.disk.flush().map_err(|source| StoreFault::Flush {
            path: self.path.clone(),
            source,
        })?;
        self.dirty_until = 0;
        self.end = until;
        self.records += records;
        self.durable.store(until, Ordering::Release);
        Ok(())
    }

    /// Makes room for the entries to come, when less than half a step is left. For when nobody waits; a failure is
    /// kept for the append that needs the room.
    pub fn prepare(&mut self) {
        if self.reserved.saturating_sub(self.end) < self.growth_bytes / 2 {
            let _ = self.grow(self.growth_bytes);
        }
    }

    /// How many records there are.
    #[must_use]
    pub fn records(&self) -> u64 {
        self.records
    }

    /// How many bytes from the start are on the disk, for readers of the file on other threads.
    #[must_use]
    pub fn durable_bytes(&self) -> Arc<AtomicU64> {
        Arc::clone(&self.durable)
    }

    /// Its file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    fn grow_to(&mut self, until: u64) -> Result<(), StoreFault> {
        let Some(short) = until.checked_sub(self.reserved).filter(|short| *short > 0) else {
            return Ok(());
        };
        let whole = short.div_ceil(self.growth_bytes) * self.growth_bytes;
        // On a disk that is nearly full, take what is needed and no more.
        self.grow(whole)
            .or_else(|_| self.grow(short.div_ceil(PAGE_BYTES) * PAGE_BYTES))
    }

    fn grow(&mut self, bytes: u64) -> Result<(), StoreFault> {
        let fault = |path: &Path, source: io::Error| match source.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => StoreFault::Full {
                path: path.to_owned(),
                bytes,
            },
            _ => StoreFault::Write {
                path: path.to_owned(),
                source,
            },
        };
        let from = self.reserved;
        self.disk
            .reserve(from, bytes)
            .map_err(|source| fault(&self.path, source))?;
        // Reserved space alone is not enough: the first write into it would change the file's map.
        static ZEROS: [u8; 64 * 1024] = [0; 64 * 1024];
        let mut at = from;
        while at < from + bytes {
            let some = (from + bytes - at).min(ZEROS.len() as u64);
            let zeros = &ZEROS[..usize::try_from(some).unwrap_or(ZEROS.len())];
            self.disk
                .write_at(at, zeros)
                .map_err(|source| fault(&self.path, source))?;
            at += some;
        }
        self.disk.flush().map_err(|source| StoreFault::Flush {
            path: self.path.clone(),
            source,
        })?;
        self.reserved = from + bytes;
        Ok(())
    }

    /// Writes zeros over what a cut-off batch left.
    fn clean(&mut self) -> Result<(), StoreFault> {
        let left_over = usize::try_from(self.dirty_until.saturating_sub(self.end)).unwrap_or(0);
        self.disk
            .write_at(self.end, &vec![0; left_over])
            .map_err(|source| self.write_fault(source))?;
        self.disk.flush().map_err(|source| StoreFault::Flush {
            path: self.path.clone(),
            source,
        })?;
        self.dirty_until = 0;
        Ok(())
    }

    fn write_fault(&self, source: io::Error) -> StoreFault {
        match source.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => StoreFault::Full {
                path: self.path.clone(),
                bytes: self.batch.len() as u64,
            },
            _ => StoreFault::Write {
                path: self.path.clone(),
                source,
            },
        }
    }
}

/// Length without the zeros at the end.
fn used_bytes(bytes: &[u8]) -> usize {
    bytes
        .iter()
        .rposition(|&byte| byte != 0)
        .map_or(0, |at| at + 1)
}

/// Writes the header of a new file, or of one whose making was cut off.
fn begin(disk: &mut dyn Disk, mut bytes: Vec<u8>) -> io::Result<Vec<u8>> {
    let header = frames::header();
    disk.write_at(0, &header)?;
    disk.flush()?;
    bytes.resize(bytes.len().max(header.len()), 0);
    bytes[..header.len()].copy_from_slice(&header);
    Ok(bytes)
}

/// The framing that the file names, when it is not one that is read here.
fn version_of(found: &frames::Scan) -> Option<u32> {
    found.damage.iter().find_map(|damage| match damage.kind {
        DamageKind::Version { found } => Some(found),
        DamageKind::Header | DamageKind::Middle | DamageKind::Tail => None,
    })
}

/// Whether something may be missing that was recorded: what lies before a good record, or where the header was.
fn is_hole(damage: &Damage) -> bool {
    matches!(damage.kind, DamageKind::Header | DamageKind::Middle)
}

/// A journal of the good records alone.
fn good_records(found: &frames::Scan, bytes: &[u8]) -> Vec<u8> {
    let mut whole = frames::header().to_vec();
    for record in &found.records {
        frames::append_record(&mut whole, &bytes[record.clone()]);
    }
    whole
}

/// Puts `whole` in the place of the file at `path` in one step, and keeps the old file under a name of its own.
fn set_aside_and_replace(path: &Path, whole: &[u8]) -> io::Result<PathBuf> {
    let fresh = path.with_extension("new");
    if fresh.exists() {
        // Of an attempt that was cut off; the journal itself is still as it was.
        std::fs::remove_file(&fresh)?;
    }
    write_new(&fresh, whole)?;
    let aside = free_name(path, "damaged");
    std::fs::hard_link(path, &aside).or_else(|_| std::fs::copy(path, &aside).map(|_| ()))?;
    std::fs::rename(&fresh, path)?;
    sync_folder_of(path)?;
    Ok(aside)
}

/// A new file with these bytes, on the disk when this returns.
fn write_new(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(path)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    sync_folder_of(path)
}
