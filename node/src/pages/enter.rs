//! Enter: how does a browser on this machine come in?
//! Owns: links that work once, the cookie they set.   Gives: `Way`, `link`, `enter`, `setting`, `needs_link`.
//! May use: getrandom, blake3.   Never: a link that works twice; a cookie that scripts can read, or that another site's
//! page can use.
//!
//! Every page of this machine's browsers shares one host, whatever the port: so the cookie's name has the port in it,
//! and six nodes of a demonstration do not put each other's holders out.

use crate::control::{Refusal, Shared};
use crate::pages::form::{FORM_MAX_BYTES, Form};
use crate::words::{Language, named};
use axum::Json;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::http::header::{COOKIE, SET_COOKIE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{DOCTYPE, html};
use serde::{Deserialize, Serialize};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;
use tokio::time::Instant;

/// A link that nobody opens is good for so long: time to walk over with another device, no more.
const LINK_GOOD_FOR: Duration = Duration::from_secs(10 * 60);
/// Most links that wait to be opened.
const LINKS_MAX: usize = 16;
/// Settings of a browser are kept for a year.
const SETTING_S: u32 = 31_536_000;
/// How many CSS pixels make a real millimetre, ten times: the least and the most that a screen has.
const MM_TENTHS: core::ops::RangeInclusive<u32> = 25..=120;

/// Time zones reach from 12 h behind to 14 h ahead, minutes.
pub(crate) const OFFSETS_MIN: core::ops::RangeInclusive<i64> = -720..=840;

/// A link to this device's page.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Link {
    /// To be opened once, in a browser on this machine.
    pub link: String,
}

/// Who is let in.
#[derive(Debug)]
pub(crate) struct Way {
    port: u16,
    /// The cookie's value, new at each start of the node.
    secret: String,
    links: Mutex<Vec<(blake3::Hash, Instant)>>,
}

fn random() -> Result<String, getrandom::Error> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes)?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// The value of a cookie of this request.
pub(crate) fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|header| header.to_str().ok())
        .flat_map(|header| header.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find_map(|(found, value)| (found == name).then_some(value))
}

impl Way {
    pub(crate) fn new(port: u16) -> Result<Self, getrandom::Error> {
        Ok(Self {
            port,
            secret: random()?,
            links: Mutex::new(Vec::new()),
        })
    }

    fn cookie_name(&self) -> String {
        format!("gantline-{}", self.port)
    }

    /// Whether a request has the cookie.
    pub(crate) fn is_in(&self, headers: &HeaderMap) -> bool {
        cookie(headers, &self.cookie_name())
            // By their hashes, so that comparing takes the same time whatever is given.
            .is_some_and(|given| {
                blake3::hash(given.as_bytes()) == blake3::hash(self.secret.as_bytes())
            })
    }

    pub(crate) fn new_link(&self) -> Result<Link, getrandom::Error> {
        let key = random()?;
        let mut links = self.links.lock().unwrap_or_else(PoisonError::into_inner);
        if links.len() >= LINKS_MAX {
            links.remove(0);
        }
        links.push((blake3::hash(key.as_bytes()), Instant::now()));
        Ok(Link {
            link: format!("http://127.0.0.1:{}/enter/{key}", self.port),
        })
    }

    /// Whether this is the key of a link that waits; it does not from now on.
    fn open(&self, key: &str) -> bool {
        let key = blake3::hash(key.as_bytes());
        let mut links = self.links.lock().unwrap_or_else(PoisonError::into_inner);
        links.retain(|(_, at)| at.elapsed() < LINK_GOOD_FOR);
        let before = links.len();
        links.retain(|(known, _)| *known != key);
        links.len() < before
    }
}

/// Makes a link, for a program that has the token.
pub(crate) async fn link(State(shared): State<Shared>) -> Result<Json<Link>, Refusal> {
    let link = shared.pages.way.new_link();
    link.map(Json).map_err(|error| Refusal::Log {
        why: error.to_string(),
    })
}

/// Opens a link: sets the cookie, and goes on to the page.
///
/// Not by a redirect: what follows a link from another program would come without a strict cookie.
pub(crate) async fn enter(State(shared): State<Shared>, Path(key): Path<String>) -> Response {
    let language = shared.pages.language();
    entered(&shared.pages.way, &key, language, "/start")
        .unwrap_or_else(|| needs_link(language, page_link))
}

/// Where a node's link comes from.
pub(crate) fn page_link(language: &Language) -> &'static str {
    language.labels.enter_how
}

/// The way in by a link's key, on to a path of the same host; `None`: it is not a link that waits.
pub(crate) fn entered(way: &Way, key: &str, language: &Language, to: &str) -> Option<Response> {
    if !way.open(key) {
        return None;
    }
    let cookie = format!(
        "{}={}; Path=/; HttpOnly; SameSite=Strict",
        way.cookie_name(),
        way.secret
    );
    let l = language.labels;
    let page = html! {
        (DOCTYPE)
        html lang=(language.code) {
            head {
                meta charset="utf-8";
                meta http-equiv="refresh" content={ "0;url=" (to) };
                title { (l.enter_title) }
            }
            body { p { a href=(to) { (l.enter_going) } } }
        }
    };
    Some(([(SET_COOKIE, cookie)], page_of(page)).into_response())
}

