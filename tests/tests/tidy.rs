//! Tidy: are the house rules kept that a machine can check?
//! Owns: the rules.   Gives: the file and line that breaks one, and what to do instead.
//! May use: support::sources.   Never: taste.

use gantline_tests::support::sources::{code_lines, files, text, top};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

fn sources(folders: &[&str]) -> Vec<PathBuf> {
    folders
        .iter()
        .flat_map(|folder| files(folder))
        .filter(|path| path.extension().is_some_and(|kind| kind == "rs"))
        .collect()
}

fn all_sources() -> Vec<PathBuf> {
    sources(&["protocol", "node", "sim", "tests"])
}

/// Fails with every finding at once, so that one run shows all there is to mend.
fn none(findings: Vec<String>, rule: &str) {
    assert!(findings.is_empty(), "{rule}\n  {}", findings.join("\n  "));
}

#[test]
fn the_walk_finds_the_sources() {
    let sources = all_sources();
    for must in [
        "protocol/src/lib.rs",
        "node/src/main.rs",
        "tests/tests/tidy.rs",
    ] {
        assert!(sources.contains(&PathBuf::from(must)), "{must} not found");
    }
}

#[test]
fn each_file_starts_with_its_door_card() {
    let mut findings = Vec::new();
    for path in all_sources() {
        let text = text(&path);
        let first = text.lines().next().unwrap_or_default();
        let titled = first
            .strip_prefix("//! ")
            .is_some_and(|title| title.len() > 10);
        if !titled {
            findings.push(format!("{}: first line is `{first}`", path.display()));
            continue;
        }
        // An index says what is where; a test says what it proves.
        let index = ["lib.rs", "main.rs", "mod.rs", "tests.rs"]
            .iter()
            .any(|name| path.ends_with(name))
            || path.iter().skip(1).any(|folder| folder == "tests");
        let card: String = text
            .lines()
            .take_while(|line| line.starts_with("//!"))
            .collect();
        let says = card.contains("May use:") || card.contains("Never:");
        if !(index || says) {
            findings.push(format!(
                "{}: the card says neither `May use:` nor `Never:`",
                path.display()
            ));
        }
    }
    none(
        findings,
        "each source opens with `//! Name: what question it answers`, then what it owns, gives, may use:",
    );
}

#[test]
fn no_clock_chance_or_machine_in_protocol_and_sim() {
    // What, and what takes its place.
    let banned = [
        ("HashMap", "BTreeMap: its order is the same in every run"),
        ("HashSet", "BTreeSet: its order is the same in every run"),
        ("RandomState", "a fixed hash function"),
        ("Instant", "time::Tick, handed in"),
        ("SystemTime", "time::WallClock, handed in"),
        ("std::time", "time::Now, handed in"),
        ("std::fs", "an effect, carried out by node"),
        ("std::net", "an effect, carried out by node"),
        ("std::thread", "an effect, carried out by node"),
        ("tokio", "an effect, carried out by node"),
        ("getrandom", "a seed, handed in"),
        ("thread_rng", "a seed, handed in"),
        ("async fn", "a state machine"),
    ];
    let excuses = [
        // Hashed by a fixed function of its own, looked up and never walked.
        ("protocol/src/engine/intake.rs", "Hash"),
        // Looked up by what a state is, and never walked: a million states, found in one go.
        ("sim/src/explore/locals.rs", "HashMap"),
        // A thread for each device that stops: they share nothing, and their reports are added in a fixed order.
        ("sim/src/explore/mod.rs", "std::thread"),
    ];
    let mut findings = Vec::new();
    for path in sources(&["protocol/src", "sim/src"]) {
        // A simulator's own program may read its arguments and the time for a progress line.
        if path.ends_with("main.rs") || path.starts_with("sim/src/program") {
            continue;
        }
        for (number, line) in code_lines(&text(&path)) {
            for (what, instead) in banned {
                let standing_alone = line.match_indices(what).any(|(at, _)| {
                    let before = line[..at].chars().next_back();
                    !before.is_some_and(|c| c.is_alphanumeric() || c == '_')
                });
                let excused = excuses
                    .iter()
                    .any(|(file, word)| path == Path::new(file) && what.starts_with(word));
                if standing_alone && !excused {
                    findings.push(format!(
                        "{}:{number}: {what}; use {instead}",
                        path.display()
                    ));
                }
            }
        }
    }
    none(findings, "protocol and sim are the same in every run:");
}

