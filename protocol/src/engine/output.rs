//! Effects: the closed list of what a device then does.
//! Owns: nothing.   Gives: `Effect`. The driver carries each out, in order, and judges nothing.
//! May use: ids, command, log.   Never: a socket, a file, a clock.

use crate::engine::command::{CommandId, Outcome};
use crate::ids::DeviceKey;
use crate::log::wire::Entry;
use std::sync::Arc;

/// Names a batch of signatures to check.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct VerifyId(pub u64);

/// Names a batch of entries to make durable.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct FlushId(pub u64);

/// One thing to do.
#[derive(Debug)]
pub enum Effect {
    /// Check these signatures with [`crate::log::sign::verify_batch`], at once or on other threads, and
    /// answer with [`crate::engine::Input::Verified`].
    Verify {
        /// Which batch.
        batch: VerifyId,
        /// The entries.
        entries: Vec<Entry>,
    },
    /// Append these signed bytes to the journal, flush once, and answer with
    /// [`crate::engine::Input::Flushed`] or [`crate::engine::Input::FlushFailed`]. Batches in order.
    Flush {
        /// Which batch.
        batch: FlushId,
        /// Signed bytes of each entry.
        entries: Vec<Arc<[u8]>>,
    },
    /// Send as one datagram; lost is lost.
    Datagram {
        /// To whom; who is not connected gets nothing.
        to: DeviceKey,
        /// At most [`crate::bounds::DATAGRAM_MAX_BYTES`].
        bytes: Arc<[u8]>,
    },
    /// Send as one message on a stream of its own.
    Message {
        /// To whom; who is not connected gets nothing.
        to: DeviceKey,
        /// At most [`crate::bounds::MESSAGE_MAX_BYTES`].
        bytes: Arc<[u8]>,
    },
    /// Answer a command.
    Reply {
        /// Which.
        id: CommandId,
        /// How it went.
        outcome: Outcome,
    },
    /// Who may be talked to from now on: keys of all present devices but the own. Others are strangers;
    /// live connections of keys that are gone are closed.
    Peers {
        /// Their keys.
        keys: Vec<DeviceKey>,
    },
    /// What a page shows may have changed: read the status anew.
    Changed,
    /// Sound and vibrate, or fall silent, on this device.
    Alarm {
        /// The alarm.
        alarm: Alarm,
        /// `false`: silence.
        on: bool,
    },
    /// Answer a stranger's stop: by now it is logged.
    StrangerHeard {
        /// Its key.
        key: DeviceKey,
    },
    /// A peer did what it should not; for the driver's log. Nothing of what it sent was taken.
    Fault {
        /// On whose connection.
        peer: DeviceKey,
        /// What it did.
        fault: crate::sync::PeerFault,
    },
    /// The disk refused entries. The device holds and tries again by itself; for the driver's log.
    DiskFault {
        /// What the disk said.
        why: String,
    },
    /// An error of our own; the device is in Hold and the driver logs the words.
    Bug {
        /// What was found.
        what: String,
    },
}

/// What sounds.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, serde::Serialize, serde::Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum Alarm {
    /// A stop not yet answered `heard` on this device.
    Stop,
    /// Proceed was lost: a link, reading, page or plan.
    HoldByLoss,
    /// A measured value beyond its limit was recorded.
    Clearance,
    /// A device off the roster called stop, or one that was never on the job tried to say something.
    UnknownDevice,
    /// This device's person is missing in a head count.
    Call,
    /// A device forked.
    Fork,
}
