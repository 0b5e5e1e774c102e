//! Tests of parse: the page lists the keys, each fault says where, found and expected, nothing panics.
//! May use: everything of plan.   Never: files.

use super::keys::SECTIONS;
use super::{Fault, FaultKind, Faults, Parsed, parse, read};
use crate::decimal::Decimal;
use crate::plan::check::Problem;
use crate::plan::{Expects, Place, Plan, SMALL, Units, Who, builtin};

/// The page of `parse` as a list of section names, each with its keys in order.
fn keys_of_the_page() -> Vec<(String, Vec<String>)> {
    let mut sections: Vec<(String, Vec<String>)> = Vec::new();
    for line in include_str!("mod.rs").lines() {
        if let Some(name) = line.strip_prefix("//! ## ") {
            sections.push((name.trim_matches('`').to_owned(), Vec::new()));
        } else if let Some(row) = line.strip_prefix("//! | `") {
            let key = row.split('`').next().unwrap_or_default();
            if let Some((_, keys)) = sections.last_mut() {
                keys.push(key.to_owned());
            }
        }
    }
    sections
}

#[test]
fn every_accepted_key_is_on_the_page_and_every_key_of_the_page_is_accepted() {
    let accepted: Vec<(String, Vec<String>)> = SECTIONS
        .iter()
        .map(|section| {
            let keys = section.keys.iter().map(|key| (*key).to_owned());
            (section.name.to_owned(), keys.collect())
        })
        .collect();
    assert_eq!(keys_of_the_page(), accepted);
}

/// Every key that a plan can have, read and put where it belongs: a key that is accepted but never read
/// would leave its default here.
#[test]
fn every_key_reaches_the_plan() {
    let text = edit(&[
        ("format = 1", "format = 1\nunits = \"us\""),
        (
            "terminals = [\"North\", \"South\"]",
            "terminals = [\"North\", \"South\"]\norder = \"HL-1\"\ndata = [{ name = \"span\", value = 352.50, unit = \"m\" }]\n[times]\nwatch_limit_ms = 3000\nlost_after_ms = 9000\nready_valid_s = 20\npress_ms = 900",
        ),
        ("title = \"Observer\"", "title = \"Observer\"\nmost = 2"),
        (
            "title = \"Strain pole\"\n",
            "title = \"Strain pole\"\ntested = 2026-03-14\nrated_kn = 6.7\n",
        ),
        (
            "valid_s = 900",
            "valid_s = 900\nstable_s = 60\nlasts = \"day\"",
        ),
        (
            "after = [\"approach\"]\n",
            "after = [\"approach\"]\nsafe_to_leave = true\n",
        ),
        (
            "each = \"all\"",
            "report = [\"tower\"]\nrepeat = [\"ground\"]\nsays = \"words\"\n[[step.check]]\nid = \"a\"\ntext = \"a\"\neach = \"tower\"\nsays = \"one_of\"\nanswers = [\"in\", \"out\"]\npasses = \"in\"\n[[step.check]]\nid = \"b\"\ntext = \"b\"\neach = \"all\"\nsays = \"tally\"\nof = \"tools\"\n[[step.check]]\nid = \"c\"\ntext = \"c\"\nby = [\"tower\"]\nsays = \"order_released\"\n[[step.check]]\nid = \"d\"\ntext = \"d\"\nby = [\"tower\"]\nsays = \"order_in_effect\"\n[[step.check]]\nid = \"e\"\ntext = \"e\"\nby = [\"tower\"]\nsays = \"heads\"\n[[step.check]]\nid = \"f\"\ntext = \"f\"\nby = [\"tower\"]\nsays = \"identity\"",
        ),
    ]);
    let plan = good(&text);
    assert_eq!(plan.units, Units::Us);
    assert_eq!(plan.line.order.as_deref(), Some("HL-1"));
    assert_eq!(plan.line.data[0].value.to_string(), "352.50");
    assert_eq!(plan.times.watch_limit_ms, 3_000);
    assert_eq!(plan.times.lost_after_ms, 9_000);
    assert_eq!(plan.times.ready_valid_s, 20);
    assert_eq!(plan.times.press_ms, 900);
    assert_eq!((plan.roles[3].least, plan.roles[3].most), (1, 2));
    assert_eq!(plan.items[0].tested.as_deref(), Some("2026-03-14"));
    assert_eq!(plan.items[0].rated_kn, "6.7".parse().ok());
    assert_eq!(plan.items[0].at, Place::Ground);
    assert!(!plan.items[1].counted && plan.items[1].load && !plan.items[1].daily);
    assert_eq!(plan.conditions[1].stable_s, 60);
    assert!(plan.steps[1].safe_to_leave && plan.steps[1].critical && plan.steps[1].hold_point);
    let checks = &plan.steps[2].checks;
    assert!(matches!(checks[1].who, Who::ReadBack { .. }));
    assert_eq!(checks[1].expects, Expects::Words);
    assert!(matches!(&checks[2].who, Who::Each(Some(role)) if role.as_str() == "tower"));
    assert!(matches!(&checks[2].expects, Expects::OneOf { passes, .. } if passes == "in"));
    assert!(matches!(&checks[3].expects, Expects::Tally { of } if of == "tools"));
    assert_eq!(checks[3].who, Who::Each(None));
    assert_eq!(checks[4].expects, Expects::OrderIs { in_effect: false });
    assert_eq!(checks[5].expects, Expects::OrderIs { in_effect: true });
    assert_eq!(checks[6].expects, Expects::Heads);
    assert_eq!(checks[7].expects, Expects::Identity);
}

