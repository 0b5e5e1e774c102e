//! Form: a case file's TOML as values with their lines, and faults that say file, line, field, found, expected.
//! Owns: the faults of one reading.   Gives: `Fault`, `Reading`, `Fields`.
//! May use: the TOML reader.   Never: what a case means (case, acts, expects).
//!
//! A getter notes what is wrong and gives a stand-in, so that all faults of a file are found at once; a file
//! with any fault is never run.

use gantline_protocol::decimal::Decimal;
use std::collections::BTreeSet;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Something wrong with a file.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, thiserror::Error)]
#[error("{file}:{line}: {field}: found {found}, expected {expected}")]
pub struct Fault {
    /// The file.
    pub file: String,
    /// The line, from 1.
    pub line: usize,
    /// Which part of which table.
    pub field: String,
    /// What is there.
    pub found: String,
    /// What may be there.
    pub expected: String,
}

/// One reading of one file.
#[derive(Debug)]
pub struct Reading<'t> {
    file: &'t str,
    starts: Vec<usize>,
    /// What was found wrong.
    pub faults: Vec<Fault>,
}

/// A value at a line.
#[derive(Clone, Debug)]
pub struct At<'a> {
    /// The table and key.
    pub field: String,
    /// The line.
    pub line: usize,
    value: &'a DeValue<'a>,
}

/// A table; which of its keys were asked for is remembered, the others are faults.
#[derive(Debug)]
pub struct Fields<'a> {
    /// What it is called in faults.
    pub name: String,
    /// The line at which it begins.
    pub line: usize,
    table: &'a DeTable<'a>,
    asked: BTreeSet<String>,
}

impl<'t> Reading<'t> {
    /// A reading of a file's text.
    #[must_use]
    pub fn new(file: &'t str, text: &str) -> Self {
        let after = text.match_indices('\n').map(|(at, _)| at + 1);
        Self {
            file,
            starts: core::iter::once(0).chain(after).collect(),
            faults: Vec::new(),
        }
    }

    /// The line of a byte.
    #[must_use]
    pub fn line(&self, offset: usize) -> usize {
        self.starts.partition_point(|start| *start <= offset)
    }

    /// Notes a fault.
    pub fn fault(
        &mut self,
        line: usize,
        field: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) {
        self.faults.push(Fault {
            file: self.file.to_owned(),
            line,
            field: field.into(),
            found: found.into(),
            expected: expected.into(),
        });
    }

    /// Notes that a value is not one of several words.
    pub fn not_one_of(&mut self, at: (usize, &str), found: &str, allowed: &[&str]) {
        let mut sorted = allowed.to_vec();
        sorted.sort_unstable();
        self.fault(
            at.0,
            at.1,
            format!("`{found}`"),
            format!("one of {}", sorted.join(", ")),
        );
    }

    /// The whole file as a table.
    #[must_use]
    pub fn root<'a>(&mut self, table: &'a Spanned<DeTable<'a>>) -> Fields<'a> {
        Fields::new("head".to_owned(), 1, table.get_ref())
    }

    fn wrong<T: Default>(&mut self, at: &At<'_>, expected: &str) -> T {
        self.fault(at.line, &at.field, describe(at.value), expected);
        T::default()
    }

    /// A text.
    pub fn text(&mut self, at: &At<'_>) -> String {
        match at.value {
            DeValue::String(text) => text.clone().into_owned(),
            _ => self.wrong(at, "a text in quotes"),
        }
    }

    /// A number, exactly as written.
    pub fn number(&mut self, at: &At<'_>) -> Decimal {
        let written = match at.value {
            DeValue::Integer(number) if number.radix() == 10 => number.as_str(),
            DeValue::Float(number) => number.as_str(),
            _ => {
                self.fault(at.line, &at.field, describe(at.value), "a number");
                return Decimal::ZERO;
            }
        };
        written.parse().unwrap_or_else(|_| {
            self.fault(
                at.line,
                &at.field,
                format!("`{written}`"),
                "a decimal number",
            );
            Decimal::ZERO
        })
    }

    /// Seconds, not negative, as milliseconds.
    pub fn seconds(&mut self, at: &At<'_>) -> u64 {
        let value = self.number(at);
        let (digits, scale) = value.parts();
        let ms = i128::from(digits) * 1000 / 10_i128.pow(u32::from(scale));
        u64::try_from(ms).unwrap_or_else(|_| {
            self.fault(at.line, &at.field, value.to_string(), "seconds, 0 or more");
            0
        })
    }

    /// A whole number, not negative.
    pub fn whole(&mut self, at: &At<'_>) -> u32 {
        if let DeValue::Integer(number) = at.value
            && let Ok(value) = u32::from_str_radix(number.as_str(), number.radix())
        {
            return value;
        }
        self.wrong(at, "a whole number")
    }

