//! Addresses: what this device knows of where the others are, and tells them.
//! Owns: nothing beside the table of `shared`.   Gives: the address side of it, and the work of each second.
//! May use: book, hello, shared.   Never: waits while it holds the lock.

use super::super::NetEvent;
use super::super::book::Source;
use super::super::hello::{Known, News};
use super::{Shared, Table};
use gantline_protocol::bounds::DEVICES_MAX;
use gantline_protocol::ids::{DeviceKey, DeviceTag, JobId};
use std::net::{IpAddr, SocketAddr};
use std::time::{Duration, Instant};

/// With nobody heard for so long a person is told.
const NOBODY_AFTER: Duration = Duration::from_secs(5);

impl Shared {
    /// What is told to a device: of itself nothing, of the others all, but not addresses that mean something
    /// else where it is.
    pub(super) fn known(&self, table: &Table, to: DeviceKey, at: IpAddr) -> Known {
        let here = at.to_canonical().is_loopback();
        let elsewhere = |address: &SocketAddr| {
            let ip = address.ip();
            (here || !ip.is_loopback()) && !is_link_local(ip)
        };
        let mut known = table
            .book
            .known(|key| *key != to && table.peers.contains_key(key));
        known.push((self.own, table.own_addresses.clone()));
        for (_, list) in &mut known {
            list.retain(elsewhere);
        }
        known.retain(|(_, list)| !list.is_empty());
        known.truncate(DEVICES_MAX);
        known
    }

    /// What a device told of addresses.
    pub(in super::super) fn news(&self, known: &Known) {
        self.told(&mut self.table(), known);
    }

    pub(super) fn told(&self, table: &mut Table, known: &Known) {
        for (key, addresses) in known.iter().filter(|(key, _)| *key != self.own) {
            if !table.has_room_for(key) {
                continue;
            }
            let mut new = false;
            for address in addresses.iter().rev() {
                new |= table.book.note(*key, Source::Told, *address);
            }
            if new {
                self.addresses_changed(table, *key);
            }
        }
    }

    pub(super) fn addresses_changed(&self, table: &mut Table, key: DeviceKey) {
        // Told to the device and to the others each second, however often it happens.
        table.news_due = true;
        table.changed.insert(key);
        self.mention(table, key);
    }

    pub(super) fn mention(&self, table: &mut Table, key: DeviceKey) {
        if let Some(peer) = table.peers.get_mut(&key) {
            peer.mentioned = true;
            peer.wake.notify_one();
        }
    }

    /// Multicast announced a device of some job, or of none.
    pub(in super::super) fn announced(
        &self,
        job: Option<&str>,
        tag: DeviceTag,
        addresses: &[SocketAddr],
    ) {
        let mut table = self.table();
        table.heard = Some(Instant::now());
        table.nobody_told = false;
        if job != self.job.map(|job| short_job(&job)).as_deref() {
            return;
        }
        let Some(key) = table.peers.keys().find(|key| key.tag() == tag).copied() else {
            return;
        };
        let mut new = false;
        for address in addresses {
            new |= table.book.note(key, Source::Told, *address);
        }
        if new {
            self.addresses_changed(&mut table, key);
        } else {
            self.mention(&mut table, key);
        }
    }

    /// The own addresses, read each second. After a change every device is dialled anew: the links that others
    /// dialled to the old address are dead, and only this side can know at once.
    pub(in super::super) fn own_addresses(&self, addresses: Vec<SocketAddr>) {
        let mut table = self.table();
        if table.own_addresses == addresses {
            return;
        }
        let is_change = !table.own_addresses.is_empty();
        table.own_addresses.clone_from(&addresses);
        table.news_due = true;
        self.tell(NetEvent::OwnAddresses(addresses));
        if is_change {
            for peer in table.peers.values_mut() {
                peer.redial = true;
                peer.mentioned = true;
                peer.wake.notify_one();
            }
        }
    }

    /// What is due each second: addresses of devices that moved, news to the others, and whether anyone is heard.
    pub(in super::super) fn each_second(&self) {
        let mut table = self.table();
        let mut seen = Vec::new();
        for (key, peer) in &table.peers {
            for (link, dialled) in peer.links.all() {
                // Only a dialler can move without a new connection.
                if !dialled {
                    seen.push((*key, link.connection.remote_address()));
                }
            }
        }
        let any_link = table.peers.values().any(|peer| !peer.links.is_empty());
        for (key, address) in seen {
            if table.book.note(key, Source::Seen, address) {
                self.addresses_changed(&mut table, key);
            }
        }
        for key in std::mem::take(&mut table.changed) {
            self.tell(NetEvent::Addresses(key, table.book.candidates(key)));
        }
        if std::mem::take(&mut table.news_due) {
            for (key, peer) in &table.peers {
                if let Some(link) = peer.links.best() {
                    let at = link.connection.remote_address().ip();
                    let known = self.known(&table, *key, at);
                    link.send_news(&News { known });
                }
            }
        }
        if any_link {
            table.heard = Some(Instant::now());
            table.nobody_told = false;
        }
        let waits = !table.peers.is_empty() || self.discovery;
        let silent = table
            .heard
            .is_none_or(|heard| heard.elapsed() >= NOBODY_AFTER);
        if waits && silent && !table.nobody_told {
            table.nobody_told = true;
            self.tell(NetEvent::NobodyHeard);
        }
    }
}

/// The short form of a job that is announced to everyone in reach.
pub(in super::super) fn short_job(job: &JobId) -> String {
    DeviceTag(job.0[..8].try_into().unwrap_or_default()).to_string()
}

fn is_link_local(ip: IpAddr) -> bool {
    // Of version 6: these mean something on one interface of one device only.
    matches!(ip, IpAddr::V6(v6) if v6.is_unicast_link_local())
}
