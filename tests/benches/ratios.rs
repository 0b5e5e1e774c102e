//! Ratios: what the log costs beside what cannot be avoided, both measured in one run.
//! Owns: nothing.   Gives: lines of `measure peer n metric value unit`, tab-separated.
//! May use: protocol, workload.   Never: an absolute bound; machines and disks differ, ratios less so.
//!
//! A program of its own and not a group of divan's: a ratio is only worth something if both of its sides
//! take turns in the same minute, which neither divan nor criterion does.
//!
//! `cargo bench -p gantline-tests --bench ratios [-- ENTRIES...]`

mod support;

use gantline_protocol::gate::Job;
use gantline_protocol::log::columns::{fitting, pack, unpack};
use gantline_protocol::log::graph::{EntryIx, Graph};
use gantline_protocol::log::journal;
use gantline_protocol::log::sign::{self, Verified};
use gantline_protocol::log::wire::Entry;
use gantline_protocol::verify::{Checked, Report, Verifier, check_records};
use gantline_tests::workload::Workload;
use std::collections::BTreeMap;
use std::fs::File;
use std::os::unix::fs::FileExt;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError, mpsc};
use std::time::{Duration, Instant};
use support::{checks_alone, cores, cpu_ms, on_all_cores};

const ROUNDS: usize = 5;

fn main() {
    let mut sizes: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    if sizes.is_empty() {
        sizes = vec![10_000, 100_000];
    }
    for n in sizes {
        let workload = Workload::new(n).unwrap_or_else(|bad| panic!("the workload: {bad}"));
        measure(&workload, n);
    }
}

fn line(measure: &str, n: usize, metric: &str, value: f64, unit: &str) {
    println!("{measure}\tgantline\t{n}\t{metric}\t{value:.3}\t{unit}");
}

/// Middle of an odd number of times, ms.
fn middle(mut times: Vec<Duration>) -> f64 {
    times.sort_unstable();
    times[times.len() / 2].as_secs_f64() * 1_000.0
}

fn timed<T>(times: &mut Vec<Duration>, run: impl FnOnce() -> T) -> T {
    let start = Instant::now();
    let value = run();
    times.push(start.elapsed());
    value
}

