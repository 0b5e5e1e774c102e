//! Standing: which administrative entries are in effect at a cut, and what crew and plan follow (definition S1).
//! Owns: nothing.   Gives: `build`, the view of one set of administrative entries.
//! May use: views, succession, plans, plan, ids.   Never: what an entry is by its own past (office).

use super::plans::{Cover, Names, PlanAt, amended};
use super::roster::{Member, Roster};
use super::succession::{chain, offered_again};
use super::views::{Present, Rare, RareEntries, Removal, View};
use crate::ids::{DeviceKey, Person, RoleId};
use crate::log::entry::{Body, Offer, Offered};
use crate::log::graph::{EntryIx, Graph};
use crate::plan::Plan;
use crate::reason::Reason;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Works a view out.
pub(super) fn build(
    graph: &Graph,
    rare: &RareEntries,
    names: &mut Names,
    plans: &mut BTreeMap<Vec<EntryIx>, Arc<PlanAt>>,
    (members, forks): (Vec<EntryIx>, Vec<(DeviceKey, u32)>),
) -> View {
    let terms = chain(graph, rare, &members);
    let standing = standing(graph, rare, &members, &forks, &terms);
    let of_kind = |wanted: fn(&Rare) -> bool| -> Vec<EntryIx> {
        standing
            .iter()
            .copied()
            .filter(|&ix| rare.get(ix).is_some_and(|entry| wanted(&entry.what)))
            .collect()
    };
    let amends = of_kind(|what| matches!(what, Rare::Amend));
    let plan = plan_with(graph, names, plans, &amends);
    let mut fold = Fold::new(graph, rare, &members, &forks, &terms, &standing);
    fold.run();
    let took = fold.took;
    let all_stand = members.iter().all(|&ix| match rare.get(ix) {
        None => true,
        Some(entry) => match entry.what {
            Rare::Take { .. } => took.contains(&ix),
            Rare::Handover { .. } | Rare::TakeOver { .. } => terms.contains(&ix),
            _ => !entry.of_supervisor() || standing.contains(&ix),
        },
    });
    let covers: Vec<(EntryIx, Arc<Cover>)> = standing
        .iter()
        .filter_map(|&ix| Some((ix, rare.get(ix)?.cover.clone()?)))
        .collect();
    let changes = of_kind(|what| matches!(what, Rare::Amend | Rare::ResumeDay));
    let (removals, support, admitted, replaces) =
        (fold.removals, fold.support, fold.admitted, fold.replaces);
    let roster = fold.roster;
    let present = roster
        .members
        .iter()
        .filter(|(_, member)| member.present)
        .map(|(key, member)| Present {
            key: *key,
            tag: key.tag(),
            person: member.person.clone(),
            roles: names.roles(&member.roles),
        })
        .collect();
    let mut view = View {
        members,
        forks,
        terms,
        standing,
        took,
        all_stand,
        roster,
        present,
        support,
        admitted,
        replaces,
        removals,
        amends,
        plan,
        covers,
        briefed: BTreeSet::new(),
        unbriefed: Vec::new(),
        against_all: Vec::new(),
    };
    brief(graph, rare, &changes, &mut view);
    view.against_all = against_all(&view);
    view
}

/// Administrative entries of supervisors that stand, in order (term, seq): their author is the supervisor of
/// the term that their own past ends with, that term is in the chain, its successor had seen them, and they
/// are below their author's fork.
fn standing(
    graph: &Graph,
    rare: &RareEntries,
    members: &[EntryIx],
    forks: &[(DeviceKey, u32)],
    terms: &[EntryIx],
) -> Vec<EntryIx> {
    let mut standing: Vec<(usize, u32, EntryIx)> = members
        .iter()
        .filter_map(|&ix| {
            let entry = rare.get(ix)?;
            let (author, seq) = (graph.author(ix), graph.seq(ix));
            let term = terms.iter().position(|&term| term == entry.term)?;
            let seen = terms
                .get(term + 1)
                .is_none_or(|&next| graph.before(ix, next));
            let unforked = forks
                .iter()
                .all(|&(forked, from)| forked != author || seq < from);
            (entry.of_supervisor() && seen && unforked).then_some((term, seq, ix))
        })
        .collect();
    standing.sort_unstable_by_key(|&(term, seq, ix)| (term, seq, graph.hash(ix)));
    standing.into_iter().map(|(_, _, ix)| ix).collect()
}

