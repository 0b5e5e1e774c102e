//! Fitness: may this item be used? Test date, inspection of the day, rating, set aside, suspect.
//! Owns: nothing.   Gives: every `Unfit` that holds in a cut; empty: fit.
//! May use: plan, log.   Never: where the item is (custody).

use super::Facts;
use crate::decimal::Decimal;
use crate::ids::ItemId;
use crate::log::entry::{Body, Finding};
use crate::log::graph::{Cut, EntryIx, Graph};
use crate::plan::Plan;
use crate::reason::{Reason, Unfit};

/// What a look found, in the terms that are judged.
#[derive(Clone, Copy, Debug)]
pub(super) enum Look {
    Plate {
        test_age_months: Option<u16>,
        wiped: bool,
        rated_kv: Option<Decimal>,
    },
    Good,
    Bad,
    SetAside,
}

impl Look {
    pub(super) fn of(found: &Finding) -> Self {
        match found {
            Finding::Plate {
                test_age_months,
                wiped_today,
                rated_kv,
            } => Self::Plate {
                test_age_months: *test_age_months,
                wiped: *wiped_today,
                rated_kv: *rated_kv,
            },
            Finding::Inspected { good: true } => Self::Good,
            Finding::Inspected { good: false } => Self::Bad,
            Finding::OutOfService { .. } => Self::SetAside,
        }
    }

    fn is_clean(self) -> bool {
        matches!(self, Self::Good | Self::Plate { wiped: true, .. })
    }
}

impl Facts {
    /// FITNESS: why an item may not be used in a cut (work practice: wiped and inspected each day before
    /// use, tested within the plan's months, defect or doubt puts it out of service). An item that is not
    /// in the plan is [`Unfit::NotListed`].
    #[must_use]
    pub fn unfit(&self, graph: &Graph, cut: &Cut, plan: &Plan, id: &ItemId) -> Vec<Unfit> {
        let Some(item) = plan.item(id) else {
            return vec![Unfit::NotListed];
        };
        let trail = self.items.get(id);
        let looks: Vec<(EntryIx, Look)> = trail.map_or_else(Vec::new, |trail| {
            trail.looks.all(cut).map(|(ix, look)| (ix, *look)).collect()
        });
        let mut unfit = Vec::new();
        if looks.iter().any(|(_, look)| matches!(look, Look::SetAside)) {
            unfit.push(Unfit::OutOfService);
        }
        let suspected = trail.map_or(&[][..], |trail| &trail.suspected[..]);
        let examined_after = |stop: EntryIx| {
            looks
                .iter()
                .any(|&(ix, look)| matches!(look, Look::Good) && graph.before(stop, ix))
        };
        if suspected
            .iter()
            .any(|&stop| graph.within(stop, cut) && !examined_after(stop))
        {
            unfit.push(Unfit::Suspect);
        }
        // Found bad counts whether or not the plan asks for a daily look.
        let bad = |(ix, look): &(EntryIx, Look)| matches!(look, Look::Bad).then_some(*ix);
        let inspected = looks.iter().any(|&(ix, look)| {
            look.is_clean()
                && self.of_this_day(graph, ix, cut)
                && looks
                    .iter()
                    .filter_map(bad)
                    .all(|bad| graph.before(bad, ix))
        });
        let found_bad = looks.iter().filter_map(bad).next().is_some();
        if !inspected && (item.daily || found_bad) {
            unfit.push(Unfit::NotInspected);
        }
        self.judge_plates(graph, &looks, plan, item, &mut unfit);
        unfit.sort_unstable();
        unfit.dedup();
        unfit
    }

    /// Looks at an item in a cut, in rank order.
    #[must_use]
    pub fn looks(&self, graph: &Graph, cut: &Cut, id: &ItemId) -> Vec<EntryIx> {
        let trail = self.items.get(id);
        let looks = trail.into_iter().flat_map(|trail| trail.looks.all(cut));
        self.in_rank_order(graph, looks.map(|(ix, _)| ix))
    }

    /// The newest look of this day that found an item wiped and good; `None`: there is none.
    #[must_use]
    pub fn inspected_today(&self, graph: &Graph, cut: &Cut, id: &ItemId) -> Option<EntryIx> {
        let trail = self.items.get(id)?;
        trail
            .looks
            .all(cut)
            .filter(|(ix, look)| look.is_clean() && self.of_this_day(graph, *ix, cut))
            .map(|(ix, _)| ix)
            .max_by_key(|&ix| self.rank(graph, ix))
    }

    /// Why a look that says that an item is good leaves it unfit, by what its author had seen and the look
    /// itself; empty: it is fit by it. A look that finds it bad or sets it aside says so itself.
    #[must_use]
    pub fn look_against(&self, graph: &Graph, ix: EntryIx, plan: &Plan) -> Vec<Reason> {
        let Body::Scan(scan) = graph.body(ix) else {
            return Vec::new();
        };
        match scan.found {
            Finding::Plate { .. } | Finding::Inspected { good: true } => {}
            Finding::Inspected { good: false } | Finding::OutOfService { .. } => return Vec::new(),
        }
        let mut cut = graph.past(ix).to_vec();
        let chain = graph.chain(ix).0 as usize;
        cut.resize(cut.len().max(chain + 1), 0);
        cut[chain] = graph.seq(ix).saturating_add(1);
        let unfit = self.unfit(graph, &cut, plan, &scan.item);
        let reasons = unfit.into_iter().map(|why| Reason::ToolNotFit {
            item: scan.item.clone(),
            why,
        });
        reasons.collect()
    }

    /// Test age and rating by the newest plates; of plates read in ignorance of each other the worse governs.
    fn judge_plates(
        &self,
        graph: &Graph,
        looks: &[(EntryIx, Look)],
        plan: &Plan,
        item: &crate::plan::Item,
        unfit: &mut Vec<Unfit>,
    ) {
        let plates: Vec<EntryIx> = looks
            .iter()
            .filter(|(_, look)| matches!(look, Look::Plate { .. }))
            .map(|(ix, _)| *ix)
            .collect();
        let newest = looks
            .iter()
            .filter(|(ix, _)| !plates.iter().any(|&other| graph.before(*ix, other)));
        let under = |rated: Option<Decimal>| rated.is_some_and(|kv| kv < plan.line.voltage_kv);
        if under(item.rated_kv) {
            unfit.push(Unfit::UnderRated);
        }
        for (_, look) in newest {
            let Look::Plate {
                test_age_months,
                rated_kv,
                ..
            } = look
            else {
                continue;
            };
            if let Some(most) = item.test_months
                && test_age_months.is_none_or(|age| age > most)
            {
                unfit.push(Unfit::TestPast);
            }
            if item.rated_kv.is_some() && under(*rated_kv) {
                unfit.push(Unfit::UnderRated);
            }
        }
        if plates.is_empty() && item.test_months.is_some() {
            unfit.push(Unfit::NotListed);
        }
    }
}
