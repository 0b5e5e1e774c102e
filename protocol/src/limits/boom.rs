//! Boom: mast, boom, link and braces in three dimensions.
//! Owns: nothing.   Gives: the forces in every member, Euler loads, the boom angles that the ratings allow.
//! May use: units, error.   Never: ratings that the items do not give; bending by hand-held loads.
//!
//! The mast stands on a ball joint at the origin, z up; the boom's heel is at the same point. All members
//! have hinged ends, self weight goes half to each end (exact for the joints). Compression is positive in
//! mast and boom, tension in link, guy and braces. A fixed mast base changes the braces by under 0.2 %.
//! Source: equilibrium of joints; three braces by their stiffness. No published example of this rig was
//! found: the checks are rigs recomputed by general-purpose frame programs.

use crate::limits::error::LimitError;
use crate::limits::units::{Angle, Force, Length, Pressure};

/// A point, from the mast's base.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Point {
    /// Along.
    pub x: Length,
    /// Across.
    pub y: Length,
    /// Up.
    pub z: Length,
}

impl Point {
    /// A point by its metres.
    #[must_use]
    pub const fn metres(x: f64, y: f64, z: f64) -> Self {
        Self {
            x: Length::metres(x),
            y: Length::metres(y),
            z: Length::metres(z),
        }
    }

    fn vector(self) -> Vector {
        [self.x.to_metres(), self.y.to_metres(), self.z.to_metres()]
    }

    /// Distance to another point.
    #[must_use]
    pub fn to(self, other: Self) -> Length {
        Length::metres(norm(minus(other.vector(), self.vector())))
    }
}

type Vector = [f64; 3];

