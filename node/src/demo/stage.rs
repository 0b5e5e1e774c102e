//! Stage: six devices and the people who hold them, at work until something is due.
//! Owns: stations, hands, the figures so far.   Gives: `Stage`.
//! May use: station, crew, show, summary.   Never: a mistake of its own (script).

use super::crew::Hand;
use super::show::Show;
use super::station::Station;
use super::summary::{Refusals, StopSpread};
use super::{Random, Stopped};
use crate::words::{ENGLISH, Words};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::{EntryHash, Person};
use gantline_protocol::log::entry::Said;
use gantline_protocol::plan::Plan;
use gantline_protocol::reason::Reason;
use gantline_protocol::state::{CallWord, Status, StepState};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Nothing at all was recorded for so long: somebody waits for something that will not come. Longer than any
/// wait that a rule asks for (a lost device may be removed after 10 s).
const STUCK_AFTER: Duration = Duration::from_secs(45);
/// How long to wait for one expected thing that is no act.
const EXPECT_WITHIN: Duration = Duration::from_secs(30);
/// Between two looks at all screens.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// An act that is due next, not done yet.
#[derive(Clone, Debug)]
pub struct Due {
    /// Whose.
    pub hand: usize,
    /// What.
    pub command: Command,
}

/// What a look at all screens came to.
enum Round {
    Due(Due),
    Acted,
    Waited,
}

/// Everything on stage.
#[derive(Debug)]
pub struct Stage {
    /// The plan as it is on the job.
    pub plan: Plan,
    /// Devices; hands are at the same places.
    pub stations: Vec<Station>,
    /// People.
    pub hands: Vec<Hand>,
    /// What somebody watching sees.
    pub show: Show,
    /// Acts that did not count.
    pub refusals: Refusals,
    /// Stops, and how they spread.
    pub stops: Vec<StopSpread>,
    /// People take their time.
    pub paced: bool,
    /// People take so long that others can look on.
    pub slow: bool,
    /// What is drawn by chance.
    pub random: Random,
    /// Somebody pressed Ctrl-C.
    pub interrupted: Arc<AtomicBool>,
    steps_shown: usize,
}

impl Stage {
    /// A stage without devices yet.
    #[must_use]
    pub fn new(plan: Plan, show: Show, paced: bool, random: Random, stop: Arc<AtomicBool>) -> Self {
        Self {
            plan,
            stations: Vec::new(),
            hands: Vec::new(),
            show,
            refusals: Refusals::default(),
            stops: Vec::new(),
            paced,
            slow: false,
            random,
            interrupted: stop,
            steps_shown: 0,
        }
    }

    /// The place of a person.
    pub fn place(&self, person: &str) -> Result<usize, Stopped> {
        // The newest device of that person: the one that replaced another.
        self.hands
            .iter()
            .rposition(|hand| hand.person.as_str() == person)
            .ok_or_else(|| Stopped::Nobody {
                person: person.to_owned(),
            })
    }

