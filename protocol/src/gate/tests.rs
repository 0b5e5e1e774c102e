//! Tests of the counting rules, each flipped alone.
//! Owns: nothing.   Gives: nothing.
//! May use: testkit.   Never: anything outside tests.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::Verdict;
use super::testkit::*;
use crate::decimal::Decimal;
use crate::ids::EntryHash;
use crate::log::entry::{
    Admit, Agree, Amend, Ask, Body, Briefed, Evidence, Exception, ExitPlan, Heard, Note, NoteKind,
    Offer, OfferNamed, Offered, Proposal, Release, Said, StepBack, Withdraw,
};
use crate::log::graph::CannotInsert;
use crate::log::sign::Verified;
use crate::plan::{Expects, Plan, Who};
use crate::reason::Reason;
use crate::state::StepState;

#[test]
fn a_job_goes_from_step_to_step() {
    let mut crew = Crew::new(&plan(), 4);
    assert_eq!(crew.complete(LEAD), [""; 0]);
    let first = crew.ack(TOWER, "s1");
    crew.sync();
    assert_eq!(crew.verdict(LEAD, first), Verdict::Counts);
    let second = crew.ack(TOWER, "s2");
    crew.sync();
    assert_eq!(crew.reasons(GROUND, second), []);
    assert_eq!(crew.complete(EYES), ["s1", "s2"]);
    let third = crew.ack(TOWER, "s3");
    crew.sync();
    assert_eq!(crew.reasons(GROUND, third), []);
    let short = crew.close(LEAD);
    crew.sync();
    assert!(matches!(
        crew.reasons(EYES, short)[..],
        [Reason::NotAccounted { .. }]
    ));
    crew.count_heads(LEAD);
    let close = crew.close(LEAD);
    crew.sync();
    assert_eq!(crew.reasons(EYES, close), []);
    assert!(crew.devices[GROUND].job.is_closed());
    let stop = crew.stop(GROUND, "after all");
    crew.sync();
    assert!(
        !crew.devices[LEAD].job.is_closed(),
        "a later stop reopens the job: {stop}"
    );
}

#[test]
fn nobody_confirms_ahead() {
    let mut crew = Crew::new(&plan(), 4);
    let early = crew.ack(TOWER, "s2");
    crew.ack(TOWER, "s1");
    crew.sync();
    assert!(matches!(
        crew.reasons(LEAD, early)[..],
        [Reason::NotUnlocked { .. }]
    ));
    assert_eq!(crew.complete(LEAD), ["s1"]);
}

#[test]
fn a_crossed_stop_beats_the_confirmation_and_is_released_by_agreement() {
    let mut crew = Crew::new(&plan(), 4);
    crew.ack(TOWER, "s1");
    crew.sync();
    let crossed = crew.ack(TOWER, "s2");
    let stop = crew.stop(GROUND, "look out");
    crew.sync();
    assert_eq!(crew.reasons(EYES, crossed), [Reason::CrossedStop { stop }]);
    assert_eq!(crew.complete(EYES), ["s1"]);
    let under = crew.ack(TOWER, "s2");
    crew.sync();
    assert_eq!(crew.reasons(EYES, under), [Reason::StopActive { stop }]);
    assert_eq!(crew.devices[EYES].job.stops().len(), 1);
    let release = crew.resume(&[stop], &[LEAD, EYES, TOWER, GROUND]);
    assert_eq!(crew.reasons(EYES, release), []);
    assert!(crew.devices[EYES].job.stops().is_empty());
    let body = crew.ack_body(TOWER, "s2", "c", Said::Yes);
    assert_eq!(crew.devices[TOWER].job.judge(crew.key(TOWER), &body), []);
    let again = crew.ack(TOWER, "s2");
    crew.sync();
    assert_eq!(crew.reasons(EYES, again), []);
}

/// A crew with the first step done and known to all.
fn at_s2() -> Crew {
    let mut crew = Crew::new(&plan(), 5);
    crew.ack(TOWER, "s1");
    crew.sync();
    crew
}

fn has(reasons: &[Reason], wanted: impl Fn(&Reason) -> bool) -> bool {
    reasons.iter().any(wanted)
}

#[test]
fn c1_role() {
    let mut crew = at_s2();
    let other = crew.ack(GROUND, "s2");
    assert_eq!(
        crew.reasons(GROUND, other),
        [Reason::WrongRole {
            needs: vec![name("tower")]
        }]
    );
    let right = crew.ack(TOWER, "s2");
    assert_eq!(crew.verdict(TOWER, right), Verdict::Counts);
}

#[test]
fn c1_briefed_after_admission() {
    let mut crew = at_s2();
    let late = crew.join(LEAD, 20, &["tower"]);
    crew.sync();
    let early = crew.ack(late, "s2");
    assert!(matches!(
        crew.reasons(late, early)[..],
        [Reason::NotBriefed { version: 0, .. }]
    ));
    crew.say(late, Body::Briefed(Briefed { version: 0 }));
    crew.sync();
    let briefed = crew.ack(late, "s2");
    assert_eq!(crew.verdict(late, briefed), Verdict::Counts);
}

