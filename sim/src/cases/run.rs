//! Run: one case from its history to its last expectation.
//! Owns: the order of what is due.   Gives: `run`: what came of each expectation.
//! May use: history, play, promise, judge.   Never: an expectation of its own.

use super::acts::Act;
use super::case::Case;
use super::expects::{Must, Target};
use super::history;
use super::judge;
use super::play;
use super::promise::Promises;
use super::stage::Stage;
use super::watcher::Watchers;
use crate::radio::Air;
use crate::rng::Rng;

/// What people and screens are looked at again after so long, ms.
const LOOK_MS: u64 = 500;
/// Devices are off overnight from so long after a suspension until so long before the next thing due, ms.
const NIGHT_MS: u64 = 60_000;

/// What came of one expectation.
#[derive(Clone, Debug)]
pub struct Finding {
    /// The line of the file.
    pub line: usize,
    /// When, ms.
    pub at_ms: u64,
    /// What it says.
    pub says: String,
    /// What was found instead; `None`: it is so.
    pub found: Option<String>,
}

/// What came of a case.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// `C00`…
    pub id: String,
    /// What it is about.
    pub title: String,
    /// The seed of the run.
    pub seed: u64,
    /// One for each expectation.
    pub findings: Vec<Finding>,
    /// What must never be and was, whatever the case says.
    pub broken: Vec<String>,
}

impl Outcome {
    /// One line for each thing that is not as the case says.
    #[must_use]
    pub fn lines(&self, file: &str) -> Vec<String> {
        let unmet = self.findings.iter().filter_map(|finding| {
            let found = finding.found.as_ref()?;
            let (line, at_ms, says) = (finding.line, finding.at_ms, &finding.says);
            Some(format!(
                "{file}:{line}: at {at_ms} ms: {says} Found: {found}"
            ))
        });
        let broken = self.broken.iter().map(|broken| format!("{file}: {broken}"));
        unmet.chain(broken).collect()
    }

    /// Whether all is as the case says.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.broken.is_empty() && self.findings.iter().all(|finding| finding.found.is_none())
    }
}

/// A case that could not be run.
#[derive(Clone, Debug, thiserror::Error)]
#[error("{id} cannot be run with seed {seed}: {why}")]
pub struct CannotRun {
    /// Which.
    pub id: String,
    /// The seed.
    pub seed: u64,
    /// Why.
    pub why: String,
}

/// Runs a case.
///
/// # Errors
/// [`CannotRun`]: no plan can be made of it, or its beginning cannot be reached.
pub fn run(case: &Case, seed: u64, air: Air) -> Result<Outcome, CannotRun> {
    let cannot = |why: String| CannotRun {
        id: case.id.clone(),
        seed,
        why,
    };
    let mut stage = Stage::new(case, seed, Air::CLEAR).map_err(|bad| cannot(bad.to_string()))?;
    history::make(&mut stage).map_err(cannot)?;
    stage.world.radio.air = air;
    let mut promises = Promises::default();
    let mut watchers = Watchers::new(case);
    let mut findings = Vec::new();
    for at_ms in moments(case) {
        pass(&mut stage, &mut promises, &mut watchers, at_ms);
        if keeps_image(case, at_ms) {
            stage.keep_images(at_ms);
        }
        for event in case.events.iter().filter(|event| event.at_ms == at_ms) {
            promises.note(&stage, event);
            play::play(&mut stage, event).map_err(|why| cannot(format!("{}: {why}", event.id)))?;
        }
        watchers.began(&stage, at_ms);
        for expect in case.expects.iter().filter(|expect| expect.at_ms == at_ms) {
            let found = match &expect.must {
                Must::Never(target, value, from_ms) if from_ms < &at_ms && sampled(target) => {
                    watchers.seen(expect.line, target, value)
                }
                _ => judge::judge(&stage, &watchers, expect).err(),
            };
            findings.push(Finding {
                line: expect.line,
                at_ms,
                says: expect.says.clone(),
                found,
            });
        }
    }
    let broken = stage.world.broken.iter().map(|broken| broken.0.clone());
    Ok(Outcome {
        id: case.id.clone(),
        title: case.title.clone(),
        seed,
        findings,
        broken: broken.collect(),
    })
}

/// Air that loses and delays, as a seed draws it, but less than would break what a case promises of time: linked
/// devices know an entry within `sync_s`, and no link is lost.
#[must_use]
pub fn rough(seed: u64) -> Air {
    let mut rng = Rng::new(seed);
    Air {
        loss: rng.between(2, 25),
        twice: rng.between(0, 10),
        late: rng.between(0, 20),
        delay_ms: (1, rng.between(5, 60)),
        pairs: None,
        devices: None,
    }
}

/// Whether it is about a state that comes and goes, so that it is looked at all the time.
fn sampled(target: &Target) -> bool {
    matches!(target, Target::Job | Target::Step(_))
}

/// Everything at which something is due.
fn moments(case: &Case) -> Vec<u64> {
    let mut moments: Vec<u64> = case.expects.iter().map(|expect| expect.at_ms).collect();
    for event in &case.events {
        moments.push(event.at_ms);
        if let Act::PressConfirm { began_ms, .. } = event.act {
            moments.push(began_ms);
        }
        if let Act::Restore { image_ms } = event.act {
            moments.push(image_ms);
        }
    }
    moments.sort_unstable();
    moments.dedup();
    moments
}

fn keeps_image(case: &Case, at_ms: u64) -> bool {
    let restored = |act: &Act| matches!(act, Act::Restore { image_ms } if *image_ms == at_ms);
    case.events.iter().any(|event| restored(&event.act))
}

/// Time passes until a moment; people keep what they are promised to do.
fn pass(stage: &mut Stage<'_>, promises: &mut Promises, watchers: &mut Watchers, until_ms: u64) {
    while stage.now_ms() < until_ms {
        let left_ms = until_ms - stage.now_ms();
        if stage.leaving.is_some() && left_ms > 2 * NIGHT_MS {
            night(stage, until_ms);
            continue;
        }
        stage.run_for(left_ms.min(LOOK_MS - stage.now_ms() % LOOK_MS));
        promises.keep(stage);
        play::leave_after_suspension(stage);
        watchers.look(stage);
    }
}

/// After a suspension everybody goes home; in the morning the devices come on again.
fn night(stage: &mut Stage<'_>, until_ms: u64) {
    let evening = stage.now_ms() + NIGHT_MS;
    while stage.now_ms() < evening {
        stage.run_for(LOOK_MS);
        play::leave_after_suspension(stage);
    }
    stage.leaving = None;
    let on: Vec<usize> = (0..stage.world.devices.len())
        .filter(|&device| stage.world.engine(device).is_some())
        .collect();
    for &device in &on {
        stage.world.power_off(device);
    }
    let gap_ms = until_ms.saturating_sub(stage.now_ms() + NIGHT_MS);
    stage.world.run_for(gap_ms);
    for &device in &on {
        stage.world.power_on(device);
    }
}
