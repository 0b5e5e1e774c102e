//! Matrix: who hears whom, as a table; of a large crew the weak links only.
//! Owns: nothing.   Gives: `matrix`, how many rows of the board it takes.
//! May use: view, parts.   Never: words of its own; a proof (that is each device's own).

use crate::pages::parts::icon;
use crate::pages::view::{LinkState, View, age};
use crate::words::fill;
use gantline_protocol::ids::DeviceKey;
use gantline_protocol::state::Overview;
use maud::{Markup, html};

/// More devices do not fit the board's right side as a table.
const TABLE_MAX: usize = 7;
/// Weak links listed of a larger crew.
const WEAK_MAX: usize = 6;

fn heard(overview: &Overview, by: &DeviceKey, of: &DeviceKey) -> Option<u64> {
    let pair = overview
        .hears
        .iter()
        .find(|one| one.by == *by && one.of == *of);
    pair.map(|one| one.age_ms)
}

/// How many rows of a list it is as high as.
pub(crate) fn rows(view: &View) -> usize {
    let devices = view.crew().len();
    if devices <= TABLE_MAX {
        devices + 1
    } else {
        WEAK_MAX
    }
}

/// Row hears column: the age in seconds; a half-moon and yellow from where a link is late, inverse from the limit on.
pub(crate) fn matrix(view: &View, overview: &Overview) -> Markup {
    let l = view.labels;
    let crew: Vec<DeviceKey> = view.crew().iter().map(|one| one.device).collect();
    if crew.len() > TABLE_MAX {
        return weak(view, overview, &crew);
    }
    html! {
        table class="matrix" {
            thead { tr { th { (l.hears) } @for of in &crew { th { (view.short_name(of)) } } } }
            tbody {
                @for by in &crew {
                    tr {
                        th { (view.short_name(by)) }
                        @for of in &crew {
                            @if by == of { td class="self" {} } @else { (cell(view, heard(overview, by, of))) }
                        }
                    }
                }
            }
        }
    }
}

fn cell(view: &View, age_ms: Option<u64>) -> Markup {
    let text = age_ms.map_or_else(|| "–".to_owned(), short_age);
    match view.link_state(age_ms) {
        LinkState::Good => html! { td { (text) } },
        LinkState::Late => html! { td class="late" { (icon("half")) " " (text) } },
        LinkState::Lost => html! { td class="lost" { (icon("no")) " " (text) } },
    }
}

/// Seconds with one digit; whole ones from ten on, minutes from a hundred on: a cell is narrow.
fn short_age(ms: u64) -> String {
    match ms {
        0..10_000 => age(ms),
        10_000..100_000 => (ms / 1_000).to_string(),
        _ => format!("{}'", (ms / 60_000).min(999)),
    }
}

/// Links that are late or lost, the worst first.
fn weak(view: &View, overview: &Overview, crew: &[DeviceKey]) -> Markup {
    let mut weak = Vec::new();
    for by in crew {
        for of in crew.iter().filter(|of| *of != by) {
            let age_ms = heard(overview, by, of);
            if view.link_state(age_ms) != LinkState::Good {
                weak.push((age_ms.unwrap_or(u64::MAX), by, of));
            }
        }
    }
    weak.sort_by_key(|(age_ms, ..)| core::cmp::Reverse(*age_ms));
    let l = view.labels;
    html! {
        ul class="weak" {
            @for (age_ms, by, of) in weak.iter().take(WEAK_MAX) {
                li {
                    b { (fill(l.hears_of, &[("by", view.short_name(by)), ("of", view.short_name(of))])) }
                    span { (if *age_ms == u64::MAX { "–".to_owned() } else { short_age(*age_ms) }) }
                }
            }
            @if weak.is_empty() { li { span { (l.all_links_good) } } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_age_fits_its_cell() {
        for (ms, text) in [
            (0, "0.0"),
            (9_999, "9.9"),
            (10_000, "10"),
            (99_999, "99"),
            (130_000, "2'"),
            (u64::MAX - 1, "999'"),
        ] {
            assert_eq!(short_age(ms), text);
        }
    }
}
