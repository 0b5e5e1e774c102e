//! Disk: a file system of its own, a few MiB, that can be filled to the last byte.
//! Owns: the mount, until it is dropped.   Gives: `SmallDisk`.
//! May use: mount (as root, as CI is).   Never: the disk of whoever runs the tests.

use std::path::{Path, PathBuf};
use std::process::Command;

/// A small file system, unmounted when dropped.
#[derive(Debug)]
pub struct SmallDisk(PathBuf);

impl SmallDisk {
    /// Mounts one at a folder, which is made if it is not there.
    ///
    /// # Panics
    /// Without the right to.
    #[must_use]
    pub fn mount(at: &Path) -> Self {
        let mounted = std::fs::create_dir_all(at).is_ok()
            && Command::new("mount")
                .args(["-t", "tmpfs", "-o", "size=6m,mode=700", "gantline-test"])
                .arg(at)
                .status()
                .is_ok_and(|status| status.success());
        assert!(
            mounted,
            "a file system of its own needs root: run the tests as root, as CI does"
        );
        Self(at.to_owned())
    }

    /// Where it is.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.0
    }

    fn filler(&self) -> PathBuf {
        self.0.join("filler")
    }

    /// Fills it to the last byte. What a device had kept of it for its journal is its own still.
    pub fn fill(&self) {
        let mut size = 8 * 1024 * 1024;
        let mut all = Vec::new();
        while size > 0 {
            all.resize(all.len() + size, 0xaa_u8);
            if std::fs::write(self.filler(), &all).is_err() {
                all.truncate(all.len() - size);
                // What fits stays, though it is told as a fault.
                let _ = std::fs::write(self.filler(), &all);
                size /= 2;
            }
        }
    }

    /// Gives the room back.
    pub fn clear(&self) {
        // Not there is clear too.
        let _ = std::fs::remove_file(self.filler());
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        // Lazily, as a node may still be ending.
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}
