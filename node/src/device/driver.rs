//! Driver: the one loop: an input, `handle`, the effects in their order.
//! Owns: the engine while the node runs; who waits for which answer.   Gives: `Driver`.
//! May use: protocol::engine, net, flusher, checks, ask.   Never: waits inside an effect; a rule of the job.
//!
//! Every effect is handed over and forgotten. What looks like an answer (flushed, verified, a message) comes back as
//! an input through the same loop. So a stop, whose datagrams are effects like any other, never waits for a disk.

use crate::device::ask::{Heard, Hosts};
use crate::device::checks::{Checkers, INLINE_MAX};
use crate::device::flusher::Flusher;
use crate::device::photos::{Done, PhotoDesk};
use crate::device::shown::ShownFile;
use crate::device::{Changed, Clock, Health, Request, Requests};
use crate::net::{AskId, CloseCode, LinkFault, Net, NetCommand, NetEvent, NetEvents};
use gantline_protocol::bounds::PAGE_LIMIT_MS;
use gantline_protocol::engine::{Alarm, Command, CommandId, Effect, Engine, Input, Outcome};
use gantline_protocol::ids::DeviceKey;
use gantline_protocol::log::sign::verify_batch;
use gantline_protocol::photos::{PhotoEffect, PhotoInput};
use gantline_protocol::state;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc::UnboundedReceiver;
use tokio::sync::oneshot;
use tokio::time::{Instant, sleep_until};

/// Newest faults and errors kept for a person who looks.
const KEPT_MAX: usize = 20;
/// Strangers that wait are told to ask again so often; well inside the time that a question may wait.
const ASK_AGAIN_EVERY: Duration = Duration::from_secs(5);
/// The loop sleeps at least so long, so that an engine that is always due cannot shut out the network.
const SLEEP_MIN_MS: u64 = 1;

/// The loop and all that it hands things to.
pub(crate) struct Driver {
    pub(crate) engine: Engine,
    pub(crate) clock: Clock,
    pub(crate) net: Net,
    pub(crate) flusher: Flusher,
    pub(crate) checkers: Checkers,
    pub(crate) requests: Requests,
    pub(crate) flushed: UnboundedReceiver<Input>,
    pub(crate) checked: UnboundedReceiver<Input>,
    pub(crate) hosts: Hosts,
    pub(crate) health: Health,
    pub(crate) replies: BTreeMap<CommandId, oneshot::Sender<Outcome>>,
    pub(crate) last_command: u64,
    pub(crate) linked: BTreeSet<DeviceKey>,
    pub(crate) alarms: BTreeSet<Alarm>,
    /// When a page of this device gave its last sign of life.
    pub(crate) page_heard_at: Option<Instant>,
    pub(crate) shown: ShownFile,
    /// Whether it may be made deaf, for tests.
    pub(crate) allow_faults: bool,
    /// For tests: datagrams and messages are dropped both ways, while the links seem to stand.
    pub(crate) deaf: bool,
    pub(crate) photos: PhotoDesk,
    pub(crate) photos_done: UnboundedReceiver<Done>,
    pub(crate) durable_records: u64,
    /// Number of entries of each batch on its way, for the count of records.
    pub(crate) batches: BTreeMap<gantline_protocol::engine::FlushId, u64>,
}

impl Driver {
    /// Runs until it is told to end, and then until all that was handed to the disk is there or has failed.
    pub(crate) async fn run(mut self, first: Vec<Effect>, mut events: NetEvents) {
        self.carry_out(first);
        let mut ask_again_at = Instant::now() + ASK_AGAIN_EVERY;
        loop {
            let due = self.due();
            // A person's act goes before everything, and the network comes last: it is what others can fill.
            tokio::select! {
                biased;
                request = self.requests.waiting.recv() => match request {
                    Some(Request::Shutdown) | None => break,
                    Some(request) => self.request(request),
                },
                Some(result) = self.flushed.recv() => self.flush_result(result),
                Some(result) = self.checked.recv() => self.input(result),
                Some(done) = self.photos_done.recv() => {
                    let input = self.photos.done(done);
                    self.photo(input);
                    self.changed();
                }
                () = sleep_until(due) => self.input(Input::Tick),
                () = sleep_until(ask_again_at) => {
                    ask_again_at = Instant::now() + ASK_AGAIN_EVERY;
                    let answers = self.hosts.ask_again();
                    self.answer(answers);
                }
                event = events.next() => match event {
                    Some(event) => self.event(event),
                    None => break,
                },
            }
        }
        self.end().await;
    }

