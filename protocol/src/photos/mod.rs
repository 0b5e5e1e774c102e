//! Photos: which pictures that notes name are here, which are fetched from whom, and which pieces are given to whom.
//! Owns: what one device knows of the pictures of its job.   Gives: `Photos`: an input in, effects out, a time to be called.
//! May use: log, ids, bounds, time.   Never: anything of the gate (a picture opens and holds nothing); bytes on the disk.
//!
//! In reading order: `message` the bytes between two devices · `named` what the log names, within its bounds · `fetch`
//! the one picture on its way here · `give` pieces for others.
//!
//! Behind the entries: a device asks, and gives, only where both hold the same entries. One piece is asked for at a time,
//! from one device; all that a device gives keeps a pause between pieces. So beacons and entries wait for one piece at
//! most, and memory holds one picture that comes and two that go. What comes is kept only whole, and only if its hash is
//! the one that the log names.

mod fetch;
mod give;
mod message;
mod named;
#[cfg(test)]
mod tests;

pub use message::{BadPhotoMessage, PhotoMessage};
pub use named::{Named, NamedPhoto};

use crate::ids::{DeviceKey, PhotoHash};
use crate::log::graph::Graph;
use crate::log::photo::Photo;
use crate::time::Tick;
use fetch::{Came, Fetch};
use give::Give;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// A device that said nothing is asked for nothing for so long, ms.
const SILENT_MS: u64 = 5_000;
/// A device that has no such picture is asked for it again after so long, then after twice as long each time, ms: it may
/// be fetching it, or somebody may have named what nobody has.
const LACKS_MS: core::ops::RangeInclusive<u64> = 2_000..=60_000;
/// After the disk did not take a picture it is tried again after so long, ms.
const DISK_AGAIN_MS: u64 = 300_000;

/// What can happen.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum PhotoInput {
    /// Nothing but that time has passed, or that others hold what this device holds.
    Turn,
    /// The link to a device is gone.
    Down(DeviceKey),
    /// A message of a device on the job.
    Message {
        /// Whose.
        from: DeviceKey,
        /// What.
        bytes: Vec<u8>,
    },
    /// A picture is on the disk: found there, or as asked.
    Kept {
        /// Which.
        hash: PhotoHash,
        /// How long it is.
        bytes: u32,
    },
    /// A picture could not be put on the disk.
    NotKept(PhotoHash),
    /// A picture that was on the disk is not, or is damaged.
    Lost(PhotoHash),
    /// A picture was read from the disk, and its hash is good.
    Loaded {
        /// Which.
        hash: PhotoHash,
        /// Its bytes.
        content: Arc<[u8]>,
    },
}

/// What is then done.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum PhotoEffect {
    /// Send behind everything else.
    Send {
        /// To whom.
        to: DeviceKey,
        /// At most [`crate::bounds::PHOTO_MESSAGE_MAX_BYTES`].
        bytes: Arc<[u8]>,
    },
    /// Put a picture on the disk, whose hash is good; comes back as `Kept` or `NotKept`.
    Keep {
        /// Which.
        photo: Photo,
        /// Its bytes.
        content: Vec<u8>,
    },
    /// Read a picture from the disk; comes back as `Loaded` or `Lost`.
    Load(PhotoHash),
    /// A device did what it should not; it is asked for nothing any more.
    Fault {
        /// Which.
        peer: DeviceKey,
        /// What.
        fault: PhotoFault,
    },
}

/// What a device can do wrong with pictures.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum PhotoFault {
    /// Bytes that are no message about pictures.
    #[error("it sent bytes that are no message about photos: {0}")]
    Message(BadPhotoMessage),
    /// A piece of another length than asked for.
    #[error("it sent a piece of {found} bytes of a photo, {expected} were asked for")]
    Piece {
        /// How many came.
        found: usize,
        /// How many should have.
        expected: usize,
    },
    /// All of a picture came from it, and is another than was named.
    #[error("it sent other bytes than those of photo {hash}")]
    Content {
        /// Which was asked for.
        hash: PhotoHash,
    },
}

