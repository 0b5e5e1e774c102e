//! Sign: whose words these are.
//! Owns: nothing.   Gives: `Verified`, which only a good signature makes.
//! May use: wire, ids.   Never: who may say what (gate).
//!
//! All checks follow ZIP 215, under which a batch and a single check agree on every input, so no two
//! devices can differ on which entries exist. Weak keys are refused at admission ([`is_weak`]).

use crate::ids::{DeviceKey, EntryHash};
use crate::log::signatures::{Ed25519, Signatures};
use crate::log::wire::{Entry, SIGNATURE_BYTES};
use core::convert::Infallible;
use curve25519_dalek::edwards::CompressedEdwardsY;
use ed25519_zebra::{Signature, SigningKey, VerificationKeyBytes, batch};
use rand_core::{TryCryptoRng, TryRng};
use std::sync::Arc;

/// Separates entry signatures from every other use of a device's key.
const ENTRY_DOMAIN: &[u8; 24] = b"gantline entry signature";

/// Separates the hash that a batch's coefficients come from, as BLAKE3's key derivation asks.
const BATCH_CONTEXT: &str = "gantline 2026-11-25 signature batch coefficients, version 1";

/// Signatures in one batch. On a crew's handful of keys 1,024 take an eighth less time each than 256;
/// beyond that little is gained. Also the size of the parts that several threads should share out.
pub const BATCH_ENTRIES: usize = 1_024;

/// A batch with a bad signature in it is halved down to this size, then checked one by one.
const HALVED_TO_ENTRIES: usize = 16;

/// An entry whose signature is its author's. Shared: an entry is large, and goes through many hands unchanged.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Verified(Arc<Entry>);

impl Verified {
    /// The entry.
    #[must_use]
    pub fn entry(&self) -> &Entry {
        &self.0
    }

    /// An entry out of a graph, where it went as one of these.
    pub(super) fn known(entry: Arc<Entry>) -> Self {
        Self(entry)
    }

    /// The entry, to be kept.
    #[must_use]
    pub fn into_shared(self) -> Arc<Entry> {
        self.0
    }
}

#[cfg(test)]
impl Verified {
    /// An entry whose signature nobody has looked at; for tests of what does not look either.
    pub(crate) fn unchecked(entry: Entry) -> Self {
        Self(Arc::new(entry))
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
    sign_by(&Ed25519, key, hash)
}

/// As [`sign`], by this kind of signatures.
pub(super) fn sign_by(
    signatures: &dyn Signatures,
    key: &SigningKey,
    hash: &EntryHash,
) -> [u8; SIGNATURE_BYTES] {
    signatures.sign(key, &signed_message(hash))
}

fn item(entry: &Entry) -> batch::Item {
    batch::Item::from((
        VerificationKeyBytes::from(entry.content.author.0),
        Signature::from(entry.signature()),
        &signed_message(&entry.hash),
    ))
}

/// Checks one signature.
///
/// # Errors
/// [`BadSignature`], naming author and number.
pub fn verify(entry: Entry) -> Result<Verified, BadSignature> {
    verify_by(&Ed25519, entry)
}

/// As [`verify`], for a simulation with signatures of its own.
///
/// # Errors
/// [`BadSignature`], naming author and number.
pub fn verify_simulated(
    signatures: &dyn Signatures,
    entry: Entry,
) -> Result<Verified, BadSignature> {
    verify_by(signatures, entry)
}

pub(crate) fn verify_by(
    signatures: &dyn Signatures,
    entry: Entry,
) -> Result<Verified, BadSignature> {
    let message = signed_message(&entry.hash);
    if signatures.is_good(&entry.content.author, &message, &entry.signature()) {
        Ok(Verified(Arc::new(entry)))
    } else {
        Err(BadSignature {
            author: entry.content.author,
            seq: entry.content.seq,
        })
    }
}

/// Checks many signatures, several times as fast as one by one and with the same answers. Both lists
/// keep the order given. Pure: any number of threads may each check a part.
#[must_use]
pub fn verify_batch(entries: Vec<Entry>) -> (Vec<Verified>, Vec<BadSignature>) {
    let mut good = Vec::with_capacity(entries.len());
    let mut bad = Vec::new();
    // Parts yet to be judged, the first last.
    let mut parts = Vec::new();
    let mut rest = entries;
    while !rest.is_empty() {
        let later = rest.split_off(rest.len().min(BATCH_ENTRIES));
        parts.push(core::mem::replace(&mut rest, later));
    }
    parts.reverse();
    while let Some(mut part) = parts.pop() {
        if all_good(&part) {
            good.extend(part.into_iter().map(|entry| Verified(Arc::new(entry))));
        } else if part.len() > HALVED_TO_ENTRIES {
            let later = part.split_off(part.len() / 2);
            parts.push(later);
            parts.push(part);
        } else {
            for entry in part {
                match verify(entry) {
                    Ok(verified) => good.push(verified),
                    Err(refused) => bad.push(refused),
                }
            }
        }
    }
    (good, bad)
}

/// Whether every signature of one batch is good.
fn all_good(entries: &[Entry]) -> bool {
    let mut verifier = batch::Verifier::new();
    for entry in entries {
        verifier.queue(item(entry));
    }
    verifier.verify(Coefficients::of(entries)).is_ok()
}

/// The coefficients of a batch: BLAKE3 output over everything that the batch checks, so that nobody can
/// choose signatures to fit them, and no device needs randomness to judge.
struct Coefficients(blake3::OutputReader);

impl Coefficients {
    fn of(entries: &[Entry]) -> Self {
        let mut hasher = blake3::Hasher::new_derive_key(BATCH_CONTEXT);
        for entry in entries {
            // The hash covers the author's key and the whole content.
            hasher.update(&entry.hash.0);
            hasher.update(&entry.signature());
        }
        Self(hasher.finalize_xof())
    }
}

impl TryRng for Coefficients {
    type Error = Infallible;

