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

/// What the checks find wrong.
async fn checked(
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
    crew.stop(OBSERVER, "Person under the load").await;
    browser.shows("stop").await;
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
            "the number is asked",
            "return !!document.querySelector('.asked [data-control=open]')",
        )
        .await;
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
    wrong.extend(look(&browser, "observer-stop", &plain).await);
    browser.tap("[data-control=saywhy]").await;
    wrong.extend(
        look(
            &browser,
            "observer-why",
            &json!({ "observer": true, "sheet": true }),
        )
        .await,
    );
    browser.tap(".sheet.on .r").await;
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
    browser.tap(".sheet.on [data-control=fill]").await;
    wrong.extend(
        look(
            &browser,
            "board-ask",
            &json!({ "observer": false, "sheet": true }),
        )
        .await,
    );
    browser
        .press(".sheet.on [data-control=confirm]", long, 0)
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

/// What a person with a deficiency of one kind of cone sees of a linear colour: Machado, Oliveira and Fernandes 2009,
/// severity 1.0.
const MACHADO: [(&str, [[f64; 3]; 3]); 3] = [
    (
        "protan",
        [
            [0.152_286, 1.052_583, -0.204_868],
            [0.114_503, 0.786_281, 0.099_216],
            [-0.003_882, -0.048_116, 1.051_998],
        ],
    ),
    (
        "deutan",
        [
            [0.367_322, 0.860_646, -0.227_968],
            [0.280_085, 0.672_501, 0.047_413],
            [-0.011_820, 0.042_940, 0.968_881],
        ],
    ),
    (
        "tritan",
        [
            [1.255_528, -0.076_749, -0.178_779],
            [-0.078_411, 0.930_809, 0.147_602],
            [0.004_733, 0.691_367, 0.303_900],
        ],
    ),
];
/// Two calls differ at least so much for each of them, CIELAB 1976.
const LEAST_DIFFERENCE: f64 = 20.0;

fn linear(hex: &str) -> [f64; 3] {
    core::array::from_fn(|at| {
        let value =
            f64::from(u8::from_str_radix(&hex[1 + 2 * at..3 + 2 * at], 16).unwrap()) / 255.0;
        if value <= 0.040_45 {
            value / 12.92
        } else {
            ((value + 0.055) / 1.055).powf(2.4)
        }
    })
}

fn times(matrix: &[[f64; 3]; 3], colour: [f64; 3]) -> [f64; 3] {
    matrix.map(|row| {
        row.iter()
            .zip(colour)
            .map(|(a, b)| a * b)
            .sum::<f64>()
            .clamp(0.0, 1.0)
    })
}

/// CIELAB of linear sRGB, white D65.
fn lab(rgb: [f64; 3]) -> [f64; 3] {
    const TO_XYZ: [[f64; 3]; 3] = [
        [0.412_456_4, 0.357_576_1, 0.180_437_5],
        [0.212_672_9, 0.715_152_2, 0.072_175_0],
        [0.019_333_9, 0.119_192_0, 0.950_304_1],
    ];
    const WHITE: [f64; 3] = [0.950_47, 1.0, 1.088_83];
    let xyz = TO_XYZ.map(|row| row.iter().zip(rgb).map(|(a, b)| a * b).sum::<f64>());
    let f: [f64; 3] = core::array::from_fn(|at| {
        let t = xyz[at] / WHITE[at];
        if t > 0.008_856 {
            t.cbrt()
        } else {
            7.787 * t + 16.0 / 116.0
        }
    });
    [
        116.0 * f[1] - 16.0,
        500.0 * (f[0] - f[1]),
        200.0 * (f[1] - f[2]),
    ]
}

#[test]
fn the_three_calls_differ_for_every_eye() {
    let style = gantline_tests::support::sources::text(std::path::Path::new(
        "node/src/pages/assets/page.css",
    ));
    let colour = |name: &str| {
        let at = style.find(&format!("--{name}: #")).unwrap() + name.len() + 4;
        let mut hex = style[at..at + 7].trim_end_matches(';').to_owned();
        if hex.len() == 4 {
            hex = hex
                .chars()
                .flat_map(|c| if c == '#' { vec![c] } else { vec![c, c] })
                .collect();
        }
        linear(&hex)
    };
    let calls = ["go", "hold", "stop"].map(|name| (name, colour(name)));
    let same = (
        "normal",
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    );
    for (eye, matrix) in MACHADO.iter().chain([&same]) {
        for (at, (one, a)) in calls.iter().enumerate() {
            for (other, b) in &calls[at + 1..] {
                let (a, b) = (lab(times(matrix, *a)), lab(times(matrix, *b)));
                let squares = a.iter().zip(b).map(|(a, b)| (a - b).powi(2));
                let difference = squares.sum::<f64>().sqrt();
                assert!(
                    difference >= LEAST_DIFFERENCE,
                    "{eye}: {one} and {other} differ by {difference:.0}"
                );
            }
        }
    }
}
