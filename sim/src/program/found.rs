//! Found: what becomes of a seed that fails: said at once with the command that repeats it, made smaller, kept.
//! Owns: the names of the files in `sim/seeds`.   Gives: lines for people, a file.
//! May use: shrink, files.   Never: a failure that is not said first.

use super::Problem;
use gantline_sim::run::Outcome;
use gantline_sim::script::Script;
use gantline_sim::shrink::shrink_run;
use std::path::Path;

/// The command that repeats a seed.
fn command(what: &str, devices: Option<u8>, short: bool) -> String {
    let devices = devices.map_or(String::new(), |devices| format!(" --devices {devices}"));
    let short = if short { " --short" } else { "" };
    format!("cargo run --release -p gantline-sim -- one {what}{devices}{short} --trace")
}

/// Says that a seed fails, and how to see it again.
pub(super) fn say(seed: u64, devices: Option<u8>, short: bool, outcome: &Outcome) {
    eprintln!("seed {seed} fails: {}", outcome.first_line());
    eprintln!("  again: {}", command(&seed.to_string(), devices, short));
}

/// Makes a failing script smaller and writes it to a file in a folder.
pub(super) fn keep(folder: &Path, script: &Script, outcome: &Outcome) -> Result<(), Problem> {
    eprintln!(
        "making seed {} smaller ({} events, {} devices, first act {} s)",
        script.seed,
        script.events.len(),
        script.devices,
        script.first_act_ms / 1_000
    );
    let small = shrink_run(script, None);
    let path = folder.join(format!("seed-{}.toml", script.seed));
    let text = small.to_text().map_err(|bad| Problem::Seed {
        path: path.clone(),
        bad,
    })?;
    let text = format!("# {}\n{text}", outcome.first_line());
    let write = std::fs::create_dir_all(folder).and_then(|()| std::fs::write(&path, text));
    write.map_err(|why| Problem::Write {
        path: path.clone(),
        why,
    })?;
    eprintln!(
        "written: {} ({} events, {} devices, first act {} s)\n  again: {}",
        path.display(),
        small.events.len(),
        small.devices,
        small.first_act_ms / 1_000,
        command(&path.display().to_string(), None, false)
    );
    Ok(())
}
