//! Waiting: what does the holder of a device see that asks to join, and has no node yet?
//! Owns: a socket on the loopback address until the device has its node; a stop pressed here until somebody has it.
//! Gives: `Waiting`.
//! May use: the way in and the look at where a request comes from, device's stop of a stranger.   Never: a call but
//! Stop work after an own stop, as the device is on no job; an address other than loopback; a page without stop.
//!
//! The words are read out from this page and compared by who admits. Scripts only look again sooner and show a stop
//! sooner: without them the page comes anew by itself.

use crate::control::{Here, Refusal};
use crate::device::{AskFault, Home, NodeHandle, call_stop};
use crate::pages::assets::{POLICY, asset};
use crate::pages::enter::{Way, entered, needs_link};
use crate::pages::form::{FORM_MAX_BYTES, Form};
use crate::pages::language::Chosen;
use crate::pages::parts::{own_stop, pressed, shapes, stop_control};
use crate::words::{Language, fill};
use axum::Router;
use axum::body::Bytes;
use axum::extract::{Path, Request, State};
use axum::http::header::{CACHE_CONTROL, CONTENT_SECURITY_POLICY, ORIGIN, X_CONTENT_TYPE_OPTIONS};
use axum::http::{Method, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::get;
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::Person;
use gantline_protocol::join::BadJoin;
use gantline_protocol::log::entry::StopKind;
use maud::{DOCTYPE, Markup, html};
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::{Notify, watch};

/// After so long without an answer the page says that a stop has not left.
const UNSENT_AFTER: Duration = Duration::from_secs(1);
/// A question to who does not answer is asked anew after so long: QUIC's own next try would come later each time.
const TRY_WITHIN: Duration = Duration::from_secs(3);
/// Between two tries.
const AGAIN_AFTER: Duration = Duration::from_millis(250);

/// How far the asking has come.
#[derive(Clone, PartialEq, Eq, Debug)]
enum Stage {
    /// Nobody has answered yet.
    Asking,
    /// The words are there to be compared.
    Asked { words: String },
    /// On the job: the link to the page of its own node.
    Admitted { to: String },
    /// Not on the job: somebody said no.
    Refused { why: String },
    /// Not on the job, by no word of anybody.
    Failed(Failure),
}

/// Why the asking failed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Failure {
    /// The two devices do not understand each other.
    Versions,
    /// The number that was sent is not the one that came: somebody may stand between.
    Number,
    /// Anything else: the terminal says it.
    Other,
}

impl From<&AskFault> for Failure {
    fn from(fault: &AskFault) -> Self {
        match fault {
            AskFault::Join(BadJoin::Commitment | BadJoin::NotCommitted) => Self::Number,
            AskFault::Join(
                BadJoin::Encoding | BadJoin::Version { .. } | BadJoin::NotUnderstood,
            )
            | AskFault::Form => Self::Versions,
            _ => Self::Other,
        }
    }
}

impl Stage {
    fn name(&self) -> &'static str {
        match self {
            Self::Asking => "asking",
            Self::Asked { .. } => "asked",
            Self::Admitted { .. } => "admitted",
            Self::Refused { .. } => "refused",
            Self::Failed(_) => "failed",
        }
    }
}

/// What became of a stop that was called from here.
#[derive(Clone, PartialEq, Eq, Debug)]
enum Called {
    /// None was.
    No,
    /// Nobody has it, for all that is known. `press`: the name that a script gives to it.
    OnItsWay { since: Instant, press: String },
    /// In a log.
    Heard { press: String },
}

impl Called {
    fn is_on_its_way(&self) -> bool {
        matches!(self, Self::OnItsWay { .. })
    }

    /// Somebody has it: so that no other may take this for a new press.
    fn heard(&mut self) {
        if let Self::OnItsWay { press, .. } = self {
            let press = std::mem::take(press);
            *self = Self::Heard { press };
        }
    }

