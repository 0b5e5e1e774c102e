//! Device: the one way in. An input goes in with the time, effects come out; nothing else happens.
//! Owns: everything that one device knows of its job.   Gives: `Engine`: open, handle, deadline.
//! May use: all of this crate.   Never: a socket, a file, a clock, randomness.
//!
//! Durable before visible, as structure: an entry, own or foreign, is part of the job only after
//! `Input::Flushed` (`apply`), and only what is part of the job is answered, judged or sent. The one
//! exception is a stop, which is shown and sent at once (`stops`).

use crate::engine::command::{Command, CommandId, Outcome};
use crate::engine::config::{CannotOpen, Config};
use crate::engine::gone::Gone;
use crate::engine::input::Input;
use crate::engine::intake::Intake;
use crate::engine::memory::LossMemory;
use crate::engine::output::{Alarm, Effect, FlushId};
use crate::engine::own::{Armed, Own, WAITING_MAX};
use crate::engine::stops::Spread;
use crate::engine::talk::Links;
use crate::facts::Rests;
use crate::gate::{Job, Verdict};
use crate::ids::{BootId, DeviceKey, EntryHash};
use crate::log::author::Author;
use crate::log::entry::{Body, NoteKind, Said, StopKind};
use crate::log::graph::{EntryIx, Inserted};
use crate::log::sign::Verified;
use crate::log::signatures::{Ed25519, Signatures};
use crate::log::wire::Entry;
use crate::reason::Reason;
use crate::sync::{Heights, PeerFault, heights};
use crate::time::{Now, Tick};
use crate::watch::{Arrived, Births, Watch};
use std::collections::BTreeSet;
use std::sync::Arc;

/// After the disk refused a batch it is tried again so often, ms.
const DISK_RETRY_MS: u64 = 1_000;
/// A device that some peer has answered waits so long for the others before it writes, ms: whoever is up
/// has answered by then.
const RECOVER_MS: u64 = 3_000;

/// A device's job, with all that only the device knows. A copy is for looking ahead only: two of one device
/// that both write would fork it.
#[derive(Clone, Debug)]
pub struct Engine {
    pub(super) author: Author,
    pub(super) me: DeviceKey,
    pub(super) boot: BootId,
    pub(super) job: Job,
    pub(super) now: Now,
    pub(super) watch: Watch,
    pub(super) births: Births,
    pub(super) arrived: Arrived,
    pub(super) intake: Intake,
    pub(super) own: Own,
    pub(super) links: Links,
    pub(super) spread: Spread,
    pub(super) gone: Gone,
    /// Measured values of others that were applied since the last look at them.
    pub(super) new_values: Vec<EntryIx>,
    pub(super) memory: LossMemory,
    pub(super) opened_at: Tick,
    pub(super) journal_damaged: bool,
    /// Whether the own chain is known to be whole, so that more than a stop may be written.
    pub(super) recovered: bool,
    pub(super) page_at: Option<Tick>,
    pub(super) disk_failed_at: Option<Tick>,
    pub(super) alarms: BTreeSet<Alarm>,
    pub(super) clearance_until: Tick,
    pub(super) last_call: Option<super::calls::CallKey>,
    pub(super) loss_alarm: bool,
    /// Keys on the job as last told to the driver.
    pub(super) told_peers: Option<Vec<DeviceKey>>,
    pub(super) acts: super::acts::Acts,
    pub(super) next_beacon: Tick,
    pub(super) last_beacon: Option<Tick>,
    pub(super) next_tick: Tick,
    /// Something was applied since the last settling.
    pub(super) changed: bool,
    pub(super) settled: Settled,
}

/// What changes with the log alone and is asked for at every tick and beacon: worked out at each settling, which comes
/// before anything that asks.
#[derive(Clone, Debug, Default)]
pub(super) struct Settled {
    /// What is held of each author (HAVE).
    pub(super) held: Arc<Heights>,
    /// What each condition of the plan rests on, in the plan's order.
    pub(super) rests: Vec<Rests>,
}

