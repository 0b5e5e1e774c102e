//! Explore: can any order of steps that the plan allows break a `never` rule, or come to a dead end?
//! Owns: nothing.   Gives: `explore`, `Proof`, `Unproved`.
//! May use: plan::types, ids, bounds.   Never: the log, who acknowledges, whether a step can be seen.
//!
//! A state is the set of complete steps with the value of every mark. From it go on the steps whose steps
//! before are complete and whose needed marks are so. Any number of these may be under way at once, and of
//! a step under way nobody knows how far it is, so in each state a mark has its own value and also that of
//! every such step, each independently of the others. A rule is proved when in no state that can be
//! reached all its marks can have the values that break it. States are visited breadth first, so what is
//! found first is a shortest order.
//!
//! Beyond this proof: what people do outside the plan, and steps opened by an exit plan, which its authors
//! agree to one by one.

use super::types::{MarkIs, Plan};
use crate::bounds::STEPS_MAX;
use crate::ids::StepId;
use serde::Serialize;
use std::collections::BTreeMap;

/// States explored before giving up: enough for twelve steps in any order beside a chain of two hundred,
/// and some hundred megabytes.
pub const STATES_MAX: usize = 1_000_000;

/// What was proved: no rule can be broken, and from every state all steps can still be completed.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Proof {
    /// States visited.
    pub states: usize,
    /// Orders of steps that the plan allows; `u128::MAX` for that many or more.
    pub orders: u128,
    /// Most steps that can be under way at once.
    pub widest: usize,
    /// Rules proved.
    pub rules: usize,
    /// Steps.
    pub steps: usize,
    /// Steps that in some order are open before a mark that they need is so; their checks wait for it.
    /// Better is an `after` that makes them wait: the step then shows as locked.
    pub open_early: Vec<StepId>,
}

/// Why there is no proof.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error, Serialize)]
#[serde(tag = "unproved", rename_all = "snake_case")]
#[allow(
    missing_docs,
    reason = "the fields are the things that the variant's own line names"
)]
pub enum Unproved {
    /// An order of steps breaks a rule: none is shorter.
    #[error(
        "rule broken: {why}: after {}, while {} under way",
        names(order),
        names(under_way)
    )]
    RuleBroken {
        /// Index of the rule in the plan.
        rule: usize,
        /// The rule in words.
        why: String,
        /// Steps completed, in order.
        order: Vec<StepId>,
        /// Steps that are then under way at once.
        under_way: Vec<StepId>,
        /// The marks that then hold together.
        marks: Vec<MarkIs>,
    },
    /// An order of steps leads where nothing can go on.
    #[error("dead end: after {}, nothing can go on", names(order))]
    DeadEnd {
        /// Steps completed, in order.
        order: Vec<StepId>,
        /// Steps whose steps before are complete, each with the needed marks that are not so.
        waiting: Vec<(StepId, Vec<MarkIs>)>,
    },
    /// Not explored to the end.
    #[error(
        "more than {most} states, of which none broke a rule so far; let fewer steps run beside each other"
    )]
    TooManyStates { most: usize },
    /// The plan does not pass `check`: unknown steps or marks, rings, or too many.
    #[error("the plan does not pass its check, so its orders cannot be explored")]
    Unsound,
}

fn names(steps: &[StepId]) -> String {
    if steps.is_empty() {
        return "nothing".to_owned();
    }
    let names: Vec<&str> = steps.iter().map(StepId::as_str).collect();
    names.join(" → ")
}

