//! Tests of every rule of the facts, both sides of each bound.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::testkit::*;
use super::*;
use crate::ids::{ItemId, MarkId, StepId};
use crate::log::entry::{OrderState, Said, Suspend};
use crate::plan::{Expects, Lasts, Place};
use crate::reason::{Reason, Unfit};
use std::collections::BTreeSet;

fn answer(crew: &Crew, expects: Expects, said: &Said) -> Vec<&'static str> {
    let reasons = crew.facts.answer(
        &crew.graph,
        crew.graph.all(),
        &crew.roster,
        &crew.plan,
        key(LEAD),
        &check("c", expects),
        said,
    );
    Crew::codes(&reasons)
}

fn value(value: &str, unit: &str) -> Said {
    Said::Value {
        value: value.parse().unwrap(),
        unit: unit.into(),
    }
}

#[test]
fn a_value_at_the_limit_passes_and_one_beyond_it_by_less_than_the_step_does_not() {
    let crew = Crew::new();
    let gap = || Expects::Measured { limit: name("gap") };
    assert!(answer(&crew, gap(), &value("2.01", "m")).is_empty());
    assert!(answer(&crew, gap(), &value("2.010", "m")).is_empty());
    for short in ["2.00", "2.009", "2.00999", "-3"] {
        assert_eq!(answer(&crew, gap(), &value(short, "m")), ["out_of_limit"]);
    }
    let wind = || Expects::Measured {
        limit: name("wind"),
    };
    assert!(answer(&crew, wind(), &value("40", "km/h")).is_empty());
    assert_eq!(
        answer(&crew, wind(), &value("40.1", "km/h")),
        ["out_of_limit"]
    );
    assert_eq!(
        answer(&crew, wind(), &value("10", "m/s")),
        ["wrong_answer_form"]
    );
    assert_eq!(answer(&crew, gap(), &Said::Yes), ["wrong_answer_form"]);
}

#[test]
fn a_limit_with_more_digits_than_are_shown_is_never_easier_to_meet_than_it_reads() {
    let mut limit = plan().limits[0].clone();
    limit.least = Some("2.013".parse().unwrap());
    limit.most = Some("3.017".parse().unwrap());
    assert_eq!(
        limit_as_shown(&limit),
        (Some("2.02".parse().unwrap()), Some("3.01".parse().unwrap()))
    );
    for (value, good) in [
        ("2.02", true),
        ("2.013", false),
        ("2.019", false),
        ("3.01", true),
        ("3.011", false),
        ("3.02", false),
    ] {
        assert_eq!(within(&limit, value.parse().unwrap()), good, "{value}");
    }
}

#[test]
fn one_of_several_answers_passes() {
    let crew = Crew::new();
    let keys = || Expects::OneOf {
        answers: vec!["seated".into(), "not seated".into()],
        passes: "seated".into(),
    };
    assert!(answer(&crew, keys(), &Said::Words("seated".into())).is_empty());
    assert_eq!(
        answer(&crew, keys(), &Said::Words("not seated".into())),
        ["conflict"]
    );
    assert_eq!(
        answer(&crew, keys(), &Said::Words("fine".into())),
        ["wrong_answer_form"]
    );
    let words = |text: &str| answer(&crew, Expects::Words, &Said::Words(text.into()));
    assert!(words("H-7").is_empty());
    assert_eq!(words("  "), ["wrong_answer_form"]);
}

#[test]
fn a_tally_adds_up() {
    let crew = Crew::new();
    let tally = |out, back| {
        let tools = Expects::Tally { of: "tools".into() };
        answer(&crew, tools, &Said::Tally { out, back })
    };
    assert!(tally(14, 14).is_empty());
    assert_eq!(tally(14, 13), ["not_accounted"]);
    assert_eq!(tally(14, 15), ["not_accounted"]);
}

#[test]
fn a_tally_passes_only_when_what_went_out_was_logged_back() {
    let mut crew = Crew::new();
    let tally = |crew: &Crew| {
        let tools = Expects::Tally { of: "tools".into() };
        answer(crew, tools, &Said::Tally { out: 14, back: 14 })
    };
    crew.say(GROUND, plate("pole", Some(3), true));
    crew.say(GROUND, moved("pole", Place::Aloft));
    assert_eq!(tally(&crew), ["not_accounted"], "whatever is typed");
    crew.say(GROUND, moved("pole", Place::Ground));
    assert_eq!(tally(&crew), ["not_accounted"], "on the ground, not home");
    crew.say(GROUND, moved("pole", Place::Truck));
    assert!(tally(&crew).is_empty());
    crew.say(GROUND, moved("string", Place::Ground));
    assert!(tally(&crew).is_empty(), "a load is no tool");
}

#[test]
fn identity_is_the_plans_line_and_the_orders_structure() {
    let mut crew = Crew::new();
    let read = |structure: &str, phase: &str| Said::Identity {
        structure: structure.into(),
        circuit: "1".into(),
        phase: phase.into(),
    };
    assert!(answer(&crew, Expects::Identity, &read("17", "A")).is_empty());
    assert_eq!(
        answer(&crew, Expects::Identity, &read("18", "A")),
        ["identity_mismatch"]
    );
    assert_eq!(
        answer(&crew, Expects::Identity, &read("17", "B")),
        ["identity_mismatch"]
    );
    let both = &["North", "South"];
    crew.say(LEAD, order(OrderState::InEffect, both, true, &["16", "18"]));
    assert_eq!(
        answer(&crew, Expects::Identity, &read("17", "A")),
        ["identity_mismatch"]
    );
    crew.say(LEAD, order(OrderState::InEffect, both, true, &["16", "17"]));
    assert!(answer(&crew, Expects::Identity, &read("17", "A")).is_empty());
}

#[test]
fn the_order_is_in_effect_only_whole_and_from_the_supervisor() {
    let both = &["North", "South"][..];
    let is_in_effect = |by, terminals: &[&str], read_back, covers: &[&str]| {
        let mut crew = Crew::new();
        crew.say(
            by,
            order(OrderState::InEffect, terminals, read_back, covers),
        );
        let codes = answer(&crew, Expects::OrderIs { in_effect: true }, &Said::Yes);
        codes.is_empty()
    };
    assert!(is_in_effect(LEAD, both, true, &[]));
    assert!(is_in_effect(LEAD, both, true, &["17"]));
    assert!(!is_in_effect(LEAD, &["North"], true, &[]));
    assert!(!is_in_effect(LEAD, both, false, &[]));
    assert!(!is_in_effect(LEAD, both, true, &["18"]));
    assert!(!is_in_effect(TOWER, both, true, &[]));
}

