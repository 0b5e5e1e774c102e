//! Invariants: what must never be, as predicates that simulator, tests and replay share.
//! Owns: nothing.   Gives: one function for each of I1 to I9, as far as one place can see it.
//! May use: gate, state, log, verify.   Never: changes anything; true time, which comes in as an argument.

mod looked;

pub use looked::Looked;

use crate::gate::{Job, Verdict};
use crate::ids::{DeviceKey, EntryHash, StepId};
use crate::log::entry::Body;
use crate::log::graph::EntryIx;
use crate::plan::{Plan, Who};
use crate::state::{CallWord, Status, StepState};
use core::hash::{Hash, Hasher};
use std::collections::BTreeSet;

/// What was found that must never be.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Broken {
    /// I1.
    #[error(
        "I1: step {step} is shown {state:?} while {before}, which comes before it, is not complete"
    )]
    OpenTooEarly {
        /// The step.
        step: StepId,
        /// As shown.
        state: StepState,
        /// The step before it.
        before: StepId,
    },
    /// I2.
    #[error("I2: Proceed {since_ms} ms after a stop, at most {most_ms} ms are allowed")]
    ProceedTooLate {
        /// Since the press, by true time.
        since_ms: u64,
        /// The bound.
        most_ms: u64,
    },
    /// The gate's PAGE, beside I2: who looks at a page that hangs can neither see a stop nor press one.
    #[error("PAGE: Proceed {since_ms} ms after a page hung, at most {most_ms} ms are allowed")]
    PageHangs {
        /// Since the page last could be pressed, by true time.
        since_ms: u64,
        /// The bound.
        most_ms: u64,
    },
    /// I3.
    #[error("I3: the acknowledgement {entry} counts although {why}")]
    CountsWrongly {
        /// The acknowledgement.
        entry: EntryHash,
        /// What speaks against it.
        why: String,
    },
    /// I3, second part.
    #[error(
        "I3: step {step} was complete and followed, and was reopened by what must not reopen it"
    )]
    Reopened {
        /// The step.
        step: StepId,
    },
    /// I4.
    #[error("I4: two devices hold the same entries and differ on {what}")]
    Differ {
        /// On what.
        what: &'static str,
    },
    /// I5.
    #[error("I5: entry {entry} was shown as recorded and is gone")]
    Lost {
        /// The entry.
        entry: EntryHash,
    },
    /// I6.
    #[error("I6: {missing} entries have not reached a connected device")]
    NotLevel {
        /// How many.
        missing: usize,
    },
    /// I6.
    #[error("I6: device {device} has forked")]
    Forked {
        /// The device.
        device: DeviceKey,
    },
    /// I7.
    #[error("I7: entry {entry} is of a device that was never admitted")]
    Stranger {
        /// The entry.
        entry: EntryHash,
    },
    /// I8.
    #[error("I8: the stop {entry} of a rostered device is neither in force nor released")]
    StopIgnored {
        /// The stop.
        entry: EntryHash,
    },
}

/// I1: no step is shown open or done unless every step before it is done.
///
/// # Errors
/// [`Broken::OpenTooEarly`].
pub fn opens_in_order(status: &Status, plan: &Plan) -> Result<(), Broken> {
    let done = |id: &StepId| {
        status
            .steps
            .iter()
            .any(|step| step.id == *id && step.state == StepState::Done)
    };
    for step in &status.steps {
        if step.state == StepState::Locked {
            continue;
        }
        let before = plan
            .step(&step.id)
            .and_then(|planned| planned.after.iter().find(|before| !done(before)));
        if let Some(before) = before {
            return Err(Broken::OpenTooEarly {
                step: step.id.clone(),
                state: step.state,
                before: before.clone(),
            });
        }
    }
    Ok(())
}

/// I2 for a node: `since_ms` after a stop was pressed on a present device, by true time, with the stop not
/// released; the bound is the watch limit and one tick.
///
/// # Errors
/// [`Broken::ProceedTooLate`].
pub fn stops_in_time(word: CallWord, since_ms: u64, watch_limit_ms: u64) -> Result<(), Broken> {
    bounded(word, since_ms, watch_limit_ms + crate::bounds::TICK_MS)
}

