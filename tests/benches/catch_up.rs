//! Catch up: what it takes an empty node to come level with a full one, beside the signature checks alone.
//! Owns: two nodes and their folders.   Gives: lines of `measure peer n metric value unit`, tab-separated.
//! May use: the node as it is shipped, protocol, workload.   Never: an absolute bound.
//!
//! Both nodes are real ones on a thread each, as `gantline node` runs them, over QUIC on the loopback
//! address. Empty means that the node has the entries which make it a member, and nothing else. The time
//! runs from the moment when the link stands until all entries are on the disk, are part of the job, and
//! the status was worked out and answered. It includes the beacon from which the node learns what it lacks
//! and the pause before it asks; the smallest size measures these, and they are taken off in a second ratio.
//!
//! `cargo bench -p gantline-tests --bench catch_up [-- ENTRIES...]`

#[path = "support/home.rs"]
mod home;
mod support;

use gantline::device::{Home, Node, NodeConfig, NodeHandle, Request};
use gantline_protocol::bounds::GIVE_MAX_ENTRIES;
use gantline_protocol::ids::DeviceKey;
use gantline_protocol::log::columns::pack;
use gantline_protocol::log::graph::{EntryIx, Graph};
use gantline_protocol::log::sign::{self, Verified};
use gantline_protocol::sync::Message;
use gantline_tests::workload::{FIRST_ENTRIES, Workload};
use home::home;
use std::collections::BTreeMap;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::mpsc::channel;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use support::{checks_alone, cpu_ms, on_all_cores};

/// Each with another device as the empty one.
const ROUNDS: usize = 3;
/// So few that only the beacons and the pause before the ask count.
const FEW: usize = 60;
/// How often the empty node is asked how far it is.
const LOOK_EVERY: Duration = Duration::from_millis(2);
/// Bytes of entries in one answer to an ask, as the engine has it.
const GIVE_BYTES: usize = 1024 * 1024;

fn main() {
    let mut sizes: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    if sizes.is_empty() {
        sizes = vec![10_000, 100_000];
    }
    let (few, _) = measure(FEW);
    for n in sizes {
        let (wall, alone) = measure(n);
        line(n, "wall / checks alone", wall / alone, "ratio");
        let pure = (wall - few) / alone;
        line(
            n,
            "wall less that of 60 entries / checks alone",
            pure,
            "ratio",
        );
    }
}

fn line(n: usize, metric: &str, value: f64, unit: &str) {
    println!("catch-up\tgantline\t{n}\t{metric}\t{value:.3}\t{unit}");
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1_000.0
}

fn middle(mut times: Vec<f64>) -> f64 {
    times.sort_unstable_by(f64::total_cmp);
    times[times.len() / 2]
}

/// Wall time of the catch-up and of the checks alone, ms.
fn measure(n: usize) -> (f64, f64) {
    let workload = Workload::new(n).unwrap_or_else(|bad| panic!("the workload: {bad}"));
    let (good, bad) = sign::verify_batch(workload.entries.clone());
    assert!(bad.is_empty(), "the workload is well signed");
    let folder = tempfile::tempdir().unwrap_or_else(|fault| panic!("a folder: {fault}"));
    let full = Running::start("full", home(folder.path(), 0, &good), Vec::new());
    let known = vec![(workload.devices[0], full.address)];

    let (mut walls, mut alones, mut firsts) = (Vec::new(), Vec::new(), Vec::new());
    let (mut cpu, mut alone_cpu) = (0.0, 0.0);
    let mut threads = BTreeMap::new();
    for round in 0..ROUNDS {
        for size in [512, 1_024] {
            let (start, before) = (Instant::now(), cpu_ms());
            on_all_cores(workload.entries.len(), size, |part| {
                checks_alone(&workload.entries[part]);
            });
            alones.push((size, ms(start.elapsed())));
            alone_cpu += (cpu_ms() - before) / 2.0;
        }
        let home = home(folder.path(), 1 + round, &good[..FIRST_ENTRIES]);
        let empty = Running::start("empty", home, known.clone());
        let (before, before_threads) = (cpu_ms(), cpu_ms_by_thread());
        let (first, wall) = empty.level(good.len() as u64);
        cpu += cpu_ms() - before;
        for (name, time) in cpu_ms_by_thread() {
            let before = before_threads.get(&name).copied().unwrap_or(0.0);
            *threads.entry(name).or_insert(0.0) += time - before;
        }
        walls.push(wall);
        firsts.push(first);
        empty.stop();
    }
    full.stop();
    let of_size = |size| {
        let times = alones.iter().filter(|(of, _)| *of == size);
        middle(times.map(|(_, time)| *time).collect())
    };
    let (wall, alone) = (middle(walls), of_size(512).min(of_size(1_024)));
    let rounds = ROUNDS as f64;
    line(n, "checks alone, best", alone, "ms");
    line(n, "link to first entries applied", middle(firsts), "ms");
    line(n, "link to all applied, on disk and shown", wall, "ms");
    line(n, "checks alone, processor time", alone_cpu / rounds, "ms");
    line(n, "both nodes, processor time", cpu / rounds, "ms");
    for (name, time) in threads {
        let metric = format!("threads `{name}`, processor time");
        line(n, &metric, time / rounds, "ms");
    }
    line(n, "in messages", bytes_an_entry(good), "bytes/entry");
    (wall, alone)
}

