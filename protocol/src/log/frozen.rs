//! Frozen: one entry of every kind, and every choice inside a kind, with the bytes that it must always have.
//! Owns: `frozen.txt`, name and body bytes.   Gives: nothing outside tests.
//! May use: entry, wire.   Never: a change of a line without a step of the format version; new lines at the end.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::entry::*;
use super::entry::{Finding, Proof};
use super::photo::{Media, Photo};
use super::sample;
use super::wire::{BadBytes, Entry, SIGNATURE_BYTES, hash_content};
use crate::bounds::{ENTRY_MAX_BYTES, FORMAT_VERSION, HEADS_MAX};
use crate::decimal::Decimal;
use crate::ids::{DeviceKey, DeviceTag, EntryHash, JobId, PhotoHash};
use crate::plan::*;
use crate::time::{Stamp, WallClock};
use std::fmt::Write as _;

const FROZEN: &str = include_str!("frozen.txt");

fn hash(byte: u8) -> EntryHash {
    EntryHash([byte; 32])
}
fn key(byte: u8) -> DeviceKey {
    DeviceKey([byte; 32])
}
fn tag(byte: u8) -> DeviceTag {
    DeviceTag([byte; 8])
}
fn named<T: TryFrom<&'static str, Error = crate::ids::BadId>>(name: &'static str) -> T {
    name.try_into().unwrap()
}
fn value(digits: i64) -> Decimal {
    Decimal::new(digits, 2).unwrap()
}

fn evidence() -> Evidence {
    Evidence {
        proofs: vec![Proof {
            device: tag(1),
            age_ms: 250,
            behind: vec![(tag(2), 3)],
        }],
        conditions: vec![ConditionAge {
            condition: named("wind"),
            entry: hash(3),
            age_ms: 60_000,
            since_out_ms: Some(900_000),
        }],
    }
}

fn check(id: &'static str, who: Who, expects: Expects, lasts: Lasts) -> Check {
    Check {
        id: named(id),
        text: "Poles carry the string".into(),
        who,
        expects,
        lasts,
    }
}

fn step() -> Step {
    let at = |at| ItemAt {
        item: named("link"),
        at,
    };
    Step {
        id: named("P08"),
        title: "Take up".into(),
        text: "Take up both poles.".into(),
        after: vec![named("P07")],
        hold_point: true,
        critical: false,
        if_held: "Keep the load on the poles.".into(),
        safe_to_leave: true,
        needs: vec![MarkIs {
            mark: named("poles"),
            state: named("rigged"),
        }],
        sets: vec![MarkIs {
            mark: named("string"),
            state: named("carried"),
        }],
        items: [
            Place::Truck,
            Place::Ground,
            Place::OnTheLine,
            Place::Aloft,
            Place::Structure,
            Place::Conductor,
        ]
        .map(at)
        .to_vec(),
        moves: vec![LoadMove {
            item: named("cradle"),
            to: Place::Aloft,
        }],
        checks: vec![
            check(
                "a",
                Who::Roles(vec![named("tower")]),
                Expects::Yes,
                Lasts::Job,
            ),
            check(
                "b",
                Who::Each(None),
                Expects::Measured {
                    limit: named("gap"),
                },
                Lasts::Day,
            ),
            check(
                "c",
                Who::Each(Some(named("tower"))),
                Expects::OneOf {
                    answers: vec!["yes".into(), "no".into()],
                    passes: "yes".into(),
                },
                Lasts::Shift,
            ),
            check(
                "d",
                Who::SecondLook {
                    first: vec![named("tower")],
                    second: vec![named("observer")],
                },
                Expects::Identity,
                Lasts::Job,
            ),
            check(
                "e",
                Who::ReadBack {
                    report: vec![named("tower")],
                    repeat: vec![named("ground")],
                },
                Expects::Words,
                Lasts::Job,
            ),
            check(
                "f",
                Who::Each(None),
                Expects::Tally {
                    of: "cotter pins".into(),
                },
                Lasts::Job,
            ),
            check("g", Who::Each(None), Expects::Heads, Lasts::Job),
            check(
                "h",
                Who::Each(None),
                Expects::OrderIs { in_effect: true },
                Lasts::Job,
            ),
        ],
    }
}

