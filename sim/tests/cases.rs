//! Cases: are the case files understood to the last word, and does each of them come out as it says?
//! Owns: the list of files, their faults made one by one.   Gives: one test a case.
//! May use: the simulator's cases.   Never: an expectation changed to fit.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_sim::cases::{self, Case, Fault};
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("cases")
}

fn files() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .collect();
    files.sort();
    files
}

fn name(path: &Path) -> &str {
    path.file_name().unwrap().to_str().unwrap()
}

fn text(file: &str) -> String {
    std::fs::read_to_string(folder().join(file)).unwrap()
}

fn read(file: &str, text: &str) -> Result<Case, Vec<Fault>> {
    cases::read(file, text)
}

#[test]
fn every_word_of_every_file_is_understood() {
    let files = files();
    assert_eq!(files.len(), 26);
    for path in &files {
        let text = std::fs::read_to_string(path).unwrap();
        let case = read(name(path), &text).unwrap();
        assert!(!case.events.is_empty() && !case.expects.is_empty());
        assert_eq!(case.events.len(), text.matches("[[event]]").count());
        assert_eq!(case.expects.len(), text.matches("[[expect]]").count());
    }
}

/// A file with one thing changed, and the fault that must then be named: field, found, expected.
#[track_caller]
fn one_fault(file: &str, from: &str, to: &str, want: (&str, &str, &str)) {
    let good = text(file);
    assert!(good.contains(from), "{from}");
    let changed = good.replacen(from, to, 1);
    let faults = read(file, &changed).unwrap_err();
    let (field, found, expected) = want;
    let line_at = |fault: &Fault| changed.lines().nth(fault.line - 1).unwrap_or_default();
    let named = faults
        .iter()
        .find(|fault| fault.field == field && fault.found == found)
        .unwrap_or_else(|| panic!("{faults:#?}"));
    assert!(named.expected.contains(expected), "{named}");
    assert_eq!(named.file, file);
    // The line is that of the value, or of the table that lacks it.
    let line = line_at(named);
    let shown = to.lines().any(|new| new == line) || line.starts_with('[');
    assert!(shown || named.line == 1, "{named} names the line {line}");
}

#[test]
fn what_is_not_known_is_named_with_line_field_found_and_expected() {
    let c00 = "c00-golden-path.toml";
    let confirm = "what = \"confirm\"";
    one_fault(
        c00,
        confirm,
        "what = \"conform\"",
        ("event e2.what", "`conform`", "confirm, "),
    );
    one_fault(
        c00,
        "must = \"state\"",
        "must = \"stand\"",
        ("expect[1] at 32 s.must", "`stand`", "state"),
    );
    one_fault(
        c00,
        "value = \"open\"",
        "value = \"opened\"",
        ("expect[1] at 32 s.value", "`opened`", "open"),
    );
    one_fault(
        c00,
        confirm,
        "what = \"confirm\"\nloudly = true",
        ("event e2.loudly", "`loudly`", "check"),
    );
    one_fault(
        c00,
        "wind_s = 900",
        "wind_s = \"900\"",
        ("assume.wind_s", "the text `900`", "a number"),
    );
    one_fault(
        c00,
        "wind_s = 900\n",
        "",
        ("assume.wind_s", "nothing", "the key `wind_s`"),
    );
    one_fault(
        c00,
        "contact_s = 10",
        "contact_s = 11",
        ("assume.contact_s", "11000 ms", "2 to 10 s"),
    );
    one_fault(
        c00,
        "needs = [\"units_counted:tower\", \"units_seen:observer\"]",
        "needs = [\"units counted:tower\", \"units_seen:observer\"]",
        ("step P09.needs", "`units counted:tower`", "check:role"),
    );
    one_fault(
        c00,
        "check = \"clearance\"",
        "check = \"clearence\"",
        ("event e1.check", "`clearence`", "clearance"),
    );
    one_fault(
        c00,
        "target = \"e14\"",
        "target = \"e140\"",
        (
            "expect[4] at 711 s.target",
            "`e140`",
            "an event of the case",
        ),
    );
    one_fault(
        c00,
        "t = 25\n",
        "t = 19\n",
        ("event e2.t", "19000 ms", "not before"),
    );
    one_fault(
        c00,
        "device = \"D-TW1\"\nwhat",
        "device = \"D-TW9\"\nwhat",
        ("event e1.device", "`D-TW9`", "D-TW1"),
    );
    one_fault(
        "c01-early-confirmation.toml",
        "reason = \"not_unlocked\"",
        "reason = \"locked\"",
        ("expect[1] at 11 s.reason", "`locked`", "not_unlocked"),
    );
    one_fault(
        "c02-observer-distracted.toml",
        "target = \"presence_due\"",
        "target = \"presence\"",
        ("expect[1] at 286 s.target", "`presence`", "presence_due"),
    );
    one_fault(
        "c03-stop-not-heard.toml",
        "stop = \"e1\"",
        "stop = \"e2\"",
        ("event e2.stop", "`e2`", "an earlier stop"),
    );
    one_fault(
        "c03-stop-not-heard.toml",
        "target = \"stop\"",
        "target = \"stops\"",
        ("expect[3] at 22 s.target", "`stops`", "stop"),
    );
}

#[test]
fn what_is_no_case_at_all_is_said() {
    let faults = read("c00-golden-path.toml", "a holiday picture").unwrap_err();
    assert_eq!((faults[0].line, faults[0].field.as_str()), (1, "file"));
    let faults = read("c00-golden-path.toml", "").unwrap_err();
    assert!(faults.iter().any(|fault| fault.field == "head.schema"));
    let faults = read("other-name.toml", &text("c00-golden-path.toml")).unwrap_err();
    assert_eq!(faults.len(), 1);
    assert_eq!(faults[0].expected, "c00-golden-path.toml");
}
