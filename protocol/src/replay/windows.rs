//! Windows: spans of the job in which something that must stay so was not, or was not known to be.
//! Owns: nothing.   Gives: `Window`s, by people's wall clocks, for people to read.
//! May use: gate, facts, plan.   Never: a judgement (these are the gate's, by ages, as they were made).

use crate::gate::Job;
use crate::ids::{ConditionId, EntryHash};
use crate::log::graph::EntryIx;
use crate::plan::ConditionKind;
use crate::time::WallClock;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// One span.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Window {
    /// gap: nobody was seen to be in place. exposure: no line order in effect. out: a reading out of bounds
    /// or a sighting. stale: nobody renewed it in time.
    pub name: String,
    /// The condition.
    pub condition: ConditionId,
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
                condition: condition.id.clone(),
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
    windows
}
