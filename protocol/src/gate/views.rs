//! Views: what one cut of the log says of crew and plan, worked out once for each distinct set of
//! administrative entries.
//! Owns: the administrative entries and every view so far.   Gives: `View` by cut or by entry.
//! May use: succession, standing, plans, log::graph.   Never: whether an acknowledgement counts.
//!
//! Thousands of entries have the same administrative entries in their past; they share one view, so most
//! questions about "the roster in its past" are answered by comparing a number.

use super::forks::forks_in;
use super::plans::{Cover, Names, PlanAt, Roles};
use super::roster::Roster;
use crate::ids::{DeviceKey, DeviceTag, Person, RoleId};
use crate::log::graph::{Cut, EntryIx, Graph};
use crate::reason::Reason;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// What an administrative entry is, judged by its own past.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Rare {
    Admit,
    Leave,
    Offer {
        role: RoleId,
        from: DeviceKey,
        to: DeviceKey,
    },
    /// Takes a role other than the supervisor's.
    Take {
        offer: EntryIx,
    },
    /// Starts a term by taking the office that was offered.
    Handover {
        parent: EntryIx,
        offer: EntryIx,
    },
    /// Starts a term by a majority; `device` was the supervisor's.
    TakeOver {
        parent: EntryIx,
        attempt: u32,
        device: DeviceKey,
    },
    /// Removes a device for ever.
    Retire {
        device: DeviceKey,
    },
    Amend,
    StepBack,
    ResumeDay,
    Briefed,
}

/// An administrative entry.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct RareEntry {
    pub(super) what: Rare,
    /// The term that its own past ends with; its author is the supervisor of it, where that is asked for.
    pub(super) term: EntryIx,
    /// What it asks to confirm again.
    pub(super) cover: Option<Arc<Cover>>,
}

impl RareEntry {
    /// Of a kind that only a supervisor in office may write.
    pub(super) fn of_supervisor(&self) -> bool {
        matches!(
            self.what,
            Rare::Admit
                | Rare::Offer { .. }
                | Rare::Retire { .. }
                | Rare::Amend
                | Rare::StepBack
                | Rare::ResumeDay
        )
    }
}

/// All administrative entries.
#[derive(Clone, Debug, Default)]
pub(super) struct RareEntries(BTreeMap<EntryIx, RareEntry>);

impl RareEntries {
    pub(super) fn get(&self, ix: EntryIx) -> Option<&RareEntry> {
        self.0.get(&ix)
    }

    pub(super) fn insert(&mut self, ix: EntryIx, entry: RareEntry) {
        self.0.insert(ix, entry);
    }

    pub(super) fn keys(&self) -> impl Iterator<Item = EntryIx> + '_ {
        self.0.keys().copied()
    }
}

/// A device that was taken off, or a role taken from it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Removal {
    /// The entry that did it.
    pub(super) ix: EntryIx,
    pub(super) device: DeviceKey,
    /// The role; `None`: the whole device.
    pub(super) role: Option<RoleId>,
}

/// A present device, ready for the counting.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Present {
    pub(super) key: DeviceKey,
    pub(super) tag: DeviceTag,
    pub(super) person: Person,
    pub(super) roles: Roles,
}

/// Crew and plan at a cut.
#[derive(Clone, Debug)]
pub(super) struct View {
    /// The administrative entries in the cut, ascending.
    pub(super) members: Vec<EntryIx>,
    /// Forked authors and the number where their fork starts.
    pub(super) forks: Vec<(DeviceKey, u32)>,
    /// The entries that start the terms.
    pub(super) terms: Vec<EntryIx>,
    /// Administrative entries of supervisors that stand, in order (term, seq).
    pub(super) standing: Vec<EntryIx>,
    /// Takes of roles that are in effect.
    pub(super) took: Vec<EntryIx>,
    /// No administrative entry of a supervisor in the cut has lost its effect, and no take of a role or office.
    pub(super) all_stand: bool,
    pub(super) roster: Roster,
    /// Present devices, by key.
    pub(super) present: Vec<Present>,
    /// For each role held, the entry that it rests on.
    pub(super) support: BTreeMap<(DeviceKey, RoleId), EntryIx>,
    /// For each device present, the admission it is present by.
    pub(super) admitted: BTreeMap<DeviceKey, EntryIx>,
    /// For each device admitted as another's replacement, that other.
    pub(super) replaces: BTreeMap<DeviceKey, DeviceKey>,
    /// Removals that are in effect.
    pub(super) removals: Vec<Removal>,
    /// Standing amendments.
    pub(super) amends: Vec<EntryIx>,
    pub(super) plan: Arc<PlanAt>,
    /// Standing step backs, amendments and resume-days with what they cover.
    pub(super) covers: Vec<(EntryIx, Arc<Cover>)>,
    /// Devices briefed on the plan as it stands.
    pub(super) briefed: BTreeSet<DeviceKey>,
    /// Devices present at the newest amendment or new day and now that have not been briefed on it.
    pub(super) unbriefed: Vec<DeviceKey>,
    /// What keeps everybody's acknowledgement from counting: forks, vacant roles, briefings.
    pub(super) against_all: Vec<Reason>,
}

impl View {
    /// Number of amendments that stand.
    pub(super) fn version(&self) -> u32 {
        self.amends.len() as u32
    }

    /// Whether an entry of this author with this number is below the author's fork, if there is one.
    pub(super) fn unforked(&self, author: DeviceKey, seq: u32) -> bool {
        self.forks
            .iter()
            .all(|&(forked, from)| forked != author || seq < from)
    }

    /// Whether nothing that this device writes now counts: it has a fork that nobody has settled.
    pub(super) fn is_forked(&self, device: DeviceKey) -> bool {
        !self.unforked(device, u32::MAX)
    }

