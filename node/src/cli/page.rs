//! Page: how does the holder open this device's page?
//! Owns: nothing.   Gives: `gantline page`.
//! May use: control's client.   Never: opens a browser by itself; a link that works twice.

use super::{Answer, Exit, Problem, Settings};
use crate::control::client::Client;
use crate::device::Home;
use clap::Args;

/// Print a link to this device's page: the call, what is asked of you, stop
///
/// Open it in a browser on this machine, within ten minutes; it works once, and lets that browser in until the
/// node ends. The page hears its node four times a second, and shows Hold by itself when it does not.
#[derive(Debug, Args)]
pub(super) struct Arguments {}

pub(super) fn run(settings: &Settings, Arguments {}: &Arguments) -> Result<Exit, Problem> {
    let link = Client::open(&Home::at(&settings.folder()?))?.page_link()?;
    let mut answer = Answer::new();
    if settings.json {
        answer.json(&link)?;
    } else {
        answer.line(&link.link)?;
    }
    Ok(Exit::Good)
}
