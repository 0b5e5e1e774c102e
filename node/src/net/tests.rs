//! Tests of this room over real QUIC on loopback: what devices on a roster can do, and what others cannot.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::code::CloseCode;
use super::tls::{ASK_PROTOCOL, Identity, LINK_PROTOCOL, SERVER_NAME};
use super::{
    AskError, Config, FrameError, LinkFault, Net, NetCommand, NetEvent, NetEvents, ask, frame,
    hello, link, pin,
};
use gantline_protocol::bounds::{DATAGRAM_MAX_BYTES, MESSAGE_MAX_BYTES};
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

#[tokio::test]
async fn messages_and_datagrams_go_both_ways() {
    let (mut one, mut two) = pair(1, 2).await;
    carries(&mut one, &mut two).await;
    // Loopback loses none of so few.
    let longest = vec![5; DATAGRAM_MAX_BYTES];
    one.datagram(key(2), &longest);
    two.wait_for(NetEvent::Datagram {
        from: key(1),
        bytes: longest,
    })
    .await;
    two.datagram(key(1), b"beacon");
    one.wait_for(NetEvent::Datagram {
        from: key(2),
        bytes: b"beacon".to_vec(),
    })
    .await;
}

#[tokio::test]
async fn the_longest_message_arrives_and_a_longer_one_is_dropped_and_told() {
    let (mut one, mut two) = pair(1, 2).await;
    let mut noise = vec![0; MESSAGE_MAX_BYTES];
    getrandom::fill(&mut noise).unwrap();
    one.message(key(2), &noise);
    assert!(two.next_message().await == noise, "unpackable");
    let plain = vec![3; MESSAGE_MAX_BYTES];
    one.message(key(2), &plain);
    assert!(two.next_message().await == plain, "packed");
    let found = MESSAGE_MAX_BYTES + 1;
    one.message(key(2), &vec![0; found]);
    one.wait_for(NetEvent::Fault(LinkFault::MessageTooLong {
        peer: key(2),
        found,
    }))
    .await;
    carries(&mut one, &mut two).await;
}

#[tokio::test]
async fn many_messages_all_arrive_and_the_same_one_twice_is_delivered_twice() {
    let (one, mut two) = pair(1, 2).await;
    for number in 0..1_000_u32 {
        one.message(key(2), &(number / 2).to_le_bytes());
    }
    let mut all = Vec::new();
    for _ in 0..1_000 {
        let bytes = two.next_message().await;
        all.push(u32::from_le_bytes(bytes.try_into().unwrap()));
    }
    all.sort_unstable();
    let expected: Vec<u32> = (0..1_000).map(|number| number / 2).collect();
    assert_eq!(all, expected);
}

#[tokio::test]
async fn a_message_to_nobody_is_dropped() {
    let (mut one, mut two) = pair(1, 2).await;
    one.message(key(9), b"lost");
    one.datagram(key(9), b"lost");
    carries(&mut one, &mut two).await;
}

#[tokio::test]
async fn a_link_that_is_not_read_is_closed_when_its_queue_is_full() {
    let (mut one, _two) = pair(1, 2).await;
    let mut noise = vec![0; MESSAGE_MAX_BYTES];
    getrandom::fill(&mut noise).unwrap();
    let noise: Arc<[u8]> = noise.into();
    // The other side holds 16 MiB and takes nothing; this side waits with 32 MiB more.
    for _ in 0..16 {
        one.net.command(NetCommand::Message {
            to: key(2),
            bytes: noise.clone(),
        });
        tokio::task::yield_now().await;
    }
    one.wait_for(NetEvent::Fault(LinkFault::Behind { peer: key(2) }))
        .await;
    one.wait_for(NetEvent::Down(key(2))).await;
    one.wait_for(NetEvent::Up(key(2))).await;
}

