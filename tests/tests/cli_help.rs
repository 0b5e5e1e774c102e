//! Cli help: is what the program says of itself what it said before?
//! Owns: the snapshots beside it.   Gives: a difference to be looked at by people.
//! May use: support::program, insta.   Never: the wording itself (node's cli has it).
//!
//! After a wanted change: `INSTA_UPDATE=always cargo test -p gantline-tests --test cli_help`, then look at the
//! difference before committing it.

use gantline_tests::support::program::gantline;

/// Every command that has a help of its own.
const COMMANDS: [&str; 25] = [
    "",
    "device",
    "device new",
    "device show",
    "plan",
    "plan list",
    "plan show",
    "plan check",
    "job",
    "job found",
    "job join",
    "job admit",
    "job list",
    "node",
    "page",
    "act",
    "act acknowledge",
    "act stop",
    "act scan",
    "act order-status",
    "act note",
    "status",
    "verify",
    "replay",
    "demo",
];

#[test]
fn the_help_is_as_it_was() {
    let mut all = String::new();
    for command in COMMANDS {
        let mut arguments: Vec<&str> = command.split_whitespace().collect();
        arguments.push("--help");
        let ran = gantline(&arguments);
        assert_eq!(ran.code, Some(0), "{command}: {}", ran.stderr);
        assert_eq!(ran.stderr, "", "{command}: help is a result");
        all.push_str(&format!(
            "$ gantline {}\n{}\n",
            arguments.join(" "),
            ran.stdout
        ));
    }
    insta::assert_snapshot!("help", all);
}

#[test]
fn where_acts_are_done_the_cautions_are_said() {
    for command in ["", "node", "act"] {
        let mut arguments: Vec<&str> = command.split_whitespace().collect();
        arguments.push("--help");
        let help = gantline(&arguments).stdout.replace('\n', " ");
        for words in [
            "Proceed never means safe",
            "voice and hand signals stop first",
            "local codes",
            "licensed practice",
        ] {
            assert!(help.contains(words), "`{command}` does not say `{words}`");
        }
    }
    let help = gantline(&["plan", "--help"]).stdout;
    assert!(help.contains("planning aids"), "{help}");
}

#[test]
fn every_act_of_the_protocol_is_a_subcommand() {
    // The acts as they go over the control API, from the protocol's own list.
    let source = gantline_tests::support::sources::text(std::path::Path::new(
        "protocol/src/engine/command.rs",
    ));
    let list = source
        .split("pub enum Command {")
        .nth(1)
        .and_then(|rest| rest.split("\n}\n").next())
        .unwrap_or_default();
    let mut acts = Vec::new();
    for line in list.lines() {
        let Some(rest) = line.strip_prefix("    ") else {
            continue;
        };
        let name: String = rest.chars().take_while(|c| c.is_alphanumeric()).collect();
        if name.chars().next().is_some_and(char::is_uppercase) {
            let mut kebab = String::new();
            for letter in name.chars() {
                if letter.is_uppercase() && !kebab.is_empty() {
                    kebab.push('-');
                }
                kebab.extend(letter.to_lowercase());
            }
            acts.push(kebab);
        }
    }
    assert!(acts.len() > 35, "the list was read: {acts:?}");
    let help = gantline(&["act", "--help"]).stdout;
    for act in acts {
        let listed = help
            .lines()
            .any(|line| line.split_whitespace().next() == Some(act.as_str()));
        assert!(listed, "`gantline act` has no `{act}`");
    }
}