#[test]
fn c1_version_and_everybody_briefed_on_an_amendment() {
    let mut crew = at_s2();
    let old = crew.ack_body(TOWER, "s2", "c", Said::Yes);
    crew.say(
        LEAD,
        Body::Amend(Box::new(Amend {
            why: "wind".into(),
            changes: Vec::new(),
            covers: Vec::new(),
        })),
    );
    crew.sync();
    for device in [LEAD, EYES, TOWER, 4] {
        crew.say(device, Body::Briefed(Briefed { version: 1 }));
    }
    crew.sync();
    let ground = crew.key(GROUND);
    let one_missing = crew.ack(TOWER, "s2");
    assert_eq!(
        crew.reasons(TOWER, one_missing),
        [Reason::NotBriefed {
            device: ground,
            version: 1
        }]
    );
    crew.say(GROUND, Body::Briefed(Briefed { version: 1 }));
    // LATE: one who comes later is not waited for.
    crew.join(LEAD, 20, &["ground"]);
    crew.sync();
    let old = crew.say(TOWER, old);
    assert!(has(&crew.reasons(TOWER, old), |reason| *reason
        == Reason::PlanChanged { version: 1 }));
    let right = crew.ack(TOWER, "s2");
    assert_eq!(crew.reasons(TOWER, right), []);
    assert_eq!(crew.complete(TOWER), ["s1", "s2"]);
}

#[test]
fn c1_non_vacuous() {
    let mut crew = at_s2();
    crew.say(EYES, Body::Leave);
    crew.sync();
    let alone = crew.ack(TOWER, "s2");
    assert_eq!(
        crew.reasons(TOWER, alone),
        [Reason::RoleVacant {
            role: name("observer")
        }]
    );
    let late = crew.join(LEAD, 20, &["observer"]);
    crew.say(late, Body::Briefed(Briefed { version: 0 }));
    crew.sync();
    let again = crew.ack(TOWER, "s2");
    assert_eq!(crew.reasons(TOWER, again), []);
    assert_eq!(crew.complete(TOWER), ["s1", "s2"]);
}

#[test]
fn c3_exempt_and_removed_stop() {
    let mut crew = at_s2();
    let (lead, eyes, ground) = (LEAD, EYES, GROUND);
    // The second tower is cut off and removed; what it says late stops, and reopens nothing.
    let seal = crew.remove(lead, 4, Proposal::Remove, &[eyes, TOWER]);
    crew.sync_among(&[lead, eyes, TOWER, ground]);
    assert_eq!(crew.verdict(lead, seal), Verdict::Counts);
    assert!(!crew.devices[lead].job.roster().present(&crew.key(4)));
    let after = crew.ack(TOWER, "s2");
    crew.sync_among(&[lead, eyes, TOWER, ground]);
    assert_eq!(crew.reasons(lead, after), []);
    let late = crew.stop(4, "look");
    crew.sync();
    assert_eq!(crew.reasons(lead, after), []);
    assert_eq!(crew.complete(lead), ["s1", "s2"]);
    assert_eq!(crew.devices[lead].job.stops().len(), 1, "{late} stops now");
}

#[test]
fn c4_a_removal_reopens_what_the_removed_device_is_not_known_to_have_had() {
    let mut crew = at_s2();
    let unseen = crew.ack(TOWER, "s2");
    // Not given to the other tower, which is then removed by a seal that had not seen it either.
    crew.remove(LEAD, 4, Proposal::Remove, &[EYES, GROUND]);
    crew.sync_among(&[LEAD, EYES, TOWER, GROUND]);
    let removed = crew.key(4);
    assert_eq!(
        crew.reasons(LEAD, unseen),
        [Reason::Removed { device: removed }]
    );
    assert_eq!(
        crew.complete(LEAD),
        ["s1"],
        "what it was known to have stays"
    );
}

#[test]
fn a_lone_device_and_a_tie_remove_nobody() {
    let mut crew = Crew::new(&plan(), 4);
    let alone = crew.remove(LEAD, GROUND, Proposal::Remove, &[]);
    assert!(matches!(crew.verdict(LEAD, alone), Verdict::NotCounted(_)));
    let half = crew.remove(LEAD, GROUND, Proposal::Remove, &[EYES]);
    assert!(matches!(crew.verdict(LEAD, half), Verdict::NotCounted(_)));
    let mut crew = Crew::new(&plan(), 4);
    let most = crew.remove(LEAD, GROUND, Proposal::Remove, &[EYES, TOWER]);
    assert_eq!(crew.verdict(LEAD, most), Verdict::Counts);
    let again = crew.say(
        LEAD,
        Body::Admit(Admit {
            device: crew.key(GROUND),
            person: name("Person 3"),
            roles: vec![name("ground")],
            replaces: None,
        }),
    );
    assert_eq!(
        crew.reasons(LEAD, again),
        [Reason::Removed {
            device: crew.key(GROUND)
        }],
        "a removed key never returns"
    );
}

