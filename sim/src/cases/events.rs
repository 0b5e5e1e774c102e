//! Events: reads one event of a case: what each kind must and may say.
//! Owns: nothing.   Gives: `event`.
//! May use: form, the names that the case has told so far.   Never: what a device makes of it (play).

use super::acts::{Act, Bound, CLEAR_SELF, Event, Order};
use super::case::{CONDITIONS, Names, is_step};
use super::form::{Fields, Reading};
use gantline_protocol::decimal::Decimal;

/// Kinds that stop the work, which `stop` can name.
const STOPPING: [&str; 4] = ["stop", "order_status", "emergency", "suspend"];
const DIRECTIONS: [&str; 2] = ["up", "down"];
/// Every kind, as written.
pub const KINDS: [&str; 51] = [
    "confirm",
    "decline",
    "measure",
    "condition",
    "affirm",
    "away",
    "stop",
    "heard",
    "resume_ask",
    "resume_agree",
    "resume_decline",
    "offer",
    "ready",
    "not_ready",
    "take",
    "done",
    "relief_offer",
    "relief_accept",
    "leave",
    "brief",
    "brief_ack",
    "enrol",
    "tool_scan",
    "tool_wipe",
    "tool_out",
    "tool_in",
    "tool_out_of_service",
    "order_status",
    "identity",
    "note",
    "note_late",
    "correct",
    "suspend",
    "resume_job",
    "close",
    "scope_add",
    "close_item",
    "make_safe",
    "exit_plan",
    "exit_agree",
    "emergency",
    "headcount",
    "press",
    "link",
    "power",
    "clock",
    "restore",
    "tamper",
    "replay",
    "speak",
    "physical",
];
/// Checks of the step `suspend`.
pub const SUSPEND_CHECKS: [&str; 3] = ["poles_down", "safe_state", "safe_state_seen"];

struct Said<'r, 'f, 't, 'a, 'n> {
    reading: &'r mut Reading<'t>,
    fields: &'f mut Fields<'a>,
    names: &'n Names,
    before: &'n [Event],
}

