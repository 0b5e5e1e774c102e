//! Heads: is every person named in the clear, by whom?
//! Owns: nothing.   Gives: `HeadsView` at a cut.
//! May use: log, gate::roster.   Never: who is in contact now (the device says that when a count is made).

use super::Facts;
use crate::gate::Roster;
use crate::ids::{DeviceKey, Person};
use crate::log::entry::{Body, HeadCount};
use crate::log::graph::{Cut, EntryIx, Graph};
use std::collections::{BTreeMap, BTreeSet};

/// A head count with the words of others beside it.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct HeadsView {
    /// The count that is looked at; `None`: nobody has counted.
    pub count: Option<EntryIx>,
    /// Who is in the clear, and who says so.
    pub clear: BTreeMap<Person, DeviceKey>,
    /// Who is believed clear without having been seen; they are missing.
    pub assumed: BTreeSet<Person>,
    /// Who is not accounted for.
    pub missing: BTreeSet<Person>,
}

impl HeadsView {
    /// Whether there is a count and nobody is missing.
    #[must_use]
    pub fn complete(&self) -> bool {
        self.count.is_some() && self.missing.is_empty()
    }

    /// Who is missing, in words.
    #[must_use]
    pub fn missing_words(&self) -> String {
        if self.count.is_none() {
            return "heads: not counted".to_owned();
        }
        let names: Vec<&str> = self.missing.iter().map(Person::as_str).collect();
        format!("heads: {}", names.join(", "))
    }
}

/// HEADCOUNT, when the supervisor's count is made: people whose devices are out of contact are only assumed
/// in the clear; their own word or a named witness's makes them so.
#[must_use]
pub fn count_as_known(
    clear: Vec<Person>,
    mut assumed: Vec<Person>,
    roster: &Roster,
    author: DeviceKey,
    in_contact: &dyn Fn(&DeviceKey) -> bool,
) -> HeadCount {
    if roster.supervisor != Some(author) {
        return HeadCount { clear, assumed };
    }
    let answers = |person: &Person| {
        roster.devices().any(|device| {
            roster.person(device) == Some(person) && (*device == author || in_contact(device))
        })
    };
    let (seen, unseen): (Vec<Person>, Vec<Person>) = clear.into_iter().partition(answers);
    assumed.extend(unseen);
    assumed.sort_unstable();
    assumed.dedup();
    HeadCount {
        clear: seen,
        assumed,
    }
}

impl Facts {
    /// Everyone who must be accounted for in a cut: who is on the job, and who was removed without having
    /// said that they leave (a lost device does not bring its person down).
    #[must_use]
    pub fn people(&self, graph: &Graph, cut: &Cut, roster: &Roster) -> BTreeSet<Person> {
        roster
            .members
            .iter()
            .filter(|(device, member)| member.present || !self.has_left(graph, cut, device))
            .map(|(_, member)| member.person.clone())
            .collect()
    }

    fn has_left(&self, graph: &Graph, cut: &Cut, device: &DeviceKey) -> bool {
        self.leaves
            .newest(cut)
            .any(|(ix, ())| graph.author(ix) == *device)
    }

    /// The author's newest head count in a cut, and what others have said in the clear.
    #[must_use]
    pub fn heads_of(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        author: DeviceKey,
    ) -> HeadsView {
        let count = self
            .heads
            .newest(cut)
            .filter(|&(ix, ())| graph.author(ix) == author && self.is_current(graph, ix, cut))
            .map(|(ix, ())| ix)
            .max_by_key(|&ix| self.rank(graph, ix));
        self.heads_with(graph, cut, roster, count)
    }

    /// The newest head count of anybody in a cut, and what others have said in the clear.
    #[must_use]
    pub fn heads(&self, graph: &Graph, cut: &Cut, roster: &Roster) -> HeadsView {
        let count = self
            .heads
            .newest(cut)
            .map(|(ix, ())| ix)
            .filter(|&ix| self.is_current(graph, ix, cut))
            .max_by_key(|&ix| self.rank(graph, ix));
        self.heads_with(graph, cut, roster, count)
    }

    /// Of one person what [`Facts::heads`] says: whether anybody has counted, and whether this person is missing.
    /// Asked at every tick of every device, so nothing is collected for it.
    #[must_use]
    pub fn is_missing(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        person: &Person,
    ) -> (bool, bool) {
        let mut counted = false;
        let mut clear = false;
        for (ix, ()) in self.heads.newest(cut) {
            if let Body::HeadCount(said) = graph.body(ix)
                && self.is_current(graph, ix, cut)
            {
                counted = true;
                clear |= said.clear.contains(person);
            }
        }
        let is_asked_for = || {
            roster.members.iter().any(|(device, member)| {
                member.person == *person && (member.present || !self.has_left(graph, cut, device))
            })
        };
        (counted, !clear && is_asked_for())
    }

    /// A count from before the newest emergency, suspension or day says nothing of now.
    fn is_current(&self, graph: &Graph, ix: EntryIx, cut: &Cut) -> bool {
        self.emergencies
            .iter()
            .filter(|&&event| graph.within(event, cut))
            .all(|&event| graph.before(event, ix))
            && self.of_this_day(graph, ix, cut)
    }

    /// A count with every other current word beside it.
    #[must_use]
    pub fn heads_with(
        &self,
        graph: &Graph,
        cut: &Cut,
        roster: &Roster,
        count: Option<EntryIx>,
    ) -> HeadsView {
        let mut view = HeadsView {
            count,
            ..HeadsView::default()
        };
        let words = self
            .heads
            .newest(cut)
            .map(|(ix, ())| ix)
            .filter(|&ix| self.is_current(graph, ix, cut))
            .chain(count);
        for ix in words {
            let Body::HeadCount(said) = graph.body(ix) else {
                continue;
            };
            for person in &said.clear {
                view.clear.insert(person.clone(), graph.author(ix));
            }
            view.assumed.extend(said.assumed.iter().cloned());
        }
        for person in self.people(graph, cut, roster) {
            if !view.clear.contains_key(&person) {
                view.missing.insert(person);
            }
        }
        view
    }
}
