//! Items: where each thing is, who has it, whether it may be used; and what is said of it.
//! Owns: nothing.   Gives: the list, the page of one item, the open handoffs, `deed` of their forms.
//! May use: view, forms, acts for places and people.   Never: whether an item is fit (the log answers).

use crate::pages::acts::{Deed, Part, device_choices, place_choices, place_of};
use crate::pages::form::Form;
use crate::pages::forms::{Field, FormOf, needed, option};
use crate::pages::parts::icon;
use crate::pages::view::View;
use crate::words::fill;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{HandoffId, ItemId};
use gantline_protocol::log::entry::{Finding, StopKind};
use gantline_protocol::plan::{Item, Place};
use gantline_protocol::state::{HandoffStatus, ItemAside, ItemStatus};
use maud::html;

/// A handoff's name is at most so long.
const HANDOFF_MAX_CHARS: usize = 40;

/// What there is of one item.
struct One<'a> {
    planned: &'a Item,
    status: &'a ItemStatus,
    aside: Option<&'a ItemAside>,
}

fn one<'a>(view: &View<'a>, id: &ItemId) -> Option<One<'a>> {
    Some(One {
        planned: view.plan.item(id)?,
        status: view.status.items.iter().find(|item| &item.id == id)?,
        aside: view.beside.aside.items.iter().find(|item| &item.id == id),
    })
}

/// The item with this code, as painted on it; letters large or small.
fn by_code(view: &View, code: &str) -> Option<ItemId> {
    let mut items = view.plan.items.iter();
    items
        .find(|item| item.id.as_str().eq_ignore_ascii_case(code))
        .map(|item| item.id.clone())
}

/// Every item, what is on its way, and what is not back.
pub(crate) fn list(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let aside = &view.beside.aside;
    let (out, back) = (aside.tools_out.to_string(), aside.tools_back.to_string());
    let counted = fill(a.tools_counted, &[("out", &out), ("back", &back)]);
    let find = FormOf::plain("find", "", a.find).with([Field::Code("code", a.code.to_owned())]);
    let mut parts = vec![Part::Form(find)];
    for handoff in &view.status.handoffs {
        parts.push(Part::Head(a.on_its_way.to_owned()));
        parts.extend(of_handoff(view, handoff));
    }
    let items = view.plan.items.iter();
    let rows: Vec<One> = items.filter_map(|item| one(view, &item.id)).collect();
    parts.push(Part::Line(counted));
    parts.push(Part::Other(html! {
        ul class="items" {
            @for item in &rows {
                li class=[(!item.status.unfit.is_empty()).then_some("unfit")] {
                    a data-control="go" href={ "/items/" (item.status.id) } {
                        b { (item.planned.title) " " span class="code" { (item.status.id) } }
                        span { (whereabouts(view, item)) }
                        @match reason(view, item) {
                            Some(reason) => span class="reason" { (icon("no")) " " (reason) },
                            None => span { (icon("yes")) " " (dates(view, item).join(", ")) },
                        }
                    }
                }
            }
        }
    }));
    parts
}

/// Where it is, and who has it.
fn whereabouts(view: &View, item: &One) -> String {
    let at = view.words.place(item.status.at);
    let by = item.aside.and_then(|aside| aside.by.as_ref());
    match by {
        // What is on the truck nobody has in hand.
        Some(by) if item.status.at != Place::Truck => format!("{at} · {}", view.name(by)),
        _ => at.to_owned(),
    }
}

/// Why it may not be used, in a word.
fn reason(view: &View, item: &One) -> Option<String> {
    let first = item.status.unfit.first()?;
    let words = view.words.unfit(&item.status.id, *first).so;
    // The item's own name stands above it.
    let name = format!("{}: ", view.words.item(&item.status.id));
    let lower = name.to_lowercase();
    Some(if words.to_lowercase().starts_with(&lower) {
        words.chars().skip(name.chars().count()).collect()
    } else {
        words
    })
}

