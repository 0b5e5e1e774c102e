//! Demo: does the whole job run on real devices, and do the figures say what happened?
//! Owns: one run of the demonstration.   Gives: every field of its summary, compared with the script.
//! May use: support::program.   Never: how long anything takes (a slow machine is no failure).

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_tests::support::program::gantline;
use serde_json::Value;
use std::path::Path;

#[test]
fn the_whole_job_runs_to_its_close() {
    let folder = tempfile::tempdir().unwrap();
    let keep = folder.path().join("demo");
    let keep_text = keep.display().to_string();
    let ran = gantline(&[
        "demo", "--fast", "--json", "--seed", "7", "--keep", &keep_text,
    ]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let summary: Value = serde_json::from_str(&ran.stdout).unwrap();
    let keys: Vec<&str> = summary
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect();
    let mut expected = vec![
        "ok",
        "devices",
        "steps_done",
        "steps_total",
        "entries",
        "logs_equal",
        "verified",
        "refusals",
        "stops",
        "holds",
        "closed",
        "log",
    ];
    expected.sort_unstable();
    assert_eq!(keys, expected);

    for yes in ["ok", "logs_equal", "verified", "closed"] {
        assert_eq!(summary[yes], true, "{yes}: {summary}");
    }
    assert_eq!(summary["devices"], 6);
    let plan = gantline(&["plan", "show", "suspension-230", "--json"]);
    let plan: Value = serde_json::from_str(&plan.stdout).unwrap();
    let steps = plan["steps"].as_array().unwrap();
    assert_eq!(summary["steps_total"], steps.len());
    assert_eq!(summary["steps_done"], steps.len());
    let checks: usize = steps
        .iter()
        .map(|step| step["checks"].as_array().unwrap().len())
        .sum();
    // At least one acknowledgement for each check.
    assert!(
        summary["entries"].as_u64().unwrap() > checks as u64,
        "{summary}"
    );

    // Each mistake of the script left its mark.
    for reason in [
        "not_unlocked",
        "tool_not_fit",
        "out_of_limit",
        "needs_second",
        "not_accounted",
    ] {
        assert!(
            summary["refusals"][reason].as_u64().unwrap_or(0) > 0,
            "{reason}: {summary}"
        );
    }
    let stops = summary["stops"].as_array().unwrap();
    assert_eq!(stops.len(), 1, "{summary}");
    assert_eq!(stops[0]["by"], "Elm");
    let spread = stops[0]["spread_ms"].as_object().unwrap();
    let devices: Vec<&str> = spread.keys().map(String::as_str).collect();
    assert_eq!(devices, ["Alder", "Birch", "Cedar", "Elm", "Hazel"]);
    assert!(spread.values().all(Value::is_u64), "{summary}");
    let holds = summary["holds"].as_array().unwrap();
    let lost = holds
        .iter()
        .filter(|hold| hold["reason"] == "no_contact")
        .count();
    assert!(lost >= 2, "a link was lost, and a device died: {summary}");

    // The log is where it says, and holds by itself.
    let log = summary["log"].as_str().unwrap();
    assert!(Path::new(log).starts_with(&keep));
    let verified = gantline(&["verify", log]);
    assert_eq!(verified.code, Some(0), "{verified:?}");
    // The photo of its one note is on the devices that stayed, and is what the log names.
    for device in ["Alder", "Birch", "Cedar", "Elm", "spare"] {
        let jobs = keep.join(device).join("jobs");
        let job = std::fs::read_dir(jobs).unwrap().next().unwrap().unwrap();
        let photos = job.path().join("photos").display().to_string();
        let verified = gantline(&["verify", log, "--photos", &photos, "--json"]);
        let answer: Value = serde_json::from_str(&verified.stdout).unwrap();
        assert_eq!(verified.code, Some(0), "{device}: {answer}");
        assert_eq!(answer[0]["photos"][0]["found"], "good", "{device}");
        assert_eq!(answer[0]["photos"].as_array().unwrap().len(), 1);
    }
    let nowhere = folder.path().display().to_string();
    let verified = gantline(&["verify", log, "--photos", &nowhere]);
    assert_eq!(verified.code, Some(1), "{verified:?}");
    assert!(verified.stdout.contains("NOT there"), "{verified:?}");
    let replay = gantline(&["replay", log, "--json"]);
    let replay: Value = serde_json::from_str(&replay.stdout).unwrap();
    assert_eq!(
        replay["entries"].as_array().unwrap().len() as u64,
        summary["entries"].as_u64().unwrap()
    );

    tampered::each_change_is_found_and_named(Path::new(log), &replay);
}

/// In the same test program, as a log of a whole job is what is to be tampered with.
mod tampered {
    use super::*;
    use std::fs;

    /// Where each record begins, from the frames' own lengths, by cutting the file and counting.
    pub fn each_change_is_found_and_named(log: &Path, replay: &Value) {
        let good = fs::read(log).unwrap();
        let entries = replay["entries"].as_array().unwrap();
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("changed.gantline");
        let file = path.display().to_string();
        let verify = |bytes: &[u8]| {
            fs::write(&path, bytes).unwrap();
            gantline(&["verify", &file, "--json"])
        };
        let whole = verify(&good);
        assert_eq!(whole.code, Some(0), "{whole:?}");

        // One bit anywhere: found, and an author and number are named.
        let mut changed = 0;
        for at in (40..good.len()).step_by(good.len() / 60) {
            let mut bad = good.clone();
            bad[at] ^= 0x10;
            let ran = verify(&bad);
            // Bytes that stand for nothing (the room kept free at the end of a file) may change nothing.
            if ran.code == Some(0) {
                let answer: Value = serde_json::from_str(&ran.stdout).unwrap();
                assert!(
                    at > last_byte_used(&good),
                    "byte {at} changed unseen: {answer}"
                );
                continue;
            }
            changed += 1;
            assert_eq!(ran.code, Some(1), "byte {at}: {ran:?}");
            let answer: Value = serde_json::from_str(&ran.stdout).unwrap();
            let named = &answer[0]["bad"];
            assert!(named.is_object(), "byte {at}: {answer}");
        }
        assert!(changed > 30, "{changed} changes were tried");
        assert!(entries.len() > 100);

        // Cut within an entry: found. A cut just between two leaves a good log that is shorter, as any device
        // has on the way; of two cuts a byte apart one is within.
        for part in [3, 2] {
            let cut = good.len() / part;
            let codes = [cut, cut + 1].map(|end| {
                let ran = verify(&good[..end]);
                if ran.code == Some(0) {
                    let answer: Value = serde_json::from_str(&ran.stdout).unwrap();
                    assert!(answer[0]["entries"].as_u64().unwrap() < entries.len() as u64);
                }
                ran.code
            });
            assert!(codes.contains(&Some(1)), "cut to 1/{part}: {codes:?}");
            assert!(
                codes.iter().all(|code| [Some(0), Some(1)].contains(code)),
                "{codes:?}"
            );
        }
    }

    fn last_byte_used(bytes: &[u8]) -> usize {
        bytes.iter().rposition(|byte| *byte != 0).unwrap_or(0)
    }
}

#[test]
fn served_it_prints_a_link_to_each_page_and_ends_with_ctrl_c() {
    use std::io::{BufRead, BufReader, Read, Write};
    let folder = tempfile::tempdir().unwrap();
    let keep = folder.path().join("demo").display().to_string();
    let mut child = gantline_tests::support::program::command(&[
        "demo",
        "--serve",
        "--fast",
        "--by-hand",
        "observer",
        "--keep",
        &keep,
    ])
    .stderr(std::process::Stdio::piped())
    .spawn()
    .unwrap();
    let stderr = BufReader::new(child.stderr.take().unwrap());
    let running = gantline_tests::support::program::Running(child);
    let links: Vec<String> = stderr
        .lines()
        .map_while(Result::ok)
        .filter_map(|line| Some(line[line.find("http://127.0.0.1:")?..].to_owned()))
        .take(5)
        .collect();
    assert_eq!(links.len(), 5, "{links:?}");
    for link in links {
        let rest = link.strip_prefix("http://").unwrap();
        let (host, path) = rest.split_once('/').unwrap();
        let mut stream = std::net::TcpStream::connect(host).unwrap();
        let request = format!("GET /{path} HTTP/1.0\r\nHost: {host}\r\n\r\n");
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        assert!(answer.starts_with("HTTP/1.0 200"), "{answer}");
        assert!(answer.contains("HttpOnly; SameSite=Strict"), "{answer}");
    }
    let mut running = running;
    let interrupt = std::process::Command::new("kill")
        .args(["-INT", &running.0.id().to_string()])
        .status()
        .unwrap();
    assert!(interrupt.success());
    let ended = running.0.wait().unwrap();
    assert_eq!(ended.code(), Some(0), "{ended:?}");
}
