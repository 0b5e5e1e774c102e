//! Beacon: what a device says of itself several times a second, and how it fits a datagram.
//! Owns: nothing.   Gives: `Beacon`, its signed bytes, bundles of them.
//! May use: ids, time, bounds, signatures.   Never: how old a proof is (proof), the log.
//!
//! A beacon has a signature domain of its own, so it can never pass for an entry or the other way round.
//! Bytes are postcard; frozen by a test.

use crate::bounds::{DATAGRAM_MAX_BYTES, DEVICES_MAX};
use crate::ids::{BootId, DeviceKey, DeviceTag, JobId};
use crate::log::signatures::Signatures;
use crate::log::wire::{self, SIGNATURE_BYTES};
use crate::time::WallClock;
use ed25519_zebra::SigningKey;
use serde::{Deserialize, Serialize};
use std::sync::{Arc, LazyLock};

/// Version of the beacon's form.
const BEACON_VERSION: u8 = 1;
/// Separates beacon signatures from every other use of a device's key.
const BEACON_DOMAIN: &[u8; 25] = b"gantline beacon signature";
/// What the hash of a beacon is for.
const BEACON_CONTEXT: &str = "gantline 2026-11-25 beacon, version 1";
/// Most vouched ages in one beacon; the rest take their turn in the next ones.
const VOUCHES_MAX: usize = 8;

/// A job in eight bytes, where 32 would not fit. A mistake costs a signature check that fails.
#[must_use]
pub fn job_tag(job: &JobId) -> DeviceTag {
    DeviceKey(job.0).tag()
}

/// What a device says of itself at one moment.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Beacon {
    /// `BEACON_VERSION`.
    pub version: u8,
    /// The job, see [`job_tag`].
    pub job: DeviceTag,
    /// Whose beacon it is.
    pub device: DeviceTag,
    /// The start of that device which the counter belongs to.
    pub boot: BootId,
    /// 1, 2, 3… since that start.
    pub counter: u32,
    /// A stop was pressed there and is not yet part of `head` (SILENCE).
    pub pressed: bool,
    /// Its page has been silent for over the page limit (PAGE).
    pub page_silent: bool,
    /// How many of its own entries are on its disk and applied.
    pub head: u32,
    /// How many more it has made, which its disk has not confirmed yet.
    pub making: u32,
    /// How many entries it holds in all, branches of forks included.
    pub entries: u32,
    /// Its wall clock, for the replay's comparison of clocks; judges nothing.
    pub wall: WallClock,
    /// The other authors.
    pub rows: Vec<Row>,
    /// Entries whose age it can bound (readings, affirmations).
    pub vouches: Vec<Vouch>,
}

/// What a beacon says of one other author.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Row {
    /// The author.
    pub device: DeviceTag,
    /// How many of its entries are held without gap, up to a fork (HAVE).
    pub have: u32,
    /// The newest of its beacons that was heard.
    pub echo: Option<Echo>,
}

/// A beacon heard.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Echo {
    /// Its boot.
    pub boot: BootId,
    /// Its counter.
    pub counter: u32,
}

/// An upper bound of an entry's age when the beacon was made.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Vouch {
    /// The entry's author.
    pub author: DeviceTag,
    /// Its number.
    pub seq: u32,
    /// At most so old, ms.
    pub age_ms: u64,
}

/// A beacon with the bytes that its author signed; only those are passed on.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SignedBeacon {
    /// What it says.
    pub beacon: Beacon,
    /// Postcard of the beacon, then the signature.
    pub bytes: Arc<[u8]>,
}

/// A beacon out of a bundle whose signature has not been looked at, nor more of its content than its claim.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Heard<'a> {
    claim: Claim,
    bytes: &'a [u8],
}

/// What a beacon claims to be: its first fields.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
pub struct Claim {
    /// Version of its form.
    pub version: u8,
    /// The job.
    pub job: DeviceTag,
    /// Whose.
    pub device: DeviceTag,
    /// Of which start.
    pub boot: BootId,
    /// Its counter.
    pub counter: u32,
}

