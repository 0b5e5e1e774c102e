//! Job: the log of one job with all that follows from it.
//! Owns: the graph, the facts, the running count.   Gives: `Job`: found, insert, settle.
//! May use: all of gate, log::graph, facts.   Never: this device (state, engine).

use super::records::{ByChain, Records};
use super::roster::Roster;
use super::tally::{Tally, Touched};
use super::views::Views;
use super::world::{Core, World};
use crate::facts::Facts;
use crate::ids::{DeviceKey, JobId, RoleId, StepId};
use crate::log::entry::{Body, Found};
use crate::log::graph::{CannotInsert, EntryIx, Graph, Inserted};
use crate::log::sign::{Verified, is_weak};
use crate::plan::Plan;
use crate::reason::Reason;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

/// Why an entry founds no job.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum NotAJob {
    /// Another kind of entry.
    #[error("found an entry of another kind, expected a founding entry; give the job's own log")]
    Kind,
    /// The author is not a supervisor by its own words.
    #[error(
        "the founder does not hold the role `supervisor`; found the job from the supervisor's device"
    )]
    NoSupervisor,
    /// The author's key is of small order: anybody's signature could be good under it.
    #[error("the founder's key is weak; make a new device key")]
    WeakKey,
    /// It does not go into an empty graph.
    #[error("the founding entry is malformed")]
    Form(#[from] CannotInsert),
}

/// A step, by its number, with what it misses and what stands against it.
pub(super) type Missing = (u16, Vec<Reason>);

/// The log of one job.
#[derive(Clone, Debug)]
pub struct Job {
    pub(super) core: Core,
    pub(super) tally: Tally,
    pub(super) touched: Touched,
    /// The count is up to date.
    pub(super) settled: bool,
    /// Entries that can change what older acknowledgements are worth.
    pub(super) disturbing: ByChain<EntryIx>,
    /// Admissions of each device, standing or not.
    pub(super) admissions: BTreeMap<DeviceKey, Vec<EntryIx>>,
    complete: BTreeSet<StepId>,
    reached: BTreeSet<StepId>,
    /// What each open step misses, by its number. The entries alone say; the call asks at every tick, and a
    /// conflict can stand for an hour, so it is worked out once, when first asked after a change.
    pub(super) open: OnceLock<Arc<[Missing]>>,
}

impl Job {
    /// A job from its founding entry.
    ///
    /// # Errors
    /// [`NotAJob`], when the entry founds none.
    pub fn found(founding: Verified) -> Result<Self, NotAJob> {
        let content = &founding.entry().content;
        let Body::Found(found) = &content.body else {
            return Err(NotAJob::Kind);
        };
        if !found.roles.iter().any(RoleId::is_supervisor) {
            return Err(NotAJob::NoSupervisor);
        }
        if is_weak(&content.author) {
            return Err(NotAJob::WeakKey);
        }
        let mut graph = Graph::new();
        graph.insert(founding)?;
        let views = Views::new(&graph);
        let mut facts = Facts::new();
        {
            let view = views.past(EntryIx(0));
            facts.note(&graph, EntryIx(0), &view.roster, &view.plan.plan, &|| None);
        }
        let mut job = Self {
            core: Core {
                graph,
                views,
                facts,
                records: Records::default(),
                removals: BTreeMap::new(),
                exits: BTreeMap::new(),
                unknown: Vec::new(),
                asks: Vec::new(),
                asks_naming: BTreeMap::new(),
                agrees: BTreeMap::new(),
                declines: BTreeMap::new(),
                heards: BTreeMap::new(),
                proposals: Vec::new(),
                consents: Vec::new(),
                voids: Vec::new(),
                outs: ByChain::default(),
                done_at: BTreeMap::new(),
            },
            tally: Tally::default(),
            touched: Touched {
                everything: true,
                ..Touched::default()
            },
            settled: false,
            disturbing: ByChain::default(),
            admissions: BTreeMap::new(),
            complete: BTreeSet::new(),
            reached: BTreeSet::new(),
            open: OnceLock::new(),
        };
        job.settle();
        Ok(job)
    }

    /// Puts an entry in. Queries hold again after [`Self::settle`].
    ///
    /// # Errors
    /// [`CannotInsert`]; nothing has changed then.
    pub fn insert(&mut self, verified: Verified) -> Result<Inserted, CannotInsert> {
        self.admitted(&verified)?;
        if self.asks_the_past(&verified.entry().content.body) {
            self.settle_count();
        }
        let inserted = self.core.graph.insert(verified)?;
        if let Inserted::New(ix) = inserted {
            if let Body::Admit(admit) = self.core.graph.body(ix) {
                self.admissions.entry(admit.device).or_default().push(ix);
            }
            self.note(ix);
            self.settled = false;
            self.open = OnceLock::new();
        }
        Ok(inserted)
    }

