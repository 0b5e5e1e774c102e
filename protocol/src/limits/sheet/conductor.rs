//! Conductor: tension, sag and the loads at the structure on the sheet.
//! Owns: nothing.   Gives: `conductor_part`, and `Hung` for the parts that rest on it.
//! May use: limits::catalogue, sag, loads, wind.   Never: poles.

use super::{Bound, Work};
use crate::limits::catalogue::{Conductor, conductor};
use crate::limits::error::LimitError;
use crate::limits::loads::{
    Attachment, AttachmentLoad, Span, attachment_load, dead_end_load, unit_load,
};
use crate::limits::sag::{LINEAR_GOOD_TO, Linear, State, hanging, ruling_span};
use crate::limits::units::{Angle, Area, Force, ForcePerLength, Length, TemperatureRise, round_up};
use crate::limits::wind;

/// What the conductor part found, for the parts that rest on it.
pub(super) struct Hung {
    pub(super) conductor: &'static Conductor,
    pub(super) attachment: Attachment,
    pub(super) load: AttachmentLoad,
    pub(super) tension: Force,
    pub(super) ice: Length,
    pub(super) string_wind_area: Area,
    pub(super) mean_span: Length,
}

const SAG_SOURCE: &str =
    "catenary and linear state change, final state; power engineering handbook, sag and tension";
const LOAD_SOURCE: &str =
    "catenary low points; swing as USDA RUS Bulletin 1724E-200 chapter 7 (from memory)";

/// The conductor as it hangs today, and what it loads the structure with.
pub(super) fn conductor_part(work: &mut Work) -> Result<Hung, LimitError> {
    let inputs = work.inputs;
    let one = conductor(inputs.maybe_word("conductor").unwrap_or_default())?;
    let dead_end = inputs.maybe_word("string") == Some("dead-end");
    let ahead = inputs.length("span_ahead")?;
    // At a dead-end the span behind hangs on a string of its own.
    let back = if dead_end {
        ahead
    } else {
        inputs.length("span_back")?
    };
    let ruling = match inputs.maybe_length("ruling_span")? {
        Some(ruling) => ruling,
        None => ruling_span(&[back, ahead])?,
    };
    let (cold, now) = (
        inputs.temperature("tension_temperature")?,
        inputs.temperature("conductor_temperature")?,
    );
    let stated = State {
        horizontal: inputs.force("tension")?,
        load: one.weight,
        temperature: cold,
    };
    let ice = inputs.length("ice")?;
    let speed = inputs.speed("wind_limit")?;
    let loads = unit_load(
        one.diameter,
        one.weight,
        ice,
        wind::pressure(speed)?,
        ForcePerLength::ZERO,
    )?;
    let linear = Linear {
        stiffness: one.stiffness(),
        expansion: one.expansion,
    };
    let state = linear.change(ruling, stated, loads.vertical, now)?;
    let mut cautions = Vec::new();
    if now.above(LINEAR_GOOD_TO) > TemperatureRise::ZERO {
        cautions.push("Above 50 °C the linear model says too much sag, by some percent.");
    }
    if !inputs.any(&["ruling_span"]) {
        cautions.push("Ruling span taken from the spans at the structure only.");
    }
    work.put(
        "conductor_tension",
        "Horizontal tension of each conductor today",
        round_up("tension", state.horizontal.to_kilonewtons(), 2)?,
        "kN",
        Bound::Shown,
        Some(state.horizontal.ratio(one.rated_strength)),
        SAG_SOURCE,
        cautions.clone(),
    );
    let rise_ahead = inputs.length("rise_ahead")?;
    let rise_back = if dead_end {
        rise_ahead
    } else {
        inputs.length("rise_back")?
    };
    let behind = ("sag_back", "Sag of the span behind", back, rise_back);
    let before = ("sag_ahead", "Sag of the span ahead", ahead, rise_ahead);
    let hanging_here = if dead_end {
        vec![before]
    } else {
        vec![behind, before]
    };
    for (name, title, span, rise) in hanging_here {
        let sag = hanging(span, loads.vertical, state.horizontal)?.sag;
        work.put(
            name,
            title,
            round_up(name, sag.to_metres(), 2)?,
            "m",
            Bound::Shown,
            None,
            SAG_SOURCE,
            vec![],
        );
        work.sheet.drawings.spans.push((span, rise, sag));
    }
    let string_wind_area = inputs.area("string_wind_area")?;
    let conductors = u8::try_from(inputs.count("bundle")?)
        .map_err(|_| LimitError::NotANumber { what: "bundle" })?;
    let at = |length, rise| Span {
        length,
        rise,
        tension: state.horizontal,
    };
    let attachment = Attachment {
        back: at(back, rise_back),
        ahead: at(ahead, rise_ahead),
        line_angle: if dead_end {
            Angle::ZERO
        } else {
            inputs.angle("line_angle")?
        },
        vertical: loads.vertical,
        transverse: loads.transverse,
        conductors,
        string_weight: inputs.force("string_weight")?,
        string_wind: wind::force(speed, STRING_DRAG, string_wind_area)?,
    };
    let load = if dead_end {
        dead_end_load(&attachment)?
    } else {
        attachment_load(&attachment)?
    };
    hung_lines(work, &load)?;
    let mean_span = (back + ahead) / 2.0;
    Ok(Hung {
        conductor: one,
        attachment,
        load,
        tension: state.horizontal,
        ice,
        string_wind_area,
        mean_span,
    })
}

/// Drag coefficient of a string of discs (IEC 60826, from memory).
pub(super) const STRING_DRAG: f64 = 1.2;

fn hung_lines(work: &mut Work, load: &AttachmentLoad) -> Result<(), LimitError> {
    let uplift = if load.uplift {
        vec!["Uplift: the conductor pulls up here; it must be held down, not carried."]
    } else {
        vec![]
    };
    work.put(
        "wind_span",
        "Wind span",
        round_up("wind span", load.wind_span.to_metres(), 1)?,
        "m",
        Bound::Shown,
        None,
        LOAD_SOURCE,
        vec![],
    );
    work.put(
        "weight_span",
        "Weight span",
        round_up("weight span", load.weight_span.to_metres(), 1)?,
        "m",
        Bound::Shown,
        None,
        LOAD_SOURCE,
        uplift,
    );
    work.force(
        "vertical_load",
        "Vertical load at the structure",
        load.vertical,
        None,
        LOAD_SOURCE,
    )?;
    work.force(
        "transverse_load",
        "Load across the line, wind and angle",
        load.transverse.abs(),
        None,
        LOAD_SOURCE,
    )?;
    work.force(
        "longitudinal_load",
        "Load along the line",
        load.longitudinal.abs(),
        None,
        LOAD_SOURCE,
    )?;
    work.force(
        "string_load",
        "Load at the structure end of the string",
        load.resultant,
        None,
        LOAD_SOURCE,
    )?;
    work.put(
        "swing",
        "Swing of the string at the wind limit",
        round_up("swing", load.swing.abs().to_degrees(), 1)?,
        "deg",
        Bound::Shown,
        None,
        LOAD_SOURCE,
        vec![],
    );
    Ok(())
}