/// The small plan with some texts exchanged, each of which must be there once.
fn edit(changes: &[(&str, &str)]) -> String {
    let mut text = SMALL.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "the small plan has no {from:?}");
        text = text.replacen(from, to, 1);
    }
    text
}

fn good(text: &str) -> Plan {
    parse("small", text).unwrap_or_else(|faults| panic!("{faults}"))
}

fn bad(text: &str) -> Faults {
    match read("small", text) {
        Ok(Parsed { plan, .. }) => panic!("passed: {plan:?}"),
        Err(faults) => faults,
    }
}

/// The only fault of a text.
fn only(text: &str) -> Fault {
    let mut faults = bad(text);
    match (faults.list.pop(), faults.list.as_slice()) {
        (Some(fault), []) => fault,
        (last, others) => panic!("{others:#?}, {last:#?}"),
    }
}

#[test]
fn numbers_are_taken_as_they_are_written() {
    for (written, digits, scale) in [
        ("1.30", 130, 2),
        ("3.41", 341, 2),
        ("0.1", 1, 1),
        ("2", 2, 0),
        ("1_000.50", 100_050, 2),
        ("-4.0", -40, 1),
    ] {
        let text = edit(&[(
            "least = 1.30\nplaces = 2",
            &format!("least = {written}\nplaces = 2"),
        )]);
        let least = good(&text).limits[0].least.map(Decimal::parts);
        assert_eq!(least, Some((digits, scale)), "{written}");
    }
    for wrong in ["1e1", "inf", "nan", "+1.5", "1.0000000001", "1.5e0"] {
        let text = edit(&[("least = 1.30", &format!("least = {wrong}"))]);
        let fault = only(&text);
        assert!(
            matches!(fault.kind, FaultKind::BadNumber { .. }),
            "{fault:?}"
        );
        assert!(
            fault.to_string().contains("expected a number such as 3.41"),
            "{fault}"
        );
    }
    for wrong in ["\"1.30\"", "true", "0x10", "2026-01-01", "[1.3]"] {
        let text = edit(&[("least = 1.30", &format!("least = {wrong}"))]);
        assert!(
            matches!(only(&text).kind, FaultKind::WrongType { .. }),
            "{wrong}"
        );
    }
}

