//! Net: bytes to and from other devices.
//! Owns: the socket, the links, the address book.   Gives: `Net`, `NetCommand`, `NetEvent`.
//! May use: protocol's ids and bounds.   Never: what the bytes say about the job.
//!
//! In reading order: `pin` whose key · `ciphers` what is agreed on · `tls` the handshake · `transport` settings of QUIC · `code` why a link
//! closes · `frame` bytes on a stream · `hello` first words · `book` addresses · `links` which link to keep ·
//! `dial` and `accept` how a link comes about · `link` its life · `stranger` devices off the roster ·
//! `discover` who is near · `interfaces` own addresses · `shared` the table of all this.
//!
//! A device is talked to only when its key is on the roster ([`NetCommand::Peers`]). Everyone else may put
//! one short question on a connection of its own kind (a request to join, a stop), and learns nothing but
//! that a node is there.

mod accept;
mod book;
mod ciphers;
mod code;
mod dial;
mod discover;
mod frame;
mod hello;
mod interfaces;
mod link;
mod links;
mod pin;
mod shared;
mod stranger;
#[cfg(test)]
mod tests;
mod tls;
mod transport;

pub use code::CloseCode;
pub use discover::{Found, look_around};
pub use frame::FrameError;
pub use link::LinkFault;
pub use stranger::{ANSWER_WITHIN, Answer, AskError, QUESTION_MAX_BYTES, ask};

#[cfg(doc)]
use gantline_protocol::bounds::{DATAGRAM_MAX_BYTES, MESSAGE_MAX_BYTES, PHOTO_MESSAGE_MAX_BYTES};
use gantline_protocol::ids::{DeviceKey, JobId};
use shared::Shared;
use std::net::SocketAddr;
use std::sync::Arc;
use tokio::sync::mpsc;

/// Version of what is said on a link before the protocol's own bytes; both sides need the same.
pub const LINK_VERSION: u16 = 2;

/// How to run the network of one device.
#[derive(Debug)]
pub struct Config {
    /// The device's key.
    pub key: ed25519_zebra::SigningKey,
    /// The job, once there is one: links to devices that are at another job are refused.
    pub job: Option<JobId>,
    /// Where to listen. `None`: all interfaces, both address families where the system has them, any port.
    pub listen: Option<SocketAddr>,
    /// Whether to announce this device, and look for others, by multicast DNS.
    pub discovery: bool,
}

/// Names one question of a stranger until it is answered.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct AskId(pub u64);

/// What the network is told.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum NetCommand {
    /// The keys that may be talked to from now on. Links of other keys are closed at once; new keys are
    /// dialled as soon as an address of theirs is known.
    Peers(Vec<DeviceKey>),
    /// Addresses of a device given by a person, read from a store, or from a plan. Added to those
    /// known, and tried before what was only told.
    KnownAddresses(DeviceKey, Vec<SocketAddr>),
    /// Send once, now or never: dropped when there is no link, or when the link has more to send than it can
    /// carry (then the oldest waiting goes), or when longer than
    /// [`DATAGRAM_MAX_BYTES`].
    Datagram {
        /// To whom.
        to: DeviceKey,
        /// At most [`DATAGRAM_MAX_BYTES`].
        bytes: Arc<[u8]>,
    },
    /// Send on a stream of its own. Dropped when there is no link. Never dropped while a link stands: a link
    /// whose queue is full is closed instead, so that both sides see it as a [`NetEvent::Down`].
    Message {
        /// To whom.
        to: DeviceKey,
        /// At most [`MESSAGE_MAX_BYTES`]; longer is dropped and told as a [`NetEvent::Fault`].
        bytes: Arc<[u8]>,
    },
    /// Send behind everything else, on a stream of its own. May be lost: dropped when there is no link, or when some are
    /// on their way already.
    Behind {
        /// To whom.
        to: DeviceKey,
        /// At most [`PHOTO_MESSAGE_MAX_BYTES`].
        bytes: Arc<[u8]>,
    },
    /// Answers a stranger's question. One that has gone, or timed out, is not an error.
    StrangerReply {
        /// Which question.
        ask: AskId,
        /// At most [`MESSAGE_MAX_BYTES`].
        bytes: Arc<[u8]>,
    },
    /// Close all links, stop listening and announcing.
    Shutdown,
}

/// What the network tells.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum NetEvent {
    /// A link to this device stands: its hello was read. A device that restarted while its old link still
    /// seemed to stand gives a `Down` first.
    Up(DeviceKey),
    /// The last link to this device is gone.
    Down(DeviceKey),
    /// A datagram from a device on the roster.
    Datagram {
        /// Whose link it came by.
        from: DeviceKey,
        /// At most [`DATAGRAM_MAX_BYTES`].
        bytes: Vec<u8>,
    },
    /// A whole message from a device on the roster. Messages of one device can come in any order.
    Message {
        /// Whose link it came by.
        from: DeviceKey,
        /// At most [`MESSAGE_MAX_BYTES`].
        bytes: Vec<u8>,
    },
    /// A whole message that went behind all others. Dropped when some wait already.
    Behind {
        /// Whose link it came by.
        from: DeviceKey,
        /// At most [`PHOTO_MESSAGE_MAX_BYTES`].
        bytes: Vec<u8>,
    },
    /// A question of a device on a connection of strangers; it may be on the roster all the same. To be
    /// answered with [`NetCommand::StrangerReply`] within [`ANSWER_WITHIN`].
    StrangerMessage {
        /// Names the question in the answer.
        ask: AskId,
        /// Its key, proved by the handshake.
        key: DeviceKey,
        /// Where it is.
        from: SocketAddr,
        /// At most [`QUESTION_MAX_BYTES`].
        bytes: Vec<u8>,
    },
    /// All addresses known of a device, after a change; worth keeping over a restart.
    Addresses(DeviceKey, Vec<SocketAddr>),
    /// The addresses at which this device can be dialled, at the start and after a change.
    OwnAddresses(Vec<SocketAddr>),
    /// No link stood and no announcement was heard for 5 s: the network may not carry multicast, so a person
    /// should give an address. Once for each such spell.
    NobodyHeard,
    /// Something went wrong on a link or a dial. For a person who looks for the cause; links are closed and
    /// dialled anew without anyone's help. Dropped when there are too many.
    Fault(LinkFault),
}

