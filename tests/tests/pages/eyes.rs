//! Eyes: is each state told from the others by every eye, from pictures of the glass: with one kind of cone missing, and
//! with no colour at all?
//! Owns: the published matrices.   Gives: nothing.
//! May use: crew, browser.   Never: what the style says, only what was painted.

use crate::browser::{Browser, DECODED};
use crate::crew::{Crew, OBSERVER, SUPERVISOR, TOWER_1, TOWER_2};
use gantline_protocol::log::entry::Said;
use gantline_protocol::state::CallWord;
use serde_json::json;
use std::collections::BTreeMap;

/// What a person with a deficiency of one kind of cone sees of a linear colour: Machado, Oliveira and Fernandes 2009,
/// severity 1.0.
const MACHADO: [(&str, [[f64; 3]; 3]); 3] = [
    (
        "protan",
        [
            [0.152_286, 1.052_583, -0.204_868],
            [0.114_503, 0.786_281, 0.099_216],
            [-0.003_882, -0.048_116, 1.051_998],
        ],
    ),
    (
        "deutan",
        [
            [0.367_322, 0.860_646, -0.227_968],
            [0.280_085, 0.672_501, 0.047_413],
            [-0.011_820, 0.042_940, 0.968_881],
        ],
    ),
    (
        "tritan",
        [
            [1.255_528, -0.076_749, -0.178_779],
            [-0.078_411, 0.930_809, 0.147_602],
            [0.004_733, 0.691_367, 0.303_900],
        ],
    ),
];
/// No colour at all: the relative luminance of WCAG 2.2 (that of sRGB, IEC 61966-2-1), three times.
const GREY: [[f64; 3]; 3] = [[0.2126, 0.7152, 0.0722]; 3];
const SAME: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
/// The grounds of two calls differ at least so much for each eye that sees colour, CIELAB 1976.
const LEAST_DIFFERENCE: f64 = 20.0;
/// A shape is told from its ground by so much (WCAG 2.2, 1.4.11).
const LEAST_CONTRAST: f64 = 3.0;
/// Two shapes without colour, laid over one another, differ in at least this part of their squares.
const LEAST_OF_SHAPE: f64 = 0.1;
/// Two swatches without colour differ by at least so much lightness on average, CIELAB L*.
const LEAST_OF_SWATCH: f64 = 6.0;
/// Squares to a side, where pictures of two sizes are laid over one another.
const SQUARES: usize = 32;

/// The dots of a picture, as numbers.
const DOTS: &str = r"
    const [data, done] = arguments;
    (async () => {
      const { data: dots, width } = await decoded(data);
      const found = [];
      for (let i = 0; i < dots.length; i += 4) found.push((dots[i] << 16) | (dots[i + 1] << 8) | dots[i + 2]);
      done([width, found]);
    })()";

/// CIELAB of linear sRGB, white D65.
fn lab(rgb: [f64; 3]) -> [f64; 3] {
    const TO_XYZ: [[f64; 3]; 3] = [
        [0.412_456_4, 0.357_576_1, 0.180_437_5],
        [0.212_672_9, 0.715_152_2, 0.072_175_0],
        [0.019_333_9, 0.119_192_0, 0.950_304_1],
    ];
    const WHITE: [f64; 3] = [0.950_47, 1.0, 1.088_83];
    let xyz = TO_XYZ.map(|row| row.iter().zip(rgb).map(|(a, b)| a * b).sum::<f64>());
    let f: [f64; 3] = core::array::from_fn(|at| {
        let t = xyz[at] / WHITE[at];
        if t > 0.008_856 {
            t.cbrt()
        } else {
            7.787 * t + 16.0 / 116.0
        }
    });
    [
        116.0 * f[1] - 16.0,
        500.0 * (f[0] - f[1]),
        200.0 * (f[1] - f[2]),
    ]
}

fn times(matrix: &[[f64; 3]; 3], colour: [f64; 3]) -> [f64; 3] {
    matrix.map(|row| {
        let sum: f64 = row.iter().zip(colour).map(|(a, b)| a * b).sum();
        sum.clamp(0.0, 1.0)
    })
}

fn linear(dot: u32) -> [f64; 3] {
    [16, 8, 0].map(|by| {
        let value = f64::from((dot >> by) & 0xff) / 255.0;
        if value <= 0.040_45 {
            value / 12.92
        } else {
            ((value + 0.055) / 1.055).powf(2.4)
        }
    })
}

fn light(colour: [f64; 3]) -> f64 {
    times(&GREY, colour)[0]
}