/// I2 for a page: twice the page limit and the ticks more.
///
/// # Errors
/// [`Broken::ProceedTooLate`].
pub fn page_stops_in_time(
    word: CallWord,
    since_ms: u64,
    watch_limit_ms: u64,
) -> Result<(), Broken> {
    use crate::bounds::{PAGE_LIMIT_MS, TICK_MS};
    bounded(
        word,
        since_ms,
        watch_limit_ms + 2 * PAGE_LIMIT_MS + 3 * TICK_MS,
    )
}

/// PAGE for a node: `since_ms` after the page of a present device, its own or another's, last gave a sign of life, by
/// true time; the bound is the page limit, for another's the watch limit more, and the ticks.
///
/// # Errors
/// [`Broken::PageHangs`].
pub fn holds_for_a_page(
    word: CallWord,
    own: bool,
    since_ms: u64,
    watch_limit_ms: u64,
) -> Result<(), Broken> {
    use crate::bounds::{PAGE_LIMIT_MS, TICK_MS};
    let most_ms = PAGE_LIMIT_MS + 2 * TICK_MS + if own { 0 } else { watch_limit_ms };
    if word == CallWord::Proceed && since_ms > most_ms {
        Err(Broken::PageHangs { since_ms, most_ms })
    } else {
        Ok(())
    }
}

fn bounded(word: CallWord, since_ms: u64, most_ms: u64) -> Result<(), Broken> {
    if word == CallWord::Proceed && since_ms > most_ms {
        Err(Broken::ProceedTooLate { since_ms, most_ms })
    } else {
        Ok(())
    }
}

/// I3: nothing that counts is concurrent with a stop of a device present in its past, or said by somebody
/// without the role.
///
/// # Errors
/// [`Broken::CountsWrongly`].
pub fn counts_rightly(job: &Job) -> Result<(), Broken> {
    let graph = job.graph();
    let stops: Vec<EntryIx> = graph
        .iter()
        .filter(|&ix| graph.body(ix).is_stop())
        .collect();
    for ix in graph.iter() {
        let is_counted =
            matches!(graph.body(ix), Body::Acknowledge(_)) && job.verdict(ix) == Verdict::Counts;
        if !is_counted {
            continue;
        }
        holds_role(job, ix)?;
        crossed_by(job, ix, &stops)?;
    }
    Ok(())
}

/// I3: an acknowledgement that counts is of one who was present and held a role for it.
fn holds_role(job: &Job, ix: EntryIx) -> Result<(), Broken> {
    let graph = job.graph();
    let Body::Acknowledge(ack) = graph.body(ix) else {
        return Ok(());
    };
    let author = graph.author(ix);
    let may = job
        .plan_in_past(ix)
        .step(&ack.step)
        .and_then(|step| step.check(&ack.check))
        .is_some_and(|check| {
            // What every present device is asked, a person without a role may say too.
            let everybody = check.who == Who::Each(None);
            job.roster_in_past(ix)
                .members
                .get(&author)
                .is_some_and(|member| {
                    let by_role = member.roles.iter().any(|role| check.who.may(role));
                    member.present && (everybody || by_role)
                })
        });
    if may {
        Ok(())
    } else {
        Err(Broken::CountsWrongly {
            entry: graph.hash(ix),
            why: "its author held no role for it".to_owned(),
        })
    }
}

/// I3: no stop of a device that was present in its past crossed what counts.
fn crossed_by(job: &Job, ix: EntryIx, stops: &[EntryIx]) -> Result<(), Broken> {
    let graph = job.graph();
    let roster = job.roster_in_past(ix);
    let crossed = stops
        .iter()
        .find(|&&stop| graph.concurrent(stop, ix) && roster.present(&graph.author(stop)));
    match crossed {
        Some(stop) => Err(Broken::CountsWrongly {
            entry: graph.hash(ix),
            why: format!("the stop {} crossed it", graph.hash(*stop)),
        }),
        None => Ok(()),
    }
}