fn plus(a: Vector, b: Vector) -> Vector {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}
fn minus(a: Vector, b: Vector) -> Vector {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}
fn times(a: Vector, k: f64) -> Vector {
    [a[0] * k, a[1] * k, a[2] * k]
}
fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
fn cross(a: Vector, b: Vector) -> Vector {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
fn norm(a: Vector) -> f64 {
    dot(a, a).sqrt()
}
fn towards(from: Vector, to: Vector, what: &'static str) -> Result<Vector, LimitError> {
    let along = minus(to, from);
    let length = norm(along);
    if length > 1e-3 && length.is_finite() {
        Ok(times(along, 1.0 / length))
    } else {
        Err(LimitError::NotPositive {
            what,
            found: length,
            unit: "m",
        })
    }
}

/// Solves a·x + b·y + c·z = right.
fn solve(
    a: Vector,
    b: Vector,
    c: Vector,
    right: Vector,
    what: &'static str,
) -> Result<Vector, LimitError> {
    let volume = dot(a, cross(b, c));
    if volume.is_nan() || volume.abs() <= 1e-6 {
        return Err(LimitError::NoEquilibrium {
            what,
            why: "its members lie in one plane and cannot hold a force across it",
        });
    }
    Ok([
        dot(right, cross(b, c)) / volume,
        dot(a, cross(right, c)) / volume,
        dot(a, cross(b, right)) / volume,
    ])
}

/// The rig.
#[derive(Clone, PartialEq, Debug)]
pub struct Rig {
    /// Length of the mast.
    pub mast: Length,
    /// Length of the boom.
    pub boom: Length,
    /// Angle of the boom from the vertical.
    pub boom_angle: Angle,
    /// Direction in which the boom points, from x towards y.
    pub boom_azimuth: Angle,
    /// Lean of the mast from the vertical; plumb is nothing.
    pub lean: Angle,
    /// Direction in which it leans.
    pub lean_azimuth: Angle,
    /// Everything that hangs at the tip.
    pub load: Force,
    /// Weight of the boom.
    pub boom_weight: Force,
    /// Weight of the mast.
    pub mast_weight: Force,
    /// Weight of the link.
    pub link_weight: Force,
    /// Pull of the rope's tail where it leaves the tip block.
    pub tail: Force,
    /// The lead block that the tail goes to.
    pub lead: Point,
    /// Anchor of a side guy at the tip, if there is one.
    pub guy: Option<Point>,
    /// Anchors of the braces: one (all in one plane), two or three.
    pub braces: Vec<Point>,
    /// EA of each brace; matters for three.
    pub brace_stiffness: Force,
    /// EA of the mast; matters for three braces.
    pub mast_stiffness: Force,
    /// Braces of rope, which go slack instead of pushing.
    pub rope_braces: bool,
}

/// Forces in the rig.
#[derive(Clone, PartialEq, Debug)]
pub struct Forces {
    /// Compression of the boom, mean along it.
    pub boom: Force,
    /// Compression at its heel.
    pub boom_heel: Force,
    /// Tension of the link.
    pub link: Force,
    /// Tension of the side guy; without one, the side force that something must supply.
    pub side: Force,
    /// Whether a side guy supplies it.
    pub side_by_guy: bool,
    /// Compression of the mast, mean along it.
    pub mast: Force,
    /// Compression at its base.
    pub mast_base: Force,
    /// Tension of each brace, in the order given; a slack rope has none.
    pub braces: Vec<Force>,
    /// What the structure pushes back with at the base.
    pub base: [Force; 3],
    /// Where the tip is.
    pub tip: Point,
    /// Largest force left over at a joint: rounding only.
    pub out_of_balance: Force,
}

/// Side force above which a free boom would swing: a guy is needed.
pub const SIDE_FORCE_MOST: Force = Force::newtons(5.0);

fn direction(from_vertical: Angle, azimuth: Angle) -> Vector {
    [
        from_vertical.sin() * azimuth.cos(),
        from_vertical.sin() * azimuth.sin(),
        from_vertical.cos(),
    ]
}

/// The forces in every member.
///
/// Mast and boom 0.3 to 30 m, boom 0.5 to 150° from the vertical, lean up to 45° (US Army FM 5-125 chapter 5
/// for gin poles), up to three braces.
///
/// # Errors
/// [`LimitError`] for inputs outside their range, or a rig that cannot stand: a guy or rope brace that
/// would have to push, members in one plane.
pub fn forces(rig: &Rig) -> Result<Forces, LimitError> {
    let members = checked(rig)?;
    let tip = tip_joint(rig, &members)?;
    let top = mast_top(rig, &members, tip.link)?;
    let half = |weight: Force| weight.to_newtons() / 2.0;
    let up = half(rig.mast_weight) + half(rig.boom_weight);
    let base = plus(
        plus(
            times(members.to_base, -top.mast),
            times(members.to_heel, -tip.boom),
        ),
        [0.0, 0.0, up],
    );
    Ok(Forces {
        boom: Force::newtons(tip.boom),
        boom_heel: Force::newtons(tip.boom + half(rig.boom_weight) * rig.boom_angle.cos()),
        link: Force::newtons(tip.link),
        side: Force::newtons(tip.side),
        side_by_guy: rig.guy.is_some(),
        mast: Force::newtons(top.mast),
        mast_base: Force::newtons(top.mast + half(rig.mast_weight) * rig.lean.cos()),
        braces: top
            .braces
            .iter()
            .map(|brace| Force::newtons(*brace))
            .collect(),
        base: base.map(Force::newtons),
        tip: Point::metres(members.tip[0], members.tip[1], members.tip[2]),
        out_of_balance: Force::newtons(tip.left_over.max(top.left_over)),
    })
}

/// Where the joints are and which way the members point.
struct Members {
    top: Vector,
    tip: Vector,
    /// From the tip to the heel.
    to_heel: Vector,
    /// From the top to the base.
    to_base: Vector,
    /// From the tip to the top.
    link: Vector,
    /// From the tip: the guy, or the horizontal across the boom.
    side: Vector,
    /// From the top to each anchor.
    braces: Vec<Vector>,
}

fn checked(rig: &Rig) -> Result<Members, LimitError> {
    let (short, long) = (Length::metres(0.3), Length::metres(30.0));
    let mast = rig
        .mast
        .within("length of the mast", short, long)?
        .to_metres();
    let boom = rig
        .boom
        .within("length of the boom", short, long)?
        .to_metres();
    rig.boom_angle.within(
        "angle of the boom from the vertical",
        Angle::degrees(0.5),
        Angle::degrees(150.0),
    )?;
    rig.lean
        .within("lean of the mast", Angle::ZERO, Angle::degrees(45.0))?;
    rig.boom_azimuth.finite("direction of the boom")?;
    rig.lean_azimuth.finite("direction of the lean")?;
    for (what, force) in [
        ("load", rig.load),
        ("weight of the boom", rig.boom_weight),
        ("weight of the mast", rig.mast_weight),
        ("weight of the link", rig.link_weight),
        ("pull of the tail", rig.tail),
    ] {
        force.not_negative(what)?;
    }
    if !(1..=3).contains(&rig.braces.len()) {
        #[allow(clippy::cast_precision_loss, reason = "a count of braces")]
        let found = rig.braces.len() as f64;
        return Err(LimitError::OutOfRange {
            what: "braces",
            found,
            least: 1.0,
            most: 3.0,
            unit: "",
        });
    }
    let top = times(direction(rig.lean, rig.lean_azimuth), mast);
    let tip = times(direction(rig.boom_angle, rig.boom_azimuth), boom);
    let side = match rig.guy {
        Some(anchor) => towards(tip, anchor.vector(), "length of the side guy")?,
        None => [-rig.boom_azimuth.sin(), rig.boom_azimuth.cos(), 0.0],
    };
    let braces = rig
        .braces
        .iter()
        .map(|anchor| towards(top, anchor.vector(), "length of a brace"))
        .collect::<Result<_, _>>()?;
    Ok(Members {
        to_heel: times(tip, -1.0 / boom),
        to_base: times(top, -1.0 / mast),
        link: towards(tip, top, "length of the link")?,
        top,
        tip,
        side,
        braces,
    })
}

struct Tip {
    boom: f64,
    link: f64,
    side: f64,
    left_over: f64,
}

fn tip_joint(rig: &Rig, members: &Members) -> Result<Tip, LimitError> {
    let down = rig.load.to_newtons()
        + rig.boom_weight.to_newtons() / 2.0
        + rig.link_weight.to_newtons() / 2.0;
    let mut force = [0.0, 0.0, -down];
    if rig.tail > Force::ZERO {
        let lead = towards(members.tip, rig.lead.vector(), "distance to the lead block")?;
        force = plus(force, times(lead, rig.tail.to_newtons()));
    }
    // −C·to_heel + T·link + G·side = −F, with compression pushing away from the heel.
    let push = times(members.to_heel, -1.0);
    let [boom, link, side] = solve(
        push,
        members.link,
        members.side,
        times(force, -1.0),
        "boom tip",
    )?;
    if rig.guy.is_some() && side < -1e-9 {
        return Err(LimitError::NoEquilibrium {
            what: "side guy",
            why: "it would have to push; put it on the other side",
        });
    }
    if link < 0.0 {
        return Err(LimitError::NoEquilibrium {
            what: "link",
            why: "it would have to push; the boom would fall over the mast",
        });
    }
    let sum = plus(
        plus(times(push, boom), times(members.link, link)),
        plus(times(members.side, side), force),
    );
    Ok(Tip {
        boom,
        link,
        side,
        left_over: norm(sum),
    })
}

struct Top {
    mast: f64,
    braces: Vec<f64>,
    left_over: f64,
}

fn mast_top(rig: &Rig, members: &Members, link: f64) -> Result<Top, LimitError> {
    let down = rig.mast_weight.to_newtons() / 2.0 + rig.link_weight.to_newtons() / 2.0;
    let force = plus(times(members.link, -link), [0.0, 0.0, -down]);
    let mut taut: Vec<usize> = (0..members.braces.len()).collect();
    loop {
        let (mast, found) = brace_forces(rig, members, &taut, force)?;
        // The slackest rope comes out first: its absence may tighten another.
        let slackest = taut
            .iter()
            .copied()
            .zip(&found)
            .filter(|(_, tension)| **tension < -1e-9)
            .min_by(|a, b| a.1.total_cmp(b.1));
        match slackest {
            Some((brace, _)) if rig.rope_braces => taut.retain(|one| *one != brace),
            _ => {
                let mut braces = vec![0.0; members.braces.len()];
                for (brace, tension) in taut.iter().zip(&found) {
                    braces[*brace] = *tension;
                }
                let held = members
                    .braces
                    .iter()
                    .zip(&braces)
                    .fold(times(members.to_base, -mast), |sum, (way, tension)| {
                        plus(sum, times(*way, *tension))
                    });
                return Ok(Top {
                    mast,
                    braces,
                    left_over: norm(plus(held, force)),
                });
            }
        }
    }
}

fn brace_forces(
    rig: &Rig,
    members: &Members,
    taut: &[usize],
    force: Vector,
) -> Result<(f64, Vec<f64>), LimitError> {
    let push = times(members.to_base, -1.0);
    let ways: Vec<Vector> = taut.iter().map(|brace| members.braces[*brace]).collect();
    match ways[..] {
        [] => Err(LimitError::NoEquilibrium {
            what: "braces",
            why: "every brace is slack; the mast would fall",
        }),
        [way] => {
            // One brace holds the mast in its own plane only; a third direction shows what it does not hold.
            let across = cross(push, way);
            let [mast, brace, left] = solve(
                push,
                way,
                times(across, 1.0 / norm(across)),
                times(force, -1.0),
                "mast and brace",
            )?;
            if left.abs() > 1e-6 * norm(force).max(1.0) {
                return Err(LimitError::NoEquilibrium {
                    what: "braces",
                    why: "one brace holds its own plane only; the mast would fall sideways",
                });
            }
            Ok((mast, vec![brace]))
        }
        [one, other] => {
            let [mast, a, b] = solve(push, one, other, times(force, -1.0), "mast and braces")?;
            Ok((mast, vec![a, b]))
        }
        _ => by_stiffness(rig, members, taut, &ways, force),
    }
}

/// Three braces and the mast are one member too many: each takes its part by its stiffness along the
/// small movement of the mast's top. k = EA/length, K = Σ k·u·uᵀ, d = K⁻¹F, tension = −k·u·d.
fn by_stiffness(
    rig: &Rig,
    members: &Members,
    taut: &[usize],
    ways: &[Vector],
    force: Vector,
) -> Result<(f64, Vec<f64>), LimitError> {
    let brace_ea = rig
        .brace_stiffness
        .positive("stiffness of the braces")?
        .to_newtons();
    let mast_ea = rig
        .mast_stiffness
        .positive("stiffness of the mast")?
        .to_newtons();
    let mut springs: Vec<(f64, Vector)> = vec![(mast_ea / norm(members.top), members.to_base)];
    for (brace, way) in taut.iter().zip(ways) {
        let length = norm(minus(rig.braces[*brace].vector(), members.top));
        springs.push((brace_ea / length, *way));
    }
    let mut matrix = [[0.0; 3]; 3];
    for (k, u) in &springs {
        for (row, line) in matrix.iter_mut().enumerate() {
            for (column, cell) in line.iter_mut().enumerate() {
                *cell += k * u[row] * u[column];
            }
        }
    }
    // Scaled by the mast's stiffness, so that the test for a flat rig means the same for any material.
    let scale = 1.0 / springs[0].0;
    let scaled = matrix.map(|row| row.map(|cell| cell * scale));
    let [dx, dy, dz] = solve(
        scaled[0],
        scaled[1],
        scaled[2],
        times(force, scale),
        "mast and braces",
    )?;
    let moved = [dx, dy, dz];
    let tensions: Vec<f64> = springs.iter().map(|(k, u)| -k * dot(*u, moved)).collect();
    Ok((-tensions[0], tensions[1..].to_vec()))
}

/// How a member's ends are held.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Ends {
    /// Hinged at both, K = 1.
    Hinged,
    /// Fixed at one, free at the other, K = 2.
    FixedFree,
    /// Fixed at one, hinged at the other, K = 0.6992.
    FixedHinged,
    /// Fixed at both, K = 0.5.
    Fixed,
}

