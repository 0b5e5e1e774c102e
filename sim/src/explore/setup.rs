//! Setup: the crew of the small world, on the job, briefed and level, before anything is explored.
//! Owns: keys and names of three people.   Gives: `Crew`, the three devices as they stand then.
//! May use: device.   Never: chance; which events follow (search).

use super::device::{Checked, Device, Done, Said};
use crate::signing::Simulated;
use ed25519_zebra::SigningKey;
use gantline_protocol::engine::{Command, Outcome, found_simulated};
use gantline_protocol::ids::{DeviceKey, Person, RoleId};
use gantline_protocol::log::entry::Found;
use gantline_protocol::plan::{self, Plan};
use gantline_protocol::time::WallClock;
use std::sync::Arc;

/// The wall clock of every device, which stands still: it judges nothing, and so no two entries differ by
/// it alone.
pub(super) const WALL: WallClock = WallClock(1_790_000_000_000);
/// How many devices there are.
pub(super) const DEVICES: usize = 3;
/// Who founds the job.
pub(super) const LEAD: usize = 0;
/// Who works aloft, and takes over the office when it is offered.
pub(super) const TOWER: usize = 1;

/// The three devices' names and keys.
#[derive(Debug)]
pub(super) struct Crew {
    pub(super) members: [Member; DEVICES],
    plan: Plan,
}

#[derive(Debug)]
pub(super) struct Member {
    key: SigningKey,
    pub(super) id: DeviceKey,
    pub(super) person: Person,
    roles: Vec<RoleId>,
}

impl Crew {
    /// Lead, Tower and Observer.
    pub(super) fn new() -> Result<Self, String> {
        let mut plan = plan::parse("explore/plan.toml", include_str!("plan.toml"))
            .map_err(|faults| faults.to_string())?;
        // Standing conditions are taken as fresh for ever: their ages would part worlds that are otherwise one.
        plan.conditions.clear();
        let member = |number: u8, name: &str, role: &str| -> Result<Member, String> {
            let key = SigningKey::from([number; 32]);
            Ok(Member {
                id: DeviceKey(ed25519_zebra::VerificationKey::from(&key).into()),
                key,
                person: Person::try_from(name).map_err(|bad| bad.to_string())?,
                roles: vec![RoleId::try_from(role).map_err(|bad| bad.to_string())?],
            })
        };
        Ok(Self {
            members: [
                member(1, "Lead", RoleId::SUPERVISOR)?,
                member(2, "Tower", "tower")?,
                member(3, "Observer", RoleId::OBSERVER)?,
            ],
            plan,
        })
    }

    pub(super) fn key(&self, number: usize) -> SigningKey {
        self.members[number].key
    }

    pub(super) fn others(&self, me: DeviceKey) -> impl Iterator<Item = DeviceKey> + '_ {
        let ids = self.members.iter().map(|member| member.id);
        ids.filter(move |id| *id != me)
    }

    pub(super) fn number(&self, id: &DeviceKey) -> Option<usize> {
        self.members.iter().position(|member| member.id == *id)
    }

    /// The devices with everybody admitted, briefed, counted in the clear, and known to hold all of it.
    pub(super) fn on_the_job(
        &self,
        newer: &mut u32,
        checked: &mut Checked,
    ) -> Result<[Device; DEVICES], String> {
        let lead = &self.members[LEAD];
        let founding = found_simulated(
            &Simulated,
            &lead.key,
            WALL,
            Found {
                plan: self.plan.clone(),
                person: lead.person.clone(),
                roles: lead.roles.clone(),
                continues: None,
                nonce: [7; 16],
            },
        )
        .map_err(|cannot| cannot.to_string())?;
        let journal = vec![Arc::clone(&founding.entry().bytes)];
        let mut first = Device::open(self, LEAD, 1, 1_000, journal, checked)?;
        for member in &self.members[1..] {
            let admit = Command::Admit {
                device: member.id,
                person: member.person.clone(),
                roles: member.roles.clone(),
                replaces: None,
            };
            recorded(&first.press(&admit, checked))?;
        }
        let log = first.journal.clone();
        let mut devices = [
            first,
            Device::open(self, 1, 1, 1_000, log.clone(), checked)?,
            Device::open(self, 2, 1, 1_000, log, checked)?,
        ];
        for device in &mut devices {
            for peer in self.others(device.engine.me()) {
                device.reconnect(peer, checked);
            }
        }
        self.all_hear(&mut devices, newer, checked)?;
        let clear = self.members.iter().map(|member| member.person.clone());
        let count = Command::HeadCount {
            clear: clear.collect(),
            assumed: Vec::new(),
        };
        let acts = [
            (1, Command::Accept),
            (2, Command::Accept),
            (0, Command::Briefed),
            (1, Command::Briefed),
            (2, Command::Briefed),
            (0, count),
        ];
        for (me, act) in acts {
            let done = devices[me].press(&act, checked);
            recorded(&done)?;
            for (to, bytes) in done.sends {
                if let Some(to) = self.number(&to) {
                    devices[to].deliver(self.members[me].id, &bytes, checked);
                }
            }
            self.all_hear(&mut devices, newer, checked)?;
        }
        Ok(devices)
    }

    /// Everybody hears everybody, twice, with a wait between.
    fn all_hear(
        &self,
        devices: &mut [Device; DEVICES],
        newer: &mut u32,
        checked: &mut Checked,
    ) -> Result<(), String> {
        for wait_ms in [0, super::device::HEARD_MS, 0] {
            let said: Vec<Said> = devices
                .iter()
                .map(|device| device.said(self, checked))
                .collect::<Result<_, _>>()?;
            let said: [Said; DEVICES] = said.try_into().map_err(|_| "a crew of another size")?;
            for (me, device) in devices.iter_mut().enumerate() {
                device.wait(wait_ms, checked);
                device.hear(self, others_of(said, me), newer, checked);
            }
        }
        Ok(())
    }
}

/// What the two others say, by their numbers.
pub(super) fn others_of<T: Copy>(all: [T; DEVICES], me: usize) -> [T; DEVICES - 1] {
    core::array::from_fn(|at| all[if at < me { at } else { at + 1 }])
}

fn recorded(done: &Done) -> Result<(), String> {
    match &done.outcome {
        Some(Outcome::Recorded { .. }) => Ok(()),
        other => Err(format!("the crew could not get on the job: {other:?}")),
    }
}
