//! Meddle: what is done to a device past its engine: its file read or changed, its key used by itself.
//! Owns: nothing.   Gives: the file that a person would hand over; entries signed with a device's key.
//! May use: disk, the device's key.   Never: an engine's insides.

use super::World;
use gantline_protocol::log::author::Author;
use gantline_protocol::log::entry::Body;
use gantline_protocol::log::journal;
use gantline_protocol::log::wire::Entry;
use std::sync::Arc;

impl World {
    /// The signed bytes in a device's file, in order.
    #[must_use]
    pub fn journal(&self, device: usize) -> &[Arc<[u8]>] {
        &self.devices[device].disk.journal
    }

    /// Somebody changes the file of a device that is off.
    pub fn journal_mut(&mut self, device: usize) -> &mut Vec<Arc<[u8]>> {
        &mut self.devices[device].disk.journal
    }

    /// A device's file, as it lies on its disk.
    #[must_use]
    pub fn file(&self, device: usize) -> Vec<u8> {
        let mut file = journal::header().to_vec();
        for bytes in self.journal(device) {
            journal::append_record(&mut file, bytes);
        }
        file
    }

    /// Who signs with a device's key.
    #[must_use]
    pub fn author(&self, device: usize) -> Author {
        Author::simulated(self.signing.signatures(), self.devices[device].key)
    }

    /// What a device would write next if its key signed it after all that another device has seen.
    #[must_use]
    pub fn signed_by(&self, device: usize, seen_by: usize, body: Body) -> Option<Entry> {
        let job = self.engine(seen_by)?.job();
        let wall = self.clock(device).wall;
        let author = self.author(device);
        author.next(job.graph(), wall, job.id(), body).ok()
    }
}
