//! Inputs: the closed list of what can happen to a device.
//! Owns: nothing.   Gives: `Input`.
//! May use: ids, command, log::sign.   Never: a socket, a file, a clock.

use crate::engine::command::{Command, CommandId};
use crate::engine::output::{FlushId, VerifyId};
use crate::ids::DeviceKey;
use crate::log::sign::{BadSignature, Verified};

/// One thing that happened. Every input comes with `Now`, which is never earlier than at the input before.
#[derive(Debug)]
pub enum Input {
    /// A person did something. The answer is [`crate::engine::Effect::Reply`] with the same id.
    Command {
        /// Names it.
        id: CommandId,
        /// What.
        command: Command,
    },
    /// The device's page gave a sign of life. Once a page has, its silence counts (gate PAGE); a device
    /// without a page (a test, a script) is never silent.
    PageAlive,
    /// The page said goodbye in good order; its silence no longer counts.
    PageClosed,
    /// A connection to this device stands, after its hello was read.
    Up {
        /// Its key, proved by the handshake.
        peer: DeviceKey,
    },
    /// The connection is gone.
    Down {
        /// Its key.
        peer: DeviceKey,
    },
    /// A device refused a link, as this one is off the job by its roster.
    OffRoster {
        /// Whose word that is.
        by: DeviceKey,
    },
    /// A datagram.
    Datagram {
        /// From whom it came, which need not be who made it.
        from: DeviceKey,
        /// Its bytes, at most [`crate::bounds::DATAGRAM_MAX_BYTES`] or it is refused.
        bytes: Vec<u8>,
    },
    /// A whole message from a stream.
    Message {
        /// From whom.
        from: DeviceKey,
        /// Its bytes, at most [`crate::bounds::MESSAGE_MAX_BYTES`] or it is refused.
        bytes: Vec<u8>,
    },
    /// Signatures were checked, as asked by [`crate::engine::Effect::Verify`].
    Verified {
        /// Which batch.
        batch: VerifyId,
        /// Those that are good, in the order given.
        good: Vec<Verified>,
        /// Those that are not.
        bad: Vec<BadSignature>,
    },
    /// A batch is on the disk and will survive the loss of power.
    Flushed {
        /// Which batch.
        batch: FlushId,
    },
    /// A batch is not on the disk.
    FlushFailed {
        /// Which batch.
        batch: FlushId,
        /// What the system said.
        why: String,
    },
    /// A device off the roster called a stop (by its own node, on a connection of strangers).
    StrangerStop {
        /// Its key.
        key: DeviceKey,
        /// Its words, any length; kept to the bound.
        words: String,
    },
    /// Nothing happened, but the deadline is reached. Too early is a no-op.
    Tick,
}
