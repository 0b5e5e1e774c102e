//! Tests of call and status on real jobs: a crew of four, its log, and a device's own watch.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::*;
use crate::gate::Job;
use crate::ids::{BootId, ConditionId, DeviceKey, EntryHash, JobId};
use crate::log::entry::{
    Acknowledge, Admit, Agree, Amend, Ask, Body, Briefed, Cannot, ConditionAge, ConditionNamed,
    Evidence, Found, Heard, Note, NoteKind, Proof, Release, Said, Stop, StopKind,
};
use crate::log::graph::{EntryIx, Inserted};
use crate::log::sample::{self, WALL};
use crate::plan::{Check, Condition, ConditionKind, Expects, Lasts, Limit, Plan, Role, Step, Who};
use crate::reason::Reason;
use crate::time::{Now, Tick};
use crate::watch::Contact;
use std::collections::BTreeMap;

mod aside;
mod asked_to_the_end;
mod overview;
mod reread;
mod shown;

const LEAD: u8 = 0;
const EYES: u8 = 1;
const TOWER: u8 = 2;
const GROUND: u8 = 3;
const CREW: [(u8, &str, &str); 4] = [
    (LEAD, "Lead", "supervisor"),
    (EYES, "Eyes", "observer"),
    (TOWER, "Tower 1", "tower"),
    (GROUND, "Ground 1", "ground"),
];

fn name<T: TryFrom<String>>(text: &str) -> T
where
    T::Error: core::fmt::Debug,
{
    T::try_from(text.to_owned()).unwrap()
}

fn key(device: u8) -> DeviceKey {
    sample::author(device).device()
}

fn check(id: &str, who: Who, expects: Expects) -> Check {
    Check {
        id: name(id),
        text: id.into(),
        who,
        expects,
        lasts: Lasts::Job,
    }
}

fn step(id: &str, after: &[&str], checks: Vec<Check>) -> Step {
    Step {
        id: name(id),
        title: id.into(),
        text: String::new(),
        after: after.iter().map(|id| name(id)).collect(),
        hold_point: false,
        critical: false,
        if_held: format!("keep {id} as it is"),
        safe_to_leave: true,
        needs: Vec::new(),
        sets: Vec::new(),
        items: Vec::new(),
        moves: Vec::new(),
        checks,
    }
}

fn plan() -> Plan {
    let mut plan = sample::plan();
    plan.roles = CREW
        .iter()
        .map(|(_, _, role)| Role {
            id: name(role),
            title: (*role).into(),
            least: 1,
            most: 3,
            not_with: Vec::new(),
            aloft: *role == "tower",
        })
        .collect();
    plan.agree_by = vec![name("observer"), name("tower")];
    plan.conditions = vec![Condition {
        id: name("in_place"),
        title: "Observer in place".into(),
        owners: vec![name("observer")],
        kind: ConditionKind::Presence,
        valid_s: 300,
        stable_s: 0,
        covers: Vec::new(),
        lasts: Lasts::Job,
    }];
    let tower = || Who::Roles(vec![name("tower")]);
    plan.steps = vec![
        step("rig", &[], vec![check("rigged", tower(), Expects::Yes)]),
        step(
            "keys",
            &["rig"],
            vec![check(
                "seated",
                Who::SecondLook {
                    first: vec![name("tower")],
                    second: vec![name("observer")],
                },
                Expects::OneOf {
                    answers: vec!["zz-seated".into(), "qq-loose".into()],
                    passes: "zz-seated".into(),
                },
            )],
        ),
        step("off", &["keys"], vec![check("off", tower(), Expects::Yes)]),
    ];
    plan
}

/// A gap in metres, of at least so much.
fn gap(least: &str) -> Limit {
    Limit {
        id: name("gap"),
        title: "Gap".into(),
        unit: "m".into(),
        least: Some(least.parse().unwrap()),
        most: None,
        places: 2,
        source: "invented".into(),
        computed: None,
    }
}

fn metres(value: &str) -> Said {
    Said::Value {
        value: value.parse().unwrap(),
        unit: "m".into(),
    }
}

/// A job on one graph that everybody sees whole, and what one device knows of the others.
struct Site {
    job: Job,
    id: JobId,
    contacts: Vec<Contact>,
    condition_ages: BTreeMap<ConditionId, (EntryHash, u64)>,
    since_out: BTreeMap<ConditionId, u64>,
    entry_ages: BTreeMap<EntryHash, u64>,
    loose: Vec<crate::log::wire::Entry>,
    off_by: Vec<DeviceKey>,
    recovered: bool,
    disk_failed: bool,
    page_silent: bool,
    steady: bool,
    still_so_due: bool,
}

