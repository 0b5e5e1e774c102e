//! Test kit: a crew whose devices each hold a job of their own and say things after what they have seen.
//! Owns: nothing.   Gives: `Crew`, a small plan.
//! May use: all of log and gate.   Never: anything outside tests.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
#![allow(dead_code, reason = "a kit has more than each test takes")]

use super::{Job, Verdict};
use crate::decimal::Decimal;
use crate::ids::{DeviceKey, EntryHash, JobId, Person};
use crate::log::author::Author;
use crate::log::entry::{
    Acknowledge, Admit, Agree, Ask, Body, Briefed, Cannot, Close, ConditionAge, Decline, Evidence,
    Found, Heard, Proof, Proposal, ProposalNamed, Propose, Release, Said, Seal, Stop, StopKind,
};
use crate::log::graph::{ChainIx, Graph, Inserted};
use crate::log::sample::{self, WALL};
use crate::log::sign::{self, Verified};
use crate::log::wire::{self, Entry};
use crate::plan::{Check, Expects, Lasts, Limit, Plan, Role, Step, Who};
use crate::reason::{Owed, Reason};
use crate::time::WallClock;

/// A name of any kind.
pub fn name<T: TryFrom<String>>(text: &str) -> T
where
    T::Error: core::fmt::Debug,
{
    T::try_from(text.to_owned()).unwrap()
}

pub fn check(id: &str, who: Who) -> Check {
    Check {
        id: name(id),
        text: id.into(),
        who,
        expects: Expects::Yes,
        lasts: Lasts::Job,
    }
}

pub fn roles(roles: &[&str]) -> Who {
    Who::Roles(roles.iter().map(|role| name(role)).collect())
}

pub fn step(id: &str, after: &[&str], checks: Vec<Check>) -> Step {
    Step {
        id: name(id),
        title: id.into(),
        text: id.into(),
        after: after.iter().map(|id| name(id)).collect(),
        hold_point: false,
        critical: false,
        if_held: "Keep it.".into(),
        safe_to_leave: false,
        needs: Vec::new(),
        sets: Vec::new(),
        items: Vec::new(),
        moves: Vec::new(),
        checks,
    }
}

/// Three steps in a row, one check by the tower each.
pub fn plan() -> Plan {
    let mut plan = sample::plan();
    plan.roles = ["supervisor", "observer", "tower", "ground"]
        .into_iter()
        .map(|id| Role {
            id: name(id),
            title: id.into(),
            least: 0,
            most: 9,
            not_with: Vec::new(),
            aloft: id == "tower",
        })
        .collect();
    plan.agree_by = vec![name("observer"), name("tower")];
    plan.limits = vec![Limit {
        id: name("clearance"),
        title: "Clearance".into(),
        unit: "m".into(),
        least: Some(Decimal::new(250, 2).unwrap()),
        most: None,
        places: 2,
        source: "test".into(),
        computed: None,
    }];
    plan.steps = vec![
        step("s1", &[], vec![check("c", roles(&["tower"]))]),
        step("s2", &["s1"], vec![check("c", roles(&["tower"]))]),
        step("s3", &["s2"], vec![check("c", roles(&["tower"]))]),
    ];
    plan
}

/// One device.
pub struct Device {
    pub author: Author,
    pub job: Job,
    /// In order of arrival here.
    pub held: Vec<Verified>,
}

/// A crew.
pub struct Crew {
    pub devices: Vec<Device>,
    pub id: JobId,
}

pub const LEAD: usize = 0;
pub const EYES: usize = 1;
pub const TOWER: usize = 2;
pub const GROUND: usize = 3;

fn insert(device: &mut Device, entry: &Verified) {
    if let Inserted::New(_) = device.job.insert(entry.clone()).unwrap() {
        device.held.push(entry.clone());
    }
}

pub fn founding(plan: &Plan) -> Verified {
    let found = Body::Found(Box::new(Found {
        plan: plan.clone(),
        person: name("Lead"),
        roles: vec![name("supervisor")],
        continues: None,
        nonce: [1; 16],
    }));
    let graph = crate::log::graph::Graph::new();
    let author = sample::author(0);
    Verified::unchecked(author.next(&graph, WALL, JobId::UNFOUNDED, found).unwrap())
}

