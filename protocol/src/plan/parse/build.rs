//! Build: which keys make which part of a plan.
//! Owns: nothing.   Gives: `plan`.
//! May use: plan::types, fields, bounds.   Never: whether the parts fit together (plan::check).
//!
//! Each function reads every key before it gives up on any, so that one reading finds all faults.

use super::fault::FaultKind;
use super::fields::{At, Fields, Reader};
use super::keys;
use crate::bounds;
use crate::ids::{BadId, CheckId, MarkId};
use crate::plan::types::{
    Check, Condition, ConditionKind, Datum, Expects, Item, ItemAt, Lasts, Limit, Line, LoadMove,
    Mark, MarkIs, Never, Place, Plan, Role, Step, Times, Units, Who, Word,
};
use toml::de::DeTable;

/// The only format that this version reads.
pub(super) const FORMAT: u32 = 1;
/// Longest validity of a condition: a week.
const VALID_MAX_S: u64 = 7 * 24 * 3600;

const UNITS: [(&str, Units); 2] = [("si", Units::Si), ("us", Units::Us)];
const LASTS: [(&str, Lasts); 3] = [
    ("job", Lasts::Job),
    ("day", Lasts::Day),
    ("shift", Lasts::Shift),
];
const PLACES: [(&str, Place); 6] = [
    ("truck", Place::Truck),
    ("ground", Place::Ground),
    ("on_the_line", Place::OnTheLine),
    ("aloft", Place::Aloft),
    ("structure", Place::Structure),
    ("conductor", Place::Conductor),
];

pub(super) fn plan(r: &mut Reader<'_>, table: &DeTable<'_>) -> Option<Plan> {
    let f = r.open(&keys::PLAN, String::new(), 0, table);
    let title = r.need(&f, "title", Reader::text);
    let units = r.or(&f, "units", Units::Si, |r, at| r.word(at, &UNITS));
    let cautions = r.need(&f, "cautions", |r, at| r.list(at, Reader::text));
    let briefing = r.need(&f, "briefing", |r, at| r.list(at, Reader::text));
    let roles = r.need(&f, "role", |r, at| r.tables(at, &keys::ROLE, role));
    let agree_by = r.need(&f, "agree_by", names);
    let line = r.need(&f, "line", |r, at| r.table(at, &keys::LINE, line));
    let times = r.or(&f, "times", default_times(), |r, at| {
        r.table(at, &keys::TIMES, times)
    });
    let limits = r.or(&f, "limit", vec![], |r, at| {
        r.tables(at, &keys::LIMIT, limit)
    });
    let conditions = r.need(&f, "condition", |r, at| {
        r.tables(at, &keys::CONDITION, condition)
    });
    let items = r.or(&f, "item", vec![], |r, at| r.tables(at, &keys::ITEM, item));
    let marks = r.or(&f, "mark", vec![], |r, at| r.tables(at, &keys::MARK, mark));
    let never = r.or(&f, "never", vec![], |r, at| {
        r.tables(at, &keys::NEVER, never)
    });
    let steps = r.need(&f, "step", |r, at| r.tables(at, &keys::STEP, step));
    Some(Plan {
        title: title?,
        line: line?,
        units: units?,
        cautions: cautions?,
        briefing: briefing?,
        roles: roles?,
        agree_by: agree_by?,
        limits: limits?,
        conditions: conditions?,
        items: items?,
        marks: marks?,
        steps: steps?,
        never: never?,
        times: times?,
    })
}

fn names<T: TryFrom<String, Error = BadId>>(r: &mut Reader<'_>, at: At<'_, '_>) -> Option<Vec<T>> {
    r.list(at, Reader::name)
}

