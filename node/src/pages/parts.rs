//! Parts: what is the same on every page: shapes, strip, links, the stop control, the picture of a dead page.
//! Owns: nothing.   Gives: HTML of them.
//! May use: view, asked.   Never: words of its own.

use crate::pages::asked::{Asked, Gives};
use crate::pages::moves;
use crate::pages::view::{LinkState, View, age};
use crate::words::{Labels, fill};
use gantline_protocol::state::CallWord;
use maud::{Markup, PreEscaped, html};

/// The shapes, once on each page. A square with an arrow, a triangle with two bars, an octagon with a bar: told apart
/// without colour.
const SHAPES: &str = r##"<svg class="defs" aria-hidden="true"><defs>
<symbol id="s-proceed" viewBox="0 0 100 100"><rect x="4" y="4" width="92" height="92" fill="none" stroke="currentColor" stroke-width="8"/><path d="M50 18 82 54H62V82H38V54H18Z" fill="currentColor"/></symbol>
<symbol id="s-hold" viewBox="0 0 100 100"><path d="M50 5 97 95H3Z" fill="none" stroke="currentColor" stroke-width="8" stroke-linejoin="round"/><rect x="36" y="48" width="10" height="36" fill="currentColor"/><rect x="54" y="48" width="10" height="36" fill="currentColor"/></symbol>
<symbol id="s-stop" viewBox="0 0 100 100"><path d="M31 4H69L96 31V69L69 96H31L4 69V31Z" fill="none" stroke="currentColor" stroke-width="8"/><rect x="20" y="40" width="60" height="20" fill="currentColor"/></symbol>
<symbol id="c-stop" viewBox="0 0 100 100"><path d="M30 2H70L98 30V70L70 98H30L2 70V30Z" fill="#a80000" stroke="#fff" stroke-width="3"/><rect x="18" y="39" width="64" height="22" fill="#fff"/></symbol>
<symbol id="i-yes" viewBox="0 0 20 20"><path d="M2 10.5 8 16.5 18 4" fill="none" stroke="currentColor" stroke-width="4"/></symbol>
<symbol id="i-no" viewBox="0 0 20 20"><path d="M3 3 17 17M17 3 3 17" fill="none" stroke="currentColor" stroke-width="4"/></symbol>
<symbol id="i-wait" viewBox="0 0 20 20"><circle cx="10" cy="10" r="7.5" fill="none" stroke="currentColor" stroke-width="3"/></symbol>
<symbol id="i-dot" viewBox="0 0 20 20"><circle cx="10" cy="10" r="8" fill="currentColor"/></symbol>
<symbol id="i-half" viewBox="0 0 20 20"><circle cx="10" cy="10" r="7.5" fill="none" stroke="currentColor" stroke-width="3"/><path d="M10 2.5a7.5 7.5 0 0 1 0 15Z" fill="currentColor"/></symbol>
</defs></svg>"##;

pub(crate) fn shapes() -> Markup {
    PreEscaped(SHAPES.to_owned())
}

/// A shape of the list above.
pub(crate) fn icon(name: &str) -> Markup {
    html! { svg class="i" aria-hidden="true" { use href=(format!("#i-{name}")) {} } }
}

/// A shape as large as the text around it is not.
pub(crate) fn shape(class: &str, name: &str) -> Markup {
    html! { svg class=(class) aria-hidden="true" { use href=(format!("#{name}")) {} } }
}

/// A word of so many letters is smaller where it would not fit a phone beside its shape.
const LONG_WORD_CHARS: usize = 5;

/// The word of a call.
pub(crate) fn called(word: &str) -> Markup {
    let long = word.chars().count() >= LONG_WORD_CHARS;
    html! { div class=(if long { "word long" } else { "word" }) { (word) } }
}

/// Who this is, what time it is, and that the page lives.
pub(crate) fn strip(view: &View) -> Markup {
    let l = view.labels;
    html! {
        header class="strip" {
            b { (view.own_name()) }
            span class="job" { (view.status.title) }
            span { (view.clock(view.status.wall.0)) }
            span class="live" {
                span { (l.live) }
                span class="beat" role="img" aria-label=(l.page_is_live) { i {} }
            }
        }
    }
}

/// How long ago each other device gave a proof of life: text and shape, never colour alone.
pub(crate) fn links(view: &View) -> Markup {
    let l = view.labels;
    html! {
        div class="links" role="group" aria-label=(l.links) {
            @for link in view.links() {
                @let (class, shape) = match link.state {
                    LinkState::Good => ("good", "dot"),
                    LinkState::Late => ("late", "half"),
                    LinkState::Lost => ("lost", "no"),
                };
                div class=(class) {
                    b { (link.short) }
                    (icon(shape)) " "
                    @match link.age_ms {
                        Some(ms) => (fill(l.ago_short, &[("s", &age(ms))])),
                        None => (l.never_heard),
                    }
                }
            }
        }
    }
}

/// The control that stops. A form of its own, so that it works without any script.
pub(crate) fn stop(view: &View, giant: bool) -> Markup {
    let l = view.labels;
    let sub = match (view.is(CallWord::StopWork), giant) {
        (true, _) => l.stop_again,
        (false, true) => l.stop_sub_giant,
        (false, false) => l.stop_sub,
    };
    stop_control(l, "/press", sub, giant)
}

