//! File: a script as text, so that a failing run can be kept, read and run again.
//! Owns: the form of the file (TOML).   Gives: text of a script, script of a text.
//! May use: toml.   Never: reads or writes files (the program does).

use super::Script;
use gantline_protocol::plan;

/// A text that is no script.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum BadFile {
    /// Not TOML, or not with the fields of a script. The words name line, field and what was expected.
    #[error("{0}")]
    Form(String),
    /// A plan that does not ship.
    #[error("field `plan`: found \"{found}\", expected one of {}", names().join(", "))]
    Plan {
        /// As written.
        found: String,
    },
    /// A device that the run does not have.
    #[error(
        "event {event}, at_ms = {at_ms}: found device {found}, expected a number below {below}"
    )]
    Device {
        /// Which event, from 1.
        event: usize,
        /// When it would be.
        at_ms: u64,
        /// As written.
        found: usize,
        /// How many devices there are.
        below: usize,
    },
    /// A number out of its range.
    #[error("field `{field}`: found {found}, expected {expected}")]
    Range {
        /// Its name.
        field: &'static str,
        /// As written.
        found: String,
        /// What it may be.
        expected: &'static str,
    },
}

/// Names of the plans that a run can use.
pub(super) fn names() -> Vec<&'static str> {
    let shipped = plan::builtin().iter().map(|builtin| builtin.name);
    core::iter::once("small").chain(shipped).collect()
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
        script.check()?;
        Ok(script)
    }

    fn check(&self) -> Result<(), BadFile> {
        if !names().contains(&self.plan.as_str()) {
            let found = self.plan.clone();
            return Err(BadFile::Plan { found });
        }
        let range = |field, found: String, expected| {
            Err(BadFile::Range {
                field,
                found,
                expected,
            })
        };
        if !(5..=32).contains(&self.devices) {
            return range("devices", self.devices.to_string(), "5 to 32");
        }
        if self.think_ms.0 == 0 || self.think_ms.0 > self.think_ms.1 {
            let found = format!("{:?}", self.think_ms);
            return range(
                "think_ms",
                found,
                "a shortest time over 0 and a longest not below it",
            );
        }
        if self.first_act_ms > 7 * 24 * 3_600_000 {
            return range(
                "first_act_ms",
                self.first_act_ms.to_string(),
                "at most a week",
            );
        }
        for (number, event) in self.events.iter().enumerate() {
            if let Some(found) = event.what.devices().find(|device| *device >= self.devices) {
                return Err(BadFile::Device {
                    event: number + 1,
                    at_ms: event.at_ms,
                    found,
                    below: self.devices,
                });
            }
        }
        Ok(())
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
            devices.contains("`devices`") && devices.contains("5 to 32"),
            "{devices}"
        );
        let event = format!("{text}\n[[event]]\nat_ms = 1\nwhat = {{ dead = {{ device = 6 }} }}\n");
        let bad = Script::from_text(&event).unwrap_err().to_string();
        assert!(bad.contains("found device 6"), "{bad}");
    }
}