    /// Places whose devices run.
    pub fn running(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.hands.len()).filter(|&place| self.stations[place].runs())
    }

    /// What a device shows.
    pub fn status(&self, place: usize) -> Result<Status, Stopped> {
        self.stations[place].status()
    }

    /// Everybody goes on with the work, until somebody is about to do what `due` says; that act is not done
    /// but returned.
    pub fn work(
        &mut self,
        what: &str,
        mut due: impl FnMut(&Self, &Due, &Status) -> bool,
    ) -> Result<Due, Stopped> {
        let mut newest = Instant::now();
        loop {
            match self.round(&mut due)? {
                Round::Due(next) => return Ok(next),
                Round::Acted => newest = Instant::now(),
                Round::Waited if newest.elapsed() > STUCK_AFTER => return Err(self.stuck(what)),
                Round::Waited => std::thread::sleep(LOOK_EVERY),
            }
        }
    }

    /// Everybody goes on with the work until `so` holds on each running device.
    pub fn work_until(
        &mut self,
        what: &str,
        mut so: impl FnMut(&Status) -> bool,
    ) -> Result<(), Stopped> {
        let mut newest = Instant::now();
        loop {
            let mut all = true;
            for place in self.running().collect::<Vec<_>>() {
                all &= so(&self.status(place)?);
            }
            if all {
                return Ok(());
            }
            match self.round(&mut |_, _, _| false)? {
                Round::Acted => newest = Instant::now(),
                _ if newest.elapsed() > STUCK_AFTER => return Err(self.stuck(what)),
                _ => std::thread::sleep(LOOK_EVERY),
            }
        }
    }

    /// Each person looks at their own screen once, and does the next thing.
    fn round(
        &mut self,
        due: &mut impl FnMut(&Self, &Due, &Status) -> bool,
    ) -> Result<Round, Stopped> {
        self.check_interrupted()?;
        let mut acted = false;
        for place in self.running().collect::<Vec<_>>() {
            let status = self.status(place)?;
            self.show_steps(&status);
            let Some(command) = self.hands[place].next(&status, &self.plan) else {
                continue;
            };
            let next = Due {
                hand: place,
                command,
            };
            if due(self, &next, &status) {
                return Ok(Round::Due(next));
            }
            match self.act(place, &next.command)? {
                Outcome::AlreadySo => {}
                Outcome::Recorded { reasons, .. } if reasons.is_empty() => {
                    acted = true;
                    self.pause();
                }
                Outcome::Recorded { reasons, .. } | Outcome::Refused { reasons } => {
                    self.tolerate(place, &next.command, &reasons)?;
                }
            }
        }
        Ok(if acted { Round::Acted } else { Round::Waited })
    }

    /// Everybody goes on with the work until somebody presses Ctrl-C; with a person among them, what is refused is
    /// said, and not the end.
    pub fn work_on(&mut self) -> Result<(), Stopped> {
        loop {
            match self.round(&mut |_, _, _| false) {
                Ok(_) => self.sleep(LOOK_EVERY * 5),
                Err(refused @ Stopped::Unexpected { .. }) => {
                    self.say(&refused.to_string());
                    self.sleep(Duration::from_secs(3));
                }
                Err(stopped) => return Err(stopped),
            }
        }
    }

    /// Waits, without anybody doing anything, until `so` holds.
    pub fn expect(
        &self,
        what: &str,
        mut so: impl FnMut(&Self) -> Result<bool, Stopped>,
    ) -> Result<(), Stopped> {
        let until = Instant::now() + EXPECT_WITHIN;
        while Instant::now() < until {
            self.check_interrupted()?;
            if so(self)? {
                return Ok(());
            }
            std::thread::sleep(LOOK_EVERY);
        }
        Err(self.stuck(what))
    }

    /// Waits until every running device shows a call.
    pub fn expect_call(&self, what: &str, word: CallWord) -> Result<(), Stopped> {
        self.expect(what, |stage| {
            for place in stage.running() {
                if stage.status(place)?.call.word != word {
                    return Ok(false);
                }
            }
            Ok(true)
        })
    }

    /// Somebody does something; how it went. What does not count is counted.
    pub fn act(&mut self, place: usize, command: &Command) -> Result<Outcome, Stopped> {
        if let Command::Acknowledge {
            held_ms: Some(held_ms),
            ..
        } = command
        {
            // A critical confirm is kept pressed for as long as the plan says, here too.
            std::thread::sleep(Duration::from_millis(u64::from(*held_ms)));
        }
        let outcome = self.stations[place].client()?.act(command)?;
        match &outcome {
            Outcome::Recorded { reasons, .. } | Outcome::Refused { reasons } => {
                self.refusals.count(reasons);
            }
            Outcome::AlreadySo => {}
        }
        if let Outcome::Recorded { reasons, .. } = &outcome
            && reasons.is_empty()
        {
            let status = self.status(place)?;
            self.hands[place].did(command, &status);
        }
        Ok(outcome)
    }

    /// An act that was done another way has to be recorded and count.
    pub fn counted(&mut self, place: usize, act: &str, outcome: &Outcome) -> Result<(), Stopped> {
        match outcome {
            Outcome::Recorded { reasons, .. } if reasons.is_empty() => Ok(()),
            outcome => Err(Stopped::Unexpected {
                person: self.hands[place].person.clone(),
                act: act.to_owned(),
                expected: "recorded, and it counts".to_owned(),
                found: self.outcome_words(place, outcome),
            }),
        }
    }

    /// Somebody does something that has to be recorded and count.
    pub fn must(&mut self, place: usize, command: &Command) -> Result<EntryHash, Stopped> {
        match self.act(place, command)? {
            Outcome::Recorded { entry, reasons, .. } if reasons.is_empty() => Ok(entry),
            outcome => Err(Stopped::Unexpected {
                person: self.hands[place].person.clone(),
                act: act_name(command),
                expected: "recorded, and it counts".to_owned(),
                found: self.outcome_words(place, &outcome),
            }),
        }
    }

    /// Somebody does something that must not count, for a reason that `so` knows.
    pub fn must_not(
        &mut self,
        place: usize,
        command: &Command,
        expected: &str,
        so: impl Fn(&Reason) -> bool,
    ) -> Result<(), Stopped> {
        let outcome = self.act(place, command)?;
        match &outcome {
            Outcome::Recorded { reasons, .. } | Outcome::Refused { reasons }
                if reasons.iter().any(&so) =>
            {
                Ok(())
            }
            _ => Err(Stopped::Unexpected {
                person: self.hands[place].person.clone(),
                act: act_name(command),
                expected: expected.to_owned(),
                found: self.outcome_words(place, &outcome),
            }),
        }
    }

    /// Somebody presses stop; the time until each running device shows it is measured. `meanwhile` happens
    /// between the press and the others' hearing of it.
    pub fn stop(
        &mut self,
        place: usize,
        command: &Command,
        meanwhile: impl FnOnce(&mut Self) -> Result<(), Stopped>,
    ) -> Result<EntryHash, Stopped> {
        let pressed = Instant::now();
        let entry = self.must(place, command)?;
        let watchers: Vec<_> = self
            .running()
            .map(|other| {
                let person = self.hands[other].person.to_string();
                let client = self.stations[other].client().cloned();
                let watcher = std::thread::spawn(move || shows_stop(client, entry, pressed));
                (person, watcher)
            })
            .collect();
        meanwhile(self)?;
        let mut spread_ms = BTreeMap::new();
        for (person, watcher) in watchers {
            match watcher.join() {
                Ok(Ok(Some(ms))) => {
                    spread_ms.insert(person, ms);
                }
                Ok(Ok(None)) => return Err(Stopped::StopNotShown { person }),
                Ok(Err(stopped)) => return Err(stopped),
                Err(_) => return Err(Stopped::StopNotShown { person }),
            }
        }
        self.stops.push(StopSpread {
            by: self.hands[place].person.to_string(),
            spread_ms,
        });
        Ok(entry)
    }

    /// Takes a device with its holder on stage.
    pub fn take_on(&mut self, mut station: Station, person: Person) {
        station.person = person.clone();
        self.hands.push(Hand::new(person, station.device));
        self.stations.push(station);
    }

    /// A device hears and reaches nobody, or does again.
    pub fn deaf(&self, place: usize, deaf: bool) -> Result<(), Stopped> {
        self.stations[place]
            .client()?
            .fault(&crate::control::Fault { deaf })?;
        // On a slow machine what is on its way still arrives.
        std::thread::sleep(Duration::from_millis(50));
        Ok(())
    }

    /// One line for whoever watches.
    pub fn say(&self, text: &str) {
        self.show.line(text);
    }

    /// Refusals that pass by themselves: the others do not hold everything yet, or a hold is just ending.
    fn tolerate(&self, place: usize, command: &Command, reasons: &[Reason]) -> Result<(), Stopped> {
        let passing = |reason: &Reason| {
            matches!(
                reason.code(),
                "not_unlocked"
                    | "no_contact"
                    | "hold_active"
                    | "stop_active"
                    | "stale"
                    | "duplicate"
            )
        };
        if reasons.iter().all(passing) {
            return Ok(());
        }
        // The screen changed under the finger: what was asked is asked no longer.
        let now = self.status(place)?;
        if self.hands[place].next(&now, &self.plan).as_ref() != Some(command) {
            return Ok(());
        }
        let outcome = Outcome::Refused {
            reasons: reasons.to_vec(),
        };
        Err(Stopped::Unexpected {
            person: self.hands[place].person.clone(),
            act: act_name(command),
            expected: "recorded, and it counts".to_owned(),
            found: self.outcome_words(place, &outcome),
        })
    }

    fn outcome_words(&self, place: usize, outcome: &Outcome) -> String {
        let mut words = self.status(place).map_or_else(
            |_| Words::new(&ENGLISH),
            |status| Words::of_status(&ENGLISH, &status),
        );
        words.add_plan(&self.plan);
        let sentences: Vec<String> = words
            .outcome(outcome)
            .iter()
            .map(ToString::to_string)
            .collect();
        sentences.join(" ")
    }

    fn show_steps(&mut self, status: &Status) {
        let done = status
            .steps
            .iter()
            .filter(|step| step.state == StepState::Done)
            .count();
        if done > self.steps_shown {
            self.steps_shown = done;
            let open = status
                .steps
                .iter()
                .find(|step| step.state == StepState::Open);
            let title = open.map_or("", |step| step.title.as_str());
            self.show.steps(done as u64, title);
            if !title.is_empty() {
                self.say(&format!("step open: {title} ({done} done)"));
            }
        }
    }

    fn pause(&mut self) {
        if self.slow {
            let ms = 1_500 + self.random.below(2_500);
            self.sleep(Duration::from_millis(ms));
        } else if self.paced {
            let ms = 60 + self.random.below(140);
            std::thread::sleep(Duration::from_millis(ms));
        }
    }

    /// Sleeps, but not beyond Ctrl-C.
    fn sleep(&self, time: Duration) {
        let until = Instant::now() + time;
        while Instant::now() < until && !self.interrupted.load(Ordering::Relaxed) {
            std::thread::sleep(LOOK_EVERY);
        }
    }

    fn check_interrupted(&self) -> Result<(), Stopped> {
        if self.interrupted.load(Ordering::Relaxed) {
            Err(Stopped::Interrupted)
        } else {
            Ok(())
        }
    }

    /// Who waits for what, for a person who looks for the cause.
    fn stuck(&self, what: &str) -> Stopped {
        let mut waiting = Vec::new();
        for place in self.running() {
            let Ok(status) = self.status(place) else {
                waiting.push(format!("{}: no answer", self.hands[place].person));
                continue;
            };
            let mut words = Words::of_status(&ENGLISH, &status);
            words.add_plan(&self.plan);
            let reasons: Vec<String> = status
                .call
                .reasons
                .iter()
                .map(|reason| words.reason(reason).so)
                .collect();
            let asked: Vec<String> = status
                .asked
                .iter()
                .map(|asked| words.asked(asked).so)
                .collect();
            waiting.push(format!(
                "{}: {} [{}], asked of them: [{}], {} entries",
                self.hands[place].person,
                words.call(status.call.word),
                reasons.join(" "),
                asked.join(" "),
                status.entries,
            ));
        }
        Stopped::Stuck {
            what: what.to_owned(),
            waiting,
        }
    }
}

