//! Custody: where each item is, and the offers, readies, takes and dones by which it got there.
//! Owns: nothing.   Gives: verdicts on handoffs, places, open offers, counts of tools.
//! May use: plan, log, gate::roster, fitness.   Never: whether a step may go on (gate).
//!
//! Custody is fact: a stop does not undo it. A handoff entry is judged by its own past alone, once.

use super::trail::Trail;
use super::{Facts, fitness::Look};
use crate::gate::Roster;
use crate::ids::{DeviceKey, EntryHash, HandoffId, ItemId, StepId};
use crate::log::entry::{Body, Offer, OfferNamed, Offered, Ready};
use crate::log::graph::{Cut, EntryIx, Graph};
use crate::plan::{Place, Plan, Step};
use crate::reason::Reason;

/// Entries about one item.
#[derive(Clone, Debug, Default)]
pub(super) struct ItemTrail {
    /// What changes its place.
    moves: Trail<Change>,
    /// Offers of it that count.
    offers: Trail<()>,
    /// Looks at it.
    pub(super) looks: Trail<Look>,
    /// Stops that named it.
    pub(super) suspected: Vec<EntryIx>,
}

#[derive(Clone, Copy, Debug)]
enum Change {
    Moved(Place),
    Taken(EntryIx),
    Done(EntryIx),
}

/// One offer of an item that counts.
#[derive(Clone, Debug)]
pub(super) struct OfferTrail {
    handoff: HandoffId,
    item: ItemId,
    to: Place,
    by: DeviceKey,
    receiver: Option<DeviceKey>,
    load: bool,
    readies: Trail<bool>,
    takes: Vec<EntryIx>,
    dones: Vec<EntryIx>,
}

/// Where an item is in a cut.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct CustodyView {
    /// Its place.
    pub at: Place,
    /// The entry that put it there; `None`: it has not moved since the plan.
    pub by: Option<EntryIx>,
    /// The offer under which it is moving now: taken and not done.
    pub under_way: Option<EntryIx>,
}

/// An offer that is not done.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct OfferView {
    /// The offer.
    pub offer: EntryIx,
    /// Its name on the radio.
    pub handoff: HandoffId,
    /// The item.
    pub item: ItemId,
    /// Where to.
    pub to: Place,
    /// Who offers and, for a load, commands.
    pub by: DeviceKey,
    /// To whom; `None`: whoever may.
    pub receiver: Option<DeviceKey>,
    /// A load on the line rather than a tool from hand to hand.
    pub load: bool,
    /// The newest readies that stand, with who gave them; empty also if somebody is not ready.
    pub readies: Vec<(DeviceKey, EntryIx)>,
    /// The newest word of each present device that said last that it is not ready.
    pub unready: Vec<(DeviceKey, EntryIx)>,
    /// Whether it was taken: the load may move.
    pub taken: bool,
}

/// Tools that must come back.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct ToolCounts {
    /// Counted tools that have left the truck.
    pub out: u32,
    /// Of these, back on the truck.
    pub back: u32,
    /// Of these, not back.
    pub missing: Vec<ItemId>,
}

/// A handoff entry before its verdict.
#[derive(Clone, Copy, Debug)]
pub(super) struct Handoff<'a> {
    pub author: DeviceKey,
    pub cut: &'a Cut,
    pub roster: &'a Roster,
    pub plan: &'a Plan,
}

impl Facts {
    pub(super) fn note_item(
        &mut self,
        graph: &Graph,
        ix: EntryIx,
        roster: &Roster,
        plan: &Plan,
        stop_in_past: &dyn Fn() -> Option<EntryHash>,
    ) {
        let content = graph.content(ix);
        match &content.body {
            Body::Moved(moved) => {
                let trail = self.items.entry(moved.item.clone()).or_default();
                trail.moves.push(graph, ix, Change::Moved(moved.to));
                return;
            }
            Body::Scan(scan) => {
                let look = Look::of(&scan.found);
                let trail = self.items.entry(scan.item.clone()).or_default();
                trail.looks.push(graph, ix, look);
                return;
            }
            _ => {}
        }
        let past = graph.past(ix);
        let reasons = self.handoff(
            graph,
            past,
            content.author,
            &content.body,
            roster,
            plan,
            stop_in_past,
        );
        match reasons {
            None => {}
            Some(reasons) if reasons.is_empty() => self.note_handoff(graph, ix, plan),
            Some(reasons) => {
                self.void_handoffs.insert(ix, reasons);
            }
        }
    }

