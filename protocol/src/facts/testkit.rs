//! Test kit: a crew of four on a small plan, saying things in an order of past that the test chooses.
//! Owns: nothing.   Gives: `Crew`.
//! May use: log::sample.   Never: anything outside tests.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::Facts;
use crate::gate::{Member, Roster};
use crate::ids::{DeviceKey, EntryHash, JobId};
use crate::log::entry::{
    Body, ConditionAge, ConditionNamed, ConditionReading, Content, Evidence, Finding, HeadCount,
    Moved, Note, NoteKind, Offer, OfferNamed, Offered, OrderState, OrderStatus, Ready, Scan, Stop,
    StopKind,
};
use crate::log::graph::{Cut, EntryIx, Graph, Inserted};
use crate::log::sample::{self, WALL};
use crate::plan::{
    Check, Condition, ConditionKind, Expects, Item, ItemAt, Lasts, Limit, LoadMove, Mark, MarkIs,
    Place, Plan, Role, Step, Who,
};
use crate::reason::Reason;

/// Supervisor, observer, tower, ground: devices 0 to 3.
pub const LEAD: u8 = 0;
pub const OBSERVER: u8 = 1;
pub const TOWER: u8 = 2;
pub const GROUND: u8 = 3;

const NAMES: [(&str, &str); 4] = [
    ("Lead", "supervisor"),
    ("Eyes", "observer"),
    ("Tower 1", "tower"),
    ("Ground 1", "ground"),
];

pub struct Crew {
    pub graph: Graph,
    pub facts: Facts,
    pub roster: Roster,
    pub plan: Plan,
    pub job: JobId,
    /// The stop that handoffs are told of.
    pub stopped: Option<EntryHash>,
}

pub fn key(device: u8) -> DeviceKey {
    sample::author(device).device()
}

pub fn name<T: TryFrom<String>>(text: &str) -> T
where
    T::Error: core::fmt::Debug,
{
    T::try_from(text.to_owned()).unwrap()
}

fn item(id: &str, load: bool) -> Item {
    Item {
        id: name(id),
        title: id.into(),
        load,
        at: Place::Truck,
        test_months: (!load).then_some(24),
        tested: None,
        daily: !load,
        rated_kv: None,
        rated_kn: None,
        counted: true,
    }
}

pub fn check(id: &str, expects: Expects) -> Check {
    Check {
        id: name(id),
        text: id.into(),
        who: Who::Roles(vec![name("tower")]),
        expects,
        lasts: Lasts::Job,
    }
}

pub fn step(id: &str, after: &[&str]) -> Step {
    Step {
        id: name(id),
        title: id.into(),
        text: String::new(),
        after: after.iter().map(|id| name(id)).collect(),
        hold_point: false,
        critical: false,
        if_held: "keep still".into(),
        safe_to_leave: false,
        needs: Vec::new(),
        sets: Vec::new(),
        items: Vec::new(),
        moves: Vec::new(),
        checks: vec![check("so", Expects::Yes)],
    }
}

pub fn is(mark: &str, state: &str) -> MarkIs {
    MarkIs {
        mark: name(mark),
        state: name(state),
    }
}

fn condition(id: &str, owner: &str, kind: ConditionKind, valid_s: u32) -> Condition {
    Condition {
        id: name(id),
        title: id.into(),
        owners: vec![name(owner)],
        kind,
        valid_s,
        stable_s: 0,
        covers: Vec::new(),
        lasts: Lasts::Job,
    }
}

