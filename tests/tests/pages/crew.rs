//! Crew: a supervisor, two tower workers and an observer, for a whole job two more, each with a real node on loopback, at work on a small plan.
//! Owns: the folders and the nodes.   Gives: `Crew`.
//! May use: node as a library, protocol's commands.   Never: a browser; a fixed sleep.

use gantline::control::client::Client;
use gantline::device::{
    AskFault, Home, Node, NodeConfig, NodeHandle, call_stop, found_job, join_job,
};
use gantline::store::Journal;
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::{DeviceKey, EntryHash, JobId, Person, PhotoHash, RoleId};
use gantline_protocol::join::BadJoin;
use gantline_protocol::log::author::Author;
use gantline_protocol::log::entry::{Body, Found, Said, StopKind};
use gantline_protocol::log::graph::Graph;
use gantline_protocol::log::sign::verify_batch;
use gantline_protocol::log::wire::{Entry, SIGNATURE_BYTES};
use gantline_protocol::plan;
use gantline_protocol::state::{CallWord, PhotoNote, Status};
use gantline_protocol::time::WallClock;
use gantline_tests::support::disk::SmallDisk;
use std::collections::BTreeSet;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;

/// Far longer than anything takes, so that only what never happens fails.
pub const WITHIN: Duration = Duration::from_secs(60);

pub const PLAN: &str = include_str!("plan.toml");

/// Places of the crew.
pub const SUPERVISOR: usize = 0;
pub const TOWER_1: usize = 1;
pub const TOWER_2: usize = 2;
pub const OBSERVER: usize = 3;

