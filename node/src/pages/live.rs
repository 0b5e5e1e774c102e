//! Live: the stream that keeps a page alive, and the page's answer that it is.
//! Owns: the task that writes it.   Gives: `stream`, `alive`, `closed`.
//! May use: page, device::request.   Never: a comment as a tick (it would not reach the script); two streams at once.
//!
//! A tick is an event of its own each quarter of a second, with the page's HTML when that has changed. The page takes
//! its Hold picture off only by a tick, and answers each: by these answers the node knows that a person can stop from
//! this device.

use crate::control::{Refusal, Shared, pieces};
use crate::device::{NodeHandle, Request};
use crate::pages::enter::{OFFSETS_MIN, Settings};
use crate::pages::form::Form;
use crate::pages::page::{Kind, main_of, overview, seen};
use crate::pages::view::View;
use axum::body::{Body, Bytes};
use axum::extract::{RawQuery, State};
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::sync::mpsc;

/// Between two ticks: four fit into the second after which a page is silent.
const TICK: Duration = Duration::from_millis(250);
/// A change is shown at once, but not more often than this.
const AT_MOST_EVERY: Duration = Duration::from_millis(40);
/// An answer to a tick older than so many is no sign of life.
const ANSWER_WITHIN_TICKS: u64 = 3;

#[derive(Serialize)]
struct Tick<'a> {
    /// The stream.
    s: u64,
    /// The tick on it.
    n: u64,
    /// The page, if it has changed.
    #[serde(skip_serializing_if = "Option::is_none")]
    html: Option<&'a str>,
    /// Another page took over: this is the last tick.
    #[serde(skip_serializing_if = "core::ops::Not::not")]
    other: bool,
}

fn event(tick: &Tick) -> Bytes {
    // All of it is text and numbers, which JSON always takes.
    let json = serde_json::to_string(tick).unwrap_or_default();
    Bytes::from(format!("data: {json}\n\n"))
}

/// The stream. The newest one is the only one.
pub(crate) async fn stream(
    State(shared): State<Shared>,
    headers: HeaderMap,
    RawQuery(query): RawQuery,
) -> Response {
    let query = Form::read(query.unwrap_or_default().as_bytes());
    let kind = Kind::named(query.text("as")).unwrap_or(Kind::Worker);
    let offset_min = query
        .value::<i64>("offset")
        .filter(|offset| OFFSETS_MIN.contains(offset))
        .unwrap_or(0);
    let stream = shared.pages.stream.fetch_add(1, Ordering::Relaxed) + 1;
    let (sender, body) = mpsc::channel(1);
    let two_presses = Settings::of(&headers).two_presses;
    tokio::spawn(write(shared, sender, stream, kind, offset_min, two_presses));
    (
        [
            (CONTENT_TYPE, "text/event-stream"),
            (CACHE_CONTROL, "no-store"),
        ],
        Body::from_stream(pieces(body)),
    )
        .into_response()
}

async fn write(
    shared: Shared,
    sender: mpsc::Sender<std::io::Result<Bytes>>,
    stream: u64,
    kind: Kind,
    offset_min: i64,
    two_presses: bool,
) {
    let mut node: NodeHandle = shared.node.clone();
    let mut last = String::new();
    let mut n = 0;
    loop {
        let other = shared.pages.newest_stream() != stream;
        let html = if other {
            None
        } else {
            let beside = matches!(kind, Kind::Beside(_));
            let Ok(seen) = seen(&shared, beside).await else {
                return;
            };
            let since = shared.pages.shown_for_s(seen.status.call.word);
            let Ok(overview) = overview(&shared, &kind).await else {
                return;
            };
            let view = View::new(&seen, since, offset_min)
                .with_choice(shared.pages.choice())
                .with_two_presses(two_presses)
                .with_overview(overview);
            let html = main_of(&view, &kind).into_string();
            let changed = html != last;
            if changed {
                last = html;
            }
            changed.then_some(last.as_str())
        };
        n += 1;
        if !other {
            shared.pages.tick.store(n, Ordering::Relaxed);
        }
        let tick = Tick {
            s: stream,
            n,
            html,
            other,
        };
        if sender.send(Ok(event(&tick))).await.is_err() || other {
            return;
        }
        tokio::time::sleep(AT_MOST_EVERY).await;
        let change = tokio::time::timeout(TICK - AT_MOST_EVERY, node.changed()).await;
        if let Ok(Err(_)) = change {
            return;
        }
    }
}

/// The page's answer to a tick.
pub(crate) async fn alive(
    State(shared): State<Shared>,
    body: Bytes,
) -> Result<StatusCode, Refusal> {
    let form = Form::read(&body);
    let (stream, tick) = (form.value::<u64>("s"), form.value::<u64>("n"));
    let newest = shared.pages.tick.load(Ordering::Relaxed);
    let fresh = stream == Some(shared.pages.newest_stream())
        && tick.is_some_and(|tick| newest.saturating_sub(tick) <= ANSWER_WITHIN_TICKS);
    if !fresh {
        return Ok(StatusCode::CONFLICT);
    }
    shared.node.tell(Request::PageAlive).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// The page goes in good order: closed, or on to another one.
pub(crate) async fn closed(
    State(shared): State<Shared>,
    body: Bytes,
) -> Result<StatusCode, Refusal> {
    let stream = Form::read(&body).value::<u64>("s");
    if stream == Some(shared.pages.newest_stream()) {
        shared.node.tell(Request::PageClosed).await?;
    }
    Ok(StatusCode::NO_CONTENT)
}
