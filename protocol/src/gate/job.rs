//! Job: the log of one job with all that follows from it.
//! Owns: the graph and what was worked out of it.   Gives: `Job`: found, insert, settle, ask.
//! May use: all of gate, log::graph.   Never: this device (state, engine).

use super::office::{self, Act};
use super::roster::Roster;
use super::views::Views;
use crate::ids::{DeviceKey, JobId, RoleId};
use crate::log::entry::{Body, Found};
use crate::log::graph::{CannotInsert, EntryIx, Graph, Inserted};
use crate::log::sign::{Verified, is_weak};
use crate::plan::Plan;

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

/// The log of one job.
#[derive(Debug)]
pub struct Job {
    graph: Graph,
    views: Views,
    /// Admissions of each device, standing or not.
    admissions: std::collections::BTreeMap<DeviceKey, Vec<EntryIx>>,
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
        Ok(Self {
            graph,
            views,
            admissions: std::collections::BTreeMap::new(),
        })
    }

    /// Puts an entry in. Queries hold again after [`Self::settle`].
    ///
    /// # Errors
    /// [`CannotInsert`]; nothing has changed then.
    pub fn insert(&mut self, verified: Verified) -> Result<Inserted, CannotInsert> {
        self.admitted(&verified)?;
        let inserted = self.graph.insert(verified)?;
        if let Inserted::New(ix) = inserted {
            self.views.note_past(&self.graph, ix);
            self.note(ix);
        }
        Ok(inserted)
    }

    /// S0: the author is the founder or named by an admission in the entry's past, standing or not. Whoever
    /// has an entry here already was admitted before it.
    fn admitted(&self, verified: &Verified) -> Result<(), CannotInsert> {
        let content = &verified.entry().content;
        let author = content.author;
        if content.seq > 0
            || author == self.graph.author(EntryIx(0))
            || self.graph.find(&verified.entry().hash).is_some()
        {
            return Ok(());
        }
        let mut heads = Vec::new();
        for head in &content.heads {
            match self.graph.find(head) {
                Some(ix) => heads.push(ix),
                // The graph says which are missing.
                None => return Ok(()),
            }
        }
        let named = self.admissions.get(&author).is_some_and(|admissions| {
            admissions.iter().any(|&admission| {
                heads
                    .iter()
                    .any(|&head| head == admission || self.graph.before(admission, head))
            })
        });
        if named {
            Ok(())
        } else {
            Err(CannotInsert::NotAdmitted { author })
        }
    }

    fn note(&mut self, ix: EntryIx) {
        let graph = &self.graph;
        if let Body::Admit(admit) = graph.body(ix) {
            self.admissions.entry(admit.device).or_default().push(ix);
        }
        let mut names = core::mem::take(&mut self.views.names);
        let act = Act {
            graph,
            rare: &self.views.rare,
            view: self.views.past(ix),
            past: graph.past(ix),
            author: graph.author(ix),
            seq: graph.seq(ix),
            body: graph.body(ix),
        };
        let rare = office::judge(&act, &mut names).unwrap_or_default();
        self.views.names = names;
        self.views.note_entry(graph, ix, rare);
    }

    /// Works out what the entries put in since the last call have changed.
    pub fn settle(&mut self) {
        self.views.settle(&self.graph);
    }

    /// The job's id.
    #[must_use]
    pub fn id(&self) -> JobId {
        JobId::from(self.graph.hash(EntryIx(0)))
    }

    /// The entries.
    #[must_use]
    pub fn graph(&self) -> &Graph {
        &self.graph
    }

    /// What founded it.
    #[must_use]
    pub fn founding(&self) -> &Found {
        super::founding(&self.graph)
    }

    /// The plan as amended.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        &self.views.now().plan.plan
    }

    /// Number of amendments that stand.
    #[must_use]
    pub fn plan_version(&self) -> u32 {
        self.views.now().version()
    }

    /// The plan as the author of an entry knew it.
    #[must_use]
    pub fn plan_in_past(&self, ix: EntryIx) -> &Plan {
        &self.views.past(ix).plan.plan
    }

    /// Who is on the job.
    #[must_use]
    pub fn roster(&self) -> &Roster {
        &self.views.now().roster
    }

    /// Who was on the job as the author of an entry knew it.
    #[must_use]
    pub fn roster_in_past(&self, ix: EntryIx) -> &Roster {
        &self.views.past(ix).roster
    }

    /// Whether a device's holder is briefed on the plan as it stands.
    #[must_use]
    pub fn briefed(&self, device: &DeviceKey) -> bool {
        self.views.now().briefed.contains(device)
    }

    /// Present devices with a fork that nobody has settled.
    #[must_use]
    pub fn forks_open(&self) -> Vec<DeviceKey> {
        let view = self.views.now();
        view.forks
            .iter()
            .map(|&(device, _)| device)
            .filter(|device| view.roster.present(device))
            .collect()
    }
}
