//! Digest: one value that is equal on two devices exactly if they hold the same entries.
//! Owns: nothing.   Gives: `digest`.
//! May use: log::graph.   Never: the entries' meaning.

use crate::ids::EntryHash;
use crate::log::graph::Graph;

/// What the hash is for, as BLAKE3's key derivation asks.
const CONTEXT: &str = "gantline 2026-11-25 digest of a set of entries, version 1";

/// The digest of all entries: BLAKE3 over the ascending hashes of the entries that are in nobody's past.
///
/// A graph holds each entry with its whole past, and an entry's hash covers its past, so these few hashes
/// name the whole set: equal sets, equal digests, and different sets differ unless BLAKE3 is broken. It
/// costs the number of devices, not of entries.
#[must_use]
pub fn digest(graph: &Graph) -> EntryHash {
    let mut tips: Vec<EntryHash> = graph.tips().into_iter().map(|ix| graph.hash(ix)).collect();
    tips.sort_unstable();
    let mut hasher = blake3::Hasher::new_derive_key(CONTEXT);
    for tip in &tips {
        hasher.update(&tip.0);
    }
    EntryHash(*hasher.finalize().as_bytes())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::log::sample::{self, WALL};

    #[test]
    fn equal_sets_in_any_order_have_one_digest_and_others_have_another() {
        let (mut left, job) = sample::founded();
        let (mut right, _) = sample::founded();
        assert_eq!(digest(&left), digest(&right));
        let one = sample::author(1)
            .next(&left, WALL, job, sample::note("one"))
            .unwrap();
        let two = sample::author(2)
            .next(&left, WALL, job, sample::note("two"))
            .unwrap();
        left.insert(sample::unverified(one.clone())).unwrap();
        let with_one = digest(&left);
        left.insert(sample::unverified(two.clone())).unwrap();
        right.insert(sample::unverified(two)).unwrap();
        assert_ne!(digest(&left), digest(&right));
        assert_ne!(with_one, digest(&right));
        right.insert(sample::unverified(one)).unwrap();
        assert_eq!(digest(&left), digest(&right));
    }
}
