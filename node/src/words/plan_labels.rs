//! Plan labels: in which words is a plan told: what is watched, carried, checked, and how a stop works?
//! Owns: the list of them.   Gives: `PlanLabels`, one value for each language.
//! May use: nothing.   Never: a word itself (each language is a file of its own); the plan's own text.

/// Every word around a plan's own.
#[derive(Debug)]
#[cfg_attr(test, derive(serde::Serialize))]
#[allow(
    missing_docs,
    reason = "each is named for where it stands; the English file shows what it says"
)]
pub struct PlanLabels {
    // What the crew must know of the tool itself.
    pub stop_anyone: &'static str,
    pub stop_reach: &'static str,
    pub stop_proceed: &'static str,
    pub stop_resume: &'static str,
    pub stop_every: &'static str,
    // A standing condition: who gives it, how it is known, how long it is good for.
    pub condition: &'static str,
    pub by_presence: &'static str,
    pub by_measure: &'static str,
    pub by_none_seen: &'static str,
    pub by_order: &'static str,
    pub by_word: &'static str,
    pub stable: &'static str,
    pub covers: &'static str,
    pub each_day: &'static str,
    pub each_shift: &'static str,
    // An item: its ratings, its test.
    pub load: &'static str,
    pub test_every: &'static str,
    pub not_given: &'static str,
    pub daily: &'static str,
    pub not_counted: &'static str,
    // A check: who gives it, what is said.
    pub check: &'static str,
    pub and: &'static str,
    pub or: &'static str,
    pub everyone: &'static str,
    pub each_of: &'static str,
    pub second_look: &'static str,
    pub read_back: &'static str,
    pub measured: &'static str,
    pub answers: &'static str,
    pub identity: &'static str,
    pub in_words: &'static str,
    pub tally: &'static str,
    pub heads: &'static str,
    pub order_in_effect: &'static str,
    pub order_released: &'static str,
}
