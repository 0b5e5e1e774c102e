//! Words: how is a reason, an outcome or a request said to a person?
//! Owns: the names of things.   Gives: `Words`, which turns the protocol's values into what a person reads.
//! May use: protocol's values only.   Never: decides anything; a code, blame, or a device's key where a
//! role or call sign is known; a word of any language (each has its own file).
//!
//! In reading order: here names · `reasons` why something holds or was refused · `asks` what is asked and how it went ·
//! `entries` what an entry says · `language` which words there are · `labels` what stands on the pages' controls ·
//! `english`, `spanish` all words of a language.
//!
//! A sentence says what is so, then what to do now; at most two of them. To add one: the compiler names the match here
//! that has to say it (none of them has a `_` arm), and every language. To add a language: a file of this form, and its
//! line in `language::ALL`.

mod act_labels;
mod asks;
mod english;
mod english_acts;
mod english_plan;
mod entries;
mod labels;
mod language;
mod plan_labels;
mod reasons;
mod spanish;
mod spanish_acts;
mod spanish_plan;
mod spanish_sheet;
#[cfg(test)]
mod tests;

pub use act_labels::ActLabels;
pub use english::ENGLISH;
pub use labels::Labels;
pub use language::{ALL, EntryWords, Language, Sentences, Two, fill, named};
pub use plan_labels::PlanLabels;
pub use spanish::SPANISH;

use gantline_protocol::ids::{
    CheckId, ConditionId, DeviceKey, EntryHash, ItemId, LimitId, Person, RoleId, StepId,
};
use gantline_protocol::plan::{Place, Plan};
use gantline_protocol::state::Status;
use language::capital;
use std::collections::BTreeMap;
use std::fmt;

/// What is so, and what to do now.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Sentence {
    /// What is so; short enough for the band at the top of a screen where the names in it are.
    pub so: String,
    /// What it means and what to do now; empty where nothing is to be done.
    pub now: String,
}

impl fmt::Display for Sentence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.so)?;
        if self.now.is_empty() {
            Ok(())
        } else {
            write!(f, " {}", self.now)
        }
    }
}

fn say((so, now): Two, values: &[(&str, &str)]) -> Sentence {
    Sentence {
        so: fill(so, values),
        now: fill(now, values),
    }
}

/// Names of the things that the protocol's values point to, and the sentences made with them.
///
/// Whatever it has not been told the name of is said by its id, so that nothing is ever left unsaid.
#[derive(Clone, Debug)]
pub struct Words {
    language: &'static Language,
    me: Option<DeviceKey>,
    people: BTreeMap<DeviceKey, Person>,
    steps: Vec<(StepId, String)>,
    checks: BTreeMap<(StepId, CheckId), String>,
    roles: BTreeMap<RoleId, String>,
    conditions: BTreeMap<ConditionId, String>,
    items: BTreeMap<ItemId, String>,
    units: BTreeMap<LimitId, String>,
    stops: BTreeMap<EntryHash, String>,
}

impl Words {
    /// Words of a language, with no names yet.
    #[must_use]
    pub fn new(language: &'static Language) -> Self {
        Self {
            language,
            me: None,
            people: BTreeMap::new(),
            steps: Vec::new(),
            checks: BTreeMap::new(),
            roles: BTreeMap::new(),
            conditions: BTreeMap::new(),
            items: BTreeMap::new(),
            units: BTreeMap::new(),
            stops: BTreeMap::new(),
        }
    }

    /// Words with the names that a status shows.
    #[must_use]
    pub fn of_status(language: &'static Language, status: &Status) -> Self {
        let mut words = Self {
            me: Some(status.device),
            ..Self::new(language)
        };
        for member in &status.crew {
            words.person(member.device, member.person.clone());
        }
        for step in &status.steps {
            words.steps.push((step.id.clone(), step.title.clone()));
            for check in &step.checks {
                words
                    .checks
                    .insert((step.id.clone(), check.id.clone()), check.text.clone());
            }
        }
        for condition in &status.conditions {
            words
                .conditions
                .insert(condition.id.clone(), condition.title.clone());
        }
        for item in &status.items {
            words.items.insert(item.id.clone(), item.title.clone());
        }
        for stop in &status.stops {
            let unknown = language.sentences.unknown_device;
            let by = stop.by.as_ref().map_or(unknown, Person::as_str);
            words.stops.insert(stop.entry, by.to_owned());
        }
        words
    }

    /// Words with the names that a plan gives.
    #[must_use]
    pub fn of_plan(language: &'static Language, plan: &Plan) -> Self {
        let mut words = Self::new(language);
        words.add_plan(plan);
        words
    }