fn line(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Line> {
    let name = r.need(f, "name", Reader::text);
    let voltage_kv = r.need(f, "voltage_kv", Reader::decimal);
    let circuit = r.need(f, "circuit", Reader::text);
    let phase = r.need(f, "phase", Reader::text);
    let structure = r.need(f, "structure", Reader::text);
    let string = r.need(f, "string", Reader::text);
    let terminals = r.need(f, "terminals", |r, at| r.list(at, Reader::text));
    let order = r.may(f, "order", Reader::text);
    let data = r.or(f, "data", vec![], |r, at| r.tables(at, &keys::DATUM, datum));
    Some(Line {
        name: name?,
        voltage_kv: voltage_kv?,
        circuit: circuit?,
        phase: phase?,
        structure: structure?,
        string: string?,
        terminals: terminals?,
        order: order?,
        data: data.iter().flatten().filter_map(Input::number).collect(),
        words: data?.into_iter().filter_map(Input::word).collect(),
    })
}

/// One input to the limits: a number or a word.
enum Input {
    Number(Datum),
    Word(Word),
}

impl Input {
    fn number(&self) -> Option<Datum> {
        match self {
            Self::Number(datum) => Some(datum.clone()),
            Self::Word(_) => None,
        }
    }

    fn word(self) -> Option<Word> {
        match self {
            Self::Number(_) => None,
            Self::Word(word) => Some(word),
        }
    }
}

fn datum(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Input> {
    let name = r.need(f, "name", Reader::text);
    if let Some(word) = r.may(f, "word", Reader::text)? {
        not_here(r, f, &["value", "unit"], "numbers, and not with `word`")?;
        return Some(Input::Word(Word { name: name?, word }));
    }
    let value = r.need(f, "value", Reader::decimal);
    let unit = r.need(f, "unit", Reader::text);
    Some(Input::Number(Datum {
        name: name?,
        value: value?,
        unit: unit?,
    }))
}

fn default_times() -> Times {
    Times {
        watch_limit_ms: bounds::WATCH_LIMIT_MS,
        lost_after_ms: bounds::LOST_AFTER_MS,
        ready_valid_s: bounds::READY_VALID_S,
        press_ms: bounds::PRESS_MS,
    }
}

fn times(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Times> {
    let d = default_times();
    let watch = r.or(f, "watch_limit_ms", d.watch_limit_ms, |r, at| {
        r.whole(at, bounds::WATCH_LIMIT_RANGE_MS)
    });
    let lost = r.or(f, "lost_after_ms", d.lost_after_ms, |r, at| {
        r.whole(at, bounds::LOST_AFTER_RANGE_MS)
    });
    let ready = r.or(f, "ready_valid_s", d.ready_valid_s, |r, at| {
        r.whole(at, bounds::READY_VALID_RANGE_S)
    });
    let press = r.or(f, "press_ms", d.press_ms, |r, at| {
        r.whole(at, bounds::PRESS_RANGE_MS)
    });
    Some(Times {
        watch_limit_ms: watch?,
        lost_after_ms: lost?,
        ready_valid_s: ready?,
        press_ms: press?,
    })
}

fn role(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Role> {
    let id = r.need(f, "id", Reader::name);
    let title = r.need(f, "title", Reader::text);
    let least = r.or(f, "least", 1_u8, |r, at| r.whole(at, 0..=32));
    let most = r.or(f, "most", least.unwrap_or(1).max(1), |r, at| {
        r.whole(at, 1..=32)
    });
    let not_with = r.or(f, "not_with", vec![], names);
    let aloft = r.or(f, "aloft", false, Reader::yes_or_no);
    Some(Role {
        id: id?,
        title: title?,
        least: least?,
        most: most?,
        not_with: not_with?,
        aloft: aloft?,
    })
}

fn limit(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Limit> {
    let id = r.need(f, "id", Reader::name);
    let title = r.need(f, "title", Reader::text);
    let unit = r.need(f, "unit", Reader::text);
    let least = r.may(f, "least", Reader::decimal);
    let most = r.may(f, "most", Reader::decimal);
    let places = r.need(f, "places", |r, at| r.whole(at, 0..=9));
    let source = r.need(f, "source", Reader::text);
    let computed = r.may(f, "computed", Reader::text);
    Some(Limit {
        id: id?,
        title: title?,
        unit: unit?,
        least: least?,
        most: most?,
        places: places?,
        source: source?,
        computed: computed?,
    })
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum KindWord {
    Presence,
    Measured,
    NoneSeen,
    Order,
    Affirmed,
}

const KINDS: [(&str, KindWord); 5] = [
    ("presence", KindWord::Presence),
    ("measured", KindWord::Measured),
    ("none_seen", KindWord::NoneSeen),
    ("order", KindWord::Order),
    ("affirmed", KindWord::Affirmed),
];

fn condition(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Condition> {
    let id = r.need(f, "id", Reader::name);
    let title = r.need(f, "title", Reader::text);
    let owners = r.need(f, "owners", names);
    let word = r.need(f, "kind", |r, at| r.word(at, &KINDS));
    let kind = word.and_then(|word| match word {
        KindWord::Measured => {
            let limit = needed_here(r, f, "limit", "`kind = \"measured\"`", Reader::name);
            Some(ConditionKind::Measured { limit: limit? })
        }
        _ => {
            not_here(r, f, &["limit"], "`kind = \"measured\"`")?;
            Some(match word {
                KindWord::Presence => ConditionKind::Presence,
                KindWord::NoneSeen => ConditionKind::NoneSeen,
                KindWord::Order => ConditionKind::Order,
                KindWord::Affirmed | KindWord::Measured => ConditionKind::Affirmed,
            })
        }
    });
    let valid_s = r.need(f, "valid_s", |r, at| r.whole(at, 1..=VALID_MAX_S));
    let stable_s = r.or(f, "stable_s", 0, |r, at| r.whole(at, 0..=VALID_MAX_S));
    let covers = r.or(f, "covers", vec![], names);
    let lasts = r.or(f, "lasts", Lasts::Shift, |r, at| r.word(at, &LASTS));
    Some(Condition {
        id: id?,
        title: title?,
        owners: owners?,
        kind: kind?,
        valid_s: valid_s?,
        stable_s: stable_s?,
        covers: covers?,
        lasts: lasts?,
    })
}

fn item(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Item> {
    let id = r.need(f, "id", Reader::name);
    let title = r.need(f, "title", Reader::text);
    let load = r.or(f, "load", false, Reader::yes_or_no);
    let at = r.or(f, "at", Place::Truck, |r, at| r.word(at, &PLACES));
    let test_months = r.may(f, "test_months", |r, at| r.whole(at, 1..=600));
    let tested = r.may(f, "tested", Reader::date);
    let daily = r.or(f, "daily", false, Reader::yes_or_no);
    let rated_kv = r.may(f, "rated_kv", Reader::decimal);
    let rated_kn = r.may(f, "rated_kn", Reader::decimal);
    let counted = r.or(f, "counted", true, Reader::yes_or_no);
    Some(Item {
        id: id?,
        title: title?,
        load: load?,
        at: at?,
        test_months: test_months?,
        tested: tested?,
        daily: daily?,
        rated_kv: rated_kv?,
        rated_kn: rated_kn?,
        counted: counted?,
    })
}

fn mark(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Mark> {
    let id = r.need(f, "id", Reader::name);
    let states = r.need(f, "states", names);
    let start = r.need(f, "start", Reader::name);
    Some(Mark {
        id: id?,
        states: states?,
        start: start?,
    })
}

fn marks_are(r: &mut Reader<'_>, at: At<'_, '_>) -> Option<Vec<MarkIs>> {
    r.pairs(at, |r, mark: MarkId, at| {
        let state = r.name(at)?;
        Some(MarkIs { mark, state })
    })
}

fn never(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Never> {
    let why = r.need(f, "why", Reader::text);
    let all = r.need(f, "all", marks_are);
    Some(Never {
        why: why?,
        all: all?,
    })
}

fn step(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Step> {
    let id = r.need(f, "id", Reader::name);
    let title = r.need(f, "title", Reader::text);
    let text = r.need(f, "text", Reader::text);
    let after = r.or(f, "after", vec![], names);
    let hold_point = r.or(f, "hold_point", false, Reader::yes_or_no);
    let critical = r.or(f, "critical", false, Reader::yes_or_no);
    let if_held = r.need(f, "if_held", Reader::text);
    let safe_to_leave = r.or(f, "safe_to_leave", false, Reader::yes_or_no);
    let needs = r.or(f, "needs", vec![], marks_are);
    let sets = r.or(f, "sets", vec![], marks_are);
    let items = r.or(f, "items", vec![], |r, at| {
        r.pairs(at, |r, item, at| {
            let at = r.word(at, &PLACES)?;
            Some(ItemAt { item, at })
        })
    });
    let moves = r.or(f, "moves", vec![], |r, at| {
        r.pairs(at, |r, item, at| {
            let to = r.word(at, &PLACES)?;
            Some(LoadMove { item, to })
        })
    });
    let checks = r.need(f, "check", |r, at| r.tables(at, &keys::CHECK, check));
    Some(Step {
        id: id?,
        title: title?,
        text: text?,
        after: after?,
        hold_point: hold_point?,
        critical: critical?,
        if_held: if_held?,
        safe_to_leave: safe_to_leave?,
        needs: needs?,
        sets: sets?,
        items: items?,
        moves: moves?,
        checks: checks?,
    })
}

fn check(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Check> {
    let id: Option<CheckId> = r.need(f, "id", Reader::name);
    let text = r.need(f, "text", Reader::text);
    let who = who(r, f);
    let expects = expects(r, f);
    let lasts = r.or(f, "lasts", Lasts::Job, |r, at| r.word(at, &LASTS));
    Some(Check {
        id: id?,
        text: text?,
        who: who?,
        expects: expects?,
        lasts: lasts?,
    })
}

/// Exactly one of four forms.
fn who(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Who> {
    let by = r.may(f, "by", names)?;
    let each: Option<crate::ids::RoleId> = r.may(f, "each", Reader::name)?;
    let first = r.may(f, "first", names)?;
    let second = r.may(f, "second", names)?;
    let report = r.may(f, "report", names)?;
    let repeat = r.may(f, "repeat", names)?;
    let mut found = Vec::new();
    for (there, key) in [
        (by.is_some(), "by"),
        (each.is_some(), "each"),
        (first.is_some(), "first"),
        (second.is_some(), "second"),
        (report.is_some(), "report"),
        (repeat.is_some(), "repeat"),
    ] {
        if there {
            found.push(format!("`{key}`"));
        }
    }
    let found = if found.is_empty() {
        "none".to_owned()
    } else {
        found.join(", ")
    };
    match (by, each, first, second, report, repeat) {
        (Some(places), None, None, None, None, None) => Some(Who::Roles(places)),
        (None, Some(role), None, None, None, None) => {
            // `all` is no role: a plan that names a role so could not say which of the two it means.
            let everyone = role.as_str() == EVERYONE;
            Some(Who::Each((!everyone).then_some(role)))
        }
        (None, None, Some(first), Some(second), None, None) => {
            Some(Who::SecondLook { first, second })
        }
        (None, None, None, None, Some(report), Some(repeat)) => {
            Some(Who::ReadBack { report, repeat })
        }
        _ => r.fault(f.offset(), FaultKind::Who { found }),
    }
}

/// The word for every present device in `each`; therefore no role may be called so.
pub(crate) const EVERYONE: &str = "all";

#[derive(Clone, Copy, PartialEq, Eq)]
enum SaysWord {
    Yes,
    Measured,
    OneOf,
    Identity,
    Words,
    Tally,
    Heads,
    OrderInEffect,
    OrderReleased,
}

const SAYS: [(&str, SaysWord); 9] = [
    ("yes", SaysWord::Yes),
    ("measured", SaysWord::Measured),
    ("one_of", SaysWord::OneOf),
    ("identity", SaysWord::Identity),
    ("words", SaysWord::Words),
    ("tally", SaysWord::Tally),
    ("heads", SaysWord::Heads),
    ("order_in_effect", SaysWord::OrderInEffect),
    ("order_released", SaysWord::OrderReleased),
];

fn expects(r: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Expects> {
    let says = r.or(f, "says", SaysWord::Yes, |r, at| r.word(at, &SAYS))?;
    let alone = [
        (SaysWord::Measured, &["limit"][..], "`says = \"measured\"`"),
        (
            SaysWord::OneOf,
            &["answers", "passes"][..],
            "`says = \"one_of\"`",
        ),
        (SaysWord::Tally, &["of"][..], "`says = \"tally\"`"),
    ];
    let mut good = Some(());
    for (word, keys, goes_with) in alone {
        if word != says {
            good = good.and(not_here(r, f, keys, goes_with));
        }
    }
    let expects = match says {
        SaysWord::Yes => Expects::Yes,
        SaysWord::Measured => Expects::Measured {
            limit: needed_here(r, f, "limit", "`says = \"measured\"`", Reader::name)?,
        },
        SaysWord::OneOf => {
            let answers = needed_here(r, f, "answers", "`says = \"one_of\"`", |r, at| {
                r.list(at, Reader::text)
            });
            let passes = needed_here(r, f, "passes", "`says = \"one_of\"`", Reader::text);
            Expects::OneOf {
                answers: answers?,
                passes: passes?,
            }
        }
        SaysWord::Identity => Expects::Identity,
        SaysWord::Words => Expects::Words,
        SaysWord::Tally => Expects::Tally {
            of: needed_here(r, f, "of", "`says = \"tally\"`", Reader::text)?,
        },
        SaysWord::Heads => Expects::Heads,
        SaysWord::OrderInEffect => Expects::OrderIs { in_effect: true },
        SaysWord::OrderReleased => Expects::OrderIs { in_effect: false },
    };
    good.map(|()| expects)
}

/// A key that another value of the same table asks for.
fn needed_here<'t, 'a, 'i, T>(
    r: &mut Reader<'t>,
    f: &Fields<'a, 'i>,
    key: &'static str,
    with: &'static str,
    read: impl FnOnce(&mut Reader<'t>, At<'a, 'i>) -> Option<T>,
) -> Option<T> {
    match r.get(f, key) {
        Some(at) => read(r, at),
        None => r.fault(f.offset(), FaultKind::NeededHere { key, with }),
    }
}

/// Keys that do not go with another value of the same table.
fn not_here(
    r: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    keys: &[&'static str],
    goes_with: &'static str,
) -> Option<()> {
    let mut good = Some(());
    for key in keys {
        if let Some(at) = r.get(f, key) {
            good = r.fault(at.offset, FaultKind::NotHere { key, goes_with });
        }
    }
    good
}
