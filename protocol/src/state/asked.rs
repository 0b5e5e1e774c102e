//! Asked: what is asked of the holder of this device now.
//! Owns: nothing.   Gives: `asked`.
//! May use: gate, facts, the other parts of the status.   Never: a step that is not open; in a stop, a check.

use super::readback::turn;
use super::steps::{Answer, agreed_not_to_pass, answers, looked};
use super::work::{against, fresh_ready};
use super::{
    AskedOf, CallWord, CheckStatus, ConditionStatus, Local, StepState, StepStatus, StopStatus,
};
use crate::facts::{OfferView, covers};
use crate::gate::Job;
use crate::ids::{DeviceKey, RoleId, StepId};
use crate::log::entry::{Body, Offered, StopKind};
use crate::plan::{Check, Condition, ConditionKind, Place, Step, Who};
use crate::reason::{Owed, Reason};
use std::collections::BTreeSet;

/// A condition is asked for again when so much of its validity is left: a fifth.
const DUE_PART: u64 = 5;

/// The parts of the status that what is asked depends on.
pub(super) struct Seen<'a> {
    pub word: CallWord,
    pub closed: bool,
    pub steps: &'a [StepStatus],
    pub stops: &'a [StopStatus],
    pub conditions: &'a [ConditionStatus],
}

/// What of the status makes a device sound, without the rest of it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Pressing {
    /// The holder has a stop to hear.
    pub stop_to_hear: bool,
    /// The holder is asked to say that they are in the clear.
    pub in_the_clear: bool,
}

/// What presses now: the same as in the status, worked out without it at every tick.
#[must_use]
pub fn pressing(job: &Job, local: &Local) -> Pressing {
    let (graph, roster) = (job.graph(), job.roster());
    let stops = job.in_force();
    let loose = local
        .loose_stops
        .iter()
        .filter(|entry| graph.find(&entry.hash).is_none());
    let person = roster.members.get(&local.me).map(|member| &member.person);
    // A person with two devices has heard it once both have said so.
    let own = |device: &&DeviceKey| roster.person(device) == person;
    let to_hear = |unheard: &dyn Fn(&DeviceKey) -> bool| {
        person.is_none() || roster.devices().filter(own).any(unheard)
    };
    let logged_to_hear = stops
        .iter()
        .any(|&stop| to_hear(&|device| !job.has_heard(stop, device)));
    let loose_to_hear = loose
        .clone()
        .any(|entry| to_hear(&|device| *device != entry.content.author));
    let emergency = stops
        .iter()
        .map(|&stop| graph.body(stop))
        .chain(loose.map(|entry| &entry.content.body))
        .any(|body| matches!(body, Body::Stop(stop) if stop.kind == StopKind::Emergency));
    Pressing {
        stop_to_hear: logged_to_hear || loose_to_hear,
        in_the_clear: roster.present(&local.me) && in_the_clear_wanted(job, local, emergency),
    }
}

/// Everything asked of the holder, the most pressing first.
pub(super) fn asked(job: &Job, local: &Local, seen: &Seen) -> Vec<AskedOf> {
    let (graph, roster, me) = (job.graph(), job.roster(), local.me);
    let mut asked: Vec<AskedOf> = Vec::new();
    if !roster.present(&me) {
        return asked;
    }
    let founder = graph.iter().next().map(|ix| graph.author(ix));
    if founder != Some(me) && !job.facts().accepted(graph, graph.all(), &me) {
        asked.push(AskedOf::Accept);
    }
    asked.extend(about_stops(job, local, seen));
    let emergency = seen.stops.iter().any(|stop| stop.kind == "emergency");
    if in_the_clear_wanted(job, local, emergency) {
        asked.push(AskedOf::InTheClear);
    }
    if !job.briefed(&me) {
        asked.push(AskedOf::Briefing {
            version: job.plan_version(),
        });
    }
    if seen.closed {
        return asked;
    }
    if local.still_so_due {
        asked.push(AskedOf::StillSo);
    }
    asked.extend(proposals(job, local));
    asked.extend(
        job.agreements_due(&me)
            .into_iter()
            .map(|ix| AskedOf::Agree { to: graph.hash(ix) }),
    );
    asked.extend(roles(job, local));
    asked.extend(conditions(job, local, seen));
    if seen.word != CallWord::StopWork || job.exit_plan().is_some() {
        asked.extend(loads(job, local, seen.word));
        asked.extend(checks(job, local, seen));
    }
    let mut once: Vec<AskedOf> = Vec::new();
    for one in asked {
        if !once.contains(&one) {
            once.push(one);
        }
    }
    once
}