    /// The last term.
    pub(super) fn term(&self) -> EntryIx {
        self.terms.last().copied().unwrap_or(EntryIx(0))
    }

    /// Whether a grant that a role rests on is in effect.
    pub(super) fn stands(&self, grant: EntryIx) -> bool {
        grant == EntryIx(0)
            || self.standing.contains(&grant)
            || self.terms.contains(&grant)
            || self.took.contains(&grant)
    }

    pub(super) fn present(&self, device: &DeviceKey) -> Option<&Present> {
        self.present
            .binary_search_by(|known| known.key.cmp(device))
            .ok()
            .and_then(|at| self.present.get(at))
    }

    /// The roles held, as bits; none when not present.
    pub(super) fn roles(&self, device: &DeviceKey) -> Roles {
        self.present(device).map_or(0, |present| present.roles)
    }
}

type Key = (Vec<EntryIx>, Vec<(DeviceKey, u32)>);

/// A view's place.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) struct ViewIx(u32);

/// All views so far.
#[derive(Clone, Debug)]
pub(super) struct Views {
    pub(super) names: Names,
    pub(super) rare: RareEntries,
    views: Vec<Arc<View>>,
    by_key: BTreeMap<Key, ViewIx>,
    plans: BTreeMap<Vec<EntryIx>, Arc<PlanAt>>,
    /// For each entry the view of its strict past.
    past: Vec<ViewIx>,
    /// For each entry the view of its past and itself.
    with: Vec<ViewIx>,
    /// The view of everything.
    all: ViewIx,
}

impl Views {
    /// The views of a graph that holds the founding entry only.
    pub(super) fn new(graph: &Graph) -> Self {
        let plan = super::founding(graph).plan.clone();
        let mut names = Names::new(&plan);
        let plan = Arc::new(PlanAt::new(plan, &mut names));
        let mut views = Self {
            names,
            rare: RareEntries::default(),
            views: Vec::new(),
            by_key: BTreeMap::new(),
            plans: BTreeMap::from([(Vec::new(), plan)]),
            past: Vec::new(),
            with: Vec::new(),
            all: ViewIx(0),
        };
        let first = views.intern(graph, (Vec::new(), Vec::new()));
        views.past.push(first);
        views.with.push(first);
        views
    }

    fn intern(&mut self, graph: &Graph, key: Key) -> ViewIx {
        if let Some(&known) = self.by_key.get(&key) {
            return known;
        }
        let view = super::standing::build(
            graph,
            &self.rare,
            &mut self.names,
            &mut self.plans,
            key.clone(),
        );
        let ix = ViewIx(self.views.len() as u32);
        self.views.push(Arc::new(view));
        self.by_key.insert(key, ix);
        ix
    }

    /// The view of the past of the entry that went into the graph last, which is `ix`.
    pub(super) fn note_past(&mut self, graph: &Graph, ix: EntryIx) -> ViewIx {
        let content = graph.content(ix);
        let parents = core::iter::once(&content.prev)
            .chain(&content.heads)
            .filter_map(|hash| graph.find(hash))
            .filter_map(|parent| self.with.get(parent.0 as usize).copied());
        let mut view: Option<ViewIx> = None;
        let mut same = true;
        let mut members: Vec<ViewIx> = Vec::new();
        for parent in parents {
            same &= view.is_none_or(|view| view == parent);
            view = Some(parent);
            members.push(parent);
        }
        let found = match view {
            Some(view) if same && graph.forks().is_empty() => view,
            _ => {
                let mut union: Vec<EntryIx> = members
                    .iter()
                    .flat_map(|&view| self.get(view).members.iter().copied())
                    .collect();
                union.sort_unstable();
                union.dedup();
                let forks = forks_in(graph, graph.past(ix));
                self.intern(graph, (union, forks))
            }
        };
        self.past.push(found);
        found
    }

    /// Says what the newest entry is, after [`Self::note_past`].
    pub(super) fn note_entry(&mut self, graph: &Graph, ix: EntryIx, rare: Option<RareEntry>) {
        let past = self.of(ix);
        match rare {
            None => self.with.push(past),
            Some(entry) => {
                let view = self.get(past);
                let mut key = (view.members.clone(), view.forks.clone());
                key.0.push(ix);
                self.rare.insert(ix, entry);
                let with = self.intern(graph, key);
                self.with.push(with);
            }
        }
    }

    /// Works out the view of everything.
    pub(super) fn settle(&mut self, graph: &Graph) {
        let members: Vec<EntryIx> = self.rare.keys().collect();
        let forks = forks_in(graph, graph.all());
        let now = self.get(self.all);
        if now.members != members || now.forks != forks {
            self.all = self.intern(graph, (members, forks));
        }
    }

    /// The view of any cut.
    pub(super) fn of_cut(&mut self, graph: &Graph, cut: &Cut) -> ViewIx {
        let members: Vec<EntryIx> = self
            .rare
            .keys()
            .filter(|&ix| graph.within(ix, cut))
            .collect();
        let forks = forks_in(graph, cut);
        self.intern(graph, (members, forks))
    }

    pub(super) fn get(&self, ix: ViewIx) -> &View {
        &self.views[ix.0 as usize]
    }

    /// The view of an entry's strict past.
    pub(super) fn of(&self, ix: EntryIx) -> ViewIx {
        self.past[ix.0 as usize]
    }

    /// The view of an entry's strict past.
    pub(super) fn past(&self, ix: EntryIx) -> &View {
        self.get(self.of(ix))
    }

    /// The view of everything, as last settled.
    pub(super) fn now(&self) -> &View {
        self.get(self.all)
    }

    pub(super) fn now_ix(&self) -> ViewIx {
        self.all
    }
}
