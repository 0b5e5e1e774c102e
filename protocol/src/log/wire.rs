//! Wire: an entry's signed bytes to values and back.
//! Owns: nothing.   Gives: `Entry`, decoded and bounded, with the exact bytes it came in.
//! May use: entry, ids, bounds.   Never: re-encodes what is forwarded; judges signatures (sign).
//!
//! Signed bytes are postcard of `Content`, then the 64 byte Ed25519 signature over the entry's hash. An
//! encoding has exactly one form: bytes that decode but do not encode back to themselves are refused.

use crate::bounds::{ENTRY_MAX_BYTES, FORMAT_VERSION, HEADS_MAX, TEXT_MAX_CHARS};
use crate::ids::{DeviceKey, EntryHash, JobId};
use crate::log::entry::{Body, Content};
use crate::log::numbers::{self, Reader};
use crate::log::text;
use crate::time::{Stamp, WallClock};
use postcard::ser_flavors::Flavor;
use std::sync::Arc;

/// Length of the signature at the end of the bytes.
pub const SIGNATURE_BYTES: usize = 64;

/// The key of the hash of a content: known to all, so that a hash of ours is no other hash. BLAKE3's keyed
/// mode rather than its key derivation, which would hash its context anew for every entry.
const HASH_KEY: &[u8; 32] = b"gantline job log entry version 1";

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
    /// A free text over its bound.
    #[error("found a text of {found} characters, expected at most {TEXT_MAX_CHARS}")]
    Text {
        /// Its length.
        found: usize,
    },
}

/// The hash of a content's bytes, signature not included.
#[must_use]
pub fn hash_content(content: &[u8]) -> EntryHash {
    EntryHash(*blake3::keyed_hash(HASH_KEY, content).as_bytes())
}

impl Entry {
    /// Decodes signed bytes, checking form only.
    ///
    /// # Errors
    /// [`BadBytes`], when the bytes are no entry of this version.
    pub fn decode(bytes: Arc<[u8]>) -> Result<Self, BadBytes> {
        let split = good_length(bytes.len())? - SIGNATURE_BYTES;
        let content = decode_content(&bytes[..split])?;
        let hash = hash_content(&bytes[..split]);
        Self::from_parts(content, hash, bytes)
    }