fn about_stops(job: &Job, local: &Local, seen: &Seen) -> Vec<AskedOf> {
    let me = local.me;
    let mut heard = Vec::new();
    let mut rest = Vec::new();
    for stop in seen.stops {
        for owed in &stop.owed {
            match owed {
                Owed::Heard { stop, device } if *device == me => {
                    heard.push(AskedOf::Heard { stop: *stop });
                }
                Owed::Agree { ask, device } if *device == me => {
                    rest.push(AskedOf::Agree { to: *ask });
                }
                // REPEAT: the same cause has stopped the work before.
                Owed::Briefing { device } if *device == me => {
                    let version = job.plan_version();
                    rest.push(AskedOf::Briefing { version });
                }
                Owed::Ask { stop } if job.roster().supervisor == Some(me) => {
                    rest.push(AskedOf::Ask { stop: *stop });
                }
                // A no has ended the ask: another is needed.
                Owed::Declined { .. } if job.roster().supervisor == Some(me) => {
                    rest.push(AskedOf::Ask { stop: stop.entry });
                }
                _ => {}
            }
        }
    }
    heard.extend(rest);
    heard
}

/// HEADCOUNT: in an emergency, or when somebody has counted and this person is missing.
fn in_the_clear_wanted(job: &Job, local: &Local, emergency: bool) -> bool {
    let (graph, roster) = (job.graph(), job.roster());
    let Some(person) = roster.person(&local.me) else {
        return false;
    };
    let (counted, missing) = job.facts().is_missing(graph, graph.all(), roster, person);
    (emergency || counted) && missing
}

fn proposals(job: &Job, local: &Local) -> Vec<AskedOf> {
    job.proposals()
        .into_iter()
        .filter(|view| view.device != local.me && !view.consents.contains(&local.me))
        .map(|view| AskedOf::Consent {
            proposal: job.graph().hash(view.entry),
            device: view.device,
        })
        .collect()
}

/// Roles offered to this device and not taken.
fn roles(job: &Job, local: &Local) -> Vec<AskedOf> {
    let (graph, roster) = (job.graph(), job.roster());
    job.facts()
        .role_offers(graph, graph.all())
        .into_iter()
        .rev()
        .filter_map(|ix| match graph.body(ix) {
            Body::Offer(offer) => match &offer.what {
                Offered::Role { role, from }
                    if offer.to == Some(local.me)
                        && roster.holds(from, role)
                        && !roster.holds(&local.me, role)
                        && roster.supervisor == Some(graph.author(ix)) =>
                {
                    Some(AskedOf::TakeRole {
                        offer: graph.hash(ix),
                        role: role.clone(),
                    })
                }
                _ => None,
            },
            _ => None,
        })
        .take(1)
        .collect()
}

/// The steps that are open, and those that open when these are done.
fn open_or_next(job: &Job, seen: &Seen) -> Vec<StepId> {
    let state = |step: &StepId| seen.steps.iter().find(|s| s.id == *step).map(|s| s.state);
    let is_open =
        |step: &StepId| matches!(state(step), Some(StepState::Open | StepState::Conflict));
    let steps = job.plan().steps.iter();
    steps
        .filter(|step| {
            let mut before = step.after.iter();
            is_open(&step.id)
                || state(&step.id) != Some(StepState::Done)
                    && before.all(|id| state(id) == Some(StepState::Done) || is_open(id))
        })
        .map(|step| step.id.clone())
        .collect()
}

/// Conditions that this person owns and that are out of date, or soon will be: of those that cover a step
/// that is open or comes next. With no such step left none is asked for. In a stop all are: its release looks
/// at all of them.
fn conditions(job: &Job, local: &Local, seen: &Seen) -> Vec<AskedOf> {
    let stopped = seen.word == CallWord::StopWork;
    let soon = if stopped {
        Vec::new()
    } else {
        open_or_next(job, seen)
    };
    if soon.is_empty() && !stopped {
        return Vec::new();
    }
    job.plan()
        .conditions
        .iter()
        .filter(|condition| {
            let owns = |role: &RoleId| job.roster().holds(&local.me, role);
            covers(condition, &soon)
                && condition.owners.iter().any(owns)
                && is_due(job, local, condition, seen)
        })
        .map(|condition| AskedOf::Condition {
            condition: condition.id.clone(),
        })
        .collect()
}

