//! Seeds: a range of seeds on the command line, `A..B`.
//! Owns: nothing.   Gives: `Seeds`.
//! May use: nothing.   Never: what a seed draws.

use std::str::FromStr;

/// Seeds from the first up to, but not with, the last.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Seeds {
    /// The first.
    pub(super) from: u64,
    /// The one after the last.
    pub(super) to: u64,
}

impl FromStr for Seeds {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong =
            || format!("found `{text}`, expected two numbers A..B with A below B, such as 0..100");
        let (from, to) = text.split_once("..").ok_or_else(wrong)?;
        let number = |text: &str| text.parse::<u32>().map(u64::from).map_err(|_| wrong());
        let (from, to) = (number(from)?, number(to)?);
        if from < to {
            Ok(Self { from, to })
        } else {
            Err(wrong())
        }
    }
}