fn plan_with(
    graph: &Graph,
    names: &mut Names,
    plans: &mut BTreeMap<Vec<EntryIx>, Arc<PlanAt>>,
    amends: &[EntryIx],
) -> Arc<PlanAt> {
    if let Some(known) = plans.get(amends) {
        return Arc::clone(known);
    }
    let mut plan: Plan = super::founding(graph).plan.clone();
    for &ix in amends {
        if let Body::Amend(amend) = graph.body(ix) {
            plan = amended(&plan, amend);
        }
    }
    let at = Arc::new(PlanAt::new(plan, names));
    plans.insert(amends.to_vec(), Arc::clone(&at));
    at
}

/// Whether a person with these roles may also have this one (EXCLUSIVE).
pub(super) fn excluded_by(plan: &Plan, held: &[RoleId], role: &RoleId) -> Option<RoleId> {
    let excludes =
        |a: &RoleId, b: &RoleId| plan.role(a).is_some_and(|role| role.not_with.contains(b));
    held.iter()
        .find(|other| *other != role && (excludes(role, other) || excludes(other, role)))
        .cloned()
}

/// The roster worked out from the standing entries, one after the other.
struct Fold<'a> {
    graph: &'a Graph,
    rare: &'a RareEntries,
    members: &'a [EntryIx],
    forks: &'a [(DeviceKey, u32)],
    terms: &'a [EntryIx],
    standing: &'a [EntryIx],
    plan: &'a Plan,
    roster: Roster,
    support: BTreeMap<(DeviceKey, RoleId), EntryIx>,
    admitted: BTreeMap<DeviceKey, EntryIx>,
    replaces: BTreeMap<DeviceKey, DeviceKey>,
    removals: Vec<Removal>,
    /// Takes that are in effect.
    took: Vec<EntryIx>,
}

impl<'a> Fold<'a> {
    fn new(
        graph: &'a Graph,
        rare: &'a RareEntries,
        members: &'a [EntryIx],
        forks: &'a [(DeviceKey, u32)],
        terms: &'a [EntryIx],
        standing: &'a [EntryIx],
    ) -> Self {
        Self {
            graph,
            rare,
            members,
            forks,
            terms,
            standing,
            plan: &super::founding(graph).plan,
            roster: Roster::default(),
            support: BTreeMap::new(),
            admitted: BTreeMap::new(),
            replaces: BTreeMap::new(),
            removals: Vec::new(),
            took: Vec::new(),
        }
    }

    fn run(&mut self) {
        self.find_removals();
        self.found();
        for &ix in self.standing {
            match self.graph.body(ix) {
                Body::Admit(admit) => {
                    let (device, person) = (admit.device, admit.person.clone());
                    self.admit(ix, device, person, admit.replaces, &admit.roles);
                }
                Body::Offer(Offer {
                    what: Offered::Role { role, from },
                    to: Some(to),
                }) if !role.is_supervisor() => self.relieve(ix, role, *from, *to),
                _ => {}
            }
        }
        self.seat_supervisor();
    }

    /// Seals of removals, takeovers and departures; REMOVAL: a sealed key is out for ever.
    fn find_removals(&mut self) {
        let mut sealed: BTreeSet<DeviceKey> = BTreeSet::new();
        for &ix in self.standing.iter().chain(self.terms) {
            let device = match self.rare.get(ix).map(|entry| &entry.what) {
                Some(Rare::Retire { device } | Rare::TakeOver { device, .. }) => *device,
                _ => continue,
            };
            if sealed.insert(device) {
                self.removals.push(Removal {
                    ix,
                    device,
                    role: None,
                });
            }
        }
        for &ix in self.members {
            if matches!(self.rare.get(ix), Some(entry) if entry.what == Rare::Leave) {
                self.removals.push(Removal {
                    ix,
                    device: self.graph.author(ix),
                    role: None,
                });
            }
        }
    }

    /// Whether a grant at `ix` to `device` has been ended: by a seal, or by a departure that it had not seen.
    fn out(&self, device: &DeviceKey, ix: EntryIx) -> bool {
        self.removals.iter().any(|removal| {
            removal.role.is_none()
                && removal.device == *device
                && (!matches!(self.rare.get(removal.ix), Some(entry) if entry.what == Rare::Leave)
                    || !self.graph.before(removal.ix, ix))
        })
    }

