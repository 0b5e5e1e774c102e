//! Tls: how is a handshake done?
//! Owns: nothing.   Gives: the two sides' settings.
//! May use: pin, ciphers.   Never: resumption, tickets or early data: a device struck off the roster would come back
//! unchecked by them.

use super::pin::Pinned;
use super::transport;
use super::{NetError, code};
use gantline_protocol::ids::DeviceKey;
use quinn::crypto::rustls::{QuicClientConfig, QuicServerConfig};
use rustls::client::Resumption;
use rustls::crypto::CryptoProvider;
use rustls::server::NoServerSessionStorage;
use rustls::sign::CertifiedKey;
use std::sync::Arc;

/// Names the kind of a connection in its handshake: a link between devices of one roster.
pub(super) const LINK_PROTOCOL: &[u8] = b"gantline-link/1";
/// Names the kind of a connection in its handshake: one question of a stranger.
pub(super) const ASK_PROTOCOL: &[u8] = b"gantline-ask/1";
/// Asked for by the interface and looked at by nobody: keys are the names here.
pub(super) const SERVER_NAME: &str = "gantline";

/// What both sides' settings are made from.
#[derive(Debug)]
pub(super) struct Identity {
    certified: Arc<CertifiedKey>,
    provider: Arc<CryptoProvider>,
}

impl Identity {
    /// From a device key.
    ///
    /// # Errors
    /// What the cipher provider says about the key.
    pub(super) fn new(key: &ed25519_zebra::SigningKey) -> Result<Self, NetError> {
        Ok(Self {
            certified: super::pin::certified(key)?,
            provider: Arc::new(super::ciphers::provider()),
        })
    }

    /// Settings of the accepting side: any key may come, and is classed after the handshake.
    ///
    /// # Errors
    /// What the TLS library says; none are known.
    pub(super) fn accepting(&self) -> Result<quinn::ServerConfig, NetError> {
        let mut tls = rustls::ServerConfig::builder_with_provider(self.provider.clone())
            .with_protocol_versions(&[&rustls::version::TLS13])?
            .with_client_cert_verifier(Pinned::new(None, self.provider.clone()))
            .with_cert_resolver(Arc::new(
                rustls::server::AlwaysResolvesServerRawPublicKeys::new(self.certified.clone()),
            ));
        tls.alpn_protocols = vec![LINK_PROTOCOL.to_vec(), ASK_PROTOCOL.to_vec()];
        tls.send_tls13_tickets = 0;
        tls.session_storage = Arc::new(NoServerSessionStorage {});
        tls.max_early_data_size = 0;
        let mut config =
            quinn::ServerConfig::with_crypto(Arc::new(QuicServerConfig::try_from(tls)?));
        config.transport_config(Arc::new(transport::accepting_settings()));
        // More than this many unanswered first packets are refused by the library itself.
        config.max_incoming(code::HANDSHAKES_MAX * 2);
        Ok(config)
    }

    /// Settings of the dialling side: for a link to exactly this device, or for one question to it (`None`:
    /// whoever answers there).
    ///
    /// # Errors
    /// What the TLS library says; none are known.
    pub(super) fn dialling(
        &self,
        expected: Option<DeviceKey>,
        protocol: &[u8],
    ) -> Result<quinn::ClientConfig, NetError> {
        let mut tls = rustls::ClientConfig::builder_with_provider(self.provider.clone())
            .with_protocol_versions(&[&rustls::version::TLS13])?
            .dangerous()
            .with_custom_certificate_verifier(Pinned::new(expected, self.provider.clone()))
            .with_client_cert_resolver(Arc::new(
                rustls::client::AlwaysResolvesClientRawPublicKeys::new(self.certified.clone()),
            ));
        tls.alpn_protocols = vec![protocol.to_vec()];
        tls.resumption = Resumption::disabled();
        tls.enable_early_data = false;
        let mut config = quinn::ClientConfig::new(Arc::new(QuicClientConfig::try_from(tls)?));
        config.transport_config(Arc::new(transport::settings()));
        config.token_store(Arc::new(quinn::NoneTokenStore));
        Ok(config)
    }
}

/// The kind that a finished handshake agreed on.
pub(super) fn agreed_protocol(connection: &quinn::Connection) -> Option<Vec<u8>> {
    connection
        .handshake_data()?
        .downcast::<quinn::crypto::rustls::HandshakeData>()
        .ok()?
        .protocol
}
