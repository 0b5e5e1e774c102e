//! Expects: what a case says must be so at a moment, in whose eyes.
//! Owns: nothing.   Gives: `Expect`, `Must`, `Target`, `expect`.
//! May use: form, the names and events of the case.   Never: whether it is so (judge).

use super::acts::{Act, Event};
use super::case::{CONDITIONS, Names, StepAt};
use super::form::{Fields, Reading};

/// Something that must be so.
#[derive(Clone, Debug)]
pub struct Expect {
    /// The line of the file.
    pub line: usize,
    /// When, ms after the beginning.
    pub at_ms: u64,
    /// In whose eyes.
    pub view: View,
    /// What.
    pub must: Must,
    /// Which rule of the trade asks for it.
    pub rule: String,
    /// In words.
    pub says: String,
}

/// In whose eyes.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum View {
    /// Every device present, powered, linked to most of the roster, and untampered.
    All,
    /// One device.
    Device(String),
    /// All files together.
    Merged,
    /// The file replayed last, else the supervisor's.
    Replay,
}

/// What must be so.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Must {
    /// The entry of an event counts, or has its effect.
    Accept(String),
    /// It does not, for one of these reasons.
    Refuse(String, Vec<String>),
    /// Something stands so.
    State(Target, String),
    /// Something is shown.
    Show(String, String),
    /// The device sounds.
    Alarm(String),
    /// The entry of an event carries a mark.
    Record(String, String),
    /// It is not so, from then till now.
    Never(Target, String, u64),
}

/// Whose state.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Target {
    /// The job.
    Job,
    /// A step.
    Step(String),
    /// A check of a listed step.
    Check {
        /// The step.
        step: String,
        /// The check.
        check: String,
    },
    /// A standing condition.
    Condition(String),
    /// The chain of entries of a file.
    Chain,
    /// The sets of entries.
    Entries,
    /// A handoff.
    Handoff(String),
    /// The entry of an event.
    Event(String),
    /// An order of people by their stops.
    Ranking,
    /// A control that appears under a finger.
    TargetMoved,
}

const MUST: [&str; 7] = [
    "accept", "refuse", "state", "show", "alarm", "record", "never",
];
const STEP_STATES: [&str; 4] = ["locked", "open", "conflict", "done"];
const JOB_STATES: [&str; 7] = [
    "running",
    "hold",
    "stop",
    "stop_exit",
    "emergency",
    "suspended",
    "closed",
];
/// Words of `record`.
pub const RECORD: [&str; 6] = [
    "concurrent_with_stop",
    "fork",
    "information",
    "late",
    "refused",
    "replaced",
];
/// Words of `reason`.
pub const REASONS: [&str; 21] = [
    "not_unlocked",
    "wrong_role",
    "proxy",
    "not_enrolled",
    "stop_active",
    "hold_active",
    "stale",
    "out_of_limit",
    "conflict",
    "tool_not_fit",
    "identity_mismatch",
    "missing_handoff",
    "relief_incomplete",
    "not_briefed",
    "duplicate",
    "late",
    "incomplete",
    "no_contact",
    "not_accounted",
    "not_safe_state",
    "fork",
];
/// Words of `alarm`.
pub const ALARMS: [&str; 5] = ["stop", "clearance", "unknown_device", "call", "fork"];
/// Names of `show`.
pub const SHOW: [&str; 47] = [
    "attempts",
    "branches",
    "chain",
    "compare",
    "days",
    "decline",
    "device_lost",
    "duty",
    "elapsed",
    "expired",
    "exposure",
    "gap",
    "governing",
    "hands_off",
    "identity",
    "line_state",
    "looks",
    "missing",
    "missing_tool",
    "needs_second",
    "no_contact",
    "not_accounted",
    "not_heard",
    "observer",
    "open_item",
    "order",
    "out_of_service",
    "peak",
    "plan",
    "presence_due",
    "reading",
    "readings",
    "relay",
    "repeat",
    "roles",
    "safe_hold",
    "sequence",
    "skew",
    "stopper",
    "string_state",
    "supervisor",
    "timeline",
    "timer",
    "tool",
    "unsynced",
    "wait",
    "wind",
];
/// Further words of `never`.
const NEVER: [&str; 5] = [
    "visible",
    "accepted_ack",
    "under_finger",
    "ranked",
    "intact",
];