/// Why an engine wants to be called at a time.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Why {
    /// The next beacon.
    Beacon,
    /// A stop is sent again.
    Stop,
    /// A confirm has waited long enough for fresh evidence.
    Armed,
    /// The disk is tried again.
    Disk,
    /// The call is worked out anew.
    Call,
}

/// What a verdict tells the person who pressed.
fn reasons(verdict: Verdict) -> Vec<Reason> {
    match verdict {
        Verdict::Counts => Vec::new(),
        Verdict::NotCounted(reasons) | Verdict::Information(reasons) => reasons,
    }
}

/// Whether an input changed something that is shown.
pub(super) fn is_news(out: &[Effect]) -> bool {
    out.iter().any(|effect| matches!(effect, Effect::Changed))
}

impl Engine {
    /// Starts a device with the entries of its journal, the founding entry first, in the order in which
    /// they were written there.
    ///
    /// # Errors
    /// [`CannotOpen`], when the journal founds no job.
    pub fn open(
        config: Config,
        journal: Vec<Verified>,
        now: Now,
    ) -> Result<(Self, Vec<Effect>), CannotOpen> {
        Self::open_simulated(&Ed25519, config, journal, now)
    }

    /// As [`Engine::open`], in a simulation with signatures of its own.
    ///
    /// # Errors
    /// [`CannotOpen`], when the journal founds no job.
    pub fn open_simulated(
        signatures: &'static dyn Signatures,
        config: Config,
        journal: Vec<Verified>,
        now: Now,
    ) -> Result<(Self, Vec<Effect>), CannotOpen> {
        let mut journal = journal.into_iter();
        let founding = journal.next().ok_or(CannotOpen::Empty)?;
        let founder = founding.entry().content.author;
        let job = Job::found(founding)?;
        let author = Author::simulated(signatures, config.key);
        let me = author.device();
        let mut engine = Self {
            me,
            author,
            boot: config.boot,
            job,
            now,
            watch: Watch::new(&me, config.boot),
            births: Births::default(),
            arrived: Arrived::new(now.tick),
            intake: Intake::default(),
            own: Own::default(),
            links: Links::default(),
            spread: Spread::default(),
            gone: Gone::default(),
            new_values: Vec::new(),
            memory: LossMemory::default(),
            opened_at: now.tick,
            journal_damaged: config.journal_damaged,
            recovered: false,
            page_at: None,
            disk_failed_at: None,
            alarms: BTreeSet::new(),
            clearance_until: Tick(0),
            last_call: None,
            loss_alarm: false,
            told_peers: None,
            acts: super::acts::Acts::default(),
            next_beacon: now.tick,
            last_beacon: None,
            next_tick: now.tick,
            changed: true,
            settled: Settled::default(),
        };
        engine.intake.admitted.insert(founder);
        let mut effects = Vec::new();
        for verified in journal {
            engine.apply(verified, &mut effects);
        }
        // What the journal brought is nobody's news.
        engine.new_values.clear();
        effects.retain(|effect| matches!(effect, Effect::Bug { .. }));
        engine.after(&mut effects);
        Ok((engine, effects))
    }

    /// Takes in one thing that happened and says what is to be done, in order. A time before that of the
    /// input before counts as that one's.
    #[must_use]
    pub fn handle(&mut self, now: Now, input: Input) -> Vec<Effect> {
        self.now = Now {
            tick: now.tick.max(self.now.tick),
            wall: now.wall,
        };
        let mut out = Vec::new();
        match input {
            Input::Command { id, command } => self.command(id, command, &mut out),
            Input::PageAlive => {
                self.page_at = Some(self.now.tick);
            }
            Input::PageClosed => self.page_at = None,
            Input::Up { peer } => self.up(peer, &mut out),
            Input::Down { peer } => self.links.down(&peer),
            Input::OffRoster { by } => {
                let others = self.told_peers.as_deref().unwrap_or_default();
                self.links.off_roster(by, others);
            }
            Input::Datagram { from, bytes } => self.datagram(from, &bytes, &mut out),
            Input::Message { from, bytes } => self.message(from, &bytes, &mut out),
            Input::Verified { batch, good, bad } => {
                if self.intake.checked(batch) {
                    for bad in bad {
                        let peer = bad.author;
                        let fault = PeerFault::Signature { bad };
                        out.push(Effect::Fault { peer, fault });
                    }
                    for verified in good {
                        self.take(verified, &mut out);
                    }
                }
            }
            Input::Flushed { batch } => self.flushed(batch, &mut out),
            Input::FlushFailed { batch, why } => self.flush_failed(batch, &why, &mut out),
            Input::StrangerStop { key, words } => {
                self.stranger_stop(key, &words, &mut out);
            }
            Input::Tick => {}
        }
        self.after(&mut out);
        out
    }

