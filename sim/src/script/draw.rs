//! Draw: a run out of a seed.
//! Owns: how often what is drawn.   Gives: `draw`.
//! May use: rng, plan.   Never: what comes of it.
//!
//! Each run draws which kinds of fault it has at all (swarm testing): with every kind in every run each would drown
//! what the others need to be seen.

use super::file::{PLAIN, names};
use super::{Event, Script, Weather, What};
use crate::people::Wild;
use crate::rng::Rng;

/// Every so many seeds one has the plan of which the reference speaks.
const PLAIN_EVERY: u64 = 4;
/// What nobody does on it, for the reference does not speak of it.
const UNSPOKEN: &[Wild] = &[
    Wild::Suspend,
    Wild::ResumeDay,
    Wild::ExitPlan,
    Wild::Exception,
    Wild::VoidNothing,
];

/// What is asked for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Wanted {
    /// Draws everything else.
    pub seed: u64,
    /// How many devices; `None`: drawn too.
    pub devices: Option<usize>,
    /// Much in a short time, and in half of the runs nothing fails but people.
    pub short: bool,
}

/// The run of a seed.
#[must_use]
pub fn draw(wanted: &Wanted) -> Script {
    if wanted.short {
        short(wanted)
    } else {
        whole(wanted)
    }
}

/// Much happens in a short time: a run is over in a moment, and so many of them show that nothing that people say to
/// each other leaves a crew without a way on. In half of them nothing fails but people.
fn short(wanted: &Wanted) -> Script {
    let mut rng = Rng::new(wanted.seed ^ 0x0dd5_0f0a_11da_7e5a);
    let plan = match rng.between(0, 5) {
        0..=2 => names()[0],
        3..=4 => PLAIN,
        _ => {
            let mut shipped = names();
            shipped.retain(|name| *name != PLAIN && *name != names()[0]);
            shipped[usize_between(&mut rng, 0, shipped.len() - 1)]
        }
    };
    let devices = wanted
        .devices
        .unwrap_or_else(|| [5, 6, 6, 7, 8, 9][usize_between(&mut rng, 0, 5)]);
    let mut script = Script {
        seed: wanted.seed,
        plan: plan.to_owned(),
        steps: None,
        devices,
        think_ms: (200, 900),
        real_signatures: false,
        pages: rng.percent(30),
        air: Weather {
            delay_ms: 3,
            ..Weather::default()
        },
        first_act_ms: [30_000, 60_000, 120_000][usize_between(&mut rng, 0, 2)],
        events: Vec::new(),
    };
    let mut wild: Vec<Wild> = Wild::ALL.to_vec();
    wild.retain(|wild| rng.percent(30) && (script.plan != PLAIN || !UNSPOKEN.contains(wild)));
    let mut count = rng.between(3, 25);
    if rng.percent(50) {
        // A few things again and again.
        while wild.len() > 4 {
            wild.swap_remove(usize_between(&mut rng, 0, wild.len() - 1));
        }
        count = rng.between(5, 40);
    }
    let kinds: Vec<u64> = if rng.percent(50) {
        (0..FAULTS).filter(|_| rng.percent(25)).collect()
    } else {
        Vec::new()
    };
    let mut events = drawn(&mut rng, &script, count, &kinds, &wild);
    // A removal takes the consent of most, who give it here for whatever is proposed, and a device that forked is
    // removed, too: most must be left after all.
    let mut may_go = (devices.saturating_sub(1) / 2)
        .saturating_sub(events.iter().filter(|e| goes(&e.what)).count());
    events.retain(|event| {
        let removes = matches!(
            event.what,
            What::OldImage { noticed: false, .. }
                | What::Person {
                    wild: Wild::Remove,
                    ..
                }
        );
        let may = may_go > 0 || !removes;
        may_go = may_go.saturating_sub(usize::from(removes));
        may
    });
    script.events = events;
    script
}