/// I3, second part: between two looks at one device with nothing in between but unheard stops of devices,
/// admissions and returns, no step that was done and had a step after it done is reopened.
///
/// # Errors
/// [`Broken::Reopened`].
pub fn stays_done(before: &Status, after: &Status, plan: &Plan) -> Result<(), Broken> {
    let done = |status: &Status, id: &StepId| {
        status
            .steps
            .iter()
            .any(|step| step.id == *id && step.state == StepState::Done)
    };
    let followed = |id: &StepId| {
        plan.steps
            .iter()
            .any(|step| step.after.contains(id) && done(before, &step.id))
    };
    let reopened = before
        .steps
        .iter()
        .find(|step| done(before, &step.id) && followed(&step.id) && !done(after, &step.id));
    match reopened {
        Some(step) => Err(Broken::Reopened {
            step: step.id.clone(),
        }),
        None => Ok(()),
    }
}

/// I4: two devices with equal sets of entries agree on everything that the log decides.
///
/// # Errors
/// [`Broken::Differ`], with the first thing on which they do.
pub fn agree(one: &Job, other: &Job) -> Result<(), Broken> {
    if hashes(one) != hashes(other) {
        return Ok(());
    }
    let differ = |what| Err(Broken::Differ { what });
    if one.roster() != other.roster() {
        return differ("the roster");
    }
    if one.plan() != other.plan() || one.plan_version() != other.plan_version() {
        return differ("the plan");
    }
    for step in &one.plan().steps {
        if one.step_state(&step.id) != other.step_state(&step.id) {
            return differ("a step");
        }
    }
    let stops = |job: &Job| -> BTreeSet<EntryHash> {
        let graph = job.graph();
        let stops = job.in_force().into_iter();
        stops.map(|stop| graph.hash(stop)).collect()
    };
    if stops(one) != stops(other) {
        return differ("the stops in force");
    }
    for ix in one.graph().iter() {
        let hash = one.graph().hash(ix);
        let same = other
            .graph()
            .find(&hash)
            .is_some_and(|theirs| sorted(one.verdict(ix)) == sorted(other.verdict(theirs)));
        if !same {
            return differ("whether an entry counts");
        }
    }
    Ok(())
}

/// Everything on which [`agree`] compares two devices, as one value: equal if they would agree, and unequal if they
/// would not, but for the plan, of which only the version is part of it.
#[must_use]
pub fn judged(job: &Job) -> EntryHash {
    let mut all = Whole(blake3::Hasher::new_derive_key(
        "gantline 2026-11-27 everything that a log decides, version 2",
    ));
    let graph = job.graph();
    job.roster().hash(&mut all);
    job.plan_version().hash(&mut all);
    for step in &job.plan().steps {
        job.step_state(&step.id).hash(&mut all);
    }
    let stops: BTreeSet<EntryHash> = job
        .stops()
        .iter()
        .map(|stop| graph.hash(stop.entry))
        .collect();
    stops.hash(&mut all);
    let mut verdicts: Vec<(EntryHash, Verdict)> = graph
        .iter()
        .map(|ix| (graph.hash(ix), sorted(job.verdict(ix))))
        .collect();
    verdicts.sort_by_key(|(hash, _)| *hash);
    verdicts.hash(&mut all);
    EntryHash(*all.0.finalize().as_bytes())
}

/// Takes values whole, byte by byte: as text, hashes are shortened, and unlike ones would be taken for one.
struct Whole(blake3::Hasher);

impl Hasher for Whole {
    fn write(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    fn finish(&self) -> u64 {
        let whole = self.0.finalize();
        let first = whole.as_bytes().first_chunk::<8>();
        first.map_or(0, |first| u64::from_le_bytes(*first))
    }
}

/// Reasons come in no promised order.
fn sorted(verdict: Verdict) -> Verdict {
    match verdict {
        Verdict::Counts => Verdict::Counts,
        Verdict::NotCounted(mut reasons) => {
            reasons.sort();
            Verdict::NotCounted(reasons)
        }
        Verdict::Information(mut reasons) => {
            reasons.sort();
            Verdict::Information(reasons)
        }
    }
}

fn hashes(job: &Job) -> BTreeSet<EntryHash> {
    let graph = job.graph();
    graph.iter().map(|ix| graph.hash(ix)).collect()
}

/// I5: what was shown as recorded is still there.
///
/// # Errors
/// [`Broken::Lost`].
pub fn nothing_lost<'a>(
    job: &Job,
    recorded: impl IntoIterator<Item = &'a EntryHash>,
) -> Result<(), Broken> {
    match recorded
        .into_iter()
        .find(|entry| job.graph().find(entry).is_none())
    {
        Some(entry) => Err(Broken::Lost { entry: *entry }),
        None => Ok(()),
    }
}

