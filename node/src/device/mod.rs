//! Device: this machine's key, clocks and folders, and the one loop that drives the protocol.
//! Owns: the device's folder.   Gives: `Home`, `DeviceSecret`, `Clock`, `Driver`.
//! May use: store, net, protocol::engine.   Never: a rule of the job.
//!
//! In reading order: `key` who this device is · `home` where its files are · `clock` what time it is ·
//! `request` what the holder's programs ask.

mod clock;
mod home;
mod key;
mod request;

pub use clock::{Clock, boot_id};
pub use home::{Home, HomeFault};
pub use key::{DeviceSecret, KeyFault};
pub use request::{Health, JoinRequest, NodeEnded, NodeHandle, Request, Requests};