impl Site {
    /// Founded, everybody admitted, there and briefed.
    fn new() -> Self {
        Self::with(plan())
    }

    fn with(plan: Plan) -> Self {
        let found = Body::Found(Box::new(Found {
            plan,
            person: name("Lead"),
            roles: vec![name("supervisor")],
            continues: None,
            nonce: [1; 16],
        }));
        let founding = sample::author(LEAD)
            .next(
                &crate::log::graph::Graph::new(),
                WALL,
                JobId::UNFOUNDED,
                found,
            )
            .unwrap();
        let id = JobId::from(founding.hash);
        let mut site = Self {
            job: Job::found(sample::verified(founding)).unwrap(),
            id,
            contacts: Vec::new(),
            condition_ages: BTreeMap::new(),
            since_out: BTreeMap::new(),
            entry_ages: BTreeMap::new(),
            loose: Vec::new(),
            off_by: Vec::new(),
            recovered: true,
            disk_failed: false,
            page_silent: false,
            steady: true,
            still_so_due: false,
        };
        for (device, person, role) in &CREW[1..] {
            site.say(
                LEAD,
                Body::Admit(Admit {
                    device: key(*device),
                    person: name(person),
                    roles: vec![name(role)],
                    replaces: None,
                }),
            );
            site.say(*device, Body::Accept);
        }
        for (device, _, _) in CREW {
            site.say(device, Body::Briefed(Briefed { version: 0 }));
        }
        site.look_around();
        site
    }

    fn make(&self, device: u8, body: Body) -> crate::log::wire::Entry {
        sample::author(device)
            .next(self.job.graph(), WALL, self.id, body)
            .unwrap()
    }

    fn say(&mut self, device: u8, body: Body) -> EntryIx {
        let entry = self.make(device, body);
        let Inserted::New(ix) = self.job.insert(sample::verified(entry)).unwrap() else {
            panic!("said twice");
        };
        self.job.settle();
        ix
    }

    /// Everybody else is fresh, quiet and level, and holds everything; conditions are as young as can be.
    fn look_around(&mut self) {
        let graph = self.job.graph();
        let all = graph.all().to_vec();
        self.contacts = self
            .job
            .roster()
            .devices()
            .map(|device| Contact {
                device: *device,
                age_ms: Some(100),
                quiet: true,
                level: true,
                holds: all.clone(),
            })
            .collect();
        self.condition_ages = self
            .job
            .plan()
            .conditions
            .iter()
            .filter_map(|condition| {
                let age = self.job.facts().condition_age(
                    graph,
                    &all,
                    self.job.roster(),
                    self.job.plan(),
                    condition,
                    &|_| Some(1_000),
                    &|_| 0,
                )?;
                Some((condition.id.clone(), (age.entry, age.age_ms)))
            })
            .collect();
    }

    fn evidence(&self, device: u8) -> Evidence {
        Evidence {
            proofs: self
                .job
                .roster()
                .devices()
                .filter(|other| **other != key(device))
                .map(|other| Proof {
                    device: other.tag(),
                    age_ms: 100,
                    behind: Vec::new(),
                })
                .collect(),
            conditions: self
                .condition_ages
                .iter()
                .map(|(condition, (entry, age_ms))| ConditionAge {
                    condition: condition.clone(),
                    entry: *entry,
                    age_ms: *age_ms,
                    since_out_ms: None,
                })
                .collect(),
        }
    }

    fn acknowledge(&mut self, device: u8, step: &str, check: &str, said: Said) -> EntryIx {
        self.acknowledge_after(device, step, check, said, None)
    }

    /// The same, stating what was done since an answer that did not agree.
    fn acknowledge_after(
        &mut self,
        device: u8,
        step: &str,
        check: &str,
        said: Said,
        change: Option<&str>,
    ) -> EntryIx {
        self.look_around();
        let evidence = self.evidence(device);
        let ix = self.say(
            device,
            Body::Acknowledge(Acknowledge {
                step: name(step),
                check: name(check),
                version: 0,
                said,
                change: change.map(str::to_owned),
                evidence,
            }),
        );
        self.look_around();
        ix
    }

