//! Text of the limit sheet, for a terminal.
//! Owns: nothing.   Gives: `text`.
//! May use: the sheet's values.   Never: a formula.

use super::Heading;
use gantline_protocol::limits::sheet::{Bound, CAUTIONS, Line, Sheet};
use std::fmt::Write;

/// Width of a utilisation bar, characters.
const BAR: usize = 20;

/// The sheet as text, 100 columns.
#[must_use]
pub fn text(sheet: &Sheet, heading: &Heading) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail; its errors are those of other writers.
    let _ = render(&mut out, sheet, heading);
    out
}

fn render(out: &mut String, sheet: &Sheet, heading: &Heading) -> std::fmt::Result {
    writeln!(out, "LIMIT SHEET  {}\n{}\n", heading.title, heading.place)?;
    for caution in CAUTIONS
        .iter()
        .copied()
        .chain(heading.cautions.iter().map(String::as_str))
    {
        writeln!(out, "! {caution}")?;
    }
    for line in &sheet.lines {
        one(out, line, heading)?;
    }
    for gap in &sheet.gaps {
        writeln!(out, "\nNOT COMPUTED: {}", gap.part)?;
        if !gap.missing.is_empty() {
            writeln!(out, "  add to the plan's data: {}", gap.missing.join(", "))?;
        }
        if let Some(why) = &gap.why {
            writeln!(out, "  {why}")?;
        }
    }
    if !heading.watched.is_empty() {
        writeln!(out, "\nWATCHED, AND HOW LONG A READING IS GOOD FOR")?;
        for watched in &heading.watched {
            writeln!(out, "  -        {}", wrapped(watched))?;
        }
    }
    if !sheet.never_used.is_empty() {
        writeln!(
            out,
            "\nNOT USED by any limit (check the spelling): {}",
            sheet.never_used.join(", ")
        )?;
    }
    Ok(())
}

fn one(out: &mut String, line: &Line, heading: &Heading) -> std::fmt::Result {
    let (value, unit) = line
        .in_units(heading.units)
        .unwrap_or((line.value, line.unit));
    let bound = match line.bound {
        Bound::Least => "at least",
        Bound::Most => "at most",
        Bound::Shown => "",
    };
    writeln!(
        out,
        "\n{}\n  {bound:<9}{value} {unit}    [{}]",
        line.title, line.name
    )?;
    if unit != line.unit {
        writeln!(out, "           {} {}", line.value, line.unit)?;
    }
    if let Some(used) = line.used {
        writeln!(out, "  {}", bar(used))?;
    }
    let inputs: Vec<String> = line
        .inputs
        .iter()
        .map(|input| format!("{} {}", input.name, input.value))
        .collect();
    writeln!(out, "  from:    {}", wrapped(&inputs.join(", ")))?;
    writeln!(out, "  source:  {}", wrapped(line.source))?;
    for caution in &line.cautions {
        writeln!(out, "  ! {}", wrapped(caution))?;
    }
    Ok(())
}

fn bar(used: f64) -> String {
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held between 0 and the bar's width"
    )]
    let full = (used.clamp(0.0, 1.0) * BAR as f64).round() as usize;
    let over = if used > 1.0 { "  OVER THE RATING" } else { "" };
    format!(
        "[{}{}] {:.0} % of its rating{over}",
        "#".repeat(full),
        ".".repeat(BAR - full),
        used * 100.0
    )
}

/// Breaks at spaces so that no line passes 100 columns behind its margin of 11.
fn wrapped(text: &str) -> String {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.last_mut().map_or(0, |line| line.chars().count());
        if last > 0 && last + 1 + word.chars().count() > 88 {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines.join("\n           ")
}
