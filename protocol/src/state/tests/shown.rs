//! Tests of what is shown by name beyond the parts of a status.
//! Owns: nothing.   Gives: nothing.
//! May use: the crew of the tests above.   Never: anything outside tests.

use super::*;
use crate::log::entry::{
    ConditionReading, MakeSafe, Offer, Offered, OrderState, OrderStatus, Ready, ResumeDay, Suspend,
};
use crate::plan::{Item, Mark, MarkIs, Place};

fn shown(site: &Site, device: u8, wanted: &str) -> Vec<String> {
    let status = site.status(device);
    let named = status.shown.into_iter().filter(|(name, _)| name == wanted);
    named.map(|(_, words)| words).collect()
}

fn late(step: &str, check: &str, mark: Option<&str>) -> Body {
    Body::Note(Note {
        text: "was done before".into(),
        about: None,
        kind: NoteKind::Late {
            step: name(step),
            check: name(check),
            mark: mark.map(name),
        },
    })
}

#[test]
fn who_is_out_of_contact_is_named_in_a_stop_as_well() {
    let mut site = Site::new();
    site.stop(TOWER);
    assert!(shown(&site, TOWER, "no_contact").is_empty());
    let ground = site
        .contacts
        .iter_mut()
        .find(|contact| contact.device == key(GROUND));
    ground.unwrap().age_ms = Some(31_000);
    assert_eq!(site.call(TOWER).word, CallWord::StopWork);
    assert_eq!(shown(&site, TOWER, "no_contact"), ["Ground 1"]);
    let lost = format!("Ground 1 {} 31", key(GROUND).tag());
    assert_eq!(shown(&site, TOWER, "device_lost"), [lost]);
}

#[test]
fn who_has_heard_a_stop_is_asked_to_pass_it_on_to_who_has_not() {
    let mut site = Site::new();
    let stop = site.stop(EYES);
    let stop = site.job.graph().hash(stop);
    for device in [LEAD, GROUND] {
        site.say(device, Body::Heard(Heard { stop }));
    }
    assert_eq!(shown(&site, GROUND, "relay"), ["relay to Tower 1"]);
    assert!(shown(&site, TOWER, "relay").is_empty(), "not heard here");
    site.say(TOWER, Body::Heard(Heard { stop }));
    assert!(shown(&site, GROUND, "relay").is_empty());
}

#[test]
fn who_is_not_ready_for_a_load_is_shown_with_what_they_say_of_it() {
    let (mut site, offer) = with_load_offered();
    let said = |site: &Site| {
        let mut waits = shown(site, TOWER, "wait");
        waits.retain(|words| words.contains("not ready"));
        waits
    };
    assert!(said(&site).is_empty());
    let ready = |ready| Body::Ready(Ready { offer, ready });
    let no = site.say(GROUND, ready(false));
    assert_eq!(said(&site), ["Ground 1 not ready"]);
    let note = Note {
        text: "driver in drop zone".into(),
        about: Some(site.job.graph().hash(no)),
        kind: NoteKind::Plain,
    };
    site.say(GROUND, Body::Note(note));
    assert_eq!(said(&site), ["Ground 1 not ready: driver in drop zone"]);
    site.say(GROUND, ready(true));
    assert!(said(&site).is_empty());
}

/// The tower has offered a load to whoever is at the other end of the line.
fn with_load_offered() -> (Site, EntryHash) {
    let mut plan = plan();
    plan.items.push(Item {
        id: name("string"),
        title: "String".into(),
        load: true,
        at: Place::Truck,
        test_months: None,
        tested: None,
        daily: false,
        rated_kv: None,
        rated_kn: None,
        counted: false,
    });
    let mut site = Site::with(plan);
    let what = Offered::Move {
        handoff: name("L2"),
        item: name("string"),
        to: Place::Aloft,
    };
    let offer = site.say(TOWER, Body::Offer(Offer { what, to: None }));
    let offer = site.job.graph().hash(offer);
    (site, offer)
}

#[test]
fn a_ready_that_could_not_stand_is_asked_of_nobody() {
    let (mut site, offer) = with_load_offered();
    let asked = |site: &Site, device: u8| {
        let asked = site.status(device).asked;
        let ready = |one: &AskedOf| matches!(one, AskedOf::Ready { .. });
        asked.iter().any(ready)
    };
    let ready = |ready| Body::Ready(Ready { offer, ready });
    assert!(asked(&site, GROUND) && !asked(&site, LEAD));
    // Who need not answer says no: until that is taken back no other ready stands.
    site.say(LEAD, ready(false));
    assert!(!asked(&site, GROUND) && asked(&site, LEAD));
    site.say(GROUND, ready(false));
    assert!(asked(&site, GROUND) && asked(&site, LEAD));
    site.say(LEAD, ready(true));
    assert!(asked(&site, GROUND) && !asked(&site, LEAD));
    // Who offered is off the job: nobody is left to take it.
    site.say(TOWER, Body::Leave);
    assert!(!site.job.roster().present(&key(TOWER)));
    assert!(!asked(&site, GROUND));
}

