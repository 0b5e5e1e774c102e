//! Photos: the pictures of the job while the node runs: their rules driven, their files read and written on a thread of their own.
//! Owns: `protocol::photos`, the thread, who waits for a picture to be kept.   Gives: `PhotoDesk`, `CannotKeep`.
//! May use: protocol::photos, store.   Never: keeps the loop waiting; makes the device hold for want of a picture.

use crate::store::{PhotoFolder, PhotoRead, StoreFault};
use gantline_protocol::engine::Engine;
use gantline_protocol::ids::{DeviceKey, PhotoHash};
use gantline_protocol::log::photo::{NoPhoto, Photo};
use gantline_protocol::photos::{NamedPhoto, PhotoEffect, PhotoInput, Photos};
use gantline_protocol::time::Tick;
use std::collections::{BTreeSet, VecDeque};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;
use tokio::sync::mpsc::UnboundedSender;
use tokio::sync::oneshot;

/// While something is wanted it is looked so often for who may be asked: a large crew's beacons come by the thousand.
const TURN_EVERY_MS: u64 = 50;
/// Pictures that were handed in and that no note names yet: whoever hands one in names it at once.
const UNNAMED_MAX: usize = 4;

/// Why a picture that was handed in is not kept. Nothing was changed.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum CannotKeep {
    /// It is none.
    #[error(transparent)]
    NoPhoto(#[from] NoPhoto),
    /// This device has named as much as the others keep of one.
    #[error(
        "this device's photos are as many bytes as the crew keeps of one device. Write the note without"
    )]
    TooMany,
    /// The disk has too little room left.
    #[error(
        "the disk has too little room left for a photo. Free some space, or write the note without"
    )]
    Full,
    /// The disk does not take it.
    #[error("the photo cannot be kept: {why}")]
    Disk {
        /// What went wrong.
        why: String,
    },
}

impl From<StoreFault> for CannotKeep {
    fn from(fault: StoreFault) -> Self {
        match fault {
            StoreFault::Full { .. } => Self::Full,
            other => Self::Disk {
                why: other.to_string(),
            },
        }
    }
}

type Waiting = oneshot::Sender<Result<Photo, CannotKeep>>;

enum Job {
    /// `waiting`: who handed it in.
    Keep(Photo, Vec<u8>, Option<Waiting>),
    Load(PhotoHash),
    Remove(PhotoHash),
}

/// What came of a job of the thread.
pub(crate) enum Done {
    /// It is on the disk.
    Kept(Photo, Option<Waiting>),
    /// It is not.
    NotKept(PhotoHash, CannotKeep),
    /// It was read, and is good.
    Loaded(PhotoHash, Arc<[u8]>),
    /// It cannot be read, and why.
    Lost(PhotoHash, String),
}

/// The pictures of the running node.
pub(crate) struct PhotoDesk {
    photos: Photos,
    jobs: Sender<Job>,
    unnamed: VecDeque<PhotoHash>,
    /// Not before this is looked again for who holds the same entries.
    turn_at: Tick,
    /// Why the newest picture was not kept; `None`: it was.
    pub(crate) fault: Option<String>,
}

impl PhotoDesk {
    /// Starts the thread; what comes of its jobs goes to `done`. Also what is wrong with the folder.
    ///
    /// # Errors
    /// The system gives no thread.
    pub(crate) fn start(
        folder: PhotoFolder,
        engine: &Engine,
        now: Tick,
        done: UnboundedSender<Done>,
    ) -> std::io::Result<Self> {
        let mut photos = Photos::default();
        photos.learn(engine.job().graph());
        let (jobs, queue) = channel();
        let mut fault = None;
        match folder.list() {
            Ok(files) => {
                for (hash, bytes) in files {
                    if photos.named().find(&hash, Some(bytes)).is_some() {
                        let kept = PhotoInput::Kept { hash, bytes };
                        // Nobody is linked yet: nothing follows.
                        let _ = photos.handle(now, &BTreeSet::new(), kept);
                    } else {
                        let _ = jobs.send(Job::Remove(hash));
                    }
                }
            }
            Err(found) => fault = Some(found.to_string()),
        }
        thread::Builder::new()
            .name("photos".to_owned())
            .spawn(move || work(&folder, &queue, &done))?;
        Ok(Self {
            photos,
            jobs,
            unnamed: VecDeque::new(),
            turn_at: now,
            fault,
        })
    }

    /// A picture that the log names and that is kept, and whether it is here.
    pub(crate) fn find(&self, hash: &PhotoHash) -> Option<(NamedPhoto, bool)> {
        let named = self.photos.named().find(hash, None)?;
        Some((named.clone(), self.is_here(hash)))
    }

    pub(crate) fn is_here(&self, hash: &PhotoHash) -> bool {
        self.photos.here().contains_key(hash)
    }

    pub(crate) fn here(&self) -> BTreeSet<PhotoHash> {
        self.photos.here().keys().copied().collect()
    }