/// Proves the rules of a plan over every order of its steps. `states_max`: see [`STATES_MAX`].
///
/// # Errors
/// [`Unproved`]: the shortest order that breaks a rule or ends nowhere, or why there is no answer.
pub fn explore(plan: &Plan, states_max: usize) -> Result<Proof, Unproved> {
    let model = Model::new(plan).ok_or(Unproved::Unsound)?;
    let mut search = Search::new(&model);
    let mut next = 0;
    let mut widest = 0;
    let mut early = Bits::NONE;
    while let Some(state) = search.states.get(next).cloned() {
        let going = model.going(&state);
        widest = widest.max(going.len());
        let waits = model.open(&state).filter(|step| !going.contains(step));
        waits.for_each(|step| early.set(step));
        if let Some((rule, under_way)) = model.broken(&state, &going) {
            return Err(Unproved::RuleBroken {
                rule,
                why: plan.never[rule].why.clone(),
                order: search.order(next, plan),
                under_way: model.ids(&under_way),
                marks: plan.never[rule].all.clone(),
            });
        }
        if going.is_empty() && !model.all_done(&state) {
            return Err(Unproved::DeadEnd {
                order: search.order(next, plan),
                waiting: model.waiting(&state),
            });
        }
        for step in going {
            search.reach(model.complete(&state, step), next, step);
        }
        if search.states.len() > states_max {
            return Err(Unproved::TooManyStates { most: states_max });
        }
        next += 1;
    }
    Ok(Proof {
        states: search.states.len(),
        orders: search.orders.last().copied().unwrap_or(0),
        widest,
        rules: plan.never.len(),
        steps: plan.steps.len(),
        open_early: model.ids(&early.list()),
    })
}

/// Steps as bits, by their index in the plan, the first 128 in the first word.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
struct Bits(u128, u128);

const _: () = assert!(STEPS_MAX <= 256, "two words of 128 bits hold every step");

impl Bits {
    const NONE: Self = Self(0, 0);

    fn one(at: usize) -> Self {
        if at < 128 {
            Self(1 << at, 0)
        } else {
            Self(0, 1 << (at % 128))
        }
    }

    fn set(&mut self, at: usize) {
        let one = Self::one(at);
        self.0 |= one.0;
        self.1 |= one.1;
    }

    fn has(&self, at: usize) -> bool {
        self.covers(&Self::one(at))
    }

    fn list(&self) -> Vec<usize> {
        (0..STEPS_MAX).filter(|at| self.has(*at)).collect()
    }

    /// Whether all of `other` are in `self`.
    fn covers(&self, other: &Self) -> bool {
        self.0 & other.0 == other.0 && self.1 & other.1 == other.1
    }
}

/// Steps complete, and for each mark the index of its value.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
struct State {
    done: Bits,
    marks: Box<[u8]>,
}

/// A mark having a value, both as indices.
type Is = (usize, u8);

/// The plan as indices.
struct Model<'p> {
    plan: &'p Plan,
    start: Box<[u8]>,
    after: Vec<Bits>,
    needs: Vec<Vec<Is>>,
    sets: Vec<Vec<Is>>,
    rules: Vec<Vec<Is>>,
}

impl<'p> Model<'p> {
    /// `None` for a plan that does not pass its check.
    fn new(plan: &'p Plan) -> Option<Self> {
        if plan.steps.len() > STEPS_MAX {
            return None;
        }
        let is = |is: &MarkIs| -> Option<Is> {
            let mark = plan.marks.iter().position(|mark| mark.id == is.mark)?;
            let states = &plan.marks[mark].states;
            let state = states.iter().position(|state| *state == is.state)?;
            Some((mark, u8::try_from(state).ok()?))
        };
        let all = |list: &[MarkIs]| list.iter().map(is).collect::<Option<Vec<Is>>>();
        let start = plan.marks.iter().map(|mark| {
            let at = mark.states.iter().position(|state| *state == mark.start)?;
            u8::try_from(at).ok()
        });
        let after = plan.steps.iter().map(|step| {
            let mut bits = Bits::NONE;
            for before in &step.after {
                bits.set(plan.steps.iter().position(|other| other.id == *before)?);
            }
            Some(bits)
        });
        Some(Self {
            plan,
            start: start.collect::<Option<_>>()?,
            after: after.collect::<Option<_>>()?,
            needs: plan
                .steps
                .iter()
                .map(|s| all(&s.needs))
                .collect::<Option<_>>()?,
            sets: plan
                .steps
                .iter()
                .map(|s| all(&s.sets))
                .collect::<Option<_>>()?,
            rules: plan
                .never
                .iter()
                .map(|n| all(&n.all))
                .collect::<Option<_>>()?,
        })
    }

