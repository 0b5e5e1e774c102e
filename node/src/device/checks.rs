//! Checks: signatures, on all cores.
//! Owns: worker threads.   Gives: `Checkers` for the running node, `check_all` for what is read at the start.
//! May use: protocol::log.   Never: holds up the loop; what a good signature allows.

use crate::store::Finding;
use gantline_protocol::engine::{Input, VerifyId};
use gantline_protocol::log::sign::{BATCH_ENTRIES, BadSignature, Verified, verify_batch};
use gantline_protocol::log::wire::Entry;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use tokio::sync::mpsc::UnboundedSender;

/// Up to so many entries are checked where they are: some 0.3 ms, less than handing them to a thread can cost on a
/// busy machine.
pub(crate) const INLINE_MAX: usize = 8;
/// A part for one thread has at least so many: below, a signature takes half as long again as in a full batch.
const PART_MIN: usize = 128;
/// More threads than this gain nothing: the loop takes the results one after the other.
const THREADS_MAX: usize = 4;

type Checked = (Vec<Verified>, Vec<BadSignature>);

struct Part {
    batch: Arc<Batch>,
    place: usize,
    entries: Vec<Entry>,
}

/// A batch in work: its parts are put together in the order given.
struct Batch {
    id: VerifyId,
    done: Mutex<Vec<Option<Checked>>>,
}

/// Threads that check signatures.
pub(crate) struct Checkers {
    parts: Sender<Part>,
}

fn threads() -> usize {
    thread::available_parallelism().map_or(1, |cores| cores.get().min(THREADS_MAX))
}

impl Checkers {
    /// Starts them; results go to `results` as inputs for the engine.
    ///
    /// # Errors
    /// The system gives no thread.
    pub(crate) fn start(results: &UnboundedSender<Input>) -> std::io::Result<Self> {
        let (parts, queue) = channel();
        let queue = Arc::new(Mutex::new(queue));
        for n in 0..threads() {
            let (queue, results) = (Arc::clone(&queue), results.clone());
            thread::Builder::new()
                .name(format!("check {n}"))
                .spawn(move || work(&queue, &results))?;
        }
        Ok(Self { parts })
    }

    /// Has a batch checked.
    pub(crate) fn check(&self, id: VerifyId, entries: Vec<Entry>) {
        // Every thread has a share, and no part is larger than the fastest batches.
        let each = entries.len().div_ceil(threads());
        let each = each.clamp(PART_MIN, BATCH_ENTRIES);
        let places = entries.len().div_ceil(each);
        let batch = Arc::new(Batch {
            id,
            done: Mutex::new((0..places).map(|_| None).collect()),
        });
        let mut entries = entries.into_iter();
        for place in 0..places {
            // The threads live as long as this sender.
            let _ = self.parts.send(Part {
                batch: Arc::clone(&batch),
                place,
                entries: entries.by_ref().take(each).collect(),
            });
        }
    }
}

fn work(queue: &Mutex<Receiver<Part>>, results: &UnboundedSender<Input>) {
    loop {
        let next = queue.lock().unwrap_or_else(PoisonError::into_inner).recv();
        let Ok(part) = next else {
            return;
        };
        let checked = verify_batch(part.entries);
        if let Some((good, bad)) = part.batch.put(part.place, checked) {
            let _ = results.send(Input::Verified {
                batch: part.batch.id,
                good,
                bad,
            });
        }
    }
}

impl Batch {
    /// Puts a part in its place; gives the whole when it was the last one.
    fn put(&self, place: usize, checked: Checked) -> Option<Checked> {
        let mut done = self.done.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(slot) = done.get_mut(place) {
            *slot = Some(checked);
        }
        if done.iter().any(Option::is_none) {
            return None;
        }
        let mut all = Checked::default();
        for (good, bad) in done.drain(..).flatten() {
            all.0.extend(good);
            all.1.extend(bad);
        }
        Some(all)
    }
}

/// Decodes and checks what a journal gave, on all cores, keeping the order. What is not good is left out and told.
#[must_use]
pub fn check_all(records: &[Arc<[u8]>]) -> (Vec<Verified>, Vec<Finding>) {
    let each = records.len().div_ceil(threads()).max(PART_MIN);
    thread::scope(|scope| {
        let parts: Vec<_> = records
            .chunks(each)
            .enumerate()
            .map(|(n, part)| scope.spawn(move || check_part(n * each, part)))
            .collect();
        let mut all = Vec::with_capacity(records.len());
        let mut findings = Vec::new();
        for part in parts {
            // Checking does not panic; were it so, the part would count as unreadable.
            if let Ok((good, bad)) = part.join() {
                all.extend(good);
                findings.extend(bad);
            }
        }
        (all, findings)
    })
}

