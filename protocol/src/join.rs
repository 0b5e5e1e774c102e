//! Join: how a device that nobody knows comes onto the job, and how people make sure that it is the one.
//! Owns: one attempt, on either side.   Gives: the short words on both screens, the log for the new device.
//! May use: ids, log, bounds.   Never: who may be admitted (gate: ADMIT is the supervisor's), sockets.
//!
//! Both screens show the same six words; one person reads them out, the other compares. The words come
//! from both keys and from a random number of each side. The joining side first sends only a hash of its
//! number (a commitment), so that a device in the middle cannot try keys and numbers until both sides
//! happen to show the same words: it has one try in 2^48.
//!
//! Until it is admitted the stranger is told the other's random number and nothing else.

use crate::bounds::{ENTRY_MAX_BYTES, TEXT_MAX_CHARS};
use crate::ids::{DeviceKey, JobId, Person};
use crate::log::entry::Body;
use crate::log::graph::{CannotInsert, EntryIx, Graph};
use crate::log::sign::{self, Verified};
use crate::log::wire::Entry;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

const JOIN_VERSION: u8 = 1;
const WORDS_CONTEXT: &str = "gantline 2026-11-25 admission words, version 1";
const COMMIT_CONTEXT: &str = "gantline 2026-11-25 admission commitment, version 1";
/// Entries in one message to the new device; with the bound of an entry this stays far below a message's.
const LOG_ENTRIES: usize = 32;
/// Most entries that a new device takes from its host before its own engine asks for the rest.
const LOG_MAX_ENTRIES: usize = 200_000;

/// A random number of one attempt, from the driver.
pub type Nonce = [u8; 32];

/// The words on both screens.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Words(pub [&'static str; 6]);

impl core::fmt::Display for Words {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.0.join(" "))
    }
}

/// The words for two devices and their numbers. Which side asks does not matter: each key is hashed beside
/// its own number, the lower key first.
#[must_use]
pub fn words(one: (&DeviceKey, &Nonce), other: (&DeviceKey, &Nonce)) -> Words {
    let (low, high) = if one <= other {
        (one, other)
    } else {
        (other, one)
    };
    let mut hasher = blake3::Hasher::new_derive_key(WORDS_CONTEXT);
    for (key, nonce) in [low, high] {
        hasher.update(&key.0);
        hasher.update(nonce);
    }
    let hash = hasher.finalize();
    Words(core::array::from_fn(|place| {
        WORD_LIST[usize::from(hash.as_bytes()[place])]
    }))
}

fn commitment(nonce: &Nonce) -> [u8; 32] {
    blake3::derive_key(COMMIT_CONTEXT, nonce)
}

/// What the two sides tell each other.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
enum Said {
    /// Joining side: a commitment to its number, and whose device it is.
    Knock { commit: [u8; 32], person: Person },
    /// The rostered side's number.
    Here { nonce: Nonce },
    /// The joining side's number.
    Reveal { nonce: Nonce },
    /// Not admitted.
    Refused { why: String },
    /// Admitted: part of the log, each after its past.
    Log { entries: Vec<Vec<u8>> },
    /// A stop called by a device off the roster; its words.
    Stop { words: String },
    /// The stop is logged.
    StopHeard,
    /// This attempt is not known here, as after a restart: knock anew.
    Again,
    /// What was sent could not be read.
    NotUnderstood,
    /// The number is not the one committed to.
    NotCommitted,
}

/// Why an attempt failed. The connection is closed then.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum BadJoin {
    /// Bytes that are no message of this exchange.
    #[error("the other side sent bytes that are no part of joining")]
    Encoding,
    /// Another version.
    #[error(
        "the other side joins with version {found}, expected {JOIN_VERSION}; update the older device"
    )]
    Version {
        /// Its version.
        found: u8,
    },
    /// A message that has no place here now.
    #[error("the other side sent a message out of turn")]
    OutOfTurn,
    /// The number is not the one committed to: somebody is in the middle, or the other side is broken.
    #[error("the other side's number is not the one it committed to: do not admit it")]
    Commitment,
    /// The other side got another number than the one that this device committed to.
    #[error(
        "the number that reached the other side is not this device's: somebody may stand between; ask again"
    )]
    NotCommitted,
    /// The other side could not read what was sent.
    #[error("the other side does not understand this device; update the older of the two")]
    NotUnderstood,
    /// The supervisor said no.
    #[error("not admitted: {why}")]
    Refused {
        /// Why.
        why: String,
    },
    /// The log that came is not one.
    #[error("the log that came does not hold together at entry {at}: {why}")]
    Log {
        /// Its place in what came.
        at: usize,
        /// What was wrong.
        why: String,
    },
}

