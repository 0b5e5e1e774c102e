//! Tests of this room over real QUIC on loopback: what devices on a roster can do, and what others cannot.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod crew;
mod hostile;
mod strangers;

use super::code::CloseCode;
use super::tls::{Identity, LINK_PROTOCOL, SERVER_NAME};
use super::{Config, Net, NetCommand, NetEvent, NetEvents, hello, link, pin};
use gantline_protocol::ids::{DeviceKey, JobId};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

/// Long enough for any machine; what a test waits for comes in milliseconds.
const PATIENCE: Duration = Duration::from_secs(30);
const QUIET: Duration = Duration::from_millis(300);

struct Node {
    net: Net,
    events: NetEvents,
}

fn signing(seed: u8) -> ed25519_zebra::SigningKey {
    ed25519_zebra::SigningKey::from([seed; 32])
}

fn key(seed: u8) -> DeviceKey {
    pin::device_key(&signing(seed))
}

async fn node_at(seed: u8, listen: SocketAddr, job: Option<JobId>) -> Node {
    let config = Config {
        key: signing(seed),
        job,
        listen: Some(listen),
        discovery: false,
    };
    let (net, events) = Net::start(config).await.unwrap();
    Node { net, events }
}

async fn node(seed: u8) -> Node {
    node_at(seed, SocketAddr::from(([127, 0, 0, 1], 0)), None).await
}

impl Node {
    fn peers(&self, keys: &[DeviceKey]) {
        self.net.command(NetCommand::Peers(keys.to_vec()));
    }

    fn knows(&self, other: &Node) {
        let addresses = vec![other.net.address()];
        self.net
            .command(NetCommand::KnownAddresses(other.net.key(), addresses));
    }

    fn message(&self, to: DeviceKey, bytes: &[u8]) {
        let bytes = Arc::from(bytes);
        self.net.command(NetCommand::Message { to, bytes });
    }

    fn datagram(&self, to: DeviceKey, bytes: &[u8]) {
        let bytes = Arc::from(bytes);
        self.net.command(NetCommand::Datagram { to, bytes });
    }

    /// The next event that `pick` takes; others are let go.
    async fn next<T>(&mut self, pick: impl Fn(NetEvent) -> Option<T>) -> T {
        let search = async {
            loop {
                if let Some(found) = pick(self.events.next().await.unwrap()) {
                    return found;
                }
            }
        };
        tokio::time::timeout(PATIENCE, search).await.unwrap()
    }

    async fn wait_for(&mut self, event: NetEvent) {
        self.next(|found| (found == event).then_some(())).await;
    }

    async fn next_message(&mut self) -> Vec<u8> {
        self.next(|event| match event {
            NetEvent::Message { bytes, .. } => Some(bytes),
            _ => None,
        })
        .await
    }

    /// All events of a short while that say something about links.
    async fn quiet(&mut self) -> Vec<NetEvent> {
        let mut all = Vec::new();
        while let Ok(event) = tokio::time::timeout(QUIET, self.events.next()).await {
            all.push(event.unwrap());
        }
        all
    }
}

/// Two nodes that know each other, linked.
async fn pair(a: u8, b: u8) -> (Node, Node) {
    let (mut one, mut two) = (node(a).await, node(b).await);
    one.knows(&two);
    one.peers(&[key(b)]);
    two.peers(&[key(a)]);
    one.wait_for(NetEvent::Up(key(b))).await;
    two.wait_for(NetEvent::Up(key(a))).await;
    (one, two)
}

/// Proves that a link carries messages both ways.
async fn carries(one: &mut Node, two: &mut Node) {
    one.message(two.net.key(), b"there");
    assert_eq!(two.next_message().await, b"there");
    two.message(one.net.key(), b"back");
    assert_eq!(one.next_message().await, b"back");
}

/// A connection made by hand, that can say what a node never would.
async fn dial_raw(seed: u8, to: &Node, protocol: &[u8]) -> quinn::Connection {
    let config = Identity::new(&signing(seed))
        .unwrap()
        .dialling(Some(to.net.key()), protocol)
        .unwrap();
    let endpoint = quinn::Endpoint::client(SocketAddr::from(([127, 0, 0, 1], 0))).unwrap();
    endpoint
        .connect_with(config, to.net.address(), SERVER_NAME)
        .unwrap()
        .await
        .unwrap()
}

async fn closed(connection: &quinn::Connection) -> Option<CloseCode> {
    let reason = tokio::time::timeout(PATIENCE, connection.closed()).await;
    CloseCode::given(&reason.unwrap())
}

/// A device on the roster that has said a good hello and can now say anything.
async fn rogue(one: &mut Node, seed: u8) -> quinn::Connection {
    let connection = dial_raw(seed, one, LINK_PROTOCOL).await;
    let hello = hello::Hello {
        version: super::LINK_VERSION,
        you: one.net.key(),
        run: 77,
        job: None,
        port: 1,
        known: Vec::new(),
    };
    link::say_hello(&connection, &hello).await.unwrap();
    one.wait_for(NetEvent::Up(key(seed))).await;
    connection
}