#[test]
fn a_fault_names_file_line_column_found_and_expected() {
    // Each: a change of the small plan, and the words of the fault from its column on; the line is that
    // of the mark `§`, which is taken out before reading.
    let cases: &[(&str, &str, &str)] = &[
        (
            "title = \"Change one strain clamp\"",
            "§tilte = \"x\"\ntitle = \"Change one strain clamp\"",
            "1: found unknown key `tilte` in the plan, expected `title`",
        ),
        (
            "hold_point = true",
            "§colour = true",
            "1: found unknown key `colour` in [[step]], expected one of `id`, `title`, `text`, `after`",
        ),
        (
            "title = \"Change one strain clamp\"",
            "§title = 3",
            "9: found the number 3 for `title`, expected a text in quotes",
        ),
        (
            "least = 2\n",
            "§least = \"two\"\n",
            "9: found the text `two` for `least`, expected a whole number",
        ),
        (
            "least = 2\n",
            "§least = 33\n",
            "9: found 33 for `least`, expected a whole number from 0 to 32",
        ),
        (
            "least = 2\n",
            "§least = -1\n",
            "9: found -1 for `least`, expected a whole number from 0 to 32",
        ),
        (
            "aloft = true",
            "§aloft = 1",
            "9: found the number 1 for `aloft`, expected true or false",
        ),
        (
            "kind = \"presence\"",
            "§kind = \"presense\"",
            "8: found `presense` for `kind`, expected `presence`",
        ),
        (
            "kind = \"presence\"",
            "§kind = \"x\"",
            "8: found `x` for `kind`, expected one of `presence`, `measured`, `none_seen`, `order`, `affirmed`",
        ),
        (
            "id = \"open\"\n",
            "§id = \"not a name\"\n",
            "6: `id`: found `not a name`, expected a name of 1 to 40 letters",
        ),
        (
            "agree_by = [\"observer\", \"tower\"]",
            "§agree_by = [\"observer\", 7]",
            "25: found the number 7 for `agree_by`, expected a name in quotes",
        ),
        (
            "agree_by = [\"observer\", \"tower\"]",
            "§agree_by = \"observer\"",
            "12: found the text `observer` for `agree_by`, expected a list in [ ]",
        ),
        (
            "valid_s = 300",
            "§valid_s = 0",
            "11: found 0 for `valid_s`, expected a whole number from 1 to 604800",
        ),
        (
            "test_months = 24",
            "test_months = 24\n§tested = \"2026-03-14\"",
            "10: found the text `2026-03-14` for `tested`, expected a date such as 2026-03-14, without quotes",
        ),
        (
            "needs = { poles = \"carrying\" }",
            "§needs = { \"the poles\" = \"carrying\" }",
            "11: `needs`: found `the poles`, expected a name",
        ),
        (
            "needs = { poles = \"carrying\" }",
            "§needs = [\"poles\"]",
            "9: found a list for `needs`, expected a table in { }",
        ),
        (
            "moves = { clamp = \"structure\" }",
            "§moves = { clamp = \"roof\" }",
            "19: found `roof` for `moves`, expected one of `truck`, `ground`",
        ),
        (
            "kind = \"measured\"\nlimit = \"wind\"",
            "kind = \"affirmed\"\n§limit = \"wind\"",
            "9: found `limit`, which goes with `kind = \"measured\"` only",
        ),
        (
            "says = \"measured\"\nlimit = \"approach\"",
            "says = \"yes\"\n§limit = \"approach\"",
            "9: found `limit`, which goes with `says = \"measured\"` only",
        ),
        (
            "[[step.check]]\nid = \"clearance\"",
            "§[[step.check]]\nid = \"clearance\"\nfirst = [\"tower\"]",
            "1: found `by`, `first` in this check, expected exactly one of `by`, `each`",
        ),
        (
            "[[step.check]]\nid = \"ready\"\ntext = \"Everyone is clear\"\neach = \"all\"",
            "§[[step.check]]\nid = \"ready\"\ntext = \"Everyone is clear\"",
            "1: found none in this check, expected exactly one of",
        ),
        (
            "[[step.check]]\nid = \"ready\"",
            "§[[step.check]]\nid = \"ready\"\nsays = \"tally\"",
            "1: found no `of`, expected one with `says = \"tally\"`",
        ),
        (
            "[line]\nname = \"Sample line\"\n",
            "§[line]\n",
            "1: found no `name`, expected one in [line]",
        ),
        (
            "title = \"Change one strain clamp\"",
            "§title = \"a\\u0007b\"",
            "9: found a text of 3 characters for `title`, expected one line of at most 500",
        ),
        (
            "title = \"Change one strain clamp\"",
            "§title = \"Change",
            "16: found ``, which is not TOML: ",
        ),
        (
            "title = \"Change one strain clamp\"",
            "title = \"x\"\n§title = \"y\"",
            "1: found `title = \"y\"`, which is not TOML: duplicate key",
        ),
        (
            "format = 1",
            "§format = 2",
            "10: found `format = 2`, expected `format = 1`, the only",
        ),
        (
            "format = 1",
            "§format = \"1\"",
            "10: found a string for `format`, expected `format = 1`",
        ),
        // What the check finds, at the place where it stands.
        (
            "after = [\"transfer\"]",
            "§after = [\"approach\", \"tranfser\"]",
            "22: found unknown step `tranfser`, expected `transfer`",
        ),
        (
            "by = [\"tower\", \"tower\"]",
            "§by = [\"tower\", \"pilot\"]",
            "16: found unknown role `pilot`, expected one of the plan's roles",
        ),
        (
            "all = { string = \"open\", poles = \"off\" }",
            "§all = { string = \"open\", poles = \"of\" }",
            "26: found state `of` of mark `poles`, expected `off`",
        ),
        (
            "after = [\"approach\"]",
            "§after = [\"approach\", \"open\"]",
            "9: found that transfer → open → transfer come after one another in a ring",
        ),
    ];
    for (from, to, words) in cases {
        let marked = edit(&[(from, to)]);
        let line = marked.split('§').next().unwrap_or_default().lines().count();
        let starts_line = marked
            .split('§')
            .next()
            .is_some_and(|text| text.ends_with('\n'));
        let line = line + usize::from(starts_line);
        let faults = bad(&marked.replace('§', ""));
        let expected = format!("small:{line}:{words}");
        let told = faults.to_string();
        let found = told.lines().any(|line| line.starts_with(&expected));
        assert!(found, "expected {expected:?} in\n{told}");
    }
}

