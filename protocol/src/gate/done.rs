//! Done: is a check, and so a step, complete by acknowledgements that count? (definition S7)
//! Owns: nothing.   Gives: `World::step_done`, `World::complete`, what is missing.
//! May use: world, records, plans.   Never: why one does not count (rules).
//!
//! Every question has two cuts: `held`, in which the acknowledgements must be, and `seen`, by which
//! objections and the roster are judged. They differ where it is asked what others were known to hold.

use super::bits::Steps;
use super::plans::{CheckAt, CheckNo, Roles, WhoBits};
use super::records::{Ack, Kind, Weight};
use super::views::View;
use super::world::World;
use crate::ids::DeviceKey;
use crate::log::entry::{Body, Said as Answer};
use crate::log::graph::{Cut, EntryIx};
use std::collections::{BTreeMap, BTreeSet};

/// What completes a check.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Witness {
    /// Entries that must be there.
    pub(super) entries: Vec<EntryIx>,
    /// Whether more can be there without undoing it, so that it completes the check wherever it is held.
    pub(super) plain: bool,
}

/// The state of a second look.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(super) struct Look {
    pub(super) conflict: bool,
    pub(super) done: Option<(u32, u32)>,
}

/// One answer to a second look.
struct OneLook<'a> {
    number: u32,
    ack: &'a Ack,
    /// Else it does not pass.
    counts: bool,
    roles: Roles,
    /// Answers that contradicted it.
    rivals: Vec<EntryIx>,
}

/// What stands against a check.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Against {
    pub(super) ix: EntryIx,
    pub(super) device: DeviceKey,
    /// A `cannot confirm`; else an answer that does not pass.
    pub(super) cannot: bool,
}

