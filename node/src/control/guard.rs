//! Guard: who may speak to the node.
//! Owns: the token.   Gives: `Guard`, run before every route; `Here`, the part of it that looks where a request comes from.
//! May use: file, error.   Never: lets anything through that it does not understand.
//!
//! The socket is on the loopback address, which every page in a browser on this machine can reach too. A page of
//! another site shows itself by its Origin, or, when it has made its own name point here, by its Host. Programs of
//! other users of the machine do not have the token. A browser has no token: it comes in once by a link, and then has a
//! cookie that is good for the pages and for nothing else.

use crate::control::{ControlFile, Refusal};
use crate::pages::{self, Pages};
use axum::extract::{Request, State};
use axum::http::header::{AUTHORIZATION, HOST, ORIGIN};
use axum::http::{HeaderMap, HeaderName, Method};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// Checks that come before every route.
#[derive(Clone)]
pub(crate) struct Guard {
    allowed: Arc<Allowed>,
}

struct Allowed {
    here: Here,
    /// The hash of the token, so that comparing takes the same time whatever is given.
    token: blake3::Hash,
    pages: Arc<Pages>,
}

/// What a request must name that is meant for one port of this machine, and comes from no other site's page.
#[derive(Debug)]
pub(crate) struct Here {
    hosts: [String; 2],
    origins: [String; 2],
}

impl Here {
    pub(crate) fn new(port: u16) -> Self {
        let hosts = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
        let origins = hosts.clone().map(|host| format!("http://{host}"));
        Self { hosts, origins }
    }

    pub(crate) fn check(&self, headers: &HeaderMap) -> Result<(), Refusal> {
        let host = only(headers, &HOST).ok_or(Refusal::Host)?;
        if !self.hosts.iter().any(|allowed| allowed == host) {
            return Err(Refusal::Host);
        }
        if headers.contains_key(ORIGIN) {
            let origin = only(headers, &ORIGIN).ok_or(Refusal::Origin)?;
            if !self.origins.iter().any(|allowed| allowed == origin) {
                return Err(Refusal::Origin);
            }
        }
        Ok(())
    }
}

impl Guard {
    pub(crate) fn new(file: &ControlFile, pages: Arc<Pages>) -> Self {
        Self {
            allowed: Arc::new(Allowed {
                here: Here::new(file.port),
                token: blake3::hash(file.token.as_bytes()),
                pages,
            }),
        }
    }

    fn check(&self, method: &Method, path: &str, headers: &HeaderMap) -> Result<(), Refusal> {
        self.allowed.here.check(headers)?;
        if pages::is_open(path) {
            return Ok(());
        }
        if pages::is_page(path) {
            // What changes something says where it comes from: every browser does.
            if method != Method::GET && !headers.contains_key(ORIGIN) {
                return Err(Refusal::Origin);
            }
            return if self.allowed.pages.way.is_in(headers) {
                Ok(())
            } else {
                Err(Refusal::Token)
            };
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
    let (method, path) = (request.method(), request.uri().path());
    match guard.check(method, path, request.headers()) {
        Ok(()) => next.run(request).await,
        Err(Refusal::Token) if method == Method::GET && pages::is_page(path) => {
            pages::needs_link(guard.allowed.pages.language(), pages::page_link)
        }
        Err(refusal) => refusal.into_response(),
    }
}