    fn look(&mut self, device: u8, words: &str) -> EntryIx {
        self.acknowledge(device, "keys", "seated", Said::Words(words.into()))
    }

    /// A look of a new round.
    fn look_anew(&mut self, device: u8, words: &str) -> EntryIx {
        let said = Said::Words(words.into());
        self.acknowledge_after(device, "keys", "seated", said, Some("cleaned"))
    }

    fn stop(&mut self, device: u8) -> EntryIx {
        let ix = self.say(device, stop_body());
        self.look_around();
        ix
    }

    fn with_local<T>(&self, me: u8, then: impl FnOnce(&Local) -> T) -> T {
        then(&Local {
            me: key(me),
            boot: BootId(1),
            now: Now {
                tick: Tick(1_000_000),
                wall: WALL,
            },
            contacts: &self.contacts,
            condition_ages: &self.condition_ages,
            since_out: &self.since_out,
            entry_ages: &self.entry_ages,
            loose_stops: &self.loose,
            off_by: &self.off_by,
            recovered: self.recovered,
            disk_failed: self.disk_failed,
            page_silent: self.page_silent,
            steady: self.steady,
            still_so_due: self.still_so_due,
            alarms: &[],
        })
    }

    fn call(&self, me: u8) -> Call {
        self.with_local(me, |local| call(&self.job, local))
    }

    fn status(&self, me: u8) -> Status {
        self.with_local(me, |local| status(&self.job, local))
    }

    fn hold_codes(&self, me: u8) -> Vec<&'static str> {
        let call = self.call(me);
        assert_eq!(call.word, CallWord::Hold, "{call:?}");
        call.reasons.iter().map(Reason::code).collect()
    }
}

fn stop_body() -> Body {
    Body::Stop(Stop {
        kind: StopKind::Work,
        why: "person under the load".into(),
        item: None,
    })
}

// Call: each line alone.

#[test]
fn proceed_when_every_line_holds() {
    let site = Site::new();
    for (device, _, _) in CREW {
        let call = site.call(device);
        assert_eq!(call.word, CallWord::Proceed, "{call:?}");
        assert!(call.reasons.is_empty());
        assert_eq!(call.step, Some(name("rig")));
        assert_eq!(call.if_held, "keep rig as it is");
        assert!(!call.by_loss);
        assert_eq!(call.good_for_ms, 1_000);
    }
}

#[test]
fn a_device_of_whose_chain_others_hold_more_holds() {
    let mut site = Site::new();
    site.recovered = false;
    let call = site.call(TOWER);
    assert_eq!(call.word, CallWord::Hold);
    assert_eq!(call.reasons, [Reason::NotLevel { device: key(TOWER) }]);
}

#[test]
fn a_stop_in_the_log_or_loose_is_stop_work_and_nothing_hides_it() {
    let mut site = Site::new();
    site.disk_failed = true;
    site.page_silent = true;
    site.loose = vec![site.make(GROUND, stop_body())];
    let loose = site.loose[0].hash;
    let call = site.call(TOWER);
    assert_eq!(call.word, CallWord::StopWork);
    assert_eq!(call.reasons, [Reason::StopActive { stop: loose }]);
    assert_eq!(site.status(TOWER).stops[0].entry, loose);
    site.loose.clear();
    let stop = site.stop(GROUND);
    let hash = site.job.graph().hash(stop);
    assert_eq!(
        site.call(TOWER).reasons,
        [Reason::StopActive { stop: hash }]
    );
    assert_eq!(site.status(TOWER).job_state, JobState::Stop);
    // The same stop again from a datagram changes nothing.
    site.loose = vec![site.job.graph().entry(stop).clone()];
    assert_eq!(site.call(TOWER).reasons.len(), 1);
    assert_eq!(site.status(TOWER).stops.len(), 1);
}

