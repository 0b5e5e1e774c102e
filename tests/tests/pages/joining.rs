//! Joining: a device that asks to join shows its words on a page of its own, is told yes or no there, and goes on to its
//! node's page; nobody else comes in.
//! May use: crew, browser, hand, the built program, its page alone where no press comes in time.   Never: the program's own code for what it shows.

use crate::axe;
use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, SUPERVISOR, TOWER_1, until};
use crate::hand::Hand;
use crate::looks::{checked, none};
use gantline::device::AskFault;
use gantline::pages::Waiting;
use gantline::words::{ALL, Language};
use gantline_protocol::join::BadJoin;
use gantline_protocol::state::CallWord;
use gantline_tests::support::program::{Running, command, gantline};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::process::{ChildStdout, Stdio};

/// The program that asks, and what it says.
struct Asking {
    program: Running,
    lines: std::io::Lines<BufReader<ChildStdout>>,
    _folder: tempfile::TempDir,
}

impl Asking {
    fn start(at: SocketAddr) -> Self {
        Self::start_in(at, ALL[0])
    }

    /// On a device that speaks this language.
    fn start_in(at: SocketAddr, language: &Language) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let device = folder.path().join("device").display().to_string();
        let made = gantline(&["--folder", &device, "device", "new"]);
        assert_eq!(made.code, Some(0), "{made:?}");
        std::fs::write(folder.path().join("device/language"), language.code).unwrap();
        let at = at.to_string();
        let mut child = command(&[
            "--json", "--folder", &device, "job", "join", &at, "--person", "Elder", "--page",
        ])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        Self {
            program: Running(child),
            lines,
            _folder: folder,
        }
    }

    /// The next line that it says.
    fn says(&mut self, name: &str) -> String {
        let line = self.lines.next().unwrap().unwrap();
        let found: Value = serde_json::from_str(&line).unwrap();
        found[name]
            .as_str()
            .unwrap_or_else(|| panic!("{name}: {line}"))
            .to_owned()
    }
}

async fn stage(browser: &Browser, name: &str) {
    let script = format!("return document.documentElement.dataset.stage === '{name}'");
    browser.until(name, &script).await;
}

