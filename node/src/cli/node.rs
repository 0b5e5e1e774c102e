//! Node: runs this device's part of the job.
//! Owns: the runtime.   Gives: `gantline node`, `serve`.
//! May use: device::Node.   Never: a rule of the job.

use super::{Answer, Exit, Problem, Settings};
use crate::device::{Home, Node, NodeConfig, NodeHandle, Request, sound_stops};
use clap::Args;
use gantline_protocol::ids::{DeviceKey, JobId};
use serde::Serialize;
use std::io::{Read, Write};
use std::net::SocketAddr;

/// Run this device's node, until SIGTERM or Ctrl-C
///
/// It keeps the log, talks to the other devices and answers `gantline act`, `status` and the rest on this
/// machine. Prints one line when it is ready: where it listens for other devices, and where it is controlled.
///
/// Gantline is an aid to planning and coordination. Proceed never means safe: voice and hand signals stop
/// first, and local codes, the utility's rules and licensed practice decide.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Which job; needed only where this device has several
    #[arg(long)]
    job: Option<JobId>,
    /// Where to listen for other devices [default: all interfaces, the port of the last time]
    #[arg(long, value_name = "ADDRESS")]
    listen: Option<SocketAddr>,
    /// Port of the control API on this machine's loopback address; 0 for any
    #[arg(long, value_name = "PORT", default_value_t = 0)]
    control_port: u16,
    /// Where another device is, by its key; repeat for more
    #[arg(long = "address", value_name = "KEY=ADDRESS", value_parser = device_at)]
    addresses: Vec<(DeviceKey, SocketAddr)>,
    /// Neither announce this device nor look for others by multicast DNS
    #[arg(long)]
    no_discovery: bool,
    /// Sound no stop by this machine itself while none of its pages is open
    #[arg(long)]
    no_sound: bool,
    /// For tests: let its links be cut by its control API
    #[arg(long, hide = true)]
    allow_faults: bool,
    /// For tests: end when stdin does, so that no node outlives who started it
    #[arg(long, hide = true)]
    until_stdin_ends: bool,
}

fn device_at(text: &str) -> Result<(DeviceKey, SocketAddr), String> {
    let (device, address) = text
        .split_once('=')
        .ok_or_else(|| format!("found `{text}`, expected KEY=ADDRESS"))?;
    let device = device
        .parse()
        .map_err(|bad: gantline_protocol::ids::BadId| bad.to_string())?;
    let address = address
        .parse()
        .map_err(|_| format!("found `{address}`, expected an address such as 192.0.2.7:4433"))?;
    Ok((device, address))
}

#[derive(Debug, Serialize)]
struct Ready {
    device: String,
    job: String,
    listen: SocketAddr,
    control: SocketAddr,
    findings: Vec<String>,
}

/// The runtime of a node: one thread; signatures and the disk have threads of their own.
pub(super) fn runtime() -> Result<tokio::runtime::Runtime, Problem> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(Problem::Runtime)
}

pub(super) fn run(settings: &Settings, arguments: &Arguments) -> Result<Exit, Problem> {
    let config = NodeConfig {
        home: Home::at(&settings.folder()?),
        job: arguments.job,
        listen: arguments.listen,
        discovery: !arguments.no_discovery,
        control_port: arguments.control_port,
        known: arguments.addresses.clone(),
        allow_faults: arguments.allow_faults,
    };
    runtime()?.block_on(async {
        let until_stdin_ends = arguments.until_stdin_ends;
        serve(settings, config, !arguments.no_sound, async |node| {
            if until_stdin_ends {
                end_with_stdin(node);
            }
        })
        .await
    })
}

/// Runs a node to its end. `started`: what is done once it answers.
pub(super) async fn serve(
    settings: &Settings,
    config: NodeConfig,
    sound: bool,
    started: impl AsyncFnOnce(NodeHandle),
) -> Result<Exit, Problem> {
    let node = Node::start(config).await?;
    let findings: Vec<String> = node.findings().iter().map(ToString::to_string).collect();
    let ready = Ready {
        device: node.device().to_string(),
        job: node.job().to_string(),
        listen: node.address(),
        control: node.control_address(),
        findings,
    };
    // Nobody to read it is no reason not to run.
    let _ = say_ready(settings, &ready);
    if sound {
        let (folder, path) = (settings.folder()?, std::env::var_os("PATH"));
        tokio::spawn(sound_stops(node.handle(), folder, path));
    }
    started(node.handle()).await;
    node.run_until_signal().await.map_err(Problem::Runtime)?;
    Ok(Exit::Good)
}

/// The node ends when stdin does.
fn end_with_stdin(handle: NodeHandle) {
    let (ended, stdin_ended) = tokio::sync::oneshot::channel();
    std::thread::spawn(move || {
        let mut bytes = [0; 64];
        while matches!(std::io::stdin().read(&mut bytes), Ok(1..)) {}
        // The node may have ended before.
        let _ = ended.send(());
    });
    tokio::spawn(async move {
        if stdin_ended.await.is_ok() {
            // As above.
            let _ = handle.tell(Request::Shutdown).await;
        }
    });
}

fn say_ready(settings: &Settings, ready: &Ready) -> Result<(), Problem> {
    for finding in &ready.findings {
        // As with stdout: nobody to read it is no reason not to run.
        let _ = writeln!(std::io::stderr(), "gantline: {finding}");
    }
    let mut answer = Answer::new();
    if settings.json {
        answer.json(ready)
    } else {
        answer.line(format_args!(
            "Device {} on job {}, at {} for other devices, at {} for this machine's programs.",
            ready.device, ready.job, ready.listen, ready.control
        ))
    }
}
