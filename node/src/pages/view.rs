//! View: what is on a page now, as values with the words for them.
//! Owns: nothing.   Gives: `View`, `Person` labels by role, the band's reason, ages.
//! May use: protocol's status and plan, words.   Never: HTML (parts), a rule of the job.

use crate::device::JoinRequest;
use crate::words::{Labels, Language, Words, fill, span};
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{DeviceKey, EntryHash, Person, PhotoHash, RoleId, StepId};
use gantline_protocol::plan::{Plan, Step};
use gantline_protocol::reason::Reason;
use gantline_protocol::state::{
    Aside, AskedOf, CallWord, CrewStatus, JobState, Overview, Status, StepState, StepStatus,
    StopStatus, face,
};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// A reason in the band is at most so long, and in a stop so long: more is not read in two seconds.
const REASON_MAX_CHARS: usize = 60;
const STOP_REASON_MAX_CHARS: usize = 90;
/// A link is late from so old a proof on, ms; changes nothing but how it is drawn.
const LATE_MS: u64 = 1_500;

/// What the holder does next, of several things.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) enum Choice {
    /// Something asked.
    Asked(AskedOf),
    /// Something that may be done unasked.
    Unasked(Command),
}

/// What a page is made from.
pub(crate) struct Seen {
    pub(crate) language: &'static Language,
    pub(crate) status: Box<Status>,
    pub(crate) plan: Arc<Plan>,
    pub(crate) beside: Beside,
}

/// What only the pages beside the own one show.
#[derive(Default)]
pub(crate) struct Beside {
    pub(crate) aside: Aside,
    /// Devices that ask to join at this one.
    pub(crate) joins: Vec<JoinRequest>,
    /// Photos that are on this device.
    pub(crate) photos_here: BTreeSet<PhotoHash>,
}

/// What a page shows.
pub(crate) struct View<'a> {
    pub(crate) status: &'a Status,
    pub(crate) plan: &'a Plan,
    pub(crate) language: &'static Language,
    pub(crate) beside: &'a Beside,
    pub(crate) labels: &'static Labels,
    pub(crate) words: Words,
    pub(crate) face: EntryHash,
    /// How long this call has been shown, s.
    pub(crate) since_s: u64,
    /// What the browser's clock adds to UTC, minutes.
    offset_min: i64,
    /// What the holder chose to do next.
    pub(crate) choice: Option<Choice>,
    /// The holder confirms by two presses.
    pub(crate) two_presses: bool,
    /// The crew as a whole, for the board.
    pub(crate) overview: Option<Box<Overview>>,
    names: BTreeMap<DeviceKey, (String, String)>,
    by_person: BTreeMap<Person, String>,
}

/// A link to another device, as drawn.
pub(crate) struct LinkView<'a> {
    pub(crate) short: &'a str,
    pub(crate) age_ms: Option<u64>,
    pub(crate) state: LinkState,
}

/// How a link is drawn.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum LinkState {
    Good,
    Late,
    Lost,
}

impl<'a> View<'a> {
    pub(crate) fn new(seen: &'a Seen, since_s: u64, offset_min: i64) -> Self {
        let Seen {
            language,
            status,
            plan,
            beside,
        } = seen;
        let labels = language.labels;
        let names = names(status, plan, labels);
        let mut words = Words::of_status(language, status);
        words.add_plan(plan);
        let mut by_person = BTreeMap::new();
        for member in &status.crew {
            let Some((name, _)) = names.get(&member.device) else {
                continue;
            };
            // A role's name is at most as long as a call sign may be, or the call sign itself stays.
            if let Ok(person) = Person::try_from(name.as_str()) {
                words.person(member.device, person);
            }
            by_person.insert(member.person.clone(), name.clone());
        }
        for stop in &status.stops {
            let by = stop.by.as_ref().map_or(labels.unknown_device, |person| {
                by_person
                    .get(person)
                    .map_or(person.as_str(), String::as_str)
            });
            words.stop_by(stop.entry, by.to_owned());
        }
        Self {
            status,
            plan,
            language,
            beside,
            labels,
            words,
            face: face(status),
            since_s,
            offset_min,
            choice: None,
            two_presses: false,
            overview: None,
            names,
            by_person,
        }
    }

    /// With what the holder chose to do next, if it is still asked.
    pub(crate) fn with_choice(mut self, choice: Option<Choice>) -> Self {
        self.choice = choice;
        self
    }

    /// For who cannot keep a control pressed.
    pub(crate) fn with_two_presses(mut self, two_presses: bool) -> Self {
        self.two_presses = two_presses;
        self
    }

