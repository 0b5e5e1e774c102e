//! Start: what is asked before the first page, the size of a millimetre, two presses in place of one that is kept, and a
//! device with two roles.
//! May use: crew, browser.   Never: how long anything took, which a busy machine decides.

use crate::browser::Browser;
use crate::crew::{Crew, SUPERVISOR, TOWER_1, TOWER_2};
use gantline_protocol::log::entry::Said;
use gantline_protocol::state::CallWord;
use serde_json::json;
use std::time::Duration;

const CONFIRM: &str = "main > .asked [data-control=confirm]";
const SECOND: &str = "[data-control=second]";

async fn sheet(browser: &Browser, name: &str) {
    let shown = format!("return document.documentElement.dataset.sheet === '{name}'");
    browser.until(name, &shown).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_link_leads_to_the_start_and_a_bank_card_sets_the_millimetre() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter_without_start(&crew.link(TOWER_1).await).await;
    assert_eq!(browser.run("return location.pathname").await, "/start");
    sheet(&browser, "start").await;
    browser.tap("[data-control=start]").await;
    sheet(&browser, "heard").await;
    browser.tap("[data-control=play]").await;
    browser
        .until(
            "the stop's sound is played",
            "return document.documentElement.dataset.sounded === 'stop'",
        )
        .await;
    browser.tap("[data-control=heard]").await;
    sheet(&browser, "fit").await;
    let card = "return document.querySelector('.bankcard').getBoundingClientRect().width";
    let before = browser.run(card).await.as_f64().unwrap();
    for _ in 0..3 {
        browser.tap("[data-control=larger]").await;
    }
    browser.tap("[data-control=smaller]").await;
    let after = browser.run(card).await.as_f64().unwrap();
    // Two presses of a tenth of a CSS px to the mm, on a short side of 53.98 mm.
    assert!(
        (after - before - 0.2 * 53.98).abs() < 1.0,
        "{before} {after}"
    );
    browser.tap("[data-control=fits]").await;
    browser
        .until(
            "the page of the role",
            "return document.documentElement.dataset.sheet === undefined",
        )
        .await;
    // A stop could be pressed all the while, and the page stayed where it was.
    assert_eq!(browser.run("return location.pathname").await, "/start");
    // Kept on this device: the page opened again has it from its node.
    browser.open(&crew.link(TOWER_1).await).await;
    browser
        .until(
            "the size is kept",
            "return getComputedStyle(document.documentElement).getPropertyValue('--mm').trim() === '6.5px'",
        )
        .await;
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_cannot_keep_pressed_confirms_by_two_presses_at_two_places() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter_without_start(&crew.link(TOWER_1).await).await;
    browser.tap("[data-control=start]").await;
    sheet(&browser, "heard").await;
    browser.tap("[data-control=unheard]").await;
    sheet(&browser, "fit").await;
    browser.tap("[data-control=presses]").await;
    browser
        .until(
            "two presses",
            "return document.documentElement.dataset.presses === 'two'",
        )
        .await;
    browser.tap("[data-control=fits]").await;
    let hint = format!(
        "return document.querySelector('{CONFIRM} small')?.textContent === 'press here, then at the second place'"
    );
    browser.until("the control says so", &hint).await;
    browser.shows("proceed").await;

    // Once, or twice at one place, is nothing; kept pressed is one press.
    let given = async || crew.status(TOWER_1).await.steps[0].checks[0].given.len();
    let last =
        |why: &str| format!("return document.querySelector('{CONFIRM}')?.dataset.last === '{why}'");
    browser.tap(CONFIRM).await;
    browser.tap(CONFIRM).await;
    browser
        .until("a second press at one place", &last("elsewhere"))
        .await;
    let there = format!("return document.querySelector('{SECOND}').checkVisibility()");
    assert_eq!(browser.run(&there).await, json!(false));
    // Somebody else confirms between the two presses: what was read is another thing now.
    browser
        .press(CONFIRM, Duration::from_millis(1_350), 0)
        .await;
    crew.confirms(TOWER_2, "load", "carry", Said::Yes).await;
    browser.until("it changed", &last("changed")).await;
    assert_eq!(given().await, 1, "the other's");

    // A change that still comes lets go of the first press: then it is given again, as a person would.
    let second = format!(
        "{there} || (document.querySelector('{CONFIRM}.pressed') ? false : document.querySelector('{CONFIRM}').click())"
    );
    browser.until("the second place", &second).await;
    let apart = format!(
        "const [a, b] = ['{CONFIRM}', '{SECOND}'].map((one) => document.querySelector(one).getBoundingClientRect());
         return b.bottom <= a.top || b.top >= a.bottom"
    );
    assert_eq!(browser.run(&apart).await, json!(true), "at another place");
    browser.picture("worker-second-press").await;
    browser.tap(SECOND).await;
    browser
        .until(
            "it is recorded",
            "return document.querySelector('.note').textContent === 'Recorded.'",
        )
        .await;
    assert_eq!(given().await, 2);
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_device_with_two_roles_turns_from_page_to_page_and_its_sound_stays() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser
        .enter_without_start(&crew.link(SUPERVISOR).await)
        .await;
    browser.tap("[data-control=start]").await;
    sheet(&browser, "heard").await;
    browser.tap("[data-control=heard]").await;
    sheet(&browser, "fit").await;
    browser.tap("[data-control=fits]").await;
    sheet(&browser, "role").await;
    browser.picture("start-role").await;
    browser.tap("[data-as=worker]").await;
    browser
        .until(
            "the worker's page",
            "return document.querySelector('main').className === 'page worker' && document.documentElement.matches('.live-ok')",
        )
        .await;
    browser.tap("[data-control=role]").await;
    sheet(&browser, "role").await;
    browser.tap("[data-as=board]").await;
    browser
        .until(
            "the board",
            "return document.querySelector('main').matches('.board') && document.documentElement.dataset.sound === 'on'",
        )
        .await;
    browser.tap("[data-control=stop]").await;
    crew.all_show(CallWord::StopWork).await;
    browser.end().await;
    crew.end().await;
}
