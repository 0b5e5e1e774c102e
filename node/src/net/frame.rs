//! Frame: which bytes are one message on a stream?
//! Owns: nothing.   Gives: frames as bytes and back, packed when that pays, never longer than allowed.
//! May use: protocol's bounds.   Never: sockets; what the bytes mean.
//!
//! A frame is alone on its stream: kind (1 byte), length as sent and length as meant (4 bytes each, little
//! end first), the bytes, and the end of the stream.

use gantline_protocol::bounds::{MESSAGE_MAX_BYTES, PHOTO_MESSAGE_MAX_BYTES};
use std::borrow::Cow;

/// What precedes the bytes.
pub(super) const HEADER_BYTES: usize = 9;
/// Shorter bytes are sent as they are: packing gains nothing there.
const PACK_FROM_BYTES: usize = 1_024;
/// The quickest level: it is there to save the radio some of its time, at no delay of its own.
const PACK_LEVEL: i32 = 1;
/// A message up to this length goes before longer ones.
const SHORT_MAX_BYTES: usize = 16 * 1024;
/// Longest hello or news of addresses.
const HELLO_MAX_BYTES: usize = 16 * 1024;

/// What a frame is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Kind {
    /// First words of each side.
    Hello,
    /// Addresses, after a change.
    News,
    /// A message of the protocol.
    Message,
    /// One that goes behind all others: a piece of a photo, or what is said about one.
    Behind,
}

impl Kind {
    fn number(self) -> u8 {
        match self {
            Self::Hello => 1,
            Self::News => 2,
            Self::Message => 3,
            Self::Behind => 4,
        }
    }

    fn max_bytes(self) -> usize {
        match self {
            Self::Hello | Self::News => HELLO_MAX_BYTES,
            Self::Message => MESSAGE_MAX_BYTES,
            Self::Behind => PHOTO_MESSAGE_MAX_BYTES,
        }
    }

    /// What it goes before and after on its link: short messages (a stop, an acknowledgement) before the bulk of a
    /// catch-up, photos behind both.
    pub(super) fn priority(self, length: usize) -> i32 {
        match self {
            Self::Behind => -1,
            _ if length <= SHORT_MAX_BYTES => 1,
            _ => 0,
        }
    }
}

/// Set beside the kind's number when the bytes are packed.
const PACKED: u8 = 0x80;

/// A frame that is not one.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum FrameError {
    /// No kind has this number.
    #[error("found frame kind {found}, expected 1 to 4, plus 128 when packed")]
    Kind {
        /// What was there.
        found: u8,
    },
    /// Another kind than has to come here.
    #[error("found a frame of another kind than has to come here")]
    OutOfTurn,
    /// Longer than allowed; none of it was read.
    #[error("found a frame of {found} bytes, allowed are {allowed}")]
    Oversized {
        /// What it claims.
        found: usize,
        /// What would be allowed.
        allowed: usize,
    },
    /// The two lengths do not fit together.
    #[error("found {sent} bytes as sent for {meant} as meant")]
    Lengths {
        /// As sent.
        sent: usize,
        /// As meant.
        meant: usize,
    },
    /// The stream ended early, or was given up.
    #[error("the stream ended before the frame did")]
    Cut,
    /// The stream goes on after the frame.
    #[error("the stream goes on after the frame")]
    Trailing,
    /// The packed bytes do not unpack to the length they claim.
    #[error("the packed bytes do not unpack to {meant} bytes")]
    Unpackable {
        /// What they claim.
        meant: usize,
    },
}

/// The first bytes of a frame, checked: nothing longer than allowed gets past this.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Header {
    /// What it is.
    pub(super) kind: Kind,
    /// Bytes that follow.
    pub(super) sent: usize,
    /// Bytes they stand for.
    pub(super) meant: usize,
    packed: bool,
}

impl Header {
    /// Reads and checks.
    ///
    /// # Errors
    /// [`FrameError::Kind`], [`FrameError::Oversized`], [`FrameError::Lengths`].
    pub(super) fn read(bytes: [u8; HEADER_BYTES]) -> Result<Self, FrameError> {
        let [mark, a, b, c, d, e, f, g, h] = bytes;
        let length = |bytes| usize::try_from(u32::from_le_bytes(bytes)).unwrap_or(usize::MAX);
        let (sent, meant) = (length([a, b, c, d]), length([e, f, g, h]));
        let packed = mark & PACKED != 0;
        let kind = [Kind::Hello, Kind::News, Kind::Message, Kind::Behind]
            .into_iter()
            .find(|kind| kind.number() == mark & !PACKED)
            .ok_or(FrameError::Kind { found: mark })?;
        let allowed = kind.max_bytes();
        let found = sent.max(meant);
        if found > allowed {
            return Err(FrameError::Oversized { found, allowed });
        }
        // Packed only where that is shorter, so that one message has few forms.
        let fits = if packed { sent < meant } else { sent == meant };
        if !fits {
            return Err(FrameError::Lengths { sent, meant });
        }
        Ok(Self {
            kind,
            sent,
            meant,
            packed,
        })
    }

    fn write(self) -> [u8; HEADER_BYTES] {
        let mark = self.kind.number() | if self.packed { PACKED } else { 0 };
        let length = |n: usize| u32::try_from(n).unwrap_or(u32::MAX).to_le_bytes();
        let ([a, b, c, d], [e, f, g, h]) = (length(self.sent), length(self.meant));
        [mark, a, b, c, d, e, f, g, h]
    }

