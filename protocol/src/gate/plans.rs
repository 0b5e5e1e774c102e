//! Plans: the plan as amended at each cut, with its steps and checks by number.
//! Owns: the numbers of steps and checks.   Gives: `Names`, `PlanAt` with what comes before and after each step.
//! May use: plan, bits, log::entry.   Never: which amendments stand (standing).

use super::bits::Steps;
use crate::ids::{CheckId, RoleId, StepId};
use crate::log::entry::{Amend, Change};
use crate::plan::{Check, Expects, Lasts, Plan, Step, Who};
use std::collections::{BTreeMap, BTreeSet};

/// Roles as bits: the founding plan's list, which no amendment changes, numbers them.
pub(super) type Roles = u64;

/// A check's number, the same in every version of the plan.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) struct CheckNo(pub(super) u32);

/// Numbers given to steps and checks when first met, and never changed.
#[derive(Clone, Debug, Default)]
pub(super) struct Names {
    steps: BTreeMap<StepId, u16>,
    checks: BTreeMap<StepId, BTreeMap<CheckId, CheckNo>>,
    check_steps: Vec<u16>,
    roles: Vec<RoleId>,
}

impl Names {
    pub(super) fn new(plan: &Plan) -> Self {
        let mut names = Self {
            roles: plan.roles.iter().map(|role| role.id.clone()).collect(),
            ..Self::default()
        };
        // The two roles that the gate itself asks for, even if a plan forgot them.
        for name in [RoleId::SUPERVISOR, RoleId::OBSERVER] {
            if let Ok(role) = RoleId::try_from(name)
                && !names.roles.contains(&role)
            {
                names.roles.insert(0, role);
            }
        }
        names.learn(plan);
        names
    }

    fn learn(&mut self, plan: &Plan) {
        for step in &plan.steps {
            let next = self.steps.len() as u16;
            let step_no = *self.steps.entry(step.id.clone()).or_insert(next);
            let checks = self.checks.entry(step.id.clone()).or_default();
            for check in &step.checks {
                if !checks.contains_key(&check.id) {
                    checks.insert(check.id.clone(), CheckNo(self.check_steps.len() as u32));
                    self.check_steps.push(step_no);
                }
            }
        }
    }

    pub(super) fn step(&self, id: &StepId) -> Option<u16> {
        self.steps.get(id).copied()
    }

    pub(super) fn check(&self, step: &StepId, check: &CheckId) -> Option<CheckNo> {
        self.checks.get(step)?.get(check).copied()
    }

    pub(super) fn checks(&self) -> usize {
        self.check_steps.len()
    }

    pub(super) fn steps(&self) -> usize {
        self.steps.len()
    }

    /// The bit of a role; none for a role that the plan does not name, which nobody then holds.
    pub(super) fn role(&self, role: &RoleId) -> Roles {
        self.roles
            .iter()
            .take(64)
            .position(|known| known == role)
            .map_or(0, |at| 1 << at)
    }

    pub(super) fn roles<'a>(&self, roles: impl IntoIterator<Item = &'a RoleId>) -> Roles {
        roles
            .into_iter()
            .fold(0, |bits, role| bits | self.role(role))
    }
}

/// Who acknowledges, with roles as bits.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum WhoBits {
    /// One for each place, by different people.
    Places(Vec<Roles>),
    /// Everyone who holds the role; `None`: everyone.
    Each(Option<Roles>),
    /// Two people, blind.
    SecondLook(Roles, Roles),
    /// Report and repeat.
    ReadBack(Roles, Roles),
}

impl WhoBits {
    /// The roles that may acknowledge; all bits where everyone may.
    pub(super) fn any(&self) -> Roles {
        match self {
            Self::Places(places) => places.iter().fold(0, |all, place| all | place),
            Self::Each(each) => each.unwrap_or(Roles::MAX),
            Self::SecondLook(a, b) | Self::ReadBack(a, b) => a | b,
        }
    }

    /// Whether one answer stands for the check, so that a different one contradicts it.
    pub(super) fn single(&self) -> bool {
        match self {
            Self::Places(places) => places.len() == 1,
            Self::ReadBack(..) => true,
            Self::Each(_) | Self::SecondLook(..) => false,
        }
    }
}

