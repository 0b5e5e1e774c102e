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
use crate::log::entry::{Body, Found, Note, NoteKind};
use crate::log::graph::Graph;
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
