//! Random jobs: partitions, deaths, reliefs, takeovers, forks, stops, and whatever else a crew can say.
//! Owns: nothing.   Gives: `random_job`, the tests that order and increments never matter.
//! May use: testkit.   Never: anything outside tests.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::testkit::*;
use super::world::World;
use super::{Job, Verdict};
use crate::decimal::Decimal;
use crate::ids::EntryHash;
use crate::log::entry::{
    Acknowledge, Admit, Agree, Amend, Body, Briefed, Change, Exception, Heard, Note, NoteKind,
    Offer, OfferNamed, Offered, Proposal, ResumeDay, Said, StepBack, Withdraw,
};
use crate::log::graph::{Graph, Inserted};
use crate::log::sample::WALL;
use crate::log::sign::Verified;
use crate::plan::{Expects, Lasts, Plan, Who};
use std::collections::BTreeMap;

/// SplitMix64.
pub struct Rng(pub u64);

impl Rng {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    pub fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound.max(1) as u64) as usize
    }
    pub fn one_in(&mut self, bound: usize) -> bool {
        self.below(bound) == 0
    }
}

fn random_plan(rng: &mut Rng) -> Plan {
    let mut plan = plan();
    let kinds = |rng: &mut Rng| match rng.below(6) {
        0 => Who::Each(Some(name("tower"))),
        1 => Who::SecondLook {
            first: vec![name("tower")],
            second: vec![name("observer"), name("ground")],
        },
        2 => Who::ReadBack {
            report: vec![name("tower")],
            repeat: vec![name("ground")],
        },
        3 => roles(&["tower", "ground"]),
        _ => roles(&["tower"]),
    };
    for step in &mut plan.steps {
        let who = kinds(rng);
        if rng.one_in(3) && !matches!(who, Who::ReadBack { .. }) {
            step.checks[0].expects = Expects::Measured {
                limit: name("clearance"),
            };
        } else if matches!(who, Who::ReadBack { .. } | Who::SecondLook { .. }) {
            step.checks[0].expects = Expects::OneOf {
                answers: vec!["good".into(), "bad".into()],
                passes: "good".into(),
            };
        }
        step.checks[0].who = who;
        if rng.one_in(4) {
            step.checks[0].lasts = Lasts::Day;
        }
    }
    if rng.one_in(3) {
        plan.steps[2].after = vec![name("s1")];
    }
    plan
}

struct Run {
    crew: Crew,
    rng: Rng,
    /// Side of the partition that each device is on; none: dead.
    side: Vec<Option<usize>>,
    /// Everything ever written.
    forks: Vec<Verified>,
    /// Only what the formal rules speak of.
    formal: bool,
}

impl Run {
    fn reachable(&self, device: usize) -> Vec<usize> {
        (0..self.crew.devices.len())
            .filter(|&other| self.side[other].is_some() && self.side[other] == self.side[device])
            .collect()
    }

    fn said(&mut self, step: &str) -> Said {
        let expects = self.crew.devices[0]
            .job
            .plan()
            .step(&name(step))
            .map(|step| step.checks[0].expects.clone());
        match expects {
            Some(Expects::Measured { .. }) => Said::Value {
                value: Decimal::new([260, 260, 260, 270, 240][self.rng.below(5)], 2).unwrap(),
                unit: "m".into(),
            },
            Some(Expects::OneOf { .. }) => {
                Said::Words(["good", "good", "good", "bad"][self.rng.below(4)].into())
            }
            _ => Said::Yes,
        }
    }

