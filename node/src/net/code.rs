//! Code: why does a connection close, and how much may one device ask of another?
//! Owns: the numbers on the wire.   Gives: `CloseCode` and the bounds of this room.
//! May use: nothing.   Never: renumbers; add at the end.

use quinn::VarInt;

/// Why one side closed a connection. The number goes over the wire.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[repr(u32)]
pub enum CloseCode {
    /// The node is stopping.
    Goodbye = 0,
    /// The device is not, or no longer, on the roster as this node knows it.
    OffRoster = 1,
    /// Another connection between the two devices is kept.
    Duplicate = 2,
    /// The other side restarted: this connection is of its earlier run.
    Restarted = 3,
    /// A frame that cannot be: unknown kind, wrong length, cut short, not decompressible.
    BadFrame = 4,
    /// A frame longer than allowed.
    Oversized = 5,
    /// A hello that cannot be read, or not for this device.
    BadHello = 6,
    /// The two nodes speak different versions.
    OtherVersion = 7,
    /// The two nodes are at different jobs.
    OtherJob = 8,
    /// More was to be sent than the link could carry.
    Behind = 9,
    /// Too many strangers at the moment; ask again later.
    Busy = 10,
    /// The answer was given; or the question was withdrawn.
    Answered = 11,
    /// What had to come did not come in time.
    TooSlow = 12,
}

impl CloseCode {
    const ALL: [Self; 13] = [
        Self::Goodbye,
        Self::OffRoster,
        Self::Duplicate,
        Self::Restarted,
        Self::BadFrame,
        Self::Oversized,
        Self::BadHello,
        Self::OtherVersion,
        Self::OtherJob,
        Self::Behind,
        Self::Busy,
        Self::Answered,
        Self::TooSlow,
    ];

    /// The number on the wire.
    #[must_use]
    pub fn number(self) -> VarInt {
        VarInt::from_u32(self as u32)
    }

    /// The reason with this number, if this version knows it.
    #[must_use]
    pub fn from_number(number: VarInt) -> Option<Self> {
        Self::ALL.into_iter().find(|code| code.number() == number)
    }

    /// The reason why the other side closed, if it gave one.
    #[must_use]
    pub fn given(error: &quinn::ConnectionError) -> Option<Self> {
        match error {
            quinn::ConnectionError::ApplicationClosed(close) => Self::from_number(close.error_code),
            _ => None,
        }
    }
}

/// Closes with a reason.
pub(super) fn close(connection: &quinn::Connection, code: CloseCode) {
    connection.close(code.number(), b"");
}

/// Streams that one peer may have open at a time: messages under way.
pub(super) const STREAMS_MAX: u32 = 256;
/// Messages that one link may have waiting or under way, own side.
pub(super) const OUTGOING_MAX: usize = 2_048;
/// Bytes of messages that one link may have waiting or under way, own side.
pub(super) const OUTGOING_MAX_BYTES: usize = 32 * 1024 * 1024;
/// Bytes of one link's messages that are read and not yet taken by the device.
pub(super) const INCOMING_MAX_BYTES: usize = 16 * 1024 * 1024;
/// What each message counts in those bytes beside its own length.
pub(super) const MESSAGE_OVERHEAD_BYTES: usize = 256;
/// Messages behind all others that one link may have under way, each side; more are dropped. A device asks for one
/// at a time, and answers one at a time.
pub(super) const BEHIND_MAX: usize = 8;
/// Datagrams, over all links, that are read and not yet taken by the device; then they are dropped.
pub(super) const DATAGRAMS_WAITING_MAX: usize = 1_024;
/// Handshakes under way at a time. The largest crew is 32; the rest are strangers.
pub(super) const HANDSHAKES_MAX: usize = 64;
/// With more than this many under way a caller must first show that its address is its own.
pub(super) const HANDSHAKES_UNPROVED_MAX: usize = 16;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_reason_comes_back_from_its_number() {
        for code in CloseCode::ALL {
            assert_eq!(CloseCode::from_number(code.number()), Some(code));
        }
        assert_eq!(CloseCode::from_number(VarInt::from_u32(13)), None);
    }
}
