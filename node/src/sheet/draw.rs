//! Drawings of the limit sheet, as SVG inside the page.
//! Owns: nothing.   Gives: `structure`, `rig`, `spans`, `bar`; each nothing where its values are not.
//! May use: the sheet's geometry and values.   Never: a formula; a picture that is not to scale without saying so.

use super::Heading;
use crate::words::fill;
use gantline_protocol::limits::boom::{Forces, Rig};
use gantline_protocol::limits::sheet::Sheet;
use gantline_protocol::limits::units::{Force, Length, round_up};
use gantline_protocol::plan::Units;
use maud::{Markup, html};

/// The string at the structure with the approach distance around the conductor, to scale.
pub fn structure(sheet: &Sheet, heading: &Heading) -> Option<Markup> {
    let units = heading.units;
    let drawings = &sheet.drawings;
    let (approach, string) = (drawings.approach?.to_metres(), drawings.string?.to_metres());
    let words = said(sheet, "approach_phase_to_ground", units)?;
    // All of the envelope, the string and a little air.
    let scale = 300.0 / (string.max(approach) + approach + 0.5);
    let (long, reach) = (string * scale, approach * scale);
    // From the structure to the conductor: down, or out along the line.
    let (start, conductor) = if drawings.dead_end {
        let x = 20.0 + (reach - long).max(0.0);
        ((x, 170.0), (x + long, 170.0))
    } else {
        let y = 20.0 + (reach - long).max(0.0);
        ((170.0, y), (170.0, y + long))
    };
    let discs = 12_u32;
    let (rx, ry) = if drawings.dead_end { (5, 11) } else { (11, 5) };
    let what = heading.say(if drawings.dead_end {
        "structure"
    } else {
        "arm"
    });
    Some(html! {
        figure {
            svg viewBox="0 0 340 340" role="img" aria-label=(heading.say("String with the approach distance around the conductor")) {
                circle cx=(conductor.0) cy=(conductor.1) r=(reach) fill="#fff3c4" stroke="#000" stroke-dasharray="6 4" {}
                @if drawings.dead_end {
                    line x1=(start.0) y1="30" x2=(start.0) y2="310" stroke="#000" stroke-width="6" {}
                    line x1=(conductor.0) y1=(conductor.1) x2="336" y2=(conductor.1) stroke="#000" stroke-width="3" {}
                    text x=(start.0) y="22" { (what) }
                } @else {
                    line x1="40" y1=(start.1) x2="300" y2=(start.1) stroke="#000" stroke-width="6" {}
                    text x="44" y=(start.1 - 8.0) { (what) }
                }
                @for disc in 0..discs {
                    @let at = between(start, conductor, (f64::from(disc) + 0.7) / f64::from(discs));
                    ellipse cx=(at.0) cy=(at.1) rx=(rx) ry=(ry) fill="#fff" stroke="#000" {}
                }
                circle cx=(conductor.0) cy=(conductor.1) r="7" fill="#000" {}
                @let edge = (conductor.0 + reach * 0.8, conductor.1 + reach * 0.6);
                line x1=(conductor.0) y1=(conductor.1) x2=(edge.0) y2=(edge.1) stroke="#000" marker-end="url(#tip)" {}
                @let middle = between(conductor, edge, 0.5);
                text x=(middle.0 - 2.0) y=(middle.1 + 20.0) text-anchor="middle" { (words) }
            }
            figcaption { (heading.say("String and conductor with the approach distance, to scale. Nobody and nothing inside the broken line.")) }
        }
    })
}

/// A value of the sheet with its unit, rounded as its bound asks: no picture shows less than the table.
fn said(sheet: &Sheet, name: &str, units: Units) -> Option<String> {
    let line = sheet.line(name)?;
    let (value, unit) = line.in_units(units).unwrap_or((line.value, line.unit));
    Some(format!("{value} {unit}"))
}

