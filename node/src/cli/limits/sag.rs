//! Sag: `gantline limits sag`.
//! Owns: nothing.   Gives: the arguments and the answer.
//! May use: protocol's sag and catalogue.   Never: a formula.

use super::quantity;
use super::values::Values;
use clap::Args;
use gantline_protocol::limits::LimitError;
use gantline_protocol::limits::catalogue::conductor;
use gantline_protocol::limits::loads::unit_load;
use gantline_protocol::limits::sag::{LINEAR_GOOD_TO, Linear, State, hanging, ruling_span};
use gantline_protocol::limits::units::{Force, ForcePerLength, Length, Speed, Temperature};
use gantline_protocol::limits::wind;

/// Sag and tension of a span at another temperature or load
#[derive(Debug, Args)]
#[command(after_help = super::CAUTION)]
pub(in crate::cli) struct Arguments {
    /// Name in the trade, such as Drake
    #[arg(long)]
    conductor: String,
    /// Spans between the dead-ends, such as 310m; one is its own ruling span. Give it once for each
    #[arg(long, required = true, value_parser = quantity::length)]
    span: Vec<Length>,
    /// Known horizontal tension, bare
    #[arg(long, value_parser = quantity::force)]
    tension: Force,
    /// Conductor temperature at that tension, such as 15C or 60F
    #[arg(long, value_parser = quantity::temperature, allow_hyphen_values = true)]
    at: Temperature,
    /// Conductor temperature asked for
    #[arg(long, value_parser = quantity::temperature, allow_hyphen_values = true)]
    to: Temperature,
    /// Ice around it
    #[arg(long, value_parser = quantity::length)]
    ice: Option<Length>,
    /// Wind
    #[arg(long, value_parser = quantity::speed)]
    wind: Option<Speed>,
}

pub(super) fn values(arguments: &Arguments) -> Result<Values, LimitError> {
    let one = conductor(&arguments.conductor)?;
    let ruling = ruling_span(&arguments.span)?;
    let pressure = arguments
        .wind
        .map(wind::pressure)
        .transpose()?
        .unwrap_or_default();
    let load = unit_load(
        one.diameter,
        one.weight,
        arguments.ice.unwrap_or_default(),
        pressure,
        ForcePerLength::ZERO,
    )?;
    let linear = Linear {
        stiffness: one.stiffness(),
        expansion: one.expansion,
    };
    let known = State {
        horizontal: arguments.tension,
        load: one.weight,
        temperature: arguments.at,
    };
    let after = linear.change(ruling, known, load.resultant, arguments.to)?;
    let mut values = Values::new(
        "catenary and linear state change, final constants; power engineering handbook, sag and tension",
    );
    values.length("ruling span", ruling)?;
    values.force("horizontal tension", after.horizontal)?;
    values.number(
        "of rated strength",
        after.horizontal.ratio(one.rated_strength) * 100.0,
        1,
        "%",
    )?;
    for span in &arguments.span {
        let hangs = hanging(*span, load.resultant, after.horizontal)?;
        values.length("sag", hangs.sag)?;
        values.force("tension at support", hangs.support)?;
    }
    values.note("final state: a new line that has not stretched yet hangs higher");
    if arguments.to > LINEAR_GOOD_TO {
        values.note("above 50 °C the linear model says too much sag, by some percent");
    }
    Ok(values)
}
