//! Own: this device's entries between their making and their being on disk.
//! Owns: the own entries that are not applied yet, in order; commands that wait for them.
//! Gives: the next own entry, chained on those that are still on their way to disk.
//! May use: log.   Never: whether an entry should be written (commands, acts).

use crate::engine::command::{Command, CommandId};
use crate::ids::{EntryHash, JobId};
use crate::log::author::{Author, CannotWrite};
use crate::log::entry::{Body, Content};
use crate::log::graph::Graph;
use crate::log::sign::Verified;
use crate::time::{Tick, WallClock};
use std::collections::VecDeque;

/// Commands that wait for an earlier own entry to be on disk; more are refused.
pub(super) const WAITING_MAX: usize = 64;

/// An own entry that is not applied yet.
#[derive(Clone, Debug)]
pub(super) struct Pending {
    pub(super) verified: Verified,
    /// The command that is answered when it is on disk.
    pub(super) reply: Option<CommandId>,
}

/// A confirm that waits for fresh evidence.
#[derive(Clone, Debug)]
pub(super) struct Armed {
    pub(super) id: CommandId,
    pub(super) command: Command,
    pub(super) until: Tick,
}

/// The own entries on their way.
#[derive(Clone, Debug, Default)]
pub(super) struct Own {
    pub(super) pending: VecDeque<Pending>,
    pub(super) waiting: VecDeque<(CommandId, Command)>,
    pub(super) armed: Vec<Armed>,
}

impl Own {
    /// Whether a stop of this device is not yet part of its durable chain (SILENCE).
    pub(super) fn stop_pressed(&self) -> bool {
        self.pending
            .iter()
            .any(|own| own.verified.entry().content.body.is_stop())
    }

    /// The next own entry: after the newest on disk, or after the newest on its way there.
    pub(super) fn make(
        &self,
        author: &Author,
        graph: &Graph,
        wall: WallClock,
        job: JobId,
        body: Body,
    ) -> Result<Verified, CannotWrite> {
        let on_disk = author.next(graph, wall, job, body)?;
        let entry = match self.pending.back() {
            None => on_disk,
            Some(last) => author.sign(self.chained(graph, on_disk.content, &last.verified))?,
        };
        // An own signature that does not verify would be a key that signs nothing good.
        author.verify(entry).map_err(|_| CannotWrite::UnknownKind)
    }

    /// The same content behind the newest entry on its way, without the heads that the entries on their
    /// way have already.
    fn chained(&self, graph: &Graph, mut content: Content, last: &Verified) -> Content {
        let last = &last.entry().content;
        content.seq = last.seq.saturating_add(1);
        content.prev = self
            .pending
            .back()
            .map_or(EntryHash::NONE, |own| own.verified.entry().hash);
        content.stamp = content.stamp.max(last.stamp).next(content.wall);
        let seen: Vec<EntryHash> = self
            .pending
            .iter()
            .flat_map(|own| own.verified.entry().content.heads.iter().copied())
            .collect();
        content.heads.retain(|head| {
            let Some(head) = graph.find(head) else {
                return false;
            };
            !seen.iter().any(|seen| {
                graph
                    .find(seen)
                    .is_some_and(|seen| seen == head || graph.before(head, seen))
            })
        });
        content
    }

    /// Takes out the entry that is now applied.
    pub(super) fn applied(&mut self, hash: &EntryHash) -> Option<Pending> {
        let at = self
            .pending
            .iter()
            .position(|own| own.verified.entry().hash == *hash)?;
        self.pending.remove(at)
    }
}
