//! Words: the stable name of each kind of entry, and what it says in a few plain words.
//! Owns: the names.   Gives: `kind`, `words`.
//! May use: log::entry.   Never: whether it counts.

use crate::log::entry::{
    Body, Finding, Identity, NoteKind, Offered, OrderState, OrderStatus, Proposal, Said, StopKind,
};

/// The stable name of an entry's kind.
#[must_use]
pub fn kind(body: &Body) -> &'static str {
    match body {
        Body::Found(_) => "found",
        Body::Admit(_) => "admit",
        Body::Accept => "accept",
        Body::Leave => "leave",
        Body::Briefed(_) => "briefed",
        Body::Acknowledge(_) => "acknowledge",
        Body::Cannot(_) => "cannot",
        Body::Withdraw(_) => "withdraw",
        Body::Stop(_) => "stop",
        Body::Heard(_) => "heard",
        Body::Ask(_) => "ask",
        Body::Agree(_) => "agree",
        Body::Decline(_) => "decline",
        Body::Release(_) => "release",
        Body::Reading(_) => "reading",
        Body::Affirm(_) => "affirm",
        Body::Away(_) => "away",
        Body::Offer(_) => "offer",
        Body::Ready(_) => "ready",
        Body::Take(_) => "take",
        Body::Done(_) => "done",
        Body::StepBack(_) => "step_back",
        Body::Amend(_) => "amend",
        Body::Propose(_) => "propose",
        Body::Consent(_) => "consent",
        Body::Seal(_) => "seal",
        Body::Exception(_) => "exception",
        Body::Correction(_) => "correction",
        Body::ExitPlan(_) => "exit_plan",
        Body::MakeSafe(_) => "make_safe",
        Body::HeadCount(_) => "head_count",
        Body::Identity(_) => "identity",
        Body::Scan(_) => "scan",
        Body::Moved(_) => "moved",
        Body::OrderStatus(_) => "order_status",
        Body::Note(_) => "note",
        Body::ClockSample(_) => "clock_sample",
        Body::Suspend(_) => "suspend",
        Body::ResumeDay(_) => "resume_day",
        Body::Close(_) => "close",
        Body::Void(_) => "void",
        Body::Unknown { .. } => "unknown",
    }
}

fn list<T: ToString>(items: &[T]) -> String {
    items
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join(", ")
}

/// What an acknowledgement says, in plain words.
#[must_use]
pub fn said(said: &Said) -> String {
    match said {
        Said::Yes => "yes".to_owned(),
        Said::Value { value, unit } => format!("{value} {unit}"),
        Said::Words(words) => words.clone(),
        Said::Identity {
            structure,
            circuit,
            phase,
        } => format!("{structure} / {circuit} / {phase}"),
        Said::Tally { out, back } => format!("{out} out, {back} back"),
    }
}

fn stop_kind(kind: &StopKind) -> String {
    match kind {
        StopKind::Work => "stop work".to_owned(),
        StopKind::AllStop => "all stop".to_owned(),
        StopKind::Emergency => "emergency".to_owned(),
        StopKind::OrderLost => "line order lost".to_owned(),
        StopKind::Stranger { words, .. } => format!("called by an unknown device: {words}"),
    }
}

fn finding(found: &Finding) -> String {
    match found {
        Finding::Plate {
            test_age_months,
            wiped_today,
            rated_kv,
        } => {
            let test = test_age_months.map_or_else(
                || "no test on record".to_owned(),
                |months| format!("tested {months} months ago"),
            );
            let wiped = if *wiped_today {
                "wiped today"
            } else {
                "not wiped today"
            };
            let rated = rated_kv.map_or_else(String::new, |kv| format!(", rated {kv} kV"));
            format!("{test}, {wiped}{rated}")
        }
        Finding::Inspected { good: true } => "inspected, good".to_owned(),
        Finding::Inspected { good: false } => "inspected, not good".to_owned(),
        Finding::OutOfService { why } => format!("out of service: {why}"),
    }
}

fn order(status: &OrderStatus) -> String {
    let state = match &status.state {
        OrderState::InEffect => "in effect".to_owned(),
        OrderState::Lapsed => "lapsed".to_owned(),
        OrderState::Released => "released".to_owned(),
        OrderState::ReleasedByOthers { by } => format!("released by {by}"),
    };
    let read_back = if status.read_back { ", read back" } else { "" };
    let terminals = if status.terminals.is_empty() {
        String::new()
    } else {
        format!(" at {}", list(&status.terminals))
    };
    format!("{} {state}{terminals}{read_back}", status.order)
}