#[test]
fn an_order_released_is_released_when_its_holder_says_so_and_it_was_read_back() {
    let released = || Expects::OrderIs { in_effect: false };
    let mut crew = Crew::new();
    assert_eq!(answer(&crew, released(), &Said::Yes), ["conflict"]);
    crew.say(LEAD, order(OrderState::Released, &[], false, &[]));
    assert_eq!(answer(&crew, released(), &Said::Yes), ["conflict"]);
    crew.say(TOWER, order(OrderState::Released, &[], true, &[]));
    assert_eq!(answer(&crew, released(), &Said::Yes), ["conflict"]);
    crew.say(LEAD, order(OrderState::Released, &[], true, &[]));
    assert!(answer(&crew, released(), &Said::Yes).is_empty());
}

#[test]
fn a_lapse_that_the_supervisor_had_not_heard_beats_its_word() {
    let both = &["North", "South"][..];
    let mut crew = Crew::new();
    let root = crew.graph.iter().next().unwrap();
    crew.say_seeing(GROUND, &[root], order(OrderState::Lapsed, both, false, &[]));
    crew.say_seeing(LEAD, &[], order(OrderState::InEffect, both, true, &[]));
    let order = crew.facts.order(&crew.graph, &crew.all(), &crew.plan);
    assert!(!order.unwrap().in_effect);
}

// Items.

#[test]
fn a_tool_is_fit_inside_its_months_and_wiped_today() {
    let mut crew = Crew::new();
    assert_eq!(crew.unfit("pole"), [Unfit::NotInspected, Unfit::NotListed]);
    crew.say(GROUND, plate("pole", Some(25), true));
    assert_eq!(crew.unfit("pole"), [Unfit::TestPast]);
    crew.say(GROUND, plate("pole", Some(24), true));
    assert!(crew.unfit("pole").is_empty());
    crew.say(GROUND, plate("pole", None, true));
    assert_eq!(crew.unfit("pole"), [Unfit::TestPast]);
    crew.say(GROUND, plate("pole", Some(3), false));
    assert!(
        crew.unfit("pole").is_empty(),
        "the earlier wipe still stands"
    );
    assert_eq!(crew.unfit("unheard-of"), [Unfit::NotListed]);
}

#[test]
fn a_tool_found_bad_waits_for_a_good_look_that_knew_of_it() {
    let mut crew = Crew::new();
    let good = crew.say(GROUND, plate("pole", Some(3), true));
    let bad = crew.say(TOWER, inspected("pole", false));
    assert_eq!(crew.unfit("pole"), [Unfit::NotInspected]);
    crew.say_seeing(GROUND, &[good], inspected("pole", true));
    assert_eq!(crew.unfit("pole"), [Unfit::NotInspected], "had not heard");
    crew.say_seeing(GROUND, &[bad], inspected("pole", true));
    assert!(crew.unfit("pole").is_empty());
}

#[test]
fn wiped_is_a_matter_of_the_day() {
    let mut crew = Crew::new();
    crew.say(GROUND, plate("pole", Some(3), true));
    assert!(crew.unfit("pole").is_empty());
    let suspend = crew.hash(EntryIx(0));
    crew.say(
        LEAD,
        Body::ResumeDay(crate::log::entry::ResumeDay { suspend }),
    );
    assert_eq!(crew.unfit("pole"), [Unfit::NotInspected]);
    crew.say(GROUND, inspected("pole", true));
    assert!(crew.unfit("pole").is_empty());
}

#[test]
fn under_rated_out_of_service_and_suspect() {
    let mut crew = Crew::new();
    crew.plan.items[0].rated_kv = Some("229.9".parse().unwrap());
    crew.say(GROUND, plate("pole", Some(3), true));
    assert_eq!(crew.unfit("pole"), [Unfit::UnderRated]);
    crew.plan.items[0].rated_kv = Some("230".parse().unwrap());
    assert!(crew.unfit("pole").is_empty());
    crew.say(TOWER, stop(StopKind::Work, Some("pole")));
    assert_eq!(crew.unfit("pole"), [Unfit::Suspect]);
    crew.say(GROUND, plate("pole", Some(3), true));
    assert_eq!(crew.unfit("pole"), [Unfit::Suspect], "a plate is no look");
    crew.say(GROUND, inspected("pole", true));
    assert!(crew.unfit("pole").is_empty());
    crew.say(
        GROUND,
        Body::Scan(crate::log::entry::Scan {
            item: name("pole"),
            found: crate::log::entry::Finding::OutOfService { why: "nick".into() },
        }),
    );
    crew.say(GROUND, inspected("pole", true));
    assert_eq!(crew.unfit("pole"), [Unfit::OutOfService]);
}

fn handoff_codes(crew: &Crew, ix: EntryIx) -> Vec<&'static str> {
    Crew::codes(crew.facts.handoff_reasons(ix))
}

#[test]
fn a_tool_moves_when_it_is_taken_by_another() {
    let mut crew = Crew::new();
    let unfit = crew.say(GROUND, offer("pole", Place::Aloft, None));
    assert_eq!(handoff_codes(&crew, unfit), ["tool_not_fit"; 2]);
    let down = crew.say(GROUND, offer("pole", Place::Ground, None));
    assert!(
        handoff_codes(&crew, down).is_empty(),
        "down is always allowed"
    );
    crew.say(GROUND, plate("pole", Some(3), true));
    let up = crew.say(GROUND, offer("pole", Place::Aloft, Some(TOWER)));
    let up_hash = crew.hash(up);
    let own = crew.say(GROUND, take(up_hash, 0));
    assert_eq!(handoff_codes(&crew, own), ["not_yours"]);
    let third = crew.say(OBSERVER, take(up_hash, 0));
    assert_eq!(handoff_codes(&crew, third), ["not_yours"]);
    assert_eq!(crew.at("pole"), Place::Truck);
    let older = crew.hash(down);
    let stale = crew.say(TOWER, take(older, 0));
    assert_eq!(
        handoff_codes(&crew, stale),
        ["missing_handoff"],
        "re-offered"
    );
    let taken = crew.say(TOWER, take(up_hash, 0));
    assert!(handoff_codes(&crew, taken).is_empty());
    assert_eq!(crew.at("pole"), Place::Aloft);
    let again = crew.say(TOWER, take(up_hash, 0));
    assert_eq!(handoff_codes(&crew, again), ["duplicate"]);
    assert_eq!(
        crew.facts
            .tool_counts(&crew.graph, &crew.all(), &crew.plan)
            .missing,
        [name("pole")]
    );
    crew.say(GROUND, moved("pole", Place::Truck));
    let counts = crew.facts.tool_counts(&crew.graph, &crew.all(), &crew.plan);
    assert_eq!((counts.out, counts.back), (1, 1));
}

