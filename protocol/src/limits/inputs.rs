//! Inputs: the named values that a plan gives to its limits, read with their units.
//! Owns: nothing.   Gives: `Inputs`, one getter for each kind of quantity, and what was asked for and is not there.
//! May use: units, error, decimal.   Never: a value that nobody gave.

use crate::decimal::Decimal;
use crate::limits::boom::Point;
use crate::limits::error::LimitError;
use crate::limits::units::{
    Angle, Area, Force, Length, Pressure, Speed, Stiffness, Temperature, Voltage,
};
use core::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

/// Named values with units and named words, and a memory of which were used.
#[derive(Clone, Debug, Default)]
pub struct Inputs {
    numbers: BTreeMap<String, (Decimal, String)>,
    words: BTreeMap<String, String>,
    used: RefCell<BTreeSet<String>>,
}

/// A unit's name and what makes the quantity from a number of it.
type Unit<T> = (&'static str, fn(f64) -> T);

/// An input as shown on the sheet.
#[derive(Clone, PartialEq, Eq, Debug, serde::Serialize)]
pub struct Shown {
    /// Its name in the plan.
    pub name: String,
    /// Its value with its unit, as the plan gives it.
    pub value: String,
}

impl Inputs {
    /// Gives a number.
    pub fn number(&mut self, name: impl Into<String>, value: Decimal, unit: impl Into<String>) {
        self.numbers.insert(name.into(), (value, unit.into()));
    }

    /// Gives a word.
    pub fn word(&mut self, name: impl Into<String>, value: impl Into<String>) {
        self.words.insert(name.into(), value.into());
    }

    /// These inputs without one.
    #[must_use]
    pub fn without(&self, name: &str) -> Self {
        let mut fewer = self.clone();
        fewer.numbers.remove(name);
        fewer.words.remove(name);
        fewer
    }

    /// Whether any of these is given.
    #[must_use]
    pub fn any(&self, names: &[&str]) -> bool {
        names
            .iter()
            .any(|name| self.numbers.contains_key(*name) || self.words.contains_key(*name))
    }

    /// Which of these are not given.
    #[must_use]
    pub fn missing(&self, names: &[&str]) -> Vec<String> {
        let given = |name: &str| self.numbers.contains_key(name) || self.words.contains_key(name);
        names
            .iter()
            .filter(|name| !given(name))
            .map(|name| (*name).to_owned())
            .collect()
    }

    /// Forgets which were used, and then remembers anew.
    pub fn start(&self) {
        self.used.borrow_mut().clear();
    }

    /// The inputs used since [`Inputs::start`], by name.
    #[must_use]
    pub fn used(&self) -> Vec<Shown> {
        let shown = |name: &String| {
            let number = self
                .numbers
                .get(name)
                .map(|(value, unit)| format!("{value} {unit}").trim_end().to_owned());
            let value = number.or_else(|| self.words.get(name).cloned())?;
            Some(Shown {
                name: name.clone(),
                value,
            })
        };
        self.used.borrow().iter().filter_map(shown).collect()
    }

    /// Inputs that nothing ever used: a misspelt name, most likely.
    #[must_use]
    pub fn never_used(&self, ever: &BTreeSet<String>) -> Vec<String> {
        self.numbers
            .keys()
            .chain(self.words.keys())
            .filter(|name| !ever.contains(*name))
            .cloned()
            .collect()
    }

    fn raw(&self, name: &str) -> Option<(f64, &str)> {
        let (value, unit) = self.numbers.get(name)?;
        self.used.borrow_mut().insert(name.to_owned());
        Some((value.to_f64(), unit.as_str()))
    }

    fn get<T>(&self, name: &str, units: &[Unit<T>]) -> Result<Option<T>, LimitError> {
        let Some((value, unit)) = self.raw(name) else {
            return Ok(None);
        };
        let found = units.iter().find(|(known, _)| *known == unit);
        let expected = || {
            units
                .iter()
                .map(|(known, _)| *known)
                .collect::<Vec<_>>()
                .join(", ")
        };
        found
            .map(|(_, make)| Some(make(value)))
            .ok_or_else(|| LimitError::Unit {
                what: name.to_owned(),
                found: unit.to_owned(),
                expected: expected(),
            })
    }

    fn need<T>(name: &str, value: Option<T>) -> Result<T, LimitError> {
        value.ok_or_else(|| LimitError::NotGiven {
            what: name.to_owned(),
        })
    }

    /// A word, if given.
    #[must_use]
    pub fn maybe_word(&self, name: &str) -> Option<&str> {
        let word = self.words.get(name)?;
        self.used.borrow_mut().insert(name.to_owned());
        Some(word)
    }

    /// A length in m, mm, ft or in, if given.
    ///
    /// # Errors
    /// [`LimitError::Unit`] for another unit.
    pub fn maybe_length(&self, name: &str) -> Result<Option<Length>, LimitError> {
        self.get(
            name,
            &[
                ("m", Length::metres),
                ("mm", Length::millimetres),
                ("ft", Length::feet),
                ("in", Length::inches),
            ],
        )
    }

    /// A length in m, mm, ft or in.
    ///
    /// # Errors
    /// [`LimitError`] if it is not given or in another unit.
    pub fn length(&self, name: &str) -> Result<Length, LimitError> {
        Self::need(name, self.maybe_length(name)?)
    }

    /// A force in N, kN or lbf, if given.
    ///
    /// # Errors
    /// [`LimitError::Unit`] for another unit.
    pub fn maybe_force(&self, name: &str) -> Result<Option<Force>, LimitError> {
        self.get(
            name,
            &[
                ("N", Force::newtons),
                ("kN", Force::kilonewtons),
                ("lbf", Force::pounds),
            ],
        )
    }

    /// A force in N, kN or lbf.
    ///
    /// # Errors
    /// [`LimitError`] if it is not given or in another unit.
    pub fn force(&self, name: &str) -> Result<Force, LimitError> {
        Self::need(name, self.maybe_force(name)?)
    }

    /// An angle in deg.
    ///
    /// # Errors
    /// [`LimitError`] if it is not given or in another unit.
    pub fn angle(&self, name: &str) -> Result<Angle, LimitError> {
        Self::need(name, self.get(name, &[("deg", Angle::degrees)])?)
    }

    /// A temperature in °C or °F (also written C and F).
    ///
    /// # Errors
    /// [`LimitError`] if it is not given or in another unit.
    pub fn temperature(&self, name: &str) -> Result<Temperature, LimitError> {
        let units: &[Unit<Temperature>] = &[
            ("°C", Temperature::celsius),
            ("C", Temperature::celsius),
            ("°F", Temperature::fahrenheit),
            ("F", Temperature::fahrenheit),
        ];
        Self::need(name, self.get(name, units)?)
    }

    /// A speed in m/s, km/h or mph.
    ///
    /// # Errors
    /// [`LimitError`] if it is not given or in another unit.
    pub fn speed(&self, name: &str) -> Result<Speed, LimitError> {
        let units: &[Unit<Speed>] = &[
            ("m/s", Speed::metres_per_second),
            ("km/h", Speed::kilometres_per_hour),
            ("mph", Speed::miles_per_hour),
        ];
        Self::need(name, self.get(name, units)?)
    }

    /// An area in m², mm² or ft² (also written m2, mm2 and ft2).
    ///
    /// # Errors
    /// [`LimitError`] if it is not given or in another unit.
    pub fn area(&self, name: &str) -> Result<Area, LimitError> {
        let units: &[Unit<Area>] = &[
            ("m²", Area::square_metres),
            ("m2", Area::square_metres),
            ("mm²", Area::square_millimetres),
            ("mm2", Area::square_millimetres),
            ("ft²", Area::square_feet),
            ("ft2", Area::square_feet),
        ];
        Self::need(name, self.get(name, units)?)
    }

    /// A modulus in GPa or psi.
    ///
    /// # Errors
    /// [`LimitError`] if it is not given or in another unit.
    pub fn modulus(&self, name: &str) -> Result<Pressure, LimitError> {
        let units: &[Unit<Pressure>] = &[
            ("GPa", Pressure::gigapascals),
            ("psi", Pressure::pounds_per_square_inch),
        ];
        Self::need(name, self.get(name, units)?)
    }

    /// A stiffness in N/m, kN/m or N/mm.
    ///
    /// # Errors
    /// [`LimitError`] if it is not given or in another unit.
    pub fn stiffness(&self, name: &str) -> Result<Stiffness, LimitError> {
        let units: &[Unit<Stiffness>] = &[
            ("N/m", Stiffness::newtons_per_metre),
            ("kN/m", |value| Stiffness::newtons_per_metre(value * 1000.0)),
            ("N/mm", |value| Stiffness::newtons_per_metre(value * 1000.0)),
        ];
        Self::need(name, self.get(name, units)?)
    }

    /// A plain number without a unit, if given; per unit values are written `pu` or without a unit.
    ///
    /// # Errors
    /// [`LimitError::Unit`] for another unit.
    pub fn maybe_plain(&self, name: &str) -> Result<Option<f64>, LimitError> {
        self.get(
            name,
            &[
                ("", |value| value),
                ("pu", |value| value),
                ("1", |value| value),
            ],
        )
    }

    /// A voltage in kV.
    ///
    /// # Errors
    /// [`LimitError`] if it is not given or in another unit.
    pub fn voltage(&self, name: &str) -> Result<Voltage, LimitError> {
        Self::need(name, self.get(name, &[("kV", Voltage::kilovolts)])?)
    }

    /// A whole number from 0 to 20 without a unit.
    ///
    /// # Errors
    /// [`LimitError`] if it is not given, has a unit, or is no such number.
    pub fn count(&self, name: &'static str) -> Result<u32, LimitError> {
        let value = Self::need(name, self.maybe_plain(name)?)?;
        if (0.0..=20.0).contains(&value) && libm::floor(value) == value {
            #[allow(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a whole number from 0 to 20"
            )]
            Ok(value as u32)
        } else {
            Err(LimitError::OutOfRange {
                what: name,
                found: value,
                least: 0.0,
                most: 20.0,
                unit: "",
            })
        }
    }

    /// A point, by its three coordinates `name_x`, `name_y` and `name_z`, if any of them is given.
    ///
    /// # Errors
    /// [`LimitError`] if one of them is not given or in another unit.
    pub fn maybe_point(&self, name: &str) -> Result<Option<Point>, LimitError> {
        let part = |axis: &str| format!("{name}_{axis}");
        let parts = [part("x"), part("y"), part("z")];
        if !self.any(&[&parts[0], &parts[1], &parts[2]]) {
            return Ok(None);
        }
        Ok(Some(Point {
            x: self.length(&parts[0])?,
            y: self.length(&parts[1])?,
            z: self.length(&parts[2])?,
        }))
    }
}
