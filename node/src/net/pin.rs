//! Pin: whose key is it?
//! Owns: nothing.   Gives: the TLS form of a device key, and the checks of the key on the other side.
//! May use: protocol's ids, rustls.   Never: the roster; who may do what (accept, shared).
//!
//! A device shows its bare public key (RFC 7250), no certificate: there is no authority in the field that could
//! vouch for one, the roster is the authority. The handshake's signature proves that the device has the secret
//! half.

use gantline_protocol::ids::DeviceKey;
use gantline_protocol::log::sign::is_weak;
use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::{CryptoProvider, verify_tls13_signature_with_raw_key};
use rustls::pki_types::{
    CertificateDer, PrivatePkcs8KeyDer, ServerName, SubjectPublicKeyInfoDer, UnixTime,
};
use rustls::server::danger::{ClientCertVerified, ClientCertVerifier};
use rustls::sign::CertifiedKey;
use rustls::{
    CertificateError, DigitallySignedStruct, DistinguishedName, Error, PeerIncompatible,
    SignatureScheme,
};
use std::sync::Arc;

/// What precedes the 32 bytes of an Ed25519 public key in its SubjectPublicKeyInfo (RFC 8410, section 4).
const PUBLIC_PREFIX: [u8; 12] = [
    0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00,
];
/// What precedes the 32 bytes of an Ed25519 seed in PKCS#8 version 1 (RFC 8410, section 7).
const SECRET_PREFIX: [u8; 16] = [
    0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20,
];

/// The public key of a signing key.
pub(super) fn device_key(key: &ed25519_zebra::SigningKey) -> DeviceKey {
    DeviceKey(ed25519_zebra::VerificationKeyBytes::from(key).into())
}

/// The TLS form of the own key: what is shown, and what signs.
///
/// # Errors
/// What the cipher provider says about the key; none are known for a 32 byte seed.
pub(super) fn certified(key: &ed25519_zebra::SigningKey) -> Result<Arc<CertifiedKey>, Error> {
    let mut secret = SECRET_PREFIX.to_vec();
    secret.extend_from_slice(key.as_ref());
    let signer = rustls::crypto::ring::sign::any_eddsa_type(&PrivatePkcs8KeyDer::from(secret))?;
    let shown = CertificateDer::from(public_info(&device_key(key)));
    Ok(Arc::new(CertifiedKey::new(vec![shown], signer)))
}

fn public_info(key: &DeviceKey) -> Vec<u8> {
    let mut bytes = PUBLIC_PREFIX.to_vec();
    bytes.extend_from_slice(&key.0);
    bytes
}

/// The key that a device showed, if it is an Ed25519 key at all.
pub(super) fn shown_key(public_info: &[u8]) -> Option<DeviceKey> {
    let key = public_info.strip_prefix(&PUBLIC_PREFIX)?;
    Some(DeviceKey(key.try_into().ok()?))
}

/// The key that the other side of a connection proved in its handshake.
pub(super) fn proved_key(connection: &quinn::Connection) -> Option<DeviceKey> {
    let shown = connection
        .peer_identity()?
        .downcast::<Vec<CertificateDer<'static>>>()
        .ok()?;
    match shown.as_slice() {
        [only] => shown_key(only),
        _ => None,
    }
}

/// Checks the key on the other side: the one expected there, or, for whoever is met for the first time, any.
#[derive(Debug)]
pub(super) struct Pinned {
    expected: Option<DeviceKey>,
    provider: Arc<CryptoProvider>,
}

impl Pinned {
    /// `expected`: the only key that will do; `None`: any, to be classed after the handshake.
    pub(super) fn new(expected: Option<DeviceKey>, provider: Arc<CryptoProvider>) -> Arc<Self> {
        Arc::new(Self { expected, provider })
    }