#[test]
fn of_two_takes_of_one_offer_the_lower_number_then_hash_stands_on_every_device() {
    let mut crew = Crew::new();
    crew.say(GROUND, plate("pole", Some(3), true));
    let up = crew.say(GROUND, offer("pole", Place::Aloft, None));
    let up_hash = crew.hash(up);
    crew.say_seeing(TOWER, &[up], note(NoteKind::Plain, None));
    let one = crew.say_seeing(TOWER, &[up], take(up_hash, 0));
    let two = crew.say_seeing(OBSERVER, &[up], take(up_hash, 0));
    assert!(crew.graph.concurrent(one, two));
    let all = crew.all();
    assert!(crew.facts.take_beaten(&crew.graph, one, &all));
    assert!(!crew.facts.take_beaten(&crew.graph, two, &all));
    let custody = crew
        .facts
        .custody(&crew.graph, &all, &crew.plan, &name("pole"));
    assert_eq!(custody.by, Some(two));
}

#[test]
fn a_load_moves_by_offer_ready_take_done() {
    let mut crew = Crew::new();
    let down = crew.say(TOWER, offer("string", Place::Ground, None));
    let hash = crew.hash(down);
    let early = crew.say(TOWER, take(hash, 0));
    assert_eq!(handoff_codes(&crew, early), ["missing_handoff"]);
    let own = crew.say(TOWER, ready(hash, true));
    assert_eq!(handoff_codes(&crew, own), ["not_yours"]);
    crew.say(GROUND, ready(hash, true));
    let other = crew.say(GROUND, take(hash, 0));
    assert_eq!(handoff_codes(&crew, other), ["not_yours"]);
    let stale = crew.say(TOWER, take(hash, 30_001));
    assert_eq!(
        crew.facts.handoff_reasons(stale),
        [Reason::ReadyStale {
            age_ms: 30_001,
            valid_ms: 30_000
        }],
        "there is a ready, but not a fresh one"
    );
    let early = crew.say(GROUND, done(hash));
    assert_eq!(handoff_codes(&crew, early), ["missing_handoff"]);
    let taken = crew.say(TOWER, take(hash, 30_000));
    assert!(handoff_codes(&crew, taken).is_empty());
    assert_eq!(crew.at("string"), Place::OnTheLine);
    let other = crew.say(LEAD, offer("string", Place::Truck, None));
    assert_eq!(handoff_codes(&crew, other), ["not_yours"]);
    let other = crew.say(OBSERVER, done(hash));
    assert_eq!(handoff_codes(&crew, other), ["not_yours"]);
    let end = crew.say(GROUND, done(hash));
    assert!(handoff_codes(&crew, end).is_empty());
    assert_eq!(crew.at("string"), Place::Ground);
}

#[test]
fn a_ready_does_not_outlive_a_no_or_a_stop() {
    let mut crew = Crew::new();
    let down = crew.say(TOWER, offer("string", Place::Ground, None));
    let hash = crew.hash(down);
    crew.say(GROUND, ready(hash, true));
    crew.say(GROUND, ready(hash, false));
    let taken = crew.say(TOWER, take(hash, 0));
    assert_eq!(handoff_codes(&crew, taken), ["missing_handoff"]);
    crew.say(GROUND, ready(hash, true));
    let stopped = crew.say(OBSERVER, stop(StopKind::Work, None));
    // Released since: the ready was still given before it.
    let taken = crew.say(TOWER, take(hash, 0));
    assert_eq!(handoff_codes(&crew, taken), ["missing_handoff"]);
    crew.stopped = Some(crew.hash(stopped));
    let in_stop = crew.say(GROUND, ready(hash, true));
    assert_eq!(handoff_codes(&crew, in_stop), ["stop_active"]);
    crew.stopped = None;
    crew.say(GROUND, ready(hash, true));
    let taken = crew.say(TOWER, take(hash, 0));
    assert!(handoff_codes(&crew, taken).is_empty());
}

#[test]
fn who_offers_a_load_and_is_not_ready_takes_the_offer_back_and_offers_it_anew() {
    let mut crew = Crew::new();
    let offered = |crew: &Crew| {
        let (graph, facts) = (&crew.graph, &crew.facts);
        facts.open_offers(graph, graph.all(), &crew.roster).len()
    };
    let down = crew.say(TOWER, offer("string", Place::Ground, None));
    let hash = crew.hash(down);
    crew.say(GROUND, ready(hash, true));
    assert_eq!(offered(&crew), 1);
    let not = crew.say(TOWER, ready(hash, false));
    assert!(handoff_codes(&crew, not).is_empty());
    assert_eq!(offered(&crew), 0);
    let late = crew.say(GROUND, ready(hash, true));
    assert_eq!(handoff_codes(&crew, late), ["duplicate"]);
    let taken = crew.say(TOWER, take(hash, 0));
    assert_eq!(handoff_codes(&crew, taken), ["missing_handoff"]);
    // Anew; once the load is taken it hangs, whatever is said.
    let down = crew.say(TOWER, offer("string", Place::Ground, None));
    let hash = crew.hash(down);
    crew.say(GROUND, ready(hash, true));
    let taken = crew.say(TOWER, take(hash, 0));
    assert!(handoff_codes(&crew, taken).is_empty());
    crew.say(TOWER, ready(hash, false));
    assert_eq!(offered(&crew), 1);
    let end = crew.say(TOWER, done(hash));
    assert!(handoff_codes(&crew, end).is_empty());
    assert_eq!(crew.at("string"), Place::Ground);
}

#[test]
fn a_stop_bars_loads_and_not_tools() {
    let mut crew = Crew::new();
    crew.say(GROUND, plate("pole", Some(3), true));
    crew.stopped = Some(crew.hash(EntryIx(0)));
    let tool = crew.say(GROUND, offer("pole", Place::Aloft, None));
    assert!(handoff_codes(&crew, tool).is_empty());
    let load = crew.say(TOWER, offer("string", Place::Ground, None));
    assert_eq!(handoff_codes(&crew, load), ["stop_active"]);
}