impl Crew {
    /// Lead, observer, tower, ground and further towers: admitted and briefed, everything known to all.
    pub fn new(plan: &Plan, size: usize) -> Self {
        let first = founding(plan);
        let mut crew = Self {
            id: JobId(first.entry().hash.0),
            devices: vec![Device {
                author: sample::author(0),
                job: Job::found(first.clone()).unwrap(),
                held: vec![first],
            }],
        };
        for number in 1..size {
            let role = ["supervisor", "observer", "tower", "ground", "tower"][number.min(4)];
            crew.join(LEAD, number as u8, &[role]);
        }
        crew.sync();
        for number in 0..size {
            crew.say(number, Body::Briefed(Briefed { version: 0 }));
        }
        crew.sync();
        crew
    }

    pub fn key(&self, device: usize) -> DeviceKey {
        self.devices[device].author.device()
    }

    /// Admits a new device, which then has all that `by` has.
    pub fn join(&mut self, by: usize, number: u8, roles: &[&str]) -> usize {
        let author = sample::author(number);
        self.say(
            by,
            Body::Admit(Admit {
                device: author.device(),
                person: name(&format!("Person {number}")),
                roles: roles.iter().map(|role| name(role)).collect(),
                replaces: None,
            }),
        );
        self.enter(by, author)
    }

    /// A device comes in with all that `by` has.
    pub fn enter(&mut self, by: usize, author: Author) -> usize {
        let held = self.devices[by].held.clone();
        let mut job = Job::found(held[0].clone()).unwrap();
        for entry in &held[1..] {
            job.insert(entry.clone()).unwrap();
        }
        job.settle();
        self.devices.push(Device { author, job, held });
        self.devices.len() - 1
    }

    /// Writes an entry after all that the device has.
    pub fn say(&mut self, device: usize, body: Body) -> EntryHash {
        let id = self.id;
        let device = &mut self.devices[device];
        let entry = device
            .author
            .next(device.job.graph(), WALL, id, body)
            .unwrap();
        let entry = Verified::unchecked(entry);
        let hash = entry.entry().hash;
        insert(device, &entry);
        device.job.settle();
        hash
    }

    /// Gives `to` all that `from` has.
    pub fn give(&mut self, from: usize, to: usize) {
        let held = self.devices[from].held.clone();
        let to = &mut self.devices[to];
        for entry in &held {
            insert(to, entry);
        }
        to.job.settle();
    }

    /// Everybody gets everything.
    pub fn sync(&mut self) {
        let all: Vec<usize> = (0..self.devices.len()).collect();
        self.sync_among(&all);
    }

    /// Some get all that any of them has.
    pub fn sync_among(&mut self, some: &[usize]) {
        for &from in some {
            for &to in some {
                if from != to {
                    self.give(from, to);
                }
            }
        }
    }

    /// True evidence: everybody alive, and holding what they hold.
    pub fn evidence(&self, device: usize) -> Evidence {
        let me = &self.devices[device];
        let graph = me.job.graph();
        let proofs = me
            .job
            .roster()
            .devices()
            .filter(|key| **key != me.author.device())
            .map(|key| {
                let theirs = self
                    .devices
                    .iter()
                    .find(|other| other.author.device() == *key)
                    .map(|other| other.job.graph());
                let mut behind = Vec::new();
                for chain in graph.chains() {
                    let author = graph.chain_author(chain);
                    let mine = graph.all()[chain.0 as usize];
                    let known = theirs.map_or(0, |theirs| {
                        theirs
                            .chains_of(author)
                            .map(|ChainIx(at)| theirs.all()[at as usize])
                            .max()
                            .unwrap_or(0)
                    });
                    if known < mine {
                        behind.push((author.tag(), mine - known));
                    }
                }
                Proof {
                    device: key.tag(),
                    age_ms: 500,
                    behind,
                }
            })
            .collect();
        Evidence {
            proofs,
            conditions: Vec::<ConditionAge>::new(),
        }
    }

