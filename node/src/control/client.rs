//! Client: asks the running node of a device's folder.
//! Owns: one connection for each question.   Gives: `Client`.
//! May use: file, error.   Never: an address other than loopback; waits without end for a node that is stuck.
//!
//! HTTP/1.0, one request a connection: the answer ends where the connection does, which needs no HTTP library.

use crate::control::{
    Admission, ControlError, ControlFile, ControlFileFault, Fault, KnownAddress, RefusedJoin,
};
use crate::device::{Health, Home, JoinRequest};
use crate::pages::Link;
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::PhotoHash;
use gantline_protocol::log::photo::Photo;
use gantline_protocol::state::Status;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::time::Duration;

/// A node answers at once, or is stuck; a flush on a slow disk is in between.
const ANSWER_WITHIN: Duration = Duration::from_secs(20);
/// A line of the head is never longer.
const HEAD_MAX_BYTES: u64 = 16 * 1024;

/// Asks one node.
#[derive(Clone, Debug)]
pub struct Client {
    file: ControlFile,
}

/// No answer, or one that says no.
#[derive(Debug, thiserror::Error)]
pub enum ClientFault {
    /// It is not known where the node is.
    #[error(transparent)]
    File(#[from] ControlFileFault),
    /// Nobody is there.
    #[error(
        "the node does not answer ({source}). If it is not running, start it with `gantline node`"
    )]
    Silent {
        /// What the system said.
        source: io::Error,
    },
    /// What came is no answer of a node.
    #[error("what answers on port {port} is no node: {why}")]
    NotANode {
        /// Where.
        port: u16,
        /// What was wrong.
        why: String,
    },
    /// The node refused.
    #[error("the node refused: {}", .0.message)]
    Refused(ControlError),
}

impl Client {
    /// For the node that runs on a device's folder.
    ///
    /// # Errors
    /// [`ClientFault::File`] when none does.
    pub fn open(home: &Home) -> Result<Self, ClientFault> {
        Ok(Self::with(ControlFile::read(&home.control_path())?))
    }

    /// For the node that this control file tells of.
    #[must_use]
    pub fn with(file: ControlFile) -> Self {
        Self { file }
    }

    /// Where the node is.
    #[must_use]
    pub fn file(&self) -> &ControlFile {
        &self.file
    }

    /// A person's act.
    ///
    /// # Errors
    /// [`ClientFault`]. A refusal by the job is an [`Outcome`].
    pub fn act(&self, command: &Command) -> Result<Outcome, ClientFault> {
        self.post("/api/act", command)
    }

