//! Tackle: `gantline limits tackle`, ropes and blocks.
//! Owns: nothing.   Gives: the arguments and the answer.
//! May use: protocol's tackle.   Never: a formula.

use super::quantity;
use super::values::Values;
use clap::{Args, ValueEnum};
use gantline_protocol::limits::LimitError;
use gantline_protocol::limits::tackle::{self, block_load, sling_leg};
use gantline_protocol::limits::units::{Angle, Force};

/// Pull through blocks, load on the upper block, sling legs
#[derive(Debug, Args)]
#[command(after_help = super::CAUTION)]
pub(in crate::cli) struct Arguments {
    /// Load
    #[arg(long, value_parser = quantity::force)]
    load: Force,
    /// Parts of rope at the moving block
    #[arg(long)]
    parts: u32,
    /// Sheaves that the rope turns over, lead blocks included
    #[arg(long)]
    sheaves: u32,
    /// What the rope loses at each sheave
    #[arg(long, value_enum, default_value_t = Kind::Fibre)]
    sheave: Kind,
    /// Angle between the two parts of rope at a lead block
    #[arg(long, value_parser = quantity::angle)]
    lead_angle: Option<Angle>,
    /// Legs of a sling that carries the load
    #[arg(long, requires = "sling_angle")]
    sling_legs: Option<u32>,
    /// Angle of its legs from the horizontal
    #[arg(long, value_parser = quantity::angle, requires = "sling_legs")]
    sling_angle: Option<Angle>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Kind {
    /// Fibre rope in blocks, 12 % a sheave
    Fibre,
    /// Wire rope on roller bearings, 1.04 a sheave
    Roller,
    /// Wire rope on plain bearings, 1.09 a sheave
    Plain,
    /// No friction, for comparison
    None,
}

pub(super) fn values(arguments: &Arguments) -> Result<Values, LimitError> {
    let sheave = match arguments.sheave {
        Kind::Fibre => tackle::Sheave::FibreRope,
        Kind::Roller => tackle::Sheave::Roller,
        Kind::Plain => tackle::Sheave::Plain,
        Kind::None => tackle::Sheave::Frictionless,
    };
    let found = tackle::tackle(arguments.load, arguments.parts, arguments.sheaves, sheave)?;
    let mut values = Values::new(
        "P = W K^S (K - 1)/(K^n - 1), or 12 % a sheave for fibre rope (Workshop Receipts, 5th series)",
    );
    values.force("pull while raising", found.raising)?;
    values.force("hold while lowering", found.holding)?;
    values.force("without friction", found.frictionless)?;
    values.number("efficiency", found.efficiency * 100.0, 1, "%")?;
    values.force("upper block's anchor", found.anchor)?;
    values.number("rope for each lift", found.rope_per_lift, 0, "times")?;
    if let Some(angle) = arguments.lead_angle {
        values.force(
            "lead block",
            block_load(found.raising, found.raising, angle)?,
        )?;
    }
    if let (Some(legs), Some(angle)) = (arguments.sling_legs, arguments.sling_angle) {
        let leg = sling_leg(arguments.load, legs, angle)?;
        values.force("sling leg", leg.each)?;
        values.force("sling leg, two carry", leg.if_two_carry)?;
        if angle < Angle::degrees(30.0) {
            values.note(
                "published sling charts say: legs under 30° from the horizontal are not to be used",
            );
        }
    }
    Ok(values)
}
