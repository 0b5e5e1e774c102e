//! Approach: how near anyone and anything may come to an energised part.
//! Owns: nothing.   Gives: minimum approach distances by equation and by table, and the working clearance.
//! May use: units, error.   Never: an employer's own distance, which may be greater and then governs.
//!
//! Source of all of it: 29 CFR 1910.269(l)(3), Tables and Appendix B, as printed in the CFR of
//! 2015 (29 CFR 1926.960(c)(1) repeats them). A planning aid: local codes, the utility's rules and licensed
//! engineers decide.

use crate::decimal::Decimal;
use crate::limits::error::LimitError;
use crate::limits::units::{Length, METRES_PER_FOOT, Voltage, round_near, round_up};

/// Between what and what the distance is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Exposure {
    /// A phase and ground; hot-stick work from a grounded structure.
    PhaseToGround,
    /// Two phases.
    PhaseToPhase,
}

/// What is in the gap.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Gap {
    /// The employer can show that there is air only: no insulated tool across it, no large conductive object.
    AirOnly,
    /// A tool or another object, or nobody has shown that there is none. The case of hot-stick work.
    ToolOrObject,
    /// As the printed Tables R-7 and 14 to 21 have it: phase to ground a tool, phase to phase air only.
    AsTabled,
}

/// The maximum anticipated phase-to-ground transient overvoltage, per unit.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Surge {
    /// From an engineering analysis of the employer's. The conditions that it assumed (reclosing blocked,
    /// gaps fitted) must be there during the work (Appendix B IV.B.1).
    Known(f64),
    /// Not known: Table R-9.
    Assumed,
}

/// The two allowed ways above 900 m, which must not be mixed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum AltitudeRule {
    /// Table R-3: the factor multiplies the electrical part only.
    Equation,
    /// Footnotes of Tables: the factor multiplies the whole tabled distance.
    TableFootnote,
}

/// A minimum approach distance with all that it was made from.
#[derive(Clone, PartialEq, Debug)]
pub struct Approach {
    /// The distance, rounded up to 0.01 m.
    pub distance: Decimal,
    /// The same in feet, from the rounded metres, rounded up to 0.01 ft.
    pub distance_feet: Decimal,
    /// Before rounding.
    pub exact: Length,
    /// The part for inadvertent movement, M.
    pub inadvertent: Length,
    /// The electrical part after the altitude factor.
    pub electrical: Length,
    /// Per-unit overvoltage used, phase to ground; `None` up to 5 kV, where none enters.
    pub surge: Option<f64>,
    /// Whether it was assumed from a table.
    pub surge_assumed: bool,
    /// Saturation factor a; `None` up to 72.5 kV.
    pub saturation: Option<f64>,
    /// Altitude factor A of Table R-5.
    pub altitude_factor: f64,
    /// Which altitude rule was used.
    pub altitude_rule: AltitudeRule,
    /// Table and section.
    pub source: &'static str,
}

/// Lowest and highest phase-to-phase voltage of the equations, kV.
pub const VOLTAGE_RANGE_KV: (f64, f64) = (0.301, 800.0);
/// No value is published below this per-unit overvoltage (Appendix B Tables 14 to 21).
pub const SURGE_LEAST: f64 = 1.5;
/// No value is published above this one.
pub const SURGE_MOST: f64 = 3.5;

/// Minimum approach distance for alternating current.
///
/// `voltage` is the maximum system voltage phase to phase, 0.301 to 800 kV; the tables use the top of each
/// range ([`table_top`]), the equation allows the actual maximum. `altitude` −500 m to 6,000 m. A known
/// surge is 1.5 to 3.5 per unit and matters above 72.5 kV only; below, the source fixes 3.0.
///
/// Source: 29 CFR 1910.269(l)(3) Table R-3; up to 72.5 kV with D of Table R-4, above with C and a.
///
/// # Errors
/// [`LimitError::OutOfRange`] outside these ranges (up to 300 V no distance exists: avoid contact).
pub fn minimum_approach(
    voltage: Voltage,
    exposure: Exposure,
    gap: Gap,
    surge: Surge,
    altitude: Length,
    rule: AltitudeRule,
) -> Result<Approach, LimitError> {
    let (low, high) = VOLTAGE_RANGE_KV;
    let voltage = voltage.within(
        "system voltage",
        Voltage::kilovolts(low),
        Voltage::kilovolts(high),
    )?;
    let factor = altitude_factor(altitude)?;
    let kv = voltage.to_kilovolts();
    let parts = if kv <= 5.0 {
        low_voltage(kv)
    } else if kv <= 72.5 {
        medium_voltage(voltage, exposure)?
    } else {
        high_voltage(voltage, exposure, gap, surge)?
    };
    finish(parts, factor, rule, kv)
}