#[test]
fn succession_by_takeover_and_by_handover() {
    let mut crew = at_s2();
    // Nobody takes over alone.
    let alone = crew.remove(EYES, LEAD, Proposal::TakeOver, &[]);
    assert!(matches!(crew.verdict(EYES, alone), Verdict::NotCounted(_)));
    let mut crew = at_s2();
    let seal = crew.remove(GROUND, LEAD, Proposal::TakeOver, &[EYES, TOWER]);
    assert_eq!(crew.verdict(GROUND, seal), Verdict::Counts);
    // What the old supervisor said unseen has no effect; what the new one saw of it stands.
    let unseen = crew.join(LEAD, 20, &["tower"]);
    let unseen = crew.key(unseen);
    crew.sync_among(&[LEAD, EYES, TOWER, GROUND, 4]);
    let job = &crew.devices[EYES].job;
    assert_eq!(job.roster().supervisor, Some(crew.key(GROUND)));
    assert_eq!(job.roster().term, 1);
    assert!(!job.roster().present(&crew.key(LEAD)));
    assert!(!job.roster().present(&unseen));
    let offer = crew.say(
        GROUND,
        Body::Offer(Offer {
            what: Offered::Role {
                role: name("supervisor"),
                from: crew.key(GROUND),
            },
            to: Some(crew.key(4)),
        }),
    );
    crew.sync_among(&[EYES, TOWER, GROUND, 4]);
    assert_eq!(
        crew.devices[4].job.roster().supervisor,
        Some(crew.key(GROUND)),
        "until the take the outgoing person holds the office"
    );
    crew.say(
        4,
        Body::Take(OfferNamed {
            offer,
            ready_age_ms: 0,
        }),
    );
    crew.sync_among(&[EYES, TOWER, GROUND, 4]);
    assert_eq!(
        crew.devices[EYES].job.roster().supervisor,
        Some(crew.key(4))
    );
}

#[test]
fn take_needs_the_outgoing_persons_request_and_removal_wins() {
    let mut crew = at_s2();
    let role: crate::ids::RoleId = name("tower");
    let from = crew.key(TOWER);
    let offer = |crew: &mut Crew| {
        let to = crew.key(GROUND);
        crew.say(
            LEAD,
            Body::Offer(Offer {
                what: Offered::Role {
                    role: name("tower"),
                    from: crew.key(TOWER),
                },
                to: Some(to),
            }),
        )
    };
    let refused = offer(&mut crew);
    assert_eq!(crew.reasons(LEAD, refused), [Reason::ReliefIncomplete]);
    crew.say(
        TOWER,
        Body::Note(Note {
            text: "relief".into(),
            about: None,
            kind: NoteKind::ReliefWanted { role: role.clone() },
        }),
    );
    crew.sync();
    let offered = offer(&mut crew);
    crew.give(LEAD, GROUND);
    assert!(crew.devices[GROUND].job.roster().holds(&from, &role));
    // Not known to the tower, who confirms at the same time.
    let concurrent = crew.ack(TOWER, "s2");
    crew.say(
        GROUND,
        Body::Take(OfferNamed {
            offer: offered,
            ready_age_ms: 0,
        }),
    );
    crew.sync();
    assert!(!crew.devices[LEAD].job.roster().holds(&from, &role));
    assert!(
        crew.devices[LEAD]
            .job
            .roster()
            .holds(&crew.key(GROUND), &role)
    );
    assert!(has(&crew.reasons(LEAD, concurrent), |reason| matches!(
        reason,
        Reason::WrongRole { .. }
    )));
}

#[test]
fn c5_step_back_amend_resume_day_and_withdrawal_cover() {
    let mut crew = at_s2();
    let second = crew.ack(TOWER, "s2");
    crew.sync();
    let back = crew.say(
        LEAD,
        Body::StepBack(StepBack {
            step: name("s2"),
            why: "loose".into(),
        }),
    );
    crew.sync();
    assert_eq!(crew.reasons(EYES, second), [Reason::TakenBack { by: back }]);
    assert_eq!(crew.complete(EYES), ["s1"], "the step before stays");
    assert_eq!(
        crew.devices[EYES].job.reached().len(),
        2,
        "the crew is where it is"
    );
    let again = crew.ack(TOWER, "s2");
    crew.sync();
    assert_eq!(crew.reasons(EYES, again), []);
    // A withdrawal of the first takes the second along, after its release.
    let first = crew.devices[TOWER].job.given(&name("s1"), &name("c"))[0];
    let first = crew.devices[TOWER].job.graph().hash(first);
    let withdrawn = crew.say(
        TOWER,
        Body::Withdraw(Withdraw {
            entry: first,
            why: "not so".into(),
        }),
    );
    crew.sync();
    assert_eq!(crew.complete(EYES), [""; 0]);
    crew.resume(&[withdrawn], &[LEAD, EYES, TOWER, GROUND, 4]);
    assert!(crew.devices[EYES].job.stops().is_empty());
    crew.ack(TOWER, "s1");
    crew.sync();
    assert_eq!(crew.complete(EYES), ["s1"]);
}

#[test]
fn a_withdrawal_takes_every_word_of_its_step_along_and_none_before_it() {
    let mut plan = plan();
    let looks = |id: &str, role: &str| check(id, roles(&[role]));
    plan.steps[0].checks.push(looks("d", "ground"));
    plan.steps[1].checks.push(looks("d", "ground"));
    let mut crew = Crew::new(&plan, 4);
    let mut said = Vec::new();
    for (by, step, check) in [
        (TOWER, "s1", "c"),
        (GROUND, "s1", "d"),
        (TOWER, "s2", "c"),
        (GROUND, "s2", "d"),
        (TOWER, "s3", "c"),
    ] {
        let body = crew.ack_body(by, step, check, Said::Yes);
        said.push(crew.say(by, body));
        crew.sync();
    }
    assert_eq!(crew.complete(EYES), ["s1", "s2", "s3"]);
    let withdrawn = crew.say(
        TOWER,
        Body::Withdraw(Withdraw {
            entry: said[2],
            why: "not so".into(),
        }),
    );
    crew.sync();
    let taken: Vec<bool> = said
        .iter()
        .map(|&entry| {
            let by = Reason::TakenBack { by: withdrawn };
            crew.reasons(EYES, entry).contains(&by)
        })
        .collect();
    assert_eq!(taken, [false, false, true, true, true]);
    assert_eq!(crew.complete(EYES), ["s1"]);
}

