//! Full: what the page of a device says whose disk is full, and whether its stop still works from there.
//! May use: crew, browser, looks, a disk of its own.   Never: the disk of whoever runs the tests.

use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, TOWER_1};
use crate::looks::{look, none};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::log::entry::NoteKind;
use gantline_protocol::reason::Reason;
use gantline_protocol::state::CallWord;
use serde_json::json;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_disk_is_said_on_the_page_and_stop_still_works_from_it() {
    let mut crew = Crew::at_work().await;
    let disk = crew.on_a_small_disk(TOWER_1).await;
    crew.all_show(CallWord::Proceed).await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    browser.shows("proceed").await;

    // To the last byte; then long notes until the room that the journal had kept, a MiB, is used up.
    disk.fill();
    let note = Command::Note {
        text: "𝛀".repeat(480),
        about: None,
        kind: NoteKind::Plain,
    };
    let mut refused = Vec::new();
    for _ in 0..1_000 {
        if let Outcome::Refused { reasons } = crew.tries(TOWER_1, note.clone()).await {
            refused = reasons;
            break;
        }
    }
    assert_eq!(refused, [Reason::DiskFailed]);
    browser.shows("hold").await;
    let said = "return ['.band [data-reason]', 'main > .asked'].map((one) => document.querySelector(one).textContent)";
    assert_eq!(
        browser.run(said).await,
        json!([
            "Disk full: nothing can be recorded here.",
            "Supervisor, relieve this device. Stop still works."
        ])
    );
    let plain = json!({ "observer": false });
    none(&look(&browser, "worker-disk-full", &plain).await);

    browser.tap("[data-control=stop]").await;
    crew.all_show(CallWord::StopWork).await;
    // No disk here has it. It was sent all the same, and nothing on the page says that it was not.
    browser
        .until(
            "it is shown for longer than it takes until an unsent stop is said to be so",
            "window.since ??= performance.now();
             return performance.now() - window.since > 1500 && document.querySelector('.band[data-own]') && document.documentElement.dataset.pressed === 'sent'",
        )
        .await;
    assert_eq!(crew.status(OBSERVER).await.stops.len(), 1);
    browser.picture("worker-disk-full-stop").await;
    browser.end().await;
    crew.end().await;
    drop(disk);
}
