//! Whole: six people do a whole job by their pages alone, with a stop in it, up to the closed log.
//! May use: crew, browser.   Never: an act that does not come from a page, but founding and joining.

use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, PLAN, SIX, SUPERVISOR, read};
use crate::hand::LONG;
use fantoccini::Locator;
use fantoccini::error::CmdError;
use fantoccini::wd::WindowHandle;
use gantline_protocol::plan;
use gantline_protocol::state::{CallWord, JobState, StepState};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::time::{Duration, Instant};

const SHORT: Duration = Duration::from_millis(60);
/// Far longer than the job takes, so that only one that never ends fails.
const WITHIN: Duration = Duration::from_secs(400);
const CLOSES: &str = r#"
[[step.check]]
id = "heads"
text = "Everyone is in the clear"
by = ["supervisor"]
says = "heads"
"#;

/// The one thing asked: how it is given, and in which words.
const ASKED: &str = "
    const one = document.querySelector('main > .asked .act[data-control]');
    return one && document.documentElement.matches('.live-ok') ? [one.dataset.control, one.querySelector('.tx').textContent] : null";
/// What sounds is counted by name.
const COUNT_SOUNDS: &str = "
    window.sounded = {};
    new MutationObserver((all) => {
      for (const _ of all) {
        const name = document.documentElement.dataset.sounded;
        window.sounded[name] = (window.sounded[name] ?? 0) + 1;
      }
    }).observe(document.documentElement, { attributes: true, attributeFilter: ['data-sounded'] })";

/// Six pages, each in a window of its own.
struct Pages {
    browser: Browser,
    windows: Vec<WindowHandle>,
    /// How often each thing was tried, by place and words: of several answers the next one is given.
    tried: BTreeMap<(usize, String), usize>,
    gestures: usize,
}

impl Pages {
    async fn open(crew: &Crew) -> Self {
        let browser = Browser::start().await;
        let mut windows = vec![browser.client.window().await.unwrap()];
        for _ in 1..SIX.len() {
            let window = browser.client.new_window(true).await.unwrap();
            windows.push(window.handle);
        }
        let pages = Self {
            browser,
            windows,
            tried: BTreeMap::new(),
            gestures: 0,
        };
        for place in 0..SIX.len() {
            pages.turn_to(place).await;
            pages.browser.size(412, 915).await;
            // Each has a screen of its own, on which nothing lies over it.
            let alone = "Element.prototype.requestFullscreen = async () => {};
                Object.defineProperty(Document.prototype, 'hidden', { get: () => false });
                addEventListener('visibilitychange', (event) => event.stopImmediatePropagation(), true);";
            let focus = json!({ "enabled": true });
            pages
                .browser
                .own("Emulation.setFocusEmulationEnabled", focus)
                .await;
            pages
                .browser
                .own(
                    "Page.addScriptToEvaluateOnNewDocument",
                    json!({ "source": alone }),
                )
                .await;
            pages.browser.enter(&crew.link(place).await).await;
            pages.browser.run(COUNT_SOUNDS).await;
        }
        pages
    }

    async fn turn_to(&self, place: usize) {
        let window = self.windows[place].clone();
        self.browser.client.switch_to_window(window).await.unwrap();
    }

    /// Whatever is asked may have passed before the finger is on it: someone else was first, or a stop came.
    async fn tap(&mut self, selector: &str) -> bool {
        self.press(selector, SHORT).await
    }

    async fn keep_pressed(&mut self, selector: &str) -> bool {
        self.press(selector, LONG).await
    }

    async fn press(&mut self, selector: &str, held: Duration) -> bool {
        let pressed = self.browser.press_if_there(selector, held, 0).await;
        self.gestures += usize::from(pressed);
        pressed
    }

    /// Does what the page asks of its holder, if anything; whether it did.
    async fn does(&mut self, place: usize) -> bool {
        self.turn_to(place).await;
        let asked = self.browser.run(ASKED).await;
        let (Some(control), Some(words)) = (asked[0].as_str(), asked[1].as_str()) else {
            return false;
        };
        let tried = self.tried.entry((place, words.to_owned())).or_default();
        let before = *tried;
        *tried += 1;
        match control {
            "confirm" => {
                self.keep_pressed("main > .asked [data-control=confirm]")
                    .await;
            }
            "open" => {
                // A number that is asked alone is open already.
                let open = "return !!document.documentElement.dataset.sheet";
                if self.browser.run(open).await != json!(true) {
                    self.tap("main > .asked [data-control=open]").await;
                }
                self.gives(before).await;
            }
            // What it is there for is tested elsewhere.
            _ => return false,
        }
        self.settles(words).await;
        true
    }

