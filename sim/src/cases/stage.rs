//! Stage: the world of one case: its devices by name, what was pressed and what came of it.
//! Owns: the world, names, answers to events.   Gives: `Stage`: press, wait, who holds which device.
//! May use: world, plan, case.   Never: an expectation (judge), a state set from outside.

use super::acts::Event;
use super::case::Case;
use super::expects::View;
use super::plan::{NoPlan, Planned, planned};
use crate::radio::Air;
use crate::signing::Signing;
use crate::world::{Image, Options, World};
use gantline_protocol::engine::{Command, Engine, Outcome};
use gantline_protocol::ids::{DeviceKey, EntryHash, Person, RoleId};
use gantline_protocol::log::entry::{Body, NoteKind, StopKind};
use gantline_protocol::state::Status;
use std::collections::{BTreeMap, BTreeSet};

/// A command waits at most so long for its answer while a history is made, ms.
const ANSWER_MS: u64 = 8_000;
/// The note of a refused press is looked for so long, ms.
const NOTE_MS: u64 = 3_000;

/// What came of an event.
#[derive(Clone, Debug, Default)]
pub struct Told {
    /// Answers of the device.
    pub outcomes: Vec<Outcome>,
    /// Entries that it wrote, a note of a refused press among them.
    pub entries: Vec<EntryHash>,
    /// The device was off, or not on the job: nothing was pressed.
    pub off: bool,
    /// An entry made by a device that is not on the job, which others were given.
    pub forged: Option<EntryHash>,
    /// A stop that this key called off the job; who heard it logged it.
    pub stranger: Option<DeviceKey>,
}

/// What follows when a command was recorded.
#[derive(Clone, Debug)]
pub enum Then {
    /// Nothing.
    Nothing,
    /// The removal of a device is proposed.
    Remove(DeviceKey),
    /// A note says why, about the entry.
    Why(String),
    /// The job is suspended: all but one leave.
    EverybodyLeaves,
}

#[derive(Debug)]
struct Waiting {
    device: usize,
    command: Command,
    event: String,
    then: Then,
}

/// The world of one case.
#[derive(Debug)]
pub struct Stage<'c> {
    /// The case.
    pub case: &'c Case,
    /// Its plan.
    pub planned: Planned,
    /// The devices at work.
    pub world: World,
    /// True time of the case's t = 0, ms.
    pub zero_ms: u64,
    /// What came of each event.
    pub told: BTreeMap<String, Told>,
    /// Devices whose file the case has tampered with.
    pub tampered: BTreeSet<usize>,
    /// Old images of journals, by device and moment.
    pub images: BTreeMap<(usize, u64), Image>,
    /// Devices that were admitted and are to come onto the job.
    pub joining: Vec<usize>,
    /// Whose file was replayed last.
    pub replayed: Option<usize>,
    /// Tools out and back as counted for a suspension.
    pub counted: Option<(u32, u32)>,
    /// Who stays after a suspension.
    pub leaving: Option<Person>,
    /// Who was on the job before that.
    crew_before: Vec<usize>,
    names: Vec<String>,
    waiting: Vec<Waiting>,
    /// Refused presses whose note is not in the log yet, each until when it is looked for.
    unnoted: Vec<(String, usize, u64)>,
    outcomes_seen: usize,
}

impl<'c> Stage<'c> {
    /// A world with the supervisor's device on.
    ///
    /// # Errors
    /// [`NoPlan`].
    pub fn new(case: &'c Case, seed: u64, air: Air) -> Result<Self, NoPlan> {
        let planned = planned(case)?;
        let founder = case
            .crew
            .iter()
            .position(|member| member.enrolled && member.role == "supervisor")
            .ok_or_else(|| NoPlan("nobody is enrolled as supervisor".to_owned()))?;
        let mut order: Vec<usize> = (0..case.crew.len()).collect();
        order.remove(founder);
        order.insert(0, founder);
        let mut crew = Vec::new();
        for &at in &order {
            let member = &case.crew[at];
            let roles: Vec<RoleId> = if member.enrolled && member.role != "none yet" {
                vec![member.role.parse()?]
            } else {
                Vec::new()
            };
            crew.push((Person::try_from(member.person.as_str())?, roles));
        }
        let options = Options {
            seed,
            air,
            plan: planned.plan.clone(),
            crew,
            think_ms: (1_000, 1_000),
        };
        let mut world = World::signing(options, Signing::Simulated);
        for device in 0..world.devices.len() {
            world.devices[device].willing = false;
            world.set_wall(device, 0);
        }
        Ok(Self {
            case,
            planned,
            world,
            zero_ms: 0,
            told: BTreeMap::new(),
            tampered: BTreeSet::new(),
            images: BTreeMap::new(),
            joining: Vec::new(),
            names: order
                .iter()
                .map(|&at| case.crew[at].device.clone())
                .collect(),
            replayed: None,
            counted: None,
            leaving: None,
            crew_before: Vec::new(),
            waiting: Vec::new(),
            unnoted: Vec::new(),
            outcomes_seen: 0,
        })
    }

