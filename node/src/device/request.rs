//! Request: what the holder's own programs ask of the running node.
//! Owns: nothing.   Gives: `Request`, `NodeHandle` to put them, `Health`, `JoinRequest`.
//! May use: protocol's commands and status.   Never: how requests come in (control).

use crate::device::CannotKeep;
use gantline_protocol::engine::{Alarm, Command, Outcome};
use gantline_protocol::gate::Job;
use gantline_protocol::ids::{DeviceKey, EntryHash, JobId, Person, PhotoHash};
use gantline_protocol::log::photo::Photo;
use gantline_protocol::plan::Plan;
use gantline_protocol::state::{Aside, Overview, Status};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::net::SocketAddr;
use tokio::sync::{mpsc, oneshot, watch};

/// Most requests waiting for the loop; more wait in their senders. Nothing is refused for it.
const REQUESTS_WAITING_MAX: usize = 64;

/// One request, with where to put the answer.
#[derive(Debug)]
pub enum Request {
    /// A person's act.
    Act {
        /// What.
        command: Box<Command>,
        /// The answer, when it is on the disk, or refused.
        reply: oneshot::Sender<Outcome>,
    },
    /// A person's press on a page: an act only if what the page showed is still so.
    Press {
        /// The [`gantline_protocol::state::face`] of what was shown.
        face: EntryHash,
        /// What.
        command: Box<Command>,
        /// At once: where the outcome will come, or that what was shown has changed.
        reply: oneshot::Sender<Result<oneshot::Receiver<Outcome>, Changed>>,
    },
    /// The plan as it stands.
    Plan {
        /// The answer.
        reply: oneshot::Sender<Box<Plan>>,
    },
    /// What the device shows.
    Status {
        /// The answer.
        reply: oneshot::Sender<Box<Status>>,
    },
    /// The job as it stands, for the replay.
    Job {
        /// The answer: a copy, which nothing is written with.
        reply: oneshot::Sender<Box<Job>>,
    },
    /// What is known here of the crew as a whole.
    Overview {
        /// The answer.
        reply: oneshot::Sender<Box<Overview>>,
    },
    /// What a page shows beside the status.
    Aside {
        /// The answer.
        reply: oneshot::Sender<Box<Aside>>,
    },
    /// Devices that ask to join at this one.
    Joins {
        /// The answer, the oldest first.
        reply: oneshot::Sender<Vec<JoinRequest>>,
    },
    /// Says no to a device that asks to join.
    RefuseJoin {
        /// Which.
        device: DeviceKey,
        /// Why; it is told.
        why: String,
        /// Whether it had asked.
        reply: oneshot::Sender<bool>,
    },
    /// Has a picture kept that a note is to name.
    KeepPhoto {
        /// Its bytes.
        content: Vec<u8>,
        /// How the note names it, once it is on the disk.
        reply: oneshot::Sender<Result<Photo, CannotKeep>>,
    },
    /// A picture by its hash.
    Photo {
        /// Its hash.
        hash: PhotoHash,
        /// What the log says of it, and whether it is here; `None`: no note on this job names it.
        reply: oneshot::Sender<Option<(Photo, bool)>>,
    },
    /// Which pictures are here.
    PhotosHere {
        /// The answer.
        reply: oneshot::Sender<BTreeSet<PhotoHash>>,
    },
    /// A picture that should be here was found to be gone or damaged.
    PhotoLost {
        /// Which.
        hash: PhotoHash,
        /// What was found.
        why: String,
    },
    /// How the node is.
    Health {
        /// The answer.
        reply: oneshot::Sender<Box<Health>>,
    },
    /// An address of a device, given by a person.
    KnownAddress {
        /// The device.
        device: DeviceKey,
        /// Where it is.
        address: SocketAddr,
    },
    /// For tests: hear and reach nobody, or do again.
    Deaf {
        /// Whether.
        deaf: bool,
        /// Whether this node was started so that it may be.
        reply: oneshot::Sender<bool>,
    },
    /// The page gave a sign of life.
    PageAlive,
    /// The page said goodbye.
    PageClosed,
    /// End in good order.
    Shutdown,
}

/// A device that asks to join.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct JoinRequest {
    /// Its key.
    pub device: DeviceKey,
    /// Whose it says it is.
    pub person: Person,
    /// Where it is.
    pub address: SocketAddr,
    /// The words that must be the same on its screen.
    pub words: String,
}

/// How the node is.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Health {
    /// This program's version.
    pub version: String,
    /// Its process.
    pub process: u32,
    /// This device.
    pub device: DeviceKey,
    /// Its job.
    pub job: JobId,
    /// Where it can be dialled.
    pub addresses: Vec<SocketAddr>,
    /// Devices that a link stands to.
    pub linked: Vec<DeviceKey>,
    /// No other device was heard for some seconds: an address may have to be given by hand.
    pub nobody_heard: bool,
    /// Records in the journal.
    pub records: u64,
    /// Why the newest flush failed; `None`: it did not.
    pub disk_fault: Option<String>,
    /// What was wrong with the files at the start.
    pub findings: Vec<String>,
    /// Whether something that was recorded here may be missing.
    pub loss: bool,
    /// What sounds.
    pub alarms: Vec<Alarm>,
    /// A page of this device lives: it sounds by itself.
    pub page_lives: bool,
    /// Errors of the program itself.
    pub bugs: Vec<String>,
    /// The newest faults on links, for a person who looks for the cause.
    pub link_faults: Vec<String>,
    /// What the disk said when it last refused entries, newest last.
    pub disk_faults: Vec<String>,
    /// Photos that the log names.
    #[serde(default)]
    pub photos: usize,
    /// Of these, here.
    #[serde(default)]
    pub photos_here: usize,
    /// Why the newest photo is not here; the job goes on without it.
    #[serde(default)]
    pub photo_fault: Option<String>,
}