/// Who is there, in which roles.
type People = [(&'static str, &'static [&'static str])];

/// A small crew: the supervisor works on the ground too.
const FOUR: [(&str, &[&str]); 4] = [
    ("Alder", &["supervisor", "ground"]),
    ("Birch", &["tower"]),
    ("Cedar", &["tower"]),
    ("Dogwood", &["observer"]),
];
/// A whole one.
pub const SIX: [(&str, &[&str]); 6] = [
    ("Alder", &["supervisor"]),
    ("Birch", &["tower"]),
    ("Cedar", &["tower"]),
    ("Dogwood", &["observer"]),
    ("Elm", &["ground"]),
    ("Fir", &["ground"]),
];

/// A plan, as it is written.
pub fn read(text: &str) -> plan::Plan {
    plan::parse("plan.toml", text).unwrap_or_else(|faults| panic!("{faults}"))
}

/// Everyone at work.
pub struct Crew {
    _folder: tempfile::TempDir,
    homes: Vec<Home>,
    nodes: Vec<Node>,
}

/// Somebody who asks to join.
pub struct Joining {
    pub device: DeviceKey,
    /// The words on their own screen.
    pub words: String,
    task: tokio::task::JoinHandle<Result<JobId, AskFault>>,
}

impl Joining {
    /// The reason for which they were refused.
    pub async fn refused(self) -> String {
        match self.task.await.unwrap() {
            Err(AskFault::Join(BadJoin::Refused { why })) => why,
            other => panic!("expected a no, found {other:?}"),
        }
    }
}

fn config(home: &Home, known: &[&Node]) -> NodeConfig {
    NodeConfig {
        home: home.clone(),
        job: None,
        listen: Some(SocketAddr::from((Ipv4Addr::LOCALHOST, 0))),
        discovery: false,
        control_port: 0,
        known: known
            .iter()
            .map(|node| (node.device(), node.address()))
            .collect(),
        allow_faults: true,
    }
}

fn roles(names: &[&str]) -> Vec<RoleId> {
    let names = names.iter();
    names.map(|name| RoleId::try_from(*name).unwrap()).collect()
}

fn new_home(folder: &Path) -> Home {
    let home = Home::at(folder);
    home.new_device().unwrap();
    home
}

impl Crew {
    /// Founds, joins, admits, accepts, briefs, until everybody sees Proceed.
    pub async fn at_work() -> Self {
        let plan = read(PLAN);
        let crew = Self::on(plan).await;
        crew.all_show(CallWord::Proceed).await;
        crew
    }

    /// Founds, joins, admits, accepts, briefs.
    pub async fn on(plan: plan::Plan) -> Self {
        let crew = Self::joined(plan, &FOUR).await;
        for place in 1..FOUR.len() {
            crew.must(place, Command::Accept).await;
        }
        for place in 0..FOUR.len() {
            crew.must(place, Command::Briefed).await;
        }
        crew
    }

    /// Founds, joins, admits.
    pub async fn joined(plan: plan::Plan, people: &People) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let homes: Vec<Home> = people
            .iter()
            .map(|(name, _)| new_home(&folder.path().join(name)))
            .collect();
        let what = Found {
            plan,
            person: Person::try_from(people[0].0).unwrap(),
            roles: roles(people[0].1),
            continues: None,
            nonce: [7; 16],
        };
        found_job(&homes[0], what).unwrap();
        let mut crew = Self {
            _folder: folder,
            nodes: vec![Node::start(config(&homes[0], &[])).await.unwrap()],
            homes,
        };
        for (place, person) in people.iter().enumerate().skip(1) {
            crew.join(place, person).await;
        }
        crew
    }

    /// Somebody asks at the supervisor's device.
    pub async fn asks_to_join(&mut self, name: &'static str) -> Joining {
        let home = new_home(&self._folder.path().join(name));
        let (show, mut shown) = mpsc::unbounded_channel();
        let address = self.nodes[0].address();
        let own = home.clone();
        let task = tokio::spawn(async move {
            let person = Person::try_from(name).unwrap();
            join_job(&own, address, None, person, |words| {
                show.send(words.to_string()).unwrap();
            })
            .await
        });
        let words = shown.recv().await.unwrap();
        self.homes.push(home);
        let host = self.nodes[0].handle();
        let request = until("the request to join is shown", async || {
            host.joins().await.unwrap().into_iter().next()
        })
        .await;
        Joining {
            device: request.device,
            words,
            task,
        }
    }

    /// Who asked was admitted, and takes their place.
    pub async fn is_on_the_job(&mut self, joining: Joining) {
        joining.task.await.unwrap().unwrap();
        let place = self.nodes.len();
        let known: Vec<&Node> = self.nodes.iter().collect();
        let node = Node::start(config(&self.homes[place], &known))
            .await
            .unwrap();
        self.nodes.push(node);
        self.must(place, Command::Accept).await;
    }

    async fn join(&mut self, place: usize, (name, held): &(&'static str, &[&str])) {
        let name = *name;
        let (show, mut shown) = mpsc::unbounded_channel();
        let (home, address) = (self.homes[place].clone(), self.nodes[0].address());
        let joining = tokio::spawn(async move {
            let person = Person::try_from(name).unwrap();
            join_job(&home, address, None, person, |words| {
                show.send(words.to_string()).unwrap();
            })
            .await
        });
        shown.recv().await.unwrap();
        let host = self.nodes[0].handle();
        let request = until("the request to join is shown", async || {
            host.joins().await.unwrap().into_iter().next()
        })
        .await;
        let admitted = host
            .act(Command::Admit {
                device: request.device,
                person: request.person,
                roles: roles(held),
                replaces: None,
            })
            .await
            .unwrap();
        entry(&admitted);
        joining.await.unwrap().unwrap();
        let known: Vec<&Node> = self.nodes.iter().collect();
        let node = Node::start(config(&self.homes[place], &known))
            .await
            .unwrap();
        self.nodes.push(node);
    }

    /// Where a device keeps the job.
    pub fn job_folder(&self, place: usize) -> std::path::PathBuf {
        let jobs = self._folder.path().join(SIX[place].0).join("jobs");
        let mut all = std::fs::read_dir(jobs).unwrap();
        all.next().unwrap().unwrap().path()
    }

    /// A device's folder, and its running node.
    pub fn device(&self, place: usize) -> (&Home, NodeHandle) {
        (&self.homes[place], self.nodes[place].handle())
    }

    /// Where a device listens for others.
    pub fn address(&self, place: usize) -> SocketAddr {
        self.nodes[place].address()
    }

    /// A link to a device's page.
    pub async fn link(&self, place: usize) -> String {
        let client = Client::open(&self.homes[place]).unwrap();
        tokio::task::spawn_blocking(move || client.page_link().unwrap().link)
            .await
            .unwrap()
    }

    /// What a device shows.
    pub async fn status(&self, place: usize) -> Box<Status> {
        self.nodes[place].handle().status().await.unwrap()
    }

    /// The plan as a device has it.
    pub async fn plan(&self, place: usize) -> Box<plan::Plan> {
        self.nodes[place].handle().plan().await.unwrap()
    }

    /// Notes with a photo, as a device has them.
    pub async fn photos(&self, place: usize) -> Vec<PhotoNote> {
        self.nodes[place].handle().aside().await.unwrap().photos
    }

    /// Photos that are on a device.
    pub async fn photos_here(&self, place: usize) -> BTreeSet<PhotoHash> {
        self.nodes[place].handle().photos_here().await.unwrap()
    }

    /// Waits until a device shows something; says what it showed last when it does not.
    pub async fn shows(&self, place: usize, what: &str, is_so: impl Fn(&Status) -> bool) {
        let end = Instant::now() + WITHIN;
        loop {
            let status = self.status(place).await;
            if is_so(&status) {
                return;
            }
            assert!(
                Instant::now() < end,
                "waited in vain: {what}\nthe call is {:?}\nasked {:?}\nstops {:?}",
                status.call,
                status.asked,
                status.stops
            );
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    /// Waits until every device shows a call.
    pub async fn all_show(&self, word: CallWord) {
        for place in 0..self.nodes.len() {
            self.shows(place, &format!("{word:?}"), |status| {
                status.call.word == word
            })
            .await;
        }
    }

    /// Acts until it is recorded and counts. What passes by itself is tried again, as a person would.
    pub async fn must(&self, place: usize, command: Command) -> EntryHash {
        let end = Instant::now() + WITHIN;
        loop {
            let outcome = self.nodes[place]
                .handle()
                .act(command.clone())
                .await
                .unwrap();
            match &outcome {
                Outcome::Refused { .. } if Instant::now() < end => {
                    tokio::time::sleep(Duration::from_millis(50)).await;
                }
                _ => return entry(&outcome),
            }
        }
    }

    /// Acts; what comes of it.
    pub async fn tries(&self, place: usize, command: Command) -> Outcome {
        self.nodes[place].handle().act(command).await.unwrap()
    }

    /// A plain confirmation.
    pub async fn confirms(&self, place: usize, step: &str, check: &str, said: Said) -> EntryHash {
        let command = Command::Acknowledge {
            step: step.parse().unwrap(),
            check: check.parse().unwrap(),
            said,
            change: None,
            held_ms: Some(1_200),
        };
        self.must(place, command).await
    }

    /// Every step before the one at which a load moves is complete.
    pub async fn comes_to_the_load(&self) {
        let gap = Said::Value {
            value: "1.88".parse().unwrap(),
            unit: "m".to_owned(),
        };
        let key = || Said::Words("seated".to_owned());
        for (place, step, check, said) in [
            (TOWER_1, "load", "carry", Said::Yes),
            (TOWER_2, "load", "carry", Said::Yes),
            (OBSERVER, "load", "seen", Said::Yes),
            (TOWER_1, "measure", "gap", gap),
            (TOWER_1, "key", "key", key()),
            (TOWER_2, "key", "key", key()),
        ] {
            self.confirms(place, step, check, said).await;
        }
    }

    /// A stop, which everybody then shows.
    pub async fn stop(&self, place: usize, why: &str) -> EntryHash {
        let command = Command::Stop {
            kind: StopKind::Work,
            why: why.to_owned(),
            item: None,
        };
        let stop = self.must(place, command).await;
        self.all_show(CallWord::StopWork).await;
        stop
    }

    /// Agrees to the newest ask.
    pub async fn agrees(&self, place: usize) {
        self.must(place, Command::Agree { to: None }).await;
    }

    /// A device hears and reaches nobody, or does again.
    pub async fn deaf(&self, place: usize, deaf: bool) {
        assert!(self.nodes[place].handle().deaf(deaf).await.unwrap());
    }

    /// Everyone takes their place and hears the briefing, until everybody sees Proceed.
    pub async fn begins_work(&self) {
        for place in 1..self.nodes.len() {
            self.must(place, Command::Accept).await;
        }
        for place in 0..self.nodes.len() {
            self.must(place, Command::Briefed).await;
        }
        self.all_show(CallWord::Proceed).await;
    }

    /// A device off the job calls a stop at the supervisor's.
    pub async fn a_stranger_calls(&self, words: &str) {
        let home = new_home(&self._folder.path().join("stranger"));
        let address = self.nodes[0].address();
        call_stop(&home, address, words).await.unwrap();
    }

    /// A device says something that only a later version of this program knows.
    pub async fn speaks_of_the_future(&mut self, place: usize) {
        let node = self.nodes.remove(place);
        let job = self.nodes[0].handle().job().await.unwrap();
        node.stop().await.unwrap();
        let mut opened = Journal::open(&self.job_folder(place)).unwrap();
        let decoded = opened
            .entries
            .iter()
            .map(|bytes| Entry::decode(bytes.clone()).unwrap());
        let (good, _) = verify_batch(decoded.collect());
        let mut graph = Graph::new();
        for one in good {
            graph.insert(one).unwrap();
        }
        let author = Author::new(self.homes[place].device().unwrap().signing_key());
        let wall =
            WallClock(i64::try_from(std::time::UNIX_EPOCH.elapsed().unwrap().as_millis()).unwrap());
        let entry = author.next(&graph, wall, job.id(), Body::Accept).unwrap();
        // The body's first byte is its kind, and of this one the last that is signed.
        let mut signed = entry.bytes[..entry.bytes.len() - SIGNATURE_BYTES].to_vec();
        *signed.last_mut().unwrap() = 99;
        opened.journal.append(&[author.sign_bytes(signed)]).unwrap();
        drop(opened);
        self.again(place, SocketAddr::from((Ipv4Addr::LOCALHOST, 0)))
            .await;
    }

    /// With a device again that it was without, listening at this address.
    pub async fn again(&mut self, place: usize, at: SocketAddr) {
        let known: Vec<&Node> = self.nodes.iter().collect();
        let mut config = config(&self.homes[place], &known);
        config.listen = Some(at);
        self.nodes.insert(place, Node::start(config).await.unwrap());
    }

    /// A device goes on on a small disk of its own, which is there as long as the value.
    pub async fn on_a_small_disk(&mut self, place: usize) -> SmallDisk {
        self.nodes.remove(place).stop().await.unwrap();
        let at = self.homes[place].folder().to_owned();
        let before = at.with_extension("before");
        std::fs::rename(&at, &before).unwrap();
        let disk = SmallDisk::mount(&at);
        let copied = std::process::Command::new("cp")
            .args(["-a", &format!("{}/.", before.display())])
            .arg(&at)
            .status();
        assert!(copied.unwrap().success());
        self.again(place, SocketAddr::from((Ipv4Addr::LOCALHOST, 0)))
            .await;
        disk
    }

    /// Without one of its devices, whose node has ended.
    pub async fn without(mut self, place: usize) -> Self {
        self.nodes.remove(place).stop().await.unwrap();
        self
    }

    /// Everybody answers, the supervisor asks; nobody has agreed yet.
    pub async fn heard_and_asked(&self, cause: &str) {
        for place in 0..self.nodes.len() {
            self.shows(place, "the stop is in the log", |status| {
                status.stops.iter().all(|stop| !stop.owed.is_empty())
            })
            .await;
            let me = self.status(place).await;
            let owes = me.stops.iter().any(|stop| {
                me.person
                    .as_ref()
                    .is_some_and(|person| stop.not_heard.contains(person))
            });
            if owes {
                self.must(place, Command::Heard { stop: None }).await;
            }
        }
        let ask = Command::Ask {
            stops: Vec::new(),
            cause: cause.to_owned(),
            open_item: None,
            closes_item: None,
        };
        self.must(SUPERVISOR, ask).await;
        for place in 0..self.nodes.len() {
            self.shows(place, "the ask is there", |status| {
                status.stops.iter().any(|stop| stop.ask.is_some())
            })
            .await;
        }
    }

    /// Ends all nodes in good order.
    pub async fn end(self) {
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

/// The act was recorded and counts.
fn entry(outcome: &Outcome) -> EntryHash {
    match outcome {
        Outcome::Recorded { entry, reasons, .. } if reasons.is_empty() => *entry,
        other => panic!("expected it to count, found {other:?}"),
    }
}
