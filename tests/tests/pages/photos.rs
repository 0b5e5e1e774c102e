//! Photos: a note with a photo, in a browser against real nodes, with scripts and without; and its photo on another page.
//! May use: crew, browser, hand.   Never: a photo that the browser itself did not make.

use crate::browser::Browser;
use crate::crew::{Crew, OBSERVER, SUPERVISOR, TOWER_1, until};
use crate::hand::Hand;
use fantoccini::Locator;
use gantline_protocol::ids::PhotoHash;
use gantline_protocol::log::photo::Photo;
use serde_json::{Value, json};
use std::path::PathBuf;

/// A camera's photo: large, and full of what does not pack.
const CAMERA: &str = "
    const canvas = document.createElement('canvas');
    canvas.width = 3000; canvas.height = 2000;
    const drawn = canvas.getContext('2d');
    drawn.fillStyle = '#9ab'; drawn.fillRect(0, 0, 3000, 2000);
    for (let n = 0; n < 60000; n += 1) {
      drawn.fillStyle = `hsl(${(n * 37) % 360} 70% ${20 + (n * 13) % 60}%)`;
      drawn.fillRect((n * 7919) % 3000, (n * 104729) % 2000, 24, 24);
    }
    drawn.lineWidth = 60; drawn.strokeStyle = '#fff';
    drawn.strokeRect(800, 500, 1400, 1000);
    const data = atob(canvas.toDataURL('image/jpeg', 0.97).split(',')[1]);";
/// A small one.
const SMALL: &str = "
    const canvas = document.createElement('canvas');
    canvas.width = 320; canvas.height = 240;
    const drawn = canvas.getContext('2d');
    drawn.fillStyle = '#567'; drawn.fillRect(0, 0, 320, 240);
    drawn.fillStyle = '#fc3'; drawn.fillRect(120, 40, 80, 160);
    const data = atob(canvas.toDataURL('image/jpeg', 0.8).split(',')[1]);";

const INPUT: &str = "form[data-name='note-'] input[type=file]";
const SHOWN: &str = "const one = document.querySelector('.frame img');
    return one?.complete && one.naturalWidth > 0 || false";

/// Puts the bytes in `data` into the form, as if the camera had given them.
async fn chooses(browser: &Browser, photo: &str) {
    let script = format!(
        "{photo}
         const file = new File([Uint8Array.from(data, (one) => one.charCodeAt(0))], 'photo.jpg', {{ type: 'image/jpeg' }});
         const chosen = new DataTransfer();
         chosen.items.add(file);
         document.querySelector(\"{INPUT}\").files = chosen.files;
         return file.size"
    );
    let size = browser.run(&script).await;
    println!("the camera's photo: {size} bytes");
}

/// The bytes as a file of this machine.
async fn file(browser: &Browser, photo: &str, name: &str) -> (tempfile::TempDir, PathBuf, Vec<u8>) {
    let script = format!("{photo} return Array.from(data, (one) => one.charCodeAt(0))");
    let bytes: Vec<u8> = serde_json::from_value(browser.run(&script).await).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, &bytes).unwrap();
    (folder, path, bytes)
}

async fn only_photo(crew: &Crew, place: usize) -> Photo {
    until("the note", async || {
        let photos = crew.photos(place).await;
        photos.first().map(|note| note.photo)
    })
    .await
}

