//! Serve: the crew at work for people who look at its pages, one of them by hand if wanted.
//! Owns: nothing.   Gives: `serve`.
//! May use: script's beginning, stage.   Never: a mistake on purpose; an end of its own (Ctrl-C ends it).

use super::photo;
use super::script::{CAST, Folder, begin};
use super::{Options, Stopped};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// Runs the crew until somebody presses Ctrl-C, with a link to each device's page.
pub(super) fn serve(
    options: &Options,
    by_hand: Option<&str>,
    interrupted: Arc<AtomicBool>,
) -> Result<(), Stopped> {
    let folder = Folder::make(options)?;
    let (mut stage, _spare) = begin(options, &folder, interrupted)?;
    stage.slow = !options.fast;
    photo::noted(&mut stage)?;
    let mut found = by_hand.is_none();
    for (place, (name, role)) in CAST.iter().enumerate() {
        let hand = !found && by_hand == Some(role);
        found |= hand;
        stage.hands[place].by_hand = hand;
        let link = stage.stations[place].client()?.page_link()?.link;
        let whose = if hand { "yours" } else { "played" };
        stage.say(&format!("{role} ({name}, {whose}): {link}"));
    }
    if !found {
        return Err(Stopped::Nobody {
            person: by_hand.unwrap_or_default().to_owned(),
        });
    }
    stage.say("each link opens once; a page in a hidden tab is not live and holds everyone, so give each a window");
    let worked = stage.work_on();
    stage.show.finish();
    folder.tidy(options);
    match worked {
        Err(Stopped::Interrupted) => Ok(()),
        other => other,
    }
}
