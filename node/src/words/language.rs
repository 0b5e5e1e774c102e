//! Language: which words are there to be said, in every language?
//! Owns: the list of languages.   Gives: `Language`, `named`, `ALL`, the words of sentences and of entries, `fill`.
//! May use: labels.   Never: a word itself (each language is a file of its own).
//!
//! A place in braces takes a value: `{who}` as it is, `{Who}` with a capital where it begins a sentence. The compiler
//! names what a language lacks, the tests of the words a place that one language has and another has not.

use super::labels::Labels;
use super::{ENGLISH, SPANISH};

/// What is so, and what to do now (empty: nothing).
pub type Two = (&'static str, &'static str);

/// All words of one language.
#[derive(Debug)]
pub struct Language {
    /// As in ISO 639-1; what is kept of a choice.
    pub code: &'static str,
    /// Its name in itself.
    pub name: &'static str,
    /// What stands on the pages' controls and headings.
    pub labels: &'static Labels,
    /// What is said of the job.
    pub sentences: &'static Sentences,
    /// What an entry of the log says.
    pub entries: &'static EntryWords,
    /// What the limit sheet says, by its English words; empty in English.
    pub sheet: &'static [(&'static str, &'static str)],
}

impl Language {
    /// A piece of the limit sheet in this language. What is not known here stays as it is.
    #[must_use]
    pub fn on_sheet<'t>(&self, english: &'t str) -> &'t str {
        let mut all = self.sheet.iter();
        let found = all.find(|(known, _)| *known == english);
        found.map_or(english, |(_, own)| own)
    }
}

/// Every language, the first one where nobody has chosen.
pub static ALL: [&Language; 2] = [&ENGLISH, &SPANISH];

/// The language of this code.
#[must_use]
pub fn named(code: &str) -> Option<&'static Language> {
    ALL.into_iter().find(|language| language.code == code)
}

