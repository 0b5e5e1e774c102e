//! Lanes: device by device, what its log allowed it to show, how far each stop had come, and what it knew at a time.
//! Owns: nothing.   Gives: `lanes`, `spread`, `knew`.
//! May use: walk, clocks, gate.   Never: sentences; what a device's links were like, which no log tells.

use super::clocks::Clocks;
use super::walk::Walk;
use crate::gate::{Job, NotAJob, Verdict};
use crate::ids::{ConditionId, DeviceKey, DeviceTag, EntryHash, StepId};
use crate::log::entry::Body;
use crate::log::graph::EntryIx;
use crate::state::CallWord;
use crate::time::WallClock;

/// What a device's log allowed from one of its own entries on.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Point {
    /// Its entry.
    pub entry: EntryHash,
    /// When, by the founder's clock.
    pub at: WallClock,
    /// What its log allowed it to show then.
    pub call: CallWord,
}

/// One device.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Lane {
    /// Which.
    pub device: DeviceKey,
    /// Its own entries.
    pub points: Vec<Point>,
}

/// How far a stop came, by the log alone.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Spread {
    /// The stop.
    pub stop: EntryHash,
    /// By which device.
    pub by: DeviceKey,
    /// When it was pressed, by the founder's clock.
    pub at: WallClock,
    /// Other devices on the job then, each with the time by which it had the stop at the latest: that of its first entry
    /// that knows it; `None`: none does.
    pub had_it: Vec<(DeviceKey, Option<WallClock>)>,
}

/// What a device knew at a time.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Knew {
    /// What its log allowed it to show.
    pub call: CallWord,
    /// Steps complete, by what it knew.
    pub steps_done: u32,
    /// The step that it was at.
    pub step: Option<StepId>,
    /// Acknowledgements that counted for it.
    pub counted: u32,
    /// Its newest own entry.
    pub last_own: Option<EntryHash>,
    /// Ages of others' proofs of life in the newest acknowledgement of its own, ms.
    pub proofs: Vec<(DeviceTag, u32)>,
    /// Standing conditions with the ages that it wrote into that, ms.
    pub conditions: Vec<(ConditionId, u64)>,
    /// Entries that others had made by then and it is not known to have had, each with the time of its first entry
    /// that knows it.
    pub not_heard: Vec<(EntryHash, Option<WallClock>)>,
}

/// The own entries of a device, in order.
fn own_entries(job: &Job, device: &DeviceKey) -> Vec<EntryIx> {
    let graph = job.graph();
    let mut own: Vec<EntryIx> = graph
        .chains_of(*device)
        .flat_map(|chain| {
            let first = graph.first_of(chain).map_or(0, |ix| graph.seq(ix));
            (first..).map_while(move |seq| graph.at(chain, seq))
        })
        .collect();
    own.sort_unstable();
    own
}

/// Every device ever on the job.
///
/// # Errors
/// [`NotAJob`] for a log without a founding entry, which no job has.
pub fn lanes(job: &Job, clocks: &Clocks) -> Result<Vec<Lane>, NotAJob> {
    let devices = job.roster().members.keys();
    devices
        .map(|device| {
            let mut walk = Walk::new(job, clocks)?;
            let points = own_entries(job, device)
                .into_iter()
                .map(|own| {
                    walk.make(own);
                    let at = clocks.made(job, own);
                    Point {
                        entry: job.graph().hash(own),
                        at,
                        call: walk.call(device, at).word,
                    }
                })
                .collect();
            Ok(Lane {
                device: *device,
                points,
            })
        })
        .collect()
}

/// The first own entry of a device that has seen another entry: along a chain what was seen only grows.
fn first_knowing(job: &Job, own: &[EntryIx], ix: EntryIx) -> Option<EntryIx> {
    let graph = job.graph();
    let at = own.partition_point(|&mine| !graph.before(ix, mine));
    own.get(at).copied()
}

/// How far each stop came, in the order of the log.
#[must_use]
pub fn spread(job: &Job, clocks: &Clocks) -> Vec<Spread> {
    let graph = job.graph();
    let own: Vec<(DeviceKey, Vec<EntryIx>)> = job
        .roster()
        .members
        .keys()
        .map(|device| (*device, own_entries(job, device)))
        .collect();
    let stops = super::readable_order(graph).into_iter();
    stops
        .filter(|&ix| graph.body(ix).is_stop())
        .map(|stop| {
            let (by, then) = (graph.author(stop), job.roster_in_past(stop));
            let others = own
                .iter()
                .filter(|(device, _)| *device != by && then.present(device));
            Spread {
                stop: graph.hash(stop),
                by,
                at: clocks.made(job, stop),
                had_it: others
                    .map(|(device, own)| {
                        let knows = first_knowing(job, own, stop);
                        (*device, knows.map(|ix| clocks.made(job, ix)))
                    })
                    .collect(),
            }
        })
        .collect()
}

