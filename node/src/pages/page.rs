//! Page: which page is this, and how are its parts put together?
//! Owns: nothing.   Gives: `own`, `worker`, `observer`, `board`, `whole`, and `main_of` for the live stream.
//! May use: every part of the pages.   Never: words of its own.
//!
//! Who holds the observer's role sees the observer's page, the supervisor the board, whoever holds another the worker's.

use crate::control::{Refusal, Shared};
use crate::pages::asked::{self, Asked, Gives};
use crate::pages::assets::POLICY;
use crate::pages::band::band;
use crate::pages::beside::{self, Beside};
use crate::pages::board;
use crate::pages::enter::Settings;
use crate::pages::forms::Typed;
use crate::pages::moves;
use crate::pages::number::limit_words;
use crate::pages::paper;
use crate::pages::parts::{self, icon, second};
use crate::pages::sheets;
use crate::pages::view::{self, Seen, View};
use crate::words::fill;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
};
use axum::response::{Html, IntoResponse, Response};
use gantline_protocol::engine::Alarm;
use gantline_protocol::ids::RoleId;
use gantline_protocol::plan::{Expects, Plan, Step, Who};
use gantline_protocol::state::{AskedOf, CallWord, CheckStatus, Overview, Status, StepStatus};
use maud::{DOCTYPE, Markup, html};
use std::sync::{Arc, PoisonError};

/// A page.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) enum Kind {
    Worker,
    Observer,
    Board,
    /// One that is not the own page of anybody.
    Beside(Beside),
    Replay,
    Limits,
    Briefing,
}

/// What is read on a page, made when it is opened.
pub(crate) type Content = Box<dyn FnOnce(&View) -> Markup + Send>;

impl Kind {
    /// Its path, without the stroke it begins with.
    pub(crate) fn name(&self) -> String {
        match self {
            Self::Worker => "worker".to_owned(),
            Self::Observer => "observer".to_owned(),
            Self::Board => "board".to_owned(),
            Self::Beside(page) => page.name(),
            Self::Replay => "replay".to_owned(),
            Self::Limits => "limits".to_owned(),
            Self::Briefing => "briefing".to_owned(),
        }
    }

    /// Read, not worked with.
    pub(crate) fn is_paper(&self) -> bool {
        matches!(self, Self::Replay | Self::Limits | Self::Briefing)
    }

    pub(crate) fn named(name: &str) -> Option<Self> {
        match name {
            "worker" => Some(Self::Worker),
            "observer" => Some(Self::Observer),
            "board" => Some(Self::Board),
            "replay" => Some(Self::Replay),
            "limits" => Some(Self::Limits),
            "briefing" => Some(Self::Briefing),
            _ => Beside::named(name).map(Self::Beside),
        }
    }

    /// The pages of the holder's roles; never none.
    pub(crate) fn all_of(status: &Status) -> Vec<Self> {
        let roles = &status.roles;
        let mut all = Vec::new();
        if roles.iter().any(RoleId::is_observer) {
            all.push(Self::Observer);
        }
        if roles.iter().any(RoleId::is_supervisor) {
            all.push(Self::Board);
        }
        let other = |role: &RoleId| !role.is_observer() && !role.is_supervisor();
        if all.is_empty() || roles.iter().any(other) {
            all.push(Self::Worker);
        }
        all
    }

    /// The own page of this device's holder.
    pub(crate) fn of(status: &Status) -> Self {
        Self::all_of(status)
            .into_iter()
            .next()
            .unwrap_or(Self::Worker)
    }
}

/// How a page was come to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Opened {
    /// By the link: all that is set once on a device is asked before it.
    First,
    /// Again: sound wants one press all the same.
    Again,
}

/// What the device shows now, with the plan that it is shown by. `all`: with what only the pages beside the own one
/// show.
pub(crate) async fn seen(shared: &Shared, all: bool) -> Result<Seen, Refusal> {
    let status = shared.node.status().await?;
    let plan = plan_of(shared, &status).await?;
    let mut beside = view::Beside::default();
    // An agreement is given to something that is read first.
    let agrees = status
        .asked
        .iter()
        .any(|one| matches!(one, AskedOf::Agree { .. }));
    if all || agrees {
        beside.aside = *shared.node.aside().await?;
    }
    if !beside.aside.photos.is_empty() {
        beside.photos_here = shared.node.photos_here().await?;
    }
    if status.roles.iter().any(RoleId::is_supervisor) {
        beside.joins = shared.node.joins().await?;
    }
    Ok(Seen {
        language: shared.pages.language(),
        status,
        plan,
        beside,
    })
}

