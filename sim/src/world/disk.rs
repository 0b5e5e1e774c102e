//! Disk: what survives the loss of power, and what a disk can do to a device.
//! Owns: one device's journal, and what is on its way there.   Gives: writes that take time, fail, tear, are lost.
//! May use: rng.   Never: what the bytes say.

use super::World;
use super::queue::Happens;
use crate::rng::Rng;
use gantline_protocol::engine::{FlushId, Input};
use std::collections::VecDeque;
use std::sync::Arc;

/// A copy of a device's journal as it once was.
#[derive(Clone, Debug)]
pub struct Image(Vec<Arc<[u8]>>);

/// One device's disk.
#[derive(Debug, Default)]
pub struct Disk {
    /// What survives a loss of power.
    pub(super) journal: Vec<Arc<[u8]>>,
    writing: VecDeque<(FlushId, Vec<Arc<[u8]>>)>,
    free_at: u64,
    /// Whether it refuses everything.
    pub full: bool,
    /// So many of the next writes fail.
    pub failing: u32,
    /// So much longer than usual each write takes, ms.
    pub slow_ms: u64,
}

impl Disk {
    /// How many entries are on it.
    #[must_use]
    pub fn len(&self) -> usize {
        self.journal.len()
    }

    /// Whether it has nothing on it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.journal.is_empty()
    }

    /// What is on it.
    #[must_use]
    pub fn image(&self) -> Image {
        Image(self.journal.clone())
    }

    /// What was on it so many entries ago; the founding entry always was.
    #[must_use]
    pub fn image_before(&self, entries: usize) -> Image {
        let left = self.journal.len().saturating_sub(entries).max(1);
        Image(self.journal.iter().take(left).cloned().collect())
    }

    /// Whether something is on its way to it.
    #[must_use]
    pub fn is_writing(&self) -> bool {
        !self.writing.is_empty()
    }

    /// A batch is on its way; in how many ms it is there.
    pub(super) fn write(
        &mut self,
        now: u64,
        rng: &mut Rng,
        batch: FlushId,
        entries: Vec<Arc<[u8]>>,
    ) -> u64 {
        self.writing.push_back((batch, entries));
        let takes = rng.between(1, 8) + self.slow_ms;
        // What waits while a slow disk is busy is written with one flush, as a node does it.
        let joins = self.slow_ms > 0 && self.free_at > now + takes;
        if !joins {
            self.free_at = self.free_at.max(now) + takes;
        }
        self.free_at - now
    }

    /// A batch is due: what the engine is told.
    fn written(&mut self, batch: FlushId) -> Option<Input> {
        let at = self.writing.iter().position(|(id, _)| *id == batch)?;
        let (_, entries) = self.writing.remove(at)?;
        if self.full || self.failing > 0 {
            self.failing = self.failing.saturating_sub(1);
            let why = if self.full {
                "no space left"
            } else {
                "input/output error"
            };
            return Some(Input::FlushFailed {
                batch,
                why: why.to_owned(),
            });
        }
        self.journal.extend(entries);
        Some(Input::Flushed { batch })
    }

    /// Power is gone: of what was on its way the first `torn` entries are there, the rest is not.
    pub(super) fn lose_power(&mut self, torn: usize) {
        let writing = core::mem::take(&mut self.writing);
        let reached = writing.into_iter().flat_map(|(_, entries)| entries);
        if !self.full && self.failing == 0 {
            self.journal.extend(reached.take(torn));
        }
        self.free_at = 0;
    }
}

impl World {
    pub(super) fn disk_due(&mut self, device: usize, batch: FlushId) {
        if let Some(input) = self.devices[device].disk.written(batch) {
            self.input(device, input);
        }
    }

    pub(super) fn write(&mut self, device: usize, batch: FlushId, entries: Vec<Arc<[u8]>>) {
        let now = self.now;
        let in_ms = self.devices[device]
            .disk
            .write(now, &mut self.rng, batch, entries);
        self.push_of(device, in_ms, Happens::Written(batch));
    }

    /// An old copy of a device's journal takes the place of the new one, and the device is started with it.
    /// `noticed`: it can tell that the journal is not the one that it wrote last.
    pub fn restore(&mut self, device: usize, image: &Image, noticed: bool) {
        self.power_off(device);
        self.devices[device].disk.journal.clone_from(&image.0);
        self.devices[device].old_image = true;
        self.start(device, noticed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(n: u8) -> Arc<[u8]> {
        Arc::from([n])
    }

    #[test]
    fn what_was_not_written_dies_with_the_power_and_a_torn_write_keeps_its_beginning() {
        let mut rng = Rng::new(1);
        let mut disk = Disk::default();
        disk.write(0, &mut rng, FlushId(0), vec![bytes(1)]);
        assert!(matches!(
            disk.written(FlushId(0)),
            Some(Input::Flushed { .. })
        ));
        disk.write(0, &mut rng, FlushId(1), vec![bytes(2), bytes(3)]);
        disk.write(0, &mut rng, FlushId(2), vec![bytes(4)]);
        disk.lose_power(1);
        assert_eq!(disk.journal, [bytes(1), bytes(2)]);
        assert!(disk.written(FlushId(1)).is_none());
    }

    #[test]
    fn a_full_disk_and_a_failing_write_say_so_and_keep_nothing() {
        let mut rng = Rng::new(1);
        let mut disk = Disk {
            failing: 1,
            ..Disk::default()
        };
        for id in 0..3 {
            disk.write(0, &mut rng, FlushId(id), vec![bytes(1)]);
        }
        assert!(matches!(
            disk.written(FlushId(0)),
            Some(Input::FlushFailed { .. })
        ));
        assert!(matches!(
            disk.written(FlushId(1)),
            Some(Input::Flushed { .. })
        ));
        disk.full = true;
        assert!(matches!(
            disk.written(FlushId(2)),
            Some(Input::FlushFailed { .. })
        ));
        assert_eq!(disk.len(), 1);
    }
}
