//! Lines: each thing that must hold for Proceed and that does not depend on what counts (gate,
//! section 5), one function a line; what it returns is why not.
//! Owns: nothing.   Gives: reasons; empty: the line holds.
//! May use: plan, gate::roster, reason, local.   Never: the word that follows (call).

use super::Local;
use crate::bounds::PAGE_LIMIT_MS;
use crate::gate::Roster;
use crate::ids::{DeviceKey, RoleId};
use crate::log::entry::{ConditionAge, Evidence};
use crate::plan::{Condition, Plan};
use crate::reason::Reason;

fn watches(roster: &Roster, device: &DeviceKey) -> bool {
    roster
        .members
        .get(device)
        .is_some_and(|member| member.roles.iter().any(RoleId::is_observer))
}

/// Own screen, disk and chain: what is shown here is live, what is pressed here can be kept, and nothing that was
/// pressed here is known to others alone.
pub(super) fn own_device(local: &Local) -> Vec<Reason> {
    let mut reasons = Vec::new();
    if local.page_silent {
        reasons.push(Reason::PageSilent);
    }
    if local.disk_failed {
        reasons.push(Reason::DiskFailed);
    }
    if !local.recovered {
        // What is missing may be the own stop.
        reasons.push(Reason::NotLevel { device: local.me });
    }
    reasons
}

/// PAIRED: every other present device has a proof of life not older than the limit, that was quiet, and
/// whose chain is held here up to the head that came with it. The observer comes first; before that comes by whose
/// word this device is off the job, if somebody who is not heard said so.
pub(super) fn contact(roster: &Roster, plan: &Plan, local: &Local) -> Vec<Reason> {
    let limit_ms = plan.times.watch_limit_ms;
    let mut others: Vec<&DeviceKey> = roster
        .devices()
        .filter(|device| **device != local.me)
        .collect();
    others.sort_by_key(|device| !watches(roster, device));
    let reasons = others
        .into_iter()
        .filter_map(|device| {
            let contact = local.contacts.iter().find(|c| c.device == *device);
            let age_ms = contact.and_then(|contact| contact.age_ms);
            let device = *device;
            match contact {
                Some(contact) if age_ms.is_some_and(|age_ms| age_ms <= limit_ms) => {
                    if !contact.quiet {
                        Some(Reason::NotQuiet { device })
                    } else if !contact.level {
                        Some(Reason::NotLevel { device })
                    } else {
                        None
                    }
                }
                _ => Some(Reason::NoContact { device, age_ms }),
            }
        })
        .collect::<Vec<Reason>>();
    let off = reasons.iter().find_map(|reason| match reason {
        Reason::NoContact { device, .. } if local.off_by.contains(device) => {
            Some(Reason::NotEnrolledThere { device: *device })
        }
        _ => None,
    });
    off.into_iter().chain(reasons).collect()
}

/// Out of Hold only after every proof was young for a while; and after a long loss the holder speaks first.
pub(super) fn steady(roster: &Roster, local: &Local) -> Vec<Reason> {
    let mut reasons = Vec::new();
    if !local.steady {
        let oldest = local
            .contacts
            .iter()
            .filter(|contact| contact.device != local.me && roster.present(&contact.device))
            .max_by_key(|contact| contact.age_ms.unwrap_or(u64::MAX));
        reasons.push(
            oldest.map_or(Reason::HoldActive, |contact| Reason::NoContact {
                device: contact.device,
                age_ms: contact.age_ms,
            }),
        );
    }
    if local.still_so_due {
        reasons.push(Reason::StillSo);
    }
    reasons
}

/// NON-VACUOUS, and the fewest people that the plan asks for in each role.
pub(crate) fn roles_held(roster: &Roster, plan: &Plan) -> Vec<Reason> {
    let mut vacant: Vec<RoleId> = plan
        .roles
        .iter()
        .filter(|role| roster.holders(&role.id).count() < usize::from(role.least))
        .map(|role| role.id.clone())
        .collect();
    for name in [RoleId::OBSERVER, RoleId::SUPERVISOR] {
        let Ok(role) = RoleId::try_from(name) else {
            continue;
        };
        let held = if role.is_supervisor() {
            roster
                .supervisor
                .is_some_and(|device| roster.present(&device))
        } else {
            roster.holders(&role).next().is_some()
        };
        if !held && !vacant.contains(&role) {
            vacant.push(role);
        }
    }
    vacant.sort_by_key(|role| !role.is_observer());
    vacant
        .into_iter()
        .map(|role| Reason::RoleVacant { role })
        .collect()
}

