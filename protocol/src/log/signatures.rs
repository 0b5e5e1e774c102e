//! Signatures: how are they made and checked, on a device and in a simulation?
//! Owns: nothing.   Gives: `Signatures`, and `Ed25519`, the only kind that a device has.
//! May use: ids.   Never: reads from bytes which kind they are: no peer and no file can choose.
//!
//! A simulator of crews signs and checks beacons all the time. So it may hand in another kind, by the functions
//! whose names say `simulated`. No other kind is written in this crate or in `node`, `node` names neither those
//! functions nor the trait (a test of the house rules looks), no cargo feature changes any of this, and neither
//! beacons, entries, messages nor files say of what kind a signature is.

use crate::ids::DeviceKey;
use crate::log::wire::SIGNATURE_BYTES;
use ed25519_zebra::{Signature, SigningKey, VerificationKeyBytes, batch};

/// A way to sign and to check.
pub trait Signatures: core::fmt::Debug + Sync {
    /// The signature of a message.
    fn sign(&self, key: &SigningKey, message: &[u8]) -> [u8; SIGNATURE_BYTES];

    /// Whether the device signed the message.
    fn is_good(
        &self,
        device: &DeviceKey,
        message: &[u8],
        signature: &[u8; SIGNATURE_BYTES],
    ) -> bool;
}

/// Ed25519 by ZIP 215: what every device uses.
#[derive(Clone, Copy, Debug)]
pub struct Ed25519;

impl Signatures for Ed25519 {
    fn sign(&self, key: &SigningKey, message: &[u8]) -> [u8; SIGNATURE_BYTES] {
        key.sign(message).to_bytes()
    }

    fn is_good(
        &self,
        device: &DeviceKey,
        message: &[u8],
        signature: &[u8; SIGNATURE_BYTES],
    ) -> bool {
        let item = batch::Item::from((
            VerificationKeyBytes::from(device.0),
            Signature::from(*signature),
            &message,
        ));
        item.verify_single().is_ok()
    }
}
