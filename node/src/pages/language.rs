//! Language: in which language does this device speak to its holder?
//! Owns: the file `language` in the device's folder.   Gives: `Chosen`.
//! May use: words' list of languages.   Never: stops anything: without the file the first language is spoken.
//!
//! Chosen for the device and not for a browser, so that the way in speaks it too, and each of several devices on one
//! machine its own.

use crate::words::{ALL, Language, named};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// What the holder chose.
#[derive(Debug)]
pub(crate) struct Chosen {
    path: PathBuf,
    now: Mutex<&'static Language>,
}

impl Chosen {
    /// What is kept in a device's folder, else the first language.
    pub(crate) fn kept_in(folder: &Path) -> Self {
        let path = folder.join("language");
        let kept = std::fs::read_to_string(&path).ok();
        let known = kept.and_then(|code| named(code.trim()));
        Self {
            path,
            now: Mutex::new(known.unwrap_or(ALL[0])),
        }
    }

    pub(crate) fn now(&self) -> &'static Language {
        *self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// From now on this one; kept for the next start where the disk takes it.
    pub(crate) fn choose(&self, language: &'static Language) {
        *self.now.lock().unwrap_or_else(PoisonError::into_inner) = language;
        // Not kept: the holder sees at the next start which language it is, and chooses again.
        let _ = std::fs::write(&self.path, format!("{}\n", language.code));
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn a_choice_is_kept_and_nonsense_is_the_first_language() {
        let folder = tempfile::tempdir().unwrap();
        let chosen = Chosen::kept_in(folder.path());
        assert_eq!(chosen.now().code, "en");
        chosen.choose(named("es").unwrap());
        assert_eq!(chosen.now().code, "es");
        assert_eq!(Chosen::kept_in(folder.path()).now().code, "es");
        std::fs::write(folder.path().join("language"), [0xff, 0xfe]).unwrap();
        assert_eq!(Chosen::kept_in(folder.path()).now().code, "en");
    }
}
