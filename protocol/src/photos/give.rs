//! Give: pieces for others, one after the other with a pause, whoever asks.
//! Owns: who waits for which piece; the pictures read last.   Gives: `Give`.
//! May use: named, bounds.   Never: a picture that the log does not name; two pieces without a pause between them.

use super::PhotoEffect;
use super::message::{PhotoAsk, PhotoMessage};
use super::named::Named;
use crate::bounds::{PHOTO_PAUSE_MS, PHOTO_PIECE_BYTES};
use crate::ids::{DeviceKey, PhotoHash};
use crate::time::Tick;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// An ask that could not be answered for so long is forgotten: its author asks again, or somebody else, ms.
const ASK_KEPT_MS: u64 = 6_000;
/// A picture that was read is kept in memory while somebody asks for it, and so long after, ms.
const LOADED_KEPT_MS: u64 = 5_000;
/// Pictures in memory: others fetch in one order, so they ask for the same ones.
const LOADED_MAX: usize = 2;

#[derive(Clone, Debug)]
struct Loaded {
    hash: PhotoHash,
    content: Arc<[u8]>,
    used: Tick,
}

/// What is asked of this device.
#[derive(Clone, Debug, Default)]
pub(super) struct Give {
    /// One ask for each device: a newer one stands for the one before.
    asks: BTreeMap<DeviceKey, (PhotoAsk, Tick)>,
    /// Who had the last turn.
    last: Option<DeviceKey>,
    next_at: Tick,
    loading: Option<PhotoHash>,
    loaded: Vec<Loaded>,
}

impl Give {
    pub(super) fn asked(&mut self, from: DeviceKey, ask: PhotoAsk, now: Tick) {
        self.asks.insert(from, (ask, now));
    }

    pub(super) fn down(&mut self, peer: &DeviceKey) {
        self.asks.remove(peer);
    }

    pub(super) fn lost(&mut self, hash: &PhotoHash) {
        self.loaded.retain(|one| one.hash != *hash);
        if self.loading == Some(*hash) {
            self.loading = None;
        }
    }

    pub(super) fn loaded(&mut self, hash: PhotoHash, content: Arc<[u8]>, now: Tick) {
        self.lost(&hash);
        if self.loaded.len() >= LOADED_MAX {
            self.loaded.remove(0);
        }
        self.loaded.push(Loaded {
            hash,
            content,
            used: now,
        });
    }

    pub(super) fn is_busy(&self) -> bool {
        !self.asks.is_empty() || !self.loaded.is_empty()
    }

    pub(super) fn due(&self) -> Option<Tick> {
        let next = (!self.asks.is_empty()).then_some(self.next_at);
        let unload = self.loaded.iter().map(|one| one.used.plus(LOADED_KEPT_MS));
        next.into_iter().chain(unload).min()
    }

    /// Gives one piece, if it is time.
    pub(super) fn turn(
        &mut self,
        now: Tick,
        level: &BTreeSet<DeviceKey>,
        named: &Named,
        here: &BTreeMap<PhotoHash, u32>,
        out: &mut Vec<PhotoEffect>,
    ) {
        self.asks.retain(|_, (_, at)| now.since(*at) < ASK_KEPT_MS);
        self.loaded
            .retain(|one| now.since(one.used) < LOADED_KEPT_MS);
        if now < self.next_at || self.loading.is_some() {
            return;
        }
        // In turn, so that nobody who asks much keeps the others waiting.
        let mut may = self.asks.keys().filter(|peer| level.contains(peer));
        let after = may.clone().find(|peer| Some(**peer) > self.last).copied();
        let Some(peer) = after.or_else(|| may.next().copied()) else {
            return;
        };
        let Some((ask, _)) = self.asks.get(&peer).copied() else {
            return;
        };
        self.next_at = now.plus(PHOTO_PAUSE_MS);
        self.last = Some(peer);
        // The length as it is: what somebody wrongly named is nowhere.
        let is_here = here.get(&ask.hash) == Some(&ask.bytes) && ask.offset < ask.bytes;
        if !is_here || named.find(&ask.hash, Some(ask.bytes)).is_none() {
            self.asks.remove(&peer);
            out.push(send(peer, &PhotoMessage::Lacks { hash: ask.hash }));
            return;
        }
        let Some(loaded) = self.loaded.iter_mut().find(|one| one.hash == ask.hash) else {
            self.loading = Some(ask.hash);
            out.push(PhotoEffect::Load(ask.hash));
            return;
        };
        loaded.used = now;
        let from = ask.offset as usize;
        let rest = loaded.content.get(from..).unwrap_or_default();
        let content = rest[..rest.len().min(PHOTO_PIECE_BYTES as usize)].to_vec();
        self.asks.remove(&peer);
        out.push(send(
            peer,
            &PhotoMessage::Piece {
                hash: ask.hash,
                offset: ask.offset,
                content,
            },
        ));
    }
}

fn send(to: DeviceKey, message: &PhotoMessage) -> PhotoEffect {
    PhotoEffect::Send {
        to,
        bytes: message.encode(),
    }
}