/// A tube or rod.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Section {
    /// Outer diameter.
    pub outer: Length,
    /// Wall; `None`: solid.
    pub wall: Option<Length>,
    /// Modulus along it. Ask the maker: pultruded rod is found from 20.6 to 41.4 GPa.
    pub modulus: Pressure,
    /// Shear modulus.
    pub shear: Pressure,
}

/// Buckling loads.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Buckling {
    /// Euler's, π²EI/(KL)².
    pub euler: Force,
    /// With the softness in shear, P/(1 + n·P/GA), n = 2 for a thin tube and 10/9 for a rod.
    pub with_shear: Force,
    /// KL over the radius of gyration.
    pub slenderness: f64,
}

/// Euler load of a straight member; no allowance for crookedness or wear, so a factor of safety of the
/// employer's goes on it. Length 0.3 to 30 m.
///
/// Source: Euler's column formula with Engesser's correction for shear, in any strength-of-materials text.
///
/// # Errors
/// [`LimitError`] for inputs outside their range.
pub fn buckling(section: &Section, length: Length, ends: Ends) -> Result<Buckling, LimitError> {
    let l = length
        .within(
            "length of the member",
            Length::metres(0.3),
            Length::metres(30.0),
        )?
        .to_metres();
    let outer = section
        .outer
        .within(
            "outer diameter",
            Length::millimetres(5.0),
            Length::millimetres(500.0),
        )?
        .to_metres();
    let inner = match section.wall {
        None => 0.0,
        Some(wall) => {
            outer
                - 2.0
                    * wall
                        .within("wall", Length::millimetres(0.5), section.outer / 2.0)?
                        .to_metres()
        }
    };
    let e = section
        .modulus
        .within(
            "modulus",
            Pressure::gigapascals(1.0),
            Pressure::gigapascals(250.0),
        )?
        .to_pascals();
    let g = section
        .shear
        .within(
            "shear modulus",
            Pressure::gigapascals(0.5),
            Pressure::gigapascals(100.0),
        )?
        .to_pascals();
    let pi = core::f64::consts::PI;
    let area = pi / 4.0 * (outer * outer - inner * inner);
    let inertia = pi / 64.0 * (outer * outer * outer * outer - inner * inner * inner * inner);
    let k = match ends {
        Ends::Hinged => 1.0,
        Ends::FixedFree => 2.0,
        // π over the first root of tan x = x.
        Ends::FixedHinged => pi / 4.493_409_457_909_064,
        Ends::Fixed => 0.5,
    };
    let effective = k * l;
    let euler = pi * pi * e * inertia / (effective * effective);
    let n = if section.wall.is_some() {
        2.0
    } else {
        10.0 / 9.0
    };
    Ok(Buckling {
        euler: Force::newtons(euler),
        with_shear: Force::newtons(euler / (1.0 + n * euler / (g * area))),
        slenderness: effective / (inertia / area).sqrt(),
    })
}