fn measure(workload: &Workload, n: usize) {
    let entries = &workload.entries;
    let total = entries.len();
    line(
        "workload",
        n,
        "signed",
        workload.bytes() as f64 / total as f64,
        "bytes/entry",
    );

    let (good, bad) = sign::verify_batch(entries.clone());
    assert!(bad.is_empty(), "the workload is well signed");
    let mut file = journal::header().to_vec();
    for entry in entries {
        journal::append_record(&mut file, &entry.bytes);
    }

    let mut alone: Vec<Vec<Duration>> = vec![Vec::new(); BATCHES.len()];
    let (mut decode, mut scan, mut insert) = (Vec::new(), Vec::new(), Vec::new());
    let (mut packing, mut unpacking) = (Vec::new(), Vec::new());
    let (mut raw_pack, mut small_pack) = (0, 0);
    let (mut alone_cpu, mut replay_cpu, mut job_mib) = (0.0, 0.0, 0.0_f64);
    append(entries, n);
    let (mut replay, mut linked, mut settle) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        for (size, times) in BATCHES.iter().zip(&mut alone) {
            let before = cpu_ms();
            timed(times, || {
                on_all_cores(total, *size, |part| checks_alone(&entries[part]))
            });
            if *size == sign::BATCH_ENTRIES {
                alone_cpu += cpu_ms() - before;
            }
        }
        // Two ways to the same: without the gate's verdicts, and with them.
        let before = cpu_ms();
        let job = timed(&mut replay, || {
            let report = verify_on_all_cores(&file);
            assert!(report.is_whole() && report.entries() == total);
            report.job
        });
        replay_cpu += cpu_ms() - before;
        drop(job);
        timed(&mut linked, || {
            let scan = journal::scan(&file);
            let good = check_on_all_cores(&file, &scan.records);
            let mut graph = Graph::new();
            for checked in good {
                if let Checked::Good(verified) = checked {
                    assert!(graph.insert(verified).is_ok());
                }
            }
            assert_eq!(graph.len(), total);
        });
        let before_mib = resident_mib();
        let mut founding = good[..1].to_vec();
        let mut job = founding
            .pop()
            .and_then(|founding| Job::found(founding).ok());
        timed(&mut settle, || {
            if let Some(job) = &mut job {
                for verified in &good[1..] {
                    assert!(job.insert(verified.clone()).is_ok());
                }
                job.settle();
            }
        });
        job_mib = job_mib.max(resident_mib() - before_mib);
        drop(job);
        let records = timed(&mut scan, || journal::scan(&file).records);
        timed(&mut decode, || {
            for at in &records {
                assert!(Entry::decode(file[at.clone()].into()).is_ok());
            }
        });
        let verified: Vec<Verified> = good.clone();
        let mut graph = Graph::new();
        timed(&mut insert, || {
            for verified in verified {
                assert!(graph.insert(verified).is_ok());
            }
        });
        let all: Vec<EntryIx> = graph.iter().collect();
        let mut packs = Vec::new();
        timed(&mut packing, || {
            let mut rest = &all[..];
            while !rest.is_empty() {
                let (some, later) = rest.split_at(fitting(&graph, rest));
                packs.push(pack(&graph, some));
                rest = later;
            }
        });
        raw_pack = packs.iter().map(Vec::len).sum();
        small_pack = packs
            .iter()
            .map(|pack| zstd::bulk::compress(pack, 1).map_or(pack.len(), |small| small.len()))
            .sum();
        timed(&mut unpacking, || {
            for pack in &packs {
                assert!(unpack(pack).is_ok());
            }
        });
    }
    one_more(&good, n);
    let mut best = f64::MAX;
    for (size, times) in BATCHES.iter().zip(alone) {
        let ms = middle(times);
        best = best.min(ms);
        line("checks", n, &format!("alone, batches of {size}"), ms, "ms");
    }
    line("checks", n, "alone, best", best, "ms");
    let (replay, linked) = (middle(replay), middle(linked));
    line("replay", n, "checked and linked", linked, "ms");
    line(
        "replay",
        n,
        "checked and linked / checks alone",
        linked / best,
        "ratio",
    );
    line("replay", n, "checked, linked and judged", replay, "ms");
    line(
        "replay",
        n,
        "checked, linked and judged / checks alone",
        replay / best,
        "ratio",
    );
    line(
        "checks",
        n,
        "alone, processor time",
        alone_cpu / ROUNDS as f64,
        "ms",
    );
    line(
        "replay",
        n,
        "judged, processor time",
        replay_cpu / ROUNDS as f64,
        "ms",
    );
    line(
        "replay",
        n,
        "judged / checks alone, processor time",
        replay_cpu / alone_cpu,
        "ratio",
    );
    line("memory", n, "a job with all that it keeps", job_mib, "MiB");
    line(
        "replay",
        n,
        "into a job and judged, one thread",
        middle(settle),
        "ms",
    );
    line("replay", n, "scan, one thread", middle(scan), "ms");
    line("replay", n, "decode, one thread", middle(decode), "ms");
    line("replay", n, "insert, one thread", middle(insert), "ms");
    line("columns", n, "pack, one thread", middle(packing), "ms");
    line("columns", n, "unpack, one thread", middle(unpacking), "ms");
    line(
        "columns",
        n,
        "packed",
        raw_pack as f64 / total as f64,
        "bytes/entry",
    );
    line(
        "columns",
        n,
        "packed, zstd 1",
        small_pack as f64 / total as f64,
        "bytes/entry",
    );
}

/// The cost of one more entry in a job that has all but the last hundred, judged anew after each.
fn one_more(good: &[Verified], n: usize) {
    let (most, last) = good.split_at(good.len() - 100);
    let mut job = most
        .first()
        .and_then(|founding| Job::found(founding.clone()).ok());
    let Some(job) = &mut job else { return };
    for verified in &most[1..] {
        assert!(job.insert(verified.clone()).is_ok());
    }
    job.settle();
    let mut times = Vec::new();
    for verified in last {
        let verified = verified.clone();
        timed(&mut times, || {
            assert!(job.insert(verified).is_ok());
            job.settle();
        });
    }
    let worst = times
        .iter()
        .max()
        .map_or(0.0, |worst| worst.as_secs_f64() * 1e6);
    line(
        "gate",
        n,
        "one more entry, p50",
        middle(times) * 1_000.0,
        "us",
    );
    line("gate", n, "one more entry, worst of 100", worst, "us");
}

