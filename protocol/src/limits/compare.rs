//! Compare: recomputes a table that somebody else made and says how far apart the two are.
//! Owns: nothing.   Gives: `compare(header, rows)`, kinds of table recognised by their header.
//! May use: every formula of limits.   Never: files (node reads them).
//!
//! A table is recognised by the columns that its kind needs; further columns are left alone. A column whose
//! cell is empty is not compared in that row. A row that cannot be recomputed is listed with the reason,
//! never passed over in silence.

use crate::limits::approach::{
    AltitudeRule, Exposure, Gap, Surge, altitude_factor, assumed_surge,
    electrical_component_by_rod_gap, minimum_approach, minimum_approach_dc,
};
use crate::limits::boom::{Ends, Point, Rig, Section, buckling, forces};
use crate::limits::error::LimitError;
use crate::limits::loads::{Attachment, Span, attachment_load, unit_load};
use crate::limits::sag::{Linear, State, hanging, horizontal_from_tabled, inclined, ruling_span};
use crate::limits::tackle::{Sheave, block_load, sling_leg, tackle, unequal_sling};
use crate::limits::transfer::{
    Pole, Site, line_stiffness, on_pivoting_yoke, pole_stiffness, share, vertical_sticks,
};
use crate::limits::units::{
    Angle, Area, Expansion, Force, ForcePerLength, Length, METRES_PER_FOOT, Pressure, Speed,
    Stiffness, Temperature, Voltage,
};
use crate::limits::wind;

/// How far one output column is from its recomputation.
#[derive(Clone, PartialEq, Debug)]
pub struct Column {
    /// Its name in the header.
    pub name: String,
    /// Cells compared.
    pub cells: u32,
    /// Largest difference, in the column's own unit.
    pub largest: f64,
    /// Largest difference over the larger of the two values; cells within 1e-9 of each other count as equal.
    pub largest_relative: f64,
    /// Row of the largest relative difference, from 1, the header not counted.
    pub row: usize,
}

/// A row that was not compared.
#[derive(Clone, PartialEq, Debug)]
pub struct LeftOut {
    /// From 1, the header not counted.
    pub row: usize,
    /// Why.
    pub why: String,
}

/// The outcome.
#[derive(Clone, PartialEq, Debug)]
pub struct Comparison {
    /// What kind of table it is.
    pub kind: &'static str,
    /// Rows of which at least one cell was compared.
    pub rows: u32,
    /// Rows that were not.
    pub left_out: Vec<LeftOut>,
    /// Output columns.
    pub columns: Vec<Column>,
}

/// Why a table was not compared.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum CannotCompare {
    /// No kind has these columns.
    #[error("no known kind of table has the columns {found}; known kinds need: {known}")]
    Kind {
        /// The header.
        found: String,
        /// Each kind and its columns.
        known: String,
    },
    /// No row at all could be compared.
    #[error("none of {rows} rows could be recomputed; the first: {why}")]
    Nothing {
        /// How many rows there are.
        rows: usize,
        /// Why the first was left out.
        why: String,
    },
}

/// One row, by column name.
struct Row<'a> {
    header: &'a [String],
    cells: &'a [String],
}

/// Why a row has no computed values.
enum Skip {
    Cell(String),
    Limit(LimitError),
}

impl From<LimitError> for Skip {
    fn from(error: LimitError) -> Self {
        Self::Limit(error)
    }
}

type Outputs = Vec<(&'static str, f64)>;

impl Row<'_> {
    fn text(&self, name: &str) -> &str {
        let at = self.header.iter().position(|column| column == name);
        at.and_then(|at| self.cells.get(at))
            .map_or("", |cell| cell.trim())
    }

    fn maybe(&self, name: &str) -> Result<Option<f64>, Skip> {
        let text = self.text(name);
        if text.is_empty() {
            return Ok(None);
        }
        text.parse()
            .map(Some)
            .map_err(|_| Skip::Cell(format!("{name}: found `{text}`, expected a number")))
    }

    fn number(&self, name: &str) -> Result<f64, Skip> {
        self.maybe(name)?
            .ok_or_else(|| Skip::Cell(format!("{name} is empty")))
    }

    fn point(&self, prefix: &str) -> Result<Option<Point>, Skip> {
        let part = |axis: &str| self.maybe(&format!("{prefix}_{axis}_m"));
        Ok(match (part("x")?, part("y")?, part("z")?) {
            (Some(x), Some(y), Some(z)) => Some(Point::metres(x, y, z)),
            _ => None,
        })
    }
}