#[test]
fn no_format_is_said_alone() {
    let fault = only(&edit(&[("format = 1\n", "colour = 1\n")]));
    assert_eq!(
        fault.to_string(),
        "1:1: found no `format`, expected `format = 1`, the only plan format that this version reads"
    );
}

#[test]
fn all_faults_of_a_file_are_found_in_its_order() {
    let text = edit(&[
        ("title = \"Change one strain clamp\"", "title = 1"),
        ("voltage_kv = 138", "voltage_kv = \"138\""),
        ("least = 2\n", "lesat = 2\n"),
        ("kind = \"order\"", "kind = \"odrer\""),
        ("critical = true", "critical = \"yes\""),
    ]);
    let faults = bad(&text);
    let lines: Vec<u32> = faults.list.iter().map(|fault| fault.spot.line).collect();
    assert_eq!(lines.len(), 5, "{faults}");
    assert!(lines.is_sorted(), "{faults}");
    // And of a well-written file all that does not hang together.
    let text = edit(&[
        (
            "agree_by = [\"observer\", \"tower\"]",
            "agree_by = [\"pilot\"]",
        ),
        ("limit = \"approach\"", "limit = \"nowhere\""),
        ("start = \"off\"", "start = \"on\""),
    ]);
    assert_eq!(bad(&text).list.len(), 3, "{}", bad(&text));
}

#[test]
fn a_second_of_one_name_names_the_line_of_the_first() {
    let text = edit(&[("id = \"transfer\"", "id = \"approach\"")]);
    let told = bad(&text).to_string();
    let line = |of: &str| {
        let at = text.lines().position(|line| line == of);
        at.map_or(0, |at| at + 1)
    };
    let first = line("id = \"approach\"");
    // The limit of the same name is no second step.
    assert!(first > 0);
    let steps: Vec<usize> = text
        .lines()
        .enumerate()
        .filter(|(_, line)| *line == "id = \"approach\"")
        .map(|(at, _)| at + 1)
        .collect();
    let expected = format!(
        "small:{}:6: found a second step `approach`, expected each once (first at line {})",
        steps[2], steps[1]
    );
    assert!(told.contains(&expected), "expected {expected:?} in\n{told}");
}