/// I6: a connected device has every entry that another has, and nobody in `honest` has forked.
///
/// # Errors
/// [`Broken::NotLevel`], [`Broken::Forked`].
pub fn level(one: &Job, other: &Job, honest: &[DeviceKey]) -> Result<(), Broken> {
    let forked = one
        .graph()
        .forks()
        .iter()
        .find(|fork| honest.contains(&fork.author));
    if let Some(fork) = forked {
        return Err(Broken::Forked {
            device: fork.author,
        });
    }
    let missing = hashes(one).symmetric_difference(&hashes(other)).count();
    if missing == 0 {
        Ok(())
    } else {
        Err(Broken::NotLevel { missing })
    }
}

/// I7: nothing of a device that was never admitted is part of the job.
///
/// # Errors
/// [`Broken::Stranger`].
pub fn no_strangers(job: &Job) -> Result<(), Broken> {
    let graph = job.graph();
    let mut admitted: BTreeSet<DeviceKey> = BTreeSet::new();
    for ix in graph.iter() {
        match graph.body(ix) {
            Body::Found(_) => {
                admitted.insert(graph.author(ix));
            }
            Body::Admit(admit) => {
                admitted.insert(admit.device);
            }
            _ => {}
        }
        if !admitted.contains(&graph.author(ix)) {
            return Err(Broken::Stranger {
                entry: graph.hash(ix),
            });
        }
    }
    Ok(())
}

/// I8: every stop of a device that was ever on the job is in force or was released.
///
/// # Errors
/// [`Broken::StopIgnored`].
pub fn no_stop_ignored(job: &Job) -> Result<(), Broken> {
    let graph = job.graph();
    let in_force: BTreeSet<EntryIx> = job.in_force().into_iter().collect();
    let ignored = graph.iter().find(|&stop| {
        graph.body(stop).is_stop()
            && !in_force.contains(&stop)
            && !graph.iter().any(|ix| releases(job, ix, stop))
    });
    match ignored {
        Some(stop) => Err(Broken::StopIgnored {
            entry: graph.hash(stop),
        }),
        None => Ok(()),
    }
}

fn releases(job: &Job, ix: EntryIx, stop: EntryIx) -> bool {
    let graph = job.graph();
    let Body::Release(release) = graph.body(ix) else {
        return false;
    };
    graph.before(stop, ix)
        && graph.find(&release.ask).is_some_and(|ask| {
            matches!(graph.body(ask), Body::Ask(ask) if ask.stops.contains(&graph.hash(stop)))
        })
}

/// Everything that one device's log can be asked by itself.
///
/// # Errors
/// The first [`Broken`].
pub fn check(job: &Job, status: &Status) -> Result<(), Broken> {
    opens_in_order(status, job.plan())?;
    counts_rightly(job)?;
    no_strangers(job)?;
    no_stop_ignored(job)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reason::Reason;

    #[test]
    fn what_differs_in_the_last_byte_of_a_hash_is_told_apart() {
        let of = |last| {
            let mut stop = [7; 32];
            stop[31] = last;
            let reasons = vec![Reason::StopActive {
                stop: EntryHash(stop),
            }];
            let mut all = Whole(blake3::Hasher::new());
            Verdict::NotCounted(reasons).hash(&mut all);
            all.0.finalize()
        };
        assert_eq!(of(1), of(1));
        assert_ne!(of(1), of(2));
    }

    #[test]
    fn a_page_that_hangs_holds_its_own_device_first_and_the_others_a_watch_limit_later() {
        use crate::bounds::{PAGE_LIMIT_MS, TICK_MS};
        let own = PAGE_LIMIT_MS + 2 * TICK_MS;
        for (is_own, most_ms) in [(true, own), (false, own + 4_000)] {
            let look = |word, since_ms| holds_for_a_page(word, is_own, since_ms, 4_000);
            assert_eq!(look(CallWord::Proceed, most_ms), Ok(()));
            let since_ms = most_ms + 1;
            let broken = Broken::PageHangs { since_ms, most_ms };
            assert_eq!(look(CallWord::Proceed, since_ms), Err(broken));
            for word in [CallWord::Hold, CallWord::StopWork] {
                assert_eq!(look(word, since_ms), Ok(()));
            }
        }
    }
}