/// Mast, boom, link and braces from the side, with their forces.
pub fn rig(sheet: &Sheet, heading: &Heading) -> Option<Markup> {
    let units = heading.units;
    let (rig, forces) = sheet.drawings.rig.as_ref()?;
    let (mast, boom) = (rig.mast.to_metres(), rig.boom.to_metres());
    let scale = 130.0 / mast.max(boom);
    let at = |x: f64, z: f64| (170.0 + x * scale, 200.0 - z * scale);
    let lean = rig.lean.sin() * rig.lean_azimuth.cos();
    let base = at(0.0, 0.0);
    let top = at(lean * mast, rig.lean.cos() * mast);
    let tip = at(forces.tip.x.to_metres(), forces.tip.z.to_metres());
    let braces = rig
        .braces
        .iter()
        .zip(&forces.braces)
        .map(|(anchor, force)| {
            // A brace that pushes is compressed, as the mast is; the sheet counts its pull as positive.
            let end = at(anchor.x.to_metres(), anchor.z.to_metres());
            (end, Force::ZERO - *force)
        });
    let braces: Vec<_> = braces.collect();
    let most = [forces.mast_base, forces.boom_heel, forces.link]
        .into_iter()
        .chain(braces.iter().map(|(_, force)| *force))
        .fold(Force::ZERO, |most, force| most.max(force.abs()));
    let label = |at, right, name: &str, force| label(at, right, name, &force_words(force, units));
    let arrows = |from, to, compression| forces_at_ends(from, to, compression, most);
    Some(html! {
        figure {
            svg viewBox="0 0 340 340" role="img" aria-label=(heading.say("Mast and boom from the side with their forces")) {
                @for (end, _) in &braces { (member(top, *end, 1.5)) }
                (member(base, top, 5.0))
                (member(base, tip, 5.0))
                (member(top, tip, 2.0))
                @for (end, compression) in &braces { (arrows(top, *end, *compression)) }
                (arrows(base, top, forces.mast_base))
                (arrows(base, tip, forces.boom_heel))
                (arrows(top, tip, Force::ZERO - forces.link))
                (label(at(0.0, rig.lean.cos() * mast * 0.4), 7.0, heading.say("mast"), forces.mast_base))
                (label(under(between(base, tip, 0.35)), 6.0, heading.say("boom"), forces.boom_heel))
                (label(between(top, tip, 0.5), 8.0, heading.say("link"), forces.link))
                @for (number, (end, compression)) in braces.iter().enumerate() {
                    @let below = (end.0 - 40.0, end.1 + 14.0 + 13.0 * number as f64);
                    (label(below, 0.0, &fill(heading.say("brace {n}"), &[("n", &(number + 1).to_string())]), *compression))
                }
                line x1=(tip.0) y1=(tip.1) x2=(tip.0) y2=(tip.1 + 70.0) stroke="#a80000" stroke-width="2" marker-end="url(#tip)" {}
                (label((tip.0, tip.1 + 66.0), 8.0, heading.say("load"), rig.load))
                circle cx=(base.0) cy=(base.1) r="5" fill="#fff" stroke="#000" stroke-width="2" {}
            }
            figcaption { (rig_words(rig, forces, heading)) }
        }
    })
}

fn rig_words(rig: &Rig, forces: &Forces, heading: &Heading) -> String {
    let side = heading.say(if forces.side_by_guy {
        "held by the side guy"
    } else {
        "no side guy"
    });
    let words = "Mast and boom from the side, to scale; boom {angle}° from the vertical, side force {force} ({side}).";
    let angle = format!("{:.0}", rig.boom_angle.to_degrees());
    let force = force_words(forces.side, heading.units);
    fill(
        heading.say(words),
        &[("angle", &angle), ("force", &force), ("side", side)],
    )
}

type Spot = (f64, f64);

fn between(from: Spot, to: Spot, part: f64) -> Spot {
    (
        from.0 + (to.0 - from.0) * part,
        from.1 + (to.1 - from.1) * part,
    )
}

fn under(spot: Spot) -> Spot {
    (spot.0, spot.1 + 18.0)
}

fn member(from: Spot, to: Spot, width: f64) -> Markup {
    html! {
        line x1=(from.0) y1=(from.1) x2=(to.0) y2=(to.1) stroke="#003f87" stroke-width=(width) {}
    }
}

fn label(at: Spot, right: f64, name: &str, force: &str) -> Markup {
    html! {
        text x=(at.0 + right) y=(at.1) class="force" { (name) " " (force) }
    }
}

/// What a member does to its two joints: a compressed one pushes them apart, a pulled one draws them together. Arrows
/// are as long as the force is large.
fn forces_at_ends(from: Spot, to: Spot, compression: Force, most: Force) -> Markup {
    let long = ((to.0 - from.0).powi(2) + (to.1 - from.1).powi(2)).sqrt();
    let part = compression.abs().ratio(most.max(Force::newtons(1.0)));
    // Not into the other arrow of the same member.
    let arrow = (34.0 * part).min(0.3 * long).max(7.0) / long.max(1.0);
    let pushes = compression > Force::ZERO;
    html! {
        @for (joint, other) in [(from, to), (to, from)] {
            @let near = between(joint, other, 7.0 / long.max(1.0));
            @let far = between(joint, other, 7.0 / long.max(1.0) + arrow);
            @let (tail, head) = if pushes { (far, near) } else { (near, far) };
            line x1=(tail.0) y1=(tail.1) x2=(head.0) y2=(head.1) stroke="#a80000" stroke-width="2" marker-end="url(#tip)" {}
        }
    }
}

