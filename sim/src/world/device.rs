//! Device: one device of the world, and its power.
//! Owns: key, engine, disk, clocks, page and person of one device.   Gives: on, off, asleep, stalled.
//! May use: the other parts of the world.   Never: another device's insides.

use super::clocks::Clocks;
use super::disk::Disk;
use super::hostile::Hostile;
use super::page::Page;
use super::queue::Happens;
use super::{Broken, World};
use crate::crew::Temper;
use crate::rng::Rng;
use ed25519_zebra::SigningKey;
use gantline_protocol::engine::{CommandId, Config, Engine};
use gantline_protocol::ids::{BootId, DeviceKey, EntryHash, Person, RoleId};
use gantline_protocol::invariants::Looked;
use gantline_protocol::log::sign;
use gantline_protocol::log::wire::Entry;
use std::collections::BTreeSet;

/// One device of the world.
#[derive(Debug)]
pub struct Device {
    pub(super) key: SigningKey,
    /// Its public key.
    pub id: DeviceKey,
    pub(super) person: Person,
    pub(super) roles: Vec<RoleId>,
    pub(super) engine: Option<Engine>,
    /// Its disk.
    pub disk: Disk,
    /// Its page.
    pub page: Page,
    pub(super) boots: u64,
    pub(super) clocks: Clocks,
    pub(super) peers: BTreeSet<DeviceKey>,
    /// Whether the person at it does what is asked.
    pub willing: bool,
    pub(super) waits_for: Option<CommandId>,
    pub(super) temper: Temper,
    /// Entries that the holder was told are recorded.
    pub told_recorded: BTreeSet<EntryHash>,
    /// What its log was found to be.
    pub(super) looked: Looked,
    /// It has started and its log was not looked at since.
    pub(super) fresh_start: bool,
    /// It is in bad hands.
    pub(super) hostile: Option<Hostile>,
    /// It came back with an old journal at least once.
    pub(super) old_image: bool,
    /// It lost power at least once with a stop sent and not on its disk, whose number it may use again.
    pub(super) lost_a_stop: bool,
    /// Stops pressed, by number, that its log has not.
    pub(super) lacks: Vec<usize>,
    /// When the engine is called next.
    pub(super) wake_at: Option<u64>,
    /// Until then the machine sleeps: nothing reaches it, its clock that counts through suspend goes on.
    pub(super) asleep_until: u64,
    /// Until then its node does not run; what reaches it waits.
    pub(super) stalled_until: u64,
}

impl Device {
    pub(super) fn new(person: &Person, roles: &[RoleId], rng: &mut Rng) -> Self {
        let key = SigningKey::from(rng.bytes());
        Self {
            id: DeviceKey(ed25519_zebra::VerificationKey::from(&key).into()),
            key,
            person: person.clone(),
            roles: roles.to_vec(),
            engine: None,
            disk: Disk::default(),
            page: Page::default(),
            boots: 0,
            clocks: Clocks::new(rng),
            peers: BTreeSet::new(),
            willing: true,
            waits_for: None,
            temper: Temper::default(),
            told_recorded: BTreeSet::new(),
            looked: Looked::new(),
            fresh_start: true,
            hostile: None,
            old_image: false,
            lost_a_stop: false,
            lacks: Vec::new(),
            wake_at: None,
            asleep_until: 0,
            stalled_until: 0,
        }
    }

    /// Whether it is on, awake and running.
    pub(super) fn answers(&self, now: u64) -> bool {
        self.engine.is_some() && now >= self.asleep_until && now >= self.stalled_until
    }

    /// Whether it is on.
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.engine.is_some()
    }

    /// Its holder.
    #[must_use]
    pub fn person(&self) -> &Person {
        &self.person
    }
}

impl World {
    /// Turns a device on with what is in its journal.
    pub fn power_on(&mut self, device: usize) {
        self.start(device, false);
    }

    pub(super) fn start(&mut self, device: usize, journal_damaged: bool) {
        self.unlink(device);
        let boot = self.rng.draw();
        let now = self.clock(device);
        let own = &mut self.devices[device];
        own.boots += 1;
        own.waits_for = None;
        own.wake_at = None;
        own.asleep_until = 0;
        own.stalled_until = 0;
        let mut journal = Vec::new();
        for bytes in &own.disk.journal {
            let verified = Entry::decode(bytes.clone())
                .map_err(|bad| bad.to_string())
                .and_then(|entry| {
                    sign::verify_simulated(self.signing.signatures(), entry)
                        .map_err(|bad| bad.to_string())
                });
            match verified {
                Ok(verified) => journal.push(verified),
                Err(bad) => self.broken.push(Broken(format!("journal: {bad}"))),
            }
        }
        let config = Config {
            key: own.key,
            boot: BootId(boot),
            journal_damaged,
        };
        match Engine::open_simulated(self.signing.signatures(), config, journal, now) {
            Ok((engine, effects)) => {
                own.engine = Some(engine);
                own.looked = Looked::new();
                own.fresh_start = true;
                self.lacks_anew(device);
                self.carry_out(device, effects);
                let think = self.think_ms();
                self.push_of(device, think, Happens::Think);
                self.page_again(device);
                if self.is_hostile(device) {
                    self.push_of(device, 1, Happens::Mischief);
                }
            }
            Err(cannot) => self.broken.push(Broken(format!("open: {cannot}"))),
        }
    }

    /// Power is gone: what was not flushed is lost.
    pub fn power_off(&mut self, device: usize) {
        self.power_off_torn(device, 0);
    }

    /// Power is gone: of the entries on their way to disk the first `torn` are there.
    pub fn power_off_torn(&mut self, device: usize, torn: usize) {
        let unsaid = self.unrecorded(device);
        let own = &mut self.devices[device];
        own.engine = None;
        own.boots += 1;
        own.peers.clear();
        own.disk.lose_power(torn);
        own.page.die();
        self.note(&[b'o', device.to_le_bytes()[0]]);
        self.devices[device].lost_a_stop |= !unsaid.is_empty();
        self.died_with_power(device, &unsaid);
    }

    /// The machine is started anew: all clocks but the wall clock begin again.
    pub fn reboot_clock(&mut self, device: usize) {
        let (now, origin) = (self.now, self.rng.between(0, 60_000));
        self.devices[device].clocks.begin(now, origin);
    }

    /// The machine sleeps for so long: nothing reaches it and nothing runs.
    pub fn suspend(&mut self, device: usize, ms: u64) {
        self.devices[device].asleep_until = self.now + ms;
    }

    /// The node does not run for so long; what reaches the machine waits.
    pub fn stall(&mut self, device: usize, ms: u64) {
        self.devices[device].stalled_until = self.now + ms;
    }

    /// It sleeps and stalls no longer.
    pub fn wake_up(&mut self, device: usize) {
        self.devices[device].asleep_until = 0;
        self.devices[device].stalled_until = 0;
    }

    /// Whether a device may have used a number again without knowing: the design's two cases.
    #[must_use]
    pub fn may_fork(&self, device: usize) -> bool {
        self.devices[device].old_image || self.devices[device].lost_a_stop
    }

    /// Whether a device came back with an old journal.
    #[must_use]
    pub fn had_old_image(&self, device: usize) -> bool {
        self.devices[device].old_image
    }

    /// Whether a device is on, awake and running.
    #[must_use]
    pub fn answers(&self, device: usize) -> bool {
        self.devices[device].answers(self.now)
    }
}
