//! Ask: the two sides of a stranger's questions: may I join, and stop.
//! Owns: attempts in progress.   Gives: `join_job`, `call_stop` for the stranger; `Hosts` for the device on the roster.
//! May use: protocol::join, net's questions.   Never: whether somebody is admitted (people, and the gate).
//!
//! One question is one connection, so an exchange of protocol::join is put into pieces: each question carries one
//! message and how many messages of the answer are there already; each answer carries as many as fit, or says to ask
//! again.

use crate::device::begin::{CannotBegin, begin_job};
use crate::device::{Home, JoinRequest, KeyFault};
use crate::net::{self, AskError, AskId, ask};
use crate::store::Side;
use gantline_protocol::ids::{DeviceKey, JobId, Person};
use gantline_protocol::join::{
    self, BadJoin, HostStep, Hosting, JoinStep, Joining, Words, is_stop_heard, log_for, stop_heard,
};
use gantline_protocol::log::graph::Graph;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::time::Duration;

/// One answer; the bound of a message is 4 MiB, and the pieces are whole messages of some 2 MiB at most.
const ANSWER_MAX_BYTES: usize = 1024 * 1024;
/// Attempts kept at a time; the oldest gives way.
const ATTEMPTS_MAX: usize = 32;
/// Questions of one attempt that wait for an answer.
const WAITING_MAX: usize = 4;
/// Rounds without a question after which an attempt is forgotten: half a minute.
const SILENT_ROUNDS_MAX: u32 = 6;
/// A question waits at the host for 10 s at most, and for its way there and back.
const ASK_WITHIN: Duration = Duration::from_secs(14);
/// After a question without an answer.
const ASK_AGAIN_AFTER: Duration = Duration::from_secs(1);
/// Questions in a row without an answer, after which a person should look.
const SILENT_MAX: u32 = 30;

#[derive(Debug, Serialize, Deserialize)]
struct Question {
    /// Messages of the log that are there already.
    have: u32,
    said: Vec<u8>,
}

#[derive(Debug, Serialize, Deserialize)]
enum Answer {
    /// Nothing yet: ask again.
    Wait,
    /// Messages; `more`: ask again for the rest.
    Said { messages: Vec<Vec<u8>>, more: bool },
}