/// What a device knew at a time, by the founder's clock: all that its newest entry until then had seen.
///
/// # Errors
/// [`NotAJob`] for a log without a founding entry, which no job has.
pub fn knew(
    job: &Job,
    clocks: &Clocks,
    device: &DeviceKey,
    at: WallClock,
) -> Result<Knew, NotAJob> {
    let graph = job.graph();
    let own = own_entries(job, device);
    let until: Vec<EntryIx> = own
        .iter()
        .copied()
        .filter(|&ix| clocks.made(job, ix) <= at)
        .collect();
    let mut walk = Walk::new(job, clocks)?;
    if let Some(&last) = until.last() {
        walk.make(last);
    }
    let call = walk.call(device, at);
    let part = &walk.job;
    let counted = part.graph().iter().filter(|&ix| {
        matches!(part.graph().body(ix), Body::Acknowledge(_)) && part.verdict(ix) == Verdict::Counts
    });
    let evidence = until.iter().rev().find_map(|&ix| match graph.body(ix) {
        Body::Acknowledge(ack) => Some(&ack.evidence),
        _ => None,
    });
    let not_heard = graph
        .iter()
        .filter(|&ix| graph.author(ix) != *device && !walk.holds(ix) && clocks.made(job, ix) <= at)
        .map(|ix| {
            let heard = first_knowing(job, &own, ix);
            (graph.hash(ix), heard.map(|ix| clocks.made(job, ix)))
        })
        .collect();
    Ok(Knew {
        call: call.word,
        steps_done: u32::try_from(part.complete().len()).unwrap_or(u32::MAX),
        step: call.step,
        counted: u32::try_from(counted.count()).unwrap_or(u32::MAX),
        last_own: until.last().map(|&ix| graph.hash(ix)),
        proofs: evidence.map_or_else(Vec::new, |evidence| {
            let proofs = evidence.proofs.iter();
            proofs.map(|proof| (proof.device, proof.age_ms)).collect()
        }),
        conditions: evidence.map_or_else(Vec::new, |evidence| {
            let conditions = evidence.conditions.iter();
            conditions
                .map(|one| (one.condition.clone(), one.age_ms))
                .collect()
        }),
        not_heard,
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::gate::testkit::{Crew, EYES, GROUND, LEAD, TOWER, plan};
    use crate::log::entry::{Said, Stop, StopKind};
    use crate::log::sample::{WALL, note};

    /// The tower confirms; the ground stops; the tower writes once more before it has heard, and once after.
    fn job() -> (Crew, EntryHash, EntryHash) {
        let mut crew = Crew::new(&plan(), 4);
        let done = crew.ack_body(TOWER, "s1", "c", Said::Yes);
        crew.say_at(TOWER, 1_000, done);
        crew.sync();
        let stop = Stop {
            kind: StopKind::Work,
            why: "person below".into(),
            item: None,
        };
        let stop = crew.say_at(GROUND, 2_000, Body::Stop(stop));
        let before = crew.say_at(TOWER, 2_500, note("not heard"));
        crew.sync();
        crew.say_at(TOWER, 3_200, note("heard"));
        crew.sync();
        (crew, stop, before)
    }

    #[test]
    fn a_lane_is_what_the_devices_own_log_allowed() {
        let (crew, ..) = job();
        let job = &crew.devices[LEAD].job;
        let lanes = lanes(job, &Clocks::of(job)).unwrap();
        let of = |device: usize| {
            let lane = lanes.iter().find(|lane| lane.device == crew.key(device));
            let points = &lane.unwrap().points;
            points.iter().map(|point| (point.at.0 - WALL.0, point.call))
        };
        let tower: Vec<(i64, CallWord)> = of(TOWER).filter(|(at, _)| *at > 0).collect();
        let expected = [
            (1_000, CallWord::Proceed),
            (2_500, CallWord::Proceed),
            (3_200, CallWord::StopWork),
        ];
        assert_eq!(tower, expected);
        // Before the others had been briefed as well nobody could go on, by what this one had seen.
        assert_eq!(of(TOWER).next().unwrap().1, CallWord::Hold);
        assert_eq!(of(GROUND).next_back(), Some((2_000, CallWord::StopWork)));
    }

    #[test]
    fn a_stop_reached_who_wrote_knowing_it_by_then_and_others_nobody_knows_when() {
        let (crew, stop, _) = job();
        let job = &crew.devices[LEAD].job;
        let spread = spread(job, &Clocks::of(job));
        assert_eq!(spread.len(), 1);
        assert_eq!((spread[0].stop, spread[0].by), (stop, crew.key(GROUND)));
        let had = |device: usize| {
            let had = &spread[0].had_it;
            had.iter()
                .find(|(of, _)| *of == crew.key(device))
                .unwrap()
                .1
        };
        assert_eq!(had(TOWER), Some(WallClock(WALL.0 + 3_200)));
        assert_eq!((had(EYES), had(LEAD)), (None, None));
    }

    #[test]
    fn what_a_device_knew_stands_beside_what_it_had_not_heard_yet() {
        let (crew, stop, before) = job();
        let job = &crew.devices[LEAD].job;
        let clocks = Clocks::of(job);
        let at = |ms: i64| knew(job, &clocks, &crew.key(TOWER), WallClock(WALL.0 + ms)).unwrap();
        let unaware = at(2_600);
        assert_eq!(unaware.call, CallWord::Proceed);
        assert_eq!((unaware.steps_done, unaware.counted), (1, 1));
        assert_eq!(unaware.last_own, Some(before));
        let heard = Some(WallClock(WALL.0 + 3_200));
        assert_eq!(unaware.not_heard, [(stop, heard)]);
        assert_eq!(unaware.proofs.len(), 3);
        let aware = at(3_200);
        assert_eq!(aware.call, CallWord::StopWork);
        assert!(aware.not_heard.is_empty());
        assert_eq!(at(-1).last_own, None);
    }
}
