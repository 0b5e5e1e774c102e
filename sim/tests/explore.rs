//! Explore: are small worlds explored to their end, without a violation, and is that never quietly less?
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_sim::explore::{World, explore};

/// Nothing happens but the work.
const QUIET: World = World {
    stop: false,
    loss: false,
    restart: false,
    relief: false,
    most_worlds: 100_000,
};

fn good(world: &World) {
    let report = explore(world).unwrap();
    println!("{report}");
    assert!(report.is_good(), "{report}");
}

#[test]
fn a_stop_that_all_hear_at_once_is_released_and_the_job_closed() {
    good(&World {
        stop: true,
        ..QUIET
    });
}

#[test]
fn a_restart_a_relief_and_a_lost_message_leave_nobody_stuck() {
    good(&World {
        loss: true,
        restart: true,
        relief: true,
        ..QUIET
    });
}

#[test]
fn a_bound_that_is_reached_is_an_error_and_says_what_was_not_looked_into() {
    let small = World {
        stop: true,
        most_worlds: 50,
        ..QUIET
    };
    let why = explore(&small).unwrap_err();
    assert!(why.starts_with("more than 50 worlds, and "), "{why}");
}