fn contrast(a: f64, b: f64) -> f64 {
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// A part of the screen.
struct Picture {
    width: usize,
    dots: Vec<u32>,
}

impl Picture {
    async fn of(browser: &Browser, selector: &str) -> Self {
        let rect = format!(
            "const {{ left, top, width, height }} = document.querySelector('{selector}').getBoundingClientRect();
             return [left, top, width, height]"
        );
        let rect = browser.run(&rect).await;
        let rect: Vec<f64> = serde_json::from_value(rect).unwrap();
        Self::at(browser, [rect[0], rect[1], rect[2], rect[3]]).await
    }

    async fn at(browser: &Browser, [x, y, width, height]: [f64; 4]) -> Self {
        let clip = json!({ "x": x.round(), "y": y.round(), "width": width.round(), "height": height.round(), "scale": 1 });
        let taken = browser
            .own(
                "Page.captureScreenshot",
                json!({ "format": "png", "clip": clip }),
            )
            .await;
        let found = browser
            .client
            .execute_async(&format!("{DECODED}{DOTS}"), vec![taken["data"].clone()])
            .await
            .unwrap();
        let (width, dots): (usize, Vec<u32>) = serde_json::from_value(found).unwrap();
        assert!(width > 0 && !dots.is_empty());
        Self { width, dots }
    }

    /// What most of it is painted with.
    fn ground(&self) -> [f64; 3] {
        let mut count: BTreeMap<u32, usize> = BTreeMap::new();
        for dot in &self.dots {
            *count.entry(*dot).or_default() += 1;
        }
        let most = count.into_iter().max_by_key(|(_, many)| *many);
        linear(most.unwrap().0)
    }

    /// The dot of a square of the grid that is laid over the picture.
    fn square(&self, column: usize, row: usize) -> [f64; 3] {
        let height = self.dots.len() / self.width;
        let x = (2 * column + 1) * self.width / (2 * SQUARES);
        let y = (2 * row + 1) * height / (2 * SQUARES);
        linear(self.dots[y * self.width + x])
    }

    fn squares(&self) -> impl Iterator<Item = [f64; 3]> {
        let all = (0..SQUARES * SQUARES).map(|at| (at % SQUARES, at / SQUARES));
        all.map(|(column, row)| self.square(column, row))
    }

    /// Where something is told from the ground, for an eye.
    fn mask(&self, eye: &[[f64; 3]; 3]) -> Vec<bool> {
        let ground = light(times(eye, self.ground()));
        self.squares()
            .map(|dot| contrast(light(times(eye, dot)), ground) >= LEAST_CONTRAST)
            .collect()
    }

    /// How often light turns to dark, or back, along its middle.
    fn turns(&self) -> usize {
        let from = self.dots.len() / self.width / 2 * self.width;
        let row: Vec<bool> = self.dots[from..from + self.width]
            .iter()
            .map(|dot| light(linear(*dot)) > 0.3)
            .collect();
        row.windows(2).filter(|two| two[0] != two[1]).count()
    }
}

#[allow(
    clippy::cast_precision_loss,
    reason = "a thousand squares are a thousand"
)]
fn part(of: usize, all: usize) -> f64 {
    of as f64 / all as f64
}

/// What is painted for a call on one page.
struct Seen {
    call: &'static str,
    ground: [f64; 3],
    shape: Picture,
    edge: Picture,
}

impl Seen {
    async fn on(browser: &Browser, call: &'static str) -> Self {
        browser.shows(call).await;
        let rect =
            "const { left, top, width } = document.querySelector('.band').getBoundingClientRect();
             const sheet = document.documentElement.dataset.sheet !== undefined;
             return [left + 12, top, width - 24, sheet ? 7 : 12]";
        let rect: Vec<f64> = serde_json::from_value(browser.run(rect).await).unwrap();
        Self {
            call,
            ground: Picture::of(browser, ".band").await.ground(),
            shape: Picture::of(browser, ".band .shape").await,
            edge: Picture::at(browser, [rect[0], rect[1], rect[2], rect[3]]).await,
        }
    }
}

/// Looks at three calls of one page with every eye.
fn told_apart(page: &str, all: &[Seen]) {
    let coloured = MACHADO.iter().chain(&[("normal", SAME)]);
    for (eye, matrix) in coloured {
        for (at, one) in all.iter().enumerate() {
            for other in &all[at + 1..] {
                let (a, b) = (
                    lab(times(matrix, one.ground)),
                    lab(times(matrix, other.ground)),
                );
                let squares = a.iter().zip(b).map(|(a, b)| (a - b).powi(2));
                let found = squares.sum::<f64>().sqrt();
                println!("{page} {eye}: {} and {}: {found:.0}", one.call, other.call);
                assert!(
                    found >= LEAST_DIFFERENCE,
                    "{page} {eye}: {} and {}: {found:.0}",
                    one.call,
                    other.call
                );
            }
        }
    }
    for (eye, matrix) in MACHADO.iter().chain(&[("grey", GREY)]) {
        let masks: Vec<Vec<bool>> = all.iter().map(|one| one.shape.mask(matrix)).collect();
        for (one, mask) in all.iter().zip(&masks) {
            let drawn = part(mask.iter().filter(|so| **so).count(), mask.len());
            assert!(
                (0.05..0.8).contains(&drawn),
                "{page} {eye}: the shape of {} is {drawn:.2}",
                one.call
            );
        }
        for (at, mask) in masks.iter().enumerate() {
            for (other, with) in masks.iter().enumerate().skip(at + 1) {
                let differ = mask.iter().zip(with).filter(|(a, b)| a != b).count();
                let differ = part(differ, mask.len());
                println!(
                    "{page} {eye}: shapes of {} and {}: {differ:.2}",
                    all[at].call, all[other].call
                );
                assert!(
                    differ >= LEAST_OF_SHAPE,
                    "{page} {eye}: shapes of {} and {}: {differ:.2}",
                    all[at].call,
                    all[other].call
                );
            }
        }
    }
    // The edge: plain; dark stripes on light; light stripes on dark.
    let edges: Vec<(&str, bool, bool)> = all
        .iter()
        .map(|one| (one.call, one.edge.turns() >= 8, light(one.ground) > 0.5))
        .collect();
    assert_eq!(
        edges,
        [
            ("proceed", false, false),
            ("hold", true, true),
            ("stop", true, false)
        ],
        "{page}"
    );
}