impl Said<'_, '_, '_, '_, '_> {
    fn text(&mut self, key: &str) -> String {
        self.fields.text(self.reading, key)
    }

    fn may(&mut self, key: &str) -> Option<String> {
        self.fields.may_text(self.reading, key)
    }

    fn word(&mut self, key: &str, allowed: &[&str]) -> String {
        self.fields.word(self.reading, key, allowed)
    }

    fn flag(&mut self, key: &str, must: bool) -> bool {
        let at = if must {
            self.fields.need(self.reading, key)
        } else {
            self.fields.may(self.reading, key)
        };
        at.is_some_and(|at| self.reading.flag(&at))
    }

    fn whole(&mut self, key: &str) -> u32 {
        self.fields
            .need(self.reading, key)
            .map_or(0, |at| self.reading.whole(&at))
    }

    fn number(&mut self, key: &str) -> Decimal {
        match self.fields.need(self.reading, key) {
            Some(at) => self.reading.number(&at),
            None => Decimal::ZERO,
        }
    }

    fn texts(&mut self, key: &str, must: bool) -> Vec<String> {
        let at = if must {
            self.fields.need(self.reading, key)
        } else {
            self.fields.may(self.reading, key)
        };
        at.map_or_else(Vec::new, |at| self.reading.texts(&at))
    }

    fn fault(&mut self, key: &str, found: impl Into<String>, expected: impl Into<String>) {
        let field = format!("{}.{key}", self.fields.name);
        self.reading.fault(self.fields.line, field, found, expected);
    }

    fn known(&mut self, key: &str, found: &str, people: bool) {
        let names = if people {
            &self.names.people
        } else {
            &self.names.devices
        };
        if !names.contains(found) {
            let expected: Vec<&str> = names.iter().map(String::as_str).collect();
            let expected = format!("one of {}", expected.join(", "));
            self.fault(key, format!("`{found}`"), expected);
        }
    }

    fn person(&mut self, key: &str) -> String {
        let found = self.text(key);
        self.known(key, &found, true);
        found
    }

    fn may_person(&mut self, key: &str) -> Option<String> {
        let found = self.may(key)?;
        self.known(key, &found, true);
        Some(found)
    }

    fn people(&mut self, key: &str, must: bool) -> Vec<String> {
        let people = self.texts(key, must);
        for person in &people {
            self.known(key, person, true);
        }
        people
    }

    fn devices(&mut self, key: &str) -> Vec<String> {
        let devices = self.texts(key, true);
        for device in &devices {
            self.known(key, device, false);
        }
        devices
    }

    fn may_device(&mut self, key: &str) -> Option<String> {
        let found = self.may(key)?;
        self.known(key, &found, false);
        Some(found)
    }

    /// An earlier event of some kinds.
    fn earlier(&mut self, key: &str, fits: impl Fn(&Event) -> bool, expected: &str) -> String {
        let found = self.text(key);
        if !self
            .before
            .iter()
            .any(|event| event.id == found && fits(event))
        {
            self.fault(key, format!("`{found}`"), expected);
        }
        found
    }

    fn stop(&mut self) -> String {
        let fits =
            |event: &Event| STOPPING.contains(&event.act.kind()) || event.act == Act::PressStop;
        self.earlier(
            "stop",
            fits,
            "an earlier stop, order_status, emergency or suspend",
        )
    }

    fn handoff(&mut self) -> String {
        let found = self.text("handoff");
        let offered = self
            .before
            .iter()
            .any(|event| matches!(&event.act, Act::Offer { handoff, .. } if *handoff == found));
        if !offered {
            self.fault("handoff", format!("`{found}`"), "a handoff offered before");
        }
        found
    }

    fn condition(&mut self) -> String {
        self.word("condition", &CONDITIONS)
    }

    /// A step that a check or none of it is named of.
    fn step_of(&mut self, step: &str, check: Option<&str>) {
        if step == "suspend" {
            let check = check.unwrap_or_default();
            if !SUSPEND_CHECKS.contains(&check) {
                let expected = format!("one of {}", SUSPEND_CHECKS.join(", "));
                self.fault("check", format!("`{check}`"), expected);
            }
            return;
        }
        match self.names.steps.get(step) {
            Some(checks) => {
                if let Some(check) = check
                    && check != CLEAR_SELF
                    && !checks.contains(check)
                {
                    let checks: Vec<&str> = checks.iter().map(String::as_str).collect();
                    let expected = format!("one of {}", checks.join(", "));
                    self.fault("check", format!("`{check}`"), expected);
                }
            }
            None if is_step(step) => {}
            None => self.fault("step", format!("`{step}`"), "P01 to P23, or suspend"),
        }
    }

    fn step_and_check(&mut self) -> (String, String) {
        let step = self.text("step");
        let check = self.text("check");
        self.step_of(&step, Some(&check));
        (step, check)
    }

    fn may_step_and_check(&mut self) -> (Option<String>, Option<String>) {
        let step = self.may("step");
        let check = self.may("check");
        if let Some(step) = &step {
            self.step_of(step, check.as_deref());
        }
        (step, check)
    }

    fn bound(&mut self) -> Option<Bound> {
        let at = self.fields.may(self.reading, "limit")?;
        if !Reading::is_list(&at) {
            return Some(Bound::Least(self.reading.number(&at)));
        }
        let members = self.reading.list(&at);
        if let [least, most] = &members[..] {
            let (least, most) = (self.reading.number(least), self.reading.number(most));
            return Some(Bound::Range(least, most));
        }
        let found = format!("{} numbers", members.len());
        self.fault("limit", found, "a number, or [least, most]");
        None
    }
}

/// Reads one event; `None`: its kind is not known, and that is noted.
pub fn event(
    reading: &mut Reading<'_>,
    fields: &mut Fields<'_>,
    names: &Names,
    before: &[Event],
) -> Option<Event> {
    let id = fields.text(reading, "id");
    let (line, at_ms) = (fields.line, fields.seconds(reading, "t"));
    fields.name = format!("event {id}");
    let mut said = Said {
        reading,
        fields,
        names,
        before,
    };
    if !is_event_id(&id) {
        said.fault("id", format!("`{id}`"), "an id of the form e1, e1a, e1ab");
    }
    if before.iter().any(|event| event.id == id) {
        said.fault("id", format!("`{id}` again"), "each id once");
    }
    let who = said.person("who");
    let device = said.text("device");
    said.known("device", &device, false);
    let what = said.word("what", &KINDS);
    if !KINDS.contains(&what.as_str()) {
        // What it may further say is not known either.
        return None;
    }
    let act = act(&mut said, &what, at_ms);
    Some(Event {
        id,
        line,
        at_ms,
        who,
        device,
        act,
    })
}