/// Decodes and checks all records on all cores; in the order of the file.
fn check_on_all_cores(file: &[u8], records: &[core::ops::Range<usize>]) -> Vec<Checked> {
    let parts: Vec<_> = records.chunks(sign::BATCH_ENTRIES).collect();
    let done: Vec<Mutex<Vec<Checked>>> = parts.iter().map(|_| Mutex::default()).collect();
    on_all_cores(parts.len(), 1, |part| {
        for at in part {
            let checked = check_records(file, parts[at]);
            *done[at].lock().unwrap_or_else(PoisonError::into_inner) = checked;
        }
    });
    done.into_iter()
        .flat_map(|part| part.into_inner().unwrap_or_else(PoisonError::into_inner))
        .collect()
}

/// What a node does at its start, and `gantline verify`: parts are decoded and checked on all cores, while
/// those that are done are linked in order on this thread.
fn verify_on_all_cores(file: &[u8]) -> Report {
    let scan = journal::scan(file);
    let parts: Vec<_> = scan.records.chunks(sign::BATCH_ENTRIES).collect();
    let next = AtomicUsize::new(0);
    let (to_linker, checked) = mpsc::sync_channel(16);
    let mut verifier = Verifier::new();
    std::thread::scope(|scope| {
        for _ in 0..cores() {
            let (to_linker, next, parts) = (to_linker.clone(), &next, &parts);
            scope.spawn(move || {
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(part) = parts.get(at) else {
                        return;
                    };
                    if to_linker.send((at, check_records(file, part))).is_err() {
                        return;
                    }
                }
            });
        }
        drop(to_linker);
        let (mut early, mut due) = (BTreeMap::new(), 0);
        for (at, done) in checked {
            early.insert(at, done);
            while let Some(done) = early.remove(&due) {
                verifier.add(parts[due], done);
                due += 1;
            }
        }
    });
    verifier.finish(file, &scan)
}

/// Resident memory of this process, MiB.
fn resident_mib() -> f64 {
    let statm = std::fs::read_to_string("/proc/self/statm").unwrap_or_default();
    let pages = statm.split_whitespace().nth(1);
    pages
        .and_then(|pages| pages.parse::<f64>().ok())
        .unwrap_or(0.0)
        * 4_096.0
        / 1_048_576.0
}

/// One entry after the other, each durable before the next: with the journal's frame, and bare, taking
/// turns, both into space that was written before.
fn append(entries: &[Entry], n: usize) {
    let most = entries.len().min(2_000);
    let Ok(folder) = std::env::current_dir() else {
        return;
    };
    let open = |name: &str| {
        let path = folder.join(format!("target-{name}-{}", std::process::id()));
        let file = File::options()
            .create(true)
            .truncate(true)
            .write(true)
            .open(&path)?;
        file.write_all_at(&vec![0; most * 600], 0)?;
        file.sync_all()?;
        Ok::<_, std::io::Error>((path, file))
    };
    let (Ok((framed_path, framed)), Ok((bare_path, bare))) = (open("framed"), open("bare")) else {
        return;
    };
    let (mut framed_times, mut bare_times) = (Vec::new(), Vec::new());
    let (mut framed_end, mut bare_end) = (0, 0);
    for entry in &entries[..most] {
        timed(&mut framed_times, || {
            let record = journal::record(&entry.bytes);
            let done = framed
                .write_all_at(&record, framed_end)
                .and_then(|()| framed.sync_data());
            assert!(done.is_ok());
            framed_end += record.len() as u64;
        });
        timed(&mut bare_times, || {
            let done = bare
                .write_all_at(&entry.bytes, bare_end)
                .and_then(|()| bare.sync_data());
            assert!(done.is_ok());
            bare_end += entry.bytes.len() as u64;
        });
    }
    let _ = std::fs::remove_file(framed_path);
    let _ = std::fs::remove_file(bare_path);
    let (framed, bare) = (middle(framed_times), middle(bare_times));
    line(
        "append",
        n,
        "bare write and fdatasync, p50",
        bare * 1_000.0,
        "us",
    );
    line(
        "append",
        n,
        "framed write and fdatasync, p50",
        framed * 1_000.0,
        "us",
    );
    line("append", n, "framed / bare", framed / bare, "ratio");
}

const BATCHES: [usize; 5] = [64, 128, 256, 512, 1_024];
