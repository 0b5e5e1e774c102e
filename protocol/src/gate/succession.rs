//! Succession: who is supervisor, by a chain of terms (SUCCESSION, definition S1).
//! Owns: nothing.   Gives: `chain` of terms in a set of administrative entries, `quorum` of a seal.
//! May use: views (what each administrative entry is), log::graph.   Never: what a term's entries do (standing).

use super::views::{Rare, RareEntries, View};
use crate::ids::{DeviceKey, EntryHash};
use crate::log::entry::{Body, Propose, Seal};
use crate::log::graph::{EntryIx, Graph};
use std::collections::BTreeSet;

/// The entries that start each term, the founding entry first.
pub(super) fn chain(graph: &Graph, rare: &RareEntries, members: &[EntryIx]) -> Vec<EntryIx> {
    let mut terms = vec![EntryIx(0)];
    while let Some(&last) = terms.last() {
        let next = members
            .iter()
            .filter_map(|&ix| Some((rank(graph, rare, members, ix, last)?, ix)))
            .max();
        match next {
            Some((_, ix)) => terms.push(ix),
            None => break,
        }
    }
    terms
}

/// Of terms that follow the same one: takeover beats handover, then the higher attempt, then the greater hash.
fn rank(
    graph: &Graph,
    rare: &RareEntries,
    members: &[EntryIx],
    ix: EntryIx,
    last: EntryIx,
) -> Option<(bool, u32, EntryHash)> {
    match &rare.get(ix)?.what {
        Rare::TakeOver {
            parent, attempt, ..
        } if *parent == last => Some((true, *attempt, graph.hash(ix))),
        Rare::Handover { parent, offer } if *parent == last => {
            (!offered_again(graph, rare, members, *offer, ix)).then(|| (false, 0, graph.hash(ix)))
        }
        _ => None,
    }
}

/// Whether a later offer of the same role of the same person, by the same author, had not seen the take.
pub(super) fn offered_again(
    graph: &Graph,
    rare: &RareEntries,
    members: &[EntryIx],
    offer: EntryIx,
    take: EntryIx,
) -> bool {
    let Some(Rare::Offer { role, from, .. }) = rare.get(offer).map(|entry| &entry.what) else {
        return true;
    };
    members.iter().any(|&other| {
        other != offer
            && graph.author(other) == graph.author(offer)
            && graph.seq(other) > graph.seq(offer)
            && !graph.before(take, other)
            && matches!(
                rare.get(other).map(|entry| &entry.what),
                Some(Rare::Offer { role: again, from: of, .. }) if again == role && of == from
            )
    })
}

/// Who has signed a proposal by the consents that its seal names, the proposer first. A device signs each
/// attempt on one device once; a forked device signs nothing from the fork on; the device to be removed and
/// who is not present do not sign. A person's acceptance on the device that replaces the one removed is a
/// consent (REPLACE).
pub(super) fn signers(
    graph: &Graph,
    past: &View,
    proposal: EntryIx,
    consents: &[EntryIx],
) -> Vec<DeviceKey> {
    let Body::Propose(propose) = graph.body(proposal) else {
        return Vec::new();
    };
    let mut signers: Vec<DeviceKey> = Vec::new();
    for ix in core::iter::once(proposal).chain(consents.iter().copied()) {
        let author = graph.author(ix);
        let may = past.roster.present(&author)
            && author != propose.device
            && past.unforked(author, graph.seq(ix))
            && !signers.contains(&author)
            && signs(graph, past, proposal, propose, ix);
        if may {
            signers.push(author);
        }
    }
    signers
}

fn signs(graph: &Graph, past: &View, proposal: EntryIx, propose: &Propose, ix: EntryIx) -> bool {
    match graph.body(ix) {
        Body::Propose(_) => ix == proposal && !signed_before(graph, propose, proposal, ix),
        Body::Consent(consent) => {
            consent.proposal == graph.hash(proposal) && !signed_before(graph, propose, proposal, ix)
        }
        Body::Accept => past.replaces.get(&graph.author(ix)).is_some_and(|old| {
            // Of the same person: nobody else's acceptance speaks for the one who is removed.
            *old == propose.device
                && past.roster.person(&graph.author(ix)) == past.roster.person(old)
        }),
        _ => false,
    }
}

/// Whether the author had signed another proposal with the same device and attempt before.
fn signed_before(graph: &Graph, propose: &Propose, proposal: EntryIx, ix: EntryIx) -> bool {
    let mut before = graph.find(&graph.content(ix).prev);
    while let Some(at) = before {
        let other = match graph.body(at) {
            Body::Propose(_) => Some(at),
            Body::Consent(consent) => graph.find(&consent.proposal),
            _ => None,
        };
        if let Some(other) = other.filter(|&other| other != proposal)
            && let Body::Propose(theirs) = graph.body(other)
            && theirs.kind == propose.kind
            && theirs.device == propose.device
            && theirs.attempt == propose.attempt
        {
            return true;
        }
        before = graph.find(&graph.content(at).prev);
    }
    false
}

/// Whether a device has signed any proposal with this kind, device and attempt.
pub(super) fn signed_any(graph: &Graph, propose: &Propose, device: DeviceKey) -> bool {
    graph.chains_of(device).any(|chain| {
        let Some(last) = graph.last(chain) else {
            return false;
        };
        let mut at = Some(last);
        while let Some(ix) = at {
            let signed = match graph.body(ix) {
                Body::Propose(_) => Some(ix),
                Body::Consent(consent) => graph.find(&consent.proposal),
                _ => None,
            };
            if let Some(signed) = signed
                && let Body::Propose(theirs) = graph.body(signed)
                && theirs.kind == propose.kind
                && theirs.device == propose.device
                && theirs.attempt == propose.attempt
            {
                return true;
            }
            at = graph.find(&graph.content(ix).prev);
        }
        false
    })
}

/// Whether the signers are more than half of the present devices, and at least two. No tie and no lone
/// device ever removes anybody, so of two sides of a partition at most one can.
pub(super) fn majority(past: &View, signers: &[DeviceKey]) -> bool {
    signers.len() >= 2 && 2 * signers.len() > past.roster.devices().count()
}

/// The proposal of a seal and who signed it, if all of it is in the past of the seal.
pub(super) fn sealed(
    graph: &Graph,
    past: &View,
    seal: &Seal,
    within: impl Fn(EntryIx) -> bool,
) -> Option<(EntryIx, Vec<DeviceKey>)> {
    let proposal = graph.find(&seal.proposal).filter(|&ix| within(ix))?;
    let consents: Vec<EntryIx> = seal
        .consents
        .iter()
        .collect::<BTreeSet<_>>()
        .into_iter()
        .filter_map(|hash| graph.find(hash))
        .filter(|&ix| within(ix))
        .collect();
    let signers = signers(graph, past, proposal, &consents);
    Some((proposal, signers))
}
