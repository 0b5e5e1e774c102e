//! Wind: `gantline limits wind`.
//! Owns: nothing.   Gives: the arguments and the answer.
//! May use: protocol's wind.   Never: a formula.

use super::quantity;
use super::values::Values;
use clap::Args;
use gantline_protocol::limits::LimitError;
use gantline_protocol::limits::units::{Area, Force, Speed};
use gantline_protocol::limits::wind::{Reached, SPEED_MOST, force, pressure, speed_at};

/// Wind pressure, force on an area, and the speed at which a rating is reached
#[derive(Debug, Args)]
#[command(after_help = super::CAUTION)]
pub(in crate::cli) struct Arguments {
    /// Wind speed, such as 35km/h or 22mph
    #[arg(long, value_parser = quantity::speed, required_unless_present = "rating")]
    speed: Option<Speed>,
    /// Area in the wind
    #[arg(long, value_parser = quantity::area)]
    area: Option<Area>,
    /// Drag coefficient: 1.0 conductor, 1.2 thin cylinder, 2.0 flat
    #[arg(long, default_value_t = 1.2)]
    drag: f64,
    /// Force that must not be reached on the area
    #[arg(long, value_parser = quantity::force, requires = "area")]
    rating: Option<Force>,
}

pub(super) fn values(arguments: &Arguments) -> Result<Values, LimitError> {
    let mut values = Values::new(
        "q = 0.613 V² Pa; F = q Cd A (building-code explanations; conductors 1.0 by NESC practice)",
    );
    let area = arguments.area.unwrap_or_default();
    if let Some(speed) = arguments.speed {
        values.speed("wind", speed)?;
        values.pressure("pressure", pressure(speed)?)?;
        if arguments.area.is_some() {
            values.force("force", force(speed, arguments.drag, area)?)?;
        }
    }
    if let Some(rating) = arguments.rating {
        let rating = rating.positive("rating")?;
        match speed_at(|speed| Ok(force(speed, arguments.drag, area)?.ratio(rating)))? {
            Reached::At(speed) => values.speed("reached at", speed)?,
            Reached::InStillAir => values.note("reached without any wind"),
            Reached::NotReached => {
                values.note(format!(
                    "not reached up to {:.0} km/h",
                    SPEED_MOST.to_kilometres_per_hour()
                ));
            }
        }
    }
    values.note("gusts count, not the mean; the employer's own wind limit goes before this");
    Ok(values)
}
