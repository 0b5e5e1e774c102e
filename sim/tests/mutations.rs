//! Mutations: does every deliberate breakage still apply to the rules as they are written now?
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::fs;
use std::path::Path;

/// A file that a patch changes, with what each of its hunks takes out and puts in.
type Change = (String, Vec<(String, String)>);

fn changes(patch: &str) -> Vec<Change> {
    let mut changes: Vec<Change> = Vec::new();
    for line in patch.lines() {
        if let Some(file) = line.strip_prefix("+++ b/") {
            changes.push((file.to_owned(), Vec::new()));
        } else if line.starts_with("@@") {
            if let Some((_, hunks)) = changes.last_mut() {
                hunks.push((String::new(), String::new()));
            }
        } else if let Some((old, new)) = changes
            .last_mut()
            .and_then(|(_, hunks)| hunks.last_mut())
            .filter(|_| !line.starts_with("diff ") && !line.starts_with("--- "))
        {
            let (mark, text) = line.split_at(1.min(line.len()));
            for (side, other) in [(old, "+"), (new, "-")] {
                if mark != other {
                    side.push_str(text);
                    side.push('\n');
                }
            }
        }
    }
    changes
}

#[test]
fn every_breakage_still_applies() {
    let sim = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut count = 0;
    for file in fs::read_dir(sim.join("mutations")).unwrap() {
        let path = file.unwrap().path();
        if path
            .extension()
            .is_none_or(|extension| extension != "patch")
        {
            continue;
        }
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let patch = fs::read_to_string(&path).unwrap();
        assert!(
            patch.starts_with("Breaks: "),
            "{name} does not say which rule it breaks"
        );
        let changes = changes(&patch);
        assert!(!changes.is_empty(), "{name} changes nothing");
        for (file, hunks) in changes {
            let source = fs::read_to_string(sim.join("..").join(&file)).unwrap();
            assert!(!hunks.is_empty(), "{name}: {file}");
            for (old, new) in hunks {
                assert_ne!(old, new, "{name}: {file}");
                assert_eq!(
                    source.matches(&old).count(),
                    1,
                    "{name} no longer applies to {file}:\n{old}"
                );
            }
        }
        count += 1;
    }
    assert!(count >= 20, "only {count} breakages");
}