/// The size of a force, rounded up as the table has it.
fn force_words(force: Force, units: Units) -> String {
    let (value, places, unit) = match units {
        Units::Si => (force.abs().to_kilonewtons(), 2, "kN"),
        Units::Us => (force.abs().to_pounds(), 0, "lbf"),
    };
    // A force too large for a number would have stopped the sheet.
    let rounded = round_up("force", value, places).map(|value| value.to_string());
    format!("{} {unit}", rounded.unwrap_or_default())
}

fn span_words(length: Length, units: Units) -> String {
    match units {
        Units::Si => format!("{:.0} m", length.to_metres()),
        Units::Us => format!("{:.0} ft", length.to_feet()),
    }
}

/// The spans at the structure with their sag, heights drawn larger than lengths. A dead-end has the one ahead.
pub fn spans(sheet: &Sheet, heading: &Heading) -> Option<Markup> {
    let units = heading.units;
    let metres = |length: Length| length.to_metres();
    let (back, ahead) = match sheet.drawings.spans[..] {
        [ahead] => (None, ahead),
        [back, ahead] => (Some(back), ahead),
        _ => return None,
    };
    let behind = back.map_or(0.0, |span| metres(span.0));
    let scale = 620.0 / (behind + metres(ahead.0));
    let here = 30.0 + behind * scale;
    let all = || back.into_iter().chain([ahead]);
    let most = all().fold(1.0_f64, |most, span| {
        most.max(metres(span.2) + metres(span.1).abs())
    });
    let high = 110.0 / most;
    let curve = |span: (Length, Length, Length), name: &str, way: f64| {
        let end = (
            here + way * metres(span.0) * scale,
            40.0 + metres(span.1) * high,
        );
        // A parabola through both ends: its control point is twice the sag under the chord's middle.
        let control = (
            (here + end.0) / 2.0,
            (40.0 + end.1) / 2.0 + 2.0 * metres(span.2) * high,
        );
        let path = format!(
            "M {here} 40 Q {} {} {} {}",
            control.0, control.1, end.0, end.1
        );
        let sag = said(sheet, name, units).unwrap_or_default();
        (
            end,
            path,
            fill(
                heading.say("{span}, sag {sag}"),
                &[("span", &span_words(span.0, units)), ("sag", &sag)],
            ),
        )
    };
    let drawn = back.map(|span| curve(span, "sag_back", -1.0));
    let drawn = drawn.into_iter().chain([curve(ahead, "sag_ahead", 1.0)]);
    Some(html! {
        figure.wide tabindex="0" {
            svg viewBox="0 0 680 240" role="img" aria-label=(heading.say("Spans at the structure with their sag")) {
                line x1=(here) y1="20" x2=(here) y2="220" stroke="#000" stroke-width="4" {}
                @for (end, path, words) in drawn {
                    path d=(path) fill="none" stroke="#000" stroke-width="2" {}
                    line x1=(end.0) y1=(end.1) x2=(end.0) y2="220" stroke="#000" stroke-width="2" {}
                    text x=((here + end.0) / 2.0) y="232" text-anchor="middle" { (words) }
                }
            }
            figcaption { (heading.say("Spans at the structure (thick line); heights are drawn larger than lengths.")) }
        }
    })
}

/// A bar of how much of a rating is used.
pub fn bar(used: f64, heading: &Heading) -> Markup {
    let over = used > 1.0;
    let part = format!("{:.0}", used * 100.0);
    let label = fill(heading.say("{part} % of the rating"), &[("part", &part)]);
    html! {
        svg.bar viewBox="0 0 104 12" role="img" aria-label=(label) {
            rect x="1" y="1" width="100" height="10" fill="#fff" stroke="#000" {}
            rect x="1" y="1" width=(used.clamp(0.0, 1.0) * 100.0) height="10" fill=(if over { "#a80000" } else { "#003f87" }) {}
        }
        " " (format!("{:.0} %", used * 100.0))
        @if over { strong { " " (heading.say("over the rating")) } }
    }
}
