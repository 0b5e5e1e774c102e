//! Photos between two real nodes over QUIC on loopback: whole on the other side, behind everything, good or not there.
//! Owns: nothing.   Gives: nothing.
//! May use: support.   Never: a fixed sleep.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod support;

use gantline::control::Client;
use gantline::device::CannotKeep;
use gantline_protocol::bounds::PHOTO_MAX_BYTES;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::PhotoHash;
use gantline_protocol::log::entry::NoteKind;
use gantline_protocol::log::photo::{NoPhoto, Photo};
use gantline_protocol::state::CallWord;
use std::path::PathBuf;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};
use support::liar::Liar;
use support::{Crew, recorded, shows, until};

/// The oldest proof of life on either side while a photo moves: half the watch limit, at which beacons hurry.
const PROOF_MAX_MS: u64 = 2_000;

/// Bytes that no packing makes shorter, and that begin as a JPEG does.
fn picture(bytes: usize) -> Vec<u8> {
    let mut content = vec![0; bytes];
    blake3::Hasher::new()
        .update(&bytes.to_le_bytes())
        .finalize_xof()
        .fill(&mut content);
    content[..4].copy_from_slice(&[0xff, 0xd8, 0xff, 0xe0]);
    content
}

async fn noted(crew: &Crew, content: &[u8]) -> Photo {
    let node = crew.supervisor().handle();
    let photo = node.keep_photo(content.to_vec()).await.unwrap().unwrap();
    let note = Command::Note {
        text: "The clamp as found".to_owned(),
        about: None,
        kind: NoteKind::Photo(photo),
    };
    recorded(crew.supervisor(), note).await;
    photo
}

fn file(crew: &Crew, at: usize, hash: &PhotoHash) -> PathBuf {
    let job = crew.homes[at].job_folder(&crew.job);
    job.join("photos").join(hash.to_string())
}

async fn arrived(crew: &Crew, hash: &PhotoHash) {
    let node = crew.observer().handle();
    until("the photo is here", async || {
        node.photos_here()
            .await
            .unwrap()
            .contains(hash)
            .then_some(())
    })
    .await;
}

