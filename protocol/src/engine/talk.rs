//! Talk: beacons, entries asked for and given, on the links that stand.
//! Owns: which peers are connected, and how much each may still ask.
//! May use: watch, sync, intake.   Never: what an entry means.

use crate::bounds::{
    DATAGRAM_MAX_BYTES, ENTRIES_PER_SECOND_MAX, GIVE_MAX_ENTRIES, MESSAGE_MAX_BYTES,
};
use crate::engine::device::{Engine, is_news};
use crate::engine::intake::IN_HAND_MAX;
use crate::engine::output::Effect;
use crate::ids::{DeviceKey, EntryHash};
use crate::log::columns;
use crate::log::graph::{EntryIx, Graph};
use crate::log::wire::Entry;
use crate::sync::{
    Ask, BadMessage, Bucket, Datagram, Heights, Message, PeerFault, ahead_of, given, lack,
    misses_fork, unlisted, with_in_hand,
};
use crate::time::Tick;
use crate::watch::{Beacon, Row, Vouch, bundle, cadence_ms, check_beacon, job_tag, unbundle};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// A lack that lasts so long is asked about; shorter ones are on their way by themselves, ms.
const LACK_MS: u64 = 120;
/// A lack of so many entries is asked about at once: no pushes of a moment bring so many.
const LACK_AT_ONCE: u64 = 32;
/// An ask that brought nothing is repeated, to another peer if there is one, after so long, ms.
const ASK_AGAIN_MS: u64 = 500;
/// Asks answered for one peer: so many at once, and so many a second.
const ASKS: (u64, u64) = (64, 16);
/// Bytes given to one peer that it was given before on the same link: so many at once, and so many a second. Who
/// could not keep an answer asks again; one who asks for all of it again and again must not have the air.
const AGAIN_BYTES: (u64, u64) = (GIVE_BYTES as u64, 128 * 1024);
/// The past of what waits here is asked for every `ASK_AGAIN_MS`, of one peer after the other; each time that none of
/// them had any of it, half as often, down to an eighth: maybe nobody will ever have it.
const FRUITLESS_MAX: u32 = 3;
/// Answers that a peer may still give: who has nothing to give answers nothing.
const OWES_MAX: u32 = 4;
/// Entries that one peer pushes and that are taken at once; after that `ENTRIES_PER_SECOND_MAX` a second.
const PUSHED_AT_ONCE: u64 = 400;
/// Tips and evidence of a fork are shown to a peer at most so often, ms; of evidence that a peer does not heed, each
/// time half as often, down to an eighth. It can be the whole log, and one who never heeds it must not have the air.
const TIPS_AGAIN_MS: u64 = 1_000;
const UNHEEDED_MAX: u32 = 3;
/// Tips of one peer that are followed by an ask: so many at once, and so many a second.
const TIPS_FOLLOWED: (u64, u64) = (2, 1);
/// A peer whose answers bring something is asked on so often; then it is the turn of the next that has something. One
/// who always has a little more must not keep the others from being asked.
const IN_A_ROW_MAX: u32 = 4;
/// Beacons of others older than this are not passed on, ms.
const PASS_ON_MS: u64 = 2_000;
/// Bytes of entries in one answer, so that a stop behind it waits little.
const GIVE_BYTES: usize = 1024 * 1024;

#[derive(Clone, Debug)]
struct Link {
    asks: Bucket,
    again: Bucket,
    /// How many answers to asks may still come from it.
    owes: u32,
    /// How many entries of each author it was given at least, counted from the first.
    given: Heights,
    tips: Bucket,
    tips_at: Option<Tick>,
    /// How often in a row it was shown the evidence of a fork and did not heed it.
    unheeded: u32,
}

