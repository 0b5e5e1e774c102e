//! Full disk: does a device say so and hold, and does its stop still work?
//! Gives: Hold with words, a stop that is shown, a log that is whole.
//! May use: support::node, support::disk.   Never: the disk of whoever runs the tests.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_tests::support::disk::SmallDisk;
use gantline_tests::support::node::Device;

#[test]
fn a_full_disk_is_said_and_stop_still_works() {
    let folder = tempfile::tempdir().unwrap();
    let small = SmallDisk::mount(&folder.path().join("disk"));
    let device = Device::founder(small.folder().join("alder"));
    let node = device.start();
    assert!(node.lives());

    // So small a disk is the log's alone: a photo is refused with words, and the note without it is taken.
    let tag = concat!(env!("CARGO_MANIFEST_DIR"), "/../node/src/demo/tag.png");
    let ran = device.run(&["act", "note", "The tag", "--photo", tag]);
    assert_eq!(ran.code, Some(1), "{ran:?}");
    assert!(ran.stderr.contains("too little room"), "{ran:?}");
    let without = device.answer(&["act", "note", "The tag"]);
    assert_eq!(without["outcome"], "recorded", "{without}");

    // To the last byte; then notes until the room that the journal had kept is used up.
    small.fill();
    let note = "x".repeat(480);
    let mut refused = None;
    for _ in 0..20_000 {
        let body = serde_json::json!({
            "act": "note", "text": note, "about": null, "kind": "Plain",
        });
        let (code, answer) = node.request("POST", "/api/act", &node.headers(), &body.to_string());
        assert_eq!(code, 200, "{answer}");
        let answer: serde_json::Value = serde_json::from_str(&answer).unwrap();
        if answer["outcome"] != "recorded" {
            refused = Some(answer);
            break;
        }
    }
    let refused = refused.unwrap_or_default();
    assert_eq!(refused["outcome"], "refused", "{refused}");
    assert!(refused.to_string().contains("disk_failed"), "{refused}");

    // The disk is named as the cause, and the program does not take the blame.
    let (code, health) = node.request("GET", "/api/health", &node.headers(), "");
    assert_eq!(code, 200, "{health}");
    let health: serde_json::Value = serde_json::from_str(&health).unwrap();
    assert_eq!(health["bugs"], serde_json::json!([]), "{health}");
    assert_ne!(health["disk_faults"], serde_json::json!([]), "{health}");

    // The holder is told, in words.
    let shown = gantline_tests::support::program::gantline(&[
        "--folder",
        &device.folder.display().to_string(),
        "status",
    ]);
    assert_eq!(shown.code, Some(0), "{shown:?}");
    assert!(shown.stdout.starts_with("HOLD"), "{shown:?}");
    assert!(
        shown.stdout.contains("nothing can be recorded here"),
        "{shown:?}"
    );

    // Stop still works: it is shown here at once, whatever the disk does.
    let stop = r#"{"act":"stop","kind":"Work","why":"","item":null}"#;
    // (The answer comes when it is on the disk, which is not now.)
    let (_, answer) = node.request("POST", "/api/act", &node.headers(), stop);
    let status = device.answer(&["status"]);
    assert_eq!(status["call"]["word"], "stop_work", "{answer} {status}");

    // And with room again, what was recorded is all there.
    let entries = status["entries"].as_u64().unwrap();
    drop(node);
    small.clear();
    let again = device.start();
    let status = device.answer(&["status"]);
    assert!(
        status["entries"].as_u64().unwrap() + 1 >= entries,
        "{status}"
    );
    drop(again);
}