    pub fn ack_body(&self, device: usize, step: &str, check: &str, said: Said) -> Body {
        Body::Acknowledge(Acknowledge {
            step: name(step),
            check: name(check),
            version: self.devices[device].job.plan_version(),
            said,
            change: None,
            evidence: self.evidence(device),
        })
    }

    pub fn ack(&mut self, device: usize, step: &str) -> EntryHash {
        let body = self.ack_body(device, step, "c", Said::Yes);
        self.say(device, body)
    }

    pub fn stop(&mut self, device: usize, why: &str) -> EntryHash {
        self.say(
            device,
            Body::Stop(Stop {
                kind: StopKind::Work,
                why: why.into(),
                item: None,
            }),
        )
    }

    pub fn cannot(&mut self, device: usize, step: &str) -> EntryHash {
        self.say(
            device,
            Body::Cannot(Cannot {
                step: name(step),
                check: name("c"),
                why: "no".into(),
            }),
        )
    }

    /// Everybody hears, the lead asks, everybody agrees, the lead releases; all of it known to all.
    pub fn resume(&mut self, stops: &[EntryHash], who: &[usize]) -> EntryHash {
        let ask = self.heard_and_asked(stops, who);
        for &device in &who[1..] {
            self.say(device, Body::Agree(Agree { to: ask }));
        }
        self.sync_among(who);
        let release = self.say(
            who[0],
            Body::Release(Release {
                ask,
                evidence: Evidence::default(),
            }),
        );
        self.sync_among(who);
        release
    }

    /// A proposal with the consents of some, sealed.
    pub fn remove(
        &mut self,
        by: usize,
        device: usize,
        kind: Proposal,
        consents: &[usize],
    ) -> EntryHash {
        self.remove_naming(by, device, kind, consents, Vec::new())
    }

    /// The same; the seal also names other entries, such as the acceptance of who gets a new device.
    pub fn remove_naming(
        &mut self,
        by: usize,
        device: usize,
        kind: Proposal,
        consents: &[usize],
        mut hashes: Vec<EntryHash>,
    ) -> EntryHash {
        // The newest beacon of that device: it says what it holds.
        let theirs = self.devices[device].job.graph();
        let known = theirs
            .chains()
            .map(|chain| {
                (
                    theirs.chain_author(chain).tag(),
                    theirs.all()[chain.0 as usize],
                )
            })
            .collect();
        let proposal = self.say(
            by,
            Body::Propose(Propose {
                kind,
                device: self.key(device),
                attempt: 1,
                spoken_to: None,
                called_stop: false,
                known,
            }),
        );
        for &other in consents {
            self.give(by, other);
            hashes.push(self.say(other, Body::Consent(ProposalNamed { proposal })));
            self.give(other, by);
        }
        self.say(
            by,
            Body::Seal(Seal {
                proposal,
                consents: hashes,
            }),
        )
    }

    /// Says something at a time by the own clock, ms after the start; nobody else has it yet.
    pub fn say_at(&mut self, device: usize, at_ms: i64, body: Body) -> EntryHash {
        let own = &self.devices[device];
        let wall = WallClock(WALL.0 + at_ms);
        let entry = own
            .author
            .next(own.job.graph(), wall, self.id, body)
            .unwrap();
        let hash = entry.hash;
        self.put(&[device], &sign::verify(entry).unwrap());
        hash
    }

    /// Puts an entry in that somebody made elsewhere, at some devices.
    pub fn put(&mut self, devices: &[usize], entry: &Verified) {
        for &device in devices {
            let device = &mut self.devices[device];
            insert(device, entry);
            device.job.settle();
        }
    }

    /// An entry of a kind that this version does not know, put in at its author's.
    pub fn say_unknown(&mut self, device: usize) -> EntryHash {
        let author = &self.devices[device].author;
        let graph = self.devices[device].job.graph();
        let known = author.next(graph, WALL, self.id, Body::Accept).unwrap();
        let mut bytes = known.bytes[..known.bytes.len() - wire::SIGNATURE_BYTES].to_vec();
        // The kind is the last byte: an acceptance carries nothing.
        bytes.pop();
        bytes.extend(b"\x63from a later version");
        let hash = wire::hash_content(&bytes);
        bytes.extend(sign::sign(author.key(), &hash));
        let entry = Verified::unchecked(Entry::decode(bytes.into()).unwrap());
        self.put(&[device], &entry);
        hash
    }

