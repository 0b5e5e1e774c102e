//! Lead: what a crew does about who is missing, once everything is healed.
//! Owns: when what was last tried.   Gives: one look around the crew, with the presses that follow.
//! May use: world, the devices' own jobs.   Never: a way around a rule: all of it is presses and consents.

use super::Run;
use gantline_protocol::engine::Command;
use gantline_protocol::gate::Job;
use gantline_protocol::ids::{DeviceKey, EntryHash, RoleId};
use gantline_protocol::log::entry::{Body, NoteKind};
use gantline_protocol::plan::{Plan, Who};
use std::collections::BTreeMap;

/// The same is tried again after so long, ms.
const AGAIN_MS: u64 = 15_000;

/// What was tried when.
#[derive(Clone, Debug, Default)]
pub(super) struct Lead {
    tried: BTreeMap<String, u64>,
}

impl Run<'_> {
    fn due(&mut self, what: String) -> bool {
        let now = self.world.now;
        let due = self
            .lead
            .tried
            .get(&what)
            .is_none_or(|at| now >= at + AGAIN_MS);
        if due {
            self.lead.tried.insert(what, now);
        }
        due
    }

    fn number(&self, key: &DeviceKey) -> Option<usize> {
        self.world.devices.iter().position(|own| own.id == *key)
    }

    /// Whether a device cannot go on: off, in bad hands, or forked.
    fn is_gone(&self, job: &Job, key: &DeviceKey) -> bool {
        job.forks_open().contains(key)
            || self.number(key).is_none_or(|device| {
                !self.world.devices[device].is_on() || self.world.is_hostile(device)
            })
    }

    /// Somebody looks around, and does what a crew would.
    pub(super) fn lead(&mut self) {
        let on = self.crew_on();
        let Some(&first) = on.first() else {
            return;
        };
        let Some(job) = self.world.engine(first).map(|engine| engine.job()) else {
            return;
        };
        let office = job.office();
        let supervisor = job.roster().supervisor;
        match supervisor.filter(|key| !self.is_gone(job, key)) {
            Some(key) => {
                if let Some(device) = self.number(&key) {
                    self.supervise(device);
                }
            }
            None => {
                // Of several who could, one does.
                let candidate = on.iter().copied().find(|&device| {
                    let key = self.world.devices[device].id;
                    key != office && !job.forks_open().contains(&key)
                });
                if let Some(candidate) = candidate
                    && self.due(format!("take over from {office}"))
                {
                    self.world.do_now(candidate, remove(office));
                }
            }
        }
    }

    /// What the supervisor sees to.
    fn supervise(&mut self, device: usize) {
        let acts = match self.world.engine(device) {
            Some(engine) => self.acts(engine.job()),
            None => return,
        };
        for (name, command) in acts {
            if self.due(name) {
                self.world.do_now(device, command);
            }
        }
        self.fill_roles(device);
    }

    fn acts(&self, job: &Job) -> Vec<(String, Command)> {
        let graph = job.graph();
        let mut acts: Vec<(String, Command)> = Vec::new();
        for key in job.roster().devices() {
            if job.roster().supervisor != Some(*key) && self.is_gone(job, key) {
                acts.push((format!("remove {key}"), remove(*key)));
            }
        }
        for (key, member) in &job.roster().members {
            let back = self.number(key).is_some_and(|device| {
                self.world.devices[device].is_on() && !self.world.is_hostile(device)
            });
            if !member.present && back && left(job, key) {
                let command = Command::Admit {
                    device: *key,
                    person: member.person.clone(),
                    roles: first_roles(job, key),
                    replaces: None,
                };
                acts.push((format!("admit {key} again"), command));
            }
        }
        for note in late_notes(job) {
            let command = Command::Note {
                text: "looked into".to_owned(),
                about: Some(note),
                kind: NoteKind::Reviewed,
            };
            acts.push((format!("review {note}"), command));
        }
        for ix in job.unknown_open() {
            let entry = graph.hash(ix);
            acts.push((format!("void {entry}"), Command::Void { entry }));
        }
        if is_day_to_begin(job) && job.in_force().is_empty() {
            acts.push(("resume the day".to_owned(), Command::ResumeDay));
        }
        acts
    }

    /// A role that has too few gets somebody: first of the people who are not on the job, then of the crew. If
    /// nobody of the crew may hold it beside what they do, somebody more is sent for: a removed device does not
    /// come back, so its holder takes another.
    fn fill_roles(&mut self, supervisor: usize) {
        let Some(engine) = self.world.engine(supervisor) else {
            return;
        };
        let job = engine.job();
        let wanting = job.plan().roles.iter().find(|role| {
            !role.id.is_supervisor()
                && job.roster().holders(&role.id).count() < usize::from(role.least)
        });
        let Some(role) = wanting.map(|role| role.id.clone()) else {
            return;
        };
        let free = (0..self.world.devices.len()).find(|&device| {
            let own = &self.world.devices[device];
            !job.roster().members.contains_key(&own.id) && own.disk.is_empty()
        });
        if let Some(free) = free {
            self.call(free, role);
            return;
        }
        let helper = helper(job, &role).filter(|key| !self.is_gone(job, key));
        if let Some((key, person)) =
            helper.and_then(|key| Some((key, job.roster().person(&key)?.clone())))
        {
            let command = Command::Admit {
                device: key,
                person,
                roles: vec![role.clone()],
                replaces: None,
            };
            if self.due(format!("{role} for {key}")) {
                self.world.do_now(supervisor, command);
            }
        } else if let Some(another) = self.world.another() {
            self.call(another, role);
        }
    }

    /// Somebody who is not on the job is admitted to a role.
    fn call(&mut self, free: usize, role: RoleId) {
        if !self.due(format!("call spare {free}")) {
            return;
        }
        let own = &self.world.devices[free];
        let command = Command::Admit {
            device: own.id,
            person: own.person().clone(),
            roles: vec![role],
            replaces: None,
        };
        if self.world.admit_as(free, command) && self.script.pages {
            self.world.open_page(free);
        }
    }
}