    /// Somebody whom `device` takes for gone is admitted again, and hears of it and is briefed if they are near.
    fn come_back(&mut self, device: usize, near: &[usize]) {
        let job = &self.crew.devices[device].job;
        let members = &job.roster().members;
        let gone: Vec<_> = (0..self.crew.devices.len())
            .filter_map(|other| Some((other, members.get(&self.crew.key(other))?)))
            .filter(|(_, member)| !member.present)
            .map(|(other, member)| (other, member.person.clone()))
            .collect();
        if gone.is_empty() {
            return;
        }
        let (back, person) = gone[self.rng.below(gone.len())].clone();
        let in_office = |other: &usize| job.roster().supervisor == Some(self.crew.key(*other));
        let by = near.iter().copied().find(in_office).unwrap_or(device);
        let mut roles = vec![name(["tower", "observer", "ground"][self.rng.below(3)])];
        if self.rng.one_in(6) {
            // The office does not pass so (SUCCESSION).
            roles.push(name("supervisor"));
        }
        let admit = Admit {
            device: self.crew.key(back),
            person,
            roles,
            replaces: None,
        };
        self.crew.say(by, Body::Admit(admit));
        if near.contains(&back) {
            self.crew.sync_among(near);
            let version = self.crew.devices[back].job.plan_version();
            self.crew.say(back, Body::Briefed(Briefed { version }));
        }
    }

    fn act(&mut self) {
        let size = self.crew.devices.len();
        let device = self.rng.below(size);
        if self.side[device].is_none() {
            return;
        }
        let near = self.reachable(device);
        let steps = ["s1", "s2", "s3"];
        match self.rng.below(60) {
            56..59 if self.formal => {}
            0..12 => {
                let other = near[self.rng.below(near.len())];
                if other != device {
                    self.crew.give(device, other);
                }
            }
            12..18 => self.crew.sync_among(&near),
            18..36 => {
                let open = steps.iter().position(|step| {
                    !self.crew.devices[device]
                        .job
                        .complete()
                        .contains(&name(step))
                });
                let step = if self.rng.one_in(5) {
                    steps[self.rng.below(3)]
                } else {
                    steps[open.unwrap_or(2)]
                };
                let said = self.said(step);
                let mut body = self.crew.ack_body(device, step, "c", said);
                if let Body::Acknowledge(Acknowledge { change, .. }) = &mut body
                    && self.rng.one_in(3)
                {
                    *change = Some("done again".into());
                }
                self.crew.say(device, body);
            }
            36 => {
                let step = steps[self.rng.below(3)];
                self.crew.cannot(device, step);
            }
            37 | 38 => {
                let why = ["look", ""][self.rng.below(2)];
                let why = if self.formal { "" } else { why };
                self.crew.stop(device, why);
            }
            39 => {
                let own = self.crew.key(device);
                let graph = self.crew.devices[device].job.graph();
                let acks: Vec<EntryHash> = graph
                    .iter()
                    .filter(|&ix| {
                        graph.author(ix) == own && matches!(graph.body(ix), Body::Acknowledge(_))
                    })
                    .map(|ix| graph.hash(ix))
                    .collect();
                if !acks.is_empty() {
                    let entry = acks[self.rng.below(acks.len())];
                    self.crew.say(
                        device,
                        Body::Withdraw(Withdraw {
                            entry,
                            why: "no".into(),
                        }),
                    );
                }
            }
            40..44 => self.resume(&near),
            44 => {
                let groups = 1 + self.rng.below(2);
                for side in &mut self.side {
                    if side.is_some() {
                        *side = Some(self.rng.below(groups));
                    }
                }
            }
            45 => {
                for side in self.side.iter_mut().flatten() {
                    *side = 0;
                }
            }
            46 => {
                if self.rng.one_in(3) {
                    self.side[device] = None;
                }
            }
            47 => {
                if size < 9 {
                    let role = ["tower", "observer", "ground"][self.rng.below(3)];
                    let new = self.crew.join(device, size as u8 + 20, &[role]);
                    self.side.push(self.side[device]);
                    let version = self.crew.devices[new].job.plan_version();
                    self.crew.say(new, Body::Briefed(Briefed { version }));
                }
            }
            48 => {
                if self.rng.one_in(4) {
                    self.crew.say(device, Body::Leave);
                } else {
                    self.come_back(device, &near);
                }
            }
            49 | 50 => {
                let other = self.rng.below(size);
                if other != device {
                    let kind = if self.crew.devices[device].job.roster().supervisor
                        == Some(self.crew.key(other))
                    {
                        Proposal::TakeOver
                    } else {
                        Proposal::Remove
                    };
                    let consents: Vec<usize> = near
                        .into_iter()
                        .filter(|&d| d != device && d != other)
                        .collect();
                    self.crew.remove(device, other, kind, &consents);
                }
            }
            51 => self.relieve(device, &near),
            52 => {
                let step = steps[self.rng.below(3)];
                self.crew.say(
                    device,
                    Body::StepBack(StepBack {
                        step: name(step),
                        why: "again".into(),
                    }),
                );
            }
            53 => {
                let mut changed = self.crew.devices[device].job.plan().steps[1].clone();
                changed.text = format!("other {}", self.rng.below(9));
                let covers = if self.rng.one_in(2) {
                    vec![name("s3")]
                } else {
                    Vec::new()
                };
                let changes = if self.rng.one_in(2) {
                    vec![Change::Step(Box::new(changed))]
                } else {
                    Vec::new()
                };
                self.crew.say(
                    device,
                    Body::Amend(Box::new(Amend {
                        why: "change".into(),
                        changes,
                        covers,
                    })),
                );
            }
            54 | 55 => {
                for &other in &near {
                    let version = self.crew.devices[other].job.plan_version();
                    self.crew.say(other, Body::Briefed(Briefed { version }));
                }
            }
            56 => {
                let step = steps[self.rng.below(3)];
                let version = self.crew.devices[device].job.plan_version();
                let evidence = self.crew.evidence(device);
                let exception = self.crew.say(
                    device,
                    Body::Exception(Exception {
                        step: name(step),
                        check: name("c"),
                        version,
                        what: "x".into(),
                        why: "y".into(),
                        seen_by: name("Somebody"),
                        evidence,
                    }),
                );
                for &other in &near {
                    if other != device {
                        self.crew.give(device, other);
                        if self.rng.one_in(8) {
                            self.crew.decline(other, exception);
                        } else {
                            self.crew.say(other, Body::Agree(Agree { to: exception }));
                        }
                    }
                }
            }
            57 => {
                let suspend = EntryHash([0; 32]);
                self.crew
                    .say(device, Body::ResumeDay(ResumeDay { suspend }));
            }
            58 => {
                self.crew.count_heads(device);
                self.crew.close(device);
            }
            _ => self.fork(device, &near),
        }
    }

