//! Browser: a headless Chromium with a page in it, driven by WebDriver.
//! Owns: the driver's process, a new empty profile for each browser.   Gives: `Browser`.
//! May use: fantoccini.   Never: the network beyond this machine.

use fantoccini::actions::{InputSource, MouseActions, PointerAction};
use fantoccini::wd::{TimeoutConfiguration, WebDriverCompatibleCommand};
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Map, Value, json};
use std::os::unix::process::CommandExt;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// How long Chromium may take to start on a busy machine.
const START_WITHIN: Duration = Duration::from_secs(60);
/// How long anything on a page may take.
pub const WITHIN: Duration = Duration::from_secs(20);

/// A function for scripts that run on a page: the dots of a picture that the browser has taken.
pub const DECODED: &str = r"
    const decoded = async (png) => {
      const bytes = Uint8Array.from(atob(png), (c) => c.charCodeAt(0));
      const image = await createImageBitmap(new Blob([bytes], { type: 'image/png' }));
      const context = new OffscreenCanvas(image.width, image.height).getContext('2d');
      context.drawImage(image, 0, 0);
      return context.getImageData(0, 0, image.width, image.height);
    };";

/// A browser with one page.
pub struct Browser {
    pub client: Client,
    driver: Child,
    _profile: tempfile::TempDir,
}

/// A command of Chromium's own that WebDriver passes on.
#[derive(Debug)]
struct Own {
    path: &'static str,
    body: Value,
}

impl WebDriverCompatibleCommand for Own {
    fn endpoint(
        &self,
        base_url: &url::Url,
        session_id: Option<&str>,
    ) -> Result<url::Url, url::ParseError> {
        let session = session_id.unwrap_or_default();
        base_url.join(&format!("session/{session}/{}", self.path))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(self.body.to_string()))
    }
}

fn free_port() -> u16 {
    let listener = std::net::TcpListener::bind(("127.0.0.1", 0)).unwrap();
    listener.local_addr().unwrap().port()
}

impl Browser {
    /// Starts one.
    pub async fn start() -> Self {
        Self::with(json!({})).await
    }

    /// Starts one whose own events are kept.
    pub async fn watched() -> Self {
        Self::with(json!({ "performance": "ALL" })).await
    }

    async fn with(logged: Value) -> Self {
        let profile = tempfile::tempdir().unwrap();
        let port = free_port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .process_group(0)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is not there; tests/run installs it (chromium, chromium-driver)");
        let options = json!({
            "args": [
                "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                "--disable-background-networking", "--disable-component-update", "--disable-sync",
                "--disable-dev-shm-usage", "--hide-scrollbars",
                format!("--user-data-dir={}", profile.path().display()),
            ],
        });
        let capabilities: Map<String, Value> = [
            ("goog:chromeOptions".to_owned(), options),
            ("goog:loggingPrefs".to_owned(), logged),
        ]
        .into_iter()
        .collect();
        let end = Instant::now() + START_WITHIN;
        let client = loop {
            let mut builder = ClientBuilder::new(HttpConnector::new());
            builder.capabilities(capabilities.clone());
            match builder.connect(&format!("http://127.0.0.1:{port}")).await {
                Ok(client) => break client,
                Err(error) => {
                    assert!(Instant::now() < end, "no browser: {error}");
                    tokio::time::sleep(Duration::from_millis(100)).await;
                }
            }
        };
        let waits = TimeoutConfiguration::new(Some(WITHIN), Some(WITHIN), None);
        client.update_timeouts(waits).await.unwrap();
        let browser = Self {
            client,
            driver,
            _profile: profile,
        };
        browser.size(412, 915).await;
        browser
    }

    /// Opens a link.
    pub async fn open(&self, link: &str) {
        self.client.goto(link).await.unwrap();
    }

    /// Opens a device's page and waits until it lives.
    pub async fn enter(&self, link: &str) {
        self.enter_without_start(link).await;
        self.tap("[data-control=start]").await;
        self.until(
            "sound is on",
            "return document.documentElement.dataset.sound === 'on'",
        )
        .await;
        for (sheet, control) in [("heard", "heard"), ("fit", "fits")] {
            let shown = format!("return document.documentElement.dataset.sheet === '{sheet}'");
            self.until("the next sheet of the start", &shown).await;
            self.tap(&format!("[data-control={control}]")).await;
        }
        self.run("if (document.documentElement.dataset.sheet === 'role') document.querySelector('.sheet.on .r').click()")
            .await;
    }

    /// The same, before the start press.
    pub async fn enter_without_start(&self, link: &str) {
        self.open(link).await;
        self.until(
            "the page lives",
            "return document.documentElement.matches('.live-ok')",
        )
        .await;
    }

