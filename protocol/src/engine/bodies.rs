//! Bodies: from what a person does to what their device would say.
//! Owns: nothing.   Gives: the bodies of a command, with what it left open filled in.
//! May use: gate, facts, watch's ages as values.   Never: whether it counts (gate); the clock.

use crate::bounds::ARMED_MS;
use crate::engine::command::Command;
use crate::facts::count_as_known;
use crate::gate::{Job, Verdict};
use crate::ids::{CheckId, DeviceKey, EntryHash, HandoffId, RoleId, StepId};
use crate::log::entry::{
    Acknowledge, Admit, Agree, Amend, Ask, Body, Briefed, Cannot, Close, ConditionNamed,
    ConditionReading, Correction, Decline, Evidence, Exception, ExitPlan, Heard, Identity,
    MakeSafe, Moved, Note, NoteKind, Offer, OfferNamed, Offered, OrderStatus, Proposal,
    ProposalNamed, Propose, Ready, ResumeDay, Scan, StepBack, Stop, StopKind, Suspend, Void,
    Withdraw,
};
use crate::log::graph::EntryIx;
use crate::plan::Step;
use crate::reason::{Owed, Reason};

/// What only the device knows, for the bodies that carry it.
pub(super) struct Known<'a> {
    pub(super) me: DeviceKey,
    /// Evidence for these steps; for none: of every condition.
    pub(super) evidence: &'a dyn Fn(&[StepId]) -> Evidence,
    /// Upper bound of an entry's age, ms.
    pub(super) age_ms: &'a dyn Fn(EntryIx) -> Option<u64>,
    /// Whether there is a proof of life of a device within the watch limit.
    pub(super) in_contact: &'a dyn Fn(&DeviceKey) -> bool,
    /// What a device said it held, by its newest word.
    pub(super) said_held: &'a dyn Fn(&DeviceKey) -> Vec<(crate::ids::DeviceTag, u32)>,
}

/// Whether a new day that counts began knowing of a suspension.
fn is_day_begun(job: &Job, suspend: EntryIx) -> bool {
    let graph = job.graph();
    let days = job.facts().days(graph, graph.all());
    days.into_iter()
        .any(|day| graph.before(suspend, day) && job.verdict(day) == Verdict::Counts)
}

/// Newest first.
fn newest<'a>(
    job: &'a Job,
    fits: impl Fn(EntryIx, &Body) -> bool + 'a,
) -> impl Iterator<Item = EntryIx> + 'a {
    let graph = job.graph();
    let mut all: Vec<EntryIx> = graph
        .iter()
        .filter(|&ix| fits(ix, graph.body(ix)))
        .collect();
    all.sort_by_key(|&ix| core::cmp::Reverse((graph.content(ix).stamp, graph.hash(ix))));
    all.into_iter()
}

fn stops_in_force(job: &Job) -> Vec<EntryHash> {
    let stops = job.in_force().into_iter();
    stops.map(|stop| job.graph().hash(stop)).collect()
}

fn or_all_stops(job: &Job, stops: &[EntryHash]) -> Result<Vec<EntryHash>, Vec<Reason>> {
    let stops = if stops.is_empty() {
        stops_in_force(job)
    } else {
        stops.to_vec()
    };
    if stops.is_empty() {
        // There is nothing to resume from.
        Err(vec![Reason::Duplicate])
    } else {
        Ok(stops)
    }
}

/// The newest ask, exception, exit plan or void proposed by another.
fn newest_ask(job: &Job) -> Result<EntryHash, Vec<Reason>> {
    newest(job, |_, body| matches!(body, Body::Ask(_)))
        .next()
        .map(|ix| job.graph().hash(ix))
        .ok_or_else(|| {
            let stop = stops_in_force(job).first().copied();
            match stop {
                Some(stop) => vec![Reason::Incomplete {
                    missing: vec![Owed::Ask { stop }],
                }],
                None => vec![Reason::Duplicate],
            }
        })
}

