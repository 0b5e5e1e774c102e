//! Limit page: does it print on two sides, in a real browser, with its drawings and no request to anywhere?
//! Owns: the printed file.   Gives: nothing.
//! May use: support::program, Chromium.   Never: the node's own code.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_tests::support::program::gantline;
use std::path::Path;
use std::process::Command;

const PLANS: [&str; 3] = ["suspension-230", "suspension-345-ladder", "dead-end-138"];

/// Prints a page as a browser would for its printer; how many sides it took.
fn sides(page: &Path, folder: &Path) -> usize {
    let printed = folder.join("printed.pdf");
    let ran = Command::new("chromium")
        .args(["--headless", "--no-sandbox", "--disable-gpu"])
        .args(["--no-first-run", "--disable-quic"])
        .args(["--disable-background-networking", "--disable-sync"])
        .args(["--disable-component-update", "--no-pdf-header-footer"])
        .arg(format!(
            "--user-data-dir={}",
            folder.join("profile").display()
        ))
        .arg(format!("--print-to-pdf={}", printed.display()))
        .arg(format!("file://{}", page.display()))
        .output()
        .unwrap_or_else(|fault| panic!("chromium is not there; tests/run installs it: {fault}"));
    let bytes = std::fs::read(&printed).unwrap_or_else(|fault| panic!("{fault}: {ran:?}"));
    // Each side of a PDF is one object of the type Page (ISO 32000-1, 7.7.3.3); the list of them is Pages.
    let text = String::from_utf8_lossy(&bytes);
    text.matches("/Type /Page")
        .count()
        .checked_sub(text.matches("/Type /Pages").count())
        .unwrap()
}

#[test]
fn each_plan_that_ships_has_a_limit_page_on_two_sides_with_drawings_and_cautions() {
    for plan in PLANS {
        let folder = tempfile::tempdir().unwrap();
        let page = folder.path().join("limits.html");
        let ran = gantline(&["plan", "limits", plan, "--html", page.to_str().unwrap()]);
        assert_eq!(ran.code, Some(0), "{plan}: {ran:?}");
        let html = std::fs::read_to_string(&page).unwrap();
        assert!(html.matches("<figure").count() >= 2, "{plan}: drawings");
        assert!(html.contains("licensed engineers decide"), "{plan}");
        for away in ["http://", "https://", "src=", "@import", "url(http"] {
            assert!(!html.contains(away), "{plan}: the page asks for {away}");
        }
        assert_eq!(sides(&page, folder.path()), 2, "{plan}");
    }
}
