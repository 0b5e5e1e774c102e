//! Sample: keys, a small plan and jobs for tests.
//! Owns: nothing.   Gives: authors by number, a founded graph, random graphs from a seed.
//! May use: all of log.   Never: anything outside tests.
#![allow(
    clippy::unwrap_used,
    clippy::missing_panics_doc,
    reason = "a test may stop at the first surprise"
)]

use crate::decimal::Decimal;
use crate::ids::JobId;
use crate::log::author::Author;
use crate::log::entry::{
    Acknowledge, Admit, Agree, Amend, Body, Change, ConditionAge, Evidence, Found, Heard, Note,
    NoteKind, Proof, Said, Seal, Stop, StopKind,
};
use crate::log::graph::{EntryIx, Graph};
use crate::log::sign::{self, Verified};
use crate::log::wire::Entry;
use crate::plan::{Line, Plan, Times, Units};
use crate::time::WallClock;
use ed25519_zebra::SigningKey;

/// The wall clock of samples.
pub const WALL: WallClock = WallClock(1_764_000_000_000);

/// Device number `number`.
pub fn author(number: u8) -> Author {
    Author::new(SigningKey::from([number + 1; 32]))
}

/// A plan with nothing in it.
pub fn plan() -> Plan {
    Plan {
        title: "Sample".into(),
        line: Line {
            name: "A to B".into(),
            voltage_kv: Decimal::whole(230),
            circuit: "1".into(),
            phase: "A".into(),
            structure: "17".into(),
            string: "suspension".into(),
            terminals: Vec::new(),
            order: None,
            data: Vec::new(),
            words: Vec::new(),
        },
        units: Units::Si,
        cautions: Vec::new(),
        briefing: Vec::new(),
        roles: Vec::new(),
        agree_by: Vec::new(),
        limits: Vec::new(),
        conditions: Vec::new(),
        items: Vec::new(),
        marks: Vec::new(),
        steps: Vec::new(),
        never: Vec::new(),
        times: Times {
            watch_limit_ms: 4_000,
            lost_after_ms: 10_000,
            ready_valid_s: 30,
            press_ms: 1_000,
        },
    }
}

/// The founding body.
pub fn found() -> Body {
    Body::Found(Box::new(Found {
        plan: plan(),
        person: "Lead".try_into().unwrap(),
        roles: vec!["supervisor".try_into().unwrap()],
        continues: None,
        nonce: [7; 16],
    }))
}

/// A plain note.
pub fn note(text: &str) -> Body {
    Body::Note(Note {
        text: text.into(),
        about: None,
        kind: NoteKind::Plain,
    })
}

/// The entry as verified.
pub fn verified(entry: Entry) -> Verified {
    sign::verify(entry).unwrap()
}

/// The entry as if verified, for tests of what does not look at signatures.
pub fn unverified(entry: Entry) -> Verified {
    Verified::unchecked(entry)
}

/// A graph with a founding entry by device 0.
pub fn founded() -> (Graph, JobId) {
    let mut graph = Graph::new();
    let founding = author(0)
        .next(&graph, WALL, JobId::UNFOUNDED, found())
        .unwrap();
    let job = founding.hash.into();
    graph.insert(verified(founding)).unwrap();
    (graph, job)
}

/// A founded graph in which device 0 has admitted devices 1 to 5.
pub fn crewed() -> (Graph, JobId) {
    let (mut graph, job) = founded();
    for number in 1..6 {
        let admit = Body::Admit(Admit {
            device: author(number).device(),
            person: format!("Caller {number}").try_into().unwrap(),
            roles: Vec::new(),
            replaces: None,
        });
        let entry = author(0).next(&graph, WALL, job, admit).unwrap();
        graph.insert(unverified(entry)).unwrap();
    }
    (graph, job)
}

/// Numbers from a seed (SplitMix64).
pub struct Draw(pub u64);

impl Draw {
    /// The next number.
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number below `below`, which is at least 1.
    pub fn below(&mut self, below: usize) -> usize {
        usize::try_from(self.next() % u64::try_from(below).unwrap()).unwrap()
    }
}

