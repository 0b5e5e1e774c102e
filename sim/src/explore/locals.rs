//! Locals: every state that a single device was found in, and what leads from one to the next.
//! Owns: the states and the moves between them.   Gives: `Locals`: a move by state and event, made once.
//! May use: device, facts.   Never: which events are due (search).
//!
//! A world is three device states and what is in flight, and few of its steps are new for the device that
//! takes them: the engine runs once for each device state and event, not once for each world. States of equal
//! essence are one state; before two are taken for one, everything that their logs decide is compared, so
//! that each order of arrival of one set of entries is held against every other (I4).
//! Engines are large: only some are kept, the others are made again from their history.

use super::device::{Checked, Device, Done, Said};
use super::facts::{Facts, asked, offer, stop};
use super::setup::{Crew, DEVICES};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::{DeviceKey, EntryHash};
use gantline_protocol::state::CallWord;
use gantline_protocol::sync;
use std::collections::{HashMap, VecDeque};
use std::sync::Arc;

/// Engines kept; the rest is made again when asked for.
const KEPT: usize = 20_000;

/// Names a state of a device.
pub(super) type LocalId = u32;
/// Names a message to a device.
pub(super) type MessageId = u32;
/// Names a press.
pub(super) type PressId = u16;
/// What the two others say, as far as it matters to who hears it: see [`Locals::heard`].
pub(super) type Heard = [Said; DEVICES - 1];

/// An event on one device. Where it says what is heard, that is heard just before.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub(super) enum Step {
    /// The holder presses a stop, or the supervisor offers the office.
    Once(PressId),
    /// The holder presses what is asked.
    Press(PressId, Heard),
    /// A message arrives.
    Deliver(MessageId),
    /// A message arrives that makes the device write something by itself.
    DeliverTo(MessageId, Heard),
    /// The disk is done.
    Flush(Heard),
    /// The two others are heard; no time passes.
    Hear(Heard),
    /// Some time passes in which the two others are heard.
    Pass(Heard),
    /// Power fails and comes back.
    Restart,
    /// The link with another device is new.
    Reconnect(u8),
}

/// What an event leads to.
#[derive(Clone, Debug)]
pub(super) struct Move {
    pub(super) to: LocalId,
    pub(super) sends: Box<[MessageId]>,
    /// A press was taken: recorded, or a stop on its way to the disk.
    pub(super) taken: bool,
    /// What the device says then.
    pub(super) word: CallWord,
    /// What it says when then nobody is heard for longer than the watch limit.
    pub(super) word_after_silence: Option<CallWord>,
}

/// What a message is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Kind {
    Entries,
    Ask,
    Give,
    Tips,
}

/// A message. Entries are the same whoever passes them on, so that only who sent them first is kept; an ask is
/// not.
#[derive(Clone, Debug)]
pub(super) struct Message {
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) kind: Kind,
    /// It brings a stop and nothing else.
    pub(super) stop: bool,
    bytes: Arc<[u8]>,
}

/// From whom, where that matters; to whom; the bytes.
type Letter = (Option<usize>, usize, Arc<[u8]>);

#[derive(Debug)]
struct Node {
    device: u8,
    parent: Option<(LocalId, Step)>,
    facts: Facts,
    engine: Option<Box<Device>>,
}

/// All device states so far.
#[derive(Debug)]
pub(super) struct Locals {
    pub(super) crew: Crew,
    checked: Checked,
    nodes: Vec<Node>,
    by_essence: HashMap<[u8; 32], LocalId>,
    /// For each set of entries what its log decides, and who was first to have it.
    by_set: HashMap<EntryHash, (EntryHash, LocalId)>,
    moves: HashMap<(LocalId, Step), Arc<Move>>,
    wanted: HashMap<(LocalId, Heard), Arc<[Step]>>,
    kept: VecDeque<LocalId>,
    pub(super) messages: Vec<Message>,
    by_message: HashMap<Letter, MessageId>,
    presses: Vec<Command>,
    newer: u32,
    /// How often the engine ran for an event.
    pub(super) runs: u64,
    /// How often two ways led to states that were compared and found the same.
    pub(super) merged: u64,
    /// What was found that must never be, and where.
    pub(super) broken: Vec<(LocalId, String)>,
}

/// The press of a stop.
pub(super) const STOP: PressId = 0;
/// The press of an offer of the office.
pub(super) const OFFER: PressId = 1;

