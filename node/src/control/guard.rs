//! Guard: who may speak to the node.
//! Owns: the token.   Gives: `Guard`, run before every route.
//! May use: file, error.   Never: lets anything through that it does not understand.
//!
//! The socket is on the loopback address, which every page in a browser on this machine can reach too. A page of
//! another site shows itself by its Origin, or, when it has made its own name point here, by its Host. Programs of
//! other users of the machine do not have the token.

use crate::control::{ControlFile, Refusal};
use axum::extract::{Request, State};
use axum::http::header::{AUTHORIZATION, HOST, ORIGIN};
use axum::http::{HeaderMap, HeaderName};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// Checks that come before every route.
#[derive(Clone)]
pub(crate) struct Guard {
    allowed: Arc<Allowed>,
}

struct Allowed {
    hosts: [String; 2],
    origins: [String; 2],
    /// The hash of the token, so that comparing takes the same time whatever is given.
    token: blake3::Hash,
}

impl Guard {
    pub(crate) fn new(file: &ControlFile) -> Self {
        let port = file.port;
        let hosts = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
        let origins = hosts.clone().map(|host| format!("http://{host}"));
        Self {
            allowed: Arc::new(Allowed {
                hosts,
                origins,
                token: blake3::hash(file.token.as_bytes()),
            }),
        }
    }

    fn check(&self, headers: &HeaderMap) -> Result<(), Refusal> {
        let host = only(headers, &HOST).ok_or(Refusal::Host)?;
        if !self.allowed.hosts.iter().any(|allowed| allowed == host) {
            return Err(Refusal::Host);
        }
        if headers.contains_key(ORIGIN) {
            let origin = only(headers, &ORIGIN).ok_or(Refusal::Origin)?;
            if !self.allowed.origins.iter().any(|allowed| allowed == origin) {
                return Err(Refusal::Origin);
            }
        }
        let given = only(headers, &AUTHORIZATION)
            .and_then(|value| value.strip_prefix("Bearer "))
            .ok_or(Refusal::Token)?;
        if blake3::hash(given.as_bytes()) == self.allowed.token {
            Ok(())
        } else {
            Err(Refusal::Token)
        }
    }
}

/// The value of a header that is there exactly once, and is text.
fn only<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    let mut all = headers.get_all(name).iter();
    let value = all.next()?;
    if all.next().is_some() {
        return None;
    }
    value.to_str().ok()
}

/// The layer.
pub(crate) async fn check(State(guard): State<Guard>, request: Request, next: Next) -> Response {
    match guard.check(request.headers()) {
        Ok(()) => next.run(request).await,
        Err(refusal) => refusal.into_response(),
    }
}
