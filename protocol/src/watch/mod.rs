//! Watch: proof that the others are alive, quiet and level, and how old it is by this device's clock alone.
//! In reading order: `beacon` what is said several times a second · `proof` what an echo proves ·
//! `born` how old an entry can be at most · `arrived` how old it is at least.

mod arrived;
mod beacon;
mod born;
mod proof;

pub use arrived::Arrived;
pub use beacon::{
    BadBeacon, Beacon, Claim, Echo, Heard, Row, SignedBeacon, Vouch, bundle, check_beacon, job_tag,
    unbundle,
};
pub use born::Births;
pub use proof::{Accepted, Standing, Watch, cadence_ms};

use crate::ids::DeviceKey;

/// What this device can prove about another at one moment.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Contact {
    /// The other device.
    pub device: DeviceKey,
    /// Age of the newest proof of life, ms; `None`: none since this device started.
    pub age_ms: Option<u64>,
    /// Whether that proof was quiet: no stop pressed there, its page alive.
    pub quiet: bool,
    /// Whether this device holds the other's chain up to the head that came with that proof.
    pub level: bool,
    /// What the other then said it held, as a cut of this device's graph.
    pub holds: Vec<u32>,
}