async fn plan_of(shared: &Shared, status: &Status) -> Result<Arc<Plan>, Refusal> {
    let known = {
        let plan = shared.pages.plan.lock();
        plan.unwrap_or_else(PoisonError::into_inner).clone()
    };
    if let Some((version, plan)) = known
        && version == status.plan_version
    {
        return Ok(plan);
    }
    let plan: Arc<Plan> = Arc::from(shared.node.plan().await?);
    let mut kept = shared
        .pages
        .plan
        .lock()
        .unwrap_or_else(PoisonError::into_inner);
    *kept = Some((status.plan_version, Arc::clone(&plan)));
    Ok(plan)
}

/// The crew as a whole, for a page that shows it.
pub(crate) async fn overview(
    shared: &Shared,
    kind: &Kind,
) -> Result<Option<Box<Overview>>, Refusal> {
    if *kind == Kind::Board {
        return Ok(Some(shared.node.overview().await?));
    }
    Ok(None)
}

pub(crate) async fn own(
    State(shared): State<Shared>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    whole(&shared, &headers, None, Opened::Again, &Typed::default()).await
}

pub(crate) async fn worker(
    State(shared): State<Shared>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    whole(
        &shared,
        &headers,
        Some(Kind::Worker),
        Opened::Again,
        &Typed::default(),
    )
    .await
}

pub(crate) async fn observer(
    State(shared): State<Shared>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    whole(
        &shared,
        &headers,
        Some(Kind::Observer),
        Opened::Again,
        &Typed::default(),
    )
    .await
}

pub(crate) async fn board(
    State(shared): State<Shared>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    whole(
        &shared,
        &headers,
        Some(Kind::Board),
        Opened::Again,
        &Typed::default(),
    )
    .await
}

/// A page; `None`: the own one of who holds this device. `typed`: what was typed on it and not taken.
pub(crate) async fn whole(
    shared: &Shared,
    headers: &HeaderMap,
    kind: Option<Kind>,
    opened: Opened,
    typed: &Typed,
) -> Result<Response, Refusal> {
    page(shared, headers, kind, opened, typed, None).await
}

/// A page that is read.
pub(crate) async fn written(
    shared: &Shared,
    headers: &HeaderMap,
    kind: Kind,
    content: Content,
) -> Result<Response, Refusal> {
    let typed = Typed::default();
    page(
        shared,
        headers,
        Some(kind),
        Opened::Again,
        &typed,
        Some(content),
    )
    .await
}

async fn page(
    shared: &Shared,
    headers: &HeaderMap,
    kind: Option<Kind>,
    opened: Opened,
    typed: &Typed,
    content: Option<Content>,
) -> Result<Response, Refusal> {
    let seen = seen(shared, true).await?;
    let since = shared.pages.shown_for_s(seen.status.call.word);
    let kind = kind.unwrap_or_else(|| Kind::of(&seen.status));
    let settings = Settings::of(headers);
    let view = View::new(&seen, since, settings.offset_min)
        .with_two_presses(settings.two_presses)
        .with_choice(shared.pages.choice())
        .with_overview(overview(shared, &kind).await?);
    let theme = if settings.night { "night" } else { "sun" };
    let l = view.labels;
    let content = content.map(|content| content(&view));
    let page = html! {
        (DOCTYPE)
        html lang=(view.language.code) data-call=(view.call().0) data-theme=(theme) data-page=(kind.name())
            data-offset=(settings.offset_min) data-begin=[(opened == Opened::First).then_some("")] data-presses=(if settings.two_presses { "two" } else { "kept" })
            data-unsent=(l.pressed_unsent) data-kept=(l.kept_short) data-node-silent=(l.node_silent) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width,initial-scale=1,viewport-fit=cover";
                title { (view.own_name()) " · " (l.title) }
                link rel="icon" href="data:,";
                link rel="stylesheet" href="/assets/page.css";
                link rel="stylesheet" href="/assets/wide.css";
                // Nothing that is worked with is on what is only read; the replay has the board's table, notes and their photos.
                @if !matches!(kind, Kind::Briefing | Kind::Limits) {
                    link rel="stylesheet" href="/assets/work.css";
                    link rel="stylesheet" href="/assets/board.css";
                    link rel="stylesheet" href="/assets/beside.css";
                    link rel="stylesheet" href="/assets/photo.css";
                    link rel="stylesheet" href="/assets/start.css";
                }
                @if kind.is_paper() { link rel="stylesheet" href="/assets/paper.css"; }
                @if kind == Kind::Replay { link rel="stylesheet" href="/assets/replay.css"; }
                link rel="stylesheet" href="/assets/size.css";
                script type="module" src="/assets/page.js" {}
                @if kind == Kind::Replay { script type="module" src="/assets/photo.js" {} }
                @if kind == Kind::Replay { script type="module" src="/assets/replay.js" {} }
            }
            body {
                (parts::shapes())
                @match &kind {
                    Kind::Beside(page) => (beside::main_of(&view, page, typed)),
                    own => (main_with(&view, own, content)),
                }
                // An own stop before the node has answered: shown by the page at once, from what came with it.
                template id="pressed" { (parts::own_stop(l, &parts::pressed(l, false), &view.status.call.if_held)) }
            }
        }
    };
    Ok((
        [
            (CONTENT_SECURITY_POLICY, POLICY),
            (CACHE_CONTROL, "no-store"),
            (REFERRER_POLICY, "same-origin"),
            (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        ],
        Html(page.into_string()),
    )
        .into_response())
}

