//! Sheet: all the limits that a plan's inputs give, each with its inputs, source, use and cautions.
//! Owns: nothing.   Gives: `sheet(inputs)`; lines by name, what is missing, what was not understood.
//! May use: inputs and every formula of limits.   Never: pages or text layout (node), the log.
//!
//! The sheet has parts: approach, conductor, poles, rig, rope, wind. A part of which the plan gives nothing
//! is not on the sheet; a part of which it gives something asks for the rest by name and guesses nothing.

use crate::decimal::Decimal;
use crate::limits::approach::{
    AltitudeRule, Approach, Exposure, Gap, Surge, minimum_approach, table_top, working_clearance,
};
use crate::limits::boom::{self, AngleCheck, Ratings, Rig, Surroundings, boom_angles, forces};
use crate::limits::catalogue::{Conductor, conductor};
use crate::limits::error::LimitError;
use crate::limits::inputs::{Inputs, Shown};
use crate::limits::insulation::clear_length_least;
use crate::limits::known::{KNOWN, needed};
use crate::limits::loads::{
    Attachment, AttachmentLoad, Span, attachment_load, dead_end_load, unit_load,
};
use crate::limits::sag::{LINEAR_GOOD_TO, Linear, State, hanging, ruling_span};
use crate::limits::tackle::{Fibre, Sheave, Tackle, rope_strength, tackle, working_load};
use crate::limits::transfer::{
    Pole, Site, line_stiffness, pole_stiffness, relieve, vertical_sticks,
};
use crate::limits::units::{
    Angle, Area, Force, ForcePerLength, Length, METRES_PER_FOOT, NEWTONS_PER_POUND, Speed,
    TemperatureRise, round_down, round_near, round_up,
};
use crate::limits::wind::{self, Reached};
use crate::plan::Units;
use serde::Serialize;

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
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Gapped {
    /// The part.
    pub part: &'static str,
    /// Inputs to add to the plan, by name.
    pub missing: Vec<String>,
    /// Why else there is no number.
    pub why: Option<String>,
}

/// Geometry for drawings, in metres and newtons; each part is there if its inputs are.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Drawings {
    /// Approach distance.
    pub approach: Option<Length>,
    /// String length.
    pub string: Option<Length>,
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
                    why: Some(error.to_string()),
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

fn approach_part(work: &mut Work) -> Result<Approach, LimitError> {
    let inputs = work.inputs;
    let nominal = inputs.voltage("voltage")?;
    let altitude = inputs.length("altitude")?;
    let surge = inputs
        .maybe_plain("surge")?
        .map_or(Surge::Assumed, Surge::Known);
    let rule = match (
        inputs.maybe_word("altitude_rule"),
        altitude > Length::metres(900.0),
    ) {
        (Some("equation"), _) | (None, false) => AltitudeRule::Equation,
        (Some("table"), _) => AltitudeRule::TableFootnote,
        (None, true) => {
            return Err(LimitError::NotGiven {
                what: "altitude_rule (equation or table)".to_owned(),
            });
        }
        (Some(other), _) => {
            return Err(LimitError::Unknown {
                what: "altitude_rule",
                found: other.to_owned(),
                expected: "equation, table".to_owned(),
            });
        }
    };
    // Judged at the top of the table's range: the nominal voltage is not the highest that the line has.
    let voltage = table_top(nominal)?;
    let tool = if inputs.maybe_word("gap") == Some("air-only") {
        Gap::AirOnly
    } else {
        Gap::ToolOrObject
    };
    let ground = minimum_approach(
        voltage,
        Exposure::PhaseToGround,
        tool,
        surge,
        altitude,
        rule,
    )?;
    let mut cautions = vec!["An employer's own greater distance governs."];
    if ground.surge_assumed {
        cautions.push("Overvoltage assumed from Table R-9; reclosing blocked lowers it only if an analysis says so.");
    } else {
        cautions.push(
            "The conditions that the overvoltage analysis assumed must be there during the work.",
        );
    }
    work.put(
        "approach_phase_to_ground",
        "Minimum approach distance, phase to ground",
        ground.distance,
        "m",
        Bound::Least,
        None,
        ground.source,
        cautions.clone(),
    );
    let phase = minimum_approach(voltage, Exposure::PhaseToPhase, tool, surge, altitude, rule)?;
    work.put(
        "approach_phase_to_phase",
        "Minimum approach distance, phase to phase",
        phase.distance,
        "m",
        Bound::Least,
        None,
        phase.source,
        cautions,
    );
    if let (Some(reach), Some(swing)) = (
        inputs.maybe_length("reach_allowance")?,
        inputs.maybe_length("swing_allowance")?,
    ) {
        let clearance = working_clearance(&ground, reach, swing, None)?;
        work.put(
            "working_clearance",
            "Clearance to measure: approach distance, reach and swing",
            clearance.least,
            "m",
            Bound::Least,
            None,
            "29 CFR 1910.269 Appendix B III.D; allowances are the employer's",
            vec![],
        );
    }
    let string = inputs.maybe_length("string_length")?;
    work.put(
        "tool_clear_length",
        "Clear insulating length of tools in the gap",
        clear_length_least(&ground, string)?,
        "m",
        Bound::Least,
        None,
        "29 CFR 1910.269 Table R-7 footnote 3",
        vec!["Wiped and inspected each day; electrical test at most 24 months ago (29 CFR 1910.269(j)(2))."],
    );
    work.sheet.drawings.approach = Some(ground.exact);
    work.sheet.drawings.string = string;
    Ok(ground)
}

