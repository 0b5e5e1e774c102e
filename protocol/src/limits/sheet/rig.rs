//! Rig: forces in mast, boom, link and braces, and the boom's allowed angles, on the sheet.
//! Owns: nothing.   Gives: `rig_part`.
//! May use: limits::boom, rope.   Never: the conductor.

use super::rope::hauling;
use super::{Bound, Work, need};
use crate::limits::approach::Approach;
use crate::limits::boom::{self, AngleCheck, Ratings, Rig, Surroundings, boom_angles, forces};
use crate::limits::error::LimitError;
use crate::limits::units::{Angle, Force, round_near, round_up};

const RIG_SOURCE: &str = "equilibrium of hinged members in three dimensions; common practice";

/// Forces in the rig as planned, and how far the boom may go up and down.
pub(super) fn rig_part(work: &mut Work, approach: Option<&Approach>) -> Result<(), LimitError> {
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