    /// When the engine wants to be called next if nothing happens before, and why.
    #[must_use]
    pub fn deadline(&self) -> (Tick, Why) {
        let mut next = (self.next_tick, Why::Call);
        let mut sooner = |at: Option<Tick>, why| {
            if let Some(at) = at
                && at < next.0
            {
                next = (at, why);
            }
        };
        sooner(Some(self.next_beacon), Why::Beacon);
        sooner(self.spread.due(), Why::Stop);
        sooner(
            self.own.armed.iter().map(|armed| armed.until).min(),
            Why::Armed,
        );
        sooner(self.disk_retry_at(), Why::Disk);
        next
    }

    /// The job: log, plan, roster and verdicts.
    #[must_use]
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// This device.
    #[must_use]
    pub fn me(&self) -> DeviceKey {
        self.me
    }

    /// When the newest proof of life of another device dates from, by the own clock.
    #[must_use]
    pub fn proved_at(&self, device: &DeviceKey) -> Option<Tick> {
        self.watch.proved_at(device)
    }

    /// Devices of its own roster that told this one it is off the job for them, until they link again.
    #[must_use]
    pub fn off_by(&self) -> &[DeviceKey] {
        self.links.off_by()
    }

    /// When what the disk refused is tried again, if anything of it was kept.
    fn disk_retry_at(&self) -> Option<Tick> {
        let at = self.disk_failed_at.filter(|_| self.intake.is_stuck())?;
        Some(at.plus(DISK_RETRY_MS))
    }

    /// Whether the disk is left alone after a failure: nothing of others is asked for or taken then. Entries of
    /// others that it refused were dropped, so that after a while they are taken anew: a write that succeeds is
    /// the only way out of this Hold.
    pub(super) fn disk_rests(&self) -> bool {
        self.disk_failed_at
            .is_some_and(|at| self.intake.is_stuck() || self.now.tick.since(at) < DISK_RETRY_MS)
    }

    /// What follows after every input: settle, try what waits, act by itself, speak, look at the call.
    fn after(&mut self, out: &mut Vec<Effect>) {
        self.settle(out);
        // Before anything is written, and at each tick.
        let may_write = !self.own.waiting.is_empty() || !self.own.armed.is_empty();
        if may_write || !self.recovered || self.is_tick_due() || is_news(out) {
            self.recover();
        }
        self.retry_commands(out);
        // What is due by itself comes of the log and of time: a beacon in between changes nothing that the
        // next tick would not see.
        if self.is_tick_due() || is_news(out) {
            self.log_stops_of_the_gone(out);
            self.act_by_itself(out);
        }
        if self.disk_retry_at().is_some_and(|at| at <= self.now.tick) {
            self.disk_failed_at = Some(self.now.tick);
            self.intake.try_again();
        }
        self.flush(out);
        self.spread_stops(out);
        self.beacon_if_due(out);
        self.ask_if_due(out);
        self.look_at_call(out);
        if self.is_tick_due() {
            self.next_tick = self.now.tick.plus(crate::bounds::TICK_MS);
        }
    }

    /// TICK: whether what time alone changes is to be worked out anew.
    pub(super) fn is_tick_due(&self) -> bool {
        self.next_tick <= self.now.tick
    }

