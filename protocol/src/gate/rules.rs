//! Rules: the conditions under which an acknowledgement counts, each a function of its own (definition S6).
//! Owns: nothing.   Gives: `World::weigh`, `World::judge`.
//! May use: world, done, records, views, facts.   Never: arrival order, a live watch.
//!
//! The first half is settled by the acknowledgement's own past and never changes ([`fit`]); the second
//! depends on the set of entries and is worked out anew when something in it can have changed.

use super::plans::{CheckNo, Roles};
use super::records::{Ack, Fit, Kind, Weight};
use super::roster::Roster;
use super::views::{Removal, View};
use super::world::{Core, Out, Said, World};
use crate::facts::Asked;
use crate::ids::{ConditionId, DeviceKey, RoleId};
use crate::log::entry::{Body, Evidence, Proof, Said as Answer};
use crate::log::graph::{ChainIx, Cut, EntryIx};
use crate::plan::Expects;
use crate::reason::Reason;

impl World<'_> {
    /// What an acknowledgement of this set is worth in it.
    pub(super) fn weigh(&self, number: u32) -> Weight {
        let ack = self.core.records.ack(number);
        if ack.fit == Fit::Never {
            return Weight::Nothing;
        }
        let said = self.said(ack);
        let mut out = Out::first();
        self.in_this_set(&said, &mut out);
        match (out.against(), ack.fit) {
            (false, Fit::Good) => Weight::Counts,
            (false, Fit::FailsValue) => Weight::Fails,
            (false, Fit::SecondReader) => Weight::Unborne,
            _ => Weight::Nothing,
        }
    }

    /// The rules that depend on the set.
    pub(super) fn in_this_set(&self, said: &Said<'_>, out: &mut Out) {
        let rules: [fn(&Self, &Said<'_>, &mut Out); 8] = [
            Self::accepted,
            Self::still_holds,
            Self::unheard,
            Self::removed_stop,
            Self::covers,
            Self::objected,
            Self::out_of_bounds,
            Self::order_and_known,
        ];
        for rule in rules {
            rule(self, said, out);
            if out.enough() {
                return;
            }
        }
        self.round(said, out);
        if !out.enough() {
            self.marks(said, out);
        }
        if !out.enough() && said.kind == Kind::Close {
            self.closing(said, out);
        }
    }

    /// CLOSE: every head, item, ground and load is accounted for.
    fn closing(&self, said: &Said<'_>, out: &mut Out) {
        let core = self.core;
        let plan = said.plan();
        let complete = plan.ids(&self.complete(said.past, said.past, said.view));
        out.say_all(core.facts.close_reasons(
            &core.graph,
            said.past,
            &said.view.roster,
            &plan.plan,
            &complete,
            &complete,
            super::secured(&core.graph),
        ));
    }

    /// Removals of an author that this word of theirs had not seen.
    fn unseen_removals(&self, said: &Said<'_>) -> impl Iterator<Item = &Removal> {
        self.view.removals.iter().filter(|removal| {
            removal.device == said.author
                && removal.role.is_none()
                && !said.saw(&self.core.graph, removal.ix)
        })
    }

    /// C1, FORK and REMOVAL WINS for the device: if a removal of the author had not been seen, it must have
    /// seen this, below any fork it knew of; else this is below the author's first fork.
    fn accepted(&self, said: &Said<'_>, out: &mut Out) {
        if self.view.removals.is_empty() && self.view.forks.is_empty() {
            return;
        }
        let graph = &self.core.graph;
        let mut removed = false;
        for removal in self.unseen_removals(said) {
            removed = true;
            let knew = self.core.views.past(removal.ix);
            if !said.seen_by(graph, removal.ix) || !knew.unforked(said.author, said.seq) {
                out.say(|| Reason::Removed {
                    device: said.author,
                });
            }
        }
        if !removed && !self.view.unforked(said.author, said.seq) {
            out.say(|| Reason::Fork {
                device: said.author,
            });
        }
    }

    /// Whether an entry by a device that held `roles` of a check is accepted and still holds one in this set;
    /// which.
    pub(super) fn held_now(
        &self,
        author: DeviceKey,
        ix: Option<EntryIx>,
        past: &Cut,
        view: &View,
        roles: Roles,
    ) -> Roles {
        let graph = &self.core.graph;
        let lost_by_role = self
            .view
            .removals
            .iter()
            .any(|removal| removal.device == author && removal.role.is_some());
        if self.view.all_stand && !lost_by_role {
            return roles;
        }
        let Some(member) = view.roster.members.get(&author) else {
            return 0;
        };
        let mut held = 0;
        for role in &member.roles {
            let bit = self.core.views.names.role(role);
            let stands = view
                .support
                .get(&(author, role.clone()))
                .is_some_and(|&grant| self.view.stands(grant));
            let taken = self.view.removals.iter().any(|removal| {
                removal.device == author
                    && removal.role.as_ref() == Some(role)
                    && !graph.within(removal.ix, past)
                    && !ix.is_some_and(|ix| graph.before(ix, removal.ix))
            });
            if stands && !taken {
                held |= bit;
            }
        }
        // A check of everybody asks for no role, only that the admission stands.
        let admitted = view
            .admitted
            .get(&author)
            .is_some_and(|&admitted| self.view.stands(admitted));
        if roles == Roles::MAX {
            return if admitted { Roles::MAX } else { 0 };
        }
        held & roles
    }

    /// C1, REMOVAL WINS for the role: no concurrent entry takes it away, and the grant that it rests on stands.
    fn still_holds(&self, said: &Said<'_>, out: &mut Out) {
        if self.held_now(said.author, said.ix, said.past, said.view, said.roles) == 0 {
            out.say(|| Reason::WrongRole { needs: Vec::new() });
        }
    }

    /// C3, UNHEARD with EXEMPT and OPEN STEP: no stop is concurrent with it, unless the stop's author was not
    /// present in its past; and where a stop had seen it, its step was complete by then. A withdrawal that
    /// covers it must have been seen.
    fn unheard(&self, said: &Said<'_>, out: &mut Out) {
        let core = self.core;
        for number in core.records.stops_by_chain.beyond(said.past, self.cut) {
            let Some(stop) = core.records.stops.get(number as usize) else {
                continue;
            };
            let hash = core.graph.hash(stop.ix);
            if said.ix == Some(stop.ix) {
                continue;
            }
            if said.seen_by(&core.graph, stop.ix) {
                if stop.present && !(said.kind != Kind::Close && stop.done.has(said.step)) {
                    out.say(|| Reason::GivenBeforeStop { stop: hash });
                }
            } else if said.view.roster.present(&stop.device) {
                out.say(|| Reason::CrossedStop { stop: hash });
            }
            let covered = stop
                .cover
                .as_ref()
                .is_some_and(|cover| said.kind == Kind::Close || cover.has(said.step, said.check));
            if covered && said.view.roster.present(&stop.device) {
                out.say(|| Reason::TakenBack { by: hash });
            }
            if out.enough() {
                return;
            }
        }
    }

    /// C4, REMOVED-STOP: a removal that it had not seen lets it count only if the removed device is proved to
    /// have held it and its step to have been complete in what that device held.
    fn removed_stop(&self, said: &Said<'_>, out: &mut Out) {
        let graph = &self.core.graph;
        for removal in &self.view.removals {
            if removal.role.is_some() || said.saw(graph, removal.ix) {
                continue;
            }
            let stays = self.core.removals.get(&removal.ix).is_some_and(|record| {
                said.ix.is_some_and(|ix| graph.within(ix, &record.known))
                    && (said.kind == Kind::Close || record.done.has(said.step))
            });
            if !stays {
                out.say(|| Reason::Removed {
                    device: removal.device,
                });
            }
        }
    }

    /// C5, COVERS: every standing step back, amendment and new day that covers it was seen.
    fn covers(&self, said: &Said<'_>, out: &mut Out) {
        let graph = &self.core.graph;
        for (ix, cover) in &self.view.covers {
            let covered = said.kind == Kind::Close || cover.has(said.step, said.check);
            if covered && !said.saw(graph, *ix) {
                out.say(|| Reason::TakenBack {
                    by: graph.hash(*ix),
                });
            }
        }
    }

    /// Whether an objection is one in this set: its author held a role of the check, and the word is accepted. FORK takes
    /// acknowledgements, and no `cannot confirm`: that one is heeded unless who removed its author had not seen it.
    pub(super) fn objects(&self, number: u32) -> bool {
        let core = self.core;
        let Some(objection) = core.records.objections.get(number as usize) else {
            return false;
        };
        let said = Said {
            author: objection.device,
            seq: core.graph.seq(objection.ix),
            ix: Some(objection.ix),
            past: core.graph.past(objection.ix),
            view: core.views.past(objection.ix),
            body: core.graph.body(objection.ix),
            step: objection.step,
            check: objection.check,
            kind: Kind::Plain,
            roles: objection.roles,
            level: true,
            fails: false,
        };
        let mut out = Out::first();
        if objection.cannot {
            let mut removals = self.unseen_removals(&said);
            if removals.any(|removal| !said.seen_by(&core.graph, removal.ix)) {
                return false;
            }
        } else {
            self.accepted(&said, &mut out);
        }
        if !out.against() {
            self.still_holds(&said, &mut out);
        }
        !out.against()
    }

    /// C5, OBJECTION and LATEST: every objection whose scope has this check was seen.
    fn objected(&self, said: &Said<'_>, out: &mut Out) {
        let records = &self.core.records;
        let local = records.check(said.check).map(|check| &check.objections);
        let whole = records.step_objections(said.step);
        if said.kind == Kind::Close {
            for (number, objection) in (0_u32..).zip(&records.objections) {
                if self.core.graph.within(objection.ix, self.cut)
                    && !said.saw(&self.core.graph, objection.ix)
                    && self.objects(number)
                {
                    out.say(|| Reason::TakenBack {
                        by: self.core.graph.hash(objection.ix),
                    });
                }
            }
            return;
        }
        for list in [local, whole].into_iter().flatten() {
            for number in list.beyond(said.past, self.cut) {
                let Some(objection) = records.objections.get(number as usize) else {
                    continue;
                };
                if said.ix == Some(objection.ix)
                    || (objection.own_only && objection.device != said.author)
                    // The worse of two answers is not taken back by the better one.
                    || (said.fails && !objection.cannot && objection.device != said.author)
                    || !self.objects(number)
                {
                    continue;
                }
                out.say(|| Reason::TakenBack {
                    by: self.core.graph.hash(objection.ix),
                });
                if out.enough() {
                    return;
                }
            }
        }
    }

    /// C8: a reading out of bounds that is concurrent with it voids it.
    fn out_of_bounds(&self, said: &Said<'_>, out: &mut Out) {
        let core = self.core;
        let (Some(ix), Kind::Plain) = (said.ix, said.kind) else {
            return;
        };
        if core.outs.beyond(said.past, self.cut).next().is_none() {
            return;
        }
        let Some(step) = said.plan().plan_step(said.step) else {
            return;
        };
        for condition in &said.plan().plan.conditions {
            let concurrent = crate::facts::covers(condition, core::slice::from_ref(&step.id))
                && core
                    .facts
                    .outs(&core.graph, self.cut, &condition.id)
                    .iter()
                    .any(|&bad| core.graph.concurrent(bad, ix));
            if concurrent {
                out.say(|| Reason::ConditionOut {
                    condition: condition.id.clone(),
                });
            }
        }
    }

    /// C2 and KNOWN: every step before is complete in what the author had seen, and in what every present
    /// device was proved to hold: one completing set that everybody has.
    fn order_and_known(&self, said: &Said<'_>, out: &mut Out) {
        if self.known_by_tally(said) {
            return;
        }
        let common =
            if said.level || said.kind == Kind::Exception || matches!(said.kind, Kind::Cosign(_)) {
                None
            } else {
                said.evidence()
                    .map(|evidence| self.core.known_by_all(said, evidence))
            };
        let plan = said.plan();
        let step_id = || {
            plan.plan_step(said.step)
                .map(|step| step.id.clone())
                .or_else(|| plan.plan.steps.last().map(|step| step.id.clone()))
        };
        let before: &[u16] = if said.kind == Kind::Close {
            &plan.order
        } else {
            plan.step(said.step).map_or(&[], |step| &step.before)
        };
        for &earlier in before {
            if !self.step_done(earlier, said.past, said.past, said.view) {
                if let (Some(step), Some(before)) = (step_id(), plan.plan_step(earlier)) {
                    out.say(|| Reason::NotUnlocked {
                        step,
                        before: before.id.clone(),
                    });
                }
            } else if let Some(common) = &common
                && !self.step_done(earlier, common, said.past, said.view)
                && let Some(step) = step_id()
            {
                let device = self.who_lacks(said, earlier).unwrap_or(said.author);
                out.say(|| Reason::NotKnown { step, device });
            }
            if out.enough() {
                return;
            }
        }
    }

    /// A device that alone was not proved to hold what completes a step.
    fn who_lacks(&self, said: &Said<'_>, step: u16) -> Option<DeviceKey> {
        let evidence = said.evidence()?;
        evidence
            .proofs
            .iter()
            .filter_map(|proof| {
                let device = said.view.present.iter().find(|p| p.tag == proof.device)?;
                let known = self.core.known_by(said, proof);
                (!self.step_done(step, &known, said.past, said.view)).then_some(device.key)
            })
            .next()
    }

    /// ROUND: after a conflict of a second look, and after two people agreed that it does not pass, an answer
    /// states what was done.
    fn round(&self, said: &Said<'_>, out: &mut Out) {
        let Body::Acknowledge(ack) = said.body else {
            return;
        };
        if ack.change.is_some() {
            return;
        }
        let Some(check) = said.plan().check(said.step, said.check) else {
            return;
        };
        if let super::plans::WhoBits::SecondLook(first, second) = check.who
            && (self
                .second_look(said.check, first, second, said.past)
                .conflict
                || self
                    .core
                    .two_said_no(said.check, said.author, &said.view.roster, &|ix| {
                        said.saw(&self.core.graph, ix)
                    }))
        {
            out.say(|| Reason::Conflict {
                step: ack.step.clone(),
                check: ack.check.clone(),
            });
        }
    }

    /// C9, MARKS: what the step needs is so, by the steps complete in what the author had seen.
    fn marks(&self, said: &Said<'_>, out: &mut Out) {
        if said.kind != Kind::Plain {
            return;
        }
        let Some(step) = said.plan().plan_step(said.step) else {
            return;
        };
        if step.needs.is_empty() {
            return;
        }
        let core = self.core;
        let complete = self.complete(said.past, said.past, said.view);
        let plan = said.plan();
        let mut reached = complete.clone();
        for (&ix, done) in &core.done_at {
            if said.saw(&core.graph, ix) {
                reached.add(done);
            }
        }
        let late = core.facts.late_marks(&core.graph, said.past);
        out.say_all(crate::facts::marks_ready(
            &plan.plan,
            step,
            &plan.ids(&complete),
            &plan.ids(&reached),
            super::secured(&core.graph),
            &late,
        ));
    }
}