fn limit() -> Limit {
    Limit {
        id: named("gap"),
        title: "Clearance".into(),
        unit: "m".into(),
        least: Some(value(170)),
        most: None,
        places: 2,
        source: "common practice".into(),
        computed: Some("approach".into()),
    }
}

fn condition(kind: ConditionKind) -> Condition {
    Condition {
        id: named("wind"),
        title: "Wind".into(),
        owners: vec![named("ground")],
        kind,
        valid_s: 900,
        stable_s: 600,
        covers: vec![named("P08")],
        lasts: Lasts::Day,
    }
}

fn item() -> Item {
    Item {
        id: named("link"),
        title: "Link stick".into(),
        load: false,
        at: Place::Truck,
        test_months: Some(12),
        tested: Some("2026-03-01".into()),
        daily: true,
        rated_kv: Some(Decimal::whole(345)),
        rated_kn: None,
        counted: true,
    }
}

fn plan() -> Plan {
    let mut plan = sample::plan();
    plan.line.order = Some("4711".into());
    plan.line.terminals = vec!["North".into()];
    plan.line.data = vec![Datum {
        name: "span_ahead".into(),
        value: value(30_500),
        unit: "m".into(),
    }];
    plan.line.words = vec![Word {
        name: "conductor".into(),
        word: "Drake".into(),
    }];
    plan.units = Units::Us;
    plan.cautions = vec!["A planning aid.".into()];
    plan.briefing = vec!["Hazards.".into()];
    plan.roles = vec![Role {
        id: named("tower"),
        title: "Tower".into(),
        least: 2,
        most: 3,
        not_with: vec![named("observer")],
        aloft: true,
    }];
    plan.agree_by = vec![named("observer")];
    plan.limits = vec![limit()];
    plan.conditions = vec![
        condition(ConditionKind::Presence),
        condition(ConditionKind::Measured {
            limit: named("gap"),
        }),
        condition(ConditionKind::NoneSeen),
        condition(ConditionKind::Order),
        condition(ConditionKind::Affirmed),
    ];
    plan.items = vec![item()];
    plan.marks = vec![Mark {
        id: named("string"),
        states: vec![named("old"), named("carried")],
        start: named("old"),
    }];
    plan.steps = vec![step()];
    plan.never = vec![Never {
        why: "Nothing would hold the line.".into(),
        all: vec![MarkIs {
            mark: named("string"),
            state: named("carried"),
        }],
    }];
    plan
}

fn ack(said: Said) -> Body {
    Body::Acknowledge(Acknowledge {
        step: named("P08"),
        check: named("a"),
        version: 2,
        said,
        change: Some("Moved the ladder.".into()),
        evidence: evidence(),
    })
}
fn stop(kind: StopKind) -> Body {
    Body::Stop(Stop {
        kind,
        why: "Pole slips.".into(),
        item: Some(named("pole-1")),
    })
}
fn order(state: OrderState) -> Body {
    Body::OrderStatus(OrderStatus {
        order: "4711".into(),
        state,
        terminals: vec!["North".into(), "South".into()],
        read_back: true,
        covers: vec!["17".into()],
        line_state: Some("in service".into()),
    })
}
fn photo(media: Media) -> Body {
    note(NoteKind::Photo(Photo {
        hash: PhotoHash([7; 32]),
        bytes: 200_000,
        media,
    }))
}

fn note(kind: NoteKind) -> Body {
    Body::Note(Note {
        text: "Windy.".into(),
        about: Some(hash(4)),
        kind,
    })
}
fn scan(found: Finding) -> Body {
    Body::Scan(Scan {
        item: named("link"),
        found,
    })
}
fn offer(what: Offered) -> Body {
    Body::Offer(Offer {
        what,
        to: Some(key(5)),
    })
}
fn propose(kind: Proposal) -> Body {
    Body::Propose(Propose {
        kind,
        device: key(6),
        attempt: 2,
        spoken_to: Some(false),
        called_stop: true,
        known: vec![(tag(1), 17)],
    })
}