fn note(kind: &NoteKind, text: &str) -> String {
    match kind {
        NoteKind::Plain => text.to_owned(),
        NoteKind::Late { step, check, .. } => format!("late note on {step} {check}: {text}"),
        NoteKind::Reviewed => format!("late note reviewed: {text}"),
        NoteKind::StopReason => format!("reason of the stop: {text}"),
        NoteKind::ClosesItem { item } => format!("closes item {item}: {text}"),
        NoteKind::StillSo => format!("still so: {text}"),
        NoteKind::ReliefWanted { role } => format!("relief wanted as {role}: {text}"),
        NoteKind::Mute { key } => format!("mutes {}: {text}", key.tag()),
        NoteKind::Photo(photo) => format!("photo {}: {text}", photo.hash),
        NoteKind::Refused { codes } => format!("not recorded ({}): {text}", codes.join(", ")),
    }
}

/// What an entry says, in a few plain words.
#[must_use]
pub fn words(body: &Body) -> String {
    match body {
        Body::Found(found) => format!("{} founds: {}", found.person, found.plan.title),
        Body::Admit(admit) => format!("{} as {}", admit.person, list(&admit.roles)),
        Body::Briefed(briefed) => format!("plan version {}", briefed.version),
        Body::Acknowledge(a) => format!("{} {}: {}", a.step, a.check, said(&a.said)),
        Body::Cannot(cannot) => format!("{} {}: {}", cannot.step, cannot.check, cannot.why),
        Body::Withdraw(withdraw) => withdraw.why.clone(),
        Body::Stop(stop) => match (&stop.item, stop.why.is_empty()) {
            (None, true) => stop_kind(&stop.kind),
            (None, false) => format!("{}: {}", stop_kind(&stop.kind), stop.why),
            (Some(item), _) => format!("{}, {item}: {}", stop_kind(&stop.kind), stop.why),
        },
        Body::Ask(ask) => ask.cause.clone(),
        Body::Decline(decline) => decline.why.clone(),
        Body::Reading(reading) => match reading.value {
            Some(value) => format!("{} {value} {}", reading.condition, reading.unit),
            None => format!("{} seen", reading.condition),
        },
        Body::Affirm(named) | Body::Away(named) => named.condition.to_string(),
        Body::Offer(offer) => match &offer.what {
            Offered::Move { handoff, item, to } => format!("{handoff}: {item} to {to:?}"),
            Offered::Role { role, .. } => format!("role {role}"),
        },
        Body::Ready(ready) => if ready.ready { "ready" } else { "not ready" }.to_owned(),
        Body::StepBack(back) => format!("{}: {}", back.step, back.why),
        Body::Amend(amend) => amend.why.clone(),
        Body::Propose(propose) => match propose.kind {
            Proposal::Remove => format!("remove {}", propose.device.tag()),
            Proposal::TakeOver => format!("take over from {}", propose.device.tag()),
        },
        Body::Exception(exception) => format!(
            "{} {}: {} ({}), seen by {}",
            exception.step, exception.check, exception.what, exception.why, exception.seen_by
        ),
        Body::Correction(correction) => correction.text.clone(),
        Body::ExitPlan(exit) => format!("{}: {}", list(&exit.steps), exit.why),
        Body::MakeSafe(safe) => safe.text.clone(),
        Body::HeadCount(count) if count.assumed.is_empty() => {
            format!("clear: {}", list(&count.clear))
        }
        Body::HeadCount(count) => format!(
            "clear: {}; assumed: {}",
            list(&count.clear),
            list(&count.assumed)
        ),
        Body::Identity(Identity {
            structure,
            circuit,
            phase,
            method,
        }) => format!("{structure} / {circuit} / {phase} ({method})"),
        Body::Scan(scan) => format!("{}: {}", scan.item, finding(&scan.found)),
        Body::Moved(moved) => format!("{} to {:?}", moved.item, moved.to),
        Body::OrderStatus(status) => order(status),
        Body::Note(n) => note(&n.kind, &n.text),
        Body::ClockSample(sample) => format!(
            "{} is {} ms ahead, give or take {} ms",
            sample.device, sample.ahead_ms, sample.doubt_ms
        ),
        Body::Suspend(suspend) => format!(
            "{}, {} may resume, tools {} out {} back",
            suspend.state, suspend.resume_by, suspend.tools_out, suspend.tools_back
        ),
        Body::Unknown { kind } => format!("kind {kind}, which this version does not know"),
        Body::Accept
        | Body::Leave
        | Body::Heard(_)
        | Body::Agree(_)
        | Body::Release(_)
        | Body::Take(_)
        | Body::Done(_)
        | Body::Consent(_)
        | Body::Seal(_)
        | Body::ResumeDay(_)
        | Body::Close(_)
        | Body::Void(_) => String::new(),
    }
}
