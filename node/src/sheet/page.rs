//! Page of the limit sheet: one file without any other, for a screen or two sides of paper.
//! Owns: nothing.   Gives: `page`, `body`.
//! May use: the sheet's values, draw.   Never: a formula; a request to anywhere.

use super::why::why;
use super::{Heading, draw};
use gantline_protocol::limits::sheet::{Bound, CAUTIONS, Line, Sheet};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = "
@page { size: A4; margin: 12mm }
body { font: 13px/1.35 sans-serif; color: #000; background: #fff; max-width: 190mm; margin: 0 auto; padding: 8px }
h1 { font-size: 20px; margin: 0 } h2 { font-size: 15px; margin: 14px 0 4px }
.caution { border: 2px solid #000; background: #ffd100; padding: 6px 10px; margin: 8px 0 }
.caution p { margin: 2px 0; font-weight: bold }
.drawings { display: flex; flex-wrap: wrap; gap: 8px }
figure { margin: 0; flex: 1 1 80mm } figure.wide { flex-basis: 100% }
figure svg { width: 100%; max-height: 92mm } figcaption { font-size: 12px }
svg text { font: 13px sans-serif } svg .force { font-size: 11px }
table { border-collapse: collapse; width: 100% } td, th { border-bottom: 1px solid #777; padding: 3px 5px; text-align: left; vertical-align: top }
td.value { white-space: nowrap; font-weight: bold } td small { color: #333 } svg.bar { width: 104px; height: 12px; vertical-align: middle }
tr { break-inside: avoid }
ul { margin: 0; padding-left: 16px }
.missing { border: 2px dashed #a80000; padding: 6px 10px }
@media print { .figures { break-before: page } body { font-size: 8.6px; line-height: 1.25; padding: 0 } td, th { padding: 1px 4px } }
th:first-child { width: 32% } th:nth-child(2) { width: 13% } th:nth-child(3) { width: 14% }
";

/// The sheet as one HTML file.
#[must_use]
pub fn page(sheet: &Sheet, heading: &Heading) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width";
                title { "Limit sheet: " (heading.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (body(sheet, heading))
            }
        }
    };
    markup.into_string()
}

/// What is on it, for a page that has a frame of its own.
#[must_use]
pub fn body(sheet: &Sheet, heading: &Heading) -> Markup {
    let drawings = [
        draw::structure(sheet, heading),
        draw::rig(sheet, heading),
        draw::spans(sheet, heading),
    ];
    html! {
        svg width="0" height="0" aria-hidden="true" {
            defs {
                marker id="tip" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" markerHeight="7" orient="auto" {
                    path d="M0 0 L8 4 L0 8 z" {}
                }
            }
        }
        h1 { (heading.say("Limit sheet")) }
        p { strong { (heading.title) } br; (heading.place) }
        div.caution {
            @for caution in CAUTIONS { p { (heading.say(caution)) } }
            @for caution in heading.cautions { p { (caution) } }
        }
        (missing(sheet, heading))
        div.drawings { @for drawing in drawings.into_iter().flatten() { (drawing) } }
        @if !heading.watched.is_empty() {
            h2 { (heading.say("Watched, and how long a reading is good for")) }
            ul { @for watched in &heading.watched { li { (watched) } } }
        }
        section.figures {
            h2 { (heading.say("Values")) }
            table tabindex="0" {
                tr { @for head in ["Limit", "Value", "Used", "From, source and what to mind"] { th { (heading.say(head)) } } }
                @for (place, line) in sheet.lines.iter().enumerate() {
                    (row(line, place.checked_sub(1).and_then(|before| sheet.lines.get(before)), heading))
                }
            }
        }
    }
}

/// What it rests on is said once for a run of values that rest on the same.
fn row(line: &Line, before: Option<&Line>, heading: &Heading) -> Markup {
    let (value, unit) = line
        .in_units(heading.units)
        .unwrap_or((line.value, line.unit));
    let bound = match line.bound {
        Bound::Least => heading.say("at least"),
        Bound::Most => heading.say("at most"),
        Bound::Shown => "",
    };
    let inputs: Vec<String> = line
        .inputs
        .iter()
        .map(|input| format!("{} {}", heading.say(&input.name), input.value))
        .collect();
    let same_inputs = before.is_some_and(|before| before.inputs == line.inputs);
    let same_source = before.is_some_and(|before| before.source == line.source);
    html! {
        tr {
            td { (heading.say(line.title)) " " small { (line.name) } }
            td.value { (bound) " " (value) " " (unit) @if unit != line.unit { br; small { (line.value) " " (line.unit) } } }
            td { @if let Some(used) = line.used { (draw::bar(used, heading)) } }
            td {
                small {
                    @if same_inputs && same_source { (heading.say("as above")) }
                    @else {
                        @if same_inputs { (heading.say("inputs as above")) } @else { (inputs.join(", ")) }
                        br;
                        @if same_source { (heading.say("source as above")) } @else { (line.source) }
                    }
                }
                @if !line.cautions.is_empty() { br; strong { @for caution in &line.cautions { (heading.say(caution)) " " } } }
            }
        }
    }
}

fn missing(sheet: &Sheet, heading: &Heading) -> Markup {
    html! {
        @if !sheet.gaps.is_empty() || !sheet.never_used.is_empty() {
            div.missing {
                @for gap in &sheet.gaps {
                    p {
                        strong { (heading.say("Not computed: ")) (heading.say(gap.part)) ". " }
                        @if !gap.missing.is_empty() { (heading.say("Add to the plan's data: ")) (gap.missing.iter().map(|name| heading.asked_for(name)).collect::<Vec<_>>().join(", ")) ". " }
                        @if let Some(error) = &gap.why { (why(error, heading)) }
                    }
                }
                @if !sheet.never_used.is_empty() {
                    p { (heading.say("Not used by any limit (check the spelling): ")) (sheet.never_used.join(", ")) }
                }
            }
        }
    }
}
