//! Flusher: the thread that waits for the disk, so that nothing else has to.
//! Owns: the journal and the side store while the node runs.   Gives: `Flusher`; results as inputs for the engine.
//! May use: store.   Never: the order of batches changed; a batch taken behind one that failed.
//!
//! All batches that wait when a flush ends go into the next one (group commit). When a flush fails, so does every
//! batch that was handed over before the loop knew of it: a later batch may rest on an earlier one.

use crate::store::{Journal, Side};
use gantline_protocol::engine::{FlushId, Input};
use gantline_protocol::ids::DeviceKey;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::{self, JoinHandle};
use std::time::Duration;
use tokio::sync::mpsc::UnboundedSender;

/// Bytes in one group: a few tens of milliseconds of writing on a slow card.
const GROUP_MAX_BYTES: usize = 4 * 1024 * 1024;
/// The side store is flushed when nothing has come for so long.
const SIDE_FLUSH_AFTER: Duration = Duration::from_secs(2);

enum Job {
    Append {
        batch: FlushId,
        entries: Vec<Arc<[u8]>>,
        /// How many failed flushes the loop knew of.
        failures_known: u64,
    },
    Addresses(DeviceKey, Vec<SocketAddr>),
    End,
}

/// Hands work to the thread.
pub(crate) struct Flusher {
    jobs: Sender<Job>,
    failures_known: u64,
    thread: Option<JoinHandle<()>>,
}

impl Flusher {
    /// Starts the thread; results go to `results`.
    ///
    /// # Errors
    /// The system gives no thread.
    pub(crate) fn start(
        journal: Journal,
        side: Side,
        results: UnboundedSender<Input>,
    ) -> std::io::Result<Self> {
        let (jobs, queue) = channel();
        let mut worker = Worker {
            journal,
            side,
            results,
            failures: 0,
            is_side_dirty: true,
        };
        let thread = thread::Builder::new()
            .name("flush".to_owned())
            .spawn(move || worker.run(&queue))?;
        Ok(Self {
            jobs,
            failures_known: 0,
            thread: Some(thread),
        })
    }

    /// Has a batch appended and flushed.
    pub(crate) fn append(&self, batch: FlushId, entries: Vec<Arc<[u8]>>) {
        self.put(Job::Append {
            batch,
            entries,
            failures_known: self.failures_known,
        });
    }

    /// To be called for each result before the engine gets it.
    pub(crate) fn note(&mut self, result: &Input) {
        if let Input::FlushFailed { .. } = result {
            self.failures_known += 1;
        }
    }

    /// Has addresses kept.
    pub(crate) fn keep_addresses(&self, device: DeviceKey, addresses: Vec<SocketAddr>) {
        self.put(Job::Addresses(device, addresses));
    }

    /// Ends the thread when all before is done, and gives what to wait for it with.
    pub(crate) fn end(&mut self) -> Option<JoinHandle<()>> {
        self.put(Job::End);
        self.thread.take()
    }

    fn put(&self, job: Job) {
        // The thread ends only at `end`, after which the loop hands nothing over.
        let _ = self.jobs.send(job);
    }
}

struct Worker {
    journal: Journal,
    side: Side,
    results: UnboundedSender<Input>,
    /// Batches that were said to have failed.
    failures: u64,
    is_side_dirty: bool,
}

impl Worker {
    fn run(&mut self, queue: &Receiver<Job>) {
        let mut next = None;
        loop {
            let job = match next.take() {
                Some(job) => job,
                None => match self.wait(queue) {
                    Some(job) => job,
                    None => return,
                },
            };
            match job {
                Job::Append {
                    batch,
                    entries,
                    failures_known,
                } => {
                    if failures_known < self.failures {
                        self.fail(batch, "an earlier batch failed");
                        continue;
                    }
                    next = self.append_group(queue, batch, entries);
                }
                Job::Addresses(device, addresses) => {
                    // Without it the address is asked for again at the next start.
                    let _ = self.side.set_addresses(device, &addresses);
                    self.is_side_dirty = true;
                }
                Job::End => {
                    self.flush_side();
                    return;
                }
            }
        }
    }

    /// The next job; meanwhile what can be done when nobody waits.
    fn wait(&mut self, queue: &Receiver<Job>) -> Option<Job> {
        if let Ok(job) = queue.try_recv() {
            return Some(job);
        }
        self.journal.prepare();
        if !self.is_side_dirty {
            return queue.recv().ok();
        }
        match queue.recv_timeout(SIDE_FLUSH_AFTER) {
            Ok(job) => Some(job),
            Err(RecvTimeoutError::Disconnected) => None,
            Err(RecvTimeoutError::Timeout) => {
                self.flush_side();
                queue.recv().ok()
            }
        }
    }