fn is_due(job: &Job, local: &Local, condition: &Condition, seen: &Seen) -> bool {
    let valid_ms = u64::from(condition.valid_s) * 1000;
    let status = seen.conditions.iter().find(|c| c.id == condition.id);
    let Some(reason) = against(job, local, condition) else {
        let age_ms = status.and_then(|status| status.age_ms).unwrap_or(0);
        return valid_ms.saturating_sub(age_ms) < valid_ms / DUE_PART;
    };
    match (&condition.kind, reason) {
        // What was seen may be affirmed away only after its time.
        (ConditionKind::NoneSeen, Reason::ConditionOut { .. } | Reason::ConditionTimer { .. }) => {
            local
                .since_out
                .get(&condition.id)
                .is_some_and(|since_ms| *since_ms >= valid_ms)
        }
        _ => true,
    }
}

/// Who is meant by an offer that names nobody: those who work where the thing is to go.
fn is_meant(job: &Job, local: &Local, offer: &OfferView) -> bool {
    if offer.by == local.me {
        return false;
    }
    if let Some(receiver) = offer.receiver {
        return receiver == local.me;
    }
    let up = matches!(offer.to, Place::Aloft | Place::Structure | Place::Conductor);
    // A load is received where the ready is given: by those at the other end of the line.
    let Some(member) = job.roster().members.get(&local.me) else {
        return false;
    };
    member.roles.iter().any(|role| {
        let aloft = job.plan().role(role).is_some_and(|role| role.aloft);
        let ground = !aloft && !role.is_observer() && !role.is_supervisor();
        let by_aloft = job.roster().members.get(&offer.by).is_some_and(|by| {
            by.roles
                .iter()
                .any(|role| job.plan().role(role).is_some_and(|role| role.aloft))
        });
        match (offer.load, by_aloft) {
            (true, true) => ground,
            (true, false) => aloft,
            (false, _) => {
                if up {
                    aloft
                } else {
                    ground
                }
            }
        }
    })
}

fn loads(job: &Job, local: &Local, word: CallWord) -> Vec<AskedOf> {
    let graph = job.graph();
    job.facts()
        .open_offers(graph, graph.all(), job.roster())
        .into_iter()
        .filter(|offer| !offer.taken && (!offer.load || word == CallWord::Proceed))
        .filter_map(|offer| {
            let (hash, handoff) = (graph.hash(offer.offer), offer.handoff.clone());
            let ready = fresh_ready(job, local, &offer);
            if offer.load && offer.by == local.me {
                ready.is_some().then_some(AskedOf::Take {
                    offer: hash,
                    handoff,
                })
            } else if offer.load {
                let own_fresh =
                    offer.readies.iter().any(|(device, _)| *device == local.me) && ready.is_some();
                let own_no = offer.unready.iter().any(|(device, _)| *device == local.me);
                let meant = is_meant(job, local, &offer) || (own_no && offer.receiver.is_none());
                // No ready stands while somebody else is not ready, and nobody takes what was offered by one who is
                // gone: then it would be asked for again and again.
                let would_stand =
                    (own_no || offer.unready.is_empty()) && job.roster().present(&offer.by);
                (meant && would_stand && !own_fresh).then_some(AskedOf::Ready {
                    offer: hash,
                    handoff,
                })
            } else {
                is_meant(job, local, &offer).then_some(AskedOf::Take {
                    offer: hash,
                    handoff,
                })
            }
        })
        .collect()
}

fn checks(job: &Job, local: &Local, seen: &Seen) -> Vec<AskedOf> {
    // In a stop an agreed exit plan opens its own steps only.
    let exit = job.exit_plan().filter(|_| seen.word == CallWord::StopWork);
    // Nothing about a load can be confirmed before it was handed over (ITEMS): until then the handoff is what is due.
    let open = seen.steps.iter().filter(|step| {
        matches!(step.state, StepState::Open | StepState::Conflict)
            && step.loads_due.is_empty()
            && exit.is_none_or(|exit| exit.steps.contains(&step.id))
    });
    let mut asked = Vec::new();
    for status in open {
        let Some(step) = job.plan().step(&status.id) else {
            continue;
        };
        for (check, check_status) in step.checks.iter().zip(&status.checks) {
            if check_status.done || !wants(job, local, step, check, check_status) {
                continue;
            }
            let own = answers(job, local, step, check, false)
                .into_iter()
                .rfind(|answer| answer.device == local.me);
            asked.push(AskedOf::Check {
                step: step.id.clone(),
                check: check.id.clone(),
                since: says_what(job, local, step, check, check_status, own.as_ref()),
                again: own.is_some_and(|own| !own.reasons.is_empty()),
            });
        }
    }
    asked
}

