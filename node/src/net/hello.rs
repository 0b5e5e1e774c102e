//! Hello: what do two devices tell each other first?
//! Owns: nothing.   Gives: `Hello` and `News` as values and bytes, and whether a hello will do.
//! May use: protocol's ids, code.   Never: sockets; whom to tell (link sends these to rostered devices only).

use super::LINK_VERSION;
use super::code::CloseCode;
use gantline_protocol::bounds::DEVICES_MAX;
use gantline_protocol::ids::{DeviceKey, JobId};
use serde::{Deserialize, Serialize};
use std::net::SocketAddr;

/// Addresses of a device that are kept and told.
pub(super) const ADDRESSES_MAX: usize = 8;

/// Addresses that one device knows of others and of itself.
pub(super) type Known = Vec<(DeviceKey, Vec<SocketAddr>)>;

/// First words on a link; the accepting side speaks first, and the dialler answers with its own. Until it has read
/// the other's, neither counts the link.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct Hello {
    /// [`LINK_VERSION`]; stays the first field for ever.
    pub(super) version: u16,
    /// The key of the device that is spoken to: both agree on who they are.
    pub(super) you: DeviceKey,
    /// Drawn at each start of the network: tells a restart from a second link.
    pub(super) run: u64,
    /// The job, where there is one.
    pub(super) job: Option<JobId>,
    /// Where this device listens, on whatever address it has.
    pub(super) port: u16,
    /// What it knows of addresses.
    pub(super) known: Known,
}

/// Addresses, told again after a change.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct News {
    /// All it knows.
    pub(super) known: Known,
}

impl Hello {
    /// Reads a hello and checks that a link can stand on it.
    ///
    /// # Errors
    /// The reason to close for.
    pub(super) fn read(
        bytes: &[u8],
        own: DeviceKey,
        job: Option<JobId>,
    ) -> Result<Self, CloseCode> {
        // The version decides how the rest reads, so it is looked at alone.
        let (version, _) =
            postcard::take_from_bytes::<u16>(bytes).map_err(|_| CloseCode::BadHello)?;
        if version != LINK_VERSION {
            return Err(CloseCode::OtherVersion);
        }
        let hello: Self = whole(bytes).ok_or(CloseCode::BadHello)?;
        if hello.you != own || !in_bounds(&hello.known) {
            return Err(CloseCode::BadHello);
        }
        match (hello.job, job) {
            (Some(theirs), Some(ours)) if theirs != ours => Err(CloseCode::OtherJob),
            _ => Ok(hello),
        }
    }

    /// The bytes.
    pub(super) fn write(&self) -> Vec<u8> {
        postcard::to_stdvec(self).unwrap_or_default()
    }
}

impl News {
    /// Reads news of addresses.
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        whole::<Self>(bytes).filter(|news| in_bounds(&news.known))
    }

    /// The bytes.
    pub(super) fn write(&self) -> Vec<u8> {
        postcard::to_stdvec(self).unwrap_or_default()
    }
}

fn whole<'a, T: Deserialize<'a>>(bytes: &'a [u8]) -> Option<T> {
    match postcard::take_from_bytes(bytes) {
        Ok((value, [])) => Some(value),
        _ => None,
    }
}

fn in_bounds(known: &Known) -> bool {
    known.len() <= DEVICES_MAX && known.iter().all(|(_, list)| list.len() <= ADDRESSES_MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    const OWN: DeviceKey = DeviceKey([1; 32]);

    fn hello() -> Hello {
        Hello {
            version: LINK_VERSION,
            you: OWN,
            run: 5,
            job: Some(JobId([2; 32])),
            port: 4_000,
            known: vec![(
                DeviceKey([3; 32]),
                vec![SocketAddr::from(([10, 0, 0, 1], 4_001))],
            )],
        }
    }

    #[test]
    fn a_hello_comes_back() {
        let sent = hello();
        assert_eq!(Hello::read(&sent.write(), OWN, sent.job), Ok(sent.clone()));
        assert_eq!(Hello::read(&sent.write(), OWN, None), Ok(sent));
    }

    #[test]
    fn each_flaw_has_its_reason() {
        let refused = |hello: Hello| Hello::read(&hello.write(), OWN, Some(JobId([2; 32])));
        assert!(refused(hello()).is_ok());
        assert_eq!(
            refused(Hello {
                version: LINK_VERSION + 1,
                ..hello()
            }),
            Err(CloseCode::OtherVersion)
        );
        assert_eq!(
            refused(Hello {
                you: DeviceKey([9; 32]),
                ..hello()
            }),
            Err(CloseCode::BadHello)
        );
        assert_eq!(
            refused(Hello {
                job: Some(JobId([8; 32])),
                ..hello()
            }),
            Err(CloseCode::OtherJob)
        );
        let many = vec![SocketAddr::from(([10, 0, 0, 1], 1)); ADDRESSES_MAX + 1];
        assert_eq!(
            refused(Hello {
                known: vec![(OWN, many)],
                ..hello()
            }),
            Err(CloseCode::BadHello)
        );
        let mut long = hello().write();
        long.push(0);
        assert_eq!(Hello::read(&long, OWN, None), Err(CloseCode::BadHello));
        assert_eq!(Hello::read(&[], OWN, None), Err(CloseCode::BadHello));
    }

    #[test]
    fn a_hello_of_the_largest_crew_fits_its_frame() {
        let address = SocketAddr::from(([0xffff; 8], u16::MAX));
        let known = vec![(DeviceKey([0xff; 32]), vec![address; ADDRESSES_MAX]); DEVICES_MAX];
        let bytes = Hello { known, ..hello() }.write();
        assert!(
            super::super::frame::frame(super::super::frame::Kind::Hello, &bytes).is_ok(),
            "{} bytes",
            bytes.len()
        );
    }
}