#[test]
fn c6_value_at_the_limit_passes_and_reread_needs_a_second_reader() {
    let mut plan = plan();
    plan.steps[0].checks[0].expects = Expects::Measured {
        limit: name("clearance"),
    };
    let value = |hundredths: i64| Said::Value {
        value: Decimal::new(hundredths, 2).unwrap(),
        unit: "m".into(),
    };
    let mut crew = Crew::new(&plan, 5);
    let at = crew.ack_body(TOWER, "s1", "c", value(250));
    let at = crew.say(TOWER, at);
    assert_eq!(crew.verdict(TOWER, at), Verdict::Counts);

    let mut crew = Crew::new(&plan, 5);
    let below = crew.ack_body(TOWER, "s1", "c", value(249));
    let below = crew.say(TOWER, below);
    crew.sync();
    assert!(matches!(
        crew.reasons(LEAD, below)[..],
        [Reason::OutOfLimit { .. }]
    ));
    // The worse of the two governs: another's passing value does not overwrite it.
    let second = crew.ack_body(4, "s1", "c", value(260));
    let second = crew.say(4, second);
    crew.sync();
    assert_eq!(crew.verdict(LEAD, second), Verdict::Counts);
    assert_eq!(crew.complete(LEAD), [""; 0]);
    let reread = crew.ack_body(TOWER, "s1", "c", value(255));
    let reread = crew.say(TOWER, reread);
    crew.sync();
    assert_eq!(crew.verdict(LEAD, reread), Verdict::Counts, "borne out");
    assert_eq!(crew.complete(LEAD), ["s1"]);

    let mut crew = Crew::new(&plan, 5);
    let below = crew.ack_body(TOWER, "s1", "c", value(249));
    crew.say(TOWER, below);
    let reread = crew.ack_body(TOWER, "s1", "c", value(255));
    let reread = crew.say(TOWER, reread);
    assert!(matches!(
        crew.reasons(TOWER, reread)[..],
        [Reason::NeedsSecondReader { .. }]
    ));
    let mut body = crew.ack_body(TOWER, "s1", "c", value(256));
    if let Body::Acknowledge(ack) = &mut body {
        ack.change = Some("moved the boom".into());
    }
    let stated = crew.say(TOWER, body);
    assert_eq!(crew.reasons(TOWER, stated), []);
}

#[test]
fn c7_proofs_of_life_both_sides_of_the_limit_and_known() {
    let mut crew = at_s2();
    let eyes = crew.key(EYES);
    let with_age = |crew: &Crew, age_ms: u32| {
        let mut body = crew.ack_body(TOWER, "s2", "c", Said::Yes);
        if let Body::Acknowledge(ack) = &mut body {
            for proof in &mut ack.evidence.proofs {
                if proof.device == eyes.tag() {
                    proof.age_ms = age_ms;
                }
            }
        }
        body
    };
    let over = with_age(&crew, 4_001);
    assert_eq!(
        crew.devices[TOWER].job.judge(crew.key(TOWER), &over),
        [Reason::NoContact {
            device: eyes,
            age_ms: Some(4_001)
        }]
    );
    let at = with_age(&crew, 4_000);
    assert_eq!(crew.devices[TOWER].job.judge(crew.key(TOWER), &at), []);
    let mut none = with_age(&crew, 1);
    if let Body::Acknowledge(ack) = &mut none {
        ack.evidence
            .proofs
            .retain(|proof| proof.device != eyes.tag());
    }
    assert_eq!(
        crew.devices[TOWER].job.judge(crew.key(TOWER), &none),
        [Reason::NoContact {
            device: eyes,
            age_ms: None
        }]
    );
    // The second step is confirmed, but the observer is not known to have it: nobody goes on to the third.
    crew.ack(TOWER, "s2");
    crew.sync_among(&[LEAD, TOWER, GROUND, 4]);
    let ahead = crew.ack_body(TOWER, "s3", "c", Said::Yes);
    assert_eq!(
        crew.devices[TOWER].job.judge(crew.key(TOWER), &ahead),
        [Reason::NotKnown {
            step: name("s3"),
            device: eyes
        }]
    );
    crew.sync();
    let known = crew.ack_body(TOWER, "s3", "c", Said::Yes);
    assert_eq!(crew.devices[TOWER].job.judge(crew.key(TOWER), &known), []);
}

fn with_who(who: Who) -> Plan {
    let mut plan = plan();
    plan.steps[0].checks[0].who = who;
    plan
}

#[test]
fn distinct_each_and_read_back() {
    let mut crew = Crew::new(&with_who(roles(&["tower", "tower"])), 5);
    crew.ack(TOWER, "s1");
    crew.ack(TOWER, "s1");
    crew.sync();
    assert_eq!(crew.complete(LEAD), [""; 0], "one person, one place");
    crew.ack(4, "s1");
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"]);

    let mut crew = Crew::new(&with_who(Who::Each(Some(name("tower")))), 5);
    crew.ack(TOWER, "s1");
    crew.sync();
    assert_eq!(crew.complete(LEAD), [""; 0]);
    let late = crew.join(LEAD, 20, &["tower"]);
    crew.ack(4, "s1");
    crew.sync();
    assert_eq!(
        crew.complete(LEAD),
        ["s1"],
        "who came later is not waited for"
    );
    crew.say(late, Body::Briefed(Briefed { version: 0 }));
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"]);

    let mut plan = with_who(Who::ReadBack {
        report: vec![name("tower")],
        repeat: vec![name("ground")],
    });
    plan.steps[0].checks[0].expects = Expects::Words;
    let words = |text: &str| Said::Words(text.into());
    let mut crew = Crew::new(&plan, 5);
    let body = crew.ack_body(GROUND, "s1", "c", words("17"));
    crew.say(GROUND, body);
    let body = crew.ack_body(TOWER, "s1", "c", words("17"));
    crew.say(TOWER, body);
    crew.sync();
    assert_eq!(crew.complete(LEAD), [""; 0], "the repeat had not heard it");
    let body = crew.ack_body(GROUND, "s1", "c", words("17"));
    crew.say(GROUND, body);
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"]);
}