    /// Steps whose steps before are complete and that are not complete themselves.
    fn open<'s>(&'s self, state: &'s State) -> impl Iterator<Item = usize> + 's {
        (0..self.after.len())
            .filter(|step| !state.done.has(*step) && state.done.covers(&self.after[*step]))
    }

    /// Open steps whose needed marks are so: those that may be under way.
    fn going(&self, state: &State) -> Vec<usize> {
        self.open(state)
            .filter(|step| self.needs[*step].iter().all(|is| holds(state, *is)))
            .collect()
    }

    fn all_done(&self, state: &State) -> bool {
        (0..self.after.len()).all(|step| state.done.has(step))
    }

    fn complete(&self, state: &State, step: usize) -> State {
        let mut after = state.clone();
        after.done.set(step);
        for (mark, value) in &self.sets[step] {
            after.marks[*mark] = *value;
        }
        after
    }

    /// The first rule whose marks can all have their values at once, and the steps that are then under
    /// way for it: for each mark that has not the value already, the first step that sets it.
    fn broken(&self, state: &State, going: &[usize]) -> Option<(usize, Vec<usize>)> {
        self.rules.iter().enumerate().find_map(|(rule, all)| {
            let mut under_way = Vec::new();
            for is in all {
                if !holds(state, *is) {
                    let step = going.iter().find(|step| self.sets[**step].contains(is))?;
                    if !under_way.contains(step) {
                        under_way.push(*step);
                    }
                }
            }
            Some((rule, under_way))
        })
    }

    fn waiting(&self, state: &State) -> Vec<(StepId, Vec<MarkIs>)> {
        self.open(state)
            .map(|step| {
                let needs = self.plan.steps[step].needs.iter().zip(&self.needs[step]);
                let unmet = needs.filter(|(_, is)| !holds(state, **is));
                let unmet = unmet.map(|(need, _)| need.clone()).collect();
                (self.plan.steps[step].id.clone(), unmet)
            })
            .collect()
    }

    fn ids(&self, steps: &[usize]) -> Vec<StepId> {
        let steps = steps.iter().map(|step| self.plan.steps[*step].id.clone());
        steps.collect()
    }
}

fn holds(state: &State, (mark, value): Is) -> bool {
    state.marks[mark] == value
}

/// States in the order they were reached: fewer steps complete first.
struct Search {
    states: Vec<State>,
    /// How each state was first reached: from which, by completing which step.
    from: Vec<Option<(usize, usize)>>,
    /// In how many orders it can be reached.
    orders: Vec<u128>,
    index: BTreeMap<State, usize>,
}

impl Search {
    fn new(model: &Model<'_>) -> Self {
        let start = State {
            done: Bits::NONE,
            marks: model.start.clone(),
        };
        Self {
            states: vec![start.clone()],
            from: vec![None],
            orders: vec![1],
            index: BTreeMap::from([(start, 0)]),
        }
    }

    /// All states with one step fewer are visited before the first with more, so the number of orders of
    /// `from` is final when it is added here.
    fn reach(&mut self, state: State, from: usize, step: usize) {
        let ways = self.orders[from];
        match self.index.get(&state) {
            Some(at) => self.orders[*at] = self.orders[*at].saturating_add(ways),
            None => {
                self.index.insert(state.clone(), self.states.len());
                self.states.push(state);
                self.from.push(Some((from, step)));
                self.orders.push(ways);
            }
        }
    }

    /// The steps completed on the way to a state.
    fn order(&self, state: usize, plan: &Plan) -> Vec<StepId> {
        let mut order = Vec::new();
        let mut here = state;
        while let Some((before, step)) = self.from[here] {
            order.push(plan.steps[step].id.clone());
            here = before;
        }
        order.reverse();
        order
    }
}

#[cfg(test)]
mod tests;