/// What is said of the job: why something holds or was refused, what is asked, how an act went.
#[derive(Debug)]
#[cfg_attr(test, derive(serde::Serialize))]
#[allow(
    missing_docs,
    reason = "each is named for the value that it says; the English file shows what it says"
)]
pub struct Sentences {
    // Names, where nobody has given one; as parts of sentences.
    pub you: &'static str,
    pub device: &'static str,
    pub unknown_device: &'static str,
    pub everyone: &'static str,
    pub one_or_other: &'static str,
    pub step: &'static str,
    pub step_titled: &'static str,
    pub check: &'static str,
    pub item: &'static str,
    pub stop: &'static str,
    pub stop_by: &'static str,
    pub bound_least: &'static str,
    pub bound_most: &'static str,
    pub bound_between: &'static str,
    // Places of items: on the truck, on the ground, on the load line, aloft, on the structure, on the conductor.
    pub places: [&'static str; 6],
    // Reasons.
    pub not_unlocked: Two,
    pub not_known: Two,
    pub wrong_role: Two,
    pub proxy: Two,
    pub not_enrolled: Two,
    pub not_enrolled_there: Two,
    pub not_briefed_you: Two,
    pub not_briefed: Two,
    pub plan_changed: Two,
    pub stop_active: Two,
    pub crossed_stop: Two,
    pub given_before_stop: Two,
    pub taken_back: Two,
    pub hold_active: Two,
    pub role_vacant: Two,
    pub stale: Two,
    pub condition_out: Two,
    pub condition_unknown: Two,
    pub condition_timer: Two,
    pub out_of_limit: Two,
    pub answer_not_passing: Two,
    pub wrong_answer_form: Two,
    pub needs_second_reader: Two,
    pub conflict: Two,
    pub cannot_confirm: Two,
    pub missing: Two,
    pub item_not_there: Two,
    pub mark_not_so: Two,
    pub identity_mismatch: Two,
    pub missing_handoff: Two,
    pub ready_stale: Two,
    pub ready_age_unknown: Two,
    pub not_yours: Two,
    pub relief_incomplete: Two,
    pub exclusive: Two,
    pub duplicate: Two,
    pub late: Two,
    pub incomplete: Two,
    pub no_contact: Two,
    pub no_contact_yet: Two,
    pub not_level: Two,
    pub not_quiet: Two,
    pub page_silent: Two,
    pub not_accounted: Two,
    pub not_safe_state: Two,
    pub fork: Two,
    pub removed: Two,
    pub needs_version: Two,
    pub closed: Two,
    pub suspended: Two,
    pub still_so: Two,
    pub disk_failed: Two,
    pub nothing_open: Two,
    pub no_such_check: Two,
    // The reasons in which a time runs, without it: read aloud once, not at each second.
    pub no_contact_aloud: &'static str,
    pub stale_aloud: &'static str,
    pub condition_timer_aloud: &'static str,
    pub ready_stale_aloud: &'static str,
    // Items that may not be used.
    pub test_past: Two,
    pub not_inspected: Two,
    pub under_rated: Two,
    pub out_of_service: Two,
    pub suspect: Two,
    pub not_listed: Two,
    // What somebody still owes: clauses without a full stop.
    pub owed_heard: &'static str,
    pub owed_ask: &'static str,
    pub owed_agree: &'static str,
    pub owed_declined: &'static str,
    pub owed_briefing: &'static str,
    pub owed_condition: &'static str,
    // What is asked.
    pub asked_accept: Two,
    pub asked_briefing: Two,
    pub asked_check: Two,
    pub asked_check_again: Two,
    pub asked_check_since: Two,
    pub asked_heard: Two,
    pub asked_ask: Two,
    pub asked_agree: Two,
    pub asked_condition: Two,
    pub asked_take_role: Two,
    pub asked_ready: Two,
    pub asked_take: Two,
    pub asked_consent: Two,
    pub asked_in_the_clear: Two,
    // How an act went.
    pub recorded: Two,
    pub recorded_not_counted: Two,
    pub not_recorded: Two,
    pub already_so: Two,
    // What sounds.
    pub alarm_stop: Two,
    pub alarm_hold_by_loss: Two,
    pub alarm_clearance: Two,
    pub alarm_unknown_device: Two,
    pub alarm_call: Two,
    pub alarm_fork: Two,
    // The state of the job as a whole.
    pub job_running: &'static str,
    pub job_hold: &'static str,
    pub job_stop: &'static str,
    pub job_stop_exit: &'static str,
    pub job_emergency: &'static str,
    pub job_suspended: &'static str,
    pub job_closed: &'static str,
}

/// What an entry of the log says, after the name of who said it.
#[derive(Debug)]
#[cfg_attr(test, derive(serde::Serialize))]
#[allow(
    missing_docs,
    reason = "each is named for the entry that it says; the English file shows what it says"
)]
pub struct EntryWords {
    pub founds: &'static str,
    pub admits: &'static str,
    pub admits_in_place: &'static str,
    pub accepts: &'static str,
    pub leaves: &'static str,
    pub briefed: &'static str,
    pub acknowledges: &'static str,
    pub done_since: &'static str,
    pub cannot: &'static str,
    pub takes_back: &'static str,
    pub entry: &'static str,
    pub stop_work: &'static str,
    pub all_stop: &'static str,
    pub emergency: &'static str,
    pub order_lost: &'static str,
    pub stranger: &'static str,
    pub heard: &'static str,
    pub asks: &'static str,
    pub agrees: &'static str,
    pub declines: &'static str,
    pub released: &'static str,
    pub seen: &'static str,
    pub still_so: &'static str,
    pub no_longer: &'static str,
    pub offers: &'static str,
    pub offers_role: &'static str,
    pub nobody: &'static str,
    pub ready: &'static str,
    pub not_ready: &'static str,
    pub takes: &'static str,
    pub done: &'static str,
    pub back_to: &'static str,
    pub amends: &'static str,
    pub proposes_removal: &'static str,
    pub proposes_takeover: &'static str,
    pub consents: &'static str,
    pub sealed: &'static str,
    pub exception: &'static str,
    pub corrects: &'static str,
    pub exit_plan: &'static str,
    pub made_safe: &'static str,
    pub in_the_clear: &'static str,
    pub identity: &'static str,
    pub moved: &'static str,
    pub order: &'static str,
    pub order_in_effect: &'static str,
    pub order_lapsed: &'static str,
    pub order_released: &'static str,
    pub order_released_by: &'static str,
    pub read_back: &'static str,
    pub notes: &'static str,
    pub notes_photo: &'static str,
    pub adds_photo: &'static str,
    pub notes_late: &'static str,
    pub reviewed: &'static str,
    pub says_why: &'static str,
    pub closes_item: &'static str,
    pub says_still_so: &'static str,
    pub relief_wanted: &'static str,
    pub mutes: &'static str,
    pub press_refused: &'static str,
    pub clocks: &'static str,
    pub suspends: &'static str,
    pub resumes_day: &'static str,
    pub closes: &'static str,
    pub voids: &'static str,
    pub unknown: &'static str,
    pub tally: &'static str,
    pub tested: &'static str,
    pub never_tested: &'static str,
    pub rated: &'static str,
    pub wiped: &'static str,
    pub inspected_good: &'static str,
    pub inspected_bad: &'static str,
    pub set_aside: &'static str,
    pub changed_step: &'static str,
    pub changed_limit: &'static str,
    pub changed_condition: &'static str,
    pub changed_item: &'static str,
    pub changed_line: &'static str,
}

/// Words with their values in place. What stands in a value is never taken for a place.
#[must_use]
pub fn fill(words: &str, values: &[(&str, &str)]) -> String {
    let mut text = String::with_capacity(words.len());
    let mut rest = words;
    while let Some((before, from)) = rest.split_once('{') {
        text.push_str(before);
        let Some((name, after)) = from.split_once('}') else {
            // No place without an end; a test of the words says so.
            text.push('{');
            rest = from;
            continue;
        };
        let value = |name: &str| values.iter().find(|(known, _)| *known == name);
        if let Some((_, value)) = value(name) {
            text.push_str(value);
        } else if let Some((_, value)) = value(&name.to_lowercase()) {
            text.push_str(&capital(value));
        } else {
            debug_assert!(false, "no value for {name} in: {words}");
            text.push_str(name);
        }
        rest = after;
    }
    text.push_str(rest);
    text
}

/// With a capital.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
