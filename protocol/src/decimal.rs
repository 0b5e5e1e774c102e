//! Decimal: fixed-point numbers, so that every device judges a value against a limit alike.
//! Owns: nothing.   Gives: `Decimal` with exact comparison, text in and out.
//! May use: nothing of this crate.   Never: floating point where values are judged.

use core::cmp::Ordering;
use core::fmt;
use serde::{Deserialize, Serialize};

/// `digits / 10^scale`, scale 0 to 9. Equality and order are by value: 2.0 equals 2.00.
#[derive(Clone, Copy)]
pub struct Decimal {
    digits: i64,
    scale: u8,
}

// A pair of integers in the log; text wherever people or scripts read, so that no reader makes it a float.
impl Serialize for Decimal {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        if to.is_human_readable() {
            to.collect_str(self)
        } else {
            self.parts().serialize(to)
        }
    }
}

impl<'de> Deserialize<'de> for Decimal {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        use serde::de::Error;
        if from.is_human_readable() {
            String::deserialize(from)?.parse().map_err(D::Error::custom)
        } else {
            Self::try_from(<(i64, u8)>::deserialize(from)?).map_err(D::Error::custom)
        }
    }
}

/// Why a text or pair is not a [`Decimal`].
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum BadDecimal {
    /// Not a plain decimal number.
    #[error(
        "found `{found}`, expected a number such as 3.41 with at most 9 digits after the point"
    )]
    Text {
        /// What was given.
        found: String,
    },
    /// More digits after the point than are kept.
    #[error("found scale {scale}, expected 0 to 9 digits after the point")]
    Scale {
        /// What was given.
        scale: u8,
    },
}

impl Decimal {
    /// Zero.
    pub const ZERO: Self = Self {
        digits: 0,
        scale: 0,
    };

    /// `digits / 10^scale`.
    ///
    /// # Errors
    /// [`BadDecimal::Scale`] if `scale` is over 9.
    pub fn new(digits: i64, scale: u8) -> Result<Self, BadDecimal> {
        if scale > 9 {
            Err(BadDecimal::Scale { scale })
        } else {
            Ok(Self { digits, scale })
        }
    }

    /// A whole number.
    #[must_use]
    pub fn whole(digits: i64) -> Self {
        Self { digits, scale: 0 }
    }

    /// The digits without the point, and how many of them are after it.
    #[must_use]
    pub fn parts(self) -> (i64, u8) {
        (self.digits, self.scale)
    }

    /// The nearest floating-point number, for formulas and drawings; never for judging.
    #[must_use]
    #[allow(clippy::cast_precision_loss, reason = "said in the first line")]
    pub fn to_f64(self) -> f64 {
        // Powers of ten up to 10^9 are exact, so this is one rounding of the exact quotient.
        self.digits as f64
            / [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9][usize::from(self.scale.min(9))]
    }

    /// The value times 10^9, exact: `i64::MAX * 10^9` fits in an `i128`.
    fn scaled(self) -> i128 {
        i128::from(self.digits) * 10_i128.pow(9 - u32::from(self.scale.min(9)))
    }
}

impl PartialEq for Decimal {
    fn eq(&self, other: &Self) -> bool {
        self.scaled() == other.scaled()
    }
}
impl Eq for Decimal {}
impl PartialOrd for Decimal {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Decimal {
    fn cmp(&self, other: &Self) -> Ordering {
        self.scaled().cmp(&other.scaled())
    }
}

impl core::hash::Hash for Decimal {
    fn hash<H: core::hash::Hasher>(&self, state: &mut H) {
        self.scaled().hash(state);
    }
}

impl TryFrom<(i64, u8)> for Decimal {
    type Error = BadDecimal;
    fn try_from((digits, scale): (i64, u8)) -> Result<Self, BadDecimal> {
        Self::new(digits, scale)
    }
}
impl From<Decimal> for (i64, u8) {
    fn from(value: Decimal) -> Self {
        (value.digits, value.scale)
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = 10_u64.pow(u32::from(self.scale.min(9)));
        let size = self.digits.unsigned_abs();
        if self.digits < 0 {
            f.write_str("-")?;
        }
        write!(f, "{}", size / unit)?;
        if self.scale > 0 {
            write!(
                f,
                ".{:0width$}",
                size % unit,
                width = usize::from(self.scale)
            )?;
        }
        Ok(())
    }
}
impl fmt::Debug for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl core::str::FromStr for Decimal {
    type Err = BadDecimal;
    fn from_str(text: &str) -> Result<Self, BadDecimal> {
        let bad = || BadDecimal::Text {
            found: text.to_owned(),
        };
        let (sign, rest) = match text.strip_prefix('-') {
            Some(rest) => (-1, rest),
            None => (1, text),
        };
        let (whole, fraction) = rest.split_once('.').unwrap_or((rest, ""));
        let point = rest.contains('.');
        let digits_only = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
        if whole.is_empty()
            || (point && fraction.is_empty())
            || !digits_only(whole)
            || !digits_only(fraction)
        {
            return Err(bad());
        }
        let scale = u8::try_from(fraction.len()).map_err(|_| bad())?;
        let digits: i64 = format!("{whole}{fraction}").parse().map_err(|_| bad())?;
        Self::new(sign * digits, scale).map_err(|_| bad())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pair_of_integers_in_the_log() {
        let value: Decimal = "3.41".parse().unwrap_or(Decimal::ZERO);
        let bytes = postcard::to_stdvec(&value).unwrap_or_default();
        assert_eq!(
            bytes,
            postcard::to_stdvec(&(341_i64, 2_u8)).unwrap_or_default()
        );
        assert_eq!(postcard::from_bytes(&bytes), Ok(value));
        let scale_of_ten = postcard::to_stdvec(&(1_i64, 10_u8)).unwrap_or_default();
        assert!(postcard::from_bytes::<Decimal>(&scale_of_ten).is_err());
    }

    #[test]
    fn text_round_trips_and_compares_by_value() {
        for text in ["0", "3.41", "-0.05", "1234567.000000001", "2.00"] {
            let value: Decimal = text.parse().unwrap_or_else(|e| panic!("{text}: {e}"));
            assert_eq!(value.to_string(), text);
        }
        assert_eq!("2.0".parse::<Decimal>(), "2.00".parse());
        assert!(
            "3.40".parse::<Decimal>().unwrap_or(Decimal::ZERO)
                < "3.41".parse().unwrap_or(Decimal::ZERO)
        );
        for bad in [
            "",
            ".",
            "1.",
            ".5",
            "1e3",
            "+1",
            "--1",
            "1.0000000001",
            "9999999999999999999",
            "1,5",
        ] {
            assert!(bad.parse::<Decimal>().is_err(), "{bad:?} passed");
        }
    }
}
