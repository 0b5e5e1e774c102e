//! Form: what did a page send?
//! Owns: nothing.   Gives: `Form`, fields by name.
//! May use: form_urlencoded.   Never: what a field means.

use std::collections::BTreeMap;

/// Longest form: typed words are bounded by the log's own limit, and a few fields come with them.
pub(crate) const FORM_MAX_BYTES: usize = 16 * 1024;

/// Fields of a form, as a browser sends them; of two of one name the last.
#[derive(Debug, Default)]
pub(crate) struct Form(BTreeMap<String, String>);

impl Form {
    pub(crate) fn read(bytes: &[u8]) -> Self {
        Self(
            form_urlencoded::parse(bytes)
                .map(|(name, value)| (name.into_owned(), value.into_owned()))
                .collect(),
        )
    }

    /// A field more, or another value of one.
    pub(crate) fn put(&mut self, name: String, value: String) {
        self.0.insert(name, value);
    }

    /// A field without the spaces around it; empty: not there.
    pub(crate) fn text(&self, name: &str) -> &str {
        self.0.get(name).map_or("", |value| value.trim())
    }

    pub(crate) fn has(&self, name: &str) -> bool {
        !self.text(name).is_empty()
    }

    /// Some of the fields, without the others.
    pub(crate) fn only(mut self, names: &[&str]) -> Self {
        self.0.retain(|name, _| names.contains(&name.as_str()));
        self
    }

    /// What was chosen of several: the ends of the names of the fields `name:…` that are not empty.
    pub(crate) fn each(&self, name: &str) -> impl Iterator<Item = &str> {
        let ends = self.0.iter().filter(|(_, value)| !value.trim().is_empty());
        ends.filter_map(move |(field, _)| field.strip_prefix(name)?.strip_prefix(':'))
    }

    /// A field that is a value of some kind; `None`: not there, or another.
    pub(crate) fn value<T: core::str::FromStr>(&self, name: &str) -> Option<T> {
        self.text(name).parse().ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whatever_comes_is_fields_or_nothing() {
        let form = Form::read(b"why=person+below%21&step=P08&step=P09&bad=%ff%zz&=&&x");
        assert_eq!(form.text("why"), "person below!");
        assert_eq!(form.text("step"), "P09");
        assert_eq!(form.text("none"), "");
        assert!(form.has("bad") && !form.has("x"));
        assert_eq!(form.value::<u32>("why"), None);
        let form =
            Form::read(b"clear:Alder=1&clear:Birch=&clearer:Cedar=1&clear=1&clear:Dog+wood=on");
        assert_eq!(
            form.each("clear").collect::<Vec<_>>(),
            ["Alder", "Dog wood"]
        );
    }
}