    fn due(&self) -> Instant {
        let (at, _) = self.engine.deadline();
        let at = self.photos.due().map_or(at, |due| due.min(at));
        let now = self.clock.peek();
        Instant::now() + Duration::from_millis(at.since(now.tick).max(SLEEP_MIN_MS))
    }

    /// What was handed over comes to its end; nothing new begins.
    async fn end(mut self) {
        self.requests.waiting.close();
        self.shown.runs(self.clock.peek(), false);
        let thread = self.flusher.end();
        while let Some(result) = self.flushed.recv().await {
            self.flush_result(result);
        }
        if let Some(thread) = thread {
            // It has said its last result; what is left is the side store's flush.
            let _ = tokio::task::spawn_blocking(move || thread.join()).await;
        }
        if let Some(thread) = self.shown.end() {
            let _ = tokio::task::spawn_blocking(move || thread.join()).await;
        }
        self.net.stop().await;
    }

    fn flush_result(&mut self, result: Input) {
        self.flusher.note(&result);
        match &result {
            Input::Flushed { batch } => {
                self.durable_records += self.batches.remove(batch).unwrap_or(0);
                self.health.disk_fault = None;
            }
            Input::FlushFailed { batch, why } => {
                self.batches.remove(batch);
                self.health.disk_fault = Some(why.clone());
            }
            _ => {}
        }
        self.input(result);
    }

    /// One input, and all that follows from it at once.
    fn input(&mut self, input: Input) {
        let now = self.clock.now();
        let effects = self.engine.handle(now, input);
        self.carry_out(effects);
    }

    fn carry_out(&mut self, effects: Vec<Effect>) {
        let mut inline = VecDeque::new();
        for effect in effects {
            self.effect(effect, &mut inline);
        }
        while let Some(input) = inline.pop_front() {
            let now = self.clock.now();
            for effect in self.engine.handle(now, input) {
                self.effect(effect, &mut inline);
            }
        }
        self.shown.look(self.clock.peek(), &self.engine);
        // Behind all that the input itself asked for.
        if self.photos.is_turn(&self.engine, self.clock.peek().tick) {
            self.photo(PhotoInput::Turn);
        }
    }

    /// One thing about pictures, and what follows from it.
    fn photo(&mut self, input: PhotoInput) {
        let now = self.clock.peek().tick;
        for effect in self.photos.handle(now, &self.engine, input) {
            match effect {
                PhotoEffect::Send { .. } if self.deaf => {}
                PhotoEffect::Send { to, bytes } => {
                    self.net.command(NetCommand::Behind { to, bytes });
                }
                PhotoEffect::Fault { peer, fault } => {
                    keep(&mut self.health.link_faults, format!("{peer}: {fault}"));
                }
                // The desk has these done.
                PhotoEffect::Keep { .. } | PhotoEffect::Load(_) => {}
            }
        }
    }

