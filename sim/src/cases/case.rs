//! Case: what a case file says, as values that were checked against each other.
//! Owns: nothing.   Gives: `Case` and its parts, `read`.
//! May use: form, acts, expects.   Never: a plan or a world made of it (plan, stage).

use super::acts::{Act, Event};
use super::events;
use super::expects::{self, Expect};
use super::form::{Fault, Fields, Reading};
use gantline_protocol::decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};
use toml::de::DeTable;

/// The names of standing conditions.
pub const CONDITIONS: [&str; 6] = [
    "observer",
    "wind",
    "order",
    "lightning",
    "precipitation",
    "supervisor",
];
/// A case.
#[derive(Clone, Debug)]
pub struct Case {
    /// `C00`…
    pub id: String,
    /// The name in the file's name.
    pub slug: String,
    /// What it is about.
    pub title: String,
    /// The line, the place, the order.
    pub job: JobData,
    /// Times of the plan, and what people and radio are promised to do.
    pub assume: Assume,
    /// Devices and who holds them.
    pub crew: Vec<Member>,
    /// Conditions as given for t = 0.
    pub conditions: Vec<ConditionAt>,
    /// Steps listed.
    pub steps: Vec<StepAt>,
    /// What happens.
    pub events: Vec<Event>,
    /// What must then be so.
    pub expects: Vec<Expect>,
}

/// The job's data.
#[derive(Clone, Debug)]
pub struct JobData {
    /// Line voltage, kV.
    pub line_kv: Decimal,
    /// Structure.
    pub structure: String,
    /// Circuit.
    pub circuit: String,
    /// Phase.
    pub phase: String,
    /// Kind of string.
    pub string: String,
    /// Order number.
    pub order: String,
    /// Minimum approach distance, m.
    pub mad_m: Decimal,
}

/// What the case assumes.
#[derive(Clone, Debug)]
#[allow(clippy::struct_excessive_bools, reason = "two promises and their day")]
pub struct Assume {
    /// Linked devices hold an entry at most so long after it was made, ms.
    pub sync_ms: u64,
    /// `watch_limit`, ms.
    pub contact_ms: u64,
    /// Validity of the observer in place, ms.
    pub observer_ms: u64,
    /// Validity of a wind reading, ms.
    pub wind_ms: u64,
    /// How long a ready is good, ms.
    pub ready_ms: u64,
    /// How long a confirm is held, ms.
    pub press_ms: u64,
    /// Conditions are renewed by their owners in time.
    pub auto_affirm: bool,
    /// The same, until a suspension.
    pub auto_affirm_day_one: bool,
    /// Everybody answers each stop within so long, ms.
    pub heard_all_by_ms: Option<u64>,
}

/// A device and its holder.
#[derive(Clone, Debug)]
pub struct Member {
    /// Who.
    pub person: String,
    /// In which role at t = 0, or what they would be.
    pub role: String,
    /// Which device.
    pub device: String,
    /// On the job at t = 0.
    pub enrolled: bool,
}

/// A condition at t = 0.
#[derive(Clone, Debug)]
pub struct ConditionAt {
    /// Its name.
    pub name: String,
    /// Whose it is.
    pub owner: String,
    /// The value, where it is measured.
    pub value: Option<Decimal>,
    /// Its limit.
    pub limit: Option<Decimal>,
    /// Validity, ms.
    pub valid_ms: Option<u64>,
    /// How long inside the limit before a release, ms.
    pub stable_ms: Option<u64>,
    /// Terminals of the order.
    pub terminals: Vec<String>,
}

/// How a listed step stands at t = 0.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Stands {
    /// Complete.
    Done,
    /// Open.
    Open,
    /// Locked.
    Locked,
}

/// A listed step.
#[derive(Clone, Debug)]
pub struct StepAt {
    /// `P01` to `P23`.
    pub id: String,
    /// Its name.
    pub name: String,
    /// How it stands.
    pub stands: Stands,
    /// Checks in order: name, role, how many different holders.
    pub needs: Vec<Need>,
    /// Check and person already in the log.
    pub have: Vec<(String, String)>,
}

/// One place of one check.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Need {
    /// The check as the case names it.
    pub check: String,
    /// The role; `all`: everybody present.
    pub role: String,
    /// How many different holders.
    pub count: u8,
}

impl Case {
    /// When the last thing happens or is looked at, ms after the beginning.
    #[must_use]
    pub fn lasts_ms(&self) -> u64 {
        let events = self.events.iter().map(|event| event.at_ms);
        let expects = self.expects.iter().map(|expect| expect.at_ms);
        events.chain(expects).max().unwrap_or(0)
    }

    /// The event with an id.
    #[must_use]
    pub fn event(&self, id: &str) -> Option<&Event> {
        self.events.iter().find(|event| event.id == id)
    }
}

