//! Photo: a note with a photo in the demonstration, until every device has it.
//! Owns: the photo, of an invented tag.   Gives: `noted`.
//! May use: stage, station.   Never: a photo of anything that is.

use super::Stopped;
use super::stage::Stage;
use gantline_protocol::engine::Command;
use gantline_protocol::log::entry::NoteKind;

/// A tag with a date on a stick, drawn for this.
const TAG: &[u8] = include_bytes!("tag.png");

/// The ground worker notes what the tag of the stick says, with a photo of it.
pub(super) fn noted(stage: &mut Stage) -> Result<(), Stopped> {
    let ground = stage.place("Elm")?;
    let photo = stage.stations[ground].client()?.keep_photo(TAG)?;
    stage.must(
        ground,
        &Command::Note {
            text: "The tag of the stick HS-09".to_owned(),
            about: None,
            kind: NoteKind::Photo(photo),
        },
    )?;
    stage.expect("every device has the photo", |stage| {
        for place in stage.running() {
            if stage.stations[place].client()?.health()?.photos_here == 0 {
                return Ok(false);
            }
        }
        Ok(true)
    })?;
    stage.say("Elm notes the tag of the stick with a photo; every device has it");
    Ok(())
}