#[test]
fn a_hold_that_the_log_knows_of_bars_loads_until_it_ends() {
    let mut crew = Crew::new();
    crew.say(OBSERVER, reading("wind", "50", "km/h"));
    let load = crew.say(TOWER, offer("string", Place::Ground, None));
    assert_eq!(handoff_codes(&crew, load), ["hold_active"]);
    crew.say(OBSERVER, reading("wind", "10", "km/h"));
    let load = crew.say(TOWER, offer("string", Place::Ground, None));
    assert!(handoff_codes(&crew, load).is_empty());
    // A condition that covers other steps than those that move this load.
    crew.plan.conditions[1].covers = vec![name("rig")];
    crew.say(OBSERVER, reading("wind", "50", "km/h"));
    let load = crew.say(TOWER, offer("string", Place::Ground, None));
    assert!(handoff_codes(&crew, load).is_empty());
    crew.roster.members.get_mut(&key(OBSERVER)).unwrap().present = false;
    let load = crew.say(TOWER, offer("string", Place::Ground, None));
    assert_eq!(handoff_codes(&crew, load), ["hold_active"]);
}

#[test]
fn a_steps_items_are_fit_and_there_and_its_loads_were_handed_over() {
    let mut crew = Crew::new();
    let open = crew.plan.steps[2].clone();
    let ready_now = |crew: &Crew| {
        let reasons = crew
            .facts
            .items_ready(&crew.graph, crew.graph.all(), &crew.plan, &open);
        Crew::codes(&reasons)
    };
    assert_eq!(
        ready_now(&crew),
        [
            "not_accounted",
            "tool_not_fit",
            "tool_not_fit",
            "missing_handoff"
        ]
    );
    crew.say(GROUND, plate("pole", Some(3), true));
    crew.say(TOWER, moved("pole", Place::Aloft));
    // By hand is not by handoff.
    crew.say(TOWER, moved("string", Place::Ground));
    assert_eq!(ready_now(&crew), ["missing_handoff"]);
    let due = |crew: &Crew| -> Vec<ItemId> {
        let (cut, plan) = (crew.graph.all(), &crew.plan);
        let due = crew.facts.loads_due(&crew.graph, cut, plan, &open);
        due.cloned().collect()
    };
    assert_eq!(due(&crew), [name::<ItemId>("string")]);
    let down = crew.say(TOWER, offer("string", Place::Ground, None));
    let hash = crew.hash(down);
    crew.say(GROUND, ready(hash, true));
    crew.say(TOWER, take(hash, 0));
    assert_eq!(ready_now(&crew), ["missing_handoff"]);
    crew.say(TOWER, done(hash));
    assert!(ready_now(&crew).is_empty());
    assert!(due(&crew).is_empty());
    // Brought to the truck by hand afterwards: it was still handed over.
    crew.say(GROUND, moved("string", Place::Truck));
    assert!(ready_now(&crew).is_empty());
}

// Conditions.

#[test]
fn presence_is_renewed_by_any_act_until_an_explicit_away() {
    let mut crew = Crew::new();
    let cut = crew.all();
    assert_eq!(
        crew.judged("eyes", TOWER, &cut, None, None, None),
        [Reason::ConditionUnknown {
            condition: name("eyes")
        }]
    );
    let act = crew.say(OBSERVER, note(NoteKind::Plain, None));
    let cut = crew.all();
    let judged = |crew: &Crew, cut: &[u32], by, age| {
        crew.judged("eyes", by, cut, Some((act, age)), None, None)
    };
    assert!(judged(&crew, &cut, TOWER, 300_000).is_empty());
    assert_eq!(Crew::codes(&judged(&crew, &cut, TOWER, 300_001)), ["stale"]);
    assert!(
        judged(&crew, &cut, OBSERVER, 300_001).is_empty(),
        "the observer's own entry shows it"
    );
    crew.say(OBSERVER, away("eyes"));
    crew.say(OBSERVER, note(NoteKind::Plain, None));
    let cut = crew.all();
    assert_eq!(Crew::codes(&judged(&crew, &cut, TOWER, 0)), ["hold_active"]);
    assert_eq!(
        Crew::codes(&judged(&crew, &cut, OBSERVER, 0)),
        ["hold_active"]
    );
    let back = crew.say(OBSERVER, affirm("eyes"));
    let cut = crew.all();
    assert!(
        crew.judged("eyes", TOWER, &cut, Some((back, 0)), None, None)
            .is_empty()
    );
}

#[test]
fn what_a_node_writes_by_itself_or_another_says_renews_nobody() {
    let mut crew = Crew::new();
    let sample = crew.say(
        OBSERVER,
        Body::ClockSample(crate::log::entry::ClockSample {
            device: key(TOWER).tag(),
            ahead_ms: 0,
            doubt_ms: 1,
        }),
    );
    let other = crew.say(TOWER, affirm("eyes"));
    let cut = crew.all();
    for basis in [sample, other] {
        assert_eq!(
            Crew::codes(&crew.judged("eyes", GROUND, &cut, Some((basis, 0)), None, None)),
            ["stale"]
        );
    }
}

#[test]
fn clocks_compared_with_one_device_do_not_hide_those_compared_with_another() {
    let mut crew = Crew::new();
    for (device, ahead_ms) in [(TOWER, 5_000), (GROUND, -3_600_000), (TOWER, 7_000)] {
        let sample = crate::log::entry::ClockSample {
            device: key(device).tag(),
            ahead_ms,
            doubt_ms: 1,
        };
        crew.say(OBSERVER, Body::ClockSample(sample));
    }
    let clocks = crew.facts.clocks(&crew.graph, &crew.all());
    let mut found: Vec<_> = clocks
        .iter()
        .map(|(author, sample)| (*author, sample.device, sample.ahead_ms))
        .collect();
    found.sort_unstable_by_key(|(_, _, ahead_ms)| *ahead_ms);
    let expected = [(GROUND, -3_600_000), (TOWER, 7_000)];
    let expected = expected.map(|(device, ahead_ms)| (key(OBSERVER), key(device).tag(), ahead_ms));
    assert_eq!(found, expected);
}

