//! Queue: what happens when.
//! Owns: everything that is still to happen.   Gives: the next of it, in the order of true time, then of asking.
//! May use: nothing.   Never: chance.

use gantline_protocol::engine::{FlushId, VerifyId};
use gantline_protocol::log::sign::{BadSignature, Verified};
use std::cmp::Ordering;
use std::collections::BinaryHeap;
use std::sync::Arc;

/// Something that happens.
#[derive(Debug)]
pub(super) enum Event {
    /// Pairs are looked at for connections.
    Dial,
    /// To one device, if it has not been started anew since.
    Of {
        device: usize,
        boot: u64,
        happens: Happens,
    },
}

/// What can happen to a device.
#[derive(Debug)]
pub(super) enum Happens {
    /// Its engine wanted to be called.
    Wake,
    /// Its person looks at the screen.
    Think,
    /// It is in bad hands.
    Mischief,
    /// Its page is due.
    Page,
    /// A datagram from a device, by number.
    Datagram(usize, Arc<[u8]>),
    /// A message from a device, by number.
    Message(usize, Arc<[u8]>),
    /// The oldest batch on its way to disk is due.
    Written(FlushId),
    /// Signatures were checked.
    Checked(VerifyId, Vec<Verified>, Vec<BadSignature>),
}

#[derive(Debug)]
struct Item {
    at: u64,
    number: u64,
    event: Event,
}

impl PartialEq for Item {
    fn eq(&self, other: &Self) -> bool {
        self.number == other.number
    }
}

impl Eq for Item {}

impl PartialOrd for Item {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Item {
    fn cmp(&self, other: &Self) -> Ordering {
        // The heap gives the greatest; wanted is the earliest.
        (other.at, other.number).cmp(&(self.at, self.number))
    }
}

/// What is still to happen.
#[derive(Debug, Default)]
pub(super) struct Queue {
    heap: BinaryHeap<Item>,
    counter: u64,
}

impl Queue {
    pub(super) fn push(&mut self, at: u64, event: Event) {
        self.counter += 1;
        self.heap.push(Item {
            at,
            number: self.counter,
            event,
        });
    }

    /// The next event, if it is due by `end`.
    pub(super) fn pop_until(&mut self, end: u64) -> Option<(u64, Event)> {
        if self.heap.peek()?.at > end {
            return None;
        }
        self.heap.pop().map(|item| (item.at, item.event))
    }
}