/// What the conductor part found, for the parts that rest on it.
struct Hung {
    conductor: &'static Conductor,
    attachment: Attachment,
    load: AttachmentLoad,
    tension: Force,
    ice: Length,
    string_wind_area: Area,
    mean_span: Length,
}

const SAG_SOURCE: &str =
    "catenary and linear state change, final state; power engineering handbook, sag and tension";
const LOAD_SOURCE: &str =
    "catenary low points; swing as USDA RUS Bulletin 1724E-200 chapter 7 (from memory)";

fn conductor_part(work: &mut Work) -> Result<Hung, LimitError> {
    let inputs = work.inputs;
    let one = conductor(inputs.maybe_word("conductor").unwrap_or_default())?;
    let dead_end = inputs.maybe_word("string") == Some("dead-end");
    let ahead = inputs.length("span_ahead")?;
    // At a dead-end the span behind hangs on a string of its own.
    let back = if dead_end {
        ahead
    } else {
        inputs.length("span_back")?
    };
    let ruling = match inputs.maybe_length("ruling_span")? {
        Some(ruling) => ruling,
        None => ruling_span(&[back, ahead])?,
    };
    let (cold, now) = (
        inputs.temperature("tension_temperature")?,
        inputs.temperature("conductor_temperature")?,
    );
    let stated = State {
        horizontal: inputs.force("tension")?,
        load: one.weight,
        temperature: cold,
    };
    let ice = inputs.length("ice")?;
    let speed = inputs.speed("wind_limit")?;
    let loads = unit_load(
        one.diameter,
        one.weight,
        ice,
        wind::pressure(speed)?,
        ForcePerLength::ZERO,
    )?;
    let linear = Linear {
        stiffness: one.stiffness(),
        expansion: one.expansion,
    };
    let state = linear.change(ruling, stated, loads.vertical, now)?;
    let mut cautions = Vec::new();
    if now.above(LINEAR_GOOD_TO) > TemperatureRise::ZERO {
        cautions.push("Above 50 °C the linear model says too much sag, by some percent.");
    }
    if !inputs.any(&["ruling_span"]) {
        cautions.push("Ruling span taken from the spans at the structure only.");
    }
    work.put(
        "conductor_tension",
        "Horizontal tension of each conductor today",
        round_up("tension", state.horizontal.to_kilonewtons(), 2)?,
        "kN",
        Bound::Shown,
        Some(state.horizontal.ratio(one.rated_strength)),
        SAG_SOURCE,
        cautions.clone(),
    );
    let rise_ahead = inputs.length("rise_ahead")?;
    let rise_back = if dead_end {
        rise_ahead
    } else {
        inputs.length("rise_back")?
    };
    let behind = ("sag_back", "Sag of the span behind", back, rise_back);
    let before = ("sag_ahead", "Sag of the span ahead", ahead, rise_ahead);
    let hanging_here = if dead_end {
        vec![before]
    } else {
        vec![behind, before]
    };
    for (name, title, span, rise) in hanging_here {
        let sag = hanging(span, loads.vertical, state.horizontal)?.sag;
        work.put(
            name,
            title,
            round_up(name, sag.to_metres(), 2)?,
            "m",
            Bound::Shown,
            None,
            SAG_SOURCE,
            vec![],
        );
        work.sheet.drawings.spans.push((span, rise, sag));
    }
    let string_wind_area = inputs.area("string_wind_area")?;
    let conductors = u8::try_from(inputs.count("bundle")?)
        .map_err(|_| LimitError::NotANumber { what: "bundle" })?;
    let at = |length, rise| Span {
        length,
        rise,
        tension: state.horizontal,
    };
    let attachment = Attachment {
        back: at(back, rise_back),
        ahead: at(ahead, rise_ahead),
        line_angle: if dead_end {
            Angle::ZERO
        } else {
            inputs.angle("line_angle")?
        },
        vertical: loads.vertical,
        transverse: loads.transverse,
        conductors,
        string_weight: inputs.force("string_weight")?,
        string_wind: wind::force(speed, STRING_DRAG, string_wind_area)?,
    };
    let load = if dead_end {
        dead_end_load(&attachment)?
    } else {
        attachment_load(&attachment)?
    };
    hung_lines(work, &load)?;
    let mean_span = (back + ahead) / 2.0;
    Ok(Hung {
        conductor: one,
        attachment,
        load,
        tension: state.horizontal,
        ice,
        string_wind_area,
        mean_span,
    })
}