#[test]
fn a_lost_observer_a_lost_other_a_press_and_a_log_that_differs_each_hold() {
    let mut site = Site::new();
    let at = |site: &Site, device: u8| {
        site.contacts
            .iter()
            .position(|contact| contact.device == key(device))
            .unwrap()
    };
    let (eyes, ground) = (at(&site, EYES), at(&site, GROUND));
    site.contacts[ground].age_ms = Some(4_000);
    assert_eq!(site.call(TOWER).word, CallWord::Proceed);
    assert_eq!(site.call(TOWER).good_for_ms, 0);
    site.contacts[ground].age_ms = Some(4_001);
    site.contacts[eyes].age_ms = Some(4_001);
    let call = site.call(TOWER);
    assert_eq!(call.word, CallWord::Hold);
    assert!(call.by_loss);
    assert_eq!(
        call.reasons[0],
        Reason::NoContact {
            device: key(EYES),
            age_ms: Some(4_001)
        },
        "the observer first"
    );
    assert_eq!(call.reasons.len(), 2);
    site.look_around();
    site.contacts[ground].quiet = false;
    assert_eq!(
        site.call(TOWER).reasons,
        [Reason::NotQuiet {
            device: key(GROUND)
        }]
    );
    site.look_around();
    site.contacts[ground].level = false;
    assert_eq!(
        site.call(TOWER).reasons,
        [Reason::NotLevel {
            device: key(GROUND)
        }]
    );
    site.look_around();
    site.contacts.clear();
    assert_eq!(site.hold_codes(TOWER), ["no_contact"; 3]);
}

#[test]
fn whom_others_take_for_off_the_job_is_told_so_while_they_are_not_heard() {
    let mut site = Site::new();
    site.off_by = vec![key(GROUND)];
    assert_eq!(site.call(TOWER).word, CallWord::Proceed, "heard since");
    let at = |device: u8| move |contact: &Contact| contact.device == key(device);
    let ground = site.contacts.iter().position(at(GROUND)).unwrap();
    site.contacts[ground].age_ms = Some(4_001);
    let call = site.call(TOWER);
    assert_eq!((call.word, call.by_loss), (CallWord::Hold, true));
    let device = key(GROUND);
    let age_ms = Some(4_001);
    assert_eq!(
        call.reasons,
        [
            Reason::NotEnrolledThere { device },
            Reason::NoContact { device, age_ms }
        ]
    );
    // Lost is not off the job.
    site.off_by.clear();
    assert_eq!(site.hold_codes(TOWER), ["no_contact"]);
}

#[test]
fn own_page_own_disk_and_the_way_out_of_hold_each_hold() {
    let mut site = Site::new();
    site.page_silent = true;
    assert_eq!(site.call(TOWER).reasons, [Reason::PageSilent]);
    site.page_silent = false;
    site.disk_failed = true;
    assert_eq!(site.call(TOWER).reasons, [Reason::DiskFailed]);
    site.disk_failed = false;
    site.steady = false;
    assert_eq!(site.hold_codes(TOWER), ["no_contact"]);
    site.steady = true;
    site.still_so_due = true;
    assert_eq!(site.call(TOWER).reasons, [Reason::StillSo]);
    assert!(site.status(TOWER).asked.contains(&AskedOf::StillSo));
}

#[test]
fn a_condition_that_ran_out_or_is_not_known_holds_the_observers_own_device_too() {
    let mut site = Site::new();
    let id: ConditionId = name("in_place");
    site.condition_ages.get_mut(&id).unwrap().1 = 300_000;
    assert_eq!(site.call(TOWER).word, CallWord::Proceed);
    site.condition_ages.get_mut(&id).unwrap().1 = 300_001;
    for device in [TOWER, EYES] {
        assert_eq!(
            site.call(device).reasons,
            [Reason::Stale {
                condition: id.clone(),
                age_ms: 300_001,
                valid_ms: 300_000
            }]
        );
    }
    assert!(site.status(EYES).asked.contains(&AskedOf::Condition {
        condition: id.clone()
    }));
    assert!(!site.status(TOWER).asked.contains(&AskedOf::Condition {
        condition: id.clone()
    }));
    site.condition_ages.clear();
    assert_eq!(
        site.call(TOWER).reasons,
        [Reason::ConditionUnknown {
            condition: id.clone()
        }]
    );
    site.say(
        EYES,
        Body::Away(ConditionNamed {
            condition: id.clone(),
        }),
    );
    site.look_around();
    assert_eq!(
        site.call(TOWER).reasons,
        [Reason::ConditionOut { condition: id }]
    );
}

#[test]
fn a_device_not_on_the_job_holds() {
    let site = Site::new();
    let call = site.call(9);
    assert_eq!(call.word, CallWord::Hold);
    assert!(
        call.reasons
            .contains(&Reason::NotEnrolled { device: key(9) })
    );
    assert!(site.status(9).asked.is_empty());
}

