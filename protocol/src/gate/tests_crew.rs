//! Tests of the rules about who is who and about odd entries, each flipped alone.
//! Owns: nothing.   Gives: nothing.
//! May use: testkit.   Never: anything outside tests.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::Verdict;
use super::testkit::*;
use crate::ids::EntryHash;
use crate::log::entry::{
    Admit, Agree, Body, Briefed, MakeSafe, Note, NoteKind, Offer, OfferNamed, Offered, Proposal,
    ProposalNamed, Propose, Said, Seal, Stop, StopKind, Void,
};
use crate::plan::Who;
use crate::reason::{Owed, Reason};

const FIVE: [usize; 5] = [LEAD, EYES, TOWER, GROUND, 4];

fn at_s2() -> Crew {
    let mut crew = Crew::new(&plan(), 5);
    crew.ack(TOWER, "s1");
    crew.sync();
    crew
}

fn forked(crew: &Crew, device: usize, entry: EntryHash, by: usize) -> bool {
    crew.reasons(device, entry).contains(&Reason::Fork {
        device: crew.key(by),
    })
}

#[test]
fn void_an_unknown_kind_holds_until_the_supervisor_and_one_other_void_it() {
    let unknown_at = |crew: &Crew| crew.devices[EYES].job.unknown_open().len();
    let mut crew = at_s2();
    let unknown = crew.say_unknown(GROUND);
    crew.sync();
    assert_eq!(unknown_at(&crew), 1);
    assert_eq!(
        crew.reasons(EYES, unknown),
        [Reason::NeedsVersion {
            device: crew.key(GROUND)
        }]
    );
    // Somebody who is not the supervisor, agreed to by another.
    let void = Body::Void(Void { entry: unknown });
    let not_his = crew.say(TOWER, void.clone());
    crew.sync();
    crew.say(EYES, Body::Agree(Agree { to: not_his }));
    crew.sync();
    assert_eq!(unknown_at(&crew), 1, "not by the supervisor");
    // The supervisor, alone and with the own agreement.
    let void = crew.say(LEAD, void);
    crew.say(LEAD, Body::Agree(Agree { to: void }));
    crew.sync();
    assert_eq!(unknown_at(&crew), 1, "nobody else");
    let due = crew.devices[EYES].job.agreements_due(&crew.key(EYES));
    assert_eq!(due.len(), 1);
    crew.say(EYES, Body::Agree(Agree { to: void }));
    crew.sync();
    assert_eq!(unknown_at(&crew), 0);
    // Only the entry that was named.
    crew.say_unknown(GROUND);
    crew.sync();
    assert_eq!(unknown_at(&crew), 1);
}

#[test]
fn fork_nobodys_word_made_knowing_of_it_counts_until_the_device_is_removed() {
    let mut crew = Crew::new(&plan(), 5);
    let below = crew.ack(4, "s1");
    crew.sync();
    let above = crew.ack(4, "s2");
    let body = crew.ack_body(4, "s2", "c", Said::Yes);
    let other = crew.fork(4, body);
    crew.give(4, LEAD);
    // Made in ignorance of it, known to all that are known to be level.
    let ignorant = crew.ack(TOWER, "s2");
    crew.sync();
    assert_eq!(crew.devices[LEAD].job.forks_open(), [crew.key(4)]);
    for entry in [above, other.entry().hash] {
        assert!(forked(&crew, LEAD, entry, 4), "from the fork on");
    }
    assert_eq!(crew.verdict(LEAD, below), Verdict::Counts);
    assert_eq!(crew.verdict(LEAD, ignorant), Verdict::Counts);
    let knowing = crew.ack_body(TOWER, "s3", "c", Said::Yes);
    assert_eq!(
        crew.devices[TOWER].job.judge(crew.key(TOWER), &knowing),
        [Reason::Fork {
            device: crew.key(4)
        }]
    );
    let knowing = crew.say(TOWER, knowing);
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1", "s2"]);
    // Settled by the removal: what it had seen below the fork stands, what was above does not.
    let seal = crew.remove(LEAD, 4, Proposal::Remove, &[EYES, GROUND]);
    crew.sync_among(&[LEAD, EYES, TOWER, GROUND]);
    assert_eq!(crew.verdict(LEAD, seal), Verdict::Counts);
    assert!(crew.devices[LEAD].job.forks_open().is_empty());
    assert_eq!(crew.verdict(LEAD, below), Verdict::Counts);
    assert!(!crew.reasons(LEAD, above).is_empty());
    assert!(!crew.reasons(LEAD, knowing).is_empty(), "given too early");
    assert_eq!(crew.complete(LEAD), ["s1", "s2"]);
    let after = crew.ack(TOWER, "s3");
    crew.sync_among(&[LEAD, EYES, TOWER, GROUND]);
    assert_eq!(crew.reasons(LEAD, after), []);
}

