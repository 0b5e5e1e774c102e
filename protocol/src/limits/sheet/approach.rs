//! Approach: distances and tool lengths of the sheet.
//! Owns: nothing.   Gives: `approach_part`.
//! May use: limits::approach, insulation.   Never: loads.

use super::{Bound, Work};
use crate::limits::approach::{
    AltitudeRule, Approach, Exposure, Gap, Surge, minimum_approach, table_top, working_clearance,
};
use crate::limits::error::LimitError;
use crate::limits::insulation::clear_length_least;
use crate::limits::units::Length;

/// Distances to keep, from voltage, overvoltage and altitude.
pub(super) fn approach_part(work: &mut Work) -> Result<Approach, LimitError> {
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
    work.sheet.drawings.dead_end = inputs.maybe_word("string") == Some("dead-end");
    Ok(ground)
}