/// Swatches without colour: each differs from each other.
async fn swatches_differ(browser: &Browser, what: &str, all: &[&str]) {
    let mut pictures = Vec::new();
    for selector in all {
        pictures.push(Picture::of(browser, selector).await);
    }
    for (at, one) in pictures.iter().enumerate() {
        for (other, with) in pictures.iter().enumerate().skip(at + 1) {
            let lightness = |dot| lab(times(&GREY, dot))[0];
            let both = one.squares().zip(with.squares());
            let sum: f64 = both.map(|(a, b)| (lightness(a) - lightness(b)).abs()).sum();
            let found = sum / part(SQUARES * SQUARES, 1);
            println!("{what}: {} and {}: {found:.0}", all[at], all[other]);
            assert!(
                found >= LEAST_OF_SWATCH,
                "{what}: {} and {}: {found:.1}",
                all[at],
                all[other]
            );
        }
    }
}

async fn theme(browser: &Browser, name: &str) {
    let set = format!("document.documentElement.dataset.theme = '{name}'");
    browser.run(&set).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_eye_tells_the_calls_apart_on_every_page() {
    let crew = Crew::at_work().await;
    let mut pages = Vec::new();
    for (place, name, size) in [
        (TOWER_1, "worker", (412, 915)),
        (OBSERVER, "observer", (412, 915)),
        (SUPERVISOR, "board", (1280, 800)),
    ] {
        let browser = Browser::start().await;
        browser.enter(&crew.link(place).await).await;
        browser.size(size.0, size.1).await;
        pages.push((name, browser));
    }
    let mut seen: BTreeMap<(&str, &str), Vec<Seen>> = BTreeMap::new();
    for call in ["proceed", "hold", "stop"] {
        match call {
            "hold" => crew.deaf(TOWER_2, true).await,
            "stop" => {
                crew.deaf(TOWER_2, false).await;
                crew.all_show(CallWord::Proceed).await;
                crew.stop(OBSERVER, "Person under the load").await;
            }
            _ => crew.all_show(CallWord::Proceed).await,
        }
        for (name, browser) in &pages {
            for one in ["sun", "night"] {
                theme(browser, one).await;
                seen.entry((name, one))
                    .or_default()
                    .push(Seen::on(browser, call).await);
                if *name == "worker" && call == "hold" {
                    swatches_differ(browser, "links", &[".links .good .i", ".links .lost .i"])
                        .await;
                }
            }
        }
    }
    for ((name, theme), all) in &seen {
        told_apart(&format!("{name} {theme}"), all);
    }
    for (_, browser) in pages {
        browser.end().await;
    }
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_colour_the_lanes_of_the_replay_and_the_steps_of_the_board_differ() {
    let crew = Crew::at_work().await;
    crew.confirms(TOWER_1, "load", "carry", Said::Yes).await;
    let browser = Browser::start().await;
    browser.enter(&crew.link(SUPERVISOR).await).await;
    browser.size(1280, 800).await;
    for one in ["sun", "night"] {
        theme(&browser, one).await;
        let legend = [
            ".legend .step.open",
            ".legend .step.waiting",
            ".legend .step.later",
        ];
        swatches_differ(&browser, &format!("board {one}"), &legend).await;
    }
    let origin = browser.run("return location.origin").await;
    let replay = format!("{}/replay", origin.as_str().unwrap());
    browser.enter_without_start(&replay).await;
    for one in ["sun", "night"] {
        theme(&browser, one).await;
        let lanes = [1, 2, 3, 4].map(|n| format!(".legend.lanes span:nth-of-type({n}) svg"));
        let lanes = lanes.each_ref().map(String::as_str);
        swatches_differ(&browser, &format!("replay {one}"), &lanes).await;
    }
    browser.end().await;
    crew.end().await;
}
