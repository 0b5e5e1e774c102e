//! Expired: what must be given again before the work goes on: conditions, briefing, checks of the day.
//! Owns: nothing.   Gives: `expired`: words, each with the name of the thing.
//! May use: gate, facts, the other parts of the status.   Never: what was answered (a blind look among it).

use super::{AskedOf, Status};
use crate::gate::Job;
use crate::plan::Lasts;

/// Everything that was given once and must be given again.
pub(super) fn expired(job: &Job, status: &Status) -> Vec<String> {
    let mut expired: Vec<String> = status
        .conditions
        .iter()
        .filter(|condition| !condition.good)
        .map(|condition| format!("{} {}", condition.id, condition.title))
        .collect();
    let unbriefed = |member: &super::CrewStatus| member.present && !member.briefed;
    if status.crew.iter().any(unbriefed) {
        expired.push("briefing".to_owned());
    }
    expired.extend(status.asked.iter().filter_map(|asked| match asked {
        AskedOf::Check {
            check, again: true, ..
        } => Some(check.to_string()),
        _ => None,
    }));
    expired.extend(of_the_day(job));
    expired
}

/// Checks that last a day or a shift, were given on a day before, and are not complete on this one.
fn of_the_day(job: &Job) -> Vec<String> {
    let graph = job.graph();
    if job.facts().days(graph, graph.all()).is_empty() {
        return Vec::new();
    }
    let mut open = Vec::new();
    for step in &job.plan().steps {
        for check in step.checks.iter().filter(|check| check.lasts != Lasts::Job) {
            let given = job
                .facts()
                .newest_said(graph, graph.all(), &step.id, &check.id);
            if !given.is_empty() && !job.check_done(&step.id, &check.id) {
                open.push(format!("{} {} {}", step.id, check.id, check.text));
            }
        }
    }
    open
}
