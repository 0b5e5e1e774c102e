//! Own: a page asks nothing of anybody but its node, is light, lets nobody else in, and keeps a blind look blind.
//! May use: crew, browser.   Never: another machine.

use crate::browser::Browser;
use crate::crew::{Crew, TOWER_1, TOWER_2};
use crate::hand::LONG;
use crate::looks;
use gantline_protocol::log::entry::Said;
use gantline_protocol::state::{CallWord, StepState};
use serde_json::json;

/// A page with all that it loads is at most so heavy.
const PAGE_MAX_BYTES: u64 = 120_000;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_page_asks_its_own_node_only_and_is_light() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    let link = crew.link(TOWER_1).await;
    browser.enter(&link).await;
    let loaded = browser
        .run(
            "const all = [...performance.getEntriesByType('resource'), ...performance.getEntriesByType('navigation')];
             return all.map((one) => [one.name, one.transferSize, one.initiatorType])",
        )
        .await;
    let own = browser.run("return location.origin").await;
    let own = own.as_str().unwrap();
    let mut bytes = 0;
    for one in loaded.as_array().unwrap() {
        let name = one[0].as_str().unwrap();
        assert!(
            name.starts_with(own) || name.starts_with("data:"),
            "{name} is not {own}"
        );
        bytes += one[1].as_u64().unwrap();
    }
    println!(
        "the page is {bytes} bytes in {} requests",
        loaded.as_array().unwrap().len()
    );
    assert!(bytes > 10_000 && bytes <= PAGE_MAX_BYTES, "{bytes} bytes");

    // What the page may do, and what a script of another place could not.
    let policy = browser
        .client
        .execute_async(
            "const [done] = arguments;
             fetch('/').then((answer) => done(answer.headers.get('content-security-policy')))",
            Vec::new(),
        )
        .await
        .unwrap();
    assert!(
        policy.as_str().unwrap().starts_with("default-src 'self';"),
        "{policy}"
    );
    let cookie = browser.run("return document.cookie").await;
    assert_eq!(cookie, json!(""), "no script reads the cookie");

    // The link is spent, and nobody comes in without.
    browser.client.delete_all_cookies().await.unwrap();
    for page in [link.as_str(), own] {
        browser.open(page).await;
        let text = browser.run("return document.body.innerText").await;
        assert!(
            text.as_str().unwrap().contains("gantline page"),
            "{page}: {text}"
        );
    }
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_second_looks_page_carries_no_byte_of_the_first_answer() {
    let crew = Crew::at_work().await;
    for (place, step, check, said) in [
        (TOWER_1, "load", "carry", Said::Yes),
        (TOWER_2, "load", "carry", Said::Yes),
        (crate::crew::OBSERVER, "load", "seen", Said::Yes),
        (
            TOWER_1,
            "measure",
            "gap",
            Said::Value {
                value: "1.88".parse().unwrap(),
                unit: "m".to_owned(),
            },
        ),
    ] {
        crew.confirms(place, step, check, said).await;
    }
    // Words that stand nowhere else, so that any byte of them is the answer.
    const SECRET: &str = "Quillwort";
    crew.confirms(TOWER_1, "key", "key", Said::Words(SECRET.to_owned()))
        .await;
    crew.shows(TOWER_2, "the first look is in", |status| {
        status.steps[2].checks[0].given.len() == 1
    })
    .await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_2).await).await;
    let bytes = "
        const [done] = arguments;
        Promise.all(['/', '/worker', '/observer', '/board', '/replay', '/briefing'].map((path) => fetch(path).then((answer) => answer.text())))
          .then((pages) => done([...pages, document.documentElement.outerHTML].join('')))";
    let before = browser
        .client
        .execute_async(bytes, Vec::new())
        .await
        .unwrap();
    let before = before.as_str().unwrap();
    assert!(
        before.contains("How is the key"),
        "the check is there: {before}"
    );
    assert!(
        !before.contains(SECRET),
        "the first answer is there before the second: {before}"
    );
    browser.end().await;
    crew.end().await;
}

/// Two look at the key and do not see alike: each looks anew, and says on the own page what was done since.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_who_do_not_see_alike_settle_it_on_their_own_pages() {
    let crew = Crew::at_work().await;
    let gap = Said::Value {
        value: "1.88".parse().unwrap(),
        unit: "m".to_owned(),
    };
    let word = |word: &str| Said::Words(word.to_owned());
    for (place, step, check, said) in [
        (TOWER_1, "load", "carry", Said::Yes),
        (TOWER_2, "load", "carry", Said::Yes),
        (crate::crew::OBSERVER, "load", "seen", Said::Yes),
        (TOWER_1, "measure", "gap", gap),
        (TOWER_1, "key", "key", word("Spread")),
        (TOWER_2, "key", "key", word("One leg straight")),
    ] {
        crew.confirms(place, step, check, said).await;
    }
    crew.all_show(CallWord::Hold).await;
    // A page that ends would hold all: both stay.
    let mut open = Vec::new();
    for place in [TOWER_1, TOWER_2] {
        let browser = Browser::start().await;
        browser.enter(&crew.link(place).await).await;
        browser.shows("hold").await;
        browser.tap("main > .asked [data-control=open]").await;
        browser
            .until("a sheet", "return !!document.documentElement.dataset.sheet")
            .await;
        if place == TOWER_1 {
            let on_sheet = json!({ "observer": false, "sheet": true });
            looks::none(&looks::look(&browser, "worker-since", &on_sheet).await);
        }
        let field = |name: &str| format!(".sheet.on [name={name}]");
        let types = async |name: &str, words: &str| {
            let found = browser
                .client
                .find(fantoccini::Locator::Css(&field(name)))
                .await;
            found.unwrap().send_keys(words).await.unwrap();
        };
        types("text", "Both legs spread").await;
        let confirm = ".sheet.on [data-control=confirm]";
        // Without what was done it settles nothing, and what was typed stays.
        browser.press(confirm, LONG, 0).await;
        browser
            .until(
                "it asks what was done",
                "return document.querySelector('.note').textContent.includes('What was done since?')",
            )
            .await;
        browser.picture(&format!("conflict-{place}")).await;
        browser.tap(".sheet.on [data-control=fill]").await;
        browser.press(confirm, LONG, 0).await;
        browser
            .until(
                "it is recorded",
                "return document.querySelector('.note').textContent.startsWith('Recorded.')",
            )
            .await;
        open.push(browser);
    }
    crew.shows(TOWER_1, "the step is complete", |status| {
        status.steps[2].state == StepState::Done
    })
    .await;
    for browser in open {
        browser.end().await;
    }
    crew.end().await;
}
