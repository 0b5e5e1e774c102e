//! Looks: in each state, language, size and theme: one stop that nothing covers, one word, one reason, contrast, sizes, nothing cut.
//! May use: crew, browser, axe, checks.js.   Never: taste, which people have who look at the pictures.

use crate::axe;
use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, SUPERVISOR, TOWER_1, TOWER_2};
use gantline::words::{ALL, Language};
use gantline_protocol::log::entry::Said;
use gantline_protocol::state::CallWord;
use serde_json::{Value, json};

const CHECKS: &str = include_str!("checks.js");
const SIZES: [(u32, u32); 4] = [(412, 915), (412, 790), (800, 1280), (1280, 800)];

/// Sizes at which the checker for people who see, hear or move otherwise looks too: it takes a second each.
const AXE_SIZES: [(u32, u32); 2] = [SIZES[0], SIZES[3]];

/// Looks at a page as it is, in every language, size and theme, with its words as they are, longer, and larger.
pub async fn look(browser: &Browser, state: &str, want: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    // A page whose node is gone goes on in the language that it had.
    let stale = want["stale"] == json!(true);
    for language in ALL {
        if stale && !speaks(browser, language).await {
            continue;
        }
        speak(browser, language).await;
        let first = stale || language.code == ALL[0].code;
        let themes = if first {
            &["sun", "night"][..]
        } else {
            &["sun"]
        };
        for (width, height) in SIZES {
            browser.size(width, height).await;
            for theme in themes {
                let set = format!("document.documentElement.dataset.theme = '{theme}'");
                browser.run(&set).await;
                let code = language.code;
                let at = format!("{state}-{code}-{width}x{height}-{theme}");
                browser.picture(&at).await;
                for change in ["", "longer", "zoomed"] {
                    if !first && change == "longer" {
                        continue;
                    }
                    let found = checked(browser, language, want, change, height).await;
                    wrong.extend(found.iter().map(|one| format!("{at} {change}: {one}")));
                }
                if first && AXE_SIZES.contains(&(width, height)) {
                    let found = axe::look(browser).await;
                    wrong.extend(found.iter().map(|one| format!("{at}: {one}")));
                }
            }
        }
    }
    if !stale {
        speak(browser, ALL[0]).await;
    }
    browser.size(412, 915).await;
    wrong
}

/// The same, in one language, as it is, on a phone and on a wide screen.
pub async fn glance(browser: &Browser, state: &str, want: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    for (width, height) in AXE_SIZES {
        browser.size(width, height).await;
        let at = format!("{state}-{width}x{height}");
        browser.picture(&at).await;
        let mut found = checked(browser, ALL[0], want, "", height).await;
        found.extend(axe::look(browser).await);
        wrong.extend(found.iter().map(|one| format!("{at}: {one}")));
    }
    browser.size(412, 915).await;
    wrong
}

/// What the checks find wrong.
pub async fn checked(
    browser: &Browser,
    language: &Language,
    want: &Value,
    change: &str,
    height: u32,
) -> Vec<String> {
    let mut want = want.clone();
    want["words"] = json!({
        "proceed": language.labels.proceed,
        "hold": language.labels.hold,
        "stop": language.labels.stop_work,
    });
    want["change"] = json!(change);
    // The smallest screen may scroll inside a sheet; the stop is where it was.
    want["scrolls"] = json!(height < 850);
    let found = browser.client.execute(CHECKS, vec![want]).await.unwrap();
    let found = found.as_array().unwrap().iter();
    found
        .map(|one| one.as_str().unwrap_or_default().to_owned())
        .collect()
}

async fn speaks(browser: &Browser, language: &Language) -> bool {
    let said = format!(
        "return document.querySelector('main').lang === '{}'",
        language.code
    );
    browser.run(&said).await == json!(true)
}

/// From now on the device speaks this language, and its page shows it.
async fn speak(browser: &Browser, language: &Language) {
    if speaks(browser, language).await {
        return;
    }
    let code = language.code;
    let set = format!(
        "fetch('/setting', {{ method: 'POST', redirect: 'manual', body: new URLSearchParams({{ language: '{code}' }}) }})"
    );
    browser.run(&set).await;
    let said = format!("return document.querySelector('main').lang === '{code}'");
    browser.until("it speaks the language", &said).await;
}

