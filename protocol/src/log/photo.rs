//! Photo: what names a picture in the log, and what of bytes is one.
//! Owns: nothing.   Gives: `Photo`, `Media`, `NoPhoto`.
//! May use: ids, bounds.   Never: the picture itself beyond how it begins; where its bytes are (photos).

use crate::bounds::PHOTO_MAX_BYTES;
use crate::ids::PhotoHash;
use serde::{Deserialize, Serialize};

/// A picture by its name.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
pub struct Photo {
    /// The hash of its bytes.
    pub hash: PhotoHash,
    /// How many bytes.
    pub bytes: u32,
    /// What its author says that they are; who shows it looks at the bytes.
    pub media: Media,
}

/// Forms of pictures that every browser shows.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Media {
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
    /// WebP.
    WebP,
}

impl Media {
    /// What bytes are, by how they begin; `None`: none of these.
    #[must_use]
    pub fn of(content: &[u8]) -> Option<Self> {
        match content {
            [0xff, 0xd8, 0xff, ..] => Some(Self::Jpeg),
            [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1a, b'\n', ..] => Some(Self::Png),
            [
                b'R',
                b'I',
                b'F',
                b'F',
                _,
                _,
                _,
                _,
                b'W',
                b'E',
                b'B',
                b'P',
                ..,
            ] => Some(Self::WebP),
            _ => None,
        }
    }

    /// Its name on the web.
    #[must_use]
    pub fn mime(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
            Self::WebP => "image/webp",
        }
    }
}

impl Photo {
    /// Names a picture by its bytes.
    ///
    /// # Errors
    /// [`NoPhoto`]: none that may be named.
    pub fn of(content: &[u8]) -> Result<Self, NoPhoto> {
        let bytes = u32::try_from(content.len()).unwrap_or(u32::MAX);
        if content.is_empty() {
            return Err(NoPhoto::Empty);
        }
        if bytes > PHOTO_MAX_BYTES {
            return Err(NoPhoto::TooLarge {
                found: content.len(),
            });
        }
        Ok(Self {
            media: Media::of(content).ok_or(NoPhoto::NotAPicture)?,
            hash: PhotoHash::of(content),
            bytes,
        })
    }
}

/// Why bytes are no photo.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum NoPhoto {
    /// There are none.
    #[error("it has no bytes; expected a JPEG, PNG or WebP picture")]
    Empty,
    /// More than [`PHOTO_MAX_BYTES`].
    #[error("it has {found} bytes, expected at most {PHOTO_MAX_BYTES}; make the picture smaller")]
    TooLarge {
        /// How many.
        found: usize,
    },
    /// They do not begin as any picture that is known here.
    #[error("it does not begin as a JPEG, PNG or WebP picture does")]
    NotAPicture,
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    const JPEG: [u8; 4] = [0xff, 0xd8, 0xff, 0xe0];

    #[test]
    fn a_picture_is_known_by_how_it_begins() {
        let webp = b"RIFF\x10\0\0\0WEBPVP8 ";
        for (content, media) in [
            (&JPEG[..], Media::Jpeg),
            (b"\x89PNG\r\n\x1a\n", Media::Png),
            (webp, Media::WebP),
        ] {
            assert_eq!(Photo::of(content).unwrap().media, media);
        }
        for bad in [&b"GIF89a"[..], b"<svg", b"RIFF1234WAVE", &JPEG[..2]] {
            assert_eq!(Photo::of(bad), Err(NoPhoto::NotAPicture), "{bad:?}");
        }
    }

    #[test]
    fn both_sides_of_the_bound() {
        let most = PHOTO_MAX_BYTES as usize;
        let mut content = JPEG.to_vec();
        content.resize(most, 0);
        let photo = Photo::of(&content).unwrap();
        assert_eq!(
            (photo.bytes, photo.hash),
            (PHOTO_MAX_BYTES, PhotoHash::of(&content))
        );
        content.push(0);
        assert_eq!(
            Photo::of(&content),
            Err(NoPhoto::TooLarge { found: most + 1 })
        );
        assert_eq!(Photo::of(&[]), Err(NoPhoto::Empty));
    }
}
