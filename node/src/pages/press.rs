//! Press: what does a press on a page become?
//! Owns: stops on their way, by the name that the page gave each.   Gives: `press`, `judge`.
//! May use: asked, number, view, device::request.   Never: whether an act counts; a confirmation of something that has
//! changed since it was shown.
//!
//! A stop is never compared with anything: it is taken in every state. A page sends it again until it has its answer;
//! by its name it is one stop all the same.

use crate::control::{Refusal, Shared};
use crate::pages::acts::{self, Deed};
use crate::pages::asked;
use crate::pages::form::{FORM_MAX_BYTES, Form};
use crate::pages::forms::Typed;
use crate::pages::items;
use crate::pages::moves;
use crate::pages::number;
use crate::pages::page::{Kind, Opened, seen, whole};
use crate::pages::view::{Choice, View};
use crate::words::Sentence;
use axum::Json;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::HeaderMap;
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
#[derive(Serialize, Default)]
pub(crate) struct Answer {
    /// Recorded, and it counts.
    good: bool,
    /// Recorded, whether it counts or not.
    recorded: bool,
    /// What was shown has changed.
    changed: bool,
    /// In words.
    lines: Vec<String>,
    /// It leads to another page.
    #[serde(skip_serializing_if = "Option::is_none")]
    to: Option<String>,
}

impl Answer {
    /// Nothing was recorded, for this reason.
    pub(crate) fn no(words: String) -> Self {
        Self {
            lines: vec![words],
            ..Self::default()
        }
    }
}

/// A press.
pub(crate) async fn press(
    State(shared): State<Shared>,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Refusal> {
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
        "cannot" | "withdraw" | "decline" | "why" => other(&shared, &form).await?,
        _ => deed(&shared, &form).await?,
    };
    finish(&shared, &headers, form, answer).await
}

/// The answer, as a script reads it, or as a page.
pub(crate) async fn finish(
    shared: &Shared,
    headers: &HeaderMap,
    form: Form,
    answer: Answer,
) -> Result<Response, Refusal> {
    if form.has("script") {
        return Ok(Json(answer).into_response());
    }
    if let Some(to) = &answer.to {
        return Ok(Redirect::to(to).into_response());
    }
    // Without scripts the page comes again: with what was typed, if that was not taken.
    let from = form.text("from").trim_start_matches('/').to_owned();
    match Kind::named(&from) {
        Some(kind @ Kind::Beside(_)) => {
            let typed = Typed {
                form: if answer.good {
                    form.only(&["do", "about"])
                } else {
                    form
                },
                lines: answer.lines,
            };
            whole(shared, headers, Some(kind), Opened::Again, &typed).await
        }
        _ => Ok(Redirect::to("/").into_response()),
    }
}

/// A form of a page beside the own one.
pub(crate) async fn deed(shared: &Shared, form: &Form) -> Result<Answer, Refusal> {
    let seen = seen(shared, true).await?;
    let view = View::new(&seen, 0, 0);
    let deed = acts::deed(&view, form)
        .or_else(|| items::deed(&view, form))
        .ok_or_else(|| Refusal::Form {
            why: format!("found do={}", form.text("do")),
        })?;
    match deed {
        Err(words) => Ok(Answer::no(words)),
        Ok(Deed::Go(to)) => Ok(Answer {
            good: true,
            to: Some(to),
            ..Answer::default()
        }),
        Ok(Deed::RefuseJoin(device, why)) => {
            let had_asked = shared.node.refuse_join(device, why).await?;
            Ok(if had_asked {
                Answer {
                    good: true,
                    lines: vec![view.labels.acts.told_no.to_owned()],
                    ..Answer::default()
                }
            } else {
                Answer::no(view.labels.acts.asks_no_longer.to_owned())
            })
        }
        Ok(Deed::Safe(command)) => act(shared, command).await,
        Ok(Deed::Seen(command)) => {
            if form.value::<EntryHash>("face") != Some(view.face) {
                return Ok(changed(&view));
            }
            match shared.node.press(view.face, command).await? {
                Ok(outcome) => answer(shared, &outcome).await,
                Err(_) => Ok(changed(&view)),
            }
        }
    }
}

/// An act that fails to the safe side.
pub(crate) async fn act(shared: &Shared, command: Command) -> Result<Answer, Refusal> {
    let outcome = shared.node.act(command).await?;
    answer(shared, &outcome).await
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
    let seen = seen(shared, false).await?;
    let view = View::new(&seen, 0, 0);
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
        Err(words) => Ok(Answer::no(words)),
    }
}

fn changed(view: &View) -> Answer {
    Answer {
        changed: true,
        ..Answer::no(view.labels.changed.to_owned())
    }
}

/// Of several things asked this is done next.
async fn choose(shared: &Shared, form: &Form) -> Result<Answer, Refusal> {
    let seen = seen(shared, false).await?;
    let view = View::new(&seen, 0, 0);
    let asked = &view.status.asked;
    let chosen = form.value::<usize>("at").and_then(|at| {
        let unasked = || {
            let (_, command) = moves::extras(&view)
                .into_iter()
                .nth(at.checked_sub(asked.len())?)?;
            Some(Choice::Unasked(command))
        };
        asked.get(at).cloned().map(Choice::Asked).or_else(unasked)
    });
    shared.pages.choose(chosen);
    Ok(Answer {
        good: true,
        ..Answer::default()
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
    let seen = seen(shared, false).await?;
    let view = View::new(&seen, 0, 0);
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
        recorded: matches!(outcome, Outcome::Recorded { .. }),
        lines,
        ..Answer::default()
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
    let seen = seen(&shared, false).await?;
    let view = View::new(&seen, 0, 0);
    let limit = form.value("limit").and_then(|id| view.plan.limit(&id));
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
