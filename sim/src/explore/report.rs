//! Report: what an exploration found, and what it had to see to mean anything.
//! Owns: the list of wonders.   Gives: `Report`, which prints itself.
//! May use: facts.   Never: what is allowed (invariants).

use super::World;
use super::facts::Seen;
use std::collections::BTreeMap;

/// Things that must be seen at some time, beyond those of [`Seen`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Wonder {
    ProceedWhilePressed,
    TwoLeads,
    AllClosed,
    ClosedAfterAll,
    OwnTakenBack,
    MadeGood,
    Annulled,
    Waiting,
    Proceed,
    Hold,
    HoldByLoss,
}

/// What each wonder needs of a world to be possible in it, and its words.
type Line<T> = (T, fn(&World) -> bool, &'static str);

fn always(_: &World) -> bool {
    true
}

fn stop(world: &World) -> bool {
    world.stop
}

fn loss(world: &World) -> bool {
    world.loss
}

fn late_stop(world: &World) -> bool {
    world.stop && world.loss
}

fn relief(world: &World) -> bool {
    world.relief
}

const SEEN: [Line<Seen>; 14] = [
    (Seen::StepDone, always, "a step is complete"),
    (Seen::AllDone, always, "both steps are complete"),
    (Seen::Closed, always, "the job is closed on a device"),
    (
        Seen::Reopened,
        stop,
        "a closed job is open again after a stop",
    ),
    (
        Seen::Crossed,
        late_stop,
        "a stop annuls a confirmation that crossed it",
    ),
    (
        Seen::ConfirmedAgain,
        late_stop,
        "an annulled confirmation is given again and counts",
    ),
    (Seen::Released, stop, "a stop is released"),
    (Seen::Relieved, relief, "the office passes to another"),
    (
        Seen::ReliefWithStop,
        |w| w.stop && w.relief,
        "the office passes while a stop is in force",
    ),
    (
        Seen::ReleasedByNewLead,
        |w| w.stop && w.relief,
        "the new supervisor releases",
    ),
    (
        Seen::AskVoid,
        |w| w.stop && w.relief,
        "an ask of the former supervisor is in the log",
    ),
    (
        Seen::StopBeforeDisk,
        stop,
        "a stop is shown before the disk has it",
    ),
    (Seen::StopWork, stop, "a device says Stop work"),
    (
        Seen::NotRecovered,
        |w| w.restart,
        "a device waits to know its own chain whole",
    ),
];

const WONDERS: [Line<Wonder>; 11] = [
    (
        Wonder::ProceedWhilePressed,
        stop,
        "a device says Proceed while a stop that it has not heard is pressed",
    ),
    (
        Wonder::TwoLeads,
        relief,
        "two devices take different people for the supervisor",
    ),
    (
        Wonder::AllClosed,
        always,
        "the job is closed on every device",
    ),
    (
        Wonder::ClosedAfterAll,
        |w| w.stop && w.loss && w.restart && w.relief,
        "stop, loss, restart and relief happen, and the job is closed on every device",
    ),
    (
        Wonder::OwnTakenBack,
        |w| w.stop && w.restart && w.loss,
        "a restarted device takes an entry of its own back from another",
    ),
    (Wonder::MadeGood, loss, "what was lost comes by an ask"),
    (
        Wonder::Annulled,
        late_stop,
        "a complete step is reopened by a message",
    ),
    (
        Wonder::Waiting,
        loss,
        "an entry comes before its past and waits",
    ),
    (Wonder::Proceed, always, "a device says Proceed"),
    (Wonder::Hold, always, "a device says Hold or Stop work"),
    (
        Wonder::HoldByLoss,
        always,
        "a device that said Proceed holds because it hears nobody",
    ),
];

/// Which were seen, and in which world first.
#[derive(Clone, Debug, Default)]
pub(super) struct Wonders {
    seen: BTreeMap<u32, u32>,
    wonders: BTreeMap<Wonder, u32>,
    bits: u32,
}

impl Wonders {
    pub(super) fn note_seen(&mut self, bits: u32, world: u32) {
        let new = bits & !self.bits;
        if new == 0 {
            return;
        }
        for bit in 0..32 {
            if new & (1 << bit) != 0 {
                self.seen.insert(bit, world);
            }
        }
        self.bits |= new;
    }

    pub(super) fn note(&mut self, wonder: Wonder, so: bool, world: u32) {
        if so {
            self.wonders.entry(wonder).or_insert(world);
        }
    }

    pub(super) fn all(&self) -> Vec<(Sometimes, Option<u32>)> {
        let seen = SEEN.iter().map(|(seen, of, words)| {
            let first = self.seen.get(&(*seen as u32)).copied();
            (Sometimes { of: *of, words }, first)
        });
        let wonders = WONDERS.iter().map(|(wonder, of, words)| {
            (
                Sometimes { of: *of, words },
                self.wonders.get(wonder).copied(),
            )
        });
        seen.chain(wonders).collect()
    }
}

/// Something that must be seen at some time, in worlds where it can be.
#[derive(Clone, Copy, Debug)]
pub struct Sometimes {
    of: fn(&World) -> bool,
    words: &'static str,
}

/// What an exploration found.
#[derive(Clone, Debug)]
pub struct Report {
    /// What may happen in it.
    pub world: World,
    /// Different worlds.
    pub worlds: usize,
    /// Steps between them.
    pub moves: u64,
    /// The longest of the shortest ways to a world, in events.
    pub depth: u32,
    /// Different states of single devices.
    pub device_states: usize,
    /// How often an engine ran for an event.
    pub runs: u64,
    /// Orders of events that led to one device state and were compared.
    pub merged: u64,
    /// Different messages.
    pub messages: usize,
    /// What must be seen, and after how many events it first was.
    pub wonders: Vec<(Sometimes, Option<usize>)>,
    /// What must never be, with the events that led to it.
    pub broken: Vec<(String, Vec<String>)>,
}

impl Report {
    /// Whether nothing was broken, and everything was seen that must be.
    #[must_use]
    pub fn is_good(&self) -> bool {
        self.broken.is_empty() && self.never_seen().next().is_none()
    }

    /// What two explorations found together. What was in both counts twice.
    pub(super) fn and(mut self, other: Self) -> Self {
        self.worlds += other.worlds;
        self.moves += other.moves;
        self.depth = self.depth.max(other.depth);
        self.device_states += other.device_states;
        self.runs += other.runs;
        self.merged += other.merged;
        self.messages += other.messages;
        for ((_, mine), (_, theirs)) in self.wonders.iter_mut().zip(other.wonders) {
            *mine = mine.iter().chain(&theirs).min().copied();
        }
        self.broken.extend(other.broken);
        self
    }

    /// What should have been seen and was not.
    pub fn never_seen(&self) -> impl Iterator<Item = &'static str> + '_ {
        self.wonders
            .iter()
            .filter(|(sometimes, first)| (sometimes.of)(&self.world) && first.is_none())
            .map(|(sometimes, _)| sometimes.words)
    }
}

impl core::fmt::Display for Report {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        writeln!(f, "{}", self.world)?;
        writeln!(
            f,
            "  {} worlds, {} moves, depth {}",
            self.worlds, self.moves, self.depth
        )?;
        writeln!(
            f,
            "  {} device states, {} messages; the engine ran {} times, {} orders were compared",
            self.device_states, self.messages, self.runs, self.merged
        )?;
        for (sometimes, first) in &self.wonders {
            match first {
                Some(first) => writeln!(f, "  sometimes: {} (after {first})", sometimes.words)?,
                None if (sometimes.of)(&self.world) => {
                    writeln!(f, "  NEVER SEEN: {}", sometimes.words)?;
                }
                None => {}
            }
        }
        for (words, way) in &self.broken {
            writeln!(f, "  BROKEN: {words}")?;
            for (number, event) in way.iter().enumerate() {
                writeln!(f, "    {:3} {event}", number + 1)?;
            }
        }
        if self.broken.is_empty() {
            writeln!(f, "  no violation")?;
        }
        Ok(())
    }
}
