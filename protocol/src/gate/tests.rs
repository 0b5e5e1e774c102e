//! Tests of the counting rules, each flipped alone.
//! Owns: nothing.   Gives: nothing.
//! May use: testkit.   Never: anything outside tests.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::Verdict;
use super::testkit::*;
use crate::log::entry::Said;
use crate::reason::Reason;

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
