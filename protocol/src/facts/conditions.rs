//! Conditions: is what must stay so, so? Judged by the ages written in evidence, never by a live watch.
//! Owns: nothing.   Gives: reasons against evidence; what each condition rests on; what puts it out.
//! May use: plan, log, gate::roster, order.   Never: a clock, the watch.
//!
//! A *basis* is an entry that says a condition is in bounds, by somebody who may say so. An *out* is one
//! that says it is not. A basis holds only if its author had seen every out: so of two readings made in
//! ignorance of each other the worse governs, and only an owner restores a condition.

use super::Facts;
use super::answers::within;
use super::order::is_whole;
use super::trail::Trail;
use crate::gate::Roster;
use crate::ids::{ConditionId, DeviceKey, EntryHash, RoleId, StepId};
use crate::log::entry::{Body, ConditionAge, Evidence, NoteKind, Offered, OrderState, StopKind};
use crate::log::graph::{Cut, EntryIx, Graph};
use crate::plan::{Condition, ConditionKind, Lasts, Plan};
use crate::reason::Reason;

/// Entries about one condition.
#[derive(Clone, Debug, Default)]
pub(super) struct ConditionTrail {
    bases: Trail<Basis>,
    outs: Trail<()>,
}

#[derive(Clone, Copy, Debug)]
struct Basis {
    /// Presence: the author has not gone away since, by its own word, without coming back.
    in_place: bool,
    /// The entry that carries the value: itself, or for an affirmed order the status affirmed.
    value: EntryIx,
}

/// Whose evidence is judged, on what.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// Whose act the entry with the evidence is, which itself shows that person to be there; `None`:
    /// nobody's, as in a release or when the call is worked out.
    pub author: Option<DeviceKey>,
    /// The author's past: a strict past for a written entry, everything for a press to come.
    pub past: &'a Cut,
    /// The roster of that past.
    pub roster: &'a Roster,
    /// The plan of that past.
    pub plan: &'a Plan,
    /// The steps whose conditions are asked for; empty: every condition.
    pub steps: &'a [StepId],
    /// Conditions that an agreed exit plan does without.
    pub waived: &'a [ConditionId],
    /// For a release: the ask. Presence must then have been renewed after it, and a condition that was out
    /// must have been inside for its `stable_s`.
    pub release_of: Option<EntryIx>,
}

/// A condition as it stands in a cut.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ConditionView {
    /// Entries that it may rest on, the newest of each author; empty: none.
    pub bases: Vec<EntryIx>,
    /// Entries that put it out and that no basis has seen.
    pub outs: Vec<EntryIx>,
    /// The newest entry about it, in or out of bounds, that carries a value or an answer.
    pub newest: Option<EntryIx>,
}

/// All of a condition's age that the log alone decides: it changes with the log, the ages themselves with every tick.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Rests {
    /// Entries that it may rest on, as [`ConditionView::bases`].
    pub bases: Vec<EntryIx>,
    /// Entries that its timer runs from, as [`Facts::timer_from`].
    pub timers: Vec<EntryIx>,
}

/// Whether a condition covers any of these steps; a condition that names none covers all, and an empty list
/// of steps asks for all.
#[must_use]
pub fn covers(condition: &Condition, steps: &[StepId]) -> bool {
    condition.covers.is_empty()
        || steps.is_empty()
        || condition.covers.iter().any(|step| steps.contains(step))
}

/// Whether an entry of this kind is made by a person's own act. What a node writes by itself renews nobody.
fn is_act(body: &Body) -> bool {
    match body {
        Body::Release(_)
        | Body::Consent(_)
        | Body::Seal(_)
        | Body::ClockSample(_)
        | Body::Leave
        | Body::Unknown { .. } => false,
        Body::Stop(stop) => !matches!(stop.kind, StopKind::Stranger { .. }),
        Body::Note(note) => !matches!(note.kind, NoteKind::Refused { .. }),
        _ => true,
    }
}

