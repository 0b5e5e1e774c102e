//! Shown: is what a case wants to be shown among the words that are shown under that name?
//! Owns: nothing.   Gives: `in_status`, `among`.
//! May use: stage, for the names of devices and events.   Never: words of its own beside those of the node.

use super::stage::Stage;
use gantline_protocol::decimal::Decimal;
use gantline_protocol::state::Status;

/// Names whose numbers are seconds.
const IN_SECONDS: [&str; 9] = [
    "device_lost",
    "elapsed",
    "exposure",
    "gap",
    "presence_due",
    "roles",
    "skew",
    "timer",
    "branches",
];
/// Lists of a replay, whose words stand in an order that matters.
const IN_ORDER: [&str; 4] = ["looks", "readings", "order", "timeline"];

/// Whether a status shows all words of a value under a name.
///
/// # Errors
/// What it shows instead.
pub fn in_status(
    stage: &Stage<'_>,
    status: &Status,
    name: &str,
    value: &str,
) -> Result<(), String> {
    let shown = status.shown.iter().filter(|(known, _)| known == name);
    let words: Vec<&str> = shown.map(|(_, words)| words.as_str()).collect();
    if name != "device_lost" {
        return among(stage, name, value, &words.join(" "), false);
    }
    // Said since when; shown for how long.
    let ago = |word: &str| match word.parse::<u64>() {
        Ok(since_s) => (stage.now_ms() / 1000).saturating_sub(since_s).to_string(),
        Err(_) => word.to_owned(),
    };
    let value: Vec<String> = value.split_whitespace().map(ago).collect();
    among(stage, name, &value.join(" "), &words.join(" "), false)
}

/// Whether all words of a value are among those found; of a replay's lists in the same order.
///
/// # Errors
/// What was found instead.
pub fn among(
    stage: &Stage<'_>,
    name: &str,
    value: &str,
    found: &str,
    replayed: bool,
) -> Result<(), String> {
    let in_order = replayed && IN_ORDER.contains(&name);
    let wanted = tokens(value);
    let there = tokens(found);
    let near_s = IN_SECONDS
        .contains(&name)
        .then(|| i64::try_from(stage.case.assume.sync_ms / 1000).unwrap_or(0) + 1);
    let mut from = 0;
    let mut missing = Vec::new();
    for word in &wanted {
        let device = stage.device(&word.to_uppercase());
        let tag = device.map(|device| stage.world.devices[device].id.tag().to_string());
        let meant = tag.as_deref().unwrap_or(word);
        let same = |token: &String| is_same(token, meant, near_s) || is_same(token, word, near_s);
        match there.iter().skip(from).position(same) {
            Some(at) if in_order => from += at + 1,
            Some(_) => {}
            None => missing.push(word.as_str()),
        }
    }
    let empty = wanted.is_empty() && !there.is_empty();
    if missing.is_empty() && !empty {
        Ok(())
    } else {
        Err(format!("{name} is `{found}`"))
    }
}

fn tokens(text: &str) -> Vec<String> {
    let ends = |c: char| c.is_whitespace() || matches!(c, ',' | ';' | '/' | '(' | ')' | '"');
    text.to_lowercase()
        .split(ends)
        .map(|word| {
            word.trim_matches(|c| matches!(c, '.' | ':' | '!'))
                .to_owned()
        })
        .filter(|word| !word.is_empty())
        .collect()
}

/// The same word, or a part of a name put together of words, or the same number.
fn is_same(token: &str, word: &str, near_s: Option<i64>) -> bool {
    if token == word || token.split(['_', ':']).any(|part| part == word) {
        return true;
    }
    // Which of two is ahead, the sign tells.
    let token = token.strip_prefix('-').unwrap_or(token);
    let both = |text: &str| text.parse::<Decimal>().ok();
    if let (Some(one), Some(other)) = (both(token), both(word)) {
        let near = || {
            let (one, other): (Option<i64>, Option<i64>) = (token.parse().ok(), word.parse().ok());
            let apart = one.zip(other).map(|(one, other)| (one - other).abs());
            apart
                .zip(near_s)
                .is_some_and(|(apart, near_s)| apart <= near_s)
        };
        return one == other || near();
    }
    span(token)
        .zip(span(word))
        .zip(near_s)
        .is_some_and(|((one, other), near_s)| {
            (one.0 - other.0).abs() <= near_s && (one.1 - other.1).abs() <= near_s
        })
}

/// `300-350`.
fn span(text: &str) -> Option<(i64, i64)> {
    let (from, to) = text.split_once('-')?;
    Some((from.parse().ok()?, to.parse().ok()?))
}