struct Kind {
    name: &'static str,
    needs: &'static [&'static str],
    recompute: fn(&Row) -> Result<Outputs, Skip>,
}

/// Every kind; the first whose columns are all there is taken, so the more special come first.
const KINDS: &[Kind] = &[
    Kind {
        name: "approach distances, unprinted cases",
        needs: &["voltage_high_kv", "case", "t_pu", "metres_unrounded"],
        recompute: approach_variants,
    },
    Kind {
        name: "approach distances",
        needs: &["voltage_high_kv", "exposure", "t_pu", "metres", "feet"],
        recompute: approach_table,
    },
    Kind {
        name: "altitude factor",
        needs: &["altitude_low_m", "altitude_high_m", "factor_a"],
        recompute: altitude_table,
    },
    Kind {
        name: "assumed overvoltage",
        needs: &["voltage_high_kv", "current", "t_pu"],
        recompute: surge_table,
    },
    Kind {
        name: "electrical component by rod gap",
        needs: &["system_kv_phase_to_phase", "d_cm"],
        recompute: rod_gap_table,
    },
    Kind {
        name: "unit loads, published",
        needs: &[
            "diameter_in",
            "weight_lb_ft",
            "ice_in",
            "wind_psf",
            "pub_resultant_lb_ft",
        ],
        recompute: unit_loads_published,
    },
    Kind {
        name: "unit loads",
        needs: &[
            "diameter_m",
            "weight_n_m",
            "ice_m",
            "wind_pa",
            "vertical_n_m",
        ],
        recompute: unit_loads,
    },
    Kind {
        name: "attachment loads",
        needs: &[
            "span_back_m",
            "span_ahead_m",
            "dh_back_m",
            "dh_ahead_m",
            "H_back_n",
        ],
        recompute: attachment_table,
    },
    Kind {
        name: "catenary",
        needs: &["span_m", "dh_right_minus_left_m", "w_n_m", "H_n"],
        recompute: catenary_table,
    },
    Kind {
        name: "state change",
        needs: &[
            "span_m",
            "ea_n",
            "alpha_per_c",
            "H1_n",
            "w1_n_m",
            "t1_c",
            "w2_n_m",
            "t2_c",
        ],
        recompute: state_change_table,
    },
    Kind {
        name: "published sag and tension",
        needs: &[
            "span_ft",
            "w_lb_ft",
            "pub_sag_ft",
            "pub_tension_lb",
            "chk_sag_from_tension_ft",
        ],
        recompute: published_sag_table,
    },
    Kind {
        name: "ruling span",
        needs: &["spans_m", "ruling_span_m"],
        recompute: ruling_span_table,
    },
    Kind {
        name: "mast and boom",
        needs: &["H_m", "L_m", "theta_from_vertical_deg", "W_n", "a1_x_m"],
        recompute: statics_table,
    },
    Kind {
        name: "line stiffness",
        needs: &["span_m", "H_n", "w_n_m", "ea_n", "k_line_formula_n_m"],
        recompute: line_stiffness_table,
    },
    Kind {
        name: "load transfer",
        needs: &["T0_n", "k_line_n_m", "k_string_n_m", "k1_n_m", "k2_n_m"],
        recompute: transfer_table,
    },
    Kind {
        name: "vertical lift",
        needs: &[
            "vertical_load_n",
            "angle1_from_vertical_deg",
            "angle2_from_vertical_deg",
            "stick1_n",
        ],
        recompute: vertical_lift_table,
    },
    Kind {
        name: "blocks",
        needs: &["load_n", "parts_n", "sheaves_S", "K", "pull_raising_n"],
        recompute: tackle_table,
    },
    Kind {
        name: "block angle factors",
        needs: &["angle_between_lines_deg", "computed_2cos_half"],
        recompute: block_angle_table,
    },
    Kind {
        name: "sling angle factors",
        needs: &["horizontal_angle_deg", "computed_capacity_pct"],
        recompute: sling_angle_table,
    },
    Kind {
        name: "sling legs",
        needs: &["load_n", "legs", "horizontal_angle1_deg", "leg1_n"],
        recompute: sling_leg_table,
    },
    Kind {
        name: "buckling",
        needs: &["od_m", "E_pa", "G_pa", "L_m", "end_condition", "euler_n"],
        recompute: buckling_table,
    },
    Kind {
        name: "wind",
        needs: &["speed_m_s", "q_pa", "cd", "area_m2", "force_n"],
        recompute: wind_table,
    },
];

