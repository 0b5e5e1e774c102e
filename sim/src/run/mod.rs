//! Run: one script from beginning to end, in two acts.
//! Owns: nothing.   Gives: `run`, and what came of it: broken rules, who waits for what, counts, the trace.
//! May use: world, script, people, invariants.   Never: a real clock, files, threads (the program has those).
//!
//! First act: the script's faults and people, and nothing is asked but safety. Second act: everything is healed
//! and everybody does what is asked, and the job must come to its close within a bound. In reading order: here
//! the acts · `happen` faults into the world and out of it · `lead` what a crew does about who is missing · `last`
//! what must be so at the end · `count` how often each thing occurred · `waits` who waits for what ·
//! `word` the rules written once more.

mod count;
mod happen;
mod last;
mod lead;
mod waits;
mod word;

pub use count::{Counts, never_done, never_seen};

use crate::radio::Air;
use crate::script::{PLAIN, Script, crew_of};
use crate::signing::Signing;
use crate::world::{Options, Rule, World};
use gantline_protocol::ids::{DeviceKey, EntryHash};
use gantline_protocol::plan::{self, Plan};
use gantline_protocol::state::CallWord;
use happen::Todo;
use std::collections::{BTreeMap, BTreeSet};

/// The world is sampled so often for what is counted by time, ms.
const SAMPLE_MS: u64 = 5_000;
/// Within so long after the healing the job is closed, ms.
const CLOSES_WITHIN_MS: u64 = 15 * 60_000;
/// So much later where lightning or rain was seen: that must be waited out, half an hour from the newest sighting.
const SIGHTED_MS: u64 = 30 * 60_000;
/// So often somebody of the crew looks for who is missing, ms.
const LEAD_MS: u64 = 1_000;
/// Think times in the second act, ms.
const HEALED_THINK_MS: (u64, u64) = (300, 1_200);

/// What came of a run.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// What was broken; empty: nothing.
    pub broken: Vec<String>,
    /// The hash of everything that happened.
    pub trace: Option<EntryHash>,
    /// How often what occurred.
    pub counts: Counts,
    /// Simulated time, ms.
    pub true_ms: u64,
    /// Simulated time of devices that were on, ms, summed.
    pub device_ms: u64,
    /// From the healing to the close, ms.
    pub closed_after_ms: Option<u64>,
    /// From each press of a stop to each other device that showed it, ms.
    pub spread_ms: Vec<u64>,
    /// Entries in the longest log.
    pub entries: usize,
}

impl Outcome {
    /// Whether nothing was broken.
    #[must_use]
    pub fn is_good(&self) -> bool {
        self.broken.is_empty()
    }

    /// Which rule was broken first: the words before the first colon, such as `I2` or `liveness`. A smaller script
    /// must break the same one.
    #[must_use]
    pub fn kind(&self) -> Option<&str> {
        self.broken.first()?.split(':').next()
    }

    /// What was broken first, in one line.
    #[must_use]
    pub fn first_line(&self) -> &str {
        self.broken
            .first()
            .and_then(|words| words.lines().next())
            .unwrap_or_default()
    }
}

/// The plan of a script; `None`: no plan has its name, which reading a script refuses.
#[must_use]
pub fn plan_of(script: &Script) -> Option<Plan> {
    let text = if script.plan == "small" {
        plan::SMALL
    } else if script.plan == PLAIN {
        include_str!("../script/plain.toml")
    } else {
        plan::builtin()
            .iter()
            .find(|builtin| builtin.name == script.plan)?
            .text
    };
    let mut plan = plan::parse(&script.plan, text).ok()?;
    if script.plan == PLAIN {
        plan.conditions.clear();
        for role in &mut plan.roles {
            role.not_with.clear();
        }
    }
    if let Some(steps) = script.steps {
        plan.steps.truncate(steps.max(1));
        let left: BTreeSet<_> = plan.steps.iter().map(|step| step.id.clone()).collect();
        for condition in &mut plan.conditions {
            let covered = !condition.covers.is_empty();
            condition.covers.retain(|step| left.contains(step));
            // Empty means all: what covered only steps that are gone covers the last one.
            if covered && condition.covers.is_empty() {
                condition
                    .covers
                    .extend(plan.steps.last().map(|step| step.id.clone()));
            }
        }
    }
    Some(plan)
}