    /// The bytes that were meant. Never takes more room than the header allowed.
    ///
    /// # Errors
    /// [`FrameError::Unpackable`].
    pub(super) fn open(self, body: Vec<u8>) -> Result<Vec<u8>, FrameError> {
        if !self.packed {
            return Ok(body);
        }
        match zstd::bulk::decompress(&body, self.meant) {
            Ok(bytes) if bytes.len() == self.meant => Ok(bytes),
            _ => Err(FrameError::Unpackable { meant: self.meant }),
        }
    }
}

/// A frame ready to be sent: header and bytes.
///
/// # Errors
/// [`FrameError::Oversized`].
pub(super) fn frame(
    kind: Kind,
    bytes: &[u8],
) -> Result<([u8; HEADER_BYTES], Cow<'_, [u8]>), FrameError> {
    let allowed = kind.max_bytes();
    if bytes.len() > allowed {
        return Err(FrameError::Oversized {
            found: bytes.len(),
            allowed,
        });
    }
    // Pictures are packed by their own means.
    let packed = (bytes.len() >= PACK_FROM_BYTES && kind != Kind::Behind)
        .then(|| zstd::bulk::compress(bytes, PACK_LEVEL).ok())
        .flatten()
        .filter(|packed| packed.len() < bytes.len());
    let header = Header {
        kind,
        sent: packed.as_ref().map_or(bytes.len(), Vec::len),
        meant: bytes.len(),
        packed: packed.is_some(),
    };
    Ok((
        header.write(),
        packed.map_or(Cow::Borrowed(bytes), Cow::Owned),
    ))
}

/// Whether packing takes long enough (half a millisecond) to do it beside the loop.
pub(super) fn is_long_work(bytes: usize) -> bool {
    bytes > 128 * 1024
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    fn back(kind: Kind, bytes: &[u8]) -> (Header, Vec<u8>) {
        let (header, body) = frame(kind, bytes).unwrap();
        let header = Header::read(header).unwrap();
        assert_eq!(header.sent, body.len());
        (header, header.open(body.into_owned()).unwrap())
    }

    #[test]
    fn frames_come_back_and_long_ones_are_packed() {
        for (length, packed) in [
            (0, false),
            (1, false),
            (1_023, false),
            (1_024, true),
            (1 << 20, true),
        ] {
            let bytes = vec![7; length];
            let (header, again) = back(Kind::Message, &bytes);
            assert_eq!(again, bytes);
            assert_eq!(header.packed, packed, "{length} bytes");
        }
    }

    #[test]
    fn what_does_not_shrink_goes_as_it_is() {
        let mut noise = vec![0; 4_096];
        getrandom::fill(&mut noise).unwrap();
        let (header, again) = back(Kind::Message, &noise);
        assert!(!header.packed);
        assert_eq!(again, noise);
    }

    #[test]
    fn both_sides_of_the_length_bounds() {
        for kind in [Kind::Hello, Kind::News, Kind::Message, Kind::Behind] {
            let allowed = kind.max_bytes();
            assert!(frame(kind, &vec![0; allowed]).is_ok());
            let over = FrameError::Oversized {
                found: allowed + 1,
                allowed,
            };
            assert_eq!(frame(kind, &vec![0; allowed + 1]).unwrap_err(), over);
            let claim = Header {
                kind,
                sent: 10,
                meant: allowed + 1,
                packed: true,
            };
            assert_eq!(Header::read(claim.write()), Err(over));
        }
    }

    #[test]
    fn a_photo_goes_behind_everything() {
        let [stop, bulk] = [1_000, 1 << 20].map(|length| Kind::Message.priority(length));
        assert!(stop > bulk && bulk > Kind::Behind.priority(10));
    }

    #[test]
    fn lengths_must_fit_together() {
        let plain = Header {
            kind: Kind::Message,
            sent: 5,
            meant: 6,
            packed: false,
        };
        assert!(matches!(
            Header::read(plain.write()),
            Err(FrameError::Lengths { .. })
        ));
        let packed = Header {
            kind: Kind::Message,
            sent: 6,
            meant: 6,
            packed: true,
        };
        assert!(matches!(
            Header::read(packed.write()),
            Err(FrameError::Lengths { .. })
        ));
        assert_eq!(
            Header::read([9, 0, 0, 0, 0, 0, 0, 0, 0]),
            Err(FrameError::Kind { found: 9 })
        );
    }

    #[test]
    fn a_bomb_is_refused() {
        let bomb = zstd::bulk::compress(&vec![0; 64 << 20], 1).unwrap();
        let header = Header {
            kind: Kind::Message,
            sent: bomb.len(),
            meant: bomb.len() + 1_000,
            packed: true,
        };
        let header = Header::read(header.write()).unwrap();
        assert_eq!(
            header.open(bomb.clone()),
            Err(FrameError::Unpackable {
                meant: header.meant
            })
        );
        let garbage = Header {
            kind: Kind::Message,
            sent: 3,
            meant: 2_000,
            packed: true,
        };
        assert!(garbage.open(vec![1, 2, 3]).is_err());
    }
}
