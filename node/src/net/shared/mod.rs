//! Shared: who is on the roster, which links stand, what was asked?
//! Owns: the table behind one lock, the queue of events.   Gives: what the tasks of this room do together.
//! May use: every file of this room.   Never: waits while it holds the lock.

mod addresses;

pub(super) use addresses::short_job;

use super::book::{Book, Source};
use super::code::{CloseCode, DATAGRAMS_WAITING_MAX, close};
use super::hello::Hello;
use super::link::{Link, LinkFault};
use super::links::{Held, Links};
use super::tls::Identity;
use super::{AskId, LINK_VERSION, NetCommand, NetEvent};
use gantline_protocol::bounds::{DATAGRAM_MAX_BYTES, DEVICES_MAX, PHOTO_MESSAGE_MAX_BYTES};
use gantline_protocol::ids::{DeviceKey, JobId};
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use tokio::sync::{Notify, OwnedSemaphorePermit, Semaphore, mpsc, oneshot};
use tokio::task::AbortHandle;

/// Devices off the roster whose address is kept, for the moment at which they are admitted.
const KNOCKS_MAX: usize = 32;

/// An event on its way, with the room it takes until it is taken; `None` ends the queue.
#[derive(Debug)]
pub(super) struct Queued {
    pub(super) event: Option<NetEvent>,
    _room: Option<OwnedSemaphorePermit>,
}

/// What all tasks of one network share.
#[derive(Debug)]
pub(super) struct Shared {
    /// The device's key.
    pub(super) own: DeviceKey,
    /// The job, if any.
    pub(super) job: Option<JobId>,
    /// The own side of handshakes.
    pub(super) identity: Identity,
    /// The socket.
    pub(super) endpoint: quinn::Endpoint,
    /// Where it listens.
    pub(super) address: SocketAddr,
    /// Where tasks run, whoever gives the command.
    pub(super) runtime: tokio::runtime::Handle,
    run: u64,
    discovery: bool,
    events: mpsc::UnboundedSender<Queued>,
    datagram_room: Arc<Semaphore>,
    table: Mutex<Table>,
}

#[derive(Debug, Default)]
struct Table {
    peers: BTreeMap<DeviceKey, Peer>,
    book: Book,
    knocks: VecDeque<(DeviceKey, SocketAddr)>,
    asks: BTreeMap<AskId, oneshot::Sender<Arc<[u8]>>>,
    own_addresses: Vec<SocketAddr>,
    news_due: bool,
    changed: BTreeSet<DeviceKey>,
    heard: Option<Instant>,
    nobody_told: bool,
    last_id: u64,
    tasks: Vec<AbortHandle>,
    stopped: bool,
}

#[derive(Debug)]
struct Peer {
    links: Links<Link>,
    wake: Arc<Notify>,
    mentioned: bool,
    redial: bool,
    dialler: AbortHandle,
}

/// What a dialler has to do.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Wanted {
    /// The device is off the roster, or the network stopped.
    Nothing,
    /// A link stands: wait.
    Stands,
    /// Dial these. `afresh`: there is news of the device, so without further delay.
    Dial {
        addresses: Vec<SocketAddr>,
        afresh: bool,
    },
}

