//! Stops: shown at once, sent at once, repeated until every peer shows that it has them.
//! Owns: stops that are known and not applied yet; stops that are still being sent.
//! May use: log, watch, sync.   Never: whether a stop is valid or released (gate). Nothing refuses a stop.

use crate::engine::command::{Command, CommandId, Outcome};
use crate::engine::device::Engine;
use crate::engine::output::Effect;
use crate::ids::{DeviceKey, DeviceTag, EntryHash};
use crate::log::entry::{Body, NoteKind, OrderState, Stop, StopKind};
use crate::log::wire::Entry;
use crate::reason::Reason;
use crate::sync::{Bucket, Datagram, Message, PeerFault};
use crate::time::Tick;
use std::collections::BTreeMap;
use std::sync::Arc;

/// The first copies of a stop follow each other so closely, ms: two copies 15 to 30 ms apart cut the
/// time to arrive at 20 % loss to a third.
const COPY_MS: u64 = 20;
/// So many copies at that pace; after that one with each beacon.
const COPIES: u8 = 3;
/// So often a stop also goes again as a message to a peer that does not show it, ms.
const MESSAGE_AGAIN_MS: u64 = 1_000;
/// A stop that nobody can be seen to have (its author forked) is repeated for so long, ms.
const GIVE_UP_MS: u64 = 60_000;
/// Stops of others that are shown before they are applied; an author's flood of them shows no less.
const LOOSE_MAX: usize = 256;
/// Stops of one author that are checked on the spot: so many at once, so many a second. The same of stops from one peer
/// whose signature was bad. The rest is checked with everything else.
const ON_THE_SPOT: (u64, u64) = (20, 5);
/// A stranger's stop is logged again only after so long, ms.
const STRANGER_AGAIN_MS: u64 = 10_000;
/// Characters of a stranger's words that are kept.
const STRANGER_WORDS: usize = 200;

#[derive(Clone, Debug)]
struct Going {
    bytes: Arc<[u8]>,
    author: DeviceTag,
    seq: u32,
    since: Tick,
    copies_left: u8,
    next_copy: Tick,
    next_message: Tick,
}

/// Stops on their way.
#[derive(Clone, Debug, Default)]
pub(super) struct Spread {
    loose: Vec<Entry>,
    going: BTreeMap<EntryHash, Going>,
    on_the_spot: BTreeMap<DeviceKey, Bucket>,
    /// By who sent them: else one who signs with nobody's key could use up what an author has.
    badly_signed: BTreeMap<DeviceKey, Bucket>,
    strangers: BTreeMap<DeviceKey, Tick>,
    with_beacon: bool,
}

impl Spread {
    fn send(&mut self, entry: &Entry, copies: u8, now: Tick) {
        self.going.entry(entry.hash).or_insert_with(|| Going {
            bytes: Arc::clone(&entry.bytes),
            author: entry.content.author.tag(),
            seq: entry.content.seq,
            since: now,
            copies_left: copies,
            next_copy: now,
            next_message: now,
        });
    }

    pub(super) fn shows(&self, hash: &EntryHash) -> bool {
        self.loose.iter().any(|loose| loose.hash == *hash)
    }

    /// A stop that is applied is no longer loose; it still goes on to those who lack it.
    pub(super) fn applied(&mut self, entry: &Entry, _now: Tick) {
        self.loose.retain(|loose| loose.hash != entry.hash);
    }

    pub(super) fn beacon_sent(&mut self) {
        self.with_beacon = true;
    }

    pub(super) fn due(&self) -> Option<Tick> {
        self.going
            .values()
            .filter(|going| going.copies_left > 0)
            .map(|going| going.next_copy)
            .min()
    }
}

impl Engine {
    /// Whether a command stops the work by itself.
    pub(super) fn is_stop(&self, command: &Command) -> bool {
        match command {
            Command::Stop { .. } | Command::Withdraw { .. } | Command::Suspend { .. } => true,
            Command::OrderStatus { state, .. } => matches!(
                state,
                OrderState::Lapsed | OrderState::ReleasedByOthers { .. }
            ),
            _ => false,
        }
    }

    pub(super) fn stop_command(&mut self, id: CommandId, command: Command, out: &mut Vec<Effect>) {
        let bodies = match self.bodies(&command) {
            Ok(bodies) => bodies,
            Err(reasons) => {
                self.refuse(id, &command, reasons, out);
                return;
            }
        };
        // The one stop that is also a way to end a day: not in a state that may be left.
        let reasons: Vec<Reason> = bodies
            .iter()
            .flat_map(|body| self.not_to_be_left(body))
            .collect();
        if !reasons.is_empty() {
            self.refuse(id, &command, reasons, out);
            return;
        }
        for body in bodies {
            if self.is_same_again(&body) {
                let outcome = Outcome::AlreadySo;
                out.push(Effect::Reply { id, outcome });
                continue;
            }
            self.call_stop(body, Some(id), out);
        }
    }

