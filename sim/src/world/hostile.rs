//! Hostile: a device of the crew in bad hands: its key signs whatever does harm.
//! Owns: what it has heard and repeats.   Gives: forged evidence, forks, floods, replays, false beacons, noise.
//! May use: the key of that one device, what reached it.   Never: another device's key.
//!
//! Its engine goes on running, so it stays on the job and in contact; beside that it sends what no engine would.

use super::World;
use super::queue::Happens;
use crate::rng::Rng;
use gantline_protocol::bounds::{ENTRY_MAX_BYTES, GIVE_MAX_ENTRIES, MESSAGE_MAX_BYTES};
use gantline_protocol::engine::Engine;
use gantline_protocol::ids::{BootId, DeviceKey, EntryHash};
use gantline_protocol::log::author::Author;
use gantline_protocol::log::columns;
use gantline_protocol::log::entry::{
    Acknowledge, Admit, Amend, Body, Change, ConditionAge, Content, Evidence, Note, NoteKind,
    Proof, Release, Said, Seal, StepBack, Stop, StopKind,
};
use gantline_protocol::log::wire::SIGNATURE_BYTES;
use gantline_protocol::plan::Expects;
use gantline_protocol::sync::{Ask, Datagram, Message};
use gantline_protocol::time::Stamp;
use gantline_protocol::watch::{Beacon, Echo, Row, bundle};
use std::sync::Arc;

/// Shortest and longest time between two mischiefs, ms.
const MISCHIEF_MS: (u64, u64) = (500, 10_000);
/// Heard bytes that it keeps for a replay.
const KEPT: usize = 400;
/// Floods of one device: more of the same shows nothing more.
const FLOODS_MOST: u32 = 4;
/// Entries of one flood.
const FLOOD: u32 = 300;

/// What a hostile device has.
#[derive(Debug, Default)]
pub(super) struct Hostile {
    floods: u32,
    heard: Vec<(bool, Arc<[u8]>)>,
}

/// What it can do, each by name.
pub const MISCHIEFS: [&str; 18] = [
    "forged_evidence",
    "fork",
    "forked_stop",
    "flood",
    "flood_of_stops",
    "replay",
    "noise",
    "false_beacon",
    "made_up_authors",
    "false_tips",
    "unasked",
    "forged_copies",
    "unknown_kind",
    "far_stamp",
    "false_name",
    "false_office",
    "huge_message",
    "gap",
];

impl World {
    /// Whether a device is in bad hands.
    #[must_use]
    pub fn is_hostile(&self, device: usize) -> bool {
        self.devices[device].hostile.is_some()
    }

    /// A device falls into bad hands; whether it was in good ones.
    pub fn turn_hostile(&mut self, device: usize) -> bool {
        if self.is_hostile(device) {
            return false;
        }
        self.devices[device].hostile = Some(Hostile::default());
        self.devices[device].willing = false;
        self.push_of(device, 1, Happens::Mischief);
        true
    }

    /// Bytes that nobody signed arrive on a link.
    pub fn noise(&mut self, device: usize, from: usize, count: u32) {
        let mut rng = self.chance();
        for _ in 0..count {
            let datagram = rng.percent(50);
            let bytes = noise(&mut rng);
            self.receive(device, from, datagram, bytes);
        }
    }

    pub(super) fn overhear(&mut self, device: usize, datagram: bool, bytes: &Arc<[u8]>) {
        if let Some(hostile) = &mut self.devices[device].hostile {
            if hostile.heard.len() == KEPT {
                hostile.heard.remove(0);
            }
            hostile.heard.push((datagram, Arc::clone(bytes)));
        }
    }

