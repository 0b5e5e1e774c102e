//! Device: who is this device?
//! Owns: nothing.   Gives: `gantline device new`, `gantline device show`.
//! May use: device's home and key.   Never: shows or copies the secret.

use super::{Answer, Exit, Problem, Settings};
use crate::device::Home;
use clap::Subcommand;
use serde::Serialize;
use std::path::PathBuf;

/// Make or show this device's key: its name on every job
#[derive(Debug, Subcommand)]
pub(super) enum Arguments {
    /// Make this device's key, once; it is never overwritten
    New,
    /// Show this device's public key and its folder
    Show,
}

#[derive(Debug, Serialize)]
struct Shown {
    device: String,
    folder: PathBuf,
    made: bool,
}

pub(super) fn run(settings: &Settings, arguments: &Arguments) -> Result<Exit, Problem> {
    let home = Home::at(&settings.folder()?);
    let (secret, made) = match arguments {
        Arguments::New => (home.new_device()?, true),
        Arguments::Show => (home.device()?, false),
    };
    let shown = Shown {
        device: secret.device().to_string(),
        folder: home.folder().to_owned(),
        made,
    };
    let mut answer = Answer::new();
    if settings.json {
        answer.json(&shown)?;
    } else {
        answer.line(format_args!("Device {}", shown.device))?;
        answer.line(format_args!("Folder {}", shown.folder.display()))?;
        if made {
            answer.line(
                "The key in it is this device. Keep the folder; a copy of it is no second device.",
            )?;
        }
    }
    Ok(Exit::Good)
}
