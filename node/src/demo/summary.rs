//! Summary: what did the demonstration show, in figures?
//! Owns: the figures while it runs.   Gives: `Summary`, the object that `--json` prints, and its text form.
//! May use: protocol's outcomes.   Never: a figure that was not measured or counted in this run.

use gantline_protocol::reason::Reason;
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// The figures of one run. Field names are part of the interface.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Summary {
    /// Everything expected happened.
    pub ok: bool,
    /// How many devices there were.
    pub devices: usize,
    /// Steps complete at the end.
    pub steps_done: usize,
    /// Steps of the plan.
    pub steps_total: usize,
    /// Entries in the exported log.
    pub entries: u32,
    /// The devices that stayed hold the same entries, and the one that died holds a part of them.
    pub logs_equal: bool,
    /// `gantline verify` found every device's log whole.
    pub verified: bool,
    /// Acts that were refused or did not count, by reason.
    pub refusals: BTreeMap<String, u32>,
    /// Each stop, and how long until each device showed it.
    pub stops: Vec<StopSpread>,
    /// Each hold by loss, and how long it lasted.
    pub holds: Vec<HoldLasted>,
    /// The job is closed on every device that stayed.
    pub closed: bool,
    /// The exported log file.
    pub log: PathBuf,
}

/// How a stop spread.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct StopSpread {
    /// Call sign of who pressed it.
    pub by: String,
    /// For each device, by its holder's call sign, ms from the press until it showed the stop.
    pub spread_ms: BTreeMap<String, u64>,
}

/// A hold by loss.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct HoldLasted {
    /// Its reason, as a stable word.
    pub reason: String,
    /// From the first device that showed it until the last one that did no longer, ms.
    pub ms: u64,
}

/// Counts refusals as they come.
#[derive(Clone, Debug, Default)]
pub struct Refusals(BTreeMap<String, u32>);

impl Refusals {
    /// Counts one refused act once for each different reason.
    pub fn count(&mut self, reasons: &[Reason]) {
        let mut codes: Vec<&str> = reasons.iter().map(Reason::code).collect();
        codes.sort_unstable();
        codes.dedup();
        for code in codes {
            *self.0.entry(code.to_owned()).or_default() += 1;
        }
    }

    /// The counts.
    #[must_use]
    pub fn into_map(self) -> BTreeMap<String, u32> {
        self.0
    }
}

impl Summary {
    /// The figures as lines for people.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let yes = |so: bool| if so { "yes" } else { "NO" };
        let mut lines = vec![
            format!("{} of {} steps done", self.steps_done, self.steps_total),
            format!("{} entries by {} devices", self.entries, self.devices),
            format!("logs equal: {}", yes(self.logs_equal)),
            format!("logs verified: {}", yes(self.verified)),
            format!("job closed: {}", yes(self.closed)),
        ];
        let refusals: Vec<String> = self
            .refusals
            .iter()
            .map(|(reason, count)| format!("{reason} {count}"))
            .collect();
        lines.push(format!("refused or not counted: {}", refusals.join(", ")));
        for stop in &self.stops {
            let spread: Vec<String> = stop
                .spread_ms
                .iter()
                .map(|(device, ms)| format!("{device} {ms} ms"))
                .collect();
            lines.push(format!(
                "stop by {}: shown by {}",
                stop.by,
                spread.join(", ")
            ));
        }
        for hold in &self.holds {
            let seconds = hold.ms / 1000;
            let tenths = hold.ms % 1000 / 100;
            lines.push(format!(
                "hold by loss, {}: {seconds}.{tenths} s",
                hold.reason
            ));
        }
        lines.push(format!("log file: {}", self.log.display()));
        lines
    }
}