    /// true or false.
    pub fn flag(&mut self, at: &At<'_>) -> bool {
        match at.value {
            DeValue::Boolean(value) => *value,
            _ => self.wrong(at, "true or false"),
        }
    }

    /// A list.
    pub fn list<'a>(&mut self, at: &At<'a>) -> Vec<At<'a>> {
        let DeValue::Array(values) = at.value else {
            return self.wrong(at, "a list in [ ]");
        };
        values
            .iter()
            .map(|value| At {
                field: at.field.clone(),
                line: self.line(value.span().start),
                value: value.get_ref(),
            })
            .collect()
    }

    /// A list of texts.
    pub fn texts(&mut self, at: &At<'_>) -> Vec<String> {
        let members = self.list(at);
        members.iter().map(|member| self.text(member)).collect()
    }

    /// A table.
    pub fn table<'a>(&mut self, at: &At<'a>, name: String) -> Option<Fields<'a>> {
        let DeValue::Table(table) = at.value else {
            self.fault(at.line, &at.field, describe(at.value), "a table");
            return None;
        };
        Some(Fields::new(name, at.line, table))
    }

    /// Whether a value is a list.
    #[must_use]
    pub fn is_list(at: &At<'_>) -> bool {
        matches!(at.value, DeValue::Array(_))
    }

    /// Whether a value is a text.
    #[must_use]
    pub fn is_text(at: &At<'_>) -> bool {
        matches!(at.value, DeValue::String(_))
    }
}

impl<'a> Fields<'a> {
    fn new(name: String, line: usize, table: &'a DeTable<'a>) -> Self {
        Self {
            name,
            line,
            table,
            asked: BTreeSet::new(),
        }
    }

    /// The value of a key, if it is there.
    pub fn may(&mut self, reading: &Reading<'_>, key: &str) -> Option<At<'a>> {
        self.asked.insert(key.to_owned());
        let value = self.table.get(key)?;
        Some(At {
            field: format!("{}.{key}", self.name),
            line: reading.line(value.span().start),
            value: value.get_ref(),
        })
    }

    /// The value of a key that must be there.
    pub fn need(&mut self, reading: &mut Reading<'_>, key: &str) -> Option<At<'a>> {
        let found = self.may(reading, key);
        if found.is_none() {
            let field = format!("{}.{key}", self.name);
            reading.fault(self.line, field, "nothing", format!("the key `{key}`"));
        }
        found
    }

    /// A text that must be there.
    pub fn text(&mut self, reading: &mut Reading<'_>, key: &str) -> String {
        self.need(reading, key)
            .map_or_else(String::new, |at| reading.text(&at))
    }

    /// A text that may be there.
    pub fn may_text(&mut self, reading: &mut Reading<'_>, key: &str) -> Option<String> {
        let at = self.may(reading, key)?;
        Some(reading.text(&at))
    }

    /// A text that must be one of several words.
    pub fn word(&mut self, reading: &mut Reading<'_>, key: &str, allowed: &[&str]) -> String {
        let Some(at) = self.need(reading, key) else {
            return String::new();
        };
        let found = reading.text(&at);
        if Reading::is_text(&at) && !allowed.contains(&found.as_str()) {
            reading.not_one_of((at.line, &at.field), &found, allowed);
        }
        found
    }

    /// Seconds that must be there, ms.
    pub fn seconds(&mut self, reading: &mut Reading<'_>, key: &str) -> u64 {
        self.need(reading, key).map_or(0, |at| reading.seconds(&at))
    }

    /// Seconds that may be there, ms.
    pub fn may_seconds(&mut self, reading: &mut Reading<'_>, key: &str) -> Option<u64> {
        let at = self.may(reading, key)?;
        Some(reading.seconds(&at))
    }

    /// Every key, in the order of the file.
    #[must_use]
    pub fn has(&self, key: &str) -> bool {
        self.table.get(key).is_some()
    }

    /// Keys that nothing asked for are faults.
    pub fn end(self, reading: &mut Reading<'_>) {
        let known: Vec<&str> = self.asked.iter().map(String::as_str).collect();
        for key in self.table.keys() {
            let found: &str = key.get_ref();
            if !self.asked.contains(found) {
                let line = reading.line(key.span().start);
                let field = format!("{}.{found}", self.name);
                reading.not_one_of((line, &field), found, &known);
            }
        }
    }
}

fn describe(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => {
            format!("the text `{}`", text.chars().take(40).collect::<String>())
        }
        DeValue::Integer(number) => format!("the number {number}"),
        DeValue::Float(number) => format!("the number {number}"),
        DeValue::Boolean(value) => format!("{value}"),
        DeValue::Datetime(when) => format!("the date {when}"),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}