impl Locals {
    /// The crew at the start, as three states.
    pub(super) fn new() -> Result<(Self, [LocalId; DEVICES]), String> {
        let crew = Crew::new()?;
        let mut checked = Checked::default();
        let mut newer = 1_000;
        let devices = crew.on_the_job(&mut newer, &mut checked)?;
        let offer = offer(&crew).ok_or("no role to offer")?;
        let mut locals = Self {
            crew,
            checked,
            nodes: Vec::new(),
            by_essence: HashMap::new(),
            by_set: HashMap::new(),
            moves: HashMap::new(),
            wanted: HashMap::new(),
            kept: VecDeque::new(),
            messages: Vec::new(),
            by_message: HashMap::new(),
            presses: vec![stop(), offer],
            newer,
            runs: 0,
            merged: 0,
            broken: Vec::new(),
        };
        let mut first = [0; DEVICES];
        for (number, device) in devices.into_iter().enumerate() {
            first[number] = locals.name(number, device, None)?;
        }
        Ok((locals, first))
    }

    /// How many states there are.
    pub(super) fn len(&self) -> usize {
        self.nodes.len()
    }

    /// What is seen in a state.
    pub(super) fn facts(&self, local: LocalId) -> &Facts {
        &self.nodes[local as usize].facts
    }

    /// What one device hears of another: whether a stop is pressed there, what it holds less than the one who
    /// hears, and of whom it holds more. By how much more makes no difference: it is asked for all the same,
    /// and no evidence says it.
    pub(super) fn heard(&self, by: LocalId, of: LocalId) -> Said {
        let mine = self.facts(by).said.held;
        let mut said = self.facts(of).said;
        for (theirs, mine) in said.held.iter_mut().zip(mine) {
            *theirs = (*theirs).min(mine.saturating_add(1));
        }
        said
    }

    /// The state's number for a device; finds the same state again.
    fn name(
        &mut self,
        number: usize,
        device: Device,
        parent: Option<(LocalId, Step)>,
    ) -> Result<LocalId, String> {
        let essence = device.essence();
        if let Some(&known) = self.by_essence.get(&essence) {
            if parent.is_some_and(|(before, _)| before == known) {
                return Ok(known);
            }
            self.merged += 1;
            let judged = gantline_protocol::invariants::judged(device.engine.job());
            if judged != self.nodes[known as usize].facts.judged {
                self.differ(known, &device);
            }
            return Ok(known);
        }
        let local = LocalId::try_from(self.nodes.len()).map_err(|_| "too many device states")?;
        let said = device.said(&self.crew, &mut self.checked);
        if let Err(why) = &said {
            self.broken.push((local, why.clone()));
        }
        let said = said.unwrap_or(Said {
            held: [0; DEVICES],
            pressed: true,
        });
        let facts = Facts::of(&self.crew, &device, said);
        for broken in &facts.broken {
            self.broken.push((local, broken.clone()));
        }
        let (judged, first) = *self
            .by_set
            .entry(facts.set)
            .or_insert((facts.judged, local));
        if judged != facts.judged {
            self.differ(first, &device);
        }
        self.by_essence.insert(essence, local);
        self.nodes.push(Node {
            device: u8::try_from(number).unwrap_or(u8::MAX),
            parent,
            facts,
            engine: None,
        });
        self.keep(local, device);
        Ok(local)
    }

    /// I4 is broken; says on what.
    fn differ(&mut self, known: LocalId, device: &Device) {
        let words = match self.device(known) {
            Ok(other) => {
                gantline_protocol::invariants::agree(other.engine.job(), device.engine.job())
                    .err()
                    .map_or_else(
                        || "I4: two orders of arrival differ on what the log decides".to_owned(),
                        |broken| broken.to_string(),
                    )
            }
            Err(why) => why,
        };
        self.broken.push((known, words));
    }

    fn keep(&mut self, local: LocalId, device: Device) {
        self.nodes[local as usize].engine = Some(Box::new(device));
        self.kept.push_back(local);
        if self.kept.len() > KEPT
            && let Some(old) = self.kept.pop_front()
            // What everything starts from stays.
            && self.nodes[old as usize].parent.is_some()
        {
            self.nodes[old as usize].engine = None;
        }
    }