/// What the checker of pages and the sizes say.
async fn looks(browser: &Browser, name: &str, language: &Language) {
    for (width, height) in [(412, 915), (412, 790), (800, 1280), (1280, 800)] {
        browser.size(width, height).await;
        browser.picture(&format!("{name}-{width}x{height}")).await;
        let wrong = axe::look(browser).await;
        assert!(wrong.is_empty(), "{name}: {wrong:?}");
        let sizes = "
            const stop = document.querySelector('[data-control=stop]');
            const { left, right, top, bottom, width, height } = stop.getBoundingClientRect();
            const mm = parseFloat(getComputedStyle(document.documentElement).getPropertyValue('--mm'));
            const found = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
            const cut = [...document.querySelectorAll('main *')].filter((one) => one.scrollWidth > one.clientWidth + 1 && getComputedStyle(one).display !== 'inline' && one.clientWidth > 0);
            return [Math.min(width, height) >= 20 * mm - 0.6, left >= 0 && right <= innerWidth && bottom <= innerHeight, stop.contains(found), cut.map((one) => one.className)]";
        assert_eq!(
            browser.run(sizes).await,
            json!([true, true, true, []]),
            "{name} {width}x{height}"
        );
        // Without a call there is no band to be looked at.
        if browser
            .run("return !!document.documentElement.dataset.call")
            .await
            == json!(true)
        {
            for change in ["", "zoomed"] {
                let plain = json!({ "observer": false });
                none(&checked(browser, language, &plain, change, height).await);
            }
        }
    }
    browser.size(412, 915).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_words_are_on_both_pages_and_the_page_that_waits_becomes_the_nodes() {
    let crew = Crew::at_work().await;
    let office = Hand::at(&crew, SUPERVISOR).await;
    let mut asking = Asking::start(crew.address(SUPERVISOR));
    let link = asking.says("page");
    let words = asking.says("words");
    let browser = Browser::start().await;
    browser.open(&link).await;
    stage(&browser, "asked").await;
    let shown = "return [...document.querySelectorAll('.words li')].map((one) => one.textContent).join(' ')";
    assert_eq!(browser.run(shown).await, json!(words));
    looks(&browser, "waiting-asked", ALL[0]).await;
    // Nothing from anybody but this machine.
    let loaded = "return performance.getEntriesByType('resource').every((one) => one.name.startsWith(location.origin))";
    assert_eq!(browser.run(loaded).await, json!(true));

    // The supervisor's page shows the same, and admits.
    office.opens("act/crew").await;
    let same = format!("return document.querySelector('.under').textContent.includes('{words}')");
    office.browser.until("the same words", &same).await;
    let named = "return document.querySelector(\"form[data-name^='admit-']\").dataset.name";
    let form = office.browser.run(named).await;
    office
        .does(form.as_str().unwrap(), &[("role:ground", "1")])
        .await;
    asking.says("job");
    browser
        .until(
            "the start page of the own node",
            "return location.pathname === '/start' && document.documentElement.matches('.live-ok') && document.documentElement.dataset.sheet === 'start'",
        )
        .await;
    browser.tap("[data-control=start]").await;
    for (sheet, control) in [("heard", "heard"), ("fit", "fits")] {
        let on = format!("return document.documentElement.dataset.sheet === '{sheet}'");
        browser.until(sheet, &on).await;
        browser.tap(&format!("[data-control={control}]")).await;
    }
    let place = "return document.querySelector('main > .asked .tx')?.textContent.includes('I take my place') ?? false";
    browser.until("asked to take the place", place).await;
    browser.picture("waiting-admitted").await;
    crew.shows(OBSERVER, "five people", |status| status.crew.len() == 5)
        .await;
    browser.end().await;
    office.end().await;
    drop(asking);
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_no_is_said_on_the_page_that_waits_and_a_stop_can_be_called_from_it() {
    let crew = Crew::at_work().await;
    let office = Hand::at(&crew, SUPERVISOR).await;
    let mut asking = Asking::start(crew.address(SUPERVISOR));
    let link = asking.says("page");
    asking.says("words");
    let browser = Browser::start().await;
    browser.open(&link).await;
    stage(&browser, "asked").await;
    browser.tap("[data-control=stop]").await;
    crew.all_show(CallWord::StopWork).await;
    says(&browser, ALL[0].labels.waiting_called).await;
    assert_eq!(crew.status(OBSERVER).await.stops.len(), 1);

    office.opens("act/crew").await;
    let named =
        "return document.querySelector(\"form[data-name^='refuse-join-']\")?.dataset.name ?? ''";
    let form = until("they ask", async || {
        let name = office.browser.run(named).await;
        name.as_str()
            .filter(|name| !name.is_empty())
            .map(ToOwned::to_owned)
    })
    .await;
    office.fills(&form, &[("text", "The words differ")]).await;
    office.presses(&form).await;
    stage(&browser, "refused").await;
    let told = "return document.querySelector('.stage').textContent";
    assert_eq!(
        browser.run(told).await,
        json!("You were told no: The words differ. Speak to the supervisor, then ask again.")
    );
    browser.picture("waiting-refused").await;
    let wrong = axe::look(&browser).await;
    assert!(wrong.is_empty(), "{wrong:?}");
    let ended = tokio::task::spawn_blocking(move || asking.program.0.wait().unwrap());
    assert_eq!(ended.await.unwrap().code(), Some(1));
    browser.end().await;
    office.end().await;
    crew.end().await;
}

/// The band gives this reason.
async fn says(browser: &Browser, reason: &str) {
    let said = format!(
        "return document.querySelector('.band [data-reason]')?.textContent === {}",
        json!(reason)
    );
    browser.until(reason, &said).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_from_the_page_that_waits_is_shown_at_once_and_tried_until_it_is_there() {
    for language in ALL {
        let l = language.labels;
        let crew = Crew::at_work().await;
        let at = crew.address(SUPERVISOR);
        let mut asking = Asking::start_in(at, language);
        let link = asking.says("page");
        let first = asking.says("words");
        let browser = Browser::start().await;
        browser.open(&link).await;
        stage(&browser, "asked").await;
        let name = |state: &str| format!("waiting-{state}-{}", language.code);
        looks(&browser, &name("asked"), language).await;

        let mut crew = crew.without(SUPERVISOR).await;
        browser
            .run(
                "addEventListener('pointerup', () => { window.pressedAt = performance.now() }, true);
                 new MutationObserver(() => { window.shownAt ??= performance.now() })
                   .observe(document.documentElement, { attributeFilter: ['data-call'] })",
            )
            .await;
        browser.tap("[data-control=stop]").await;
        browser.shows("stop").await;
        let after = browser
            .run("return window.shownAt - window.pressedAt")
            .await;
        assert!(after.as_f64().is_some_and(|ms| ms < 100.0), "{after} ms");
        says(&browser, &format!("{} {}", l.pressed, l.pressed_unsent)).await;
        looks(&browser, &name("unsent"), language).await;

        crew.again(SUPERVISOR, at).await;
        crew.all_show(CallWord::StopWork).await;
        says(&browser, l.waiting_called).await;
        assert_eq!(crew.status(OBSERVER).await.stops.len(), 1);

        // Who was asked has begun anew and knows nothing of the asking: it is asked again, with other words.
        let second = asking.says("words");
        assert_ne!(first, second);
        let shown = format!(
            "return [...document.querySelectorAll('.words li')].map((one) => one.textContent).join(' ') === '{second}'"
        );
        browser.until("the new words", &shown).await;
        stage(&browser, "asked").await;
        until("they are shown there", async || {
            let joins = crew.device(SUPERVISOR).1.joins().await.unwrap();
            (joins.len() == 1 && joins[0].words == second).then_some(())
        })
        .await;
        looks(&browser, &name("called"), language).await;
        browser.end().await;
        drop(asking);
        crew.end().await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_scripts_the_page_that_waits_stops_and_says_what_came_of_it() {
    let crew = Crew::at_work().await;
    let at = crew.address(SUPERVISOR);
    let mut asking = Asking::start(at);
    let link = asking.says("page");
    let l = ALL[0].labels;
    let browser = Browser::start().await;
    browser.open(&link).await;
    stage(&browser, "asked").await;
    browser.without_scripts().await;
    let mut crew = crew.without(SUPERVISOR).await;
    browser.tap("[data-control=stop]").await;
    says(&browser, &format!("{} {}", l.pressed, l.pressed_unsent)).await;
    browser.picture("waiting-unsent-no-scripts").await;
    crew.again(SUPERVISOR, at).await;
    crew.all_show(CallWord::StopWork).await;
    says(&browser, l.waiting_called).await;
    browser.end().await;
    drop(asking);
    crew.end().await;
}

/// A stop pressed while the device is admitted: who was asked takes it for one of the crew by then, and hears no
/// stranger's stop of it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_that_did_not_get_there_is_handed_to_the_own_node() {
    let crew = Crew::at_work().await;
    let (home, node) = crew.device(TOWER_1);
    // Nobody answers there.
    let silent = std::net::UdpSocket::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
    let (at, person) = (silent.local_addr().unwrap(), "Birch".parse().unwrap());
    let waiting = Waiting::serve(home, at, person).await.unwrap();
    let l = ALL[0].labels;
    let browser = Browser::start().await;
    browser.open(&waiting.link().unwrap()).await;
    stage(&browser, "asking").await;
    waiting.hand_over(&node).await;
    assert!(crew.status(OBSERVER).await.stops.is_empty(), "none pressed");
    browser.tap("[data-control=stop]").await;
    says(&browser, &format!("{} {}", l.pressed, l.pressed_unsent)).await;
    waiting.hand_over(&node).await;
    crew.all_show(CallWord::StopWork).await;
    says(&browser, l.waiting_called).await;
    assert_eq!(crew.status(OBSERVER).await.stops.len(), 1);
    browser.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_went_wrong_with_the_asking_is_said_in_the_language_of_the_device() {
    let crew = Crew::at_work().await;
    let (home, _) = crew.device(TOWER_1);
    let browser = Browser::start().await;
    for language in ALL {
        let l = language.labels;
        std::fs::write(home.folder().join("language"), language.code).unwrap();
        for (fault, words) in [
            (AskFault::Form, l.waiting_versions),
            (AskFault::Join(BadJoin::NotUnderstood), l.waiting_versions),
            (AskFault::Join(BadJoin::NotCommitted), l.waiting_number),
            (AskFault::Join(BadJoin::OutOfTurn), l.waiting_failed),
        ] {
            let at = crew.address(SUPERVISOR);
            let person = "Birch".parse().unwrap();
            let waiting = Waiting::serve(home, at, person).await.unwrap();
            browser.open(&waiting.link().unwrap()).await;
            stage(&browser, "asking").await;
            waiting.ended(&fault);
            stage(&browser, "failed").await;
            let told = browser.run("return document.querySelector('.stage').textContent");
            assert_eq!(told.await, json!(words), "{fault:?}");
        }
        looks(
            &browser,
            &format!("waiting-failed-{}", language.code),
            language,
        )
        .await;
    }
    browser.end().await;
    crew.end().await;
}

/// The first line of the answer to a request as it is.
fn answered(at: &str, request: &str) -> String {
    let mut stream = TcpStream::connect(at).unwrap();
    let request = format!("{request}Connection: close\r\nContent-Length: 0\r\n\r\n");
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    answer.lines().next().unwrap_or_default().to_owned()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nobody_else_comes_to_the_page_that_waits() {
    let crew = Crew::at_work().await;
    let mut asking = Asking::start(crew.address(SUPERVISOR));
    let link = asking.says("page");
    asking.says("words");
    let at = link
        .trim_start_matches("http://")
        .split('/')
        .next()
        .unwrap()
        .to_owned();
    let path = link.split(&at).nth(1).unwrap().to_owned();
    let own = format!("Host: {at}\r\n");
    let found = tokio::task::spawn_blocking(move || {
        let origin = format!("Origin: http://{at}\r\n");
        let asked = |method: &str, path: &str, headers: &str| {
            answered(&at, &format!("{method} {path} HTTP/1.1\r\n{headers}"))
        };
        [
            // Another name for this machine, another site's page, no cookie, and no word of where it comes from.
            asked("GET", "/waiting", "Host: example.org\r\n"),
            asked(
                "GET",
                "/waiting",
                &format!("{own}Origin: http://example.org\r\n"),
            ),
            asked("GET", "/waiting", &own),
            asked("POST", "/waiting", &own),
            asked("POST", "/waiting", &format!("{own}{origin}")),
            asked("GET", "/enter/0", &own),
            asked("GET", &path, &own),
            asked("GET", &path, &own),
        ]
        .map(|line| line.split(' ').nth(1).unwrap_or_default().to_owned())
    })
    .await
    .unwrap();
    assert_eq!(
        found,
        ["421", "403", "401", "403", "401", "401", "200", "401"]
    );
    assert!(crew.status(OBSERVER).await.stops.is_empty());
    drop(asking);
    crew.end().await;
}