/// Drag coefficient of a string of discs (IEC 60826, from memory).
const STRING_DRAG: f64 = 1.2;

fn hung_lines(work: &mut Work, load: &AttachmentLoad) -> Result<(), LimitError> {
    let uplift = if load.uplift {
        vec!["Uplift: the conductor pulls up here; it must be held down, not carried."]
    } else {
        vec![]
    };
    work.put(
        "wind_span",
        "Wind span",
        round_up("wind span", load.wind_span.to_metres(), 1)?,
        "m",
        Bound::Shown,
        None,
        LOAD_SOURCE,
        vec![],
    );
    work.put(
        "weight_span",
        "Weight span",
        round_up("weight span", load.weight_span.to_metres(), 1)?,
        "m",
        Bound::Shown,
        None,
        LOAD_SOURCE,
        uplift,
    );
    work.force(
        "vertical_load",
        "Vertical load at the structure",
        load.vertical,
        None,
        LOAD_SOURCE,
    )?;
    work.force(
        "transverse_load",
        "Load across the line, wind and angle",
        load.transverse.abs(),
        None,
        LOAD_SOURCE,
    )?;
    work.force(
        "longitudinal_load",
        "Load along the line",
        load.longitudinal.abs(),
        None,
        LOAD_SOURCE,
    )?;
    work.force(
        "string_load",
        "Load at the structure end of the string",
        load.resultant,
        None,
        LOAD_SOURCE,
    )?;
    work.put(
        "swing",
        "Swing of the string at the wind limit",
        round_up("swing", load.swing.abs().to_degrees(), 1)?,
        "deg",
        Bound::Shown,
        None,
        LOAD_SOURCE,
        vec![],
    );
    Ok(())
}

fn need<'a, T>(value: Option<&'a T>, what: &str) -> Result<&'a T, LimitError> {
    value.ok_or_else(|| LimitError::NotGiven {
        what: format!("{what} (its part of the sheet has no values)"),
    })
}

const POLE_SOURCE: &str = "equilibrium of poles, string and line; common practice";

fn poles_part(work: &mut Work, hung: Option<&Hung>) -> Result<(), LimitError> {
    let inputs = work.inputs;
    let hung = need(hung, "conductor")?;
    let rating = inputs.force("pole_rating")?.positive("pole_rating")?;
    let (most, alone) = match inputs.maybe_word("string") {
        Some("dead-end") => dead_end_poles(work, hung)?,
        _ => {
            let arms = [
                inputs.length("yoke_arm_first")?,
                inputs.length("yoke_arm_second")?,
            ];
            let lean = |name: &str| {
                if inputs.any(&[name]) {
                    inputs.angle(name)
                } else {
                    Ok(Angle::ZERO)
                }
            };
            let held = vertical_sticks(
                hung.load.resultant,
                lean("pole_angle_first")?,
                lean("pole_angle_second")?,
                arms,
            )?;
            (held[0].max(held[1]), hung.load.resultant)
        }
    };
    let mut cautions =
        vec!["Rating as the plan gives it; worn or doubtful poles are out of service."];
    if alone > rating {
        cautions.push("One pole alone would be over its rating: nothing may let the other go.");
    }
    work.put(
        "pole_force",
        "Force in the more loaded pole",
        round_up("pole force", most.to_kilonewtons(), 2)?,
        "kN",
        Bound::Shown,
        Some(most.ratio(rating)),
        POLE_SOURCE,
        cautions,
    );
    work.force(
        "pole_force_alone",
        "Force if one pole takes all",
        alone,
        Some(alone.ratio(rating)),
        POLE_SOURCE,
    )
}