    fn not_to_be_left(&self, body: &Body) -> Vec<Reason> {
        let Body::Suspend(suspend) = body else {
            return Vec::new();
        };
        let (graph, plan) = (self.job.graph(), self.job.plan());
        let begun = plan
            .steps
            .iter()
            .filter(|step| {
                !self.job.complete().contains(&step.id)
                    && step
                        .checks
                        .iter()
                        .any(|check| !self.job.given(&step.id, &check.id).is_empty())
            })
            .map(|step| step.id.clone())
            .collect();
        self.job.facts().suspend_reasons(
            graph,
            graph.all(),
            self.job.roster(),
            plan,
            suspend,
            self.job.complete(),
            &begun,
        )
    }

    /// A press repeated by a page that has not heard yet that its stop is recorded.
    fn is_same_again(&self, body: &Body) -> bool {
        let pending = self
            .own
            .pending
            .iter()
            .any(|own| own.verified.entry().content.body == *body && own.reply.is_none());
        let graph = self.job.graph();
        pending
            || self
                .job
                .in_force()
                .into_iter()
                .any(|stop| graph.author(stop) == self.me && *graph.body(stop) == *body)
    }

    /// Writes a stop, shows it and sends it, without waiting for the disk. Whether it could be written.
    fn call_stop(&mut self, body: Body, reply: Option<CommandId>, out: &mut Vec<Effect>) -> bool {
        let cut = match body {
            Body::Stop(mut stop) => {
                // A text that is too long must not be a reason for no stop.
                stop.why = stop
                    .why
                    .chars()
                    .take(crate::bounds::TEXT_MAX_CHARS)
                    .collect();
                Body::Stop(stop)
            }
            other => other,
        };
        match self.write(cut, reply, out) {
            Ok(entry) => {
                self.stop_written(&entry, out);
                true
            }
            Err(reasons) => {
                if let Some(id) = reply {
                    let outcome = Outcome::Refused { reasons };
                    out.push(Effect::Reply { id, outcome });
                }
                false
            }
        }
    }

    /// An own stop is shown and sent at once; its beacon, no longer quiet, goes with it.
    pub(super) fn stop_written(&mut self, entry: &Entry, out: &mut Vec<Effect>) {
        self.spread.send(entry, COPIES, self.now.tick);
        self.next_beacon = self.now.tick;
        out.push(Effect::Changed);
    }

    pub(super) fn stop_datagram(&mut self, from: DeviceKey, bytes: &[u8], out: &mut Vec<Effect>) {
        match Entry::decode(bytes.into()) {
            Ok(entry) if entry.content.body.is_stop() => self.stop_heard_of(from, entry, out),
            Ok(_) => {
                let bad = crate::sync::BadMessage::Encoding;
                let fault = PeerFault::Message { peer: from, bad };
                out.push(Effect::Fault { peer: from, fault });
            }
            Err(bad) => {
                let fault = PeerFault::Entry { peer: from, bad };
                out.push(Effect::Fault { peer: from, fault });
            }
        }
    }

    /// A stop from another device: shown as soon as its signature is known good, whatever else is missing.
    pub(super) fn stop_heard_of(&mut self, from: DeviceKey, entry: Entry, out: &mut Vec<Effect>) {
        let author = entry.content.author;
        let hash = entry.hash;
        if self.job.graph().find(&hash).is_some() || self.spread.shows(&hash) {
            return;
        }
        let of_this_job = entry.content.job == self.job.id();
        let now = self.now.tick;
        let has_room = |buckets: &BTreeMap<DeviceKey, Bucket>, of: &DeviceKey| {
            buckets.get(of).is_none_or(|bucket| bucket.has(1, now))
        };
        let on_the_spot = has_room(&self.spread.on_the_spot, &author)
            && has_room(&self.spread.badly_signed, &from);
        if !of_this_job || !self.intake.admitted.contains(&author) || !on_the_spot {
            self.check(vec![entry], false, out);
            return;
        }
        let checked = self.author.verify(entry);
        let (buckets, of) = match &checked {
            Ok(_) => (&mut self.spread.on_the_spot, author),
            Err(_) => (&mut self.spread.badly_signed, from),
        };
        let full = || Bucket::full(ON_THE_SPOT.0, ON_THE_SPOT.1);
        buckets.entry(of).or_insert_with(full).take(1, now);
        buckets.retain(|known, _| self.intake.admitted.contains(known));
        match checked {
            Ok(verified) => {
                let entry = verified.entry().clone();
                if self.spread.loose.len() < LOOSE_MAX {
                    self.spread.loose.push(entry.clone());
                }
                self.spread.send(&entry, 1, self.now.tick);
                out.push(Effect::Changed);
                if !self.intake.knows(self.job.graph(), &hash) {
                    self.take(verified, out);
                }
            }
            Err(bad) => {
                let fault = PeerFault::Signature { bad };
                out.push(Effect::Fault { peer: from, fault });
            }
        }
    }