    /// The device in a state, made again if it was not kept. All on the way to it is kept too: what is asked for
    /// next is most often beside it, and would be made again from as far.
    fn device(&mut self, local: LocalId) -> Result<Device, String> {
        let mut way = Vec::new();
        let mut at = local;
        let mut device = loop {
            let node = &self.nodes[at as usize];
            if let Some(engine) = &node.engine {
                break engine.as_ref().clone();
            }
            let (parent, step) = node.parent.ok_or("a state without history")?;
            way.push((at, step));
            at = parent;
        };
        while let Some((at, step)) = way.pop() {
            device = self.run(device, step)?.0;
            self.keep(at, device.clone());
        }
        Ok(device)
    }

    fn run(&mut self, mut device: Device, step: Step) -> Result<(Device, Done), String> {
        let (crew, checked, newer) = (&self.crew, &mut self.checked, &mut self.newer);
        let done = match step {
            Step::Once(press) => device.press(&self.presses[usize::from(press)], checked),
            Step::Press(press, heard) => {
                device.hear(crew, heard, newer, checked);
                device.press(&self.presses[usize::from(press)], checked)
            }
            Step::Deliver(message) => {
                let message = &self.messages[message as usize];
                device.deliver(crew.members[message.from].id, &message.bytes, checked)
            }
            Step::DeliverTo(message, heard) => {
                device.hear(crew, heard, newer, checked);
                let message = &self.messages[message as usize];
                device.deliver(crew.members[message.from].id, &message.bytes, checked)
            }
            Step::Flush(heard) => {
                device.hear(crew, heard, newer, checked);
                device.flush(checked)
            }
            Step::Hear(heard) => device.hear(crew, heard, newer, checked),
            Step::Pass(heard) => device.pass(crew, heard, newer, checked),
            Step::Restart => {
                let (again, done) = device.restart(crew, newer, checked)?;
                device = again;
                done
            }
            Step::Reconnect(peer) => {
                let peer = crew.members[usize::from(peer)].id;
                device.reconnect(peer, checked)
            }
        };
        Ok((device, done))
    }

    /// What an event leads to; the engine runs only the first time.
    pub(super) fn step(&mut self, local: LocalId, step: Step) -> Result<Arc<Move>, String> {
        if let Some(known) = self.moves.get(&(local, step)) {
            return Ok(Arc::clone(known));
        }
        let device = self.device(local)?;
        let (after, done) = self.run(device, step)?;
        self.made(local, step, after, done)
    }

    /// Names what came of an event.
    fn made(
        &mut self,
        local: LocalId,
        step: Step,
        after: Device,
        done: Done,
    ) -> Result<Arc<Move>, String> {
        if let Some(known) = self.moves.get(&(local, step)) {
            return Ok(Arc::clone(known));
        }
        self.runs += 1;
        let number = usize::from(self.nodes[local as usize].device);
        let press = matches!(step, Step::Once(_) | Step::Press(..));
        let taken = match &done.outcome {
            Some(Outcome::Recorded { .. }) => true,
            Some(_) => false,
            None => step == Step::Once(STOP) && after.is_flushing(),
        };
        let word = after.call();
        let word_after_silence = (matches!(step, Step::Hear(_)) && word == CallWord::Proceed)
            .then(|| after.call_after_silence(&mut self.checked));
        let (to, sends) = if press && !taken {
            // A press that is refused, or waits, is not made.
            (local, Box::default())
        } else {
            let sends = self.name_messages(number, done.sends);
            (self.name(number, after, Some((local, step)))?, sends)
        };
        for surprise in done.surprises {
            self.broken.push((to, surprise));
        }
        let made = Arc::new(Move {
            to,
            sends,
            taken,
            word,
            word_after_silence,
        });
        self.moves.insert((local, step), Arc::clone(&made));
        Ok(made)
    }

