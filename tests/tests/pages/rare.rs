//! Rare: forms for what seldom happens, each to its end: changes of the plan, an exception agreed to, a role that goes to
//! somebody else, the supervisor's device taken over, somebody refused, a caller muted, what nobody can read voided.
//! May use: crew, hand.   Never: the node's own code for what a page can do.

use crate::crew::{Crew, OBSERVER, PLAN, SIX, SUPERVISOR, TOWER_1, TOWER_2, read};
use crate::hand::{Hand, LONG};
use gantline_protocol::engine::Command;
use gantline_protocol::state::{AskedOf, CallWord, Status};
use serde_json::json;

const GROUND: usize = 4;

fn has(status: &Status, role: &str) -> bool {
    status.roles.iter().any(|one| one.as_str() == role)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_step_a_condition_an_item_and_the_place_are_changed() {
    let crew = Crew::at_work().await;
    let hand = Hand::at(&crew, SUPERVISOR).await;
    hand.opens("act/amend").await;
    hand.fills("amend-step-", &[("what", "measure")]).await;
    hand.is_told("amend-step-", "Still empty: Why.").await;
    let fields = [
        ("line", "Measure twice, from the other pole as well"),
        ("text", "The jumper swings"),
    ];
    hand.does("amend-step-", &fields).await;
    hand.is_told("amend-condition-", "Still empty: Which one.")
        .await;
    let fields = [
        ("what", "observer"),
        ("minutes", "2"),
        ("text", "Sun in the eyes"),
    ];
    hand.does("amend-condition-", &fields).await;
    let fields = [
        ("what", "stick-1"),
        ("tested", "2026-10-01"),
        ("months", "6"),
        ("text", "Tested anew"),
    ];
    hand.does("amend-item-", &fields).await;
    let fields = [("structure", "14"), ("text", "The number was read wrong")];
    hand.does("amend-line-", &fields).await;
    crew.shows(TOWER_1, "four changes", |status| status.plan_version == 4)
        .await;
    let plan = crew.plan(TOWER_1).await;
    let step = plan.step(&"measure".parse().unwrap()).unwrap();
    assert_eq!(step.text, "Measure twice, from the other pole as well");
    assert_eq!(step.title, "Measure the gap", "what was left empty stays");
    assert_eq!(plan.conditions[0].valid_s, 120);
    let item = plan.item(&"stick-1".parse().unwrap()).unwrap();
    assert_eq!(item.tested.as_deref(), Some("2026-10-01"));
    assert_eq!(item.test_months, Some(6));
    assert_eq!(
        (plan.line.structure.as_str(), plan.line.phase.as_str()),
        ("14", "B")
    );
    crew.all_show(CallWord::Hold).await;
    hand.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_exception_counts_once_everybody_asked_has_agreed_on_their_pages() {
    let crew = Crew::at_work().await;
    let office = Hand::at(&crew, SUPERVISOR).await;
    office.opens("act/exception").await;
    let done = [
        ("check", "load/carry"),
        ("what", "Both poles were seen to carry"),
        ("text", "The other screen is broken"),
        ("seen-by", "Dogwood"),
    ];
    office.does("exception-", &done).await;
    let carries = |status: &Status| status.steps[0].checks[0].done;
    for place in [OBSERVER, TOWER_1, TOWER_2] {
        assert!(!carries(&*crew.status(SUPERVISOR).await));
        crew.shows(place, "it is asked", |status| {
            status
                .asked
                .iter()
                .any(|one| matches!(one, AskedOf::Agree { .. }))
        })
        .await;
        let hand = Hand::at(&crew, place).await;
        let agree = "return document.querySelector('main > .asked .tx')?.textContent.includes('I agree to the exception') ?? false";
        // Of several things asked it is chosen.
        if hand.browser.run(agree).await != json!(true) {
            hand.browser.tap("main > .row [data-control=other]").await;
            let find = "return [...document.querySelectorAll('.sheet.on .r')].findIndex((one) => one.textContent.includes('I agree to the exception')) + 1";
            let at = hand.browser.run(find).await;
            hand.browser
                .tap(&format!(".sheet.on .r:nth-of-type({at})"))
                .await;
            hand.browser.until("to agree", agree).await;
        }
        hand.browser.tap("main > .asked [data-control=open]").await;
        hand.browser
            .press(".sheet.on [data-control=confirm]", LONG, 0)
            .await;
        crew.shows(place, "agreed", |status| {
            !status
                .asked
                .iter()
                .any(|one| matches!(one, AskedOf::Agree { .. }))
        })
        .await;
        hand.end().await;
    }
    crew.shows(SUPERVISOR, "the check is done", carries).await;
    let origin = office.browser.run("return location.origin").await;
    let replay = format!("{}/replay", origin.as_str().unwrap());
    office.browser.enter_without_start(&replay).await;
    let red = office
        .browser
        .run("return document.querySelector('.read .exception').textContent")
        .await;
    assert!(
        red.as_str()
            .unwrap()
            .contains("Both poles were seen to carry"),
        "{red}"
    );
    office.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_observer_is_relieved_by_somebody_of_the_ground_whose_page_is_then_the_observers() {
    // Here who works on the ground may watch instead.
    let text = PLAN.replace(
        "title = \"Ground worker\"\nnot_with = [\"observer\", \"tower\"]",
        "title = \"Ground worker\"\nnot_with = [\"tower\"]",
    );
    assert_ne!(text, PLAN);
    let plan = read(&text);
    let crew = Crew::joined(plan, &SIX).await;
    crew.begins_work().await;
    let (eyes, office, ground) = (
        Hand::at(&crew, OBSERVER).await,
        Hand::at(&crew, SUPERVISOR).await,
        Hand::at(&crew, GROUND).await,
    );
    eyes.opens("act/relief").await;
    eyes.does("relief-wanted-observer", &[]).await;
    office.opens("act/relief").await;
    let to = crew.status(GROUND).await.device.to_string();
    office
        .does("offer-role-", &[("role", "observer"), ("to", &to)])
        .await;
    let take = "return document.querySelector('main > .asked .tx')?.textContent.includes('I take over as Observer') ?? false";
    ground.browser.until("the offer", take).await;
    ground.browser.picture("ground-take-role").await;
    ground
        .browser
        .press("main > .asked [data-control=confirm]", LONG, 0)
        .await;
    crew.shows(GROUND, "the role is taken", |status| {
        has(status, "observer")
    })
    .await;
    crew.shows(OBSERVER, "and given", |status| !has(status, "observer"))
        .await;
    // The page of who watches now is the observer's, whole with its large stop.
    let link = crew.link(GROUND).await;
    ground.browser.enter_without_start(&link).await;
    assert_eq!(
        ground
            .browser
            .run("return document.querySelector('main').className")
            .await,
        json!("page observer")
    );
    // Taking the role is a word of being in place: nothing holds, and the one before watches no longer.
    crew.all_show(CallWord::Proceed).await;
    for hand in [eyes, office, ground] {
        hand.end().await;
    }
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_supervisors_device_is_taken_over_by_proposal_and_consent() {
    let crew = Crew::at_work().await;
    let (one, two) = (proposes(&crew).await, Hand::at(&crew, TOWER_2).await);
    crew.shows(TOWER_2, "the proposal", |status| {
        status.proposals.len() == 1 && status.proposals[0].take_over
    })
    .await;
    two.opens("act/crew").await;
    let proposal = crew.status(TOWER_2).await.proposals[0].entry;
    two.does(&format!("consent-{proposal}"), &[]).await;
    crew.must(OBSERVER, Command::Consent { proposal }).await;
    two.end().await;
    taken_over(crew, one).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_supervisor_who_has_left_is_taken_over_from_and_the_others_devices_consent() {
    let crew = Crew::at_work().await;
    crew.must(SUPERVISOR, Command::Leave).await;
    for place in [TOWER_1, TOWER_2, OBSERVER] {
        crew.shows(place, "nobody in office", |status| {
            !status
                .crew
                .iter()
                .any(|one| one.present && one.roles.iter().any(|role| role.is_supervisor()))
        })
        .await;
    }
    let one = proposes(&crew).await;
    taken_over(crew, one).await;
}

/// One of the tower proposes on the page to take over.
async fn proposes(crew: &Crew) -> Hand {
    let one = Hand::at(crew, TOWER_1).await;
    let lost = crew.status(TOWER_1).await.office;
    one.opens("act/crew").await;
    // Whoever is not supervisor can name the supervisor's device and no other.
    let named = "return document.querySelectorAll(\"form[data-name='remove-'] [name=device][value]\").length + document.querySelectorAll(\"form[data-name='remove-'] [name=device] option[value]:not([value=''])\").length";
    assert_eq!(one.browser.run(named).await, json!(1));
    one.browser.picture("act-crew-take-over").await;
    let device = lost.to_string();
    let fields = [("device", device.as_str()), ("spoken-to", "no")];
    one.does("remove-", &fields).await;
    one
}

/// The office is theirs, and the tower's role, which does not go with it, is laid down.
async fn taken_over(crew: Crew, one: Hand) {
    let founder = crew.status(SUPERVISOR).await.device;
    crew.shows(TOWER_1, "supervisor now", |status| {
        has(status, "supervisor")
    })
    .await;
    crew.shows(OBSERVER, "the old device is off the job", |status| {
        status
            .crew
            .iter()
            .any(|one| one.device == founder && !one.present)
    })
    .await;
    // Who may not hold both has laid the other down.
    assert!(!has(&*crew.status(TOWER_1).await, "tower"));
    one.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn somebody_who_asks_is_refused_with_the_reason() {
    let mut crew = Crew::at_work().await;
    let hand = Hand::at(&crew, SUPERVISOR).await;
    let joining = crew.asks_to_join("Elder").await;
    hand.opens("act/crew").await;
    let form = format!("refuse-join-{}", joining.device);
    let there = format!("return !!document.querySelector(\"form[data-name='{form}']\")");
    hand.browser.until("the two answers", &there).await;
    hand.fills(&form, &[("text", "The words differ")]).await;
    hand.presses(&form).await;
    assert_eq!(joining.refused().await, "The words differ");
    hand.browser
        .until(
            "nobody asks",
            &format!("return !document.querySelector(\"form[data-name='{form}']\")"),
        )
        .await;
    assert_eq!(crew.status(SUPERVISOR).await.crew.len(), 4);
    hand.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_caller_off_the_job_is_heard_and_then_muted() {
    let crew = Crew::at_work().await;
    let hand = Hand::at(&crew, SUPERVISOR).await;
    crew.a_stranger_calls("Smoke at the anchor").await;
    crew.all_show(CallWord::StopWork).await;
    hand.browser.shows("stop").await;
    hand.browser.picture("board-stranger-stop").await;
    hand.opens("act/note").await;
    let named = "return document.querySelector(\"form[data-name^='mute-']\")?.dataset.name ?? ''";
    let form = crate::crew::until("the caller", async || {
        let name = hand.browser.run(named).await;
        name.as_str()
            .filter(|name| !name.is_empty())
            .map(ToOwned::to_owned)
    })
    .await;
    hand.is_told(&form, "Still empty: In your words.").await;
    hand.does(&form, &[("text", "A child with a phone")]).await;
    hand.browser
        .until(
            "muted",
            "return !document.querySelector(\"form[data-name^='mute-']\")",
        )
        .await;
    // The stop that it called stands until it is released.
    assert_eq!(crew.status(OBSERVER).await.stops.len(), 1);
    hand.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_nobody_here_can_read_holds_until_two_have_voided_it() {
    let mut crew = Crew::at_work().await;
    crew.speaks_of_the_future(TOWER_2).await;
    crew.shows(SUPERVISOR, "a Hold that names the device", |status| {
        status.call.word == CallWord::Hold
    })
    .await;
    let (office, eyes) = (
        Hand::at(&crew, SUPERVISOR).await,
        Hand::at(&crew, OBSERVER).await,
    );
    office.browser.picture("board-unknown-entry").await;
    office.opens("act/void").await;
    let named = "return document.querySelector(\"form[data-name^='void-']\")?.dataset.name ?? ''";
    let form = office.browser.run(named).await;
    let form = form.as_str().unwrap().to_owned();
    assert!(!form.is_empty());
    office.does(&form, &[]).await;
    crew.shows(OBSERVER, "asked to agree", |status| {
        status
            .asked
            .iter()
            .any(|one| matches!(one, AskedOf::Agree { .. }))
    })
    .await;
    let to = crew.status(OBSERVER).await.asked;
    println!("asked {to:?}");
    let agree = "return document.querySelector('main > .asked [data-control=open]') !== null || document.querySelector('main > .row [data-control=other]') !== null";
    eyes.browser.until("it is asked on the page", agree).await;
    let first = "return document.querySelector('main > .asked [data-control=open]') !== null";
    if eyes.browser.run(first).await != json!(true) {
        eyes.browser.tap("main > .row [data-control=other]").await;
        eyes.browser.tap(".sheet.on .r").await;
        eyes.browser.until("chosen", first).await;
    }
    eyes.browser.tap("main > .asked [data-control=open]").await;
    eyes.browser.picture("observer-void").await;
    eyes.browser
        .press(".sheet.on [data-control=confirm]", LONG, 0)
        .await;
    crew.all_show(CallWord::Proceed).await;
    office.end().await;
    eyes.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_device_that_was_taken_off_while_it_was_away_says_so_to_who_holds_it() {
    let crew = Crew::at_work().await;
    let device = crew.status(TOWER_2).await.device;
    let at = crew.address(TOWER_2);
    let mut crew = crew.without(TOWER_2).await;
    // The others' devices consent by themselves: they have not heard it for long enough.
    let remove = Command::Remove {
        device,
        spoken_to: Some(true),
        called_stop: false,
    };
    crew.must(SUPERVISOR, remove).await;
    crew.shows(SUPERVISOR, "it is off the job", |status| {
        let mut all = status.crew.iter();
        all.any(|one| one.device == device && !one.present)
    })
    .await;
    crew.again(TOWER_2, at).await;
    let found = Hand::at(&crew, TOWER_2).await;
    let words = "return /^For .+ this device is not on the job[.]$/.test(document.querySelector('.band [data-reason]')?.textContent)";
    found.browser.until("that it is off the job", words).await;
    found.browser.shows("hold").await;
    found.browser.picture("hold-off-the-job").await;
    // It hears no more than that: its own log still has it on the job.
    let status = crew.status(TOWER_2).await;
    let mut all = status.crew.iter();
    assert!(all.any(|one| one.device == device && one.present));
    found.end().await;
    crew.end().await;
}
