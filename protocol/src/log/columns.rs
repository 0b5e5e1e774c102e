//! Columns: many entries in few bytes, for a device that catches up.
//! Owns: nothing.   Gives: `pack`, and `unpack`, which rebuilds the exact signed bytes.
//! May use: graph, wire, named, bounds.   Never: compression (node); whether the entries are wanted (sync).
//!
//! What can be worked out is not sent: an entry's job, author, number and predecessor follow from its
//! chain; hashes are computed anew; heads, and the entries and devices that a body names, are references.
//! What remains is sent column by column, so that a general compressor finds like beside like. A pack
//! stands alone: what it refers to outside itself is in it as a hash.
//!
//! ```text
//! pack    = version job count chains outside column* signatures
//! chains  = n (author first-seq prev)*     one for each unbroken run of a chain
//! outside = n hash*
//! column  = length bytes                   one for each `Column`, in that order
//! ```
//! Numbers are little-endian base 128, signed ones zigzag.

mod pack;
mod unpack;

pub use pack::{fitting, pack};
pub use unpack::unpack;

use crate::bounds::{GIVE_MAX_ENTRIES, MESSAGE_MAX_BYTES};
use crate::log::wire::BadBytes;

/// Version of this encoding.
const VERSION: u8 = 1;

/// The columns, in their order.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Column {
    /// For each entry the chain that it goes on with.
    Chain,
    /// For each entry its number of heads.
    HeadCount,
    /// For each head its chain, or the number of chains for one outside the pack.
    HeadChain,
    /// For each head how many entries back in that chain, or which of those outside.
    HeadBack,
    /// For each entry the milliseconds of its stamp after the entry before.
    StampMs,
    /// For each entry the counter of its stamp.
    StampCounter,
    /// For each entry its wall clock after the milliseconds of its stamp.
    Wall,
    /// For each entry the first byte of its body.
    Kind,
    /// For each entry how many names in its body are sent as references.
    NameCount,
    /// For each such name the number of bytes before it, from the name before.
    NameGap,
    /// For each such name what kind of reference it is and to which chain or hash.
    NameOf,
    /// For each name of an entry in the pack how many entries back in its chain.
    NameBack,
    /// For each entry the number of bytes of its body that are sent as they are.
    BodyLen,
    /// Those bytes, all bodies of one kind one after the other.
    Body,
}

impl Column {
    const ALL: [Self; 14] = [
        Self::Chain,
        Self::HeadCount,
        Self::HeadChain,
        Self::HeadBack,
        Self::StampMs,
        Self::StampCounter,
        Self::Wall,
        Self::Kind,
        Self::NameCount,
        Self::NameGap,
        Self::NameOf,
        Self::NameBack,
        Self::BodyLen,
        Self::Body,
    ];
}

/// Kinds of name references; the rest of the number says to which.
mod name {
    /// The tag of a chain's author.
    pub(super) const TAG: u64 = 0;
    /// The key of a chain's author.
    pub(super) const DEVICE: u64 = 1;
    /// An entry in the pack, by its chain.
    pub(super) const ENTRY: u64 = 2;
    /// An entry outside.
    pub(super) const OUTSIDE: u64 = 3;
}