    /// With the crew as a whole.
    pub(crate) fn with_overview(mut self, overview: Option<Box<Overview>>) -> Self {
        self.overview = overview;
        self
    }

    /// What is asked with its place in the status's list: what the holder chose first, else the most pressing.
    pub(crate) fn asked(&self) -> Vec<(usize, &'a AskedOf)> {
        let mut asked: Vec<_> = self.status.asked.iter().enumerate().collect();
        // What a stop asks of everybody waits for no choice.
        let pressing = asked
            .first()
            .is_some_and(|(_, one)| matches!(one, AskedOf::Heard { .. }));
        if !pressing {
            asked.sort_by_key(
                |(_, one)| !matches!(&self.choice, Some(Choice::Asked(chosen)) if chosen == *one),
            );
        }
        asked
    }

    /// The word: its name in the page, its words.
    pub(crate) fn call(&self) -> (&'static str, &'static str) {
        let word = self.status.call.word;
        (Self::call_of(word), self.word_of(word))
    }

    /// A call's name in the page.
    pub(crate) fn call_of(word: CallWord) -> &'static str {
        match word {
            CallWord::Proceed => "proceed",
            CallWord::Hold => "hold",
            CallWord::StopWork => "stop",
        }
    }

    /// A call in words.
    pub(crate) fn word_of(&self, word: CallWord) -> &'static str {
        match word {
            CallWord::Proceed => self.labels.proceed,
            CallWord::Hold => self.labels.hold,
            CallWord::StopWork => self.labels.stop_work,
        }
    }

    pub(crate) fn is(&self, word: CallWord) -> bool {
        self.status.call.word == word
    }

    /// A person by role.
    pub(crate) fn name(&self, person: &Person) -> String {
        if self.status.person.as_ref() == Some(person) {
            return self.labels.you.to_owned();
        }
        self.by_person
            .get(person)
            .cloned()
            .unwrap_or_else(|| person.to_string())
    }

    /// A member of the crew, by role and call sign: for lists in which the reader is one of them.
    pub(crate) fn called(&self, one: &CrewStatus) -> String {
        format!("{} ({})", self.device_name(&one.device), one.person)
    }

    pub(crate) fn is_supervisor(&self) -> bool {
        self.status.roles.iter().any(RoleId::is_supervisor)
    }

    pub(crate) fn device_name(&self, device: &DeviceKey) -> String {
        if self.status.device == *device {
            return self.labels.you.to_owned();
        }
        self.names
            .get(device)
            .map_or_else(|| self.words.who(device), |(name, _)| name.clone())
    }

    /// The name of a device where room is little, this one's too.
    pub(crate) fn short_name(&self, device: &DeviceKey) -> &str {
        self.names
            .get(device)
            .map_or("", |(_, short)| short.as_str())
    }

    pub(crate) fn role_name(&self, role: &RoleId) -> String {
        let known = self
            .labels
            .roles
            .iter()
            .find(|(id, ..)| *id == role.as_str());
        known.map_or_else(|| self.words.role(role), |(_, long, _)| (*long).to_owned())
    }

    /// Whether nothing is left but that the supervisor closes the job.
    pub(crate) fn may_close(&self) -> bool {
        let steps = &self.status.steps;
        self.is(CallWord::Hold)
            && self.status.job_state != JobState::Closed
            && steps.iter().all(|step| step.state == StepState::Done)
            && self.is_supervisor()
    }

    /// This device's own place: role and number.
    pub(crate) fn own_name(&self) -> String {
        self.names
            .get(&self.status.device)
            .map_or_else(String::new, |(name, _)| name.clone())
    }

    /// The step on the card: the one asked about, else where the call is.
    pub(crate) fn step(&self, asked: Option<&StepId>) -> Option<(usize, &'a Step, &'a StepStatus)> {
        let id = asked.or(self.status.call.step.as_ref())?;
        let at = self.status.steps.iter().position(|step| &step.id == id)?;
        Some((at + 1, self.plan.step(id)?, self.status.steps.get(at)?))
    }

    /// The one reason in the band, and how many more there are.
    pub(crate) fn reason(&self) -> (String, usize) {
        let call = &self.status.call;
        match call.word {
            CallWord::Proceed => {
                let n = self.step(None).map_or(0, |(n, ..)| n);
                (fill(self.labels.step_open, &[("n", &n.to_string())]), 0)
            }
            CallWord::Hold => {
                let first = call.reasons.first();
                let words = first.map_or_else(
                    || self.labels.not_live.to_owned(),
                    |reason| self.words.reason(reason).so,
                );
                let more = call.reasons.len().saturating_sub(1);
                (shortened(&words, REASON_MAX_CHARS), more)
            }
            CallWord::StopWork => {
                let Some(stop) = self.status.stops.first() else {
                    return (self.labels.stop_work.to_owned(), 0);
                };
                let more = self.status.stops.len().saturating_sub(1);
                let words = if stop.why.is_empty() {
                    format!("{}.", self.stopped_by(stop))
                } else {
                    sentence(&stop.why)
                };
                (shortened(&words, STOP_REASON_MAX_CHARS), more)
            }
        }
    }

    /// The reason in the band as it is read aloud, where a time runs in what is shown.
    pub(crate) fn reason_aloud(&self) -> Option<String> {
        let first = self.status.call.reasons.first();
        first
            .filter(|_| self.is(CallWord::Hold))
            .and_then(|reason| self.words.reason_aloud(reason))
    }

    /// What is to be done about a Hold whose cause is this device itself: nothing else on its page can say so.
    pub(crate) fn own_remedy(&self) -> Option<String> {
        let first = self.status.call.reasons.first();
        first
            .filter(|first| self.is(CallWord::Hold) && **first == Reason::DiskFailed)
            .map(|reason| self.words.reason(reason).now)
    }

    pub(crate) fn stopped_by(&self, stop: &StopStatus) -> String {
        match &stop.by {
            Some(person) if self.status.person.as_ref() == Some(person) => {
                self.labels.stopped_by_you.to_owned()
            }
            Some(person) => fill(self.labels.stopped_by, &[("who", &self.name(person))]),
            None => fill(
                self.labels.stopped_by,
                &[("who", self.labels.unknown_device)],
            ),
        }
    }

    /// A time of day by the browser's clock.
    pub(crate) fn clock(&self, wall_ms: i64) -> String {
        clock(wall_ms.saturating_add(self.offset_min.saturating_mul(60_000)))
    }

    /// The same, with tenths of a second.
    pub(crate) fn clock_tenths(&self, wall_ms: i64) -> String {
        format!("{}.{}", self.clock(wall_ms), wall_ms.rem_euclid(1000) / 100)
    }

    /// How long ago a stop was pressed, by the clocks of two devices.
    pub(crate) fn stopped_when(&self, stop: &StopStatus) -> String {
        let ago_ms = self.status.wall.0.saturating_sub(stop.wall.0);
        let ago = span(u64::try_from(ago_ms).unwrap_or(0));
        fill(self.labels.at_ago, &[("ago", &ago)])
    }

    /// Within how many whole seconds every present device was heard.
    pub(crate) fn heard_within(&self) -> Option<u64> {
        let others = self.others();
        let ages: Vec<u64> = others.iter().filter_map(|one| one.age_ms).collect();
        let all = ages.len() == others.len() && !ages.is_empty();
        let oldest = ages.into_iter().max()?;
        all.then(|| oldest.div_ceil(1000).max(1))
    }

    fn others(&self) -> Vec<&'a CrewStatus> {
        let mut others = self.crew();
        others.retain(|one| one.device != self.status.device);
        others
    }

    /// Every present device.
    pub(crate) fn crew(&self) -> Vec<&'a CrewStatus> {
        let crew = self.status.crew.iter();
        let mut crew: Vec<&CrewStatus> = crew.filter(|one| one.present).collect();
        // In one order on every device and in every job: by role, then number.
        let place = |one: &CrewStatus| {
            let of = |role: &RoleId| {
                self.labels
                    .roles
                    .iter()
                    .position(|(id, ..)| *id == role.as_str())
            };
            named_for(one).and_then(of).unwrap_or(usize::MAX)
        };
        crew.sort_by_key(|one| (place(one), self.names.get(&one.device)));
        crew
    }

    /// A link to each other present device.
    pub(crate) fn links(&self) -> Vec<LinkView<'_>> {
        self.others()
            .into_iter()
            .map(|one| LinkView {
                short: self.short_name(&one.device),
                age_ms: one.age_ms,
                state: self.link_state(one.age_ms),
            })
            .collect()
    }

    /// How a link with news so old is drawn.
    pub(crate) fn link_state(&self, age_ms: Option<u64>) -> LinkState {
        match age_ms {
            Some(age) if age <= LATE_MS => LinkState::Good,
            Some(age) if age <= self.plan.times.watch_limit_ms => LinkState::Late,
            _ => LinkState::Lost,
        }
    }

    /// Own confirmations that count, the latest step first: what may be taken back.
    pub(crate) fn own_given(
        &self,
    ) -> Vec<(&'a StepStatus, &'a gantline_protocol::state::CheckStatus)> {
        let mut given = Vec::new();
        for step in self.status.steps.iter().rev() {
            for check in step.checks.iter().rev() {
                let own = check.given.iter().any(|given| {
                    Some(&given.by) == self.status.person.as_ref() && given.reasons.is_empty()
                });
                if own && step.state != StepState::Locked {
                    given.push((step, check));
                }
            }
        }
        given
    }
}