    pub(super) fn mischief(&mut self, device: usize) {
        let mut rng = self.chance();
        let again = rng.between(MISCHIEF_MS.0, MISCHIEF_MS.1);
        self.push_of(device, again, Happens::Mischief);
        let at = rng.between(0, MISCHIEFS.len() as u64 - 1);
        let name = MISCHIEFS[usize::try_from(at).unwrap_or(0)];
        if let Some(hostile) = &mut self.devices[device].hostile
            && name.starts_with("flood")
        {
            if hostile.floods == FLOODS_MOST {
                return;
            }
            hostile.floods += 1;
        }
        let Some(engine) = &self.devices[device].engine else {
            return;
        };
        let author = self.author(device);
        let forger = Forger {
            engine,
            author: &author,
            wall: self.clock(device).wall,
        };
        let sent = match name {
            "replay" => self.replayed(device, &mut rng),
            "noise" => (0..20)
                .map(|_| (rng.percent(50), noise(&mut rng).into()))
                .collect(),
            "false_beacon" => {
                let beacon = self.false_beacon(device, &mut rng);
                self.signed(beacon, &author)
            }
            "made_up_authors" => {
                let beacon = self.made_up_authors(device, &mut rng);
                self.signed(beacon, &author)
            }
            "forged_copies" => self.forged_copies(device, &mut rng),
            "false_tips" => (0..20)
                .map(|_| (false, Message::Tips(vec![EntryHash(rng.bytes())]).encode()))
                .collect(),
            "huge_message" => huge(&mut rng),
            "unasked" => unasked(engine),
            name => forger.forged(name, &mut rng),
        };
        if !sent.is_empty() {
            *self.mischiefs.entry(name).or_default() += 1;
        }
        for (number, (datagram, bytes)) in sent.into_iter().enumerate() {
            // A fork shows each half of the crew another branch first.
            let halves = name.starts_with("fork");
            for peer in 0..self.devices.len() {
                if halves && peer % 2 != number % 2 || peer == device || !self.linked(device, peer)
                {
                    continue;
                }
                self.send(device, peer, datagram, &bytes);
            }
        }
    }

    fn send(&mut self, device: usize, peer: usize, datagram: bool, bytes: &Arc<[u8]>) {
        if datagram {
            let copies = self.radio.datagram(&mut self.rng, self.now, device, peer);
            for in_ms in copies.into_iter().flatten() {
                self.push_of(peer, in_ms, Happens::Datagram(device, Arc::clone(bytes)));
            }
        } else if let Some(in_ms) = self.radio.message(&mut self.rng, self.now, device, peer) {
            self.push_of(peer, in_ms, Happens::Message(device, Arc::clone(bytes)));
        }
    }

    fn replayed(&self, device: usize, rng: &mut Rng) -> Vec<(bool, Arc<[u8]>)> {
        let Some(hostile) = &self.devices[device].hostile else {
            return Vec::new();
        };
        (0..hostile.heard.len().min(30))
            .filter_map(|_| {
                let at = rng.between(0, hostile.heard.len() as u64 - 1);
                hostile.heard.get(usize::try_from(at).ok()?).cloned()
            })
            .collect()
    }

    /// What it has heard of others, entries and stops, with a signature of nobody.
    fn forged_copies(&self, device: usize, rng: &mut Rng) -> Vec<(bool, Arc<[u8]>)> {
        let Some(hostile) = &self.devices[device].hostile else {
            return Vec::new();
        };
        let heard = hostile.heard.iter().rev();
        let copies = heard.filter_map(|(datagram, bytes)| {
            let mut forged = |bytes: &[u8]| {
                let mut forged = bytes.to_vec();
                *forged.last_mut()? ^= rng.bytes()[0] | 1;
                Some(forged)
            };
            let sent = if *datagram {
                let Ok(Datagram::Stop(bytes)) = Datagram::decode(bytes) else {
                    return None;
                };
                Datagram::Stop(&forged(bytes)?).encode()?
            } else {
                let Ok(Message::Entries(all)) = Message::decode(bytes) else {
                    return None;
                };
                let all: Option<Vec<Arc<[u8]>>> = all
                    .iter()
                    .map(|bytes| Some(forged(bytes)?.into()))
                    .collect();
                Message::Entries(all?).encode()
            };
            Some((*datagram, sent))
        });
        copies.take(50).collect()
    }