/// Looks at a screen until it shows the stop; ms since the press, or nothing within the time.
fn shows_stop(
    client: Result<crate::control::client::Client, Stopped>,
    entry: EntryHash,
    pressed: Instant,
) -> Result<Option<u64>, Stopped> {
    let client = client?;
    while pressed.elapsed() < EXPECT_WITHIN {
        let status = client.status()?;
        let shown = status.call.word == CallWord::StopWork
            && status.stops.iter().any(|stop| stop.entry == entry);
        if shown {
            return Ok(u64::try_from(pressed.elapsed().as_millis()).ok());
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    Ok(None)
}

/// An act in a few words, for messages.
#[must_use]
pub fn act_name(command: &Command) -> String {
    let value = serde_json::to_value(command).unwrap_or_default();
    let act = value.get("act").and_then(|act| act.as_str());
    let mut name = act.unwrap_or("act").replace('_', " ");
    if let Command::Acknowledge {
        step, check, said, ..
    } = command
    {
        name.push_str(&format!(" {step}/{check}"));
        if let Said::Value { value, unit } = said {
            name.push_str(&format!(" {value} {unit}"));
        }
    }
    name
}

/// A call sign that the demonstration uses.
pub fn person(name: &str) -> Result<Person, Stopped> {
    Person::try_from(name).map_err(|_| Stopped::Nobody {
        person: name.to_owned(),
    })
}
