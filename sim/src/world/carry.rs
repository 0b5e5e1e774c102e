//! Carry: inputs to engines, and what engines want done, each in its order.
//! Owns: nothing.   Gives: the one place where effects become events.
//! May use: radio, disk, links.   Never: what bytes say.

use super::queue::{Event, Happens};
use super::{Broken, World};
use crate::signing::Signing;
use gantline_protocol::bounds::TICK_MS;
use gantline_protocol::engine::{Effect, Input};
use gantline_protocol::log::sign::{self, BadSignature, Verified};
use gantline_protocol::log::wire::Entry;
use std::sync::Arc;

impl World {
    pub(super) fn push_of(&mut self, device: usize, in_ms: u64, happens: Happens) {
        let boot = self.devices[device].boots;
        self.push(
            in_ms,
            Event::Of {
                device,
                boot,
                happens,
            },
        );
    }

    pub(super) fn happen_at(&mut self, device: usize, happens: Happens) {
        let own = &self.devices[device];
        if own.engine.is_none() {
            return;
        }
        let runs_at = own.asleep_until.max(own.stalled_until);
        if self.now < runs_at {
            let asleep = self.now < own.asleep_until;
            match happens {
                Happens::Datagram(..) | Happens::Message(..) if asleep => {}
                Happens::Page if !asleep => self.page_due(device),
                later => self.push_of(device, runs_at - self.now, later),
            }
            return;
        }
        match happens {
            Happens::Wake => {
                // An earlier waking has taken this one's place.
                if own.wake_at.is_none_or(|at| at > self.now) {
                    return;
                }
                self.devices[device].wake_at = None;
                self.input(device, Input::Tick);
            }
            Happens::Think => {
                let think = self.think_ms();
                self.push_of(device, think, Happens::Think);
                self.think(device);
            }
            Happens::Page => self.page_due(device),
            Happens::Mischief => self.mischief(device),
            Happens::Datagram(from, bytes) => {
                if self.linked(device, from) && self.radio.open(from, device) {
                    self.overhear(device, true, &bytes);
                    let from = self.devices[from].id;
                    let bytes = bytes.to_vec();
                    self.input(device, Input::Datagram { from, bytes });
                }
            }
            Happens::Message(from, bytes) => {
                if self.linked(device, from) && self.radio.open(from, device) {
                    self.overhear(device, false, &bytes);
                    let from = self.devices[from].id;
                    let bytes = bytes.to_vec();
                    self.input(device, Input::Message { from, bytes });
                }
            }
            Happens::Written(batch) => self.disk_due(device, batch),
            Happens::Checked(batch, good, bad) => {
                self.input(device, Input::Verified { batch, good, bad });
            }
        }
        self.look(device);
    }

    /// Bytes reach a device on its link with another, whoever made them.
    pub fn receive(&mut self, device: usize, from: usize, datagram: bool, bytes: Vec<u8>) {
        let from = self.devices[from].id;
        let input = if datagram {
            Input::Datagram { from, bytes }
        } else {
            Input::Message { from, bytes }
        };
        self.input(device, input);
    }

    /// Something else happens to a device.
    pub fn tell(&mut self, device: usize, input: Input) {
        self.input(device, input);
    }

    pub(super) fn input(&mut self, device: usize, input: Input) {
        self.trace_input(device, &input);
        let now = self.clock(device);
        let Some(engine) = self.devices[device].engine.as_mut() else {
            return;
        };
        let effects = engine.handle(now, input);
        self.carry_out(device, effects);
    }

