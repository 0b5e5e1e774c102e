//! Replay: what happened on this job, by this node's own log: lanes, what a device knew at a time, how far each stop came.
//! Owns: nothing.   Gives: `Wanted`, `past`, `content`.
//! May use: protocol's replay, the file of what was shown, timeline, view.   Never: a verdict of its own; a look that is
//! kept back from this device; another device's lane as if it were known what it showed.

use crate::control::{Refusal, Shared};
use crate::device::shown::{self, What};
use crate::pages::form::Form;
use crate::pages::parts::{icon, shape};
use crate::pages::photos;
use crate::pages::player;
use crate::pages::timeline::{self, Fill};
use crate::pages::view::View;
use crate::words::{Words, fill, span};
use gantline_protocol::gate::Job;
use gantline_protocol::ids::{DeviceKey, EntryHash};
use gantline_protocol::replay::{
    Clocks, Knew, Lane, Replay, Spread, Worth, knew, lanes, replay as replayed, spread,
};
use gantline_protocol::state::{self, CallWord, is_kept_back_from};
use gantline_protocol::time::WallClock;
use maud::{Markup, html};
use std::collections::{BTreeMap, BTreeSet};

/// Entries that a device had not heard are listed so many; more are counted.
const NOT_HEARD_MAX: usize = 4;
/// And entries that do not count.
const UNCOUNTED_MAX: usize = 3;
/// The order of the lanes, as of the crew on every page.
const ROLES: [&str; 3] = ["tower", "ground", "observer"];
/// So many sounds within ten minutes are a flood (ISA-18.2).
const SOUNDS_MAX: usize = 10;
const SOUNDS_WITHIN_MS: i64 = 10 * 60 * 1000;

/// What is to be looked at.
#[derive(Clone, Debug, Default)]
pub(crate) struct Wanted {
    /// The cursor, ms by the founder's clock.
    pub(crate) at: Option<i64>,
    /// Which device, by its place.
    pub(crate) who: usize,
    /// The stop that is looked at from near, by its place.
    pub(crate) stop: Option<usize>,
}

impl Wanted {
    pub(crate) fn read(query: &[u8]) -> Self {
        let form = Form::read(query);
        Self {
            at: form.value("at"),
            who: form.value("who").unwrap_or(0),
            stop: form.value("stop"),
        }
    }

    /// The address of this page with something else to be looked at.
    pub(crate) fn link(&self) -> String {
        let mut link = format!("/replay?who={}", self.who);
        if let Some(at) = self.at {
            link = format!("{link}&at={at}");
        }
        if let Some(stop) = self.stop {
            link = format!("{link}&stop={stop}");
        }
        link
    }
}

/// All that is known of the job until now.
pub(crate) struct Past {
    pub(crate) job: Job,
    pub(crate) replay: Replay,
    pub(crate) clocks: Clocks,
    pub(crate) lanes: Vec<Lane>,
    pub(crate) spread: Vec<Spread>,
    pub(crate) shown: Vec<shown::Line>,
    /// Looks that this device may not show yet.
    pub(crate) kept_back: BTreeSet<EntryHash>,
    knew: Option<Knew>,
    pub(crate) wanted: Wanted,
    pub(crate) me: DeviceKey,
}

/// Works all of it out, beside the node's loop.
pub(crate) async fn past(shared: &Shared, wanted: Wanted) -> Result<Past, Refusal> {
    let job = *shared.node.job().await?;
    let me = shared.node.status().await?.device;
    let folder = shared.journal.parent().map(std::path::Path::to_owned);
    let worked = tokio::task::spawn_blocking(move || {
        let shown = folder.map_or_else(Vec::new, |folder| shown::read(&folder));
        Past::new(job, shown, me, wanted)
    })
    .await;
    let why = match worked {
        Ok(Ok(past)) => return Ok(past),
        Ok(Err(not)) => not.to_string(),
        Err(ended) => ended.to_string(),
    };
    Err(Refusal::Log { why })
}

