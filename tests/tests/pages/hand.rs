//! Hand: the pages beside the own one, as a person goes through them: More, a leaf, its forms.
//! Owns: one device's browser.   Gives: `Hand`.
//! May use: crew, browser.   Never: a way to a page that is not a control on one.

use crate::browser::{Browser, WITHIN};
use crate::crew::Crew;
use fantoccini::Locator;
use serde_json::json;
use std::time::{Duration, Instant};

/// Longer than the time for which a confirm is kept pressed.
pub const LONG: Duration = Duration::from_millis(1_350);

/// The forms of one device, in its browser.
pub struct Hand {
    pub browser: Browser,
}

impl Hand {
    pub async fn at(crew: &Crew, place: usize) -> Self {
        let browser = Browser::start().await;
        browser.enter(&crew.link(place).await).await;
        Self { browser }
    }

    /// From the own page by its controls to a leaf: More, then the leaf.
    pub async fn opens(&self, leaf: &str) {
        let way = "main > .way .leads";
        let own = format!("return !!document.querySelector('{way}')");
        if self.browser.run(&own).await == json!(false) {
            self.back_to_own().await;
        }
        self.follows(way, &on("more")).await;
        let link = format!("main a[href='/{leaf}']");
        self.follows(&link, &on(leaf)).await;
    }

    /// Presses a link until a script says that it was followed; like a person, once more if it did not take: what is
    /// above it may have grown just then.
    async fn follows(&self, link: &str, there: &str) {
        for _ in 0..3 {
            let any = format!("return {there} || !!document.querySelector(\"{link}\")");
            self.browser.until(link, &any).await;
            let there = format!("return {there}");
            if self.browser.run(&there).await == json!(true) {
                return;
            }
            self.scroll_to(link).await;
            self.browser.tap(link).await;
            let end = Instant::now() + WITHIN / 4;
            while Instant::now() < end {
                if self.browser.run(&there).await == json!(true) {
                    return;
                }
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        }
        self.browser.until(there, &format!("return {there}")).await;
    }

    pub async fn is_on(&self, leaf: &str) {
        self.browser
            .until(leaf, &format!("return {}", on(leaf)))
            .await;
    }

    pub async fn back_to_own(&self) {
        for _ in 0..3 {
            let any = "return !!document.querySelector('main > .way .leads, .under > .back')";
            self.browser.until("a page", any).await;
            let there = "return !!document.querySelector('main > .way .leads')";
            if self.browser.run(there).await == json!(true) {
                return;
            }
            let here = self
                .browser
                .run("return document.querySelector('.under')?.dataset.name ?? ''")
                .await;
            let left = format!("document.querySelector('.under')?.dataset.name !== {here}");
            self.follows(".under > .back", &left).await;
        }
    }

    pub async fn scroll_to(&self, selector: &str) {
        let script = format!(
            "document.querySelector(\"{selector}\")?.scrollIntoView({{ block: 'center' }})"
        );
        self.browser.run(&script).await;
    }

    /// Types into a field, or chooses.
    pub async fn fills(&self, form: &str, fields: &[(&str, &str)]) {
        for (name, value) in fields {
            let typed = format!("form[data-name='{form}'] [name='{name}']");
            let option = format!("{typed}[value='{value}']");
            let script = format!("return document.querySelector(\"{option}\")?.type ?? ''");
            let kind = self.browser.run(&script).await;
            if kind == json!("radio") || kind == json!("checkbox") {
                self.scroll_to(&option).await;
                let found = self.browser.client.find(Locator::Css(&option)).await;
                found.unwrap().click().await.unwrap();
                continue;
            }
            self.scroll_to(&typed).await;
            let found = self
                .browser
                .client
                .find(Locator::Css(&typed))
                .await
                .unwrap();
            let tag = found.tag_name().await.unwrap();
            if tag == "select" {
                found.select_by_value(value).await.unwrap();
            } else {
                found.send_keys(value).await.unwrap();
            }
        }
    }

    /// Presses the form's control: keeps it pressed where that is wanted.
    pub async fn presses(&self, form: &str) {
        let control = format!(
            "form[data-name='{form}'] button[data-control=confirm], form[data-name='{form}'] button[data-control=send]"
        );
        self.scroll_to(&control).await;
        let held = format!(
            "return !!document.querySelector(\"form[data-name='{form}'] button[data-control=confirm]\")"
        );
        if self.browser.run(&held).await == json!(true) {
            self.browser.press(&control, LONG, 0).await;
        } else {
            self.browser.tap(&control).await;
        }
    }

    /// Fills a form, presses, and it is recorded.
    pub async fn does(&self, form: &str, fields: &[(&str, &str)]) {
        self.browser
            .run("document.querySelector('.note').textContent = ''")
            .await;
        self.fills(form, fields).await;
        self.presses(form).await;
        self.browser
            .until(
                &format!("{form} is recorded"),
                &format!(
                    "const refused = document.querySelector(\"form[data-name='{form}'] .answer\")?.textContent;
                     return document.querySelector('.note').textContent.startsWith('Recorded.') || (refused || false)"
                ),
            )
            .await;
    }

    /// Presses, and is told this beside the form.
    pub async fn is_told(&self, form: &str, words: &str) {
        self.presses(form).await;
        self.browser
            .until(
                words,
                &format!(
                    "const told = document.querySelector(\"form[data-name='{form}'] .answer\").textContent;
                     return told.includes('{words}') || (told || false)"
                ),
            )
            .await;
    }

    pub async fn end(self) {
        self.browser.end().await;
    }
}

/// Whether this is the page beside the own one, as a script.
fn on(leaf: &str) -> String {
    format!("document.querySelector('.under')?.dataset.name === '{leaf}'")
}
