//! Office: what an administrative entry is by its own past alone; settled when it comes in.
//! Owns: nothing.   Gives: `judge`, the entry's kind and term, or why it has no effect.
//! May use: views, succession, plans, plan.   Never: what arrives later (standing).

use super::plans::{Names, PlanAt, amend_cover, amended, resume_day_cover, step_back_cover};
use super::standing::excluded_by;
use super::succession::{majority, sealed};
use super::views::{Rare, RareEntries, RareEntry, View};
use crate::bounds::DEVICES_MAX;
use crate::ids::{DeviceKey, RoleId};
use crate::log::entry::{Admit, Body, NoteKind, Offer, OfferNamed, Offered, Proposal, Seal};
use crate::log::graph::{Cut, EntryIx, Graph};
use crate::log::sign::is_weak;
use crate::plan::ConditionKind;
use crate::reason::Reason;
use std::sync::Arc;

/// An entry, or one about to be made, with its past.
pub(super) struct Act<'a> {
    pub(super) graph: &'a Graph,
    pub(super) rare: &'a RareEntries,
    pub(super) view: &'a View,
    pub(super) past: &'a Cut,
    pub(super) author: DeviceKey,
    pub(super) seq: u32,
    pub(super) body: &'a Body,
}

/// What an administrative entry is; `Ok(None)`: it is of another kind.
///
/// # Errors
/// The reasons why it has no effect. It stays in the log.
pub(super) fn judge(act: &Act<'_>, names: &mut Names) -> Result<Option<RareEntry>, Vec<Reason>> {
    let Some(what) = kind(act)? else {
        return Ok(None);
    };
    let plan = &act.view.plan;
    let cover = match act.body {
        Body::StepBack(back) => Some(step_back_cover(plan, names, &back.step)),
        Body::ResumeDay(_) => Some(resume_day_cover(plan)),
        Body::Amend(amend) => {
            let after = PlanAt::new(amended(&plan.plan, amend), names);
            Some(amend_cover(plan, &after, names, amend))
        }
        _ => None,
    };
    Ok(Some(RareEntry {
        what,
        term: act.view.term(),
        cover: cover.map(Arc::new),
    }))
}

/// Why an administrative entry has no effect; empty: it has, or is of another kind.
pub(super) fn reasons(act: &Act<'_>) -> Vec<Reason> {
    kind(act).err().unwrap_or_default()
}

fn kind(act: &Act<'_>) -> Result<Option<Rare>, Vec<Reason>> {
    Ok(Some(match act.body {
        Body::Admit(admit) => act.admit(admit)?,
        Body::Leave => act.leave()?,
        Body::Offer(Offer {
            what: Offered::Role { role, from },
            to,
        }) => act.offer(role, *from, *to)?,
        Body::Take(named) => match act.take(named)? {
            Some(what) => what,
            None => return Ok(None),
        },
        Body::Seal(seal) => act.seal(seal)?,
        Body::Amend(_) => {
            act.supervisor()?;
            Rare::Amend
        }
        Body::StepBack(_) => {
            act.supervisor()?;
            Rare::StepBack
        }
        Body::ResumeDay(_) => {
            act.supervisor()?;
            Rare::ResumeDay
        }
        Body::Briefed(briefed) => {
            act.present()?;
            let version = act.view.version();
            if briefed.version != version {
                return Err(vec![Reason::PlanChanged { version }]);
            }
            if act.view.briefed.contains(&act.author) {
                return Err(vec![Reason::Duplicate]);
            }
            Rare::Briefed
        }
        _ => return Ok(None),
    }))
}

