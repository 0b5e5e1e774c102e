//! Presses: what counts as a press on confirm and on stop, and what does not; with scripts off; with a dead node.
//! May use: crew, browser.   Never: how long anything took, which a busy machine decides.

use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, TOWER_1, TOWER_2};
use crate::hand::LONG;
use fantoccini::Locator;
use fantoccini::actions::{Actions, InputSource, MouseActions, PointerAction, TouchActions};
use gantline_protocol::log::entry::Said;
use gantline_protocol::state::CallWord;
use serde_json::json;
use std::time::Duration;

const CONFIRM: &str = "main > .asked [data-control=confirm]";
const STOP: &str = "[data-control=stop]";

async fn last(browser: &Browser, why: &str) {
    let script = format!("return document.querySelector('{CONFIRM}')?.dataset.last === '{why}'");
    browser
        .until(&format!("the press ended by `{why}`"), &script)
        .await;
}

/// A finger goes down on the confirm and stays.
async fn down(browser: &Browser) {
    let script = format!(
        "const b = document.querySelector('{CONFIRM}'); const r = b.getBoundingClientRect();
         b.setPointerCapture = () => {{}};
         b.dispatchEvent(new PointerEvent('pointerdown', {{ bubbles: true, isPrimary: true, pointerId: 7,
           clientX: r.x + 50, clientY: r.y + 50 }}));
         return b.classList.contains('going')"
    );
    browser.until("the press has begun", &script).await;
}

