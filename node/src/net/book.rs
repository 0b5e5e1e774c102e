//! Book: where might a device be?
//! Owns: the addresses known of each device.   Gives: candidates to dial, what to tell others.
//! May use: protocol's ids.   Never: sockets; whether a device is there (only a hello says that).

use super::hello::{ADDRESSES_MAX, Known};
use gantline_protocol::ids::DeviceKey;
use std::collections::BTreeMap;
use std::net::{IpAddr, SocketAddr, SocketAddrV6};

/// How an address came to be known.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Source {
    /// The device itself was there, with its key.
    Seen,
    /// A person, a store or a plan gave it.
    Given,
    /// Multicast or another device told it.
    Told,
}

/// Addresses of devices, newest first within each source, bounded for each device.
#[derive(Debug, Default)]
pub(super) struct Book {
    devices: BTreeMap<DeviceKey, Vec<(Source, SocketAddr)>>,
}

impl Book {
    /// Notes an address; whether it is new for this device. One that can lead nowhere is not noted.
    pub(super) fn note(&mut self, key: DeviceKey, source: Source, address: SocketAddr) -> bool {
        let Some(address) = usable(address) else {
            return false;
        };
        let list = self.devices.entry(key).or_default();
        let before = list.iter().position(|(_, known)| *known == address);
        let best = match before.map(|at| list.remove(at)) {
            Some((earlier, _)) => earlier.min(source),
            None => source,
        };
        let at = list.partition_point(|(other, _)| *other < best);
        list.insert(at, (best, address));
        // The least trusted and oldest goes, so that hearsay cannot push out what is known.
        list.truncate(ADDRESSES_MAX);
        before.is_none() && list.iter().any(|(_, known)| *known == address)
    }

    /// Notes given addresses, the first as the likeliest; whether that changed anything.
    pub(super) fn give(&mut self, key: DeviceKey, addresses: &[SocketAddr]) -> bool {
        let before = self.candidates(key);
        for address in addresses.iter().take(ADDRESSES_MAX).rev() {
            self.note(key, Source::Given, *address);
        }
        self.candidates(key) != before
    }

    /// Where to dial, likeliest first.
    pub(super) fn candidates(&self, key: DeviceKey) -> Vec<SocketAddr> {
        self.devices
            .get(&key)
            .map(|list| list.iter().map(|(_, address)| *address).collect())
            .unwrap_or_default()
    }

    /// Of how many devices anything is noted.
    pub(super) fn devices(&self) -> usize {
        self.devices.len()
    }

    /// What to tell other devices: of those that `tell` names.
    pub(super) fn known(&self, tell: impl Fn(&DeviceKey) -> bool) -> Known {
        self.devices
            .iter()
            .filter(|(key, list)| tell(key) && !list.is_empty())
            .map(|(key, list)| (*key, list.iter().map(|(_, address)| *address).collect()))
            .collect()
    }
}

/// The one form of an address that can be dialled.
pub(super) fn usable(address: SocketAddr) -> Option<SocketAddr> {
    let canonical = match address {
        SocketAddr::V6(v6) if v6.ip().to_ipv4_mapped().is_none() => {
            // The interface matters for link-local addresses, which exist once on each; what else a version 6
            // address can carry beside would make one address look like two.
            let scope = match v6.ip().is_unicast_link_local() {
                true => v6.scope_id(),
                false => 0,
            };
            SocketAddr::V6(SocketAddrV6::new(*v6.ip(), v6.port(), 0, scope))
        }
        other => SocketAddr::new(other.ip().to_canonical(), other.port()),
    };
    let ip = canonical.ip();
    let nowhere = canonical.port() == 0
        || ip.is_unspecified()
        || ip.is_multicast()
        || matches!(ip, IpAddr::V4(v4) if v4.is_broadcast());
    (!nowhere).then_some(canonical)
}

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: DeviceKey = DeviceKey([1; 32]);

    fn at(last: u8) -> SocketAddr {
        SocketAddr::from(([10, 0, 0, last], 4_000))
    }

    #[test]
    fn seen_before_given_before_told_and_newest_first() {
        let mut book = Book::default();
        assert!(book.note(KEY, Source::Told, at(1)));
        assert!(book.note(KEY, Source::Told, at(2)));
        assert!(book.give(KEY, &[at(3), at(4)]));
        assert!(book.note(KEY, Source::Seen, at(5)));
        assert_eq!(book.candidates(KEY), [at(5), at(3), at(4), at(2), at(1)]);
        assert!(!book.note(KEY, Source::Told, at(5)), "known already");
        assert_eq!(book.candidates(KEY)[0], at(5), "and does not sink");
    }

    #[test]
    fn hearsay_cannot_push_out_what_is_known() {
        let mut book = Book::default();
        book.note(KEY, Source::Seen, at(1));
        book.give(KEY, &[at(2)]);
        for last in 10..=250 {
            book.note(KEY, Source::Told, at(last));
        }
        let list = book.candidates(KEY);
        assert_eq!(list.len(), ADDRESSES_MAX);
        assert_eq!(list[..2], [at(1), at(2)]);
    }

    #[test]
    fn given_addresses_add_up_the_last_given_first() {
        let mut book = Book::default();
        assert!(book.give(KEY, &[at(1), at(2)]));
        assert!(book.give(KEY, &[at(3)]));
        assert!(!book.give(KEY, &[at(3)]));
        assert_eq!(book.candidates(KEY), [at(3), at(1), at(2)]);
    }

    #[test]
    fn addresses_that_lead_nowhere_are_not_noted() {
        let mut book = Book::default();
        for nowhere in [
            "0.0.0.0:1",
            "10.0.0.1:0",
            "224.0.0.251:5353",
            "[::]:7",
            "255.255.255.255:9",
        ] {
            let address = nowhere.parse();
            assert!(address.is_ok());
            assert!(
                !address.is_ok_and(|address| book.note(KEY, Source::Told, address)),
                "{nowhere}"
            );
        }
        let mapped = SocketAddr::from(([0, 0, 0, 0, 0, 0xffff, 0x0a00, 1], 4_000));
        assert!(book.note(KEY, Source::Told, mapped));
        assert_eq!(book.candidates(KEY), [at(1)], "one form for one address");
        let scoped = |ip: &str| {
            ip.parse()
                .ok()
                .map(|ip| SocketAddrV6::new(ip, 4_000, 0, 4).into())
        };
        let (wide, local) = (scoped("fd00::2"), scoped("fe80::2"));
        let plain = "[fd00::2]:4000".parse().ok();
        assert!(wide.is_some() && plain.is_some() && local.is_some());
        assert_eq!(wide.and_then(usable), plain);
        assert_eq!(local.and_then(usable), local);
    }
}
