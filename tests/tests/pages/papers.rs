//! Papers: replay, limits and briefing, each with stop in its place; what they say of a job that was lived through.
//! May use: crew, browser, looks.   Never: how long anything took, which a busy machine decides.

use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, SUPERVISOR, TOWER_1, TOWER_2};
use crate::looks::{look, none};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::log::entry::{Change, Said};
use gantline_protocol::plan;
use gantline_protocol::state::CallWord;
use serde_json::{Value, json};
use std::time::Duration;

/// A page with all that it loads is at most so heavy.
const PAGE_MAX_BYTES: u64 = 120_000;

/// Opens one of the pages of a device whose browser is let in, and waits until it lives.
async fn open(browser: &Browser, path: &str) {
    let origin = browser.run("return location.origin").await;
    browser
        .enter_without_start(&format!("{}{path}", origin.as_str().unwrap()))
        .await;
}

async fn count(browser: &Browser, selector: &str) -> Value {
    let script = format!("return document.querySelectorAll('{selector}').length");
    browser.run(&script).await
}

async fn text(browser: &Browser) -> String {
    let text = browser
        .run("return document.querySelector('.read').innerText")
        .await;
    text.as_str().unwrap_or_default().to_owned()
}

/// Whether the page is light; when its first picture was there is printed, as a busy machine decides it.
async fn is_light(browser: &Browser, name: &str) {
    let script = "
        const all = [...performance.getEntriesByType('resource'), ...performance.getEntriesByType('navigation')];
        const first = performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0;
        return [all.reduce((sum, one) => sum + one.transferSize, 0), Math.round(first),
          all.every((one) => one.name.startsWith(location.origin) || one.name.startsWith('data:'))]";
    let found = browser.run(script).await;
    println!(
        "{name}: {} bytes, first picture after {} ms",
        found[0], found[1]
    );
    assert!(
        found[0].as_u64().unwrap() <= PAGE_MAX_BYTES,
        "{name}: {found}"
    );
    assert_eq!(found[2], json!(true), "{name} asks somebody else");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_replay_tells_what_was_shown_who_knew_what_and_how_a_stop_spread() {
    let crew = Crew::at_work().await;
    for (place, check) in [(TOWER_1, "carry"), (TOWER_2, "carry"), (OBSERVER, "seen")] {
        crew.confirms(place, "load", check, Said::Yes).await;
    }
    // Short of its limit: it stays in the log and does not count.
    let short = Command::Acknowledge {
        step: "measure".parse().unwrap(),
        check: "gap".parse().unwrap(),
        said: Said::Value {
            value: "1.20".parse().unwrap(),
            unit: "m".to_owned(),
        },
        change: None,
        held_ms: Some(1_200),
    };
    let recorded = crate::crew::until("it is recorded", async || {
        match crew.tries(TOWER_1, short.clone()).await {
            Outcome::Recorded { reasons, .. } => Some(reasons),
            _ => None,
        }
    })
    .await;
    assert!(!recorded.is_empty());
    crew.deaf(TOWER_2, true).await;
    crew.shows(SUPERVISOR, "the loss", |status| status.call.by_loss)
        .await;
    crew.deaf(TOWER_2, false).await;
    crew.shows(SUPERVISOR, "all is heard again", |status| {
        !status.call.by_loss
    })
    .await;
    crew.stop(OBSERVER, "Person under the load").await;
    crew.shows(SUPERVISOR, "everybody has the stop", |status| {
        status.stops[0].held_by.len() == 4
    })
    .await;

    let browser = Browser::start().await;
    browser.size(1280, 800).await;
    browser.enter(&crew.link(SUPERVISOR).await).await;
    open(&browser, "/replay").await;
    is_light(&browser, "replay").await;
    let said = text(&browser).await;
    for words in [
        "1.20 m is outside the limit",
        "Person under the load",
        "Had not heard yet",
        "because something was lost",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    browser.picture("replay-own").await;
    // The own lane has each call that was shown: Proceed, Hold, and in the end Stop work.
    let own = "const at = [...document.querySelectorAll('.timeline .name')].find((one) => one.textContent === 'Sup').getAttribute('y') - 18;
        return [...new Set([...document.querySelectorAll('.timeline rect.lane')].filter((one) => Number(one.getAttribute('y')) === at)
          .map((one) => one.getAttribute('fill')))].sort()";
    assert_eq!(
        browser.run(own).await,
        json!(["#00604f", "none", "url(#p-hold)", "url(#p-stop)"])
    );
    // The stop reached every other device within the limit, each by a known time.
    let row = "return [...document.querySelectorAll('.matrix tbody tr td')].map((one) => one.textContent.trim())";
    let row = browser.run(row).await;
    let row: Vec<&str> = row
        .as_array()
        .unwrap()
        .iter()
        .filter_map(Value::as_str)
        .collect();
    assert_eq!(row.len(), 5, "{row:?}");
    assert!(row.contains(&"pressed") && !row.contains(&"–"), "{row:?}");
    assert_eq!(count(&browser, ".matrix tbody td svg.i").await, json!(1));
    // From near: its way to each of the others, with seconds.
    browser
        .client
        .find(fantoccini::Locator::LinkText("ZOOM IN"))
        .await
        .unwrap()
        .click()
        .await
        .unwrap();
    browser
        .until(
            "from near",
            "return location.search.includes('stop=0') && document.documentElement.matches('.live-ok')",
        )
        .await;
    assert_eq!(count(&browser, ".timeline .way.under").await, json!(3));
    let plain = json!({ "observer": false, "paper": true });
    let mut wrong = look(&browser, "replay-zoom", &plain).await;
    // A tower had not heard the stop when it was pressed.
    browser.size(1280, 800).await;
    browser
        .run("[...document.querySelectorAll('.whose a')].find((one) => one.textContent === 'Twr 1').click()")
        .await;
    browser
        .until(
            "what the tower knew",
            "return document.querySelector('.whose .on')?.textContent === 'Twr 1' && document.querySelector('.unheard').innerText.includes('Person under the load')",
        )
        .await;
    open(&browser, "/replay").await;
    wrong.extend(look(&browser, "replay", &plain).await);
    none(&wrong);
    // Stop is where it is on every page.
    assert_eq!(crew.status(OBSERVER).await.stops.len(), 1);
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn limits_and_briefing_of_a_plan_that_ships_and_the_press_at_its_end() {
    let plan = plan::builtin()[0].plan().unwrap();
    let approach = plan.limits[0].clone();
    let crew = Crew::on(plan).await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    open(&browser, "/limits").await;
    is_light(&browser, "limits").await;
    assert!(text(&browser).await.contains("Limit sheet"));
    assert_eq!(count(&browser, ".read figure").await, json!(3));
    let plain = json!({ "observer": false, "paper": true });
    let mut wrong = look(&browser, "limits", &plain).await;

    // In another language nothing is said in the first one but what the plan says.
    let spanish = "return fetch('/setting', { method: 'POST', redirect: 'manual', body: new URLSearchParams({ language: 'LANGUAGE' }) }).then(() => true)";
    browser.run(&spanish.replace("LANGUAGE", "es")).await;
    open(&browser, "/briefing").await;
    let said = text(&browser).await;
    for words in [
        "Cualquiera para el trabajo",
        "segunda mirada",
        "; vale ",
        "ensayo cada",
        "de nuevo cada día",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    for words in [
        "Anyone stops",
        "second look",
        "good for",
        "test every",
        "anew each",
        "measured",
    ] {
        assert!(!said.contains(words), "{words}: {said}");
    }
    browser.picture("briefing-es").await;
    open(&browser, "/limits").await;
    let said = text(&browser).await;
    assert!(
        said.contains("Hoja de límites") && said.contains("Distancia mínima de acercamiento"),
        "{said}"
    );
    for words in [
        "Limit sheet",
        "approach distance",
        "at least",
        "Watched",
        "good for",
        "altitude",
        "span_back",
    ] {
        assert!(!said.contains(words), "{words}: {said}");
    }
    browser.picture("limits-es").await;
    browser.run(&spanish.replace("LANGUAGE", "en")).await;

    // An amendment: everybody hears the briefing again, and sees what is new in it.
    let mut wider = approach;
    wider.title = "Approach distance, wider today".to_owned();
    let amend = Command::Amend {
        why: "Gusts on the hill".to_owned(),
        changes: vec![Change::Limit(wider)],
        covers: Vec::new(),
    };
    crew.must(SUPERVISOR, amend).await;
    crew.shows(TOWER_1, "the amendment", |status| !status.briefed)
        .await;
    open(&browser, "/briefing").await;
    is_light(&browser, "briefing").await;
    let said = text(&browser).await;
    for words in [
        "Gusts on the hill",
        "Approach distance, wider today",
        "Protective equipment",
        "rescue",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    // The list of amendments, and the one limit.
    assert_eq!(count(&browser, ".read .changed").await, json!(2));
    wrong.extend(look(&browser, "briefing", &plain).await);
    let confirm = "main > .asked [data-control=confirm]";
    let shown = format!(
        "return document.querySelector('{confirm}').checkVisibility({{ visibilityProperty: true }})"
    );
    assert_eq!(
        browser.run(&shown).await,
        json!(false),
        "before it was read"
    );
    browser
        .run("document.querySelector('.read > :last-child').scrollIntoView()")
        .await;
    browser.until("its end was read", &shown).await;
    wrong.extend(look(&browser, "briefing-end", &plain).await);
    browser
        .press(confirm, Duration::from_millis(1_350), 0)
        .await;
    crew.shows(TOWER_1, "briefed", |status| status.briefed)
        .await;
    none(&wrong);
    browser.tap("[data-control=stop]").await;
    crew.all_show(CallWord::StopWork).await;
    browser.end().await;
    crew.end().await;
}

/// Where the replay is, ms.
const AT: &str = "return Number(document.querySelector('.cursor').dataset.at)";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_replay_plays_by_keys_and_without_scripts_is_walked_by_its_links() {
    let crew = Crew::at_work().await;
    crew.stop(OBSERVER, "Person under the load").await;
    let browser = Browser::start().await;
    browser.size(1280, 800).await;
    browser.enter(&crew.link(SUPERVISOR).await).await;
    open(&browser, "/replay").await;
    browser.tap("main nav [data-control=start]").await;
    let armed = "return document.querySelector('[data-control=run]').checkVisibility()";
    browser.until("it can be played", armed).await;
    let number = async |script: &str| browser.run(script).await.as_f64().unwrap();
    let key = async |control: &str| {
        let find = fantoccini::Locator::Css(control);
        let control = browser.client.find(find).await.unwrap();
        control.send_keys("\u{e007}").await.unwrap();
    };
    let last = number("return Number(document.querySelector('.cursor').dataset.to)").await;
    let first = number("return Number(document.querySelector('.cursor').dataset.from)").await;

    // Entry by entry, without leaving the page: its sound stays.
    let before = number(AT).await;
    key("[data-control=step]").await;
    browser
        .until("one entry back", &format!("{AT} < {before}"))
        .await;
    let sound = "return document.documentElement.dataset.sound";
    assert_eq!(browser.run(sound).await, json!("on"));
    let address = browser.run("return location.search").await;
    let at = number(AT).await;
    assert!(
        address.as_str().unwrap().contains(&format!("at={at}")),
        "{address}"
    );

    // Paces come round; the slowest is as it was.
    let pace = "return [...document.querySelectorAll('[data-control=pace] span')].find((one) => one.checkVisibility()).textContent";
    let mut paces = Vec::new();
    for _ in 0..4 {
        paces.push(browser.run(pace).await);
        key("[data-control=pace]").await;
    }
    assert_eq!(
        paces,
        ["SPEED 60 ×", "SPEED 600 ×", "SPEED 1 ×", "SPEED 10 ×"]
    );
    key("[data-control=pace]").await;
    key("[data-control=pace]").await;
    assert_eq!(browser.run(pace).await, json!("SPEED 1 ×"));

    // From the beginning; it goes on by itself, and stands when it is told to.
    let start = format!("location.search = '?who=0&at={first}'");
    browser.run(&start).await;
    browser
        .until("the beginning", &format!("return Number(document.querySelector('.cursor')?.dataset.at) === {first} && document.querySelector('[data-control=run]').checkVisibility()"))
        .await;
    key("[data-control=pace]").await;
    key("[data-control=pace]").await;
    key("[data-control=run]").await;
    let runs = "return document.querySelector('[data-control=run]').innerText.trim()";
    assert_eq!(browser.run(runs).await, json!("PAUSE"));
    browser.picture("replay-plays").await;
    browser
        .until(
            "it moves",
            &format!("const at = (() => {{ {AT} }})(); return at > {first} && at < {last}"),
        )
        .await;
    key("[data-control=run]").await;
    assert_eq!(browser.run(runs).await, json!("PLAY"));
    let stands = number(AT).await;
    tokio::time::sleep(Duration::from_millis(1_200)).await;
    assert_eq!(number(AT).await, stands, "it stands");
    // To the end, where it stands by itself.
    key("[data-control=pace]").await;
    key("[data-control=pace]").await;
    key("[data-control=run]").await;
    browser.until("the end", &format!("{AT} === {last}")).await;
    browser
        .until(
            "it stands",
            "return document.querySelector('[data-control=run]').innerText.trim() === 'PLAY'",
        )
        .await;

    browser.without_scripts().await;
    let find = fantoccini::Locator::Css("[data-control=step]");
    let back = browser.client.find(find).await.unwrap();
    let run = fantoccini::Locator::Css("[data-control=run]");
    let run = browser.client.find(run).await.unwrap();
    assert!(
        !run.is_displayed().await.unwrap(),
        "a control that would do nothing"
    );
    let leads = back.attr("href").await.unwrap().unwrap();
    back.click().await.unwrap();
    let there = browser.client.current_url().await.unwrap();
    assert!(there.as_str().ends_with(&leads), "{there} {leads}");
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn more_than_ten_sounds_in_ten_minutes_are_reported_and_ten_are_not() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(SUPERVISOR).await).await;
    // A minute apart; the eleventh comes within ten minutes of the first.
    let shown = crew.job_folder(SUPERVISOR).join("shown");
    let sound = |n: i64| {
        format!(
            "{{\"at\":{},\"sounds\":\"hold_by_loss\"}}\n",
            1_700_000_000_000 + n * 60_000
        )
    };
    let add = |lines: String| {
        let kept = std::fs::read_to_string(&shown).unwrap();
        std::fs::write(&shown, lines + &kept).unwrap();
    };
    let flood = "More than 10 sounds within 10 min from";
    add((1..=10).map(sound).collect());
    open(&browser, "/replay").await;
    let said = text(&browser).await;
    assert!(said.contains("It sounded 10 times."), "{said}");
    assert!(!said.contains(flood), "{said}");
    add(sound(0));
    open(&browser, "/replay").await;
    let said = text(&browser).await;
    assert!(said.contains(flood), "{said}");
    browser.end().await;
    crew.end().await;
}
