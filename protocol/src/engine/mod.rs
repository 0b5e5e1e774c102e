//! Engine: the one way in and out of a device's job.
//! In reading order: `command` what people do · `input` what happens · `output` what is then done.

mod command;
mod input;
mod output;

pub use command::{Command, CommandId, Outcome};
pub use input::Input;
pub use output::{Alarm, Effect, FlushId, VerifyId};