    /// Adds the names that a plan gives: titles, and units of limits.
    pub fn add_plan(&mut self, plan: &Plan) {
        self.steps.clear();
        for step in &plan.steps {
            self.steps.push((step.id.clone(), step.title.clone()));
            for check in &step.checks {
                self.checks
                    .insert((step.id.clone(), check.id.clone()), check.text.clone());
            }
        }
        for role in &plan.roles {
            self.roles.insert(role.id.clone(), role.title.clone());
        }
        for condition in &plan.conditions {
            self.conditions
                .insert(condition.id.clone(), condition.title.clone());
        }
        for item in &plan.items {
            self.items.insert(item.id.clone(), item.title.clone());
        }
        for limit in &plan.limits {
            self.units.insert(limit.id.clone(), limit.unit.clone());
        }
    }

    /// Names the holder of a device.
    pub fn person(&mut self, device: DeviceKey, person: Person) {
        self.people.insert(device, person);
    }

    /// Names who called a stop.
    pub fn stop_by(&mut self, stop: EntryHash, by: String) {
        self.stops.insert(stop, by);
    }

    /// The holder of a device by call sign, `You` for this device, else the key's first letters.
    #[must_use]
    pub fn who(&self, device: &DeviceKey) -> String {
        let s = self.language.sentences;
        if self.me == Some(*device) {
            return s.you.to_owned();
        }
        match self.people.get(device) {
            Some(person) => person.to_string(),
            None => fill(s.device, &[("id", &short(&device.0))]),
        }
    }

    /// A step by its number in the plan's order; by its id where the plan is not known.
    #[must_use]
    pub fn step(&self, id: &StepId) -> String {
        let number = self.steps.iter().position(|(step, _)| step == id);
        let name = number.map_or_else(|| id.to_string(), |index| (index + 1).to_string());
        fill(self.language.sentences.step, &[("n", &name)])
    }

    /// A step by its number and title.
    #[must_use]
    pub fn step_titled(&self, id: &StepId) -> String {
        match self.steps.iter().find(|(step, _)| step == id) {
            Some((_, title)) => fill(
                self.language.sentences.step_titled,
                &[("step", &self.step(id)), ("title", title)],
            ),
            None => self.step(id),
        }
    }

    /// The words of a check.
    #[must_use]
    pub fn check(&self, step: &StepId, check: &CheckId) -> String {
        self.checks
            .get(&(step.clone(), check.clone()))
            .cloned()
            .unwrap_or_else(|| {
                fill(
                    self.language.sentences.check,
                    &[("check", check.as_str()), ("step", &self.step(step))],
                )
            })
    }

    /// A role's name on screens.
    #[must_use]
    pub fn role(&self, role: &RoleId) -> String {
        self.roles
            .get(role)
            .cloned()
            .unwrap_or_else(|| capital(&role.as_str().replace(['_', '-'], " ")))
    }

    fn roles(&self, roles: &[RoleId]) -> String {
        let s = self.language.sentences;
        match roles {
            [] => s.everyone.to_owned(),
            [one] => self.role(one),
            [most @ .., last] => {
                let most: Vec<String> = most.iter().map(|role| self.role(role)).collect();
                format!("{}{}{}", most.join(", "), s.one_or_other, self.role(last))
            }
        }
    }

    /// A standing condition's name.
    #[must_use]
    pub fn condition(&self, id: &ConditionId) -> String {
        self.conditions
            .get(id)
            .cloned()
            .unwrap_or_else(|| capital(&id.as_str().replace(['_', '-'], " ")))
    }

    /// An item's name.
    #[must_use]
    pub fn item(&self, id: &ItemId) -> String {
        match self.items.get(id) {
            Some(title) => fill(
                self.language.sentences.item,
                &[("title", title), ("id", id.as_str())],
            ),
            None => id.to_string(),
        }
    }

    fn stop(&self, entry: &EntryHash) -> String {
        let s = self.language.sentences;
        self.stops
            .get(entry)
            .map_or_else(|| s.stop.to_owned(), |by| fill(s.stop_by, &[("who", by)]))
    }

    /// A place where an item is.
    #[must_use]
    pub fn place(&self, place: Place) -> &'static str {
        let [truck, ground, on_the_line, aloft, structure, conductor] =
            self.language.sentences.places;
        match place {
            Place::Truck => truck,
            Place::Ground => ground,
            Place::OnTheLine => on_the_line,
            Place::Aloft => aloft,
            Place::Structure => structure,
            Place::Conductor => conductor,
        }
    }
}

/// A length of time: seconds up to a minute, then minutes and seconds; in signs that are the same in every language.
#[must_use]
pub fn span(ms: u64) -> String {
    let seconds = ms / 1000;
    if seconds < 60 {
        format!("{seconds} s")
    } else {
        format!("{}:{:02} min", seconds / 60, seconds % 60)
    }
}

/// The first eight hexadecimal digits of a key or hash.
#[must_use]
pub fn short(bytes: &[u8]) -> String {
    bytes
        .iter()
        .take(4)
        .map(|byte| format!("{byte:02x}"))
        .collect()
}
