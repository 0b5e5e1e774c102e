//! Gantline's simulator: whole crews on one virtual clock.
//!
//! The same engines as on a device, with `radio` in place of the network, a disk that loses what it has not
//! flushed, and `crew` in place of fingers. One seed gives one run: `World::trace` is the hash of every event.
#![forbid(unsafe_code)]

pub mod cases;
pub mod crew;
pub mod explore;
pub mod measure;
pub mod people;
pub mod radio;
pub mod rng;
pub mod run;
pub mod script;
pub mod shrink;
pub mod signing;
pub mod world;