/// A look at the first step's check, and what was done since.
fn looked(crew: &mut Crew, device: usize, text: &str, change: Option<&str>) -> EntryHash {
    let mut body = crew.ack_body(device, "s1", "c", Said::Words(text.into()));
    if let Body::Acknowledge(ack) = &mut body {
        ack.change = change.map(str::to_owned);
    }
    crew.say(device, body)
}

#[test]
fn second_look_conflict_and_round() {
    let mut plan = with_who(Who::SecondLook {
        first: vec![name("tower")],
        second: vec![name("observer")],
    });
    plan.steps[0].checks[0].expects = Expects::OneOf {
        answers: vec!["good".into(), "bad".into()],
        passes: "good".into(),
    };
    let mut crew = Crew::new(&plan, 5);
    looked(&mut crew, TOWER, "good", None);
    looked(&mut crew, EYES, "bad", None);
    crew.sync();
    assert_eq!(
        crew.devices[LEAD].job.step_state(&name("s1")),
        StepState::Conflict
    );
    // Without a word of what was done, nothing is settled; a third's answer of the same round neither.
    let silent = looked(&mut crew, EYES, "good", None);
    crew.sync();
    assert!(has(&crew.reasons(LEAD, silent), |reason| matches!(
        reason,
        Reason::Conflict { .. }
    )));
    assert_eq!(crew.complete(LEAD), [""; 0]);
    looked(&mut crew, TOWER, "good", Some("cleaned the mirror"));
    looked(&mut crew, EYES, "good", Some("looked again"));
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"]);

    // Two people agree that it is bad: their round is over, and two new looks that say what was done settle it.
    let both_bad = || {
        let mut crew = Crew::new(&plan, 5);
        looked(&mut crew, TOWER, "bad", None);
        looked(&mut crew, EYES, "bad", None);
        crew.sync();
        assert_eq!(crew.complete(LEAD), [""; 0]);
        crew
    };
    let mut crew = both_bad();
    looked(&mut crew, TOWER, "good", Some("new key"));
    crew.sync();
    assert_eq!(crew.complete(LEAD), [""; 0], "one alone settles nothing");
    looked(&mut crew, EYES, "good", Some("looked again"));
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"]);
    // Without a word of what was done neither counts.
    let mut crew = both_bad();
    for device in [TOWER, EYES] {
        let silent = looked(&mut crew, device, "good", None);
        crew.sync();
        assert!(has(&crew.reasons(LEAD, silent), |reason| matches!(
            reason,
            Reason::Conflict { .. }
        )));
    }
    assert_eq!(crew.complete(LEAD), [""; 0]);
    // Nor does one who says what was done speak for the other.
    let mut crew = both_bad();
    looked(&mut crew, TOWER, "good", Some("new key"));
    crew.sync();
    let silent = looked(&mut crew, EYES, "good", None);
    crew.sync();
    assert!(has(&crew.reasons(LEAD, silent), |reason| matches!(
        reason,
        Reason::Conflict { .. }
    )));
    assert_eq!(crew.complete(LEAD), [""; 0]);
    // One person's answer alone, however often given, ends no round.
    let mut crew = Crew::new(&plan, 5);
    looked(&mut crew, TOWER, "bad", None);
    crew.sync();
    looked(&mut crew, EYES, "good", Some("looked again"));
    crew.sync();
    assert_eq!(
        crew.devices[LEAD].job.step_state(&name("s1")),
        StepState::Conflict
    );
    // Nor does a look that had not seen both.
    let mut crew = Crew::new(&plan, 5);
    looked(&mut crew, TOWER, "bad", None);
    crew.sync();
    looked(&mut crew, EYES, "bad", None);
    looked(&mut crew, 4, "good", Some("new key"));
    crew.sync();
    looked(&mut crew, EYES, "good", Some("looked again"));
    crew.sync();
    assert_eq!(crew.complete(LEAD), [""; 0], "the conflict voids it");
}

