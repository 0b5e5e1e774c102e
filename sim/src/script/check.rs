//! Check: is every value of a script one that a run can have?
//! Owns: the ranges.   Gives: `check`, with line and field of the first value that is not.
//! May use: the script, its text.   Never: a value put right in silence.

use super::file::{BadFile, names};
use super::{Event, Script, Weather, What};

/// A week: longer than any job and far below what the arithmetic of time can take, ms.
const WEEK_MS: u64 = 7 * 24 * 3_600_000;
/// A century of a wall clock set wrong, ms.
const CENTURY_MS: u64 = 100 * 366 * 24 * 3_600_000;
/// Longest way of a datagram, ms.
const WAY_MS: u64 = 10_000;
/// A thousand times as fast as a bad crystal, and still a clock that goes on, parts in a million.
const PPM: u64 = 100_000;
/// Random messages at one moment.
const MESSAGES: u64 = 10_000;

/// One value: its field, as written, whether it is good, what it may be.
type Value = (&'static str, String, bool, String);

fn most(field: &'static str, value: u64, most: u64) -> Value {
    let good = value <= most;
    (field, value.to_string(), good, format!("at most {most}"))
}

fn either_way(field: &'static str, value: i64, most: u64) -> Value {
    let good = value.unsigned_abs() <= most;
    let expected = format!("-{most} to {most}");
    (field, value.to_string(), good, expected)
}

fn spells(field: &'static str, spells: (u64, u64, u64)) -> Value {
    let (good_ms, bad_ms, loss) = spells;
    let good = good_ms <= WEEK_MS && bad_ms <= WEEK_MS && loss <= 100;
    let expected = format!("two lengths of at most {WEEK_MS} and a loss of at most 100");
    (field, format!("{spells:?}"), good, expected)
}

fn of_weather(weather: &Weather) -> Vec<Value> {
    vec![
        most("loss", weather.loss, 99),
        most("twice", weather.twice, 100),
        most("late", weather.late, 100),
        most("delay_ms", weather.delay_ms, WAY_MS),
        spells("pairs", weather.pairs),
        spells("radios", weather.radios),
    ]
}

fn of_what(what: &What, devices: usize) -> Vec<Value> {
    let mut values: Vec<Value> = what
        .devices()
        .map(|device| {
            let expected = format!("a number below {devices}");
            ("device", device.to_string(), device < devices, expected)
        })
        .collect();
    match what {
        What::Air(weather) => values.extend(of_weather(weather)),
        What::Cut { for_ms, .. }
        | What::CutWay { for_ms, .. }
        | What::Part { for_ms, .. }
        | What::PowerCut { for_ms, .. }
        | What::FullDisk { for_ms, .. }
        | What::Suspend { for_ms, .. }
        | What::Stall { for_ms, .. }
        | What::PageFrozen { for_ms, .. }
        | What::PageCut { for_ms, .. }
        | What::PageClosed { for_ms, .. } => values.push(most("for_ms", *for_ms, WEEK_MS)),
        What::SlowDisk { by_ms, for_ms, .. } => {
            values.push(most("by_ms", *by_ms, WEEK_MS));
            values.push(most("for_ms", *for_ms, WEEK_MS));
        }
        What::Drift { ppm, .. } => values.push(either_way("ppm", *ppm, PPM)),
        What::WallStep { ms, .. } => values.push(either_way("ms", *ms, CENTURY_MS)),
        What::Bytes { count, .. } => values.push(most("count", u64::from(*count), MESSAGES)),
        What::Dead { .. }
        | What::FailingWrites { .. }
        | What::OldImage { .. }
        | What::StrangerStop { .. }
        | What::Hostile { .. }
        | What::Person { .. } => {}
    }
    values
}

fn of_run(script: &Script) -> Vec<Value> {
    let names = names();
    let (shortest, longest) = script.think_ms;
    let mut values = vec![
        (
            "plan",
            format!("\"{}\"", script.plan),
            names.contains(&script.plan.as_str()),
            format!("one of {}", names.join(", ")),
        ),
        (
            "steps",
            format!("{:?}", script.steps),
            script.steps != Some(0),
            "at least 1".to_owned(),
        ),
        (
            "devices",
            script.devices.to_string(),
            (5..=32).contains(&script.devices),
            "5 to 32".to_owned(),
        ),
        (
            "think_ms",
            format!("{:?}", script.think_ms),
            shortest > 0 && shortest <= longest && longest <= WEEK_MS,
            format!("a shortest time over 0 and a longest not below it, at most {WEEK_MS}"),
        ),
        most("first_act_ms", script.first_act_ms, WEEK_MS),
    ];
    values.extend(of_weather(&script.air));
    values
}

/// The line in which the words begin, from 1, at or after a line; that line, when none does.
fn line_of(text: &str, begins: impl Fn(&str) -> bool, from: usize) -> usize {
    let mut lines = text.lines().enumerate().skip(from - 1);
    lines
        .find(|(_, line)| begins(line.trim_start()))
        .map_or(from, |(number, _)| number + 1)
}

/// The first value that is out of its range.
///
/// # Errors
/// [`BadFile::Value`].
pub(super) fn check(script: &Script, text: &str) -> Result<(), BadFile> {
    for (field, found, good, expected) in of_run(script) {
        if !good {
            let begins = |line: &str| {
                line.strip_prefix(field)
                    .is_some_and(|rest| rest.trim_start().starts_with('='))
            };
            return Err(BadFile::Value {
                line: line_of(text, begins, 1),
                event: String::new(),
                field,
                found,
                expected,
            });
        }
    }
    let mut line = 0;
    for (number, Event { at_ms, what }) in script.events.iter().enumerate() {
        line = line_of(text, |line| line.starts_with("[[event]]"), line + 1);
        let mut values = vec![most("at_ms", *at_ms, script.first_act_ms)];
        values.extend(of_what(what, script.devices));
        if let Some((field, found, _, expected)) = values.into_iter().find(|value| !value.2) {
            return Err(BadFile::Value {
                line,
                event: format!("event {}, {}, ", number + 1, what.name()),
                field,
                found,
                expected,
            });
        }
    }
    Ok(())
}