    /// S0: the author is the founder or named by an admission in the entry's past, standing or not. Whoever
    /// has an entry here already was admitted before it.
    fn admitted(&self, verified: &Verified) -> Result<(), CannotInsert> {
        let content = &verified.entry().content;
        let author = content.author;
        let graph = &self.core.graph;
        if content.seq > 0
            || author == graph.author(EntryIx(0))
            || graph.find(&verified.entry().hash).is_some()
        {
            return Ok(());
        }
        let mut heads = Vec::new();
        for head in &content.heads {
            match graph.find(head) {
                Some(ix) => heads.push(ix),
                // The graph says which are missing.
                None => return Ok(()),
            }
        }
        let named = self.admissions.get(&author).is_some_and(|admissions| {
            admissions.iter().any(|&admission| {
                heads
                    .iter()
                    .any(|&head| head == admission || graph.before(admission, head))
            })
        });
        if named {
            Ok(())
        } else {
            Err(CannotInsert::NotAdmitted { author })
        }
    }

    /// Works out what the entries put in since the last call have changed. All queries are about the entries
    /// at the last call.
    pub fn settle(&mut self) {
        self.settle_count();
        self.open = OnceLock::new();
        let world = World::now(&self.core, &self.tally);
        let plan = &world.view.plan;
        let mut steps = world.core.tallied(&self.tally);
        self.complete = plan.ids(&steps);
        for done in self.core.done_at.values() {
            steps.add(done);
        }
        self.reached = plan.ids(&steps);
    }

    fn settle_count(&mut self) {
        if self.settled {
            return;
        }
        let before = self.core.views.now_ix();
        self.core.views.settle(&self.core.graph);
        if self.core.views.now_ix() != before {
            let (was, now) = (self.core.views.get(before), self.core.views.now());
            // A term, a fork or a lost standing can give back what was taken.
            self.touched.everything |= !now.terms.starts_with(&was.terms)
                || now.terms.len() != was.terms.len()
                || now.forks != was.forks
                || was.all_stand != now.all_stand
                || !now.all_stand;
        }
        let touched = core::mem::take(&mut self.touched);
        self.tally.settle(&self.core, &touched);
        self.settled = true;
    }

    /// The job's id.
    #[must_use]
    pub fn id(&self) -> JobId {
        JobId::from(self.core.graph.hash(EntryIx(0)))
    }

    /// The entries.
    #[must_use]
    pub fn graph(&self) -> &Graph {
        &self.core.graph
    }

    /// What the entries say of the work itself.
    #[must_use]
    pub fn facts(&self) -> &Facts {
        &self.core.facts
    }

    /// What founded it.
    #[must_use]
    pub fn founding(&self) -> &Found {
        super::founding(&self.core.graph)
    }

    /// The plan as amended.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        &self.core.views.now().plan.plan
    }

    /// Number of amendments that stand.
    #[must_use]
    pub fn plan_version(&self) -> u32 {
        self.core.views.now().version()
    }

    /// The plan as the author of an entry knew it.
    #[must_use]
    pub fn plan_in_past(&self, ix: EntryIx) -> &Plan {
        &self.core.views.past(ix).plan.plan
    }

    /// Who is on the job.
    #[must_use]
    pub fn roster(&self) -> &Roster {
        &self.core.views.now().roster
    }

    /// The device whose office the supervisor's is, also when it has left the job: from which another takes over.
    #[must_use]
    pub fn office(&self) -> DeviceKey {
        self.core.graph.author(self.core.views.now().term())
    }

    /// Who was on the job as the author of an entry knew it.
    #[must_use]
    pub fn roster_in_past(&self, ix: EntryIx) -> &Roster {
        &self.core.views.past(ix).roster
    }

    /// Whether a device's holder is briefed on the plan as it stands.
    #[must_use]
    pub fn briefed(&self, device: &DeviceKey) -> bool {
        self.core.views.now().briefed.contains(device)
    }

    /// Steps that are complete.
    #[must_use]
    pub fn complete(&self) -> &BTreeSet<StepId> {
        &self.complete
    }

    /// Steps that are complete or were, in what somebody had seen: how far the crew physically is, whatever
    /// was taken back since.
    #[must_use]
    pub fn reached(&self) -> &BTreeSet<StepId> {
        &self.reached
    }

    pub(super) fn now(&self) -> World<'_> {
        World::now(&self.core, &self.tally)
    }
}
