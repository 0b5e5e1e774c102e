//! Transfer: taking a string's load on strain poles, and what comes back at release.
//! Owns: nothing.   Gives: take-up and turns, share of each pole, the case of one pole alone.
//! May use: units, error.   Never: ratings (they come from the items).
//!
//! Springs side by side: the line pulls with T₀ + k_line·x when its end is moved by x towards the structure;
//! the string with T₀ − k_s·x until it is slack; a pole with k·(e − x) once its take-up e is over its gap.
//! Source: equilibrium; no published worked example was found, the checks are by an independent energy
//! minimisation.

use crate::limits::error::LimitError;
use crate::limits::units::{Area, Force, ForcePerLength, Length, Pressure, Stiffness};

/// A strain pole with its hardware and screw.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Pole {
    /// Stiffness of pole and hardware in series.
    pub stiffness: Stiffness,
    /// Slack before it carries.
    pub gap: Length,
    /// Travel of the screw for each turn.
    pub pitch: Length,
}

/// What the poles work against.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Site {
    /// Tension in the string before.
    pub tension: Force,
    /// Stiffness of the line at its end.
    pub line: Stiffness,
    /// Stiffness of the string.
    pub string: Stiffness,
}

/// Forces at one take-up.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Shared {
    /// How far the conductor end has moved towards the structure.
    pub moved: Length,
    /// Tension left in the string; nothing: it is slack.
    pub string: Force,
    /// Force in each pole.
    pub poles: [Force; 2],
    /// Line tension.
    pub line: Force,
    /// The first pole's part of what the poles carry, 0 to 1.
    pub share: f64,
    /// Slack of the string.
    pub slack: Length,
}

/// Stiffness of a pole of this length and cross-section, in series with its hardware: 1/(L/EA + 1/k).
///
/// # Errors
/// [`LimitError`] for anything not above zero.
pub fn pole_stiffness(
    length: Length,
    area: Area,
    modulus: Pressure,
    hardware: Stiffness,
) -> Result<Stiffness, LimitError> {
    let ea = modulus.positive("modulus of the pole")?.to_pascals()
        * area.positive("area of the pole")?.to_square_metres();
    let compliance = length.positive("length of the pole")?.to_metres() / ea
        + 1.0
            / hardware
                .positive("stiffness of the hardware")?
                .to_newtons_per_metre();
    Ok(Stiffness::newtons_per_metre(1.0 / compliance))
}

/// Stiffness of a dead-end span at its end: 1/(S/EA + w²S³/12H³). More spans are softer.
///
/// Within 0.9 % of the catenary's in the check rows.
///
/// # Errors
/// [`LimitError`] for anything not above zero.
pub fn line_stiffness(
    span: Length,
    tension: Force,
    load: ForcePerLength,
    stiffness: Force,
) -> Result<Stiffness, LimitError> {
    let s = span.positive("span")?.to_metres();
    let h = tension.positive("horizontal tension")?.to_newtons();
    let w = load
        .positive("load on the conductor")?
        .to_newtons_per_metre();
    let ea = stiffness
        .positive("stiffness of the conductor")?
        .to_newtons();
    Ok(Stiffness::newtons_per_metre(
        1.0 / (s / ea + w * w * s * s * s / (12.0 * h * h * h)),
    ))
}

fn checked(site: &Site, poles: &[Pole; 2]) -> Result<(f64, f64, f64, [f64; 2]), LimitError> {
    let t0 = site.tension.positive("tension in the string")?.to_newtons();
    let k_line = site
        .line
        .positive("stiffness of the line")?
        .to_newtons_per_metre();
    let k_string = site
        .string
        .positive("stiffness of the string")?
        .to_newtons_per_metre();
    let mut k = [0.0; 2];
    for (k, pole) in k.iter_mut().zip(poles) {
        *k = pole
            .stiffness
            .not_negative("stiffness of a pole")?
            .to_newtons_per_metre();
        pole.gap.not_negative("gap of a pole")?;
        pole.pitch.positive("pitch of the screw")?;
    }
    if k[0] + k[1] > 0.0 {
        Ok((t0, k_line, k_string, k))
    } else {
        Err(LimitError::NotPositive {
            what: "stiffness of the poles",
            found: 0.0,
            unit: "N/m",
        })
    }
}

