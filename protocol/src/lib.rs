//! Gantline's protocol: the job as pure state machines.
//!
//! The same code runs on a device, in the simulator, in the replay and in the tests. Nothing here reads a
//! clock, a socket, a disk or a source of randomness, and nothing here is asynchronous: time and bytes come
//! in as arguments, effects go out as values.
//!
//! Modules in the order one should read them; imports point upwards only.
#![forbid(unsafe_code)]

// Words that everything uses.
pub mod bounds;
pub mod decimal;
pub mod ids;
pub mod reason;
pub mod time;

// Distances, loads and forces.
pub mod limits;

// The job as planned.
pub mod plan;

// What was said, by whom, after what.
pub mod log;

// What it says of the work itself.
pub mod facts;

// Which of it counts.
pub mod gate;

// Proof of life.
pub mod watch;

// What a person may be told.
pub mod state;

// What two devices tell each other.
pub mod sync;

// Pictures that notes name, behind the entries.
pub mod photos;

// The one way in and out.
pub mod engine;

// How a device comes onto the job.
pub mod join;

// Afterwards: what became of it all, and is a log whole?
pub mod replay;
pub mod verify;

// What must never be.
pub mod invariants;