/// A job of `count` entries by six devices, of many kinds, with lagging views of each other and some
/// forks; the same for the same seed.
pub fn job(count: usize, seed: u64) -> Graph {
    let mut draw = Draw(seed);
    let (mut graph, job) = crewed();
    // Six views of the job; each device writes after its own.
    let mut views: Vec<Graph> = (0..6).map(|_| crewed().0).collect();
    let mut all: Vec<Entry> = graph.iter().map(|ix| graph.entry(ix).clone()).collect();
    let mut seen = [all.len(); 6];
    while graph.len() < count {
        let number = draw.below(6);
        let upto = all.len() - draw.below(5).min(all.len() - seen[number]);
        for entry in &all[seen[number]..upto] {
            views[number].insert(unverified(entry.clone())).unwrap();
        }
        seen[number] = seen[number].max(upto);
        let author = author(u8::try_from(number).unwrap());
        let view = &views[number];
        let body = body(&mut draw, view);
        let mut entry = author.next(view, WALL, job, body).unwrap();
        if draw.below(25) == 0 && entry.content.seq > 1 {
            // A fork: beside the entry before, not after it.
            let before = view.find(&entry.content.prev).unwrap();
            let mut content = entry.content.clone();
            content.seq = view.seq(before);
            content.prev = view.content(before).prev;
            entry = author.sign(content).unwrap();
        }
        views[number].insert(unverified(entry.clone())).unwrap();
        graph.insert(unverified(entry.clone())).unwrap();
        all.push(entry);
    }
    graph
}

/// A job of `count` entries of over 40 KiB each.
pub fn large(count: usize) -> Graph {
    let (mut graph, job) = founded();
    while graph.len() < count {
        let Body::Found(found) = found() else {
            panic!("a founding body founds");
        };
        let mut step = crate::plan::Step {
            id: "P01".try_into().unwrap(),
            title: String::new(),
            text: "x".repeat(50_000),
            after: Vec::new(),
            hold_point: false,
            critical: false,
            if_held: String::new(),
            safe_to_leave: false,
            needs: Vec::new(),
            sets: Vec::new(),
            items: Vec::new(),
            moves: Vec::new(),
            checks: Vec::new(),
        };
        step.title = found.plan.title;
        let body = Body::Amend(Box::new(Amend {
            why: "large".into(),
            changes: vec![Change::Step(Box::new(step))],
            covers: Vec::new(),
        }));
        let entry = author(0).next(&graph, WALL, job, body).unwrap();
        graph.insert(unverified(entry)).unwrap();
    }
    graph
}

/// Some body that names entries and devices of the graph.
fn body(draw: &mut Draw, view: &Graph) -> Body {
    let some = |draw: &mut Draw| view.hash(EntryIx(u32::try_from(draw.below(view.len())).unwrap()));
    let device = |draw: &mut Draw| author(u8::try_from(draw.below(8)).unwrap()).device();
    match draw.below(9) {
        0 => Body::Heard(Heard { stop: some(draw) }),
        1 => Body::Agree(Agree { to: some(draw) }),
        2 => Body::Admit(Admit {
            device: device(draw),
            person: "Somebody".try_into().unwrap(),
            roles: Vec::new(),
            replaces: Some(device(draw)),
        }),
        3 => Body::Seal(Seal {
            proposal: some(draw),
            consents: vec![some(draw), some(draw)],
        }),
        4 => Body::Stop(Stop {
            kind: StopKind::Stranger {
                key: device(draw),
                words: "all stop".into(),
                age_ms: draw.next() % 1_000,
            },
            why: String::new(),
            item: None,
        }),
        5 => note(&"words ".repeat(draw.below(20))),
        _ => Body::Acknowledge(Acknowledge {
            step: "P08".try_into().unwrap(),
            check: "carries".try_into().unwrap(),
            version: 0,
            said: Said::Yes,
            change: None,
            evidence: Evidence {
                proofs: (0..draw.below(6))
                    .map(|_| Proof {
                        device: device(draw).tag(),
                        age_ms: u32::try_from(draw.below(4_000)).unwrap(),
                        behind: vec![(device(draw).tag(), 1)],
                    })
                    .collect(),
                conditions: vec![ConditionAge {
                    condition: "observer".try_into().unwrap(),
                    entry: some(draw),
                    age_ms: draw.next() % 300_000,
                    since_out_ms: None,
                }],
            },
        }),
    }
}