pub fn none(wrong: &[String]) {
    assert!(
        wrong.is_empty(),
        "{}\n{} in all",
        wrong.join("\n"),
        wrong.len()
    );
}

/// The reasons of an own stop are there to be pressed.
const SHOWN_WHYS: &str = "return document.querySelector('.whys')?.checkVisibility({ visibilityProperty: true }) ?? false";

/// Opens a sheet and waits until it is there.
async fn sheet(browser: &Browser, control: &str) {
    browser.tap(control).await;
    browser
        .until("a sheet", "return !!document.documentElement.dataset.sheet")
        .await;
}

async fn back(browser: &Browser) {
    browser
        .run("document.querySelector('.sheet.on .back')?.click()")
        .await;
}

/// Pages of forms and lists: the call above, the stop below, and between them as much as there is.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_pages_beside_the_own_one_in_every_size() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(SUPERVISOR).await).await;
    browser.shows("proceed").await;
    let beside = json!({ "observer": false, "sheet": true, "long": true });
    let mut wrong = Vec::new();
    for (path, name) in [
        ("/more", "more"),
        ("/items", "items"),
        ("/items/stick-1", "item"),
        ("/act/crew", "act-crew"),
        ("/act/amend", "act-amend"),
        ("/act/conditions", "act-conditions"),
        ("/act/day", "act-day"),
    ] {
        goes(&browser, path).await;
        wrong.extend(look(&browser, name, &beside).await);
    }
    for name in [
        "checks",
        "identity",
        "order",
        "note",
        "correct",
        "relief",
        "heads",
        "safe",
        "back",
        "exception",
    ] {
        goes(&browser, &format!("/act/{name}")).await;
        wrong.extend(glance(&browser, &format!("act-{name}"), &beside).await);
    }
    crew.stop(OBSERVER, "Person under the load").await;
    browser.shows("stop").await;
    goes(&browser, "/act/ask").await;
    wrong.extend(glance(&browser, "act-ask", &beside).await);
    goes(&browser, "/act/exit").await;
    wrong.extend(look(&browser, "act-exit-stop", &beside).await);
    goes(&browser, "/act/emergency").await;
    wrong.extend(look(&browser, "act-emergency", &beside).await);
    none(&wrong);
    browser.end().await;
    crew.end().await;
}