fn owns(roster: &Roster, device: &DeviceKey, condition: &Condition) -> bool {
    condition
        .owners
        .iter()
        .any(|role| roster.holds(device, role))
}

/// Why an affirmation by this author renews nothing; empty: it may. Of the order the supervisor in office says
/// so, of every other condition a holder of a role that owns it: only the owner restores it.
#[must_use]
pub fn affirm_against(
    roster: &Roster,
    plan: &Plan,
    author: &DeviceKey,
    named: &ConditionId,
) -> Vec<Reason> {
    let Some(condition) = plan.condition(named) else {
        return vec![Reason::WrongAnswerForm {
            expected: format!("a standing condition of the plan; it has no {named}"),
        }];
    };
    let (may, needs) = match condition.kind {
        ConditionKind::Order => (
            roster.supervisor == Some(*author),
            RoleId::try_from(RoleId::SUPERVISOR).into_iter().collect(),
        ),
        _ => (owns(roster, author, condition), condition.owners.clone()),
    };
    if may {
        Vec::new()
    } else {
        vec![Reason::WrongRole { needs }]
    }
}

enum Found {
    In(EntryIx),
    Out,
    Nothing,
}

impl Facts {
    pub(super) fn note_conditions(
        &mut self,
        graph: &Graph,
        ix: EntryIx,
        roster: &Roster,
        plan: &Plan,
    ) {
        for condition in &plan.conditions {
            let found = match condition.kind {
                ConditionKind::Presence => {
                    self.note_presence(graph, ix, roster, condition);
                    continue;
                }
                _ => self.found(graph, ix, roster, plan, condition),
            };
            let trail = match found {
                Found::Nothing => continue,
                Found::In(value) => {
                    let trail = self.conditions.entry(condition.id.clone()).or_default();
                    trail.bases.push(
                        graph,
                        ix,
                        Basis {
                            in_place: true,
                            value,
                        },
                    );
                    continue;
                }
                Found::Out => self.conditions.entry(condition.id.clone()).or_default(),
            };
            trail.outs.push(graph, ix, ());
        }
        self.note_told(graph, ix, plan);
    }

    /// What an entry says of a condition that is not a presence.
    fn found(
        &self,
        graph: &Graph,
        ix: EntryIx,
        roster: &Roster,
        plan: &Plan,
        condition: &Condition,
    ) -> Found {
        let content = graph.content(ix);
        let owner = owns(roster, &content.author, condition);
        match (&condition.kind, &content.body) {
            (ConditionKind::Measured { limit }, Body::Reading(reading))
                if reading.condition == condition.id =>
            {
                let Some(limit) = plan.limit(limit) else {
                    return Found::Nothing;
                };
                match reading.value {
                    // Seen to be bad, without a figure.
                    None => Found::Out,
                    Some(_) if reading.unit != limit.unit => Found::Nothing,
                    Some(value) if !within(limit, value) => Found::Out,
                    Some(_) if owner => Found::In(ix),
                    Some(_) => Found::Nothing,
                }
            }
            (ConditionKind::NoneSeen, Body::Reading(reading))
                if reading.condition == condition.id =>
            {
                Found::Out
            }
            (ConditionKind::NoneSeen | ConditionKind::Affirmed, Body::Affirm(named))
                if named.condition == condition.id && owner =>
            {
                Found::In(ix)
            }
            (ConditionKind::Affirmed, Body::Away(named)) if named.condition == condition.id => {
                Found::Out
            }
            (ConditionKind::Affirmed, Body::Reading(reading))
                if reading.condition == condition.id =>
            {
                Found::Out
            }
            (ConditionKind::Order, Body::OrderStatus(status)) => {
                let holder = roster.supervisor == Some(content.author);
                if status.state != OrderState::InEffect {
                    Found::Out
                } else if holder && is_whole(status, plan) {
                    Found::In(ix)
                } else if holder || owner {
                    // Said to be in effect, but not everywhere or not read back: not known to be so.
                    Found::Out
                } else {
                    Found::Nothing
                }
            }
            (ConditionKind::Order, Body::Affirm(named))
                if named.condition == condition.id && roster.supervisor == Some(content.author) =>
            {
                match self.order_affirmed(graph, ix, condition) {
                    Some(status) => Found::In(status),
                    None => Found::Nothing,
                }
            }
            _ => Found::Nothing,
        }
    }

