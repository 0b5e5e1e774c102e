//! Cases: runs the case files of a folder and says where a job does not come out as its case says.
//! Owns: nothing.   Gives: a line for each case, and for each expectation that is not met.
//! May use: the simulator's cases, threads, files.   Never: a case left out.

use super::Problem;
use super::threads::on_threads;
use clap::Args;
use gantline_sim::cases::{self, Case, rough};
use gantline_sim::radio::Air;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

/// Runs every case file of a folder: jobs that went wrong, or nearly, and what must be so on every device.
///
/// Each is run in clear air, and with `--rough` in air that loses and delays as well, as far as its promises
/// of time allow. A word that no case form knows is an error with file, line and what may stand there.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// The folder with the case files, such as `sim/cases`.
    dir: PathBuf,
    /// Only the case of this id, such as C07.
    #[arg(long)]
    only: Option<String>,
    /// The seed of the first run of each case.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// So many further runs of each case in rough air, with the seeds after it.
    #[arg(long, default_value_t = 0)]
    rough: u64,
    /// Ends at the first run that does not come out as its case says.
    #[arg(long)]
    first: bool,
    /// Threads; each case is run by one.
    #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=64))]
    threads: u8,
}

pub(crate) fn cases(arguments: &Arguments) -> Result<bool, Problem> {
    let cases = read(&arguments.dir)?;
    let wanted = |case: &&(String, Case)| {
        let only = arguments.only.as_ref();
        only.is_none_or(|only| only.eq_ignore_ascii_case(&case.1.id))
    };
    let last = arguments.seed.saturating_add(arguments.rough);
    let runs: Vec<(&str, &Case, u64)> = cases
        .iter()
        .filter(wanted)
        .flat_map(|(file, case)| {
            (arguments.seed..=last).map(move |seed| (file.as_str(), case, seed))
        })
        .collect();
    let next = AtomicUsize::new(0);
    let told = Mutex::new(Told {
        first: arguments.first,
        ..Told::default()
    });
    on_threads(arguments.threads, || {
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(&(file, case, seed)) = runs.get(at) else {
                return;
            };
            let air = if seed == arguments.seed {
                Air::CLEAR
            } else {
                rough(seed)
            };
            let (good, lines) = one(file, case, seed, air);
            let mut told = told.lock().unwrap_or_else(PoisonError::into_inner);
            told.tell(at, good, lines);
            if told.is_over() {
                next.store(runs.len(), Ordering::Relaxed);
            }
        }
    })?;
    let told = told.into_inner().unwrap_or_else(PoisonError::into_inner);
    println!(
        "{} runs of cases, {} as the case says",
        told.runs, told.good
    );
    if told.runs == 0 {
        return Err(Problem::NoCase {
            path: arguments.dir.clone(),
        });
    }
    Ok(told.runs == told.good)
}

/// What was run, told in the order of the files, whichever thread was first.
#[derive(Debug, Default)]
struct Told {
    first: bool,
    runs: usize,
    good: usize,
    waiting: BTreeMap<usize, (bool, String)>,
}

impl Told {
    fn is_over(&self) -> bool {
        self.first && self.good < self.runs
    }

    fn tell(&mut self, at: usize, good: bool, lines: String) {
        self.waiting.insert(at, (good, lines));
        while !self.is_over()
            && let Some((good, lines)) = self.waiting.remove(&self.runs)
        {
            self.runs += 1;
            self.good += usize::from(good);
            print!("{lines}");
        }
    }
}

/// Runs one case: whether it came out as it says, and the lines about it.
fn one(file: &str, case: &Case, seed: u64, air: Air) -> (bool, String) {
    let loss = air.loss;
    match cases::run(case, seed, air) {
        Ok(outcome) => {
            let all = outcome.findings.len();
            let met = outcome
                .findings
                .iter()
                .filter(|f| f.found.is_none())
                .count();
            let mut lines = format!(
                "{} seed {seed}, {loss} % lost: {met} of {all}. {}\n",
                case.id, case.title
            );
            for line in outcome.lines(file) {
                lines += &format!("  {line}\n");
            }
            (outcome.passes(), lines)
        }
        Err(cannot) => (false, format!("{cannot}\n")),
    }
}

/// Every case of a folder, by file name.
fn read(dir: &Path) -> Result<Vec<(String, Case)>, Problem> {
    let cannot = |path: &Path, why| Problem::Read {
        path: path.to_owned(),
        why,
    };
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(dir).map_err(|why| cannot(dir, why))? {
        let path = entry.map_err(|why| cannot(dir, why))?.path();
        if path.extension().is_some_and(|end| end == "toml") {
            paths.push(path);
        }
    }
    paths.sort();
    let mut cases = Vec::new();
    let mut faults = Vec::new();
    for path in paths {
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let text = std::fs::read_to_string(&path).map_err(|why| cannot(&path, why))?;
        match cases::read(&name, &text) {
            Ok(case) => cases.push((name, case)),
            Err(found) => faults.extend(found),
        }
    }
    if faults.is_empty() {
        Ok(cases)
    } else {
        Err(Problem::Cases { faults })
    }
}
