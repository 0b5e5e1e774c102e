//! Words: how is a reason, an outcome or a request said to a person? All sentences in one place.
//! Owns: the sentences.   Gives: `Words`, which turns the protocol's values into what a person reads.
//! May use: protocol's values only.   Never: decides anything; a code, blame, or a device's key where a
//! role or call sign is known.
//! To add a variant: the compiler names every place here that has to say it; no match has a `_` arm.
//!
//! In reading order: here reasons, requests and outcomes · `entries` what an entry says · `labels` and
//! `english` what stands on the pages' controls.
//!
//! A sentence says what is so, then what to do now; at most two of them. Another language is another
//! file of this form.

mod english;
mod entries;
mod labels;
#[cfg(test)]
mod tests;

pub use english::ENGLISH;
pub use labels::{Labels, fill};

use gantline_protocol::decimal::Decimal;
use gantline_protocol::engine::{Alarm, Outcome};
use gantline_protocol::ids::{
    CheckId, ConditionId, DeviceKey, EntryHash, ItemId, LimitId, Person, RoleId, StepId,
};
use gantline_protocol::plan::{Place, Plan};
use gantline_protocol::reason::{Owed, Reason, Unfit};
use gantline_protocol::state::{AskedOf, CallWord, JobState, Status, StepState};
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

fn say(so: impl Into<String>, now: impl Into<String>) -> Sentence {
    Sentence {
        so: so.into(),
        now: now.into(),
    }
}

/// Names of the things that the protocol's values point to, and the sentences made with them.
///
/// Whatever it has not been told the name of is said by its id, so that nothing is ever left unsaid.
#[derive(Clone, Debug, Default)]
pub struct Words {
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
    /// Words with the names that a status shows.
    #[must_use]
    pub fn of_status(status: &Status) -> Self {
        let mut words = Self {
            me: Some(status.device),
            ..Self::default()
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
            let by = stop.by.as_ref().map_or("an unknown device", Person::as_str);
            words.stops.insert(stop.entry, by.to_owned());
        }
        words
    }

    /// Words with the names that a plan gives.
    #[must_use]
    pub fn of_plan(plan: &Plan) -> Self {
        let mut words = Self::default();
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
        if self.me == Some(*device) {
            return "You".to_owned();
        }
        match self.people.get(device) {
            Some(person) => person.to_string(),
            None => format!("Device {}", short(&device.0)),
        }
    }

    /// A step by its number in the plan's order; by its id where the plan is not known.
    #[must_use]
    pub fn step(&self, id: &StepId) -> String {
        match self.steps.iter().position(|(step, _)| step == id) {
            Some(index) => format!("step {}", index + 1),
            None => format!("step {id}"),
        }
    }

    /// A step by its number and title.
    #[must_use]
    pub fn step_titled(&self, id: &StepId) -> String {
        match self.steps.iter().find(|(step, _)| step == id) {
            Some((_, title)) => format!("{}, {title}", self.step(id)),
            None => self.step(id),
        }
    }

