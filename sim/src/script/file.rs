//! File: a script as text, so that a failing run can be kept, read and run again.
//! Owns: the form of the file (TOML).   Gives: text of a script, script of a text.
//! May use: toml.   Never: reads or writes files (the program does).

use super::Script;
use super::check::check;
use gantline_protocol::plan;

/// A text that is no script.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum BadFile {
    /// Not TOML, or not with the fields of a script. The words name line, field and what was expected.
    #[error("{0}")]
    Form(String),
    /// A value that no run can have.
    #[error("line {line}, {event}field `{field}`: found {found}, expected {expected}")]
    Value {
        /// In which line, from 1.
        line: usize,
        /// Of which event, said in words; empty: of the run.
        event: String,
        /// Its name.
        field: &'static str,
        /// As written.
        found: String,
        /// What it may be.
        expected: String,
    },
}

/// Name of the plan of which the reference speaks.
pub const PLAIN: &str = "plain";

/// Names of the plans that a run can use.
pub(super) fn names() -> Vec<&'static str> {
    let shipped = plan::builtin().iter().map(|builtin| builtin.name);
    core::iter::once("small")
        .chain(shipped)
        .chain([PLAIN])
        .collect()
}

impl Script {
    /// The script as text.
    ///
    /// # Errors
    /// [`BadFile::Form`], should a value not fit the form; none of a script's does not.
    pub fn to_text(&self) -> Result<String, BadFile> {
        toml::to_string(self).map_err(|bad| BadFile::Form(bad.to_string()))
    }

    /// The script that a text holds.
    ///
    /// # Errors
    /// [`BadFile`], naming line and field, and what was expected.
    pub fn from_text(text: &str) -> Result<Self, BadFile> {
        let script: Self =
            toml::from_str(text).map_err(|bad| BadFile::Form(bad.to_string().trim().to_owned()))?;
        check(&script, text)?;
        Ok(script)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::script::{Wanted, draw};

    #[test]
    fn every_script_that_a_seed_draws_survives_its_file() {
        for seed in 0..300 {
            let script = draw(&Wanted {
                seed,
                devices: None,
                short: seed % 3 == 2,
            });
            let text = script.to_text().unwrap();
            assert_eq!(Script::from_text(&text).as_ref(), Ok(&script), "{text}");
        }
    }

    #[test]
    fn what_is_wrong_is_named_with_its_line_and_what_was_expected() {
        let good = draw(&Wanted {
            seed: 1,
            devices: Some(6),
            short: false,
        });
        let text = good.to_text().unwrap();
        let wrong = |from: &str, to: &str| {
            let changed = text.replacen(from, to, 1);
            assert_ne!(changed, text, "{from} is not in the file");
            Script::from_text(&changed).unwrap_err().to_string()
        };
        let unknown = wrong("seed = 1", "seed = 1\nsped = 2");
        assert!(
            unknown.contains("line 2") && unknown.contains("sped"),
            "{unknown}"
        );
        let kind = wrong("seed = 1", "seed = \"one\"");
        assert!(
            kind.contains("line 1") && kind.contains("expected"),
            "{kind}"
        );
        let devices = wrong("devices = 6", "devices = 99");
        assert!(
            devices.contains("line 3, field `devices`: found 99") && devices.contains("5 to 32"),
            "{devices}"
        );
        let lines = text.lines().count();
        let events = good.events.len();
        for (what, at_ms, expected) in [
            (
                "dead = { device = 6 }",
                1,
                "field `device`: found 6, expected a number below 6",
            ),
            (
                "full_disk = { device = 0, for_ms = 700000000 }",
                1,
                "field `for_ms`: found 700000000",
            ),
            (
                "drift = { device = 0, ppm = -2000000 }",
                1,
                "field `ppm`: found -2000000",
            ),
            (
                "dead = { device = 0 }",
                99_999_999_u64,
                "field `at_ms`: found 99999999",
            ),
        ] {
            let event = format!("{text}\n[[event]]\nat_ms = {at_ms}\nwhat = {{ {what} }}\n");
            let bad = Script::from_text(&event).unwrap_err().to_string();
            let place = format!("line {}, event {}, ", lines + 2, events + 1);
            assert!(bad.starts_with(&place) && bad.contains(expected), "{bad}");
        }
    }
}
