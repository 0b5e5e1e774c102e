//! Search: every world that can come of the first one, breadth first.
//! Owns: the worlds found, and from which each was reached first.   Gives: `explore`.
//! May use: locals, facts, protocol's invariants.   Never: the engine itself (locals).
//!
//! A world is the state of each device, what is in flight, and which of the things that happen once have
//! happened. In flight is what is late and what rests on it; the late message may be the next to arrive, at any
//! time, or never.

use super::World;
use super::facts::Seen;
use super::locals::{Heard, Kind, LocalId, Locals, MessageId, Move, OFFER, STOP, Step};
use super::report::{Report, Wonder, Wonders};
use super::setup::{DEVICES, others_of};
use gantline_protocol::state::CallWord;
use hashbrown::HashTable;
use std::hash::{BuildHasher, BuildHasherDefault, DefaultHasher};
use std::sync::Arc;

/// Things that have happened, as bits of a world.
mod happened {
    /// A stop was pressed.
    pub(super) const STOP: u32 = 1;
    /// A device lost power.
    pub(super) const RESTART: u32 = 1 << 1;
    /// The office was offered.
    pub(super) const OFFER: u32 = 1 << 2;
    /// The stop is in force: pressed, and no device has a release of it.
    pub(super) const IN_FORCE: u32 = 1 << 3;
    /// A message was late, or lost.
    pub(super) const LOSS: u32 = 1 << 4;
}

/// One event of a world.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Event {
    device: u8,
    step: Step,
}

/// A world: device states, what has happened, the late message, other messages in flight, ascending.
type Packed = Box<[u32]>;
/// How many numbers a world has at least.
const FIXED: usize = DEVICES + 2;
/// No message.
const NONE: u32 = u32::MAX;

#[derive(Clone, PartialEq, Eq, Debug)]
struct State {
    locals: [LocalId; DEVICES],
    happened: u32,
    /// The message that is late, or lost.
    late: Option<MessageId>,
    /// Messages that wait for it.
    waiting: Vec<MessageId>,
}

impl State {
    fn pack(&self) -> Packed {
        let mut packed = Vec::with_capacity(FIXED + self.waiting.len());
        packed.extend_from_slice(&self.locals);
        packed.push(self.happened);
        packed.push(self.late.unwrap_or(NONE));
        packed.extend_from_slice(&self.waiting);
        packed.into()
    }

    fn unpack(packed: &[u32]) -> Self {
        let mut locals = [0; DEVICES];
        locals.copy_from_slice(&packed[..DEVICES]);
        Self {
            locals,
            happened: packed[DEVICES],
            late: Some(packed[DEVICES + 1]).filter(|&late| late != NONE),
            waiting: packed[FIXED..].to_vec(),
        }
    }

    fn has(&self, bit: u32) -> bool {
        self.happened & bit != 0
    }
}

struct Search<'a> {
    world: &'a World,
    /// Who may stop.
    stopper: Option<usize>,
    locals: Locals,
    hasher: BuildHasherDefault<DefaultHasher>,
    found: Vec<Packed>,
    from: Vec<(u32, Option<Event>)>,
    table: HashTable<u32>,
    moves: u64,
    wonders: Wonders,
    broken: Vec<(u32, String)>,
}

/// Explores a world to its end, or until something is broken; the stop is by one device only.
///
/// # Errors
/// When the crew cannot even start, or there are more worlds than allowed.
pub(super) fn explore(world: &World, stopper: Option<usize>) -> Result<Report, String> {
    let (locals, first) = Locals::new()?;
    let mut search = Search {
        world,
        stopper,
        locals,
        hasher: BuildHasherDefault::default(),
        found: Vec::new(),
        from: Vec::new(),
        table: HashTable::new(),
        moves: 0,
        wonders: Wonders::default(),
        broken: Vec::new(),
    };
    let start = State {
        locals: first,
        happened: 0,
        late: None,
        waiting: Vec::new(),
    };
    search.add(&start, 0, None)?;
    let mut next = 0;
    let mut depth = 0;
    let mut layer_ends = 1;
    while let Some(packed) = search.found.get(next) {
        if next == layer_ends {
            depth += 1;
            layer_ends = search.found.len();
        }
        if search.found.len() > search.world.most_worlds {
            return Err(format!(
                "more than {} worlds, and {} of them were not looked into",
                search.world.most_worlds,
                search.found.len() - next
            ));
        }
        let state = State::unpack(packed);
        let number = u32::try_from(next).map_err(|_| "too many worlds")?;
        search.expand(number, &state)?;
        if !search.broken.is_empty() || !search.locals.broken.is_empty() {
            break;
        }
        next += 1;
    }
    Ok(search.report(next, depth))
}