/// A plan with one of everything that facts look at.
pub fn plan() -> Plan {
    let mut plan = sample::plan();
    plan.line.terminals = vec!["North".into(), "South".into()];
    plan.roles = NAMES
        .iter()
        .map(|(_, role)| Role {
            id: name(role),
            title: (*role).into(),
            least: 1,
            most: 2,
            not_with: Vec::new(),
            aloft: *role == "tower",
        })
        .collect();
    plan.limits = vec![
        Limit {
            id: name("gap"),
            title: "Gap".into(),
            unit: "m".into(),
            least: Some("2.01".parse().unwrap()),
            most: None,
            places: 2,
            source: "common practice".into(),
            computed: None,
        },
        Limit {
            id: name("wind"),
            title: "Wind".into(),
            unit: "km/h".into(),
            least: None,
            most: Some("40".parse().unwrap()),
            places: 0,
            source: "common practice".into(),
            computed: None,
        },
    ];
    let mut wind = condition(
        "wind",
        "observer",
        ConditionKind::Measured {
            limit: name("wind"),
        },
        900,
    );
    wind.stable_s = 600;
    plan.conditions = vec![
        condition("eyes", "observer", ConditionKind::Presence, 300),
        wind,
        condition("lightning", "observer", ConditionKind::NoneSeen, 1800),
        condition("order", "supervisor", ConditionKind::Order, 28_800),
        condition("voice", "observer", ConditionKind::Affirmed, 600),
    ];
    plan.items = vec![item("pole", false), item("string", true)];
    plan.marks = vec![Mark {
        id: name("string"),
        states: vec![name("hung"), name("carried"), name("free")],
        start: name("hung"),
    }];
    let mut carry = step("carry", &["rig"]);
    carry.needs = vec![is("string", "hung")];
    carry.sets = vec![is("string", "carried")];
    let mut open = step("open", &["carry"]);
    open.needs = vec![is("string", "carried")];
    open.sets = vec![is("string", "free")];
    open.items = vec![ItemAt {
        item: name("pole"),
        at: Place::Aloft,
    }];
    open.moves = vec![LoadMove {
        item: name("string"),
        to: Place::Ground,
    }];
    let mut rig = step("rig", &[]);
    rig.safe_to_leave = true;
    plan.steps = vec![rig, carry, open];
    plan
}

impl Crew {
    pub fn new() -> Self {
        Self::with(plan())
    }

    pub fn with(plan: Plan) -> Self {
        let (graph, job) = sample::founded();
        let mut roster = Roster {
            supervisor: Some(key(LEAD)),
            ..Roster::default()
        };
        for (device, (person, role)) in (0..).zip(NAMES) {
            roster.members.insert(
                key(device),
                Member {
                    person: name(person),
                    roles: vec![name(role)],
                    present: true,
                },
            );
        }
        let mut crew = Self {
            graph,
            facts: Facts::new(),
            roster,
            plan,
            job,
            stopped: None,
        };
        crew.note(EntryIx(0));
        crew
    }

    fn note(&mut self, ix: EntryIx) {
        let stopped = self.stopped;
        self.facts
            .note(&self.graph, ix, &self.roster, &self.plan, &|| stopped);
    }

    /// Says something having seen everything.
    pub fn say(&mut self, device: u8, body: Body) -> EntryIx {
        let entry = sample::author(device)
            .next(&self.graph, WALL, self.job, body)
            .unwrap();
        self.insert(entry)
    }

    fn insert(&mut self, entry: crate::log::wire::Entry) -> EntryIx {
        let Inserted::New(ix) = self.graph.insert(sample::unverified(entry)).unwrap() else {
            panic!("said twice");
        };
        self.note(ix);
        ix
    }

    /// Says something having seen only `seen`, the own chain, and what is in their past.
    pub fn say_seeing(&mut self, device: u8, seen: &[EntryIx], body: Body) -> EntryIx {
        let me = key(device);
        let prev = self
            .graph
            .iter()
            .filter(|&ix| self.graph.author(ix) == me)
            .last();
        let mut heads: Vec<EntryHash> = seen
            .iter()
            .filter(|&&ix| self.graph.author(ix) != me)
            .map(|&ix| self.graph.hash(ix))
            .collect();
        heads.sort_unstable();
        heads.dedup();
        let entry = sample::author(device)
            .sign(Content {
                version: crate::bounds::FORMAT_VERSION,
                job: self.job,
                author: me,
                seq: prev.map_or(0, |ix| self.graph.seq(ix) + 1),
                prev: prev.map_or(EntryHash::NONE, |ix| self.graph.hash(ix)),
                heads,
                stamp: crate::time::Stamp(1),
                wall: WALL,
                body,
            })
            .unwrap();
        self.insert(entry)
    }

    pub fn all(&self) -> Vec<u32> {
        self.graph.all().to_vec()
    }

    pub fn hash(&self, ix: EntryIx) -> EntryHash {
        self.graph.hash(ix)
    }

    pub fn unfit(&self, item: &str) -> Vec<crate::reason::Unfit> {
        self.facts
            .unfit(&self.graph, self.graph.all(), &self.plan, &name(item))
    }

