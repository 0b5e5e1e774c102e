//! Transfer: `gantline limits transfer`, from string to strain poles and back.
//! Owns: nothing.   Gives: the arguments and the answer.
//! May use: protocol's transfer.   Never: a formula.

use super::quantity;
use super::values::Values;
use clap::Args;
use gantline_protocol::limits::LimitError;
use gantline_protocol::limits::transfer::{Pole, Site, factor_against, pole_stiffness, relieve};
use gantline_protocol::limits::units::{Area, Force, Length, Pressure, Stiffness};

/// Take-up, turns and shares of two strain poles until the string is free
#[derive(Debug, Args)]
#[command(after_help = super::CAUTION)]
pub(in crate::cli) struct Arguments {
    /// Tension in the string before
    #[arg(long, value_parser = quantity::force)]
    tension: Force,
    /// Stiffness of the line at its end, such as 30kN/m
    #[arg(long, value_parser = quantity::stiffness)]
    line: Stiffness,
    /// Stiffness of the string
    #[arg(long, value_parser = quantity::stiffness)]
    string: Stiffness,
    /// Length of each pole
    #[arg(long, value_parser = quantity::length)]
    pole_length: Length,
    /// Cross-section of each pole, such as 1134mm2
    #[arg(long, value_parser = quantity::area)]
    pole_area: Area,
    /// Modulus of each pole, from the maker
    #[arg(long, value_parser = quantity::modulus)]
    pole_modulus: Pressure,
    /// Stiffness of each pole's hardware
    #[arg(long, value_parser = quantity::stiffness)]
    hardware: Stiffness,
    /// Slack of each pole before it carries; once for both or once for each
    #[arg(long, required = true, num_args = 1, value_parser = quantity::length)]
    gap: Vec<Length>,
    /// Travel of the screw for each turn
    #[arg(long, value_parser = quantity::length)]
    pitch: Length,
    /// Room wanted for the pin
    #[arg(long, value_parser = quantity::length)]
    clearance: Length,
    /// Rated working load of a pole
    #[arg(long, value_parser = quantity::force)]
    rating: Option<Force>,
}

pub(super) fn values(arguments: &Arguments) -> Result<Values, LimitError> {
    let stiffness = pole_stiffness(
        arguments.pole_length,
        arguments.pole_area,
        arguments.pole_modulus,
        arguments.hardware,
    )?;
    let gap = |at: usize| {
        arguments
            .gap
            .get(at)
            .or_else(|| arguments.gap.last())
            .copied()
            .unwrap_or_default()
    };
    let pole = |at| Pole {
        stiffness,
        gap: gap(at),
        pitch: arguments.pitch,
    };
    let site = Site {
        tension: arguments.tension,
        line: arguments.line,
        string: arguments.string,
    };
    let relief = relieve(&site, &[pole(0), pole(1)], arguments.clearance)?;
    let mut values = Values::new("equilibrium of poles, string and line; common practice");
    values.length("string free after", relief.free_at)?;
    values.number("turns, first screw", relief.turns[0], 1, "turns")?;
    values.number("turns, second screw", relief.turns[1], 1, "turns")?;
    values.force("first pole", relief.shared.poles[0])?;
    values.force("second pole", relief.shared.poles[1])?;
    values.force("line", relief.shared.line)?;
    values.force("one pole alone", relief.one_alone)?;
    values.force("comes back at release", relief.returns)?;
    if let Some(rating) = arguments.rating {
        let most = relief.shared.poles[0].max(relief.shared.poles[1]);
        for (name, force) in [
            ("rating over force", most),
            ("rating over one alone", relief.one_alone),
        ] {
            if let Some(factor) = factor_against(rating, force)? {
                values.number(name, factor, 2, "times")?;
            }
        }
    }
    Ok(values)
}