/// The string floats between `rig` and `off`; `keys` puts its ground on.
fn with_ground() -> Plan {
    let mut plan = plan();
    let mark = |id: &str, states: &[&str]| Mark {
        id: name(id),
        states: states.iter().map(|state| name(state)).collect(),
        start: name(states[0]),
    };
    plan.marks = vec![
        mark("string", &["holds", "floating"]),
        mark("ground", &["off", "on"]),
    ];
    let set = |mark: &str, state: &str| {
        vec![MarkIs {
            mark: name(mark),
            state: name(state),
        }]
    };
    plan.steps[0].sets = set("string", "floating");
    plan.steps[1].sets = set("ground", "on");
    plan.steps[2].sets = set("ground", "off");
    plan
}

#[test]
fn the_string_is_grounded_again_when_everyone_who_confirms_that_has_made_it_so() {
    let mut site = Site::with(with_ground());
    assert_eq!(shown(&site, EYES, "string_state"), ["ungrounded"]);
    assert_eq!(
        shown(&site, EYES, "hands_off"),
        ["string is not grounded"],
        "it still holds"
    );
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    site.look(TOWER, "zz-seated");
    site.look(EYES, "zz-seated");
    assert_eq!(shown(&site, EYES, "string_state"), ["grounded"]);
    assert_eq!(shown(&site, EYES, "hands_off"), ["string floating"]);
    // The tower has taken it off ahead of its turn.
    site.say(TOWER, late("off", "off", Some("ground")));
    site.stop(GROUND);
    let state = |site: &Site| shown(site, LEAD, "string_state").concat();
    assert_eq!(state(&site), "ungrounded");
    let safe = |step: &str| {
        Body::MakeSafe(MakeSafe {
            step: Some(name(step)),
            text: "ground back on".into(),
        })
    };
    site.say(TOWER, safe("keys"));
    assert_eq!(state(&site), "ungrounded", "one alone");
    site.say(EYES, safe("rig"));
    assert_eq!(state(&site), "ungrounded", "of another step");
    site.say(EYES, safe("keys"));
    assert_eq!(state(&site), "grounded");
    assert_eq!(site.call(LEAD).word, CallWord::StopWork);
    // Whatever puts it in doubt anew was not known to them.
    site.say(GROUND, late("off", "off", Some("ground")));
    assert_eq!(state(&site), "ungrounded");
}

#[test]
fn what_was_done_before_its_turn_is_said_in_plain_words() {
    let mut site = Site::new();
    let early = |site: &Site| {
        let mut said = shown(site, LEAD, "sequence");
        said.retain(|words| words.contains("before"));
        said
    };
    site.say(TOWER, late("rig", "rigged", None));
    assert!(early(&site).is_empty(), "nothing comes before it");
    site.say(TOWER, late("off", "off", None));
    assert_eq!(early(&site), ["off before keys"]);
}

fn with_gap() -> Plan {
    let mut plan = plan();
    plan.limits = vec![gap("2.01")];
    plan.steps[0].checks[0].expects = Expects::Measured { limit: name("gap") };
    let mut wind = plan.conditions[0].clone();
    wind.id = name("clear");
    wind.covers = vec![name("off")];
    wind.kind = ConditionKind::Measured { limit: name("gap") };
    plan.conditions.push(wind);
    plan
}

#[test]
fn a_reading_outside_its_limit_is_shown_as_out() {
    let mut site = Site::with(with_gap());
    let value = |value: &str| Said::Value {
        value: value.parse().unwrap(),
        unit: "m".into(),
    };
    site.acknowledge(TOWER, "rig", "rigged", value("1.80"));
    assert_eq!(shown(&site, EYES, "reading"), ["rigged 1.80 m out"]);
    site.acknowledge(TOWER, "rig", "rigged", value("2.01"));
    assert_eq!(shown(&site, EYES, "reading"), ["rigged 2.01 m"]);
    assert_eq!(
        shown(&site, EYES, "needs_second"),
        ["rigged: second reading"]
    );
    for (read, words) in [("2.00", "2.00 m out"), ("2.50", "2.50 m")] {
        let reading = ConditionReading {
            condition: name("clear"),
            value: Some(read.parse().unwrap()),
            unit: "m".into(),
        };
        site.say(EYES, Body::Reading(reading));
        let all = shown(&site, GROUND, "reading");
        assert!(all.contains(&words.to_owned()), "{all:?}");
    }
}

