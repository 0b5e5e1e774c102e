//! Roster: who is on the job, with which roles, and who is supervisor, at one cut of the log.
//! Owns: nothing.   Gives: `Roster`, `Member`.
//! May use: ids.   Never: how it came about (succession).

use crate::ids::{DeviceKey, Person, RoleId};
use std::collections::BTreeMap;

/// A device that is, or was, on the job.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Member {
    /// Its holder.
    pub person: Person,
    /// The holder's roles, ascending.
    pub roles: Vec<RoleId>,
    /// On the job now: admitted, not removed, not left.
    pub present: bool,
}

/// Everyone ever admitted, with what they hold at this cut.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Default)]
pub struct Roster {
    /// By device key.
    pub members: BTreeMap<DeviceKey, Member>,
    /// The supervisor in office.
    pub supervisor: Option<DeviceKey>,
    /// Number of the supervisor's term, from 0.
    pub term: u32,
}

impl Roster {
    /// Whether the device is on the job.
    #[must_use]
    pub fn present(&self, device: &DeviceKey) -> bool {
        self.members
            .get(device)
            .is_some_and(|member| member.present)
    }

    /// Whether the device is on the job and its holder has the role.
    #[must_use]
    pub fn holds(&self, device: &DeviceKey, role: &RoleId) -> bool {
        self.members
            .get(device)
            .is_some_and(|member| member.present && member.roles.contains(role))
    }

    /// The holder of a device that is or was on the job.
    #[must_use]
    pub fn person(&self, device: &DeviceKey) -> Option<&Person> {
        self.members.get(device).map(|member| &member.person)
    }

    /// Devices on the job.
    pub fn devices(&self) -> impl Iterator<Item = &DeviceKey> {
        self.members
            .iter()
            .filter(|(_, member)| member.present)
            .map(|(device, _)| device)
    }

    /// Devices on the job whose holder has the role.
    pub fn holders<'a>(&'a self, role: &'a RoleId) -> impl Iterator<Item = &'a DeviceKey> {
        self.devices()
            .filter(move |device| self.holds(device, role))
    }
}
