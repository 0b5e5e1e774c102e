//! Shrink: the smallest script that still fails in the same way.
//! Owns: nothing.   Gives: `shrink`, and `shrink_run` for what a run breaks.
//! May use: script, run.   Never: another failure in place of the one that was found.

use crate::run::run_with;
use crate::script::{Script, Weather};
use crate::world::Rule;

/// Fewest devices of a crew.
const DEVICES_LEAST: usize = 5;

/// Scripts tried to make a failing one smaller.
const TRIES: usize = 400;

/// The smallest script found that breaks the same rule as `script` does; the script itself, when it breaks none.
#[must_use]
pub fn shrink_run(script: &Script, rule: Option<Rule>) -> Script {
    let found = run_with(script, rule);
    let Some(kind) = found.kind() else {
        return script.clone();
    };
    shrink(script, TRIES, |candidate| {
        run_with(candidate, rule).kind() == Some(kind)
    })
}

/// Tries ever smaller scripts, at most `tries` of them, and keeps each that `fails`. Fewer events first, then a
/// smaller crew, a shorter job, a calmer air.
pub fn shrink(script: &Script, tries: usize, mut fails: impl FnMut(&Script) -> bool) -> Script {
    let mut best = script.clone();
    let mut left = tries;
    let mut attempt = |candidate: Script, best: &mut Script| {
        if left == 0 || candidate == *best {
            return false;
        }
        left -= 1;
        let smaller = fails(&candidate);
        if smaller {
            *best = candidate;
        }
        smaller
    };
    loop {
        let before = best.clone();
        fewer_events(&mut best, &mut attempt);
        for change in SIMPLER {
            let mut candidate = best.clone();
            change(&mut candidate);
            attempt(candidate, &mut best);
        }
        while best.devices > DEVICES_LEAST {
            let candidate = with_devices(&best, best.devices - 1);
            if !attempt(candidate, &mut best) {
                break;
            }
        }
        if best == before {
            return best;
        }
    }
}

/// Leaves out ever smaller groups of events (Zeller and Hildebrandt's delta debugging, 2002).
fn fewer_events(best: &mut Script, attempt: &mut impl FnMut(Script, &mut Script) -> bool) {
    let mut size = best.events.len().div_ceil(2);
    while size > 0 {
        let mut from = 0;
        while from < best.events.len() {
            let mut candidate = best.clone();
            let to = (from + size).min(candidate.events.len());
            candidate.events.drain(from..to);
            if !attempt(candidate, best) {
                from += size;
            }
        }
        size /= 2;
    }
}

fn with_devices(script: &Script, devices: usize) -> Script {
    let mut smaller = script.clone();
    smaller.devices = devices;
    smaller
        .events
        .retain(|event| event.what.devices().all(|device| device < devices));
    smaller
}

/// Each change that makes a script simpler, for its own sake.
const SIMPLER: &[fn(&mut Script)] = &[
    |script| script.plan = "small".to_owned(),
    |script| script.steps = Some(script.steps.unwrap_or(usize::MAX).min(1)),
    |script| script.steps = Some(script.steps.unwrap_or(usize::MAX).min(2)),
    |script| script.steps = Some(script.steps.unwrap_or(usize::MAX).min(3)),
    |script| script.air = Weather::default(),
    |script| script.pages = false,
    |script| script.real_signatures = false,
    |script| script.first_act_ms = script.first_act_ms.min(last_ms(script) + 20_000),
    |script| script.first_act_ms = script.first_act_ms.min(last_ms(script) + 1),
];

/// When the last event of a script is.
fn last_ms(script: &Script) -> u64 {
    script.events.last().map_or(0, |event| event.at_ms)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::people::Wild;
    use crate::script::{Wanted, What, draw};

    fn most_named(script: &Script) -> usize {
        let named = script.events.iter().flat_map(|event| event.what.devices());
        named.max().unwrap_or(0)
    }

    #[test]
    fn what_does_not_matter_is_left_out() {
        // A script fails if somebody leaves in it after somebody stops the work.
        let fails = |script: &Script| {
            let at = |wild| {
                script.events.iter().position(
                    |event| matches!(event.what, What::Person { wild: w, .. } if w == wild),
                )
            };
            matches!((at(Wild::Stop), at(Wild::Leave)), (Some(stop), Some(leave)) if stop < leave)
        };
        let failing = (0..2_000).map(|seed| {
            draw(&Wanted {
                seed,
                devices: None,
                short: false,
            })
        });
        let failing = failing.filter(|script| fails(script) && script.events.len() > 15);
        let mut seen = 0;
        for script in failing.take(5) {
            let small = shrink(&script, 500, fails);
            assert_eq!(small.events.len(), 2, "seed {}", script.seed);
            assert!(fails(&small));
            assert_eq!((small.plan.as_str(), small.steps), ("small", Some(1)));
            assert_eq!(small.devices, DEVICES_LEAST.max(most_named(&small) + 1));
            assert_eq!(small.first_act_ms, last_ms(&small) + 1);
            assert_eq!(small.air, Weather::default());
            assert!(!small.pages && !small.real_signatures);
            seen += 1;
        }
        assert!(seen > 0, "no seed draws such a script");
    }
}
