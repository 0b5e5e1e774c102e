//! Labels: which words stand on the pages' controls and headings?
//! Owns: the list of them.   Gives: `Labels`, one value for each language, and `fill`.
//! May use: nothing.   Never: a word itself (each language is a file of its own).
//!
//! A label with a name in braces takes a value there: `fill(labels.step_open, &[("n", "7")])`.

/// Every word of the pages that is not a sentence about the job.
#[derive(Debug)]
#[allow(
    missing_docs,
    reason = "each is named for where it stands; the English file shows what it says"
)]
pub struct Labels {
    pub code: &'static str,
    pub title: &'static str,
    // The call.
    pub proceed: &'static str,
    pub hold: &'static str,
    pub stop_work: &'static str,
    pub step_open: &'static str,
    pub everyone_heard: &'static str,
    pub alone: &'static str,
    pub more: &'static str,
    pub keep: &'static str,
    // The strip.
    pub live: &'static str,
    pub page_is_live: &'static str,
    pub not_live: &'static str,
    pub not_live_now: &'static str,
    pub not_live_observer: &'static str,
    pub not_live_stop: &'static str,
    pub other_tab: &'static str,
    pub other_tab_now: &'static str,
    // People.
    pub you: &'static str,
    pub roles: &'static [(&'static str, &'static str, &'static str)],
    pub links: &'static str,
    pub never_heard: &'static str,
    pub ago_short: &'static str,
    // The step.
    pub step_of: &'static str,
    pub your_check: &'static str,
    pub limit_least: &'static str,
    pub limit_most: &'static str,
    pub limit_between: &'static str,
    pub again: &'static str,
    pub blind: &'static str,
    pub one_or_other: &'static str,
    pub nothing_asked: &'static str,
    // Controls.
    pub keep_pressed: &'static str,
    pub keep_pressed_send: &'static str,
    pub press_to_measure: &'static str,
    pub press_to_answer: &'static str,
    pub cannot: &'static str,
    pub cannot_sub: &'static str,
    pub withdraw: &'static str,
    pub withdraw_sub: &'static str,
    pub other_asked: &'static str,
    pub other_asked_sub: &'static str,
    pub decline: &'static str,
    pub decline_sub: &'static str,
    pub say_why: &'static str,
    pub say_why_sub: &'static str,
    pub stop: &'static str,
    pub stop_sub: &'static str,
    pub stop_sub_giant: &'static str,
    pub stop_again: &'static str,
    pub back: &'static str,
    pub back_sub: &'static str,
    // A stop.
    pub stopped_by: &'static str,
    pub stopped_by_you: &'static str,
    pub at_ago: &'static str,
    pub unknown_device: &'static str,
    pub all_answered: &'static str,
    pub has_answered: &'static str,
    pub has_it: &'static str,
    pub has_it_not: &'static str,
    pub owed_ask: &'static str,
    pub owed_agree: &'static str,
    pub owed_declined: &'static str,
    pub cause: &'static str,
    pub pressed: &'static str,
    pub pressed_on_its_way: &'static str,
    pub pressed_unsent: &'static str,
    pub stop_not_sent: &'static str,
    pub still_trying: &'static str,
    // What is said with a press.
    pub say_heard: &'static str,
    pub say_ask: &'static str,
    pub say_agree: &'static str,
    pub say_accept: &'static str,
    pub say_briefed: &'static str,
    pub say_still_so: &'static str,
    pub say_clear: &'static str,
    pub say_ready: &'static str,
    pub say_take: &'static str,
    pub say_role: &'static str,
    pub say_consent: &'static str,
    pub say_heads: &'static str,
    pub say_order: &'static str,
    pub say_order_released: &'static str,
    // Sheets.
    pub cannot_question: &'static str,
    pub cannot_reasons: &'static [&'static str],
    pub withdraw_question: &'static str,
    pub withdraw_none: &'static str,
    pub withdraw_why: &'static str,
    pub decline_question: &'static str,
    pub decline_reasons: &'static [&'static str],
    pub why_question: &'static str,
    pub why_reasons: &'static [&'static str],
    pub choose_asked: &'static str,
    pub answer_question: &'static str,
    pub cause_question: &'static str,
    pub cause_reasons: &'static [&'static str],
    pub structure: &'static str,
    pub circuit: &'static str,
    pub phase: &'static str,
    pub words_field: &'static str,
    pub tally_out: &'static str,
    pub tally_back: &'static str,
    // Numbers.
    pub clear_last: &'static str,
    pub feet_inches: &'static str,
    pub feet: &'static str,
    pub inches: &'static str,
    pub type_value: &'static str,
    pub inside: &'static str,
    pub outside: &'static str,
    pub no_number: &'static str,
    pub second_point: &'static str,
    pub inches_most: &'static str,
    pub field_empty: &'static str,
    // The board.
    pub plan: &'static str,
    pub after: &'static str,
    pub from_start: &'static str,
    pub hours: &'static str,
    pub waiting_for: &'static str,
    pub nobody: &'static str,
    pub nothing: &'static str,
    pub runs_out: &'static str,
    pub devices: &'static str,
    pub device_this: &'static str,
    pub device_heard: &'static str,
    pub device_lost: &'static str,
    pub device_forked: &'static str,
    pub device_not_briefed: &'static str,
    pub device_not_quiet: &'static str,
    pub device_not_level: &'static str,
    pub device_answered: &'static str,
    pub device_has_stop: &'static str,
    pub device_no_stop: &'static str,
    pub say_close: &'static str,
    // After a press.
    pub recorded: &'static str,
    pub kept_short: &'static str,
    pub changed: &'static str,
    pub node_silent: &'static str,
    pub not_asked: &'static str,
    // Coming in.
    pub enter_title: &'static str,
    pub enter_going: &'static str,
    pub enter_needed: &'static str,
    pub enter_how: &'static str,
}

/// A label with its values in place.
#[must_use]
pub fn fill(label: &str, values: &[(&str, &str)]) -> String {
    let mut text = label.to_owned();
    for (name, value) in values {
        text = text.replace(&format!("{{{name}}}"), value);
    }
    text
}