/// The offer that a handoff's name means: the newest that is not done.
fn open_offer(
    job: &Job,
    handoff: Option<&HandoffId>,
) -> Result<crate::facts::OfferView, Vec<Reason>> {
    let graph = job.graph();
    job.facts()
        .open_offers(graph, graph.all(), job.roster())
        .into_iter()
        .filter(|offer| handoff.is_none_or(|handoff| *handoff == offer.handoff))
        .max_by_key(|offer| (graph.content(offer.offer).stamp, graph.hash(offer.offer)))
        .ok_or_else(|| {
            // Beside that nothing is offered, why nothing could be.
            let (all, plan) = (graph.all(), job.plan());
            let hold = job.facts().hold_in(graph, all, job.roster(), plan, &[]);
            core::iter::once(Reason::MissingHandoff)
                .chain(hold)
                .collect()
        })
}

fn own_acknowledgement(
    job: &Job,
    me: DeviceKey,
    step: &StepId,
    check: &CheckId,
) -> Option<EntryHash> {
    let graph = job.graph();
    newest(job, |ix, body| {
        graph.author(ix) == me
            && matches!(body, Body::Acknowledge(ack) if ack.step == *step && ack.check == *check)
    })
    .next()
    .map(|ix| graph.hash(ix))
}

fn role_offered(job: &Job, me: DeviceKey, role: &RoleId) -> Option<EntryHash> {
    let graph = job.graph();
    newest(job, |_, body| {
        matches!(body, Body::Offer(offer) if offer.to == Some(me)
            && matches!(&offer.what, Offered::Role { role: offered, .. } if offered == role))
    })
    .next()
    .map(|ix| graph.hash(ix))
}

/// Whose role is meant when it is offered on: of several holders the one who asked to be relieved.
fn outgoing(job: &Job, role: &RoleId, to: DeviceKey, me: DeviceKey) -> DeviceKey {
    let graph = job.graph();
    let holders: Vec<DeviceKey> = job
        .roster()
        .holders(role)
        .copied()
        .filter(|holder| *holder != to)
        .collect();
    let asked = newest(job, |ix, body| {
        holders.contains(&graph.author(ix))
            && matches!(body, Body::Note(note)
                if matches!(&note.kind, NoteKind::ReliefWanted { role: wanted } if wanted == role))
    })
    .next()
    .map(|ix| graph.author(ix));
    asked.or_else(|| holders.first().copied()).unwrap_or(me)
}

fn note(text: String, kind: NoteKind) -> Vec<Body> {
    vec![Body::Note(Note {
        text,
        about: None,
        kind,
    })]
}

/// The step, if the plan has it with that check.
fn planned<'a>(job: &'a Job, step: &StepId, check: &CheckId) -> Result<&'a Step, Vec<Reason>> {
    job.plan()
        .step(step)
        .filter(|planned| planned.check(check).is_some())
        .ok_or_else(|| {
            vec![Reason::WrongAnswerForm {
                expected: format!("a check of the plan; it has no check {step}/{check}"),
            }]
        })
}