    /// The number of a device by the case's name.
    #[must_use]
    pub fn device(&self, name: &str) -> Option<usize> {
        self.names.iter().position(|known| known == name)
    }

    /// A device's name in the case.
    #[must_use]
    pub fn name(&self, device: usize) -> &str {
        self.names.get(device).map_or("-", String::as_str)
    }

    /// The device of a key.
    #[must_use]
    pub fn of_key(&self, key: &DeviceKey) -> Option<usize> {
        self.world
            .devices
            .iter()
            .position(|device| device.id == *key)
    }

    /// The engine of the supervisor in office, else of the first device that is on.
    #[must_use]
    pub fn office(&self) -> Option<&Engine> {
        self.world
            .engine(self.world.supervisor())
            .or_else(|| (0..self.names.len()).find_map(|device| self.world.engine(device)))
    }

    /// The present device of a person, else one that the case lists for them.
    #[must_use]
    pub fn device_of(&self, person: &str) -> Option<usize> {
        let roster = self.office()?.job().roster();
        let present = roster
            .devices()
            .find(|device| roster.person(device).is_some_and(|p| p.as_str() == person))
            .and_then(|device| self.of_key(device));
        present.or_else(|| {
            (0..self.names.len())
                .rev()
                .find(|&device| self.world.devices[device].person().as_str() == person)
        })
    }

    /// The first present device that holds a role.
    #[must_use]
    pub fn holder(&self, role: &str) -> Option<usize> {
        self.holders(role).into_iter().next()
    }

    /// Every present device that holds a role, in the order of the crew.
    #[must_use]
    pub fn holders(&self, role: &str) -> Vec<usize> {
        let (Some(engine), Ok(role)) = (self.office(), role.parse::<RoleId>()) else {
            return Vec::new();
        };
        let roster = engine.job().roster();
        (0..self.names.len())
            .filter(|&device| roster.holds(&self.world.devices[device].id, &role))
            .collect()
    }

    /// What a device shows now.
    #[must_use]
    pub fn status(&self, device: usize) -> Option<Status> {
        let engine = self.world.engine(device)?;
        Some(engine.status(self.world.clock(device)))
    }

    /// Milliseconds since the case's t = 0.
    #[must_use]
    pub fn now_ms(&self) -> u64 {
        self.world.now.saturating_sub(self.zero_ms)
    }

    /// Whether a device waits for an answer.
    #[must_use]
    pub fn is_busy(&self, device: usize) -> bool {
        self.waiting.iter().any(|waiting| waiting.device == device)
    }

    /// A press for an event; an empty id: for none.
    pub fn press(&mut self, device: usize, command: Command, event: &str, then: Then) {
        if self.world.engine(device).is_none() {
            self.told.entry(event.to_owned()).or_default().off = true;
            return;
        }
        self.waiting.push(Waiting {
            device,
            command: command.clone(),
            event: event.to_owned(),
            then,
        });
        self.world.do_now(device, command);
        self.collect();
    }

    /// Lets time pass, in small steps, and hears the answers.
    pub fn run_for(&mut self, ms: u64) {
        let end = self.world.now + ms;
        while self.world.now < end {
            self.world.run_for(50.min(end - self.world.now));
            self.collect();
        }
    }

