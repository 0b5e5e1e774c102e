//! Tests of the rules about conditions, marks, the day and the end of a job, each flipped alone.
//! Owns: nothing.   Gives: nothing.
//! May use: testkit.   Never: anything outside tests.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::Verdict;
use super::testkit::*;
use crate::decimal::Decimal;
use crate::ids::EntryHash;
use crate::log::entry::{
    Admit, Body, Briefed, ConditionAge, ConditionNamed, ConditionReading, Correction, Finding,
    HeadCount, Moved, Note, NoteKind, OrderState, OrderStatus, ResumeDay, Said, Scan, StepBack,
    Stop, StopKind, Suspend,
};
use crate::plan::{
    Condition, ConditionKind, Expects, Item, Lasts, Limit, Mark, MarkIs, Place, Plan,
};
use crate::reason::{Owed, Reason, Unfit};

const FOUR: [usize; 4] = [LEAD, EYES, TOWER, GROUND];

fn condition(id: &str, owner: &str, kind: ConditionKind) -> Condition {
    Condition {
        id: name(id),
        title: id.into(),
        owners: vec![name(owner)],
        kind,
        valid_s: 300,
        stable_s: 0,
        covers: Vec::new(),
        lasts: Lasts::Job,
    }
}

fn with_wind(stable_s: u32) -> Plan {
    let mut plan = plan();
    plan.limits.push(Limit {
        id: name("wind"),
        title: "Wind".into(),
        unit: "km/h".into(),
        least: None,
        most: Some(Decimal::whole(40)),
        places: 0,
        source: "test".into(),
        computed: None,
    });
    let kind = ConditionKind::Measured {
        limit: name("wind"),
    };
    let mut wind = condition("wind", "observer", kind);
    wind.stable_s = stable_s;
    plan.conditions.push(wind);
    plan
}

fn wind(kmh: i64) -> Body {
    Body::Reading(ConditionReading {
        condition: name("wind"),
        value: Some(Decimal::whole(kmh)),
        unit: "km/h".into(),
    })
}

fn age(id: &str, entry: EntryHash, age_ms: u64, since_out_ms: Option<u64>) -> ConditionAge {
    ConditionAge {
        condition: name(id),
        entry,
        age_ms,
        since_out_ms,
    }
}

fn ack_with(crew: &mut Crew, step: &str, conditions: Vec<ConditionAge>) -> EntryHash {
    let mut body = crew.ack_body(TOWER, step, "c", Said::Yes);
    if let Body::Acknowledge(ack) = &mut body {
        ack.evidence.conditions = conditions;
    }
    crew.say(TOWER, body)
}

/// Stopped, heard, asked and agreed to by all: only the conditions are left.
fn agreed(crew: &mut Crew, stop: EntryHash) -> EntryHash {
    crew.sync();
    let ask = crew.heard_and_asked(&[stop], &FOUR);
    crew.agree(ask, &[EYES, TOWER, GROUND]);
    crew.sync();
    ask
}

#[test]
fn a_release_needs_the_standing_conditions_in_bounds_in_its_evidence() {
    let mut crew = Crew::new(&with_wind(0), 4);
    let good = crew.say(EYES, wind(20));
    let stop = crew.stop(GROUND, "look");
    let ask = agreed(&mut crew, stop);
    let unknown = Reason::ConditionUnknown {
        condition: name("wind"),
    };
    let release = crew.release(ask, Vec::new());
    assert_eq!(crew.reasons(LEAD, release), [unknown]);
    let stale = crew.release(ask, vec![age("wind", good, 300_001, None)]);
    assert!(matches!(
        crew.reasons(LEAD, stale)[..],
        [Reason::Stale { .. }]
    ));
    let gust = crew.say(TOWER, wind(41));
    crew.sync();
    let out = Reason::ConditionOut {
        condition: name("wind"),
    };
    let release = crew.release(ask, vec![age("wind", good, 1_000, None)]);
    assert_eq!(crew.reasons(LEAD, release), core::slice::from_ref(&out));
    let release = crew.release(ask, vec![age("wind", gust, 1_000, None)]);
    assert_eq!(crew.reasons(LEAD, release), [out]);
    assert_eq!(crew.stops(LEAD), [stop]);
    let back = crew.say(EYES, wind(40));
    crew.sync();
    let release = crew.release(ask, vec![age("wind", back, 300_000, None)]);
    assert_eq!(crew.reasons(LEAD, release), []);
    assert!(crew.stops(LEAD).is_empty());
}

