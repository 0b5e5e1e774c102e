//! People: relief of a role from both sides, who comes to the job, who leaves it, and who is in the clear.
//! Owns: nothing.   Gives: their leaves, `deed`.
//! May use: view, forms.   Never: who may do what (the node answers).

use super::{Deed, Part, device_choices, people_choices};
use crate::device::JoinRequest;
use crate::pages::form::Form;
use crate::pages::forms::{Choice, Field, FormOf, chosen, option, value};
use crate::pages::view::View;
use crate::words::fill;
use gantline_protocol::engine::Command;
use gantline_protocol::ids::{DeviceKey, EntryHash, Person, RoleId};
use gantline_protocol::state::{AskedOf, ProposalStatus};

fn roles(view: &View) -> Vec<Choice> {
    let roles = view.plan.roles.iter();
    roles
        .map(|role| (role.id.to_string(), view.role_name(&role.id)))
        .collect()
}

pub(super) fn relief(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let mut parts = Vec::new();
    for asked in &view.status.asked {
        if let AskedOf::TakeRole { role, .. } = asked {
            let says = fill(view.labels.say_role, &[("role", &view.role_name(role))]);
            parts.push(Part::Form(FormOf::held("take-role", role.as_str(), &says)));
        }
    }
    for role in &view.status.roles {
        let says = fill(a.relief_says, &[("role", &view.role_name(role))]);
        parts.push(Part::Form(FormOf::plain(
            "relief-wanted",
            role.as_str(),
            &says,
        )));
    }
    for (person, role) in &view.beside.aside.relief_wanted {
        let (who, role) = (view.name(person), view.role_name(role));
        let line = fill(a.relief_wanted, &[("who", &who), ("role", &role)]);
        parts.push(Part::Line(line));
    }
    if view.is_supervisor() {
        parts.push(Part::Form(
            FormOf::held("offer-role", "", a.offer_role_says)
                .titled(a.offer_role)
                .with([
                    Field::One("role", a.role.to_owned(), roles(view), false),
                    Field::One("to", a.to_whom.to_owned(), device_choices(view), false),
                ]),
        ));
    }
    parts
}

pub(super) fn crew(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let mut parts = Vec::new();
    if view.is_supervisor() {
        for join in &view.beside.joins {
            parts.extend(joining(view, join));
        }
        if view.beside.joins.is_empty() {
            parts.push(Part::Line(a.nobody_asks.to_owned()));
        }
    }
    for proposal in &view.status.proposals {
        parts.extend(proposed(view, proposal));
    }
    parts.push(Part::Form(
        FormOf::held("remove", "", a.remove_says)
            .titled(if view.is_supervisor() {
                a.remove
            } else {
                a.take_over
            })
            .with([
                Field::One("device", a.whose_device.to_owned(), removable(view), false),
                Field::One(
                    "spoken-to",
                    a.spoken_to.to_owned(),
                    vec![
                        ("yes".to_owned(), a.yes.to_owned()),
                        ("no".to_owned(), a.no.to_owned()),
                    ],
                    true,
                ),
                Field::Any(
                    "called-stop",
                    a.called_stop.to_owned(),
                    vec![("yes".to_owned(), a.yes.to_owned())],
                ),
            ]),
    ));
    parts.push(Part::Form(
        FormOf::held("leave", "", a.leave_says).titled(a.leave),
    ));
    parts
}

/// Whose device a proposal may name: of the supervisor's everyone's, of the others' the supervisor's, also one that has
/// left the job in office.
fn removable(view: &View) -> Vec<Choice> {
    let supervisor = view.is_supervisor();
    let left = view.status.crew.iter().filter(|one| !one.present);
    view.crew()
        .into_iter()
        .chain(left)
        .filter(|one| one.device != view.status.device)
        .filter(|one| one.device == view.status.office || (supervisor && one.present))
        .map(|one| (one.device.to_string(), view.called(one)))
        .collect()
}

/// A device that asks to join: its words, and the two answers.
fn joining(view: &View, join: &JoinRequest) -> Vec<Part> {
    let a = view.labels.acts;
    let device = join.device.to_string();
    let own_spare = view
        .status
        .crew
        .iter()
        .filter(|one| one.present && one.person == join.person)
        .map(|one| (one.device.to_string(), one.person.to_string()))
        .collect();
    let admit = FormOf::held("admit", &device, a.admit_says).with([
        Field::Any("role", a.role.to_owned(), roles(view)),
        Field::One("replaces", a.replaces.to_owned(), own_spare, true),
    ]);
    let refuse = FormOf::plain("refuse-join", &device, a.refuse_says)
        .with([Field::Words("text", a.why.to_owned())]);
    vec![
        Part::Head(fill(a.asks_to_join, &[("who", join.person.as_str())])),
        Part::Line(fill(a.compare, &[("words", &join.words)])),
        Part::Form(admit),
        Part::Form(refuse),
    ]
}