/// What the members may carry.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Ratings {
    /// Compression of the mast.
    pub mast: Force,
    /// Compression of the boom.
    pub boom: Force,
    /// Tension of the link.
    pub link: Force,
    /// Tension of each brace.
    pub brace: Force,
    /// Tension of the side guy.
    pub guy: Force,
}

/// How much of each rating is used, 1 = all of it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Utilisation {
    /// Mast at its base.
    pub mast: f64,
    /// Boom at its heel.
    pub boom: f64,
    /// Link.
    pub link: f64,
    /// The most loaded brace, pulling or pushing.
    pub brace: f64,
    /// Side guy; nothing without one.
    pub guy: f64,
}

impl Utilisation {
    /// The greatest of them.
    #[must_use]
    pub fn most(&self) -> f64 {
        [self.mast, self.boom, self.link, self.brace, self.guy]
            .into_iter()
            .fold(0.0, f64::max)
    }
}

/// How much of each rating the forces use.
///
/// # Errors
/// [`LimitError`] for a rating that is not above zero.
pub fn utilisation(forces: &Forces, ratings: &Ratings) -> Result<Utilisation, LimitError> {
    let brace = forces
        .braces
        .iter()
        .fold(Force::ZERO, |most, brace| most.max(brace.abs()));
    let guy = if forces.side_by_guy {
        forces
            .side
            .ratio(ratings.guy.positive("rating of the side guy")?)
    } else {
        0.0
    };
    Ok(Utilisation {
        mast: forces
            .mast_base
            .abs()
            .ratio(ratings.mast.positive("rating of the mast")?),
        boom: forces
            .boom_heel
            .abs()
            .ratio(ratings.boom.positive("rating of the boom")?),
        link: forces
            .link
            .ratio(ratings.link.positive("rating of the link")?),
        brace: brace.ratio(ratings.brace.positive("rating of the braces")?),
        guy,
    })
}

