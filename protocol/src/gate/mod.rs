//! Gate: does this acknowledgement count, and which step is open? A pure function of the set of entries.
//! In reading order: `roster` who is who.

mod roster;

pub use roster::{Member, Roster};
