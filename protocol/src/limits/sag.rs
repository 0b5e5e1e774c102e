//! Sag: the hanging conductor, and what its tension becomes at another temperature or load.
//! Owns: nothing.   Gives: the level catenary, ruling span, state change by two models.
//! May use: units, error.   Never: which state (initial, final) the line is in: the caller says so.
//!
//! Two models. *Linear*: one modulus and one expansion for the whole conductor; good for the final state up
//! to about 50 °C, and said to be no more. *Two components*: aluminium that cannot push and has stretched
//! for good, and steel; it follows the conductor above the knee, where the steel alone carries.
//! Source of the catenary and state-change forms: any text on overhead lines, as in a power engineering
//! handbook's chapter on sag and tension (its Table 14.5 is one of the checks).

use crate::limits::error::LimitError;
use crate::limits::units::{Area, Expansion, Force, ForcePerLength, Length, Pressure, Temperature};

/// A conductor hanging in a level span.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Hanging {
    /// Horizontal tension.
    pub horizontal: Force,
    /// Sag at mid-span.
    pub sag: Length,
    /// Length along the conductor.
    pub length: Length,
    /// Tension at the supports.
    pub support: Force,
    /// H + wD/2: what published tables print.
    pub tabled: Force,
    /// Mean tension along the conductor.
    pub mean: Force,
}

fn check_span(span: Length) -> Result<f64, LimitError> {
    Ok(span
        .within("span", Length::metres(1.0), Length::metres(5000.0))?
        .to_metres())
}

fn check_load(load: ForcePerLength) -> Result<f64, LimitError> {
    Ok(load
        .positive("load on the conductor")?
        .to_newtons_per_metre())
}

/// Length of a level catenary, m.
fn arc(s: f64, w: f64, h: f64) -> f64 {
    2.0 * h / w * libm::sinh(w * s / (2.0 * h))
}

/// Mean tension along a level catenary, N: the integral of T over its length, divided by the length.
fn mean_tension(s: f64, w: f64, h: f64) -> f64 {
    h * (s / 2.0 + h / (2.0 * w) * libm::sinh(w * s / h)) / arc(s, w, h)
}

/// A level span at a given horizontal tension: D = (H/w)(cosh(wS/2H) − 1), L = (2H/w) sinh(wS/2H).
///
/// Span 1 to 5,000 m.
///
/// # Errors
/// [`LimitError`] for inputs outside their range, or a conductor too slack to be a span (sag over the span).
pub fn hanging(
    span: Length,
    load: ForcePerLength,
    horizontal: Force,
) -> Result<Hanging, LimitError> {
    let (s, w) = (check_span(span)?, check_load(load)?);
    let h = horizontal.positive("horizontal tension")?.to_newtons();
    let sag = h / w * (libm::cosh(w * s / (2.0 * h)) - 1.0);
    if sag.is_nan() || sag > s {
        return Err(LimitError::NoEquilibrium {
            what: "span",
            why: "the sag would be longer than the span; check tension and load",
        });
    }
    Ok(Hanging {
        horizontal,
        sag: Length::metres(sag),
        length: Length::metres(arc(s, w, h)),
        support: Force::newtons(h + w * sag),
        tabled: Force::newtons(h + w * sag / 2.0),
        mean: Force::newtons(mean_tension(s, w, h)),
    })
}

/// A conductor hanging between supports of different height.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Inclined {
    /// Vertical distance from the chord at mid-span.
    pub sag_mid: Length,
    /// Greatest vertical distance from the chord.
    pub sag_most: Length,
    /// Length along the conductor.
    pub length: Length,
    /// Low point from the left support; outside the span where the conductor pulls up.
    pub low_from_left: Length,
    /// Tension at the left support.
    pub tension_left: Force,
    /// Tension at the right support.
    pub tension_right: Force,
    /// Vertical pull at the left support, down.
    pub vertical_left: Force,
    /// Vertical pull at the right support, down.
    pub vertical_right: Force,
}

/// A span with supports of different height: the catenary y = c·cosh(x/c) moved to fit both. `rise` is the
/// right support's height less the left one's.
///
/// # Errors
/// [`LimitError`] for inputs outside their range, or a sag longer than the span.
pub fn inclined(
    span: Length,
    rise: Length,
    load: ForcePerLength,
    horizontal: Force,
) -> Result<Inclined, LimitError> {
    let (s, w) = (check_span(span)?, check_load(load)?);
    let h = hanging(span, load, horizontal)?.horizontal.to_newtons();
    let rise = rise
        .within(
            "difference of support heights",
            Length::metres(-1500.0),
            Length::metres(1500.0),
        )?
        .to_metres();
    let c = h / w;
    let low = s / 2.0 - c * libm::asinh(rise / (2.0 * c * libm::sinh(s / (2.0 * c))));
    let height = |x: f64| c * libm::cosh((x - low) / c);
    let below_chord = |x: f64| height(0.0) + rise * x / s - height(x);
    // The slope equals the chord's where the conductor is farthest below it.
    let steepest = low + c * libm::asinh(rise / s);
    Ok(Inclined {
        sag_mid: Length::metres(below_chord(s / 2.0)),
        sag_most: Length::metres(below_chord(steepest)),
        length: Length::metres(c * (libm::sinh((s - low) / c) + libm::sinh(low / c))),
        low_from_left: Length::metres(low),
        tension_left: Force::newtons(w * height(0.0)),
        tension_right: Force::newtons(w * height(s)),
        vertical_left: Force::newtons(h * libm::sinh(low / c)),
        vertical_right: Force::newtons(h * libm::sinh((s - low) / c)),
    })
}

