//! Tests of the pages in a real browser, each against the node it belongs to.
//! In reading order: `crew` nodes at work · `browser` Chromium · `axe` a checker of pages in it · `start` what comes first · `hands` what a person does · `hand`, `unasked`, `office` what is done without being asked · `presses` what is a press and what is not · `looks` what is
//! seen · `glass` what reaches the screen and when · `dead` pages that do not hear their node · `own` whom a page asks, and who is let in · `papers` pages that are read · `whole` a job from the first page to the closed log.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a test may stop at the first surprise"
)]

mod axe;
mod browser;
mod crew;
mod dead;
mod glass;
mod hand;
mod hands;
mod looks;
mod office;
mod own;
mod papers;
mod presses;
mod start;
mod unasked;
mod whole;
