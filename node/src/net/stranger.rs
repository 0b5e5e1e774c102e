//! Stranger: how does a device off the roster say its one sentence?
//! Owns: how many strangers are heard at a time.   Gives: `ask`, and on the other side an event with the question.
//! May use: shared, frame.   Never: what was asked; whether it is granted.
//!
//! A connection of this kind carries one question and one answer. It opens nothing else, whoever shows its key on
//! it: a device on the roster that asks is treated like any other.

use super::code::{CloseCode, close};
use super::frame::{self, FrameError, HEADER_BYTES, Header, Kind};
use super::shared::Shared;
use super::tls::{ASK_PROTOCOL, Identity, SERVER_NAME};
use super::{AskId, NetError, NetEvent, dial, pin};
use gantline_protocol::bounds::MESSAGE_MAX_BYTES;
use gantline_protocol::ids::DeviceKey;
use quinn::{Connection, RecvStream, SendStream};
use std::collections::BTreeMap;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::Semaphore;

/// Longest question: a request to join, or a stop with the words of a person.
pub const QUESTION_MAX_BYTES: usize = 4 * 1024;
/// The device answers within this, or the question is closed.
pub const ANSWER_WITHIN: Duration = Duration::from_secs(10);
/// A question must be whole after so long.
const QUESTION_WITHIN: Duration = Duration::from_secs(3);
/// Strangers heard at a time.
const AT_A_TIME: usize = 32;
/// Questions that one address can put in a burst.
const BURST: f64 = 32.0;
/// And then each second.
const EACH_SECOND: f64 = 8.0;
/// Addresses whose questions are counted.
const ADDRESSES_MAX: usize = 256;

/// Why a question got no answer.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum AskError {
    /// Longer than a question may be.
    #[error("the question has {found} bytes, allowed are {QUESTION_MAX_BYTES}")]
    TooLong {
        /// How long.
        found: usize,
    },
    /// No answer in time: nobody there, or the device did not say anything.
    #[error("no answer from {address} in time; check the address and that a node runs there")]
    NoAnswer {
        /// Where.
        address: SocketAddr,
    },
    /// Another device than expected answered there.
    #[error("another device than the expected one answers at {address}")]
    WrongKey {
        /// Where.
        address: SocketAddr,
    },
    /// The node there closed the connection.
    #[error("the node at {address} closed the connection: {code:?}")]
    Closed {
        /// Where.
        address: SocketAddr,
        /// Why, if it said so.
        code: Option<CloseCode>,
    },
    /// The answer cannot be read.
    #[error("the answer from {address} cannot be read: {error}")]
    BadAnswer {
        /// Where.
        address: SocketAddr,
        /// Which flaw.
        error: FrameError,
    },
    /// The own side cannot ask: no socket, or no use of the key.
    #[error("this device cannot ask: {why}")]
    Own {
        /// What the system said.
        why: String,
    },
}

/// An answer, and who gave it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Answer {
    /// The key of the device, proved by the handshake.
    pub key: DeviceKey,
    /// What it said.
    pub bytes: Vec<u8>,
}

/// Puts one question to the node at an address, from a socket of its own, and waits for the answer.
/// `expected`: the only device that may answer; `None`: whoever is there, whose key is in the answer.
///
/// # Errors
/// [`AskError`].
pub async fn ask(
    key: &ed25519_zebra::SigningKey,
    address: SocketAddr,
    expected: Option<DeviceKey>,
    question: &[u8],
    within: Duration,
) -> Result<Answer, AskError> {
    if question.len() > QUESTION_MAX_BYTES {
        return Err(AskError::TooLong {
            found: question.len(),
        });
    }
    let own = |error: &dyn std::fmt::Display| AskError::Own {
        why: error.to_string(),
    };
    let any: IpAddr = match address {
        SocketAddr::V4(_) => Ipv4Addr::UNSPECIFIED.into(),
        SocketAddr::V6(_) => Ipv6Addr::UNSPECIFIED.into(),
    };
    let socket = std::net::UdpSocket::bind((any, 0)).map_err(|error| own(&error))?;
    let endpoint = quinn::Endpoint::new(
        quinn::EndpointConfig::default(),
        None,
        socket,
        Arc::new(quinn::TokioRuntime),
    )
    .map_err(|error| own(&error))?;
    let config = Identity::new(key)
        .and_then(|identity| identity.dialling(expected, ASK_PROTOCOL))
        .map_err(|error: NetError| own(&error))?;
    let connecting = endpoint
        .connect_with(config, address, SERVER_NAME)
        .map_err(|error| own(&error))?;
    let answered = tokio::time::timeout(within, exchange(connecting, address, question))
        .await
        .unwrap_or(Err(AskError::NoAnswer { address }));
    endpoint.close(CloseCode::Answered.number(), b"");
    // So that the other side hears that this one has gone; it would find out by itself.
    let _ = tokio::time::timeout(Duration::from_millis(300), endpoint.wait_idle()).await;
    answered
}