    /// How many pictures the log names.
    pub(crate) fn named(&self) -> usize {
        self.photos.named().all().len()
    }

    /// Takes in what the log has come to name; whether it is time for a turn of the rules, and one may come to anything.
    pub(crate) fn is_turn(&mut self, engine: &Engine, now: Tick) -> bool {
        self.photos.learn(engine.job().graph());
        if !self.photos.is_busy() || now < self.turn_at {
            return false;
        }
        self.turn_at = now.plus(TURN_EVERY_MS);
        true
    }

    pub(crate) fn due(&self) -> Option<Tick> {
        self.photos.due().map(|due| due.max(self.turn_at))
    }

    /// Has a picture kept that the holder wants to name. `waiting` gets the answer, here or from the thread.
    pub(crate) fn keep(&mut self, me: &DeviceKey, content: Vec<u8>, waiting: Waiting) {
        let photo = match Photo::of(&content) {
            Ok(photo) if self.is_here(&photo.hash) => Ok(photo),
            Ok(photo) if !self.photos.named().has_room(me, photo.bytes) => Err(CannotKeep::TooMany),
            Ok(photo) => {
                self.put(Job::Keep(photo, content, Some(waiting)));
                return;
            }
            Err(none) => Err(none.into()),
        };
        // Who asked may have gone.
        let _ = waiting.send(photo);
    }

    /// The rules' word for what came of a job.
    pub(crate) fn done(&mut self, done: Done) -> PhotoInput {
        match done {
            Done::Kept(photo, waiting) => {
                self.fault = None;
                if let Some(waiting) = waiting {
                    self.handed_in(photo.hash);
                    let _ = waiting.send(Ok(photo));
                }
                PhotoInput::Kept {
                    hash: photo.hash,
                    bytes: photo.bytes,
                }
            }
            Done::NotKept(hash, why) => {
                self.fault = Some(why.to_string());
                PhotoInput::NotKept(hash)
            }
            Done::Loaded(hash, content) => PhotoInput::Loaded { hash, content },
            Done::Lost(hash, why) => {
                self.fault = Some(why);
                PhotoInput::Lost(hash)
            }
        }
    }

    /// What was handed in and named by nobody does not stay for ever.
    fn handed_in(&mut self, hash: PhotoHash) {
        self.unnamed.retain(|one| *one != hash);
        self.unnamed.push_back(hash);
        if self.unnamed.len() > UNNAMED_MAX
            && let Some(oldest) = self.unnamed.pop_front()
            && self.photos.named().find(&oldest, None).is_none()
        {
            self.photos.forget(&oldest);
            self.put(Job::Remove(oldest));
        }
    }

    /// Lets the rules take in one thing; what is to be sent, and what others did wrong, is the driver's.
    pub(crate) fn handle(
        &mut self,
        now: Tick,
        engine: &Engine,
        input: PhotoInput,
    ) -> Vec<PhotoEffect> {
        self.photos.learn(engine.job().graph());
        let level = engine.level_peers();
        let effects = self.photos.handle(now, &level, input);
        let mut others = Vec::new();
        for effect in effects {
            match effect {
                PhotoEffect::Keep { photo, content } => self.put(Job::Keep(photo, content, None)),
                PhotoEffect::Load(hash) => self.put(Job::Load(hash)),
                other => others.push(other),
            }
        }
        others
    }

    fn put(&self, job: Job) {
        // The thread ends only with this desk.
        let _ = self.jobs.send(job);
    }
}

/// The thread: ends when nobody can send it anything any longer.
fn work(folder: &PhotoFolder, queue: &Receiver<Job>, done: &UnboundedSender<Done>) {
    while let Ok(job) = queue.recv() {
        let came = match job {
            Job::Keep(photo, content, waiting) => match folder.keep(&photo.hash, &content) {
                Ok(()) => Done::Kept(photo, waiting),
                Err(fault) => {
                    let why = CannotKeep::from(fault);
                    if let Some(waiting) = waiting {
                        let _ = waiting.send(Err(why.clone()));
                    }
                    Done::NotKept(photo.hash, why)
                }
            },
            Job::Load(hash) => match folder.read(&hash) {
                Ok(PhotoRead::Good(content)) => Done::Loaded(hash, content.into()),
                Ok(PhotoRead::Absent) => Done::Lost(hash, format!("the photo {hash} is gone")),
                Ok(PhotoRead::Damaged) => Done::Lost(hash, damaged(&hash)),
                Err(fault) => Done::Lost(hash, fault.to_string()),
            },
            Job::Remove(hash) => {
                // Left over, it is removed at the next start.
                let _ = folder.remove(&hash);
                continue;
            }
        };
        // The loop may have ended.
        let _ = done.send(came);
    }
}

/// What is said of a picture whose file is damaged.
pub(crate) fn damaged(hash: &PhotoHash) -> String {
    format!("the photo {hash} was damaged on the disk; it is set aside and fetched again")
}