/// Why a device did not get onto a job, or its stop was not heard.
#[derive(Debug, thiserror::Error)]
pub enum AskFault {
    /// No answer.
    #[error(transparent)]
    Ask(#[from] AskError),
    /// The exchange went wrong, or the answer is no.
    #[error(transparent)]
    Join(#[from] BadJoin),
    /// The answer is of another form.
    #[error("the node there answers in a form that is not known here; update the older device")]
    Form,
    /// No key.
    #[error(transparent)]
    Key(#[from] KeyFault),
    /// The log cannot be kept.
    #[error(transparent)]
    Begin(#[from] CannotBegin),
    /// No random numbers.
    #[error("the system gives no random numbers: {0}")]
    Random(#[from] getrandom::Error),
}

/// Asks the node at an address to join its job, shows the words to compare, waits until somebody there admits this
/// device, and makes the job's folder. `expected`: the only device that may answer there, if it is known.
/// A host that knows nothing of the asking any longer, as after a restart, is asked anew: then there are other words
/// to show. Ends only with an answer, or when dropped.
///
/// # Errors
/// [`AskFault`].
pub async fn join_job(
    home: &Home,
    host: SocketAddr,
    expected: Option<DeviceKey>,
    person: Person,
    mut show: impl FnMut(&Words),
) -> Result<JobId, AskFault> {
    let (mut expected, mut patience) = (expected, 0);
    loop {
        match join_once(home, host, expected, patience, person.clone(), &mut show).await? {
            Came::Admitted(job) => return Ok(job),
            // Who compared words with one device goes on with that one only; and it was there just now.
            Came::Forgotten { by } => (expected, patience) = (Some(by), SILENT_MAX),
        }
        tokio::time::sleep(ASK_AGAIN_AFTER).await;
    }
}

/// What became of one attempt.
enum Came {
    Admitted(JobId),
    /// The device that was asked knows nothing of it any longer.
    Forgotten {
        by: DeviceKey,
    },
}

/// One question, again after each time without an answer, so many times.
async fn ask_patiently(
    key: &ed25519_zebra::SigningKey,
    host: SocketAddr,
    expected: Option<DeviceKey>,
    question: &[u8],
    patience: u32,
) -> Result<net::Answer, AskError> {
    let mut silent = 0;
    loop {
        match ask(key, host, expected, question, ASK_WITHIN).await {
            Err(AskError::NoAnswer { .. } | AskError::Closed { .. }) if silent < patience => {
                silent += 1;
                tokio::time::sleep(ASK_AGAIN_AFTER).await;
            }
            other => return other,
        }
    }
}

async fn join_once(
    home: &Home,
    host: SocketAddr,
    expected: Option<DeviceKey>,
    patience: u32,
    person: Person,
    show: &mut impl FnMut(&Words),
) -> Result<Came, AskFault> {
    let secret = home.device()?;
    let key = secret.signing_key();
    let mut nonce = [0; 32];
    getrandom::fill(&mut nonce)?;

    // Whoever answers first is the host from then on; the knock does not depend on who it is.
    let (_, knock) = Joining::new(secret.device(), secret.device(), person.clone(), nonce);
    let question = write_question(0, knock)?;
    let first = ask_patiently(&key, host, expected, &question, patience).await?;
    let (mut joining, _) = Joining::new(secret.device(), first.key, person, nonce);
    let Answer::Said { messages, .. } = read_answer(&first.bytes)? else {
        return Err(AskFault::Form);
    };
    let [here] = &messages[..] else {
        return Err(AskFault::Form);
    };
    let JoinStep::Compare { words, send } = joining.hear(here)? else {
        return Err(AskFault::Form);
    };
    show(&words);

    let mut have = 0;
    loop {
        let question = write_question(have, send.clone())?;
        let answer = ask_patiently(&key, host, Some(first.key), &question, SILENT_MAX).await?;
        let Answer::Said { messages, .. } = read_answer(&answer.bytes)? else {
            continue;
        };
        if messages.is_empty() {
            return Err(AskFault::Form);
        }
        for message in messages {
            have += 1;
            match joining.hear(&message)? {
                JoinStep::Ready { job, journal } => {
                    begin_job(home, job, &journal)?;
                    // So that the node finds the job's others at its first start without any announcement.
                    let (side, _) = Side::open(&home.job_folder(&job));
                    let _ = side.set_addresses(first.key, &[host]);
                    let _ = side.flush();
                    return Ok(Came::Admitted(job));
                }
                JoinStep::Again => return Ok(Came::Forgotten { by: first.key }),
                JoinStep::Compare { .. } | JoinStep::Wait => {}
            }
        }
    }
}

/// Calls a stop at the node at an address, from a device that need not be on its roster. Answers when the stop is
/// in the log there.
///
/// # Errors
/// [`AskFault`]; then it is not known to be logged: shout, signal.
pub async fn call_stop(home: &Home, host: SocketAddr, words: &str) -> Result<DeviceKey, AskFault> {
    let secret = home.device()?;
    let question = write_question(0, join::stop(words))?;
    let answer = ask(&secret.signing_key(), host, None, &question, ASK_WITHIN).await?;
    match read_answer(&answer.bytes)? {
        Answer::Said { messages, .. } if messages.iter().any(|said| is_stop_heard(said)) => {
            Ok(answer.key)
        }
        Answer::Said { .. } | Answer::Wait => Err(AskFault::Form),
    }
}

fn write_question(have: u32, said: Vec<u8>) -> Result<Vec<u8>, AskFault> {
    postcard::to_stdvec(&Question { have, said }).map_err(|_| AskFault::Form)
}

fn read_answer(bytes: &[u8]) -> Result<Answer, AskFault> {
    match postcard::take_from_bytes(bytes) {
        Ok((answer, [])) => Ok(answer),
        _ => Err(AskFault::Form),
    }
}

fn write_answer(answer: &Answer) -> Vec<u8> {
    postcard::to_stdvec(answer).unwrap_or_default()
}

/// What the loop is to do about a question.
#[derive(Debug)]
pub(crate) enum Heard {
    /// Answer these questions.
    Answer(Vec<(AskId, Vec<u8>)>),
    /// Somebody asks to join: what is shown has changed.
    Shown,
    /// A stop: hand it to the engine.
    Stop { key: DeviceKey, words: String },
    /// Nothing.
    Nothing,
}

struct Attempt {
    hosting: Hosting,
    /// Somebody said no, and why: kept, as the answer may be lost, until it knocks again or has gone.
    refused: Option<String>,
    shown: Option<JoinRequest>,
    waiting: Vec<(AskId, u32)>,
    number: u64,
    /// Rounds of [`Hosts::ask_again`] in which it did not wait: it has gone.
    silent_rounds: u32,
}

/// Strangers' attempts at this device.
pub(crate) struct Hosts {
    me: DeviceKey,
    attempts: BTreeMap<DeviceKey, Attempt>,
    stops: BTreeMap<DeviceKey, Vec<AskId>>,
    /// Keys that have been admitted, so far as the engine has said whom to talk to.
    admitted: Vec<DeviceKey>,
    next_number: u64,
}

impl Hosts {
    pub(crate) fn new(me: DeviceKey) -> Self {
        Self {
            me,
            attempts: BTreeMap::new(),
            stops: BTreeMap::new(),
            admitted: Vec::new(),
            next_number: 0,
        }
    }

    /// Devices that ask to join, the oldest first.
    pub(crate) fn waiting(&self) -> Vec<JoinRequest> {
        let mut all: Vec<&Attempt> = self
            .attempts
            .iter()
            .filter(|(key, attempt)| !self.admitted.contains(key) && attempt.refused.is_none())
            .map(|(_, attempt)| attempt)
            .collect();
        all.sort_by_key(|attempt| attempt.number);
        all.iter()
            .filter_map(|attempt| attempt.shown.clone())
            .collect()
    }

    /// A stranger's question.
    pub(crate) fn hear(
        &mut self,
        graph: &Graph,
        ask: AskId,
        key: DeviceKey,
        address: SocketAddr,
        bytes: &[u8],
    ) -> Heard {
        let Ok((Question { have, said }, [])) = postcard::take_from_bytes(bytes) else {
            return answer_one(ask, vec![join::answer_to(&BadJoin::Encoding)]);
        };
        match self.hear_said(key, &said) {
            Ok(HostStep::Send(bytes)) => answer_one(ask, vec![bytes]),
            Ok(HostStep::Stop { words }) => {
                let asks = self.stops.entry(key).or_default();
                asks.push(ask);
                if asks.len() > WAITING_MAX {
                    asks.remove(0);
                }
                Heard::Stop { key, words }
            }
            Ok(HostStep::Compare { person, words }) => {
                let Some(attempt) = self.attempts.get_mut(&key) else {
                    return Heard::Nothing;
                };
                if self.admitted.contains(&key)
                    && let Some(answer) = log_from(graph, &key, have)
                {
                    return Heard::Answer(vec![(ask, answer)]);
                }
                if let Some(why) = &attempt.refused {
                    return answer_one(ask, vec![join::refuse(why)]);
                }
                attempt.waiting.push((ask, have));
                if attempt.waiting.len() > WAITING_MAX {
                    attempt.waiting.remove(0);
                }
                let request = JoinRequest {
                    device: key,
                    person,
                    address,
                    words: words.to_string(),
                };
                if attempt.shown.as_ref() == Some(&request) {
                    return Heard::Nothing;
                }
                attempt.shown = Some(request);
                Heard::Shown
            }
            Err(bad) => answer_one(ask, vec![join::answer_to(&bad)]),
        }
    }

    /// The next message of an attempt; a knock begins a new one.
    fn hear_said(&mut self, key: DeviceKey, said: &[u8]) -> Result<HostStep, BadJoin> {
        if let Some(attempt) = self.attempts.get_mut(&key) {
            match attempt.hosting.hear(said) {
                Err(BadJoin::OutOfTurn) => {}
                other => return other,
            }
        }
        let mut nonce = [0; 32];
        // Without random numbers nobody can compare words: who knocks is told that it is out of turn, and gives up.
        getrandom::fill(&mut nonce).map_err(|_| BadJoin::OutOfTurn)?;
        let mut hosting = Hosting::new(self.me, key, nonce);
        let step = hosting.hear(said)?;
        if let HostStep::Send(_) = step {
            self.make_room();
            self.attempts.insert(
                key,
                Attempt {
                    hosting,
                    refused: None,
                    shown: None,
                    waiting: Vec::new(),
                    number: self.next_number,
                    silent_rounds: 0,
                },
            );
            self.next_number += 1;
        }
        Ok(step)
    }

    fn make_room(&mut self) {
        while self.attempts.len() >= ATTEMPTS_MAX {
            let oldest = self
                .attempts
                .iter()
                .min_by_key(|(_, attempt)| attempt.number)
                .map(|(key, _)| *key);
            match oldest {
                Some(key) => drop(self.attempts.remove(&key)),
                None => return,
            }
        }
    }

    /// The engine said whom to talk to: who was admitted gets the log.
    pub(crate) fn admitted(&mut self, graph: &Graph, keys: &[DeviceKey]) -> Vec<(AskId, Vec<u8>)> {
        self.admitted = keys.to_vec();
        let mut answers = Vec::new();
        for (key, attempt) in &mut self.attempts {
            if !keys.contains(key) {
                continue;
            }
            for (ask, have) in attempt.waiting.drain(..) {
                if let Some(answer) = log_from(graph, key, have) {
                    answers.push((ask, answer));
                }
            }
        }
        answers
    }

    /// A person said no. Who waits hears it now, who is between two questions with the next one. `None`: it had not
    /// asked.
    pub(crate) fn refuse(&mut self, key: &DeviceKey, why: &str) -> Option<Vec<(AskId, Vec<u8>)>> {
        let attempt = self.attempts.get_mut(key)?;
        if attempt.refused.is_some() {
            return None;
        }
        attempt.refused = Some(why.to_owned());
        let waiting = core::mem::take(&mut attempt.waiting);
        let no = write_answer(&Answer::Said {
            messages: vec![join::refuse(why)],
            more: false,
        });
        Some(
            waiting
                .into_iter()
                .map(|(ask, _)| (ask, no.clone()))
                .collect(),
        )
    }

    /// A stranger's stop is logged.
    pub(crate) fn stop_heard(&mut self, key: &DeviceKey) -> Vec<(AskId, Vec<u8>)> {
        let heard = write_answer(&Answer::Said {
            messages: vec![stop_heard()],
            more: false,
        });
        self.stops
            .remove(key)
            .unwrap_or_default()
            .into_iter()
            .map(|ask| (ask, heard.clone()))
            .collect()
    }

    /// Questions that have waited long enough to be told to ask again, all at once. Who does not is forgotten.
    pub(crate) fn ask_again(&mut self) -> Vec<(AskId, Vec<u8>)> {
        let wait = write_answer(&Answer::Wait);
        self.attempts.retain(|_, attempt| {
            attempt.silent_rounds = if attempt.waiting.is_empty() {
                attempt.silent_rounds + 1
            } else {
                0
            };
            attempt.silent_rounds <= SILENT_ROUNDS_MAX
        });
        self.attempts
            .values_mut()
            .flat_map(|attempt| attempt.waiting.drain(..))
            .map(|(ask, _)| (ask, wait.clone()))
            .collect()
    }
}

fn answer_one(ask: AskId, messages: Vec<Vec<u8>>) -> Heard {
    let answer = write_answer(&Answer::Said {
        messages,
        more: false,
    });
    Heard::Answer(vec![(ask, answer)])
}

/// Messages of the log from the `have`-th on, as many as fit; `None`: it is not admitted in this log.
fn log_from(graph: &Graph, key: &DeviceKey, have: u32) -> Option<Vec<u8>> {
    let all = log_for(graph, key)?;
    let mut rest = all.into_iter().skip(usize::try_from(have).ok()?).peekable();
    let mut messages = Vec::new();
    let mut bytes = 0;
    while bytes < ANSWER_MAX_BYTES
        && let Some(message) = rest.next()
    {
        bytes += message.len();
        messages.push(message);
    }
    let more = rest.peek().is_some();
    Some(write_answer(&Answer::Said { messages, more }))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use ed25519_zebra::SigningKey;
    use gantline_protocol::log::author::Author;
    use gantline_protocol::log::entry::{Admit, Body, Found};
    use gantline_protocol::log::sign::verify;
    use gantline_protocol::plan;
    use gantline_protocol::time::WallClock;

    fn person(name: &str) -> Person {
        Person::try_from(name).unwrap()
    }

    /// A job's graph, founded by `host`.
    fn job(host: &Author) -> Graph {
        let found = Found {
            plan: plan::parse("small", plan::SMALL).unwrap(),
            person: person("Supervisor"),
            roles: Vec::new(),
            continues: None,
            nonce: [1; 16],
        };
        let mut graph = Graph::new();
        let body = Body::Found(Box::new(found));
        say(&mut graph, host, JobId::UNFOUNDED, body);
        graph
    }

    fn say(graph: &mut Graph, author: &Author, job: JobId, body: Body) {
        let entry = author.next(graph, WallClock(1), job, body).unwrap();
        graph.insert(verify(entry).unwrap()).unwrap();
    }

    fn messages(answers: Vec<(AskId, Vec<u8>)>) -> Vec<Vec<u8>> {
        let [(_, answer)] = &answers[..] else {
            panic!("{} answers", answers.len());
        };
        match read_answer(answer).unwrap() {
            Answer::Said { messages, .. } => messages,
            Answer::Wait => Vec::new(),
        }
    }

    #[test]
    fn a_stranger_sees_words_waits_and_gets_the_log_when_it_is_admitted() {
        let host = Author::new(SigningKey::from([1; 32]));
        let guest = Author::new(SigningKey::from([2; 32]));
        let mut graph = job(&host);
        let founding = graph.iter().next().unwrap();
        let id = JobId::from(graph.hash(founding));
        let mut hosts = Hosts::new(host.device());
        let address = SocketAddr::from(([192, 0, 2, 1], 4433));
        let put = |hosts: &mut Hosts, graph: &Graph, said: &[u8]| {
            let question = write_question(0, said.to_vec()).unwrap();
            hosts.hear(graph, AskId(1), guest.device(), address, &question)
        };

        let (mut joining, knock) =
            Joining::new(guest.device(), host.device(), person("Ground"), [9; 32]);
        let Heard::Answer(answers) = put(&mut hosts, &graph, &knock) else {
            panic!("a knock is answered");
        };
        let here = messages(answers).remove(0);
        let JoinStep::Compare { words, send } = joining.hear(&here).unwrap() else {
            panic!("words are shown");
        };
        assert!(hosts.waiting().is_empty(), "nothing to compare yet");
        assert!(matches!(put(&mut hosts, &graph, &send), Heard::Shown));
        assert_eq!(hosts.waiting()[0].words, words.to_string());

        // Not yet: told to ask again; the second time nothing new is shown.
        assert!(messages(hosts.ask_again()).is_empty());
        assert!(matches!(put(&mut hosts, &graph, &send), Heard::Nothing));

        let admit = Admit {
            device: guest.device(),
            person: person("Ground"),
            roles: Vec::new(),
            replaces: None,
        };
        say(&mut graph, &host, id, Body::Admit(admit));
        let mut ready = false;
        for message in messages(hosts.admitted(&graph, &[guest.device()])) {
            if let JoinStep::Ready { job, journal } = joining.hear(&message).unwrap() {
                assert_eq!((job, journal.len()), (id, 2));
                ready = true;
            }
        }
        assert!(ready);
        assert!(hosts.waiting().is_empty(), "who is admitted waits no more");
    }

    #[test]
    fn a_stranger_that_was_refused_or_sends_wild_bytes_is_told_and_gets_nothing() {
        let host = Author::new(SigningKey::from([1; 32]));
        let guest = DeviceKey([3; 32]);
        let graph = job(&host);
        let mut hosts = Hosts::new(host.device());
        let address = SocketAddr::from(([192, 0, 2, 1], 4433));
        for wild in [vec![], vec![1], vec![0, 4, 9, 9, 9, 9], vec![255; 4000]] {
            let heard = hosts.hear(&graph, AskId(1), guest, address, &wild);
            let Heard::Answer(answers) = heard else {
                panic!("{heard:?}");
            };
            let said = messages(answers).remove(0);
            let (mut joining, _) = Joining::new(guest, host.device(), person("Ground"), [9; 32]);
            let bad = joining.hear(&said).unwrap_err();
            assert!(
                matches!(bad, BadJoin::NotUnderstood | BadJoin::OutOfTurn),
                "{bad:?}"
            );
        }
        assert!(hosts.waiting().is_empty());
        assert!(hosts.refuse(&guest, "no").is_none(), "it had not asked");
    }

    #[test]
    fn a_no_is_kept_for_who_was_between_two_questions_and_a_restarted_host_is_asked_anew() {
        let host = Author::new(SigningKey::from([1; 32]));
        let guest = DeviceKey([3; 32]);
        let graph = job(&host);
        let address = SocketAddr::from(([192, 0, 2, 1], 4433));
        let ask = |hosts: &mut Hosts, said: &[u8]| {
            let question = write_question(0, said.to_vec()).unwrap();
            hosts.hear(&graph, AskId(1), guest, address, &question)
        };
        let compare = |hosts: &mut Hosts| {
            let (mut joining, knock) =
                Joining::new(guest, host.device(), person("Ground"), [9; 32]);
            let Heard::Answer(answers) = ask(hosts, &knock) else {
                panic!("a knock is answered");
            };
            match joining.hear(&messages(answers)[0]).unwrap() {
                JoinStep::Compare { send, .. } => (joining, send),
                other => panic!("{other:?}"),
            }
        };
        let mut hosts = Hosts::new(host.device());
        let (mut joining, send) = compare(&mut hosts);
        assert!(matches!(ask(&mut hosts, &send), Heard::Shown));
        hosts.ask_again();
        // It is between two questions now.
        assert_eq!(hosts.refuse(&guest, "not today"), Some(Vec::new()));
        assert!(hosts.waiting().is_empty() && hosts.refuse(&guest, "no").is_none());
        // The answer may be lost: it is said as often as it is asked for.
        for _ in 0..2 {
            let Heard::Answer(answers) = ask(&mut hosts, &send) else {
                panic!("a no is said at once");
            };
            let no = joining.hear(&messages(answers)[0]).unwrap_err();
            let why = "not today".to_owned();
            assert_eq!(no, BadJoin::Refused { why });
        }
        // Who knocks again asks again.
        let (mut joining, send) = compare(&mut hosts);
        assert!(matches!(ask(&mut hosts, &send), Heard::Shown));

        let mut restarted = Hosts::new(host.device());
        let Heard::Answer(answers) = ask(&mut restarted, &send) else {
            panic!("it is told at once");
        };
        let again = joining.hear(&messages(answers)[0]).unwrap();
        assert!(matches!(again, JoinStep::Again), "{again:?}");
        let (_, send) = compare(&mut restarted);
        assert!(matches!(ask(&mut restarted, &send), Heard::Shown));
    }

    #[test]
    fn attempts_are_bounded_and_the_silent_ones_forgotten() {
        let host = Author::new(SigningKey::from([1; 32]));
        let graph = job(&host);
        let mut hosts = Hosts::new(host.device());
        let address = SocketAddr::from(([192, 0, 2, 1], 4433));
        for n in 0..100 {
            let guest = DeviceKey([n; 32]);
            let (_, knock) = Joining::new(guest, host.device(), person("Ground"), [9; 32]);
            let question = write_question(0, knock).unwrap();
            hosts.hear(&graph, AskId(1), guest, address, &question);
        }
        assert_eq!(hosts.attempts.len(), ATTEMPTS_MAX);
        for _ in 0..=SILENT_ROUNDS_MAX {
            assert!(hosts.ask_again().is_empty());
        }
        assert!(hosts.attempts.is_empty());
    }

    #[test]
    fn a_strangers_stop_is_handed_on_and_answered_when_it_is_logged() {
        let host = Author::new(SigningKey::from([1; 32]));
        let graph = job(&host);
        let guest = DeviceKey([3; 32]);
        let mut hosts = Hosts::new(host.device());
        let address = SocketAddr::from(([192, 0, 2, 1], 4433));
        let question = write_question(0, join::stop("the sling slips")).unwrap();
        let heard = hosts.hear(&graph, AskId(4), guest, address, &question);
        let Heard::Stop { key, words } = heard else {
            panic!("{heard:?}");
        };
        assert_eq!((key, words.as_str()), (guest, "the sling slips"));
        let said = messages(hosts.stop_heard(&guest)).remove(0);
        assert!(is_stop_heard(&said));
        assert!(hosts.stop_heard(&guest).is_empty(), "answered once");
    }
}
