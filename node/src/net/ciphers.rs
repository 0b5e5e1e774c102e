//! Ciphers: what may a handshake agree on?
//! Owns: nothing.   Gives: `provider`.
//! May use: rustls, ring.   Never: a choice of the other side's that is not here.
//!
//! Only our own devices meet here, so there is nothing to be compatible with: TLS 1.3's three suites, one key
//! exchange, one kind of signature. What is not named is not in the program.

use rustls::crypto::ring::{cipher_suite, kx_group};
use rustls::crypto::{
    CryptoProvider, GetRandomFailed, KeyProvider, SecureRandom, WebPkiSupportedAlgorithms,
};
use rustls::pki_types::PrivateKeyDer;
use rustls::sign::SigningKey;
use rustls::{Error, SignatureScheme};
use std::sync::Arc;

/// Ed25519 alone.
const SIGNATURES: WebPkiSupportedAlgorithms = WebPkiSupportedAlgorithms {
    all: &[webpki::ring::ED25519],
    mapping: &[(SignatureScheme::ED25519, &[webpki::ring::ED25519])],
};

/// Suites, key exchange and signatures of every handshake.
pub(super) fn provider() -> CryptoProvider {
    CryptoProvider {
        cipher_suites: vec![
            // QUIC's first packets are under this one whatever is agreed on (RFC 9001, section 5.2).
            cipher_suite::TLS13_AES_128_GCM_SHA256,
            cipher_suite::TLS13_AES_256_GCM_SHA384,
            cipher_suite::TLS13_CHACHA20_POLY1305_SHA256,
        ],
        kx_groups: vec![kx_group::X25519],
        signature_verification_algorithms: SIGNATURES,
        secure_random: &System,
        key_provider: &System,
    }
}

/// The operating system's random numbers, and no keys from files.
#[derive(Debug)]
struct System;

impl SecureRandom for System {
    fn fill(&self, bytes: &mut [u8]) -> Result<(), GetRandomFailed> {
        getrandom::fill(bytes).map_err(|_| GetRandomFailed)
    }
}

impl KeyProvider for System {
    /// Nobody asks: a device's key comes as a value (`pin`).
    fn load_private_key(&self, _: PrivateKeyDer<'static>) -> Result<Arc<dyn SigningKey>, Error> {
        Err(Error::General(
            "keys are not loaded from files here; a device's key is given as a value".to_owned(),
        ))
    }
}
