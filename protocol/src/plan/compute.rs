//! Compute: a plan's limits from its inputs, once, when the plan is read.
//! Owns: nothing.   Gives: `inputs`, `limit_sheet`, `compute`.
//! May use: plan::types, plan::check, limits.   Never: a device's work: what is computed here is carried in
//! the log as fixed-point numbers and judged as such.

use super::check::{Finding, Problem};
use super::types::{Limit, Plan, Units};
use crate::decimal::Decimal;
use crate::limits::inputs::Inputs;
use crate::limits::sheet::{Bound, Line, NAMES, Sheet, sheet};
use crate::plan::parse::nearest_of;

/// What the plan gives to its limits: its line's data and words, its voltage and kind of string.
#[must_use]
pub fn inputs(plan: &Plan) -> Inputs {
    let mut inputs = Inputs::default();
    inputs.number("voltage", plan.line.voltage_kv, "kV");
    inputs.word("string", &plan.line.string);
    for datum in &plan.line.data {
        inputs.number(&datum.name, datum.value, &datum.unit);
    }
    for word in &plan.line.words {
        inputs.word(&word.name, &word.word);
    }
    inputs
}

/// The limit sheet of a plan.
#[must_use]
pub fn limit_sheet(plan: &Plan) -> Sheet {
    sheet(&inputs(plan))
}

/// Puts the computed bounds into the limits that ask for them. A bound that the plan gives itself stays
/// where it is the stricter one: an employer's greater distance governs.
pub(super) fn compute(plan: &mut Plan) -> Vec<Finding> {
    if plan.limits.iter().all(|limit| limit.computed.is_none()) {
        return Vec::new();
    }
    let sheet = limit_sheet(plan);
    let units = plan.units;
    let mut findings = Vec::new();
    for (index, limit) in plan.limits.iter_mut().enumerate() {
        let Some(name) = limit.computed.clone() else {
            continue;
        };
        let problem = match sheet.line(&name) {
            Some(line) => bound(limit, line, units).err(),
            None => Some(missing(&sheet, &limit.id.to_string(), &name)),
        };
        findings.extend(problem.map(|problem| Finding {
            at: format!("limit[{index}].computed"),
            first: None,
            problem,
        }));
    }
    findings
}

fn missing(sheet: &Sheet, limit: &str, name: &str) -> Problem {
    let known: Vec<String> = NAMES.iter().map(|(name, _)| (*name).to_owned()).collect();
    let limit = limit.to_owned();
    if !known.iter().any(|other| other == name) {
        return Problem::ComputedUnknown {
            limit,
            name: name.to_owned(),
            nearest: nearest_of(name, &known),
        };
    }
    let gaps: Vec<String> = sheet
        .gaps
        .iter()
        .map(|gap| match &gap.why {
            Some(why) => format!("{}: {why}", gap.part),
            None => format!("{}: add {}", gap.part, gap.missing.join(", ")),
        })
        .collect();
    let why = if gaps.is_empty() {
        "the plan's data gives nothing for it".to_owned()
    } else {
        gaps.join("; ")
    };
    Problem::ComputedMissing {
        limit,
        name: name.to_owned(),
        why,
    }
}