/// The parts of a distance before altitude and rounding.
struct Parts {
    inadvertent_m: f64,
    electrical_m: f64,
    surge: Option<f64>,
    surge_assumed: bool,
    saturation: Option<f64>,
    source: &'static str,
}

fn low_voltage(kv: f64) -> Parts {
    Parts {
        inadvertent_m: if kv <= 0.75 { 0.31 } else { 0.61 },
        electrical_m: 0.02,
        surge: None,
        surge_assumed: false,
        saturation: None,
        source: "29 CFR 1910.269 Table R-3, 301 V to 5 kV",
    }
}

fn medium_voltage(voltage: Voltage, exposure: Exposure) -> Result<Parts, LimitError> {
    let column = usize::from(exposure == Exposure::PhaseToPhase);
    let row = TABLE_R4.iter().find(|row| voltage.to_kilovolts() <= row.0);
    let (_, electrical) = row.ok_or(LimitError::NotANumber { what: "Table R-4" })?;
    Ok(Parts {
        inadvertent_m: 0.61,
        electrical_m: electrical[column],
        surge: Some(MEDIUM_SURGE),
        surge_assumed: true,
        saturation: None,
        source: "29 CFR 1910.269 Tables R-3 and R-4, 5.1 to 72.5 kV",
    })
}

fn high_voltage(
    voltage: Voltage,
    exposure: Exposure,
    gap: Gap,
    surge: Surge,
) -> Result<Parts, LimitError> {
    let (t_ground, assumed) = match surge {
        Surge::Known(t) if (SURGE_LEAST..=SURGE_MOST).contains(&t) => (t, false),
        Surge::Known(t) => {
            return Err(LimitError::OutOfRange {
                what: "transient overvoltage",
                found: t,
                least: SURGE_LEAST,
                most: SURGE_MOST,
                unit: "per unit",
            });
        }
        Surge::Assumed => (assumed_surge(voltage)?, true),
    };
    let air_only = match gap {
        Gap::AirOnly => true,
        Gap::ToolOrObject => false,
        Gap::AsTabled => exposure == Exposure::PhaseToPhase,
    };
    let t = match exposure {
        Exposure::PhaseToGround => t_ground,
        Exposure::PhaseToPhase => 1.35 * t_ground + 0.45,
    };
    let v_ground = voltage.to_kilovolts() / 3.0_f64.sqrt();
    let saturation = saturation_factor(exposure, air_only, t * v_ground * 2.0_f64.sqrt());
    let c = if air_only { 0.01 } else { 0.011 };
    Ok(Parts {
        inadvertent_m: 0.31,
        electrical_m: METRES_PER_FOOT * (c + saturation) * v_ground * t,
        surge: Some(t_ground),
        surge_assumed: assumed,
        saturation: Some(saturation),
        source: "29 CFR 1910.269 Table R-3, above 72.5 kV",
    })
}

fn finish(parts: Parts, factor: f64, rule: AltitudeRule, kv: f64) -> Result<Approach, LimitError> {
    // Table R-3 has no altitude factor up to 5 kV; Table R-6's footnote does.
    let on_electrical = if kv <= 5.0 { 1.0 } else { factor };
    let (electrical, exact) = match rule {
        AltitudeRule::Equation => {
            let electrical = parts.electrical_m * on_electrical;
            (electrical, electrical + parts.inadvertent_m)
        }
        AltitudeRule::TableFootnote => {
            // The tabled distance is a rounded one, and it is what the footnote multiplies.
            let tabled = round_up(
                "tabled distance",
                parts.electrical_m + parts.inadvertent_m,
                2,
            )?;
            (parts.electrical_m, tabled.to_f64() * factor)
        }
    };
    let distance = round_up("minimum approach distance", exact, 2)?;
    Ok(Approach {
        distance,
        distance_feet: round_up(
            "minimum approach distance",
            distance.to_f64() / METRES_PER_FOOT,
            2,
        )?,
        exact: Length::metres(exact),
        inadvertent: Length::metres(parts.inadvertent_m),
        electrical: Length::metres(electrical),
        surge: parts.surge,
        surge_assumed: parts.surge_assumed,
        saturation: parts.saturation,
        altitude_factor: factor,
        altitude_rule: rule,
        source: parts.source,
    })
}