/// The links that stand.
#[derive(Clone, Debug, Default)]
pub(super) struct Links {
    up: BTreeMap<DeviceKey, Link>,
    pushed: BTreeMap<DeviceKey, Bucket>,
    /// Devices by whose word this one is off the job, until they link again.
    off_by: Vec<DeviceKey>,
    lacking_since: Option<Tick>,
    last_ask: Option<(Tick, DeviceKey)>,
    /// What was asked for by name alone, last, and how often in a row that brought nothing.
    by_name: (Vec<EntryHash>, u32),
    gained: bool,
    /// How often in a row the same peer was asked because it had brought something.
    in_a_row: u32,
    /// A beacon of other entries than here has come since it was last looked for what is lacking.
    ask_soon: bool,
    turn: usize,
}

impl Links {
    pub(super) fn down(&mut self, peer: &DeviceKey) {
        self.up.remove(peer);
    }

    pub(super) fn off_roster(&mut self, by: DeviceKey, present: &[DeviceKey]) {
        if present.contains(&by) && !self.off_by.contains(&by) {
            self.off_by.push(by);
        }
    }

    /// Devices by whose word this one is off the job.
    pub(super) fn off_by(&self) -> &[DeviceKey] {
        &self.off_by
    }

    pub(super) fn keep_only(&mut self, present: &[DeviceKey]) {
        self.up.retain(|peer, _| present.contains(peer));
        self.off_by.retain(|peer| present.contains(peer));
        self.pushed.retain(|peer, _| present.contains(peer));
    }

    fn pushes_of(&mut self, peer: DeviceKey) -> &mut Bucket {
        let full = || Bucket::full(PUSHED_AT_ONCE, u64::from(ENTRIES_PER_SECOND_MAX));
        self.pushed.entry(peer).or_insert_with(full)
    }

    pub(super) fn peers(&self) -> impl Iterator<Item = &DeviceKey> {
        self.up.keys()
    }
}

impl Engine {
    pub(super) fn up(&mut self, peer: DeviceKey, out: &mut Vec<Effect>) {
        if !self.others().contains(&peer) {
            let fault = PeerFault::NotOnTheJob { peer };
            out.push(Effect::Fault { peer, fault });
            return;
        }
        self.links.off_by.retain(|by| *by != peer);
        self.links.up.insert(
            peer,
            Link {
                asks: Bucket::full(ASKS.0, ASKS.1),
                again: Bucket::full(AGAIN_BYTES.0, AGAIN_BYTES.1),
                owes: 0,
                given: Heights::new(),
                tips: Bucket::full(TIPS_FOLLOWED.0, TIPS_FOLLOWED.1),
                tips_at: None,
                unheeded: 0,
            },
        );
        self.links.by_name.1 = 0;
        self.next_beacon = self.now.tick;
        self.show_stops_to(peer, out);
        out.push(Effect::Changed);
    }

    /// Linked devices that hold the same entries as this one, as far as their newest beacons tell; nobody while
    /// entries of this device are on their way to the disk or others wait for their past. What can wait goes to these only.
    #[must_use]
    pub fn level_peers(&self) -> BTreeSet<DeviceKey> {
        if !self.own.pending.is_empty() || !self.intake.pen.is_empty() {
            return BTreeSet::new();
        }
        let held = &*self.settled.held;
        let is_level = |peer: &&DeviceKey| {
            let theirs = self.watch.newest_have(peer);
            theirs.is_some_and(|theirs| lack(theirs, held) == 0 && lack(held, theirs) == 0)
        };
        self.links.peers().filter(is_level).copied().collect()
    }

    pub(super) fn datagram(&mut self, from: DeviceKey, bytes: &[u8], out: &mut Vec<Effect>) {
        if !self.others().contains(&from) {
            self.outside_heard(from, bytes, true, out);
            return;
        }
        match Datagram::decode(bytes) {
            Ok(Datagram::Beacons(bytes)) => self.beacons(from, bytes, out),
            Ok(Datagram::Stop(bytes)) => self.stop_datagram(from, bytes, out),
            Err(bad) => {
                let fault = PeerFault::Message { peer: from, bad };
                out.push(Effect::Fault { peer: from, fault });
            }
        }
    }