fn remove(device: DeviceKey) -> Command {
    Command::Remove {
        device,
        spoken_to: None,
        called_stop: false,
    }
}

/// Whether a device that is not present left of itself.
fn left(job: &Job, key: &DeviceKey) -> bool {
    let graph = job.graph();
    !graph.iter().any(|ix| match graph.body(ix) {
        Body::Seal(seal) => graph.find(&seal.proposal).is_some_and(
            |proposal| matches!(graph.body(proposal), Body::Propose(propose) if propose.device == *key),
        ),
        _ => false,
    })
}

/// The roles that a device was first admitted with.
fn first_roles(job: &Job, key: &DeviceKey) -> Vec<RoleId> {
    let graph = job.graph();
    let admitted = graph.iter().find_map(|ix| match graph.body(ix) {
        Body::Admit(admit) if admit.device == *key => Some(admit.roles.clone()),
        _ => None,
    });
    admitted.unwrap_or_default()
}

/// Late notes that nobody has reviewed.
fn late_notes(job: &Job) -> Vec<EntryHash> {
    let graph = job.graph();
    let reviewed = |hash: &EntryHash| {
        graph.iter().any(|ix| {
            matches!(graph.body(ix), Body::Note(note)
                if note.kind == NoteKind::Reviewed && note.about == Some(*hash)
                    && job.roster_in_past(ix).supervisor == Some(graph.author(ix)))
        })
    };
    graph
        .iter()
        .filter(|&ix| {
            matches!(graph.body(ix), Body::Note(note) if matches!(note.kind, NoteKind::Late { .. }))
        })
        .map(|ix| graph.hash(ix))
        .filter(|hash| !reviewed(hash))
        .collect()
}

/// Whether the newest suspension has no new day after it.
/// Whether the job was suspended after the newest day began.
fn is_day_to_begin(job: &Job) -> bool {
    let graph = job.graph();
    let mut suspended = graph
        .iter()
        .filter(|ix| matches!(graph.body(*ix), Body::Suspend(_)));
    let is_over = |day| matches!(graph.body(day), Body::ResumeDay(_));
    suspended.any(|ix| {
        !graph
            .iter()
            .any(|day| is_over(day) && graph.before(ix, day))
    })
}

/// Whether some check wants two people, one of each of these roles: then nobody can be both.
fn want_two(plan: &Plan, one: &RoleId, other: &RoleId) -> bool {
    let checks = plan.steps.iter().flat_map(|step| &step.checks);
    checks.map(|check| &check.who).any(|who| {
        let names = |role: &RoleId| match who {
            Who::Roles(places) => places.contains(role),
            Who::SecondLook { first, second } => first.contains(role) || second.contains(role),
            Who::ReadBack { report, repeat } => report.contains(role) || repeat.contains(role),
            Who::Each(_) => false,
        };
        names(one) && names(other)
    })
}

/// Somebody of the crew whose roles go with this one.
fn helper(job: &Job, role: &RoleId) -> Option<DeviceKey> {
    let plan = job.plan();
    let goes_with = |held: &RoleId| {
        let not = |of: &RoleId, with: &RoleId| {
            plan.role(of)
                .is_some_and(|role| role.not_with.contains(with))
        };
        held != role && !not(held, role) && !not(role, held) && !want_two(plan, held, role)
    };
    job.roster()
        .devices()
        .copied()
        .filter(|key| {
            job.roster()
                .members
                .get(key)
                .is_some_and(|member| member.roles.iter().all(goes_with))
        })
        .last()
}