    fn settle(&mut self, out: &mut Vec<Effect>) {
        if !self.changed {
            return;
        }
        self.changed = false;
        self.job.settle();
        self.settled = self.settled_now();
        self.look_at_new_values();
        let keys: Vec<DeviceKey> = self
            .job
            .roster()
            .devices()
            .filter(|device| **device != self.me)
            .copied()
            .collect();
        if self.told_peers.as_ref() != Some(&keys) {
            self.watch.keep_only(|device| keys.contains(device));
            self.links.keep_only(&keys);
            self.told_peers = Some(keys.clone());
            out.push(Effect::Peers { keys });
        }
        out.push(Effect::Changed);
        // What is new is told soon: others wait to know that it is held here.
        let soon = self.last_beacon.map_or(self.now.tick, |last| {
            last.plus(crate::bounds::BEACON_HURRIED_MS)
        });
        self.next_beacon = self.next_beacon.min(soon.max(self.now.tick));
    }

    fn settled_now(&self) -> Settled {
        let (graph, plan) = (self.job.graph(), self.job.plan());
        let (facts, roster) = (self.job.facts(), self.job.roster());
        let conditions = plan.conditions.iter();
        Settled {
            held: Arc::new(heights(graph)),
            rests: conditions
                .map(|condition| facts.rests(graph, graph.all(), roster, plan, condition))
                .collect(),
        }
    }

    /// Other devices on the job.
    pub(super) fn others(&self) -> &[DeviceKey] {
        self.told_peers.as_deref().unwrap_or_default()
    }

    /// How many own entries are on disk and applied.
    pub(super) fn own_height(&self) -> u32 {
        self.held_of(&self.me)
    }

    /// Recovery: whether the own chain is known to be whole. With nobody else on the job it is. Else every
    /// other device has said what it holds of it, or some have and the rest has had time to; and nobody holds
    /// more of it than this device. After a damaged journal most of the crew, this device among them, must have,
    /// and the rest must be lost: the very crew that can still replace who is dead, so that no two dead devices
    /// leave a third unable to write for ever (I10). Until then only a stop is written: alone, a device can
    /// still stop.
    fn recover(&mut self) {
        let others = self.others();
        let mut answered = 0_usize;
        let mut ahead = false;
        let height = self.own_height() + u32::try_from(self.own.pending.len()).unwrap_or(u32::MAX);
        for other in others {
            if let Some(have) = self.watch.proved_have(other) {
                answered += 1;
                let theirs = have.get(&self.me.tag()).copied().unwrap_or(0);
                ahead |= theirs > height;
            }
        }
        let (wait_ms, enough) = if self.journal_damaged {
            let crew = others.len() + 1;
            let lost_after_ms = self.job.plan().times.lost_after_ms;
            (lost_after_ms.max(RECOVER_MS), 2 * (answered + 1) > crew)
        } else {
            (RECOVER_MS, answered > 0)
        };
        let waited = self.now.tick.since(self.opened_at) >= wait_ms;
        let whole = answered == others.len() || (waited && enough);
        self.recovered = (self.recovered || whole) && !ahead;
    }

    /// Hands checked entries on to the disk or the pen.
    pub(super) fn take(&mut self, verified: Verified, out: &mut Vec<Effect>) {
        let peer = verified.entry().content.author;
        if let Err(refusal) = self.intake.take(self.job.graph(), verified) {
            if !self.intake.admitted.contains(&refusal.author) {
                self.unknown_heard(out);
            }
            let fault = PeerFault::Refused {
                author: refusal.author,
                seq: refusal.seq,
                why: refusal.why.to_owned(),
            };
            out.push(Effect::Fault { peer, fault });
        }
    }

    fn flush(&mut self, out: &mut Vec<Effect>) {
        if let Some((batch, entries)) = self.intake.flush() {
            let entries = entries
                .iter()
                .map(|verified| Arc::clone(&verified.entry().bytes))
                .collect();
            out.push(Effect::Flush { batch, entries });
        }
    }

