//! Loads: what a conductor brings to its attachment: weight, ice, wind, line angle, slope.
//! Owns: nothing.   Gives: unit loads, loading districts, wind and weight span, attachment loads, swing.
//! May use: units, error, catalogue.   Never: tension by temperature (sag).

use crate::limits::error::LimitError;
use crate::limits::units::{Angle, Force, ForcePerLength, Length, Pressure, Temperature};

/// Ice, wind and temperature that a rule asks for together.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct District {
    /// Which rule book.
    pub code: &'static str,
    /// Its name there.
    pub name: &'static str,
    /// Radial thickness of ice.
    pub ice: Length,
    /// Wind pressure on the projected area of a cylinder.
    pub wind: Pressure,
    /// Conductor temperature.
    pub temperature: Temperature,
    /// Constant added to the resultant for tension and sag only; not a load on the structure.
    pub constant: ForcePerLength,
    /// Where the numbers come from.
    pub source: &'static str,
}

const fn district(
    code: &'static str,
    name: &'static str,
    ice_in: f64,
    wind_psf: f64,
    temperature_f: f64,
    constant_lb_ft: f64,
    source: &'static str,
) -> District {
    District {
        code,
        name,
        ice: Length::inches(ice_in),
        wind: Pressure::pounds_per_square_foot(wind_psf),
        temperature: Temperature::fahrenheit(temperature_f),
        constant: ForcePerLength::pounds_per_foot(constant_lb_ft),
        source,
    }
}

/// The loading districts.
#[rustfmt::skip]
pub const DISTRICTS: &[District] = &[
    district("NESC", "heavy", 0.5, 4.0, 0.0, 0.3, "NESC Table 250-1 and 251-1, from memory; the values stand row by row in published Drake sag tables"),
    district("NESC", "medium", 0.25, 4.0, 15.0, 0.2, "NESC Table 250-1: ice found in an engineering dictionary; wind, temperature and constant from memory"),
    district("NESC", "light", 0.0, 9.0, 30.0, 0.05, "NESC Table 250-1: ice, wind and temperature found in a worked pole example; constant from memory"),
    district("NESC", "warm-islands-low", 0.0, 9.0, 50.0, 0.05, "NESC Table 250-1, warm islands below 9,000 ft, from memory"),
    district("NESC", "warm-islands-high", 0.25, 4.0, 15.0, 0.2, "NESC Table 250-1, warm islands above 9,000 ft, from memory"),
    district("GO 95", "go95-heavy", 0.5, 6.0, 0.0, 0.0, "California Public Utilities Commission General Order 95, rule 43.1"),
    district("GO 95", "go95-light", 0.0, 8.0, 25.0, 0.0, "California Public Utilities Commission General Order 95, rule 43.2 (8 lb/ft² from its Table 23; 25 °F from memory)"),
];

/// The district with this name.
///
/// # Errors
/// [`LimitError::Unknown`], listing the names there are.
pub fn loading_district(name: &str) -> Result<&'static District, LimitError> {
    DISTRICTS
        .iter()
        .find(|one| one.name.eq_ignore_ascii_case(name))
        .ok_or_else(|| LimitError::Unknown {
            what: "loading district",
            found: name.to_owned(),
            expected: DISTRICTS
                .iter()
                .map(|one| one.name)
                .collect::<Vec<_>>()
                .join(", "),
        })
}

/// Specific weight of glaze ice: 57 lb/ft³ (NESC rule 250, GO 95 rule 43).
const ICE_NEWTONS_PER_CUBIC_METRE: f64 =
    57.0 * crate::limits::units::NEWTONS_PER_POUND / (0.3048 * 0.3048 * 0.3048);

