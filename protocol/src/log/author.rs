//! Author: the one place where entries are made and signed.
//! Owns: the device's signing key.   Gives: the next own entry.
//! May use: graph, entry, wire, sign.   Never: whether it should be said (engine) or counts (gate).

use crate::bounds::{ENTRY_MAX_BYTES, FORMAT_VERSION, HEADS_MAX, STAMP_AHEAD_MAX_MS};
use crate::ids::{DeviceKey, EntryHash, JobId};
use crate::log::entry::{Body, Content};
use crate::log::graph::{EntryIx, Graph};
use crate::log::sign::{self, BadSignature, Verified};
use crate::log::signatures::{Ed25519, Signatures};
use crate::log::wire::{self, BadBytes, Entry, SIGNATURE_BYTES};
use crate::time::{Stamp, WallClock};
use ed25519_zebra::{SigningKey, VerificationKeyBytes};
use std::sync::Arc;

/// Signs as one device.
#[derive(Clone)]
pub struct Author {
    key: SigningKey,
    device: DeviceKey,
    signatures: &'static dyn Signatures,
}

impl core::fmt::Debug for Author {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_tuple("Author").field(&self.device).finish()
    }
}

/// Why an entry cannot be written.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum CannotWrite {
    /// A text that a person typed is too long.
    #[error(
        "found a text of {found} characters, expected at most {}; shorten it",
        crate::bounds::TEXT_MAX_CHARS
    )]
    Text {
        /// Its length.
        found: usize,
    },
    /// The whole entry is too large: a plan with too much in it, or too long a list.
    #[error("the entry would have {found} bytes, expected at most {ENTRY_MAX_BYTES}")]
    TooLarge {
        /// How many bytes it would have.
        found: usize,
    },
    /// A kind that this version does not know is kept and forwarded, never written.
    #[error("an entry of an unknown kind cannot be written")]
    UnknownKind,
    /// The author's chain has as many entries as numbers go.
    #[error("this device's chain is full")]
    ChainFull,
}

impl Author {
    /// Signs with this key.
    #[must_use]
    pub fn new(key: SigningKey) -> Self {
        Self::simulated(&Ed25519, key)
    }

    /// Signs with this key in a simulation with signatures of its own.
    #[must_use]
    pub fn simulated(signatures: &'static dyn Signatures, key: SigningKey) -> Self {
        Self {
            device: DeviceKey(VerificationKeyBytes::from(&key).into()),
            key,
            signatures,
        }
    }