/// Saturation factor a of Table R-3 at a peak voltage in kV. Upper bounds of the ranges are inclusive,
/// which reproduces every published row. Phase to phase with a tool or object in the gap uses the
/// phase-to-ground lines at the phase-to-phase peak (Table R-3 footnote 3).
fn saturation_factor(exposure: Exposure, air_only: bool, peak_kv: f64) -> f64 {
    let lines: &[(f64, f64, f64)] = if exposure == Exposure::PhaseToPhase && air_only {
        &[
            (630.0, 0.0, f64::INFINITY),
            (848.0, 630.0, 155_000.0),
            (1131.0, 633.6, 152_207.0),
            (1485.0, 628.0, 153_846.0),
            (f64::INFINITY, 350.5, 203_666.0),
        ]
    } else {
        &[
            (635.0, 0.0, f64::INFINITY),
            (915.0, 635.0, 140_000.0),
            (1050.0, 645.0, 135_000.0),
            (f64::INFINITY, 675.0, 125_000.0),
        ]
    };
    lines
        .iter()
        .find(|line| peak_kv <= line.0)
        .map_or(0.0, |line| (peak_kv - line.1) / line.2)
}

/// D of Table R-4, m: top of the range in kV, phase to ground and phase to phase.
const TABLE_R4: [(f64, [f64; 2]); 4] = [
    (15.0, [0.04, 0.07]),
    (36.0, [0.16, 0.28]),
    (46.0, [0.23, 0.37]),
    (72.5, [0.39, 0.59]),
];
/// Per-unit overvoltage behind Table R-4 (Appendix B III.B).
const MEDIUM_SURGE: f64 = 3.0;

/// Electrical component for 5.1 to 72.5 kV by the method behind Table R-4: the withstand is 15 % under the
/// critical sparkover of a rod gap, interpolated in Appendix B Table 1. Not rounded.
///
/// Source: 29 CFR 1910.269 Appendix B III.B and Tables 1 and 2.
///
/// # Errors
/// [`LimitError::OutOfRange`] outside 5.1 to 72.5 kV.
pub fn electrical_component_by_rod_gap(
    voltage: Voltage,
    exposure: Exposure,
) -> Result<Length, LimitError> {
    let voltage = voltage.within(
        "system voltage",
        Voltage::kilovolts(5.1),
        Voltage::kilovolts(72.5),
    )?;
    let t = match exposure {
        Exposure::PhaseToGround => MEDIUM_SURGE,
        Exposure::PhaseToPhase => 1.35 * MEDIUM_SURGE + 0.45,
    };
    let peak_kv = voltage.to_kilovolts() / 3.0_f64.sqrt() * 2.0_f64.sqrt() * t / 0.85;
    let above = ROD_GAP.iter().position(|point| point.0 >= peak_kv);
    let (low, high) = match above {
        // Below the first point the line goes through nothing at nothing.
        Some(0) => ((0.0, 0.0), ROD_GAP[0]),
        Some(at) => (ROD_GAP[at - 1], ROD_GAP[at]),
        None => {
            return Err(LimitError::OutOfRange {
                what: "sparkover voltage",
                found: peak_kv,
                least: 0.0,
                most: 322.0,
                unit: "kV",
            });
        }
    };
    let centimetres = low.1 + (high.1 - low.1) * (peak_kv - low.0) / (high.0 - low.0);
    Ok(Length::metres(centimetres / 100.0))
}

/// Rod-to-rod sparkover, kV peak, against gap, cm (Appendix B Table 1).
const ROD_GAP: [(f64, f64); 19] = [
    (25.0, 2.0),
    (36.0, 3.0),
    (46.0, 4.0),
    (53.0, 5.0),
    (60.0, 6.0),
    (70.0, 8.0),
    (79.0, 10.0),
    (86.0, 12.0),
    (95.0, 14.0),
    (104.0, 16.0),
    (112.0, 18.0),
    (120.0, 20.0),
    (143.0, 25.0),
    (167.0, 30.0),
    (192.0, 35.0),
    (218.0, 40.0),
    (243.0, 45.0),
    (270.0, 50.0),
    (322.0, 60.0),
];