/// Why the network cannot run.
#[derive(Debug, thiserror::Error)]
pub enum NetError {
    /// The socket cannot be opened there.
    #[error("cannot listen on UDP address {address}: {source}; give another port or address")]
    Listen {
        /// Where.
        address: SocketAddr,
        /// What the system said.
        source: std::io::Error,
    },
    /// The system gives no random numbers.
    #[error("the system gives no random numbers: {0}")]
    Random(getrandom::Error),
    /// The device key cannot be used for TLS.
    #[error("the device key cannot be used for the handshake: {0}")]
    Key(#[from] rustls::Error),
    /// The cipher suite that starts every QUIC connection is missing from the build.
    #[error("the build lacks the cipher suite that every QUIC connection starts with")]
    NoInitialCipher(#[from] quinn::crypto::rustls::NoInitialCipherSuite),
}

/// The network of one device: where to put commands, and, in [`NetEvents`], what happens.
#[derive(Clone, Debug)]
pub struct Net {
    shared: Arc<Shared>,
}

/// What happens, in order. Holds back what has not been taken: see [`NetEvents::next`].
#[derive(Debug)]
pub struct NetEvents {
    queue: mpsc::UnboundedReceiver<shared::Queued>,
    shared: Arc<Shared>,
}

impl Net {
    /// Starts to listen. Needs a tokio runtime with time and IO; tasks run there until [`NetCommand::Shutdown`]
    /// or until [`NetEvents`] is dropped. Talks to nobody before [`NetCommand::Peers`].
    ///
    /// # Errors
    /// [`NetError`].
    pub async fn start(config: Config) -> Result<(Self, NetEvents), NetError> {
        let identity = tls::Identity::new(&config.key)?;
        let mut run = [0; 8];
        getrandom::fill(&mut run).map_err(NetError::Random)?;
        let socket = listen(config.listen)?;
        let failed = |source| NetError::Listen {
            address: config.listen.unwrap_or(ANY_V4),
            source,
        };
        let address = socket.local_addr().map_err(failed)?;
        let endpoint = quinn::Endpoint::new(
            transport::socket_settings(&config.key),
            Some(identity.accepting()?),
            socket,
            Arc::new(quinn::TokioRuntime),
        )
        .map_err(failed)?;
        let (events, queue) = mpsc::unbounded_channel();
        let shared = Arc::new(Shared::new(
            pin::device_key(&config.key),
            config.job,
            identity,
            endpoint,
            address,
            u64::from_le_bytes(run),
            config.discovery,
            events,
        ));
        tokio::spawn(accept::accept_all(shared.clone()));
        let watch = tokio::spawn(interfaces::watch(shared.clone()));
        shared.owns_task(watch.abort_handle());
        if config.discovery {
            discover::start(&shared);
        }
        let net = Self {
            shared: shared.clone(),
        };
        Ok((net, NetEvents { queue, shared }))
    }

    /// Carries out a command at once. Never waits: what does not fit is dropped, or closes its link, as the
    /// command's description says.
    pub fn command(&self, command: NetCommand) {
        self.shared.command(command);
    }

    /// The own key.
    #[must_use]
    pub fn key(&self) -> DeviceKey {
        self.shared.own
    }

    /// Where the socket listens; the address part is unspecified when that is everywhere.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.shared.address
    }

    /// Stops, and waits a moment for the others to hear of it.
    pub async fn stop(self) {
        self.shared.shutdown();
        let idle = self.shared.endpoint.wait_idle();
        let _ = tokio::time::timeout(std::time::Duration::from_millis(500), idle).await;
    }
}

impl NetEvents {
    /// The next event; `None` after the network stopped. May be given up and called again without loss.
    ///
    /// A device that does not take its events is not flooded: datagrams beyond a thousand are dropped, and each
    /// link stops reading when 16 MiB of its messages wait, so that its peer slows down.
    pub async fn next(&mut self) -> Option<NetEvent> {
        self.queue.recv().await?.event
    }

    /// The next event, if one waits.
    pub fn try_next(&mut self) -> Option<NetEvent> {
        self.queue.try_recv().ok()?.event
    }
}

impl Drop for NetEvents {
    fn drop(&mut self) {
        // Nobody listens any more: without its end the network would run on for nobody.
        self.shared.shutdown();
    }
}

const ANY_V4: SocketAddr =
    SocketAddr::new(std::net::IpAddr::V4(std::net::Ipv4Addr::UNSPECIFIED), 0);
const ANY_V6: SocketAddr =
    SocketAddr::new(std::net::IpAddr::V6(std::net::Ipv6Addr::UNSPECIFIED), 0);

fn listen(address: Option<SocketAddr>) -> Result<std::net::UdpSocket, NetError> {
    let bind = |address| {
        std::net::UdpSocket::bind(address).map_err(|source| NetError::Listen { address, source })
    };
    match address {
        Some(address) => bind(address),
        // A version 6 socket carries version 4 too, where the system has version 6 at all.
        None => bind(ANY_V6).or_else(|_| bind(ANY_V4)),
    }
}
