//! Why: the reason for which a limit has no number, in the device's language.
//! Owns: nothing.   Gives: `why`.
//! May use: words, protocol::limits.   Never: another reason than the one that the limits give.

use super::Heading;
use crate::words::fill;
use gantline_protocol::limits::error::LimitError;

/// In English it is what the error says of itself.
pub(super) fn why(error: &LimitError, heading: &Heading<'_>) -> String {
    let number = f64::to_string;
    match error {
        LimitError::OutOfRange {
            what,
            found,
            least,
            most,
            unit,
        } => fill(
            heading.say(
                "{what}: found {found} {unit}, expected {least} to {most} {unit}; outside this range the source gives no number",
            ),
            &[
                ("what", heading.say(what)),
                ("found", &number(found)),
                ("least", &number(least)),
                ("most", &number(most)),
                ("unit", unit),
            ],
        ),
        LimitError::NotPositive { what, found, unit } => fill(
            heading.say("{what}: found {found} {unit}, expected more than nothing"),
            &[
                ("what", heading.say(what)),
                ("found", &number(found)),
                ("unit", unit),
            ],
        ),
        LimitError::NotANumber { what } => fill(
            heading.say("{what}: not a number; check the inputs that it is computed from"),
            &[("what", heading.say(what))],
        ),
        LimitError::NotGiven { what } => fill(
            heading.say("{what} is not given; add it to the plan's data"),
            &[("what", heading.say(what))],
        ),
        LimitError::Unit {
            what,
            found,
            expected,
        } => fill(
            heading.say("{what}: found unit `{found}`, expected one of {expected}"),
            &[
                ("what", heading.say(what)),
                ("found", found),
                ("expected", expected),
            ],
        ),
        LimitError::Unknown {
            what,
            found,
            expected,
        } => fill(
            heading.say("{what}: found `{found}`, expected one of {expected}"),
            &[
                ("what", heading.say(what)),
                ("found", found),
                ("expected", expected),
            ],
        ),
        LimitError::NoEquilibrium { what, why } | LimitError::NotApplicable { what, why } => {
            format!("{}: {}", heading.say(what), heading.say(why))
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::words::{ALL, ENGLISH, SPANISH};
    use gantline_protocol::plan::builtin;

    fn one_of_each() -> Vec<LimitError> {
        let (found, expected) = ("ft".to_owned(), "m, cm".to_owned());
        vec![
            LimitError::OutOfRange {
                what: "altitude",
                found: 6_000.5,
                least: 0.0,
                most: 6_000.0,
                unit: "m",
            },
            LimitError::NotPositive {
                what: "conductor weight",
                found: 0.0,
                unit: "N/m",
            },
            LimitError::NotANumber { what: "tension" },
            LimitError::NotGiven {
                what: "span_back".to_owned(),
            },
            LimitError::Unit {
                what: "altitude".to_owned(),
                found: found.clone(),
                expected: expected.clone(),
            },
            LimitError::Unknown {
                what: "sheave",
                found,
                expected,
            },
            LimitError::NoEquilibrium {
                what: "mast",
                why: "every brace is slack; the mast would fall",
            },
            LimitError::NotApplicable {
                what: "sling",
                why: "one leans and the other does not: the upright one carries all",
            },
        ]
    }

    #[test]
    fn a_reason_is_in_english_what_the_limits_say_and_in_no_other_language() {
        let plan = builtin()[0].plan().unwrap();
        let said =
            |error: &LimitError, language| why(error, &Heading::in_language(&plan, language));
        for error in one_of_each() {
            assert_eq!(said(&error, &ENGLISH), error.to_string());
            assert_ne!(said(&error, &SPANISH), error.to_string());
        }
    }

    /// Whatever the limits can name, as it stands in their files.
    #[test]
    fn all_that_the_limits_can_name_is_said_in_every_language() {
        let folder =
            std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../protocol/src/limits");
        let mut folders = vec![folder];
        let mut named = std::collections::BTreeSet::new();
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                    continue;
                }
                if path.ends_with("tests.rs") {
                    continue;
                }
                let text = std::fs::read_to_string(path).unwrap();
                let text = text.split("#[cfg(test)]").next().unwrap_or_default();
                for before in [
                    "finite(",
                    "not_negative(",
                    "positive(",
                    "within(",
                    "round_up(",
                    "round_down(",
                    "round_near(",
                    "what: ",
                    "why: ",
                ] {
                    for part in text.split(before).skip(1) {
                        let word = part.trim_start().strip_prefix('"');
                        named.extend(
                            word.and_then(|rest| rest.split('"').next().map(str::to_owned)),
                        );
                    }
                }
            }
        }
        assert!(named.len() > 100, "found only {named:?}");
        // The name of a table's column is no word of ours.
        named.remove("d");
        for language in &ALL[1..] {
            for words in &named {
                let known = language.sheet.iter().any(|(english, _)| english == words);
                assert!(known, "{}: {words}", language.code);
            }
        }
    }
}