/// Recomputes a table.
///
/// # Errors
/// [`CannotCompare`], when the header is of no known kind or nothing could be compared.
pub fn compare(header: &[String], rows: &[Vec<String>]) -> Result<Comparison, CannotCompare> {
    let has = |name: &&str| header.iter().any(|column| column == name);
    let kind = KINDS
        .iter()
        .find(|kind| kind.needs.iter().all(&has))
        .ok_or_else(|| CannotCompare::Kind {
            found: header.join(", "),
            known: KINDS
                .iter()
                .map(|kind| format!("{} ({})", kind.name, kind.needs.join(", ")))
                .collect::<Vec<_>>()
                .join("; "),
        })?;
    let mut found = Comparison {
        kind: kind.name,
        rows: 0,
        left_out: Vec::new(),
        columns: Vec::new(),
    };
    for (at, cells) in rows.iter().enumerate() {
        let row = Row { header, cells };
        match (kind.recompute)(&row).and_then(|outputs| found.take(at + 1, &row, &outputs)) {
            Ok(true) => found.rows += 1,
            Ok(false) => found.left_out.push(LeftOut {
                row: at + 1,
                why: "no output column of this kind has a value".to_owned(),
            }),
            Err(Skip::Cell(why)) => found.left_out.push(LeftOut { row: at + 1, why }),
            Err(Skip::Limit(error)) => found.left_out.push(LeftOut {
                row: at + 1,
                why: error.to_string(),
            }),
        }
    }
    if found.rows == 0 {
        let why = found
            .left_out
            .first()
            .map_or_else(|| "there are none".to_owned(), |left| left.why.clone());
        return Err(CannotCompare::Nothing {
            rows: rows.len(),
            why,
        });
    }
    Ok(found)
}

impl Comparison {
    /// The largest relative difference of any column.
    #[must_use]
    pub fn largest_relative(&self) -> f64 {
        self.columns
            .iter()
            .fold(0.0, |most, column| most.max(column.largest_relative))
    }

    fn take(&mut self, at: usize, row: &Row, outputs: &Outputs) -> Result<bool, Skip> {
        let mut any = false;
        for (name, computed) in outputs {
            let Some(theirs) = row.maybe(name)? else {
                continue;
            };
            any = true;
            let difference = (computed - theirs).abs();
            let scale = computed.abs().max(theirs.abs());
            let relative = if difference <= 1e-9 {
                0.0
            } else {
                difference / scale
            };
            let index = self
                .columns
                .iter()
                .position(|column| column.name == *name)
                .unwrap_or_else(|| {
                    self.columns.push(Column {
                        name: (*name).to_owned(),
                        cells: 0,
                        largest: 0.0,
                        largest_relative: 0.0,
                        row: at,
                    });
                    self.columns.len() - 1
                });
            let column = &mut self.columns[index];
            column.cells += 1;
            column.largest = column.largest.max(difference);
            if relative > column.largest_relative {
                column.largest_relative = relative;
                column.row = at;
            }
        }
        Ok(any)
    }
}

fn approach_table(row: &Row) -> Result<Outputs, Skip> {
    let voltage = Voltage::kilovolts(row.number("voltage_high_kv")?);
    let surge = row.maybe("t_pu")?.map_or(Surge::Assumed, Surge::Known);
    let exposure = match row.text("exposure") {
        "phase_to_ground" | "min_working_and_clear_hot_stick" => Exposure::PhaseToGround,
        "phase_to_phase" => Exposure::PhaseToPhase,
        "dc_line_to_ground" => {
            let metres = minimum_approach_dc(voltage, row.maybe("t_pu")?, Length::ZERO)?;
            return Ok(vec![("metres", metres.to_f64())]);
        }
        other => {
            return Err(Skip::Cell(format!(
                "exposure: `{other}` is no distance of the equations"
            )));
        }
    };
    // Table R-4 prints the electrical part alone.
    if row.text("source").contains("D only") {
        let d = electrical_component_by_rod_gap(voltage, exposure)?.to_metres();
        return Ok(vec![("metres", libm::ceil(d * 100.0 - 1e-9) / 100.0)]);
    }
    let found = minimum_approach(
        voltage,
        exposure,
        Gap::AsTabled,
        surge,
        Length::ZERO,
        AltitudeRule::Equation,
    )?;
    let metres = found.distance.to_f64();
    let mut outputs = vec![("metres", metres)];
    // The printed tables round feet in three ways; a cell is compared with the way that is nearest to it.
    if let Some(feet) = row.maybe("feet")? {
        let exact = metres / METRES_PER_FOOT;
        let ways = [
            libm::round(exact * 10.0) / 10.0,
            libm::round(exact * 100.0) / 100.0,
            libm::ceil(exact * 100.0) / 100.0,
        ];
        let nearest = ways
            .into_iter()
            .min_by(|a, b| (a - feet).abs().total_cmp(&(b - feet).abs()))
            .unwrap_or(exact);
        outputs.push(("feet", nearest));
    }
    Ok(outputs)
}