/// Bytes that are no beacon.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum BadBeacon {
    /// Longer than a datagram may be.
    #[error("found a datagram of {found} bytes, expected at most {DATAGRAM_MAX_BYTES}")]
    Length {
        /// Its length.
        found: usize,
    },
    /// Not a bundle of beacons, or not in the one encoding that beacons have.
    #[error("the datagram is no bundle of beacons")]
    Encoding,
    /// Of a version that is not known here.
    #[error("found beacon version {found}, expected {BEACON_VERSION}")]
    Version {
        /// Its version.
        found: u8,
    },
    /// Not signed by the device that it names.
    #[error("the beacon's signature is not that of device {device}")]
    Signature {
        /// The device named.
        device: DeviceKey,
    },
}

/// The hasher of beacons before any of them: its context is hashed once, not with each beacon.
static BEACON_HASHER: LazyLock<blake3::Hasher> =
    LazyLock::new(|| blake3::Hasher::new_derive_key(BEACON_CONTEXT));

fn signed_message(beacon: &[u8]) -> [u8; 57] {
    let mut hasher = BEACON_HASHER.clone();
    hasher.update(beacon);
    let mut message = [0; 57];
    message[..25].copy_from_slice(BEACON_DOMAIN);
    message[25..].copy_from_slice(hasher.finalize().as_bytes());
    message
}

impl Beacon {
    /// A beacon with nothing said yet beyond whose it is.
    #[must_use]
    pub fn new(job: &JobId, device: &DeviceKey, boot: BootId, counter: u32) -> Self {
        Self {
            version: BEACON_VERSION,
            job: job_tag(job),
            device: device.tag(),
            boot,
            counter,
            pressed: false,
            page_silent: false,
            head: 0,
            making: 0,
            entries: 0,
            wall: WallClock(0),
            rows: Vec::new(),
            vouches: Vec::new(),
        }
    }

    /// No stop pressed and not yet told, and no silent page.
    #[must_use]
    pub fn quiet(&self) -> bool {
        !self.pressed && !self.page_silent
    }

    /// How many own entries the device has made, on its disk or not.
    #[must_use]
    pub fn made(&self) -> u32 {
        self.head.saturating_add(self.making)
    }

    /// Leaves out vouches, then rows from the end, until the signed beacon fits a datagram. The caller
    /// puts present devices first and lets the others take turns.
    pub fn fit(&mut self) {
        self.vouches.truncate(VOUCHES_MAX);
        // No number takes more than ten bytes: most crews fit by far, and need not be measured.
        let most = 160 + self.rows.len() * 40 + self.vouches.len() * 24 + SIGNATURE_BYTES;
        if most <= DATAGRAM_MAX_BYTES {
            return;
        }
        while self.bundled_len() > DATAGRAM_MAX_BYTES {
            if self.vouches.pop().is_none() && self.rows.pop().is_none() {
                return;
            }
        }
    }

    fn bundled_len(&self) -> usize {
        // One byte for the kind of datagram, one for the count of a bundle, two for a length.
        postcard::to_stdvec(self).map_or(usize::MAX, |bytes| bytes.len() + SIGNATURE_BYTES + 4)
    }

    /// Signs the beacon; `None` never happens, as plain values always encode.
    #[must_use]
    pub fn sign(self, signatures: &dyn Signatures, key: &SigningKey) -> Option<SignedBeacon> {
        let mut bytes = postcard::to_stdvec(&self).ok()?;
        let signature = signatures.sign(key, &signed_message(&bytes));
        bytes.extend_from_slice(&signature);
        Some(SignedBeacon {
            beacon: self,
            bytes: bytes.into(),
        })
    }
}

impl Heard<'_> {
    /// What it claims; for sorting out what is known already before anything of it costs time.
    #[must_use]
    pub fn claim(&self) -> &Claim {
        &self.claim
    }
}

