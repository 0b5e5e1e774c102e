//! Known: every input that a plan can give to its limit sheet, with its unit and meaning.
//! Owns: the table.   Gives: `KNOWN`, `needed(part)`.
//! May use: nothing.   Never: a default value.

use serde::Serialize;

/// One input.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
pub struct Known {
    /// The part of the sheet that asks for it.
    pub part: &'static str,
    /// Its name in the plan.
    pub name: &'static str,
    /// Its units, or `word`.
    pub unit: &'static str,
    /// What it is.
    pub title: &'static str,
    /// Whether the part has no values without it.
    pub needed: bool,
}

const fn needed_input(
    part: &'static str,
    name: &'static str,
    unit: &'static str,
    title: &'static str,
) -> Known {
    Known {
        part,
        name,
        unit,
        title,
        needed: true,
    }
}
const fn optional(
    part: &'static str,
    name: &'static str,
    unit: &'static str,
    title: &'static str,
) -> Known {
    Known {
        part,
        name,
        unit,
        title,
        needed: false,
    }
}

const LENGTH: &str = "m mm ft in";
const FORCE: &str = "N kN lbf";
const WORD: &str = "word";

/// Every input, by part.
#[rustfmt::skip]
pub const KNOWN: &[Known] = &[
    needed_input("approach", "voltage", "kV", "nominal voltage phase to phase; taken from the plan's line"),
    needed_input("approach", "altitude", LENGTH, "altitude of the site"),
    optional("approach", "surge", "pu", "transient overvoltage to ground from an analysis; else Table R-9"),
    optional("approach", "altitude_rule", WORD, "above 900 m: equation or table"),
    optional("approach", "gap", WORD, "air-only where the employer can show it; else a tool is in the gap"),
    optional("approach", "reach_allowance", LENGTH, "reach to add for the working clearance"),
    optional("approach", "swing_allowance", LENGTH, "swing to add for the working clearance"),
    optional("approach", "string_length", LENGTH, "length of the insulator string"),
    needed_input("conductor", "conductor", WORD, "its name in the trade"),
    needed_input("conductor", "bundle", "", "conductors in the bundle"),
    optional("conductor", "span_back", LENGTH, "span behind; needed but at a dead-end"),
    needed_input("conductor", "span_ahead", LENGTH, "span ahead"),
    optional("conductor", "rise_back", LENGTH, "this support's height over the neighbour behind; needed but at a dead-end"),
    needed_input("conductor", "rise_ahead", LENGTH, "this support's height over the neighbour ahead"),
    optional("conductor", "line_angle", "deg", "angle by which the line turns here; needed but at a dead-end"),
    needed_input("conductor", "tension", FORCE, "known horizontal tension of each conductor, bare"),
    needed_input("conductor", "tension_temperature", "C F", "conductor temperature at that tension"),
    needed_input("conductor", "conductor_temperature", "C F", "conductor temperature of the day"),
    needed_input("conductor", "ice", LENGTH, "ice around the conductor; 0 where there is none"),
    needed_input("conductor", "wind_limit", "m/s km/h mph", "wind at which the crew quits"),
    needed_input("conductor", "string_weight", FORCE, "weight of the string"),
    needed_input("conductor", "string_wind_area", "m2 mm2 ft2", "area of the string in the wind"),
    optional("conductor", "ruling_span", LENGTH, "ruling span between the dead-ends; else of the two spans"),
    needed_input("poles", "pole_rating", FORCE, "rated working load of one strain pole"),
    needed_input("poles", "string", WORD, "suspension or dead-end; taken from the plan's line"),
    optional("poles", "yoke_arm_first", LENGTH, "suspension: from the yoke's pivot to the first pole"),
    optional("poles", "yoke_arm_second", LENGTH, "suspension: from the yoke's pivot to the second pole"),
    optional("poles", "pole_angle_first", "deg", "suspension: lean of the first pole from the vertical"),
    optional("poles", "pole_angle_second", "deg", "suspension: lean of the second pole from the vertical"),
    optional("poles", "pole_length", LENGTH, "dead-end: length of each pole"),
    optional("poles", "pole_area", "m2 mm2 ft2", "dead-end: cross-section of each pole"),
    optional("poles", "pole_modulus", "GPa psi", "dead-end: modulus of each pole, from the maker"),
    optional("poles", "hardware_stiffness", "N/m kN/m", "dead-end: stiffness of each pole's hardware"),
    optional("poles", "string_stiffness", "N/m kN/m", "dead-end: stiffness of the string"),
    optional("poles", "screw_pitch", LENGTH, "dead-end: travel of the screw for each turn"),
    optional("poles", "pole_gap_first", LENGTH, "dead-end: slack of the first pole"),
    optional("poles", "pole_gap_second", LENGTH, "dead-end: slack of the second pole"),
    optional("poles", "pin_clearance", LENGTH, "dead-end: room wanted for the pin"),
    needed_input("rig", "mast_length", LENGTH, "length of the mast"),
    needed_input("rig", "boom_length", LENGTH, "length of the boom"),
    needed_input("rig", "boom_angle", "deg", "angle of the boom from the vertical"),
    needed_input("rig", "boom_azimuth", "deg", "direction of the boom"),
    needed_input("rig", "mast_lean", "deg", "lean of the mast from the vertical"),
    needed_input("rig", "mast_lean_azimuth", "deg", "direction of the lean"),
    needed_input("rig", "rig_load", FORCE, "everything that hangs at the boom's tip"),
    needed_input("rig", "mast_weight", FORCE, "weight of the mast"),
    needed_input("rig", "boom_weight", FORCE, "weight of the boom"),
    needed_input("rig", "link_weight", FORCE, "weight of the link"),
    needed_input("rig", "brace_1_x", LENGTH, "anchor of the first brace from the mast's base, along"),
    needed_input("rig", "brace_1_y", LENGTH, "the same, across"),
    needed_input("rig", "brace_1_z", LENGTH, "the same, up"),
    needed_input("rig", "brace_2_x", LENGTH, "anchor of the second brace, along"),
    needed_input("rig", "brace_2_y", LENGTH, "the same, across"),
    needed_input("rig", "brace_2_z", LENGTH, "the same, up"),
    needed_input("rig", "mast_rating", FORCE, "rated compression of the mast"),
    needed_input("rig", "boom_rating", FORCE, "rated compression of the boom"),
    needed_input("rig", "link_rating", FORCE, "rated tension of the link"),
    needed_input("rig", "brace_rating", FORCE, "rated load of a brace"),
    optional("rig", "brace_3_x", LENGTH, "anchor of a third brace, along"),
    optional("rig", "brace_3_y", LENGTH, "the same, across"),
    optional("rig", "brace_3_z", LENGTH, "the same, up"),
    optional("rig", "brace_ea", FORCE, "three braces: EA of each"),
    optional("rig", "mast_ea", FORCE, "three braces: EA of the mast"),
    optional("rig", "braces", WORD, "rope where braces are ropes, which go slack instead of pushing"),
    optional("rig", "guy_x", LENGTH, "anchor of a side guy at the tip, along"),
    optional("rig", "guy_y", LENGTH, "the same, across"),
    optional("rig", "guy_z", LENGTH, "the same, up"),
    optional("rig", "guy_rating", FORCE, "rated tension of the side guy"),
    optional("rig", "lead_x", LENGTH, "lead block of the rope's tail, along"),
    optional("rig", "lead_y", LENGTH, "the same, across"),
    optional("rig", "lead_z", LENGTH, "the same, up"),
    optional("rig", "rig_parts", "", "parts of rope at the boom's moving block"),
    optional("rig", "rig_sheaves", "", "sheaves that it turns over up to the tail"),
    optional("rig", "sheave", WORD, "fibre, roller or plain"),
    optional("rig", "energised_x", LENGTH, "nearest energised part from the mast's base, along"),
    optional("rig", "energised_y", LENGTH, "the same, across"),
    optional("rig", "energised_z", LENGTH, "the same, up"),
    optional("rig", "load_hanging", LENGTH, "how far the load hangs below the tip"),
    needed_input("rope", "rope_load", FORCE, "load on the load line"),
    needed_input("rope", "rope_parts", "", "parts of rope at the moving block"),
    needed_input("rope", "rope_sheaves", "", "sheaves that the rope turns over, lead blocks included"),
    needed_input("rope", "rope_factor", "", "factor of safety"),
    needed_input("rope", "rope_left_by_knots", "", "strength left by knots or splices, 0.4 to 1"),
    optional("rope", "rope_breaking", FORCE, "breaking strength, from the maker"),
    optional("rope", "rope_fibre", WORD, "without that: manila, nylon, polyester or polypropylene"),
    optional("rope", "rope_diameter", LENGTH, "without that: diameter of the rope"),
    needed_input("wind", "gap_at_rest", LENGTH, "conductor to structure with the string hanging straight"),
    needed_input("wind", "string_length", LENGTH, "length of the insulator string"),
];

/// The inputs without which a part has no values.
#[must_use]
pub fn needed(part: &str) -> Vec<&'static str> {
    KNOWN
        .iter()
        .filter(|known| known.part == part && known.needed)
        .map(|known| known.name)
        .collect()
}