    /// A beacon that tells of as many authors as go in, and none of them exists.
    fn made_up_authors(&self, device: usize, rng: &mut Rng) -> Option<Beacon> {
        let engine = self.devices[device].engine.as_ref()?;
        let boot = BootId(rng.draw());
        let mut beacon = Beacon::new(&engine.job().id(), &engine.me(), boot, 1);
        beacon.rows = (0..60)
            .map(|_| Row {
                device: DeviceKey(rng.bytes()).tag(),
                have: 1,
                echo: None,
            })
            .collect();
        Some(beacon)
    }

    fn signed(&self, beacon: Option<Beacon>, author: &Author) -> Vec<(bool, Arc<[u8]>)> {
        let signed = beacon.and_then(|mut beacon| {
            beacon.fit();
            beacon.sign(self.signing.signatures(), author.key())
        });
        let bytes = signed.map(|signed| bundle(&signed, [], 1_000));
        bytes
            .and_then(|bytes| Datagram::Beacons(&bytes).encode())
            .map(|bytes| (true, bytes))
            .into_iter()
            .collect()
    }

    /// A beacon that says more than is so: of what is held, of what was heard, of how many came before.
    fn false_beacon(&self, device: usize, rng: &mut Rng) -> Option<Beacon> {
        let engine = self.devices[device].engine.as_ref()?;
        let (graph, me) = (engine.job().graph(), engine.me());
        let mut beacon = Beacon::new(&engine.job().id(), &me, BootId(rng.draw()), 1);
        if rng.percent(20) {
            beacon.counter = u32::MAX;
        }
        beacon.pressed = rng.percent(30);
        beacon.head = u32::try_from(rng.between(0, 100_000)).unwrap_or(0);
        beacon.entries = u32::try_from(graph.len()).unwrap_or(0);
        beacon.rows = engine
            .job()
            .roster()
            .devices()
            .filter(|key| **key != me)
            .map(|key| Row {
                device: key.tag(),
                have: if rng.percent(50) { u32::MAX } else { 5_000 },
                echo: Some(Echo {
                    boot: BootId(rng.draw()),
                    counter: u32::try_from(rng.between(0, 1_000)).unwrap_or(0),
                }),
            })
            .collect();
        Some(beacon)
    }
}

/// Bytes of any length and content.
fn noise(rng: &mut Rng) -> Vec<u8> {
    let length = rng.between(0, 700);
    let mut bytes: Vec<u8> = (0..length).map(|_| rng.draw().to_le_bytes()[3]).collect();
    // Some of it looks like something at first.
    if rng.percent(50)
        && let Some(first) = bytes.first_mut()
    {
        *first = u8::from(rng.percent(50));
    }
    bytes
}

fn huge(rng: &mut Rng) -> Vec<(bool, Arc<[u8]>)> {
    let ask = Message::Ask(Ask {
        heights: Vec::new(),
        want: (0..200).map(|_| EntryHash(rng.bytes())).collect(),
    });
    let mut sent: Vec<(bool, Arc<[u8]>)> = (0..20).map(|_| (false, ask.encode())).collect();
    sent.push((false, vec![1; MESSAGE_MAX_BYTES + 1].into()));
    sent.push((false, Message::Give(vec![0xff; 5_000]).encode()));
    sent
}

/// Signs what an engine would not.
struct Forger<'a> {
    engine: &'a Engine,
    author: &'a Author,
    wall: gantline_protocol::time::WallClock,
}

fn note(text: &str) -> Body {
    Body::Note(Note {
        text: text.to_owned(),
        about: None,
        kind: NoteKind::Plain,
    })
}

fn stop(why: String) -> Body {
    Body::Stop(Stop {
        kind: StopKind::Work,
        why,
        item: None,
    })
}

/// All that a device holds, though nobody asked.
fn unasked(engine: &Engine) -> Vec<(bool, Arc<[u8]>)> {
    let graph = engine.job().graph();
    let all: Vec<_> = graph.iter().take(GIVE_MAX_ENTRIES).collect();
    vec![(false, Message::Give(columns::pack(graph, &all)).encode()); 10]
}

fn entries(all: Vec<Arc<[u8]>>) -> (bool, Arc<[u8]>) {
    (false, Message::Entries(all).encode())
}

