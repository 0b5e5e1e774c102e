//! Signing: signatures for simulated crews only, much cheaper than real ones.
//! Owns: nothing.   Gives: `Simulated`, and `Signing`, the choice of a run.
//! May use: protocol's `Signatures`.   Never: a secret: anybody could make these, and in a simulation the only
//! liar is one of ours (`hostile`), who signs with no key but its own. A share of all runs uses real ones.

use ed25519_zebra::{SigningKey, VerificationKeyBytes};
use gantline_protocol::ids::DeviceKey;
use gantline_protocol::log::signatures::{Ed25519, Signatures};
use gantline_protocol::log::wire::SIGNATURE_BYTES;

/// Which signatures a run uses.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Signing {
    /// Those of the field.
    Real,
    /// [`Simulated`] ones.
    Simulated,
}

impl Signing {
    /// How they are made and checked.
    #[must_use]
    pub fn signatures(self) -> &'static dyn Signatures {
        match self {
            Self::Real => &Ed25519,
            Self::Simulated => &Simulated,
        }
    }
}

/// A mixture of the public key and the message.
#[derive(Clone, Copy, Debug)]
pub struct Simulated;

/// SplitMix64's odd constant and two more of its kind.
const ODD: [u64; 3] = [
    0x9e37_79b9_7f4a_7c15,
    0xbf58_476d_1ce4_e5b9,
    0x94d0_49bb_1331_11eb,
];

fn mixed(key: &[u8; 32], message: &[u8]) -> [u8; SIGNATURE_BYTES] {
    let (mut one, mut other) = (ODD[0], message.len() as u64);
    let mut take = |word: u64| {
        one = (one ^ word).wrapping_mul(ODD[1]).rotate_left(29);
        other = (other.wrapping_add(word) ^ one)
            .wrapping_mul(ODD[2])
            .rotate_left(31);
    };
    let (words, _) = key.as_chunks::<8>();
    for word in words {
        take(u64::from_le_bytes(*word));
    }
    let (words, rest) = message.as_chunks::<8>();
    for word in words {
        take(u64::from_le_bytes(*word));
    }
    let mut last = [0; 8];
    last[..rest.len()].copy_from_slice(rest);
    take(u64::from_le_bytes(last));
    let mut signature = [0; SIGNATURE_BYTES];
    let (words, _) = signature.as_chunks_mut::<8>();
    for word in words {
        one = (one ^ other).wrapping_mul(ODD[0]).rotate_left(27);
        other = other.wrapping_add(one).rotate_left(17);
        *word = one.to_le_bytes();
    }
    signature
}

impl Signatures for Simulated {
    fn sign(&self, key: &SigningKey, message: &[u8]) -> [u8; SIGNATURE_BYTES] {
        mixed(&VerificationKeyBytes::from(key).into(), message)
    }

    fn is_good(
        &self,
        device: &DeviceKey,
        message: &[u8],
        signature: &[u8; SIGNATURE_BYTES],
    ) -> bool {
        mixed(&device.0, message) == *signature
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_signer_the_message_and_the_kind_that_it_was_made_with_pass() {
        let key = SigningKey::from([7; 32]);
        let device = DeviceKey(VerificationKeyBytes::from(&key).into());
        let other = DeviceKey([9; 32]);
        let signature = Simulated.sign(&key, b"a message");
        assert!(Simulated.is_good(&device, b"a message", &signature));
        assert!(!Simulated.is_good(&other, b"a message", &signature));
        assert!(!Simulated.is_good(&device, b"a massage", &signature));
        assert!(!Simulated.is_good(&device, b"a message\0", &signature));
        // A device of the field takes none of them.
        assert!(!Ed25519.is_good(&device, b"a message", &signature));
        let real = Ed25519.sign(&key, b"a message");
        assert!(Ed25519.is_good(&device, b"a message", &real));
        assert!(!Simulated.is_good(&device, b"a message", &real));
    }
}