/// What names a case knows, for checking references.
#[derive(Debug, Default)]
pub struct Names {
    /// People, `?` and `-` among them.
    pub people: BTreeSet<String>,
    /// Devices, `-` among them.
    pub devices: BTreeSet<String>,
    /// Checks of each listed step.
    pub steps: BTreeMap<String, BTreeSet<String>>,
}

/// Whether a step is one of the reference plan's.
#[must_use]
pub fn is_step(id: &str) -> bool {
    id.strip_prefix('P')
        .filter(|number| number.len() == 2)
        .and_then(|number| number.parse::<u8>().ok())
        .is_some_and(|number| (1..=23).contains(&number))
}

/// Reads a case. `file` is its name without folders.
///
/// # Errors
/// Every fault of the file.
pub fn read(file: &str, text: &str) -> Result<Case, Vec<Fault>> {
    let mut reading = Reading::new(file, text);
    let (table, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        let line = reading.line(error.span().map_or(text.len(), |span| span.start));
        reading.fault(line, "file", "text that is not TOML", error.message());
    }
    if !errors.is_empty() {
        return Err(reading.faults);
    }
    let mut root = reading.root(&table);
    let case = case(&mut reading, &mut root, file);
    root.end(&mut reading);
    if reading.faults.is_empty() {
        Ok(case)
    } else {
        reading.faults.sort();
        reading.faults.dedup();
        Err(reading.faults)
    }
}

fn case(reading: &mut Reading<'_>, root: &mut Fields<'_>, file: &str) -> Case {
    root.word(reading, "schema", &["liveline-case/1"]);
    let id = root.text(reading, "id");
    let slug = root.text(reading, "slug");
    let title = root.text(reading, "title");
    root.word(
        reading,
        "basis",
        &["incident", "incident-pattern", "practice"],
    );
    if let Some(at) = root.need(reading, "tags") {
        reading.texts(&at);
    }
    let wanted = format!("{}-{slug}.toml", id.to_lowercase());
    if file != wanted {
        reading.fault(1, "head.id", format!("the file name {file}"), wanted);
    }
    sources(reading, root);
    let job = one(reading, root, "job", job_data);
    let assume = one(reading, root, "assume", assume);
    one(reading, root, "facts", |reading, fields| {
        fields.text(reading, "happened");
        fields.text(reading, "adapted");
        Some(())
    });
    let mut names = Names::default();
    names.people.extend(["?".to_owned(), "-".to_owned()]);
    names.devices.insert("-".to_owned());
    let crew: Vec<Member> = each(reading, root, "crew", true, |reading, fields| {
        let member = member(reading, fields);
        names.people.insert(member.person.clone());
        if !names.devices.insert(member.device.clone()) {
            let found = format!("`{}` again", member.device);
            reading.fault(fields.line, "crew.device", found, "each device once");
        }
        member
    });
    let people: Vec<&str> = names.people.iter().map(String::as_str).collect();
    let conditions = each(reading, root, "condition", false, |reading, fields| {
        condition_at(reading, fields, &people)
    });
    let steps: Vec<StepAt> = each(reading, root, "step", true, |reading, fields| {
        let step = step_at(reading, fields, &people);
        let checks = step.needs.iter().map(|need| need.check.clone()).collect();
        if names.steps.insert(step.id.clone(), checks).is_some() {
            let found = format!("`{}` again", step.id);
            reading.fault(fields.line, "step.id", found, "each step once");
        }
        step
    });
    order_of_steps(reading, &steps);
    let mut events: Vec<Event> = Vec::new();
    let mut last = 0;
    for_each(reading, root, "event", true, |reading, fields| {
        if let Some(event) = events::event(reading, fields, &names, &events) {
            if event.at_ms < last {
                let found = format!("{} ms", event.at_ms);
                let field = format!("{}.t", fields.name);
                reading.fault(fields.line, field, found, "not before the event above");
            }
            last = event.at_ms;
            events.push(event);
        }
    });
    let mut expects: Vec<Expect> = Vec::new();
    for_each(reading, root, "expect", true, |reading, fields| {
        let last = expects.last().map_or(0, |expect| expect.at_ms);
        if let Some(expect) = expects::expect(reading, fields, &names, &steps, &events, last) {
            expects.push(expect);
        }
    });
    Case {
        id,
        slug,
        title,
        job: job.unwrap_or_else(|| JobData {
            line_kv: Decimal::ZERO,
            structure: String::new(),
            circuit: String::new(),
            phase: String::new(),
            string: String::new(),
            order: String::new(),
            mad_m: Decimal::ZERO,
        }),
        assume: assume.unwrap_or(Assume {
            sync_ms: 0,
            contact_ms: 0,
            observer_ms: 0,
            wind_ms: 0,
            ready_ms: 0,
            press_ms: 0,
            auto_affirm: false,
            auto_affirm_day_one: false,
            heard_all_by_ms: None,
        }),
        crew,
        conditions,
        steps,
        events,
        expects,
    }
}