    pub(super) fn carry_out(&mut self, device: usize, effects: Vec<Effect>) {
        for effect in effects {
            self.listen(&effect);
            match effect {
                Effect::Verify { batch, entries } => {
                    let (good, bad) = self.check(entries);
                    self.push_of(device, 1, Happens::Checked(batch, good, bad));
                }
                Effect::Flush { batch, entries } => self.write(device, batch, entries),
                Effect::Datagram { to, bytes } => {
                    self.only_to_crew(device, &to);
                    if let Some(peer) = self.sendable(device, &to) {
                        self.sent.datagrams += 1;
                        self.sent.bytes += bytes.len() as u64;
                        let copies = self.radio.datagram(&mut self.rng, self.now, device, peer);
                        for in_ms in copies.into_iter().flatten() {
                            let datagram = Happens::Datagram(device, Arc::clone(&bytes));
                            self.push_of(peer, in_ms, datagram);
                        }
                    }
                }
                Effect::Message { to, bytes } => {
                    self.only_to_crew(device, &to);
                    if let Some(peer) = self.sendable(device, &to)
                        && let Some(in_ms) =
                            self.radio.message(&mut self.rng, self.now, device, peer)
                    {
                        self.push_of(peer, in_ms, Happens::Message(device, bytes));
                    }
                }
                Effect::Reply { id, outcome } => self.reply(device, id, outcome),
                Effect::Peers { keys } => self.set_peers(device, keys),
                Effect::DiskFault { why } => {
                    self.faults.push(format!("{device}: disk: {why}"));
                }
                Effect::Bug { what } => self.faults.push(format!("{device}: {what}")),
                Effect::Fault { fault, .. } => self.faults.push(format!("{device}: {fault}")),
                Effect::Alarm { alarm, on } => {
                    if on {
                        self.sounds.push((self.now, device, alarm));
                    }
                }
                Effect::Changed | Effect::StrangerHeard { .. } => {}
            }
        }
        if let Some(engine) = &self.devices[device].engine {
            let wake = engine.deadline().0.since(self.clock(device).tick).max(1);
            self.wake(device, wake);
        }
    }

    fn check(&self, entries: Vec<Entry>) -> (Vec<Verified>, Vec<BadSignature>) {
        if self.signing == Signing::Real {
            return sign::verify_batch(entries);
        }
        let (mut good, mut bad) = (Vec::new(), Vec::new());
        for entry in entries {
            match sign::verify_simulated(self.signing.signatures(), entry) {
                Ok(verified) => good.push(verified),
                Err(refused) => bad.push(refused),
            }
        }
        (good, bad)
    }

    fn listen(&mut self, effect: &Effect) {
        if let Some(tap) = &mut self.tap {
            match effect {
                Effect::Datagram { bytes, .. } => tap.push((true, Arc::clone(bytes))),
                Effect::Message { bytes, .. } => tap.push((false, Arc::clone(bytes))),
                _ => {}
            }
        }
    }

    /// I7: nobody off the roster is sent anything.
    fn only_to_crew(&mut self, device: usize, to: &gantline_protocol::ids::DeviceKey) {
        if !self.devices[device].peers.contains(to) {
            self.broken
                .push(Broken(format!("I7: device {device} sends bytes to {to}")));
        }
    }

    /// One waking for each device is enough; an earlier one replaces the later.
    fn wake(&mut self, device: usize, in_ms: u64) {
        let at = self.now + in_ms.min(TICK_MS);
        if self.devices[device].wake_at.is_none_or(|known| known > at) {
            self.devices[device].wake_at = Some(at);
            self.push_of(device, at - self.now, Happens::Wake);
        }
    }

    pub(super) fn note(&mut self, what: &[u8]) {
        self.trace.number(self.now);
        self.trace.bytes(what);
    }

    fn trace_input(&mut self, device: usize, input: &Input) {
        self.trace.number(self.now);
        self.trace.number(device as u64);
        match input {
            // The first bytes name the beacon or kind, the last ones are a signature over all of it.
            Input::Datagram { bytes, .. } => {
                self.trace.number(1);
                self.trace.ends(bytes);
            }
            Input::Message { bytes, .. } => {
                self.trace.number(2);
                self.trace.ends(bytes);
            }
            Input::Tick => self.trace.number(3),
            Input::Verified { batch, good, bad } => {
                self.trace.number(4);
                self.trace.number(batch.0);
                self.trace.number(good.len() as u64);
                self.trace.number(bad.len() as u64);
            }
            Input::Flushed { batch } => {
                self.trace.number(5);
                self.trace.number(batch.0);
            }
            other => self.trace.bytes(format!("{other:?}").as_bytes()),
        }
    }
}
