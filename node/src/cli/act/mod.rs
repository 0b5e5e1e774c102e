//! Act: what does a person do on this device? Every act that the protocol knows, as a subcommand.
//! Owns: nothing.   Gives: `gantline act`.
//! May use: control's client, words.   Never: decides whether an act is good (the node answers).
//! In reading order: `arguments` the words for each · `command` what they mean.

mod arguments;
mod command;

pub(super) use arguments::Arguments;

use super::{Answer, Exit, Problem, Settings};
use crate::control::client::{Client, ClientFault};
use crate::device::Home;
use crate::words::{ENGLISH, Words};
use command::{Names, command};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::state::CallWord;

/// Does the act, and prints how it went.
pub(super) fn run(settings: &Settings, arguments: Arguments) -> Result<Exit, Problem> {
    let client = Client::open(&Home::at(&settings.folder()?))?;
    let names = Names { client: &client };
    let command = command(arguments.act, &names)?;
    let outcome = match client.act(&command) {
        Err(ClientFault::Silent { .. }) if shows_stop(&client, &command) => {
            return Err(Problem::StopNotOnDisk);
        }
        answer => answer?,
    };
    let exit = match &outcome {
        Outcome::Recorded { reasons, .. } if reasons.is_empty() => Exit::Good,
        Outcome::AlreadySo => Exit::Good,
        Outcome::Recorded { .. } | Outcome::Refused { .. } => Exit::No,
    };
    let mut answer = Answer::new();
    if settings.json {
        answer.json(&outcome)?;
    } else {
        let words = client.status().map_or_else(
            |_| Words::new(&ENGLISH),
            |status| Words::of_status(&ENGLISH, &status),
        );
        for sentence in words.outcome(&outcome) {
            answer.line(sentence)?;
        }
        if let Outcome::Recorded { entry, seq, .. } = &outcome {
            answer.line(format_args!("Entry {seq} of this device, {entry}."))?;
        }
    }
    Ok(exit)
}

/// A stop is shown and sent before the disk has it; only its recording is waited for.
fn shows_stop(client: &Client, command: &Command) -> bool {
    matches!(command, Command::Stop { .. } | Command::Withdraw { .. })
        && client
            .status()
            .is_ok_and(|status| status.call.word == CallWord::StopWork)
}