/// Reads one expectation; `None`: its form is not known, and that is noted.
pub fn expect(
    reading: &mut Reading<'_>,
    fields: &mut Fields<'_>,
    names: &Names,
    steps: &[StepAt],
    events: &[Event],
    last_ms: u64,
) -> Option<Expect> {
    let at_ms = fields.seconds(reading, "at");
    fields.name = format!("{} at {} s", fields.name, at_ms / 1000);
    let line = fields.line;
    let field = |key: &str, fields: &Fields<'_>| format!("{}.{key}", fields.name);
    if at_ms < last_ms {
        let at = field("at", fields);
        reading.fault(line, at, format!("{at_ms} ms"), "not before the one above");
    }
    let view = view(reading, fields, names);
    let rule = fields.text(reading, "rule");
    let is_rule = rule
        .strip_prefix('R')
        .and_then(|number| number.parse::<u8>().ok())
        .is_some_and(|number| (1..=21).contains(&number));
    if !is_rule {
        let at = field("rule", fields);
        reading.fault(line, at, format!("`{rule}`"), "R1 to R21");
    }
    let says = fields.text(reading, "says");
    let must = fields.word(reading, "must", &MUST);
    let must = match must.as_str() {
        "accept" => Must::Accept(event(reading, fields, events, &view, at_ms)),
        "refuse" => {
            let target = event(reading, fields, events, &view, at_ms);
            Must::Refuse(target, reasons(reading, fields))
        }
        "record" => {
            let target = event(reading, fields, events, &view, at_ms);
            Must::Record(target, fields.word(reading, "value", &RECORD))
        }
        "alarm" => Must::Alarm(fields.word(reading, "target", &ALARMS)),
        "show" => {
            let name = fields.word(reading, "target", &SHOW);
            Must::Show(name, fields.text(reading, "value"))
        }
        "state" => {
            let target = target(reading, fields, steps, events)?;
            let value = state_value(reading, fields, &target);
            Must::State(target, value)
        }
        "never" => {
            let target = target(reading, fields, steps, events)?;
            let mut allowed: Vec<&str> = match &target {
                Target::Job => JOB_STATES.to_vec(),
                Target::Step(_) => STEP_STATES.to_vec(),
                _ => Vec::new(),
            };
            allowed.extend(match &target {
                Target::Step(_) => &["accepted_ack"][..],
                Target::Job => &[],
                _ => &NEVER[..],
            });
            let value = fields.word(reading, "value", &allowed);
            let from = fields.may_seconds(reading, "from").unwrap_or(at_ms);
            if from > at_ms {
                let at = field("from", fields);
                reading.fault(line, at, format!("{from} ms"), "not after `at`");
            }
            Must::Never(target, value, from)
        }
        _ => return None,
    };
    Some(Expect {
        line,
        at_ms,
        view,
        must,
        rule,
        says,
    })
}

fn view(reading: &mut Reading<'_>, fields: &mut Fields<'_>, names: &Names) -> View {
    let mut allowed = vec!["all", "merged", "replay"];
    let devices = names.devices.iter().map(String::as_str);
    allowed.extend(devices.filter(|device| *device != "-"));
    match fields.word(reading, "view", &allowed).as_str() {
        "all" => View::All,
        "merged" => View::Merged,
        "replay" => View::Replay,
        device => View::Device(device.to_owned()),
    }
}

fn event(
    reading: &mut Reading<'_>,
    fields: &mut Fields<'_>,
    events: &[Event],
    view: &View,
    at_ms: u64,
) -> String {
    let target = fields.text(reading, "target");
    let field = format!("{}.target", fields.name);
    match events.iter().find(|event| event.id == target) {
        None => reading.fault(
            fields.line,
            field,
            format!("`{target}`"),
            "an event of the case",
        ),
        Some(event) if event.at_ms > at_ms || (*view == View::All && event.at_ms == at_ms) => {
            let found = format!("{target} at {} ms", event.at_ms);
            reading.fault(
                fields.line,
                field,
                found,
                "an event that can be there by then",
            );
        }
        Some(_) => {}
    }
    target
}

fn reasons(reading: &mut Reading<'_>, fields: &mut Fields<'_>) -> Vec<String> {
    let Some(at) = fields.need(reading, "reason") else {
        return Vec::new();
    };
    let found = if Reading::is_list(&at) {
        reading.texts(&at)
    } else {
        vec![reading.text(&at)]
    };
    for reason in &found {
        if !REASONS.contains(&reason.as_str()) {
            reading.not_one_of((at.line, &at.field), reason, &REASONS);
        }
    }
    found
}

fn target(
    reading: &mut Reading<'_>,
    fields: &mut Fields<'_>,
    steps: &[StepAt],
    events: &[Event],
) -> Option<Target> {
    let name = fields.text(reading, "target");
    let of_step = |name: &str| {
        steps.iter().find_map(|step| {
            let named = step.needs.iter().any(|need| need.check == name);
            named.then(|| step.id.clone())
        })
    };
    let handoff = |name: &str| {
        let offered =
            |event: &Event| matches!(&event.act, Act::Offer { handoff, .. } if handoff == name);
        events.iter().any(offered)
    };
    let found = match name.as_str() {
        "job" => Target::Job,
        "chain" => Target::Chain,
        "entries" => Target::Entries,
        "ranking" => Target::Ranking,
        "target_moved" => Target::TargetMoved,
        _ if steps.iter().any(|step| step.id == name) => Target::Step(name),
        _ if events.iter().any(|event| event.id == name) => Target::Event(name),
        _ if handoff(&name) => Target::Handoff(name),
        _ => match of_step(&name) {
            Some(step) => Target::Check { step, check: name },
            None if CONDITIONS.contains(&name.as_str()) => Target::Condition(name),
            None => {
                let field = format!("{}.target", fields.name);
                let expected = "job, a listed step, one of its checks, a condition, chain, entries, \
                                a handoff, an event, ranking or target_moved";
                reading.fault(fields.line, field, format!("`{name}`"), expected);
                return None;
            }
        },
    };
    Some(found)
}

fn state_value(reading: &mut Reading<'_>, fields: &mut Fields<'_>, target: &Target) -> String {
    let allowed: &[&str] = match target {
        Target::Job => &JOB_STATES,
        Target::Step(_) => &STEP_STATES,
        Target::Check { .. } => &["empty"],
        Target::Condition(_) => &["stale", "fresh"],
        Target::Chain => &["intact"],
        Target::Entries => &["equal"],
        Target::Handoff(_) => &["one_entry"],
        // The value that the entry carries.
        Target::Event(_) => return fields.text(reading, "value"),
        Target::Ranking | Target::TargetMoved => &[],
    };
    fields.word(reading, "value", allowed)
}