impl World<'_> {
    /// Whether every check of a step is complete; the steps before it are another question.
    pub(super) fn step_done(&self, step: u16, held: &Cut, seen: &Cut, view: &View) -> bool {
        view.plan.step(step).is_some_and(|at| {
            at.checks
                .iter()
                .all(|check| self.check_done(step, check, held, seen, view).is_some())
        })
    }

    /// The steps that are complete, each with every step before it.
    pub(super) fn complete(&self, held: &Cut, seen: &Cut, view: &View) -> Steps {
        let mut done = Steps::default();
        for &step in &view.plan.order {
            if self.step_done(step, held, seen, view) {
                done.insert(step);
            }
        }
        let mut complete = Steps::default();
        for &step in &view.plan.order {
            let before = view.plan.step(step).map_or(&[][..], |at| &at.before);
            if done.has(step) && before.iter().all(|&earlier| done.has(earlier)) {
                complete.insert(step);
            }
        }
        complete
    }

    /// Whether one step is complete with every step before it.
    pub(super) fn step_complete(&self, step: u16, cut: &Cut, view: &View) -> bool {
        view.plan.step(step).is_some_and(|at| {
            at.before
                .iter()
                .all(|&earlier| self.step_done(earlier, cut, cut, view))
        }) && self.step_done(step, cut, cut, view)
    }

    /// What completes a check; `None`: it is not complete.
    pub(super) fn check_done(
        &self,
        step: u16,
        check: &CheckAt,
        held: &Cut,
        seen: &Cut,
        view: &View,
    ) -> Option<Witness> {
        if let Some(witness) = self.excepted(check.no, held, seen, view) {
            return Some(witness);
        }
        let mut witness = Witness {
            entries: Vec::new(),
            plain: true,
        };
        let mut blocked = false;
        self.against(step, check, held, seen, view, &mut witness, &mut |_| {
            blocked = true;
        });
        if blocked {
            return None;
        }
        let done = match &check.who {
            WhoBits::Places(places) => self.places(check.no, places, held, &mut witness),
            WhoBits::Each(role) => self.each(check.no, *role, held, view, &mut witness),
            WhoBits::SecondLook(first, second) => {
                let look = self.second_look(check.no, *first, *second, held);
                let uneven = self
                    .core
                    .records
                    .check(check.no)
                    .is_some_and(|records| records.uneven);
                witness.plain &= !uneven;
                match look.done {
                    Some((one, other)) if !look.conflict => {
                        for number in [one, other] {
                            witness.entries.push(self.core.records.ack(number).ix);
                        }
                        true
                    }
                    _ => false,
                }
            }
            WhoBits::ReadBack(report, repeat) => {
                self.read_back(check.no, *report, *repeat, held, &mut witness)
            }
        };
        done.then_some(witness)
    }

    /// Counted acknowledgements of a check in a cut, with the roles that they still stand for.
    fn counted<'b>(
        &'b self,
        check: CheckNo,
        held: &'b Cut,
    ) -> impl Iterator<Item = (u32, &'b Ack, Roles)> + 'b {
        self.weighing(check, held)
            .filter(|(_, ack, weight)| *weight == Weight::Counts && ack.kind == Kind::Plain)
            .map(|(number, ack, _)| (number, ack, self.roles_now(ack)))
    }

    fn weighing<'b>(
        &'b self,
        check: CheckNo,
        held: &'b Cut,
    ) -> impl Iterator<Item = (u32, &'b Ack, Weight)> + 'b {
        let candidates = self.candidates(check);
        (0..candidates.len())
            .filter_map(move |at| candidates.get(at).copied())
            .map(|number| (number, self.core.records.ack(number)))
            .filter(move |(_, ack)| self.core.graph.within(ack.ix, held))
            .map(|(number, ack)| (number, ack, self.weight(number)))
    }

    fn roles_now(&self, ack: &Ack) -> Roles {
        let graph = &self.core.graph;
        self.held_now(
            ack.device,
            Some(ack.ix),
            graph.past(ack.ix),
            self.core.views.past(ack.ix),
            ack.roles,
        )
    }

    /// EXCEPTION: the supervisor's exception, and the agreement of everybody who would agree to a resume, at
    /// least one of them another person; nobody's no.
    fn excepted(&self, check: CheckNo, held: &Cut, seen: &Cut, view: &View) -> Option<Witness> {
        let core = self.core;
        let records = core.records.check(check)?;
        if records.exceptions.is_empty() {
            return None;
        }
        let graph = &core.graph;
        let cosigns: Vec<(u32, &Ack)> = records
            .acks
            .iter()
            .filter_map(|&number| match core.records.ack(number) {
                ack if graph.within(ack.ix, held) => match ack.kind {
                    Kind::Cosign(of) if self.weight(number) == Weight::Counts => Some((of, ack)),
                    _ => None,
                },
                _ => None,
            })
            .collect();
        records.exceptions.iter().find_map(|&number| {
            let exception = core.records.ack(number);
            if !graph.within(exception.ix, held) || self.weight(number) != Weight::Counts {
                return None;
            }
            let refused = core.declines.get(&exception.ix).is_some_and(|declines| {
                declines.iter().any(|&no| {
                    graph.within(no, seen) && core.views.past(no).roster.present(&graph.author(no))
                })
            });
            if refused {
                return None;
            }
            let agreed: Vec<&Ack> = cosigns
                .iter()
                .filter(|(of, _)| *of == number)
                .map(|&(_, ack)| ack)
                .collect();
            let then = core.views.past(exception.ix);
            let everybody = super::stops::agreeing(then, exception.device).all(|device| {
                agreed.iter().any(|ack| ack.device == device) || !view.roster.present(&device)
            });
            let another = agreed.iter().any(|ack| ack.person != exception.person);
            (everybody && another).then(|| Witness {
                entries: core::iter::once(exception.ix)
                    .chain(agreed.iter().map(|ack| ack.ix))
                    .collect(),
                plain: false,
            })
        })
    }

    /// What stands against a check: a `cannot confirm`, or an answer that does not pass, whose author has held
    /// the role without a break and has not confirmed after it. The confirmations that answered one go to the
    /// witness.
    #[allow(
        clippy::too_many_arguments,
        reason = "one question with two cuts and two answers"
    )]
    pub(super) fn against(
        &self,
        step: u16,
        check: &CheckAt,
        held: &Cut,
        seen: &Cut,
        view: &View,
        witness: &mut Witness,
        found: &mut dyn FnMut(Against),
    ) {
        let core = self.core;
        let Some(records) = core.records.check(check.no) else {
            return;
        };
        let mut words: Vec<(EntryIx, DeviceKey, bool)> = records
            .cannots
            .newest(seen)
            .filter(|&number| self.objects(number))
            .filter_map(|number| core.records.objections.get(number as usize))
            .map(|objection| (objection.ix, objection.device, true))
            .collect();
        if records.uneven && !matches!(check.who, WhoBits::SecondLook(..)) {
            words.extend(
                self.weighing(check.no, seen)
                    .filter(|(_, _, weight)| *weight == Weight::Fails)
                    .map(|(_, ack, _)| (ack.ix, ack.device, false)),
            );
        }
        for (ix, device, cannot) in words {
            if !self.held_since(ix, device, step, check, view) {
                witness.plain = false;
                continue;
            }
            match self.answered(ix, device, check.no, held) {
                Some(answers) => witness.entries.extend(answers),
                None => found(Against { ix, device, cannot }),
            }
        }
    }

    /// Whether a device still holds a role of the check by the same grant as when it spoke.
    fn held_since(
        &self,
        ix: EntryIx,
        device: DeviceKey,
        step: u16,
        check: &CheckAt,
        view: &View,
    ) -> bool {
        let then = self.core.views.past(ix);
        let any = then
            .plan
            .check(step, check.no)
            .map_or(0, |check| check.who.any());
        if any == Roles::MAX {
            return view.roster.present(&device)
                && view.admitted.get(&device) == then.admitted.get(&device);
        }
        then.support
            .range((device, lowest_role())..)
            .take_while(|((of, _), _)| *of == device)
            .filter(|((_, role), _)| self.core.views.names.role(role) & any != 0)
            .any(|(key, grant)| view.support.get(key) == Some(grant))
    }

    /// The author's own later confirmation; or its later passing answer and another person's.
    fn answered(
        &self,
        ix: EntryIx,
        device: DeviceKey,
        check: CheckNo,
        held: &Cut,
    ) -> Option<Vec<EntryIx>> {
        let graph = &self.core.graph;
        let mut own_unborne = None;
        let mut other = None;
        for (_, ack, weight) in self.weighing(check, held) {
            if ack.kind != Kind::Plain || !graph.before(ix, ack.ix) {
                continue;
            }
            match weight {
                Weight::Counts if ack.device == device => return Some(vec![ack.ix]),
                Weight::Counts if other.is_none() => other = Some(ack.ix),
                Weight::Unborne if ack.device == device && own_unborne.is_none() => {
                    own_unborne = Some(ack.ix);
                }
                _ => {}
            }
        }
        Some(vec![own_unborne?, other?])
    }

    /// DISTINCT: one acknowledgement for each place by a holder of its role, by different people.
    fn places(&self, check: CheckNo, places: &[Roles], held: &Cut, witness: &mut Witness) -> bool {
        if let [only] = places {
            let first = self
                .counted(check, held)
                .find(|(_, _, roles)| roles & only != 0);
            return match first {
                Some((_, ack, _)) => {
                    witness.entries.push(ack.ix);
                    true
                }
                None => false,
            };
        }
        // For each person the first acknowledgement for each set of roles.
        let mut given = Given::new();
        for (_, ack, roles) in self.counted(check, held) {
            let std::collections::btree_map::Entry::Vacant(new) = given.entry((ack.person, roles))
            else {
                continue;
            };
            new.insert(ack.ix);
            if let Some(entries) = seat(places, &given) {
                witness.entries.extend(entries);
                return true;
            }
        }
        false
    }

    /// EACH: the greatest set of acknowledgements such that, for each in it, everybody who held the role in
    /// its past is an author in the set, or has lost the role since. Never of nobody.
    fn each(
        &self,
        check: CheckNo,
        role: Option<Roles>,
        held: &Cut,
        view: &View,
        witness: &mut Witness,
    ) -> bool {
        let holds = |view: &View, device: &DeviceKey| match role {
            Some(role) => view.roles(device) & role != 0,
            None => view.roster.present(device),
        };
        // Of one author with one roster in the past, one stands for all.
        let mut given: BTreeMap<(DeviceKey, super::views::ViewIx), EntryIx> = BTreeMap::new();
        for (_, ack, roles) in self.counted(check, held) {
            if role.is_none_or(|role| roles & role != 0) {
                given
                    .entry((ack.device, self.core.views.of(ack.ix)))
                    .or_insert(ack.ix);
            }
        }
        let mut set: Vec<(DeviceKey, EntryIx)> = given
            .into_iter()
            .map(|((device, _), ix)| (device, ix))
            .collect();
        loop {
            let authors: BTreeSet<DeviceKey> = set.iter().map(|&(device, _)| device).collect();
            let before = set.len();
            let mut excused = false;
            set.retain(|&(_, ix)| {
                let then = self.core.views.past(ix);
                then.present
                    .iter()
                    .filter(|present| holds(then, &present.key))
                    .all(|present| {
                        if authors.contains(&present.key) {
                            return true;
                        }
                        let lost = !holds(view, &present.key);
                        excused |= lost;
                        lost
                    })
            });
            if set.len() == before {
                witness.plain &= !excused;
                break;
            }
        }
        witness.entries.extend(set.iter().map(|&(_, ix)| ix));
        !set.is_empty()
    }

    /// SECOND LOOK with ROUND: two different people with equal answers; a conflict voids both answers, and
    /// answers that had not seen it belong to the same round. Two people who agree that it does not pass end
    /// their round too, and so does an answer that was a stop: a look that knew of them and says what was done
    /// since is of the next one, in which two people look anew. Without that nobody could ever put right what
    /// two people had found wrong.
    pub(super) fn second_look(
        &self,
        check: CheckNo,
        first: Roles,
        second: Roles,
        held: &Cut,
    ) -> Look {
        let answers = self.looks(check, held);
        let alive: Vec<&OneLook<'_>> = answers
            .iter()
            .filter(|answer| answer.rivals.is_empty() && answer.counts)
            .collect();
        let done = alive.iter().find_map(|one| {
            alive
                .iter()
                .find(|other| {
                    one.roles & first != 0
                        && other.roles & second != 0
                        && one.ack.person != other.ack.person
                        && one.ack.device != other.ack.device
                        && self.same_answer(one.ack.ix, other.ack.ix)
                })
                .map(|other| (one.number, other.number))
        });
        let conflicts = answers.iter().any(|answer| !answer.rivals.is_empty());
        Look {
            // A later round that agrees settles it.
            conflict: conflicts && done.is_none(),
            done,
        }
    }

    /// The looks on which two people agree that they do not pass, and that nothing has contradicted.
    pub(super) fn agreed_not_to_pass(&self, check: CheckNo, held: &Cut) -> Vec<EntryIx> {
        let answers = self.looks(check, held);
        let bad = |look: &&OneLook<'_>| !look.counts && look.rivals.is_empty();
        let borne_out = |look: &&OneLook<'_>| {
            answers.iter().filter(bad).any(|other| {
                other.ack.person != look.ack.person
                    && other.ack.device != look.ack.device
                    && self.same_answer(other.ack.ix, look.ack.ix)
            })
        };
        let agreed = answers.iter().filter(bad).filter(borne_out);
        agreed.map(|look| look.ack.ix).collect()
    }

    /// The looks at a check, each with those that contradict it.
    fn looks<'b>(&'b self, check: CheckNo, held: &'b Cut) -> Vec<OneLook<'b>> {
        let graph = &self.core.graph;
        let mut answers: Vec<OneLook<'_>> = Vec::new();
        for (number, ack, weight) in self.weighing(check, held) {
            let counts = weight == Weight::Counts;
            if ack.kind != Kind::Plain || !(counts || weight == Weight::Fails) {
                continue;
            }
            // A repetition adds nothing, unless what it repeats was void by then.
            let repeats = answers.iter().any(|known| {
                known.ack.device == ack.device
                    && known.counts == counts
                    && known.rivals.is_empty()
                    && self.same_answer(known.ack.ix, ack.ix)
                    && graph.before(known.ack.ix, ack.ix)
            });
            if repeats {
                continue;
            }
            let ended = self.core.records.ended_before(ack.ix);
            let mut rivals = Vec::new();
            if self.core.records.stop_number(ack.ix).is_some() {
                // OBJECTION: what it differed from was complete and is no more. It is shown to all with the stop
                // that it is, so it is half of no pair either.
                rivals.push(ack.ix);
            }
            for known in &mut answers {
                let void_then = ended.contains(&known.ack.ix)
                    || known
                        .rivals
                        .iter()
                        .any(|&rival| graph.before(rival, ack.ix));
                if known.ack.person != ack.person
                    && !(graph.before(known.ack.ix, ack.ix) && void_then)
                    && !self.same_answer(known.ack.ix, ack.ix)
                {
                    known.rivals.push(ack.ix);
                    rivals.push(known.ack.ix);
                }
            }
            answers.push(OneLook {
                number,
                ack,
                counts,
                roles: self.roles_now(ack),
                rivals,
            });
        }
        answers
    }

    /// READ-BACK: a report, and an equal repeat by another person who had seen it.
    fn read_back(
        &self,
        check: CheckNo,
        report: Roles,
        repeat: Roles,
        held: &Cut,
        witness: &mut Witness,
    ) -> bool {
        let graph = &self.core.graph;
        let found = self
            .counted(check, held)
            .filter(|(_, _, roles)| roles & repeat != 0)
            .find_map(|(_, back, _)| {
                self.counted(check, held)
                    .find(|(_, ack, roles)| {
                        roles & report != 0
                            && ack.person != back.person
                            && ack.device != back.device
                            && graph.before(ack.ix, back.ix)
                            && self.same_answer(ack.ix, back.ix)
                    })
                    .map(|(_, ack, _)| [ack.ix, back.ix])
            });
        match found {
            Some(pair) => {
                witness.entries.extend(pair);
                true
            }
            None => false,
        }
    }

    fn same_answer(&self, one: EntryIx, other: EntryIx) -> bool {
        let graph = &self.core.graph;
        match (answer(graph.body(one)), answer(graph.body(other))) {
            (Some(one), Some(other)) => one.is_same(other),
            _ => false,
        }
    }
}