/// Forces when the screws have been turned. A pole of no stiffness is not there.
///
/// # Errors
/// [`LimitError`] for inputs that are not above zero.
pub fn share(site: &Site, poles: &[Pole; 2], turns: [f64; 2]) -> Result<Shared, LimitError> {
    let (t0, k_line, k_string, k) = checked(site, poles)?;
    let mut e = [0.0; 2];
    for i in 0..2 {
        if !turns[i].is_finite() || turns[i] < 0.0 {
            return Err(LimitError::NotPositive {
                what: "turns of the screw",
                found: turns[i],
                unit: "",
            });
        }
        e[i] = turns[i] * poles[i].pitch.to_metres() - poles[i].gap.to_metres();
    }
    // Which of the three members pull is not known before; of the eight cases one agrees with itself.
    // The forces grow steadily with x on one side and fall on the other, so there is exactly one.
    let pull = |x: f64| {
        let string = (t0 - k_string * x).max(0.0);
        let poles = [(k[0] * (e[0] - x)).max(0.0), (k[1] * (e[1] - x)).max(0.0)];
        (string, poles)
    };
    let mut found = 0.0;
    for case in 0_u8..8 {
        let on = |bit: u8| f64::from(case >> bit & 1);
        let (s, a, b) = (on(0), on(1), on(2));
        let stiffness = k_line + s * k_string + a * k[0] + b * k[1];
        let x = (a * k[0] * e[0] + b * k[1] * e[1] - (1.0 - s) * t0) / stiffness;
        let agrees = (s > 0.0) == (t0 - k_string * x > 0.0)
            && (a > 0.0) == (k[0] * (e[0] - x) > 0.0)
            && (b > 0.0) == (k[1] * (e[1] - x) > 0.0);
        if agrees {
            found = x;
            break;
        }
    }
    let (string, pole) = pull(found);
    let carried = pole[0] + pole[1];
    Ok(Shared {
        moved: Length::metres(found),
        string: Force::newtons(string),
        poles: [Force::newtons(pole[0]), Force::newtons(pole[1])],
        line: Force::newtons(t0 + k_line * found),
        share: if carried > 0.0 {
            pole[0] / carried
        } else {
            0.0
        },
        slack: Length::metres((found - t0 / k_string).max(0.0)),
    })
}

/// What it takes to unload the string and open a gap for the pin.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Relief {
    /// Movement at which the string is just free.
    pub free_at: Length,
    /// Turns of each screw for the clearance asked.
    pub turns: [f64; 2],
    /// Forces there.
    pub shared: Shared,
    /// Load that comes back on the string at release: the line's tension before.
    pub returns: Force,
    /// Force on one pole that carries all, at the same clearance.
    pub one_alone: Force,
}

/// Equal take-up of both poles until the string is free by `clearance`.
///
/// # Errors
/// [`LimitError`] for inputs that are not above zero; both poles must be there.
pub fn relieve(site: &Site, poles: &[Pole; 2], clearance: Length) -> Result<Relief, LimitError> {
    let (t0, k_line, k_string, k) = checked(site, poles)?;
    poles[0].stiffness.positive("stiffness of a pole")?;
    poles[1].stiffness.positive("stiffness of a pole")?;
    let free = t0 / k_string;
    let x = free + clearance.not_negative("clearance for the pin")?.to_metres();
    let line = t0 + k_line * x;
    let e = x + line / (k[0] + k[1]);
    let turns = [0, 1].map(|i| (poles[i].gap.to_metres() + e) / poles[i].pitch.to_metres());
    Ok(Relief {
        free_at: Length::metres(free),
        turns,
        shared: share(site, poles, turns)?,
        returns: Force::newtons(t0),
        one_alone: Force::newtons(line),
    })
}

