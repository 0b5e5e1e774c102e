//! File: where the running node is, and its token.
//! Owns: `control.json` in the device's folder, mode 600.   Gives: `ControlFile`.
//! May use: getrandom, serde_json.   Never: a token that outlives the node.

use gantline_protocol::ids::JobId;
use serde::{Deserialize, Serialize};
use std::fs::OpenOptions;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// How to reach the running node.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ControlFile {
    /// Port on 127.0.0.1.
    pub port: u16,
    /// 32 random bytes as hexadecimal digits; goes into `Authorization: Bearer`.
    pub token: String,
    /// The node's process.
    pub process: u32,
    /// Its job.
    pub job: JobId,
}

impl core::fmt::Debug for ControlFile {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("ControlFile")
            .field("port", &self.port)
            .field("process", &self.process)
            .finish_non_exhaustive()
    }
}

/// The control file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ControlFileFault {
    /// There is none.
    #[error("no node is running on this folder: there is no {}. Start one with `gantline node`", path.display())]
    None {
        /// Where it would be.
        path: PathBuf,
    },
    /// It cannot be read or written.
    #[error("the control file {} cannot be used: {source}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// It is no control file.
    #[error("{} is no control file: {why}. Start the node again to have it made anew", path.display())]
    Form {
        /// Which.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// No random numbers for a token.
    #[error("the system gives no random numbers: {0}")]
    Random(#[from] getrandom::Error),
}

impl ControlFile {
    /// For a node of this process, with a new token.
    ///
    /// # Errors
    /// [`ControlFileFault::Random`].
    pub fn new(port: u16, job: JobId) -> Result<Self, ControlFileFault> {
        let mut token = [0_u8; 32];
        getrandom::fill(&mut token)?;
        Ok(Self {
            port,
            token: token.iter().map(|byte| format!("{byte:02x}")).collect(),
            process: std::process::id(),
            job,
        })
    }

    /// Writes it, for this user only, in one step.
    ///
    /// # Errors
    /// [`ControlFileFault::File`].
    pub fn write(&self, path: &Path) -> Result<(), ControlFileFault> {
        let fault = |source| ControlFileFault::File {
            path: path.to_owned(),
            source,
        };
        let text = serde_json::to_vec(self).map_err(|error| fault(error.into()))?;
        let fresh = path.with_extension(format!("new-{}", std::process::id()));
        let _ = std::fs::remove_file(&fresh);
        OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(0o600)
            .open(&fresh)
            .and_then(|mut file| file.write_all(&text))
            .and_then(|()| std::fs::rename(&fresh, path))
            .map_err(fault)
    }

    /// Reads it.
    ///
    /// # Errors
    /// [`ControlFileFault`].
    pub fn read(path: &Path) -> Result<Self, ControlFileFault> {
        let text = std::fs::read(path).map_err(|source| match source.kind() {
            io::ErrorKind::NotFound => ControlFileFault::None {
                path: path.to_owned(),
            },
            _ => ControlFileFault::File {
                path: path.to_owned(),
                source,
            },
        })?;
        serde_json::from_slice(&text).map_err(|error| ControlFileFault::Form {
            path: path.to_owned(),
            why: error.to_string(),
        })
    }
}