/// Asks the node as a page or a script does, on a thread that may wait.
async fn asked(crew: &Crew, at: usize, hash: PhotoHash) -> Option<Vec<u8>> {
    let client = Client::open(&crew.homes[at]).unwrap();
    tokio::task::spawn_blocking(move || client.photo(&hash).ok())
        .await
        .unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_largest_photo_arrives_byte_for_byte_and_no_beacon_waits_for_it() {
    let crew = Crew::at_work().await;
    crew.all_show(CallWord::Proceed).await;
    let content = picture(PHOTO_MAX_BYTES as usize);
    let photo = noted(&crew, &content).await;
    assert_eq!(asked(&crew, 1, photo.hash).await, None, "before it is here");

    let begun = Instant::now();
    let mut oldest = 0;
    let handles = crew.nodes.iter().map(gantline::device::Node::handle);
    let handles: Vec<_> = handles.collect();
    until("the photo is here", async || {
        for node in &handles {
            let status = node.status().await.unwrap();
            let ages = status.crew.iter().filter_map(|one| one.age_ms);
            oldest = ages.chain([oldest]).max().unwrap_or(0);
            assert!(
                begun.elapsed() < Duration::from_secs(1) || status.call.word == CallWord::Proceed,
                "{:?}",
                status.call
            );
        }
        let here = handles[1].photos_here().await.unwrap();
        here.contains(&photo.hash).then_some(())
    })
    .await;
    println!(
        "{} bytes in {} ms, oldest proof {oldest} ms",
        content.len(),
        begun.elapsed().as_millis()
    );
    assert!(oldest <= PROOF_MAX_MS, "a proof was {oldest} ms old");
    assert_eq!(std::fs::read(file(&crew, 1, &photo.hash)).unwrap(), content);
    assert_eq!(asked(&crew, 1, photo.hash).await, Some(content));
    for node in &handles {
        let health = node.health().await.unwrap();
        assert_eq!((health.photos, health.photos_here), (1, 1));
        assert_eq!(health.photo_fault, None);
        assert!(health.link_faults.is_empty(), "{:?}", health.link_faults);
    }
    crew.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_photo_damaged_on_the_disk_is_never_shown_and_is_fetched_again() {
    let crew = Crew::at_work().await;
    let content = picture(50_000);
    let photo = noted(&crew, &content).await;
    arrived(&crew, &photo.hash).await;
    let path = file(&crew, 1, &photo.hash);
    let mut bad = content.clone();
    bad[40_000] ^= 1;
    std::fs::write(&path, bad).unwrap();
    assert_eq!(asked(&crew, 1, photo.hash).await, None);
    let node = crew.observer().handle();
    let fault = node.health().await.unwrap().photo_fault;
    assert!(fault.is_some_and(|why| why.contains("damaged")));
    arrived(&crew, &photo.hash).await;
    assert_eq!(asked(&crew, 1, photo.hash).await, Some(content));
    assert_eq!(node.health().await.unwrap().photo_fault, None);
    crew.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_no_photo_is_refused_and_what_nobody_names_is_not_served() {
    let crew = Crew::at_work().await;
    let node = crew.supervisor().handle();
    let refused = node.keep_photo(b"GIF89a".to_vec()).await.unwrap();
    assert_eq!(refused, Err(CannotKeep::NoPhoto(NoPhoto::NotAPicture)));
    let found = PHOTO_MAX_BYTES as usize + 1;
    let refused = node.keep_photo(picture(found)).await.unwrap();
    assert_eq!(
        refused,
        Err(CannotKeep::NoPhoto(NoPhoto::TooLarge { found }))
    );
    // Kept, and named by nobody: not to be had, and the oldest of several goes.
    let mut hashes = Vec::new();
    for bytes in 100..106 {
        let photo = node.keep_photo(picture(bytes)).await.unwrap().unwrap();
        hashes.push(photo.hash);
    }
    assert_eq!(asked(&crew, 0, hashes[5]).await, None);
    until("the oldest is removed", async || {
        (!file(&crew, 0, &hashes[0]).exists()).then_some(())
    })
    .await;
    // A note that names what is not here is refused before it is an entry.
    let nowhere = Photo::of(&picture(999)).unwrap();
    let client = Client::open(&crew.homes[0]).unwrap();
    let note = Command::Note {
        text: String::new(),
        about: None,
        kind: NoteKind::Photo(nowhere),
    };
    let act = tokio::task::spawn_blocking(move || client.act(&note));
    let refused = act.await.unwrap().unwrap_err().to_string();
    assert!(refused.contains("/api/photo"), "{refused}");
    crew.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_device_that_gives_other_bytes_is_told_and_asked_no_more() {
    let mut crew = Crew::at_work().await;
    let observer = crew.nodes.remove(1);
    observer.stop().await.unwrap();
    let supervisor = (crew.supervisor().device(), crew.supervisor().address());
    let liar = Liar::on(&crew.homes[1], crew.job, supervisor).await;
    let gave = liar.gave();
    let photo = Photo::of(&picture(20_000)).unwrap();
    let note = Command::Note {
        text: "Nothing of the kind".to_owned(),
        about: None,
        kind: NoteKind::Photo(photo),
    };
    let lies = tokio::spawn(liar.says(note));
    let node = crew.supervisor().handle();
    let told = format!("other bytes than those of photo {}", photo.hash);
    until("it is told", async || {
        let faults = node.health().await.unwrap().link_faults;
        faults
            .iter()
            .any(|fault| fault.contains(&told))
            .then_some(())
    })
    .await;
    assert_eq!(gave.load(Ordering::Relaxed), 3, "pieces");
    assert!(node.photos_here().await.unwrap().is_empty());
    assert!(!file(&crew, 0, &photo.hash).exists());
    // The note itself stays, and so does the job.
    let health = node.health().await.unwrap();
    assert_eq!((health.photos, health.photos_here), (1, 0));
    shows(&node, "the work goes on", |status| {
        status.call.word == CallWord::Proceed
    })
    .await;
    assert_eq!(gave.load(Ordering::Relaxed), 3, "asked again");
    lies.abort();
    crew.stop().await;
}
