//! Watch: proof that the others are alive, quiet and level, and how old it is by this device's clock alone.

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