#[test]
fn a_take_of_the_role_brings_the_observer_back() {
    let mut crew = Crew::new();
    crew.say(OBSERVER, away("eyes"));
    let offered = crew.say(
        LEAD,
        Body::Offer(crate::log::entry::Offer {
            what: crate::log::entry::Offered::Role {
                role: name("observer"),
                from: key(OBSERVER),
            },
            to: Some(key(GROUND)),
        }),
    );
    let hash = crew.hash(offered);
    let taken = crew.say(GROUND, take(hash, 0));
    let cut = crew.all();
    assert_eq!(
        Crew::codes(&crew.judged("eyes", TOWER, &cut, Some((taken, 0)), None, None)),
        ["hold_active"],
        "not while the roster does not give them the role"
    );
    let member = crew.roster.members.get_mut(&key(GROUND)).unwrap();
    member.roles.push(name("observer"));
    assert!(
        crew.judged("eyes", TOWER, &cut, Some((taken, 0)), None, None)
            .is_empty()
    );
}

#[test]
fn a_release_needs_the_observer_after_the_ask() {
    let mut crew = Crew::new();
    let before = crew.say(OBSERVER, affirm("eyes"));
    let ask = crew.say(LEAD, note(NoteKind::Plain, None));
    let cut = crew.all();
    assert_eq!(
        Crew::codes(&crew.judged("eyes", LEAD, &cut, Some((before, 0)), None, Some(ask))),
        ["stale"]
    );
    let after = crew.say(OBSERVER, note(NoteKind::Plain, None));
    let cut = crew.all();
    assert!(
        crew.judged("eyes", LEAD, &cut, Some((after, 0)), None, Some(ask))
            .is_empty()
    );
}

#[test]
fn a_measured_condition_is_put_out_by_anyone_and_restored_by_its_owner_alone() {
    let mut crew = Crew::new();
    let first = crew.say(OBSERVER, reading("wind", "40", "km/h"));
    let cut = crew.all();
    let codes = |crew: &Crew, cut: &[u32], basis, age| {
        Crew::codes(&crew.judged("wind", TOWER, cut, Some((basis, age)), None, None))
    };
    assert!(codes(&crew, &cut, first, 900_000).is_empty());
    assert_eq!(codes(&crew, &cut, first, 900_001), ["stale"]);
    let gust = crew.say(TOWER, reading("wind", "41", "km/h"));
    let cut = crew.all();
    assert_eq!(codes(&crew, &cut, first, 0), ["hold_active"]);
    let calm = crew.say(TOWER, reading("wind", "10", "km/h"));
    let cut = crew.all();
    assert_eq!(
        codes(&crew, &cut, calm, 0),
        ["hold_active"],
        "not the owner"
    );
    let unheard = crew.say_seeing(OBSERVER, &[], reading("wind", "10", "km/h"));
    assert!(crew.graph.concurrent(unheard, gust));
    let cut = crew.all();
    assert_eq!(
        codes(&crew, &cut, unheard, 0),
        ["hold_active"],
        "had not heard"
    );
    let back = crew.say(OBSERVER, reading("wind", "10", "km/h"));
    let cut = crew.all();
    assert!(codes(&crew, &cut, back, 0).is_empty());
    let odd = crew.say(OBSERVER, reading("wind", "10", "m/s"));
    let cut = crew.all();
    assert_eq!(
        codes(&crew, &cut, odd, 0),
        ["stale"],
        "another unit says nothing"
    );
    assert!(codes(&crew, &cut, back, 0).is_empty());
}

#[test]
fn a_limit_that_was_moved_puts_an_older_reading_out() {
    let mut crew = Crew::new();
    let first = crew.say(OBSERVER, reading("wind", "35", "km/h"));
    let cut = crew.all();
    let codes =
        |crew: &Crew| Crew::codes(&crew.judged("wind", TOWER, &cut, Some((first, 0)), None, None));
    assert!(codes(&crew).is_empty());
    crew.plan.limits[1].most = Some("30".parse().unwrap());
    assert!(!codes(&crew).is_empty());
}

#[test]
fn a_release_waits_until_the_wind_was_inside_for_long_enough() {
    let mut crew = Crew::new();
    let calm = crew.say(OBSERVER, reading("wind", "10", "km/h"));
    let cut = crew.all();
    assert!(
        crew.judged("wind", LEAD, &cut, Some((calm, 0)), None, Some(calm))
            .is_empty(),
        "it was never out"
    );
    crew.say(OBSERVER, reading("wind", "50", "km/h"));
    let back = crew.say(OBSERVER, reading("wind", "10", "km/h"));
    let later = crew.say(OBSERVER, reading("wind", "12", "km/h"));
    let cut = crew.all();
    let wind = crew.plan.conditions[1].clone();
    assert_eq!(
        crew.facts.timer_from(&crew.graph, &cut, &crew.plan, &wind),
        [back]
    );
    let judged = |since| crew.judged("wind", LEAD, &cut, Some((later, 0)), since, Some(calm));
    assert_eq!(
        judged(Some(599_999)),
        [Reason::ConditionTimer {
            condition: name("wind"),
            left_ms: 1
        }]
    );
    assert!(judged(Some(600_000)).is_empty());
    assert!(!judged(None).is_empty());
    let acknowledged = crew.judged("wind", LEAD, &cut, Some((later, 0)), None, None);
    assert!(acknowledged.is_empty(), "only a release waits");
}

#[test]
fn a_sighting_starts_the_half_hour_anew_before_it_may_be_affirmed() {
    let mut crew = Crew::new();
    let clear = crew.say(OBSERVER, affirm("lightning"));
    let cut = crew.all();
    assert!(
        crew.judged(
            "lightning",
            TOWER,
            &cut,
            Some((clear, 1_800_000)),
            None,
            None
        )
        .is_empty()
    );
    let flash = crew.say(GROUND, sighting("lightning"));
    let cut = crew.all();
    assert_eq!(
        Crew::codes(&crew.judged("lightning", TOWER, &cut, Some((clear, 0)), None, None)),
        ["hold_active"]
    );
    let affirmed = crew.say(OBSERVER, affirm("lightning"));
    let cut = crew.all();
    let judged =
        |age, since| crew.judged("lightning", TOWER, &cut, Some((affirmed, age)), since, None);
    assert!(judged(1_000, Some(1_801_000)).is_empty());
    assert_eq!(Crew::codes(&judged(1_000, Some(1_800_999))), ["stale"]);
    // Affirmed a minute after the flash: waiting does not make that affirmation good.
    assert_eq!(Crew::codes(&judged(1_740_000, Some(1_800_000))), ["stale"]);
    assert_eq!(Crew::codes(&judged(0, None)), ["stale"]);
    let timer = crew.facts.timer_from(
        &crew.graph,
        &cut,
        &crew.plan,
        &crew.plan.conditions[2].clone(),
    );
    assert_eq!(timer, [flash]);
}

