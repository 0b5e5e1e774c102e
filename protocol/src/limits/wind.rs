//! Wind: its pressure, and the speed at which something is reached.
//! Owns: nothing.   Gives: pressure, force, and `speed_at` solved for any limit that grows with the wind.
//! May use: units, error.   Never: a wind limit for the crew: that is the employer's figure.

use crate::limits::error::LimitError;
use crate::limits::units::{Area, Force, Pressure, Speed};

/// Highest speed asked for: above it nobody is on a structure.
pub const SPEED_MOST: Speed = Speed::metres_per_second(60.0);

/// Velocity pressure, q = 0.613 V² Pa (V in m/s), the metric form of 0.00256 V² lb/ft² (mph). 0 to 60 m/s.
///
/// # Errors
/// [`LimitError::OutOfRange`] outside this range.
pub fn pressure(speed: Speed) -> Result<Pressure, LimitError> {
    let v = speed
        .within("wind speed", Speed::ZERO, SPEED_MOST)?
        .to_metres_per_second();
    Ok(Pressure::pascals(0.613 * v * v))
}

/// Force on an area, q·Cd·A. Drag coefficients: 1.0 conductor (NESC practice), 1.2 thin cylinder, 2.0 flat
/// plate (building-code explanations); 0.3 to 2.5 accepted.
///
/// # Errors
/// [`LimitError::OutOfRange`] outside these ranges.
pub fn force(speed: Speed, drag: f64, area: Area) -> Result<Force, LimitError> {
    if !(0.3..=2.5).contains(&drag) {
        return Err(LimitError::OutOfRange {
            what: "drag coefficient",
            found: drag,
            least: 0.3,
            most: 2.5,
            unit: "",
        });
    }
    let a = area.not_negative("area in the wind")?.to_square_metres();
    Ok(Force::newtons(pressure(speed)?.to_pascals() * drag * a))
}

/// What the wind reaches first.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Reached {
    /// The limit is already passed without wind.
    InStillAir,
    /// At this speed.
    At(Speed),
    /// Not up to [`SPEED_MOST`].
    NotReached,
}

/// The speed at which `utilisation`, a value that does not fall as the wind grows, reaches 1. Solved by
/// halving, not tabulated; given to 0.01 m/s, rounded down.
///
/// # Errors
/// Whatever `utilisation` says.
pub fn speed_at(
    utilisation: impl Fn(Speed) -> Result<f64, LimitError>,
) -> Result<Reached, LimitError> {
    if utilisation(Speed::ZERO)? >= 1.0 {
        return Ok(Reached::InStillAir);
    }
    if utilisation(SPEED_MOST)? < 1.0 {
        return Ok(Reached::NotReached);
    }
    let (mut low, mut high) = (0.0, SPEED_MOST.to_metres_per_second());
    while high - low > 1e-6 {
        let middle = (low + high) / 2.0;
        if utilisation(Speed::metres_per_second(middle))? < 1.0 {
            low = middle
        } else {
            high = middle
        }
    }
    Ok(Reached::At(Speed::metres_per_second(
        libm::floor(low * 100.0) / 100.0,
    )))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn both_published_forms_agree() {
        // 0.00256 V² lb/ft² (building-code explanations) against 0.613 V² Pa: within 0.1 %.
        for mph in 1..100 {
            let speed = Speed::miles_per_hour(f64::from(mph));
            let us = 0.00256 * f64::from(mph) * f64::from(mph);
            assert!((pressure(speed).unwrap().to_pounds_per_square_foot() / us - 1.0).abs() < 1e-3);
        }
    }

    #[test]
    fn the_speed_solved_is_where_the_limit_is() {
        let limit = Force::newtons(500.0);
        let at = |v: Speed| Ok(force(v, 1.2, Area::square_metres(0.9))?.ratio(limit));
        let Reached::At(speed) = speed_at(at).unwrap() else {
            panic!("not reached")
        };
        assert!(at(speed).unwrap() < 1.0);
        assert!(at(speed + Speed::metres_per_second(0.011)).unwrap() >= 1.0);
        assert_eq!(speed_at(|_| Ok(1.0)).unwrap(), Reached::InStillAir);
        assert_eq!(speed_at(|_| Ok(0.2)).unwrap(), Reached::NotReached);
    }
}
