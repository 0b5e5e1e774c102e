//! English plan: the words around a plan's own text, in English.
//! Owns: the words.   Gives: `PLAN`.
//! May use: plan labels.   Never: the plan's own text.

use super::plan_labels::PlanLabels;

/// English.
pub(super) static PLAN: PlanLabels = PlanLabels {
    stop_anyone: "Anyone stops the work, at any time, by voice, hand signal or device. Voice and hand signals stop first.",
    stop_reach: "On the devices a stop is one trip over the radio; whatever the radio does, no device says Proceed later than {device} s, and no screen later than about {page} s, after it was pressed.",
    stop_proceed: "Proceed says only that the log has what this step needs. It does not say that the work is safe.",
    stop_resume: "To resume: everyone has heard the stop, the supervisor asks and names the cause, whoever stopped and every {who} agrees. One no ends the ask. No vote, no timer, no rank.",
    stop_every: " and every ",
    condition: "{title} ({who}): {how}; good for {span}",
    by_presence: "any act renews it",
    by_measure: "measured, {limit}",
    by_none_seen: "none seen; a sighting starts the time anew",
    by_order: "in effect at every terminal, read back",
    by_word: "said to be so",
    stable: "{span} in bounds before a resume",
    covers: "{n} steps, from {first} to {last}",
    each_day: "anew each day",
    each_shift: "anew each shift",
    load: "load",
    test_every: "test every {months} months, last {tested}",
    not_given: "not given",
    daily: "wiped and inspected daily",
    not_counted: "not counted",
    check: "“{text}”: {who}",
    and: " and ",
    or: " or ",
    everyone: "everyone",
    each_of: "each {role}",
    second_look: "second look: {first}, then {second} without seeing the first",
    read_back: "read-back: {first} reports, {second} repeats",
    measured: "measured against {limit}",
    answers: "{answers}; passes: {good}",
    identity: "structure, circuit and phase as read",
    in_words: "in words",
    tally: "{what}: out and back",
    heads: "by a head count",
    order_in_effect: "order in effect",
    order_released: "order released",
};