fn approach_variants(row: &Row) -> Result<Outputs, Skip> {
    let voltage = Voltage::kilovolts(row.number("voltage_high_kv")?);
    let surge = Surge::Known(row.number("t_pu")?);
    let (exposure, gap, altitude) = match row.text("case") {
        "phase_to_phase_tool_or_object_in_gap" => (Exposure::PhaseToPhase, Gap::ToolOrObject, 0.0),
        "phase_to_ground_air_only_c_0p01" => (Exposure::PhaseToGround, Gap::AirOnly, 0.0),
        "phase_to_ground_tool_altitude_1501_1800m_a_1p08" => {
            (Exposure::PhaseToGround, Gap::ToolOrObject, 1800.0)
        }
        other => {
            return Err(Skip::Cell(format!(
                "case: found `{other}`, expected a known one"
            )));
        }
    };
    let found = minimum_approach(
        voltage,
        exposure,
        gap,
        surge,
        Length::metres(altitude),
        AltitudeRule::Equation,
    )?;
    Ok(vec![
        ("metres_rounded_up_0p01", found.distance.to_f64()),
        ("metres_unrounded", found.exact.to_metres()),
    ])
}

fn altitude_table(row: &Row) -> Result<Outputs, Skip> {
    Ok(vec![(
        "factor_a",
        altitude_factor(Length::metres(row.number("altitude_high_m")?))?,
    )])
}

fn surge_table(row: &Row) -> Result<Outputs, Skip> {
    let t = if row.text("current") == "dc" {
        1.8
    } else {
        assumed_surge(Voltage::kilovolts(row.number("voltage_high_kv")?))?
    };
    Ok(vec![("t_pu", t)])
}

fn rod_gap_table(row: &Row) -> Result<Outputs, Skip> {
    let d = electrical_component_by_rod_gap(
        Voltage::kilovolts(row.number("system_kv_phase_to_phase")?),
        Exposure::PhaseToGround,
    )?;
    Ok(vec![("d_cm", d.to_metres() * 100.0)])
}

fn unit_loads_published(row: &Row) -> Result<Outputs, Skip> {
    let load = unit_load(
        Length::inches(row.number("diameter_in")?),
        ForcePerLength::pounds_per_foot(row.number("weight_lb_ft")?),
        Length::inches(row.number("ice_in")?),
        Pressure::pounds_per_square_foot(row.number("wind_psf")?),
        ForcePerLength::pounds_per_foot(row.maybe("k_lb_ft")?.unwrap_or(0.0)),
    )?;
    Ok(vec![
        ("pub_vertical_lb_ft", load.vertical.to_pounds_per_foot()),
        ("pub_horizontal_lb_ft", load.transverse.to_pounds_per_foot()),
        ("pub_resultant_lb_ft", load.for_tension.to_pounds_per_foot()),
        (
            "calc_resultant_n_m",
            load.for_tension.to_newtons_per_metre(),
        ),
    ])
}

fn unit_loads(row: &Row) -> Result<Outputs, Skip> {
    let load = unit_load(
        Length::metres(row.number("diameter_m")?),
        ForcePerLength::newtons_per_metre(row.number("weight_n_m")?),
        Length::metres(row.number("ice_m")?),
        Pressure::pascals(row.number("wind_pa")?),
        ForcePerLength::newtons_per_metre(row.maybe("k_n_m")?.unwrap_or(0.0)),
    )?;
    Ok(vec![
        ("ice_weight_n_m", load.ice.to_newtons_per_metre()),
        ("vertical_n_m", load.vertical.to_newtons_per_metre()),
        ("transverse_n_m", load.transverse.to_newtons_per_metre()),
        ("resultant_no_k_lb_ft", load.resultant.to_pounds_per_foot()),
        (
            "resultant_with_k_n_m",
            load.for_tension.to_newtons_per_metre(),
        ),
        ("blowout_angle_deg", load.blowout.to_degrees()),
    ])
}

