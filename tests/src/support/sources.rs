//! Sources: which files does the workspace hold?
//! Owns: nothing.   Gives: paths and texts of the workspace's own files, in one order everywhere.
//! May use: the file system, for reading.   Never: writes.

use std::fs;
use std::path::{Path, PathBuf};

/// The workspace's top folder.
#[must_use]
pub fn top() -> PathBuf {
    let tests = Path::new(env!("CARGO_MANIFEST_DIR"));
    tests.parent().unwrap_or(tests).to_owned()
}

/// Every file under `folder` of the workspace, relative to its top, ascending; build output and dot-files
/// are left out.
#[must_use]
pub fn files(folder: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    walk(&top().join(folder), &mut found);
    found.sort();
    found
        .into_iter()
        .filter_map(|path| path.strip_prefix(top()).map(Path::to_owned).ok())
        .collect()
}

fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let path = entry.path();
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if name.starts_with('.') || name == "target" {
            continue;
        }
        if path.is_dir() {
            walk(&path, found);
        } else {
            found.push(path);
        }
    }
}

/// The text of a file of the workspace; empty if it is not text.
#[must_use]
pub fn text(path: &Path) -> String {
    fs::read_to_string(top().join(path)).unwrap_or_default()
}

/// A Rust source without its comments, line by line with the line's number, so that a rule about code
/// does not trip over a sentence. Good enough for sources formatted by rustfmt.
#[must_use]
pub fn code_lines(text: &str) -> Vec<(usize, String)> {
    text.lines()
        .enumerate()
        .map(|(index, line)| {
            let code = line.split("//").next().unwrap_or_default();
            (index + 1, code.to_owned())
        })
        .collect()
}
