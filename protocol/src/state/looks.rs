//! Looks: which answers of a blind second look a device may show its holder.
//! Owns: nothing.   Gives: for each look, whether it may be shown here.
//! May use: plan, log::entry, ids.   Never: the reasons against a look it hides.
//!
//! Two people look for themselves. Until a device's own look of the same round is recorded, nothing of
//! another's answer is shown on it, in whatever form: not the words, not whether it passed, not what is
//! therefore still missing. A conflict ends a round, and so do two people who agree that it does not pass, for
//! looks that say what was done since; the looks after it are blind to each other again.

use crate::ids::{DeviceKey, Person};
use crate::log::entry::Said;
use crate::log::graph::{EntryIx, Graph};
use crate::reason::Reason;
use std::collections::BTreeMap;

/// One look as recorded.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Look<'a> {
    pub ix: EntryIx,
    pub device: DeviceKey,
    pub person: Option<&'a Person>,
    pub said: &'a Said,
    /// Whether it says what was done since the look before.
    pub change: bool,
    /// Whether it was a stop: the check was complete, and it says otherwise (OBJECTION).
    pub stops: bool,
    /// What is made of it.
    pub worth: Worth,
}

/// What a look is worth.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Worth {
    /// It counts.
    Passes,
    /// It stands as a look; what is against it is its answer.
    Fails,
    /// It is no look of any round: for when, by whom or on what it was given, or for not saying what was done
    /// after a conflict.
    Void,
}

impl Worth {
    pub(super) fn of(reasons: &[Reason]) -> Self {
        if reasons.is_empty() {
            Self::Passes
        } else if stands(reasons) {
            Self::Fails
        } else {
            Self::Void
        }
    }
}

/// Whether a reason is against the answer itself, rather than against when, by whom or on what it was given.
pub(super) fn is_about_answer(reason: &Reason) -> bool {
    matches!(
        reason,
        Reason::OutOfLimit { .. }
            | Reason::AnswerNotPassing { .. }
            | Reason::IdentityMismatch { .. }
            | Reason::Conflict { .. }
            | Reason::NeedsSecondReader { .. }
            | Reason::CannotConfirm { .. }
            | Reason::WrongAnswerForm { .. }
            | Reason::NotAccounted { .. }
            | Reason::Duplicate
    )
}

/// Whether a look with these reasons against it stands as a look, passing or not. One that follows a conflict
/// without a word of what was done is none (ROUND): it must not lift the blind from the round to come.
pub(super) fn stands(reasons: &[Reason]) -> bool {
    reasons
        .iter()
        .all(|reason| is_about_answer(reason) && !matches!(reason, Reason::Conflict { .. }))
}

/// The looks sorted into rounds.
struct Rounds<'a> {
    /// Of each round the first time that a device gave an answer: a repetition adds nothing.
    firsts: Vec<Vec<&'a Look<'a>>>,
    /// The round of each look.
    of: Vec<usize>,
}

/// The round that a look belongs to: one more than the latest round of which its author had seen two
/// different answers of two people; or, for a look that says what was done since, two equal ones that do not
/// pass. One person alone, however often they look, ends no round; but an answer that was a stop does.
fn round_of(firsts: &[Vec<&Look>], change: bool, saw: &dyn Fn(&Look) -> bool) -> usize {
    let ended = |firsts: &Vec<&Look>| {
        let seen: Vec<&&Look> = firsts.iter().filter(|first| saw(first)).collect();
        let agreed_bad = |one: &Look, other: &Look| {
            change && one.worth == Worth::Fails && other.worth == Worth::Fails
        };
        seen.iter().any(|one| {
            one.stops
                || seen.iter().any(|other| {
                    one.person != other.person && (one.said != other.said || agreed_bad(one, other))
                })
        })
    };
    firsts.iter().rposition(ended).map_or(0, |last| last + 1)
}