/// BRIEFED: every present device has had the briefing on the plan as it stands.
pub(super) fn briefed(
    roster: &Roster,
    version: u32,
    me: DeviceKey,
    is_briefed: &dyn Fn(&DeviceKey) -> bool,
) -> Vec<Reason> {
    let mut owing: Vec<DeviceKey> = roster
        .devices()
        .filter(|device| !is_briefed(device))
        .copied()
        .collect();
    owing.sort_by_key(|device| *device != me);
    owing
        .into_iter()
        .map(|device| Reason::NotBriefed { device, version })
        .collect()
}

/// The standing conditions as this device would write them into evidence now.
pub(super) fn evidence(plan: &Plan, local: &Local) -> Evidence {
    let conditions = plan
        .conditions
        .iter()
        .filter_map(|condition| {
            let (entry, age_ms) = local.condition_ages.get(&condition.id)?;
            Some(ConditionAge {
                condition: condition.id.clone(),
                entry: *entry,
                age_ms: *age_ms,
                since_out_ms: local.since_out.get(&condition.id).copied(),
            })
        })
        .collect();
    Evidence {
        proofs: Vec::new(),
        conditions,
    }
}

/// How long what is shown may be shown without hearing again: until the first thing runs out, and never
/// longer than a page may be without its node.
pub(super) fn good_for_ms(
    roster: &Roster,
    plan: &Plan,
    local: &Local,
    covering: &[&Condition],
) -> u64 {
    let limit_ms = plan.times.watch_limit_ms;
    let proofs = roster
        .devices()
        .filter(|device| **device != local.me)
        .map(|device| {
            local
                .contacts
                .iter()
                .find(|contact| contact.device == *device)
                .and_then(|contact| contact.age_ms)
                .map_or(0, |age_ms| limit_ms.saturating_sub(age_ms))
        });
    let conditions = covering.iter().filter_map(|condition| {
        let (_, age_ms) = local.condition_ages.get(&condition.id)?;
        Some((u64::from(condition.valid_s) * 1000).saturating_sub(*age_ms))
    });
    proofs
        .chain(conditions)
        .min()
        .unwrap_or(PAGE_LIMIT_MS)
        .min(PAGE_LIMIT_MS)
}

/// The order in which reasons are said: stop, screen not live, lost observer, lost other, fork, amendment,
/// reading ran out, missing check.
pub(super) fn gravity(roster: &Roster, reason: &Reason) -> u8 {
    let lost = |device: &DeviceKey| if watches(roster, device) { 2 } else { 3 };
    match reason {
        Reason::StopActive { .. }
        | Reason::CrossedStop { .. }
        | Reason::GivenBeforeStop { .. }
        | Reason::Suspended => 0,
        Reason::PageSilent
        | Reason::DiskFailed
        | Reason::Closed
        | Reason::NotEnrolled { .. }
        | Reason::NotEnrolledThere { .. } => 1,
        Reason::NoContact { device, .. }
        | Reason::NotQuiet { device }
        | Reason::NotLevel { device } => lost(device),
        Reason::RoleVacant { role } => {
            if role.is_observer() {
                2
            } else {
                3
            }
        }
        Reason::StillSo | Reason::Removed { .. } => 3,
        Reason::Fork { .. } | Reason::NeedsVersion { .. } => 4,
        Reason::NotBriefed { .. } | Reason::PlanChanged { .. } => 5,
        Reason::Stale { .. }
        | Reason::ConditionOut { .. }
        | Reason::ConditionUnknown { .. }
        | Reason::ConditionTimer { .. } => 6,
        _ => 7,
    }
}

