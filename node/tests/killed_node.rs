//! A node that is killed while it records: what it said is recorded is there at the next start.
//! Owns: the processes that it kills.   Gives: nothing.
//! May use: support, control's client.   Never: a signal to a process that it did not start.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod support;

use gantline::control::{Client, ClientFault};
use gantline::device::{Home, Node, check_all};
use gantline::store::{Finding, Journal};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::EntryHash;
use gantline_protocol::log::entry::NoteKind;
use std::path::PathBuf;
use std::process::{Child, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};
use support::{WITHIN, config, found, new_home};

const HOME: &str = "GANTLINE_TEST_HOME";

/// Does nothing but in a child process of the test below, where it is the node.
#[tokio::test]
async fn node_of_the_other_test() {
    if let Some(folder) = std::env::var_os(HOME) {
        let home = Home::at(&PathBuf::from(folder));
        let node = Node::start(config(&home, &[])).await.unwrap();
        node.run_until_signal().await.unwrap();
    }
}

/// Killed when dropped, so that a failing test leaves nothing behind.
struct Killed(Child);

impl Drop for Killed {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn start(home: &Home) -> (Killed, Client) {
    // Of a node that was killed; the next one makes its own.
    let _ = std::fs::remove_file(home.control_path());
    let child = std::process::Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "node_of_the_other_test"])
        .env(HOME, home.folder())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let child = Killed(child);
    let end = Instant::now() + WITHIN;
    loop {
        if let Ok(client) = Client::open(home)
            && client.health().is_ok()
        {
            return (child, client);
        }
        assert!(Instant::now() < end, "the node does not start");
        thread::sleep(Duration::from_millis(20));
    }
}

fn note(text: String) -> Command {
    Command::Note {
        text,
        about: None,
        kind: NoteKind::Plain,
    }
}

#[test]
fn a_killed_node_loses_nothing_that_it_said_is_recorded() {
    let folder = tempfile::tempdir().unwrap();
    let (home, _) = new_home(&folder.path().join("supervisor"));
    let job = found(&home);
    let recorded: Arc<Mutex<Vec<EntryHash>>> = Arc::default();
    for round in 0..5_u32 {
        let before = recorded.lock().unwrap().len();
        let (child, client) = start(&home);
        let said = Arc::clone(&recorded);
        let writer = thread::spawn(move || {
            for n in 0.. {
                match client.act(&note(format!("round {round}, note {n}"))) {
                    Ok(Outcome::Recorded { entry, .. }) => said.lock().unwrap().push(entry),
                    Ok(other) => panic!("{other:?}"),
                    Err(ClientFault::Silent { .. } | ClientFault::NotANode { .. }) => return,
                    Err(fault) => panic!("{fault}"),
                }
            }
        });
        let enough = before + 5 + 7 * round as usize;
        let end = Instant::now() + WITHIN;
        while recorded.lock().unwrap().len() < enough {
            assert!(Instant::now() < end, "nothing is recorded");
            thread::yield_now();
        }
        // SIGKILL, in the middle of a request more often than not.
        drop(child);
        writer.join().unwrap();

        let opened = Journal::open(&home.job_folder(&job)).unwrap();
        let only_tail = |finding: &Finding| matches!(finding, Finding::CutTail { .. });
        assert!(
            opened.findings.iter().all(only_tail),
            "{:?}",
            opened.findings
        );
        let (entries, bad) = check_all(&opened.entries);
        assert_eq!(bad, []);
        let kept: Vec<EntryHash> = entries.iter().map(|entry| entry.entry().hash).collect();
        for entry in recorded.lock().unwrap().iter() {
            assert!(
                kept.contains(entry),
                "round {round}: {entry} was said to be recorded"
            );
        }
    }
    assert!(recorded.lock().unwrap().len() >= 5 * 5 + 7 * 10);
}