impl Past {
    fn new(
        job: Job,
        shown: Vec<shown::Line>,
        me: DeviceKey,
        mut wanted: Wanted,
    ) -> Result<Self, gantline_protocol::gate::NotAJob> {
        let clocks = Clocks::of(&job);
        let mut lanes = lanes(&job, &clocks)?;
        // In one order in every job: by role, then call sign.
        lanes.sort_by_key(|lane| {
            let member = job.roster().members.get(&lane.device);
            let place = member.map(|member| {
                let has = |role: &str| member.roles.iter().any(|one| one.as_str() == role);
                // Who answers for the job is named for that, whatever else they do.
                let last = has("supervisor");
                (
                    last,
                    ROLES.iter().position(|role| has(role)),
                    member.person.clone(),
                )
            });
            (place.is_none(), place)
        });
        let spread = spread(&job, &clocks);
        let graph = job.graph();
        let kept_back = graph
            .iter()
            .filter(|&ix| is_kept_back_from(&job, &me, ix))
            .map(|ix| graph.hash(ix))
            .collect();
        let last = lanes
            .iter()
            .flat_map(|lane| &lane.points)
            .map(|point| point.at.0);
        let newest_stop = spread.last().map(|stop| stop.at.0);
        wanted.at = wanted.at.or(newest_stop).or(last.max());
        wanted.who = wanted.who.min(lanes.len().saturating_sub(1));
        wanted.stop = wanted.stop.filter(|&at| at < spread.len());
        let knew = match (lanes.get(wanted.who), wanted.at) {
            (Some(lane), Some(at)) => Some(knew(&job, &clocks, &lane.device, WallClock(at))?),
            _ => None,
        };
        Ok(Self {
            replay: replayed(&job),
            clocks,
            lanes,
            spread,
            shown,
            kept_back,
            knew,
            wanted,
            me,
            job,
        })
    }

    /// An entry in words; of one that is kept back only that there is one.
    pub(crate) fn words(&self, view: &View, words: &Words, entry: &EntryHash) -> String {
        if self.kept_back.contains(entry) {
            return view.labels.kept_back.to_owned();
        }
        let found = self.job.graph().find(entry);
        found.map_or_else(String::new, |ix| words.entry(self.job.graph().body(ix)))
    }

    /// By when a device had a stop, as far as it is known: by this device's own watch, else by that device's log.
    pub(crate) fn had_it(&self, stop: &Spread, device: &DeviceKey) -> Option<i64> {
        let watched = self.shown.iter().find_map(|line| match &line.what {
            What::Has {
                stop: of,
                device: by,
            } if *of == stop.stop && by == device => Some(line.at),
            _ => None,
        });
        let own = self.shown.iter().find_map(|line| match &line.what {
            What::Call {
                word: CallWord::StopWork,
                ..
            } if line.at >= stop.at.0.saturating_sub(1000) => Some(line.at),
            _ => None,
        });
        let watched = if *device == self.me { own } else { watched };
        let watched = watched.map(|at| self.clocks.by_founder(&self.me, WallClock(at)).0);
        let logged = stop.had_it.iter().find(|(of, _)| of == device);
        let logged = logged.and_then(|(_, at)| at.map(|at| at.0));
        [watched, logged].into_iter().flatten().min()
    }

    /// What fills a lane from when on. This device's is what it showed; another's what its log allowed.
    pub(crate) fn fills(&self, lane: &Lane) -> Vec<(i64, Fill)> {
        let mut fills: Vec<(i64, Fill)> = Vec::new();
        let own = lane.device == self.me && !self.shown.is_empty();
        if own {
            let at = |at: i64| self.clocks.by_founder(&self.me, WallClock(at)).0;
            fills.extend(self.shown.iter().filter_map(|line| match &line.what {
                What::Runs(_) => Some((at(line.at), Fill::Nothing)),
                What::Call { word, .. } => Some((at(line.at), Fill::of(*word))),
                What::Sounds(_) | What::Has { .. } => None,
            }));
        } else {
            fills.extend(
                lane.points
                    .iter()
                    .map(|point| (point.at.0, Fill::of(point.call))),
            );
            let stops = self.spread.iter().filter(|stop| stop.by != lane.device);
            fills.extend(
                stops.filter_map(|stop| Some((self.had_it(stop, &lane.device)?, Fill::Stop))),
            );
        }
        fills.sort_by_key(|(at, _)| *at);
        fills
    }
}

/// Names by role where the device is on the job, else by call sign.
pub(crate) fn names(view: &View, past: &Past) -> BTreeMap<DeviceKey, String> {
    let members = past.job.roster().members.iter();
    members
        .map(|(device, member)| {
            let short = view.short_name(device);
            let name = if short.is_empty() {
                member.person.to_string()
            } else {
                short.to_owned()
            };
            (*device, name)
        })
        .collect()
}