/// Table R-5: top of each band, m, and the factor A. Bands are printed in whole metres (901, 1201…); a
/// height between two bands takes the higher one's factor.
const TABLE_R5: [(f64, f64); 13] = [
    (900.0, 1.00),
    (1200.0, 1.02),
    (1500.0, 1.05),
    (1800.0, 1.08),
    (2100.0, 1.11),
    (2400.0, 1.14),
    (2700.0, 1.17),
    (3000.0, 1.20),
    (3600.0, 1.25),
    (4200.0, 1.30),
    (4800.0, 1.35),
    (5400.0, 1.39),
    (6000.0, 1.44),
];

/// Altitude factor A. Source: 29 CFR 1910.269 Table R-5.
///
/// # Errors
/// [`LimitError::OutOfRange`] below −500 m or above 6,000 m.
pub fn altitude_factor(altitude: Length) -> Result<f64, LimitError> {
    let altitude = altitude
        .within("altitude", Length::metres(-500.0), Length::metres(6000.0))?
        .to_metres();
    TABLE_R5
        .iter()
        .find(|band| altitude <= band.0)
        .map(|band| band.1)
        .ok_or(LimitError::NotANumber { what: "altitude" })
}

/// Per-unit overvoltage to assume without an analysis. Source: 29 CFR 1910.269 Table R-9.
///
/// # Errors
/// [`LimitError::OutOfRange`] outside 72.6 to 800 kV.
pub fn assumed_surge(voltage: Voltage) -> Result<f64, LimitError> {
    let kv = voltage
        .within(
            "system voltage",
            Voltage::kilovolts(72.5),
            Voltage::kilovolts(800.0),
        )?
        .to_kilovolts();
    Ok(if kv <= 420.0 {
        3.5
    } else if kv <= 550.0 {
        3.0
    } else {
        2.5
    })
}

/// The top of the voltage range in which the tables put a nominal voltage, kV; by the tables a line is
/// judged at the top of its range. Source: 29 CFR 1910.269 Tables.
///
/// # Errors
/// [`LimitError::OutOfRange`] outside 0.301 to 800 kV.
pub fn table_top(voltage: Voltage) -> Result<Voltage, LimitError> {
    const TOPS: [f64; 14] = [
        0.75, 5.0, 15.0, 36.0, 46.0, 72.5, 121.0, 145.0, 169.0, 242.0, 362.0, 420.0, 550.0, 800.0,
    ];
    let (low, high) = VOLTAGE_RANGE_KV;
    let kv = voltage
        .within(
            "system voltage",
            Voltage::kilovolts(low),
            Voltage::kilovolts(high),
        )?
        .to_kilovolts();
    TOPS.iter()
        .find(|top| kv <= **top)
        .map(|top| Voltage::kilovolts(*top))
        .ok_or(LimitError::NotANumber {
            what: "system voltage",
        })
}

/// Minimum approach distance for direct current, as printed; no equation is published.
///
/// `voltage` is the maximum line-to-ground voltage, up to 750 kV: the printed value at or above it is
/// taken. `surge` 1.5 to 1.8 per unit, taken up to the next printed tenth; `None`: 1.8 (Table R-9).
/// Altitude as the footnote of Table R-7. Source: 29 CFR 1910.269 Table R-8.
///
/// # Errors
/// [`LimitError::OutOfRange`] outside the printed table.
pub fn minimum_approach_dc(
    voltage: Voltage,
    surge: Option<f64>,
    altitude: Length,
) -> Result<Decimal, LimitError> {
    const VOLTAGES: [f64; 5] = [250.0, 400.0, 500.0, 600.0, 750.0];
    const TABLE_R8: [(f64, [f64; 5]); 4] = [
        (1.5, [1.12, 1.60, 2.06, 2.62, 3.61]),
        (1.6, [1.17, 1.69, 2.24, 2.86, 3.98]),
        (1.7, [1.23, 1.82, 2.42, 3.12, 4.37]),
        (1.8, [1.28, 1.95, 2.62, 3.39, 4.79]),
    ];
    let kv = voltage
        .within(
            "line-to-ground voltage",
            Voltage::kilovolts(0.0),
            Voltage::kilovolts(750.0),
        )?
        .to_kilovolts();
    let t = surge.unwrap_or(1.8);
    let outside = LimitError::OutOfRange {
        what: "transient overvoltage",
        found: t,
        least: 1.0,
        most: 1.8,
        unit: "per unit",
    };
    if !(1.0..=1.8).contains(&t) {
        return Err(outside);
    }
    let column = VOLTAGES.iter().position(|top| kv <= *top);
    let row = TABLE_R8.iter().find(|row| t <= row.0);
    match (row, column) {
        (Some(row), Some(column)) => round_up(
            "minimum approach distance",
            row.1[column] * altitude_factor(altitude)?,
            2,
        ),
        _ => Err(outside),
    }
}