/// Goes to another page of the same device, as a link on it does.
async fn goes(browser: &Browser, path: &str) {
    browser
        .run(&format!(
            "import('/assets/way.js').then((way) => way.go('{path}'))"
        ))
        .await;
    let name = path.trim_start_matches('/');
    browser
        .until(
            "the page is there",
            &format!("return document.querySelector('.under')?.dataset.name === '{name}'"),
        )
        .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_workers_page_in_every_state_and_size() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    let plain = json!({ "observer": false });
    let on_sheet = json!({ "observer": false, "sheet": true });
    browser.enter_without_start(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;
    let mut wrong = look(&browser, "worker-start", &on_sheet).await;
    browser.tap("[data-control=start]").await;
    wrong.extend(look(&browser, "worker-heard", &on_sheet).await);
    browser.tap("[data-control=heard]").await;
    wrong.extend(look(&browser, "worker-fit", &on_sheet).await);
    browser.tap("[data-control=fits]").await;
    wrong.extend(look(&browser, "worker-proceed", &plain).await);
    sheet(&browser, "[data-control=cannot]").await;
    wrong.extend(look(&browser, "worker-cannot", &on_sheet).await);
    back(&browser).await;

    crew.deaf(TOWER_2, true).await;
    browser.shows("hold").await;
    wrong.extend(look(&browser, "worker-hold", &plain).await);
    crew.deaf(TOWER_2, false).await;
    crew.all_show(CallWord::Proceed).await;
    browser.shows("proceed").await;

    crew.confirms(TOWER_1, "load", "carry", Said::Yes).await;
    browser
        .until(
            "nothing asked",
            "return !!document.querySelector('.act.none')",
        )
        .await;
    wrong.extend(look(&browser, "worker-nothing-asked", &plain).await);
    sheet(&browser, "[data-control=withdraw]").await;
    wrong.extend(look(&browser, "worker-withdraw", &on_sheet).await);
    back(&browser).await;
    crew.confirms(TOWER_2, "load", "carry", Said::Yes).await;
    crew.confirms(OBSERVER, "load", "seen", Said::Yes).await;
    browser
        .until(
            "the number is asked, and its sheet opens by itself",
            "return !!document.querySelector('.sheet.number.on')",
        )
        .await;
    wrong.extend(look(&browser, "worker-number-empty", &on_sheet).await);
    browser.tap("[data-key=clear]").await;
    wrong.extend(look(&browser, "worker-measure", &plain).await);
    sheet(&browser, ".asked [data-control=open]").await;
    for key in ["1", ".", "8", "8"] {
        browser.tap(&format!("[data-key='{key}']")).await;
    }
    browser
        .until(
            "it is judged",
            "return document.querySelector('.judge').textContent.startsWith('Inside by 0.28 m.')",
        )
        .await;
    wrong.extend(look(&browser, "worker-number", &on_sheet).await);
    for _ in 0..5 {
        browser.tap("[data-key='clear']").await;
    }

    crew.stop(OBSERVER, "Person under the load").await;
    browser
        .until(
            "asked to answer",
            "return !!document.querySelector('.asked [data-control=confirm]')",
        )
        .await;
    wrong.extend(look(&browser, "worker-stop", &plain).await);
    crew.heard_and_asked("He has left, the drop zone is roped off again")
        .await;
    browser
        .until(
            "asked to agree",
            "return !!document.querySelector('main > .row [data-control=decline]')",
        )
        .await;
    wrong.extend(look(&browser, "worker-agree", &plain).await);
    crew.agrees(TOWER_1).await;
    crew.agrees(TOWER_2).await;
    crew.agrees(OBSERVER).await;
    browser.shows("proceed").await;

    // A stop of the worker's own; once something is asked as well, why is said on a sheet.
    browser.tap("[data-control=stop]").await;
    crew.all_show(CallWord::StopWork).await;
    browser.until("its reasons", SHOWN_WHYS).await;
    wrong.extend(look(&browser, "worker-own-stop", &plain).await);
    crew.heard_and_asked("He has left, the drop zone is roped off again")
        .await;
    crew.agrees(TOWER_1).await;
    crew.agrees(TOWER_2).await;
    crew.agrees(OBSERVER).await;
    browser.shows("proceed").await;

    let crew = crew.without(TOWER_1).await;
    browser
        .until(
            "not live",
            "return getComputedStyle(document.querySelector('.stale.whole')).opacity === '1'",
        )
        .await;
    wrong.extend(
        look(
            &browser,
            "worker-not-live",
            &json!({ "observer": false, "stale": true }),
        )
        .await,
    );
    none(&wrong);
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_workers_page_that_is_not_live_in_the_language_with_the_longest_words() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    speak(&browser, ALL[1]).await;
    let crew = crew.without(TOWER_1).await;
    browser
        .until(
            "not live",
            "return getComputedStyle(document.querySelector('.stale.whole')).opacity === '1'",
        )
        .await;
    let stale = json!({ "observer": false, "stale": true });
    none(&look(&browser, "worker-not-live", &stale).await);
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_observers_page_in_every_state_and_size() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(OBSERVER).await).await;
    browser.shows("proceed").await;
    let plain = json!({ "observer": true });
    let idle = json!({ "observer": true, "nothingAsked": true });
    let mut wrong = look(&browser, "observer-asked", &plain).await;
    crew.confirms(OBSERVER, "load", "seen", Said::Yes).await;
    browser
        .until(
            "nothing asked",
            "return !document.querySelector('.asked .act')",
        )
        .await;
    wrong.extend(look(&browser, "observer-proceed", &idle).await);
    crew.deaf(TOWER_2, true).await;
    browser.shows("hold").await;
    wrong.extend(look(&browser, "observer-hold", &idle).await);
    crew.deaf(TOWER_2, false).await;
    browser.shows("proceed").await;

    browser.tap("[data-control=stop]").await;
    crew.all_show(CallWord::StopWork).await;
    browser
        .until(
            "the node has it",
            "return !document.documentElement.dataset.pressed",
        )
        .await;
    browser.until("its reasons", SHOWN_WHYS).await;
    wrong.extend(look(&browser, "observer-stop", &plain).await);
    browser.until("its reasons", SHOWN_WHYS).await;
    browser.tap(".whys .sec").await;
    crew.shows(SUPERVISOR, "the reason", |status| {
        status.stops[0].why == "Person under the load"
    })
    .await;
    speak(&browser, ALL[1]).await;
    let crew = crew.without(OBSERVER).await;
    browser
        .until(
            "not live",
            "return getComputedStyle(document.querySelector('.stale.still')).opacity === '1'",
        )
        .await;
    assert_eq!(
        browser
            .run("return document.documentElement.dataset.call")
            .await,
        json!("stop"),
        "a stop never looks softened"
    );
    wrong.extend(
        look(
            &browser,
            "observer-stop-not-live",
            &json!({ "observer": true, "stale": true }),
        )
        .await,
    );
    none(&wrong);
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_board_in_every_state_and_size() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(SUPERVISOR).await).await;
    browser.shows("proceed").await;
    let plain = json!({ "observer": false });
    let mut wrong = look(&browser, "board-proceed", &plain).await;
    crew.deaf(TOWER_2, true).await;
    browser.shows("hold").await;
    wrong.extend(look(&browser, "board-hold", &plain).await);
    crew.deaf(TOWER_2, false).await;
    browser.shows("proceed").await;
    crew.stop(OBSERVER, "Person under the load").await;
    browser
        .until(
            "asked to answer",
            "return !!document.querySelector('.asked [data-control=confirm]')",
        )
        .await;
    wrong.extend(look(&browser, "board-stop", &plain).await);

    // The supervisor answers and asks from here; the others agree.
    let long = std::time::Duration::from_millis(1_350);
    browser.press("main > .asked .act", long, 0).await;
    for place in [TOWER_1, TOWER_2] {
        crew.must(
            place,
            gantline_protocol::engine::Command::Heard { stop: None },
        )
        .await;
    }
    browser
        .until(
            "asked to ask",
            "return !!document.querySelector('main > .asked [data-control=open]')",
        )
        .await;
    sheet(&browser, "main > .asked .act").await;
    wrong.extend(
        look(
            &browser,
            "board-ask",
            &json!({ "observer": false, "sheet": true }),
        )
        .await,
    );
    browser
        .press(".sheet.on .grid [data-control=confirm]", long, 0)
        .await;
    crew.shows(OBSERVER, "the ask", |status| {
        status.stops[0].cause == "Nobody is under the load"
    })
    .await;
    for place in [TOWER_1, TOWER_2, OBSERVER] {
        crew.agrees(place).await;
    }
    browser.shows("proceed").await;
    none(&wrong);
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_board_draws_a_plan_of_forty_steps() {
    let plan = gantline_protocol::plan::builtin()[0].plan().unwrap();
    let crew = Crew::on(plan).await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(SUPERVISOR).await).await;
    let plain = json!({ "observer": false });
    let mut wrong = look(&browser, "board-long", &plain).await;
    browser.size(1280, 800).await;
    let drawn = "return document.querySelectorAll('.graph .step').length";
    let steps = crew.status(SUPERVISOR).await.steps.len();
    assert_eq!(browser.run(drawn).await, json!(steps));
    // Everything is inside the drawing, and drawn as large as it is said to be.
    let inside = "const all = document.querySelector('.graph').getBoundingClientRect();
        return [...document.querySelectorAll('.graph .step')].every((one) => {
          const { left, right, top, bottom } = one.getBoundingClientRect();
          return left >= all.left && right <= all.right + 1 && top >= all.top && bottom <= all.bottom + 1;
        }) && document.querySelector('.graph').getScreenCTM().a";
    let scale = browser.run(inside).await.as_f64().unwrap_or(0.0);
    assert!(scale >= 0.97, "drawn at {scale}");
    crew.stop(OBSERVER, "Person under the load").await;
    browser.shows("stop").await;
    wrong.extend(look(&browser, "board-long-stop", &plain).await);
    none(&wrong);
    browser.end().await;
    crew.end().await;
}
