//! Calls: what this device tells its holder now, and what only it knows that goes into that.
//! Owns: nothing beyond what sounds.   Gives: call, status, evidence, contacts; worked out anew each time.
//! May use: state, watch, births.   Never: words for people (node), rules (gate, state).

use crate::bounds::PAGE_LIMIT_MS;
use crate::engine::device::{Engine, is_news};
use crate::engine::memory::changes;
use crate::engine::output::{Alarm, Effect};
use crate::facts;
use crate::gate::Verdict;
use crate::ids::{ConditionId, DeviceKey, DeviceTag, EntryHash, StepId};
use crate::log::entry::{Body, ConditionAge, Evidence, Proof, StopKind};
use crate::log::graph::EntryIx;
use crate::log::wire::Entry;
use crate::reason::Reason;
use crate::state::{Call, CallWord, Hears, Local, Overview, Pressing, Status};
use crate::time::Now;
use crate::watch::{Contact, Standing};
use std::collections::{BTreeMap, BTreeSet};

/// The alarm for a value beyond its limit sounds so long, ms.
pub(super) const CLEARANCE_SOUNDS_MS: u64 = 5_000;
/// Another's value that is at most so old sounds here as well, ms; an older one is history that came late.
const YOUNG_VALUE_MS: u64 = 10_000;
/// Ages of entries younger than this go into the status: longer than any ready or timer that is shown, ms.
const ENTRY_AGES_MS: u64 = 30 * 60 * 1_000;

/// What of a call makes a page read it anew; ages change all the time and are read with it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct CallKey {
    word: CallWord,
    step: Option<StepId>,
    by_loss: bool,
    codes: Vec<&'static str>,
}

/// Values that a [`Local`] borrows.
struct Scratch {
    contacts: Vec<Contact>,
    condition_ages: BTreeMap<ConditionId, (EntryHash, u64)>,
    since_out: BTreeMap<ConditionId, u64>,
    entry_ages: BTreeMap<EntryHash, u64>,
    loose_stops: Vec<Entry>,
    alarms: Vec<Alarm>,
}

impl Engine {
    /// The three words now.
    #[must_use]
    pub fn call(&self, now: Now) -> Call {
        let now = self.not_before(now);
        let scratch = self.scratch(now, false);
        crate::state::call(&self.job, &self.local(now, &scratch))
    }

    /// All that this device shows its holder now.
    #[must_use]
    pub fn status(&self, now: Now) -> Status {
        let now = self.not_before(now);
        let scratch = self.scratch(now, true);
        crate::state::status(&self.job, &self.local(now, &scratch))
    }

    /// The call as it was shown last, and whether it is a Hold by loss; `None`: nothing was yet.
    #[must_use]
    pub fn shown(&self) -> Option<(CallWord, bool)> {
        self.last_call.as_ref().map(|key| (key.word, key.by_loss))
    }

    /// Stops in force, each with the other devices that are known to hold it.
    #[must_use]
    pub fn stop_holders(&self, now: Now) -> Vec<(EntryHash, DeviceKey)> {
        let graph = self.job.graph();
        let contacts = self.contacts(self.not_before(now));
        let stops = self.job.in_force().into_iter();
        stops
            .flat_map(|stop| {
                let holders = contacts.iter().filter(move |one| {
                    graph.author(stop) == one.device || graph.within(stop, &one.holds)
                });
                holders.map(move |one| (graph.hash(stop), one.device))
            })
            .collect()
    }

    /// What is known here of the crew as a whole.
    #[must_use]
    pub fn overview(&self, now: Now) -> Overview {
        let now = self.not_before(now);
        let scratch = self.scratch(now, false);
        let devices: Vec<DeviceKey> = self.job.roster().devices().copied().collect();
        let mut hears = Vec::new();
        for by in &devices {
            for of in devices.iter().filter(|of| *of != by) {
                if let Some(age_ms) = self.watch.hears(by, of, now.tick) {
                    hears.push(Hears {
                        by: *by,
                        of: *of,
                        age_ms,
                    });
                }
            }
        }
        crate::state::overview(&self.job, &self.local(now, &scratch), hears)
    }

