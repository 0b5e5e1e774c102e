//! Parse: a plan file (TOML) to a `Plan`, or all that is wrong with it, each with line and column.
//! Owns: nothing.   Gives: `parse`, `read`, `Faults`.
//! May use: plan::types, plan::check, ids, decimal, bounds.   Never: files; orders of steps (explore).
//!
//! In reading order: `lines` bytes to lines · `keys` all keys · `fault` what can be wrong · `fields` typed
//! values · `build` keys to plan.
//!
//! # The plan format, version 1
//!
//! A plan is one TOML file. Unknown keys are errors. Numbers are taken exactly as they are written
//! (`3.41` is 341 hundredths, never a float). Names of things (`id` and references to it) have 1 to 40
//! letters, digits, `_` or `-`, a letter or digit first. Texts are one line of at most 500 characters.
//! "Roles", "steps" and so on in the column *type* are lists of such names. In the column *default*,
//! `-` means that the key must be there, `none` that it may be left out.
//!
//! ## the plan
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `format` | whole number | | - | the version of this format: 1 |
//! | `title` | text | | - | what the job is |
//! | `units` | `"si"` or `"us"` | | `"si"` | units on every screen of the job |
//! | `cautions` | texts | | - | shown wherever the plan or its limits are |
//! | `briefing` | texts | | - | what the briefing must cover |
//! | `agree_by` | roles | | - | whose every present holder agrees to a resume |
//! | `line` | table | | - | the line and the place |
//! | `times` | table | | all defaults | times of the watch and the handoffs |
//! | `role` | tables | | - | roles; `supervisor` and `observer` must be among them |
//! | `limit` | tables | | none | limits of checks and conditions |
//! | `condition` | tables | | - | standing conditions; the observer's presence must be among them |
//! | `item` | tables | | none | tools, lines, grounds, poles, loads |
//! | `mark` | tables | | none | what is so on the structure |
//! | `never` | tables | | none | marks that must never hold together |
//! | `step` | tables | | - | the steps |
//!
//! ## `[line]`
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `name` | text | | - | name of the line |
//! | `voltage_kv` | number | kV | - | nominal voltage, phase to phase |
//! | `circuit` | text | | - | circuit, as painted on the structure |
//! | `phase` | text | | - | phase worked on |
//! | `structure` | text | | - | structure number |
//! | `string` | text | | - | kind of string, such as suspension |
//! | `terminals` | texts | | - | terminals at which reclosing is blocked |
//! | `order` | text | | none | order number, if already known |
//! | `data` | tables | | none | further data of span, conductor, structure, rigging |
//!
//! ## `[[line.data]]`
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `name` | text | | - | such as span_ahead; `limits::known` lists what the limits read |
//! | `value` | number | `unit` | none | its value; `value` or `word` must be there |
//! | `unit` | text | | none | with `value`: its unit; may be empty for a plain number |
//! | `word` | text | | none | a word in place of a number, such as a conductor's name |
//!
//! ## `[times]`
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `watch_limit_ms` | 2000 to 10000 | ms | 4000 | oldest proof of life with which a device says Proceed |
//! | `lost_after_ms` | 5000 to 120000 | ms | 10000 | unheard for so long, a device may be removed |
//! | `ready_valid_s` | 5 to 300 | s | 30 | how long a ready for a load is good |
//! | `press_ms` | 300 to 5000 | ms | 1000 | how long a critical confirm is kept pressed |
//!
//! ## `[[role]]`
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `id` | name | | - | its id |
//! | `title` | text | | - | its name on screens |
//! | `least` | 0 to 32 | people | 1 | fewest people |
//! | `most` | 1 to 32 | people | `least` | most people |
//! | `not_with` | roles | | none | roles that its holder cannot hold as well |
//! | `aloft` | true or false | | false | whether its holders are aloft |
//!
//! ## `[[limit]]`
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `id` | name | | - | its id |
//! | `title` | text | | - | what it limits |
//! | `unit` | text | | - | unit of its bounds and of the values |
//! | `least` | number | `unit` | none | least value that passes; `least`, `most` or `computed` must be there |
//! | `most` | number | `unit` | none | greatest value that passes |
//! | `places` | 0 to 9 | digits | - | digits after the point that are shown and judged |
//! | `source` | text | | - | standard and section, or common practice, and the inputs |
//! | `computed` | text | | none | value of the limit sheet that bounds it; a stricter `least` or `most` of the plan governs |
//!
//! ## `[[condition]]`
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `id` | name | | - | its id |
//! | `title` | text | | - | what must stay so |
//! | `owners` | roles | | - | whose holders read or affirm it |
//! | `kind` | `"presence"`, `"measured"`, `"none_seen"`, `"order"`, `"affirmed"` | | - | how it is known |
//! | `limit` | limit | | none | with `kind = "measured"` only: the limit |
//! | `valid_s` | 1 to 604800 | s | - | how long a reading or affirmation is good |
//! | `stable_s` | 0 to 604800 | s | 0 | how long it must be in bounds before a stop is released |
//! | `covers` | steps | | all | the steps that it covers |
//! | `lasts` | `"job"`, `"day"`, `"shift"` | | `"shift"` | whether a new day asks for it again |
//!
//! ## `[[item]]`
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `id` | name | | - | as painted on it |
//! | `title` | text | | - | what it is |
//! | `load` | true or false | | false | moves on the load line by offer, ready, take, done |
//! | `at` | place | | `"truck"` | where it is at first: `"truck"`, `"ground"`, `"on_the_line"`, `"aloft"`, `"structure"`, `"conductor"` |
//! | `test_months` | 1 to 600 | months | none | longest age of its electrical test |
//! | `tested` | date | | none | its last test, such as 2026-03-14 without quotes |
//! | `daily` | true or false | | false | wiped and inspected each day before use |
//! | `rated_kv` | number | kV | none | voltage it is rated for |
//! | `rated_kn` | number | kN | none | its rated working load |
//! | `counted` | true or false | | true | must be back or installed before the job closes |
//!
//! ## `[[mark]]`
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `id` | name | | - | its id |
//! | `states` | names | | - | the values that it can have |
//! | `start` | state | | - | its value when the job starts |
//!
//! ## `[[never]]`
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `why` | text | | - | the rule in words |
//! | `all` | `{ mark = "state" }` | | - | marks that must never be so together, not even during a step |
//!
//! ## `[[step]]`
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `id` | name | | - | its id |
//! | `title` | text | | - | its name |
//! | `text` | text | | - | what to do |
//! | `after` | steps | | none | steps that must be complete before |
//! | `hold_point` | true or false | | false | everyone waits here for the checks |
//! | `critical` | true or false | | false | no way back once done: held press |
//! | `if_held` | text | | - | what to keep secure when the work is held here |
//! | `safe_to_leave` | true or false | | false | the job may be suspended when this is complete and the next not begun |
//! | `needs` | `{ mark = "state" }` | | none | marks that must be so before its checks count |
//! | `sets` | `{ mark = "state" }` | | none | marks that its completion sets |
//! | `items` | `{ item = "place" }` | | none | items that must be fit and there before its checks count |
//! | `moves` | `{ load = "place" }` | | none | load moves that must be done before its checks count |
//! | `check` | tables | | - | its checks, written `[[step.check]]` |
//!
//! ## `[[step.check]]`
//!
//! Exactly one of `by`, `each`, `first` with `second`, and `report` with `repeat` says who acknowledges.
//!
//! | key | type | unit | default | meaning |
//! |---|---|---|---|---|
//! | `id` | name | | - | its id, unique within the step |
//! | `text` | text | | - | the words said on the radio |
//! | `by` | roles | | none | one acknowledgement for each, by different people |
//! | `each` | role or `"all"` | | none | every present holder of the role, or everyone |
//! | `first` | roles | | none | second look: who may give one look |
//! | `second` | roles | | none | second look: who may give the other, blind to the first |
//! | `report` | roles | | none | read-back: who reports |
//! | `repeat` | roles | | none | read-back: who repeats |
//! | `says` | `"yes"`, `"measured"`, `"one_of"`, `"identity"`, `"words"`, `"tally"`, `"heads"`, `"order_in_effect"`, `"order_released"` | | `"yes"` | what is said |
//! | `limit` | limit | | none | with `says = "measured"` only: the limit |
//! | `answers` | texts | | none | with `says = "one_of"` only: the answers |
//! | `passes` | text | | none | with `says = "one_of"` only: the answer that passes |
//! | `of` | text | | none | with `says = "tally"` only: what is counted |
//! | `lasts` | `"job"`, `"day"`, `"shift"` | | `"job"` | whether a new day asks for it again |