fn is_event_id(id: &str) -> bool {
    let Some(rest) = id.strip_prefix('e') else {
        return false;
    };
    let digits = rest.chars().take_while(char::is_ascii_digit).count();
    let tail = &rest[digits..];
    digits > 0
        && tail.len() <= 2
        && tail
            .chars()
            .enumerate()
            .all(|(at, c)| c.is_ascii_lowercase() || (at == 1 && c.is_ascii_digit()))
}

#[allow(clippy::too_many_lines, reason = "one arm for each kind of the form")]
fn act(said: &mut Said<'_, '_, '_, '_, '_>, what: &str, at_ms: u64) -> Act {
    match what {
        "confirm" => confirm(said),
        "decline" => {
            let (step, check) = said.step_and_check();
            let reason = said.text("reason");
            Act::Decline {
                step,
                check,
                reason,
            }
        }
        "measure" => {
            let (step, check) = said.step_and_check();
            Act::Measure {
                step,
                check,
                value: said.number("value"),
                unit: said.text("unit"),
                limit: said.bound(),
                reason: said.may("reason"),
            }
        }
        "condition" => condition(said),
        "affirm" => Act::Affirm {
            condition: said.condition(),
        },
        "away" => {
            said.may("reason");
            Act::Away {
                condition: said.condition(),
            }
        }
        "stop" => {
            stamp(said);
            said.flag("offline", false);
            Act::Stop {
                reason: said.text("reason"),
                tool: said.may("tool"),
            }
        }
        "heard" => Act::Heard { stop: said.stop() },
        "resume_ask" => Act::ResumeAsk {
            stop: said.stop(),
            cause: said.text("cause"),
            open_item: said.may("open_item"),
            closes_item: said.may("closes_item"),
        },
        "resume_agree" => Act::ResumeAgree { stop: said.stop() },
        "resume_decline" => Act::ResumeDecline {
            stop: said.stop(),
            reason: said.text("reason"),
        },
        "offer" => offer(said),
        "ready" => {
            stamp(said);
            said.may("drop_zone");
            Act::Ready {
                handoff: said.handoff(),
            }
        }
        "not_ready" => Act::NotReady {
            handoff: said.handoff(),
            reason: said.text("reason"),
        },
        "take" => {
            stamp(said);
            Act::Take {
                handoff: said.handoff(),
            }
        }
        "done" => Act::Done {
            handoff: said.handoff(),
        },
        "relief_offer" => {
            said.texts("open_items", false);
            Act::ReliefOffer {
                to: said.person("to"),
                role: said.may("role"),
                from: said.may_person("from"),
            }
        }
        "relief_accept" => {
            said.texts("read_items", false);
            Act::ReliefAccept {
                role: said.may("role"),
            }
        }
        "leave" => Act::Leave,
        "brief" => {
            said.may("structure");
            said.may("change");
            Act::Brief
        }
        "brief_ack" => Act::BriefAck,
        "enrol" => Act::Enrol {
            person: said.person("person"),
            role: said.may("role"),
            new_device: said.may_device("new_device"),
            replaces: said.may_device("replaces"),
            accepted: said.flag("accepted", false),
        },
        "order_status" => order_status(said),
        "identity" => {
            let structure = said.text("structure");
            let circuit = said.text("circuit");
            let phase = said.text("phase");
            if said.fields.has("after_seeing") {
                let fits = |event: &Event| matches!(event.act, Act::Identity { .. });
                said.earlier("after_seeing", fits, "an earlier identity");
            }
            Act::Identity {
                structure,
                circuit,
                phase,
                method: said.may("method"),
            }
        }
        "note" => {
            let (_, _) = said.may_step_and_check();
            Act::Note {
                text: said.text("text"),
                unsynced: said.flag("unsynced", false),
            }
        }
        "note_late" => {
            let (step, check) = said.may_step_and_check();
            Act::NoteLate {
                step,
                check,
                text: said.may("text").unwrap_or_default(),
                happened_ms: said.fields.seconds(said.reading, "happened_at"),
            }
        }
        "correct" => {
            let fits =
                |event: &Event| matches!(event.act, Act::Condition { .. } | Act::Measure { .. });
            Act::Correct {
                of: said.earlier("of", fits, "an earlier condition or measure"),
                value: said.number("value").to_string(),
                reason: said.may("reason"),
            }
        }
        "suspend" => {
            let people = said.people("resume_by", false);
            if people.len() > 1 {
                let found = format!("{} people", people.len());
                said.fault("resume_by", found, "one person: the log names one");
            }
            Act::Suspend {
                state: said.text("state"),
                resume_by: people.into_iter().next(),
            }
        }
        "resume_job" => Act::ResumeJob,
        "close" => Act::Close,
        "scope_add" => Act::ScopeAdd {
            structure: said.text("structure"),
        },
        "close_item" => Act::CloseItem {
            item: said.text("item"),
            cause: said.text("cause"),
        },
        "make_safe" => {
            let (step, _) = said.may_step_and_check();
            Act::MakeSafe {
                step,
                text: said.text("text"),
                tool: said.may("tool"),
            }
        }
        "exit_plan" => exit_plan(said),
        "exit_agree" => {
            let fits = |event: &Event| matches!(event.act, Act::ExitPlan { .. });
            Act::ExitAgree {
                plan: said.earlier("plan", fits, "an earlier exit_plan"),
            }
        }
        "emergency" => Act::Emergency {
            text: said.text("text"),
        },
        "headcount" => Act::Headcount {
            clear: said.people("clear", true),
            assumed: said.people("assumed", false),
        },
        "press" => press(said, at_ms),
        "link" => link(said),
        "power" => Act::Power {
            on: said.word("state", &["on", "off"]) == "on",
        },
        "clock" => Act::Clock {
            skew_ms: said.fields.seconds(said.reading, "skew_s"),
        },
        "restore" => Act::Restore {
            image_ms: said.fields.seconds(said.reading, "image_at"),
        },
        "tamper" => tamper(said),
        "replay" => Act::Replay,
        "speak" => {
            said.text("text");
            Act::Speak
        }
        "physical" => {
            said.text("act");
            Act::Physical
        }
        _ => tool(said, what),
    }
}

