//! Discover: who is near?
//! Owns: the multicast DNS service of this device.   Gives: addresses that devices announce.
//! May use: shared, mdns-sd.   Never: takes an announcement for a sign of life, or for the truth about who it is.
//!
//! What is announced is for everyone in radio reach: the short tags of job and device, and where it listens. Where
//! the network carries no multicast nothing is found and nothing breaks.

use super::shared::{Shared, short_job};
use gantline_protocol::ids::DeviceTag;
use mdns_sd::{IfKind, ResolvedService, ScopedIp, ServiceDaemon, ServiceEvent, ServiceInfo};
use std::collections::BTreeMap;
use std::net::{IpAddr, SocketAddr, SocketAddrV6};
use std::sync::{Arc, Weak};
use std::time::{Duration, Instant};

/// The kind of service (RFC 6763, section 7).
const SERVICE: &str = "_gantline._udp.local.";
/// A daemon that ended, or could not start, is started again after this.
const AGAIN_AFTER: Duration = Duration::from_secs(10);
/// How soon the daemon sees a new interface.
const INTERFACES_EVERY_S: u32 = 1;
/// How soon the reader sees that the network stopped.
const STOP_SEEN_WITHIN: Duration = Duration::from_secs(1);
/// Devices that one look round returns at most.
const FOUND_MAX: usize = 64;

/// A device that announces itself.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Found {
    /// The short form of its key, as it says.
    pub device: DeviceTag,
    /// The first eight bytes of the job it is at, as text, if it is at one.
    pub job: Option<String>,
    /// Where it listens.
    pub addresses: Vec<SocketAddr>,
}

/// Announces this device and listens for others, on a thread of its own, until the network stops.
pub(super) fn start(shared: &Arc<Shared>) {
    let weak = Arc::downgrade(shared);
    // Without the thread nothing is found, as on a network without multicast.
    let _ = std::thread::Builder::new()
        .name("discover".to_owned())
        .spawn(move || {
            while let Some(shared) = running(&weak) {
                let daemon = announce(&shared);
                drop(shared);
                if let Some(daemon) = daemon {
                    listen(&daemon, &weak);
                    // Says goodbye to the others where it can.
                    if let Ok(done) = daemon.shutdown() {
                        let _ = done.recv_timeout(STOP_SEEN_WITHIN);
                    }
                }
                let until = Instant::now() + AGAIN_AFTER;
                while running(&weak).is_some() && Instant::now() < until {
                    std::thread::sleep(STOP_SEEN_WITHIN);
                }
            }
        });
}

fn running(weak: &Weak<Shared>) -> Option<Arc<Shared>> {
    weak.upgrade().filter(|shared| !shared.is_stopped())
}

fn announce(shared: &Shared) -> Option<ServiceDaemon> {
    let daemon = ServiceDaemon::new().ok()?;
    let _ = daemon.set_ip_check_interval(INTERFACES_EVERY_S);
    let tag = shared.own.tag().to_string();
    let mut properties = vec![("device", tag.clone())];
    properties.extend(shared.job.map(|job| ("job", short_job(&job))));
    let host = format!("gantline-{tag}.local.");
    let port = shared.address.port();
    let ip = shared.address.ip();
    let info = if ip.is_unspecified() {
        if ip.is_ipv4() {
            let _ = daemon.disable_interface(IfKind::IPv6);
        }
        ServiceInfo::new(SERVICE, &tag, &host, (), port, properties.as_slice())
            .map(ServiceInfo::enable_addr_auto)
    } else {
        ServiceInfo::new(SERVICE, &tag, &host, ip, port, properties.as_slice())
    };
    daemon.register(info.ok()?).ok()?;
    Some(daemon)
}

fn listen(daemon: &ServiceDaemon, weak: &Weak<Shared>) {
    let Ok(events) = daemon.browse(SERVICE) else {
        return;
    };
    while let Some(shared) = running(weak) {
        match events.recv_timeout(STOP_SEEN_WITHIN) {
            Ok(ServiceEvent::ServiceResolved(service)) => {
                if let Some(found) = found(&service)
                    && found.device != shared.own.tag()
                {
                    shared.announced(found.job.as_deref(), found.device, &found.addresses);
                }
            }
            Ok(_) => {}
            Err(_) if events.is_disconnected() => return,
            Err(_) => {}
        }
    }
}

fn found(service: &ResolvedService) -> Option<Found> {
    Some(Found {
        device: service.get_property_val_str("device")?.parse().ok()?,
        job: service.get_property_val_str("job").map(str::to_owned),
        addresses: service
            .addresses
            .iter()
            .take(super::hello::ADDRESSES_MAX)
            .map(|ip| socket_address(ip, service.port))
            .collect(),
    })
}

fn socket_address(ip: &ScopedIp, port: u16) -> SocketAddr {
    match (ip.to_ip_addr(), ip) {
        (IpAddr::V6(v6), ScopedIp::V6(scoped)) => {
            SocketAddrV6::new(v6, port, 0, scoped.scope_id().index).into()
        }
        (ip, _) => SocketAddr::new(ip, port),
    }
}

/// Looks round for so long for devices that announce themselves, from a device that need not be on a job.
/// Empty where the network carries no multicast. Blocks the thread.
#[must_use]
pub fn look_around(within: Duration) -> Vec<Found> {
    let mut all: BTreeMap<DeviceTag, Found> = BTreeMap::new();
    let Ok(daemon) = ServiceDaemon::new() else {
        return Vec::new();
    };
    let until = Instant::now() + within;
    if let Ok(events) = daemon.browse(SERVICE) {
        while let Some(left) = until.checked_duration_since(Instant::now()) {
            match events.recv_timeout(left) {
                Ok(ServiceEvent::ServiceResolved(service)) => {
                    if let Some(found) = found(&service)
                        && all.len() < FOUND_MAX
                    {
                        all.insert(found.device, found);
                    }
                }
                Ok(_) => {}
                Err(_) => break,
            }
        }
    }
    let _ = daemon.shutdown();
    all.into_values().collect()
}
