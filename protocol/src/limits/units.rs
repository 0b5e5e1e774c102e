//! Units: quantities that cannot be mixed up, in SI inside and in the unit that a person reads outside.
//! Owns: nothing.   Gives: one type for each kind of quantity, conversions, rounding against the worker.
//! May use: decimal, limits::error.   Never: formulas.
//!
//! Only +, −, ×, ÷ and √ of the processor are used, which IEEE 754 fixes to the last bit; angles and the
//! other functions go through the `libm` crate, which is the same code on every machine. So one set of
//! inputs gives one set of bits on every device.

use crate::decimal::Decimal;
use crate::limits::error::LimitError;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal, $( $(#[$edoc:meta])* $from:ident / $to:ident = $factor:expr ),+ $(,)?) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, PartialOrd, Debug, Default)]
        pub struct $name(f64);

        impl $name {
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);
            /// The unit that it is kept in.
            pub const UNIT: &'static str = $unit;

            $(
                $(#[$edoc])*
                #[must_use]
                pub const fn $from(value: f64) -> Self {
                    Self(value * $factor)
                }

                $(#[$edoc])*
                #[must_use]
                pub const fn $to(self) -> f64 {
                    self.0 / $factor
                }
            )+

            /// The larger of two.
            #[must_use]
            pub fn max(self, other: Self) -> Self {
                if self.0 >= other.0 { self } else { other }
            }

            /// The smaller of two.
            #[must_use]
            pub fn min(self, other: Self) -> Self {
                if self.0 <= other.0 { self } else { other }
            }

            /// Its size without its sign.
            #[must_use]
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// How many times `other` it is; infinite if `other` is zero.
            #[must_use]
            pub fn ratio(self, other: Self) -> f64 {
                self.0 / other.0
            }

            /// This quantity, if it is a finite number from `least` to `most`.
            ///
            /// # Errors
            /// [`LimitError::OutOfRange`], naming `what`; no number is ever made up outside a range.
            pub fn within(self, what: &'static str, least: Self, most: Self) -> Result<Self, LimitError> {
                if self.0 >= least.0 && self.0 <= most.0 {
                    Ok(self)
                } else {
                    Err(LimitError::OutOfRange { what, found: self.0, least: least.0, most: most.0, unit: $unit })
                }
            }

            /// This quantity, if it is finite and above zero.
            ///
            /// # Errors
            /// [`LimitError::NotPositive`], naming `what`.
            pub fn positive(self, what: &'static str) -> Result<Self, LimitError> {
                if self.0 > 0.0 && self.0.is_finite() {
                    Ok(self)
                } else {
                    Err(LimitError::NotPositive { what, found: self.0, unit: $unit })
                }
            }

            /// This quantity, if it is finite and not below zero.
            ///
            /// # Errors
            /// [`LimitError::NotPositive`], naming `what`.
            pub fn not_negative(self, what: &'static str) -> Result<Self, LimitError> {
                if self.0 >= 0.0 && self.0.is_finite() {
                    Ok(self)
                } else {
                    Err(LimitError::NotPositive { what, found: self.0, unit: $unit })
                }
            }

            /// This quantity, if it is a number at all.
            ///
            /// # Errors
            /// [`LimitError::NotANumber`], naming `what`.
            pub fn finite(self, what: &'static str) -> Result<Self, LimitError> {
                if self.0.is_finite() { Ok(self) } else { Err(LimitError::NotANumber { what }) }
            }
        }

        impl core::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl core::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl core::ops::Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl core::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl core::ops::Div<f64> for $name {
            type Output = Self;
            fn div(self, factor: f64) -> Self {
                Self(self.0 / factor)
            }
        }
        impl core::iter::Sum for $name {
            fn sum<I: Iterator<Item = Self>>(parts: I) -> Self {
                parts.fold(Self::ZERO, |sum, part| sum + part)
            }
        }
    };
}

/// Metres in a foot (international foot, exact).
pub const METRES_PER_FOOT: f64 = 0.3048;
/// Newtons in a pound-force (exact: 0.453 592 37 kg × 9.806 65 m/s²).
pub const NEWTONS_PER_POUND: f64 = 0.453_592_37 * 9.806_65;
/// Standard gravity, m/s² (exact).
pub const GRAVITY: f64 = 9.806_65;

quantity!(
    /// A length or distance.
    Length, "m",
    /// Metres.
    metres / to_metres = 1.0,
    /// Millimetres.
    millimetres / to_millimetres = 0.001,
    /// Feet.
    feet / to_feet = METRES_PER_FOOT,
    /// Inches.
    inches / to_inches = METRES_PER_FOOT / 12.0,
);
quantity!(
    /// A force.
    Force, "N",
    /// Newtons.
    newtons / to_newtons = 1.0,
    /// Kilonewtons.
    kilonewtons / to_kilonewtons = 1000.0,
    /// Pounds-force.
    pounds / to_pounds = NEWTONS_PER_POUND,
);
quantity!(
    /// A force for each length: weight of a conductor, wind on it.
    ForcePerLength, "N/m",
    /// Newtons a metre.
    newtons_per_metre / to_newtons_per_metre = 1.0,
    /// Pounds-force a foot.
    pounds_per_foot / to_pounds_per_foot = NEWTONS_PER_POUND / METRES_PER_FOOT,
);
quantity!(
    /// A pressure or a stress.
    Pressure, "Pa",
    /// Pascals.
    pascals / to_pascals = 1.0,
    /// Gigapascals.
    gigapascals / to_gigapascals = 1e9,
    /// Pounds-force a square foot.
    pounds_per_square_foot / to_pounds_per_square_foot = NEWTONS_PER_POUND / (METRES_PER_FOOT * METRES_PER_FOOT),
    /// Pounds-force a square inch.
    pounds_per_square_inch / to_pounds_per_square_inch = NEWTONS_PER_POUND / (METRES_PER_FOOT * METRES_PER_FOOT / 144.0),
);
quantity!(
    /// An area.
    Area, "m²",
    /// Square metres.
    square_metres / to_square_metres = 1.0,
    /// Square millimetres.
    square_millimetres / to_square_millimetres = 1e-6,
    /// Square feet.
    square_feet / to_square_feet = METRES_PER_FOOT * METRES_PER_FOOT,
);
quantity!(
    /// A force for each movement.
    Stiffness, "N/m",
    /// Newtons a metre.
    newtons_per_metre / to_newtons_per_metre = 1.0,
);
quantity!(
    /// A voltage, phase to phase unless said.
    Voltage, "kV",
    /// Kilovolts.
    kilovolts / to_kilovolts = 1.0,
);
quantity!(
    /// A speed.
    Speed, "m/s",
    /// Metres a second.
    metres_per_second / to_metres_per_second = 1.0,
    /// Kilometres an hour.
    kilometres_per_hour / to_kilometres_per_hour = 1.0 / 3.6,
    /// Miles an hour.
    miles_per_hour / to_miles_per_hour = METRES_PER_FOOT * 5280.0 / 3600.0,
);
quantity!(
    /// An angle.
    Angle, "rad",
    /// Radians.
    radians / to_radians = 1.0,
    /// Degrees.
    degrees / to_degrees = core::f64::consts::PI / 180.0,
);
quantity!(
    /// A difference of temperature.
    TemperatureRise, "K",
    /// Kelvins.
    kelvins / to_kelvins = 1.0,
    /// Degrees Fahrenheit of difference.
    fahrenheit / to_fahrenheit = 5.0 / 9.0,
);
quantity!(
    /// Relative growth for each kelvin.
    Expansion, "1/K",
    /// For each kelvin.
    per_kelvin / to_per_kelvin = 1.0,
    /// For each degree Fahrenheit.
    per_fahrenheit / to_per_fahrenheit = 9.0 / 5.0,
);

/// A temperature, kept in degrees Celsius.
#[derive(Clone, Copy, PartialEq, PartialOrd, Debug)]
pub struct Temperature(f64);

impl Temperature {
    /// Degrees Celsius.
    #[must_use]
    pub const fn celsius(value: f64) -> Self {
        Self(value)
    }

    /// Degrees Fahrenheit.
    #[must_use]
    pub const fn fahrenheit(value: f64) -> Self {
        Self((value - 32.0) * 5.0 / 9.0)
    }

    /// Degrees Celsius.
    #[must_use]
    pub const fn to_celsius(self) -> f64 {
        self.0
    }

    /// Degrees Fahrenheit.
    #[must_use]
    pub const fn to_fahrenheit(self) -> f64 {
        self.0 * 9.0 / 5.0 + 32.0
    }

    /// How much warmer than `other` this is.
    #[must_use]
    pub fn above(self, other: Self) -> TemperatureRise {
        TemperatureRise::kelvins(self.0 - other.0)
    }

    /// This temperature, if a conductor can have it: −60 °C to 250 °C.
    ///
    /// # Errors
    /// [`LimitError::OutOfRange`], naming `what`.
    pub fn of_conductor(self, what: &'static str) -> Result<Self, LimitError> {
        if (-60.0..=250.0).contains(&self.0) {
            Ok(self)
        } else {
            Err(LimitError::OutOfRange {
                what,
                found: self.0,
                least: -60.0,
                most: 250.0,
                unit: "°C",
            })
        }
    }
}

impl Angle {
    /// Its sine.
    #[must_use]
    pub fn sin(self) -> f64 {
        libm::sin(self.0)
    }

    /// Its cosine.
    #[must_use]
    pub fn cos(self) -> f64 {
        libm::cos(self.0)
    }

    /// The angle whose tangent is `opposite / adjacent`, in the right quadrant.
    #[must_use]
    pub fn from_sides(opposite: f64, adjacent: f64) -> Self {
        Self(libm::atan2(opposite, adjacent))
    }
}

/// How far below a step a value may lie and still count as on it: far under what anyone reads, far over
/// the error of the formulas' arithmetic.
const STEP_SLACK: f64 = 1e-9;

/// Rounds a least value up to `places` digits after the point, so that rounding never gives distance away.
///
/// # Errors
/// [`LimitError::NotANumber`] if the value is not finite or too large to keep.
pub fn round_up(what: &'static str, value: f64, places: u8) -> Result<Decimal, LimitError> {
    to_decimal(what, value, places, |scaled| {
        libm::ceil(scaled - STEP_SLACK * scaled.abs().max(1.0))
    })
}

/// Rounds a measured or greatest value down to `places` digits after the point.
///
/// # Errors
/// [`LimitError::NotANumber`] if the value is not finite or too large to keep.
pub fn round_down(what: &'static str, value: f64, places: u8) -> Result<Decimal, LimitError> {
    to_decimal(what, value, places, |scaled| {
        libm::floor(scaled + STEP_SLACK * scaled.abs().max(1.0))
    })
}

/// Rounds a value that is only shown to the nearest of `places` digits after the point.
///
/// # Errors
/// [`LimitError::NotANumber`] if the value is not finite or too large to keep.
pub fn round_near(what: &'static str, value: f64, places: u8) -> Result<Decimal, LimitError> {
    to_decimal(what, value, places, libm::round)
}

#[allow(clippy::cast_possible_truncation, reason = "the size is checked first")]
fn to_decimal(
    what: &'static str,
    value: f64,
    places: u8,
    round: impl Fn(f64) -> f64,
) -> Result<Decimal, LimitError> {
    let scaled = round(value * libm::pow(10.0, f64::from(places)));
    if !scaled.is_finite() || scaled.abs() > 9e15 {
        return Err(LimitError::NotANumber { what });
    }
    Decimal::new(scaled as i64, places).map_err(|_| LimitError::NotANumber { what })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conversions_round_trip() {
        for value in [0.0, 1.0, 3.41, -17.5, 12_345.678] {
            let near =
                |a: f64, b: f64| assert!((a - b).abs() <= 1e-12 * a.abs().max(1.0), "{a} {b}");
            near(Length::feet(value).to_feet(), value);
            near(Length::inches(value).to_inches(), value);
            near(Force::pounds(value).to_pounds(), value);
            near(
                ForcePerLength::pounds_per_foot(value).to_pounds_per_foot(),
                value,
            );
            near(Speed::miles_per_hour(value).to_miles_per_hour(), value);
            near(Temperature::fahrenheit(value).to_fahrenheit(), value);
            near(
                Pressure::pounds_per_square_foot(value).to_pounds_per_square_foot(),
                value,
            );
        }
        assert_eq!(Length::feet(1.0).to_inches(), 12.0);
    }

    #[test]
    fn the_constants_are_the_published_ones() {
        // NIST SP 811 (2008), appendix B.8: 1 lbf = 4.448 222 N, 1 lbf/ft = 14.593 90 N/m,
        // 1 lbf/ft² = 47.880 26 Pa, 1 mi/h = 0.447 04 m/s.
        assert!((Force::pounds(1.0).to_newtons() - 4.448_222).abs() < 5e-7);
        assert!(
            (ForcePerLength::pounds_per_foot(1.0).to_newtons_per_metre() - 14.593_90).abs() < 5e-6
        );
        assert!((Pressure::pounds_per_square_foot(1.0).to_pascals() - 47.880_26).abs() < 5e-6);
        assert!((Speed::miles_per_hour(1.0).to_metres_per_second() - 0.447_04).abs() < 1e-12);
    }

    #[test]
    fn rounding_is_against_the_worker() {
        let shown = |value: Result<Decimal, LimitError>| value.map(|v| v.to_string());
        assert_eq!(shown(round_up("d", 3.405_9, 2)), Ok("3.41".to_owned()));
        assert_eq!(shown(round_up("d", 3.41, 2)), Ok("3.41".to_owned()));
        assert_eq!(shown(round_up("d", 3.410_01, 2)), Ok("3.42".to_owned()));
        assert_eq!(shown(round_down("d", 3.419_9, 2)), Ok("3.41".to_owned()));
        assert_eq!(shown(round_down("d", 0.1 + 0.2, 1)), Ok("0.3".to_owned()));
        assert_eq!(
            round_up("d", f64::NAN, 2),
            Err(LimitError::NotANumber { what: "d" })
        );
    }
}