    /// All code that turns effects into something happening. `inline`: inputs that are there at once.
    fn effect(&mut self, effect: Effect, inline: &mut VecDeque<Input>) {
        match effect {
            Effect::Verify { batch, entries } if entries.len() <= INLINE_MAX => {
                let (good, bad) = verify_batch(entries);
                inline.push_back(Input::Verified { batch, good, bad });
            }
            Effect::Verify { batch, entries } => self.checkers.check(batch, entries),
            Effect::Flush { batch, entries } => {
                self.batches.insert(batch, entries.len() as u64);
                self.flusher.append(batch, entries);
            }
            Effect::Datagram { .. } | Effect::Message { .. } if self.deaf => {}
            Effect::Datagram { to, bytes } => self.net.command(NetCommand::Datagram { to, bytes }),
            Effect::Message { to, bytes } => self.net.command(NetCommand::Message { to, bytes }),
            Effect::Reply { id, outcome } => {
                if let Some(reply) = self.replies.remove(&id) {
                    // Who asked may have gone; what was recorded stays so.
                    let _ = reply.send(outcome);
                }
            }
            Effect::Peers { keys } => {
                let answers = self.hosts.admitted(self.engine.job().graph(), &keys);
                self.net.command(NetCommand::Peers(keys));
                self.answer(answers);
            }
            Effect::Changed => self.changed(),
            Effect::Alarm { alarm, on } => {
                self.shown.sounds(self.clock.peek(), alarm, on);
                if on {
                    self.alarms.insert(alarm);
                } else {
                    self.alarms.remove(&alarm);
                }
                self.changed();
            }
            Effect::StrangerHeard { key } => {
                let answers = self.hosts.stop_heard(&key);
                self.answer(answers);
            }
            Effect::Fault { peer, fault } => {
                keep(&mut self.health.link_faults, format!("{peer}: {fault}"));
            }
            Effect::DiskFault { why } => {
                eprintln!(
                    "gantline: the disk does not take entries ({why}); this device holds, and nothing can be \
                     recorded here until there is room in its folder. It tries again by itself, and stop still works"
                );
                keep(&mut self.health.disk_faults, why);
            }
            Effect::Bug { what } => {
                eprintln!("gantline: an error of the program itself, please report it: {what}");
                keep(&mut self.health.bugs, what);
            }
        }
    }

    fn changed(&self) {
        self.requests
            .changed
            .send_modify(|changes| *changes = changes.wrapping_add(1));
    }

    fn answer(&self, answers: Vec<(AskId, Vec<u8>)>) {
        for (ask, bytes) in answers {
            let bytes = Arc::from(bytes);
            self.net.command(NetCommand::StrangerReply { ask, bytes });
        }
    }

    fn event(&mut self, event: NetEvent) {
        match event {
            NetEvent::Up(peer) => {
                self.linked.insert(peer);
                self.health.nobody_heard = false;
                self.input(Input::Up { peer });
            }
            NetEvent::Down(peer) => {
                self.linked.remove(&peer);
                self.input(Input::Down { peer });
                self.photo(PhotoInput::Down(peer));
            }
            NetEvent::Datagram { .. } | NetEvent::Message { .. } | NetEvent::Behind { .. }
                if self.deaf => {}
            NetEvent::Datagram { from, bytes } => self.input(Input::Datagram { from, bytes }),
            NetEvent::Message { from, bytes } => self.input(Input::Message { from, bytes }),
            NetEvent::Behind { from, bytes } => self.photo(PhotoInput::Message { from, bytes }),
            NetEvent::StrangerMessage {
                ask,
                key,
                from,
                bytes,
            } => self.stranger(ask, key, from, &bytes),
            NetEvent::Addresses(device, addresses) => {
                self.flusher.keep_addresses(device, addresses);
            }
            NetEvent::OwnAddresses(addresses) => self.health.addresses = addresses,
            NetEvent::NobodyHeard => self.health.nobody_heard = true,
            NetEvent::Fault(fault) => {
                keep(&mut self.health.link_faults, fault.to_string());
                if let LinkFault::Refused {
                    peer,
                    code: CloseCode::OffRoster,
                    ..
                } = fault
                {
                    self.input(Input::OffRoster { by: peer });
                }
            }
        }
    }

