//! Explore: a small world completely.
//! Owns: nothing.   Gives: the report, and whether nothing was broken and everything seen that must be.
//! May use: explore, the time.   Never: less than was asked: a bound that is reached is a failure.

use super::Problem;
use clap::Args;
use gantline_sim::explore::{World, explore};
use std::time::Instant;

/// Explores every order of what can happen in a small world.
///
/// Three devices, two steps; at any time one stop, one message late or lost, one loss of power and one relief
/// of the supervisor. Fails if an invariant is broken, if somebody is stuck, or if something that must happen
/// somewhere never does.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// Nobody stops.
    #[arg(long)]
    no_stop: bool,
    /// No message is late or lost.
    #[arg(long)]
    no_loss: bool,
    /// No device loses power.
    #[arg(long)]
    no_restart: bool,
    /// The supervisor keeps the office.
    #[arg(long)]
    no_relief: bool,
    /// Gives up, and fails, when there are more worlds than this.
    #[arg(long, default_value_t = 20_000_000)]
    most_worlds: usize,
}

pub(crate) fn run(arguments: &Arguments) -> Result<bool, Problem> {
    let began = Instant::now();
    let world = World {
        stop: !arguments.no_stop,
        loss: !arguments.no_loss,
        restart: !arguments.no_restart,
        relief: !arguments.no_relief,
        most_worlds: arguments.most_worlds,
    };
    let report = explore(&world).map_err(Problem::Explore)?;
    println!("{report}  {:.1} s", began.elapsed().as_secs_f64());
    Ok(report.is_good())
}
