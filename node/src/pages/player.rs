//! Player: how is the past walked through: entry by entry by links, or by itself at a pace that is chosen.
//! Owns: the paces.   Gives: `cursor`.
//! May use: replay's values, view.   Never: a walk that needs scripts: without them the links are there, and what only
//! they can move is not.

use crate::pages::replay::{Past, Wanted, nearest, tenths};
use crate::pages::view::View;
use crate::words::fill;
use maud::{Markup, html};

/// How many times faster than it was: a stop as it went, a job in minutes.
const PACES: [u32; 4] = [1, 10, 60, 600];
/// The pace of a whole job, and of a stop that is looked at from near, by their places.
const WHOLE: usize = 2;
const NEAR: usize = 0;

/// When, and all that moves it.
pub(crate) fn cursor(view: &View, past: &Past, at: i64, doubt_ms: Option<u64>) -> Markup {
    let l = view.labels;
    let (from, to) = (ends(past).min(), ends(past).max());
    let near = past.wanted.stop.is_some();
    html! {
        div class="cursor" data-at=(at) data-from=(from.unwrap_or(at)) data-to=(to.unwrap_or(at))
            data-pace=(if near { NEAR } else { WHOLE }) {
            (step(past, at, false, l.replay_back))
            (step(past, at, true, l.replay_next))
            // Hidden until a script is there to do what they say.
            button class="go" type="button" data-control="run" hidden {
                span class="still" { (l.replay_play) } span class="runs" { (l.replay_pause) }
            }
            button class="go" type="button" data-control="pace" hidden {
                @for pace in PACES { span data-pace=(pace) { (fill(l.replay_pace, &[("n", &pace.to_string())])) } }
            }
            @if near {
                @let out = Wanted { stop: None, ..past.wanted.clone() };
                a class="go" href=(out.link()) { (l.zoom_out) }
            } @else if !past.spread.is_empty() {
                @let near = Wanted { stop: nearest(past, at), ..past.wanted.clone() };
                a class="go" href=(near.link()) { (l.zoom_in) }
            }
            b class="when" { (view.clock_tenths(at)) }
            @if let Some(ms) = doubt_ms { span { "± " (tenths(ms)) " s" } }
            span class="entries" { (fill(l.entries, &[("n", &past.replay.lines.len().to_string())])) }
        }
    }
}

/// Where each entry is, on one clock.
fn ends(past: &Past) -> impl Iterator<Item = i64> {
    let points = past.lanes.iter().flat_map(|lane| &lane.points);
    points.map(|point| point.at.0)
}

/// A press to the entry before or after.
fn step(past: &Past, at: i64, on: bool, words: &str) -> Markup {
    let to = if on {
        ends(past).filter(|other| *other > at).min()
    } else {
        ends(past).filter(|other| *other < at).max()
    };
    let wanted = Wanted {
        at: to.or(Some(at)),
        ..past.wanted.clone()
    };
    html! { a class="go" data-control="step" href=(wanted.link()) { (words) } }
}
