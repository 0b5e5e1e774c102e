//! Tests of the words: is everything said, without blame or code, and short enough for the band?
//! Owns: a sample of each reason.   Gives: nothing.
//! May use: words.   Never: a wall clock.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::*;
use gantline_protocol::engine::Outcome;
use gantline_protocol::ids::MarkId;
use gantline_protocol::reason::{Owed, Reason, Unfit};
use gantline_protocol::state::AskedOf;
use std::collections::BTreeSet;

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
        Reason::NotEnrolledThere { device },
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

fn words_of(language: &'static Language) -> Words {
    let mut words = Words::new(language);
    words.person(DeviceKey([7; 32]), name(language.labels.roles[2].1));
    words
}

/// What is never said to a person, by language: blame, politeness, what only programmers say.
const NEVER: [(&str, &[&str]); 2] = [
    (
        "en",
        &[
            "please",
            "sorry",
            "invalid",
            "failed",
            "error",
            "press and hold",
        ],
    ),
    (
        "es",
        &[
            "por favor",
            "lo siento",
            "perdón",
            "inválid",
            "no válid",
            "falló",
            "fallo",
            "fallid",
            "error",
            "incorrect",
        ],
    ),
];

fn never(language: &Language) -> &'static [&'static str] {
    let found = NEVER.iter().find(|(code, _)| *code == language.code);
    found.map(|(_, never)| *never).unwrap()
}

/// Every piece of words of a language by its name.
fn all_of(language: &Language) -> BTreeMap<String, String> {
    fn walk(at: &str, value: &serde_json::Value, into: &mut BTreeMap<String, String>) {
        match value {
            serde_json::Value::String(text) => {
                into.insert(at.to_owned(), text.clone());
            }
            serde_json::Value::Array(all) => {
                for (n, one) in all.iter().enumerate() {
                    walk(&format!("{at}/{n}"), one, into);
                }
            }
            serde_json::Value::Object(all) => {
                for (name, one) in all {
                    walk(&format!("{at}/{name}"), one, into);
                }
            }
            other => panic!("{at}: {other}"),
        }
    }
    let mut all = BTreeMap::new();
    let value = |json: Result<serde_json::Value, _>| json.unwrap();
    walk(
        "labels",
        &value(serde_json::to_value(language.labels)),
        &mut all,
    );
    walk(
        "sentences",
        &value(serde_json::to_value(language.sentences)),
        &mut all,
    );
    walk(
        "entries",
        &value(serde_json::to_value(language.entries)),
        &mut all,
    );
    all
}

/// The places in words, in whatever case.
fn places(words: &str) -> BTreeSet<String> {
    words
        .split('{')
        .skip(1)
        .map(|from| from.split_once('}').unwrap().0.to_lowercase())
        .collect()
}

#[test]
fn every_language_says_everything_with_the_same_places() {
    let english = all_of(&ENGLISH);
    assert!(english.len() > 350, "{} pieces", english.len());
    for language in ALL {
        let all = all_of(language);
        assert!(
            all.keys().eq(english.keys()),
            "{}: other pieces than in English",
            language.code
        );
        for (at, words) in &all {
            let (other, code) = (&english[at], language.code);
            assert_eq!(words.is_empty(), other.is_empty(), "{code} {at}");
            assert_eq!(places(words), places(other), "{code} {at}: {words}");
            let lower = words.to_lowercase();
            for bad in never(language).iter().chain(&["  ", "..", "_"]) {
                assert!(!lower.contains(bad), "{code} {at} says {bad:?}: {words}");
            }
        }
    }
}

#[test]
fn no_language_says_the_words_of_another() {
    let english = all_of(&ENGLISH);
    // Places, signs, units and short forms are alike.
    let own = |words: &str| {
        let outside = words
            .split('{')
            .map(|part| part.split_once('}').map_or(part, |(_, after)| after));
        outside
            .flat_map(str::chars)
            .filter(|c| c.is_alphabetic())
            .count()
    };
    let alike: Vec<String> = all_of(&SPANISH)
        .into_iter()
        .filter(|(at, words)| english[at] == *words && own(words) > 4)
        .map(|(at, _)| at)
        .collect();
    // The roles' ids in plans, and what is the same word in both.
    let roles = [0, 1, 2, 3].map(|at| format!("labels/roles/{at}/0"));
    let mut same = Vec::from(roles);
    same.extend(["labels/roles/3/1", "labels/title"].map(str::to_owned));
    assert_eq!(alike, same, "said as in English");
}

