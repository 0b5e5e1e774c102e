//! Sheet: all the limits that a plan's inputs give, each with its inputs, source, use and cautions.
//! Owns: nothing.   Gives: `sheet(inputs)`; lines by name, what is missing, what was not understood.
//! May use: inputs and every formula of limits.   Never: pages or text layout (node), the log.
//!
//! In reading order: this file, then a file for each part.
//!
//! The sheet has parts: approach, conductor, poles, rig, rope, wind. A part of which the plan gives nothing
//! is not on the sheet; a part of which it gives something asks for the rest by name and guesses nothing.

mod approach;
mod conductor;
mod poles;
mod rig;
mod rope;
#[cfg(test)]
mod tests;
mod wind;

use crate::decimal::Decimal;
use crate::limits::boom::{self, Rig};
use crate::limits::error::LimitError;
use crate::limits::inputs::{Inputs, Shown};
use crate::limits::known::{KNOWN, needed};
use crate::limits::units::{
    Force, Length, METRES_PER_FOOT, NEWTONS_PER_POUND, round_down, round_up,
};
use crate::plan::Units;
use approach::approach_part;
use conductor::conductor_part;
use poles::poles_part;
use rig::rig_part;
use rope::rope_part;
use serde::{Serialize, Serializer};
use wind::wind_part;

/// What stands on every sheet, page and help text of the limits.
pub const CAUTIONS: &[&str] = &[
    "Planning aid. Local codes, the utility's rules and licensed engineers decide.",
    "Every value rests on the inputs beside it, as the plan's author gave them; check them against the site.",
    "Outside the range of its source a formula gives no number.",
];

/// How a value bounds the work.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// The work needs at least this much; rounded up.
    Least,
    /// The work allows at most this much; rounded down.
    Most,
    /// For information; rounded up where more is worse.
    Shown,
}

/// One value of the sheet.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Line {
    /// Its name; a plan's limit refers to it by this.
    pub name: &'static str,
    /// What it is, in words.
    pub title: &'static str,
    /// The value.
    pub value: Decimal,
    /// Its unit.
    pub unit: &'static str,
    /// How it bounds the work.
    pub bound: Bound,
    /// Part of a rating that is used, 1 = all of it.
    pub used: Option<f64>,
    /// The inputs that it rests on.
    pub inputs: Vec<Shown>,
    /// Standard and section, or 'common practice'.
    pub source: &'static str,
    /// What to mind.
    pub cautions: Vec<&'static str>,
}

impl Line {
    /// The value in the units of a job, rounded the way that its bound asks for.
    ///
    /// # Errors
    /// [`LimitError::NotANumber`] for a value too large to keep.
    pub fn in_units(&self, units: Units) -> Result<(Decimal, &'static str), LimitError> {
        let (factor, unit, places) = match (units, self.unit) {
            (Units::Us, "m") => (1.0 / METRES_PER_FOOT, "ft", 2),
            (Units::Us, "kN") => (1000.0 / NEWTONS_PER_POUND, "lbf", 0),
            (Units::Us, "km/h") => (1000.0 / (METRES_PER_FOOT * 5280.0), "mph", 0),
            _ => return Ok((self.value, self.unit)),
        };
        let value = self.value.to_f64() * factor;
        let rounded = match self.bound {
            Bound::Most => round_down(self.name, value, places)?,
            Bound::Least | Bound::Shown => round_up(self.name, value, places)?,
        };
        Ok((rounded, unit))
    }
}

/// A part of the sheet that could not be computed.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Gapped {
    /// The part.
    pub part: &'static str,
    /// Inputs to add to the plan, by name.
    pub missing: Vec<String>,
    /// Why else there is no number; in words where it is written down.
    #[serde(serialize_with = "in_words")]
    pub why: Option<LimitError>,
}

fn in_words<S: Serializer>(why: &Option<LimitError>, out: S) -> Result<S::Ok, S::Error> {
    why.as_ref().map(ToString::to_string).serialize(out)
}

/// Geometry for drawings, in metres and newtons; each part is there if its inputs are.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Drawings {
    /// Approach distance.
    pub approach: Option<Length>,
    /// String length.
    pub string: Option<Length>,
    /// Whether the string is a dead-end, which lies along the line instead of hanging.
    pub dead_end: bool,
    /// The rig and its forces.
    pub rig: Option<(Rig, boom::Forces)>,
    /// Both spans with their sag: length, rise of this support over the neighbour, sag.
    pub spans: Vec<(Length, Length, Length)>,
}

/// All limits of a plan.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Sheet {
    /// Values, in the order of the parts.
    pub lines: Vec<Line>,
    /// Parts without values.
    pub gaps: Vec<Gapped>,
    /// Inputs that nothing used; a misspelt name, most likely.
    pub never_used: Vec<String>,
    /// What the drawings need.
    pub drawings: Drawings,
}

