//! Drawings of the limit sheet, as SVG inside the page.
//! Owns: nothing.   Gives: `structure`, `rig`, `spans`, `bar`; each nothing where its values are not.
//! May use: the sheet's geometry.   Never: a formula; a picture that is not to scale without saying so.

use gantline_protocol::limits::boom::{Forces, Rig};
use gantline_protocol::limits::sheet::Drawings;
use gantline_protocol::limits::units::{Force, Length};
use maud::{Markup, html};

/// The string at the arm with the approach distance around the conductor, to scale.
pub fn structure(drawings: &Drawings) -> Option<Markup> {
    let (approach, string) = (drawings.approach?.to_metres(), drawings.string?.to_metres());
    // The whole height is the string, the envelope below it and a little air.
    let scale = 300.0 / (string + 2.0 * approach + 0.5);
    let (cx, top) = (170.0, 20.0 + (approach - string).max(0.0) * scale);
    let conductor = top + string * scale;
    let discs = 12_u32;
    Some(html! {
        figure {
            svg viewBox="0 0 340 360" role="img" aria-label="String with the approach distance around the conductor" {
                circle cx=(cx) cy=(conductor) r=(approach * scale) fill="#fff3c4" stroke="#000" stroke-dasharray="6 4" {}
                line x1="40" y1=(top) x2="300" y2=(top) stroke="#000" stroke-width="6" {}
                @for disc in 0..discs {
                    @let y = top + (f64::from(disc) + 0.7) * string * scale / f64::from(discs);
                    ellipse cx=(cx) cy=(y) rx="11" ry="5" fill="#fff" stroke="#000" {}
                }
                circle cx=(cx) cy=(conductor) r="7" fill="#000" {}
                line x1=(cx) y1=(conductor) x2=(cx + approach * scale) y2=(conductor) stroke="#000" marker-end="url(#tip)" {}
                text x=(cx + approach * scale / 2.0) y=(conductor - 6.0) text-anchor="middle" { (format!("{approach:.2} m")) }
                text x="44" y=(top - 8.0) { "arm" }
            }
            figcaption { "String and conductor with the approach distance, to scale. Nobody and nothing inside the broken line." }
        }
    })
}

/// Mast, boom, link and braces from the side, with their forces.
pub fn rig(drawings: &Drawings) -> Option<Markup> {
    let (rig, forces) = drawings.rig.as_ref()?;
    let (mast, boom) = (rig.mast.to_metres(), rig.boom.to_metres());
    let scale = 130.0 / mast.max(boom);
    let at = |x: f64, z: f64| (170.0 + x * scale, 200.0 - z * scale);
    let lean = rig.lean.sin() * rig.lean_azimuth.cos();
    let base = at(0.0, 0.0);
    let top = at(lean * mast, rig.lean.cos() * mast);
    let tip = at(forces.tip.x.to_metres(), forces.tip.z.to_metres());
    Some(html! {
        figure {
            svg viewBox="0 0 340 360" role="img" aria-label="Mast and boom from the side with their forces" {
                @for (anchor, force) in rig.braces.iter().zip(&forces.braces) {
                    @let end = at(anchor.x.to_metres(), anchor.z.to_metres());
                    (member(top, end, *force, "brace", 1.5))
                }
                (member(base, top, forces.mast_base, "mast", 5.0))
                (member(base, tip, forces.boom_heel, "boom", 5.0))
                (member(top, tip, forces.link, "link", 2.0))
                line x1=(tip.0) y1=(tip.1) x2=(tip.0) y2=(tip.1 + 70.0) stroke="#a80000" stroke-width="2" marker-end="url(#tip)" {}
                text x=(tip.0 + 6.0) y=(tip.1 + 66.0) { (kilonewtons(rig.load)) }
                circle cx=(base.0) cy=(base.1) r="5" fill="#fff" stroke="#000" stroke-width="2" {}
            }
            figcaption { (rig_words(rig, forces)) }
        }
    })
}

fn rig_words(rig: &Rig, forces: &Forces) -> String {
    let side = if forces.side_by_guy {
        "held by the side guy"
    } else {
        "no side guy"
    };
    format!(
        "Mast and boom from the side, to scale; boom {:.0}° from the vertical, side force {} ({side}).",
        rig.boom_angle.to_degrees(),
        kilonewtons(forces.side.abs())
    )
}

fn member(from: (f64, f64), to: (f64, f64), force: Force, name: &str, width: f64) -> Markup {
    let middle = ((from.0 + to.0) / 2.0, (from.1 + to.1) / 2.0);
    html! {
        line x1=(from.0) y1=(from.1) x2=(to.0) y2=(to.1) stroke="#003f87" stroke-width=(width) {}
        text x=(middle.0 + 5.0) y=(middle.1) class="force" { (name) " " (kilonewtons(force)) }
    }
}

fn kilonewtons(force: Force) -> String {
    format!("{:.2} kN", force.to_kilonewtons())
}

/// Both spans with their sag, heights drawn ten times too large.
pub fn spans(drawings: &Drawings) -> Option<Markup> {
    let [back, ahead] = drawings.spans[..] else {
        return None;
    };
    let metres = |length: Length| length.to_metres();
    let scale = 620.0 / (metres(back.0) + metres(ahead.0));
    let here = 30.0 + metres(back.0) * scale;
    let most = [back, ahead].iter().fold(1.0_f64, |most, span| {
        most.max(metres(span.2) + metres(span.1).abs())
    });
    let high = 110.0 / most;
    let curve = |from: f64, span: (Length, Length, Length), ahead: bool| {
        let way = if ahead { 1.0 } else { -1.0 };
        let end = (
            from + way * metres(span.0) * scale,
            40.0 + metres(span.1) * high,
        );
        // A parabola through both ends: its control point is twice the sag under the chord's middle.
        let control = (
            (from + end.0) / 2.0,
            (40.0 + end.1) / 2.0 + 2.0 * metres(span.2) * high,
        );
        (
            end,
            format!(
                "M {from} 40 Q {} {} {} {}",
                control.0, control.1, end.0, end.1
            ),
        )
    };
    let drawn = [curve(here, back, false), curve(here, ahead, true)];
    Some(html! {
        figure.wide {
            svg viewBox="0 0 680 240" role="img" aria-label="Both spans with their sag" {
                line x1=(here) y1="20" x2=(here) y2="220" stroke="#000" stroke-width="4" {}
                @for ((end, path), (length, _, sag)) in drawn.iter().zip([back, ahead]) {
                    path d=(path) fill="none" stroke="#000" stroke-width="2" {}
                    line x1=(end.0) y1=(end.1) x2=(end.0) y2="220" stroke="#000" stroke-width="2" {}
                    text x=((here + end.0) / 2.0) y="232" text-anchor="middle" {
                        (format!("{:.0} m, sag {:.2} m", metres(length), metres(sag)))
                    }
                }
            }
            figcaption { "Spans beside the structure; heights are drawn larger than lengths." }
        }
    })
}

/// A bar of how much of a rating is used.
pub fn bar(used: f64) -> Markup {
    let over = used > 1.0;
    html! {
        svg.bar viewBox="0 0 104 12" role="img" aria-label=(format!("{:.0} % of the rating", used * 100.0)) {
            rect x="1" y="1" width="100" height="10" fill="#fff" stroke="#000" {}
            rect x="1" y="1" width=(used.clamp(0.0, 1.0) * 100.0) height="10" fill=(if over { "#a80000" } else { "#003f87" }) {}
        }
        " " (format!("{:.0} %", used * 100.0))
        @if over { strong { " over the rating" } }
    }
}
