//! Explore: small worlds completely: every order of what can happen in them, over the real engine.
//! In reading order: `setup` the crew · `device` one device, event by event · `facts` what is seen on it ·
//! `locals` its states, each made once · `search` all worlds · `report` what was found.
//!
//! The world: three devices (supervisor, tower, observer), a plan of two steps, and in any order and at any
//! moment one stop by anybody, one message that is late by any time or lost, one restart with what was not
//! flushed gone, one relief of the supervisor. People press what their screens ask for, early, late or last.
//!
//! Our own and not stateright, because few of a world's steps are new for the device that takes them: here the
//! engine runs once for each state of a device and event (`locals`), where a checker of worlds would run it, and
//! keep a copy of it, for each world; and because states are merged by what lasts of a device (`Device::essence`),
//! and compared when they are.
//!
//! What is abstracted, and why nothing is lost by it:
//! - *Hearing.* Whatever happens on a device happens right after it heard both others. To act on what was heard
//!   before is the same as to act before the others went on: their steps and this one's do not touch. What
//!   differs is evidence that says less than it could, which counts less; that is in the gate's random jobs.
//!   Where hearing alone makes a device do something, that is an event of its own. What it then says is looked at
//!   in every world, and what it says when it hears nobody for longer than the watch limit. Other time does not
//!   pass but in asking.
//! - *Messages* arrive at once, but for the late one and those that rest on it. Any may be the late one; it may
//!   arrive at any time or never, and its repeats are as late. A stop's copies as datagrams are one with it. In
//!   every world a device that lacks anything must get it by asking: asking, and what is given, is one event.
//! - *Answers.* Who is asked whether they heard the stop, or whether they take the office, does so before anything
//!   else is pressed: one that comes later is as a stop or an offer that was late.
//! - *Presses* that would be refused are not made: they leave a note that no rule reads. One that waits for
//!   fresh evidence is the same press made a little later.
//! - *Disks* answer at once, except while an own stop is on its way there.
//! - Not in it: standing conditions (fresh for ever), items and loads, forks and lies, removals, changes of the
//!   plan. Those are in `run` and in the gate's random jobs.

mod device;
mod facts;
mod locals;
mod report;
mod search;
mod setup;

pub use report::{Report, Sometimes};

/// What may happen once in a world, and how many worlds are too many.
#[derive(Clone, Debug)]
#[allow(
    clippy::struct_excessive_bools,
    reason = "each is a thing that may happen or not"
)]
pub struct World {
    /// Somebody stops.
    pub stop: bool,
    /// A device loses power and starts again.
    pub restart: bool,
    /// The supervisor offers the office.
    pub relief: bool,
    /// A message is late, by any time, or lost.
    pub loss: bool,
    /// More worlds than this are given up.
    pub most_worlds: usize,
}

impl core::fmt::Display for World {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let parts = [
            (self.stop, "one stop"),
            (self.loss, "one loss"),
            (self.restart, "one restart"),
            (self.relief, "one relief"),
        ];
        write!(f, "3 devices, 2 steps")?;
        for (so, words) in parts {
            if so {
                write!(f, ", {words}")?;
            }
        }
        Ok(())
    }
}

/// Explores a world to its end, or until something is broken.
///
/// # Errors
/// What kept it from being explored to its end: too many worlds, or a crew that cannot start.
pub fn explore(world: &World) -> Result<Report, String> {
    if !world.stop {
        return search::explore(world, None);
    }
    // Only one stops, so that the worlds of each are apart from those of the others, and each has a thread.
    std::thread::scope(|scope| {
        let threads = (0..setup::DEVICES)
            .map(|stopper| {
                std::thread::Builder::new()
                    .spawn_scoped(scope, move || search::explore(world, Some(stopper)))
                    .map_err(|why| format!("no thread can be started: {why}"))
            })
            .collect::<Result<Vec<_>, _>>()?;
        let mut all: Option<Report> = None;
        for thread in threads {
            let report = thread.join().map_err(|_| "a thread panicked")??;
            all = Some(match all {
                Some(all) => all.and(report),
                None => report,
            });
        }
        all.ok_or_else(|| "nobody to stop".to_owned())
    })
}