#[test]
fn an_amendment_holds_everyone_until_all_are_briefed() {
    let mut site = Site::new();
    site.say(
        LEAD,
        Body::Amend(Box::new(Amend {
            why: "other hoist".into(),
            changes: Vec::new(),
            covers: Vec::new(),
        })),
    );
    site.look_around();
    assert_eq!(site.hold_codes(TOWER), ["not_briefed"; 4]);
    assert!(
        site.status(TOWER)
            .asked
            .contains(&AskedOf::Briefing { version: 1 })
    );
    for (device, _, _) in CREW {
        site.say(device, Body::Briefed(Briefed { version: 1 }));
    }
    site.look_around();
    assert_eq!(site.call(TOWER).word, CallWord::Proceed);
}

#[test]
fn the_next_step_waits_until_everybody_is_known_to_hold_what_opened_it() {
    let mut site = Site::new();
    let before = site.job.graph().all().to_vec();
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    assert_eq!(site.call(TOWER).step, Some(name("keys")));
    assert_eq!(site.call(TOWER).word, CallWord::Proceed);
    let ground = site
        .contacts
        .iter()
        .position(|contact| contact.device == key(GROUND))
        .unwrap();
    site.contacts[ground].holds = before;
    let call = site.call(TOWER);
    assert_eq!(call.word, CallWord::Hold);
    assert!(!call.by_loss, "it is others' turn");
    assert_eq!(
        call.reasons,
        [Reason::NotKnown {
            step: name("keys"),
            device: key(GROUND)
        }]
    );
    assert_eq!(site.status(TOWER).steps[1].state, StepState::Locked);
    assert_eq!(site.status(TOWER).unsynced, 1);
}

#[test]
fn cannot_confirm_holds_with_who() {
    let mut site = Site::new();
    site.say(
        TOWER,
        Body::Cannot(Cannot {
            step: name("rig"),
            check: name("rigged"),
            why: "latch not seen".into(),
        }),
    );
    site.look_around();
    let call = site.call(GROUND);
    assert_eq!(call.word, CallWord::Hold);
    assert_eq!(
        call.reasons,
        [Reason::CannotConfirm {
            step: name("rig"),
            check: name("rigged"),
            by: key(TOWER)
        }]
    );
    assert_eq!(site.status(GROUND).steps[0].state, StepState::Conflict);
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    assert_eq!(site.call(GROUND).word, CallWord::Proceed);
}

#[test]
fn with_every_step_complete_nothing_is_open() {
    let mut site = Site::new();
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    site.look(TOWER, "zz-seated");
    site.look(EYES, "zz-seated");
    site.acknowledge(TOWER, "off", "off", Said::Yes);
    assert_eq!(site.call(TOWER).reasons, [Reason::NothingOpen]);
    assert_eq!(site.status(TOWER).job_state, JobState::Hold);
}

// Status.

#[test]
fn each_is_asked_for_what_is_theirs() {
    let mut site = Site::new();
    let rigged = AskedOf::Check {
        step: name("rig"),
        check: name("rigged"),
        again: false,
        since: false,
    };
    assert_eq!(site.status(TOWER).asked, core::slice::from_ref(&rigged));
    for device in [LEAD, EYES, GROUND] {
        assert!(site.status(device).asked.is_empty(), "{device}");
    }
    // Given, and then a stop before the step was over for everybody.
    let stop = site.stop(GROUND);
    let hash = site.job.graph().hash(stop);
    assert_eq!(site.status(TOWER).asked, [AskedOf::Heard { stop: hash }]);
    assert_eq!(
        site.status(LEAD).asked,
        [AskedOf::Heard { stop: hash }, AskedOf::Ask { stop: hash }]
    );
    assert!(site.status(GROUND).asked.is_empty());
    let status = site.status(LEAD);
    assert_eq!(status.stops[0].by, Some(name("Ground 1")));
    assert_eq!(status.stops[0].not_heard.len(), 3);
    assert_eq!(status.stops[0].held_by.len(), 4);
    assert_eq!(status.stops[0].repeat, 1);
    for device in [LEAD, EYES, TOWER] {
        site.say(device, Body::Heard(Heard { stop: hash }));
    }
    let ask = site.say(
        LEAD,
        Body::Ask(Ask {
            stops: vec![hash],
            cause: "drop zone is empty".into(),
            open_item: Some("new fence".into()),
            closes_item: None,
        }),
    );
    let ask = site.job.graph().hash(ask);
    for device in [EYES, TOWER, GROUND] {
        assert_eq!(
            site.status(device).asked,
            [AskedOf::Agree { to: ask }],
            "{device}"
        );
    }
    for device in [EYES, TOWER, GROUND] {
        site.say(device, Body::Agree(Agree { to: ask }));
    }
    site.look_around();
    let evidence = site.evidence(LEAD);
    site.say(LEAD, Body::Release(Release { ask, evidence }));
    site.look_around();
    assert_eq!(site.call(TOWER).word, CallWord::Proceed);
    assert_eq!(site.status(TOWER).open_items, ["new fence"]);
    assert_eq!(site.status(TOWER).asked, [rigged]);
}