impl Forger<'_> {
    /// The content that would be next on this device's chain.
    fn next(&self, body: Body) -> Option<Content> {
        let job = self.engine.job();
        let next = self.author.next(job.graph(), self.wall, job.id(), body);
        next.ok().map(|entry| entry.content)
    }

    fn sign(&self, content: Content) -> Option<Arc<[u8]>> {
        self.author.sign(content).ok().map(|entry| entry.bytes)
    }

    fn one(&self, body: Body) -> Vec<(bool, Arc<[u8]>)> {
        let bytes = self.next(body).and_then(|content| self.sign(content));
        bytes
            .map(|bytes| entries(vec![bytes]))
            .into_iter()
            .collect()
    }

    /// A note whose entry is not what an engine would make of it.
    fn changed(&self, text: &str, change: impl FnOnce(&mut Content)) -> Vec<(bool, Arc<[u8]>)> {
        let content = self.next(note(text)).map(|mut content| {
            change(&mut content);
            content
        });
        let bytes = content.and_then(|content| self.sign(content));
        bytes
            .map(|bytes| entries(vec![bytes]))
            .into_iter()
            .collect()
    }

    /// A chain of so many entries.
    fn chain(&self, count: u32, body: impl Fn(u32) -> Body) -> Vec<(bool, Arc<[u8]>)> {
        let mut all = Vec::new();
        let mut last: Option<(u32, EntryHash)> = None;
        for number in 0..count {
            let Some(mut content) = self.next(body(number)) else {
                break;
            };
            if let Some((seq, hash)) = last {
                content.seq = seq + 1;
                content.prev = hash;
                content.heads.clear();
            }
            let Ok(entry) = self.author.sign(content) else {
                break;
            };
            last = Some((entry.content.seq, entry.hash));
            all.push(entry.bytes);
        }
        if all.is_empty() {
            Vec::new()
        } else {
            vec![entries(all)]
        }
    }

    fn forged(&self, name: &str, rng: &mut Rng) -> Vec<(bool, Arc<[u8]>)> {
        match name {
            "forged_evidence" => self.forged_evidence(rng),
            "fork" => [note("one"), note("other")]
                .into_iter()
                .flat_map(|body| self.one(body))
                .collect(),
            "forked_stop" => ["one", "other"]
                .into_iter()
                .flat_map(|why| self.one(stop(why.to_owned())))
                .collect(),
            "flood" => self.chain(FLOOD, |number| note(&format!("flood {number}"))),
            "flood_of_stops" => self.chain(40, |number| stop(format!("flood {number}"))),
            "unknown_kind" => self.unknown_kind(),
            "far_stamp" => self.changed("from far ahead", |content| {
                content.stamp = Stamp(u64::MAX - 1);
            }),
            "false_name" => self.false_name(rng),
            "false_office" => self.false_office(rng),
            "gap" => self.changed("after nothing", |content| {
                content.seq += 5;
                content.prev = EntryHash(rng.bytes());
            }),
            _ => Vec::new(),
        }
    }

    /// A confirmation that says of everybody that they were heard just now and hold all there is.
    fn forged_evidence(&self, rng: &mut Rng) -> Vec<(bool, Arc<[u8]>)> {
        let job = self.engine.job();
        let (graph, plan) = (job.graph(), job.plan());
        let at = rng.between(0, plan.steps.len().max(1) as u64 - 1);
        let Some(step) = plan.steps.get(usize::try_from(at).unwrap_or(0)) else {
            return Vec::new();
        };
        let Some(check) = step.checks.first() else {
            return Vec::new();
        };
        let said = match &check.expects {
            Expects::OneOf { passes, .. } => Said::Words(passes.clone()),
            Expects::Words => Said::Words("17".to_owned()),
            _ => Said::Yes,
        };
        let newest = graph.tips().first().map(|ix| graph.hash(*ix));
        let evidence = Evidence {
            proofs: job
                .roster()
                .devices()
                .filter(|key| **key != self.author.device())
                .map(|key| Proof {
                    device: key.tag(),
                    age_ms: 0,
                    behind: Vec::new(),
                })
                .collect(),
            conditions: plan
                .conditions
                .iter()
                .filter_map(|condition| {
                    Some(ConditionAge {
                        condition: condition.id.clone(),
                        entry: newest?,
                        age_ms: 0,
                        since_out_ms: None,
                    })
                })
                .collect(),
        };
        self.one(Body::Acknowledge(Acknowledge {
            step: step.id.clone(),
            check: check.id.clone(),
            version: job.plan_version(),
            said,
            change: None,
            evidence,
        }))
    }

    /// An entry of a kind that nobody knows yet: the body's first byte is its kind.
    fn unknown_kind(&self) -> Vec<(bool, Arc<[u8]>)> {
        let Some(content) = self.next(Body::Accept) else {
            return Vec::new();
        };
        let Ok(entry) = self.author.sign(content) else {
            return Vec::new();
        };
        let mut signed = entry.bytes[..entry.bytes.len() - SIGNATURE_BYTES].to_vec();
        if let Some(kind) = signed.last_mut() {
            *kind = 99;
        }
        let bytes = self.author.sign_bytes(signed);
        vec![entries(vec![bytes])]
    }

    /// Entries in the name of others: of a device of the crew, and of one that was never admitted.
    fn false_name(&self, rng: &mut Rng) -> Vec<(bool, Arc<[u8]>)> {
        let names: Vec<DeviceKey> = self.engine.job().roster().devices().copied().collect();
        let name = names.iter().find(|key| **key != self.author.device());
        let stranger = DeviceKey(rng.bytes());
        [name.copied(), Some(stranger)]
            .into_iter()
            .flatten()
            .filter_map(|name| {
                let entry = self
                    .author
                    .sign(self.next(stop("not mine".to_owned()))?)
                    .ok()?;
                let own = self.author.device().0;
                let mut bytes = entry.bytes.to_vec();
                let at = bytes.windows(32).position(|part| part == own)?;
                bytes[at..at + 32].copy_from_slice(&name.0);
                Some(entries(vec![bytes.into()]))
            })
            .collect()
    }

    /// What only a supervisor may, and only with others.
    fn false_office(&self, rng: &mut Rng) -> Vec<(bool, Arc<[u8]>)> {
        let job = self.engine.job();
        let (graph, plan) = (job.graph(), job.plan());
        let Some(step) = plan.steps.first() else {
            return Vec::new();
        };
        let any = graph.iter().last().map(|ix| graph.hash(ix));
        let hash = any.unwrap_or(EntryHash::NONE);
        let ask = graph
            .iter()
            .find(|&ix| matches!(graph.body(ix), Body::Ask(_)))
            .map_or(hash, |ix| graph.hash(ix));
        let proposal = graph
            .iter()
            .find(|&ix| matches!(graph.body(ix), Body::Propose(_)))
            .map_or(hash, |ix| graph.hash(ix));
        let bodies = [
            Body::Admit(Admit {
                device: Author::new(rng.bytes().into()).device(),
                person: job.founding().person.clone(),
                roles: plan.roles.iter().map(|role| role.id.clone()).collect(),
                replaces: None,
            }),
            Body::StepBack(StepBack {
                step: step.id.clone(),
                why: "because".to_owned(),
            }),
            Body::Amend(Box::new(Amend {
                why: "because".to_owned(),
                changes: vec![Change::Step(Box::new(step.clone()))],
                covers: Vec::new(),
            })),
            Body::Release(Release {
                ask,
                evidence: Evidence::default(),
            }),
            Body::Seal(Seal {
                proposal,
                consents: Vec::new(),
            }),
        ];
        let at = rng.between(0, bodies.len() as u64 - 1);
        let body = bodies.into_iter().nth(usize::try_from(at).unwrap_or(0));
        body.map(|body| self.one(body)).unwrap_or_default()
    }
}

const _: () = assert!(FLOOD as usize * 256 < MESSAGE_MAX_BYTES && 1_000 < ENTRY_MAX_BYTES);
