//! Aside: what a device shows beside its status, on the pages that somebody opens: items with their last hands and
//! looks, who is where, what waits for an agreement, the holder's own last words.
//! Owns: nothing.   Gives: `Aside` and its parts, made when a page asks; `aside`.
//! May use: gate, facts, log.   Never: the call (a device works that out many times a second, this only when looked
//! at); anything of another's that a blind second look keeps back.

use super::steps::person_of;
use crate::gate::Job;
use crate::ids::{DeviceKey, EntryHash, ItemId, Person, RoleId};
use crate::log::entry::{Body, Finding, Note, NoteKind, StopKind};
use crate::log::graph::EntryIx;
use crate::log::photo::Photo;
use crate::time::WallClock;

/// So many of the own entries are shown, newest first: what somebody wants to correct is not long ago.
const OWN_MAX: usize = 12;

/// What is shown beside the status.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Aside {
    /// Items in the plan's order.
    pub items: Vec<ItemAside>,
    /// Counted tools that have left the truck.
    pub tools_out: u32,
    /// Of these, back on the truck.
    pub tools_back: u32,
    /// Of these, not back.
    pub tools_missing: Vec<ItemId>,
    /// Where everybody is, as far as the log can know.
    pub whereabouts: Vec<WhereAside>,
    /// Asks, exceptions, exit plans and voids by the entries asked about.
    pub proposed: Vec<Written>,
    /// Entries of kinds that this version does not know, not void, with their devices.
    pub unknown: Vec<(EntryHash, DeviceKey)>,
    /// Who asks to be relieved of a role that they hold.
    pub relief_wanted: Vec<(Person, RoleId)>,
    /// Notes of something done earlier that the supervisor has yet to review, oldest first.
    pub late: Vec<Written>,
    /// Devices off the job whose calls of a stop were heard and are not muted.
    pub callers: Vec<(DeviceKey, String)>,
    /// Notes with a photo, newest last.
    pub photos: Vec<PhotoNote>,
    /// The newest entries of this device that somebody may want to correct, newest first.
    pub own: Vec<Written>,
}

/// An item beside its place and fitness.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ItemAside {
    /// Which.
    pub id: ItemId,
    /// Who moved or took it last; `None`: it has not moved since the plan.
    pub by: Option<Person>,
    /// When and by whom it was last wiped and inspected today and found good.
    pub inspected: Option<(WallClock, Person)>,
    /// Test age on the newest plate or papers that somebody read, months; `Some(None)`: no record.
    pub test_age_months: Option<Option<u16>>,
    /// Why it was set aside, as last said.
    pub set_aside: Option<String>,
}

/// Where one person is.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct WhereAside {
    /// Who.
    pub person: Person,
    /// A role of theirs is aloft.
    pub aloft: bool,
    /// Who says that they are in the clear.
    pub clear_by: Option<Person>,
}

/// An entry with what it says.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Written {
    /// The entry.
    pub entry: EntryHash,
    /// By whom.
    pub by: Person,
    /// When, by its author's wall clock.
    pub wall: WallClock,
    /// What it says.
    pub body: Body,
}

/// A note with a photo.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PhotoNote {
    /// The note.
    pub entry: EntryHash,
    /// By whom.
    pub by: Person,
    /// When, by its author's wall clock.
    pub wall: WallClock,
    /// What it says; may be nothing.
    pub text: String,
    /// The photo that it names.
    pub photo: Photo,
}

/// What is shown beside the status of this device.
#[must_use]
pub fn aside(job: &Job, me: &DeviceKey) -> Aside {
    let (graph, plan) = (job.graph(), job.plan());
    let counts = job.facts().tool_counts(graph, graph.all(), plan);
    let people = job
        .facts()
        .whereabouts(graph, graph.all(), job.roster(), plan);
    Aside {
        items: plan
            .items
            .iter()
            .map(|item| item_aside(job, &item.id))
            .collect(),
        tools_out: counts.out,
        tools_back: counts.back,
        tools_missing: counts.missing,
        whereabouts: people
            .into_iter()
            .map(|one| WhereAside {
                person: one.person,
                aloft: one.aloft,
                clear_by: one.clear_by.map(|by| person_of(job, &by)),
            })
            .collect(),
        proposed: proposed(job, me),
        unknown: job
            .unknown_open()
            .into_iter()
            .map(|ix| (graph.hash(ix), graph.author(ix)))
            .collect(),
        relief_wanted: relief_wanted(job),
        late: late(job),
        callers: callers(job),
        photos: photos(job),
        own: own(job, me),
    }
}

fn written(job: &Job, ix: EntryIx) -> Written {
    let graph = job.graph();
    Written {
        entry: graph.hash(ix),
        by: person_of(job, &graph.author(ix)),
        wall: graph.content(ix).wall,
        body: graph.body(ix).clone(),
    }
}