    fn relieve(&mut self, device: usize, near: &[usize]) {
        let job = &self.crew.devices[device].job;
        let Some(role) = [name("tower"), name("observer"), name("supervisor")]
            .get(self.rng.below(3))
            .cloned()
        else {
            return;
        };
        let holders: Vec<_> = job.roster().holders(&role).copied().collect();
        if holders.is_empty() {
            return;
        }
        let from = holders[self.rng.below(holders.len())];
        let asks = near
            .iter()
            .copied()
            .find(|&other| self.crew.key(other) == from);
        if let Some(asks) = asks {
            self.crew.say(
                asks,
                Body::Note(Note {
                    text: "relief".into(),
                    about: None,
                    kind: NoteKind::ReliefWanted { role: role.clone() },
                }),
            );
            self.crew.give(asks, device);
        }
        let to = near[self.rng.below(near.len())];
        let offer = self.crew.say(
            device,
            Body::Offer(Offer {
                what: Offered::Role { role, from },
                to: Some(self.crew.key(to)),
            }),
        );
        if self.rng.one_in(4) {
            return;
        }
        self.crew.give(device, to);
        self.crew.say(
            to,
            Body::Take(OfferNamed {
                offer,
                ready_age_ms: 0,
            }),
        );
    }

    fn resume(&mut self, near: &[usize]) {
        self.crew.sync_among(near);
        let lead = near.iter().copied().find(|&device| {
            self.crew.devices[device].job.roster().supervisor == Some(self.crew.key(device))
        });
        let Some(lead) = lead else { return };
        let graph = self.crew.devices[lead].job.graph();
        let stops: Vec<EntryHash> = self.crew.devices[lead]
            .job
            .stops()
            .iter()
            .map(|stop| graph.hash(stop.entry))
            .collect();
        if stops.is_empty() {
            return;
        }
        let mut who = vec![lead];
        who.extend(near.iter().copied().filter(|&device| device != lead));
        for &device in &who {
            for &stop in &stops {
                self.crew.say(device, Body::Heard(Heard { stop }));
            }
            if self.rng.one_in(2) {
                let version = self.crew.devices[device].job.plan_version();
                self.crew.say(device, Body::Briefed(Briefed { version }));
            }
        }
        self.crew.resume(&stops, &who);
    }