    /// The newest stop pressed here that is not on this device's disk yet.
    #[must_use]
    pub fn stop_on_its_way(&self) -> Option<EntryHash> {
        self.own
            .pending
            .iter()
            .map(|own| own.verified.entry())
            .rfind(|entry| entry.content.body.is_stop())
            .map(|entry| entry.hash)
    }

    /// Stops that are shown although they are not (yet) applied, own ones first.
    pub(super) fn loose_stops(&self) -> Vec<Entry> {
        let own = self
            .own
            .pending
            .iter()
            .map(|own| own.verified.entry())
            .filter(|entry| entry.content.body.is_stop());
        let mut loose: Vec<Entry> = own.cloned().collect();
        let others = self
            .spread
            .loose
            .iter()
            .chain(self.intake.pen.stops().map(|verified| verified.entry()));
        for entry in others {
            if !loose.iter().any(|known| known.hash == entry.hash)
                && self.intake.admitted.contains(&entry.content.author)
                && !self.gone.is_logged(&entry.hash)
            {
                loose.push(entry.clone());
            }
        }
        loose
    }

    /// Sends what is due of the stops that some peer does not show.
    pub(super) fn spread_stops(&mut self, out: &mut Vec<Effect>) {
        let now = self.now.tick;
        let copy_due = self.spread.due().is_some_and(|due| due <= now);
        if !copy_due && !self.spread.with_beacon && !self.is_tick_due() {
            return;
        }
        let with_beacon = core::mem::take(&mut self.spread.with_beacon);
        let mut going = core::mem::take(&mut self.spread.going);
        going.retain(|hash, stop| {
            let shown_by = |peer: &DeviceKey| {
                self.watch
                    .newest_have(peer)
                    .and_then(|have| have.get(&stop.author))
                    .is_some_and(|count| *count > stop.seq)
            };
            let here = self.job.graph().find(hash).is_some();
            if here && self.others().iter().all(shown_by) || now.since(stop.since) > GIVE_UP_MS {
                return false;
            }
            let copy = stop.copies_left > 0 && stop.next_copy <= now;
            let message = stop.next_message <= now;
            if !copy && !with_beacon && !message {
                return true;
            }
            if copy {
                stop.copies_left -= 1;
                stop.next_copy = now.plus(COPY_MS);
            }
            if message {
                stop.next_message = now.plus(MESSAGE_AGAIN_MS);
            }
            for peer in self.links.peers().filter(|peer| !shown_by(peer)) {
                send_stop(*peer, &stop.bytes, message, out);
            }
            true
        });
        going.extend(core::mem::take(&mut self.spread.going));
        self.spread.going = going;
    }

    /// A peer that has just come up is shown what is still going.
    pub(super) fn show_stops_to(&mut self, peer: DeviceKey, out: &mut Vec<Effect>) {
        for stop in self.spread.going.values() {
            send_stop(peer, &stop.bytes, true, out);
        }
    }

    /// STRANGER: a stop called by a device off the roster is logged in the own name. Whether it is done with: logged,
    /// in force already, or of a key that the supervisor has muted.
    pub(super) fn stranger_stop(
        &mut self,
        key: DeviceKey,
        words: &str,
        out: &mut Vec<Effect>,
    ) -> bool {
        let now = self.now.tick;
        let graph = self.job.graph();
        let muted = graph.iter().any(|ix| {
            matches!(graph.body(ix), Body::Note(note) if note.kind == NoteKind::Mute { key })
                && self.job.roster_in_past(ix).supervisor == Some(graph.author(ix))
        });
        let in_force = self.job.in_force().into_iter().any(|stop| {
            matches!(graph.body(stop), Body::Stop(stop)
                if matches!(stop.kind, StopKind::Stranger { key: known, .. } if known == key))
        });
        let just_now = self
            .spread
            .strangers
            .get(&key)
            .is_some_and(|at| now.since(*at) < STRANGER_AGAIN_MS);
        if muted || self.job.roster().present(&key) {
            return muted;
        }
        if in_force || just_now {
            if in_force {
                out.push(Effect::StrangerHeard { key });
            }
            return in_force;
        }
        self.spread
            .strangers
            .retain(|_, at| now.since(*at) < STRANGER_AGAIN_MS);
        self.spread.strangers.insert(key, now);
        let words = words
            .chars()
            .filter(|c| !c.is_control())
            .take(STRANGER_WORDS)
            .collect();
        let kind = StopKind::Stranger {
            key,
            words,
            age_ms: 0,
        };
        let body = Body::Stop(Stop {
            kind,
            why: String::new(),
            item: None,
        });
        self.call_stop(body, None, out)
    }
}

fn send_stop(to: DeviceKey, bytes: &Arc<[u8]>, message: bool, out: &mut Vec<Effect>) {
    if let Some(bytes) = Datagram::Stop(bytes).encode() {
        out.push(Effect::Datagram { to, bytes });
    }
    if message {
        let bytes = Message::Entries(vec![Arc::clone(bytes)]).encode();
        out.push(Effect::Message { to, bytes });
    }
}
