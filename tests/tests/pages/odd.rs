//! Odd: the sheets and states that no other test of the looks comes by, each looked at once with the checker of pages.
//! May use: crew, browser, looks.   Never: what is looked at elsewhere.

use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, PLAN, SUPERVISOR, TOWER_1, TOWER_2, read};
use crate::looks::{glance, none};
use gantline_protocol::log::entry::Said;
use gantline_protocol::state::CallWord;
use serde_json::json;
use std::time::Duration;

/// One check of each kind that is given on a sheet, all asked of one person at once.
const KINDS: &str = r#"
[[step.check]]
id = "form"
text = "Splice or dead end"
by = ["tower"]
says = "one_of"
answers = ["splice", "dead end", "neither"]
passes = "splice"

[[step.check]]
id = "where"
text = "Structure, circuit and phase read"
by = ["tower"]
says = "identity"

[[step.check]]
id = "tally"
text = "Tools out and back"
by = ["tower"]
says = "tally"
of = "tools and grounds"

[[step.check]]
id = "order"
text = "Line order is in effect at both terminals"
by = ["tower"]
says = "order_in_effect"

[[step.check]]
id = "heads"
text = "Everyone is named and in the clear"
by = ["tower"]
says = "heads"

"#;

async fn until_sheet(browser: &Browser) {
    browser
        .until("a sheet", "return !!document.querySelector('.sheet.on')")
        .await;
}