/// What somebody without the cookie sees. `how`: where a link comes from.
pub(crate) fn needs_link(language: &Language, how: fn(&Language) -> &'static str) -> Response {
    let l = language.labels;
    let page = html! {
        (DOCTYPE)
        html lang=(language.code) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width,initial-scale=1";
                title { (l.enter_title) }
                link rel="stylesheet" href="/assets/page.css";
            }
            body {
                main class="plain" {
                    h1 { (l.enter_title) }
                    p { (l.enter_needed) }
                    p { (how(language)) }
                }
            }
        }
    };
    (StatusCode::UNAUTHORIZED, page_of(page)).into_response()
}

fn page_of(markup: maud::Markup) -> axum::response::Html<String> {
    axum::response::Html(markup.into_string())
}

/// Keeps a choice: theme, size and way of confirming of this browser, language of this device.
pub(crate) async fn setting(State(shared): State<Shared>, body: Bytes) -> Response {
    let form = Form::read(
        body.get(..FORM_MAX_BYTES.min(body.len()))
            .unwrap_or_default(),
    );
    let mut response = if form.has("script") {
        StatusCode::NO_CONTENT.into_response()
    } else {
        Redirect::to("/").into_response()
    };
    let mut keep = |name: &str, value: &str| {
        let cookie = format!(
            "gantline-{name}={value}; Path=/; Max-Age={SETTING_S}; HttpOnly; SameSite=Strict"
        );
        if let Ok(cookie) = cookie.parse() {
            response.headers_mut().append(SET_COOKIE, cookie);
        }
    };
    if let theme @ ("sun" | "night") = form.text("theme") {
        keep("theme", theme);
    }
    if let presses @ ("kept" | "two") = form.text("presses") {
        keep("presses", presses);
    }
    if let Some(tenths) = form.value::<u32>("mm").filter(|mm| MM_TENTHS.contains(mm)) {
        keep("mm", &tenths.to_string());
    }
    if let Some(offset) = form
        .value::<i64>("offset")
        .filter(|of| OFFSETS_MIN.contains(of))
    {
        keep("offset", &offset.to_string());
    }
    if let Some(language) = named(form.text("language")) {
        shared.pages.language.choose(language);
    }
    response
}

/// Settings of a browser.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct Settings {
    /// Dark ground.
    pub(crate) night: bool,
    /// CSS pixels to a real millimetre, ten times; `None`: as usual for a screen of this size.
    pub(crate) mm_tenths: Option<u32>,
    /// What the browser's clock adds to UTC, minutes.
    pub(crate) offset_min: i64,
    /// A confirmation is given by two presses.
    pub(crate) two_presses: bool,
}

impl Settings {
    pub(crate) fn of(headers: &HeaderMap) -> Self {
        Self {
            night: cookie(headers, "gantline-theme") == Some("night"),
            offset_min: cookie(headers, "gantline-offset")
                .and_then(|offset| offset.parse().ok())
                .filter(|offset| OFFSETS_MIN.contains(offset))
                .unwrap_or(0),
            two_presses: cookie(headers, "gantline-presses") == Some("two"),
            mm_tenths: cookie(headers, "gantline-mm")
                .and_then(|mm| mm.parse().ok())
                .filter(|mm| MM_TENTHS.contains(mm)),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn a_link_works_once_and_only_its_cookie_lets_in() {
        let way = Way::new(4321).unwrap();
        let link = way.new_link().unwrap().link;
        let key = link.rsplit('/').next().unwrap().to_owned();
        assert!(!way.open("0"), "another key");
        assert!(way.open(&key));
        assert!(!way.open(&key), "a second time");
        let with = |cookie: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(COOKIE, cookie.parse().unwrap());
            headers
        };
        let good = format!("a=b; gantline-4321={}", way.secret);
        assert!(way.is_in(&with(&good)));
        assert!(
            !way.is_in(&with(&good.replace("4321", "4322"))),
            "another node's"
        );
        assert!(!way.is_in(&with("gantline-4321=0")));
        assert!(!way.is_in(&HeaderMap::new()));
    }

    #[test]
    fn the_seventeenth_link_puts_the_first_out() {
        let way = Way::new(1).unwrap();
        let links: Vec<String> = (0..=LINKS_MAX)
            .map(|_| way.new_link().unwrap().link)
            .collect();
        let key = |at: usize| links[at].rsplit('/').next().unwrap().to_owned();
        assert!(!way.open(&key(0)));
        assert!(way.open(&key(1)) && way.open(&key(LINKS_MAX)));
    }
}
