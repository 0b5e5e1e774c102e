//! Accept: who came, and as what?
//! Owns: handshakes under way.   Gives: a link to who is on the roster, one question to everyone else.
//! May use: link, stranger, shared.   Never: acts before the handshake is whole.

use super::code::{CloseCode, HANDSHAKES_MAX, HANDSHAKES_UNPROVED_MAX, close};
use super::dial::DIAL_WITHIN;
use super::link::{self, LinkFault};
use super::shared::Shared;
use super::stranger::Strangers;
use super::{pin, tls, transport};
use quinn::Incoming;
use std::sync::Arc;
use tokio::sync::Semaphore;

/// Takes connections until the socket closes.
pub(super) async fn accept_all(shared: Arc<Shared>) {
    let handshakes = Arc::new(Semaphore::new(HANDSHAKES_MAX));
    let strangers = Arc::new(Strangers::default());
    while let Some(incoming) = shared.endpoint.accept().await {
        let Ok(under_way) = handshakes.clone().try_acquire_owned() else {
            incoming.refuse();
            continue;
        };
        let busy = handshakes.available_permits() < HANDSHAKES_MAX - HANDSHAKES_UNPROVED_MAX;
        if busy && incoming.may_retry() && !incoming.remote_address_validated() {
            // Fails only for a packet that cannot be answered.
            let _ = incoming.retry();
            continue;
        }
        let shared = shared.clone();
        let strangers = strangers.clone();
        shared.runtime.clone().spawn(async move {
            let greeted = tokio::time::timeout(DIAL_WITHIN, greet(&shared, incoming)).await;
            drop(under_way);
            if let Ok(Some(connection)) = greeted {
                strangers.serve(&shared, connection).await;
            }
        });
    }
}

/// Handshake and, for a link, both hellos. Gives back a connection for a stranger's question.
async fn greet(shared: &Arc<Shared>, incoming: Incoming) -> Option<quinn::Connection> {
    let connection = incoming.accept().ok()?.await.ok()?;
    let address = connection.remote_address();
    let key = pin::proved_key(&connection)?;
    if tls::agreed_protocol(&connection).as_deref() != Some(tls::LINK_PROTOCOL) {
        return Some(connection);
    }
    if !shared.is_rostered(&key) {
        if key != shared.own {
            shared.knocked(key, address);
            shared.fault(LinkFault::OffRoster { key, address });
        }
        close(&connection, CloseCode::OffRoster);
        return None;
    }
    transport::widen(&connection);
    let own = shared.hello(key, address.ip());
    link::say_hello(&connection, &own).await?;
    match link::read_hello(&connection, shared).await {
        Ok(hello) => {
            link::stand(shared, key, connection, false, &hello);
        }
        Err(Some(code)) => {
            close(&connection, code);
            shared.fault(LinkFault::Hello {
                peer: key,
                address,
                code,
            });
        }
        Err(None) => {}
    }
    None
}
