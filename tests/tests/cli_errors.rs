//! Cli errors: does wrong input get a clear answer, the right exit code, and change nothing?
//! Owns: folders that go away.   Gives: exit codes and the form of complaints.
//! May use: support::program.   Never: the node's own code.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_tests::support::program::{Ran, command, gantline};
use std::fs;
use std::process::Stdio;

/// A complaint says what was wrong with which input, then what to do; stdout stays empty.
fn complains(ran: &Ran, code: i32, names: &[&str]) {
    assert_eq!(ran.code, Some(code), "{ran:?}");
    assert_eq!(ran.stdout, "", "a complaint is no result: {ran:?}");
    for name in names {
        assert!(ran.stderr.contains(name), "{name:?} is not named: {ran:?}");
    }
    assert!(!ran.stderr.contains("panicked"), "{ran:?}");
}

#[test]
fn a_command_line_that_cannot_be_used_ends_with_2() {
    complains(&gantline(&[]), 2, &["Usage"]);
    complains(&gantline(&["dance"]), 2, &["dance"]);
    complains(&gantline(&["act", "acknowledge", "P01"]), 2, &["CHECK"]);
    complains(
        &gantline(&["act", "acknowledge", "P 1", "method"]),
        2,
        &["`P 1`", "expected a name"],
    );
    complains(
        &gantline(&["act", "reading", "wind", "--value", "1e3", "--unit", "km/h"]),
        2,
        &["`1e3`", "expected a number"],
    );
    complains(
        &gantline(&["act", "reading", "wind", "--value", "12"]),
        2,
        &["--unit"],
    );
    complains(
        &gantline(&["job", "join", "nowhere", "--person", "Elm"]),
        2,
        &["nowhere"],
    );
    complains(&gantline(&["act", "heard", "--stop", "00"]), 2, &["`00`"]);
}

#[test]
fn files_and_folders_that_cannot_be_used_end_with_2_and_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();

    complains(&gantline(&["device", "show"]), 2, &["--folder"]);
    complains(
        &gantline(&["--folder", &at("d"), "device", "show"]),
        2,
        &["device.key", "gantline device new"],
    );
    complains(
        &gantline(&["--folder", &at("d"), "node"]),
        2,
        &["device.key", "gantline device new"],
    );
    assert_eq!(
        gantline(&["--folder", &at("d"), "device", "new"]).code,
        Some(0)
    );
    complains(
        &gantline(&["--folder", &at("d"), "device", "new"]),
        2,
        &["never overwritten"],
    );
    complains(
        &gantline(&["--folder", &at("d"), "node"]),
        2,
        &["gantline job found"],
    );
    complains(
        &gantline(&["plan", "show", "no-such-plan"]),
        2,
        &["`no-such-plan`", "gantline plan list"],
    );
    complains(&gantline(&["verify", &at("no-log")]), 2, &["no-log"]);
    complains(&gantline(&["replay", &at("no-log")]), 2, &["no-log"]);
    fs::write(at("bytes"), [0xff, 0xfe, 0x00]).unwrap();
    complains(
        &gantline(&["plan", "show", &at("bytes")]),
        2,
        &["bytes", "not text"],
    );
    fs::write(folder.path().join("d/device.key"), "nonsense\n").unwrap();
    complains(
        &gantline(&["--folder", &at("d"), "device", "show"]),
        2,
        &["device.key", "no device key"],
    );
    assert_eq!(
        fs::read_to_string(folder.path().join("d/device.key")).unwrap(),
        "nonsense\n",
        "nothing was changed"
    );
}

#[test]
fn a_plan_that_is_not_good_ends_with_1_and_names_line_and_rule() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mine.toml");
    let file = path.display().to_string();
    let good = gantline(&["plan", "show", "suspension-230", "--source"]).stdout;
    fs::write(&path, &good).unwrap();
    assert_eq!(gantline(&["plan", "check", &file]).code, Some(0));

    fs::write(
        &path,
        good.replacen("units = \"si\"", "units = \"furlongs\"", 1),
    )
    .unwrap();
    let ran = gantline(&["plan", "check", &file]);
    assert_eq!(ran.code, Some(1), "{ran:?}");
    let line = good
        .lines()
        .position(|line| line.starts_with("units ="))
        .unwrap()
        + 1;
    assert!(
        ran.stdout.contains(&format!("mine.toml:{line}:")),
        "{ran:?}"
    );
    assert!(ran.stdout.contains("furlongs"), "{ran:?}");

    // The step that puts the static ground on no longer does.
    let unguarded = good.replacen("sets = { ground = \"on\" }", "", 1);
    assert_ne!(unguarded, good);
    fs::write(&path, unguarded).unwrap();
    let ran = gantline(&["plan", "check", &file]);
    assert_eq!(ran.code, Some(1), "{ran:?}");
    let named = ran.stdout.contains("rule broken") || ran.stdout.contains("dead end");
    assert!(named, "{ran:?}");
}

#[test]
fn a_node_that_is_not_there_ends_with_3() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().display().to_string();
    assert_eq!(gantline(&["--folder", &at, "device", "new"]).code, Some(0));
    for arguments in [
        &["--folder", &at, "status"][..],
        &["--folder", &at, "act", "stop"],
        &["--folder", &at, "job", "admit"],
    ] {
        complains(&gantline(arguments), 3, &["gantline node"]);
    }
}

#[test]
fn a_closed_pipe_is_no_failure() {
    let mut child = command(&["plan", "show", "suspension-230"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let ended = child.wait_with_output().unwrap();
    assert_eq!(ended.status.code(), Some(0));
    assert_eq!(String::from_utf8_lossy(&ended.stderr), "");
}

#[test]
fn json_answers_are_json() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().display().to_string();
    for arguments in [
        &["--folder", &at, "device", "new"][..],
        &["--folder", &at, "device", "show"],
        &["--folder", &at, "job", "list"],
        &["plan", "list"],
        &["plan", "show", "suspension-230"],
        &["plan", "check", "suspension-230"],
    ] {
        let ran = gantline(&[arguments, &["--json"]].concat());
        assert_eq!(ran.code, Some(0), "{ran:?}");
        let value: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
        assert!(value.is_object() || value.is_array(), "{ran:?}");
    }
}
