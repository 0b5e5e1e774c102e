//! Link: one connection between two devices of a roster, from its first words to its end.
//! Owns: what is under way on it.   Gives: `Link` to send on, events for what comes in.
//! May use: frame, hello, shared.   Never: what a message says.

use super::code::{
    BEHIND_MAX, CloseCode, INCOMING_MAX_BYTES, MESSAGE_OVERHEAD_BYTES, OUTGOING_MAX,
    OUTGOING_MAX_BYTES, close,
};
use super::frame::{self, FrameError, HEADER_BYTES, Header, Kind};
use super::hello::{Hello, News};
use super::links::Held;
use super::shared::Shared;
use super::{CloseCode as Code, NetEvent};
use gantline_protocol::bounds::{DATAGRAM_MAX_BYTES, MESSAGE_MAX_BYTES};
use gantline_protocol::ids::DeviceKey;
use quinn::{Connection, RecvStream};
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use tokio::sync::Semaphore;
use tokio::task::JoinSet;

/// A message that began must be there whole after so long: enough for the longest at 150 kB/s.
const MESSAGE_WITHIN: Duration = Duration::from_secs(30);

/// What went wrong on a link, or on the way to one.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum LinkFault {
    /// A frame of this device is none; the link was closed.
    #[error("device {peer} sent a bad frame, its link was closed: {error}")]
    Frame {
        /// Whose.
        peer: DeviceKey,
        /// Which flaw.
        error: FrameError,
    },
    /// A datagram of this device is longer than any may be; the link was closed.
    #[error("device {peer} sent a datagram of {found} bytes, its link was closed")]
    Datagram {
        /// Whose.
        peer: DeviceKey,
        /// How long.
        found: usize,
    },
    /// A message of this device did not come to its end in time; the link was closed.
    #[error("a message of device {peer} did not come to its end, its link was closed")]
    TooSlow {
        /// Whose.
        peer: DeviceKey,
    },
    /// The hello of this device will not do; no link.
    #[error("no link to device {peer} at {address}: its hello will not do ({code:?})")]
    Hello {
        /// Whose.
        peer: DeviceKey,
        /// Where.
        address: SocketAddr,
        /// Why.
        code: CloseCode,
    },
    /// Another device than this one answered; no link.
    #[error("another device than {peer} answers at {address}")]
    WrongKey {
        /// Who was expected.
        peer: DeviceKey,
        /// Where.
        address: SocketAddr,
    },
    /// The device refused the link.
    #[error("device {peer} at {address} refused the link ({code:?})")]
    Refused {
        /// Who.
        peer: DeviceKey,
        /// Where.
        address: SocketAddr,
        /// Why.
        code: CloseCode,
    },
    /// A device off the roster wanted a link; it got none.
    #[error("device {key} at {address} is not on the roster and wanted a link")]
    OffRoster {
        /// Who.
        key: DeviceKey,
        /// Where.
        address: SocketAddr,
    },
    /// More was to be sent to this device than the link could carry; the link was closed.
    #[error("more is to be sent to device {peer} than its link can carry, the link was closed")]
    Behind {
        /// To whom.
        peer: DeviceKey,
    },
    /// The own device wanted to send a message longer than any may be; it was dropped.
    #[error("a message of {found} bytes to device {peer} is longer than allowed and was dropped")]
    MessageTooLong {
        /// To whom.
        peer: DeviceKey,
        /// How long.
        found: usize,
    },
}

/// A link to send on. Cheap to clone.
#[derive(Clone, Debug)]
pub(super) struct Link {
    /// The connection.
    pub(super) connection: Connection,
    peer: DeviceKey,
    runtime: tokio::runtime::Handle,
    under_way: Arc<UnderWay>,
}

#[derive(Debug)]
struct UnderWay {
    messages: AtomicUsize,
    bytes: AtomicUsize,
    /// Those that may be lost.
    behind: Arc<Semaphore>,
}

impl Default for UnderWay {
    fn default() -> Self {
        Self {
            messages: AtomicUsize::new(0),
            bytes: AtomicUsize::new(0),
            behind: Arc::new(Semaphore::new(BEHIND_MAX)),
        }
    }
}

/// Counts a message as under way until dropped.
struct Underway(Arc<UnderWay>, usize);

impl Underway {
    fn start(of: &Arc<UnderWay>, bytes: usize) -> Option<Self> {
        let messages = of.messages.fetch_add(1, Ordering::Relaxed) + 1;
        let total = of.bytes.fetch_add(bytes, Ordering::Relaxed) + bytes;
        let this = Self(of.clone(), bytes);
        (messages <= OUTGOING_MAX && total <= OUTGOING_MAX_BYTES).then_some(this)
    }
}

impl Drop for Underway {
    fn drop(&mut self) {
        self.0.messages.fetch_sub(1, Ordering::Relaxed);
        self.0.bytes.fetch_sub(self.1, Ordering::Relaxed);
    }
}

impl Link {
    /// Sends now or never.
    pub(super) fn send_datagram(&self, bytes: &[u8]) {
        // Lost is lost: the reasons (closed, path too narrow) are those of any radio.
        let _ = self.connection.send_datagram(bytes.to_vec().into());
    }

