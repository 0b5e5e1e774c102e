//! Seeds: what seeds to run, on the command line: ranges `A..B` and single ones, with commas.
//! Owns: nothing.   Gives: `Seeds`.
//! May use: nothing.   Never: what a seed draws.

use std::ops::Range;
use std::str::FromStr;

/// Seeds, in the order in which they are run.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Seeds(Vec<Range<u64>>);

impl Seeds {
    /// How many.
    pub(super) fn count(&self) -> u64 {
        self.0.iter().map(|range| range.end - range.start).sum()
    }

    /// The one at this place, from 0 on.
    pub(super) fn at(&self, mut place: u64) -> Option<u64> {
        for range in &self.0 {
            let here = range.end - range.start;
            if place < here {
                return Some(range.start + place);
            }
            place -= here;
        }
        None
    }
}

impl FromStr for Seeds {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let mut seeds = Vec::new();
        for part in text.split(',') {
            let wrong = || {
                format!(
                    "found `{part}`, expected two numbers A..B with A below B, such as 0..100, or one number; several \
                     of them with commas"
                )
            };
            let number = |text: &str| text.parse::<u32>().map(u64::from).map_err(|_| wrong());
            match part.split_once("..") {
                None => {
                    let one = number(part)?;
                    seeds.push(one..one + 1);
                }
                Some((from, to)) => {
                    let (from, to) = (number(from)?, number(to)?);
                    if from >= to {
                        return Err(wrong());
                    }
                    seeds.push(from..to);
                }
            }
        }
        Ok(Self(seeds))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn ranges_and_single_seeds_go_together_and_nothing_is_left_out_silently() {
        let seeds: Seeds = "2..5,9".parse().unwrap();
        assert_eq!(seeds.count(), 4);
        let all: Vec<u64> = (0..9).map_while(|place| seeds.at(place)).collect();
        assert_eq!(all, [2, 3, 4, 9]);
        assert_eq!("7".parse::<Seeds>().unwrap().at(0), Some(7));
        assert_eq!(
            "0..4294967295".parse::<Seeds>().unwrap().count(),
            4_294_967_295
        );
        for wrong in ["", "1..3,", "3..3", "1..2..3", "1-3", "-1", "1..3, 5"] {
            let refused = wrong.parse::<Seeds>();
            assert!(refused.is_err(), "{wrong}: {refused:?}");
        }
    }
}