mod build;
mod fault;
mod fields;
mod keys;
mod lines;

pub(crate) use build::EVERYONE;
pub use fault::{Fault, FaultKind, Faults};
pub use lines::Spot;

use super::check::{Finding, Grade, check};
use super::compute::compute;
use super::types::Plan;
use fields::Reader;
use toml::de::{DeTable, DeValue};

/// Largest plan file: four times what fits an entry, for comments and spaces.
pub const FILE_MAX_BYTES: usize = 4 * crate::bounds::PLAN_MAX_BYTES;

/// A plan that was read, and what about it is odd but possible.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Parsed {
    /// The plan; it has passed every check that is an error.
    pub plan: Plan,
    /// Warnings, in the order of the file.
    pub warnings: Vec<Fault>,
}

/// Reads a plan file. `file` is its name, for the errors.
///
/// # Errors
/// [`Faults`]: everything that is wrong with its form, or, if its form is good, everything about it that
/// does not hang together.
pub fn parse(file: &str, text: &str) -> Result<Plan, Faults> {
    read(file, text).map(|parsed| parsed.plan)
}

/// Reads a plan file, with warnings.
///
/// # Errors
/// As [`parse`].
pub fn read(file: &str, text: &str) -> Result<Parsed, Faults> {
    let mut reader = Reader::new(text);
    let plan = read_form(&mut reader, text);
    let faults = |mut list: Vec<Fault>| {
        list.sort_by_key(|fault| fault.spot);
        Faults {
            file: file.to_owned(),
            list,
        }
    };
    let Some(mut plan) = plan.filter(|_| reader.faults.is_empty()) else {
        return Err(faults(reader.faults));
    };
    let computing = compute(&mut plan);
    let (errors, warnings): (Vec<Finding>, Vec<Finding>) = computing
        .into_iter()
        .chain(check(&plan))
        .partition(|finding| finding.problem.grade() == Grade::Error);
    let located = |findings: Vec<Finding>| -> Vec<Fault> {
        findings.into_iter().map(|f| locate(&reader, f)).collect()
    };
    if errors.is_empty() {
        let warnings = faults(located(warnings)).list;
        Ok(Parsed { plan, warnings })
    } else {
        Err(faults(located(errors)))
    }
}

