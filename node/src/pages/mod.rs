//! Pages: what does the holder of this device see and press?
//! Owns: the way in, the one live stream, presses on their way.   Gives: `routes`, `Pages`.
//! May use: device::request, words, protocol's status and plan.   Never: a rule of the job; a request to
//! anywhere; a file of the disk: everything is in the program.
//!
//! In reading order: `enter` the way in · `language` which one is spoken · `view` what is on a page, as values ·
//! `asked` what is asked and what a press on it means · `moves` what may be done unasked · `parts`, `band`, `board` with
//! `graph`, `matrix` and `waits`, `sheets` with `start`,
//! `page` the HTML · `paper` pages that are read: `replay` with `timeline` and `player`, `limits`, `briefing` with `plan_lines` · `beside` the pages
//! beside the own one with `acts`, `items` and their `forms` · `live` the stream of it · `press` what comes back ·
//! `number` what was typed · `photos` notes with a photo · `assets` style and scripts · `waiting` the page of a
//! device that asks to join.

mod acts;
mod asked;
mod assets;
mod band;
mod beside;
mod board;
mod briefing;
mod enter;
mod form;
mod forms;
mod graph;
mod items;
mod language;
mod limits;
mod live;
mod matrix;
mod moves;
mod number;
mod page;
mod paper;
mod parts;
mod photos;
mod plan_lines;
mod player;
mod press;
mod replay;
mod sheets;
mod start;
mod timeline;
mod view;
mod waiting;
mod waits;

pub use enter::Link;
pub(crate) use enter::{link, needs_link, page_link};
pub use waiting::Waiting;

use crate::control::Shared;
use crate::words::Language;
use axum::Router;
use axum::routing::{get, post};
use enter::Way;
use gantline_protocol::plan::Plan;
use gantline_protocol::state::CallWord;
use language::Chosen;
use press::OnTheirWay;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::time::Instant;
use view::Choice;

/// What the pages of one node share.
#[derive(Debug)]
pub(crate) struct Pages {
    pub(crate) way: Way,
    language: Chosen,
    presses: OnTheirWay,
    /// Number of the newest live stream: older ones end, so that a page never waits for a connection.
    stream: AtomicU64,
    /// Number of the newest tick on it.
    tick: AtomicU64,
    /// The call as last shown, and since when.
    since: Mutex<Option<(CallWord, Instant)>>,
    /// What the holder chose to do next, of several things asked.
    choice: Mutex<Option<Choice>>,
    /// The plan as last asked for, with the number of its amendments.
    plan: Mutex<Option<(u32, Arc<Plan>)>>,
}

impl Pages {
    /// For a node whose control port is this one.
    ///
    /// # Errors
    /// The system gives no random numbers.
    pub(crate) fn new(port: u16, folder: &Path) -> Result<Self, getrandom::Error> {
        Ok(Self {
            way: Way::new(port)?,
            language: Chosen::kept_in(folder),
            presses: OnTheirWay::default(),
            stream: AtomicU64::new(0),
            tick: AtomicU64::new(0),
            since: Mutex::new(None),
            choice: Mutex::new(None),
            plan: Mutex::new(None),
        })
    }

    /// The language of this device.
    pub(crate) fn language(&self) -> &'static Language {
        self.language.now()
    }

    /// How long this call has been shown, s; notes a change.
    fn shown_for_s(&self, word: CallWord) -> u64 {
        let mut since = self.since.lock().unwrap_or_else(PoisonError::into_inner);
        match *since {
            Some((last, at)) if last == word => at.elapsed().as_secs(),
            _ => {
                *since = Some((word, Instant::now()));
                0
            }
        }
    }

    fn choice(&self) -> Option<Choice> {
        let choice = self.choice.lock().unwrap_or_else(PoisonError::into_inner);
        choice.clone()
    }

    fn choose(&self, chosen: Option<Choice>) {
        let mut choice = self.choice.lock().unwrap_or_else(PoisonError::into_inner);
        *choice = chosen;
    }

    fn newest_stream(&self) -> u64 {
        self.stream.load(Ordering::Relaxed)
    }
}

/// Which paths are pages: reached with the cookie that the way in has set.
pub(crate) fn is_page(path: &str) -> bool {
    path.starts_with("/items/")
        || path.starts_with("/photo/")
        || path.starts_with("/act/")
        || matches!(
            path,
            "/" | "/worker"
                | "/observer"
                | "/board"
                | "/start"
                | "/replay"
                | "/limits"
                | "/briefing"
                | "/more"
                | "/items"
                | "/live"
                | "/alive"
                | "/closed"
                | "/press"
                | "/note"
                | "/judge"
                | "/setting"
        )
}

/// Which paths are open to whoever names this host: the way in, and what tells nothing of the job.
pub(crate) fn is_open(path: &str) -> bool {
    path.starts_with("/enter/") || path.starts_with("/assets/")
}

/// The routes of the pages.
pub(crate) fn routes() -> Router<Shared> {
    Router::new()
        .route("/", get(page::own))
        .route("/worker", get(page::worker))
        .route("/observer", get(page::observer))
        .route("/board", get(page::board))
        .route("/start", get(start::start))
        .route("/more", get(beside::more))
        .route("/items", get(beside::all_items))
        .route("/items/{id}", get(beside::item))
        .route("/act/{name}", get(beside::act))
        .route("/replay", get(paper::past_job))
        .route("/limits", get(paper::limit_sheet))
        .route("/briefing", get(paper::job_briefing))
        .route("/live", get(live::stream))
        .route("/alive", post(live::alive))
        .route("/closed", post(live::closed))
        .route("/press", post(press::press))
        .route("/note", post(photos::note).layer(photos::limit()))
        .route("/photo/{hash}", get(photos::photo))
        .route("/judge", post(press::judge))
        .route("/setting", post(enter::setting))
        .route("/enter/{key}", get(enter::enter))
        .route("/assets/{name}", get(assets::asset))
}