/// Loads on each metre of a conductor.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct UnitLoad {
    /// Weight of the ice.
    pub ice: ForcePerLength,
    /// Conductor and ice, down.
    pub vertical: ForcePerLength,
    /// Wind, across.
    pub transverse: ForcePerLength,
    /// Resultant without the constant: what the structure feels.
    pub resultant: ForcePerLength,
    /// Resultant with the district's constant: for tension and sag only.
    pub for_tension: ForcePerLength,
    /// Angle of the resultant from the vertical.
    pub blowout: Angle,
}

/// Weight, ice and wind on a conductor. Ice up to 75 mm, wind up to 5 kPa.
///
/// Source: w_ice = ρ π t (D + t); wind on the iced diameter; resultant √(v² + h²) + K (NESC rules 250 and
/// 251; GO 95 Tables 21 to 23 print the results).
///
/// # Errors
/// [`LimitError`] for inputs outside these ranges.
pub fn unit_load(
    diameter: Length,
    weight: ForcePerLength,
    ice: Length,
    wind: Pressure,
    constant: ForcePerLength,
) -> Result<UnitLoad, LimitError> {
    let d = diameter
        .within(
            "conductor diameter",
            Length::millimetres(1.0),
            Length::millimetres(200.0),
        )?
        .to_metres();
    let w = weight.positive("conductor weight")?.to_newtons_per_metre();
    let t = ice
        .within("ice thickness", Length::ZERO, Length::millimetres(75.0))?
        .to_metres();
    let p = wind
        .within("wind pressure", Pressure::ZERO, Pressure::pascals(5000.0))?
        .to_pascals();
    let k = constant.not_negative("loading constant")?;
    let ice_weight = ICE_NEWTONS_PER_CUBIC_METRE * core::f64::consts::PI * t * (d + t);
    let vertical = w + ice_weight;
    let transverse = p * (d + 2.0 * t);
    let resultant =
        ForcePerLength::newtons_per_metre((vertical * vertical + transverse * transverse).sqrt());
    Ok(UnitLoad {
        ice: ForcePerLength::newtons_per_metre(ice_weight),
        vertical: ForcePerLength::newtons_per_metre(vertical),
        transverse: ForcePerLength::newtons_per_metre(transverse),
        resultant,
        for_tension: resultant + k,
        blowout: Angle::from_sides(transverse, vertical),
    })
}

/// One span beside the structure worked on.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Span {
    /// Horizontal length.
    pub length: Length,
    /// Height of this support less the neighbour's; positive: this one is higher.
    pub rise: Length,
    /// Horizontal tension of each conductor.
    pub tension: Force,
}

/// What hangs at the attachment.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Attachment {
    /// The span behind.
    pub back: Span,
    /// The span ahead.
    pub ahead: Span,
    /// Angle by which the line turns here; 0: straight.
    pub line_angle: Angle,
    /// Weight of each conductor with ice.
    pub vertical: ForcePerLength,
    /// Wind on each conductor.
    pub transverse: ForcePerLength,
    /// Conductors in the bundle.
    pub conductors: u8,
    /// Weight of the string.
    pub string_weight: Force,
    /// Wind on the string.
    pub string_wind: Force,
}

/// Loads at an attachment.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct AttachmentLoad {
    /// Half of both spans: what the wind acts on.
    pub wind_span: Length,
    /// Distance between the low points: whose weight hangs here; negative: uplift.
    pub weight_span: Length,
    /// The same by the parabola, for comparison.
    pub weight_span_parabolic: Length,
    /// Weight of the conductors at the attachment.
    pub conductor_vertical: Force,
    /// That and the string's weight: down at the structure.
    pub vertical: Force,
    /// Wind on the conductors, across the line.
    pub wind: Force,
    /// Pull of the line angle, across the line.
    pub angle: Force,
    /// Wind and angle together.
    pub transverse: Force,
    /// Difference of tensions along the line.
    pub longitudinal: Force,
    /// Angle of the string from the vertical.
    pub swing: Angle,
    /// Load at the structure end of the string.
    pub resultant: Force,
    /// Whether the conductors pull up here: hot-stick support from below does not hold them.
    pub uplift: bool,
}

