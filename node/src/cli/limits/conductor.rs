//! Conductor: `gantline limits conductor`, the catalogue and loads on each metre.
//! Owns: nothing.   Gives: the arguments and the answer.
//! May use: protocol's catalogue and loads.   Never: a formula.

use super::quantity;
use super::values::Values;
use clap::Args;
use gantline_protocol::limits::LimitError;
use gantline_protocol::limits::catalogue::conductor;
use gantline_protocol::limits::loads::{loading_district, unit_load};
use gantline_protocol::limits::units::{ForcePerLength, Length, Pressure, Speed};
use gantline_protocol::limits::wind;

/// A conductor of the catalogue, bare and with ice and wind
#[derive(Debug, Args)]
#[command(after_help = super::CAUTION)]
pub(in crate::cli) struct Arguments {
    /// Name in the trade, such as Drake
    name: String,
    /// Loading district: heavy, medium, light, warm-islands-low, warm-islands-high, go95-heavy, go95-light
    #[arg(long, conflicts_with_all = ["ice", "wind", "wind_pressure"])]
    district: Option<String>,
    /// Ice around it, such as 12.7mm or 0.5in
    #[arg(long, value_parser = quantity::length)]
    ice: Option<Length>,
    /// Wind, such as 35km/h or 22mph
    #[arg(long, value_parser = quantity::speed, conflicts_with = "wind_pressure")]
    wind: Option<Speed>,
    /// Wind pressure, such as 190Pa or 4psf
    #[arg(long, value_parser = quantity::pressure)]
    wind_pressure: Option<Pressure>,
}

pub(super) fn values(arguments: &Arguments) -> Result<Values, LimitError> {
    let one = conductor(&arguments.name)?;
    let (ice, pressure, constant) = match &arguments.district {
        Some(name) => {
            let district = loading_district(name)?;
            (district.ice, district.wind, district.constant)
        }
        None => {
            let by_speed = arguments.wind.map(wind::pressure).transpose()?;
            let pressure = arguments.wind_pressure.or(by_speed).unwrap_or_default();
            (
                arguments.ice.unwrap_or_default(),
                pressure,
                ForcePerLength::ZERO,
            )
        }
    };
    let load = unit_load(one.diameter, one.weight, ice, pressure, constant)?;
    let mut values = Values::new(
        "catalogue rows as noted; w = ρ π t (D + t), resultant with constant for tension only (NESC 250, 251; GO 95)",
    );
    values.length("diameter", one.diameter)?;
    values.number("area", one.area.to_square_millimetres(), 2, "mm²")?;
    values.word(
        "strands",
        format_args!("{}/{}", one.strands_aluminium, one.strands_steel),
        "",
    );
    values.unit_load("bare weight", one.weight)?;
    values.force("rated strength", one.rated_strength)?;
    values.number("modulus", one.modulus.to_gigapascals(), 1, "GPa")?;
    values.number(
        "expansion",
        one.expansion.to_per_kelvin() * 1e6,
        2,
        "1e-6/K",
    )?;
    values.unit_load("ice", load.ice)?;
    values.unit_load("down", load.vertical)?;
    values.unit_load("across", load.transverse)?;
    values.unit_load("resultant", load.resultant)?;
    values.unit_load("for tension", load.for_tension)?;
    values.angle("blowout", load.blowout)?;
    values.note(format!(
        "row source {}; confirm the rated strength on the maker's data sheet",
        one.source
    ));
    if let Some(name) = &arguments.district {
        values.note(format!("district: {}", loading_district(name)?.source));
    }
    Ok(values)
}