/// Bytes that are not a pack.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum BadPack {
    /// Of another version.
    #[error("found a pack of version {found}, expected {VERSION}")]
    Version {
        /// Its version.
        found: u8,
    },
    /// More entries than one message may have.
    #[error("found {found} entries in a pack, expected at most {GIVE_MAX_ENTRIES}")]
    TooMany {
        /// How many it claims.
        found: u64,
    },
    /// More bytes than one message may unfold to.
    #[error("the pack unfolds to more than {MESSAGE_MAX_BYTES} bytes")]
    TooLarge,
    /// What stands before the columns ends too early or has a number out of its range.
    #[error("the head of the pack cannot be read")]
    Head,
    /// A column ends too early, or has a number out of its range, or bytes that nothing asks for.
    #[error("column {column:?} of the pack cannot be read")]
    Column {
        /// Which.
        column: Column,
    },
    /// Not one signature for each entry.
    #[error("found {found} bytes of signatures, expected {expected}")]
    Signatures {
        /// How many bytes there are.
        found: usize,
        /// How many the entries need.
        expected: usize,
    },
    /// An entry refers to a chain or entry that is not there.
    #[error("entry {place} of the pack refers to what is not there")]
    Reference {
        /// Which entry, from 0.
        place: usize,
    },
    /// What it unfolds to is no entry.
    #[error("entry {place} of the pack is none: {why}")]
    Entry {
        /// Which entry, from 0.
        place: usize,
        /// Why not.
        why: BadBytes,
    },
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::bounds::ENTRY_MAX_BYTES;
    use crate::log::graph::{EntryIx, Graph};
    use crate::log::sample::{self, Draw};
    use crate::log::wire::Entry;

    fn entries(graph: &Graph, of: &[EntryIx]) -> Vec<Entry> {
        of.iter().map(|&ix| graph.entry(ix).clone()).collect()
    }

    #[test]
    fn whole_jobs_with_forks_and_parts_of_them_come_back_byte_for_byte() {
        for seed in 0..12 {
            println!("seed {seed}");
            let graph = sample::job(150, seed);
            let all: Vec<EntryIx> = graph.iter().collect();
            assert_eq!(unpack(&pack(&graph, &all)), Ok(entries(&graph, &all)));
            let mut draw = Draw(seed);
            for _ in 0..10 {
                let some: Vec<EntryIx> =
                    all.iter().copied().filter(|_| draw.below(3) > 0).collect();
                assert_eq!(unpack(&pack(&graph, &some)), Ok(entries(&graph, &some)));
            }
            assert_eq!(unpack(&pack(&graph, &[])), Ok(Vec::new()));
        }
    }

    #[test]
    fn names_are_references_and_not_bytes() {
        let graph = sample::job(400, 5);
        let all: Vec<EntryIx> = graph.iter().collect();
        let packed = pack(&graph, &all);
        // What is in the pack is named by nobody in full, but as what a fork's branch starts from.
        let leaves = |ix| {
            let mut forks = graph.forks().iter();
            forks.any(|fork| graph.content(fork.other).prev == graph.hash(ix))
        };
        for &ix in all[1..].iter().filter(|&&ix| !leaves(ix)) {
            let hash = graph.hash(ix).0;
            assert!(!packed.windows(32).any(|at| at == hash), "{ix:?}");
        }
    }

    #[test]
    fn every_cut_and_every_changed_byte_is_refused_or_another_entry() {
        let graph = sample::job(16, 2);
        let all: Vec<EntryIx> = graph.iter().collect();
        let good = entries(&graph, &all);
        let packed = pack(&graph, &all);
        for cut in 0..packed.len() {
            assert!(unpack(&packed[..cut]).is_err(), "cut at {cut}");
        }
        let mut refused = 0;
        for at in 0..packed.len() {
            for flip in [1_u8, 0x80, 0xff] {
                let mut changed = packed.clone();
                changed[at] ^= flip;
                match unpack(&changed) {
                    Err(_) => refused += 1,
                    Ok(others) => {
                        assert_ne!(others, good, "byte {at}");
                        for entry in others {
                            assert_eq!(Entry::decode(entry.bytes.clone()), Ok(entry));
                        }
                    }
                }
            }
        }
        assert!(refused > 100, "{refused}");
    }

    #[test]
    fn random_bytes_are_refused() {
        for seed in 0..20_000 {
            let mut draw = Draw(seed);
            let mut bytes: Vec<u8> = (0..draw.below(300))
                .map(|_| u8::try_from(draw.below(if seed % 2 == 0 { 4 } else { 256 })).unwrap())
                .collect();
            if let Some(first) = bytes.first_mut() {
                *first = VERSION;
            }
            // A pack without entries is one; everything else needs more than luck.
            assert!(
                unpack(&bytes).is_ok_and(|some| !some.is_empty()).eq(&false),
                "seed {seed}"
            );
        }
    }

    #[test]
    fn large_entries_go_in_several_packs_and_claims_are_bounded() {
        let graph = sample::job(30, 9);
        let all: Vec<EntryIx> = graph.iter().collect();
        assert_eq!(fitting(&graph, &all), 30);
        assert_eq!(fitting(&graph, &[]), 0);
        let large = sample::large(100);
        let all: Vec<EntryIx> = large.iter().collect();
        let first = fitting(&large, &all);
        assert!((40..100).contains(&first), "{first}");
        let packed = pack(&large, &all[..first]);
        assert!(packed.len() <= MESSAGE_MAX_BYTES);
        assert_eq!(unpack(&packed).map(|some| some.len()), Ok(first));
        assert!(large.entry(all[1]).bytes.len() > ENTRY_MAX_BYTES / 2);

        let mut claims = vec![VERSION];
        claims.extend([0; 32]);
        claims.extend([0xff, 0xff, 0xff, 0x7f]);
        assert_eq!(
            unpack(&claims),
            Err(BadPack::TooMany { found: 0x0fff_ffff })
        );
        assert_eq!(unpack(&[9]), Err(BadPack::Version { found: 9 }));
    }
}