/// The place of the first photo, as it stands on the page.
async fn place(browser: &Browser) -> Value {
    browser
        .run(
            "const place = document.querySelector('.frame').getBoundingClientRect();
             return [place.width, place.height]",
        )
        .await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_photo_is_made_smaller_noted_and_seen_on_the_others_pages() {
    let crew = Crew::at_work().await;
    let hand = Hand::at(&crew, TOWER_1).await;
    hand.opens("act/note").await;
    hand.browser.picture("note").await;
    // What is no picture is said beside it, and what was typed stays.
    hand.fills("note-", &[("text", "Cotter key as found")])
        .await;
    chooses(&hand.browser, "const data = 'no picture';").await;
    hand.is_told("note-", "This is no JPEG, PNG or WebP picture.")
        .await;
    hand.browser.picture("note-no-picture").await;
    let typed = "return document.querySelector(\"form[data-name='note-'] [name=text]\").value";
    assert_eq!(hand.browser.run(typed).await, json!("Cotter key as found"));

    chooses(&hand.browser, CAMERA).await;
    hand.does("note-", &[]).await;
    let photo = only_photo(&crew, OBSERVER).await;
    println!("as it was sent: {} bytes", photo.bytes);
    assert!(photo.bytes < 400 * 1024, "{} bytes", photo.bytes);
    hand.browser.until("it is on the own page", SHOWN).await;
    hand.scroll_to("figure").await;
    hand.browser.picture("note-photo").await;

    // On the supervisor's page its place is there before it is.
    let other = Hand::at(&crew, SUPERVISOR).await;
    other.opens("act/note").await;
    let before = place(&other.browser).await;
    other
        .browser
        .until("it is on the other's page", SHOWN)
        .await;
    assert_eq!(place(&other.browser).await, before, "its place moved");
    other.browser.size(1280, 800).await;
    other.scroll_to("figure").await;
    other.browser.picture("note-photo-wide").await;
    let page = other.browser.run("return location.origin").await;
    let page = page.as_str().unwrap();
    other
        .browser
        .client
        .goto(&format!("{page}/replay"))
        .await
        .unwrap();
    other.browser.until("it is in the replay", SHOWN).await;
    other.scroll_to("figure").await;
    other.browser.picture("replay-photo").await;

    // Of what nobody has named there is nothing; of what is named nothing is run.
    let answered = |path: String| {
        format!(
            "const answer = new XMLHttpRequest();
             answer.open('GET', '{path}', false); answer.send();
             return [answer.status, answer.getResponseHeader('content-type'),
               answer.getResponseHeader('x-content-type-options'), answer.getResponseHeader('content-security-policy')]"
        )
    };
    let good = other
        .browser
        .run(&answered(format!("/photo/{}", photo.hash)))
        .await;
    assert_eq!(good[0], json!(200));
    assert_eq!(good[1], json!("image/jpeg"));
    assert_eq!(good[2], json!("nosniff"));
    assert!(good[3].as_str().unwrap().contains("sandbox"));
    for bad in [PhotoHash([7; 32]).to_string(), "passwd".to_owned()] {
        let none = other.browser.run(&answered(format!("/photo/{bad}"))).await;
        assert_eq!(none[0], json!(404), "{bad}");
    }
    hand.end().await;
    other.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_scripts_off_a_photo_is_a_plain_form_and_a_large_one_is_told() {
    let crew = Crew::at_work().await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(TOWER_1).await).await;
    let (_small, small, bytes) = file(&browser, SMALL, "small.jpg").await;
    let (_large, large, camera) = file(&browser, CAMERA, "large.jpg").await;
    assert!(camera.len() > 1024 * 1024);
    let origin = browser.run("return location.origin").await;
    let page = format!("{}/act/note", origin.as_str().unwrap());
    browser
        .own(
            "Emulation.setScriptExecutionDisabled",
            json!({ "value": true }),
        )
        .await;
    browser.client.goto(&page).await.unwrap();
    let sends = async |path: &PathBuf, text: &str| {
        let one = |css: &str| format!("form[data-name='note-'] {css}");
        let typed = browser.client.find(Locator::Css(&one("[name=text]"))).await;
        typed.unwrap().send_keys(text).await.unwrap();
        let chosen = browser.client.find(Locator::Css(INPUT)).await.unwrap();
        chosen.send_keys(&path.display().to_string()).await.unwrap();
        let send = browser.client.find(Locator::Css(&one(".send"))).await;
        send.unwrap().click().await.unwrap();
    };
    // The page before it may stand for a moment yet, with the answer before, or go while it is read.
    let says = async |begins: &str| {
        let answer = Locator::Css("form[data-name='note-'] .answer");
        until(begins, async || {
            let told = browser.client.find(answer).await.ok()?.text().await.ok()?;
            told.starts_with(begins).then_some(())
        })
        .await;
    };
    sends(&large, "Key out of its hole").await;
    says("The photo is over 1 MB.").await;
    browser.picture("note-no-scripts-too-large").await;
    let text = Locator::Css("form[data-name='note-'] [name=text]");
    let typed = browser.client.find(text).await.unwrap();
    assert_eq!(
        typed.prop("value").await.unwrap().as_deref(),
        Some("Key out of its hole"),
        "nothing typed is cleared"
    );
    // What was typed is there still: only the photo is chosen again.
    sends(&small, "").await;
    says("Recorded.").await;
    let photo = only_photo(&crew, OBSERVER).await;
    assert_eq!(photo, Photo::of(&bytes).unwrap(), "byte for byte");
    until("it is at the observer's", async || {
        let here = crew.photos_here(OBSERVER).await;
        here.contains(&photo.hash).then_some(())
    })
    .await;
    let shown = Locator::Css(".frame img");
    browser.client.goto(&page).await.unwrap();
    browser.client.wait().for_element(shown).await.unwrap();
    browser.picture("note-no-scripts-photo").await;
    browser.end().await;
    crew.end().await;
}
