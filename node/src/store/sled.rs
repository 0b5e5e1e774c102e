//! Sled: what is handy to have over a restart and can be rebuilt: addresses, settings, how long the journal was.
//! Owns: the folder `side`.   Gives: `Side`.
//! May use: sled, and is the only file that does.   Never: holds anything that would be missed; stops the job.
//!
//! sled 0.34 can fail to open, or panic, after a kill at the wrong moment. So it is opened and read through in a
//! thread of its own under `catch_unwind`; what does not open is set aside and made anew, and said so.

use crate::store::{Finding, StoreFault, free_name, make_folder};
use gantline_protocol::ids::DeviceKey;
use std::fs::File;
use std::net::SocketAddr;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// Memory for sled's own cache, bytes: what is kept here is small.
const CACHE_BYTES: u64 = 1024 * 1024;
/// Most addresses remembered for one device: one for each network that it was ever met on.
pub const ADDRESSES_MAX: usize = 8;

/// The side store could not do what was asked. Nothing of the job is lost by it.
#[derive(Debug, thiserror::Error)]
#[error("the side store in {} failed: {why}", path.display())]
pub struct SideFault {
    path: PathBuf,
    why: String,
}

/// Small things kept beside the journal.
#[derive(Debug)]
pub struct Side {
    path: PathBuf,
    open: Option<Trees>,
}

#[derive(Debug)]
struct Trees {
    db: sled::Db,
    addresses: sled::Tree,
    settings: sled::Tree,
}

impl Side {
    /// Opens the side store in `folder`, making it when it is not there. Always gives one to work with.
    #[must_use]
    pub fn open(folder: &Path) -> (Self, Vec<Finding>) {
        let path = folder.join("side");
        let mut findings = Vec::new();
        let first = match open_and_read(&path) {
            Ok(trees) => return (Self::with(path, trees), findings),
            Err(why) => why,
        };
        let aside = free_name(&path, "damaged");
        if let Err(error) = std::fs::rename(&path, &aside) {
            return Self::without(path, format!("{first}; setting it aside failed: {error}"));
        }
        findings.push(Finding::SideRebuilt { why: first, aside });
        match open_and_read(&path) {
            Ok(trees) => (Self::with(path, trees), findings),
            Err(why) => {
                findings.push(Finding::NoSide { why });
                (Self { path, open: None }, findings)
            }
        }
    }

    fn with(path: PathBuf, trees: Trees) -> Self {
        Self {
            path,
            open: Some(trees),
        }
    }

    fn without(path: PathBuf, why: String) -> (Self, Vec<Finding>) {
        (Self { path, open: None }, vec![Finding::NoSide { why }])
    }

    /// Keeps the addresses of a device, the likeliest first; at most `ADDRESSES_MAX` of them.
    ///
    /// # Errors
    /// [`SideFault`]; the addresses are then as before at the next start.
    pub fn set_addresses(
        &self,
        device: DeviceKey,
        addresses: &[SocketAddr],
    ) -> Result<(), SideFault> {
        let Some(trees) = &self.open else {
            return Ok(());
        };
        let text: Vec<String> = addresses
            .iter()
            .take(ADDRESSES_MAX)
            .map(ToString::to_string)
            .collect();
        self.guard(|| {
            trees
                .addresses
                .insert(device.0, text.join("\n").as_bytes())
                .map(|_| ())
        })
    }

    /// Every address kept, the likeliest of each device first.
    #[must_use]
    pub fn addresses(&self) -> Vec<(DeviceKey, Vec<SocketAddr>)> {
        let Some(trees) = &self.open else {
            return Vec::new();
        };
        self.guard(|| {
            let mut all = Vec::new();
            for pair in &trees.addresses {
                let (key, value) = pair?;
                if let Ok(key) = <[u8; 32]>::try_from(&*key) {
                    all.push((DeviceKey(key), read_addresses(Some(&value))));
                }
            }
            Ok(all)
        })
        .unwrap_or_default()
    }

