//! Reference: the reference plan RP-1 of a suspension string, step by step, of which a case lists a part.
//! Owns: the table.   Gives: `RP1`, `step`.
//! May use: nothing.   Never: a case's own words.
//!
//! Common practice throughout; an owner's plan decides. `safe_hold` is what to keep secure when the work is
//! held there.

/// One step of the reference plan.
#[derive(Clone, Copy, Debug)]
pub struct Rp {
    /// `P01` to `P23`.
    pub id: &'static str,
    /// Its name.
    pub title: &'static str,
    /// What to keep secure.
    pub safe_hold: &'static str,
    /// The job may be left overnight here: load on the string or nothing on the structure.
    pub safe_to_leave: bool,
    /// No way back once done.
    pub critical: bool,
    /// Its checks last a day.
    pub daily: bool,
    /// Marks that must be so.
    pub needs: &'static [(&'static str, &'static str)],
    /// Marks that it sets.
    pub sets: &'static [(&'static str, &'static str)],
    /// Its checks where a case does not list them: check, role.
    pub checks: &'static [(&'static str, &'static str)],
    /// The load that it moves: item, and whether up.
    pub moves: Option<(&'static str, bool)>,
}

const GROUND: &str = "Stay on the ground; nobody climbs";
const NO_LOAD: &str =
    "No load on poles: draw sticks out, tie off what hangs, secure the stick; come down if told";
const PART: &str = "Load part-way: stop turning, keep both poles as they are, key stays in";
const ON_TOOLS: &str = "Conductor on tools: stay with it, load line tied off, nobody below, \
                        static ground stays as it is";
const ON_LINE: &str = "String on load line: brake and tie off, drop zone empty, tag line held; \
                       conductor on tools";
const KEYS: &str = "Poles keep the load until two people have seen the keys";
const SECURED: &str = "Tools secured; no climbing";

/// Marks, with the value at the very beginning.
pub const MARKS: [(&str, &[&str]); 3] = [
    ("poles", &["slack", "carrying"]),
    ("string", &["holds", "floating"]),
    ("ground", &["off", "on"]),
];

const fn plain(
    id: &'static str,
    title: &'static str,
    safe_hold: &'static str,
    checks: &'static [(&'static str, &'static str)],
) -> Rp {
    Rp {
        id,
        title,
        safe_hold,
        safe_to_leave: true,
        critical: false,
        daily: false,
        needs: &[],
        sets: &[],
        checks,
        moves: None,
    }
}

const fn daily(rp: Rp) -> Rp {
    Rp { daily: true, ..rp }
}

const fn under_load(rp: Rp) -> Rp {
    Rp {
        safe_to_leave: false,
        critical: true,
        ..rp
    }
}

/// The whole plan.
pub const RP1: [Rp; 24] = [
    plain(
        "P01",
        "Plan and request",
        GROUND,
        &[("plan_written", "supervisor")],
    ),
    plain("P01T", "Travel", GROUND, &[("fit_for_duty", "supervisor")]),
    plain(
        "P02",
        "Line order in effect",
        GROUND,
        &[("order_in_effect", "supervisor")],
    ),
    daily(plain(
        "P03",
        "Identity",
        GROUND,
        &[("structure", "tower"), ("structure", "observer")],
    )),
    daily(plain(
        "P04",
        "Site hazards, weather",
        GROUND,
        &[("hazards", "supervisor")],
    )),
    daily(plain("P05", "Briefing", GROUND, &[("briefed", "all")])),
    daily(plain("P06", "Tools", GROUND, &[("tools_fit", "ground")])),
    daily(plain(
        "P07",
        "Set-up",
        GROUND,
        &[("drop_zone_set", "ground")],
    )),
    daily(plain(
        "P08",
        "Approach and clearances",
        NO_LOAD,
        &[("clearance", "tower"), ("clearance_seen", "observer")],
    )),
    daily(plain(
        "P09",
        "String test",
        NO_LOAD,
        &[("units_counted", "tower"), ("units_seen", "observer")],
    )),
    daily(plain(
        "P10",
        "Rig strain poles",
        NO_LOAD,
        &[("hooks_latched", "tower"), ("rig_seen", "observer")],
    )),
    Rp {
        sets: &[("poles", "carrying")],
        ..under_load(plain(
            "P11",
            "Take the load",
            PART,
            &[("load_shared", "tower")],
        ))
    },
    Rp {
        needs: &[("poles", "carrying")],
        sets: &[("string", "floating")],
        ..under_load(plain(
            "P12",
            "Hot-end disconnect",
            ON_TOOLS,
            &[("string_clear", "tower")],
        ))
    },
    Rp {
        needs: &[("string", "floating")],
        sets: &[("ground", "on")],
        ..under_load(plain(
            "P13",
            "Static ground on",
            ON_TOOLS,
            &[("static_on", "tower")],
        ))
    },
    Rp {
        needs: &[("ground", "on")],
        moves: Some(("old string", false)),
        ..under_load(plain(
            "P14",
            "Old string down",
            ON_TOOLS,
            &[("old_down", "ground")],
        ))
    },
    Rp {
        needs: &[("ground", "on")],
        moves: Some(("new string", true)),
        ..under_load(plain(
            "P15",
            "New string up",
            ON_LINE,
            &[("new_up", "ground")],
        ))
    },
    Rp {
        needs: &[("ground", "on")],
        sets: &[("ground", "off")],
        ..under_load(plain(
            "P16",
            "Static ground off",
            ON_TOOLS,
            &[("static_off", "tower")],
        ))
    },
    Rp {
        needs: &[("ground", "off")],
        sets: &[("string", "holds")],
        ..under_load(plain(
            "P17",
            "Hot-end reconnect",
            ON_TOOLS,
            &[("hot_key_in", "tower")],
        ))
    },
    Rp {
        safe_to_leave: false,
        ..plain(
            "P18",
            "Mirror verification",
            KEYS,
            &[("keys_seated", "tower")],
        )
    },
    Rp {
        needs: &[("string", "holds")],
        sets: &[("poles", "slack")],
        ..under_load(plain(
            "P19",
            "Release load",
            KEYS,
            &[("string_loaded", "tower")],
        ))
    },
    plain("P20", "De-rig", SECURED, &[("poles_down", "ground")]),
    plain("P21", "Counts", SECURED, &[("arm_swept", "tower")]),
    plain(
        "P22",
        "Release the order",
        SECURED,
        &[("order_released", "supervisor")],
    ),
    plain(
        "P23",
        "After-action, records",
        SECURED,
        &[("review", "supervisor")],
    ),
];

/// A step of it.
#[must_use]
pub fn step(id: &str) -> Option<&'static Rp> {
    RP1.iter().find(|step| step.id == id)
}
