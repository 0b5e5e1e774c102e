//! Node: a device at its job, from its folder to the running loop.
//! Owns: the device folder's lock.   Gives: `NodeConfig`, `Node`.
//! May use: home, store, net, control, driver.   Never: what happens while it runs (driver).

use crate::control::{self, CannotServe, Control};
use crate::device::ask::Hosts;
use crate::device::checks::{Checkers, check_all};
use crate::device::driver::Driver;
use crate::device::flusher::Flusher;
use crate::device::photos::PhotoDesk;
use crate::device::shown::ShownFile;
use crate::device::{
    Clock, Health, Home, HomeFault, KeyFault, NodeEnded, NodeHandle, Request, boot_id,
};
use crate::net::{self, Net, NetCommand, NetError};
use crate::store::{Finding, FolderLock, Journal, PhotoFolder, Side, StoreFault};
use gantline_protocol::engine::{CannotOpen, Config, Engine};
use gantline_protocol::ids::{DeviceKey, JobId};
use std::collections::{BTreeMap, BTreeSet};
use std::net::{Ipv6Addr, SocketAddr};
use tokio::sync::mpsc::unbounded_channel;
use tokio::task::JoinHandle;

/// The setting that keeps a device's port over a restart, so that others find it where it was.
const PORT: &str = "port";

/// How to run a node.
#[derive(Clone, Debug)]
pub struct NodeConfig {
    /// The device's folder.
    pub home: Home,
    /// Which job; `None`: the only one.
    pub job: Option<JobId>,
    /// Where to listen for other devices. `None`: on all interfaces, on the port of the last time if it is free.
    pub listen: Option<SocketAddr>,
    /// Whether to announce this device and look for others by multicast DNS.
    pub discovery: bool,
    /// Port of the control API on the loopback address; 0: any.
    pub control_port: u16,
    /// Addresses of other devices, given by a person.
    pub known: Vec<(DeviceKey, SocketAddr)>,
    /// For tests: whether a request may make it deaf.
    pub allow_faults: bool,
}