/// The clearance that must be measured so that work stays outside the approach distance.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct WorkingClearance {
    /// Least distance to measure, rounded up to 0.01 m.
    pub least: Decimal,
    /// What a measured distance leaves over; negative: too near. Rounded down to 0.01 m.
    pub left: Option<Decimal>,
}

/// Approach distance, plus the reach and swing that the plan gives, against what is measured.
///
/// The working position must allow normal movement without entering the approach distance
/// (29 CFR 1910.269 Appendix B III.D); how much reach and swing to allow is the employer's figure.
///
/// # Errors
/// [`LimitError::NotPositive`] for a negative allowance.
pub fn working_clearance(
    approach: &Approach,
    reach: Length,
    swing: Length,
    measured: Option<Length>,
) -> Result<WorkingClearance, LimitError> {
    let reach = reach.not_negative("reach allowance")?;
    let swing = swing.not_negative("swing allowance")?;
    let least = round_up(
        "working clearance",
        approach.distance.to_f64() + reach.to_metres() + swing.to_metres(),
        2,
    )?;
    let left = match measured {
        None => None,
        Some(measured) => {
            let measured = measured.positive("measured distance")?;
            Some(crate::limits::units::round_down(
                "clearance left",
                measured.to_metres() - least.to_f64(),
                2,
            )?)
        }
    };
    Ok(WorkingClearance { least, left })
}