    /// The presses that the screen of a device asks for and that would be recorded now.
    pub(super) fn wanted(&mut self, local: LocalId, heard: Heard) -> Result<Arc<[Step]>, String> {
        if let Some(known) = self.wanted.get(&(local, heard)) {
            return Ok(Arc::clone(known));
        }
        let device = self.device(local)?;
        let (now, done) = self.run(device, Step::Hear(heard))?;
        let by_itself = self.made(local, Step::Hear(heard), now.clone(), done)?.to != local;
        let mut wanted: Vec<Step> = Vec::new();
        // What it does by itself comes first: no finger is as fast.
        let asked = if by_itself { Vec::new() } else { asked(&now) };
        for command in asked {
            let press = match self.presses.iter().position(|known| *known == command) {
                Some(known) => known,
                None => {
                    self.presses.push(command);
                    self.presses.len() - 1
                }
            };
            let press = PressId::try_from(press).map_err(|_| "too many presses")?;
            let step = Step::Press(press, heard);
            let mut pressed = now.clone();
            let command = &self.presses[usize::from(press)];
            let done = pressed.press(command, &mut self.checked);
            if self.made(local, step, pressed, done)?.taken && !wanted.contains(&step) {
                wanted.push(step);
            }
        }
        let wanted: Arc<[Step]> = wanted.into();
        self.wanted.insert((local, heard), Arc::clone(&wanted));
        Ok(wanted)
    }

    /// Whether a step answers at once what a device asks: that a stop was heard, that the office is taken.
    pub(super) fn is_prompt(&self, step: Step) -> bool {
        match step {
            Step::Press(press, _) => {
                let command = &self.presses[usize::from(press)];
                matches!(command, Command::Heard { .. } | Command::TakeRole { .. })
            }
            _ => false,
        }
    }

    fn name_messages(
        &mut self,
        from: usize,
        sends: Vec<(DeviceKey, Arc<[u8]>)>,
    ) -> Box<[MessageId]> {
        let mut names = Vec::new();
        for (to, bytes) in sends {
            let Some(to) = self.crew.number(&to) else {
                continue;
            };
            let next = self.messages.len() as MessageId;
            let kind = kind_of(&bytes);
            let whose = (kind != Kind::Entries).then_some(from);
            let name = *self
                .by_message
                .entry((whose, to, Arc::clone(&bytes)))
                .or_insert(next);
            if name == next {
                self.messages.push(Message {
                    from,
                    to,
                    kind,
                    stop: super::device::only_a_stop(&bytes),
                    bytes,
                });
            }
            names.push(name);
        }
        names.sort_unstable();
        names.dedup();
        names.into()
    }

    /// Whose state it is, and what led to it first, in words.
    pub(super) fn last_of(&self, local: LocalId) -> Option<String> {
        let node = self.nodes.get(local as usize)?;
        let (_, step) = node.parent?;
        let person = &self.crew.members[usize::from(node.device)].person;
        Some(format!("{person} {}", self.words(step)))
    }

    /// What an event is, in words.
    pub(super) fn words(&self, step: Step) -> String {
        match step {
            Step::Once(press) | Step::Press(press, _) => {
                format!("presses {:?}", self.presses[usize::from(press)])
            }
            Step::Deliver(message) | Step::DeliverTo(message, _) => {
                let message = &self.messages[message as usize];
                format!(
                    "receives from {}: {}",
                    self.crew.members[message.from].person,
                    words_of(&message.bytes)
                )
            }
            Step::Flush(_) => "has it on disk".to_owned(),
            Step::Hear(_) => "hears the others".to_owned(),
            Step::Pass(_) => "hears the others for a while".to_owned(),
            Step::Restart => "loses power and starts again".to_owned(),
            Step::Reconnect(_) => "has a new link".to_owned(),
        }
    }
}

fn kind_of(bytes: &[u8]) -> Kind {
    match sync::Message::decode(bytes) {
        Ok(sync::Message::Ask(_)) => Kind::Ask,
        Ok(sync::Message::Give(_)) => Kind::Give,
        Ok(sync::Message::Tips(_)) => Kind::Tips,
        Ok(sync::Message::Entries(_)) | Err(_) => Kind::Entries,
    }
}

fn words_of(bytes: &[u8]) -> String {
    match sync::Message::decode(bytes) {
        Ok(sync::Message::Entries(entries)) => entries
            .into_iter()
            .filter_map(|bytes| gantline_protocol::log::wire::Entry::decode(bytes).ok())
            .map(|entry| {
                let body = format!("{:?}", entry.content.body);
                let kind = body.split([' ', '(', '{']).next().unwrap_or("?").to_owned();
                format!("{kind} {}", entry.content.seq)
            })
            .collect::<Vec<_>>()
            .join(", "),
        Ok(sync::Message::Ask(_)) => "an ask".to_owned(),
        Ok(sync::Message::Give(_)) => "what was asked for".to_owned(),
        Ok(sync::Message::Tips(_)) => "tips".to_owned(),
        Err(bad) => bad.to_string(),
    }
}
