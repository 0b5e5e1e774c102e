//! Device: this machine's key, clocks and folders, and the one loop that drives the protocol.
//! Owns: the device's folder.   Gives: `Home`, `DeviceSecret`, `Node`, `NodeHandle`; `found_job`, `join_job`.
//! May use: store, net, control, protocol::engine.   Never: a rule of the job.
//!
//! In reading order: `key` who this device is · `home` where its files are · `clock` what time it is ·
//! `begin` how it comes to a job · `request` what the holder's programs ask · `checks` signatures on all cores ·
//! `flusher` the disk on a thread of its own · `photos` pictures behind the entries · `sound` a stop that no page sounds · `ask` strangers · `shown` what was
//! shown · `driver` the loop · `node` all of it together.

mod ask;
mod begin;
mod checks;
mod clock;
mod driver;
mod flusher;
mod home;
mod key;
mod node;
mod photos;
mod request;
pub(crate) mod shown;
mod sound;

pub use ask::{AskFault, call_stop, join_job};
pub use begin::{CannotBegin, begin_job, found_job};
pub use checks::check_all;
pub use clock::{Clock, boot_id};
pub use home::{Home, HomeFault};
pub use key::{DeviceSecret, KeyFault};
pub use node::{CannotStart, Node, NodeConfig};
pub use photos::CannotKeep;
pub(crate) use photos::damaged;
pub use request::{Changed, Health, JoinRequest, NodeEnded, NodeHandle, Request, Requests};
pub use sound::sound_stops;
