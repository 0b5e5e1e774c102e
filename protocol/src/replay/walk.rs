//! Walk: goes along one device's log as that device came to know it, and asks the rule of the call at each place.
//! Owns: a job that holds only what the device had seen.   Gives: `Walk`.
//! May use: gate, state, clocks.   Never: a rule of its own; what the device's links were like, which no log tells.

use super::clocks::Clocks;
use crate::gate::{Job, NotAJob};
use crate::ids::{BootId, DeviceKey};
use crate::log::graph::EntryIx;
use crate::log::sign::Verified;
use crate::state::{Call, Local, call};
use crate::time::{Now, Tick, WallClock};
use crate::watch::Contact;
use std::collections::BTreeMap;

/// What one device knew, from its first entry on.
pub(super) struct Walk<'a> {
    whole: &'a Job,
    clocks: &'a Clocks,
    /// What it holds so far.
    pub(super) job: Job,
    /// How many entries of each chain of the whole log that is.
    have: Vec<u32>,
}

impl<'a> Walk<'a> {
    /// A device that holds the founding entry and nothing else.
    pub(super) fn new(whole: &'a Job, clocks: &'a Clocks) -> Result<Self, NotAJob> {
        let founding = whole
            .graph()
            .iter()
            .next()
            .map(|ix| whole.graph().verified(ix));
        let Some(founding) = founding else {
            // A job without a founding entry cannot be.
            return Err(NotAJob::Kind);
        };
        let mut have = vec![0; whole.graph().chain_count()];
        if let Some(first) = have.first_mut() {
            *first = 1;
        }
        Ok(Self {
            whole,
            clocks,
            job: Job::found(founding)?,
            have,
        })
    }

    /// The device makes an entry of its own: it has seen all of that entry's past.
    pub(super) fn make(&mut self, own: EntryIx) {
        let graph = self.whole.graph();
        let mut news: Vec<EntryIx> = Vec::new();
        for chain in graph.chains() {
            let at = chain.0 as usize;
            let seen = graph.past(own).get(at).copied().unwrap_or(0);
            let Some(have) = self.have.get_mut(at) else {
                continue;
            };
            news.extend((*have..seen).filter_map(|seq| graph.at(chain, seq)));
            *have = seen.max(*have);
        }
        if let Some(have) = self.have.get_mut(graph.chain(own).0 as usize) {
            *have = (*have).max(graph.seq(own).saturating_add(1));
        }
        news.push(own);
        // By place: each after its whole past.
        news.sort_unstable();
        for ix in news {
            let entry: Verified = graph.verified(ix);
            // What went into the whole log goes into a part of it that is whole in itself.
            let _ = self.job.insert(entry);
        }
        self.job.settle();
    }

    /// Whether the device holds an entry of the whole log.
    pub(super) fn holds(&self, ix: EntryIx) -> bool {
        self.whole.graph().within(ix, &self.have)
    }

    /// The call of the device at a time, if all its links were as they should be: what its log allowed.
    pub(super) fn call(&self, device: &DeviceKey, at: WallClock) -> Call {
        let graph = self.job.graph();
        let all = graph.all().to_vec();
        let contacts: Vec<Contact> = self
            .job
            .roster()
            .devices()
            .filter(|other| *other != device)
            .map(|other| Contact {
                device: *other,
                age_ms: Some(0),
                quiet: true,
                level: true,
                holds: all.clone(),
            })
            .collect();
        let age_ms = |ix: EntryIx| {
            let made = self.clocks.made(&self.job, ix);
            u64::try_from(at.0.saturating_sub(made.0)).unwrap_or(0)
        };
        let ages = self.job.plan().conditions.iter().filter_map(|condition| {
            self.job.facts().condition_age(
                graph,
                &all,
                self.job.roster(),
                self.job.plan(),
                condition,
                &|ix| Some(age_ms(ix)),
                &age_ms,
            )
        });
        let ages: Vec<_> = ages.collect();
        let local = Local {
            me: *device,
            boot: BootId(0),
            now: Now {
                tick: Tick(0),
                wall: at,
            },
            contacts: &contacts,
            condition_ages: &ages
                .iter()
                .map(|age| (age.condition.clone(), (age.entry, age.age_ms)))
                .collect(),
            since_out: &ages
                .iter()
                .filter_map(|age| Some((age.condition.clone(), age.since_out_ms?)))
                .collect(),
            entry_ages: &BTreeMap::new(),
            loose_stops: &[],
            off_by: &[],
            recovered: true,
            disk_failed: false,
            page_silent: false,
            steady: true,
            still_so_due: false,
            alarms: &[],
        };
        call(&self.job, &local)
    }
}