async fn given(crew: &Crew, place: usize) -> usize {
    crew.status(place).await.steps[0]
        .checks
        .iter()
        .map(|check| check.given.len())
        .sum()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_confirm_is_let_go_of_by_whatever_comes_between() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;

    down(&browser).await;
    browser
        .run("dispatchEvent(new PointerEvent('pointerdown', { bubbles: true, isPrimary: false, pointerId: 8 }))")
        .await;
    last(&browser, "two").await;
    down(&browser).await;
    browser.run("dispatchEvent(new Event('blur'))").await;
    last(&browser, "blur").await;
    down(&browser).await;
    browser
        .run("document.dispatchEvent(new Event('visibilitychange'))")
        .await;
    last(&browser, "hidden").await;
    // Somebody else confirms meanwhile: what is on the screen is another thing now.
    down(&browser).await;
    crew.confirms(TOWER_2, "load", "carry", Said::Yes).await;
    last(&browser, "changed").await;
    // And a stop.
    down(&browser).await;
    crew.stop(OBSERVER, "Person under the load").await;
    browser.shows("stop").await;
    tokio::time::sleep(LONG).await;
    assert_eq!(
        given(&crew, TOWER_1).await,
        1,
        "only what the other one gave"
    );
    let heard = |status: &gantline_protocol::state::Status| status.stops[0].heard.len();
    assert_eq!(
        heard(&*crew.status(TOWER_1).await),
        1,
        "and no answer to the stop"
    );

    // By keyboard: kept down for the same time.
    browser
        .until(
            "asked to answer",
            &format!("return !!document.querySelector('{CONFIRM}')"),
        )
        .await;
    let key = |kind: &str| {
        format!(
            "document.querySelector('{CONFIRM}').dispatchEvent(new KeyboardEvent('{kind}', {{ bubbles: true, key: 'Enter' }}))"
        )
    };
    browser.run(&key("keydown")).await;
    browser.run(&key("keyup")).await;
    last(&browser, "early").await;
    browser.run(&key("keydown")).await;
    crew.shows(OBSERVER, "the answer of the tower", |status| {
        status.stops[0].heard.len() == 2
    })
    .await;
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_press_on_what_has_changed_is_refused_and_says_so() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;
    let face = browser
        .run("return document.querySelector('main').dataset.face")
        .await;
    crew.confirms(TOWER_2, "load", "carry", Said::Yes).await;
    crew.shows(TOWER_1, "the other's word", |status| {
        status.steps[0].checks[0].given.len() == 1
    })
    .await;
    let press = r"
        const [face, done] = arguments;
        fetch('/press', { method: 'POST', body: new URLSearchParams({ do: 'give', script: 1, at: 0, face, held: 1300 }) })
          .then((answer) => answer.json()).then(done)";
    let answer = browser
        .client
        .execute_async(press, vec![face])
        .await
        .unwrap();
    assert_eq!(
        answer["lines"],
        json!(["It changed while you pressed. Read it again."])
    );
    assert_eq!(answer["changed"], json!(true));
    assert_eq!(given(&crew, TOWER_1).await, 1);
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_way_to_press_stop_is_one_stop() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(OBSERVER).await).await;
    browser.shows("proceed").await;
    // Whatever is sent is counted on its way: to a node that has the stop, a second one adds nothing.
    browser
        .run(
            "window.stops = 0; const send = window.fetch;
             window.fetch = (path, rest) => {
               if (path === '/press' && rest.body.get('do') === 'stop') window.stops += 1;
               return send(path, rest);
             }",
        )
        .await;
    let mut stops = 0;
    for (way, script) in [
        (
            "a finger that stays down",
            "document.querySelector('[data-control=stop]').dispatchEvent(new PointerEvent('pointerdown', { bubbles: true }))",
        ),
        (
            "the hand button",
            "dispatchEvent(new KeyboardEvent('keydown', { bubbles: true, key: 'F9' }))",
        ),
        (
            "Enter",
            "document.querySelector('[data-control=stop]').dispatchEvent(new KeyboardEvent('keydown', { bubbles: true, key: 'Enter' }))",
        ),
        (
            "the space bar",
            "document.querySelector('[data-control=stop]').dispatchEvent(new KeyboardEvent('keydown', { bubbles: true, key: ' ' }))",
        ),
    ] {
        browser.run(script).await;
        stops += 1;
        browser
            .until(way, &format!("return window.stops === {stops}"))
            .await;
        crew.all_show(CallWord::StopWork).await;
        browser
            .until(
                "the node has it",
                "return !document.documentElement.dataset.pressed",
            )
            .await;
        // One press is one stop, however the finger trembles: the next one is a press of its own.
        tokio::time::sleep(Duration::from_millis(700)).await;
    }
    browser.tap(STOP).await;
    browser
        .until("a tap", &format!("return window.stops === {}", stops + 1))
        .await;
    assert_eq!(crew.status(TOWER_1).await.stops.len(), 1);
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_is_pressed_where_the_finger_comes_down() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;
    let find = async |selector: &str| {
        let found = browser.client.find(Locator::Css(selector)).await.unwrap();
        let (x, y, width, height) = found.rectangle().await.unwrap();
        PointerAction::MoveTo {
            duration: None,
            x: x + width / 2.0,
            y: y + height / 2.0,
        }
    };
    let pause = |ms| PointerAction::Pause {
        duration: Duration::from_millis(ms),
    };
    let down = PointerAction::Down { button: 0 };
    let up = PointerAction::Up { button: 0 };

    // Down on something else and lifted where by then a stop is, as when the page changes under a finger.
    let slides = MouseActions::new("finger".to_owned())
        .then(find(".band").await)
        .then(down.clone())
        .then(pause(200))
        .then(find(STOP).await)
        .then(up.clone());
    browser.client.perform_actions(slides).await.unwrap();
    tokio::time::sleep(Duration::from_millis(500)).await;
    assert!(crew.status(TOWER_1).await.stops.is_empty());
    assert_eq!(crew.status(TOWER_1).await.call.word, CallWord::Proceed);

    // Down on stop and there to stay, while a finger that was on something else is lifted at once after it.
    let on_stop = TouchActions::new("one".to_owned())
        .then(find(STOP).await)
        .then(pause(60))
        .then(down.clone());
    let other = TouchActions::new("other".to_owned())
        .then(find(CONFIRM).await)
        .then(down)
        .then(pause(10))
        .then(up);
    let both = Actions::from(on_stop).and(other);
    browser.client.perform_actions(both).await.unwrap();
    crew.all_show(CallWord::StopWork).await;
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_scripts_stop_is_a_plain_form() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.without_scripts().await;
    browser.picture("worker-no-scripts").await;
    browser.tap(STOP).await;
    crew.all_show(CallWord::StopWork).await;
    assert_eq!(crew.status(OBSERVER).await.stops.len(), 1);
    browser.picture("worker-no-scripts-stop").await;
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_that_does_not_leave_the_screen_says_so_and_stays() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;
    let crew = crew.without(TOWER_1).await;
    browser.tap(STOP).await;
    browser.shows("stop").await;
    browser
        .until(
            "it says that it has not left",
            "return document.querySelector('.band [data-reason]').textContent === 'You pressed stop. It has NOT left this screen. Radio it now.'",
        )
        .await;
    browser.picture("worker-stop-unsent").await;
    browser.end().await;
    crew.end().await;
}