    pub fn at(&self, item: &str) -> Place {
        self.facts
            .custody(&self.graph, self.graph.all(), &self.plan, &name(item))
            .at
    }

    pub fn codes(reasons: &[Reason]) -> Vec<&'static str> {
        reasons.iter().map(Reason::code).collect()
    }

    /// Reasons of one condition against evidence that names `basis`.
    pub fn judged(
        &self,
        id: &str,
        author: u8,
        cut: &Cut,
        basis: Option<(EntryIx, u64)>,
        since_out_ms: Option<u64>,
        release_of: Option<EntryIx>,
    ) -> Vec<Reason> {
        let mut plan = self.plan.clone();
        plan.conditions.retain(|c| c.id.as_str() == id);
        let evidence = Evidence {
            proofs: Vec::new(),
            conditions: basis
                .map(|(entry, age_ms)| ConditionAge {
                    condition: name(id),
                    entry: self.graph.hash(entry),
                    age_ms,
                    since_out_ms,
                })
                .into_iter()
                .collect(),
        };
        let asked = super::Asked {
            author: Some(key(author)),
            past: cut,
            roster: &self.roster,
            plan: &plan,
            steps: &[],
            waived: &[],
            release_of,
        };
        self.facts.conditions(&self.graph, &asked, &evidence)
    }
}

pub fn offer(item: &str, to: Place, receiver: Option<u8>) -> Body {
    Body::Offer(Offer {
        what: Offered::Move {
            handoff: name("move"),
            item: name(item),
            to,
        },
        to: receiver.map(key),
    })
}

pub fn ready(offer: EntryHash, ready: bool) -> Body {
    Body::Ready(Ready { offer, ready })
}

pub fn take(offer: EntryHash, ready_age_ms: u32) -> Body {
    Body::Take(OfferNamed {
        offer,
        ready_age_ms,
    })
}

pub fn done(offer: EntryHash) -> Body {
    Body::Done(OfferNamed {
        offer,
        ready_age_ms: 0,
    })
}

pub fn moved(item: &str, to: Place) -> Body {
    Body::Moved(Moved {
        item: name(item),
        to,
    })
}

pub fn plate(item: &str, test_age_months: Option<u16>, wiped_today: bool) -> Body {
    Body::Scan(Scan {
        item: name(item),
        found: Finding::Plate {
            test_age_months,
            wiped_today,
            rated_kv: None,
        },
    })
}

pub fn inspected(item: &str, good: bool) -> Body {
    Body::Scan(Scan {
        item: name(item),
        found: Finding::Inspected { good },
    })
}

pub fn stop(kind: StopKind, item: Option<&str>) -> Body {
    Body::Stop(Stop {
        kind,
        why: String::new(),
        item: item.map(name),
    })
}

pub fn reading(condition: &str, value: &str, unit: &str) -> Body {
    Body::Reading(ConditionReading {
        condition: name(condition),
        value: Some(value.parse().unwrap()),
        unit: unit.into(),
    })
}

pub fn sighting(condition: &str) -> Body {
    Body::Reading(ConditionReading {
        condition: name(condition),
        value: None,
        unit: String::new(),
    })
}

pub fn affirm(condition: &str) -> Body {
    Body::Affirm(ConditionNamed {
        condition: name(condition),
    })
}

pub fn away(condition: &str) -> Body {
    Body::Away(ConditionNamed {
        condition: name(condition),
    })
}

pub fn order(state: OrderState, terminals: &[&str], read_back: bool, covers: &[&str]) -> Body {
    Body::OrderStatus(OrderStatus {
        order: "H-7".into(),
        state,
        terminals: terminals.iter().map(|&t| t.into()).collect(),
        read_back,
        covers: covers.iter().map(|&c| c.into()).collect(),
        line_state: None,
    })
}

pub fn heads(clear: &[&str], assumed: &[&str]) -> Body {
    Body::HeadCount(HeadCount {
        clear: clear.iter().map(|p| name(p)).collect(),
        assumed: assumed.iter().map(|p| name(p)).collect(),
    })
}

pub fn note(kind: NoteKind, about: Option<EntryHash>) -> Body {
    Body::Note(Note {
        text: "words".into(),
        about,
        kind,
    })
}