#[test]
fn a_proposal_shows_who_has_signed_and_its_author_seals_it_unless_that_device_has_forked() {
    let mut crew = Crew::new(&plan(), 5);
    let others = [LEAD, EYES, TOWER, GROUND];
    crew.sync();
    let propose = Body::Propose(Propose {
        kind: Proposal::Remove,
        device: crew.key(4),
        attempt: 1,
        spoken_to: None,
        called_stop: false,
        known: Vec::new(),
    });
    let proposal = crew.say(LEAD, propose);
    crew.sync_among(&others);
    let signed = |crew: &Crew| crew.devices[LEAD].job.proposals()[0].consents.clone();
    let due = |crew: &Crew, device: usize| crew.devices[device].job.seal_due(crew.key(device));
    assert_eq!(signed(&crew), [crew.key(LEAD)]);
    assert_eq!(due(&crew, LEAD), None);
    let mut consents = [EYES, GROUND]
        .map(|device| crew.say(device, Body::Consent(ProposalNamed { proposal })))
        .to_vec();
    crew.sync_among(&others);
    assert_eq!(signed(&crew).len(), 3);
    assert_eq!(crew.devices[LEAD].job.proposals()[0].needed, 3);
    consents.sort_unstable();
    let seal = Seal { proposal, consents };
    assert_eq!(due(&crew, LEAD), Some(seal));
    assert_eq!(due(&crew, EYES), None, "not its own");
    crew.say(LEAD, crate::log::sample::note("one"));
    crew.fork(LEAD, crate::log::sample::note("two"));
    assert_eq!(due(&crew, LEAD), None, "it would not count");
}

#[test]
fn fork_whoever_cannot_confirm_is_heeded_forked_or_not() {
    for forks in [false, true] {
        let mut crew = Crew::new(&plan(), 5);
        let given = crew.ack(TOWER, "s1");
        crew.sync();
        if forks {
            crew.say(4, crate::log::sample::note("one"));
            crew.fork(4, crate::log::sample::note("two"));
        }
        let doubt = crew.cannot(4, "s1");
        crew.sync();
        let back = Reason::TakenBack { by: doubt };
        assert!(crew.reasons(EYES, given).contains(&back), "{forks}");
        assert_eq!(crew.complete(EYES), Vec::<String>::new(), "{forks}");
        // So it is once its author is removed: the step is done again.
        let seal = crew.remove(LEAD, 4, Proposal::Remove, &[EYES, GROUND]);
        crew.sync_among(&[LEAD, EYES, TOWER, GROUND]);
        assert_eq!(crew.verdict(LEAD, seal), Verdict::Counts);
        assert!(crew.reasons(EYES, given).contains(&back), "{forks}");
    }
}

#[test]
fn fork_a_forked_stop_still_stops_and_its_author_signs_nothing() {
    let mut crew = at_s2();
    crew.say(4, crate::log::sample::note("one"));
    let stop = crew.fork(
        4,
        Body::Stop(Stop {
            kind: StopKind::Work,
            why: "look".into(),
            item: None,
        }),
    );
    let stop = stop.entry().hash;
    crew.sync();
    assert_eq!(crew.verdict(LEAD, stop), Verdict::Counts);
    assert_eq!(crew.stops(EYES), [stop]);
    // A consent from the fork on makes no majority of it.
    let short = crew.remove(LEAD, GROUND, Proposal::Remove, &[EYES, 4]);
    assert!(matches!(crew.verdict(LEAD, short), Verdict::NotCounted(_)));
    // The same, of a device that has not forked.
    let mut crew = at_s2();
    let enough = crew.remove(LEAD, GROUND, Proposal::Remove, &[EYES, 4]);
    assert_eq!(crew.verdict(LEAD, enough), Verdict::Counts);
}

/// A spare of the ground's device, admitted for this person; it has everything.
fn spare(crew: &mut Crew, person: &str) -> usize {
    let spare = crate::log::sample::author(20);
    let body = Body::Admit(Admit {
        device: spare.device(),
        person: name(person),
        roles: vec![name("ground")],
        replaces: Some(crew.key(GROUND)),
    });
    crew.say(LEAD, body);
    crew.enter(LEAD, spare)
}

