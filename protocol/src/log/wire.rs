//! Wire: an entry's signed bytes to values and back.
//! Owns: nothing.   Gives: `Entry`, decoded and bounded, with the exact bytes it came in.
//! May use: entry, ids, bounds.   Never: re-encodes what is forwarded; judges signatures (sign).
//!
//! Signed bytes are postcard of `Content`, then the 64 byte Ed25519 signature over the entry's hash. An
//! encoding has exactly one form: bytes that decode but do not encode back to themselves are refused.

use crate::bounds::{ENTRY_MAX_BYTES, FORMAT_VERSION, HEADS_MAX};
use crate::ids::EntryHash;
use crate::log::entry::{Body, Content};
use std::sync::Arc;

/// Length of the signature at the end of the bytes.
pub const SIGNATURE_BYTES: usize = 64;

/// What the hash of a content is for, as BLAKE3's key derivation asks; a hash of ours is no other hash.
const HASH_CONTEXT: &str = "gantline 2026-11-25 job log entry, version 1";

/// An entry whose form is good. Whether its signature is, says [`crate::log::sign::Verified`].
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Entry {
    /// Its id.
    pub hash: EntryHash,
    /// What it says.
    pub content: Content,
    /// The signed bytes, exactly as they came.
    pub bytes: Arc<[u8]>,
}

/// Bytes that are not an entry.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum BadBytes {
    /// Over [`ENTRY_MAX_BYTES`], or too short to hold a signature.
    #[error("found an entry of {found} bytes, expected {SIGNATURE_BYTES} to {ENTRY_MAX_BYTES}")]
    Length {
        /// Its length.
        found: usize,
    },
    /// Not postcard of a content.
    #[error("the entry's bytes do not decode")]
    Encoding,
    /// Decodes, but is not the one encoding of what it says.
    #[error("the entry is not in its only encoding")]
    NotCanonical,
    /// Another version of the format.
    #[error("found format version {found}, expected {FORMAT_VERSION}")]
    Version {
        /// Its version.
        found: u8,
    },
    /// More heads than any crew has, or not ascending.
    #[error("the entry's heads are too many or out of order")]
    Heads,
}

/// The hash of a content's bytes, signature not included.
#[must_use]
pub fn hash_content(content: &[u8]) -> EntryHash {
    let mut hasher = blake3::Hasher::new_derive_key(HASH_CONTEXT);
    hasher.update(content);
    EntryHash(*hasher.finalize().as_bytes())
}

impl Entry {
    /// Decodes signed bytes, checking form only.
    ///
    /// # Errors
    /// [`BadBytes`], when the bytes are no entry of this version.
    pub fn decode(bytes: Arc<[u8]>) -> Result<Self, BadBytes> {
        let length = BadBytes::Length { found: bytes.len() };
        if bytes.len() > ENTRY_MAX_BYTES {
            return Err(length);
        }
        let Some(split) = bytes.len().checked_sub(SIGNATURE_BYTES) else {
            return Err(length);
        };
        let signed = &bytes[..split];
        let content = decode_content(signed)?;
        if content.version != FORMAT_VERSION {
            return Err(BadBytes::Version {
                found: content.version,
            });
        }
        if content.heads.len() > HEADS_MAX || !content.heads.is_sorted_by(|a, b| a < b) {
            return Err(BadBytes::Heads);
        }
        Ok(Self {
            hash: hash_content(signed),
            content,
            bytes,
        })
    }

    /// The signature.
    #[must_use]
    pub fn signature(&self) -> [u8; SIGNATURE_BYTES] {
        let mut signature = [0; SIGNATURE_BYTES];
        signature.copy_from_slice(&self.bytes[self.bytes.len() - SIGNATURE_BYTES..]);
        signature
    }
}

fn decode_content(signed: &[u8]) -> Result<Content, BadBytes> {
    match postcard::from_bytes::<Content>(signed) {
        Ok(content) => {
            let again = postcard::to_stdvec(&content).map_err(|_| BadBytes::Encoding)?;
            if again == signed {
                Ok(content)
            } else {
                Err(BadBytes::NotCanonical)
            }
        }
        Err(_) => unknown_kind(signed).ok_or(BadBytes::Encoding),
    }
}

/// A content whose envelope is good and whose body is of a kind beyond the last one known here.
fn unknown_kind(signed: &[u8]) -> Option<Content> {
    #[derive(serde::Serialize, serde::Deserialize)]
    struct Envelope {
        version: u8,
        job: crate::ids::JobId,
        author: crate::ids::DeviceKey,
        seq: u32,
        prev: EntryHash,
        heads: Vec<EntryHash>,
        stamp: crate::time::Stamp,
        wall: crate::time::WallClock,
        kind: u32,
    }
    let (envelope, rest) = postcard::take_from_bytes::<Envelope>(signed).ok()?;
    let again = postcard::to_stdvec(&envelope).ok()?;
    if envelope.kind < Body::KNOWN_KINDS
        || again.len() + rest.len() != signed.len()
        || !signed.starts_with(&again)
    {
        return None;
    }
    Some(Content {
        version: envelope.version,
        job: envelope.job,
        author: envelope.author,
        seq: envelope.seq,
        prev: envelope.prev,
        heads: envelope.heads,
        stamp: envelope.stamp,
        wall: envelope.wall,
        body: Body::Unknown {
            kind: envelope.kind,
        },
    })
}
