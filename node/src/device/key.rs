//! Key: who this device is.
//! Owns: the file `device.key`.   Gives: `DeviceSecret`.
//! May use: ed25519-zebra, getrandom.   Never: overwrites a key; shows the secret.
//!
//! The file is one line: the words `gantline-device-key-1`, a space, the 32 byte Ed25519 seed as 64 hexadecimal
//! digits. It is made whole under another name and linked to its own, so that there is never half a key, and two
//! processes that make one at the same time end with one.

use ed25519_zebra::{SigningKey, VerificationKeyBytes};
use gantline_protocol::ids::DeviceKey;
use std::fs::OpenOptions;
use std::io::{self, Read, Write};
use std::os::unix::fs::{MetadataExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

const FIRST_WORD: &str = "gantline-device-key-1";
/// No key file is longer.
const FILE_MAX_BYTES: u64 = 200;

/// A device's secret.
#[derive(Clone)]
pub struct DeviceSecret {
    key: SigningKey,
}

/// A key file that cannot be used, or made.
#[derive(Debug, thiserror::Error)]
pub enum KeyFault {
    /// There is none.
    #[error("there is no device key in {}. Make one with `gantline device new`", path.display())]
    None {
        /// Where it would be.
        path: PathBuf,
    },
    /// There is one already.
    #[error("there is a device key in {} already; it is never overwritten. See it with `gantline device show`", path.display())]
    Exists {
        /// Where.
        path: PathBuf,
    },
    /// Others may read it.
    #[error(
        "the device key {} can be read by others (mode {mode:o}, expected 600). If nobody else has used this machine, `chmod 600` it; else make a new device",
        path.display()
    )]
    Readable {
        /// Where.
        path: PathBuf,
        /// Its permission bits.
        mode: u32,
    },
    /// It is no key.
    #[error("the file {} is no device key: expected one line of `{FIRST_WORD}` and 64 hexadecimal digits", path.display())]
    Form {
        /// Where.
        path: PathBuf,
    },
    /// The file cannot be read or made.
    #[error("the device key {} cannot be used: {source}", path.display())]
    File {
        /// Where.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// No random numbers.
    #[error("the system gives no random numbers: {0}")]
    Random(#[from] getrandom::Error),
}

impl core::fmt::Debug for DeviceSecret {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "DeviceSecret of {}", self.device())
    }
}

impl DeviceSecret {
    /// Makes a new key in a new file.
    ///
    /// # Errors
    /// [`KeyFault::Exists`] when there is one; [`KeyFault::Random`], [`KeyFault::File`].
    pub fn make(path: &Path) -> Result<Self, KeyFault> {
        let fault = |source: io::Error| match source.kind() {
            io::ErrorKind::AlreadyExists => KeyFault::Exists {
                path: path.to_owned(),
            },
            _ => KeyFault::File {
                path: path.to_owned(),
                source,
            },
        };
        if path.symlink_metadata().is_ok() {
            return Err(fault(io::ErrorKind::AlreadyExists.into()));
        }
        let mut seed = [0; 32];
        getrandom::fill(&mut seed)?;
        let digits: String = seed.iter().map(|byte| format!("{byte:02x}")).collect();

        let fresh = path.with_file_name(format!("device.key.new-{}", std::process::id()));
        // Of a process of this number that was cut off.
        let _ = std::fs::remove_file(&fresh);
        let made = OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(0o600)
            .open(&fresh)
            .and_then(|mut file| {
                writeln!(file, "{FIRST_WORD} {digits}")?;
                file.sync_all()
            })
            .and_then(|()| std::fs::hard_link(&fresh, path));
        let _ = std::fs::remove_file(&fresh);
        made.map_err(fault)?;
        crate::store::sync_folder_of(path).map_err(fault)?;
        Ok(Self {
            key: SigningKey::from(seed),
        })
    }

    /// Reads the key.
    ///
    /// # Errors
    /// [`KeyFault`], saying what is wrong with the file.
    pub fn read(path: &Path) -> Result<Self, KeyFault> {
        let fault = |source: io::Error| match source.kind() {
            io::ErrorKind::NotFound => KeyFault::None {
                path: path.to_owned(),
            },
            _ => KeyFault::File {
                path: path.to_owned(),
                source,
            },
        };
        let mut file = std::fs::File::open(path).map_err(fault)?;
        let mode = file.metadata().map_err(fault)?.mode() & 0o7777;
        if mode & 0o077 != 0 {
            return Err(KeyFault::Readable {
                path: path.to_owned(),
                mode,
            });
        }
        let mut text = Vec::new();
        (&mut file)
            .take(FILE_MAX_BYTES)
            .read_to_end(&mut text)
            .map_err(fault)?;
        let key = read_line(&text).ok_or_else(|| KeyFault::Form {
            path: path.to_owned(),
        })?;
        Ok(Self { key })
    }

    /// The key to sign with.
    #[must_use]
    pub fn signing_key(&self) -> SigningKey {
        self.key
    }

    /// The public key: the device's id.
    #[must_use]
    pub fn device(&self) -> DeviceKey {
        DeviceKey(VerificationKeyBytes::from(&self.key).into())
    }
}

fn read_line(text: &[u8]) -> Option<SigningKey> {
    let text = core::str::from_utf8(text).ok()?;
    let digits = text
        .strip_suffix('\n')
        .unwrap_or(text)
        .strip_prefix(FIRST_WORD)?
        .strip_prefix(' ')?;
    // A device id is 32 bytes in the same digits.
    let seed: DeviceKey = digits.parse().ok()?;
    Some(SigningKey::from(seed.0))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn a_key_is_made_once_for_its_owner_only_and_read_back() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("device.key");
        assert!(matches!(
            DeviceSecret::read(&path),
            Err(KeyFault::None { .. })
        ));
        let made = DeviceSecret::make(&path).unwrap();
        assert_eq!(std::fs::metadata(&path).unwrap().mode() & 0o7777, 0o600);
        assert_eq!(DeviceSecret::read(&path).unwrap().device(), made.device());
        assert!(matches!(
            DeviceSecret::make(&path),
            Err(KeyFault::Exists { .. })
        ));
        assert_eq!(DeviceSecret::read(&path).unwrap().device(), made.device());
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
        assert!(!format!("{made:?}").contains(&std::fs::read_to_string(&path).unwrap()[22..40]));
    }

    #[test]
    fn a_key_that_others_may_read_or_that_is_none_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("device.key");
        DeviceSecret::make(&path).unwrap();
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o640)).unwrap();
        let refused = DeviceSecret::read(&path);
        assert!(matches!(
            refused,
            Err(KeyFault::Readable { mode: 0o640, .. })
        ));
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).unwrap();
        let good = std::fs::read(&path).unwrap();
        for cut in 0..good.len() - 1 {
            std::fs::write(&path, &good[..cut]).unwrap();
            assert!(
                matches!(DeviceSecret::read(&path), Err(KeyFault::Form { .. })),
                "{cut}"
            );
        }
    }
}
