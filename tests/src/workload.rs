//! Workload: a job log of any length, the same bytes for the same length, to measure with.
//! Owns: nothing.   Gives: `Workload`, its entries in an order in which they can be applied.
//! May use: protocol.   Never: a claim that crews work like this; it is denser than any job.
//!
//! **Crew.** Six devices, number `a` with the key seed `BLAKE3("gantline workload device <a>")`: 0 supervisor
//! and founder, 1 and 2 tower, 3 and 5 ground, 4 observer. The plan has forty steps in a row, each with a
//! check `so` (confirmed by one role, the roles taking turns) and a check `value` (measured, same role).
//! 17 entries found the job, admit, accept and brief everyone; each of them has seen all before it.
//!
//! **Entries.** Then `n` more, entry `i` by device `i mod 6`, drawn from one row of numbers (SplitMix64 from
//! [`SEED`]), in this order: lag 0 to 5, jitter 0 to 199, kind 0 to 99, back 0 to 2, then what the kind asks.
//! Device `a` at entry `i` has seen its own entries and all with an index below `i − lag`; heads follow from
//! that. Stamp: 250 ms an entry and the jitter. Of twelve entries the first is a note that the next step
//! begins (text of 35 to 90 letters); of the rest 70 in 100 acknowledge `so` of the step of the moment less
//! `back` (text of 20 to 60), 20 acknowledge its `value` (text of 28 to 80), 5 cannot confirm (40 to 110) and
//! 5 are notes (40 to 110). After the last step it begins with the first again.
//!
//! **Evidence.** An acknowledgement carries, for each of the other five devices, a proof of life of 0 to
//! 400 ms, and what that device held then: its own entries and all below `i −` a lag drawn for it alike; and
//! the age of the observer's newest entry seen, on which the condition *observer in place* rests.

use gantline_protocol::bounds::FORMAT_VERSION;
use gantline_protocol::decimal::Decimal;
use gantline_protocol::ids::{BadId, DeviceKey, EntryHash, JobId, RoleId};
use gantline_protocol::log::author::{Author, CannotWrite};
use gantline_protocol::log::entry::{
    Acknowledge, Admit, Body, Briefed, Cannot, ConditionAge, Content, Evidence, Found, Note,
    NoteKind, Proof, Said,
};
use gantline_protocol::log::wire::Entry;
use gantline_protocol::plan::{
    Check, Condition, ConditionKind, Expects, Lasts, Limit, Line, Plan, Role, Step, Times, Units,
    Who,
};
use gantline_protocol::time::{Stamp, WallClock};
use gantline_sim::rng::Rng;

/// Devices in the crew.
pub const DEVICES: usize = 6;
/// Steps of the plan.
pub const STEPS: usize = 40;
/// Entries before the drawn ones: one founds, five admit, five accept, six brief.
pub const FIRST_ENTRIES: usize = 17;
/// Where the row of numbers starts.
pub const SEED: u64 = 0x6c69_7665_6c69_6e65;

const START_MS: u64 = 1_764_000_000_000;
const ROLES: [&str; DEVICES] = [
    "supervisor",
    "tower",
    "tower",
    "ground",
    "observer",
    "ground",
];
const CONDITION: &str = "observer-in-place";

const WORDS: [&str; 64] = [
    "pole", "string", "cradle", "boom", "mast", "yoke", "clamp", "shoe", "link", "bell", "ring",
    "pin", "cotter", "sling", "block", "rope", "hoist", "strain", "load", "line", "wire", "arm",
    "leg", "bridge", "ladder", "stick", "saddle", "wrench", "glove", "cover", "tension", "slack",
    "take", "hold", "clear", "ready", "slow", "easy", "up", "down", "left", "right", "inside",
    "outside", "near", "far", "first", "second", "third", "upper", "lower", "north", "south",
    "truck", "ground", "tower", "wind", "dry", "clean", "tested", "checked", "set", "fixed",
    "carried",
];

/// A job log.
#[derive(Debug)]
pub struct Workload {
    /// All entries, each after its whole past.
    pub entries: Vec<Entry>,
    /// The devices, by number.
    pub devices: [DeviceKey; DEVICES],
    /// The job.
    pub job: JobId,
}

