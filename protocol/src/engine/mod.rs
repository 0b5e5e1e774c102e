//! Engine: the one way in and out of a device's job.
//! In reading order: `command` what people do · `input` what happens · `output` what is then done ·
//! `config` what a start begins with · `device` the one way in · `own` entries on their way to disk ·
//! `intake` from bytes to applied entries · `bodies`, `attempt` from a press to an entry · `stops` shown and
//! sent at once · `gone` what comes from off the job · `talk` beacons, asking and giving · `acts` what a node
//! writes by itself · `calls` what is told to the holder · `memory` what a loss leaves behind.

mod acts;
mod attempt;
mod bodies;
mod calls;
mod command;
mod config;
mod device;
mod gone;
mod input;
mod intake;
mod memory;
mod output;
mod own;
mod stops;
mod talk;

pub use command::{Command, CommandId, Outcome};
pub use config::{CannotFound, CannotOpen, Config, found, found_simulated};
pub use device::{Engine, Why};
pub use input::Input;
pub use output::{Alarm, Effect, FlushId, VerifyId};
