//! Picture: how long after it is asked for is each page there, and how long until it lives? Measured, and never judged here.
//! Owns: the program as it is shipped, with its own crew at work.   Gives: a table, a line for each page.
//! May use: browser, support::program.   Never: a bound: what is slow is the machine, or read off the table.
//!
//! The demonstration serves its pages; each is opened ten times as anew, nothing of it kept by the browser. `there` is
//! the browser's own first paint with content in it: the call, which comes with the page. `lives` is the first tick of
//! the node, which takes the picture of a dead page away. `weight` is all that it loads until then, heads of answers
//! included.

use crate::browser::Browser;
use gantline_tests::support::program::{Running, shipped};
use serde_json::json;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::process::Stdio;

/// How often each page is opened.
const TIMES: usize = 10;
/// The devices of the demonstration.
const DEVICES: usize = 5;
/// Whose pages are opened: of each kind of holder the own one, and what is read on one of them.
const PAGES: [(&str, &[&str]); 4] = [
    ("tower", &["/worker"]),
    ("ground", &["/worker"]),
    ("observer", &["/observer"]),
    (
        "supervisor",
        &["/board", "/items", "/limits", "/briefing", "/replay"],
    ),
];
/// Notes when the page lives, before anything of it runs.
const WATCH: &str = "
    new MutationObserver(() => {
      if (document.documentElement?.matches('.live-ok')) window.livesAt ??= performance.now();
    }).observe(document, { attributes: true, subtree: true })";
const MEASURED: &str = "
    const first = performance.getEntriesByName('first-contentful-paint')[0]?.startTime;
    if (!first || !window.livesAt) return false;
    const all = [...performance.getEntriesByType('resource'), ...performance.getEntriesByType('navigation')];
    window.measured = [first, window.livesAt, all.reduce((sum, one) => sum + one.transferSize, 0)];
    return true";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "builds the release program, and measures"]
async fn the_first_picture_of_each_page_is_measured() {
    let (crew, links) = serve();
    for (role, pages) in PAGES {
        let browser = Browser::start().await;
        let watch = json!({ "source": WATCH });
        browser
            .own("Page.addScriptToEvaluateOnNewDocument", watch)
            .await;
        browser
            .own("Network.setCacheDisabled", json!({ "cacheDisabled": true }))
            .await;
        if matches!(role, "supervisor") {
            browser.size(1280, 800).await;
        }
        browser.enter_without_start(&links[role]).await;
        let origin = browser.run("return location.origin").await;
        let origin = origin.as_str().unwrap_or_default().to_owned();
        for path in pages {
            let mut all = [const { Vec::new() }; 3];
            for _ in 0..TIMES {
                browser.open(&format!("{origin}{path}")).await;
                browser.until("a page that lives", MEASURED).await;
                let measured = browser.run("return window.measured").await;
                for (at, values) in all.iter_mut().enumerate() {
                    values.push(measured[at].as_f64().unwrap_or(f64::NAN));
                }
            }
            tell(&format!("{role} {path}"), &mut all);
        }
        browser.end().await;
    }
    drop(crew);
}

/// The program with its crew at work, and a link to a page of each role.
fn serve() -> (Running, BTreeMap<String, String>) {
    let mut child = shipped(&["demo", "--serve"])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(child.stderr.take().unwrap()).lines();
    let mut links = BTreeMap::new();
    let mut found = 0;
    while found < DEVICES {
        let line = said.next().expect("its links before its end").unwrap();
        // `… role (name, played): link`
        let Some((before, link)) = line.split_once("): ") else {
            continue;
        };
        let before = before.split(" (").next().unwrap_or_default();
        let role = before.rsplit(' ').next().unwrap_or_default();
        if link.starts_with("http://") {
            links.insert(role.to_owned(), link.trim().to_owned());
            found += 1;
        }
    }
    // What it goes on to say is read, so that it is never kept waiting.
    std::thread::spawn(move || said.for_each(drop));
    (Running(child), links)
}

/// The least, the middle and the most of each.
fn tell(page: &str, all: &mut [Vec<f64>; 3]) {
    for values in all.iter_mut() {
        values.sort_by(f64::total_cmp);
    }
    let [there, lives, weight] = all.each_ref();
    let times = |of: &[f64]| {
        format!(
            "{:.0}, {:.0}, {:.0} ms",
            of[0],
            of[TIMES / 2],
            of[TIMES - 1]
        )
    };
    println!(
        "{page}\tthere {}\tlives {}\tweight {} bytes",
        times(there),
        times(lives),
        weight[0]
    );
}