/// Checks that the device with `key` signed the beacon, then reads it.
///
/// # Errors
/// [`BadBeacon::Signature`], naming the device; [`BadBeacon::Encoding`], when what it signed is no beacon.
pub fn check_beacon(
    signatures: &dyn Signatures,
    heard: Heard,
    key: &DeviceKey,
) -> Result<SignedBeacon, BadBeacon> {
    let bad = BadBeacon::Signature { device: *key };
    let bytes = heard.bytes;
    let Some((signed, signature)) = bytes.split_last_chunk::<SIGNATURE_BYTES>() else {
        return Err(bad);
    };
    let good = key.tag() == heard.claim.device
        && signatures.is_good(key, &signed_message(signed), signature);
    if !good {
        return Err(bad);
    }
    let beacon: Beacon = postcard::from_bytes(signed).map_err(|_| BadBeacon::Encoding)?;
    if !wire::encodes_to(&beacon, signed)
        || beacon.rows.len() > DEVICES_MAX
        || beacon.vouches.len() > VOUCHES_MAX
    {
        return Err(BadBeacon::Encoding);
    }
    Ok(SignedBeacon {
        beacon,
        bytes: bytes.into(),
    })
}

fn decode(bytes: &[u8]) -> Result<Heard<'_>, BadBeacon> {
    let Some((signed, _)) = bytes.split_last_chunk::<SIGNATURE_BYTES>() else {
        return Err(BadBeacon::Encoding);
    };
    // The first fields of a beacon, in its order.
    let (claim, _) = postcard::take_from_bytes::<Claim>(signed).map_err(|_| BadBeacon::Encoding)?;
    if claim.version != BEACON_VERSION {
        return Err(BadBeacon::Version {
            found: claim.version,
        });
    }
    Ok(Heard { claim, bytes })
}

/// The own beacon and after it as many of `others` as fit within `limit` bytes, each with its length
/// before it. Those that do not fit are left out, smaller ones after them are still taken.
#[must_use]
pub fn bundle<'a>(
    own: &SignedBeacon,
    others: impl IntoIterator<Item = &'a SignedBeacon>,
    limit: usize,
) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(limit);
    push(&mut bytes, own, usize::MAX);
    for other in others {
        push(&mut bytes, other, limit);
    }
    bytes
}

fn push(bytes: &mut Vec<u8>, beacon: &SignedBeacon, limit: usize) {
    let Ok(len) = u16::try_from(beacon.bytes.len()) else {
        return;
    };
    if bytes.len() + 2 + usize::from(len) <= limit {
        bytes.extend_from_slice(&len.to_le_bytes());
        bytes.extend_from_slice(&beacon.bytes);
    }
}

