//! Trace: the hash of everything that happened in a run.
//! Owns: four words.   Gives: a value that is equal for equal runs.
//! May use: nothing.   Never: anything that memory addresses decide.
//!
//! It compares a run with itself, never with an adversary's: mixing by multiplication is enough, and costs a
//! small part of what a cryptographic hash of every datagram would.

use gantline_protocol::ids::EntryHash;

/// SplitMix64's odd constant and two more of its kind.
const ODD: [u64; 2] = [0x9e37_79b9_7f4a_7c15, 0xbf58_476d_1ce4_e5b9];

/// The running hash.
#[derive(Clone, Debug, Default)]
pub(super) struct Trace([u64; 2], u64);

impl Trace {
    /// Takes in a number.
    pub(super) fn number(&mut self, word: u64) {
        let [one, other] = &mut self.0;
        *one = (*one ^ word).wrapping_mul(ODD[0]).rotate_left(29);
        *other = (other.wrapping_add(word) ^ *one)
            .wrapping_mul(ODD[1])
            .rotate_left(31);
        self.1 += 1;
    }

    /// Takes in the length, the first and the last bytes.
    pub(super) fn ends(&mut self, bytes: &[u8]) {
        let first = bytes.get(..40).unwrap_or(bytes);
        let last = bytes.get(bytes.len().saturating_sub(64)..).unwrap_or(bytes);
        self.number(bytes.len() as u64);
        self.bytes(first);
        self.bytes(last);
    }

    /// Takes in bytes, all of them.
    pub(super) fn bytes(&mut self, bytes: &[u8]) {
        self.number(bytes.len() as u64);
        let (words, rest) = bytes.as_chunks::<8>();
        for word in words {
            self.number(u64::from_le_bytes(*word));
        }
        let mut last = [0; 8];
        last[..rest.len()].copy_from_slice(rest);
        self.number(u64::from_le_bytes(last));
    }

    /// The hash so far.
    pub(super) fn hash(&self) -> EntryHash {
        let mut hash = [0; 32];
        let (words, _) = hash.as_chunks_mut::<8>();
        for (word, value) in words.iter_mut().zip([self.0[0], self.0[1], self.1, ODD[0]]) {
            *word = value.to_le_bytes();
        }
        EntryHash(hash)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(parts: &[&[u8]]) -> EntryHash {
        let mut trace = Trace::default();
        for part in parts {
            trace.bytes(part);
        }
        trace.hash()
    }

    #[test]
    fn every_byte_every_length_and_the_order_change_it() {
        let base = of(&[b"nine bytes", b"more"]);
        assert_eq!(base, of(&[b"nine bytes", b"more"]));
        assert_ne!(base, of(&[b"more", b"nine bytes"]));
        assert_ne!(base, of(&[b"nine bytesm", b"ore"]));
        assert_ne!(base, of(&[b"nine bytez", b"more"]));
        assert_ne!(of(&[b"a"]), of(&[b"a\0"]));
    }
}