async fn exchange(
    connecting: quinn::Connecting,
    address: SocketAddr,
    question: &[u8],
) -> Result<Answer, AskError> {
    let ended = |error: quinn::ConnectionError| {
        if dial::is_wrong_key(&error) {
            AskError::WrongKey { address }
        } else if error == quinn::ConnectionError::TimedOut {
            AskError::NoAnswer { address }
        } else {
            let code = CloseCode::given(&error);
            AskError::Closed { address, code }
        }
    };
    let connection = connecting.await.map_err(ended)?;
    let lost = |unread: Unread| match unread {
        Unread::Bad(error) => AskError::BadAnswer { address, error },
        Unread::Ended => match connection.close_reason() {
            Some(reason) => ended(reason),
            None => AskError::Closed {
                address,
                code: None,
            },
        },
    };
    let key = pin::proved_key(&connection).ok_or(AskError::WrongKey { address })?;
    let (mut send, mut receive) = connection
        .open_bi()
        .await
        .map_err(|_| lost(Unread::Ended))?;
    write(&mut send, question)
        .await
        .ok_or_else(|| lost(Unread::Ended))?;
    let bytes = read(&mut receive, MESSAGE_MAX_BYTES).await.map_err(lost)?;
    Ok(Answer { key, bytes })
}

#[derive(Debug)]
enum Unread {
    Bad(FrameError),
    Ended,
}

async fn write(stream: &mut SendStream, bytes: &[u8]) -> Option<()> {
    let (header, body) = frame::frame(Kind::Message, bytes).ok()?;
    stream.write_all(&header).await.ok()?;
    stream.write_all(&body).await.ok()?;
    stream.finish().ok()
}

async fn read(stream: &mut RecvStream, allowed: usize) -> Result<Vec<u8>, Unread> {
    let mut header = [0; HEADER_BYTES];
    let cut = |error| match error {
        quinn::ReadExactError::ReadError(quinn::ReadError::ConnectionLost(_)) => Unread::Ended,
        _ => Unread::Bad(FrameError::Cut),
    };
    stream.read_exact(&mut header).await.map_err(cut)?;
    let header = Header::read(header).map_err(Unread::Bad)?;
    if header.kind != Kind::Message {
        return Err(Unread::Bad(FrameError::OutOfTurn));
    }
    if header.meant > allowed {
        return Err(Unread::Bad(FrameError::Oversized {
            found: header.meant,
            allowed,
        }));
    }
    let mut body = vec![0; header.sent];
    stream.read_exact(&mut body).await.map_err(cut)?;
    match stream.read(&mut [0]).await {
        Ok(None) => header.open(body).map_err(Unread::Bad),
        Ok(Some(_)) => Err(Unread::Bad(FrameError::Trailing)),
        Err(error) => Err(cut(quinn::ReadExactError::ReadError(error))),
    }
}

/// The strangers heard by one node.
#[derive(Debug)]
pub(super) struct Strangers {
    places: Semaphore,
    allowances: Mutex<BTreeMap<IpAddr, (f64, Instant)>>,
}

impl Default for Strangers {
    fn default() -> Self {
        Self {
            places: Semaphore::new(AT_A_TIME),
            allowances: Mutex::default(),
        }
    }
}