impl Shared {
    #[allow(
        clippy::too_many_arguments,
        reason = "called once, by name of each part"
    )]
    pub(super) fn new(
        own: DeviceKey,
        job: Option<JobId>,
        identity: Identity,
        endpoint: quinn::Endpoint,
        address: SocketAddr,
        run: u64,
        discovery: bool,
        events: mpsc::UnboundedSender<Queued>,
    ) -> Self {
        Self {
            own,
            job,
            identity,
            endpoint,
            address,
            runtime: tokio::runtime::Handle::current(),
            run,
            discovery,
            events,
            datagram_room: Arc::new(Semaphore::new(DATAGRAMS_WAITING_MAX)),
            table: Mutex::new(Table {
                heard: Some(Instant::now()),
                ..Table::default()
            }),
        }
    }

    fn table(&self) -> MutexGuard<'_, Table> {
        // Nothing panics while it holds the lock; were it so, the table is still whole after each line.
        self.table.lock().unwrap_or_else(PoisonError::into_inner)
    }

    // Events.

    /// Tells something that must not be lost and is rare by nature.
    pub(super) fn tell(&self, event: NetEvent) {
        let _ = self.events.send(Queued {
            event: Some(event),
            _room: None,
        });
    }

    /// Tells a message; it takes its room in the link's share until the device takes it.
    pub(super) fn tell_message(&self, message: NetEvent, room: OwnedSemaphorePermit) {
        let _ = self.events.send(Queued {
            event: Some(message),
            _room: Some(room),
        });
    }

    /// Tells something that may be lost when there is too much of it.
    pub(super) fn tell_if_room(&self, event: NetEvent) {
        if let Ok(room) = self.datagram_room.clone().try_acquire_owned() {
            let _ = self.events.send(Queued {
                event: Some(event),
                _room: Some(room),
            });
        }
    }

    /// Tells of a fault.
    pub(super) fn fault(&self, fault: LinkFault) {
        self.tell_if_room(NetEvent::Fault(fault));
    }

    // Commands.

    /// Carries out a command; never waits.
    pub(super) fn command(self: &Arc<Self>, command: NetCommand) {
        match command {
            NetCommand::Peers(keys) => self.set_peers(&keys),
            NetCommand::KnownAddresses(key, addresses) => self.given(key, &addresses),
            NetCommand::Datagram { to, bytes } => {
                if bytes.len() <= DATAGRAM_MAX_BYTES
                    && let Some(link) = self.best_link(to)
                {
                    link.send_datagram(&bytes);
                }
            }
            NetCommand::Message { to, bytes } => {
                if let Some(link) = self.best_link(to)
                    && let Err(fault) = link.send_message(bytes)
                {
                    self.fault(fault);
                }
            }
            NetCommand::Behind { to, bytes } => {
                if bytes.len() <= PHOTO_MESSAGE_MAX_BYTES
                    && let Some(link) = self.best_link(to)
                {
                    link.send_behind(bytes);
                }
            }
            NetCommand::StrangerReply { ask, bytes } => {
                let waiting = self.table().asks.remove(&ask);
                if let Some(waiting) = waiting {
                    let _ = waiting.send(bytes);
                }
            }
            NetCommand::Shutdown => self.shutdown(),
        }
    }

    pub(super) fn best_link(&self, key: DeviceKey) -> Option<Link> {
        self.table().peers.get(&key)?.links.best().cloned()
    }

    fn set_peers(self: &Arc<Self>, keys: &[DeviceKey]) {
        let mut table = self.table();
        if table.stopped {
            return;
        }
        let wanted = |key: &DeviceKey| *key != self.own && keys.contains(key);
        let gone: Vec<DeviceKey> = table
            .peers
            .keys()
            .filter(|key| !wanted(key))
            .copied()
            .collect();
        for key in gone {
            if let Some(peer) = table.peers.remove(&key) {
                peer.dialler.abort();
                for (link, _) in peer.links.all() {
                    close(&link.connection, CloseCode::OffRoster);
                }
                if !peer.links.is_empty() {
                    self.tell(NetEvent::Down(key));
                }
            }
        }
        for key in keys.iter().filter(|key| wanted(key)).take(DEVICES_MAX) {
            if table.peers.contains_key(key) {
                continue;
            }
            let knock = table
                .knocks
                .iter()
                .find(|(knocker, _)| knocker == key)
                .copied();
            if let Some((_, address)) = knock {
                table.book.note(*key, Source::Seen, address);
            }
            let wake = Arc::new(Notify::new());
            let dialler = self
                .runtime
                .spawn(super::dial::keep(self.clone(), *key, wake.clone()));
            table.peers.insert(
                *key,
                Peer {
                    links: Links::new(self.own < *key),
                    wake,
                    mentioned: false,
                    redial: false,
                    dialler: dialler.abort_handle(),
                },
            );
            table.news_due = true;
        }
    }

    fn given(&self, key: DeviceKey, addresses: &[SocketAddr]) {
        if key == self.own {
            return;
        }
        let mut table = self.table();
        if table.has_room_for(&key) && table.book.give(key, addresses) {
            self.mention(&mut table, key);
        }
    }

    /// Ends everything.
    pub(super) fn shutdown(&self) {
        let mut table = self.table();
        if table.stopped {
            return;
        }
        table.stopped = true;
        for peer in table.peers.values() {
            peer.dialler.abort();
        }
        for task in table.tasks.drain(..) {
            task.abort();
        }
        table.asks.clear();
        self.endpoint.close(CloseCode::Goodbye.number(), b"");
        let _ = self.events.send(Queued {
            event: None,
            _room: None,
        });
    }

    /// Whether [`Self::shutdown`] was called.
    pub(super) fn is_stopped(&self) -> bool {
        self.table().stopped
    }

    /// A task that ends with the network.
    pub(super) fn owns_task(&self, task: AbortHandle) {
        self.table().tasks.push(task);
    }

    // The roster and the links.

    /// Whether this key may have a link.
    pub(super) fn is_rostered(&self, key: &DeviceKey) -> bool {
        self.table().peers.contains_key(key)
    }

    /// A device off the roster wanted a link: it may be on the roster soon.
    pub(super) fn knocked(&self, key: DeviceKey, address: SocketAddr) {
        let mut table = self.table();
        table.knocks.retain(|(other, _)| *other != key);
        table.knocks.push_front((key, address));
        table.knocks.truncate(KNOCKS_MAX);
    }

    /// A number for a link or a question.
    pub(super) fn next_id(&self) -> u64 {
        let mut table = self.table();
        table.last_id += 1;
        table.last_id
    }

    /// The own first words to a device.
    pub(super) fn hello(&self, to: DeviceKey, at: IpAddr) -> Hello {
        Hello {
            version: LINK_VERSION,
            you: to,
            run: self.run,
            job: self.job,
            port: self.address.port(),
            known: self.known(&self.table(), to, at),
        }
    }

    /// A link stands: both hellos were read. `false` when the device is off the roster by now.
    pub(super) fn add_link(
        self: &Arc<Self>,
        key: DeviceKey,
        held: Held<Link>,
        hello: &Hello,
    ) -> bool {
        let mut table = self.table();
        let stopped = table.stopped;
        let Some(peer) = table.peers.get_mut(&key).filter(|_| !stopped) else {
            return false;
        };
        let remote = held.connection.connection.remote_address();
        let added = peer.links.add(held);
        peer.wake.notify_one();
        if added.restarted {
            self.tell(NetEvent::Down(key));
        }
        if added.up || added.restarted {
            self.tell(NetEvent::Up(key));
        }
        for link in added.outlived {
            close(&link.connection, CloseCode::Restarted);
        }
        for (id, after) in added.retire {
            let shared = self.clone();
            self.runtime.spawn(async move {
                tokio::time::sleep(after).await;
                shared.let_go(key, id);
            });
        }
        table.heard = Some(Instant::now());
        table.nobody_told = false;
        let listens = SocketAddr::new(remote.ip(), hello.port);
        if table.book.note(key, Source::Seen, listens) {
            self.addresses_changed(&mut table, key);
        }
        self.told(&mut table, &hello.known);
        true
    }

    /// A spare link has had its time.
    fn let_go(&self, key: DeviceKey, id: u64) {
        let spare = match self.table().peers.get_mut(&key) {
            Some(peer) => peer.links.let_go(id),
            None => None,
        };
        if let Some(link) = spare {
            close(&link.connection, CloseCode::Duplicate);
        }
    }

    /// A link ended.
    pub(super) fn remove_link(&self, key: DeviceKey, id: u64) {
        let mut table = self.table();
        if let Some(peer) = table.peers.get_mut(&key)
            && peer.links.remove(id)
        {
            peer.wake.notify_one();
            self.tell(NetEvent::Down(key));
        }
    }

    // Dialling.

    /// What the dialler of this device has to do now.
    pub(super) fn wanted(&self, key: DeviceKey) -> Wanted {
        let mut table = self.table();
        let addresses = table.book.candidates(key);
        if table.stopped {
            return Wanted::Nothing;
        }
        let Some(peer) = table.peers.get_mut(&key) else {
            return Wanted::Nothing;
        };
        if !peer.links.is_empty() && !peer.redial {
            peer.mentioned = false;
            return Wanted::Stands;
        }
        Wanted::Dial {
            addresses,
            afresh: std::mem::take(&mut peer.mentioned),
        }
    }

    /// A dial after a change of address is under way, so it need not be asked for again.
    pub(super) fn redials(&self, key: DeviceKey) -> bool {
        self.table()
            .peers
            .get_mut(&key)
            .is_some_and(|peer| std::mem::take(&mut peer.redial))
    }

    // Strangers.

    /// Opens a question; the answer comes through the receiver.
    pub(super) fn asked(&self, ask: AskId) -> oneshot::Receiver<Arc<[u8]>> {
        let (answer, receiver) = oneshot::channel();
        self.table().asks.insert(ask, answer);
        receiver
    }

    /// A question nobody waits for any more.
    pub(super) fn unasked(&self, ask: AskId) {
        self.table().asks.remove(&ask);
    }
}

impl Table {
    /// Whether the book may hold this device: those on the roster always, and a bounded number of others, who
    /// may come to be on it.
    fn has_room_for(&self, key: &DeviceKey) -> bool {
        self.peers.contains_key(key) || self.book.devices() < 2 * DEVICES_MAX
    }
}