impl Act<'_> {
    fn within(&self, ix: EntryIx) -> bool {
        self.graph.within(ix, self.past)
    }

    /// Present, and not forked as far as it had seen.
    fn present(&self) -> Result<(), Vec<Reason>> {
        if !self.view.roster.present(&self.author) {
            return Err(vec![Reason::NotEnrolled {
                device: self.author,
            }]);
        }
        if !self.view.unforked(self.author, self.seq) {
            return Err(vec![Reason::Fork {
                device: self.author,
            }]);
        }
        Ok(())
    }

    /// Supervisor in office in its own past.
    fn supervisor(&self) -> Result<(), Vec<Reason>> {
        self.present()?;
        if self.view.roster.supervisor == Some(self.author) {
            Ok(())
        } else {
            Err(wrong_role(RoleId::SUPERVISOR))
        }
    }

    /// A key that was sealed out never returns; a weak key, or one whose short form is another's, is refused;
    /// a device keeps its holder.
    fn admit(&self, admit: &Admit) -> Result<Rare, Vec<Reason>> {
        self.supervisor()?;
        let device = admit.device;
        let members = &self.view.roster.members;
        let sealed = self.view.removals.iter().any(|removal| {
            removal.device == device
                && removal.role.is_none()
                && !matches!(self.rare.get(removal.ix), Some(entry) if entry.what == Rare::Leave)
        });
        if sealed {
            return Err(vec![Reason::Removed { device }]);
        }
        let other_holder = members
            .get(&device)
            .is_some_and(|member| member.person != admit.person);
        let tag_taken = members
            .keys()
            .any(|known| *known != device && known.tag() == device.tag());
        let full = !members.contains_key(&device) && members.len() >= DEVICES_MAX;
        if other_holder || tag_taken || full || is_weak(&device) {
            return Err(vec![Reason::NotEnrolled { device }]);
        }
        Ok(Rare::Admit)
    }

    fn leave(&self) -> Result<Rare, Vec<Reason>> {
        if self.view.roster.present(&self.author) {
            Ok(Rare::Leave)
        } else {
            Err(vec![Reason::Duplicate])
        }
    }

    /// A relief is offered by the supervisor in office to a present device, at the wish of the person who
    /// holds the role, unless that person is gone or has gone away from the place they watch.
    fn offer(
        &self,
        role: &RoleId,
        from: DeviceKey,
        to: Option<DeviceKey>,
    ) -> Result<Rare, Vec<Reason>> {
        self.supervisor()?;
        let incomplete = || vec![Reason::ReliefIncomplete];
        let to = to.ok_or_else(incomplete)?;
        if !self.view.roster.present(&to) {
            return Err(vec![Reason::NotEnrolled { device: to }]);
        }
        if self.view.plan.plan.role(role).is_none() && !role.is_supervisor() {
            return Err(wrong_role(role.as_str()));
        }
        let own_office = role.is_supervisor() && from == self.author;
        if role.is_supervisor() && !own_office {
            return Err(incomplete());
        }
        let held = self.view.roster.holds(&from, role);
        let gone = !self.view.roster.present(&from);
        if !(held || gone) || from == to {
            return Err(incomplete());
        }
        let held_by_self = from == self.author;
        if !(held_by_self || gone || self.relief_wanted(from, role) || self.away(from, role)) {
            return Err(incomplete());
        }
        Ok(Rare::Offer {
            role: role.clone(),
            from,
            to,
        })
    }

    /// Whether the outgoing person has asked for a relief of this role.
    fn relief_wanted(&self, from: DeviceKey, role: &RoleId) -> bool {
        self.entries_of(from).any(|ix| {
            matches!(
                self.graph.body(ix),
                Body::Note(note) if matches!(&note.kind, NoteKind::ReliefWanted { role: wanted } if wanted == role)
            )
        })
    }

    /// Whether the newest word of the outgoing person on a presence that goes with the role is `away`.
    fn away(&self, from: DeviceKey, role: &RoleId) -> bool {
        self.view
            .plan
            .plan
            .conditions
            .iter()
            .filter(|condition| {
                condition.kind == ConditionKind::Presence && condition.owners.contains(role)
            })
            .any(|condition| {
                self.entries_of(from)
                    .find_map(|ix| match self.graph.body(ix) {
                        Body::Away(named) if named.condition == condition.id => Some(true),
                        Body::Affirm(named) if named.condition == condition.id => Some(false),
                        _ => None,
                    })
                    .unwrap_or(false)
            })
    }

    /// Entries of a device in the past, newest first within each chain.
    fn entries_of(&self, device: DeviceKey) -> impl Iterator<Item = EntryIx> + '_ {
        self.graph.chains_of(device).flat_map(move |chain| {
            let count = self.past.get(chain.0 as usize).copied().unwrap_or(0);
            (0..count)
                .rev()
                .map_while(move |seq| self.graph.at(chain, seq))
        })
    }

    /// TAKE: only by the device that it was offered to, which is still present; of the office: it starts a term.
    fn take(&self, named: &OfferNamed) -> Result<Option<Rare>, Vec<Reason>> {
        let Some(offer) = self.graph.find(&named.offer).filter(|&ix| self.within(ix)) else {
            return Ok(None);
        };
        let Body::Offer(Offer {
            what: Offered::Role { .. },
            ..
        }) = self.graph.body(offer)
        else {
            return Ok(None);
        };
        self.present()?;
        let incomplete = || vec![Reason::ReliefIncomplete];
        let entry = self.rare.get(offer).ok_or_else(incomplete)?;
        let Rare::Offer { role, from, to } = &entry.what else {
            return Err(incomplete());
        };
        if *to != self.author {
            return Err(vec![Reason::NotYours]);
        }
        let taken = self.view.members.iter().any(|&ix| {
            matches!(
                self.rare.get(ix).map(|entry| &entry.what),
                Some(Rare::Take { offer: of } | Rare::Handover { offer: of, .. }) if *of == offer
            )
        });
        if taken {
            return Err(vec![Reason::Duplicate]);
        }
        let plan = &self.view.plan.plan;
        let held = self
            .view
            .roster
            .members
            .get(to)
            .map(|member| member.roles.as_slice())
            .unwrap_or_default();
        if let Some(with) = excluded_by(plan, held, role) {
            return Err(vec![Reason::Exclusive {
                role: role.clone(),
                with,
            }]);
        }
        if !self.view.standing.contains(&offer) {
            return Err(incomplete());
        }
        if !role.is_supervisor() {
            return Ok(Some(Rare::Take { offer }));
        }
        let parent = self.view.term();
        if entry.term != parent || self.view.roster.supervisor != Some(*from) {
            return Err(incomplete());
        }
        Ok(Some(Rare::Handover { parent, offer }))
    }

    /// REMOVAL and takeover: what the seal names is in its past and a majority of the present devices signed.
    fn seal(&self, seal: &Seal) -> Result<Rare, Vec<Reason>> {
        self.present()?;
        let short = || vec![Reason::ReliefIncomplete];
        let (proposal, signers) =
            sealed(self.graph, self.view, seal, |ix| self.within(ix)).ok_or_else(short)?;
        let Body::Propose(propose) = self.graph.body(proposal) else {
            return Err(short());
        };
        if self.graph.author(proposal) != self.author {
            return Err(vec![Reason::NotYours]);
        }
        if !signers.contains(&self.author) || !majority(self.view, &signers) {
            return Err(short());
        }
        match propose.kind {
            Proposal::Remove => {
                self.supervisor()?;
                if !self.view.roster.present(&propose.device) || propose.device == self.author {
                    return Err(vec![Reason::Duplicate]);
                }
                Ok(Rare::Retire {
                    device: propose.device,
                })
            }
            Proposal::TakeOver => {
                let parent = self.view.term();
                if self.graph.author(parent) != propose.device || propose.device == self.author {
                    return Err(short());
                }
                Ok(Rare::TakeOver {
                    parent,
                    attempt: propose.attempt,
                    device: propose.device,
                })
            }
        }
    }
}

pub(super) fn wrong_role(role: &str) -> Vec<Reason> {
    let needs = RoleId::try_from(role).into_iter().collect();
    vec![Reason::WrongRole { needs }]
}