    fn beacons(&mut self, from: DeviceKey, bytes: &[u8], out: &mut Vec<Effect>) {
        let heard = match unbundle(bytes) {
            Ok(heard) => heard,
            Err(bad) => {
                let fault = PeerFault::Beacon { peer: from, bad };
                out.push(Effect::Fault { peer: from, fault });
                return;
            }
        };
        let job = job_tag(&self.job.id());
        for heard in heard {
            let claim = heard.claim();
            let Some(device) = self
                .others()
                .iter()
                .find(|device| device.tag() == claim.device)
                .copied()
            else {
                continue;
            };
            // Most copies that bundles bring are known; they cost no signature check.
            if claim.job != job || !self.watch.is_news(&device, claim.boot, claim.counter) {
                continue;
            }
            match check_beacon(self.author.signatures(), heard, &device) {
                Ok(signed) => {
                    let here = self.job.graph().len();
                    self.links.ask_soon |= signed.beacon.entries as usize != here;
                    let since = self.watch.echoed(&signed.beacon);
                    self.heed(&device, &signed.beacon, since);
                    self.watch.accept(&device, signed, self.now.tick);
                }
                Err(bad) => {
                    let fault = PeerFault::Beacon { peer: from, bad };
                    out.push(Effect::Fault { peer: from, fault });
                }
            }
        }
    }

    /// What a beacon tells of ages, and of clocks.
    fn heed(&mut self, device: &DeviceKey, beacon: &Beacon, since: Option<Tick>) {
        let Some(since) = since else {
            return;
        };
        self.births.said(device, beacon.made(), since);
        let graph = self.job.graph();
        for vouch in &beacon.vouches {
            let mut members = self.job.roster().members.keys();
            let Some(&author) = members.find(|key| key.tag() == vouch.author) else {
                continue;
            };
            // What is not here yet is vouched for again in the next beacons. Of a fork's branches the first counts.
            let here = graph
                .chains_of(author)
                .filter_map(|chain| graph.at(chain, vouch.seq))
                .map(|ix| self.arrived.at(ix))
                .min();
            if let Some(here) = here {
                let name = (author, vouch.seq);
                self.births.vouched(name, vouch.age_ms, since, here);
            }
        }
        self.acts.clock_heard(*device, beacon.wall, since, self.now);
    }

    pub(super) fn beacon_if_due(&mut self, out: &mut Vec<Effect>) {
        if self.next_beacon > self.now.tick {
            return;
        }
        let limit = self.job.plan().times.watch_limit_ms;
        let lost_after = self.job.plan().times.lost_after_ms;
        // Hurrying cannot help a device that is long gone, and would tire the radio for hours.
        let oldest = self
            .others()
            .iter()
            .map(|other| {
                let age = self.watch.standing(other, self.now.tick).age_ms;
                age.unwrap_or_else(|| self.now.tick.since(self.opened_at).max(limit))
            })
            .filter(|age| *age <= lost_after)
            .max()
            .unwrap_or(0);
        self.next_beacon = self.now.tick.plus(cadence_ms(Some(oldest), limit));
        self.last_beacon = Some(self.now.tick);
        let peers: Vec<DeviceKey> = self.links.peers().copied().collect();
        if peers.is_empty() {
            return;
        }
        let counter = self.watch.count(self.now.tick);
        let beacon = self.make_beacon(counter);
        let Some(own) = beacon.sign(self.author.signatures(), self.author.key()) else {
            return;
        };
        let mut others: Vec<_> = self
            .watch
            .to_pass_on(self.now.tick, PASS_ON_MS)
            .into_iter()
            .map(|(_, beacon)| beacon)
            .collect();
        if !others.is_empty() {
            let turn = self.links.turn % others.len();
            others.rotate_left(turn);
        }
        let limit = DATAGRAM_MAX_BYTES - Datagram::OVERHEAD_BYTES;
        let bytes = bundle(&own, others, limit);
        self.links.turn = self.links.turn.wrapping_add(1);
        if let Some(bytes) = Datagram::Beacons(&bytes).encode() {
            for to in peers {
                let bytes = Arc::clone(&bytes);
                out.push(Effect::Datagram { to, bytes });
            }
        }
        self.spread.beacon_sent();
    }