    /// The words of a check.
    #[must_use]
    pub fn check(&self, step: &StepId, check: &CheckId) -> String {
        self.checks
            .get(&(step.clone(), check.clone()))
            .cloned()
            .unwrap_or_else(|| format!("{check} of {}", self.step(step)))
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
        match roles {
            [] => "Everyone".to_owned(),
            [one] => self.role(one),
            [most @ .., last] => {
                let most: Vec<String> = most.iter().map(|role| self.role(role)).collect();
                format!("{} or {}", most.join(", "), self.role(last))
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
            Some(title) => format!("{title} ({id})"),
            None => id.to_string(),
        }
    }

    fn stop(&self, entry: &EntryHash) -> String {
        match self.stops.get(entry) {
            Some(by) => format!("the stop by {by}"),
            None => "the stop".to_owned(),
        }
    }

    /// Why something was refused, does not count, or holds.
    #[must_use]
    pub fn reason(&self, reason: &Reason) -> Sentence {
        match reason {
            Reason::NotUnlocked { step, before } => say(
                format!("{} is not open.", capital(&self.step(step))),
                format!("{} comes first.", capital(&self.step_titled(before))),
            ),
            Reason::NotKnown { step, device } => say(
                format!(
                    "{} has yet to get what opened {}.",
                    self.who(device),
                    self.step(step)
                ),
                "It goes on by itself when the link carries it.",
            ),
            Reason::WrongRole { needs } => say(
                format!("This is for {}.", self.roles(needs)),
                "Leave it to who can see it.",
            ),
            Reason::Proxy { role } => say(
                "One person cannot fill both places.",
                format!("Another {} looks and confirms.", self.role(role)),
            ),
            Reason::NotEnrolled { device } => say(
                format!("{} is not on this job.", self.who(device)),
                "The supervisor admits a device. Stop works without.",
            ),
            Reason::NotBriefed { device, .. } if self.me == Some(*device) => {
                say("Not briefed yet.", "Hear the briefing, then confirm it.")
            }
            Reason::NotBriefed { device, .. } => say(
                format!("{} is not briefed yet.", self.who(device)),
                "Brief them on the plan as it stands.",
            ),
            Reason::PlanChanged { .. } => say(
                "Plan changed. Hear the briefing.",
                "Then read the step again.",
            ),
            Reason::StopActive { stop } => say(
                format!("{} is in force.", capital(&self.stop(stop))),
                "Keep what you have secure. Confirm again after the release.",
            ),
            Reason::CrossedStop { stop } => say(
                format!("Does not count: it crossed {}.", self.stop(stop)),
                "Confirm again after the release.",
            ),
            Reason::GivenBeforeStop { stop } => say(
                format!("Given before {}.", self.stop(stop)),
                "Look again, and confirm again after the release.",
            ),
            Reason::TakenBack { .. } => say(
                "Does not count: the step was taken back.",
                "Look again and confirm again.",
            ),
            Reason::HoldActive => say("The work is on hold.", "Make no new move."),
            Reason::RoleVacant { role } => say(
                format!("No {} on the job.", self.role(role)),
                "No confirmation counts until somebody has taken the place.",
            ),
            Reason::Stale {
                condition,
                age_ms,
                valid_ms,
            } => say(
                format!(
                    "{} ran out {} ago.",
                    self.condition(condition),
                    span(age_ms.saturating_sub(*valid_ms))
                ),
                "Its owner gives it again.",
            ),
            Reason::ConditionOut { condition } => say(
                format!("{} is out of bounds.", self.condition(condition)),
                "Hold until its owner says that it is back.",
            ),
            Reason::ConditionUnknown { condition } => say(
                format!("{} is not known yet.", self.condition(condition)),
                "Its owner reads it, or says that it is so.",
            ),
            Reason::ConditionTimer { condition, left_ms } => say(
                format!(
                    "{} has to stay good for {} more.",
                    self.condition(condition),
                    span(*left_ms)
                ),
                "Wait; a new sighting starts the time anew.",
            ),
            Reason::OutOfLimit {
                limit,
                value,
                least,
                most,
            } => self.out_of_limit(limit, *value, *least, *most),
            Reason::AnswerNotPassing { found, expected } => say(
                format!("The answer is {found}; it goes on with {expected}."),
                "Put it right, say what was done, and answer again.",
            ),
            Reason::WrongAnswerForm { expected } => {
                say(format!("This asks for {expected}."), "Answer in that form.")
            }
            Reason::NeedsSecondReader { .. } => say(
                "It read out of limit before.",
                "A second person reads it too; the worse of the two governs.",
            ),
            Reason::Conflict { step, check } => say(
                format!("Two answers differ: {}.", self.check(step, check)),
                "Settle it, say what was done, and both answer anew.",
            ),
            Reason::CannotConfirm { step, check, by } => say(
                format!(
                    "{} cannot confirm: {}.",
                    self.who(by),
                    self.check(step, check)
                ),
                "It stays open until the same person confirms it.",
            ),
            Reason::Missing { step, check, needs } => say(
                format!(
                    "Waiting for {}: {}",
                    self.roles(needs),
                    self.check(step, check)
                ),
                "",
            ),
            Reason::ToolNotFit { item, why } => self.unfit(item, *why),
            Reason::ItemNotThere { item } => say(
                format!("{} is not where this step needs it.", self.item(item)),
                "Bring it there and record the move.",
            ),
            Reason::MarkNotSo { mark } => say(
                format!("{} is not as this step needs it.", capital(mark.as_str())),
                "Look at it, and give the check that it rests on again.",
            ),
            Reason::IdentityMismatch { planned, read } => say(
                format!("Read {read}; the plan has {planned}."),
                "Stay off it until the supervisor has settled which is right.",
            ),
            Reason::MissingHandoff => say(
                "The handoff is not whole.",
                "Offer, ready, take: nothing moves before all three.",
            ),
            Reason::ReadyStale { age_ms, valid_ms } => say(
                match u32::try_from(*age_ms) {
                    // As old as can be: this device cannot tell how old it is.
                    Err(_) | Ok(u32::MAX) => "How old the ready is, is not known.".to_owned(),
                    Ok(_) => format!(
                        "The ready is {} old; it is good for {}.",
                        span(*age_ms),
                        span(*valid_ms)
                    ),
                },
                "Ask for it again; nothing moves before it is given.",
            ),
            Reason::NotYours => say(
                "This is another's to do.",
                "One person commands a move and takes it; only who wrote an entry corrects it.",
            ),
            Reason::ReliefIncomplete => say(
                "The relief is not whole.",
                "The supervisor offers it, the one who comes takes it. Until then the role stays.",
            ),
            Reason::Exclusive { role, with } => say(
                format!(
                    "One person cannot be both {} and {}.",
                    self.role(role),
                    self.role(with)
                ),
                "Another person takes it.",
            ),
            Reason::Duplicate => say("Recorded already.", "Nothing more to do."),
            Reason::Late => say(
                "Noted as done earlier; it opens nothing.",
                "The supervisor reviews it.",
            ),
            Reason::Incomplete { missing } => {
                let owed: Vec<String> = missing.iter().map(|owed| self.owed(owed)).collect();
                say(format!("Still owed: {}.", owed.join("; ")), "")
            }
            Reason::NoContact { device, age_ms } => say(
                match age_ms {
                    Some(age_ms) => {
                        format!("No word from {} for {}.", self.who(device), span(*age_ms))
                    }
                    None => format!("No word from {} yet.", self.who(device)),
                },
                "Make no new move; call them by radio.",
            ),
            Reason::NotLevel { device } => say(
                format!("{} and this device are not level yet.", self.who(device)),
                "It goes on by itself when the link carries it.",
            ),
            Reason::NotQuiet { device } => say(
                format!("{}: stop pressed, or screen not live.", self.who(device)),
                "Make no new move; call them by radio.",
            ),
            Reason::PageSilent => say(
                "This screen is not live.",
                "Make no new move; call by radio.",
            ),
            Reason::NotAccounted { what } => say(
                format!("Not accounted for: {what}."),
                "Find it, and record where it is.",
            ),
            Reason::NotSafeState => say(
                "The plan does not call this safe to leave.",
                "Go on to a state that is, or agree an exit plan.",
            ),
            Reason::Fork { device } => say(
                format!("{}'s log does not agree.", self.who(device)),
                "Supervisor to retire it. Its stop still stops.",
            ),
            Reason::Removed { device } => say(
                format!("{} was taken off the job.", self.who(device)),
                "Join again with a new device. Stop still works.",
            ),
            Reason::NeedsVersion { device } => say(
                format!("{} writes a newer version.", self.who(device)),
                "Bring all devices to one version, or void the entry.",
            ),
            Reason::Closed => say("The job is closed.", "A stop opens it again."),
            Reason::Suspended => say(
                "The job is suspended.",
                "Who is named in the suspension resumes it.",
            ),
            Reason::StillSo => say(
                "Contact was lost for long.",
                "Look, and say that things are still so.",
            ),
            Reason::DiskFailed => say(
                "Disk full: nothing can be recorded here.",
                "Supervisor, relieve this device. Stop still works.",
            ),
            Reason::NothingOpen => say("Every step is complete.", "The supervisor closes the job."),
            Reason::NoSuchCheck { step, check } => say(
                format!("The plan has no check {check} in step {step}."),
                "Look at the plan as it stands now.",
            ),
        }
    }

    fn out_of_limit(
        &self,
        limit: &LimitId,
        value: Decimal,
        least: Option<Decimal>,
        most: Option<Decimal>,
    ) -> Sentence {
        let unit = match self.units.get(limit) {
            Some(unit) => format!(" {unit}"),
            None => String::new(),
        };
        let bound = match (least, most) {
            (Some(least), None) => format!("{least}{unit} or more"),
            (None, Some(most)) => format!("{most}{unit} or less"),
            (Some(least), Some(most)) => format!("{least} to {most}{unit}"),
            (None, None) => format!("{limit}"),
        };
        say(
            format!("{value}{unit} is outside the limit, {bound}."),
            "Put it right; then a second person reads it too.",
        )
    }

    /// Why an item may not be used.
    #[must_use]
    pub fn unfit(&self, item: &ItemId, why: Unfit) -> Sentence {
        let item = self.item(item);
        match why {
            Unfit::TestPast => say(format!("{item}: test date past."), "Use another."),
            Unfit::NotInspected => say(
                format!("{item}: not wiped and inspected today."),
                "Inspect it, and scan it again.",
            ),
            Unfit::UnderRated => say(
                format!("{item}: rated below this line's voltage."),
                "Use another.",
            ),
            Unfit::OutOfService => say(format!("{item}: set aside."), "Use another."),
            Unfit::Suspect => say(
                format!("{item}: named in a stop."),
                "Examine it, and scan it, before it is used again.",
            ),
            Unfit::NotListed => say(
                format!("{item}: no test or rating known."),
                "Read its plate and scan it, or use another.",
            ),
        }
    }

    /// What somebody still owes, as a clause without a full stop.
    #[must_use]
    pub fn owed(&self, owed: &Owed) -> String {
        match owed {
            Owed::Heard { device, .. } => format!("heard, from {}", self.who(device)),
            Owed::Ask { .. } => "the supervisor's ask, with the cause".to_owned(),
            Owed::Agree { device, .. } => format!("agreement, from {}", self.who(device)),
            Owed::Declined { device, .. } => {
                format!("a new ask: {} said no to this one", self.who(device))
            }
            Owed::Briefing { device } => {
                format!(
                    "a new briefing, for {} (same cause again)",
                    self.who(device)
                )
            }
            Owed::Condition { condition } => {
                format!("{} in bounds", self.condition(condition))
            }
        }
    }

    /// What is asked of the holder of this device.
    #[must_use]
    pub fn asked(&self, asked: &AskedOf) -> Sentence {
        match asked {
            AskedOf::Accept => say("You are admitted.", "Take your place on this device."),
            AskedOf::Briefing { .. } => say("Hear the briefing.", "Then confirm that you have."),
            AskedOf::Check { step, check, again } => say(
                format!("{}: {}", capital(&self.step(step)), self.check(step, check)),
                if *again {
                    "You gave this before the stop. Look again, then give it again."
                } else {
                    "Look, then confirm."
                },
            ),
            AskedOf::Heard { stop } => say(
                format!("Stop work: {}.", self.stop(stop)),
                "Say that you have heard it.",
            ),
            AskedOf::Ask { .. } => say(
                "The work is stopped.",
                "Settle the cause, then ask to resume and name it.",
            ),
            AskedOf::Agree { .. } => say(
                "Your word is asked for.",
                "Agree only if the cause is settled for you; one no ends the ask.",
            ),
            AskedOf::Condition { condition } => say(
                format!("{} is due.", self.condition(condition)),
                "Look, then read it or say that it is still so.",
            ),
            AskedOf::TakeRole { role, .. } => say(
                format!("{} is offered to you.", self.role(role)),
                "Hear how things stand, then take it.",
            ),
            AskedOf::Ready { handoff, .. } => say(
                format!("{handoff}: are you ready?"),
                "Line clear, brake manned, drop zone empty, eyes on the load.",
            ),
            AskedOf::Take { handoff, .. } => say(
                format!("{handoff}: ready on the other side."),
                "Take it; from then on you command the move.",
            ),
            AskedOf::StillSo => say(
                "Contact was lost for long.",
                "Look, and say that things are still so.",
            ),
            AskedOf::Consent { device, .. } => say(
                format!("{} is proposed to be taken off the job.", self.who(device)),
                "Consent only if you cannot reach them.",
            ),
            AskedOf::InTheClear => say(
                "You are missing in the head count.",
                "Say that you are in the clear, by radio too.",
            ),
        }
    }

    /// How an act went.
    #[must_use]
    pub fn outcome(&self, outcome: &Outcome) -> Vec<Sentence> {
        match outcome {
            Outcome::Recorded { reasons, .. } if reasons.is_empty() => {
                vec![say("Recorded.", "")]
            }
            Outcome::Recorded { reasons, .. } => {
                let mut lines = vec![say("Recorded; it does not count.", "")];
                lines.extend(reasons.iter().map(|reason| self.reason(reason)));
                lines
            }
            Outcome::Refused { reasons } => {
                let mut lines = vec![say("Not recorded.", "")];
                lines.extend(reasons.iter().map(|reason| self.reason(reason)));
                lines
            }
            Outcome::AlreadySo => vec![say("It already is so.", "Nothing more to do.")],
        }
    }
}

/// The call as it is said.
#[must_use]
pub fn call(word: CallWord) -> &'static str {
    match word {
        CallWord::Proceed => "PROCEED",
        CallWord::Hold => "HOLD",
        CallWord::StopWork => "STOP WORK",
    }
}