#[test]
fn an_answer_that_differs_from_what_two_people_saw_alike_is_a_stop() {
    let two_roles = Who::Roles(vec![name("tower"), name("observer")]);
    let second_look = Who::SecondLook {
        first: vec![name("tower")],
        second: vec![name("observer")],
    };
    for who in [second_look.clone(), two_roles] {
        let is_look = who == second_look;
        let mut plan = with_who(who);
        plan.steps[0].checks[0].expects = Expects::OneOf {
            answers: vec!["good".into(), "bad".into()],
            passes: "good".into(),
        };
        let say = |crew: &mut Crew, device: usize, text: &str, change: Option<&str>| {
            let hash = looked(crew, device, text, change);
            crew.sync();
            hash
        };
        let complete = || {
            let mut crew = Crew::new(&plan, 5);
            say(&mut crew, TOWER, "good", None);
            say(&mut crew, EYES, "good", None);
            crew.ack(TOWER, "s2");
            crew.sync();
            assert_eq!(crew.complete(LEAD), ["s1", "s2"]);
            crew
        };
        // A third who sees the same says nothing new; one who sees otherwise stops the work.
        let mut crew = complete();
        say(&mut crew, 4, "good", None);
        assert_eq!(crew.stops(LEAD), []);
        let mut crew = complete();
        let other = say(&mut crew, 4, "bad", None);
        for device in 0..5 {
            assert_eq!(crew.stops(device), [other], "{device}");
        }
        assert_eq!(
            crew.complete(LEAD),
            [""; 0],
            "and what came after is open too"
        );
        crew.resume(&[other], &[LEAD, EYES, TOWER, GROUND, 4]);
        crew.sync();
        if is_look {
            assert_eq!(
                crew.devices[LEAD].job.step_state(&name("s1")),
                StepState::Conflict
            );
            // ROUND: two new looks, which say what was done.
            let silent = say(&mut crew, TOWER, "good", None);
            assert!(has(&crew.reasons(LEAD, silent), |reason| matches!(
                reason,
                Reason::Conflict { .. }
            )));
        }
        say(&mut crew, TOWER, "good", Some("cleaned the mirror"));
        assert_eq!(crew.complete(LEAD), [""; 0]);
        say(&mut crew, EYES, "good", Some("looked again"));
        if !is_look {
            // LATEST: of two roles the one who saw otherwise says so anew.
            assert_eq!(crew.complete(LEAD), [""; 0]);
            say(&mut crew, 4, "good", Some("looked again"));
        }
        assert_eq!(crew.complete(LEAD), ["s1"]);
    }
}

#[test]
fn latest_a_cannot_reopens_until_the_same_person_confirms() {
    let mut crew = Crew::new(&plan(), 5);
    crew.cannot(TOWER, "s1");
    crew.sync();
    let other = crew.ack(4, "s1");
    crew.sync();
    assert_eq!(crew.verdict(LEAD, other), Verdict::Counts);
    assert_eq!(
        crew.devices[LEAD].job.step_state(&name("s1")),
        StepState::Conflict
    );
    crew.ack(TOWER, "s1");
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"]);
    // Of a complete step it is a stop, and reopens what depends on it.
    crew.ack(TOWER, "s2");
    crew.sync();
    let late = crew.cannot(4, "s1");
    crew.sync();
    assert_eq!(crew.devices[LEAD].job.stops().len(), 1);
    assert_eq!(crew.complete(LEAD), [""; 0]);
    crew.resume(&[late], &[LEAD, EYES, TOWER, GROUND, 4]);
    crew.ack(4, "s1");
    crew.sync();
    assert_eq!(
        crew.complete(LEAD),
        [""; 0],
        "what had answered the first one does not count any more"
    );
    crew.ack(TOWER, "s1");
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"]);
    // By who holds no role of the check it changes nothing.
    crew.cannot(GROUND, "s1");
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"]);
}

#[test]
fn release_needs_each_of_its_conditions() {
    let prepared = |skip: &str| -> (Crew, EntryHash, EntryHash) {
        let mut crew = at_s2();
        let stop = crew.stop(GROUND, "look out");
        crew.sync();
        for device in [LEAD, EYES, TOWER, 4] {
            if !(skip == "heard" && device == 4) {
                crew.say(device, Body::Heard(Heard { stop }));
            }
        }
        crew.sync();
        let cause = if skip == "cause" { "" } else { "a bird" };
        let ask = crew.say(
            LEAD,
            Body::Ask(Ask {
                stops: vec![stop],
                cause: cause.into(),
                open_item: None,
                closes_item: None,
            }),
        );
        crew.sync();
        for device in [EYES, TOWER, GROUND, 4] {
            let skipped = match skip {
                "stopper" => device == GROUND,
                "agree_by" => device == TOWER,
                _ => false,
            };
            if !skipped {
                crew.say(device, Body::Agree(Agree { to: ask }));
            }
        }
        if skip == "decline" {
            crew.decline(GROUND, ask);
        }
        crew.sync();
        let author = if skip == "author" { EYES } else { LEAD };
        let release = crew.say(
            author,
            Body::Release(Release {
                ask,
                evidence: Evidence::default(),
            }),
        );
        crew.sync();
        (crew, stop, release)
    };
    for skip in ["heard", "cause", "stopper", "agree_by", "decline", "author"] {
        let (crew, _, release) = prepared(skip);
        assert!(
            matches!(crew.verdict(LEAD, release), Verdict::NotCounted(_)),
            "{skip}"
        );
        assert_eq!(crew.devices[EYES].job.stops().len(), 1, "{skip}");
        assert!(
            crew.devices[LEAD].job.release_due(crew.key(LEAD)).is_none() || skip == "author",
            "{skip}"
        );
    }
    let (mut crew, _, release) = prepared("");
    assert_eq!(crew.reasons(LEAD, release), []);
    assert!(crew.devices[EYES].job.stops().is_empty());
    // Who comes later does not put it back.
    crew.join(LEAD, 20, &["tower"]);
    crew.sync();
    assert!(crew.devices[EYES].job.stops().is_empty());
    // REPEAT: the same cause again asks for a new briefing.
    let again = crew.stop(GROUND, "Look out ");
    crew.sync();
    let owed = crew.devices[LEAD]
        .job
        .owed(crew.devices[LEAD].job.graph().find(&again).unwrap());
    assert_eq!(crew.devices[LEAD].job.stops()[0].repeat, 1);
    assert!(!owed.is_empty());
    let five = [LEAD, EYES, TOWER, GROUND, 4, 5];
    crew.resume(&[again], &five);
    assert_eq!(crew.devices[LEAD].job.stops().len(), 1);
    // That it was had once before is no reason to refuse the briefing that is owed now.
    let briefed = Body::Briefed(Briefed { version: 0 });
    let judged = |crew: &Crew| crew.devices[TOWER].job.judge(crew.key(TOWER), &briefed);
    assert_eq!(judged(&crew), []);
    let early = crew.say(LEAD, briefed.clone());
    assert_eq!(crew.reasons(LEAD, early), []);
    for device in five {
        crew.say(device, Body::Briefed(Briefed { version: 0 }));
    }
    crew.sync();
    assert_eq!(judged(&crew), [Reason::Duplicate]);
    crew.resume(&[again], &five);
    assert!(crew.devices[LEAD].job.stops().is_empty());
}

