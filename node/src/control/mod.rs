//! Control: how the holder's own programs on this machine reach the node.
//! Owns: a socket on the loopback address, the control file.   Gives: `serve`, `client`.
//! May use: device::request.   Never: an address other than loopback; what a request means for the job.
//!
//! The pages for people are in `pages`; they come through the same socket and the same guard.
//!
//! In reading order: `file` where the node is and its token · `guard` who may speak · `error` answers that say no ·
//! `routes` what can be asked · `photos` pictures · `follow` answers that go on · `client` the other end.

pub mod client;
mod error;
mod file;
mod follow;
mod guard;
mod photos;
mod routes;
#[cfg(test)]
mod tests;

pub use client::{Client, ClientFault};
pub use error::{ControlError, Refusal};
pub use file::{ControlFile, ControlFileFault};
pub(crate) use follow::pieces;
pub(crate) use guard::Here;
pub(crate) use photos::found as found_photo;
pub use routes::{Admission, Fault, KnownAddress, RefusedJoin};

use crate::device::{Home, NodeHandle};
use crate::pages::Pages;
use crate::store::PhotoFolder;
use gantline_protocol::ids::JobId;
use guard::Guard;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicU64;

/// What the routes share.
#[derive(Clone, Debug)]
pub(crate) struct Shared {
    pub(crate) node: NodeHandle,
    pub(crate) journal: PathBuf,
    pub(crate) photos: PhotoFolder,
    pub(crate) durable: Arc<AtomicU64>,
    pub(crate) pages: Arc<Pages>,
}

/// The control API cannot be served.
#[derive(Debug, thiserror::Error)]
pub enum CannotServe {
    /// The port cannot be had.
    #[error("cannot listen on {address}: {source}. Give another port, or none to have one chosen")]
    Listen {
        /// Where.
        address: SocketAddr,
        /// What the system said.
        source: std::io::Error,
    },
    /// The control file cannot be written.
    #[error(transparent)]
    File(#[from] ControlFileFault),
}

/// A running control API; ends when dropped, and takes its file along.
#[derive(Debug)]
pub struct Control {
    address: SocketAddr,
    task: tokio::task::JoinHandle<()>,
    file: PathBuf,
}

impl Control {
    /// Where it listens.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }
}

impl Drop for Control {
    fn drop(&mut self) {
        self.task.abort();
        // What is left over names a process that is gone, and is written anew at the next start.
        let _ = std::fs::remove_file(&self.file);
    }
}

/// Serves the control API on the loopback address, on `port` or, for 0, one that is free, and says where in the
/// device's control file.
///
/// # Errors
/// [`CannotServe`].
pub async fn serve(
    home: &Home,
    port: u16,
    job: JobId,
    node: NodeHandle,
    durable: Arc<AtomicU64>,
) -> Result<Control, CannotServe> {
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    let fault = |source| CannotServe::Listen { address, source };
    let listener = tokio::net::TcpListener::bind(address)
        .await
        .map_err(fault)?;
    let address = listener.local_addr().map_err(fault)?;
    let file = ControlFile::new(address.port(), job)?;
    let pages =
        Arc::new(Pages::new(address.port(), home.folder()).map_err(ControlFileFault::from)?);
    let guard = Guard::new(&file, Arc::clone(&pages));
    file.write(&home.control_path())?;
    let shared = Shared {
        node,
        journal: home.journal_path(&job),
        photos: PhotoFolder::of(&home.job_folder(&job)),
        durable,
        pages,
    };
    let routes = routes::all(shared, guard);
    let task = tokio::spawn(async move {
        // Ends with the task; errors of single connections are not errors of the whole.
        let _ = axum::serve(listener, routes).await;
    });
    Ok(Control {
        address,
        task,
        file: home.control_path(),
    })
}