/// The horizontal tension behind a tabled one, H + wD/2.
///
/// # Errors
/// [`LimitError::NoEquilibrium`] if no catenary of this span has it.
pub fn horizontal_from_tabled(
    span: Length,
    load: ForcePerLength,
    tabled: Force,
) -> Result<Force, LimitError> {
    let (s, w) = (check_span(span)?, check_load(load)?);
    let t = tabled.positive("tabled tension")?.to_newtons();
    let excess = |h: f64| h + (h / 2.0) * (libm::cosh(w * s / (2.0 * h)) - 1.0) - t;
    // Below H = wS/2 the sag is over half the span, which no line has; above it the excess grows with H.
    solve(w * s / 2.0, t, excess)
        .map(Force::newtons)
        .ok_or(LimitError::NoEquilibrium {
            what: "tabled tension",
            why: "it is too small for the load on this span",
        })
}

/// Where a growing function is zero between two bounds; `None` if it is not zero there.
fn solve(mut low: f64, mut high: f64, excess: impl Fn(f64) -> f64) -> Option<f64> {
    if !(excess(low) <= 0.0 && excess(high) >= 0.0) {
        return None;
    }
    // 120 halvings pass the last bit of any double.
    for _ in 0..120 {
        let middle = low + (high - low) / 2.0;
        if excess(middle) < 0.0 {
            low = middle
        } else {
            high = middle
        }
    }
    Some(low + (high - low) / 2.0)
}

/// The one span that stands for several between two dead-ends: √(ΣS³ / ΣS).
///
/// # Errors
/// [`LimitError`] if there is no span, or one outside 1 to 5,000 m.
pub fn ruling_span(spans: &[Length]) -> Result<Length, LimitError> {
    let mut cubes = 0.0;
    let mut sum = 0.0;
    for span in spans {
        let s = check_span(*span)?;
        cubes += s * s * s;
        sum += s;
    }
    if spans.is_empty() {
        return Err(LimitError::NotGiven {
            what: "a span".to_owned(),
        });
    }
    Ok(Length::metres((cubes / sum).sqrt()))
}

/// A state of the conductor: tension, load and temperature that go together.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct State {
    /// Horizontal tension.
    pub horizontal: Force,
    /// Load on each metre, resultant.
    pub load: ForcePerLength,
    /// Conductor temperature.
    pub temperature: Temperature,
}

/// A conductor as one elastic thing.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Linear {
    /// EA.
    pub stiffness: Force,
    /// Expansion.
    pub expansion: Expansion,
}

/// Above this the linear model says too much sag by some percent (checked against published Drake rows);
/// results carry a caution.
pub const LINEAR_GOOD_TO: Temperature = Temperature::celsius(50.0);

impl Linear {
    /// The state at another load and temperature: L(H₂)/(1 + Tm₂/EA) = L(H₁)/(1 + Tm₁/EA) · (1 + α Δt).
    ///
    /// # Errors
    /// [`LimitError`] for inputs outside their range, or no equilibrium.
    pub fn change(
        &self,
        span: Length,
        from: State,
        load: ForcePerLength,
        temperature: Temperature,
    ) -> Result<State, LimitError> {
        let s = check_span(span)?;
        let ea = self
            .stiffness
            .positive("stiffness of the conductor")?
            .to_newtons();
        let alpha = self
            .expansion
            .positive("thermal expansion")?
            .to_per_kelvin();
        let w1 = check_load(from.load)?;
        let h1 = hanging(span, from.load, from.horizontal)?
            .horizontal
            .to_newtons();
        let warmer = temperature
            .of_conductor("conductor temperature")?
            .above(from.temperature.of_conductor("conductor temperature")?);
        let unstressed = arc(s, w1, h1) / (1.0 + mean_tension(s, w1, h1) / ea)
            * (1.0 + alpha * warmer.to_kelvins());
        settle(s, check_load(load)?, unstressed, |tension| tension / ea).map(|horizontal| State {
            horizontal,
            load,
            temperature,
        })
    }
}