    /// How this device signs and checks.
    #[must_use]
    pub(crate) fn signatures(&self) -> &'static dyn Signatures {
        self.signatures
    }

    /// Checks the signature of an entry, own or not.
    ///
    /// # Errors
    /// [`BadSignature`].
    pub(crate) fn verify(&self, entry: Entry) -> Result<Verified, BadSignature> {
        sign::verify_by(self.signatures, entry)
    }

    /// The device.
    #[must_use]
    pub fn device(&self) -> DeviceKey {
        self.device
    }

    /// The key itself, for beacons and connections.
    #[must_use]
    pub fn key(&self) -> &SigningKey {
        &self.key
    }

    /// The next entry of this device after all that is in the graph. `job` is [`JobId::UNFOUNDED`] for a
    /// founding entry. Nothing is changed: the entry goes into the graph by the way that all entries go.
    ///
    /// # Errors
    /// [`CannotWrite`], when the body is too large or has too long a text.
    pub fn next(
        &self,
        graph: &Graph,
        wall: WallClock,
        job: JobId,
        body: Body,
    ) -> Result<Entry, CannotWrite> {
        let prev = own_last(graph, self.device);
        let heads = heads(graph, self.device, prev);
        // The newest of every chain, not of the heads alone: a head with a wrong clock hides right ones.
        let seen = graph
            .chains()
            .filter_map(|chain| graph.last(chain))
            .map(|ix| graph.content(ix).stamp)
            .fold(Stamp::default(), |newest, stamp| {
                followed(stamp, wall).max(newest)
            });
        let (seq, prev) = match prev {
            None => (0, EntryHash::NONE),
            Some(ix) => (
                graph
                    .seq(ix)
                    .checked_add(1)
                    .filter(|&seq| seq != u32::MAX)
                    .ok_or(CannotWrite::ChainFull)?,
                graph.hash(ix),
            ),
        };
        let mut heads: Vec<EntryHash> = heads.into_iter().map(|ix| graph.hash(ix)).collect();
        heads.sort_unstable();
        self.sign(Content {
            version: FORMAT_VERSION,
            job,
            author: self.device,
            seq,
            prev,
            heads,
            stamp: seen.next(wall),
            wall,
            body,
        })
    }

    /// Signs the bytes of a content, whatever they say: for tests and simulations of devices that lie.
    #[must_use]
    pub fn sign_bytes(&self, mut content: Vec<u8>) -> Arc<[u8]> {
        let hash = wire::hash_content(&content);
        content.extend_from_slice(&sign::sign_by(self.signatures, &self.key, &hash));
        content.into()
    }

    /// Signs a content whose links were chosen by somebody else: for tests and simulations of devices that
    /// fork or lie. The author field is made this device's.
    ///
    /// # Errors
    /// As [`Author::next`].
    pub fn sign(&self, mut content: Content) -> Result<Entry, CannotWrite> {
        content.author = self.device;
        if matches!(content.body, Body::Unknown { .. }) {
            return Err(CannotWrite::UnknownKind);
        }
        let mut bytes = postcard::to_stdvec(&content)
            .map_err(|_| CannotWrite::TooLarge { found: usize::MAX })?;
        let hash = wire::hash_content(&bytes);
        bytes.extend_from_slice(&sign::sign_by(self.signatures, &self.key, &hash));
        Entry::from_parts(content, hash, bytes.into()).map_err(|bad| match bad {
            BadBytes::Text { found } => CannotWrite::Text { found },
            BadBytes::Length { found } => CannotWrite::TooLarge { found },
            // The rest cannot be: version and heads were set above, and an encoder writes one form.
            _ => CannotWrite::TooLarge {
                found: SIGNATURE_BYTES,
            },
        })
    }
}

/// A stamp, or nothing if it is so far ahead of the own clock that it must not drag it along.
fn followed(stamp: Stamp, wall: WallClock) -> Stamp {
    let own_ms = u64::try_from(wall.0).unwrap_or(0);
    if stamp.ms() > own_ms.saturating_add(STAMP_AHEAD_MAX_MS) {
        Stamp::default()
    } else {
        stamp
    }
}

/// The device's newest entry: of several branches, which only a fork of its own makes, the longest.
fn own_last(graph: &Graph, device: DeviceKey) -> Option<EntryIx> {
    graph
        .chains_of(device)
        .filter_map(|chain| graph.last(chain))
        .max_by_key(|&ix| graph.seq(ix))
}