fn item_aside(job: &Job, id: &ItemId) -> ItemAside {
    let (graph, plan) = (job.graph(), job.plan());
    let facts = job.facts();
    let by = facts.custody(graph, graph.all(), plan, id).by;
    let looks = facts.looks(graph, graph.all(), id);
    let newest = |fits: &dyn Fn(&Finding) -> bool| {
        looks
            .iter()
            .rev()
            .copied()
            .find_map(|ix| match graph.body(ix) {
                Body::Scan(scan) if fits(&scan.found) => Some((ix, scan.found.clone())),
                _ => None,
            })
    };
    let plate = newest(&|found| matches!(found, Finding::Plate { .. }));
    let aside = newest(&|found| matches!(found, Finding::OutOfService { .. }));
    ItemAside {
        id: id.clone(),
        by: by.map(|ix| person_of(job, &graph.author(ix))),
        inspected: facts
            .inspected_today(graph, graph.all(), id)
            .map(|ix| (graph.content(ix).wall, person_of(job, &graph.author(ix)))),
        test_age_months: plate.and_then(|(_, found)| match found {
            Finding::Plate {
                test_age_months, ..
            } => Some(test_age_months),
            _ => None,
        }),
        set_aside: aside.and_then(|(_, found)| match found {
            Finding::OutOfService { why } => Some(why),
            _ => None,
        }),
    }
}

/// What this device's holder may be asked to agree to: the newest asks, and all else that is due.
fn proposed(job: &Job, me: &DeviceKey) -> Vec<Written> {
    let graph = job.graph();
    let asks = job.facts().asks(graph, graph.all());
    let due = job.agreements_due(me);
    let newest = asks.into_iter().rev().take(OWN_MAX);
    due.into_iter()
        .chain(newest)
        .map(|ix| written(job, ix))
        .collect()
}

fn relief_wanted(job: &Job) -> Vec<(Person, RoleId)> {
    let graph = job.graph();
    let mut wanted = Vec::new();
    for (ix, note) in notes(job) {
        let author = graph.author(ix);
        if let NoteKind::ReliefWanted { role } = &note.kind
            && job.roster().holds(&author, role)
        {
            let one = (person_of(job, &author), role.clone());
            if !wanted.contains(&one) {
                wanted.push(one);
            }
        }
    }
    wanted
}

/// Notes of some kind, in order of arrival.
fn notes(job: &Job) -> impl Iterator<Item = (EntryIx, &Note)> {
    let graph = job.graph();
    graph.iter().filter_map(move |ix| match graph.body(ix) {
        Body::Note(note) => Some((ix, note)),
        _ => None,
    })
}

/// Every note with a photo, in order of arrival.
#[must_use]
pub fn photos(job: &Job) -> Vec<PhotoNote> {
    let graph = job.graph();
    let named = notes(job).filter_map(|(ix, note)| match note.kind {
        NoteKind::Photo(photo) => Some(PhotoNote {
            entry: graph.hash(ix),
            by: person_of(job, &graph.author(ix)),
            wall: graph.content(ix).wall,
            text: note.text.clone(),
            photo,
        }),
        _ => None,
    });
    named.collect()
}

fn late(job: &Job) -> Vec<Written> {
    let graph = job.graph();
    let reviewed = |late: EntryIx| {
        notes(job).any(|(_, note)| {
            note.kind == NoteKind::Reviewed && note.about == Some(graph.hash(late))
        })
    };
    job.facts()
        .late_notes(graph, graph.all())
        .into_iter()
        .filter(|&ix| !reviewed(ix))
        .map(|ix| written(job, ix))
        .collect()
}

fn callers(job: &Job) -> Vec<(DeviceKey, String)> {
    let graph = job.graph();
    let muted = |caller: &DeviceKey| {
        notes(job).any(|(_, note)| matches!(&note.kind, NoteKind::Mute { key } if key == caller))
    };
    let mut callers: Vec<(DeviceKey, String)> = Vec::new();
    for ix in graph.iter() {
        if let Body::Stop(stop) = graph.body(ix)
            && let StopKind::Stranger { key, words, .. } = &stop.kind
            && !muted(key)
            && callers.iter().all(|(known, _)| known != key)
        {
            callers.push((*key, words.clone()));
        }
    }
    callers
}

/// Words that a person said themselves, not what their device writes for them.
fn own(job: &Job, me: &DeviceKey) -> Vec<Written> {
    let graph = job.graph();
    let said = |ix: &EntryIx| {
        graph.author(*ix) == *me
            && matches!(
                graph.body(*ix),
                Body::Acknowledge(_)
                    | Body::Reading(_)
                    | Body::Identity(_)
                    | Body::OrderStatus(_)
                    | Body::HeadCount(_)
                    | Body::Scan(_)
                    | Body::Moved(_)
                    | Body::MakeSafe(_)
                    | Body::Note(_)
            )
    };
    let mut own: Vec<EntryIx> = graph.iter().filter(said).collect();
    own.sort_unstable_by_key(|&ix| core::cmp::Reverse(graph.seq(ix)));
    own.into_iter()
        .take(OWN_MAX)
        .map(|ix| written(job, ix))
        .collect()
}
