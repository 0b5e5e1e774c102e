//! Acts: what a node writes by itself, so that no rule waits for a finger where none is needed.
//! Owns: when it last did so.   Gives: Release, Seal, Consent, ClockSample, notes of refused presses.
//! May use: gate's drafts, watch.   Never: a rule of its own: each is due when the gate says so.

use crate::engine::device::Engine;
use crate::engine::output::Effect;
use crate::ids::{DeviceKey, EntryHash};
use crate::log::entry::{Body, ClockSample, ProposalNamed};
use crate::time::{Now, Tick, WallClock};
use std::collections::{BTreeMap, VecDeque};

/// Clocks of one device are compared so often, ms, and first after the shorter time.
const CLOCK_AGAIN_MS: u64 = 15 * 60 * 1_000;
const CLOCK_FIRST_MS: u64 = 60_000;
/// A comparison with more doubt than this says too little, ms.
const CLOCK_DOUBT_MAX_MS: u64 = 1_000;
/// The same press, refused for the same reasons, is noted again only after so long, ms.
const REFUSED_AGAIN_MS: u64 = 60_000;
/// At most so many notes of refused presses in so long, so that they cannot flood a log.
const REFUSED_MOST: usize = 20;
const REFUSED_WINDOW_MS: u64 = 10 * 60 * 1_000;

/// An act without effect is written again after 1 s, then 2, 4 and so on: half of the first wait, and the longest, ms.
const AGAIN_FIRST_MS: u64 = 500;
const AGAIN_MOST_MS: u64 = 60_000;

#[derive(Clone, Copy, Debug)]
struct ClockHeard {
    ahead_ms: i64,
    doubt_ms: u64,
}

/// What a node remembers of its own acts.
#[derive(Clone, Debug, Default)]
pub(super) struct Acts {
    clocks: BTreeMap<DeviceKey, ClockHeard>,
    sampled: BTreeMap<DeviceKey, Tick>,
    /// What a node wrote by itself: what it was about, how often, and when last.
    written: BTreeMap<EntryHash, (u32, Tick)>,
    refused: BTreeMap<(String, Vec<String>), Tick>,
    refused_at: VecDeque<Tick>,
}

impl Acts {
    /// A beacon that echoes one sent at `since` said what its author's wall clock is: it was made between
    /// then and now.
    pub(super) fn clock_heard(
        &mut self,
        device: DeviceKey,
        theirs: WallClock,
        since: Tick,
        now: Now,
    ) {
        let trip_ms = now.tick.since(since);
        let half = i64::try_from(trip_ms / 2).unwrap_or(i64::MAX);
        let heard = ClockHeard {
            ahead_ms: theirs.0.saturating_sub(now.wall.0.saturating_sub(half)),
            doubt_ms: trip_ms / 2,
        };
        self.clocks.insert(device, heard);
    }

    /// The next comparison to log, if one is due.
    fn clock_sample(
        &mut self,
        others: &[DeviceKey],
        opened: Tick,
        now: Tick,
    ) -> Option<ClockSample> {
        if now.since(opened) < CLOCK_FIRST_MS {
            return None;
        }
        let device = others.iter().find(|device| {
            self.clocks
                .get(device)
                .is_some_and(|heard| heard.doubt_ms <= CLOCK_DOUBT_MAX_MS)
                && self
                    .sampled
                    .get(device)
                    .is_none_or(|at| now.since(*at) >= CLOCK_AGAIN_MS)
        })?;
        let heard = self.clocks.get(device)?;
        self.sampled.insert(*device, now);
        Some(ClockSample {
            device: device.tag(),
            ahead_ms: heard.ahead_ms,
            doubt_ms: u32::try_from(heard.doubt_ms).unwrap_or(u32::MAX),
        })
    }

    /// Whether an act is to be written now. What is due again although it was written has had no effect: it is
    /// tried less and less often, so that it cannot flood a log.
    fn may_write(&mut self, body: &Body, now: Tick) -> bool {
        let about = match body {
            Body::Release(release) => release.ask,
            Body::Seal(seal) => seal.proposal,
            Body::Consent(consent) => consent.proposal,
            _ => return true,
        };
        self.written
            .retain(|_, (_, at)| now.since(*at) < 2 * AGAIN_MOST_MS);
        let (times, at) = self.written.get(&about).copied().unwrap_or((0, now));
        let wait_ms = AGAIN_FIRST_MS
            .saturating_mul(1 << times.min(16))
            .min(AGAIN_MOST_MS);
        if times > 0 && now.since(at) < wait_ms {
            return false;
        }
        self.written.insert(about, (times + 1, now));
        true
    }

    /// Whether a refused press is to be noted: not the same again, and not too many.
    pub(super) fn refused(&mut self, what: &str, codes: &[String], now: Tick) -> bool {
        self.refused
            .retain(|_, at| now.since(*at) < REFUSED_AGAIN_MS);
        while self
            .refused_at
            .front()
            .is_some_and(|at| now.since(*at) >= REFUSED_WINDOW_MS)
        {
            self.refused_at.pop_front();
        }
        let key = (what.to_owned(), codes.to_vec());
        if self.refused.contains_key(&key) || self.refused_at.len() >= REFUSED_MOST {
            return false;
        }
        self.refused.insert(key, now);
        self.refused_at.push_back(now);
        true
    }
}