    /// Starts to send a message on a stream of its own.
    ///
    /// # Errors
    /// [`LinkFault::MessageTooLong`]: dropped. [`LinkFault::Behind`]: the link was closed.
    pub(super) fn send_message(&self, bytes: Arc<[u8]>) -> Result<(), LinkFault> {
        if bytes.len() > MESSAGE_MAX_BYTES {
            return Err(LinkFault::MessageTooLong {
                peer: self.peer,
                found: bytes.len(),
            });
        }
        let Some(underway) = Underway::start(&self.under_way, bytes.len()) else {
            close(&self.connection, Code::Behind);
            return Err(LinkFault::Behind { peer: self.peer });
        };
        let connection = self.connection.clone();
        self.runtime.spawn(async move {
            // A failure here is the end of the connection, which its own task sees.
            let _ = send(&connection, Kind::Message, bytes).await;
            drop(underway);
        });
        Ok(())
    }

    /// Starts to send a message behind all others; dropped when some are under way already.
    pub(super) fn send_behind(&self, bytes: Arc<[u8]>) {
        let Ok(underway) = self.under_way.behind.clone().try_acquire_owned() else {
            return;
        };
        let connection = self.connection.clone();
        self.runtime.spawn(async move {
            let _ = send(&connection, Kind::Behind, bytes).await;
            drop(underway);
        });
    }

    /// Tells addresses.
    pub(super) fn send_news(&self, news: &News) {
        let connection = self.connection.clone();
        let bytes: Arc<[u8]> = news.write().into();
        self.runtime.spawn(async move {
            let _ = send(&connection, Kind::News, bytes).await;
        });
    }
}

/// Sends one frame on a stream of its own, and waits until the other side has all of it.
async fn send(connection: &Connection, kind: Kind, bytes: Arc<[u8]>) -> Option<()> {
    let mut stream = connection.open_uni().await.ok()?;
    let length = bytes.len();
    let _ = stream.set_priority(kind.priority(length));
    let work = move || {
        let (header, body) = frame::frame(kind, &bytes).ok()?;
        Some((header, body.into_owned()))
    };
    let (header, body) = if frame::is_long_work(length) {
        tokio::task::spawn_blocking(work).await.ok()??
    } else {
        work()?
    };
    let mut parts = [header.to_vec().into(), body.into()];
    stream.write_all_chunks(&mut parts).await.ok()?;
    stream.finish().ok()?;
    // Until then it counts as under way.
    stream.stopped().await.ok()?;
    Some(())
}

/// Why a frame was not read.
#[derive(Debug)]
enum Unread {
    /// It is none.
    Bad(FrameError),
    /// It did not come in time.
    TooSlow,
    /// The connection ended meanwhile.
    Ended,
}

/// Reads the bytes of one frame; nothing is kept that the header did not allow.
async fn read_header(stream: &mut RecvStream) -> Result<Header, Unread> {
    let mut header = [0; HEADER_BYTES];
    stream.read_exact(&mut header).await.map_err(cut)?;
    Header::read(header).map_err(Unread::Bad)
}

async fn read_body(stream: &mut RecvStream, header: Header) -> Result<Vec<u8>, Unread> {
    let mut body = vec![0; header.sent];
    stream.read_exact(&mut body).await.map_err(cut)?;
    match stream.read(&mut [0]).await {
        Ok(None) => {}
        Ok(Some(_)) => return Err(Unread::Bad(FrameError::Trailing)),
        Err(error) => return Err(cut(quinn::ReadExactError::ReadError(error))),
    }
    let opened = if frame::is_long_work(header.meant) {
        tokio::task::spawn_blocking(move || header.open(body))
            .await
            .map_err(|_| Unread::Ended)?
    } else {
        header.open(body)
    };
    opened.map_err(Unread::Bad)
}

fn cut(error: quinn::ReadExactError) -> Unread {
    match error {
        quinn::ReadExactError::ReadError(quinn::ReadError::ConnectionLost(_)) => Unread::Ended,
        _ => Unread::Bad(FrameError::Cut),
    }
}

/// Says the own hello. The stream stays the first of its side, so it is read first.
pub(super) async fn say_hello(connection: &Connection, hello: &Hello) -> Option<()> {
    let mut stream = connection.open_uni().await.ok()?;
    let bytes = hello.write();
    let (header, body) = frame::frame(Kind::Hello, &bytes).ok()?;
    stream.write_all(&header).await.ok()?;
    stream.write_all(&body).await.ok()?;
    stream.finish().ok()
}