/// A stop that all have heard, and a plan to leave by the second step that waits for their agreement.
fn with_exit_plan() -> (Crew, EntryHash, EntryHash) {
    let mut crew = at_s2();
    let stop = crew.stop(GROUND, "lightning");
    crew.sync();
    let everyone = [LEAD, EYES, TOWER, GROUND, 4];
    for device in everyone {
        crew.say(device, Body::Heard(Heard { stop }));
    }
    crew.sync();
    let exit = crew.say(
        LEAD,
        Body::ExitPlan(ExitPlan {
            stops: vec![stop],
            steps: vec![name("s2")],
            without: Vec::new(),
            why: "lower the string first".into(),
        }),
    );
    crew.sync();
    (crew, stop, exit)
}

#[test]
fn exit_plan_opens_named_steps_only_and_the_stop_stays() {
    let (mut crew, stop, exit) = with_exit_plan();
    let early = crew.ack(TOWER, "s2");
    assert_eq!(crew.reasons(TOWER, early), [Reason::StopActive { stop }]);
    crew.sync();
    for device in [EYES, TOWER, GROUND, 4] {
        crew.say(device, Body::Agree(Agree { to: exit }));
    }
    crew.sync();
    let due = crew.devices[LEAD].job.release_due(crew.key(LEAD)).unwrap();
    assert_eq!(due.ask, exit);
    crew.say(LEAD, Body::Release(due));
    crew.sync();
    assert!(crew.devices[LEAD].job.exit_plan().is_some());
    assert_eq!(crew.devices[LEAD].job.stops().len(), 1);
    let inside = crew.ack(TOWER, "s2");
    crew.sync();
    assert_eq!(crew.reasons(LEAD, inside), []);
    let outside = crew.ack(TOWER, "s3");
    assert_eq!(crew.reasons(TOWER, outside), [Reason::StopActive { stop }]);
}

#[test]
fn an_exit_plan_is_sealed_by_the_supervisor_in_office_only() {
    for handed_over in [false, true] {
        let (mut crew, _, exit) = with_exit_plan();
        for device in [EYES, TOWER, GROUND, 4] {
            crew.say(device, Body::Agree(Agree { to: exit }));
        }
        crew.sync();
        let due = crew.devices[LEAD].job.release_due(crew.key(LEAD)).unwrap();
        if handed_over {
            let offer = crew.say(
                LEAD,
                Body::Offer(Offer {
                    what: Offered::Role {
                        role: name("supervisor"),
                        from: crew.key(LEAD),
                    },
                    to: Some(crew.key(4)),
                }),
            );
            crew.sync();
            let take = OfferNamed {
                offer,
                ready_age_ms: 0,
            };
            crew.say(4, Body::Take(take));
            crew.sync();
            let roster = crew.devices[LEAD].job.roster();
            assert_eq!(roster.supervisor, Some(crew.key(4)));
        }
        let seal = crew.say(LEAD, Body::Release(due));
        crew.sync();
        let sealed = crew.devices[EYES].job.exit_plan().is_some();
        assert_eq!(sealed, !handed_over);
        let office = has(&crew.reasons(EYES, seal), |reason| {
            matches!(reason, Reason::WrongRole { .. })
        });
        assert_eq!(office, handed_over, "{:?}", crew.reasons(EYES, seal));
    }
}

#[test]
fn exception_by_everybody_who_would_agree_to_a_resume() {
    let mut crew = at_s2();
    let body = Body::Exception(Exception {
        step: name("s2"),
        check: name("c"),
        version: 0,
        what: "done by hand".into(),
        why: "dead phone".into(),
        seen_by: name("Eyes"),
        evidence: Evidence::default(),
    });
    let not_his = crew.say(EYES, body.clone());
    assert!(has(&crew.reasons(EYES, not_his), |reason| matches!(
        reason,
        Reason::WrongRole { .. }
    )));
    crew.sync();
    let exception = crew.say(LEAD, body);
    crew.sync();
    assert_eq!(
        crew.devices[TOWER]
            .job
            .agreements_due(&crew.key(TOWER))
            .len(),
        1
    );
    for device in [EYES, TOWER] {
        crew.say(device, Body::Agree(Agree { to: exception }));
    }
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"], "one of them has not agreed");
    crew.say(4, Body::Agree(Agree { to: exception }));
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1", "s2"]);
    crew.decline(GROUND, exception);
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"], "one no ends it");
}