    /// An entry of a content and its one encoding with signature, checking all form but that encoding.
    pub(super) fn from_parts(
        content: Content,
        hash: EntryHash,
        bytes: Arc<[u8]>,
    ) -> Result<Self, BadBytes> {
        good_length(bytes.len())?;
        if content.version != FORMAT_VERSION {
            return Err(BadBytes::Version {
                found: content.version,
            });
        }
        if content.heads.len() > HEADS_MAX || !content.heads.is_sorted_by(|a, b| a < b) {
            return Err(BadBytes::Heads);
        }
        if let Some(found) = text::too_long(&content.body) {
            return Err(BadBytes::Text { found });
        }
        Ok(Self {
            hash,
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

/// Whose entry, and which of theirs, damaged bytes say that they are. The bytes prove nothing.
#[must_use]
pub fn claimed(bytes: &[u8]) -> Option<(DeviceKey, u32)> {
    let mut reader = Reader::new(bytes);
    // Version and job, which may be what is damaged.
    reader.bytes(1 + 32)?;
    let author = DeviceKey(reader.hash()?);
    Some((author, u32::try_from(reader.number()?).ok()?))
}

fn good_length(found: usize) -> Result<usize, BadBytes> {
    if (SIGNATURE_BYTES..=ENTRY_MAX_BYTES).contains(&found) {
        Ok(found)
    } else {
        Err(BadBytes::Length { found })
    }
}

/// The envelope by hand, field by field as postcard has it, then the body: a third of the time that a
/// derived decoder takes for the hashes, and the same answers (a test compares the two).
fn decode_content(signed: &[u8]) -> Result<Content, BadBytes> {
    let mut reader = Reader::new(signed);
    let short = BadBytes::Encoding;
    let version = match reader.bytes(1) {
        Some(&[version]) => version,
        _ => return Err(short),
    };
    if version != FORMAT_VERSION {
        return Err(BadBytes::Version { found: version });
    }
    let job = JobId(reader.hash().ok_or(short.clone())?);
    let author = DeviceKey(reader.hash().ok_or(short.clone())?);
    let seq = u32::try_from(canonical(&mut reader)?).map_err(|_| BadBytes::Encoding)?;
    let prev = EntryHash(reader.hash().ok_or(short.clone())?);
    let count = usize::try_from(canonical(&mut reader)?)
        .ok()
        .filter(|&count| count <= HEADS_MAX)
        .ok_or(BadBytes::Heads)?;
    let mut heads = Vec::with_capacity(count);
    for _ in 0..count {
        heads.push(EntryHash(reader.hash().ok_or(short.clone())?));
    }
    let stamp = Stamp(canonical(&mut reader)?);
    let wall = WallClock(numbers::unzigzag(canonical(&mut reader)?));
    Ok(Content {
        version,
        job,
        author,
        seq,
        prev,
        heads,
        stamp,
        wall,
        body: decode_body(reader.rest())?,
    })
}

/// A number in its shortest form.
fn canonical(reader: &mut Reader) -> Result<u64, BadBytes> {
    let before = reader.rest().len();
    let number = reader.number().ok_or(BadBytes::Encoding)?;
    if before - reader.rest().len() == numbers::len(number) {
        Ok(number)
    } else {
        Err(BadBytes::NotCanonical)
    }
}

/// Decodes a body alone, which must be all of `bytes` in its one encoding; also of an unknown kind.
pub(super) fn decode_body(bytes: &[u8]) -> Result<Body, BadBytes> {
    match postcard::from_bytes::<Body>(bytes) {
        Ok(body) if encodes_to(&body, bytes) => Ok(body),
        Ok(_) => Err(BadBytes::NotCanonical),
        Err(_) => match postcard::take_from_bytes::<u32>(bytes) {
            Ok((kind, rest))
                if kind >= Body::KNOWN_KINDS
                    && encodes_to(&kind, &bytes[..bytes.len() - rest.len()]) =>
            {
                Ok(Body::Unknown { kind })
            }
            _ => Err(BadBytes::Encoding),
        },
    }
}

/// Whether a value's one encoding is these bytes. Nothing is allocated.
pub(crate) fn encodes_to<T: serde::Serialize>(value: &T, bytes: &[u8]) -> bool {
    postcard::serialize_with_flavor(value, Same { rest: bytes }).is_ok_and(|same| same)
}

/// The longest encoding of a number.
const NUMBER_MAX_BYTES: usize = 10;

/// Takes an encoding and compares it with bytes that are there.
struct Same<'a> {
    rest: &'a [u8],
}

impl Flavor for Same<'_> {
    type Output = bool;

    fn try_extend(&mut self, data: &[u8]) -> postcard::Result<()> {
        let same = match self.rest.split_at_checked(data.len()) {
            // Nearly all that comes is a number of a few bytes: sooner compared than a comparison is called.
            Some((first, rest)) if data.len() <= NUMBER_MAX_BYTES => {
                let same = first.iter().zip(data).all(|(one, other)| one == other);
                same.then_some(rest)
            }
            Some((first, rest)) => (first == data).then_some(rest),
            None => None,
        };
        self.rest = same.ok_or(postcard::Error::SerializeBufferFull)?;
        Ok(())
    }

    fn try_push(&mut self, data: u8) -> postcard::Result<()> {
        match self.rest.split_first() {
            Some((&first, rest)) if first == data => {
                self.rest = rest;
                Ok(())
            }
            _ => Err(postcard::Error::SerializeBufferFull),
        }
    }

    fn finalize(self) -> postcard::Result<bool> {
        Ok(self.rest.is_empty())
    }
}
