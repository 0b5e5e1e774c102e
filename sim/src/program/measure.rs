//! Measure: the tables and drawings of what the radio does to a crew.
//! Owns: which settings are measured.   Gives: tables for people, drawings if wanted.
//! May use: the library's measure, plot, files, the time for a speed.   Never: a judgement.

use super::Problem;
use super::plot::Plot;
use clap::Args;
use gantline_sim::measure::{Loss, Setting, part, rest, spread, usual_watch_limit_ms};
use std::path::{Path, PathBuf};
use std::time::Instant;

/// Datagrams lost on average, in a hundred.
const LOSSES: [u64; 6] = [0, 10, 20, 30, 40, 50];
/// Watch limits, ms: a plan may ask for 2 to 10 s.
const LIMITS_MS: [u64; 4] = [2_000, 3_000, 4_000, 6_000];
/// Crews.
const CREWS: [usize; 7] = [5, 6, 8, 12, 16, 24, 32];
/// The crew that the other tables are of.
const CREW: usize = 6;
/// The loss of the table of crews, in a hundred.
const CREWS_LOSS: u64 = 20;
/// What a crew sends grows by the square of its size: the largest are looked at for a tenth of the time.
const LARGE: usize = 12;

/// Three tables: how fast stops spread, what share of the time a crew of six is in a false Hold (a Hold by loss of
/// contact while every device is on and well), and what a crew of each size sends and takes. All times are virtual,
/// so the same options give the same numbers, but for the last column of the last table.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// Virtual minutes for each setting of the second and third table.
    #[arg(long, default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    minutes: u32,
    /// Stops pressed for each setting of the first table.
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    stops: u32,
    /// Draws everything.
    #[arg(long, default_value_t = 1)]
    seed: u32,
    /// Writes the drawings to this folder.
    #[arg(long, value_name = "DIR")]
    plots: Option<PathBuf>,
}

fn setting(devices: usize, loss: Loss, percent: u64, watch_limit_ms: u64) -> Setting {
    Setting {
        devices,
        air: loss.air(percent),
        watch_limit_ms,
    }
}

pub(crate) fn measure(arguments: &Arguments) -> Result<bool, Problem> {
    let drawings = [
        ("stop-spread.svg", spreads(arguments)),
        ("false-hold.svg", holds(arguments)),
        ("crews.svg", crews(arguments)),
    ];
    if let Some(folder) = &arguments.plots {
        for (name, plot) in drawings {
            write(&folder.join(name), &plot.svg())?;
        }
    }
    Ok(true)
}

fn write(path: &Path, text: &str) -> Result<(), Problem> {
    let folder = path.parent().unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder)
        .and_then(|()| std::fs::write(path, text))
        .map_err(|why| Problem::Write {
            path: path.to_owned(),
            why,
        })?;
    eprintln!("written: {}", path.display());
    Ok(())
}

/// How fast stops spread.
fn spreads(arguments: &Arguments) -> Plot {
    println!("Stop pressed on one of {CREW} devices, shown by the others, ms after the press:\n");
    println!("| lost | how | half | 99 of 100 | all | last device, half | not in 30 s |");
    println!("|---|---|---|---|---|---|---|");
    let mut lines = Vec::new();
    for loss in Loss::ALL {
        for percent in LOSSES {
            if percent == 0 && loss != Loss::Alone {
                continue;
            }
            let setting = setting(CREW, loss, percent, usual_watch_limit_ms());
            let spread = spread(
                &setting,
                u64::from(arguments.seed),
                u64::from(arguments.stops),
            );
            println!(
                "| {percent} % | {} | {} | {} | {} | {} | {} |",
                loss.name(),
                part(&spread.shown_ms, 500),
                part(&spread.shown_ms, 990),
                part(&spread.shown_ms, 1_000),
                part(&spread.all_ms, 500),
                spread.not_shown
            );
            if percent == 0 || percent == 30 {
                let points = (0..=50).map(|n| {
                    let of_thousand = n * 20;
                    let shown = part(&spread.shown_ms, of_thousand) as f64;
                    (shown, of_thousand as f64 / 10.0)
                });
                let name = match percent {
                    0 => "nothing lost".to_owned(),
                    percent => format!("{percent} %, {}", loss.name()),
                };
                lines.push((name, points.collect()));
            }
        }
    }
    Plot {
        title: format!("Stops that are shown, crew of {CREW}"),
        across: "after the press, ms".to_owned(),
        up: "shown by so many in a hundred devices".to_owned(),
        by_powers: false,
        lines,
    }
}

