//! Tests: bytes that no honest device sends are refused by name, and harm nothing else.

use super::super::code::CloseCode;
use super::super::tls::LINK_PROTOCOL;
use super::super::{FrameError, LINK_VERSION, LinkFault, NetEvent, frame, hello, link};
use super::{carries, closed, dial_raw, key, node, pair, rogue};
use gantline_protocol::bounds::{DATAGRAM_MAX_BYTES, MESSAGE_MAX_BYTES};

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
        version: LINK_VERSION,
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
