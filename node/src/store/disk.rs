//! Disk: the few operations that the journal needs of a file.
//! Owns: an open file.   Gives: `Disk`, and `FileDisk` for real files.
//! May use: rustix.   Never: what the bytes mean; hides a failure.
//!
//! A trait because tests put disks here that fail at the n-th operation or lose what was not flushed.

use std::fs::{File, OpenOptions};
use std::io;
use std::os::unix::fs::{FileExt, OpenOptionsExt};
use std::path::Path;

/// A file that is written at given places and flushed.
pub trait Disk: Send {
    /// Everything in it.
    ///
    /// # Errors
    /// What the system said.
    fn read_all(&mut self) -> io::Result<Vec<u8>>;

    /// Writes all of `bytes` at `offset`.
    ///
    /// # Errors
    /// What the system said; some of the bytes may have been written.
    fn write_at(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()>;

    /// Reserves `bytes` at `offset` without writing them, so that a full disk says so before anything is half done.
    ///
    /// # Errors
    /// What the system said.
    fn reserve(&mut self, offset: u64, bytes: u64) -> io::Result<()>;

    /// Makes all that was written, and the length, survive the loss of power.
    ///
    /// # Errors
    /// What the system said; nothing is known then about what was written since the flush before.
    fn flush(&mut self) -> io::Result<()>;
}

/// A real file.
#[derive(Debug)]
pub struct FileDisk {
    file: File,
}

impl FileDisk {
    /// Opens a file, or makes it, for this user only; the name of a new one is durable when this returns.
    ///
    /// # Errors
    /// What the system said.
    pub fn open(path: &Path) -> io::Result<Self> {
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o600)
            .open(path)?;
        super::sync_folder_of(path)?;
        Ok(Self { file })
    }
}

impl Disk for FileDisk {
    fn read_all(&mut self) -> io::Result<Vec<u8>> {
        let length = usize::try_from(self.file.metadata()?.len())
            .map_err(|_| io::Error::from(io::ErrorKind::FileTooLarge))?;
        let mut bytes = vec![0; length];
        self.file.read_exact_at(&mut bytes, 0)?;
        Ok(bytes)
    }

    fn write_at(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        self.file.write_all_at(bytes, offset)
    }

    fn reserve(&mut self, offset: u64, bytes: u64) -> io::Result<()> {
        use rustix::fs::{FallocateFlags, fallocate};
        match fallocate(&self.file, FallocateFlags::empty(), offset, bytes) {
            // Not every file system can reserve; then the zeros that are written next find out.
            Err(rustix::io::Errno::OPNOTSUPP | rustix::io::Errno::NOSYS) | Ok(()) => Ok(()),
            Err(errno) => Err(errno.into()),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        // fdatasync: the data, and the length when it has changed; not the time of change.
        self.file.sync_data()
    }
}
