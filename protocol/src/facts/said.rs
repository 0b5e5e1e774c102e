//! Said: what was said on each check, whether it counts or not.
//! Owns: nothing.   Gives: acknowledgements and objections on a check, in rank order; clocks compared.
//! May use: log.   Never: a verdict (gate).

use super::Facts;
use crate::ids::{CheckId, DeviceKey, StepId};
use crate::log::entry::{Body, ClockSample};
use crate::log::graph::{Cut, EntryIx, Graph};
use std::collections::BTreeMap;

impl Facts {
    pub(super) fn note_said(&mut self, graph: &Graph, ix: EntryIx) {
        let (step, check, objects) = match graph.body(ix) {
            Body::Acknowledge(said) => (&said.step, &said.check, false),
            Body::Cannot(said) => (&said.step, &said.check, true),
            Body::ClockSample(_) => {
                self.clocks.push(graph, ix, ());
                return;
            }
            _ => return,
        };
        let key = (step.clone(), check.clone());
        let trail = if objects {
            self.objections.entry(key).or_default()
        } else {
            self.said.entry(key).or_default()
        };
        trail.push(graph, ix, ());
    }

    /// Every acknowledgement of a check in a cut, counted or not, in rank order.
    #[must_use]
    pub fn said(&self, graph: &Graph, cut: &Cut, step: &StepId, check: &CheckId) -> Vec<EntryIx> {
        match self.said.get(&(step.clone(), check.clone())) {
            Some(trail) => self.in_rank_order(graph, trail.all(cut).map(|(ix, ())| ix)),
            None => Vec::new(),
        }
    }

    /// The newest acknowledgement of a check by each device in a cut, counted or not, in rank order.
    #[must_use]
    pub fn newest_said(
        &self,
        graph: &Graph,
        cut: &Cut,
        step: &StepId,
        check: &CheckId,
    ) -> Vec<EntryIx> {
        match self.said.get(&(step.clone(), check.clone())) {
            Some(trail) => self.in_rank_order(graph, trail.newest(cut).map(|(ix, ())| ix)),
            None => Vec::new(),
        }
    }

    /// Every `cannot confirm` of a check in a cut, standing or not, in rank order.
    #[must_use]
    pub fn objections(
        &self,
        graph: &Graph,
        cut: &Cut,
        step: &StepId,
        check: &CheckId,
    ) -> Vec<EntryIx> {
        match self.objections.get(&(step.clone(), check.clone())) {
            Some(trail) => self.in_rank_order(graph, trail.all(cut).map(|(ix, ())| ix)),
            None => Vec::new(),
        }
    }

    /// The newest comparison of clocks that each device has made with each other one, and how far that one's clock is
    /// ahead, ms.
    #[must_use]
    pub fn clocks(&self, graph: &Graph, cut: &Cut) -> Vec<(DeviceKey, ClockSample)> {
        let mut newest = BTreeMap::new();
        // Of a chain the newer come later, and take the place of the older.
        for (ix, ()) in self.clocks.all(cut) {
            if let Body::ClockSample(sample) = graph.body(ix) {
                newest.insert((graph.author(ix), sample.device), sample.clone());
            }
        }
        newest
            .into_iter()
            .map(|((author, _), sample)| (author, sample))
            .collect()
    }
}