/// A run under way.
#[derive(Debug)]
pub struct Run<'a> {
    script: &'a Script,
    /// Where it happens.
    pub world: World,
    todo: BTreeMap<(u64, usize), Todo>,
    counts: Counts,
    device_ms: u64,
    /// Devices that never come back.
    dead: BTreeSet<usize>,
    /// Devices whose holder does not answer to the end of the act.
    silent: BTreeSet<usize>,
    lead: lead::Lead,
    word: word::Word,
}

/// Runs a script.
#[must_use]
pub fn run(script: &Script) -> Outcome {
    run_with(script, None)
}

/// Runs a script with one rule more looked at after each event.
#[must_use]
pub fn run_with(script: &Script, rule: Option<Rule>) -> Outcome {
    match Run::new(script) {
        Ok(mut run) => {
            run.world.rule = rule;
            run.to_the_end()
        }
        Err(why) => Outcome {
            broken: vec![why],
            ..Outcome::default()
        },
    }
}

impl<'a> Run<'a> {
    /// The crew of the script on the job, nothing else yet.
    ///
    /// # Errors
    /// Words, when there is no such plan.
    pub fn new(script: &'a Script) -> Result<Self, String> {
        let plan = plan_of(script).ok_or_else(|| format!("no plan {}", script.plan))?;
        let crew = crew_of(&plan, script.devices);
        let signing = if script.real_signatures {
            Signing::Real
        } else {
            Signing::Simulated
        };
        let mut world = World::signing(
            Options {
                seed: script.seed,
                air: Air::CLEAR,
                plan,
                crew,
                think_ms: script.think_ms,
            },
            signing,
        );
        let devices = world.devices.len() - crate::script::SPARES;
        for device in 1..devices {
            world.admit(device);
        }
        world.run_for(2_000);
        if script.pages {
            for device in 0..devices {
                world.open_page(device);
            }
        }
        let begins = world.now;
        let todo = script
            .events
            .iter()
            .enumerate()
            .map(|(number, event)| {
                let at = begins + event.at_ms;
                ((at, number), Todo::Do(event.what.clone()))
            })
            .collect();
        Ok(Self {
            script,
            world,
            todo,
            counts: Counts::default(),
            device_ms: 0,
            dead: BTreeSet::new(),
            silent: BTreeSet::new(),
            lead: lead::Lead::default(),
            word: word::Word::default(),
        })
    }

    /// Both acts.
    #[must_use]
    pub fn to_the_end(mut self) -> Outcome {
        self.world.radio.air = self.script.air.air();
        self.first_act();
        let mut closed_after_ms = None;
        if self.world.broken.is_empty() {
            closed_after_ms = self.second_act();
        }
        if self.world.broken.is_empty() {
            self.last();
        }
        self.outcome(closed_after_ms)
    }

    fn first_act(&mut self) {
        let ends = self.world.now + self.script.first_act_ms;
        while self.world.broken.is_empty() {
            let next = self.todo.first_key_value().map(|(&(at, _), _)| at);
            let at = next.filter(|at| *at <= ends).unwrap_or(ends);
            self.pass(at);
            match next {
                Some(at) if at <= ends => {
                    if let Some((_, todo)) = self.todo.pop_first() {
                        self.carry_out(todo);
                    }
                }
                _ => break,
            }
        }
    }