    /// Lets time pass until something is so; whether it came to be.
    pub fn run_until(&mut self, ms: u64, so: impl Fn(&Self) -> bool) -> bool {
        let end = self.world.now + ms;
        while self.world.now < end {
            if so(self) {
                return true;
            }
            self.run_for(50.min(end - self.world.now));
        }
        so(self)
    }

    /// Hears the answers, does what follows from them, and lets those who were admitted come.
    pub fn collect(&mut self) {
        while let Some((device, command, outcome)) =
            self.world.outcomes.get(self.outcomes_seen).cloned()
        {
            self.outcomes_seen += 1;
            let found = self
                .waiting
                .iter()
                .position(|waiting| waiting.device == device && waiting.command == command);
            let Some(waiting) = found.map(|at| self.waiting.remove(at)) else {
                continue;
            };
            let entry = match &outcome {
                Outcome::Recorded { entry, .. } => Some(*entry),
                Outcome::AlreadySo => self.already(device, &command),
                Outcome::Refused { .. } => {
                    let until = self.world.now + NOTE_MS;
                    self.unnoted.push((waiting.event.clone(), device, until));
                    None
                }
            };
            let told = self.told.entry(waiting.event.clone()).or_default();
            told.outcomes.push(outcome.clone());
            told.entries.extend(entry);
            if let Outcome::Recorded { entry, .. } = outcome {
                self.follow(device, entry, &waiting.event, waiting.then);
            }
        }
        self.notes_of_refusals();
        self.logged_for_strangers();
        let (come, wait): (Vec<usize>, Vec<usize>) = core::mem::take(&mut self.joining)
            .into_iter()
            .partition(|&device| self.world.may_join(device));
        self.joining = wait;
        for device in come {
            self.world.come_onto_job(device);
        }
    }

    fn follow(&mut self, device: usize, entry: EntryHash, event: &str, then: Then) {
        let command = match then {
            Then::Nothing => return,
            Then::EverybodyLeaves => {
                let graph = self.world.engine(device).map(|engine| engine.job().graph());
                let body = graph.and_then(|graph| Some(graph.body(graph.find(&entry)?)));
                if let Some(Body::Suspend(suspend)) = body {
                    self.leaving = Some(suspend.resume_by.clone());
                    let all = 0..self.names.len();
                    self.crew_before = all.filter(|&device| self.is_present(device)).collect();
                }
                return;
            }
            Then::Remove(device) => Command::Remove {
                device,
                spoken_to: None,
                called_stop: false,
            },
            Then::Why(text) => Command::Note {
                text,
                about: Some(entry),
                kind: NoteKind::Plain,
            },
        };
        // What follows is not what the event is judged by.
        self.press(device, command, &format!("{event}+"), Then::Nothing);
    }

    /// The entry that makes an acknowledgement one that is there already.
    fn already(&self, device: usize, command: &Command) -> Option<EntryHash> {
        let Command::Acknowledge { step, check, .. } = command else {
            return None;
        };
        let engine = self.world.engine(device)?;
        let graph = engine.job().graph();
        let said = engine.job().facts().said(graph, graph.all(), step, check);
        let mut own = said
            .into_iter()
            .filter(|&ix| graph.author(ix) == engine.me());
        own.next_back().map(|ix| graph.hash(ix))
    }

    /// A refused press may leave a note: it is found by its author, after the press.
    fn notes_of_refusals(&mut self) {
        for (event, device, until) in core::mem::take(&mut self.unnoted) {
            let Some(engine) = self.world.engine(device) else {
                continue;
            };
            let graph = engine.job().graph();
            let taken =
                |hash: &EntryHash| self.told.values().any(|told| told.entries.contains(hash));
            let note = graph
                .iter()
                .filter(|&ix| graph.author(ix) == engine.me())
                .filter(|&ix| {
                    matches!(graph.body(ix), Body::Note(note) if matches!(note.kind, NoteKind::Refused { .. }))
                })
                .map(|ix| graph.hash(ix))
                .find(|hash| !taken(hash));
            if let Some(note) = note {
                self.told.entry(event).or_default().entries.push(note);
            } else if self.world.now < until {
                self.unnoted.push((event, device, until));
            }
        }
    }

