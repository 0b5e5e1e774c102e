//! Notes and the words around a stop: what was done earlier, refused presses, asks, declines, open items.
//! Owns: nothing.   Gives: late notes that stand, whom they bar, attempts, lists by kind.
//! May use: log.   Never: a ranking of people.

use super::Facts;
use crate::ids::{CheckId, DeviceKey, MarkId, StepId};
use crate::log::entry::{Body, NoteKind};
use crate::log::graph::{Cut, EntryIx, Graph};

/// A press that the own node refused.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Attempt {
    /// The note.
    pub entry: EntryIx,
    /// Whose press.
    pub by: DeviceKey,
    /// Stable words of the reasons.
    pub codes: Vec<String>,
    /// What was pressed.
    pub text: String,
}

impl Facts {
    /// Late notes in a cut that no supervisor in office has reviewed, in rank order.
    #[must_use]
    pub fn late_notes(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        let reviewed = |late: EntryIx| {
            self.reviews.all(cut).any(|(review, ())| {
                matches!(graph.body(review), Body::Note(note) if note.about == Some(graph.hash(late)))
                    && graph.before(late, review)
            })
        };
        let open = self.late.all(cut).map(|(ix, ())| ix);
        self.in_rank_order(graph, open.filter(|&ix| !reviewed(ix)))
    }

    /// LATE-NOTE: whether a late note of `author` bars its plain confirm of a check until it is reviewed.
    #[must_use]
    pub fn barred_by_late_note(
        &self,
        graph: &Graph,
        cut: &Cut,
        author: DeviceKey,
        step: &StepId,
        check: &CheckId,
    ) -> bool {
        self.late_notes(graph, cut).into_iter().any(|ix| {
            graph.author(ix) == author
                && matches!(
                    graph.body(ix),
                    Body::Note(note) if matches!(
                        &note.kind,
                        NoteKind::Late { step: s, check: c, .. } if s == step && c == check
                    )
                )
        })
    }

    /// Marks that late notes not yet reviewed put in doubt, each with the step that the note names.
    #[must_use]
    pub fn late_marks(&self, graph: &Graph, cut: &Cut) -> Vec<(MarkId, StepId)> {
        self.late_notes(graph, cut)
            .into_iter()
            .filter_map(|ix| match graph.body(ix) {
                Body::Note(note) => match &note.kind {
                    NoteKind::Late {
                        step,
                        mark: Some(mark),
                        ..
                    } => Some((mark.clone(), step.clone())),
                    _ => None,
                },
                _ => None,
            })
            .collect()
    }

    /// Notes that say the reason of a stop, in rank order.
    #[must_use]
    pub fn stop_reasons(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        self.in_rank_order(graph, self.stop_reasons.all(cut).map(|(ix, ())| ix))
    }

    /// Asks to resume, in rank order.
    #[must_use]
    pub fn asks(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        self.in_rank_order(graph, self.asks.all(cut).map(|(ix, ())| ix))
    }

    /// Releases, counted or not, in rank order.
    #[must_use]
    pub fn releases(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        self.in_rank_order(graph, self.releases.all(cut).map(|(ix, ())| ix))
    }

    /// Exceptions, agreed to or not, in rank order.
    #[must_use]
    pub fn exceptions(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        self.in_rank_order(graph, self.exceptions.all(cut).map(|(ix, ())| ix))
    }

    /// Refusals of asks, exceptions and exit plans, in rank order.
    #[must_use]
    pub fn declines(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        self.in_rank_order(graph, self.declines.all(cut).map(|(ix, ())| ix))
    }

    /// Words of people that things are still so after a long hold by loss, in rank order.
    #[must_use]
    pub fn still_so(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        self.in_rank_order(graph, self.still_so.all(cut).map(|(ix, ())| ix))
    }

    /// Open items: left open by an ask that was released (`released` says of an ask whether it was) and
    /// closed neither by a later released ask nor by a note.
    #[must_use]
    pub fn open_items(
        &self,
        graph: &Graph,
        cut: &Cut,
        released: &dyn Fn(EntryIx) -> bool,
    ) -> Vec<String> {
        let same = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
        let asks: Vec<EntryIx> = self
            .asks(graph, cut)
            .into_iter()
            .filter(|&ix| released(ix))
            .collect();
        let mut open: Vec<(EntryIx, String)> = Vec::new();
        for &ix in &asks {
            let Body::Ask(ask) = graph.body(ix) else {
                continue;
            };
            if let Some(closes) = &ask.closes_item {
                open.retain(|(_, item)| !same(item, closes));
            }
            if let Some(item) = &ask.open_item {
                open.push((ix, item.clone()));
            }
        }
        for (note, ()) in self.closes_items.all(cut) {
            if let Body::Note(words) = graph.body(note)
                && let NoteKind::ClosesItem { item: closed } = &words.kind
            {
                open.retain(|(ix, item)| !(same(item, closed) && graph.before(*ix, note)));
            }
        }
        open.into_iter().map(|(_, item)| item).collect()
    }

    /// Presses that were refused, as far as their nodes noted them, in rank order.
    #[must_use]
    pub fn attempts(&self, graph: &Graph, cut: &Cut) -> Vec<Attempt> {
        let refused = self.refused.all(cut).map(|(ix, ())| ix);
        self.in_rank_order(graph, refused)
            .into_iter()
            .filter_map(|ix| match graph.body(ix) {
                Body::Note(note) => match &note.kind {
                    NoteKind::Refused { codes } => Some(Attempt {
                        entry: ix,
                        by: graph.author(ix),
                        codes: codes.clone(),
                        text: note.text.clone(),
                    }),
                    _ => None,
                },
                _ => None,
            })
            .collect()
    }
}