    /// Appends a batch and all others that wait. Gives back the job that ended the group, if one did.
    fn append_group(
        &mut self,
        queue: &Receiver<Job>,
        batch: FlushId,
        mut entries: Vec<Arc<[u8]>>,
    ) -> Option<Job> {
        let mut group = vec![batch];
        let mut bytes: usize = entries.iter().map(|entry| entry.len()).sum();
        let mut next = None;
        while bytes < GROUP_MAX_BYTES {
            match queue.try_recv() {
                Ok(Job::Append {
                    batch,
                    entries: more,
                    ..
                }) => {
                    bytes += more.iter().map(|entry| entry.len()).sum::<usize>();
                    group.push(batch);
                    entries.extend(more);
                }
                Ok(other) => {
                    next = Some(other);
                    break;
                }
                Err(_) => break,
            }
        }
        match self.journal.append(&entries) {
            Ok(()) => {
                self.is_side_dirty = true;
                for batch in group {
                    let _ = self.results.send(Input::Flushed { batch });
                }
            }
            Err(fault) => {
                let why = fault.to_string();
                for batch in group {
                    self.fail(batch, &why);
                }
            }
        }
        next
    }

    fn fail(&mut self, batch: FlushId, why: &str) {
        self.failures += 1;
        let _ = self.results.send(Input::FlushFailed {
            batch,
            why: why.to_owned(),
        });
    }

    fn flush_side(&mut self) {
        // What is lost of it is rebuilt or found out again.
        let _ = self.side.note_journal_records(self.journal.records());
        let _ = self.side.flush();
        self.is_side_dirty = false;
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::store::Disk;
    use std::io;
    use std::path::Path;
    use std::sync::Mutex;
    use tokio::sync::mpsc::unbounded_channel;

    /// A disk that waits at each flush until it is let go on, and then does as told.
    struct SlowDisk {
        flushes: Arc<Mutex<Receiver<bool>>>,
        writes: Arc<Mutex<u32>>,
    }

    impl Disk for SlowDisk {
        fn read_all(&mut self) -> io::Result<Vec<u8>> {
            let mut file = gantline_protocol::log::journal::header().to_vec();
            file.resize(4 * 1024 * 1024, 0);
            Ok(file)
        }
        fn write_at(&mut self, _: u64, _: &[u8]) -> io::Result<()> {
            *self.writes.lock().unwrap() += 1;
            Ok(())
        }
        fn reserve(&mut self, _: u64, _: u64) -> io::Result<()> {
            Ok(())
        }
        fn flush(&mut self) -> io::Result<()> {
            match self.flushes.lock().unwrap().recv() {
                Ok(true) => Ok(()),
                _ => Err(io::ErrorKind::Other.into()),
            }
        }
    }

    fn entry() -> Vec<Arc<[u8]>> {
        vec![Arc::from([1_u8; 100])]
    }

    #[test]
    fn batches_that_wait_go_together_and_none_is_taken_behind_a_failed_one() {
        let folder = tempfile::tempdir().unwrap();
        let (let_go, flushes) = channel();
        let writes = Arc::new(Mutex::new(0));
        let disk = SlowDisk {
            flushes: Arc::new(Mutex::new(flushes)),
            writes: Arc::clone(&writes),
        };
        let journal = Journal::open_on(Box::new(disk), Path::new("unused"))
            .unwrap()
            .journal;
        let (side, _) = Side::open(folder.path());
        let (results, mut said) = unbounded_channel();
        let mut flusher = Flusher::start(journal, side, results).unwrap();

        // The first waits for the disk; the next two gather behind it, and go in one write.
        flusher.append(FlushId(0), entry());
        while *writes.lock().unwrap() == 0 {
            thread::yield_now();
        }
        flusher.append(FlushId(1), entry());
        flusher.append(FlushId(2), entry());
        let_go.send(true).unwrap();
        let_go.send(false).unwrap();
        let mut next = || said.blocking_recv().unwrap();
        assert!(matches!(next(), Input::Flushed { batch: FlushId(0) }));
        let failed = [next(), next()];
        assert!(
            matches!(
                failed,
                [
                    Input::FlushFailed {
                        batch: FlushId(1),
                        ..
                    },
                    Input::FlushFailed {
                        batch: FlushId(2),
                        ..
                    }
                ]
            ),
            "{failed:?}"
        );
        assert_eq!(*writes.lock().unwrap(), 2);

        // Not yet known to the loop: refused without a write. Then known: taken.
        flusher.append(FlushId(3), entry());
        let refused = next();
        assert!(
            matches!(
                refused,
                Input::FlushFailed {
                    batch: FlushId(3),
                    ..
                }
            ),
            "{refused:?}"
        );
        assert_eq!(*writes.lock().unwrap(), 2);
        for result in failed.iter().chain([&refused]) {
            flusher.note(result);
        }
        let_go.send(true).unwrap();
        flusher.append(FlushId(4), entry());
        assert!(matches!(next(), Input::Flushed { batch: FlushId(4) }));
        flusher.end().unwrap().join().unwrap();
    }
}