#[tokio::test]
async fn both_dial_at_once_and_one_link_stays() {
    for round in 0..10 {
        let (mut one, mut two) = (node(1).await, node(2).await);
        one.knows(&two);
        two.knows(&one);
        one.peers(&[key(2)]);
        two.peers(&[key(1)]);
        one.wait_for(NetEvent::Up(key(2))).await;
        two.wait_for(NetEvent::Up(key(1))).await;
        carries(&mut one, &mut two).await;
        // Longer than the patience with a spare connection.
        let settled = async {
            while one.net.shared.endpoint.open_connections() != 1
                || two.net.shared.endpoint.open_connections() != 1
            {
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        };
        tokio::time::timeout(PATIENCE, settled).await.unwrap();
        carries(&mut one, &mut two).await;
        for event in one.quiet().await.into_iter().chain(two.quiet().await) {
            assert!(
                !matches!(event, NetEvent::Up(_) | NetEvent::Down(_)),
                "round {round}: {event:?}"
            );
        }
    }
}

#[tokio::test]
async fn three_nodes_link_up_though_each_was_given_one_address_only() {
    let (one, mut two, mut three) = (node(1).await, node(2).await, node(3).await);
    // One knows the two others; they hear of each other from it.
    one.knows(&two);
    one.knows(&three);
    one.peers(&[key(2), key(3)]);
    two.peers(&[key(1), key(3)]);
    three.peers(&[key(1), key(2)]);
    two.wait_for(NetEvent::Up(key(3))).await;
    three.wait_for(NetEvent::Up(key(2))).await;
    carries(&mut two, &mut three).await;
    one.message(key(3), b"from one");
    assert_eq!(three.next_message().await, b"from one");
}

#[tokio::test]
async fn addresses_learnt_are_told_to_the_device() {
    let (mut one, mut two) = (node(1).await, node(2).await);
    one.knows(&two);
    one.peers(&[key(2)]);
    two.peers(&[key(1)]);
    let address = one.net.address();
    two.wait_for(NetEvent::Addresses(key(1), vec![address]))
        .await;
    one.wait_for(NetEvent::OwnAddresses(vec![address])).await;
}

#[tokio::test]
async fn a_restarted_peer_is_back_at_once() {
    let (mut one, mut two) = pair(1, 2).await;
    for _ in 0..3 {
        let address = two.net.address();
        // Its end without a word, as by a kill: nothing is closed.
        let taken = std::mem::replace(&mut two, node(9).await);
        crash(taken);
        two = restarted(2, address).await;
        two.peers(&[key(1)]);
        two.knows(&one);
        one.wait_for(NetEvent::Down(key(2))).await;
        one.wait_for(NetEvent::Up(key(2))).await;
        two.wait_for(NetEvent::Up(key(1))).await;
        carries(&mut one, &mut two).await;
    }
}

/// Ends a node as a power cut does: its socket is taken away under it, so nothing it says gets out.
fn crash(node: Node) {
    let nowhere = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
    let black_hole = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
    nowhere.connect(black_hole.local_addr().unwrap()).unwrap();
    node.net.shared.endpoint.rebind(nowhere).unwrap();
    drop(node);
}

async fn restarted(seed: u8, address: SocketAddr) -> Node {
    for _ in 0..100 {
        let config = Config {
            key: signing(seed),
            job: None,
            listen: Some(address),
            discovery: false,
        };
        if let Ok((net, events)) = Net::start(config).await {
            return Node { net, events };
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    panic!("the address did not become free");
}

#[tokio::test]
async fn a_peer_that_stops_says_so() {
    let (mut one, two) = pair(1, 2).await;
    two.net.stop().await;
    one.wait_for(NetEvent::Down(key(2))).await;
}

#[tokio::test]
async fn a_key_that_leaves_the_roster_loses_its_link_and_comes_back_with_it() {
    let (mut one, mut two) = pair(1, 2).await;
    one.peers(&[]);
    one.wait_for(NetEvent::Down(key(2))).await;
    two.wait_for(NetEvent::Down(key(1))).await;
    two.message(key(1), b"unheard");
    one.next(|event| match event {
        NetEvent::Fault(LinkFault::OffRoster { key: found, .. }) => (found == key(2)).then_some(()),
        NetEvent::Up(_) | NetEvent::Message { .. } => panic!("{event:?}"),
        _ => None,
    })
    .await;
    one.peers(&[key(2)]);
    one.wait_for(NetEvent::Up(key(2))).await;
    two.wait_for(NetEvent::Up(key(1))).await;
    carries(&mut one, &mut two).await;
}

#[tokio::test]
async fn another_device_at_the_address_is_refused() {
    let (mut one, impostor) = (node(1).await, node(3).await);
    impostor.peers(&[key(1)]);
    let address = impostor.net.address();
    one.net
        .command(NetCommand::KnownAddresses(key(2), vec![address]));
    one.peers(&[key(2)]);
    one.wait_for(NetEvent::Fault(LinkFault::WrongKey {
        peer: key(2),
        address,
    }))
    .await;
    assert!(!one.quiet().await.contains(&NetEvent::Up(key(2))));
}

#[tokio::test]
async fn a_device_at_another_job_gets_no_link() {
    let at = SocketAddr::from(([127, 0, 0, 1], 0));
    let mut one = node_at(1, at, Some(JobId([1; 32]))).await;
    let two = node_at(2, at, Some(JobId([2; 32]))).await;
    two.peers(&[key(1)]);
    one.knows(&two);
    one.peers(&[key(2)]);
    one.wait_for(NetEvent::Fault(LinkFault::Hello {
        peer: key(2),
        address: two.net.address(),
        code: CloseCode::OtherJob,
    }))
    .await;
    assert!(!one.quiet().await.contains(&NetEvent::Up(key(2))));
}

#[tokio::test]
async fn nobody_heard_is_told_once() {
    let mut one = node(1).await;
    one.peers(&[key(2)]);
    one.wait_for(NetEvent::NobodyHeard).await;
    assert!(!one.quiet().await.contains(&NetEvent::NobodyHeard));
}

#[tokio::test]
async fn a_stranger_asks_and_is_answered() {
    let mut one = node(1).await;
    let address = one.net.address();
    let asking =
        tokio::spawn(async move { ask(&signing(7), address, None, b"may I join", PATIENCE).await });
    let (question, from) = one
        .next(|event| match event {
            NetEvent::StrangerMessage {
                ask, key, bytes, ..
            } => {
                assert_eq!(bytes, b"may I join");
                Some((ask, key))
            }
            _ => None,
        })
        .await;
    assert_eq!(from, key(7));
    // As long as a founding entry, packed on the way.
    let bytes: Arc<[u8]> = vec![4; 64 * 1024].into();
    one.net.command(NetCommand::StrangerReply {
        ask: question,
        bytes: bytes.clone(),
    });
    let answer = asking.await.unwrap().unwrap();
    assert_eq!(answer.key, key(1));
    assert!(answer.bytes[..] == bytes[..]);
    // A second answer has nobody to go to.
    one.net.command(NetCommand::StrangerReply {
        ask: question,
        bytes,
    });
    assert!(one.quiet().await.is_empty());
}

#[tokio::test]
async fn a_stranger_can_insist_on_who_answers() {
    let one = node(1).await;
    let address = one.net.address();
    let answer = ask(&signing(7), address, Some(key(2)), b"stop", PATIENCE).await;
    assert_eq!(answer, Err(AskError::WrongKey { address }));
}

#[tokio::test]
async fn a_stranger_gets_no_more_than_one_short_question() {
    let mut one = node(1).await;
    let address = one.net.address();
    let long = vec![1; super::QUESTION_MAX_BYTES + 1];
    assert!(matches!(
        ask(&signing(7), address, None, &long, PATIENCE).await,
        Err(AskError::TooLong { .. })
    ));

    // By hand, past the checks of the own side.
    let stranger = dial_raw(7, &one, ASK_PROTOCOL).await;
    let (mut send, _receive) = stranger.open_bi().await.unwrap();
    let (header, body) = frame::frame(frame::Kind::Message, &long).unwrap();
    let _ = send.write_all(&header).await;
    let _ = send.write_all(&body).await;
    let _ = send.finish();
    assert_eq!(closed(&stranger).await, Some(CloseCode::Oversized));

    // A link is refused, whatever it would say.
    let stranger = dial_raw(7, &one, LINK_PROTOCOL).await;
    let _ = stranger.send_datagram(b"beacon".to_vec().into());
    assert_eq!(closed(&stranger).await, Some(CloseCode::OffRoster));

    for event in one.quiet().await {
        let harmless = matches!(
            event,
            NetEvent::Fault(LinkFault::OffRoster { .. }) | NetEvent::OwnAddresses(_)
        );
        assert!(harmless, "{event:?}");
    }
}

#[tokio::test]
async fn many_strangers_do_not_keep_a_peer_out() {
    let mut one = node(1).await;
    let mut crowd = Vec::new();
    let mut busy = 0;
    for _ in 0..48 {
        // They connect and say nothing.
        crowd.push(dial_raw(7, &one, ASK_PROTOCOL).await);
    }
    let mut two = node(2).await;
    two.knows(&one);
    two.peers(&[key(1)]);
    one.peers(&[key(2)]);
    one.wait_for(NetEvent::Up(key(2))).await;
    two.wait_for(NetEvent::Up(key(1))).await;
    carries(&mut one, &mut two).await;
    for stranger in crowd {
        if closed(&stranger).await == Some(CloseCode::Busy) {
            busy += 1;
        }
    }
    assert!(busy > 0, "some were too many");
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

#[tokio::test]
async fn bad_frames_close_their_own_link_and_no_other() {
    let (mut one, mut two) = pair(1, 2).await;
    one.peers(&[key(2), key(5)]);
    let header = |mark: u8, sent: u32, meant: u32| {
        let mut bytes = vec![mark];
        bytes.extend(sent.to_le_bytes());
        bytes.extend(meant.to_le_bytes());
        bytes
    };
    let with = |mut header: Vec<u8>, body: &[u8]| {
        header.extend_from_slice(body);
        header
    };
    let allowed = MESSAGE_MAX_BYTES;
    let over = u32::try_from(allowed).unwrap() + 1;
    let oversized = FrameError::Oversized {
        found: allowed + 1,
        allowed,
    };
    let bomb = zstd::bulk::compress(&vec![0; 64 << 20], 1).unwrap();
    let bomb_sent = u32::try_from(bomb.len()).unwrap();
    let cases: Vec<(Vec<u8>, CloseCode, FrameError)> = vec![
        (
            header(3, over, over),
            CloseCode::Oversized,
            oversized.clone(),
        ),
        (header(0x83, 10, over), CloseCode::Oversized, oversized),
        (
            with(header(0x83, bomb_sent, over - 1), &bomb),
            CloseCode::BadFrame,
            FrameError::Unpackable { meant: allowed },
        ),
        (
            with(header(0x83, 4, 2_000), b"junk"),
            CloseCode::BadFrame,
            FrameError::Unpackable { meant: 2_000 },
        ),
        (
            header(9, 0, 0),
            CloseCode::BadFrame,
            FrameError::Kind { found: 9 },
        ),
        (
            header(3, 1, 2),
            CloseCode::BadFrame,
            FrameError::Lengths { sent: 1, meant: 2 },
        ),
        (
            with(header(3, 5, 5), b"cut"),
            CloseCode::BadFrame,
            FrameError::Cut,
        ),
        (vec![3], CloseCode::BadFrame, FrameError::Cut),
        (Vec::new(), CloseCode::BadFrame, FrameError::Cut),
        (
            with(header(3, 1, 1), b"more"),
            CloseCode::BadFrame,
            FrameError::Trailing,
        ),
        (
            with(header(1, 1, 1), b"x"),
            CloseCode::BadFrame,
            FrameError::OutOfTurn,
        ),
        (
            with(header(2, 1, 1), b"x"),
            CloseCode::BadFrame,
            FrameError::OutOfTurn,
        ),
    ];
    for (bytes, code, error) in cases {
        let connection = rogue(&mut one, 5).await;
        let mut stream = connection.open_uni().await.unwrap();
        let _ = stream.write_all(&bytes).await;
        let _ = stream.finish();
        let fault = NetEvent::Fault(LinkFault::Frame {
            peer: key(5),
            error,
        });
        one.wait_for(fault).await;
        assert_eq!(closed(&connection).await, Some(code));
        one.wait_for(NetEvent::Down(key(5))).await;
    }

    let connection = rogue(&mut one, 5).await;
    let found = DATAGRAM_MAX_BYTES + 1;
    connection.send_datagram(vec![0; found].into()).unwrap();
    one.wait_for(NetEvent::Fault(LinkFault::Datagram {
        peer: key(5),
        found,
    }))
    .await;
    assert_eq!(closed(&connection).await, Some(CloseCode::Oversized));

    carries(&mut one, &mut two).await;
}

#[tokio::test]
async fn hellos_that_will_not_do_make_no_link() {
    let mut one = node(1).await;
    one.peers(&[key(5)]);
    let good = hello::Hello {
        version: super::LINK_VERSION,
        you: key(1),
        run: 1,
        job: None,
        port: 1,
        known: Vec::new(),
    };
    let cases = [
        (
            hello::Hello {
                version: 999,
                ..good.clone()
            },
            CloseCode::OtherVersion,
        ),
        (
            hello::Hello {
                you: key(2),
                ..good.clone()
            },
            CloseCode::BadHello,
        ),
        (
            hello::Hello {
                known: vec![(key(3), Vec::new()); 100],
                ..good
            },
            CloseCode::BadHello,
        ),
    ];
    for (hello, code) in cases {
        let connection = dial_raw(5, &one, LINK_PROTOCOL).await;
        link::say_hello(&connection, &hello).await.unwrap();
        assert_eq!(closed(&connection).await, Some(code));
    }
    // Any other first words.
    let connection = dial_raw(5, &one, LINK_PROTOCOL).await;
    let mut stream = connection.open_uni().await.unwrap();
    let (header, body) = frame::frame(frame::Kind::Message, b"no hello").unwrap();
    stream.write_all(&header).await.unwrap();
    stream.write_all(&body).await.unwrap();
    stream.finish().unwrap();
    assert_eq!(closed(&connection).await, Some(CloseCode::BadHello));
    assert!(!one.quiet().await.contains(&NetEvent::Up(key(5))));
}

#[tokio::test]
async fn random_bytes_at_the_socket_do_nothing() {
    let (mut one, mut two) = pair(1, 2).await;
    let socket = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
    let mut bytes = vec![0; 1_500];
    for round in 0..2_000_usize {
        getrandom::fill(&mut bytes).unwrap();
        let length = round % bytes.len();
        let _ = socket.send_to(&bytes[..length], one.net.address());
        if round % 50 == 0 {
            tokio::task::yield_now().await;
        }
    }
    for event in one.quiet().await {
        assert!(!matches!(event, NetEvent::Down(_)), "{event:?}");
    }
    carries(&mut one, &mut two).await;
}

#[tokio::test]
async fn random_bytes_in_streams_never_become_a_message_or_a_panic() {
    let mut one = node(1).await;
    one.peers(&[key(5)]);
    for _ in 0..20 {
        let connection = rogue(&mut one, 5).await;
        for length in [1, 8, 9, 10, 100, 1_000] {
            let mut bytes = vec![0; length];
            getrandom::fill(&mut bytes).unwrap();
            // Not by chance a good frame: no kind has this number.
            bytes[0] |= 0x40;
            if let Ok(mut stream) = connection.open_uni().await {
                let _ = stream.write_all(&bytes).await;
                let _ = stream.finish();
            }
        }
        assert_eq!(closed(&connection).await, Some(CloseCode::BadFrame));
        one.next(|event| match event {
            NetEvent::Message { .. } | NetEvent::Datagram { .. } => panic!("{event:?}"),
            NetEvent::Down(_) => Some(()),
            _ => None,
        })
        .await;
    }
}

#[tokio::test]
async fn the_network_ends_when_nobody_listens() {
    let (mut one, two) = pair(1, 2).await;
    drop(two.events);
    one.wait_for(NetEvent::Down(key(2))).await;
    one.net.command(NetCommand::Shutdown);
    let ended = async { while one.events.next().await.is_some() {} };
    tokio::time::timeout(PATIENCE, ended).await.unwrap();
    one.peers(&[key(2)]);
    one.message(key(2), b"late");
}