fn encode(said: &Said) -> Vec<u8> {
    let mut bytes = vec![JOIN_VERSION];
    bytes.extend(postcard::to_stdvec(said).unwrap_or_default());
    bytes
}

fn decode(bytes: &[u8]) -> Result<Said, BadJoin> {
    match bytes.split_first() {
        Some((&JOIN_VERSION, rest)) => match postcard::take_from_bytes(rest) {
            Ok((said, [])) => Ok(said),
            _ => Err(BadJoin::Encoding),
        },
        Some((&found, _)) => Err(BadJoin::Version { found }),
        None => Err(BadJoin::Encoding),
    }
}

/// What the joining side does next.
#[derive(Debug)]
pub enum JoinStep {
    /// Show the words and send these bytes; then wait for the supervisor.
    Compare {
        /// The words.
        words: Words,
        /// To send.
        send: Vec<u8>,
    },
    /// More is to come.
    Wait,
    /// The host knows nothing of this attempt any longer, as after a restart: begin anew, with a new number and so
    /// with other words.
    Again,
    /// On the job: write these to a new journal, in this order, and open the engine with them.
    Ready {
        /// The job.
        job: JobId,
        /// The log so far, the founding entry first, the own admission in it.
        journal: Vec<Verified>,
    },
}

#[derive(Debug)]
enum At {
    Knocked,
    Compared,
    Done,
}

/// The joining device's side of one attempt.
#[derive(Debug)]
pub struct Joining {
    me: DeviceKey,
    host: DeviceKey,
    nonce: Nonce,
    at: At,
    graph: Graph,
    journal: Vec<Verified>,
}

impl Joining {
    /// Begins; the bytes are to be sent to `host`, whose key the connection has proved.
    #[must_use]
    pub fn new(me: DeviceKey, host: DeviceKey, person: Person, nonce: Nonce) -> (Self, Vec<u8>) {
        let knock = Said::Knock {
            commit: commitment(&nonce),
            person,
        };
        let joining = Self {
            me,
            host,
            nonce,
            at: At::Knocked,
            graph: Graph::new(),
            journal: Vec::new(),
        };
        (joining, encode(&knock))
    }

    /// Takes a message of the host.
    ///
    /// # Errors
    /// [`BadJoin`]; the attempt is over.
    pub fn hear(&mut self, bytes: &[u8]) -> Result<JoinStep, BadJoin> {
        match (&self.at, decode(bytes)?) {
            (At::Knocked, Said::Here { nonce }) => {
                self.at = At::Compared;
                Ok(JoinStep::Compare {
                    words: words((&self.me, &self.nonce), (&self.host, &nonce)),
                    send: encode(&Said::Reveal { nonce: self.nonce }),
                })
            }
            (_, Said::Refused { why }) => Err(BadJoin::Refused { why }),
            (_, Said::NotUnderstood) => Err(BadJoin::NotUnderstood),
            (_, Said::NotCommitted) => Err(BadJoin::NotCommitted),
            (At::Compared, Said::Again) => Ok(JoinStep::Again),
            (At::Compared, Said::Log { entries }) => self.take_log(entries),
            (At::Done, Said::Log { .. }) => Ok(JoinStep::Wait),
            _ => Err(BadJoin::OutOfTurn),
        }
    }

    fn take_log(&mut self, entries: Vec<Vec<u8>>) -> Result<JoinStep, BadJoin> {
        for bytes in entries {
            let at = self.journal.len();
            let wrong = |why: String| BadJoin::Log { at, why };
            if at >= LOG_MAX_ENTRIES {
                return Err(wrong("more entries than any job has".to_owned()));
            }
            let entry = Entry::decode(bytes.into()).map_err(|bad| wrong(bad.to_string()))?;
            let verified = sign::verify(entry).map_err(|bad| wrong(bad.to_string()))?;
            self.graph
                .insert(verified.clone())
                .map_err(|cannot: CannotInsert| wrong(cannot.to_string()))?;
            let admits_me = admits(&verified.entry().content.body, &self.me);
            self.journal.push(verified);
            if admits_me {
                return Ok(self.ready());
            }
        }
        Ok(JoinStep::Wait)
    }

