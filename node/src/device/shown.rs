//! Shown: what did this device show, when, and by when was each stop known to be at the others?
//! Owns: the file `shown` in a job's folder: a line of JSON for each change.   Gives: `ShownFile`, `read`.
//! May use: the engine's newest call.   Never: proof of anything (it is not signed and not sent, the log is); keeps the
//! node from anything when the disk does not take it.
//!
//! Links are not in the log, so a Hold by loss can be told afterwards only by the device that showed it.

use gantline_protocol::engine::{Alarm, Engine};
use gantline_protocol::ids::{DeviceKey, EntryHash};
use gantline_protocol::state::CallWord;
use gantline_protocol::time::Now;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::JoinHandle;

/// Some 10,000 changes; then the older half goes.
const FILE_MAX_BYTES: usize = 1024 * 1024;

/// A change of what was shown.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Line {
    /// When, by the device's wall clock, ms since 1970.
    pub at: i64,
    /// What.
    #[serde(flatten)]
    pub what: What,
}

/// What changed.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// The node started, or ended in good order: nothing is known of the time between.
    Runs(bool),
    /// The call; `loss`: a Hold because something was lost.
    Call {
        /// The word.
        word: CallWord,
        /// By loss.
        loss: bool,
    },
    /// Something began to sound.
    Sounds(Alarm),
    /// A device was known to hold a stop.
    Has {
        /// The stop.
        stop: EntryHash,
        /// The device.
        device: DeviceKey,
    },
}

/// Lines that wait for the disk at most; more are lost, as the loop waits for no disk.
const WAITING_MAX: usize = 256;

/// The file, as it is written: by a thread of its own, so that nothing ever waits for it.
#[derive(Debug)]
pub struct ShownFile {
    lines: SyncSender<String>,
    writer: Option<JoinHandle<()>>,
    call: Option<(CallWord, bool)>,
    sounds: BTreeSet<Alarm>,
    holders: BTreeSet<(EntryHash, DeviceKey)>,
}

/// Where it is, beside a job's journal.
fn path(folder: &Path) -> std::path::PathBuf {
    folder.join("shown")
}

/// What was written, the oldest first; a line that is none is left out.
#[must_use]
pub fn read(folder: &Path) -> Vec<Line> {
    let bytes = std::fs::read(path(folder)).unwrap_or_default();
    let lines = bytes.split(|byte| *byte == b'\n');
    lines
        .filter_map(|line| serde_json::from_slice(line).ok())
        .collect()
}

/// The writer's thread: ends when nobody can send it anything any longer, or when the disk does not take it.
fn write_all(path: &Path, waiting: &Receiver<String>) {
    let bytes = std::fs::read(path).unwrap_or_default();
    if bytes.len() > FILE_MAX_BYTES {
        let half = bytes.get(bytes.len() / 2..).unwrap_or_default();
        let whole = half.iter().position(|byte| *byte == b'\n');
        let kept = half.get(whole.map_or(0, |at| at + 1)..);
        if std::fs::write(path, kept.unwrap_or_default()).is_err() {
            return;
        }
    }
    let Ok(mut file) = OpenOptions::new().create(true).append(true).open(path) else {
        return;
    };
    // One write for a line, so that a power cut leaves whole lines and a rest.
    while let Ok(line) = waiting.recv() {
        if file.write_all(line.as_bytes()).is_err() {
            return;
        }
    }
}

impl ShownFile {
    /// Of a job's folder. Where it cannot be written nothing is kept: the replay then says that it does not know.
    #[must_use]
    pub fn open(folder: &Path) -> Self {
        let path = path(folder);
        let (lines, waiting) = sync_channel(WAITING_MAX);
        let writer = std::thread::Builder::new()
            .name("shown".to_owned())
            .spawn(move || write_all(&path, &waiting));
        Self {
            lines,
            writer: writer.ok(),
            call: None,
            sounds: BTreeSet::new(),
            holders: BTreeSet::new(),
        }
    }

    fn write(&self, at: i64, what: What) {
        let line = serde_json::to_string(&Line { at, what }).unwrap_or_default();
        // A disk that does not keep up loses lines of this file, and nothing else.
        let _ = self.lines.try_send(line + "\n");
    }

    /// Writes what waits, and ends.
    pub fn end(self) -> Option<JoinHandle<()>> {
        self.writer
    }

    /// The node starts, or ends in good order.
    pub fn runs(&self, now: Now, runs: bool) {
        self.write(now.wall.0, What::Runs(runs));
    }

    /// Something began to sound, or ended.
    pub fn sounds(&mut self, now: Now, alarm: Alarm, on: bool) {
        if !on {
            self.sounds.remove(&alarm);
        } else if self.sounds.insert(alarm) {
            self.write(now.wall.0, What::Sounds(alarm));
        }
    }

    /// Looks at what the device shows now, and writes down what has changed.
    pub fn look(&mut self, now: Now, engine: &Engine) {
        let call = engine.shown();
        if call != self.call
            && let Some((word, loss)) = call
        {
            self.call = call;
            self.write(now.wall.0, What::Call { word, loss });
        }
        if call.is_some_and(|(word, _)| word == CallWord::StopWork) {
            for (stop, device) in engine.stop_holders(now) {
                if self.holders.insert((stop, device)) {
                    self.write(now.wall.0, What::Has { stop, device });
                }
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use gantline_protocol::time::{Tick, WallClock};

    fn at(ms: i64) -> Now {
        Now {
            tick: Tick(0),
            wall: WallClock(ms),
        }
    }

    #[test]
    fn what_is_written_is_read_and_a_torn_line_is_left_out() {
        let folder = tempfile::tempdir().unwrap();
        assert!(read(folder.path()).is_empty());
        let mut file = ShownFile::open(folder.path());
        file.runs(at(1), true);
        file.sounds(at(2), Alarm::Stop, true);
        file.sounds(at(3), Alarm::Stop, true);
        file.sounds(at(4), Alarm::Stop, false);
        let call = What::Call {
            word: CallWord::Hold,
            loss: true,
        };
        file.write(5, call.clone());
        file.end().unwrap().join().unwrap();
        let path = path(folder.path());
        let mut bytes = std::fs::read(&path).unwrap();
        bytes.extend_from_slice(br#"{"at":6,"call":{"wo"#);
        std::fs::write(&path, bytes).unwrap();
        let expected = [
            (1, What::Runs(true)),
            (2, What::Sounds(Alarm::Stop)),
            (5, call),
        ];
        let expected: Vec<Line> = expected.map(|(at, what)| Line { at, what }).into();
        assert_eq!(read(folder.path()), expected);
    }

    #[test]
    fn of_a_long_file_the_newer_half_is_kept_in_whole_lines() {
        let folder = tempfile::tempdir().unwrap();
        let line = |at| {
            serde_json::to_string(&Line {
                at,
                what: What::Runs(true),
            })
            .unwrap()
        };
        let lines: Vec<String> = (0..60_000).map(line).collect();
        std::fs::write(path(folder.path()), lines.join("\n") + "\n").unwrap();
        ShownFile::open(folder.path())
            .end()
            .unwrap()
            .join()
            .unwrap();
        let kept = read(folder.path());
        assert!(kept.len() > 20_000 && kept.len() < 40_000, "{}", kept.len());
        assert_eq!(kept.last().unwrap().at, 59_999);
    }
}
