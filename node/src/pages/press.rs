//! Press: what does a press on a page become?
//! Owns: stops on their way, by the name that the page gave each.   Gives: `press`, `judge`.
//! May use: asked, number, view, device::request.   Never: whether an act counts; a confirmation of something that has
//! changed since it was shown.
//!
//! A stop is never compared with anything: it is taken in every state. A page sends it again until it has its answer;
//! by its name it is one stop all the same.

use crate::control::{Refusal, Shared};
use crate::pages::asked;
use crate::pages::form::{FORM_MAX_BYTES, Form};
use crate::pages::number;
use crate::pages::page::seen;
use crate::pages::view::View;
use crate::words::Sentence;
use axum::Json;
use axum::body::Bytes;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::EntryHash;
use gantline_protocol::log::entry::{NoteKind, StopKind};
use serde::Serialize;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::OnceCell;

/// Most stops whose names are remembered; a person presses a handful.
const REMEMBERED_MAX: usize = 64;
/// A name that a page gives a stop is no longer.
const NAME_MAX_CHARS: usize = 40;

/// Stops by the names that pages gave them.
#[derive(Debug, Default)]
pub(crate) struct OnTheirWay(Mutex<VecDeque<(String, Arc<OnceCell<Outcome>>)>>);

impl OnTheirWay {
    fn named(&self, name: &str) -> Arc<OnceCell<Outcome>> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, known)) = all.iter().find(|(known, _)| known == name) {
            return Arc::clone(known);
        }
        if all.len() >= REMEMBERED_MAX {
            all.pop_front();
        }
        let new = Arc::new(OnceCell::new());
        all.push_back((name.to_owned(), Arc::clone(&new)));
        new
    }
}

/// How a press went.
#[derive(Serialize)]
struct Answer {
    /// Recorded, and it counts.
    good: bool,
    /// What was shown has changed.
    changed: bool,
    /// In words.
    lines: Vec<String>,
}

/// A press.
pub(crate) async fn press(State(shared): State<Shared>, body: Bytes) -> Result<Response, Refusal> {
    if body.len() > FORM_MAX_BYTES {
        return Err(Refusal::TooLong {
            most: FORM_MAX_BYTES,
        });
    }
    let form = Form::read(&body);
    let answer = match form.text("do") {
        "stop" => stop(&shared, &form).await?,
        "give" => give(&shared, &form).await?,
        "choose" => choose(&shared, &form).await?,
        _ => other(&shared, &form).await?,
    };
    if form.has("script") {
        Ok(Json(answer).into_response())
    } else {
        Ok(Redirect::to("/").into_response())
    }
}

/// Stop, in whatever state.
async fn stop(shared: &Shared, form: &Form) -> Result<Answer, Refusal> {
    let kind = match form.text("kind") {
        "all_stop" => StopKind::AllStop,
        "emergency" => StopKind::Emergency,
        _ => StopKind::Work,
    };
    let command = Command::Stop {
        kind,
        why: form.text("text").to_owned(),
        item: None,
    };
    let name = form.text("name");
    let outcome = if name.is_empty() || name.len() > NAME_MAX_CHARS {
        shared.node.act(command).await?
    } else {
        let one = shared.pages.presses.named(name);
        one.get_or_try_init(|| shared.node.act(command))
            .await?
            .clone()
    };
    answer(shared, &outcome).await
}

/// What was asked is given.
async fn give(shared: &Shared, form: &Form) -> Result<Answer, Refusal> {
    let (status, plan) = seen(shared).await?;
    let view = View::new(shared.pages.language(), &status, &plan, 0, 0);
    let face: Option<EntryHash> = form.value("face");
    if face != Some(view.face) {
        return Ok(changed(&view));
    }
    let command = form
        .value("at")
        .ok_or_else(|| view.labels.not_asked.to_owned())
        .and_then(|at| asked::command(&view, at, form));
    match command {
        Ok(command) => match shared.node.press(view.face, command).await? {
            Ok(outcome) => answer(shared, &outcome).await,
            Err(_) => Ok(changed(&view)),
        },
        Err(words) => Ok(Answer {
            good: false,
            changed: false,
            lines: vec![words],
        }),
    }
}

