//! Watcher: what was so at any time in a span, and what a screen showed when a finger came down.
//! Owns: every state that the case says must never be, as it was seen.   Gives: what was seen.
//! May use: stage.   Never: what it means (judge).

use super::acts::Act;
use super::case::Case;
use super::expects::{Must, Target, View};
use super::judge::{job_word, step_word};
use super::stage::Stage;
use std::collections::BTreeMap;

/// One span that is looked at.
#[derive(Debug)]
struct Span {
    line: usize,
    from_ms: u64,
    to_ms: u64,
    view: View,
    target: Target,
    value: String,
    /// Since when it has been so without a break, for each device.
    since: BTreeMap<usize, u64>,
    seen: Option<String>,
}

/// All that is looked at.
#[derive(Debug)]
pub struct Watchers {
    spans: Vec<Span>,
    sync_ms: u64,
    /// For each held press, whether its step was open on that device when the finger came down.
    open_when_begun: BTreeMap<String, bool>,
}

impl Watchers {
    /// What a case says must never be.
    #[must_use]
    pub fn new(case: &Case) -> Self {
        let spans = case.expects.iter().filter_map(|expect| match &expect.must {
            Must::Never(target, value, from_ms) => Some(Span {
                line: expect.line,
                from_ms: *from_ms,
                to_ms: expect.at_ms,
                view: expect.view.clone(),
                target: target.clone(),
                value: value.clone(),
                since: BTreeMap::new(),
                seen: None,
            }),
            _ => None,
        });
        Self {
            spans: spans.collect(),
            sync_ms: case.assume.sync_ms,
            open_when_begun: BTreeMap::new(),
        }
    }

    /// Looks at every screen.
    pub fn look(&mut self, stage: &Stage<'_>) {
        let now_ms = stage.now_ms();
        for span in &mut self.spans {
            if !(span.from_ms..=span.to_ms).contains(&now_ms) || span.seen.is_some() {
                continue;
            }
            for device in stage.in_view(&span.view) {
                let Some(status) = stage.status(device) else {
                    continue;
                };
                let word = match &span.target {
                    Target::Job => job_word(&status).to_owned(),
                    Target::Step(step) => step_word(&status, step).to_owned(),
                    _ => continue,
                };
                let so = if span.value == "accepted_ack" {
                    accepted(stage, device, &span.target)
                } else {
                    word == span.value
                };
                if !so {
                    span.since.remove(&device);
                    continue;
                }
                let since = *span.since.entry(device).or_insert(now_ms);
                // A hold of two seconds more than the log needs to be everywhere is no false alarm.
                let allowed_ms = if span.value == "hold" {
                    self.sync_ms + 2_000
                } else {
                    0
                };
                if span.value != "hold" || now_ms - since > allowed_ms {
                    let why = format!("{:?}", status.call.reasons);
                    span.seen = Some(format!(
                        "{} was {} at {} ms: {why}",
                        stage.name(device),
                        span.value,
                        since
                    ));
                }
            }
        }
    }

    /// What was seen of an expectation.
    #[must_use]
    pub fn seen(&self, line: usize, target: &Target, value: &str) -> Option<String> {
        let span = self.spans.iter().find(|span| span.line == line)?;
        debug_assert!(span.target == *target && span.value == value);
        span.seen.clone()
    }

    /// Fingers that come down now.
    pub fn began(&mut self, stage: &Stage<'_>, at_ms: u64) {
        for event in &stage.case.events {
            let Act::PressConfirm { step, began_ms, .. } = &event.act else {
                continue;
            };
            let status = stage
                .device(&event.device)
                .and_then(|device| stage.status(device));
            if *began_ms == at_ms
                && let Some(status) = status
            {
                let open = step_word(&status, step) == "open";
                self.open_when_begun.entry(event.id.clone()).or_insert(open);
            }
        }
    }

    /// Whether a press began while its step was open.
    #[must_use]
    pub fn began_open(&self, event: &str) -> bool {
        self.open_when_begun.get(event).copied().unwrap_or(true)
    }
}

/// Whether an acknowledgement of a step counts.
fn accepted(stage: &Stage<'_>, device: usize, target: &Target) -> bool {
    let (Target::Step(step), Some(engine)) = (target, stage.world.engine(device)) else {
        return false;
    };
    let job = engine.job();
    let plan = job
        .plan()
        .steps
        .iter()
        .find(|planned| planned.id.as_str() == step);
    plan.is_some_and(|planned| {
        let mut checks = planned.checks.iter();
        checks.any(|check| !job.given(&planned.id, &check.id).is_empty())
    })
}