    fn flushed(&mut self, batch: FlushId, out: &mut Vec<Effect>) {
        let entries = self.intake.flushed(batch);
        if entries.is_empty() {
            return;
        }
        if self.disk_failed_at.is_some() && !self.intake.is_stuck() {
            self.disk_failed_at = None;
        }
        let mut own = Vec::new();
        let mut replies = Vec::new();
        for verified in entries {
            let hash = verified.entry().hash;
            let bytes = Arc::clone(&verified.entry().bytes);
            let Some(ix) = self.apply(verified, out) else {
                continue;
            };
            if let Some(pending) = self.own.applied(&hash) {
                own.push(bytes);
                if let Some(id) = pending.reply {
                    replies.push((id, ix));
                }
                if let Body::Stop(stop) = self.job.graph().body(ix)
                    && let StopKind::Stranger { key, .. } = stop.kind
                {
                    out.push(Effect::StrangerHeard { key });
                }
            }
        }
        self.settle(out);
        for (id, ix) in replies {
            let graph = self.job.graph();
            let outcome = Outcome::Recorded {
                entry: graph.hash(ix),
                seq: graph.seq(ix),
                reasons: reasons(self.job.verdict(ix)),
            };
            self.note_recorded(ix, &outcome);
            out.push(Effect::Reply { id, outcome });
        }
        if !own.is_empty() {
            self.push_to_all(own, out);
        }
    }

    fn note_recorded(&mut self, ix: EntryIx, outcome: &Outcome) {
        if let Body::Note(note) = self.job.graph().body(ix)
            && note.kind == NoteKind::StillSo
        {
            self.memory.still_so_due = false;
        }
        if let Outcome::Recorded { reasons, .. } = outcome
            && reasons
                .iter()
                .any(|r| matches!(r, Reason::OutOfLimit { .. }))
        {
            self.clearance_until = self.now.tick.plus(super::calls::CLEARANCE_SOUNDS_MS);
        }
    }

    /// The one place where an entry, own or foreign, becomes part of the job. Only from the disk.
    fn apply(&mut self, verified: Verified, out: &mut Vec<Effect>) -> Option<EntryIx> {
        let entry = verified.entry();
        let (hash, author, seq) = (entry.hash, entry.content.author, entry.content.seq);
        // Asked first, so that no copy of the entry has to be kept for it.
        if let Some(missing) = self.lacks(entry) {
            let _ = self.intake.pen.put(verified, missing);
            return None;
        }
        match self.job.insert(verified) {
            Ok(Inserted::New(ix)) => {
                self.changed = true;
                self.applied(ix);
                for ready in self.intake.pen.take_ready(&hash) {
                    self.take(ready, out);
                }
                Some(ix)
            }
            Ok(Inserted::Known(ix)) => Some(ix),
            Err(cannot) => {
                if !self.intake.admitted.contains(&author) {
                    self.unknown_heard(out);
                }
                let fault = PeerFault::Refused {
                    author,
                    seq,
                    why: cannot.to_string(),
                };
                self.intake.pen.refuse(&hash);
                out.push(Effect::Fault {
                    peer: author,
                    fault,
                });
                None
            }
        }
    }

    /// What an entry rests on that is not part of the job yet; `None`: nothing, or it is part of it itself.
    /// An entry of another job rests on nothing here: the job refuses it at once, it does not wait.
    fn lacks(&self, entry: &Entry) -> Option<Vec<EntryHash>> {
        if entry.content.job != self.job.id() {
            return None;
        }
        let graph = self.job.graph();
        let missing: Vec<EntryHash> = core::iter::once(&entry.content.prev)
            .filter(|prev| **prev != EntryHash::NONE)
            .chain(&entry.content.heads)
            .filter(|hash| graph.find(hash).is_none())
            .copied()
            .collect();
        (!missing.is_empty() && graph.find(&entry.hash).is_none()).then_some(missing)
    }

    /// What only this device notes of an applied entry.
    fn applied(&mut self, ix: EntryIx) {
        let graph = self.job.graph();
        let author = graph.author(ix);
        if let Body::Admit(admit) = graph.body(ix) {
            self.intake.admitted.insert(admit.device);
        }
        if author != self.me {
            self.births.arrived((author, graph.seq(ix)));
            if matches!(graph.body(ix), Body::Acknowledge(ack) if matches!(ack.said, Said::Value { .. }))
            {
                self.new_values.push(ix);
            }
        }
        self.arrived.note(ix, self.now.tick);
        self.spread.applied(graph.entry(ix), self.now.tick);
    }

