//! Tests: devices on one roster, over real QUIC on loopback.

use super::super::code::CloseCode;
use super::super::{Config, LinkFault, Net, NetCommand, NetEvent};
use super::{Node, PATIENCE, carries, key, node, node_at, pair, signing};
use gantline_protocol::bounds::{DATAGRAM_MAX_BYTES, MESSAGE_MAX_BYTES};
use gantline_protocol::ids::JobId;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

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
    // A loopback address that no other test binds to, so that its port stays free between two runs.
    let own = SocketAddr::from(([127, 0, 0, 77], 0));
    let (mut one, mut two) = (node(1).await, node_at(2, own, None).await);
    one.knows(&two);
    one.peers(&[key(2)]);
    two.peers(&[key(1)]);
    one.wait_for(NetEvent::Up(key(2))).await;
    two.wait_for(NetEvent::Up(key(1))).await;
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

/// Whoever left and is admitted again at once: what is kept of a link ends with the roster, so it begins anew with it.
#[tokio::test]
async fn a_key_that_leaves_the_roster_for_a_moment_is_linked_anew() {
    let (mut one, mut two) = pair(1, 2).await;
    one.peers(&[]);
    one.peers(&[key(2)]);
    for (node, other) in [(&mut one, 2), (&mut two, 1)] {
        node.wait_for(NetEvent::Down(key(other))).await;
        node.wait_for(NetEvent::Up(key(other))).await;
    }
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

#[tokio::test]
async fn after_a_change_of_address_the_link_is_dialled_anew_without_a_gap() {
    let (mut one, mut two) = pair(1, 2).await;
    let first = |node: &Node, of: u8| node.net.shared.best_link(key(of)).unwrap().connection;
    let before = first(&one, 2).stable_id();
    one.net
        .shared
        .own_addresses(vec![SocketAddr::from(([10, 0, 0, 1], 4_000))]);
    let anew = async {
        while first(&one, 2).stable_id() == before {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    tokio::time::timeout(PATIENCE, anew).await.unwrap();
    carries(&mut one, &mut two).await;
    for event in one.quiet().await.into_iter().chain(two.quiet().await) {
        assert!(
            !matches!(event, NetEvent::Up(_) | NetEvent::Down(_)),
            "{event:?}"
        );
    }
}

#[tokio::test]
async fn an_announced_peer_is_dialled_and_devices_of_other_jobs_are_not() {
    let at = SocketAddr::from(([127, 0, 0, 1], 0));
    let job = JobId([4; 32]);
    let mut one = node_at(1, at, Some(job)).await;
    let two = node_at(2, at, Some(job)).await;
    one.peers(&[key(2)]);
    two.peers(&[key(1)]);
    let address = [two.net.address()];
    let announce = |job: Option<&str>, of: u8| {
        one.net.shared.announced(job, key(of).tag(), &address);
    };
    announce(None, 2);
    announce(Some("0000000000000000"), 2);
    announce(Some(&super::super::shared::short_job(&job)), 3);
    assert!(!one.quiet().await.contains(&NetEvent::Up(key(2))));
    one.net
        .shared
        .announced(Some("0404040404040404"), key(2).tag(), &address);
    one.wait_for(NetEvent::Up(key(2))).await;
}

#[tokio::test]
async fn discovery_without_multicast_stops_nothing() {
    let config = Config {
        key: signing(1),
        job: None,
        listen: Some(SocketAddr::from(([127, 0, 0, 1], 0))),
        discovery: true,
    };
    let (net, events) = Net::start(config).await.unwrap();
    let mut one = Node { net, events };
    let mut two = node(2).await;
    two.knows(&one);
    two.peers(&[key(1)]);
    one.peers(&[key(2)]);
    one.wait_for(NetEvent::Up(key(2))).await;
    carries(&mut one, &mut two).await;
    one.net.stop().await;
}

#[tokio::test]
async fn a_node_listens_everywhere_when_not_told_where() {
    let config = Config {
        key: signing(1),
        job: None,
        listen: None,
        discovery: false,
    };
    let (net, events) = Net::start(config).await.unwrap();
    let mut one = Node { net, events };
    let two = node(2).await;
    let port = one.net.address().port();
    let address = SocketAddr::from(([127, 0, 0, 1], port));
    two.net
        .command(NetCommand::KnownAddresses(key(1), vec![address]));
    two.peers(&[key(1)]);
    one.peers(&[key(2)]);
    one.wait_for(NetEvent::Up(key(2))).await;
}

#[tokio::test]
async fn a_path_that_loses_a_third_each_way_delivers_every_message() {
    let seed = 0x6c6f_7373;
    println!("seed {seed:#x}");
    let (mut one, mut two) = (node(1).await, node(2).await);
    let relay = tokio::net::UdpSocket::bind("127.0.0.1:0").await.unwrap();
    let address = relay.local_addr().unwrap();
    let far = two.net.address();
    let relaying = tokio::spawn(lossy_relay(relay, far, seed));
    one.net
        .command(NetCommand::KnownAddresses(key(2), vec![address]));
    one.peers(&[key(2)]);
    two.peers(&[key(1)]);
    one.wait_for(NetEvent::Up(key(2))).await;
    let mut missing = std::collections::BTreeSet::new();
    for number in 0..200_u32 {
        one.message(key(2), &number.to_le_bytes());
        missing.insert(number);
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    while !missing.is_empty() {
        let bytes = two.next_message().await;
        missing.remove(&u32::from_le_bytes(bytes.try_into().unwrap()));
    }
    relaying.abort();
}

/// Carries packets between whoever dialled it and one device, and loses every third by chance.
async fn lossy_relay(socket: tokio::net::UdpSocket, far: SocketAddr, seed: u64) {
    let mut state = seed;
    let mut near = far;
    let mut packet = [0; 2_048];
    while let Ok((length, from)) = socket.recv_from(&mut packet).await {
        let to = if from == far {
            near
        } else {
            near = from;
            far
        };
        // SplitMix64.
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        if !(z ^ (z >> 31)).is_multiple_of(3) {
            let _ = socket.send_to(&packet[..length], to).await;
        }
    }
}
