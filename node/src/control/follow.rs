//! Follow: answers that go on: the status at each change, the log as a file.
//! Owns: the tasks that write them.   Gives: `status`, `log`, `pieces`.
//! May use: device::request.   Never: holds more than a piece of an answer in memory.

use crate::control::{Refusal, Shared};
use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::header::{CONTENT_LENGTH, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use core::pin::Pin;
use core::task::{Context, Poll};
use std::io;
use std::os::unix::fs::FileExt;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::sync::mpsc;

/// The status is sent at most so often.
const AT_MOST_EVERY: Duration = Duration::from_millis(100);
/// And at least so often, so that ages go on and a reader sees that the node lives.
const AT_LEAST_EVERY: Duration = Duration::from_secs(1);
/// One piece of the log.
const PIECE_BYTES: usize = 64 * 1024;

/// Pieces from a task, as a body.
struct Pieces(mpsc::Receiver<io::Result<Bytes>>);

/// Pieces as the stream that a body is made from.
pub(crate) fn pieces(
    from: mpsc::Receiver<io::Result<Bytes>>,
) -> impl futures_core::Stream<Item = io::Result<Bytes>> {
    Pieces(from)
}

impl futures_core::Stream for Pieces {
    type Item = io::Result<Bytes>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        self.0.poll_recv(context)
    }
}

/// One line of JSON for each status, until the reader goes away.
pub(crate) async fn status(State(shared): State<Shared>) -> Response {
    let (pieces, body) = mpsc::channel(1);
    let mut node = shared.node;
    tokio::spawn(async move {
        loop {
            let Ok(status) = node.status().await else {
                return;
            };
            let Ok(mut line) = serde_json::to_vec(&status) else {
                return;
            };
            line.push(b'\n');
            if pieces.send(Ok(line.into())).await.is_err() {
                return;
            }
            tokio::time::sleep(AT_MOST_EVERY).await;
            let change = tokio::time::timeout(AT_LEAST_EVERY - AT_MOST_EVERY, node.changed()).await;
            if let Ok(Err(_)) = change {
                return;
            }
        }
    });
    (
        [(CONTENT_TYPE, "application/x-ndjson")],
        Body::from_stream(Pieces(body)),
    )
        .into_response()
}

/// The journal up to what is on the disk by now.
pub(crate) async fn log(State(shared): State<Shared>) -> Result<Response, Refusal> {
    let refusal = |error: io::Error| Refusal::Log {
        why: error.to_string(),
    };
    let until = shared.durable.load(Ordering::Acquire);
    let file = std::fs::File::open(&shared.journal).map_err(refusal)?;
    let (pieces, body) = mpsc::channel(1);
    tokio::spawn(async move {
        let mut at = 0;
        while at < until {
            let length =
                usize::try_from(until - at).map_or(PIECE_BYTES, |left| left.min(PIECE_BYTES));
            let mut piece = vec![0; length];
            let read = file.read_exact_at(&mut piece, at);
            at += length as u64;
            let failed = read.is_err();
            if pieces.send(read.map(|()| piece.into())).await.is_err() || failed {
                return;
            }
        }
    });
    Ok((
        [
            (CONTENT_TYPE, "application/octet-stream".to_owned()),
            (CONTENT_LENGTH, until.to_string()),
        ],
        Body::from_stream(Pieces(body)),
    )
        .into_response())
}
