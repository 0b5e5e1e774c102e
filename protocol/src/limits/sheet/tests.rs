//! Tests of the sheet: whole, gapped, misspelt, and in both systems of units.
//! Owns: an invented job.   Gives: nothing.
//! May use: sheet.   Never: a value from the sheet as its own proof.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::*;

/// An invented 230 kV suspension job.
fn inputs() -> Inputs {
    let mut inputs = Inputs::default();
    let numbers = "voltage 230 kV;altitude 250 m;reach_allowance 0.6 m;swing_allowance 0.2 m;string_length 2.3 m;\
        bundle 1;span_back 310 m;span_ahead 290 m;rise_back 4 m;rise_ahead -2 m;line_angle 0 deg;tension 22 kN;\
        tension_temperature 15 °C;conductor_temperature 30 °C;ice 0 mm;wind_limit 35 km/h;string_weight 0.7 kN;\
        string_wind_area 0.37 m2;pole_rating 22.2 kN;yoke_arm_first 0.25 m;yoke_arm_second 0.25 m;\
        mast_length 3 m;boom_length 3 m;boom_angle 60 deg;boom_azimuth 0 deg;mast_lean 0 deg;\
        mast_lean_azimuth 0 deg;rig_load 1.4 kN;mast_weight 150 N;boom_weight 115 N;link_weight 60 N;\
        brace_1_x -2 m;brace_1_y 1.5 m;brace_1_z 0 m;brace_2_x -2 m;brace_2_y -1.5 m;brace_2_z 0 m;\
        mast_rating 8 kN;boom_rating 5 kN;link_rating 5 kN;brace_rating 4 kN;\
        rope_load 1.4 kN;rope_parts 2;rope_sheaves 3;rope_factor 10;rope_left_by_knots 0.5;rope_diameter 16 mm;\
        gap_at_rest 3.2 m";
    for part in numbers.split(';') {
        let mut words = part.split_whitespace();
        let (name, value) = (words.next().unwrap(), words.next().unwrap());
        inputs.number(name, value.parse().unwrap(), words.next().unwrap_or(""));
    }
    inputs.word("conductor", "Drake");
    inputs.word("string", "suspension");
    inputs.word("rope_fibre", "polyester");
    inputs
}

#[test]
fn a_whole_plan_gives_a_whole_sheet() {
    let all = sheet(&inputs());
    assert!(all.gaps.is_empty(), "{:?}", all.gaps);
    assert!(all.never_used.is_empty(), "{:?}", all.never_used);
    // 29 CFR 1910.269 Table R-7, 169.1 to 242.0 kV.
    assert_eq!(
        all.line("approach_phase_to_ground")
            .unwrap()
            .value
            .to_string(),
        "2.01"
    );
    assert_eq!(
        all.line("working_clearance").unwrap().value.to_string(),
        "2.81"
    );
    assert_eq!(
        all.line("tool_clear_length").unwrap().value.to_string(),
        "2.30"
    );
    for line in &all.lines {
        assert!(
            NAMES.iter().any(|(name, _)| *name == line.name),
            "{} is not in NAMES",
            line.name
        );
        assert!(
            !line.inputs.is_empty() && !line.source.is_empty(),
            "{}",
            line.name
        );
    }
    let steep = &all.line("boom_angle_least").unwrap().value;
    let flat = &all.line("boom_angle_most").unwrap().value;
    assert!(*steep <= "60".parse().unwrap() && *flat >= "60".parse().unwrap());
}

#[test]
fn what_is_left_out_is_asked_for_by_name_and_never_guessed() {
    for name in ["conductor", "rig", "rope"].into_iter().flat_map(needed) {
        let fewer = inputs().without(name);
        let gaps = sheet(&fewer).gaps;
        assert!(
            gaps.iter()
                .any(|gap| gap.missing.iter().any(|missing| missing == name)),
            "{name}: {gaps:?}"
        );
    }
}

#[test]
fn a_misspelt_name_or_a_wrong_unit_is_said() {
    let mut wrong = inputs();
    wrong.number("mast_lenght", "3".parse().unwrap(), "m");
    assert_eq!(sheet(&wrong).never_used, ["mast_lenght"]);
    let mut unit = inputs();
    unit.number("span_back", "310".parse().unwrap(), "yd");
    let gaps = sheet(&unit).gaps;
    assert!(
        gaps.iter().any(|gap| gap
            .why
            .as_ref()
            .is_some_and(|why| why.to_string().contains("found unit `yd`"))),
        "{gaps:?}"
    );
}

#[test]
fn feet_and_metres_give_the_same_sheet() {
    let mut us = inputs();
    us.number("span_back", "1017.060367".parse().unwrap(), "ft");
    let (si, us) = (sheet(&inputs()), sheet(&us));
    assert_eq!(
        si.line("vertical_load").unwrap().value,
        us.line("vertical_load").unwrap().value
    );
}