    fn try_next_u32(&mut self) -> Result<u32, Infallible> {
        let mut bytes = [0; 4];
        self.0.fill(&mut bytes);
        Ok(u32::from_le_bytes(bytes))
    }

    fn try_next_u64(&mut self) -> Result<u64, Infallible> {
        let mut bytes = [0; 8];
        self.0.fill(&mut bytes);
        Ok(u64::from_le_bytes(bytes))
    }

    fn try_fill_bytes(&mut self, bytes: &mut [u8]) -> Result<(), Infallible> {
        self.0.fill(bytes);
        Ok(())
    }
}

impl TryCryptoRng for Coefficients {}

/// Whether a key must not be admitted: no point, a point of small order (under which signatures can be
/// good for any message), or a second encoding of a point that has another (so that one key would be two
/// devices).
#[must_use]
pub fn is_weak(key: &DeviceKey) -> bool {
    match CompressedEdwardsY(key.0).decompress() {
        None => true,
        Some(point) => point.is_small_order() || point.compress().0 != key.0,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::ids::JobId;
    use crate::log::entry::{Body, Briefed};
    use crate::log::sample;
    use std::sync::Arc;

    fn entries(count: u32) -> Vec<Entry> {
        let (graph, job) = sample::founded();
        (0..count)
            .map(|version| {
                sample::author(u8::try_from(version % 5).unwrap())
                    .next(
                        &graph,
                        sample::WALL,
                        job,
                        Body::Briefed(Briefed { version }),
                    )
                    .unwrap()
            })
            .collect()
    }

    fn spoil(entry: &Entry) -> Entry {
        let mut bytes = entry.bytes.to_vec();
        let last = bytes.len() - 40;
        bytes[last] ^= 1;
        Entry {
            bytes: Arc::from(bytes),
            ..entry.clone()
        }
    }

    #[test]
    fn a_batch_finds_the_bad_ones_and_keeps_the_order() {
        let mut all = entries(2 * u32::try_from(BATCH_ENTRIES).unwrap() + 7);
        for place in [3, 300, 2_050] {
            all[place] = spoil(&all[place]);
        }
        let (good, bad) = verify_batch(all.clone());
        let expected: Vec<Entry> = all
            .iter()
            .enumerate()
            .filter(|(place, _)| ![3, 300, 2_050].contains(place))
            .map(|(_, entry)| entry.clone())
            .collect();
        let good: Vec<Entry> = good.iter().map(|good| good.entry().clone()).collect();
        assert_eq!(good, expected);
        let named: Vec<_> = bad.iter().map(|bad| bad.author).collect();
        assert_eq!(
            named,
            [3, 300, 2_050].map(|place: usize| all[place].content.author)
        );
        assert!(verify_batch(Vec::new()).0.is_empty());
    }

    #[test]
    fn a_signature_is_for_one_use_only() {
        let (graph, job) = sample::founded();
        let author = sample::author(0);
        let entry = author
            .next(&graph, sample::WALL, job, Body::Accept)
            .unwrap();
        assert!(verify(entry.clone()).is_ok());
        let bare = author.key().sign(&entry.hash.0).to_bytes();
        let mut bytes = entry.bytes.to_vec();
        let start = bytes.len() - SIGNATURE_BYTES;
        bytes[start..].copy_from_slice(&bare);
        let moved = Entry {
            bytes: bytes.into(),
            ..entry
        };
        assert!(verify(moved).is_err());
        assert_ne!(job, JobId::UNFOUNDED);
    }

    /// Every encoding that decodes to a point of small order, canonical or not, and every other encoding
    /// that is not canonical: y from p to 2^255 - 1, with either sign.
    fn odd_encodings() -> Vec<[u8; 32]> {
        let canonical = curve25519_dalek::constants::EIGHT_TORSION.iter();
        let mut all: Vec<[u8; 32]> = canonical.map(|point| point.compress().0).collect();
        for more in 0..19 {
            for sign in [0x7f, 0xff] {
                let mut bytes = [0xff; 32];
                (bytes[0], bytes[31]) = (0xed + more, sign);
                all.push(bytes);
            }
        }
        // x = 0 with the sign of a negative number, which no encoder writes.
        for (low, high) in [(1, 0x80), (0xec, 0xff)] {
            let mut bytes = [if low == 1 { 0 } else { 0xff }; 32];
            (bytes[0], bytes[31]) = (low, high);
            all.push(bytes);
        }
        all.retain(|bytes| CompressedEdwardsY(*bytes).decompress().is_some());
        all.sort_unstable();
        all.dedup();
        all
    }

    /// An entry of this author with this signature, whatever it is worth.
    fn claimed(author: [u8; 32], signature: &[u8; 64]) -> Entry {
        let (graph, job) = sample::founded();
        let entry = sample::author(0).next(&graph, sample::WALL, job, Body::Accept);
        let mut content = entry.unwrap().content;
        content.author = DeviceKey(author);
        let mut bytes = postcard::to_stdvec(&content).unwrap();
        bytes.extend_from_slice(signature);
        Entry::decode(bytes.into()).unwrap()
    }

    fn signature(point: [u8; 32], scalar: [u8; 32]) -> [u8; 64] {
        let mut signature = [0; 64];
        signature[..32].copy_from_slice(&point);
        signature[32..].copy_from_slice(&scalar);
        signature
    }

    /// ZIP 215 demands that these are good: s = 0, key and R of small order, in any encoding.
    #[test]
    fn single_and_batch_agree_on_small_order_keys_and_non_canonical_points() {
        let odd = odd_encodings();
        assert!(odd.len() >= 14 + 2, "{} encodings", odd.len());
        let is_small = |bytes: &[u8; 32]| {
            let point = CompressedEdwardsY(*bytes).decompress();
            point.is_some_and(|point| point.is_small_order())
        };
        let (mut all, mut expected) = (entries(40), vec![true; 40]);
        for author in &odd {
            assert!(is_weak(&DeviceKey(*author)), "{author:?}");
            for point in &odd {
                all.push(claimed(*author, &signature(*point, [0; 32])));
                expected.push(is_small(author) && is_small(point));
            }
        }
        let single: Vec<bool> = all.iter().map(|one| verify(one.clone()).is_ok()).collect();
        assert_eq!(single, expected);
        assert!(expected.iter().filter(|&&good| good).count() > 100);
        // As one batch, and each in the company of good ones only, where nothing else can spoil the batch.
        let (good, bad) = verify_batch(all.clone());
        let kept: Vec<Entry> = good.iter().map(|good| good.entry().clone()).collect();
        let judged = all.iter().zip(&expected);
        let good: Vec<Entry> = judged
            .filter(|(_, good)| **good)
            .map(|(one, _)| one.clone())
            .collect();
        assert_eq!(kept, good);
        assert_eq!(bad.len(), all.len() - good.len());
        for (one, expected) in all.iter().zip(&expected).skip(40) {
            let mut few = all[..3].to_vec();
            few.push(one.clone());
            assert_eq!(all_good(&few), *expected);
        }
        // All the good ones at once, which only the batch equation of ZIP 215 lets pass.
        assert!(all_good(&good));
    }

    #[test]
    fn a_scalar_over_the_group_order_is_refused_by_both() {
        // The order of the group, RFC 8032 section 5.1, little-endian.
        let order: [u8; 32] = [
            0xed, 0xd3, 0xf5, 0x5c, 0x1a, 0x63, 0x12, 0x58, 0xd6, 0x9c, 0xf7, 0xa2, 0xde, 0xf9,
            0xde, 0x14, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x10,
        ];
        let identity = {
            let mut bytes = [0; 32];
            bytes[0] = 1;
            bytes
        };
        let zero = claimed(identity, &signature(identity, [0; 32]));
        let whole = claimed(identity, &signature(identity, order));
        assert!(verify(zero.clone()).is_ok() && all_good(&[zero]));
        assert!(verify(whole.clone()).is_err() && !all_good(&[whole]));
    }

    #[test]
    fn good_keys_are_not_weak_and_what_is_no_point_is() {
        for number in 0..50 {
            assert!(!is_weak(&sample::author(number).device()));
        }
        let no_points = (0..=255_u8).filter(|&low| {
            let mut bytes = [0; 32];
            bytes[0] = low;
            CompressedEdwardsY(bytes).decompress().is_none() && is_weak(&DeviceKey(bytes))
        });
        assert!(no_points.count() > 80);
    }
}
