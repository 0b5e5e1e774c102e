//! Glass: what reaches the screen, when, and what never moves or flashes on it.
//! May use: crew, browser.   Never: a bound on time that a busy machine breaks; those are printed.

use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, TOWER_1, TOWER_2};
use gantline_protocol::state::CallWord;
use serde_json::{Value, json};
use std::time::Duration;

const STOP: &str = "[data-control=stop]";
const CONFIRM: &str = "main > .asked [data-control=confirm]";
/// An own stop is on the glass within so long of the press.
const OWN_STOP_MS: f64 = 100.0;
/// Presses that are timed: the least of them is the program's time, what is above it the machine's.
const PRESSES: usize = 7;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_own_stop_is_on_the_glass_at_once_and_on_the_others_soon() {
    let crew = Crew::at_work().await;
    let (own, other) = (Browser::start().await, Browser::start().await);
    own.enter(&crew.link(OBSERVER).await).await;
    other.enter(&crew.link(TOWER_1).await).await;
    own.shows("proceed").await;
    other.shows("proceed").await;
    let painted = own
        .run("return performance.getEntriesByName('first-contentful-paint')[0]?.startTime")
        .await;
    println!("first picture after {painted} ms");
    // The browser's own measure: from the press to the picture after it.
    own.run(
        "window.shown = [];
         new PerformanceObserver((list) => {
           for (const one of list.getEntries()) if (one.name === 'keydown') window.shown.push(one.duration);
         }).observe({ type: 'event', durationThreshold: 16 });
         window.pressedAt = [];
         addEventListener('keydown', () => window.pressedAt.push(Date.now()), true);",
    )
    .await;
    other
        .run(
            "new MutationObserver(() => {
               if (document.documentElement.dataset.call === 'stop') window.stopAt ??= Date.now();
             }).observe(document.documentElement, { attributes: true })",
        )
        .await;
    for n in 1..=PRESSES {
        let key = json!({ "type": "rawKeyDown", "key": "F9", "code": "F9", "windowsVirtualKeyCode": 120 });
        own.own("Input.dispatchKeyEvent", key).await;
        own.own(
            "Input.dispatchKeyEvent",
            json!({ "type": "keyUp", "key": "F9", "code": "F9", "windowsVirtualKeyCode": 120 }),
        )
        .await;
        own.until(
            "it was pressed",
            &format!("return window.pressedAt.length === {n}"),
        )
        .await;
        own.shows("stop").await;
        own.until(
            "the node has it",
            "return !document.documentElement.dataset.pressed",
        )
        .await;
        // One press is one stop, however the finger trembles: the next one is a press of its own.
        tokio::time::sleep(Duration::from_millis(700)).await;
    }
    other.shows("stop").await;
    // What took less than 16 ms is not told at all.
    let shown = own.run("return window.shown").await;
    let mut times: Vec<f64> = shown.as_array().unwrap().iter().map(number).collect();
    times.resize(PRESSES.max(times.len()), 0.0);
    times.sort_by(f64::total_cmp);
    let (pressed, there) = (
        number(&own.run("return window.pressedAt[0]").await),
        number(&other.run("return window.stopAt").await),
    );
    println!(
        "own stop on the glass: least {} ms, median {} ms, most {} ms; on the other's page {} ms after the press",
        times[0],
        times[times.len() / 2],
        times[times.len() - 1],
        there - pressed
    );
    assert!(
        times[0] < OWN_STOP_MS,
        "an own stop takes {times:?} ms to the glass"
    );
    crew.all_show(CallWord::StopWork).await;
    own.end().await;
    other.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn five_tabs_do_not_keep_a_stop_waiting() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    let page = browser.run("return location.origin").await;
    for _ in 0..5 {
        let tab = browser.client.new_window(false).await.unwrap();
        browser.client.switch_to_window(tab.handle).await.unwrap();
        browser.enter_without_start(page.as_str().unwrap()).await;
    }
    browser.tap(STOP).await;
    crew.all_show(CallWord::StopWork).await;
    browser
        .until(
            "the node has it",
            "return !document.documentElement.dataset.pressed",
        )
        .await;
    browser.end().await;
    crew.end().await;
}

/// Where the controls that are there in every state are: at the left and at the top, wide and high.
const PLACES: &str = "
    const box = (selector) => {
      const { x, y, width, height } = document.querySelector(selector).getBoundingClientRect();
      return [x, y, width, height].map(Math.round);
    };
    return [box('main > .stopform'), box('main > .row')]";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn controls_stay_where_they_are_and_a_page_that_waits_does_not_shift() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;
    browser
        .run(
            "window.shifts = [];
             new PerformanceObserver((list) => {
               for (const one of list.getEntries()) window.shifts.push(one.value);
             }).observe({ type: 'layout-shift' })",
        )
        .await;
    let before = browser.run(PLACES).await;
    // Ten ticks: ages and the time of day change, nothing else.
    browser
        .run("window.ticks = 0; new MutationObserver(() => { window.ticks += 1; }).observe(document.querySelector('.beat i'), { attributes: true })")
        .await;
    browser
        .until("ten ticks", "return window.ticks >= 10")
        .await;
    let shifts = browser.run("return window.shifts").await;
    assert_eq!(shifts, json!([]), "the page moves by itself");

    crew.deaf(TOWER_2, true).await;
    browser.shows("hold").await;
    assert_eq!(browser.run(PLACES).await, before, "in Hold");
    crew.deaf(TOWER_2, false).await;
    browser.shows("proceed").await;
    crew.stop(OBSERVER, "Person under the load").await;
    browser.shows("stop").await;
    assert_eq!(browser.run(PLACES).await, before, "in a stop");
    browser.end().await;
    crew.end().await;
}