#[test]
fn a_release_needs_the_observer_to_have_been_in_place_after_the_ask() {
    let mut plan = plan();
    let kind = ConditionKind::Presence;
    plan.conditions.push(condition("eyes", "observer", kind));
    let mut crew = Crew::new(&plan, 4);
    let stop = crew.stop(GROUND, "look");
    crew.sync();
    let before = crew.say(
        EYES,
        Body::Affirm(ConditionNamed {
            condition: name("eyes"),
        }),
    );
    let ask = agreed(&mut crew, stop);
    let release = crew.release(ask, vec![age("eyes", before, 1_000, None)]);
    assert_eq!(
        crew.reasons(LEAD, release),
        [Reason::ConditionUnknown {
            condition: name("eyes")
        }]
    );
    // The agreement itself came after the ask.
    let agree = crew.devices[EYES]
        .held
        .iter()
        .rev()
        .find(|entry| entry.entry().content.author == crew.key(EYES))
        .map(|entry| entry.entry().hash)
        .unwrap();
    let release = crew.release(ask, vec![age("eyes", agree, 1_000, None)]);
    assert_eq!(crew.reasons(LEAD, release), []);
}

#[test]
fn stable_a_condition_is_inside_for_long_enough_before_a_release() {
    let mut crew = Crew::new(&with_wind(600), 4);
    crew.say(EYES, wind(50));
    let stop = crew.stop(EYES, "wind");
    crew.sync();
    let back = crew.say(EYES, wind(20));
    let ask = agreed(&mut crew, stop);
    for (since_ms, left_ms) in [(Some(599_999), 1), (None, 600_000)] {
        let early = crew.release(ask, vec![age("wind", back, 1_000, since_ms)]);
        assert_eq!(
            crew.reasons(LEAD, early),
            [Reason::ConditionTimer {
                condition: name("wind"),
                left_ms
            }]
        );
    }
    let release = crew.release(ask, vec![age("wind", back, 1_000, Some(600_000))]);
    assert_eq!(crew.reasons(LEAD, release), []);
    crew.sync();
    // A confirmation does not wait so long.
    let ack = ack_with(&mut crew, "s1", vec![age("wind", back, 1_000, Some(1))]);
    assert_eq!(crew.reasons(TOWER, ack), []);
}

#[test]
fn resume_day_asks_again_for_the_day_the_shift_and_what_depends_on_them() {
    // s1 -> s2 -> s3 and s1 -> s4; s2 has one check of the day and one of the job.
    let plan_with = |lasts: Lasts| {
        let mut plan = plan();
        plan.steps[1].checks.push(check("d", roles(&["tower"])));
        plan.steps[1].checks[1].lasts = lasts;
        let side = step("s4", &["s1"], vec![check("c", roles(&["tower"]))]);
        plan.steps.push(side);
        plan
    };
    let next_day = |lasts: Lasts, by: usize| {
        let mut crew = Crew::new(&plan_with(lasts), 4);
        let mut said = Vec::new();
        for (step, check) in [
            ("s1", "c"),
            ("s2", "c"),
            ("s2", "d"),
            ("s3", "c"),
            ("s4", "c"),
        ] {
            let body = crew.ack_body(TOWER, step, check, Said::Yes);
            said.push(crew.say(TOWER, body));
            crew.sync();
        }
        assert_eq!(crew.complete(LEAD), ["s1", "s2", "s3", "s4"]);
        let suspend = suspend(&mut crew, "Lead");
        crew.resume(&[suspend], &FOUR);
        let day = crew.say(by, Body::ResumeDay(ResumeDay { suspend }));
        crew.sync();
        let again: Vec<bool> = said
            .iter()
            .map(|&entry| !crew.reasons(EYES, entry).is_empty())
            .collect();
        (crew, again, day)
    };
    for lasts in [Lasts::Day, Lasts::Shift] {
        let (mut crew, again, day) = next_day(lasts, LEAD);
        assert_eq!(crew.verdict(EYES, day), Verdict::Counts);
        assert_eq!(again, [false, false, true, true, false], "{lasts:?}");
        assert_eq!(crew.complete(EYES), ["s1", "s4"]);
        // Everybody is briefed anew.
        for device in [LEAD, EYES, TOWER] {
            crew.say(device, Body::Briefed(Briefed { version: 0 }));
        }
        crew.sync();
        let body = crew.ack_body(TOWER, "s2", "d", Said::Yes);
        let early = crew.say(TOWER, body);
        assert_eq!(
            crew.reasons(TOWER, early),
            [Reason::NotBriefed {
                device: crew.key(GROUND),
                version: 0
            }]
        );
        crew.say(GROUND, Body::Briefed(Briefed { version: 0 }));
        crew.sync();
        let body = crew.ack_body(TOWER, "s2", "d", Said::Yes);
        crew.say(TOWER, body);
        crew.sync();
        assert_eq!(crew.complete(EYES), ["s1", "s2", "s4"], "{lasts:?}");
    }
    let (crew, again, _) = next_day(Lasts::Job, LEAD);
    assert_eq!(again, [false; 5]);
    assert_eq!(crew.complete(EYES), ["s1", "s2", "s3", "s4"]);
    // Only the supervisor begins a day.
    let (crew, again, day) = next_day(Lasts::Day, EYES);
    assert!(matches!(
        crew.reasons(EYES, day)[..],
        [Reason::WrongRole { .. }]
    ));
    assert_eq!(again, [false; 5]);
}

