//! Loads: `gantline limits loads`, what hangs at an attachment.
//! Owns: nothing.   Gives: the arguments and the answer.
//! May use: protocol's loads and catalogue.   Never: a formula.

use super::quantity;
use super::values::Values;
use clap::Args;
use gantline_protocol::limits::LimitError;
use gantline_protocol::limits::catalogue::conductor;
use gantline_protocol::limits::loads::{Attachment, Span, attachment_load, unit_load};
use gantline_protocol::limits::units::{Angle, Area, Force, ForcePerLength, Length, Speed};
use gantline_protocol::limits::wind;

/// Loads at the attachment of a string: weight, wind, line angle, swing
#[derive(Debug, Args)]
#[command(after_help = super::CAUTION)]
pub(in crate::cli) struct Arguments {
    /// Name in the trade, such as Drake
    #[arg(long)]
    conductor: String,
    /// Conductors in the bundle
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=12))]
    bundle: u8,
    /// Span behind
    #[arg(long, value_parser = quantity::length)]
    span_back: Length,
    /// Span ahead
    #[arg(long, value_parser = quantity::length)]
    span_ahead: Length,
    /// This support's height over the neighbour behind; negative: lower
    #[arg(long, value_parser = quantity::length, allow_hyphen_values = true)]
    rise_back: Length,
    /// This support's height over the neighbour ahead
    #[arg(long, value_parser = quantity::length, allow_hyphen_values = true)]
    rise_ahead: Length,
    /// Horizontal tension of each conductor, as it is today
    #[arg(long, value_parser = quantity::force)]
    tension: Force,
    /// Angle by which the line turns here
    #[arg(long, value_parser = quantity::angle, default_value = "0deg", allow_hyphen_values = true)]
    line_angle: Angle,
    /// Ice around the conductor
    #[arg(long, value_parser = quantity::length)]
    ice: Option<Length>,
    /// Wind
    #[arg(long, value_parser = quantity::speed)]
    wind: Option<Speed>,
    /// Weight of the string
    #[arg(long, value_parser = quantity::force)]
    string_weight: Force,
    /// Area of the string in the wind
    #[arg(long, value_parser = quantity::area)]
    string_wind_area: Option<Area>,
}

pub(super) fn values(arguments: &Arguments) -> Result<Values, LimitError> {
    let one = conductor(&arguments.conductor)?;
    let speed = arguments.wind.unwrap_or_default();
    let unit = unit_load(
        one.diameter,
        one.weight,
        arguments.ice.unwrap_or_default(),
        wind::pressure(speed)?,
        ForcePerLength::ZERO,
    )?;
    let string_wind = wind::force(speed, 1.2, arguments.string_wind_area.unwrap_or_default())?;
    let span = |length, rise| Span {
        length,
        rise,
        tension: arguments.tension,
    };
    let load = attachment_load(&Attachment {
        back: span(arguments.span_back, arguments.rise_back),
        ahead: span(arguments.span_ahead, arguments.rise_ahead),
        line_angle: arguments.line_angle,
        vertical: unit.vertical,
        transverse: unit.transverse,
        conductors: arguments.bundle,
        string_weight: arguments.string_weight,
        string_wind,
    })?;
    let mut values = Values::new(
        "catenary low points; swing as USDA RUS Bulletin 1724E-200 chapter 7 (from memory)",
    );
    values.length("wind span", load.wind_span)?;
    values.length("weight span", load.weight_span)?;
    values.force("down", load.vertical)?;
    values.force("across, wind", load.wind)?;
    values.force("across, line angle", load.angle)?;
    values.force("along", load.longitudinal)?;
    values.force("at the string's top", load.resultant)?;
    values.angle("swing", load.swing)?;
    if load.uplift {
        values.note("uplift: the conductor pulls up here and must be held down, not carried");
    }
    Ok(values)
}