#[test]
fn a_time_told_in_evidence_serves_a_device_that_was_not_there() {
    let mut crew = Crew::new();
    let flash = crew.say(GROUND, sighting("lightning"));
    let affirmed = crew.say(OBSERVER, affirm("lightning"));
    assert_eq!(crew.facts.since_ms(flash, None, 7), 7);
    let entry = crew.hash(affirmed);
    crew.say(
        OBSERVER,
        Body::Close(crate::log::entry::Close {
            evidence: crate::log::entry::Evidence {
                proofs: Vec::new(),
                conditions: vec![crate::log::entry::ConditionAge {
                    condition: name("lightning"),
                    entry,
                    age_ms: 0,
                    since_out_ms: Some(1_900_000),
                }],
            },
        }),
    );
    assert_eq!(crew.facts.since_ms(flash, None, 7), 1_900_000);
    assert_eq!(
        crew.facts.since_ms(flash, Some(1_900_001), 1_899_000),
        1_900_000
    );
    let cut = crew.all();
    let since = |most: &dyn Fn(EntryIx) -> Option<u64>, least: u64| {
        let condition = &crew.plan.conditions[2];
        let (graph, roster, plan) = (&crew.graph, &crew.roster, &crew.plan);
        let facts = &crew.facts;
        facts
            .condition_age(graph, &cut, roster, plan, condition, most, &|_| least)
            .unwrap()
            .since_out_ms
    };
    assert_eq!(
        since(&|ix| (ix == affirmed).then_some(5), 7),
        Some(1_900_000)
    );
    // Who was there is told nothing by it.
    assert_eq!(since(&|_| Some(60_000), 59_000), Some(60_000));
}

#[test]
fn the_orders_condition_ends_with_a_lapse_and_comes_back_by_a_whole_status_only() {
    let both = &["North", "South"][..];
    let mut crew = Crew::new();
    let given = crew.say(LEAD, order(OrderState::InEffect, both, true, &[]));
    let renewed = crew.say(LEAD, affirm("order"));
    let cut = crew.all();
    let codes = |crew: &Crew, cut: &[u32], basis| {
        Crew::codes(&crew.judged("order", TOWER, cut, Some((basis, 0)), None, None))
    };
    assert!(codes(&crew, &cut, given).is_empty());
    assert!(codes(&crew, &cut, renewed).is_empty());
    crew.say(GROUND, order(OrderState::Lapsed, &[], false, &[]));
    let affirmed = crew.say(LEAD, affirm("order"));
    let cut = crew.all();
    assert_eq!(codes(&crew, &cut, affirmed), ["hold_active"]);
    let half = crew.say(LEAD, order(OrderState::InEffect, &["North"], true, &[]));
    let cut = crew.all();
    assert_eq!(codes(&crew, &cut, half), ["hold_active"]);
    let whole = crew.say(LEAD, order(OrderState::InEffect, both, true, &[]));
    let cut = crew.all();
    assert!(codes(&crew, &cut, whole).is_empty());
    // Another supervisor: the order is not theirs until they say so.
    crew.roster.supervisor = Some(key(TOWER));
    assert!(!codes(&crew, &cut, whole).is_empty());
}

#[test]
fn an_affirmed_condition_is_renewed_by_affirmation_alone() {
    let mut crew = Crew::new();
    let act = crew.say(OBSERVER, note(NoteKind::Plain, None));
    let said = crew.say(OBSERVER, affirm("voice"));
    let cut = crew.all();
    let codes = |crew: &Crew, cut: &[u32], basis| {
        Crew::codes(&crew.judged("voice", TOWER, cut, Some((basis, 0)), None, None))
    };
    assert_eq!(codes(&crew, &cut, act), ["stale"]);
    assert!(codes(&crew, &cut, said).is_empty());
    crew.say(OBSERVER, away("voice"));
    let cut = crew.all();
    assert_eq!(codes(&crew, &cut, said), ["hold_active"]);
}

#[test]
fn a_condition_of_the_day_is_asked_again_on_the_next() {
    let mut crew = Crew::new();
    crew.plan.conditions[4].lasts = Lasts::Day;
    let said = crew.say(OBSERVER, affirm("voice"));
    let suspend = crew.hash(EntryIx(0));
    crew.say(
        LEAD,
        Body::ResumeDay(crate::log::entry::ResumeDay { suspend }),
    );
    let cut = crew.all();
    let codes = |crew: &Crew, basis| {
        Crew::codes(&crew.judged("voice", TOWER, &cut, Some((basis, 0)), None, None))
    };
    assert_eq!(codes(&crew, said), ["stale"]);
    crew.plan.conditions[4].lasts = Lasts::Job;
    assert!(codes(&crew, said).is_empty());
}

#[test]
fn conditions_cover_the_steps_they_name() {
    let mut plan = plan();
    let steps: Vec<StepId> = vec![name("carry")];
    assert!(covers(&plan.conditions[0], &steps));
    plan.conditions[0].covers = vec![name("rig")];
    assert!(!covers(&plan.conditions[0], &steps));
    assert!(covers(&plan.conditions[0], &[]));
    plan.conditions[0].covers.push(name("carry"));
    assert!(covers(&plan.conditions[0], &steps));
}

#[test]
fn a_reading_out_of_bounds_that_an_acknowledgement_had_not_seen_is_found() {
    let mut crew = Crew::new();
    let seen = crew.say(OBSERVER, note(NoteKind::Plain, None));
    let known = crew.say(OBSERVER, reading("wind", "50", "km/h"));
    let late = crew.say_seeing(TOWER, &[known], note(NoteKind::Plain, None));
    let step = name("carry");
    let out = |crew: &Crew, ix| {
        crew.facts
            .out_concurrent(&crew.graph, &crew.plan, &step, ix)
    };
    assert_eq!(out(&crew, late), None, "it was seen");
    let blind = crew.say_seeing(GROUND, &[seen], note(NoteKind::Plain, None));
    assert_eq!(out(&crew, blind), Some((name("wind"), known)));
    crew.say(OBSERVER, reading("wind", "60", "km/h"));
    assert_eq!(out(&crew, late), None, "made knowing of it");
    crew.plan.conditions[1].covers = vec![name("rig")];
    assert_eq!(out(&crew, blind), None, "does not cover the step");
}

// Heads.