    fn make_beacon(&self, counter: u32) -> Beacon {
        let graph = self.job.graph();
        let held = &self.settled.held;
        let mut beacon = Beacon::new(&self.job.id(), &self.me, self.boot, counter);
        beacon.pressed = self.own.stop_pressed();
        beacon.page_silent = self.page_silent();
        beacon.head = held.get(&self.me.tag()).copied().unwrap_or(0);
        beacon.making = u32::try_from(self.own.pending.len()).unwrap_or(u32::MAX);
        beacon.entries = u32::try_from(graph.len()).unwrap_or(u32::MAX);
        beacon.wall = self.now.wall;
        let others = self.others();
        let row = |device: &DeviceKey| Row {
            device: device.tag(),
            have: held.get(&device.tag()).copied().unwrap_or(0),
            echo: self.watch.echo(device),
        };
        beacon.rows = others.iter().map(row).collect();
        let mut gone: Vec<Row> = self
            .job
            .roster()
            .members
            .keys()
            .filter(|device| **device != self.me && !others.contains(device))
            .map(row)
            .collect();
        if !gone.is_empty() {
            let turn = self.links.turn % gone.len();
            gone.rotate_left(turn);
        }
        beacon.rows.extend(gone);
        beacon.vouches = self.vouches();
        if !beacon.vouches.is_empty() {
            let turn = self.links.turn % beacon.vouches.len();
            beacon.vouches.rotate_left(turn);
        }
        beacon.fit();
        beacon
    }

    fn vouches(&self) -> Vec<Vouch> {
        let graph = self.job.graph();
        let rests = self.settled.rests.iter();
        let mut bases: Vec<EntryIx> = rests.flat_map(|rests| &rests.bases).copied().collect();
        bases.sort_unstable();
        bases.dedup();
        bases
            .into_iter()
            .filter_map(|ix| {
                Some(Vouch {
                    author: graph.author(ix).tag(),
                    seq: graph.seq(ix),
                    age_ms: self.most_age_ms(ix, self.now)?,
                })
            })
            .collect()
    }

    pub(super) fn push_to_all(&mut self, entries: Vec<Arc<[u8]>>, out: &mut Vec<Effect>) {
        let bytes = Message::Entries(entries).encode();
        for to in self.links.peers().copied() {
            let bytes = Arc::clone(&bytes);
            out.push(Effect::Message { to, bytes });
        }
    }

    pub(super) fn message(&mut self, from: DeviceKey, bytes: &[u8], out: &mut Vec<Effect>) {
        if !self.others().contains(&from) {
            self.outside_heard(from, bytes, false, out);
            return;
        }
        let fault = match Message::decode(bytes) {
            Ok(Message::Entries(entries)) => {
                self.entries(from, entries, out);
                return;
            }
            Ok(Message::Ask(ask)) => {
                self.answer(from, &ask, out);
                return;
            }
            Ok(Message::Tips(tips)) => {
                self.tips(from, &tips, out);
                return;
            }
            Ok(Message::Give(packed)) => match columns::unpack(&packed) {
                Ok(entries) => {
                    self.answered(from, entries, out);
                    return;
                }
                Err(bad) => BadMessage::Packed {
                    why: bad.to_string(),
                },
            },
            Err(bad) => bad,
        };
        let fault = PeerFault::Message {
            peer: from,
            bad: fault,
        };
        out.push(Effect::Fault { peer: from, fault });
    }