fn dead_end_poles(work: &mut Work, hung: &Hung) -> Result<(Force, Force), LimitError> {
    let inputs = work.inputs;
    let stiffness = pole_stiffness(
        inputs.length("pole_length")?,
        inputs.area("pole_area")?,
        inputs.modulus("pole_modulus")?,
        inputs.stiffness("hardware_stiffness")?,
    )?;
    let pole = |gap: &str| -> Result<Pole, LimitError> {
        Ok(Pole {
            stiffness,
            gap: inputs.length(gap)?,
            pitch: inputs.length("screw_pitch")?,
        })
    };
    let conductors = f64::from(hung.attachment.conductors);
    let line = line_stiffness(
        hung.mean_span,
        hung.tension,
        hung.attachment.vertical,
        hung.conductor.stiffness(),
    )?;
    let site = Site {
        tension: hung.tension * conductors,
        line: line * conductors,
        string: inputs.stiffness("string_stiffness")?,
    };
    let relief = relieve(
        &site,
        &[pole("pole_gap_first")?, pole("pole_gap_second")?],
        inputs.length("pin_clearance")?,
    )?;
    let turns = relief.turns[0].max(relief.turns[1]);
    work.put(
        "take_up_turns",
        "Turns of each screw until the pin is free",
        round_up("turns", turns, 1)?,
        "turns",
        Bound::Shown,
        None,
        POLE_SOURCE,
        vec!["Stiffness of one dead-end span; more spans are softer and take more turns."],
    );
    Ok((
        relief.shared.poles[0].max(relief.shared.poles[1]),
        relief.one_alone,
    ))
}

const RIG_SOURCE: &str = "equilibrium of hinged members in three dimensions; common practice";

fn rig_part(work: &mut Work, approach: Option<&Approach>) -> Result<(), LimitError> {
    let inputs = work.inputs;
    let mut braces = Vec::new();
    for name in ["brace_1", "brace_2", "brace_3"] {
        braces.extend(inputs.maybe_point(name)?);
    }
    let three = braces.len() == 3;
    let stiffness = |name: &str| {
        if three {
            inputs.force(name)
        } else {
            Ok(Force::ZERO)
        }
    };
    let load = inputs.force("rig_load")?;
    let lead = inputs.maybe_point("lead")?;
    let tail = match lead {
        Some(_) => hauling(inputs, load, "rig_parts", "rig_sheaves")?.raising,
        None => Force::ZERO,
    };
    let rig = Rig {
        mast: inputs.length("mast_length")?,
        boom: inputs.length("boom_length")?,
        boom_angle: inputs.angle("boom_angle")?,
        boom_azimuth: inputs.angle("boom_azimuth")?,
        lean: inputs.angle("mast_lean")?,
        lean_azimuth: inputs.angle("mast_lean_azimuth")?,
        load,
        boom_weight: inputs.force("boom_weight")?,
        mast_weight: inputs.force("mast_weight")?,
        link_weight: inputs.force("link_weight")?,
        tail,
        lead: lead.unwrap_or_default(),
        guy: inputs.maybe_point("guy")?,
        braces,
        brace_stiffness: stiffness("brace_ea")?,
        mast_stiffness: stiffness("mast_ea")?,
        rope_braces: inputs.maybe_word("braces") == Some("rope"),
    };
    let guyed = rig.guy.is_some();
    let ratings = Ratings {
        mast: inputs.force("mast_rating")?,
        boom: inputs.force("boom_rating")?,
        link: inputs.force("link_rating")?,
        brace: inputs.force("brace_rating")?,
        guy: if guyed {
            inputs.force("guy_rating")?
        } else {
            Force::ZERO
        },
    };
    let found = forces(&rig)?;
    let used = boom::utilisation(&found, &ratings)?;
    work.force(
        "mast_force",
        "Compression at the mast's base",
        found.mast_base,
        Some(used.mast),
        RIG_SOURCE,
    )?;
    work.force(
        "boom_force",
        "Compression at the boom's heel",
        found.boom_heel,
        Some(used.boom),
        RIG_SOURCE,
    )?;
    work.force(
        "link_force",
        "Tension of the link",
        found.link,
        Some(used.link),
        RIG_SOURCE,
    )?;
    let brace = found
        .braces
        .iter()
        .fold(Force::ZERO, |most, one| most.max(one.abs()));
    work.force(
        "brace_force",
        "Force in the most loaded brace",
        brace,
        Some(used.brace),
        RIG_SOURCE,
    )?;
    let side = found.side.abs();
    let cautions = if !guyed && side > boom::SIDE_FORCE_MOST {
        vec!["The boom would swing: rig a side guy."]
    } else {
        vec![]
    };
    work.put(
        "side_force",
        "Side force at the boom's tip",
        round_up("side force", side.to_kilonewtons(), 2)?,
        "kN",
        Bound::Shown,
        guyed.then_some(used.guy),
        RIG_SOURCE,
        cautions,
    );
    angle_lines(work, &rig, &ratings, approach)?;
    work.sheet.drawings.rig = Some((rig, found));
    Ok(())
}

