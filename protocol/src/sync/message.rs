//! Message: the bytes between two crew devices, on streams and in datagrams.
//! Owns: nothing.   Gives: `Message`, `Datagram`, both ways.
//! May use: ids, bounds.   Never: whether what is in it is true (log, watch).
//!
//! One byte of version, one of kind, then the content. Entries stay the signed bytes they came as.

use crate::bounds::{
    DATAGRAM_MAX_BYTES, DEVICES_MAX, ENTRY_MAX_BYTES, GIVE_MAX_ENTRIES, MESSAGE_MAX_BYTES,
};
use crate::ids::{DeviceTag, EntryHash};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

const MESSAGE_VERSION: u8 = 1;
/// Most hashes asked for by name in one message; the rest is asked for when these are there.
const WANT_MAX: usize = 256;
/// Most tips in one message: one for every chain of the largest crew, and its branches.
const TIPS_MAX: usize = 1_024;

/// Asks for entries.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Ask {
    /// How many entries of each author the asker holds, or has in hand, without gap.
    pub heights: Vec<(DeviceTag, u32)>,
    /// Entries that it misses by name, with their past.
    pub want: Vec<EntryHash>,
}

/// What goes on a stream.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Message {
    /// New entries, each as its signed bytes.
    Entries(Vec<Arc<[u8]>>),
    /// Asks for entries.
    Ask(Ask),
    /// Answer to an ask: entries packed in columns.
    Give(Vec<u8>),
    /// The newest entry of every chain and branch, for two devices whose heights agree and whose counts
    /// do not.
    Tips(Vec<EntryHash>),
}

/// What goes in a datagram.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Datagram<'a> {
    /// A bundle of beacons, see [`crate::watch::unbundle`].
    Beacons(&'a [u8]),
    /// The signed bytes of a stop.
    Stop(&'a [u8]),
}

/// Bytes that are no message.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum BadMessage {
    /// Longer than a message or datagram may be.
    #[error("found {found} bytes, expected at most {most}")]
    Length {
        /// Its length.
        found: usize,
        /// The most.
        most: usize,
    },
    /// Of another version.
    #[error("found message version {found}, expected {MESSAGE_VERSION}")]
    Version {
        /// Its version.
        found: u8,
    },
    /// Of no known kind, or not in its form.
    #[error("the message does not decode")]
    Encoding,
    /// More in it than a message may hold.
    #[error("the message holds more than {most} things of a kind")]
    TooMany {
        /// The most.
        most: usize,
    },
    /// Packed entries that do not unpack.
    #[error("the packed entries do not unpack: {why}")]
    Packed {
        /// What was wrong.
        why: String,
    },
}

impl Message {
    /// The bytes to send.
    #[must_use]
    pub fn encode(&self) -> Arc<[u8]> {
        let mut bytes = vec![MESSAGE_VERSION];
        match self {
            Self::Entries(entries) => {
                bytes.push(0);
                for entry in entries {
                    let len = u32::try_from(entry.len()).unwrap_or(0);
                    bytes.extend_from_slice(&len.to_le_bytes());
                    bytes.extend_from_slice(entry);
                }
            }
            Self::Ask(ask) => {
                bytes.push(1);
                bytes.extend(postcard::to_stdvec(ask).unwrap_or_default());
            }
            Self::Give(packed) => {
                bytes.push(2);
                bytes.extend_from_slice(packed);
            }
            Self::Tips(tips) => {
                bytes.push(3);
                tips.iter().for_each(|tip| bytes.extend_from_slice(&tip.0));
            }
        }
        bytes.into()
    }

    /// Takes bytes apart. Signatures are not looked at.
    ///
    /// # Errors
    /// [`BadMessage`].
    pub fn decode(bytes: &[u8]) -> Result<Self, BadMessage> {
        if bytes.len() > MESSAGE_MAX_BYTES {
            return Err(BadMessage::Length {
                found: bytes.len(),
                most: MESSAGE_MAX_BYTES,
            });
        }
        let Some(([version, kind], rest)) = bytes.split_first_chunk::<2>() else {
            return Err(BadMessage::Encoding);
        };
        if *version != MESSAGE_VERSION {
            return Err(BadMessage::Version { found: *version });
        }
        match kind {
            0 => entries(rest).map(Self::Entries),
            1 => ask(rest).map(Self::Ask),
            2 => Ok(Self::Give(rest.to_vec())),
            3 => tips(rest).map(Self::Tips),
            _ => Err(BadMessage::Encoding),
        }
    }
}