/// The bodies that a command asks to write, in order.
///
/// # Errors
/// Reasons, when the command means something that is not there.
pub(super) fn bodies(
    job: &Job,
    known: &Known<'_>,
    command: &Command,
) -> Result<Vec<Body>, Vec<Reason>> {
    let one = |body| Ok(vec![body]);
    match command.clone() {
        Command::Acknowledge {
            step,
            check,
            said,
            change,
            held_ms,
        } => {
            let planned = planned(job, &step, &check)?;
            let press_ms = job.plan().times.press_ms;
            if planned.critical && held_ms.unwrap_or(0) < press_ms {
                return Err(vec![Reason::WrongAnswerForm {
                    expected: format!("a press held for {press_ms} ms: there is no way back"),
                }]);
            }
            let evidence = (known.evidence)(core::slice::from_ref(&step));
            let version = job.plan_version();
            one(Body::Acknowledge(Acknowledge {
                step,
                check,
                version,
                said,
                change,
                evidence,
            }))
        }
        Command::Cannot { step, check, why } => {
            planned(job, &step, &check)?;
            let done = job.step_state(&step) == crate::state::StepState::Done;
            let mut bodies = vec![Body::Cannot(Cannot {
                step,
                check,
                why: why.clone(),
            })];
            // OBJECTION: against a step that is complete it is a stop as well.
            if done {
                bodies.push(Body::Stop(Stop {
                    kind: StopKind::Work,
                    why,
                    item: None,
                }));
            }
            Ok(bodies)
        }
        Command::Withdraw { step, check, why } => {
            match own_acknowledgement(job, known.me, &step, &check) {
                Some(entry) => one(Body::Withdraw(Withdraw { entry, why })),
                None => Err(vec![Reason::NotYours]),
            }
        }
        Command::Stop { kind, why, item } => one(Body::Stop(Stop { kind, why, item })),
        Command::Heard { stop } => heard(job, known.me, stop),
        Command::Ask {
            stops,
            cause,
            open_item,
            closes_item,
        } => {
            let stops = or_all_stops(job, &stops)?;
            one(Body::Ask(Ask {
                stops,
                cause,
                open_item,
                closes_item,
            }))
        }
        Command::Agree { to } => {
            let to = to.map_or_else(|| newest_ask(job), Ok)?;
            one(Body::Agree(Agree { to }))
        }
        Command::Decline { to, why } => {
            let to = to.map_or_else(|| newest_ask(job), Ok)?;
            one(Body::Decline(Decline { to, why }))
        }
        Command::Reading {
            condition,
            value,
            unit,
        } => one(Body::Reading(ConditionReading {
            condition,
            value,
            unit,
        })),
        Command::Affirm { condition } => one(Body::Affirm(ConditionNamed { condition })),
        Command::Away { condition } => one(Body::Away(ConditionNamed { condition })),
        Command::Offer {
            handoff,
            item,
            to,
            receiver,
        } => one(Body::Offer(Offer {
            what: Offered::Move { handoff, item, to },
            to: receiver,
        })),
        Command::Ready { handoff, ready } => {
            let offer = open_offer(job, handoff.as_ref())?;
            if ready && said_ready_just_now(&offer, known) {
                return Err(vec![Reason::Duplicate]);
            }
            let offer = job.graph().hash(offer.offer);
            one(Body::Ready(Ready { offer, ready }))
        }
        Command::Take { handoff } => {
            let offer = open_offer(job, handoff.as_ref())?;
            let ready_age_ms = ready_age_ms(&offer, known);
            let offer = job.graph().hash(offer.offer);
            one(Body::Take(OfferNamed {
                offer,
                ready_age_ms,
            }))
        }
        Command::Done { handoff } => {
            let offer = open_offer(job, handoff.as_ref())?;
            let offer = job.graph().hash(offer.offer);
            one(Body::Done(OfferNamed {
                offer,
                ready_age_ms: 0,
            }))
        }
        Command::OfferRole { role, to } => {
            let from = outgoing(job, &role, to, known.me);
            let what = Offered::Role { role, from };
            one(Body::Offer(Offer { what, to: Some(to) }))
        }
        Command::TakeRole { role } => match role_offered(job, known.me, &role) {
            Some(offer) => one(Body::Take(OfferNamed {
                offer,
                ready_age_ms: 0,
            })),
            None => Err(vec![Reason::ReliefIncomplete]),
        },
        Command::ReliefWanted { role } => Ok(note(String::new(), NoteKind::ReliefWanted { role })),
        Command::StepBack { step, why } => one(Body::StepBack(StepBack { step, why })),
        Command::Amend {
            why,
            changes,
            covers,
        } => one(Body::Amend(Box::new(Amend {
            why,
            changes,
            covers,
        }))),
        Command::Briefed => one(Body::Briefed(Briefed {
            version: job.plan_version(),
        })),
        Command::Admit {
            device,
            person,
            roles,
            replaces,
        } => {
            admissible(job, &device)?;
            one(Body::Admit(Admit {
                device,
                person,
                roles,
                replaces,
            }))
        }
        Command::Accept => one(Body::Accept),
        Command::Leave => one(Body::Leave),
        Command::Remove {
            device,
            spoken_to,
            called_stop,
        } => one(Body::Propose(proposal(
            job,
            known,
            device,
            spoken_to,
            called_stop,
        ))),
        Command::Consent { proposal } => one(Body::Consent(ProposalNamed { proposal })),
        Command::Exception {
            step,
            check,
            what,
            why,
            seen_by,
        } => {
            planned(job, &step, &check)?;
            let evidence = (known.evidence)(core::slice::from_ref(&step));
            let version = job.plan_version();
            one(Body::Exception(Exception {
                step,
                check,
                version,
                what,
                why,
                seen_by,
                evidence,
            }))
        }
        Command::Correction { entry, text } => one(Body::Correction(Correction { entry, text })),
        Command::ExitPlan {
            stops,
            steps,
            without,
            why,
        } => {
            let stops = or_all_stops(job, &stops)?;
            one(Body::ExitPlan(ExitPlan {
                stops,
                steps,
                without,
                why,
            }))
        }
        Command::MakeSafe { step, text } => one(Body::MakeSafe(MakeSafe { step, text })),
        Command::HeadCount { clear, assumed } => one(Body::HeadCount(count_as_known(
            clear,
            assumed,
            job.roster(),
            known.me,
            known.in_contact,
        ))),
        Command::Identity {
            structure,
            circuit,
            phase,
            method,
        } => one(Body::Identity(Identity {
            structure,
            circuit,
            phase,
            method,
        })),
        Command::Scan { item, found } => one(Body::Scan(Scan { item, found })),
        Command::Moved { item, to } => one(Body::Moved(Moved { item, to })),
        Command::OrderStatus {
            order,
            state,
            terminals,
            read_back,
            covers,
            line_state,
        } => one(Body::OrderStatus(OrderStatus {
            order,
            state,
            terminals,
            read_back,
            covers,
            line_state,
        })),
        Command::Note { text, about, kind } => one(Body::Note(Note { text, about, kind })),
        Command::Suspend {
            state,
            resume_by,
            tools_out,
            tools_back,
        } => {
            let heads = newest(job, |_, body| matches!(body, Body::HeadCount(_)))
                .next()
                .map(|ix| job.graph().hash(ix));
            one(Body::Suspend(Suspend {
                state,
                resume_by,
                heads,
                tools_out,
                tools_back,
            }))
        }
        Command::ResumeDay => {
            // A day that began already does not begin once more: what was done in it would be to do again.
            let mut suspended = newest(job, |_, body| matches!(body, Body::Suspend(_)));
            match suspended.find(|ix| !is_day_begun(job, *ix)) {
                Some(ix) => one(Body::ResumeDay(ResumeDay {
                    suspend: job.graph().hash(ix),
                })),
                None => Err(vec![Reason::Duplicate]),
            }
        }
        Command::Close => one(Body::Close(Close {
            evidence: (known.evidence)(&[]),
        })),
        Command::Void { entry } => one(Body::Void(Void { entry })),
    }
}

