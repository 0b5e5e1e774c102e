//! Config: what an engine starts from, and how a job is founded.
//! Owns: nothing.   Gives: `Config`, `CannotOpen`, `found`.
//! May use: ids, log.   Never: files (node reads the journal and the key).

use crate::gate::NotAJob;
use crate::ids::{BootId, JobId};
use crate::log::author::{Author, CannotWrite};
use crate::log::entry::{Body, Found};
use crate::log::graph::Graph;
use crate::log::sign::{BadSignature, Verified};
use crate::log::signatures::{Ed25519, Signatures};
use crate::time::WallClock;
use ed25519_zebra::SigningKey;

/// What a start of a device begins with.
#[derive(Clone)]
pub struct Config {
    /// The device's key.
    pub key: SigningKey,
    /// Drawn at random for this start.
    pub boot: BootId,
    /// Whether the journal was found damaged or is not the device's own old one: the own chain is then
    /// taken back from most of the crew, this device counted in, before anything but a stop is written.
    pub journal_damaged: bool,
}

/// Why an engine cannot start.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum CannotOpen {
    /// A journal without entries.
    #[error("the journal has no entries: found a job or join one first")]
    Empty,
    /// The journal's first entry founds no job.
    #[error("the journal does not begin with a founding entry: {0}")]
    Founding(#[from] NotAJob),
}

/// Why a job cannot be founded.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum CannotFound {
    /// The founding entry is too large or has too long a text.
    #[error(transparent)]
    Write(#[from] CannotWrite),
    /// A key that signs nothing good.
    #[error("the device's key is of no use: {0}")]
    Key(#[from] BadSignature),
}

/// The founding entry of a new job: the first record of a new journal.
///
/// # Errors
/// [`CannotFound`].
pub fn found(key: &SigningKey, wall: WallClock, found: Found) -> Result<Verified, CannotFound> {
    found_simulated(&Ed25519, key, wall, found)
}

/// As [`found`], in a simulation with signatures of its own.
///
/// # Errors
/// [`CannotFound`].
pub fn found_simulated(
    signatures: &'static dyn Signatures,
    key: &SigningKey,
    wall: WallClock,
    found: Found,
) -> Result<Verified, CannotFound> {
    let author = Author::simulated(signatures, *key);
    let body = Body::Found(Box::new(found));
    let entry = author.next(&Graph::new(), wall, JobId::UNFOUNDED, body)?;
    Ok(author.verify(entry)?)
}