/// What is void ends no round. `looks` come in an order that keeps pasts first.
fn rounds<'a>(graph: &Graph, looks: &'a [Look<'a>]) -> Rounds<'a> {
    let mut firsts: Vec<Vec<&Look>> = Vec::new();
    let mut of = Vec::with_capacity(looks.len());
    for look in looks {
        let saw = |first: &Look| graph.before(first.ix, look.ix);
        let round = round_of(&firsts, look.change, &saw);
        if firsts.len() <= round {
            firsts.resize_with(round + 1, Vec::new);
        }
        let repeats = firsts[round]
            .iter()
            .any(|first| first.device == look.device && first.said.is_same(look.said));
        if !repeats && look.worth != Worth::Void {
            firsts[round].push(look);
        }
        of.push(round);
    }
    Rounds { firsts, of }
}

/// Whose looks stand already in the round to which one belongs that is given now and says what was done.
pub(super) fn given_now(graph: &Graph, looks: &[Look]) -> Vec<DeviceKey> {
    let rounds = rounds(graph, looks);
    let now = round_of(&rounds.firsts, true, &|_| true);
    let given = rounds.firsts.get(now).into_iter().flatten();
    given.map(|look| look.device).collect()
}

/// Whether a look given now is of another round if it says what was done than if it does not.
pub(super) fn agreed_not_to_pass(graph: &Graph, looks: &[Look]) -> bool {
    let firsts = rounds(graph, looks).firsts;
    round_of(&firsts, true, &|_| true) != round_of(&firsts, false, &|_| true)
}

/// Which looks at a check that is not complete may be shown on the device `me`.
pub(super) fn shown(graph: &Graph, looks: &[Look], me: DeviceKey) -> Vec<bool> {
    let rounds = rounds(graph, looks).of;
    let newest_round = rounds.iter().copied().max().unwrap_or(0);
    // The newest look of each device, if it is of the newest round and stands.
    let mut newest: BTreeMap<DeviceKey, (&Look, usize)> = BTreeMap::new();
    for (look, round) in looks.iter().zip(&rounds) {
        newest.insert(look.device, (look, *round));
    }
    let given: Vec<&Look> = newest
        .values()
        .filter(|(look, round)| *round == newest_round && look.worth != Worth::Void)
        .map(|(look, _)| *look)
        .collect();
    let own_given = given.iter().any(|look| look.device == me);
    // A round is over when two people have given their looks in it, or one that is a stop, which all are told.
    let over = given
        .iter()
        .any(|one| one.stops || given.iter().any(|other| one.person != other.person));
    looks
        .iter()
        .zip(rounds)
        .map(|(look, round)| look.device == me || round < newest_round || own_given || over)
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::log::sample::{self, WALL};

    /// Three people on one graph; each look is an entry of theirs, seeing everything or nothing new.
    struct Table {
        graph: Graph,
        job: crate::ids::JobId,
        people: [Person; 3],
        looks: Vec<(EntryIx, u8, Said, Worth)>,
        /// Which look was a stop.
        stop: Option<usize>,
    }

    impl Table {
        fn new() -> Self {
            let (graph, job) = sample::founded();
            Self {
                graph,
                job,
                people: ["A", "B", "C"].map(|name| name.try_into().unwrap()),
                looks: Vec::new(),
                stop: None,
            }
        }

        /// A look that says what was done since, whenever it is not the first.
        fn look(&mut self, who: u8, words: &str, worth: Worth) {
            let entry = sample::author(who)
                .next(&self.graph, WALL, self.job, sample::note(words))
                .unwrap();
            let crate::log::graph::Inserted::New(ix) =
                self.graph.insert(sample::unverified(entry)).unwrap()
            else {
                panic!("twice");
            };
            let said = Said::Words(words.to_owned());
            self.looks.push((ix, who, said, worth));
        }

        fn shown(&self, who: u8) -> Vec<bool> {
            let looks: Vec<Look> = self
                .looks
                .iter()
                .enumerate()
                .map(|(number, (ix, who, said, worth))| Look {
                    ix: *ix,
                    device: sample::author(*who).device(),
                    person: Some(&self.people[usize::from(*who)]),
                    said,
                    change: number > 0,
                    stops: self.stop == Some(number),
                    worth: *worth,
                })
                .collect();
            shown(&self.graph, &looks, sample::author(who).device())
        }
    }

    #[test]
    fn the_first_look_is_shown_to_nobody_else_until_the_second_is_recorded() {
        let mut table = Table::new();
        table.look(0, "seated", Worth::Passes);
        assert_eq!(table.shown(0), [true]);
        assert_eq!(table.shown(1), [false]);
        assert_eq!(table.shown(2), [false]);
        table.look(1, "seated", Worth::Passes);
        for who in 0..3 {
            assert_eq!(table.shown(who), [true, true]);
        }
    }

    #[test]
    fn a_look_that_does_not_stand_opens_nothing() {
        let mut table = Table::new();
        table.look(1, "seated", Worth::Void);
        table.look(0, "seated", Worth::Passes);
        assert_eq!(table.shown(1), [true, false]);
    }

    #[test]
    fn after_a_conflict_the_looks_are_blind_again() {
        let mut table = Table::new();
        table.look(0, "seated", Worth::Passes);
        table.look(1, "not seated", Worth::Fails);
        assert_eq!(table.shown(0), [true, true]);
        assert_eq!(table.shown(2), [true, true], "the round is over");
        table.look(0, "seated now", Worth::Passes);
        assert_eq!(table.shown(1), [true, true, false]);
        assert_eq!(table.shown(2), [true, true, false]);
        table.look(1, "seated now", Worth::Passes);
        assert_eq!(table.shown(1), [true; 4]);
    }

    #[test]
    fn a_second_look_of_one_person_ends_no_round() {
        let mut table = Table::new();
        table.look(0, "seated", Worth::Passes);
        table.look(0, "not seated", Worth::Fails);
        assert_eq!(table.shown(1), [false, false]);
    }

    #[test]
    fn two_who_agree_that_it_does_not_pass_end_their_round_and_the_next_is_blind() {
        let mut table = Table::new();
        table.look(0, "not seated", Worth::Fails);
        table.look(1, "not seated", Worth::Fails);
        assert_eq!(table.shown(2), [true, true], "the round is over");
        table.look(0, "seated", Worth::Passes);
        assert_eq!(table.shown(1), [true, true, false]);
        table.look(1, "seated", Worth::Passes);
        assert_eq!(table.shown(1), [true; 4]);
    }

    #[test]
    fn a_look_that_is_a_stop_is_shown_to_all_and_ends_its_round() {
        let mut table = Table::new();
        // The looks that were complete are void by the stop.
        table.look(0, "seated", Worth::Void);
        table.look(1, "seated", Worth::Void);
        table.look(2, "not seated", Worth::Fails);
        table.stop = Some(2);
        assert_eq!(table.shown(0), [true; 3]);
        table.look(1, "seated", Worth::Passes);
        assert_eq!(table.shown(0), [true, true, true, false], "blind again");
        table.look(0, "seated", Worth::Passes);
        assert_eq!(table.shown(2), [true; 5]);
    }

    #[test]
    fn a_look_that_is_void_ends_no_round() {
        let mut table = Table::new();
        table.look(0, "seated", Worth::Passes);
        table.look(1, "not seated", Worth::Void);
        table.look(0, "seated", Worth::Passes);
        assert_eq!(table.shown(1), [false, true, false]);
        assert_eq!(table.shown(2), [false; 3]);
        table.look(1, "seated", Worth::Passes);
        assert_eq!(table.shown(2), [true; 4]);
    }
}