/// A key that may be admitted at all: of no small order, and of a tag that no other device has.
fn admissible(job: &Job, device: &DeviceKey) -> Result<(), Vec<Reason>> {
    let tag_taken = job
        .roster()
        .members
        .keys()
        .any(|known| known != device && known.tag() == device.tag());
    if crate::log::sign::is_weak(device) || tag_taken {
        Err(vec![Reason::WrongAnswerForm {
            expected: "another device key: this one is weak or too like one that is on the job"
                .to_owned(),
        }])
    } else {
        Ok(())
    }
}

/// HEARD: one answer for each stop that this device has not answered.
fn heard(job: &Job, me: DeviceKey, stop: Option<EntryHash>) -> Result<Vec<Body>, Vec<Reason>> {
    let graph = job.graph();
    let answered = |stop: &EntryHash| {
        graph.iter().any(|ix| {
            graph.author(ix) == me
                && matches!(graph.body(ix), Body::Heard(heard) if heard.stop == *stop)
        })
    };
    let stops = match stop {
        Some(stop) => vec![stop],
        None => stops_in_force(job),
    };
    let bodies: Vec<Body> = stops
        .into_iter()
        .filter(|stop| !answered(stop))
        .map(|stop| Body::Heard(Heard { stop }))
        .collect();
    if bodies.is_empty() {
        Err(vec![Reason::Duplicate])
    } else {
        Ok(bodies)
    }
}