/// Takes a bundle apart. Signatures are not looked at, nor the content behind each claim: most beacons of most
/// bundles are known already.
///
/// # Errors
/// [`BadBeacon`], when any part of it claims to be no beacon: the whole is then dropped.
pub fn unbundle(bytes: &[u8]) -> Result<Vec<Heard<'_>>, BadBeacon> {
    if bytes.len() > DATAGRAM_MAX_BYTES {
        return Err(BadBeacon::Length { found: bytes.len() });
    }
    let mut rest = bytes;
    let mut heard = Vec::new();
    while let Some((len, after)) = rest.split_first_chunk::<2>() {
        let len = usize::from(u16::from_le_bytes(*len));
        let Some((one, after)) = after.split_at_checked(len) else {
            return Err(BadBeacon::Encoding);
        };
        heard.push(decode(one)?);
        rest = after;
    }
    if rest.is_empty() && !heard.is_empty() {
        Ok(heard)
    } else {
        Err(BadBeacon::Encoding)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::log::signatures::Ed25519;

    fn key(n: u8) -> SigningKey {
        SigningKey::from([n; 32])
    }

    fn device(key: &SigningKey) -> DeviceKey {
        DeviceKey(ed25519_zebra::VerificationKey::from(key).into())
    }

    fn crowded(crew: u8) -> Beacon {
        let mut beacon = Beacon::new(&JobId([9; 32]), &device(&key(1)), BootId(u64::MAX), 400_000);
        beacon.head = 5_000;
        beacon.entries = 90_000;
        beacon.wall = WallClock(1_790_000_000_000);
        beacon.rows = (1..crew)
            .map(|n| Row {
                device: DeviceTag([n; 8]),
                have: 9_000,
                echo: Some(Echo {
                    boot: BootId(u64::MAX - u64::from(n)),
                    counter: 400_000,
                }),
            })
            .collect();
        beacon
    }

    #[test]
    fn a_beacon_of_the_largest_crew_fits_a_datagram_with_every_row() {
        let mut beacon = crowded(32);
        beacon.fit();
        assert_eq!(beacon.rows.len(), 31);
        let signed = beacon.sign(&Ed25519, &key(1)).unwrap();
        assert!(bundle(&signed, [], DATAGRAM_MAX_BYTES).len() < DATAGRAM_MAX_BYTES);
    }

    #[test]
    fn more_rows_than_fit_are_left_out_from_the_end() {
        let mut beacon = crowded(64);
        let all = beacon.rows.clone();
        beacon.fit();
        assert!(beacon.rows.len() > 32 && beacon.rows.len() < all.len());
        assert_eq!(beacon.rows[..], all[..beacon.rows.len()]);
        let signed = beacon.sign(&Ed25519, &key(1)).unwrap();
        let bytes = bundle(&signed, [], DATAGRAM_MAX_BYTES);
        assert!(bytes.len() < DATAGRAM_MAX_BYTES);
        assert!(unbundle(&bytes).is_ok());
    }

    #[test]
    fn bundles_round_trip_and_only_the_signer_passes() {
        let own = crowded(6).sign(&Ed25519, &key(1)).unwrap();
        let mut other = crowded(6);
        other.device = device(&key(2)).tag();
        let other = other.sign(&Ed25519, &key(2)).unwrap();
        let bytes = bundle(&own, [&other], DATAGRAM_MAX_BYTES);
        let heard = unbundle(&bytes).unwrap();
        assert_eq!(heard.len(), 2);
        assert_eq!(heard[0].claim().counter, own.beacon.counter);
        assert_eq!(heard[0].claim().device, own.beacon.device);
        assert_eq!(
            check_beacon(&Ed25519, heard[1], &device(&key(2))),
            Ok(other.clone())
        );
        assert_eq!(
            check_beacon(&Ed25519, heard[1], &device(&key(1))),
            Err(BadBeacon::Signature {
                device: device(&key(1))
            })
        );
        let mut turned = other.bytes.to_vec();
        turned[20] ^= 1;
        let turned = decode(&turned);
        assert!(
            turned.is_err() || check_beacon(&Ed25519, turned.unwrap(), &device(&key(2))).is_err()
        );
    }

    #[test]
    fn no_bytes_panic_and_no_cut_bundle_passes() {
        let own = crowded(6).sign(&Ed25519, &key(1)).unwrap();
        let bytes = bundle(&own, [&own], DATAGRAM_MAX_BYTES);
        // What a device signed and is no beacon is refused when it is read.
        let mut odd = postcard::to_stdvec(&own.beacon).unwrap();
        odd.push(0);
        let signature = Ed25519.sign(&key(1), &signed_message(&odd));
        odd.extend_from_slice(&signature);
        let heard = decode(&odd).unwrap();
        assert_eq!(
            check_beacon(&Ed25519, heard, &device(&key(1))),
            Err(BadBeacon::Encoding)
        );
        for cut in 0..bytes.len() {
            let whole_first = cut == own.bytes.len() + 2;
            assert_eq!(unbundle(&bytes[..cut]).is_ok(), whole_first, "cut at {cut}");
        }
        let mut state = 7_u64;
        for _ in 0..5_000 {
            let mut wild = bytes.clone();
            for _ in 0..4 {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                let at = usize::try_from(state >> 33).unwrap() % wild.len();
                wild[at] = state.to_le_bytes()[5];
            }
            let _ = unbundle(&wild);
        }
        assert!(matches!(
            unbundle(&vec![0; DATAGRAM_MAX_BYTES + 1]),
            Err(BadBeacon::Length { .. })
        ));
    }

    #[test]
    fn the_bytes_of_a_beacon_are_frozen() {
        let signed = crowded(3).sign(&Ed25519, &key(1)).unwrap();
        let hash = blake3::hash(&signed.bytes[..signed.bytes.len() - SIGNATURE_BYTES]);
        assert_eq!(hash.to_hex().as_str(), FROZEN);
    }

    const FROZEN: &str = "0ddd22dcd53c97ece1fd42fd89a8b233b68afc8d75ff42d39472285ffbbdbdda";
}
