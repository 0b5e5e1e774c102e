//! Plot: a few lines over two axes, as one SVG file.
//! Owns: sizes and colours of the drawing.   Gives: `Plot`, its SVG.
//! May use: nothing.   Never: numbers of its own.

use std::fmt::Write;

/// Lines over two axes.
#[derive(Clone, Debug)]
pub(super) struct Plot {
    /// What it shows.
    pub(super) title: String,
    /// What goes to the right, with its unit.
    pub(super) across: String,
    /// What goes up, with its unit.
    pub(super) up: String,
    /// Whether what goes up does so by powers of ten; values of zero are then drawn at the bottom.
    pub(super) by_powers: bool,
    /// Each line: its name, and its points in order.
    pub(super) lines: Vec<(String, Vec<(f64, f64)>)>,
}

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 420.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 210.0;
const TOP: f64 = 40.0;
const BOTTOM: f64 = 50.0;
/// Told apart by people who see few colours too (Okabe and Ito, 2008).
const COLOURS: [&str; 7] = [
    "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#000000",
];
/// Lines of the grid across and up, about.
const TICKS: f64 = 6.0;

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;")
}

/// A step of 1, 2 or 5 times a power of ten, with about [`TICKS`] of them in a length.
fn step(length: f64) -> f64 {
    let raw = (length / TICKS).max(f64::MIN_POSITIVE);
    let power = 10f64.powf(raw.log10().floor());
    let times = [1.0, 2.0, 5.0, 10.0];
    let fitting = times.into_iter().find(|times| times * power >= raw);
    fitting.unwrap_or(10.0) * power
}

fn number(value: f64) -> String {
    let text = format!("{value:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    text.to_owned()
}

impl Plot {
    fn points(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.lines
            .iter()
            .flat_map(|(_, points)| points.iter().copied())
    }

    /// Lowest and highest value that goes up, as drawn.
    fn rise(&self) -> (f64, f64) {
        let most = self.points().map(|(_, up)| up).fold(0.0, f64::max);
        if !self.by_powers {
            return (0.0, if most > 0.0 { most } else { 1.0 });
        }
        let positive = self.points().map(|(_, up)| up).filter(|up| *up > 0.0);
        let least = positive.fold(f64::INFINITY, f64::min);
        if least.is_infinite() {
            return (-1.0, 0.0);
        }
        let (low, high) = (least.log10().floor(), most.log10().ceil());
        (low, if high > low { high } else { low + 1.0 })
    }

    /// The drawing.
    pub(super) fn svg(&self) -> String {
        let from = self.points().map(|(x, _)| x).fold(f64::INFINITY, f64::min);
        let to = self
            .points()
            .map(|(x, _)| x)
            .fold(f64::NEG_INFINITY, f64::max);
        let (from, to) = if from < to { (from, to) } else { (0.0, 1.0) };
        let (low, high) = self.rise();
        let x = |value: f64| LEFT + (value - from) / (to - from) * (WIDTH - LEFT - RIGHT);
        let drawn = |value: f64| match self.by_powers {
            true if value > 0.0 => value.log10(),
            true => low,
            false => value,
        };
        let y =
            |value: f64| HEIGHT - BOTTOM - (value - low) / (high - low) * (HEIGHT - TOP - BOTTOM);
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" font-family=\"sans-serif\" \
             font-size=\"12\">\n<rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"white\"/>\n"
        );
        let text = |x: f64, y: f64, anchor: &str, words: &str| {
            format!(
                "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\">{}</text>\n",
                escaped(words)
            )
        };
        svg += &text(LEFT, 22.0, "start", &self.title);
        svg += &text(
            (LEFT + WIDTH - RIGHT) / 2.0,
            HEIGHT - 10.0,
            "middle",
            &self.across,
        );
        svg += &text(8.0, TOP - 6.0, "start", &self.up);
        let line = |x1: f64, y1: f64, x2: f64, y2: f64| {
            format!(
                "<line x1=\"{x1:.1}\" y1=\"{y1:.1}\" x2=\"{x2:.1}\" y2=\"{y2:.1}\" stroke=\"#ccc\"/>\n"
            )
        };
        let every = step(to - from);
        let mut at = (from / every).ceil() * every;
        while at <= to + every * 1e-6 {
            svg += &line(x(at), TOP, x(at), HEIGHT - BOTTOM);
            svg += &text(x(at), HEIGHT - BOTTOM + 16.0, "middle", &number(at));
            at += every;
        }
        let every = if self.by_powers {
            1.0
        } else {
            step(high - low)
        };
        let mut at = low;
        while at <= high + every * 1e-6 {
            svg += &line(LEFT, y(at), WIDTH - RIGHT, y(at));
            let value = if self.by_powers { 10f64.powf(at) } else { at };
            svg += &text(LEFT - 6.0, y(at) + 4.0, "end", &number(value));
            at += every;
        }
        for (place, (name, points)) in self.lines.iter().enumerate() {
            let colour = COLOURS[place % COLOURS.len()];
            let mut path = String::new();
            for (across, up) in points {
                let _ = write!(path, "{:.1},{:.1} ", x(*across), y(drawn(*up)));
            }
            let _ = writeln!(
                svg,
                "<polyline fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\" points=\"{}\"/>",
                path.trim_end()
            );
            let beside = TOP + 8.0 + 18.0 * place as f64;
            let (x1, x2) = (WIDTH - RIGHT + 12.0, WIDTH - RIGHT + 32.0);
            let _ = writeln!(
                svg,
                "<line x1=\"{x1}\" y1=\"{beside}\" x2=\"{x2}\" y2=\"{beside}\" stroke=\"{colour}\" stroke-width=\"2\"/>"
            );
            svg += &text(x2 + 6.0, beside + 4.0, "start", name);
        }
        svg += "</svg>\n";
        svg
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plot(by_powers: bool, points: Vec<(f64, f64)>) -> Plot {
        Plot {
            title: "a < b".to_owned(),
            across: "loss, %".to_owned(),
            up: "share, %".to_owned(),
            by_powers,
            lines: vec![("one".to_owned(), points)],
        }
    }

    #[test]
    fn points_stand_where_their_values_are() {
        let svg = plot(false, vec![(0.0, 0.0), (10.0, 4.0)]).svg();
        assert!(svg.contains("points=\"70.0,370.0 510.0,40.0\""), "{svg}");
        assert!(svg.contains("a &lt; b"));
        let svg = plot(true, vec![(0.0, 0.0), (5.0, 0.1), (10.0, 10.0)]).svg();
        assert!(
            svg.contains("points=\"70.0,370.0 290.0,370.0 510.0,40.0\""),
            "{svg}"
        );
    }

    #[test]
    fn no_values_are_no_numbers_that_cannot_be_drawn() {
        for points in [vec![], vec![(1.0, 0.0)], vec![(1.0, 2.0), (1.0, 2.0)]] {
            for by_powers in [false, true] {
                let svg = plot(by_powers, points.clone()).svg();
                assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
            }
        }
    }
}