/// Whether the own ready to this offer stands and is so young that another press is the same one again, by a
/// glove that bounced. "Not ready" is never taken for a repetition.
fn said_ready_just_now(offer: &crate::facts::OfferView, known: &Known<'_>) -> bool {
    offer.readies.iter().any(|(device, ready)| {
        *device == known.me && (known.age_ms)(*ready).is_some_and(|age_ms| age_ms <= ARMED_MS)
    })
}

/// Age of the newest ready, for a take; as old as can be where it cannot be bounded.
fn ready_age_ms(offer: &crate::facts::OfferView, known: &Known<'_>) -> u32 {
    if offer.readies.is_empty() {
        return 0;
    }
    offer
        .readies
        .iter()
        .filter_map(|(_, ready)| (known.age_ms)(*ready))
        .min()
        .and_then(|age| u32::try_from(age).ok())
        .unwrap_or(u32::MAX)
}

fn proposal(
    job: &Job,
    known: &Known<'_>,
    device: DeviceKey,
    spoken_to: Option<bool>,
    called_stop: bool,
) -> Propose {
    let graph = job.graph();
    let attempts = graph
        .iter()
        .filter_map(|ix| match graph.body(ix) {
            Body::Propose(propose) if propose.device == device => Some(propose.attempt),
            _ => None,
        })
        .max();
    Propose {
        // Who has left in office still has to be taken over from: nobody else can give the office on.
        kind: if job.office() == device {
            Proposal::TakeOver
        } else {
            Proposal::Remove
        },
        device,
        attempt: attempts.map_or(0, |attempt| attempt.saturating_add(1)),
        spoken_to,
        called_stop,
        known: (known.said_held)(&device),
    }
}