fn attachment_table(row: &Row) -> Result<Outputs, Skip> {
    let conductors = row.number("subconductors")?;
    if !(1.0..=12.0).contains(&conductors) {
        return Err(Skip::Cell(format!(
            "subconductors: found {conductors}, expected 1 to 12"
        )));
    }
    let span = |side: &str| -> Result<Span, Skip> {
        Ok(Span {
            length: Length::metres(row.number(&format!("span_{side}_m"))?),
            rise: Length::metres(row.number(&format!("dh_{side}_m"))?),
            tension: Force::newtons(row.number(&format!("H_{side}_n"))?),
        })
    };
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "the range is checked above"
    )]
    let conductors = conductors as u8;
    let load = attachment_load(&Attachment {
        back: span("back")?,
        ahead: span("ahead")?,
        line_angle: Angle::degrees(row.number("line_angle_deg")?),
        vertical: ForcePerLength::newtons_per_metre(row.number("w_vertical_n_m")?),
        transverse: ForcePerLength::newtons_per_metre(row.number("w_wind_n_m")?),
        conductors,
        string_weight: Force::newtons(row.number("string_weight_n")?),
        string_wind: Force::newtons(row.number("string_wind_n")?),
    })?;
    Ok(vec![
        ("wind_span_m", load.wind_span.to_metres()),
        ("weight_span_exact_m", load.weight_span.to_metres()),
        (
            "weight_span_parabolic_m",
            load.weight_span_parabolic.to_metres(),
        ),
        ("v_cond_exact_n", load.conductor_vertical.to_newtons()),
        ("v_attach_total_n", load.vertical.to_newtons()),
        ("t_wind_n", load.wind.to_newtons()),
        ("t_angle_n", load.angle.to_newtons()),
        ("t_total_cond_n", load.transverse.to_newtons()),
        ("longitudinal_n", load.longitudinal.to_newtons()),
        ("swing_deg", load.swing.to_degrees()),
        ("string_top_resultant_n", load.resultant.to_newtons()),
    ])
}

fn catenary_table(row: &Row) -> Result<Outputs, Skip> {
    let span = Length::metres(row.number("span_m")?);
    let rise = Length::metres(row.number("dh_right_minus_left_m")?);
    let found = inclined(
        span,
        rise,
        ForcePerLength::newtons_per_metre(row.number("w_n_m")?),
        Force::newtons(row.number("H_n")?),
    )?;
    Ok(vec![
        ("sag_mid_m", found.sag_mid.to_metres()),
        ("sag_max_below_chord_m", found.sag_most.to_metres()),
        ("length_m", found.length.to_metres()),
        ("x_low_from_left_m", found.low_from_left.to_metres()),
        ("t_left_n", found.tension_left.to_newtons()),
        ("t_right_n", found.tension_right.to_newtons()),
        ("v_left_n", found.vertical_left.to_newtons()),
        ("v_right_n", found.vertical_right.to_newtons()),
    ])
}

fn state_change_table(row: &Row) -> Result<Outputs, Skip> {
    let span = Length::metres(row.number("span_m")?);
    let linear = Linear {
        stiffness: Force::newtons(row.number("ea_n")?),
        expansion: Expansion::per_kelvin(row.number("alpha_per_c")?),
    };
    let from = State {
        horizontal: Force::newtons(row.number("H1_n")?),
        load: ForcePerLength::newtons_per_metre(row.number("w1_n_m")?),
        temperature: Temperature::celsius(row.number("t1_c")?),
    };
    let load = ForcePerLength::newtons_per_metre(row.number("w2_n_m")?);
    let after = linear.change(span, from, load, Temperature::celsius(row.number("t2_c")?))?;
    let hangs = hanging(span, load, after.horizontal)?;
    Ok(vec![
        ("H2_catenary_n", after.horizontal.to_newtons()),
        ("sag2_m", hangs.sag.to_metres()),
        ("length2_m", hangs.length.to_metres()),
    ])
}