    /// The author's own whole status that an affirmation of the order renews.
    fn order_affirmed(&self, graph: &Graph, ix: EntryIx, condition: &Condition) -> Option<EntryIx> {
        let trail = self.conditions.get(&condition.id)?;
        let past = graph.past(ix);
        let author = graph.author(ix);
        let mut own = trail
            .bases
            .newest(past)
            .filter(|&(basis, _)| graph.author(basis) == author);
        let status = own.next().map(|(_, basis)| basis.value)?;
        // After the order was out only a new status restores it, not an affirmation of the old one.
        trail
            .outs
            .newest(past)
            .all(|(out, ())| graph.before(out, status))
            .then_some(status)
    }

    /// PRESENCE and AWAY: any act of a holder renews; after an explicit away only an affirmation, or a take
    /// of the role, does.
    fn note_presence(
        &mut self,
        graph: &Graph,
        ix: EntryIx,
        roster: &Roster,
        condition: &Condition,
    ) {
        let content = graph.content(ix);
        let takes_role = match &content.body {
            Body::Take(take) => graph.find(&take.offer).is_some_and(|offer| {
                let Body::Offer(offer) = graph.body(offer) else {
                    return false;
                };
                offer.to == Some(content.author)
                    && matches!(&offer.what, Offered::Role { role, .. } if condition.owners.contains(role))
            }),
            _ => false,
        };
        if !takes_role && !owns(roster, &content.author, condition) {
            return;
        }
        let trail = self.conditions.entry(condition.id.clone()).or_default();
        let in_place = match &content.body {
            Body::Away(named) if named.condition == condition.id => {
                trail.outs.push(graph, ix, ());
                false
            }
            Body::Affirm(named) if named.condition == condition.id => true,
            Body::Accept => true,
            _ if takes_role => true,
            body if is_act(body) => {
                let before = trail
                    .bases
                    .newest(graph.past(ix))
                    .filter(|&(basis, _)| graph.author(basis) == content.author);
                before.fold(true, |so_far, (_, basis)| so_far && basis.in_place)
            }
            _ => return,
        };
        trail.bases.push(
            graph,
            ix,
            Basis {
                in_place,
                value: ix,
            },
        );
    }

    /// Remembers what evidence tells of the time since a timer began, for devices that were not there.
    fn note_told(&mut self, graph: &Graph, ix: EntryIx, plan: &Plan) {
        let evidence = match graph.body(ix) {
            Body::Acknowledge(acknowledge) => &acknowledge.evidence,
            Body::Release(release) => &release.evidence,
            Body::Exception(exception) => &exception.evidence,
            Body::Close(close) => &close.evidence,
            _ => return,
        };
        let past = graph.past(ix);
        for age in &evidence.conditions {
            let (Some(since_ms), Some(condition)) =
                (age.since_out_ms, plan.condition(&age.condition))
            else {
                continue;
            };
            for timer in self.timer_from(graph, past, plan, condition) {
                let told = self.told.entry(timer).or_default();
                *told = (*told).max(since_ms);
            }
        }
    }

    /// Whether a basis still carries a value that the plan accepts (an amendment may have moved a limit).
    fn still_good(
        &self,
        graph: &Graph,
        value: EntryIx,
        plan: &Plan,
        condition: &Condition,
    ) -> bool {
        match (&condition.kind, graph.body(value)) {
            (ConditionKind::Measured { limit }, Body::Reading(reading)) => {
                plan.limit(limit).is_some_and(|limit| {
                    limit.unit == reading.unit
                        && reading.value.is_some_and(|value| within(limit, value))
                })
            }
            (ConditionKind::Order, Body::OrderStatus(status)) => is_whole(status, plan),
            _ => true,
        }
    }

