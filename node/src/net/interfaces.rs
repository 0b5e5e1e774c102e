//! Interfaces: at which addresses can this device be dialled?
//! Owns: nothing.   Gives: the own addresses, looked at each second, and the other work of each second.
//! May use: shared, if-addrs.   Never: opens sockets.

use super::shared::Shared;
use std::collections::BTreeSet;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

/// The library's own watchers differ by system; reading the list takes some ten microseconds.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// Runs until the network stops.
pub(super) async fn watch(shared: Arc<Shared>) {
    let mut seconds = tokio::time::interval(LOOK_EVERY);
    seconds.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Skip);
    loop {
        seconds.tick().await;
        if shared.is_stopped() {
            return;
        }
        // When the list cannot be read, the last one stands.
        if let Some(addresses) = own_addresses(shared.address) {
            shared.own_addresses(addresses);
        }
        shared.each_second();
    }
}

/// All addresses of this device under which the socket can be reached from elsewhere, sorted; loopback is left out
/// unless the socket listens there only. `None`: the system does not say.
pub(super) fn own_addresses(listens: SocketAddr) -> Option<Vec<SocketAddr>> {
    if !listens.ip().is_unspecified() {
        return Some(vec![listens]);
    }
    let addresses: BTreeSet<SocketAddr> = if_addrs::get_if_addrs()
        .ok()?
        .into_iter()
        .filter(|interface| !interface.is_loopback())
        .map(|interface| interface.ip())
        .filter(|ip| match ip {
            IpAddr::V4(_) => true,
            // Link-local addresses of version 6 mean something on one interface of one device only.
            IpAddr::V6(v6) => listens.is_ipv6() && !v6.is_unicast_link_local(),
        })
        .map(|ip| SocketAddr::new(ip, listens.port()))
        .collect();
    Some(
        addresses
            .into_iter()
            .take(super::hello::ADDRESSES_MAX)
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_socket_on_one_address_has_that_one() {
        let only = SocketAddr::from(([127, 0, 0, 1], 4_000));
        assert_eq!(own_addresses(only), Some(vec![only]));
    }

    #[test]
    fn a_socket_on_all_addresses_has_its_port_on_each_and_no_loopback() {
        let all = own_addresses(SocketAddr::from(([0, 0, 0, 0], 4_000))).unwrap_or_default();
        assert!(
            all.iter()
                .all(|address| address.port() == 4_000 && address.is_ipv4())
        );
        assert!(all.iter().all(|address| !address.ip().is_loopback()));
    }
}