    /// A setting.
    #[must_use]
    pub fn setting(&self, name: &str) -> Option<String> {
        let trees = self.open.as_ref()?;
        self.guard(|| trees.settings.get(name))
            .ok()
            .flatten()
            .and_then(|value| String::from_utf8(value.to_vec()).ok())
    }

    /// Keeps a setting.
    ///
    /// # Errors
    /// [`SideFault`]; the setting is then as before at the next start.
    pub fn set(&self, name: &str, value: &str) -> Result<(), SideFault> {
        let Some(trees) = &self.open else {
            return Ok(());
        };
        self.guard(|| trees.settings.insert(name, value).map(|_| ()))
    }

    /// How many records the journal had when this was last noted.
    #[must_use]
    pub fn journal_records(&self) -> Option<u64> {
        self.setting(JOURNAL_RECORDS)?.parse().ok()
    }

    /// Notes how many records the journal has, so that a journal that has lost some is found out at the next start.
    ///
    /// # Errors
    /// [`SideFault`].
    pub fn note_journal_records(&self, records: u64) -> Result<(), SideFault> {
        self.set(JOURNAL_RECORDS, &records.to_string())
    }

    /// Puts everything on the disk. sled's own flush asks for no more than writing to begin, so the file is flushed
    /// once more through a handle of our own.
    ///
    /// # Errors
    /// [`SideFault`].
    pub fn flush(&self) -> Result<(), SideFault> {
        let Some(trees) = &self.open else {
            return Ok(());
        };
        self.guard(|| trees.db.flush().map(|_| ()))?;
        File::open(self.path.join("db"))
            .and_then(|file| file.sync_data())
            .map_err(|error| self.fault(error.to_string()))
    }

    fn fault(&self, why: String) -> SideFault {
        SideFault {
            path: self.path.clone(),
            why,
        }
    }

    /// Runs something of sled's, which may panic on damage that the opening did not meet.
    fn guard<T>(&self, work: impl FnOnce() -> sled::Result<T>) -> Result<T, SideFault> {
        match catch_unwind(AssertUnwindSafe(work)) {
            Ok(Ok(value)) => Ok(value),
            Ok(Err(error)) => Err(self.fault(error.to_string())),
            Err(_) => Err(self.fault("it panicked".to_owned())),
        }
    }
}

const JOURNAL_RECORDS: &str = "journal records";

fn read_addresses(value: Option<&[u8]>) -> Vec<SocketAddr> {
    value
        .and_then(|bytes| core::str::from_utf8(bytes).ok())
        .map(|text| text.lines().filter_map(|line| line.parse().ok()).collect())
        .unwrap_or_default()
}

/// Opens, and reads everything once, in a thread, so that a panic of sled's stays there.
fn open_and_read(path: &Path) -> Result<Trees, String> {
    make_folder(path).map_err(|fault| fault.to_string())?;
    remove_unfinished_snapshots(path).map_err(|error| error.to_string())?;
    let path = path.to_owned();
    let opened = std::thread::Builder::new()
        .name("side store opening".to_owned())
        .spawn(move || catch_unwind(AssertUnwindSafe(|| try_open(&path))))
        .map_err(|error| error.to_string())?
        .join();
    match opened {
        Ok(Ok(Ok(trees))) => Ok(trees),
        Ok(Ok(Err(error))) => Err(error.to_string()),
        Ok(Err(_)) | Err(_) => Err("it panicked while opening".to_owned()),
    }
}

fn try_open(path: &Path) -> sled::Result<Trees> {
    let db = sled::Config::new()
        .path(path)
        .cache_capacity(CACHE_BYTES)
        .mode(sled::Mode::LowSpace)
        .flush_every_ms(None)
        .open()?;
    let addresses = db.open_tree("addresses")?;
    let settings = db.open_tree("settings")?;
    for tree in [&addresses, &settings] {
        for pair in tree {
            pair?;
        }
    }
    Ok(Trees {
        db,
        addresses,
        settings,
    })
}