#[test]
fn late_note_bars_a_plain_confirm_until_reviewed() {
    let mut crew = at_s2();
    let late = crew.say(
        TOWER,
        Body::Note(Note {
            text: "was done before".into(),
            about: None,
            kind: NoteKind::Late {
                step: name("s2"),
                check: name("c"),
                mark: None,
            },
        }),
    );
    crew.sync();
    let barred = crew.ack(TOWER, "s2");
    assert_eq!(crew.reasons(TOWER, barred), [Reason::Late]);
    crew.say(
        LEAD,
        Body::Note(Note {
            text: "seen".into(),
            about: Some(late),
            kind: NoteKind::Reviewed,
        }),
    );
    crew.sync();
    let free = crew.ack(TOWER, "s2");
    assert_eq!(crew.reasons(TOWER, free), []);
}

#[test]
fn an_author_that_nobody_admitted_is_refused() {
    let mut crew = Crew::new(&plan(), 4);
    let stranger = crate::log::sample::author(77);
    let graph = crew.devices[LEAD].job.graph();
    let entry = stranger
        .next(
            graph,
            crate::log::sample::WALL,
            crew.id,
            crate::log::sample::note("hello"),
        )
        .unwrap();
    let entry = Verified::unchecked(entry);
    assert!(matches!(
        crew.devices[LEAD].job.insert(entry),
        Err(CannotInsert::NotAdmitted { .. })
    ));
}

#[test]
fn a_role_does_not_go_back_when_its_taker_is_removed() {
    let mut crew = Crew::new(&plan(), 5);
    relieve_observer(&mut crew);
    crew.remove(LEAD, GROUND, Proposal::Remove, &[EYES, TOWER, 4]);
    crew.sync();
    let roster = crew.devices[LEAD].job.roster();
    assert!(!roster.present(&crew.key(GROUND)));
    assert!(!roster.holds(&crew.key(EYES), &name("observer")));
    // NON-VACUOUS: nobody watches, so nothing counts.
    let ack = crew.ack(TOWER, "s1");
    assert_ne!(crew.verdict(TOWER, ack), Verdict::Counts);
}

#[test]
fn a_role_stays_where_it_is_when_its_taker_was_removed_unseen() {
    let mut crew = Crew::new(&plan(), 5);
    let offer = offer_observer(&mut crew);
    crew.remove(LEAD, GROUND, Proposal::Remove, &[EYES, TOWER, 4]);
    let take = Body::Take(OfferNamed {
        offer,
        ready_age_ms: 0,
    });
    crew.say(GROUND, take);
    crew.sync();
    let roster = crew.devices[LEAD].job.roster();
    assert!(roster.holds(&crew.key(EYES), &name("observer")));
}

#[test]
fn a_take_that_a_re_offer_has_voided_lends_no_role() {
    for role in ["observer", "supervisor"] {
        for again in [false, true] {
            let mut crew = Crew::new(&with_who(roles(&[role])), 5);
            let from = if role == "observer" { EYES } else { LEAD };
            let offer = |crew: &Crew, to: usize| {
                Body::Offer(Offer {
                    what: Offered::Role {
                        role: name(role),
                        from: crew.key(from),
                    },
                    to: Some(crew.key(to)),
                })
            };
            let offered = if role == "observer" {
                offer_observer(&mut crew)
            } else {
                let body = offer(&crew, GROUND);
                crew.say(LEAD, body)
            };
            crew.sync();
            let take = OfferNamed {
                offer: offered,
                ready_age_ms: 0,
            };
            crew.say(GROUND, Body::Take(take));
            // By what it writes of the others, all have heard of the take.
            let mut body = crew.ack_body(GROUND, "s1", "c", Said::Yes);
            if let Body::Acknowledge(ack) = &mut body {
                for proof in &mut ack.evidence.proofs {
                    proof.behind.clear();
                }
            }
            let ack = crew.say(GROUND, body);
            assert_eq!(
                crew.reasons(GROUND, ack),
                [],
                "as far as the taker had seen"
            );
            if again {
                // The lead has not seen the take, and offers the role to another.
                let body = offer(&crew, TOWER);
                crew.say(LEAD, body);
            }
            crew.sync();
            let holder = if again { from } else { GROUND };
            let roster = crew.devices[EYES].job.roster();
            assert!(roster.holds(&crew.key(holder), &name(role)), "{role}");
            let lent = has(&crew.reasons(EYES, ack), |reason| {
                matches!(reason, Reason::WrongRole { .. })
            });
            assert_eq!(lent, again, "{role}: {:?}", crew.reasons(EYES, ack));
        }
    }
}

/// The observer asks for relief, and the lead offers the role to the ground worker.
fn offer_observer(crew: &mut Crew) -> EntryHash {
    crew.say(
        EYES,
        Body::Note(Note {
            text: "relief".into(),
            about: None,
            kind: NoteKind::ReliefWanted {
                role: name("observer"),
            },
        }),
    );
    crew.sync();
    let offer = crew.say(
        LEAD,
        Body::Offer(Offer {
            what: Offered::Role {
                role: name("observer"),
                from: crew.key(EYES),
            },
            to: Some(crew.key(GROUND)),
        }),
    );
    crew.sync();
    offer
}

pub(super) fn relieve_observer(crew: &mut Crew) {
    let offer = offer_observer(crew);
    crew.say(
        GROUND,
        Body::Take(OfferNamed {
            offer,
            ready_age_ms: 0,
        }),
    );
    crew.sync();
    let roster = crew.devices[LEAD].job.roster();
    assert!(roster.holds(&crew.key(GROUND), &name("observer")));
}