    /// Whether an entry may carry a condition in a cut; outs are looked at apart from this.
    fn may_carry(
        &self,
        graph: &Graph,
        ix: EntryIx,
        cut: &Cut,
        roster: &Roster,
        plan: &Plan,
        condition: &Condition,
    ) -> bool {
        let Some(trail) = self.conditions.get(&condition.id) else {
            return false;
        };
        let Some(basis) = trail.bases.get(graph, ix) else {
            return false;
        };
        let author = graph.author(ix);
        let in_office = match condition.kind {
            // Whoever carries it must still be the one who can.
            ConditionKind::Presence => owns(roster, &author, condition),
            ConditionKind::Order => roster.supervisor == Some(author),
            _ => true,
        };
        graph.within(ix, cut)
            && in_office
            && basis.in_place
            && self.still_good(graph, basis.value, plan, condition)
            && (condition.lasts == Lasts::Job || self.of_this_day(graph, ix, cut))
            && (condition.kind != ConditionKind::Presence
                || self.is_in_place(graph, author, cut, trail))
    }

    /// Whether a holder's newest act leaves them in place.
    fn is_in_place(
        &self,
        graph: &Graph,
        author: DeviceKey,
        cut: &Cut,
        trail: &ConditionTrail,
    ) -> bool {
        trail
            .bases
            .newest(cut)
            .filter(|&(ix, _)| graph.author(ix) == author)
            .all(|(_, basis)| basis.in_place)
    }

    /// Entries in the cut that put a condition out and that `basis` had not seen. Presence is out only by
    /// the holder's own word, which the basis itself carries.
    fn outs_unseen(
        &self,
        graph: &Graph,
        basis: EntryIx,
        cut: &Cut,
        plan: &Plan,
        condition: &Condition,
    ) -> Vec<EntryIx> {
        let Some(trail) = self.conditions.get(&condition.id) else {
            return Vec::new();
        };
        if condition.kind == ConditionKind::Presence {
            return Vec::new();
        }
        let outs = trail.outs.newest(cut).map(|(out, ())| out);
        // A reading that was inside the limit of its day and is not inside the limit of this plan.
        let moved = trail
            .bases
            .newest(cut)
            .filter(|&(_, other)| !self.still_good(graph, other.value, plan, condition))
            .map(|(out, _)| out);
        outs.chain(moved)
            .filter(|&out| out != basis && !graph.before(out, basis))
            .collect()
    }

    /// A condition as it stands in a cut: what it may rest on, what puts it out.
    #[must_use]
    pub fn condition(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        plan: &Plan,
        condition: &Condition,
    ) -> ConditionView {
        let mut view = ConditionView {
            bases: Vec::new(),
            outs: Vec::new(),
            newest: None,
        };
        let Some(trail) = self.conditions.get(&condition.id) else {
            return view;
        };
        for (ix, _) in trail.bases.newest(cut) {
            if !self.may_carry(graph, ix, cut, roster, plan, condition) {
                continue;
            }
            let unseen = self.outs_unseen(graph, ix, cut, plan, condition);
            if unseen.is_empty() {
                view.bases.push(ix);
            } else {
                view.outs.extend(unseen);
            }
        }
        if view.bases.is_empty() {
            view.outs
                .extend(trail.outs.newest(cut).map(|(out, ())| out));
        } else {
            view.outs.clear();
        }
        view.outs.sort_unstable();
        view.outs.dedup();
        view.bases
            .sort_unstable_by_key(|&ix| core::cmp::Reverse(self.rank(graph, ix)));
        view.newest = trail
            .bases
            .newest(cut)
            .map(|(_, basis)| basis.value)
            .chain(trail.outs.newest(cut).map(|(out, ())| out))
            .max_by_key(|&ix| self.rank(graph, ix));
        view
    }