    /// Entries packed in columns. As many as asked for, if they were; else no more than a peer may push.
    fn answered(&mut self, from: DeviceKey, mut entries: Vec<Entry>, out: &mut Vec<Effect>) {
        let now = self.now.tick;
        let Some(link) = self.links.up.get_mut(&from) else {
            return;
        };
        let asked = link.owes > 0;
        link.owes = link.owes.saturating_sub(1);
        if !asked {
            let (graph, intake) = (self.job.graph(), &self.intake);
            entries.retain(|entry| !intake.knows(graph, &entry.hash));
            let bucket = self.links.pushes_of(from);
            let fits = entries.iter().take_while(|_| bucket.take(1, now)).count();
            if fits < entries.len() {
                entries.truncate(fits);
                let fault = PeerFault::TooFast { peer: from };
                out.push(Effect::Fault { peer: from, fault });
            }
        }
        // Only what is new goes on at once; else a peer could make the two ask and give for ever.
        if self.check(entries, asked, out) && asked {
            self.links.gained = true;
        }
    }

    /// What a peer names and this device does not hold is asked for. That is no turn of its own: else who names what
    /// nobody has would keep the others from being asked.
    fn tips(&mut self, from: DeviceKey, tips: &[EntryHash], out: &mut Vec<Effect>) {
        let want = unlisted(self.job.graph(), tips);
        let Some(link) = self.links.up.get_mut(&from) else {
            return;
        };
        if !want.is_empty() && link.tips.take(1, self.now.tick) {
            self.ask(from, want, out);
        }
    }

    /// New entries, pushed: bounded for each peer, as a device pushes what it has written itself, and whose name is on
    /// them is not known before they are checked. What is turned away is asked for later.
    fn entries(&mut self, from: DeviceKey, entries: Vec<Arc<[u8]>>, out: &mut Vec<Effect>) {
        let mut good = Vec::new();
        let mut too_fast = false;
        for bytes in entries {
            match Entry::decode(bytes) {
                Ok(entry) if entry.content.body.is_stop() => {
                    self.stop_heard_of(from, entry, out);
                }
                Ok(entry) => {
                    if self.links.pushes_of(from).take(1, self.now.tick) {
                        good.push(entry);
                    } else {
                        too_fast = true;
                    }
                }
                Err(bad) => {
                    let fault = PeerFault::Entry { peer: from, bad };
                    out.push(Effect::Fault { peer: from, fault });
                }
            }
        }
        if too_fast {
            let fault = PeerFault::TooFast { peer: from };
            out.push(Effect::Fault { peer: from, fault });
        }
        self.check(good, false, out);
    }

    /// Lets the signatures of what is new be checked; whether anything was. `asked`: it came when it was asked for.
    pub(super) fn check(
        &mut self,
        entries: Vec<Entry>,
        asked: bool,
        out: &mut Vec<Effect>,
    ) -> bool {
        if self.disk_rests() {
            return false;
        }
        let graph = self.job.graph();
        let mut seen = BTreeSet::new();
        let entries: Vec<Entry> = entries
            .into_iter()
            .filter(|entry| {
                !self.intake.knows(graph, &entry.hash)
                    && !self.intake.is_checking(entry)
                    && seen.insert(entry.hash)
            })
            .take(IN_HAND_MAX.saturating_sub(self.intake.in_hand_len()))
            .collect();
        if entries.is_empty() {
            return false;
        }
        let batch = self.intake.check(&entries, asked);
        out.push(Effect::Verify { batch, entries });
        true
    }