/// Why a workload cannot be made: a mistake in this file.
#[derive(Debug, thiserror::Error)]
pub enum BadWorkload {
    /// A name that is none.
    #[error(transparent)]
    Name(#[from] BadId),
    /// An entry over a bound.
    #[error(transparent)]
    Write(#[from] CannotWrite),
    /// A number out of range.
    #[error("a number of the workload is out of range")]
    Number(#[from] core::num::TryFromIntError),
}

impl Workload {
    /// The founding entries and `n` more.
    ///
    /// # Errors
    /// [`BadWorkload`], never for a length that fits in memory.
    pub fn new(n: usize) -> Result<Self, BadWorkload> {
        let mut writer = Writer::new();
        writer.found()?;
        for index in 0..n {
            writer.draw_entry(index)?;
        }
        Ok(Self {
            devices: core::array::from_fn(|number| writer.authors[number].device()),
            job: writer.job,
            entries: writer.entries,
        })
    }

    /// Bytes of all entries as signed.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.entries.iter().map(|entry| entry.bytes.len()).sum()
    }
}

/// What the secret key of a device is made of.
#[must_use]
pub fn key_seed(number: usize) -> [u8; 32] {
    *blake3::hash(format!("gantline workload device {number}").as_bytes()).as_bytes()
}

/// How many entries of each device.
type Counts = [u32; DEVICES];

struct Writer {
    authors: [Author; DEVICES],
    job: JobId,
    entries: Vec<Entry>,
    /// For each entry what its author had then seen, itself included.
    seen: Vec<Counts>,
    /// For each device its entries, as places in `entries`.
    chains: [Vec<usize>; DEVICES],
    draw: Rng,
}

impl Writer {
    fn new() -> Self {
        Self {
            authors: core::array::from_fn(|number| Author::new(key_seed(number).into())),
            job: JobId::UNFOUNDED,
            entries: Vec::new(),
            seen: Vec::new(),
            chains: Default::default(),
            draw: Rng::new(SEED),
        }
    }

    fn range(&mut self, least: u64, most: u64) -> u64 {
        self.draw.between(least, most)
    }

    fn text(&mut self, least: u64, most: u64) -> Result<String, BadWorkload> {
        let len = usize::try_from(self.range(least, most))?;
        let mut text = String::new();
        while text.len() < len {
            if !text.is_empty() {
                text.push(' ');
            }
            text.push_str(WORDS[usize::try_from(self.draw.draw() % 64)?]);
        }
        text.truncate(len);
        // A text that is cut after a word would end in a space, which no person types.
        Ok(text.trim_end().to_owned())
    }

    /// The newest entry of each device among the first `upto`, as counts.
    fn below(&self, upto: usize) -> Counts {
        core::array::from_fn(|number| {
            u32::try_from(self.chains[number].partition_point(|&place| place < upto)).unwrap_or(0)
        })
    }

    fn place(&self, number: usize, count: u32) -> Option<usize> {
        let at = usize::try_from(count.checked_sub(1)?).ok()?;
        self.chains[number].get(at).copied()
    }

    /// Writes an entry of a device that has seen its own and all of the first `upto` entries.
    fn write(
        &mut self,
        number: usize,
        upto: usize,
        ms: u64,
        counter: u64,
        body: Body,
    ) -> Result<(), BadWorkload> {
        let mut past = self.below(upto);
        let own = u32::try_from(self.chains[number].len())?;
        let before = self.place(number, own);
        if let Some(before) = before {
            join(&mut past, &self.seen[before]);
        }
        past[number] = own;
        let newest: Vec<(usize, usize)> = (0..DEVICES)
            .filter(|&other| other != number)
            .filter_map(|other| Some((other, self.place(other, past[other])?)))
            .collect();
        let mut heads: Vec<EntryHash> = newest
            .iter()
            .filter(|&&(other, place)| {
                let in_past = |of: usize| of != place && self.seen[of][other] >= past[other];
                !before.is_some_and(in_past) && !newest.iter().any(|&(_, of)| in_past(of))
            })
            .map(|&(_, place)| self.entries[place].hash)
            .collect();
        heads.sort_unstable();
        let entry = self.authors[number].sign(Content {
            version: FORMAT_VERSION,
            job: self.job,
            author: self.authors[number].device(),
            seq: own,
            prev: before.map_or(EntryHash::NONE, |place| self.entries[place].hash),
            heads,
            stamp: Stamp(ms << 16 | counter),
            wall: WallClock(i64::try_from(ms)?),
            body,
        })?;
        past[number] += 1;
        self.chains[number].push(self.entries.len());
        self.seen.push(past);
        self.entries.push(entry);
        Ok(())
    }

    fn found(&mut self) -> Result<(), BadWorkload> {
        let person = |number: usize| format!("Caller {number}").try_into();
        let role = |number: usize| RoleId::try_from(ROLES[number]);
        let mut at = START_MS - 60_000;
        let mut say = |this: &mut Self, number, body| {
            at += 1_000;
            this.write(number, this.entries.len(), at, 0, body)
        };
        let found = Found {
            plan: plan()?,
            person: person(0)?,
            roles: vec![role(0)?],
            continues: None,
            nonce: [0; 16],
        };
        say(self, 0, Body::Found(Box::new(found)))?;
        self.job = self.entries[0].hash.into();
        for number in 1..DEVICES {
            let admit = Admit {
                device: self.authors[number].device(),
                person: person(number)?,
                roles: vec![role(number)?],
                replaces: None,
            };
            say(self, 0, Body::Admit(admit))?;
        }
        for number in 1..DEVICES {
            say(self, number, Body::Accept)?;
        }
        for number in 0..DEVICES {
            say(self, number, Body::Briefed(Briefed { version: 0 }))?;
        }
        Ok(())
    }

    fn draw_entry(&mut self, index: usize) -> Result<(), BadWorkload> {
        let number = index % DEVICES;
        let lag = self.range(0, 5);
        let jitter = self.range(0, 199);
        let kind = self.range(0, 99);
        let back = self.range(0, 2);
        let upto = upto(index, lag)?;
        let now = usize::try_from(back).map_or(0, |back| (index / 12).saturating_sub(back));
        let step = format!("P{:02}", now % STEPS + 1);
        let body = if index.is_multiple_of(12) {
            let begins = self.text(35, 90)?;
            note(format!("P{:02} begins {begins}", index / 12 % STEPS + 1))
        } else if kind < 90 {
            let (check, said, change) = if kind < 70 {
                ("so", Said::Yes, self.text(20, 60)?)
            } else {
                let digits = i64::try_from(self.range(0, 4_000))?;
                let value = Decimal::new(digits, 2).unwrap_or(Decimal::ZERO);
                let unit = "m".to_owned();
                ("value", Said::Value { value, unit }, self.text(28, 80)?)
            };
            Body::Acknowledge(Acknowledge {
                step: step.try_into()?,
                check: check.try_into()?,
                version: 0,
                said,
                change: Some(change),
                evidence: self.evidence(index, number, upto)?,
            })
        } else if kind < 95 {
            Body::Cannot(Cannot {
                step: step.try_into()?,
                check: "so".try_into()?,
                why: self.text(40, 110)?,
            })
        } else {
            note(self.text(40, 110)?)
        };
        let ms = START_MS + 250 * u64::try_from(index)? + jitter;
        self.write(number, upto, ms, u64::try_from(index % 4)?, body)
    }

    fn evidence(
        &mut self,
        index: usize,
        number: usize,
        upto_here: usize,
    ) -> Result<Evidence, BadWorkload> {
        let mut past = self.below(upto_here);
        let own = u32::try_from(self.chains[number].len())?;
        if let Some(before) = self.place(number, own) {
            join(&mut past, &self.seen[before]);
        }
        past[number] = own;
        let mut proofs = Vec::with_capacity(DEVICES - 1);
        for other in (0..DEVICES).filter(|&other| other != number) {
            let age_ms = u32::try_from(self.range(0, 400))?;
            let lag = self.range(0, 5);
            let mut held = self.below(upto(index, lag)?);
            held[other] = held[other].max(past[other]);
            let behind = (0..DEVICES)
                .filter(|&of| held[of] < past[of])
                .map(|of| (self.authors[of].device().tag(), past[of] - held[of]))
                .collect();
            proofs.push(Proof {
                device: self.authors[other].device().tag(),
                age_ms,
                behind,
            });
        }
        let mut conditions = Vec::new();
        if let Some(place) = self.place(4, past[4]) {
            let entries_ago = (FIRST_ENTRIES + index).saturating_sub(place);
            conditions.push(ConditionAge {
                condition: CONDITION.try_into()?,
                entry: self.entries[place].hash,
                age_ms: 250 * u64::try_from(entries_ago)?,
                since_out_ms: None,
            });
        }
        Ok(Evidence { proofs, conditions })
    }
}

/// How many of the entries a device with this lag has seen at entry `index`.
fn upto(index: usize, lag: u64) -> Result<usize, BadWorkload> {
    Ok(FIRST_ENTRIES + index.saturating_sub(usize::try_from(lag)?))
}

fn join(past: &mut Counts, other: &Counts) {
    for (count, theirs) in past.iter_mut().zip(other) {
        *count = (*count).max(*theirs);
    }
}

fn note(text: String) -> Body {
    Body::Note(Note {
        text,
        about: None,
        kind: NoteKind::Plain,
    })
}

fn plan() -> Result<Plan, BadWorkload> {
    let turns = ["tower", "ground", "observer"];
    let step_id = |number: usize| format!("P{number:02}").try_into();
    let mut steps = Vec::with_capacity(STEPS);
    for number in 1..=STEPS {
        let who = Who::Roles(vec![turns[number % turns.len()].try_into()?]);
        let check = |id: &str, text: &str, expects| -> Result<Check, BadWorkload> {
            Ok(Check {
                id: id.try_into()?,
                text: text.to_owned(),
                who: who.clone(),
                expects,
                lasts: Lasts::Job,
            })
        };
        let measured = Expects::Measured {
            limit: "clearance".try_into()?,
        };
        steps.push(Step {
            id: step_id(number)?,
            title: format!("Step {number}"),
            text: "As the one before.".to_owned(),
            after: if number == 1 {
                Vec::new()
            } else {
                vec![step_id(number - 1)?]
            },
            hold_point: false,
            critical: false,
            if_held: "Keep the load on the poles.".to_owned(),
            safe_to_leave: false,
            needs: Vec::new(),
            sets: Vec::new(),
            items: Vec::new(),
            moves: Vec::new(),
            checks: vec![
                check("so", "It is so", Expects::Yes)?,
                check("value", "Clearance", measured)?,
            ],
        });
    }
    let mut roles = Vec::new();
    for (id, least, most) in [
        ("supervisor", 1, 1),
        ("observer", 1, 1),
        ("tower", 2, 2),
        ("ground", 1, 2),
    ] {
        roles.push(Role {
            id: id.try_into()?,
            title: id.to_owned(),
            least,
            most,
            not_with: Vec::new(),
            aloft: id == "tower",
        });
    }
    Ok(Plan {
        title: "Workload".to_owned(),
        line: Line {
            name: "A to B".to_owned(),
            voltage_kv: Decimal::whole(230),
            circuit: "1".to_owned(),
            phase: "A".to_owned(),
            structure: "17".to_owned(),
            string: "suspension".to_owned(),
            terminals: Vec::new(),
            order: None,
            data: Vec::new(),
            words: Vec::new(),
        },
        units: Units::Si,
        cautions: Vec::new(),
        briefing: Vec::new(),
        roles,
        agree_by: vec!["observer".try_into()?, "tower".try_into()?],
        limits: vec![Limit {
            id: "clearance".try_into()?,
            title: "Clearance".to_owned(),
            unit: "m".to_owned(),
            least: Some(Decimal::whole(2)),
            most: None,
            places: 2,
            source: "invented for measuring".to_owned(),
            computed: None,
        }],
        conditions: vec![Condition {
            id: CONDITION.try_into()?,
            title: "Observer in place".to_owned(),
            owners: vec!["observer".try_into()?],
            kind: ConditionKind::Presence,
            valid_s: 300,
            stable_s: 0,
            covers: Vec::new(),
            lasts: Lasts::Job,
        }],
        items: Vec::new(),
        marks: Vec::new(),
        steps,
        never: Vec::new(),
        times: Times {
            watch_limit_ms: 4_000,
            lost_after_ms: 10_000,
            ready_valid_s: 30,
            press_ms: 1_000,
        },
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use gantline_protocol::log::graph::Graph;
    use gantline_protocol::log::sign::verify_batch;

    #[test]
    fn it_is_a_job_and_a_longer_one_starts_with_a_shorter_one() {
        let workload = Workload::new(600).unwrap();
        let shorter = Workload::new(100).unwrap();
        assert_eq!(workload.entries[..FIRST_ENTRIES + 100], shorter.entries);
        let (good, bad) = verify_batch(workload.entries.clone());
        assert_eq!(bad, []);
        let mut graph = Graph::new();
        for verified in good {
            graph.insert(verified).unwrap();
        }
        assert_eq!(graph.len(), FIRST_ENTRIES + 600);
        let heads: usize = workload.entries[FIRST_ENTRIES..]
            .iter()
            .map(|entry| entry.content.heads.len())
            .sum();
        assert!(
            (1_200..1_500).contains(&heads),
            "{heads} heads in 600 entries"
        );
        // No head is in the past of another, or of the entry before: what an author would write.
        for entry in &workload.entries {
            let ix = graph.find(&entry.hash).unwrap();
            let find = |hash| graph.find(hash);
            let heads: Vec<_> = entry.content.heads.iter().filter_map(find).collect();
            let after: Vec<_> = heads
                .iter()
                .copied()
                .chain(find(&entry.content.prev))
                .collect();
            for &head in &heads {
                assert!(
                    !after.iter().any(|&other| graph.before(head, other)),
                    "{ix:?}"
                );
            }
        }
    }
}