pub(super) fn answer(body: &Body) -> Option<&Answer> {
    match body {
        Body::Acknowledge(ack) => Some(&ack.said),
        _ => None,
    }
}

fn lowest_role() -> crate::ids::RoleId {
    // The shortest name with the lowest first letter that names can have.
    crate::ids::RoleId::try_from("0").unwrap_or_else(|_| unreachable!("`0` is a name"))
}

/// What a check of several roles was given: by which person with which roles, and the entry.
pub(super) type Given = BTreeMap<(u16, Roles), EntryIx>;

/// A different person for each place, if there is one.
fn seat(places: &[Roles], given: &Given) -> Option<Vec<EntryIx>> {
    let seats = seats(places, given);
    (seats.len() == places.len()).then_some(seats)
}

/// The roles of which one more person would fill one more place.
pub(super) fn open_places(places: &[Roles], given: &Given) -> Roles {
    let filled = seats(places, given).len();
    let fills = |place: &Roles| {
        let mut more = given.clone();
        more.insert((u16::MAX, *place), EntryIx(u32::MAX));
        seats(places, &more).len() > filled
    };
    places
        .iter()
        .filter(|place| fills(place))
        .fold(0, |open, place| open | place)
}

/// A different person for as many places as can be (matching by augmenting paths).
fn seats(places: &[Roles], given: &Given) -> Vec<EntryIx> {
    fn place(
        at: usize,
        places: &[Roles],
        given: &Given,
        seats: &mut BTreeMap<u16, (usize, EntryIx)>,
        tried: &mut BTreeSet<u16>,
    ) -> bool {
        for (&(person, roles), &ix) in given {
            if roles & places[at] == 0 || !tried.insert(person) {
                continue;
            }
            let free = match seats.get(&person).copied() {
                None => true,
                Some((other, _)) => place(other, places, given, seats, tried),
            };
            if free {
                seats.insert(person, (at, ix));
                return true;
            }
        }
        false
    }
    let mut seats = BTreeMap::new();
    for at in 0..places.len() {
        let _ = place(at, places, given, &mut seats, &mut BTreeSet::new());
    }
    seats.into_values().map(|(_, ix)| ix).collect()
}
