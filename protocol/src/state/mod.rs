//! State: entries to what a person may be told.
//! In reading order: `status` the values · `local` what only this device knows · `lines` and `call` the
//! three words · `looks` what a blind second look keeps back · `steps`, `work`, `crew`, `asked`, `hands`,
//! `expired`, `shown` the parts of a status · `build` puts them together · `digest` of a set of entries · `face`
//! of a status · `overview` what the board shows besides, `aside` what the pages beside the own one do.

mod aside;
mod asked;
mod build;
mod call;
mod crew;
mod digest;
mod expired;
mod face;
mod hands;
mod lines;
mod local;
mod looks;
mod overview;
mod readback;
mod shown;
mod status;
mod steps;
#[cfg(test)]
mod tests;
mod work;

pub use aside::{Aside, ItemAside, PhotoNote, WhereAside, Written, aside, photos};
pub use asked::{Pressing, pressing};
pub use build::status;
pub use call::call;
pub use digest::digest;
pub use face::face;
pub(crate) use lines::roles_held;
pub use local::Local;
pub use overview::{Hears, Overview, Shows, Wait, overview};
pub use status::*;
pub use steps::is_kept_back_from;
