//! Keys: every key that a plan file can have, in one table.
//! Owns: nothing.   Gives: `Section`, the sections, `nearest`.
//! May use: nothing of this crate.   Never: what the keys mean (build); their prose is in `parse`'s page.

/// A kind of table in the file, with its keys.
#[derive(Debug)]
pub(super) struct Section {
    /// As it is written in the file.
    pub name: &'static str,
    /// Its keys.
    pub keys: &'static [&'static str],
}

pub(super) const PLAN: Section = Section {
    name: "the plan",
    keys: &[
        "format",
        "title",
        "units",
        "cautions",
        "briefing",
        "agree_by",
        "line",
        "times",
        "role",
        "limit",
        "condition",
        "item",
        "mark",
        "never",
        "step",
    ],
};
pub(super) const LINE: Section = Section {
    name: "[line]",
    keys: &[
        "name",
        "voltage_kv",
        "circuit",
        "phase",
        "structure",
        "string",
        "terminals",
        "order",
        "data",
    ],
};
pub(super) const DATUM: Section = Section {
    name: "[[line.data]]",
    keys: &["name", "value", "unit", "word"],
};
pub(super) const TIMES: Section = Section {
    name: "[times]",
    keys: &[
        "watch_limit_ms",
        "lost_after_ms",
        "ready_valid_s",
        "press_ms",
    ],
};
pub(super) const ROLE: Section = Section {
    name: "[[role]]",
    keys: &["id", "title", "least", "most", "not_with", "aloft"],
};
pub(super) const LIMIT: Section = Section {
    name: "[[limit]]",
    keys: &[
        "id", "title", "unit", "least", "most", "places", "source", "computed",
    ],
};
pub(super) const CONDITION: Section = Section {
    name: "[[condition]]",
    keys: &[
        "id", "title", "owners", "kind", "limit", "valid_s", "stable_s", "covers", "lasts",
    ],
};
pub(super) const ITEM: Section = Section {
    name: "[[item]]",
    keys: &[
        "id",
        "title",
        "load",
        "at",
        "test_months",
        "tested",
        "daily",
        "rated_kv",
        "rated_kn",
        "counted",
    ],
};
pub(super) const MARK: Section = Section {
    name: "[[mark]]",
    keys: &["id", "states", "start"],
};
pub(super) const NEVER: Section = Section {
    name: "[[never]]",
    keys: &["why", "all"],
};
pub(super) const STEP: Section = Section {
    name: "[[step]]",
    keys: &[
        "id",
        "title",
        "text",
        "after",
        "hold_point",
        "critical",
        "if_held",
        "safe_to_leave",
        "needs",
        "sets",
        "items",
        "moves",
        "check",
    ],
};
pub(super) const CHECK: Section = Section {
    name: "[[step.check]]",
    keys: &[
        "id", "text", "by", "each", "first", "second", "report", "repeat", "says", "limit",
        "answers", "passes", "of", "lasts",
    ],
};

/// All sections, in the order of the page.
#[cfg(test)]
pub(super) const SECTIONS: [&Section; 12] = [
    &PLAN, &LINE, &DATUM, &TIMES, &ROLE, &LIMIT, &CONDITION, &ITEM, &MARK, &NEVER, &STEP, &CHECK,
];

/// The word of `known` that `found` was most likely meant to be: two letters swapped, or at most a third
/// of it mistyped; of a word of three letters or less, one letter.
pub(super) fn nearest<'k>(
    found: &str,
    known: impl IntoIterator<Item = &'k str>,
) -> Option<&'k str> {
    let length = found.chars().count();
    let allowed = (length / 3).max(if length > 3 { 2 } else { 1 });
    known
        .into_iter()
        .map(|word| (edits(found, word), word))
        .filter(|(edits, _)| *edits <= allowed)
        .min()
        .map(|(_, word)| word)
}

/// Fewest letters to insert, drop or change to make `a` into `b` (Levenshtein). Only short words are
/// compared: a word over 40 letters is no key, and its own length is distance enough.
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    if a.chars().count() > 40 {
        return a.chars().count();
    }
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, letter) in a.chars().enumerate() {
        let mut corner = i;
        row[0] = i + 1;
        for (j, other) in b.iter().enumerate() {
            let changed = corner + usize::from(letter != *other);
            corner = row[j + 1];
            row[j + 1] = changed.min(row[j] + 1).min(corner + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mistyped_word_finds_its_neighbour_and_a_strange_one_none() {
        assert_eq!(nearest("tilte", PLAN.keys.iter().copied()), Some("title"));
        assert_eq!(
            nearest("holdpoint", STEP.keys.iter().copied()),
            Some("hold_point")
        );
        assert_eq!(
            nearest("if_hold", STEP.keys.iter().copied()),
            Some("if_held")
        );
        assert_eq!(nearest("colour", STEP.keys.iter().copied()), None);
        assert_eq!(nearest(&"x".repeat(5_000), STEP.keys.iter().copied()), None);
        assert_eq!(edits("", "abc"), 3);
        assert_eq!(edits("kitten", "sitting"), 3);
    }
}