#[test]
fn a_confirm_that_a_stop_annulled_is_asked_for_again() {
    let mut site = Site::new();
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    site.look(EYES, "zz-seated");
    let stop = site.stop(GROUND);
    let hash = site.job.graph().hash(stop);
    for device in [LEAD, EYES, TOWER] {
        site.say(device, Body::Heard(Heard { stop: hash }));
    }
    let ask = site.say(
        LEAD,
        Body::Ask(Ask {
            stops: vec![hash],
            cause: "seen to".into(),
            open_item: None,
            closes_item: None,
        }),
    );
    let ask = site.job.graph().hash(ask);
    for device in [EYES, TOWER, GROUND] {
        site.say(device, Body::Agree(Agree { to: ask }));
    }
    site.look_around();
    let evidence = site.evidence(LEAD);
    site.say(LEAD, Body::Release(Release { ask, evidence }));
    site.look_around();
    let wanted = |again| AskedOf::Check {
        step: name("keys"),
        check: name("seated"),
        again,
        since: false,
    };
    assert_eq!(site.status(EYES).asked, [wanted(true)]);
    assert_eq!(site.status(TOWER).asked, [wanted(false)]);
    // The finished step stands.
    assert_eq!(site.status(TOWER).steps[0].state, StepState::Done);
}

fn bytes_of(site: &Site, me: u8) -> String {
    let status = site.status(me);
    format!("{status:?} {}", serde_words(&status))
}

/// The status as a page would get it: every text in it.
fn serde_words(status: &Status) -> String {
    let bytes = postcard::to_stdvec(&status.shown).unwrap();
    let texts = postcard::to_stdvec(&status.steps).unwrap_or_default();
    format!(
        "{} {}",
        String::from_utf8_lossy(&bytes),
        String::from_utf8_lossy(&texts)
    )
}

#[test]
fn not_a_byte_of_anothers_look_is_in_the_status_before_the_own_look() {
    for answer in ["zz-seated", "qq-loose"] {
        let mut site = Site::new();
        site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
        let before: Vec<Status> = CREW.iter().map(|(d, _, _)| site.status(*d)).collect();
        site.look(TOWER, answer);
        for device in [EYES, GROUND, LEAD] {
            let text = bytes_of(&site, device);
            assert!(!text.contains(answer), "{answer} on {device}: {text}");
        }
        // Its author sees it, so the search can find something.
        assert!(bytes_of(&site, TOWER).contains(answer));
        let eyes = site.status(EYES);
        assert_eq!(eyes.steps[1].state, StepState::Open);
        assert_eq!(eyes.steps[1].checks[0].given[0].said, None);
        assert!(eyes.asked.contains(&AskedOf::Check {
            step: name("keys"),
            check: name("seated"),
            again: false,
            since: false,
        }));
        assert_eq!(before.len(), 4);
    }
}

#[test]
fn a_number_read_in_a_second_look_is_given_to_others_after_their_own_only() {
    let mut plan = plan();
    plan.limits = vec![gap("2.01")];
    plan.steps[1].checks[0].expects = Expects::Measured { limit: name("gap") };
    let mut site = Site::with(plan);
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    let shown = |site: &Site, device: u8| {
        let given = site.status(device).steps[1].checks[0].given.clone();
        let values: Vec<_> = given.into_iter().map(|given| given.value).collect();
        values
    };
    site.acknowledge(TOWER, "keys", "seated", metres("2.34"));
    let first = Some(("2.34".parse().unwrap(), "m".to_owned()));
    assert_eq!(shown(&site, TOWER), std::slice::from_ref(&first));
    for device in [EYES, GROUND, LEAD] {
        assert_eq!(shown(&site, device), [None], "{device}");
    }
    site.acknowledge(EYES, "keys", "seated", metres("2.35"));
    assert_eq!(shown(&site, EYES).len(), 2);
    assert!(shown(&site, EYES).contains(&first));
}

