//! Hands: a worker confirms, and stops; the crew goes on by agreement, all from pages.
//! May use: crew, browser.   Never: the node's own code for what a page can do.

use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, SUPERVISOR, TOWER_1, TOWER_2};
use gantline_protocol::engine::Command;
use gantline_protocol::plan::Place;
use gantline_protocol::state::CallWord;
use std::time::Duration;

const CONFIRM: &str = "main > .asked [data-control=confirm]";
const STOP: &str = "[data-control=stop]";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_worker_confirms_by_keeping_pressed_and_stops_by_one_press() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;
    browser.picture("worker-proceed").await;

    let given = |status: &gantline_protocol::state::Status| status.steps[0].checks[0].given.len();
    browser
        .press(CONFIRM, Duration::from_millis(1_000), 0)
        .await;
    browser
        .press(CONFIRM, Duration::from_millis(1_350), -200)
        .await;
    assert_eq!(
        given(&*crew.status(TOWER_1).await),
        0,
        "too short, and slid away"
    );
    browser
        .press(CONFIRM, Duration::from_millis(1_350), 0)
        .await;
    browser
        .until(
            "it is recorded",
            "return document.querySelector('.note').textContent === 'Recorded.'",
        )
        .await;
    assert_eq!(given(&*crew.status(TOWER_1).await), 1);

    browser.tap(STOP).await;
    browser.shows("stop").await;
    crew.all_show(CallWord::StopWork).await;
    assert_eq!(
        crew.status(OBSERVER).await.stops.len(),
        1,
        "one press, one stop"
    );
    browser
        .until(
            "the node has it",
            "return !document.documentElement.dataset.pressed",
        )
        .await;
    browser.picture("worker-stop").await;

    crew.heard_and_asked("Nobody is under the load").await;
    browser
        .until(
            "asked to agree",
            "return !!document.querySelector('main > .row [data-control=decline]')",
        )
        .await;
    browser.picture("worker-stop-agree").await;
    browser
        .press(CONFIRM, Duration::from_millis(1_350), 0)
        .await;
    crew.must(TOWER_2, Command::Agree { to: None }).await;
    crew.must(OBSERVER, Command::Agree { to: None }).await;
    crew.all_show(CallWord::Proceed).await;
    browser.shows("proceed").await;
    assert!(crew.status(SUPERVISOR).await.stops.is_empty());
    browser.end().await;
    crew.end().await;
}

/// The newest sound that was begun.
async fn sounds(browser: &Browser, name: &str) {
    let script = format!("return document.documentElement.dataset.sounded === '{name}'");
    browser.until(&format!("it sounds {name}"), &script).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_sounds_until_it_is_answered_and_a_loss_sounds_otherwise() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    sounds(&browser, "again").await;
    browser.shows("proceed").await;
    browser
        .run(
            "window.sounded = [];
             new MutationObserver(() => window.sounded.push(document.documentElement.dataset.sounded))
               .observe(document.documentElement, { attributes: true, attributeFilter: ['data-sounded'] })",
        )
        .await;
    // A Hold in which nothing was lost is silent, and so is its end; on a machine that is too busy something may be.
    let condition = "observer".parse().unwrap();
    crew.must(OBSERVER, Command::Away { condition }).await;
    browser.shows("hold").await;
    let condition = "observer".parse().unwrap();
    crew.must(OBSERVER, Command::Affirm { condition }).await;
    browser.shows("proceed").await;
    tokio::time::sleep(Duration::from_millis(600)).await;
    let again = "return window.sounded[0] === 'again'";
    assert_eq!(browser.run(again).await, serde_json::json!(false));
    crew.deaf(TOWER_2, true).await;
    sounds(&browser, "loss").await;
    crew.deaf(TOWER_2, false).await;
    sounds(&browser, "again").await;
    crew.stop(OBSERVER, "Person under the load").await;
    sounds(&browser, "stop").await;
    browser
        .until(
            "asked to answer",
            "return !!document.querySelector('main > .asked [data-control=confirm]')",
        )
        .await;
    browser
        .press(CONFIRM, Duration::from_millis(1_350), 0)
        .await;
    browser
        .until(
            "nothing sounds",
            "return document.querySelector('main').dataset.sound === undefined",
        )
        .await;
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_load_moves_by_offer_ready_take_done_and_all_stop_is_one_press() {
    let crew = Crew::at_work().await;
    crew.comes_to_the_load().await;
    // Somebody had said before that it is down, by mistake: it is still to be handed over.
    let moved = Command::Moved {
        item: "old-string".parse().unwrap(),
        to: Place::Ground,
    };
    crew.must(TOWER_2, moved).await;
    crew.shows(TOWER_1, "the load is due", |status| {
        let due = &status.steps.last().unwrap().loads_due;
        status.items[0].at == Place::Ground && due[..] == [status.items[0].id.clone()]
    })
    .await;
    let (aloft, ground) = (Browser::start().await, Browser::start().await);
    aloft.enter(&crew.link(TOWER_1).await).await;
    ground.enter(&crew.link(SUPERVISOR).await).await;
    let long = Duration::from_millis(1_350);
    let quote = |words: &str| {
        format!(
            "return document.querySelector('{CONFIRM}')?.textContent.startsWith('“{words}') ?? false"
        )
    };
    let offer = quote("I offer Old string (old-string), to be on the ground");
    aloft.until("the offer", &offer).await;
    aloft.press(CONFIRM, long, 0).await;
    ground
        .until("asked whether ready", &quote("Ready: old-string-ground"))
        .await;
    ground.press(CONFIRM, long, 0).await;
    aloft
        .until("asked to take", &quote("I take old-string-ground"))
        .await;
    aloft.press(CONFIRM, long, 0).await;
    let done = quote("Old string (old-string) stands: on the ground");
    aloft.until("to say that it stands", &done).await;
    aloft.picture("worker-load-moves").await;

    // Who has nothing to say meanwhile has ALL STOP where the confirm would be.
    let other = Browser::start().await;
    other.enter(&crew.link(TOWER_2).await).await;
    other.picture("worker-all-stop").await;
    other.tap("main > .asked [data-control=allstop]").await;
    crew.all_show(CallWord::StopWork).await;
    assert_eq!(crew.status(OBSERVER).await.stops[0].kind, "all_stop");
    for browser in [aloft, ground, other] {
        browser.end().await;
    }
    crew.end().await;
}