/// The tension at which a conductor of this unstressed length, strained by its mean tension, fills the span.
fn settle(
    s: f64,
    w: f64,
    unstressed: f64,
    strain: impl Fn(f64) -> f64,
) -> Result<Force, LimitError> {
    let excess = |h: f64| unstressed * (1.0 + strain(mean_tension(s, w, h))) - arc(s, w, h);
    // From a sag of about the span to a tension that no conductor has.
    solve(w * s / 6.0, 1e8, excess)
        .map(Force::newtons)
        .ok_or(LimitError::NoEquilibrium {
            what: "state change",
            why: "no tension fits this length; check load and temperature",
        })
}

/// A conductor as aluminium and steel side by side. Moduli are on the whole area, as stress-strain charts
/// print them. The aluminium takes no compression.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct TwoComponents {
    /// Whole area.
    pub area: Area,
    /// Final modulus of the aluminium, on the whole area.
    pub modulus_aluminium: Pressure,
    /// Modulus of the steel, on the whole area.
    pub modulus_steel: Pressure,
    /// Expansion of the aluminium.
    pub expansion_aluminium: Expansion,
    /// Expansion of the steel.
    pub expansion_steel: Expansion,
}

/// A two-component conductor in one span, with the permanent stretch that its aluminium has taken.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Settled {
    model: TwoComponents,
    span: Length,
    unstressed_m: f64,
    set: f64,
    reference: Temperature,
}

impl TwoComponents {
    /// Strain at a mean tension; also whether the aluminium carries any of it.
    fn strain(&self, set: f64, warmer_k: f64, tension: f64) -> (f64, bool) {
        let sigma = tension / self.area.to_square_metres();
        let (ea, es) = (
            self.modulus_aluminium.to_pascals(),
            self.modulus_steel.to_pascals(),
        );
        let xa = set + self.expansion_aluminium.to_per_kelvin() * warmer_k;
        let xs = self.expansion_steel.to_per_kelvin() * warmer_k;
        let both = (sigma + ea * xa + es * xs) / (ea + es);
        if both < xa {
            (sigma / es + xs, false)
        } else {
            (both, true)
        }
    }

    /// The model with the one length and the one permanent stretch that give two known states: `taut`, in
    /// which both metals carry, and `hot`, in which the aluminium is slack.
    ///
    /// # Errors
    /// [`LimitError::NoEquilibrium`] if the two states are not on the two sides of the knee.
    pub fn fit(self, span: Length, taut: State, hot: State) -> Result<Settled, LimitError> {
        let s = check_span(span)?;
        let reference = taut.temperature;
        let (w1, w2) = (check_load(taut.load)?, check_load(hot.load)?);
        let h1 = hanging(span, taut.load, taut.horizontal)?
            .horizontal
            .to_newtons();
        let h2 = hanging(span, hot.load, hot.horizontal)?
            .horizontal
            .to_newtons();
        let warmer = hot
            .temperature
            .of_conductor("conductor temperature")?
            .above(reference.of_conductor("conductor temperature")?)
            .to_kelvins();
        let es = self
            .modulus_steel
            .positive("modulus of the steel")?
            .to_pascals();
        let ea = self
            .modulus_aluminium
            .positive("modulus of the aluminium")?
            .to_pascals();
        let area = self
            .area
            .positive("area of the conductor")?
            .to_square_metres();
        let steel_alone =
            mean_tension(s, w2, h2) / area / es + self.expansion_steel.to_per_kelvin() * warmer;
        let unstressed = arc(s, w2, h2) / (1.0 + steel_alone);
        let strain = arc(s, w1, h1) / unstressed - 1.0;
        let set = (strain * (ea + es) - mean_tension(s, w1, h1) / area) / ea;
        let (_, taut_both) = self.strain(set, 0.0, mean_tension(s, w1, h1));
        let (_, hot_both) = self.strain(set, warmer, mean_tension(s, w2, h2));
        if !taut_both || hot_both {
            return Err(LimitError::NoEquilibrium {
                what: "two-component fit",
                why: "one state must be below the knee and the other above it",
            });
        }
        Ok(Settled {
            model: self,
            span,
            unstressed_m: unstressed,
            set,
            reference,
        })
    }

    /// The model with a known permanent stretch of the aluminium and one known state.
    ///
    /// # Errors
    /// [`LimitError`] for inputs outside their range.
    pub fn with_set(self, span: Length, state: State, set: f64) -> Result<Settled, LimitError> {
        let s = check_span(span)?;
        let w = check_load(state.load)?;
        let h = hanging(span, state.load, state.horizontal)?
            .horizontal
            .to_newtons();
        if !(-0.001..=0.01).contains(&set) {
            return Err(LimitError::OutOfRange {
                what: "permanent stretch",
                found: set,
                least: -0.001,
                most: 0.01,
                unit: "m/m",
            });
        }
        let (strain, _) = self.strain(set, 0.0, mean_tension(s, w, h));
        let reference = state.temperature.of_conductor("conductor temperature")?;
        Ok(Settled {
            model: self,
            span,
            unstressed_m: arc(s, w, h) / (1.0 + strain),
            set,
            reference,
        })
    }
}