fn changed(view: &View) -> Answer {
    Answer {
        good: false,
        changed: true,
        lines: vec![view.labels.changed.to_owned()],
    }
}

/// Of several things asked this is done next.
async fn choose(shared: &Shared, form: &Form) -> Result<Answer, Refusal> {
    let status = shared.node.status().await?;
    let at: Option<usize> = form.value("at");
    let chosen = at.and_then(|at| status.asked.get(at)).cloned();
    shared.pages.choose(chosen);
    Ok(Answer {
        good: true,
        changed: false,
        lines: Vec::new(),
    })
}

/// What fails to the safe side, whatever has changed: a refusal, a confirmation taken back, the reason of a stop.
async fn other(shared: &Shared, form: &Form) -> Result<Answer, Refusal> {
    let no_form = |what: &str| Refusal::Form {
        why: what.to_owned(),
    };
    let check = || {
        let step = form.value("step").ok_or_else(|| no_form("no step"))?;
        let check = form.value("check").ok_or_else(|| no_form("no check"))?;
        Ok::<_, Refusal>((step, check))
    };
    let text = form.text("text").to_owned();
    let command = match form.text("do") {
        "cannot" => {
            let (step, check) = check()?;
            Command::Cannot {
                step,
                check,
                why: text,
            }
        }
        "withdraw" => {
            let (step, check) = check()?;
            Command::Withdraw {
                step,
                check,
                why: text,
            }
        }
        "decline" => Command::Decline {
            to: form.value("to"),
            why: text,
        },
        "why" => Command::Note {
            text,
            about: Some(form.value("stop").ok_or_else(|| no_form("no stop"))?),
            kind: NoteKind::StopReason,
        },
        found => return Err(no_form(&format!("found do={found}"))),
    };
    let outcome = shared.node.act(command).await?;
    answer(shared, &outcome).await
}

async fn answer(shared: &Shared, outcome: &Outcome) -> Result<Answer, Refusal> {
    let (status, plan) = seen(shared).await?;
    let view = View::new(shared.pages.language(), &status, &plan, 0, 0);
    let good = match outcome {
        Outcome::Recorded { reasons, .. } => reasons.is_empty(),
        Outcome::AlreadySo => true,
        Outcome::Refused { .. } => false,
    };
    let lines = if good && !matches!(outcome, Outcome::AlreadySo) {
        vec![view.labels.recorded.to_owned()]
    } else {
        let sentences = view.words.outcome(outcome);
        sentences.iter().map(Sentence::to_string).collect()
    };
    Ok(Answer {
        good,
        changed: false,
        lines,
    })
}

/// What was typed so far, in words.
#[derive(Serialize)]
struct Judged {
    /// A whole number was typed.
    whole: bool,
    /// It is inside the limit.
    inside: bool,
    /// What is said by sending it.
    spoken: String,
    /// How it stands to the limit, or what to do next.
    words: String,
}

/// How what was typed so far stands to its limit; sends nothing and records nothing.
pub(crate) async fn judge(State(shared): State<Shared>, body: Bytes) -> Result<Response, Refusal> {
    let form = Form::read(
        body.get(..FORM_MAX_BYTES.min(body.len()))
            .unwrap_or_default(),
    );
    let (status, plan) = seen(&shared).await?;
    let view = View::new(shared.pages.language(), &status, &plan, 0, 0);
    let limit = form.value("limit").and_then(|id| plan.limit(&id));
    let Some(limit) = limit else {
        return Err(Refusal::Form {
            why: "no limit of this name".to_owned(),
        });
    };
    let judged = match number::value(&view, limit, &form) {
        Ok(value) => {
            let (inside, words) = number::judgement(&view, limit, value);
            Judged {
                whole: true,
                inside,
                spoken: number::spoken(&view, limit, &form, value),
                words,
            }
        }
        Err(words) => Judged {
            whole: false,
            inside: false,
            spoken: view.labels.no_number.to_owned(),
            words,
        },
    };
    Ok(Json(judged).into_response())
}