/// Role names of every device of the crew, long and short; numbered where several people hold a role, by
/// call sign, so that each device numbers them alike.
fn names(status: &Status, plan: &Plan, labels: &Labels) -> BTreeMap<DeviceKey, (String, String)> {
    let mut holders: BTreeMap<&RoleId, BTreeSet<&Person>> = BTreeMap::new();
    for member in status.crew.iter().filter(|member| member.present) {
        if let Some(role) = named_for(member) {
            holders.entry(role).or_default().insert(&member.person);
        }
    }
    let mut names = BTreeMap::new();
    for member in &status.crew {
        let person = &member.person;
        let Some(role) = named_for(member).filter(|_| member.present) else {
            let name = person.to_string();
            names.insert(member.device, (name.clone(), name));
            continue;
        };
        let (long, short) = role_names(role, plan, labels);
        let people = holders.get(role);
        let number = people
            .filter(|people| people.len() > 1)
            .and_then(|people| people.iter().position(|one| *one == person));
        let name = match number {
            Some(at) => (format!("{long} {}", at + 1), format!("{short} {}", at + 1)),
            None => (long, short),
        };
        names.insert(member.device, name);
    }
    names
}

/// The role that a device is named for: who answers for the job is called so, whatever else they do.
fn named_for(member: &CrewStatus) -> Option<&RoleId> {
    let roles = &member.roles;
    roles
        .iter()
        .find(|role| role.is_supervisor())
        .or(roles.first())
}