#[test]
fn heads_are_complete_when_everybody_is_seen_or_speaks_for_themselves() {
    let mut crew = Crew::new();
    let heads_now = |crew: &Crew| answer(crew, Expects::Heads, &Said::Yes);
    assert_eq!(heads_now(&crew), ["not_accounted"]);
    crew.say(LEAD, heads(&["Lead", "Eyes", "Ground 1"], &["Tower 1"]));
    assert_eq!(heads_now(&crew), ["not_accounted"], "assumed is not clear");
    let view = crew.facts.heads(&crew.graph, &crew.all(), &crew.roster);
    assert_eq!(view.missing, BTreeSet::from([name("Tower 1")]));
    crew.say(TOWER, heads(&["Tower 1"], &[]));
    assert!(heads_now(&crew).is_empty());
    crew.say(OBSERVER, stop(StopKind::Emergency, None));
    assert_eq!(
        heads_now(&crew),
        ["not_accounted"],
        "from before the emergency"
    );
    let where_now = crew
        .facts
        .whereabouts(&crew.graph, &crew.all(), &crew.roster, &crew.plan);
    let tower = where_now.iter().find(|w| w.person == name("Tower 1"));
    assert!(tower.unwrap().aloft && tower.unwrap().clear_by.is_none());
}

#[test]
fn a_removed_device_does_not_bring_its_person_down_and_a_leave_does() {
    let mut crew = Crew::new();
    crew.say(LEAD, heads(&["Lead", "Eyes", "Ground 1"], &[]));
    let left = crew.say(TOWER, Body::Leave);
    crew.roster.members.get_mut(&key(TOWER)).unwrap().present = false;
    let complete =
        |crew: &Crew, cut: &[u32]| crew.facts.heads(&crew.graph, cut, &crew.roster).complete();
    assert!(complete(&crew, &crew.all()));
    let before: Vec<u32> = crew.graph.past(left).to_vec();
    assert!(
        !complete(&crew, &before),
        "removed, and never said to leave"
    );
}

#[test]
fn the_supervisors_count_names_people_out_of_contact_as_assumed() {
    let crew = Crew::new();
    let all = || vec![name("Lead"), name("Eyes"), name("Tower 1")];
    let tower_lost = |device: &crate::ids::DeviceKey| *device != key(TOWER);
    let count = count_as_known(all(), Vec::new(), &crew.roster, key(LEAD), &tower_lost);
    assert_eq!(count.clear, [name("Lead"), name("Eyes")]);
    assert_eq!(count.assumed, [name("Tower 1")]);
    let witness = count_as_known(all(), Vec::new(), &crew.roster, key(GROUND), &tower_lost);
    assert_eq!(witness.clear.len(), 3, "another is a named witness");
}

// Marks.

fn set(ids: &[&str]) -> BTreeSet<StepId> {
    ids.iter().map(|id| name(id)).collect()
}

#[test]
fn marks_follow_completed_steps_and_stay_in_doubt_when_annulled() {
    let plan = plan();
    let string: MarkId = name("string");
    let at = |complete: &[&str], reached: &[&str], late: &[(MarkId, StepId)]| {
        marks(&plan, &set(complete), &set(reached), &[], late)[&string].clone()
    };
    assert_eq!(at(&[], &[], &[]).state, name("hung"));
    let carried = at(&["rig", "carry"], &["rig", "carry"], &[]);
    assert_eq!((carried.state, carried.in_doubt), (name("carried"), false));
    let doubt = at(&["rig"], &["rig", "carry"], &[]);
    assert_eq!((doubt.state, doubt.in_doubt), (name("carried"), true));
    assert_eq!(
        doubt.possible,
        BTreeSet::from([name("hung"), name("carried")])
    );
    let late = at(&["rig"], &["rig"], &[(string.clone(), name("carry"))]);
    assert_eq!((late.state, late.in_doubt), (name("hung"), true));
    assert_eq!(
        late.possible,
        BTreeSet::from([name("hung"), name("carried")])
    );
    let secured = marks(&plan, &set(&[]), &set(&[]), &[is("string", "free")], &[]);
    assert_eq!(secured[&string].state, name("free"));
}

#[test]
fn a_need_in_doubt_is_not_met_but_does_not_bar_its_own_step() {
    let plan = plan();
    let open = &plan.steps[2];
    let carry = &plan.steps[1];
    let ready = |step, complete: &[&str], reached: &[&str], late: &[(MarkId, StepId)]| {
        marks_ready(&plan, step, &set(complete), &set(reached), &[], late)
    };
    assert!(ready(open, &["rig", "carry"], &["rig", "carry"], &[]).is_empty());
    assert!(!ready(open, &["rig"], &["rig"], &[]).is_empty());
    assert!(!ready(open, &["rig"], &["rig", "carry"], &[]).is_empty());
    // The crew has opened the string, and both confirmations were annulled: they are given again in turn.
    let reached = &["rig", "carry", "open"];
    assert!(ready(carry, &["rig"], reached, &[]).is_empty());
    assert!(ready(open, &["rig", "carry"], reached, &[]).is_empty());
    let late = [(name("string"), name("carry"))];
    assert!(!ready(open, &["rig", "carry"], &["rig", "carry"], &late).is_empty());
}

// Notes and ends.

#[test]
fn a_late_note_bars_its_authors_confirm_until_it_is_reviewed() {
    let mut crew = Crew::new();
    let late = crew.say(
        TOWER,
        note(
            NoteKind::Late {
                step: name("carry"),
                check: name("so"),
                mark: Some(name("string")),
            },
            None,
        ),
    );
    let barred = |crew: &Crew, by| {
        crew.facts.barred_by_late_note(
            &crew.graph,
            crew.graph.all(),
            key(by),
            &name("carry"),
            &name("so"),
        )
    };
    assert!(barred(&crew, TOWER));
    assert!(!barred(&crew, GROUND));
    assert_eq!(
        crew.facts.late_marks(&crew.graph, &crew.all()),
        [(name("string"), name("carry"))]
    );
    let about = Some(crew.hash(late));
    crew.say(GROUND, note(NoteKind::Reviewed, about));
    assert!(barred(&crew, TOWER), "only the supervisor reviews");
    crew.say(LEAD, note(NoteKind::Reviewed, about));
    assert!(!barred(&crew, TOWER));
}

#[test]
fn attempts_are_kept_with_their_reasons() {
    let mut crew = Crew::new();
    crew.say(
        TOWER,
        note(
            NoteKind::Refused {
                codes: vec!["not_unlocked".into()],
            },
            None,
        ),
    );
    let attempts = crew.facts.attempts(&crew.graph, &crew.all());
    assert_eq!(attempts.len(), 1);
    assert_eq!(attempts[0].codes, ["not_unlocked"]);
}

