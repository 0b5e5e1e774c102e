//! Quantity: a number with its unit on the command line, `310m`, `1017ft`, `22kN`.
//! Owns: nothing.   Gives: one value parser for each kind of quantity.
//! May use: protocol's units.   Never: a default unit: 7 feet and 7 metres must not be mixed up.

use gantline_protocol::decimal::Decimal;
use gantline_protocol::limits::boom::Point;
use gantline_protocol::limits::units::{
    Angle, Area, Force, Length, Pressure, Speed, Stiffness, Temperature, Voltage,
};

type Unit<T> = (&'static str, fn(f64) -> T);

fn read<T>(text: &str, units: &[Unit<T>]) -> Result<T, String> {
    let text = text.trim();
    let split = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
        .unwrap_or(text.len());
    let (number, unit) = (text[..split].trim(), text[split..].trim());
    let value: Decimal = number.parse().map_err(|error| format!("{error}"))?;
    let expected = units
        .iter()
        .map(|(name, _)| *name)
        .collect::<Vec<_>>()
        .join(", ");
    units
        .iter()
        .find(|(name, _)| *name == unit)
        .map(|(_, make)| make(value.to_f64()))
        .ok_or_else(|| {
            format!("found unit `{unit}`, expected the number followed by one of {expected}")
        })
}

pub(super) fn length(text: &str) -> Result<Length, String> {
    read(
        text,
        &[
            ("m", Length::metres),
            ("mm", Length::millimetres),
            ("ft", Length::feet),
            ("in", Length::inches),
        ],
    )
}

pub(super) fn force(text: &str) -> Result<Force, String> {
    read(
        text,
        &[
            ("N", Force::newtons),
            ("kN", Force::kilonewtons),
            ("lbf", Force::pounds),
        ],
    )
}

pub(super) fn angle(text: &str) -> Result<Angle, String> {
    read(text, &[("deg", Angle::degrees), ("rad", Angle::radians)])
}

pub(super) fn temperature(text: &str) -> Result<Temperature, String> {
    read(
        text,
        &[
            ("C", Temperature::celsius),
            ("°C", Temperature::celsius),
            ("F", Temperature::fahrenheit),
            ("°F", Temperature::fahrenheit),
        ],
    )
}

pub(super) fn speed(text: &str) -> Result<Speed, String> {
    read(
        text,
        &[
            ("m/s", Speed::metres_per_second),
            ("km/h", Speed::kilometres_per_hour),
            ("mph", Speed::miles_per_hour),
        ],
    )
}

pub(super) fn area(text: &str) -> Result<Area, String> {
    read(
        text,
        &[
            ("m2", Area::square_metres),
            ("mm2", Area::square_millimetres),
            ("ft2", Area::square_feet),
        ],
    )
}

pub(super) fn modulus(text: &str) -> Result<Pressure, String> {
    read(
        text,
        &[
            ("GPa", Pressure::gigapascals),
            ("psi", Pressure::pounds_per_square_inch),
        ],
    )
}

pub(super) fn pressure(text: &str) -> Result<Pressure, String> {
    read(
        text,
        &[
            ("Pa", Pressure::pascals),
            ("psf", Pressure::pounds_per_square_foot),
        ],
    )
}

pub(super) fn stiffness(text: &str) -> Result<Stiffness, String> {
    read(
        text,
        &[
            ("N/m", Stiffness::newtons_per_metre),
            ("kN/m", |value| Stiffness::newtons_per_metre(value * 1000.0)),
        ],
    )
}

pub(super) fn voltage(text: &str) -> Result<Voltage, String> {
    read(text, &[("kV", Voltage::kilovolts)])
}

/// Three lengths with commas between: `-2m,1.5m,0m`.
pub(super) fn point(text: &str) -> Result<Point, String> {
    let parts: Vec<Length> = text.split(',').map(length).collect::<Result<_, _>>()?;
    match parts[..] {
        [x, y, z] => Ok(Point { x, y, z }),
        _ => Err(format!(
            "found {} lengths, expected three with commas between, such as -2m,1.5m,0m",
            parts.len()
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_has_its_unit_with_it() {
        assert_eq!(length("310m"), Ok(Length::metres(310.0)));
        assert_eq!(length("-7 ft"), Ok(Length::feet(-7.0)));
        assert_eq!(force("2.5kN"), Ok(Force::kilonewtons(2.5)));
        assert_eq!(temperature("-4F"), Ok(Temperature::fahrenheit(-4.0)));
        assert_eq!(point("-2m,1.5m,0m"), Ok(Point::metres(-2.0, 1.5, 0.0)));
        for bad in ["", "310", "m", "3.1.4m", "310 yd", "1e3m", "--2m"] {
            assert!(length(bad).is_err(), "{bad:?} passed");
        }
        assert!(point("1m,2m").is_err());
    }
}
