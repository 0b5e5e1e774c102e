//! Cases: are the case files understood to the last word, and does each of them come out as it says?
//! Owns: the list of files, their faults made one by one.   Gives: one test a case.
//! May use: the simulator's cases.   Never: an expectation changed to fit.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_sim::cases::{self, Case, Fault};
use gantline_sim::radio::Air;
use std::path::{Path, PathBuf};

/// Fixes the run of every case.
const SEED: u64 = 1;

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
    assert_eq!(files.len(), 33);
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

/// Runs a case in clear air and stops at all that is not as it says.
#[track_caller]
fn comes_out(file: &str) {
    let case = read(file, &text(file)).unwrap();
    let outcome = cases::run(&case, SEED, Air::CLEAR).unwrap();
    assert_eq!(outcome.findings.len(), case.expects.len());
    let lines = outcome.lines(file);
    assert!(lines.is_empty(), "seed {SEED}\n{}", lines.join("\n"));
}

/// One test a case. The long ones, of ten minutes to a day and a half, take minutes in an unoptimised build, where they
/// are left to `tests/run`: it has the program run all cases, optimised.
macro_rules! cases {
    ($($length:ident $name:ident: $file:literal,)*) => {
        $(cases!(@ $length $name $file);)*

        #[test]
        fn every_file_has_a_test() {
            let tested = [$($file),*];
            let files = files();
            let files: Vec<&str> = files.iter().map(|path| name(path)).collect();
            assert_eq!(files, tested);
        }
    };
    (@ short $name:ident $file:literal) => {
        #[test]
        fn $name() {
            comes_out($file);
        }
    };
    (@ long $name:ident $file:literal) => {
        #[test]
        #[cfg_attr(debug_assertions, ignore = "takes minutes unoptimised; tests/run has it optimised")]
        fn $name() {
            comes_out($file);
        }
    };
}

cases! {
    long c00_golden_path: "c00-golden-path.toml",
    short c01_early_confirmation: "c01-early-confirmation.toml",
    short c02_observer_distracted: "c02-observer-distracted.toml",
    short c03_stop_not_heard: "c03-stop-not-heard.toml",
    short c04_partition_dead_spot: "c04-partition-dead-spot.toml",
    long c05_battery_dies_in_stop: "c05-battery-dies-in-stop.toml",
    short c06_confirms_race_stop: "c06-confirms-race-stop.toml",
    short c07_static_ground_early: "c07-static-ground-early.toml",
    short c08_load_on_one_pole: "c08-load-on-one-pole.toml",
    short c09_tool_not_fit: "c09-tool-not-fit.toml",
    short c10_clearance_below_limit: "c10-clearance-below-limit.toml",
    long c11_wind_rises_mid_step: "c11-wind-rises-mid-step.toml",
    long c12_reclose_block_lapses: "c12-reclose-block-lapses.toml",
    short c13_observer_relieved: "c13-observer-relieved.toml",
    short c14_tool_left_aloft: "c14-tool-left-aloft.toml",
    long c15_wrong_structure: "c15-wrong-structure.toml",
    short c16_done_then_logged: "c16-done-then-logged.toml",
    long c17_clock_wrong: "c17-clock-wrong.toml",
    short c18_glove_duplicate_press: "c18-glove-duplicate-press.toml",
    short c19_unauthorised_device: "c19-unauthorised-device.toml",
    short c20_supervisor_presses_to_resume: "c20-supervisor-presses-to-resume.toml",
    long c21_log_edited: "c21-log-edited.toml",
    short c22_hoist_without_ready: "c22-hoist-without-ready.toml",
    long c23_overnight_suspension: "c23-overnight-suspension.toml",
    long c24_lightning: "c24-lightning.toml",
    short c25_mirror_disagreement: "c25-mirror-disagreement.toml",
    short c26_ground_says_no: "c26-ground-says-no.toml",
    short c27_unbriefed_hand: "c27-unbriefed-hand.toml",
    short c28_relief_offered_twice: "c28-relief-offered-twice.toml",
    short c29_office_offered_twice: "c29-office-offered-twice.toml",
    short c30_signs_after_handing_over: "c30-signs-after-handing-over.toml",
    short c31_device_lost_and_replaced: "c31-device-lost-and-replaced.toml",
    short c32_store_put_back: "c32-store-put-back.toml",
}