/// ROUND, REREAD: whether what is given now is to say what was done since.
fn says_what(
    job: &Job,
    local: &Local,
    step: &Step,
    check: &Check,
    status: &CheckStatus,
    own: Option<&Answer<'_>>,
) -> bool {
    let is_conflict = |reason: &Reason| matches!(reason, Reason::Conflict { .. });
    let a_round_ended = matches!(check.who, Who::SecondLook { .. })
        && (status.missing.iter().any(is_conflict)
            || agreed_not_to_pass(job, step, check)
            || job.is_to_say_what_was_done(local.me, &step.id, &check.id));
    a_round_ended
        || own.is_some_and(|own| is_borne_out_by_none(job, local, step, check, status, own))
}

/// REREAD: whether an own value passes after one that did not, and nobody is there to bear it out.
fn is_borne_out_by_none(
    job: &Job,
    local: &Local,
    step: &Step,
    check: &Check,
    status: &CheckStatus,
    own: &Answer<'_>,
) -> bool {
    let second = |reason: &Reason| matches!(reason, Reason::NeedsSecondReader { .. });
    own.reasons.iter().any(second) && !has_second_reader(job, local, step, check, status)
}

/// REREAD: whether somebody else who is present is asked to read this check too, and has not. If so, they are to. One
/// whose reading counts already is not asked again, and one who had read that it does not pass bears nobody out.
fn has_second_reader(
    job: &Job,
    local: &Local,
    step: &Step,
    check: &Check,
    status: &CheckStatus,
) -> bool {
    let roster = job.roster();
    let have_read: BTreeSet<DeviceKey> = answers(job, local, step, check, false)
        .iter()
        .map(|answer| answer.device)
        .collect();
    let is_asked = |device: &DeviceKey| {
        let holds = |role: &RoleId| roster.holds(device, role);
        matches!(check.who, Who::Each(None)) || status.waits_for.iter().any(holds)
    };
    let me = roster.person(&local.me);
    roster
        .devices()
        .filter(|device| **device != local.me && !have_read.contains(device))
        .any(|device| roster.person(device) != me && is_asked(device))
}

/// Whether this device's holder can still add something to a check.
fn wants(job: &Job, local: &Local, step: &Step, check: &Check, status: &CheckStatus) -> bool {
    let holds = |role: &RoleId| job.roster().holds(&local.me, role);
    let given = answers(job, local, step, check, false);
    let counts = |answer: &&Answer| answer.reasons.is_empty();
    let own_counts = given.iter().filter(counts).any(|a| a.device == local.me);
    // Whoever spoke against it is asked again, also when somebody else has confirmed it since (LATEST).
    let speaks_against = || {
        let against = job.who_is_against(&step.id, &check.id);
        against.contains(&local.me)
    };
    match &check.who {
        Who::Roles(_) => !own_counts && (status.waits_for.iter().any(holds) || speaks_against()),
        Who::Each(role) => !own_counts && role.as_ref().is_none_or(holds),
        Who::ReadBack { report, repeat } => {
            let given: Vec<&Answer> = given.iter().filter(counts).collect();
            let turn = turn(job, local.me, &given, report, repeat);
            let waits_for = |side: &[RoleId]| {
                side.iter()
                    .any(|role| holds(role) && status.waits_for.contains(role))
            };
            (waits_for(report) && (turn.reports || speaks_against()))
                || (waits_for(repeat) && turn.repeats)
        }
        Who::SecondLook { first, second } => {
            // Looks of a round that ended, in a conflict or with two who agree that it does not pass, ask for
            // new ones of anybody who may.
            let looked = looked(job, step, check);
            let fits = |role: &[RoleId], other: &DeviceKey| {
                role.iter().any(|role| job.roster().holds(other, role))
            };
            let pairs = looked.is_empty()
                || looked.iter().any(|other| {
                    (first.iter().any(holds) && fits(second, other))
                        || (second.iter().any(holds) && fits(first, other))
                });
            let mut own = given.iter().filter(|answer| answer.device == local.me);
            let is_due = !looked.contains(&local.me)
                || own
                    .next_back()
                    .is_some_and(|own| is_borne_out_by_none(job, local, step, check, status, own));
            is_due && pairs && first.iter().chain(second).any(holds)
        }
    }
}