/// The whole page.
pub(crate) fn content(view: &View, past: &Past) -> Markup {
    let l = view.labels;
    let names = names(view, past);
    let at = past.wanted.at.unwrap_or(0);
    let doubt = past
        .lanes
        .iter()
        .filter_map(|lane| past.clocks.doubt_ms(&lane.device))
        .max();
    html! {
        (player::cursor(view, past, at, doubt))
        (timeline::timeline(view, past, &names))
        p class="fine" { (l.lanes_mean) }
        (uncounted(view, past, &names))
        div class="halves" {
            div { (known(view, past, &names, at)) }
            div {
                (reached(view, past, &names))
                (held(view, past))
                @for line in &past.replay.lines {
                    @if line.kind == "exception" {
                        p class="exception" { b { (l.exception) } " " (view.clock(line.wall.0)) " · " (past.words(view, &view.words, &line.entry)) }
                    }
                }
            }
        }
        @let photos = state::photos(&past.job);
        @if !photos.is_empty() {
            h2 { (l.acts.photos) }
            (photos::gallery(view, &photos, &view.beside.photos_here))
        }
    }
}

/// What does not count, with the reason in words; the newest of a long list.
fn uncounted(view: &View, past: &Past, names: &BTreeMap<DeviceKey, String>) -> Markup {
    let lines = past.replay.lines.iter();
    let all: Vec<_> = lines
        .filter(|line| line.worth == Worth::DoesNotCount && !past.kept_back.contains(&line.entry))
        .collect();
    let l = view.labels;
    html! {
        @if !all.is_empty() {
            ul class="uncounted" aria-label=(l.uncounted) {
                @for line in all.iter().rev().take(UNCOUNTED_MAX) {
                    li {
                        (icon("no")) " " b { (l.uncounted) } " · " (view.clock(line.wall.0)) " "
                        (names.get(&line.device).map_or("", String::as_str)) ": " (past.words(view, &view.words, &line.entry))
                        @for reason in &line.reasons { " · " b { (view.words.reason(reason).so) } }
                    }
                }
                @if all.len() > UNCOUNTED_MAX { li { (fill(l.more, &[("n", &(all.len() - UNCOUNTED_MAX).to_string())])) } }
            }
        }
    }
}

pub(crate) fn nearest(past: &Past, at: i64) -> Option<usize> {
    let stops = past.spread.iter().enumerate();
    stops
        .min_by_key(|(_, stop)| stop.at.0.abs_diff(at))
        .map(|(n, _)| n)
}

pub(crate) fn tenths(ms: u64) -> String {
    format!("{}.{}", ms / 1000, ms % 1000 / 100)
}

/// What a device knew, beside what it had not heard yet.
fn known(view: &View, past: &Past, names: &BTreeMap<DeviceKey, String>, at: i64) -> Markup {
    let l = view.labels;
    let Some(knew) = &past.knew else {
        return html! {};
    };
    let name = |device: &DeviceKey| names.get(device).cloned().unwrap_or_default();
    let step = knew.step.as_ref().map(|step| view.words.step_titled(step));
    html! {
        h2 { (fill(l.knew_at, &[("when", &view.clock_tenths(at))])) }
        div class="whose" {
            @for (place, lane) in past.lanes.iter().enumerate() {
                @let other = Wanted { who: place, ..past.wanted.clone() };
                a class=(if place == past.wanted.who { "go on" } else { "go" }) href=(other.link()) { (name(&lane.device)) }
            }
        }
        div class="two" {
            div {
                p class=(format!("knew {}", View::call_of(knew.call))) {
                    (shape("shape", &format!("s-{}", View::call_of(knew.call)))) " "
                    (fill(l.log_allowed, &[("call", view.word_of(knew.call))]))
                }
                @if let Some(step) = step { p { (step) } }
                p { (fill(l.steps_done, &[("n", &knew.steps_done.to_string()), ("all", &past.replay.summary.steps_total.to_string())])) }
                @if !knew.proofs.is_empty() {
                    p {
                        (l.proofs) ": "
                        @for (n, (tag, age_ms)) in knew.proofs.iter().enumerate() {
                            @let device = names.keys().find(|device| device.tag() == *tag);
                            @if n > 0 { " · " }
                            (device.map(name).unwrap_or_default()) " " (tenths(u64::from(*age_ms))) " s"
                        }
                    }
                }
                @for (condition, age_ms) in &knew.conditions { p { (view.words.condition(condition)) ": " (fill(l.at_ago, &[("ago", &span(*age_ms))])) } }
                @if let Some(last) = &knew.last_own { p { (l.last_own) ": " (past.words(view, &view.words, last)) } }
            }
            div class="unheard" {
                b { (l.not_heard_yet) }
                @for (entry, heard) in knew.not_heard.iter().rev().take(NOT_HEARD_MAX) {
                    p {
                        (of_entry(past, names, entry)) ": " (past.words(view, &view.words, entry)) br;
                        @match heard {
                            Some(heard) => (fill(l.heard_by, &[("when", &view.clock_tenths(heard.0))])),
                            None => (l.heard_never),
                        }
                    }
                }
                @if knew.not_heard.is_empty() { p { (l.nothing) } }
                @if knew.not_heard.len() > NOT_HEARD_MAX { p { (fill(l.more, &[("n", &(knew.not_heard.len() - NOT_HEARD_MAX).to_string())])) } }
            }
        }
    }
}

