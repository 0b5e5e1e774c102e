//! Tests of what the pages beside the own one show: last hands and looks of an item, what somebody said themselves.
use super::*;
use crate::ids::ItemId;
use crate::log::entry::{Finding, Moved, Scan};
use crate::plan::{Item, Place};

fn stick() -> Item {
    Item {
        id: name("stick-1"),
        title: "Clamp stick".into(),
        load: false,
        at: Place::Truck,
        test_months: Some(24),
        tested: None,
        daily: true,
        rated_kv: None,
        rated_kn: None,
        counted: true,
    }
}

fn scan(found: Finding) -> Body {
    let item: ItemId = name("stick-1");
    Body::Scan(Scan { item, found })
}

#[test]
fn an_item_is_shown_with_its_last_hands_and_looks() {
    let mut plan = plan();
    plan.items.push(stick());
    let mut site = Site::with(plan);
    let lead = |site: &Site| aside(&site.job, &key(LEAD));
    let before = lead(&site);
    assert_eq!(before.items[0].by, None);
    assert_eq!(before.items[0].inspected, None);
    assert_eq!((before.tools_out, before.tools_back), (0, 0));

    let plate = Finding::Plate {
        test_age_months: Some(5),
        wiped_today: true,
        rated_kv: None,
    };
    site.say(GROUND, scan(plate));
    let moved = Moved {
        item: name("stick-1"),
        to: Place::Aloft,
    };
    site.say(TOWER, Body::Moved(moved));
    let after = lead(&site);
    let person = |device: u8| site.job.roster().person(&key(device)).cloned();
    assert_eq!(after.items[0].by, person(TOWER), "who has it");
    assert_eq!(after.items[0].test_age_months, Some(Some(5)));
    let inspected = after.items[0].inspected.clone();
    assert_eq!(inspected.map(|(_, by)| by), person(GROUND));
    assert_eq!((after.tools_out, after.tools_back), (1, 0));

    let why = "head cracked".to_owned();
    site.say(TOWER, scan(Finding::OutOfService { why: why.clone() }));
    assert_eq!(lead(&site).items[0].set_aside, Some(why));
}

#[test]
fn own_words_are_shown_newest_first_and_others_are_not() {
    let mut site = Site::new();
    let note = |text: &str| {
        Body::Note(Note {
            text: text.to_owned(),
            about: None,
            kind: NoteKind::Plain,
        })
    };
    site.say(TOWER, note("first"));
    site.say(GROUND, note("another's"));
    site.say(TOWER, note("second"));
    let own: Vec<String> = aside(&site.job, &key(TOWER))
        .own
        .into_iter()
        .filter_map(|written| match written.body {
            Body::Note(note) => Some(note.text),
            _ => None,
        })
        .collect();
    assert_eq!(own, ["second", "first"]);
}

#[test]
fn a_late_note_waits_for_its_review_and_a_wish_for_relief_for_its_taker() {
    let mut site = Site::new();
    let say = |site: &mut Site, device: u8, about: Option<EntryHash>, kind: NoteKind| {
        let text = "noted".to_owned();
        site.say(device, Body::Note(Note { text, about, kind }))
    };
    let step = site.job.plan().steps[0].clone();
    let late = NoteKind::Late {
        step: step.id,
        check: step.checks[0].id.clone(),
        mark: None,
    };
    let late = say(&mut site, TOWER, None, late);
    let late = site.job.graph().hash(late);
    let waits = |site: &Site| {
        let late = aside(&site.job, &key(LEAD)).late.into_iter();
        late.map(|written| written.entry).collect::<Vec<_>>()
    };
    assert_eq!(waits(&site), [late]);
    say(&mut site, LEAD, Some(late), NoteKind::Reviewed);
    assert_eq!(waits(&site), []);

    let role = site.job.roster().members[&key(TOWER)].roles[0].clone();
    let wanted = |role: &crate::ids::RoleId| NoteKind::ReliefWanted { role: role.clone() };
    say(&mut site, TOWER, None, wanted(&role));
    // Of a role that somebody does not hold there is nothing to be relieved of.
    say(&mut site, GROUND, None, wanted(&role));
    let wishes = aside(&site.job, &key(LEAD)).relief_wanted;
    let person = site.job.roster().person(&key(TOWER)).unwrap();
    assert_eq!(wishes, [(person.clone(), role)]);
}