fn published_sag_table(row: &Row) -> Result<Outputs, Skip> {
    let span = Length::feet(row.number("span_ft")?);
    let load = ForcePerLength::pounds_per_foot(row.number("w_lb_ft")?);
    let horizontal =
        horizontal_from_tabled(span, load, Force::pounds(row.number("pub_tension_lb")?))?;
    let hangs = hanging(span, load, horizontal)?;
    Ok(vec![
        ("pub_sag_ft", hangs.sag.to_feet()),
        ("chk_sag_from_tension_ft", hangs.sag.to_feet()),
        ("H_lb", horizontal.to_pounds()),
        ("t_support_lb", hangs.support.to_pounds()),
    ])
}

fn ruling_span_table(row: &Row) -> Result<Outputs, Skip> {
    let text = row.text("spans_m");
    let spans: Vec<Length> = text
        .split_whitespace()
        .map(|part| {
            part.parse()
                .map(Length::metres)
                .map_err(|_| Skip::Cell(format!("spans_m: found `{part}`, expected a number")))
        })
        .collect::<Result<_, _>>()?;
    Ok(vec![("ruling_span_m", ruling_span(&spans)?.to_metres())])
}

fn statics_table(row: &Row) -> Result<Outputs, Skip> {
    let force =
        |name: &str| -> Result<Force, Skip> { Ok(Force::newtons(row.maybe(name)?.unwrap_or(0.0))) };
    let braces = [row.point("a1")?, row.point("a2")?, row.point("a3")?]
        .into_iter()
        .flatten()
        .collect();
    let found = forces(&Rig {
        mast: Length::metres(row.number("H_m")?),
        boom: Length::metres(row.number("L_m")?),
        boom_angle: Angle::degrees(row.number("theta_from_vertical_deg")?),
        boom_azimuth: Angle::degrees(row.number("boom_azimuth_deg")?),
        lean: Angle::degrees(row.number("lean_deg")?),
        lean_azimuth: Angle::degrees(row.number("lean_azimuth_deg")?),
        load: force("W_n")?,
        boom_weight: force("boom_weight_n")?,
        mast_weight: force("mast_weight_n")?,
        link_weight: force("link_weight_n")?,
        tail: force("tail_n")?,
        lead: row.point("lead")?.unwrap_or_default(),
        guy: row.point("guy")?,
        braces,
        brace_stiffness: force("brace_EA_n")?,
        mast_stiffness: force("mast_EA_n")?,
        rope_braces: false,
    })?;
    let brace = |at: usize| {
        found
            .braces
            .get(at)
            .copied()
            .unwrap_or_default()
            .to_newtons()
    };
    Ok(vec![
        ("boom_comp_mean_n", found.boom.to_newtons()),
        ("boom_comp_heel_n", found.boom_heel.to_newtons()),
        ("link_tension_n", found.link.to_newtons()),
        ("side_force_or_guy_n", found.side.to_newtons()),
        ("mast_comp_mean_n", found.mast.to_newtons()),
        ("mast_comp_base_n", found.mast_base.to_newtons()),
        ("brace1_n", brace(0)),
        ("brace2_n", brace(1)),
        ("brace3_n", brace(2)),
        ("base_rx_n", found.base[0].to_newtons()),
        ("base_ry_n", found.base[1].to_newtons()),
        ("base_rz_n", found.base[2].to_newtons()),
    ])
}

fn line_stiffness_table(row: &Row) -> Result<Outputs, Skip> {
    let found = line_stiffness(
        Length::metres(row.number("span_m")?),
        Force::newtons(row.number("H_n")?),
        ForcePerLength::newtons_per_metre(row.number("w_n_m")?),
        Force::newtons(row.number("ea_n")?),
    )?;
    Ok(vec![("k_line_formula_n_m", found.to_newtons_per_metre())])
}