/// Reads the other side's hello.
///
/// # Errors
/// The reason to close for; `None`: the connection ended, with a reason of the other side's.
pub(super) async fn read_hello(
    connection: &Connection,
    shared: &Shared,
) -> Result<Hello, Option<CloseCode>> {
    let read = async {
        let mut stream = connection.accept_uni().await.map_err(|_| Unread::Ended)?;
        let header = read_header(&mut stream).await?;
        if header.kind != Kind::Hello {
            return Err(Unread::Bad(FrameError::OutOfTurn));
        }
        read_body(&mut stream, header).await
    };
    match read.await {
        Ok(bytes) => Hello::read(&bytes, shared.own, shared.job).map_err(Some),
        Err(Unread::Bad(FrameError::Oversized { .. })) => Err(Some(CloseCode::Oversized)),
        Err(Unread::Bad(_)) => Err(Some(CloseCode::BadHello)),
        Err(Unread::TooSlow) => Err(Some(CloseCode::TooSlow)),
        Err(Unread::Ended) => Err(None),
    }
}

/// Counts a connection as a link, and reads from it until it ends. Returns at once; `false`: the device is off the
/// roster by now, and the connection was closed.
pub(super) fn stand(
    shared: &Arc<Shared>,
    peer: DeviceKey,
    connection: Connection,
    dialled: bool,
    hello: &Hello,
) -> bool {
    let id = shared.next_id();
    let link = Link {
        connection: connection.clone(),
        peer,
        runtime: shared.runtime.clone(),
        under_way: Arc::default(),
    };
    let held = Held {
        id,
        dialled,
        run: hello.run,
        since: Instant::now(),
        connection: link,
    };
    if !shared.add_link(peer, held, hello) {
        close(&connection, CloseCode::OffRoster);
        return false;
    }
    let shared = shared.clone();
    shared.runtime.clone().spawn(async move {
        read_all(&shared, peer, &connection).await;
        shared.remove_link(peer, id);
    });
    true
}

/// Reads until the connection ends, or has to be ended for what came.
async fn read_all(shared: &Arc<Shared>, peer: DeviceKey, connection: &Connection) {
    let room = Room {
        messages: Arc::new(Semaphore::new(INCOMING_MAX_BYTES)),
        behind: Arc::new(Semaphore::new(BEHIND_MAX)),
    };
    let mut reading = JoinSet::new();
    loop {
        tokio::select! {
            datagram = connection.read_datagram() => match datagram {
                Ok(bytes) if bytes.len() <= DATAGRAM_MAX_BYTES => {
                    shared.tell_if_room(NetEvent::Datagram { from: peer, bytes: bytes.to_vec() });
                }
                Ok(bytes) => {
                    close(connection, CloseCode::Oversized);
                    shared.fault(LinkFault::Datagram { peer, found: bytes.len() });
                    return;
                }
                Err(_) => return,
            },
            stream = connection.accept_uni() => match stream {
                Ok(stream) => {
                    let message = read_message(shared.clone(), peer, stream, room.clone());
                    reading.spawn(async move {
                        tokio::time::timeout(MESSAGE_WITHIN, message)
                            .await
                            .unwrap_or(Err(Unread::TooSlow))
                    });
                }
                Err(_) => return,
            },
            Some(read) = reading.join_next() => {
                let (code, fault) = match read {
                    Ok(Err(Unread::Bad(error))) => {
                        let code = match error {
                            FrameError::Oversized { .. } => CloseCode::Oversized,
                            _ => CloseCode::BadFrame,
                        };
                        (code, LinkFault::Frame { peer, error })
                    }
                    Ok(Err(Unread::TooSlow)) => (CloseCode::TooSlow, LinkFault::TooSlow { peer }),
                    Ok(Ok(()) | Err(Unread::Ended)) | Err(_) => continue,
                };
                close(connection, code);
                shared.fault(fault);
                return;
            }
        }
    }
}

/// What may be read of one link before the device takes it.
#[derive(Clone)]
struct Room {
    messages: Arc<Semaphore>,
    behind: Arc<Semaphore>,
}

async fn read_message(
    shared: Arc<Shared>,
    peer: DeviceKey,
    mut stream: RecvStream,
    room: Room,
) -> Result<(), Unread> {
    let header = read_header(&mut stream).await?;
    match header.kind {
        Kind::Hello => Err(Unread::Bad(FrameError::OutOfTurn)),
        Kind::News => {
            let bytes = read_body(&mut stream, header).await?;
            match News::read(&bytes) {
                Some(news) => {
                    shared.news(&news.known);
                    Ok(())
                }
                None => Err(Unread::Bad(FrameError::OutOfTurn)),
            }
        }
        Kind::Message => {
            // While the device is behind, streams wait here unread and the peer's window closes: it is told to slow
            // down by the transport itself.
            let size = u32::try_from(header.meant + MESSAGE_OVERHEAD_BYTES).unwrap_or(u32::MAX);
            let taken = room
                .messages
                .acquire_many_owned(size)
                .await
                .map_err(|_| Unread::Ended)?;
            let bytes = read_body(&mut stream, header).await?;
            shared.tell_message(NetEvent::Message { from: peer, bytes }, taken);
            Ok(())
        }
        Kind::Behind => {
            // Of more than a device asks for nothing is read: what is dropped is asked for again.
            let Ok(taken) = room.behind.try_acquire_owned() else {
                return Ok(());
            };
            let bytes = read_body(&mut stream, header).await?;
            shared.tell_message(NetEvent::Behind { from: peer, bytes }, taken);
            Ok(())
        }
    }
}