fn suspend(crew: &mut Crew, resume_by: &str) -> EntryHash {
    let heads = Some(crew.count_heads(LEAD));
    let suspend = crew.say(
        LEAD,
        Body::Suspend(Suspend {
            state: "string hung".into(),
            resume_by: name(resume_by),
            heads,
            tools_out: 0,
            tools_back: 0,
        }),
    );
    crew.sync();
    suspend
}

#[test]
fn suspend_is_a_stop_that_ends_with_the_word_of_the_person_named() {
    for (named, owes) in [("Lead", false), ("Person 3", true)] {
        let mut crew = Crew::new(&plan(), 4);
        let suspend = suspend(&mut crew, named);
        assert_eq!(crew.stops(EYES), [suspend]);
        let ask = crew.heard_and_asked(&[suspend], &FOUR);
        crew.agree(ask, &[EYES, TOWER]);
        let ground = Owed::Agree {
            ask,
            device: crew.key(GROUND),
        };
        let expected = if owes { vec![ground] } else { Vec::new() };
        assert_eq!(crew.owed(LEAD, suspend), expected, "{named}");
        let release = crew.release(ask, Vec::new());
        assert_eq!(crew.stops(LEAD).is_empty(), !owes, "{named}");
        assert_eq!(crew.reasons(LEAD, release).is_empty(), !owes, "{named}");
    }
}

fn is(state: &str) -> MarkIs {
    MarkIs {
        mark: name("string"),
        state: name(state),
    }
}

/// `s1` carries the string; `other` is beside it, and `open` after that alone needs the string so.
fn with_mark(needs: &str) -> Plan {
    let mut plan = plan();
    plan.marks.push(Mark {
        id: name("string"),
        states: vec![name("hung"), name("carried")],
        start: name("hung"),
    });
    let tower = || vec![check("c", roles(&["tower"]))];
    plan.steps = vec![
        step("s1", &[], tower()),
        step("other", &[], tower()),
        step("open", &["other"], tower()),
    ];
    plan.steps[0].sets = vec![is("carried")];
    plan.steps[2].needs = vec![is(needs)];
    plan
}

