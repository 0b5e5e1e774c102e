//! Photos: a note with a photo in, and photos shown where notes are read.
//! Owns: nothing.   Gives: `note`, `photo`; `gallery`, photos as HTML.
//! May use: press, control's photos, view.   Never: a photo that no note on this job names; a place whose size depends on
//! whether its photo has come.
//!
//! A note is sent with its photo as one plain form, so that it works without scripts; with scripts the photo is made
//! smaller before it is sent, and leaves behind what the camera wrote into it about place and person.

use crate::control::{Refusal, Shared, found_photo};
use crate::device::CannotKeep;
use crate::pages::form::{FORM_MAX_BYTES, Form};
use crate::pages::press::{self, Answer};
use crate::pages::view::View;
use crate::words::{ActLabels, fill};
use axum::extract::multipart::{Field, MultipartError};
use axum::extract::{DefaultBodyLimit, Multipart, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use gantline_protocol::bounds::PHOTO_MAX_BYTES;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::PhotoHash;
use gantline_protocol::log::entry::NoteKind;
use gantline_protocol::log::photo::NoPhoto;
use gantline_protocol::state::PhotoNote;
use maud::{Markup, html};
use std::collections::BTreeSet;

/// Longest form that is read to its end: what a camera makes without scripts, so that it can be told what is wrong with
/// it. Of a photo no more than may be kept is held.
const SENT_MAX_BYTES: usize = 64 * 1024 * 1024;
/// The field of a photo.
pub(crate) const FIELD: &str = "photo";

pub(crate) fn limit() -> DefaultBodyLimit {
    DefaultBodyLimit::max(SENT_MAX_BYTES)
}

/// What was sent.
#[derive(Default)]
struct Sent {
    form: Form,
    /// Empty: none was chosen.
    photo: Vec<u8>,
    is_too_large: bool,
}

async fn read(mut fields: Multipart) -> Result<Sent, MultipartError> {
    let mut sent = Sent::default();
    let mut room = FORM_MAX_BYTES;
    while let Some(mut field) = fields.next_field().await? {
        let name = field.name().unwrap_or_default().to_owned();
        if name == FIELD {
            let (content, whole) = up_to(&mut field, PHOTO_MAX_BYTES as usize).await?;
            sent.photo = content;
            sent.is_too_large = !whole;
        } else {
            let (value, _) = up_to(&mut field, room).await?;
            room -= value.len();
            let value = String::from_utf8_lossy(&value).into_owned();
            sent.form.put(name, value);
        }
    }
    Ok(sent)
}

/// A field's bytes, no more than so many; whether that is all of them. The rest is read and dropped.
async fn up_to(field: &mut Field<'_>, most: usize) -> Result<(Vec<u8>, bool), MultipartError> {
    let mut content = Vec::new();
    let mut whole = true;
    while let Some(piece) = field.chunk().await? {
        let room = most - content.len();
        whole &= piece.len() <= room;
        content.extend_from_slice(&piece[..piece.len().min(room)]);
    }
    Ok((content, whole))
}

/// A note, with a photo or without.
pub(crate) async fn note(
    State(shared): State<Shared>,
    headers: HeaderMap,
    fields: Multipart,
) -> Result<Response, Refusal> {
    let sent = read(fields).await.map_err(|bad| {
        if bad.status() == StatusCode::PAYLOAD_TOO_LARGE {
            Refusal::TooLong {
                most: SENT_MAX_BYTES,
            }
        } else {
            Refusal::Body
        }
    })?;
    let labels = shared.pages.language().labels.acts;
    let answer = if sent.is_too_large {
        Answer::no(labels.photo_too_large.to_owned())
    } else if sent.photo.is_empty() {
        press::deed(&shared, &sent.form).await?
    } else {
        match shared.node.keep_photo(sent.photo).await? {
            Ok(photo) => {
                let note = Command::Note {
                    text: sent.form.text("text").to_owned(),
                    about: None,
                    kind: NoteKind::Photo(photo),
                };
                press::act(&shared, note).await?
            }
            Err(why) => Answer::no(said(labels, &why).to_owned()),
        }
    };
    press::finish(&shared, &headers, sent.form, answer).await
}

fn said(labels: &ActLabels, why: &CannotKeep) -> &'static str {
    match why {
        CannotKeep::NoPhoto(NoPhoto::TooLarge { .. }) => labels.photo_too_large,
        CannotKeep::NoPhoto(NoPhoto::NotAPicture | NoPhoto::Empty) => labels.photo_no_picture,
        CannotKeep::TooMany => labels.photo_too_many,
        CannotKeep::Full => labels.photo_disk_full,
        CannotKeep::Disk { .. } => labels.photo_not_kept,
    }
}

/// A photo that a note on this job names, if it is here.
pub(crate) async fn photo(
    State(shared): State<Shared>,
    Path(hash): Path<String>,
) -> Result<Response, Refusal> {
    let found = match hash.parse() {
        Ok(hash) => found_photo(&shared, hash).await?,
        Err(_) => None,
    };
    let words = shared.pages.language().labels.acts.photo_not_here;
    Ok(found.unwrap_or_else(|| (StatusCode::NOT_FOUND, words).into_response()))
}

/// Photos, newest first, each in a place that has its size before the photo is here.
pub(crate) fn gallery(view: &View, photos: &[PhotoNote], here: &BTreeSet<PhotoHash>) -> Markup {
    let a = view.labels.acts;
    html! {
        div class="photos" {
            @for note in photos.iter().rev() {
                @let when = view.clock(note.wall.0);
                @let by = fill(a.photo_by, &[("who", &view.name(&note.by)), ("when", &when)]);
                @let hash = note.photo.hash.to_string();
                figure data-name={ "photo-" (note.entry) } {
                    div class="frame" data-photo=(hash) {
                        @if here.contains(&note.photo.hash) {
                            img src={ "/photo/" (hash) } alt=(if note.text.is_empty() { &by } else { &note.text });
                        } @else {
                            p { (a.photo_not_here) }
                        }
                    }
                    figcaption { @if !note.text.is_empty() { b { (note.text) } " " } (by) }
                }
            }
        }
    }
}
