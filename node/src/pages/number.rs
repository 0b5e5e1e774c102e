//! Number: what was typed, and how does it stand to its limit?
//! Owns: nothing.   Gives: `value`, `judgement`, `spoken`.
//! May use: protocol's decimals and limits.   Never: a number that was not typed whole; a judgement of its own (the same
//! function judges here and in the log).

use crate::pages::form::Form;
use crate::pages::view::View;
use crate::words::fill;
use gantline_protocol::decimal::Decimal;
use gantline_protocol::facts::{limit_as_shown, within};
use gantline_protocol::plan::Limit;

/// Most characters of a number: more fit no box.
const TYPED_MAX_CHARS: usize = 8;
/// Inches of a foot.
const INCHES: i64 = 12;

/// Whether a limit's values are typed as feet and inches, in two boxes.
pub(crate) fn in_feet(limit: &Limit) -> bool {
    limit.unit == "ft"
}

/// What was typed for a limit, as a value in the limit's unit; else why it is none.
pub(crate) fn value(view: &View, limit: &Limit, form: &Form) -> Result<Decimal, String> {
    let l = view.labels;
    if in_feet(limit) {
        let whole = |name: &str| -> Result<i64, String> {
            let text = form.text(name);
            if text.is_empty() || text.len() > TYPED_MAX_CHARS {
                return Err(l.no_number.to_owned());
            }
            text.parse()
                .ok()
                .filter(|n| (0..100_000).contains(n))
                .ok_or_else(|| l.no_number.to_owned())
        };
        let (feet, inches) = (whole("feet")?, whole("inches")?);
        if inches >= INCHES {
            return Err(l.inches_most.to_owned());
        }
        // Rounded at the place that people see, to the side that is worse for the limit (common practice).
        let scale = limit.places.min(4);
        let unit = 10_i64.pow(u32::from(scale));
        let over = if limit.least.is_none() { INCHES - 1 } else { 0 };
        let digits = feet * unit + (inches * unit + over) / INCHES;
        return Decimal::new(digits, scale).map_err(|_| l.no_number.to_owned());
    }
    let text = form.text("value");
    if text.is_empty() || text.chars().count() > TYPED_MAX_CHARS {
        return Err(l.no_number.to_owned());
    }
    if text.matches('.').count() > 1 {
        return Err(l.second_point.to_owned());
    }
    if text.starts_with('.') || text.ends_with('.') {
        return Err(l.no_number.to_owned());
    }
    text.parse().map_err(|_| l.no_number.to_owned())
}

/// A limit in words, as people see it.
pub(crate) fn limit_words(view: &View, limit: &Limit) -> String {
    let l = view.labels;
    let (least, most) = limit_as_shown(limit);
    let text = |value: Option<Decimal>| value.map_or_else(String::new, |value| value.to_string());
    let (least_text, most_text) = (text(least), text(most));
    let label = match (least, most) {
        (Some(_), None) => l.limit_least,
        (None, Some(_)) => l.limit_most,
        (Some(_), Some(_)) => l.limit_between,
        (None, None) => return String::new(),
    };
    fill(
        label,
        &[
            ("least", &least_text),
            ("most", &most_text),
            ("unit", &limit.unit),
        ],
    )
}

/// How a value stands to its limit, in words; and whether it is inside.
pub(crate) fn judgement(view: &View, limit: &Limit, value: Decimal) -> (bool, String) {
    let l = view.labels;
    let inside = within(limit, value);
    let (least, most) = limit_as_shown(limit);
    let away = [least, most]
        .into_iter()
        .flatten()
        .map(|bound| difference(value, bound))
        .min()
        .map_or_else(String::new, |by| by.to_string());
    let label = if inside { l.inside } else { l.outside };
    let words = fill(
        label,
        &[
            ("by", &away),
            ("unit", &limit.unit),
            ("limit", &limit_words(view, limit)),
        ],
    );
    (inside, words)
}

/// The distance of two values, exactly.
fn difference(a: Decimal, b: Decimal) -> Decimal {
    let ((a_digits, a_scale), (b_digits, b_scale)) = (a.parts(), b.parts());
    let scale = a_scale.max(b_scale);
    let in_units =
        |digits: i64, from: u8| i128::from(digits) * 10_i128.pow(u32::from(scale - from));
    let by = (in_units(a_digits, a_scale) - in_units(b_digits, b_scale)).abs();
    i64::try_from(by)
        .ok()
        .and_then(|by| Decimal::new(by, scale).ok())
        .unwrap_or(Decimal::ZERO)
}

/// A value as it is said by pressing: with its unit, in feet and inches where it was typed so.
pub(crate) fn spoken(view: &View, limit: &Limit, form: &Form, value: Decimal) -> String {
    if in_feet(limit) {
        let l = view.labels;
        return format!(
            "{} {} {} {}",
            form.text("feet"),
            l.feet,
            form.text("inches"),
            l.inches
        );
    }
    format!("{value} {}", limit.unit)
}
