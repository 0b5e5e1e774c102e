//! Lock: one node a folder.
//! Owns: `node.lock` in a folder.   Gives: `FolderLock`, held while it lives.
//! May use: fault.   Never: deletes the lock file (a lock on a deleted file guards nothing).

use crate::store::StoreFault;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::Path;

/// The folder is this process's alone until this is dropped; the system also frees it when the process dies.
#[derive(Debug)]
pub struct FolderLock {
    _file: File,
}

impl FolderLock {
    /// Name of the lock file.
    pub const NAME: &'static str = "node.lock";

    /// Takes the folder.
    ///
    /// # Errors
    /// [`StoreFault::Locked`], naming the folder and the process that has it; [`StoreFault::File`].
    pub fn take(folder: &Path) -> Result<Self, StoreFault> {
        let path = folder.join(Self::NAME);
        let fault = |source| StoreFault::File {
            path: path.clone(),
            source,
        };
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(fault)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut text = String::new();
                let process = (&file)
                    .take(20)
                    .read_to_string(&mut text)
                    .ok()
                    .and_then(|_| text.trim().parse().ok());
                return Err(StoreFault::Locked {
                    path: folder.to_owned(),
                    process,
                });
            }
            Err(TryLockError::Error(source)) => return Err(fault(source)),
        }
        // Whose lock it is, is only for the words of the refusal; a full disk must not keep a node from starting.
        let _ = file.set_len(0);
        let _ = file.seek(SeekFrom::Start(0));
        let _ = writeln!(file, "{}", std::process::id());
        Ok(Self { _file: file })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn a_second_node_on_a_folder_is_refused_by_name() {
        let folder = tempfile::tempdir().unwrap();
        let lock = FolderLock::take(folder.path()).unwrap();
        let refused = FolderLock::take(folder.path()).unwrap_err();
        let StoreFault::Locked { path, process } = &refused else {
            panic!("refused with {refused:?}");
        };
        assert_eq!(path, folder.path());
        assert_eq!(*process, Some(std::process::id()));
        drop(lock);
        assert!(FolderLock::take(folder.path()).is_ok());
    }
}
