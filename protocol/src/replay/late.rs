//! Late: which entries came to somebody only long after they were made?
//! Owns: nothing.   Gives: `late_by_sync`.
//! May use: log, clocks.   Never: a verdict: an entry that came late is judged like any other.
//!
//! Wall clocks may be wrong: they are compared after what the devices themselves found of each other's.

use super::clocks::Clocks;
use crate::gate::Job;
use crate::log::graph::{ChainIx, EntryIx};
use std::collections::BTreeSet;

/// What another device had not seen after so long came to it late, ms: more than a link that stands ever needs.
const LATE_MS: i64 = 15_000;

/// Entries that another device wrote long after without having seen them.
pub(super) fn late_by_sync(job: &Job) -> BTreeSet<EntryIx> {
    let graph = job.graph();
    let clocks = Clocks::of(job);
    let wall = |ix: EntryIx| clocks.made(job, ix).0;
    // The newest entry of a chain that has not seen `ix`: along a chain what was seen only grows.
    let newest_without = |ix: EntryIx, chain: ChainIx| {
        let first = graph.seq(graph.first_of(chain)?);
        let (mut from, mut below) = (first, graph.seq(graph.last(chain)?).saturating_add(1));
        while from < below {
            let middle = from + (below - from) / 2;
            if graph.before(ix, graph.at(chain, middle)?) {
                below = middle;
            } else {
                from = middle + 1;
            }
        }
        graph.at(chain, from.checked_sub(1)?)
    };
    graph
        .iter()
        .filter(|&ix| {
            graph.chains().any(|chain| {
                graph.chain_author(chain) != graph.author(ix)
                    && newest_without(ix, chain)
                        .is_some_and(|later| wall(later).saturating_sub(wall(ix)) > LATE_MS)
            })
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::gate::testkit::{Crew, EYES, GROUND, LEAD, TOWER, plan};
    use crate::ids::EntryHash;
    use crate::log::entry::{Body, ClockSample};
    use crate::log::sample::note;

    fn is_late(crew: &Crew, entry: EntryHash) -> bool {
        let job = &crew.devices[LEAD].job;
        late_by_sync(job).contains(&job.graph().find(&entry).unwrap())
    }

    #[test]
    fn what_somebody_had_not_seen_after_a_while_came_late() {
        for (after_ms, late) in [(LATE_MS, false), (LATE_MS + 1, true)] {
            let mut crew = Crew::new(&plan(), 4);
            let cut_off = crew.say_at(GROUND, 0, note("alone"));
            let other = crew.say_at(EYES, after_ms, note("not seen"));
            crew.sync();
            assert_eq!(is_late(&crew, cut_off), late, "{after_ms}");
            assert!(!is_late(&crew, other), "nobody wrote after it");
            // Who has seen it writes as much later as they like.
            let seen = crew.say_at(TOWER, 90_000, note("seen"));
            crew.sync();
            assert!(!is_late(&crew, seen));
            assert_eq!(is_late(&crew, cut_off), late);
        }
    }

    #[test]
    fn a_clock_that_is_ahead_hides_no_late_entry_and_makes_none() {
        for (ahead_ms, sampled, late) in [
            (60_000, false, false),
            (60_000, true, true),
            (-60_000, false, true),
        ] {
            let mut crew = Crew::new(&plan(), 4);
            if sampled {
                let sample = ClockSample {
                    device: crew.key(GROUND).tag(),
                    ahead_ms,
                    doubt_ms: 10,
                };
                // Found by another than the founder, whom the founder has compared too.
                crew.say_at(EYES, 0, Body::ClockSample(sample));
                let own = ClockSample {
                    device: crew.key(LEAD).tag(),
                    ahead_ms: 0,
                    doubt_ms: 10,
                };
                crew.say_at(EYES, 0, Body::ClockSample(own));
                crew.sync();
            }
            let cut_off = crew.say_at(GROUND, ahead_ms, note("alone"));
            crew.say_at(EYES, 20_000 * i64::from(ahead_ms > 0), note("not seen"));
            crew.sync();
            assert_eq!(is_late(&crew, cut_off), late, "{ahead_ms} {sampled}");
        }
    }
}