    /// Writes an entry of this device: made now, part of the job once it is on disk.
    pub(super) fn write(
        &mut self,
        body: Body,
        reply: Option<CommandId>,
        out: &mut Vec<Effect>,
    ) -> Result<Entry, Vec<Reason>> {
        if !self.intake.admitted.contains(&self.me) {
            return Err(vec![Reason::NotEnrolled { device: self.me }]);
        }
        let made = self.own.make(
            &self.author,
            self.job.graph(),
            self.now.wall,
            self.job.id(),
            body,
        );
        let verified = match made {
            Ok(verified) => verified,
            Err(cannot) => {
                return Err(vec![Reason::WrongAnswerForm {
                    expected: format!("less to write: {cannot}"),
                }]);
            }
        };
        let entry = verified.entry().clone();
        self.births
            .made((self.me, entry.content.seq), self.now.tick);
        self.own.pending.push_back(super::own::Pending {
            verified: verified.clone(),
            reply,
        });
        self.take(verified, out);
        Ok(entry)
    }

    fn command(&mut self, id: CommandId, command: Command, out: &mut Vec<Effect>) {
        if self.is_stop(&command) {
            self.stop_command(id, command, out);
        } else if self.own.waiting.len() >= WAITING_MAX {
            let reasons = vec![Reason::HoldActive];
            out.push(Effect::Reply {
                id,
                outcome: Outcome::Refused { reasons },
            });
        } else {
            self.own.waiting.push_back((id, command));
        }
    }

    /// Commands that wait: one at a time, each when what was written before it is on disk.
    fn retry_commands(&mut self, out: &mut Vec<Effect>) {
        while self.own.pending.is_empty() || self.disk_failed_at.is_some() {
            let Some((id, command)) = self.own.waiting.pop_front() else {
                break;
            };
            self.attempt(id, command, None, out);
        }
        for Armed { id, command, until } in core::mem::take(&mut self.own.armed) {
            if self.own.pending.is_empty() || self.disk_failed_at.is_some() {
                self.attempt(id, command, Some(until), out);
            } else {
                self.own.armed.push(Armed { id, command, until });
            }
        }
    }

    fn flush_failed(&mut self, batch: FlushId, why: &str, out: &mut Vec<Effect>) {
        self.intake.not_flushed(batch, &self.me);
        if self.disk_failed_at.is_none() {
            out.push(Effect::DiskFault {
                why: why.to_owned(),
            });
            out.push(Effect::Changed);
        }
        self.disk_failed_at = Some(self.now.tick);
        let stop_waits = self.own.stop_pressed();
        let mut exposed = Vec::new();
        for own in &mut self.own.pending {
            // A stop is answered when it is on disk; until then the page keeps the press.
            let is_stop = own.verified.entry().content.body.is_stop();
            if !is_stop && let Some(id) = own.reply.take() {
                let reasons = vec![Reason::DiskFailed];
                out.push(Effect::Reply {
                    id,
                    outcome: Outcome::Refused { reasons },
                });
            }
            exposed.push(Arc::clone(&own.verified.entry().bytes));
        }
        if stop_waits {
            // Others can apply the stop only with the entries before it.
            self.push_to_all(exposed, out);
        }
    }

    /// The entries that wait here for their past, ascending.
    pub fn waiting(&self) -> impl Iterator<Item = &EntryHash> {
        self.intake.pen.waiting()
    }

    /// Whether the own chain is known to be whole since the start, so that more than a stop may be written.
    #[must_use]
    pub fn is_recovered(&self) -> bool {
        self.recovered
    }

    /// The entries of the job by hash, for tests and drivers that export the log.
    #[must_use]
    pub fn holds(&self, hash: &EntryHash) -> bool {
        self.job.graph().find(hash).is_some()
    }
}