#[test]
fn replace_the_persons_acceptance_is_a_consent_and_what_they_owed_goes_over() {
    let sealed = |person: &str, accepts: bool| {
        let mut crew = at_s2();
        let stop = crew.stop(GROUND, "look");
        crew.sync();
        let spare = spare(&mut crew, person);
        crew.sync();
        let mut consents = Vec::new();
        if accepts {
            consents.push(crew.say(spare, Body::Accept));
            crew.sync();
        }
        // Three of six devices, and the acceptance.
        let seal = crew.remove_naming(LEAD, GROUND, Proposal::Remove, &[EYES, TOWER], consents);
        crew.sync_among(&[LEAD, EYES, TOWER, 4, spare]);
        (crew, stop, spare, seal)
    };
    let (crew, _, _, seal) = sealed("Person 3", false);
    assert!(matches!(crew.verdict(LEAD, seal), Verdict::NotCounted(_)));
    let (crew, _, _, seal) = sealed("Person 9", true);
    assert!(
        matches!(crew.verdict(LEAD, seal), Verdict::NotCounted(_)),
        "another person's acceptance is not this person's"
    );
    let (mut crew, stop, spare, seal) = sealed("Person 3", true);
    assert_eq!(crew.verdict(LEAD, seal), Verdict::Counts);
    assert!(!crew.devices[LEAD].job.roster().present(&crew.key(GROUND)));
    // Who stopped agrees to the resume, on the new device.
    let five = [LEAD, EYES, TOWER, 4, spare];
    let ask = crew.heard_and_asked(&[stop], &five);
    crew.agree(ask, &[EYES, TOWER, 4]);
    let owes = Owed::Agree {
        ask,
        device: crew.key(spare),
    };
    assert_eq!(crew.owed(LEAD, stop), [owes]);
    let short = crew.release(ask, Vec::new());
    assert!(matches!(
        crew.reasons(LEAD, short)[..],
        [Reason::Incomplete { .. }]
    ));
    crew.agree(ask, &[spare]);
    let whole = crew.release(ask, Vec::new());
    assert_eq!(crew.reasons(LEAD, whole), []);
    assert!(crew.stops(LEAD).is_empty());
}

#[test]
fn exclusive_a_role_that_cannot_be_held_with_another_is_not_taken() {
    let relieved = |exclusive: bool| {
        let mut plan = plan();
        if exclusive {
            plan.roles[1].not_with = vec![name("ground")];
        }
        let mut crew = Crew::new(&plan, 5);
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
        let take = crew.say(
            GROUND,
            Body::Take(OfferNamed {
                offer,
                ready_age_ms: 0,
            }),
        );
        crew.sync();
        let roster = crew.devices[LEAD].job.roster();
        let who = [EYES, GROUND].map(|device| roster.holds(&crew.key(device), &name("observer")));
        (crew.reasons(LEAD, take), who)
    };
    let (reasons, who) = relieved(true);
    assert_eq!(
        reasons,
        [Reason::Exclusive {
            role: name("observer"),
            with: name("ground")
        }]
    );
    assert_eq!(who, [true, false], "who was relieved in vain goes on");
    assert_eq!(relieved(false), (Vec::new(), [false, true]));
    // Nor is it given by an admission that names both.
    let mut plan = plan();
    plan.roles[1].not_with = vec![name("ground")];
    let mut crew = Crew::new(&plan, 4);
    let both = crew.join(LEAD, 20, &["ground", "observer"]);
    let roster = crew.devices[LEAD].job.roster();
    let held = &roster.members[&crew.key(both)].roles;
    assert_eq!(held.len(), 1);
}

#[test]
fn stranger_the_supervisors_account_stands_in_for_a_stop_from_off_the_roster() {
    let mut crew = at_s2();
    let called = |kind| {
        Body::Stop(Stop {
            kind,
            why: "a passer-by".into(),
            item: None,
        })
    };
    let stranger = crate::log::sample::author(77).device();
    let of_a_stranger = StopKind::Stranger {
        key: stranger,
        words: "smoke".into(),
        age_ms: 900,
    };
    for (kind, owes) in [(of_a_stranger, false), (StopKind::Work, true)] {
        // Logged by the ground, whose own agreement is needed for a stop of their own only.
        let stop = crew.say(GROUND, called(kind));
        crew.sync();
        assert_eq!(crew.stops(EYES), [stop]);
        let under = crew.ack(TOWER, "s2");
        assert_eq!(crew.reasons(TOWER, under), [Reason::StopActive { stop }]);
        let ask = crew.heard_and_asked(&[stop], &FIVE);
        crew.agree(ask, &[EYES, TOWER, 4]);
        let ground = Owed::Agree {
            ask,
            device: crew.key(GROUND),
        };
        let expected = if owes { vec![ground] } else { Vec::new() };
        assert_eq!(crew.owed(LEAD, stop), expected);
        let release = crew.release(ask, Vec::new());
        assert_eq!(crew.reasons(LEAD, release).is_empty(), !owes);
        crew.agree(ask, &[GROUND]);
        crew.release(ask, Vec::new());
        crew.sync();
        assert!(crew.stops(EYES).is_empty());
    }
    // Without an account in the ask nothing speaks for the stranger.
    let stop = crew.say(
        GROUND,
        called(StopKind::Stranger {
            key: stranger,
            words: "fire".into(),
            age_ms: 900,
        }),
    );
    crew.sync();
    for device in FIVE {
        crew.say(device, Body::Heard(crate::log::entry::Heard { stop }));
    }
    crew.sync();
    let ask = crew.say(
        LEAD,
        Body::Ask(crate::log::entry::Ask {
            stops: vec![stop],
            cause: " ".into(),
            open_item: None,
            closes_item: None,
        }),
    );
    crew.sync();
    crew.agree(ask, &[EYES, TOWER, 4, GROUND]);
    assert_eq!(crew.owed(LEAD, stop), [Owed::Ask { stop }]);
    let release = crew.release(ask, Vec::new());
    assert!(!crew.reasons(LEAD, release).is_empty());
}