/// What a page showed when it was pressed is not so any longer; nothing was recorded.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("what was shown when it was pressed has changed; nothing was recorded. Read it again")]
pub struct Changed;

/// The node has ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("the node has ended; start it again with `gantline node`")]
pub struct NodeEnded;

/// Puts requests to the running node.
#[derive(Clone, Debug)]
pub struct NodeHandle {
    requests: mpsc::Sender<Request>,
    changed: watch::Receiver<u64>,
}

/// Where the loop takes requests from.
#[derive(Debug)]
pub struct Requests {
    /// The requests.
    pub waiting: mpsc::Receiver<Request>,
    /// To be raised whenever what is shown may have changed.
    pub changed: watch::Sender<u64>,
}

impl NodeHandle {
    /// A handle, and what the loop takes the requests from.
    #[must_use]
    pub fn new() -> (Self, Requests) {
        let (requests, waiting) = mpsc::channel(REQUESTS_WAITING_MAX);
        let (changed, follow) = watch::channel(0);
        let handle = Self {
            requests,
            changed: follow,
        };
        (handle, Requests { waiting, changed })
    }

    /// Sends a request that has no answer.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn tell(&self, request: Request) -> Result<(), NodeEnded> {
        self.requests.send(request).await.map_err(|_| NodeEnded)
    }

    async fn ask<T>(
        &self,
        request: impl FnOnce(oneshot::Sender<T>) -> Request,
    ) -> Result<T, NodeEnded> {
        let (reply, answer) = oneshot::channel();
        self.tell(request(reply)).await?;
        answer.await.map_err(|_| NodeEnded)
    }

    /// A person's act; answers when it is recorded or refused.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn act(&self, command: Command) -> Result<Outcome, NodeEnded> {
        self.ask(|reply| Request::Act {
            command: Box::new(command),
            reply,
        })
        .await
    }

    /// A person's press on a page that showed the status with this face; answers when it is recorded or refused,
    /// or at once that what was shown has changed.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn press(
        &self,
        face: EntryHash,
        command: Command,
    ) -> Result<Result<Outcome, Changed>, NodeEnded> {
        let taken = self
            .ask(|reply| Request::Press {
                face,
                command: Box::new(command),
                reply,
            })
            .await?;
        match taken {
            Ok(outcome) => outcome.await.map(Ok).map_err(|_| NodeEnded),
            Err(changed) => Ok(Err(changed)),
        }
    }

    /// The plan as it stands.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn plan(&self) -> Result<Box<Plan>, NodeEnded> {
        self.ask(|reply| Request::Plan { reply }).await
    }

    /// What the device shows.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn status(&self) -> Result<Box<Status>, NodeEnded> {
        self.ask(|reply| Request::Status { reply }).await
    }

    /// The job as it stands.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn job(&self) -> Result<Box<Job>, NodeEnded> {
        self.ask(|reply| Request::Job { reply }).await
    }

    /// What is known here of the crew as a whole.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn overview(&self) -> Result<Box<Overview>, NodeEnded> {
        self.ask(|reply| Request::Overview { reply }).await
    }

    /// What a page shows beside the status.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn aside(&self) -> Result<Box<Aside>, NodeEnded> {
        self.ask(|reply| Request::Aside { reply }).await
    }

    /// Has a picture kept that a note is to name; answers when it is on the disk, or refused.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn keep_photo(
        &self,
        content: Vec<u8>,
    ) -> Result<Result<Photo, CannotKeep>, NodeEnded> {
        self.ask(|reply| Request::KeepPhoto { content, reply })
            .await
    }

    /// A picture that a note on this job names, and whether it is here.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn photo(&self, hash: PhotoHash) -> Result<Option<(Photo, bool)>, NodeEnded> {
        self.ask(|reply| Request::Photo { hash, reply }).await
    }

    /// Which pictures are here.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn photos_here(&self) -> Result<BTreeSet<PhotoHash>, NodeEnded> {
        self.ask(|reply| Request::PhotosHere { reply }).await
    }

    /// Devices that ask to join.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn joins(&self) -> Result<Vec<JoinRequest>, NodeEnded> {
        self.ask(|reply| Request::Joins { reply }).await
    }

    /// Says no to a device that asks to join; `false`: it had not asked.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn refuse_join(&self, device: DeviceKey, why: String) -> Result<bool, NodeEnded> {
        self.ask(|reply| Request::RefuseJoin { device, why, reply })
            .await
    }

    /// For tests: has the node hear and reach nobody, or do again; `false`: it was not started for that.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn deaf(&self, deaf: bool) -> Result<bool, NodeEnded> {
        self.ask(|reply| Request::Deaf { deaf, reply }).await
    }

    /// How the node is.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn health(&self) -> Result<Box<Health>, NodeEnded> {
        self.ask(|reply| Request::Health { reply }).await
    }

    /// Waits until what is shown may have changed.
    ///
    /// # Errors
    /// [`NodeEnded`].
    pub async fn changed(&mut self) -> Result<(), NodeEnded> {
        self.changed.changed().await.map_err(|_| NodeEnded)
    }
}