/// The state of the job as a whole.
#[must_use]
pub fn job_state(state: JobState) -> &'static str {
    match state {
        JobState::Running => "running",
        JobState::Hold => "on hold",
        JobState::Stop => "stopped",
        JobState::StopExit => "stopped, on an agreed exit plan",
        JobState::Emergency => "stopped, emergency",
        JobState::Suspended => "suspended",
        JobState::Closed => "closed",
    }
}

/// Where a step stands.
#[must_use]
pub fn step_state(state: StepState) -> &'static str {
    match state {
        StepState::Locked => "later",
        StepState::Open => "open",
        StepState::Conflict => "answers differ",
        StepState::Done => "done",
    }
}

/// What sounds.
#[must_use]
pub fn alarm(alarm: Alarm) -> Sentence {
    match alarm {
        Alarm::Stop => say("Stop work.", "Say that you have heard it."),
        Alarm::HoldByLoss => say("Hold.", "Make no new move; the reason is on the screen."),
        Alarm::Clearance => say(
            "A measured value is outside its limit.",
            "Draw back and keep the gap.",
        ),
        Alarm::UnknownDevice => say(
            "A device off the job called stop, or tried to confirm.",
            "Find who it is.",
        ),
        Alarm::Call => say(
            "You are missing in the head count.",
            "Say that you are in the clear.",
        ),
        Alarm::Fork => say("A device's log does not agree.", "Supervisor to retire it."),
    }
}

/// A place where an item is.
#[must_use]
pub fn place(place: Place) -> &'static str {
    match place {
        Place::Truck => "on the truck",
        Place::Ground => "on the ground",
        Place::OnTheLine => "on the load line",
        Place::Aloft => "aloft",
        Place::Structure => "on the structure",
        Place::Conductor => "on the conductor",
    }
}

/// A length of time: seconds up to a minute, then minutes and seconds.
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

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
