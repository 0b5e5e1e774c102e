//! Entries: what does an entry of the log say, in one line?
//! Owns: the lines.   Gives: `Words::entry`.
//! May use: protocol's entries.   Never: whether it counts (its verdict says so beside it).

use super::{Words, capital, place, short};
use gantline_protocol::ids::{EntryHash, Person};
use gantline_protocol::log::entry::{
    Body, Change, Finding, NoteKind, Offered, OrderState, Proposal, Said, StopKind,
};

impl Words {
    /// What an entry says.
    #[must_use]
    pub fn entry(&self, body: &Body) -> String {
        match body {
            Body::Found(found) => format!("founds the job: {}", found.plan.title),
            Body::Admit(admit) => {
                let roles = self.list(admit.roles.iter().map(|role| self.role(role)));
                let replaces = if admit.replaces.is_some() {
                    ", in place of another device"
                } else {
                    ""
                };
                format!("admits {} ({roles}){replaces}", admit.person)
            }
            Body::Accept => "takes their place".to_owned(),
            Body::Leave => "leaves the job".to_owned(),
            Body::Briefed(_) => "has had the briefing".to_owned(),
            Body::Acknowledge(ack) => {
                let change = match &ack.change {
                    Some(change) => format!(" (done since: {change})"),
                    None => String::new(),
                };
                format!(
                    "{}: {}{}{change}",
                    capital(&self.step(&ack.step)),
                    self.check(&ack.step, &ack.check),
                    said(&ack.said)
                )
            }
            Body::Cannot(cannot) => format!(
                "cannot confirm {}: {}. {}",
                self.step(&cannot.step),
                self.check(&cannot.step, &cannot.check),
                cannot.why
            ),
            Body::Withdraw(withdraw) => {
                format!("takes back {}: {}", hash(&withdraw.entry), withdraw.why)
            }
            Body::Stop(stop) => {
                let kind = match &stop.kind {
                    StopKind::Work => "STOP WORK".to_owned(),
                    StopKind::AllStop => "ALL STOP".to_owned(),
                    StopKind::Emergency => "EMERGENCY".to_owned(),
                    StopKind::OrderLost => "STOP WORK, the line order is lost".to_owned(),
                    StopKind::Stranger { words, .. } => {
                        format!("STOP WORK, called by an unknown device: {words}")
                    }
                };
                if stop.why.is_empty() {
                    kind
                } else {
                    format!("{kind}: {}", stop.why)
                }
            }
            Body::Heard(_) => "heard the stop".to_owned(),
            Body::Ask(ask) => format!("asks to resume: {}", ask.cause),
            Body::Agree(_) => "agrees".to_owned(),
            Body::Decline(decline) => format!("says no: {}", decline.why),
            Body::Release(_) => "the stop is released".to_owned(),
            Body::Reading(reading) => match reading.value {
                Some(value) => format!(
                    "{}: {value} {}",
                    self.condition(&reading.condition),
                    reading.unit
                ),
                None => format!("{}: seen", self.condition(&reading.condition)),
            },
            Body::Affirm(named) => format!("{}: still so", self.condition(&named.condition)),
            Body::Away(named) => format!("{}: no longer", self.condition(&named.condition)),
            Body::Offer(offer) => match &offer.what {
                Offered::Move { handoff, item, to } => {
                    format!("offers {handoff}: {} to be {}", self.item(item), place(*to))
                }
                Offered::Role { role, .. } => {
                    let to = offer.to.map_or("nobody".to_owned(), |to| self.who(&to));
                    format!("offers the role {} to {to}", self.role(role))
                }
            },
            Body::Ready(ready) if ready.ready => "ready".to_owned(),
            Body::Ready(_) => "no longer ready".to_owned(),
            Body::Take(_) => "takes it".to_owned(),
            Body::Done(_) => "done, it stands".to_owned(),
            Body::StepBack(back) => format!("back to {}: {}", self.step(&back.step), back.why),
            Body::Amend(amend) => {
                let what = self.list(amend.changes.iter().map(changed));
                format!("changes the plan ({what}): {}", amend.why)
            }
            Body::Propose(propose) => match propose.kind {
                Proposal::Remove => {
                    format!("proposes to take {} off the job", self.who(&propose.device))
                }
                Proposal::TakeOver => {
                    format!("proposes to take over from {}", self.who(&propose.device))
                }
            },
            Body::Consent(_) => "consents".to_owned(),
            Body::Seal(_) => "the proposal is carried out".to_owned(),
            Body::Exception(exception) => format!(
                "EXCEPTION for {}, {}: {}; {}; seen by {}",
                self.step(&exception.step),
                self.check(&exception.step, &exception.check),
                exception.what,
                exception.why,
                exception.seen_by
            ),
            Body::Correction(correction) => {
                format!("corrects {}: {}", hash(&correction.entry), correction.text)
            }
            Body::ExitPlan(exit) => {
                let steps = self.list(exit.steps.iter().map(|step| self.step(step)));
                format!("exit plan for {steps}: {}", exit.why)
            }
            Body::MakeSafe(safe) => format!("made safe: {}", safe.text),
            Body::HeadCount(count) => format!("in the clear: {}", people(&count.clear)),
            Body::Identity(read) => format!(
                "read structure {}, circuit {}, phase {}, {}",
                read.structure, read.circuit, read.phase, read.method
            ),
            Body::Scan(scan) => format!("{}: {}", self.item(&scan.item), found(&scan.found)),
            Body::Moved(moved) => format!("{} is {}", self.item(&moved.item), place(moved.to)),
            Body::OrderStatus(order) => {
                let state = match &order.state {
                    OrderState::InEffect => "in effect".to_owned(),
                    OrderState::Lapsed => "lapsed".to_owned(),
                    OrderState::Released => "released".to_owned(),
                    OrderState::ReleasedByOthers { by } => format!("released by {by}"),
                };
                let read_back = if order.read_back { ", read back" } else { "" };
                format!("line order {}: {state}{read_back}", order.order)
            }
            Body::Note(note) => match &note.kind {
                NoteKind::Plain => format!("notes: {}", note.text),
                NoteKind::Late { step, check, .. } => format!(
                    "notes as done earlier: {}: {}. {}",
                    self.step(step),
                    self.check(step, check),
                    note.text
                ),
                NoteKind::Reviewed => format!("has reviewed it: {}", note.text),
                NoteKind::StopReason => format!("says why: {}", note.text),
                NoteKind::ClosesItem { item } => format!("closes the open item {item}"),
                NoteKind::StillSo => "says that things are still so".to_owned(),
                NoteKind::ReliefWanted { role } => {
                    format!("asks to be relieved as {}", self.role(role))
                }
                NoteKind::Mute { key } => format!("mutes the calls of {}", self.who(key)),
                NoteKind::Refused { codes } => {
                    format!(
                        "a press was not recorded: {}",
                        codes.join(", ").replace('_', " ")
                    )
                }
            },
            Body::ClockSample(sample) => format!(
                "clocks of two devices: {} ms apart, within {} ms",
                sample.ahead_ms, sample.doubt_ms
            ),
            Body::Suspend(suspend) => format!(
                "SUSPENDS the job: {}; {} may resume",
                suspend.state, suspend.resume_by
            ),
            Body::ResumeDay(_) => "begins a new day".to_owned(),
            Body::Close(_) => "closes the job".to_owned(),
            Body::Void(void) => format!("voids {}", hash(&void.entry)),
            Body::Unknown { kind } => {
                format!("something that this version does not know (kind {kind})")
            }
        }
    }

