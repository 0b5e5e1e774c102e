//! Tests of the control API on a real socket: who is let in, and that nothing changes for who is not.
//! Owns: a node that only counts what reaches it.   Gives: nothing.
//! May use: all of control.   Never: a wall clock.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::client::{Client, ClientFault};
use super::routes::BODY_MAX_BYTES;
use super::{Control, ControlError, ControlFile, Refusal, RefusedJoin, serve};
use crate::device::{Home, NodeHandle, Request};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::{DeviceKey, JobId};
use gantline_protocol::log::entry::StopKind;
use gantline_protocol::log::journal as frames;
use std::io::{Read, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::os::unix::fs::PermissionsExt;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};

const JOB: JobId = JobId([5; 32]);

/// A control API in front of a node that takes every act as already so.
struct Rig {
    _folder: tempfile::TempDir,
    _control: Control,
    home: Home,
    file: ControlFile,
    reached: Arc<AtomicU32>,
}

async fn rig() -> Rig {
    let folder = tempfile::tempdir().unwrap();
    let home = Home::at(folder.path());
    let (node, mut requests) = NodeHandle::new();
    let reached = Arc::new(AtomicU32::new(0));
    let count = Arc::clone(&reached);
    tokio::spawn(async move {
        while let Some(request) = requests.waiting.recv().await {
            count.fetch_add(1, Ordering::Relaxed);
            match request {
                Request::Act { reply, .. } => drop(reply.send(Outcome::AlreadySo)),
                Request::RefuseJoin { reply, .. } => drop(reply.send(false)),
                Request::Joins { reply } => drop(reply.send(Vec::new())),
                _ => {}
            }
        }
    });
    std::fs::create_dir_all(home.job_folder(&JOB)).unwrap();
    let mut journal = frames::header().to_vec();
    frames::append_record(&mut journal, &[7; 200]);
    let durable = Arc::new(AtomicU64::new(journal.len() as u64));
    journal.resize(4096, 0);
    std::fs::write(home.journal_path(&JOB), &journal).unwrap();
    let control = serve(&home, 0, JOB, node, durable).await.unwrap();
    let file = ControlFile::read(&home.control_path()).unwrap();
    Rig {
        _folder: folder,
        _control: control,
        home,
        file,
        reached,
    }
}

/// Sends bytes as they are, and gives the code and the body of the answer.
fn say(port: u16, request: &[u8]) -> (u16, Vec<u8>) {
    let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port)).unwrap();
    // A node that refuses early may close before it has read all.
    let _ = stream.write_all(request);
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    let text = String::from_utf8_lossy(&answer).into_owned();
    let code = text
        .split(' ')
        .nth(1)
        .and_then(|code| code.parse().ok())
        .unwrap_or(0);
    let body = text
        .split_once("\r\n\r\n")
        .map(|(_, body)| body.as_bytes().to_vec());
    (code, body.unwrap_or_default())
}

fn request(head: &[String], body: &str) -> Vec<u8> {
    let mut text = String::from("POST /api/act HTTP/1.0\r\n");
    for line in head {
        text.push_str(line);
        text.push_str("\r\n");
    }
    text.push_str(&format!("Content-Length: {}\r\n\r\n{body}", body.len()));
    text.into_bytes()
}