    fn answer(&mut self, from: DeviceKey, ask: &Ask, out: &mut Vec<Effect>) {
        let now = self.now.tick;
        let Some(link) = self.links.up.get_mut(&from) else {
            return;
        };
        if !link.asks.take(1, now) {
            let fault = PeerFault::AsksTooMuch { peer: from };
            out.push(Effect::Fault { peer: from, fault });
            return;
        }
        let (entries, _) = given(
            self.job.graph(),
            &ask.heights(),
            &ask.want,
            GIVE_MAX_ENTRIES,
        );
        let graph = self.job.graph();
        let entries = at_once(graph, entries);
        let again = entries.iter().filter(|&&ix| {
            let author = graph.author(ix).tag();
            let given = link.given.get(&author).copied().unwrap_or(0);
            graph.seq(ix) < given
        });
        let again: usize = again.map(|&ix| graph.entry(ix).bytes.len()).sum();
        if !link.again.take(again as u64, now) {
            let fault = PeerFault::AsksTooMuch { peer: from };
            out.push(Effect::Fault { peer: from, fault });
            return;
        }
        self.give(from, &entries, out);
    }

    fn give(&mut self, to: DeviceKey, entries: &[EntryIx], out: &mut Vec<Effect>) {
        let Some(link) = self.links.up.get_mut(&to).filter(|_| !entries.is_empty()) else {
            return;
        };
        let graph = self.job.graph();
        for &ix in entries {
            let given = link.given.entry(graph.author(ix).tag()).or_default();
            *given = (*given).max(graph.seq(ix).saturating_add(1));
        }
        const { assert!(GIVE_BYTES < MESSAGE_MAX_BYTES) };
        let packed = columns::pack(graph, entries);
        let bytes = Message::Give(packed).encode();
        out.push(Effect::Message { to, bytes });
    }

    /// Asks one peer for what it has and this device lacks. Whom and for what is worked out anew each time
    /// from what both hold, so no lost message can leave it stuck.
    pub(super) fn ask_if_due(&mut self, out: &mut Vec<Effect>) {
        // Beacons that show nothing else than what is here are most of all inputs.
        let ask_soon = core::mem::take(&mut self.links.ask_soon);
        if !ask_soon && !self.links.gained && !self.is_tick_due() && !is_news(out) {
            return;
        }
        let now = self.now.tick;
        let held = Arc::clone(&self.settled.held);
        self.show_forks(&held, out);
        let hoped = with_in_hand(&held, &self.intake.in_hand());
        let lacks: Vec<(DeviceKey, u64)> = self
            .links
            .peers()
            .filter_map(|peer| Some((*peer, lack(self.watch.newest_have(peer)?, &hoped))))
            .filter(|(_, lack)| *lack > 0)
            .collect();
        let much = lacks.iter().any(|(_, lack)| *lack >= LACK_AT_ONCE);
        let candidates: Vec<DeviceKey> = lacks.into_iter().map(|(peer, _)| peer).collect();
        let in_pen = !self.intake.pen.is_empty();
        if candidates.is_empty() && !in_pen {
            self.links.lacking_since = None;
            self.links.gained = false;
            return;
        }
        let want: Vec<EntryHash> = self.intake.pen.missing().copied().collect();
        let by_name_alone = candidates.is_empty();
        let (named, fruitless) = &mut self.links.by_name;
        if !by_name_alone || self.links.gained || *named != want {
            *fruitless = 0;
        }
        let rounds = *fruitless / u32::try_from(self.links.up.len().max(1)).unwrap_or(u32::MAX);
        let again_ms = ASK_AGAIN_MS << rounds.min(FRUITLESS_MAX);
        let since = *self.links.lacking_since.get_or_insert(now);
        let lasts = much || now.since(since) >= LACK_MS;
        let due = match self.links.last_ask {
            Some((at, _)) if self.links.gained => now.since(at) > 0,
            Some((at, _)) => lasts && now.since(at) >= again_ms,
            None => lasts,
        };
        let room = self.intake.in_hand_len() + GIVE_MAX_ENTRIES <= IN_HAND_MAX;
        if !due || !room || self.disk_rests() {
            return;
        }
        let asked = if candidates.is_empty() {
            self.links.peers().copied().collect()
        } else {
            candidates
        };
        // A peer whose ask brought something is asked on; else the next one has its turn.
        let last = self.links.last_ask.map(|(_, peer)| peer);
        let on = self.links.gained && self.links.in_a_row < IN_A_ROW_MAX;
        let peer = if on {
            last.filter(|peer| asked.contains(peer))
        } else {
            asked.iter().find(|peer| Some(**peer) > last).copied()
        };
        if let Some(peer) = peer.or_else(|| asked.first().copied()) {
            if by_name_alone {
                let (named, fruitless) = &mut self.links.by_name;
                named.clone_from(&want);
                *fruitless = fruitless.saturating_add(1);
            }
            self.links.in_a_row = if on && last == Some(peer) {
                self.links.in_a_row + 1
            } else {
                0
            };
            self.links.last_ask = Some((now, peer));
            self.links.gained = false;
            self.ask(peer, want, out);
        }
    }