fn whole(wanted: &Wanted) -> Script {
    let mut rng = Rng::new(wanted.seed ^ 0x5ca1_ab1e_0ddb_a115);
    let mut plans = names();
    plans.retain(|name| *name != PLAIN);
    let mut plan = if rng.percent(75) {
        plans[0]
    } else {
        plans[usize_between(&mut rng, 1, plans.len() - 1)]
    };
    // Nothing is drawn for it, so that it changes nothing else of a seed.
    if wanted.seed % PLAIN_EVERY == PLAIN_EVERY - 1 {
        plan = PLAIN;
    }
    let devices = match rng.between(0, 99) {
        0..=59 => 6,
        60..=94 => usize_between(&mut rng, 5, 9),
        95..=98 => usize_between(&mut rng, 10, 16),
        _ => usize_between(&mut rng, 17, 32),
    };
    let devices = wanted.devices.unwrap_or(devices);
    let (think_ms, first_act_ms) = match rng.between(0, 99) {
        0..=24 => ((200, 900), rng.between(60_000, 300_000)),
        25..=69 => ((1_000, 5_000), rng.between(300_000, 1_500_000)),
        _ => ((3_000, 15_000), rng.between(900_000, 5_400_000)),
    };
    // A large crew's radio is a hundred times as much to simulate.
    let first_act_ms = if devices > 9 {
        first_act_ms.min(300_000)
    } else {
        first_act_ms
    };
    let mut script = Script {
        seed: wanted.seed,
        plan: plan.to_owned(),
        steps: None,
        devices,
        think_ms,
        real_signatures: devices <= 9 && first_act_ms <= 1_000_000 && rng.percent(6),
        pages: rng.percent(60),
        air: weather(&mut rng),
        first_act_ms,
        events: Vec::new(),
    };
    script.events = events(&mut rng, &script);
    script
}

fn usize_between(rng: &mut Rng, low: usize, high: usize) -> usize {
    usize::try_from(rng.between(low as u64, high as u64)).unwrap_or(low)
}

fn weather(rng: &mut Rng) -> Weather {
    let mut weather = Weather {
        delay_ms: rng.between(2, 40),
        ..Weather::default()
    };
    match rng.between(0, 9) {
        0..=3 => weather.loss = rng.between(0, 4),
        4..=7 => {
            weather.loss = rng.between(5, 30);
            weather.twice = rng.between(0, 5);
        }
        8 => {
            weather.pairs = (rng.between(500, 10_000), rng.between(100, 2_000), 90);
            weather.twice = 3;
            weather.late = 20;
        }
        _ => {
            weather.radios = (rng.between(2_000, 20_000), rng.between(100, 1_500), 95);
            weather.delay_ms = 120;
        }
    }
    weather
}

fn events(rng: &mut Rng, script: &Script) -> Vec<Event> {
    let kinds: Vec<u64> = (0..FAULTS).filter(|_| rng.percent(35)).collect();
    let wild: Vec<Wild> = Wild::ALL
        .iter()
        .copied()
        .filter(|_| rng.percent(30))
        .filter(|wild| script.plan != PLAIN || !UNSPOKEN.contains(wild))
        .collect();
    let count = if rng.percent(5) {
        0
    } else {
        rng.between(2, 45)
    };
    drawn(rng, script, count, &kinds, &wild)
}

/// So many events of these kinds of fault and of what people do, by time.
fn drawn(rng: &mut Rng, script: &Script, count: u64, kinds: &[u64], wild: &[Wild]) -> Vec<Event> {
    // More than half of the crew must be left for the job to go on.
    let mut may_go = script.devices.saturating_sub(1) / 2;
    let mut events = Vec::new();
    for _ in 0..count {
        let at_ms = rng.between(0, script.first_act_ms);
        let of_people = kinds.is_empty() || (!wild.is_empty() && rng.percent(55));
        let what = if of_people {
            let wild = wild
                .get(usize_between(rng, 0, wild.len().saturating_sub(1)))
                .copied()
                .unwrap_or(Wild::Stop);
            person(rng, script, wild)
        } else {
            let kind = kinds[usize_between(rng, 0, kinds.len() - 1)];
            fault(rng, script, kind)
        };
        let goes = goes(&what);
        if goes && may_go == 0 {
            continue;
        }
        may_go -= usize::from(goes);
        events.push(Event { at_ms, what });
    }
    events.sort_by_key(|event| event.at_ms);
    events
}

/// Whether somebody is gone after it.
fn goes(what: &What) -> bool {
    matches!(
        what,
        What::Dead { .. }
            | What::Hostile { .. }
            | What::Person {
                wild: Wild::Leave | Wild::NeverAnswers,
                ..
            }
    )
}

