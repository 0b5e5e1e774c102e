//! Gone: what comes from a device that is not on the job, or no longer: a stop, and nothing else.
//! Owns: stops whose author is gone and which cannot become part of the log.   Gives: them, logged in the own name.
//! May use: stops, intake.   Never: refuses a stop; takes anything else from such a device.
//!
//! A device that was removed may have pressed stop unheard (gate, REMOVED-STOP). Whoever hears of it, from that
//! device itself or through another, stops now. If its whole past is here, the entry is taken like any other and
//! reopens nothing that was finished. If not, nobody may ever bring what is missing: then it is logged in the own
//! name like a stranger's stop, which the supervisor's account can answer, and no longer shown by itself. Without
//! that it would be shown for ever and nothing could release it.

use crate::engine::device::Engine;
use crate::engine::output::Effect;
use crate::ids::{DeviceKey, EntryHash};
use crate::log::entry::Body;
use crate::log::wire::Entry;
use crate::sync::{Datagram, Message, PeerFault};
use crate::time::Tick;
use std::collections::BTreeMap;
use std::sync::Arc;

/// What is missing of the past of a stop has so long to arrive, ms, once its author is gone.
const PAST_WITHIN_MS: u64 = 2_000;
/// The alarm for a device that was never on the job sounds so long, ms.
const UNKNOWN_SOUNDS_MS: u64 = 5_000;

/// What was heard of devices that are gone, or were never here.
#[derive(Clone, Debug, Default)]
pub(super) struct Gone {
    /// Since when a stop lacks its past with its author gone; `None`: it was logged in the own name.
    stops: BTreeMap<EntryHash, Option<Tick>>,
    unknown_until: Tick,
}

impl Gone {
    /// Whether a stop was logged in the own name, so that it is no longer shown by itself.
    pub(super) fn is_logged(&self, hash: &EntryHash) -> bool {
        matches!(self.stops.get(hash), Some(None))
    }

    /// Whether a device that was never on the job has just tried to say something.
    pub(super) fn unknown_sounds(&self, now: Tick) -> bool {
        now < self.unknown_until
    }
}

impl Engine {
    /// Something came from a peer that is not on the job: of one that was, its stops are taken; of one that never
    /// was, nothing, and people are told.
    pub(super) fn outside_heard(
        &mut self,
        from: DeviceKey,
        bytes: &[u8],
        datagram: bool,
        out: &mut Vec<Effect>,
    ) {
        let fault = PeerFault::NotOnTheJob { peer: from };
        out.push(Effect::Fault { peer: from, fault });
        if !self.intake.admitted.contains(&from) {
            self.unknown_heard(out);
            return;
        }
        let stops: Vec<Arc<[u8]>> = if datagram {
            match Datagram::decode(bytes) {
                Ok(Datagram::Stop(bytes)) => vec![bytes.into()],
                _ => Vec::new(),
            }
        } else {
            match Message::decode(bytes) {
                Ok(Message::Entries(entries)) => entries,
                _ => Vec::new(),
            }
        };
        for bytes in stops {
            if let Ok(entry) = Entry::decode(bytes)
                && entry.content.body.is_stop()
                && self.intake.admitted.contains(&entry.content.author)
            {
                self.stop_heard_of(from, entry, out);
            }
        }
    }

    /// A device that nobody ever admitted has tried to say something on this job.
    pub(super) fn unknown_heard(&mut self, out: &mut Vec<Effect>) {
        self.gone.unknown_until = self.now.tick.plus(UNKNOWN_SOUNDS_MS);
        out.push(Effect::Changed);
    }

    /// Logs in the own name the stops whose author is gone and whose past has not come.
    pub(super) fn log_stops_of_the_gone(&mut self, out: &mut Vec<Effect>) {
        let now = self.now.tick;
        let roster = self.job.roster();
        if !roster.present(&self.me) {
            return;
        }
        let waiting: Vec<Entry> = self
            .intake
            .pen
            .stops()
            .map(|verified| verified.entry())
            .filter(|entry| self.intake.admitted.contains(&entry.content.author))
            .filter(|entry| !roster.present(&entry.content.author))
            .cloned()
            .collect();
        let spread = &self.spread;
        self.gone.stops.retain(|hash, _| {
            spread.shows(hash) || waiting.iter().any(|entry| entry.hash == *hash)
        });
        for entry in waiting {
            let since = self.gone.stops.entry(entry.hash).or_insert(Some(now));
            if since.is_none_or(|since| now.since(since) < PAST_WITHIN_MS) {
                continue;
            }
            let words = match &entry.content.body {
                Body::Stop(stop) => stop.why.clone(),
                Body::Withdraw(withdraw) => withdraw.why.clone(),
                _ => String::new(),
            };
            if self.stranger_stop(entry.content.author, &words, out) {
                self.gone.stops.insert(entry.hash, None);
                out.push(Effect::Changed);
            }
        }
    }
}
