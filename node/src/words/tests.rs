//! Tests of the words: is everything said, without blame or code, and short enough for the band?
//! Owns: a sample of each reason.   Gives: nothing.
//! May use: words.   Never: a wall clock.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::*;
use gantline_protocol::ids::MarkId;

fn name<T: for<'a> TryFrom<&'a str>>(text: &str) -> T {
    T::try_from(text).ok().unwrap()
}

fn samples() -> Vec<Reason> {
    let device = DeviceKey([7; 32]);
    let stop = EntryHash([1; 32]);
    let (step, check): (StepId, CheckId) = (name("P08"), name("gap"));
    let role: RoleId = name("tower");
    let condition: ConditionId = name("wind");
    let item: ItemId = name("stick-3");
    let mut all = vec![
        Reason::NotUnlocked {
            step: step.clone(),
            before: name("P07"),
        },
        Reason::NotKnown {
            step: step.clone(),
            device,
        },
        Reason::WrongRole {
            needs: vec![role.clone(), name("ground")],
        },
        Reason::Proxy { role: role.clone() },
        Reason::NotEnrolled { device },
        Reason::NotBriefed { device, version: 1 },
        Reason::PlanChanged { version: 1 },
        Reason::StopActive { stop },
        Reason::CrossedStop { stop },
        Reason::GivenBeforeStop { stop },
        Reason::TakenBack { by: stop },
        Reason::HoldActive,
        Reason::RoleVacant { role: role.clone() },
        Reason::Stale {
            condition: condition.clone(),
            age_ms: 1_030_000,
            valid_ms: 900_000,
        },
        Reason::ConditionOut {
            condition: condition.clone(),
        },
        Reason::ConditionUnknown {
            condition: condition.clone(),
        },
        Reason::ConditionTimer {
            condition: condition.clone(),
            left_ms: 600_000,
        },
        Reason::OutOfLimit {
            limit: name("mad"),
            value: "1.80".parse().unwrap(),
            least: Some("2.01".parse().unwrap()),
            most: None,
        },
        Reason::AnswerNotPassing {
            found: "not seated".to_owned(),
            expected: "seated".to_owned(),
        },
        Reason::WrongAnswerForm {
            expected: "a value in m".to_owned(),
        },
        Reason::NeedsSecondReader {
            step: step.clone(),
            check: check.clone(),
        },
        Reason::Conflict {
            step: step.clone(),
            check: check.clone(),
        },
        Reason::CannotConfirm {
            step: step.clone(),
            check: check.clone(),
            by: device,
        },
        Reason::Missing {
            step,
            check,
            needs: vec![role.clone()],
        },
        Reason::ItemNotThere { item: item.clone() },
        Reason::MarkNotSo {
            mark: name::<MarkId>("string"),
        },
        Reason::IdentityMismatch {
            planned: "114".to_owned(),
            read: "141".to_owned(),
        },
        Reason::MissingHandoff,
        Reason::ReadyStale {
            age_ms: 50_000,
            valid_ms: 30_000,
        },
        Reason::NotYours,
        Reason::ReliefIncomplete,
        Reason::Exclusive {
            role: name("observer"),
            with: role,
        },
        Reason::Duplicate,
        Reason::Late,
        Reason::Incomplete {
            missing: vec![
                Owed::Heard { stop, device },
                Owed::Ask { stop },
                Owed::Agree { ask: stop, device },
                Owed::Declined { ask: stop, device },
                Owed::Briefing { device },
                Owed::Condition { condition },
            ],
        },
        Reason::NoContact {
            device,
            age_ms: Some(6_000),
        },
        Reason::NoContact {
            device,
            age_ms: None,
        },
        Reason::NotLevel { device },
        Reason::NotQuiet { device },
        Reason::PageSilent,
        Reason::NotAccounted {
            what: "1 of 14 tools".to_owned(),
        },
        Reason::NotSafeState,
        Reason::Fork { device },
        Reason::Removed { device },
        Reason::NeedsVersion { device },
        Reason::Closed,
        Reason::Suspended,
        Reason::StillSo,
        Reason::DiskFailed,
        Reason::NothingOpen,
    ];
    for why in [
        Unfit::TestPast,
        Unfit::NotInspected,
        Unfit::UnderRated,
        Unfit::OutOfService,
        Unfit::Suspect,
        Unfit::NotListed,
    ] {
        all.push(Reason::ToolNotFit {
            item: item.clone(),
            why,
        });
    }
    all
}

#[test]
fn every_reason_is_said_without_blame_code_or_key() {
    let mut words = Words::default();
    words.person(DeviceKey([7; 32]), name("Tower 2"));
    for reason in samples() {
        let said = words.reason(&reason).to_string();
        let lower = said.to_lowercase();
        for bad in [
            "please",
            "sorry",
            "invalid",
            "failed",
            "error",
            "press and hold",
            "  ",
            "..",
            "_",
        ] {
            assert!(!lower.contains(bad), "{reason:?} says {bad:?}: {said}");
        }
        assert!(!said.contains("0707"), "a key is shown: {said}");
        assert!(
            said.ends_with(['.', '?']) || matches!(reason, Reason::Missing { .. }),
            "{said}"
        );
        let first = said.chars().next().unwrap();
        // An item's id is as painted on it.
        assert!(
            !first.is_lowercase() || said.starts_with("stick-3"),
            "{said}"
        );
    }
}

#[test]
fn the_band_sentence_of_a_reason_fits_the_band() {
    let mut words = Words::default();
    words.person(DeviceKey([7; 32]), name("Tower 2"));
    for reason in samples() {
        if matches!(reason, Reason::Incomplete { .. }) {
            continue; // a list: its length is the crew's
        }
        let so = words.reason(&reason).so;
        let length = so.chars().count();
        assert!((6..=60).contains(&length), "{length} characters: {so}");
    }
}

#[test]
fn numbers_carry_their_unit_and_limit_where_the_plan_is_known() {
    let mut words = Words::default();
    words.units.insert(name("mad"), "m".to_owned());
    let short = Reason::OutOfLimit {
        limit: name("mad"),
        value: "1.80".parse().unwrap(),
        least: Some("2.01".parse().unwrap()),
        most: None,
    };
    assert_eq!(
        words.reason(&short).so,
        "1.80 m is outside the limit, 2.01 m or more."
    );
}

#[test]
fn spans_are_seconds_then_minutes() {
    assert_eq!(span(999), "0 s");
    assert_eq!(span(59_999), "59 s");
    assert_eq!(span(130_000), "2:10 min");
}