    /// Puts a handoff entry that counts where queries find it.
    fn note_handoff(&mut self, graph: &Graph, ix: EntryIx, plan: &Plan) {
        let content = graph.content(ix);
        let offer_of = |hash: &EntryHash| graph.find(hash);
        match &content.body {
            Body::Offer(offer) => {
                let Offered::Move { handoff, item, to } = &offer.what else {
                    return;
                };
                let load = plan.item(item).is_some_and(|item| item.load);
                self.offers.insert(
                    ix,
                    OfferTrail {
                        handoff: handoff.clone(),
                        item: item.clone(),
                        to: *to,
                        by: content.author,
                        receiver: offer.to,
                        load,
                        readies: Trail::default(),
                        takes: Vec::new(),
                        dones: Vec::new(),
                    },
                );
                let trail = self.items.entry(item.clone()).or_default();
                trail.offers.push(graph, ix, ());
            }
            Body::Ready(ready) => {
                if let Some(trail) = offer_of(&ready.offer).and_then(|o| self.offers.get_mut(&o)) {
                    trail.readies.push(graph, ix, ready.ready);
                }
            }
            Body::Take(take) => {
                if let Some(offer) = offer_of(&take.offer)
                    && let Some(trail) = self.offers.get_mut(&offer)
                {
                    trail.takes.push(ix);
                    let item = trail.item.clone();
                    let moves = &mut self.items.entry(item).or_default().moves;
                    moves.push(graph, ix, Change::Taken(offer));
                }
            }
            Body::Done(done) => {
                if let Some(offer) = offer_of(&done.offer)
                    && let Some(trail) = self.offers.get_mut(&offer)
                {
                    trail.dones.push(ix);
                    let item = trail.item.clone();
                    let moves = &mut self.items.entry(item).or_default().moves;
                    moves.push(graph, ix, Change::Done(offer));
                }
            }
            _ => {}
        }
    }

