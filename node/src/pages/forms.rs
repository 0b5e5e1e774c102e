//! Forms: how is a form put on a page, and filled again with what was typed when it was not taken?
//! Owns: nothing.   Gives: `FormOf`, `Field`, `Typed`, their HTML; `needed`, `option`.
//! May use: view, form.   Never: words of its own; what a form means (acts, items).
//!
//! Each is a plain form post, so that it works without scripts too. With scripts, one that is not of the kind that
//! fails to the safe side is kept pressed, and its answer stands beside it.

use crate::pages::asked::HOLD_MS;
use crate::pages::form::Form;
use crate::pages::view::View;
use crate::words::fill;
use maud::{Markup, html};

/// Longest text that is typed; the log's own limit is above it.
const TEXT_MAX_CHARS: &str = "400";
/// Options that stand side by side; more are a list that opens.
const SHOWN_MAX: usize = 6;

/// One of several to choose from: what is sent, what is shown.
pub(crate) type Choice = (String, String);

/// What is typed or chosen.
pub(crate) enum Field {
    /// Words.
    Words(&'static str, String),
    /// A number, with its unit in the label.
    Number(&'static str, String),
    /// The code of an item, typed or seen by the camera.
    Code(&'static str, String),
    /// A photo, from the camera or a file.
    Photo(&'static str, String),
    /// One of several; the last says whether it may be none.
    One(&'static str, String, Vec<Choice>, bool),
    /// Any of several: each is sent as a field of its own, `name:value`.
    Any(&'static str, String, Vec<Choice>),
}

/// One form.
pub(crate) struct FormOf {
    /// What the press does.
    pub(crate) does: &'static str,
    /// To what: an item, a device, an entry; empty where there is only one.
    pub(crate) about: String,
    /// What stands above it.
    pub(crate) title: String,
    pub(crate) fields: Vec<Field>,
    /// What is said by pressing.
    pub(crate) says: String,
    /// Kept pressed for so long, ms; `None`: a plain press, as for all that fails to the safe side.
    pub(crate) held_ms: Option<u32>,
}

impl FormOf {
    /// A plain press.
    pub(crate) fn plain(does: &'static str, about: &str, says: &str) -> Self {
        Self {
            does,
            about: about.to_owned(),
            title: String::new(),
            fields: Vec::new(),
            says: says.to_owned(),
            held_ms: None,
        }
    }

    /// Kept pressed.
    pub(crate) fn held(does: &'static str, about: &str, says: &str) -> Self {
        Self {
            held_ms: Some(HOLD_MS),
            ..Self::plain(does, about, says)
        }
    }

    pub(crate) fn titled(mut self, title: impl Into<String>) -> Self {
        self.title = title.into();
        self
    }

    pub(crate) fn with(mut self, fields: impl IntoIterator<Item = Field>) -> Self {
        self.fields.extend(fields);
        self
    }
}

/// What was typed and not taken, and why: without scripts a page comes again with it.
#[derive(Default)]
pub(crate) struct Typed {
    pub(crate) form: Form,
    pub(crate) lines: Vec<String>,
}

impl Typed {
    fn is_of(&self, one: &FormOf) -> bool {
        self.form.text("do") == one.does && self.form.text("about") == one.about
    }
}

/// The form on the page at this path.
pub(crate) fn form(view: &View, path: &str, one: &FormOf, typed: &Typed) -> Markup {
    let l = view.labels;
    let nothing = Form::default();
    let (before, lines) = if typed.is_of(one) {
        (&typed.form, typed.lines.as_slice())
    } else {
        (&nothing, &[][..])
    };
    // A file goes in the other form that a browser sends, which has an address of its own.
    let with_file = one
        .fields
        .iter()
        .any(|field| matches!(field, Field::Photo(..)));
    let (action, sent_as) = if with_file {
        ("/note", Some("multipart/form-data"))
    } else {
        ("/press", None)
    };
    html! {
        form class="deed" method="post" action=(action) enctype=[sent_as] data-name={ (one.does) "-" (one.about) } {
            input type="hidden" name="do" value=(one.does);
            input type="hidden" name="about" value=(one.about);
            input type="hidden" name="from" value=(path);
            input type="hidden" name="face" value=(view.face);
            @if !one.title.is_empty() { h2 { (one.title) } }
            @for field in &one.fields { (self::field(view, field, before)) }
            @match one.held_ms {
                Some(ms) => button class="act plain" data-control="confirm" data-hold=(ms) {
                    span class="fill" {}
                    span class="tx" { (one.says) small { (l.keep_pressed_send) } }
                },
                None => button class="sec send" data-control="send" { (one.says) },
            }
            p class="answer" role="status" { (lines.join(" ")) }
        }
    }
}

fn field(view: &View, field: &Field, before: &Form) -> Markup {
    let a = view.labels.acts;
    match field {
        Field::Words(name, label) => text(name, label, before, "text", TEXT_MAX_CHARS),
        Field::Number(name, label) => text(name, label, before, "decimal", "12"),
        Field::Code(name, label) => html! {
            (text(name, label, before, "text", "40"))
            // Shown by the page's script where the browser can read codes.
            button class="sec camera" type="button" data-control="camera" data-into=(name)
                data-unseen=(a.camera_none) hidden { (a.camera) }
            div class="seen" {}
        },
        // What was chosen before a browser does not let a page put back.
        Field::Photo(name, label) => html! {
            label class="field file" {
                (label)
                input type="file" name=(name) accept="image/*" capture="environment";
            }
        },
        // With nothing to choose from, none of it is what stands.
        Field::One(_, _, options, true) if options.is_empty() => html! {},
        Field::One(name, label, options, or_none) if options.len() <= SHOWN_MAX => html! {
            fieldset class="choice" {
                legend { (label) }
                @if *or_none { (pick("radio", name, "", a.none, !before.has(name))) }
                @for (value, shown) in options {
                    (pick("radio", name, value, shown, before.text(name) == value))
                }
            }
        },
        Field::One(name, label, options, or_none) => html! {
            label class="field" {
                (label)
                select name=(name) {
                    option value="" { (if *or_none { a.none } else { a.choose }) }
                    @for (value, shown) in options {
                        option value=(value) selected[before.text(name) == value] { (shown) }
                    }
                }
            }
        },
        Field::Any(name, label, options) => html! {
            fieldset class="choice" {
                legend { (label) }
                @for (value, shown) in options {
                    @let name = format!("{name}:{value}");
                    (pick("checkbox", &name, "1", shown, before.has(&name)))
                }
            }
        },
    }
}

fn text(name: &str, label: &str, before: &Form, mode: &str, most: &str) -> Markup {
    html! {
        label class="field" {
            (label)
            input name=(name) inputmode=(mode) autocomplete="off" maxlength=(most) value=(before.text(name));
        }
    }
}

fn pick(kind: &str, name: &str, value: &str, shown: &str, picked: bool) -> Markup {
    html! {
        label class="pick" {
            input type=(kind) name=(name) value=(value) checked[picked];
            span { (shown) }
        }
    }
}

/// A field that must not be empty.
///
/// # Errors
/// The words that say which is.
pub(crate) fn needed<'a>(
    view: &View,
    form: &'a Form,
    name: &str,
    label: &str,
) -> Result<&'a str, String> {
    if form.has(name) {
        Ok(form.text(name))
    } else {
        Err(fill(view.labels.field_empty, &[("field", label)]))
    }
}

/// A field that must be a value of some kind.
///
/// # Errors
/// The words that say which is not.
pub(crate) fn value<T: core::str::FromStr>(
    view: &View,
    form: &Form,
    name: &str,
    label: &str,
) -> Result<T, String> {
    needed(view, form, name, label)?
        .parse()
        .map_err(|_| fill(view.labels.acts.not_a_value, &[("field", label)]))
}

/// A field that may be empty, and else must be a value of some kind.
///
/// # Errors
/// The words that say that it is not.
pub(crate) fn option<T: core::str::FromStr>(
    view: &View,
    form: &Form,
    name: &str,
    label: &str,
) -> Result<Option<T>, String> {
    if form.has(name) {
        value(view, form, name, label).map(Some)
    } else {
        Ok(None)
    }
}

/// Those of a field's choices that were chosen.
pub(crate) fn chosen<T: core::str::FromStr>(form: &Form, name: &str) -> Vec<T> {
    form.each(name)
        .filter_map(|value| value.parse().ok())
        .collect()
}
