//! Beside: the pages beside the own one: everything that can be done unasked, the items, one item, one kind of act.
//! Owns: nothing.   Gives: `Beside`, their paths and their HTML.
//! May use: acts, items, forms, parts.   Never: words of its own; a page without the stop control.

use crate::control::{Refusal, Shared};
use crate::pages::acts::{self, Part};
use crate::pages::asked;
use crate::pages::band::band;
use crate::pages::forms::{Typed, form};
use crate::pages::items;
use crate::pages::page::{self, Kind, Opened};
use crate::pages::parts;
use crate::pages::start;
use crate::pages::view::View;
use crate::words::fill;
use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use gantline_protocol::ids::ItemId;
use gantline_protocol::state::AskedOf;
use maud::{Markup, html};

/// Which page.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) enum Beside {
    /// Everything that can be done unasked.
    More,
    /// Every item.
    Items,
    /// One item.
    Item(ItemId),
    /// One kind of act, by its name.
    Act(&'static str),
}

impl Beside {
    /// Its path, without the stroke it begins with.
    pub(crate) fn name(&self) -> String {
        match self {
            Self::More => "more".to_owned(),
            Self::Items => "items".to_owned(),
            Self::Item(id) => format!("items/{id}"),
            Self::Act(name) => format!("act/{name}"),
        }
    }

    /// The page of a path.
    pub(crate) fn named(name: &str) -> Option<Self> {
        match name.split_once('/') {
            None if name == "more" => Some(Self::More),
            None if name == "items" => Some(Self::Items),
            Some(("items", id)) => id.parse().ok().map(Self::Item),
            Some(("act", act)) => {
                let mut all = acts::LEAVES.into_iter();
                all.find(|leaf| *leaf == act).map(Self::Act)
            }
            _ => None,
        }
    }
}

pub(crate) async fn more(
    State(shared): State<Shared>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    show(&shared, &headers, "more".to_owned()).await
}

pub(crate) async fn all_items(
    State(shared): State<Shared>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    show(&shared, &headers, "items".to_owned()).await
}

pub(crate) async fn item(
    State(shared): State<Shared>,
    Path(id): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    show(&shared, &headers, format!("items/{id}")).await
}

pub(crate) async fn act(
    State(shared): State<Shared>,
    Path(name): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    show(&shared, &headers, format!("act/{name}")).await
}

async fn show(shared: &Shared, headers: &HeaderMap, name: String) -> Result<Response, Refusal> {
    // Of a page that is not there, the list of those that are.
    let beside = Beside::named(&name).unwrap_or(Beside::More);
    page::whole(
        shared,
        headers,
        Some(Kind::Beside(beside)),
        Opened::Again,
        &Typed::default(),
    )
    .await
}

/// The page, as it is sent again at each change.
pub(crate) fn main_of(view: &View, beside: &Beside, typed: &Typed) -> Markup {
    let asked = asked::all(view);
    let (call, _) = view.call();
    // A stop is answered from whatever page is open.
    let heard = asked
        .iter()
        .find(|one| matches!(view.status.asked.get(one.at), Some(AskedOf::Heard { .. })));
    html! {
        main class="page beside" lang=(view.language.code) data-call=(call) data-face=(view.face) data-asked=(asked.len())
            data-sound=[page::sound(view.status)] {
            (parts::strip(view))
            (band(view, false))
            section class="under" data-scrolls data-name=(beside.name()) tabindex="0" {
                @if let Some(one) = heard { (parts::asked(view, Some(one), false)) }
                (content(view, beside, typed))
                (back(view, beside))
            }
            (parts::stop(view, false))
            p class="note" role="status" {}
            (parts::stale(view, false))
            (parts::second_place(view))
            (start::sheets(view))
        }
    }
}

