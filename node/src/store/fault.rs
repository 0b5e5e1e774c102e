//! Fault: what a disk can do to a device, said so that somebody can act on it.
//! Owns: nothing.   Gives: `StoreFault` (nothing more can be recorded), `Finding` (found at opening, and dealt with).
//! May use: nothing of this crate.   Never: what the job does about it (the protocol holds).

use std::io;
use std::path::PathBuf;

/// The store cannot do what was asked. Nothing that was durable is lost by it.
#[derive(Debug, thiserror::Error)]
pub enum StoreFault {
    /// A folder cannot be made, read or flushed.
    #[error("the folder {} cannot be used: {source}. Check that it exists and belongs to you", path.display())]
    Folder {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Another node has the folder.
    #[error(
        "a node{} is already running on the folder {}. Use that one, or stop it first, or start this one on another folder",
        process.map(|id| format!(" (process {id})")).unwrap_or_default(),
        path.display()
    )]
    Locked {
        /// The folder.
        path: PathBuf,
        /// The other's process id, if it could be read.
        process: Option<u32>,
    },
    /// A file cannot be opened, read, renamed or made.
    #[error("the file {} cannot be used: {source}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The journal was written by another version.
    #[error(
        "the journal {} is of framing {found}, and this version reads {known}. Use the version of Gantline that wrote it; nothing was changed",
        path.display()
    )]
    Version {
        /// Which file.
        path: PathBuf,
        /// What it names.
        found: u32,
        /// What is read here.
        known: u32,
    },
    /// No space is left for the log.
    #[error(
        "the disk is full: {} needs {bytes} bytes more. Free some space; entries are taken again as soon as there is room",
        path.display()
    )]
    Full {
        /// Which file.
        path: PathBuf,
        /// How many bytes did not fit.
        bytes: u64,
    },
    /// Bytes could not be written.
    #[error("writing to {} failed: {source}. Nothing of this batch counts as recorded", path.display())]
    Write {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Bytes were written, but it is not known that they are on the disk.
    #[error("flushing {} failed: {source}. Nothing of this batch counts as recorded", path.display())]
    Flush {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// Something that was wrong with the files at opening, and what was done about it. Bytes are set aside, never
/// deleted.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Finding {
    /// The journal ended in an unfinished record. What is lost was never shown as recorded.
    #[error(
        "the last {bytes} bytes of the journal are of a write that was cut off; they were never shown as recorded and are set aside in {}",
        aside.display()
    )]
    CutTail {
        /// Where in the journal.
        offset: u64,
        /// How many bytes.
        bytes: u64,
        /// Where they are now.
        aside: PathBuf,
    },
    /// Records in the middle of the journal are damaged: something that was recorded is not readable here. The
    /// good records are kept, and the others are asked for the rest.
    #[error(
        "the journal is damaged at byte {offset}, {bytes} bytes; the good records are kept, the file as it was is in {}. \
         The missing entries are asked for from the other devices. Unless power was lost while it wrote, have the disk checked",
        aside.display()
    )]
    Damaged {
        /// Where in the old file.
        offset: u64,
        /// How many bytes.
        bytes: u64,
        /// The old file.
        aside: PathBuf,
    },
    /// A record whose frame is good, but which is no entry, or not its author's.
    #[error("record {record} of the journal is not a good entry: {why}")]
    BadEntry {
        /// Its place, from 0.
        record: usize,
        /// What is wrong with it.
        why: String,
    },
    /// The journal has fewer records than it had: a copy from earlier, or a file that was cut.
    #[error(
        "the journal has {found} records, but had {expected} before; the missing ones are asked for from the other devices"
    )]
    Shorter {
        /// How many there are.
        found: u64,
        /// How many there were.
        expected: u64,
    },
    /// The side store did not open; it was set aside and made anew from the journal.
    #[error("the side store was damaged ({why}); it is set aside in {} and made anew", aside.display())]
    SideRebuilt {
        /// What was wrong.
        why: String,
        /// Where it is now.
        aside: PathBuf,
    },
    /// There is no working side store. The job goes on without: addresses are not remembered over a restart.
    #[error(
        "there is no side store: {why}. Addresses of other devices are not remembered over a restart"
    )]
    NoSide {
        /// What was wrong.
        why: String,
    },
}

impl Finding {
    /// Whether something that was recorded may be missing here, so that people should be told.
    #[must_use]
    pub fn is_loss(&self) -> bool {
        matches!(
            self,
            Self::Damaged { .. } | Self::BadEntry { .. } | Self::Shorter { .. }
        )
    }
}