fn stop() -> Command {
    Command::Stop {
        kind: StopKind::Work,
        why: "a tag line is fouled".to_owned(),
        item: None,
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_is_not_let_in_gets_the_right_code_and_changes_nothing() {
    let rig = rig().await;
    let port = rig.file.port;
    let host = format!("Host: 127.0.0.1:{port}");
    let token = format!("Authorization: Bearer {}", rig.file.token);
    let wrong = format!("Authorization: Bearer {}", "0".repeat(64));
    let good = serde_json::to_string(&stop()).unwrap();
    let long = format!("{{\"act\":\"{}\"}}", "x".repeat(BODY_MAX_BYTES));
    let cases: Vec<(&str, Vec<String>, &str, u16, &str)> = vec![
        ("no token", vec![host.clone()], &good, 401, "token"),
        (
            "wrong token",
            vec![host.clone(), wrong],
            &good,
            401,
            "token",
        ),
        (
            "two tokens",
            vec![host.clone(), token.clone(), token.clone()],
            &good,
            401,
            "token",
        ),
        ("no host", vec![token.clone()], &good, 421, "host"),
        (
            "foreign host",
            vec![format!("Host: crew.example:{port}"), token.clone()],
            &good,
            421,
            "host",
        ),
        (
            "foreign origin",
            vec![
                host.clone(),
                token.clone(),
                "Origin: http://crew.example".to_owned(),
            ],
            &good,
            403,
            "origin",
        ),
        (
            "origin of another port",
            vec![
                host.clone(),
                token.clone(),
                "Origin: http://127.0.0.1:1".to_owned(),
            ],
            &good,
            403,
            "origin",
        ),
        (
            "too long",
            vec![host.clone(), token.clone()],
            &long,
            413,
            "too_long",
        ),
        (
            "no json",
            vec![host.clone(), token.clone()],
            "{\"act\"",
            400,
            "form",
        ),
        (
            "no act",
            vec![host.clone(), token.clone()],
            "{\"act\":\"sing\"}",
            400,
            "form",
        ),
        (
            "no text",
            vec![host.clone(), token.clone()],
            "\u{0}\u{7f}",
            400,
            "form",
        ),
    ];
    for (name, head, body, code, error) in cases {
        let (found, answer) = say(port, &request(&head, body));
        assert_eq!(found, code, "{name}");
        let json: serde_json::Value = serde_json::from_slice(&answer).unwrap();
        assert_eq!(json["error"], error, "{name}: {json}");
        assert!(
            json["message"]
                .as_str()
                .is_some_and(|words| words.len() > 10),
            "{name}"
        );
        assert!(
            serde_json::from_value::<ControlError>(json).is_ok(),
            "{name}"
        );
    }
    let (code, _) = say(port, b"GET /api/nothing HTTP/1.0\r\n\r\n");
    assert_eq!(code, 421, "the guard comes before the path");
    assert_eq!(
        rig.reached.load(Ordering::Relaxed),
        0,
        "nothing reached the node"
    );

    let own_page = vec![host, token, format!("Origin: http://localhost:{port}")];
    let (code, answer) = say(port, &request(&own_page, &good));
    assert_eq!((code, rig.reached.load(Ordering::Relaxed)), (200, 1));
    assert_eq!(
        serde_json::from_slice::<Outcome>(&answer).unwrap(),
        Outcome::AlreadySo
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_client_asks_and_gets_typed_answers() {
    let rig = rig().await;
    let mode = std::fs::metadata(rig.home.control_path())
        .unwrap()
        .permissions()
        .mode();
    assert_eq!(mode & 0o777, 0o600);
    let client = Client::open(&rig.home).unwrap();
    assert_eq!(client.act(&stop()).unwrap(), Outcome::AlreadySo);
    assert_eq!(client.joins().unwrap(), []);
    let refused = client.refuse_join(&RefusedJoin {
        device: DeviceKey([1; 32]),
        why: "no".to_owned(),
    });
    let Err(ClientFault::Refused(error)) = refused else {
        panic!("{refused:?}");
    };
    assert_eq!(error.refusal, Refusal::NotAsked);
    let log = client.log().unwrap();
    let scan = frames::scan(&log);
    assert_eq!(
        (scan.records.len(), scan.damage, scan.end),
        (1, vec![], log.len())
    );

    let mut stranger = rig.file.clone();
    stranger.token = "0".repeat(64);
    let refused = Client::with(stranger).joins();
    let Err(ClientFault::Refused(error)) = refused else {
        panic!("{refused:?}");
    };
    assert_eq!(error.refusal, Refusal::Token);
}

#[tokio::test]
async fn when_the_node_ends_its_control_file_goes() {
    let rig = rig().await;
    let (home, port) = (rig.home.clone(), rig.file.port);
    assert!(home.control_path().exists());
    drop(rig);
    assert!(matches!(Client::open(&home), Err(ClientFault::File(_))));
    assert_ne!(port, 0);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_browser_comes_in_by_its_link_and_its_cookie_opens_the_pages_only() {
    let rig = rig().await;
    let port = rig.file.port;
    let host = format!("Host: 127.0.0.1:{port}");
    let origin = format!("Origin: http://127.0.0.1:{port}");
    let link = Client::open(&rig.home).unwrap().page_link().unwrap().link;
    let path = link
        .strip_prefix(&format!("http://127.0.0.1:{port}"))
        .unwrap();
    let get = |path: &str, head: &[&str]| {
        let head: String = head.iter().map(|line| format!("{line}\r\n")).collect();
        let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port)).unwrap();
        let request = format!("GET {path} HTTP/1.0\r\n{head}\r\n");
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        answer
    };
    let foreign = get(path, &["Host: crew.example"]);
    assert!(foreign.starts_with("HTTP/1.0 421"), "{foreign}");
    let entered = get(path, &[&host]);
    let cookie = entered
        .lines()
        .find_map(|line| line.strip_prefix("set-cookie: "))
        .and_then(|cookie| cookie.split(';').next())
        .map(|cookie| format!("Cookie: {cookie}"))
        .unwrap();
    let again = get(path, &[&host]);
    assert!(again.starts_with("HTTP/1.0 401"), "{again}");
    let api = get("/api/joins", &[&host, &cookie]);
    assert!(api.starts_with("HTTP/1.0 401"), "no page needs it: {api}");
    let without = get("/worker", &[&host]);
    assert!(without.starts_with("HTTP/1.0 401"), "{without}");
    assert!(without.contains("gantline page"), "{without}");

    let press = |head: &[&String]| {
        let head: String = head.iter().map(|line| format!("{line}\r\n")).collect();
        let body = "do=cannot&step=look&check=clear&text=no";
        let length = body.len();
        let request =
            format!("POST /press HTTP/1.0\r\n{head}Content-Length: {length}\r\n\r\n{body}");
        say(port, request.as_bytes()).0
    };
    let reached = || rig.reached.load(Ordering::Relaxed);
    let before = reached();
    let other = "Origin: http://crew.example".to_owned();
    assert_eq!(press(&[&host, &cookie]), 403, "it does not say from where");
    assert_eq!(press(&[&host, &cookie, &other]), 403);
    assert_eq!(press(&[&host, &origin]), 401);
    assert_eq!(reached(), before, "nothing reached the node");
    // It reaches the node with both; this one answers no status, so the page gets no further.
    assert_eq!(press(&[&host, &cookie, &origin]), 503);
    assert!(reached() > before);
}