    /// The entries from which a condition's timer runs: sightings of what must not be seen; for all others,
    /// the first entry that brought it back in bounds. Empty: no timer runs. A device bounds the time since
    /// the newest of them from below, and writes it into evidence as `since_out_ms`.
    #[must_use]
    pub fn timer_from(
        &self,
        graph: &Graph,
        cut: &Cut,
        _plan: &Plan,
        condition: &Condition,
    ) -> Vec<EntryIx> {
        let Some(trail) = self.conditions.get(&condition.id) else {
            return Vec::new();
        };
        let outs: Vec<EntryIx> = trail.outs.newest(cut).map(|(out, ())| out).collect();
        if condition.kind == ConditionKind::NoneSeen || outs.is_empty() {
            return outs;
        }
        trail
            .bases
            .first_each(cut, |basis| {
                outs.iter().all(|&out| graph.before(out, basis))
            })
            .min_by_key(|&ix| self.rank(graph, ix))
            .into_iter()
            .collect()
    }

    /// Time since such an entry at least, ms: as this device knows by itself, or as evidence in the log has told
    /// those who were not there. Whoever knows how old the entry can be at most is told no more than that: else
    /// one device could end everybody's wait.
    #[must_use]
    pub fn since_ms(&self, timer: EntryIx, most_age_ms: Option<u64>, least_age_ms: u64) -> u64 {
        let told = self.told.get(&timer).copied().unwrap_or(0);
        least_age_ms.max(told.min(most_age_ms.unwrap_or(u64::MAX)))
    }

    /// CONDITIONS (C8, and for a release): the reasons against evidence; empty: every condition asked for is
    /// in bounds and fresh by what the evidence says.
    #[must_use]
    pub fn conditions(&self, graph: &Graph, asked: &Asked, evidence: &Evidence) -> Vec<Reason> {
        asked
            .plan
            .conditions
            .iter()
            .filter(|condition| {
                covers(condition, asked.steps) && !asked.waived.contains(&condition.id)
            })
            .filter_map(|condition| self.judge_condition(graph, asked, evidence, condition))
            .collect()
    }

    /// One condition against the evidence of one entry; `None`: it is in bounds and fresh.
    #[must_use]
    pub fn judge_condition(
        &self,
        graph: &Graph,
        asked: &Asked,
        evidence: &Evidence,
        condition: &Condition,
    ) -> Option<Reason> {
        let id = || condition.id.clone();
        if asked.release_of.is_none()
            && let Some(author) = asked.author
            && self.is_own_presence(graph, author, asked, condition)
        {
            return None;
        }
        let named = evidence
            .conditions
            .iter()
            .filter(|age| age.condition == condition.id)
            .filter_map(|age| graph.find(&age.entry).map(|ix| (ix, age)))
            .filter(|&(ix, _)| {
                self.may_carry(graph, ix, asked.past, asked.roster, asked.plan, condition)
            })
            .min_by_key(|(_, age)| age.age_ms);
        let Some((basis, age)) = named else {
            let view = self.condition(graph, asked.past, asked.roster, asked.plan, condition);
            return Some(if view.bases.is_empty() && !view.outs.is_empty() {
                Reason::ConditionOut { condition: id() }
            } else {
                Reason::ConditionUnknown { condition: id() }
            });
        };
        let unseen = self.outs_unseen(graph, basis, asked.past, asked.plan, condition);
        if !unseen.is_empty() {
            return Some(Reason::ConditionOut { condition: id() });
        }
        let valid_ms = u64::from(condition.valid_s) * 1000;
        if age.age_ms > valid_ms {
            return Some(Reason::Stale {
                condition: id(),
                age_ms: age.age_ms,
                valid_ms,
            });
        }
        if let Some(ask) = asked.release_of
            && condition.kind == ConditionKind::Presence
            && basis != ask
            && !graph.before(ask, basis)
        {
            return Some(Reason::ConditionUnknown { condition: id() });
        }
        self.timer_left(graph, asked, condition, age)
            .map(|left_ms| Reason::ConditionTimer {
                condition: id(),
                left_ms,
            })
    }