fn person(rng: &mut Rng, script: &Script, wild: Wild) -> What {
    let of_the_supervisor = matches!(
        wild,
        Wild::OfferRole
            | Wild::OfferOffice
            | Wild::StepBack
            | Wild::Amend
            | Wild::AmendLimit
            | Wild::Suspend
            | Wild::ResumeDay
            | Wild::ExitPlan
            | Wild::Exception
            | Wild::AdmitAgain
            | Wild::AdmitWeak
            | Wild::Remove
            | Wild::CloseEarly
            | Wild::VoidNothing
            | Wild::Mute
    );
    let device = if of_the_supervisor && rng.percent(80) {
        0
    } else {
        usize_between(rng, 0, script.devices - 1)
    };
    What::Person { device, wild }
}

/// How many kinds of fault [`fault`] knows.
const FAULTS: u64 = 20;

fn fault(rng: &mut Rng, script: &Script, kind: u64) -> What {
    let device = usize_between(rng, 0, script.devices - 1);
    let other = (device + usize_between(rng, 1, script.devices - 1)) % script.devices;
    // From a moment to longer than any time of the watch.
    let for_ms = match rng.between(0, 2) {
        0 => rng.between(200, 3_000),
        1 => rng.between(2_000, 12_000),
        _ => rng.between(8_000, 90_000),
    };
    match kind {
        0 => What::Air(weather(rng)),
        1 => What::Cut {
            one: device,
            other,
            for_ms,
        },
        2 => What::CutWay {
            from: device,
            to: other,
            for_ms,
        },
        3 => {
            let group = (0..script.devices).filter(|_| rng.percent(40)).collect();
            What::Part { group, for_ms }
        }
        4 | 5 => What::PowerCut {
            device,
            for_ms,
            torn: usize_between(rng, 0, 2),
            reboot: kind == 5,
        },
        6 => What::Dead { device },
        7 => What::SlowDisk {
            device,
            by_ms: rng.between(50, 4_000),
            for_ms,
        },
        8 => What::FailingWrites {
            device,
            count: u32::try_from(rng.between(1, 4)).unwrap_or(1),
        },
        9 => What::FullDisk { device, for_ms },
        10 => What::OldImage {
            device,
            back: usize_between(rng, 1, 30),
            noticed: rng.percent(50),
        },
        11 => What::Drift {
            device,
            ppm: i64::try_from(rng.between(0, 200)).unwrap_or(0) - 100,
        },
        12 => What::WallStep {
            device,
            ms: i64::try_from(rng.between(0, 200_000_000)).unwrap_or(0) - 100_000_000,
        },
        13 => What::Suspend { device, for_ms },
        14 => What::Stall {
            device,
            for_ms: for_ms.min(20_000),
        },
        15 => What::PageFrozen { device, for_ms },
        16 => What::PageCut { device, for_ms },
        17 => What::PageClosed { device, for_ms },
        18 => {
            if rng.percent(50) {
                What::StrangerStop {
                    device,
                    stranger: u8::try_from(rng.between(0, 3)).unwrap_or(0),
                }
            } else {
                What::Bytes {
                    device,
                    from: other,
                    count: u32::try_from(rng.between(1, 40)).unwrap_or(1),
                }
            }
        }
        _ => What::Hostile { device },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn short_runs_are_short_and_in_half_of_them_nothing_fails_but_people_who_do_everything() {
        let mut of_people = 0;
        let mut done = BTreeSet::new();
        for seed in 0..200 {
            let script = draw(&Wanted {
                seed,
                devices: None,
                short: true,
            });
            assert_eq!(script.air.loss, 0, "seed {seed}");
            assert!(script.first_act_ms <= 120_000, "seed {seed}");
            for event in &script.events {
                if let What::Person { device, wild } = event.what {
                    assert!(device < script.devices, "seed {seed}: {event:?}");
                    done.insert(wild);
                }
            }
            let is_of_people = |event: &Event| matches!(event.what, What::Person { .. });
            of_people += u32::from(script.events.iter().all(is_of_people));
        }
        assert_eq!(done.len(), Wild::ALL.len(), "{done:?}");
        assert!((80..=130).contains(&of_people), "{of_people}");
    }
}