/// One body of every kind and choice. New ones at the end.
fn bodies() -> Vec<(&'static str, Body)> {
    let words = || "words".to_owned();
    let (step_id, check_id) = (|| named("P08"), || named("a"));
    vec![
        (
            "found",
            Body::Found(Box::new(Found {
                plan: plan(),
                person: named("Lead"),
                roles: vec![named("supervisor")],
                continues: Some(Continues {
                    job: JobId([9; 32]),
                    secured: vec![MarkIs {
                        mark: named("string"),
                        state: named("old"),
                    }],
                }),
                nonce: [8; 16],
            })),
        ),
        (
            "admit",
            Body::Admit(Admit {
                device: key(1),
                person: named("Ünal"),
                roles: vec![named("tower"), named("ground")],
                replaces: Some(key(2)),
            }),
        ),
        ("accept", Body::Accept),
        ("leave", Body::Leave),
        ("briefed", Body::Briefed(Briefed { version: 300 })),
        ("acknowledge yes", ack(Said::Yes)),
        (
            "acknowledge value",
            ack(Said::Value {
                value: value(-341),
                unit: "m".into(),
            }),
        ),
        ("acknowledge words", ack(Said::Words(words()))),
        (
            "acknowledge identity",
            ack(Said::Identity {
                structure: "17".into(),
                circuit: "1".into(),
                phase: "A".into(),
            }),
        ),
        ("acknowledge tally", ack(Said::Tally { out: 24, back: 23 })),
        (
            "cannot",
            Body::Cannot(Cannot {
                step: step_id(),
                check: check_id(),
                why: words(),
            }),
        ),
        (
            "withdraw",
            Body::Withdraw(Withdraw {
                entry: hash(1),
                why: words(),
            }),
        ),
        ("stop work", stop(StopKind::Work)),
        ("stop all", stop(StopKind::AllStop)),
        ("stop emergency", stop(StopKind::Emergency)),
        ("stop order lost", stop(StopKind::OrderLost)),
        (
            "stop stranger",
            stop(StopKind::Stranger {
                key: key(7),
                words: words(),
                age_ms: 1_234,
            }),
        ),
        ("heard", Body::Heard(Heard { stop: hash(1) })),
        (
            "ask",
            Body::Ask(Ask {
                stops: vec![hash(1), hash(2)],
                cause: words(),
                open_item: Some("pin".into()),
                closes_item: None,
            }),
        ),
        ("agree", Body::Agree(Agree { to: hash(1) })),
        (
            "decline",
            Body::Decline(Decline {
                to: hash(1),
                why: words(),
            }),
        ),
        (
            "release",
            Body::Release(Release {
                ask: hash(1),
                evidence: evidence(),
            }),
        ),
        (
            "reading",
            Body::Reading(ConditionReading {
                condition: named("wind"),
                value: Some(value(1_250)),
                unit: "km/h".into(),
            }),
        ),
        (
            "affirm",
            Body::Affirm(ConditionNamed {
                condition: named("observer"),
            }),
        ),
        (
            "away",
            Body::Away(ConditionNamed {
                condition: named("observer"),
            }),
        ),
        (
            "offer move",
            offer(Offered::Move {
                handoff: named("new-string"),
                item: named("s2"),
                to: Place::Aloft,
            }),
        ),
        (
            "offer role",
            offer(Offered::Role {
                role: named("observer"),
                from: key(3),
            }),
        ),
        (
            "ready",
            Body::Ready(Ready {
                offer: hash(1),
                ready: true,
            }),
        ),
        (
            "take",
            Body::Take(OfferNamed {
                offer: hash(1),
                ready_age_ms: 900,
            }),
        ),
        (
            "done",
            Body::Done(OfferNamed {
                offer: hash(1),
                ready_age_ms: 0,
            }),
        ),
        (
            "step back",
            Body::StepBack(StepBack {
                step: step_id(),
                why: words(),
            }),
        ),
        (
            "amend",
            Body::Amend(Box::new(Amend {
                why: words(),
                changes: vec![
                    Change::Step(Box::new(step())),
                    Change::Limit(limit()),
                    Change::Condition(condition(ConditionKind::NoneSeen)),
                    Change::Item(item()),
                    Change::Line(plan().line),
                ],
                covers: vec![step_id()],
            })),
        ),
        ("propose remove", propose(Proposal::Remove)),
        ("propose takeover", propose(Proposal::TakeOver)),
        (
            "consent",
            Body::Consent(ProposalNamed { proposal: hash(1) }),
        ),
        (
            "seal",
            Body::Seal(Seal {
                proposal: hash(1),
                consents: vec![hash(2), hash(3)],
            }),
        ),
        (
            "exception",
            Body::Exception(Exception {
                step: step_id(),
                check: check_id(),
                version: 1,
                what: words(),
                why: words(),
                seen_by: named("Lead"),
                evidence: evidence(),
            }),
        ),
        (
            "correction",
            Body::Correction(Correction {
                entry: hash(1),
                text: words(),
            }),
        ),
        (
            "exit plan",
            Body::ExitPlan(ExitPlan {
                stops: vec![hash(1)],
                steps: vec![step_id()],
                without: vec![named("wind")],
                why: words(),
            }),
        ),
        (
            "make safe",
            Body::MakeSafe(MakeSafe {
                step: Some(step_id()),
                text: words(),
            }),
        ),
        (
            "head count",
            Body::HeadCount(HeadCount {
                clear: vec![named("Lead")],
                assumed: vec![named("Tom")],
            }),
        ),
        (
            "identity",
            Body::Identity(Identity {
                structure: "17".into(),
                circuit: "1".into(),
                phase: "A".into(),
                method: "plate".into(),
            }),
        ),
        (
            "scan plate",
            scan(Finding::Plate {
                test_age_months: Some(11),
                wiped_today: true,
                rated_kv: Some(Decimal::whole(345)),
            }),
        ),
        ("scan inspected", scan(Finding::Inspected { good: true })),
        (
            "scan out of service",
            scan(Finding::OutOfService { why: words() }),
        ),
        (
            "moved",
            Body::Moved(Moved {
                item: named("link"),
                to: Place::Conductor,
            }),
        ),
        ("order in effect", order(OrderState::InEffect)),
        ("order lapsed", order(OrderState::Lapsed)),
        ("order released", order(OrderState::Released)),
        (
            "order released by others",
            order(OrderState::ReleasedByOthers { by: words() }),
        ),
        ("note plain", note(NoteKind::Plain)),
        (
            "note late",
            note(NoteKind::Late {
                step: step_id(),
                check: check_id(),
                mark: Some(named("string")),
            }),
        ),
        ("note reviewed", note(NoteKind::Reviewed)),
        ("note stop reason", note(NoteKind::StopReason)),
        (
            "note closes item",
            note(NoteKind::ClosesItem { item: "pin".into() }),
        ),
        ("note still so", note(NoteKind::StillSo)),
        (
            "note relief wanted",
            note(NoteKind::ReliefWanted {
                role: named("observer"),
            }),
        ),
        ("note mute", note(NoteKind::Mute { key: key(9) })),
        (
            "note refused",
            note(NoteKind::Refused {
                codes: vec!["stale".into()],
            }),
        ),
        (
            "clock sample",
            Body::ClockSample(ClockSample {
                device: tag(1),
                ahead_ms: -1_500,
                doubt_ms: 12,
            }),
        ),
        (
            "suspend",
            Body::Suspend(Suspend {
                state: words(),
                resume_by: named("Lead"),
                heads: Some(hash(1)),
                tools_out: 31,
                tools_back: 31,
            }),
        ),
        (
            "resume day",
            Body::ResumeDay(ResumeDay { suspend: hash(1) }),
        ),
        (
            "close",
            Body::Close(Close {
                evidence: evidence(),
            }),
        ),
        ("void", Body::Void(Void { entry: hash(1) })),
        ("note photo jpeg", photo(Media::Jpeg)),
        ("note photo png", photo(Media::Png)),
        ("note photo webp", photo(Media::WebP)),
    ]
}