    fn ready(&mut self) -> JoinStep {
        self.at = At::Done;
        let journal = core::mem::take(&mut self.journal);
        match journal.first() {
            Some(founding) => JoinStep::Ready {
                job: founding.entry().hash.into(),
                journal,
            },
            None => JoinStep::Wait,
        }
    }
}

fn admits(body: &Body, device: &DeviceKey) -> bool {
    matches!(body, Body::Admit(admit) if admit.device == *device)
}

/// What the rostered side learns from a stranger.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum HostStep {
    /// Send these bytes.
    Send(Vec<u8>),
    /// Show that this person's device asks to join, with the words to compare.
    Compare {
        /// Whose device it says it is.
        person: Person,
        /// The words.
        words: Words,
    },
    /// It calls a stop: hand it to the engine as a stranger's stop, and answer with [`stop_heard`].
    Stop {
        /// Its words, cut to the bound.
        words: String,
    },
}

/// The rostered device's side of one stranger's attempt.
#[derive(Debug)]
pub struct Hosting {
    me: DeviceKey,
    stranger: DeviceKey,
    nonce: Nonce,
    knock: Option<([u8; 32], Person)>,
}

impl Hosting {
    /// For a stranger whose key the connection has proved. One [`Hosting`] serves one attempt, as its
    /// number must not be used twice.
    #[must_use]
    pub fn new(me: DeviceKey, stranger: DeviceKey, nonce: Nonce) -> Self {
        Self {
            me,
            stranger,
            nonce,
            knock: None,
        }
    }

    /// Takes a message of the stranger.
    ///
    /// # Errors
    /// [`BadJoin`]; the attempt is over.
    pub fn hear(&mut self, bytes: &[u8]) -> Result<HostStep, BadJoin> {
        match (decode(bytes)?, &self.knock) {
            (Said::Stop { words }, _) => Ok(HostStep::Stop {
                words: words.chars().take(TEXT_MAX_CHARS).collect(),
            }),
            (Said::Knock { commit, person }, None) => {
                self.knock = Some((commit, person));
                Ok(HostStep::Send(encode(&Said::Here { nonce: self.nonce })))
            }
            (Said::Reveal { nonce }, Some((commit, person))) => {
                if commitment(&nonce) != *commit {
                    return Err(BadJoin::Commitment);
                }
                Ok(HostStep::Compare {
                    person: person.clone(),
                    words: words((&self.me, &self.nonce), (&self.stranger, &nonce)),
                })
            }
            _ => Err(BadJoin::OutOfTurn),
        }
    }
}

/// The message that a device off the roster calls a stop with.
#[must_use]
pub fn stop(words: &str) -> Vec<u8> {
    encode(&Said::Stop {
        words: words.chars().take(TEXT_MAX_CHARS).collect(),
    })
}

/// The answer to a stranger's stop once it is logged.
#[must_use]
pub fn stop_heard() -> Vec<u8> {
    encode(&Said::StopHeard)
}

/// Whether these bytes say that a stranger's stop is logged.
#[must_use]
pub fn is_stop_heard(bytes: &[u8]) -> bool {
    matches!(decode(bytes), Ok(Said::StopHeard))
}

/// The message that says no.
#[must_use]
pub fn refuse(why: &str) -> Vec<u8> {
    encode(&Said::Refused {
        why: why.chars().take(TEXT_MAX_CHARS).collect(),
    })
}

/// The message to a stranger whose own message was refused, without anybody having said no.
#[must_use]
pub fn answer_to(bad: &BadJoin) -> Vec<u8> {
    encode(&match bad {
        BadJoin::OutOfTurn => Said::Again,
        BadJoin::Commitment | BadJoin::NotCommitted => Said::NotCommitted,
        BadJoin::Refused { why } => Said::Refused { why: why.clone() },
        BadJoin::Encoding
        | BadJoin::Version { .. }
        | BadJoin::NotUnderstood
        | BadJoin::Log { .. } => Said::NotUnderstood,
    })
}

