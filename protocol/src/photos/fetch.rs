//! Fetch: the one picture that is on its way here, piece by piece.
//! Owns: what has come of it.   Gives: `Fetch`: whom was asked for what, and what a piece makes of it.
//! May use: ids, bounds.   Never: a picture given out before its hash was found good.

use super::PhotoFault;
use super::message::{PhotoAsk, PhotoMessage};
use crate::bounds::PHOTO_PIECE_BYTES;
use crate::ids::{DeviceKey, PhotoHash};
use crate::log::photo::Photo;
use crate::time::Tick;
use std::collections::BTreeSet;

/// A piece that does not come within so long is asked for elsewhere, ms: a device that gives to the largest crew in
/// turn takes four seconds.
const PIECE_WITHIN_MS: u64 = 6_000;

/// A picture on its way.
#[derive(Clone, Debug)]
pub(super) struct Fetch {
    pub(super) photo: Photo,
    content: Vec<u8>,
    /// Who gave of it.
    from: BTreeSet<DeviceKey>,
    last: Option<DeviceKey>,
    asked: Option<(DeviceKey, Tick)>,
    /// Several gave of it, and together it was wrong: this time all of it comes from one.
    alone: bool,
}

/// What a piece was.
pub(super) enum Came {
    /// Not asked for, or too late.
    Unasked,
    /// Part of it.
    Part,
    /// The end of it, and all of it is good.
    Whole(Photo, Vec<u8>),
    /// Of the wrong length, or wrong in all.
    Wrong(PhotoFault),
}

impl Fetch {
    pub(super) fn new(photo: Photo) -> Self {
        Self {
            photo,
            content: Vec::new(),
            from: BTreeSet::new(),
            last: None,
            asked: None,
            alone: false,
        }
    }

    /// Asks a device for the next piece.
    pub(super) fn ask(&mut self, peer: DeviceKey, now: Tick) -> PhotoMessage {
        if self.alone && !self.from.contains(&peer) {
            self.begin();
        }
        self.asked = Some((peer, now.plus(PIECE_WITHIN_MS)));
        PhotoMessage::Ask(PhotoAsk {
            hash: self.photo.hash,
            bytes: self.photo.bytes,
            offset: self.offset(),
        })
    }

    /// From the first byte.
    fn begin(&mut self) {
        self.content = Vec::new();
        self.from.clear();
    }

    fn offset(&self) -> u32 {
        u32::try_from(self.content.len()).unwrap_or(u32::MAX)
    }

    pub(super) fn is_asked(&self) -> bool {
        self.asked.is_some()
    }

    pub(super) fn last_giver(&self) -> Option<DeviceKey> {
        self.last
    }

    pub(super) fn due(&self) -> Option<Tick> {
        self.asked.map(|(_, until)| until)
    }

    /// Who has let the time pass; it is not asked any more.
    pub(super) fn silent(&mut self, now: Tick) -> Option<DeviceKey> {
        let (peer, until) = self.asked?;
        (until <= now).then(|| {
            self.asked = None;
            peer
        })
    }

    /// A device can give nothing now.
    pub(super) fn down(&mut self, peer: &DeviceKey) {
        if self.asked.is_some_and(|(asked, _)| asked == *peer) {
            self.asked = None;
        }
    }

    /// What a device gave is not gone on from.
    pub(super) fn distrust(&mut self, peer: &DeviceKey) {
        if self.from.contains(peer) {
            self.begin();
        }
    }

    /// A device says that it has none; whether it was asked.
    pub(super) fn lacks(&mut self, from: &DeviceKey, hash: &PhotoHash) -> bool {
        let asked = self.asked.is_some_and(|(asked, _)| asked == *from);
        let was = asked && self.photo.hash == *hash;
        if was {
            self.asked = None;
        }
        was
    }

    pub(super) fn piece(
        &mut self,
        from: DeviceKey,
        hash: PhotoHash,
        offset: u32,
        piece: &[u8],
    ) -> Came {
        let asked = self.asked.is_some_and(|(asked, _)| asked == from);
        if !asked || hash != self.photo.hash || offset != self.offset() {
            return Came::Unasked;
        }
        let expected = (self.photo.bytes - offset).min(PHOTO_PIECE_BYTES) as usize;
        if piece.len() != expected {
            let found = piece.len();
            return Came::Wrong(PhotoFault::Piece { found, expected });
        }
        self.asked = None;
        self.content.extend_from_slice(piece);
        self.from.insert(from);
        self.last = Some(from);
        if self.offset() < self.photo.bytes {
            return Came::Part;
        }
        if PhotoHash::of(&self.content) == hash {
            return Came::Whole(self.photo, std::mem::take(&mut self.content));
        }
        let alone = self.from.len() == 1;
        self.begin();
        self.alone = true;
        if alone {
            Came::Wrong(PhotoFault::Content { hash })
        } else {
            Came::Part
        }
    }
}