    /// What is wanted on the sheet that is open: a number, words, a cause, one of several answers.
    async fn gives(&mut self, before: usize) {
        let sheet = "return ((one) => one && [one.matches('.number'), one.querySelectorAll('input').length,
            one.querySelectorAll('.grid').length, one.querySelectorAll('[data-control=confirm]').length]
            )(document.querySelector('.sheet.on'))";
        let found = self.browser.run(sheet).await;
        let count = |at: usize| found[at].as_u64().unwrap_or(0);
        // What was typed before a press that was let go of is still there.
        if found[0] == json!(true) {
            let typed = "return !!document.querySelector('.sheet.on.typed')";
            while self.browser.run(typed).await == json!(true) {
                self.tap(".sheet.on [data-key=clear]").await;
            }
            for key in ["1", ".", "8", "8"] {
                if !self.tap(&format!(".sheet.on [data-key='{key}']")).await {
                    return;
                }
            }
        } else if count(2) == 0 && count(1) > 0 && self.writes("seated").await.is_err() {
            return;
        }
        let answers = usize::try_from(count(3)).unwrap().max(1);
        let nth = before % answers;
        let send = if count(2) > 0 {
            ".sheet.on .grid [data-control=confirm]".to_owned()
        } else if answers > 1 {
            format!(
                ".sheet.on .rows [data-control=confirm]:nth-of-type({})",
                nth + 1
            )
        } else {
            ".sheet.on [data-control=confirm]".to_owned()
        };
        self.keep_pressed(&send).await;
    }

    /// Writes into the field of the sheet that is open; an error if that went meanwhile.
    async fn writes(&self, words: &str) -> Result<(), CmdError> {
        let field = Locator::Css(".sheet.on input");
        let field = self.browser.client.find(field).await?;
        field.clear().await?;
        field.send_keys(words).await
    }

    /// Waits until the page has an answer, or something else is asked by now; what was not taken is tried again later.
    async fn settles(&self, words: &str) {
        let answered = format!(
            "const one = document.querySelector('main > .asked .act[data-control] .tx');
             return document.querySelector('.note').textContent !== '' || one?.textContent !== {}",
            json!(words)
        );
        let end = Instant::now() + Duration::from_secs(5);
        while self.browser.run(&answered).await != json!(true) && Instant::now() < end {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        self.browser
            .run("document.querySelector('.sheet.on .back')?.click()")
            .await;
    }

    /// Everyone does what is asked of them until something is so.
    async fn work_until(&mut self, crew: &Crew, what: &str, is_so: impl AsyncFn(&Crew) -> bool) {
        let end = Instant::now() + WITHIN;
        // The supervisor last: who answers for the job sees first that the load has come down.
        let turns: Vec<usize> = (1..SIX.len()).chain([SUPERVISOR]).collect();
        while !is_so(crew).await {
            for place in &turns {
                if *place != SUPERVISOR || load_is_down_or_not_due(crew).await {
                    self.does(*place).await;
                }
            }
            if Instant::now() > end {
                self.browser.picture("whole-waited-in-vain").await;
                let status = crew.status(SUPERVISOR).await;
                panic!(
                    "waited in vain: {what}\n{:?}\n{:?}",
                    status.call, status.asked
                );
            }
        }
    }
}

/// In the last step the supervisor waits until the old string is on the ground.
async fn load_is_down_or_not_due(crew: &Crew) -> bool {
    let status = crew.status(SUPERVISOR).await;
    let last = status.steps.last().unwrap();
    let down = status.items[0].at == plan::Place::Ground
        && status
            .handoffs
            .iter()
            .all(|handoff| handoff.item != status.items[0].id);
    last.state != StepState::Open || down || status.call.word == CallWord::StopWork
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn six_people_do_a_whole_job_by_their_pages_alone() {
    // Nothing in this job uses the hoist: it stays on the truck, where everything counted has to be at the end.
    let plan = PLAN.replace("at = \"ground\"\nrated_kn", "at = \"truck\"\nrated_kn");
    assert_ne!(plan, PLAN);
    let text = format!("{plan}{CLOSES}");
    let plan = read(&text);
    let crew = Crew::joined(plan, &SIX).await;
    let began = Instant::now();
    let mut pages = Pages::open(&crew).await;
    pages
        .work_until(&crew, "the first step is done", async |crew| {
            crew.status(SUPERVISOR).await.steps[0].state == StepState::Done
        })
        .await;

    // A stop in between, released by everybody's page.
    pages.turn_to(OBSERVER).await;
    assert!(pages.tap("[data-control=stop]").await);
    crew.all_show(CallWord::StopWork).await;
    pages
        .work_until(&crew, "the stop is released", async |crew| {
            let status = crew.status(SUPERVISOR).await;
            status.stops.is_empty() && status.call.word != CallWord::StopWork
        })
        .await;
    pages
        .work_until(&crew, "the job is closed", async |crew| {
            crew.status(SUPERVISOR).await.job_state == JobState::Closed
        })
        .await;

    for (place, (name, ..)) in SIX.iter().enumerate() {
        crew.shows(place, "the job is closed", |status| {
            status.job_state == JobState::Closed
        })
        .await;
        pages.turn_to(place).await;
        pages
            .browser
            .picture(&format!("whole-closed-{place}"))
            .await;
        let sounded: Value = pages.browser.run("return window.sounded").await;
        println!("{name}: sounded {sounded}");
    }
    let closed = crew.status(SUPERVISOR).await;
    for place in 0..SIX.len() {
        crew.shows(place, "equal logs", |status| status.digest == closed.digest)
            .await;
    }
    println!(
        "a job of {} entries by {} gestures on six pages in {:.0} s",
        closed.entries,
        pages.gestures,
        began.elapsed().as_secs_f64()
    );
    pages.browser.end().await;
    crew.end().await;
}
