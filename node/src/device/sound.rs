//! Sound: how does this machine sound a stop while no page of it lives?
//! Owns: the sound, as a file in the device's folder; the player that runs.   Gives: `sound_stops`.
//! May use: request, a player that is installed.   Never: a shell; keeps anything waiting: without a player, or with one
//! that does not play, the node goes on and says so once.
//!
//! A page sounds by itself; a dark screen, a closed browser or none at all does not. The pattern is the page's: a rise
//! from 500 to 1000 Hz twice a second for 3 s, then 2 s for the radio, until the holder has answered.

use crate::device::{NodeEnded, NodeHandle};
use gantline_protocol::engine::Alarm;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Programs that play a file, the commonest first; each with what makes it quiet about it.
const PLAYERS: [(&str, &[&str]); 3] = [("aplay", &["-q"]), ("pw-play", &[]), ("paplay", &[])];
/// Samples a second: enough for harmonics up to 10 kHz.
const RATE: u32 = 22_050;
/// A rise, and as long nothing, twice a second.
const RISE_SAMPLES: u32 = RATE / 4;
const LOW_HZ: u32 = 500;
const HIGH_HZ: u32 = 1_000;
/// So many of them are 3 s.
const RISES: u32 = 6;
/// Left for the radio between two times.
const PAUSE: Duration = Duration::from_secs(2);
/// While something is to sound, whether a page lives is looked at so often.
const LOOK_EVERY: Duration = Duration::from_millis(500);
/// A player that takes longer than this hangs.
const PLAY_MAX: Duration = Duration::from_secs(6);
const WAIT: Duration = Duration::from_millis(50);

/// Why a stop does not sound here.
#[derive(Debug, thiserror::Error)]
enum Silent {
    #[error(
        "this machine has no program that plays a sound ({}); install one, or keep a page open",
        names()
    )]
    NoPlayer,
    #[error("{} does not play {}: {why}", player.display(), file.display())]
    NotPlayed {
        player: PathBuf,
        file: PathBuf,
        why: String,
    },
}

fn names() -> String {
    PLAYERS.map(|(name, _)| name).join(", ")
}

/// Sounds stops until the node has ended. `path`: the folders where programs are, as in the environment.
pub async fn sound_stops(mut node: NodeHandle, folder: PathBuf, path: Option<std::ffi::OsString>) {
    let mut told = false;
    while node.changed().await.is_ok() {
        while let Ok(true) = is_due(&node).await {
            let (folder, path) = (folder.clone(), path.clone());
            let once = tokio::task::spawn_blocking(move || sound(&folder, path.as_deref()));
            // A panic of the player's thread is one more way not to play.
            if let Ok(Err(silent)) = once.await
                && !told
            {
                told = true;
                eprintln!("gantline: a stop does not sound from this machine itself: {silent}");
            }
            tokio::time::sleep(PAUSE).await;
        }
    }
}

/// Whether a stop waits for the holder's answer and no page sounds it. While one does, this waits until it no longer
/// does, or nothing is to sound any more.
async fn is_due(node: &NodeHandle) -> Result<bool, NodeEnded> {
    loop {
        let health = node.health().await?;
        let grave = health.alarms.iter().any(|alarm| match alarm {
            Alarm::Stop | Alarm::UnknownDevice | Alarm::Call => true,
            Alarm::HoldByLoss | Alarm::Clearance | Alarm::Fork => false,
        });
        if !grave || !health.page_lives {
            return Ok(grave);
        }
        tokio::time::sleep(LOOK_EVERY).await;
    }
}

/// Sounds it once.
fn sound(folder: &Path, path: Option<&OsStr>) -> Result<(), Silent> {
    let (player, arguments) = find(path).ok_or(Silent::NoPlayer)?;
    let file = folder.join("stop.wav");
    let not_played = |why: String| Silent::NotPlayed {
        player: player.clone(),
        file: file.clone(),
        why,
    };
    let wave = wave();
    if std::fs::metadata(&file).map(|found| found.len()).ok() != u64::try_from(wave.len()).ok() {
        std::fs::write(&file, &wave).map_err(|error| not_played(error.to_string()))?;
    }
    let mut playing = Command::new(&player)
        .args(arguments)
        .arg(&file)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|error| not_played(error.to_string()))?;
    let began = Instant::now();
    loop {
        match playing.try_wait() {
            Ok(Some(ended)) if ended.success() => return Ok(()),
            Ok(Some(ended)) => return Err(not_played(ended.to_string())),
            Ok(None) if began.elapsed() < PLAY_MAX => std::thread::sleep(WAIT),
            hangs => {
                // It may have ended just now.
                let _ = playing.kill();
                let _ = playing.wait();
                let why = hangs.map_or_else(|error| error.to_string(), |_| "it hangs".to_owned());
                return Err(not_played(why));
            }
        }
    }
}