/// Everything on the page that moves by itself or would when pressed: what, how often a second, and in how many steps.
const MOVING: &str = "
    const found = [];
    for (const one of document.getAnimations()) {
      const { duration, iterations } = one.effect.getComputedTiming();
      if (iterations > 1) found.push([one.animationName ?? one.transitionProperty, 1000 / duration]);
    }
    return found";

/// What changes smoothly: transitions of elements, by class.
const TRANSITIONS: &str = "
    return [...document.querySelectorAll('*')]
      .filter((one) => getComputedStyle(one).transitionDuration.split(',').some((time) => parseFloat(time) > 0))
      .map((one) => [one.className, getComputedStyle(one).transitionTimingFunction])";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_flashes_and_with_reduced_motion_only_the_hold_fill_moves() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser
        .own(
            "Emulation.setEmulatedMedia",
            json!({ "features": [{ "name": "prefers-reduced-motion", "value": "reduce" }] }),
        )
        .await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;
    let begin = format!(
        "const b = document.querySelector('{CONFIRM}'); const r = b.getBoundingClientRect();
         b.setPointerCapture = () => {{}};
         b.dispatchEvent(new PointerEvent('pointerdown', {{ bubbles: true, isPrimary: true, pointerId: 7,
           clientX: r.x + 50, clientY: r.y + 50 }}));
         if (!b.classList.contains('going')) return false;
         window.moves = (() => {{ {TRANSITIONS} }})();
         return true"
    );
    browser.until("the press has begun", &begin).await;
    let moves = browser.run("return window.moves").await;
    assert_eq!(moves, json!([["fill", "steps(4)"]]), "with reduced motion");
    browser.run("dispatchEvent(new Event('blur'))").await;
    let beat = "const left = new Set(); const beat = document.querySelector('.beat i');
        const [done] = arguments; let n = 0;
        const look = () => { left.add(beat.getBoundingClientRect().x); if (++n < 20) setTimeout(look, 60); else done(left.size) };
        look()";
    let places = browser
        .client
        .execute_async(beat, Vec::new())
        .await
        .unwrap();
    assert_eq!(places, json!(1), "the beat stands still too");

    for call in ["proceed", "hold", "stop"] {
        match call {
            "hold" => crew.deaf(TOWER_2, true).await,
            "stop" => {
                crew.deaf(TOWER_2, false).await;
                browser.shows("proceed").await;
                crew.stop(OBSERVER, "Person under the load").await;
            }
            _ => {}
        }
        browser.shows(call).await;
        browser
            .until(
                "everybody has the stop",
                "return !document.querySelector('.band .not')",
            )
            .await;
        let moving = browser.run(MOVING).await;
        assert_eq!(moving, json!([]), "something comes back again and again");
        // What is read aloud of the band changes with the job, not with time.
        let spoken = "
            const band = document.querySelector('.band').cloneNode(true);
            for (const one of band.querySelectorAll('[aria-hidden]')) one.remove();
            for (const one of band.querySelectorAll('[aria-label]')) one.textContent = one.ariaLabel;
            return [band.textContent, document.querySelector('.strip').textContent]";
        let before = browser.run(spoken).await;
        let clock = format!(
            "return document.querySelector('.strip').textContent !== {}",
            before[1]
        );
        browser.until("time goes by", &clock).await;
        let after = browser.run(spoken).await;
        assert_eq!(before[0], after[0], "in {call}");
    }
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_picture_of_a_dead_page_comes_after_one_second_and_not_before() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;
    // On the animation's own clock, which each tick sets back: so that no machine is too slow for this.
    let at = |ms: u32| {
        format!(
            "const one = document.querySelector('.stale.whole');
             const [animation] = one.getAnimations();
             const copy = one.animate(animation.effect.getKeyframes(), animation.effect.getTiming());
             copy.pause(); copy.currentTime = {ms};
             const found = getComputedStyle(one).opacity; copy.cancel();
             return found"
        )
    };
    for (ms, opacity) in [(0, "0"), (900, "0"), (1_100, "1")] {
        assert_eq!(browser.run(&at(ms)).await, json!(opacity), "after {ms} ms");
    }
    browser.end().await;
    crew.end().await;
}
