//! Dial: how does a link come about from this side?
//! Owns: the back-off of each device.   Gives: a link, as long as the device is on the roster.
//! May use: link, shared.   Never: which of two links is kept (links).

use super::code::{CloseCode, close};
use super::hello::Hello;
use super::link::{self, LinkFault};
use super::shared::{Shared, Wanted};
use super::tls::{LINK_PROTOCOL, SERVER_NAME};
use gantline_protocol::ids::DeviceKey;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::Notify;
use tokio::task::JoinSet;

/// From the first packet to the other side's hello. At 30 % loss one dial in a hundred hangs for much longer, and
/// a second one gets through.
pub(super) const DIAL_WITHIN: Duration = Duration::from_secs(3);
/// Between the starts of dials to several addresses of one device.
const NEXT_ADDRESS_AFTER: Duration = Duration::from_millis(100);
/// The first wait after a dial that failed.
const BACK_OFF_FIRST: Duration = Duration::from_millis(200);
/// The longest.
const BACK_OFF_MAX: Duration = Duration::from_secs(3);
/// A link that held for so long was a good one: the next dial starts without a wait.
const HELD_WELL: Duration = Duration::from_secs(5);

/// Keeps this device linked; ends when it is off the roster.
pub(super) async fn keep(shared: Arc<Shared>, key: DeviceKey, wake: Arc<Notify>) {
    let mut back_off = BACK_OFF_FIRST;
    let mut stood_since: Option<Instant> = None;
    loop {
        match shared.wanted(key) {
            Wanted::Nothing => return,
            Wanted::Stands => {
                stood_since.get_or_insert_with(Instant::now);
                wake.notified().await;
                continue;
            }
            Wanted::Dial { addresses, afresh } => {
                let stood = stood_since.take().map(|since| since.elapsed());
                match stood {
                    Some(time) if time < HELD_WELL => {
                        // It came and went: no reason to hurry, or two devices that cannot agree would dial each
                        // other without end.
                        pause(&wake, &mut back_off, afresh).await;
                        if shared.wanted(key) == Wanted::Stands {
                            continue;
                        }
                    }
                    Some(_) => back_off = BACK_OFF_FIRST,
                    None => {}
                }
                if addresses.is_empty() {
                    wake.notified().await;
                    continue;
                }
                let began = tokio::time::Instant::now();
                if !round(&shared, key, &addresses, &wake).await {
                    pause(&wake, &mut back_off, false).await;
                    // News ends the wait, but rounds never follow each other faster than this.
                    tokio::time::sleep_until(began + BACK_OFF_FIRST).await;
                }
            }
        }
    }
}

async fn pause(wake: &Notify, back_off: &mut Duration, afresh: bool) {
    if afresh {
        *back_off = BACK_OFF_FIRST;
    }
    if tokio::time::timeout(jittered(*back_off), wake.notified())
        .await
        .is_ok()
    {
        *back_off = BACK_OFF_FIRST;
    } else {
        *back_off = (*back_off * 2).min(BACK_OFF_MAX);
    }
}

/// Between three quarters of it and the whole, so that two devices do not stay in step.
fn jittered(wait: Duration) -> Duration {
    let mut random = [0; 1];
    // Without a random number the wait is just not varied.
    let _ = getrandom::fill(&mut random);
    wait - wait.mul_f64(f64::from(random[0]) / 1024.0)
}

/// Dials all addresses, one shortly after the other; the first hello wins. Whether a link stands then.
async fn round(
    shared: &Arc<Shared>,
    key: DeviceKey,
    addresses: &[SocketAddr],
    wake: &Notify,
) -> bool {
    let redials = shared.redials(key);
    let mut tried = addresses.to_vec();
    let mut dials = JoinSet::new();
    for (place, address) in (0_u32..).zip(addresses) {
        dials.spawn(dial(
            shared.clone(),
            key,
            *address,
            NEXT_ADDRESS_AFTER * place,
        ));
    }
    loop {
        tokio::select! {
            dialled = dials.join_next() => match dialled {
                None => return false,
                Some(Ok(Ok((connection, hello)))) => {
                    dials.abort_all();
                    let own = shared.hello(key, connection.remote_address().ip());
                    return link::say_hello(&connection, &own).await.is_some()
                        && link::stand(shared, key, connection, true, &hello);
                }
                Some(Ok(Err(fault))) => if let Some(fault) = fault { shared.fault(fault) },
                Some(Err(_)) => {}
            },
            () = wake.notified() => match shared.wanted(key) {
                Wanted::Nothing => return false,
                // The device dialled this one meanwhile. It reads this side's hello before it counts the link, so
                // both cannot give up their own dial for the other's.
                Wanted::Stands if !redials => return true,
                Wanted::Stands => {}
                Wanted::Dial { addresses, .. } => for address in addresses {
                    if !tried.contains(&address) {
                        tried.push(address);
                        dials.spawn(dial(shared.clone(), key, address, Duration::ZERO));
                    }
                },
            },
        }
    }
}

/// One dial, up to the other side's hello. `Err(None)`: nobody there.
async fn dial(
    shared: Arc<Shared>,
    key: DeviceKey,
    address: SocketAddr,
    after: Duration,
) -> Result<(quinn::Connection, Hello), Option<LinkFault>> {
    tokio::time::sleep(after).await;
    let answered = async {
        let config = shared
            .identity
            .dialling(Some(key), LINK_PROTOCOL)
            .map_err(|_| None)?;
        let connecting = shared
            .endpoint
            .connect_with(config, address, SERVER_NAME)
            .map_err(|_| None)?;
        let connection = connecting.await.map_err(|error| {
            is_wrong_key(&error).then_some(LinkFault::WrongKey { peer: key, address })
        })?;
        match link::read_hello(&connection, &shared).await {
            Ok(hello) => Ok((connection, hello)),
            Err(Some(code)) => {
                close(&connection, code);
                Err(Some(LinkFault::Hello {
                    peer: key,
                    address,
                    code,
                }))
            }
            Err(None) => Err(connection
                .close_reason()
                .and_then(|reason| CloseCode::given(&reason))
                .map(|code| LinkFault::Refused {
                    peer: key,
                    address,
                    code,
                })),
        }
    };
    tokio::time::timeout(DIAL_WITHIN, answered)
        .await
        .unwrap_or(Err(None))
}

/// Whether a handshake ended because the key shown was not the one expected.
pub(super) fn is_wrong_key(error: &quinn::ConnectionError) -> bool {
    // 0x100 is where QUIC puts TLS alerts (RFC 9001, section 4.8); 40 to 49 are those about the key shown.
    let quinn::ConnectionError::TransportError(error) = error else {
        return false;
    };
    (0x100 + 40..=0x100 + 49).contains(&u64::from(error.code))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn jitter_only_shortens_and_by_a_quarter_at_most() {
        for _ in 0..1_000 {
            let wait = jittered(BACK_OFF_MAX);
            assert!(
                wait <= BACK_OFF_MAX && wait >= BACK_OFF_MAX.mul_f64(0.75),
                "{wait:?}"
            );
        }
    }
}