/// What the boom angle is judged by besides the ratings.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Surroundings {
    /// The nearest energised part, as a point.
    pub energised: Point,
    /// Least distance of tip and load from it.
    pub approach: Length,
    /// How far the load hangs below the tip.
    pub hanging: Length,
}

/// A boom angle and what it means.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct AngleCheck {
    /// From the vertical.
    pub angle: Angle,
    /// The most used rating; `None`: the rig cannot stand so.
    pub used: Option<f64>,
    /// Distance of tip or hanging load, whichever is nearer, from the energised part.
    pub distance: Option<Length>,
    /// Whether everything allows it.
    pub allowed: bool,
}

/// Boom angles from `from` to `to` in whole-degree steps, each judged. The allowed range is what lies
/// between neighbours that are both allowed; a rig that cannot stand at an angle is not an error here.
///
/// # Errors
/// [`LimitError`] for ratings that are not above zero or angles in the wrong order.
pub fn boom_angles(
    rig: &Rig,
    ratings: &Ratings,
    around: Option<&Surroundings>,
    from: Angle,
    to: Angle,
) -> Result<Vec<AngleCheck>, LimitError> {
    let least = libm::ceil(
        from.within(
            "least angle of the boom",
            Angle::degrees(0.5),
            Angle::degrees(150.0),
        )?
        .to_degrees(),
    );
    let most = to
        .within("greatest angle of the boom", from, Angle::degrees(150.0))?
        .to_degrees();
    let mut checks = Vec::new();
    let mut degrees = least;
    while degrees <= most {
        let angle = Angle::degrees(degrees);
        let found = forces(&Rig {
            boom_angle: angle,
            ..rig.clone()
        });
        let (used, distance) = match &found {
            Ok(found) => (
                Some(utilisation(found, ratings)?.most()),
                around.map(|around| nearest(found.tip, around)),
            ),
            Err(LimitError::NoEquilibrium { .. }) => (None, None),
            Err(error) => return Err(error.clone()),
        };
        let steady = found
            .as_ref()
            .is_ok_and(|found| found.side_by_guy || found.side.abs() <= SIDE_FORCE_MOST);
        let far = match (around, distance) {
            (Some(around), Some(distance)) => distance >= around.approach,
            (None, _) => true,
            (Some(_), None) => false,
        };
        checks.push(AngleCheck {
            angle,
            used,
            distance,
            allowed: steady && far && used.is_some_and(|used| used <= 1.0),
        });
        degrees += 1.0;
    }
    Ok(checks)
}