fn content(body: Body) -> Content {
    Content {
        version: FORMAT_VERSION,
        job: JobId([0x11; 32]),
        author: key(0x22),
        seq: 300,
        prev: hash(0x33),
        heads: vec![hash(0x44), hash(0x55)],
        stamp: Stamp(1_764_000_000_000 << 16 | 3),
        wall: WallClock(1_764_000_000_123),
        body,
    }
}

fn signed(mut content: Vec<u8>) -> std::sync::Arc<[u8]> {
    content.extend([0x66; SIGNATURE_BYTES]);
    content.into()
}

fn encoded(content: &Content) -> Vec<u8> {
    postcard::to_stdvec(content).unwrap()
}

#[test]
fn the_bytes_of_every_kind_are_frozen() {
    let mut found = String::new();
    for (name, body) in bodies() {
        let bytes = postcard::to_stdvec(&body).unwrap();
        let hex: String = bytes.iter().fold(String::new(), |mut hex, byte| {
            let _ = write!(hex, "{byte:02x}");
            hex
        });
        let _ = writeln!(found, "{name} = {hex}");
    }
    let envelope = encoded(&content(Body::Leave));
    let hash = hash_content(&envelope);
    let _ = writeln!(found, "hash of an entry that says leave = {hash}");
    if found != FROZEN {
        println!("All as they now are:\n{found}");
        for (now, frozen) in found.lines().zip(FROZEN.lines()) {
            assert_eq!(now, frozen, "frozen bytes changed");
        }
        panic!("lines were added or taken away");
    }
}