    /// Whether every removal of the device had seen this entry.
    fn out_only_after(&self, device: &DeviceKey, ix: EntryIx) -> bool {
        self.roster.members.contains_key(device)
            && self
                .removals
                .iter()
                .filter(|removal| removal.role.is_none() && removal.device == *device)
                .all(|removal| self.graph.before(ix, removal.ix))
    }

    fn found(&mut self) {
        let found = super::founding(self.graph);
        let founder = self.graph.author(EntryIx(0));
        let present = !self.out(&founder, EntryIx(0));
        self.roster.members.insert(
            founder,
            Member {
                person: found.person.clone(),
                roles: Vec::new(),
                present,
            },
        );
        if present {
            self.admitted.insert(founder, EntryIx(0));
            for role in &found.roles {
                if !role.is_supervisor() {
                    self.grant(founder, role, EntryIx(0));
                }
            }
        }
    }

    fn admit(
        &mut self,
        ix: EntryIx,
        device: DeviceKey,
        person: Person,
        replaces: Option<DeviceKey>,
        roles: &[RoleId],
    ) {
        let out = self.out(&device, ix);
        let member = self.roster.members.entry(device).or_insert(Member {
            person,
            roles: Vec::new(),
            present: false,
        });
        if out {
            return;
        }
        member.present = true;
        self.admitted.entry(device).or_insert(ix);
        if let Some(old) = replaces {
            self.replaces.entry(device).or_insert(old);
        }
        for role in roles {
            if !role.is_supervisor() {
                self.grant(device, role, ix);
            }
        }
    }

    /// Gives a role, unless it is held already (the older support stays) or one person cannot hold it as well.
    fn grant(&mut self, device: DeviceKey, role: &RoleId, ix: EntryIx) {
        if self.plan.role(role).is_none() && !role.is_supervisor() && !role.is_observer() {
            return;
        }
        let Some(member) = self.roster.members.get_mut(&device) else {
            return;
        };
        if member.roles.contains(role) || excluded_by(self.plan, &member.roles, role).is_some() {
            return;
        }
        member.roles.push(role.clone());
        member.roles.sort_unstable();
        self.support.insert((device, role.clone()), ix);
    }

    fn drop_role(&mut self, device: DeviceKey, role: &RoleId) {
        if let Some(member) = self.roster.members.get_mut(&device) {
            member.roles.retain(|held| held != role);
        }
        self.support.remove(&(device, role.clone()));
    }

    /// TAKE: an offer takes effect at its take; until then the outgoing person holds the role. Of two takes
    /// of one offer the one with the lower (seq, hash) stands.
    fn relieve(&mut self, offer: EntryIx, role: &RoleId, from: DeviceKey, to: DeviceKey) {
        let graph = self.graph;
        let take = self
            .members
            .iter()
            .copied()
            .filter(|&ix| {
                matches!(self.rare.get(ix), Some(entry) if entry.what == Rare::Take { offer })
            })
            .min_by_key(|&ix| (graph.seq(ix), graph.hash(ix)));
        let Some(take) = take else { return };
        let unforked = self
            .forks
            .iter()
            .all(|&(forked, at)| forked != to || graph.seq(take) < at);
        let holds = self.roster.holds(&from, role);
        let vacant = !self.roster.present(&from);
        // Who is removed after the take has taken: the role does not go back to the outgoing person.
        let taken_then_out = self.out(&to, offer) && self.out_only_after(&to, take);
        if !unforked
            || offered_again(graph, self.rare, self.members, offer, take)
            || !(taken_then_out || self.roster.present(&to) && !self.out(&to, take))
            || !(holds || vacant)
        {
            return;
        }
        let held: &[RoleId] = self.roster.members.get(&to).map_or(&[], |to| &to.roles);
        if excluded_by(self.plan, held, role).is_some() {
            return;
        }
        if holds {
            self.drop_role(from, role);
        }
        // Also of somebody gone since: what they say concurrently with the take, they say without the role.
        self.removals.push(Removal {
            ix: take,
            device: from,
            role: Some(role.clone()),
        });
        // The role rests on the take: an offer that was made again unseen lends nothing to who took the first.
        self.took.push(take);
        if self.roster.present(&to) {
            self.grant(to, role, take);
        }
    }

