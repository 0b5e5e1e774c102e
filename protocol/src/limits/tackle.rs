//! Tackle: ropes, blocks and slings.
//! Owns: nothing.   Gives: hauling pull, load on blocks, sling legs, working loads.
//! May use: units, error.   Never: a rating that the item does not give.

use crate::limits::error::LimitError;
use crate::limits::units::{Angle, Force, Length};

/// What a rope loses at each sheave.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Sheave {
    /// No friction: for comparison only.
    Frictionless,
    /// Wire rope on roller bearings, tension ratio 1.04 (Pipeline Rules of Thumb Handbook: efficiency 0.962).
    Roller,
    /// Wire rope on plain bearings, tension ratio 1.09 (same: efficiency 0.917).
    Plain,
    /// Fibre rope in blocks: 12 % more for each sheave by the linear rule, which fits pulls observed and
    /// printed in Workshop Receipts, 5th series, to 2 %.
    FibreRope,
    /// The linear rule with another part for each sheave, 0 to 0.5; 0.10 of field manuals is 9 % too little
    /// on the rows of Workshop Receipts.
    Linear(f64),
    /// A tension ratio of the maker's, 1.0 to 1.5.
    Ratio(f64),
}

/// Pulls of a tackle.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Tackle {
    /// Pull in the hauling part while raising.
    pub raising: Force,
    /// Pull that holds while lowering.
    pub holding: Force,
    /// Without friction.
    pub frictionless: Force,
    /// Load over parts times pull, 0 to 1.
    pub efficiency: f64,
    /// Load on the upper block's anchor while raising: the load, and the hauling part's pull where it leaves
    /// that block; less the pull where the hauling part leaves the moving block upwards.
    pub anchor: Force,
    /// Rope hauled for each metre of lift.
    pub rope_per_lift: f64,
}

/// Pull through blocks. `parts` at the moving block, `sheaves` that the rope turns over, lead blocks
/// included; both 1 to 20 (no sheave: 0).
///
/// Source: P = W·K^S·(K−1)/(K^n−1) while raising, 1/K for K while lowering; linear rule
/// P = (W/n)(1 + S·0.12) for fibre rope.
///
/// # Errors
/// [`LimitError`] for counts or ratios outside their range.
pub fn tackle(load: Force, parts: u32, sheaves: u32, sheave: Sheave) -> Result<Tackle, LimitError> {
    let w = load.not_negative("load on the tackle")?.to_newtons();
    for (what, count, least) in [("parts of the tackle", parts, 1), ("sheaves", sheaves, 0)] {
        if !(least..=20).contains(&count) {
            return Err(LimitError::OutOfRange {
                what,
                found: f64::from(count),
                least: f64::from(least),
                most: 20.0,
                unit: "",
            });
        }
    }
    let (n, s) = (f64::from(parts), f64::from(sheaves));
    let by_ratio = |k: f64| {
        if k == 1.0 {
            w / n
        } else {
            w * libm::pow(k, s) * (k - 1.0) / (libm::pow(k, n) - 1.0)
        }
    };
    let linear = |part: f64| (w / n * (1.0 + part * s), w / n / (1.0 + part * s));
    let (raising, holding) = match sheave {
        Sheave::Frictionless => (w / n, w / n),
        Sheave::Roller => (by_ratio(1.04), by_ratio(1.0 / 1.04)),
        Sheave::Plain => (by_ratio(1.09), by_ratio(1.0 / 1.09)),
        Sheave::FibreRope => linear(0.12),
        Sheave::Linear(part) if (0.0..=0.5).contains(&part) => linear(part),
        Sheave::Linear(part) => {
            return Err(LimitError::OutOfRange {
                what: "part for each sheave",
                found: part,
                least: 0.0,
                most: 0.5,
                unit: "",
            });
        }
        Sheave::Ratio(k) if (1.0..=1.5).contains(&k) => (by_ratio(k), by_ratio(1.0 / k)),
        Sheave::Ratio(k) => {
            return Err(LimitError::OutOfRange {
                what: "tension ratio of a sheave",
                found: k,
                least: 1.0,
                most: 1.5,
                unit: "",
            });
        }
    };
    Ok(Tackle {
        raising: Force::newtons(raising),
        holding: Force::newtons(holding),
        frictionless: Force::newtons(w / n),
        efficiency: if raising > 0.0 {
            w / (n * raising)
        } else {
            1.0
        },
        anchor: Force::newtons(w + at_upper_block(raising, parts, sheaves, sheave)),
        rope_per_lift: n,
    })
}