    fn not_before(&self, now: Now) -> Now {
        Now {
            tick: now.tick.max(self.now.tick),
            wall: now.wall,
        }
    }

    /// One for every other present device.
    #[must_use]
    pub fn contacts(&self, now: Now) -> Vec<Contact> {
        let by_others = self.known_by_others();
        self.others()
            .iter()
            .map(|device| {
                let standing = self.watch.standing(device, now.tick);
                Contact {
                    device: *device,
                    age_ms: standing.age_ms,
                    quiet: standing.quiet,
                    level: standing.age_ms.is_some()
                        && self.is_level(device, &standing, &by_others),
                    holds: self.as_cut(&standing.have),
                }
            })
            .collect()
    }

    /// How many entries of a device are applied here, on the longest of its branches.
    pub(super) fn held_of(&self, device: &DeviceKey) -> u32 {
        let graph = self.job.graph();
        graph
            .chains_of(*device)
            .filter_map(|chain| graph.last(chain))
            .map(|last| graph.seq(last) + 1)
            .max()
            .unwrap_or(0)
    }

    /// The most that any other device was proved to hold of each author.
    fn known_by_others(&self) -> Vec<(DeviceTag, u32)> {
        let mut known: Vec<(DeviceTag, u32)> = Vec::with_capacity(self.others().len() + 1);
        for have in self
            .others()
            .iter()
            .filter_map(|other| self.watch.proved_have(other))
        {
            for (author, count) in have {
                match known.iter_mut().find(|(tag, _)| tag == author) {
                    Some((_, most)) => *most = (*most).max(*count),
                    None => known.push((*author, *count)),
                }
            }
        }
        known
    }

    /// LEVEL: whether all is here that a device is known to have said, by its own word and by what the others
    /// hold of it: a stop that it lost with its power is known to them alone.
    fn is_level(
        &self,
        device: &DeviceKey,
        standing: &Standing,
        by_others: &[(DeviceTag, u32)],
    ) -> bool {
        let tag = device.tag();
        let known = by_others
            .iter()
            .find(|(author, _)| *author == tag)
            .map_or(0, |(_, count)| *count);
        self.held_of(device) >= known.max(standing.head)
    }

    /// Heights as a cut of this device's graph; branches of forks are held by nobody for sure.
    fn as_cut(&self, have: &crate::sync::Heights) -> Vec<u32> {
        let graph = self.job.graph();
        let mut seen = BTreeSet::new();
        // Only a fork gives an author a second chain.
        let forked = !graph.forks().is_empty();
        graph
            .chains()
            .map(|chain| {
                let author = graph.chain_author(chain);
                if !forked || seen.insert(author) {
                    have.get(&author.tag()).copied().unwrap_or(0)
                } else {
                    0
                }
            })
            .collect()
    }

    /// The ages of single entries are for the status alone: no call depends on them.
    fn scratch(&self, now: Now, with_entry_ages: bool) -> Scratch {
        let graph = self.job.graph();
        let plan = self.job.plan();
        let mut condition_ages = BTreeMap::new();
        let mut since_out = BTreeMap::new();
        for (condition, rests) in plan.conditions.iter().zip(&self.settled.rests) {
            if let Some(age) = self.condition_age(condition, rests, now) {
                condition_ages.insert(condition.id.clone(), (age.entry, age.age_ms));
                if let Some(since) = age.since_out_ms {
                    since_out.insert(condition.id.clone(), since);
                }
            } else if let Some(since) = self.since_out(rests, now) {
                since_out.insert(condition.id.clone(), since);
            }
        }
        let mut entry_ages = BTreeMap::new();
        let young = with_entry_ages.then(|| self.births.younger_than(ENTRY_AGES_MS, now.tick));
        for ((author, seq), age) in young.into_iter().flatten() {
            let found = graph
                .chains_of(*author)
                .find_map(|chain| graph.at(chain, *seq));
            if let Some(ix) = found {
                entry_ages.insert(graph.hash(ix), age);
            }
        }
        Scratch {
            contacts: self.contacts(now),
            condition_ages,
            since_out,
            entry_ages,
            loose_stops: self.loose_stops(),
            alarms: self.alarms.iter().copied().collect(),
        }
    }