fn angle_lines(
    work: &mut Work,
    rig: &Rig,
    ratings: &Ratings,
    approach: Option<&Approach>,
) -> Result<(), LimitError> {
    let inputs = work.inputs;
    let around = match inputs.maybe_point("energised")? {
        None => None,
        Some(energised) => Some(Surroundings {
            energised,
            approach: need(approach, "approach")?.exact,
            hanging: inputs.length("load_hanging")?,
        }),
    };
    let all = boom_angles(
        rig,
        ratings,
        around.as_ref(),
        Angle::degrees(1.0),
        Angle::degrees(150.0),
    )?;
    // The range around the planned angle; another allowed range elsewhere is not one that the boom gets to.
    let planned = rig.boom_angle.to_degrees();
    let near =
        |check: &AngleCheck| (check.angle.to_degrees() - planned).abs() <= 1.0 && check.allowed;
    let Some(start) = all.iter().position(near) else {
        return Err(LimitError::NoEquilibrium {
            what: "boom_angle",
            why: "ratings or distances do not allow the planned angle",
        });
    };
    let least = all[..=start]
        .iter()
        .rev()
        .take_while(|check| check.allowed)
        .last();
    let most = all[start..].iter().take_while(|check| check.allowed).last();
    for (name, title, check, bound) in [
        (
            "boom_angle_least",
            "Steepest boom, from the vertical",
            least,
            Bound::Least,
        ),
        (
            "boom_angle_most",
            "Flattest boom, from the vertical",
            most,
            Bound::Most,
        ),
    ] {
        if let Some(check) = check {
            let value = round_near(name, check.angle.to_degrees(), 0)?;
            work.put(
                name,
                title,
                value,
                "deg",
                bound,
                check.used,
                RIG_SOURCE,
                vec!["Judged in whole degrees, ratings and distances together."],
            );
        }
    }
    Ok(())
}

fn hauling(
    inputs: &Inputs,
    load: Force,
    parts: &'static str,
    sheaves: &'static str,
) -> Result<Tackle, LimitError> {
    let sheave = match inputs.maybe_word("sheave") {
        None | Some("fibre") => Sheave::FibreRope,
        Some("roller") => Sheave::Roller,
        Some("plain") => Sheave::Plain,
        Some(other) => {
            return Err(LimitError::Unknown {
                what: "sheave",
                found: other.to_owned(),
                expected: "fibre, roller, plain".to_owned(),
            });
        }
    };
    tackle(load, inputs.count(parts)?, inputs.count(sheaves)?, sheave)
}

const ROPE_SOURCE: &str = "12 % a sheave for fibre rope (Workshop Receipts, 5th series); rope rule of the US Navy builder manual or the maker's strength";

