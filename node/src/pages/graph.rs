//! Graph: how is the plan drawn, so that one of forty steps is read at a glance?
//! Owns: the drawing's measures.   Gives: `graph`.
//! May use: view, parts.   Never: words of its own; a picture wider than the board's left side.
//!
//! The steps around the crew have their words, those far off their number only. They stand in the plan's order, row by row as one reads. A line goes to the next step in its row, or through the
//! gap between two rows to a step further on, past all rows at the left edge where it has to.

use crate::pages::parts::icon;
use crate::pages::view::View;
use gantline_protocol::ids::StepId;
use gantline_protocol::state::{CallWord, StepState, StepStatus};
use maud::{Markup, html};

/// Width of the drawing: what the board's left side has on a screen 1280 px wide, CSS px.
const WIDTH: u32 = 808;
/// Left edge, for lines that go past rows.
const EDGE: u32 = 14;
/// Columns of a row, and their width.
const COLUMNS: u32 = 18;
const COLUMN: u32 = (WIDTH - EDGE) / COLUMNS;
/// Between two steps of a row, and between two rows.
const GAP: u32 = 10;
const GUTTER: u32 = 16;
/// Below the last row.
const BELOW: u32 = 4;
/// A row with a step that is open, one with words, and one of numbers only.
const OPEN: u32 = 88;
const TALL: u32 = 74;
const LOW: u32 = 34;
/// How high the drawing may be: beside a band of one line, and beside the band of a stop.
const HEIGHT_MAX: u32 = 462;
const HEIGHT_IN_STOP_MAX: u32 = 250;

/// How much of a step is drawn.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Size {
    /// Its number.
    Number,
    /// Its words too.
    Words,
    /// And who has confirmed.
    Open,
}

impl Size {
    fn columns(self) -> u32 {
        match self {
            Self::Number => 1,
            Self::Words => 3,
            Self::Open => 8,
        }
    }

    fn height(self) -> u32 {
        match self {
            Self::Number => LOW,
            Self::Words => TALL,
            Self::Open => OPEN,
        }
    }
}

/// Where a step is drawn.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Cell {
    size: Size,
    row: usize,
    x: u32,
    y: u32,
    width: u32,
    height: u32,
    /// Where its row begins, and where the gap below it does.
    top: u32,
    gutter: u32,
}

impl Cell {
    fn middle(&self) -> u32 {
        self.x + self.width / 2
    }
    fn bottom(&self) -> u32 {
        self.y + self.height
    }
    fn right(&self) -> u32 {
        self.x + self.width
    }
}

/// The cells of these sizes, row by row, and the height of all of them.
fn cells(sizes: &[Size]) -> (Vec<Cell>, u32) {
    let mut rows: Vec<Vec<Size>> = vec![Vec::new()];
    let mut used = 0;
    for &size in sizes {
        if used + size.columns() > COLUMNS {
            rows.push(Vec::new());
            used = 0;
        }
        used += size.columns();
        if let Some(row) = rows.last_mut() {
            row.push(size);
        }
    }
    let mut all = Vec::with_capacity(sizes.len());
    let mut y = GUTTER / 2;
    for (row, sizes) in rows.iter().enumerate() {
        let height = sizes.iter().map(|size| size.height()).max().unwrap_or(LOW);
        let mut x = EDGE;
        for &size in sizes {
            let width = size.columns() * COLUMN;
            all.push(Cell {
                size,
                row,
                x,
                y: y + (height - size.height()) / 2,
                width: width - GAP,
                height: size.height(),
                top: y,
                gutter: y + height,
            });
            x += width;
        }
        y += height + GUTTER;
    }
    // No line runs below the last row.
    (all, y.saturating_sub(GUTTER - BELOW))
}

/// As many words as fit so high: those of the steps around the crew stay, those of the oldest go first.
fn sizes(steps: &[StepStatus], height_max: u32) -> Vec<Size> {
    let is_open = |step: &StepStatus| matches!(step.state, StepState::Open | StepState::Conflict);
    let mut sizes: Vec<Size> = steps
        .iter()
        .map(|step| {
            if is_open(step) {
                Size::Open
            } else {
                Size::Words
            }
        })
        .collect();
    let here = steps
        .iter()
        .position(|step| step.state != StepState::Done)
        .unwrap_or(steps.len());
    // Done ones from the first on, but the last of them; then the others from the last one back, and that one.
    let last = here.saturating_sub(1);
    let after = (here..steps.len()).rev();
    for at in (0..last).chain(after).chain([last]) {
        if cells(&sizes).1 <= height_max {
            break;
        }
        if let Some(size) = sizes.get_mut(at).filter(|size| **size == Size::Words) {
            *size = Size::Number;
        }
    }
    sizes
}

/// The drawing. `who`: who has and who has not confirmed an open step.
pub(crate) fn graph(view: &View, who: impl Fn(&StepStatus) -> Markup) -> Markup {
    let steps = &view.status.steps;
    let height_max = if view.is(CallWord::StopWork) {
        HEIGHT_IN_STOP_MAX
    } else {
        HEIGHT_MAX
    };
    let (cells, height) = cells(&sizes(steps, height_max));
    html! {
        svg class="graph" viewBox=(format!("0 0 {WIDTH} {height}")) preserveAspectRatio="xMinYMin meet" {
            defs {
                marker id="tip" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="5" markerHeight="5" orient="auto" {
                    path d="M0 0 10 5 0 10Z" {}
                }
            }
            @for (path, soft) in lines(view, &cells) {
                path class=(if soft { "edge soft" } else { "edge" }) d=(path) marker-end="url(#tip)" {}
            }
            @for ((at, step), cell) in steps.iter().enumerate().zip(&cells) {
                foreignObject x=(cell.x) y=(cell.y) width=(cell.width) height=(cell.height) {
                    (drawn(view, at + 1, step, cell.size, &who))
                }
            }
        }
    }
}