    /// Whether the author is the holder whose presence is asked for and has not gone away: then the entry
    /// itself shows it.
    fn is_own_presence(
        &self,
        graph: &Graph,
        author: DeviceKey,
        asked: &Asked,
        condition: &Condition,
    ) -> bool {
        condition.kind == ConditionKind::Presence
            && owns(asked.roster, &author, condition)
            && self
                .conditions
                .get(&condition.id)
                .is_none_or(|trail| self.is_in_place(graph, author, asked.past, trail))
    }

    /// TIMER and STABLE: how much longer a condition must wait, if it must. What must not be seen may be
    /// affirmed only `valid_s` after the newest sighting (lightning: 30 min after the last); a release waits
    /// until a condition that was out has been inside for `stable_s`.
    fn timer_left(
        &self,
        graph: &Graph,
        asked: &Asked,
        condition: &Condition,
        age: &ConditionAge,
    ) -> Option<u64> {
        let needs_ms = if condition.kind == ConditionKind::NoneSeen {
            // The affirmation itself must have been made that long after the sighting.
            (u64::from(condition.valid_s) * 1000).saturating_add(age.age_ms)
        } else if asked.release_of.is_some() {
            u64::from(condition.stable_s) * 1000
        } else {
            return None;
        };
        if needs_ms == 0
            || self
                .timer_from(graph, asked.past, asked.plan, condition)
                .is_empty()
        {
            return None;
        }
        let since_ms = age.since_out_ms.unwrap_or(0);
        (since_ms < needs_ms).then(|| needs_ms - since_ms)
    }

    /// OUT: an entry that puts a condition covering `step` out of bounds and that is concurrent with `ix`; it
    /// voids the acknowledgement `ix`.
    #[must_use]
    pub fn out_concurrent(
        &self,
        graph: &Graph,
        plan: &Plan,
        step: &StepId,
        ix: EntryIx,
    ) -> Option<(ConditionId, EntryIx)> {
        plan.conditions
            .iter()
            .filter(|condition| covers(condition, core::slice::from_ref(step)))
            .find_map(|condition| {
                self.out_readings(&condition.id)?
                    .outs
                    .beyond(graph.past(ix))
                    .find(|&out| graph.concurrent(out, ix))
                    .map(|out| (condition.id.clone(), out))
            })
    }

    fn out_readings(&self, condition: &ConditionId) -> Option<&ConditionTrail> {
        self.conditions.get(condition)
    }

    /// Every entry that put a condition out of bounds, in rank order.
    #[must_use]
    pub fn outs(&self, graph: &Graph, cut: &Cut, condition: &ConditionId) -> Vec<EntryIx> {
        match self.conditions.get(condition) {
            Some(trail) => self.in_rank_order(graph, trail.outs.all(cut).map(|(ix, ())| ix)),
            None => Vec::new(),
        }
    }

    /// Every entry that says anything of a condition, in or out of bounds, in rank order.
    #[must_use]
    pub fn readings(&self, graph: &Graph, cut: &Cut, condition: &ConditionId) -> Vec<EntryIx> {
        match self.conditions.get(condition) {
            Some(trail) => {
                let bases = trail.bases.all(cut).map(|(ix, _)| ix);
                let outs = trail.outs.all(cut).map(|(ix, ())| ix);
                let mut all = self.in_rank_order(graph, bases.chain(outs));
                all.dedup();
                all
            }
            None => Vec::new(),
        }
    }