#[test]
fn warnings_come_with_the_plan_and_their_lines() {
    let text = edit(&[(
        "agree_by = [\"observer\", \"tower\"]",
        "agree_by = [\"observer\"]",
    )]);
    let parsed = read("small", &text).unwrap_or_else(|faults| panic!("{faults}"));
    let [warning] = parsed.warnings.as_slice() else {
        panic!("{:?}", parsed.warnings);
    };
    assert_eq!(warning.spot.to_string(), "6:12");
    assert!(matches!(
        warning.kind,
        FaultKind::Unsound(Problem::AgreeWithoutAloft { .. })
    ));
    let small = read("small", SMALL).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(small.warnings, []);
}

#[test]
fn a_file_beyond_any_plan_is_refused_unread() {
    let text = " ".repeat(super::FILE_MAX_BYTES);
    assert!(matches!(only(&text).kind, FaultKind::Format { .. }));
    let text = " ".repeat(super::FILE_MAX_BYTES + 1);
    assert!(matches!(only(&text).kind, FaultKind::TooLarge { .. }));
}

/// SplitMix64 (Steele, Lea, Flood 2014).
struct Dice(u64);

impl Dice {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        usize::try_from(z % bound.max(1) as u64).unwrap_or(0)
    }
}

/// Cuts, doubles, swaps or overwrites some characters or lines.
fn mutate(text: &str, dice: &mut Dice) -> String {
    const SCRAPS: [&str; 16] = [
        "\"",
        "[",
        "]",
        "{",
        "}",
        "=",
        "\n",
        "[[step]]\n",
        "9999999999999999999999",
        "-",
        "é",
        "\u{0}",
        "''",
        "[[role]]\n",
        "after = [\"P01\"]\n",
        "\\",
    ];
    let mut characters: Vec<char> = text.chars().collect();
    for _ in 0..=dice.below(4) {
        let at = dice.below(characters.len());
        let end = (at + dice.below(40)).min(characters.len());
        match dice.below(5) {
            0 => drop(characters.drain(at..end)),
            1 => {
                let again: Vec<char> = characters[at..end].to_vec();
                characters.splice(end..end, again);
            }
            2 => {
                let scrap = SCRAPS[dice.below(SCRAPS.len())];
                characters.splice(at..at, scrap.chars());
            }
            3 => {
                let mut lines: Vec<String> = characters
                    .iter()
                    .collect::<String>()
                    .lines()
                    .map(str::to_owned)
                    .collect();
                let (one, other) = (dice.below(lines.len()), dice.below(lines.len()));
                if !lines.is_empty() {
                    lines.swap(one, other);
                }
                characters = lines.join("\n").chars().collect();
            }
            _ => {
                if let Some(character) = characters.get_mut(at) {
                    *character = char::from(u8::try_from(dice.below(128)).unwrap_or(0));
                }
            }
        }
    }
    characters.into_iter().collect()
}

#[test]
fn no_text_makes_the_reader_panic_and_every_fault_is_in_the_text() {
    let seed = 0x51ab_0001_u64;
    println!("seed {seed:#x}");
    let mut dice = Dice(seed);
    let (mut passed, mut refused) = (0, 0);
    for round in 0..500 {
        let shipped = builtin().get(round % 60).map(|builtin| builtin.text);
        let text = mutate(shipped.unwrap_or(SMALL), &mut dice);
        match read("mutated", &text) {
            Ok(parsed) => {
                passed += 1;
                // What passes is a plan that later rooms can take as it is.
                assert_eq!(
                    crate::plan::errors(&parsed.plan),
                    [],
                    "seed {seed:#x} round {round}"
                );
            }
            Err(faults) => {
                refused += 1;
                assert!(!faults.list.is_empty(), "seed {seed:#x} round {round}");
                let lines = u32::try_from(text.split('\n').count()).unwrap_or(u32::MAX);
                for fault in &faults.list {
                    let within = (1..=lines).contains(&fault.spot.line);
                    assert!(within, "seed {seed:#x} round {round}: {fault}");
                }
            }
        }
    }
    assert!(
        passed > 20 && refused > 250,
        "{passed} passed, {refused} refused"
    );
}