#[test]
fn no_device_has_simulated_signatures() {
    let mut findings = Vec::new();
    let sources = sources(&["node"]);
    assert!(sources.len() > 50, "the sources of node were not found");
    for path in sources {
        for (number, line) in code_lines(&text(&path)) {
            if line.contains("simulated") || line.contains("Signatures") {
                findings.push(format!("{}:{number}: {line}", path.display()));
            }
        }
    }
    let manifest = text(Path::new("node/Cargo.toml"));
    if manifest.contains("gantline-sim") {
        findings.push("node/Cargo.toml depends on gantline-sim".to_owned());
    }
    none(
        findings,
        "a device knows the signatures of the field only (protocol::log::signatures):",
    );
}

#[test]
fn sled_is_named_in_one_file() {
    let mut named = BTreeSet::new();
    for path in all_sources() {
        if path.ends_with("tests/tidy.rs") {
            continue;
        }
        if code_lines(&text(&path))
            .iter()
            // A module of ours may have the crate's name; its exports go through it.
            .any(|(_, line)| line.contains("sled::") && !line.starts_with("pub use sled::{"))
        {
            named.insert(path);
        }
    }
    assert_eq!(
        named.into_iter().collect::<Vec<_>>(),
        [PathBuf::from("node/src/store/sled.rs")],
        "sled stays behind one file, so that it can be set aside and replaced"
    );
}

#[test]
fn nothing_is_left_for_later() {
    // In two halves, so that this file does not find itself.
    let markers = [
        concat!("to", "do!("),
        concat!("unimpl", "emented!("),
        concat!("TO", "DO"),
        concat!("FIX", "ME"),
        concat!("HA", "CK"),
        concat!("XX", "X"),
    ];
    let mut findings = Vec::new();
    for path in all_sources() {
        for (index, line) in text(&path).lines().enumerate() {
            for marker in markers {
                if line.contains(marker) {
                    findings.push(format!("{}:{}: {marker}", path.display(), index + 1));
                }
            }
        }
    }
    none(findings, "main is whole at every commit:");
}

#[test]
fn protocol_depends_on_nothing_that_can_do_io() {
    let tree = Command::new(env!("CARGO"))
        .args([
            "tree",
            "--quiet",
            "--offline",
            "--package",
            "gantline-protocol",
            "--edges",
            "normal,build",
            "--prefix",
            "none",
        ])
        .current_dir(top())
        .output();
    let tree = match tree {
        Ok(tree) if tree.status.success() => String::from_utf8_lossy(&tree.stdout).into_owned(),
        other => panic!("cargo tree did not answer: {other:?}"),
    };
    let packages: BTreeSet<&str> = tree
        .lines()
        .filter_map(|line| line.split(' ').next())
        .collect();
    assert!(packages.contains("blake3"), "the tree was read: {tree}");
    for banned in [
        "tokio",
        "quinn",
        "rustls",
        "sled",
        "getrandom",
        "rand",
        "mio",
        "socket2",
        "async-std",
        "chrono",
        "jiff",
        "axum",
        "gantline",
    ] {
        assert!(
            !packages.contains(banned),
            "protocol depends on {banned}; hand in values from node instead"
        );
    }
}

