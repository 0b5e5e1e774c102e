//! Press: what people do on their devices, and what the devices answer.
//! Owns: nothing.   Gives: commands in, outcomes out, to the person who waits for them.
//! May use: crew.   Never: what an act is worth (the engines).

use super::{Broken, World};
use crate::crew;
use gantline_protocol::engine::{Command, CommandId, Input, Outcome};
use gantline_protocol::reason::Reason;

impl World {
    /// A finger presses, now, and the node takes it.
    pub fn do_now(&mut self, device: usize, command: Command) {
        let id = CommandId(self.next_command);
        self.next_command += 1;
        self.commands.insert(id, command.clone());
        self.note(format!("{device} {command:?}").as_bytes());
        self.say(|| format!("{device} presses {command:?}"));
        let stops = matches!(
            command,
            Command::Stop { .. } | Command::Withdraw { .. } | Command::Suspend { .. }
        );
        self.devices[device].waits_for = Some(id);
        self.input(device, Input::Command { id, command });
        if stops {
            self.stop_pressed(device);
        }
    }

    /// What a person's screen asks of them is done, if they are willing.
    pub(super) fn think(&mut self, device: usize) {
        let own = &self.devices[device];
        if !own.willing || own.waits_for.is_some() {
            return;
        }
        let Some(engine) = &own.engine else {
            return;
        };
        let status = engine.status(self.clock(device));
        let command = crew::next_act(&status, engine.job(), &own.temper, self.now);
        if let Some(command) = command {
            self.do_now(device, command);
        }
    }

    pub(super) fn think_ms(&mut self) -> u64 {
        let (low, high) = self.options.think_ms;
        self.rng.between(low, high)
    }

    pub(super) fn reply(&mut self, device: usize, id: CommandId, outcome: Outcome) {
        self.note(format!("{device} {outcome:?}").as_bytes());
        self.say(|| format!("{device} is told {outcome:?}"));
        let command = self.commands.remove(&id);
        if self.devices[device].waits_for == Some(id) {
            self.devices[device].waits_for = None;
        }
        match &outcome {
            Outcome::Recorded { entry, reasons, .. } => {
                self.devices[device].told_recorded.insert(*entry);
                for reason in reasons {
                    *self.noted.entry(reason.code()).or_default() += 1;
                }
            }
            Outcome::Refused { reasons } => {
                for reason in reasons {
                    *self.refusals.entry(reason.code()).or_default() += 1;
                }
                if matches!(command, Some(Command::Stop { .. })) {
                    self.broken.push(Broken(format!(
                        "I8: device {device} refused a stop: {reasons:?}"
                    )));
                }
            }
            Outcome::AlreadySo => {
                let reason = Reason::Duplicate.code();
                *self.refusals.entry(reason).or_default() += 1;
            }
        }
        if let Some(command) = command {
            self.devices[device]
                .temper
                .learn(self.now, &command, &outcome);
            self.outcomes.push((device, command, outcome));
        }
    }
}
