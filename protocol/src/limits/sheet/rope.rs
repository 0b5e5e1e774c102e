//! Rope: pull and working load of the load line, on the sheet.
//! Owns: nothing.   Gives: `rope_part`; `hauling` for the boom's own tackle.
//! May use: limits::tackle.   Never: the rig's forces.

use super::{Bound, Work};
use crate::limits::error::LimitError;
use crate::limits::inputs::Inputs;
use crate::limits::tackle::{Fibre, Sheave, Tackle, rope_strength, tackle, working_load};
use crate::limits::units::{Force, round_down};

/// The pull of a tackle that the inputs describe.
pub(super) fn hauling(
    inputs: &Inputs,
    load: Force,
    parts: &'static str,
    sheaves: &'static str,
) -> Result<Tackle, LimitError> {
    let sheave = match inputs.maybe_word("sheave") {
        None | Some("fibre") => Sheave::FibreRope,
        Some("roller") => Sheave::Roller,
        Some("plain") => Sheave::Plain,
        Some(other) => {
            return Err(LimitError::Unknown {
                what: "sheave",
                found: other.to_owned(),
                expected: "fibre, roller, plain".to_owned(),
            });
        }
    };
    tackle(load, inputs.count(parts)?, inputs.count(sheaves)?, sheave)
}

const ROPE_SOURCE: &str = "12 % a sheave for fibre rope (Workshop Receipts, 5th series); rope rule of the US Navy builder manual or the maker's strength";

/// Pull in the hauling part beside what the rope may carry.
pub(super) fn rope_part(work: &mut Work) -> Result<(), LimitError> {
    let inputs = work.inputs;
    let pulls = hauling(
        inputs,
        inputs.force("rope_load")?,
        "rope_parts",
        "rope_sheaves",
    )?;
    let breaking = match inputs.maybe_force("rope_breaking")? {
        Some(breaking) => breaking,
        None => {
            let fibre = match inputs.maybe_word("rope_fibre") {
                Some("manila") => Fibre::Manila,
                Some("nylon") => Fibre::Nylon,
                Some("polyester") => Fibre::Polyester,
                Some("polypropylene") => Fibre::Polypropylene,
                None => {
                    return Err(LimitError::NotGiven {
                        what: "rope_breaking, or rope_fibre and rope_diameter".to_owned(),
                    });
                }
                Some(other) => {
                    return Err(LimitError::Unknown {
                        what: "rope_fibre",
                        found: other.to_owned(),
                        expected: "manila, nylon, polyester, polypropylene".to_owned(),
                    });
                }
            };
            rope_strength(fibre, inputs.length("rope_diameter")?)?
        }
    };
    let plain = |name: &str| {
        inputs
            .maybe_plain(name)?
            .ok_or_else(|| LimitError::NotGiven {
                what: name.to_owned(),
            })
    };
    let allowed = working_load(
        breaking,
        plain("rope_left_by_knots")?,
        plain("rope_factor")?,
    )?;
    work.force(
        "rope_pull",
        "Pull in the hauling part while raising",
        pulls.raising,
        Some(pulls.raising.ratio(allowed)),
        ROPE_SOURCE,
    )?;
    work.put(
        "rope_working_load",
        "Working load of the rope",
        round_down("rope working load", allowed.to_kilonewtons(), 2)?,
        "kN",
        Bound::Most,
        None,
        ROPE_SOURCE,
        vec!["A maker's strength for the rope at hand goes before the rule of thumb."],
    );
    Ok(())
}