#[test]
fn the_tree_in_the_developers_page_is_the_real_one() {
    let page = text(Path::new("DEVELOPERS.md"));
    let listed = tree_of(&page);
    let real = real_tree();
    if std::env::var_os("UPDATE_TREE").is_some() {
        let written = std::fs::write(top().join("DEVELOPERS.md"), with_tree(&page, &real));
        assert!(written.is_ok(), "{written:?}");
        return;
    }
    let missing: Vec<_> = real.difference(&listed).cloned().collect();
    let gone: Vec<_> = listed
        .difference(&real)
        .filter(|path| !top().join(path).exists())
        .cloned()
        .collect();
    none(
        missing,
        "not in DEVELOPERS.md's tree; run this test with UPDATE_TREE=1 and look at the change:",
    );
    none(
        gone,
        "in DEVELOPERS.md's tree but not there; run this test with UPDATE_TREE=1:",
    );
}

/// Every file that the page lists: sources, manifests, plans. Tables and snapshots are listed by their folder.
fn real_tree() -> BTreeSet<String> {
    ["protocol", "node", "sim", "tests"]
        .iter()
        .flat_map(|folder| files(folder))
        .filter(|path| {
            let kind = path.extension().and_then(|kind| kind.to_str());
            kind.is_some_and(|kind| ["rs", "toml"].contains(&kind)) || path.ends_with("tests/run")
        })
        .map(|path| path.display().to_string())
        .collect()
}

/// The page with its tree made anew; each line says what the file's own door card says.
fn with_tree(page: &str, real: &BTreeSet<String>) -> String {
    let mut tree = String::new();
    let mut open: Vec<&str> = Vec::new();
    for path in real {
        let parts: Vec<&str> = path.split('/').collect();
        let (name, folders) = parts.split_last().map_or(("", &[][..]), |(n, f)| (*n, f));
        let same = open.iter().zip(folders).take_while(|(a, b)| a == b).count();
        open.truncate(same);
        for folder in &folders[same..] {
            tree.push_str(&format!("{}{folder}/\n", "  ".repeat(open.len())));
            open.push(folder);
        }
        let source = text(Path::new(path));
        let card = source
            .lines()
            .next()
            .and_then(|line| line.strip_prefix("//! "));
        let line = format!("{}{name}", "  ".repeat(open.len()));
        match card {
            Some(card) => tree.push_str(&format!("{line:<34}  {card}\n")),
            None => tree.push_str(&format!("{line}\n")),
        }
    }
    let Some((before, rest)) = page.split_once("\n## Layout") else {
        return page.to_owned();
    };
    let mut parts = rest.splitn(3, "```");
    let (words, after) = (
        parts.next().unwrap_or_default(),
        parts.nth(1).unwrap_or_default(),
    );
    format!("{before}\n## Layout{words}```\n{tree}```{after}")
}

/// Paths in the first code block under the heading `## Layout`: one a line, two spaces deeper for what is
/// in a folder, folders ending in a slash, words after two spaces.
fn tree_of(page: &str) -> BTreeSet<String> {
    let mut paths = BTreeSet::new();
    let mut folders: Vec<String> = Vec::new();
    let block = page
        .split("\n## Layout")
        .nth(1)
        .and_then(|rest| rest.split("```").nth(1))
        .unwrap_or_default();
    for line in block.lines().filter(|line| !line.trim().is_empty()) {
        let depth = line.chars().take_while(|c| *c == ' ').count() / 2;
        let name = line.trim_start().split("  ").next().unwrap_or_default();
        folders.truncate(depth);
        match name.trim_end().strip_suffix('/') {
            Some(folder) => folders.push(folder.to_owned()),
            None => {
                let mut path = folders.join("/");
                if !path.is_empty() {
                    path.push('/');
                }
                path.push_str(name.trim_end());
                paths.insert(path);
            }
        }
    }
    paths
}

#[test]
fn the_tree_reader_reads_trees() {
    let page =
        "# x\n\n## Layout\n\n```\na/\n  b.rs     one thing\n  c/\n    d.rs  another\ne.toml\n```\n";
    let expected: BTreeSet<String> = ["a/b.rs", "a/c/d.rs", "e.toml"].map(str::to_owned).into();
    assert_eq!(tree_of(page), expected);
}