fn read_form(reader: &mut Reader<'_>, text: &str) -> Option<Plan> {
    if text.len() > FILE_MAX_BYTES {
        let (found, most) = (text.len(), FILE_MAX_BYTES);
        return reader.fault(0, FaultKind::TooLarge { found, most });
    }
    let (table, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        let offset = error.span().map_or(text.len(), |span| span.start);
        let kind = FaultKind::Toml {
            found: reader.lines.excerpt(offset),
            expected: error.message().to_owned(),
        };
        reader.fault::<()>(offset, kind);
    }
    if !errors.is_empty() {
        return None;
    }
    format_is_ours(reader, table.get_ref())?;
    build::plan(reader, table.get_ref())
}

/// The version first: the rest of another format would only give errors that mislead.
fn format_is_ours(reader: &mut Reader<'_>, table: &DeTable<'_>) -> Option<()> {
    let (offset, found) = match table.get("format") {
        None => (0, "no `format`".to_owned()),
        Some(value) => {
            let at = value.span().start;
            match value.get_ref() {
                DeValue::Integer(number) if number.to_string() == build::FORMAT.to_string() => {
                    return Some(());
                }
                DeValue::Integer(number) => (at, format!("`format = {number}`")),
                other => (at, format!("a {} for `format`", other.type_str())),
            }
        }
    };
    let expected = build::FORMAT;
    reader.fault(offset, FaultKind::Format { found, expected })
}

/// A finding with its place in the file: that of the innermost part of its path that the file has.
fn locate(reader: &Reader<'_>, finding: Finding) -> Fault {
    let offset = |path: &str| {
        let mut path = path;
        loop {
            if let Some(offset) = reader.places.get(path) {
                return *offset;
            }
            match path.rfind(['.', '[']) {
                Some(end) => path = &path[..end],
                None => return 0,
            }
        }
    };
    Fault {
        spot: reader.lines.spot(offset(&finding.at)),
        also: finding.first.map(|first| reader.lines.spot(offset(&first))),
        kind: FaultKind::Unsound(finding.problem),
    }
}

/// The word of a list that was most likely meant.
pub(super) fn nearest_of(found: &str, known: &[String]) -> Option<String> {
    keys::nearest(found, known.iter().map(String::as_str)).map(str::to_owned)
}

#[cfg(test)]
mod tests;
