//! Builtin: the plans that ship, by name.
//! Owns: their texts.   Gives: `builtin`, `Builtin`, `SMALL`.
//! May use: parse.   Never: decides which one a job uses.

use super::parse::{Faults, parse};
use super::types::Plan;

/// A plan that ships.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Builtin {
    /// Its name, as given on the command line.
    pub name: &'static str,
    /// Its text in the plan format.
    pub text: &'static str,
}

impl Builtin {
    /// The plan.
    ///
    /// # Errors
    /// [`Faults`], if the text is no plan; a test proves that every one that ships is.
    pub fn plan(&self) -> Result<Plan, Faults> {
        parse(self.name, self.text)
    }
}

/// The plans that ship: an invented line each, sound and proved by test.
static ALL: [Builtin; 3] = [
    Builtin {
        name: "suspension-230",
        text: include_str!("../../plans/suspension-230.toml"),
    },
    Builtin {
        name: "suspension-345-ladder",
        text: include_str!("../../plans/suspension-345-ladder.toml"),
    },
    Builtin {
        name: "dead-end-138",
        text: include_str!("../../plans/dead-end-138.toml"),
    },
];

/// The plans that ship.
#[must_use]
pub fn builtin() -> &'static [Builtin] {
    &ALL
}

/// The smallest plan that passes its check, in the plan format: three steps with one of most things in
/// it. For tests and simulations, not for work.
pub const SMALL: &str = include_str!("fixtures/small.toml");