fn entries(mut rest: &[u8]) -> Result<Vec<Arc<[u8]>>, BadMessage> {
    let mut entries = Vec::new();
    while let Some((len, after)) = rest.split_first_chunk::<4>() {
        let len = u32::from_le_bytes(*len) as usize;
        let Some((one, after)) = after.split_at_checked(len) else {
            return Err(BadMessage::Encoding);
        };
        if len > ENTRY_MAX_BYTES {
            return Err(BadMessage::Length {
                found: len,
                most: ENTRY_MAX_BYTES,
            });
        }
        if entries.len() == GIVE_MAX_ENTRIES {
            return Err(BadMessage::TooMany {
                most: GIVE_MAX_ENTRIES,
            });
        }
        entries.push(Arc::from(one));
        rest = after;
    }
    if rest.is_empty() {
        Ok(entries)
    } else {
        Err(BadMessage::Encoding)
    }
}

fn ask(rest: &[u8]) -> Result<Ask, BadMessage> {
    let most = WANT_MAX * 32 + DEVICES_MAX * 16;
    if rest.len() > most {
        let found = rest.len();
        return Err(BadMessage::Length { found, most });
    }
    match postcard::take_from_bytes::<Ask>(rest) {
        Ok((ask, [])) if ask.heights.len() <= DEVICES_MAX && ask.want.len() <= WANT_MAX => Ok(ask),
        _ => Err(BadMessage::Encoding),
    }
}

fn tips(rest: &[u8]) -> Result<Vec<EntryHash>, BadMessage> {
    let (hashes, []) = rest.as_chunks::<32>() else {
        return Err(BadMessage::Encoding);
    };
    if hashes.len() > TIPS_MAX {
        return Err(BadMessage::TooMany { most: TIPS_MAX });
    }
    Ok(hashes.iter().map(|hash| EntryHash(*hash)).collect())
}

impl Ask {
    /// Leaves out what is over the bounds of a message.
    pub fn fit(&mut self) {
        self.heights.truncate(DEVICES_MAX);
        self.want.truncate(WANT_MAX);
    }
}

impl<'a> Datagram<'a> {
    /// Bytes of a datagram that the kind takes.
    pub const OVERHEAD_BYTES: usize = 1;

    /// The bytes to send; `None`: too long, it goes on a stream only.
    #[must_use]
    pub fn encode(&self) -> Option<Arc<[u8]>> {
        let (kind, content) = match self {
            Self::Beacons(bytes) => (0_u8, bytes),
            Self::Stop(bytes) => (1, bytes),
        };
        if content.len() + Self::OVERHEAD_BYTES > DATAGRAM_MAX_BYTES {
            return None;
        }
        let mut bytes = Vec::with_capacity(content.len() + Self::OVERHEAD_BYTES);
        bytes.push(kind);
        bytes.extend_from_slice(content);
        Some(bytes.into())
    }

    /// Takes bytes apart.
    ///
    /// # Errors
    /// [`BadMessage`].
    pub fn decode(bytes: &'a [u8]) -> Result<Self, BadMessage> {
        if bytes.len() > DATAGRAM_MAX_BYTES {
            return Err(BadMessage::Length {
                found: bytes.len(),
                most: DATAGRAM_MAX_BYTES,
            });
        }
        match bytes.split_first() {
            Some((0, rest)) => Ok(Self::Beacons(rest)),
            Some((1, rest)) => Ok(Self::Stop(rest)),
            _ => Err(BadMessage::Encoding),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn samples() -> Vec<Message> {
        vec![
            Message::Entries(vec![Arc::from([1, 2, 3]), Arc::from([])]),
            Message::Ask(Ask {
                heights: vec![(DeviceTag([1; 8]), 700)],
                want: vec![EntryHash([4; 32])],
            }),
            Message::Give(vec![9; 40]),
            Message::Tips(vec![EntryHash([1; 32]), EntryHash([2; 32])]),
        ]
    }

    #[test]
    fn messages_round_trip_and_cut_ones_are_refused_or_shorter() {
        for message in samples() {
            let bytes = message.encode();
            assert_eq!(Message::decode(&bytes).as_ref(), Ok(&message));
            for cut in 0..bytes.len() {
                assert_ne!(Message::decode(&bytes[..cut]).as_ref(), Ok(&message));
            }
        }
    }

    #[test]
    fn other_versions_kinds_and_sizes_are_refused_by_name() {
        assert_eq!(
            Message::decode(&[2, 0]),
            Err(BadMessage::Version { found: 2 })
        );
        assert_eq!(Message::decode(&[1, 9]), Err(BadMessage::Encoding));
        assert_eq!(Message::decode(&[]), Err(BadMessage::Encoding));
        let long = vec![1; MESSAGE_MAX_BYTES + 1];
        assert!(matches!(
            Message::decode(&long),
            Err(BadMessage::Length { .. })
        ));
        let mut many = vec![1, 0];
        many.extend(vec![0; 4 * (GIVE_MAX_ENTRIES + 1)]);
        assert_eq!(
            Message::decode(&many),
            Err(BadMessage::TooMany {
                most: GIVE_MAX_ENTRIES
            })
        );
        assert!(Datagram::decode(&[7]).is_err());
        assert_eq!(Datagram::Stop(&[0; DATAGRAM_MAX_BYTES]).encode(), None);
    }
}