fn role_names(role: &RoleId, plan: &Plan, labels: &Labels) -> (String, String) {
    let known = labels.roles.iter().find(|(id, ..)| *id == role.as_str());
    known.map_or_else(
        || {
            let title = plan
                .role(role)
                .map_or_else(|| role.to_string(), |role| role.title.clone());
            let short = title.chars().take(3).collect();
            (title, short)
        },
        |(_, long, short)| ((*long).to_owned(), (*short).to_owned()),
    )
}

/// Words cut at a space so that they are at most so long.
fn shortened(words: &str, most: usize) -> String {
    if words.chars().count() <= most {
        return words.to_owned();
    }
    let mut kept = String::new();
    for word in words.split(' ') {
        if kept.chars().count() + word.chars().count() + 2 > most {
            break;
        }
        if !kept.is_empty() {
            kept.push(' ');
        }
        kept.push_str(word);
    }
    if kept.is_empty() {
        kept = words.chars().take(most - 1).collect();
    }
    kept.push('…');
    kept
}

/// Words with a capital and a full stop.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let mut text: String = letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default();
    if !text.ends_with(['.', '!', '?']) {
        text.push('.');
    }
    text
}

/// The time of day, 24 h with seconds.
fn clock(wall_ms: i64) -> String {
    let seconds = wall_ms.div_euclid(1000).rem_euclid(86_400);
    let (hours, minutes) = (seconds / 3600, seconds / 60 % 60);
    format!("{hours:02}:{minutes:02}:{:02}", seconds % 60)
}

/// An age in seconds with one digit.
pub(crate) fn age(ms: u64) -> String {
    format!("{}.{}", ms / 1000, ms % 1000 / 100)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_cut_at_a_space_and_never_longer() {
        assert_eq!(shortened("Step 7 is open.", 60), "Step 7 is open.");
        let long = "Waiting for Tower worker: both strain poles are on and carry the string";
        let cut = shortened(long, REASON_MAX_CHARS);
        assert!(cut.chars().count() <= REASON_MAX_CHARS, "{cut}");
        assert!(
            cut.ends_with('…') && long.starts_with(cut.trim_end_matches('…')),
            "{cut}"
        );
        let one = shortened(&"x".repeat(99), 20);
        assert_eq!(one.chars().count(), 20);
    }

    #[test]
    fn times_of_day() {
        assert_eq!(clock(0), "00:00:00");
        assert_eq!(clock(86_399_999), "23:59:59");
        assert_eq!(clock(-1), "23:59:59");
        assert_eq!(age(1_849), "1.8");
        assert_eq!(sentence("person below"), "Person below.");
    }
}