    /// The size of the screen, CSS px.
    pub async fn size(&self, width: u32, height: u32) {
        self.own(
            "Emulation.setDeviceMetricsOverride",
            json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false }),
        )
        .await;
    }

    /// A command of Chromium's own.
    pub async fn own(&self, name: &'static str, parameters: Value) -> Value {
        let command = Own {
            path: "goog/cdp/execute",
            body: json!({ "cmd": name, "params": parameters }),
        };
        self.client.issue_cmd(command).await.unwrap()
    }

    /// What the browser has told of one kind since the last time.
    pub async fn events(&self, name: &str) -> Vec<Value> {
        let command = Own {
            path: "se/log",
            body: json!({ "type": "performance" }),
        };
        let all = self.client.issue_cmd(command).await.unwrap();
        let lines = all.as_array().unwrap().iter();
        lines
            .filter_map(|line| serde_json::from_str::<Value>(line["message"].as_str()?).ok())
            .map(|line| line["message"].clone())
            .filter(|event| event["method"] == name)
            .map(|event| event["params"].clone())
            .collect()
    }

    /// The page again, and from now on without scripts.
    pub async fn without_scripts(&self) {
        let off = json!({ "value": true });
        self.own("Emulation.setScriptExecutionDisabled", off).await;
        self.client.refresh().await.unwrap();
    }

    /// Runs a script.
    pub async fn run(&self, script: &str) -> Value {
        self.client
            .execute(script, Vec::new())
            .await
            .unwrap_or_else(|error| panic!("{script}: {error}"))
    }

    /// Waits until a script answers true.
    pub async fn until(&self, what: &str, script: &str) {
        let end = Instant::now() + WITHIN;
        loop {
            let found = self.run(script).await;
            if found == Value::Bool(true) {
                return;
            }
            if Instant::now() >= end {
                let page = self.run("return document.documentElement.outerHTML").await;
                self.picture("waited-in-vain").await;
                panic!("waited in vain: {what}: {found}\n{page}");
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    /// Waits until the page shows a call.
    pub async fn shows(&self, call: &str) {
        let script = format!("return document.documentElement.dataset.call === '{call}'");
        self.until(&format!("the page shows {call}"), &script).await;
    }

    /// The middle of an element, once it has stood still for a moment: what comes from the node moves what is below it,
    /// and a person does not press on what moves. None if it is not there, or goes.
    async fn middle(&self, selector: &str) -> Option<(f64, f64)> {
        let end = Instant::now() + WITHIN;
        let mut before = None;
        loop {
            let found = self.client.find(Locator::Css(selector)).await;
            let element = match found {
                Ok(element) => element,
                Err(error) if error.is_no_such_element() => return None,
                Err(error) => panic!("{selector}: {error}"),
            };
            // Replaced between the two is as good as moved.
            let now = element.rectangle().await.ok();
            if let Some((x, y, width, height)) = now
                && (now == before || Instant::now() >= end)
            {
                return Some((x + width / 2.0, y + height / 2.0));
            }
            assert!(Instant::now() < end, "{selector} does not stay");
            before = now;
            tokio::time::sleep(Duration::from_millis(40)).await;
        }
    }

    /// A finger on the middle of an element for so long, moved aside by so many px at its end.
    pub async fn press(&self, selector: &str, held: Duration, aside: i64) {
        let pressed = self.press_if_there(selector, held, aside).await;
        assert!(pressed, "{selector} is not there to be pressed");
    }

    /// The same for what may pass before the finger is on it; whether it was there.
    pub async fn press_if_there(&self, selector: &str, held: Duration, aside: i64) -> bool {
        let Some((x, y)) = self.middle(selector).await else {
            return false;
        };
        let to = |x: f64, y: f64| PointerAction::MoveTo {
            duration: None,
            x,
            y,
        };
        let mut actions = MouseActions::new("finger".to_owned())
            .then(to(x, y))
            .then(PointerAction::Down { button: 0 });
        if aside != 0 {
            #[allow(clippy::cast_precision_loss, reason = "a few hundred pixels")]
            let aside = aside as f64;
            actions = actions.then(to(x + aside, y));
        }
        let actions = actions
            .then(PointerAction::Pause { duration: held })
            .then(PointerAction::Up { button: 0 });
        self.client.perform_actions(actions).await.unwrap();
        true
    }

    /// A short press.
    pub async fn tap(&self, selector: &str) {
        self.press(selector, Duration::from_millis(60), 0).await;
    }

    /// A picture of the page, in a folder for people to look at.
    pub async fn picture(&self, name: &str) {
        let folder = pictures();
        std::fs::create_dir_all(&folder).unwrap();
        let bytes = self.client.screenshot().await.unwrap();
        std::fs::write(folder.join(format!("{name}.png")), bytes).unwrap();
    }

    /// Ends it.
    pub async fn end(mut self) {
        let closed = self.client.clone().close().await;
        drop(closed);
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The whole group: a driver that is killed alone leaves its browser running, which slows every test after it.
        // Ended already is as good as ended now.
        let group = rustix::process::Pid::from_child(&self.driver);
        let _ = rustix::process::kill_process_group(group, rustix::process::Signal::KILL);
        let _ = self.driver.wait();
    }
}

/// The folder of the build.
pub fn build() -> PathBuf {
    let test = std::env::current_exe().unwrap();
    test.ancestors().nth(3).unwrap().to_owned()
}

/// Where the pictures are: `pages` in it.
fn pictures() -> PathBuf {
    build().join("pages")
}