    /// Lets time pass up to a moment, and counts what is counted by time.
    fn pass(&mut self, until: u64) {
        while self.world.now < until && self.world.broken.is_empty() {
            let part = SAMPLE_MS.min(until - self.world.now);
            let on = self.world.devices.iter().filter(|d| d.is_on()).count();
            self.world.run_for(part);
            self.device_ms += part * on as u64;
            self.counts.sample(&self.world);
            self.word_in_passing();
        }
    }

    /// Heals everything and waits for the close; after how long it came.
    fn second_act(&mut self) -> Option<u64> {
        self.world.say(|| "everything is healed".to_owned());
        self.heal();
        let began = self.world.now;
        let sighted = self.counts.faults.contains_key("sighting");
        let within = CLOSES_WITHIN_MS + if sighted { SIGHTED_MS } else { 0 };
        while self.world.now < began + within && self.world.broken.is_empty() {
            if self.is_closed() {
                return Some(self.world.now - began);
            }
            self.lead();
            let until = self.world.now + LEAD_MS;
            self.pass(until);
        }
        if self.world.broken.is_empty() {
            let waits = waits::who_waits(&self.world);
            let minutes = within / 60_000;
            self.world.broken.push(crate::world::Broken(format!(
                "liveness: the job is not closed {minutes} min after everything was healed\n{waits}"
            )));
        }
        None
    }

    /// Whether every device of the crew that is on shows the job as closed; and none that was taken off the job
    /// without hearing of it tells its holder to go on.
    fn is_closed(&self) -> bool {
        let crew = self.crew_on();
        let goes_on = |device: usize| {
            let engine = self.world.engine(device);
            engine.is_some_and(|engine| {
                engine.call(self.world.clock(device)).word == CallWord::Proceed
            })
        };
        let closed = |device: usize| {
            let engine = self.world.engine(device);
            engine.is_some_and(|engine| {
                engine.job().is_closed() && engine.job().in_force().is_empty()
            })
        };
        let off = self.on_by_own_log().into_iter();
        !crew.is_empty()
            && crew.iter().all(|&device| closed(device))
            && !off.filter(|at| !crew.contains(at)).any(goes_on)
    }

    /// Devices that are on and on the job: by their own log, and by those of half of the others at least. Nothing
    /// more is sent to a device that was taken off the job (I7), so its log may never have it; whose holder was told
    /// so in words is not of the crew.
    fn crew_on(&self) -> Vec<usize> {
        let on = self.on_by_own_log();
        let knows = |other: usize, me: &DeviceKey| {
            let engine = self.world.engine(other);
            engine.is_some_and(|engine| engine.job().roster().present(me))
        };
        let crew = on.iter().filter(|&&device| {
            if self.world.told_off(device) {
                return false;
            }
            let others = || on.iter().filter(|&&other| other != device);
            self.world.engine(device).is_some_and(|engine| {
                let known = others().filter(|&&other| knows(other, &engine.me()));
                2 * known.count() >= others().count()
            })
        });
        crew.copied().collect()
    }

    fn on_by_own_log(&self) -> Vec<usize> {
        (0..self.world.devices.len())
            .filter(|&device| {
                self.world
                    .engine(device)
                    .is_some_and(|engine| engine.job().roster().present(&engine.me()))
                    && !self.world.is_hostile(device)
            })
            .collect()
    }

    fn outcome(mut self, closed_after_ms: Option<u64>) -> Outcome {
        let spread_ms = self
            .world
            .pressed
            .iter()
            .flat_map(|pressed| {
                pressed
                    .shown
                    .iter()
                    .filter(|(device, _)| *device != pressed.device)
                    .map(|(_, at)| at - pressed.at)
            })
            .collect();
        self.counts.refusals(&self.world);
        Outcome {
            broken: self
                .world
                .broken
                .iter()
                .map(|broken| broken.0.clone())
                .collect(),
            trace: Some(self.world.trace()),
            counts: self.counts,
            true_ms: self.world.now,
            device_ms: self.device_ms,
            closed_after_ms,
            spread_ms,
            entries: self.world.entries(),
        }
    }
}
