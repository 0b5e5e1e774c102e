//! Local: what only this device knows at this moment, handed to the call and the status as values.
//! Owns: nothing.   Gives: `Local`.
//! May use: ids, time, watch, log::wire.   Never: the log's evaluation (gate).

use crate::engine::Alarm;
use crate::ids::{BootId, ConditionId, DeviceKey, EntryHash};
use crate::log::wire::Entry;
use crate::time::Now;
use crate::watch::Contact;
use std::collections::BTreeMap;

/// This device at this moment.
#[derive(Debug)]
pub struct Local<'a> {
    /// This device.
    pub me: DeviceKey,
    /// This start of it.
    pub boot: BootId,
    /// Its clocks.
    pub now: Now,
    /// One for every other present device.
    pub contacts: &'a [Contact],
    /// For each standing condition the entry that it rests on and an upper bound of that entry's age, ms.
    pub condition_ages: &'a BTreeMap<ConditionId, (EntryHash, u64)>,
    /// For each standing condition that was ever put out of bounds, a lower bound of the time since the
    /// newest entry that did so, ms: since that entry arrived here, or what the log tells of it.
    pub since_out: &'a BTreeMap<ConditionId, u64>,
    /// Upper bound of the age of each entry younger than some minutes, ms; for readies and readings.
    pub entry_ages: &'a BTreeMap<EntryHash, u64>,
    /// Stops pressed here, or whose signature is known good, that are not (yet) in the applied log.
    pub loose_stops: &'a [Entry],
    /// Devices by whose word this one is off the job, and that have not linked since.
    pub off_by: &'a [DeviceKey],
    /// The own chain is known to be whole since this start: nobody holds more of it.
    pub recovered: bool,
    /// The disk refused entries.
    pub disk_failed: bool,
    /// The device's page has been silent for over the page limit.
    pub page_silent: bool,
    /// Every proof has been younger than half the limit for `STEADY_MS`, or nothing was lost before.
    pub steady: bool,
    /// The holder has yet to say that things are still so after a long hold by loss.
    pub still_so_due: bool,
    /// What sounds here.
    pub alarms: &'a [Alarm],
}