fn bound(limit: &mut Limit, line: &Line, units: Units) -> Result<(), Problem> {
    let id = || limit.id.to_string();
    let (value, unit) = [line.in_units(units), Ok((line.value, line.unit))]
        .into_iter()
        .filter_map(Result::ok)
        .find(|(_, unit)| *unit == limit.unit)
        .ok_or_else(|| Problem::ComputedUnit {
            limit: id(),
            name: line.name.to_owned(),
            found: limit.unit.clone(),
            expected: line.unit,
        })?;
    if value.parts().1 > limit.places {
        return Err(Problem::BoundFinerThanShown {
            limit: id(),
            bound: value,
            places: limit.places,
        });
    }
    let stricter = |own: Option<Decimal>, pick: fn(Decimal, Decimal) -> Decimal| {
        Some(own.map_or(value, |own| pick(own, value)))
    };
    match line.bound {
        Bound::Least => limit.least = stricter(limit.least, Decimal::max),
        Bound::Most => limit.most = stricter(limit.most, Decimal::min),
        Bound::Shown => {
            return Err(Problem::ComputedShown {
                limit: id(),
                name: line.name.to_owned(),
            });
        }
    }
    let used: Vec<String> = line
        .inputs
        .iter()
        .map(|input| format!("{} {}", input.name, input.value))
        .collect();
    limit.source = format!(
        "{} Computed {value} {unit}: {}; from {}.",
        limit.source,
        line.source,
        used.join(", ")
    );
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::plan::{SMALL, parse};

    /// The smallest plan with its approach limit computed at an altitude.
    fn with(limit: &str, data: &str) -> Result<Plan, String> {
        let terminals = "terminals = [\"North\", \"South\"]";
        let text = SMALL
            .replace(terminals, &format!("{terminals}\ndata = [{data}]"))
            .replace("least = 1.30\n", &format!("{limit}\n"));
        assert!(
            text.contains(limit) && text.contains(data),
            "the smallest plan has changed"
        );
        parse("small.toml", &text).map_err(|faults| faults.to_string())
    }

    const ALTITUDE: &str = "{ name = \"altitude\", value = 250, unit = \"m\" }";

    fn least(plan: &Plan) -> String {
        plan.limits[0].least.unwrap().to_string()
    }

    #[test]
    fn plans_that_ship_have_whole_sheets_and_use_all_their_inputs() {
        for ships in crate::plan::builtin() {
            let plan = ships.plan().unwrap();
            let sheet = limit_sheet(&plan);
            assert!(sheet.gaps.is_empty(), "{}: {:?}", ships.name, sheet.gaps);
            assert_eq!(sheet.never_used, Vec::<String>::new(), "{}", ships.name);
            // Beside distances each carries the loads that its steps are about.
            for name in [
                "approach_phase_to_ground",
                "vertical_load",
                "pole_force_alone",
            ] {
                assert!(sheet.line(name).is_some(), "{}: no {name}", ships.name);
            }
            // What a pole takes alone is within the rating that the plan gives it.
            let alone = sheet.line("pole_force_alone").unwrap();
            assert!(alone.used.unwrap() <= 1.0, "{}", ships.name);
        }
    }

    #[test]
    fn a_computed_limit_carries_its_number_source_and_inputs() {
        let plan = with("computed = \"approach_phase_to_ground\"", ALTITUDE).unwrap();
        let limit = &plan.limits[0];
        let distance = limit_sheet(&plan)
            .line("approach_phase_to_ground")
            .unwrap()
            .value;
        assert_eq!(limit.least, Some(distance));
        assert!(
            limit.source.contains("29 CFR 1910.269") && limit.source.contains("altitude 250 m"),
            "{}",
            limit.source
        );
    }

    #[test]
    fn the_stricter_of_computed_and_given_governs() {
        let computed = "computed = \"approach_phase_to_ground\"";
        let alone = least(&with(computed, ALTITUDE).unwrap());
        assert_eq!(
            least(&with(&format!("{computed}\nleast = 9.5"), ALTITUDE).unwrap()),
            "9.5"
        );
        assert_eq!(
            least(&with(&format!("{computed}\nleast = 0.1"), ALTITUDE).unwrap()),
            alone
        );
    }

    #[test]
    fn what_cannot_be_computed_is_said_by_name() {
        let without = with("computed = \"approach_phase_to_ground\"", "").unwrap_err();
        assert!(without.contains("add altitude"), "{without}");
        let unknown = with("computed = \"aproach_phase_to_ground\"", ALTITUDE).unwrap_err();
        assert!(unknown.contains("approach_phase_to_ground"), "{unknown}");
    }

    #[test]
    fn a_value_in_another_unit_or_only_shown_bounds_nothing() {
        let plan = with("computed = \"approach_phase_to_ground\"", ALTITUDE).unwrap();
        let sheet = limit_sheet(&plan);
        let line = sheet.line("approach_phase_to_ground").unwrap();
        let mut limit = plan.limits[0].clone();
        limit.unit = "kN".to_owned();
        assert!(matches!(
            bound(&mut limit, line, Units::Si),
            Err(Problem::ComputedUnit { .. })
        ));
        let mut limit = plan.limits[0].clone();
        limit.unit = "ft".to_owned();
        assert!(matches!(
            bound(&mut limit, line, Units::Si),
            Err(Problem::ComputedUnit { .. })
        ));
        assert!(bound(&mut limit, line, Units::Us).is_ok());
        let shown = Line {
            bound: Bound::Shown,
            ..line.clone()
        };
        let mut limit = plan.limits[0].clone();
        assert!(matches!(
            bound(&mut limit, &shown, Units::Si),
            Err(Problem::ComputedShown { .. })
        ));
        limit.places = 1;
        assert!(matches!(
            bound(&mut limit, line, Units::Si),
            Err(Problem::BoundFinerThanShown { .. })
        ));
    }
}
