//! Note photo: what does `gantline act note --photo` take, what does it say of what it does not, and what becomes of it?
//! Owns: one running device.   Gives: exit codes, and the photo in log, folder, replay and verification.
//! May use: support::node.   Never: the node's own code.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_tests::support::node::Device;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// The photo of the demonstration.
const TAG: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../node/src/demo/tag.png");

fn job(device: &Device) -> PathBuf {
    let mut jobs = fs::read_dir(device.folder.join("jobs")).unwrap();
    jobs.next().unwrap().unwrap().path()
}

#[test]
fn what_is_no_photo_ends_with_2_and_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let device = Device::founder(folder.path().join("alder"));
    let node = device.start();
    let before = device.answer(&["status"])["entries"].clone();
    let at = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path.display().to_string()
    };
    let mut large = fs::read(TAG).unwrap();
    large.resize(1024 * 1024 + 1, 0);
    let cases = [
        (
            folder.path().join("none.png").display().to_string(),
            "none.png",
        ),
        (at("empty.png", b""), "has no bytes"),
        (at("clip.gif", b"GIF89a"), "JPEG, PNG or WebP"),
        (at("large.png", &large), "expected at most 1048576"),
    ];
    for (file, said) in &cases {
        let ran = device.run(&["act", "note", "seen", "--photo", file]);
        assert_eq!(ran.code, Some(2), "{ran:?}");
        assert!(ran.stderr.contains(said), "{ran:?}");
    }
    let ran = device.run(&["act", "note", "seen", "--photo", TAG, "--kind", "still-so"]);
    assert_eq!(ran.code, Some(2), "{ran:?}");
    assert!(ran.stderr.contains("plain note"), "{ran:?}");
    assert_eq!(device.answer(&["status"])["entries"], before);
    assert!(!job(&device).join("photos").exists());
    drop(node);
}

#[test]
fn a_photo_is_in_the_folder_the_replay_and_the_verification_and_over_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let device = Device::founder(folder.path().join("alder"));
    let node = device.start();
    let recorded = device.answer(&["act", "note", "The tag", "--photo", TAG]);
    assert_eq!(recorded["outcome"], "recorded", "{recorded}");
    drop(node);

    let photos = job(&device).join("photos");
    let journal = job(&device).join("journal").display().to_string();
    let replay = device.answer(&["replay", &journal]);
    let lines = replay["entries"].as_array().unwrap();
    let line = lines.iter().find(|line| !line["photo"].is_null()).unwrap();
    assert_eq!(line["says"], "notes with a photo: The tag");
    let hash = line["photo"]["hash"].as_str().unwrap().to_owned();
    let file = photos.join(&hash);
    assert_eq!(fs::read(&file).unwrap(), fs::read(TAG).unwrap());

    let verify = |folder: &Path| {
        let folder = folder.display().to_string();
        let ran = device.run(&["verify", &journal, "--photos", &folder]);
        let answer: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
        assert_eq!(answer[0]["ok"], true, "the log itself: {answer}");
        (ran.code, answer[0]["photos"][0]["found"].clone())
    };
    assert_eq!(verify(&photos), (Some(0), "good".into()));
    assert_eq!(verify(folder.path()), (Some(1), "missing".into()));

    // What nothing names is removed at the next start; what is named stays, and is served only while it is good.
    let stray = photos.join("ab".repeat(32));
    fs::write(&stray, b"left over").unwrap();
    let node = device.start();
    let served = |hash: &str| {
        let path = format!("/api/photo/{hash}");
        node.request("GET", &path, &node.headers(), "").0
    };
    let (_, health) = node.request("GET", "/api/health", &node.headers(), "");
    let health: serde_json::Value = serde_json::from_str(&health).unwrap();
    assert_eq!(health["photos"], 1, "{health}");
    assert_eq!(health["photos_here"], 1, "{health}");
    assert_eq!(served(&hash), 200);
    assert_eq!(served(&"ab".repeat(32)), 404);
    // Neither a page's photo nor its form without the cookie of a browser that was let in.
    let host = format!("Host: {}", node.control);
    let path = format!("/photo/{hash}");
    assert_eq!(node.request("GET", &path, &node.headers(), "").0, 401);
    let own = [host.clone(), format!("Origin: http://{}", node.control)];
    assert_eq!(node.request("POST", "/note", &own, "").0, 401);
    assert_eq!(node.request("POST", "/note", &[host], "").0, 403);
    let end = Instant::now() + Duration::from_secs(20);
    while stray.exists() {
        assert!(Instant::now() < end, "it is not removed");
        std::thread::sleep(Duration::from_millis(20));
    }
    fs::write(&file, b"changed").unwrap();
    assert_eq!(verify(&photos), (Some(1), "changed".into()));
    assert_eq!(served(&hash), 404);
    assert!(!file.exists(), "set aside");
    assert!(node.lives());
    drop(node);
}