impl Engine {
    /// Writes at most one entry that is due, once what was written before is on disk.
    pub(super) fn act_by_itself(&mut self, out: &mut Vec<Effect>) {
        if !self.own.pending.is_empty()
            || !self.recovered
            || self.disk_failed_at.is_some()
            || !self.job.roster().present(&self.me)
        {
            return;
        }
        let body = self
            .release_due()
            .or_else(|| self.job.seal_due(self.me).map(Body::Seal))
            .or_else(|| self.consent_due())
            .or_else(|| {
                // A closed log is handed over: clocks are compared for the replay of the work, which is done.
                if self.job.is_closed() {
                    return None;
                }
                let others = self.told_peers.clone().unwrap_or_default();
                self.acts
                    .clock_sample(&others, self.opened_at, self.now.tick)
                    .map(Body::ClockSample)
            });
        if let Some(body) = body
            && self.acts.may_write(&body, self.now.tick)
        {
            let _ = self.write(body, None, out);
        }
    }

    /// RELEASE: everything that it needs is there, and its evidence is in bounds now.
    fn release_due(&self) -> Option<Body> {
        let mut release = self.job.release_due(self.me)?;
        release.evidence = self.evidence(&[]);
        let body = Body::Release(release);
        self.job.judge(self.me, &body).is_empty().then_some(body)
    }

    /// REMOVAL: a node consents by itself when it has had no proof of life from the device for
    /// `lost_after`, and always for a forked one (FORK). While its own proof is fresh it does not; between
    /// the two it asks its holder.
    fn consent_due(&self) -> Option<Body> {
        let lost_after_ms = self.job.plan().times.lost_after_ms;
        let forked = self.job.forks_open();
        if forked.contains(&self.me) {
            return None;
        }
        let graph = self.job.graph();
        self.job.proposals().into_iter().find_map(|proposal| {
            let lost = match self.watch.proved_at(&proposal.device) {
                Some(since) => self.now.tick.since(since) >= lost_after_ms,
                // Nothing heard since this start: only time that this device itself has listened counts.
                None => self.now.tick.since(self.opened_at) >= lost_after_ms,
            };
            let mine = proposal.device != self.me
                && graph.author(proposal.entry) != self.me
                && !proposal.consents.contains(&self.me);
            let body = Body::Consent(ProposalNamed {
                proposal: graph.hash(proposal.entry),
            });
            (mine
                && (lost || forked.contains(&proposal.device))
                && self.job.judge(self.me, &body).is_empty())
            .then_some(body)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refused_presses_are_noted_once_a_minute_and_never_flood() {
        let mut acts = Acts::default();
        let codes = vec!["stale".to_owned()];
        assert!(acts.refused("acknowledge a/b", &codes, Tick(0)));
        assert!(!acts.refused("acknowledge a/b", &codes, Tick(59_999)));
        assert!(acts.refused("acknowledge a/b", &codes, Tick(60_000)));
        let noted = (0..100)
            .filter(|n| acts.refused(&format!("acknowledge a/{n}"), &codes, Tick(60_000)))
            .count();
        assert_eq!(noted, REFUSED_MOST - 2);
        assert!(acts.refused("x", &codes, Tick(60_000 + REFUSED_WINDOW_MS)));
    }

    #[test]
    fn an_act_that_has_no_effect_is_tried_less_and_less_often() {
        let mut acts = Acts::default();
        let consent = |number: u8| {
            Body::Consent(ProposalNamed {
                proposal: EntryHash([number; 32]),
            })
        };
        let tried: Vec<u64> = (0..6_000)
            .map(|tick| tick * 100)
            .filter(|&at| acts.may_write(&consent(1), Tick(at)))
            .collect();
        assert_eq!(tried[..6], [0, 1_000, 3_000, 7_000, 15_000, 31_000]);
        let gaps: Vec<u64> = tried.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert!(
            gaps[6..].iter().all(|gap| *gap == AGAIN_MOST_MS),
            "{gaps:?}"
        );
        // Another one does not wait for it.
        assert!(acts.may_write(&consent(2), Tick(600_000)));
    }

    #[test]
    fn a_clock_comparison_says_how_sure_it_is() {
        let mut acts = Acts::default();
        let other = DeviceKey([2; 32]);
        let now = Now {
            tick: Tick(100_400),
            wall: WallClock(5_000_400),
        };
        acts.clock_heard(other, WallClock(5_001_200), Tick(100_000), now);
        assert_eq!(
            acts.clock_sample(&[other], Tick(99_000), Tick(100_400)),
            None
        );
        let sample = acts.clock_sample(&[other], Tick(0), Tick(100_400));
        let expected = ClockSample {
            device: other.tag(),
            ahead_ms: 1_000,
            doubt_ms: 200,
        };
        assert_eq!(sample, Some(expected));
        assert_eq!(acts.clock_sample(&[other], Tick(0), Tick(200_000)), None);
    }
}
