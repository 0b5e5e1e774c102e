//! Read-back: whether it is this device's turn to report, or to repeat what was reported.
//! Owns: nothing.   Gives: `turn`.
//! May use: the counted answers to a check, the roster.   Never: whether the check is complete (gate).

use super::steps::Answer;
use crate::gate::Job;
use crate::ids::{DeviceKey, RoleId};

/// What one device can still add to a read-back that is not complete.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Turn {
    /// Nobody else has reported, or what this device reported was repeated wrongly: it is said again.
    pub(super) reports: bool,
    /// Somebody else has reported, and this device has not repeated that.
    pub(super) repeats: bool,
}

/// The turn of a device; `given` are the counted answers.
pub(super) fn turn(
    job: &Job,
    me: DeviceKey,
    given: &[&Answer],
    report: &[RoleId],
    repeat: &[RoleId],
) -> Turn {
    let (own, of_others): (Vec<&Answer>, Vec<&Answer>) =
        given.iter().partition(|answer| answer.device == me);
    let by = |answer: &Answer, side: &[RoleId]| {
        let holds = |role: &RoleId| job.roster().holds(&answer.device, role);
        side.iter().any(holds)
    };
    // A repeat is one of a report before it, and says the same.
    let after = |first: &Answer, then: &Answer| job.graph().before(first.ix, then.ix);
    let alike = |one: &Answer, other: &Answer| {
        let (one, other) = (&one.acknowledge.said, &other.acknowledge.said);
        one.is_same(other)
    };
    // What a person reported who alone may repeat it is for somebody else to report.
    let has_repeater = |reporter: &Answer| {
        let person = job.roster().person(&reporter.device);
        job.roster().devices().any(|device| {
            job.roster().person(device) != person
                && repeat.iter().any(|role| job.roster().holds(device, role))
        })
    };
    let mut reported: Vec<&Answer> = of_others.clone();
    reported.retain(|other| by(other, report) && has_repeater(other));
    let was_misheard = |own: &Answer| {
        let mut repeats = of_others
            .iter()
            .filter(|other| by(other, repeat) && after(own, other))
            .peekable();
        repeats.peek().is_some() && !repeats.any(|other| alike(own, other))
    };
    let reports = if own.is_empty() {
        reported.is_empty()
    } else {
        own.iter().all(|own| was_misheard(own))
    };
    // Whoever reported may be out of the role by now.
    let to_repeat = if reported.is_empty() {
        &of_others
    } else {
        &reported
    };
    let has_repeated = own.iter().any(|own| {
        let repeats = |other: &&Answer| after(other, own) && alike(other, own);
        to_repeat.iter().any(repeats)
    });
    Turn {
        reports,
        repeats: !of_others.is_empty() && !has_repeated,
    }
}