/// The messages that bring an admitted device the log up to its admission, in order; `None` while the
/// graph has no admission of it. The rest it asks for as a crew device.
#[must_use]
pub fn log_for(graph: &Graph, device: &DeviceKey) -> Option<Vec<Vec<u8>>> {
    let admission = graph
        .iter()
        .filter(|&ix| admits(graph.body(ix), device))
        .last()?;
    let needed: Vec<EntryIx> = graph
        .iter()
        .filter(|&ix| ix == admission || graph.before(ix, admission))
        .collect();
    let messages = needed
        .chunks(LOG_ENTRIES)
        .map(|part| {
            let entries = part
                .iter()
                .map(|&ix| {
                    let bytes: &Arc<[u8]> = &graph.entry(ix).bytes;
                    debug_assert!(bytes.len() <= ENTRY_MAX_BYTES);
                    bytes.to_vec()
                })
                .collect();
            encode(&Said::Log { entries })
        })
        .collect();
    Some(messages)
}

/// 256 plain words of the outdoors, none of them a command or a tool of the trade.
const WORD_LIST: [&str; 256] = [
    "acorn", "amber", "ankle", "antler", "apple", "apron", "arrow", "aspen", "atlas", "autumn",
    "badger", "bagel", "bamboo", "banjo", "barley", "basil", "beach", "beaver", "bench", "berry",
    "birch", "bison", "blanket", "bonfire", "boulder", "branch", "breeze", "brick", "bridge",
    "bronze", "brook", "buffalo", "butter", "cabin", "cactus", "camel", "canary", "candle",
    "canyon", "carpet", "carrot", "castle", "cedar", "cellar", "cereal", "chalk", "cherry",
    "chestnut", "chimney", "cinder", "citrus", "clover", "cobalt", "coconut", "comet", "copper",
    "coral", "cotton", "cougar", "coyote", "crater", "cricket", "crimson", "crystal", "cypress",
    "dahlia", "daisy", "dancer", "dawn", "denim", "desert", "diamond", "dolphin", "donkey",
    "dragon", "drum", "dune", "eagle", "easel", "echo", "elbow", "elder", "elephant", "ember",
    "emerald", "evening", "fabric", "falcon", "feather", "fennel", "fern", "fiddle", "finch",
    "flamingo", "flannel", "flint", "forest", "fossil", "fountain", "fox", "freckle", "frost",
    "galaxy", "garden", "garlic", "gazelle", "geyser", "ginger", "giraffe", "glacier", "glove",
    "goblet", "golden", "gorilla", "granite", "grape", "gravel", "guitar", "harbor", "harvest",
    "hazel", "hedge", "heron", "hickory", "hollow", "honey", "hornet", "horse", "iceberg", "igloo",
    "indigo", "iris", "island", "ivory", "jacket", "jaguar", "jasmine", "jelly", "jigsaw",
    "juniper", "kayak", "kettle", "kitten", "koala", "ladybug", "lagoon", "lantern", "laurel",
    "lavender", "leather", "lemon", "leopard", "lilac", "linen", "lizard", "llama", "lobster",
    "locust", "lotus", "lumber", "magnet", "magpie", "mango", "maple", "marble", "meadow", "melon",
    "meteor", "mirror", "mitten", "monsoon", "moose", "morning", "mosaic", "moss", "mountain",
    "muffin", "mustard", "nectar", "needle", "nickel", "noodle", "nutmeg", "oasis", "oatmeal",
    "ocean", "octopus", "olive", "onion", "opal", "orange", "orbit", "orchard", "otter", "owl",
    "oyster", "paddle", "panda", "papaya", "parrot", "peach", "peanut", "pebble", "pelican",
    "pencil", "pepper", "pigeon", "pillow", "pine", "planet", "plum", "pocket", "polar", "pony",
    "poplar", "potato", "prairie", "puffin", "pumpkin", "purple", "quail", "quartz", "quilt",
    "rabbit", "raccoon", "radish", "rainbow", "raven", "reef", "ribbon", "river", "robin",
    "rocket", "rose", "ruby", "saddle", "saffron", "salmon", "sandal", "sapphire", "saturn",
    "scarlet", "seal", "sesame", "shadow", "sierra", "silver", "sparrow", "spinach", "spruce",
    "squash", "sunset", "swan", "tango", "teapot", "thistle",
];

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    const A: DeviceKey = DeviceKey([1; 32]);
    const B: DeviceKey = DeviceKey([2; 32]);

    fn person() -> Person {
        Person::try_from("Ground 2").unwrap()
    }

    #[test]
    fn the_list_has_256_distinct_plain_words() {
        let distinct: std::collections::BTreeSet<&str> = WORD_LIST.iter().copied().collect();
        assert_eq!(distinct.len(), 256);
        for word in WORD_LIST {
            assert!((3..=9).contains(&word.len()) && word.bytes().all(|b| b.is_ascii_lowercase()));
        }
        // No two words begin with the same four letters, so a half-heard word is still one word.
        let starts: std::collections::BTreeSet<&str> = WORD_LIST
            .iter()
            .map(|word| &word[..word.len().min(4)])
            .collect();
        assert_eq!(starts.len(), 256);
    }

    #[test]
    fn both_sides_show_the_same_words_and_any_other_key_or_number_others() {
        let (mut joining, knock) = Joining::new(A, B, person(), [3; 32]);
        let mut hosting = Hosting::new(B, A, [4; 32]);
        let HostStep::Send(here) = hosting.hear(&knock).unwrap() else {
            panic!("the host answers a knock");
        };
        let JoinStep::Compare {
            words: theirs,
            send,
        } = joining.hear(&here).unwrap()
        else {
            panic!("the joining side compares");
        };
        let HostStep::Compare {
            person: who,
            words: ours,
        } = hosting.hear(&send).unwrap()
        else {
            panic!("the host compares");
        };
        assert_eq!((ours, who), (theirs, person()));
        let same = words((&B, &[4; 32]), (&A, &[3; 32]));
        assert_eq!(ours, same);
        assert_ne!(ours, words((&B, &[4; 32]), (&A, &[5; 32])));
        assert_ne!(ours, words((&DeviceKey([9; 32]), &[4; 32]), (&A, &[3; 32])));
    }

    #[test]
    fn a_number_that_was_not_committed_to_is_refused() {
        let (_, knock) = Joining::new(A, B, person(), [3; 32]);
        let mut hosting = Hosting::new(B, A, [4; 32]);
        hosting.hear(&knock).unwrap();
        let other = encode(&Said::Reveal { nonce: [7; 32] });
        assert_eq!(hosting.hear(&other), Err(BadJoin::Commitment));
    }

    #[test]
    fn what_a_host_could_not_take_is_told_to_the_stranger_and_never_as_a_no() {
        let told = |bad: &BadJoin, at: At| {
            let (mut joining, _) = Joining::new(A, B, person(), [3; 32]);
            joining.at = at;
            joining.hear(&answer_to(bad))
        };
        let again = told(&BadJoin::OutOfTurn, At::Compared);
        assert!(matches!(again, Ok(JoinStep::Again)), "{again:?}");
        // Who has just knocked and is told to knock would go round for ever.
        let at_once = told(&BadJoin::OutOfTurn, At::Knocked);
        assert_eq!(at_once.unwrap_err(), BadJoin::OutOfTurn);
        for (bad, heard) in [
            (BadJoin::Commitment, BadJoin::NotCommitted),
            (BadJoin::Encoding, BadJoin::NotUnderstood),
            (BadJoin::Version { found: 9 }, BadJoin::NotUnderstood),
        ] {
            assert_eq!(told(&bad, At::Compared).unwrap_err(), heard);
        }
    }

    #[test]
    fn messages_out_of_turn_and_wild_bytes_are_refused() {
        let (mut joining, knock) = Joining::new(A, B, person(), [3; 32]);
        let early = encode(&Said::Log { entries: vec![] });
        assert_eq!(joining.hear(&early).unwrap_err(), BadJoin::OutOfTurn);
        assert_eq!(joining.hear(&knock).unwrap_err(), BadJoin::OutOfTurn);
        assert_eq!(joining.hear(&[]).unwrap_err(), BadJoin::Encoding);
        assert_eq!(
            joining.hear(&[9]).unwrap_err(),
            BadJoin::Version { found: 9 }
        );
        let mut hosting = Hosting::new(B, A, [4; 32]);
        for len in 0..200_usize {
            let wild: Vec<u8> = (0..len)
                .map(|at| (at * 37 % 251).to_le_bytes()[0])
                .collect();
            assert!(hosting.hear(&wild).is_err());
        }
    }
}
