//! Rest: what a node of a crew of six costs while nobody presses anything.
//! Owns: six running programs and their folders.   Gives: lines of `measure peer n metric value unit`, tab-separated.
//! May use: the program as it is shipped, workload.   Never: an absolute bound.
//!
//! Six real processes on the loopback address, linked each with each, beacons running, no page open. The log is the
//! workload's first entries and as many more as asked for (none, unless told). After the crew has settled the
//! processor time of each process is read over a minute, and at its end what it holds in memory.
//!
//! `cargo bench -p gantline-tests --bench rest [-- ENTRIES]`

#[path = "support/home.rs"]
mod home;

use gantline_protocol::log::sign;
use gantline_tests::support::program::{Running, command};
use gantline_tests::workload::{DEVICES, Workload};
use home::home;
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::process::Stdio;
use std::thread::sleep;
use std::time::{Duration, Instant};

/// Until links stand and what each lacks is fetched.
const SETTLE: Duration = Duration::from_secs(10);
/// How long the processor time is watched.
const WATCH: Duration = Duration::from_secs(60);

fn main() {
    let n = std::env::args().find_map(|arg| arg.parse().ok());
    let n: usize = n.unwrap_or(0);
    let workload = Workload::new(n).unwrap_or_else(|bad| panic!("the workload: {bad}"));
    let (good, bad) = sign::verify_batch(workload.entries.clone());
    assert!(bad.is_empty(), "the workload is well signed");
    let folder = tempfile::tempdir().unwrap_or_else(|fault| panic!("a folder: {fault}"));
    let mut known = Vec::new();
    let mut crew = Vec::new();
    for device in 0..DEVICES {
        home(folder.path(), device, &good);
        let at = folder.path().join(device.to_string());
        let (node, listens) = start(&at.display().to_string(), &known);
        known.push(format!("{}={listens}", workload.devices[device]));
        crew.push(node);
    }
    sleep(SETTLE);
    let before: Vec<f64> = crew.iter().map(processor_ms).collect();
    let start = Instant::now();
    sleep(WATCH);
    let passed_ms = start.elapsed().as_secs_f64() * 1_000.0;
    for (device, (node, before)) in crew.iter().zip(before).enumerate() {
        let share = (processor_ms(node) - before) / passed_ms * 100.0;
        let line = |metric: &str, value: f64, unit: &str| {
            println!("rest\tgantline\t{n}\tdevice {device}, {metric}\t{value:.2}\t{unit}");
        };
        line("processor time", share, "% of a core");
        line("resident", resident_mib(node), "MiB");
    }
}

/// The program on a folder, and where it listens for the others.
fn start(folder: &str, known: &[String]) -> (Running, String) {
    let mut arguments = vec!["--json", "--folder", folder, "node"];
    arguments.extend(["--listen", "127.0.0.1:0", "--no-discovery", "--no-sound"]);
    for known in known {
        arguments.extend(["--address", known]);
    }
    let mut child = command(&arguments)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|fault| panic!("no node: {fault}"));
    let mut line = String::new();
    if let Some(said) = child.stdout.take() {
        // An empty line is caught just below.
        let _ = BufReader::new(said).read_line(&mut line);
    }
    let ready: Value =
        serde_json::from_str(&line).unwrap_or_else(|bad| panic!("the node said `{line}`: {bad}"));
    let listens = ready["listen"].as_str().map(str::to_owned);
    let listens = listens.unwrap_or_else(|| panic!("the node said `{line}`"));
    (Running(child), listens)
}

/// Processor time of all threads of a process so far, ms.
fn processor_ms(process: &Running) -> f64 {
    let tasks = std::fs::read_dir(format!("/proc/{}/task", process.0.id()));
    let tasks = tasks.into_iter().flatten().flatten();
    // The first field: nanoseconds on a processor.
    tasks
        .filter_map(|task| {
            let on = std::fs::read_to_string(task.path().join("schedstat")).ok()?;
            on.split_whitespace().next()?.parse::<f64>().ok()
        })
        .sum::<f64>()
        / 1e6
}

fn resident_mib(process: &Running) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", process.0.id()));
    let status = status.unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let kib = line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok());
    kib.unwrap_or(f64::NAN) / 1_024.0
}