/// The per-unit overvoltage at which the equation gives a distance: what a rule of thumb assumed.
///
/// # Errors
/// [`LimitError::OutOfRange`] if no surge of 1.0 to 3.5 gives it.
pub fn surge_for_distance(
    voltage: Voltage,
    gap: Gap,
    distance: Length,
) -> Result<Decimal, LimitError> {
    let at = |t: f64| -> Result<f64, LimitError> {
        let v_ground = voltage.positive("system voltage")?.to_kilovolts() / 3.0_f64.sqrt();
        let air_only = gap == Gap::AirOnly;
        let a = saturation_factor(
            Exposure::PhaseToGround,
            air_only,
            t * v_ground * 2.0_f64.sqrt(),
        );
        let c = if air_only { 0.01 } else { 0.011 };
        Ok(METRES_PER_FOOT * (c + a) * v_ground * t + 0.31)
    };
    let (mut low, mut high) = (1.0, SURGE_MOST);
    let wanted = distance.positive("distance")?.to_metres();
    if wanted < at(low)? || wanted > at(high)? {
        return Err(LimitError::OutOfRange {
            what: "distance",
            found: wanted,
            least: at(low)?,
            most: at(high)?,
            unit: "m",
        });
    }
    // Halving from a range of 2.5 per unit: 50 steps leave nothing that four digits could show.
    for _ in 0..50 {
        let middle = (low + high) / 2.0;
        if at(middle)? < wanted {
            low = middle
        } else {
            high = middle
        }
    }
    round_near("transient overvoltage", low, 4)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    fn kv(value: f64) -> Voltage {
        Voltage::kilovolts(value)
    }

    fn tabled(voltage: f64, exposure: Exposure, t: f64) -> String {
        minimum_approach(
            kv(voltage),
            exposure,
            Gap::AsTabled,
            Surge::Known(t),
            Length::ZERO,
            AltitudeRule::Equation,
        )
        .unwrap()
        .distance
        .to_string()
    }

    #[test]
    fn the_worked_example_of_362_kv() {
        // 29 CFR 1910.269 Table R-7, 242.1 to 362.0 kV.
        assert_eq!(tabled(362.0, Exposure::PhaseToGround, 3.5), "3.41");
        assert_eq!(tabled(362.0, Exposure::PhaseToPhase, 3.5), "5.52");
    }

    #[test]
    fn seven_feet_at_345_kv_was_the_rule_of_a_smaller_surge() {
        // Common practice, no source: 7 ft (2.13 m) was long the least hot-stick clearance at 345 kV.
        let t = surge_for_distance(kv(362.0), Gap::ToolOrObject, Length::feet(7.0)).unwrap();
        assert!(
            t > "2.3".parse().unwrap() && t < "2.5".parse().unwrap(),
            "{t}"
        );
        let today = minimum_approach(
            kv(362.0),
            Exposure::PhaseToGround,
            Gap::ToolOrObject,
            Surge::Assumed,
            Length::ZERO,
            AltitudeRule::Equation,
        )
        .unwrap();
        assert!(today.exact > Length::feet(7.0));
        assert!(today.surge_assumed);
    }

    #[test]
    fn the_two_altitude_rules_differ_and_say_which() {
        let at = |rule| {
            minimum_approach(
                kv(362.0),
                Exposure::PhaseToGround,
                Gap::ToolOrObject,
                Surge::Known(3.5),
                Length::metres(1600.0),
                rule,
            )
            .unwrap()
        };
        // Worked from Table R-3, and from Table R-7 with its footnote, at A = 1.08.
        assert!((at(AltitudeRule::Equation).exact.to_metres() - 3.6535).abs() < 5e-5);
        assert!((at(AltitudeRule::TableFootnote).exact.to_metres() - 3.6828).abs() < 5e-5);
    }

    #[test]
    fn outside_the_range_there_is_no_number() {
        let ask = |v, t, h| {
            minimum_approach(
                kv(v),
                Exposure::PhaseToGround,
                Gap::ToolOrObject,
                t,
                Length::metres(h),
                AltitudeRule::Equation,
            )
        };
        assert!(matches!(
            ask(0.3, Surge::Assumed, 0.0),
            Err(LimitError::OutOfRange {
                what: "system voltage",
                ..
            })
        ));
        assert!(matches!(
            ask(800.1, Surge::Assumed, 0.0),
            Err(LimitError::OutOfRange { .. })
        ));
        assert!(matches!(
            ask(230.0, Surge::Known(1.4), 0.0),
            Err(LimitError::OutOfRange { .. })
        ));
        assert!(matches!(
            ask(230.0, Surge::Known(3.6), 0.0),
            Err(LimitError::OutOfRange { .. })
        ));
        assert!(matches!(
            ask(230.0, Surge::Assumed, 6000.1),
            Err(LimitError::OutOfRange {
                what: "altitude",
                ..
            })
        ));
        assert!(matches!(
            ask(f64::NAN, Surge::Assumed, 0.0),
            Err(LimitError::OutOfRange { .. })
        ));
    }

    #[test]
    fn never_less_for_more_voltage_surge_or_height() {
        for exposure in [Exposure::PhaseToGround, Exposure::PhaseToPhase] {
            for gap in [Gap::AirOnly, Gap::ToolOrObject] {
                let at = |v: f64, t: f64, h: f64| {
                    minimum_approach(
                        kv(v),
                        exposure,
                        gap,
                        Surge::Known(t),
                        Length::metres(h),
                        AltitudeRule::Equation,
                    )
                    .unwrap()
                    .exact
                };
                for step in 0..200_u32 {
                    let f = f64::from(step);
                    assert!(at(73.0 + f * 3.6, 2.5, 0.0) <= at(73.0 + f * 3.6 + 0.5, 2.5, 0.0));
                    assert!(
                        at(500.0, 1.5 + f * 0.0099, 0.0)
                            <= at(500.0, 1.5 + f * 0.0099 + 0.002, 0.0)
                    );
                    assert!(at(500.0, 2.5, f * 29.0) <= at(500.0, 2.5, f * 29.0 + 25.0));
                }
            }
        }
    }

    #[test]
    fn a_measured_distance_is_judged_with_its_allowances() {
        let approach = minimum_approach(
            kv(242.0),
            Exposure::PhaseToGround,
            Gap::AsTabled,
            Surge::Assumed,
            Length::ZERO,
            AltitudeRule::Equation,
        )
        .unwrap();
        assert_eq!(approach.distance.to_string(), "2.01");
        let clearance = working_clearance(
            &approach,
            Length::metres(0.6),
            Length::metres(0.155),
            Some(Length::metres(2.80)),
        )
        .unwrap();
        assert_eq!(clearance.least.to_string(), "2.77");
        assert_eq!(clearance.left.unwrap().to_string(), "0.03");
    }
}
