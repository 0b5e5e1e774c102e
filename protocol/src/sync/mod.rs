//! Sync: what to ask for, what to give, and how much of it, derived from two sets of heights each time.
//! In reading order: `message` bytes · `height` what follows from two sets of heights · `bucket` how much.

mod bucket;
mod height;
mod message;

pub use bucket::Bucket;

pub use height::{
    Heights, InHand, ahead_of, given, heights, lack, misses_fork, to_give, unlisted, with_in_hand,
};
pub use message::{Ask, BadMessage, Datagram, Message};

use crate::ids::DeviceKey;

/// What a peer did that it should not; the driver logs it and may drop the connection.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum PeerFault {
    /// A datagram or message that is none.
    #[error("{peer} sent bytes that are no message: {bad}")]
    Message {
        /// Who sent it.
        peer: DeviceKey,
        /// What was wrong.
        bad: BadMessage,
    },
    /// A beacon that is none, or is not signed by the device it names.
    #[error("{peer} sent a bad beacon: {bad}")]
    Beacon {
        /// Who sent it.
        peer: DeviceKey,
        /// What was wrong.
        bad: crate::watch::BadBeacon,
    },
    /// Bytes that are no entry.
    #[error("{peer} sent an entry that is none: {bad}")]
    Entry {
        /// Who sent it.
        peer: DeviceKey,
        /// What was wrong.
        bad: crate::log::wire::BadBytes,
    },
    /// An entry that can never go in: another job's, a broken chain, an author never admitted.
    #[error("entry {seq} of {author} is refused: {why}")]
    Refused {
        /// Its author.
        author: DeviceKey,
        /// Its number.
        seq: u32,
        /// What was wrong.
        why: String,
    },
    /// A signature that is not its author's.
    #[error("{bad}")]
    Signature {
        /// Which.
        bad: crate::log::sign::BadSignature,
    },
    /// More new entries a second than one device may send. The rest is asked for when there is time.
    #[error(
        "{peer} sends more than {} entries a second",
        crate::bounds::ENTRIES_PER_SECOND_MAX
    )]
    TooFast {
        /// Who.
        peer: DeviceKey,
    },
    /// A peer asks more often than it may.
    #[error("{peer} asks for more than it can be given")]
    AsksTooMuch {
        /// Who.
        peer: DeviceKey,
    },
    /// Somebody off the roster on a connection of the crew.
    #[error("{peer} is not on the job")]
    NotOnTheJob {
        /// Who.
        peer: DeviceKey,
    },
}