/// The pictures of one device's job.
#[derive(Clone, Debug, Default)]
pub struct Photos {
    named: Named,
    here: BTreeMap<PhotoHash, u32>,
    /// On their way to the disk.
    keeping: BTreeSet<PhotoHash>,
    /// Not taken by the disk; when to try again.
    put_off: BTreeMap<PhotoHash, Tick>,
    fetch: Option<Fetch>,
    /// Who is not asked for which picture until when, as it has none; and how long it was not asked.
    lacking: BTreeMap<(DeviceKey, PhotoHash), (Tick, u64)>,
    /// Who is asked for nothing until when.
    silent: BTreeMap<DeviceKey, Tick>,
    /// Who sent what it should not.
    barred: BTreeSet<DeviceKey>,
    give: Give,
    /// Whether something is named and not here; looked for after each change.
    wants: bool,
    now: Tick,
}

impl Photos {
    /// Takes in what the log names since it was last looked at. Cheap when there is nothing new.
    pub fn learn(&mut self, graph: &Graph) {
        if self.named.learn(graph) {
            self.wants = self.lacks_any();
        }
    }

    /// What the log names.
    #[must_use]
    pub fn named(&self) -> &Named {
        &self.named
    }

    /// What is here, whole and good when it was last read, with its length.
    #[must_use]
    pub fn here(&self) -> &BTreeMap<PhotoHash, u32> {
        &self.here
    }

    /// A picture that nothing names is removed from the disk.
    pub fn forget(&mut self, hash: &PhotoHash) {
        self.here.remove(hash);
    }

