//! Start: what a browser asks a press for before it is of use: sound, full screen, a screen that stays on; and what is
//! set once on each device: how large a millimetre is, sun or night, how a confirmation is given, which page.
//! Owns: nothing.   Gives: HTML of these sheets, `start` the way in to them.
//! May use: view, page.   Never: words of its own; keeps anybody from stopping.

use crate::control::{Refusal, Shared};
use crate::pages::forms::Typed;
use crate::pages::page::{Kind, Opened, whole};
use crate::pages::parts::icon;
use crate::pages::view::View;
use crate::words::ALL;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, html};

/// The page of the holder's role, with all that is asked at the start before it.
pub(crate) async fn start(
    State(shared): State<Shared>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    whole(&shared, &headers, None, Opened::First, &Typed::default()).await
}

/// All of them.
pub(crate) fn sheets(view: &View) -> Markup {
    html! {
        (sound(view))
        (heard(view))
        (fit(view))
        (role(view))
    }
}

/// The first press: as browsers have it, nothing sounds before one.
fn sound(view: &View) -> Markup {
    let l = view.labels;
    html! {
        section class="sheet" data-name="start" {
            p class="question" { (l.start_question) }
            button class="act" type="button" data-control="start" {
                span class="tx" { (l.start) small { (l.start_sub) } }
            }
            form class="setting row" method="post" action="/setting" {
                button class="sec" name="theme" value="sun" data-control="theme" { (l.theme_sun) small { (l.theme_sun_sub) } }
                button class="sec" name="theme" value="night" data-control="theme" { (l.theme_night) small { (l.theme_night_sub) } }
                @for other in ALL.iter().filter(|other| other.code != view.language.code) {
                    button class="sec" name="language" value=(other.code) lang=(other.code) data-control="language" {
                        (other.name) small { (other.labels.pages_in_it) }
                    }
                }
            }
            p class="caution" { (l.caution) }
            button class="sec back" type="button" data-control="back" { (l.without_sound) small { (l.without_sound_sub) } }
        }
    }
}

/// Whether it was heard, and what else the browser gives: each said either way.
fn heard(view: &View) -> Markup {
    let l = view.labels;
    html! {
        section class="sheet" data-name="heard" {
            p class="question" { (l.heard_question) }
            button class="act" type="button" data-control="heard" { span class="tx" { (l.heard_yes) small { (l.heard_yes_sub) } } }
            div class="row" {
                button class="sec" type="button" data-control="play" { (l.heard_again) small { (l.heard_again_sub) } }
                button class="sec" type="button" data-control="unheard" { (l.heard_no) small { (l.heard_no_sub) } }
            }
            ul class="gives" {
                @for (name, yes, no) in [
                    ("full", l.full_screen, l.full_screen_not),
                    ("awake", l.stays_on, l.stays_on_not),
                    ("shakes", l.shakes, l.shakes_not),
                ] {
                    li class=(name) { span class="yes" { (icon("yes")) " " (yes) } span class="no" { (icon("no")) " " (no) } }
                }
            }
        }
    }
}

/// How large a millimetre is here: a bank card is as large everywhere (ISO/IEC 7810, ID-1: 85.60 by 53.98 mm).
fn fit(view: &View) -> Markup {
    let l = view.labels;
    html! {
        section class="sheet" data-name="fit" {
            p class="question" { (l.fit_question) }
            div class="bankcard" { span class="short" { (l.fit_short) } span class="long" { (l.fit_long) } }
            div class="row" {
                button class="sec big" type="button" data-control="smaller" { "−" small { (l.fit_smaller) } }
                button class="sec big" type="button" data-control="larger" { "+" small { (l.fit_larger) } }
            }
            button class="sec hand" type="button" data-control="presses" {
                span class="one" { (l.presses_kept) small { (l.presses_kept_sub) } }
                span class="two" { (l.presses_two) small { (l.presses_two_sub) } }
            }
            button class="act" type="button" data-control="fits" { span class="tx" { (l.fits) small { (l.fits_sub) } } }
        }
    }
}

/// Of somebody with several roles: which page.
fn role(view: &View) -> Markup {
    let l = view.labels;
    let kinds = Kind::all_of(view.status);
    if kinds.len() < 2 {
        return html! {};
    }
    html! {
        section class="sheet" data-name="role" {
            p class="question" { (l.role_question) }
            div class="rows" {
                @for kind in kinds {
                    @let (words, sub) = match kind {
                        Kind::Board => (l.role_board, l.role_board_sub),
                        Kind::Observer => (l.role_observer, l.role_observer_sub),
                        _ => (l.role_worker, l.role_worker_sub),
                    };
                    button class="sec r" type="button" data-control="as" data-as=(kind.name()) { (words) small { (sub) } }
                }
            }
            button class="sec back" type="button" data-control="back" { (l.back) small { (l.back_sub) } }
        }
    }
}
