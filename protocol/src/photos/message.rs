//! Message: the bytes about pictures between two devices of the crew.
//! Owns: nothing.   Gives: `PhotoMessage`, both ways.
//! May use: ids, bounds.   Never: whether it was asked for.

use crate::bounds::{PHOTO_MESSAGE_MAX_BYTES, PHOTO_PIECE_BYTES};
use crate::ids::PhotoHash;
use crate::log::wire::encodes_to;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// What one device says to another.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum PhotoMessage {
    /// Asks for a piece.
    Ask(PhotoAsk),
    /// A piece.
    Piece {
        /// Of which picture.
        hash: PhotoHash,
        /// From which byte on.
        offset: u32,
        /// At most [`PHOTO_PIECE_BYTES`].
        content: Vec<u8>,
    },
    /// It has no such picture.
    Lacks {
        /// Which.
        hash: PhotoHash,
    },
}

/// Asks for the piece of a picture from a byte on.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct PhotoAsk {
    /// Which picture.
    pub hash: PhotoHash,
    /// How long the log says that it is.
    pub bytes: u32,
    /// From which byte on.
    pub offset: u32,
}

/// Bytes that are no message about pictures.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum BadPhotoMessage {
    /// Longer than any may be.
    #[error("found {found} bytes, expected at most {PHOTO_MESSAGE_MAX_BYTES}")]
    Length {
        /// Its length.
        found: usize,
    },
    /// Not in its one form.
    #[error("the message does not decode")]
    Encoding,
}

impl PhotoMessage {
    /// The bytes to send.
    #[must_use]
    pub fn encode(&self) -> Arc<[u8]> {
        // Plain values always encode.
        postcard::to_stdvec(self).unwrap_or_default().into()
    }

    /// Takes bytes apart.
    ///
    /// # Errors
    /// [`BadPhotoMessage`].
    pub fn decode(bytes: &[u8]) -> Result<Self, BadPhotoMessage> {
        if bytes.len() > PHOTO_MESSAGE_MAX_BYTES {
            return Err(BadPhotoMessage::Length { found: bytes.len() });
        }
        let message: Self = postcard::from_bytes(bytes).map_err(|_| BadPhotoMessage::Encoding)?;
        let long = matches!(&message, Self::Piece { content, .. } if content.len() > PHOTO_PIECE_BYTES as usize);
        if long || !encodes_to(&message, bytes) {
            return Err(BadPhotoMessage::Encoding);
        }
        Ok(message)
    }
}
