//! Facts: what the entries say of the work itself: items, loads, conditions, the order, heads, marks.
//! Owns: an index by kind, filled when an entry comes in.   Gives: queries over a cut of the log and a plan.
//! May use: log, plan, gate::roster.   Never: which acknowledgements count (gate), a clock, this device.
//!
//! In reading order: `trail` the index · `answers` what an acknowledgement may say · `custody` and
//! `fitness` of items · `conditions` · `order` · `heads` · `marks` · `said` on checks ·
//! `notes` · `ends` of the job.
//!
//! What an author was when it spoke (owner, present, receiver) is a fact of the entry's own past: it is
//! settled in [`Facts::note`] and never changes. Everything else is asked of a cut.

mod answers;
mod conditions;
mod custody;
mod ends;
mod fitness;
mod heads;
mod marks;
mod notes;
mod order;
mod said;
#[cfg(test)]
mod testkit;
#[cfg(test)]
mod tests;
mod trail;

pub use answers::{answer_form, limit_as_shown, within};
pub use conditions::{Asked, ConditionView, Rests, affirm_against, covers};
pub use custody::{CustodyView, OfferView, ToolCounts};
pub use ends::Whereabouts;
pub use heads::{HeadsView, count_as_known};
pub use marks::{MarkView, marks, marks_for, marks_ready};
pub use notes::Attempt;
pub use order::{OrderView, order_against};

use crate::gate::Roster;
use crate::ids::{CheckId, ConditionId, EntryHash, ItemId, StepId};
use crate::log::entry::{Body, NoteKind, StopKind};
use crate::log::graph::{Cut, EntryIx, Graph};
use crate::plan::Plan;
use std::collections::BTreeMap;
use trail::Trail;

/// The index of one job's log by what the entries are about.
#[derive(Clone, Debug, Default)]
pub struct Facts {
    /// Longest way from the founding entry, for each entry: an order that every device finds alike.
    heights: Vec<u32>,
    items: BTreeMap<ItemId, custody::ItemTrail>,
    offers: BTreeMap<EntryIx, custody::OfferTrail>,
    /// Handoff entries that do not count, and why; settled by their own past.
    void_handoffs: BTreeMap<EntryIx, Vec<crate::reason::Reason>>,
    conditions: BTreeMap<ConditionId, conditions::ConditionTrail>,
    /// For each entry that a timer runs from, the longest time since it that any evidence has told, ms.
    told: BTreeMap<EntryIx, u64>,
    orders: Trail<order::Said>,
    heads: Trail<()>,
    leaves: Trail<()>,
    identities: Trail<()>,
    /// Offers of roles.
    role_offers: Trail<()>,
    accepts: Trail<()>,
    late: Trail<()>,
    reviews: Trail<()>,
    stop_reasons: Trail<()>,
    still_so: Trail<()>,
    closes_items: Trail<()>,
    asks: Trail<()>,
    declines: Trail<()>,
    releases: Trail<()>,
    exceptions: Trail<()>,
    refused: Trail<()>,
    said: BTreeMap<(StepId, CheckId), Trail<()>>,
    objections: BTreeMap<(StepId, CheckId), Trail<()>>,
    clocks: Trail<()>,
    /// Stops, withdrawals, suspensions, lost orders.
    stops: Trail<()>,
    emergencies: Vec<EntryIx>,
    suspensions: Vec<EntryIx>,
    days: Vec<EntryIx>,
}