/// The hauling part's pull on the upper block: downwards if it leaves that block (as many sheaves as parts,
/// or more with lead blocks, which add their friction after it), upwards if it leaves the moving block.
fn at_upper_block(pull: f64, parts: u32, sheaves: u32, sheave: Sheave) -> f64 {
    let leads = f64::from(sheaves.saturating_sub(parts));
    if sheaves < parts {
        return -pull;
    }
    match sheave {
        Sheave::Frictionless => pull,
        Sheave::Roller => pull / libm::pow(1.04, leads),
        Sheave::Plain => pull / libm::pow(1.09, leads),
        Sheave::Ratio(k) => pull / libm::pow(k, leads),
        // By the linear rule a lead block's part is not separable; all of the pull is the safer figure.
        Sheave::FibreRope | Sheave::Linear(_) => pull,
    }
}

/// Load on a block from the two parts of its rope: √(T₁² + T₂² + 2·T₁·T₂·cos φ), φ between the parts
/// (0°: side by side, twice the pull).
///
/// # Errors
/// [`LimitError`] for an angle outside 0 to 180°.
pub fn block_load(first: Force, second: Force, between: Angle) -> Result<Force, LimitError> {
    let a = first.not_negative("rope tension")?.to_newtons();
    let b = second.not_negative("rope tension")?.to_newtons();
    let phi = between.within(
        "angle between the parts",
        Angle::ZERO,
        Angle::degrees(180.0),
    )?;
    Ok(Force::newtons(
        (a * a + b * b + 2.0 * a * b * phi.cos()).max(0.0).sqrt(),
    ))
}

/// Load on each of equal sling legs: W/(N·sin a), a from the horizontal, 5 to 90°. Of four legs two may
/// carry all (common practice, no source): see `if_two_carry`.
///
/// # Errors
/// [`LimitError`] for angles or counts outside their range.
pub fn sling_leg(load: Force, legs: u32, horizontal_angle: Angle) -> Result<SlingLeg, LimitError> {
    let w = load.not_negative("load on the sling")?;
    let a = horizontal_angle.within("sling angle", Angle::degrees(5.0), Angle::degrees(90.0))?;
    if !(1..=4).contains(&legs) {
        return Err(LimitError::OutOfRange {
            what: "sling legs",
            found: f64::from(legs),
            least: 1.0,
            most: 4.0,
            unit: "",
        });
    }
    Ok(SlingLeg {
        each: w / (f64::from(legs) * a.sin()),
        if_two_carry: w / (f64::from(legs.min(2)) * a.sin()),
    })
}

/// Load on sling legs.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SlingLeg {
    /// On each, if all carry alike.
    pub each: Force,
    /// On each of two that carry all.
    pub if_two_carry: Force,
}

/// Two sling legs at different angles from the horizontal: F₁ = W·cos a₂ / sin(a₁ + a₂).
///
/// # Errors
/// [`LimitError`] for angles outside 5 to 90°.
pub fn unequal_sling(load: Force, first: Angle, second: Angle) -> Result<[Force; 2], LimitError> {
    let w = load.not_negative("load on the sling")?;
    let a = first.within("sling angle", Angle::degrees(5.0), Angle::degrees(90.0))?;
    let b = second.within("sling angle", Angle::degrees(5.0), Angle::degrees(90.0))?;
    let sum = (a + b).sin();
    if sum <= 1e-9 {
        return Err(LimitError::NoEquilibrium {
            what: "sling",
            why: "two upright legs: how they share depends on the load's centre",
        });
    }
    Ok([w * (b.cos() / sum), w * (a.cos() / sum)])
}