/// A node on a thread of its own.
struct Running {
    handle: NodeHandle,
    address: SocketAddr,
    thread: JoinHandle<()>,
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap_or_else(|fault| panic!("a runtime: {fault}"))
}

impl Running {
    fn start(name: &str, home: Home, known: Vec<(DeviceKey, SocketAddr)>) -> Self {
        let config = NodeConfig {
            home,
            job: None,
            listen: Some((Ipv4Addr::LOCALHOST, 0).into()),
            discovery: false,
            control_port: 0,
            known,
            allow_faults: false,
        };
        let (started, up) = channel();
        let named = std::thread::Builder::new().name(name.to_owned());
        let thread = named.spawn(move || {
            runtime().block_on(async {
                match Node::start(config).await {
                    Ok(node) => {
                        let _ = started.send((node.handle(), node.address()));
                        node.ended().await;
                    }
                    Err(fault) => panic!("the node: {fault}"),
                }
            });
        });
        let (Ok(thread), Ok((handle, address))) = (thread, up.recv()) else {
            panic!("a node does not start");
        };
        Self {
            handle,
            address,
            thread,
        }
    }

    /// From the link until the first entries and until all of them are in, ms.
    fn level(&self, all: u64) -> (f64, f64) {
        runtime().block_on(async {
            let (mut linked, mut first) = (None, None);
            loop {
                let health = self.handle.health().await;
                let health = health.unwrap_or_else(|ended| panic!("{ended}"));
                assert!(health.bugs.is_empty(), "{:?}", health.bugs);
                if linked.is_none() && !health.linked.is_empty() {
                    linked = Some(Instant::now());
                }
                let Some(linked) = linked else {
                    tokio::time::sleep(LOOK_EVERY).await;
                    continue;
                };
                if first.is_none() && health.records > FIRST_ENTRIES as u64 {
                    first = Some(ms(linked.elapsed()));
                }
                if health.records == all {
                    assert!(self.handle.status().await.is_ok());
                    let wall = ms(linked.elapsed());
                    return (first.unwrap_or(wall), wall);
                }
                tokio::time::sleep(LOOK_EVERY).await;
            }
        })
    }

    fn stop(self) {
        let _ = runtime().block_on(self.handle.tell(Request::Shutdown));
        assert!(self.thread.join().is_ok(), "a node ended in a panic");
    }
}

/// Bytes of the answers that carry all entries, packed as a link packs them.
fn bytes_an_entry(good: Vec<Verified>) -> f64 {
    let mut graph = Graph::new();
    for verified in good {
        assert!(graph.insert(verified).is_ok());
    }
    let all: Vec<EntryIx> = graph.iter().skip(FIRST_ENTRIES).collect();
    let (mut bytes, mut rest) = (0, &all[..]);
    while !rest.is_empty() {
        let mut left = GIVE_BYTES;
        let fits = rest.iter().take(GIVE_MAX_ENTRIES).take_while(|ix| {
            let fits = left.checked_sub(graph.entry(**ix).bytes.len());
            left = fits.unwrap_or(0);
            fits.is_some()
        });
        let (some, later) = rest.split_at(fits.count().max(1));
        let message = Message::Give(pack(&graph, some)).encode();
        let small = zstd::bulk::compress(&message, 1);
        bytes += small.map_or(message.len(), |small| small.len());
        rest = later;
    }
    bytes as f64 / all.len() as f64
}

/// Processor time of the threads of this process that are there now, by name, ms; threads of one name together.
fn cpu_ms_by_thread() -> BTreeMap<String, f64> {
    let mut by_name = BTreeMap::new();
    let tasks = std::fs::read_dir("/proc/self/task").into_iter().flatten();
    for task in tasks.flatten() {
        let read = |file: &str| std::fs::read_to_string(task.path().join(file)).unwrap_or_default();
        // The first field: nanoseconds on a processor.
        let on = read("schedstat");
        let on = on.split_whitespace().next().and_then(|on| on.parse().ok());
        let name = read("comm").trim_end().to_owned();
        *by_name.entry(name).or_insert(0.0) += on.unwrap_or(0.0) / 1e6;
    }
    by_name
}
