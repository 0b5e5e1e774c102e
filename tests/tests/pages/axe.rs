//! Axe: what does the usual checker of pages find wrong with one for people who see, hear or move otherwise?
//! Owns: its script in the build folder, fetched once and known by its hash.   Gives: `look`.
//! May use: npm, browser.   Never: a script that is not the one this was written for; part of the program.

use crate::browser::Browser;
use serde_json::json;
use std::path::{Path, PathBuf};
use std::process::Command;

const NAME: &str = "axe-core-4.14.1";
const PACKAGE: &str = "axe-core@4.14.1";
const SCRIPT_BLAKE3: &str = "a0ed4373d1e8caa6416959a32966c75840c12038c33fc4b8d68e50eed251640d";

/// What it finds that bars somebody from using the page, in one line each.
const RUN: &str = r"
    const [done] = arguments;
    axe.run(document, { resultTypes: ['violations'] }).then(({ violations }) => done(
      violations.filter(({ impact }) => impact === 'serious' || impact === 'critical')
        .map(({ id, impact, help, nodes }) => `${impact} ${id}: ${help}: ${nodes.map((node) => node.html).join(' | ').slice(0, 300)}`)),
      (error) => done([`it did not run: ${error}`]))";

fn hash(script: &str) -> String {
    blake3::hash(script.as_bytes()).to_hex().to_string()
}

fn run(command: &mut Command) {
    let out = command.output().unwrap_or_else(|error| {
        panic!("{command:?}: {error}; tests/run installs what it needs (npm, nodejs)")
    });
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{command:?}: {said}");
}

/// The script, from the build folder; fetched when it is not there.
fn script(build: &Path) -> String {
    let kept = build.join(NAME).join("axe.min.js");
    if let Ok(script) = std::fs::read_to_string(&kept)
        && hash(&script) == SCRIPT_BLAKE3
    {
        return script;
    }
    // In a folder of its own, so that two tests at once do not meet.
    let folder = tempfile::tempdir_in(build).unwrap();
    let at = |name: &str| -> PathBuf { folder.path().join(name) };
    run(Command::new("npm")
        .args(["pack", "--silent", "--pack-destination"])
        .arg(folder.path())
        .arg(PACKAGE));
    run(Command::new("tar")
        .arg("-xzf")
        .arg(at(&format!("{NAME}.tgz")))
        .arg("-C")
        .arg(folder.path()));
    let script = std::fs::read_to_string(at("package/axe.min.js")).unwrap();
    assert_eq!(hash(&script), SCRIPT_BLAKE3, "{PACKAGE} is not what it was");
    std::fs::create_dir_all(build.join(NAME)).unwrap();
    std::fs::rename(at("package/axe.min.js"), &kept).unwrap();
    script
}

/// Everything serious or critical on the page as it is.
pub async fn look(browser: &Browser) -> Vec<String> {
    let there = browser.run("return typeof axe === 'object'").await;
    if there != json!(true) {
        // By the driver, so that the page's own policy need not allow it.
        let script = script(&crate::browser::build());
        browser.run(&script).await;
    }
    let found = browser.client.execute_async(RUN, Vec::new()).await.unwrap();
    let found = found.as_array().unwrap().iter();
    found
        .map(|one| one.as_str().unwrap_or_default().to_owned())
        .collect()
}