/// What the author's clock wrote: for the reader; the devices write their own.
fn stamp(said: &mut Said<'_, '_, '_, '_, '_>) {
    said.fields.may_seconds(said.reading, "stamp");
}

fn confirm(said: &mut Said<'_, '_, '_, '_, '_>) -> Act {
    let (step, check) = said.step_and_check();
    for key in ["structure", "claims_role", "was"] {
        said.may(key);
    }
    said.may_person("on_behalf_of");
    said.flag("offline", false);
    let counted = said.fields.has("out") || said.fields.has("back");
    let tally = counted.then(|| (said.whole("out"), said.whole("back")));
    Act::Confirm {
        step,
        check,
        tally,
        relook: said.flag("relook", false),
        reason: said.may("reason"),
    }
}

fn condition(said: &mut Said<'_, '_, '_, '_, '_>) -> Act {
    let condition = said.condition();
    let unit = said.may("unit").unwrap_or_default();
    said.fields.may_seconds(said.reading, "valid_s");
    said.fields.may_seconds(said.reading, "last_at");
    let mut value = None;
    let mut none = false;
    if let Some(at) = said.fields.need(said.reading, "value") {
        if Reading::is_text(&at) {
            let word = said.reading.text(&at);
            none = word == "none";
            if !none && word != "seen" {
                let field = at.field.clone();
                said.reading
                    .not_one_of((at.line, &field), &word, &["a number", "none", "seen"]);
            }
        } else {
            value = Some(said.reading.number(&at));
        }
    }
    Act::Condition {
        condition,
        value,
        none,
        unit,
    }
}

