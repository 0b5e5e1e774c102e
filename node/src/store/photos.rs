//! Photos: pictures of a job in a folder beside its journal, each a file named by the hash of its bytes.
//! Owns: the folder `photos`.   Gives: `PhotoFolder`.
//! May use: rustix.   Never: a file under a name that is not its hash; the last of the disk, which is the log's.

use crate::store::{StoreFault, make_folder, sync_folder_of};
use gantline_protocol::bounds::PHOTO_MAX_BYTES;
use gantline_protocol::ids::PhotoHash;
use std::fs::OpenOptions;
use std::io::{self, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// No picture is taken that would leave less than this: a log of a whole job fits many times, and a job that cannot be
/// recorded is held.
const SPARE_BYTES: u64 = 64 * 1024 * 1024;
/// A file being written; what is left of one after a loss of power is removed at the next start.
const UNFINISHED: &str = "new";
/// A file whose bytes are not those of its name, kept for whoever looks for the cause.
const DAMAGED: &str = "damaged";

/// The folder.
#[derive(Clone, Debug)]
pub struct PhotoFolder {
    folder: PathBuf,
    spare_bytes: u64,
}

/// What reading a picture came to.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum PhotoRead {
    /// Its bytes, and they are those of its name.
    Good(Vec<u8>),
    /// There is no such file.
    Absent,
    /// There was one, with other bytes; it is set aside.
    Damaged,
}

impl PhotoFolder {
    /// The pictures of the job in this folder. Nothing is made until there is one.
    #[must_use]
    pub fn of(job_folder: &Path) -> Self {
        Self {
            folder: job_folder.join("photos"),
            spare_bytes: SPARE_BYTES,
        }
    }

    fn path(&self, hash: &PhotoHash) -> PathBuf {
        self.folder.join(hash.to_string())
    }

    fn file_fault(&self, path: &Path) -> impl Fn(io::Error) -> StoreFault + use<> {
        let path = path.to_owned();
        move |source| StoreFault::File {
            path: path.clone(),
            source,
        }
    }

    /// What is there, by names and lengths; what was not finished is removed.
    ///
    /// # Errors
    /// [`StoreFault`].
    pub fn list(&self) -> Result<Vec<(PhotoHash, u32)>, StoreFault> {
        let fault = |source| StoreFault::Folder {
            path: self.folder.clone(),
            source,
        };
        let files = match std::fs::read_dir(&self.folder) {
            Ok(files) => files,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(fault(error)),
        };
        let mut all = Vec::new();
        for file in files {
            let file = file.map_err(fault)?;
            let path = file.path();
            if path.extension().is_some_and(|end| end == UNFINISHED) {
                // Left over, it is written over or removed the next time.
                let _ = std::fs::remove_file(&path);
                continue;
            }
            let name = file.file_name();
            let hash = name.to_str().and_then(|name| name.parse().ok());
            let length = file.metadata().map_err(fault)?.len();
            if let (Some(hash), Ok(bytes)) = (hash, u32::try_from(length)) {
                all.push((hash, bytes));
            }
        }
        all.sort_unstable();
        Ok(all)
    }

    /// Keeps a picture, and makes it survive the loss of power.
    ///
    /// # Errors
    /// [`StoreFault::Full`] also where the disk would come to have too little left for the log.
    pub fn keep(&self, hash: &PhotoHash, content: &[u8]) -> Result<(), StoreFault> {
        make_folder(&self.folder)?;
        let path = self.path(hash);
        self.has_room(&path, content.len() as u64)?;
        let unfinished = path.with_extension(UNFINISHED);
        let written = self.write(&unfinished, content).and_then(|()| {
            std::fs::rename(&unfinished, &path)?;
            sync_folder_of(&path)
        });
        written.map_err(|source| {
            let _ = std::fs::remove_file(&unfinished);
            if source.kind() == io::ErrorKind::StorageFull {
                StoreFault::Full {
                    path: path.clone(),
                    bytes: content.len() as u64,
                }
            } else {
                StoreFault::Write {
                    path: path.clone(),
                    source,
                }
            }
        })
    }

    fn write(&self, path: &Path, content: &[u8]) -> io::Result<()> {
        let mut file = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(true)
            .mode(0o600)
            .open(path)?;
        file.write_all(content)?;
        file.sync_all()
    }