    /// Another entry beside one that the device wrote before, shown to some.
    fn fork(&mut self, device: usize, near: &[usize]) {
        if !self.rng.one_in(6) {
            return;
        }
        let id = self.crew.id;
        let held = &self.crew.devices[device].held;
        let keep = held.len() - self.rng.below(6).min(held.len() - 1);
        let mut graph = Graph::new();
        for entry in &held[..keep] {
            graph.insert(entry.clone()).unwrap();
        }
        let author = &self.crew.devices[device].author;
        if graph.chains_of(author.device()).next().is_none() {
            return;
        }
        let body = self.crew.ack_body(device, "s1", "c", Said::Yes);
        let author = &self.crew.devices[device].author;
        let entry = Verified::unchecked(author.next(&graph, WALL, id, body).unwrap());
        let other = near[self.rng.below(near.len())];
        let prefix = self.crew.devices[device].held[..keep].to_vec();
        let target = &mut self.crew.devices[other];
        for known in prefix.iter().chain([&entry]) {
            if let Inserted::New(_) = target.job.insert(known.clone()).unwrap() {
                target.held.push(known.clone());
            }
        }
        target.job.settle();
        self.forks.push(entry);
    }
}

/// A random job: every entry that anybody holds, in an order in which each comes after its past.
pub fn random_job(seed: u64, acts: usize) -> (Crew, Vec<Verified>) {
    let mut rng = Rng(seed);
    let plan = random_plan(&mut rng);
    job_of(&plan, rng, acts, false)
}

/// A random job of only what the formal rules speak of: no second looks and readings, exceptions, days,
/// closing, or stops of one cause.
pub fn formal_job(seed: u64, acts: usize) -> Vec<Verified> {
    let mut rng = Rng(seed);
    let mut plan = random_plan(&mut rng);
    for step in &mut plan.steps {
        let check = &mut step.checks[0];
        if matches!(check.who, Who::SecondLook { .. }) {
            check.who = roles(&["tower"]);
        }
        if !matches!(check.who, Who::ReadBack { .. }) {
            check.expects = Expects::Yes;
        }
    }
    job_of(&plan, rng, acts, true).1
}

fn job_of(plan: &Plan, mut rng: Rng, acts: usize, formal: bool) -> (Crew, Vec<Verified>) {
    let size = 4 + rng.below(2);
    let crew = Crew::new(plan, size);
    let mut run = Run {
        side: vec![Some(0); size],
        crew,
        rng,
        forks: Vec::new(),
        formal,
    };
    for _ in 0..acts {
        run.act();
    }
    let mut all: Vec<Verified> = Vec::new();
    let mut seen = std::collections::BTreeSet::new();
    for device in &run.crew.devices {
        for entry in &device.held {
            if seen.insert(entry.entry().hash) {
                all.push(entry.clone());
            }
        }
    }
    (run.crew, all)
}

/// The entries in a random order in which each comes after its past.
pub fn shuffled(all: &[Verified], rng: &mut Rng) -> Vec<Verified> {
    let mut left: Vec<&Verified> = all.iter().collect();
    let mut out: Vec<Verified> = Vec::new();
    let mut here = std::collections::BTreeSet::from([EntryHash::NONE]);
    while !left.is_empty() {
        let ready: Vec<usize> = left
            .iter()
            .enumerate()
            .filter(|(_, entry)| {
                let content = &entry.entry().content;
                here.contains(&content.prev) && content.heads.iter().all(|head| here.contains(head))
            })
            .map(|(at, _)| at)
            .collect();
        let at = ready[rng.below(ready.len())];
        let entry = left.swap_remove(at);
        here.insert(entry.entry().hash);
        out.push(entry.clone());
    }
    out
}

/// A job of these entries, brought up to date after every `every`.
pub fn replayed(order: &[Verified], every: usize) -> Job {
    let mut job = Job::found(order[0].clone()).unwrap();
    for (at, entry) in order[1..].iter().enumerate() {
        job.insert(entry.clone()).unwrap();
        if at % every == 0 {
            job.settle();
        }
    }
    job.settle();
    job
}

