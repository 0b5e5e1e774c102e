//! Timeline: a lane for each device, filled by what it showed, with marks for what was said.
//! Owns: the drawing's measures.   Gives: `timeline`, `Fill`.
//! May use: replay's values, view, parts.   Never: colour alone (plain, diagonal, bars, dots).

use crate::pages::replay::{Past, tenths};
use crate::pages::view::View;
use gantline_protocol::ids::DeviceKey;
use gantline_protocol::replay::{Line, Worth};
use gantline_protocol::state::CallWord;
use maud::{Markup, html};
use std::collections::BTreeMap;

/// Width of the drawing, where the lanes begin and end, px.
const WIDTH: i64 = 1252;
const LEFT: i64 = 120;
const RIGHT: i64 = 1236;
/// A lane, what is between two, and what is above the first.
const LANE: i64 = 24;
const PITCH: i64 = 50;
const PITCH_SMALL: i64 = 32;
const TOP: i64 = 50;
/// More devices stand closer together.
const WIDE_MAX: usize = 6;
/// Around a stop that is looked at from near, ms.
const BEFORE_MS: i64 = 3_000;
const AFTER_MS: i64 = 5_000;
/// Marks closer together than this have no words, px.
const WORDS_APART: i64 = 8;
/// Width of a letter, about, px.
const LETTER: i64 = 9;
const TICKS_MAX: i64 = 9;
/// What is drawn beyond the last entry, a part of the whole.
const BEYOND: i64 = 15;
/// Distances of times on the axis, ms.
const TICKS: [i64; 17] = [
    100, 200, 500, 1_000, 2_000, 5_000, 10_000, 30_000, 60_000, 120_000, 300_000, 600_000,
    1_800_000, 3_600_000, 7_200_000, 21_600_000, 86_400_000,
];

/// How a lane is filled.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Fill {
    Nothing,
    Proceed,
    Hold,
    Stop,
}

impl Fill {
    pub(crate) fn of(word: CallWord) -> Self {
        match word {
            CallWord::Proceed => Self::Proceed,
            CallWord::Hold => Self::Hold,
            CallWord::StopWork => Self::Stop,
        }
    }

    fn paint(self) -> &'static str {
        match self {
            Self::Nothing => "none",
            Self::Proceed => "#00604f",
            Self::Hold => "url(#p-hold)",
            Self::Stop => "url(#p-stop)",
        }
    }
}

/// From when to when the drawing goes, and where a time is on it.
#[derive(Clone, Copy, Debug)]
struct Axis {
    from: i64,
    to: i64,
}

impl Axis {
    fn of(past: &Past) -> Self {
        if let Some(stop) = past.wanted.stop.and_then(|at| past.spread.get(at)) {
            let had = past
                .lanes
                .iter()
                .filter_map(|lane| past.had_it(stop, &lane.device));
            let last = had.max().unwrap_or(stop.at.0).min(stop.at.0 + 60_000);
            return Self {
                from: stop.at.0 - BEFORE_MS,
                to: (stop.at.0 + AFTER_MS).max(last + 1_000),
            };
        }
        let entries = past.lanes.iter().flat_map(|lane| &lane.points);
        let from = entries.clone().map(|point| point.at.0).min().unwrap_or(0);
        let shown = past.shown.iter().map(|line| line.at);
        let last = entries
            .map(|point| point.at.0)
            .chain(shown)
            .max()
            .unwrap_or(0);
        // A little beyond the last, so that what it changed is seen.
        Self {
            from,
            to: last + ((last - from) / BEYOND).max(1_000),
        }
    }

    fn x(&self, at: i64) -> i64 {
        let part = i128::from(at.clamp(self.from, self.to) - self.from) * i128::from(RIGHT - LEFT);
        LEFT + i64::try_from(part / i128::from(self.to - self.from)).unwrap_or(0)
    }

    fn shows(&self, at: i64) -> bool {
        (self.from..=self.to).contains(&at)
    }

