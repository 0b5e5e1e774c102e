//! Poles: what the strain poles carry, on the sheet.
//! Owns: nothing.   Gives: `poles_part`.
//! May use: limits::transfer, what the conductor part found.   Never: the rig.

use super::conductor::Hung;
use super::{Bound, Work, need};
use crate::limits::error::LimitError;
use crate::limits::transfer::{
    Pole, Site, line_stiffness, pole_stiffness, relieve, vertical_sticks,
};
use crate::limits::units::{Angle, Force, round_up};

const POLE_SOURCE: &str = "equilibrium of poles, string and line; common practice";

/// Share of each pole, and the case where one carries all.
pub(super) fn poles_part(work: &mut Work, hung: Option<&Hung>) -> Result<(), LimitError> {
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