    /// Whether anything is to be fetched or given, so that it matters who holds the same entries.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        self.wants || self.give.is_busy()
    }

    fn lacks_any(&self) -> bool {
        self.wanted_or_put_off().next().is_some()
    }

    /// Takes in one thing that happened. `level`: devices that a link stands to and that hold the same entries as this
    /// one. A time before that of the input before counts as that one's.
    #[must_use]
    pub fn handle(
        &mut self,
        now: Tick,
        level: &BTreeSet<DeviceKey>,
        input: PhotoInput,
    ) -> Vec<PhotoEffect> {
        self.now = self.now.max(now);
        let mut out = Vec::new();
        match input {
            PhotoInput::Turn => {}
            PhotoInput::Down(peer) => {
                self.give.down(&peer);
                self.silent.remove(&peer);
                self.lacking.retain(|(of, _), _| *of != peer);
                if let Some(fetch) = &mut self.fetch {
                    fetch.down(&peer);
                }
            }
            PhotoInput::Message { from, bytes } => self.message(from, &bytes, &mut out),
            PhotoInput::Kept { hash, bytes } => {
                self.keeping.remove(&hash);
                self.put_off.remove(&hash);
                self.lacking.retain(|(_, of), _| *of != hash);
                self.here.insert(hash, bytes);
                if self
                    .fetch
                    .as_ref()
                    .is_some_and(|fetch| fetch.photo.hash == hash)
                {
                    self.fetch = None;
                }
            }
            PhotoInput::NotKept(hash) => {
                self.keeping.remove(&hash);
                self.put_off.insert(hash, self.now.plus(DISK_AGAIN_MS));
            }
            PhotoInput::Lost(hash) => {
                self.here.remove(&hash);
                self.give.lost(&hash);
            }
            PhotoInput::Loaded { hash, content } => self.give.loaded(hash, content, self.now),
        }
        self.ask(level, &mut out);
        self.give
            .turn(self.now, level, &self.named, &self.here, &mut out);
        self.wants = self.lacks_any();
        out
    }

    /// When to call again though nothing happens; never a time that has passed.
    #[must_use]
    pub fn due(&self) -> Option<Tick> {
        let lacking = self.lacking.values().map(|(until, _)| *until);
        let again = lacking
            .chain(self.silent.values().copied())
            .chain(self.put_off.values().copied())
            .filter(|_| self.wants);
        let fetch = self.fetch.as_ref().and_then(Fetch::due);
        again
            .chain(fetch)
            .chain(self.give.due())
            .filter(|at| *at > self.now)
            .min()
    }

    fn wanted_or_put_off(&self) -> impl Iterator<Item = &NamedPhoto> {
        self.named.fetched().filter(|named| {
            let hash = &named.photo.hash;
            !self.here.contains_key(hash) && !self.keeping.contains(hash)
        })
    }

    /// What is named and not here, in the order in which the log came to name it.
    fn wanted(&self) -> impl Iterator<Item = &NamedPhoto> {
        self.wanted_or_put_off().filter(|named| {
            let off = self.put_off.get(&named.photo.hash);
            off.is_none_or(|until| *until <= self.now)
        })
    }

    /// Who may be asked for a picture, best first: who has given of it, then its author, then the others.
    fn sources(&self, named: &NamedPhoto, level: &BTreeSet<DeviceKey>) -> Vec<DeviceKey> {
        let hash = named.photo.hash;
        let giver = self.fetch.as_ref().and_then(|fetch| {
            let last = fetch.last_giver()?;
            (fetch.photo == named.photo).then_some(last)
        });
        let mut all: Vec<DeviceKey> = level
            .iter()
            .filter(|peer| !self.barred.contains(peer))
            .filter(|peer| self.silent.get(peer).is_none_or(|until| *until <= self.now))
            .filter(|peer| {
                let lacking = self.lacking.get(&(**peer, hash));
                lacking.is_none_or(|(until, _)| *until <= self.now)
            })
            .copied()
            .collect();
        all.sort_by_key(|peer| (Some(*peer) != giver, *peer != named.by));
        all
    }

    /// Asks for the next piece, if none is on its way.
    fn ask(&mut self, level: &BTreeSet<DeviceKey>, out: &mut Vec<PhotoEffect>) {
        if let Some(fetch) = &mut self.fetch
            && let Some(peer) = fetch.silent(self.now)
        {
            self.silent.insert(peer, self.now.plus(SILENT_MS));
        }
        if self.fetch.as_ref().is_some_and(Fetch::is_asked) {
            return;
        }
        let now = self.now;
        // What has begun goes on first; else the first that somebody can be asked for.
        let begun = self.fetch.as_ref().map(|fetch| fetch.photo);
        let has_begun = |named: &&NamedPhoto| Some(named.photo) == begun;
        let others = self.wanted().filter(|named| !has_begun(named));
        let next = self
            .wanted()
            .filter(has_begun)
            .chain(others)
            .find_map(|named| {
                let peer = self.sources(named, level).first().copied()?;
                Some((named.photo, peer))
            });
        let Some((photo, peer)) = next else {
            return;
        };
        if begun != Some(photo) {
            self.fetch = Some(Fetch::new(photo));
        }
        if let Some(fetch) = &mut self.fetch {
            let message = fetch.ask(peer, now);
            out.push(PhotoEffect::Send {
                to: peer,
                bytes: message.encode(),
            });
        }
    }

    fn message(&mut self, from: DeviceKey, bytes: &[u8], out: &mut Vec<PhotoEffect>) {
        match PhotoMessage::decode(bytes) {
            Ok(PhotoMessage::Ask(ask)) => self.give.asked(from, ask, self.now),
            Ok(PhotoMessage::Lacks { hash }) => {
                if let Some(fetch) = &mut self.fetch
                    && fetch.lacks(&from, &hash)
                {
                    let before = self.lacking.get(&(from, hash)).map(|(_, wait)| wait * 2);
                    let wait = before.unwrap_or(*LACKS_MS.start()).min(*LACKS_MS.end());
                    self.lacking
                        .insert((from, hash), (self.now.plus(wait), wait));
                }
            }
            Ok(PhotoMessage::Piece {
                hash,
                offset,
                content,
            }) => {
                let Some(fetch) = &mut self.fetch else {
                    return;
                };
                match fetch.piece(from, hash, offset, &content) {
                    Came::Unasked | Came::Part => {}
                    Came::Wrong(fault) => self.bar(from, fault, out),
                    Came::Whole(photo, content) => {
                        self.fetch = None;
                        self.keeping.insert(photo.hash);
                        out.push(PhotoEffect::Keep { photo, content });
                    }
                }
            }
            Err(bad) => self.bar(from, PhotoFault::Message(bad), out),
        }
    }

    fn bar(&mut self, peer: DeviceKey, fault: PhotoFault, out: &mut Vec<PhotoEffect>) {
        // Told once: what it sends from now on is not asked for.
        if self.barred.insert(peer) {
            out.push(PhotoEffect::Fault { peer, fault });
        }
        if let Some(fetch) = &mut self.fetch {
            fetch.down(&peer);
            fetch.distrust(&peer);
        }
    }
}
