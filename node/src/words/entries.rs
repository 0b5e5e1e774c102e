//! Entries: what does an entry of the log say, in one line?
//! Owns: nothing.   Gives: `Words::entry`.
//! May use: language, protocol's entries.   Never: whether it counts (its verdict says so beside it); a word of any
//! language.

use super::{EntryWords, Words, fill, short};
use gantline_protocol::ids::{EntryHash, Person};
use gantline_protocol::log::entry::{
    Body, Change, Finding, Note, NoteKind, Offered, OrderState, Proposal, Said, Stop, StopKind,
};

impl Words {
    /// What an entry says.
    #[must_use]
    pub fn entry(&self, body: &Body) -> String {
        let e = self.language.entries;
        let plain = |words: &str| words.to_owned();
        match body {
            Body::Found(found) => fill(e.founds, &[("title", &found.plan.title)]),
            Body::Admit(admit) => {
                let roles = list(admit.roles.iter().map(|role| self.role(role)));
                let words = match admit.replaces {
                    Some(_) => e.admits_in_place,
                    None => e.admits,
                };
                fill(
                    words,
                    &[("person", admit.person.as_str()), ("roles", &roles)],
                )
            }
            Body::Accept => plain(e.accepts),
            Body::Leave => plain(e.leaves),
            Body::Briefed(_) => plain(e.briefed),
            Body::Acknowledge(ack) => {
                let change = match &ack.change {
                    Some(change) => fill(e.done_since, &[("change", change)]),
                    None => String::new(),
                };
                let said = format!("{}{change}", said(e, &ack.said));
                fill(
                    e.acknowledges,
                    &[
                        ("step", &self.step(&ack.step)),
                        ("check", &self.check(&ack.step, &ack.check)),
                        ("said", &said),
                    ],
                )
            }
            Body::Cannot(cannot) => fill(
                e.cannot,
                &[
                    ("step", &self.step(&cannot.step)),
                    ("check", &self.check(&cannot.step, &cannot.check)),
                    ("why", &cannot.why),
                ],
            ),
            Body::Withdraw(withdraw) => fill(
                e.takes_back,
                &[("entry", &hash(e, &withdraw.entry)), ("why", &withdraw.why)],
            ),
            Body::Stop(stop) => stopped(e, stop),
            Body::Heard(_) => plain(e.heard),
            Body::Ask(ask) => fill(e.asks, &[("cause", &ask.cause)]),
            Body::Agree(_) => plain(e.agrees),
            Body::Decline(decline) => fill(e.declines, &[("why", &decline.why)]),
            Body::Release(_) => plain(e.released),
            Body::Reading(reading) => {
                let what = self.condition(&reading.condition);
                match reading.value {
                    Some(value) => format!("{what}: {value} {}", reading.unit),
                    None => fill(e.seen, &[("what", &what)]),
                }
            }
            Body::Affirm(named) => fill(e.still_so, &[("what", &self.condition(&named.condition))]),
            Body::Away(named) => fill(e.no_longer, &[("what", &self.condition(&named.condition))]),
            Body::Offer(offer) => match &offer.what {
                Offered::Move { handoff, item, to } => fill(
                    e.offers,
                    &[
                        ("handoff", handoff.as_str()),
                        ("item", &self.item(item)),
                        ("place", self.place(*to)),
                    ],
                ),
                Offered::Role { role, .. } => {
                    let to = offer.to.map_or(plain(e.nobody), |to| self.who(&to));
                    fill(e.offers_role, &[("role", &self.role(role)), ("who", &to)])
                }
            },
            Body::Ready(ready) if ready.ready => plain(e.ready),
            Body::Ready(_) => plain(e.not_ready),
            Body::Take(_) => plain(e.takes),
            Body::Done(_) => plain(e.done),
            Body::StepBack(back) => fill(
                e.back_to,
                &[("step", &self.step(&back.step)), ("why", &back.why)],
            ),
            Body::Amend(amend) => {
                let what = list(amend.changes.iter().map(|change| changed(e, change)));
                fill(e.amends, &[("what", &what), ("why", &amend.why)])
            }
            Body::Propose(propose) => {
                let words = match propose.kind {
                    Proposal::Remove => e.proposes_removal,
                    Proposal::TakeOver => e.proposes_takeover,
                };
                fill(words, &[("who", &self.who(&propose.device))])
            }
            Body::Consent(_) => plain(e.consents),
            Body::Seal(_) => plain(e.sealed),
            Body::Exception(exception) => fill(
                e.exception,
                &[
                    ("step", &self.step(&exception.step)),
                    ("check", &self.check(&exception.step, &exception.check)),
                    ("what", &exception.what),
                    ("why", &exception.why),
                    ("who", exception.seen_by.as_str()),
                ],
            ),
            Body::Correction(correction) => fill(
                e.corrects,
                &[
                    ("entry", &hash(e, &correction.entry)),
                    ("text", &correction.text),
                ],
            ),
            Body::ExitPlan(exit) => {
                let steps = list(exit.steps.iter().map(|step| self.step(step)));
                fill(e.exit_plan, &[("steps", &steps), ("why", &exit.why)])
            }
            Body::MakeSafe(safe) => fill(e.made_safe, &[("text", &safe.text)]),
            Body::HeadCount(count) => fill(e.in_the_clear, &[("who", &people(&count.clear))]),
            Body::Identity(read) => fill(
                e.identity,
                &[
                    ("structure", &read.structure),
                    ("circuit", &read.circuit),
                    ("phase", &read.phase),
                    ("method", &read.method),
                ],
            ),
            Body::Scan(scan) => format!("{}: {}", self.item(&scan.item), found(e, &scan.found)),
            Body::Moved(moved) => fill(
                e.moved,
                &[
                    ("item", &self.item(&moved.item)),
                    ("place", self.place(moved.to)),
                ],
            ),
            Body::OrderStatus(order) => {
                let state = match &order.state {
                    OrderState::InEffect => plain(e.order_in_effect),
                    OrderState::Lapsed => plain(e.order_lapsed),
                    OrderState::Released => plain(e.order_released),
                    OrderState::ReleasedByOthers { by } => {
                        fill(e.order_released_by, &[("who", by)])
                    }
                };
                let line = fill(e.order, &[("order", &order.order), ("state", &state)]);
                format!("{line}{}", if order.read_back { e.read_back } else { "" })
            }
            Body::Note(note) => self.note(note),
            Body::ClockSample(sample) => fill(
                e.clocks,
                &[
                    ("ahead", &sample.ahead_ms.to_string()),
                    ("doubt", &sample.doubt_ms.to_string()),
                ],
            ),
            Body::Suspend(suspend) => fill(
                e.suspends,
                &[
                    ("state", &suspend.state),
                    ("who", &suspend.resume_by.to_string()),
                ],
            ),
            Body::ResumeDay(_) => plain(e.resumes_day),
            Body::Close(_) => plain(e.closes),
            Body::Void(void) => fill(e.voids, &[("entry", &hash(e, &void.entry))]),
            Body::Unknown { kind } => fill(e.unknown, &[("kind", &kind.to_string())]),
        }
    }