fn one<T>(
    reading: &mut Reading<'_>,
    root: &mut Fields<'_>,
    key: &str,
    read: impl FnOnce(&mut Reading<'_>, &mut Fields<'_>) -> Option<T>,
) -> Option<T> {
    let at = root.need(reading, key)?;
    let mut fields = reading.table(&at, key.to_owned())?;
    let value = read(reading, &mut fields);
    fields.end(reading);
    value
}

fn for_each(
    reading: &mut Reading<'_>,
    root: &mut Fields<'_>,
    key: &str,
    must: bool,
    mut read: impl FnMut(&mut Reading<'_>, &mut Fields<'_>),
) {
    let found = if must {
        root.need(reading, key)
    } else {
        root.may(reading, key)
    };
    let Some(at) = found else {
        return;
    };
    for (number, member) in reading.list(&at).into_iter().enumerate() {
        let name = format!("{key}[{}]", number + 1);
        if let Some(mut fields) = reading.table(&member, name) {
            read(reading, &mut fields);
            fields.end(reading);
        }
    }
}

fn each<T>(
    reading: &mut Reading<'_>,
    root: &mut Fields<'_>,
    key: &str,
    must: bool,
    mut read: impl FnMut(&mut Reading<'_>, &mut Fields<'_>) -> T,
) -> Vec<T> {
    let mut all = Vec::new();
    for_each(reading, root, key, must, |reading, fields| {
        all.push(read(reading, fields));
    });
    all
}

fn sources(reading: &mut Reading<'_>, root: &mut Fields<'_>) {
    for_each(reading, root, "source", true, |reading, fields| {
        for key in ["agency", "type", "ref"] {
            fields.text(reading, key);
        }
        fields.word(
            reading,
            "seen",
            &["read", "part", "abstract", "not re-read"],
        );
        if let Some(year) = fields.need(reading, "year") {
            if Reading::is_text(&year) {
                if reading.text(&year) != "not stated" {
                    let expected = "a number or \"not stated\"";
                    reading.fault(year.line, &year.field, "another text", expected);
                }
            } else {
                reading.whole(&year);
            }
        }
    });
}

#[allow(clippy::unnecessary_wraps, reason = "read by `one`")]
fn job_data(reading: &mut Reading<'_>, fields: &mut Fields<'_>) -> Option<JobData> {
    let mut number = |reading: &mut Reading<'_>, key| match fields.need(reading, key) {
        Some(at) => reading.number(&at),
        None => Decimal::ZERO,
    };
    let line_kv = number(reading, "line_kv");
    let mad_m = number(reading, "mad_m");
    Some(JobData {
        line_kv,
        mad_m,
        structure: fields.text(reading, "structure"),
        circuit: fields.text(reading, "circuit"),
        phase: fields.text(reading, "phase"),
        string: fields.text(reading, "string"),
        order: fields.text(reading, "order"),
    })
}

#[allow(clippy::unnecessary_wraps, reason = "read by `one`")]
fn assume(reading: &mut Reading<'_>, fields: &mut Fields<'_>) -> Option<Assume> {
    fields.text(reading, "given");
    let mut positive = |reading: &mut Reading<'_>, key: &str| {
        let ms = fields.seconds(reading, key);
        if ms == 0 {
            let field = format!("assume.{key}");
            reading.fault(fields.line, field, "0", "a number above 0");
        }
        ms
    };
    let sync_ms = positive(reading, "sync_s");
    let contact_ms = positive(reading, "contact_s");
    let observer_ms = positive(reading, "observer_s");
    let wind_ms = positive(reading, "wind_s");
    let ready_ms = positive(reading, "ready_s");
    let press_ms = positive(reading, "press_hold_s");
    if !(2_000..=10_000).contains(&contact_ms) {
        let found = format!("{contact_ms} ms");
        reading.fault(fields.line, "assume.contact_s", found, "2 to 10 s");
    }
    let heard_all_by_ms = fields.may_seconds(reading, "heard_all_by_s");
    let mut flag = |reading: &mut Reading<'_>, key: &str, must: bool| {
        let at = if must {
            fields.need(reading, key)
        } else {
            fields.may(reading, key)
        };
        at.is_some_and(|at| reading.flag(&at))
    };
    let auto_affirm = flag(reading, "auto_affirm", true);
    let auto_affirm_day_one = flag(reading, "auto_affirm_day_one", false);
    Some(Assume {
        sync_ms,
        contact_ms,
        observer_ms,
        wind_ms,
        ready_ms,
        press_ms,
        auto_affirm,
        auto_affirm_day_one,
        heard_all_by_ms,
    })
}