    fn ticks(&self) -> Vec<i64> {
        let span = self.to - self.from;
        let step = TICKS
            .into_iter()
            .find(|step| span / step <= TICKS_MAX)
            .unwrap_or(86_400_000);
        let first = self.from.div_euclid(step) * step + step;
        (0..=TICKS_MAX)
            .map(|n| first + n * step)
            .filter(|at| self.shows(*at))
            .collect()
    }
}

/// The drawing with its legend.
pub(crate) fn timeline(view: &View, past: &Past, names: &BTreeMap<DeviceKey, String>) -> Markup {
    let l = view.labels;
    let axis = Axis::of(past);
    let pitch = if past.lanes.len() > WIDE_MAX {
        PITCH_SMALL
    } else {
        PITCH
    };
    let count = i64::try_from(past.lanes.len()).unwrap_or(0);
    let bottom = TOP + count * pitch;
    let y = |n: usize| TOP + i64::try_from(n).unwrap_or(0) * pitch;
    let cursor = axis.x(past.wanted.at.unwrap_or(axis.to));
    html! {
        div class="legend lanes" {
            @for (fill, words) in [(Fill::Proceed, l.proceed), (Fill::Hold, l.hold), (Fill::Stop, l.stop_work), (Fill::Nothing, l.lane_nothing)] {
                span { svg viewBox="0 0 30 18" width="30" height="18" { rect class=(class(fill)) x="1" y="1" width="28" height="16" fill=(fill.paint()) {} } " " (words) }
            }
        }
        div class="drawn" data-scrolls tabindex="0" {
            svg class="timeline" viewBox=(format!("0 0 {WIDTH} {}", bottom + 22)) role="img" aria-label=(l.replay) {
                defs {
                    pattern id="p-hold" width="16" height="16" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                        rect width="16" height="16" fill="#ffd100" {} rect width="6" height="16" fill="#000" {}
                    }
                    pattern id="p-stop" width="8" height="12" patternUnits="userSpaceOnUse" {
                        rect width="8" height="12" fill="#a80000" {} rect width="8" height="3" fill="#fff" {}
                    }
                }
                @for at in axis.ticks() {
                    line class="tick" x1=(axis.x(at)) y1="22" x2=(axis.x(at)) y2=(bottom) {}
                    text x=(axis.x(at)) y="16" text-anchor="middle" { (if axis.to - axis.from < 10_000 { view.clock_tenths(at) } else { view.clock(at) }) }
                }
                @for (n, lane) in past.lanes.iter().enumerate() {
                    text class="name" x="2" y=(y(n) + 18) { (names.get(&lane.device).map_or("", String::as_str)) }
                    (filled(&axis, &past.fills(lane), y(n)))
                    (marks(view, past, &axis, &lane.device, y(n)))
                }
                (path(past, &axis, &y))
                line class="cursor-line" x1=(cursor) y1="22" x2=(cursor) y2=(bottom + 2) {}
                text x=(cursor.min(RIGHT - 40)) y=(bottom + 18) text-anchor="middle" class="name" { (view.clock_tenths(past.wanted.at.unwrap_or(axis.to))) }
            }
        }
    }
}

fn class(fill: Fill) -> &'static str {
    if fill == Fill::Nothing {
        "lane nothing"
    } else {
        "lane"
    }
}

/// The spans of one lane. Before the first nothing is known; the last goes on to the end.
fn filled(axis: &Axis, fills: &[(i64, Fill)], y: i64) -> Markup {
    let mut spans: Vec<(i64, i64, Fill)> = vec![(LEFT, RIGHT, Fill::Nothing)];
    for &(at, fill) in fills {
        let x = axis.x(at);
        if let Some(last) = spans.last_mut() {
            if last.2 == fill {
                continue;
            }
            last.1 = x;
        }
        spans.push((x, RIGHT, fill));
    }
    html! {
        @for (from, to, fill) in spans {
            @if to > from { rect class=(class(fill)) x=(from) y=(y) width=(to - from) height=(LANE) fill=(fill.paint()) {} }
        }
    }
}

