//! Paper: pages that are read, not worked with: replay, limits, briefing. Each in the frame of every page: the call above,
//! stop below, the way back beside it.
//! Owns: nothing.   Gives: `past_job`, `limit_sheet`, `job_briefing`, and their frame.
//! May use: page, view, parts.   Never: words of its own; a page without stop.
//!
//! What is to be read is sent once, with the page; the frame around it lives as every page does.

use crate::control::{Refusal, Shared};
use crate::pages::asked::Asked;
use crate::pages::band::band;
use crate::pages::briefing;
use crate::pages::limits;
use crate::pages::page::{self, Content, Kind};
use crate::pages::parts;
use crate::pages::replay;
use crate::pages::view::View;
use axum::extract::{RawQuery, State};
use axum::http::HeaderMap;
use axum::response::Response;
use gantline_protocol::state::AskedOf;
use maud::{Markup, html};

/// The replay.
pub(crate) async fn past_job(
    State(shared): State<Shared>,
    headers: HeaderMap,
    RawQuery(query): RawQuery,
) -> Result<Response, Refusal> {
    let wanted = replay::Wanted::read(query.unwrap_or_default().as_bytes());
    let past = replay::past(&shared, wanted).await?;
    let content: Content = Box::new(move |view| replay::content(view, &past));
    page::written(&shared, &headers, Kind::Replay, content).await
}

/// The limits of the job.
pub(crate) async fn limit_sheet(
    State(shared): State<Shared>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    let content: Content = Box::new(limits::content);
    page::written(&shared, &headers, Kind::Limits, content).await
}

/// The job briefing.
pub(crate) async fn job_briefing(
    State(shared): State<Shared>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    let job = shared.node.job().await?;
    let content: Content = Box::new(move |view| briefing::content(view, &job));
    page::written(&shared, &headers, Kind::Briefing, content).await
}

/// The frame. `content`: what is read; not there when the frame is sent again.
pub(crate) fn frame(view: &View, kind: &Kind, asked: &[Asked], content: Option<Markup>) -> Markup {
    let l = view.labels;
    // Of what is asked, only the press that ends what is read here.
    let ends = asked.iter().find(|one| {
        let of = view.status.asked.get(one.at);
        *kind == Kind::Briefing && matches!(of, Some(AskedOf::Briefing { .. }))
    });
    html! {
        main class="page paper" lang=(view.language.code) data-call=(view.call().0) data-face=(view.face) data-asked=(asked.len())
            data-sound=[page::sound(view.status)] {
            (parts::strip(view))
            (band(view, false))
            section class="read" data-scrolls tabindex="0" aria-label=(l.to_read) { @if let Some(content) = content { (content) } }
            @if let Some(one) = ends {
                div class="asked" { (parts::hold(view, one, &one.quote, l.keep_pressed, None)) }
            }
            nav class="row" {
                a class="sec" href="/" data-control="leave" { (l.leave) small { (l.leave_sub) } }
                button class="sec" type="button" data-control="start" { (l.start) small { (l.start_sub) } }
            }
            (parts::second_place(view))
            (parts::stop(view, false))
            p class="note" role="status" {}
            (parts::stale(view, false))
        }
    }
}