fn of_entry(past: &Past, names: &BTreeMap<DeviceKey, String>, entry: &EntryHash) -> String {
    let graph = past.job.graph();
    let author = graph.find(entry).map(|ix| graph.author(ix));
    author
        .and_then(|author| names.get(&author).cloned())
        .unwrap_or_default()
}

/// How fast each stop reached each device, and the last Proceed against the limit.
fn reached(view: &View, past: &Past, names: &BTreeMap<DeviceKey, String>) -> Markup {
    let l = view.labels;
    let limit_ms = view.plan.times.watch_limit_ms;
    html! {
        h2 { (l.stops_reached) " " span class="plain-weight" { (fill(l.limit_is, &[("s", &tenths(limit_ms))])) } }
        @if past.spread.is_empty() { p { (l.no_stop) } } @else {
            div class="drawn" tabindex="0" { table class="matrix" {
                thead { tr { th class="wide" { (l.stop_column) } @for lane in &past.lanes { th { (names.get(&lane.device).map_or("", String::as_str)) } } th { (l.last_proceed) } } }
                tbody {
                    @for (n, stop) in past.spread.iter().enumerate() {
                        @let ages: Vec<Option<u64>> = past.lanes.iter().map(|lane| {
                            if lane.device == stop.by { return Some(0); }
                            let had = past.had_it(stop, &lane.device)?;
                            u64::try_from(had.saturating_sub(stop.at.0)).ok().or(Some(0))
                        }).collect();
                        tr class=(if past.wanted.stop == Some(n) { "on" } else { "" }) {
                            th class="wide" {
                                @let near = Wanted { stop: Some(n), at: Some(stop.at.0), ..past.wanted.clone() };
                                a class="go" href=(near.link()) { (n + 1) " · " (view.clock(stop.at.0)) } " " (past.words(view, &view.words, &stop.stop))
                            }
                            @for (lane, age) in past.lanes.iter().zip(&ages) {
                                td {
                                    @if lane.device == stop.by { (l.pressed_here) }
                                    @else if let Some(ms) = age { (tenths(*ms)) }
                                    @else { "–" }
                                }
                            }
                            @let others = past.lanes.iter().zip(&ages).filter(|(lane, _)| stop.had_it.iter().any(|(of, _)| *of == lane.device));
                            @let worst = others.map(|(_, age)| *age).try_fold(0, |worst, age| age.map(|age| worst.max(age)));
                            td {
                                @match worst {
                                    Some(ms) if ms <= limit_ms => { "≤ +" (tenths(ms)) " s " (icon("yes")) },
                                    Some(ms) => { "≤ +" (tenths(ms)) " s " (icon("no")) },
                                    None => "–",
                                }
                            }
                        }
                    }
                }
            } }
        }
    }
}

/// How long this device held by a loss, how often it sounded.
fn held(view: &View, past: &Past) -> Markup {
    let l = view.labels;
    let mut since: Option<i64> = None;
    let (mut times, mut total_ms) = (0_u32, 0_i64);
    for line in &past.shown {
        let begins = matches!(line.what, What::Call { loss: true, .. });
        if matches!(line.what, What::Call { .. } | What::Runs(_))
            && let Some(from) = since.take()
        {
            total_ms = total_ms.saturating_add(line.at.saturating_sub(from).max(0));
        }
        if begins {
            since = Some(line.at);
            times = times.saturating_add(1);
        }
    }
    let sounds: Vec<i64> = past
        .shown
        .iter()
        .filter(|line| matches!(line.what, What::Sounds(_)))
        .map(|line| line.at)
        .collect();
    let flood = sounds
        .windows(SOUNDS_MAX + 1)
        .find(|some| matches!(some, [first, .., last] if last - first <= SOUNDS_WITHIN_MS));
    html! {
        @if past.shown.is_empty() { p { (l.nothing_kept) } } @else {
            p { (fill(l.held_by_loss, &[("n", &times.to_string()), ("time", &span(u64::try_from(total_ms).unwrap_or(0)))])) }
            p { (fill(l.sounded, &[("n", &sounds.len().to_string())])) }
            @if let Some([first, ..]) = flood {
                p class="exception" { (fill(l.flood, &[("when", &view.clock(*first))])) }
            }
        }
    }
}