    /// It is pressed; whether this is not a press that is known already.
    fn pressed(&mut self, name: &str) -> bool {
        let new = match self {
            Self::No => true,
            Self::OnItsWay { .. } => false,
            Self::Heard { press } => name.is_empty() || press != name,
        };
        if new {
            *self = Self::OnItsWay {
                since: Instant::now(),
                press: name.to_owned(),
            };
        }
        new
    }
}

#[derive(Debug)]
struct Shared {
    way: Way,
    here: Here,
    home: Home,
    host: SocketAddr,
    person: Person,
    language: Chosen,
    stage: Mutex<Stage>,
    called: watch::Sender<Called>,
    /// The end of the asking was fetched by the page.
    told: Notify,
}

/// The page of a device that waits; ends when dropped.
#[derive(Debug)]
pub struct Waiting {
    shared: Arc<Shared>,
    task: tokio::task::JoinHandle<()>,
}

impl Drop for Waiting {
    fn drop(&mut self) {
        self.task.abort();
    }
}

impl Waiting {
    /// Serves it on a free port of the loopback address. `host`: the device that is asked.
    ///
    /// # Errors
    /// No port, or no random numbers.
    pub async fn serve(home: &Home, host: SocketAddr, person: Person) -> std::io::Result<Self> {
        let listener = tokio::net::TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await?;
        let port = listener.local_addr()?.port();
        let shared = Arc::new(Shared {
            way: Way::new(port).map_err(std::io::Error::other)?,
            here: Here::new(port),
            home: home.clone(),
            host,
            person,
            language: Chosen::kept_in(home.folder()),
            stage: Mutex::new(Stage::Asking),
            called: watch::Sender::new(Called::No),
            told: Notify::new(),
        });
        let routes = Router::new()
            .route("/waiting", get(page).post(stop))
            .route("/enter/{key}", get(enter))
            .route("/assets/{name}", get(asset))
            .layer(from_fn_with_state(Arc::clone(&shared), check))
            .with_state(Arc::clone(&shared));
        let stops = Arc::clone(&shared);
        let task = tokio::spawn(async move {
            // Ends with the task; errors of single connections are not errors of the whole.
            let _ = tokio::join!(axum::serve(listener, routes).into_future(), stops.take());
        });
        Ok(Self { shared, task })
    }

    /// A link to it, to be opened once.
    ///
    /// # Errors
    /// No random numbers.
    pub fn link(&self) -> std::io::Result<String> {
        let link = self.shared.way.new_link();
        link.map(|link| link.link).map_err(std::io::Error::other)
    }

    /// The words are there.
    pub fn asked(&self, words: String) {
        self.shared.is_at(Stage::Asked { words });
    }

    /// The device is on the job, and this is the link to its page.
    pub fn admitted(&self, to: String) {
        self.shared.is_at(Stage::Admitted { to });
    }

    /// It ended without an admission.
    pub fn ended(&self, fault: &AskFault) {
        self.shared.is_at(match fault {
            AskFault::Join(BadJoin::Refused { why }) => Stage::Refused { why: why.clone() },
            other => Stage::Failed(other.into()),
        });
    }

    /// A stop that has not got there is this node's from here on: who was asked takes this device for one of the crew by
    /// now, and hears no stranger's stop of it.
    pub async fn hand_over(&self, node: &NodeHandle) {
        if !self.shared.called.borrow().is_on_its_way() {
            return;
        }
        let stop = Command::Stop {
            kind: StopKind::Work,
            why: String::new(),
            item: None,
        };
        if let Ok(Outcome::Recorded { .. }) = node.act(stop).await {
            self.shared.called.send_modify(Called::heard);
        }
    }

    /// Waits until the page has fetched how it ended, and that a stop pressed on it is heard; not longer than this, as
    /// nobody may have opened it.
    pub async fn told(&self, at_most: Duration) {
        let _ = tokio::time::timeout(at_most, self.shared.told.notified()).await;
    }
}

