//! Tests: devices off the roster get one short question, and no more.

use super::super::code::CloseCode;
use super::super::tls::{ASK_PROTOCOL, LINK_PROTOCOL};
use super::super::{AskError, LinkFault, NetCommand, NetEvent, QUESTION_MAX_BYTES, ask, frame};
use super::{PATIENCE, carries, closed, dial_raw, key, node, signing};
use std::sync::Arc;

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
    let long = vec![1; QUESTION_MAX_BYTES + 1];
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