/// A check of one version of the plan.
#[derive(Clone, Debug)]
pub(super) struct CheckAt {
    pub(super) no: CheckNo,
    pub(super) at: usize,
    pub(super) who: WhoBits,
    pub(super) yes_only: bool,
}

/// A step of one version of the plan.
#[derive(Clone, Debug)]
pub(super) struct StepAt {
    /// Its place in the plan's list.
    pub(super) at: usize,
    /// Every step before it, however far, as numbers in the plan's order.
    pub(super) before: Vec<u16>,
    /// Every step after it, however far.
    pub(super) after: Steps,
    pub(super) checks: Vec<CheckAt>,
}

/// One version of the plan.
#[derive(Debug)]
pub(super) struct PlanAt {
    pub(super) plan: Plan,
    /// By number.
    steps: Vec<Option<StepAt>>,
    /// Numbers in the plan's order.
    pub(super) order: Vec<u16>,
}

impl PlanAt {
    pub(super) fn new(plan: Plan, names: &mut Names) -> Self {
        names.learn(&plan);
        let order: Vec<u16> = plan
            .steps
            .iter()
            .filter_map(|step| names.step(&step.id))
            .collect();
        let before = closures(&plan, names);
        let mut steps: Vec<Option<StepAt>> = vec![None; names.steps()];
        for (at, step) in plan.steps.iter().enumerate() {
            let Some(no) = names.step(&step.id) else {
                continue;
            };
            let mut after = Steps::default();
            for (&other, theirs) in order.iter().zip(&before) {
                if theirs.has(no) {
                    after.insert(other);
                }
            }
            let mine = before.get(at).cloned().unwrap_or_default();
            steps[usize::from(no)] = Some(StepAt {
                at,
                before: order.iter().copied().filter(|&no| mine.has(no)).collect(),
                after,
                checks: checks_at(step, names),
            });
        }
        Self { plan, steps, order }
    }

    pub(super) fn step(&self, no: u16) -> Option<&StepAt> {
        self.steps.get(usize::from(no))?.as_ref()
    }

    pub(super) fn check(&self, step: u16, check: CheckNo) -> Option<&CheckAt> {
        self.step(step)?
            .checks
            .iter()
            .find(|known| known.no == check)
    }

    /// The ids of steps by number.
    pub(super) fn ids(&self, steps: &Steps) -> BTreeSet<StepId> {
        self.order
            .iter()
            .zip(&self.plan.steps)
            .filter(|(no, _)| steps.has(**no))
            .map(|(_, step)| step.id.clone())
            .collect()
    }

    pub(super) fn plan_step(&self, step: u16) -> Option<&Step> {
        self.plan.steps.get(self.step(step)?.at)
    }

    pub(super) fn plan_check(&self, step: u16, check: &CheckAt) -> Option<&Check> {
        self.plan_step(step)?.checks.get(check.at)
    }
}

fn checks_at(step: &Step, names: &Names) -> Vec<CheckAt> {
    let who = |who: &Who| match who {
        Who::Roles(places) => WhoBits::Places(places.iter().map(|role| names.role(role)).collect()),
        Who::Each(role) => WhoBits::Each(role.as_ref().map(|role| names.role(role))),
        Who::SecondLook { first, second } => {
            WhoBits::SecondLook(names.roles(first), names.roles(second))
        }
        Who::ReadBack { report, repeat } => {
            WhoBits::ReadBack(names.roles(report), names.roles(repeat))
        }
    };
    step.checks
        .iter()
        .enumerate()
        .filter_map(|(at, check)| {
            Some(CheckAt {
                no: names.check(&step.id, &check.id)?,
                at,
                who: who(&check.who),
                yes_only: matches!(
                    check.expects,
                    Expects::Yes | Expects::Heads | Expects::OrderIs { .. }
                ),
            })
        })
        .collect()
}