#[test]
fn an_order_says_at_which_terminals_it_does_not_block() {
    let mut plan = plan();
    plan.line.terminals = vec!["north".into(), "south".into()];
    let mut site = Site::with(plan);
    for (state, terminals, words) in [
        (
            OrderState::Lapsed,
            &["south"][..],
            "H-7 lapsed, not blocked at south",
        ),
        (
            OrderState::Lapsed,
            &[],
            "H-7 lapsed, not blocked at north, not blocked at south",
        ),
        (
            OrderState::InEffect,
            &["south"],
            "H-7 in effect, not blocked at north",
        ),
        (OrderState::InEffect, &["north", "south"], "H-7 in effect"),
    ] {
        let status = OrderStatus {
            order: "H-7".into(),
            state,
            terminals: terminals.iter().map(|&one| one.into()).collect(),
            read_back: true,
            covers: Vec::new(),
            line_state: None,
        };
        site.say(LEAD, Body::OrderStatus(status));
        assert_eq!(shown(&site, EYES, "order"), [words]);
    }
}

#[test]
fn a_new_day_lists_what_must_be_given_again() {
    let mut plan = plan();
    plan.steps[0].checks[0].lasts = Lasts::Day;
    plan.conditions[0].lasts = Lasts::Day;
    let mut site = Site::with(plan);
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    assert!(shown(&site, LEAD, "expired").is_empty());
    assert_eq!(shown(&site, LEAD, "duty"), ["0 h"]);
    let suspend = Suspend {
        state: "rig is up".into(),
        resume_by: name("Lead"),
        heads: None,
        tools_out: 0,
        tools_back: 0,
    };
    let suspend = site.say(LEAD, Body::Suspend(suspend));
    let suspend = site.job.graph().hash(suspend);
    site.say(LEAD, Body::ResumeDay(ResumeDay { suspend }));
    site.look_around();
    assert_eq!(
        shown(&site, LEAD, "expired"),
        [
            "in_place Observer in place",
            "briefing",
            "rig rigged rigged"
        ]
    );
    assert!(shown(&site, LEAD, "duty").is_empty(), "nothing given today");
}

#[test]
fn what_was_read_in_a_look_is_shown_beside_what_is_planned_once_it_may_be() {
    let mut plan = plan();
    plan.line.phase = "B".into();
    plan.steps[1].checks[0].expects = Expects::Identity;
    let mut site = Site::with(plan);
    let line = site.job.plan().line.clone();
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    let read = |phase: &str| Said::Identity {
        structure: line.structure.clone(),
        circuit: line.circuit.clone(),
        phase: phase.into(),
    };
    site.acknowledge(TOWER, "keys", "seated", read("C"));
    let words = |site: &Site, device: u8| shown(site, device, "identity").concat();
    assert!(words(&site, TOWER).ends_with("/ C"), "the own look");
    assert!(words(&site, EYES).ends_with("not read"), "still blind");
    site.acknowledge(EYES, "keys", "seated", read("B"));
    assert!(words(&site, LEAD).ends_with("/ B"));
}

#[test]
fn a_role_that_nobody_holds_is_shown() {
    let mut site = Site::new();
    assert!(shown(&site, TOWER, "roles").is_empty());
    site.say(EYES, Body::Leave);
    assert_eq!(shown(&site, TOWER, "roles"), ["observer vacant"]);
}

#[test]
fn a_replay_tells_from_when_to_when_a_role_was_vacant() {
    let mut site = Site::new();
    site.say(EYES, Body::Leave);
    site.say(GROUND, stop_body());
    let role = || Some(name("observer"));
    let windows = |site: &Site| crate::replay::replay(&site.job).summary.windows;
    let [vacant] = &windows(&site)[..] else {
        panic!("{:?}", windows(&site));
    };
    assert_eq!((&vacant.name[..], &vacant.role), ("vacant", &role()));
    assert_eq!(vacant.to, None);
    let admit = Admit {
        device: key(EYES),
        person: name("Eyes"),
        roles: vec![name("observer")],
        replaces: None,
    };
    site.say(LEAD, Body::Admit(admit));
    let [vacant] = &windows(&site)[..] else {
        panic!("{:?}", windows(&site));
    };
    assert_eq!(vacant.role, role());
    assert_eq!(vacant.to, Some(WALL));
}