    fn check(&self, shown: &CertificateDer<'_>, more: &[CertificateDer<'_>]) -> Result<(), Error> {
        let key =
            shown_key(shown).ok_or(Error::InvalidCertificate(CertificateError::BadEncoding))?;
        if !more.is_empty() || is_weak(&key) {
            return Err(Error::InvalidCertificate(CertificateError::BadEncoding));
        }
        match self.expected {
            Some(expected) if expected != key => Err(Error::InvalidCertificate(
                CertificateError::ApplicationVerificationFailure,
            )),
            _ => Ok(()),
        }
    }

    fn check_signature(
        &self,
        message: &[u8],
        shown: &CertificateDer<'_>,
        signature: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        verify_tls13_signature_with_raw_key(
            message,
            &SubjectPublicKeyInfoDer::from(shown.as_ref()),
            signature,
            &self.provider.signature_verification_algorithms,
        )
    }
}

/// Old versions of TLS are not spoken.
fn no_tls12() -> Error {
    Error::PeerIncompatible(PeerIncompatible::Tls12NotOffered)
}

impl ServerCertVerifier for Pinned {
    fn verify_server_cert(
        &self,
        end_entity: &CertificateDer<'_>,
        intermediates: &[CertificateDer<'_>],
        _server_name: &ServerName<'_>,
        _ocsp_response: &[u8],
        _now: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        self.check(end_entity, intermediates)
            .map(|()| ServerCertVerified::assertion())
    }

    fn verify_tls12_signature(
        &self,
        _message: &[u8],
        _cert: &CertificateDer<'_>,
        _dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        Err(no_tls12())
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        self.check_signature(message, cert, dss)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        vec![SignatureScheme::ED25519]
    }

    fn requires_raw_public_keys(&self) -> bool {
        true
    }
}

impl ClientCertVerifier for Pinned {
    fn root_hint_subjects(&self) -> &[DistinguishedName] {
        &[]
    }

    fn verify_client_cert(
        &self,
        end_entity: &CertificateDer<'_>,
        intermediates: &[CertificateDer<'_>],
        _now: UnixTime,
    ) -> Result<ClientCertVerified, Error> {
        self.check(end_entity, intermediates)
            .map(|()| ClientCertVerified::assertion())
    }

    fn verify_tls12_signature(
        &self,
        _message: &[u8],
        _cert: &CertificateDer<'_>,
        _dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        Err(no_tls12())
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        self.check_signature(message, cert, dss)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        vec![SignatureScheme::ED25519]
    }

    fn requires_raw_public_keys(&self) -> bool {
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_own_key_comes_back_from_its_tls_form() {
        let key = ed25519_zebra::SigningKey::from([7; 32]);
        let shown = certified(&key)
            .ok()
            .and_then(|form| form.cert.first().cloned());
        assert_eq!(
            shown.and_then(|bytes| shown_key(&bytes)),
            Some(device_key(&key))
        );
    }

    #[test]
    fn other_forms_are_no_keys() {
        let good = public_info(&DeviceKey([9; 32]));
        assert_eq!(shown_key(&good), Some(DeviceKey([9; 32])));
        for cut in 0..good.len() {
            assert_eq!(shown_key(&good[..cut]), None, "cut at {cut}");
        }
        let mut long = good.clone();
        long.push(0);
        assert_eq!(shown_key(&long), None);
        let mut other_curve = good;
        other_curve[8] = 0x6e; // X25519
        assert_eq!(shown_key(&other_curve), None);
    }

    #[test]
    fn only_the_expected_key_will_do() {
        let provider = Arc::new(crate::net::ciphers::provider());
        let real = |seed| device_key(&ed25519_zebra::SigningKey::from([seed; 32]));
        let (here, there) = (real(1), real(2));
        let shown = CertificateDer::from(public_info(&there));
        let strict = Pinned::new(Some(here), provider.clone());
        assert_eq!(
            strict.check(&shown, &[]),
            Err(Error::InvalidCertificate(
                CertificateError::ApplicationVerificationFailure
            ))
        );
        let matching = Pinned::new(Some(there), provider.clone());
        assert_eq!(matching.check(&shown, &[]), Ok(()));
        let any = Pinned::new(None, provider);
        assert_eq!(any.check(&shown, &[]), Ok(()));
        assert!(any.check(&shown, std::slice::from_ref(&shown)).is_err());
        let mut neutral = DeviceKey([0; 32]);
        neutral.0[0] = 1;
        let weak = CertificateDer::from(public_info(&neutral));
        assert!(
            any.check(&weak, &[]).is_err(),
            "a signature under it proves nothing"
        );
    }
}
