//! Moves: what the holder may do next without being asked: offer a load, say that it stands, bring a tool, close the job.
//! Owns: nothing.   Gives: `extras`, `moving`.
//! May use: view, protocol's commands.   Never: whether it counts (the node answers).

use crate::pages::items::handoff_name;
use crate::pages::view::View;
use crate::words::fill;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::ItemId;
use gantline_protocol::plan::{LoadMove, Place, Step};
use gantline_protocol::state::{CallWord, HandoffStatus, StepState, StepStatus};

/// What may be done, in words, and what it is.
pub(crate) fn extras(view: &View) -> Vec<(String, Command)> {
    let mut all = Vec::new();
    if view.may_close() {
        all.push((view.labels.say_close.to_owned(), Command::Close));
    }
    if view.is(CallWord::Proceed) {
        for (status, step) in open_steps(view) {
            let of_load = |load| of_load(view, status, load);
            all.extend(step.moves.iter().filter_map(of_load));
            all.extend(tools(view, step));
        }
    }
    all
}

/// The load that may move now.
pub(crate) fn moving<'a>(view: &View<'a>) -> Option<&'a HandoffStatus> {
    view.status
        .handoffs
        .iter()
        .find(|handoff| handoff.taken && view.is(CallWord::Proceed))
}

fn open_steps<'a>(view: &'a View) -> impl Iterator<Item = (&'a StepStatus, &'a Step)> {
    let steps = view.status.steps.iter();
    steps
        .filter(|step| matches!(step.state, StepState::Open | StepState::Conflict))
        .filter_map(|step| Some((step, view.plan.step(&step.id)?)))
}

fn is_aloft(view: &View) -> bool {
    let roles = view.status.roles.iter();
    roles
        .filter_map(|role| view.plan.role(role))
        .any(|role| role.aloft)
}

fn at(view: &View, item: &ItemId) -> Option<Place> {
    let items = view.status.items.iter();
    items.filter(|one| &one.id == item).map(|one| one.at).next()
}

/// The next word of who commands a load: the offer, or that it stands where it was to go. One person aloft commands
/// the load line (common practice). A load that somebody's word alone has where it is to go is still to be handed over.
fn of_load(view: &View, step: &StepStatus, load: &LoadMove) -> Option<(String, Command)> {
    let l = view.labels;
    let item = view.words.item(&load.item);
    let values = [
        ("what", item.as_str()),
        ("where", view.words.place(load.to)),
    ];
    let open = view
        .status
        .handoffs
        .iter()
        .find(|handoff| handoff.item == load.item);
    match open {
        Some(handoff) => {
            let own = view.status.person.as_ref() == Some(&handoff.by);
            (own && handoff.taken).then(|| {
                let command = Command::Done {
                    handoff: Some(handoff.handoff.clone()),
                };
                (fill(l.say_done, &values), command)
            })
        }
        None if is_aloft(view)
            && (step.loads_due.contains(&load.item) || at(view, &load.item) != Some(load.to)) =>
        {
            let command = Command::Offer {
                handoff: handoff_name(&load.item, load.to)?,
                item: load.item.clone(),
                to: load.to,
                receiver: None,
            };
            Some((fill(l.say_offer, &values), command))
        }
        None => None,
    }
}

/// Tools that the step needs elsewhere; said by who works, not by who only watches.
fn tools<'a>(view: &'a View, step: &'a Step) -> impl Iterator<Item = (String, Command)> + 'a {
    let watches = view.status.roles.iter().any(|role| role.is_observer());
    let wanted = step.items.iter().filter(move |_| !watches);
    wanted
        .filter(|wanted| at(view, &wanted.item).is_some_and(|at| at != wanted.at))
        .filter(|wanted| !view.plan.item(&wanted.item).is_some_and(|item| item.load))
        .map(|wanted| {
            let item = view.words.item(&wanted.item);
            let values = [
                ("what", item.as_str()),
                ("where", view.words.place(wanted.at)),
            ];
            let command = Command::Moved {
                item: wanted.item.clone(),
                to: wanted.at,
            };
            (fill(view.labels.say_moved, &values), command)
        })
}