fn transfer_table(row: &Row) -> Result<Outputs, Skip> {
    let stiffness = |name: &str| -> Result<Stiffness, Skip> {
        Ok(Stiffness::newtons_per_metre(row.number(name)?))
    };
    let site = Site {
        tension: Force::newtons(row.number("T0_n")?),
        line: stiffness("k_line_n_m")?,
        string: stiffness("k_string_n_m")?,
    };
    let pitch = Length::metres(row.number("pitch_m_per_turn")?);
    let pole = |k: &str, gap: &str| -> Result<Pole, Skip> {
        Ok(Pole {
            stiffness: Stiffness::newtons_per_metre(row.maybe(k)?.unwrap_or(0.0)),
            gap: Length::metres(row.maybe(gap)?.unwrap_or(0.0)),
            pitch,
        })
    };
    let poles = [pole("k1_n_m", "gap1_m")?, pole("k2_n_m", "gap2_m")?];
    let turns = |name: &str, index: usize| -> Result<f64, Skip> {
        let takeup = row.maybe(name)?.unwrap_or(0.0);
        Ok(if poles[index].stiffness > Stiffness::ZERO {
            takeup / pitch.to_metres()
        } else {
            0.0
        })
    };
    let found = share(
        &site,
        &poles,
        [turns("takeup1_m", 0)?, turns("takeup2_m", 1)?],
    )?;
    let mut pole_forces = found.poles;
    if row.text("case_type").contains("pivoting yoke") {
        let arms = [
            Length::metres(row.number("arm1_m")?),
            Length::metres(row.number("arm2_m")?),
        ];
        pole_forces = on_pivoting_yoke(found.poles[0] + found.poles[1], arms[0], arms[1])?;
    }
    let alone = pole_stiffness(
        Length::metres(row.number("pole_length_m")?),
        Area::square_metres(row.number("pole_area_m2")?),
        Pressure::pascals(row.number("E_pa")?),
        stiffness("k_hardware_n_m")?,
    )?;
    let mut outputs = vec![
        ("x_conductor_m", found.moved.to_metres()),
        ("string_tension_n", found.string.to_newtons()),
        ("pole1_n", pole_forces[0].to_newtons()),
        ("pole2_n", pole_forces[1].to_newtons()),
        ("line_tension_n", found.line.to_newtons()),
        ("string_slack_m", found.slack.to_metres()),
    ];
    if !row.text("case_type").contains("unequal stiffness") {
        outputs.push(("k1_n_m", alone.to_newtons_per_metre()));
    }
    Ok(outputs)
}

fn vertical_lift_table(row: &Row) -> Result<Outputs, Skip> {
    let arms = [
        Length::metres(row.maybe("arm1_m")?.unwrap_or(1.0)),
        Length::metres(row.maybe("arm2_m")?.unwrap_or(1.0)),
    ];
    let a = Angle::degrees(row.number("angle1_from_vertical_deg")?);
    let b = Angle::degrees(row.number("angle2_from_vertical_deg")?);
    let load = Force::newtons(row.number("vertical_load_n")?);
    let [first, second] = vertical_sticks(load, a, b, arms)?;
    Ok(vec![
        ("stick1_n", first.to_newtons()),
        ("stick2_n", second.to_newtons()),
        ("horizontal_between_n", first.to_newtons() * a.sin()),
    ])
}

fn tackle_table(row: &Row) -> Result<Outputs, Skip> {
    let whole = |name: &str| -> Result<u32, Skip> {
        let value = row.number(name)?;
        if (0.0..=20.0).contains(&value) && value == libm::floor(value) {
            #[allow(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a whole number from 0 to 20"
            )]
            Ok(value as u32)
        } else {
            Err(Skip::Cell(format!(
                "{name}: found {value}, expected a whole number from 0 to 20"
            )))
        }
    };
    let load = Force::newtons(row.number("load_n")?);
    let found = tackle(
        load,
        whole("parts_n")?,
        whole("sheaves_S")?,
        Sheave::Ratio(row.number("K")?),
    )?;
    let tenth = tackle(
        load,
        whole("parts_n")?,
        whole("sheaves_S")?,
        Sheave::Linear(0.10),
    )?;
    Ok(vec![
        ("pull_raising_n", found.raising.to_newtons()),
        ("pull_lowering_hold_n", found.holding.to_newtons()),
        ("pull_frictionless_n", found.frictionless.to_newtons()),
        ("pull_linear_10pct_rule_n", tenth.raising.to_newtons()),
        ("efficiency_raising", found.efficiency),
        (
            "head_block_anchor_load_raising_n",
            found.anchor.to_newtons(),
        ),
        ("rope_length_per_m_lift", found.rope_per_lift),
    ])
}

fn block_angle_table(row: &Row) -> Result<Outputs, Skip> {
    let angle = Angle::degrees(row.number("angle_between_lines_deg")?);
    let one = Force::newtons(1.0);
    let plain = block_load(one, one, angle)?.to_newtons();
    Ok(vec![
        ("computed_2cos_half", plain),
        ("published_factor", plain),
    ])
}