#[test]
fn marks_what_a_step_needs_is_so_and_beyond_doubt() {
    let not_so = Reason::MarkNotSo {
        mark: name("string"),
    };
    let mut crew = Crew::new(&with_mark("carried"), 4);
    crew.ack(TOWER, "other");
    crew.sync();
    let early = crew.ack(TOWER, "open");
    assert_eq!(crew.reasons(TOWER, early), core::slice::from_ref(&not_so));
    crew.ack(TOWER, "s1");
    crew.sync();
    let right = crew.ack_body(TOWER, "open", "c", Said::Yes);
    assert_eq!(crew.devices[TOWER].job.judge(crew.key(TOWER), &right), []);
    // The other way round: what was so is so no more.
    let mut gone = Crew::new(&with_mark("hung"), 4);
    gone.ack(TOWER, "other");
    gone.sync();
    let so = gone.ack_body(TOWER, "open", "c", Said::Yes);
    assert_eq!(gone.devices[TOWER].job.judge(gone.key(TOWER), &so), []);
    gone.ack(TOWER, "s1");
    let no_more = gone.ack(TOWER, "open");
    assert_eq!(gone.reasons(TOWER, no_more), core::slice::from_ref(&not_so));
    // Annulled: the string is where it is, but nobody may rely on it.
    crew.say(
        LEAD,
        Body::StepBack(StepBack {
            step: name("s1"),
            why: "loose".into(),
        }),
    );
    crew.sync();
    let doubt = crew.ack(TOWER, "open");
    assert_eq!(crew.reasons(TOWER, doubt), core::slice::from_ref(&not_so));
    crew.ack(TOWER, "s1");
    crew.sync();
    let again = crew.ack(TOWER, "open");
    assert_eq!(crew.reasons(TOWER, again), []);
    // LATE-NOTE: in doubt for everyone until the supervisor has reviewed it.
    let mut crew = Crew::new(&with_mark("hung"), 5);
    crew.ack(TOWER, "other");
    crew.sync();
    let late = crew.say(
        GROUND,
        Body::Note(Note {
            text: "taken up before".into(),
            about: None,
            kind: NoteKind::Late {
                step: name("s1"),
                check: name("c"),
                mark: Some(name("string")),
            },
        }),
    );
    crew.sync();
    let doubt = crew.ack(TOWER, "open");
    assert_eq!(crew.reasons(TOWER, doubt), [not_so]);
    crew.say(
        LEAD,
        Body::Note(Note {
            text: "not so".into(),
            about: Some(late),
            kind: NoteKind::Reviewed,
        }),
    );
    crew.sync();
    let again = crew.ack(TOWER, "open");
    assert_eq!(crew.reasons(TOWER, again), []);
}

#[test]
fn headcount_nobody_is_clear_by_being_assumed_so() {
    let mut plan = plan();
    plan.steps[0].checks[0] = check("c", roles(&["supervisor"]));
    plan.steps[0].checks[0].expects = Expects::Heads;
    let people = |list: &[&str]| list.iter().map(|one| name(one)).collect();
    let counted = |crew: &mut Crew, device: usize, clear: &[&str], assumed: &[&str]| {
        crew.say(
            device,
            Body::HeadCount(HeadCount {
                clear: people(clear),
                assumed: people(assumed),
            }),
        );
        crew.sync();
    };
    let mut crew = Crew::new(&plan, 4);
    let fits = |crew: &mut Crew| {
        let ack = crew.ack(LEAD, "s1");
        crew.sync();
        crew.reasons(EYES, ack).is_empty()
    };
    assert!(!fits(&mut crew), "nobody has counted");
    let three = ["Lead", "Person 1", "Person 2"];
    counted(&mut crew, LEAD, &three, &["Person 3"]);
    assert!(!fits(&mut crew), "one is only assumed clear");
    counted(&mut crew, TOWER, &["Person 2"], &["Person 3"]);
    assert!(!fits(&mut crew), "as another assumes");
    // A named witness has seen them.
    counted(&mut crew, TOWER, &["Person 2", "Person 3"], &[]);
    assert!(fits(&mut crew));
    // Or they say so themselves.
    let mut crew = Crew::new(&plan, 4);
    counted(&mut crew, LEAD, &three, &["Person 3"]);
    counted(&mut crew, GROUND, &["Person 3"], &[]);
    assert!(fits(&mut crew));
    // A count from before an emergency says nothing of now.
    let emergency = crew.say(
        EYES,
        Body::Stop(Stop {
            kind: StopKind::Emergency,
            why: String::new(),
            item: None,
        }),
    );
    crew.sync();
    crew.resume(&[emergency], &FOUR);
    assert!(!fits(&mut crew));
}

fn order(state: OrderState, terminals: &[&str], read_back: bool) -> Body {
    Body::OrderStatus(OrderStatus {
        order: "H-7".into(),
        state,
        terminals: terminals.iter().map(|&one| one.into()).collect(),
        read_back,
        covers: Vec::new(),
        line_state: None,
    })
}

