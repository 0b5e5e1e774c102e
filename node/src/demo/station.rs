//! Station: one device of the demonstration: a folder, and the same program run on it as on a phone.
//! Owns: child processes, ended with it whatever happens.   Gives: `Station`.
//! May use: this program's own executable, control's client.   Never: looks into the child other than a
//! person's programs could.

use super::Stopped;
use crate::control::client::{Client, ClientFault};
use crate::device::Home;
use gantline_protocol::ids::{DeviceKey, JobId, Person};
use gantline_protocol::state::{CallWord, Status};
use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// How long a child may take to start, or to answer a one-shot command, on a slow machine.
const START_WITHIN: Duration = Duration::from_secs(30);

/// A child process that does not outlive its owner: killed when dropped, and it ends by itself when its
/// stdin closes, should the owner be killed.
#[derive(Debug)]
pub struct Process {
    child: Child,
    /// Held open; a node of the demonstration ends when it closes.
    _alive: Option<ChildStdin>,
}

impl Drop for Process {
    fn drop(&mut self) {
        // Ended already is as good as ended now.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// One device.
#[derive(Debug)]
pub struct Station {
    /// The device's key.
    pub device: DeviceKey,
    /// Who holds it; the spare's holder is named when it is handed out.
    pub person: Person,
    /// Its folder.
    pub folder: PathBuf,
    /// Where its node listens for other devices.
    pub address: Option<SocketAddr>,
    process: Option<Process>,
    client: Option<Client>,
    seen: Arc<Mutex<Seen>>,
}

/// What the screen of a device has shown, with when it first did.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    /// Each stop, and when it was first shown.
    pub stops: Vec<(gantline_protocol::ids::EntryHash, Instant)>,
    /// Each hold by loss: reason, beginning, end.
    pub holds: Vec<(String, Instant, Option<Instant>)>,
}

impl Seen {
    fn note(&mut self, status: &Status, at: Instant) {
        for stop in &status.stops {
            if !self.stops.iter().any(|(entry, _)| *entry == stop.entry) {
                self.stops.push((stop.entry, at));
            }
        }
        let held = status.call.word == CallWord::Hold && status.call.by_loss;
        let open = self.holds.last_mut().filter(|hold| hold.2.is_none());
        match (held, open) {
            (true, None) => {
                let reason = status.call.reasons.first();
                let code = reason.map_or("hold", |reason| reason.code()).to_owned();
                self.holds.push((code, at, None));
            }
            (false, Some(hold)) => hold.2 = Some(at),
            (true, Some(_)) | (false, None) => {}
        }
    }
}

impl Station {
    /// Makes a device in a new folder.
    pub fn new(folder: &Path, name: &str) -> Result<Self, Stopped> {
        let folder = folder.join(name);
        let shown = once(&folder, &["device", "new"])?;
        let device = text(&shown, "device")
            .and_then(|key| key.parse().ok())
            .ok_or_else(|| Stopped::odd_answer("device new", &shown))?;
        let person = Person::try_from(name).map_err(|_| Stopped::odd_answer("name", &shown))?;
        Ok(Self {
            device,
            person,
            folder,
            address: None,
            process: None,
            client: None,
            seen: Arc::default(),
        })
    }

    /// Starts its node and begins to watch its screen.
    pub fn start(&mut self, others: &[(DeviceKey, SocketAddr)]) -> Result<(), Stopped> {
        let mut command = program(&self.folder)?;
        command.args([
            "node",
            "--listen",
            "127.0.0.1:0",
            "--no-discovery",
            "--no-sound",
            "--until-stdin-ends",
            "--allow-faults",
        ]);
        for (device, address) in others {
            command.arg("--address").arg(format!("{device}={address}"));
        }
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .map_err(|source| Stopped::Start {
                what: "node".to_owned(),
                source,
            })?;
        let alive = child.stdin.take();
        let stdout = child.stdout.take();
        self.process = Some(Process {
            child,
            _alive: alive,
        });
        let mut line = String::new();
        if let Some(stdout) = stdout {
            // A node says where it is, and then nothing more on stdout.
            let read = BufReader::new(stdout).read_line(&mut line);
            read.map_err(|source| Stopped::Start {
                what: format!("node of {}", self.person),
                source,
            })?;
        }
        let shown: serde_json::Value = serde_json::from_str(&line)
            .map_err(|_| Stopped::odd_answer("node", &serde_json::Value::String(line)))?;
        self.address = text(&shown, "listen").and_then(|address| address.parse().ok());
        let client = Client::open(&Home::at(&self.folder))?;
        self.watch(client.clone());
        self.client = Some(client);
        Ok(())
    }