impl Sheet {
    /// The value with this name.
    #[must_use]
    pub fn line(&self, name: &str) -> Option<&Line> {
        self.lines.iter().find(|line| line.name == name)
    }
}

/// Names of every value that a sheet can have, for plans that refer to them and for help texts.
pub const NAMES: &[(&str, &str)] = &[
    ("approach_phase_to_ground", "m, least"),
    ("approach_phase_to_phase", "m, least"),
    ("working_clearance", "m, least"),
    ("tool_clear_length", "m, least"),
    ("conductor_tension", "kN, shown"),
    ("sag_back", "m, shown"),
    ("sag_ahead", "m, shown"),
    ("wind_span", "m, shown"),
    ("weight_span", "m, shown"),
    ("vertical_load", "kN, shown"),
    ("transverse_load", "kN, shown"),
    ("longitudinal_load", "kN, shown"),
    ("string_load", "kN, shown"),
    ("swing", "deg, shown"),
    ("pole_force", "kN, shown"),
    ("pole_force_alone", "kN, shown"),
    ("take_up_turns", "turns, shown"),
    ("mast_force", "kN, shown"),
    ("boom_force", "kN, shown"),
    ("link_force", "kN, shown"),
    ("brace_force", "kN, shown"),
    ("side_force", "kN, shown"),
    ("boom_angle_least", "deg, least"),
    ("boom_angle_most", "deg, most"),
    ("rope_pull", "kN, shown"),
    ("rope_working_load", "kN, most"),
    ("wind_at_pole_rating", "km/h, most"),
    ("wind_at_clearance", "km/h, most"),
];

/// One computation: its inputs are forgotten at the start and listed at each line.
struct Work<'a> {
    inputs: &'a Inputs,
    sheet: Sheet,
}

impl Work<'_> {
    #[allow(clippy::too_many_arguments, reason = "one line of the sheet")]
    fn put(
        &mut self,
        name: &'static str,
        title: &'static str,
        value: Decimal,
        unit: &'static str,
        bound: Bound,
        used: Option<f64>,
        source: &'static str,
        cautions: Vec<&'static str>,
    ) {
        let inputs = self.inputs.used();
        self.sheet.lines.push(Line {
            name,
            title,
            value,
            unit,
            bound,
            used,
            inputs,
            source,
            cautions,
        });
    }

    fn force(
        &mut self,
        name: &'static str,
        title: &'static str,
        force: Force,
        used: Option<f64>,
        source: &'static str,
    ) -> Result<(), LimitError> {
        self.put(
            name,
            title,
            round_up(name, force.to_kilonewtons(), 2)?,
            "kN",
            Bound::Shown,
            used,
            source,
            vec![],
        );
        Ok(())
    }

    /// Runs one part: asks for what is missing, or computes, or says why not.
    fn part<T>(
        &mut self,
        part: &'static str,
        triggers: &[&str],
        compute: impl FnOnce(&mut Self) -> Result<T, LimitError>,
    ) -> Option<T> {
        if !self.inputs.any(triggers) {
            return None;
        }
        let missing = self.inputs.missing(&needed(part));
        if !missing.is_empty() {
            self.sheet.gaps.push(Gapped {
                part,
                missing,
                why: None,
            });
            return None;
        }
        self.inputs.start();
        match compute(self) {
            Ok(value) => Some(value),
            Err(LimitError::NotGiven { what }) => {
                self.sheet.gaps.push(Gapped {
                    part,
                    missing: vec![what],
                    why: None,
                });
                None
            }
            Err(error) => {
                self.sheet.gaps.push(Gapped {
                    part,
                    missing,
                    why: Some(error),
                });
                None
            }
        }
    }
}

/// Every limit that the inputs give.
///
/// Inputs are listed by part in [`KNOWN`].
#[must_use]
pub fn sheet(inputs: &Inputs) -> Sheet {
    let mut work = Work {
        inputs,
        sheet: Sheet::default(),
    };
    // What the plan's line always gives does not by itself ask for a part.
    let approach = work.part("approach", &["voltage"], approach_part);
    let hung = work.part("conductor", &needed("conductor"), conductor_part);
    work.part("poles", &["pole_rating"], |work| {
        poles_part(work, hung.as_ref())
    });
    work.part("rig", &needed("rig"), |work| {
        rig_part(work, approach.as_ref())
    });
    work.part("rope", &needed("rope"), rope_part);
    work.part("wind", &["gap_at_rest"], |work| {
        wind_part(work, approach.as_ref(), hung.as_ref())
    });
    let mut sheet = work.sheet;
    let known = KNOWN.iter().map(|known| known.name.to_owned()).collect();
    sheet.never_used = inputs.never_used(&known);
    sheet
}

/// What another part of the sheet found, or the words that it found nothing.
fn need<'a, T>(value: Option<&'a T>, what: &str) -> Result<&'a T, LimitError> {
    value.ok_or_else(|| LimitError::NotGiven {
        what: format!("{what} (its part of the sheet has no values)"),
    })
}