#[test]
fn order_lapsed_is_a_stop_and_is_back_only_whole_and_from_the_supervisor_in_office() {
    let mut plan = plan();
    plan.line.terminals = vec!["North".into(), "South".into()];
    let kind = ConditionKind::Order;
    plan.conditions.push(condition("order", "supervisor", kind));
    let both = ["North", "South"];
    let lapses = [
        OrderState::Lapsed,
        OrderState::ReleasedByOthers { by: "desk".into() },
    ];
    for lapse in lapses {
        let mut crew = Crew::new(&plan, 4);
        let given = crew.say(LEAD, order(OrderState::InEffect, &both, true));
        crew.sync();
        assert!(crew.stops(EYES).is_empty());
        // Whoever hears of it says so.
        let stop = crew.say(GROUND, order(lapse, &[], false));
        let ask = agreed(&mut crew, stop);
        assert_eq!(crew.stops(EYES), [stop]);
        let out = Reason::ConditionOut {
            condition: name("order"),
        };
        let half = crew.say(LEAD, order(OrderState::InEffect, &["North"], true));
        let unheard = crew.say(LEAD, order(OrderState::InEffect, &both, false));
        let not_holder = crew.say(EYES, order(OrderState::InEffect, &both, true));
        crew.sync();
        for basis in [given, half, unheard, not_holder] {
            let release = crew.release(ask, vec![age("order", basis, 1_000, None)]);
            assert_eq!(crew.reasons(LEAD, release), core::slice::from_ref(&out));
        }
        let whole = crew.say(LEAD, order(OrderState::InEffect, &both, true));
        let release = crew.release(ask, vec![age("order", whole, 1_000, None)]);
        assert_eq!(crew.reasons(LEAD, release), []);
        assert!(crew.stops(LEAD).is_empty());
    }
    // In effect, or released by its holder at the end, is no stop.
    let mut crew = Crew::new(&plan, 4);
    crew.say(LEAD, order(OrderState::Released, &both, true));
    crew.sync();
    assert!(crew.stops(EYES).is_empty());
}

