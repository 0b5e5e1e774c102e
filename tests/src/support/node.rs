//! Node: a running device with a job of its own, for tests of one device.
//! Owns: its folder and its process.   Gives: `Device`, `Node`, questions put to its control port as bytes.
//! May use: support::program.   Never: the node's own code.

use super::program::{Ran, Running, command, gantline};
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::PathBuf;
use std::process::Stdio;
use std::time::Duration;

/// A device's folder.
#[derive(Debug)]
pub struct Device {
    /// The folder.
    pub folder: PathBuf,
}

impl Device {
    /// A new device that has founded a job from the 230 kV plan.
    ///
    /// # Panics
    /// If the program refuses.
    #[must_use]
    pub fn founder(folder: PathBuf) -> Self {
        let device = Self { folder };
        device.good(&["device", "new"]);
        device.good(&[
            "job",
            "found",
            "--plan",
            "suspension-230",
            "--person",
            "Alder",
        ]);
        device
    }

    /// Runs the program on this folder, with JSON answers.
    #[must_use]
    pub fn run(&self, arguments: &[&str]) -> Ran {
        let folder = self.folder.display().to_string();
        gantline(&[&["--json", "--folder", &folder], arguments].concat())
    }

    /// Runs the program on this folder; it must answer.
    ///
    /// # Panics
    /// If it ends with another code than 0.
    #[must_use]
    pub fn answer(&self, arguments: &[&str]) -> Value {
        let ran = self.run(arguments);
        assert_eq!(ran.code, Some(0), "{arguments:?}: {ran:?}");
        serde_json::from_str(&ran.stdout).unwrap_or_else(|bad| panic!("{ran:?}: {bad}"))
    }

    fn good(&self, arguments: &[&str]) {
        let ran = self.run(arguments);
        assert_eq!(ran.code, Some(0), "{arguments:?}: {ran:?}");
    }

    /// Starts its node, which ends with the value.
    ///
    /// # Panics
    /// If it does not come up.
    #[must_use]
    pub fn start(&self) -> Node {
        let folder = self.folder.display().to_string();
        let mut child = command(&[
            "--json",
            "--folder",
            &folder,
            "node",
            "--listen",
            "127.0.0.1:0",
            "--no-discovery",
            "--no-sound",
            "--until-stdin-ends",
        ])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|source| panic!("no node: {source}"));
        let mut line = String::new();
        if let Some(stdout) = child.stdout.take() {
            // An empty line is caught just below.
            let _ = BufReader::new(stdout).read_line(&mut line);
        }
        let process = Running(child);
        let ready: Value = serde_json::from_str(&line)
            .unwrap_or_else(|bad| panic!("the node said `{line}`: {bad}"));
        let address = |name: &str| -> SocketAddr {
            ready[name]
                .as_str()
                .and_then(|text| text.parse().ok())
                .unwrap_or_else(|| panic!("no {name} in {line}"))
        };
        let control_file = std::fs::read_to_string(self.folder.join("control.json"));
        let control_file: Value = control_file
            .ok()
            .and_then(|text| serde_json::from_str(&text).ok())
            .unwrap_or_default();
        Node {
            listen: address("listen"),
            control: address("control"),
            token: control_file["token"]
                .as_str()
                .unwrap_or_default()
                .to_owned(),
            process,
        }
    }
}

/// A running node.
#[derive(Debug)]
pub struct Node {
    /// Where it listens for other devices (UDP).
    pub listen: SocketAddr,
    /// Where it is controlled (TCP, loopback).
    pub control: SocketAddr,
    /// The token of this start.
    pub token: String,
    /// The process.
    pub process: Running,
}

impl Node {
    /// Sends bytes to the control port; everything that comes back until it closes, or nothing more comes for
    /// two seconds.
    #[must_use]
    pub fn bytes(&self, request: &[u8]) -> String {
        let Ok(mut stream) = TcpStream::connect(self.control) else {
            return String::new();
        };
        let limit = Some(Duration::from_secs(2));
        // A node that closes early has answered.
        let _ = stream.set_read_timeout(limit);
        let _ = stream.set_write_timeout(limit);
        let _ = stream.write_all(request);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        String::from_utf8_lossy(&answer).into_owned()
    }

    /// A well-formed request with these extra header lines; the code of the answer, and its body.
    #[must_use]
    pub fn request(
        &self,
        method: &str,
        path: &str,
        headers: &[String],
        body: &str,
    ) -> (u16, String) {
        let mut request = format!("{method} {path} HTTP/1.0\r\n");
        for header in headers {
            request.push_str(header);
            request.push_str("\r\n");
        }
        request.push_str(&format!("Content-Length: {}\r\n\r\n{body}", body.len()));
        let answer = self.bytes(request.as_bytes());
        let code = answer
            .split(' ')
            .nth(1)
            .and_then(|code| code.parse().ok())
            .unwrap_or(0);
        let body = answer.split_once("\r\n\r\n").map_or("", |(_, body)| body);
        (code, body.to_owned())
    }

    /// The headers of the holder's own programs.
    #[must_use]
    pub fn headers(&self) -> Vec<String> {
        vec![
            format!("Host: {}", self.control),
            format!("Authorization: Bearer {}", self.token),
            "Content-Type: application/json".to_owned(),
        ]
    }

    /// Whether it still answers.
    #[must_use]
    pub fn lives(&self) -> bool {
        self.request("GET", "/api/status", &self.headers(), "").0 == 200
    }
}
