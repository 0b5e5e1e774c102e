//! Errors of the limits: why there is no number.
//! Owns: nothing.   Gives: `LimitError`.
//! May use: nothing of this crate.   Never: a number in place of one that cannot be had.

/// Why a limit was not computed. Outside a formula's range there is no number.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum LimitError {
    /// Outside the range in which the source is valid.
    #[error(
        "{what}: found {found} {unit}, expected {least} to {most} {unit}; outside this range the source gives no number"
    )]
    OutOfRange {
        /// The input.
        what: &'static str,
        /// Its value.
        found: f64,
        /// Least value of the range.
        least: f64,
        /// Greatest value of the range.
        most: f64,
        /// Unit of all three.
        unit: &'static str,
    },
    /// Zero, negative or no number where more than nothing is needed.
    #[error("{what}: found {found} {unit}, expected more than nothing")]
    NotPositive {
        /// The input.
        what: &'static str,
        /// Its value.
        found: f64,
        /// Its unit.
        unit: &'static str,
    },
    /// Not a finite number.
    #[error("{what}: not a number; check the inputs that it is computed from")]
    NotANumber {
        /// The input or result.
        what: &'static str,
    },
    /// An input that the plan does not give.
    #[error("{what} is not given; add it to the plan's data")]
    NotGiven {
        /// The input.
        what: String,
    },
    /// An input in a unit that this quantity is not read in.
    #[error("{what}: found unit `{found}`, expected one of {expected}")]
    Unit {
        /// The input.
        what: String,
        /// Its unit.
        found: String,
        /// The units that are read.
        expected: String,
    },
    /// A name that the catalogue does not have.
    #[error("{what}: found `{found}`, expected one of {expected}")]
    Unknown {
        /// What kind of name.
        what: &'static str,
        /// What was given.
        found: String,
        /// What there is.
        expected: String,
    },
    /// No equilibrium: the set-up cannot stand as described.
    #[error("{what}: {why}")]
    NoEquilibrium {
        /// What was computed.
        what: &'static str,
        /// Why there is none.
        why: &'static str,
    },
    /// Two rules that must not be mixed, or an option that does not apply here.
    #[error("{what}: {why}")]
    NotApplicable {
        /// The option.
        what: &'static str,
        /// Why not.
        why: &'static str,
    },
}