    /// Another entry with the number of the device's newest, made as if that one had not been: a fork.
    /// The device itself has it, and nobody else yet.
    pub fn fork(&mut self, device: usize, body: Body) -> Verified {
        let mut graph = Graph::new();
        let me = self.key(device);
        let held = &self.devices[device].held;
        let newest = held
            .iter()
            .rposition(|entry| entry.entry().content.author == me)
            .unwrap();
        for entry in &held[..newest] {
            graph.insert(entry.clone()).unwrap();
        }
        let author = &self.devices[device].author;
        let entry = Verified::unchecked(author.next(&graph, WALL, self.id, body).unwrap());
        self.put(&[device], &entry);
        entry
    }

    /// Some hear stops, and their supervisor asks; all of it known to them.
    pub fn heard_and_asked(&mut self, stops: &[EntryHash], who: &[usize]) -> EntryHash {
        for &device in who {
            for &stop in stops {
                self.say(device, Body::Heard(Heard { stop }));
            }
        }
        self.sync_among(who);
        let ask = self.say(
            who[0],
            Body::Ask(Ask {
                stops: stops.to_vec(),
                cause: "seen to".into(),
                open_item: None,
                closes_item: None,
            }),
        );
        self.sync_among(who);
        ask
    }

    /// Some agree, known to the supervisor who asked.
    pub fn agree(&mut self, to: EntryHash, who: &[usize]) {
        for &device in who {
            self.say(device, Body::Agree(Agree { to }));
            self.give(device, LEAD);
        }
    }

    pub fn release(&mut self, ask: EntryHash, conditions: Vec<ConditionAge>) -> EntryHash {
        let evidence = Evidence {
            proofs: Vec::new(),
            conditions,
        };
        self.say(LEAD, Body::Release(Release { ask, evidence }))
    }

    /// What the crew still owes before a stop is released, as one device sees it.
    pub fn owed(&self, device: usize, stop: EntryHash) -> Vec<Owed> {
        let job = &self.devices[device].job;
        job.owed(job.graph().find(&stop).unwrap())
    }

    pub fn stops(&self, device: usize) -> Vec<EntryHash> {
        let job = &self.devices[device].job;
        job.stops()
            .iter()
            .map(|stop| job.graph().hash(stop.entry))
            .collect()
    }

    pub fn decline(&mut self, device: usize, to: EntryHash) -> EntryHash {
        self.say(
            device,
            Body::Decline(Decline {
                to,
                why: String::new(),
            }),
        )
    }

    pub fn close(&mut self, device: usize) -> EntryHash {
        let evidence = self.evidence(device);
        self.say(device, Body::Close(Close { evidence }))
    }

    pub fn count_heads(&mut self, device: usize) -> EntryHash {
        let clear = self.devices[device]
            .job
            .roster()
            .members
            .values()
            .map(|member| member.person.clone())
            .collect();
        self.say(
            device,
            Body::HeadCount(crate::log::entry::HeadCount {
                clear,
                assumed: Vec::new(),
            }),
        )
    }

    pub fn verdict(&self, device: usize, entry: EntryHash) -> Verdict {
        let job = &self.devices[device].job;
        job.verdict(job.graph().find(&entry).unwrap())
    }

    pub fn reasons(&self, device: usize, entry: EntryHash) -> Vec<Reason> {
        match self.verdict(device, entry) {
            Verdict::Counts => Vec::new(),
            Verdict::NotCounted(reasons) | Verdict::Information(reasons) => reasons,
        }
    }

    pub fn complete(&self, device: usize) -> Vec<String> {
        self.devices[device]
            .job
            .complete()
            .iter()
            .map(|step| step.as_str().to_owned())
            .collect()
    }

    pub fn person(number: u8) -> Person {
        name(&format!("Person {number}"))
    }
}