/// What share of the time is a false Hold.
fn holds(arguments: &Arguments) -> Plot {
    println!(
        "\nFalse Hold of a crew of {CREW}, {} virtual minutes each: share of the devices' time, and how many begin in \
         an hour:\n",
        arguments.minutes
    );
    println!("| lost | how | limit 2 s | limit 3 s | limit 4 s | limit 6 s |");
    println!("|---|---|---|---|---|---|");
    let mut lines: Vec<(String, Vec<(f64, f64)>)> = Vec::new();
    for loss in Loss::ALL {
        for percent in LOSSES {
            print!("| {percent} % | {} |", loss.name());
            for limit_ms in LIMITS_MS {
                let setting = setting(CREW, loss, percent, limit_ms);
                let for_ms = u64::from(arguments.minutes) * 60_000;
                let rest = rest(&setting, u64::from(arguments.seed), for_ms);
                print!(
                    " {:.3} %, {:.1} |",
                    100.0 * rest.share(),
                    rest.begun_per_hour()
                );
                let name = format!("{}, {} s", loss.name(), limit_ms / 1_000);
                let point = (percent as f64, 100.0 * rest.share());
                match lines.iter_mut().find(|(known, _)| *known == name) {
                    Some((_, points)) => points.push(point),
                    None => lines.push((name, vec![point])),
                }
            }
            println!();
        }
    }
    // Every kind at the usual limit, and fades at every limit.
    lines.retain(|(name, _)| name.ends_with(", 4 s") || name.starts_with(Loss::Fading.name()));
    Plot {
        title: format!("False Hold, crew of {CREW}"),
        across: "datagrams lost, %".to_owned(),
        up: "share of the time, %".to_owned(),
        by_powers: true,
        lines,
    }
}

/// Crews of every size.
fn crews(arguments: &Arguments) -> Plot {
    println!(
        "\nCrews at rest, {CREWS_LOSS} % lost each alone, limit {} s; stops as in the first table:\n",
        usual_watch_limit_ms() / 1_000
    );
    println!(
        "| devices | datagrams/s | mean bytes | false Hold | stop: half, ms | stop: all, ms | times real time, one core |"
    );
    println!("|---|---|---|---|---|---|---|");
    let mut half = Vec::new();
    let mut all = Vec::new();
    for devices in CREWS {
        let setting = setting(devices, Loss::Alone, CREWS_LOSS, usual_watch_limit_ms());
        let minutes_ms = u64::from(arguments.minutes) * 60_000;
        let (for_ms, stops) = if devices > LARGE {
            (minutes_ms / 10, arguments.stops.div_ceil(10))
        } else {
            (minutes_ms, arguments.stops)
        };
        let spread = spread(&setting, u64::from(arguments.seed), u64::from(stops));
        let began = Instant::now();
        let rest = rest(&setting, u64::from(arguments.seed), for_ms);
        let times = rest.for_ms as f64 / 1_000.0 / began.elapsed().as_secs_f64();
        println!(
            "| {devices} | {:.0} | {:.0} | {:.3} % | {} | {} | {times:.0} |",
            rest.datagrams_per_s(),
            rest.mean_bytes(),
            100.0 * rest.share(),
            part(&spread.shown_ms, 500),
            part(&spread.shown_ms, 1_000),
        );
        half.push((devices as f64, part(&spread.shown_ms, 500) as f64));
        all.push((devices as f64, part(&spread.shown_ms, 1_000) as f64));
    }
    Plot {
        title: format!("Stops by size of the crew, {CREWS_LOSS} % lost"),
        across: "devices".to_owned(),
        up: "shown after, ms".to_owned(),
        by_powers: false,
        lines: vec![("half".to_owned(), half), ("all".to_owned(), all)],
    }
}
