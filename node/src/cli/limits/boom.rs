//! Boom: `gantline limits boom`, mast, boom, link and braces.
//! Owns: nothing.   Gives: the arguments and the answer.
//! May use: protocol's boom.   Never: a formula.

use super::quantity;
use super::values::Values;
use clap::Args;
use gantline_protocol::limits::LimitError;
use gantline_protocol::limits::boom::{Point, Rig, SIDE_FORCE_MOST, forces};
use gantline_protocol::limits::units::{Angle, Force, Length};

/// Forces in mast, boom, link and braces
#[derive(Debug, Args)]
#[command(after_help = super::CAUTION)]
pub(in crate::cli) struct Arguments {
    /// Length of the mast
    #[arg(long, value_parser = quantity::length)]
    mast: Length,
    /// Length of the boom
    #[arg(long, value_parser = quantity::length)]
    boom: Length,
    /// Angle of the boom from the vertical
    #[arg(long, value_parser = quantity::angle)]
    angle: Angle,
    /// Direction of the boom
    #[arg(long, value_parser = quantity::angle, default_value = "0deg", allow_hyphen_values = true)]
    azimuth: Angle,
    /// Lean of the mast from the vertical
    #[arg(long, value_parser = quantity::angle, default_value = "0deg")]
    lean: Angle,
    /// Direction of the lean
    #[arg(long, value_parser = quantity::angle, default_value = "0deg", allow_hyphen_values = true)]
    lean_azimuth: Angle,
    /// Everything that hangs at the tip
    #[arg(long, value_parser = quantity::force)]
    load: Force,
    /// Weight of the boom
    #[arg(long, value_parser = quantity::force)]
    boom_weight: Force,
    /// Weight of the mast
    #[arg(long, value_parser = quantity::force)]
    mast_weight: Force,
    /// Weight of the link
    #[arg(long, value_parser = quantity::force)]
    link_weight: Force,
    /// Pull of the rope's tail over the tip block
    #[arg(long, value_parser = quantity::force, requires = "lead")]
    tail: Option<Force>,
    /// Lead block that the tail goes to, as x,y,z from the mast's base
    #[arg(long, value_parser = quantity::point, allow_hyphen_values = true)]
    lead: Option<Point>,
    /// Anchor of a side guy at the tip
    #[arg(long, value_parser = quantity::point, allow_hyphen_values = true)]
    guy: Option<Point>,
    /// Anchor of a brace at the mast's top; two or three times
    #[arg(long, required = true, value_parser = quantity::point, allow_hyphen_values = true)]
    brace: Vec<Point>,
    /// Braces are ropes, which go slack instead of pushing
    #[arg(long)]
    rope_braces: bool,
    /// EA of each brace, for three
    #[arg(long, value_parser = quantity::force)]
    brace_ea: Option<Force>,
    /// EA of the mast, for three braces
    #[arg(long, value_parser = quantity::force)]
    mast_ea: Option<Force>,
}

pub(super) fn values(arguments: &Arguments) -> Result<Values, LimitError> {
    let found = forces(&Rig {
        mast: arguments.mast,
        boom: arguments.boom,
        boom_angle: arguments.angle,
        boom_azimuth: arguments.azimuth,
        lean: arguments.lean,
        lean_azimuth: arguments.lean_azimuth,
        load: arguments.load,
        boom_weight: arguments.boom_weight,
        mast_weight: arguments.mast_weight,
        link_weight: arguments.link_weight,
        tail: arguments.tail.unwrap_or_default(),
        lead: arguments.lead.unwrap_or_default(),
        guy: arguments.guy,
        braces: arguments.brace.clone(),
        brace_stiffness: arguments.brace_ea.unwrap_or_default(),
        mast_stiffness: arguments.mast_ea.unwrap_or_default(),
        rope_braces: arguments.rope_braces,
    })?;
    let mut values =
        Values::new("equilibrium of hinged members in three dimensions; common practice");
    values.force("boom, mean", found.boom)?;
    values.force("boom, heel", found.boom_heel)?;
    values.force("link", found.link)?;
    values.force(
        if found.side_by_guy {
            "side guy"
        } else {
            "side force"
        },
        found.side,
    )?;
    values.force("mast, mean", found.mast)?;
    values.force("mast, base", found.mast_base)?;
    for (name, brace) in ["first brace", "second brace", "third brace"]
        .into_iter()
        .zip(&found.braces)
    {
        values.force(name, *brace)?;
    }
    for (name, part) in ["base, along", "base, across", "base, up"]
        .into_iter()
        .zip(&found.base)
    {
        values.force(name, *part)?;
    }
    values.note("compression is positive in mast and boom, tension in link, guy and braces");
    if !found.side_by_guy && found.side.abs() > SIDE_FORCE_MOST {
        values.note("the boom would swing: rig a side guy");
    }
    Ok(values)
}