/// A kill while sled opens can leave a snapshot half written, which the next opening takes for the newest.
fn remove_unfinished_snapshots(path: &Path) -> std::io::Result<()> {
    for file in std::fs::read_dir(path)? {
        let file = file?;
        let name = file.file_name();
        let name = name.to_string_lossy();
        if name.starts_with("snap.") && name.ends_with(".generating") {
            std::fs::remove_file(file.path())?;
        }
    }
    Ok(())
}

impl From<SideFault> for StoreFault {
    fn from(fault: SideFault) -> Self {
        Self::Write {
            path: fault.path.clone(),
            source: std::io::Error::other(fault.to_string()),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    fn device(n: u8) -> DeviceKey {
        DeviceKey([n; 32])
    }

    #[test]
    fn addresses_and_settings_are_there_after_a_restart_in_order() {
        let folder = tempfile::tempdir().unwrap();
        let at = |port: u16| SocketAddr::from(([192, 0, 2, 1], port));
        {
            let (side, findings) = Side::open(folder.path());
            assert_eq!(findings, []);
            let all: Vec<SocketAddr> = (1..=20).map(at).collect();
            side.set_addresses(device(7), &all).unwrap();
            side.set_addresses(device(8), &[at(1)]).unwrap();
            side.set_addresses(device(8), &[at(2), at(1)]).unwrap();
            side.set("port", "4433").unwrap();
            side.note_journal_records(12).unwrap();
            side.flush().unwrap();
        }
        let (side, findings) = Side::open(folder.path());
        assert_eq!(findings, []);
        let all = side.addresses();
        assert_eq!(all.len(), 2);
        assert_eq!(all[0].1.len(), ADDRESSES_MAX);
        assert_eq!(all[1], (device(8), vec![at(2), at(1)]));
        assert_eq!(side.setting("port").as_deref(), Some("4433"));
        assert_eq!(side.journal_records(), Some(12));
    }

    #[test]
    fn a_damaged_side_store_is_set_aside_and_made_anew() {
        let folder = tempfile::tempdir().unwrap();
        {
            let (side, _) = Side::open(folder.path());
            side.set("port", "4433").unwrap();
            side.flush().unwrap();
        }
        std::fs::write(folder.path().join("side/conf"), b"not a configuration").unwrap();
        let (side, findings) = Side::open(folder.path());
        let [Finding::SideRebuilt { aside, .. }] = &findings[..] else {
            panic!("found {findings:?}");
        };
        assert!(aside.join("db").exists(), "nothing is deleted");
        side.set("port", "1").unwrap();
        assert_eq!(side.setting("port").as_deref(), Some("1"));
    }

    #[test]
    fn a_snapshot_cut_off_by_a_kill_is_removed_before_opening() {
        let folder = tempfile::tempdir().unwrap();
        {
            let (side, _) = Side::open(folder.path());
            side.set("port", "4433").unwrap();
            side.flush().unwrap();
        }
        let partial = folder.path().join("side/snap.00000000FFFFFFFF.generating");
        std::fs::write(&partial, b"half").unwrap();
        let (side, findings) = Side::open(folder.path());
        assert_eq!(findings, []);
        assert!(!partial.exists());
        assert_eq!(side.setting("port").as_deref(), Some("4433"));
    }

    #[test]
    fn without_a_folder_there_is_still_something_to_work_with() {
        let folder = tempfile::tempdir().unwrap();
        let not_a_folder = folder.path().join("file");
        std::fs::write(&not_a_folder, b"a file").unwrap();
        let (side, findings) = Side::open(&not_a_folder);
        assert!(
            matches!(findings[..], [Finding::NoSide { .. }]),
            "{findings:?}"
        );
        assert!(side.set("port", "1").is_ok());
        assert!(side.addresses().is_empty());
    }
}