/// Its rating, test and inspection.
fn dates(view: &View, item: &One) -> Vec<String> {
    let a = view.labels.acts;
    let mut lines = Vec::new();
    if let Some(kv) = item.planned.rated_kv {
        lines.push(fill(a.rated, &[("value", &format!("{kv} kV"))]));
    }
    if let Some(kn) = item.planned.rated_kn {
        lines.push(fill(a.rated, &[("value", &format!("{kn} kN"))]));
    }
    let plate = item.aside.and_then(|aside| aside.test_age_months);
    match (plate, &item.planned.tested) {
        (Some(Some(months)), _) => {
            lines.push(fill(a.tested_months, &[("n", &months.to_string())]));
        }
        (None, Some(date)) => lines.push(fill(a.tested_on, &[("date", date)])),
        (Some(None), _) if item.planned.test_months.is_some() => lines.push(a.no_record.to_owned()),
        _ => {}
    }
    match item.aside.and_then(|aside| aside.inspected.as_ref()) {
        Some((at, by)) => {
            let values = [("at", view.clock(at.0)), ("by", view.name(by))];
            let values = values
                .each_ref()
                .map(|(name, value)| (*name, value.as_str()));
            lines.push(fill(a.inspected, &values));
        }
        None if item.planned.daily => lines.push(a.not_inspected.to_owned()),
        None => {}
    }
    if lines.is_empty() {
        lines.push(a.usable.to_owned());
    }
    lines
}

/// One item, and what can be said of it.
pub(crate) fn page(view: &View, id: &ItemId) -> Option<(String, Vec<Part>)> {
    let a = view.labels.acts;
    let item = one(view, id)?;
    let about = id.as_str();
    let all_reasons: Vec<String> = item
        .status
        .unfit
        .iter()
        .map(|why| view.words.unfit(id, *why).to_string())
        .collect();
    let set_aside = item.aside.and_then(|aside| aside.set_aside.clone());
    let facts = html! {
        div class=(if all_reasons.is_empty() { "fit" } else { "fit unfit" }) {
            p { (whereabouts(view, &item)) }
            @for reason in &all_reasons { p { (icon("no")) " " (reason) } }
            @if let Some(why) = &set_aside { p { (fill(a.set_aside_why, &[("why", why)])) } }
            @for line in dates(view, &item) { p { (line) } }
        }
    };
    let place = || Field::One("to", a.where_to.to_owned(), place_choices(view), false);
    let mut parts = vec![Part::Other(facts)];
    parts.push(Part::Form(FormOf::held(
        "inspected-good",
        about,
        a.found_nothing,
    )));
    parts.push(Part::Form(FormOf::plain(
        "inspected-bad",
        about,
        a.found_something,
    )));
    if item.planned.load {
        parts.push(Part::Form(
            FormOf::held("offer", about, a.offer_says).with([place()]),
        ));
    } else {
        parts.push(Part::Form(
            FormOf::held("moved", about, a.moved_says)
                .titled(a.moved)
                .with([place()]),
        ));
        let whoever = Field::One("receiver", a.to_whom.to_owned(), device_choices(view), true);
        parts.push(Part::Form(
            FormOf::held("offer", about, a.offer_says)
                .titled(a.offer)
                .with([place(), whoever]),
        ));
    }
    parts.push(Part::Form(
        FormOf::held("plate", about, a.plate_says)
            .titled(a.plate)
            .with([
                Field::Number("months", a.plate_months.to_owned()),
                Field::Number("kv", a.plate_kv.to_owned()),
                Field::Any(
                    "wiped",
                    a.plate_wiped.to_owned(),
                    vec![("yes".to_owned(), a.yes.to_owned())],
                ),
            ]),
    ));
    parts.push(Part::Form(
        FormOf::plain("set-aside", about, a.set_aside_says)
            .titled(a.set_aside)
            .with([Field::Words("text", a.why.to_owned())]),
    ));
    parts.push(Part::Form(
        FormOf::plain("suspect", about, a.suspect_says)
            .titled(a.suspect)
            .with([Field::Words("text", a.why.to_owned())]),
    ));
    Some((format!("{} {id}", item.planned.title), parts))
}

/// What may be said of a handoff that is not done, by either side.
fn of_handoff(view: &View, handoff: &HandoffStatus) -> Vec<Part> {
    let (l, a) = (view.labels, view.labels.acts);
    let name = handoff.handoff.as_str();
    let item = view.words.item(&handoff.item);
    let values = [
        ("what", item.as_str()),
        ("where", view.words.place(handoff.to)),
        ("by", &view.name(&handoff.by)),
    ];
    let line = fill(if handoff.taken { a.moves } else { a.is_offered }, &values);
    let own = view.status.person.as_ref() == Some(&handoff.by);
    let load = view.plan.item(&handoff.item).is_some_and(|item| item.load);
    let mut parts = vec![Part::Line(line)];
    if let Some((who, _)) = &handoff.ready {
        parts.push(Part::Line(fill(a.is_ready, &[("who", &view.name(who))])));
    }
    if own && handoff.taken {
        let says = fill(l.say_done, &values);
        parts.push(Part::Form(FormOf::held("done", name, &says)));
    }
    if !own && !handoff.taken && load {
        let says = fill(l.say_ready, &[("what", name)]);
        parts.push(Part::Form(FormOf::held("ready", name, &says)));
    }
    if !own && load {
        parts.push(Part::Form(FormOf::plain("not-ready", name, a.not_ready)));
    }
    if !handoff.taken && own == load {
        let says = fill(l.say_take, &[("what", name)]);
        parts.push(Part::Form(FormOf::held("take", name, &says)));
    }
    parts
}

