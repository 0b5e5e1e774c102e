//! Tests of the pages in a real browser, each against the node it belongs to.
//! In reading order: `crew` nodes at work · `browser` Chromium · `axe` a checker of pages in it · `start` what comes first · `hands` what a person does · `hand`, `unasked`, `office`, `rare` what is done without being asked · `presses` what is a press and what is not · `gestures` how many presses each act takes · `looks` what is
//! seen, `odd` seldom · `eyes` by whom · `glass` what reaches the screen and when · `dead` pages that do not hear their node · `full` one whose disk is full · `own` whom a page asks, and who is let in · `joining` a device that waits to be admitted · `papers` pages that are read · `picture` how soon each is there · `photos` notes with a photo · `whole` a job from the first page to the closed log.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a test may stop at the first surprise"
)]

mod axe;
mod browser;
mod crew;
mod dead;
mod eyes;
mod full;
mod gestures;
mod glass;
mod hand;
mod hands;
mod joining;
mod looks;
mod odd;
mod office;
mod own;
mod papers;
mod photos;
mod picture;
mod presses;
mod rare;
mod start;
mod unasked;
mod whole;