/// For each step of the list, every step before it. A step before itself (an amendment may draw a circle) is in
/// its own set, so it and what follows is never complete.
fn closures(plan: &Plan, names: &Names) -> Vec<Steps> {
    let mut before: Vec<Steps> = plan
        .steps
        .iter()
        .map(|step| {
            let mut set = Steps::default();
            for earlier in step.after.iter().filter_map(|id| names.step(id)) {
                set.insert(earlier);
            }
            set
        })
        .collect();
    let place: BTreeMap<u16, usize> = plan
        .steps
        .iter()
        .enumerate()
        .filter_map(|(at, step)| Some((names.step(&step.id)?, at)))
        .collect();
    loop {
        let mut changed = false;
        for at in 0..before.len() {
            let direct: Vec<usize> = before[at]
                .iter()
                .filter_map(|no| place.get(&no).copied())
                .collect();
            for earlier in direct {
                let theirs = before[earlier].clone();
                changed |= before[at].add(&theirs);
            }
        }
        if !changed {
            return before;
        }
    }
}

/// What is confirmed again because of an administrative entry.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Cover {
    /// Whole steps.
    pub(super) steps: Steps,
    /// Single checks of other steps.
    pub(super) checks: Vec<CheckNo>,
}

impl Cover {
    pub(super) fn has(&self, step: u16, check: CheckNo) -> bool {
        self.steps.has(step) || self.checks.contains(&check)
    }

    fn step_and_after(&mut self, plan: &PlanAt, step: u16) {
        self.steps.insert(step);
        if let Some(at) = plan.step(step) {
            self.steps.add(&at.after);
        }
    }
}

/// A step and everything after it.
pub(super) fn step_cover(plan: &PlanAt, step: u16) -> Cover {
    let mut cover = Cover::default();
    cover.step_and_after(plan, step);
    cover
}

/// A step back covers its step and everything after it.
pub(super) fn step_back_cover(plan: &PlanAt, names: &Names, step: &StepId) -> Cover {
    names
        .step(step)
        .map(|step| step_cover(plan, step))
        .unwrap_or_default()
}

/// RESUME-DAY covers every check that lasts a day or a shift, and every step after one that has such a check.
pub(super) fn resume_day_cover(plan: &PlanAt) -> Cover {
    let mut cover = Cover::default();
    for &no in &plan.order {
        let Some(step) = plan.step(no) else { continue };
        for check in &step.checks {
            let lasts = plan.plan_check(no, check).map(|check| check.lasts);
            if lasts.is_some_and(|lasts| lasts != Lasts::Job) {
                cover.checks.push(check.no);
                cover.steps.add(&step.after);
            }
        }
    }
    cover
}

/// An amendment covers the steps that it names; and, so that no confirmation stands for words that were
/// never read, each step that it changes and each step with a check judged by a limit or line that it
/// changes: every one with everything after it, in the plan before and in the plan after.
pub(super) fn amend_cover(before: &PlanAt, after: &PlanAt, names: &Names, amend: &Amend) -> Cover {
    let mut named: Vec<u16> = amend
        .covers
        .iter()
        .filter_map(|id| names.step(id))
        .collect();
    for (&no, step) in after.order.iter().zip(&after.plan.steps) {
        let was = before.plan.step(&step.id);
        let judged_anew = step.checks.iter().any(|check| match &check.expects {
            Expects::Measured { limit } => before.plan.limit(limit) != after.plan.limit(limit),
            Expects::Identity => before.plan.line != after.plan.line,
            _ => false,
        });
        if was.is_some_and(|was| was != step) || (was.is_some() && judged_anew) {
            named.push(no);
        }
    }
    let mut cover = Cover::default();
    for step in named {
        cover.step_and_after(before, step);
        cover.step_and_after(after, step);
    }
    cover
}

/// The plan with an amendment's changes, applied in order.
pub(super) fn amended(plan: &Plan, amend: &Amend) -> Plan {
    fn put<T>(list: &mut Vec<T>, new: &T, same: impl Fn(&T) -> bool)
    where
        T: Clone,
    {
        match list.iter_mut().find(|known| same(known)) {
            Some(known) => *known = new.clone(),
            None => list.push(new.clone()),
        }
    }
    let mut plan = plan.clone();
    for change in &amend.changes {
        match change {
            Change::Step(new) => put(&mut plan.steps, new.as_ref(), |step| step.id == new.id),
            Change::Limit(new) => put(&mut plan.limits, new, |limit| limit.id == new.id),
            Change::Condition(new) => {
                put(&mut plan.conditions, new, |known| known.id == new.id);
            }
            Change::Item(new) => put(&mut plan.items, new, |item| item.id == new.id),
            Change::Line(new) => plan.line = new.clone(),
        }
    }
    plan
}