fn offer(said: &mut Said<'_, '_, '_, '_, '_>) -> Act {
    let handoff = said.text("handoff");
    let (load, tool) = (said.may("load"), said.may("tool"));
    if load.is_some() == tool.is_some() {
        said.fault("load", "both or none", "a load or a tool");
    }
    let up = said.fields.has("move") && said.word("move", &DIRECTIONS) == "up";
    Act::Offer {
        handoff,
        load,
        tool,
        up,
    }
}

fn order_status(said: &mut Said<'_, '_, '_, '_, '_>) -> Act {
    let order = said.text("order");
    let status = said.word("status", &["in_effect", "lapsed", "released", "line_state"]);
    let value = said.may("value");
    said.may("operator_time");
    let status = match status.as_str() {
        "in_effect" => Order::InEffect,
        "lapsed" => Order::Lapsed,
        "line_state" => Order::LineState(value.clone().unwrap_or_default()),
        _ => Order::Released,
    };
    if matches!(status, Order::LineState(_)) != value.is_some() {
        said.fault(
            "value",
            "not both",
            "`value` with the status line_state only",
        );
    }
    Act::OrderStatus {
        order,
        status,
        terminals: said.texts("terminals", false),
        read_back: said.flag("read_back", false),
        holder: said.may_person("holder"),
        by: said.may("by"),
        covers: said.may("covers"),
    }
}

fn exit_plan(said: &mut Said<'_, '_, '_, '_, '_>) -> Act {
    let stop = said.stop();
    let steps = said.texts("steps", true);
    for step in &steps {
        if !said.names.steps.contains_key(step) {
            said.fault("steps", format!("`{step}`"), "listed steps of the case");
        }
    }
    Act::ExitPlan {
        stop,
        steps,
        why: said.text("why"),
    }
}

fn press(said: &mut Said<'_, '_, '_, '_, '_>, at_ms: u64) -> Act {
    let held_ms = said.fields.seconds(said.reading, "held_s");
    let began = said.fields.may_seconds(said.reading, "began_at");
    let began_ms = began.unwrap_or_else(|| at_ms.saturating_sub(held_ms));
    if began_ms > at_ms {
        said.fault("began_at", format!("{began_ms} ms"), "not after t");
    }
    match said.word("control", &["confirm", "ready", "stop"]).as_str() {
        "confirm" => {
            let (step, check) = said.step_and_check();
            Act::PressConfirm {
                step,
                check,
                held_ms,
                began_ms,
            }
        }
        "ready" => Act::PressReady {
            handoff: said.handoff(),
        },
        _ => Act::PressStop,
    }
}

fn link(said: &mut Said<'_, '_, '_, '_, '_>) -> Act {
    let up = said.flag("up", true);
    let grouped = said.fields.has("group_a") || said.fields.has("group_b");
    let groups = grouped.then(|| (said.devices("group_a"), said.devices("group_b")));
    let device = said.text("device");
    if !grouped && device == "-" {
        said.fault("device", "`-`", "a device, or group_a and group_b");
    }
    Act::Link { up, groups }
}

fn tamper(said: &mut Said<'_, '_, '_, '_, '_>) -> Act {
    let entry = said.earlier("entry", |_| true, "an earlier event");
    let set_value = said
        .fields
        .may(said.reading, "set_value")
        .map(|at| said.reading.number(&at));
    let delete = said.flag("delete", false);
    if delete == set_value.is_some() {
        said.fault("set_value", "both or none", "set_value, or delete = true");
    }
    Act::Tamper { entry, set_value }
}

fn tool(said: &mut Said<'_, '_, '_, '_, '_>, what: &str) -> Act {
    let tool = said.text("tool");
    match what {
        "tool_scan" => {
            let mut months = |key| u16::try_from(said.whole(key)).unwrap_or(u16::MAX);
            let (test_age_months, max_months) = (months("test_age_months"), months("max_months"));
            Act::ToolScan {
                tool,
                test_age_months,
                max_months,
                wiped_today: said.flag("wiped_today", true),
                rated_kv: said.number("rated_kv"),
            }
        }
        "tool_wipe" => Act::ToolWipe {
            tool,
            inspected: said.flag("inspected", true),
        },
        "tool_out" => Act::ToolOut { tool },
        "tool_in" => Act::ToolIn { tool },
        _ => Act::ToolOutOfService { tool },
    }
}
