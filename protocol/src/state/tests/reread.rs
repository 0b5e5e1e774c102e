//! Tests of a value that did not pass: who may read it, and what is asked of whom.
use super::*;

/// The first step is one measured value, for whom it says.
fn measured_by(who: Who) -> Site {
    let mut plan = plan();
    plan.limits = vec![gap("1.5")];
    let expects = Expects::Measured { limit: name("gap") };
    plan.steps[0] = step("rig", &[], vec![check("gap", who, expects)]);
    Site::with(plan)
}

/// Whether a device is asked for the value, and if so, whether with what was done since.
fn asked_since(site: &mut Site, device: u8) -> Option<bool> {
    site.look_around();
    let asked = site.status(device).asked;
    asked.into_iter().find_map(|asked| match asked {
        AskedOf::Check { since, .. } => Some(since),
        _ => None,
    })
}

#[test]
fn who_alone_may_read_a_value_is_asked_what_was_done_since_one_did_not_pass() {
    let mut site = measured_by(Who::Roles(vec![name("ground")]));
    assert_eq!(asked_since(&mut site, GROUND), Some(false));
    site.acknowledge(GROUND, "rig", "gap", metres("1.20"));
    assert_eq!(asked_since(&mut site, GROUND), Some(false));
    // Another number alone does not bear it out; the way on is asked for.
    site.acknowledge(GROUND, "rig", "gap", metres("1.80"));
    assert_eq!(site.hold_codes(GROUND), ["needs_second"]);
    assert_eq!(asked_since(&mut site, GROUND), Some(true));
    site.acknowledge_after(GROUND, "rig", "gap", metres("1.80"), Some("mast moved"));
    assert_eq!(asked_since(&mut site, GROUND), None);
    assert_eq!(site.status(GROUND).steps[0].state, StepState::Done);
}

#[test]
fn where_another_may_read_a_value_they_are_asked_and_nobody_has_to_say_what_was_done() {
    for who in [
        Who::Roles(vec![name("ground"), name("tower")]),
        Who::Each(None),
    ] {
        let mut site = measured_by(who.clone());
        site.acknowledge(GROUND, "rig", "gap", metres("1.20"));
        assert_eq!(asked_since(&mut site, GROUND), Some(false), "{who:?}");
        site.acknowledge(GROUND, "rig", "gap", metres("1.80"));
        assert_eq!(asked_since(&mut site, GROUND), Some(false), "{who:?}");
        assert_eq!(asked_since(&mut site, TOWER), Some(false), "{who:?}");
    }
}
