//! Windows: spans of the job in which something that must stay so was not, or was not known to be.
//! Owns: nothing.   Gives: `Window`s, by people's wall clocks, for people to read.
//! May use: gate, facts, plan, the status's line on roles.   Never: a judgement (these are the gate's, by ages, as they were made).

use crate::gate::{Job, Roster};
use crate::ids::{ConditionId, EntryHash, RoleId};
use crate::log::entry::Body;
use crate::log::graph::EntryIx;
use crate::plan::ConditionKind;
use crate::reason::Reason;
use crate::state::roles_held;
use crate::time::WallClock;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// One span.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Window {
    /// gap: nobody was seen to be in place. exposure: no line order in effect. out: a reading out of bounds
    /// or a sighting. stale: nobody renewed it in time. vacant: fewer held a role than the plan asks for.
    pub name: String,
    /// The condition; `None`: it is about a role.
    pub condition: Option<ConditionId>,
    /// The role that was vacant.
    pub role: Option<RoleId>,
    /// From when, by the wall clock of the entry that it begins with (or ran out after).
    pub from: WallClock,
    /// To when; `None`: to the end of the log.
    pub to: Option<WallClock>,
    /// The entry that it begins with.
    pub entry: EntryHash,
}

fn name(kind: &ConditionKind, ran_out: bool) -> &'static str {
    match kind {
        ConditionKind::Presence => "gap",
        ConditionKind::Order => "exposure",
        _ if ran_out => "stale",
        _ => "out",
    }
}

/// Every window, condition by condition, in the order of the log.
pub(super) fn windows(job: &Job, order: &[EntryIx]) -> Vec<Window> {
    let graph = job.graph();
    let mut windows = Vec::new();
    for condition in &job.plan().conditions {
        let facts = job.facts();
        let all: BTreeSet<EntryIx> = facts
            .readings(graph, graph.all(), &condition.id)
            .into_iter()
            .collect();
        let outs: BTreeSet<EntryIx> = facts
            .outs(graph, graph.all(), &condition.id)
            .into_iter()
            .collect();
        let valid_ms = i64::from(condition.valid_s) * 1000;
        let mut open: Option<Window> = None;
        let mut renewed: Option<(EntryIx, WallClock)> = None;
        for &ix in order.iter().filter(|ix| all.contains(ix)) {
            let wall = graph.content(ix).wall;
            let window = |from: WallClock, entry: EntryIx, ran_out: bool| Window {
                name: name(&condition.kind, ran_out).to_owned(),
                condition: Some(condition.id.clone()),
                role: None,
                from,
                to: None,
                entry: graph.hash(entry),
            };
            if outs.contains(&ix) {
                open.get_or_insert_with(|| window(wall, ix, false));
                renewed = None;
                continue;
            }
            if !facts.is_basis_in_place(graph, ix, &condition.id) {
                // An act after an explicit away brings nobody back.
                continue;
            }
            if let Some(mut window) = open.take() {
                window.to = Some(wall);
                windows.push(window);
            } else if let Some((before, since)) = renewed
                && wall.0.saturating_sub(since.0) > valid_ms
            {
                let mut ran_out = window(WallClock(since.0.saturating_add(valid_ms)), before, true);
                ran_out.to = Some(wall);
                windows.push(ran_out);
            }
            renewed = Some((ix, wall));
        }
        windows.extend(open);
    }
    windows.extend(vacancies(job, order));
    windows
}

/// From when to when a role that had been held was vacant, by the wall clocks of the entries that made it so. A
/// change is taken for known from the first entry on that had seen every change before it.
fn vacancies(job: &Job, order: &[EntryIx]) -> Vec<Window> {
    let graph = job.graph();
    let changes_who_holds = |ix: &EntryIx| {
        matches!(
            graph.body(*ix),
            Body::Admit(_) | Body::Leave | Body::Seal(_) | Body::Take(_)
        )
    };
    let mut changes: Vec<EntryIx> = Vec::new();
    let mut open: BTreeMap<RoleId, Window> = BTreeMap::new();
    let mut held: BTreeSet<RoleId> = BTreeSet::new();
    let mut windows = Vec::new();
    let mut news = false;
    let mut look = |roster: &Roster, newest: EntryIx| {
        let vacant: BTreeSet<RoleId> = roles_held(roster, job.plan())
            .into_iter()
            .filter_map(|reason| match reason {
                Reason::RoleVacant { role } => Some(role),
                _ => None,
            })
            .collect();
        let wall = graph.content(newest).wall;
        let present = roster.members.values().filter(|member| member.present);
        let roles = present.flat_map(|member| member.roles.iter().cloned());
        held.extend(roles.filter(|role| !vacant.contains(role)));
        let filled: Vec<RoleId> = open
            .keys()
            .filter(|role| !vacant.contains(*role))
            .cloned()
            .collect();
        for role in filled {
            if let Some(mut window) = open.remove(&role) {
                window.to = Some(wall);
                windows.push(window);
            }
        }
        // Before a role was first held nobody was waited for.
        for role in vacant.intersection(&held) {
            open.entry(role.clone()).or_insert_with(|| Window {
                name: "vacant".to_owned(),
                condition: None,
                role: Some(role.clone()),
                from: wall,
                to: None,
                entry: graph.hash(newest),
            });
        }
    };
    for &ix in order {
        if news
            && let Some(&newest) = changes.last()
            && changes.iter().all(|&change| graph.before(change, ix))
        {
            look(job.roster_in_past(ix), newest);
            news = false;
        }
        if changes_who_holds(&ix) {
            changes.push(ix);
            news = true;
        }
    }
    if news && let Some(&newest) = changes.last() {
        look(job.roster(), newest);
    }
    windows.extend(open.into_values());
    windows
}
