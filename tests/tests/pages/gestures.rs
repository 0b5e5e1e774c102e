//! Gestures: how many presses does each act take from the own page, with nothing scrolled?
//! May use: crew, browser.   Never: a press on what is not on the screen.

use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, SUPERVISOR, TOWER_1, TOWER_2};
use gantline_protocol::engine::Command;
use gantline_protocol::log::entry::Said;
use gantline_protocol::plan::Place;
use gantline_protocol::state::{AskedOf, CallWord, Status, StepState};
use serde_json::json;
use std::time::Duration;

/// Longer than a confirm is kept pressed.
const LONG: Duration = Duration::from_millis(1_350);
const SHORT: Duration = Duration::from_millis(60);

/// One device's page, and the presses on it since it was last looked at.
struct Fingers {
    browser: Browser,
    presses: usize,
}

impl Fingers {
    async fn at(crew: &Crew, place: usize) -> Self {
        let browser = Browser::start().await;
        browser.enter(&crew.link(place).await).await;
        Self {
            browser,
            presses: 0,
        }
    }

    /// A press on what is whole on the screen, with nothing over it, or none.
    async fn press(&mut self, selector: &str, held: Duration) {
        let there = format!(
            "const one = document.querySelector(\"{selector}\");
             if (!one?.checkVisibility({{ visibilityProperty: true }})) return 'not there';
             const {{ left, top, right, bottom }} = one.getBoundingClientRect();
             const on = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
             return left >= 0 && top >= 0 && right <= innerWidth && bottom <= innerHeight && one.contains(on)"
        );
        self.browser.until(selector, &there).await;
        self.browser.press(selector, held, 0).await;
        self.presses += 1;
    }

    async fn tap(&mut self, selector: &str) {
        self.press(selector, SHORT).await;
    }

    async fn keep(&mut self, selector: &str) {
        self.press(selector, LONG).await;
    }

    /// The presses so far; counts anew.
    fn took(&mut self) -> usize {
        std::mem::take(&mut self.presses)
    }
}

