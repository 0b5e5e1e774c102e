//! Fields: typed values out of TOML tables, with every fault kept and none passed over.
//! Owns: the faults and places of one reading.   Gives: `Reader`, `Fields`.
//! May use: ids, decimal, bounds.   Never: what a plan is (build).
//!
//! serde stops at the first fault and turns numbers into floats, so the values are taken from the TOML
//! reader's own tree, which has each number as it was written and each value's place.

use super::fault::{Fault, FaultKind};
use super::keys::{Section, nearest};
use super::lines::Lines;
use crate::bounds::TEXT_MAX_CHARS;
use crate::decimal::Decimal;
use crate::ids::BadId;
use core::ops::RangeInclusive;
use std::collections::BTreeMap;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What one reading of a file found.
#[derive(Debug)]
pub(super) struct Reader<'t> {
    pub lines: Lines<'t>,
    pub faults: Vec<Fault>,
    /// Where each value of the plan stands, by its path (`step[2].after[0]`).
    pub places: BTreeMap<String, usize>,
}

/// A value with its path and place. Copies are cheap enough: a plan has some thousand values.
#[derive(Debug)]
pub(super) struct At<'a, 'i> {
    pub path: String,
    pub key: &'static str,
    pub offset: usize,
    pub value: &'a DeValue<'i>,
}

/// A table of a known section.
#[derive(Debug)]
pub(super) struct Fields<'a, 'i> {
    section: &'static Section,
    path: String,
    offset: usize,
    table: &'a DeTable<'i>,
}

impl Fields<'_, '_> {
    /// Where the table begins.
    pub(super) fn offset(&self) -> usize {
        self.offset
    }
}

