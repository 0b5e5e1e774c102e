//! Show: what does somebody watching the demonstration see?
//! Owns: the terminal while it runs.   Gives: `Show`: one line a happening, and a bar of steps done.
//! May use: indicatif.   Never: stdout (that is the summary's).

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

/// Happenings on stderr: plain lines, with a bar below them where stderr is a terminal.
#[derive(Debug)]
pub struct Show {
    bar: Option<ProgressBar>,
    began: Instant,
    quiet: bool,
}

impl Show {
    /// A show of so many steps. `quiet`: nothing but the bar on a terminal, and nothing at all elsewhere.
    #[must_use]
    pub fn new(steps: u64, quiet: bool) -> Self {
        let bar = std::io::stderr().is_terminal().then(|| {
            let bar = ProgressBar::with_draw_target(Some(steps), ProgressDrawTarget::stderr());
            if let Ok(style) =
                ProgressStyle::with_template("{elapsed_precise} {wide_bar} {pos}/{len} steps {msg}")
            {
                bar.set_style(style);
            }
            bar.enable_steady_tick(Duration::from_millis(200));
            bar
        });
        Self {
            bar,
            began: Instant::now(),
            quiet,
        }
    }

    /// One happening.
    pub fn line(&self, text: &str) {
        if self.quiet {
            return;
        }
        let ms = self.began.elapsed().as_millis();
        let line = format!("{:4}.{} s  {text}", ms / 1000, ms % 1000 / 100);
        match &self.bar {
            Some(bar) => bar.println(line),
            // A closed stderr is no reason to stop.
            None => drop(writeln!(std::io::stderr(), "{line}")),
        }
    }

    /// So many steps are done; the words beside the bar.
    pub fn steps(&self, done: u64, words: &str) {
        if let Some(bar) = &self.bar {
            bar.set_position(done);
            bar.set_message(words.to_owned());
        }
    }

    /// Takes the bar away.
    pub fn finish(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}
