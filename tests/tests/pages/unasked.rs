//! Unasked: what a member of the crew does that no page asks for, in a browser against real nodes; and refused with words
//! beside it.
//! May use: crew, browser, hand.   Never: the node's own code for what a page can do.

use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, SUPERVISOR, TOWER_1, TOWER_2, until};
use crate::hand::Hand;
use fantoccini::Locator;
use gantline_protocol::log::entry::Said;
use gantline_protocol::plan::Place;
use gantline_protocol::reason::Unfit;
use gantline_protocol::state::{CallWord, Status, StepState};
use serde_json::json;

fn item<'a>(status: &'a Status, id: &str) -> &'a gantline_protocol::state::ItemStatus {
    let found = status.items.iter().find(|item| item.id.as_str() == id);
    found.unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_item_is_found_by_its_code_looked_at_and_moved() {
    let crew = Crew::at_work().await;
    let hand = Hand::at(&crew, TOWER_1).await;
    hand.opens("items").await;
    // It has no test and no look of today: inverse, with the reason.
    hand.browser
        .until(
            "the reason",
            "return document.querySelector('.items .unfit .reason')?.textContent.includes('inspected today') ?? false",
        )
        .await;
    hand.fills("find-", &[("code", "stick-9")]).await;
    hand.is_told("find-", "No item of this job has the code stick-9.")
        .await;
    let typed = hand
        .browser
        .run("return document.querySelector('[name=code]').value")
        .await;
    assert_eq!(typed, json!("stick-9"), "nothing typed is cleared");
    hand.browser
        .run("document.querySelector('[name=code]').value = ''")
        .await;
    hand.fills("find-", &[("code", "STICK-1")]).await;
    hand.presses("find-").await;
    hand.is_on("items/stick-1").await;
    hand.browser.picture("item-unfit").await;
    hand.does("plate-stick-1", &[("months", "5"), ("wiped:yes", "1")])
        .await;
    crew.shows(OBSERVER, "it is fit", |status| {
        item(status, "stick-1").unfit.is_empty()
    })
    .await;
    hand.does("moved-stick-1", &[("to", "aloft")]).await;
    crew.shows(OBSERVER, "it is aloft", |status| {
        item(status, "stick-1").at == Place::Aloft
    })
    .await;
    hand.back_to_own().await;
    hand.opens("items").await;
    hand.browser
        .until(
            "who has it",
            "return document.querySelector(\"a[href='/items/stick-1']\").textContent.includes('aloft · You')",
        )
        .await;
    hand.browser.picture("items").await;
    hand.browser.tap("a[href='/items/hoist-2']").await;
    hand.is_on("items/hoist-2").await;
    hand.does("inspected-bad-hoist-2", &[]).await;
    crew.shows(OBSERVER, "it is not to be used", |status| {
        item(status, "hoist-2").unfit == [Unfit::NotInspected]
    })
    .await;
    hand.does("set-aside-hoist-2", &[("text", "hook bent")])
        .await;
    crew.shows(OBSERVER, "it is set aside", |status| {
        item(status, "hoist-2").unfit.contains(&Unfit::OutOfService)
    })
    .await;
    hand.does("suspect-hoist-2", &[("text", "it slipped")])
        .await;
    crew.all_show(CallWord::StopWork).await;
    hand.browser.shows("stop").await;
    hand.browser.picture("item-stop").await;
    assert_eq!(crew.status(OBSERVER).await.stops[0].why, "it slipped");
    hand.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_tool_goes_from_hand_to_hand_and_the_camera_types_its_code() {
    let crew = Crew::at_work().await;
    let (one, two) = (
        Hand::at(&crew, TOWER_1).await,
        Hand::at(&crew, TOWER_2).await,
    );
    // A browser that reads codes: what its camera sees is played here.
    one.browser
        .run(
            "window.BarcodeDetector = class { async detect() { return [{ rawValue: 'stick-1' }]; } };
             const canvas = document.createElement('canvas'); let x = 0;
             setInterval(() => { canvas.getContext('2d').fillRect(x++ % 99, 0, 9, 9); }, 50);
             navigator.mediaDevices.getUserMedia = async () => canvas.captureStream(5);",
        )
        .await;
    one.opens("items").await;
    one.browser.tap("[data-control=camera]").await;
    one.browser
        .until(
            "the code",
            "return document.querySelector('[name=code]').value === 'stick-1'",
        )
        .await;
    one.presses("find-").await;
    one.is_on("items/stick-1").await;
    one.does("plate-stick-1", &[("months", "5"), ("wiped:yes", "1")])
        .await;
    let to = crew.status(TOWER_2).await.device.to_string();
    // Without a place it is not sent, and what was chosen stays.
    one.fills("offer-stick-1", &[("receiver", &to)]).await;
    one.is_told("offer-stick-1", "Still empty: Where to.").await;
    one.does("offer-stick-1", &[("to", "aloft")]).await;
    crew.shows(TOWER_2, "the offer", |status| status.handoffs.len() == 1)
        .await;
    two.opens("items").await;
    two.does("take-stick-1-aloft", &[]).await;
    crew.shows(SUPERVISOR, "it is aloft", |status| {
        item(status, "stick-1").at == Place::Aloft && status.handoffs.is_empty()
    })
    .await;
    one.end().await;
    two.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_observer_leaves_the_place_and_is_relieved_by_offer_and_take() {
    let crew = Crew::at_work().await;
    let (eyes, office, tower) = (
        Hand::at(&crew, OBSERVER).await,
        Hand::at(&crew, SUPERVISOR).await,
        Hand::at(&crew, TOWER_1).await,
    );
    eyes.opens("act/conditions").await;
    eyes.does("away-observer", &[]).await;
    crew.all_show(CallWord::Hold).await;
    eyes.browser.shows("hold").await;
    eyes.does("affirm-observer", &[]).await;
    crew.all_show(CallWord::Proceed).await;
    eyes.browser.picture("act-conditions-observer").await;
    eyes.back_to_own().await;
    eyes.opens("act/relief").await;
    eyes.does("relief-wanted-observer", &[]).await;
    office.opens("act/relief").await;
    office
        .browser
        .until(
            "who wants it",
            "return document.querySelector('.under').textContent.includes('Observer asks to be relieved as Observer.')",
        )
        .await;
    office.is_told("offer-role-", "Still empty: Role.").await;
    let to = crew.status(TOWER_1).await.device.to_string();
    office
        .does("offer-role-", &[("role", "observer"), ("to", &to)])
        .await;
    tower.opens("act/relief").await;
    tower
        .browser
        .until(
            "the offer",
            "return !!document.querySelector(\"form[data-name='take-role-observer']\")",
        )
        .await;
    tower.browser.picture("act-relief-take").await;
    tower.presses("take-role-observer").await;
    // Who holds a tower role cannot watch as well: the device says so, and the role stays where it is.
    tower
        .browser
        .until(
            "the refusal",
            "return (document.querySelector(\"form[data-name='take-role-observer'] .answer\")?.textContent ?? '').startsWith('Not recorded.')",
        )
        .await;
    assert!(
        crew.status(OBSERVER)
            .await
            .roles
            .iter()
            .any(|role| role.is_observer())
    );
    for hand in [eyes, office, tower] {
        hand.end().await;
    }
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn notes_heads_identity_order_and_corrections_are_recorded() {
    let crew = Crew::at_work().await;
    let hand = Hand::at(&crew, SUPERVISOR).await;
    let entries = |status: &Status| status.entries;
    let before = entries(&*crew.status(OBSERVER).await);
    hand.opens("act/note").await;
    hand.is_told("note-", "Still empty: In your words.").await;
    hand.does("note-", &[("text", "Gate left open behind us")])
        .await;
    hand.opens("act/heads").await;
    hand.is_told("heads-", "Still empty: I see them in the clear.")
        .await;
    hand.does("heads-", &[("clear:Alder", "1"), ("clear:Dogwood", "1")])
        .await;
    crew.shows(OBSERVER, "who is missing", |status| {
        let missing = |who: &str| {
            let mut all = status.shown.iter();
            all.any(|(name, person)| name == "not_accounted" && person == who)
        };
        missing("Birch") && missing("Cedar") && !missing("Alder")
    })
    .await;
    hand.opens("act/identity").await;
    let read = [
        ("structure", "12"),
        ("circuit", "1"),
        ("phase", "B"),
        ("method", "tag at the leg"),
    ];
    hand.does("identity-", &read).await;
    crew.shows(OBSERVER, "what was read", |status| {
        let mut all = status.shown.iter();
        all.any(|(name, words)| name == "identity" && words.ends_with("read 12 / 1 / B"))
    })
    .await;
    hand.opens("act/order").await;
    let order = [
        ("order", "HL-0417"),
        ("state", "in-effect"),
        ("terminal:North", "1"),
        ("terminal:South", "1"),
        ("read-back:yes", "1"),
        ("covers:12", "1"),
    ];
    hand.does("order-", &order).await;
    crew.shows(OBSERVER, "the order", |status| {
        let mut all = status.shown.iter();
        all.any(|(name, words)| name == "order" && words.starts_with("HL-0417"))
    })
    .await;
    hand.opens("act/note").await;
    hand.is_told("late-", "Still empty: Which check.").await;
    let late = [
        ("check", "key/key"),
        ("text", "Looked at before the screen was there"),
    ];
    hand.does("late-", &late).await;
    let form = "form[data-name^='reviewed-']";
    let there = format!("return document.querySelector(\"{form}\")?.dataset.name ?? ''");
    let reviewed = until("it is to be reviewed", async || {
        let name = hand.browser.run(&there).await;
        name.as_str()
            .filter(|name| !name.is_empty())
            .map(ToOwned::to_owned)
    })
    .await;
    hand.does(&reviewed, &[("text", "Seen, and looked at again")])
        .await;
    hand.browser
        .until(
            "it is reviewed",
            &format!("return !document.querySelector(\"{form}\")"),
        )
        .await;
    hand.opens("act/correct").await;
    let entry = hand
        .browser
        .run("return document.querySelector('form.deed').dataset.name")
        .await;
    let form = entry.as_str().unwrap().to_owned();
    hand.does(&form, &[("text", "The order is HL-0471")]).await;
    let after = entries(&*crew.status(SUPERVISOR).await);
    assert!(after >= before + 7, "{before} {after}");
    hand.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_scripts_a_form_is_sent_and_comes_again_with_what_was_typed() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.without_scripts().await;
    let find = async |selector: &str| browser.client.find(Locator::Css(selector)).await.unwrap();
    find("main > .way .leads").await.click().await.unwrap();
    browser.picture("more-no-scripts").await;
    find("a[href='/act/safe']").await.click().await.unwrap();
    let form = "form[data-name='safe-']";
    find(&format!("{form} [data-control=send]"))
        .await
        .click()
        .await
        .unwrap();
    let told = async |words: &str| {
        until(words, async || {
            let answer = browser
                .client
                .find(Locator::Css(".answer:not(:empty)"))
                .await;
            let text = answer.ok()?.text().await.ok()?;
            (text == words).then_some(())
        })
        .await;
    };
    told("Still empty: What was done.").await;
    let entries = crew.status(TOWER_1).await.entries;
    find(&format!("{form} [name=text]"))
        .await
        .send_keys("Poles locked")
        .await
        .unwrap();
    find(&format!("{form} [data-control=send]"))
        .await
        .click()
        .await
        .unwrap();
    told("Recorded.").await;
    assert!(crew.status(TOWER_1).await.entries > entries);
    // What was typed comes again when it is not taken.
    find("a.back").await.click().await.unwrap();
    find("a[href='/items']").await.click().await.unwrap();
    let code = "form[data-name='find-'] [name=code]";
    find(code).await.send_keys("stick-9").await.unwrap();
    find("form[data-name='find-'] [data-control=send]")
        .await
        .click()
        .await
        .unwrap();
    told("No item of this job has the code stick-9. Read it again.").await;
    assert_eq!(
        find(code).await.prop("value").await.unwrap().as_deref(),
        Some("stick-9")
    );
    browser.picture("items-no-scripts").await;
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn checks_are_given_refused_and_taken_back_as_plain_forms() {
    let crew = Crew::at_work().await;
    let (one, two) = (
        Hand::at(&crew, TOWER_1).await,
        Hand::at(&crew, TOWER_2).await,
    );
    let carry = |status: &Status| status.steps[0].checks[0].given.len();
    one.opens("act/checks").await;
    one.does("give-check-load/carry", &[]).await;
    crew.shows(OBSERVER, "one has given it", |status| carry(status) == 1)
        .await;
    two.opens("act/checks").await;
    two.is_told("cannot-check-load/carry", "Still empty: In your words.")
        .await;
    two.does(
        "cannot-check-load/carry",
        &[("text", "The left pole is slack")],
    )
    .await;
    crew.shows(OBSERVER, "the step does not go on", |status| {
        status.steps[0].state == StepState::Conflict
    })
    .await;
    two.does("give-check-load/carry", &[("change", "Taken up again")])
        .await;
    // What was given before somebody could not confirm is given again.
    one.does("give-check-load/carry", &[]).await;
    crew.shows(OBSERVER, "it is done", |status| {
        status.steps[0].checks[0].done
    })
    .await;
    crew.confirms(OBSERVER, "load", "seen", Said::Yes).await;
    // A number is typed with its unit beside it; what is none is said so.
    let gap = "give-check-measure/gap";
    let there =
        format!("return !!document.querySelector(\"form[data-name='{gap}'] [name=value]\")");
    one.browser.until("the number is asked", &there).await;
    one.is_told(gap, "That is not a number yet.").await;
    one.does(gap, &[("value", "1.88")]).await;
    crew.shows(OBSERVER, "the second step is done", |status| {
        status.steps[1].state == StepState::Done
    })
    .await;
    one.does(
        "withdraw-check-measure/gap",
        &[("text", "I read the wrong mark")],
    )
    .await;
    crew.all_show(CallWord::StopWork).await;
    crew.shows(OBSERVER, "a withdrawal", |status| {
        status.stops[0].kind == "withdraw"
    })
    .await;
    one.end().await;
    two.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_form_about_what_has_changed_is_refused_unless_it_fails_to_the_safe_side() {
    let crew = Crew::at_work().await;
    let hand = Hand::at(&crew, OBSERVER).await;
    hand.opens("act/conditions").await;
    let face = hand
        .browser
        .run("return document.querySelector('[name=face]').value")
        .await;
    crew.confirms(TOWER_1, "load", "carry", Said::Yes).await;
    crew.shows(OBSERVER, "the tower's word", |status| {
        status.steps[0].checks[0].given.len() == 1
    })
    .await;
    let press = r"
        const [does, face, done] = arguments;
        fetch('/press', { method: 'POST', body: new URLSearchParams({ do: does, script: 1, about: 'observer', face }) })
          .then((answer) => answer.json()).then(done)";
    for (does, changed) in [("affirm", true), ("away", false)] {
        let answer = hand
            .browser
            .client
            .execute_async(press, vec![json!(does), face.clone()])
            .await
            .unwrap();
        assert_eq!(answer["changed"], json!(changed), "{does}: {answer}");
        assert_eq!(answer["good"], json!(!changed), "{does}: {answer}");
    }
    crew.all_show(CallWord::Hold).await;
    hand.end().await;
    crew.end().await;
}