#[test]
fn emergency_and_make_safe_are_accepted_in_every_state() {
    let emergency = Body::Stop(Stop {
        kind: StopKind::Emergency,
        why: String::new(),
        item: None,
    });
    let make_safe = Body::MakeSafe(MakeSafe {
        step: Some(name("s2")),
        text: "tied off".into(),
    });
    let accepted = |crew: &mut Crew, device: usize, state: &str| {
        let key = crew.key(device);
        for body in [&make_safe, &emergency] {
            assert_eq!(crew.devices[device].job.judge(key, body), [], "{state}");
        }
        let before = crew.complete(device);
        let safe = crew.say(device, make_safe.clone());
        assert_eq!(
            crew.verdict(device, safe),
            Verdict::Information(Vec::new()),
            "{state}"
        );
        assert_eq!(crew.complete(device), before, "{state}: it opens nothing");
        let count = crew.stops(device).len();
        let stop = crew.say(device, emergency.clone());
        assert_eq!(crew.verdict(device, stop), Verdict::Counts, "{state}");
        assert_eq!(crew.stops(device).len(), count + 1, "{state}");
        let job = &crew.devices[device].job;
        let whereabouts =
            job.facts()
                .whereabouts(job.graph(), job.graph().all(), job.roster(), job.plan());
        assert!(whereabouts.len() >= 4, "{state}: who is where");
    };
    let mut crew = at_s2();
    let late = crew.join(LEAD, 20, &["ground"]);
    accepted(&mut crew, late, "not briefed");
    accepted(&mut crew, late, "a stop in force");
    let mut crew = at_s2();
    crew.say(EYES, Body::Leave);
    crew.sync();
    accepted(&mut crew, GROUND, "no observer");
    let mut crew = at_s2();
    crew.say_unknown(GROUND);
    crew.sync();
    accepted(&mut crew, LEAD, "an unknown kind");
    let mut crew = at_s2();
    crew.say(4, crate::log::sample::note("one"));
    crew.fork(4, crate::log::sample::note("two"));
    crew.sync();
    accepted(&mut crew, 4, "its own fork");
    accepted(&mut crew, LEAD, "another's fork");
    let mut crew = at_s2();
    crew.remove(LEAD, 4, Proposal::Remove, &[EYES, TOWER]);
    crew.sync();
    accepted(&mut crew, 4, "removed");
    let mut crew = Crew::new(&plan(), 4);
    for step in ["s1", "s2", "s3"] {
        crew.ack(TOWER, step);
        crew.sync();
    }
    crew.count_heads(LEAD);
    crew.close(LEAD);
    crew.sync();
    assert!(crew.devices[GROUND].job.is_closed());
    accepted(&mut crew, GROUND, "closed");
}

#[test]
fn each_of_everybody_waits_for_everybody() {
    // A check of everybody is not complete while one has not given it.
    let mut plan = plan();
    plan.steps[0].checks[0].who = Who::Each(None);
    let mut crew = Crew::new(&plan, 4);
    for device in [LEAD, EYES, TOWER] {
        crew.ack(device, "s1");
    }
    crew.sync();
    assert_eq!(crew.complete(LEAD), [""; 0]);
    crew.ack(GROUND, "s1");
    crew.sync();
    assert_eq!(crew.complete(LEAD), ["s1"]);
    // Heard twice is heard once.
    let again = crew.say(LEAD, Body::Briefed(Briefed { version: 0 }));
    assert_eq!(crew.reasons(LEAD, again), [Reason::Duplicate]);
}