/// The rules that are settled by the own past.
impl Core {
    /// What its own past says of an acknowledgement.
    pub(super) fn fit(&self, said: &Said<'_>) -> Fit {
        let mut out = Out::first();
        self.in_own_past(said, &mut out);
        if out.against() {
            return Fit::Never;
        }
        self.value(said, &mut out);
        if out.against() {
            return if self.form_is_right(said) {
                Fit::FailsValue
            } else {
                Fit::Never
            };
        }
        self.reread(said, &mut out);
        if out.against() {
            Fit::SecondReader
        } else {
            Fit::Good
        }
    }

    /// Everything but what is said.
    pub(super) fn in_own_past(&self, said: &Said<'_>, out: &mut Out) {
        let rules: [fn(&Self, &Said<'_>, &mut Out); 5] = [
            Self::role,
            Self::briefed,
            Self::stopped,
            Self::alive,
            Self::late,
        ];
        for rule in rules {
            rule(self, said, out);
            if out.enough() {
                return;
            }
        }
        let waived = self.exit_waives(said);
        self.conditions(said, &waived, out);
        if !out.enough() {
            self.items(said, out);
        }
    }

    /// C1: the author held a role of the check in its past; NON-VACUOUS, FORK and briefings of the crew.
    fn role(&self, said: &Said<'_>, out: &mut Out) {
        if !said.view.roster.present(&said.author) {
            out.say(|| Reason::NotEnrolled {
                device: said.author,
            });
            return;
        }
        if said.roles == 0 {
            let plan = said.plan();
            let needs: Vec<RoleId> = match said.kind {
                Kind::Exception | Kind::Close => {
                    RoleId::try_from(RoleId::SUPERVISOR).into_iter().collect()
                }
                _ => plan
                    .check(said.step, said.check)
                    .map(|check| {
                        let any = check.who.any();
                        plan.plan
                            .roles
                            .iter()
                            .map(|role| role.id.clone())
                            .filter(|role| self.views.names.role(role) & any != 0)
                            .collect()
                    })
                    .unwrap_or_default(),
            };
            out.say(|| Reason::WrongRole { needs });
        }
        if !said.view.unforked(said.author, said.seq) {
            out.say(|| Reason::Fork {
                device: said.author,
            });
        }
        for reason in &said.view.against_all {
            out.say(|| reason.clone());
        }
    }

    /// C1: briefed on the admission and on the plan as it stood, and acting on that plan.
    fn briefed(&self, said: &Said<'_>, out: &mut Out) {
        let version = said.view.version();
        if !said.view.briefed.contains(&said.author) && said.view.roster.present(&said.author) {
            out.say(|| Reason::NotBriefed {
                device: said.author,
                version,
            });
        }
        let acted_on = match said.body {
            Body::Acknowledge(ack) => ack.version,
            Body::Exception(exception) => exception.version,
            _ => version,
        };
        if acted_on != version {
            out.say(|| Reason::PlanChanged { version });
        }
    }

    /// C3: every stop in its past has its release there, or an agreed exit plan opens the step.
    fn stopped(&self, said: &Said<'_>, out: &mut Out) {
        let stops = self.open_stops(said.past);
        if stops.is_empty() || self.exit_opens(said, &stops) {
            return;
        }
        for stop in stops {
            out.say(|| Reason::StopActive {
                stop: self.graph.hash(stop),
            });
        }
    }

    /// C8, EVIDENCE: a proof of life of every other present device, young enough, of a device known to hold
    /// the administrative entries that stand.
    fn alive(&self, said: &Said<'_>, out: &mut Out) {
        let evidence = match said.kind {
            Kind::Plain | Kind::Close => said.evidence(),
            Kind::Exception | Kind::Cosign(_) => None,
        };
        let Some(evidence) = evidence else { return };
        let limit_ms = said.plan().plan.times.watch_limit_ms;
        for present in &said.view.present {
            if present.key == said.author {
                continue;
            }
            let device = present.key;
            let proof = evidence
                .proofs
                .iter()
                .filter(|proof| proof.device == present.tag)
                .min_by_key(|proof| proof.age_ms);
            match proof {
                Some(proof) if u64::from(proof.age_ms) <= limit_ms => {
                    if !proof.behind.is_empty() && !self.knows_office(said, proof) {
                        out.say(|| Reason::NotLevel { device });
                    }
                }
                other => out.say(|| Reason::NoContact {
                    device,
                    age_ms: other.map(|proof| u64::from(proof.age_ms)),
                }),
            }
        }
    }

    fn knows_office(&self, said: &Said<'_>, proof: &Proof) -> bool {
        let known = self.known_by(said, proof);
        said.view
            .standing
            .iter()
            .chain(&said.view.terms)
            .all(|&ix| self.graph.within(ix, &known))
    }

    /// What a device was proved to hold: the author's past, less what the proof says.
    pub(super) fn known_by(&self, said: &Said<'_>, proof: &Proof) -> Vec<u32> {
        let mut known = said.past.to_vec();
        self.take_off(&mut known, said, proof);
        known
    }

    /// Less by what the proof says. Counted from the author's highest number, whichever branch has it: branches
    /// are not numbered alike everywhere.
    fn take_off(&self, known: &mut [u32], said: &Said<'_>, proof: &Proof) {
        let tag_of = |chain: usize| self.graph.chain_author(ChainIx(chain as u32)).tag();
        for (tag, less) in &proof.behind {
            let highest = (0..known.len())
                .filter(|&chain| tag_of(chain) == *tag)
                .filter_map(|chain| said.past.get(chain).copied())
                .filter(|&count| count > 0)
                .max();
            match highest {
                Some(highest) => {
                    for (chain, count) in known.iter_mut().enumerate() {
                        if tag_of(chain) == *tag {
                            *count = (*count).min(highest.saturating_sub(*less));
                        }
                    }
                }
                // Of somebody admitted who has said nothing yet there is nothing to hold.
                None if said.view.roster.members.keys().any(|key| key.tag() == *tag) => {}
                // Nobody's short form says nothing that could be relied on: the worst is assumed.
                None => known.fill(0),
            }
        }
    }

    /// What every present device was proved to hold.
    pub(super) fn known_by_all(&self, said: &Said<'_>, evidence: &Evidence) -> Vec<u32> {
        let mut known = said.past.to_vec();
        for proof in &evidence.proofs {
            let present = said
                .view
                .present
                .iter()
                .any(|present| present.tag == proof.device && present.key != said.author);
            if present {
                self.take_off(&mut known, said, proof);
            }
        }
        known
    }

    /// LATE-NOTE: a late note of the author on this check bars its plain confirm until it was reviewed.
    fn late(&self, said: &Said<'_>, out: &mut Out) {
        if let Body::Acknowledge(ack) = said.body
            && self.facts.barred_by_late_note(
                &self.graph,
                said.past,
                said.author,
                &ack.step,
                &ack.check,
            )
        {
            out.say(|| Reason::Late);
        }
    }

    /// C8, CONDITIONS: those that cover the step are in bounds and fresh by the evidence.
    fn conditions(&self, said: &Said<'_>, waived: &[ConditionId], out: &mut Out) {
        let plan = &said.plan().plan;
        if said.kind != Kind::Plain || plan.conditions.is_empty() {
            return;
        }
        let (Some(step), Some(evidence)) = (said.plan().plan_step(said.step), said.evidence())
        else {
            return;
        };
        let asked = Asked {
            author: Some(said.author),
            past: said.past,
            roster: &said.view.roster,
            plan,
            steps: core::slice::from_ref(&step.id),
            waived,
            release_of: None,
        };
        out.say_all(self.facts.conditions(&self.graph, &asked, evidence));
    }

    /// C9, ITEMS: where they must be, and fit.
    fn items(&self, said: &Said<'_>, out: &mut Out) {
        if said.kind != Kind::Plain {
            return;
        }
        let plan = said.plan();
        let Some(step) = plan.plan_step(said.step) else {
            return;
        };
        if step.items.is_empty() && step.moves.is_empty() {
            return;
        }
        out.say_all(
            self.facts
                .items_ready(&self.graph, said.past, &plan.plan, step),
        );
    }

    /// C7, VALUE: what is said lets the check be complete.
    pub(super) fn value(&self, said: &Said<'_>, out: &mut Out) {
        let Body::Acknowledge(ack) = said.body else {
            return;
        };
        let plan = said.plan();
        let Some(check) = plan
            .check(said.step, said.check)
            .and_then(|check| plan.plan_check(said.step, check))
        else {
            return;
        };
        if matches!((&check.expects, &ack.said), (Expects::Yes, Answer::Yes)) {
            return;
        }
        out.say_all(self.facts.answer(
            &self.graph,
            said.past,
            &said.view.roster,
            &plan.plan,
            said.author,
            check,
            &ack.said,
        ));
    }

    /// Whether a device's person and another had both said the same that does not pass, and the person has not
    /// said since what was done; in what was seen.
    pub(super) fn two_said_no(
        &self,
        check: CheckNo,
        device: DeviceKey,
        roster: &Roster,
        saw: &dyn Fn(EntryIx) -> bool,
    ) -> bool {
        let Some(records) = self.records.check(check).filter(|check| check.uneven) else {
            return false;
        };
        let person = roster.person(&device);
        let own = |look: &Ack| look.device == device || roster.person(&look.device) == person;
        let answer = |look: &Ack| super::done::answer(self.graph.body(look.ix));
        let seen: Vec<&Ack> = records
            .acks
            .iter()
            .map(|&number| self.records.ack(number))
            .filter(|look| look.kind == Kind::Plain && saw(look.ix))
            .collect();
        let fails = |look: &&&Ack| look.fit == Fit::FailsValue;
        let answered = |bad: &Ack| {
            seen.iter().any(|later| {
                own(later)
                    && self.graph.before(bad.ix, later.ix)
                    && matches!(self.graph.body(later.ix), Body::Acknowledge(ack) if ack.change.is_some())
            })
        };
        seen.iter().filter(fails).any(|bad| {
            own(bad)
                && !answered(bad)
                && seen.iter().filter(fails).any(|other| {
                    !own(other)
                        && matches!((answer(other), answer(bad)), (Some(one), Some(same))
                            if one.is_same(same))
                })
        })
    }

    /// Whether what is said at least answers what was asked, so that it speaks against the check.
    fn form_is_right(&self, said: &Said<'_>) -> bool {
        let mut out = Out::all();
        self.value(said, &mut out);
        !out.reasons
            .iter()
            .any(|reason| matches!(reason, Reason::WrongAnswerForm { .. }))
            && !said
                .plan()
                .check(said.step, said.check)
                .is_none_or(|check| check.yes_only)
    }

    /// REREAD: after a value outside its limit, a passing one of the same person counts only with a stated
    /// change, or when another person has read a passing one since.
    pub(super) fn reread(&self, said: &Said<'_>, out: &mut Out) {
        let Body::Acknowledge(ack) = said.body else {
            return;
        };
        if ack.change.is_some() || !matches!(ack.said, Answer::Value { .. }) {
            return;
        }
        let Some(records) = self.records.check(said.check) else {
            return;
        };
        let own = |other: &Ack| {
            other.device == said.author
                || said.view.roster.person(&other.device) == said.view.roster.person(&said.author)
        };
        let seen = |number: &u32| {
            let other = self.records.ack(*number);
            (other.kind == Kind::Plain && said.saw(&self.graph, other.ix)).then_some(other)
        };
        let stated_since = |bad: EntryIx| {
            records.acks.iter().filter_map(seen).any(|later| {
                own(later)
                    && later.fit == Fit::Good
                    && self.graph.before(bad, later.ix)
                    && matches!(self.graph.body(later.ix), Body::Acknowledge(ack) if ack.change.is_some())
            })
        };
        let borne_out = |bad: EntryIx| {
            records.acks.iter().filter_map(seen).any(|other| {
                !own(other) && other.fit == Fit::Good && self.graph.before(bad, other.ix)
            })
        };
        let open = records.uneven
            && records
                .acks
                .iter()
                .filter_map(seen)
                .filter(|other| own(other) && self.speaks_against(other.ix))
                .any(|bad| !stated_since(bad.ix) && !borne_out(bad.ix));
        if open {
            out.say(|| Reason::NeedsSecondReader {
                step: ack.step.clone(),
                check: ack.check.clone(),
            });
        }
    }

    /// Whether an acknowledgement says a value outside its limit.
    fn speaks_against(&self, ix: EntryIx) -> bool {
        let view = self.views.past(ix);
        let Body::Acknowledge(ack) = self.graph.body(ix) else {
            return false;
        };
        let Answer::Value { value, .. } = &ack.said else {
            return false;
        };
        view.plan
            .plan
            .step(&ack.step)
            .and_then(|step| step.check(&ack.check))
            .and_then(|check| match &check.expects {
                Expects::Measured { limit } => view.plan.plan.limit(limit),
                _ => None,
            })
            .is_some_and(|limit| !crate::facts::within(limit, *value))
    }
}