/// The first player that is installed.
fn find(path: Option<&OsStr>) -> Option<(PathBuf, &'static [&'static str])> {
    PLAYERS.into_iter().find_map(|(name, arguments)| {
        std::env::split_paths(path?)
            .map(|folder| folder.join(name))
            .find(|program| program.is_file())
            .map(|program| (program, arguments))
    })
}

/// The sound as a file: one channel of 16 bits.
fn wave() -> Vec<u8> {
    let mut samples = Vec::new();
    // The place within a wave, of 2^32; what is above is a wave more.
    let mut phase: u32 = 0;
    for _ in 0..RISES {
        for at in 0..RISE_SAMPLES {
            let hertz = LOW_HZ + (HIGH_HZ - LOW_HZ) * at / RISE_SAMPLES;
            let step = (u64::from(hertz) << 32) / u64::from(RATE);
            phase = phase.wrapping_add(u32::try_from(step).unwrap_or(u32::MAX));
            // A sawtooth: five harmonics of about the same strength are heard where one is masked. Its place within the
            // wave, as a signed number, is its height.
            let [high, low, ..] = phase.to_be_bytes();
            samples.extend([low, high]);
        }
        samples.resize(samples.len() + 2 * RISE_SAMPLES as usize, 0);
    }
    let length = u32::try_from(samples.len()).unwrap_or(u32::MAX);
    let mut file = Vec::with_capacity(samples.len() + 44);
    file.extend(b"RIFF");
    file.extend((36 + length).to_le_bytes());
    file.extend(b"WAVEfmt ");
    file.extend(16_u32.to_le_bytes());
    // Plain samples, one channel.
    file.extend([1, 0, 1, 0]);
    file.extend(RATE.to_le_bytes());
    file.extend((2 * RATE).to_le_bytes());
    file.extend([2, 0, 16, 0]);
    file.extend(b"data");
    file.extend(length.to_le_bytes());
    file.extend(samples);
    file
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    /// A folder with a program of this name that does this.
    fn program(name: &str, does: &str) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let program = folder.path().join(name);
        std::fs::write(&program, format!("#!/bin/sh\n{does}\n")).unwrap();
        std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o700)).unwrap();
        folder
    }

    #[test]
    fn the_sound_is_three_seconds_of_rises_with_silence_between() {
        let wave = wave();
        assert_eq!(&wave[..4], b"RIFF");
        assert_eq!(&wave[8..16], b"WAVEfmt ");
        let samples: Vec<i16> = wave[44..]
            .chunks(2)
            .map(|pair| i16::from_le_bytes([pair[0], pair[1]]))
            .collect();
        let seconds = samples.len() / RATE as usize;
        assert!((2..=3).contains(&seconds), "{seconds} s");
        // Waves begin where the height falls.
        let waves = |samples: &[i16]| {
            let pairs = samples.windows(2);
            pairs
                .filter(|pair| i32::from(pair[1]) - i32::from(pair[0]) < -20_000)
                .count()
        };
        let rise = &samples[..RISE_SAMPLES as usize];
        let (first, last) = rise.split_at(rise.len() / 2);
        assert!((60..=90).contains(&waves(first)), "{}", waves(first));
        assert!((100..=120).contains(&waves(last)), "{}", waves(last));
        let silence = &samples[RISE_SAMPLES as usize..2 * RISE_SAMPLES as usize];
        assert!(silence.iter().all(|sample| *sample == 0));
    }

    #[test]
    fn the_first_installed_player_plays_the_file() {
        let home = tempfile::tempdir().unwrap();
        let folder = program("paplay", "cp \"$1\" \"$0.played\"");
        sound(home.path(), Some(folder.path().as_os_str())).unwrap();
        let played = std::fs::read(folder.path().join("paplay.played")).unwrap();
        assert_eq!(played, wave());
    }

    #[test]
    fn without_a_player_or_with_one_that_does_not_play_it_says_which() {
        let home = tempfile::tempdir().unwrap();
        let empty = tempfile::tempdir().unwrap();
        let none = sound(home.path(), Some(empty.path().as_os_str())).unwrap_err();
        assert!(matches!(none, Silent::NoPlayer));
        assert!(none.to_string().contains("aplay, pw-play, paplay"));
        assert!(matches!(sound(home.path(), None), Err(Silent::NoPlayer)));
        let bad = program("aplay", "exit 1");
        let error = sound(home.path(), Some(bad.path().as_os_str())).unwrap_err();
        assert!(error.to_string().contains("aplay does not play"), "{error}");
    }
}
