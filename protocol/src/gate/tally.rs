//! Tally: the running count over all entries, brought up to date by what is new.
//! Owns: the worth of every acknowledgement in the set of everything here.   Gives: `Tally`.
//! May use: world, records, done.   Never: a rule (rules).
//!
//! A new entry is in nobody's past. So an older acknowledgement's worth changes only if the new entry is of a
//! disturbing kind, or through others that changed; numbers are in order of arrival, which every past
//! precedes, so one pass upwards is enough.

use super::plans::{CheckNo, PlanAt};
use super::records::{Kind, Weight};
use super::world::{Core, Said, World};
use crate::log::graph::Cut;
use std::collections::BTreeSet;
use std::sync::Arc;

/// What completes a step now.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
struct StepTally {
    /// Whether it is complete, steps before it left out.
    done: bool,
    /// Counts up to which a cut must go to hold what completes it; `None`: that depends on more.
    needs: Option<Vec<u32>>,
}

/// The running count.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    weights: Vec<Weight>,
    counted: Vec<Vec<u32>>,
    steps: Vec<StepTally>,
    stale: Vec<u16>,
    /// For each step what completes all the steps before it; `None`: unknown.
    before: Vec<Option<Vec<u32>>>,
    plan: Option<Arc<PlanAt>>,
}

/// What has to be looked at again.
#[derive(Clone, Debug, Default)]
pub(super) struct Touched {
    /// Everything: what was nothing may be something again.
    pub(super) everything: bool,
    /// Whatever is worth something now.
    pub(super) counted: bool,
    /// Whatever is worth something now of these checks.
    pub(super) checks: BTreeSet<CheckNo>,
    /// Steps to look at for completeness.
    pub(super) steps: BTreeSet<u16>,
}

impl Tally {
    pub(super) fn weight(&self, number: u32) -> Weight {
        self.weights
            .get(number as usize)
            .copied()
            .unwrap_or(Weight::Nothing)
    }

    pub(super) fn counted(&self, check: CheckNo) -> &[u32] {
        self.counted
            .get(check.0 as usize)
            .map_or(&[], Vec::as_slice)
    }

    /// Whether a step is complete now, steps before it left out.
    pub(super) fn step_done(&self, step: u16) -> bool {
        self.steps
            .get(usize::from(step))
            .is_some_and(|step| step.done)
    }

    /// Brings the count up to date.
    pub(super) fn settle(&mut self, core: &Core, touched: &Touched) {
        let plan = &core.views.now().plan;
        let plan_changed = !self
            .plan
            .as_ref()
            .is_some_and(|known| Arc::ptr_eq(known, plan));
        if touched.everything {
            self.weights.clear();
            self.counted.clear();
        }
        if touched.everything || plan_changed || touched.counted {
            self.plan = Some(Arc::clone(plan));
            self.steps = vec![StepTally::default(); core.views.names.steps()];
            self.stale = plan.order.clone();
            self.before.clear();
        }
        self.counted
            .resize_with(core.views.names.checks(), Vec::new);
        self.stale.extend(&touched.steps);
        let mut again: BTreeSet<u32> = BTreeSet::new();
        if touched.counted {
            again.extend(self.counted.iter().flatten());
            again.extend(
                core.records
                    .closes
                    .iter()
                    .filter(|&&n| n < self.weights.len() as u32),
            );
        }
        for &check in &touched.checks {
            again.extend(self.counted(check));
        }
        while let Some(number) = again.pop_first() {
            self.refresh(core);
            let weight = World::now(core, self).weigh(number);
            if weight != self.weight(number) {
                self.propagate(core, number, weight, &mut again);
                self.set(core, number, weight);
            }
        }
        for number in self.weights.len()..core.records.acks.len() {
            self.refresh(core);
            let weight = World::now(core, self).weigh(number as u32);
            self.weights.push(Weight::Nothing);
            if weight != Weight::Nothing {
                self.set(core, number as u32, weight);
            }
        }
        self.refresh(core);
    }

    /// After a change of one, later acknowledgements of the steps after it are looked at again: when it only
    /// lost its worth, those that have some; else all.
    fn propagate(&self, core: &Core, number: u32, new: Weight, again: &mut BTreeSet<u32>) {
        let ack = core.records.ack(number);
        let plan = &core.views.now().plan;
        // What speaks against a check, and a conflict, keep others from counting: without it they may again.
        let second_look = plan
            .check(ack.step, ack.check)
            .is_some_and(|check| matches!(check.who, super::plans::WhoBits::SecondLook(..)));
        let all = new != Weight::Nothing || self.weight(number) == Weight::Fails || second_look;
        let known = self.weights.len() as u32;
        again.extend(
            core.records
                .closes
                .iter()
                .copied()
                .filter(|&close| close > number && close < known),
        );
        if ack.kind == Kind::Close {
            return;
        }
        let mut steps: Vec<u16> = plan
            .step(ack.step)
            .map(|step| step.after.iter().collect())
            .unwrap_or_default();
        // Answers of the same check can depend on each other, and an older plan may have had another order.
        steps.push(ack.step);
        if core.views.now().amends.is_empty() {
            for step in steps {
                self.again_of(core, step, number, all, again);
            }
        } else {
            for step in 0..core.views.names.steps() as u16 {
                self.again_of(core, step, number, all, again);
            }
        }
    }