    fn has_room(&self, path: &Path, bytes: u64) -> Result<(), StoreFault> {
        let disk = rustix::fs::statvfs(&self.folder)
            .map_err(|errno| self.file_fault(&self.folder)(errno.into()))?;
        let free = disk.f_bavail.saturating_mul(disk.f_frsize);
        if free < bytes.saturating_add(self.spare_bytes) {
            return Err(StoreFault::Full {
                path: path.to_owned(),
                bytes: bytes.saturating_add(self.spare_bytes).saturating_sub(free),
            });
        }
        Ok(())
    }

    /// Reads a picture, and checks it against its name. One that is damaged is set aside.
    ///
    /// # Errors
    /// [`StoreFault::File`].
    pub fn read(&self, hash: &PhotoHash) -> Result<PhotoRead, StoreFault> {
        let path = self.path(hash);
        let fault = self.file_fault(&path);
        let file = match std::fs::File::open(&path) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(PhotoRead::Absent),
            Err(error) => return Err(fault(error)),
        };
        let mut content = Vec::new();
        file.take(u64::from(PHOTO_MAX_BYTES) + 1)
            .read_to_end(&mut content)
            .map_err(&fault)?;
        if PhotoHash::of(&content) == *hash {
            return Ok(PhotoRead::Good(content));
        }
        std::fs::rename(&path, path.with_extension(DAMAGED)).map_err(&fault)?;
        Ok(PhotoRead::Damaged)
    }

    /// Removes a picture that nothing names; one that is not there is removed.
    ///
    /// # Errors
    /// [`StoreFault::File`].
    pub fn remove(&self, hash: &PhotoHash) -> Result<(), StoreFault> {
        let path = self.path(hash);
        match std::fs::remove_file(&path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => {
                Err(self.file_fault(&path)(error))
            }
            _ => Ok(()),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_is_there_again_and_what_is_damaged_is_set_aside() {
        let job = tempfile::tempdir().unwrap();
        let photos = PhotoFolder::of(job.path());
        assert_eq!(photos.list().unwrap(), []);
        let content = vec![7; 5_000];
        let hash = PhotoHash::of(&content);
        assert_eq!(photos.read(&hash).unwrap(), PhotoRead::Absent);
        photos.keep(&hash, &content).unwrap();
        photos.keep(&hash, &content).unwrap();
        let again = PhotoFolder::of(job.path());
        assert_eq!(again.list().unwrap(), [(hash, 5_000)]);
        assert_eq!(again.read(&hash).unwrap(), PhotoRead::Good(content));

        let file = job.path().join("photos").join(hash.to_string());
        std::fs::write(&file, [8; 5_000]).unwrap();
        assert_eq!(again.read(&hash).unwrap(), PhotoRead::Damaged);
        assert_eq!(again.read(&hash).unwrap(), PhotoRead::Absent);
        assert_eq!(again.list().unwrap(), []);
        assert!(file.with_extension("damaged").exists());
    }

    #[test]
    fn what_was_not_finished_or_is_no_photo_is_none() {
        let job = tempfile::tempdir().unwrap();
        let folder = job.path().join("photos");
        std::fs::create_dir(&folder).unwrap();
        let unfinished = folder.join(format!("{}.new", PhotoHash([1; 32])));
        std::fs::write(&unfinished, [1]).unwrap();
        std::fs::write(folder.join("readme"), [1]).unwrap();
        assert_eq!(PhotoFolder::of(job.path()).list().unwrap(), []);
        assert!(!unfinished.exists());
        let hash = PhotoHash([2; 32]);
        std::fs::write(folder.join(hash.to_string()), vec![0; 2 << 20]).unwrap();
        let photos = PhotoFolder::of(job.path());
        assert_eq!(photos.read(&hash).unwrap(), PhotoRead::Damaged);
        photos.remove(&hash).unwrap();
    }

    #[test]
    fn the_last_of_the_disk_is_left_to_the_log() {
        let job = tempfile::tempdir().unwrap();
        let mut photos = PhotoFolder::of(job.path());
        photos.spare_bytes = u64::MAX / 2;
        let content = [1; 10];
        let full = photos.keep(&PhotoHash::of(&content), &content);
        assert!(matches!(full, Err(StoreFault::Full { .. })), "{full:?}");
        assert_eq!(photos.list().unwrap(), []);
        photos.spare_bytes = 0;
        photos.keep(&PhotoHash::of(&content), &content).unwrap();
    }
}
