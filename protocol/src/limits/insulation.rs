//! Insulation: what a live-line tool needs to be fit: clear length, electrical test, daily wipe.
//! Owns: nothing.   Gives: `clear_length_least`, test voltages, `test_due`.
//! May use: units, error, approach.   Never: whether a given stick was wiped (facts).
//!
//! Source: 29 CFR 1910.269(j)(1) and (j)(2), Table R-7 footnote 3. The separate minimum tool insulation
//! distances of IEEE Std 516 were not found in a public source and are not used.

use crate::decimal::Decimal;
use crate::limits::approach::Approach;
use crate::limits::error::LimitError;
use crate::limits::units::{Length, round_up};

/// Least clear insulating length of a tool in the gap: the approach distance, and for tools that support
/// the conductor the length of the string if that is greater (California Title 8 section 2940.2(b) accepts
/// either; the greater one is the safer).
///
/// Source: 29 CFR 1910.269 Table R-7 footnote 3.
///
/// # Errors
/// [`LimitError::NotPositive`] for a string length that is not above zero.
pub fn clear_length_least(
    approach: &Approach,
    string: Option<Length>,
) -> Result<Decimal, LimitError> {
    let by_string = match string {
        Some(length) => round_up(
            "length of the string",
            length.positive("length of the string")?.to_metres(),
            2,
        )?,
        None => Decimal::ZERO,
    };
    Ok(approach.distance.max(by_string))
}

/// What a tool is made of.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Material {
    /// Fibreglass-reinforced plastic.
    Fibreglass,
    /// Wood.
    Wood,
}

/// An electrical test.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct ElectricalTest {
    /// Volts for each metre of working length.
    pub volts_per_metre: u32,
    /// For so many minutes.
    pub minutes: u32,
    /// Section.
    pub source: &'static str,
}

/// The in-service test, over the whole working length and for fibreglass under wet conditions.
#[must_use]
pub fn in_service_test(material: Material) -> ElectricalTest {
    match material {
        Material::Fibreglass => ElectricalTest {
            volts_per_metre: 246_100,
            minutes: 1,
            source: "29 CFR 1910.269(j)(2)(iii)(E)",
        },
        Material::Wood => ElectricalTest {
            volts_per_metre: 164_000,
            minutes: 1,
            source: "29 CFR 1910.269(j)(2)(iii)(E)",
        },
    }
}

/// The design test of new tools.
#[must_use]
pub fn design_test(material: Material) -> ElectricalTest {
    match material {
        Material::Fibreglass => ElectricalTest {
            volts_per_metre: 328_100,
            minutes: 5,
            source: "29 CFR 1910.269(j)(1)(i)",
        },
        Material::Wood => ElectricalTest {
            volts_per_metre: 246_100,
            minutes: 3,
            source: "29 CFR 1910.269(j)(1)(ii)",
        },
    }
}

/// Longest time between examinations of tools for primary protection, months: 29 CFR 1910.269(j)(2)(iii).
pub const TEST_MONTHS_MOST: u16 = 24;

/// Whether an examination this many months ago is still good; an employer may ask for less than
/// [`TEST_MONTHS_MOST`], not for more.
#[must_use]
pub fn test_is_good(age_months: u16, employer_months: Option<u16>) -> bool {
    age_months
        <= employer_months
            .unwrap_or(TEST_MONTHS_MOST)
            .min(TEST_MONTHS_MOST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_employer_can_ask_for_less_and_not_for_more() {
        assert!(test_is_good(24, None) && !test_is_good(25, None));
        assert!(!test_is_good(13, Some(12)) && test_is_good(12, Some(12)));
        assert!(!test_is_good(25, Some(36)));
    }
}