/// Distance from the energised part to the line from tip to hanging load.
fn nearest(tip: Point, around: &Surroundings) -> Length {
    let below = (tip.z - around.energised.z)
        .max(Length::ZERO)
        .min(around.hanging);
    let point = Point {
        z: tip.z - below,
        ..tip
    };
    point.to(around.energised)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    pub(crate) fn rig() -> Rig {
        Rig {
            mast: Length::metres(3.0),
            boom: Length::metres(3.0),
            boom_angle: Angle::degrees(60.0),
            boom_azimuth: Angle::ZERO,
            lean: Angle::ZERO,
            lean_azimuth: Angle::ZERO,
            load: Force::newtons(4000.0),
            boom_weight: Force::newtons(115.0),
            mast_weight: Force::newtons(150.0),
            link_weight: Force::newtons(60.0),
            tail: Force::ZERO,
            lead: Point::metres(0.0, 0.0, -10.0),
            guy: None,
            braces: vec![
                Point::metres(-2.0, 1.5, 0.0),
                Point::metres(-2.0, -1.5, 0.0),
            ],
            brace_stiffness: Force::newtons(2e6),
            mast_stiffness: Force::newtons(2e7),
            rope_braces: true,
        }
    }

    #[test]
    fn a_plumb_mast_follows_the_triangle() {
        let found = forces(&rig()).unwrap();
        let down = 4000.0 + 115.0 / 2.0 + 60.0 / 2.0;
        // C = W·L/H and T = W·l/H in one plane, l the link; here all sides are 3 m.
        assert!((found.boom.to_newtons() - down).abs() < 1e-9 * down);
        assert!((found.link.to_newtons() - down).abs() < 1e-9 * down);
        assert!((found.braces[0] - found.braces[1]).abs().to_newtons() < 1e-9);
        assert!(found.out_of_balance.to_newtons() < 1e-9 * down);
    }

    #[test]
    fn every_joint_is_in_balance_and_more_load_never_means_less_force() {
        for seed in 0..500_u32 {
            let pick = |salt: u32, low: f64, high: f64| {
                let mixed = seed
                    .wrapping_mul(2_654_435_761)
                    .wrapping_add(salt.wrapping_mul(40_503))
                    .wrapping_mul(2_246_822_519)
                    >> 8;
                low + (high - low) * f64::from(mixed) / f64::from(1 << 24)
            };
            let mut one = rig();
            one.boom_angle = Angle::degrees(pick(1, 20.0, 110.0));
            one.lean = Angle::degrees(pick(2, 0.0, 8.0));
            one.lean_azimuth = Angle::degrees(pick(3, -180.0, 180.0));
            one.tail = Force::newtons(pick(4, 0.0, 2000.0));
            one.rope_braces = false;
            if seed % 2 == 0 {
                one.braces.push(Point::metres(
                    pick(5, -3.0, -2.0),
                    pick(6, -0.4, 0.4),
                    pick(7, -1.0, 1.0),
                ));
            }
            let Ok(found) = forces(&one) else { continue };
            assert!(
                found.out_of_balance.to_newtons()
                    <= 1e-9 * found.mast.abs().to_newtons().max(1000.0),
                "seed {seed}"
            );
            let more = forces(&Rig {
                load: one.load * 1.5,
                ..one.clone()
            })
            .unwrap();
            assert!(more.link >= found.link, "seed {seed}");
        }
    }

    #[test]
    fn a_rig_seen_in_a_mirror_or_from_another_side_has_the_same_forces() {
        let near = |a: Force, b: Force| {
            let (a, b) = (a.to_newtons(), b.to_newtons());
            assert!((a - b).abs() <= 1e-6 * b.abs().max(1.0), "{a} {b}");
        };
        for step in 0..40 {
            let n = f64::from(step);
            let one = Rig {
                boom_angle: Angle::degrees(30.0 + 2.0 * n),
                boom_azimuth: Angle::degrees(n / 10.0),
                lean: Angle::degrees(n / 10.0),
                lean_azimuth: Angle::degrees(170.0 - 2.0 * n),
                braces: vec![
                    Point::metres(-2.0, 1.5, 0.0),
                    Point::metres(-2.0, -1.2, 0.2),
                ],
                rope_braces: false,
                ..rig()
            };
            let found = forces(&one).unwrap();
            let flip = |point: &Point| Point {
                y: -point.y,
                ..*point
            };
            let mirrored = forces(&Rig {
                boom_azimuth: -one.boom_azimuth,
                lean_azimuth: -one.lean_azimuth,
                lead: flip(&one.lead),
                braces: one.braces.iter().map(flip).collect(),
                ..one.clone()
            })
            .unwrap();
            // The whole rig turned about the mast's foot.
            let by = Angle::degrees(9.0 * n);
            let (sin, cos) = (by.sin(), by.cos());
            let turn = |point: &Point| Point {
                x: point.x * cos - point.y * sin,
                y: point.x * sin + point.y * cos,
                z: point.z,
            };
            let within_half_turn = |angle: Angle| {
                let degrees = angle.to_degrees();
                Angle::degrees(if degrees > 180.0 {
                    degrees - 360.0
                } else {
                    degrees
                })
            };
            let turned = forces(&Rig {
                boom_azimuth: within_half_turn(one.boom_azimuth + by),
                lean_azimuth: within_half_turn(one.lean_azimuth + by),
                lead: turn(&one.lead),
                braces: one.braces.iter().map(turn).collect(),
                ..one.clone()
            })
            .unwrap();
            for same in [mirrored, turned] {
                near(same.boom, found.boom);
                near(same.link, found.link);
                near(same.mast, found.mast);
                for (a, b) in same.braces.iter().zip(&found.braces) {
                    near(*a, *b);
                }
            }
        }
    }

    #[test]
    fn what_cannot_stand_is_said() {
        let mut one = rig();
        one.braces = vec![Point::metres(2.0, 1.5, 0.0), Point::metres(2.0, -1.5, 0.0)];
        assert!(matches!(
            forces(&one),
            Err(LimitError::NoEquilibrium { what: "braces", .. })
        ));
        one = rig();
        one.lean = Angle::degrees(46.0);
        assert!(matches!(
            forces(&one),
            Err(LimitError::OutOfRange {
                what: "lean of the mast",
                ..
            })
        ));
    }

    #[test]
    fn the_allowed_angles_end_where_a_rating_or_the_distance_does() {
        let ratings = Ratings {
            mast: Force::newtons(9000.0),
            boom: Force::newtons(6000.0),
            link: Force::newtons(5000.0),
            brace: Force::newtons(4000.0),
            guy: Force::newtons(1000.0),
        };
        let all = boom_angles(
            &rig(),
            &ratings,
            None,
            Angle::degrees(10.0),
            Angle::degrees(120.0),
        )
        .unwrap();
        assert!(all.iter().any(|check| check.allowed) && all.iter().any(|check| !check.allowed));
        for check in &all {
            assert_eq!(check.allowed, check.used.is_some_and(|used| used <= 1.0));
        }
        let around = Surroundings {
            energised: Point::metres(4.0, 0.0, 0.0),
            approach: Length::metres(2.0),
            hanging: Length::metres(1.0),
        };
        for check in boom_angles(
            &rig(),
            &ratings,
            Some(&around),
            Angle::degrees(10.0),
            Angle::degrees(120.0),
        )
        .unwrap()
        {
            assert!(!check.allowed || check.distance.unwrap() >= around.approach);
        }
    }
}
