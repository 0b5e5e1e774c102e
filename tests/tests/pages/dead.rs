//! Dead: a page whose script hangs shows Hold all the same, read from the frames that reach the glass; a page that was
//! opened again elsewhere holds.
//! May use: crew, browser.   Never: a picture taken with the script's help.

use crate::browser::{Browser, DECODED};
use crate::crew::{Crew, TOWER_1};
use serde_json::{Value, json};
use std::time::Duration;

/// How much of each frame is the yellow of Hold, and when it was on the glass (ms since 1970). Not at one place: in full
/// screen the frame may be larger than the page.
const PIXELS: &str = r"
    const [frames, done] = arguments;
    (async () => {
      const found = [];
      for (const [at, data] of frames) {
        const { data: dots } = await decoded(data);
        let yellow = 0;
        for (let i = 0; i < dots.length; i += 4) yellow += dots[i] === 255 && dots[i + 1] === 209 && dots[i + 2] === 0;
        found.push([at, yellow / (dots.length / 4)]);
      }
      done(found);
    })()";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_its_script_hung_the_page_is_on_hold_before_the_script_goes_on() {
    let crew = Crew::at_work().await;
    let browser = Browser::watched().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;
    browser
        .own(
            "Page.startScreencast",
            json!({ "format": "png", "maxWidth": 206, "maxHeight": 458 }),
        )
        .await;
    browser
        .run(
            "setTimeout(() => {
               window.hung = [Date.now()];
               while (Date.now() < window.hung[0] + 3000);
               window.hung.push(Date.now());
             })",
        )
        .await;
    // Each frame has to be taken before the next is sent; this asks the browser, not the page.
    for _ in 0..20 {
        browser
            .own("Page.screencastFrameAck", json!({ "sessionId": 1 }))
            .await;
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    browser
        .until("the script goes on", "return window.hung?.length === 2")
        .await;
    let hung = browser.run("return window.hung").await;
    let (began, ended) = (hung[0].as_f64().unwrap(), hung[1].as_f64().unwrap());
    let frames: Vec<Value> = browser
        .events("Page.screencastFrame")
        .await
        .into_iter()
        .map(|frame| {
            let at = frame["metadata"]["timestamp"].as_f64().unwrap() * 1000.0;
            json!([at, frame["data"]])
        })
        .collect();
    let found = browser
        .client
        .execute_async(&format!("{DECODED}{PIXELS}"), vec![json!(frames)])
        .await
        .unwrap();
    let hold = |frame: &&Value| frame[1].as_f64().is_some_and(|yellow| yellow > 0.2);
    let during: Vec<&Value> = found
        .as_array()
        .unwrap()
        .iter()
        .filter(|frame| (began..ended).contains(&frame[0].as_f64().unwrap()))
        .collect();
    let first = during.iter().copied().find(hold);
    let Some(first) = first else {
        panic!("no picture of Hold between {began} and {ended}: {found}");
    };
    println!(
        "Hold was on the glass {:.0} ms after the script hung",
        first[0].as_f64().unwrap() - began
    );
    browser
        .until(
            "it lives again",
            "return getComputedStyle(document.querySelector('.stale.whole')).opacity === '0'",
        )
        .await;
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_page_opened_in_another_tab_holds_in_the_first_and_stops_from_both() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    let first = browser.client.window().await.unwrap();
    let page = browser.run("return location.origin").await;
    let second = browser.client.new_window(false).await.unwrap();
    browser
        .client
        .switch_to_window(second.handle)
        .await
        .unwrap();
    browser.enter_without_start(page.as_str().unwrap()).await;
    browser.client.switch_to_window(first).await.unwrap();
    browser
        .until("the first says where it is open", "return document.documentElement.dataset.other === '' && document.querySelector('.stale .tabbed').checkVisibility()")
        .await;
    browser.picture("worker-other-tab").await;
    browser.tap("[data-control=stop]").await;
    crew.shows(TOWER_1, "the stop of the first tab", |status| {
        !status.stops.is_empty()
    })
    .await;
    browser.end().await;
    crew.end().await;
}