    /// A stranger's stop is what the crew logged of it.
    fn logged_for_strangers(&mut self) {
        let strangers: Vec<(String, DeviceKey)> = self
            .told
            .iter()
            .filter_map(|(event, told)| Some((event.clone(), told.stranger?)))
            .collect();
        for (event, stranger) in strangers {
            let Some(engine) = self.office() else {
                continue;
            };
            let graph = engine.job().graph();
            let logged: Vec<EntryHash> = graph
                .iter()
                .filter(|&ix| {
                    matches!(graph.body(ix), Body::Stop(stop)
                        if matches!(&stop.kind, StopKind::Stranger { key, .. } if *key == stranger))
                })
                .map(|ix| graph.hash(ix))
                .collect();
            self.told.entry(event).or_default().entries = logged;
        }
    }

    /// Whether a device is on the job, as the supervisor's device has it.
    #[must_use]
    pub fn is_present(&self, device: usize) -> bool {
        self.office().is_some_and(|engine| {
            engine
                .job()
                .roster()
                .present(&self.world.devices[device].id)
        })
    }

    /// The entries of an event, as far as it has any.
    #[must_use]
    pub fn entries(&self, event: &str) -> &[EntryHash] {
        self.told.get(event).map_or(&[], |told| &told.entries)
    }

    /// The event that wrote an entry.
    #[must_use]
    pub fn event_of(&self, entry: &EntryHash) -> Option<&'c Event> {
        let (id, _) = self
            .told
            .iter()
            .find(|(_, told)| told.entries.contains(entry))?;
        self.case.event(id)
    }

    /// For a history: presses, waits, and tries again for as long as others have yet to hear.
    ///
    /// # Errors
    /// What the device answered in the end.
    pub fn must(&mut self, device: usize, command: &Command) -> Result<EntryHash, String> {
        let mut last = "no answer".to_owned();
        for _ in 0..6 {
            let before = self.told.get("").map_or(0, |told| told.outcomes.len());
            self.press(device, command.clone(), "", Then::Nothing);
            self.run_until(ANSWER_MS, |stage| {
                stage.told.get("").map_or(0, |told| told.outcomes.len()) > before
            });
            let outcome = self
                .told
                .get("")
                .and_then(|told| told.outcomes.last().cloned());
            match outcome {
                Some(Outcome::Recorded { entry, reasons, .. }) if reasons.is_empty() => {
                    self.run_until(4_000, |stage| stage.all_hold(&entry));
                    self.run_for(300);
                    return Ok(entry);
                }
                Some(Outcome::AlreadySo) => return Ok(EntryHash::NONE),
                other => last = format!("{other:?}"),
            }
            self.run_for(1_000);
        }
        Err(format!(
            "{} could not do {command:?}: {last}",
            self.name(device)
        ))
    }

    fn all_hold(&self, entry: &EntryHash) -> bool {
        (0..self.names.len())
            .filter_map(|device| self.world.engine(device))
            .all(|engine| engine.holds(entry))
    }
}

impl Stage<'_> {
    /// The devices of a view that a node speaks for.
    #[must_use]
    pub fn in_view(&self, view: &View) -> Vec<usize> {
        match view {
            View::Device(name) => self.device(name).into_iter().collect(),
            View::All => self.all_in_touch(),
            View::Merged | View::Replay => Vec::new(),
        }
    }

    /// Present, on, linked to more than half of the roster (itself counted), and with a file that is its own. After a
    /// suspension or a close, those who were present before.
    fn all_in_touch(&self) -> Vec<usize> {
        if self.leaving.is_some() {
            return self.crew_before.clone();
        }
        let crew: Vec<usize> = (0..self.names.len())
            .filter(|&device| self.is_present(device))
            .collect();
        crew.iter()
            .copied()
            .filter(|&device| {
                self.world.engine(device).is_some() && !self.tampered.contains(&device)
            })
            .filter(|&device| {
                let linked = crew
                    .iter()
                    .filter(|&&other| self.world.linked(device, other));
                2 * (linked.count() + 1) > crew.len()
            })
            .collect()
    }

    /// Keeps what is on every disk now.
    pub fn keep_images(&mut self, at_ms: u64) {
        for (device, own) in self.world.devices.iter().enumerate() {
            self.images.insert((device, at_ms), own.disk.image());
        }
    }
}