fn check_part(first: usize, records: &[Arc<[u8]>]) -> (Vec<Verified>, Vec<Finding>) {
    let mut good = Vec::with_capacity(records.len());
    let mut findings = Vec::new();
    for (n, records) in records.chunks(BATCH_ENTRIES).enumerate() {
        let mut entries = Vec::with_capacity(records.len());
        let mut places = Vec::with_capacity(records.len());
        for (m, record) in records.iter().enumerate() {
            let place = first + n * BATCH_ENTRIES + m;
            match Entry::decode(Arc::clone(record)) {
                Ok(entry) => {
                    places.push((place, entry.content.author, entry.content.seq));
                    entries.push(entry);
                }
                Err(bad) => findings.push(Finding::BadEntry {
                    record: place,
                    why: bad.to_string(),
                }),
            }
        }
        let (verified, bad) = verify_batch(entries);
        good.extend(verified);
        for bad in bad {
            let record = places
                .iter()
                .find(|(_, author, seq)| (*author, *seq) == (bad.author, bad.seq))
                .map_or(first, |(place, ..)| *place);
            findings.push(Finding::BadEntry {
                record,
                why: bad.to_string(),
            });
        }
    }
    (good, findings)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use ed25519_zebra::SigningKey;
    use gantline_protocol::ids::{JobId, Person};
    use gantline_protocol::log::author::Author;
    use gantline_protocol::log::entry::{Body, Found};
    use gantline_protocol::log::graph::Graph;
    use gantline_protocol::log::sign::verify;
    use gantline_protocol::plan;
    use gantline_protocol::time::WallClock;
    use tokio::sync::mpsc::unbounded_channel;

    /// A founding entry and `n` others of one author.
    fn entries(n: usize) -> Vec<Entry> {
        let author = Author::new(SigningKey::from([1; 32]));
        let mut graph = Graph::new();
        let found = Found {
            plan: plan::parse("small", plan::SMALL).unwrap(),
            person: Person::try_from("Supervisor").unwrap(),
            roles: Vec::new(),
            continues: None,
            nonce: [1; 16],
        };
        let mut all = Vec::new();
        let mut job = JobId::UNFOUNDED;
        for at in 0..=n {
            let body = match at {
                0 => Body::Found(Box::new(found.clone())),
                _ => Body::Accept,
            };
            let entry = author.next(&graph, WallClock(1), job, body).unwrap();
            if at == 0 {
                job = entry.hash.into();
            }
            all.push(entry.clone());
            graph.insert(verify(entry).unwrap()).unwrap();
        }
        all
    }

    fn forged(entry: &Entry) -> Arc<[u8]> {
        let mut bytes = entry.bytes.to_vec();
        let last = bytes.len() - 5;
        bytes[last] ^= 1;
        bytes.into()
    }

    #[test]
    fn a_journal_is_checked_in_order_and_bad_records_are_named_and_left_out() {
        let all = entries(600);
        let mut records: Vec<Arc<[u8]>> = all.iter().map(|entry| entry.bytes.clone()).collect();
        records[300] = forged(&all[300]);
        records[301] = Arc::from([0; 70]);
        let (good, findings) = check_all(&records);
        let kept: Vec<_> = good.iter().map(|entry| entry.entry().content.seq).collect();
        let expected: Vec<u32> = (0..=600).filter(|seq| ![300, 301].contains(seq)).collect();
        assert_eq!(kept, expected);
        let mut places: Vec<usize> = findings
            .iter()
            .map(|finding| match finding {
                Finding::BadEntry { record, .. } => *record,
                other => panic!("{other:?}"),
            })
            .collect();
        places.sort_unstable();
        assert_eq!(places, [300, 301]);
        assert!(findings.iter().all(Finding::is_loss));
        assert_eq!(check_all(&[]).0, []);
    }

    #[test]
    fn a_batch_over_several_threads_comes_back_whole_and_in_order() {
        let mut batch = entries(700);
        batch[650] = Entry::decode(forged(&batch[650])).unwrap();
        let (results, mut said) = unbounded_channel();
        let checkers = Checkers::start(&results).unwrap();
        checkers.check(VerifyId(5), batch);
        let Some(Input::Verified { batch, good, bad }) = said.blocking_recv() else {
            panic!("no result");
        };
        assert_eq!(batch, VerifyId(5));
        let seqs: Vec<_> = good.iter().map(|entry| entry.entry().content.seq).collect();
        let expected: Vec<u32> = (0..=700).filter(|seq| *seq != 650).collect();
        assert_eq!(seqs, expected);
        assert_eq!(bad.len(), 1);
        assert_eq!(bad[0].seq, 650);
    }
}