/// The same on whatever page. `to`: where it is sent. `sub`: what is said below its words.
pub(crate) fn stop_control(l: &Labels, to: &str, sub: &str, giant: bool) -> Markup {
    html! {
        form class="stopform" method="post" action=(to) {
            input type="hidden" name="do" value="stop";
            button class=(if giant { "stopbar giant" } else { "stopbar" }) type="submit" data-control="stop" {
                (shape("octagon", "c-stop"))
                span class="bar" {
                    span class="said" { (l.stop) small { (sub) } }
                    span class="unsent" { (l.stop_not_sent) small { (l.still_trying) } }
                }
            }
        }
    }
}

/// The band of a stop that was pressed on this page, until the node shows its own.
pub(crate) fn own_stop(l: &Labels, why: &Markup, if_held: &str) -> Markup {
    html! {
        section class="band" role="alert" aria-live="assertive" aria-atomic="true" {
            div class="top" { (shape("shape", "s-stop")) (called(l.stop_work)) }
            p class="why" data-reason { (why) }
            @if !if_held.is_empty() { p class="keep" { (fill(l.keep, &[("what", if_held)])) } }
        }
    }
}

/// The reason in it before anybody has the stop. `unsent`: that is so for too long.
pub(crate) fn pressed(l: &Labels, unsent: bool) -> Markup {
    let sent = if unsent {
        l.pressed_unsent
    } else {
        l.pressed_on_its_way
    };
    html! { (l.pressed) " " span class="sent" { (sent) } }
}

/// The picture of a page that does not hear its node: there from the start, and only a fresh tick keeps it away.
pub(crate) fn stale(view: &View, observer: bool) -> Markup {
    let l = view.labels;
    html! {
        div class="stale whole" data-alarm="stale" {
            div class="sh" { (shape("shape", "s-hold")) (called(l.hold)) }
            p class="dead" { (l.not_live) }
            p class="tabbed" { (l.other_tab) }
            p class="p2 dead" { (if observer { l.not_live_observer } else { l.not_live_now }) }
            p class="p2 tabbed" { (l.other_tab_now) }
            @if !observer && !view.status.call.if_held.is_empty() {
                p class="kp" { (fill(l.keep, &[("what", &view.status.call.if_held)])) }
            }
        }
        div class="stale still" data-alarm="stale" { p { (l.not_live_stop) } }
    }
}

/// The one thing asked, as the one blue control; or that nothing is.
pub(crate) fn asked(view: &View, asked: Option<&Asked>, observer: bool) -> Markup {
    let l = view.labels;
    html! {
        div class="asked" {
            @match (view.own_remedy(), asked) {
                // What cannot be recorded here is not asked for here.
                (Some(remedy), _) => div class="act none" { (remedy) },
                (None, Some(one)) => (control(view, one)),
                (None, None) if moves::moving(view).is_some() && !observer => (all_stop(view)),
                // In a stop the room is the band's.
                (None, None) if observer || view.is(CallWord::StopWork) => {},
                (None, None) => { div class="act none" { (l.nothing_asked) } }
            }
        }
    }
}

/// While a load moves: everyone's way to have it stand still. A stop like the other, said in the words of the load line.
fn all_stop(view: &View) -> Markup {
    let l = view.labels;
    html! {
        form class="stopform" method="post" action="/press" {
            input type="hidden" name="do" value="stop";
            input type="hidden" name="kind" value="all_stop";
            button class="act allstop" type="submit" data-control="allstop" {
                span class="tx" { (l.all_stop) small { (l.all_stop_sub) } }
            }
        }
    }
}

/// A control that gives what is asked: kept pressed, or pressed to open a sheet.
fn control(view: &View, one: &Asked) -> Markup {
    let l = view.labels;
    match &one.gives {
        Gives::Press | Gives::Agree => hold(view, one, &one.quote, l.keep_pressed, None),
        gives => {
            let hint = match gives {
                Gives::Number(_) => l.press_to_measure,
                Gives::Read(_) => l.acts.agree_read,
                _ => l.press_to_answer,
            };
            html! {
                button class="act" type="button" data-control="open" data-sheet=(sheet_of(one)) {
                    span class="tx" { "“" (one.quote) "”" small { (hint) } }
                }
            }
        }
    }
}

/// The name of the sheet on which a thing asked is given.
pub(crate) fn sheet_of(one: &Asked) -> String {
    format!("give-{}", one.at)
}

/// A control that is kept pressed. `answer`: the answer that it gives, of several.
pub(crate) fn hold(
    view: &View,
    one: &Asked,
    quote: &str,
    hint: &str,
    answer: Option<&str>,
) -> Markup {
    let hint = if view.two_presses {
        view.labels.press_twice
    } else {
        hint
    };
    html! {
        button class="act" type="button" data-control="confirm" data-give=(one.at) data-hold=(one.hold_ms)
            data-face=(view.face) data-answer=[answer] {
            span class="fill" {}
            span class="tx" { "“" (quote) "”" small { (hint) } }
        }
    }
}

/// Where the second of two presses is given: not shown before the first, nor at its place.
pub(crate) fn second_place(view: &View) -> Markup {
    html! {
        button class="act second" type="button" data-control="second" {
            span class="tx" { span class="quote" {} small { (view.labels.second_press) } }
        }
    }
}

/// A control of the second row: what it does, and what comes of it.
pub(crate) fn second(name: &str, sheet: &str, label: &str, sub: &str) -> Markup {
    html! {
        button class="sec" type="button" data-control=(name) data-sheet=(sheet) {
            (label) small { (sub) }
        }
    }
}
