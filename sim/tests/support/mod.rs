//! Support: the crew that the tests of simulated devices share.
//! Owns: nothing.   Gives: `crew_of_six`.
//! May use: protocol's ids.   Never: a fault.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_protocol::ids::{Person, RoleId};

/// Supervisor, two in the tower, ground, observer, and a spare with these roles, in this order.
pub fn crew_of_six(spare_roles: &[&str]) -> Vec<(Person, Vec<RoleId>)> {
    let member = |name: &str, roles: &[&str]| {
        let person = Person::try_from(name).unwrap();
        let roles = roles.iter().map(|role| RoleId::try_from(*role).unwrap());
        (person, roles.collect())
    };
    vec![
        member("Lead", &["supervisor"]),
        member("Tower 1", &["tower"]),
        member("Tower 2", &["tower"]),
        member("Ground", &["ground"]),
        member("Observer", &["observer"]),
        member("Spare", spare_roles),
    ]
}