fn drawn(
    view: &View,
    number: usize,
    step: &StepStatus,
    size: Size,
    who: &impl Fn(&StepStatus) -> Markup,
) -> Markup {
    let point = if step.hold_point { " point" } else { "" };
    let class = format!("step {}{point}", class(view, step));
    html! {
        div class=(class) title=(format!("{number} {}", step.title)) {
            @if size == Size::Number {
                span class="chip" { b { (number) } (mark(step)) }
            } @else {
                span class="title" { b { (number) } " " (mark(step)) " " (step.title) }
            }
            @if size == Size::Open { (who(step)) }
        }
    }
}

/// How a step is framed: by state, and by whether the crew may go on.
pub(crate) fn class(view: &View, step: &StepStatus) -> &'static str {
    match step.state {
        StepState::Done => "done",
        StepState::Open if view.is(CallWord::Proceed) => "open",
        StepState::Open | StepState::Conflict => "waiting",
        StepState::Locked => "later",
    }
}

/// The mark of its state: a tick, a cross; what is open or later has its frame.
pub(crate) fn mark(step: &StepStatus) -> Markup {
    match step.state {
        StepState::Done => icon("yes"),
        StepState::Conflict => icon("no"),
        StepState::Open | StepState::Locked => html! {},
    }
}

/// Lines between steps, as paths: soft ones lead to a step that is done.
fn lines(view: &View, cells: &[Cell]) -> Vec<(String, bool)> {
    let steps = &view.plan.steps;
    let number = |id: &StepId| steps.iter().position(|step| &step.id == id);
    let mut lines = Vec::new();
    for (to, (step, status)) in steps.iter().zip(&view.status.steps).enumerate() {
        let done = status.state == StepState::Done;
        for from in step.after.iter().filter_map(number) {
            let (Some(a), Some(b)) = (cells.get(from), cells.get(to)) else {
                continue;
            };
            let next = from + 1 == to && a.row == b.row;
            // What a step further on came after is of no use once it is done.
            if next {
                let y = a.y + a.height / 2;
                lines.push((format!("M{} {y}H{}", a.right(), b.x), done));
            } else if !done {
                lines.push((around(a, b, from), false));
            }
        }
    }
    lines
}

/// A line that leaves below one step and comes in above or below another. Lines of one step run together, those of two
/// neighbours side by side.
fn around(from: &Cell, to: &Cell, number: usize) -> String {
    let lane = if number.is_multiple_of(2) { 0 } else { 1 };
    let below = from.gutter + 5 + lane * 6;
    let start = format!("M{} {}V{below}", from.middle(), from.bottom());
    let into = to.middle() + 8 - lane * 16;
    if from.row == to.row {
        return format!("{start}H{into}V{}", to.bottom());
    }
    if to.row == from.row + 1 {
        return format!("{start}H{into}V{}", to.y);
    }
    let edge = 3 + lane * 6;
    let above = to.top.saturating_sub(5 + lane * 6);
    format!("{start}H{edge}V{above}H{into}V{}", to.y)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use gantline_protocol::plan::builtin;

    fn steps(plan: &gantline_protocol::plan::Plan, done: usize) -> Vec<StepStatus> {
        let steps = plan.steps.iter().enumerate();
        steps
            .map(|(at, step)| StepStatus {
                id: step.id.clone(),
                title: step.title.clone(),
                state: match at.cmp(&done) {
                    core::cmp::Ordering::Less => StepState::Done,
                    core::cmp::Ordering::Equal => StepState::Open,
                    core::cmp::Ordering::Greater => StepState::Locked,
                },
                hold_point: step.hold_point,
                critical: step.critical,
                checks: Vec::new(),
                loads_due: Vec::new(),
            })
            .collect()
    }

    #[test]
    fn every_plan_that_ships_fits_at_every_step_with_words_where_the_crew_is() {
        for ships in builtin() {
            let plan = ships.plan().unwrap();
            for done in 0..=plan.steps.len() {
                let steps = steps(&plan, done);
                for most in [HEIGHT_MAX, HEIGHT_IN_STOP_MAX] {
                    let sizes = sizes(&steps, most);
                    let (cells, height) = cells(&sizes);
                    assert!(height <= most, "{} at {done}: {height} px", ships.name);
                    assert_eq!(cells.len(), steps.len());
                    for (at, cell) in cells.iter().enumerate() {
                        assert!(cell.right() <= WIDTH, "{} step {at}", ships.name);
                    }
                    if let Some(here) = sizes.get(done) {
                        assert_eq!(*here, Size::Open);
                    }
                    if most == HEIGHT_MAX {
                        let words = sizes.iter().skip(done + 1).take(5);
                        let all = words.clone().all(|size| *size == Size::Words);
                        assert!(all, "{} at {done}: {sizes:?}", ships.name);
                    }
                }
            }
        }
    }

    #[test]
    fn no_two_steps_overlap() {
        let plan = builtin()[0].plan().unwrap();
        let (cells, _) = cells(&sizes(&steps(&plan, 11), HEIGHT_MAX));
        for (at, a) in cells.iter().enumerate() {
            for b in &cells[at + 1..] {
                let apart =
                    a.right() <= b.x || b.right() <= a.x || a.bottom() <= b.y || b.bottom() <= a.y;
                assert!(apart, "{a:?} {b:?}");
            }
        }
    }
}