impl Facts {
    /// An index of no entries.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Indexes an entry that has just gone into the graph. Entries come in the graph's order, each once.
    /// `roster` and `plan` are those of the entry's own past; `stop_in_past` names a stop that is in that
    /// past without its release, and is asked only where it matters (loads).
    pub fn note(
        &mut self,
        graph: &Graph,
        ix: EntryIx,
        roster: &Roster,
        plan: &Plan,
        stop_in_past: &dyn Fn() -> Option<EntryHash>,
    ) {
        self.note_height(graph, ix);
        let content = graph.content(ix);
        if content.body.is_stop() {
            self.stops.push(graph, ix, ());
        }
        if let Body::Stop(stop) = &content.body {
            if let Some(item) = &stop.item {
                self.items
                    .entry(item.clone())
                    .or_default()
                    .suspected
                    .push(ix);
            }
            if stop.kind == StopKind::Emergency {
                self.emergencies.push(ix);
            }
        }
        if let Body::Suspend(_) = &content.body {
            self.suspensions.push(ix);
        }
        // The founder speaks before there is a roster.
        let present = roster.present(&content.author) || matches!(content.body, Body::Found(_));
        if !present {
            return;
        }
        match &content.body {
            Body::HeadCount(_) => self.heads.push(graph, ix, ()),
            Body::Release(_) => self.releases.push(graph, ix, ()),
            Body::Exception(_) => self.exceptions.push(graph, ix, ()),
            Body::Ask(_) => self.asks.push(graph, ix, ()),
            Body::Decline(_) => self.declines.push(graph, ix, ()),
            Body::Accept => self.accepts.push(graph, ix, ()),
            Body::Offer(offer) => {
                if let crate::log::entry::Offered::Role { .. } = offer.what {
                    self.role_offers.push(graph, ix, ());
                }
            }
            Body::Leave => self.leaves.push(graph, ix, ()),
            Body::Identity(_) => self.identities.push(graph, ix, ()),
            Body::ResumeDay(_) => self.days.push(ix),
            Body::Note(note) => match note.kind {
                NoteKind::Late { .. } => self.late.push(graph, ix, ()),
                NoteKind::Reviewed if roster.supervisor == Some(content.author) => {
                    self.reviews.push(graph, ix, ());
                }
                NoteKind::StopReason => self.stop_reasons.push(graph, ix, ()),
                NoteKind::StillSo => self.still_so.push(graph, ix, ()),
                NoteKind::ClosesItem { .. } => self.closes_items.push(graph, ix, ()),
                NoteKind::Refused { .. } => self.refused.push(graph, ix, ()),
                _ => {}
            },
            _ => {}
        }
        self.note_said(graph, ix);
        self.note_item(graph, ix, roster, plan, stop_in_past);
        self.note_order(graph, ix, roster, plan);
        self.note_conditions(graph, ix, roster, plan);
    }

    fn note_height(&mut self, graph: &Graph, ix: EntryIx) {
        let content = graph.content(ix);
        let height = core::iter::once(&content.prev)
            .chain(&content.heads)
            .filter_map(|parent| graph.find(parent))
            .filter_map(|parent| self.heights.get(parent.0 as usize))
            .max()
            .map_or(0, |height| height.saturating_add(1));
        self.heights
            .resize((ix.0 as usize).max(self.heights.len()), 0);
        self.heights.push(height);
    }

    /// An entry's place in the one order of all entries that agrees with what each author had seen and is
    /// found alike on every device: by longest way from the founding entry, then by hash.
    #[must_use]
    pub fn rank(&self, graph: &Graph, ix: EntryIx) -> (u32, EntryHash) {
        let height = self.heights.get(ix.0 as usize).copied().unwrap_or(0);
        (height, graph.hash(ix))
    }

    /// Whether an entry knew of every new day in the cut, so that it is not of the day before.
    fn of_this_day(&self, graph: &Graph, ix: EntryIx, cut: &Cut) -> bool {
        self.days
            .iter()
            .all(|&day| day == ix || !graph.within(day, cut) || graph.before(day, ix))
    }

    /// Identities read off the structure in the cut, in rank order.
    #[must_use]
    pub fn identities(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        self.in_rank_order(graph, self.identities.all(cut).map(|(ix, ())| ix))
    }

    /// Stops of every kind in the cut, released or not, in rank order.
    #[must_use]
    pub fn stops(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        self.in_rank_order(graph, self.stops.all(cut).map(|(ix, ())| ix))
    }

    /// Offers of roles in the cut, taken or not, in rank order.
    #[must_use]
    pub fn role_offers(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        self.in_rank_order(graph, self.role_offers.all(cut).map(|(ix, ())| ix))
    }

    /// Whether a device's person has taken their place in the cut.
    #[must_use]
    pub fn accepted(&self, graph: &Graph, cut: &Cut, device: &crate::ids::DeviceKey) -> bool {
        self.accepts
            .newest(cut)
            .any(|(ix, ())| graph.author(ix) == *device)
    }

    fn in_rank_order(&self, graph: &Graph, some: impl Iterator<Item = EntryIx>) -> Vec<EntryIx> {
        let mut list: Vec<EntryIx> = some.collect();
        list.sort_unstable_by_key(|&ix| self.rank(graph, ix));
        list
    }
}