/// The only reason against an entry.
fn only(crew: &Crew, entry: EntryHash) -> Reason {
    match &crew.reasons(LEAD, entry)[..] {
        [reason] => reason.clone(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn an_order_status_that_is_not_whole_or_not_the_holders_is_recorded_and_does_not_count() {
    let mut plan = plan();
    plan.line.terminals = vec!["North".into(), "South".into()];
    plan.line.structure = "T-114".into();
    let kind = ConditionKind::Order;
    plan.conditions.push(condition("order", "supervisor", kind));
    let both = ["North", "South"];
    let mut crew = Crew::new(&plan, 4);
    let owed = Reason::Incomplete {
        missing: vec![Owed::Condition {
            condition: name("order"),
        }],
    };
    let mut elsewhere = order(OrderState::InEffect, &both, true);
    if let Body::OrderStatus(status) = &mut elsewhere {
        status.covers = vec!["T-115".into()];
    }
    for half in [
        order(OrderState::InEffect, &["North"], true),
        order(OrderState::InEffect, &both, false),
        elsewhere,
    ] {
        let lead = crew.key(LEAD);
        assert_eq!(
            crew.devices[LEAD].job.judge(lead, &half),
            [],
            "the press is recorded: it puts the condition out"
        );
        let half = crew.say(LEAD, half);
        assert_eq!(only(&crew, half), owed);
    }
    let whole = crew.say(LEAD, order(OrderState::InEffect, &both, true));
    assert_eq!(crew.reasons(LEAD, whole), []);
    let not_holder = crew.say(EYES, order(OrderState::InEffect, &both, true));
    crew.sync();
    assert!(matches!(only(&crew, not_holder), Reason::WrongRole { .. }));
}

#[test]
fn only_the_owner_affirms_a_condition() {
    let mut plan = plan();
    let kind = ConditionKind::NoneSeen;
    plan.conditions
        .push(condition("lightning", "observer", kind));
    let kind = ConditionKind::Order;
    plan.conditions.push(condition("order", "observer", kind));
    let mut crew = Crew::new(&plan, 4);
    let affirm = |id: &str| {
        Body::Affirm(ConditionNamed {
            condition: name(id),
        })
    };
    let needs = |crew: &Crew, device: usize, id: &str| {
        let key = crew.key(device);
        crew.devices[device].job.judge(key, &affirm(id))
    };
    let wrong = |role: &str| {
        [Reason::WrongRole {
            needs: vec![name(role)],
        }]
    };
    assert_eq!(needs(&crew, EYES, "lightning"), []);
    assert_eq!(needs(&crew, GROUND, "lightning"), wrong("observer"));
    assert_eq!(
        needs(&crew, EYES, "order"),
        wrong("supervisor"),
        "the order is the supervisor's in office, whoever owns it by the plan"
    );
    assert_eq!(needs(&crew, LEAD, "order"), []);
    assert!(matches!(
        needs(&crew, EYES, "thunder")[..],
        [Reason::WrongAnswerForm { .. }]
    ));
    // The same of what another version wrote all the same.
    let written = crew.say(GROUND, affirm("lightning"));
    let own = crew.say(EYES, affirm("lightning"));
    crew.sync();
    assert_eq!(crew.reasons(LEAD, written), wrong("observer"));
    assert_eq!(crew.reasons(LEAD, own), []);
}

#[test]
fn only_the_author_corrects_an_entry() {
    let mut crew = Crew::new(&plan(), 4);
    let given = crew.ack(TOWER, "s1");
    crew.sync();
    let correct = |entry: EntryHash| {
        Body::Correction(Correction {
            entry,
            text: "read wrongly".into(),
        })
    };
    let judged = |crew: &Crew, device: usize, entry: EntryHash| {
        let key = crew.key(device);
        crew.devices[device].job.judge(key, &correct(entry))
    };
    assert_eq!(judged(&crew, TOWER, given), []);
    assert_eq!(judged(&crew, EYES, given), [Reason::NotYours]);
    let unknown = EntryHash([9; 32]);
    assert_eq!(judged(&crew, TOWER, unknown), [Reason::NotYours]);
    let others = crew.say(EYES, correct(given));
    let own = crew.say(TOWER, correct(given));
    crew.sync();
    assert_eq!(only(&crew, others), Reason::NotYours);
    assert_eq!(crew.reasons(LEAD, own), []);
    // Another of the same role is another; on a spare it is still the same person.
    let other = crew.join(LEAD, 20, &["tower"]);
    assert_eq!(judged(&crew, other, given), [Reason::NotYours]);
    let roster = crew.devices[LEAD].job.roster();
    let person = roster.person(&crew.key(TOWER)).unwrap().clone();
    let author = crate::log::sample::author(21);
    let admit = Admit {
        device: author.device(),
        person,
        roles: vec![name("tower")],
        replaces: None,
    };
    crew.say(LEAD, Body::Admit(admit));
    let spare = crew.enter(LEAD, author);
    assert_eq!(judged(&crew, spare, given), []);
}

#[test]
fn a_look_that_leaves_a_tool_unfit_is_recorded_and_does_not_count() {
    let mut plan = plan();
    plan.items.push(Item {
        id: name("pole"),
        title: "Pole".into(),
        load: false,
        at: Place::Truck,
        test_months: Some(24),
        tested: None,
        daily: true,
        rated_kv: None,
        rated_kn: None,
        counted: true,
    });
    let mut crew = Crew::new(&plan, 4);
    let scan = |found: Finding| {
        Body::Scan(Scan {
            item: name("pole"),
            found,
        })
    };
    let plate = |months: u16, wiped_today: bool| {
        scan(Finding::Plate {
            test_age_months: Some(months),
            wiped_today,
            rated_kv: None,
        })
    };
    let unfit = |why: Unfit| Reason::ToolNotFit {
        item: name("pole"),
        why,
    };
    let key = crew.key(GROUND);
    assert_eq!(crew.devices[GROUND].job.judge(key, &plate(26, true)), []);
    let old = crew.say(GROUND, plate(26, true));
    assert_eq!(crew.reasons(GROUND, old), [unfit(Unfit::TestPast)]);
    let good = crew.say(GROUND, plate(5, true));
    assert_eq!(crew.reasons(GROUND, good), []);
    // What finds it bad says so itself, and a good look that knew of it makes it fit again.
    let bad = crew.say(GROUND, scan(Finding::Inspected { good: false }));
    assert_eq!(crew.reasons(GROUND, bad), []);
    let plate_only = crew.say(GROUND, plate(5, false));
    assert_eq!(
        crew.reasons(GROUND, plate_only),
        [unfit(Unfit::NotInspected)]
    );
    let wiped = crew.say(GROUND, scan(Finding::Inspected { good: true }));
    assert_eq!(crew.reasons(GROUND, wiped), []);
    // Judged by what its author had seen: a later look does not alter it.
    assert_eq!(crew.reasons(GROUND, old), [unfit(Unfit::TestPast)]);
    let aside = Finding::OutOfService { why: "bent".into() };
    let aside = crew.say(GROUND, scan(aside));
    assert_eq!(crew.reasons(GROUND, aside), []);
    let after = crew.say(GROUND, plate(5, true));
    assert_eq!(crew.reasons(GROUND, after), [unfit(Unfit::OutOfService)]);
}

#[test]
fn close_is_refused_while_something_is_out_or_not_done() {
    let mut plan = plan();
    plan.items.push(Item {
        id: name("pole"),
        title: "Pole".into(),
        load: false,
        at: Place::Truck,
        test_months: None,
        tested: None,
        daily: false,
        rated_kv: None,
        rated_kn: None,
        counted: true,
    });
    let mut crew = Crew::new(&plan, 4);
    for step in ["s1", "s2"] {
        crew.ack(TOWER, step);
        crew.sync();
    }
    crew.count_heads(LEAD);
    let moved = |to: Place| {
        Body::Moved(Moved {
            item: name("pole"),
            to,
        })
    };
    crew.sync();
    let undone = crew.close(LEAD);
    crew.sync();
    let reasons = crew.reasons(EYES, undone);
    assert!(reasons.contains(&Reason::NotUnlocked {
        step: name("s3"),
        before: name("s3")
    }));
    crew.ack(TOWER, "s3");
    crew.sync();
    crew.say(GROUND, moved(Place::Aloft));
    crew.sync();
    let out = crew.close(LEAD);
    crew.sync();
    assert_eq!(
        crew.reasons(EYES, out),
        [Reason::ItemNotThere { item: name("pole") }]
    );
    assert!(!crew.devices[EYES].job.is_closed());
    crew.say(GROUND, moved(Place::Truck));
    crew.sync();
    let not_his = crew.close(EYES);
    crew.sync();
    assert!(matches!(
        crew.reasons(LEAD, not_his)[..],
        [Reason::WrongRole { .. }]
    ));
    assert!(!crew.devices[EYES].job.is_closed());
    let close = crew.close(LEAD);
    crew.sync();
    assert_eq!(crew.reasons(EYES, close), []);
    assert!(crew.devices[EYES].job.is_closed());
}

#[test]
fn a_key_that_left_comes_back_by_a_new_admission_and_is_briefed_again() {
    let mut crew = Crew::new(&plan(), 5);
    crew.say(4, Body::Leave);
    crew.sync();
    assert!(!crew.devices[LEAD].job.roster().present(&crew.key(4)));
    let gone = crew.ack(4, "s1");
    crew.sync();
    assert!(!crew.reasons(LEAD, gone).is_empty());
    let admit = crew.say(
        LEAD,
        Body::Admit(Admit {
            device: crew.key(4),
            person: name("Person 4"),
            roles: vec![name("tower")],
            replaces: None,
        }),
    );
    crew.sync();
    assert_eq!(crew.verdict(EYES, admit), Verdict::Counts);
    let early = crew.ack(4, "s1");
    assert!(matches!(
        crew.reasons(4, early)[..],
        [Reason::NotBriefed { .. }]
    ));
    crew.say(4, Body::Briefed(Briefed { version: 0 }));
    crew.sync();
    let back = crew.ack(4, "s1");
    crew.sync();
    assert_eq!(crew.reasons(LEAD, back), []);
}

#[test]
fn a_role_taken_before_leaving_does_not_come_back_with_its_holder() {
    let observer = name("observer");
    let mut crew = Crew::new(&plan(), 5);
    super::tests::relieve_observer(&mut crew);
    crew.say(GROUND, Body::Leave);
    crew.sync();
    let key = crew.key(GROUND);
    let back = |role: &str| {
        Body::Admit(Admit {
            device: key,
            person: name("Person 3"),
            roles: vec![name(role)],
            replaces: None,
        })
    };
    let admit = crew.say(LEAD, back("ground"));
    crew.sync();
    assert_eq!(crew.reasons(EYES, admit), []);
    let roster = crew.devices[EYES].job.roster();
    assert!(roster.holds(&key, &name("ground")) && !roster.holds(&key, &observer));
    // The supervisor says so anew.
    crew.say(LEAD, back("observer"));
    crew.sync();
    let roster = crew.devices[EYES].job.roster();
    assert!(roster.holds(&key, &observer));
}
