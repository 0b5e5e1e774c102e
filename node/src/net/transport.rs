//! Transport: how does QUIC behave on a lossy radio?
//! Owns: nothing.   Gives: the settings of every connection and of the socket.
//! May use: quinn.   Never: keys other than to derive from; who is on the other side.

use super::code::STREAMS_MAX;
use quinn::congestion::{Controller, ControllerFactory};
use quinn::{AckFrequencyConfig, ConnectionId, EndpointConfig, TransportConfig, VarInt};
use quinn_proto::{ConnectionIdGenerator, InvalidCid};
use std::any::Any;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Bytes in flight on one link, whatever is lost. The usual control halves its window at each loss, and at 20 to
/// 30 % of radio loss ends at two packets, with a timer that doubles: seconds of silence after each outage.
/// A constant window recovers at once. It is unfair by design, so what is sent is bounded above this layer.
const WINDOW_BYTES: u64 = 64 * 1024;
/// Before the first measurement. Local radio; the library's own guess is 333 ms, and every lost packet of a
/// handshake waits a multiple of it.
const FIRST_ROUND_TRIP: Duration = Duration::from_millis(30);
/// A link that is silent for so long is dead. Shorter kills living links at 30 % loss. The smaller of both sides'
/// values counts, so all devices have the same.
const IDLE: Duration = Duration::from_secs(3);
/// A sign of life when there is nothing else to send.
const KEEP_ALIVE: Duration = Duration::from_millis(500);
/// Acknowledgements wait at most so long for company: repairs of lost messages start sooner.
const ACK_DELAY: Duration = Duration::from_millis(5);
/// Acknowledge at the latest after so many packets.
const ACK_AFTER_PACKETS: u32 = 10;
/// Datagrams that wait for room: some beacons and a stop. A late beacon is worse than none, the oldest goes.
const DATAGRAM_SEND_BUFFER_BYTES: usize = 8 * 1024;
/// Datagrams that wait to be read.
const DATAGRAM_RECEIVE_BUFFER_BYTES: usize = 64 * 1024;
/// Unread bytes of one stream. With the window above more would never be in flight.
const STREAM_RECEIVE_BYTES: u32 = 256 * 1024;
/// Bytes written and not yet acknowledged, over all streams of a link.
const SEND_BYTES: u64 = 1024 * 1024;
/// Handshake bytes kept before they can be used: bare keys make these a few hundred.
const CRYPTO_BUFFER_BYTES: usize = 8 * 1024;

/// Unread bytes of a connection whose other side is not known yet, or is a stranger.
const UNKNOWN_RECEIVE_BYTES: u32 = 32 * 1024;

/// The settings of an accepted connection: narrow until [`widen`], so that a stranger cannot make this device keep
/// what it will never read.
pub(super) fn accepting_settings() -> TransportConfig {
    let mut settings = settings();
    settings
        .receive_window(VarInt::from_u32(UNKNOWN_RECEIVE_BYTES))
        .max_concurrent_uni_streams(VarInt::from_u32(1));
    settings
}

/// Opens an accepted connection up for a device on the roster.
pub(super) fn widen(connection: &quinn::Connection) {
    connection.set_receive_window(VarInt::MAX);
    connection.set_max_concurrent_uni_streams(VarInt::from_u32(STREAMS_MAX));
}

/// The settings of a dialled connection: the other side is who was expected.
pub(super) fn settings() -> TransportConfig {
    let mut acks = AckFrequencyConfig::default();
    acks.ack_eliciting_threshold(VarInt::from_u32(ACK_AFTER_PACKETS))
        .max_ack_delay(Some(ACK_DELAY));
    let mut settings = TransportConfig::default();
    settings
        .congestion_controller_factory(Arc::new(FixedWindow))
        .initial_rtt(FIRST_ROUND_TRIP)
        .max_idle_timeout(Some(
            VarInt::from_u32(u32::try_from(IDLE.as_millis()).unwrap_or(3_000)).into(),
        ))
        .keep_alive_interval(Some(KEEP_ALIVE))
        .ack_frequency_config(Some(acks))
        .datagram_send_buffer_size(DATAGRAM_SEND_BUFFER_BYTES)
        .datagram_receive_buffer_size(Some(DATAGRAM_RECEIVE_BUFFER_BYTES))
        .stream_receive_window(VarInt::from_u32(STREAM_RECEIVE_BYTES))
        .receive_window(VarInt::MAX)
        .send_window(SEND_BYTES)
        .crypto_buffer_size(CRYPTO_BUFFER_BYTES)
        .max_concurrent_uni_streams(VarInt::from_u32(STREAMS_MAX))
        .max_concurrent_bidi_streams(VarInt::from_u32(1));
    settings
}

