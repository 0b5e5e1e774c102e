//! Begin: how a device comes to have a job in its folder: it founds one, or is given the log of one.
//! Owns: the making of a job's folder.   Gives: `found_job`, `begin_job`.
//! May use: home, store, protocol::engine (the founding entry).   Never: half a job: a folder has its name when its
//! log is on the disk.

use crate::device::{Clock, Home, KeyFault};
use crate::store::{Journal, StoreFault, make_folder, sync_folder_of};
use gantline_protocol::engine::{CannotFound, found};
use gantline_protocol::ids::JobId;
use gantline_protocol::log::entry::Found;
use gantline_protocol::log::sign::Verified;

/// Why a job was not begun.
#[derive(Debug, thiserror::Error)]
pub enum CannotBegin {
    /// The founding entry cannot be made.
    #[error("the job cannot be founded: {0}")]
    Found(#[from] CannotFound),
    /// No key.
    #[error(transparent)]
    Key(#[from] KeyFault),
    /// The disk.
    #[error(transparent)]
    Store(#[from] StoreFault),
    /// It is there already.
    #[error("this device has job {job} already; run it with `gantline node`")]
    Exists {
        /// Which.
        job: JobId,
    },
}

/// Founds a job with this device as the supervisor's, and gives its id.
///
/// # Errors
/// [`CannotBegin`].
pub fn found_job(home: &Home, what: Found) -> Result<JobId, CannotBegin> {
    let secret = home.device()?;
    let founding = found(&secret.signing_key(), Clock::default().now().wall, what)?;
    let job = JobId::from(founding.entry().hash);
    begin_job(home, job, &[founding])?;
    Ok(job)
}

/// Makes the folder of a job with this log in it, in order.
///
/// # Errors
/// [`CannotBegin::Exists`] when it is there; what the disk did.
pub fn begin_job(home: &Home, job: JobId, log: &[Verified]) -> Result<(), CannotBegin> {
    let folder = home.job_folder(&job);
    if folder.exists() {
        return Err(CannotBegin::Exists { job });
    }
    let fault = |source| StoreFault::Folder {
        path: folder.clone(),
        source,
    };
    // A name that is no job's; what an earlier attempt left in it is of no use to anyone.
    let fresh = folder.with_extension("new");
    if fresh.exists() {
        std::fs::remove_dir_all(&fresh).map_err(fault)?;
    }
    make_folder(&fresh)?;
    let mut opened = Journal::open(&fresh)?;
    let bytes: Vec<_> = log.iter().map(|entry| &entry.entry().bytes).collect();
    opened.journal.append(&bytes)?;
    drop(opened);
    std::fs::rename(&fresh, &folder).map_err(fault)?;
    sync_folder_of(&folder).map_err(fault)?;
    Ok(())
}