/// Kinds of natural and synthetic rope with a published strength rule.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Fibre {
    /// 900 C² lbf (US Navy builder training manual).
    Manila,
    /// 2,400 C² lbf (same).
    Nylon,
    /// 2.0 times manila (a seamanship page's comparison factors).
    Polyester,
    /// 1.4 times manila (same).
    Polypropylene,
}

/// Breaking strength of new rope by its circumference C in inches, 0.5 to 8 in of diameter-times-π. A
/// maker's figure for the rope at hand goes before this.
///
/// # Errors
/// [`LimitError::OutOfRange`] for diameters outside 4 to 60 mm.
pub fn rope_strength(fibre: Fibre, diameter: Length) -> Result<Force, LimitError> {
    let d = diameter.within(
        "rope diameter",
        Length::millimetres(4.0),
        Length::millimetres(60.0),
    )?;
    let c = core::f64::consts::PI * d.to_inches();
    let pounds = match fibre {
        Fibre::Manila => 900.0 * c * c,
        Fibre::Nylon => 2400.0 * c * c,
        Fibre::Polyester => 2.0 * 900.0 * c * c,
        Fibre::Polypropylene => 1.4 * 900.0 * c * c,
    };
    Ok(Force::pounds(pounds))
}

/// Working load of a rope: breaking strength, what is left of it by knots or splices (0.4 to 1), over a
/// factor of safety (at least 5 for a tackle, 10 where people hang on it; common practice and DOE-STD-1090
/// section 11.3 for slings).
///
/// # Errors
/// [`LimitError::OutOfRange`] outside these.
pub fn working_load(breaking: Force, left_by_knots: f64, factor: f64) -> Result<Force, LimitError> {
    let breaking = breaking.positive("breaking strength")?;
    if !(0.4..=1.0).contains(&left_by_knots) {
        return Err(LimitError::OutOfRange {
            what: "strength left by knots",
            found: left_by_knots,
            least: 0.4,
            most: 1.0,
            unit: "",
        });
    }
    if !(3.0..=20.0).contains(&factor) {
        return Err(LimitError::OutOfRange {
            what: "factor of safety",
            found: factor,
            least: 3.0,
            most: 20.0,
            unit: "",
        });
    }
    Ok(breaking * (left_by_knots / factor))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn fibre_rope_pulls_as_observed() {
        // Workshop Receipts, 5th series: pull as a part of the load, 1 to 6 parts of white rope.
        for (parts, pull) in [
            (1, 1.1),
            (2, 0.62),
            (3, 0.45),
            (4, 0.37),
            (5, 0.32),
            (6, 0.28),
        ] {
            let found = tackle(Force::newtons(1000.0), parts, parts, Sheave::FibreRope)
                .unwrap()
                .raising
                .to_newtons()
                / 1000.0;
            assert!((found / pull - 1.0).abs() < 0.03, "{parts}: {found} {pull}");
        }
    }

    #[test]
    fn friction_never_helps_raising_and_always_helps_holding() {
        for parts in 1..8 {
            for sheaves in 0..9 {
                for sheave in [
                    Sheave::Roller,
                    Sheave::Plain,
                    Sheave::FibreRope,
                    Sheave::Ratio(1.2),
                ] {
                    let t = tackle(
                        Force::newtons(5000.0),
                        parts,
                        sheaves.max(parts - 1),
                        sheave,
                    )
                    .unwrap();
                    assert!(t.raising >= t.frictionless - Force::newtons(1e-9));
                    assert!(t.holding <= t.frictionless + Force::newtons(1e-9));
                }
            }
        }
    }

    #[test]
    fn a_block_with_parallel_parts_carries_twice_the_pull() {
        let t = Force::newtons(700.0);
        assert!((block_load(t, t, Angle::ZERO).unwrap().to_newtons() - 1400.0).abs() < 1e-9);
        assert!(
            block_load(t, t, Angle::degrees(180.0))
                .unwrap()
                .to_newtons()
                < 1e-4
        );
    }
}
