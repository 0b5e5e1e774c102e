//! Compare: `gantline limits compare FILE.csv`, somebody else's table against ours.
//! Owns: nothing.   Gives: the arguments and the answer.
//! May use: protocol's compare, a CSV reader.   Never: a formula.

use super::super::{Answer, Exit, Problem, Settings};
use clap::Args;
use gantline_protocol::limits::compare::{Comparison, compare};
use serde_json::json;
use std::path::PathBuf;

/// Recompute a table of distances, loads, sags or forces and show the largest differences
///
/// The table is recognised by its header; a header that is not known lists the kinds that are. Exit code 1
/// when a difference is over the tolerance or a row cannot be recomputed.
#[derive(Debug, Args)]
#[command(after_help = super::CAUTION)]
pub(in crate::cli) struct Arguments {
    /// The table, with a header line
    file: PathBuf,
    /// Largest difference over the value that is still good
    #[arg(long, default_value_t = 1e-4)]
    tolerance: f64,
    /// Rows that cannot be recomputed are listed but do not fail it
    #[arg(long)]
    allow_left_out: bool,
}

pub(super) fn run(settings: &Settings, arguments: &Arguments) -> Result<Exit, Problem> {
    let path = || arguments.file.clone();
    let file = std::fs::File::open(&arguments.file).map_err(|source| Problem::File {
        path: path(),
        source,
    })?;
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(file);
    let bad = |source: csv::Error| Problem::Table {
        path: path(),
        source,
    };
    let header: Vec<String> = reader
        .headers()
        .map_err(bad)?
        .iter()
        .map(str::to_owned)
        .collect();
    let mut rows = Vec::new();
    for row in reader.records() {
        rows.push(
            row.map_err(bad)?
                .iter()
                .map(str::to_owned)
                .collect::<Vec<_>>(),
        );
    }
    let found = compare(&header, &rows).map_err(|source| Problem::Compare {
        path: path(),
        source,
    })?;
    let within = found.largest_relative() <= arguments.tolerance;
    let whole = found.left_out.is_empty() || arguments.allow_left_out;
    say(settings, &found, arguments.tolerance, within)?;
    Ok(if within && whole {
        Exit::Good
    } else {
        Exit::No
    })
}

fn say(
    settings: &Settings,
    found: &Comparison,
    tolerance: f64,
    within: bool,
) -> Result<(), Problem> {
    let mut answer = Answer::new();
    if settings.json {
        return answer.json(&json!({
            "kind": found.kind,
            "rows": found.rows,
            "within": within,
            "tolerance": tolerance,
            "columns": found.columns.iter().map(|column| json!({
                "name": column.name, "cells": column.cells, "largest": column.largest,
                "largest_relative": column.largest_relative, "row": column.row,
            })).collect::<Vec<_>>(),
            "left_out": found.left_out.iter().map(|left| json!({"row": left.row, "why": left.why})).collect::<Vec<_>>(),
        }));
    }
    answer.line(format_args!("{}: {} rows compared", found.kind, found.rows))?;
    for column in &found.columns {
        let over = if column.largest_relative > tolerance {
            "   OVER"
        } else {
            ""
        };
        answer.line(format_args!(
            "  {:<34} {:>5} cells  largest difference {:.6}  relative {:.2e} in row {}{over}",
            column.name, column.cells, column.largest, column.largest_relative, column.row
        ))?;
    }
    for left in &found.left_out {
        answer.line(format_args!("  row {} left out: {}", left.row, left.why))?;
    }
    Ok(())
}