impl Search<'_> {
    /// Puts a world in, if it is new.
    fn add(&mut self, state: &State, from: u32, event: Option<Event>) -> Result<(), String> {
        let packed = state.pack();
        let hash = self.hasher.hash_one(&packed);
        let found = &self.found;
        if self
            .table
            .find(hash, |&number| found[number as usize] == packed)
            .is_some()
        {
            return Ok(());
        }
        let number = u32::try_from(found.len()).map_err(|_| "too many worlds")?;
        let hasher = &self.hasher;
        self.table.insert_unique(hash, number, |&number| {
            hasher.hash_one(&found[number as usize])
        });
        self.found.push(packed);
        self.from.push((from, event));
        self.look(number, state);
        Ok(())
    }

    /// What should be seen at some time.
    fn look(&mut self, number: u32, state: &State) {
        let facts = state.locals.map(|local| self.locals.facts(local));
        let seen = facts.iter().fold(0, |seen, facts| seen | facts.seen);
        self.wonders.note_seen(seen, number);
        let all_closed = facts.iter().all(|facts| facts.closed);
        let two = facts.iter().any(|f| f.supervisor != facts[0].supervisor);
        self.wonders.note(Wonder::TwoLeads, two, number);
        self.wonders.note(Wonder::AllClosed, all_closed, number);
        let everything = happened::STOP | happened::RESTART | happened::OFFER | happened::LOSS;
        let relieved = facts.iter().all(|facts| facts.sees(Seen::Relieved));
        let after_all = all_closed && relieved && state.happened & everything == everything;
        self.wonders.note(Wonder::ClosedAfterAll, after_all, number);
    }

    fn heard(&self, state: &State, device: usize) -> Heard {
        let by = state.locals[device];
        others_of(state.locals, device).map(|of| self.locals.heard(by, of))
    }

    fn expand(&mut self, number: u32, state: &State) -> Result<(), String> {
        let mut next: Vec<(Event, State)> = Vec::new();
        let mut duty = false;
        let mut proceeding = [false; DEVICES];
        let mut is_asked = false;
        for device in 0..DEVICES {
            let heard = self.heard(state, device);
            for &step in self.locals.wanted(state.locals[device], heard)?.iter() {
                if self.locals.is_prompt(step) {
                    duty = true;
                    is_asked = true;
                    self.push(number, state, device, step, &mut next)?;
                }
            }
        }
        for (device, proceeds) in proceeding.iter_mut().enumerate() {
            let local = state.locals[device];
            let heard = self.heard(state, device);
            let step = Step::Hear(heard);
            let moved = self.locals.step(local, step)?;
            *proceeds = moved.word == CallWord::Proceed;
            self.look_at_call(number, state, &moved);
            if !is_asked && (moved.to != local || self.sends_news(state, &moved.sends)?) {
                duty = true;
                self.push(number, state, device, step, &mut next)?;
            }
            let caught_up = self.catch_up(number, state, device, heard)?;
            duty |= caught_up.is_some();
            if !is_asked {
                next.extend(caught_up.into_iter().flatten());
            }
            self.once(number, state, device, &mut next)?;
            if self.locals.facts(local).flushing {
                duty = true;
                self.push(number, state, device, Step::Flush(heard), &mut next)?;
            }
            if is_asked {
                continue;
            }
            for &step in self.locals.wanted(local, heard)?.iter() {
                duty = true;
                self.push(number, state, device, step, &mut next)?;
            }
        }
        if let Some(late) = state.late {
            let mut bare = state.clone();
            bare.late = None;
            let device = self.locals.messages[late as usize].to;
            for after in self.settle(number, bare, &[late])? {
                next.push((event(device, Step::Deliver(late)), after));
            }
        }
        let others_proceed = |but: u8| {
            let mut all = proceeding.iter().enumerate();
            all.any(|(device, so)| *so && device != usize::from(but))
        };
        let stopped = next
            .iter()
            .any(|(event, _)| event.step == Step::Once(STOP) && others_proceed(event.device));
        self.wonders
            .note(Wonder::ProceedWhilePressed, stopped, number);
        self.wonders
            .note(Wonder::Proceed, proceeding.contains(&true), number);
        self.wonders
            .note(Wonder::Hold, proceeding.contains(&false), number);
        let facts = state.locals.map(|local| self.locals.facts(local));
        let level = facts.iter().all(|one| one.set == facts[0].set);
        let done = level && facts.iter().all(|facts| facts.closed);
        if !(duty || done) {
            let words = "a dead end: when what is late is lost, nobody has anything left to do, and the job is \
                         not closed";
            self.broken.push((number, words.to_owned()));
        }
        for (event, state) in next {
            self.moves += 1;
            self.add(&state, number, Some(event))?;
        }
        Ok(())
    }

    /// I2: who has just heard the device on which a stop is pressed, or nobody for longer than the limit.
    fn look_at_call(&mut self, number: u32, state: &State, moved: &Move) {
        if state.has(happened::IN_FORCE)
            && !self.locals.facts(moved.to).released
            && moved.word == CallWord::Proceed
        {
            let words = "I2: Proceed after a beacon of the device on which a stop is pressed";
            self.broken.push((number, words.to_owned()));
        }
        if let Some(word) = moved.word_after_silence {
            if word == CallWord::Proceed {
                let words = "I2: Proceed when nobody was heard for longer than the watch limit";
                self.broken.push((number, words.to_owned()));
            }
            self.wonders
                .note(Wonder::HoldByLoss, word == CallWord::Hold, number);
        }
    }

    /// All worlds that can come of messages under way. They arrive at once, but for one that may be late, and
    /// for those that rest on it.
    fn settle(
        &mut self,
        number: u32,
        state: State,
        sent: &[MessageId],
    ) -> Result<Vec<State>, String> {
        let mut settled = Vec::new();
        let waiting = state.waiting.clone();
        let mut open = vec![(state, sent.to_vec(), waiting)];
        while let Some((mut state, mut new, mut due)) = open.pop() {
            let mut news = Vec::new();
            for message in new.drain(..) {
                let about = &self.locals.messages[message as usize];
                let (to, kind) = (about.to, about.kind);
                // Asked and given is all at once, where it is due.
                if kind == Kind::Entries
                    && state.late != Some(message)
                    && !due.contains(&message)
                    && !news.contains(&message)
                    && self.changes(state.locals[to], message)?
                {
                    news.push(message);
                }
            }
            if self.world.loss && !state.has(happened::LOSS) {
                for &late in &news {
                    let mut other = state.clone();
                    other.late = Some(late);
                    other.happened |= happened::LOSS;
                    let rest = news.iter().copied().filter(|&message| message != late);
                    open.push((other, Vec::new(), due.iter().copied().chain(rest).collect()));
                }
            }
            due.extend(news);
            let mut arrives = None;
            let mut stays = Vec::new();
            for &message in &due {
                let device = self.locals.messages[message as usize].to;
                if !self.changes(state.locals[device], message)? {
                    continue;
                }
                if arrives.is_none() && self.can_arrive(number, &state, message, &due)? {
                    arrives = Some(message);
                } else {
                    stays.push(message);
                }
            }
            let Some(message) = arrives else {
                stays.sort_unstable();
                state.waiting = stays;
                if let Some(late) = state.late
                    && !self.changes(state.locals[self.locals.messages[late as usize].to], late)?
                {
                    state.late = None;
                }
                settled.push(self.in_force(state));
                continue;
            };
            let device = self.locals.messages[message as usize].to;
            let local = state.locals[device];
            let mut moved = self.locals.step(local, Step::Deliver(message))?;
            if self.own(moved.to, device) != self.own(local, device) {
                let heard = self.heard(&state, device);
                moved = self.locals.step(local, Step::DeliverTo(message, heard))?;
            }
            let annulled = self.locals.facts(local).sees(Seen::StepDone)
                && !self.locals.facts(moved.to).sees(Seen::StepDone);
            self.wonders.note(Wonder::Annulled, annulled, number);
            state.locals[device] = moved.to;
            open.push((state, moved.sends.to_vec(), stays));
        }
        Ok(settled)
    }

    /// Whether a message can arrive now. One whose past is missing and that shows nothing waits in flight
    /// instead of in the pen, which is the same to everybody, as long as it is the same whether it comes before
    /// or after any other: that is looked at.
    fn can_arrive(
        &mut self,
        number: u32,
        state: &State,
        message: MessageId,
        others: &[MessageId],
    ) -> Result<bool, String> {
        let device = self.locals.messages[message as usize].to;
        let local = state.locals[device];
        let moved = self.locals.step(local, Step::Deliver(message))?;
        let (was, is) = (self.locals.facts(local), self.locals.facts(moved.to));
        let only_waits = was.set == is.set
            && is.waiting > was.waiting
            && moved.sends.is_empty()
            && !self.locals.messages[message as usize].stop;
        if !only_waits {
            return Ok(true);
        }
        self.wonders.note(Wonder::Waiting, true, number);
        for &other in others.iter().chain(&state.late) {
            let to = self.locals.messages[other as usize].to;
            if other == message || to != device {
                continue;
            }
            let first = self.locals.step(local, Step::Deliver(other))?.to;
            let after = self.locals.step(first, Step::Deliver(message))?.to;
            let before = self.locals.step(moved.to, Step::Deliver(other))?.to;
            // What it writes by itself in between has another past each time.
            let own = self.own(local, device);
            let silent = [first, after, before]
                .iter()
                .all(|&end| self.own(end, device) == own);
            if silent && before != after {
                let words = "two messages lead to different states in different orders";
                self.broken.push((number, words.to_owned()));
            }
        }
        Ok(false)
    }

    /// Notes that a release ends what is in force.
    fn in_force(&self, mut state: State) -> State {
        let mut facts = state.locals.iter().map(|&local| self.locals.facts(local));
        if facts.any(|facts| facts.released) {
            state.happened &= !happened::IN_FORCE;
        }
        state
    }

    /// How many entries of its own a device has on its disk.
    fn own(&self, local: LocalId, device: usize) -> u8 {
        self.locals.facts(local).said.held[device]
    }

    /// Everything in flight may be lost: then a device that lacks anything asks, and gets more.
    fn catch_up(
        &mut self,
        number: u32,
        state: &State,
        device: usize,
        heard: Heard,
    ) -> Result<Option<Vec<(Event, State)>>, String> {
        let local = state.locals[device];
        let facts = self.locals.facts(local);
        let mine = facts.said.held;
        let lacks = heard.iter().any(|said| {
            said.held
                .iter()
                .zip(mine)
                .any(|(theirs, mine)| *theirs > mine)
        });
        if !lacks || facts.flushing {
            return Ok(None);
        }
        let waits = facts.sees(Seen::NotRecovered);
        let passed = self.locals.step(local, Step::Pass(heard))?;
        for &ask in &passed.sends {
            if self.locals.messages[ask as usize].kind != Kind::Ask {
                continue;
            }
            let peer = self.locals.messages[ask as usize].to;
            let answered = self.locals.step(state.locals[peer], Step::Deliver(ask))?;
            for &give in &answered.sends {
                let step = Step::DeliverTo(give, heard);
                if self.locals.messages[give as usize].kind != Kind::Give {
                    continue;
                }
                let moved = self.locals.step(passed.to, step)?;
                let got = self.locals.facts(moved.to);
                if got.set == self.locals.facts(passed.to).set && !got.flushing {
                    continue;
                }
                let own = got.said.held[device] > mine[device] || got.flushing;
                self.wonders.note(Wonder::MadeGood, true, number);
                self.wonders
                    .note(Wonder::OwnTakenBack, waits && own, number);
                let after = self.apply(number, state, device, &moved)?;
                let event = event(device, step);
                return Ok(Some(
                    after.into_iter().map(|after| (event, after)).collect(),
                ));
            }
        }
        let words = "a device that lacks entries asks in vain";
        self.broken.push((number, words.to_owned()));
        Ok(None)
    }

    /// Things that happen at most once, at any time.
    fn once(
        &mut self,
        number: u32,
        state: &State,
        device: usize,
        next: &mut Vec<(Event, State)>,
    ) -> Result<(), String> {
        let stop = (self.stopper == Some(device)).then_some((STOP, happened::STOP));
        let relief = self.world.relief.then_some((OFFER, happened::OFFER));
        for (press, bit) in stop.into_iter().chain(relief) {
            if state.has(bit) {
                continue;
            }
            let step = Step::Once(press);
            if self.locals.step(state.locals[device], step)?.taken {
                let mut state = state.clone();
                state.happened |= bit;
                if press == STOP {
                    state.happened |= happened::IN_FORCE;
                }
                self.push(number, &state, device, step, next)?;
            } else if press == STOP {
                let words = "I8: a stop was refused".to_owned();
                self.locals.broken.push((state.locals[device], words));
            }
        }
        if self.world.restart && !state.has(happened::RESTART) {
            for after in self.restart(number, state, device)? {
                next.push((event(device, Step::Restart), after));
            }
        }
        Ok(())
    }

    /// Power fails, and the links are new. A stop that was not on the disk and that nobody heard goes with it,
    /// wherever it was: that it comes to light after its number was used again is the one fork that the log
    /// allows for, and it is not explored here.
    fn restart(&mut self, number: u32, state: &State, device: usize) -> Result<Vec<State>, String> {
        let mut after = state.clone();
        after.happened |= happened::RESTART;
        let mut sent = Vec::new();
        let moved = self.locals.step(state.locals[device], Step::Restart)?;
        after.locals[device] = moved.to;
        sent.extend_from_slice(&moved.sends);
        for peer in (0..DEVICES).filter(|&peer| peer != device) {
            let link = Step::Reconnect(u8::try_from(device).unwrap_or(u8::MAX));
            let moved = self.locals.step(after.locals[peer], link)?;
            after.locals[peer] = moved.to;
            sent.extend_from_slice(&moved.sends);
        }
        let known = after
            .locals
            .iter()
            .any(|&local| self.locals.facts(local).knows_stop);
        if state.has(happened::IN_FORCE) && !known {
            // The page presses it again.
            after.happened &= !(happened::STOP | happened::IN_FORCE);
            let messages = &self.locals.messages;
            let is_stop = |message: &MessageId| messages[*message as usize].stop;
            after.waiting.retain(|message| !is_stop(message));
            after.late = after.late.filter(|message| !is_stop(message));
        }
        self.settle(number, after, &sent)
    }

    fn sends_news(&mut self, state: &State, sends: &[MessageId]) -> Result<bool, String> {
        for &message in sends {
            let about = &self.locals.messages[message as usize];
            let (to, kind) = (about.to, about.kind);
            if kind == Kind::Entries
                && state.late != Some(message)
                && !state.waiting.contains(&message)
                && self.changes(state.locals[to], message)?
            {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn push(
        &mut self,
        number: u32,
        state: &State,
        device: usize,
        step: Step,
        next: &mut Vec<(Event, State)>,
    ) -> Result<(), String> {
        let moved = self.locals.step(state.locals[device], step)?;
        for after in self.apply(number, state, device, &moved)? {
            next.push((event(device, step), after));
        }
        Ok(())
    }

    /// Whether a message would change anything at its receiver now.
    fn changes(&mut self, local: LocalId, message: MessageId) -> Result<bool, String> {
        let moved = self.locals.step(local, Step::Deliver(message))?;
        Ok(moved.to != local || !moved.sends.is_empty())
    }

    /// The worlds after a move of one device.
    fn apply(
        &mut self,
        number: u32,
        state: &State,
        device: usize,
        moved: &Arc<Move>,
    ) -> Result<Vec<State>, String> {
        let mut after = state.clone();
        after.locals[device] = moved.to;
        let tips = |message: &MessageId| self.locals.messages[*message as usize].kind == Kind::Tips;
        if moved.sends.iter().any(tips) {
            let words = "tips are told, which only a fork should need".to_owned();
            self.locals.broken.push((moved.to, words));
        }
        self.settle(number, after, &moved.sends)
    }

    /// How a world came to be, event by event.
    fn way(&self, number: u32) -> Vec<String> {
        let mut way = Vec::new();
        let mut at = number;
        while let Some((from, Some(event))) = self.from.get(at as usize).copied() {
            let person = &self.locals.crew.members[usize::from(event.device)].person;
            way.push(format!("{person} {}", self.locals.words(event.step)));
            at = from;
        }
        way.reverse();
        way
    }

    fn report(self, expanded: usize, depth: u32) -> Report {
        let mut broken: Vec<(String, Vec<String>)> = self
            .broken
            .iter()
            .map(|(number, words)| (words.clone(), self.way(*number)))
            .collect();
        let last = u32::try_from(expanded).unwrap_or(u32::MAX);
        for (local, words) in &self.locals.broken {
            // Found while the moves of this world were made.
            let mut way = self.way(last);
            way.extend(self.locals.last_of(*local));
            broken.push((words.clone(), way));
        }
        Report {
            world: self.world.clone(),
            worlds: self.found.len(),
            moves: self.moves,
            depth,
            device_states: self.locals.len(),
            runs: self.locals.runs,
            merged: self.locals.merged,
            messages: self.locals.messages.len(),
            wonders: self
                .wonders
                .all()
                .into_iter()
                .map(|(name, first)| (name, first.map(|number| self.way(number).len())))
                .collect(),
            broken,
        }
    }
}

fn event(device: usize, step: Step) -> Event {
    Event {
        device: u8::try_from(device).unwrap_or(u8::MAX),
        step,
    }
}