/// The newest entries of others that are in nobody else's past, nor in that of the author's entry before.
/// More than [`HEADS_MAX`] can only come of many forks; the rest then follow with the next entry.
fn heads(graph: &Graph, device: DeviceKey, prev: Option<EntryIx>) -> Vec<EntryIx> {
    let others: Vec<EntryIx> = graph
        .chains()
        .filter(|&chain| graph.chain_author(chain) != device)
        .filter_map(|chain| graph.last(chain))
        .filter(|&ix| prev.is_none_or(|prev| !graph.before(ix, prev)))
        .collect();
    let mut heads: Vec<EntryIx> = others
        .iter()
        .copied()
        .filter(|&ix| !others.iter().any(|&other| graph.before(ix, other)))
        .collect();
    heads.sort_unstable_by(|a, b| b.cmp(a));
    heads.truncate(HEADS_MAX);
    heads
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::log::sample::{self, Draw, WALL};

    #[test]
    fn what_is_written_decodes_verifies_and_goes_in() {
        let (mut graph, job) = sample::founded();
        let mut draw = Draw(11);
        for round in 0..200 {
            let author = sample::author(u8::try_from(draw.below(6)).unwrap());
            let entry = author
                .next(&graph, WALL, job, sample::note(&format!("round {round}")))
                .unwrap();
            assert_eq!(Entry::decode(entry.bytes.clone()), Ok(entry.clone()));
            let all_before: Vec<u32> = graph.all().to_vec();
            graph.insert(sample::verified(entry.clone())).unwrap();
            let ix = graph.find(&entry.hash).unwrap();
            // Everything that was here is in its past.
            assert_eq!(graph.past(ix)[..all_before.len()], all_before);
            assert_eq!(graph.tips(), [ix]);
        }
    }

    #[test]
    fn heads_are_the_tips_of_others_and_nothing_more() {
        let (mut graph, job) = sample::founded();
        let side: Vec<Entry> = (1..5)
            .map(|number| {
                sample::author(number)
                    .next(&graph, WALL, job, sample::note("side by side"))
                    .unwrap()
            })
            .collect();
        for entry in &side {
            graph.insert(sample::verified(entry.clone())).unwrap();
        }
        let mut hashes: Vec<EntryHash> = side.iter().map(|entry| entry.hash).collect();
        hashes.sort();
        let founder = sample::author(0).next(&graph, WALL, job, sample::note("all seen"));
        assert_eq!(founder.unwrap().content.heads, hashes);
        let own = side[2].hash;
        let one = sample::author(3)
            .next(&graph, WALL, job, sample::note("own is prev"))
            .unwrap();
        assert_eq!((one.content.prev, one.content.seq), (own, 1));
        hashes.retain(|&hash| hash != own);
        assert_eq!(one.content.heads, hashes);
    }

    #[test]
    fn stamps_follow_what_was_seen_but_not_a_wrong_clock() {
        let (mut graph, job) = sample::founded();
        let near = WallClock(WALL.0 + 30_000);
        let far = WallClock(WALL.0 + 3_600_000);
        let ahead = sample::author(1)
            .next(&graph, near, job, sample::note("30 s ahead"))
            .unwrap();
        let stamp = ahead.content.stamp;
        graph.insert(sample::verified(ahead)).unwrap();
        let wrong = sample::author(2)
            .next(&graph, far, job, sample::note("an hour ahead"))
            .unwrap();
        graph.insert(sample::verified(wrong)).unwrap();
        let own = sample::author(0)
            .next(&graph, WALL, job, sample::note("right"))
            .unwrap();
        assert_eq!(own.content.stamp, Stamp(stamp.0 + 1));
    }

    #[test]
    fn long_texts_and_large_entries_are_refused_here_and_on_decoding() {
        let (graph, job) = sample::founded();
        let author = sample::author(0);
        let most = "ä".repeat(crate::bounds::TEXT_MAX_CHARS);
        assert!(author.next(&graph, WALL, job, sample::note(&most)).is_ok());
        let over = format!("{most}x");
        let refused = author.next(&graph, WALL, job, sample::note(&over));
        assert_eq!(refused, Err(CannotWrite::Text { found: 501 }));

        let mut content = author
            .next(&graph, WALL, job, sample::note(&most))
            .unwrap()
            .content;
        content.body = sample::note(&over);
        let mut bytes = postcard::to_stdvec(&content).unwrap();
        bytes.extend([0; SIGNATURE_BYTES]);
        assert_eq!(
            Entry::decode(bytes.into()),
            Err(BadBytes::Text { found: 501 })
        );

        let clear = (0..6_000)
            .map(|number| format!("P {number} xxxxxx").as_str().try_into().unwrap())
            .collect();
        let count = Body::HeadCount(crate::log::entry::HeadCount {
            clear,
            assumed: Vec::new(),
        });
        assert!(matches!(
            author.next(&graph, WALL, job, count),
            Err(CannotWrite::TooLarge { found }) if found > ENTRY_MAX_BYTES
        ));
    }

    #[test]
    fn an_unknown_kind_is_never_written() {
        let (graph, job) = sample::founded();
        let body = Body::Unknown { kind: 99 };
        assert_eq!(
            sample::author(0).next(&graph, WALL, job, body),
            Err(CannotWrite::UnknownKind)
        );
    }
}