fn member(reading: &mut Reading<'_>, fields: &mut Fields<'_>) -> Member {
    Member {
        person: fields.text(reading, "person"),
        role: fields.text(reading, "role"),
        device: fields.text(reading, "device"),
        enrolled: fields
            .need(reading, "enrolled")
            .is_some_and(|at| reading.flag(&at)),
    }
}

fn condition_at(
    reading: &mut Reading<'_>,
    fields: &mut Fields<'_>,
    people: &[&str],
) -> ConditionAt {
    let name = fields.word(reading, "name", &CONDITIONS);
    let owner = fields.word(reading, "owner", people);
    let mut number = |reading: &mut Reading<'_>, key| {
        let at = fields.may(reading, key)?;
        if Reading::is_text(&at) {
            // The order's value is a word: in effect.
            let word = reading.text(&at);
            if word != "in_effect" {
                reading.not_one_of((at.line, &at.field), &word, &["a number", "in_effect"]);
            }
            return None;
        }
        Some(reading.number(&at))
    };
    let value = number(reading, "value");
    let limit = number(reading, "limit");
    if let Some(at) = fields.may(reading, "at")
        && reading.seconds(&at) != 0
    {
        reading.fault(at.line, &at.field, "another time", "0: as at the beginning");
    }
    for key in ["unit", "holder"] {
        fields.may_text(reading, key);
    }
    // What the owner's own clock wrote: information for the reader.
    fields.may_seconds(reading, "stamp");
    ConditionAt {
        name,
        owner,
        value,
        limit,
        valid_ms: fields.may_seconds(reading, "valid_s"),
        stable_ms: fields.may_seconds(reading, "stable_s"),
        terminals: fields
            .may(reading, "terminals")
            .map_or_else(Vec::new, |at| reading.texts(&at)),
    }
}

fn step_at(reading: &mut Reading<'_>, fields: &mut Fields<'_>, people: &[&str]) -> StepAt {
    let id = fields.text(reading, "id");
    if !is_step(&id) {
        let field = format!("{}.id", fields.name);
        reading.fault(fields.line, field, format!("`{id}`"), "P01 to P23");
    }
    fields.name = format!("step {id}");
    let name = fields.text(reading, "name");
    let stands = match fields
        .word(reading, "state", &["locked", "open", "done"])
        .as_str()
    {
        "done" => Stands::Done,
        "open" => Stands::Open,
        _ => Stands::Locked,
    };
    let mut needs = Vec::new();
    if let Some(at) = fields.need(reading, "needs") {
        for member in reading.list(&at) {
            let text = reading.text(&member);
            match need(&text) {
                Some(need) => needs.push(need),
                None => reading.fault(
                    member.line,
                    &member.field,
                    format!("`{text}`"),
                    "check:role or check:role*N",
                ),
            }
        }
    }
    let mut have = Vec::new();
    if let Some(at) = fields.may(reading, "have") {
        for member in reading.list(&at) {
            let text = reading.text(&member);
            let (check, person) = text.split_once(':').unwrap_or((&text, ""));
            let known = needs.iter().any(|need: &Need| need.check == check);
            if known && people.contains(&person) && stands != Stands::Locked {
                have.push((check.to_owned(), person.to_owned()));
            } else {
                let expected = "check:person, a check of this step that is not locked, of the crew";
                reading.fault(member.line, &member.field, format!("`{text}`"), expected);
            }
        }
    }
    StepAt {
        id,
        name,
        stands,
        needs,
        have,
    }
}

fn need(text: &str) -> Option<Need> {
    let (check, rest) = text.split_once(':')?;
    let (role, count) = match rest.split_once('*') {
        Some((role, count)) => (role, count.parse().ok().filter(|n| (2..=9).contains(n))?),
        None => (rest, 1),
    };
    let is_name = |text: &str, more: char| {
        !text.is_empty() && text.chars().all(|c| c.is_ascii_lowercase() || c == more)
    };
    (is_name(check, '_') && is_name(role, 'a')).then(|| Need {
        check: check.to_owned(),
        role: role.to_owned(),
        count,
    })
}

fn order_of_steps(reading: &mut Reading<'_>, steps: &[StepAt]) {
    let ids: Vec<&str> = steps.iter().map(|step| step.id.as_str()).collect();
    if !ids.is_sorted() {
        reading.fault(1, "step", ids.join(" "), "steps in the plan's order");
    }
    let open = steps.iter().filter(|s| s.stands == Stands::Open).count();
    if open != 1 || !steps.is_sorted_by_key(|step| step.stands) {
        reading.fault(
            1,
            "step.state",
            format!("{open} open"),
            "done steps, then one open, then locked ones",
        );
    }
}

/// Whether any event is of a kind.
#[must_use]
pub fn any_act(case: &Case, is: impl Fn(&Act) -> bool) -> bool {
    case.events.iter().any(|event| is(&event.act))
}