/// Distance from the higher or lower support to the catenary's low point, and the vertical reaction there.
///
/// Source: the catenary through two supports, x = S/2 + c·asinh(h / (2c·sinh(S/2c))), h this support's rise.
fn to_low_point(span: &Span, weight: f64) -> Result<(f64, f64), LimitError> {
    let s = span
        .length
        .within("span", Length::metres(1.0), Length::metres(5000.0))?
        .to_metres();
    let rise = span
        .rise
        .within(
            "difference of support heights",
            Length::metres(-1500.0),
            Length::metres(1500.0),
        )?
        .to_metres();
    let h = span.tension.positive("horizontal tension")?.to_newtons();
    let c = h / weight;
    let x = s / 2.0 + c * libm::asinh(rise / (2.0 * c * libm::sinh(s / (2.0 * c))));
    Ok((x, h * libm::sinh(x / c)))
}

/// What suspension and dead-end take in alike: newtons, newtons a metre of one conductor, and how many of these.
struct Each {
    w: f64,
    wind: f64,
    string: f64,
    string_wind: f64,
    n: f64,
}

impl Each {
    fn of(at: &Attachment) -> Result<Self, LimitError> {
        if at.conductors == 0 {
            return Err(LimitError::NotPositive {
                what: "conductors in the bundle",
                found: 0.0,
                unit: "",
            });
        }
        Ok(Self {
            w: at
                .vertical
                .positive("conductor weight")?
                .to_newtons_per_metre(),
            wind: at
                .transverse
                .not_negative("wind on the conductor")?
                .to_newtons_per_metre(),
            string: at.string_weight.not_negative("string weight")?.to_newtons(),
            string_wind: at
                .string_wind
                .not_negative("wind on the string")?
                .to_newtons(),
            n: f64::from(at.conductors),
        })
    }
}

/// Loads at the attachment of a string.
///
/// Weight by the catenary's low points; wind by n·p·D·(wind span); line angle by (H_back + H_ahead)·sin(θ/2);
/// swing by (T + F/2)/(V + W/2), half of the string's wind and weight (the form of USDA RUS Bulletin
/// 1724E-200 chapter 7, from memory).
///
/// # Errors
/// [`LimitError`] for spans, tensions or weights outside their range.
pub fn attachment_load(at: &Attachment) -> Result<AttachmentLoad, LimitError> {
    let Each {
        w,
        wind,
        string,
        string_wind,
        n,
    } = Each::of(at)?;
    let theta =
        at.line_angle
            .within("line angle", Angle::degrees(-180.0), Angle::degrees(180.0))?;
    let (back, back_reaction) = to_low_point(&at.back, w)?;
    let (ahead, ahead_reaction) = to_low_point(&at.ahead, w)?;
    let (h_back, h_ahead) = (at.back.tension.to_newtons(), at.ahead.tension.to_newtons());
    let wind_span = (at.back.length + at.ahead.length) / 2.0;
    let parabolic = |span: &Span| {
        Length::metres(
            span.tension.to_newtons() / w * span.rise.to_metres() / span.length.to_metres(),
        )
    };
    let half = theta / 2.0;
    let conductor_vertical = n * (back_reaction + ahead_reaction);
    let vertical = conductor_vertical + string;
    let wind_force = n * wind * wind_span.to_metres();
    let angle_force = n * (h_back + h_ahead) * half.sin();
    let transverse = wind_force + angle_force;
    let longitudinal = n * (h_ahead - h_back) * half.cos();
    let across = transverse + string_wind;
    Ok(AttachmentLoad {
        wind_span,
        weight_span: Length::metres(back + ahead),
        weight_span_parabolic: wind_span + parabolic(&at.back) + parabolic(&at.ahead),
        conductor_vertical: Force::newtons(conductor_vertical),
        vertical: Force::newtons(vertical),
        wind: Force::newtons(wind_force),
        angle: Force::newtons(angle_force),
        transverse: Force::newtons(transverse),
        longitudinal: Force::newtons(longitudinal),
        swing: Angle::from_sides(
            transverse + string_wind / 2.0,
            conductor_vertical + string / 2.0,
        ),
        resultant: Force::newtons(
            (vertical * vertical + across * across + longitudinal * longitudinal).sqrt(),
        ),
        uplift: conductor_vertical < 0.0,
    })
}