async fn back(browser: &Browser) {
    browser
        .run("document.querySelector('.sheet.on .back').click()")
        .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_sheet_on_which_something_is_given() {
    let at = PLAN.find("[[step]]\nid = \"measure\"").unwrap();
    let text = format!("{}{KINDS}{}", &PLAN[..at], &PLAN[at..]);
    let plan = read(&text);
    let crew = Crew::on(plan).await;
    crew.all_show(CallWord::Proceed).await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;
    let on_sheet = json!({ "observer": false, "sheet": true, "long": true });
    let mut wrong = Vec::new();
    let other = "main > .row [data-control=other]";
    browser.tap(other).await;
    until_sheet(&browser).await;
    wrong.extend(glance(&browser, "odd-choose", &on_sheet).await);
    back(&browser).await;
    for words in [
        "Splice or dead end",
        "Structure, circuit and phase read",
        "Tools out and back",
        "Line order is in effect",
        "Everyone is named",
    ] {
        // Whatever comes first is chosen another time.
        let first = format!(
            "return document.querySelector('main > .asked .tx').textContent.includes('{words}')"
        );
        if browser.run(&first).await != json!(true) {
            browser.tap(other).await;
            until_sheet(&browser).await;
            let choose = format!(
                "[...document.querySelectorAll('.sheet.on .r')].find((one) => one.textContent.includes('{words}')).click()"
            );
            browser.run(&choose).await;
            browser.until(words, &first).await;
        }
        browser.tap("main > .asked [data-control=open]").await;
        until_sheet(&browser).await;
        let name = words.split(' ').next().unwrap().to_lowercase();
        wrong.extend(glance(&browser, &format!("odd-{name}"), &on_sheet).await);
        back(&browser).await;
    }
    none(&wrong);
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_that_are_seldom_seen() {
    let crew = Crew::at_work().await;
    let mut wrong = Vec::new();
    let plain = json!({ "observer": false });
    let on_sheet = json!({ "observer": false, "sheet": true });
    let office = Browser::start().await;
    office.enter(&crew.link(SUPERVISOR).await).await;
    office.tap("[data-control=role]").await;
    until_sheet(&office).await;
    wrong.extend(glance(&office, "odd-role", &on_sheet).await);
    back(&office).await;

    let tower = Browser::start().await;
    tower.enter(&crew.link(TOWER_1).await).await;
    tower.shows("proceed").await;
    let item = "import('/assets/way.js').then((way) => way.go('/items/hoist-2'))";
    tower.run(item).await;
    tower
        .until(
            "the item",
            "return document.querySelector('.under')?.dataset.name === 'items/hoist-2'",
        )
        .await;
    let beside = json!({ "observer": false, "sheet": true, "long": true });
    wrong.extend(glance(&tower, "odd-item", &beside).await);
    tower.run("history.back()").await;
    tower
        .until("the own page", "return !document.querySelector('.under') && document.documentElement.matches('.live-ok')")
        .await;

    crew.stop(OBSERVER, "Person under the load").await;
    crew.heard_and_asked("Nobody is under the load").await;
    let decline = "main > .row [data-control=decline]";
    let there = format!("return !!document.querySelector('{decline}')");
    tower.until("asked to agree", &there).await;
    tower.tap(decline).await;
    until_sheet(&tower).await;
    wrong.extend(glance(&tower, "odd-decline", &on_sheet).await);
    back(&tower).await;
    for place in [TOWER_1, TOWER_2, OBSERVER] {
        crew.agrees(place).await;
    }
    crew.all_show(CallWord::Proceed).await;
    tower.shows("proceed").await;
    // Two presses: the second place, as it waits.
    tower
        .run("document.documentElement.dataset.presses = 'two'")
        .await;
    tower.tap("main > .asked [data-control=confirm]").await;
    tower
        .until(
            "the second place",
            "return document.querySelector('.second').checkVisibility()",
        )
        .await;
    tower.picture("odd-second").await;
    wrong.extend(crate::axe::look(&tower).await);

    // A stop that does not leave the screen.
    let crew = crew.without(TOWER_1).await;
    tower.tap("[data-control=stop]").await;
    tower
        .until(
            "it has not left",
            "return document.documentElement.dataset.pressed === 'unsent'",
        )
        .await;
    tokio::time::sleep(Duration::from_millis(1_200)).await;
    let unsent = json!({ "observer": false, "stale": true });
    wrong.extend(glance(&tower, "odd-unsent", &unsent).await);
    wrong.extend(glance(&office, "odd-board", &plain).await);
    // The supervisor's own stop: on a wide screen its reasons stand where the board's controls are.
    office.tap("[data-control=stop]").await;
    let whys = "return document.querySelector('.whys')?.checkVisibility({ visibilityProperty: true }) ?? false";
    office.until("its reasons", whys).await;
    office.size(1280, 800).await;
    office.until("its reasons, wide", whys).await;
    wrong.extend(glance(&office, "odd-board-own-stop", &plain).await);
    none(&wrong);
    office.end().await;
    tower.end().await;
    crew.end().await;
}

/// The place of the one worker on the ground, who alone may measure the gap.
const GROUND: usize = 4;
const ONE_READER: [(&str, &[&str]); 5] = [
    ("Alder", &["supervisor"]),
    ("Birch", &["tower"]),
    ("Cedar", &["tower"]),
    ("Dogwood", &["observer"]),
    ("Elm", &["ground"]),
];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_number_that_did_not_pass_is_given_anew_with_what_was_done_by_who_alone_may_read_it() {
    let by_tower = "text = \"Gap to the jumper\"\nby = [\"tower\"]";
    let text = PLAN.replacen(by_tower, &by_tower.replace("tower", "ground"), 1);
    assert_ne!(text, PLAN);
    let crew = Crew::joined(read(&text), &ONE_READER).await;
    crew.begins_work().await;
    for (place, check) in [(TOWER_1, "carry"), (TOWER_2, "carry"), (OBSERVER, "seen")] {
        crew.confirms(place, "load", check, Said::Yes).await;
    }
    let ground = Browser::start().await;
    ground.enter(&crew.link(GROUND).await).await;
    let open = "return !!document.querySelector('.number.on')";
    let gives = async |digits: &[&str]| {
        for digit in digits {
            ground
                .tap(&format!(".number.on [data-key='{digit}']"))
                .await;
        }
        let confirm = ".number.on [data-control=confirm]";
        ground.press(confirm, Duration::from_millis(1_500), 0).await;
    };
    ground.until("the number", open).await;
    assert_eq!(
        ground
            .run("return document.querySelectorAll('.number.on [name=since]').length")
            .await,
        json!(0)
    );
    gives(&["0", ".", "1"]).await;
    crew.all_show(CallWord::Hold).await;
    ground.shows("hold").await;
    ground
        .until(
            "what was said is asked again",
            "return !!document.querySelector('main > .asked [data-control=open]')",
        )
        .await;
    ground.tap("main > .asked [data-control=open]").await;
    ground.until("the number again", open).await;
    // It was recorded, so that nothing is left of it to clear.
    gives(&["1", ".", "8", "8"]).await;
    let asked = "return document.querySelector('main > .asked .tx')?.textContent.includes('Gap to the jumper: 1.88 m')";
    ground.until("what was done is asked", asked).await;
    ground.tap("main > .asked [data-control=open]").await;
    until_sheet(&ground).await;
    let on_sheet = json!({ "observer": false, "sheet": true, "long": true });
    none(&glance(&ground, "odd-reread", &on_sheet).await);
    // Let go of too early, or with nothing said: the answer lies over the field, and goes when it is touched.
    let send = ".sheet.on [data-control=confirm]";
    ground.press(send, Duration::from_millis(400), 0).await;
    let over = "return !!document.querySelector('.note.on')";
    ground.until("the answer to the press", over).await;
    ground.tap(".note.on").await;
    assert_eq!(ground.run(over).await, json!(false));
    ground.tap(".sheet.on [data-control=fill]").await;
    ground.press(send, Duration::from_millis(1_500), 0).await;
    crew.shows(OBSERVER, "the number", |status| {
        status.steps[1].checks[0].done
    })
    .await;
    ground.end().await;
    crew.end().await;
}