    /// The same in no order, for what looks at each value alone.
    pub fn each_reading<'a>(
        &'a self,
        cut: &'a Cut,
        condition: &ConditionId,
    ) -> impl Iterator<Item = EntryIx> + use<'a> {
        self.conditions
            .get(condition)
            .into_iter()
            .flat_map(move |trail| {
                let bases = trail.bases.all(cut).map(|(ix, _)| ix);
                bases.chain(trail.outs.all(cut).map(|(ix, ())| ix))
            })
    }

    /// Whether an entry says that a condition is in bounds, and for a presence that its author is in place.
    #[must_use]
    pub fn is_basis_in_place(&self, graph: &Graph, ix: EntryIx, condition: &ConditionId) -> bool {
        self.conditions
            .get(condition)
            .and_then(|trail| trail.bases.get(graph, ix))
            .is_some_and(|basis| basis.in_place)
    }

    /// Whether an entry is one that puts any condition out of bounds.
    #[must_use]
    pub fn puts_out(&self, graph: &Graph, ix: EntryIx) -> bool {
        self.conditions
            .values()
            .any(|trail| trail.outs.get(graph, ix).is_some())
    }

    /// HOLD, as far as a log can tell: a role without which nobody works is vacant, or a condition that covers
    /// these steps (none named: any) was put out of bounds and not restored.
    #[must_use]
    pub fn hold_in(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        plan: &Plan,
        steps: &[StepId],
    ) -> Option<Reason> {
        for name in [RoleId::SUPERVISOR, RoleId::OBSERVER] {
            if let Ok(role) = RoleId::try_from(name)
                && roster.holders(&role).next().is_none()
            {
                return Some(Reason::RoleVacant { role });
            }
        }
        plan.conditions
            .iter()
            .filter(|condition| covers(condition, steps))
            .find_map(|condition| {
                let view = self.condition(graph, cut, roster, plan, condition);
                (view.bases.is_empty() && !view.outs.is_empty()).then(|| Reason::ConditionOut {
                    condition: condition.id.clone(),
                })
            })
    }

    /// What a device would write into evidence for a condition now: the basis that is youngest by the ages
    /// given, with the shortest time since its timer began.
    #[must_use]
    #[allow(
        clippy::too_many_arguments,
        reason = "a query over log, cut, roster, plan and two clocks' words"
    )]
    pub fn condition_age(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        plan: &Plan,
        condition: &Condition,
        most_age_ms: &dyn Fn(EntryIx) -> Option<u64>,
        least_age_ms: &dyn Fn(EntryIx) -> u64,
    ) -> Option<ConditionAge> {
        let rests = self.rests(graph, cut, roster, plan, condition);
        self.age_resting_on(graph, condition, &rests, most_age_ms, least_age_ms)
    }

    /// What a condition's age rests on in a cut.
    #[must_use]
    pub fn rests(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        plan: &Plan,
        condition: &Condition,
    ) -> Rests {
        Rests {
            bases: self.condition(graph, cut, roster, plan, condition).bases,
            timers: self.timer_from(graph, cut, plan, condition),
        }
    }

    /// As [`Facts::condition_age`], of what is known to rest on these entries.
    #[must_use]
    pub fn age_resting_on(
        &self,
        graph: &Graph,
        condition: &Condition,
        rests: &Rests,
        most_age_ms: &dyn Fn(EntryIx) -> Option<u64>,
        least_age_ms: &dyn Fn(EntryIx) -> u64,
    ) -> Option<ConditionAge> {
        let (entry, age_ms): (EntryHash, u64) = rests
            .bases
            .iter()
            .filter_map(|&ix| most_age_ms(ix).map(|age_ms| (graph.hash(ix), age_ms)))
            .min_by_key(|&(_, age_ms)| age_ms)?;
        let since_out_ms = rests
            .timers
            .iter()
            .map(|&timer| self.since_ms(timer, most_age_ms(timer), least_age_ms(timer)))
            .min();
        Some(ConditionAge {
            condition: condition.id.clone(),
            entry,
            age_ms,
            since_out_ms,
        })
    }
}