#[test]
fn every_kind_is_there_and_comes_back() {
    let mut kinds = std::collections::BTreeSet::new();
    for (name, body) in bodies() {
        let content = content(body);
        let bytes = signed(encoded(&content));
        let entry = Entry::decode(bytes.clone()).unwrap_or_else(|bad| panic!("{name}: {bad}"));
        assert_eq!(entry.content, content, "{name}");
        assert_eq!(entry.bytes, bytes, "{name}");
        assert_eq!(entry.signature(), [0x66; SIGNATURE_BYTES]);
        kinds.insert(postcard::to_stdvec(&content.body).unwrap()[0]);
    }
    let all: Vec<u8> = (0..u8::try_from(Body::KNOWN_KINDS).unwrap()).collect();
    assert_eq!(kinds.into_iter().collect::<Vec<_>>(), all);
}

/// The envelope is decoded by hand: with the derived decoder it must agree on all bytes, good or bad.
#[test]
fn the_envelope_by_hand_agrees_with_the_derived_one() {
    let mut draw = sample::Draw(17);
    for (name, body) in bodies() {
        let good = encoded(&content(body));
        for _ in 0..300 {
            let mut bytes = good.clone();
            for _ in 0..=draw.below(2) {
                let at = draw.below(bytes.len());
                bytes[at] = u8::try_from(draw.below(256)).unwrap();
            }
            if draw.below(4) == 0 {
                bytes.truncate(draw.below(bytes.len()));
            }
            let by_hand = Entry::decode(signed(bytes.clone()));
            match postcard::from_bytes::<Content>(&bytes) {
                Ok(derived) if encoded(&derived) == bytes => match by_hand {
                    Ok(entry) => assert_eq!(entry.content, derived, "{name}"),
                    Err(bad) => assert!(
                        matches!(
                            bad,
                            BadBytes::Version { .. } | BadBytes::Heads | BadBytes::Text { .. }
                        ),
                        "{name}: {bad}"
                    ),
                },
                _ => {
                    let known = by_hand
                        .is_ok_and(|entry| !matches!(entry.content.body, Body::Unknown { .. }));
                    assert!(!known, "{name}: {bytes:02x?}");
                }
            }
        }
    }
}

