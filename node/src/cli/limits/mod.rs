//! Limits: distances, loads and forces from the command line.
//! Owns: nothing.   Gives: `gantline limits …`.
//! May use: protocol's limits.   Never: a formula.
//! In reading order: `quantity` numbers with units in · `values` answers out · one file a subcommand.

mod approach;
mod boom;
mod compare;
mod conductor;
mod loads;
mod quantity;
mod sag;
mod tackle;
mod transfer;
mod values;
mod wind;

use super::{Answer, Exit, Problem, Settings};
use clap::Subcommand;
use gantline_protocol::limits::known::KNOWN;

/// Stands at the end of every help text of the limits.
const CAUTION: &str = "\
Planning aid: local codes, the utility's rules and licensed engineers decide. Every value rests on the
inputs that you give. Outside the range of its source a formula gives no number.
Quantities carry their unit: 310m 1017ft 22kN 4950lbf 15C 60F 35km/h 22mph 30deg.";

/// Distances, loads and forces from published formulas
#[derive(Debug, Subcommand)]
#[command(after_help = CAUTION)]
pub(in crate::cli) enum Arguments {
    Approach(approach::Arguments),
    Conductor(conductor::Arguments),
    Sag(sag::Arguments),
    Loads(loads::Arguments),
    Transfer(transfer::Arguments),
    Boom(boom::Arguments),
    Tackle(tackle::Arguments),
    Wind(wind::Arguments),
    Compare(compare::Arguments),
    /// List the inputs that a plan can give to its limit sheet
    #[command(after_help = CAUTION)]
    Inputs,
}

pub(super) fn run(settings: &Settings, arguments: &Arguments) -> Result<Exit, Problem> {
    let values = match arguments {
        Arguments::Compare(arguments) => return compare::run(settings, arguments),
        Arguments::Inputs => return inputs(settings),
        Arguments::Approach(arguments) => approach::values(arguments),
        Arguments::Conductor(arguments) => conductor::values(arguments),
        Arguments::Sag(arguments) => sag::values(arguments),
        Arguments::Loads(arguments) => loads::values(arguments),
        Arguments::Transfer(arguments) => transfer::values(arguments),
        Arguments::Boom(arguments) => boom::values(arguments),
        Arguments::Tackle(arguments) => tackle::values(arguments),
        Arguments::Wind(arguments) => wind::values(arguments),
    };
    values.map_err(Problem::Limit)?.say(settings.json)?;
    Ok(Exit::Good)
}

fn inputs(settings: &Settings) -> Result<Exit, Problem> {
    let mut answer = Answer::new();
    if settings.json {
        answer.json(&KNOWN)?;
        return Ok(Exit::Good);
    }
    for input in KNOWN {
        answer.line(format_args!(
            "{:<12} {:<24} {:<8} {}",
            input.part, input.name, input.unit, input.title
        ))?;
    }
    Ok(Exit::Good)
}