    fn again_of(&self, core: &Core, step: u16, after: u32, all: bool, again: &mut BTreeSet<u32>) {
        let Some(list) = core.records.by_step.get(usize::from(step)) else {
            return;
        };
        let from = list.partition_point(|&number| number <= after);
        let known = self.weights.len() as u32;
        again.extend(
            list[from..]
                .iter()
                .copied()
                .take_while(|&number| number < known)
                .filter(|&number| all || self.weight(number) != Weight::Nothing),
        );
    }

    fn set(&mut self, core: &Core, number: u32, weight: Weight) {
        let ack = core.records.ack(number);
        let old = self.weight(number);
        self.weights[number as usize] = weight;
        if ack.kind == Kind::Close {
            return;
        }
        let list = &mut self.counted[ack.check.0 as usize];
        match (list.binary_search(&number), weight) {
            (Ok(at), Weight::Nothing) => {
                list.remove(at);
            }
            (Err(at), Weight::Counts | Weight::Fails | Weight::Unborne) => list.insert(at, number),
            _ => {}
        }
        let settled = self
            .steps
            .get(usize::from(ack.step))
            .is_some_and(|step| step.done && step.needs.is_some());
        // One more of a check that is complete anyway changes nothing.
        if !(settled && old == Weight::Nothing && weight == Weight::Counts) {
            self.stale.push(ack.step);
        }
    }

    /// Works out the completeness of the steps that may have changed.
    fn refresh(&mut self, core: &Core) {
        if self.stale.is_empty() {
            return;
        }
        let view = core.views.now();
        let mut stale = core::mem::take(&mut self.stale);
        stale.sort_unstable();
        stale.dedup();
        let mut changed = self.before.len() != core.views.names.steps();
        for step in stale {
            let fresh = self.tally_step(core, step);
            if self.steps.len() <= usize::from(step) {
                self.steps
                    .resize(usize::from(step) + 1, StepTally::default());
            }
            changed |= self.steps[usize::from(step)] != fresh;
            self.steps[usize::from(step)] = fresh;
        }
        if !changed {
            return;
        }
        self.before = vec![None; core.views.names.steps()];
        for &step in &view.plan.order {
            let Some(at) = view.plan.step(step) else {
                continue;
            };
            let mut needs: Vec<u32> = Vec::new();
            let known = at.before.iter().all(|&earlier| {
                let tally = self.steps.get(usize::from(earlier));
                match tally.and_then(|tally| tally.needs.as_ref().filter(|_| tally.done)) {
                    Some(theirs) => {
                        join(&mut needs, theirs);
                        true
                    }
                    None => false,
                }
            });
            self.before[usize::from(step)] = known.then_some(needs);
        }
    }

    fn tally_step(&self, core: &Core, step: u16) -> StepTally {
        let world = World::now(core, self);
        let (cut, view) = (world.cut, world.view);
        let Some(at) = view.plan.step(step) else {
            return StepTally::default();
        };
        let mut tally = StepTally {
            done: true,
            needs: Some(Vec::new()),
        };
        for check in &at.checks {
            match world.check_done(step, check, cut, cut, view) {
                None => return StepTally::default(),
                Some(witness) if witness.plain => {
                    if let Some(needs) = &mut tally.needs {
                        for &ix in &witness.entries {
                            let chain = core.graph.chain(ix).0 as usize;
                            if needs.len() <= chain {
                                needs.resize(chain + 1, 0);
                            }
                            needs[chain] = needs[chain].max(core.graph.seq(ix) + 1);
                        }
                    }
                }
                Some(_) => tally.needs = None,
            }
        }
        tally
    }

    /// What completes every step before this one now, if it does so in every cut that holds it.
    fn needs_before(&self, step: u16) -> Option<&Vec<u32>> {
        self.before.get(usize::from(step))?.as_ref()
    }
}

fn join(needs: &mut Vec<u32>, theirs: &[u32]) {
    if needs.len() < theirs.len() {
        needs.resize(theirs.len(), 0);
    }
    for (mine, theirs) in needs.iter_mut().zip(theirs) {
        *mine = (*mine).max(*theirs);
    }
}

fn holds(cut: &Cut, needs: &[u32]) -> bool {
    needs
        .iter()
        .enumerate()
        .all(|(chain, need)| cut.get(chain).copied().unwrap_or(0) >= *need)
}

impl World<'_> {
    /// C2 and KNOWN the short way: what completes every step before now is in the author's past, and known to
    /// all. `false` says nothing.
    pub(super) fn known_by_tally(&self, said: &Said<'_>) -> bool {
        let super::world::Weights::Tally(tally) = self.weights else {
            return false;
        };
        if said.kind == Kind::Close || !Arc::ptr_eq(&said.view.plan, &self.view.plan) {
            return false;
        }
        let Some(needs) = tally.needs_before(said.step) else {
            return false;
        };
        if !holds(said.past, needs) {
            return false;
        }
        if said.level || said.kind != Kind::Plain {
            return true;
        }
        said.evidence()
            .is_some_and(|evidence| holds(&self.core.known_by_all(said, evidence), needs))
    }
}