#[test]
fn an_unknown_kind_is_kept_as_it_came() {
    for (kind, numbered) in [
        (41_u32, vec![41]),
        (127, vec![127]),
        (300, vec![0xac, 0x02]),
    ] {
        let mut bytes = encoded(&content(Body::Accept));
        bytes.pop();
        bytes.extend(&numbered);
        bytes.extend(b"whatever a later version says here");
        let bytes = signed(bytes);
        let entry = Entry::decode(bytes.clone()).unwrap();
        assert_eq!(entry.content.body, Body::Unknown { kind });
        assert_eq!(entry.bytes, bytes);
        assert_eq!(
            entry.hash,
            hash_content(&bytes[..bytes.len() - SIGNATURE_BYTES])
        );
    }
}

#[test]
fn there_is_one_encoding_only() {
    let good = encoded(&content(Body::Briefed(Briefed { version: 0 })));
    assert!(Entry::decode(signed(good.clone())).is_ok());
    // Bytes after the value.
    let mut longer = good.clone();
    longer.push(0);
    assert_eq!(Entry::decode(signed(longer)), Err(BadBytes::NotCanonical));
    // Zero in two bytes: in the body, in the number, in the count of heads, in an unknown kind.
    let mut body = good.clone();
    body.pop();
    body.extend([0x80, 0]);
    assert_eq!(Entry::decode(signed(body)), Err(BadBytes::NotCanonical));
    let with_number_at = |at: usize, len: usize, number: &[u8]| {
        let mut bytes = good.clone();
        bytes.splice(at..at + len, number.iter().copied());
        Entry::decode(signed(bytes))
    };
    assert!(with_number_at(65, 2, &[0x2c]).is_ok());
    assert_eq!(
        with_number_at(65, 2, &[0xac, 0x82, 0]),
        Err(BadBytes::NotCanonical)
    );
    assert_eq!(
        with_number_at(99, 1, &[0x82, 0]),
        Err(BadBytes::NotCanonical)
    );
    let mut unknown = good.clone();
    unknown.truncate(good.len() - 2);
    unknown.extend([0xac, 0x82, 0]);
    assert!(Entry::decode(signed(unknown)).is_err());
}

#[test]
fn form_is_checked() {
    let decode = |content: &Content| Entry::decode(signed(encoded(content)));
    let good = content(Body::Accept);
    let version = Content {
        version: 2,
        ..good.clone()
    };
    assert_eq!(decode(&version), Err(BadBytes::Version { found: 2 }));
    for heads in [vec![hash(2), hash(1)], vec![hash(1), hash(1)]] {
        let heads = Content {
            heads,
            ..good.clone()
        };
        assert_eq!(decode(&heads), Err(BadBytes::Heads));
    }
    let many = |count: usize| {
        let heads = (0..count)
            .map(|at| hash(u8::try_from(at).unwrap()))
            .collect();
        decode(&Content {
            heads,
            ..good.clone()
        })
    };
    assert!(many(HEADS_MAX).is_ok());
    assert_eq!(many(HEADS_MAX + 1), Err(BadBytes::Heads));
    for len in [0, SIGNATURE_BYTES - 1, ENTRY_MAX_BYTES + 1] {
        let bytes = vec![0; len].into();
        assert_eq!(Entry::decode(bytes), Err(BadBytes::Length { found: len }));
    }
}

#[test]
fn random_bytes_are_no_entry_of_a_known_kind() {
    for seed in 0..50_000 {
        let mut draw = sample::Draw(seed);
        let mut bytes: Vec<u8> = (0..draw.below(400))
            .map(|_| u8::try_from(draw.next() & 0xff).unwrap())
            .collect();
        if let Some(first) = bytes.first_mut() {
            *first = FORMAT_VERSION;
        }
        // At best they are an entry of a kind that only a later version knows, with a bad signature.
        if let Ok(entry) = Entry::decode(bytes.into()) {
            let unknown = matches!(entry.content.body, Body::Unknown { .. });
            assert!(unknown, "seed {seed}");
        }
    }
    // A list that claims 2^40 entries and has none.
    let mut claims = encoded(&content(Body::Accept));
    claims.pop();
    claims.extend([25, 0xff, 0xff, 0xff, 0xff, 0xff, 0x3f]);
    assert_eq!(Entry::decode(signed(claims)), Err(BadBytes::Encoding));
}
