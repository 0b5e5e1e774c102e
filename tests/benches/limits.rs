//! Limits: what the limit sheet of a plan costs, and a rig's forces.
//! Owns: random rigs, by a seed.   Gives: lines of `measure peer n metric value unit`, tab-separated.
//! May use: protocol's plans and limits.   Never: an absolute bound.
//!
//! One core, one thread. Each sheet is worked out from a parsed plan, all its parts, and the middle of many times is
//! given. Rigs are drawn over the range that crews use, and each is solved and held against its ratings; rigs
//! without equilibrium count as well, as they cost the same.
//!
//! `cargo bench -p gantline-tests --bench limits`

use gantline_protocol::limits::boom::{Point, Ratings, Rig, forces, utilisation};
use gantline_protocol::limits::units::{Angle, Force, Length};
use gantline_protocol::plan::{builtin, limit_sheet};
use gantline_sim::rng::Rng;
use std::hint::black_box;
use std::time::Instant;

const SHEETS: usize = 200;
const RIGS: u32 = 200_000;
const SEED: u64 = 1;

fn main() {
    for ships in builtin() {
        let plan = ships.plan().unwrap_or_else(|bad| panic!("{bad}"));
        let mut times: Vec<f64> = (0..SHEETS)
            .map(|_| {
                let start = Instant::now();
                let sheet = black_box(limit_sheet(black_box(&plan)));
                assert!(sheet.gaps.is_empty(), "{:?}", sheet.gaps);
                start.elapsed().as_secs_f64() * 1_000.0
            })
            .collect();
        times.sort_unstable_by(f64::total_cmp);
        let metric = format!("full sheet, {}", ships.name);
        line(SHEETS, &metric, times[SHEETS / 2], "ms");
    }
    let mut random = Rng::new(SEED);
    let rigs: Vec<Rig> = (0..RIGS).map(|_| rig(&mut random)).collect();
    let ratings = Ratings {
        mast: Force::kilonewtons(20.0),
        boom: Force::kilonewtons(20.0),
        link: Force::kilonewtons(20.0),
        brace: Force::kilonewtons(20.0),
        guy: Force::kilonewtons(20.0),
    };
    let start = Instant::now();
    let mut solved = 0_u32;
    for rig in &rigs {
        if let Ok(found) = forces(black_box(rig)) {
            solved += u32::from(utilisation(&found, &ratings).is_ok());
        }
    }
    let each_second = f64::from(RIGS) / start.elapsed().as_secs_f64();
    line(
        RIGS as usize,
        "rigs solved of those drawn",
        f64::from(solved),
        "rigs",
    );
    line(RIGS as usize, "rigs", each_second, "1/s");
}

fn line(n: usize, metric: &str, value: f64, unit: &str) {
    println!("limits\tgantline\t{n}\t{metric}\t{value:.3}\t{unit}");
}

/// Two or three braces, each second rig with a side guy.
fn rig(random: &mut Rng) -> Rig {
    let braces = 2 + (random.draw() % 2) as usize;
    let spread = [(-1.0, 1.0), (-1.0, -1.0), (1.0, 0.0)];
    let anchors = spread.iter().take(braces).map(|(along, across)| {
        let reach = between(random, 1.2, 2.6);
        Point::metres(along * reach, across * reach, between(random, 0.0, 0.3))
    });
    let braces: Vec<Point> = anchors.collect();
    let guyed = random.draw().is_multiple_of(2);
    let guy = guyed.then(|| Point::metres(0.0, between(random, 2.0, 5.0), 0.0));
    Rig {
        mast: Length::metres(between(random, 2.0, 4.0)),
        boom: Length::metres(between(random, 2.0, 4.0)),
        boom_angle: Angle::degrees(between(random, 20.0, 90.0)),
        boom_azimuth: Angle::degrees(between(random, -20.0, 20.0)),
        lean: Angle::degrees(between(random, 0.0, 5.0)),
        lean_azimuth: Angle::degrees(between(random, -180.0, 180.0)),
        load: Force::kilonewtons(between(random, 0.5, 4.0)),
        boom_weight: Force::kilonewtons(between(random, 0.05, 0.2)),
        mast_weight: Force::kilonewtons(between(random, 0.05, 0.3)),
        link_weight: Force::kilonewtons(between(random, 0.02, 0.1)),
        tail: Force::ZERO,
        lead: Point::default(),
        guy,
        brace_stiffness: Force::kilonewtons(between(random, 5_000.0, 20_000.0)),
        mast_stiffness: Force::kilonewtons(between(random, 10_000.0, 40_000.0)),
        braces,
        rope_braces: false,
    }
}

fn between(random: &mut Rng, least: f64, most: f64) -> f64 {
    let part = (random.draw() >> 11) as f64 / (1_u64 << 53) as f64;
    least + part * (most - least)
}