fn rope_part(work: &mut Work) -> Result<(), LimitError> {
    let inputs = work.inputs;
    let pulls = hauling(
        inputs,
        inputs.force("rope_load")?,
        "rope_parts",
        "rope_sheaves",
    )?;
    let breaking = match inputs.maybe_force("rope_breaking")? {
        Some(breaking) => breaking,
        None => {
            let fibre = match inputs.maybe_word("rope_fibre") {
                Some("manila") => Fibre::Manila,
                Some("nylon") => Fibre::Nylon,
                Some("polyester") => Fibre::Polyester,
                Some("polypropylene") => Fibre::Polypropylene,
                None => {
                    return Err(LimitError::NotGiven {
                        what: "rope_breaking, or rope_fibre and rope_diameter".to_owned(),
                    });
                }
                Some(other) => {
                    return Err(LimitError::Unknown {
                        what: "rope_fibre",
                        found: other.to_owned(),
                        expected: "manila, nylon, polyester, polypropylene".to_owned(),
                    });
                }
            };
            rope_strength(fibre, inputs.length("rope_diameter")?)?
        }
    };
    let plain = |name: &str| {
        inputs
            .maybe_plain(name)?
            .ok_or_else(|| LimitError::NotGiven {
                what: name.to_owned(),
            })
    };
    let allowed = working_load(
        breaking,
        plain("rope_left_by_knots")?,
        plain("rope_factor")?,
    )?;
    work.force(
        "rope_pull",
        "Pull in the hauling part while raising",
        pulls.raising,
        Some(pulls.raising.ratio(allowed)),
        ROPE_SOURCE,
    )?;
    work.put(
        "rope_working_load",
        "Working load of the rope",
        round_down("rope working load", allowed.to_kilonewtons(), 2)?,
        "kN",
        Bound::Most,
        None,
        ROPE_SOURCE,
        vec!["A maker's strength for the rope at hand goes before the rule of thumb."],
    );
    Ok(())
}

const WIND_SOURCE: &str =
    "q = 0.613 V² (GO 95 and NESC practice for conductors, Cd 1.0); solved for the speed";

fn wind_part(
    work: &mut Work,
    approach: Option<&Approach>,
    hung: Option<&Hung>,
) -> Result<(), LimitError> {
    let inputs = work.inputs;
    let (approach, hung) = (need(approach, "approach")?.exact, need(hung, "conductor")?);
    let (gap, string) = (
        inputs.length("gap_at_rest")?,
        inputs.length("string_length")?,
    );
    let blown = |speed: Speed| -> Result<AttachmentLoad, LimitError> {
        let loads = unit_load(
            hung.conductor.diameter,
            hung.conductor.weight,
            hung.ice,
            wind::pressure(speed)?,
            ForcePerLength::ZERO,
        )?;
        let string_wind = wind::force(speed, STRING_DRAG, hung.string_wind_area)?;
        attachment_load(&Attachment {
            transverse: loads.transverse,
            string_wind,
            ..hung.attachment
        })
    };
    let clearance = wind::speed_at(|speed| {
        let left = gap - string * blown(speed)?.swing.abs().sin();
        Ok(if left > Length::ZERO {
            approach.ratio(left)
        } else {
            f64::INFINITY
        })
    })?;
    reached(
        work,
        "wind_at_clearance",
        "Wind at which the string swings into the approach distance",
        clearance,
    )?;
    if let Some(rating) = inputs.maybe_force("pole_rating")? {
        let rating = rating.positive("pole_rating")?;
        // One pole that takes all is the case to be ready for.
        let at = wind::speed_at(|speed| Ok(blown(speed)?.resultant.ratio(rating)))?;
        reached(
            work,
            "wind_at_pole_rating",
            "Wind at which one pole alone is at its rating",
            at,
        )?;
    }
    Ok(())
}