    fn local<'a>(&'a self, now: Now, scratch: &'a Scratch) -> Local<'a> {
        Local {
            me: self.me,
            boot: self.boot,
            now,
            contacts: &scratch.contacts,
            condition_ages: &scratch.condition_ages,
            since_out: &scratch.since_out,
            entry_ages: &scratch.entry_ages,
            loose_stops: &scratch.loose_stops,
            off_by: self.links.off_by(),
            recovered: self.recovered,
            disk_failed: self.disk_failed_at.is_some(),
            page_silent: self.page_silent_at(now),
            steady: self.memory.steady(),
            still_so_due: self.memory.still_so_due,
            alarms: &scratch.alarms,
        }
    }

    /// PAGE: whether this device has a page and it has been silent for over the limit.
    pub(super) fn page_silent(&self) -> bool {
        self.page_silent_at(self.now)
    }

    fn page_silent_at(&self, now: Now) -> bool {
        self.page_at
            .is_some_and(|at| now.tick.since(at) > PAGE_LIMIT_MS)
    }

    /// Time since an entry at least, ms: since it arrived here, or since this device started.
    fn least_age_ms(&self, ix: EntryIx, now: Now) -> u64 {
        now.tick.since(self.arrived.at(ix))
    }

    /// Time since an entry at most, ms; `None`: it could be any.
    pub(super) fn most_age_ms(&self, ix: EntryIx, now: Now) -> Option<u64> {
        let graph = self.job.graph();
        self.births
            .age_ms(&(graph.author(ix), graph.seq(ix)), now.tick)
    }

    fn condition_age(
        &self,
        condition: &crate::plan::Condition,
        rests: &facts::Rests,
        now: Now,
    ) -> Option<ConditionAge> {
        let graph = self.job.graph();
        self.job.facts().age_resting_on(
            graph,
            condition,
            rests,
            &|ix| self.most_age_ms(ix, now),
            &|ix| self.least_age_ms(ix, now),
        )
    }

    fn since_out(&self, rests: &facts::Rests, now: Now) -> Option<u64> {
        let facts = self.job.facts();
        rests
            .timers
            .iter()
            .map(|&timer| {
                let most = self.most_age_ms(timer, now);
                facts.since_ms(timer, most, self.least_age_ms(timer, now))
            })
            .min()
    }

    /// What an entry written now carries: the proof of every other present device, and the conditions that
    /// cover the steps (for no steps: all).
    pub(super) fn evidence(&self, steps: &[StepId]) -> Evidence {
        let held = &self.settled.held;
        let by_others = self.known_by_others();
        let proofs = self
            .others()
            .iter()
            .filter_map(|device| {
                let standing = self.watch.standing(device, self.now.tick);
                // A proof that was not quiet proves nothing here: a stop may be behind it. Nor does one of a
                // device that is known to have said more than is here: that may be a stop (KNOWN).
                if !standing.quiet || !self.is_level(device, &standing, &by_others) {
                    return None;
                }
                let behind = held
                    .iter()
                    .filter_map(|(author, count)| {
                        let theirs = standing.have.get(author).copied().unwrap_or(0);
                        let less = count.saturating_sub(theirs);
                        (less > 0).then_some((*author, less))
                    })
                    .collect();
                Some(Proof {
                    device: device.tag(),
                    age_ms: u32::try_from(standing.age_ms?).unwrap_or(u32::MAX),
                    behind,
                })
            })
            .collect();
        let conditions = self
            .job
            .plan()
            .conditions
            .iter()
            .zip(&self.settled.rests)
            .filter(|(condition, _)| facts::covers(condition, steps))
            .filter_map(|(condition, rests)| self.condition_age(condition, rests, self.now))
            .collect();
        Evidence { proofs, conditions }
    }

