//! Store: what survives the loss of power on this device.
//! Owns: the files of one job's folder.   Gives: `Store`, `Opened`, `StoreFault`.
//! May use: protocol::log::journal.   Never: what an entry says.
//!
//! In reading order: `fault` what can go wrong · `lock` one node a folder · `disk` the operations on a file ·
//! `journal` the signed bytes, one flush a batch · `sled` what can be rebuilt from it · `photos` pictures that notes name.

mod disk;
mod fault;
mod journal;
mod lock;
mod photos;
mod sled;
#[cfg(test)]
mod tests;

pub use disk::{Disk, FileDisk};
pub use fault::{Finding, StoreFault};
pub use journal::{GROWTH_BYTES, Journal, Opened};
pub use lock::FolderLock;
pub use photos::{PhotoFolder, PhotoRead};
pub use sled::{Side, SideFault};

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// Makes a folder, readable by its owner only, and makes its name durable.
///
/// # Errors
/// [`StoreFault::Folder`] with what the system said.
pub fn make_folder(path: &Path) -> Result<(), StoreFault> {
    use std::os::unix::fs::DirBuilderExt;
    let fault = |source| StoreFault::Folder {
        path: path.to_owned(),
        source,
    };
    if path.is_dir() {
        return Ok(());
    }
    if let Some(parent) = path
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty())
    {
        make_folder(parent)?;
    }
    match std::fs::DirBuilder::new().mode(0o700).create(path) {
        Ok(()) => sync_folder_of(path).map_err(fault),
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Ok(()),
        Err(error) => Err(fault(error)),
    }
}

/// Flushes the folder that holds `path`, so that its name is still there after the loss of power.
pub(crate) fn sync_folder_of(path: &Path) -> io::Result<()> {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    File::open(folder)?.sync_all()
}

/// The first name of the form `<path>.<word>-<n>` that is not taken.
pub(crate) fn free_name(path: &Path, word: &str) -> PathBuf {
    let name = path
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default();
    let mut n = 1_u32;
    loop {
        let candidate = path.with_file_name(format!("{name}.{word}-{n}"));
        if candidate.symlink_metadata().is_err() || n == u32::MAX {
            return candidate;
        }
        n += 1;
    }
}
