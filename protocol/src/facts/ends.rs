//! Ends: may the job be suspended or closed in this state, and where is everybody in an emergency?
//! Owns: nothing.   Gives: reasons against a close or a suspension; whereabouts.
//! May use: plan, the other facts.   Never: which steps are complete (gate).

use super::marks::marks;
use super::{Facts, HeadsView};
use crate::gate::Roster;
use crate::ids::{DeviceKey, MarkId, Person, StepId};
use crate::log::entry::{Body, Suspend};
use crate::log::graph::{Cut, EntryIx, Graph};
use crate::plan::{MarkIs, Place, Plan, Step};
use crate::reason::Reason;
use std::collections::BTreeSet;

/// Where one person is, as far as the log can know.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Whereabouts {
    /// Who.
    pub person: Person,
    /// Whether a role of theirs is aloft.
    pub aloft: bool,
    /// Who says that they are in the clear; `None`: nobody.
    pub clear_by: Option<DeviceKey>,
}

impl Facts {
    /// CLOSE: every step complete, heads, counted items home, no load on its way, no mark in doubt. `cut` is
    /// the author's past.
    #[must_use]
    #[allow(
        clippy::too_many_arguments,
        reason = "a query over log, cut, roster, plan and the gate's sets"
    )]
    pub fn close_reasons(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        plan: &Plan,
        complete: &BTreeSet<StepId>,
        reached: &BTreeSet<StepId>,
        secured: &[MarkIs],
    ) -> Vec<Reason> {
        let mut reasons = Vec::new();
        for step in plan
            .steps
            .iter()
            .filter(|step| !complete.contains(&step.id))
        {
            for check in &step.checks {
                reasons.push(Reason::Missing {
                    step: step.id.clone(),
                    check: check.id.clone(),
                    needs: Vec::new(),
                });
            }
        }
        let heads = self.heads(graph, cut, roster);
        if !heads.complete() {
            reasons.push(Reason::NotAccounted {
                what: heads.missing_words(),
            });
        }
        for item in &plan.items {
            let custody = self.custody(graph, cut, plan, &item.id);
            let home = match custody.at {
                Place::Truck => true,
                // A load may have been installed; a tool left there is a tool left behind.
                Place::Structure | Place::Conductor => item.load,
                Place::Ground | Place::Aloft | Place::OnTheLine => false,
            };
            if (item.counted && !home) || custody.under_way.is_some() {
                reasons.push(Reason::ItemNotThere {
                    item: item.id.clone(),
                });
            }
        }
        let late: Vec<(MarkId, StepId)> = self.late_marks(graph, cut);
        for (id, mark) in marks(plan, complete, reached, secured, &late) {
            if mark.in_doubt {
                reasons.push(Reason::MarkNotSo { mark: id });
            }
        }
        reasons
    }

    /// SUSPEND: every last complete step is one that the plan calls safe to leave and nothing further is
    /// begun; a step that its words begin with is complete and safe to leave; the tools named add up; the head count named is complete. `begun`: steps not complete with a
    /// counted acknowledgement. A suspension is a stop whatever this says.
    #[must_use]
    #[allow(
        clippy::too_many_arguments,
        reason = "a query over log, cut, roster, plan and the gate's sets"
    )]
    pub fn suspend_reasons(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        plan: &Plan,
        suspend: &Suspend,
        complete: &BTreeSet<StepId>,
        begun: &BTreeSet<StepId>,
    ) -> Vec<Reason> {
        let mut reasons = Vec::new();
        let last = plan.steps.iter().filter(|step| {
            complete.contains(&step.id)
                && !plan
                    .steps
                    .iter()
                    .any(|later| complete.contains(&later.id) && later.after.contains(&step.id))
        });
        // Where the author says the job stands: a step that it names must have been reached.
        let named = suspend.state.split_whitespace().next().and_then(|word| {
            let word = word.trim_end_matches([':', ',', ';', '.']);
            let same = |step: &&Step| step.id.as_str().eq_ignore_ascii_case(word);
            plan.steps.iter().find(same)
        });
        let named_well = named.is_none_or(|step| complete.contains(&step.id) && step.safe_to_leave);
        if !begun.is_empty() || !named_well || !last.into_iter().all(|step| step.safe_to_leave) {
            reasons.push(Reason::NotSafeState);
        }
        if suspend.tools_out != suspend.tools_back {
            reasons.push(Reason::NotAccounted {
                what: format!(
                    "tools: {} out, {} back",
                    suspend.tools_out, suspend.tools_back
                ),
            });
        }
        let loads = plan
            .items
            .iter()
            .filter(|item| self.custody(graph, cut, plan, &item.id).under_way.is_some());
        reasons.extend(loads.map(|item| Reason::ItemNotThere {
            item: item.id.clone(),
        }));
        let count = suspend
            .heads
            .and_then(|hash| graph.find(&hash))
            .filter(|&ix| graph.within(ix, cut) && matches!(graph.body(ix), Body::HeadCount(_)));
        let heads: HeadsView = self.heads_with(graph, cut, roster, count);
        if !heads.complete() {
            reasons.push(Reason::NotAccounted {
                what: heads.missing_words(),
            });
        }
        reasons
    }

    /// EMERGENCY: where everybody is, as far as the log can know.
    #[must_use]
    pub fn whereabouts(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        plan: &Plan,
    ) -> Vec<Whereabouts> {
        let heads = self.heads(graph, cut, roster);
        let aloft = |person: &Person| {
            roster
                .members
                .values()
                .filter(|member| &member.person == person)
                .flat_map(|member| &member.roles)
                .any(|role| plan.role(role).is_some_and(|role| role.aloft))
        };
        self.people(graph, cut, roster)
            .into_iter()
            .map(|person| Whereabouts {
                aloft: aloft(&person),
                clear_by: heads.clear.get(&person).copied(),
                person,
            })
            .collect()
    }

    /// Emergencies called in a cut, in order of arrival.
    #[must_use]
    pub fn emergencies(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        let in_cut = |ix: &&EntryIx| graph.within(**ix, cut);
        self.emergencies.iter().filter(in_cut).copied().collect()
    }

    /// Suspensions in a cut, in order of arrival.
    #[must_use]
    pub fn suspensions(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        let in_cut = |ix: &&EntryIx| graph.within(**ix, cut);
        self.suspensions.iter().filter(in_cut).copied().collect()
    }

    /// New days begun in a cut, in order of arrival.
    #[must_use]
    pub fn days(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        let in_cut = |ix: &&EntryIx| graph.within(**ix, cut);
        self.days.iter().filter(in_cut).copied().collect()
    }
}
