//! Lines: at which line and column does a byte of a text stand?
//! Owns: nothing.   Gives: `Lines`, `Spot`.
//! May use: nothing of this crate.   Never: what the text says.

use core::fmt;

/// A place in a text, both numbers from 1; the column counts characters.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, serde::Serialize)]
pub struct Spot {
    /// Line.
    pub line: u32,
    /// Column.
    pub column: u32,
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.line, self.column)
    }
}

/// The starts of all lines of a text.
#[derive(Debug)]
pub(super) struct Lines<'t> {
    text: &'t str,
    starts: Vec<usize>,
}

impl<'t> Lines<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        let after_newlines = text.match_indices('\n').map(|(at, _)| at + 1);
        Self {
            text,
            starts: core::iter::once(0).chain(after_newlines).collect(),
        }
    }

    /// The place of byte `offset`; past the end, the end.
    pub(super) fn spot(&self, offset: usize) -> Spot {
        let mut offset = offset.min(self.text.len());
        while !self.text.is_char_boundary(offset) {
            offset -= 1;
        }
        let line = self.starts.partition_point(|start| *start <= offset);
        let start = self
            .starts
            .get(line.saturating_sub(1))
            .copied()
            .unwrap_or(0);
        let column = self.text[start..offset].chars().count() + 1;
        Spot {
            line: u32::try_from(line).unwrap_or(u32::MAX),
            column: u32::try_from(column).unwrap_or(u32::MAX),
        }
    }

    /// What stands at byte `offset`, in a few characters of its line.
    pub(super) fn excerpt(&self, offset: usize) -> String {
        let mut offset = offset.min(self.text.len());
        while !self.text.is_char_boundary(offset) {
            offset -= 1;
        }
        let rest = &self.text[offset..];
        let line = rest.lines().next().unwrap_or("");
        line.chars().take(30).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_and_columns_count_from_one_and_in_characters() {
        let text = "ä=1\nb = 2\n\nc";
        let lines = Lines::new(text);
        let spots: Vec<String> = [0, 2, 4, 5, 9, 10, 11, 12, 99]
            .iter()
            .map(|at| lines.spot(*at).to_string())
            .collect();
        let expected = [
            "1:1", "1:2", "1:4", "2:1", "2:5", "2:6", "3:1", "4:1", "4:2",
        ];
        assert_eq!(spots, expected);
        assert_eq!(lines.spot(1).to_string(), "1:1", "inside a character");
        assert_eq!(Lines::new("").spot(7).to_string(), "1:1");
        assert_eq!(lines.excerpt(5), "b = 2");
    }
}