/// The way back: to where one came from, one page up.
fn back(view: &View, beside: &Beside) -> Markup {
    let l = view.labels;
    let own = Kind::of(view.status).name();
    let up = match beside {
        Beside::More => own,
        Beside::Items | Beside::Act(_) => "more".to_owned(),
        Beside::Item(_) => "items".to_owned(),
    };
    html! {
        a class="sec back" data-control="go" data-own[*beside == Beside::More] href={ "/" (up) } { (l.back) small { (l.acts.back_sub) } }
    }
}

fn content(view: &View, beside: &Beside, typed: &Typed) -> Markup {
    let a = view.labels.acts;
    let path = format!("/{}", beside.name());
    match beside {
        Beside::More => links(view),
        Beside::Items => titled(view, &path, a.items, items::list(view), typed),
        Beside::Item(id) => match items::page(view, id) {
            Some((title, parts)) => titled(view, &path, &title, parts, typed),
            None => {
                html! { p class="line" { (fill(a.no_such_code, &[("code", id.as_str())])) } }
            }
        },
        Beside::Act(name) => match acts::leaf(view, name) {
            Some(leaf) => titled(view, &path, leaf.title, leaf.parts, typed),
            None => links(view),
        },
    }
}

fn titled(view: &View, path: &str, title: &str, parts: Vec<Part>, typed: &Typed) -> Markup {
    html! {
        h1 { (title) }
        @for part in parts {
            @match part {
                Part::Head(text) => h2 { (text) },
                Part::Line(text) => p class="line" { (text) },
                Part::Form(one) => (form(view, path, &one, typed)),
                Part::Other(markup) => (markup),
            }
        }
    }
}

/// A control for each page beside this one.
fn links(view: &View) -> Markup {
    let a = view.labels.acts;
    html! {
        h1 { (a.more_title) }
        nav class="leaves" {
            (link("items", a.items, a.items_sub))
            @for (name, label, sub) in acts::offered(view) {
                (link(&format!("act/{name}"), label, &sub))
            }
            // Read on pages of their own, which are opened whole.
            @for (path, label, sub) in papers(view) {
                a class="sec" data-control="leave" href=(path) { (label) small { (sub) } }
            }
        }
    }
}

/// What can be read, and the start.
fn papers(view: &View) -> [(&'static str, &'static str, &'static str); 4] {
    let l = view.labels;
    [
        ("/briefing", l.page_briefing, l.page_briefing_sub),
        ("/limits", l.page_limits, l.page_limits_sub),
        ("/replay", l.page_replay, l.page_replay_sub),
        ("/start", l.page_start, l.page_start_sub),
    ]
}

fn link(name: &str, label: &str, sub: &str) -> Markup {
    html! {
        a class="sec" data-control="go" href={ "/" (name) } { (label) small { (sub) } }
    }
}

/// The way to all of it from the own page; on the board also the acts that stand beside it there.
pub(crate) fn way(view: &View, kind: &Kind) -> Markup {
    let a = view.labels.acts;
    let joins = view.beside.joins.len();
    let sub = if joins > 0 {
        fill(a.more_joins, &[("n", &joins.to_string())])
    } else {
        a.more_sub.to_owned()
    };
    html! {
        nav class="way" {
            @if *kind == Kind::Board {
                a class="sec also" data-control="go" href="/act/back" { (a.step_back) small { (a.step_back_short) } }
            }
            a class="sec leads" data-control="go" href="/more" { (a.more) small { (sub) } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_page_is_found_by_its_name_and_nothing_else_is() {
        let pole: ItemId = "pole-1".parse().unwrap_or_else(|bad| panic!("{bad}"));
        let acts = acts::LEAVES.map(Beside::Act);
        let all = [Beside::More, Beside::Items, Beside::Item(pole)];
        for page in all.into_iter().chain(acts) {
            assert_eq!(Beside::named(&page.name()), Some(page));
        }
        for name in [
            "",
            "mo",
            "act",
            "act/",
            "act/none",
            "items/",
            "items/a b",
            "worker/more",
        ] {
            assert_eq!(Beside::named(name), None, "{name}");
        }
    }
}