/// Whether a reason is that something was lost, a link, reading, page or plan; otherwise it is others' turn.
pub(super) fn is_loss(reason: &Reason) -> bool {
    matches!(
        reason,
        Reason::PageSilent
            | Reason::DiskFailed
            | Reason::NoContact { .. }
            | Reason::NotEnrolledThere { .. }
            | Reason::NotQuiet { .. }
            | Reason::RoleVacant { .. }
            | Reason::StillSo
            | Reason::Fork { .. }
            | Reason::NeedsVersion { .. }
            | Reason::NotBriefed { .. }
            | Reason::PlanChanged { .. }
            | Reason::Stale { .. }
            | Reason::ConditionOut { .. }
            | Reason::ConditionUnknown { .. }
            | Reason::ConditionTimer { .. }
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::gate::Member;
    use crate::ids::{BootId, ConditionId, EntryHash};
    use crate::time::{Now, Tick, WallClock};
    use crate::watch::Contact;
    use std::collections::BTreeMap;

    const ME: DeviceKey = DeviceKey([1; 32]);
    const EYES: DeviceKey = DeviceKey([2; 32]);
    const TOWER: DeviceKey = DeviceKey([3; 32]);

    fn roster() -> Roster {
        let mut roster = Roster {
            supervisor: Some(ME),
            ..Roster::default()
        };
        for (device, person, role) in [
            (ME, "Lead", "supervisor"),
            (EYES, "Eyes", "observer"),
            (TOWER, "Tower 1", "tower"),
        ] {
            roster.members.insert(
                device,
                Member {
                    person: person.try_into().unwrap(),
                    roles: vec![role.try_into().unwrap()],
                    present: true,
                },
            );
        }
        roster
    }

    fn contact_of(device: DeviceKey, age_ms: u64) -> Contact {
        Contact {
            device,
            age_ms: Some(age_ms),
            quiet: true,
            level: true,
            holds: Vec::new(),
        }
    }

    struct Here {
        contacts: Vec<Contact>,
        condition_ages: BTreeMap<ConditionId, (EntryHash, u64)>,
        since_out: BTreeMap<ConditionId, u64>,
        entry_ages: BTreeMap<EntryHash, u64>,
        steady: bool,
        still_so_due: bool,
    }

    impl Here {
        fn new() -> Self {
            Self {
                contacts: vec![contact_of(TOWER, 100), contact_of(EYES, 100)],
                condition_ages: BTreeMap::new(),
                since_out: BTreeMap::new(),
                entry_ages: BTreeMap::new(),
                steady: true,
                still_so_due: false,
            }
        }

        fn local(&self) -> Local<'_> {
            Local {
                me: ME,
                boot: BootId(1),
                now: Now {
                    tick: Tick(0),
                    wall: WallClock(0),
                },
                contacts: &self.contacts,
                condition_ages: &self.condition_ages,
                since_out: &self.since_out,
                entry_ages: &self.entry_ages,
                loose_stops: &[],
                off_by: &[],
                recovered: true,
                disk_failed: false,
                page_silent: false,
                steady: self.steady,
                still_so_due: self.still_so_due,
                alarms: &[],
            }
        }
    }

    fn plan() -> Plan {
        crate::log::sample::plan()
    }

    fn contact_codes(here: &Here) -> Vec<Reason> {
        contact(&roster(), &plan(), &here.local())
    }

    #[test]
    fn a_proof_holds_up_to_the_limit_and_not_a_millisecond_longer() {
        let mut here = Here::new();
        assert!(contact_codes(&here).is_empty());
        here.contacts[0].age_ms = Some(4_000);
        assert!(contact_codes(&here).is_empty());
        here.contacts[0].age_ms = Some(4_001);
        assert_eq!(
            contact_codes(&here),
            [Reason::NoContact {
                device: TOWER,
                age_ms: Some(4_001)
            }]
        );
        here.contacts[0].age_ms = None;
        assert_eq!(
            contact_codes(&here),
            [Reason::NoContact {
                device: TOWER,
                age_ms: None
            }]
        );
    }

    #[test]
    fn a_device_without_any_contact_is_no_contact_and_the_observer_comes_first() {
        let mut here = Here::new();
        here.contacts.clear();
        let reasons = contact_codes(&here);
        assert!(matches!(reasons[0], Reason::NoContact { device, .. } if device == EYES));
        assert_eq!(reasons.len(), 2);
    }

    #[test]
    fn a_proof_must_be_quiet_and_level() {
        let mut here = Here::new();
        here.contacts[0].quiet = false;
        assert_eq!(contact_codes(&here), [Reason::NotQuiet { device: TOWER }]);
        here.contacts[0].quiet = true;
        here.contacts[0].level = false;
        assert_eq!(contact_codes(&here), [Reason::NotLevel { device: TOWER }]);
    }

    #[test]
    fn whoever_has_left_needs_no_proof() {
        let mut here = Here::new();
        here.contacts.retain(|contact| contact.device == EYES);
        let mut roster = roster();
        roster.members.get_mut(&TOWER).unwrap().present = false;
        assert!(contact(&roster, &plan(), &here.local()).is_empty());
    }

    #[test]
    fn a_hold_ends_when_contact_is_steady_and_the_holder_has_spoken() {
        let mut here = Here::new();
        assert!(steady(&roster(), &here.local()).is_empty());
        here.steady = false;
        here.contacts[0].age_ms = Some(900);
        assert_eq!(
            steady(&roster(), &here.local()),
            [Reason::NoContact {
                device: TOWER,
                age_ms: Some(900)
            }]
        );
        here.steady = true;
        here.still_so_due = true;
        assert_eq!(steady(&roster(), &here.local()), [Reason::StillSo]);
    }

    #[test]
    fn nobody_works_without_an_observer_or_a_supervisor() {
        let vacant = |roster: &Roster| {
            roles_held(roster, &plan())
                .into_iter()
                .map(|reason| match reason {
                    Reason::RoleVacant { role } => role.to_string(),
                    other => panic!("{other:?}"),
                })
                .collect::<Vec<_>>()
        };
        let mut crew = roster();
        assert!(vacant(&crew).is_empty());
        crew.members.get_mut(&EYES).unwrap().present = false;
        assert_eq!(vacant(&crew), ["observer"]);
        crew.members.get_mut(&ME).unwrap().present = false;
        assert_eq!(vacant(&crew), ["observer", "supervisor"]);
    }

    #[test]
    fn the_plans_fewest_people_are_there() {
        let mut plan = plan();
        plan.roles = vec![crate::plan::Role {
            id: "tower".try_into().unwrap(),
            title: "Tower".into(),
            least: 1,
            most: 2,
            not_with: Vec::new(),
            aloft: true,
        }];
        assert!(roles_held(&roster(), &plan).is_empty());
        plan.roles[0].least = 2;
        assert_eq!(roles_held(&roster(), &plan).len(), 1);
    }

    #[test]
    fn everyone_present_is_briefed_and_the_own_debt_is_said_first() {
        let all = briefed(&roster(), 1, TOWER, &|_| true);
        assert!(all.is_empty());
        let owing = briefed(&roster(), 1, TOWER, &|device| *device == EYES);
        assert_eq!(
            owing,
            [
                Reason::NotBriefed {
                    device: TOWER,
                    version: 1
                },
                Reason::NotBriefed {
                    device: ME,
                    version: 1
                }
            ]
        );
    }

    #[test]
    fn what_is_shown_is_good_until_the_first_thing_runs_out() {
        let mut here = Here::new();
        assert_eq!(good_for_ms(&roster(), &plan(), &here.local(), &[]), 1_000);
        here.contacts[0].age_ms = Some(3_700);
        assert_eq!(good_for_ms(&roster(), &plan(), &here.local(), &[]), 300);
        let wind = crate::plan::Condition {
            id: "wind".try_into().unwrap(),
            title: "Wind".into(),
            owners: Vec::new(),
            kind: crate::plan::ConditionKind::Affirmed,
            valid_s: 900,
            stable_s: 0,
            covers: Vec::new(),
            lasts: crate::plan::Lasts::Job,
        };
        here.condition_ages
            .insert(wind.id.clone(), (EntryHash::NONE, 899_950));
        assert_eq!(good_for_ms(&roster(), &plan(), &here.local(), &[&wind]), 50);
    }

    #[test]
    fn reasons_are_said_gravest_first() {
        let roster = roster();
        let condition: ConditionId = "wind".try_into().unwrap();
        let in_order = [
            Reason::StopActive {
                stop: EntryHash::NONE,
            },
            Reason::PageSilent,
            Reason::NoContact {
                device: EYES,
                age_ms: None,
            },
            Reason::NoContact {
                device: TOWER,
                age_ms: None,
            },
            Reason::Fork { device: TOWER },
            Reason::NotBriefed {
                device: TOWER,
                version: 1,
            },
            Reason::ConditionOut { condition },
            Reason::NothingOpen,
        ];
        let gravities: Vec<u8> = in_order.iter().map(|r| gravity(&roster, r)).collect();
        assert!(gravities.is_sorted_by(|a, b| a < b), "{gravities:?}");
    }
}