    fn note(&self, note: &Note) -> String {
        let e = self.language.entries;
        let text = |words: &str| fill(words, &[("text", &note.text)]);
        match &note.kind {
            NoteKind::Plain => text(e.notes),
            NoteKind::Photo(_) if note.text.is_empty() => e.adds_photo.to_owned(),
            NoteKind::Photo(_) => text(e.notes_photo),
            NoteKind::Late { step, check, .. } => fill(
                e.notes_late,
                &[
                    ("step", &self.step(step)),
                    ("check", &self.check(step, check)),
                    ("text", &note.text),
                ],
            ),
            NoteKind::Reviewed => text(e.reviewed),
            NoteKind::StopReason => text(e.says_why),
            NoteKind::ClosesItem { item } => fill(e.closes_item, &[("item", &item.to_string())]),
            NoteKind::StillSo => e.says_still_so.to_owned(),
            NoteKind::ReliefWanted { role } => fill(e.relief_wanted, &[("role", &self.role(role))]),
            NoteKind::Mute { key } => fill(e.mutes, &[("who", &self.who(key))]),
            NoteKind::Refused { codes } => fill(
                e.press_refused,
                &[("codes", &codes.join(", ").replace('_', " "))],
            ),
        }
    }
}

fn list(parts: impl Iterator<Item = String>) -> String {
    parts.collect::<Vec<_>>().join(", ")
}

fn stopped(e: &EntryWords, stop: &Stop) -> String {
    let kind = match &stop.kind {
        StopKind::Work => e.stop_work.to_owned(),
        StopKind::AllStop => e.all_stop.to_owned(),
        StopKind::Emergency => e.emergency.to_owned(),
        StopKind::OrderLost => e.order_lost.to_owned(),
        StopKind::Stranger { words, .. } => fill(e.stranger, &[("words", words)]),
    };
    if stop.why.is_empty() {
        kind
    } else {
        format!("{kind}: {}", stop.why)
    }
}

fn hash(e: &EntryWords, entry: &EntryHash) -> String {
    fill(e.entry, &[("id", &short(&entry.0))])
}

fn people(people: &[Person]) -> String {
    let names: Vec<&str> = people.iter().map(Person::as_str).collect();
    names.join(", ")
}

fn said(e: &EntryWords, said: &Said) -> String {
    match said {
        Said::Yes => String::new(),
        Said::Value { value, unit } => format!(" {value} {unit}"),
        Said::Words(words) => format!(" {words}"),
        Said::Identity {
            structure,
            circuit,
            phase,
        } => format!(" {structure} / {circuit} / {phase}"),
        Said::Tally { out, back } => fill(
            e.tally,
            &[("out", &out.to_string()), ("back", &back.to_string())],
        ),
    }
}

fn found(e: &EntryWords, found: &Finding) -> String {
    match found {
        Finding::Plate {
            test_age_months,
            wiped_today,
            rated_kv,
        } => {
            let mut parts = vec![match test_age_months {
                Some(months) => fill(e.tested, &[("months", &months.to_string())]),
                None => e.never_tested.to_owned(),
            }];
            if let Some(kv) = rated_kv {
                parts.push(fill(e.rated, &[("kv", &kv.to_string())]));
            }
            if *wiped_today {
                parts.push(e.wiped.to_owned());
            }
            parts.join(", ")
        }
        Finding::Inspected { good: true } => e.inspected_good.to_owned(),
        Finding::Inspected { good: false } => e.inspected_bad.to_owned(),
        Finding::OutOfService { why } => fill(e.set_aside, &[("why", why)]),
    }
}

fn changed(e: &EntryWords, change: &Change) -> String {
    let id = |words: &str, id: &str| fill(words, &[("id", id)]);
    match change {
        Change::Step(step) => id(e.changed_step, step.id.as_str()),
        Change::Limit(limit) => id(e.changed_limit, limit.id.as_str()),
        Change::Condition(condition) => id(e.changed_condition, condition.id.as_str()),
        Change::Item(item) => id(e.changed_item, item.id.as_str()),
        Change::Line(line) => fill(e.changed_line, &[("structure", &line.structure)]),
    }
}
