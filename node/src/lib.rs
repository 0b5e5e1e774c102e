//! Gantline's node: the device that a member of the crew holds.
//!
//! Drives `gantline-protocol` and decides nothing about the job: it gives the protocol time and bytes, and
//! carries out what comes back.
//!
//! Modules in the order one should read them.

// What survives the loss of power.
pub mod store;

// Bytes to and from other devices.
pub mod net;

// The one loop: input, handle, effects.
pub mod device;

// How the holder's pages and commands reach the loop.
pub mod control;

// What the holder sees and presses.
pub mod pages;

// How it is said to people.
pub mod words;

// The limit sheet on paper and screen.
pub mod sheet;

// A whole job, with people who make mistakes.
pub mod demo;

// What the command line asks for.
pub mod cli;
