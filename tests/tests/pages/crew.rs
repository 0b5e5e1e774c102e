//! Crew: a supervisor, two tower workers and an observer, for a whole job two more, each with a real node on loopback, at work on a small plan.
//! Owns: the folders and the nodes.   Gives: `Crew`.
//! May use: node as a library, protocol's commands.   Never: a browser; a fixed sleep.

use gantline::control::client::Client;
use gantline::device::{Home, Node, NodeConfig, found_job, join_job};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::{DeviceKey, EntryHash, Person, RoleId};
use gantline_protocol::log::entry::{Found, Said, StopKind};
use gantline_protocol::plan;
use gantline_protocol::state::{CallWord, Status};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

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
    task: tokio::task::JoinHandle<()>,
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
        let plan = plan::parse("plan.toml", PLAN).unwrap_or_else(|faults| panic!("{faults}"));
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
        let (show, shown) = oneshot::channel();
        let address = self.nodes[0].address();
        let own = home.clone();
        let task = tokio::spawn(async move {
            let person = Person::try_from(name).unwrap();
            join_job(&own, address, None, person, |words| {
                show.send(words.to_string()).unwrap();
            })
            .await
            .unwrap();
        });
        let words = shown.await.unwrap();
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
        joining.task.await.unwrap();
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
        let (show, shown) = oneshot::channel();
        let (home, address) = (self.homes[place].clone(), self.nodes[0].address());
        let joining = tokio::spawn(async move {
            let person = Person::try_from(name).unwrap();
            join_job(&home, address, None, person, |words| {
                show.send(words.to_string()).unwrap();
            })
            .await
        });
        shown.await.unwrap();
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