/// The page itself, as it is sent again at each change.
pub(crate) fn main_of(view: &View, kind: &Kind) -> Markup {
    if let Kind::Beside(page) = kind {
        return beside::main_of(view, page, &Typed::default());
    }
    main_with(view, kind, None)
}

fn main_with(view: &View, kind: &Kind, content: Option<Markup>) -> Markup {
    let asked = asked::all(view);
    if kind.is_paper() {
        return paper::frame(view, kind, &asked, content);
    }
    let observer = *kind == Kind::Observer;
    let (call, _) = view.call();
    // Over the board or the observer's stop nothing opens by itself: there a number is one press more.
    let opens = (*kind == Kind::Worker)
        .then(|| sheets::opening(view, &asked))
        .flatten();
    // On a small screen the board is the worker's page, with the rest of it below the card.
    let class = match kind {
        Kind::Board => "page worker board",
        Kind::Observer => "page observer",
        _ => "page worker",
    };
    html! {
        main class=(class) lang=(view.language.code) data-call=(call) data-face=(view.face) data-asked=(asked.len())
            data-opens=[opens] data-sound=[sound(view.status)] {
            (parts::strip(view))
            (band(view, observer))
            @if *kind == Kind::Board {
                div class="whole-job" data-scrolls tabindex="0" {
                    (card(view, &asked))
                    (board::plan(view))
                    (board::side(view, asked.is_empty()))
                    (board::devices(view))
                }
            } @else if !observer {
                (card(view, &asked))
            }
            @match sheets::unsaid(view) {
                Some(stop) => (sheets::whys(view, stop)),
                None => (parts::asked(view, asked.first(), observer)),
            }
            (parts::links(view))
            (beside::way(view, kind))
            (row(view, &asked, observer))
            (parts::second_place(view))
            (parts::stop(view, observer))
            p class="note" role="status" {}
            (parts::stale(view, observer))
            (sheets::all(view, &asked))
        }
    }
}

/// What sounds on this device, by name.
pub(crate) fn sound(status: &Status) -> Option<&'static str> {
    let grave = |alarm: &Alarm| match alarm {
        Alarm::Stop | Alarm::UnknownDevice | Alarm::Call => true,
        Alarm::HoldByLoss | Alarm::Clearance | Alarm::Fork => false,
    };
    match status.alarms.as_slice() {
        [] => None,
        alarms if alarms.iter().any(grave) => Some("stop"),
        _ => Some("loss"),
    }
}

/// The second row: controls that fail to the safe side only. Each keeps its place; one that is not needed leaves it empty.
fn row(view: &View, asked: &[Asked], observer: bool) -> Markup {
    let l = view.labels;
    let about_check = asked.first().is_some_and(|one| one.check.is_some());
    let agrees = asked
        .iter()
        .find(|one| matches!(one.gives, Gives::Agree | Gives::Read(_)));
    let stopped = view.is(CallWord::StopWork);
    let left = if let Some(one) = agrees {
        let sub = match one.gives {
            Gives::Agree => l.decline_sub,
            _ => l.acts.decline_sub,
        };
        Some(second("decline", "decline", l.decline, sub))
    } else if let Some(stop) = sheets::own_stop(view).filter(|_| stopped) {
        Some(if sheets::unsaid(view).is_some() {
            sheets::other_why(view, stop)
        } else {
            second("saywhy", "why", l.say_why, l.say_why_sub)
        })
    } else if about_check {
        Some(second("cannot", "cannot", l.cannot, l.cannot_sub))
    } else if !stopped && Kind::all_of(view.status).len() > 1 {
        Some(second("role", "role", l.role_switch, l.role_switch_sub))
    } else {
        None
    };
    let more = asked.len().saturating_sub(1);
    html! {
        div class=(if observer && left.is_none() && more == 0 { "row empty" } else { "row" }) {
            @match left {
                Some(left) => (left),
                None => { div class="sec place" {} }
            }
            @if more > 0 {
                (second("other", "choose", &fill(l.other_asked, &[("n", &more.to_string())]), l.other_asked_sub))
            }
            @if view.own_given().is_empty() {
                div class="sec place" {}
            } @else {
                (second("withdraw", "withdraw", l.withdraw, l.withdraw_sub))
            }
        }
    }
}