#[test]
fn a_look_that_passes_and_one_that_does_not_leave_the_same_picture_with_others() {
    let picture = |answer: &str, device: u8| {
        let mut site = Site::new();
        site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
        site.look(TOWER, answer);
        let mut status = site.status(device);
        // What names the entry itself, which is no answer: its hash differs as any two entries' do.
        status.digest = EntryHash::NONE;
        status.steps[1].checks[0].given[0].entry = EntryHash::NONE;
        status
    };
    for device in [EYES, GROUND, LEAD] {
        assert_eq!(
            picture("zz-seated", device),
            picture("qq-loose", device),
            "{device}"
        );
    }
}

#[test]
fn both_looks_are_shown_when_both_are_in_and_a_conflict_holds_until_new_ones_agree() {
    let mut site = Site::new();
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    site.look(TOWER, "zz-seated");
    site.look(EYES, "qq-loose");
    for device in [TOWER, EYES] {
        let text = bytes_of(&site, device);
        assert!(text.contains("zz-seated") && text.contains("qq-loose"));
    }
    assert_eq!(site.hold_codes(GROUND), ["conflict"]);
    assert_eq!(site.status(GROUND).steps[1].state, StepState::Conflict);
    for device in [TOWER, EYES] {
        assert!(
            site.status(device)
                .asked
                .iter()
                .any(|asked| matches!(asked, AskedOf::Check { .. })),
            "{device}"
        );
    }
    // Without a word of what was done nothing is settled.
    site.look(EYES, "zz-seated");
    assert_eq!(site.status(EYES).steps[1].state, StepState::Conflict);
    // A new round is blind again: the new answer of one is not on the other's device.
    site.look_anew(TOWER, "zz-seated");
    let eyes = site.status(EYES);
    let newest = eyes.steps[1].checks[0]
        .given
        .iter()
        .rfind(|given| given.by == name("Tower 1"))
        .unwrap();
    assert_eq!(newest.said, None);
    assert!(
        eyes.asked
            .iter()
            .any(|asked| matches!(asked, AskedOf::Check { .. })),
        "asked again, the silent answer having settled nothing"
    );
    site.look_anew(EYES, "zz-seated");
    assert_eq!(site.status(EYES).steps[1].state, StepState::Done);
    assert_eq!(site.call(EYES).word, CallWord::Proceed);
}

#[test]
fn names_that_cases_ask_for_are_shown() {
    let mut site = Site::new();
    let shown = |site: &Site, device: u8, wanted: &str| {
        site.status(device)
            .shown
            .into_iter()
            .filter(|(name, _)| name == wanted)
            .map(|(_, words)| words)
            .collect::<Vec<_>>()
    };
    assert_eq!(shown(&site, TOWER, "safe_hold"), ["keep rig as it is"]);
    assert_eq!(shown(&site, TOWER, "observer"), ["Eyes"]);
    assert_eq!(shown(&site, TOWER, "supervisor"), ["Lead"]);
    assert_eq!(shown(&site, TOWER, "plan"), ["17"]);
    assert_eq!(shown(&site, TOWER, "presence_due"), ["due in 299 s"]);
    assert_eq!(shown(&site, TOWER, "missing"), ["rigged:tower"]);
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    assert_eq!(shown(&site, TOWER, "sequence"), ["rig"]);
    let stop = site.say(
        GROUND,
        Body::Stop(Stop {
            kind: StopKind::Emergency,
            why: String::new(),
            item: None,
        }),
    );
    site.look_around();
    let hash = site.job.graph().hash(stop);
    site.entry_ages.insert(hash, 42_500);
    assert_eq!(shown(&site, TOWER, "elapsed"), ["42"]);
    assert_eq!(shown(&site, TOWER, "stopper"), ["Ground 1"]);
    assert_eq!(shown(&site, TOWER, "not_heard").len(), 3);
    assert!(shown(&site, TOWER, "whereabouts").contains(&"Tower 1 aloft".to_owned()));
    assert_eq!(site.status(TOWER).job_state, JobState::Emergency);
    assert!(site.status(TOWER).asked.contains(&AskedOf::InTheClear));
}

