//! Values: what a limits command answers, for people and for scripts.
//! Owns: nothing.   Gives: `Values`, a list of named values in both systems of units.
//! May use: protocol's units and cautions.   Never: a value without its unit.

use super::super::{Answer, Problem};
use gantline_protocol::limits::LimitError;
use gantline_protocol::limits::sheet::CAUTIONS;
use gantline_protocol::limits::units::{
    Angle, Force, ForcePerLength, Length, Pressure, Speed, round_near,
};
use serde::Serialize;

/// Named values with the source that they come from.
#[derive(Debug, Serialize)]
pub(super) struct Values {
    values: Vec<Value>,
    source: &'static str,
    notes: Vec<String>,
    cautions: &'static [&'static str],
}

#[derive(Debug, Serialize)]
struct Value {
    name: &'static str,
    value: String,
    unit: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    us: Option<(String, &'static str)>,
}

impl Values {
    pub(super) fn new(source: &'static str) -> Self {
        Self {
            values: Vec::new(),
            source,
            notes: Vec::new(),
            cautions: CAUTIONS,
        }
    }

    pub(super) fn note(&mut self, note: impl Into<String>) {
        self.notes.push(note.into());
    }

    /// A value that is already rounded, as text.
    pub(super) fn word(&mut self, name: &'static str, value: impl ToString, unit: &'static str) {
        self.values.push(Value {
            name,
            value: value.to_string(),
            unit,
            us: None,
        });
    }

    fn both(
        &mut self,
        name: &'static str,
        si: (f64, u8, &'static str),
        us: (f64, u8, &'static str),
    ) -> Result<(), LimitError> {
        let value = round_near(name, si.0, si.1)?.to_string();
        let us = Some((round_near(name, us.0, us.1)?.to_string(), us.2));
        self.values.push(Value {
            name,
            value,
            unit: si.2,
            us,
        });
        Ok(())
    }

    pub(super) fn length(&mut self, name: &'static str, length: Length) -> Result<(), LimitError> {
        self.both(
            name,
            (length.to_metres(), 3, "m"),
            (length.to_feet(), 2, "ft"),
        )
    }

    pub(super) fn force(&mut self, name: &'static str, force: Force) -> Result<(), LimitError> {
        self.both(
            name,
            (force.to_newtons(), 1, "N"),
            (force.to_pounds(), 1, "lbf"),
        )
    }

    pub(super) fn unit_load(
        &mut self,
        name: &'static str,
        load: ForcePerLength,
    ) -> Result<(), LimitError> {
        self.both(
            name,
            (load.to_newtons_per_metre(), 4, "N/m"),
            (load.to_pounds_per_foot(), 4, "lbf/ft"),
        )
    }

    pub(super) fn pressure(
        &mut self,
        name: &'static str,
        pressure: Pressure,
    ) -> Result<(), LimitError> {
        self.both(
            name,
            (pressure.to_pascals(), 2, "Pa"),
            (pressure.to_pounds_per_square_foot(), 3, "lbf/ft²"),
        )
    }

    pub(super) fn speed(&mut self, name: &'static str, speed: Speed) -> Result<(), LimitError> {
        self.both(
            name,
            (speed.to_metres_per_second(), 2, "m/s"),
            (speed.to_miles_per_hour(), 1, "mph"),
        )
    }

    pub(super) fn angle(&mut self, name: &'static str, angle: Angle) -> Result<(), LimitError> {
        self.number(name, angle.to_degrees(), 2, "deg")
    }

    pub(super) fn number(
        &mut self,
        name: &'static str,
        value: f64,
        places: u8,
        unit: &'static str,
    ) -> Result<(), LimitError> {
        let value = round_near(name, value, places)?.to_string();
        self.values.push(Value {
            name,
            value,
            unit,
            us: None,
        });
        Ok(())
    }

    /// Answers.
    pub(super) fn say(&self, json: bool) -> Result<(), Problem> {
        let mut answer = Answer::new();
        if json {
            return answer.json(self);
        }
        let widest = self
            .values
            .iter()
            .map(|value| value.name.len())
            .max()
            .unwrap_or(0);
        for value in &self.values {
            let us = value
                .us
                .as_ref()
                .map_or(String::new(), |(us, unit)| format!("   ({us} {unit})"));
            answer.line(format_args!(
                "{:<widest$}  {} {}{us}",
                value.name, value.value, value.unit
            ))?;
        }
        for note in &self.notes {
            answer.line(format_args!("note: {note}"))?;
        }
        answer.line(format_args!("source: {}", self.source))?;
        for caution in self.cautions {
            answer.line(format_args!("! {caution}"))?;
        }
        Ok(())
    }
}
