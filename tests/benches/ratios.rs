//! Ratios: what the log costs beside what cannot be avoided, both measured in one run.
//! Owns: nothing.   Gives: lines of `measure peer n metric value unit`, tab-separated.
//! May use: protocol, workload.   Never: an absolute bound; machines and disks differ, ratios less so.
//!
//! A program of its own and not a group of divan's: a ratio is only worth something if both of its sides
//! take turns in the same minute, which neither divan nor criterion does.
//!
//! `cargo bench -p gantline-tests --bench ratios [-- ENTRIES...]`

use core::convert::Infallible;
use ed25519_zebra::{Signature, VerificationKeyBytes, batch};
use gantline_protocol::gate::Job;
use gantline_protocol::log::columns::{fitting, pack, unpack};
use gantline_protocol::log::graph::{EntryIx, Graph};
use gantline_protocol::log::journal;
use gantline_protocol::log::sign::{self, Verified};
use gantline_protocol::log::wire::Entry;
use gantline_protocol::verify::{Checked, Report, Verifier, check_records};
use gantline_tests::workload::Workload;
use rand_core::{TryCryptoRng, TryRng};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

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

/// Calls `run` with parts of `0..total` on all cores, `size` at a time.
fn on_all_cores(total: usize, size: usize, run: impl Fn(core::ops::Range<usize>) + Sync) {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                loop {
                    let from = next.fetch_add(size, Ordering::Relaxed);
                    if from >= total {
                        return;
                    }
                    run(from..(from + size).min(total));
                }
            });
        }
    });
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
    let (mut replay, mut linked, mut settle) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        for (size, times) in BATCHES.iter().zip(&mut alone) {
            timed(times, || {
                on_all_cores(total, *size, |part| checks_alone(&entries[part]))
            });
        }
        // Two ways to the same: without the gate's verdicts, and with them.
        let job = timed(&mut replay, || {
            let report = verify_on_all_cores(&file);
            assert!(report.is_whole() && report.entries() == total);
            report.job
        });
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

/// What a node does at its start, and `gantline verify`.
fn verify_on_all_cores(file: &[u8]) -> Report {
    let scan = journal::scan(file);
    let mut verifier = Verifier::new();
    verifier.add(&scan.records, check_on_all_cores(file, &scan.records));
    verifier.finish(file, &scan)
}

const BATCHES: [usize; 5] = [64, 128, 256, 512, 1_024];

/// The signature checks of some entries in one batch, with nothing around them: what a bare program would do.
fn checks_alone(entries: &[Entry]) {
    let mut batch = batch::Verifier::new();
    for entry in entries {
        let mut message = *b"gantline entry signature................................";
        message[24..].copy_from_slice(&entry.hash.0);
        let key = VerificationKeyBytes::from(entry.content.author.0);
        batch.queue((key, Signature::from(entry.signature()), &message));
    }
    assert!(batch.verify(Mixed(7)).is_ok());
}

/// Coefficients for measuring alone; a verifier takes its own from a hash.
struct Mixed(u64);

impl TryRng for Mixed {
    type Error = Infallible;
    fn try_next_u32(&mut self) -> Result<u32, Infallible> {
        self.try_next_u64().map(|number| number as u32)
    }
    fn try_next_u64(&mut self) -> Result<u64, Infallible> {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        Ok(self.0 ^ self.0 >> 32)
    }
    fn try_fill_bytes(&mut self, bytes: &mut [u8]) -> Result<(), Infallible> {
        for part in bytes.chunks_mut(8) {
            let number = self.try_next_u64()?.to_le_bytes();
            part.copy_from_slice(&number[..part.len()]);
        }
        Ok(())
    }
}

impl TryCryptoRng for Mixed {}