/// The settings of the socket. The reset key and the connection ids are the same over a restart of the device, so
/// that its new process can tell the peers of its old one that their links are gone, at once.
pub(super) fn socket_settings(key: &ed25519_zebra::SigningKey) -> EndpointConfig {
    let derive = |context: &str| blake3::derive_key(context, key.as_ref());
    let mut settings = EndpointConfig::new(Arc::new(ResetKey(derive(
        "gantline 2026-11 stateless reset of a device",
    ))));
    let ids = derive("gantline 2026-11 connection ids of a device");
    settings.cid_generator(move || Box::new(OwnIds { key: ids }));
    settings
}

/// A constant window; nothing happens on loss.
#[derive(Clone, Debug)]
struct FixedWindow;

impl ControllerFactory for FixedWindow {
    fn build(self: Arc<Self>, _now: Instant, _current_mtu: u16) -> Box<dyn Controller> {
        Box::new(Self)
    }
}

impl Controller for FixedWindow {
    fn on_congestion_event(
        &mut self,
        _now: Instant,
        _sent: Instant,
        _is_persistent_congestion: bool,
        _lost_bytes: u64,
    ) {
    }

    fn on_mtu_update(&mut self, _new_mtu: u16) {}

    fn window(&self) -> u64 {
        WINDOW_BYTES
    }

    fn clone_box(&self) -> Box<dyn Controller> {
        Box::new(self.clone())
    }

    fn initial_window(&self) -> u64 {
        WINDOW_BYTES
    }

    fn into_any(self: Box<Self>) -> Box<dyn Any> {
        self
    }
}

/// Makes the tokens by which a peer believes that a link is gone.
struct ResetKey([u8; 32]);

impl quinn::crypto::HmacKey for ResetKey {
    fn sign(&self, data: &[u8], signature_out: &mut [u8]) {
        blake3::Hasher::new_keyed(&self.0)
            .update(data)
            .finalize_xof()
            .fill(signature_out);
    }

    fn signature_len(&self) -> usize {
        32
    }

    fn verify(&self, data: &[u8], signature: &[u8]) -> Result<(), quinn::crypto::CryptoError> {
        let good = blake3::keyed_hash(&self.0, data);
        match <[u8; 32]>::try_from(signature) {
            // The comparison of hashes takes the same time wherever they differ.
            Ok(given) if good == given => Ok(()),
            _ => Err(quinn::crypto::CryptoError),
        }
    }
}

/// Connection ids: eight random bytes and six that only this device can make from them.
struct OwnIds {
    key: [u8; 32],
}

const ID_RANDOM_BYTES: usize = 8;
const ID_BYTES: usize = 14;

impl OwnIds {
    fn seal(&self, random: &[u8]) -> [u8; ID_BYTES - ID_RANDOM_BYTES] {
        let mut seal = [0; ID_BYTES - ID_RANDOM_BYTES];
        blake3::Hasher::new_keyed(&self.key)
            .update(random)
            .finalize_xof()
            .fill(&mut seal);
        seal
    }
}

impl ConnectionIdGenerator for OwnIds {
    fn generate_cid(&mut self) -> ConnectionId {
        let mut id = [0; ID_BYTES];
        // Was asked for at the start and worked then. Should it ever fail later, equal ids are refused by the
        // library's own table, and a handshake fails: no link, never a wrong one.
        let _ = getrandom::fill(&mut id[..ID_RANDOM_BYTES]);
        let seal = self.seal(&id[..ID_RANDOM_BYTES]);
        id[ID_RANDOM_BYTES..].copy_from_slice(&seal);
        ConnectionId::new(&id)
    }

    fn validate(&self, id: &ConnectionId) -> Result<(), InvalidCid> {
        match id.split_at_checked(ID_RANDOM_BYTES) {
            Some((random, seal)) if seal == self.seal(random) => Ok(()),
            _ => Err(InvalidCid),
        }
    }

    fn cid_len(&self) -> usize {
        ID_BYTES
    }

    fn cid_lifetime(&self) -> Option<Duration> {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use quinn::crypto::HmacKey;

    #[test]
    fn the_window_stays_on_loss() {
        let mut window = FixedWindow;
        let now = Instant::now();
        window.on_congestion_event(now, now, true, 1_000_000);
        assert_eq!(window.window(), WINDOW_BYTES);
    }

    #[test]
    fn own_ids_are_known_over_a_restart_and_others_are_not() {
        let mut before = OwnIds { key: [1; 32] };
        let after = OwnIds { key: [1; 32] };
        let other = OwnIds { key: [2; 32] };
        let id = before.generate_cid();
        assert!(after.validate(&id).is_ok());
        assert!(other.validate(&id).is_err());
        assert!(after.validate(&ConnectionId::new(&[0; ID_BYTES])).is_err());
        assert!(after.validate(&ConnectionId::new(&[])).is_err());
    }

    #[test]
    fn a_token_is_good_for_its_data_alone() {
        let key = ResetKey([3; 32]);
        let mut token = [0; 32];
        key.sign(b"data", &mut token);
        assert!(key.verify(b"data", &token).is_ok());
        assert!(key.verify(b"date", &token).is_err());
        assert!(key.verify(b"data", &token[..31]).is_err());
    }
}
