//! Photos: pictures into the node and out of it, as bytes.
//! Owns: nothing.   Gives: `put`, `get`; `found`, a picture as an answer, for the pages too.
//! May use: device::request, store's reader.   Never: a picture that no note on this job names; bytes whose hash or form was
//! not looked at.

use crate::control::routes::Body;
use crate::control::{Refusal, Shared};
use crate::device::{Request, damaged};
use crate::store::PhotoRead;
use axum::Json;
use axum::extract::rejection::BytesRejection;
use axum::extract::{DefaultBodyLimit, Path, State};
use axum::http::StatusCode;
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, X_CONTENT_TYPE_OPTIONS,
};
use axum::response::{IntoResponse, Response};
use gantline_protocol::bounds::PHOTO_MAX_BYTES;
use gantline_protocol::ids::PhotoHash;
use gantline_protocol::log::photo::{Media, Photo};

/// Nothing in a picture is run, whatever is in it.
const POLICY: &str = "default-src 'none'; sandbox";
/// A picture never changes, as its hash is its address; the browser asks its own node all the same after a day.
const KEPT: &str = "private, max-age=86400, immutable";

/// Longest body of a picture: what is longer is refused without being kept.
pub(super) fn limit() -> DefaultBodyLimit {
    DefaultBodyLimit::max(PHOTO_MAX_BYTES as usize)
}

/// Has a picture kept, and says how a note names it.
pub(super) async fn put(State(shared): State<Shared>, body: Body) -> Result<Json<Photo>, Refusal> {
    let content = body.map_err(|rejection: BytesRejection| {
        if rejection.status() == StatusCode::PAYLOAD_TOO_LARGE {
            Refusal::TooLong {
                most: PHOTO_MAX_BYTES as usize,
            }
        } else {
            Refusal::Body
        }
    })?;
    let kept = shared.node.keep_photo(content.to_vec()).await?;
    kept.map(Json).map_err(|why| Refusal::Photo {
        why: why.to_string(),
    })
}

/// A note names only what was handed in here before.
pub(super) async fn must_be_kept(shared: &Shared, photo: &Photo) -> Result<(), Refusal> {
    let here = shared.node.photos_here().await?;
    if here.contains(&photo.hash) {
        Ok(())
    } else {
        Err(Refusal::Photo {
            why: format!(
                "{} is not here; send its bytes to /api/photo first",
                photo.hash
            ),
        })
    }
}

/// A picture that a note names.
pub(super) async fn get(
    State(shared): State<Shared>,
    Path(hash): Path<String>,
) -> Result<Response, Refusal> {
    let hash = hash.parse().map_err(|_| Refusal::NoPhoto)?;
    found(&shared, hash).await?.ok_or(Refusal::NoPhoto)
}

/// A picture as an answer; `None`: no note on this job names it, or it is not here.
///
/// # Errors
/// [`Refusal::Ending`].
pub(crate) async fn found(shared: &Shared, hash: PhotoHash) -> Result<Option<Response>, Refusal> {
    let Some((_, true)) = shared.node.photo(hash).await? else {
        return Ok(None);
    };
    let folder = shared.photos.clone();
    let read = tokio::task::spawn_blocking(move || folder.read(&hash)).await;
    let why = match read {
        Ok(Ok(PhotoRead::Good(content))) => return Ok(answer(content)),
        Ok(Ok(PhotoRead::Absent)) => format!("the photo {hash} is gone"),
        Ok(Ok(PhotoRead::Damaged)) => damaged(&hash),
        Ok(Err(fault)) => fault.to_string(),
        Err(ended) => ended.to_string(),
    };
    shared.node.tell(Request::PhotoLost { hash, why }).await?;
    Ok(None)
}

/// By what the bytes are, not by what somebody said of them.
fn answer(content: Vec<u8>) -> Option<Response> {
    let media = Media::of(&content)?;
    let headers = [
        (CONTENT_TYPE, media.mime()),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (CONTENT_SECURITY_POLICY, POLICY),
        (CACHE_CONTROL, KEPT),
    ];
    Some((headers, content).into_response())
}