impl<'t> Reader<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        Self {
            lines: Lines::new(text),
            faults: Vec::new(),
            places: BTreeMap::new(),
        }
    }

    /// Notes a fault at a place; gives `None` so that a reader can end with it.
    pub(super) fn fault<T>(&mut self, offset: usize, kind: FaultKind) -> Option<T> {
        self.faults.push(Fault {
            spot: self.lines.spot(offset),
            also: None,
            kind,
        });
        None
    }

    fn wrong_type<T>(&mut self, at: &At<'_, '_>, expected: &'static str) -> Option<T> {
        let kind = FaultKind::WrongType {
            key: at.key.to_owned(),
            found: describe(at.value),
            expected,
        };
        self.fault(at.offset, kind)
    }

    /// A table as a section: says at once which of its keys are unknown.
    pub(super) fn open<'a, 'i>(
        &mut self,
        section: &'static Section,
        path: String,
        offset: usize,
        table: &'a DeTable<'i>,
    ) -> Fields<'a, 'i> {
        self.places.insert(path.clone(), offset);
        for key in table.keys() {
            let found: &str = key.get_ref();
            if !section.keys.contains(&found) {
                let kind = FaultKind::UnknownKey {
                    found: found.to_owned(),
                    section: section.name,
                    nearest: nearest(found, section.keys.iter().copied()),
                    expected: section.keys,
                };
                self.fault::<()>(key.span().start, kind);
            }
        }
        Fields {
            section,
            path,
            offset,
            table,
        }
    }

    /// The value of a key, if it is there.
    pub(super) fn get<'a, 'i>(
        &mut self,
        fields: &Fields<'a, 'i>,
        key: &'static str,
    ) -> Option<At<'a, 'i>> {
        debug_assert!(
            fields.section.keys.contains(&key),
            "{key} is not in keys.rs"
        );
        let value = fields.table.get(key)?;
        let path = join(&fields.path, key);
        self.places.insert(path.clone(), value.span().start);
        Some(At {
            path,
            key,
            offset: value.span().start,
            value: value.get_ref(),
        })
    }

    /// The value of a key that must be there.
    pub(super) fn need<'a, 'i, T>(
        &mut self,
        fields: &Fields<'a, 'i>,
        key: &'static str,
        read: impl FnOnce(&mut Self, At<'a, 'i>) -> Option<T>,
    ) -> Option<T> {
        match self.get(fields, key) {
            Some(at) => read(self, at),
            None => {
                let section = fields.section.name;
                self.fault(fields.offset, FaultKind::MissingKey { key, section })
            }
        }
    }

    /// The value of a key that may be left out; `Some(None)`: left out.
    #[allow(
        clippy::option_option,
        reason = "outer: read without fault; inner: it is there"
    )]
    pub(super) fn may<'a, 'i, T>(
        &mut self,
        fields: &Fields<'a, 'i>,
        key: &'static str,
        read: impl FnOnce(&mut Self, At<'a, 'i>) -> Option<T>,
    ) -> Option<Option<T>> {
        match self.get(fields, key) {
            Some(at) => read(self, at).map(Some),
            None => Some(None),
        }
    }

    /// The value of a key, or what it is when left out.
    pub(super) fn or<'a, 'i, T>(
        &mut self,
        fields: &Fields<'a, 'i>,
        key: &'static str,
        otherwise: T,
        read: impl FnOnce(&mut Self, At<'a, 'i>) -> Option<T>,
    ) -> Option<T> {
        self.may(fields, key, read)
            .map(|value| value.unwrap_or(otherwise))
    }

    /// One line of text.
    #[allow(
        clippy::needless_pass_by_value,
        reason = "all readers of values have one form"
    )]
    pub(super) fn text(&mut self, at: At<'_, '_>) -> Option<String> {
        let DeValue::String(text) = at.value else {
            return self.wrong_type(&at, "a text in quotes");
        };
        let found = text.chars().count();
        if found > TEXT_MAX_CHARS || text.chars().any(char::is_control) {
            let kind = FaultKind::BadText {
                key: at.key.to_owned(),
                found,
                most: TEXT_MAX_CHARS,
            };
            return self.fault(at.offset, kind);
        }
        Some(text.clone().into_owned())
    }

    /// true or false.
    #[allow(
        clippy::needless_pass_by_value,
        reason = "all readers of values have one form"
    )]
    pub(super) fn yes_or_no(&mut self, at: At<'_, '_>) -> Option<bool> {
        match at.value {
            DeValue::Boolean(value) => Some(*value),
            _ => self.wrong_type(&at, "true or false"),
        }
    }

    /// A whole number in a range.
    pub(super) fn whole<T: TryFrom<u64>>(
        &mut self,
        at: At<'_, '_>,
        range: RangeInclusive<u64>,
    ) -> Option<T> {
        let DeValue::Integer(number) = at.value else {
            return self.wrong_type(&at, "a whole number");
        };
        let value = u64::from_str_radix(number.as_str(), number.radix()).ok();
        let kept = value.filter(|value| range.contains(value));
        match kept.and_then(|value| T::try_from(value).ok()) {
            Some(value) => Some(value),
            None => {
                let kind = FaultKind::OutOfRange {
                    key: at.key.to_owned(),
                    found: number.to_string(),
                    least: *range.start(),
                    most: *range.end(),
                };
                self.fault(at.offset, kind)
            }
        }
    }

    /// A number, exactly as it is written.
    #[allow(
        clippy::needless_pass_by_value,
        reason = "all readers of values have one form"
    )]
    pub(super) fn decimal(&mut self, at: At<'_, '_>) -> Option<Decimal> {
        let written = match at.value {
            DeValue::Integer(number) if number.radix() == 10 => number.as_str(),
            DeValue::Float(number) => number.as_str(),
            _ => return self.wrong_type(&at, "a number such as 3.41"),
        };
        match written.parse() {
            Ok(value) => Some(value),
            Err(bad) => {
                let key = at.key.to_owned();
                self.fault(at.offset, FaultKind::BadNumber { key, bad })
            }
        }
    }

    /// A date without a time, as ISO 8601 text.
    #[allow(
        clippy::needless_pass_by_value,
        reason = "all readers of values have one form"
    )]
    pub(super) fn date(&mut self, at: At<'_, '_>) -> Option<String> {
        match at.value {
            DeValue::Datetime(when) if when.time.is_none() && when.offset.is_none() => {
                Some(when.to_string())
            }
            _ => self.wrong_type(&at, "a date such as 2026-03-14, without quotes"),
        }
    }

    /// A name: an id of some kind.
    pub(super) fn name<T: TryFrom<String, Error = BadId>>(&mut self, at: At<'_, '_>) -> Option<T> {
        let DeValue::String(text) = at.value else {
            return self.wrong_type(&at, "a name in quotes");
        };
        match T::try_from(text.clone().into_owned()) {
            Ok(name) => Some(name),
            Err(bad) => {
                let key = at.key.to_owned();
                self.fault(at.offset, FaultKind::BadName { key, bad })
            }
        }
    }

    /// One of several words.
    #[allow(
        clippy::needless_pass_by_value,
        reason = "all readers of values have one form"
    )]
    pub(super) fn word<T: Copy>(
        &mut self,
        at: At<'_, '_>,
        words: &[(&'static str, T)],
    ) -> Option<T> {
        let DeValue::String(text) = at.value else {
            return self.wrong_type(&at, "a word in quotes");
        };
        if let Some((_, value)) = words.iter().find(|(word, _)| word == text) {
            return Some(*value);
        }
        let expected: Vec<&'static str> = words.iter().map(|(word, _)| *word).collect();
        let kind = FaultKind::WrongWord {
            key: at.key.to_owned(),
            found: text.chars().take(60).collect(),
            nearest: nearest(text, expected.iter().copied()),
            expected,
        };
        self.fault(at.offset, kind)
    }

    /// A list; good members are kept going through even after a bad one, so that all faults are found.
    #[allow(
        clippy::needless_pass_by_value,
        reason = "all readers of values have one form"
    )]
    pub(super) fn list<T>(
        &mut self,
        at: At<'_, '_>,
        mut read: impl FnMut(&mut Self, At<'_, '_>) -> Option<T>,
    ) -> Option<Vec<T>> {
        let DeValue::Array(values) = at.value else {
            return self.wrong_type(&at, "a list in [ ]");
        };
        let mut all = Vec::new();
        for (index, value) in values.iter().enumerate() {
            let member = self.member(&at, index, value);
            all.push(read(self, member));
        }
        all.into_iter().collect()
    }

    /// A list of tables of one section.
    #[allow(
        clippy::needless_pass_by_value,
        reason = "all readers of values have one form"
    )]
    pub(super) fn tables<T>(
        &mut self,
        at: At<'_, '_>,
        section: &'static Section,
        mut read: impl FnMut(&mut Self, &Fields<'_, '_>) -> Option<T>,
    ) -> Option<Vec<T>> {
        self.list(at, |reader, member| {
            let DeValue::Table(table) = member.value else {
                return reader.wrong_type(&member, "a table");
            };
            let fields = reader.open(section, member.path, member.offset, table);
            read(reader, &fields)
        })
    }

    /// A table of one section.
    pub(super) fn table<T>(
        &mut self,
        at: At<'_, '_>,
        section: &'static Section,
        read: impl FnOnce(&mut Self, &Fields<'_, '_>) -> Option<T>,
    ) -> Option<T> {
        let DeValue::Table(table) = at.value else {
            return self.wrong_type(&at, "a table");
        };
        let fields = self.open(section, at.path, at.offset, table);
        read(self, &fields)
    }

    /// A table of names to something, in the order of the file.
    pub(super) fn pairs<K: TryFrom<String, Error = BadId>, T>(
        &mut self,
        at: At<'_, '_>,
        mut read: impl FnMut(&mut Self, K, At<'_, '_>) -> Option<T>,
    ) -> Option<Vec<T>> {
        let DeValue::Table(table) = at.value else {
            return self.wrong_type(&at, "a table in { }");
        };
        let mut in_order: Vec<_> = table.iter().collect();
        in_order.sort_by_key(|(key, _)| key.span().start);
        let mut all = Vec::new();
        for (index, (key, value)) in in_order.into_iter().enumerate() {
            let name = match K::try_from(key.get_ref().clone().into_owned()) {
                Ok(name) => Some(name),
                Err(bad) => {
                    let kind = FaultKind::BadName {
                        key: at.key.to_owned(),
                        bad,
                    };
                    self.fault(key.span().start, kind)
                }
            };
            let member = self.member(&at, index, value);
            self.places.insert(member.path.clone(), key.span().start);
            all.push(name.and_then(|name| read(self, name, member)));
        }
        all.into_iter().collect()
    }

    fn member<'a, 'i>(
        &mut self,
        list: &At<'_, '_>,
        index: usize,
        value: &'a Spanned<DeValue<'i>>,
    ) -> At<'a, 'i> {
        let path = format!("{}[{index}]", list.path);
        self.places.insert(path.clone(), value.span().start);
        At {
            path,
            key: list.key,
            offset: value.span().start,
            value: value.get_ref(),
        }
    }
}

fn join(path: &str, key: &str) -> String {
    if path.is_empty() {
        key.to_owned()
    } else {
        format!("{path}.{key}")
    }
}

/// A value in a few words.
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
