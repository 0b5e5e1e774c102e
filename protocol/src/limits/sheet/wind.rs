//! Wind: the speeds at which clearance or a pole's rating is reached, on the sheet.
//! Owns: nothing.   Gives: `wind_part`.
//! May use: limits::wind, loads, what the conductor part found.   Never: a table of speeds.

use super::conductor::{Hung, STRING_DRAG};
use super::{Bound, Work, need};
use crate::limits::approach::Approach;
use crate::limits::error::LimitError;
use crate::limits::loads::{Attachment, AttachmentLoad, attachment_load, unit_load};
use crate::limits::units::{ForcePerLength, Length, Speed, round_down};
use crate::limits::wind::{self, Reached};

const WIND_SOURCE: &str =
    "q = 0.613 V² (GO 95 and NESC practice for conductors, Cd 1.0); solved for the speed";

/// Solved for the speed, with the loads of the conductor part.
pub(super) fn wind_part(
    work: &mut Work,
    approach: Option<&Approach>,
    hung: Option<&Hung>,
) -> Result<(), LimitError> {
    let inputs = work.inputs;
    let (approach, hung) = (need(approach, "approach")?.exact, need(hung, "conductor")?);
    let (gap, string) = (
        inputs.length("gap_at_rest")?,
        inputs.length("string_length")?,
    );
    let blown = |speed: Speed| -> Result<AttachmentLoad, LimitError> {
        let loads = unit_load(
            hung.conductor.diameter,
            hung.conductor.weight,
            hung.ice,
            wind::pressure(speed)?,
            ForcePerLength::ZERO,
        )?;
        let string_wind = wind::force(speed, STRING_DRAG, hung.string_wind_area)?;
        attachment_load(&Attachment {
            transverse: loads.transverse,
            string_wind,
            ..hung.attachment
        })
    };
    let clearance = wind::speed_at(|speed| {
        let left = gap - string * blown(speed)?.swing.abs().sin();
        Ok(if left > Length::ZERO {
            approach.ratio(left)
        } else {
            f64::INFINITY
        })
    })?;
    reached(
        work,
        "wind_at_clearance",
        "Wind at which the string swings into the approach distance",
        clearance,
    )?;
    if let Some(rating) = inputs.maybe_force("pole_rating")? {
        let rating = rating.positive("pole_rating")?;
        // One pole that takes all is the case to be ready for.
        let at = wind::speed_at(|speed| Ok(blown(speed)?.resultant.ratio(rating)))?;
        reached(
            work,
            "wind_at_pole_rating",
            "Wind at which one pole alone is at its rating",
            at,
        )?;
    }
    Ok(())
}

fn reached(
    work: &mut Work,
    name: &'static str,
    title: &'static str,
    reached: Reached,
) -> Result<(), LimitError> {
    let (speed, caution) = match reached {
        Reached::At(speed) => (
            speed,
            "Gusts count, not the mean; the employer's own wind limit goes before this.",
        ),
        Reached::InStillAir => (Speed::ZERO, "Reached without any wind: do not start."),
        Reached::NotReached => (
            wind::SPEED_MOST,
            "Not reached up to this speed; the employer's own wind limit governs.",
        ),
    };
    work.put(
        name,
        title,
        round_down(name, speed.to_kilometres_per_hour(), 0)?,
        "km/h",
        Bound::Most,
        None,
        WIND_SOURCE,
        vec![caution],
    );
    Ok(())
}