impl Shared {
    fn is_at(&self, stage: Stage) {
        *self.stage.lock().unwrap_or_else(PoisonError::into_inner) = stage;
    }

    fn stage(&self) -> Stage {
        let stage = self.stage.lock().unwrap_or_else(PoisonError::into_inner);
        stage.clone()
    }

    /// Takes each stop that is pressed to who is asked, again until it is in the log there.
    async fn take(&self) {
        let mut called = self.called.subscribe();
        while called.wait_for(Called::is_on_its_way).await.is_ok() {
            let l = self.language.now().labels;
            let words = fill(l.waiting_calls, &[("who", self.person.as_str())]);
            let tried = call_stop(&self.home, self.host, &words);
            match tokio::time::timeout(TRY_WITHIN, tried).await {
                Ok(Ok(_)) => self.called.send_modify(Called::heard),
                Ok(Err(_)) | Err(_) => tokio::time::sleep(AGAIN_AFTER).await,
            }
        }
    }

    fn check(&self, request: &Request) -> Result<(), Refusal> {
        self.here.check(request.headers())?;
        let path = request.uri().path();
        if path.starts_with("/enter/") || path.starts_with("/assets/") {
            return Ok(());
        }
        // What changes something says where it comes from: every browser does.
        if request.method() != Method::GET && !request.headers().contains_key(ORIGIN) {
            return Err(Refusal::Origin);
        }
        if self.way.is_in(request.headers()) {
            Ok(())
        } else {
            Err(Refusal::Token)
        }
    }
}

async fn check(State(shared): State<Arc<Shared>>, request: Request, next: Next) -> Response {
    match shared.check(&request) {
        Ok(()) => next.run(request).await,
        Err(Refusal::Token) => needs_link(shared.language.now(), waiting_link),
        Err(refusal) => refusal.into_response(),
    }
}

fn waiting_link(language: &Language) -> &'static str {
    language.labels.waiting_link
}

async fn enter(State(shared): State<Arc<Shared>>, Path(key): Path<String>) -> Response {
    let language = shared.language.now();
    entered(&shared.way, &key, language, "/waiting")
        .unwrap_or_else(|| needs_link(language, waiting_link))
}

/// A stop, called at the device that is asked: as anybody off a job may. A script is answered with good only once the
/// stop is there.
async fn stop(State(shared): State<Arc<Shared>>, body: Bytes) -> Result<Response, Refusal> {
    let form = Form::read(
        body.get(..FORM_MAX_BYTES.min(body.len()))
            .unwrap_or_default(),
    );
    if form.text("do") != "stop" {
        return Err(Refusal::Form {
            why: format!("found do={}", form.text("do")),
        });
    }
    let mut called = shared.called.subscribe();
    let name = form.text("name");
    shared
        .called
        .send_if_modified(|called| called.pressed(name));
    let heard = called.wait_for(|called| matches!(called, Called::Heard { .. }));
    let heard = tokio::time::timeout(UNSENT_AFTER, heard).await.is_ok();
    Ok(match (form.has("script"), heard) {
        (false, _) => Redirect::to("/waiting").into_response(),
        (true, true) => StatusCode::NO_CONTENT.into_response(),
        (true, false) => StatusCode::SERVICE_UNAVAILABLE.into_response(),
    })
}