    /// Age of the oldest proof of life of the other present devices, ms; `None`: of some there is none.
    fn oldest_proof_ms(&self) -> Option<u64> {
        self.others().iter().try_fold(0, |oldest, device| {
            let since = self.watch.proved_at(device)?;
            Some(self.now.tick.since(since).max(oldest))
        })
    }

    /// Looks at the call at every tick and after every input that changed what is shown: what a page must
    /// read anew, and what sounds. Losses are noted at every input, so that none is missed between two ticks.
    pub(super) fn look_at_call(&mut self, out: &mut Vec<Effect>) {
        let limit = self.job.plan().times.watch_limit_ms;
        self.memory
            .update(self.oldest_proof_ms(), limit, self.now.tick);
        if !self.is_tick_due() && !is_news(out) {
            return;
        }
        let scratch = self.scratch(self.now, false);
        let local = self.local(self.now, &scratch);
        let call = crate::state::call(&self.job, &local);
        let pressing = crate::state::pressing(&self.job, &local);
        let key = CallKey {
            word: call.word,
            step: call.step.clone(),
            by_loss: call.by_loss,
            codes: call
                .reasons
                .iter()
                .map(crate::reason::Reason::code)
                .collect(),
        };
        self.loss_alarm = call.word == CallWord::Hold
            && call.by_loss
            && (self.loss_alarm
                || self
                    .last_call
                    .as_ref()
                    .is_some_and(|last| last.word == CallWord::Proceed));
        let wanted = self.wanted_alarms(&pressing);
        for (alarm, on) in changes(&self.alarms, &wanted) {
            out.push(Effect::Alarm { alarm, on });
        }
        let same = self.last_call.as_ref() == Some(&key) && self.alarms == wanted;
        self.alarms = wanted;
        self.last_call = Some(key);
        if !same && !is_news(out) {
            out.push(Effect::Changed);
        }
    }

    /// CLEARANCE: a young value beyond its limit sounds on every device that has it. While a look is kept back from
    /// this device it does not: that it did not pass would be told. It does once it may be shown, if it is young
    /// still.
    pub(super) fn look_at_new_values(&mut self) {
        let values = core::mem::take(&mut self.new_values);
        for ix in values {
            if self
                .most_age_ms(ix, self.now)
                .is_none_or(|age_ms| age_ms > YOUNG_VALUE_MS)
            {
                continue;
            }
            if crate::state::is_kept_back_from(&self.job, &self.me, ix) {
                self.new_values.push(ix);
            } else if let Verdict::NotCounted(reasons) = self.job.verdict(ix)
                && reasons
                    .iter()
                    .any(|reason| matches!(reason, Reason::OutOfLimit { .. }))
            {
                self.clearance_until = self.now.tick.plus(CLEARANCE_SOUNDS_MS);
            }
        }
    }

    fn wanted_alarms(&self, pressing: &Pressing) -> BTreeSet<Alarm> {
        let mut wanted = BTreeSet::new();
        let mut sound = |alarm, when: bool| {
            if when {
                wanted.insert(alarm);
            }
        };
        sound(Alarm::Stop, pressing.stop_to_hear);
        sound(Alarm::HoldByLoss, self.loss_alarm);
        sound(Alarm::Clearance, self.now.tick < self.clearance_until);
        let graph = self.job.graph();
        let strangers_stop = self.job.in_force().into_iter().any(|stop| {
            matches!(graph.body(stop), Body::Stop(stop)
                if matches!(stop.kind, StopKind::Stranger { .. }))
        });
        let unknown = self.gone.unknown_sounds(self.now.tick);
        sound(Alarm::UnknownDevice, strangers_stop || unknown);
        sound(Alarm::Call, pressing.in_the_clear);
        sound(Alarm::Fork, !self.job.forks_open().is_empty());
        wanted
    }
}