    fn ask(&mut self, to: DeviceKey, want: Vec<EntryHash>, out: &mut Vec<Effect>) {
        let held = Arc::clone(&self.settled.held);
        let ask = Ask::new(&held, &self.intake.in_hand(), want);
        let bytes = Message::Ask(ask).encode();
        out.push(Effect::Message { to, bytes });
        if let Some(link) = self.links.up.get_mut(&to) {
            link.owes = (link.owes + 1).min(OWES_MAX);
        }
    }

    /// FORK: whoever knows a single branch is given the evidence; whoever holds as much of everybody and
    /// not as many entries is told the tips.
    fn show_forks(&mut self, held: &Heights, out: &mut Vec<Effect>) {
        let now = self.now.tick;
        let graph = self.job.graph();
        let mut show = Vec::new();
        if graph.forks().is_empty() {
            return;
        }
        for (peer, link) in &mut self.links.up {
            let (Some(theirs), Some(newest)) =
                (self.watch.newest_have(peer), self.watch.newest(peer))
            else {
                continue;
            };
            let misses = misses_fork(graph, held, theirs);
            if !misses {
                link.unheeded = 0;
            }
            let again_ms = TIPS_AGAIN_MS << link.unheeded.saturating_sub(1).min(UNHEEDED_MAX);
            if link.tips_at.is_some_and(|at| now.since(at) < again_ms) {
                continue;
            }
            if misses {
                link.unheeded = link.unheeded.saturating_add(1);
                show.push((*peer, true));
            } else if newest.beacon.entries as usize != graph.len()
                && !ahead_of(theirs, held)
                && !ahead_of(held, theirs)
            {
                show.push((*peer, false));
            }
        }
        for (peer, evidence) in show {
            let graph = self.job.graph();
            if evidence {
                let theirs = self.watch.newest_have(&peer).cloned().unwrap_or_default();
                let (entries, _) = given(graph, &theirs, &[], GIVE_MAX_ENTRIES);
                let entries = at_once(graph, entries);
                self.give(peer, &entries, out);
            } else {
                let tips = graph
                    .chains()
                    .filter_map(|chain| graph.last(chain))
                    .map(|ix| graph.hash(ix))
                    .collect();
                let bytes = Message::Tips(tips).encode();
                out.push(Effect::Message { to: peer, bytes });
            }
            if let Some(link) = self.links.up.get_mut(&peer) {
                link.tips_at = Some(now);
            }
        }
    }
}

/// As many of these entries, in their order, as go into one answer.
fn at_once(graph: &Graph, mut entries: Vec<EntryIx>) -> Vec<EntryIx> {
    let mut bytes = 0_usize;
    let fits = entries
        .iter()
        .take_while(|ix| {
            bytes += graph.entry(**ix).bytes.len();
            bytes <= GIVE_BYTES
        })
        .count()
        .max(1);
    entries.truncate(fits);
    entries
}
