//! Program: does `gantline-sim` say what it did, and refuse what it does not understand with 2?
//! Owns: files in the folder that cargo gives to tests.   Gives: nothing.
//! May use: the program as it is built.   Never: the words of a whole help text (they may be improved freely).

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_sim::script::{Script, Wanted, draw};
use std::path::PathBuf;
use std::process::Command;

struct Said {
    code: i32,
    out: String,
    error: String,
}

fn sim(arguments: &[&str]) -> Said {
    let output = Command::new(env!("CARGO_BIN_EXE_gantline-sim"))
        .args(arguments)
        .output()
        .unwrap();
    Said {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        error: String::from_utf8(output.stderr).unwrap(),
    }
}

fn file(name: &str, text: &str) -> String {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

/// A run of a few seconds, so that the program can be asked for it unoptimised.
fn small() -> Script {
    let mut script = draw(&Wanted {
        seed: 11,
        devices: Some(5),
        short: false,
    });
    script.plan = "small".to_owned();
    script.steps = Some(1);
    script.first_act_ms = 2_000;
    script.think_ms = (200, 400);
    script.events.clear();
    script
}

#[test]
fn each_subcommand_has_a_help_that_names_its_arguments() {
    let all = sim(&["--help"]);
    assert_eq!(all.code, 0);
    for (command, arguments) in [
        (
            "run",
            &[
                "--seeds",
                "--devices",
                "--json",
                "--found",
                "--keep-going",
                "--as-found",
                "--short",
            ][..],
        ),
        ("one", &["--trace", "--script", "--devices", "--short"][..]),
        ("cases", &["--only", "--seed", "--rough", "--first"][..]),
    ] {
        assert!(all.out.contains(&format!("  {command} ")), "{}", all.out);
        let help = sim(&[command, "--help"]);
        assert_eq!(help.code, 0);
        for argument in arguments {
            assert!(help.out.contains(argument), "{command}: {}", help.out);
        }
    }
}

#[test]
fn arguments_that_are_not_understood_end_with_2_and_what_was_expected() {
    for (arguments, expected) in [
        (&["run", "--seeds", "9..3"][..], "expected two numbers A..B"),
        (&["run", "--seeds", "many"][..], "found `many`"),
        (&["run", "--seeds", "0..1", "--devices", "33"][..], "5..=32"),
        (&["run"][..], "--seeds"),
        (&["one", "1", "--devices", "four"][..], "four"),
        (&["walk"][..], "walk"),
    ] {
        let said = sim(arguments);
        assert_eq!(said.code, 2, "{arguments:?}: {}", said.error);
        assert!(
            said.error.contains(expected),
            "{arguments:?}: {}",
            said.error
        );
        assert!(said.out.is_empty(), "{arguments:?}: {}", said.out);
    }
}

#[test]
fn a_file_that_is_no_script_ends_with_2_and_names_file_line_field_and_what_was_expected() {
    let absent = sim(&["one", "no/such/file.toml"]);
    assert_eq!(absent.code, 2);
    assert!(
        absent.error.contains("no/such/file.toml"),
        "{}",
        absent.error
    );

    let good = small().to_text().unwrap();
    for (name, from, to, expected) in [
        (
            "field.toml",
            "devices = 5",
            "device = 5",
            &["line 4", "device"][..],
        ),
        (
            "type.toml",
            "devices = 5",
            "devices = \"five\"",
            &["line 4", "expected"][..],
        ),
        (
            "range.toml",
            "devices = 5",
            "devices = 4",
            &["`devices`", "5 to 32"][..],
        ),
        (
            "plan.toml",
            "plan = \"small\"",
            "plan = \"smaller\"",
            &["`plan`", "small"][..],
        ),
        ("toml.toml", "devices = 5", "devices five", &["line 4"][..]),
    ] {
        let text = good.replacen(from, to, 1);
        assert_ne!(text, good, "{name}");
        let path = file(name, &text);
        let said = sim(&["one", &path]);
        assert_eq!(said.code, 2, "{name}: {}", said.error);
        for expected in expected.iter().chain(&[path.as_str()]) {
            assert!(said.error.contains(expected), "{name}: {}", said.error);
        }
        assert!(
            !said.out.contains("simulated,"),
            "{name} was run: {}",
            said.out
        );
    }
}

#[test]
fn a_file_is_run_to_its_close_and_tells_the_same_trace_each_time() {
    let path = file("good.toml", &small().to_text().unwrap());
    let first = sim(&["one", &path]);
    assert_eq!(first.code, 0, "{}{}", first.out, first.error);
    assert!(
        first.out.contains("closed") && first.out.contains("trace"),
        "{}",
        first.out
    );
    assert_eq!(first.out, sim(&["one", &path]).out);
    let told = sim(&["one", &path, "--trace"]);
    assert!(told.out.contains("presses Close"), "{}", told.out);
    assert_eq!(
        told.out.lines().last(),
        first.out.lines().last(),
        "telling changes nothing"
    );
}

#[test]
fn a_range_of_seeds_answers_in_json() {
    let said = sim(&[
        "run",
        "--seeds",
        "2..3",
        "--devices",
        "5",
        "--json",
        "--threads",
        "1",
    ]);
    assert_eq!(said.code, 0, "{}{}", said.out, said.error);
    let answer: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(answer["runs"], 1);
    assert_eq!(answer["failing_seeds"], serde_json::json!([]));
    assert!(answer["never_occurred"].is_null(), "too few to look at it");
    assert!(answer["device_hours"].as_f64().unwrap() > 0.0);
    assert!(
        answer["occurred"].as_object().unwrap().len() > 3,
        "{answer}"
    );
}

#[test]
fn in_short_runs_only_what_people_do_must_occur() {
    let said = sim(&["run", "--seeds", "1..2", "--short", "--all-occur", "--json"]);
    assert_eq!(said.code, 1, "{}{}", said.out, said.error);
    let answer: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(answer["failing_seeds"], serde_json::json!([]));
    let missing = answer["never_occurred"].as_array().unwrap();
    let missing: Vec<&str> = missing.iter().filter_map(|name| name.as_str()).collect();
    assert!(missing.contains(&"stop") != answer["occurred"]["stop"].is_u64());
    assert!(!missing.contains(&"partition"), "{missing:?}");
    assert!(missing.len() > 10, "{missing:?}");
}

#[test]
fn runs_in_which_something_never_occurred_fail_where_all_must_occur() {
    let run = ["run", "--seeds", "2..3", "--devices", "5"];
    assert_eq!(sim(&run).code, 0);
    let said = sim(&[&run[..], &["--all-occur"]].concat());
    assert_eq!(said.code, 1, "{}{}", said.out, said.error);
    let line = said.out.lines().last().unwrap();
    let missing = line.strip_prefix("NEVER OCCURRED: ").unwrap();
    assert!(missing.split(", ").any(|name| name == "fork"), "{line}");
    assert!(!said.out.contains("fork 1"), "{}", said.out);
    let said = sim(&[&run[..], &["--all-occur", "--json"]].concat());
    let answer: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    let missing = answer["never_occurred"].as_array().unwrap();
    assert!(missing.contains(&"fork".into()), "{answer}");
}

#[test]
fn cases_are_run_and_reported_and_a_word_that_no_form_knows_is_an_error() {
    let sources = concat!(env!("CARGO_MANIFEST_DIR"), "/cases");
    let good = sim(&["cases", sources, "--only", "c06"]);
    assert_eq!(good.code, 0, "{}{}", good.out, good.error);
    assert!(
        good.out.contains("C06 seed 1, 0 % lost: 8 of 8"),
        "{}",
        good.out
    );

    let name = "c06-confirms-race-stop.toml";
    let text = std::fs::read_to_string(format!("{sources}/{name}")).unwrap();
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("cases");
    std::fs::create_dir_all(&folder).unwrap();
    let folder = folder.to_str().unwrap();
    let write = |text: &str| std::fs::write(format!("{folder}/{name}"), text).unwrap();

    // What does not come out as the case says is said with its line, and ends with 1.
    let wrong = text.replacen("value = \"stop\"", "value = \"running\"", 1);
    write(&wrong);
    let unmet = sim(&["cases", folder]);
    assert_eq!(unmet.code, 1, "{}", unmet.out);
    let line = wrong
        .lines()
        .position(|line| line == "value = \"running\"")
        .unwrap();
    let table = wrong.lines().take(line).collect::<Vec<_>>();
    let line = table
        .iter()
        .rposition(|line| *line == "[[expect]]")
        .unwrap()
        + 1;
    assert!(
        unmet.out.contains(&format!("{name}:{line}: at 12500 ms")),
        "{}",
        unmet.out
    );
    assert!(
        unmet.out.contains("1 runs of cases, 0 as the case says"),
        "{}",
        unmet.out
    );

    // In the order of the files, however many threads there are; and with `--first` nothing after that one.
    let second = "c18-glove-duplicate-press.toml";
    let beside = format!("{folder}/{second}");
    std::fs::copy(format!("{sources}/{second}"), &beside).unwrap();
    let alone = sim(&["cases", folder, "--threads", "1"]);
    assert!(
        alone.out.ends_with("2 runs of cases, 1 as the case says\n"),
        "{}",
        alone.out
    );
    let both = ["cases", folder, "--threads", "2"];
    assert_eq!(alone.out, sim(&both).out);
    let first = sim(&[&both[..], &["--first"]].concat());
    assert!(
        first.out.ends_with("1 runs of cases, 0 as the case says\n"),
        "{}",
        first.out
    );
    std::fs::remove_file(&beside).unwrap();

    write(&text.replacen("what = \"confirm\"", "what = \"conform\"", 1));
    let unknown = sim(&["cases", folder]);
    assert_eq!((unknown.code, unknown.out.as_str()), (2, ""));
    assert!(
        unknown
            .error
            .contains("event e1.what: found `conform`, expected one of "),
        "{}",
        unknown.error
    );
    assert!(unknown.error.contains(name), "{}", unknown.error);
    assert_eq!(sim(&["cases", sources, "--only", "C99"]).code, 2);
    assert_eq!(sim(&["cases", "/no/such/folder"]).code, 2);
}