#[test]
fn the_calls_are_three_words_and_nothing_else_is_called_so() {
    for language in ALL {
        let l = language.labels;
        let calls = [l.proceed, l.hold, l.stop_work];
        let first: BTreeSet<char> = calls
            .iter()
            .filter_map(|word| word.chars().next())
            .collect();
        assert_eq!(first.len(), 3, "each begins with another letter: {calls:?}");
    }
    // In Spanish the words of Proceed and Hold are such that no other sentence needs them.
    for (at, words) in all_of(&SPANISH) {
        let upper = words.to_uppercase();
        let its_own = [
            "labels/proceed",
            "labels/hold",
            "labels/last_proceed",
            "labels/caution",
            "labels/plan_words/stop_reach",
            "labels/plan_words/stop_proceed",
            "sentences/alarm_hold_by_loss/0",
        ];
        let named = upper.contains("PROCEDA") || upper.contains("ESPERE");
        assert!(!named || its_own.contains(&at.as_str()), "{at}: {words}");
    }
}

#[test]
fn every_reason_is_said_without_blame_code_or_key() {
    for (language, reason) in in_each_language() {
        let said = words_of(language).reason(&reason).to_string();
        let lower = said.to_lowercase();
        for bad in never(language).iter().chain(&["  ", "..", "_", "{", "}"]) {
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

fn in_each_language() -> impl Iterator<Item = (&'static Language, Reason)> {
    ALL.into_iter()
        .flat_map(|language| samples().into_iter().map(move |reason| (language, reason)))
}

/// The band's reason in Proceed and Hold, and in a stop.
const BAND: core::ops::RangeInclusive<usize> = 6..=60;
const STOP_BAND: core::ops::RangeInclusive<usize> = 6..=90;

#[test]
fn the_band_sentence_of_a_reason_fits_the_band() {
    for (language, reason) in in_each_language() {
        if matches!(reason, Reason::Incomplete { .. }) {
            continue; // a list: its length is the crew's
        }
        let so = words_of(language).reason(&reason).so;
        let length = so.chars().count();
        assert!(BAND.contains(&length), "{length} characters: {so}");
    }
    for language in ALL {
        let l = language.labels;
        for so in [l.step_open, l.not_live, l.other_tab] {
            assert!(BAND.contains(&so.chars().count()), "{so}");
        }
        let pressed = |rest: &str| format!("{} {rest}", l.pressed);
        for so in [
            pressed(l.pressed_on_its_way),
            pressed(l.pressed_unsent),
            fill(l.stopped_by, &[("who", l.unknown_device)]),
        ] {
            assert!(STOP_BAND.contains(&so.chars().count()), "{so}");
        }
    }
}

#[test]
fn what_is_asked_and_how_it_went_is_said_in_each_language() {
    let (stop, device) = (EntryHash([1; 32]), DeviceKey([7; 32]));
    let (step, check): (StepId, CheckId) = (name("P08"), name("gap"));
    let all = |again, since| {
        [
            AskedOf::Accept,
            AskedOf::Briefing { version: 1 },
            AskedOf::Check {
                step: step.clone(),
                check: check.clone(),
                again,
                since,
            },
            AskedOf::Heard { stop },
            AskedOf::Agree { to: stop },
            AskedOf::Condition {
                condition: name("wind"),
            },
            AskedOf::StillSo,
            AskedOf::Consent {
                proposal: stop,
                device,
            },
            AskedOf::InTheClear,
        ]
    };
    for language in ALL {
        let mut words = words_of(language);
        words.stop_by(stop, "Tower 1".to_owned());
        for asked in all(false, false)
            .iter()
            .chain(&all(true, false))
            .chain(&all(false, true))
        {
            let said = words.asked(asked).to_string();
            assert!(said.ends_with('.') && !said.contains(['{', '}']), "{said}");
            assert!(said.starts_with(char::is_uppercase), "{said}");
        }
        let refused = Outcome::Refused {
            reasons: vec![Reason::HoldActive],
        };
        assert_eq!(words.outcome(&refused).len(), 2);
    }
}

#[test]
fn places_are_filled_once_and_with_a_capital_where_wanted() {
    let step = [("step", "step 7"), ("who", "{step}")];
    assert_eq!(fill("{Step}: {who} {", &step), "Step 7: {step} {");
}

#[test]
fn numbers_carry_their_unit_and_limit_where_the_plan_is_known() {
    let mut words = words_of(&ENGLISH);
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
