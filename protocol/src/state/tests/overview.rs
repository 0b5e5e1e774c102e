//! Tests of the overview: what another device shows is told only as far as it is known here.
use super::*;

/// Everybody hears everybody, but that one pair is so old.
fn hears(old: Option<(u8, u8, u64)>) -> Vec<Hears> {
    let mut all = Vec::new();
    for (by, ..) in CREW {
        for (of, ..) in CREW.iter().filter(|(of, ..)| *of != by) {
            let odd = old.filter(|(a, b, _)| (*a, *b) == (by, *of));
            all.push(Hears {
                by: key(by),
                of: key(*of),
                age_ms: odd.map_or(200, |(_, _, age_ms)| age_ms),
            });
        }
    }
    all
}

fn seen(site: &Site, hears: Vec<Hears>) -> Overview {
    site.with_local(LEAD, |local| overview(&site.job, local, hears))
}

fn shown(overview: &Overview, device: u8) -> Option<CallWord> {
    let shows = overview.shows.iter().find(|one| one.device == key(device));
    shows.unwrap().call
}

#[test]
fn another_device_shows_what_its_links_allow_and_nothing_is_told_of_one_that_is_not_heard() {
    let mut site = Site::new();
    let all = seen(&site, hears(None));
    for (device, ..) in CREW {
        assert_eq!(shown(&all, device), Some(CallWord::Proceed));
    }
    // The ground does not hear the tower; everybody else does.
    let limit = site.job.plan().times.watch_limit_ms;
    let at_limit = seen(&site, hears(Some((GROUND, TOWER, limit))));
    assert_eq!(shown(&at_limit, GROUND), Some(CallWord::Proceed));
    let lost = seen(&site, hears(Some((GROUND, TOWER, limit + 1))));
    assert_eq!(shown(&lost, GROUND), Some(CallWord::Hold));
    assert_eq!(shown(&lost, TOWER), Some(CallWord::Proceed));
    // Here the tower is not heard, nor level: what it shows is not known.
    let at = |site: &Site, device: u8| {
        let contacts = site.contacts.iter();
        contacts.clone().position(|one| one.device == key(device))
    };
    let tower = at(&site, TOWER).unwrap();
    site.contacts[tower].age_ms = Some(limit + 1);
    let unheard = seen(&site, hears(None));
    assert_eq!(shown(&unheard, TOWER), None);
    assert_eq!(shown(&unheard, LEAD), Some(CallWord::Hold), "its own");
    site.contacts[tower].age_ms = Some(100);
    site.contacts[tower].level = false;
    assert_eq!(shown(&seen(&site, hears(None)), TOWER), None);
}

#[test]
fn a_stop_is_shown_by_who_is_known_to_have_it() {
    let mut site = Site::new();
    let before = site.job.graph().all().to_vec();
    site.stop(GROUND);
    let lacks = site.contacts.iter_mut();
    for contact in lacks.filter(|one| one.device == key(TOWER)) {
        contact.holds.clone_from(&before);
    }
    let all = seen(&site, hears(None));
    for device in [LEAD, EYES, GROUND] {
        assert_eq!(shown(&all, device), Some(CallWord::StopWork));
    }
    assert_eq!(shown(&all, TOWER), None);
}

#[test]
fn a_check_waits_since_its_step_was_opened() {
    let mut site = Site::new();
    let waits = seen(&site, Vec::new()).waits;
    assert_eq!(waits.len(), 1);
    assert_eq!((waits[0].step.as_str(), waits[0].since), ("rig", WALL));
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    let waits = seen(&site, Vec::new()).waits;
    assert_eq!((waits[0].step.as_str(), waits.len()), ("keys", 1));
}