/// The shape of an entry on a lane; `None`: it is not drawn.
fn mark(line: &Line) -> Option<&'static str> {
    Some(match (line.worth, line.kind.as_str()) {
        (_, "stop" | "withdraw" | "suspend") => "c-stop",
        (Worth::DoesNotCount, _) => "i-no",
        (Worth::Counts, "acknowledge" | "release" | "close" | "exception") => "i-yes",
        (_, "offer" | "ready" | "take" | "done" | "moved") => "i-half",
        (_, "cannot" | "decline") => "i-no",
        _ => return None,
    })
}

fn marks(view: &View, past: &Past, axis: &Axis, device: &DeviceKey, y: i64) -> Markup {
    let own = past
        .replay
        .lines
        .iter()
        .filter(|line| line.device == *device);
    let mut free = LEFT;
    let mut drawn: Vec<(i64, &'static str, String)> = Vec::new();
    for line in own {
        let at = past.clocks.by_founder(&line.device, line.wall).0;
        let kept_back = past.kept_back.contains(&line.entry);
        let shape = if kept_back {
            Some("i-wait")
        } else {
            mark(line)
        };
        let Some(shape) = shape.filter(|_| axis.shows(at)) else {
            continue;
        };
        let x = axis.x(at);
        let mut words = past.words(view, &view.words, &line.entry);
        if let Some(reason) = line
            .reasons
            .first()
            .filter(|_| !kept_back && line.worth == Worth::DoesNotCount)
        {
            words = format!("{words}: {}", view.words.reason(reason).so);
        }
        words = words.chars().take(70).collect();
        let width = i64::try_from(words.chars().count()).unwrap_or(0) * LETTER;
        // The words stand before the mark, where nothing else does.
        let fits = x - 12 - width >= free + WORDS_APART;
        drawn.push((x, shape, if fits { words } else { String::new() }));
        free = x + 10;
    }
    html! {
        @for (x, shape, words) in drawn {
            @if !words.is_empty() { text x=(x - 13) y=(y - 5) text-anchor="end" { (words) } }
            use href=(format!("#{shape}")) x=(x - 9) y=(y - 20) width="18" height="18" {}
        }
    }
}

/// The way of the stop that is looked at from near, to each lane, with the seconds.
fn path(past: &Past, axis: &Axis, y: &dyn Fn(usize) -> i64) -> Markup {
    let stop = past.wanted.stop.and_then(|at| past.spread.get(at));
    let Some(stop) = stop else {
        return html! {};
    };
    let middle = |n: usize| y(n) + LANE / 2;
    let from = past
        .lanes
        .iter()
        .position(|lane| lane.device == stop.by)
        .unwrap_or(0);
    let reached: Vec<(usize, i64)> = past
        .lanes
        .iter()
        .enumerate()
        .filter(|(_, lane)| lane.device != stop.by)
        .filter_map(|(n, lane)| Some((n, past.had_it(stop, &lane.device)?)))
        .collect();
    html! {
        @for &(n, at) in &reached {
            line class="way under" x1=(axis.x(stop.at.0)) y1=(middle(from)) x2=(axis.x(at)) y2=(middle(n)) {}
            line class="way" x1=(axis.x(stop.at.0)) y1=(middle(from)) x2=(axis.x(at)) y2=(middle(n)) {}
        }
        @for &(n, at) in &reached {
            @let x = axis.x(at).min(RIGHT - 66) + 6;
            rect class="seconds" x=(x) y=(y(n) + 1) width="58" height=(LANE - 2) {}
            text x=(x + 29) y=(y(n) + 18) text-anchor="middle" class="name" { (tenths(u64::try_from(at - stop.at.0).unwrap_or(0))) " s" }
        }
    }
}