    /// What the device shows.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn status(&self) -> Result<Status, ClientFault> {
        self.get("/api/status")
    }

    /// What the device shows, at each change and at least each second.
    ///
    /// # Errors
    /// [`ClientFault`], also as an item, after which there are no more.
    pub fn follow(
        &self,
    ) -> Result<impl Iterator<Item = Result<Status, ClientFault>> + use<>, ClientFault> {
        let port = self.file.port;
        let mut body = self.send("GET", "/api/follow", &[])?;
        let mut ended = false;
        Ok(core::iter::from_fn(move || {
            if ended {
                return None;
            }
            let mut line = Vec::new();
            match body.read_until(b'\n', &mut line) {
                Ok(0) => None,
                Ok(_) => Some(serde_json::from_slice(&line).map_err(|error| {
                    ended = true;
                    ClientFault::NotANode {
                        port,
                        why: error.to_string(),
                    }
                })),
                Err(source) => {
                    ended = true;
                    Some(Err(ClientFault::Silent { source }))
                }
            }
        }))
    }

    /// The log as a file.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn log(&self) -> Result<Vec<u8>, ClientFault> {
        self.body("GET", "/api/log", &[])
    }

    /// Has a picture kept, and says how a note names it.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn keep_photo(&self, content: &[u8]) -> Result<Photo, ClientFault> {
        let body = self.body("POST", "/api/photo", content)?;
        self.read(&body)
    }

    /// A picture that a note on this job names.
    ///
    /// # Errors
    /// [`ClientFault`]; refused where it is not here.
    pub fn photo(&self, hash: &PhotoHash) -> Result<Vec<u8>, ClientFault> {
        self.body("GET", &format!("/api/photo/{hash}"), &[])
    }

    /// Devices that ask to join.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn joins(&self) -> Result<Vec<JoinRequest>, ClientFault> {
        self.get("/api/joins")
    }

    /// Admits a device.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn admit(&self, admission: &Admission) -> Result<Outcome, ClientFault> {
        self.post("/api/admit", admission)
    }

    /// Says no to a device that asks to join.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn refuse_join(&self, refused: &RefusedJoin) -> Result<(), ClientFault> {
        self.body("POST", "/api/refuse", &json(refused)).map(|_| ())
    }

    /// Gives an address of a device.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn known_address(&self, known: &KnownAddress) -> Result<(), ClientFault> {
        self.body("POST", "/api/address", &json(known)).map(|_| ())
    }

    /// For tests: something goes wrong at a node that was started for it.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn fault(&self, fault: &Fault) -> Result<(), ClientFault> {
        self.body("POST", "/api/fault", &json(fault)).map(|_| ())
    }

    /// How the node is.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn health(&self) -> Result<Health, ClientFault> {
        self.get("/api/health")
    }

    /// A sign of life of a page.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn page_alive(&self) -> Result<(), ClientFault> {
        self.body("POST", "/api/page", &[]).map(|_| ())
    }

    /// The page goes in good order.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn page_closed(&self) -> Result<(), ClientFault> {
        self.body("POST", "/api/page/closed", &[]).map(|_| ())
    }

    /// A link that opens this device's page once, in a browser on this machine.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn page_link(&self) -> Result<Link, ClientFault> {
        let body = self.body("POST", "/api/page/link", &[])?;
        self.read(&body)
    }

    /// Ends the node.
    ///
    /// # Errors
    /// [`ClientFault`].
    pub fn shutdown(&self) -> Result<(), ClientFault> {
        self.body("POST", "/api/shutdown", &[]).map(|_| ())
    }

    fn get<T: DeserializeOwned>(&self, path: &str) -> Result<T, ClientFault> {
        let body = self.body("GET", path, &[])?;
        self.read(&body)
    }

    fn post<T: DeserializeOwned>(
        &self,
        path: &str,
        value: &impl Serialize,
    ) -> Result<T, ClientFault> {
        let body = self.body("POST", path, &json(value))?;
        self.read(&body)
    }

    fn read<T: DeserializeOwned>(&self, body: &[u8]) -> Result<T, ClientFault> {
        serde_json::from_slice(body).map_err(|error| self.not_a_node(error.to_string()))
    }

    fn body(&self, method: &str, path: &str, body: &[u8]) -> Result<Vec<u8>, ClientFault> {
        let mut answer = self.send(method, path, body)?;
        let mut bytes = Vec::new();
        answer.read_to_end(&mut bytes).map_err(silent)?;
        Ok(bytes)
    }

    /// Sends a request and reads the head of the answer; what is left is its body.
    fn send(
        &self,
        method: &str,
        path: &str,
        body: &[u8],
    ) -> Result<BufReader<TcpStream>, ClientFault> {
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, self.file.port));
        let mut stream = TcpStream::connect_timeout(&address, ANSWER_WITHIN).map_err(silent)?;
        stream
            .set_read_timeout(Some(ANSWER_WITHIN))
            .map_err(silent)?;
        stream
            .set_write_timeout(Some(ANSWER_WITHIN))
            .map_err(silent)?;
        stream.set_nodelay(true).map_err(silent)?;
        let mut request = format!(
            "{method} {path} HTTP/1.0\r\nHost: {address}\r\nAuthorization: Bearer {}\r\n\
             Content-Type: application/json\r\nContent-Length: {}\r\n\r\n",
            self.file.token,
            body.len()
        )
        .into_bytes();
        request.extend_from_slice(body);
        stream.write_all(&request).map_err(silent)?;

        let mut answer = BufReader::new(stream);
        let status = self.line(&mut answer)?;
        let code: u16 = status
            .strip_prefix("HTTP/1.")
            .and_then(|rest| rest.split(' ').nth(1))
            .and_then(|code| code.parse().ok())
            .ok_or_else(|| self.not_a_node(format!("its answer begins with `{status}`")))?;
        while !self.line(&mut answer)?.is_empty() {}
        if code == 200 {
            return Ok(answer);
        }
        let mut bytes = Vec::new();
        answer.read_to_end(&mut bytes).map_err(silent)?;
        Err(match serde_json::from_slice(&bytes) {
            Ok(refusal) => ClientFault::Refused(refusal),
            Err(_) => self.not_a_node(format!("it answers with code {code}")),
        })
    }

    fn line(&self, answer: &mut BufReader<TcpStream>) -> Result<String, ClientFault> {
        let mut line = Vec::new();
        answer
            .by_ref()
            .take(HEAD_MAX_BYTES)
            .read_until(b'\n', &mut line)
            .map_err(silent)?;
        match line
            .strip_suffix(b"\r\n")
            .map(|line| String::from_utf8(line.to_vec()))
        {
            Some(Ok(line)) => Ok(line),
            Some(Err(_)) | None => Err(self.not_a_node("its answer has no head".to_owned())),
        }
    }

    fn not_a_node(&self, why: String) -> ClientFault {
        ClientFault::NotANode {
            port: self.file.port,
            why,
        }
    }
}

fn silent(source: io::Error) -> ClientFault {
    ClientFault::Silent { source }
}

fn json(value: &impl Serialize) -> Vec<u8> {
    // Every request is of types that JSON can hold; were it not so, the node says what it got instead.
    serde_json::to_vec(value).unwrap_or_default()
}