fn proposed(view: &View, proposal: &ProposalStatus) -> Vec<Part> {
    let a = view.labels.acts;
    let who = view.device_name(&proposal.device);
    let names: Vec<String> = proposal.consents.iter().map(|one| view.name(one)).collect();
    let label = if proposal.take_over {
        a.proposed_take_over
    } else {
        a.proposed_remove
    };
    let values = [
        ("who", who.as_str()),
        ("by", &names.join(", ")),
        ("needed", &proposal.needed.to_string()),
    ];
    let mut parts = vec![Part::Line(fill(label, &values))];
    let own = view
        .status
        .person
        .as_ref()
        .is_some_and(|person| proposal.consents.contains(person));
    if !own && proposal.device != view.status.device {
        let says = fill(view.labels.say_consent, &[("who", &who)]);
        let about = proposal.entry.to_string();
        parts.push(Part::Form(FormOf::held("consent", &about, &says)));
    }
    parts
}

pub(super) fn heads(view: &View) -> Vec<Part> {
    let a = view.labels.acts;
    let form = FormOf::held("heads", "", a.heads_says).with([
        Field::Any("clear", a.clear.to_owned(), people_choices(view)),
        Field::Any("assumed", a.assumed.to_owned(), people_choices(view)),
    ]);
    let mut parts = vec![Part::Form(form)];
    let missing: Vec<&str> = view
        .status
        .shown
        .iter()
        .filter(|(name, _)| name == "not_accounted")
        .map(|(_, who)| who.as_str())
        .collect();
    if !missing.is_empty() {
        let line = fill(a.not_accounted, &[("who", &missing.join(", "))]);
        parts.insert(0, Part::Line(line));
    }
    parts
}

pub(super) fn deed(view: &View, form: &Form) -> Option<Result<Deed, String>> {
    let not_asked = || view.labels.not_asked.to_owned();
    let role = || form.value::<RoleId>("about").ok_or_else(not_asked);
    Some(match form.text("do") {
        "relief-wanted" => role().map(|role| Deed::Safe(Command::ReliefWanted { role })),
        "take-role" => role().map(|role| Deed::Seen(Command::TakeRole { role })),
        "offer-role" => offer_role(view, form),
        "admit" => admit(view, form),
        "refuse-join" => form
            .value::<DeviceKey>("about")
            .ok_or_else(not_asked)
            .map(|device| Deed::RefuseJoin(device, form.text("text").to_owned())),
        "remove" => remove(view, form),
        "leave" => Ok(Deed::Seen(Command::Leave)),
        "consent" => form
            .value::<EntryHash>("about")
            .ok_or_else(not_asked)
            .map(|proposal| Deed::Seen(Command::Consent { proposal })),
        "heads" => head_count(view, form),
        _ => return None,
    })
}

fn offer_role(view: &View, form: &Form) -> Result<Deed, String> {
    let a = view.labels.acts;
    Ok(Deed::Seen(Command::OfferRole {
        role: value(view, form, "role", a.role)?,
        to: value(view, form, "to", a.to_whom)?,
    }))
}

fn admit(view: &View, form: &Form) -> Result<Deed, String> {
    let a = view.labels.acts;
    let device: Option<DeviceKey> = form.value("about");
    let mut asks = view.beside.joins.iter();
    let asked = asks.rfind(|join| Some(join.device) == device);
    let join = asked.ok_or_else(|| a.asks_no_longer.to_owned())?;
    let roles: Vec<RoleId> = chosen(form, "role");
    if roles.is_empty() {
        return Err(fill(view.labels.field_empty, &[("field", a.role)]));
    }
    Ok(Deed::Seen(Command::Admit {
        device: join.device,
        person: join.person.clone(),
        roles,
        replaces: option(view, form, "replaces", a.replaces)?,
    }))
}

fn remove(view: &View, form: &Form) -> Result<Deed, String> {
    let a = view.labels.acts;
    Ok(Deed::Seen(Command::Remove {
        device: value(view, form, "device", a.whose_device)?,
        spoken_to: match form.text("spoken-to") {
            "yes" => Some(true),
            "no" => Some(false),
            _ => None,
        },
        called_stop: form.each("called-stop").next().is_some(),
    }))
}

fn head_count(view: &View, form: &Form) -> Result<Deed, String> {
    let clear: Vec<Person> = chosen(form, "clear");
    if clear.is_empty() {
        let label = view.labels.acts.clear;
        return Err(fill(view.labels.field_empty, &[("field", label)]));
    }
    Ok(Deed::Seen(Command::HeadCount {
        clear,
        assumed: chosen(form, "assumed"),
    }))
}