    /// Looks at the screen all the time, as its holder would, and notes when it showed what.
    fn watch(&self, client: Client) {
        let seen = Arc::clone(&self.seen);
        std::thread::spawn(move || {
            // Ends when the node does.
            let Ok(follow) = client.follow() else { return };
            for status in follow {
                let Ok(status) = status else { return };
                locked(&seen).note(&status, Instant::now());
            }
        });
    }

    /// The program's own client of this device.
    pub fn client(&self) -> Result<&Client, Stopped> {
        self.client.as_ref().ok_or_else(|| Stopped::NotRunning {
            person: self.person.clone(),
        })
    }

    /// What the device shows now.
    pub fn status(&self) -> Result<Status, Stopped> {
        let status = self.client()?.status()?;
        locked(&self.seen).note(&status, Instant::now());
        Ok(status)
    }

    /// What it has shown so far.
    #[must_use]
    pub fn seen(&self) -> Seen {
        locked(&self.seen).clone()
    }

    /// The log on its disk.
    #[must_use]
    pub fn journal(&self, job: &JobId) -> PathBuf {
        Home::at(&self.folder).journal_path(job)
    }

    /// Whether it runs.
    #[must_use]
    pub fn runs(&self) -> bool {
        self.process.is_some()
    }

    /// The battery dies: no goodbye, nothing flushed that was not.
    pub fn die(&mut self) {
        self.client = None;
        self.process = None;
    }

    /// Switches off in good order, and waits for it.
    pub fn switch_off(&mut self) -> Result<(), Stopped> {
        if let Some(client) = self.client.take() {
            client.shutdown()?;
        }
        if let Some(process) = &mut self.process {
            let until = Instant::now() + START_WITHIN;
            while Instant::now() < until {
                if matches!(process.child.try_wait(), Ok(Some(_))) {
                    break;
                }
                std::thread::sleep(Duration::from_millis(10));
            }
        }
        self.process = None;
        Ok(())
    }
}

fn locked(seen: &Mutex<Seen>) -> MutexGuard<'_, Seen> {
    // What was noted before a panic elsewhere is still what was shown.
    seen.lock().unwrap_or_else(PoisonError::into_inner)
}

/// This same program, on a device's folder, answering with JSON.
pub fn program(folder: &Path) -> Result<Command, Stopped> {
    let executable = std::env::current_exe().map_err(|source| Stopped::Start {
        what: "this program".to_owned(),
        source,
    })?;
    let mut command = Command::new(executable);
    command.arg("--json").arg("--folder").arg(folder);
    Ok(command)
}

/// Runs a command that answers once; its answer.
pub fn once(folder: &Path, arguments: &[&str]) -> Result<serde_json::Value, Stopped> {
    let name = arguments.join(" ");
    let output = program(folder)?
        .args(arguments)
        .stdin(Stdio::null())
        .output()
        .map_err(|source| Stopped::Start {
            what: name.clone(),
            source,
        })?;
    if !output.status.success() {
        return Err(Stopped::Command {
            what: name,
            code: output.status.code(),
            said: String::from_utf8_lossy(&output.stderr).trim().to_owned(),
        });
    }
    let answer = String::from_utf8_lossy(&output.stdout).into_owned();
    serde_json::from_str(answer.trim())
        .map_err(|_| Stopped::odd_answer(&name, &serde_json::Value::String(answer)))
}

/// A member of an answer that is text.
#[must_use]
pub fn text<'a>(answer: &'a serde_json::Value, member: &str) -> Option<&'a str> {
    answer.get(member).and_then(serde_json::Value::as_str)
}

impl From<ClientFault> for Stopped {
    fn from(fault: ClientFault) -> Self {
        Self::Client(fault)
    }
}