const CONFIRM: &str = "main > .asked [data-control=confirm]";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_confirm_a_number_and_a_stop_with_its_reason() {
    let crew = Crew::at_work().await;
    let mut tower = Fingers::at(&crew, TOWER_1).await;
    let carried = |status: &Status| status.steps[0].checks[0].given.len();
    tower.keep(CONFIRM).await;
    crew.shows(OBSERVER, "confirmed", |status| carried(status) == 1)
        .await;
    assert_eq!(tower.took(), 1, "confirm");
    crew.confirms(TOWER_2, "load", "carry", Said::Yes).await;
    crew.confirms(OBSERVER, "load", "seen", Said::Yes).await;

    let digits = ["1", ".", "8", "8"];
    for digit in digits {
        tower.tap(&format!(".number.on [data-key='{digit}']")).await;
    }
    let spoken =
        "return document.querySelector('.number.on .spoken').textContent.startsWith('1.88 m')";
    tower.browser.until("read back", spoken).await;
    tower.keep(".number.on [data-control=confirm]").await;
    crew.shows(OBSERVER, "the number", |status| {
        status.steps[1].checks[0].done
    })
    .await;
    assert_eq!(tower.took(), digits.len() + 1, "number");

    tower.tap("[data-control=stop]").await;
    crew.all_show(CallWord::StopWork).await;
    assert_eq!(tower.took(), 1, "stop");
    tower.tap(".whys button").await;
    crew.shows(OBSERVER, "why", |status| {
        status.stops[0].why == "Person under the load"
    })
    .await;
    assert_eq!(tower.took(), 1, "its reason");
    tower.browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn withdraw_is_two_and_so_is_a_release() {
    let crew = Crew::at_work().await;
    let mut tower = Fingers::at(&crew, TOWER_1).await;
    crew.confirms(TOWER_1, "load", "carry", Said::Yes).await;
    tower.tap("main > .row [data-control=withdraw]").await;
    tower.tap(".sheet.on .r").await;
    crew.all_show(CallWord::StopWork).await;
    assert_eq!(tower.took(), 2, "withdraw");

    let mut office = Fingers::at(&crew, SUPERVISOR).await;
    for place in [SUPERVISOR, TOWER_2, OBSERVER] {
        crew.must(place, Command::Heard { stop: None }).await;
    }
    office.tap("main > .asked [data-control=open]").await;
    office.keep(".sheet.on .grid [data-control=confirm]").await;
    crew.shows(OBSERVER, "asked", |status| {
        status.stops[0].cause == "Nobody is under the load"
    })
    .await;
    assert_eq!(office.took(), 2, "release");
    tower.keep(CONFIRM).await;
    for place in [TOWER_2, OBSERVER] {
        crew.agrees(place).await;
    }
    crew.all_show(CallWord::Proceed).await;
    assert_eq!(tower.took(), 1, "agree");
    tower.browser.end().await;
    office.browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_load_is_offered_and_taken_by_one_press_each() {
    let crew = Crew::at_work().await;
    crew.comes_to_the_load().await;
    let (mut aloft, mut ground) = (
        Fingers::at(&crew, TOWER_1).await,
        Fingers::at(&crew, SUPERVISOR).await,
    );
    // Nothing about the load is asked before it was handed over.
    let asks = |status: &Status| {
        let about =
            |one: &AskedOf| matches!(one, AskedOf::Check { step, .. } if step.as_str() == "leave");
        status.asked.iter().any(about)
    };
    for place in [SUPERVISOR, TOWER_1, TOWER_2, OBSERVER] {
        assert!(
            !asks(&*crew.status(place).await),
            "asked too early: {place}"
        );
    }
    aloft.keep(CONFIRM).await;
    crew.shows(OBSERVER, "offered", |status| status.handoffs.len() == 1)
        .await;
    assert_eq!(aloft.took(), 1, "offer");
    ground.keep(CONFIRM).await;
    assert_eq!(ground.took(), 1, "ready");
    let takes = "return document.querySelector('main > .asked .tx')?.textContent.includes('I take old-string-ground') ?? false";
    aloft.browser.until("asked to take", takes).await;
    aloft.keep(CONFIRM).await;
    crew.shows(OBSERVER, "taken", |status| status.handoffs[0].taken)
        .await;
    assert_eq!(aloft.took(), 1, "take");
    aloft.keep(CONFIRM).await;
    crew.shows(OBSERVER, "it stands", |status| {
        status.items[0].at == Place::Ground
    })
    .await;
    assert_eq!(aloft.took(), 1, "done");
    crew.shows(SUPERVISOR, "asked by now", asks).await;
    aloft.browser.end().await;
    ground.browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_number_put_away_stays_away_and_one_half_typed_outlasts_a_hold_but_no_stop() {
    let crew = Crew::at_work().await;
    for (place, check) in [(TOWER_1, "carry"), (TOWER_2, "carry"), (OBSERVER, "seen")] {
        crew.confirms(place, "load", check, Said::Yes).await;
    }
    let mut tower = Fingers::at(&crew, TOWER_1).await;
    tower.tap(".number.on [data-key='1']").await;
    crew.deaf(TOWER_2, true).await;
    tower.browser.shows("hold").await;
    let closed = "return !document.documentElement.dataset.sheet";
    tower
        .browser
        .until("what to keep secure is in sight", closed)
        .await;
    crew.deaf(TOWER_2, false).await;
    let typed = |digits: &str| {
        format!("return document.querySelector('.number.on output')?.textContent === '{digits}'")
    };
    tower.browser.until("what was typed", &typed("1")).await;
    crew.stop(OBSERVER, "Person under the load").await;
    tower.browser.shows("stop").await;
    crew.heard_and_asked("Nobody is under the load").await;
    for place in [TOWER_1, TOWER_2, OBSERVER] {
        crew.agrees(place).await;
    }
    tower.browser.until("nothing typed", &typed("")).await;
    tower.tap(".number.on [data-key=clear]").await;
    // Two changes of what is shown later it is still away.
    let clock = tower
        .browser
        .run("return document.querySelector('.strip').textContent")
        .await;
    let later = format!("return document.querySelector('.strip').textContent !== {clock}");
    tower.browser.until("a second passes", &later).await;
    assert_eq!(tower.browser.run(closed).await, json!(true));
    // Where it is typed it can be refused.
    tower.tap("main > .asked [data-control=open]").await;
    tower.took();
    tower.tap(".number.on [data-control=cannot]").await;
    tower.tap(".sheet.on .r").await;
    crew.shows(OBSERVER, "cannot confirm", |status| {
        status.steps[1].state == StepState::Conflict
    })
    .await;
    assert_eq!(tower.took(), 2, "cannot confirm");
    // The board is not covered by itself.
    let office = Fingers::at(&crew, SUPERVISOR).await;
    assert_eq!(
        office
            .browser
            .run("return document.querySelector('main').dataset.opens ?? null")
            .await,
        json!(null)
    );
    tower.browser.end().await;
    office.browser.end().await;
    crew.end().await;
}
