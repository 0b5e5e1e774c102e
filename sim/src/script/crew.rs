//! Crew: who holds what in a crew of so many devices.
//! Owns: nothing.   Gives: call signs and roles for a plan.
//! May use: plan.   Never: people's behaviour (crew, people).

use gantline_protocol::ids::{Person, RoleId};
use gantline_protocol::plan::Plan;

/// People beyond the crew who may be called to the job when somebody is missing.
pub const SPARES: usize = 3;

/// A crew of `devices` for a plan, the supervisor first, then [`SPARES`] people without a role who are not on the
/// job yet. At least as many as the plan asks for, and in the plan's proportion.
#[must_use]
pub fn crew_of(plan: &Plan, devices: usize) -> Vec<(Person, Vec<RoleId>)> {
    let mut order: Vec<RoleId> = Vec::new();
    let supervisor = plan.roles.iter().filter(|role| role.id.is_supervisor());
    let others = plan.roles.iter().filter(|role| !role.id.is_supervisor());
    for role in supervisor.chain(others) {
        for _ in 0..role.least.max(1) {
            order.push(role.id.clone());
        }
    }
    let more: Vec<RoleId> = plan
        .roles
        .iter()
        .filter(|role| !role.id.is_supervisor() && !role.id.is_observer())
        .map(|role| role.id.clone())
        .collect();
    for turn in 0..devices.saturating_sub(order.len()) {
        // Towers last of each round: a job has more people on the ground than aloft.
        if let Some(role) = more.iter().rev().nth(turn % more.len().max(1)) {
            order.push(role.clone());
        }
    }
    let mut crew: Vec<(Person, Vec<RoleId>)> = Vec::new();
    for (number, role) in order.into_iter().enumerate() {
        crew.extend(named(&format!("{role} {number}")).map(|person| (person, vec![role])));
    }
    while crew.len() < devices {
        let number = crew.len();
        crew.extend(named(&format!("helper {number}")).map(|person| (person, Vec::new())));
    }
    for spare in 0..SPARES {
        crew.extend(named(&format!("spare {spare}")).map(|person| (person, Vec::new())));
    }
    crew
}

fn named(name: &str) -> Option<Person> {
    Person::try_from(name.to_owned()).ok()
}