    fn stranger(&mut self, ask: AskId, key: DeviceKey, from: SocketAddr, bytes: &[u8]) {
        let graph = self.engine.job().graph();
        match self.hosts.hear(graph, ask, key, from, bytes) {
            Heard::Answer(answers) => self.answer(answers),
            Heard::Shown => self.changed(),
            Heard::Stop { key, words } => self.input(Input::StrangerStop { key, words }),
            Heard::Nothing => {}
        }
    }

    fn act(&mut self, command: Command, reply: oneshot::Sender<Outcome>) {
        self.last_command += 1;
        let id = CommandId(self.last_command);
        self.replies.insert(id, reply);
        self.input(Input::Command { id, command });
    }

    fn request(&mut self, request: Request) {
        match request {
            Request::Act { command, reply } => self.act(*command, reply),
            Request::Press {
                face,
                command,
                reply,
            } => {
                // Compared and done in one turn of the loop: nothing comes in between.
                let now = self.clock.now();
                if state::face(&self.engine.status(now)) == face {
                    let (outcome, wait) = oneshot::channel();
                    let _ = reply.send(Ok(wait));
                    self.act(*command, outcome);
                } else {
                    let _ = reply.send(Err(Changed));
                }
            }
            Request::Plan { reply } => {
                let _ = reply.send(Box::new(self.engine.job().plan().clone()));
            }
            Request::Status { reply } => {
                let now = self.clock.now();
                let _ = reply.send(Box::new(self.engine.status(now)));
            }
            Request::Job { reply } => {
                let _ = reply.send(Box::new(self.engine.job().clone()));
            }
            Request::Overview { reply } => {
                let now = self.clock.now();
                let _ = reply.send(Box::new(self.engine.overview(now)));
            }
            Request::Aside { reply } => {
                let aside = state::aside(self.engine.job(), &self.engine.me());
                let _ = reply.send(Box::new(aside));
            }
            Request::Joins { reply } => {
                let _ = reply.send(self.hosts.waiting());
            }
            Request::RefuseJoin { device, why, reply } => {
                let answers = self.hosts.refuse(&device, &why);
                let _ = reply.send(answers.is_some());
                self.answer(answers.unwrap_or_default());
                self.changed();
            }
            Request::KeepPhoto { content, reply } => {
                self.photos.keep(&self.engine.me(), content, reply);
            }
            Request::Photo { hash, reply } => {
                let found = self.photos.find(&hash);
                let _ = reply.send(found.map(|(named, here)| (named.photo, here)));
            }
            Request::PhotosHere { reply } => {
                let _ = reply.send(self.photos.here());
            }
            Request::PhotoLost { hash, why } => {
                let input = self.photos.done(Done::Lost(hash, why));
                self.photo(input);
                self.changed();
            }
            Request::Health { reply } => {
                let mut health = self.health.clone();
                health.photos = self.photos.named();
                health.photos_here = self.photos.here().len();
                health.photo_fault = self.photos.fault.clone();
                health.linked = self.linked.iter().copied().collect();
                health.alarms = self.alarms.iter().copied().collect();
                health.page_lives = self
                    .page_heard_at
                    .is_some_and(|at| at.elapsed() <= Duration::from_millis(PAGE_LIMIT_MS));
                health.records = self.durable_records;
                let _ = reply.send(Box::new(health));
            }
            Request::KnownAddress { device, address } => {
                self.net
                    .command(NetCommand::KnownAddresses(device, vec![address]));
            }
            Request::Deaf { deaf, reply } => {
                self.deaf = deaf && self.allow_faults;
                let _ = reply.send(self.allow_faults);
            }
            Request::PageAlive => {
                self.page_heard_at = Some(Instant::now());
                self.input(Input::PageAlive);
            }
            Request::PageClosed => {
                self.page_heard_at = None;
                self.input(Input::PageClosed);
            }
            // The loop ends before it gets here.
            Request::Shutdown => {}
        }
    }
}

fn keep(list: &mut Vec<String>, line: String) {
    list.push(line);
    if list.len() > KEPT_MAX {
        list.remove(0);
    }
}
