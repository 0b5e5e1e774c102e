//! Approach: `gantline limits approach`.
//! Owns: nothing.   Gives: the arguments and the answer.
//! May use: protocol's approach and insulation.   Never: a formula.

use super::quantity;
use super::values::Values;
use clap::{Args, ValueEnum};
use gantline_protocol::limits::LimitError;
use gantline_protocol::limits::approach::{
    AltitudeRule, Exposure, Gap, Surge, minimum_approach, minimum_approach_dc, table_top,
    working_clearance,
};
use gantline_protocol::limits::insulation::clear_length_least;
use gantline_protocol::limits::units::{Length, Voltage};

/// Minimum approach distance, tool length and working clearance
#[derive(Debug, Args)]
#[command(after_help = super::CAUTION)]
pub(in crate::cli) struct Arguments {
    /// Nominal voltage phase to phase, such as 230kV; direct current: maximum to ground
    #[arg(long, value_parser = quantity::voltage)]
    voltage: Voltage,
    /// Judge at this voltage itself, the highest that the line has, and not at the top of its table range
    #[arg(long)]
    exact_voltage: bool,
    /// What the distance is between
    #[arg(long, value_enum, default_value_t = Between::PhaseToGround)]
    between: Between,
    /// Altitude, such as 640m or 2100ft
    #[arg(long, value_parser = quantity::length, allow_hyphen_values = true)]
    altitude: Length,
    /// Transient overvoltage to ground from an engineering analysis, per unit; without it Table R-9
    #[arg(long)]
    surge: Option<f64>,
    /// The employer can show that only air is in the gap; without it a tool or object is taken to be there
    #[arg(long)]
    air_only: bool,
    /// Above 900 m: factor on the electrical part (equation) or on the tabled distance (table)
    #[arg(long, value_enum, default_value_t = Rule::Equation)]
    altitude_rule: Rule,
    /// Reach to allow for, such as 0.6m or 2ft
    #[arg(long, value_parser = quantity::length)]
    reach: Option<Length>,
    /// Swing to allow for
    #[arg(long, value_parser = quantity::length)]
    swing: Option<Length>,
    /// Distance measured
    #[arg(long, value_parser = quantity::length)]
    measured: Option<Length>,
    /// Length of the insulator string, for support tools
    #[arg(long, value_parser = quantity::length)]
    string: Option<Length>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Between {
    PhaseToGround,
    PhaseToPhase,
    Dc,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Rule {
    Equation,
    Table,
}

pub(super) fn values(arguments: &Arguments) -> Result<Values, LimitError> {
    let exposure = match arguments.between {
        Between::Dc => return direct_current(arguments),
        Between::PhaseToGround => Exposure::PhaseToGround,
        Between::PhaseToPhase => Exposure::PhaseToPhase,
    };
    let voltage = if arguments.exact_voltage {
        arguments.voltage
    } else {
        table_top(arguments.voltage)?
    };
    let gap = if arguments.air_only {
        Gap::AirOnly
    } else {
        Gap::ToolOrObject
    };
    let surge = arguments.surge.map_or(Surge::Assumed, Surge::Known);
    let rule = match arguments.altitude_rule {
        Rule::Equation => AltitudeRule::Equation,
        Rule::Table => AltitudeRule::TableFootnote,
    };
    let found = minimum_approach(voltage, exposure, gap, surge, arguments.altitude, rule)?;
    let mut values = Values::new(found.source);
    values.word("approach distance", found.distance, "m");
    values.word("approach distance", found.distance_feet, "ft");
    values.length("before rounding", found.exact)?;
    values.length("inadvertent movement", found.inadvertent)?;
    values.length("electrical part", found.electrical)?;
    values.number("judged at", voltage.to_kilovolts(), 1, "kV")?;
    values.number("altitude factor", found.altitude_factor, 2, "")?;
    if let Some(surge) = found.surge {
        values.number("transient overvoltage", surge, 2, "per unit")?;
    }
    if found.surge_assumed {
        values.note("the overvoltage is assumed by the tables, not from an analysis of this line");
    }
    values.word(
        "tool clear length",
        clear_length_least(&found, arguments.string)?,
        "m",
    );
    if arguments.reach.is_some() || arguments.swing.is_some() || arguments.measured.is_some() {
        let (reach, swing) = (
            arguments.reach.unwrap_or_default(),
            arguments.swing.unwrap_or_default(),
        );
        let clearance = working_clearance(&found, reach, swing, arguments.measured)?;
        values.word("clearance to measure", clearance.least, "m");
        if let Some(left) = clearance.left {
            values.word("measured leaves over", left, "m");
        }
    }
    Ok(values)
}

fn direct_current(arguments: &Arguments) -> Result<Values, LimitError> {
    let mut values = Values::new("29 CFR 1910.269 Table R-8");
    let distance = minimum_approach_dc(arguments.voltage, arguments.surge, arguments.altitude)?;
    values.word("approach distance", distance, "m");
    Ok(values)
}
