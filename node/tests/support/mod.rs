//! Support: real nodes on loopback, in folders of their own, for the tests of this room.
//! Owns: the folders.   Gives: `Crew`, waiting for something to be so.
//! May use: node as a library.   Never: sleeps for a fixed time to have something happen.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    dead_code,
    reason = "a test may stop at the first surprise; each test file uses a part of this"
)]

pub mod liar;

use gantline::device::{Home, Node, NodeConfig, NodeHandle, found_job, join_job};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::{DeviceKey, JobId, Person, RoleId};
use gantline_protocol::log::entry::Found;
use gantline_protocol::plan::{self, Plan};
use gantline_protocol::reason::Reason;
use gantline_protocol::state::{CallWord, Status};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;

/// Far longer than anything takes, so that only what never happens fails.
pub const WITHIN: Duration = Duration::from_secs(60);

/// A plan for two: one step that the observer confirms, and one after it.
const PLAN: &str = r#"
format = 1
title = "Look at a clamp"
cautions = ["A planning aid: local codes, the utility's rules and licensed practice decide."]
briefing = ["Hazards", "Work procedure", "Special precautions", "Energy sources", "Protective equipment"]
agree_by = ["observer"]

[line]
name = "Sample line"
voltage_kv = 138
circuit = "1"
phase = "B"
structure = "12"
string = "suspension"
terminals = ["North", "South"]

[[role]]
id = "supervisor"
title = "Supervisor"
not_with = ["observer"]

[[role]]
id = "observer"
title = "Observer"

[[condition]]
id = "observer"
title = "Observer in place"
owners = ["observer"]
kind = "presence"
valid_s = 300

[[step]]
id = "look"
title = "Look"
text = "Look at the clamp from the ground"
if_held = "Stay where you are"
hold_point = true
safe_to_leave = true

[[step.check]]
id = "clear"
text = "Nobody is below"
by = ["observer"]

[[step]]
id = "leave"
title = "Leave"
text = "Leave the place"
after = ["look"]
if_held = "Stay where you are"

[[step.check]]
id = "left"
text = "Everyone has left"
by = ["supervisor"]
"#;

pub fn plan() -> Plan {
    plan::parse("test plan", PLAN).unwrap_or_else(|faults| panic!("{faults}"))
}

pub fn person(name: &str) -> Person {
    Person::try_from(name).unwrap()
}

pub fn role(name: &str) -> RoleId {
    RoleId::try_from(name).unwrap()
}

/// A device with a new key in `folder`.
pub fn new_home(folder: &Path) -> (Home, DeviceKey) {
    let home = Home::at(folder);
    let device = home.new_device().unwrap().device();
    (home, device)
}

pub fn found(home: &Home) -> JobId {
    let what = Found {
        plan: plan(),
        person: person("Supervisor"),
        roles: vec![role("supervisor")],
        continues: None,
        nonce: [7; 16],
    };
    found_job(home, what).unwrap()
}

pub fn config(home: &Home, known: &[(DeviceKey, SocketAddr)]) -> NodeConfig {
    NodeConfig {
        home: home.clone(),
        job: None,
        listen: Some(SocketAddr::from((Ipv4Addr::LOCALHOST, 0))),
        discovery: false,
        control_port: 0,
        known: known.to_vec(),
        allow_faults: true,
    }
}

/// Two devices on one job: a supervisor's and an observer's, both briefed.
pub struct Crew {
    pub folder: tempfile::TempDir,
    pub homes: [Home; 2],
    pub nodes: Vec<Node>,
    pub job: JobId,
}

impl Crew {
    /// Founds, joins, admits, accepts, briefs.
    pub async fn at_work() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let (first, _) = new_home(&folder.path().join("supervisor"));
        let (second, _) = new_home(&folder.path().join("observer"));
        let job = found(&first);
        let host = Node::start(config(&first, &[])).await.unwrap();

