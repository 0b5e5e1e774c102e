//! Cases: runs the case files of a folder and says where a job does not come out as its case says.
//! Owns: nothing.   Gives: a line for each case, and for each expectation that is not met.
//! May use: the simulator's cases, files.   Never: a case left out.

use super::Problem;
use clap::Args;
use gantline_sim::cases::{self, Case, rough};
use gantline_sim::radio::Air;
use std::path::{Path, PathBuf};

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
}

pub(crate) fn cases(arguments: &Arguments) -> Result<bool, Problem> {
    let cases = read(&arguments.dir)?;
    let wanted = |case: &&(String, Case)| {
        let only = arguments.only.as_ref();
        only.is_none_or(|only| only.eq_ignore_ascii_case(&case.1.id))
    };
    let mut runs: u64 = 0;
    let mut good: u64 = 0;
    'all: for (file, case) in cases.iter().filter(wanted) {
        let last = arguments.seed.saturating_add(arguments.rough);
        for seed in arguments.seed..=last {
            let air = if seed == arguments.seed {
                Air::CLEAR
            } else {
                rough(seed)
            };
            runs += 1;
            good += u64::from(one(file, case, seed, air));
            if arguments.first && good < runs {
                break 'all;
            }
        }
    }
    println!("{runs} runs of cases, {good} as the case says");
    if runs == 0 {
        return Err(Problem::NoCase {
            path: arguments.dir.clone(),
        });
    }
    Ok(runs == good)
}

/// Runs one case and says what came of it.
fn one(file: &str, case: &Case, seed: u64, air: Air) -> bool {
    let loss = air.loss;
    match cases::run(case, seed, air) {
        Ok(outcome) => {
            let all = outcome.findings.len();
            let met = outcome
                .findings
                .iter()
                .filter(|f| f.found.is_none())
                .count();
            println!(
                "{} seed {seed}, {loss} % lost: {met} of {all}. {}",
                case.id, case.title
            );
            for line in outcome.lines(file) {
                println!("  {line}");
            }
            outcome.passes()
        }
        Err(cannot) => {
            println!("{cannot}");
            false
        }
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