/// What a form about an item or a handoff means; `None`: it is of another kind.
///
/// # Errors
/// The words that say what is missing in it.
pub(crate) fn deed(view: &View, form: &Form) -> Option<Result<Deed, String>> {
    let does = form.text("do");
    Some(match does {
        "find" => found(view, form),
        "ready" | "not-ready" | "take" | "done" => handed(view, form),
        "inspected-good" | "inspected-bad" | "plate" | "set-aside" | "suspect" | "moved"
        | "offer" => said_of(view, form),
        _ => return None,
    })
}

fn found(view: &View, form: &Form) -> Result<Deed, String> {
    let a = view.labels.acts;
    let code = needed(view, form, "code", a.code)?;
    by_code(view, code)
        .map(|id| Deed::Go(format!("/items/{id}")))
        .ok_or_else(|| fill(a.no_such_code, &[("code", code)]))
}

fn handed(view: &View, form: &Form) -> Result<Deed, String> {
    let handoff: HandoffId = form
        .value("about")
        .ok_or_else(|| view.labels.not_asked.to_owned())?;
    let handoff = Some(handoff);
    Ok(match form.text("do") {
        "ready" => Deed::Seen(Command::Ready {
            handoff,
            ready: true,
        }),
        "not-ready" => Deed::Safe(Command::Ready {
            handoff,
            ready: false,
        }),
        "take" => Deed::Seen(Command::Take { handoff }),
        _ => Deed::Seen(Command::Done { handoff }),
    })
}

fn said_of(view: &View, form: &Form) -> Result<Deed, String> {
    let (l, a) = (view.labels, view.labels.acts);
    let not_asked = || l.not_asked.to_owned();
    let item: ItemId = form.value("about").ok_or_else(not_asked)?;
    let planned = view.plan.item(&item).ok_or_else(not_asked)?;
    let why = || needed(view, form, "text", a.why).map(ToOwned::to_owned);
    let to = || {
        let name = needed(view, form, "to", a.where_to)?;
        place_of(name).ok_or_else(|| fill(a.not_a_value, &[("field", a.where_to)]))
    };
    let scan = |item: ItemId, found: Finding| Command::Scan { item, found };
    Ok(match form.text("do") {
        "inspected-good" => Deed::Seen(scan(item, Finding::Inspected { good: true })),
        "inspected-bad" => Deed::Safe(scan(item, Finding::Inspected { good: false })),
        "set-aside" => Deed::Safe(scan(item, Finding::OutOfService { why: why()? })),
        "plate" => {
            let found = Finding::Plate {
                test_age_months: option(view, form, "months", a.plate_months)?,
                wiped_today: form.each("wiped").next().is_some(),
                rated_kv: option(view, form, "kv", a.plate_kv)?,
            };
            Deed::Seen(scan(item, found))
        }
        "suspect" => Deed::Safe(Command::Stop {
            kind: StopKind::Work,
            why: why()?,
            item: Some(item),
        }),
        "moved" => Deed::Seen(Command::Moved { to: to()?, item }),
        _ => {
            let to = to()?;
            let receiver = if planned.load {
                None
            } else {
                option(view, form, "receiver", a.to_whom)?
            };
            Deed::Seen(Command::Offer {
                handoff: handoff_name(&item, to).ok_or_else(not_asked)?,
                item,
                to,
                receiver,
            })
        }
    })
}

/// The name of a handoff on the radio: what, and where to.
pub(crate) fn handoff_name(item: &ItemId, to: Place) -> Option<HandoffId> {
    let mut name = format!("{item}-{to:?}").to_lowercase();
    name.truncate(HANDOFF_MAX_CHARS);
    HandoffId::try_from(name).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_handoffs_name_is_never_too_long() {
        let item: ItemId = "x".repeat(40).parse().unwrap_or_else(|bad| panic!("{bad}"));
        assert!(handoff_name(&item, Place::OnTheLine).is_some());
        let item: ItemId = "pole-1".parse().unwrap_or_else(|bad| panic!("{bad}"));
        let name = handoff_name(&item, Place::Aloft);
        assert_eq!(
            name.map(|name| name.to_string()),
            Some("pole-1-aloft".to_owned())
        );
    }
}
