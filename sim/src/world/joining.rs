//! Joining: how a job is founded and how devices come onto it.
//! Owns: nothing.   Gives: a founded job, admitted devices.
//! May use: protocol's join, word by word as two devices would.   Never: a way onto the job of its own.

use super::{Broken, Device, World};
use crate::signing::Signing;
use gantline_protocol::engine::{Command, found_simulated};
use gantline_protocol::ids::Person;
use gantline_protocol::join;
use gantline_protocol::log::entry::Found;
use std::sync::Arc;

/// A device that is admitted takes at most so long to come onto the job, ms.
const JOINS_WITHIN_MS: u64 = 5_000;

impl World {
    pub(super) fn found(&mut self) {
        let nonce = self.rng.bytes();
        let wall = self.clock(0).wall;
        let founder = &mut self.devices[0];
        let mut short = [0; 16];
        short.copy_from_slice(&nonce[..16]);
        let founding = found_simulated(
            self.signing.signatures(),
            &founder.key,
            wall,
            Found {
                plan: self.options.plan.clone(),
                person: founder.person.clone(),
                roles: founder.roles.clone(),
                continues: None,
                nonce: short,
            },
        );
        match founding {
            Ok(founding) => founder.disk.journal = vec![Arc::clone(&founding.entry().bytes)],
            Err(cannot) => self.broken.push(Broken(format!("founding: {cannot}"))),
        }
        self.power_on(0);
    }

    /// The supervisor admits a device by its words; it takes the log and starts.
    pub fn admit(&mut self, device: usize) {
        let joining = &self.devices[device];
        let command = Command::Admit {
            device: joining.id,
            person: joining.person.clone(),
            roles: joining.roles.clone(),
            replaces: None,
        };
        if !self.admit_as(device, command) {
            let person = self.devices[device].person.clone();
            let words = format!("joining: {person} is not admitted");
            self.broken.push(Broken(words));
        }
    }

    /// As [`World::admit`], with an admission of one's own making; whether it was given. If not, nothing of the job
    /// is on the device, and it may be tried again.
    pub fn admit_as(&mut self, device: usize, command: Command) -> bool {
        let (host, id) = (self.supervisor(), self.devices[device].id);
        self.do_now(host, command);
        let admitted = self.run_until(JOINS_WITHIN_MS, |world| {
            world
                .engine(host)
                .is_some_and(|engine| engine.job().roster().present(&id))
        });
        if !admitted {
            return false;
        }
        match self.join(host, device) {
            Ok(journal) => {
                self.devices[device].disk.journal = journal;
                self.power_on(device);
            }
            Err(why) => self.broken.push(Broken(format!("joining: {why}"))),
        }
        true
    }

    /// Somebody more comes, with a device of their own, not on the job yet and without a role. None if their name
    /// is not one.
    pub fn another(&mut self) -> Option<usize> {
        let device = self.devices.len();
        let person = Person::try_from(format!("another {device}")).ok()?;
        let another = Device::new(&person, &[], &mut self.rng);
        self.devices.push(another);
        Some(device)
    }

    /// Whether the supervisor's device has the admission of a device.
    #[must_use]
    pub fn may_join(&self, device: usize) -> bool {
        self.engine(self.supervisor())
            .is_some_and(|engine| engine.job().roster().present(&self.devices[device].id))
    }

    /// A device that is admitted takes the log and starts, without time passing. What it alone has, it keeps.
    pub fn come_onto_job(&mut self, device: usize) {
        match self.join(self.supervisor(), device) {
            Ok(mut journal) => {
                self.power_off(device);
                let own = &mut self.devices[device].disk.journal;
                let only_here = own.drain(..).filter(|entry| !journal.contains(entry));
                let only_here: Vec<Arc<[u8]>> = only_here.collect();
                journal.extend(only_here);
                *own = journal;
                self.power_on(device);
            }
            Err(why) => self.broken.push(Broken(format!("joining: {why}"))),
        }
    }

    /// The log itself, where signatures are simulated: the way onto a job knows real ones only.
    fn hand_over(&self, host: usize) -> Result<Vec<Arc<[u8]>>, String> {
        let graph = self.engine(host).ok_or("the host is off")?.job().graph();
        let bytes = graph.iter().map(|ix| Arc::clone(&graph.entry(ix).bytes));
        Ok(bytes.collect())
    }

    /// The way onto the job, by the messages that the two devices would send.
    fn join(&mut self, host: usize, device: usize) -> Result<Vec<Arc<[u8]>>, String> {
        if self.signing == Signing::Simulated {
            return self.hand_over(host);
        }
        let text = |bad: join::BadJoin| bad.to_string();
        let (theirs, ours) = (self.rng.bytes(), self.rng.bytes());
        let (id, host_id) = (self.devices[device].id, self.devices[host].id);
        let person = self.devices[device].person.clone();
        let (mut joining, knock) = join::Joining::new(id, host_id, person, theirs);
        let mut hosting = join::Hosting::new(host_id, id, ours);
        let join::HostStep::Send(here) = hosting.hear(&knock).map_err(text)? else {
            return Err("no answer to a knock".to_owned());
        };
        let join::JoinStep::Compare { words, send } = joining.hear(&here).map_err(text)? else {
            return Err("no words".to_owned());
        };
        match hosting.hear(&send).map_err(text)? {
            join::HostStep::Compare { words: same, .. } if same == words => {}
            other => return Err(format!("other words: {other:?}")),
        }
        let engine = self.engine(host).ok_or("the host is off")?;
        let messages = join::log_for(engine.job().graph(), &id).ok_or("not admitted")?;
        for message in messages {
            if let join::JoinStep::Ready { journal, .. } = joining.hear(&message).map_err(text)? {
                let bytes = journal.iter().map(|v| Arc::clone(&v.entry().bytes));
                return Ok(bytes.collect());
            }
        }
        Err("the log ended before the admission".to_owned())
    }
}