fn reached(
    work: &mut Work,
    name: &'static str,
    title: &'static str,
    reached: Reached,
) -> Result<(), LimitError> {
    let (speed, caution) = match reached {
        Reached::At(speed) => (
            speed,
            "Gusts count, not the mean; the employer's own wind limit goes before this.",
        ),
        Reached::InStillAir => (Speed::ZERO, "Reached without any wind: do not start."),
        Reached::NotReached => (
            wind::SPEED_MOST,
            "Not reached up to this speed; the employer's own wind limit governs.",
        ),
    };
    work.put(
        name,
        title,
        round_down(name, speed.to_kilometres_per_hour(), 0)?,
        "km/h",
        Bound::Most,
        None,
        WIND_SOURCE,
        vec![caution],
    );
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    /// An invented 230 kV suspension job.
    fn inputs() -> Inputs {
        let mut inputs = Inputs::default();
        let numbers = "voltage 230 kV;altitude 250 m;reach_allowance 0.6 m;swing_allowance 0.2 m;string_length 2.3 m;\
            bundle 1;span_back 310 m;span_ahead 290 m;rise_back 4 m;rise_ahead -2 m;line_angle 0 deg;tension 22 kN;\
            tension_temperature 15 °C;conductor_temperature 30 °C;ice 0 mm;wind_limit 35 km/h;string_weight 0.7 kN;\
            string_wind_area 0.37 m2;pole_rating 22.2 kN;yoke_arm_first 0.25 m;yoke_arm_second 0.25 m;\
            mast_length 3 m;boom_length 3 m;boom_angle 60 deg;boom_azimuth 0 deg;mast_lean 0 deg;\
            mast_lean_azimuth 0 deg;rig_load 1.4 kN;mast_weight 150 N;boom_weight 115 N;link_weight 60 N;\
            brace_1_x -2 m;brace_1_y 1.5 m;brace_1_z 0 m;brace_2_x -2 m;brace_2_y -1.5 m;brace_2_z 0 m;\
            mast_rating 8 kN;boom_rating 5 kN;link_rating 5 kN;brace_rating 4 kN;\
            rope_load 1.4 kN;rope_parts 2;rope_sheaves 3;rope_factor 10;rope_left_by_knots 0.5;rope_diameter 16 mm;\
            gap_at_rest 3.2 m";
        for part in numbers.split(';') {
            let mut words = part.split_whitespace();
            let (name, value) = (words.next().unwrap(), words.next().unwrap());
            inputs.number(name, value.parse().unwrap(), words.next().unwrap_or(""));
        }
        inputs.word("conductor", "Drake");
        inputs.word("string", "suspension");
        inputs.word("rope_fibre", "polyester");
        inputs
    }

    #[test]
    fn a_whole_plan_gives_a_whole_sheet() {
        let all = sheet(&inputs());
        assert!(all.gaps.is_empty(), "{:?}", all.gaps);
        assert!(all.never_used.is_empty(), "{:?}", all.never_used);
        // 29 CFR 1910.269 Table R-7, 169.1 to 242.0 kV.
        assert_eq!(
            all.line("approach_phase_to_ground")
                .unwrap()
                .value
                .to_string(),
            "2.01"
        );
        assert_eq!(
            all.line("working_clearance").unwrap().value.to_string(),
            "2.81"
        );
        assert_eq!(
            all.line("tool_clear_length").unwrap().value.to_string(),
            "2.30"
        );
        for line in &all.lines {
            assert!(
                NAMES.iter().any(|(name, _)| *name == line.name),
                "{} is not in NAMES",
                line.name
            );
            assert!(
                !line.inputs.is_empty() && !line.source.is_empty(),
                "{}",
                line.name
            );
        }
        let steep = &all.line("boom_angle_least").unwrap().value;
        let flat = &all.line("boom_angle_most").unwrap().value;
        assert!(*steep <= "60".parse().unwrap() && *flat >= "60".parse().unwrap());
    }

    #[test]
    fn what_is_left_out_is_asked_for_by_name_and_never_guessed() {
        for name in ["conductor", "rig", "rope"].into_iter().flat_map(needed) {
            let fewer = inputs().without(name);
            let gaps = sheet(&fewer).gaps;
            assert!(
                gaps.iter()
                    .any(|gap| gap.missing.iter().any(|missing| missing == name)),
                "{name}: {gaps:?}"
            );
        }
    }

    #[test]
    fn a_misspelt_name_or_a_wrong_unit_is_said() {
        let mut wrong = inputs();
        wrong.number("mast_lenght", "3".parse().unwrap(), "m");
        assert_eq!(sheet(&wrong).never_used, ["mast_lenght"]);
        let mut unit = inputs();
        unit.number("span_back", "310".parse().unwrap(), "yd");
        let gaps = sheet(&unit).gaps;
        assert!(
            gaps.iter().any(|gap| gap
                .why
                .as_ref()
                .is_some_and(|why| why.contains("found unit `yd`"))),
            "{gaps:?}"
        );
    }

    #[test]
    fn feet_and_metres_give_the_same_sheet() {
        let mut us = inputs();
        us.number("span_back", "1017.060367".parse().unwrap(), "ft");
        let (si, us) = (sheet(&inputs()), sheet(&us));
        assert_eq!(
            si.line("vertical_load").unwrap().value,
            us.line("vertical_load").unwrap().value
        );
    }
}