impl Settled {
    /// The permanent stretch of the aluminium, m/m.
    #[must_use]
    pub fn set(&self) -> f64 {
        self.set
    }

    /// The state at a load and temperature, and whether the aluminium carries any of it.
    ///
    /// # Errors
    /// [`LimitError`] for inputs outside their range, or no equilibrium.
    pub fn at(
        &self,
        load: ForcePerLength,
        temperature: Temperature,
    ) -> Result<(State, bool), LimitError> {
        let s = check_span(self.span)?;
        let w = check_load(load)?;
        let warmer = temperature
            .of_conductor("conductor temperature")?
            .above(self.reference)
            .to_kelvins();
        let horizontal = settle(s, w, self.unstressed_m, |tension| {
            self.model.strain(self.set, warmer, tension).0
        })?;
        let (_, both) = self.model.strain(
            self.set,
            warmer,
            mean_tension(s, w, horizontal.to_newtons()),
        );
        Ok((
            State {
                horizontal,
                load,
                temperature,
            },
            both,
        ))
    }
}

/// Conductor temperature from that of the air when nobody has measured it: the sun alone warms a conductor
/// that carries little by 5 to 15 K; a loaded one is hotter (common practice, no source). Gives the air
/// temperature plus 15 K in sun, plus nothing in the dark: a rough figure that says so.
///
/// # Errors
/// [`LimitError::OutOfRange`] for an air temperature outside −60 to 60 °C.
pub fn conductor_temperature_estimate(
    air: Temperature,
    sun: bool,
) -> Result<Temperature, LimitError> {
    let celsius = air.to_celsius();
    if !(-60.0..=60.0).contains(&celsius) {
        return Err(LimitError::OutOfRange {
            what: "air temperature",
            found: celsius,
            least: -60.0,
            most: 60.0,
            unit: "°C",
        });
    }
    Ok(Temperature::celsius(if sun {
        celsius + 15.0
    } else {
        celsius
    }))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn nothing_changes_when_nothing_changes() {
        let span = Length::metres(300.0);
        let state = State {
            horizontal: Force::newtons(23_240.0),
            load: ForcePerLength::newtons_per_metre(15.966),
            temperature: Temperature::celsius(15.0),
        };
        let linear = Linear {
            stiffness: Force::newtons(3.6e7),
            expansion: Expansion::per_kelvin(18.9e-6),
        };
        let same = linear
            .change(span, state, state.load, state.temperature)
            .unwrap();
        assert!((same.horizontal.ratio(state.horizontal) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_tabled_tension_gives_its_sag_back() {
        // Drake, 700 ft, 60 °F, final: 5,429 lb and 12.36 ft (a power engineering handbook, Table 14.5).
        let span = Length::feet(700.0);
        let load = ForcePerLength::pounds_per_foot(1.094);
        let h = horizontal_from_tabled(span, load, Force::pounds(5429.0)).unwrap();
        assert!((hanging(span, load, h).unwrap().sag.to_feet() - 12.36).abs() < 0.01);
    }

    #[test]
    fn more_heat_less_tension_and_more_load_more_tension() {
        let span = Length::metres(250.0);
        let state = State {
            horizontal: Force::newtons(20_000.0),
            load: ForcePerLength::newtons_per_metre(16.0),
            temperature: Temperature::celsius(10.0),
        };
        let linear = Linear {
            stiffness: Force::newtons(3.6e7),
            expansion: Expansion::per_kelvin(18.9e-6),
        };
        let mut last = Force::newtons(1e9);
        for celsius in -40..80 {
            let now = linear
                .change(
                    span,
                    state,
                    state.load,
                    Temperature::celsius(f64::from(celsius)),
                )
                .unwrap()
                .horizontal;
            assert!(now < last);
            last = now;
        }
        let iced = linear
            .change(
                span,
                state,
                ForcePerLength::newtons_per_metre(30.0),
                state.temperature,
            )
            .unwrap();
        assert!(iced.horizontal > state.horizontal);
    }

    #[test]
    fn what_cannot_be_has_no_number() {
        let load = ForcePerLength::newtons_per_metre(16.0);
        assert!(hanging(Length::metres(0.5), load, Force::newtons(1.0)).is_err());
        assert!(matches!(
            hanging(Length::metres(300.0), load, Force::newtons(300.0)),
            Err(LimitError::NoEquilibrium { .. })
        ));
        assert!(ruling_span(&[]).is_err());
    }
}