async fn page(State(shared): State<Arc<Shared>>) -> Response {
    let language = shared.language.now();
    let (l, stage) = (language.labels, shared.stage());
    let called = shared.called.borrow().clone();
    let unsent =
        matches!(called, Called::OnItsWay { since, .. } if since.elapsed() >= UNSENT_AFTER);
    // Without scripts: the page of the node, or this one again.
    let next = match &stage {
        Stage::Admitted { to } => format!("0;url={to}"),
        Stage::Refused { .. } | Stage::Failed(_) if !called.is_on_its_way() => String::new(),
        // What becomes of the asking, or of a stop, is still to come.
        _ => "2".to_owned(),
    };
    let ended = !matches!(stage, Stage::Asking | Stage::Asked { .. });
    if ended && !called.is_on_its_way() {
        shared.told.notify_one();
    }
    let page = html! {
        (DOCTYPE)
        html lang=(language.code) data-stage=(stage.name()) data-call=[(called != Called::No).then_some("stop")]
            data-pressed=[unsent.then_some("unsent")] data-unsent=(l.pressed_unsent) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width,initial-scale=1,viewport-fit=cover";
                @if !next.is_empty() { noscript { meta http-equiv="refresh" content=(next); } }
                title { (l.waiting_title) " · " (l.title) }
                link rel="icon" href="data:,";
                link rel="stylesheet" href="/assets/page.css";
                link rel="stylesheet" href="/assets/wide.css";
                link rel="stylesheet" href="/assets/waiting.css";
                script type="module" src="/assets/waiting.js" {}
            }
            body {
                (shapes())
                main class="waiting" {
                    @match called {
                        Called::No => section class="band" {},
                        Called::OnItsWay { .. } => (own_stop(l, &pressed(l, unsent), "")),
                        Called::Heard { .. } => (own_stop(l, &html! { (l.waiting_called) }, "")),
                    }
                    section class="news" data-scrolls tabindex="0" aria-label=(l.waiting_title) {
                        h1 { (l.waiting_title) }
                        p { (fill(l.waiting_as, &[("who", shared.person.as_str()), ("where", &shared.host.to_string())])) }
                        (told(language, &stage))
                        p class="gone" role="alert" { (l.waiting_gone) }
                        p { (l.waiting_not_on) }
                    }
                    (stop_control(l, "/waiting", if called == Called::No { l.stop_sub } else { l.stop_again }, false))
                }
                template id="pressed" { (own_stop(l, &pressed(l, false), "")) }
            }
        }
    };
    (
        [
            (CONTENT_SECURITY_POLICY, POLICY),
            (CACHE_CONTROL, "no-store"),
            (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        ],
        Html(page.into_string()),
    )
        .into_response()
}

/// What has come of the asking.
fn told(language: &Language, stage: &Stage) -> Markup {
    let l = language.labels;
    html! {
        @match stage {
            Stage::Asking => p class="stage" role="status" { (l.waiting_asking) },
            Stage::Asked { words } => {
                p { (l.waiting_words) }
                ol class="words" { @for word in words.split_whitespace() { li { (word) } } }
                p { (l.waiting_differ) }
                p class="stage" role="status" { (l.waiting_asked) }
            }
            Stage::Admitted { to } => p class="stage" role="status" { (l.waiting_admitted) " " a href=(to) { (l.enter_going) } },
            Stage::Refused { why } => p class="stage" role="status" {
                (fill(l.waiting_refused, &[("why", if why.is_empty() { l.waiting_no_reason } else { why })]))
            },
            Stage::Failed(failure) => p class="stage" role="status" {
                (match failure {
                    Failure::Versions => l.waiting_versions,
                    Failure::Number => l.waiting_number,
                    Failure::Other => l.waiting_failed,
                })
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_press_that_is_sent_again_is_one_stop_and_the_next_press_another() {
        let mut called = Called::No;
        called.heard();
        assert_eq!(called, Called::No, "nobody hears what was not pressed");
        assert!(called.pressed("first"));
        assert!(called.is_on_its_way());
        assert!(!called.pressed("first") && !called.pressed(""));
        called.heard();
        assert!(!called.pressed("first") && !called.is_on_its_way());
        assert!(called.pressed("second") && called.is_on_its_way());
        called.heard();
        // A plain form gives its press no name: each is a new one.
        assert!(called.pressed("") && called.is_on_its_way());
        called.heard();
        assert!(called.pressed(""));
    }
}
