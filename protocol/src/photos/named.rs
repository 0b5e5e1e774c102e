//! Named: which pictures does the log name, and which of these does a device keep?
//! Owns: a list in the order in which the log came to name them.   Gives: `Named`.
//! May use: log, bounds.   Never: what nobody on the job has named.

use crate::bounds::{
    PHOTO_MAX_BYTES, PHOTOS_MAX_BYTES, PHOTOS_OF_ONE_MAX, PHOTOS_OF_ONE_MAX_BYTES,
};
use crate::ids::{DeviceKey, PhotoHash};
use crate::log::entry::{Body, NoteKind};
use crate::log::graph::{EntryIx, Graph};
use crate::log::photo::Photo;
use std::collections::{BTreeMap, BTreeSet};

/// A picture that the log names.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct NamedPhoto {
    /// Which.
    pub photo: Photo,
    /// Who named it first, as this device came to know.
    pub by: DeviceKey,
    /// Whether it is within the bounds, so that it is fetched and kept.
    pub is_kept: bool,
}

/// The pictures of a log. Authors of entries in a log are on its job, or were when they wrote.
#[derive(Clone, Debug, Default)]
pub struct Named {
    /// How many entries were looked at.
    seen: u32,
    all: Vec<NamedPhoto>,
    known: BTreeSet<(PhotoHash, u32)>,
    bytes: u64,
    /// How many of each author are kept, and their bytes.
    of: BTreeMap<DeviceKey, (usize, u64)>,
}

impl Named {
    /// Those of a whole log.
    #[must_use]
    pub fn of(graph: &Graph) -> Self {
        let mut named = Self::default();
        named.learn(graph);
        named
    }

    /// Looks at the entries that came since the last time; whether any name a picture.
    pub(super) fn learn(&mut self, graph: &Graph) -> bool {
        let before = self.all.len();
        let len = u32::try_from(graph.len()).unwrap_or(u32::MAX);
        for ix in (self.seen..len).map(EntryIx) {
            if let Body::Note(note) = graph.body(ix)
                && let NoteKind::Photo(photo) = note.kind
            {
                self.name(graph.author(ix), photo);
            }
        }
        self.seen = len;
        self.all.len() > before
    }

    pub(super) fn name(&mut self, by: DeviceKey, photo: Photo) {
        // A second length for one hash is another picture, which nobody can have: it does not stand in the first's way.
        if !self.known.insert((photo.hash, photo.bytes)) {
            return;
        }
        let is_kept =
            (1..=PHOTO_MAX_BYTES).contains(&photo.bytes) && self.has_room(&by, photo.bytes);
        if is_kept {
            self.bytes += u64::from(photo.bytes);
            let (count, bytes) = self.of.entry(by).or_default();
            *count += 1;
            *bytes += u64::from(photo.bytes);
        }
        self.all.push(NamedPhoto { photo, by, is_kept });
    }

    /// Whether one more of so many bytes of this author are within the bounds.
    #[must_use]
    pub fn has_room(&self, by: &DeviceKey, bytes: u32) -> bool {
        let (count, of) = self.of.get(by).copied().unwrap_or_default();
        count < PHOTOS_OF_ONE_MAX
            && of + u64::from(bytes) <= PHOTOS_OF_ONE_MAX_BYTES
            && self.bytes + u64::from(bytes) <= PHOTOS_MAX_BYTES
    }

    /// All of them, in the order in which this device came to know their names.
    #[must_use]
    pub fn all(&self) -> &[NamedPhoto] {
        &self.all
    }

    /// Those within the bounds.
    pub(super) fn fetched(&self) -> impl Iterator<Item = &NamedPhoto> {
        self.all.iter().filter(|named| named.is_kept)
    }

    /// The picture of this hash and length, if it is kept.
    #[must_use]
    pub fn find(&self, hash: &PhotoHash, bytes: Option<u32>) -> Option<&NamedPhoto> {
        self.fetched().find(|named| {
            named.photo.hash == *hash && bytes.is_none_or(|bytes| named.photo.bytes == bytes)
        })
    }
}
