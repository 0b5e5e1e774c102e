//! Marks: what is so on the structure, as completed steps have set it.
//! Owns: nothing.   Gives: each mark's value, whether it is in doubt, and which values are then possible.
//! May use: plan, ids.   Never: which steps are complete (gate).
//!
//! A confirmation that was annulled does not move what physically is: the mark keeps the value, in doubt,
//! and rules are checked for both values.

use crate::ids::{MarkId, MarkState, StepId};
use crate::plan::{MarkIs, Plan, Step};
use crate::reason::Reason;
use std::collections::{BTreeMap, BTreeSet};

/// A mark.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct MarkView {
    /// Its value.
    pub state: MarkState,
    /// Every value that it may have; more than one while it is in doubt.
    pub possible: BTreeSet<MarkState>,
    /// Whether a confirmation that it rests on was annulled, or a note says that something was done earlier.
    pub in_doubt: bool,
}

impl MarkView {
    fn sure(state: &MarkState) -> Self {
        Self {
            state: state.clone(),
            possible: BTreeSet::from([state.clone()]),
            in_doubt: false,
        }
    }
}

/// The marks, from the steps in the plan's order. `complete`: complete now; `reached`: complete now or in
/// the past of some entry; `secured`: what a job that this one continues had left; `late`: marks that a
/// late note not yet reviewed touches, each with the step that it names.
#[must_use]
pub fn marks(
    plan: &Plan,
    complete: &BTreeSet<StepId>,
    reached: &BTreeSet<StepId>,
    secured: &[MarkIs],
    late: &[(MarkId, StepId)],
) -> BTreeMap<MarkId, MarkView> {
    let mut marks: BTreeMap<MarkId, MarkView> = plan
        .marks
        .iter()
        .map(|mark| (mark.id.clone(), MarkView::sure(&mark.start)))
        .collect();
    for left in secured {
        marks.insert(left.mark.clone(), MarkView::sure(&left.state));
    }
    for step in &plan.steps {
        for set in &step.sets {
            if complete.contains(&step.id) {
                marks.insert(set.mark.clone(), MarkView::sure(&set.state));
            } else if reached.contains(&step.id)
                && let Some(mark) = marks.get_mut(&set.mark)
            {
                mark.in_doubt = true;
                mark.state = set.state.clone();
                mark.possible.insert(set.state.clone());
            }
        }
    }
    for (id, step) in late {
        if let Some(mark) = marks.get_mut(id) {
            mark.in_doubt = true;
            let set = plan.step(step).into_iter().flat_map(|step| &step.sets);
            let states = set.filter(|set| &set.mark == id).map(|set| &set.state);
            mark.possible.extend(states.cloned());
        }
    }
    marks
}

/// A step and everything after it.
fn with_all_after(plan: &Plan, step: &StepId) -> BTreeSet<StepId> {
    let mut set = BTreeSet::from([step.clone()]);
    loop {
        let more: Vec<StepId> = plan
            .steps
            .iter()
            .filter(|other| !set.contains(&other.id) && other.after.iter().any(|q| set.contains(q)))
            .map(|other| other.id.clone())
            .collect();
        if more.is_empty() {
            return set;
        }
        set.extend(more);
    }
}

/// The marks as `step` needs them: a doubt that comes from this step itself, or from a later one, being
/// annulled does not bar its own confirmation, or it could never be given again.
#[must_use]
pub fn marks_for(
    plan: &Plan,
    step: &StepId,
    complete: &BTreeSet<StepId>,
    reached: &BTreeSet<StepId>,
    secured: &[MarkIs],
    late: &[(MarkId, StepId)],
) -> BTreeMap<MarkId, MarkView> {
    let later = with_all_after(plan, step);
    let earlier: BTreeSet<StepId> = reached.difference(&later).cloned().collect();
    let late: Vec<(MarkId, StepId)> = late
        .iter()
        .filter(|(_, named)| !later.contains(named))
        .cloned()
        .collect();
    marks(plan, complete, &earlier, secured, &late)
}

/// MARKS (C9): the marks that a step needs have their values, beyond doubt.
#[must_use]
pub fn marks_ready(
    plan: &Plan,
    step: &Step,
    complete: &BTreeSet<StepId>,
    reached: &BTreeSet<StepId>,
    secured: &[MarkIs],
    late: &[(MarkId, StepId)],
) -> Vec<Reason> {
    if step.needs.is_empty() {
        return Vec::new();
    }
    let marks = marks_for(plan, &step.id, complete, reached, secured, late);
    step.needs
        .iter()
        .filter(|need| {
            !marks
                .get(&need.mark)
                .is_some_and(|mark| !mark.in_doubt && mark.state == need.state)
        })
        .map(|need| Reason::MarkNotSo {
            mark: need.mark.clone(),
        })
        .collect()
}