/// All that a job says, by names that do not depend on arrival.
pub fn picture(job: &Job) -> BTreeMap<String, String> {
    let graph = job.graph();
    let mut picture: BTreeMap<String, String> = graph
        .iter()
        .map(|ix| (graph.hash(ix).to_string(), format!("{:?}", job.verdict(ix))))
        .collect();
    picture.insert("roster".into(), format!("{:?}", job.roster()));
    picture.insert("complete".into(), format!("{:?}", job.complete()));
    picture.insert("reached".into(), format!("{:?}", job.reached()));
    picture.insert("closed".into(), format!("{:?}", job.is_closed()));
    let mut stops: Vec<String> = job
        .stops()
        .iter()
        .map(|stop| format!("{} {:?} {:?}", graph.hash(stop.entry), stop.ask, stop.owed))
        .collect();
    stops.sort();
    picture.insert("stops".into(), format!("{stops:?}"));
    for step in &job.plan().steps {
        let mut missing = job.missing(&step.id);
        missing.sort();
        picture.insert(
            format!("step {}", step.id),
            format!("{:?} {missing:?}", job.step_state(&step.id)),
        );
    }
    picture
}

/// The running count against one from nothing.
fn compare_with_scratch(seed: u64, job: &Job) {
    let core = &job.core;
    let graph = &core.graph;
    let world = World::at(core, graph.all(), core.views.now());
    for number in 0..core.records.acks.len() as u32 {
        assert_eq!(
            world.weight(number),
            job.tally.weight(number),
            "seed {seed}: {:?}",
            graph.content(core.records.ack(number).ix)
        );
    }
    for stop in &core.records.stops {
        let view = core.views.past(stop.ix);
        let past = graph.past(stop.ix);
        let done = World::at(core, past, view).complete(past, past, view);
        let plan = &view.plan;
        assert_eq!(
            plan.ids(&done),
            plan.ids(&stop.done),
            "seed {seed}: done in the past of a stop"
        );
    }
    for (number, objection) in core.records.objections.iter().enumerate() {
        let view = core.views.past(objection.ix);
        let past = graph.past(objection.ix);
        let was = World::at(core, past, view).step_complete(objection.step, past, view);
        assert_eq!(was, objection.was, "seed {seed}: objection {number}");
    }
}

fn difference(one: &BTreeMap<String, String>, other: &BTreeMap<String, String>) -> Option<String> {
    one.iter()
        .find(|(key, value)| other.get(*key) != Some(value))
        .map(|(key, value)| format!("{key}:\n  {value}\n  {:?}", other.get(key)))
}

#[test]
fn order_of_arrival_and_increments_never_matter() {
    let start: u64 = std::env::var("SEED")
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(1);
    let jobs: u64 = std::env::var("JOBS")
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(16);
    let mut counted = 0;
    let mut complete = 0;
    let mut reasons: BTreeMap<&'static str, u32> = BTreeMap::new();
    for seed in start..start + jobs {
        let (crew, all) = random_job(seed, 90);
        let mut rng = Rng(seed ^ 0xabcd);
        let first = replayed(&all, 1);
        compare_with_scratch(seed, &first);
        let wanted = picture(&first);
        for every in [1, 7, usize::MAX] {
            let order = shuffled(&all, &mut rng);
            let other = replayed(&order, every);
            compare_with_scratch(seed, &other);
            if let Some(found) = difference(&wanted, &picture(&other)) {
                panic!("seed {seed}, settled every {every}: {found}");
            }
        }
        drop(crew);
        complete += first.complete().len();
        for ix in first.graph().iter() {
            match first.verdict(ix) {
                Verdict::Counts => counted += 1,
                Verdict::NotCounted(list) => {
                    for reason in list {
                        *reasons.entry(reason.code()).or_default() += 1;
                    }
                }
                Verdict::Information(_) => {}
            }
        }
    }
    println!("counted {counted}, complete {complete}, reasons {reasons:?}");
    assert!(complete > 0 && counted > 0);
}
