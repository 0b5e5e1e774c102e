//! Notes that do more than be read: of something done earlier, and of presses that were refused.
//! Owns: nothing.   Gives: late notes that stand, whom they bar, attempts.
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
