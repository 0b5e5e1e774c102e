//! Faults: what is wrong with a plan file, where, what was found and what is expected.
//! Owns: nothing.   Gives: `Faults`, `Fault`, `FaultKind`.
//! May use: ids, decimal, plan::check.   Never: reads the file.

use super::lines::Spot;
use crate::decimal::BadDecimal;
use crate::ids::BadId;
use crate::plan::check::Problem;
use core::fmt;

/// All that was found wrong with one file; never empty.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Faults {
    /// Name of the file, as it was given.
    pub file: String,
    /// In the order of the file.
    pub list: Vec<Fault>,
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.list.iter().enumerate() {
            if index > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{}:{fault}", self.file)?;
        }
        Ok(())
    }
}

impl core::error::Error for Faults {}

/// One fault, or one warning.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Fault {
    /// Where.
    pub spot: Spot,
    /// Another place that it has to do with: the first of two things of one name.
    pub also: Option<Spot>,
    /// What.
    pub kind: FaultKind,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.spot, self.kind)?;
        match self.also {
            Some(also) => write!(f, " (first at line {})", also.line),
            None => Ok(()),
        }
    }
}

/// What can be wrong with a plan file.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[allow(
    missing_docs,
    reason = "the fields are the things that the variant's own line names"
)]
pub enum FaultKind {
    /// Larger than any plan that fits an entry.
    #[error("found a file of {found} bytes, expected at most {most}")]
    TooLarge { found: usize, most: usize },
    /// Not TOML; the words are those of the TOML reader.
    #[error("found `{found}`, which is not TOML: {expected}")]
    Toml { found: String, expected: String },
    /// Another format, or none.
    #[error(
        "found {found}, expected `format = {expected}`, the only plan format that this version reads"
    )]
    Format { found: String, expected: u32 },
    /// A key that this table does not have.
    #[error("found unknown key `{found}` in {section}, expected {}", meant(nearest.as_deref(), expected))]
    UnknownKey {
        found: String,
        section: &'static str,
        nearest: Option<&'static str>,
        expected: &'static [&'static str],
    },
    /// A key that must be there.
    #[error("found no `{key}`, expected one in {section}")]
    MissingKey {
        key: &'static str,
        section: &'static str,
    },
    /// A value of another type.
    #[error("found {found} for `{key}`, expected {expected}")]
    WrongType {
        key: String,
        found: String,
        expected: &'static str,
    },
    /// A word that is none of those possible.
    #[error("found `{found}` for `{key}`, expected {}", meant(nearest.as_deref(), expected))]
    WrongWord {
        key: String,
        found: String,
        nearest: Option<&'static str>,
        expected: Vec<&'static str>,
    },
    /// A name of a form that names cannot have.
    #[error("`{key}`: {bad}")]
    BadName { key: String, bad: BadId },
    /// A number that is no plain decimal.
    #[error("`{key}`: {bad}")]
    BadNumber { key: String, bad: BadDecimal },
    /// A whole number that is too small or too large.
    #[error("found {found} for `{key}`, expected a whole number from {least} to {most}")]
    OutOfRange {
        key: String,
        found: String,
        least: u64,
        most: u64,
    },
    /// A text that is too long or has control characters.
    #[error(
        "found a text of {found} characters for `{key}`, expected one line of at most {most} characters without control characters"
    )]
    BadText {
        key: String,
        found: usize,
        most: usize,
    },
    /// Nobody, or more than one kind of somebody, acknowledges a check.
    #[error(
        "found {found} in this check, expected exactly one of `by`, `each`, `first` with `second`, `report` with `repeat`"
    )]
    Who { found: String },
    /// A key that does not go with another value of the same table.
    #[error("found `{key}`, which goes with {goes_with} only")]
    NotHere {
        key: &'static str,
        goes_with: &'static str,
    },
    /// A key that another value of the same table asks for.
    #[error("found no `{key}`, expected one with {with}")]
    NeededHere {
        key: &'static str,
        with: &'static str,
    },
    /// Well written, but it does not hang together.
    #[error("{0}")]
    Unsound(Problem),
}

/// The one key that was meant, or all that are possible.
fn meant(nearest: Option<&str>, expected: &[&'static str]) -> String {
    match nearest {
        Some(word) => format!("`{word}`"),
        None => format!("one of `{}`", expected.join("`, `")),
    }
}