impl Strangers {
    /// Hears one question and gives the device's answer.
    pub(super) async fn serve(&self, shared: &Arc<Shared>, connection: Connection) {
        let ip = connection.remote_address().ip().to_canonical();
        let place = self.places.try_acquire();
        let (Ok(_place), true) = (place, self.may(ip, Instant::now())) else {
            close(&connection, CloseCode::Busy);
            return;
        };
        let code = hear(shared, &connection).await;
        close(&connection, code);
    }

    /// Takes one question off this address's allowance.
    fn may(&self, ip: IpAddr, now: Instant) -> bool {
        let mut allowances = self
            .allowances
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        let grown = |(left, since): (f64, Instant)| {
            let seconds = now.saturating_duration_since(since).as_secs_f64();
            (left + seconds * EACH_SECOND).min(BURST)
        };
        if allowances.len() >= ADDRESSES_MAX && !allowances.contains_key(&ip) {
            // Whoever has its whole allowance again need not be remembered.
            allowances.retain(|_, entry| grown(*entry) < BURST);
            if allowances.len() >= ADDRESSES_MAX {
                return false;
            }
        }
        let left = allowances.get(&ip).map_or(BURST, |entry| grown(*entry));
        let may = left >= 1.0;
        allowances.insert(ip, (if may { left - 1.0 } else { left }, now));
        may
    }
}

async fn hear(shared: &Arc<Shared>, connection: &Connection) -> CloseCode {
    let Some(key) = pin::proved_key(connection) else {
        return CloseCode::BadHello;
    };
    let question = tokio::time::timeout(QUESTION_WITHIN, async {
        let (send, mut receive) = connection.accept_bi().await.map_err(|_| Unread::Ended)?;
        let bytes = read(&mut receive, QUESTION_MAX_BYTES).await?;
        Ok((send, bytes))
    });
    let (mut send, bytes) = match question.await {
        Ok(Ok(question)) => question,
        Ok(Err(Unread::Bad(FrameError::Oversized { .. }))) => return CloseCode::Oversized,
        Ok(Err(Unread::Bad(_))) => return CloseCode::BadFrame,
        Ok(Err(Unread::Ended)) => return CloseCode::Answered,
        Err(_) => return CloseCode::TooSlow,
    };
    let ask = AskId(shared.next_id());
    let answer = shared.asked(ask);
    shared.tell(NetEvent::StrangerMessage {
        ask,
        key,
        from: super::book::usable(connection.remote_address())
            .unwrap_or_else(|| connection.remote_address()),
        bytes,
    });
    let answered = tokio::select! {
        answer = tokio::time::timeout(ANSWER_WITHIN, answer) => answer,
        _ = connection.closed() => {
            shared.unasked(ask);
            return CloseCode::Answered;
        }
    };
    let Ok(Ok(answer)) = answered else {
        shared.unasked(ask);
        return CloseCode::TooSlow;
    };
    let given = tokio::time::timeout(ANSWER_WITHIN, async {
        write(&mut send, &answer).await?;
        send.stopped().await.ok()
    });
    match given.await {
        Ok(_) => CloseCode::Answered,
        Err(_) => CloseCode::TooSlow,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_has_a_burst_and_then_a_rate() {
        let strangers = Strangers::default();
        let (one, other) = (IpAddr::from([10, 0, 0, 1]), IpAddr::from([10, 0, 0, 2]));
        let now = Instant::now();
        let granted = (0..100).filter(|_| strangers.may(one, now)).count();
        assert_eq!(granted, 32);
        assert!(strangers.may(other, now), "each address has its own");
        let later = now + Duration::from_secs(1);
        let granted = (0..100).filter(|_| strangers.may(one, later)).count();
        assert_eq!(granted, 8);
    }

    #[test]
    fn addresses_are_not_remembered_without_end() {
        let strangers = Strangers::default();
        let now = Instant::now();
        let many = |n: usize| IpAddr::from([10, 1, (n / 256) as u8, (n % 256) as u8]);
        let granted = (0..1_000).filter(|n| strangers.may(many(*n), now)).count();
        assert_eq!(granted, ADDRESSES_MAX);
        assert!(strangers.may(many(999), now + Duration::from_secs(1)));
    }
}