#[test]
fn a_job_closes_with_every_step_head_and_item_accounted_for() {
    let mut crew = Crew::new();
    let reasons = |crew: &Crew, complete: &BTreeSet<StepId>, reached: &BTreeSet<StepId>| {
        Crew::codes(&crew.facts.close_reasons(
            &crew.graph,
            crew.graph.all(),
            &crew.roster,
            &crew.plan,
            complete,
            reached,
            &[],
        ))
    };
    let all = set(&["rig", "carry", "open"]);
    assert_eq!(reasons(&crew, &all, &all), ["not_accounted"]);
    crew.say(LEAD, heads(&["Lead", "Eyes", "Ground 1", "Tower 1"], &[]));
    assert!(reasons(&crew, &all, &all).is_empty());
    assert_eq!(
        reasons(&crew, &set(&["rig", "carry"]), &all),
        ["incomplete", "not_accounted"],
        "a check, and the mark that is in doubt"
    );
    crew.say(GROUND, moved("pole", Place::Structure));
    crew.say(GROUND, moved("string", Place::Structure));
    assert_eq!(
        reasons(&crew, &all, &all),
        ["not_accounted"],
        "the tool only"
    );
    crew.say(GROUND, moved("pole", Place::Truck));
    assert!(reasons(&crew, &all, &all).is_empty());
}

#[test]
fn a_job_is_left_only_where_the_plan_calls_it_safe() {
    let mut crew = Crew::new();
    let count = crew.say(LEAD, heads(&["Lead", "Eyes", "Ground 1", "Tower 1"], &[]));
    let suspend = Suspend {
        state: "rigged".into(),
        resume_by: name("Lead"),
        heads: Some(crew.hash(count)),
        tools_out: 2,
        tools_back: 2,
    };
    let reasons = |suspend: &Suspend, complete: &[&str], begun: &[&str]| {
        Crew::codes(&crew.facts.suspend_reasons(
            &crew.graph,
            crew.graph.all(),
            &crew.roster,
            &crew.plan,
            suspend,
            &set(complete),
            &set(begun),
        ))
    };
    assert!(reasons(&suspend, &["rig"], &[]).is_empty());
    assert!(reasons(&suspend, &[], &[]).is_empty());
    assert_eq!(reasons(&suspend, &["rig"], &["carry"]), ["not_safe_state"]);
    assert_eq!(
        reasons(&suspend, &["rig", "carry"], &[]),
        ["not_safe_state"]
    );
    // What the author calls the state of the job names a step that is complete and safe to leave, or none.
    let named = |state: &str| Suspend {
        state: state.into(),
        ..suspend.clone()
    };
    assert!(reasons(&named("rig, load on string"), &["rig"], &[]).is_empty());
    assert!(reasons(&named("RIG: load on string"), &["rig"], &[]).is_empty());
    assert!(reasons(&named("the rig is up"), &[], &[]).is_empty());
    assert_eq!(reasons(&named("rig is up"), &[], &[]), ["not_safe_state"]);
    assert_eq!(
        reasons(&named("carry, load on poles"), &["rig"], &[]),
        ["not_safe_state"]
    );
    let mut short = suspend.clone();
    short.tools_back = 1;
    assert_eq!(reasons(&short, &["rig"], &[]), ["not_accounted"]);
    let mut uncounted = suspend.clone();
    uncounted.heads = None;
    assert_eq!(reasons(&uncounted, &["rig"], &[]), ["not_accounted"]);
}

#[test]
fn facts_of_one_set_of_entries_do_not_depend_on_the_order_of_arrival() {
    use crate::log::sample::{Draw, unverified};
    for seed in 1..=20_u64 {
        println!("seed {seed}");
        let mut crew = Crew::new();
        let mut draw = Draw(seed);
        let mut said = vec![EntryIx(0)];
        for _ in 0..40 {
            let device = u8::try_from(draw.below(4)).unwrap();
            let seen = said[draw.below(said.len())];
            let body = match draw.below(7) {
                0 => moved("string", [Place::Ground, Place::Aloft][draw.below(2)]),
                1 => plate(
                    "pole",
                    Some(20 + u16::try_from(draw.below(8)).unwrap()),
                    true,
                ),
                2 => reading("wind", ["30", "50"][draw.below(2)], "km/h"),
                3 => offer("string", Place::Ground, None),
                4 => inspected("pole", draw.below(2) == 0),
                5 => heads(&["Lead", "Eyes"], &[]),
                _ => order(
                    [OrderState::InEffect, OrderState::Lapsed][draw.below(2)].clone(),
                    &["North", "South"],
                    true,
                    &[],
                ),
            };
            said.push(crew.say_seeing(device, &[seen], body));
        }
        // Another device gets them in another order that keeps every past first.
        let mut other = Crew::new();
        let mut left: Vec<EntryIx> = said[1..].to_vec();
        while !left.is_empty() {
            let at = draw.below(left.len());
            let entry = crew.graph.entry(left[at]).clone();
            if let Ok(crate::log::graph::Inserted::New(ix)) = other.graph.insert(unverified(entry))
            {
                other
                    .facts
                    .note(&other.graph, ix, &other.roster, &other.plan, &|| None);
                left.remove(at);
            }
        }
        let view = |crew: &Crew| {
            let cut = crew.all();
            let hashes = |list: Vec<EntryIx>| {
                let mut list: Vec<EntryHash> = list.into_iter().map(|ix| crew.hash(ix)).collect();
                list.sort_unstable();
                list
            };
            let custody = crew
                .facts
                .custody(&crew.graph, &cut, &crew.plan, &name("string"));
            let wind = crew.facts.condition(
                &crew.graph,
                &cut,
                &crew.roster,
                &crew.plan,
                &crew.plan.conditions[1],
            );
            let order = crew.facts.order(&crew.graph, &cut, &crew.plan);
            (
                crew.at("string"),
                custody.by.map(|ix| crew.hash(ix)),
                crew.unfit("pole"),
                hashes(wind.bases),
                hashes(wind.outs),
                wind.newest.map(|ix| crew.hash(ix)),
                order.map(|order| (crew.hash(order.entry), order.in_effect)),
                crew.facts.heads(&crew.graph, &cut, &crew.roster).missing,
            )
        };
        assert_eq!(view(&crew), view(&other), "seed {seed}");
    }
}