#[test]
fn conditions_are_asked_for_when_a_step_that_they_cover_is_open_or_next() {
    let mut plan = plan();
    for covered in ["rig", "keys", "off"] {
        let mut condition = plan.conditions[0].clone();
        condition.id = name(covered);
        condition.kind = ConditionKind::Order;
        condition.owners = vec![name("supervisor")];
        condition.covers = vec![name(covered)];
        plan.conditions.push(condition);
    }
    let asked = |site: &Site| -> Vec<ConditionId> {
        let status = site.status(LEAD);
        let conditions = status.asked.into_iter().filter_map(|asked| match asked {
            AskedOf::Condition { condition } => Some(condition),
            _ => None,
        });
        conditions.collect()
    };
    let names = |ids: &[&str]| ids.iter().map(|id| name(id)).collect::<Vec<ConditionId>>();
    let site = Site::with(plan);
    assert_eq!(asked(&site), names(&["rig", "keys"]));
    // Whatever the steps ahead need, a stop is released only with everything in bounds.
    let mut stopped = Site::with(site.job.plan().clone());
    stopped.stop(TOWER);
    assert_eq!(asked(&stopped), names(&["rig", "keys", "off"]));
}

#[test]
fn what_lies_behind_or_far_ahead_is_not_asked_for() {
    for (covered, at_first, later) in [
        ("rig", true, false),
        ("keys", true, true),
        ("off", false, true),
    ] {
        let mut plan = plan();
        plan.conditions[0].covers = vec![name(covered)];
        plan.conditions[0].owners = vec![name("observer")];
        let mut site = Site::with(plan);
        let asked = |site: &mut Site| {
            // Long out of date, whatever it covers.
            if let Some(age) = site.condition_ages.get_mut(&name("in_place")) {
                age.1 = 1_000_000;
            }
            let condition = name("in_place");
            let is = site
                .status(EYES)
                .asked
                .contains(&AskedOf::Condition { condition });
            site.look_around();
            is
        };
        assert_eq!(asked(&mut site), at_first, "{covered} at first");
        site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
        assert_eq!(site.job.complete().len(), 1);
        assert_eq!(asked(&mut site), later, "{covered} later");
    }
}

// Replay.

#[test]
fn a_replay_lists_every_entry_with_its_verdict_and_sums_up() {
    let mut site = Site::new();
    site.acknowledge(TOWER, "off", "off", Said::Yes);
    site.acknowledge(TOWER, "rig", "rigged", Said::Yes);
    let stop = site.stop(GROUND);
    let hash = site.job.graph().hash(stop);
    site.say(EYES, Body::Heard(Heard { stop: hash }));
    site.say(
        EYES,
        Body::Note(Note {
            text: "pressed ahead".into(),
            about: None,
            kind: NoteKind::Refused {
                codes: vec!["stop_active".into()],
            },
        }),
    );
    let replay = crate::replay::replay(&site.job);
    assert_eq!(replay.lines.len(), site.job.graph().len());
    assert_eq!(replay.summary.steps_done, 1);
    assert_eq!(replay.summary.steps_total, 3);
    assert_eq!(replay.summary.attempts, 1);
    // The press that was refused, and the confirm given ahead, which the stop then found.
    assert_eq!(replay.summary.refusals["stop_active"], 2);
    assert!(replay.summary.refusals["not_unlocked"] >= 1);
    assert_eq!(replay.summary.stops.len(), 1);
    assert_eq!(replay.summary.stops[0].heard[0].0, name("Eyes"));
    assert_eq!(replay.summary.stops[0].release, None);
    let ahead = replay
        .lines
        .iter()
        .find(|line| line.words.starts_with("off off"))
        .unwrap();
    assert_eq!(ahead.worth, crate::replay::Worth::DoesNotCount);
    assert!(!replay.summary.closed);
}

#[test]
fn a_replay_tells_from_when_to_when_nobody_was_in_place() {
    let mut site = Site::new();
    let id: ConditionId = name("in_place");
    site.say(
        EYES,
        Body::Away(ConditionNamed {
            condition: id.clone(),
        }),
    );
    site.say(
        EYES,
        Body::Affirm(ConditionNamed {
            condition: id.clone(),
        }),
    );
    site.say(EYES, Body::Away(ConditionNamed { condition: id }));
    let windows = crate::replay::replay(&site.job).summary.windows;
    assert_eq!(windows.len(), 2);
    assert!(windows.iter().all(|window| window.name == "gap"));
    assert!(windows[0].to.is_some());
    assert!(windows[1].to.is_none());
}