    /// The supervisor of the last term, if present. Whoever takes over lays down the roles that the
    /// supervisor cannot also hold.
    fn seat_supervisor(&mut self) {
        let mut holder = self.graph.author(EntryIx(0));
        for pair in self.terms.windows(2) {
            let next = pair[1];
            if matches!(self.rare.get(next), Some(entry) if matches!(entry.what, Rare::Handover { .. }))
                && let Ok(role) = RoleId::try_from(RoleId::SUPERVISOR)
            {
                self.removals.push(Removal {
                    ix: next,
                    device: holder,
                    role: Some(role),
                });
            }
            holder = self.graph.author(next);
        }
        let term = self.terms.last().copied().unwrap_or(EntryIx(0));
        self.roster.term = (self.terms.len() as u32).saturating_sub(1);
        let Ok(role) = RoleId::try_from(RoleId::SUPERVISOR) else {
            return;
        };
        if !self.roster.present(&holder) {
            return;
        }
        let held: Vec<RoleId> = self
            .roster
            .members
            .get(&holder)
            .map(|member| member.roles.clone())
            .unwrap_or_default();
        for other in held {
            if excluded_by(self.plan, core::slice::from_ref(&other), &role).is_some() {
                self.drop_role(holder, &other);
            }
        }
        self.grant(holder, &role, term);
        if self.roster.holds(&holder, &role) {
            self.roster.supervisor = Some(holder);
        }
    }
}

/// Who is briefed: after the own admission and after every amendment and new day that stands. LATE: nothing
/// older than the admission has to be heard again.
fn brief(graph: &Graph, rare: &RareEntries, changes: &[EntryIx], view: &mut View) {
    let mut briefings: BTreeMap<DeviceKey, Vec<EntryIx>> = BTreeMap::new();
    for &ix in &view.members {
        if matches!(rare.get(ix), Some(entry) if entry.what == Rare::Briefed) {
            briefings.entry(graph.author(ix)).or_default().push(ix);
        }
    }
    let heard = |device: &DeviceKey, since: EntryIx| {
        briefings
            .get(device)
            .is_some_and(|list| list.iter().any(|&ix| graph.before(since, ix)))
    };
    for present in &view.present {
        let Some(&admitted) = view.admitted.get(&present.key) else {
            continue;
        };
        let briefed = briefings.get(&present.key).is_some_and(|list| {
            list.iter().any(|&ix| {
                graph.before(admitted, ix) && changes.iter().all(|&change| graph.before(change, ix))
            })
        });
        if briefed {
            view.briefed.insert(present.key);
        }
    }
    if let Some(&newest) = changes.last() {
        view.unbriefed = view
            .present
            .iter()
            .map(|present| present.key)
            .filter(|device| {
                // Present then: by an admission that the amendment had seen.
                view.admitted.get(device).is_some_and(|&admitted| {
                    admitted == EntryIx(0) || graph.before(admitted, newest)
                }) && !heard(device, newest)
            })
            .collect();
    }
}

/// What keeps everybody's acknowledgement from counting: an unsettled fork of a present device (FORK), no
/// supervisor, no observer or fewer of a role than the plan asks for (NON-VACUOUS), a device that was there
/// when the plan changed and has not been briefed on it.
fn against_all(view: &View) -> Vec<Reason> {
    let mut reasons: Vec<Reason> = view
        .forks
        .iter()
        .filter(|(device, _)| view.roster.present(device))
        .map(|&(device, _)| Reason::Fork { device })
        .collect();
    let mut needed: Vec<(RoleId, usize)> = view
        .plan
        .plan
        .roles
        .iter()
        .map(|role| (role.id.clone(), usize::from(role.least)))
        .collect();
    for name in [RoleId::SUPERVISOR, RoleId::OBSERVER] {
        if let Ok(role) = RoleId::try_from(name) {
            needed.push((role, 1));
        }
    }
    for (role, least) in needed {
        if view.roster.holders(&role).count() < least {
            reasons.push(Reason::RoleVacant { role });
        }
    }
    let version = view.version();
    reasons.extend(
        view.unbriefed
            .iter()
            .map(|&device| Reason::NotBriefed { device, version }),
    );
    reasons.sort_unstable();
    reasons.dedup();
    reasons
}