/// One step, one check.
fn card(view: &View, asked: &[Asked]) -> Markup {
    let l = view.labels;
    let first = asked.first();
    let about = first.and_then(|one| one.check.as_ref());
    let Some((n, step, status)) = view.step(about.map(|(step, _)| step)) else {
        return html! { section class="card" {} };
    };
    let all = view.status.steps.len().to_string();
    html! {
        section class="card" {
            @if view.is(CallWord::Hold) && !view.status.call.if_held.is_empty() {
                p class="keep" { (fill(l.keep, &[("what", &view.status.call.if_held)])) }
            }
            div class="head" {
                span class="n" { (fill(l.step_of, &[("n", &n.to_string()), ("all", &all)])) } " "
                h1 { (step.title) }
            }
            @if view.is(CallWord::Proceed) { p { (step.text) } }
            @if let Some(check) = about.and_then(|(_, check)| status.checks.iter().find(|one| one.id == *check)) {
                p class="lim mine" { (l.your_check) " " b { (check.text) } }
                (small_print(view, step, check, first.is_some_and(|one| one.again)))
            }
            @if let Some(load) = moves::moving(view) {
                p class="moves" { (fill(l.may_move, &[("what", &view.words.item(&load.item)), ("where", view.words.place(load.to))])) }
            }
            (who(view, status, step))
        }
    }
}

/// The limit, and what is special about a check.
fn small_print(view: &View, step: &Step, check: &CheckStatus, again: bool) -> Markup {
    let l = view.labels;
    let planned = step.check(&check.id);
    let limit = planned.and_then(|check| match &check.expects {
        Expects::Measured { limit } => view.plan.limit(limit),
        _ => None,
    });
    let blind = planned.is_some_and(|check| matches!(check.who, Who::SecondLook { .. }));
    html! {
        @if let Some(limit) = limit { p class="lim" { (limit_words(view, limit)) } }
        @if blind { p class="lim" { (l.blind) } }
        @if again { p class="lim again" { (l.again) } }
    }
}

/// Who has confirmed something of this step, and who is waited for.
pub(crate) fn who(view: &View, step: &StepStatus, planned: &Step) -> Markup {
    let mut done: Vec<String> = Vec::new();
    let mut waits: Vec<String> = Vec::new();
    for check in &step.checks {
        let given = || check.given.iter().filter(|given| given.reasons.is_empty());
        for name in given().map(|given| view.name(&given.by)) {
            if !done.contains(&name) {
                done.push(name);
            }
        }
        if check.done {
            continue;
        }
        let who = planned.check(&check.id).map(|check| &check.who);
        for role in &check.waits_for {
            let holders: Vec<String> = view
                .status
                .crew
                .iter()
                .filter(|one| one.present && one.roles.contains(role))
                .filter(|one| !given().any(|given| given.by == one.person))
                .map(|one| view.name(&one.person))
                .collect();
            // Of several who may, as many are waited for as there are places left.
            let places = match who {
                Some(Who::Roles(places)) => {
                    let all = places.iter().filter(|place| *place == role).count();
                    let by = |person: &gantline_protocol::ids::Person| {
                        view.status
                            .crew
                            .iter()
                            .any(|one| one.person == *person && one.roles.contains(role))
                    };
                    all.saturating_sub(given().filter(|given| by(&given.by)).count())
                }
                _ => holders.len(),
            };
            let names = if holders.is_empty() {
                vec![view.role_name(role)]
            } else if holders.len() > places {
                vec![holders.join(view.labels.one_or_other)]
            } else {
                holders
            };
            waits.extend(
                names
                    .into_iter()
                    .filter(|name| !waits.contains(name))
                    .collect::<Vec<_>>(),
            );
        }
    }
    // Who is waited for has not done everything, whatever they have done.
    done.retain(|name| !waits.contains(name));
    html! {
        div class="who" {
            @for name in done { span { (icon("yes")) " " (name) } }
            @for name in waits { span { (icon("wait")) " " b { (name) } } }
        }
    }
}