/// Loads of a dead-end, where the conductor of one side ends at its string: as [`attachment_load`] with
/// nothing behind. The string lies in the line of the conductor, so it does not swing: swing is nothing.
///
/// # Errors
/// [`LimitError`] for spans, tensions or weights outside their range.
pub fn dead_end_load(at: &Attachment) -> Result<AttachmentLoad, LimitError> {
    let Each {
        w,
        wind,
        string,
        string_wind,
        n,
    } = Each::of(at)?;
    let (low, reaction) = to_low_point(&at.ahead, w)?;
    let h = at.ahead.tension.to_newtons();
    let wind_span = at.ahead.length / 2.0;
    let conductor_vertical = n * reaction;
    let vertical = conductor_vertical + string;
    let transverse = n * wind * wind_span.to_metres();
    let longitudinal = n * h;
    let across = transverse + string_wind;
    Ok(AttachmentLoad {
        wind_span,
        weight_span: Length::metres(low),
        weight_span_parabolic: wind_span
            + Length::metres(h / w * at.ahead.rise.ratio(at.ahead.length)),
        conductor_vertical: Force::newtons(conductor_vertical),
        vertical: Force::newtons(vertical),
        wind: Force::newtons(transverse),
        angle: Force::ZERO,
        transverse: Force::newtons(transverse),
        longitudinal: Force::newtons(longitudinal),
        swing: Angle::ZERO,
        resultant: Force::newtons(
            (vertical * vertical + across * across + longitudinal * longitudinal).sqrt(),
        ),
        uplift: conductor_vertical < 0.0,
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::limits::catalogue::conductor;

    #[test]
    fn drake_in_the_heavy_district() {
        let drake = conductor("drake").unwrap();
        let heavy = loading_district("heavy").unwrap();
        let load = unit_load(
            drake.diameter,
            drake.weight,
            heavy.ice,
            heavy.wind,
            heavy.constant,
        )
        .unwrap();
        // 2.509 lb/ft and 2.094 lb/ft (ice alone) stand in the published Drake sag tables.
        assert!((load.for_tension.to_pounds_per_foot() - 2.509).abs() < 0.001);
        assert!((load.vertical.to_pounds_per_foot() - 2.094).abs() < 0.001);
    }

    #[test]
    fn a_dead_end_carries_its_own_side_and_two_of_them_an_attachment() {
        let at = |back: Span, ahead: Span| Attachment {
            back,
            ahead,
            line_angle: Angle::ZERO,
            vertical: ForcePerLength::newtons_per_metre(16.0),
            transverse: ForcePerLength::newtons_per_metre(5.0),
            conductors: 2,
            string_weight: Force::ZERO,
            string_wind: Force::ZERO,
        };
        let span = |length: f64, rise: f64| Span {
            length: Length::metres(length),
            rise: Length::metres(rise),
            tension: Force::kilonewtons(25.0),
        };
        let (one, other) = (span(310.0, 12.0), span(250.0, -4.0));
        let both = attachment_load(&at(one, other)).unwrap();
        let first = dead_end_load(&at(other, one)).unwrap();
        let second = dead_end_load(&at(one, other)).unwrap();
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-6 * b.abs().max(1.0), "{a} {b}");
        near(
            (first.vertical + second.vertical).to_newtons(),
            both.vertical.to_newtons(),
        );
        near(
            (first.weight_span + second.weight_span).to_metres(),
            both.weight_span.to_metres(),
        );
        near(
            (first.wind + second.wind).to_newtons(),
            both.wind.to_newtons(),
        );
        near(first.longitudinal.to_kilonewtons(), 50.0);
    }

    #[test]
    fn level_and_equal_spans_hang_half_of_each() {
        let span = Span {
            length: Length::metres(300.0),
            rise: Length::ZERO,
            tension: Force::kilonewtons(25.0),
        };
        let at = Attachment {
            back: span,
            ahead: span,
            line_angle: Angle::ZERO,
            vertical: ForcePerLength::newtons_per_metre(16.0),
            transverse: ForcePerLength::ZERO,
            conductors: 1,
            string_weight: Force::newtons(700.0),
            string_wind: Force::ZERO,
        };
        let load = attachment_load(&at).unwrap();
        assert!((load.weight_span.to_metres() - 300.0).abs() < 1e-9);
        assert_eq!(load.swing.to_degrees(), 0.0);
        assert!(!load.uplift);
        let low = Span {
            rise: Length::metres(-60.0),
            ..span
        };
        assert!(
            attachment_load(&Attachment {
                back: low,
                ahead: low,
                ..at
            })
            .unwrap()
            .uplift
        );
    }

    #[test]
    fn more_ice_or_wind_or_weight_never_means_less_load() {
        let drake = conductor("drake").unwrap();
        let of = |weight: f64, ice: f64, wind: f64| {
            unit_load(
                drake.diameter,
                drake.weight * weight,
                Length::millimetres(ice),
                Pressure::pascals(wind),
                ForcePerLength::ZERO,
            )
            .unwrap()
        };
        for step in 0..50 {
            let n = f64::from(step);
            let (ice, wind, weight) = (n * 1.5, n * 95.0, 1.0 + n / 10.0);
            let one = of(weight, ice, wind);
            for more in [
                of(weight + 0.1, ice, wind),
                of(weight, ice + 0.5, wind),
                of(weight, ice, wind + 10.0),
            ] {
                assert!(more.resultant > one.resultant, "step {step}");
                assert!(more.vertical >= one.vertical && more.transverse >= one.transverse);
            }
        }
    }

    #[test]
    fn the_line_read_from_its_other_end_has_the_same_loads() {
        for step in 0..50 {
            let n = f64::from(step);
            let span = |length: f64, rise: f64, tension: f64| Span {
                length: Length::metres(length),
                rise: Length::metres(rise),
                tension: Force::kilonewtons(tension),
            };
            let at = Attachment {
                back: span(200.0 + 5.0 * n, n - 20.0, 20.0 + n / 10.0),
                ahead: span(350.0 - 2.0 * n, 10.0 - n / 2.0, 25.0),
                line_angle: Angle::degrees(n / 2.0),
                vertical: ForcePerLength::newtons_per_metre(16.0),
                transverse: ForcePerLength::newtons_per_metre(n / 5.0),
                conductors: 2,
                string_weight: Force::newtons(900.0),
                string_wind: Force::newtons(100.0),
            };
            let one = attachment_load(&at).unwrap();
            let turned = attachment_load(&Attachment {
                back: at.ahead,
                ahead: at.back,
                ..at
            })
            .unwrap();
            let near = |a: Force, b: Force| {
                let (a, b) = (a.to_newtons(), b.to_newtons());
                assert!((a - b).abs() <= 1e-9 * b.abs().max(1.0), "{a} {b}");
            };
            near(turned.vertical, one.vertical);
            near(turned.transverse, one.transverse);
            near(turned.longitudinal, -one.longitudinal);
            near(turned.resultant, one.resultant);
            // In still air a line that turns as far to the other side pulls as hard to the other side.
            let still = Attachment {
                transverse: ForcePerLength::ZERO,
                ..at
            };
            let other_way = attachment_load(&Attachment {
                line_angle: -at.line_angle,
                ..still
            })
            .unwrap();
            near(
                other_way.transverse,
                -attachment_load(&still).unwrap().transverse,
            );
        }
    }
}