fn sling_angle_table(row: &Row) -> Result<Outputs, Skip> {
    let leg = sling_leg(
        Force::newtons(1.0),
        1,
        Angle::degrees(row.number("horizontal_angle_deg")?),
    )?;
    let factor = leg.each.to_newtons();
    Ok(vec![
        ("computed_capacity_pct", 100.0 / factor),
        ("load_angle_factor", factor),
        ("published_capacity_pct", 100.0 / factor),
    ])
}

fn sling_leg_table(row: &Row) -> Result<Outputs, Skip> {
    let load = Force::newtons(row.number("load_n")?);
    let first = Angle::degrees(row.number("horizontal_angle1_deg")?);
    if let Some(second) = row.maybe("horizontal_angle2_deg")? {
        let [a, b] = unequal_sling(load, first, Angle::degrees(second))?;
        return Ok(vec![("leg1_n", a.to_newtons()), ("leg2_n", b.to_newtons())]);
    }
    let legs = match row.text("legs") {
        "1" => 1,
        "2" => 2,
        "3" => 3,
        "4" => 4,
        other => {
            return Err(Skip::Cell(format!(
                "legs: found `{other}`, expected 1 to 4"
            )));
        }
    };
    let found = sling_leg(load, legs, first)?;
    Ok(vec![
        ("leg1_n", found.each.to_newtons()),
        ("leg_if_only_two_carry_n", found.if_two_carry.to_newtons()),
    ])
}

fn buckling_table(row: &Row) -> Result<Outputs, Skip> {
    let ends = match row.text("end_condition") {
        "pinned-pinned" => Ends::Hinged,
        "fixed-free" => Ends::FixedFree,
        "fixed-pinned" => Ends::FixedHinged,
        "fixed-fixed" => Ends::Fixed,
        other => {
            return Err(Skip::Cell(format!(
                "end_condition: found `{other}`, expected pinned-pinned, fixed-free, fixed-pinned or fixed-fixed"
            )));
        }
    };
    let section = Section {
        outer: Length::metres(row.number("od_m")?),
        wall: row.maybe("wall_m")?.map(Length::metres),
        modulus: Pressure::pascals(row.number("E_pa")?),
        shear: Pressure::pascals(row.number("G_pa")?),
    };
    let found = buckling(&section, Length::metres(row.number("L_m")?), ends)?;
    Ok(vec![
        ("slenderness_KL_r", found.slenderness),
        ("euler_n", found.euler.to_newtons()),
        ("euler_shear_corrected_n", found.with_shear.to_newtons()),
    ])
}

fn wind_table(row: &Row) -> Result<Outputs, Skip> {
    let speed = Speed::metres_per_second(row.number("speed_m_s")?);
    let mut outputs = vec![
        ("speed_mph", speed.to_miles_per_hour()),
        ("q_pa", wind::pressure(speed)?.to_pascals()),
    ];
    if let (Some(drag), Some(area)) = (row.maybe("cd")?, row.maybe("area_m2")?) {
        outputs.push((
            "force_n",
            wind::force(speed, drag, Area::square_metres(area))?.to_newtons(),
        ));
    }
    Ok(outputs)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    fn table(text: &str) -> (Vec<String>, Vec<Vec<String>>) {
        let mut lines = text
            .lines()
            .map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
        (lines.next().unwrap(), lines.collect())
    }

    #[test]
    fn a_difference_is_found_and_its_row_named() {
        let (header, rows) = table(
            "row_id,spans_m,ruling_span_m\na,233 158 396,316.2133\nb,365 401,400.0\nc,12 x,1",
        );
        let found = compare(&header, &rows).unwrap();
        assert_eq!((found.kind, found.rows), ("ruling span", 2));
        assert_eq!(found.columns[0].row, 2);
        assert!(found.largest_relative() > 0.03);
        assert_eq!(found.left_out.len(), 1);
        assert!(found.left_out[0].why.contains("found `x`"));
    }

    #[test]
    fn an_unknown_header_is_said_with_what_is_known() {
        let (header, rows) = table("a,b\n1,2");
        let error = compare(&header, &rows).unwrap_err();
        assert!(matches!(&error, CannotCompare::Kind { found, .. } if found == "a, b"));
        assert!(error.to_string().contains("ruling span"));
    }
}
