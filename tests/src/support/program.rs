//! Program: the built `gantline`, run as a person or a script would.
//! Owns: one build of it.   Gives: `gantline(arguments)` and how that ended.
//! May use: cargo, to build what is tested.   Never: the node's own code: the program is a closed box here.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;

/// How a run of the program ended.
#[derive(Clone, Debug)]
pub struct Ran {
    /// Its exit code; `None`: ended by a signal.
    pub code: Option<i32>,
    /// What it answered.
    pub stdout: String,
    /// What it complained of.
    pub stderr: String,
}

/// The built program. Built once for each test program, in the profile that the tests have.
///
/// # Panics
/// If it does not build: then there is nothing to test.
#[must_use]
pub fn path() -> &'static Path {
    static PATH: OnceLock<PathBuf> = OnceLock::new();
    PATH.get_or_init(|| build(!cfg!(debug_assertions)))
}

fn build(release: bool) -> PathBuf {
    let mut build = Command::new(env!("CARGO"));
    build
        .args(["build", "--quiet", "-p", "gantline", "--bin", "gantline"])
        .current_dir(super::sources::top());
    if release {
        build.arg("--release");
    }
    // Cargo tells a test which package it is of. Passed on, that would look like a change to a dependency whose build
    // asks for it, and that and all that rests on it would be built again.
    for (name, _) in std::env::vars_os() {
        let of_the_test = ["CARGO_PKG_", "CARGO_MANIFEST_"];
        if of_the_test
            .iter()
            .any(|start| name.to_string_lossy().starts_with(start))
        {
            build.env_remove(name);
        }
    }
    let built = build.status().is_ok_and(|status| status.success());
    assert!(built, "the program does not build");
    let test = std::env::current_exe().unwrap_or_default();
    // target/PROFILE/deps/THIS_TEST
    let target = test.ancestors().nth(3).unwrap_or(&test);
    let profile = if release { "release" } else { "debug" };
    let program = target.join(profile).join("gantline");
    assert!(program.is_file(), "no program at {}", program.display());
    program
}

/// The program with a clean environment: no folder, home or language of whoever runs the tests.
#[must_use]
pub fn command(arguments: &[&str]) -> Command {
    clean(path(), arguments)
}

/// The same as it is shipped, whatever profile the tests have.
///
/// # Panics
/// If it does not build.
#[must_use]
pub fn shipped(arguments: &[&str]) -> Command {
    clean(&build(true), arguments)
}

fn clean(program: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(program);
    command
        .args(arguments)
        .env_clear()
        .env("PATH", std::env::var_os("PATH").unwrap_or_default())
        .stdin(Stdio::null());
    if let Some(temporary) = std::env::var_os("TMPDIR") {
        command.env("TMPDIR", temporary);
    }
    command
}

/// Runs the program to its end.
///
/// # Panics
/// If it cannot be started.
#[must_use]
pub fn gantline(arguments: &[&str]) -> Ran {
    let output = command(arguments)
        .output()
        .unwrap_or_else(|source| panic!("gantline {arguments:?} did not start: {source}"));
    Ran {
        code: output.status.code(),
        stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
        stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// A running program, ended with the test whatever happens.
#[derive(Debug)]
pub struct Running(pub Child);

impl Drop for Running {
    fn drop(&mut self) {
        // Ended already is as good as ended now.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}