        let (show, mut shown) = mpsc::unbounded_channel();
        let (home, address) = (second.clone(), host.address());
        let joining = tokio::spawn(async move {
            join_job(&home, address, None, person("Observer"), |words| {
                show.send(words.to_string()).unwrap();
            })
            .await
        });
        let words = shown.recv().await.unwrap();
        let handle = host.handle();
        let request = until("the request to join is shown", async || {
            handle.joins().await.unwrap().into_iter().next()
        })
        .await;
        assert_eq!(request.words, words, "both screens show the same words");
        assert_eq!(request.person, person("Observer"));

        let admitted = host
            .handle()
            .act(Command::Admit {
                device: request.device,
                person: request.person,
                roles: vec![role("observer")],
                replaces: None,
            })
            .await
            .unwrap();
        counts(&admitted);
        assert_eq!(joining.await.unwrap().unwrap(), job);
        let known = [(host.device(), host.address())];
        let guest = Node::start(config(&second, &known)).await.unwrap();
        recorded(&guest, Command::Accept).await;
        recorded(&host, Command::Briefed).await;
        recorded(&guest, Command::Briefed).await;
        Self {
            folder,
            homes: [first, second],
            nodes: vec![host, guest],
            job,
        }
    }

    pub fn supervisor(&self) -> &Node {
        &self.nodes[0]
    }

    pub fn observer(&self) -> &Node {
        &self.nodes[1]
    }

    /// Waits until every device shows the call.
    pub async fn all_show(&self, word: CallWord) {
        for node in &self.nodes {
            shows(&node.handle(), &format!("{word:?}"), |status| {
                status.call.word == word
            })
            .await;
        }
    }

    /// Ends all nodes in good order.
    pub async fn stop(self) {
        for node in self.nodes {
            node.stop().await.unwrap();
        }
    }
}

/// Asks again until there is an answer.
pub async fn until<T>(what: &str, mut ask: impl AsyncFnMut() -> Option<T>) -> T {
    let end = Instant::now() + WITHIN;
    loop {
        if let Some(found) = ask().await {
            return found;
        }
        assert!(Instant::now() < end, "waited in vain: {what}");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

/// Waits until a device shows something; says what it showed last when it does not.
pub async fn shows(
    handle: &NodeHandle,
    what: &str,
    is_so: impl Fn(&Status) -> bool,
) -> Box<Status> {
    let end = Instant::now() + WITHIN;
    loop {
        let status = handle.status().await.unwrap();
        if is_so(&status) {
            return status;
        }
        assert!(
            Instant::now() < end,
            "waited in vain: {what}\nthe call is {:?}\nasked {:?}\nstops {:?}\ncrew {:?}",
            status.call,
            status.asked,
            status.stops,
            status.crew
        );
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

/// The act was recorded and counts.
pub fn counts(outcome: &Outcome) -> gantline_protocol::ids::EntryHash {
    match outcome {
        Outcome::Recorded { entry, reasons, .. } if reasons.is_empty() => *entry,
        other => panic!("expected it to count, found {other:?}"),
    }
}

/// Acts until it is recorded and counts. A refusal that passes by itself (no contact yet, not known to all yet) is
/// tried again, as a person would.
pub async fn recorded(node: &Node, command: Command) -> gantline_protocol::ids::EntryHash {
    let end = Instant::now() + WITHIN;
    loop {
        let outcome = node.handle().act(command.clone()).await.unwrap();
        match &outcome {
            Outcome::Refused { reasons } if Instant::now() < end && passing(reasons) => {
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
            _ => return counts(&outcome),
        }
    }
}

fn passing(reasons: &[Reason]) -> bool {
    reasons.iter().all(|reason| {
        matches!(
            reason.code(),
            "no_contact"
                | "not_unlocked"
                | "hold_active"
                | "not_briefed"
                | "incomplete"
                | "not_enrolled"
        )
    })
}
