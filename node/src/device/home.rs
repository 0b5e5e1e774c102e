//! Home: where a device keeps its files.
//! Owns: the layout of the device's folder.   Gives: `Home`.
//! May use: store, key.   Never: what is in the files.
//!
//! ```text
//! device.key              the secret (key)
//! node.lock               held while a node runs (store::lock)
//! control.json            port and token of the running node, mode 600 (control)
//! language                which one its pages speak, if chosen (pages)
//! stop.wav                what a stop sounds like, once one did (sound)
//! jobs/<job id>/journal   the log (store::journal)
//! jobs/<job id>/shown      what this device showed, for the replay (shown)
//! jobs/<job id>/side/     addresses, settings (store::sled)
//! jobs/<job id>/photos/   pictures that notes name, each by its hash (store::photos)
//! ```

use crate::device::{DeviceSecret, KeyFault};
use crate::store::{Journal, StoreFault, make_folder};
use gantline_protocol::ids::JobId;
use std::path::{Path, PathBuf};

/// A device's folder.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Home {
    folder: PathBuf,
}

/// Why a job of this device cannot be named.
#[derive(Debug, thiserror::Error)]
pub enum HomeFault {
    /// There are several.
    #[error("this device has {} jobs; say which one by its id: {}", jobs.len(), list(jobs))]
    ManyJobs {
        /// All of them.
        jobs: Vec<JobId>,
    },
    /// There is none of that id.
    #[error("this device has no job {job}. See its jobs with `gantline job list`")]
    NoSuchJob {
        /// What was asked for.
        job: JobId,
    },
    /// The folder cannot be used.
    #[error(transparent)]
    Store(#[from] StoreFault),
}

fn list(jobs: &[JobId]) -> String {
    let ids: Vec<String> = jobs.iter().map(ToString::to_string).collect();
    ids.join(", ")
}

impl Home {
    /// The folder at this path; not made until something is to be kept in it.
    #[must_use]
    pub fn at(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
        }
    }

    /// The folder itself.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Makes the folder.
    ///
    /// # Errors
    /// [`StoreFault::Folder`].
    pub fn make(&self) -> Result<(), StoreFault> {
        make_folder(&self.folder)
    }

    /// The key file.
    #[must_use]
    pub fn key_path(&self) -> PathBuf {
        self.folder.join("device.key")
    }

    /// Makes the device's key.
    ///
    /// # Errors
    /// [`KeyFault`]; of the folder too.
    pub fn new_device(&self) -> Result<DeviceSecret, KeyFault> {
        self.make().map_err(|fault| KeyFault::File {
            path: self.key_path(),
            source: std::io::Error::other(fault.to_string()),
        })?;
        DeviceSecret::make(&self.key_path())
    }

    /// Reads the device's key.
    ///
    /// # Errors
    /// [`KeyFault`].
    pub fn device(&self) -> Result<DeviceSecret, KeyFault> {
        DeviceSecret::read(&self.key_path())
    }

    /// The file that says how to reach the running node.
    #[must_use]
    pub fn control_path(&self) -> PathBuf {
        self.folder.join("control.json")
    }

    /// The folder of a job.
    #[must_use]
    pub fn job_folder(&self, job: &JobId) -> PathBuf {
        self.folder.join("jobs").join(job.to_string())
    }

    /// The journal of a job.
    #[must_use]
    pub fn journal_path(&self, job: &JobId) -> PathBuf {
        self.job_folder(job).join(Journal::NAME)
    }

    /// Every job of this device, ascending by id.
    ///
    /// # Errors
    /// [`StoreFault::Folder`].
    pub fn jobs(&self) -> Result<Vec<JobId>, StoreFault> {
        let path = self.folder.join("jobs");
        let fault = |source| StoreFault::Folder {
            path: path.clone(),
            source,
        };
        let files = match std::fs::read_dir(&path) {
            Ok(files) => files,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(fault(error)),
        };
        let mut jobs = Vec::new();
        for file in files {
            let name = file.map_err(fault)?.file_name();
            if let Some(job) = name.to_str().and_then(|name| name.parse().ok()) {
                jobs.push(job);
            }
        }
        jobs.sort();
        Ok(jobs)
    }

    /// The job that is meant: the one asked for, or the only one. `None`: there is none yet.
    ///
    /// # Errors
    /// [`HomeFault`].
    pub fn job(&self, asked: Option<JobId>) -> Result<Option<JobId>, HomeFault> {
        let jobs = self.jobs()?;
        match asked {
            Some(job) if jobs.contains(&job) => Ok(Some(job)),
            Some(job) => Err(HomeFault::NoSuchJob { job }),
            None if jobs.len() > 1 => Err(HomeFault::ManyJobs { jobs }),
            None => Ok(jobs.first().copied()),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn the_only_job_is_meant_and_of_several_one_must_be_named() {
        let folder = tempfile::tempdir().unwrap();
        let home = Home::at(&folder.path().join("device"));
        assert_eq!(home.job(None).unwrap(), None);
        let (a, b) = (JobId([1; 32]), JobId([2; 32]));
        make_folder(&home.job_folder(&a)).unwrap();
        assert_eq!(home.job(None).unwrap(), Some(a));
        make_folder(&home.job_folder(&b)).unwrap();
        assert!(matches!(home.job(None), Err(HomeFault::ManyJobs { jobs }) if jobs == [a, b]));
        assert_eq!(home.job(Some(b)).unwrap(), Some(b));
        let other = JobId([3; 32]);
        assert!(matches!(home.job(Some(other)), Err(HomeFault::NoSuchJob { job }) if job == other));
    }
}