/// What a refused press was, in words of the format, for the note that is kept of it.
pub(super) fn pressed(command: &Command) -> String {
    match command {
        Command::Acknowledge { step, check, .. } => format!("acknowledge {step}/{check}"),
        Command::Exception { step, check, .. } => format!("exception {step}/{check}"),
        Command::StepBack { step, .. } => format!("step_back {step}"),
        Command::Offer { handoff, .. } => format!("offer {handoff}"),
        Command::Ready { .. } => "ready".to_owned(),
        Command::Take { .. } => "take".to_owned(),
        Command::Done { .. } => "done".to_owned(),
        Command::TakeRole { role } => format!("take_role {role}"),
        Command::OfferRole { role, .. } => format!("offer_role {role}"),
        Command::Admit { .. } => "admit".to_owned(),
        Command::Amend { .. } => "amend".to_owned(),
        Command::Ask { .. } => "ask".to_owned(),
        Command::Agree { .. } => "agree".to_owned(),
        Command::Moved { item, .. } => format!("moved {item}"),
        Command::Suspend { .. } => "suspend".to_owned(),
        Command::ResumeDay => "resume_day".to_owned(),
        Command::Close => "close".to_owned(),
        Command::Remove { .. } => "remove".to_owned(),
        _ => "other".to_owned(),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::gate::testkit::{Crew, EYES, GROUND, LEAD, TOWER, name, plan};
    use crate::plan::{Item, Place};

    /// What a press would write on a device whose own entries are all so old.
    fn pressed(
        crew: &Crew,
        device: usize,
        age_ms: u64,
        command: &Command,
    ) -> Result<Vec<Body>, Vec<Reason>> {
        let known = Known {
            me: crew.key(device),
            evidence: &|_| crew.evidence(device),
            age_ms: &|_| Some(age_ms),
            in_contact: &|_| true,
            said_held: &|_| Vec::new(),
        };
        bodies(&crew.devices[device].job, &known, command)
    }

    #[test]
    fn a_day_begins_once_after_each_suspension_that_it_did_not_know_of() {
        let mut crew = Crew::new(&plan(), 4);
        let day = |crew: &Crew| match pressed(crew, LEAD, 0, &Command::ResumeDay) {
            Ok(bodies) => match &bodies[..] {
                [Body::ResumeDay(day)] => Some(day.suspend),
                other => panic!("{other:?}"),
            },
            Err(reasons) => {
                assert_eq!(reasons, [Reason::Duplicate]);
                None
            }
        };
        let suspend = || {
            Body::Suspend(Suspend {
                state: "string hung".into(),
                resume_by: name("Lead"),
                heads: None,
                tools_out: 0,
                tools_back: 0,
            })
        };
        assert_eq!(day(&crew), None, "nothing was suspended");
        // Older by its stamp, and not seen by the day.
        let unseen = crew.say(EYES, suspend());
        crew.say(LEAD, Body::Briefed(Briefed { version: 0 }));
        let seen = crew.say(LEAD, suspend());
        assert_eq!(day(&crew), Some(seen));
        crew.say(LEAD, Body::ResumeDay(ResumeDay { suspend: seen }));
        assert_eq!(day(&crew), None, "it has begun");
        crew.sync();
        assert_eq!(day(&crew), Some(unseen));
        crew.say(LEAD, Body::ResumeDay(ResumeDay { suspend: unseen }));
        assert_eq!(day(&crew), None);
    }

    #[test]
    fn a_ready_pressed_twice_is_one_and_one_after_a_while_or_by_another_is_another() {
        let mut plan = plan();
        plan.items.push(Item {
            id: name("string"),
            title: "String".into(),
            load: true,
            at: Place::Structure,
            test_months: None,
            tested: None,
            daily: false,
            rated_kv: None,
            rated_kn: None,
            counted: false,
        });
        let mut crew = Crew::new(&plan, 4);
        let what = Offered::Move {
            handoff: name("h1"),
            item: name("string"),
            to: Place::Ground,
        };
        let offer = crew.say(TOWER, Body::Offer(Offer { what, to: None }));
        crew.sync();
        let ready = |ready: bool| Command::Ready {
            handoff: None,
            ready,
        };
        assert!(pressed(&crew, GROUND, 0, &ready(true)).is_ok(), "the first");
        crew.say(GROUND, Body::Ready(Ready { offer, ready: true }));
        crew.sync();
        let twice = pressed(&crew, GROUND, ARMED_MS, &ready(true));
        assert_eq!(twice, Err(vec![Reason::Duplicate]));
        assert!(pressed(&crew, GROUND, ARMED_MS + 1, &ready(true)).is_ok());
        assert!(pressed(&crew, EYES, 0, &ready(true)).is_ok(), "another's");
        // "Not ready" is always written, and so is a ready after it.
        assert!(pressed(&crew, GROUND, 0, &ready(false)).is_ok());
        let no = Ready {
            offer,
            ready: false,
        };
        crew.say(GROUND, Body::Ready(no));
        assert!(pressed(&crew, GROUND, 0, &ready(true)).is_ok());
    }
}