/// Share of two poles on a yoke that can turn, after relief, by the arms from its pivot: F₁ = F·a₂/(a₁+a₂).
///
/// # Errors
/// [`LimitError`] for arms that are not above zero.
pub fn on_pivoting_yoke(
    load: Force,
    arm_first: Length,
    arm_second: Length,
) -> Result<[Force; 2], LimitError> {
    let f = load.not_negative("load")?;
    let a = arm_first.positive("arm of the yoke")?;
    let b = arm_second.positive("arm of the yoke")?;
    let first = f * b.ratio(a + b);
    Ok([first, f - first])
}

/// Two sticks that hold a vertical load, leaning apart by angles from the vertical: F₁ = V·sin a₂ / sin(a₁+a₂);
/// upright ones share by their arms.
///
/// # Errors
/// [`LimitError`] for angles outside 0 to 80°, or one upright and one leaning.
pub fn vertical_sticks(
    load: Force,
    first: crate::limits::units::Angle,
    second: crate::limits::units::Angle,
    arms: [Length; 2],
) -> Result<[Force; 2], LimitError> {
    use crate::limits::units::Angle;
    let v = load.not_negative("load")?;
    let a = first.within("lean of a stick", Angle::ZERO, Angle::degrees(80.0))?;
    let b = second.within("lean of a stick", Angle::ZERO, Angle::degrees(80.0))?;
    if a == Angle::ZERO && b == Angle::ZERO {
        return on_pivoting_yoke(v, arms[0], arms[1]);
    }
    if a == Angle::ZERO || b == Angle::ZERO {
        return Err(LimitError::NotApplicable {
            what: "leaning sticks",
            why: "one leans and the other does not: the upright one carries all",
        });
    }
    let sum = (a + b).sin();
    Ok([v * (b.sin() / sum), v * (a.sin() / sum)])
}

/// How many times over a rating covers a force; `None` if there is no force.
///
/// # Errors
/// [`LimitError`] for a rating that is not above zero.
pub fn factor_against(rating: Force, force: Force) -> Result<Option<f64>, LimitError> {
    let rating = rating.positive("rated working load")?;
    Ok(if force > Force::ZERO {
        Some(rating.ratio(force))
    } else {
        None
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    fn site() -> Site {
        Site {
            tension: Force::newtons(30_000.0),
            line: Stiffness::newtons_per_metre(27_000.0),
            string: Stiffness::newtons_per_metre(2.5e7),
        }
    }

    fn pole(k: f64) -> Pole {
        Pole {
            stiffness: Stiffness::newtons_per_metre(k),
            gap: Length::millimetres(12.0),
            pitch: Length::millimetres(5.0),
        }
    }

    #[test]
    fn forces_balance_at_every_turn() {
        let poles = [pole(3.2e6), pole(4.1e6)];
        for turns in 0..200 {
            for other in [0.0, 0.7, 3.0, 9.5] {
                let s = share(&site(), &poles, [f64::from(turns) / 10.0, other]).unwrap();
                let sum = s.string + s.poles[0] + s.poles[1];
                assert!((sum - s.line).abs().to_newtons() < 1e-4, "{turns} {other}");
                assert!(
                    s.poles[0] >= Force::ZERO
                        && s.poles[1] >= Force::ZERO
                        && s.string >= Force::ZERO
                );
            }
        }
    }

    #[test]
    fn equal_poles_share_equally_and_relief_frees_the_string() {
        let relief = relieve(
            &site(),
            &[pole(3.2e6), pole(3.2e6)],
            Length::millimetres(10.0),
        )
        .unwrap();
        assert!((relief.shared.share - 0.5).abs() < 1e-12);
        assert_eq!(relief.shared.string, Force::ZERO);
        assert!((relief.shared.slack.to_millimetres() - 10.0).abs() < 1e-6);
        assert!((relief.one_alone - relief.shared.line).abs().to_newtons() < 1e-6);
    }

    #[test]
    fn more_line_pull_never_less_pole_force() {
        let mut last = Force::ZERO;
        for tension in 1..100 {
            let at = Site {
                tension: Force::newtons(f64::from(tension) * 1000.0),
                ..site()
            };
            let now = relieve(&at, &[pole(3.2e6), pole(3.2e6)], Length::millimetres(10.0))
                .unwrap()
                .shared
                .poles[0];
            assert!(now > last);
            last = now;
        }
    }
}