    /// HANDOFF: the verdict on an offer, ready, take or done of an item by its own past; `None`: another
    /// kind of entry. Empty: it counts. `stop_in_past` names a stop in that past without its release.
    #[must_use]
    #[allow(
        clippy::too_many_arguments,
        reason = "a query over log, cut, roster, plan and stops"
    )]
    pub fn handoff(
        &self,
        graph: &Graph,
        cut: &Cut,
        author: DeviceKey,
        body: &Body,
        roster: &Roster,
        plan: &Plan,
        stop_in_past: &dyn Fn() -> Option<EntryHash>,
    ) -> Option<Vec<Reason>> {
        let asked = Handoff {
            author,
            cut,
            roster,
            plan,
        };
        let (mut reasons, load) = match body {
            Body::Offer(offer) => match &offer.what {
                Offered::Role { .. } => return None,
                Offered::Move { item, to, .. } => (
                    self.judge_offer(graph, &asked, offer, item, *to),
                    plan.item(item)
                        .filter(|item| item.load)
                        .map(|item| &item.id),
                ),
            },
            Body::Ready(ready) => {
                let (_, trail) = match self.named_offer(graph, &asked, &ready.offer)? {
                    Ok(found) => found,
                    Err(reason) => return Some(vec![reason]),
                };
                (
                    self.judge_ready(graph, &asked, trail, ready),
                    trail.load.then_some(&trail.item),
                )
            }
            Body::Take(take) => {
                let (offer, trail) = match self.named_offer(graph, &asked, &take.offer)? {
                    Ok(found) => found,
                    Err(reason) => return Some(vec![reason]),
                };
                let reasons = self.judge_take(graph, &asked, offer, trail, take);
                (reasons, trail.load.then_some(&trail.item))
            }
            Body::Done(done) => {
                let (_, trail) = match self.named_offer(graph, &asked, &done.offer)? {
                    Ok(found) => found,
                    Err(reason) => return Some(vec![reason]),
                };
                (
                    self.judge_done(graph, &asked, trail),
                    trail.load.then_some(&trail.item),
                )
            }
            _ => return None,
        };
        // "Not ready" is always taken: it only makes a move less likely.
        let makes_safe = matches!(body, Body::Ready(ready) if !ready.ready);
        if let Some(item) = load
            && !makes_safe
        {
            if let Some(stop) = stop_in_past() {
                reasons.insert(0, Reason::StopActive { stop });
            } else {
                let steps = steps_moving(plan, item);
                reasons.extend(self.hold_in(graph, cut, roster, plan, &steps));
            }
        }
        if !roster.present(&author) {
            reasons.insert(0, Reason::NotEnrolled { device: author });
        }
        Some(reasons)
    }

    /// The offer that a ready, take or done names. Outer `None`: it is an offer of a role, which is no
    /// matter of custody.
    fn named_offer(
        &self,
        graph: &Graph,
        asked: &Handoff,
        hash: &EntryHash,
    ) -> Option<Result<(EntryIx, &OfferTrail), Reason>> {
        let Some(ix) = graph.find(hash).filter(|&ix| graph.within(ix, asked.cut)) else {
            return Some(Err(Reason::MissingHandoff));
        };
        if let Body::Offer(Offer {
            what: Offered::Role { .. },
            ..
        }) = graph.body(ix)
        {
            return None;
        }
        Some(match self.offers.get(&ix) {
            Some(trail) => Ok((ix, trail)),
            None => Err(Reason::MissingHandoff),
        })
    }

    fn judge_offer(
        &self,
        graph: &Graph,
        asked: &Handoff,
        offer: &Offer,
        item: &ItemId,
        to: Place,
    ) -> Vec<Reason> {
        let mut reasons = Vec::new();
        if asked.plan.item(item).is_none() || offer.to == Some(asked.author) {
            return vec![Reason::MissingHandoff];
        }
        // What is not fit may always be brought down and away.
        if !matches!(to, Place::Truck | Place::Ground) {
            let unfit = self.unfit(graph, asked.cut, asked.plan, item);
            reasons.extend(unfit.into_iter().map(|why| Reason::ToolNotFit {
                item: item.clone(),
                why,
            }));
        }
        let custody = self.custody(graph, asked.cut, asked.plan, item);
        if let Some(trail) = custody.under_way.and_then(|offer| self.offers.get(&offer))
            && trail.by != asked.author
            && asked.roster.present(&trail.by)
        {
            reasons.push(Reason::NotYours);
        }
        reasons
    }

    fn judge_ready(
        &self,
        graph: &Graph,
        asked: &Handoff,
        trail: &OfferTrail,
        ready: &Ready,
    ) -> Vec<Reason> {
        if ready.ready && !may_receive(trail, asked.author) {
            return vec![Reason::NotYours];
        }
        if self.is_over(graph, trail, asked.cut) {
            return vec![Reason::Duplicate];
        }
        Vec::new()
    }

    fn judge_take(
        &self,
        graph: &Graph,
        asked: &Handoff,
        offer: EntryIx,
        trail: &OfferTrail,
        take: &OfferNamed,
    ) -> Vec<Reason> {
        let yours = if trail.load {
            // Only the one who offered commands the load, and so takes it.
            trail.by == asked.author
        } else {
            may_receive(trail, asked.author)
        };
        if !yours {
            return vec![Reason::NotYours];
        }
        if trail
            .takes
            .iter()
            .any(|&take| graph.within(take, asked.cut))
        {
            return vec![Reason::Duplicate];
        }
        if self.is_over(graph, trail, asked.cut)
            || !self.is_newest_offer(graph, offer, trail, asked.cut)
        {
            return vec![Reason::MissingHandoff];
        }
        if trail.load {
            let valid_ms = u64::from(asked.plan.times.ready_valid_s) * 1000;
            let ready = self.standing_readies(graph, trail, asked.cut, asked.roster);
            if ready.is_empty() {
                return vec![Reason::MissingHandoff];
            }
            let age_ms = u64::from(take.ready_age_ms);
            if age_ms > valid_ms {
                return vec![Reason::ReadyStale { age_ms, valid_ms }];
            }
        }
        Vec::new()
    }

    fn judge_done(&self, graph: &Graph, asked: &Handoff, trail: &OfferTrail) -> Vec<Reason> {
        if !trail
            .takes
            .iter()
            .any(|&take| graph.within(take, asked.cut))
        {
            return vec![Reason::MissingHandoff];
        }
        if trail
            .dones
            .iter()
            .any(|&done| graph.within(done, asked.cut))
        {
            return vec![Reason::Duplicate];
        }
        // The one who commands, or one who was ready to receive it, says that it stands; if the commander is
        // no longer on the job, anybody present.
        let was_ready = trail
            .readies
            .all(asked.cut)
            .any(|(ix, ready)| *ready && graph.author(ix) == asked.author);
        if trail.by == asked.author || was_ready || !asked.roster.present(&trail.by) {
            Vec::new()
        } else {
            vec![Reason::NotYours]
        }
    }

    /// Whether an offer has come to its end in a cut. Who offered a load and then says that they are not ready takes it
    /// back, as long as they have not taken the load: they cannot say that they are ready, so that nobody could ever
    /// go on with it, and it is offered anew.
    fn is_over(&self, graph: &Graph, trail: &OfferTrail, cut: &Cut) -> bool {
        let any = |ends: &[EntryIx]| ends.iter().any(|&ix| graph.within(ix, cut));
        if !trail.load {
            return any(&trail.takes);
        }
        let is_taken_back = || {
            let mut words = trail.readies.all(cut);
            words.any(|(ix, ready)| !ready && graph.author(ix) == trail.by)
        };
        any(&trail.dones) || (!any(&trail.takes) && is_taken_back())
    }

    /// Whether no other offer of the item came after this one: a new offer ends an older one.
    fn is_newest_offer(
        &self,
        graph: &Graph,
        offer: EntryIx,
        trail: &OfferTrail,
        cut: &Cut,
    ) -> bool {
        let newest = self.items.get(&trail.item).and_then(|item| {
            item.offers
                .newest(cut)
                .map(|(ix, ())| ix)
                .max_by_key(|&ix| self.rank(graph, ix))
        });
        newest == Some(offer)
    }

    /// READY: readies that stand in a cut: the newest of each device, given knowing of every stop in the
    /// cut (after an interruption a fresh signal is needed). None stands while anybody is not ready.
    fn standing_readies(
        &self,
        graph: &Graph,
        trail: &OfferTrail,
        cut: &Cut,
        roster: &Roster,
    ) -> Vec<(DeviceKey, EntryIx)> {
        let mut readies = Vec::new();
        if unready(graph, trail, cut, roster).next().is_some() {
            return readies;
        }
        for (ix, _) in trail.readies.newest(cut) {
            let author = graph.author(ix);
            if !roster.present(&author) {
                continue;
            }
            let fresh = self
                .stops
                .newest(cut)
                .all(|(stop, ())| graph.before(stop, ix));
            if fresh {
                readies.push((author, ix));
            }
        }
        readies
    }

    /// For each offer that is not taken, the newest word of each present device that it is not ready.
    #[must_use]
    pub fn not_ready(&self, graph: &Graph, cut: &Cut, roster: &Roster) -> Vec<EntryIx> {
        let open = self.open_offers(graph, cut, roster);
        open.iter()
            .filter(|offer| !offer.taken)
            .flat_map(|offer| &offer.unready)
            .map(|(_, ix)| *ix)
            .collect()
    }

    /// Why a handoff entry does not count; empty: it counts, or is no handoff.
    #[must_use]
    pub fn handoff_reasons(&self, ix: EntryIx) -> &[Reason] {
        self.void_handoffs.get(&ix).map_or(&[], Vec::as_slice)
    }

    /// CUSTODY: where an item is in a cut. The newest change in rank order holds; of two takes of one offer
    /// only the one with the lower (seq, hash) is a change.
    #[must_use]
    pub fn custody(&self, graph: &Graph, cut: &Cut, plan: &Plan, item: &ItemId) -> CustodyView {
        let start = CustodyView {
            at: plan.item(item).map_or(Place::Truck, |item| item.at),
            by: None,
            under_way: None,
        };
        let Some(trail) = self.items.get(item) else {
            return start;
        };
        let newest = (0..graph.chain_count() as u32)
            .filter_map(|chain| {
                trail
                    .moves
                    .back(crate::log::graph::ChainIx(chain), cut)
                    .find(|&(ix, change)| self.stands(graph, ix, *change, cut))
            })
            .max_by_key(|&(ix, _)| self.rank(graph, ix));
        let Some((ix, change)) = newest else {
            return start;
        };
        let (at, under_way) = match change {
            Change::Moved(to) => (*to, None),
            Change::Done(offer) => (self.offers.get(offer).map_or(start.at, |o| o.to), None),
            Change::Taken(offer) => match self.offers.get(offer) {
                Some(o) if o.load => (Place::OnTheLine, Some(*offer)),
                Some(o) => (o.to, None),
                None => (start.at, None),
            },
        };
        CustodyView {
            at,
            by: Some(ix),
            under_way,
        }
    }

    fn stands(&self, graph: &Graph, ix: EntryIx, change: Change, cut: &Cut) -> bool {
        let Change::Taken(offer) = change else {
            return true;
        };
        let key = |ix: EntryIx| (graph.seq(ix), graph.hash(ix));
        self.offers.get(&offer).is_some_and(|trail| {
            trail
                .takes
                .iter()
                .filter(|&&take| graph.within(take, cut))
                .min_by_key(|&&take| key(take))
                == Some(&ix)
        })
    }

    /// Whether a take was beaten by another take of the same offer in a cut.
    #[must_use]
    pub fn take_beaten(&self, graph: &Graph, ix: EntryIx, cut: &Cut) -> bool {
        let Body::Take(take) = graph.body(ix) else {
            return false;
        };
        graph
            .find(&take.offer)
            .filter(|offer| {
                self.offers
                    .get(offer)
                    .is_some_and(|o| o.takes.contains(&ix))
            })
            .is_some_and(|offer| !self.stands(graph, ix, Change::Taken(offer), cut))
    }

    /// Offers that are not done in a cut, oldest first.
    #[must_use]
    pub fn open_offers(&self, graph: &Graph, cut: &Cut, roster: &Roster) -> Vec<OfferView> {
        let mut open: Vec<OfferView> = self
            .items
            .values()
            .filter_map(|item| {
                item.offers
                    .newest(cut)
                    .map(|(ix, ())| ix)
                    .max_by_key(|&ix| self.rank(graph, ix))
            })
            .filter_map(|ix| self.offers.get(&ix).map(|trail| (ix, trail)))
            .filter(|(_, trail)| !self.is_over(graph, trail, cut))
            .map(|(ix, trail)| OfferView {
                offer: ix,
                handoff: trail.handoff.clone(),
                item: trail.item.clone(),
                to: trail.to,
                by: trail.by,
                receiver: trail.receiver,
                load: trail.load,
                readies: self.standing_readies(graph, trail, cut, roster),
                unready: unready(graph, trail, cut, roster).collect(),
                taken: trail.takes.iter().any(|&take| graph.within(take, cut)),
            })
            .collect();
        open.sort_by_key(|view| self.rank(graph, view.offer));
        open
    }

    /// ITEMS (C9): the items of a step are at their places and fit, and its loads were moved by a handoff.
    #[must_use]
    pub fn items_ready(&self, graph: &Graph, cut: &Cut, plan: &Plan, step: &Step) -> Vec<Reason> {
        let mut reasons = Vec::new();
        for wanted in &step.items {
            let item = &wanted.item;
            if self.custody(graph, cut, plan, item).at != wanted.at {
                reasons.push(Reason::ItemNotThere { item: item.clone() });
            }
            let unfit = self.unfit(graph, cut, plan, item);
            reasons.extend(unfit.into_iter().map(|why| Reason::ToolNotFit {
                item: item.clone(),
                why,
            }));
        }
        let due = self.loads_due(graph, cut, plan, step);
        reasons.extend(due.map(|_| Reason::MissingHandoff));
        reasons.dedup();
        reasons
    }

    /// Loads of a step that no handoff has brought to where they are to go; that the log has them there by somebody's
    /// word alone is not enough.
    pub fn loads_due<'a>(
        &'a self,
        graph: &'a Graph,
        cut: &'a Cut,
        plan: &'a Plan,
        step: &'a Step,
    ) -> impl Iterator<Item = &'a ItemId> {
        let due = step
            .moves
            .iter()
            .filter(move |load| !self.was_moved(graph, cut, plan, &load.item, load.to));
        due.map(|load| &load.item)
    }

    /// Whether an item's newest done move brought it to a place, and no other is under way.
    fn was_moved(&self, graph: &Graph, cut: &Cut, plan: &Plan, item: &ItemId, to: Place) -> bool {
        let Some(trail) = self.items.get(item) else {
            return false;
        };
        let newest_done = trail
            .moves
            .all(cut)
            .filter_map(|(ix, change)| match change {
                Change::Done(offer) => Some((ix, *offer)),
                Change::Moved(_) | Change::Taken(_) => None,
            })
            .max_by_key(|&(ix, _)| self.rank(graph, ix));
        newest_done
            .is_some_and(|(_, offer)| self.offers.get(&offer).is_some_and(|offer| offer.to == to))
            && self.custody(graph, cut, plan, item).under_way.is_none()
    }

    /// COUNT: tools of the plan that are counted and have left the truck, and which are back.
    #[must_use]
    pub fn tool_counts(&self, graph: &Graph, cut: &Cut, plan: &Plan) -> ToolCounts {
        let mut counts = ToolCounts::default();
        for item in plan.items.iter().filter(|item| item.counted && !item.load) {
            let custody = self.custody(graph, cut, plan, &item.id);
            if custody.by.is_none() && custody.at == Place::Truck {
                continue;
            }
            counts.out = counts.out.saturating_add(1);
            if custody.at == Place::Truck {
                counts.back = counts.back.saturating_add(1);
            } else {
                counts.missing.push(item.id.clone());
            }
        }
        counts
    }
}

/// The newest word of each present device whose newest word on an offer is that it is not ready.
fn unready<'a>(
    graph: &'a Graph,
    trail: &'a OfferTrail,
    cut: &'a Cut,
    roster: &'a Roster,
) -> impl Iterator<Item = (DeviceKey, EntryIx)> + 'a {
    let newest = trail.readies.newest(cut);
    let noes = newest.filter(|(_, ready)| !**ready);
    noes.map(|(ix, _)| (graph.author(ix), ix))
        .filter(|(author, _)| roster.present(author))
}

/// Whether a device may be the receiving side of an offer: two-sided, so never the one who offers.
fn may_receive(trail: &OfferTrail, device: DeviceKey) -> bool {
    trail.by != device && trail.receiver.is_none_or(|receiver| receiver == device)
}

/// Steps that move a load.
fn steps_moving(plan: &Plan, load: &ItemId) -> Vec<StepId> {
    plan.steps
        .iter()
        .filter(|step| step.moves.iter().any(|moved| &moved.item == load))
        .map(|step| step.id.clone())
        .collect()
}