    fn list(&self, parts: impl Iterator<Item = String>) -> String {
        parts.collect::<Vec<_>>().join(", ")
    }
}

fn hash(entry: &EntryHash) -> String {
    format!("entry {}", short(&entry.0))
}

fn people(people: &[Person]) -> String {
    let names: Vec<&str> = people.iter().map(Person::as_str).collect();
    names.join(", ")
}

fn said(said: &Said) -> String {
    match said {
        Said::Yes => String::new(),
        Said::Value { value, unit } => format!(" {value} {unit}"),
        Said::Words(words) => format!(" {words}"),
        Said::Identity {
            structure,
            circuit,
            phase,
        } => format!(" {structure} / {circuit} / {phase}"),
        Said::Tally { out, back } => format!(": {out} out, {back} back"),
    }
}

fn found(found: &Finding) -> String {
    match found {
        Finding::Plate {
            test_age_months,
            wiped_today,
            rated_kv,
        } => {
            let mut parts = vec![match test_age_months {
                Some(months) => format!("tested {months} months ago"),
                None => "no record of a test".to_owned(),
            }];
            if let Some(kv) = rated_kv {
                parts.push(format!("rated {kv} kV"));
            }
            if *wiped_today {
                parts.push("wiped and inspected today".to_owned());
            }
            parts.join(", ")
        }
        Finding::Inspected { good: true } => "inspected, nothing found".to_owned(),
        Finding::Inspected { good: false } => "inspected, something found".to_owned(),
        Finding::OutOfService { why } => format!("set aside: {why}"),
    }
}

fn changed(change: &Change) -> String {
    match change {
        Change::Step(step) => format!("step {}", step.id),
        Change::Limit(limit) => format!("limit {}", limit.id),
        Change::Condition(condition) => format!("condition {}", condition.id),
        Change::Item(item) => format!("item {}", item.id),
        Change::Line(line) => format!("line: structure {}", line.structure),
    }
}