/// Why a node does not start.
#[derive(Debug, thiserror::Error)]
pub enum CannotStart {
    /// No key.
    #[error(transparent)]
    Key(#[from] KeyFault),
    /// No job of that id, or several.
    #[error(transparent)]
    Home(#[from] HomeFault),
    /// No job at all.
    #[error(
        "this device has no job yet: found one with `gantline job found`, or join one with `gantline job join`"
    )]
    NoJob,
    /// The disk.
    #[error(transparent)]
    Store(#[from] StoreFault),
    /// The journal is of no job.
    #[error(transparent)]
    Open(#[from] CannotOpen),
    /// The network.
    #[error(transparent)]
    Net(#[from] NetError),
    /// The control API.
    #[error(transparent)]
    Control(#[from] CannotServe),
    /// No random numbers.
    #[error("the system gives no random numbers: {0}")]
    Random(#[from] getrandom::Error),
    /// No thread.
    #[error("the system gives no thread: {0}")]
    Thread(std::io::Error),
}

/// A running node.
#[derive(Debug)]
pub struct Node {
    device: DeviceKey,
    job: JobId,
    address: SocketAddr,
    handle: NodeHandle,
    findings: Vec<Finding>,
    control: Control,
    task: JoinHandle<()>,
    lock: FolderLock,
}

impl Node {
    /// Starts a node: reads its key, takes its folder, reads and checks its log, listens.
    ///
    /// # Errors
    /// [`CannotStart`].
    pub async fn start(config: NodeConfig) -> Result<Self, CannotStart> {
        let NodeConfig { home, .. } = &config;
        let secret = home.device()?;
        let lock = FolderLock::take(home.folder())?;
        let job = home.job(config.job)?.ok_or(CannotStart::NoJob)?;
        let folder = home.job_folder(&job);
        let opened = Journal::open(&folder)?;
        let (side, side_findings) = Side::open(&folder);
        let mut findings = opened.findings;
        let (entries, bad) = check_all(&opened.entries);
        findings.extend(bad);
        findings.extend(shorter(&opened.journal, &side, &findings));
        findings.extend(side_findings);
        drop(opened.entries);

        let mut clock = Clock::default();
        let engine_config = Config {
            key: secret.signing_key(),
            boot: boot_id()?,
            journal_damaged: findings.iter().any(Finding::is_loss),
        };
        let (engine, first) = Engine::open(engine_config, entries, clock.now())?;

        let (net, events) = listen(&config, job, &secret.signing_key(), &side).await?;
        for (device, addresses) in side.addresses() {
            net.command(NetCommand::KnownAddresses(device, addresses));
        }
        for (device, addresses) in by_device(&config.known) {
            net.command(NetCommand::KnownAddresses(device, addresses));
        }

        let (handle, requests) = NodeHandle::new();
        let durable = opened.journal.durable_bytes();
        let records = opened.journal.records();
        let control =
            control::serve(home, config.control_port, job, handle.clone(), durable).await?;
        let (flush_results, flushed) = unbounded_channel();
        let (check_results, checked) = unbounded_channel();
        let (photo_results, photos_done) = unbounded_channel();
        let photo_folder = PhotoFolder::of(&folder);
        let photos = PhotoDesk::start(photo_folder, &engine, clock.peek().tick, photo_results)
            .map_err(CannotStart::Thread)?;
        let driver = Driver {
            hosts: Hosts::new(secret.device()),
            health: health(secret.device(), job, &findings),
            flusher: Flusher::start(opened.journal, side, flush_results)
                .map_err(CannotStart::Thread)?,
            checkers: Checkers::start(&check_results).map_err(CannotStart::Thread)?,
            durable_records: records,
            photos,
            photos_done,
            replies: BTreeMap::new(),
            last_command: 0,
            linked: BTreeSet::new(),
            alarms: BTreeSet::new(),
            page_heard_at: None,
            shown: {
                let shown = ShownFile::open(&folder);
                shown.runs(clock.peek(), true);
                shown
            },
            allow_faults: config.allow_faults,
            deaf: false,
            batches: BTreeMap::new(),
            engine,
            clock,
            requests,
            flushed,
            checked,
            net: net.clone(),
        };
        Ok(Self {
            device: secret.device(),
            job,
            address: net.address(),
            handle,
            findings,
            control,
            task: tokio::spawn(driver.run(first, events)),
            lock,
        })
    }

    /// This device.
    #[must_use]
    pub fn device(&self) -> DeviceKey {
        self.device
    }

    /// Its job.
    #[must_use]
    pub fn job(&self) -> JobId {
        self.job
    }

    /// Where it listens for other devices; the address part is unspecified when that is everywhere.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Where its control API is.
    #[must_use]
    pub fn control_address(&self) -> SocketAddr {
        self.control.address()
    }

    /// What was wrong with its files, and is dealt with.
    #[must_use]
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// Puts requests to it.
    #[must_use]
    pub fn handle(&self) -> NodeHandle {
        self.handle.clone()
    }

    /// Waits until it has ended, in good order, by a request.
    pub async fn ended(self) {
        let Self {
            task,
            control,
            lock,
            ..
        } = self;
        // A panic of the loop was said on stderr; the files are as the last flush left them.
        let _ = task.await;
        drop(control);
        drop(lock);
    }

    /// Ends it in good order.
    ///
    /// # Errors
    /// [`NodeEnded`] when it had ended by itself.
    pub async fn stop(self) -> Result<(), NodeEnded> {
        let told = self.handle.tell(Request::Shutdown).await;
        self.ended().await;
        told
    }

    /// Runs it until SIGTERM or SIGINT comes, or it is told to end, and ends it in good order.
    ///
    /// # Errors
    /// The signals cannot be had.
    pub async fn run_until_signal(self) -> std::io::Result<()> {
        use tokio::signal::unix::{SignalKind, signal};
        let mut terminate = signal(SignalKind::terminate())?;
        let mut interrupt = signal(SignalKind::interrupt())?;
        let handle = self.handle();
        let ended = self.ended();
        tokio::pin!(ended);
        tokio::select! {
            () = &mut ended => return Ok(()),
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
        // Having ended by itself meanwhile is as good.
        let _ = handle.tell(Request::Shutdown).await;
        ended.await;
        Ok(())
    }
}

/// Whether the journal has fewer records than it had, though nothing in it is damaged.
fn shorter(journal: &Journal, side: &Side, so_far: &[Finding]) -> Option<Finding> {
    let expected = side.journal_records()?;
    let found = journal.records();
    let is_told = so_far.iter().any(Finding::is_loss);
    (found < expected && !is_told).then_some(Finding::Shorter { found, expected })
}

async fn listen(
    config: &NodeConfig,
    job: JobId,
    key: &ed25519_zebra::SigningKey,
    side: &Side,
) -> Result<(Net, net::NetEvents), NetError> {
    let with = |listen| net::Config {
        key: *key,
        job: Some(job),
        listen,
        discovery: config.discovery,
    };
    let last: Option<u16> = side.setting(PORT).and_then(|port| port.parse().ok());
    let last = last.map(|port| SocketAddr::from((Ipv6Addr::UNSPECIFIED, port)));
    let started = match (config.listen, last) {
        (None, Some(last)) => match Net::start(with(Some(last))).await {
            Err(NetError::Listen { .. }) => Net::start(with(None)).await,
            other => other,
        },
        (listen, _) => Net::start(with(listen)).await,
    };
    if let Ok((net, _)) = &started {
        // Not kept: another port the next time.
        let _ = side.set(PORT, &net.address().port().to_string());
    }
    started
}

fn by_device(known: &[(DeviceKey, SocketAddr)]) -> BTreeMap<DeviceKey, Vec<SocketAddr>> {
    let mut all: BTreeMap<DeviceKey, Vec<SocketAddr>> = BTreeMap::new();
    for (device, address) in known {
        all.entry(*device).or_default().push(*address);
    }
    all
}

fn health(device: DeviceKey, job: JobId, findings: &[Finding]) -> Health {
    Health {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        process: std::process::id(),
        device,
        job,
        addresses: Vec::new(),
        linked: Vec::new(),
        nobody_heard: false,
        records: 0,
        disk_fault: None,
        findings: findings.iter().map(ToString::to_string).collect(),
        loss: findings.iter().any(Finding::is_loss),
        alarms: Vec::new(),
        page_lives: false,
        bugs: Vec::new(),
        link_faults: Vec::new(),
        disk_faults: Vec::new(),
        photos: 0,
        photos_here: 0,
        photo_fault: None,
    }
}
